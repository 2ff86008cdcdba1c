"""JCGM 100:2008 (GUM), H.1.6, and the EURACHEM/CITAC guide (2012), example A1.

H.1.6: 5.8 nm, 3.9 nm and 6.7 nm together make 9.7 nm. A1: a calibration standard of
1002.7 mg/l; temperature within 0.084 ml of 100 ml leaves 0.486284 mg/l, the flask 0.40935 mg/l,
its filling 0.20054 mg/l; the volume, all three together, 0.666525 mg/l (unrounded budget).
"""

import pytest

from tests.published.cases import Printed, check, label

QUAM = "eurachem-quam-2012"
PRINTED = [
    Printed("combined_uncertainty", "jcgm-100", "H.1.6, difference of two gauges",
            {"first": 5.8, "second": 3.9, "third": 6.7}, 9.7, 0.05 / 9.7),
    Printed("combined_uncertainty", QUAM, "example A1, volume",
            {"first": 0.486284, "second": 0.40935, "third": 0.20054}, 0.666525, 1e-5,
            "half a unit of the last digit of 0.40935"),
    Printed("rectangular_uncertainty", QUAM, "example A1, temperature of the flask",
            {"half_width": 0.084 / 100.0}, 0.486284 / 1002.7, 1e-4,
            "1002.7 is printed to one decimal and is 1002.6997 unrounded"),
    Printed("rectangular_uncertainty", QUAM, "example A1, purity 0.9999 ± 0.0001",
            {"half_width": 0.0001}, 0.0578967 / 1002.7 * 0.9999, 1e-4,
            "1002.7 is printed to one decimal and is 1002.6997 unrounded"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
