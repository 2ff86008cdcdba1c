"""What nobody noted of a test is no better than anything that may be stated of it.

Blank counted as 35 °C, C/10 and the least current that tells half of its fall, while a stated C/20,
40 °C or 8 A counted for worse. Every sheet is invented; the ends 60 °C, C/50 and 0.1 A are rules of
this project's own, and so is that a figure beyond them is asked about.
"""

from __future__ import annotations

import itertools

import pytest

from packcalc.bench.common import capacity_at_common, resistance_at_common
from packcalc.bench.dealt import candidates
from packcalc.bench.grade import GRADES, grade_sheet
from packcalc.bench.uncorrected import least_capacity, least_resistance, most_resistance

from .rows import GOOD, bench_of, lot_of, row_of, sheet_of
from .test_auditor_fourth import brief, nmc

LABEL = 240.0
SWEPT = {
    "capacity_current_A": [f"{rate * LABEL:g}" for rate in
                           (0.02, 0.05, 0.08, 0.1, 0.15, 0.2, 0.3, 0.5, 0.6, 1, 3)],
    "capacity_temperature_degC": [f"{t}" for t in (-20, 0, 14, 15, 20, 25, 27, 30, 35, 36, 45, 60)],
    "resistance_current_A": ["0.1", "0.5", "1", "4", "8", "11", "20", "60", "240", "500"],
    "resistance_pulse_s": ["0.1", "0.3", "1", "3", "10", "18", "30", "60"],
    "resistance_temperature_degC": [f"{t}" for t in (-20, -5, 5, 10, 20, 25, 30, 40, 50, 60)],
    "resistance_charge_percent": [f"{z}" for z in (0, 3, 5, 10, 29, 30, 31, 50, 70, 90, 100)],
}
READ = {"capacity_Ah": ("120", "160", "172", "190", "210", "238", "243"),
        "resistance_mohm": ("0.9", "1.3", "1.9", "2.6", "3.2", "4.4", "9")}
SLACK = 1e-9


def read_of(column: str) -> str:
    return "capacity_Ah" if column.startswith("capacity") else "resistance_mohm"


EACH = pytest.mark.parametrize(("column", "read"), [
    (column, read) for column in SWEPT for read in READ[read_of(column)]])


@EACH
def test_a_reading_means_no_better_for_what_was_not_noted(column, read):
    bench = bench_of()
    open_ = row_of(**{read_of(column): read, column: ""})
    for at in SWEPT[column]:
        said = row_of(**{read_of(column): read, column: at})
        assert least_capacity(open_) <= least_capacity(said) * (1 + SLACK)
        assert most_resistance(open_, bench) >= most_resistance(said, bench) * (1 - SLACK)
        assert least_resistance(open_, bench) <= least_resistance(said, bench) * (1 + SLACK)
        capacity = capacity_at_common(said, bench).value
        assert not capacity.known or least_capacity(open_) <= capacity.number * (1 + SLACK)
        resistance = resistance_at_common(said, bench).value
        assert not resistance.known \
            or most_resistance(open_, bench) >= resistance.number * (1 - SLACK)


@EACH
def test_no_grade_is_better_for_what_was_not_noted(column, read):
    def grade(at: str) -> int:
        own = {**GOOD, read_of(column): read, column: at}
        return GRADES.index(lot_of(own, bench=bench_of(modules_in_pack=16)).modules[0].grade)

    assert all(grade("") <= grade(at) for at in SWEPT[column])


@pytest.mark.parametrize("columns", list(itertools.combinations(SWEPT, 2)))
def test_nor_for_two_of_them(columns):
    """Either left out beside the other, which stands at each end and between."""
    one, two = columns
    for read, at in itertools.product(("1.3", "2.6", "4.4"), SWEPT[two][::3]):
        def grade(first: str, second: str, own: str = read) -> int:
            row = {**GOOD, "resistance_mohm": own, one: first, two: second}
            return GRADES.index(lot_of(row, bench=bench_of(modules_in_pack=16)).modules[0].grade)

        both = grade("", "")
        for value in SWEPT[one][::3]:
            assert both <= grade(value, at) and grade("", at) <= grade(value, at)


@pytest.mark.parametrize("column", SWEPT)
def test_what_is_counted_of_a_lot_is_no_better(column):
    """A poor reading left out of the middle bettered what was expected of one not measured."""
    def counted(at: str) -> tuple[list[float], list[float]]:
        poor = {"capacity_Ah": "185"} if column.startswith("capacity") else \
            {"resistance_mohm": "2.4"}
        rows = [nmc("A1", 22.2, **poor, **{column: at}), nmc("A2", 22.2, 212), nmc("A3", 22.2, 214),
                nmc("A4", 22.2, capacity_Ah="", resistance_mohm="")]
        asked = brief(4, count_undecided="yes", pack_voltage="450 V")
        lot = grade_sheet(sheet_of(*rows), brief=asked)
        found = {d.mark: d for d in candidates(asked.modules[0], lot, True)}
        assert {"A1", "A4"} <= found.keys()
        return ([found[mark].capacity.number for mark in ("A1", "A4")],
                [found[mark].resistance.number for mark in ("A1", "A4")])

    capacity, resistance = counted("")
    for at in SWEPT[column]:
        other, more = counted(at)
        assert all(a <= b * (1 + SLACK) for a, b in zip(capacity, other, strict=True))
        assert all(a >= b * (1 - SLACK) for a, b in zip(resistance, more, strict=True))


@pytest.mark.parametrize(("column", "at", "words"), [
    ("capacity_temperature_degC", "61", "hotter than any bench test (60.00 °C at most)"),
    ("capacity_current_A", "4.7", "slower than any bench test"),
    ("resistance_current_A", "0.09", "less than any pulse of a bench (0.1000 A at least)")])
def test_what_is_stated_beyond_the_ends_is_asked_about_by_name(column, at, words):
    lot = lot_of({**GOOD, column: at})
    assert [column in str(q) and words in str(q) for q in lot.questions] == [True]
    assert lot.modules[0].grade == "undecided"
    inside = {"61": "60", "4.7": "4.8", "0.09": "0.1"}[at]
    assert not lot_of({**GOOD, column: inside}).questions
