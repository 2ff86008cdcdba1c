"""A link that melts in an overload before the trip has opened, and breaks nothing.

Invented parts with the arithmetic beside each figure. The plain link is rated 250 A, breaks from
1000 A on and melts after 10 s at 700 A, after 60 s at 600 A: between them t = 10·(I/700)^n with
n = ln 6/ln(600/700) = −11.62, a straight line on logarithmic scales.
"""

from __future__ import annotations

from math import log

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.part_checks.overload import MEETS
from packcalc.protect.coordination import coordinate
from tests.cases.studies import study
from tests.cases.test_coordination_cases import asked, check, contactor, f, fuse, trips
from tests.cases.test_one_rule_of_melting import SKARV, STRONG, listed

pytestmark = pytest.mark.thorough

BEARS, ENDS, LASTS = ("bears an overload until", "ends an overload of",
                      "overload that lasts longer than")
SLOPE = log(6.0) / log(600.0 / 700.0)
CURVE = '"0.01 s: 8000 A; 1 s: 900 A; 10 s: 700 A; 60 s: 600 A"'


def link(**changes):
    return fuse(**{"class": "aR", "lowest_breaking_current": "1000 A", "melting": CURVE} | changes)


def held(delay, overload=250.0, quick=650.0, part=None, **changes):
    """The slow trip of 250 A up to the quick one of 650 A, which the lowest fault lies above."""
    return coordinate(asked(
        fuse=part or link(), contactor=contactor(**STRONG), low=700.0,
        trips=trips(current=quick, overload=f("overload trip", "A", overload),
                    overload_delay=f("overload delay", "s", delay)),
        **{"peak_load": f("peak", "A", 240.0), "cable_warming": f("warming", "A²s", 1e9),
           "cable_withstand": f("k²S²", "A²s", 1e9)} | changes))


@pytest.mark.parametrize(("delay", "verdict"), [
    (20.0, PASS),           # at 650 A it melts after 10·(650/700)^n = 23.66 s
    (23.6, PASS), (23.7, FAIL), (40.0, FAIL)])
def test_where_the_link_melts_before_the_slow_trip_nobody_opens_the_overload(delay, verdict):
    assert 10.0 * (650.0 / 700.0) ** SLOPE == pytest.approx(23.66, abs=0.01)
    found = held(delay)
    told = check(found, MEETS)
    assert told.verdict == verdict
    for title in (BEARS, ENDS):
        assert check(found, title).verdict == (PASS if verdict == PASS else NOT_EVALUATED)
    assert check(found, LASTS).verdict == verdict
    if verdict == FAIL:
        # it melts as the trip has opened: I = 700·(t/10)^(1/n), t the delay and 20 ms of opening;
        # the current's rise of less than seven time constants of 2 ms moves it by less than 1e-4
        meets = 700.0 * ((delay + 0.02) / 10.0) ** (1.0 / SLOPE)
        assert f"no valid pair: from {meets:.1f} A to 650.0 A F melts before the contactor has " \
            "opened and does not break it: its lowest breaking current is 1000 A" in told.reason


def test_the_printed_delay_is_tried_and_holds():
    # 0.99 of 23.66 s, cut to two figures
    told = check(held(40.0), MEETS)
    assert told.remedy == "an overload trip that has opened within 23.00 s or a full-range fuse"
    assert check(held(22.96), MEETS).verdict == PASS  # 20 ms of opening and 14 ms of rise


def test_a_trip_that_would_cut_the_load_s_own_peak_is_no_cure():
    # a peak of 400 A for 30 s lies above the trip of 250 A
    told = check(held(40.0, peak_load=f("peak", "A", 400.0),
                      peak_duration=f("peak time", "s", 30.0)), MEETS)
    assert told.verdict == FAIL and told.remedy == "a full-range fuse"


def test_no_cure_is_printed_that_an_unknown_load_might_forbid():
    told = check(held(40.0, peak_load=f("peak", "A", None)), MEETS)
    assert told.verdict == FAIL and told.remedy == "a full-range fuse"


def test_a_lower_setting_alone_is_a_cure_where_the_delay_serves():
    # rated 250 A, the trip acts from 280 A for sure; from 255 A its curve tells
    part = link(melting='"0.01 s: 8000 A; 1 s: 900 A; 60 s: 660 A; 3600 s: 255 A"')
    told = check(held(5.0, overload=280.0, part=part, cable_current=f("Iz", "A", 300.0),
                      peak_load=f("peak", "A", 200.0)), MEETS)
    assert told.verdict == FAIL and told.figure.number > told.demand.number == 0
    assert told.remedy == \
        "an overload trip that surely acts at or below 250.0 A or a full-range fuse"
    assert check(held(5.0, overload=250.0, part=part), MEETS).verdict == PASS


def test_below_its_last_point_the_curve_is_asked_for_and_nothing_is_passed():
    # 60 s at 600 A is the last point: below it the link melts later, and how much is not known
    found = held(60.1)
    told = check(found, MEETS)
    assert told.verdict == FAIL  # above 600 A the curve tells
    short = held(60.1, quick=590.0)
    told = check(short, MEETS)
    assert told.verdict == NOT_EVALUATED
    assert "from 250.0 A to 590.0 A F does not break it" in told.reason
    assert "ask for the melting curve down to 250.0 A" in told.reason
    assert check(short, LASTS).verdict == check(short, BEARS).verdict == NOT_EVALUATED
    assert check(held(59.9, quick=590.0), MEETS).verdict == PASS


def test_without_a_curve_it_may_melt_at_once():
    told = check(held(20.0, part=link(melting="", melting_i2t="")), MEETS)
    assert told.verdict == NOT_EVALUATED and "ask for the melting curve" in told.reason


def test_a_floor_that_nobody_states_is_a_question():
    told = check(held(40.0, part=link(lowest_breaking_current="")), MEETS)
    assert told.verdict == NOT_EVALUATED and "ask for the lowest breaking current" in told.reason


@pytest.mark.parametrize(("overload", "verdict"), [(250.0, PASS), (251.0, NOT_EVALUATED),
                                                   (605.0, FAIL)])
def test_between_what_the_link_carries_and_the_trip_nobody_acts(overload, verdict):
    # 250 A for ever; at 251 A its curve says nothing, at 600 to 605 A that it melts within 60 s
    told = check(held(5.0, overload=overload, cable_current=f("Iz", "A", 700.0)), MEETS)
    assert told.verdict == verdict
    assert ("from 250.0 A to 251.0 A" in told.reason) == (overload == 251.0)


def test_it_is_asked_too_where_the_trip_lies_inside_the_fault_range():
    told = check(held(5.0, overload=720.0, quick=800.0), MEETS)
    assert told.verdict == FAIL and "from 600.0 A to 720.0 A F melts" in told.reason


def test_a_full_range_link_breaks_whatever_it_melts_at():
    full = link(**{"class": "gR", "lowest_breaking_current": ""})
    assert check(held(40.0, part=full), MEETS).verdict == PASS
    assert check(held(40.0, part=full), ENDS).verdict == PASS


# -- the truck --------------------------------------------------------------------------------


def test_the_truck_with_a_partial_range_fuse_is_asked_for_its_curve():
    # melts after 10 s at 1000 A, its last point; the trip of 380 A and 25 A opens after 12 s
    found = study("truck", **SKARV).coordination
    told = check(found, MEETS)
    assert told.verdict == NOT_EVALUATED
    assert "from 400.0 A to 675.0 A Skarv 400 fast does not break it" in told.reason
    assert check(found, ENDS).verdict == check(found, BEARS).verdict == NOT_EVALUATED


@pytest.mark.parametrize(("delay", "verdict"), [
    ("12 s", CAUTION), ("15 s", CAUTION), ("15.4 s", FAIL), ("30 s", FAIL)])
def test_the_truck_by_the_length_of_its_overload_delay(tmp_path, delay, verdict):
    # 10 s at 700 A, 60 s at 600 A: 15.26 s at the 675 A of the quick trip; rated 405 A here, so
    # that nothing lies between the link's own current and the trip
    points = "0.01 s: 2800 A; 0.1 s: 1680 A; 1 s: 1200 A; 10 s: 700 A; 60 s: 600 A"
    path = listed(tmp_path, Skarv_400_fast={"melting": points, "rated_current": "405 A"})
    found = study("truck", parts__file=path, management__overload_delay=delay,
                  **SKARV).coordination
    told = check(found, MEETS)
    # opened from pole to pole: places of its own that nobody opens take the pass
    assert told.verdict == verdict
    if verdict == CAUTION:
        assert "of this path's own loop alone" in told.reason
    if verdict == FAIL:
        assert "melts before the contactor has opened and does not break it" in told.reason


def test_the_shipped_truck_keeps_its_answer():
    told = check(study("truck").coordination, MEETS)
    assert told.verdict == CAUTION and "of this path's own loop alone" in told.reason
