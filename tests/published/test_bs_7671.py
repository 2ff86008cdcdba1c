"""BS 7671, 18th edition: Tables 4F2A (notes), 4E1B (millivolt column) and 54.2 (constant k)."""

import pytest

from tests.published.cases import Printed, check, label

ZERO = 273.15


def full_load(ambient, factor):
    # The note cuts its factors, so one whole unit of the last digit (0.01) is open.
    return Printed("conductor_temperature", "bs-7671",
                   f"Table 4F2A note, 90 °C cable at {ambient} °C, factor {factor}",
                   {"ambient": ambient + ZERO, "rise": 60.0, "current": factor * 310.0,
                    "table_current": 310.0, "grouping_factor": 1.0}, 90.0 + ZERO,
                   60.0 * 2 * factor * 0.01 / (90.0 + ZERO),
                   "factors are cut, not rounded: one unit of the last printed digit")


PRINTED = [
    full_load(60.0, 0.70), full_load(75.0, 0.50), full_load(45.0, 0.86),
    Printed("copper_resistance", "bs-7671",
            "Table 4E1B, 95 mm², 0.49 mV/A/m for the pair at 90 °C, from 0.193 Ω/km at 20 °C",
            {"resistance": 0.193e-3, "at": 20.0 + ZERO, "temperature": 90.0 + ZERO},
            0.49e-3 / 2.0, 0.005 / 0.49),
    Printed("aluminium_constant", "bs-7671",
            "Table 54.2, separate conductor, thermoplastic up to 300 mm², 30 °C to 160 °C",
            {"start": 30.0 + ZERO, "end": 160.0 + ZERO}, 95e6, 0.5 / 95.0),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
