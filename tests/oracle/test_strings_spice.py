"""Sharing, joining and capacitor heat against ngspice; recorded by record_strings.py."""

import json
from pathlib import Path

import pytest
from packcalc.protect.branch_figures import discharge_integral
from packcalc.protect.strings import (
    best_string_share,
    joined_current,
    joining_current,
    joining_time_constant,
    series_capacitance,
)

RECORD = json.loads(Path(__file__).with_name("strings_values.json").read_text("utf-8"))
SPICE = RECORD["values"]
CLOSE = 2e-6  # seven printed digits
STEPPED = 2e-3  # step error and the first step of a discharge

pytestmark = pytest.mark.oracle


def test_the_record_names_its_engine():
    assert RECORD["engine"].startswith("ngspice")


@pytest.mark.parametrize("name, difference, flow, ohms, other, others", [
    ("two strings, 150 A, first", 5.0, 150.0, 0.10, 0.12, 1),
    ("two strings, no load, first", 5.0, 0.0, 0.10, 0.12, 1),
    ("three strings, middle open, 200 A, third", -2.0, 200.0, 0.16, 0.10, 1),
    ("three strings, others alike, 200 A, first", 5.0, 200.0, 0.10, 0.12, 2),
])
def test_sharing_agrees_with_the_engine(name, difference, flow, ohms, other, others):
    assert joined_current(difference, flow, ohms, other / ohms - 1.0, others) == pytest.approx(
        SPICE[name], rel=CLOSE)


def test_charging_a_low_string_agrees_with_the_engine():
    # into it, where the record counts what it gives
    assert joined_current(5.0, 60.0, 0.12, 0.10 / 0.12 - 1.0, 1) == pytest.approx(
        -SPICE["two strings, charging 60 A, second"], rel=CLOSE)


def test_bus_voltage_of_two_strings():
    assert 352.0 - 0.10 * joined_current(5.0, 150.0, 0.10, 0.20, 1) == pytest.approx(
        SPICE["two strings, 150 A, bus"], rel=CLOSE)


def test_share_of_the_best_string_agrees_with_the_engine():
    assert 200.0 * best_string_share(3, 0.20) == pytest.approx(
        SPICE["three even voltages, 200 A, first"], rel=CLOSE)


@pytest.mark.parametrize("name, seconds", [("joining, after 1 s", 1.0),
                                           ("joining, after 10 min", 600.0),
                                           ("joining, after 60 min", 3600.0)])
def test_joining_current_falls_as_the_engine_says(name, seconds):
    pair = series_capacitance(4000.0, 4000.0)
    tau = joining_time_constant(0.25, 0.25, pair)
    assert tau == 1000.0
    assert joining_current(7.0 / 0.5, tau, seconds) == pytest.approx(SPICE[name], rel=1e-4)


@pytest.mark.parametrize("ohms, name", [(0.02, "emptying through 20 mohm"),
                                        (0.1, "emptying through 100 mohm")])
def test_heat_of_an_emptying_capacitor(ohms, name):
    assert discharge_integral(50e-6, 411.0, ohms) == pytest.approx(SPICE[name], rel=STEPPED)
