"""Formulas of a copper conductor: heat, resistance, drop and short circuit."""

from __future__ import annotations

from typing import Any

import numpy as np

from packcalc.errors import OutOfRange
from packcalc.findings import formula, leaf
from packcalc.units import from_si, into_si

BETA_COPPER = 234.5      # °C below zero where copper's straight line meets no resistance
K_COPPER = 226e6         # A·√s/m², IEC 60949
BETA_ALUMINIUM = 228.0   # °C, as for copper
K_ALUMINIUM = 148e6      # A·√s/m², IEC 60949
MELTING_COPPER = 1083.0  # °C
# Ω/m of 1 mm²: the dearest copper of IEC 60228.
ONE_HIGH = leaf("highest resistance of copper for each metre of 1 mm²", "r_1", "mΩ/m", 20.55e-3,
                "computed", source="iec-60228",
                note="class 5, tinned: 13.7 mΩ/m at 1.5 mm², 20 °C")
TABLE_AT = leaf("temperature of the resistance table", "θ_0", "°C", 293.15, "read",
                source="iec-60228")


def _any(condition: Any) -> bool:
    # `np.any` of a single truth takes as long as all the rest of these formulas
    return bool(condition if isinstance(condition, (bool, np.bool_)) else np.any(condition))


@formula(title="correction factor for the air temperature", symbol="k_a", unit="",
         text="k_a = √((θ_max − θ_a) / Δθ)",
         inputs={"limit": "θ_max [°C] highest temperature the conductor may have",
                 "ambient": "θ_a [°C] air around the cable",
                 "rise": "Δθ [K] rise of the conductor at the table current"},
         valid="θ_a below θ_max; heat loss taken as proportional to the rise",
         safe_side="a lower factor", source="nfpa-70", where="310.15(B), equation", basis="read")
def cable_ambient_factor(limit: Any, ambient: Any, rise: Any) -> Any:
    """How the permitted current changes with air temperature, or with a lower limit.

    Examples:
        >>> round(float(cable_ambient_factor(363.15, 323.15, 60.0)), 3)
        0.816
    """
    if _any(np.asarray(ambient) >= np.asarray(limit)):
        air, top = (from_si(np.asarray(v), "°C") for v in (ambient, limit))
        raise OutOfRange(f"air at {np.max(air):.4g} °C leaves nothing below the limit of "
                         f"{np.min(top):.4g} °C; cool the place or raise the limit")
    return np.sqrt((limit - ambient) / rise)


@formula(title="product of two correction factors", symbol="k", unit="", text="k = k_1 · k_2",
         inputs={"first": "k_1 [] one factor", "second": "k_2 [] another factor"},
         basis="definition")
def combined_factor(first: Any, second: Any) -> Any:
    """Two factors that apply at once.

    Examples:
        >>> round(combined_factor(0.8, 0.86), 3)
        0.688
    """
    return first * second


@formula(title="required table current", symbol="I_t,req", unit="A",
         text="I_t,req = I · p / (k_a · k_g)",
         inputs={"current": "I [A] current of the route", "share": "p [] share of the busier run",
                 "ambient_factor": "k_a [] for the air temperature",
                 "grouping_factor": "k_g [] for neighbours and laying"},
         valid="factors of one rule set; other limits by heat",
         safe_side="a higher current",
         source="bs-7671", where="Appendix 4, I_t at least I / (C_a · C_g)", basis="read")
def required_table_current(current: Any, share: Any, ambient_factor: Any,
                           grouping_factor: Any) -> Any:
    """Current that the table must show for the section wanted.

    Examples:
        >>> round(float(required_table_current(196.4, 1.0, 0.85, 0.70)), 1)
        330.1
    """
    return current * share / (ambient_factor * grouping_factor)


@formula(title="corrected current of one cable", symbol="I_z", unit="A",
         text="I_z = I_t · k_a · k_g",
         inputs={"table_current": "I_t [A] from the table",
                 "ambient_factor": "k_a [] for the air temperature",
                 "grouping_factor": "k_g [] for neighbours and laying"},
         valid="factors of one rule set; other limits by heat",
         safe_side="a lower current",
         source="iec-60364-5-52", where="523 and Tables B.52.14, B.52.17", basis="read")
def corrected_current(table_current: Any, ambient_factor: Any, grouping_factor: Any) -> Any:
    """What one cable may carry where it lies.

    Examples:
        >>> round(corrected_current(330.0, 0.85, 0.70), 2)
        196.35
    """
    return table_current * ambient_factor * grouping_factor


@formula(title="current of the route at which its busier run is full", symbol="I_route", unit="A",
         text="I_route = I_z / p",
         inputs={"per_run": "I_z [A] what one cable may carry",
                 "share": "p [] share of the busier run"},
         basis="definition")
def route_current(per_run: Any, share: Any) -> Any:
    """Capacity of all runs together.

    Examples:
        >>> round(route_current(196.35, 0.55), 1)
        357.0
    """
    return per_run / share


@formula(title="current of the busier run", symbol="I_run", unit="A", text="I_run = I · p",
         inputs={"current": "I [A] current of the route", "share": "p [] share of the busier run"},
         basis="definition")
def run_current(current: Any, share: Any) -> Any:
    """What the busier run carries.

    Examples:
        >>> round(run_current(300.0, 0.55), 1)
        165.0
    """
    return current * share


@formula(title="conductor temperature under load", symbol="θ", unit="°C",
         text="θ = θ_a + Δθ · (I / (I_t · k_g))²",
         inputs={"ambient": "θ_a [°C] air around the cable",
                 "rise": "Δθ [K] rise of the conductor at the table current",
                 "current": "I [A] current of the run", "table_current": "I_t [A] from the table",
                 "grouping_factor": "k_g [] for neighbours and laying"},
         valid="steady load; neighbours loaded in the same proportion",
         safe_side="a higher temperature; falling resistance and weaker air movement at part "
                   "load nearly cancel and are both left out",
         source="bs-7671", where="Appendix 4, conductor operating temperature", basis="read")
def conductor_temperature(ambient: Any, rise: Any, current: Any, table_current: Any,
                          grouping_factor: Any) -> Any:
    """Steady conductor temperature at a current below or at the table's.

    Examples:
        >>> round(float(conductor_temperature(323.15, 60.0, 82.0, 100.0, 1.0)) - 273.15, 1)
        90.3
    """
    return ambient + rise * (current / (table_current * grouping_factor)) ** 2


@formula(title="resistance of copper at another temperature", symbol="r_θ", unit="mΩ/m",
         text="r_θ = r_0 · (234.5 + θ) / (234.5 + θ_0)",
         inputs={"resistance": "r_0 [mΩ/m] at θ_0", "at": "θ_0 [°C] temperature of the table",
                 "temperature": "θ [°C] wanted temperature"},
         valid="−50 °C to 200 °C", safe_side="a higher temperature for drop and sag",
         source="iec-60949-adiabatic", where="constant 234.5 K of copper", basis="read")
def copper_resistance(resistance: Any, at: Any, temperature: Any) -> Any:
    """Copper's resistance rises on a straight line.

    Examples:
        >>> round(copper_resistance(0.193e-3, 293.15, 363.15) * 1e3, 4)
        0.2461
    """
    return (resistance * (BETA_COPPER + from_si(temperature, "°C"))
            / (BETA_COPPER + from_si(at, "°C")))


@formula(title="resistance of one conductor", symbol="R_w", unit="mΩ", text="R_w = l·r_1/(n·S)",
         inputs={"length": "l [m] one way", "one": "r_1 [mΩ/m] of 1 mm²",
                 "area": "S [mm²] of one cable", "cables": "n [] cables a pole"},
         basis="definition", valid="copper; cables alike")
def wire_resistance(length: Any, one: Any, area: Any, cables: Any) -> Any:
    """One conductor of a run, of one cable or several side by side.

    Examples:
        >>> round(wire_resistance(2.5, 20.55e-3, 4e-6, 1) * 1e3, 3)
        12.844
    """
    return length * one * 1e-6 / (cables * area)


@formula(title="loop resistance of the route", symbol="R_loop", unit="mΩ",
         text="R_loop = 2 · r · l / n",
         inputs={"resistance": "r [mΩ/m] of one conductor", "length": "l [m] one way",
                 "runs": "n [] cables a pole"}, basis="definition")
def cable_loop_resistance(resistance: Any, length: Any, runs: Any) -> Any:
    """Out and back, all runs in parallel.

    Examples:
        >>> round(cable_loop_resistance(0.35e-3, 4.0, 2) * 1e3, 2)
        1.4
    """
    return 2.0 * resistance * length / runs


@formula(title="voltage drop of the route", symbol="ΔU", unit="V", text="ΔU = I · R_loop / 1000",
         inputs={"current": "I [A] current of the route",
                 "loop_resistance": "R_loop [mΩ] hot, out and back"}, basis="definition")
def cable_voltage_drop(current: Any, loop_resistance: Any) -> Any:
    """Drop over both poles.

    Examples:
        >>> round(cable_voltage_drop(400.0, 2.0e-3), 3)
        0.8
    """
    return current * loop_resistance


@formula(title="voltage drop against the system voltage", symbol="ε", unit="%",
         text="ε = 100 · ΔU / U",
         inputs={"drop": "ΔU [V] over both poles", "voltage": "U [V] lowest system voltage"},
         basis="definition")
def cable_drop_ratio(drop: Any, voltage: Any) -> Any:
    """Drop as a part of the lowest voltage.

    Examples:
        >>> round(cable_drop_ratio(2.6, 260.0), 3)
        0.01
    """
    return drop / voltage


@formula(title="adiabatic constant of copper", symbol="k", unit="A√s/mm²",
         text="k = 226 · √(ln(1 + (θ_f − θ_i) / (234.5 + θ_i)))",
         inputs={"start": "θ_i [°C] when the fault begins", "end": "θ_f [°C] highest permitted"},
         valid="θ_f above θ_i; 0.1 s to 5 s, shorter against the fuse's let-through",
         safe_side="a hotter start and a lower end", source="iec-60364-5-54",
         where="Annex A, equation of k", basis="read")
def adiabatic_constant(start: Any, end: Any) -> Any:
    """How much I²t a square millimetre of copper takes between two temperatures.

    Examples:
        >>> round(float(adiabatic_constant(363.15, 523.15)) / 1e6, 1)
        143.1
    """
    if _any(np.asarray(end) <= np.asarray(start)):
        hot, top = (from_si(np.asarray(v), "°C") for v in (start, end))
        raise OutOfRange(f"a fault would begin at {np.max(hot):.4g} °C, not below the end limit of "
                         f"{np.min(top):.4g} °C; nothing is left to heat")
    return K_COPPER * np.sqrt(np.log(1.0 + (end - start) / (BETA_COPPER + from_si(start, "°C"))))


@formula(title="adiabatic constant of aluminium", symbol="k", unit="A√s/mm²",
         text="k = 148 · √(ln(1 + (θ_f − θ_i) / (228 + θ_i)))",
         inputs={"start": "θ_i [°C] when the fault begins", "end": "θ_f [°C] highest permitted"},
         valid="θ_f above θ_i; 0.1 s to 5 s, shorter against the fuse's let-through",
         safe_side="a hotter start and a lower end", source="iec-60364-5-54",
         where="Annex A, equation of k", basis="read")
def aluminium_constant(start: Any, end: Any) -> Any:
    """How much I²t a square millimetre of aluminium takes between two temperatures.

    Examples:
        >>> round(float(aluminium_constant(363.15, 433.15)) / 1e6, 1)
        66.0
    """
    if _any(np.asarray(end) <= np.asarray(start)):
        hot, top = (from_si(np.asarray(v), "°C") for v in (start, end))
        raise OutOfRange(f"a fault would begin at {np.max(hot):.4g} °C, not below the end limit of "
                         f"{np.min(top):.4g} °C; nothing is left to heat")
    return K_ALUMINIUM * np.sqrt(
        np.log(1.0 + (end - start) / (BETA_ALUMINIUM + from_si(start, "°C"))))


@formula(title="heat of one of several paths", symbol="I²t_p", unit="A²s",
         text="I²t_p = I²t · (I_p / I)²",
         inputs={"whole": "I²t [A²s] of the whole current", "path": "I_p [A] through the one path",
                 "current": "I [A] through all"}, basis="definition")
def path_integral(whole: Any, path: Any, current: Any) -> Any:
    """What one path of a shared current takes while a device lets the whole through.

    Examples:
        >>> path_integral(1.0e6, 500.0, 1000.0)
        250000.0
    """
    return whole * (path / current) ** 2


@formula(title="smallest section for a fault", symbol="S_min", unit="mm²",
         text="S_min = √(I²·t) / k",
         inputs={"current": "I [A] fault current", "time": "t [s] until it is cleared",
                 "constant": "k [A√s/mm²] adiabatic constant"},
         valid="0.1 s to 5 s", safe_side="a larger section", source="iec-60364-4-43-conductors",
         where="434.5.2", basis="read")
def minimum_section(current: Any, time: Any, constant: Any) -> Any:
    """Copper that a fault needs, without heat loss.

    Examples:
        >>> round(float(minimum_section(12000.0, 0.02, 143e6)) * 1e6, 1)
        11.9
    """
    return np.sqrt(current ** 2 * time) / constant


@formula(title="I²t that one cable withstands", symbol="k²S²", unit="A²s", text="k²S² = k² · S²",
         inputs={"constant": "k [A√s/mm²] adiabatic constant", "area": "S [mm²] section"},
         valid="up to 5 s", safe_side="a lower figure", source="iec-60364-4-43-conductors",
         where="434.5.2", basis="read")
def cable_withstand(constant: Any, area: Any) -> Any:
    """Limit for the total clearing I²t of whatever protects the cable.

    Examples:
        >>> f"{cable_withstand(143e6, 35e-6):.3e}"
        '2.505e+07'
    """
    return (constant * area) ** 2


@formula(title="I²t of a fault over a time", symbol="I²t", unit="A²s", text="I²t = I² · t",
         inputs={"current": "I [A] fault current", "time": "t [s] counted time"},
         basis="definition")
def cable_fault_integral(current: Any, time: Any) -> Any:
    """Heating integral of a steady fault.

    Examples:
        >>> cable_fault_integral(1000.0, 1.0)
        1000000.0
    """
    return current ** 2 * time


@formula(title="current that one cable survives for the counted time", symbol="I_1s", unit="A",
         text="I_1s = √(k²S² / t)",
         inputs={"withstand": "k²S² [A²s] of one cable", "time": "t [s] counted time"},
         basis="read", source="iec-60364-4-43-conductors",
         where="434.5.2, solved for I")
def survivable_current(withstand: Any, time: Any) -> Any:
    """Fault current that just reaches the end temperature in the counted time.

    Examples:
        >>> round(float(survivable_current(2.5e7, 1.0)))
        5000
    """
    return np.sqrt(withstand / time)


@formula(title="conductor temperature at the end of a peak", symbol="θ_peak", unit="°C",
         text="θ_peak = (234.5 + θ_i) · exp(I²·t / (226² · S²)) − 234.5",
         inputs={"start": "θ_i [°C] at the steady load", "current": "I [A] of the run in the peak",
                 "time": "t [s] length of the peak", "area": "S [mm²] section"},
         valid="below the melting point of copper, 1083 °C",
         safe_side="a higher temperature: no heat leaves the copper during the peak",
         source="iec-60364-5-54", where="Annex A, equation of k solved for θ_f", basis="read")
def peak_temperature(start: Any, current: Any, time: Any, area: Any) -> Any:
    """Upper bound of the temperature after one peak on top of the steady load.

    Examples:
        >>> round(float(peak_temperature(343.15, 400.0, 10.0, 70e-6)) - 273.15, 1)
        72.0
    """
    exponent = current ** 2 * time / (K_COPPER * area) ** 2
    hot = np.exp(np.minimum(exponent, 50.0)) * (BETA_COPPER + from_si(start, "°C")) - BETA_COPPER
    if _any(hot > MELTING_COPPER):
        raise OutOfRange("the peak alone could melt the copper if no heat left it; "
                         "take a larger section or a shorter peak")
    return into_si(hot, "°C")


@formula(title="area of an AWG size", symbol="A", unit="mm²",
         text="A = (π / 4) · (0.127 · 92^((36 − n) / 39))²",
         inputs={"gauge": "n [] gauge number; 1/0 is 0, 2/0 is −1, 4/0 is −3"},
         valid="4/0 to 40", source="astm-b258", where="rule of diameters", basis="computed")
def awg_area(gauge: Any) -> Any:
    """Nominal area of solid round wire; SAE cable of the same number holds less copper.

    Examples:
        >>> round(float(awg_area(-1)) * 1e6, 2)
        67.43
    """
    return np.pi / 4.0 * (0.127e-3 * 92.0 ** ((36.0 - gauge) / 39.0)) ** 2
