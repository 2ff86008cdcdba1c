"""One layout at its corners, every figure with its chain.

The same formulas as the screening, called through `trace`; a test holds both against
each other for every example.
"""

from __future__ import annotations

import itertools
from dataclasses import fields, replace
from typing import Any

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.brief import Brief, ModulesOnHand, Path
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace
from packcalc.layouts import (
    CABLE_ALLOWANCE,
    Asks,
    Layout,
    asks_of,
    charge_ceiling,
    demand_voltage,
    peak_voltage,
)
from packcalc.loads import continuous_drawn, peak_drawn
from packcalc.mixes import mix_cautions, traced_most_capacity
from packcalc.screening import (
    A_HAIR,
    LONGEST_PULSE,
    MEAN_POINTS,
    charge_edges,
    charge_limit,
    mean_voltage,
)
from packcalc.transients import most_power, passing_power
from packcalc.units import show
from packcalc.value import value_object

RULE = Origin("rule")
BATTERY_SIDE = "highest voltage of the battery side"


@value_object
class Corner:
    """One crossed condition with the battery's answer to every load, in plain SI floats.

    Attributes:
        charge, temperature, age, strings: the condition; `strings` are those in.
        open_circuit, resistance: up to the inverter, at the end of the peak.
        current, loaded: at peak power; NaN where the power cannot be delivered.
        available: most power with the bus at the voltage that full power needs.
        steady: loaded voltage at continuous power, long-pulse resistance; NaN likewise.
        braking: voltage at the end of a braking pulse that nothing limits.
    """

    charge: float
    temperature: float
    age: str
    strings: int
    open_circuit: float
    resistance: float
    current: float
    loaded: float
    available: float
    steady: float
    braking: float


@value_object
class PackModel:
    """Everything known of one layout; all fields are findings unless said otherwise."""

    layout: Layout
    cells: str
    series: Finding
    parallel: Finding
    full_voltage: Finding
    regeneration_voltage: Finding
    highest_voltage: Finding
    rest_full_voltage: Finding
    nominal_voltage: Finding
    empty_voltage: Finding
    rest_low_voltage: Finding
    charge_left: Finding
    open_circuit_sag: Finding
    resistance_sag: Finding
    loaded_voltage: Finding
    demand_voltage: Finding
    peak_voltage: Finding
    peak_current: Finding
    available_power: Finding
    largest_power: Finding
    continuous_power: Finding
    continuous_current: Finding
    charging_current: Finding
    regeneration_current: Finding
    module_peak_current: Finding
    module_rate: Finding
    module_peak_limit: Finding
    module_continuous_limit: Finding
    module_charge_limit: Finding
    capacity: Finding
    usable_energy: Finding
    total_energy: Finding
    mass: Finding
    modules_used: int
    modules_left: tuple[int, ...]
    channels: int
    resistance_initial: Finding
    resistance_least: Finding
    resistance_long: Finding
    path: Finding
    cable_allowance: Finding
    corners: tuple[Corner, ...]
    curve_spread: float
    notes: tuple[str, ...] = ()


def _count(title: str, symbol: str, value: float) -> Finding:
    return leaf(title, symbol, "", value, "definition", origin=Origin("layout"))


def _rule(title: str, symbol: str, unit: str, value: float, note: str = "",
          basis: str = "definition", source: str = "") -> Finding:
    return leaf(title, symbol, unit, value, basis, source=source, origin=RULE, note=note)


class _Builder:
    """Builds the findings of one layout; holds what several of them share."""

    def __init__(self, brief: Brief, layout: Layout):
        self.brief, self.layout = brief, layout
        self.asks: Asks = asks_of(brief)
        self.peak, self.continuous = peak_drawn(brief), continuous_drawn(brief)
        self.on_hand = [brief.modules[p.entry] for p in layout.parts]
        self.part_series = [_count("modules in series" if len(layout.parts) == 1 else
                                   f"modules in series, type {i + 1}", "S", p.series)
                            for i, p in enumerate(layout.parts)]
        self.series = _count("modules in series", "S", layout.series)
        self.parallel = _count("in parallel", "P", layout.parallel)
        self.growth = [o.resistance_growth for o in self.on_hand]
        self.new = _rule("resistance growth of a new module", "f_age", "", 1.0)

    def voltage(self, per_module: list[Finding], title: str, symbol: str = "U") -> Finding:
        """Series voltage of one or two parts."""
        parts = [trace(el.series_voltage, title, symbol=symbol, series=s, module_voltage=u)
                 for s, u in zip(self.part_series, per_module, strict=True)]
        if len(parts) == 1:
            return parts[0]
        return trace(el.series_sum, title, symbol=symbol, first=parts[0], second=parts[1])

    def modules_resistance(self, per_module: list[Finding], parallel: Finding,
                           title: str) -> Finding:
        parts = [trace(el.stack_resistance, title, series=s, parallel=parallel,
                       module_resistance=r)
                 for s, r in zip(self.part_series, per_module, strict=True)]
        if len(parts) == 1:
            return parts[0]
        return trace(el.resistance_sum, title, first=parts[0], second=parts[1])

    def path(self, parallel: Finding | None = None) -> Finding:
        p = self.brief.path
        if self.layout.arrangement == "strings":
            return trace(el.strings_path, series=self.series, parallel=parallel or self.parallel,
                         link=p.link_resistance, fuse=p.fuse_resistance,
                         contactor=p.contactor_resistance)
        return trace(el.grouped_path, series=self.series, link=p.link_resistance,
                     fuse=p.fuse_resistance, contactor=p.contactor_resistance)

    def cables(self) -> Finding:
        routes = [r for r in self.brief.cables.route if r.carries == "traction"]
        total = routes[0].length if len(routes) == 1 else leaf(
            "length of all traction routes", "l", "m", sum(r.length.number for r in routes),
            "definition", origin=Origin("sum of routes"), note=", ".join(
                f"{r.name} {r.length.shown}" for r in routes))
        per = _rule("allowance for one conductor: 35 mm² class 5 tinned copper at 90 °C", "R'",
                    "mΩ/m", CABLE_ALLOWANCE, basis="computed", source="iec-60228",
                    note="0.565 Ω/km at 20 °C × 324.5/254.5")
        return trace(el.cable_allowance, length=total, resistance_per_length=per)

    def resistance(self, temperature: Finding, charge: Finding, pulse: Finding, *,
                   aged: bool, title: str, parallel: Finding | None = None) -> Finding:
        """Modules, path and cables at one condition."""
        parallel = parallel or self.parallel
        per = [mod.traced_resistance(o.module, temperature, charge, pulse,
                                     g if aged else self.new)
               for o, g in zip(self.on_hand, self.growth, strict=True)]
        modules = self.modules_resistance(per, parallel, f"modules, {title}")
        return trace(el.total_resistance, title, modules=modules, path=self.path(parallel),
                     cables=self.cables())


def _full(b: _Builder) -> tuple[Finding, Finding]:
    """Full-charge voltage at the upper tolerance, and without it."""
    top = charge_ceiling(b.brief)
    per = []
    for on_hand in b.on_hand:
        module = on_hand.module
        if top.number >= 1.0:
            per.append(trace(el.series_voltage, "full voltage of one module", symbol="U_m",
                             series=module.cells_in_series, module_voltage=module.full_voltage))
        else:
            per.append(mod.traced_ocv_high(module, top))
    rest_full = b.voltage(per, "voltage at the end of charging")
    full = trace(el.with_tolerance, voltage=rest_full, tolerance=b.brief.charger.tolerance,
                 note=top.note if top.number > b.asks.charge_highest else "")
    return full, rest_full


def full_module(brief: Brief, on_hand: ModulesOnHand) -> Finding:
    """One module with its cells at their own full voltage, with the charger's tolerance."""
    module, limit = on_hand.module, brief.battery.charge_highest
    full = trace(el.series_voltage, "full voltage of one module", symbol="U_m",
                 series=module.cells_in_series, module_voltage=module.full_voltage)
    words = "" if charge_ceiling(brief).number >= 1.0 else (
        f"its cells full, although charging of the pack ends at {limit.shown}: modules differ, "
        "and one may stand above the others")
    return trace(el.with_tolerance, "voltage of one full module", symbol="U_m", voltage=full,
                 tolerance=brief.charger.tolerance, note=words)


def within(run: Finding, whole: Finding) -> Finding:
    """The voltage of some modules in series, which is never more than that of the whole pack."""
    if run.number <= whole.number:
        return run
    return whole.called(run.title, run.symbol, f"the whole pack's {whole.shown}: every module full "
                        f"by itself would make {run.shown}")


def _edges(b: _Builder) -> list[Finding]:
    """Temperatures at which charging is looked at; see `screening.charge_edges`."""
    battery = b.brief.battery
    coldest = min((battery.coldest_start, battery.coldest_closed), key=lambda f: f.number)
    return [coldest if kelvin == coldest.number else _rule(
        "cold edge of a charge-limit band", "θ", "°C", kelvin)
        for kelvin in sorted({float(t) for t in charge_edges(b.brief, b.asks, b.on_hand)})
        if kelvin == coldest.number or kelvin < b.asks.hottest]


def _charge_limit(b: _Builder, edge: Finding) -> Finding:
    """Charge limit of one module just above an edge, at its real capacity."""
    above = replace(edge, value=edge.number + A_HAIR)
    return smallest([
        trace(el.limit_at_health, "charge limit of one module at its real capacity",
              limit=mod.traced_charge_current_limit(o.module, above),
              state_of_health=o.state_of_health) for o in b.on_hand],
        f"charge limit of one module from {edge.shown}")


def charge_limits(brief: Brief, layout: Layout) -> tuple[tuple[Finding, Finding], ...]:
    """(cold edge of a band, charge limit of the layout from there); one string where strings.

    A string that is alone in takes the whole current.
    """
    b = _Builder(brief, layout)
    paths = _strings_in(b)
    return tuple((edge, trace(el.series_voltage, f"charge limit from {edge.shown}", symbol="I",
                              unit="A", series=paths, module_voltage=_charge_limit(b, edge)))
                 for edge in _edges(b))


def _strings_in(b: _Builder) -> Finding:
    """Fewest paths that may carry the whole current: one string alone, else all of a group."""
    return _count("strings in", "P", 1) if b.layout.arrangement == "strings" else b.parallel


def _regeneration(b: _Builder, start: Finding) -> Finding:
    """Highest voltage while braking into a cold pack that the charger left full.

    Of parallel strings one may be in alone: its resistance counts. The charge limit is that of
    all strings, because the inverter may not be told that one is out. Resistance and voltage
    are both those at the charge that is counted: a limit that nobody keeps lowers neither.
    """
    brief, asks = b.brief, b.asks
    inside = _strings_in(b)
    candidates = []
    for cold in _edges(b):
        r = b.resistance(cold, charge_ceiling(brief), brief.regeneration.duration,
                         aged=True, parallel=inside,
                         title=f"resistance while braking at {cold.shown}")
        free = trace(el.charging_voltage, f"voltage while braking at {cold.shown}",
                     open_circuit_voltage=start, resistance=r, power=brief.regeneration.power)
        if not asks.charge_limit_counts:
            candidates.append(free)
            break
        pack_limit = trace(el.series_voltage, "charge limit of the pack", symbol="I", unit="A",
                           series=b.parallel, module_voltage=_charge_limit(b, cold))
        held = trace(el.raised_voltage, f"voltage at the charge limit at {cold.shown}",
                     open_circuit_voltage=start, current=pack_limit, resistance=r)
        candidates.append(smallest([free, held], f"braking at {cold.shown}"))
    rise = largest(candidates, "braking into a full cold pack")
    limit = brief.regeneration.voltage_limit
    if limit.known:
        capped = largest([limit, start], "inverter's own limit, or the full voltage above it")
        rise = smallest([rise, capped], "braking into a full cold pack")
    return rise


def _sag(b: _Builder) -> dict[str, Finding]:
    """Loaded voltage at the inverter at the end of the peak: cold, aged, nearly empty."""
    brief = b.brief
    demand, peak_at = demand_voltage(brief), peak_voltage(brief)
    capacity = smallest([trace(el.pack_capacity, parallel=b.parallel,
                               module_capacity=o.module.capacity,
                               state_of_health=o.state_of_health) for o in b.on_hand],
                        "capacity of the pack")
    left = trace(el.charge_left, charge=brief.battery.charge_lowest, power=b.peak,
                 duration=brief.power.peak_duration, voltage=peak_at, capacity=capacity)
    at = left if left.number >= 0 else leaf(
        "charge left, counted as empty", "SOC_e", "%", 0.0, "definition", origin=RULE,
        note=f"the pack runs empty before the peak ends: {left.shown}")
    e = b.voltage([mod.traced_ocv_low(o.module, at) for o in b.on_hand],
                  "open-circuit voltage at the end of the peak", "E")
    r = b.resistance(brief.battery.coldest_start, at, brief.power.peak_duration, aged=True,
                     title="resistance: cold, aged, nearly empty, at the end of the peak")
    current = trace(el.constant_power_current, "peak current, cold and nearly empty",
                    open_circuit_voltage=e, resistance=r, power=b.peak)
    if not np.isfinite(current.number):
        current = replace(current, value=None, note="no solution: the power cannot be delivered")
    loaded = (trace(el.loaded_voltage, "loaded voltage at the inverter, end of the peak",
                    open_circuit_voltage=e, current=current, resistance=r)
              if current.known else leaf("loaded voltage at the inverter, end of the peak", "U",
                                         "V", None, "definition", note=current.note))
    top = trace(most_power, "most power in theory, cold and nearly empty", symbol="P_m",
                unit="kW", voltage=e, resistance=r)
    held = _held_power("power with the bus held at its lower limit", "P_av", e, r, demand)
    return {"demand_voltage": demand, "peak_voltage": peak_at, "capacity": capacity,
            "charge_left": left, "open_circuit_sag": e, "resistance_sag": r,
            "peak_at_corner": current, "loaded_voltage": loaded, "largest_power": top,
            "available_power": held}


def _held_power(title: str, symbol: str, e: Finding, r: Finding, bus: Finding) -> Finding:
    """Power with the bus held at a voltage; the traced twin of `electrical.available_power`."""
    if bus.number > e.number:
        return leaf(title, symbol, "kW", 0.0, "definition", origin=RULE,
                    note=f"none: the rest voltage {e.shown} lies below {bus.shown}")
    if bus.number < 0.5 * e.number:
        return trace(most_power, title, symbol=symbol, unit="kW", voltage=e, resistance=r,
                     note=f"the most in theory: {bus.shown} is below half the rest voltage")
    return trace(passing_power, title, symbol=symbol, unit="kW", voltage=e, resistance=r,
                 bus_voltage=bus)


def _module_limit(b: _Builder, name: str, title: str) -> Finding:
    """The weaker module's limit at its real capacity; unknown where one is not known."""
    found = []
    for on_hand in b.on_hand:
        limit = getattr(on_hand.module, name)
        if not limit.known:
            return limit.called(title)
        found.append(trace(el.limit_at_health, title, limit=limit,
                           state_of_health=on_hand.state_of_health))
    return smallest(found, title)


def _currents(b: _Builder, peak_at: Finding, rest_low: Finding) -> dict[str, Finding]:
    """Duty currents: the ceilings that the inverter's lowest voltages set."""
    brief = b.brief
    low = brief.inverter.voltage_low
    open_ = brief.left_open("inverter.full_power_from")
    peak = trace(el.power_current, "peak current", symbol="I_pk", power=b.peak,
                 voltage=peak_at,
                 note="ceiling: the bus is counted at its lowest operating voltage, as "
                      "inverter.full_power_from is open and full power may be drawn down to there"
                 if open_ else "ceiling: the bus is counted at the lowest voltage at "
                               "which full power is available")
    steady = trace(el.power_current, "continuous current", symbol="I_c",
                   power=b.continuous, voltage=low,
                   note="ceiling: the bus is counted at its lowest operating voltage")
    charging = trace(el.power_current, "charging current", symbol="I_ch", power=brief.charger.power,
                     voltage=rest_low, note="largest where charging begins, at lowest charge")
    if brief.station.current.known:
        charging = largest([charging, brief.station.current], "charging current")
    braking = trace(el.power_current, "braking current", symbol="I_rg",
                    power=brief.regeneration.power, voltage=rest_low,
                    note="ceiling: counted at the rest voltage at lowest charge")
    per_module = trace(el.module_current, current=peak, parallel=b.parallel)
    real = smallest([trace(el.pack_capacity, "real capacity of one module", parallel=_count(
        "one module", "P", 1), module_capacity=o.module.capacity,
        state_of_health=o.state_of_health) for o in b.on_hand], "real capacity of one module")
    return {"peak_current": peak, "continuous_current": steady, "charging_current": charging,
            "regeneration_current": braking, "module_peak_current": per_module,
            "module_peak_limit": _module_limit(b, "peak_current", "peak limit of one module"),
            "module_continuous_limit": _module_limit(b, "continuous_current",
                                                     "continuous limit of one module"),
            "module_charge_limit": largest([_charge_limit(b, t) for t in _edges(b)],
                                           "charge limit of one module, warm"),
            "module_rate": trace(el.rate, "peak current against real capacity",
                                 current=per_module, capacity=real)}


def _mean_of_one(o: ModulesOnHand, low: float, high: float, title: str) -> Finding:
    return leaf(f"{title}, one module", "U_m", "V", mean_voltage(o, low, high), "computed",
                source="packcalc-rule", origin=Origin(f"curve of {o.module.title}"),
                note=f"mean of {MEAN_POINTS} evenly spaced points on the lowest curve")


def _means(b: _Builder, low: float, high: float, title: str) -> list[Finding]:
    """Mean of the lowest open-circuit curve between two charges, of each type's run."""
    return [trace(el.series_voltage, title, series=s,
                  module_voltage=_mean_of_one(o, low, high, title))
            for s, o in zip(b.part_series, b.on_hand, strict=True)]


def _mean(b: _Builder, low: float, high: float, title: str) -> Finding:
    """Mean of the lowest open-circuit curve between two charges."""
    return b.voltage([_mean_of_one(o, low, high, title) for o in b.on_hand], title)


def _energy(b: _Builder, capacity: Finding) -> dict[str, Finding]:
    bat = b.brief.battery
    nominal = _mean(b, bat.charge_lowest.number, bat.charge_highest.number,
                    "mean voltage over the charge window")
    zero, one = _rule("empty", "SOC", "%", 0.0), _rule("full", "SOC", "%", 1.0)
    usable = trace(el.energy_between, "usable energy", symbol="W_us", capacity=capacity,
                   upper=bat.charge_highest, lower=bat.charge_lowest, voltage=nominal)
    used = _count("modules that the layout holds", "N", b.layout.series * b.layout.parallel)
    most = []
    for on_hand in b.on_hand:
        each, health = traced_most_capacity(on_hand, used)
        most.append(trace(el.pack_capacity, "most capacity of the pack", parallel=b.parallel,
                          module_capacity=each, state_of_health=health))
    wholes = _means(b, 0.0, 1.0, "mean voltage from empty to full")
    totals = [trace(el.energy_between, "total energy", symbol="W_tot", capacity=capacity,
                    upper=one, lower=zero, voltage=whole)
              for capacity, whole in zip(most, wholes, strict=True)]
    total = totals[0] if len(totals) == 1 else trace(
        el.series_sum, "total energy", symbol="W_tot", unit="kWh", first=totals[0],
        second=totals[1], note="full, each type stores by its own capacity")
    masses = [trace(el.modules_mass, series=s, parallel=b.parallel, module_mass=o.module.mass)
              for s, o in zip(b.part_series, b.on_hand, strict=True)]
    mass = masses[0] if len(masses) == 1 else trace(
        el.series_sum, "mass of the modules", symbol="m", unit="kg", first=masses[0],
        second=masses[1])
    return {"nominal_voltage": nominal, "usable_energy": usable, "total_energy": total,
            "mass": mass}


def _fault_side(growth: Finding, initial: Finding) -> Finding:
    """A module that measures below its record gives the higher fault current."""
    if growth.number >= 1.0:
        return initial
    return trace(el.resistance_at_fault, resistance=initial, growth=growth)


def _fault_resistances(b: _Builder) -> dict[str, Finding]:
    """Millisecond resistance at the terminals; long-pulse resistance of one string, cold."""
    initial = [_fault_side(o.least_growth, mod.traced_resistance_initial(o.module))
               for o in b.on_hand]
    short = b.modules_resistance(initial, b.parallel,
                                 "modules in the first milliseconds: new, hot, full")
    one = _strings_in(b)
    pulse = _rule("longest pulse that the cell tables cover", "t", "s", LONGEST_PULSE)
    known = _Builder(replace(b.brief, path=_known_path(b.brief)), b.layout)
    least = trace(el.resistance_sum, "least resistance of the loop", symbol="R", unit="mΩ",
                  first=short, second=known.path(),
                  note="new, hot cells in the first milliseconds; no cable, and nothing for an "
                       "entry left open: the least there is, errs high for a step current and "
                       "for L/R")
    long = b.resistance(
        b.brief.battery.coldest_closed, b.brief.battery.charge_lowest, pulse, aged=True,
        parallel=one, title="resistance of the lowest fault: cold, aged, lowest charge in use, "
                            "long pulse, long path")
    return {"resistance_initial": short, "resistance_least": least, "resistance_long": long}


def _known_path(brief: Brief) -> Path:
    """Path resistances with nothing for those that are left open: the low side."""
    return replace(brief.path, **{
        item.name: replace(entry, value=0.0, note="left open: nothing is counted on the low side")
        for item in fields(Path)
        if isinstance(entry := getattr(brief.path, item.name), Finding)
        and entry.basis == "assumed"})


def _corners(b: _Builder, capacity: float) -> tuple[Corner, ...]:
    """Charge × temperature × age × strings in, all crossed."""
    asks, layout = b.asks, b.layout
    several = layout.parallel > 1 and layout.arrangement == "strings"
    found = []
    for low, kelvin, aged, inside in itertools.product(
            (True, False), (asks.coldest, asks.hottest), (True, False),
            (layout.parallel, layout.parallel - 1) if several else (layout.parallel,)):
        # With a string out the others empty faster.
        left = el.charge_left(asks.charge_lowest, asks.peak_drawn, asks.peak_duration,
                              asks.peak_voltage, capacity * inside / layout.parallel)
        found.append(_corner(b, max(left, 0.0) if low else asks.charge_highest, kelvin, aged,
                             inside, low=low))
    return tuple(found)


def _corner(b: _Builder, charge: float, kelvin: float, aged: bool, inside: int, *,
            low: bool) -> Corner:
    asks, parts = b.asks, list(zip(b.layout.parts, b.on_hand, strict=True))
    outside = b.path(_count("strings in", "P", inside)).number + b.cables().number

    def resistance(pulse: float) -> float:
        return outside + sum(part.series / inside * float(mod.resistance(
            o.module, kelvin, charge, pulse, o.resistance_growth.number if aged else 1.0))
            for part, o in parts)

    ocv = mod.ocv_low if low else mod.ocv_high
    e = sum(part.series * float(ocv(o.module, charge)) for part, o in parts)
    peak, steady = resistance(asks.peak_duration), resistance(LONGEST_PULSE)
    current = float(el.constant_power_current(e, peak, asks.peak_drawn))
    return Corner(
        charge, kelvin, "aged" if aged else "new", inside, e, peak, current,
        float(el.loaded_voltage(e, current, peak)),
        float(el.available_power(asks.demand_voltage, e, peak)),
        float(el.loaded_voltage(e, el.constant_power_current(e, steady, asks.continuous_drawn),
                                steady)),
        float(el.charging_voltage(e, resistance(asks.regeneration_duration), asks.regeneration)))


def model_pack(brief: Brief, layout: Layout) -> PackModel:
    """Everything about one layout, traced.

    Args:
        brief: what is asked and on hand.
        layout: one of the brief's module types, or two in series.

    Returns:
        PackModel.
    """
    b = _Builder(brief, layout)
    full, rest_full = _full(b)
    regen = _regeneration(b, full)
    sag = _sag(b)
    nearly_empty = _nearly_empty(b)
    currents = _currents(b, sag["peak_voltage"], nearly_empty["rest_low_voltage"])
    del sag["peak_at_corner"]  # the model carries the ceiling, the corners carry this one
    return PackModel(
        layout=layout, cells=layout.cells(brief), series=b.series, parallel=b.parallel,
        full_voltage=full, rest_full_voltage=rest_full, regeneration_voltage=regen,
        highest_voltage=largest([full, regen], BATTERY_SIDE), path=b.path(),
        cable_allowance=b.cables(), corners=_corners(b, sag["capacity"].number),
        curve_spread=_spread(b), notes=_notes(b, currents), **nearly_empty, **sag, **currents,
        **_energy(b, sag["capacity"]), **_fault_resistances(b), **_counts(b))


def _nearly_empty(b: _Builder) -> dict[str, Finding]:
    """Voltages at the lowest charge and at none, and the continuous power that is left there."""
    low = b.brief.battery.charge_lowest
    rest = b.voltage([mod.traced_ocv_low(o.module, low) for o in b.on_hand],
                     "rest voltage at the lowest charge", "E")
    empty = b.voltage([trace(el.series_voltage, "empty voltage of one module", symbol="U_m",
                             series=o.module.cells_in_series,
                             module_voltage=o.module.empty_voltage) for o in b.on_hand],
                      "voltage when empty, at rest")
    pulse = _rule("longest pulse that the cell tables cover", "t", "s", LONGEST_PULSE)
    resistance = b.resistance(b.brief.battery.coldest_start, low, pulse, aged=True,
                              title="resistance in continuous running: cold, aged, lowest charge")
    continuous = _held_power("continuous power with the bus at its lower limit", "P_c", rest,
                             resistance, b.brief.inverter.voltage_low)
    return {"rest_low_voltage": rest, "empty_voltage": empty, "continuous_power": continuous}


def _counts(b: _Builder) -> dict[str, Any]:
    """Modules used and left, and the cell voltages that a monitor must see."""
    layout, parts = b.layout, list(zip(b.layout.parts, b.on_hand, strict=True))
    return {
        "modules_used": layout.series * layout.parallel,
        "modules_left": tuple(int(o.count.number) - p.series * layout.parallel for p, o in parts),
        "channels": layout.parallel * sum(p.series * o.module.series for p, o in parts)}


def _spread(b: _Builder) -> float:
    """Largest difference of the class's curves over the charge window, in V for the pack."""
    points = np.linspace(b.asks.charge_lowest, b.asks.charge_highest, 19)
    return float(max(np.max(sum(
        part.series * (mod.ocv_high(o.module, points) - mod.ocv_low(o.module, points))
        for part, o in zip(b.layout.parts, b.on_hand, strict=True)), initial=0.0), 0.0))


def _charging_notes(b: _Builder, currents: dict[str, Finding]) -> list[str]:
    """How warm the cells must be before the charger, or the brake, may push its current."""
    words = []
    limits = [(edge, min(charge_limit(o, edge.number + A_HAIR) for o in b.on_hand)
               * b.layout.parallel) for edge in _edges(b)]
    asked = currents["charging_current"]
    first = next((edge for edge, limit in limits if limit >= asked.number), None)
    if first is None or first is not limits[0][0]:
        cold = limits[0]
        when = (f"Charge at full current only above {first.shown}; below it" if first else
                "At every temperature in use")
        words.append(
            f"The charger's {asked.shown} is more than the cells bear in the cold: at "
            f"{cold[0].shown} at most {show(cold[1], 'A')}. {when} the management system must cut "
            "the charging current.")
    braking = currents["regeneration_current"]
    if not b.asks.follows_charge_limit and braking.number > limits[0][1]:
        words.append(
            f"Braking feeds up to {braking.shown} into cells that bear {show(limits[0][1], 'A')} "
            f"at {limits[0][0].shown}, and nobody said that the management system cuts it: cold "
            "cells are damaged by charging and may fail later.")
    return words


def _notes(b: _Builder, currents: dict[str, Finding]) -> tuple[str, ...]:
    words = _charging_notes(b, currents)
    if b.layout.parallel > 1 and b.layout.arrangement == "grouped":
        words.append(
            "Modules paralleled at their ends stay separate stacks: every cell in every stack "
            "needs its own monitor channel; never join sense taps with signal wire.")
    if b.layout.arrangement == "strings":
        words.append(
            "Each string is a source of its own: it needs its own fuse and contactors, and a "
            "fault inside one string is fed by all the others.")
    return (*words, *mix_cautions(b.brief, b.layout.entries))
