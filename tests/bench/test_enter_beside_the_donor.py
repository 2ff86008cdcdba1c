"""Rows that are typed, held against the brief's donor as the sheet's own are; all invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from packcalc.bench.enter import enter, open_session
from packcalc.cli import main
from packcalc.reading.bench_sheet import read_sheet

from .test_donor_and_open import TITLE, brief
from .test_enter import Desk

HEAD = "mark,module,donor,crash,water\n"


def sit(path, asked, *answers: str, head: str = HEAD) -> Desk:
    path.write_text(head, "utf-8")
    desk = Desk(*answers)
    enter(open_session(path, donor=asked.donor), desk.said.append, desk.hear)
    return desk


@pytest.mark.parametrize(("column", "said", "answers"), [
    ("crash", "yes", ("no", "!", "no")), ("water", "yes", ("no", "no", "!")),
    ("crash", "no", ("yes", "!", "no"))])
@pytest.mark.parametrize("donor", [TITLE, ""])
def test_what_a_row_says_otherwise_than_the_donor_is_asked_about(tmp_path, column, said, answers,
                                                                 donor):
    """`bench` asked about the row, and typing it went through in silence."""
    path = tmp_path / "bench.csv"
    desk = sit(path, brief(**{column: said}), "M1", "nmc-6s-240ah", donor, *answers, "")
    assert f"the brief's [donor] says {column} = {said}: which is it?" in desk.told
    assert "or ! to keep it as it is" in desk.told
    assert len(read_sheet(path).rows) == 1


def test_a_row_of_another_donor_and_one_that_says_the_same_go_through(tmp_path):
    desk = sit(tmp_path / "bench.csv", brief(water="yes"), "M1", "nmc-6s-240ah", "Ormsby quarry",
               "no", "no", "M2", "nmc-6s-240ah", TITLE, "no", "yes", "")
    assert "asked:" not in desk.told and "counts as" not in desk.told


def test_a_harm_that_counts_for_a_row_that_says_nothing_is_told(tmp_path):
    desk = sit(tmp_path / "bench.csv", brief(water="yes", crash="no"), "M1", "nmc-6s-240ah", TITLE,
               "", "", "")
    assert "counts as in water, as the brief's [donor] says" in desk.told
    assert "crashed" not in desk.told


def test_the_last_of_the_two_cells_brings_it_up(tmp_path):
    """The donor may be named after the crash: it is asked there."""
    desk = sit(tmp_path / "bench.csv", brief(crash="no"), "M1", "nmc-6s-240ah", "yes", TITLE, "!",
               "M2", "nmc-6s-240ah", "no", "Ormsby quarry", "",
               head="mark,module,crash,donor\n")
    assert desk.told.count("[donor] says crash = no") == 1


def test_without_a_donor_nothing_is_asked(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_text(HEAD, "utf-8")
    desk = Desk("M1", "nmc-6s-240ah", TITLE, "yes", "no", "")
    enter(open_session(path), desk.said.append, desk.hear)
    assert "asked:" not in desk.told


def test_the_command_hands_the_donor_of_the_brief_on(tmp_path):
    """The truck's brief says crash = no."""
    path = tmp_path / "bench.csv"
    path.write_text(HEAD, "utf-8")
    truck = Path(__file__).parents[2] / "examples" / "truck" / "brief.toml"
    done = CliRunner().invoke(main, ["bench", "--enter", str(path), "--brief", str(truck)],
                              input="M1\n\nHollin farm donor (invented)\nyes\n!\n\n\n")
    assert "the brief's [donor] says crash = no: which is it?" in done.output
