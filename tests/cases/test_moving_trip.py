"""A current trip whose setting follows the cells' temperature, given by points.

The invented truck: cells of -5 °C at which the contactors close, full power from 5 °C, 42 °C at
the hottest, sensor of 2500 A with 1 % of error: 25 A. Two invented resistances stand for it where
the law itself is tried; the arithmetic stands beside each figure.
"""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, worst
from packcalc.clearing import clearing_by
from packcalc.decisions import RESTS_ON_WORDS
from packcalc.errors import InputErrors
from packcalc.part_checks.trip_checks import FOLLOWS
from packcalc.place_arcs import _arc_at
from packcalc.places.settings import Node, settings_of, temperatures
from packcalc.report.drawings.time_current import time_current_figure
from tests.cases.studies import study
from tests.cases.test_coordination_cases import f

pytestmark = pytest.mark.thorough

GOOD = "-5 degC: 450 A; 0 degC: 500 A; 10 degC: 700 A; 25 degC: 900 A; 45 degC: 900 A"
QUIET, COLD = "the current trip stays quiet at the peak load", "stays quiet in the cold"
TELLS = "the trip tells a fault from a load"


def truck(points=GOOD, **changes):
    """The truck without its cells' trip: the current alone must see a fault."""
    return study("truck", **{"management__trip_current": None,
                             "management__trip_current_at": points,
                             "management__undervoltage_trip": "unknown"} | changes)


def told(found, words, key="coordination"):
    (item,) = [i for i in found.items if i.key == key]
    (check,) = [c for c in item.checks if words in c.title]
    return check


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


# -- who clears -------------------------------------------------------------------------------


def test_points_below_every_lowest_fault_are_counted_from_the_lowest_of_all():
    found = truck()
    check = told(found, FOLLOWS)
    assert check.verdict == PASS
    # the tightest: up to 700 A and 25 A of error below 10 °C, against the lowest fault at 0 °C
    assert check.figure.number == pytest.approx(725.0)
    assert "0 °C" in check.reason and "spread are not evaluated" in check.reason
    assert found.coordination.sweep.covered
    assert place(found, "terminals").at_lowest.clears


def test_the_warm_setting_alone_as_one_fixed_current_leaves_the_cold_fault_to_nobody():
    # what one figure for every temperature must be, as warm cells may be asked for as much
    fixed = study("truck", management__trip_current="1300 A",
                  management__undervoltage_trip="unknown")
    assert fixed.coordination.sweep.holes[0].low == pytest.approx(fixed.faults.lowest.number)
    moving = truck("-5 degC: 450 A; 25 degC: 600 A; 30 degC: 1300 A; 45 degC: 1300 A")
    assert moving.coordination.sweep.covered


def test_between_two_points_the_higher_counts_against_the_fault_of_the_colder():
    # 2000 A may be the setting at any temperature above -5 °C
    found = truck("-5 degC: 450 A; 45 degC: 2000 A")
    check = told(found, FOLLOWS)
    assert check.verdict == FAIL and check.figure.number == pytest.approx(2025.0)
    assert check.demand.number == pytest.approx(found.faults.lowest.number)
    assert found.coordination.asked.trips.current.number == 2000.0
    assert found.coordination.sweep.holes
    assert not place(found, "terminals").at_lowest.clears
    # a step is two points close together
    assert told(truck("-5 degC: 450 A; 30 degC: 450 A; 30.1 degC: 1000 A; 45 degC: 1000 A"),
                FOLLOWS).verdict == PASS


@pytest.mark.parametrize("points", ["0 degC: 450 A; 45 degC: 900 A",
                                    "-5 degC: 450 A; 40 degC: 450 A"])
def test_outside_its_points_nothing_is_counted_on(points):
    found = truck(points)
    check = told(found, FOLLOWS)
    assert check.verdict == NOT_EVALUATED and "42" in check.reason and "-5" in check.reason
    assert found.coordination.asked.trips.current is None
    assert found.coordination.sweep.holes
    assert place(found, "terminals").at_lowest.clears is not True


def test_full_power_below_the_first_point_is_not_held():
    found = truck("6 degC: 900 A; 45 degC: 900 A")  # full power is asked from 5 °C
    assert told(found, QUIET).verdict == NOT_EVALUATED
    assert told(found, "lies above the peak load", "management").verdict == NOT_EVALUATED


def test_a_trip_of_the_cells_beside_it_makes_a_caution_of_a_miss():
    found = truck("-5 degC: 450 A; 45 degC: 2000 A", management__undervoltage_trip="2.7 V")
    assert told(found, TELLS).verdict == PASS and told(found, FOLLOWS).verdict == CAUTION


# -- the load ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("amperes", "verdict"), [("453 A", PASS), ("452 A", FAIL)])
def test_the_load_is_held_to_the_lowest_setting_at_full_power(amperes, verdict):
    # 427.2 A of peak load: 453 - 25 = 428, 452 - 25 = 427; the point at 0 °C counts at 5 °C
    found = truck(f"-5 degC: 400 A; 0 degC: {amperes}; 10 degC: 700 A; 45 degC: 700 A")
    assert told(found, QUIET).verdict == verdict
    assert told(found, "lies above the peak load", "management").verdict == verdict


def test_the_load_in_the_cold_that_no_entry_states_is_open():
    check = told(truck(), COLD)
    assert check.verdict == NOT_EVALUATED and "425.0 A" in check.reason  # 450 - 25
    same = truck(battery__coldest_closed="5 degC")
    assert not [c for i in same.items for c in i.checks if COLD in c.title]


def test_a_contactor_may_be_torn_open_by_the_lowest_setting():
    found = truck(management__trip_delay="unknown")
    threats = [line for line in found.coordination.sweep.contactor.threats
               if line.name == found.coordination.asked.trips.name]
    assert threats[0].from_current == pytest.approx(425.0)  # 450 - 25


# -- each place by itself ---------------------------------------------------------------------


def test_a_place_with_less_than_a_module_counts_with_the_setting_that_may_miss_it():
    # one cell alone gives less than the warm settings at any temperature: 900 A counts there
    found = truck()
    inside = place(found, "chassis.second.inside_module")
    outside = place(found, "terminals")
    assert {d.setting.number for d in inside.loop.devices if d.setting} == {900.0}
    assert {d.setting.number for d in outside.loop.devices if d.setting} == {500.0}
    gap = inside.between
    assert not gap.clears and "925.0 A" in gap.words  # 900 + 25


def _loops(found, factor):
    """The truck's loops with every lowest current times a factor."""
    return tuple(replace(one.loop, lowest=replace(one.loop.lowest, value=factor
                                                  * one.loop.lowest.number))
                 if one.loop.lowest.known else one.loop for one in found.circuit.places)


@pytest.mark.parametrize(("warm", "counted"), [
    (1.0, 700.0),   # 400 A at -5 °C, 400 at 10 °C: 300 + 25 fits, 700 + 25 misses
    (1.9, 300.0),   # 760 A at 10 °C
])
def test_the_law_by_two_temperatures(warm, counted):
    found = truck("-5 degC: 300 A; 10 degC: 300 A; 45 degC: 700 A",
                  management__overload_trip="unknown")
    one = replace(found.circuit.places[0].loop, lowest=f("lowest", "A", 400.0))
    cold, later = temperatures(found.brief)
    assert (cold.shown, later.shown) == ("-5.000 °C", "10.00 °C")
    told_ = settings_of(found.brief, f("error", "A", 25.0), [
        Node(cold, (one,)), Node(later, (replace(one, lowest=f("lowest", "A", 400.0 * warm)),))])
    assert told_.current.number == counted
    (setting,) = told_.by_place.values()
    assert setting.number == counted


def test_a_fault_that_falls_as_the_cells_warm_counts_with_the_lower_end():
    found = truck("-5 degC: 300 A; 10 degC: 380 A; 45 degC: 380 A",
                  management__overload_trip="unknown")
    one = replace(found.circuit.places[0].loop, lowest=f("lowest", "A", 420.0))
    cold, later = temperatures(found.brief)
    got = settings_of(found.brief, f("error", "A", 25.0), [
        Node(cold, (one,)), Node(later, (replace(one, lowest=f("lowest", "A", 390.0)),))])
    assert got.moving.fault.number == 390.0 and got.current.number == 380.0


def test_strings_are_counted_with_the_points_too():
    found = study("minibus", management__trip_current=None,
                  management__trip_current_at="-30 degC: 420 A; 60 degC: 420 A")
    fixed = study("minibus")
    assert [a.words for p in found.circuit.places for a in p.answers] \
        == [a.words for p in fixed.circuit.places for a in p.answers]


def test_equal_points_are_one_fixed_current():
    found = study("truck", management__trip_current=None,
                  management__trip_current_at="-20 degC: 650 A; 60 degC: 650 A")
    fixed = study("truck")
    assert [a.words for p in found.circuit.places for a in p.answers] \
        == [a.words for p in fixed.circuit.places for a in p.answers]


# -- the entry --------------------------------------------------------------------------------


@pytest.mark.parametrize(("entry", "more", "words"), [
    ("-10 degC 450 A; 25 degC: 900 A", {}, "point 1 .* is no pair"),
    ("-10 degC: 450 A", {}, "holds 1 point;"),
    ("25 degC: 900 A; -10 degC: 450 A", {}, "is not warmer than the one before"),
    ("-10 degC: 900 A; 25 degC: 450 A", {}, "lies below the one before"),
    ("-10 degC: 450 V; 25 degC: 900 A", {}, "is a voltage, not a current"),
    ("-10: 450 A; 25 degC: 900 A", {}, "has no unit"),
    ("-10 degC: 450 kA; 25 degC: 900 A", {}, "is not plausible"),
    ("; ".join(f"{i} degC: 450 A" for i in range(21)), {}, "holds 21 points; 2 to 20"),
    (450, {}, "is a bare number, not a text"),
    (GOOD, {"management__trip_current": "650 A"}, "stands beside trip_current"),
    (GOOD, {"management__trip_falls_in_cold": "no"}, 'trip_falls_in_cold says "no"'),
    (GOOD, {"management__overload_trip": "460 A"}, "lies below the overload trip"),
    (GOOD, {"management__trip_blocked_above": "800 A"}, "does not lie above over-current trip"),
])
def test_a_wrong_entry_is_one_line(entry, more, words):
    with pytest.raises(InputErrors) as told_:
        truck(entry, **more)
    assert len(told_.value.faults) == 1 and "\n" not in str(told_.value)
    assert re.search(words, str(told_.value))
    assert "trip_current_at" in str(told_.value) or "trip_blocked_above" in str(told_.value)


def test_the_table_of_limits_says_that_the_setting_moves():
    found = truck()
    limit = next(one for one in found.circuit.management.limits
                 if one.quantity == "discharge current, fault")
    assert GOOD in limit.action and "its highest setting" in limit.setting.title


def test_the_entry_is_no_open_question_and_answers_the_fixed_one():
    brief = truck().brief
    assert not {"management.trip_current", "management.trip_falls_in_cold"} & {
        u.dotted for u in brief.unknowns}
    assert dict(brief.words())["management.trip_current_at"] == GOOD
    assert brief.management.trip_current.number == 900.0  # what must be broken, and read
    assert "coordination." in RESTS_ON_WORDS["management.trip_current_at"]


def test_unknown_points_are_none():
    found = study("truck", management__trip_current_at="unknown")
    assert found.coordination.asked.trips.moving is None
    assert worst(tuple(c for i in found.items if i.key == "coordination" for c in i.checks)) \
        == worst(tuple(c for i in study("truck").items if i.key == "coordination"
                       for c in i.checks))


# -- overloads and arcs: any current at any temperature ---------------------------------------

WARM = "-10 degC: 460 A; 5 degC: 460 A; 10 degC: 900 A; 20 degC: 1400 A; 45 degC: 1400 A"
VILLAGE = "0 degC: 320 A; 12 degC: 420 A; 20 degC: 700 A; 50 degC: 700 A"
BEARS = "bears an overload until the trip has opened"


def arcs(found):
    return [d.number for key in ("coordination", "insulation") for i in found.items
            if i.key == key for d in i.duty if "incident energy" in d.title]


@pytest.mark.parametrize("setting", [
    {"management__trip_current": None, "management__trip_current_at": VILLAGE},
    {"management__trip_current": "700 A"}])
def test_the_slow_trip_is_left_with_what_the_highest_setting_leaves(setting):
    # minibus: 700 A and 15 A of error, 1 % of 1500 A; 715²·150 s = 7.67e7 A²s above the 5.513e7
    # that warms the cable to its limit. Its cells' trip sees what a short leaves, and no overload
    found = study("minibus", management__overload_delay="150 s", **setting)
    assert told(found, BEARS).verdict == NOT_EVALUATED
    lasting = told(found, "overload that lasts longer than")
    assert lasting.verdict == NOT_EVALUATED and "worst at 715.0 A" in lasting.reason
    # 5.513e7 / 715² = 107.8 s
    assert lasting.figure.number == pytest.approx(107.8, abs=0.1)
    quick = study("minibus", management__overload_delay="12 s", **setting)
    assert told(quick, BEARS).verdict == PASS
    assert told(quick, BEARS).demand.number == pytest.approx(715.0 ** 2 * 12.0)


def test_a_link_that_melts_below_the_warm_setting_is_found():
    # Skarv 400 fast melts in 10 s at 1000 A and breaks from 1800 A on; the trip has 12 s
    found = truck(WARM, parts__main_fuse="Skarv 400 fast", management__undervoltage_trip="2.7 V")
    meets = told(found, "overload and fault range meet, from pole to pole")
    assert meets.verdict == FAIL and "from 1000 A to 1410 A Skarv 400 fast melts" in meets.reason
    cold = truck("-10 degC: 460 A; 45 degC: 460 A", parts__main_fuse="Skarv 400 fast")
    assert told(cold, "overload and fault range meet, from pole to pole").verdict == NOT_EVALUATED


def test_an_arc_is_seen_by_the_highest_setting():
    moving = truck(WARM, management__undervoltage_trip="2.7 V")
    fixed = study("truck", management__trip_current="1400 A")
    cold = study("truck", management__trip_current="460 A")
    assert arcs(moving) == pytest.approx(arcs(fixed))
    assert arcs(moving)[0] > 2.0 * arcs(cold)[0]
    # a place of the main path: 1425 A at half of 2850 A
    at = next(d for i in moving.items if i.key == "coordination" for d in i.duty
              if "an arc burns worst" in d.title)
    assert at.number == pytest.approx(2850.0, rel=1e-3)


def test_every_place_counts_an_arc_at_the_highest_setting():
    def at(found):
        loop = next(p.loop for p in found.circuit.places if p.key == "terminals")
        return _arc_at(loop, clearing_by(found.coordination, found.brief)).energy.number

    moving = truck(WARM, management__undervoltage_trip="2.7 V")
    assert at(moving) == pytest.approx(at(study("truck", management__trip_current="1400 A")))
    assert at(moving) > at(study("truck", management__trip_current="460 A"))


def test_a_setting_that_the_sensor_cannot_show_misses_every_fault():
    # 1400 A and 12 A of error lie below every warm fault, and above a sensor of 1200 A
    found = truck(WARM, management__current_sensor_range="1200 A")
    assert told(found, FOLLOWS).verdict == PASS
    assert found.coordination.asked.trips.current.number == 1400.0
    assert found.coordination.sweep.holes


def test_the_sheet_asks_for_both_ends_and_shows_the_highest_setting():
    found = truck(WARM)
    asked = next(r for r in found.coordination.item.specification
                 if r.what == "trip: current, delay, name").value
    # 427.2 A of peak load and 899.7 A of lowest fault, each 25 A nearer
    assert asked == ("at least 452.2 A wherever full power may be asked; at most the lowest fault "
                     "of each temperature less the sensor's error (874.6 A at the coldest cells); "
                     f"the brief counts on {WARM}; has opened within 0.1500 s")
    quick = next(x for x in found.circuit.management.limits
                 if x.quantity == "discharge current, fault")
    assert quick.trip.number == 1400.0 and "its highest setting is shown here" in quick.action


def test_the_drawing_says_that_the_setting_moves():
    def words(found):
        return str(time_current_figure(found.coordination).data)

    assert "warm cells up to 1400 A" in words(truck(WARM))
    assert "warm cells" not in words(study("truck"))
