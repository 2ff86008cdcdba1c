"""Self-discharge over the whole way of the voltage, and what nobody noted of it.

Invented modules. Each of them was kept, with no word of what was open.
"""

from __future__ import annotations

import numpy as np
import pytest

from packcalc.bench.balance import charge_from_voltage
from packcalc.bench.selfdischarge import charge_between, selfdischarge
from packcalc.reading.library import record
from tests.bench.rows import bench_of, graded, row_of

LFP, NMC = record("lfp-8s-100ah"), record("nmc-6s-240ah")
FROM_THE_TOP = {"module": "lfp-8s-100ah", "rest_voltage_V": "27.21", "lowest_cell_V": "3.399",
                "highest_cell_V": "3.403", "first_voltage_V": "27.20", "second_voltage_V": "26.75",
                "capacity_Ah": "90"}
NMC_TOP = {"rest_voltage_V": "24.79", "lowest_cell_V": "4.128", "highest_cell_V": "4.134",
           "first_voltage_V": "24.78", "second_voltage_V": "24.63"}
COLUMNS = ("first_temperature_degC", "second_temperature_degC")


def told(module):
    """The ground of self-discharge."""
    return next(c for c in module.reasons if c.title == "self-discharge")


# --- the whole way, not the slope where it began ----------------------------------------------

@pytest.mark.parametrize(("changes", "type_", "least"), [
    (FROM_THE_TOP, LFP, 0.17), (NMC_TOP, NMC, 0.037)])
def test_a_fall_off_the_top_is_held_against_every_curve(changes, type_, least):
    """The slope at the first voltage alone made 2 % of an LFP module's 18 %, and passed it."""
    module = graded(**changes)
    assert module.grade == "undecided"
    first, second = (float(changes[f"{n}_voltage_V"]) for n in ("first", "second"))
    by_curve = []
    for curve in type_.low_curves:
        charges = np.linspace(0, 1, 5001)
        volts = curve.voltage(charges) * type_.series
        by_curve.append(np.interp(first, volts, charges) - np.interp(second, volts, charges))
    assert max(by_curve) * 30 / 28 > least
    found = selfdischarge(row_of(**changes), bench_of())
    assert found.loss.number >= max(by_curve) * 30 / 28 * (1 - 1e-3)
    assert told(module).verdict == "not evaluated"


def test_a_fall_over_a_flat_part_says_so():
    assert "voltage cannot tell this: LFP moves" in told(graded(**FROM_THE_TOP)).reason


@pytest.mark.parametrize("type_", [LFP, NMC])
def test_more_fall_and_more_error_are_never_milder(type_):
    """From every voltage down: the most rises with the fall and the error, the least does not."""
    low, high = type_.empty_voltage.number, type_.full_voltage.number
    for start in (low + (high - low) * k / 23 for k in range(2, 23)):
        before = (0.0, 0.0)
        for fall in (0.0, 0.001, 0.003, 0.01, 0.03, 0.1):
            least, most = charge_between(type_, start, fall)
            assert least <= most and before[0] <= least + 1e-9 and before[1] <= most + 1e-9
            assert charge_between(type_, start, fall + 0.002, 0.002)[1] >= most - 1e-9
            assert charge_between(type_, start, fall - 0.002, -0.002)[0] <= least + 1e-9
            before = least, most


def test_the_loss_lies_within_what_the_plan_reads_of_the_two_voltages():
    """Both tell charge by the same curves: one page may not tell two charges of a module."""
    before, after = (charge_from_voltage(LFP, u) for u in (27.20, 26.75))
    least, most = charge_between(LFP, 3.40, 0.45 / 8)
    assert 0 <= least <= most <= before[1] - after[0] + 1e-6


def test_a_module_that_lost_nearly_all_is_still_rejected():
    """The line of rejection is held against the curve with the least charge on the way."""
    found = selfdischarge(row_of(second_voltage_V="21.0"), bench_of())
    assert found.effect == "reject"


# --- temperatures that nobody noted ------------------------------------------------------------

def effect_at(first: str, second: str, **changes: str) -> str:
    return graded(**{COLUMNS[0]: first, COLUMNS[1]: second, **changes}).grade


@pytest.mark.parametrize(("first", "second", "missing"), [
    ("", "", "first and second"), ("5", "", "second"), ("", "33", "first")])
def test_a_temperature_not_noted_is_no_better_than_a_stated_one(first, second, missing):
    """5 K were counted in silence: 10 and 34 degrees, noted, left the same module undecided."""
    assert effect_at("21", "21") == "keep" and effect_at("-40", "80") == "undecided"
    module = graded(**{COLUMNS[0]: first, COLUMNS[1]: second})
    assert module.grade == "undecided"
    ground = told(module)
    assert f"temperature at the {missing} reading not noted" in ground.reason
    assert "enter what was not noted" in ground.remedy


@pytest.mark.parametrize("second", ["21.99", "21.85", "21.5", "21.0"])
def test_it_takes_nothing_from_a_fall_either(second):
    """Both may have been read at one temperature: noted so it would have been set aside."""
    order = ("keep", "undecided", "quarantine", "reject")
    stated = [effect_at(a, b, second_voltage_V=second)
              for a, b in (("21", "21"), ("10", "34"), ("-40", "80"))]
    open_ = effect_at("", "", second_voltage_V=second)
    assert order.index(open_) >= max(order.index(one) for one in stated)


def test_a_rest_voltage_after_the_test_without_its_temperature():
    """A fall since the test is told with its temperature; without it no less."""
    late = {"rest_date": "2026-04-20", "rest_voltage_V": "22.09", "lowest_cell_V": "3.680",
            "highest_cell_V": "3.684"}
    assert graded(**late).grade == graded(**late, rest_temperature_degC="").grade == "undecided"


# --- a rest voltage without a date -------------------------------------------------------------

LOWER = {"rest_voltage_V": "22.09", "lowest_cell_V": "3.680", "highest_cell_V": "3.684"}


def test_a_rest_voltage_without_a_date_is_no_better_than_a_later_one():
    """0.10 V below the end of the test and dated later it is undecided; undated it was kept, and
    the plan counted on the higher reading.
    """
    assert graded(**LOWER, rest_date="2026-04-20").grade == "undecided"
    module = graded(**LOWER, rest_date="")
    assert module.grade == "undecided" and len(module.questions) == 1
    assert "has no date: was the rest voltage read after it" in str(module.questions[0].fault)
    assert module.bars  # never dealt on a voltage that may be old


def test_nothing_is_asked_where_no_date_would_tell_a_loss():
    assert graded(rest_date="").grade == "keep"                              # above the last one
    assert graded(rest_date="", rest_voltage_V="22.185").grade == "keep"      # within the meter
    assert not graded(**LOWER, rest_date="2026-02-20").questions              # dated before it


def test_a_reading_of_the_test_without_a_date_is_asked_likewise():
    """Where the brief does without the test nobody else asks for these dates."""
    module = graded(**LOWER, first_date="", second_date="", first_voltage_V="")
    assert any("has no date" in str(q.fault) for q in module.questions)
