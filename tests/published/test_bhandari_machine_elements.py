"""Bhandari, Design of Machine Elements, chapter 5: a straight line on two logarithmic scales.

Example 5.6: from 567 N/mm² at 10³ cycles to 315 N/mm² at 10⁶ cycles, 386.63 N/mm² is borne
for 90 000 cycles. Example 5.7: from 540 to 100.64 N/mm², 250 N/mm² for 23 736.2 cycles.
"""

import pytest

from tests.published.cases import Printed, check, label

KEY = "bhandari-machine-elements"
PRINTED = [
    Printed("log_log_current", KEY, "example 5.6, strength at 90 000 cycles",
            {"time": 90e3, "current_1": 567.0, "time_1": 1e3, "current_2": 315.0, "time_2": 1e6},
            386.63, 0.005 / 386.63),
    Printed("log_log_time", KEY, "example 5.7, life at 250 N/mm²",
            {"current": 250.0, "current_1": 540.0, "time_1": 1e3, "current_2": 100.64,
             "time_2": 1e6}, 23736.2, 1e-3,
            "worked with logarithms of four decimals: half a unit of each moves the life by 0.1 %"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
