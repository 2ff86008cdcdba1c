"""Bird, Electrical and Electronic Principles and Technology, 3rd edition (2007)."""

import pytest
from packcalc.protect.strings import joined_current

from tests.published.cases import Printed, check, label

KEY = "electrical-principles-2007"
PRINTED = [
    Printed("most_power", KEY, "chapter 13, problem 23: 30 V behind 1.5 Ω",
            {"voltage": 30.0, "resistance": 1.5}, 150.0, 0.5 / 150.0),
    Printed("arc_current", KEY, "chapter 13, problem 23: a load of 1.5 Ω takes the most power, "
            "10 A of the 20 A that 30 V drive through 1.5 Ω alone",
            {"fault_current": 30.0 / 1.5}, 10.0, 1e-9, "all figures are exact"),
    Printed("time_at_power", KEY, "chapter 6, problem 16: 3 µF at 400 V give 24 kW for 10 µs",
            {"capacitance": 3e-6, "lower": 0.0, "upper": 400.0, "power": 24e3}, 10e-6,
            1e-9, "all figures are exact"),
    Printed("fed_voltage", KEY, "chapter 6, problem 16, from 0 V up to 400 V",
            {"start": 0.0, "power": 24e3, "time": 10e-6, "capacitance": 3e-6}, 400.0,
            1e-9, "all figures are exact"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)


@pytest.mark.published
def test_two_batteries_side_by_side():
    """Chapter 13, problem 20: 12 V behind 3 Ω beside 24 V behind 2 Ω, nothing drawn: 19.2 V."""
    current = joined_current(24.0 - 12.0, 0.0, 2.0, 3.0 / 2.0 - 1.0, 1)
    assert 24.0 - 2.0 * current == pytest.approx(19.2, abs=0.05)
