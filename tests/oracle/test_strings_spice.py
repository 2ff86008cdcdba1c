"""Sharing, joining and capacitor heat against ngspice; recorded by record_strings.py."""

import json
from pathlib import Path

import numpy as np
import pytest
from packcalc.protect.branch_figures import discharge_integral
from packcalc.protect.strings import (
    joining_current,
    joining_time_constant,
    series_capacitance,
    share_currents,
    shared_voltage,
)

RECORD = json.loads(Path(__file__).with_name("strings_values.json").read_text("utf-8"))
SPICE = RECORD["values"]
CLOSE = 2e-6  # seven printed digits
STEPPED = 2e-3  # step error and the first step of a discharge

pytestmark = pytest.mark.oracle
TWO = ([352.0, 347.0], [0.10, 0.12])
THREE = ([352.0, 347.0, 350.0], [0.10, 0.12, 0.16])
ONE_OPEN = ([352.0, 0.0, 350.0], [0.10, np.inf, 0.16])


def test_the_record_names_its_engine():
    assert RECORD["engine"].startswith("ngspice")


def test_bus_voltage_of_two_strings():
    assert shared_voltage(352.0, 0.10, 347.0, 0.12, 150.0) == pytest.approx(
        SPICE["two strings, 150 A, bus"], rel=CLOSE)
    assert share_currents(*TWO, 150.0)[0] == pytest.approx(
        SPICE["two strings, 150 A, bus"], rel=CLOSE)


@pytest.mark.parametrize("name, strings, load, index, bars", [
    ("two strings, 150 A, first", TWO, 150.0, 0, {}),
    ("two strings, no load, first", TWO, 0.0, 0, {}),
    ("two strings, charging 60 A, second", TWO, -60.0, 1, {}),
    ("three strings, 200 A, second", THREE, 200.0, 1, {}),
    ("three strings, middle open, 200 A, third", ONE_OPEN, 200.0, 2, {}),
    ("three strings, 5 mohm bars, diagonal, first", THREE, 200.0, 0, {"bus_segment": 0.005}),
    ("three strings, 5 mohm bars, diagonal, third", THREE, 200.0, 2, {"bus_segment": 0.005}),
    ("three strings, 5 mohm bars, one end, third", THREE, 200.0, 2,
     {"bus_segment": 0.005, "diagonal": False}),
])
def test_sharing_agrees_with_the_engine(name, strings, load, index, bars):
    _, currents = share_currents(*strings, load, **bars)
    assert currents[index] == pytest.approx(SPICE[name], rel=CLOSE)


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
