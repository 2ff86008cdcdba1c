"""A capacitor on a battery: charging through a resistor and discharging.

Pure formulas on SI floats or numpy arrays. Loads on the bus are put into one source
voltage and one resistance (Thévenin) and one constant power; the charging time of that
circuit has a closed form, so that no step size enters a result.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from packcalc.findings import formula

TEXTBOOK_RC = "college-physics-2022"
TEXTBOOK_DC = "electric-circuits-dc-2006"
TEXTBOOK_POWER = "power-electronics-2014"


# -- tolerances -------------------------------------------------------------------------------


@formula(
    title="Largest capacitance within its tolerance", symbol="C_max", unit="mF",
    text="C_max = C·(1 + a/100)",
    inputs={"capacitance": "C [mF] nominal", "tolerance": "a [%] upper tolerance"},
    basis="definition", valid="a ≥ 0")
def largest_capacitance(capacitance: Any, tolerance: Any) -> Any:
    """Capacitance at its upper tolerance.

    Examples:
        >>> round(largest_capacitance(1e-3, 0.2), 6)
        0.0012
    """
    return capacitance * (1 + tolerance)


@formula(
    title="Largest resistance within its tolerance", symbol="R_max", unit="Ω",
    text="R_max = R·(1 + a/100)",
    inputs={"resistance": "R [Ω] nominal", "tolerance": "a [%] tolerance"},
    basis="definition", valid="a ≥ 0")
def largest_resistance(resistance: Any, tolerance: Any) -> Any:
    """Resistance at its upper tolerance; it governs the time.

    Examples:
        >>> round(largest_resistance(47.0, 0.05), 4)
        49.35
    """
    return resistance * (1 + tolerance)


@formula(
    title="Smallest resistance within its tolerance", symbol="R_min", unit="Ω",
    text="R_min = R·(1 − a/100)",
    inputs={"resistance": "R [Ω] nominal", "tolerance": "a [%] tolerance"},
    basis="definition", valid="0 ≤ a < 100 %")
def smallest_resistance(resistance: Any, tolerance: Any) -> Any:
    """Resistance at its lower tolerance; it governs current, power and energy.

    Examples:
        >>> round(smallest_resistance(47.0, 0.05), 4)
        44.65
    """
    return resistance * (1 - tolerance)


@formula(
    title="Nominal resistance whose upper tolerance is a given resistance", symbol="R",
    unit="Ω", text="R = R_max/(1 + a/100)",
    inputs={"resistance": "R_max [Ω] largest allowed", "tolerance": "a [%] tolerance"},
    basis="definition", valid="a ≥ 0")
def nominal_below(resistance: Any, tolerance: Any) -> Any:
    """Largest nominal value that stays under a limit at its upper tolerance.

    Examples:
        >>> round(nominal_below(49.35, 0.05), 4)
        47.0
    """
    return resistance / (1 + tolerance)


@formula(
    title="Nominal resistance whose lower tolerance is a given resistance", symbol="R",
    unit="Ω", text="R = R_min/(1 − a/100)",
    inputs={"resistance": "R_min [Ω] smallest allowed", "tolerance": "a [%] tolerance"},
    basis="definition", valid="0 ≤ a < 100 %")
def nominal_above(resistance: Any, tolerance: Any) -> Any:
    """Smallest nominal value that stays over a limit at its lower tolerance.

    Examples:
        >>> round(nominal_above(44.65, 0.05), 4)
        47.0
    """
    return resistance / (1 - tolerance)


# -- charging an unloaded bus -----------------------------------------------------------------


@formula(
    title="Capacitor voltage after charging through a resistor", symbol="v", unit="V",
    text="v = V·(1 − exp(−1000·t/(R·C)))",
    inputs={"voltage": "V [V] source", "resistance": "R [Ω] in series",
            "capacitance": "C [mF] sum of all capacitors on the bus",
            "time": "t [s] since closing"},
    basis="read", source=TEXTBOOK_DC, where="vol. I ch. 16, voltage and current calculations",
    valid="capacitor empty at the start, no load on it",
    safe_side="a load on the bus makes it lower: use the loaded time then")
def charged_voltage(voltage: Any, resistance: Any, capacitance: Any, time: Any) -> Any:
    """Voltage that an unloaded bus has reached after a time.

    Examples:
        >>> round(float(charged_voltage(400.0, 100.0, 1e-3, 0.1)), 3)
        252.848
    """
    return -voltage * np.expm1(-time / (resistance * capacitance))


@formula(
    title="Time for an unloaded capacitor to reach a level", symbol="t", unit="s",
    text="t = −(R·C/1000)·ln(1 − x/100)",
    inputs={"resistance": "R [Ω] in series", "capacitance": "C [mF] sum on the bus",
            "level": "x [%] share of the source voltage"},
    basis="read", source=TEXTBOOK_RC, where="ch. 21.6, problem 73",
    valid="0 ≤ x < 100 %, capacitor empty at the start, no load on it",
    safe_side="upper tolerances of R and C; a load makes it longer")
def charging_time(resistance: Any, capacitance: Any, level: Any) -> Any:
    """Time to a share of the source voltage, whatever that voltage is.

    Examples:
        >>> round(float(charging_time(100.0, 1e-3, 0.95)), 5)
        0.29957
    """
    return -resistance * capacitance * np.log1p(-level)


@formula(
    title="Largest resistance that charges to a level within a time", symbol="R", unit="Ω",
    text="R = −1000·t/(C·ln(1 − x/100))",
    inputs={"time": "t [s] allowed", "capacitance": "C [mF] sum on the bus",
            "level": "x [%] share of the source voltage"},
    basis="read", source=TEXTBOOK_DC, where="vol. I ch. 16, solving for unknown time",
    valid="0 < x < 100 %, no load on the bus", safe_side="upper tolerance of C")
def resistance_for_time(time: Any, capacitance: Any, level: Any) -> Any:
    """Upper end of the window of pre-charge resistances.

    Examples:
        >>> round(float(resistance_for_time(0.3, 1e-3, 0.95)), 2)
        100.14
    """
    return -time / (capacitance * np.log1p(-level))


@formula(
    title="Slope of the bus voltage at a level, no load", symbol="s", unit="V/s",
    text="s = 1000·V·(1 − x/100)/(R·C)",
    inputs={"voltage": "V [V] source", "level": "x [%] of the source voltage",
            "resistance": "R [Ω] in series", "capacitance": "C [mF] sum on the bus"},
    basis="definition", valid="no load on the bus",
    safe_side="upper tolerances and lowest V: the smallest slope that an unloaded bus shows")
def level_slope(voltage: Any, level: Any, resistance: Any, capacitance: Any) -> Any:
    """Slope that an unloaded bus still has when it passes a level.

    Examples:
        >>> round(level_slope(400.0, 0.95, 100.0, 1e-3), 3)
        200.0
    """
    return voltage * (1 - level) / (resistance * capacitance)


# -- charging a loaded bus --------------------------------------------------------------------


@formula(
    title="Voltage that a resistive load leaves on the bus", symbol="V_th", unit="V",
    text="V_th = V·R_L/(R + R_L)",
    inputs={"voltage": "V [V] source", "resistance": "R [Ω] pre-charge",
            "load_resistance": "R_L [Ω] load"},
    basis="read", source=TEXTBOOK_DC, where="vol. I ch. 16, complex circuits",
    valid="steady state", safe_side="upper tolerance of R, lowest source voltage")
def divided_voltage(voltage: Any, resistance: Any, load_resistance: Any) -> Any:
    """Open-circuit voltage of source, pre-charge resistor and resistive load.

    Examples:
        >>> round(divided_voltage(400.0, 50.0, 500.0), 3)
        363.636
    """
    return voltage * load_resistance / (resistance + load_resistance)


@formula(
    title="Two resistances in parallel", symbol="R_th", unit="Ω", text="R_th = R·R_L/(R + R_L)",
    inputs={"resistance": "R [Ω] the one", "load_resistance": "R_L [Ω] the other"},
    basis="definition")
def parallel_resistance(resistance: Any, load_resistance: Any) -> Any:
    """Resistance seen by the capacitor with a resistive load on it.

    Examples:
        >>> round(parallel_resistance(5000.0, 500.0), 3)
        454.545
    """
    return resistance * load_resistance / (resistance + load_resistance)


@formula(
    title="Charging time from one voltage to another with a constant-power load",
    symbol="t", unit="s",
    text="v1, v2 = V/2 ± √(V²/4 − P·R); t = R·C/(1000·(v1 − v2))·(v1·ln((v1 − va)/(v1 − vb)) "
         "+ v2·ln((vb − v2)/(va − v2)))",
    inputs={"voltage": "V [V] source (open circuit)", "resistance": "R [Ω] in series",
            "capacitance": "C [mF] sum on the bus", "power": "P [W] drawn from va on",
            "start": "va [V] start", "end": "vb [V] end"},
    basis="computed", source=TEXTBOOK_DC,
    where="vol. I ch. 16, unknown time; with P by integrating C·dv/dt = (V − v)/R − P/v",
    valid="v2 < va ≤ vb < v1 (with P = 0: 0 ≤ va ≤ vb < V); otherwise never, shown as infinite",
    safe_side="upper tolerances of R and C, lowest V, whole P from va on")
def loaded_charging_time(voltage: Any, resistance: Any, capacitance: Any, power: Any,
                         start: Any, end: Any) -> Any:
    """Exact time between two bus voltages; infinite where the load holds the bus down.

    Examples:
        >>> round(float(loaded_charging_time(400.0, 100.0, 1e-3, 0.0, 0.0, 380.0)), 5)
        0.29957
        >>> float(loaded_charging_time(400.0, 100.0, 1e-3, 300.0, 60.0, 290.0))
        inf
    """
    high = bus_voltage_with_power(voltage, resistance, power)
    low = power * resistance / high
    with np.errstate(divide="ignore", invalid="ignore"):
        upper = high * np.log((high - start) / (high - end))
        lower = np.where(low > 0, low * np.log((end - low) / (start - low)), 0.0)
        time = resistance * capacitance / (high - low) * (upper + lower)
    charges = (high > low) & ((start > low) | ((low == 0) & (start >= 0)))
    return np.where(charges & (start <= end) & (end < high), time, np.inf)[()]


@formula(
    title="Steady bus voltage with a constant-power load", symbol="v1", unit="V",
    text="v1 = V/2 + √(V²/4 − P·R)",
    inputs={"voltage": "V [V] source", "resistance": "R [Ω] in series", "power": "P [W] load"},
    basis="read", source=TEXTBOOK_RC, where="ch. 21.2, example on terminal voltage and load",
    valid="P ≤ V²/(4·R); above that no steady voltage exists (no number)",
    safe_side="upper tolerance of R, lowest V; the second root is unstable")
def bus_voltage_with_power(voltage: Any, resistance: Any, power: Any) -> Any:
    """Stable root of P = v·(V − v)/R; not a number when the load asks too much.

    Examples:
        >>> round(float(bus_voltage_with_power(400.0, 100.0, 100.0)), 3)
        373.205
    """
    square = np.asarray(voltage * voltage / 4 - power * resistance, dtype=float)
    return (voltage / 2 + np.sqrt(np.where(square < 0, np.nan, square)))[()]


@formula(
    title="Bus voltage at or below which a waking load stops the charge", symbol="v2", unit="V",
    text="v2 = P·R/v1",
    inputs={"power": "P [W] drawn from there on", "resistance": "R [Ω] in series",
            "steady": "v1 [V] steady bus voltage with it"},
    basis="definition", valid="v1 is the larger root of P·R = v·(V − v), v2 the other one",
    safe_side="upper tolerance of R, lowest V")
def least_waking_voltage(power: Any, resistance: Any, steady: Any) -> Any:
    """Below the smaller root the resistor passes less than the load draws.

    Examples:
        >>> least_waking_voltage(300.0, 100.0, 300.0)
        100.0
        >>> passing_power(400.0, 100.0, 100.0)
        300.0
    """
    return power * resistance / steady


@formula(
    title="Most power that passes a series resistance", symbol="P_max", unit="W",
    text="P_max = V²/(4·R)",
    inputs={"voltage": "V [V] source", "resistance": "R [Ω] in series"},
    basis="read", source="electrical-principles-2007", where="ch. 13, problem 23 (30 V, 1.5 Ω)",
    safe_side="upper tolerance of R, lowest V")
def most_power(voltage: Any, resistance: Any) -> Any:
    """Constant power above which the bus collapses.

    Examples:
        >>> most_power(400.0, 100.0)
        400.0
    """
    return voltage * voltage / (4 * resistance)


@formula(
    title="Power that the resistor passes at a bus voltage", symbol="P_v", unit="W",
    text="P_v = v·(V − v)/R",
    inputs={"voltage": "V [V] source", "resistance": "R [Ω] in series",
            "bus_voltage": "v [V] on the bus"},
    basis="definition", valid="0 ≤ v ≤ V", safe_side="upper tolerance of R, lowest V")
def passing_power(voltage: Any, resistance: Any, bus_voltage: Any) -> Any:
    """Largest load that may wake at a bus voltage without stopping the charge there.

    Examples:
        >>> passing_power(400.0, 100.0, 60.0)
        204.0
    """
    return bus_voltage * (voltage - bus_voltage) / resistance


@formula(
    title="Largest resistance that carries a load at a bus voltage", symbol="R", unit="Ω",
    text="R = (V − v)/(P/v + v·G/1000)",
    inputs={"voltage": "V [V] source", "bus_voltage": "v [V] on the bus",
            "power": "P [W] constant power awake", "conductance": "G [mS] resistive loads awake"},
    basis="definition", valid="0 < v < V, P + G > 0", safe_side="lowest V; R is the upper limit")
def carrying_resistance(voltage: Any, bus_voltage: Any, power: Any, conductance: Any) -> Any:
    """Resistance at which the whole charging current goes into the loads.

    Examples:
        >>> round(carrying_resistance(400.0, 60.0, 204.0, 0.0), 6)
        100.0
    """
    return (voltage - bus_voltage) / (power / bus_voltage + bus_voltage * conductance)


@formula(
    title="Sum of two conductances of resistive loads", symbol="G", unit="mS",
    text="G = G1 + 1000/R2",
    inputs={"conductance": "G1 [mS] so far", "resistance": "R2 [Ω] one more load"},
    basis="definition")
def added_conductance(conductance: Any, resistance: Any) -> Any:
    """Resistive loads that are awake together.

    Examples:
        >>> round(added_conductance(0.001, 500.0), 6)
        0.003
    """
    return conductance + 1 / resistance


@formula(
    title="Current that the loads draw at a bus voltage", symbol="I_L", unit="A",
    text="I_L = P/v + v·G/1000",
    inputs={"power": "P [W] constant power awake", "conductance": "G [mS] resistive loads awake",
            "bus_voltage": "v [V] on the bus"},
    basis="definition", valid="v > 0")
def load_current(power: Any, conductance: Any, bus_voltage: Any) -> Any:
    """What the awake loads take from the charging current.

    Examples:
        >>> round(load_current(100.0, 0.002, 200.0), 6)
        0.9
    """
    return power / bus_voltage + bus_voltage * conductance


@formula(
    title="Slope of a loaded bus", symbol="s", unit="V/s",
    text="s = 1000·((V − v)/R − I_L)/C",
    inputs={"voltage": "V [V] source", "bus_voltage": "v [V] on the bus",
            "load_current": "I_L [A] drawn by loads", "resistance": "R [Ω] in series",
            "capacitance": "C [mF] sum on the bus"},
    basis="definition", safe_side="upper tolerances and lowest V: the smallest slope")
def loaded_slope(voltage: Any, bus_voltage: Any, load_current: Any, resistance: Any,
                 capacitance: Any) -> Any:
    """Slope with loads awake; zero or less means that the bus hangs there.

    Examples:
        >>> round(loaded_slope(400.0, 60.0, 1.0, 100.0, 1e-3), 6)
        2400.0
    """
    return ((voltage - bus_voltage) / resistance - load_current) / capacitance


@formula(
    title="Resistance that meets a time limit, from one that was tried", symbol="R", unit="Ω",
    text="R = R_t·min(1; t_x/t)",
    inputs={"trial": "R_t [Ω] tried", "time": "t [s] to the level with it",
            "limit": "t_x [s] allowed"},
    basis="definition",
    valid="a fixed capacitance, source and loads",
    safe_side="a smaller resistance: with loads awake the time grows faster than the resistance")
def resistance_from_trial(trial: Any, time: Any, limit: Any) -> Any:
    """With loads that draw what they draw, C·dv/dt = (V − v)/R − i(v): as a function of t/R
    the voltage rises the more slowly the larger R is, so that t/R never falls as R grows.

    Examples:
        >>> float(resistance_from_trial(100.0, 2.0, 1.5))
        75.0
        >>> float(resistance_from_trial(100.0, 1.0, 1.5))
        100.0
    """
    return trial * np.minimum(1.0, limit / time)


# -- telling a held bus -----------------------------------------------------------------------


@formula(
    title="Change of voltage in a time", symbol="Δv", unit="V", text="Δv = s·t",
    inputs={"slope": "s [V/s] slope", "time": "t [s] between two readings"}, basis="definition")
def change_in_time(slope: Any, time: Any) -> Any:
    """What a voltage measurement must resolve to see a slope.

    Examples:
        >>> change_in_time(20.0, 0.1)
        2.0
    """
    return slope * time


@formula(
    title="Half of a slope", symbol="s_h", unit="V/s", text="s_h = s/2",
    inputs={"slope": "s [V/s] smallest healthy slope"},
    basis="assumed", source="packcalc-rule",
    where="half of the smallest healthy slope tells a held bus",
    safe_side="lower: gives up later")
def half_slope(slope: Any) -> Any:
    """Our margin between a healthy and a held bus.

    Examples:
        >>> half_slope(175.0)
        87.5
    """
    return slope / 2


# -- what the resistor bears ------------------------------------------------------------------


@formula(
    title="Energy in a capacitor", symbol="E", unit="J", text="E = ½·(C/1000)·V²",
    inputs={"capacitance": "C [mF] sum on the bus", "voltage": "V [V] on it"},
    basis="read", source=TEXTBOOK_POWER, where="example 2.4 (0.1 µF, 220 V, 44 Ω: 2.42 mJ)",
    safe_side="upper tolerance of C, highest V")
def capacitor_energy(capacitance: Any, voltage: Any) -> Any:
    """Energy stored; the same energy heats the resistor in one full charge, whatever R is.

    Examples:
        >>> capacitor_energy(1e-3, 400.0)
        80.0
    """
    return capacitance * voltage * voltage / 2


@formula(
    title="Current through a resistance at a voltage", symbol="I", unit="A", text="I = V/R",
    inputs={"voltage": "V [V] across it", "resistance": "R [Ω] resistance"},
    basis="definition", safe_side="lower tolerance of R, highest V")
def current_at(voltage: Any, resistance: Any) -> Any:
    """Ohm's law.

    Examples:
        >>> current_at(400.0, 100.0)
        4.0
    """
    return voltage / resistance


@formula(
    title="Least resistance for a peak current", symbol="R_min", unit="Ω", text="R_min = V/I",
    inputs={"voltage": "V [V] across it", "current": "I [A] allowed"},
    basis="definition", safe_side="highest V")
def least_resistance(voltage: Any, current: Any) -> Any:
    """Ohm's law for the lower end of the window.

    Examples:
        >>> least_resistance(400.0, 20.0)
        20.0
    """
    return voltage / current


@formula(
    title="Power in a resistance at a voltage", symbol="P", unit="W", text="P = V²/R",
    inputs={"voltage": "V [V] across it", "resistance": "R [Ω] resistance"},
    basis="definition", safe_side="lower tolerance of R, highest V")
def resistor_power(voltage: Any, resistance: Any) -> Any:
    """Power while the whole voltage stands across a resistor.

    Examples:
        >>> resistor_power(400.0, 100.0)
        1600.0
    """
    return voltage * voltage / resistance


@formula(
    title="Energy of failed pre-charges", symbol="E_f", unit="J", text="E_f = n·t·V²/R",
    inputs={"voltage": "V [V] across the resistor", "resistance": "R [Ω] resistance",
            "timeout": "t [s] until given up", "tries": "n [] tries without rest"},
    basis="definition", valid="bus short-circuited or held at zero",
    safe_side="lower tolerance of R, highest V, no cooling between tries")
def failed_charge_energy(voltage: Any, resistance: Any, timeout: Any, tries: Any) -> Any:
    """Heat in the resistor when the bus never rises.

    Examples:
        >>> failed_charge_energy(400.0, 100.0, 1.0, 1)
        1600.0
    """
    return tries * timeout * voltage * voltage / resistance


@formula(
    title="Mean power of repeated events", symbol="P_m", unit="W", text="P_m = n·E/t",
    inputs={"energy": "E [J] of one event", "events": "n [] events",
            "duration": "t [s] in which they happen"},
    basis="definition", safe_side="shortest time in which the events can follow each other")
def mean_power(energy: Any, events: Any, duration: Any) -> Any:
    """Mean power of equal events in a time.

    Examples:
        >>> mean_power(80.0, 3, 30.0)
        8.0
    """
    return events * energy / duration


# -- discharging ------------------------------------------------------------------------------


@formula(
    title="Time for a capacitor to fall to a voltage through a resistor", symbol="t", unit="s",
    text="t = (R·C/1000)·ln(V/v)",
    inputs={"resistance": "R [Ω] across it", "capacitance": "C [mF] sum on the bus",
            "voltage": "V [V] at the start", "end": "v [V] at the end"},
    basis="read", source=TEXTBOOK_RC, where="ch. 21.6, problem 69 (12 kV to 600 V: 30.0 ms)",
    valid="0 < v ≤ V, source disconnected", safe_side="upper tolerances of R and C, highest V")
def discharge_time(resistance: Any, capacitance: Any, voltage: Any, end: Any) -> Any:
    """Time until a bleed resistor has brought the bus down.

    Examples:
        >>> round(float(discharge_time(2635.57, 1e-3, 400.0, 60.0)), 4)
        5.0
    """
    return resistance * capacitance * np.log(voltage / end)


@formula(
    title="Largest bleed resistance for a discharge time", symbol="R_b", unit="Ω",
    text="R_b = 1000·t/(C·ln(V/v))",
    inputs={"time": "t [s] allowed", "capacitance": "C [mF] sum on the bus",
            "voltage": "V [V] at the start", "end": "v [V] at the end"},
    basis="read", source=TEXTBOOK_RC, where="ch. 21.6, problem 69 (8.00 µF: 1.25 kΩ)",
    valid="0 < v < V, source disconnected", safe_side="upper tolerance of C, highest V")
def bleed_resistance(time: Any, capacitance: Any, voltage: Any, end: Any) -> Any:
    """Largest resistance across the bus that reaches a voltage in time.

    Examples:
        >>> round(float(bleed_resistance(5.0, 1e-3, 400.0, 60.0)), 2)
        2635.57
    """
    return time / (capacitance * np.log(voltage / end))


# -- sums and shares --------------------------------------------------------------------------


@formula(
    title="Sum of two times", symbol="t", unit="s", text="t = t1 + t2",
    inputs={"first": "t1 [s] the one", "second": "t2 [s] the other"}, basis="definition")
def sum_of_times(first: Any, second: Any) -> Any:
    """One stage after the other.

    Examples:
        >>> sum_of_times(0.1, 0.2) == 0.1 + 0.2
        True
    """
    return first + second


@formula(
    title="Power of a current at a voltage", symbol="P", unit="W", text="P = U·I",
    inputs={"voltage": "U [V] across it", "current": "I [A] through it"}, basis="definition")
def current_power(voltage: Any, current: Any) -> Any:
    """Power that a current carries at a voltage.

    Examples:
        >>> current_power(400.0, 2.5)
        1000.0
    """
    return voltage * current


@formula(
    title="Sum of two powers", symbol="P", unit="W", text="P = P1 + P2",
    inputs={"first": "P1 [W] the one", "second": "P2 [W] the other"}, basis="definition")
def sum_of_powers(first: Any, second: Any) -> Any:
    """Loads that are awake together.

    Examples:
        >>> sum_of_powers(100.0, 50.0)
        150.0
    """
    return first + second


@formula(
    title="A share of a voltage", symbol="v", unit="V", text="v = V·x/100",
    inputs={"voltage": "V [V] the whole", "share": "x [%] share"}, basis="definition")
def share_of_voltage(voltage: Any, share: Any) -> Any:
    """Voltage of a level.

    Examples:
        >>> share_of_voltage(400.0, 0.95)
        380.0
    """
    return voltage * share


@formula(
    title="Voltage across the open contact when it closes", symbol="ΔV", unit="V",
    text="ΔV = V·(1 − x/100)",
    inputs={"voltage": "V [V] source", "level": "x [%] level at which the main may close"},
    basis="definition", safe_side="highest V")
def closing_difference(voltage: Any, level: Any) -> Any:
    """What the main contactor closes onto after pre-charge.

    Examples:
        >>> round(closing_difference(400.0, 0.95), 6)
        20.0
    """
    return voltage * (1 - level)


@formula(
    title="Voltage left across the resistor", symbol="ΔV", unit="V", text="ΔV = V − v",
    inputs={"voltage": "V [V] source", "bus_voltage": "v [V] on the bus"}, basis="definition")
def remaining_voltage(voltage: Any, bus_voltage: Any) -> Any:
    """What the resistor sees while the bus stands at a voltage.

    Examples:
        >>> remaining_voltage(400.0, 60.0)
        340.0
    """
    return voltage - bus_voltage
