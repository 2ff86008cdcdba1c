"""What an assignment means: capacity, energy, resistance, sag and power, each with its chain.

Sums over many modules are findings of their own: the chain keeps every module's reading.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.brief import Brief
from packcalc.loads import peak_drawn
from packcalc.checks import FAIL, Check, judge
from packcalc.findings import Finding, Origin, formula, leaf, trace
from packcalc.modules import ModuleType
from packcalc.pack import PackModel
from packcalc.transients import most_power, passing_power
from packcalc.value import replace, value_object

ENERGY_HELD = "usable energy at least the target"
CHARGE_HELD = "charge left at the end of the peak"
VOLTAGE_HELD = "loaded voltage at least what full power needs"


@formula(title="resistance at a corner against 25 °C, 10 s, half charge", symbol="k", unit="",
         text="k = R_c/R_m",
         inputs={"corner": "R_c [mΩ] of the module type at the corner",
                 "reference": "R_m [mΩ] of the module type at 25 °C, 10 s, half charge"},
         basis="definition")
def corner_ratio(corner, reference):
    """How many times a module's resistance at a corner is its bench figure.

    Examples:
        >>> corner_ratio(6.0e-3, 3.0e-3)
        2.0
    """
    return corner / reference


@formula(title="resistance of the modules at a corner", symbol="R_mod", unit="mΩ",
         text="R_mod = k · R_25", inputs={"ratio": "k [] corner against bench",
                                          "resistance": "R_25 [mΩ] of all modules as measured"},
         basis="assumed", source="packcalc-rule",
         where="measured modules are taken to change with cold, charge and time as their type does",
         safe_side="high, with the largest published ratios of the type")
def resistance_at_corner(ratio, resistance):
    """Resistance of the assigned modules at a corner.

    Examples:
        >>> resistance_at_corner(2.0, 0.05)
        0.1
    """
    return ratio * resistance


@value_object
class Totals:
    """What the assigned pack comes to.

    Attributes:
        groups: capacity of each group (or each string's weakest module), in order.
        resistances: of each group (or string), in order.
        capacity, energy, resistance, current, loaded_voltage, power: of the pack.
        before: the same capacity, energy, loaded voltage and power as sized from the brief.
        checks: energy, charge left and sag against the brief.
    """

    groups: tuple[Finding, ...]
    resistances: tuple[Finding, ...]
    capacity: Finding
    energy: Finding
    resistance: Finding
    current: Finding
    loaded_voltage: Finding
    power: Finding
    before: tuple[Finding, ...]
    checks: tuple[Check, ...]


def total(title: str, symbol: str, unit: str, parts: Sequence[Finding], note: str = "") -> Finding:
    """Sum of many findings, kept with all of them."""
    words = " + ".join(part.symbol for part in parts[:4]) + (" + …" if len(parts) > 4 else "")
    return Finding(title, symbol, unit, sum(p.number for p in parts), "definition",
                   inputs=tuple(parts), note=f"sum {words}" + (f"; {note}" if note else ""))


def beside(title: str, symbol: str, parts: Sequence[Finding]) -> Finding:
    """Resistance of paralleled parts, kept with all of them."""
    if len(parts) == 1:
        return parts[0].called(title, symbol)
    return Finding(title, symbol, "mΩ", 1.0 / sum(1.0 / p.number for p in parts), "definition",
                   inputs=tuple(parts), note="reciprocal of the sum of reciprocals")


def _weakest(parts: Sequence[Finding], title: str) -> Finding:
    """The least of many; only the next one is named, for hundreds may follow."""
    ordered = sorted(parts, key=lambda p: p.number)
    next_ = f"; next: {ordered[1].symbol} {ordered[1].shown}" if len(ordered) > 1 else ""
    return replace(ordered[0], title=title, note=f"governed by: {ordered[0].symbol}{next_}")


def totals(brief: Brief, pack: PackModel, module: ModuleType, capacities: np.ndarray,
           resistances: np.ndarray) -> Totals:
    """Figures of the pack with the modules in their places.

    Args:
        brief: what is asked.
        pack: the layout's model, for path, cables and mean voltage.
        module: the type.
        capacities, resistances: findings, one row a group or a string.
    """
    strings = pack.layout.arrangement == "strings" and pack.layout.parallel > 1
    q, r = (_strings if strings else _groups)(capacities, resistances)
    if strings:
        capacity = total("capacity of the pack", "Q", "Ah", q, "each string's weakest module")
        bench = beside("resistance of the modules, 25 °C, 10 s, half charge", "R_25", r)
    else:
        capacity = _weakest(q, "capacity of the pack: its weakest group")
        bench = total("resistance of the modules, 25 °C, 10 s, half charge", "R_25", "mΩ", r)
    battery = brief.battery
    energy = trace(el.energy_between, "usable energy", symbol="W_us", capacity=capacity,
                   upper=battery.charge_highest, lower=battery.charge_lowest,
                   voltage=pack.nominal_voltage)
    left = charge_left(brief, pack, capacity)
    sag = _sag(brief, pack, module, left, bench)
    checks = (
        judge(ENERGY_HELD, "convenience", energy, "at least",
              battery.energy_least, missing="no energy is asked for in the brief",
              remedy="better modules, one more group in parallel, or a wider charge window"),
        judge(CHARGE_HELD, "thermal load", left, "at least",
              leaf("empty", "SOC", "%", 0.0, "definition", origin=Origin("rule")),
              reason="" if left.number >= 0 else "the pack runs empty before the peak ends",
              remedy="a higher lowest charge, a shorter peak, or modules of more capacity"),
        _holds_the_bus(brief, pack, sag))
    before = (pack.usable_energy, pack.loaded_voltage, pack.available_power)
    return Totals(tuple(q), tuple(r), capacity, energy, bench, **sag, before=before,
                  checks=checks)


def charge_left(brief: Brief, pack: PackModel, capacity: Finding) -> Finding:
    """Charge at the end of the peak; below 0 where the pack runs empty before."""
    return trace(el.charge_left, charge=brief.battery.charge_lowest, power=peak_drawn(brief),
                 duration=brief.power.peak_duration, voltage=pack.peak_voltage,
                 capacity=capacity)


def _holds_the_bus(brief: Brief, pack: PackModel, sag: dict[str, Finding]) -> Check:
    """Loaded voltage at the peak; a peak that no voltage carries fails by its power."""
    title, stage = VOLTAGE_HELD, "thermal load"
    remedy = "warmer cells, less power, or modules of less resistance"
    if sag["loaded_voltage"].known:
        return judge(title, stage, sag["loaded_voltage"], "at least", pack.demand_voltage,
                     remedy=remedy)
    return Check(title, stage, FAIL, sag["power"], peak_drawn(brief), "at least",
                 "no voltage is left to hold: the peak cannot be delivered with these modules",
                 remedy)


def _groups(capacities: np.ndarray, resistances: np.ndarray):
    q = [total(f"capacity of group {i + 1}", f"Q_{i + 1}", "Ah", list(row))
         for i, row in enumerate(capacities)]
    r = [beside(f"resistance of group {i + 1}", f"R_{i + 1}", list(row))
         for i, row in enumerate(resistances)]
    return q, r


def _strings(capacities: np.ndarray, resistances: np.ndarray):
    q = [_weakest(list(row), f"weakest module of string {i + 1}").called(symbol=f"Q_{i + 1}")
         for i, row in enumerate(capacities)]
    r = [total(f"resistance of string {i + 1}", f"R_{i + 1}", "mΩ", list(row))
         for i, row in enumerate(resistances)]
    return q, r


def _sag(brief: Brief, pack: PackModel, module: ModuleType, left: Finding,
         bench: Finding) -> dict[str, Finding]:
    """Loaded voltage and power: cold, nearly empty, at the end of the peak."""
    if left.number < 0:
        left = leaf("empty before the peak ends", "SOC_e", "%", 0.0, "definition",
                    origin=Origin("rule"))
    rest = trace(el.series_voltage, "open-circuit voltage at the end of the peak", symbol="E",
                 series=pack.series, module_voltage=mod.traced_ocv_low(module, left))
    one = leaf("resistance growth: measured as it is now", "f_age", "", 1.0, "definition",
               origin=Origin("rule"))
    corner = mod.traced_resistance(module, brief.battery.coldest_start, left,
                                   brief.power.peak_duration, one)
    ratio = trace(corner_ratio, corner=corner, reference=module.resistance_high)
    modules = trace(resistance_at_corner, ratio=ratio, resistance=bench)
    whole = trace(el.total_resistance, "resistance: cold, nearly empty, at the end of the peak",
                  modules=modules, path=pack.path, cables=pack.cable_allowance)
    current = trace(el.constant_power_current, "peak current, cold and nearly empty",
                    open_circuit_voltage=rest, resistance=whole, power=peak_drawn(brief))
    loaded = trace(el.loaded_voltage, "loaded voltage at the inverter, end of the peak",
                   open_circuit_voltage=rest, current=current, resistance=whole,
                   note=pack.loaded_voltage.note if pack.loaded_voltage.may_be_less else "")
    if not np.isfinite(current.number):
        current, loaded = (leaf(f.title, f.symbol, f.unit, None, "definition",
                                note="the power cannot be delivered") for f in (current, loaded))
    return {"current": current, "loaded_voltage": loaded, "power": _power(pack, rest, whole)}


def _power(pack: PackModel, rest: Finding, whole: Finding) -> Finding:
    title, bus = "power with the bus held at its lower limit", pack.demand_voltage
    if bus.number > rest.number:
        return leaf(title, "P_av", "kW", 0.0, "definition", origin=Origin("rule"),
                    note=f"none: the rest voltage {rest.shown} lies below {bus.shown}")
    if bus.number < 0.5 * rest.number:
        return trace(most_power, title, symbol="P_av", unit="kW", voltage=rest, resistance=whole)
    return trace(passing_power, title, symbol="P_av", unit="kW", voltage=rest, resistance=whole,
                 bus_voltage=bus)
