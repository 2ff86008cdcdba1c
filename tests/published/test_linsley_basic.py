"""T. Linsley, Basic Electrical Installation Work: protective conductor for 200 A over 0.4 s.

k = 115, printed answer 1.1 mm², next standard size 1.5 mm².
"""

import pytest

from tests.published.cases import Printed, check, label

WHERE = "worked example, 200 A for 0.4 s with k = 115: 1.1 mm²"

PRINTED = [
    Printed("minimum_section", "linsley-basic", WHERE,
            {"current": 200.0, "time": 0.4, "constant": 115e6}, 1.1e-6, 0.05 / 1.1),
    Printed("cable_withstand", "linsley-basic", WHERE + ", read backwards",
            {"constant": 115e6, "area": 1.1e-6}, 200.0 ** 2 * 0.4, 2 * 0.05 / 1.1,
            "half a unit of the last digit of 1.1, squared"),
    Printed("adiabatic_time", "linsley-basic", WHERE + ", solved for the time",
            {"withstand": (115e6 * 1.1e-6) ** 2, "current": 200.0}, 0.4, 2 * 0.05 / 1.1,
            "half a unit of the last digit of 1.1, squared"),
    Printed("survivable_current", "linsley-basic", WHERE + ", solved for the current",
            {"withstand": (115e6 * 1.1e-6) ** 2, "time": 0.4}, 200.0, 0.05 / 1.1,
            "half a unit of the last digit of 1.1"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
