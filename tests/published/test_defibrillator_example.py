"""College physics textbook, example 17-9, A Defibrillator Capacitor: 80.0 µF, 2.50 kV, 250 J."""

import pytest

from tests.published.cases import Printed, check, label

PRINTED = [
    Printed("capacitance_for_energy", "defibrillator-example-17-9", "example 17-9, part b, solved "
            "for C", {"energy": 250.0, "voltage": 2500.0}, 80.0e-6, 0.05 / 80.0),
    Printed("energy_to_limit", "defibrillator-example-17-9", "example 17-9, part b, from 0 V",
            {"capacitance": 80.0e-6, "lower": 0.0, "upper": 2500.0}, 250.0, 0.5 / 250.0),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
