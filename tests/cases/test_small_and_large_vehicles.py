"""From a scooter to a bus: what small and large conversions have is read; all data invented.

Bounds are packcalc's own; they were widened where they refused what such vehicles have.
"""

from __future__ import annotations

import pytest

from packcalc.brief_keys import key
from packcalc.errors import InputErrors
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data

SCOOTER = {
    "modules": [{"label": "13s 20 Ah NMC", "count": 2}],
    "inverter": {"voltage_range": "36 V to 60 V", "dc_link_capacitance": "0.5 mF"},
    "power": {"peak": "500 W", "continuous": "250 W", "peak_duration": "5 s"},
    "regeneration": {"power": "100 W"},
    "charger": {"power": "300 W", "voltage_range": "30 V to 55 V"},
    "battery": {"coldest_start": "5 degC", "charge_lowest": "20 %", "energy_least": "0.2 kWh"},
}
BUS = {
    "modules": [{"label": "12s 300 Ah NMC", "count": 64}],
    "inverter": {"voltage_range": "520 V to 850 V", "dc_link_capacitance": "6 mF"},
    "power": {"peak": "400 kW", "continuous": "200 kW"},
    "charger": {"power": "350 kW", "voltage_range": "300 V to 900 V"},
    "station": {"voltage": "920 V", "current": "500 A"},
    "battery": {"energy_least": "200 kWh", "energy_most": "400 kWh", "coldest_start": "5 degC",
                "charge_lowest": "20 %", "mass_most": "4000 kg"},
}


@pytest.mark.parametrize("data", [SCOOTER, BUS], ids=["scooter", "bus"])
def test_a_scooter_and_a_bus_are_sized(data):
    found = study_protection(brief_from_data(data))
    assert found.pack.peak_current.known and found.items


@pytest.mark.parametrize(("section", "entry", "text"), [
    ("charger", "power", "300 W"), ("charger", "power", "1000 kW"), ("power", "peak", "350 W"),
    ("station", "voltage", "48 V"), ("station", "current", "3000 A")])
def test_what_such_a_vehicle_has_is_read(section, entry, text):
    found = brief_from_data(SCOOTER | {section: {**SCOOTER.get(section, {}), entry: text}})
    assert getattr(getattr(found, section), entry).basis == "given"


@pytest.mark.parametrize("dotted", ["power.peak", "power.continuous", "regeneration.power",
                                    "charger.power", "battery.energy_least",
                                    "battery.energy_most"])
def test_a_lost_thousand_stays_within_what_is_asked_about(dotted):
    own = key(dotted)
    assert own.least < own.odd <= 1.0


def test_a_range_of_an_inverter_that_nobody_knows_is_asked_as_a_large_one():
    data = SCOOTER | {"inverter": {"voltage_range": "unknown"}}
    with pytest.raises(InputErrors) as caught:
        brief_from_data(data)
    told = [f.wrong for f in caught.value.faults]
    assert any("300 W is odd for charging power" in words for words in told)


@pytest.mark.parametrize(("section", "entry"), [("power", "peak_duration"),
                                                ("regeneration", "duration")])
def test_a_pulse_beyond_the_cell_tables_is_told_as_that(section, entry):
    data = BUS | {section: {**BUS.get(section, {}), entry: "120 s"}}
    with pytest.raises(InputErrors, match="they end at 60 s"):
        brief_from_data(data)
