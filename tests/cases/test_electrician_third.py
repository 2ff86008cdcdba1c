"""What an electrician found on the third reading of the reports; vehicles and parts invented.

Each case was wrong once. The rise of a current through R and L is the plain integral of
(1 − e^(−t/τ))² (Halliday, Fundamentals of Physics, 10th ed., 30-6), summed here in steps of its
own; the other arithmetic beside each figure is repeated by hand from brief and parts list.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.decisions import CHOICE, decisions
from packcalc.findings import leaf
from packcalc.part_checks.rising import rising_time
from packcalc.protect import fuse as fz
from packcalc.protect.overvoltage import study_overvoltage
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.compose import _into_a_fault
from tests.cases.studies import study
from tests.test_overvoltage import asked as chain_asked

pytestmark = pytest.mark.thorough

@pytest.fixture(scope="module")
def van() -> ProtectionStudy:
    return study("van")


@pytest.fixture(scope="module")
def truck() -> ProtectionStudy:
    return study("truck")


@pytest.fixture(scope="module")
def minibus() -> ProtectionStudy:
    return study("minibus")


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def told(found, key, words):
    return next(c for i in found.items if i.key == key for c in i.checks if words in c.title)


# -- a current that rises -----------------------------------------------------------------------


def until(current: float, tau: float, integral: float) -> float:
    """Time at which the squared rise, summed by trapezia of 10 ns, reaches an I²t."""
    t = np.arange(0.0, 0.02, 1e-8)
    squared = (current * (1.0 - np.exp(-t / tau))) ** 2
    heat = np.concatenate([[0.0], np.cumsum((squared[1:] + squared[:-1]) * 0.5e-8)])
    return float(t[np.searchsorted(heat, integral)])


@pytest.mark.parametrize(("tau", "integral"), [
    (3.661e-3, 23800.0), (3.661e-3, 74400.0), (5.803e-3, 23800.0), (5.803e-3, 74400.0)])
def test_the_time_of_an_integral_is_that_of_the_plain_sum(tau, integral):
    found = float(rising_time(26864.0, tau, integral))
    assert found == pytest.approx(until(26864.0, tau, integral), abs=2e-8)


def test_at_one_millisecond_the_van_s_fuse_has_not_even_melted():
    # 26864 A, τ 3.661 ms: 14700 A²s at 1 ms, melting 23800 A²s
    assert until(26864.0, 3.661e-3, 14700.0) == pytest.approx(1e-3, abs=2e-6)
    assert until(26864.0, 3.661e-3, 23800.0) == pytest.approx(1.19e-3, abs=5e-6)


@pytest.mark.parametrize("key", ["terminals", "chassis.second.fused_pole"])
def test_a_clearing_time_is_never_sooner_than_the_rise_lets_through(van, key):
    one = place(van, key)
    device = next(d for d in one.loop.devices if d.key == "main_fuse")
    part = van.coordination.asked.fuse
    assert part.clearing_i2t.number == 74400.0
    wanted = until(one.loop.highest.number, device.constant.number, 74400.0)
    assert one.at_highest.time.number == pytest.approx(wanted, abs=1e-7)
    assert wanted > 1.7e-3  # 1.8 ms at the terminals, 2.4 ms through the chassis
    assert "errs long" in one.at_highest.time.note


@pytest.mark.parametrize("name", ["van", "truck", "minibus"])
def test_every_fuse_s_time_at_every_place_counts_its_own_loop(name, request):
    found = request.getfixturevalue(name)
    tried = 0
    # of several loops that are told as one place each by its own
    for one in (r for p in found.circuit.places for r in p.rivals or (p,)):
        for end in (one.at_highest, one.at_lowest):
            fuse = next((d for d in one.loop.devices if d.name == end.device
                         and d.kind == "fuse" and d.paths == 1), None)
            if not end.clears or fuse is None:
                continue
            assert fuse.constant.number >= one.loop.time_constant.number * (1 - 1e-12)
            # never sooner than the current could have let through the least pre-arcing I²t
            tau, t = fuse.constant.number, end.time.number
            part = next((p for p in found.brief.parts.list.fuses
                         if p.name == end.why.split(" by its")[0]), None)
            least = end.current.number ** 2 * (
                t - 2 * tau * -np.expm1(-t / tau) + tau / 2 * -np.expm1(-2 * t / tau))
            assert part.clearing_i2t is None or least >= part.clearing_i2t.number * (1 - 1e-9)
            tried += 1
    assert tried > 8


def test_what_a_fuse_lets_through_is_never_less_than_its_sheet_says(van):
    swept = van.coordination.sweep
    own = swept.current[swept.fuse.counts(swept.current)]
    assert (swept.fuse.heat(own) >= 74400.0 * (1 - 1e-12)).all()
    assert (swept.fuse.times(own) >= swept.fuse.curve_times(own)).all()


# -- every source -------------------------------------------------------------------------------


def test_the_van_s_charger_capacitor_feeds_the_fault_behind_the_converter_s_fuse(van):
    # V·√(C/L) with C the link and every input at +tolerance, L = 0.5 µH/m over the branch
    joined = [b for b in van.brief.branch if b.taps == "behind the contactors"]
    assert "charger" in {b.kind for b in joined}
    # the charger's is not stated and counts with 1 mF, 1.2 mF at the upper tolerance
    nominal = van.brief.inverter.dc_link_capacitance.number + sum(
        b.capacitance.number if b.capacitance.known else 1e-3 for b in joined
        if b.capacitance.known or b.kind not in ("sense", "pre-charge", "monitor"))
    c = nominal * (1 + van.brief.inverter.dc_link_tolerance.number)
    assert van.circuit.feeds.capacitance.number == pytest.approx(c)
    peaks = [s.current.number for p in van.circuit.places for s in p.loop.sources
             if s.name == "link capacitors" and s.current.known]
    volts = van.pack.highest_voltage.number
    lengths = [b.length.number for b in van.brief.branch]
    for peak in peaks:
        run = c * volts ** 2 / peak ** 2 / 0.5e-6
        assert any(run == pytest.approx(x, rel=1e-6) for x in (*lengths, 0.5, *(
            r.length.number for r in van.brief.cables.route)))


def test_every_source_is_said_only_where_the_motor_is_silent(van, truck):
    assert van.brief.motor.back_voltage.number == 0
    assert "with every source (" in _into_a_fault(van)
    assert truck.brief.motor.back_voltage.number > 0
    assert "every source but a spinning motor" in _into_a_fault(truck)


@pytest.mark.parametrize("capacitance, named", [("unknown", True), ("2 mF", False)])
def test_a_station_in_no_sum_is_said_beside_every_source(capacitance, named):
    found = study("minibus", station__capacitance=capacitance)
    assert ("a plugged station's capacitors" in _into_a_fault(found)) is named


def test_one_limit_of_the_cells_trip_in_both_rooms():
    found = study("minibus", management__overvoltage_trip=None)
    wanted = next(c for _, c in found.checks if c.title == "over-voltage trip within the cell's "
                                                           "limit").demand
    told = next(c for _, c in found.checks if c.title.startswith("a charging station that runs"))
    cells = 12 * 16
    assert f"at or below {wanted.number * cells:.1f} V of the pack" in told.remedy


# -- a disconnect that is not there -------------------------------------------------------------


def test_where_no_disconnect_stands_none_of_the_list_is_put_forward():
    found = study("van")
    assert found.brief.pack.disconnect_after.number == 0 and not found.brief.parts.disconnect
    (one,) = [i for i in found.items if i.key == "disconnect"]
    assert one.governing.startswith("none splits the string by the brief")
    assert one.candidates == one.open_items == ()
    assert not [d for d in decisions(found) if d.part == one.title and d.kind == CHOICE]


def test_a_named_disconnect_that_stands_nowhere_is_said_once():
    found = study("van", parts__disconnect="Port 400", pack__disconnect_after=0)
    item = next(i for i in found.items if i.key == "disconnect")
    assert not item.candidates
    assert [c.verdict for c in item.checks] == [FAIL] and "Port 400" in item.checks[0].title
    assert "no disconnect splits this string" in found.circuit.arc.check.remedy


def test_the_remedy_of_an_arc_follows_the_design(truck):
    assert "pull the disconnect" in truck.circuit.arc.check.remedy
    bare = study("truck", pack__disconnect_after=0)
    assert "pull the disconnect" not in bare.circuit.arc.check.remedy


# -- settings that are sent ---------------------------------------------------------------------


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_no_setting_is_sent_above_what_the_same_section_forbids(name, request):
    found = request.getfixturevalue(name)
    error = found.coordination.asked.trips.sensor_error.number
    limits = {one.quantity: one for one in found.circuit.management.limits}
    slow = limits["discharge current, overload"]
    paths = 1 if found.layout.arrangement == "strings" else found.layout.parallel
    bears = found.pack.module_continuous_limit.number * paths
    if slow.trip is None:
        assert "no setting serves both" in slow.action and "for the load" in slow.action
    else:
        assert slow.trip.number + error <= bears * (1 + 1e-9)
        assert slow.trip.number >= found.pack.continuous_current.number + error - 1e-6
    braking = limits["braking current into the pack"]
    if braking.trip is None:
        assert "no setting serves both" in braking.action and "less braking power" in braking.action
    else:
        assert braking.trip.number >= found.pack.regeneration_current.number + error - 1e-6


def test_the_truck_s_overload_trip_is_that_of_its_modules(truck):
    limits = {one.quantity: one for one in truck.circuit.management.limits}
    # 188.3 A + 25 A of load against the modules' 211.2 A − 25 A; braking 105.6 A − 25 A
    slow = limits["discharge current, overload"]
    assert slow.trip is None and "at most 186.2 A for cells and cables" in slow.action
    braking = limits["braking current into the pack"]
    assert braking.trip is None and "at most 80.60 A" in braking.action


# -- one circuit, one figure; the stub; one event, one figure ---------------------------------


def test_the_van_s_charger_branch_carries_what_the_charger_gives(van):
    # 6600 W at the lowest charging voltage: 51.83 A, not the 50 A of the branch's own entry
    item = next(i for i in van.items if i.key == "branch.charger")
    assert "the load takes 51.83 A" in item.governing
    carried = told(van, "branch.charger", "Fuse carries the load")
    assert carried.demand.number == pytest.approx(99.33, abs=0.02)
    assert told(van, "branch.charger", "One circuit, one load").verdict == CAUTION


def test_the_conductor_between_tap_and_fuse_is_held_against_heat(truck):
    one = told(truck, "branch.DC/DC converter", "Fuse stands at the tap")
    # 4 mm², 90 °C to 160 °C: (226·√ln(394.5/324.5)·4)² = 159 kA²s at most; by its class 105 °C
    # 122.7 kA²s, against what the main fuse lets through at the lowest currents
    assert one.verdict == CAUTION and "it stands 122700 A²s" in one.reason
    assert "a fault there lets up to" in one.reason and "fuse at the tap" in one.remedy
    heat = float(one.reason.split("up to ")[1].split(" ")[0])
    assert heat > 122700.0 and heat >= 74400.0
    # the charge cable's stub is large enough for that heat: (226·√ln…·25)² is far above it
    assert told(truck, "branch.charge cable", "Fuse stands at the tap").verdict == PASS


def test_one_module_shorted_in_a_string_has_one_figure(minibus):
    least = place(minibus, "string.module").loop.lowest.number
    item = next(i for i in minibus.items if i.key == "strings")
    duty = next(f for f in item.duty if f.title.startswith("current that one other string pushes"))
    assert duty.number == pytest.approx(least, rel=1e-9)


def test_what_one_cable_survives_has_its_duration(van):
    names = {f.title for r in van.routes for c in r.item.candidates for f in c.facts}
    assert "one cable survives for 1 s" in names and "one cable survives" not in names


# -- a proof that can never be met --------------------------------------------------------------


def test_a_crash_proof_that_the_link_cannot_give_says_so(truck, van, minibus):
    slow = 0
    for found in (truck, van, minibus):
        check = told(found, "switching", "link is below 60 V in time after a crash")
        state = next(s for s in found.circuit.states.states if s.name == "crash")
        if check.figure is not None and check.figure.number > 5.0:
            slow += 1
            assert check.verdict == CAUTION and "can never be met" in check.reason
            assert state.failing.startswith("CAUTION, never met")
        else:
            assert "never met" not in state.failing
    assert slow


# -- what a newcomer found ----------------------------------------------------------------------


def test_an_open_maximum_never_rates_parts_lower_than_the_same_written_in():
    base = chain_asked(back_voltage=None, reaction=None)
    top = max(base.full_voltage.number, base.braking_voltage.number) + 15.0
    most = {basis: study_overvoltage(replace(base, absolute_maximum=leaf(
        "maximum", "U", "V", top, basis, source="packcalc-rule" if basis == "assumed" else "")))
        .highest.number for basis in ("given", "assumed")}
    assert most == {"given": top, "assumed": top}


@pytest.mark.parametrize("chain, verdict", [
    ({}, NOT_EVALUATED),  # 34 V of the inverter by what is known: what is open may lie above 60 V
    ({"motor": {"back_voltage": "20 V"}, "regeneration": {"power": "0 W"}, "charger": {
        "power": "1 kW", "tolerance": "1 %", "voltage_range": "18 V to 30 V"}}, PASS)])
def test_a_pack_below_60_v_is_told_alike_for_link_and_crash(chain, verdict):
    found = study_protection(brief_from_data({
        "modules": [{"label": "8s 100 Ah LFP", "count": 1}],
        "inverter": {"voltage_range": "18 V to 34 V", "absolute_maximum": "34 V"},
        "power": {"peak": "1 kW"}, **chain}))
    assert found.pack.highest_voltage.number < 60.0
    crash = told(found, "switching", "link is below 60 V in time after a crash")
    link = told(found, "insulation", "DC link falls below 60 V in 5 s")
    assert crash.verdict == link.verdict == verdict and crash.reason == link.reason


def test_no_cable_fails_once_and_is_no_limit_of_nought():
    none = leaf("capacity", "I", "A", 0.0, "given", note="no cable fits the route")
    assert not fz._cable_rating(none).known and fz.NO_CABLE in fz._cable_rating(none).note
    rated = leaf("rated", "I", "A", 100.0, "given")
    assert fz._protects_cable(rated, none).verdict == NOT_EVALUATED
    assert fz._fuses_in_time(rated, none, fz.gg_factor(100.0), "", "").verdict == NOT_EVALUATED
