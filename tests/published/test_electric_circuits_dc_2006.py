"""Kuphaldt, Lessons in Electric Circuits, volume I (DC), 5th edition (2006), chapter 16."""

import pytest

from tests.published.cases import Printed, check, label

KEY = "electric-circuits-dc-2006"

PRINTED = [
    Printed("charged_voltage", KEY, "15 V, 10 kΩ, 100 µF after 7.25 s",
            {"voltage": 15.0, "resistance": 10e3, "capacitance": 100e-6, "time": 7.25},
            14.989, 0.0005 / 14.989),
    Printed("loaded_charging_time", KEY, "solving for unknown time: 0 to 12.970 V",
            {"voltage": 15.0, "resistance": 10e3, "capacitance": 100e-6, "power": 0.0,
             "start": 0.0, "end": 12.970}, 2.0, 2.5e-4 / 2.0,
            "half a unit of the last digit of 12.970 V moves the time by 0.25 ms"),
    Printed("resistance_for_time", KEY, "solving for unknown time, turned round",
            {"time": 2.0, "capacitance": 100e-6, "level": 12.970 / 15.0}, 10e3, 2.5e-4 / 2.0,
            "half a unit of the last digit of 12.970 V"),
    Printed("divided_voltage", KEY, "complex circuits: 20 V, 2 kΩ + 3 kΩ, 500 Ω",
            {"voltage": 20.0, "resistance": 5000.0, "load_resistance": 500.0},
            1.8182, 0.00005 / 1.8182),
    Printed("parallel_resistance", KEY, "complex circuits: 5 kΩ beside 500 Ω (netlist)",
            {"resistance": 5000.0, "load_resistance": 500.0}, 454.545, 0.0005 / 454.545),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
