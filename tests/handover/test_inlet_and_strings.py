"""The charge contactor, loads of open waking, and strings, as the switching states have them.

Scenarios are the invented examples with entries changed. What is held is that the pages of the
handover say what the file for review says; arithmetic stands beside each test (definitions).
"""

from __future__ import annotations

import pytest

from packcalc.handover import readings as rd
from packcalc.handover.commission import plan_of
from packcalc.handover.expected import Stage
from packcalc.handover.figures import Figures
from packcalc.handover.inside import taps_ahead
from packcalc.handover.maintain import maintenance
from packcalc.handover.stages_joining import BESIDE
from packcalc.handover.stages_low import open_waking
from packcalc.handover.stages_strings import difference
from packcalc.handover.trend_rules import trend_rule
from packcalc.protection import ProtectionStudy
from packcalc.reading.readings_file import readings_from_text
from tests.cases.studies import study
from tests.handover_cases import HEAD, readings_of

pytestmark = pytest.mark.thorough

POLES = {"both poles": ("weld.inlet_plus", "weld.inlet_minus"), "one pole": ("weld.inlet",),
         "none": ()}
WORDS = {"truck": "main", "minibus": "string"}


def stage(found: ProtectionStudy, key: str) -> Stage:
    return next(s for s in plan_of(found).stages if s.key == key)


def steps(found: ProtectionStudy, key: str) -> str:
    return " ".join(stage(found, key).steps)


def cut(poles: str) -> ProtectionStudy:
    return study("truck", path__charge_contactor=poles, parts__charge_contactor=None)


# -- the charge contactor's weld ----------------------------------------------------------------


@pytest.mark.parametrize("poles", POLES)
def test_each_pole_that_cuts_the_inlet_off_is_read_with_the_bus_live(poles) -> None:
    found = cut(poles)
    ids = tuple(e.id for e in stage(found, "weld").expected if e.id.startswith("weld.inlet"))
    assert ids == POLES[poles]
    level = found.circuit.states.item.duty[0]
    for name in ids:
        one = plan_of(found).reading(name)
        assert one.high is level and one.needed and "bus live" in one.title
        assert "the controller's own reading" in one.how
    assert ("charge contactor" in " ".join(stage(found, "weld").gate)) == bool(ids)


@pytest.mark.parametrize("name", WORDS)
def test_the_step_and_what_a_weld_means_are_those_of_the_switching_states(name) -> None:
    found = study(name)
    told = next(s for s in found.circuit.states.weld_check if "charge contactor told" in s)
    assert told in steps(found, "weld")
    one = plan_of(found).reading("weld.inlet_plus").above
    meant = told.partition("Above it ")[2].rstrip(".")
    assert meant in one and f"{WORDS[name]} contacts open" in one
    assert "charge contactor told" not in steps(study("van"), "weld")


@pytest.mark.parametrize(("volts", "verdict"), [("59.9 V", rd.IN_BAND), ("60.0 V", rd.IN_BAND),
                                                ("60.1 V", rd.ABOVE), ("-352 V", rd.ABOVE)])
def test_a_welded_pole_shuts_the_gate_of_the_weld_test(volts, verdict) -> None:
    found = study("truck")
    plan, file = plan_of(found), readings_of(found, f"weld.inlet_plus,{volts},M,,2026-11-24,A,\n")
    one = rd.compare(plan.reading("weld.inlet_plus"), file.readings)
    assert one.verdict == verdict and one.holds == (verdict == rd.IN_BAND)
    gate = next(g for g in rd.gates(plan, file.readings) if g.stage.key == "weld")
    assert ("weld.inlet_plus above band" in gate.why) == (verdict == rd.ABOVE)
    assert "weld.inlet_minus not read" in gate.why


@pytest.mark.parametrize("name", WORDS)
def test_a_sound_open_pole_at_the_isolation_demanded_reads_below_the_level(name) -> None:
    # the resistor in series with what the isolation demanded lets through: V·R/(R + R_iso)
    figures = Figures(study(name))
    leak = figures.pack.full_voltage.number * BESIDE.number / (
        BESIDE.number + figures.isolation.number)
    assert leak < plan_of(study(name)).reading("weld.inlet_plus").high.number / 2


def test_the_leak_of_an_open_pole_has_a_baseline_and_a_limit() -> None:
    found = study("truck")
    rows = "".join(f"weld.inlet_plus,{volts},M,2026-01-01,{day},A,\n" for volts, day in
                   (("1.4 V", "2026-01-09"), ("3.0 V", "2026-11-24")))
    file = readings_from_text(HEAD + rows, plan_of(found).dimensions)
    (trend,) = rd.trends(plan_of(found), file.readings)
    assert trend.baseline.text == "1.4 V" and trend.check.verdict == "fail"  # 3.0/1.4 = + 114 %
    assert trend.change.number == pytest.approx(3.0 / 1.4 - 1)


@pytest.mark.parametrize(("poles", "many"), [("both poles", 2), ("one pole", 1), ("none", 0)])
def test_maintenance_reads_the_charge_contactor_again_every_year(poles, many) -> None:
    kept = maintenance(cut(poles))
    asked = [t for t in kept.tasks if "charge contactor proven open" in t.what]
    assert [t.interval for t in asked] == ["once a year"] * (many > 0)
    repeats = [r for r in kept.repeats if r.rule.prefix == "weld.inlet"]
    assert sum(len(r.expected) for r in repeats) == many
    assert trend_rule("weld.inlet_minus").interval.startswith("once a year")


def test_after_its_first_charge_it_is_proven_open_again() -> None:
    found = study("truck")
    state, told = found.circuit.states.state("charge"), steps(found, "charge")
    assert state.before in told and state.failing in told
    assert "charge.open_again" in plan_of(found).dimensions
    assert "charge.open_again" not in plan_of(study("van")).dimensions


def test_no_locked_plug_is_pulled_under_current() -> None:
    # the state charge: "plug in and locked"; it ends with the charger off first
    for name in ("truck", "van", "minibus"):
        told = steps(study(name), "charge")
        assert "Pull the plug" not in told and "lock holds the plug until no current" in told


def test_a_plug_drops_no_contactor_that_charging_needs() -> None:
    for name in ("truck", "van", "minibus"):
        told = steps(study(name), "logic")
        dropping = told.partition("Emergency stop,")[2].partition("must drop every contactor")[0]
        assert dropping and "plug" not in dropping
        state = study(name).circuit.states.state("charge")
        assert state.contactors[:2] == ("closed", "closed")


def test_with_no_bus_voltage_the_charge_contactor_stays_open_too() -> None:
    one = plan_of(study("truck")).reading("logic.main_stays_open")
    assert "charge contactor" in one.title
    assert "charge contactor" not in plan_of(study("van")).reading("logic.main_stays_open").title


@pytest.mark.parametrize(("poles", "words"), [
    ("none", "the charge inlet and its cable, which no contactor cuts off"),
    ("one pole", "one pole of the charge inlet, which its contactor does not cut off"),
    ("both poles", "")])
def test_an_inlet_that_is_live_in_the_drive_is_named_at_every_stage(poles, words) -> None:
    found = cut(poles)
    for key in ("weld", "charge", "wheels", "limited", "warm"):
        closed = stage(found, key).live.partition("; with them open")[0]
        assert words in closed and ("inlet" in closed) == bool(words)
    assert "inlet and charge cable, from outside too" in stage(found, "charge").live


def test_what_lies_behind_the_charge_contactor_is_off_the_bus_at_its_lower_end() -> None:
    # truck: (1.1 + 0.06) mF · 0.8, and with nothing between (1.1 + 0.06 + 0.02) mF · 0.8
    for poles, low in (("both poles", 0.928e-3), ("none", 0.944e-3)):
        one = plan_of(cut(poles)).reading("dead.link_capacitance")
        assert (one.low.number, one.high.number) == pytest.approx((low, 1.416e-3))


def test_its_side_is_in_the_isolation_of_the_load() -> None:
    for poles in POLES:
        one = plan_of(cut(poles)).reading("dead.isolation_positive")
        assert ("those of the charge inlet behind its open contactor" in one.how) \
            == (poles != "none")


# -- loads of open waking -----------------------------------------------------------------------


def test_a_load_of_open_waking_is_named_where_the_supply_may_wake_it() -> None:
    found = study("truck", branch={"DC/DC converter": {"wakes_at": "unknown"}},
                  precharge__load=None)
    assert open_waking(Figures(found)) == ("DC/DC converter",)
    assert "May wake at this voltage, for nobody said at which: DC/DC converter." \
        in steps(found, "supply")
    for name in ("truck", "minibus"):
        assert "May wake" not in steps(study(name), "supply")


def test_a_load_of_the_precharge_alone_is_named_too() -> None:
    load = {"name": "tipper pump, electronics", "kind": "constant power", "power": "5 W"}
    found = study("faulty", precharge__load=[load])
    assert "May wake at this voltage, for nobody said at which: tipper pump, electronics." \
        in steps(found, "supply")
    known = study("faulty", precharge__load=[load | {"wakes_at": "30 V"}])
    assert "for the supply wakes them: tipper pump, electronics;" in steps(known, "supply")
    assert "May wake" not in steps(known, "supply")


def test_a_bus_that_only_open_waking_keeps_down_says_so() -> None:
    found = study("truck", branch={"DC/DC converter": {"wakes_at": "unknown"}},
                  precharge__load=None)
    (stop,) = stage(found, "pack").stops
    assert "Nobody said at which voltage these wake" in stop and "DC/DC converter" in stop
    assert "say wakes_at" in stop and stage(study("truck"), "pack").stops == ()


# -- pre-charge ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", WORDS)
def test_one_pole_is_watched_for_as_long_as_the_switching_states_ask(name) -> None:
    # the minibus leaves it open; 47 kΩ is invented
    found = study(name, inverter__discharge_resistance="47 kΩ")
    time = found.circuit.states.state("first pole").timeout
    for key in ("supply", "pack"):
        assert f"for {time.shown}, in which a closed relay would have raised it" \
            in steps(found, key)


def test_an_open_discharge_resistor_leaves_the_watch_of_one_pole_without_a_time() -> None:
    # it may hold the bus down: the time without it was given as one in which a relay shows
    found = study("minibus", inverter__discharge_resistance="unknown")
    assert found.circuit.states.state("first pole").timeout is None
    for key in ("supply", "pack"):
        assert ", for as long as a closed relay needs to raise it" in steps(found, key)


def test_the_tries_are_those_of_the_brief() -> None:
    assert "after 2 tries in a row it must lock out" in steps(study("truck"), "logic")
    assert "after 5 tries in a row" in steps(study("truck", precharge__tries=5), "logic")


# -- strings ------------------------------------------------------------------------------------


def test_strings_join_behind_their_own_contactors_so_nothing_leaves_ahead_of_them() -> None:
    found = study("minibus")  # its floor heater leaves behind the main fuse: on the bus
    assert taps_ahead(found) == ()
    assert maintenance(found).ahead.startswith("live at all times, with Q1 out too: sense wires")
    assert not any(e.id.startswith("dead.isolation_ahead") for e in plan_of(found).expected())
    everything = " ".join(s.live + " ".join(s.steps) for s in plan_of(found).stages)
    assert "floor heater" not in everything
    assert taps_ahead(study("truck")) == ("battery heater",)


def test_every_later_start_waits_until_the_strings_are_even() -> None:
    found = study("minibus")
    allowed = difference(Figures(found))
    for key in ("charge", "wheels", "limited", "warm", "retorque"):
        told = steps(found, key)
        assert f"at most {allowed.shown} between them" in told
        assert "no torque, no charge, no braking until they are even" in told
        assert "strings are joined anew" not in steps(study("truck"), key)
    assert "no braking before" in steps(found, "join")


def test_after_storage_the_weld_test_comes_before_any_string_is_joined() -> None:
    again = next(e for e in maintenance(study("minibus")).events if e.key == "storage").again
    assert again.index("pre-charge and weld test") < again.index("strings: the difference")


def test_a_monitor_behind_the_contactors_is_tested_where_it_is() -> None:
    found = study("minibus")  # tapped where the strings join
    check = next(c for c in found.circuit.states.item.checks if "monitor sees" in c.title)
    assert check.verdict == "caution"
    told = steps(found, "monitor")
    assert check.reason in told and "the poles of the bus" in told
    assert "Tapped behind" not in steps(study("truck"), "monitor")
