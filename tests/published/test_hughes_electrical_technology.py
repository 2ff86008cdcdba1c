"""Hughes, Electrical and Electronic Technology: two batteries in parallel feed 80 Ω."""

import pytest

from tests.published.cases import Printed, check, label

KEY = "hughes-electrical-technology"
# 94.66 V across 80 Ω; the printed voltage fixes the load current to 0.06 mA.
LOAD = 94.66 / 80.0

PRINTED = [
    Printed("shared_voltage", KEY, "terminal voltage",
            {"first_voltage": 100.0, "first_resistance": 5.0, "second_voltage": 95.0,
             "second_resistance": 3.0, "load": LOAD}, 94.66, 0.005 / 94.66),
    Printed("source_current", KEY, "battery A",
            {"voltage": 100.0, "bus": 94.66, "resistance": 5.0}, 1.069, 0.0015 / 1.069,
            "half a unit of the last digit of 94.66 V moves it by 1 mA"),
    Printed("source_current", KEY, "battery B",
            {"voltage": 95.0, "bus": 94.66, "resistance": 3.0}, 0.115, 0.0022 / 0.115,
            "half a unit of the last digit of 94.66 V moves it by 1.7 mA"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
