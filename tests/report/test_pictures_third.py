"""What is a lower bound, or not known, is drawn and listed as that."""

from __future__ import annotations

from dataclasses import replace

import pytest

from packcalc.findings import leaf
from packcalc.report.drawings.circuit import BREAKS_OPEN, breaking_of, circuit_of
from packcalc.report.drawings.precharge_traces import _Frame, charging_traces
from packcalc.report.drawings.svg import text_width
from packcalc.report.drawings.voltage_picture import levels
from tests.report.drawn import CASES, figure, study
from tests.report.test_drawings import tree, words


@pytest.mark.parametrize("case", ["unknowns", "truck"])
def test_a_voltage_that_may_be_more_is_never_told_as_the_most(case: str) -> None:
    voltage, found = study(case).pack.highest_voltage, figure(case, "one_line")
    assert voltage.at_least == (case == "unknowns")
    drawn = " ".join(text for *_, text in words(tree(case, "one_line")))
    for said in (found.text, drawn):
        assert (f"at most {voltage.shown}" in said) != voltage.at_least
        assert (f"{voltage.shown} or more" in said) == voltage.at_least
    notes = [row[-1].text for row in found.data.rows]
    assert all((f"voltage: {voltage.shown} or more" in note) == voltage.at_least
               for note in notes)
    (level,) = [one for one in levels(study(case)) if one.key == "pack_highest"]
    assert (", at least" in " ".join(level.lines)) == voltage.at_least
    assert (f"at least {voltage.shown}" in figure(case, "voltage_picture").text) == \
        voltage.at_least


@pytest.mark.parametrize("case", CASES)
def test_a_breaking_current_counts_both_directions_or_is_not_known(case: str) -> None:
    found = study(case)
    items = {item.key: item for item in found.items}
    for part in circuit_of(found).parts:
        if part.kind != "contactor" or "charge" in part.name:
            continue
        item = items["string_contactors" if "string" in part.name else "contactors"]
        ways = [f for f in item.duty if "break" in f.title and "largest current" in
                f.title.lower()]
        assert len(ways) >= 2
        (row,) = [r for r in figure(case, "one_line").data.rows if r[0].text == part.tag]
        if all(f.known for f in ways):
            assert part.breaking.number == max(f.number for f in ways)
            assert BREAKS_OPEN not in row[-1].text
        else:
            assert not part.breaking.known and row[5].text == "–"
            assert BREAKS_OPEN in row[-1].text
            assert BREAKS_OPEN in " ".join(t for *_, t in words(tree(case, "one_line")))


def test_one_direction_alone_is_no_breaking_duty() -> None:
    """The charging figure is known, the discharging one is not: nothing is printed for both."""
    (item,) = [i for i in study("minibus in strings").items if i.key == "string_contactors"]
    ways = [f for f in item.duty if "must break" in f.title]
    assert len(ways) == 2
    for lost in ways:
        duty = tuple(leaf(f.title, f.symbol, f.unit, None, "given", note="no fuse curve is known")
                     if f is lost else f for f in item.duty)
        found = breaking_of(replace(item, duty=duty))
        assert not found.known and found.note == "no fuse curve is known"
    assert breaking_of(item).number == max(f.number for f in ways)


@pytest.mark.parametrize("case", CASES)
def test_no_line_downwards_runs_through_the_words_of_the_level(case: str) -> None:
    panel = charging_traces(study(case))
    if panel is None or panel.level is None:
        pytest.skip("no level is drawn")
    ((x, y, anchor, _),) = [w for w in words(tree(case, "precharge_traces"))
                            if w[3] == panel.level[0]]
    assert anchor == "end"
    width = text_width(panel.level[0])
    lines = [_Frame(panel, 0.0).at(time, 0.0)[0] for _, time in panel.times]
    assert not [at for at in lines if x - width < at < x]
