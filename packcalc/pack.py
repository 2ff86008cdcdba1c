"""One layout at its corners, every figure with its chain.

The same formulas as the screening, called through `trace`; a test holds both against
each other for every example.
"""

from __future__ import annotations

import itertools
from dataclasses import fields
from typing import Any

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.brief import Brief, ModulesOnHand, Path
from packcalc.findings import OR_LESS, Finding, Origin, largest, leaf, smallest, trace, with_more
from packcalc.layout_findings import Builder, count, fewest_paths, rule, sum_of_parts
from packcalc.layouts import Layout, demand_voltage, peak_voltage
from packcalc.loads import charging_current_said, charging_power, untold
from packcalc.mixes import mix_cautions, traced_most_capacity
from packcalc.pack_charging import (
    braking_voltage,
    charging_notes,
    cold_edges,
    full_voltages,
    limit_from,
)
from packcalc.screening import LONGEST_PULSE, MEAN_POINTS, mean_voltage
from packcalc.transients import most_power, passing_power
from packcalc.value import replace, value_object

LONG_PULSE = rule("longest pulse that the cell tables cover", "t", "s", LONGEST_PULSE)
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
    """Everything known of one layout; all fields are findings unless said otherwise.

    Attributes:
        cable_allowance: resistance of the traction cables that sag is judged with.
        cables_long: the same in a lowest fault: that of a named cable where it is more.
        contacts: of the named disconnect and connectors, in `path` too; None where none are.
    """

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
    cables_long: Finding
    contacts: Finding | None
    corners: tuple[Corner, ...]
    curve_spread: float
    notes: tuple[str, ...] = ()


def model_pack(brief: Brief, layout: Layout) -> PackModel:
    """Everything about one layout, traced.

    Args:
        brief: what is asked and on hand.
        layout: one of the brief's module types, or two in series.

    Returns:
        PackModel.
    """
    b = Builder(brief, layout)
    full, rest_full = full_voltages(b)
    regen = braking_voltage(b, full)
    capacity = _capacity(b)
    sag = _sag(b, capacity)
    nearly_empty = _nearly_empty(b)
    currents = _currents(b, sag["peak_voltage"], nearly_empty["rest_low_voltage"])
    return PackModel(
        layout=layout, cells=layout.cells(brief), series=b.series, parallel=b.parallel,
        full_voltage=full, rest_full_voltage=rest_full, regeneration_voltage=regen,
        highest_voltage=largest([full, regen], BATTERY_SIDE), path=b.path(),
        cable_allowance=b.cables(), cables_long=b.cables_long(), contacts=b.contacts,
        capacity=capacity, corners=_corners(b, capacity.number), curve_spread=_spread(b),
        notes=_notes(b, currents), **nearly_empty, **sag, **currents,
        **_energy(b, capacity), **_fault_resistances(b), **_counts(b))


def _nearly_empty(b: Builder) -> dict[str, Finding]:
    """Voltages at the lowest charge and at none, and the continuous power that is left there."""
    low = b.brief.battery.charge_lowest
    rest = b.voltage([mod.traced_ocv_low(o.module, low) for o in b.on_hand],
                     "rest voltage at the lowest charge", "E")
    empty = b.voltage([trace(el.series_voltage, "empty voltage of one module", symbol="U_m",
                             series=o.module.cells_in_series,
                             module_voltage=o.module.empty_voltage) for o in b.on_hand],
                      "voltage when empty, at rest")
    resistance = b.resistance(b.brief.battery.coldest_start, low, LONG_PULSE, aged=True,
                              title="resistance in continuous running: cold, aged, lowest charge")
    continuous = _held_power("continuous power with the bus at its lower limit", "P_c", rest,
                             resistance, b.brief.inverter.voltage_low)
    return {"rest_low_voltage": rest, "empty_voltage": empty, "continuous_power": continuous}


def _capacity(b: Builder) -> Finding:
    """That of the weaker type, through which the whole charge passes."""
    return smallest([trace(el.pack_capacity, parallel=b.parallel,
                           module_capacity=o.module.capacity,
                           state_of_health=o.state_of_health) for o in b.on_hand],
                    "capacity of the pack")


def _sag(b: Builder, capacity: Finding) -> dict[str, Finding]:
    """Loaded voltage at the inverter at the end of the peak: cold, aged, nearly empty."""
    brief = b.brief
    demand, peak_at = demand_voltage(brief), peak_voltage(brief)
    left = trace(el.charge_left, charge=brief.battery.charge_lowest, power=b.peak,
                 duration=brief.power.peak_duration, voltage=peak_at, capacity=capacity)
    at = left if left.number >= 0 else rule(
        "charge left, counted as empty", "SOC_e", "%", 0.0,
        note=f"the pack runs empty before the peak ends: {left.shown}")
    e = b.voltage([mod.traced_ocv_low(o.module, at) for o in b.on_hand],
                  "open-circuit voltage at the end of the peak", "E")
    r = b.resistance(brief.battery.coldest_start, at, brief.power.peak_duration, aged=True,
                     title="resistance: cold, aged, nearly empty, at the end of the peak")
    current = trace(el.constant_power_current, "peak current, cold and nearly empty",
                    open_circuit_voltage=e, resistance=r, power=b.peak)
    if not np.isfinite(current.number):
        current = replace(current, value=None, note="no solution: the power cannot be delivered")
    less = at_load(brief, r.untold_more)
    loaded = (trace(el.loaded_voltage, "loaded voltage at the inverter, end of the peak",
                    open_circuit_voltage=e, current=current, resistance=r, note=less)
              if current.known else leaf("loaded voltage at the inverter, end of the peak", "U",
                                         "V", None, "definition", note=current.note))
    top = trace(most_power, "most power in theory, cold and nearly empty", symbol="P_m",
                unit="kW", voltage=e, resistance=r, note=as_far("", r.untold_more))
    held = _held_power("power with the bus held at its lower limit", "P_av", e, r, demand)
    return {"demand_voltage": demand, "peak_voltage": peak_at, "charge_left": left,
            "open_circuit_sag": e, "resistance_sag": r, "loaded_voltage": loaded,
            "largest_power": top, "available_power": held}


def at_load(brief: Brief, open_: str) -> str:
    """The note of a voltage under load that may be less for loads nobody told, or for `open_`."""
    loads = untold(brief)
    return as_far("with the known loads alone" if loads else "", loads, open_)


def as_far(words: str, *whys: str) -> str:
    """The note of a value that may be less for any of some reasons; the words without one."""
    told = "; ".join(filter(None, whys))
    return f"{words or 'as far as told'}{OR_LESS}{told}" if told else words


def _held_power(title: str, symbol: str, e: Finding, r: Finding, bus: Finding) -> Finding:
    """Power with the bus held at a voltage; the traced twin of `electrical.available_power`."""
    if bus.number > e.number:
        return rule(title, symbol, "kW", 0.0,
                    note=f"none: the rest voltage {e.shown} lies below {bus.shown}")
    if bus.number < 0.5 * e.number:
        return trace(most_power, title, symbol=symbol, unit="kW", voltage=e, resistance=r,
                     note=as_far(f"the most in theory: {bus.shown} is below half the rest voltage",
                                 r.untold_more))
    return trace(passing_power, title, symbol=symbol, unit="kW", voltage=e, resistance=r,
                 bus_voltage=bus, note=as_far("", r.untold_more))


def _currents(b: Builder, peak_at: Finding, rest_low: Finding) -> dict[str, Finding]:
    """Duty currents: the ceilings that the inverter's lowest voltages set."""
    brief = b.brief
    lowest = ("its lowest operating voltage, as inverter.full_power_from is open and full power "
              "may be drawn down to there" if brief.left_open("inverter.full_power_from") else
              "the lowest voltage at which full power is available")
    peak = trace(el.power_current, "peak current", symbol="I_pk", power=b.peak, voltage=peak_at,
                 note=f"ceiling: the bus is counted at {lowest}")
    steady = with_more(trace(
        el.power_current, "continuous current", symbol="I_c", power=b.continuous,
        voltage=brief.inverter.voltage_low,
        note="ceiling: the bus is counted at its lowest operating voltage"),
        b.continuous.untold_more)
    charged = charging_power(brief)
    charging = with_more(trace(
        el.power_current, "charging current", symbol="I_ch", power=charged, voltage=rest_low,
        note="largest where charging begins, at lowest charge"), charged.untold_more)
    said = charging_current_said(brief)
    if said is not None:
        charging = largest([charging, said], "charging current")
    braking = with_more(trace(
        el.power_current, "braking current", symbol="I_rg", power=brief.regeneration.power,
        voltage=rest_low, note="ceiling: counted at the rest voltage at lowest charge"),
        brief.regeneration.power.untold_more)
    per_module = trace(el.module_current, current=peak, parallel=b.parallel)
    real = smallest([trace(el.pack_capacity, "real capacity of one module", parallel=count(
        "one module", "P", 1), module_capacity=o.module.capacity,
        state_of_health=o.state_of_health) for o in b.on_hand], "real capacity of one module")
    return {"peak_current": peak, "continuous_current": steady, "charging_current": charging,
            "regeneration_current": braking, "module_peak_current": per_module,
            "module_peak_limit": _module_limit(b, "peak_current", "peak limit of one module"),
            "module_continuous_limit": _module_limit(b, "continuous_current",
                                                     "continuous limit of one module"),
            "module_charge_limit": largest([limit_from(b, t) for t in cold_edges(b)],
                                           "charge limit of one module, warm"),
            "module_rate": trace(el.rate, "peak current against real capacity",
                                 current=per_module, capacity=real)}


def _module_limit(b: Builder, name: str, title: str) -> Finding:
    """The weaker module's limit at its real capacity; unknown where one is not known."""
    found = []
    for on_hand in b.on_hand:
        limit = getattr(on_hand.module, name)
        if not limit.known:
            return limit.called(title)
        found.append(trace(el.limit_at_health, title, limit=limit,
                           state_of_health=on_hand.state_of_health))
    return smallest(found, title)


def _energy(b: Builder, capacity: Finding) -> dict[str, Finding]:
    """Usable energy errs low, for the range; total energy errs high, for what can burn."""
    bat = b.brief.battery
    nominal = _mean(b, bat.charge_lowest.number, bat.charge_highest.number,
                    "mean voltage over the charge window")
    zero, one = rule("empty", "SOC", "%", 0.0), rule("full", "SOC", "%", 1.0)
    usable = trace(el.energy_between, "usable energy", symbol="W_us", capacity=capacity,
                   upper=bat.charge_highest, lower=bat.charge_lowest, voltage=nominal)
    used = count("modules that the layout holds", "N", b.layout.series * b.layout.parallel)
    most = []
    for on_hand in b.on_hand:
        each, health = traced_most_capacity(on_hand, used)
        most.append(trace(el.pack_capacity, "most capacity of the pack", parallel=b.parallel,
                          module_capacity=each, state_of_health=health))
    wholes = _means(b, 0.0, 1.0, "mean voltage from empty to full")
    totals = [trace(el.energy_between, "total energy", symbol="W_tot", capacity=at_most,
                    upper=one, lower=zero, voltage=whole)
              for at_most, whole in zip(most, wholes, strict=True)]
    total = sum_of_parts(el.series_sum, totals, "total energy", symbol="W_tot", unit="kWh",
                         note="full, each type stores by its own capacity")
    masses = [trace(el.modules_mass, series=s, parallel=b.parallel, module_mass=o.module.mass)
              for s, o in zip(b.part_series, b.on_hand, strict=True)]
    mass = sum_of_parts(el.series_sum, masses, "mass of the modules", symbol="m", unit="kg")
    return {"nominal_voltage": nominal, "usable_energy": usable, "total_energy": total,
            "mass": mass}


def _means(b: Builder, low: float, high: float, title: str) -> list[Finding]:
    """Mean of the lowest open-circuit curve between two charges, of each type's run."""
    return [trace(el.series_voltage, title, series=s,
                  module_voltage=_mean_of_one(o, low, high, title))
            for s, o in zip(b.part_series, b.on_hand, strict=True)]


def _mean(b: Builder, low: float, high: float, title: str) -> Finding:
    """Mean of the lowest open-circuit curve between two charges."""
    return b.voltage([_mean_of_one(o, low, high, title) for o in b.on_hand], title)


def _mean_of_one(o: ModulesOnHand, low: float, high: float, title: str) -> Finding:
    return leaf(f"{title}, one module", "U_m", "V", mean_voltage(o, low, high), "computed",
                source="packcalc-rule", origin=Origin(f"curve of {o.module.title}"),
                note=f"mean of {MEAN_POINTS} evenly spaced points on the lowest curve")


def _fault_resistances(b: Builder) -> dict[str, Finding]:
    """Millisecond resistance at the terminals; long-pulse resistance of one string, cold."""
    short = b.modules_resistance([fault_side(o) for o in b.on_hand], b.parallel,
                                 "modules in the first milliseconds: new, hot, full")
    one = fewest_paths(b)
    known = Builder(replace(b.brief, path=_known_path(b.brief)), b.layout)
    least = trace(el.resistance_sum, "least resistance of the loop", symbol="R", unit="mΩ",
                  first=short, second=known.path_least(),
                  note="new, hot cells in the first milliseconds; no cable, and nothing for an "
                       "entry left open: the least there is, errs high for a step current and "
                       "for L/R")
    long = b.resistance(
        b.brief.battery.coldest_closed, b.brief.battery.charge_lowest, LONG_PULSE, aged=True,
        parallel=one, cables=b.cables_long(), title="resistance of the lowest fault: cold, aged, "
        "lowest charge in use, long pulse, long path")
    return {"resistance_initial": short, "resistance_least": least, "resistance_long": long}


def fault_side(on_hand: ModulesOnHand) -> Finding:
    """Millisecond resistance of one module in the highest fault, the least of record and bench.

    A pulse is held to the record's pulse, as a growth below 1; an AC reading counts as it is.
    """
    counted = mod.traced_resistance_initial(on_hand.module)
    if on_hand.least_growth.number < 1.0:
        counted = trace(el.resistance_at_fault, resistance=counted, growth=on_hand.least_growth)
    read = on_hand.first_read
    return counted if read is None or read.number >= counted.number else read


def _known_path(brief: Brief) -> Path:
    """Path resistances with nothing for those that are left open: the low side.

    The cables inside a string are counted hot elsewhere: here with nothing, as the others.
    """
    cables = replace(brief.path.string_cable_length, value=0.0, basis="definition")
    return replace(brief.path, string_cable_length=cables, **{
        item.name: replace(entry, value=0.0, note="left open: nothing is counted on the low side")
        for item in fields(Path)
        if isinstance(entry := getattr(brief.path, item.name), Finding)
        and entry.basis == "assumed" and not item.name.startswith("string_cable")})


def _corners(b: Builder, capacity: float) -> tuple[Corner, ...]:
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


def _corner(b: Builder, charge: float, kelvin: float, aged: bool, inside: int, *,
            low: bool) -> Corner:
    asks, parts = b.asks, list(zip(b.layout.parts, b.on_hand, strict=True))
    outside = b.path(count("strings in", "P", inside)).number + b.cables().number

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


def _counts(b: Builder) -> dict[str, Any]:
    """Modules used and left, and the cell voltages that a monitor must see."""
    layout, parts = b.layout, list(zip(b.layout.parts, b.on_hand, strict=True))
    return {
        "modules_used": layout.series * layout.parallel,
        "modules_left": tuple(int(o.count.number) - p.series * layout.parallel for p, o in parts),
        "channels": layout.parallel * sum(p.series * o.module.series for p, o in parts)}


def _spread(b: Builder) -> float:
    """Largest difference of the class's curves over the charge window, in V for the pack."""
    points = np.linspace(b.asks.charge_lowest, b.asks.charge_highest, 19)
    return float(max(np.max(sum(
        part.series * (mod.ocv_high(o.module, points) - mod.ocv_low(o.module, points))
        for part, o in zip(b.layout.parts, b.on_hand, strict=True)), initial=0.0), 0.0))


def _notes(b: Builder, currents: dict[str, Finding]) -> tuple[str, ...]:
    """What a reader of the layout must know beside its figures."""
    words = charging_notes(b, currents)
    if b.layout.parallel > 1 and b.layout.arrangement == "grouped":
        words.append(
            "Modules paralleled at their ends stay separate stacks: every cell in every stack "
            "needs its own monitor channel; never join sense taps with signal wire.")
    if b.layout.arrangement == "strings":
        words.append(
            "Each string is a source of its own: it needs its own fuse and contactors, and a "
            "fault inside one string is fed by all the others.")
    return (*words, *mix_cautions(b.brief, b.layout.entries))
