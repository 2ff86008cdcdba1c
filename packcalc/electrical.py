"""The pack as one source behind one resistance: Kirchhoff's laws at a corner.

Every function takes and returns plain SI floats or numpy arrays; scalar equals vector.
"""

from __future__ import annotations

import numpy as np

from packcalc.findings import formula
from packcalc.transients import passing_power

# A contactor stands in each pole, so the current passes two.
POLES = 2


@formula(title="voltage of modules in series", symbol="U", unit="V", text="U = S · U_m",
         inputs={"series": "S [] modules in series", "module_voltage": "U_m [V] of one module"},
         basis="definition")
def series_voltage(series, module_voltage):
    """Voltage of S modules in series.

    Examples:
        >>> series_voltage(16, 21.6)
        345.6
    """
    return series * module_voltage


@formula(title="sum of two parts in series", symbol="x", unit="V", text="x = x_1 + x_2",
         inputs={"first": "x_1 [V] first part", "second": "x_2 [V] second part"},
         basis="definition")
def series_sum(first, second):
    """Voltage of two unlike parts in series.

    Examples:
        >>> series_sum(200.0, 100.0)
        300.0
    """
    return first + second


@formula(title="resistance of two parts in series", symbol="R", unit="Ω", text="R = R_1 + R_2",
         inputs={"first": "R_1 [Ω] first part", "second": "R_2 [Ω] second part"},
         basis="definition")
def resistance_sum(first, second):
    """Resistance of two parts in series.

    Examples:
        >>> resistance_sum(0.5, 0.25)
        0.75
    """
    return first + second


@formula(title="resistance of the modules", symbol="R_mod", unit="Ω", text="R_mod = S · R_m / P",
         inputs={"series": "S [] modules in series", "parallel": "P [] modules in parallel",
                 "module_resistance": "R_m [Ω] of one module"},
         basis="definition")
def stack_resistance(series, parallel, module_resistance):
    """Resistance of S groups of P equal modules.

    Examples:
        >>> stack_resistance(16, 2, 0.01)
        0.08
    """
    return series * module_resistance / parallel


@formula(title="path of a grouped pack", symbol="R_path", unit="Ω",
         text="R_path = (S + 1)·R_ln + R_fu + 2·R_k",
         inputs={"series": "S [] groups in series", "link": "R_ln [Ω] one module link",
                 "fuse": "R_fu [Ω] main fuse", "contactor": "R_k [Ω] one closed contactor"},
         basis="definition", safe_side="every group counted with a whole link, none shared")
def grouped_path(series, link, fuse, contactor):
    """Links, main fuse and one contactor in each pole.

    Examples:
        >>> round(grouped_path(16, 0.2e-3, 0.5e-3, 0.4e-3), 6)
        0.0047
    """
    return (series + 1) * link + fuse + POLES * contactor


@formula(title="path of parallel strings", symbol="R_path", unit="Ω",
         text="R_path = ((S + 1)·R_ln + R_fu + 2·R_k)/P + R_fu",
         inputs={"series": "S [] modules in series", "parallel": "P [] strings in parallel",
                 "link": "R_ln [Ω] one module link", "fuse": "R_fu [Ω] one fuse",
                 "contactor": "R_k [Ω] one closed contactor"},
         basis="definition",
         safe_side="fuse and contactors in every string, and a main fuse behind them")
def strings_path(series, parallel, link, fuse, contactor):
    """Each string with its links, fuse and two contactors; then the main fuse.

    Examples:
        >>> round(strings_path(16, 2, 0.2e-3, 0.5e-3, 0.4e-3), 6)
        0.00285
    """
    return ((series + 1) * link + fuse + POLES * contactor) / parallel + fuse


@formula(title="resistance of the cables inside a string", symbol="R_sc", unit="mΩ",
         text="R_sc = l · R' · 35/S",
         inputs={"length": "l [m] all cables of one string",
                 "resistance_per_length": "R' [mΩ/m] of a conductor of 35 mm², hot",
                 "section": "S [mm²] the smallest of them"},
         basis="definition", valid="copper", safe_side="high: the smallest section all along")
def string_cables(length, resistance_per_length, section):
    """Cables from box to box of one string, which its whole current passes once.

    Examples:
        >>> round(string_cables(3.0, 0.7204e-3, 70e-6) * 1e3, 4)
        1.0806
    """
    return length * resistance_per_length * 35e-6 / section


@formula(title="resistance of the traction cables", symbol="R_cab", unit="mΩ",
         text="R_cab = 2 · l · R'",
         inputs={"length": "l [m] one way, all traction routes",
                 "resistance_per_length": "R' [mΩ/m] of one conductor, hot"},
         basis="definition",
         safe_side="allowance; the cable chosen later must not exceed it")
def cable_allowance(length, resistance_per_length):
    """Loop resistance allowed for the traction cables when sag is judged.

    Examples:
        >>> round(cable_allowance(5.0, 0.7204e-3), 6)
        0.007204
    """
    return 2.0 * length * resistance_per_length


@formula(title="resistance up to the inverter", symbol="R", unit="Ω",
         text="R = R_mod + R_path + R_cab",
         inputs={"modules": "R_mod [Ω] modules", "path": "R_path [Ω] links, fuses, contactors",
                 "cables": "R_cab [Ω] cables"},
         basis="definition")
def total_resistance(modules, path, cables):
    """All resistance between the open-circuit voltage and the inverter's terminals.

    Examples:
        >>> round(total_resistance(0.2, 0.005, 0.007), 3)
        0.212
    """
    return modules + path + cables


@formula(title="capacity of the pack", symbol="Q", unit="Ah", text="Q = P · Q_m · SOH/100",
         inputs={"parallel": "P [] in parallel", "module_capacity": "Q_m [Ah] label capacity",
                 "state_of_health": "SOH [%] capacity left"},
         basis="definition", safe_side="capacity as it is now, not as labelled")
def pack_capacity(parallel, module_capacity, state_of_health):
    """Capacity of P equal modules in parallel at their state of health.

    Examples:
        >>> pack_capacity(2, 3600.0 * 100, 0.8) / 3600
        160.0
    """
    return parallel * module_capacity * state_of_health


@formula(title="charge left at the end of the peak", symbol="SOC_e", unit="%",
         text="SOC_e = SOC − 100 · P·t / (U · Q · 3600 s/h)",
         inputs={"charge": "SOC [%] before the peak", "power": "P [W] peak power",
                 "duration": "t [s] of the peak", "voltage": "U [V] lowest voltage allowed",
                 "capacity": "Q [Ah] of the pack"},
         basis="assumed", source="packcalc-rule",
         where="the current of the end of the peak is counted for all of it",
         safe_side="the current is counted as P/U_lowest throughout, more than it is")
def charge_left(charge, power, duration, voltage, capacity):
    """State of charge when the peak ends, with the largest current it can draw.

    Examples:
        >>> round(charge_left(0.10, 120e3, 30.0, 300.0, 3600.0 * 200), 5)
        0.08333
    """
    return charge - power * duration / (voltage * capacity)


@formula(title="battery current at constant power", symbol="I", unit="A",
         text="I = 2·P / (E + √(E² − 4·R·P))",
         inputs={"open_circuit_voltage": "E [V] open-circuit voltage",
                 "resistance": "R [Ω] up to the inverter", "power": "P [W] at the inverter"},
         valid="P ≤ E²/(4·R); beyond it there is no solution and the result is not a number",
         basis="definition", where="smaller root of P = I·(E − I·R)")
def constant_power_current(open_circuit_voltage, resistance, power):
    """Current that delivers a power at the inverter's terminals (the smaller root).

    Examples:
        >>> round(float(constant_power_current(345.6, 0.2, 90e3)), 2)
        319.49
    """
    e = np.asarray(open_circuit_voltage, dtype=float)
    root = e * e - 4.0 * resistance * power
    with np.errstate(invalid="ignore"):
        return 2.0 * power / (e + np.sqrt(root))


@formula(title="loaded voltage", symbol="U", unit="V", text="U = E − I · R",
         inputs={"open_circuit_voltage": "E [V] open-circuit voltage",
                 "current": "I [A] drawn", "resistance": "R [Ω] up to the inverter"},
         basis="definition")
def loaded_voltage(open_circuit_voltage, current, resistance):
    """Voltage at the inverter's terminals under load.

    Examples:
        >>> loaded_voltage(345.6, 300.0, 0.2)
        285.6
    """
    return open_circuit_voltage - current * resistance


def available_power(voltage, open_circuit_voltage, resistance):
    """Power available down to a bus voltage: never more than the theoretical maximum.

    Below half the open-circuit voltage more current gives less power, so the bus is then
    held at half; above the open-circuit voltage there is none.

    Examples:
        >>> float(available_power(260.0, 345.6, 0.2)), float(available_power(100.0, 345.6, 0.2))
        (111280.00000000003, 149299.2)
        >>> float(available_power(400.0, 345.6, 0.2))
        0.0
    """
    held = np.maximum(voltage, np.asarray(open_circuit_voltage) / 2.0)
    return np.maximum(passing_power(open_circuit_voltage, resistance, held), 0.0)


@formula(title="voltage while power is fed back", symbol="U", unit="V",
         text="U = (E + √(E² + 4·R·P)) / 2",
         inputs={"open_circuit_voltage": "E [V] open-circuit voltage",
                 "resistance": "R [Ω] up to the inverter", "power": "P [W] fed back"},
         basis="definition", safe_side="cold and aged resistance gives the higher voltage")
def charging_voltage(open_circuit_voltage, resistance, power):
    """Voltage at the inverter's terminals while it feeds a power into the battery.

    Examples:
        >>> round(float(charging_voltage(400.0, 0.2, 40e3)), 2)
        419.09
    """
    e = np.asarray(open_circuit_voltage, dtype=float)
    return 0.5 * (e + np.sqrt(e * e + 4.0 * resistance * power))


@formula(title="voltage at a charging current", symbol="U", unit="V", text="U = E + I · R",
         inputs={"open_circuit_voltage": "E [V] open-circuit voltage", "current": "I [A] fed in",
                 "resistance": "R [Ω] up to the inverter"},
         basis="definition")
def raised_voltage(open_circuit_voltage, current, resistance):
    """Voltage at the inverter's terminals at a charging current.

    Examples:
        >>> raised_voltage(400.0, 100.0, 0.2)
        420.0
    """
    return open_circuit_voltage + current * resistance


@formula(title="full-charge voltage with charger tolerance", symbol="U_full", unit="V",
         text="U_full = U · (1 + Δ/100)",
         inputs={"voltage": "U [V] at the end of charging", "tolerance": "Δ [%] of the charger"},
         basis="definition", safe_side="upper tolerance")
def with_tolerance(voltage, tolerance):
    """A voltage at its upper tolerance.

    Examples:
        >>> round(with_tolerance(403.2, 0.01), 3)
        407.232
    """
    return voltage * (1.0 + tolerance)


@formula(title="energy between two states of charge", symbol="W", unit="kWh",
         text="W = Q · (SOC_1 − SOC_2)/100 · U / 1000",
         inputs={"capacity": "Q [Ah] of the pack", "upper": "SOC_1 [%] from",
                 "lower": "SOC_2 [%] down to", "voltage": "U [V] mean open-circuit voltage"},
         basis="definition", safe_side="losses in the resistance are not taken off")
def energy_between(capacity, upper, lower, voltage):
    """Energy at the cells between two states of charge.

    Examples:
        >>> energy_between(3600.0 * 200, 1.0, 0.1, 350.0) / 3.6e6
        63.0
    """
    return capacity * (upper - lower) * voltage


@formula(title="current at a power and a voltage", symbol="I", unit="A", text="I = P / U",
         inputs={"power": "P [W] drawn", "voltage": "U [V] at which it is drawn"},
         basis="definition",
         safe_side="largest at the lowest voltage at which the inverter still runs")
def power_current(power, voltage):
    """Current that carries a power at a voltage.

    Examples:
        >>> power_current(90e3, 300.0)
        300.0
    """
    return power / voltage


@formula(title="current of one module", symbol="I_m", unit="A", text="I_m = I / P",
         inputs={"current": "I [A] of the pack", "parallel": "P [] modules or strings in parallel"},
         basis="definition",
         safe_side="even sharing; unequal strings can take more, see the sharing cautions")
def module_current(current, parallel):
    """Current of one of P equal branches.

    Examples:
        >>> module_current(300.0, 2)
        150.0
    """
    return current / parallel


@formula(title="current against capacity", symbol="c", unit="1/h", text="c = I / Q",
         inputs={"current": "I [A] drawn", "capacity": "Q [Ah] real capacity"}, basis="definition")
def rate(current, capacity):
    """Current as multiples of the real capacity per hour.

    Examples:
        >>> rate(300.0, 3600.0 * 150) * 3600
        2.0
    """
    return current / capacity


@formula(title="current limit at the real capacity", symbol="I_lim", unit="A",
         text="I_lim = I_label · min(SOH, 100)/100",
         inputs={"limit": "I_label [A] of a new module",
                 "state_of_health": "SOH [%] capacity left"},
         basis="assumed", source="packcalc-rule",
         where="a module that lost capacity is loaded at the same rate",
         safe_side="a limit counts as a rate of the capacity that is left, never more than new")
def limit_at_health(limit, state_of_health):
    """Current limit of a module that has lost capacity.

    Examples:
        >>> float(limit_at_health(240.0, 0.88))
        211.2
    """
    return limit * np.minimum(state_of_health, 1.0)


@formula(title="resistance of a module below the record's", symbol="R_m", unit="mΩ",
         text="R_m = R · min(f_age, 1)",
         inputs={"resistance": "R [mΩ] of a new module", "growth": "f_age [] as measured"},
         basis="assumed", source="packcalc-rule",
         where="only a resistance below the record's is believed",
         safe_side="low: age never raises the resistance of the highest fault")
def resistance_at_fault(resistance, growth):
    """Resistance for the highest fault of a module that measures lower than its record.

    Examples:
        >>> round(float(resistance_at_fault(0.005, 0.9)), 6), float(resistance_at_fault(0.005, 1.3))
        (0.0045, 0.005)
    """
    return resistance * np.minimum(growth, 1.0)


@formula(title="mass of the modules", symbol="m", unit="kg", text="m = S · P · m_m",
         inputs={"series": "S [] in series", "parallel": "P [] in parallel",
                 "module_mass": "m_m [kg] of one module"}, basis="definition",
         safe_side="modules only: box, links and protection come on top")
def modules_mass(series, parallel, module_mass):
    """Mass of all modules of one type.

    Examples:
        >>> modules_mass(16, 2, 12.0)
        384.0
    """
    return series * parallel * module_mass
