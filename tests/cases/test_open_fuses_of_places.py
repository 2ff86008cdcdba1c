"""Fuses of fault places that nobody told in full: no answer left open is better than a stated one.

Invented examples and parts with entries changed.
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.places.shared import SAY_MAIN
from packcalc.places.stands import INSIDE_KEY, PERHAPS
from tests.cases.studies import study
from tests.cases.test_charge_cable_poles import CABLES, LETS, own, poles
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough

STANDS, OPENS = ("Conductor stands what the fuse lets through",
                 "Fuse opens at the lowest fault within 1 s")
POLE = "chassis.second.branch.charge cable"


def place(found, key):
    (one,) = [p for p in found.circuit.places if p.key == key]
    return one


def item(found, key):
    return next(i for i in found.items if i.key == key)


def only(checks, title):
    (check,) = [c for c in checks if c.title == title]
    return check


def untimed(found, path):
    return next(c for _, c in found.checks if "untimed" in c.title and path in c.title)


# -- in how many poles --------------------------------------------------------------------------


def test_poles_left_open_ask_of_the_fuse_what_both_do():
    # it was asked the far end alone, as with one: 1156 A, and 706.0 A with both
    both, unknown = (only(item(poles("truck", fused), "branch.charge cable").checks, OPENS)
                     for fused in ("both", "unknown"))
    assert unknown.figure.number == both.figure.number == pytest.approx(706.0, rel=1e-3)


def test_poles_left_open_are_told_as_the_worst_of_both_answers():
    one, unknown = (place(poles("truck", fused), POLE) for fused in ("one", "unknown"))
    assert one.nobody and unknown.nobody
    assert unknown.lowest.number <= one.lowest.number
    assert "in how many poles its own fuse stands is left open" in unknown.loop.notes[0]


@pytest.mark.parametrize("example, milder", [
    ("van", "branch.insulation monitor"), ("minibus", "branch.insulation monitor"),
    ("truck", "branch.battery heater")])
def test_a_main_fuse_of_which_nobody_said_in_how_many_poles_may_stand_in_the_other(
        example, milder):
    """Left open it stood in one pole: an unnamed one spoilt nothing, in both poles it did."""
    one, both, unknown = (study(example, path__main_fuse=stands, parts__main_fuse=None)
                          for stands in ("one pole", "both poles", None))
    rank = (PASS, CAUTION, NOT_EVALUATED, FAIL)

    def worst(found, key):
        return max((c.verdict for c in place(found, key).checks), key=rank.index)

    keys = {p.key for p in both.circuit.places if p.key.startswith("chassis.second")}
    for key in [p.key for p in unknown.circuit.places if p.key in keys and not p.nobody]:
        assert rank.index(worst(unknown, key)) >= rank.index(worst(both, key)), key
    key = f"chassis.second.{milder}"
    told = place(unknown, key)
    assert worst(one, key) in (PASS, CAUTION) and worst(unknown, key) == NOT_EVALUATED
    assert told.remedies[0] == SAY_MAIN and f"not named{PERHAPS}" in str(told.answers)


@pytest.mark.parametrize("example", ["van", "minibus", "truck"])
def test_one_that_is_shown_to_break_it_changes_nothing_there(example):
    one, unknown = (study(example, path__main_fuse=stands) for stands in ("one pole", None))
    assert [(p.key, p.lowest.value, [(a.clears, a.device, a.time and a.time.value)
                                     for a in p.answers]) for p in one.circuit.places] == [
        (p.key, p.lowest.value, [(a.clears, a.device, a.time and a.time.value)
                                 for a in p.answers]) for p in unknown.circuit.places]
    assert [(c.title, c.verdict) for _, c in one.checks] == [
        (c.title, c.verdict) for _, c in unknown.checks]


# -- a lowest breaking current above where the curve ends in a second -----------------------------


def test_what_a_fuse_melts_at_and_does_not_break_lessens_no_heat(tmp_path):
    # 13230 A²s; a lowest breaking current of 1300 A left 4800 A²s, and a pass
    told = {"motor__short_circuit_current": "1 A"}  # one that is not told may burst the fuse
    base = study("truck", **told)
    worse = study("truck", **told, parts__file=listed(
        tmp_path, Talvik_80_branch={"lowest_breaking_current": "1300 A"}))
    was, now = (only(item(found, "branch.charge cable").checks, STANDS)
                for found in (base, worse))
    assert was.verdict == PASS and now.verdict == NOT_EVALUATED
    assert now.demand.number >= was.demand.number * (1.0 - 1e-6)
    assert "to 1300 A, its lowest breaking current, it melts and does not break" in now.reason


@pytest.mark.parametrize("floor", ["700 A", "1300 A"])
def test_nor_in_the_charge_cable(tmp_path, floor):
    # 129600 A²s, and 13750 A²s with 700 A
    was = own(study("truck"), LETS)
    now = own(study("truck", parts__file=listed(
        tmp_path, Talvik_80_branch={"lowest_breaking_current": floor})), LETS)
    assert now.demand.number >= was.demand.number * (1.0 - 1e-6) and now.verdict != PASS


# -- a main fuse between the modules of a string --------------------------------------------------


def test_a_main_fuse_between_the_modules_spoils_what_a_string_fuse_clears(tmp_path):
    # the string fuse has cleared all above 2054 A as the contact parts; the main fuse between the
    # modules melts up to 3000 A and does not break it
    def shorted(stands):
        return study("minibus", path__main_fuse=stands, parts__file=listed(
            tmp_path, Talvik_250_high_voltage={"lowest_breaking_current": "3000 A"}),
            pack__fuse_after=6 if stands == "mid-pack" else 0)

    pole, middle = (untimed(shorted(stands), "inside a string").demand.number
                    for stands in ("one pole", "mid-pack"))
    assert pole == pytest.approx(2054.0, rel=1e-3) and middle >= 3000.0
    assert [d.key for d in place(shorted("mid-pack"), "string").loop.passed] == ["main_fuse"]


# -- a charge cable that no branch describes ------------------------------------------------------


def test_a_charge_cable_without_a_branch_may_have_a_fuse_of_its_own():
    # an inlet with a fuse of no sheet was not shown, one of which nobody spoke was cleared
    cable = CABLES["truck"][1]
    found = study("truck", without="charger")
    for key in (f"inlet.{cable}", f"chassis.second.route.{cable}"):
        one = place(found, key)
        assert f"fuse of {cable}{PERHAPS}" in [d.name for d in one.loop.passed]
        assert not one.shown


def test_a_branch_that_says_none_leaves_no_fuse_open():
    found = study("truck", branch={"charge cable": {"fuse_rating": "none", "fuse_part": None,
                                                    "length": "unknown"}})
    one = place(found, f"inlet.{CABLES['truck'][1]}")
    assert not any(d.name.endswith(PERHAPS) and d.kind == "fuse" for d in one.loop.passed)


# -- a disconnect of which nobody said where, or whether, it stands --------------------------------


@pytest.mark.parametrize("after", [6, "unknown"])
def test_a_disconnect_left_open_may_hold_a_fuse_as_one_that_stands_may(after):
    # with a place and no name it might, with neither it did not
    found = study("minibus", parts__disconnect=None, pack__disconnect_after=after)
    assert INSIDE_KEY in [d.key for d in place(found, "terminals").loop.passed]


def test_none_in_the_middle_holds_none():
    found = study("minibus", parts__disconnect=None, pack__disconnect_after=0)
    assert INSIDE_KEY not in [d.key for d in place(found, "terminals").loop.passed]


def test_a_fuse_in_the_disconnect_takes_from_the_lowest_fault(tmp_path):
    # 0.6 mΩ of path.fuse_resistance were in the loop for every fuse but that one
    def lowest(inside, key):
        folder = tmp_path / inside
        folder.mkdir(exist_ok=True)
        found = study("minibus", parts__file=listed(folder, Port_400={"fuse_inside": inside}))
        return place(found, key).lowest.number

    for key in ("chassis.second.inside_module", "chassis.second.branch.floor heater"):
        assert lowest("yes", key) < lowest("no", key)
