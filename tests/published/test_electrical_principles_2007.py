"""Bird, Electrical and Electronic Principles and Technology, 3rd edition (2007)."""

import pytest

from tests.published.cases import Printed, check, label

PRINTED = [
    Printed("most_power", "electrical-principles-2007",
            "chapter 13, problem 23: 30 V behind 1.5 Ω", {"voltage": 30.0, "resistance": 1.5},
            150.0, 0.5 / 150.0),
    Printed("joining_current", "electrical-principles-2007",
            "chapter 18, C–R transients: 20 µF and 50 kΩ on 20 V, current after 1 s",
            {"first_current": 0.4e-3, "time_constant": 1.0, "time": 1.0},
            0.147e-3, 0.0005 / 0.147,
            "half a unit of the last digit; the question was read in a stored copy, the figure in a "
            "worked answer to its twin (25 µF, 40 kΩ, 16 V: the same first current and time "
            "constant); the chapter is remembered"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
