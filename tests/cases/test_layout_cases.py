"""Designed corners of a layout; the module is invented, arithmetic is here.

24 cells of 46 Ah whose rest voltage is a straight line from 2.10 V at 10 % to 2.50 V at 90 %
(measured by the user, so no class curve stands in the way), 6 mΩ, 80 % of its capacity left,
1.25 times its resistance. Ratios are the class's own rows: 2.7 at 0 °C and low charge, 2.5 at
0 °C, 1.6 at 10 °C; 1.38 at 10 % and 1.18 at 90 % charge; 1.7 for 60 s against 10 s.
"""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest
from packcalc.layouts import Layout, Part, asks_of
from packcalc.misses import explain
from packcalc.pack import model_pack
from packcalc.screening import screen_one

from tests.briefs import asked

MODULE = {"id": "invented", "title": "invented 24s 46 Ah", "chemistry": "LTO",
          "cells_in_series": 24, "cells_in_parallel": 1, "capacity": "46 Ah",
          "rest_voltages": {"10 %": "2.10 V", "50 %": "2.30 V", "90 %": "2.50 V"},
          "resistance": "6 mΩ", "resistance_pulse": "10 s", "resistance_temperature": "25 degC",
          "resistance_charge": "50 %", "mass": "20 kg", "continuous_current": "150 A",
          "peak_current": "400 A", "charge_rate": 0.5, "count": 16, "state_of_health": "80 %",
          "resistance_growth": 1.25}
CHANGES = {"inverter__voltage_range": "260 V to 500 V", "inverter__absolute_maximum": "520 V",
           "battery__charge_highest": "90 %", "battery__coldest_start": "0 degC",
           "charger__voltage_range": "100 V to 520 V"}
GROUPED = Layout((Part(0, 8),), 2, "grouped")
STRINGS = Layout((Part(0, 8),), 2, "strings")

# 9 links of 0.1 mΩ, a fuse of 0.4 mΩ, two contactors of 0.3 mΩ; 2 · 4 m of 35 mm² at 90 °C.
PATH = (9 * 0.1 + 0.4 + 2 * 0.3) * 1e-3
CABLES = 2 * 4 * 0.565e-3 * 324.5 / 254.5
CAPACITY = 2 * 46 * 0.8 * 3600  # C


def brief_of(**changes):
    return asked([MODULE], **{**CHANGES, **changes})


def row_of(brief, layout=GROUPED, **changes):
    row = screen_one(brief, replace(asks_of(brief), **changes), layout)
    return {k: float(v[0]) for k, v in row.columns.items()}


def ending_at_ten_percent(power, duration):
    """Charge before the peak that leaves 10 % at its end: P·t/(280 V · Q) more."""
    return 0.10 + power * duration / (280.0 * CAPACITY)


def test_sag_cold_aged_and_nearly_empty_at_the_end_of_the_peak():
    # E = 8 · 24 · 2.10 V = 403.2 V
    # R = 8/2 · 6 mΩ · 2.7 · 1.38 · 1.0 · 1.25 + 1.9 mΩ + 5.763 mΩ = 119.44 mΩ
    # I = 2 · 60 kW/(403.2 + √(403.2² − 4 · 0.11944 · 60 000)) = 156.0 A; U = 384.6 V
    found = row_of(brief_of(), charge_lowest=ending_at_ten_percent(60e3, 10.0))
    resistance = 4 * 0.006 * 2.7 * 1.38 * 1.25 + PATH + CABLES
    assert resistance == pytest.approx(0.11944, rel=1e-4)
    current = 2 * 60e3 / (403.2 + sqrt(403.2 ** 2 - 4 * resistance * 60e3))
    assert found["charge_left"] == pytest.approx(0.10)
    assert found["peak_current"] == pytest.approx(current) == pytest.approx(156.0, abs=0.05)
    assert found["loaded_voltage"] == pytest.approx(403.2 - current * resistance)
    assert found["loaded_voltage"] == pytest.approx(384.6, abs=0.05)
    assert found["available_power"] == pytest.approx(280 * (403.2 - 280) / resistance)


def test_strings_share_their_path_and_have_a_main_fuse_behind():
    # ((0.9 + 0.4 + 0.6)/2 + 0.4) mΩ = 1.35 mΩ in place of 1.9 mΩ
    found = row_of(brief_of(), STRINGS, charge_lowest=ending_at_ten_percent(60e3, 10.0))
    resistance = 4 * 0.006 * 2.7 * 1.38 * 1.25 + 1.35e-3 + CABLES
    assert found["available_power"] == pytest.approx(280 * (403.2 - 280) / resistance)


@pytest.mark.parametrize("power, deliverable", [(360e3, True), (362e3, False)])
def test_a_power_beyond_what_the_resistance_passes_has_no_solution(power, deliverable):
    # For 1 s, 0.94 of the 10 s figure: R = 4 · 6 mΩ · 2.7 · 1.38 · 0.94 · 1.25 + 7.663 mΩ
    # = 112.7 mΩ; E²/(4·R) = 360.5 kW; with 280 V held 280 · 123.2/0.1127 = 306.0 kW
    resistance = 4 * 0.006 * 2.7 * 1.38 * 0.94 * 1.25 + PATH + CABLES
    assert 403.2 ** 2 / (4 * resistance) == pytest.approx(360.5e3, rel=1e-4)
    brief = brief_of()
    asks = replace(asks_of(brief), peak=power, peak_duration=1.0,
                   charge_lowest=ending_at_ten_percent(power, 1.0))
    row = screen_one(brief, asks, GROUPED)
    held = float(row.columns["available_power"][0])
    assert held == pytest.approx(280 * (403.2 - 280) / resistance)
    assert held == pytest.approx(306.0e3, rel=1e-3)
    fails = explain(brief, asks, row, 0).fails
    if deliverable:
        assert "sags to 209" in fails  # (403.2 + √(403.2² − 4 · 0.11274 · 360 000))/2
    else:
        assert "cannot deliver 362 kW at 0 °C and 10 % charge left" in fails
        assert "at most 306 kW with 280 V held" in fails


def test_braking_into_a_full_cold_pack_from_the_chargers_upper_end():
    # E = 8 · 24 · 2.50 V · 1.01 = 484.8 V
    # R = 8/2 · 6 mΩ · 2.5 · 1.18 · 1.25 + 7.663 mΩ = 96.16 mΩ
    # U = (484.8 + √(484.8² + 4 · 0.09616 · 20 000))/2 = 488.7 V
    found = row_of(brief_of(battery__coldest_closed="0 degC"))
    resistance = 4 * 0.006 * 2.5 * 1.18 * 1.25 + PATH + CABLES
    expected = (484.8 + sqrt(484.8 ** 2 + 4 * resistance * 20e3)) / 2
    assert found["full_voltage"] == pytest.approx(484.8)
    assert found["highest_voltage"] == pytest.approx(expected) == pytest.approx(488.7, abs=0.05)


def test_braking_held_to_the_charge_limit_is_worst_where_the_full_rate_begins():
    # From 15 °C: 0.5/h · 2 · 46 Ah · 80 % = 36.8 A; k_T = 1.6 − 0.6 · 5/15 = 1.4
    # R = 4 · 6 mΩ · 1.4 · 1.18 · 1.25 + 7.663 mΩ = 57.22 mΩ
    # U = 484.8 V + 36.8 A · 57.22 mΩ = 486.9 V
    # From 5 °C: 14.72 A · 80.12 mΩ → 486.0 V; at 0 °C nothing may be charged.
    found = row_of(brief_of(regeneration__follows_charge_limit="yes"))
    resistance = 4 * 0.006 * 1.4 * 1.18 * 1.25 + PATH + CABLES
    assert found["highest_voltage"] == pytest.approx(484.8 + 36.8 * resistance)
    assert found["highest_voltage"] == pytest.approx(486.9, abs=0.05)


def test_never_warmer_than_fourteen_degrees_the_middle_band_governs():
    found = row_of(brief_of(regeneration__follows_charge_limit="yes"), hottest=287.15)
    resistance = 4 * 0.006 * 2.05 * 1.18 * 1.25 + PATH + CABLES  # k_T at 5 °C
    assert found["highest_voltage"] == pytest.approx(484.8 + 14.72 * resistance)


def test_continuous_power_cold_at_the_lowest_charge_with_the_long_pulse():
    # R = 4 · 6 mΩ · 2.7 · 1.38 · 1.7 · 1.25 + 7.663 mΩ = 197.7 mΩ
    # P = 260 V · (403.2 − 260) V/0.1977 Ω = 188.4 kW
    found = row_of(brief_of())
    resistance = 4 * 0.006 * 2.7 * 1.38 * 1.7 * 1.25 + PATH + CABLES
    assert found["continuous_power"] == pytest.approx(260 * (403.2 - 260) / resistance)
    assert found["continuous_power"] == pytest.approx(188.4e3, rel=1e-3)


def test_a_bus_below_half_the_open_circuit_voltage_gives_the_most_in_theory():
    # 0.5 · 403.2 V = 201.6 V: with 190 V allowed the bus is still held at 201.6 V.
    found = row_of(brief_of(), voltage_low=190.0)
    resistance = 4 * 0.006 * 2.7 * 1.38 * 1.7 * 1.25 + PATH + CABLES
    assert found["continuous_power"] == pytest.approx(403.2 ** 2 / (4 * resistance))


def test_usable_energy_of_a_straight_curve():
    # 2 · 46 Ah · 80 % · (90 − 10) % · 8 · 24 · 2.30 V = 26.0 kWh
    found = row_of(brief_of())
    assert found["usable_energy"] / 3.6e6 == pytest.approx(2 * 46 * 0.8 * 0.8 * 441.6 / 1000)
    assert found["mean_voltage"] == pytest.approx(441.6)


def test_one_string_out_at_its_own_charge_and_resistance():
    # Alone a string loses twice the charge; its path has the whole 1.9 mΩ and the main fuse.
    before = ending_at_ten_percent(60e3, 10.0)
    brief = brief_of(battery__charge_lowest=f"{100 * before:.6f} %")
    alone = [c for c in model_pack(brief, STRINGS).corners
             if c.strings == 1 and c.charge < 0.5 and c.temperature < 280 and c.age == "aged"]
    assert len(alone) == 1
    left = before - 2 * (before - 0.10)
    assert alone[0].charge == pytest.approx(left, rel=1e-6)
    # 2.10 V at 10 %; below the first point the line runs to 1.80 V at 0 %.
    e = 8 * 24 * (1.80 + 0.30 * left / 0.10)
    k_z = 1.43 + (1.38 - 1.43) * (left - 0.05) / 0.05
    r = 8 * 0.006 * 2.7 * k_z * 1.25 + PATH + 0.4e-3 + CABLES
    assert alone[0].open_circuit == pytest.approx(e, rel=1e-6)
    assert alone[0].resistance == pytest.approx(r, rel=1e-6)


def test_the_hot_aged_corner_of_a_long_climb():
    # 40 °C counts as 25 °C: no gain is taken above it. 25 kW, 60 s.
    brief = brief_of(battery__charge_lowest=f"{100 * ending_at_ten_percent(60e3, 10.0):.6f} %")
    hot = [c for c in model_pack(brief, GROUPED).corners
           if c.charge < 0.5 and c.temperature > 300 and c.age == "aged"]
    r = 4 * 0.006 * 1.38 * 1.7 * 1.25 + PATH + CABLES
    current = 2 * 25e3 / (403.2 + sqrt(403.2 ** 2 - 4 * r * 25e3))
    assert hot[0].steady == pytest.approx(403.2 - current * r, rel=1e-6)


def test_currents_of_one_module_against_its_real_capacity():
    # 60 kW/280 V/2 = 107.1 A of a module with 36.8 Ah left: 2.911 capacities an hour.
    pack = model_pack(brief_of(), GROUPED)
    assert pack.module_peak_current.number == pytest.approx(60e3 / 280 / 2)
    assert pack.module_rate.number * 3600 == pytest.approx(60e3 / 280 / 2 / 36.8)
    assert pack.module_peak_limit.number == pytest.approx(400 * 0.8)


def test_two_types_in_series_add_their_volts_and_keep_the_weaker_capacity():
    # 4 · 24 cells of 46 Ah · 80 % and 2 · 20 cells of 60 Ah · 70 % (42 Ah): the first is
    # weaker.
    second = {**MODULE, "id": "second", "title": "invented 20s 60 Ah", "cells_in_series": 20,
              "capacity": "60 Ah", "state_of_health": "70 %", "resistance": "4 mΩ",
              "resistance_growth": 1.5, "mass": "22 kg"}
    brief = asked([MODULE, second], mix="series", **CHANGES)
    layout = Layout((Part(0, 4), Part(1, 2)), 2, "grouped")
    found = row_of(brief, layout)
    assert found["capacity"] == pytest.approx(2 * 46 * 0.8 * 3600)
    assert found["full_voltage"] == pytest.approx((4 * 24 + 2 * 20) * 2.50 * 1.01)
    assert found["mass"] == pytest.approx(2 * (4 * 20 + 2 * 22))
    # R = (4 · 6 mΩ · 1.25 + 2 · 4 mΩ · 1.5)/2 · 2.7 · 1.38 · 1.7 and 7 links, fuse, contactors,
    # cables
    r = (4 * 0.006 * 1.25 + 2 * 0.004 * 1.5) / 2 * 2.7 * 1.38 * 1.7
    r += (7 * 0.1 + 0.4 + 0.6) * 1e-3 + CABLES
    e = (4 * 24 + 2 * 20) * 2.10
    assert found["continuous_power"] == pytest.approx(260 * (e - 260) / r)
    assert model_pack(brief, layout).channels == 2 * (4 * 24 + 2 * 20)
