"""Designed corners of who clears: invented parts, with the arithmetic beside each figure.

The plain clearing curve runs from 1000 A at 1 s to 10 000 A at 0.01 s: on logarithmic scales
a slope of −2, so that I²t is 1e6 A²s all along it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.findings import leaf
from packcalc.part_checks.fuse import FuseDemand, fuse_part_checks, least_rating, pulse_share, \
    selective
from packcalc.part_checks.sweep import (
    BY_BOTH, BY_CONTACTOR, BY_FUSE, NOBODY, TOO_EARLY, Trips, fuse_side, permitted_at,
)
from packcalc.protect.coordination import CoordinationAsked, coordinate, sweep_pair
from packcalc.reading.parts_list import parts_from_text

FUSE_HEAD = ("kind,name,class,rated_current,rated_voltage_dc,breaking_capacity,"
             "lowest_breaking_current,permitted_time_constant,melting,clearing,melting_i2t,"
             "clearing_i2t,clearing_i2t_at,cut_off_current")
FLAT = '"0.01 s: 10000 A; 1 s: 1000 A"'
MELTS = '"0.01 s: 8000 A; 1 s: 800 A"'


def fuse(**changes):
    row = {"kind": "fuse", "name": "F", "class": "gR", "rated_current": "250 A",
           "rated_voltage_dc": "500 V", "breaking_capacity": "30 kA",
           "lowest_breaking_current": "", "permitted_time_constant": "500 V: 10 ms",
           "melting": MELTS, "clearing": FLAT, "melting_i2t": "500000 A2s",
           "clearing_i2t": "1200000 A2s", "clearing_i2t_at": "500 V", "cut_off_current": ""}
    row |= changes
    head = ",".join(row)
    return parts_from_text(f"{head}\n{','.join(row.values())}\n").fuses[0]


def contactor(**changes):
    row = {"kind": "contactor", "name": "K", "rated_voltage_dc": "500 V",
           "break_discharge": "1500 A", "break_charge": "1500 A", "break_time_constant": "5 ms",
           "opening_time": "20 ms", "short_time": '"0.01 s: 12000 A; 1 s: 2000 A"'}
    row |= changes
    return parts_from_text(f"{','.join(row)}\n{','.join(row.values())}\n").contactors[0]


def f(title, unit, value):
    return leaf(title, "x", unit, value, "invented")


def trips(current=600.0, delay=0.08, **changes):
    return Trips(current=f("trip", "A", current), delay=f("delay", "s", delay), **changes)


def asked(low=700.0, high=20000.0, **changes):
    base = CoordinationAsked(
        fault_lowest=f("lowest fault", "A", low), fault_highest=f("highest fault", "A", high),
        highest_voltage=f("highest voltage", "V", 420.0), time_constant=f("L/R", "ms", 2e-3),
        counted_time=f("counted time", "s", 1.0), peak_load=f("peak", "A", 400.0),
        continuous_load=f("load", "A", 150.0), peak_duration=f("peak time", "s", 10.0),
        cable_withstand=f("k²S²", "A²s", 2e6), cable_current=f("Iz", "A", 260.0),
        fuse=fuse(), contactor=contactor(), trips=trips())
    return replace(base, **changes)


def at(swept, current):
    """Device at a current that is a break point of the sweep, or near one of the grid."""
    index = int(np.argmin(np.abs(np.log(swept.current / current))))
    return int(swept.device[index])


def check(found, words):
    return next(c for c in found.item.checks if words in c.title)


# -- where a fuse counts ----------------------------------------------------------------------


def test_fuse_counts_from_where_it_clears_within_a_second():
    # clearing curve: 1000 A at 1 s
    side = fuse_side(fuse(), f("U", "V", 420.0), f("τ", "ms", 2e-3), 1.0)
    assert side.low == pytest.approx(1000.0) and not side.reasons
    assert "clears within 1 s" in side.why_low


@pytest.mark.parametrize("current, device", [
    (1000.0 * (1 - 1e-9), NOBODY), (1000.0, BY_FUSE), (1000.0 * (1 + 1e-9), BY_FUSE)])
def test_on_and_beside_the_counted_second(current, device):
    swept = sweep_pair(asked(contactor=None, trips=None))
    index = int(np.argmin(np.abs(swept.current - current)))
    assert swept.current[index] == pytest.approx(current, rel=1e-12)
    assert swept.device[index] == device


def test_half_a_second_moves_the_fuse_up_by_the_root_of_two():
    # I²t = 1e6: at 0.5 s √(1e6/0.5) = 1414 A
    side = fuse_side(fuse(), f("U", "V", 420.0), f("τ", "ms", 2e-3), 0.5)
    assert side.low == pytest.approx(math.sqrt(2e6))


@pytest.mark.parametrize("floor, counts_from", [("900 A", 1000.0), ("1000 A", 1000.0),
                                                ("1001 A", 1001.0), ("4000 A", 4000.0)])
def test_lowest_breaking_current_on_below_and_above_the_second(floor, counts_from):
    part = fuse(**{"class": "aR", "lowest_breaking_current": floor})
    side = fuse_side(part, f("U", "V", 420.0), f("τ", "ms", 2e-3), 1.0)
    assert side.low == pytest.approx(counts_from)


@pytest.mark.parametrize("changes, words", [
    ({"class": "aR"}, "partial range (aR): ask for the lowest breaking current"),
    ({"class": ""}, "ask for the class letters, or for the lowest breaking current"),
    ({"rated_voltage_dc": "420 V", "permitted_time_constant": "420 V: 10 ms",
      "clearing_i2t_at": "420 V"}, "420.0 V is not above 420.0 V"),
    ({"rated_voltage_dc": ""}, "ask for the rated DC voltage"),
    ({"breaking_capacity": ""}, "ask for the DC breaking capacity"),
    ({"clearing": ""}, "ask for the total clearing curve in DC"),
    ({"permitted_time_constant": ""}, "ask for the time constant permitted at 420.0 V"),
    ({"permitted_time_constant": "419 V: 10 ms"}, "ask for the time constant permitted"),
    ({"permitted_time_constant": "500 V: 1.9 ms"}, "is 1.9 ms, the circuit has 2.000 ms"),
])
def test_a_fuse_whose_sheet_is_silent_or_too_weak_counts_nowhere(changes, words):
    found = coordinate(asked(fuse=fuse(**changes), contactor=None, trips=None))
    assert len(found.holes) == 1 and found.holes[0].low == 700.0 and found.holes[0].high == 20000.0
    assert any(words in item for item in found.item.open_items)
    # a rated voltage that is stated too low is no question
    assert check(found, "every fault current").verdict == (
        FAIL if "is not above" in words else NOT_EVALUATED)


def test_permitted_time_constant_takes_the_next_stated_voltage():
    points = fuse(permitted_time_constant='"400 V: 15 ms; 500 V: 8 ms"').permitted_time_constant
    assert permitted_at(points, f("U", "V", 400.0)) == pytest.approx(15e-3)
    assert permitted_at(points, f("U", "V", 400.1)) == pytest.approx(8e-3)
    assert permitted_at(points, f("U", "V", 500.1)) is None


@pytest.mark.parametrize("high, device", [(30000.0, BY_FUSE), (30001.0, NOBODY)])
def test_breaking_capacity_on_and_above(high, device):
    swept = sweep_pair(asked(low=1000.0, high=high, contactor=None, trips=None))
    assert swept.device[-1] == device


def test_ac_only_fuse_counts_nowhere_and_says_why():
    part = fuse(rated_voltage_dc="", rated_voltage_ac="690 V")
    found = coordinate(asked(fuse=part, contactor=None, trips=None))
    assert any("690.0 V AC only, which says nothing about DC" in i for i in found.item.open_items)


def test_gg_gates_only_for_a_gg_with_dc_voltage_and_never_a_pass():
    # 400 A gG from memory: sure to open within 5 s at 2840 A, within 0.1 s at 8060 A; at 1 s
    # ln(5/1)/ln(5/0.1) = 0.4114 of the way: 2840·(8060/2840)^0.4114 = 4362 A
    part = fuse(**{"class": "gG", "rated_current": "400 A", "melting": "", "clearing": ""})
    side = fuse_side(part, f("U", "V", 420.0), f("τ", "ms", 2e-3), 1.0)
    assert side.low == pytest.approx(4362.0, rel=1e-3)
    found = coordinate(asked(low=4400.0, high=7000.0, fuse=part, contactor=None, trips=None))
    assert not found.holes
    assert check(found, "every fault current").verdict == NOT_EVALUATED
    for changes in ({"class": "aR", "lowest_breaking_current": "1000 A"}, {"class": "gR"},
                    {"rated_voltage_dc": "", "clearing_i2t": "", "clearing_i2t_at": ""}):
        other = fuse(**({"class": "gG", "rated_current": "400 A", "melting": "",
                         "clearing": ""} | changes))
        assert fuse_side(other, f("U", "V", 420.0), f("τ", "ms", 2e-3), 1.0).clearing is None


# -- contactor on a trip ----------------------------------------------------------------------


def test_ranges_that_overlap_leave_no_hole():
    # contactor to 1500 A, fuse from 1000 A; above 1500 A the trip (0.1 s) must come later than
    # the fuse: 1e6/1500² = 0.444 s, later than 0.1 s, so the contactor is torn open
    found = coordinate(asked())
    hole = found.holes[0]
    assert hole.device == TOO_EARLY
    assert hole.low == pytest.approx(1500.0, rel=1e-6)
    # until the sheet's 1.2e6 A²s are let through at 0.1 s: the rise adds 1.5·2 ms, 3517 A
    assert hole.high == pytest.approx(math.sqrt(1.2e6 / (0.1 - 0.003)), rel=1e-6)


def test_a_trip_held_back_above_its_limit_closes_that_hole():
    held = coordinate(asked(trips=trips(blocked_above=f("held back above", "A", 1500.0))))
    assert not held.holes and check(held, "every fault current").verdict == PASS
    swept = held.sweep
    assert [at(swept, i) for i in (750.0, 1200.0, 5000.0)] == [BY_CONTACTOR, BY_BOTH, BY_FUSE]


def test_a_contactor_that_breaks_up_to_the_crossing_is_a_valid_pair():
    # the trip comes at 0.1 s; from √(1.2e6/0.097) = 3517.3 A the fuse is quicker
    strong = contactor(break_discharge="3518 A", break_charge="3518 A")
    assert not coordinate(asked(contactor=strong)).holes
    weak = contactor(break_discharge="3517 A", break_charge="3517 A")
    assert coordinate(asked(contactor=weak)).holes


def test_the_weaker_direction_rules():
    one_way = contactor(break_discharge="4000 A", break_charge="800 A")
    found = coordinate(asked(contactor=one_way))
    assert found.holes[0].low == pytest.approx(800.0, rel=1e-6)


def test_a_direction_that_the_sheet_lacks_counts_as_nothing():
    found = coordinate(asked(contactor=contactor(break_charge="")))
    assert any("both directions" in item for item in found.item.open_items)
    assert found.holes[0].low == 700.0


def test_no_trip_leaves_a_hole_below_the_fuse():
    # from 700 A to 1000 A: the contactor may, its trip is not named
    found = coordinate(asked(trips=None))
    assert [(round(h.low), round(h.high), h.device) for h in found.holes] == [(700, 1000, NOBODY)]
    assert "no valid pair: from 700.0 A to 1000 A not shown: contactor" \
        in check(found, "every fault").reason
    assert "a fuse that counts from 700.0 A" in check(found, "every fault").remedy


@pytest.mark.parametrize("trip, verdict", [(699.0, True), (700.0, True), (701.0, False)])
def test_trip_on_below_and_above_the_lowest_fault(trip, verdict):
    strong = contactor(break_discharge="5000 A", break_charge="5000 A")
    found = coordinate(asked(contactor=strong, trips=trips(trip)))
    assert (not found.holes) is verdict
    assert (check(found, "tells a fault").verdict == PASS) is verdict


def test_opening_time_counts_unless_the_delay_holds_it():
    # 0.985 s + 0.02 s = 1.005 s: too late; the same delay to the open contact is in time
    strong = contactor(break_discharge="5000 A", break_charge="5000 A")
    late = coordinate(asked(contactor=strong, trips=trips(delay=0.985)))
    assert late.holes and late.holes[0].low == 700.0
    assert not coordinate(asked(contactor=strong, trips=trips(
        delay=0.985, to_opened=True))).holes


@pytest.mark.parametrize("constant, counts", [("2 ms", True), ("1.99 ms", False)])
def test_breaking_test_must_be_as_inductive_as_the_circuit(constant, counts):
    part = contactor(break_time_constant=constant, break_discharge="5000 A",
                     break_charge="5000 A")
    assert (not coordinate(asked(contactor=part)).holes) is counts


# -- a trip must tell fault from load ---------------------------------------------------------


def test_cold_fault_no_larger_than_the_warm_peak():
    # lowest fault 380 A, peak 400 A: no fixed current lies between
    found = coordinate(asked(low=380.0, trips=trips(420.0)))
    told = check(found, "tells a fault")
    assert told.verdict == FAIL and "one fixed current cannot tell them apart" in told.reason


def test_a_limit_that_falls_in_the_cold_is_a_caution_to_prove():
    found = coordinate(asked(low=380.0, trips=trips(420.0, falls_in_the_cold=True)))
    assert check(found, "tells a fault").verdict == CAUTION


@pytest.mark.parametrize("level, verdict", [
    (270.0, FAIL),    # under what is left at the lowest fault
    (290.0, PASS),
    (310.0, FAIL),    # over the loaded voltage: it trips at every full pull
])
def test_undervoltage_between_fault_and_load(level, verdict):
    by_voltage = trips(420.0, undervoltage=f("undervoltage", "V", level),
                       undervoltage_delay=f("delay", "s", 0.2))
    strong = contactor(break_discharge="5000 A", break_charge="5000 A")
    found = coordinate(asked(low=380.0, trips=by_voltage, contactor=strong,
                             loaded_voltage=f("loaded", "V", 300.0),
                             fault_voltage=f("left at the fault", "V", 280.0)))
    assert check(found, "tells a fault").verdict == verdict
    assert bool(found.holes) is (verdict == FAIL)


@pytest.mark.parametrize("trip, verdict", [(399.0, FAIL), (400.0, FAIL), (401.0, PASS)])
def test_trip_on_below_and_above_the_peak_load(trip, verdict):
    found = coordinate(asked(trips=trips(trip)))
    assert check(found, "stays quiet at the peak").verdict == verdict


# -- heat in the cable ------------------------------------------------------------------------

BUMP = '"0.01 s: 10000 A; 0.5 s: 3000 A; 1 s: 1000 A"'


def test_a_cable_that_fails_only_in_the_middle():
    # 1 s·1000² = 1e6 and 0.01 s·10 000² = 1e6 A²s; at 3000 A 0.5 s·3000² = 4.5e6 A²s
    part = fuse(clearing=BUMP, melting="")
    found = coordinate(asked(low=1000.0, fuse=part, contactor=None, trips=None))
    assert found.worst_heat.number == pytest.approx(4.5e6)
    assert found.worst_heat_at.number == pytest.approx(3000.0, rel=1e-6)
    failed = check(found, "survives the heat")
    assert failed.verdict == FAIL and "worst at 3000 A" in failed.reason
    assert "fails from" in failed.reason
    for end in (1000.0, 20000.0):  # both ends alone would pass 2e6 A²s
        one = coordinate(asked(low=end, high=end * 1.0001, fuse=part, contactor=None, trips=None))
        assert check(one, "survives the heat").verdict == PASS


@pytest.mark.parametrize("withstand, verdict", [(4.5e6, PASS), (4.499e6, FAIL), (4.6e6, PASS)])
def test_cable_on_below_and_above_the_worst_point(withstand, verdict):
    found = coordinate(asked(low=1000.0, fuse=fuse(clearing=BUMP, melting=""), contactor=None,
                             trips=None, cable_withstand=f("k²S²", "A²s", withstand)))
    assert check(found, "survives the heat").verdict == verdict


def test_beyond_the_curve_the_sheet_s_figure_rules():
    # curve 1e6 A²s up to 10 kA, then the sheet's 1.2e6 A²s
    found = coordinate(asked(low=1000.0, contactor=None, trips=None))
    assert found.worst_heat.number == pytest.approx(1.2e6)
    assert found.worst_heat_at.number > 10000.0


@pytest.mark.parametrize("at_voltage, silent", [("420 V", False), ("419 V", True)])
def test_clearing_figure_counts_only_at_or_above_the_working_voltage(at_voltage, silent):
    part = fuse(clearing_i2t_at=at_voltage)
    found = coordinate(asked(low=1000.0, fuse=part, contactor=None, trips=None))
    beyond = [c for c in found.item.checks if "beyond the fuse's curve" in c.title]
    assert bool(beyond) is silent
    if silent:
        assert beyond[0].verdict == NOT_EVALUATED
        assert "ask for the total clearing I²t at 420.0 V" in beyond[0].reason


def test_heat_by_the_contactor_is_the_trip_s():
    # 0.1 s at 900 A, below the fuse's range; with L/R 2 ms the current first rises to the trip's
    # 600 A in 2 ms · ln(900/(900 − 600)) = 2.197 ms (step of an R-L circuit)
    strong = contactor(break_discharge="5000 A", break_charge="5000 A")
    found = coordinate(asked(low=700.0, high=900.0, contactor=strong))
    assert found.worst_heat.number == pytest.approx((0.1 + 2e-3 * np.log(3.0)) * 900.0 ** 2)
    assert found.worst_heat_at.number == 900.0
    time = found.worst_heat.inputs[1]
    assert time.note == "0.08 s + 0.02 s, and 0.002197 s in which the current rises to the trip"


@pytest.mark.parametrize(("current", "risen"), [
    # 600 A of 1200 A: ln 2; just above the trip and on it never more than seven time constants,
    # where e^−7 = 0.09 % are missing: the sensor's error is in the level already
    (1200.0, np.log(2.0)), (600.0 * (1 + 1e-9), 7.0), (600.0, 7.0)])
def test_a_trip_is_timed_from_the_start_of_the_fault(current, risen):
    side = sweep_pair(asked(contactor=contactor())).contactor
    assert float(side.times(current)) == pytest.approx(0.1 + 2e-3 * risen)
    # what may tear a contactor open too soon is timed from the level itself: errs short
    assert float(side.earliest(current)) == pytest.approx(0.1)
    assert float(side.steady_times(current)) == pytest.approx(0.1)


def test_the_rise_of_the_current_makes_no_trip_slower_than_the_counted_second():
    # delay and opening are 1 s sharp: as for a fuse's curve, the second is of the steady current
    strong = contactor(break_discharge="5000 A", break_charge="5000 A")
    swept = sweep_pair(asked(low=700.0, high=900.0, contactor=strong, trips=trips(delay=0.98)))
    assert swept.covered and swept.time.min() > 1.0
    late = sweep_pair(asked(low=700.0, high=900.0, contactor=strong, trips=trips(delay=0.981)))
    assert not late.covered


def test_a_hole_keeps_the_cable_from_passing():
    found = coordinate(asked(trips=None))
    heat = check(found, "survives the heat")
    # the hole is named with its currents: from the lowest fault to where the fuse counts
    assert heat.verdict == NOT_EVALUATED
    assert "from 700.0 A to 1000 A nobody is shown to end the heat" in heat.reason


# -- closed contactor -------------------------------------------------------------------------


def test_closed_contactor_is_pressed_most_between_the_ends():
    # withstand 2000 A 2 s to 12 000 A 0.01 s; fuse 1e6/I². At 12 kA the fuse takes no longer
    # than its last point, 0.01 s: exactly as long as the contactor stands
    strong = contactor(short_time='"0.01 s: 12000 A; 2 s: 2000 A"')
    found = coordinate(asked(low=1000.0, high=12000.0, contactor=strong, trips=None))
    held = check(found, "closed contactor")
    assert held.verdict == PASS and "tightest at 12000 A" in held.reason
    weak = contactor(short_time='"0.01 s: 12000 A; 0.05 s: 5000 A; 1 s: 900 A"')
    # at 1000 A: withstand just under 1 s on the line from 900 A, fuse 1 s
    found = coordinate(asked(low=1000.0, high=12000.0, contactor=weak, trips=None))
    assert check(found, "closed contactor").verdict == FAIL


def test_beyond_the_withstand_curve_only_a_cut_off_current_helps():
    # 1 s of 1000 A: as long as the contactor's last point stands, which a lower current does too
    far = coordinate(asked(low=1000.0, high=20000.0, trips=None,
                           fuse=fuse(clearing_i2t="1000000 A2s")))
    assert check(far, "closed contactor").verdict == NOT_EVALUATED
    limiting = fuse(cut_off_current="9 kA", clearing_i2t="1000000 A2s")
    near = coordinate(asked(low=1000.0, high=20000.0, fuse=limiting, trips=None))
    assert check(near, "closed contactor").verdict == PASS


@pytest.mark.parametrize("points, verdict", [
    ('"0.01 s: 20000 A; 0.1 s: 2500 A; 1 s: 1200 A"', FAIL),
    # without its first point part of the range has none; the failure at 2500 A is inside the rest
    ('"0.1 s: 2500 A; 1 s: 1200 A"', FAIL),
    ('"1 s: 2500 A"', NOT_EVALUATED)])
def test_a_failure_inside_the_withstand_curve_stands_beside_a_question(points, verdict):
    # the fuse takes 1e6/2500² = 0.16 s at 2500 A, the contactor stands 0.1 s of it
    found = coordinate(asked(low=1000.0, high=20000.0, contactor=contactor(short_time=points),
                             fuse=fuse(clearing_i2t="1000000 A2s"), trips=None))
    assert check(found, "closed contactor").verdict == verdict


# -- arc, for information ---------------------------------------------------------------------


def test_arc_is_worst_where_the_device_sees_half_and_is_slow():
    # at bolted I the fuse sees I/2: from 2000 A bolted on it clears in 1e6/(I/2)² s. Just below
    # 2000 A nobody is counted: 2 s. E = 0.005·420·2000·2/45.72² = 4.019 cal/cm²
    found = coordinate(asked(low=1000.0, contactor=None, trips=None))
    assert found.worst_arc_at.number == pytest.approx(2000.0, rel=0.01)
    wanted = 0.005 * 420 * found.worst_arc_at.number * 2 / 45.72 ** 2 * 41840
    assert found.worst_arc.number == pytest.approx(wanted)


# -- overload ---------------------------------------------------------------------------------


@pytest.mark.parametrize("rated, verdict", [("259 A", CAUTION), ("260 A", CAUTION),
                                            ("261 A", FAIL)])
def test_full_range_fuse_on_below_and_above_the_cable(rated, verdict):
    found = coordinate(asked(fuse=fuse(rated_current=rated)))
    assert check(found, "ends an overload").verdict == verdict


def test_partial_range_never_ends_an_overload_and_the_trip_must_be_named():
    # its curve shows that it melts after 100 s or later up to 610 A, where the quick trip acts
    entries = {"class": "aR", "lowest_breaking_current": "1000 A", "rated_current": "260 A",
               "melting": '"0.01 s: 8000 A; 1 s: 800 A; 100 s: 610 A"'}
    part = fuse(**entries)
    found = coordinate(asked(fuse=part))
    told = check(found, "ends an overload")
    assert told.verdict == NOT_EVALUATED and "gives no overload protection" in told.reason
    # rated above the 260 A of the cable it fails, as a better link of that rating does
    above = check(coordinate(asked(fuse=fuse(**entries | {"rated_current": "261 A"}))),
                  "ends an overload")
    assert above.verdict == FAIL and "gives no overload protection" in above.reason
    slow = trips(overload=f("overload trip", "A", 260.0))
    silent = check(coordinate(asked(fuse=part, trips=slow)), "ends an overload")
    assert silent.verdict == NOT_EVALUATED and "delay of the overload trip" in silent.reason
    timed = replace(slow, overload_delay=f("delay", "s", 20.0))
    assert check(coordinate(asked(fuse=part, trips=timed)), "ends an overload").verdict == PASS
    high = replace(timed, overload=f("overload trip", "A", 261.0))
    assert check(coordinate(asked(fuse=part, trips=high)), "ends an overload").verdict == FAIL


# -- nothing to sweep, and every pair ---------------------------------------------------------


def test_with_no_parts_the_headline_is_the_request_for_data():
    found = coordinate(asked(fuse=None, contactor=None))
    assert found.sweep is None and "no fuse is entered" in found.item.governing
    assert found.item.specification and found.item.open_items
    assert all(c.verdict == NOT_EVALUATED for c in found.item.checks)


@pytest.mark.parametrize("low, high", [(None, 20000.0), (700.0, None), (900.0, 800.0)])
def test_an_open_or_crossed_range_is_not_swept(low, high):
    assert coordinate(asked(low=low, high=high)).sweep is None


def test_the_best_pair_of_a_list_comes_first():
    good = contactor(name="K2", break_discharge="5000 A", break_charge="5000 A")
    found = coordinate(asked(fuse=None, contactor=None),
                       [fuse(), fuse(name="F2", breaking_capacity="10 kA")],
                       [contactor(), good])
    assert found.asked.pair == "F + K2" and not found.holes
    assert len(found.item.candidates) == 4


# -- fuse to fuse -----------------------------------------------------------------------------


@pytest.mark.parametrize("lower, verdict", [("499999 A2s", PASS), ("500000 A2s", FAIL),
                                            ("500001 A2s", FAIL)])
def test_selective_on_below_and_above_by_let_through(lower, verdict):
    # lower clears at a tenth of the upper's current everywhere: the curves never meet
    small = fuse(name="small", rated_current="20 A", melting_i2t="1000 A2s", clearing_i2t=lower,
                 clearing='"0.01 s: 1000 A; 1 s: 100 A"', melting="")
    found = selective(fuse(), small, f("U", "V", 420.0), f("Ik", "A", 20000.0))
    assert found.verdict == verdict


def test_curves_that_meet_are_not_selective_though_the_let_through_is():
    near = fuse(name="near", melting_i2t="100000 A2s", clearing_i2t="400000 A2s",
                clearing='"0.01 s: 5000 A; 1 s: 900 A"', melting="")
    # at 900 A the lower needs 1 s, the upper may melt in (900/800)^−2 = 0.79 s
    found = selective(fuse(), near, f("U", "V", 420.0), f("Ik", "A", 20000.0))
    assert found.verdict == FAIL and "900.0 A" in found.reason


def test_selectivity_asks_for_the_figure_at_this_voltage():
    small = fuse(name="small", clearing_i2t="", clearing_i2t_at="")
    assert selective(fuse(), small, f("U", "V", 420.0),
                     f("Ik", "A", 20000.0)).verdict == NOT_EVALUATED


# -- load, by one method at a time ------------------------------------------------------------


def demand(**changes):
    base = FuseDemand(
        highest_voltage=f("U", "V", 420.0), fault_highest=f("Ik", "A", 20000.0),
        fault_lowest=f("Ik", "A", 1500.0), time_constant=f("τ", "ms", 2e-3),
        counted_time=f("t", "s", 1.0), continuous_current=f("I", "A", 150.0),
        peak_current=f("Ip", "A", 300.0), peak_duration=f("t", "s", 1.0),
        ambient=f("θ", "°C", 60.0 + 273.15), cycles=f("N", "", 10000.0))
    return replace(base, **changes)


def test_method_a_by_hand():
    # A1 = √((130 − 60)/(130 − 25)) = 0.81650; 150/(0.81650·0.6·0.9) = 340.2 A
    part = fuse(derating_method="A", link_constant="130 degC", rating_ambient="25 degC",
                fluctuation_factor="0.6", conductor_factor="0.9")
    least, ask = least_rating(part, demand())
    assert ask == "" and least.number == pytest.approx(150 / (math.sqrt(70 / 105) * 0.6 * 0.9))


def test_method_b_by_hand_takes_the_hotter_point():
    # 60 °C lies between 40 and 65 °C: the factor of 65 °C; 150/(0.8·0.7·0.9) = 297.6 A
    part = fuse(derating_method="B", fluctuation_factor="0.7", conductor_factor="0.9",
                ambient_factor='"25 degC: 1.0; 40 degC: 0.93; 65 degC: 0.8"')
    least, _ = least_rating(part, demand())
    assert least.number == pytest.approx(150 / (0.8 * 0.7 * 0.9))
    beyond, ask = least_rating(part, demand(ambient=f("θ", "°C", 66.0 + 273.15)))
    assert beyond is None and "factor at 66.00 °C or above" in ask


def test_two_methods_are_never_mixed():
    both = fuse(link_constant="130 degC", ambient_factor='"25 degC: 1.0; 65 degC: 0.8"',
                fluctuation_factor="0.7", conductor_factor="0.9")
    least, ask = least_rating(both, demand())
    assert least is None and "say which" in ask
    told = replace(both, derating_method="B")
    assert least_rating(told, demand())[0].number == pytest.approx(150 / (0.8 * 0.7 * 0.9))


def test_a_missing_conductor_factor_is_asked_for_and_is_never_one():
    least, ask = least_rating(fuse(), demand())
    assert least is None and "conductor factor" in ask


# -- pulses -----------------------------------------------------------------------------------


@pytest.mark.parametrize("cycles, share", [
    (9999.0, 0.45), (10000.0, 0.45),   # B′2 0.45 against √0.29 = 0.539: the lower
    (10001.0, 0.35), (100000.0, 0.35),  # 0.35 against √0.22 = 0.469
    (100.0, 0.55),                     # 0.55 (of 2000) against √0.48 = 0.693
    (1000000.0, 0.31),                 # only one rule goes so far
])
def test_lower_of_two_published_rules(cycles, share):
    assert pulse_share(fuse(), f("N", "", cycles)).number == pytest.approx(share)


def test_the_family_s_own_figure_comes_first_and_ends_with_its_points():
    part = fuse(cyclic_share='"1000: 0.6; 20000: 0.5"')
    assert pulse_share(part, f("N", "", 1000.0)).number == 0.6
    assert pulse_share(part, f("N", "", 1001.0)).number == 0.5
    assert pulse_share(part, f("N", "", 20001.0)).number == pytest.approx(0.35)
    assert pulse_share(fuse(), f("N", "", 1e6 + 1)) is None


@pytest.mark.parametrize("own, peak, verdict", [
    ('"10000: 0.45"', 359.0, PASS), ('"10000: 0.45"', 360.0, PASS), ('"10000: 0.45"', 361.0, FAIL),
    (None, 360.0, NOT_EVALUATED), (None, 361.0, FAIL)])
def test_peaks_on_below_and_above_the_share(own, peak, verdict):
    # melts at 800 A in 1 s; share 0.45 of 10 000 peaks: 360 A; no pass on the published share
    part = fuse(cyclic_share=own) if own else fuse()
    found = fuse_part_checks(part, demand(peak_current=f("Ip", "A", peak)))
    assert next(c for c in found if "peaks" in c.title).verdict == verdict


def test_a_peak_length_beyond_the_melting_curve_is_asked_for():
    found = fuse_part_checks(fuse(), demand(peak_duration=f("t", "s", 10.0)))
    peaks = next(c for c in found if "peaks" in c.title)
    assert peaks.verdict == NOT_EVALUATED and "a melting point at 10.00 s" in peaks.reason


def test_an_empty_row_passes_nothing():
    bare = parts_from_text("kind,name\nfuse,bare\n").fuses[0]
    checks = fuse_part_checks(bare, demand())
    assert {c.verdict for c in checks} == {NOT_EVALUATED}
    assert all("ask" in c.reason for c in checks)
