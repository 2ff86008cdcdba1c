"""Fault places and further parts: strings without sensors, leaks in two strings, what lies on
the bus, a named mid-pack fuse and charge contactor, and what is not evaluated by name.

Every figure is that of the invented examples, with its arithmetic beside it; "nobody", "not shown"
and "not evaluated" are packcalc's own words.
"""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.decisions import CHOICE, decisions
from packcalc.errors import UserError
from packcalc.feeds import OPEN_INPUT, bus_capacitance, on_the_bus
from packcalc.handover.bill import bill
from packcalc.protect.places import FUSE
from packcalc.protection import ProtectionStudy, precharge_asked
from packcalc.reading.template import starter_brief
from packcalc.review_change import recheck
from packcalc.side_circuits import bus_checks, bus_loads
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

ROOT = Path(__file__).resolve().parents[2]
NO_SENSORS = {"strings__trip_current": None, "strings__trip_delay": None}
BARE, FUSED = "chassis.second.strings.bare", "chassis.second.strings.fused"


@pytest.fixture(scope="module")
def truck() -> ProtectionStudy:
    return study("truck")


@pytest.fixture(scope="module")
def minibus() -> ProtectionStudy:
    return study("minibus")


@pytest.fixture(scope="module")
def blind() -> ProtectionStudy:
    """Two strings, no current sensor of their own."""
    return study("minibus", **NO_SENSORS)


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def item(found, key):
    return next(i for i in found.items if i.key == key)


def told(found, words):
    return next(c for _, c in found.checks if words in c.title)


# -- strings without a sensor of their own ------------------------------------------------------


def test_ahead_of_the_main_fuse_the_cells_trip_opens_every_strings_own_contactors(blind):
    found = place(blind, "box")
    keys = [d.key for d in found.loop.devices]
    assert "contactors" not in keys and "main_fuse" not in keys
    assert found.at_lowest.device == "string contactors, on the lowest cell"
    # delay, then Lyng 300's own, after the current has risen: seven time constants
    assert found.at_lowest.time.number == pytest.approx(
        0.4 + 0.015 + 7 * found.loop.time_constant.number)
    # a dead short leaves the cells far below 2.7 V
    assert blind.coordination.asked.fault_voltage.number < 2.7
    # what one string feeds into the other is seen by none of the pack's current sensors
    assert place(blind, "string").at_lowest.clears is None


def test_a_pack_that_holds_its_trips_back_holds_those_of_its_strings_back_as_well():
    held = study("minibus", **NO_SENSORS, management__trip_blocked_above="500 A")
    box, section = place(held, "box"), place(held, "string.section")
    assert not box.at_lowest.clears and "held back" in box.at_lowest.why
    # Talvik 200 counts from 903 A: between, nobody is shown
    assert not box.between.clears and f"{box.lowest.shown} to 903.0 A" in box.between.span
    # the trip acts up to 500 A, the fuse from 903 A
    assert section.at_lowest.clears and not section.between.clears
    assert "500.0 A to 903.0 A" in section.between.span


def test_a_strings_own_trip_is_held_back_as_well():
    held = study("minibus", management__trip_blocked_above="500 A")
    assert held.circuit.inside_strings.asked.trips.blocked_above.number == 500.0
    assert not place(held, "string").at_lowest.clears


def test_nothing_opens_above_what_its_sheet_says_whatever_else_is_missing(blind):
    found = place(blind, BARE)
    assert found.at_highest.clears is False and "2000 A that it breaks" in found.at_highest.why
    assert found.at_lowest.clears is None  # below, a trip is what is missing


def test_a_strings_trip_is_no_quicker_than_its_contactor_opens():
    # Lyng 300 high voltage opens in 15 ms, and the delay runs until it has opened
    with pytest.raises(UserError, match="strings.trip_delay.*0.005000 s is shorter than Lyng 300"):
        study("minibus", strings__trip_delay="5 ms")
    assert study("minibus", strings__trip_delay="15 ms").circuit.places


# -- leaks in two strings -----------------------------------------------------------------------


def currents(count: int, strings: int, i: int, j: int, voltage: float, resistance: float):
    """(through the bare pole, through the fused pole, into the leak): every node solved.

    Leaks i and j modules from the bare pole in the first two of equal strings; unknowns are the
    leak's and the fused rail's voltage against the bare rail.
    """
    one = resistance
    matrix, right = np.zeros((2, 2)), np.zeros(2)

    def source(a: int | None, b: int | None, modules: int) -> None:
        """From node a up to node b: a run of modules; None is the bare rail."""
        if modules == 0:
            g, e = 1e9, 0.0
        else:
            g, e = 1.0 / (modules * one), modules * voltage
        for node, sign in ((a, -1.0), (b, 1.0)):
            if node is None:
                continue
            right[node] += sign * g * e
            matrix[node, node] += g
            other = b if node == a else a
            if other is not None:
                matrix[node, other] -= g
    for k in (i, j):
        source(None, 0, k)
        source(0, 1, count - k)
    for _ in range(strings - 2):
        source(None, 1, count)
    leak, rail = np.linalg.solve(matrix, right)

    def up(a: float, b: float, modules: int) -> float:
        return (a - b + modules * voltage) / (modules * one) if modules else 0.0
    first_low, first_high = up(0.0, leak, i), up(leak, rail, count - i)
    return first_low, first_high


def test_the_two_parts_bound_every_pair_of_leaks():
    # 12 modules of 67.54 V and 7.22 mΩ, as the minibus's
    count, voltage, resistance = 12, 67.54, 7.22e-3
    whole = voltage / resistance
    least = voltage / ((2 * count - 1) * resistance)
    for strings in (2, 3, 4):
        bare, fused = [], []
        for i, j in itertools.permutations(range(1, count), 2):
            low, high = currents(count, strings, i, j, voltage, resistance)
            bare.append(abs(low))
            fused.append(abs(high))
        assert max(bare) <= (strings - 1) * whole * (1 + 1e-6)
        assert max(fused) <= (strings - 1) * whole * (1 + 1e-6)
        assert min(bare) >= least * (1 - 1e-6) or strings > 2  # see the note of the lowest


def test_leaks_in_two_strings_are_two_loops_and_no_fuse_stands_in_one(minibus, truck):
    bare, fused = place(minibus, BARE), place(minibus, FUSED)
    assert [d.key for d in bare.loop.devices] == ["leak_contactor"]
    assert [d.key for d in fused.loop.devices] == ["string_fuse", "leak_contactor"]
    # one string shorted, 12 modules in series; of two strings one feeds the other
    string = minibus.circuit.feeds.string
    whole = minibus.pack.full_voltage.number / string.resistance_initial.number
    assert bare.loop.highest.number == pytest.approx(whole) and whole > 9000.0
    assert fused.loop.highest.number == pytest.approx(whole)
    # one module out of 23, cold, aged and empty: as one module shorted inside a string
    assert bare.lowest.number == place(minibus, "string.module").lowest.number
    assert bare.at_lowest.clears is False and bare.at_highest.clears is False
    assert fused.at_lowest.clears is False and fused.at_highest.clears is True
    # the strings' own trip of 350 A, off by 1 % of 1500 A, may sit in the other pole
    assert f"from {fused.lowest.shown} to 365.0 A" in fused.between.span
    assert "sensor sits in the pole" in fused.between.why
    assert not any(p.key.startswith("chassis.second.strings") for p in truck.circuit.places)


def test_only_a_monitor_of_the_first_leak_makes_it_a_caution(minibus):
    assert {c.verdict for c in place(minibus, BARE).checks} == {CAUTION}
    bare = study("minibus", path__insulation_monitor="none", management__isolation_warn=None,
                 management__isolation_trip=None)
    assert {c.verdict for c in place(bare, BARE).checks} == {FAIL}


def test_no_place_has_its_lowest_above_its_highest(minibus, truck):
    for one in (*minibus.circuit.places, *truck.circuit.places):
        if one.lowest.known and one.loop.highest.known:
            assert one.lowest.number <= one.loop.highest.number * (1 + 1e-9), one.key
            assert one.loop.highest.number <= one.highest.number * (1 + 1e-9), one.key


def test_a_shorted_strings_fuse_breaks_what_the_link_pushes_in_as_well(minibus):
    found = place(minibus, "string")
    (fuse,) = (d for d in found.loop.devices if d.kind == "fuse")
    link = next(s for s in found.loop.sources if s.fades).current.number
    assert fuse.sees.number == pytest.approx(found.loop.highest.number + link + 48.0)
    weak = study("minibus", parts__string_fuse="Talvik 200 high voltage")
    assert place(weak, "string").at_highest.clears


# -- what lies on the bus -----------------------------------------------------------------------


def test_in_strings_a_branch_behind_the_main_fuse_lies_on_the_bus():
    filled = {"branch": {"floor heater": {"capacitance": "0.4 mF"}}}
    found, plain = study("minibus", **filled), study("minibus")
    brief = found.brief
    # 0.9 + 0.03 + 0.02 mF, and the heater's 0.4 mF where no contactor parts it from the link
    assert bus_capacitance(brief, True).number == pytest.approx(1.35e-3)
    assert bus_capacitance(brief, False).number == pytest.approx(0.95e-3)
    assert found.circuit.feeds.capacitance.number == pytest.approx(1.35e-3 * 1.1)
    assert precharge_asked(brief, found.pack).capacitance.number == pytest.approx(1.35e-3)

    def link(of):
        return next(s for s in place(of, "box").loop.sources if s.fades).current.number
    assert link(found) / link(plain) == pytest.approx(math.sqrt(1.35 / 0.95))
    assert not any(b.kind == "sense" for b in on_the_bus(brief, True))
    names = {load.name for load in bus_loads(brief, found.pack.highest_voltage, True)}
    assert "floor heater" in names and "pre-charge wires" not in names
    assert "floor heater" not in {
        load.name for load in bus_loads(brief, found.pack.highest_voltage, False)}


def test_an_open_input_says_on_which_side_it_errs():
    found = study("van", branch={"charger": {"capacitance": "unknown"}})
    check = next(c for c in bus_checks(found.brief, False) if c.verdict == NOT_EVALUATED)
    assert "with less both are shorter, with more pre-charge takes longer" in check.reason
    assert "with less" in OPEN_INPUT.note and "with more" in OPEN_INPUT.note


# -- a named mid-pack fuse ----------------------------------------------------------------------


def test_a_named_mid_pack_fuse_answers_in_its_loops(truck):
    found = place(truck, "chassis.second.inside_across")
    assert found.at_highest.device == "mid-pack fuse" and found.at_highest.clears
    # Talvik 400 counts from 1800 A, where it clears within 1 s; the lowest lies below
    assert found.at_lowest.clears is False and found.lowest.number < 1000.0
    assert f"from {found.lowest.shown} to 1800 A" in found.between.span
    assert place(truck, "box").between.clears is False
    unnamed = study("truck", parts__mid_fuse=None)
    assert place(unnamed, "chassis.second.inside_across").at_highest.clears is None
    assert not item(unnamed, "mid_fuse").own_parts  # its sheet alone


@pytest.mark.parametrize("name, words", [
    ("Brevik 400 general", "440.0 V, asked above 448.4 V"),   # rated DC voltage
    ("Talvik 80 branch", "Carries the continuous load: fail"),
])
def test_a_mid_pack_fuse_is_held_against_its_duty(name, words):
    found = item(study("truck", parts__mid_fuse=name), "mid_fuse")
    assert found.checks[0].verdict == FAIL and words in found.checks[0].sentence


def test_the_mid_pack_fuse_must_break_the_least_of_its_own_loops(truck):
    duty = {f.title: f.number for f in item(truck, "mid_fuse").duty if f.known}
    mine = [p for p in truck.circuit.places
            if "midpack_fuse" in {d.key for d in p.loop.devices}]
    assert {p.key for p in mine} == {"box", "chassis.second.beyond_mid",
                                     "chassis.second.inside_across"}
    assert duty["lowest fault through the mid-pack fuse"] == min(p.lowest.number for p in mine)
    assert duty["highest fault through the mid-pack fuse"] \
        == max(p.loop.highest.number for p in mine)


def test_in_strings_each_mid_pack_fuse_carries_its_own_string():
    found = study("minibus", pack__fuse_after=6, parts__mid_fuse="Talvik 200 high voltage")
    (mid,) = (d for d in place(found, "box").loop.devices if d.key == "midpack_fuse")
    assert mid.paths == 2
    duty = {f.title: f.number for f in item(found, "mid_fuse").duty if f.known}
    most = max(p.loop.highest.number / d.paths for p in found.circuit.places
               for d in p.loop.devices if d.key == "midpack_fuse")
    assert duty["highest fault through the mid-pack fuse"] == pytest.approx(most)


def test_a_mid_pack_fuse_without_a_sheet_lets_no_pole_to_pole_row_pass(truck):
    """It stands in series with the pole's fuse: it may melt first, and nobody shows it to break."""
    unnamed = study("truck", parts__mid_fuse=None)
    mine = [p for p in unnamed.circuit.places if p.loop.passed]
    assert {"terminals", "chassis.second.fused_pole"} <= {p.key for p in mine}
    for one in mine:
        assert not one.shown and not any(a.clears for a in one.answers)
    row = place(unnamed, "terminals")
    assert row.at_highest.clears is None and row.at_highest.device == "mid-pack fuse, not named"
    assert "may melt before" in row.at_highest.why and "no data sheet" in row.at_highest.why
    held = next(c for c in unnamed.coordination.item.checks if c.title.startswith("every fault"))
    assert held.verdict != PASS
    assert "mid-pack fuse" in held.reason and row.title in held.reason \
        or held.verdict == FAIL
    # named with its sheet, and shown to break: the rows stand as they did
    assert place(truck, "terminals").at_highest.clears
    assert place(truck, "terminals").loop.passed


def test_a_mid_pack_fuse_of_too_little_voltage_leaves_its_arc_to_nobody():
    found = study("truck", parts__mid_fuse="Brevik 400 general")  # 440 V, 448.4 V asked
    row = place(found, "terminals")
    assert row.at_highest.clears is False and "melts before" in row.at_highest.why
    assert any(c.verdict == FAIL for c in row.checks)


def test_a_mid_pack_fuse_that_is_the_main_fuse_is_held_once():
    found = study("truck", path__main_fuse="mid-pack", parts__mid_fuse=None)
    assert not any(d.kind == FUSE for p in found.circuit.places for d in p.loop.passed)


def test_each_string_s_mid_pack_fuse_melts_by_its_own_share():
    found = study("minibus", pack__fuse_after=6)
    (mid,) = place(found, "terminals").loop.passed
    assert mid.paths == 2 and not place(found, "terminals").shown


# -- a named charge contactor -------------------------------------------------------------------


def test_a_named_charge_contactor_is_held_against_charging(truck):
    found = item(truck, "charge_contactor")
    (own,) = found.own_parts
    by_title = {c.title: c for c in own.checks}
    assert by_title["one pole rated above the highest working voltage"].verdict == PASS
    assert {c.demand.shown for t, c in by_title.items() if t.startswith("breaks the")} \
        <= {"33.64 A"}
    inlet = told(truck, "charge inlet is dead")
    assert inlet.verdict == PASS and "Lyng 200" in inlet.reason


@pytest.mark.parametrize("name, verdict", [("Lyng 400 low voltage", FAIL),  # 250 V
                                           ("Hauk 250 thin sheet", NOT_EVALUATED)])
def test_a_charge_contactor_that_does_not_show_it_is_no_pass(name, verdict):
    found = study("truck", parts__charge_contactor=name)
    assert item(found, "charge_contactor").checks[0].verdict == verdict


@pytest.mark.parametrize("changes, words", [
    ({"path__charge_contactor": "none"}, "Lyng 200 stands before the charge inlet"),
    ({"pack__fuse_after": 0}, "Talvik 400 full range stands inside the string"),
])
def test_a_part_that_is_named_and_stands_nowhere_is_told(changes, words):
    check = told(study("truck", **changes), words)
    assert check.verdict == FAIL and check.demand.number == 1


@pytest.mark.parametrize("entry", ["mid_fuse", "charge_contactor"])
def test_a_further_part_must_stand_in_the_list_and_in_the_starter(entry):
    with pytest.raises(UserError, match="Lyng 9"):
        study("truck", **{f"parts__{entry}": "Lyng 9"})
    assert f"\n# {entry} = " in starter_brief()


def test_a_further_part_is_bought_once_and_under_its_name(truck):
    lines = {b.key: b for b in bill(truck)}
    assert lines["inside_fuse"].named == "Talvik 400 full range"
    assert (lines["charge_contactors"].named, lines["charge_contactors"].quantity) \
        == ("Lyng 200", 2)
    assert not {"mid_fuse", "charge_contactor"} & set(lines)


@pytest.mark.parametrize("key, change", [
    ("mid_fuse", "Talvik 315 full range"), ("mid_fuse", "350 A"),
    ("charge_contactor", "Lyng 300"), ("charge_contactor", "100 A")])
def test_a_reviewers_change_of_a_further_part_is_sized_again(truck, key, change):
    decision = next(d for d in decisions(truck) if d.item == key and d.kind == CHOICE)
    found = recheck(truck, decision, change)
    assert found.understood and "sized again" in found.words


# -- named, not judged --------------------------------------------------------------------------


LASTS = "overload that lasts longer than 5.000 s"


def test_an_overload_beyond_the_adiabatic_time_is_ended_before_the_cable_is_warm(truck):
    check = told(truck, LASTS)
    # 406.6 A the cable carries for ever; at 675 A (650 A and 25 A of the sensor) the quick trip
    # opens, below it the overload trip after 12 s
    assert check.verdict == PASS and "from 406.6 A to 675.0 A" in check.reason
    assert "Lyng 500 on the overload trip opens it in 12.00 s" in check.reason
    # 185 mm² from the peak's temperature to the lugs' 85 °C: k = 226·√(ln((234.5 + 85)/(234.5 + θ)))
    # of IEC 60364-5-54, Annex A; t = k²·S²/I²
    warming = truck.coordination.asked.cable_warming
    peak = warming.inputs[0].inputs[0].number - 273.15
    k = 226 * math.sqrt(math.log((234.5 + 85) / (234.5 + peak)))
    assert 60 < peak < 85
    assert check.figure.number == pytest.approx((k * 185 / 675) ** 2, rel=1e-6)
    assert 12.0 < check.demand.number < 12.0 + 7 * truck.coordination.asked.time_constant.number


def test_without_an_overload_trip_nobody_ends_it_by_name():
    bare = told(study("truck", management__overload_trip=None, management__overload_delay=None),
                LASTS)
    assert bare.verdict == NOT_EVALUATED and "nobody is shown to open it in that time" in bare.reason
    assert bare.figure.number < 1000 and "no overload trip is named" in bare.reason


def test_a_quick_overload_trip_leaves_nothing_of_it():
    # 380 A and 1 % of 2500 A: 405 A, below 406.6 A; open after 4 s
    check = told(study("truck", management__overload_delay="4 s"), LASTS)
    assert check.verdict == PASS
    assert (check.figure.number, round(check.demand.number, 1)) == (405.0, 406.6)


def test_a_short_that_begins_after_the_coil_has_dropped_has_a_verdict(truck):
    late = told(truck, "short that begins once the coils have dropped")
    assert late.verdict == NOT_EVALUATED and late.figure.number == 3000.0
    for name in ("crash", "loss of 12 V"):
        assert "coils have dropped: not evaluated" in truck.circuit.states.state(name).blind
