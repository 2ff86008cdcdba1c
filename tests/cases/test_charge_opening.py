"""Designed corners of a charge contactor that opens into a fault; every part is invented.

The truck's charge cable is given the 250 A link, whose clearing curve runs from 1650 A at 0.1 s to
1120 A at 1 s, straight on logarithmic scales. The over-current trip has opened at 0.15 s:

    1650·1.5^(−lg(1650/1120)) = 1541 A

Up to there, and a little more as the current first has to rise, the trip opens the charge contactor
before the link has cleared. With the 80 A link of the example nothing is left to a trip; its curve
has 880 A at 10 ms and 528 A at 0.1 s, so a contact that parts in 15 ms, its coil dropped at once,
may meet 880·1.5^(−lg(880/528)) = 804 A and a little more. The form of the curves is that of
IEC 60269-1's time-current characteristics.
"""

from __future__ import annotations

import math
import re

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.handover.bill import bill
from packcalc.handover.build import build_sheet
from packcalc.part_checks.sweep import ContactorSide, TripLine
from packcalc.part_checks.torn import TornOpen
from packcalc.part_checks.withstand import WITHSTANDS
from packcalc.protect.places import CHARGE_KEY
from tests.cases.studies import study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough

LARGE = {"charge cable": {"fuse_part": "Talvik 250 full range", "fuse_rating": "250 A"}}
ONE = {"charge cable": {"fused_poles": "one"}}
MOTOR = {"motor__short_circuit_current": "1 A"}  # one that nobody told may burst any fuse
BARE = "chassis.second.branch.charge cable"
WEAK = "Lyng 20 pre-charge"  # breaks 15 A
LEFT = "breaks what a trip leaves of a fault beyond it"
AT_ONCE = "contactors opened untimed during a short, charge contactor"
BY_TRIP = 1650.0 * 1.5 ** -math.log10(1650.0 / 1120.0)


def item(found, key="charge_contactor"):
    return next((i for i in found.items if i.key == key), None)


def own_check(found, title):
    (part,) = item(found).candidates
    return next(c for c in part.checks if c.title == title)


def told(found, title):
    return next(c for c in item(found, "switching").checks if c.title == title)


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def inlet(found):
    return next(p for p in found.circuit.places if p.key.startswith("inlet"))


# -- on a trip -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "verdict"), [(WEAK, FAIL), ("Lyng 200", PASS)])  # 15 A, 1600 A
def test_it_breaks_what_a_trip_leaves_before_the_fuse_has_cleared(name, verdict):
    check = own_check(study("truck", branch=LARGE, parts__charge_contactor=name, **MOTOR), LEFT)
    assert check.verdict == verdict
    assert BY_TRIP < check.demand.number < 1.01 * BY_TRIP
    assert "Talvik 250 full range" in check.reason


def test_a_fuse_that_clears_before_any_trip_leaves_it_the_leak_of_one_cell():
    # the cells' trip acts at 0.5 s; 528 A at 0.1 s and 360 A at 1 s draw 404 A there
    check = own_check(study("truck", **MOTOR), LEFT)
    least = 528.0 * 5.0 ** -math.log10(528.0 / 360.0)
    assert check.verdict == PASS and least < check.demand.number < 1.01 * least
    assert "Talvik 80 branch" in check.reason and "main" not in check.reason
    assert "leak inside a module" in check.reason


@pytest.mark.parametrize("key", ["inlet.charge inlet to battery", "branch.charge cable.after",
                                 "chassis.second.branch.charge cable"])
def test_torn_open_before_another_device_has_cleared_it_leaves_the_fault_to_nobody(key):
    row = place(study("truck", branch=LARGE, parts__charge_contactor=WEAK), key)
    assert row.nobody and any(c.verdict == FAIL for c in row.checks)
    assert "charge contactor is torn open before" in row.at_lowest.why
    assert "above the 15.00 A that it breaks" in row.at_lowest.why
    assert any("breaks what the trips leave it" in r for r in row.remedies)
    # at the highest fault the fuse is quicker than any trip
    assert row.at_highest.clears


def test_one_that_breaks_it_leaves_the_place_as_it_was():
    row = inlet(study("truck", branch=LARGE))
    assert row.shown and row.at_lowest.device == "main contactors"


def test_the_pair_is_no_pass_while_it_is_torn_open_at_the_inlet():
    def every(**changes):
        found = study("truck", branch=LARGE, **changes)
        return next(c for c in found.coordination.item.checks if c.title.startswith("every fault"))

    assert "charge inlet" not in every().reason
    assert "charge inlet" in every(parts__charge_contactor=WEAK).reason


def test_a_trip_held_back_opens_it_no_more():
    found = study("truck", branch=LARGE, parts__charge_contactor=WEAK,
                  management__trip_blocked_above="900 A")
    assert "torn open" not in inlet(found).at_lowest.why
    # a chafed wire of one pole: the sensor that would hold the trip back may sit in the other
    assert "torn open" in place(found, "chassis.second.branch.charge cable").at_lowest.why


@pytest.mark.parametrize(("changes", "words"), [
    ({"branch": {"charge cable": {"fuse_part": ""}},
      "parts__main_fuse": "Skarv 450 unnamed floor"}, "name the fuse"),
    ({"branch": LARGE, "management__trip_delay": "unknown"}, "name the trips")])
def test_what_is_missing_is_asked_for(changes, words):
    check = own_check(study("truck", **changes), LEFT)
    assert check.verdict == NOT_EVALUATED and words in check.reason
    row = next(r for r in item(study("truck", **changes)).specification if r.what == "breaks")
    assert words in row.value and "at least" in row.value


# -- with no delay -------------------------------------------------------------------------------


def test_a_coil_dropped_at_once_meets_what_the_fuse_has_not_cleared():
    check = told(study("truck", **MOTOR), AT_ONCE)
    least = 880.0 * 1.5 ** -math.log10(880.0 / 528.0)
    # 1600 A are enough at the sheet's longest opening time; a contact that parts sooner meets more
    assert check.verdict == CAUTION and least < check.demand.number < 1.25 * least
    assert check.demand.at_least and "half of it, our assumption" in check.reason
    assert "shortest opening time" in check.remedy
    torn = told(study("truck", branch=LARGE, **MOTOR), AT_ONCE)  # 2750 A at 10 ms, 1650 A at 0.1 s
    least = 2750.0 * 1.5 ** -math.log10(2750.0 / 1650.0)
    assert torn.verdict == CAUTION and least < torn.demand.number < 1.25 * least
    assert "hold up the coils" in torn.remedy
    unnamed = told(study("minibus"), AT_ONCE)
    assert unnamed.verdict == NOT_EVALUATED and "name the charge contactor" in unnamed.reason


def test_without_a_charge_contactor_nothing_is_asked_of_one():
    found = study("truck", path__charge_contactor="none", parts__charge_contactor=None)
    assert item(found) is None
    assert not any(d.key == CHARGE_KEY for p in found.circuit.places for d in p.loop.passed)
    assert not any("charge contactor" in c.title for c in item(found, "switching").checks)


# -- where no fuse of the branch stands ----------------------------------------------------------


@pytest.mark.parametrize(("changes", "verdict"), [
    ({}, FAIL),  # a fuse in that pole is the answer: no cover helps a contactor torn open
    ({"path__insulation_monitor": "none", "management__isolation_warn": None,
      "management__isolation_trip": None}, FAIL)])
def test_a_trip_leaves_it_the_whole_fault_of_the_pole_without_a_fuse(changes, verdict):
    found = study("truck", branch=ONE, **changes)
    row, check = place(found, BARE), own_check(found, LEFT)
    assert row.nobody and check.verdict == verdict
    assert check.demand.number == row.loop.highest.number > 20e3
    assert row.title in check.reason and "no fuse stands there" in check.reason
    rows = {r.what: r.value for r in item(found).specification}
    # or more: nobody knows what the motor adds
    assert all(rows[what].startswith("at least 28060 A") for what in ("breaks", "opened at once"))
    assert told(found, AT_ONCE).verdict == CAUTION


@pytest.mark.parametrize(("breaks", "verdict"), [("1550 A", FAIL), ("1560 A", PASS)])
def test_a_slower_loop_through_the_chassis_leaves_it_more(tmp_path, breaks, verdict):
    # from pole to pole 1541 A and a little more; at the chafed wire the current rises slower
    part = {"break_discharge": breaks, "break_charge": breaks}
    found = study("truck", branch=LARGE, parts__file=listed(tmp_path, Lyng_200=part), **MOTOR)
    row, check = place(found, BARE), own_check(found, LEFT)
    assert check.verdict == verdict and row.nobody == (verdict == FAIL)
    assert 1550.0 < check.demand.number < 1560.0 and row.title in check.reason


def test_by_a_motor_whose_current_nobody_told_it_may_be_left_more():
    """It passed on the 405 A that the fuse leaves; 8000 A of the motor burst that fuse first."""
    open_, known, more = (study("truck", motor__short_circuit_current=amperes)
                          for amperes in ("unknown", "500 A", "8000 A"))
    assert [own_check(found, LEFT).verdict for found in (open_, known, more)] == [
        NOT_EVALUATED, PASS, FAIL]
    assert "spinning motor" in own_check(open_, LEFT).reason
    assert told(open_, AT_ONCE).verdict == NOT_EVALUATED and told(open_, AT_ONCE).demand.or_more
    # the sheet of one that nobody named says so too
    rows = {r.what: r.value for r in item(study("minibus")).specification}
    assert rows["opened at once"].count("at least") == 2
    assert rows["breaks"].startswith("at least")
    # where a trip leaves it all that the modules give, the motor adds to it
    bare, fed = (own_check(study("truck", branch=ONE, motor__short_circuit_current=amperes), LEFT)
                 for amperes in ("unknown", "8000 A"))
    assert bare.verdict == fed.verdict == FAIL and bare.demand.or_more
    assert fed.demand.number == pytest.approx(bare.demand.number + 8000.0)
    assert "8000 A of it from other sources" in fed.reason


def test_no_charge_cable_passes_by_a_fuse_that_such_a_motor_may_burst():
    """It passed by the 40 A link, which 8000 A more of the motor drive above its 50 kA."""
    small = {"charge cable": {"fuse_part": "Talvik 40 branch", "fuse_rating": "40 A"}}
    held = [next(c for c in item(study("truck", branch=small, motor__short_circuit_current=amperes),
                                 "cable.charge inlet to battery").checks
                 if c.title == "Short-circuit protection")
            for amperes in ("unknown", "500 A", "8000 A")]
    assert [c.verdict for c in held] == [CAUTION, PASS, FAIL]
    assert "spinning motor (motor.short_circuit_current), not known, may burst" in held[0].reason


def test_so_in_strings_too():
    found = study("minibus", branch={"fast-charge inlet": {"fused_poles": "one"}},
                  parts__charge_contactor="Lyng 300 high voltage")
    row, check = place(found, "chassis.second.branch.fast-charge inlet"), own_check(found, LEFT)
    assert row.nobody and check.verdict == FAIL
    assert check.demand.number == row.loop.highest.number > 15e3


def test_closed_it_is_held_until_somebody_has_cleared_there(tmp_path):
    # 0.1 s: 3200 A and 1 s: 1000 A; the trip on the lowest cell acts in 0.5 s, 15 ms and the rise
    weak = {"short_time": "0.001 s: 32000 A; 0.01 s: 5600 A; 0.1 s: 3200 A; 1 s: 1000 A"}
    found = study("truck", branch=ONE, parts__file=listed(tmp_path, Lyng_200=weak))
    check = own_check(found, WITHSTANDS)
    assert check.verdict == FAIL and place(found, BARE).title in check.reason and found.failing
    at = float(re.search(r"tightest at (\d+) A", check.reason)[1])
    assert check.figure.number == pytest.approx(
        0.1 * (at / 3200) ** (math.log(10) / math.log(1000 / 3200)), rel=1e-3)
    assert check.demand.number == pytest.approx(0.5489, rel=1e-3)
    check = own_check(study("truck"), WITHSTANDS)  # the least of its cell taps is left to nobody
    assert check.verdict == CAUTION and "360.0 A nobody ends the heat there" in check.reason


def test_a_place_whose_currents_nobody_knows_is_no_pass():
    found = study("truck", branch={"charge cable": {"section": "unknown"}})
    check = own_check(found, LEFT)
    assert check.verdict == NOT_EVALUATED and "charge cable, behind its fuse" in check.reason
    # 3000 A until the cells' trip, were no fuse in that pole and the wires short enough to see it
    check = own_check(found, WITHSTANDS)
    assert check.verdict == FAIL and "chafed cable of charge inlet" in check.reason


# -- what a station feeds ------------------------------------------------------------------------


def test_what_a_station_feeds_into_a_short_circuit_is_its_operator_s_to_say():
    title = "breaks what a station feeds into a fault on the pack's side"
    named = {"parts__charge_contactor": "Lyng 300 high voltage"}
    check = own_check(study("minibus", **named), title)
    assert check.verdict == NOT_EVALUATED and "operator" in check.reason
    assert check.demand.number == 48.0
    assert not any(c.title == title for c in item(study("truck")).candidates[0].checks)
    weak = own_check(study("minibus", parts__charge_contactor=WEAK), title)
    assert weak.verdict == FAIL


# -- the sheets ----------------------------------------------------------------------------------


def test_one_that_nobody_named_has_its_whole_sheet_and_a_place_not_shown():
    found, named = study("minibus"), study("minibus", parts__charge_contactor="Lyng 300 high "
                                                                              "voltage")
    sheet, asked = item(found).specification, {r.what for r in item(found).specification}
    assert asked == {r.what for r in item(named).specification} >= {
        "voltage", "carries", "breaks", "L/R at lower voltages", "opening time",
        "opened at once", "makes", "makes and passes", "short-time withstand"}
    # the 100 A link: 1100 A at 10 ms, 1100·3^(−lg(1100/660)) = 863 A at 30 ms, and a little more
    at_once = next(r.value for r in sheet if r.what == "opened at once")
    quick, slow = (float(x) for x in re.findall(r"(\d+(?:\.\d+)?) A", at_once))
    assert 1100.0 < quick < 1.25 * 1100.0 and 863.0 < slow < 1.25 * 863.0
    row = inlet(found)
    assert not row.shown and not row.nobody and "no part is named for it" in row.at_lowest.why
    assert inlet(named).shown
    # whoever buys by the bill asks for the same
    bought = next(b for b in bill(found) if b.key == "charge_contactors")
    assert bought.demand == "; ".join(f"{r.what}: {r.value}" for r in sheet)
    assert "see Charge contactor" in next(
        r.value for r in item(found, "switching").specification if "charge contactor" in r.what)
    built = next(p for p in build_sheet(found).parts if p.id.startswith("charge_contactor"))
    # A discharging: a string's trip at 0.15 s, at the chafed wire, whose current rises slower
    assert "619" in built.demand
    withstand = [next(r.value for r in item(one).specification if r.what == "short-time withstand")
                 for one in (found, named)]
    assert withstand[0] == withstand[1]


def test_the_fuse_inside_the_string_has_its_sheet_before_it_is_named():
    sheet = item(study("truck", parts__mid_fuse=None), "mid_fuse")
    assert sheet.specification and not sheet.candidates and sheet.open_items
    assert sheet.specification == item(study("truck"), "mid_fuse").specification
    # one that is the main fuse is asked for there
    assert item(study("truck", path__main_fuse="mid-pack", parts__mid_fuse=None),
                "mid_fuse") is None


# -- by itself -----------------------------------------------------------------------------------


def test_torn_above_what_it_breaks_and_wherever_its_sheet_is_silent():
    trip = (TripLine("trip", 500.0, 0.15),)
    shown = TornOpen(ContactorSide(None, (), trip, 1000.0))
    assert shown.melts([499.0, 1000.0]).tolist() == [math.inf, math.inf]
    # at one command it may part first: as soon as the others, and no later
    assert 0.1499 < float(shown.melts(1001.0)) < 0.15
    assert shown.fails([1000.0, 1001.0]).tolist() == [False, True]
    silent = TornOpen(ContactorSide(None, ("ask",), trip))
    assert float(silent.melts(600.0)) < 0.15 and not silent.fails(600.0)
    assert float(silent.melts(400.0)) == math.inf
