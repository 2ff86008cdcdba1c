"""Manual of a battery monitor, page 27: what 100 Ah at 5 A leave at 10 A.

At twice the current 93 Ah are left with an exponent of 1.1 and 87 Ah with 1.2. Our rule counts
the same way from C/5: a test at twice that rate shows 93 Ah of 100 Ah.
"""

import pytest

from tests.published.cases import Printed, check, label

TWICE = 2 * 0.2 / 3600.0

PRINTED = [
    Printed("capacity_at_c5", "peukert-table", f"page 27, exponent {1 + exponent}, twice the "
            "current", {"capacity": left * 3600.0, "rate": TWICE, "exponent": exponent},
            100.0 * 3600.0, 0.5 / left, "half a unit of the last digit of the Ah left")
    for exponent, left in ((0.1, 93.0), (0.2, 87.0))
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
