"""A leak between two cells of a module with a chafed wire of a branch: one cell drives it.

Every figure is that of the invented examples, with its arithmetic beside it; "nobody" and "not
shown" are packcalc's own words.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from packcalc.checks import CAUTION, FAIL, PASS
from packcalc.findings import leaf
from packcalc.places.rivals import worst_of_rivals
from packcalc.protect import places as pl
from packcalc.report.places_report import headline
from packcalc.units import show
from tests.cases.studies import study

KEY = "chassis.second.inside_module_branch"


def place(found, key=KEY):
    return next(p for p in found.circuit.places if p.key == key)


def one_cell(found, name):
    """Lowest current of a branch in its chassis loop, the module in it changed for one cell.

    16S1P and its like: no module stands beside the faulted one.
    """
    feeds, module = found.circuit.feeds, place(found, f"chassis.second.branch.{name}").loop
    wires = feeds.module.voltage_empty.number / module.lowest.number \
        - feeds.module.resistance_long.number
    return feeds.cell.voltage_empty.number / (feeds.cell.resistance_long.number + wires)


def rival(found, name):
    return next(p for p in place(found).rivals if p.loop.rival.name == name)


def words(found):
    return next(n for n in place(found).loop.notes if n.startswith("one cell between"))


def test_one_cell_may_drive_less_than_the_branch_fuse_opens():
    truck = study("truck")
    at = place(truck)
    heater = rival(truck, "battery heater")
    assert heater is at.rivals[0]
    assert heater.lowest.number == pytest.approx(one_cell(truck, "battery heater"))
    # Talvik 40 branch clears within 1 s from 180 A on, and its tap has no contactor before it
    assert heater.lowest.number < 180.0 < place(
        truck, "chassis.second.branch.battery heater").lowest.number
    assert heater.at_lowest.clears is False and heater.between.clears is False
    assert "below 180.0 A" in heater.at_lowest.why
    # the place began at the heater's current, above that of the DC/DC converter
    assert at.at_lowest.clears is False and at.nobody and at.between.clears is False
    assert at.lowest.number == pytest.approx(one_cell(truck, "DC/DC converter"))


def test_it_is_a_caution_with_remedies_and_the_first_screen_counts_it():
    truck = study("truck")
    at = place(truck)
    assert {c.verdict for c in at.checks if c.verdict != PASS} == {CAUTION}
    # A monitor that opens contactors ends nothing where none stands in the loop.
    # The place says first what its worst loop has, and then what the others have.
    own = at.rivals[0].loop.remedies
    assert pl.ACTS not in own and any("behind the contactors" in r for r in own)
    assert at.remedies[:len(own)] == own
    assert at.title in headline(truck.circuit.places)


def test_every_branch_is_named_with_its_own_current_and_who_is_there():
    truck = study("truck")
    told = words(truck)
    for branch in truck.brief.branch:
        if branch.kind != "sense":
            assert f"{branch.name} " in told
    for name in ("battery heater", "DC/DC converter", "charge cable"):
        assert f"{name} {show(one_cell(truck, name), 'A')}: " in told
    # Talvik 10 branch and 2 tap clear one cell's current well within 1 s
    assert told.count(": fuse of ") == 2 and told.count(": nobody") == 3


@pytest.mark.parametrize(("name", "branch", "ends", "sees"), [
    ("truck", "DC/DC converter", "nobody", False), ("truck", "charge cable", "nobody", False),
    ("van", "charger", "contactor of that pole alone, on the lowest cell, nobody from ", True)])
def test_a_trip_is_told_only_where_one_cell_falls_below_its_level(name, branch, ends, sees):
    found = study(name)
    told = next(part for part in words(found).split("; ") if f"{branch} " in part)
    assert told.split(" A: ")[1].startswith(ends)
    # What the wires outside keep on one cell: I·R, against the level of its trip.
    at, level = words(found).split(f"{branch} ")[1], found.brief.management.undervoltage_trip
    current = float(at.split(" A")[0])
    drop = next(d.drop.number for d in place(
        found, f"chassis.second.branch.{branch}").loop.devices if d.drop is not None)
    # that of a module's cells, shared among them
    cells = min(found.brief.modules[p.entry].module.series for p in found.pack.layout.parts)
    assert (current * drop * cells < level.number) is sees


@pytest.mark.parametrize("entry", ["undervoltage_trip", "voltage_delay"])
def test_without_the_cells_trip_or_its_delay_no_trip_is_told(entry):
    assert "on the lowest cell" in words(study("van"))
    assert "on the lowest cell" not in words(study("van", **{f"management__{entry}": "unknown"}))


def test_the_worst_is_one_that_nobody_clears_before_one_that_a_trip_sees():
    heater = {"battery heater": {"fuse_part": "Talvik 2 tap", "fuse_rating": "2 A"}}
    # Its fuse now clears one cell's current: of those that no trip sees the smallest is the worst.
    found = study("truck", branch=heater)
    assert place(found).rivals[0] is rival(found, "DC/DC converter")
    assert place(found).at_lowest.clears is not True


def _answered(name, lowest, clears, contactor=False, between=None):
    """A rival with its answers: at the lowest, at the highest (its fuse), between."""
    def at(end, who):
        return pl.Cleared(end, leaf("current", "I", "A", lowest, "given"), "a fuse", who)
    v = leaf("x", "x", "A", lowest, "given")
    devices = (pl.Device("pole_contactor", "contactor", pl.CONTACTOR),) if contactor else ()
    loop = pl.Loop(KEY, "leak", "cells", v, v, v, v, v, v, devices, rival=pl.Rival(name, "each"))
    return pl.FaultPlace(loop, at("highest", True), at("lowest", clears), (),
                         None if between is None else at(pl.BETWEEN, between))


def test_the_worst_of_rivals_is_that_of_the_worst_of_all_its_answers():
    """A fuse that counts at the lowest says nothing of the currents above it."""
    other = replace(_answered("x", 1.0, True), loop=replace(_answered("x", 1.0, True).loop,
                                                            key="box", rival=None))
    rivals = [_answered("ends", 5.0, True), _answered("silent", 9.0, None, True),
              _answered("bursts", 50.0, True, between=False), _answered("sees", 2.0, True, True)]
    first, worst = worst_of_rivals((other, *rivals))
    # the silent one may be worse still, which the title left out
    assert first is other and worst.rivals[0] is rivals[2]
    assert worst.title == "leak as far as is known (not shown: silent)"
    note = worst.loop.notes[0]
    assert note.startswith("each: bursts 50.00 A: a fuse, nobody; silent 9.000 A: not shown")
    assert [note.index(n) for n in ("bursts", "silent", "ends", "sees")] == sorted(
        note.index(n) for n in ("bursts", "silent", "ends", "sees"))
    # the order in which they are entered changes nothing
    assert worst_of_rivals((other, *reversed(rivals)))[1].title == worst.title


def test_rivals_of_one_wire_fail_where_one_of_them_fails():
    def tapped(name: str, lowest: float, inherent: bool) -> pl.FaultPlace:
        one = _answered(name, lowest, False)
        return replace(one, loop=replace(one.loop, inherent=inherent, rival=replace(
            one.loop.rival, one_wire=True)))
    worst, other = tapped("ahead", 2.0, True), tapped("behind", 5.0, False)
    told, = worst_of_rivals((worst, other))
    assert told.title.endswith("ahead") and told.lowest is worst.lowest
    assert told.highest is other.highest and FAIL in {c.verdict for c in told.checks}
    assert FAIL not in {c.verdict for c in worst_of_rivals((worst,))[0].checks}


def test_a_branch_without_a_fuse_in_that_pole_is_never_told_as_cleared_by_it():
    bare = {"battery heater": {"fuse_part": "", "fuse_rating": "none"}}
    found = study("truck", branch=bare)
    at = place(found)
    assert at.rivals[0] is rival(found, "battery heater") and at.at_lowest.clears is False
    assert pl.OTHER_POLE_OF_BRANCH in at.remedies
    lowest = show(at.rivals[0].lowest.number, 'A')
    assert words(found).startswith(f"one cell between the faults, each branch at its lowest: "
                                   f"battery heater {lowest}: nobody up to ")


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_it_is_one_place_and_no_part_is_sized_for_it(name):
    found = study(name)
    at = place(found)
    assert sum(p.key.startswith(KEY) for p in found.circuit.places) == 1
    assert found.faults.lowest.number > at.lowest.number
    assert any("no branch fuse is sized" in note for note in at.loop.notes)
    opens = [c for i in found.items if i.key.startswith("branch.") for c in i.checks
             if c.title.startswith("Fuse opens at the lowest fault")]
    assert opens and not any(c.verdict == FAIL or at.title in c.reason for c in opens)
