"""One layout at its corners, every figure with its chain.

The same formulas as the screening, called through `trace`; a test holds both against
each other for every example.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.brief import Brief
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace
from packcalc.layouts import (
    CABLE_ALLOWANCE,
    LONGEST_PULSE,
    Asks,
    Layout,
    asks_of,
    charge_temperatures,
    full_voltage_of,
    running_temperature,
)
from packcalc.transients import most_power, passing_power

RULE = Origin("rule")


@dataclass(frozen=True)
class Corner:
    """One crossed condition with the battery's answer to the peak, in plain SI floats.

    Attributes:
        charge, temperature, age, strings: the condition; `strings` are those in.
        open_circuit, resistance: up to the inverter.
        current, loaded: at peak power; NaN where the power cannot be delivered.
        available: most power with the bus at the voltage that full power needs.
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


@dataclass(frozen=True)
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
    peak_current: Finding
    available_power: Finding
    largest_power: Finding
    continuous_power: Finding
    continuous_current: Finding
    charging_current: Finding
    regeneration_current: Finding
    module_peak_current: Finding
    module_rate: Finding
    capacity: Finding
    usable_energy: Finding
    total_energy: Finding
    mass: Finding
    modules_used: int
    modules_left: tuple[int, ...]
    channels: int
    resistance_initial: Finding
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
        self.on_hand = [brief.modules[p.entry] for p in layout.parts]
        self.part_series = [_count("modules in series" if len(layout.parts) == 1 else
                                   f"modules in series, type {i + 1}", "S", p.series)
                            for i, p in enumerate(layout.parts)]
        self.series = _count("modules in series", "S", layout.series)
        self.parallel = _count("in parallel", "P", layout.parallel)
        growths = [o.resistance_growth for o in self.on_hand]
        self.growth = growths
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
        per = _rule("allowance for one conductor: 35 mm² class 5 copper at 90 °C", "R'", "mΩ/m",
                    CABLE_ALLOWANCE, basis="computed", source="iec-60228-2004",
                    note="0.554 Ω/km at 20 °C × 324.5/254.5")
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
    """Full-charge voltage at the upper tolerance, and the rest voltage then."""
    top = b.brief.battery.charge_highest
    per = []
    for on_hand in b.on_hand:
        module = on_hand.module
        if top.number >= 1.0:
            n = module.cells_in_series
            per.append(trace(el.series_voltage, "full voltage of one module", symbol="U_m",
                             series=n, module_voltage=module.full_voltage))
        else:
            rest = mod.traced_ocv_high(module, top)
            per.append(replace(rest, value=full_voltage_of(on_hand, top.number)))
    full = b.voltage(per, "voltage at the end of charging")
    rest_full = b.voltage([mod.traced_ocv_high(o.module, top) for o in b.on_hand],
                          "rest voltage at the highest charge in use", "E")
    return trace(el.with_tolerance, voltage=full, tolerance=b.brief.charger.tolerance), rest_full


def _regeneration(b: _Builder, rest_full: Finding) -> Finding:
    """Highest voltage while braking into a full cold pack."""
    brief, asks = b.brief, b.asks
    candidates = []
    for kelvin in charge_temperatures(asks.coldest):
        cold = brief.battery.coldest_start if kelvin == asks.coldest else _rule(
            "cell temperature looked at", "θ", "°C", float(kelvin))
        r = b.resistance(cold, brief.battery.charge_highest, brief.regeneration.duration,
                         aged=True, title=f"resistance while braking at {cold.shown}")
        free = trace(el.charging_voltage, f"voltage while braking at {cold.shown}",
                     open_circuit_voltage=rest_full, resistance=r, power=brief.regeneration.power)
        if not asks.follows_charge_limit:
            candidates.append(free)
            break
        limits = [mod.traced_charge_current_limit(o.module, cold) for o in b.on_hand]
        limit = smallest(limits, "charge limit of one module")
        pack_limit = trace(el.series_voltage, "charge limit of the pack", symbol="I", unit="A",
                           series=b.parallel, module_voltage=limit)
        held = trace(el.raised_voltage, f"voltage at the charge limit at {cold.shown}",
                     open_circuit_voltage=rest_full, current=pack_limit, resistance=r)
        candidates.append(smallest([free, held], f"braking at {cold.shown}"))
    rise = largest(candidates, "braking into a full cold pack")
    limit = brief.regeneration.voltage_limit
    if limit.known:
        capped = largest([limit, rest_full], "inverter's own limit, or the rest voltage above it")
        rise = smallest([rise, capped], "braking into a full cold pack")
    return rise


def _sag(b: _Builder) -> dict[str, Finding]:
    """Loaded voltage at the inverter at the end of the peak: cold, aged, nearly empty."""
    brief = b.brief
    demand = largest([brief.inverter.voltage_low, brief.inverter.full_power_from],
                     "voltage that full power needs")
    capacity = smallest([trace(el.pack_capacity, parallel=b.parallel,
                               module_capacity=o.module.capacity,
                               state_of_health=o.state_of_health) for o in b.on_hand],
                        "capacity of the pack")
    left = trace(el.charge_left, charge=brief.battery.charge_lowest, power=brief.power.peak,
                 duration=brief.power.peak_duration, voltage=demand, capacity=capacity)
    at = left if left.number >= 0 else replace(left, value=0.0, title="empty before the peak ends")
    e = b.voltage([mod.traced_ocv_low(o.module, at) for o in b.on_hand],
                  "open-circuit voltage at the end of the peak", "E")
    r = b.resistance(brief.battery.coldest_start, at, brief.power.peak_duration, aged=True,
                     title="resistance: cold, aged, nearly empty, at the end of the peak")
    current = trace(el.constant_power_current, "peak current, cold and nearly empty",
                    open_circuit_voltage=e, resistance=r, power=brief.power.peak)
    if not np.isfinite(current.number):
        current = replace(current, value=None, note="no solution: the power cannot be delivered")
    loaded = (trace(el.loaded_voltage, "loaded voltage at the inverter, end of the peak",
                    open_circuit_voltage=e, current=current, resistance=r)
              if current.known else leaf("loaded voltage at the inverter, end of the peak", "U",
                                         "V", None, "definition", note=current.note))
    top = trace(most_power, "most power in theory, cold and nearly empty", symbol="P_m",
                unit="kW",                 voltage=e, resistance=r)
    if demand.number >= 0.5 * e.number:
        held = trace(passing_power, "power with the bus held at its lower limit", symbol="P_av",
                     unit="kW", voltage=e, resistance=r, bus_voltage=demand)
    else:
        held = top
    return {"demand_voltage": demand, "capacity": capacity, "charge_left": left,
            "open_circuit_sag": e, "resistance_sag": r, "peak_at_corner": current,
            "loaded_voltage": loaded, "largest_power": top, "available_power": held}


def _currents(b: _Builder, demand: Finding, rest_low: Finding) -> dict[str, Finding]:
    """Duty currents: the ceilings that the inverter's lowest voltages set."""
    brief = b.brief
    low = brief.inverter.voltage_low
    peak = trace(el.power_current, "peak current", symbol="I_pk", power=brief.power.peak,
                 voltage=demand, note="ceiling: the bus is counted at the lowest voltage at "
                                      "which full power is available")
    steady = trace(el.power_current, "continuous current", symbol="I_c",
                   power=brief.power.continuous, voltage=low,
                   note="ceiling: the bus is counted at its lowest operating voltage")
    charging = trace(el.power_current, "charging current", symbol="I_ch", power=brief.charger.power,
                     voltage=rest_low, note="largest where charging begins, at lowest charge")
    braking = trace(el.power_current, "braking current", symbol="I_rg",
                    power=brief.regeneration.power, voltage=rest_low,
                    note="ceiling: counted at the rest voltage at lowest charge")
    per_module = trace(el.module_current, current=peak, parallel=b.parallel)
    real = smallest([trace(el.pack_capacity, "real capacity of one module", parallel=_count(
        "one module", "P", 1), module_capacity=o.module.capacity,
        state_of_health=o.state_of_health) for o in b.on_hand], "real capacity of one module")
    return {"peak_current": peak, "continuous_current": steady, "charging_current": charging,
            "regeneration_current": braking, "module_peak_current": per_module,
            "module_rate": trace(el.rate, "peak current against real capacity",
                                 current=per_module, capacity=real)}


def _energy(b: _Builder, capacity: Finding) -> dict[str, Finding]:
    bat = b.brief.battery
    points = np.linspace(bat.charge_lowest.number, bat.charge_highest.number, 19)
    means = []
    for on_hand in b.on_hand:
        value = float(np.mean(mod.ocv_low(on_hand.module, points)))
        means.append(leaf("mean open-circuit voltage of one module over the charge window", "U_m",
                          "V", value, "computed", source="packcalc-rule",
                          origin=Origin(f"curve of {on_hand.module.title}"),
                          note="mean of 19 evenly spaced points on the lowest curve"))
    nominal = b.voltage(means, "mean voltage over the charge window")
    zero, one = _rule("empty", "SOC", "%", 0.0), _rule("full", "SOC", "%", 1.0)
    usable = trace(el.energy_between, "usable energy", symbol="W_us", capacity=capacity,
                   upper=bat.charge_highest, lower=bat.charge_lowest, voltage=nominal)
    total = trace(el.energy_between, "total energy", symbol="W_tot", capacity=capacity, upper=one,
                  lower=zero, voltage=nominal)
    masses = [trace(el.modules_mass, series=s, parallel=b.parallel, module_mass=o.module.mass)
              for s, o in zip(b.part_series, b.on_hand, strict=True)]
    mass = masses[0] if len(masses) == 1 else trace(
        el.series_sum, "mass of the modules", symbol="m", unit="kg", first=masses[0],
        second=masses[1])
    return {"nominal_voltage": nominal, "usable_energy": usable, "total_energy": total,
            "mass": mass}


def _fault_resistances(b: _Builder) -> dict[str, Finding]:
    """Millisecond resistance at the terminals; long-pulse resistance of one string, cold."""
    initial = [mod.traced_resistance_initial(o.module) for o in b.on_hand]
    short = b.modules_resistance(initial, b.parallel,
                                 "modules in the first milliseconds: new, hot, full")
    one = _count("strings in", "P", 1) if b.layout.arrangement == "strings" else b.parallel
    pulse = _rule("longest pulse that the cell tables cover", "t", "s", LONGEST_PULSE)
    long = b.resistance(b.brief.battery.coldest_start, b.brief.battery.charge_lowest, pulse,
                        aged=True, parallel=one,
                        title="resistance of the lowest fault: cold, aged, empty, long pulse, "
                              "long path")
    return {"resistance_initial": short, "resistance_long": long}


def _corners(b: _Builder, left: float) -> tuple[Corner, ...]:
    brief, asks, layout = b.brief, b.asks, b.layout
    strings = [layout.parallel] + ([layout.parallel - 1] if layout.parallel > 1 and
                                   layout.arrangement == "strings" else [])
    found = []
    for charge, kelvin, age, inside in itertools.product(
            (max(left, 0.0), asks.charge_highest), (asks.coldest, asks.hottest),
            ("aged", "new"), strings):
        low = charge < asks.charge_highest
        e = r = 0.0
        for part, on_hand in zip(layout.parts, b.on_hand, strict=True):
            ocv = mod.ocv_low if low else mod.ocv_high
            growth = on_hand.resistance_growth.number if age == "aged" else 1.0
            e += part.series * float(ocv(on_hand.module, charge))
            r += part.series / inside * float(mod.resistance(
                on_hand.module, kelvin, charge, asks.peak_duration, growth))
        r += b.path(_count("strings in", "P", inside)).number + b.cables().number
        current = float(el.constant_power_current(e, r, asks.peak))
        found.append(Corner(charge, kelvin, age, inside, e, r, current,
                            float(el.loaded_voltage(e, current, r)),
                            float(el.available_power(asks.demand_voltage, e, r))))
    return tuple(found)


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
    regen = _regeneration(b, rest_full)
    sag = _sag(b)
    low = brief.battery.charge_lowest
    e_low = b.voltage([mod.traced_ocv_low(o.module, low) for o in b.on_hand],
                      "rest voltage at the lowest charge", "E")
    currents = _currents(b, sag["demand_voltage"], e_low)
    energy = _energy(b, sag["capacity"])
    warm = running_temperature(b.asks)
    running = _rule("cells in continuous running: 25 °C, warmed by their own losses", "θ", "°C",
                    warm)
    pulse = _rule("longest pulse that the cell tables cover", "t", "s", LONGEST_PULSE)
    r_low = b.resistance(running, low, pulse, aged=True,
                         title="resistance in continuous running, aged, lowest charge")
    held = brief.inverter.voltage_low
    continuous = (trace(passing_power, "continuous power with the bus at its lower limit",
                        symbol="P_c", unit="kW", voltage=e_low, resistance=r_low,
                        bus_voltage=held)
                  if held.number >= 0.5 * e_low.number else
                  trace(most_power, "continuous power, the most in theory", unit="kW", voltage=e_low,
                        resistance=r_low))
    empty = b.voltage([trace(el.series_voltage, "empty voltage of one module", symbol="U_m",
                             series=o.module.cells_in_series,
                             module_voltage=o.module.empty_voltage) for o in b.on_hand],
                      "voltage when empty, at rest")
    used = layout.series * layout.parallel
    left = tuple(int(o.count.number) - p.series * layout.parallel
                 for p, o in zip(layout.parts, b.on_hand, strict=True))
    channels = sum(p.series * o.module.series for p, o in
                   zip(layout.parts, b.on_hand, strict=True)) * layout.parallel
    currents_only = {k: v for k, v in sag.items() if k != "peak_at_corner"}
    return PackModel(
        layout=layout, cells=layout.cells(brief), series=b.series, parallel=b.parallel,
        full_voltage=full, regeneration_voltage=regen,
        highest_voltage=largest([full, regen], "highest working voltage"),
        rest_full_voltage=rest_full, rest_low_voltage=e_low, empty_voltage=empty, continuous_power=continuous,
        modules_used=used, modules_left=left, channels=channels, path=b.path(),
        cable_allowance=b.cables(), corners=_corners(b, sag["charge_left"].number),
        curve_spread=_spread(b), notes=_notes(b), **currents_only, **currents, **energy,
        **_fault_resistances(b),
    )


def _spread(b: _Builder) -> float:
    """Largest difference of the class's curves over the charge window, in V for the pack."""
    points = np.linspace(b.asks.charge_lowest, b.asks.charge_highest, 19)
    return float(max(np.max(sum(
        part.series * (mod.ocv_high(o.module, points) - mod.ocv_low(o.module, points))
        for part, o in zip(b.layout.parts, b.on_hand, strict=True)), initial=0.0), 0.0))


def _notes(b: _Builder) -> tuple[str, ...]:
    words = []
    if b.layout.parallel > 1 and b.layout.arrangement == "grouped":
        words.append(
            "Modules paralleled at their ends stay separate stacks: every cell in every stack "
            "needs its own monitor channel; never join sense taps with signal wire.")
    if b.layout.arrangement == "strings":
        words.append(
            "Each string is a source of its own: it needs its own fuse and contactors, and a "
            "fault inside one string is fed by all the others.")
    if len(b.layout.parts) > 1:
        words.append(
            "Two module types in series: capacity, currents, temperatures and end voltages of "
            "the weaker are kept; each type keeps its own cell limits in the monitor. Never "
            "charge or discharge past the first cell that reaches its limit.")
    return tuple(words)
