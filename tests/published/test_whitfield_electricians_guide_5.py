"""J. Whitfield, The Electrician's Guide, 5th ed., section 4.3.8.

A semi-enclosed fuse (fusing factor 2) may be rated at no more than 0.725 times the
current-carrying capacity of the smallest conductor it protects.
"""

import pytest

from tests.published.cases import Printed, check, label

PRINTED = [
    Printed("fuse_rating_cable_limit", "whitfield-electricians-guide-5", "section 4.3.8",
            {"cable_current": 1.0, "fusing_factor": 2.0}, 0.725, 0.0005 / 0.725),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
