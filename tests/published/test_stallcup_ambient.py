"""J. Stallcup, Applying correction factors: 10 AWG at 120 °F, 40 A × 0.82 = 32.8 A."""

import pytest

from tests.published.cases import Printed, check, label

PRINTED = [
    Printed("corrected_current", "stallcup-ambient", "10 AWG, 90 °C insulation, 120 °F",
            {"table_current": 40.0, "ambient_factor": 0.82, "grouping_factor": 1.0}, 32.8,
            0.05 / 32.8),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
