"""ISO 12405-4:2018, power and resistance test: 108 s at C/3 take 1 % of the charge."""

import pytest

from tests.published.cases import Printed, check, label

PRINTED = [
    Printed("current_at_rate", "iso-12405-4-pulse", "7.3, C/3 for 108 s",
            {"rate": 1 / 3, "capacity": 100 * 3600.0}, 0.01 * 100 * 3600 / 108, 0.5 / 108),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
