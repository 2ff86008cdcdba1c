"""Halliday, Resnick and Walker, Fundamentals of Physics.

8th edition, problem 30-51: a current is within 0.100 % of its final value (0.9990 of it) after
6.91 time constants. 6th edition, problem 31-60: 10.0 V on 6.70 Ω and 5.50 H; of 18.7 J that the
battery gives in 2.00 s, 5.10 J stand in the coil and 13.6 J are heat.
"""

import pytest

from tests.published.cases import Printed, check, label

KEY = "halliday-fundamentals"
AFTER = "problem 30-51, 0.100 % left after 6.91 time constants"
SIX_91 = 0.005 / 6.91

PRINTED = [
    Printed("fault_current_rise", KEY, "problem 30-51",
            {"prospective": 1.0, "time_constant": 1.0, "time": 6.91}, 0.9990, 0.00005 / 0.9990),
    Printed("settling_time", KEY, AFTER, {"time_constant": 1.0, "left": 0.00100}, 6.91, SIX_91),
    Printed("fall_from_constant", KEY, AFTER,
            {"constant": 1.0, "start": 100.0, "end": 0.100}, 6.91, SIX_91),
    Printed("joining_current", KEY, AFTER,
            {"first_current": 1.0, "time_constant": 1.0, "time": 6.91}, 0.00100, 0.005,
            "half a unit of the last digit of 6.91"),
    Printed("rising_integral", KEY, "problem 31-60, heat in 6.70 Ω over 2.00 s",
            {"prospective": 10.0 / 6.70, "time_constant": 5.50 / 6.70, "time": 2.00},
            13.6 / 6.70, 0.05 / 13.6),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
