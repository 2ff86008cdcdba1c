"""Isolation resistance, energy of a touch and sections for service, as pure functions."""

from __future__ import annotations

from typing import Any

import numpy as np

from packcalc.findings import formula


@formula(
    title="Isolation resistance demanded", symbol="R_iso", unit="kΩ", text="R_iso = r·U/1000",
    inputs={"per_volt": "r [Ω/V] demanded", "voltage": "U [V] highest working voltage"},
    basis="definition", safe_side="highest working, never nominal voltage")
def isolation_demand(per_volt: Any, voltage: Any) -> Any:
    """Resistance to chassis that a rule asks of either pole.

    Examples:
        >>> isolation_demand(500.0, 400.0)
        200000.0
    """
    return per_volt * voltage


@formula(
    title="Steady current through a touch at the demanded isolation", symbol="I", unit="mA",
    text="I = 1000/r", inputs={"per_volt": "r [Ω/V] demanded"}, basis="definition",
    safe_side="the body itself counted as no resistance")
def touch_current(per_volt: Any) -> Any:
    """Current that flows when one pole is touched while the other leaks at the limit.

    Examples:
        >>> touch_current(500.0)
        0.002
    """
    return 1 / per_volt


@formula(
    title="Isolation of modules together", symbol="R_p", unit="kΩ", text="R_p = 1000·R_m/N",
    inputs={"resistance": "R_m [MΩ] lowest of one module", "count": "N [] modules in the pack"},
    basis="definition", safe_side="every module counted as leaking as the worst one")
def modules_in_parallel(resistance: Any, count: Any) -> Any:
    """Leakages of equal modules add up.

    Examples:
        >>> modules_in_parallel(16e6, 16)
        1000000.0
    """
    return resistance / count


@formula(
    title="Isolation that each module must have by itself", symbol="R_m", unit="MΩ",
    text="R_m = N·R_iso/1000",
    inputs={"isolation": "R_iso [kΩ] demanded of the pack", "count": "N [] modules in the pack"},
    basis="definition", safe_side="cables, inverter and monitor leave nothing for themselves: more")
def module_isolation(isolation: Any, count: Any) -> Any:
    """Least isolation of one module so that all together reach the demand.

    Examples:
        >>> module_isolation(200e3, 16)
        3200000.0
    """
    return isolation * count


@formula(
    title="Capacitance of both poles to chassis", symbol="C_2", unit="µF", text="C_2 = 2·C_Y",
    inputs={"capacitance": "C_Y [µF] from one pole to chassis"}, basis="definition")
def both_poles(capacitance: Any) -> Any:
    """What a hand on one pole discharges and charges together.

    Examples:
        >>> both_poles(0.5e-6)
        1e-06
    """
    return 2 * capacitance


@formula(
    title="Capacitance of one pole", symbol="C_Y", unit="µF", text="C_Y = C_2/2",
    inputs={"capacitance": "C_2 [µF] of both poles together"}, basis="definition")
def one_pole(capacitance: Any) -> Any:
    """Half of what both poles have.

    Examples:
        >>> one_pole(1e-6)
        5e-07
    """
    return capacitance / 2


@formula(
    title="Capacitance that holds an energy at a voltage", symbol="C", unit="µF",
    text="C = 2·10⁶·E/V²",
    inputs={"energy": "E [J] stored", "voltage": "V [V] on it"},
    basis="read", source="defibrillator-example-17-9", where="eq. 17-17 solved for C",
    valid="V > 0", safe_side="highest V: the smallest capacitance")
def capacitance_for_energy(energy: Any, voltage: Any) -> Any:
    """Largest capacitance that stays within an energy.

    Examples:
        >>> round(capacitance_for_energy(0.2, 400.0), 9)
        2.5e-06
    """
    return 2 * energy / (voltage * voltage)


@formula(
    title="Modules in a section that stays under a voltage", symbol="n", unit="",
    text="n = ⌊U/U_m⌋",
    inputs={"limit": "U [V] limit of the section", "module_voltage": "U_m [V] of one full module"},
    basis="definition", safe_side="rounded down; full module with the charger's tolerance")
def modules_under(limit: Any, module_voltage: Any) -> Any:
    """Most modules that may stay joined; 0 where one alone is above the limit.

    Examples:
        >>> float(modules_under(60.0, 25.2)), float(modules_under(60.0, 67.2))
        (2.0, 0.0)
    """
    return np.floor(limit / module_voltage + 1e-9)


@formula(
    title="Energy of some of the modules in series", symbol="E_s", unit="MJ", text="E_s = E·n/S",
    inputs={"energy": "E [MJ] of the pack when full", "modules": "n [] modules in the section",
            "series": "S [] modules in series"},
    basis="definition", valid="equal modules")
def part_of_pack_energy(energy: Any, modules: Any, series: Any) -> Any:
    """Energy of a section, all parallel modules counted.

    Examples:
        >>> part_of_pack_energy(216e6, 8, 16)
        108000000.0
    """
    return energy * modules / series
