"""Designed corners of an overload that lasts longer than k²S² holds; everything is invented.

The plain fuse opens 1000 A in 1 s and lets 1e6 A²s through at every current above (see the
coordination cases), the contactor 600 A in 0.1 s: below 600 A nobody opens anything by them. The
cable carries 260 A for ever. A warming of 36e6 A²s is 100 s at 600 A, t = I²t/I² without any heat
lost (IEC 60364-4-43, 434.5.2, solved for t).
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.part_checks.long_overload import opened_within
from packcalc.part_checks.sweep import Trips
from packcalc.protect.coordination import coordinate, sweep_pair
from tests.cases.studies import study
from tests.cases.test_coordination_cases import asked, check, contactor, f, fuse, trips

LASTS = "overload that lasts longer than 5.000 s"
STRONG = {"break_discharge": "5000 A", "break_charge": "5000 A"}


def held(warming=36e6, delay=90.0, overload=255.0, **changes):
    given = {} if overload is None else {
        "overload": f("overload trip", "A", overload), "overload_delay": f("delay", "s", delay)}
    return check(coordinate(asked(**{
        "contactor": contactor(**STRONG), "trips": trips(to_opened=True, **given),
        "cable_warming": None if warming is None else f("warming", "A²s", warming)} | changes)),
        LASTS)


@pytest.mark.parametrize(("delay", "verdict"), [
    (99.9, PASS), (100.1, NOT_EVALUATED)])     # 100 s until it is warm, less 14 ms of rise
def test_the_slow_trip_against_the_cable_at_the_most_it_is_left_with(delay, verdict):
    found = held(delay=delay)
    assert found.verdict == verdict
    assert found.figure.number == pytest.approx(100.0, rel=1e-6)
    assert f"K on the overload trip opens it in {delay}" in found.reason
    assert "from 260.0 A to 600.0 A" in found.reason and "worst at 600.0 A" in found.reason


def test_between_cable_and_trip_nobody_opens_and_a_named_trip_makes_it_a_failure():
    # the trip lies 40 A above what the cable carries: 260 to 300 A, 36e6/300² = 400 s
    found = held(overload=300.0, peak_load=f("peak", "A", 280.0))
    assert found.verdict == FAIL and found.demand is None
    assert found.figure.number == pytest.approx(400.0, rel=1e-6)
    assert "nobody is shown to open it in that time" in found.reason


@pytest.mark.parametrize(("peak", "length", "verdict"), [
    (300.0, 10.0, CAUTION), (300.0, 401.0, FAIL), (299.0, 10.0, FAIL)])
def test_the_load_s_own_limit_is_named_and_is_no_protection(peak, length, verdict):
    found = held(overload=300.0, peak_load=f("peak", "A", peak),
                 peak_duration=f("peak time", "s", length))
    assert found.verdict == verdict
    assert ("only the load's own limit ends it" in found.reason) == (verdict == CAUTION)


def test_without_a_named_trip_it_is_nobody_and_a_question():
    found = held(overload=None)
    assert found.verdict == NOT_EVALUATED and "no overload trip is named" in found.reason
    # up to the quick trip's 600 A: 36e6/600² = 100 s
    assert found.figure.number == pytest.approx(100.0, rel=1e-6)


def test_a_weak_contactor_opens_no_overload():
    # it breaks 400 A: from there to where the fuse counts nobody does
    found = held(contactor=contactor(break_discharge="400 A", break_charge="400 A"))
    assert found.verdict == FAIL and "nobody is shown" in found.reason


def test_a_fuse_whose_curve_reaches_down_ends_it():
    slow = fuse(clearing='"0.01 s: 10000 A; 1 s: 1000 A; 60 s: 270 A"',
                melting='"0.01 s: 9000 A; 1 s: 900 A; 50 s: 260 A"', **{"class": "gR"})
    found = held(overload=None, trips=trips(to_opened=True), fuse=slow,
                 cable_current=f("Iz", "A", 275.0))
    assert found.verdict == PASS
    # beside 275 A the curve is slowest against the cable: t = 60·(275/270)^n, n by its two points
    assert found.demand.number < found.figure.number and "F opens it" in found.reason


def test_a_cable_that_its_peak_leaves_nothing_is_not_evaluated():
    found = held(warming=None)
    assert found.verdict == NOT_EVALUATED and "the peak load leaves the cable nothing" in found.reason


def test_a_quick_trip_below_the_cable_leaves_nothing_of_it():
    found = held(delay=4.0)
    assert found.verdict == PASS and found.figure.number == 255.0 and found.demand.number == 260.0


def test_a_trip_between_two_holes_is_told_and_the_fuse_opens_from_where_it_really_does():
    # faulty: the 350 A trip and its sensor's 25 A open from 375 A to the 1000 A that the contactor
    # breaks; the fuse takes 5 s at 1850 A by its curve, 10 s at 1700 A and 1 s at 2250 A
    found = next(c for c in study("faulty").coordination.item.checks if LASTS in c.title)
    assert found.reason.startswith("from 104.8 A to 375.0 A and from 1000 A to 1850 A, outside")
    assert "long before the 5.000 s are over" in found.reason


def test_the_cable_says_where_a_longer_overload_is_held():
    words = "Beyond 5 s k²S² does not hold"
    for item in study("truck").items:
        if item.key.startswith("cable."):
            told = any(words in note for note in item.notes)
            assert told == (item.key == "cable.battery to inverter")
    assert any(LASTS in c.title for c in study("truck").coordination.item.checks)


def test_from_where_everything_above_is_opened_in_five_seconds():
    # the weak contactor opens 600 to 1500 A, the fuse from √(1e6/5 s) = 447 A by its curve, were
    # it given so far down; it is given from 1000 A
    assert opened_within(sweep_pair(asked()), 5.0).number == 600.0
    assert opened_within(sweep_pair(asked(contactor=None, trips=Trips())), 5.0).number \
        == pytest.approx(1000.0)
