"""Who opens what lies below the path's own lowest fault, and fuses that nobody said stand there.

The truck with 12 m of charge cable that no branch describes: one module drives 451.9 A through a
leak and the chafed cable, whose cells fall below 2.700 V only up to 569.1 A, while the trip in the
other pole is sure from 675.0 A on. All data invented; curves and times are those of their rows.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from packcalc.charge_contactor import _bursts
from packcalc.charge_opening import faults_beyond, left_by_trips
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.clearing import clearing_by
from packcalc.part_checks.withstand import WITHSTANDS
from packcalc.place_contacts import PERHAPS_LOST
from packcalc.protect.coordination import COLD, EVERY, _governing, with_places
from packcalc.protect.places import PlacesAsked, fault_places
from packcalc.value import replace
from tests.cases.studies import study
from tests.cases.test_charge_opening import LEFT, item, own_check, place
from tests.cases.test_one_rule_of_melting import listed
from tests.cases.test_tenth_unspoken import OPEN_MIDDLE

pytestmark = pytest.mark.thorough

OWN = "of this path's own loop alone"
LONG = [{"name": "battery to inverter", "carries": "traction", "cable": "Vire 185",
         "length": "3.2 m"},
        {"name": "charging run", "carries": "charging", "cable": "Vire 25", "length": "12 m"}]
CHAFED = "chassis.second.branch.charge cable"


def check(found, title):
    return next(c for c in found.coordination.item.checks if c.title == title)


@pytest.fixture(scope="module")
def long_cable():
    return study("truck", without="charger", path__charge_contactor="none",
                 parts__charge_contactor=None, cables__route=LONG)


# -- below the path's own lowest fault -------------------------------------------------------------


def test_the_path_claims_no_current_of_a_place_that_nobody_opens_there(long_cable):
    where = place(long_cable, "chassis.second.route.charging run")
    # covers are the usual answer there, and yet the range begins with it
    assert where.loop.inherent and where.nobody
    assert where.lowest.number == long_cable.faults.lowest.number
    hole = where.between.current.number
    own = long_cable.coordination.asked.path_lowest
    assert where.lowest.number < hole < own.number
    held = check(long_cable, EVERY)
    assert held.verdict == CAUTION and where.title in held.reason and OWN in held.reason
    headline = long_cable.coordination.item.governing
    assert f"from {own.shown} to" in headline and OWN in headline
    assert where.lowest.shown not in headline
    assert "not at every fault place" in check(long_cable, COLD).reason


def test_the_shipped_paths_pass_beside_no_place_that_nobody_opens():
    # the truck's path passed while nobody opens 3000 A and more in a second chassis fault of it
    found = study("truck")
    where = place(found, "chassis.second.own_side")
    held = check(found, EVERY)
    assert where.nobody and held.verdict == CAUTION and where.title in held.reason
    own = found.coordination.asked.path_lowest
    assert f"from {own.shown} to" in found.coordination.item.governing
    # the van's charger has a fuse without a sheet: its places are shown to be ended by nobody
    told = check(study("van"), EVERY)
    assert told.verdict == CAUTION and "to open some current of: charge inlet; charger" \
        in told.reason


def test_a_place_that_is_not_shown_takes_the_pass_too():
    bare = study("truck").coordination
    passing = replace(next(c for c in bare.item.checks if c.title == EVERY), verdict=PASS,
                      reason="opened")
    asked, swept = bare.asked, bare.sweep
    held = replace(bare, item=replace(bare.item, governing=_governing(asked, swept), checks=tuple(
        passing if c.title == EVERY else c for c in bare.item.checks)))
    assert with_places(held, []) is held
    told = with_places(held, [], [], ["a place"])
    assert next(c for c in told.item.checks if c.title == EVERY).reason.endswith(
        "Nobody is shown to open some current of: a place")
    assert OWN in told.item.governing and OWN not in held.item.governing


# -- a branch fuse that bursts with every source ---------------------------------------------------


@pytest.fixture(scope="module")
def bursting(tmp_path_factory):
    # 28060 A of the modules, 43190 A with every source: above its 30000 A from 14870 A on
    parts = listed(tmp_path_factory.mktemp("l"), Talvik_80_branch={"breaking_capacity": "30000 A"})
    return study("truck", parts__file=parts)


def test_a_charge_contactor_counts_no_fuse_that_the_fault_places_say_bursts(bursting):
    where = place(bursting, "inlet.charge inlet to battery")
    assert where.between.clears is False and "14870 A" in where.between.span
    held = own_check(bursting, LEFT)
    assert held.verdict == FAIL and held.demand.number == where.loop.highest.number
    sheet = {r.what: r.value for r in item(bursting).specification}
    assert sheet["breaks"].startswith(f"at least {where.loop.highest.shown}")  # a motor adds
    assert sheet["makes and passes"].endswith("not known")
    for title in ("closes onto a fault and passes what the fuse lets through",
                  "closed, it withstands what the fuse lets through"):
        assert own_check(bursting, title).verdict == NOT_EVALUATED
        assert own_check(study("truck", motor__short_circuit_current="1 A"), title).verdict == PASS


def test_what_stands_behind_a_fuse_that_bursts_does_not_count_either(bursting):
    answers = clearing_by(bursting.coordination, bursting.brief, None)
    loop = place(bursting, "inlet.charge inlet to battery").loop
    (one,) = faults_beyond(answers, [loop]).swept
    names = [name for name, _ in one.fuses]
    assert names == ["Talvik 80 branch", "Talvik 400 full range"]
    above = one.current > 14880.0
    assert np.isnan(one.clears[above]).all()
    assert not np.isnan(one.fuses[0][1][one.current < 14860.0]).any()


# -- fuses of which nobody said where they stand ---------------------------------------------------


def unsaid(found):
    """The chafed wire of a fuse in both poles, as where nobody said in how many it stands."""
    loop = place(found, CHAFED).loop
    own = loop.devices[0]
    assert own.key == "branch_fuse.charge cable"
    return loop, replace(loop, devices=loop.devices[1:], passed=(own, *loop.passed),
                         inherent=True, perhaps=(own.key,))


def test_a_place_fails_with_a_fuse_perhaps_as_it_fails_with_the_fuse(bursting):
    told, loop = unsaid(bursting)
    assert loop.as_fused == told and not told.inherent
    # taken out again it changes nothing
    (one,) = fault_places(PlacesAsked((replace(loop, passed=()),), lambda *_: (False, None, "")))
    assert one.nobody and one.loop.inherent
    bare, good = (clearing_by(found.coordination, found.brief, None)
                  for found in (bursting, study("truck")))
    for answers, inherent in ((bare, False), (good, True)):
        (one,) = fault_places(PlacesAsked((loop,), answers, spoiling=answers.spoils))
        assert one.nobody and one.loop.inherent is inherent
    # no sheet at hand: it may clear, and covers stay the answer for the pole without it
    (one,) = fault_places(PlacesAsked((loop,)))
    assert one.loop.inherent


def test_the_charge_contactor_is_held_to_what_it_met_did_the_fuse_stand_there(bursting):
    _, loop = unsaid(bursting)
    load = loop.lowest
    bare, good = (clearing_by(found.coordination, found.brief, None)
                  for found in (bursting, study("truck")))
    for answers, most in ((bare, loop.highest.number), (good, 0.0)):
        faults = faults_beyond(answers, [loop])
        assert left_by_trips(answers, faults, load).number == loop.highest.number
        assert left_by_trips(answers, faults.firm, load).number == most
    without = replace(good, sides={})  # unnamed: what it clears is to be found
    assert not left_by_trips(without, faults_beyond(without, [loop]).firm, load).known
    # where covers are the answer either way nothing is held
    assert faults_beyond(good, [replace(loop, perhaps=())]).firm.loops == ()


def test_a_fuse_perhaps_in_the_middle_is_no_milder_than_one_that_is_not_named():
    # told at 1, 8 or 15 and not named: nobody is shown to clear any fault that runs through it
    held = own_check(study("truck", **OPEN_MIDDLE), WITHSTANDS)
    assert held.verdict == NOT_EVALUATED
    assert PERHAPS_LOST.split("'")[2] in held.reason
    assert own_check(study("truck"), WITHSTANDS).verdict == CAUTION


def test_no_heat_of_a_fuse_is_told_beyond_what_it_breaks(bursting):
    answers = clearing_by(bursting.coordination, bursting.brief, None)
    side, loop = answers.sides["branch_fuse.charge cable"], place(
        bursting, "inlet.charge inlet to battery").loop
    assert _bursts(side, loop) and math.isclose(side.high, 30000.0)
    assert not _bursts(side, replace(loop, all_sources=loop.highest, sources=()))
