"""Trips judged at each place, ranges that nobody clears, settings that pass when they are entered.

Every input is invented; the arithmetic stands beside each figure.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from packcalc import place_sweep
from packcalc.checks import CAUTION, FAIL
from packcalc.clearing import clearing_by
from packcalc.duties import MAIN_FUSE_CONSTANT
from packcalc.findings import leaf
from packcalc.part_checks.limits import NO_SETTING
from packcalc.part_checks.sweep import UNDERVOLTAGE
from packcalc.protect import strings as st
from packcalc.protection import ProtectionStudy
from tests.cases.studies import study
from tests.cases.test_strings_branches_places import strings

pytestmark = pytest.mark.thorough

CELLS = 96  # sixteen modules of six
BLIND = {"management__trip_current": None, "management__trip_delay": None,
         "management__overload_trip": None, "management__overload_delay": None,
         "management__undervoltage_trip": "2.7 V", "management__voltage_delay": "0.5 s"}
HEATER = "battery heater"
# As much resistance as 16 m of 4 mm², and it survives until the contactors have opened.
THIN = {"length": "48 m", "section": "12 mm²", "taps": "behind the contactors",
        "fuse_part": "", "fuse_rating": "none", "insulation_class": "105 degC"}


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def contactors(one):
    return next(d for d in one.loop.devices if d.key == "contactors")


@pytest.fixture(scope="module")
def thin() -> ProtectionStudy:
    """A long wire without a fuse; no trip but that of the cells."""
    return study("truck", branch={HEATER: THIN}, **BLIND)


# -- the cells' trip at the place of the fault ---------------------------------------------------


def test_a_long_branch_keeps_the_cells_above_the_level_of_their_trip(thin):
    at = place(thin, f"branch.{HEATER}.after")
    # 2·48 m of 12 mm² at 105 °C: 2·48·20.55e-3/12·(234.5 + 105)/254.5 = 219.3 mΩ in the wire alone
    wire = 2 * 48 * 20.55e-3 / 12 * (234.5 + 105) / 254.5
    pack = thin.pack.path.number + thin.pack.cable_allowance.number
    blind = 2.7 * CELLS / (wire + pack)
    assert 2.7 * CELLS / wire == pytest.approx(1182, rel=1e-3)
    assert at.between.clears is False and at.between.current.number == pytest.approx(blind, 1e-6)
    # from there up to where the main fuse opens within a second nobody is counted on, and further
    # until it lets no more through than the wire stands
    takes = thin.coordination.sweep.fuse.low
    ends = float(at.between.span.split(" to ")[1].split(" ")[0])
    assert blind < takes < ends and 1800.0 ** 2 > at.loop.own_wire.number
    assert "the cells may keep more" in at.between.why
    assert at.at_lowest.device == "main contactors"


def test_at_the_terminals_the_same_trip_sees_more(thin):
    # path alone and cables outside: the level is reached far above the highest of a thin wire
    device = contactors(place(thin, "terminals"))
    drop = device.drop.number
    pack = thin.pack.path.number + thin.pack.cable_allowance.number
    assert drop == pytest.approx(pack / CELLS)
    answers = clearing_by(thin.coordination, thin.brief)
    line = next(x for x in answers.contactor(device, thin.coordination).lines
                if x.name == UNDERVOLTAGE)
    # (U − 96·2.7 V)/R of the modules alone: from there on they fall below it by themselves, and
    # below that no wire of this place takes enough of the voltage
    falls = (thin.pack.full_voltage.number - CELLS * 2.7) / thin.pack.resistance_initial.number
    assert device.falls.number == pytest.approx(falls) and falls < 2.7 / drop
    assert line.to_current == np.inf


@pytest.mark.parametrize("share, clears", [(0.99, True), (1.01, False), (0.5, True)])
def test_a_blind_trip_is_nobody_and_sees_again_where_cells_fall_by_themselves(share, clears):
    """One cell keeps I·R of the wires, and at most its own voltage less I times its own R."""
    van = study("van")
    device = next(d for d in place(van, "chassis.second.inside_module").loop.devices
                  if d.key == "pole_cell_trip")
    answers, blind = clearing_by(van.coordination, van.brief), 2.5 / device.drop.number
    at = leaf("current", "I", "A", share * blind, "given")
    assert answers(device, at)[0] is clears
    # 1000 A: wires that blind from 803 A on, cells that by themselves fall below it from 900 A
    known = replace(device, falls=leaf("falls", "I", "A", 900.0, "given"))
    told = [answers(known, leaf("current", "I", "A", i, "given")) for i in (800.0, 850.0, 901.0)]
    assert [one[0] for one in told] == [True, False, True]
    assert "from 803.0 A to 900.0 A the cells may keep more" in told[1][2]
    swept = place_sweep.currents_of(answers, replace(
        place(van, "chassis.second.inside_module").loop, devices=(known,)))
    times = place_sweep.times_over(answers, replace(
        place(van, "chassis.second.inside_module").loop, devices=(known,)), swept)
    inside = (swept >= blind) & (swept < 900.0)
    assert inside.any() and np.isnan(times[inside]).all()
    assert not np.isnan(times[(swept < blind) | (swept >= 900.0) & (swept < 1000.0)]).any()


def test_a_fault_below_that_of_the_main_path_is_seen_as_well():
    # a fuse of its own that does not open it: the main path is not sized for what lies behind it
    own = {"fuse_rating": "250 A", "fuse_part": "Talvik 250 full range", "length": "50 m",
           "section": "7.7 mm²"}
    found = study("truck", branch={HEATER: {**THIN, **own}}, **BLIND)
    at, main = place(found, f"branch.{HEATER}.after"), found.coordination.asked.fault_lowest
    assert at.lowest.number < main.number
    assert at.lowest.number * contactors(at).drop.number < 2.7
    assert at.at_lowest.clears and at.at_lowest.time.number > 0.5
    # without its sheet nobody knows what it adds: the current may be less, the cells may keep more
    bare = place(study("truck", branch={HEATER: {**THIN, "fuse_rating": "63 A"}}, **BLIND), at.key)
    assert bare.at_lowest.clears is None and "it may be less" in bare.at_lowest.why


# -- what nobody opens is said with its range ----------------------------------------------------


def test_a_place_where_no_current_is_cleared_is_swept_all_the_same():
    found = study("truck", management__undervoltage_trip=None, management__voltage_delay=None)
    at = place(found, "chassis.second.own_side")
    # Lyng 500 breaks 3000 A: above nobody, below not shown, as the sensor may sit elsewhere
    assert at.between is not None and at.between.clears is False
    assert "3000 A to" in at.between.span and "not shown" in at.between.why


# -- trips ---------------------------------------------------------------------------------------


def test_the_error_of_a_strings_sensor_is_of_a_range_and_not_of_the_setting():
    trips = study("minibus", strings__sensor_range=None).circuit.inside_strings.asked.trips
    # 1 % of the stated 1500 A of the pack's sensor, not of the 350 A that are set: 350 + 15 = 365 A
    assert trips.sensor_error.number == pytest.approx(15.0)
    alone = study("minibus", management__current_sensor_range=None, strings__sensor_range=None)
    own = alone.circuit.inside_strings.asked.trips.sensor_error
    assert own.number == pytest.approx(3.5) and "at least" in own.inputs[1].note + own.note


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_what_is_asked_of_the_trips_passes_when_it_is_entered(name):
    asked = study(name)
    rows = {r.what: r.value for r in asked.circuit.management.item.specification}
    line = rows["discharge current, overload: trip"]
    slow = re.match(r"([\d.]+) A, after ([\d.]+) s", line)
    quick = re.match(r"([\d.]+) A", rows["discharge current, fault: trip"])
    # where no setting serves both, no figure is sent: each would fail for one side
    assert quick and bool(slow) != line.startswith(NO_SETTING)
    overload = {"management__overload_trip": f"{slow[1]} A",
                "management__overload_delay": f"{slow[2]} s"} if slow else {}
    entered = study(name, management__trip_current=f"{quick[1]} A", **overload)
    told = {c.title: c for c in entered.coordination.item.checks}
    if slow:
        assert told["the overload trip stays quiet in use"].verdict != FAIL
    assert told["the current trip stays quiet at the peak load"].verdict != FAIL
    own = {c.title: c for c in entered.circuit.management.item.checks}
    assert own["current trip lies above the peak load"].verdict != FAIL


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_the_range_that_is_asked_of_the_sensor_passes_when_it_is_entered(name):
    # van: 1463.2 A is asked as three figures above it, 1470 A, never as the nearest four
    rows = {r.what: r.value for r in study(name).circuit.management.item.specification}
    found = re.fullmatch(r"at least ([\d.]+) A", rows["current sensor: range, both directions"])
    assert found
    entered = study(name, management__current_sensor_range=f"{found[1]} A")
    told = {c.title: c for c in entered.circuit.management.item.checks}
    check = told["current sensor reaches the highest current to be told apart"]
    assert check.verdict != FAIL, check.reason


def test_a_limit_of_one_string_alone_is_named_so():
    # minibus: 68.25 A of one string less 15 A of the sensor
    rows = {r.what: r.value for r in study("minibus").circuit.management.item.specification}
    assert "at most 53.25 A for cells (one string alone in)" \
        in rows["discharge current, overload: trip"]
    checks = {c.title: c for c in study("minibus").circuit.management.item.checks}
    assert "one string alone in bears 68.25 A" \
        in checks["overload trip ends an overload of the modules"].reason


def test_the_note_of_the_main_fuse_s_time_constant_claims_the_full_voltage_alone():
    fuse = next(i for i in study("truck").items if i.key == "main_fuse")
    note = next(f.note for f in fuse.duty if f.title == MAIN_FUSE_CONSTANT)
    assert note == "longest at the full voltage; longer ones at lower voltage stand in the sheet"


def test_full_strings_are_held_to_the_difference_where_voltage_alone_permits_nothing():
    told = "Allowed difference can be told from the measuring error"

    def judged(**changed):
        return [c.title for c in st.size_strings(strings(**changed)).checks]

    flat = leaf("slope", "dU/dz", "V", 2.8, "given")  # one volt of error hides a third of the charge
    assert told in judged() and told in judged(slope=flat)
    # where the cold lets nobody join there is none to tell
    cold = (st.ChargeLimit(leaf("θ", "θ", "°C", 253.15, "given"),
                           leaf("limit", "I", "A", 0.0, "given")),)
    assert told not in judged(charge_limits=cold)


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_the_sensor_asked_for_sees_the_trip_asked_for(name):
    rows = {r.what: r.value for r in study(
        name, management__current_sensor_range=None).circuit.management.item.specification}
    reach = float(re.search(r"[\d.]+", rows["current sensor: range, both directions"])[0])
    assert reach > float(re.search(r"[\d.]+", rows["discharge current, fault: trip"])[0])


# -- joining strings -----------------------------------------------------------------------------


def test_no_difference_is_named_where_voltage_does_not_show_the_charge():
    # error 1 V and hysteresis on 1 V of rise per whole charge: more than 100 % may stay hidden
    flat = strings(slope=leaf("slope", "s", "V", 0.9, "given"),
                   voltage_error=leaf("error", "u", "V", 1.0, "given"))
    item = st.size_strings(flat)
    row = next(r for r in item.specification if "measured difference" in r.what)
    assert row.value.startswith("none: no voltage difference permits joining")
    check = next(c for c in item.checks if "charges differ" in c.title)
    assert check.verdict == CAUTION and "more than the whole charge" in check.reason
    assert check.figure is None
    assert not any(f.title.startswith("allowed difference") for f in item.duty)
    assert not any(f.unit == "%" and f.number > 1.0 for f in item.duty)


def test_an_arc_is_not_ended_by_the_trip_of_the_cells(thin):
    # the arc takes the voltage that a short would leave to them; only the fuse is counted on. The
    # trip may act all the same, 0.5 s and 15 ms to open, and the contactor is not shown to break
    # so inductive a loop: two seconds, U·I/2·2 s at 0.4572 m, up to where the fuse clears before,
    # between its points 0.1 s: 2640 A and 1 s: 1800 A at 2640·(1800/2640)^lg 5.15 = 2010 A
    arc = thin.coordination
    most = 0.005 * thin.pack.highest_voltage.number * arc.worst_arc_at.number * 2.0 / 45.72 ** 2
    assert arc.worst_arc_at.number == pytest.approx(2 * 2010, rel=0.005)
    assert arc.worst_arc.number / 4.184e4 == pytest.approx(most)
