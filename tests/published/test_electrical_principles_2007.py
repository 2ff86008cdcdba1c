"""Bird, Electrical and Electronic Principles and Technology, 3rd edition (2007)."""

import pytest

from tests.published.cases import Printed, check, label

PRINTED = [
    Printed("most_power", "electrical-principles-2007",
            "chapter 13, problem 23: 30 V behind 1.5 Ω", {"voltage": 30.0, "resistance": 1.5},
            150.0, 0.5 / 150.0),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
