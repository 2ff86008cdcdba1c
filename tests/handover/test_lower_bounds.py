"""No reading holds against a demand of which more may be true, and sense wires are never dead.

Every scenario is invented. Voltages of parts of a string are multiples of one full module's:
definitions, no printed source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from packcalc.handover import readings as rd
from packcalc.handover.commission import plan_of
from packcalc.handover.inside import live_ahead, sense_wires
from packcalc.handover.maintain import maintenance
from packcalc.handover.responder import responder_sheet
from packcalc.protect.insulation import NOT_KNOWN, module_voltage
from packcalc.protection import ProtectionStudy
from packcalc.report.certify_report import certify_document
from packcalc.report.commission_report import commission_document, form
from packcalc.report.maintain_report import maintain_document
from packcalc.report.render import render
from tests.cases.studies import study
from tests.handover_cases import readings_of

DAY = "M1,2026-01-01,2026-11-24,A. Tester,\n"
ISOLATION = ("dead.isolation_positive", "dead.isolation_ahead_negative", "pack.isolation_negative",
             "retorque.isolation_positive", "wheels.isolation")


def untold() -> ProtectionStudy:
    """The truck with two sources of its highest working voltage left open."""
    return study("truck", charger__voltage_range="unknown",
                 regeneration__voltage_limit="unknown")


def page(document) -> str:
    return " ".join(render(document, "markdown").split())


def hazards(found: ProtectionStudy) -> str:
    return " ".join(next(h for h in responder_sheet(found).headings
                         if h.title == "Disable hazards").known)


# -- isolation ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ISOLATION)
def test_a_demand_of_which_more_may_be_true_is_met_by_no_reading(name) -> None:
    expected = plan_of(untold()).reading(name)
    ohms = expected.low.number
    assert f"at least {expected.low.shown} or more (still open" in expected.band
    met = rd.compare(expected, readings_of(untold(), f"{name},{2 * ohms:g} ohm,{DAY}").readings)
    assert (met.verdict, met.holds) == (rd.UNSETTLED, False)
    assert "charger at its own ceiling" in met.suggests and "find that first" in met.suggests
    low = rd.compare(expected, readings_of(untold(), f"{name},{ohms / 2:g} ohm,{DAY}").readings)
    assert low.verdict == rd.BELOW and low.suggests == expected.below
    whole = plan_of(study("truck")).reading(name)
    rows = readings_of(study("truck"), f"{name},{2 * whole.low.number:g} ohm,{DAY}").readings
    assert rd.compare(whole, rows).verdict == rd.IN_BAND and "or more" not in whole.band


def test_every_end_under_a_lower_bound_keeps_its_gate_shut() -> None:
    plan = plan_of(untold())
    open_ = {e.id for e in plan.expected() if e.unsettled is not None}
    assert {*ISOLATION, "monitor.warn_resistor", "monitor.trip_resistor",
            "pack.open_place"} <= open_
    assert open_ == {e.id for e in plan.expected() if e.rests_on is not None or (
        e.low is not None and e.low.known and any(n.at_least for n in e.low.walk()))}
    rows = readings_of(untold(), f"monitor.warn_resistor,228 kohm,{DAY}pack.open_place,0.6 V,{DAY}")
    for name in ("monitor.warn_resistor", "pack.open_place"):
        assert rd.compare(plan.reading(name), rows.readings).verdict == rd.UNSETTLED
    gate = next(g for g in rd.gates(plan, rows.readings) if g.stage.key == "monitor")
    assert f"monitor.warn_resistor {rd.UNSETTLED}" in gate.why
    assert not any(e.unsettled for e in plan_of(study("truck")).expected())


def test_a_baseline_under_an_open_demand_is_none_that_is_out_of_its_band() -> None:
    rows = "".join(f"dead.isolation_positive,{value} MΩ,M1,2026-01-01,{day},A. Tester,\n"
                   for value, day in ((4.4, "2026-05-02"), (4.3, "2026-11-14")))
    (line,) = rd.trends(plan_of(untold()), readings_of(untold(), rows).readings)
    assert line.off == "" and line.change is not None


def test_the_pages_say_or_more_of_all_that_rises_with_the_voltage() -> None:
    said = page(commission_document(untold()))
    for words in ("rated above 450.0 V or more and for 4.500 W or more",  # V²/R = 450 V · 10 mA
                  "rated for 450.0 V or more and 1.125 W or more",  # 450²/(0.8 · 225 kΩ)
                  "450.0 V or more and 20.25 W or more", "(demand: 225.0 kΩ or more, 500 Ω/V)"):
        assert words in said, words
    assert "675.0 kΩ or more (still open" in form(untold())
    told = page(maintain_document(untold()))
    assert f"gloves of class 00 (beige label) or higher, {NOT_KNOWN}" in told
    assert f"Gloves: class 00 (beige label) or higher, {NOT_KNOWN}" in said
    assert "contactors open, at least 675.0 kΩ or more" in told
    assert f"at 500 V, or more, {NOT_KNOWN}" in told
    certified = page(certify_document(untold()))
    for words in ("highest working voltage, at least", "isolation demanded, inverter joined, at "
                  "least", "power in the discharge resistor while the bus is live, at least"):
        assert words in certified, words
    whole = page(commission_document(study("truck")))
    assert "kΩ or more" not in whole and "W or more" not in whole and "or higher" not in whole


# -- sense wires --------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "modules", "shown"), [
    ("truck", 8, "202.6 V"), ("minibus", 6, "405.2 V")])
def test_sense_wires_stay_live_with_the_disconnect_out(name, modules, shown) -> None:
    found = study(name)
    each = module_voltage(found.brief, found.pack)
    assert modules * each.number == pytest.approx(float(shown.split()[0]), abs=0.05)
    said = hazards(found)
    assert f"LIVE EVEN THEN: sense wires, up to {shown} in each part, and all inside" in said
    until = said.partition("Until then stay live:")[2].partition("LIVE EVEN THEN")[0]
    assert "sense" not in until
    upkeep = maintenance(found)
    assert upkeep.ahead.endswith(
        f"live at all times, with Q1 out too: sense wires, up to {shown} in each part")
    assert sum(upkeep.ahead in a for e in upkeep.events for a in e.actions) == 3
    off = next(a for e in upkeep.events if e.key == "module" for a in e.actions
               if a.startswith("Sense leads"))
    assert "live as they are" in off
    assert any(words.startswith("sense wires (at all times") for words in
               responder_sheet(found).live)


def test_every_pack_has_sense_wires_whatever_its_brief_describes() -> None:
    found = study("truck", without="sense", pack__disconnect_after=0, pack__fuse_after=0,
                  parts__disconnect=None, parts__mid_fuse=None)
    assert sense_wires(found) == ("sense wires",)
    names = "battery heater, insulation monitor, sense wires"
    assert f"LIVE AT ALL TIMES: {names}." in hazards(found)
    assert maintenance(found).ahead == \
        f"live whatever is switched off: {names}, up to {found.pack.highest_voltage.shown}"


def test_wires_of_a_monitor_that_no_branch_describes_count_as_joined_ahead() -> None:
    assert live_ahead(study("truck", without="monitor")) == ("battery heater", "monitor wires")
    silent = study("truck", without="monitor", path__insulation_monitor="none",
                   management__isolation_warn=None, management__isolation_trip=None)
    assert live_ahead(silent) == ("battery heater",)


def test_every_stage_names_the_wires_that_are_live_in_it() -> None:
    stages = plan_of(study("truck")).stages
    assert all("sense wires" in s.live for s in stages)
    whole = next(s for s in stages if s.key == "pack").live
    assert "(battery heater, insulation monitor, sense wires)" in whole
    assert "nothing outside it" not in " ".join(s.live for s in stages)


def test_a_limit_is_open_through_the_demand_that_it_rests_on() -> None:
    expected = plan_of(untold()).reading("pack.open_place")
    assert expected.unsettled.title == "highest working voltage"
    assert replace(expected, rests_on=None).unsettled is None
    assert expected.band.startswith("at most ") and "still open" in expected.band
