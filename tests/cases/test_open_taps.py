"""An entry of a branch, an inlet or a monitor that is left open is no milder than any answer.

All figures invented.
"""

from __future__ import annotations

import re

import pytest

from packcalc.brief_keys import POLES_CHOICES, TAP_CHOICES
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.places.shared import STATION
from packcalc.protect.insulation import MONITOR_OPEN
from packcalc.protection import ProtectionStudy
from packcalc.report.compose import _most as highest_of_all
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

STRICTNESS = (PASS, CAUTION, NOT_EVALUATED, FAIL)
CONVERTER, MONITOR, WIRES = "DC/DC converter", "insulation monitor", "sense wires"


def _place(found: ProtectionStudy, key: str):
    return next(p for p in found.circuit.places if p.key == key)


def _ranks(found: ProtectionStudy, name: str) -> dict[str, int]:
    """The gravest verdict of each check of a branch, its places among them."""
    ranks: dict[str, int] = {}
    for item, check in found.checks:
        if name in item:
            title = ", ".join(re.sub(", at worst that of .*", "", w) for w in (item, check.title))
            ranks[title] = max(ranks.get(title, 0), STRICTNESS.index(check.verdict))
    return ranks


def _duty(found: ProtectionStudy, key: str, title: str) -> float:
    item = next(i for i in found.items if i.key == key)
    return next(f.number for f in item.duty if f.title.startswith(title))


@pytest.mark.parametrize(("example", "name", "entries"), [
    ("truck", CONVERTER, {"capacitance": "0.6 mF"}),
    ("minibus", MONITOR, {"fuse_part": "Talvik 20 high voltage branch", "fuse_rating": "20 A"})])
def test_an_open_tap_is_judged_no_softer_than_any(example, name, entries):
    def tapped(taps: str) -> ProtectionStudy:
        return study(example, branch={name: {**entries, "taps": taps}})
    left_open = tapped("unknown")
    own = _ranks(left_open, name)
    for taps in TAP_CHOICES:
        told = tapped(taps)
        assert {k: r for k, r in _ranks(told, name).items() if own[k] < r} == {}
        assert _duty(left_open, f"branch.{name}", "highest current, all sources") >= _duty(
            told, f"branch.{name}", "highest current, all sources")
        assert _duty(left_open, "precharge", "Time to the closing level") >= _duty(
            told, "precharge", "Time to the closing level")
        assert _duty(left_open, f"branch.{name}", "lowest fault current") <= _duty(
            told, f"branch.{name}", "lowest fault current")


def test_the_page_says_that_the_tap_is_an_assumption_and_tells_each():
    found = study("truck", branch={CONVERTER: {"capacitance": "0.6 mF", "taps": "unknown"}})
    note = _place(found, f"branch.{CONVERTER}.after").loop.notes[0]
    assert "left open" in note and "our assumption" in note
    assert all(f"a tap {taps} " in note for taps in TAP_CHOICES)
    # 47 520 A: what the link gives beside the pack where the branch leaves behind the contactors
    assert "the highest, all sources, 47520 A: a tap behind the contactors" in note
    drawn = next(c for t, c in found.checks if t == f"Branch: {CONVERTER}"
                 and c.title == "Healthy fuse passes the closing step")
    assert drawn.demand is not None  # asked of a branch that stands on the bus alone


def test_an_open_count_of_fuses_puts_both_into_the_lowest_current_and_none_into_a_pole():
    heater = "battery heater"

    def fused(poles: str) -> ProtectionStudy:
        return study("truck", branch={n: {"fused_poles": poles} for n in (WIRES, heater)})
    found = {poles: fused(poles) for poles in (*POLES_CHOICES, "unknown")}
    for key in (f"branch.{WIRES}.after", f"branch.{heater}.after",
                f"chassis.second.branch.{heater}"):
        low = {poles: _place(one, key).lowest.number for poles, one in found.items()}
        assert low["unknown"] == pytest.approx(low["both"]) and low["both"] < low["one"]
    assert _duty(found["unknown"], f"branch.{WIRES}", "lowest fault") == pytest.approx(
        _duty(found["both"], f"branch.{WIRES}", "lowest fault"))
    chafed = _place(found["unknown"], f"chassis.second.branch.{heater}")
    assert not any(d.key.startswith("branch_fuse") for d in chafed.loop.devices)
    both = next(c for t, c in found["unknown"].checks if t == f"Branch: {heater}"
                and c.title == "Fuse in both poles")
    assert both.verdict == CAUTION and "our assumption" in both.figure.title


def _rated(example: str, name: str, insulation: str, **told: str) -> ProtectionStudy:
    return study(example, branch={name: {"insulation_class": insulation}}, **told)


def test_an_open_class_counts_as_the_hottest_for_the_lowest_current():
    left_open, hottest, usual = (  # with a motor told: one that is not may burst the fuse
        _rated("truck", WIRES, c, motor__short_circuit_current="500 A")
        for c in ("unknown", "200 degC", "90 degC"))
    key = f"branch.{WIRES}.after"
    assert _place(left_open, key).lowest.number == pytest.approx(
        _place(hottest, key).lowest.number)
    assert _place(left_open, key).lowest.number < _place(usual, key).lowest.number
    held = [next(c for t, c in found.checks if t == f"Branch: {WIRES}" and
                 c.title == "Conductor stands what the fuse lets through")
            for found in (left_open, usual)]
    assert held[0].verdict != PASS == held[1].verdict and "our assumption" in held[0].reason


@pytest.mark.parametrize("name", ["charger", "oven of the round"])
def test_an_open_class_is_judged_no_softer_than_any_usual_one(name):
    left_open = _rated("van", name, "unknown")
    own = _ranks(left_open, name)
    for usual in ("70 degC", "105 degC", "125 degC", "150 degC", "200 degC"):
        stated = _ranks(_rated("van", name, usual), name)
        assert {k for k, r in stated.items() if own[k] < r} == set(), usual


def test_an_open_class_stands_no_more_than_the_hottest_that_is_known():
    """16 mm²: k²S² is 0.336e6 A²s from 150 °C to 160 °C, and 1186 A for 0.652 s is 0.917e6."""
    key, charger = "chassis.second.branch.charger", "charger"
    left_open, hot, hotter = (_rated("van", charger, c) for c in (
        "unknown", "150 degC", "180 degC"))
    assert _duty(left_open, f"branch.{charger}", "I²t that") == pytest.approx(
        _duty(hot, f"branch.{charger}", "I²t that")) == pytest.approx(0.336e6, rel=2e-3)
    assert left_open.failing and _place(left_open, key).nobody and _place(hot, key).nobody
    assert "left open" in _place(left_open, key).at_lowest.why
    # what nobody knows is not shown, and no longer left out
    place = _place(hotter, key)
    assert not place.nobody and [a.clears for a in place.answers] == [None] * 3
    assert "not known" in place.at_lowest.why and "contactor" in place.at_lowest.device


def test_an_open_class_carries_what_the_coolest_carries():
    title = "Conductor carries the fuse's rated current"
    held = [next(c for t, c in _rated("van", "charger", insulation).checks
                 if t == "Branch: charger" and c.title == title)
            for insulation in ("unknown", "70 degC")]
    assert [c.verdict for c in held] == [FAIL, FAIL]
    assert held[0].figure.number == pytest.approx(held[1].figure.number)
    assert "left open" in held[0].reason


def test_the_head_and_a_place_of_an_open_tap_hold_the_worst_figure_of_every_tap():
    def tapped(taps: str | None) -> ProtectionStudy:
        return study("truck", branch={CONVERTER: {"taps": taps or "unknown"}})
    left_open, told = tapped(None), [tapped(taps) for taps in TAP_CHOICES]
    assert highest_of_all(left_open).number == pytest.approx(
        max(highest_of_all(one).number for one in told))
    for key in (f"branch.{CONVERTER}.after", f"chassis.second.branch.{CONVERTER}"):
        own, others = _place(left_open, key), [_place(one, key) for one in told]
        assert own.highest.number == pytest.approx(max(p.highest.number for p in others))
        assert own.lowest.number == pytest.approx(min(p.lowest.number for p in others))
        assert own.at_lowest.time.number == pytest.approx(
            max(p.at_lowest.time.number for p in others))
        fed = {(s.name, s.current.number) for s in own.loop.sources if s.current.known}
        assert ("link capacitors", max(
            s.current.number for p in others for s in p.loop.sources
            if s.name == "link capacitors")) in fed
        assert len(own.loop.sources) == len(own.others)


def test_a_station_of_open_ceiling_leaves_the_highest_voltage_a_lower_bound():
    found = study("minibus", station__voltage="unknown", station__current="unknown")
    chain = found.circuit.overvoltage
    assert chain.highest.at_least and "charging station" in chain.highest.note
    assert any("charging station" in words for words in chain.item.open_items)
    held = next(c for c in chain.item.checks if "charging station" in c.title)
    assert held.verdict == NOT_EVALUATED and "station.voltage" in held.reason
    fuse = next(c for c in chain.item.checks if c.title.startswith("main fuse rated"))
    assert fuse.verdict == CAUTION
    # its capacitors feed the inlet all the same, by nobody knows how much
    assert any(s.name == STATION and not s.current.known
               for s in _place(found, "branch.fast-charge inlet.after").loop.sources)


def test_a_monitor_of_which_nobody_said_what_it_does_opens_nothing():
    found = study("truck", path__insulation_monitor="unknown")
    opens = next(c for _, c in found.checks if c.title.startswith("isolation monitor opens"))
    assert opens.verdict == CAUTION and opens.reason == MONITOR_OPEN
    assert any(c.title.startswith("insulation monitor sees the battery") for _, c in found.checks)


def test_an_open_charge_contactor_is_said_to_be_our_assumption():
    found = study("truck", path__charge_contactor="unknown", parts__charge_contactor=None)
    inlet = next(c for _, c in found.checks if c.title.startswith("charge inlet is dead"))
    assert inlet.verdict == CAUTION and "our assumption" in inlet.reason


def test_a_contactor_that_may_stand_before_the_inlet_may_be_torn_open_there():
    for poles in ("unknown", "both poles"):
        found = study("minibus", path__charge_contactor=poles)
        low = _place(found, "branch.fast-charge inlet.after").at_lowest
        assert low.clears is None and "charge contactor" in low.device
    assert "if one stands there" in _place(study(
        "minibus", path__charge_contactor="unknown"), "branch.fast-charge inlet.after"
        ).at_lowest.device
    none = study("minibus", path__charge_contactor="none")
    assert _place(none, "branch.fast-charge inlet.after").at_lowest.clears


def test_a_branch_of_open_length_describes_no_charge_cable():
    key = "chassis.second.route.charge inlet to roof box"

    def stands(length: str) -> bool:
        found = study("minibus", branch={"fast-charge inlet": {"length": length}})
        return any(p.key == key for p in found.circuit.places)
    # the cable is 4 m long: a branch of 3 m is not all of it, and nobody knows of an open one
    assert not stands("4 m") and stands("3 m") and stands("unknown")


def test_an_open_order_of_monitors_is_no_pass_for_too_few_channels():
    # the named system measures 96 cells; with its links measured the truck asks 19 monitors of 6
    left_open = study("truck", management__monitor_order="unknown")
    item = next(i for i in left_open.items if i.key == "management")
    held = next(c for r in item.candidates if r.own and r.name == "Vakt 6" for c in r.checks
                if c.title == "has a channel for every cell")
    assert held.verdict == NOT_EVALUATED and "114 are asked" in held.reason


def test_an_open_kind_is_a_question():
    found = study("truck", branch={"battery heater": {"kind": "unknown"}})
    item = next(i for i in found.items if i.key == "branch.battery heater")
    assert [c.verdict for c in item.checks if c.title == "What the branch feeds"] == [
        NOT_EVALUATED]


def test_a_fuse_that_may_stand_in_a_chafed_wire_may_burst_there():
    charger = "charger"
    for poles in ("both", "unknown"):
        found = study("van", branch={charger: {"fused_poles": poles}})
        place = _place(found, f"chassis.second.branch.{charger}")
        # its sheet is not in the list: nothing shows that it breaks what it may melt at
        assert place.at_lowest.clears is None and f"fuse of {charger}" in place.at_lowest.why


def test_a_rival_that_is_not_told_leaves_its_heat_in_the_cable_all_the_same():
    found = study("van")
    worst = _place(found, "chassis.second.inside_module_branch")
    cable = found.brief.cables.route[0].name
    # one wire behind the contactors runs through the traction cable, the one that is told may not
    assert cable not in worst.loop.cables
    held = next(c for _, c in found.checks
                if c.title == f"cable, {cable} survives the heat over the whole range")
    assert held.verdict == CAUTION and "chafed branch wire" in held.reason
