"""Rashid, Power Electronics, 4th edition (2014), examples 2.4, 2.6 and 2.7."""

import pytest

from tests.published.cases import Printed, check, label

KEY = "power-electronics-2014"

PRINTED = [
    Printed("capacitor_energy", KEY, "example 2.4: 0.1 µF, 220 V, lost in 44 Ω",
            {"capacitance": 0.1e-6, "voltage": 220.0}, 2.42e-3, 0.005 / 2.42),
    Printed("discharge_integral", KEY, "example 2.4: 2.42 mJ turned to heat in 44 Ω",
            {"capacitance": 0.1e-6, "voltage": 220.0, "resistance": 44.0}, 2.42e-3 / 44.0,
            0.005 / 2.42),
    Printed("ringing_bound", KEY, "example 2.6: 220 V, 80 µH, 20 µF",
            {"difference": 220.0, "inductance": 80e-6, "capacitance": 20e-6}, 110.0, 0.5 / 110.0),
    Printed("closing_peak", KEY, "example 2.6: the same without resistance",
            {"difference": 220.0, "resistance": 0.0, "inductance": 80e-6, "capacitance": 20e-6},
            110.0, 0.5 / 110.0),
    Printed("damping_ratio", KEY, "example 2.7: 160 Ω, 2 mH, 0.05 µF, α 40000, ω0 100000",
            {"resistance": 160.0, "inductance": 2e-3, "capacitance": 0.05e-6},
            40000 / 100000, 1e-9, "both printed figures are exact"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
