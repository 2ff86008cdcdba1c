"""Formulas of the bench: common conditions, uncertainty, isolation, self-discharge, hours.

The slopes and exponents that stand in them are leaves with their own source, in
`packcalc.bench.common`. A rule of our own says so: its basis is `assumed`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from packcalc.findings import formula

COMMON_TEMPERATURE = 298.15
COMMON_RATE = 0.2 / 3600.0
DAYS_A_MONTH = 30.0


# --- capacity -------------------------------------------------------------------------------

@formula(
    title="rate of a capacity test", symbol="r", unit="1/h", text="r = I/Q_L",
    inputs={"current": "I [A] of the discharge", "label_capacity": "Q_L [Ah] on the label"},
    basis="definition",
)
def capacity_rate(current: Any, label_capacity: Any) -> Any:
    """Discharge current as a share of the label's capacity each hour.

    Examples:
        >>> round(capacity_rate(48.0, 240 * 3600.0) * 3600, 3)
        0.2
    """
    return current / label_capacity


@formula(
    title="capacity at 25 °C", symbol="Q_25", unit="Ah", text="Q_25 = Q_m/(1 + a·(T − 25)/100)",
    inputs={"capacity": "Q_m [Ah] as measured", "temperature": "T [°C] of the test",
            "slope": "a [%] of the capacity for each kelvin"},
    basis="read", source="wildfeuer-2021",
    where="abstract, 1.5 % for 3 K; the straight line beyond 3 K is taken, not read",
    valid="T from 15 to 35 °C",
    safe_side="none of its own: the correction counts as uncertain by its whole size",
)
def capacity_at_25(capacity: Any, temperature: Any, slope: Any) -> Any:
    """Bring a capacity to 25 °C along a straight line.

    Examples:
        >>> round(capacity_at_25(197.0 * 3600, 293.15, 0.005) / 3600, 2)
        202.05
    """
    return capacity / (1.0 + slope * (temperature - COMMON_TEMPERATURE))


@formula(
    title="capacity at C/5", symbol="Q_c", unit="Ah", text="Q_c = Q_25·(r/0.2)^p",
    inputs={"capacity": "Q_25 [Ah] at 25 °C", "rate": "r [1/h] of the test",
            "exponent": "p [] loss of capacity with rate"},
    basis="read", source="yazvinskaya-2022",
    where="Peukert's equation, read to hold from 0.2 to 2 1/h; below 0.2 it is taken",
    valid="r from 0.1 to 0.5 1/h",
    safe_side="none of its own: the correction counts as uncertain by its whole size",
)
def capacity_at_c5(capacity: Any, rate: Any, exponent: Any) -> Any:
    """Bring a capacity to a discharge in five hours.

    Examples:
        >>> round(capacity_at_c5(200.0 * 3600, 0.5 / 3600, 0.02) / 3600, 2)
        203.7
    """
    return capacity * (rate / COMMON_RATE) ** exponent


@formula(
    title="share of the label's capacity", symbol="H", unit="%", text="H = 100·Q_c/Q_L",
    inputs={"capacity": "Q_c [Ah] at common conditions", "label_capacity": "Q_L [Ah] on the label"},
    basis="definition",
)
def capacity_share(capacity: Any, label_capacity: Any) -> Any:
    """Capacity left as a share of the label's.

    Examples:
        >>> capacity_share(192.0, 240.0)
        0.8
    """
    return capacity / label_capacity


@formula(
    title="capacity that is counted on", symbol="Q_c", unit="Ah", text="Q_c = min(Q, Q_L)",
    inputs={"capacity": "Q [Ah] at common conditions", "label_capacity": "Q_L [Ah] on the label"},
    basis="assumed", source="packcalc-rule",
    where="a label is not raised by one good reading",
    safe_side="low: a reading above the label is counted as the label",
)
def capacity_counted(capacity: Any, label_capacity: Any) -> Any:
    """Count no module better than its label.

    Examples:
        >>> float(capacity_counted(243.0, 240.0))
        240.0
    """
    return np.minimum(capacity, label_capacity)


# --- uncertainty ----------------------------------------------------------------------------

@formula(
    title="half-width of the temperature correction", symbol="h_T", unit="%",
    text="h_T = a·max(|T − 25|, 1)",
    inputs={"temperature": "T [°C] of the test", "slope": "a [%] for each kelvin"},
    basis="assumed", source="packcalc-rule",
    where="no published spread of the correction: its whole size is counted",
    safe_side="wide: the correction counts as uncertain by its whole size, one kelvin at least",
)
def temperature_half_width(temperature: Any, slope: Any) -> Any:
    """How far a temperature correction may be off.

    Examples:
        >>> round(float(temperature_half_width(293.15, 0.005)), 4)
        0.025
    """
    return slope * np.maximum(np.abs(temperature - COMMON_TEMPERATURE), 1.0)


@formula(
    title="half-width of the rate correction", symbol="h_r", unit="%",
    text="h_r = 100·p·|ln(r/0.2)|",
    inputs={"rate": "r [1/h] of the test", "exponent": "p [] loss of capacity with rate"},
    basis="assumed", source="packcalc-rule",
    where="no published spread of the correction: its whole size is counted",
    safe_side="wide: the correction counts as uncertain by its whole size",
)
def rate_half_width(rate: Any, exponent: Any) -> Any:
    """How far a rate correction may be off.

    Examples:
        >>> round(float(rate_half_width(0.5 / 3600, 0.02)), 5)
        0.01833
    """
    return exponent * np.abs(np.log(rate / COMMON_RATE))


@formula(
    title="standard uncertainty of a quantity known within two limits", symbol="u", unit="%",
    text="u = h/√3",
    inputs={"half_width": "h [%] half the distance between the limits"},
    basis="read", source="jcgm-100",
    where="4.3.7, equation (7)",
    valid="every value between the limits is as likely as any other",
)
def rectangular_uncertainty(half_width: Any) -> Any:
    """Standard uncertainty of a rectangular distribution.

    Examples:
        >>> round(float(rectangular_uncertainty(0.04)), 4)
        0.0231
    """
    return half_width / np.sqrt(3.0)


@formula(
    title="combined standard uncertainty", symbol="u_c", unit="%",
    text="u_c = √(u1² + u2² + u3²)",
    inputs={"first": "u1 [%] of the instrument", "second": "u2 [%] of the first correction",
            "third": "u3 [%] of the second correction"},
    basis="read", source="jcgm-100",
    where="5.1.2, equation (10)",
    valid="parts that do not depend on one another",
)
def combined_uncertainty(first: Any, second: Any, third: Any) -> Any:
    """Root of the sum of squares of three parts.

    Examples:
        >>> round(float(combined_uncertainty(0.01, 0.02, 0.02)), 4)
        0.03
    """
    return np.sqrt(first ** 2 + second ** 2 + third ** 2)


@formula(
    title="standard uncertainty of the capacity", symbol="u(Q)", unit="Ah", text="u(Q) = u_c·Q/100",
    inputs={"relative": "u_c [%] combined", "capacity": "Q [Ah] at common conditions"},
    basis="definition",
)
def capacity_uncertainty(relative: Any, capacity: Any) -> Any:
    """Relative uncertainty of a capacity in ampere-hours.

    Examples:
        >>> capacity_uncertainty(0.02, 200.0)
        4.0
    """
    return relative * capacity


@formula(
    title="standard uncertainty of the resistance", symbol="u(R)", unit="mΩ",
    text="u(R) = u_c·R/100",
    inputs={"relative": "u_c [%] combined", "resistance": "R [mΩ] at common conditions"},
    basis="definition",
)
def resistance_uncertainty(relative: Any, resistance: Any) -> Any:
    """Relative uncertainty of a resistance in milliohms.

    Examples:
        >>> round(resistance_uncertainty(0.05, 2.0e-3), 6)
        0.0001
    """
    return relative * resistance


# --- resistance -----------------------------------------------------------------------------

@formula(
    title="resistance that is counted on", symbol="R_c", unit="mΩ", text="R_c = max(R, R_t)",
    inputs={"resistance": "R [mΩ] at common conditions",
            "type_resistance": "R_t [mΩ] lowest of the type, new"},
    basis="assumed", source="packcalc-rule",
    where="a used module is not made better than new by one good reading",
    safe_side="high, for sag and power; joining and sharing count the reading itself",
)
def resistance_counted(resistance: Any, type_resistance: Any) -> Any:
    """Count no module better than its type when new.

    Examples:
        >>> float(resistance_counted(1.15, 1.6))
        1.6
    """
    return np.maximum(resistance, type_resistance)


@formula(
    title="resistance at common conditions, middle of the published band", symbol="R_c", unit="mΩ",
    text="R_c = (R_1 + R_2)/2",
    inputs={"lower": "R_1 [mΩ] with the largest published ratios",
            "upper": "R_2 [mΩ] with the smallest published ratios"},
    basis="definition",
)
def middle_of_band(lower: Any, upper: Any) -> Any:
    """The middle between two bounds.

    Examples:
        >>> round(middle_of_band(0.0014, 0.0018), 5)
        0.0016
    """
    return (lower + upper) / 2.0


@formula(
    title="half-width of the band about its middle", symbol="h_R", unit="%",
    text="h_R = 100·(R_2 − R_1)/(R_2 + R_1)",
    inputs={"lower": "R_1 [mΩ] with the largest published ratios",
            "upper": "R_2 [mΩ] with the smallest published ratios"},
    basis="definition",
)
def band_half_width(lower: Any, upper: Any) -> Any:
    """Half a band as a share of its middle.

    Examples:
        >>> round(band_half_width(0.0014, 0.0018), 4)
        0.125
    """
    return (upper - lower) / (upper + lower)


@formula(
    title="share of the type's resistance", symbol="G", unit="%", text="G = 100·R_c/R_t",
    inputs={"resistance": "R_c [mΩ] at common conditions",
            "type_resistance": "R_t [mΩ] of the module type, or of the lot's middle"},
    basis="definition",
)
def resistance_share(resistance: Any, type_resistance: Any) -> Any:
    """Resistance as a share of what the type, or the lot, has.

    Examples:
        >>> round(resistance_share(0.0024, 0.0016), 3)
        1.5
    """
    return resistance / type_resistance


@formula(
    title="half-width of the fall of voltage as read", symbol="h_U", unit="%",
    text="h_U = 100·e_U/(I·R)",
    inputs={"voltmeter_error": "e_U [mV] between two readings of the module",
            "current": "I [A] of the pulse", "resistance": "R [mΩ] as measured"},
    basis="definition", safe_side="wide: both readings of the pulse count as off by the whole "
    "limit between them",
)
def fall_half_width(voltmeter_error: Any, current: Any, resistance: Any) -> Any:
    """How far a pulse resistance may be off because the meter cannot tell the fall finer.

    Examples:
        >>> round(fall_half_width(0.010, 100.0, 0.002), 4)
        0.05
    """
    return voltmeter_error / (current * resistance)


@formula(
    title="least current of a pulse", symbol="I_min", unit="A", text="I_min = 100·e_U/(h·R)",
    inputs={"voltmeter_error": "e_U [mV] between two readings of the module",
            "half_width": "h [%] of the fall that the meter may leave open",
            "resistance": "R [mΩ] lowest of the type"},
    basis="definition", safe_side="high, with the lowest resistance of the type",
)
def least_pulse_current(voltmeter_error: Any, half_width: Any, resistance: Any) -> Any:
    """Current at which a pulse's fall of voltage is told well enough.

    Examples:
        >>> round(least_pulse_current(0.010, 0.10, 0.0016), 1)
        62.5
    """
    return voltmeter_error / (half_width * resistance)


# --- isolation ------------------------------------------------------------------------------

@formula(
    title="isolation that the pack must show", symbol="R_need", unit="kΩ", text="R_need = r·U/1000",
    inputs={"need": "r [Ω/V] asked for", "voltage": "U [V] highest working voltage"},
    basis="definition", safe_side="high, with the highest working voltage",
)
def pack_isolation_need(need: Any, voltage: Any) -> Any:
    """Least isolation of a pack.

    Examples:
        >>> pack_isolation_need(500.0, 400.0)
        200000.0
    """
    return need * voltage


@formula(
    title="isolation that each module must show", symbol="R_line", unit="MΩ",
    text="R_line = R_need·N/(10·x)",
    inputs={"pack_need": "R_need [kΩ] of the pack", "modules": "N [] in the pack",
            "share": "x [%] of the leakage that the modules may use up"},
    basis="definition", valid="leakages of all modules add in parallel",
    safe_side="high: every module is counted as just on the line",
)
def module_isolation_line(pack_need: Any, modules: Any, share: Any) -> Any:
    """Least isolation of one module, so that N of them in parallel still meet the need.

    Examples:
        >>> round(module_isolation_line(225.0e3, 16, 0.5) / 1e6, 2)
        7.2
    """
    return pack_need * modules / share


@formula(
    title="isolation that all modules together must show", symbol="R_mod", unit="kΩ",
    text="R_mod = R_need·100/x",
    inputs={"pack_need": "R_need [kΩ] of the pack",
            "share": "x [%] of the leakage that the modules may use up"},
    basis="definition", safe_side="high: cables, inverter and heater leak beside the modules",
)
def modules_isolation_share(pack_need: Any, share: Any) -> Any:
    """Least isolation of all modules in parallel, so that the rest of the pack may leak too.

    Examples:
        >>> modules_isolation_share(225.0e3, 0.5)
        450000.0
    """
    return pack_need / share


def leakage_in_parallel(resistances: Any) -> float:
    """Isolation of modules whose cases are joined [Ω]: the reciprocal of the sum of reciprocals.

    Examples:
        >>> leakage_in_parallel([10e6, 10e6])
        5000000.0
    """
    return float(1.0 / np.sum(1.0 / np.asarray(resistances, dtype=float)))


# --- self-discharge -------------------------------------------------------------------------

@formula(
    title="voltage that the readings cannot tell", symbol="e", unit="mV",
    text="e = e_U + N·c·|ΔT|",
    inputs={"voltmeter_error": "e_U [mV] between two readings of the module",
            "cells_in_series": "N [] cells in series", "drift": "c [mV] of a cell for each kelvin",
            "temperature_change": "ΔT [K] between the readings"},
    basis="definition", safe_side="wide: drift may go either way",
)
def voltage_not_told(voltmeter_error: Any, cells_in_series: Any, drift: Any,
                     temperature_change: Any) -> Any:
    """Meter's error and the drift of the cells with temperature together.

    Examples:
        >>> round(float(voltage_not_told(0.010, 6, 0.0005, 4.0)), 4)
        0.022
    """
    return voltmeter_error + cells_in_series * drift * np.abs(temperature_change)


@formula(
    title="loss of charge in 30 days", symbol="s", unit="%", text="s = ΔU/(N·g)·30/d",
    inputs={"fall": "ΔU [mV] of the module between the readings",
            "cells_in_series": "N [] cells in series",
            "slope": "g [mV] of a cell for one per cent of charge", "days": "d [] between them"},
    basis="definition", safe_side="high, when g is the smallest of the published curves there",
)
def charge_lost(fall: Any, cells_in_series: Any, slope: Any, days: Any) -> Any:
    """Turn a fall of rest voltage into a loss of charge.

    Examples:
        >>> round(charge_lost(0.054, 6, 0.009, 30.0), 4)
        0.01
    """
    return fall / (cells_in_series * slope) * 0.01 * DAYS_A_MONTH / days


@formula(
    title="days between two readings", symbol="d", unit="",
    text="d = 30·e/(N·g·s)",
    inputs={"not_told": "e [mV] that the readings cannot tell",
            "cells_in_series": "N [] cells in series",
            "slope": "g [mV] of a cell for one per cent of charge",
            "loss": "s [%] in 30 days that must show"},
    basis="definition",
)
def days_to_tell(not_told: Any, cells_in_series: Any, slope: Any, loss: Any) -> Any:
    """How long to wait until a loss of charge shows above the error.

    Examples:
        >>> round(days_to_tell(0.022, 6, 0.009, 0.015), 2)
        8.15
    """
    return DAYS_A_MONTH * not_told * 0.01 / (cells_in_series * slope * loss)


# --- hours ----------------------------------------------------------------------------------

@formula(
    title="time of one capacity test", symbol="t_Q", unit="h", text="t_Q = 1/r + 1 + 5 + 1 + 0.5/r",
    inputs={"charge_rate": "r [] charging rate, capacities per hour"},
    basis="assumed", source="packcalc-rule",
    where="plan of one test: a rest of one hour before and after, half a charge at the end",
    valid="charge, one hour's rest, discharge in five hours, one hour's rest, half charge",
    safe_side="a plan: rests that the maker asks for make it longer",
)
def capacity_test_time(charge_rate: Any) -> Any:
    """Time of charge, rest, C/5 discharge, rest and recharge to half.

    Examples:
        >>> capacity_test_time(0.5) / 3600
        10.0
    """
    return (1.5 / charge_rate + 7.0) * 3600.0
