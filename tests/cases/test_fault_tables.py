"""One figure for one thing in the fault tables: sense wires between two cells, a branch's own
fuses in its loop, the least that a fuse is counted on for, a spinning motor, reasons of a gap.

Every brief is an invented example with entries changed, its arithmetic beside it.
"""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.clearing import clearing_by
from packcalc.errors import InputErrors
from packcalc.feeds import own_fuses
from packcalc.place_sweep import sweeping_by
from packcalc.protection import ProtectionStudy
from packcalc.report.compose import report_document
from packcalc.report.places_report import headline, places_table
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

OPENS = "Fuse opens at the lowest fault within 1 s"
MAIN, POLE = 0.32e-3, 0.20e-3  # of the van: main fuse, and the contactor of one pole, in Ω
SURELY = "branch fuse: current that it surely opens within 1 s"


@pytest.fixture(scope="module")
def truck() -> ProtectionStudy:
    return study("truck")


@pytest.fixture(scope="module")
def van() -> ProtectionStudy:
    return study("van")


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def item(found, key):
    return next(i for i in found.items if i.key == key)


def check(found, key, title):
    return next(c for c in item(found, key).checks if c.title == title)


def asked_of(found, branch):
    return next(r for r in item(found, f"branch.{branch}").specification if r.what == SURELY)


def wires(length: float, section: float) -> float:
    """Both conductors in Ω, class 5 tinned copper of IEC 60228 (20.55 mΩ/m of 1 mm²) at 105 °C."""
    return 2 * length * 20.55e-3 / section * (234.5 + 105) / (234.5 + 20)


# -- sense wires: neighbours have one cell between them ------------------------------------------


def test_the_lowest_fault_of_a_sense_wire_is_that_of_one_cell():
    found = study("truck", branch={"sense wires": {
        "fuse_part": "Talvik 10 branch", "fuse_rating": "10 A", "length": "2 m",
        "section": "0.35 mm²"}})
    at, module = place(found, "branch.sense wires.after"), found.circuit.feeds.module
    # one of the module's six cells, 3.41 V and 2.8 mΩ, over 313 mΩ of wire and two fuses of
    # 1 W at 10 A, 10 mΩ each: 10.1 A, and this fuse opens within 1 s from 45 A on
    least = module.voltage_empty.number / 6 / (
        module.resistance_long.number / 6 + wires(2.0, 0.35) + 2 * 1.0 / 10.0 ** 2)
    assert least == pytest.approx(10.1, abs=0.05)
    assert at.lowest.number == pytest.approx(least, rel=1e-4)
    assert at.at_lowest.words == "nobody" and "to 45.00 A" in at.between.span
    # the supplier's sheet asks for the same
    one = check(found, "branch.sense wires", OPENS)
    assert (one.verdict, one.figure.number) == (FAIL, at.lowest.number)
    assert asked_of(found, "sense wires").value == f"at most {at.lowest.shown}"
    # two far wires of one loom: the whole pack at the highest
    assert at.loop.highest.number == found.faults.highest.number


def test_modules_beside_the_shorted_cell_do_not_count_in_its_lowest_fault(van):
    feeds = van.circuit.feeds
    # four modules paralleled at their ends give four times what one of them gives
    assert place(van, "branch.sense wires.before").lowest.number == pytest.approx(
        feeds.module.lowest.number / 4, rel=1e-9)
    cell = feeds.module.voltage_empty.number / 8, feeds.module.resistance_long.number * 4 / 8
    # 0.8 m of 0.35 mm², two fuses of 0.2 W at 2 A, 50 mΩ each
    assert place(van, "branch.sense wires.after").lowest.number == pytest.approx(
        cell[0] / (cell[1] + wires(0.8, 0.35) + 2 * 0.2 / 2.0 ** 2), rel=1e-4)


# -- a branch's own fuses stand in its loop ------------------------------------------------------


@pytest.mark.parametrize("poles, fuses", [("one", 1), ("both", 2)])
def test_one_figure_for_the_lowest_fault_with_the_branchs_own_fuses(poles, fuses):
    found = study("van", branch={"DC/DC converter": {"fused_poles": poles}})
    pack, at = found.pack, place(found, "branch.DC/DC converter.after")
    # 1.1 m of 4 mm², each fuse 2 W at 20 A: 5 mΩ
    loop = pack.resistance_long.number + wires(1.1, 4.0) + fuses * 2.0 / 20.0 ** 2
    assert at.lowest.number == pytest.approx(pack.rest_low_voltage.number / loop, rel=1e-4)
    lines = item(found, "branch.DC/DC converter").duty
    assert at.lowest.number in [f.number for f in lines if f.known]
    told = [c.title for c in item(found, "branch.DC/DC converter").checks]
    assert OPENS in told and not any("its own resistance" in title for title in told)


def test_through_the_chassis_one_wire_of_the_branch_is_in_the_loop(van):
    brief = van.brief
    heater = next(b for b in brief.branch if b.kind == "heater")
    one = replace(heater, fused_poles="one")
    # 4 W at 40 A: 2.5 mΩ; through the chassis the pole without a fuse counts, if there is one
    found = [own_fuses(brief, b, n) for b in (heater, one) for n in (2, 1)]
    assert [f.number if f else None for f in found] == [
        pytest.approx(5e-3), pytest.approx(2.5e-3), pytest.approx(2.5e-3), None]


def test_the_fuses_of_the_charge_cable_stand_in_the_loop_of_its_inlet(truck):
    at, box = place(truck, "inlet.charge inlet to battery"), truck.circuit.feeds.resistance_box
    cable = next(r for r in truck.routes if r.asked.name == "charge inlet to battery")
    # two fuses of 8 W at 80 A: 1.25 mΩ each
    # it may leave from the far end of the traction cable
    loop = box.number + truck.pack.cable_allowance.number + cable.loop_resistance.number \
        + 2 * 8.0 / 80.0 ** 2
    assert at.lowest.number == pytest.approx(truck.pack.rest_low_voltage.number / loop, rel=1e-9)


def test_a_fuse_of_unknown_loss_is_said_and_its_lowest_fault_is_a_bound(van):
    # the charger's fuse is salvaged, without a sheet
    assert "not counted: it is not known" in asked_of(van, "charger").why


# -- the sheet asks for the least of every place that leaves it to this fuse ----------------------


def test_the_sheet_of_a_branch_fuse_asks_for_the_second_chassis_fault(van):
    row = place(van, "chassis.second.branch.DC/DC converter")
    module = van.circuit.feeds.module
    # one group, both wires, the fuse of one of them, main fuse and contactor of that pole, the
    # traction cables: less than the whole pack at the far end
    assert row.lowest.number == pytest.approx(module.voltage_empty.number / (
        module.resistance_long.number + wires(1.1, 4.0) + 2.0 / 20.0 ** 2 + MAIN + POLE
        + van.pack.cable_allowance.number), rel=1e-4)
    assert row.lowest.number < place(van, "branch.DC/DC converter.after").lowest.number
    wanted = asked_of(van, "DC/DC converter")
    assert wanted.value == f"at most {row.lowest.shown}" and row.title in wanted.why
    assert check(van, "branch.DC/DC converter", OPENS).figure.number == row.lowest.number


UNSEEN = {"management__undervoltage_trip": None, "management__voltage_delay": None}
LOW = {**UNSEEN, "management__trip_current": "250 A", "management__overload_trip": "240 A"}


@pytest.mark.parametrize("taps, section, length, changes, verdict", [
    ("behind the main fuse", 2.5, 1.9, {}, FAIL),       # no contactor in the loop: nobody
    ("behind the contactors", 2.5, 1.9, UNSEEN, FAIL),  # from 675 A only the trip acts: nobody
    ("behind the contactors", 2.5, 1.9, LOW, NOT_EVALUATED),  # one pole's contactor, not shown
    ("behind the contactors", 2.5, 1.6, {}, FAIL),      # this wire burns within its delay
    ("behind the contactors", 4.0, 2.6, {}, PASS)])     # it opens on the lowest cell
def test_a_fuse_that_the_chassis_row_leaves_alone_does_not_pass(taps, section, length, changes,
                                                                verdict):
    found = study("truck", branch={"battery heater": {
        "fuse_part": "Talvik 80 branch", "fuse_rating": "80 A", "section": f"{section} mm²",
        "length": f"{length} m", "taps": taps}}, **changes)
    row, end = (place(found, key) for key in (
        "chassis.second.branch.battery heater", "branch.battery heater.after"))
    # from 360 A on it opens within 1 s; one module gives less through these wires, the pack more;
    # 6 · 2.7 V over 35.6 mΩ of wire, 1.25 mΩ of fuse and 5.4 mΩ of cable, fuse and contactor: up to
    # 384 A the cells fall below the trip; 350 A for its 0.55 s leave 67 000 A²s in the wire
    assert row.lowest.number < 360.0 < end.lowest.number
    assert row.nobody == (verdict == FAIL) and row.shown == (verdict == PASS)
    one = check(found, "branch.battery heater", OPENS)
    assert one.verdict == verdict
    asks = end if verdict == PASS else row
    assert asked_of(found, "battery heater").value == f"at most {asks.lowest.shown}"


def test_the_heat_of_a_fuse_is_judged_from_the_current_at_which_its_curve_ends():
    # 80 A link: 360 A for 1 s is the most that it lets through below its first milliseconds
    found = study("truck", branch={"battery heater": {
        "fuse_part": "Talvik 80 branch", "fuse_rating": "80 A", "section": "2.5 mm²",
        "length": "2 m"}})
    one = check(found, "branch.battery heater", "Conductor stands what the fuse lets through")
    assert one.demand.number == pytest.approx(360.0 ** 2 * 1.0, rel=1e-6)


# -- a chafed wire in the pole without a fuse is the main fuse's ---------------------------------


def test_the_main_fuse_is_asked_for_the_chafed_wire_of_the_unfused_pole(van):
    row = place(van, "chassis.second.branch.charger")
    assert [d.key for d in row.loop.devices][0] == "main_fuse"
    module = van.circuit.feeds.module
    # 1.6 m of 16 mm², no fuse of the branch in it, main fuse and contactor of that pole, and the
    # traction cables, at whose far end it may be tapped
    assert row.lowest.number == pytest.approx(module.voltage_empty.number / (
        module.resistance_long.number + wires(1.6, 16.0) + MAIN + POLE
        + van.pack.cable_allowance.number), rel=1e-4)
    assert van.faults.lowest.number == row.lowest.number and row.title in van.faults.lowest.note
    asked = van.coordination.asked
    assert asked.fault_lowest.number == asked.one_pole_lowest.number == row.lowest.number


def test_where_no_contactor_stands_either_the_range_is_not_covered():
    found = study("van", branch={"oven of the round": {"fused_poles": "one"}})
    row = place(found, "chassis.second.branch.oven of the round")
    module = found.circuit.feeds.module
    least = module.voltage_empty.number / (module.resistance_long.number + wires(3.5, 6.0) + MAIN)
    assert row.lowest.number == pytest.approx(least, rel=1e-4) and row.nobody
    assert found.faults.lowest.number == row.lowest.number
    # Talvik 315 opens within 1 s from 4.5 · 315 A = 1420 A on
    every = next(c for c in found.coordination.item.checks
                 if c.title.startswith("every fault current from pole to pole is opened"))
    assert every.verdict == FAIL
    assert f"nobody from {row.lowest.shown} to 1420 A" in every.reason and row.title in every.reason


def test_a_bare_tap_stays_the_caution_that_its_own_row_is(truck):
    # the heater's stub has the main fuse before it and no contactor: covers are the answer there
    assert place(truck, "branch.battery heater.before").nobody
    every = next(c for c in truck.coordination.item.checks
                 if c.title.startswith("every fault current from pole to pole is opened"))
    assert every.verdict != FAIL


# -- a spinning motor ---------------------------------------------------------------------------


def test_a_stated_motor_is_in_every_sum_of_the_bus(truck):
    found = study("truck", motor__short_circuit_current="900 A")
    loud, quiet = (place(s, "terminals") for s in (found, truck))
    assert loud.highest.number - quiet.highest.number == pytest.approx(900.0)
    one = next(o for o in loud.others if "spinning motor" in o.end)
    assert one.current.number == 900.0 and one.words == "nobody"
    title = "Fuse: breaking capacity at the highest fault"
    asks = [check(s, "branch.DC/DC converter", title).demand.number for s in (found, truck)]
    assert asks[0] - asks[1] == pytest.approx(900.0)
    assert "with every source (" in str(report_document(found).sections[0].blocks[0])


def test_a_motor_of_which_nobody_stated_the_current_is_named_as_open(truck):
    at = place(truck, "terminals")
    assert truck.brief.motor.back_voltage.number == 310.0
    one = next(o for o in at.others if "spinning motor" in o.end)
    assert not one.current.known and "motor.short_circuit_current" in one.why
    assert "the charger and the spinning motor." in headline(truck.circuit.places)
    row = next(r for r in places_table((at,)).rows)
    assert any(cell.text.endswith("and spinning motor") for cell in row)
    assert "motor.short_circuit_current" in [u.dotted for u in truck.brief.unknowns]


def test_a_motor_without_magnets_is_no_source_and_no_question(van):
    assert van.brief.motor.back_voltage.number == 0.0
    assert not any("motor" in o.end for o in place(van, "terminals").others)
    assert "motor.short_circuit_current" not in [u.dotted for u in van.brief.unknowns]


def test_no_current_at_all_is_refused():
    with pytest.raises(InputErrors, match="motor.short_circuit_current"):
        study("truck", motor__short_circuit_current="0 A")


# -- reasons ------------------------------------------------------------------------------------


def test_the_reason_of_a_gap_is_asked_at_each_printed_end():
    # a trip at 3500 A opens Lyng 500 above the 3000 A that it breaks; no fuse in this loop
    found = study("truck", management__trip_current="3500 A", management__undervoltage_trip=None,
                  management__voltage_delay=None, management__overload_trip=None,
                  management__overload_delay=None, management__current_sensor_range="5000 A")
    loop = place(found, "terminals").loop
    alone = replace(loop, devices=tuple(d for d in loop.devices if d.key == "contactors"))
    (gap,) = sweeping_by(clearing_by(found.coordination, found.brief))(alone).gaps
    assert (gap.low, gap.high) == (pytest.approx(loop.lowest.number),
                                   pytest.approx(loop.highest.number))
    assert gap.low < 3000.0 < (gap.low * gap.high) ** 0.5
    low, high = (gap.told_at(current)[1] for current in (gap.low, gap.high))
    assert "no named trip acts" in low and "3000 A" not in low
    assert "above the 3000 A that it breaks" in high
    assert re.search(r"at 12\d\d A .*no named trip acts.*; at 2\d+ A .*above the 3000 A", gap.why)


def test_a_fuse_that_does_not_count_yet_says_so_of_the_currents_below(truck):
    why = place(truck, "branch.battery heater.before").between.why
    assert "below 1800 A Talvik 400 full range is not counted on: it clears within 1 s only from " \
        "there on" in why


def test_a_trip_that_the_brief_holds_back_is_told_as_its_own_entry():
    found = study("truck", management__trip_blocked_above="1500 A")
    one = place(found, "terminals").between
    assert one.words == "nobody from 1500 A to 1800 A"
    assert "held closed: from 1500 A on every trip is held back, by the brief's own entry " \
        "management.trip_blocked_above" in one.why
    assert "no named trip" not in one.why
