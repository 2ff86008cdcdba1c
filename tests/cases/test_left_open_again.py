"""An entry that is left open betters no verdict; the bar on closing; monitors bought whole.

Demo data are the invented examples with entries changed; arithmetic stands beside each test.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.feeds import bus_capacitance, on_the_bus, perhaps_on_the_bus
from packcalc.findings import leaf
from packcalc.handover.commission import plan_of
from packcalc.handover.inside import taps_ahead
from packcalc.part_checks.limits import CLOSING_COLD, CLOSING_LOW, ManagementAsked
from packcalc.part_checks.management import system_checks
from packcalc.parts import MANAGEMENT
from packcalc.protection import ProtectionStudy
from packcalc.reading.brief_file import brief_from_data
from tests.cases.studies import study

WAKES = "DC/DC converter wakes without stopping the charge"
TOLD = "a main contact that stayed open is told before torque is allowed"
ENDS = "pre-charge ends before its timeout in the slow corner"
LASTS = "timeout is longer than a slow charge"
AGAIN = "rated power covers charge after charge"
SEES = "insulation monitor sees the battery before the contactors close"


def item(found: ProtectionStudy, key: str):
    return next(i for i in found.items if i.key == key)


def named(found: ProtectionStudy, key: str, name: str) -> dict:
    own = next(c for c in item(found, key).own_parts if c.name == name)
    return {c.title: c for c in own.checks}


def of(found: ProtectionStudy, key: str) -> dict:
    return {c.title: c for c in item(found, key).checks}


# -- what a branch draws, and where it leaves ---------------------------------------------------

@pytest.mark.parametrize("entry", ["power", "taps"])
def test_a_load_asleep_needs_its_makers_word_whatever_its_branch_leaves_open(entry):
    # 15 W are counted before it is told to run; 1.2 kW is what the branch says it draws then
    whole = named(study("truck"), "precharge", "Glo 220 large")[WAKES]
    found = study("truck", branch={"DC/DC converter": {entry: "unknown"}})
    check = named(found, "precharge", "Glo 220 large")[WAKES]
    assert whole.verdict == CAUTION and "1.200 kW" in whole.reason
    assert check.verdict == CAUTION and "needs its maker's word" in check.reason
    assert ("nobody knows" in check.reason) == (entry == "power")
    assert of(found, "precharge")["Glo 220 large, named in the brief, meets its duty"].verdict \
        == CAUTION


def test_a_branch_of_open_taps_is_pre_charged_and_still_counts_as_live_ahead():
    whole = study("truck")
    found = study("truck", branch={"DC/DC converter": {"taps": "unknown"}})
    names = [b.name for b in perhaps_on_the_bus(found.brief, False)]
    assert "DC/DC converter" in names and "sense wires" not in names
    assert "DC/DC converter" not in [b.name for b in on_the_bus(found.brief, False)]
    assert "DC/DC converter" in taps_ahead(found)
    # 1.1 mF of the link, 0.06 mF of the converter, 0.02 mF of the charger: 1.18 mF either way
    for one in (whole, found):
        assert bus_capacitance(one.brief, False).number == pytest.approx(1.18e-3)


@pytest.mark.parametrize(("taps", "verdict"), [
    ("behind the main fuse", PASS), ("unknown", NOT_EVALUATED), ("behind the contactors", CAUTION)])
def test_a_monitor_of_open_taps_is_not_shown_to_see_the_cells(taps, verdict):
    found = study("truck") if verdict == PASS else study(
        "truck", branch={"insulation monitor": {"taps": taps}})
    assert of(found, "switching")[SEES].verdict == verdict


# -- an open timeout counts long, which is milder elsewhere ------------------------------------

def test_an_open_timeout_passes_nothing_that_a_longer_one_makes_milder():
    whole, found = study("truck"), study("truck", precharge__timeout="unknown")
    assert of(whole, "switching")[ENDS].verdict == PASS
    for title in (ENDS, TOLD):
        assert of(found, "switching")[title].verdict == NOT_EVALUATED, title
        assert "precharge.timeout" in of(found, "switching")[title].reason
    checks = named(found, "precharge", "Glo 220 large")
    assert {checks[LASTS].verdict, checks[AGAIN].verdict} == {NOT_EVALUATED}


def test_an_unknown_resistor_across_the_link_is_in_no_sum_and_passes_no_time():
    found = study("truck", inverter__discharge_resistance="unknown")
    check = named(found, "precharge", "Glo 220 large")[LASTS]
    assert check.verdict == NOT_EVALUATED and "inverter.discharge_resistance" in check.reason
    assert of(found, "switching")[ENDS].verdict == NOT_EVALUATED
    # the same bus with 47 kΩ: 270 Ω of 10 % reach the level, and fail a try of 2 s by the resistor
    assert named(study("truck"), "precharge", "Glo 270 block")[LASTS].verdict == FAIL
    assert named(found, "precharge", "Glo 270 block")[LASTS].verdict != PASS


# -- a place of unknown current -----------------------------------------------------------------

def test_a_place_of_unknown_current_leaves_the_lowest_fault_open():
    # the van's charger has a fuse in one pole: its chafed wire in the other is the main fuse's
    whole, found = (study("van", branch={"charger": told}) for told in ({}, {"section": "unknown"}))
    opens = "the fuse opens the lowest fault, cold and nearly empty"
    assert of(whole, "coordination")[opens].verdict == CAUTION
    assert found.faults.lowest.number > whole.faults.lowest.number
    assert "chafed wire of charger" in found.faults.lowest.may_be_less
    assert of(found, "coordination")[opens].verdict == NOT_EVALUATED
    assert of(found, "management")[
        "a fixed current trip tells the lowest fault from the peak load"].verdict == NOT_EVALUATED
    assert named(found, "main_fuse", "Talvik 315 full range")[
        "Opens at the lowest fault within the counted time"].verdict == NOT_EVALUATED
    assert whole.faults.lowest.may_be_less == ""


# -- the bar on closing --------------------------------------------------------------------------

@pytest.mark.parametrize(("coldest", "shown"), [(None, "-20.00 °C"), ("-5 degC", "-5.000 °C")])
def test_the_bar_on_closing_stands_in_limits_request_states_and_first_energising(coldest, shown):
    found = study("truck", **({} if coldest else {"battery__coldest_closed": None}))
    managed = found.circuit.management
    limits = {x.quantity: x for x in managed.limits}
    assert limits[CLOSING_COLD].trip.shown == shown
    assert limits[CLOSING_LOW].trip.shown == "12.00 %"
    assert (limits[CLOSING_COLD].setting is None) == (coldest is None)
    asked = {r.what: r.value for r in managed.item.specification}
    assert asked[f"{CLOSING_COLD}: trip"] == shown and asked[f"{CLOSING_LOW}: trip"] == "12.00 %"
    before = found.circuit.states.state("wake").before
    assert shown in before and "12.00 %" in before
    plan = plan_of(found)
    assert shown in plan.reading("pack.too_cold").title
    assert "12.00 %" in plan.reading("pack.too_empty").title
    check = of(found, "management")[
        "no contactor closes on colder or emptier cells than counted"]
    assert check.verdict == NOT_EVALUATED and shown in check.reason
    assert any(shown in words and "12.00 %" in words for words in managed.item.open_items)


# -- monitors are bought whole -------------------------------------------------------------------

MONITORS = "has a channel for every cell"


@pytest.mark.parametrize(("order", "each", "channels", "verdict"), [
    # 16 modules of 6 cells: a monitor of 8 at each module makes 16·8 = 128 channels
    ("restarts at each module", 8, 127, FAIL), ("restarts at each module", 8, 128, PASS),
    ("unknown", 8, 127, FAIL), ("unknown", 8, 128, PASS),
    # run on: 96 cells are 12 monitors of 8, exactly 96 channels
    ("runs on across links", 8, 95, FAIL), ("runs on across links", 8, 96, PASS),
    # 96 cells and 15 links are 111 channels: 14 monitors of 8, 112
    ("runs on, links measured", 8, 111, FAIL), ("runs on, links measured", 8, 112, PASS),
    # of 4 channels two stand at each module: 32·4 = 128; of 6 one, 96
    ("restarts at each module", 4, 127, FAIL), ("restarts at each module", 6, 96, PASS)])
def test_a_module_is_read_by_monitors_of_its_own(order, each, channels, verdict):
    assert monitored(order, each, channels).verdict == verdict


def test_the_check_asks_for_as_many_monitors_as_the_sheet():
    # channels of the truck's own monitors, 6: one at each of 16 modules, 96 in all
    found = study("truck")
    asked = {r.what: r.value for r in found.circuit.management.item.specification}
    demand = monitored("restarts at each module", 6, 96).demand
    assert asked["monitors of 6 channels"] == "16" and demand.number == 16 * 6


def test_channels_of_one_monitor_that_nobody_says_show_nothing():
    check = monitored("restarts at each module", None, 480)
    assert check.verdict == NOT_EVALUATED and "the channels of one monitor" in check.reason


def monitored(order: str, each: int | None, channels: int):
    """The check of a system with so many channels on the truck's modules, otherwise Vakt 8."""
    found = study("truck")
    data = tomllib.loads((ROOT / "examples" / "truck" / "brief.toml").read_text("utf-8"))
    data["management"] |= {"monitor_order": order, "channels_per_monitor": each or "unknown"}
    brief = brief_from_data(data, found.brief.place)
    part = replace(
        brief.parts.list.part(MANAGEMENT, "Vakt 8"),
        cell_channels=leaf("cell voltage channels", "n", "", channels, "given"),
        channels_each=None if each is None else leaf("of one", "n_ch", "", each, "given"))
    asked = ManagementAsked(brief, found.pack, found.faults.lowest, found.faults.highest,
                            found.faults.highest)
    return next(c for c in system_checks(part, asked) if c.title == MONITORS)
