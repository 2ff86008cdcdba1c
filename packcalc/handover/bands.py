"""Arithmetic of expected readings: bands from tolerances, outliers, change against a baseline."""

from __future__ import annotations

from typing import Any

import numpy as np

from packcalc.findings import Finding, Origin, formula, leaf

RULE = Origin("rule")
OUTLIER_SCORE = leaf(
    "modified score above which a reading is an outlier", "M", "", 3.5, "read",
    source="iglewicz-hoaglin-1993", origin=RULE, note="as recommended by Iglewicz and Hoaglin")
SCORE_CONSTANT = leaf(
    "constant of the modified score", "c", "", 0.6745, "read", source="iglewicz-hoaglin-1993",
    origin=RULE, note="makes the score that of a normal distribution")


def rule(title: str, symbol: str, unit: str, value: float, note: str = "") -> Finding:
    """A limit of our own, said so; the reviewer may replace it."""
    return leaf(title, symbol, unit, value, "assumed", source="packcalc-rule", origin=RULE,
                note=note or "our rule; the reviewer may replace it")


LEAST_TIME = rule("shortest time that counts as read", "t", "s", 1e-3,
                  "our rule: 0 s is no timing; a log resolves a millisecond")
LEAST_RESISTANCE = rule("lowest resistance that counts as read", "R", "mΩ", 1e-6,
                        "our rule: no bolted link with its joints is so low; a bridged meter is")


@formula(
    title="Time constant of a resistor and a capacitor", symbol="τ", unit="s",
    text="τ = R·C/1000",
    inputs={"resistance": "R [Ω] in series", "capacitance": "C [mF] charged"},
    basis="definition")
def time_constant(resistance: Any, capacitance: Any) -> Any:
    """Time in which an unloaded capacitor rises to 63.2 % of its supply.

    Examples:
        >>> round(time_constant(220.0, 1.1e-3), 4)
        0.242
    """
    return resistance * capacitance


@formula(
    title="A voltage as a share of another", symbol="x", unit="%", text="x = 100·v/V",
    inputs={"part": "v [V] read", "whole": "V [V] of the supply"}, basis="definition",
    valid="V > 0")
def share_of_supply(part: Any, whole: Any) -> Any:
    """Voltage of the bus divided by that of its supply.

    Examples:
        >>> share_of_supply(30.0, 48.0)
        0.625
    """
    return part / whole


@formula(
    title="A level as a share of where the bus settles", symbol="x_e", unit="%",
    text="x_e = 100·x/x_s",
    inputs={"level": "x [%] of the source", "settled": "x_s [%] share that the bus settles at"},
    basis="definition", valid="x below x_s: a bus never reaches what lies above it")
def level_of_settled(level: Any, settled: Any) -> Any:
    """The level that an unloaded charge would count, where a resistor lies across the bus.

    Examples:
        >>> round(level_of_settled(0.95, 0.98), 4)
        0.9694
    """
    return level / settled


@formula(
    title="A voltage less its tolerance", symbol="U_lo", unit="V", text="U_lo = U·(1 − a/100)",
    inputs={"voltage": "U [V] nominal", "tolerance": "a [%] tolerance"}, basis="definition")
def lower_voltage(voltage: Any, tolerance: Any) -> Any:
    """A voltage at its lower tolerance.

    Examples:
        >>> round(lower_voltage(400.0, 0.01), 3)
        396.0
    """
    return voltage * (1 - tolerance)


@formula(
    title="A voltage less the error that its meter is allowed", symbol="U_lo", unit="V",
    text="U_lo = U − e/1000",
    inputs={"voltage": "U [V] that must stand there", "error": "e [mV] allowed"},
    basis="definition")
def less_error(voltage: Any, error: Any) -> Any:
    """Least that a meter may show of a voltage.

    Examples:
        >>> round(less_error(4.179, 0.010), 3)
        4.169
    """
    return voltage - error


@formula(
    title="Reading above which one of many like joints is an outlier", symbol="R_out", unit="mΩ",
    text="R_out = m + M·d/c",
    inputs={"median": "m [mΩ] median of all", "deviation": "d [mΩ] median distance from it",
            "score": "M [] modified score allowed", "constant": "c [] of the score"},
    basis="read", source="nist-handbook",
    where="1.3.5.17: 0.6745·(x − median)/MAD above 3.5 is labelled, solved for x",
    valid="at least five readings; d > 0",
    safe_side="a set in which more than half are bad has no outliers: the limit stands beside it")
def outlier_limit(median: Any, deviation: Any, score: Any, constant: Any) -> Any:
    """The modified score M = c·(x − m)/d solved for x.

    Examples:
        >>> round(outlier_limit(0.08e-3, 0.004e-3, 3.5, 0.6745) * 1e3, 4)
        0.1008
    """
    return median + score * deviation / constant


@formula(
    title="A multiple of a reading", symbol="R_k", unit="mΩ", text="R_k = k·m",
    inputs={"median": "m [mΩ] median of all", "factor": "k [] allowed"}, basis="definition")
def multiple(median: Any, factor: Any) -> Any:
    """A limit as a multiple of what most readings show.

    Examples:
        >>> round(multiple(0.08e-3, 1.5) * 1e3, 3)
        0.12
    """
    return factor * median


@formula(
    title="Change against the baseline", symbol="c", unit="%", text="c = 100·(x/x_0 − 1)",
    inputs={"latest": "x [] latest reading, in SI", "baseline": "x_0 [] first reading, in SI"},
    basis="definition", valid="x_0 above zero")
def change(latest: Any, baseline: Any) -> Any:
    """How far a reading has moved since it became the baseline.

    Examples:
        >>> round(change(0.10, 0.08), 4)
        0.25
    """
    return latest / baseline - 1


@formula(
    title="Days until a change reaches its limit along a straight line", symbol="n", unit="",
    text="n = n_0·(c_lim − c)/c",
    inputs={"days": "n_0 [] days from baseline to the latest reading", "change": "c [%] so far",
            "limit": "c_lim [%] limit, same sign"},
    basis="assumed", source="packcalc-rule",
    where="a change is drawn on along a straight line",
    valid="c and c_lim of one sign, days above zero",
    safe_side="wear speeds up: sooner in truth; a date to look again, no promise until then")
def days_to_limit(days: Any, change: Any, limit: Any) -> Any:
    """A straight line through the baseline and the latest reading.

    Examples:
        >>> round(days_to_limit(100.0, 0.10, 0.50), 6)
        400.0
    """
    return days * (limit - change) / change


@formula(
    title="Isolation demanded of one part by itself", symbol="R_p", unit="kΩ", text="R_p = n·R_iso",
    inputs={"isolation": "R_iso [kΩ] demanded of the whole",
            "count": "n [] such parts that would reach it together"},
    basis="definition", where="leakages of parts side by side add",
    safe_side="each part held to its share, whatever the others show")
def isolation_of_part(isolation: Any, count: Any) -> Any:
    """What a part must show before it is joined, so that the whole reaches its demand.

    Examples:
        >>> isolation_of_part(225e3, 2)
        450000.0
    """
    return isolation * count


@formula(
    title="A resistance with room for the next value that is made", symbol="R_t", unit="kΩ",
    text="R_t = R·(1 + a/100)",
    inputs={"demand": "R [kΩ] at which the monitor must act", "room": "a [%] above it"},
    basis="definition")
def with_room(demand: Any, room: Any) -> Any:
    """Largest test resistor of an isolation monitor that still proves the demand closely.

    Examples:
        >>> round(with_room(200e3, 0.05))
        210000
    """
    return demand * (1 + room)


@formula(
    title="Time of a fall that follows its time constant", symbol="t", unit="s",
    text="t = τ·ln(V/v)",
    inputs={"constant": "τ [s] time to fall to 36.8 %", "start": "V [V] at the start",
            "end": "v [V] at the end"},
    basis="read", source="halliday-fundamentals",
    where="chapter 30, problem 51: 0.1 % is left after 6.91 time constants",
    valid="0 < v ≤ V, the same resistor and capacitors as when τ was read")
def fall_from_constant(constant: Any, start: Any, end: Any) -> Any:
    """How long a link must take that was timed from another voltage before.

    Examples:
        >>> round(float(fall_from_constant(52.2, 345.0, 60.0)), 1)
        91.3
    """
    return constant * np.log(start / end)


@formula(
    title="Shortest of a time within its share", symbol="t_lo", unit="s",
    text="t_lo = t·(1 − a/100)",
    inputs={"time": "t [s] time", "share": "a [%] allowed"}, basis="definition")
def shorter(time: Any, share: Any) -> Any:
    """Lower end of a timed reading.

    Examples:
        >>> round(shorter(90.0, 0.1), 1)
        81.0
    """
    return time * (1 - share)


@formula(
    title="Longest of a time within its share", symbol="t_hi", unit="s",
    text="t_hi = t·(1 + a/100)",
    inputs={"time": "t [s] time", "share": "a [%] allowed"}, basis="definition")
def longer(time: Any, share: Any) -> Any:
    """Upper end of a timed reading.

    Examples:
        >>> round(longer(90.0, 0.1), 1)
        99.0
    """
    return time * (1 + share)


@formula(
    title="Standard uncertainty as a share of what was measured", symbol="u", unit="%",
    text="u = 100·σ/R",
    inputs={"sigma": "σ [mΩ] standard uncertainty", "resistance": "R [mΩ] measured"},
    basis="definition", valid="R > 0")
def relative_uncertainty(sigma: Any, resistance: Any) -> Any:
    """How surely one module's resistance is known.

    Examples:
        >>> round(relative_uncertainty(0.06e-3, 2.0e-3), 3)
        0.03
    """
    return sigma / resistance


@formula(
    title="Least resistance of measured modules at their warmest", symbol="R_lo", unit="mΩ",
    text="R_lo = R·(1 − 2·u/100)·k",
    inputs={"resistance": "R [mΩ] of all modules, 25 °C, 10 s, half charge",
            "uncertainty": "u [%] mean standard uncertainty of them",
            "ratio": "k [] warmest cell to 25 °C"},
    basis="assumed", source="packcalc-rule",
    where="two standard uncertainties, and all modules err together",
    valid="u below 50 %",
    safe_side="wide: as if every module erred the same way")
def least_measured(resistance: Any, uncertainty: Any, ratio: Any) -> Any:
    """Below it the current reads high, or the voltage was taken in the wrong place.

    Examples:
        >>> round(least_measured(30e-3, 0.03, 0.9) * 1e3, 2)
        25.38
    """
    return resistance * (1 - 2 * uncertainty) * ratio


@formula(
    title="Largest resistance of measured modules at their coldest", symbol="R_hi", unit="mΩ",
    text="R_hi = R·(1 + 2·u/100)·k",
    inputs={"resistance": "R [mΩ] of all modules, 25 °C, 10 s, half charge",
            "uncertainty": "u [%] mean standard uncertainty of them",
            "ratio": "k [] coldest cell to 25 °C"},
    basis="assumed", source="packcalc-rule",
    where="two standard uncertainties, and all modules err together",
    safe_side="wide: as if every module erred the same way")
def largest_measured(resistance: Any, uncertainty: Any, ratio: Any) -> Any:
    """Above it, with the path added, something in the path is poor.

    Examples:
        >>> round(largest_measured(30e-3, 0.03, 1.2) * 1e3, 2)
        38.16
    """
    return resistance * (1 + 2 * uncertainty) * ratio


@formula(
    title="Sag of a resistance at a current", symbol="ΔU", unit="V", text="ΔU = I·R/1000",
    inputs={"current": "I [A] drawn", "resistance": "R [mΩ] of the battery"}, basis="definition")
def sag(current: Any, resistance: Any) -> Any:
    """What a meter must be able to resolve.

    Examples:
        >>> round(sag(47.0, 34e-3), 3)
        1.598
    """
    return current * resistance


@formula(
    title="A share of a current", symbol="I", unit="A", text="I = I_c·x/100",
    inputs={"current": "I_c [A] whole", "share": "x [%] of it"}, basis="definition")
def share_of_current(current: Any, share: Any) -> Any:
    """A current limit for the first drive.

    Examples:
        >>> share_of_current(200.0, 0.25)
        50.0
    """
    return current * share
