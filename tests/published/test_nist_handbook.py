"""NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17: modified Z-scores.

M = 0.6745·(x − median)/MAD; a reading with a score above 3.5 is labelled. Where the median
distance is 0.6745, the label begins 3.5 above the median.
"""

import pytest

from tests.published.cases import Printed, check, label

PRINTED = [
    Printed("outlier_limit", "nist-handbook", "1.3.5.17, score of 3.5 at a median distance of "
            "0.6745", {"median": 10.0, "deviation": 0.6745, "score": 3.5, "constant": 0.6745},
            13.5, 1e-9, "both constants are exact as printed"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
