"""P. Gasper et al. 2022, Cell Reports Physical Science, doi:10.1016/j.xcrp.2022.101184.

DC resistance of 50 Ah NMC cells (n 32): 1.252 mΩ at 25 °C, 6.15 mΩ at −10 °C, mean of
the cells' own ratios 4.91, as computed from its published data.
"""

import pytest

from tests.published.cases import Printed, check, label

HALF_DIGIT_OF_RATIO = 0.005 / 4.91

PRINTED = [
    Printed("resistance_under_load", "gasper-2022", "DC resistance at -10 °C",
            {"resistance": 1.252e-3, "temperature_ratio": 4.91, "charge_ratio": 1.0,
             "pulse_ratio": 1.0, "growth": 1.0}, 6.15e-3, HALF_DIGIT_OF_RATIO),
    Printed("reference_resistance", "gasper-2022", "DC resistance at 25 °C",
            {"resistance": 6.15e-3, "temperature_ratio": 4.91, "charge_ratio": 1.0,
             "pulse_ratio": 1.0}, 1.252e-3, HALF_DIGIT_OF_RATIO),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
