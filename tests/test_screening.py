"""Which layouts are tried, and every check on, just within and just beyond its limit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from packcalc import electrical as el
from packcalc import modules as mod
from packcalc import screening
from packcalc.layouts import CHECKS, Layout, Part, asks_of
from packcalc.screening import blocks, charge_edges, screen_one

from tests.briefs import asked, module

EIGHT = Layout((Part(0, 8),), 2, "grouped")
A_LITTLE = 1e-6


def screened(brief, entries=(0,), **ends):
    return list(blocks(brief, entries, asks_of(brief), **ends))


def choices(found):
    return {(tuple(block.series[i]), int(block.parallel[i]), bool(block.strings[i]))
            for block in found for i in range(len(block))}


def one(layout=EIGHT, brief=None, **changes):
    """One row under changed demands: its figures and its failed checks."""
    brief = brief or asked()
    row = screen_one(brief, replace(asks_of(brief), **changes), layout)
    return {k: float(v[0]) for k, v in row.columns.items()}, row.failed(0)


# --- which layouts --------------------------------------------------------------------

def test_every_layout_that_the_count_allows_is_tried_once():
    expected = {((s,), p, strings) for s in range(1, 21) for p in range(1, 21)
                for strings in (False, True) if s * p <= 20 and (p > 1 or not strings)}
    found = screened(asked())
    assert choices(found) == expected
    assert sum(map(len, found)) == len(expected)


@pytest.mark.parametrize("arrangement, strings", [("grouped", {False}), ("strings", {True})])
def test_the_brief_may_ask_for_one_arrangement(arrangement, strings):
    found = choices(screened(asked(arrangement=arrangement)))
    assert {s for _, p, s in found if p > 1} == strings
    # One string alone is both.
    assert {s for _, p, s in found if p == 1} == {False}
    assert len(found) == len({(s, p) for s, p, _ in choices(screened(asked()))})


def test_one_module_makes_one_layout():
    assert choices(screened(asked([module(count=1)]))) == {((1,), 1, False)}


def test_the_ends_of_the_grid_hold_with_any_count():
    found = choices(screened(asked([module(count=100000)]), most_series=7, most_parallel=3))
    assert {s for (s,), _, _ in found} == set(range(1, 8))
    assert {p for _, p, _ in found} == {1, 2, 3}
    assert len(found) == 7 * (3 + 2)


def test_blocks_cut_the_rows_and_change_nothing(monkeypatch):
    whole = screened(asked())
    monkeypatch.setattr(screening, "BLOCK", 7)
    cut = screened(asked())
    assert len(cut) == 11 and len(whole) == 1

    def order(blocks):
        return np.lexsort([np.concatenate([getattr(b, name).reshape(len(b), -1)[:, 0]
                                           for b in blocks])
                           for name in ("series", "parallel", "strings")])
    for name, column in whole[0].columns.items():
        joined = np.concatenate([block.columns[name] for block in cut])
        assert np.array_equal(joined[order(cut)], column[order(whole)], equal_nan=True), name
    # a block is cut between series choices; the longest has 20 in parallel, 39 rows
    assert max(map(len, cut)) <= 39


PAIR = [module(), module(id="invented-4s", cells_in_series=4, resistance="3 mΩ",
                         resistance_1khz="1.7 mΩ", mass="9 kg", count=12)]


def test_two_types_in_series_are_tried_wherever_they_could_come_near():
    brief = asked(PAIR, mix="series")
    asks = asks_of(brief)
    volts = [float(mod.ocv_high(o.module, asks.charge_highest)) for o in brief.modules]
    expected = set()
    for a in range(1, 21):
        for b in range(1, 13):
            full = a * volts[0] + b * volts[1]
            if asks.demand_voltage <= full <= screening.FAR_OVER * asks.absolute_maximum:
                expected |= {((a, b), p, s) for p in range(1, min(20 // a, 12 // b) + 1)
                             for s in (False, True) if p > 1 or not s}
    assert choices(screened(brief, (0, 1))) == expected


def test_two_types_with_many_modules_stay_small():
    pair = [module(count=15000), module(id="b", cells_in_series=10, count=15000)]
    found = choices(screened(asked(pair, mix="series"), (0, 1), most_parallel=3))
    assert 0 < len(found) < 5000


# --- scalars and arrays ---------------------------------------------------------------

@pytest.mark.parametrize("name, values", [
    ("coldest", [253.15, 273.15, 283.15, 298.15]), ("hottest", [293.15, 313.15, 330.0, 333.15]),
    ("peak", [1e3, 3e4, 6e4, 5e5]), ("peak_duration", [1.0, 10.0, 30.0, 60.0]),
    ("continuous", [1e3, 2e4, 1e5]), ("regeneration", [0.0, 2e4, 1e5]),
    ("charge_highest", [0.5, 0.77, 0.9, 1.0]), ("charge_lowest", [0.0, 0.1, 0.2, 0.4]),
    ("charging", [1e3, 6.6e3, 1e5]), ("energy_least", [3.6e6, 3.6e8]),
    ("mass_most", [100.0, 900.0]), ("charger_high", [300.0, 500.0])])
@pytest.mark.parametrize("follows", [True, False])
def test_many_values_of_a_demand_at_once_are_each_alone(name, values, follows):
    brief = asked()
    asks = replace(asks_of(brief), follows_charge_limit=follows)
    layout = Layout((Part(0, 8),), 2, "strings")
    together = screen_one(brief, replace(asks, **{name: np.array(values)}), layout, len(values))
    for i, value in enumerate(values):
        alone = screen_one(brief, replace(asks, **{name: value}), layout)
        for mine, other in ((together.columns, alone.columns), (together.margins, alone.margins)):
            for key in mine:
                assert mine[key][i] == pytest.approx(other[key][0], rel=1e-12, nan_ok=True), key


def test_a_row_of_the_grid_is_the_layout_alone():
    brief = asked()
    found = screened(brief)[0]
    for i in range(0, len(found), 9):
        alone = screen_one(brief, asks_of(brief), found.layout(i))
        for key, column in found.columns.items():
            assert column[i] == pytest.approx(alone.columns[key][0], rel=1e-12, nan_ok=True)


# --- every check at its limit ---------------------------------------------------------

@pytest.mark.parametrize("check, demand, figure, sign", [
    ("highest_voltage", "absolute_maximum", "highest_voltage", 1),
    ("full_charge", "voltage_high", "full_voltage", 1),
    ("continuous_power", "continuous", "continuous_power", -1),
    ("energy_least", "energy_least", "usable_energy", -1),
    ("energy_most", "energy_most", "usable_energy", 1),
    ("mass", "mass_most", "mass", 1),
    ("charger_window", "charger_high", "full_voltage", 1),
    ("charger_window", "charger_low", "empty_voltage", -1),
])
def test_a_limit_holds_on_itself_and_fails_just_beyond(check, demand, figure, sign):
    figures, _ = one()
    limit = figures[figure]
    for step, fails in ((1, False), (0, False), (-1, True)):
        _, failed = one(**{demand: limit * (1 + sign * step * A_LITTLE)})
        assert (check in failed) is fails, step


@pytest.mark.parametrize("check, demand, limit", [
    # 2 modules · 400 A · 80 % at 280 V; 2 · 150 A · 80 % at 260 V
    ("peak_current", "peak", 2 * 400 * 0.8 * 280.0),
    ("continuous_current", "continuous", 2 * 150 * 0.8 * 260.0)])
def test_currents_are_held_against_the_real_capacity(check, demand, limit):
    for step, fails in ((-1, False), (0, False), (1, True)):
        _, failed = one(**{demand: limit * (1 + step * A_LITTLE)})
        assert (check in failed) is fails, step


def test_charging_is_held_against_the_warm_limit_at_the_real_capacity():
    brief = asked()
    low = 8 * float(mod.ocv_low(brief.modules[0].module, 0.1))
    limit = 2 * 0.5 * 100 * 0.8 * low  # two modules at half their real capacity an hour
    for step, fails in ((-1, False), (0, False), (1, True)):
        _, failed = one(charging=limit * (1 + step * A_LITTLE))
        assert ("charging_current" in failed) is fails


def test_in_the_cold_alone_no_warm_limit_is_counted():
    # Never warmer than 14 °C: 0.2 capacities an hour is the most (our rule for the class).
    brief = asked()
    low = 8 * float(mod.ocv_low(brief.modules[0].module, 0.1))
    limit = 2 * 0.2 * 100 * 0.8 * low
    for step, fails in ((-1, False), (1, True)):
        _, failed = one(charging=limit * (1 + step * A_LITTLE), hottest=287.15)
        assert ("charging_current" in failed) is fails


@pytest.mark.parametrize("end, kelvin, colder", [("temperature_min", "10 degC", True),
                                                 ("temperature_max", "40 degC", False)])
def test_cells_are_held_to_their_temperature_window(end, kelvin, colder):
    # The invented brief runs from 10 °C to 40 °C.
    brief = asked([module(**{end: kelvin})])
    sign = -1 if colder else 1
    name = "coldest" if colder else "hottest"
    today = getattr(asks_of(brief), name)
    for step, fails in ((-0.01, False), (0.0, False), (0.01, True)):
        _, failed = one(brief=brief, **{name: today + sign * step})
        assert ("temperature_window" in failed) is fails, step


def test_a_kept_temperature_window_takes_no_part_in_the_ranking():
    row = screen_one(asked(), asks_of(asked()), EIGHT)
    assert row.margins["temperature_window"][0] == np.inf
    assert np.isfinite(row.smallest_margin[0])


def test_charge_left_fails_only_below_empty():
    brief = asked()
    # What the peak draws: 60 kW · 10 s at 280 V from 2 · 100 Ah · 80 %.
    drawn = 60e3 * 10.0 / 280.0 / (2 * 100 * 3600 * 0.8)
    for step, fails in ((1, False), (0, False), (-1, True)):
        figures, failed = one(brief=brief, charge_lowest=drawn * (1 + step * A_LITTLE))
        assert ("charge_left" in failed) is fails
        assert figures["charge_left"] == pytest.approx(step * drawn * A_LITTLE, abs=1e-12)


def test_nothing_is_left_of_an_empty_pack():
    figures, failed = one(charge_lowest=0.0)
    assert "charge_left" in failed and figures["charge_left"] < 0


def test_sag_fails_just_beyond_the_power_available_at_the_end_of_the_peak():
    low, high = 6e4, 4e5
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if "loaded_voltage" in one(peak=middle)[1] else (middle, high)
    figures, failed = one(peak=low)
    assert "loaded_voltage" not in failed
    # A margin down to -1e-9 counts as rounding; in power it weighs some times more.
    assert figures["loaded_voltage"] == pytest.approx(280.0, rel=2e-9)
    assert figures["available_power"] == pytest.approx(low, rel=1e-7)
    assert "loaded_voltage" in one(peak=high * (1 + A_LITTLE))[1]


def test_a_power_without_solution_fails_by_the_power_short():
    figures, failed = one(peak=2e6)
    assert np.isnan(figures["loaded_voltage"]) and "loaded_voltage" in failed
    row = screen_one(asked(), replace(asks_of(asked()), peak=2e6), EIGHT)
    assert row.margins["loaded_voltage"][0] == pytest.approx(
        figures["available_power"] / 2e6 - 1.0)


@pytest.mark.parametrize("key", ["peak_current", "continuous_current"])
def test_an_unknown_limit_is_not_evaluated(key):
    row = screen_one(asked([module(**{key: None})]), asks_of(asked()), EIGHT)
    assert np.isnan(row.margins[key][0])


def test_every_check_has_a_margin_in_the_stated_order():
    row = screen_one(asked(), asks_of(asked()), EIGHT)
    assert list(row.margins) == [name for name, _ in CHECKS]


# --- highest working voltage ----------------------------------------------------------

def highest_by_hand(brief, layout):
    """Braking with the charger's upper tolerance, over dense sweeps of temperature and charge."""
    asks, on_hand = asks_of(brief), brief.modules[0]
    charge = np.linspace(0.0, asks.charge_highest, 201)[:, None]
    start = layout.series * mod.ocv_high(on_hand.module, charge) * (1 + asks.charger_tolerance)
    path = asks.cables + (el.strings_path if layout.arrangement == "strings" else
                          lambda s, p, *rest: el.grouped_path(s, *rest))(
        layout.series, layout.parallel, asks.link, asks.fuse, asks.contactor)
    kelvin = np.concatenate([np.linspace(asks.coldest, asks.hottest, 4001)] +
                            [[e - 1e-9, e + 1e-9] for e in (273.15, 278.15, 288.15)])
    kelvin = kelvin[(asks.coldest <= kelvin) & (kelvin <= asks.hottest)]
    r = path + layout.series / layout.parallel * mod.resistance(
        on_hand.module, kelvin, charge, asks.regeneration_duration,
        on_hand.resistance_growth.number)
    voltage = el.charging_voltage(start, r, asks.regeneration)
    if asks.follows_charge_limit:
        limit = layout.parallel * on_hand.state_of_health.number \
            * mod.charge_current_limit(on_hand.module, kelvin)
        voltage = np.minimum(voltage, start + limit * r)
    assert voltage.shape == (201, len(kelvin)) and len(kelvin) > 4000
    return max(float(start.max()), float(voltage.max()))


@pytest.mark.parametrize("follows", ["yes", "no"])
@pytest.mark.parametrize("coldest", ["-20 degC", "-0.5 degC", "0 degC", "4 degC", "14.9 degC",
                                     "15 degC", "25 degC"])
@pytest.mark.parametrize("power", ["20 kW", "200 kW"])
def test_braking_is_the_worst_over_all_temperatures(follows, coldest, power):
    brief = asked(battery__coldest_start=coldest, battery__coldest_closed=coldest,
                  regeneration__follows_charge_limit=follows, regeneration__power=power)
    figures, _ = one(brief=brief)
    assert figures["highest_voltage"] == pytest.approx(highest_by_hand(brief, EIGHT), rel=1e-9)


def test_braking_begins_where_the_charger_ended_at_its_upper_tolerance():
    figures, _ = one(brief=asked(regeneration__power="0 kW"))
    assert figures["regeneration_voltage"] == pytest.approx(8 * 12 * 4.2 * 1.01)


@pytest.mark.parametrize("limit, expected", [(405.0, None), (408.0, None), (409.0, 409.0)])
def test_the_inverters_own_limit_holds_only_above_the_full_pack(limit, expected):
    brief = asked(regeneration__power="200 kW", regeneration__voltage_limit=f"{limit} V",
                  inverter__voltage_range="260 V to 400 V")
    figures, _ = one(brief=brief)
    full = 8 * 12 * 4.2 * 1.01  # 407.2 V
    free, _ = one(brief=asked(regeneration__power="200 kW"))
    assert free["regeneration_voltage"] > 409.0
    assert figures["highest_voltage"] == pytest.approx(max(full, limit))
    assert expected is None or figures["highest_voltage"] == pytest.approx(expected)


def test_edges_stay_between_coldest_and_hottest():
    brief = asked(battery__coldest_start="20 degC", battery__coldest_closed="4 degC",
                  battery__hottest="30 degC")
    edges = [float(e) for e in charge_edges(brief, asks_of(brief), list(brief.modules))]
    assert min(edges) == pytest.approx(277.15) and max(edges) == pytest.approx(303.15)
    assert {278.15, 288.15} <= set(edges)


def test_the_charge_limit_follows_the_real_capacity():
    on_hand = asked().modules[0]
    assert screening.charge_limit(on_hand, 298.15) == pytest.approx(0.5 * 100 * 0.8)
    assert screening.charge_limit(on_hand, 283.15) == pytest.approx(0.2 * 100 * 0.8)
    assert screening.charge_limit(on_hand, 273.15) == 0.0


# --- energy ---------------------------------------------------------------------------

def test_mean_voltage_is_that_of_a_fine_integral():
    on_hand = asked().modules[0]
    points = np.linspace(0.1, 1.0, 20001)
    fine = float(np.mean(mod.ocv_low(on_hand.module, points)))
    assert float(screening.mean_voltage(on_hand, 0.1, 1.0)) == pytest.approx(fine, rel=2e-3)


def test_usable_energy_is_real_capacity_times_window_times_mean_voltage():
    figures, _ = one()
    mean = 8 * float(screening.mean_voltage(asked().modules[0], 0.1, 1.0))
    assert figures["usable_energy"] == pytest.approx(2 * 100 * 3600 * 0.8 * 0.9 * mean)
    assert figures["total_energy"] > figures["usable_energy"]
