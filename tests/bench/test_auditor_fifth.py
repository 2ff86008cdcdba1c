"""Stories of an auditor who read the bench a fifth time; figures of modules are invented.

Check values are plain arithmetic on invented readings, or rules of this project's own.
"""

from __future__ import annotations

import numpy as np
import pytest

from packcalc.bench.balance import NEVER, Standing, charging_condition, plan_balance
from packcalc.bench.damage import weigh_past
from packcalc.bench.dealing import Pins
from packcalc.bench.enter import enter, open_session
from packcalc.bench import pinned_strings
from packcalc.bench.strings import assign_strings
from packcalc.bench.sureness import belief_of
from packcalc.bench.teardown import teardown
from packcalc.bench.uncorrected import least_capacity, most_resistance
from packcalc.checks import FAIL
from packcalc.errors import InputErrors
from packcalc.findings import leaf
from packcalc.reading.bench_brief import default_bench
from packcalc.reading.library import record
from packcalc.report.assign_report import assignment_document
from packcalc.report.bench_report import bench_document, teardown_document
from packcalc.report.build_report import build_document
from packcalc.report.render import render
from tests.sized import example

from .rows import GOOD, bench_of, graded, lot_of, row_of
from .test_auditor_fourth import brief, nmc, study
from .test_teardown import donor

NMC = record("nmc-6s-240ah")


def of(module, title: str):
    return [c for c in module.reasons if c.title == title]


def placed(found, mark: str):
    return next(p.dealt for p in found.places if p.dealt.mark == mark)


def page(document) -> str:
    return " ".join(render(document, "text").split())


# --- one cell read, and the mean of all -------------------------------------------------------

@pytest.mark.parametrize(("cells", "apart"), [
    ({"lowest_cell_V": "3.01", "highest_cell_V": ""}, 827.0),
    ({"lowest_cell_V": "", "highest_cell_V": "4.15"}, 539.0)])
def test_one_cell_far_from_the_mean_proves_a_spread(cells, apart):
    """The other five: (22.195 − 3.01)/5 = 3.837 V at least, (22.205 − 4.15)/5 = 3.611 V at most."""
    found = graded(**cells)
    assert found.grade == "quarantine"
    worst = of(found, "cells of the module")[0]
    assert worst.verdict == FAIL and worst.figure.number * 1e3 == pytest.approx(apart)


@pytest.mark.parametrize(("lowest", "grade"), [("3.658", "keep"), ("3.657", "quarantine")])
def test_the_mean_is_held_to_the_line_of_two_cells(lowest, grade):
    """The other five at (22.195 − x)/5: 50 mV above x where x = 21.945/6 = 3.6575 V."""
    assert graded(lowest_cell_V=lowest, highest_cell_V="").grade == grade


@pytest.mark.parametrize("cells", [{"lowest_cell_V": "3.90", "highest_cell_V": ""},
                                   {"lowest_cell_V": "", "highest_cell_V": "3.50"}])
def test_a_lowest_cell_above_the_mean_is_asked_about(cells):
    found = graded(**cells)
    assert found.grade == "undecided" and found.bars
    assert "22.20 V cannot be 6 cells of which the" in str(found.questions[0])


@pytest.mark.parametrize(("low", "asked"), [("3.718", 0), ("3.75", 1)])
def test_the_sum_of_cells_is_told_more_finely_than_their_line(low, asked):
    """6 × 3.75 V are 0.3 V, 50 mV a cell, more than the 22.20 V that were read."""
    found = graded(lowest_cell_V=low, highest_cell_V="3.76")
    assert len(found.questions) == asked


def sit(path, *answers: str) -> str:
    said, left = [], list(answers)

    def hear(words: str) -> str:
        if not left:
            raise EOFError
        return left.pop(0)

    enter(open_session(path, bench=bench_of()), said.append, hear)
    return "\n".join(said)


def test_entering_by_hand_tells_a_dead_cell_as_it_is_typed(tmp_path):
    path = tmp_path / "b.csv"
    path.write_text("mark,module,rest_voltage_V,lowest_cell_V,highest_cell_V\n", "utf-8")
    told = sit(path, "A1", "nmc-6s-240ah", "22.20", "3.01", "!", "", "")
    assert "sets the module aside, cells of the module: 827.0 mV" in told


# --- every voltage of the row -----------------------------------------------------------------

DEAD = {"first_voltage_V": "", "first_date": "", "second_voltage_V": "8.00"}


def test_a_later_voltage_below_all_charging_rejects_the_module():
    """8.00 V over 6 cells is 1.333 V; the class's least is 2.00 V or more."""
    found = graded(**DEAD)
    assert found.grade == "reject"
    assert "1.333 V a cell (second voltage of the self-discharge test)" in found.why
    asked = " ".join(map(str, found.questions))
    assert "1.333 V a cell over 6 cells, below empty" in asked and "14.20 V apart" in asked


@pytest.mark.parametrize(("volts", "grade"), [("17.0", "quarantine"), ("25.5", "quarantine")])
def test_every_reading_is_held_to_the_window(volts, grade):
    assert graded(first_voltage_V=volts, second_voltage_V=volts).grade == grade


def test_entering_by_hand_asks_about_a_dead_second_reading(tmp_path):
    path = tmp_path / "b.csv"
    path.write_text("mark,module,rest_voltage_V,rest_date,second_voltage_V,second_date\n", "utf-8")
    told = sit(path, "A1", "nmc-6s-240ah", "22.20", "2026-03-01", "8.00", "!", "", "")
    assert "must not be charged again" in told and "below empty" in told


@pytest.mark.parametrize("others", [22.2, None])
def test_no_plan_charges_what_must_not_be_charged(others):
    standing = [Standing("A", "1.1", 0, 8.0, 200 * 3600.0, 1e-3, 3.7),
                Standing("B", "2.1", 1, others, 200 * 3600.0, 1e-3, 3.7)]
    current = leaf("current", "I", "A", 5.0, "given")
    for module in (NMC, record("lfp-4s-200ah")):
        low = standing if module is NMC else [
            Standing("A", "1.1", 0, 4.0, 200 * 3600.0, 1e-3, 3.2), standing[1]]
        step = plan_balance(module, low, current).steps[0]
        assert step.action == NEVER and step.move == 0 and step.time == 0


# --- a reading better than new ----------------------------------------------------------------

def eight(**first: str):
    return [nmc("A1", 22.2, **first), *(nmc(f"B{i}", 22.2, 208 + i) for i in range(1, 8))]


@pytest.mark.parametrize(("reading", "index", "what"), [
    ({"capacity_Ah": "246"}, 0, "capacity"), ({"resistance_mohm": "1.20"}, 1, "resistance")])
def test_a_suspect_reading_counts_as_none(reading, index, what):
    found = study(eight(**reading), "8S1P")
    own = placed(found, "A1")
    assert not own.measured[index] and own.doubted
    assert found.sureness.open_modules[index] == ("A1",)
    belief = belief_of(found.lot, sorted((p.dealt for p in found.places), key=lambda d: d.mark))
    sigma = (belief.capacity_sigma, belief.resistance_sigma)[index]
    assert [bool(np.isnan(s)) for s in sigma] == [True] + [False] * 7
    assert any(s.what == f"repeat the {what} of A1" for s in found.sureness.sharpeners)
    assert any("Read better than new" in note and "A1" in note for note in found.notes)


def test_a_suspect_capacity_is_dealt_behind_a_measured_one_of_its_figure():
    """Seven places: the suspect one, counted like the middle of 209 to 215 Ah, is left out."""
    rows = [nmc("A1", 22.2, capacity_Ah="246"), *(nmc(f"B{i}", 22.2, 212) for i in range(1, 8))]
    found = study(rows, "7S1P")
    assert [d.mark for d in found.spare] == ["A1"]


# --- charging in the cold ---------------------------------------------------------------------

def test_the_plan_says_at_which_temperature_it_charges():
    """Bands of this project's cell library: nothing at or below 0 °C, a tenth of 240 Ah up to 5 °C,
    a fifth up to 15 °C.
    """
    rows = [nmc(f"A{i}", 22.2 + i / 10, rest_temperature_degC="-8", first_temperature_degC="-8",
                second_temperature_degC="-8") for i in range(1, 9)]
    found = study(rows, "8S1P", balance_current="100 A")
    told = found.balance.condition
    assert "0 °C to 5.000 °C with at most 24.00 A" in told
    assert "5.000 °C to 15.00 °C with at most 48.00 A" in told
    assert "above 15.00 °C" in told and "never at or below 0 °C" in told
    assert "Read at -8.000 °C" in told and "A1" in told
    assert "never at or below 0 °C" in page(assignment_document(found))


def test_a_small_current_may_be_charged_colder():
    """24 A is a tenth of 240 Ah an hour, which the class allows above 0 °C."""
    assert "above 0 °C" in charging_condition(NMC, 24.0, ())
    assert "above 5.000 °C" in charging_condition(NMC, 24.1, ())


# --- a reading that cannot be corrected -------------------------------------------------------

def test_an_uncorrectable_resistance_counts_at_its_bad_side():
    """2.1 mΩ is rejected at no temperature; 3.5 mΩ would be at 60 °C, and nobody noted it."""
    rows = [nmc("A1", 22.2, resistance_mohm="2.1", resistance_temperature_degC=""),
            *(nmc(f"B{i}", 22.2, 212) for i in range(1, 8))]
    found = study(rows, "8S1P", count_undecided="yes")
    own = placed(found, "A1")
    assert own.resistance.number >= 2.1e-3 and not own.measured[1]
    assert graded(resistance_mohm="3.5", resistance_temperature_degC="").grade == "reject"
    row = row_of(resistance_mohm="6.0", resistance_temperature_degC="")
    assert most_resistance(row, bench_of()) >= 6.0e-3


def test_a_resistance_beyond_every_ratio_is_no_less_than_the_line_of_rejection():
    row = row_of(resistance_mohm="1.9", resistance_temperature_degC="79")
    assert most_resistance(row, bench_of()) == pytest.approx(2 * NMC.resistance_high.number)


def test_an_uncorrectable_capacity_counts_at_its_bad_side():
    """Cold and at C/5 a reading counts as it is; 10 K too warm it loses 20 K · 0.5 % = 1/1.10."""
    rows = [nmc("A1", 22.2, capacity_Ah="120", capacity_temperature_degC="14.5"),
            *(nmc(f"B{i}", 22.2, 212) for i in range(1, 8))]
    found = study(rows, "8S1P", count_undecided="yes")
    assert found.totals.capacity.number / 3600 == pytest.approx(120)
    cold = row_of(capacity_Ah="120", capacity_temperature_degC="14.5")
    warm = row_of(capacity_Ah="120", capacity_temperature_degC="45")
    assert least_capacity(cold) / 3600 == pytest.approx(120)
    assert least_capacity(warm) / 3600 == pytest.approx(120 / 1.10)


def test_a_bad_reading_that_is_asked_about_is_never_dealt():
    """60 mΩ make 2.4 V a cell at 1 C: asked about, and no module for a pack meanwhile."""
    found = graded(resistance_mohm="9.0", impedance_ac_mohm="9.5")
    assert found.grade == "undecided" and found.bars


# --- each module's own limits -----------------------------------------------------------------

def test_a_module_is_held_to_the_limit_of_its_own_capacity():
    """240 A on the label, 176 of 240 Ah left: 176 A, where the brief's 90 % would give 216 A."""
    rows = [nmc("A1", 22.2, 176), *(nmc(f"B{i}", 22.2, 212) for i in range(1, 8))]
    asked = brief(8, power={"peak": "40 kW", "continuous": "33 kW"}, health="90 %")
    found = study(rows, "8S1P", asked=asked)
    assert not found.meets_brief
    lasting = found.alone[1]
    assert lasting.demand.number == pytest.approx(176.0) and "A1 in place" in lasting.reason
    assert lasting.figure.number > 176.0 and lasting.verdict == FAIL


def test_paralleled_modules_too():
    rows = [nmc(f"A{i}", 22.2, 176 if i < 3 else 212) for i in range(1, 17)]
    found = study(rows, "8S2P")
    for check in found.together.checks:
        mark = check.reason.partition(" ")[0]
        own = placed(found, mark).capacity.number / NMC.capacity.number
        label = NMC.peak_current if "peak" in check.title else NMC.continuous_current
        assert check.demand.number == pytest.approx(label.number * own)


# --- expiry -----------------------------------------------------------------------------------

def test_a_modules_own_readings_prove_its_expiry():
    """No date of issue: the second voltage of 2026-03-30 is later than the expiry."""
    past, open_ = graded(expiry="2026-03-29"), graded(expiry="2026-03-30")
    assert past.grade == "quarantine" and "2026-03-29 is past (2026-03-30" in past.why
    assert open_.grade == "keep" and "calendar expiry: 2026-03-30; no date of issue" in open_.why


# --- a rest voltage after the test ------------------------------------------------------------

LATER = {"rest_voltage_V": "21.20", "rest_date": "2026-04-20", "lowest_cell_V": "3.531",
         "highest_cell_V": "3.536"}


def test_a_rest_voltage_after_the_test_is_held_to_it():
    found = graded(**LATER)
    assert found.grade == "undecided" and found.bars
    assert "was it charged or drained in between?" in str(found.questions[0])
    assert graded(**LATER, charged_or_drained="yes").grade == "keep"
    assert graded(**LATER, charged_or_drained="no").grade in ("quarantine", "reject")
    assert not graded(rest_date="2026-04-20").questions


# --- boxes of strings -------------------------------------------------------------------------

def strings_of(count: int, not_in, layout="8S3P", boxes=None):
    rows = [nmc(f"A{i}", 22.2, 230 - i) for i in range(1, count + 1)]
    return study(rows, layout, "strings", pins_not_in=[[mark, "rear"] for mark in not_in],
                 boxes={"rear": boxes or [5, 8]})


def test_a_box_takes_the_same_positions_of_every_string():
    found = strings_of(26, ("A2", "A10", "A18"))
    at = {p.dealt.mark: p for p in found.places}
    assert all(at[m].column < 4 for m in ("A2", "A10", "A18") if m in at)
    assert any("Box rear: positions 5 to 8 of every string, places 1.5 to 1.8" in note
               for note in found.notes)


def test_many_modules_kept_out_of_a_box_are_dealt():
    """Twelve of twenty-four, six of the strongest eight: no string holds more than four."""
    out = [f"A{i}" for i in (*range(1, 7), *range(9, 12), *range(17, 20))]
    found = strings_of(26, out)
    places = {p.dealt.mark: p for p in found.places}
    assert len(places) == 24 and all(places[m].column < 4 for m in out if m in places)


def test_what_is_dealt_by_strength_is_no_worse_than_trying_every_string(monkeypatch):
    """Two strings of three; the three strongest must stay out of one position of each."""
    units = np.array([9.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0]) * 3600
    allowed = np.ones((7, 6), dtype=bool)
    allowed[:3, [2, 5]] = False
    tried = assign_strings(units, None, 3, 2, pins=Pins((), (), allowed))
    monkeypatch.setattr(pinned_strings, "MOST_FLOWS", 0)
    dealt = assign_strings(units, None, 3, 2, pins=Pins((), (), allowed))
    assert dealt.value == pytest.approx(tried.value) and dealt.bound >= dealt.value


def test_a_box_beyond_the_strings_is_told():
    with pytest.raises(InputErrors, match="8 positions in each of its strings"):
        strings_of(26, ("A2",), boxes=[9, 16])


# --- teardown ---------------------------------------------------------------------------------

def test_no_step_where_the_donors_isolation_fails():
    """16 modules of 6 cells at 4.20 V: 403.2 V, at 500 Ω/V 201.6 kΩ (UN R100, 5.1.3)."""
    sheet = teardown(donor(isolation="0.2 MΩ"))
    assert "No step is given" in sheet.refusal and "201.6 kΩ" in sheet.refusal
    assert len(sheet.steps) == 1
    shown = page(teardown_document(sheet, brief(16)))
    assert "by the voltage as read" not in shown and "fit the link" not in shown
    assert not teardown(donor(isolation="0.2017 MΩ")).refusal
    assert not teardown(donor(isolation=None)).refusal


# --- the page ---------------------------------------------------------------------------------

def test_what_is_true_of_every_module_is_told_once():
    lot = lot_of(*(nmc(f"A{i}", 22.2) for i in range(1, 41)), bench=default_bench())
    assert all(m.grade == "undecided" for m in lot.modules)
    assert page(bench_document(lot)).count("so no line can be drawn") == 1


def test_a_lot_names_the_modules_of_unsaid_history():
    lot = lot_of(GOOD, {**GOOD, "mark": "M2", "crash": ""})
    told = next(c for c in lot.checks if c.title == "crash and water")
    assert "1 of 2 modules (M2): history not said" in told.reason


@pytest.mark.parametrize(("cell", "words"), [
    ("1900", "µΩ where mΩ was meant"), ("0.0019", "Ω where mΩ was meant")])
def test_the_unit_that_explains_a_slip_is_named(cell, words):
    asked = str(graded(resistance_mohm=cell).questions[0])
    assert f"({words})" in asked


@pytest.mark.parametrize("words", ["deep discharged", "deep-discharged", "airbag deployed",
                                   "rolled over", "rear-end hit", "total loss", "river"])
def test_a_blow_or_a_drained_donor_is_read(words):
    assert weigh_past(words).meaning in ("ask", "grave")
    assert graded(storage=words).grade != "keep"
    assert weigh_past(f"no {words}").meaning != "grave"


def test_the_build_sheet_says_at_which_temperature_it_charges():
    """The truck's plan charges with 5 A, which the class allows above 0 °C."""
    sized = example("truck")
    plan = sized.salvage.dealt.balance
    told = page(build_document(sized, plan=plan))
    assert "by the plan of packcalc assign. Charge only where every cell is above 0 °C" in told
