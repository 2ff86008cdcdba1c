"""Pre-charge and closing step against ngspice; recorded by record_spice.py."""

import json
from pathlib import Path

import pytest

from packcalc import transients as tr
from packcalc.charging import BusLoad, LoadedBus
from packcalc.findings import leaf
from packcalc.protect.contactor import closing_peak

RECORD = json.loads(Path(__file__).with_name("spice_values.json").read_text("utf-8"))
SPICE = RECORD["values"]
CLOSE = 1e-4  # step error of the engine and its six printed digits
RAMPED = 1e-3  # the netlist wakes its load over 0.1 V, the formula at once

pytestmark = pytest.mark.oracle


def given(value, unit):
    return leaf("given", "x", unit, value, "given")


def bus(level, *loads, ohms=100.0):
    return LoadedBus(given(400.0, "V"), given(ohms, "Ω"), given(1e-3, "mF"), given(level, "%"),
                     loads)


def supply(watts):
    return BusLoad("supply", "constant power", None, given(watts, "W"), given(60.0, "V"))


def bleed(ohms):
    return BusLoad("bleed", "resistive", given(ohms, "Ω"), None, given(0.0, "V"))


def test_the_record_names_its_engine():
    assert RECORD["engine"].startswith("ngspice 3") or RECORD["engine"] >= "ngspice 39"


@pytest.mark.parametrize("name, value, tolerance", [
    ("no load, voltage at 0.1 s", tr.charged_voltage(400.0, 100.0, 1e-3, 0.1), CLOSE),
    ("no load, time to 380 V", bus(0.95).time.number, CLOSE),
    ("no load, heat in the resistor", tr.capacitor_energy(1e-3, 400.0), CLOSE),
    ("500 ohm load on 50 ohm, end", tr.divided_voltage(400.0, 50.0, 500.0), CLOSE),
    ("500 ohm load on 50 ohm, time to 340 V", bus(0.85, bleed(500.0), ohms=50.0).time.number,
     CLOSE),
    ("100 W waking at 60 V, end", tr.bus_voltage_with_power(400.0, 100.0, 100.0), CLOSE),
    ("100 W waking at 60 V, time to 360 V", bus(0.9, supply(100.0)).time.number, RAMPED),
    ("190 W waking at 60 V, end", tr.bus_voltage_with_power(400.0, 100.0, 190.0), CLOSE),
    ("100 W at 60 V and 5 kohm, time to 350 V",
     bus(0.875, bleed(5000.0), supply(100.0)).time.number, RAMPED),
    ("closing step, ringing 60 mohm", closing_peak(20.0, 0.06, 5e-6, 1e-3), CLOSE),
    ("closing step, critical 141.421356 mohm", closing_peak(20.0, 0.141421356, 5e-6, 1e-3), CLOSE),
    ("closing step, creeping 300 mohm", closing_peak(20.0, 0.3, 5e-6, 1e-3), CLOSE),
])
def test_formula_agrees_with_the_engine(name, value, tolerance):
    assert float(value) == pytest.approx(SPICE[name], rel=tolerance)


@pytest.mark.parametrize("watts, name", [(220.0, "220 W waking at 60 V, end"),
                                         (300.0, "300 W waking at 60 V, end")])
def test_a_load_above_204_w_hangs_the_bus_where_it_wakes(watts, name):
    assert tr.passing_power(400.0, 100.0, 60.0) == 204.0 < watts
    assert bus(0.5, supply(watts)).time is None
    assert SPICE[name] == pytest.approx(60.0, abs=0.1)  # within the ramp of the netlist


def test_a_hanging_bus_heats_the_resistor_although_a_steady_voltage_exists():
    heat = SPICE["300 W waking at 60 V, heat from 1 s to 2 s"]
    assert tr.bus_voltage_with_power(400.0, 100.0, 300.0) == 300.0
    assert tr.resistor_power(400.0 - 60.0, 100.0) == pytest.approx(heat, rel=1e-3)
