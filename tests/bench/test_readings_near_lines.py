"""Readings near a line, or open on one side; figures of modules are invented.

Check values are plain arithmetic on invented readings, or rules of this project's own.
"""

from __future__ import annotations

import pytest

from packcalc.bench.uncorrected import least_resistance, most_resistance
from packcalc.checks import FAIL
from packcalc.reading.library import record

from .rows import bench_of, graded, row_of
from .test_auditor_fourth import brief, nmc, study

NMC = record("nmc-6s-240ah")
LASTING = "continuous current of the module nearest its own limit"


def eight(**first: str):
    return [nmc("A1", 22.2, **first), *(nmc(f"B{i}", 22.2, 208 + i) for i in range(1, 8))]


def placed(found, mark: str):
    return next(p.dealt for p in found.places if p.dealt.mark == mark)


# --- a reading within its own uncertainty of new ------------------------------------------------

@pytest.mark.parametrize(("better", "new", "index"), [
    ({"capacity_Ah": "240.1"}, {"capacity_Ah": "240.0"}, 0),
    ({"resistance_mohm": "1.55"}, {"resistance_mohm": "1.60"}, 1)])
def test_a_reading_just_better_than_new_is_a_measurement(better, new, index):
    found, same = study(eight(**better), "8S1P"), study(eight(**new), "8S1P")
    own = placed(found, "A1")
    assert own.measured == (True, True) and not own.doubted
    assert not found.sureness.open_modules[index]
    assert [t.middle for t in found.sureness.targets] == pytest.approx(
        [t.middle for t in same.sureness.targets], rel=2e-3)
    assert not any("Read better than new" in note for note in found.notes)


# --- what a module carries where its resistance is open -----------------------------------------

def lasting(first: dict[str, str], second: dict[str, str]):
    rows = [nmc("A1", **first), nmc("A2", **second),
            *(nmc(f"B{i}", 22.2, 212) for i in range(1, 15))]
    found = study(rows, "8S2P", count_undecided="yes", pins_together=[["A1", "A2"]])
    return next(c for c in found.together.checks if c.title == LASTING), found


WEAK, SOUND = {"ampere_hours": 180}, {"ampere_hours": 212}


@pytest.mark.parametrize("open_", [
    {"resistance_temperature_degC": ""}, {"resistance_charge_percent": ""},
    {"resistance_pulse_s": ""}, {"resistance_temperature_degC": "79"},
    {"resistance_charge_percent": "2"}])
def test_an_open_resistance_takes_no_current_off_its_own_module(open_):
    """A1 is held to 180 A of 240 A; 1.9 mΩ noted in full is what the other reading may mean."""
    noted, _ = lasting({**WEAK, "resistance_mohm": "1.90"}, SOUND)
    own, found = lasting({**WEAK, "resistance_mohm": "1.90", **open_}, SOUND)
    assert noted.reason.startswith("A1 ") and own.reason.startswith("A1 ")
    assert own.figure.number >= noted.figure.number
    assert placed(found, "A1").resistance.number >= 1.9e-3  # sag and power count the other end
    assert found.together.steady.number >= own.figure.number


def test_nor_off_the_module_beside_it():
    noted, _ = lasting({**SOUND, "resistance_mohm": "2.60"}, WEAK)
    own, _ = lasting({**SOUND, "resistance_mohm": "2.60", "resistance_temperature_degC": ""}, WEAK)
    assert noted.reason.startswith("A2 ") and own.reason.startswith("A2 ")
    assert own.figure.number >= noted.figure.number


def test_nor_off_its_string():
    def steady(at: str) -> float:
        rows = [*(nmc(f"A{i}", 22.2, 212 - i, resistance_temperature_degC=at)
                  for i in range(1, 9)), *(nmc(f"B{i}", 22.2, 200 - i) for i in range(1, 9))]
        return study(rows, "8S2P", "strings", count_undecided="yes").together.steady.number

    assert steady("") > steady("25")


@pytest.mark.parametrize("open_", [
    {"resistance_temperature_degC": ""}, {"resistance_charge_percent": ""},
    {"resistance_current_A": ""}, {"resistance_temperature_degC": "79"},
    {"resistance_charge_percent": "3"}, {"resistance_current_A": "3"}])
@pytest.mark.parametrize("raw", ["1.2", "1.9", "3.5"])
def test_the_least_is_never_above_the_reading_nor_the_most_below(raw, open_):
    row = row_of(resistance_mohm=raw, **open_)
    least, most = least_resistance(row, bench_of()), most_resistance(row, bench_of())
    assert 0.0 < least <= float(raw) * 1e-3 <= most


def test_beyond_every_ratio_the_least_is_that_of_the_type_new():
    """1.9 mΩ at 79 °C: no ratio; 10 mV over 3 A are 3.3 mΩ, more than half of 3.5 mΩ."""
    for changes in ({"resistance_mohm": "1.9", "resistance_temperature_degC": "79"},
                    {"resistance_mohm": "3.5", "resistance_current_A": "3"}):
        found = least_resistance(row_of(**changes), bench_of())
        assert found == pytest.approx(NMC.resistance_low.number)


# --- a rest voltage after the test, near its last reading ---------------------------------------

FELL = {"rest_voltage_V": "22.07", "rest_date": "2026-04-20", "lowest_cell_V": "3.676",
        "highest_cell_V": "3.681"}


@pytest.mark.parametrize(("answer", "grade"), [
    ("", "quarantine"), ("no", "quarantine"), ("unknown", "quarantine"), ("yes", "keep")])
def test_a_fall_after_the_test_is_judged_as_one_in_it(answer, grade):
    """120 mV in 21 days, less than the 130 mV that are asked about; in the test it is the same."""
    found = graded(**FELL, charged_or_drained=answer)
    within = graded(**{**FELL, "rest_voltage_V": "22.19", "rest_date": "2026-03-29",
                       "lowest_cell_V": "3.696", "highest_cell_V": "3.701"},
                    first_voltage_V="22.19", first_date="2026-03-30", second_voltage_V="22.07",
                    second_date="2026-04-20")
    assert found.grade == grade and within.grade == "quarantine" and not found.questions
    told = [c for c in found.reasons if c.title == "self-discharge" and c.verdict == FAIL]
    assert [("2026-03-30" in c.reason and "2026-04-20" in c.reason) for c in told] \
        == ([True] if grade != "keep" else [])


@pytest.mark.parametrize(("volt", "day"), [
    ("22.185", "2026-03-31"), ("22.195", "2026-03-31"), ("22.18", "2026-04-20"),
    ("22.19", "2026-04-02")])
@pytest.mark.parametrize("answer", ["", "no"])
def test_a_sound_module_keeps_its_test(volt, day, answer):
    """A day after the test the meter tells nothing: that takes nothing from four weeks before."""
    assert graded(rest_voltage_V=volt, rest_date=day, charged_or_drained=answer).grade == "keep"


def test_a_fall_that_may_be_too_much_is_undecided():
    """70 mV in 21 days: more than the meter's error, and on the flattest curve beyond the line."""
    found = graded(**{**FELL, "rest_voltage_V": "22.12", "lowest_cell_V": "3.684",
                      "highest_cell_V": "3.689"})
    assert found.grade == "undecided" and "the instrument cannot tell this" in found.why


# --- one cell and the sum -----------------------------------------------------------------------

@pytest.mark.parametrize(("cells", "grade"), [
    ({"lowest_cell_V": "3.657", "highest_cell_V": ""}, "quarantine"),
    ({"lowest_cell_V": "3.658", "highest_cell_V": ""}, "keep"),
    ({"lowest_cell_V": "", "highest_cell_V": "3.743"}, "quarantine"),
    ({"lowest_cell_V": "", "highest_cell_V": "3.742"}, "keep")])
def test_what_the_sum_leaves_the_other_cells_share(cells, grade):
    """Lowest x: (22.195 − x)/5 − x > 50 mV below 3.6575 V; highest above 3.7425 V."""
    assert graded(**cells).grade == grade


# --- the chain of a current that all modules carry ----------------------------------------------

def test_without_parallels_a_module_carries_the_packs_own_current():
    asked = brief(8, power={"peak": "40 kW", "continuous": "33 kW"})
    found = study(eight(), "8S1P", asked=asked)
    figure, whole = found.alone[1].figure, found.pack.continuous_current
    assert figure.title == LASTING and figure.value == whole.value
    assert figure.formula == whole.formula and figure.inputs == whole.inputs and figure.inputs
    assert found.alone[0].figure.inputs
