"""Formulas of cells and modules: interpolation of published rows, and products of ratios.

What is known of cells stands in the rows, each with its source. A rule of our own says so: its
basis is `assumed`, and it states what it takes and to which side it errs.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from packcalc.findings import formula


@formula(
    title="state of charge on the curve's axis", symbol="x", unit="%",
    text="x = x_e + z·(x_f − x_e)/100",
    inputs={"state_of_charge": "z [%] of the module, between its own empty and full voltage",
            "curve_empty": "x_e [%] where the curve meets the module's empty voltage",
            "curve_full": "x_f [%] where the curve meets the module's full voltage"},
    basis="definition", valid="z from 0 to 100 %",
)
def anchored_soc(state_of_charge: Any, curve_empty: Any, curve_full: Any) -> Any:
    """Anchor a class curve to a module's own voltage limits.

    Examples:
        >>> anchored_soc(0.5, 0.04, 1.0)
        0.52
    """
    return curve_empty + state_of_charge * (curve_full - curve_empty)


def _between(at: Any, below: Any, value_below: Any, above: Any, value_above: Any) -> Any:
    return value_below + (value_above - value_below) * (at - below) / (above - below)


@formula(
    title="open-circuit voltage of a cell on its curve", symbol="E", unit="V",
    text="E = E1 + (E2 − E1)·(x − x1)/(x2 − x1)",
    inputs={"charge": "x [%] state of charge on the curve's axis",
            "charge_below": "x1 [%] of the row below", "voltage_below": "E1 [V] of the row below",
            "charge_above": "x2 [%] of the row above", "voltage_above": "E2 [V] of the row above"},
    basis="read", source="chapra-numerical-methods",
    where="section 18.1.1, linear interpolation, example 18.1",
    valid="x1 to x2",
)
def curve_voltage(charge: Any, charge_below: Any, voltage_below: Any, charge_above: Any,
                  voltage_above: Any) -> Any:
    """Read a curve between two of its rows along a straight line.

    Examples:
        >>> round(curve_voltage(0.12, 0.10, 3.2959, 0.15, 3.4339), 4)
        3.3511
    """
    return _between(charge, charge_below, voltage_below, charge_above, voltage_above)


@formula(
    title="state of charge at which a curve meets a voltage", symbol="x", unit="%",
    text="x = x1 + (x2 − x1)·(E − E1)/(E2 − E1)",
    inputs={"voltage": "E [V] of the cell at rest",
            "voltage_below": "E1 [V] of the row below", "charge_below": "x1 [%] of the row below",
            "voltage_above": "E2 [V] of the row above", "charge_above": "x2 [%] of the row above"},
    basis="read", source="chapra-numerical-methods",
    where="section 18.1.1, linear interpolation, example 18.1",
    valid="E1 to E2, rising",
)
def curve_charge(voltage: Any, voltage_below: Any, charge_below: Any, voltage_above: Any,
                 charge_above: Any) -> Any:
    """Find where a curve meets a voltage, along a straight line between two rows.

    Examples:
        >>> round(curve_charge(3.0, 2.5, 0.0, 3.1094, 0.05), 5)
        0.04102
    """
    return _between(voltage, voltage_below, charge_below, voltage_above, charge_above)


@formula(
    title="lowest open-circuit voltage of a cell", symbol="E_low", unit="V",
    text="E_low = max(E − h, E_e)",
    inputs={"voltage": "E [V] on the lowest curve of the class",
            "half_gap": "h [V] half the gap between the charge and discharge curves",
            "empty_voltage": "E_e [V] at which the module counts as empty"},
    basis="assumed", source="packcalc-rule",
    where="charge and discharge curves are taken to lie half their gap from the published one",
    safe_side="low: used for sag and for the lowest fault current",
)
def lowest_rest_voltage(voltage: Any, half_gap: Any, empty_voltage: Any) -> Any:
    """Take a curve down to its discharge side, never below the empty voltage.

    Examples:
        >>> round(float(lowest_rest_voltage(3.3, 0.034, 2.5)), 3)
        3.266
    """
    return np.maximum(voltage - half_gap, empty_voltage)


@formula(
    title="highest open-circuit voltage of a cell", symbol="E_high", unit="V",
    text="E_high = min(E + h, E_f)",
    inputs={"voltage": "E [V] on the highest curve of the class",
            "half_gap": "h [V] half the gap between the charge and discharge curves",
            "full_voltage": "E_f [V] at which the module counts as full"},
    basis="assumed", source="packcalc-rule",
    where="charge and discharge curves are taken to lie half their gap from the published one",
    safe_side="high: used for voltage and for the highest fault current",
)
def highest_rest_voltage(voltage: Any, half_gap: Any, full_voltage: Any) -> Any:
    """Take a curve up to its charge side, never above the full voltage.

    Examples:
        >>> round(float(highest_rest_voltage(3.3, 0.034, 3.65)), 3)
        3.334
    """
    return np.minimum(voltage + half_gap, full_voltage)


@formula(
    title="resistance ratio between two temperatures", symbol="k_T", unit="",
    text="k_T = k1 + (k2 − k1)·(T − T1)/(T2 − T1)",
    inputs={"temperature": "T [°C] of the cell",
            "temperature_below": "T1 [°C] of the row below", "ratio_below": "k1 [] of that row",
            "temperature_above": "T2 [°C] of the row above", "ratio_above": "k2 [] of that row"},
    basis="read", source="chapra-numerical-methods",
    where="section 18.1.1, linear interpolation, example 18.1",
    valid="T1 to T2",
    safe_side="high: resistance is convex in temperature, so the straight line lies above it",
)
def ratio_between_temperatures(temperature: Any, temperature_below: Any, ratio_below: Any,
                               temperature_above: Any, ratio_above: Any) -> Any:
    """Resistance ratio to 25 °C between two rows of the temperature law.

    Examples:
        >>> round(ratio_between_temperatures(268.15, 263.15, 5.0, 273.15, 2.5), 3)
        3.75
    """
    return _between(temperature, temperature_below, ratio_below, temperature_above, ratio_above)


@formula(
    title="resistance ratio between two states of charge", symbol="k_z", unit="",
    text="k_z = k1 + (k2 − k1)·(z − z1)/(z2 − z1)",
    inputs={"charge": "z [%] state of charge",
            "charge_below": "z1 [%] of the row below", "ratio_below": "k1 [] of that row",
            "charge_above": "z2 [%] of the row above", "ratio_above": "k2 [] of that row"},
    basis="read", source="chapra-numerical-methods",
    where="section 18.1.1, linear interpolation, example 18.1",
    valid="z1 to z2",
)
def ratio_between_charges(charge: Any, charge_below: Any, ratio_below: Any, charge_above: Any,
                          ratio_above: Any) -> Any:
    """Resistance ratio to 50 % charge between two rows of the charge law.

    Examples:
        >>> round(ratio_between_charges(0.15, 0.10, 1.38, 0.20, 1.06), 3)
        1.22
    """
    return _between(charge, charge_below, ratio_below, charge_above, ratio_above)


@formula(
    title="resistance ratio between two pulse lengths", symbol="k_t", unit="",
    text="k_t = k1 + (k2 − k1)·ln(t/t1)/ln(t2/t1)",
    inputs={"pulse": "t [s] since the load came on",
            "pulse_below": "t1 [s] of the row below", "ratio_below": "k1 [] of that row",
            "pulse_above": "t2 [s] of the row above", "ratio_above": "k2 [] of that row"},
    basis="computed", source="chapra-numerical-methods",
    where="section 18.1.1, linear interpolation, with the logarithm of time as abscissa",
    valid="t1 to t2",
    safe_side="high: resistance is convex in the logarithm of time, so the line lies above it",
)
def ratio_between_pulses(pulse: Any, pulse_below: Any, ratio_below: Any, pulse_above: Any,
                         ratio_above: Any) -> Any:
    """Resistance ratio to 10 s between two rows of the pulse law.

    Examples:
        >>> round(float(ratio_between_pulses(20.0, 10.0, 1.0, 30.0, 1.35)), 3)
        1.221
    """
    return _between(np.log(pulse), np.log(pulse_below), ratio_below, np.log(pulse_above),
                    ratio_above)


@formula(
    title="module resistance under load", symbol="R", unit="mΩ",
    text="R = R10·k_T·k_z·k_t·k_a",
    inputs={"resistance": "R10 [mΩ] of the module at 10 s, 25 °C, 50 % charge",
            "temperature_ratio": "k_T [] to 25 °C", "charge_ratio": "k_z [] to 50 % charge",
            "pulse_ratio": "k_t [] to 10 s", "growth": "k_a [] with age"},
    basis="computed", source="gasper-2022",
    where="resistance at 25 °C and −10 °C; that further ratios multiply is taken, not read",
    valid="ratios of one cell, taken as independent of one another",
    safe_side="high, when each ratio is the largest published",
)
def resistance_under_load(resistance: Any, temperature_ratio: Any, charge_ratio: Any,
                          pulse_ratio: Any, growth: Any) -> Any:
    """Bring a 10 s resistance to another temperature, charge, pulse length and age.

    Examples:
        >>> round(resistance_under_load(0.006, 5.0, 1.38, 1.0, 1.2), 5)
        0.04968
    """
    return resistance * temperature_ratio * charge_ratio * pulse_ratio * growth


@formula(
    title="module resistance brought to 10 s, 25 °C, 50 % charge", symbol="R10", unit="mΩ",
    text="R10 = R_m/(k_T·k_z·k_t)",
    inputs={"resistance": "R_m [mΩ] of the module as measured",
            "temperature_ratio": "k_T [] of the test to 25 °C",
            "charge_ratio": "k_z [] of the test to 50 % charge",
            "pulse_ratio": "k_t [] of the test to 10 s"},
    basis="computed", source="gasper-2022",
    where="resistance at 25 °C and −10 °C; that further ratios multiply is taken, not read",
    safe_side="smallest published ratios for sag, largest for the peak fault",
)
def reference_resistance(resistance: Any, temperature_ratio: Any, charge_ratio: Any,
                         pulse_ratio: Any) -> Any:
    """Bring a measured resistance to the reference condition.

    Examples:
        >>> round(reference_resistance(0.0088, 1.6, 1.1, 1.0), 6)
        0.005
    """
    return resistance / (temperature_ratio * charge_ratio * pulse_ratio)


@formula(
    title="module resistance from the class alone", symbol="R10", unit="mΩ",
    text="R10 = 1000·N·w/Q",
    inputs={"cells_in_series": "N [] cells in series", "drop": "w [V] per cell at 1 C after 10 s",
            "capacity": "Q [Ah] rated"},
    basis="definition", safe_side="largest drop of the class for sag, smallest for the peak fault",
)
def resistance_from_window(cells_in_series: Any, drop: Any, capacity: Any) -> Any:
    """Resistance of a module of which only the label is known.

    Examples:
        >>> round(resistance_from_window(12, 0.06, 160 * 3600.0), 6)
        0.0045
    """
    return cells_in_series * drop / (capacity / 3600.0)


@formula(
    title="initial module resistance, hot", symbol="R_i", unit="mΩ",
    text="R_i = R10·a·b",
    inputs={"resistance": "R10 [mΩ] of the module at 10 s, 25 °C, 50 % charge",
            "initial_ratio": "a [] of the first millisecond to 10 s",
            "hot_ratio": "b [] of a hot cell to 25 °C, first millisecond"},
    basis="assumed", source="packcalc-rule",
    where="the two ratios are taken to multiply: no test was read that varies both",
    safe_side="low: used for the highest fault current only",
)
def initial_resistance(resistance: Any, initial_ratio: Any, hot_ratio: Any) -> Any:
    """Resistance of the first millisecond of a fault, from the 10 s value.

    Examples:
        >>> round(initial_resistance(0.006, 0.5, 0.95), 5)
        0.00285
    """
    return resistance * initial_ratio * hot_ratio


@formula(
    title="initial module resistance, hot, from a measurement", symbol="R_i", unit="mΩ",
    text="R_i = R_m·b",
    inputs={"resistance": "R_m [mΩ] of the module at 1 kHz, or as the initial voltage drop",
            "hot_ratio": "b [] of a hot cell to 25 °C, first millisecond"},
    basis="assumed", source="packcalc-rule",
    where="the class's ratio of a hot cell is taken to hold for the module",
    safe_side="low: used for the highest fault current only",
)
def initial_resistance_measured(resistance: Any, hot_ratio: Any) -> Any:
    """Resistance of the first millisecond of a fault, from a reading of it.

    Examples:
        >>> round(initial_resistance_measured(0.0033, 0.95), 6)
        0.003135
    """
    return resistance * hot_ratio


@formula(
    title="resistance growth with age", symbol="k_a", unit="",
    text="k_a = 1 + g·(100 − H)/100",
    inputs={"state_of_health": "H [%] capacity left",
            "growth_slope": "g [] growth per lost share of capacity"},
    basis="assumed", source="packcalc-rule",
    where="a straight line through a new cell; its slope is the largest of the published tests",
    valid="H from 70 to 100 %",
    safe_side="high, when g is the largest published",
)
def growth_with_age(state_of_health: Any, growth_slope: Any) -> Any:
    """Resistance growth of a module of which only the capacity left is known.

    Examples:
        >>> round(growth_with_age(0.80, 2.45), 3)
        1.49
    """
    return 1.0 + growth_slope * (1.0 - state_of_health)


@formula(
    title="current at a rate", symbol="I", unit="A", text="I = r·Q",
    inputs={"rate": "r [] in capacities per hour", "capacity": "Q [Ah] of the module"},
    basis="definition",
)
def current_at_rate(rate: Any, capacity: Any) -> Any:
    """Current that a rate in capacities per hour means.

    Examples:
        >>> current_at_rate(0.5, 160 * 3600.0)
        80.0
    """
    return rate * capacity / 3600.0


@formula(
    title="module voltage", symbol="E_m", unit="V", text="E_m = N·E",
    inputs={"cells_in_series": "N [] cells in series", "cell_voltage": "E [V] of one cell"},
    basis="definition",
)
def module_voltage(cells_in_series: Any, cell_voltage: Any) -> Any:
    """Voltage of a module from that of its cells.

    Examples:
        >>> round(module_voltage(12, 4.2), 1)
        50.4
    """
    return cells_in_series * cell_voltage


@formula(
    title="nominal energy of a module", symbol="W", unit="kWh", text="W = N·U·Q/1000",
    inputs={"cells_in_series": "N [] cells in series", "nominal_voltage": "U [V] of one cell",
            "capacity": "Q [Ah] rated"},
    basis="definition",
)
def module_energy(cells_in_series: Any, nominal_voltage: Any, capacity: Any) -> Any:
    """Nominal energy of a module.

    Examples:
        >>> round(module_energy(12, 3.6, 160 * 3600.0) / 3.6e6, 3)
        6.912
    """
    return cells_in_series * nominal_voltage * capacity


@formula(
    title="mass of a module from its energy", symbol="m", unit="kg", text="m = 1000·W/e",
    inputs={"energy": "W [kWh] nominal", "energy_per_mass": "e [Wh/kg] of a whole module"},
    basis="definition", safe_side="heavy, when e is the smallest of the class",
)
def module_mass(energy: Any, energy_per_mass: Any) -> Any:
    """Mass of a module that nobody weighed.

    Examples:
        >>> round(module_mass(6.912 * 3.6e6, 105 * 3600.0), 2)
        65.83
    """
    return energy / energy_per_mass
