"""Documents and commands of the bench; the example sheets are graded as they ship."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from packcalc.bench.door import grade_file
from packcalc.bench.next_tests import bench_hours, next_tests
from packcalc.bench.teardown import teardown
from packcalc.cli_bench import register
from packcalc.door import Door
from packcalc.findings import leaf
from packcalc.reading.brief_file import read_brief
from packcalc.report.bench_report import bench_document, teardown_document
from packcalc.report.render import render
from tests.bench.rows import GOOD, bench_of, lot_of, text_of

ROOT = Path(__file__).parents[2]
EXAMPLES = ("truck", "van", "minibus")


@click.group(cls=Door)
def main():
    """The commands of the bench alone."""


register(main)


def example(name: str):
    brief = read_brief(ROOT / "examples" / name / "brief.toml")
    return brief, grade_file(ROOT / "examples" / name / "bench.csv", brief)


def run(*arguments: str, typed: str = ""):
    return CliRunner().invoke(main, list(arguments), input=typed)


@pytest.mark.parametrize("name", EXAMPLES)
def test_example_sheets_are_invented_and_say_so(name):
    head = (ROOT / "examples" / name / "bench.csv").read_text("utf-8").splitlines()[0]
    assert "nvented" in head and "this file is the record" in head


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_example_has_enough_good_modules_for_its_layout(name):
    _, lot = example(name)
    check = lot.checks[0]
    assert check.title == "enough good modules for the places" and check.verdict == "pass"


def test_the_van_is_full_of_traps():
    _, lot = example("van")
    asked = {(q.mark, q.quantity) for q in lot.questions}
    assert asked >= {("L03", "resistance"), ("L05", "capacity"), ("L08", "voltage"),
                     ("L10", "module"), ("L27", "cells")}
    grades = {m.row.mark: m.grade for m in lot.modules}
    assert grades["L21"] == grades["L19"] == grades["L27"] == "reject"
    assert grades["L31"] == grades["L23"] == "quarantine"
    why = {m.row.mark: m.why for m in lot.modules}
    assert "voltage cannot tell this: LFP" in why["L13"]
    assert "the instrument cannot tell this" in why["L15"]
    assert "was read with 9.000 V" in why["L17"]
    assert "uncorrectable: measured at 6.000 °C" in why["L25"]
    assert "uncorrectable: not noted" in why["L29"]
    best = max((m for m in lot.modules if m.capacity_common.known),
               key=lambda m: m.capacity_common.number)
    assert best.capacity_common.number <= 100 * 3600


@pytest.mark.parametrize("format_", ["text", "markdown", "html", "json", "csv"])
def test_every_format_prints_bench_and_teardown(format_):
    brief, lot = example("truck")
    for document in (bench_document(lot, brief), teardown_document(teardown(brief.donor), brief)):
        assert len(render(document, format_)) > 500


def test_cautions_stand_on_both_documents():
    brief, lot = example("truck")
    for document in (bench_document(lot, brief), teardown_document(teardown(brief.donor), brief)):
        text = render(document, "text")
        assert "A battery cannot be switched off" in text and "licensed electrician" in text


def test_machine_tables_carry_units_in_their_keys():
    brief, lot = example("van")
    data = json.loads(render(bench_document(lot, brief), "json"))
    words = json.dumps(data)
    for key in ("capacity_Ah", "resistance_mohm", "share_percent", "hours_each_h"):
        assert key in words


def test_next_tests_come_most_decisive_first_and_count_hours():
    rows = [{"mark": f"M{i}", "module": "nmc-6s-240ah"} for i in range(3)]
    lot = lot_of(*rows, bench=bench_of(modules_in_pack=16))
    tests = next_tests(lot)
    assert [t.kind for t in tests] == [
        "cold pulse", "insulation", "rest voltage", "cells", "pulse", "capacity", "self-discharge"]
    capacity = next(t for t in tests if t.kind == "capacity")
    assert "discharge with 48.00 A" in capacity.how and "3.000 V" in capacity.stop
    assert capacity.hours.number == 10 * 3600  # 1/0.5 + 1 + 5 + 1 + 0.5/0.5 h
    one, two = bench_hours(tests, lot.bench), bench_hours(tests, bench_of(testers=2))
    assert one.number == pytest.approx(2 * two.number)
    assert one.number == pytest.approx(
        (3 * (10 + 0.75 + 3 / 12 + 1 / 6) + 0.75) * 3600)


def test_flat_curves_are_rested_near_empty():
    lot = lot_of({"mark": "A", "module": "lfp-8s-100ah"}, {"mark": "B", "module": "nmc-6s-240ah"},
                 bench=bench_of(modules_in_pack=16))
    how = {t.module.id: t.how for t in next_tests(lot) if t.kind == "self-discharge"}
    assert how["lfp-8s-100ah"].startswith("rest at 15 % charge")
    assert how["nmc-6s-240ah"].startswith("rest at 50 % charge")


def test_nothing_waits_when_all_is_told():
    lot = lot_of(GOOD, bench=bench_of(modules_in_pack=1))
    warm = leaf("coldest", "θ_min", "°C", 288.15, "given")
    lot = replace(lot, need=replace(lot.need, coldest=warm))
    assert next_tests(lot) == ()
    assert "Nothing is waiting for a test" in render(bench_document(lot), "text")


def test_four_hundred_modules_take_no_longer_than_a_moment(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_text(text_of(*({**GOOD, "mark": f"M{i}"} for i in range(400))), "utf-8")
    start = time.monotonic()
    lot = grade_file(path)
    assert len(lot.modules) == 400
    assert time.monotonic() - start < 4


# -- commands ---------------------------------------------------------------------------------


def test_bench_command_reads_the_sheet_that_the_brief_names():
    done = run("bench", "--brief", str(ROOT / "examples/truck/brief.toml"))
    assert done.exit_code == 0 and "18 modules" in done.stdout


def test_questions_go_to_standard_error_and_the_answer_is_no():
    place = str(ROOT / "examples/van/bench.csv")
    done = run("bench", place, "--brief", str(ROOT / "examples/van/brief.toml"))
    assert done.exit_code == 1
    lines = done.stderr.splitlines()
    assert f"{place}:5: resistance_mohm: module L03: " in lines[0]
    assert lines[-1].startswith("the answer is no: ")


def test_faults_end_with_two_and_one_line_each(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_text("mark,module,mass_kg\nA,nmc-6s-240ah,x\nA,,3\nB\n", "utf-8")
    done = run("bench", str(path))
    assert done.exit_code == 2 and done.stdout == ""
    assert len(done.stderr.splitlines()) == 4


def test_no_sheet_named_is_one_line(tmp_path):
    done = run("bench")
    assert done.exit_code == 2 and "which bench sheet?" in done.stderr


def test_enter_keeps_a_row(tmp_path):
    path = tmp_path / "bench.csv"
    done = run("bench", "--enter", str(path), typed="M1\nnmc-6s-240ah\n.\n\n")
    assert done.exit_code == 0 and "1 added" in done.stdout
    assert "HIGH VOLTAGE" in done.stdout
    assert path.read_text("utf-8").splitlines()[1].startswith("M1,nmc-6s-240ah,")


def test_teardown_command(tmp_path):
    done = run("teardown", str(ROOT / "examples/truck/brief.toml"), "--format", "json")
    assert done.exit_code == 0
    assert "Two people" in done.stdout and "pull the service plug" in done.stdout
    done = run("teardown", str(ROOT / "examples/van/brief.toml"))
    assert done.exit_code == 2 and "no [donor] section" in done.stderr
