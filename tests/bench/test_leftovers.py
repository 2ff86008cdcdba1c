"""Pulses too small for the meter, joining currents, the words of a module's past."""

from __future__ import annotations

from math import sqrt

import pytest

from packcalc.bench.assign import Dealt, first_resistance
from packcalc.bench.common import resistance_at_common
from packcalc.bench.damage import weigh_past
from packcalc.bench.grade import GradedModule
from packcalc.bench.next_tests import next_tests
from packcalc.reading.bench_sheet import parse_sheet
from packcalc.reading.library import record

from .rows import GOOD, bench_of, graded, lot_of, row_of, sheet_of

NMC = record("nmc-6s-240ah")

# --- a pulse too small for the meter ---------------------------------------------------------


def pulse(ampere: str, **changes: str) -> GradedModule:
    return graded(resistance_current_A=ampere, **changes)


def ground(module: GradedModule) -> str:
    check = next(c for c in module.reasons if c.title == "pulse resistance")
    return f"{check.sentence}; {check.remedy}"


def test_a_tenth_of_an_ampere_tells_no_resistance():
    found = pulse("0.1")  # 0.1 A · 1.9 mΩ = 0.19 mV, and the voltmeter leaves 10 mV open
    assert found.grade == "undecided"
    assert not found.resistance_common.known
    # 10 mV / (10 % · 1.6 mΩ) = 62.5 A
    assert "the pulse made 0.1900 mV and the voltmeter leaves 10.00 mV open" in ground(found)
    assert "repeat it with at least 62.50 A" in ground(found)


@pytest.mark.parametrize(("ampere", "known"), [("10.5", False), ("10.6", True), ("62.5", True)])
def test_a_fall_that_may_be_off_by_half_counts_nowhere(ampere, known):
    # half of 10.526 A · 1.9 mΩ = 20 mV is the voltmeter's 10 mV
    assert pulse(ampere).resistance_common.known is known


@pytest.mark.parametrize(("ampere", "milliohm"), [("240", "1.9"), ("62.5", "1.9"), ("30", "2.1")])
def test_the_meter_s_error_over_the_fall_widens_the_resistance(ampere, milliohm):
    found = resistance_at_common(
        row_of(resistance_current_A=ampere, resistance_mohm=milliohm), bench_of())
    fall = float(ampere) * float(milliohm) * 1e-3
    # GUM (JCGM 100:2008) 4.3.7 and 5.1.2: limits make a rectangle, parts add in squares
    assert found.relative.number == pytest.approx(sqrt(0.03 ** 2 + (0.010 / fall) ** 2 / 3))


def test_the_own_error_of_a_reading_does_not_hide_the_voltmeter():
    found = resistance_at_common(
        row_of(resistance_current_A="30", resistance_error_percent="1"), bench_of())
    assert found.relative.number > 0.10


def test_a_finer_voltmeter_makes_a_small_pulse_tell():
    row = row_of(resistance_current_A="10")
    coarse, fine = (resistance_at_common(row, bench_of(voltmeter_error=e)) for e in (0.01, 1e-4))
    assert not coarse.value.known and fine.value.known
    assert fine.relative.number == pytest.approx(0.03, rel=0.01)


def test_a_small_pulse_neither_rejects_nor_keeps_near_the_line():
    assert pulse("240", resistance_mohm="3.6").grade == "reject"
    found = pulse("20", resistance_mohm="3.6")
    assert found.grade == "undecided" and "with at least 62.50 A" in ground(found)


def test_a_large_pulse_near_the_line_asks_for_no_larger_one():
    found = pulse("240", resistance_mohm="3.2")
    assert found.grade == "undecided" and "at least" not in ground(found).partition("repeat")[2]


def test_no_fall_at_all_is_no_resistance_of_nought():
    found = pulse("100", resistance_mohm="0")
    assert found.grade == "undecided" and not found.resistance_common.known


def test_without_its_current_a_pulse_tells_no_fall():
    found = graded(resistance_current_A="")
    assert found.grade == "undecided" and "not noted: current of the pulse" in ground(found)


def test_where_the_module_may_not_carry_so_much_a_finer_voltmeter_is_asked_for():
    label = {**GOOD, "module": "4s 100 Ah NMC", "rest_voltage_V": "14.80",
             "first_voltage_V": "14.80",
             "second_voltage_V": "14.79", "capacity_Ah": "90", "capacity_current_A": "20",
             "resistance_mohm": "2", "resistance_current_A": "1", "mass_kg": ""}
    assert "or with a finer voltmeter" in ground(lot_of(label).modules[0])


@pytest.mark.parametrize(("label", "words"), [
    ("nmc-6s-240ah", "voltage before and at 10 s, current"),  # 1.6 mΩ · 120 A = 192 mV
    # 1 s · 100 Ah · 0.030 V: 0.3 mΩ · 50 A = 15 mV, a tenth of it 1.5 mV
    ("1s 100 Ah NMC", "at 10 s with a voltmeter that tells 1.500 mV, current")])
def test_the_next_pulse_asks_for_a_voltmeter_that_sees_its_fall(label, words):
    pulse_test = next(t for t in next_tests(lot_of({"mark": "M1", "module": label}))
                      if t.kind == "pulse")
    assert words in pulse_test.how


# --- decimal marks ---------------------------------------------------------------------------

@pytest.mark.parametrize(("declared", "cell", "told"), [
    ("", "22,2", "written with a decimal comma; declare it once: a first line `# decimal: comma`"),
    ("point", "22,2", "written with a decimal comma; the sheet declares `# decimal: point`; write "
     "one mark throughout, or declare `# decimal: comma`"),
    ("comma", "22.2", "written with a decimal point; the sheet declares `# decimal: comma`; write "
     "one mark throughout, or declare `# decimal: point`")])
def test_a_foreign_decimal_mark_is_told_as_the_sheet_declares(declared, cell, told):
    first = f"# decimal: {declared}\n" if declared else ""
    _, faults = parse_sheet(f"{first}mark;rest_voltage_V\nM1;{cell}\n", "b.csv")
    assert [told in str(fault) for fault in faults] == [True]


# --- the first instant of joining ------------------------------------------------------------

def dealt(**changes: str) -> Dealt:
    found = graded(**changes)
    measured = found.resistance_common.known
    return Dealt(found, found.capacity_common,
                 found.resistance_common if measured else NMC.resistance_high, (True, measured))


@pytest.mark.parametrize(("changes", "milliohm"), [
    ({}, 1.9 * 0.5 * 0.95),                                # the class's ratio to 10 s, hot
    ({"impedance_ac_mohm": "1.1"}, 1.1 * 0.95),            # an AC meter's reading
    ({"resistance_pulse_s": "0.005", "resistance_mohm": "1.2"}, 1.2 * 0.95),
    ({"resistance_pulse_s": "0.005", "resistance_mohm": "1.2", "impedance_ac_mohm": "1.15"},
     1.15 * 0.95),                                         # the lower of the two
    ({"resistance_mohm": "", "resistance_current_A": ""}, 1.6 * 0.5 * 0.95)])  # its type, new
def test_joining_counts_with_the_resistance_of_the_first_millisecond(changes, milliohm):
    assert first_resistance(dealt(**changes), NMC) == pytest.approx(milliohm * 1e-3)


def test_an_ac_reading_that_is_asked_about_counts_nowhere():
    slip = dealt(impedance_ac_mohm="0.0011")
    assert any(q.quantity == "impedance_ac" for q in slip.graded.questions)
    assert first_resistance(slip, NMC) == pytest.approx(1.9e-3 * 0.5 * 0.95)


# --- what donor and storage tell -------------------------------------------------------------

@pytest.mark.parametrize("note", [
    "flooded", "FLOODED 2024", "Flood-damaged", "stood under water", "Under-Water for a day",
    "underwater", "in the water", "submerged", "burnt", "Burned out", "garage fire", "FIRE!",
    "smoke damage", "case SWOLEN", "swollen cells", "pulled from a fire", "scorched shelf",
    "fire engine that burnt", "bulging", "storm-flooded estate car", "ex-flood van",
    "engine-fire car", "stood in seawater", "half-submerged for a week", "case-swollen",
    "partly-burnt", "post-fire", "house-fire", "over-heated", "crashed-and-burned", "half_burnt",
    "no-claims car, flooded", "non-runner; flooded"])
@pytest.mark.parametrize("column", ["storage", "donor"])
def test_water_fire_and_swelling_set_a_module_aside_wherever_they_are_told(column, note):
    found = graded(**{column: f'"{note}"'})
    assert found.grade == "quarantine"
    assert f"what its {column} tells: {column}: {note}" in found.why


@pytest.mark.parametrize("note", [
    "not flooded", "no fire", "never under water", "no flood or fire", "NOT BURNT",
    "no signs of fire or flooding", "not burnt; not swollen", "dry shed half charge",
    "Hollin farm donor (invented)", "fireproof cabinet", "waterproof box", "smoke-free shed",
    "fire station van", "ventilated room", "warm dry room", "Burnley yard", "near the sea",
    "not half-submerged", "non-flooded", "never-flooded car", "unburnt", "un-burnt",
    "no house-fire or flood", "no flood or house-fire", "ex-fire-brigade van", "seawater-proof box",
    "never in seawater", "non-smoker's car", "undamaged", "floodlit yard",
    "fire extinguisher on board", "smoke detector fitted; dry shed", "shed with fire doors",
    "old fire engine; half charge", "free of rust", "free of flood or fire"])
def test_a_denied_word_or_a_harmless_one_changes_nothing(note):
    found = graded(storage=note, donor=note)
    assert found.grade == "keep" and not found.questions


@pytest.mark.parametrize("note", [
    "no cover and flooded", "without cover; flooded", "never charged; fire next door",
    "no fire; flood", "not only flooded", "flooded: no", "wet cellar", "crashed hatchback",
    "dropped once", "in 30 cm of water", "rained on", "saltwater to the sills", "stormflooded",
    "burn marks", "over heated", "in the sea", "sunk", "post-crash", "not-only-flooded"])
def test_what_may_mean_harm_is_asked_about(note):
    found = graded(storage=note)
    assert found.grade == "undecided" and found.bars
    assert "did water, fire, a blow or a deep discharge get at the module?" \
        in str(found.questions[0])


@pytest.mark.parametrize(("note", "grade"), [
    ("flooded", "reject"), ("under water", "reject"), ("burnt", "reject"), ("soaked", "reject"),
    ("stood in seawater", "reject"),
    ("not flooded", "undecided"), ("no fire", "undecided"), ("never in water", "undecided"),
    ("no signs of fire or flooding", "undecided")])
def test_the_column_of_damage_knows_water_too(note, grade):
    assert graded(damage=note).grade == grade


@pytest.mark.parametrize("note", [
    "van put out by the fire brigade", "fire service training car", "free burnt pack",
    "van hosed down by fire department", "fire extinguisher emptied over it", "fire brigade called",
    "attended by fire services", "fire engine, put out in time", "fire alarm went off",
    "ex-fire-brigade van, used for training", "wrapped in a fire blanket", "doused with foam",
    "free from a burnt house", "free flooded van", "free from fire", "swampy yard"])
@pytest.mark.parametrize("column", ["storage", "donor"])
def test_a_guard_against_fire_that_acted_and_a_free_pack_are_asked_about(column, note):
    found = graded(**{column: f'"{note}"'})
    assert found.grade == "undecided" and found.bars


@pytest.mark.parametrize("note", ["thermal-runaway in the next module", "thermal runaway",
                                  "inferno in a garage", "swamped", "bloated", "case-bloated"])
def test_further_words_of_fire_water_and_swelling(note):
    assert graded(donor=note).grade == "quarantine"
    assert graded(damage=note).grade == "reject"
    assert weigh_past(f"no {note}").meaning == "none"


def test_every_denial_must_stand_right_before_its_word():
    assert weigh_past("no crash and flooded").meaning == "ask"
    assert weigh_past("not burnt but swollen").meaning == "ask"
    assert weigh_past("dry, then flooded").words == ("flooded",)
    assert sheet_of({**GOOD, "storage": "dry shed"}).rows[0].storage == "dry shed"
