"""What an engineer of DC protection and a breaker of inputs found; vehicles and parts invented.

Each case was wrong once: a fixed level for every charge, a weld that passes, a cold that was
forgotten, an open entry that softens a demand. Arithmetic stands beside each check value.
"""

from __future__ import annotations

import functools
import tomllib
from typing import Any

import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.errors import InputErrors
from packcalc.findings import leaf
from packcalc.layouts import Layout, Part, asks_of
from packcalc.pack import model_pack
from packcalc.pack_charging import charge_limits
from packcalc.part_checks.fuse import selective
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.reading.parts_list import parts_from_text
from packcalc.report.compose import protection_document
from packcalc.report.states_report import proofs_table
from packcalc.screening import screen_one
from tests.briefs import asked

pytestmark = pytest.mark.thorough

LAYOUTS = {"truck": ("16S1P", ""), "van": ("", ""), "minibus": ("12S2P", "strings")}
EIGHT = Layout((Part(0, 8),), 2, "grouped")


def scenario(name: str, **changes: Any):
    """An example with entries "section__key" or "branch__kind__key" changed; None takes one out."""
    place = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(place.read_text("utf-8"))
    for entry, value in changes.items():
        section, *kind, key = entry.split("__")
        found = data.setdefault(section, {})
        if kind:
            word = kind[0].replace("_", " ")
            found = next(row for row in found if word in (row.get("kind"), row.get("name")))
        found[key] = value
        if value is None:
            found.pop(key)
    return brief_from_data(data, str(place))


def study(name: str, **changes: Any) -> ProtectionStudy:
    return study_protection(scenario(name, **changes), *LAYOUTS[name])


@functools.cache
def example(name: str) -> ProtectionStudy:
    return study(name)


def item(found: ProtectionStudy, key: str):
    return next(i for i in found.items if i.key == key)


def told(checks, words: str):
    found = [c for c in checks if words in c.title]
    assert len(found) == 1, [c.title for c in checks]
    return found[0]


# -- cells too cold for full power, contactors closed -----------------------------------------


def test_braking_is_looked_at_in_the_coldest_cells_that_may_be_connected() -> None:
    # 20 °C for full power, closed from −20 °C on: nothing forbids braking between
    mild = {"battery__coldest_start": "20 degC", "regeneration__power": "80 kW"}
    warm, cold = (asked(**mild, battery__coldest_closed=t) for t in ("20 degC", "-20 degC"))
    always = asked(**{**mild, "battery__coldest_start": "-20 degC"})
    assert model_pack(cold, EIGHT).regeneration_voltage.number == pytest.approx(
        model_pack(always, EIGHT).regeneration_voltage.number, rel=1e-9)
    assert model_pack(cold, EIGHT).regeneration_voltage.number \
        > model_pack(warm, EIGHT).regeneration_voltage.number + 10.0
    row = screen_one(cold, asks_of(cold), EIGHT)
    assert float(row.columns["regeneration_voltage"][0]) == pytest.approx(
        model_pack(cold, EIGHT).regeneration_voltage.number, rel=1e-9)


def test_an_open_coldest_closing_is_the_coldest_that_the_tables_hold() -> None:
    mild = {"battery__coldest_start": "20 degC", "regeneration__power": "80 kW"}
    closed = asked(**mild, battery__coldest_closed="-20 degC")
    assert model_pack(asked(**mild), EIGHT).regeneration_voltage.number == pytest.approx(
        model_pack(closed, EIGHT).regeneration_voltage.number)


def test_the_bands_of_the_charging_trip_begin_at_the_coldest_closing() -> None:
    brief = asked(battery__coldest_start="20 degC", battery__coldest_closed="-10 degC")
    edge, limit = charge_limits(brief, EIGHT)[0]
    assert edge.number == pytest.approx(263.15) and limit.number == 0.0


# -- levels that follow the battery -----------------------------------------------------------


def test_the_closing_level_follows_the_measured_battery_voltage() -> None:
    # 95 % of 806.4 V · 1.005 = 769.9 V full; at the lowest charge 647 V make 614.6 V
    found = example("minibus")
    state = found.circuit.states.state("pre-charge")
    assert state.level.number == pytest.approx(0.95 * 806.4 * 1.005)
    assert state.scaled.emptiest.number == pytest.approx(0.95 * found.pack.rest_low_voltage.number)
    row = next(r for r in proofs_table(found.circuit.states).rows if r[0].text == "pre-charge")
    assert "above 95.00 % of the measured battery voltage (769.9 V full, 614.6 V emptiest)" \
        in row[3].text
    slope = next(f for f in item(found, "precharge").duty if f.title.startswith("Slope limit"))
    assert f"slope of at most {slope.shown} when emptiest" in row[3].text


def test_what_a_closed_contact_may_leave_follows_it_too() -> None:
    # 5 % of 810.4 V and of 647 V, not of the highest working voltage
    row = next(r for r in proofs_table(example("minibus").circuit.states).rows
               if r[0].text == "run")
    assert "5.000 % of the measured battery voltage (40.52 V full, 32.35 V emptiest)" \
        in row[3].text


def test_a_welded_relay_with_a_slow_pre_charge_is_waited_for() -> None:
    # 220 Ω and milli-farads: half a second is a fraction of one time constant
    slow = study("van", precharge__time_limit="10 s", precharge__timeout="20 s",
                 parts__resistor="Glo 220 large", branch__charger__capacitance="0 mF",
                 precharge__load=[{"name": "DC/DC converter", "kind": "constant power",
                                   "power": "1 W", "wakes_at": "70 V"}])
    states = slow.circuit.states
    time = next(c for c in states.item.checks if "pre-charge ends before" in c.title).figure
    wait = states.state("first pole").timeout
    assert time.number > 3.0 and wait.number == pytest.approx(0.5 + time.number)
    assert wait.shown in " ".join(states.weld_check)


# -- strings joined in the cold ---------------------------------------------------------------


def test_strings_are_joined_in_the_coldest_cells_that_may_be_connected() -> None:
    # full power from 12 °C, contactors closed from −20 °C: nothing may be charged there
    cold = item(study("minibus", battery__coldest_closed="-20 degC"), "strings")
    check = told(cold.checks, "Receiving string may be charged")
    assert check.verdict == FAIL and check.figure.number == 0.0
    assert any("-20" in f.title or "−20" in f.title for f in cold.duty)
    stock = told(item(example("minibus"), "strings").checks, "Receiving string may be charged")
    assert stock.verdict == PASS and 0.0 < stock.figure.number


# -- open entries that softened a demand ------------------------------------------------------


@pytest.mark.parametrize(("farads", "expected"), [("unknown", FAIL), ("0.06 mF", PASS),
                                                  ("0.5 mF", FAIL)])
def test_an_open_input_capacitance_is_not_counted_as_none(farads, expected) -> None:
    found = study("truck", **{"branch__DC/DC_converter__capacitance": farads})
    check = told(found.circuit.states.item.checks, "pre-charge ends before its timeout")
    assert check.verdict == expected
    if farads == "unknown":
        share = told(item(found, "switching").checks, "Share of DC/DC converter")
        assert share.verdict == NOT_EVALUATED and "counted with 1.000 mF" in share.reason


@pytest.mark.parametrize(("reaction", "highest"), [
    # 448.4 V with 0.3 ms; left open the inverter's own 450 V stand, which no answer may exceed
    ("0.3 ms", 448.4), ("0.01 ms", 425.8), ("unknown", 450.0)])
def test_an_open_reaction_asks_for_no_less_than_any_answer(reaction, highest) -> None:
    found = study("truck", inverter__overvoltage_reaction=reaction)
    assert found.pack.highest_voltage.number == pytest.approx(highest, abs=0.05)
    chain = found.circuit.overvoltage
    assert told(chain.item.checks, "inverter, absolute maximum rated").verdict == CAUTION
    assert chain.highest.note.startswith("at least this") is (reaction == "unknown")


def test_with_no_maximum_given_the_highest_operating_voltage_counts() -> None:
    # 420 V: an open maximum is counted as the top of the voltage range, above the braking limit
    found = study("truck", inverter__overvoltage_reaction="unknown",
                  inverter__absolute_maximum="unknown", regeneration__voltage_limit="419 V")
    assert found.pack.highest_voltage.number == pytest.approx(420.0)


# -- a motor that drives the pack -------------------------------------------------------------


@pytest.mark.parametrize(("volts", "expected", "battery"), [
    # 806.4 V · 1.005 = 810.4 V full; braking is held to 830 V
    ("540 V", PASS, 830.0), ("810 V", PASS, 830.0), ("811 V", FAIL, 830.0), ("900 V", FAIL, 900.0)])
def test_a_motor_above_the_full_pack_feeds_it_without_control(volts, expected, battery) -> None:
    chain = study("minibus", motor__back_voltage=volts).circuit.overvoltage
    check = told(chain.item.checks, "cannot overcharge the pack")
    assert check.verdict == expected and check.remedy
    assert chain.battery_side.number == pytest.approx(battery)
    link = next(one for one in chain.chain if one.name.startswith("motor spins"))
    assert ("battery side" in link.side) is (expected == FAIL)


def test_an_open_derating_softens_no_current() -> None:
    # 110 kW and 3.2 kW of branches at 240 V; the sag is still asked for 10 % more than 240 V
    open_, lowest = (study("truck", inverter__full_power_from=v) for v in ("unknown", "240 V"))
    assert open_.pack.peak_current.number == pytest.approx(lowest.pack.peak_current.number)
    assert open_.pack.peak_current.number == pytest.approx(113.2e3 / 240.0)
    assert open_.pack.demand_voltage.number == pytest.approx(264.0)
    assert "full_power_from is open" in open_.pack.peak_current.note


# -- cells of a parts list that contradict each other -----------------------------------------

FUSE = {"kind": "fuse", "name": "T 400", "rated_voltage_dc": "500 V", "rated_current": "400 A",
        "melting": "0.001 s: 4000 A; 1 s: 1560 A", "clearing": "0.001 s: 5000 A; 1 s: 1800 A",
        "melting_i2t": "15000 A2s", "clearing_i2t": "120000 A2s", "clearing_i2t_at": "500 V"}
CONTACTOR = {"kind": "contactor", "name": "K 500", "rated_voltage_dc": "500 V",
             "continuous_current": "500 A", "carry": "10 s: 700 A; 60 s: 500 A"}


def rows_of(*rows: dict[str, str]):
    heads = list(dict.fromkeys(head for row in rows for head in row))
    return parts_from_text("\n".join(
        [",".join(heads), *(",".join(row.get(head, "") for head in heads) for row in rows)]))


@pytest.mark.parametrize(("part", "changes", "words"), [
    # 4000² A² · 1 ms = 16000 A²s; printed figures are rounded, so 5 % more still stand
    (FUSE, {"melting_i2t": "16700 A2s"}, ""),
    (FUSE, {"melting_i2t": "45000 A2s"}, "melting_i2t: 45000 A²s is more than its melting curve "
                                         "takes at 0.001000 s, 16000 A²s"),
    (FUSE, {"clearing": FUSE["melting"]}, "clearing: the points are those of the melting curve"),
    (FUSE, {"cut_off_current": "10 A"}, "cut_off_current: 10.00 A lies below rated_current"),
    (FUSE, {"cut_off_current": "400 A"}, ""),
    (FUSE, {"arc_voltage": "499 V"}, "arc_voltage: 499.0 V lies below every DC voltage of the row"),
    (FUSE, {"arc_voltage": "10 V"}, "arc_voltage"),
    (FUSE, {"arc_voltage": "410 V", "permitted_time_constant": "400 V: 15 ms"}, ""),
    (CONTACTOR, {"carry": "10 s: 100 A; 60 s: 80 A"},
     "carry: 80.00 A for 60.00 s lies below continuous_current (500.0 A)"),
    (CONTACTOR, {"carry": "10 s: 700 A; 60 s: 499 A"}, "carry: 499.0 A for 60.00 s"),
    # what is permitted counts alone: a slip in the test must not go unseen
    (CONTACTOR, {"rated_voltage_dc": "500 V", "break_time_constant": "0.05 ms",
                 "permitted_time_constant": "60 V: 6.5 ms; 500 V: 2.5 ms"},
     "break_time_constant: 0.05000 ms of the breaking test is less than a tenth"),
    (CONTACTOR, {"rated_voltage_dc": "500 V", "break_time_constant": "2.5 ms",
                 "permitted_time_constant": "60 V: 6.5 ms; 500 V: 2.5 ms"}, ""),
    (CONTACTOR, {}, ""),
])
def test_cells_that_contradict_each_other_are_told_with_row_and_column(part, changes, words):
    if not words:
        assert len(rows_of({**part, **changes}).parts) == 1
        return
    with pytest.raises(InputErrors) as told_of:
        rows_of({**part, **changes})
    (line,) = str(told_of.value).splitlines()
    assert words in line and ":2" in line


@pytest.mark.parametrize(("melting", "lets", "expected"), [
    # the row's 16700 A²s and the curve's 4000² A² · 1 ms = 16000 A²s: the smaller counts
    ("16700 A2s", "15900 A2s", PASS), ("16700 A2s", "16100 A2s", FAIL),
    ("15000 A2s", "15100 A2s", FAIL)])
def test_selectivity_takes_the_smaller_of_figure_and_curve(melting, lets, expected) -> None:
    small = {**FUSE, "name": "T 100", "rated_current": "100 A", "melting_i2t": "1000 A2s",
             "melting": "0.001 s: 1000 A; 1 s: 390 A", "clearing": "0.001 s: 1250 A; 1 s: 450 A",
             "clearing_i2t": lets}
    upper, lower = rows_of({**FUSE, "melting_i2t": melting}, small).parts
    volts, amperes = (leaf(t, "x", u, v, "given") for t, u, v in (
        ("highest working voltage", "V", 450.0), ("highest fault", "A", 20000.0)))
    assert selective(upper, lower, volts, amperes).verdict == expected


# -- the management system --------------------------------------------------------------------


@pytest.mark.parametrize(("tolerance", "highest"), [
    ("0 %", 4.2), ("0.5 %", 4.221), ("5 %", 4.242)])
def test_no_charger_lifts_the_trip_above_our_one_percent(tolerance, highest) -> None:
    # the smaller of the charger's end and 4.2 V · 1.01 = 4.242 V: errs to the lower side
    for trip, expected in ((f"{highest:.3f} V", PASS), (f"{highest + 0.001:.3f} V", FAIL)):
        found = study("truck", charger__tolerance=tolerance, management__overvoltage_trip=trip)
        checks = item(found, "management").checks
        assert told(checks, "over-voltage trip within").verdict == expected


def test_a_trip_inside_the_charger_s_tolerance_stays_a_caution() -> None:
    for tolerance, expected in (("0 %", PASS), ("0.5 %", CAUTION), ("5 %", CAUTION)):
        checks = item(study("truck", charger__tolerance=tolerance), "management").checks
        assert told(checks, "trip above the end of charging").verdict == expected


def test_a_sense_fuse_is_held_against_one_demand_in_one_place() -> None:
    found = example("minibus")
    own = item(found, "management")
    check = told(own.checks, "fuse at the cell end")
    assert check.verdict == PASS and "held with the branch sense wires" in check.reason
    branch = item(found, "branch.sense wires")
    assert any("breaking capacity" in c.title.lower() for c in branch.checks)
    whole = found.faults.highest.shown
    wires = next(r for r in own.specification if r.what == "sense wires")
    assert whole not in check.sentence and whole not in wires.why
    bare = item(study("minibus", branch__sense__fuse_part=None), "management").checks
    assert told(bare, "fuse at the cell end").verdict == CAUTION


# -- page one ---------------------------------------------------------------------------------


def test_page_one_marks_a_voltage_that_may_be_more() -> None:
    def figure(found: ProtectionStudy) -> str:
        first = next(s for s in protection_document(found, chains=False).sections
                     if s.key == "first")
        facts = next(b for b in first.blocks if getattr(b, "key", "") == "first")
        return next(cell.text for key, _, cell in facts.rows if key == "highest_voltage_V")

    open_ = study("minibus", inverter__overvoltage_reaction="unknown")
    assert figure(open_).startswith("at least ")
    assert figure(example("minibus")) == example("minibus").pack.highest_voltage.shown
