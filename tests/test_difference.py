"""What changed between two versions: inputs, results, decisions."""

from __future__ import annotations

import json

import pytest

from packcalc.difference import ADDED, CHANGED, REMOVED, difference
from packcalc.report.compose import report_document
from packcalc.report.data import as_dict
from packcalc.report.difference_report import difference_document
from packcalc.report.render import render
from tests.cli.runner import GOOD, run
from tests.review.cases import known, study

OLD = as_dict(report_document(study()))
WARMER = as_dict(report_document(study(surroundings__cable_ambient="50 degC")))


def test_the_same_report_differs_in_nothing() -> None:
    found = difference(OLD, OLD)
    assert found.nothing and found.same_design
    assert "Nothing differs" in render(difference_document(found), "text")


def test_one_entry_and_what_rests_on_it() -> None:
    found = difference(OLD, WARMER)
    assert [(c.key, c.kind) for c in found.inputs] == [("surroundings.cable_ambient", CHANGED)]
    assert found.inputs[0].after.startswith("50.00 °C")
    before, after = known(study()), known(study(surroundings__cable_ambient="50 degC"))
    assert {c.key for c in found.decisions if c.kind == CHANGED} == {
        k for k in before if k in after and before[k].digest != after[k].digest}
    assert {c.key for c in found.decisions if c.kind == ADDED} == set(after) - set(before)
    assert {c.key for c in found.decisions if c.kind == REMOVED} == set(before) - set(after)


def test_a_figure_of_a_named_part_that_changed_is_named() -> None:
    # named parts alone, as an earlier packcalc wrote them
    old = {**OLD, "parts_list": None, "part_figures": [
        {"part": "Invented 300", "sheet": "opening_time = 15 ms; carry = 10 s: 600 A, 60 s: 500 A"}]}
    new = {**OLD, "part_figures": [
        {"part": "Invented 300", "sheet": "opening_time = 15 ms; carry = 10 s: 600 A, 60 s: 480 A"}]}
    (one,) = difference(old, new).inputs
    assert (one.key, one.kind, one.after) == (
        "Invented 300: carry", CHANGED, "10 s: 600 A, 60 s: 480 A")


def test_it_reads_the_other_way_round() -> None:
    there, back = difference(OLD, WARMER), difference(WARMER, OLD)
    assert {(c.key, c.before, c.after) for c in there.decisions} == {
        (c.key, c.after, c.before) for c in back.decisions}


def test_another_design_is_said_to_be_one() -> None:
    other = as_dict(report_document(study(title="another, invented")))
    found = difference(OLD, other)
    assert not found.same_design
    assert "not versions of one design" in render(difference_document(found), "text")


def test_odd_data_never_breaks_the_comparison() -> None:
    odd = {**OLD, "inputs": "none", "decisions_grave": [1, {}, None], "meta": [], "first": 3}
    assert difference(OLD, odd).decisions and difference(odd, OLD).inputs


@pytest.fixture
def two(tmp_path):
    old, new = tmp_path / "old.toml", tmp_path / "new.toml"
    old.write_text(GOOD, "utf-8")
    new.write_text(GOOD.replace('"30 kW"', '"34 kW"'), "utf-8")
    return old, new


def test_diff_of_two_briefs_and_of_their_reports(two, tmp_path) -> None:
    ran = run("diff", *two, "--format", "json")
    data = json.loads(ran.out)
    assert ran.code == 0
    entries = {r["key"] for r in data["changed_inputs"]}
    assert entries == {"power.continuous"} and data["changed_decisions"]
    reports = []
    for path in two:
        reports.append(tmp_path / f"{path.stem}.json")
        run("report", path, "--out", reports[-1], "--quiet")
    again = json.loads(run("diff", *reports, "--format", "json").out)
    assert again["changed_decisions"] == data["changed_decisions"]
    page = tmp_path / "d.html"
    assert run("diff", *reports, "--out", page).code == 0 and page.stat().st_size > 5000


BAD = {"missing.json": (None, "cannot be read"), "torn.json": ('{"packcalc": "0', "middle"),
       "other.json": ('{"a": 1}', "is no report of packcalc"), "bytes.json": ("\udcff", "UTF-8")}


@pytest.mark.parametrize("name", BAD)
def test_what_is_no_report_is_refused_in_one_line(name, two, tmp_path) -> None:
    text, words = BAD[name]
    path = tmp_path / name
    if text is not None:
        path.write_bytes(text.encode("utf-8", "surrogateescape"))
    ran = run("diff", two[0], path)
    assert ran.code == 2 and words in ran.lines[0] and ran.out == ""
