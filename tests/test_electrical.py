"""The pack as one source behind one resistance: scalars, arrays and both sides of the borders."""

from __future__ import annotations

import inspect

import numpy as np
import pytest
from packcalc import electrical as el
from packcalc.findings import formulas

REGISTERED = [f for f in formulas().values() if f.module == "packcalc.electrical"]

# Plausible values by parameter, three of each, in SI.
VALUES = {
    "series": (1.0, 16.0, 96.0), "parallel": (1.0, 2.0, 5.0), "module_voltage": (20.0, 21.6, 50.4),
    "module_resistance": (0.002, 0.01, 0.1), "link": (1e-4, 2e-4, 3e-4), "fuse": (3e-4, 5e-4, 0.0),
    "contactor": (2e-4, 4e-4, 0.0), "length": (0.5, 4.0, 12.0),
    "resistance_per_length": (1e-4, 7e-4, 1e-3), "modules": (0.05, 0.1, 0.3),
    "path": (0.003, 0.005, 0.01), "cables": (0.0, 0.004, 0.01),
    "module_capacity": (3.6e5, 8.6e5, 1e6), "state_of_health": (0.7, 0.88, 1.05),
    "charge": (0.1, 0.2, 1.0), "power": (0.0, 3e4, 9e4), "duration": (1.0, 10.0, 60.0),
    "voltage": (240.0, 265.0, 400.0), "capacity": (3.6e5, 7.2e5, 1.5e6),
    "open_circuit_voltage": (330.0, 345.6, 403.2), "resistance": (0.05, 0.1, 0.2),
    "current": (10.0, 150.0, 400.0), "tolerance": (0.0, 0.005, 0.01), "upper": (1.0, 0.9, 0.8),
    "lower": (0.1, 0.15, 0.0), "module_mass": (12.0, 25.0, 33.0), "first": (100.0, 200.0, 0.1),
    "second": (50.0, 60.0, 0.2), "limit": (100.0, 240.0, 720.0), "growth": (0.9, 1.0, 1.5),
    "section": (35e-6, 70e-6, 95e-6),
}


@pytest.mark.parametrize("entry", REGISTERED, ids=lambda f: f.name)
def test_scalar_equals_vector(entry):
    columns = [VALUES[name] for name in inspect.signature(entry.function).parameters]
    together = entry.function(*(np.array(c) for c in columns))
    one_by_one = [float(entry.function(*row)) for row in zip(*columns, strict=True)]
    assert np.asarray(together).tolist() == pytest.approx(one_by_one, rel=1e-14)


def test_constant_power_on_and_around_the_theoretical_maximum():
    e, r = 360.0, 0.2
    most = e * e / (4 * r)
    assert el.constant_power_current(e, r, most) == pytest.approx(e / (2 * r))
    assert el.constant_power_current(e, r, most * (1 - 1e-9)) < e / (2 * r)
    assert np.isnan(el.constant_power_current(e, r, most * (1 + 1e-9)))


def test_power_comes_back_from_the_current():
    for power in (0.0, 1.0, 5e4, 1.6e5):
        current = el.constant_power_current(360.0, 0.2, power)
        assert el.loaded_voltage(360.0, current, 0.2) * current == pytest.approx(power)


def test_available_power_is_held_at_the_bus_and_never_at_the_maximum_above_half():
    e, r = 360.0, 0.2
    assert el.available_power(240.0, e, r) == pytest.approx(240.0 * 120.0 / 0.2)
    assert el.available_power(240.0, e, r) < e * e / (4 * r)
    # On and below half the open-circuit voltage: the most there is.
    for bus in (180.0, 179.0, 100.0):
        assert el.available_power(bus, e, r) == pytest.approx(e * e / (4 * r))
    assert el.available_power(181.0, e, r) < e * e / (4 * r)


def test_no_power_is_available_from_the_open_circuit_voltage_on():
    assert el.available_power(360.0, 360.0, 0.2) == 0.0
    assert el.available_power(359.0, 360.0, 0.2) > 0.0
    assert el.available_power(361.0, 360.0, 0.2) == 0.0


def test_loaded_voltage_meets_the_bus_exactly_at_the_available_power():
    e, r, bus = 345.6, 0.15, 265.0
    power = el.available_power(bus, e, r)
    at = el.loaded_voltage(e, el.constant_power_current(e, r, power), r)
    above = el.loaded_voltage(e, el.constant_power_current(e, r, power * 1.001), r)
    assert at == pytest.approx(bus)
    assert above < bus


def test_braking_feeds_back_the_power_that_is_asked():
    voltage = el.charging_voltage(403.2, 0.15, 3e4)
    current = (voltage - 403.2) / 0.15
    assert voltage * current == pytest.approx(3e4)
    assert el.charging_voltage(403.2, 0.15, 0.0) == pytest.approx(403.2)


def test_a_single_string_has_one_fuse_more_than_a_group():
    grouped = el.grouped_path(16, 1e-4, 5e-4, 3e-4)
    assert el.strings_path(16, 1, 1e-4, 5e-4, 3e-4) == pytest.approx(grouped + 5e-4)
    assert el.strings_path(16, 4, 1e-4, 5e-4, 3e-4) == pytest.approx(grouped / 4 + 5e-4)


def test_a_limit_follows_lost_capacity_and_never_rises_above_new():
    assert el.limit_at_health(200.0, 0.8) == pytest.approx(160.0)
    assert el.limit_at_health(200.0, 1.0) == 200.0
    assert el.limit_at_health(200.0, 1.05) == 200.0


def test_only_a_growth_below_one_changes_the_resistance_of_the_highest_fault():
    assert el.resistance_at_fault(0.005, 0.999) < 0.005
    assert el.resistance_at_fault(0.005, 1.0) == 0.005
    assert el.resistance_at_fault(0.005, 1.5) == 0.005
