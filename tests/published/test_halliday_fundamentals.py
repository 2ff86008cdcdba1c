"""D. Halliday, R. Resnick, J. Walker, Fundamentals of Physics, 8th ed., chapter 30."""

import pytest

from tests.published.cases import Printed, check, label

PRINTED = [
    # The current reaches 0.9990 of its final value after 6.91 time constants.
    Printed("fault_current_rise", "halliday-fundamentals", "problem 30-51",
            {"prospective": 1.0, "time_constant": 1.0, "time": 6.91}, 0.9990, 0.00005 / 0.9990),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
