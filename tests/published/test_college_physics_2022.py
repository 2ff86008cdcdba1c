"""Urone and Hinrichs, College Physics, 2nd edition (2022), chapters 21.2 and 21.6."""

import pytest

from tests.published.cases import Printed, check, label

KEY = "college-physics-2022"

PRINTED = [
    Printed("charging_time", KEY, "21.6 problem 73: 100 pF through 75.0 MΩ to 90.0 %",
            {"resistance": 75.0e6, "capacitance": 100e-12, "level": 0.90}, 1.73e-2, 0.005 / 1.73),
    Printed("discharge_time", KEY, "21.6 problem 69 b: 12.0 kV to 600 V",
            {"resistance": 1.25e3, "capacitance": 8.00e-6, "voltage": 12.0e3, "end": 600.0},
            30.0e-3, 0.05 / 30.0),
    Printed("bleed_resistance", KEY, "21.6 problem 69: 8.00 µF, 30.0 ms, 12.0 kV to 600 V",
            {"time": 30.0e-3, "capacitance": 8.00e-6, "voltage": 12.0e3, "end": 600.0},
            1.25e3, 0.005 / 1.25),
    Printed("bus_voltage_with_power", KEY, "21.2 example, 12.0 V, 0.100 Ω, 200 W in the load",
            {"voltage": 12.0, "resistance": 0.100, "power": 200.0}, 10.0, 0.05 / 10.0),
    Printed("constant_power_current", KEY, "21.2 example, 12.0 V, 0.100 Ω, 200 W in the load",
            {"open_circuit_voltage": 12.0, "resistance": 0.100, "power": 200.0}, 20.0, 0.05 / 20.0),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
