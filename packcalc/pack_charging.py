"""One layout while it is charged: full voltages, what it bears cold and hot, braking into it."""

from __future__ import annotations

from typing import Any

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.braking import Braked, at_charges
from packcalc.brief import Brief, ModulesOnHand
from packcalc.findings import Finding, largest, smallest, trace, with_more
from packcalc.layout_findings import Builder, fewest_paths, rule
from packcalc.layouts import Layout, charge_ceiling
from packcalc.modules import ModuleType
from packcalc.screening import A_HAIR, charge_edges, charge_limit
from packcalc.units import show
from packcalc.value import replace, value_object

Limits = tuple[tuple[Finding, Finding], ...]  # (edge of a band, charge limit from there)


def full_voltages(b: Builder) -> tuple[Finding, Finding]:
    """Full-charge voltage at the upper tolerance, and without it."""
    top = charge_ceiling(b.brief)
    rest_full = _standing(b, [top] * len(b.on_hand), "voltage at the end of charging")
    full = trace(el.with_tolerance, voltage=rest_full, tolerance=b.brief.charger.tolerance,
                 note=top.note if top.number > b.asks.charge_highest else "")
    return full, rest_full


def _standing(b: Builder, charges: list[Finding], title: str) -> Finding:
    """Highest voltage of the pack at rest, each type at a charge."""
    return b.voltage([_full_of_one(o.module) if charge.number >= 1.0 else
                      mod.traced_ocv_high(o.module, charge)
                      for o, charge in zip(b.on_hand, charges, strict=True)], title)


def _full_of_one(module: ModuleType) -> Finding:
    return trace(el.series_voltage, "full voltage of one module", symbol="U_m",
                 series=module.cells_in_series, module_voltage=module.full_voltage)


def full_module(brief: Brief, on_hand: ModulesOnHand) -> Finding:
    """One module with its cells at their own full voltage, with the charger's tolerance."""
    words = "" if charge_ceiling(brief).number >= 1.0 else (
        "its cells full, although charging of the pack ends at "
        f"{brief.battery.charge_highest.shown}: modules differ, and one may stand above the others")
    return trace(el.with_tolerance, "voltage of one full module", symbol="U_m",
                 voltage=_full_of_one(on_hand.module), tolerance=brief.charger.tolerance,
                 note=words)


def within(run: Finding, whole: Finding) -> Finding:
    """The voltage of some modules in series, which is never more than that of the whole pack."""
    if run.number <= whole.number:
        return run
    return whole.called(run.title, run.symbol, f"the whole pack's {whole.shown}: every module full "
                        f"by itself would make {run.shown}")


def cold_edges(b: Builder) -> list[Finding]:
    """Temperatures at which charging is looked at; see `screening.charge_edges`."""
    battery = b.brief.battery
    coldest = min((battery.coldest_start, battery.coldest_closed), key=lambda f: f.number)
    return [coldest if kelvin == coldest.number else rule(
        "cold edge of a charge-limit band", "θ", "°C", kelvin)
        for kelvin in sorted({float(t) for t in charge_edges(b.brief, b.asks, b.on_hand)})
        if kelvin == coldest.number or kelvin < b.asks.hottest]


def hot_edges(b: Builder, beyond: bool) -> list[Finding]:
    """Edges that `cold_edges` leaves out: the end of a type's last band, above which it bears none.

    Args:
        b: of the layout.
        beyond: whether those of cells hotter than any in use count too.
    """
    cold = {edge.number for edge in cold_edges(b)}
    ends = {t for o in b.on_hand for band in o.module.cell.charge_bands
            for t in (band.above, band.up_to)}
    return [rule("hot end of a charge-limit band", "θ", "°C", kelvin) for kelvin in sorted(ends)
            if kelvin > min(cold) and kelvin not in cold and (beyond or kelvin < b.asks.hottest)]


def limit_from(b: Builder, edge: Finding, *, caps: bool = False) -> Finding:
    """Charge limit of one module just above an edge, at its real capacity.

    Args:
        b: of the layout.
        edge: of a band.
        caps: whether it caps a voltage, which a weak module on the bench must not lower.
    """
    above = replace(edge, value=edge.number + A_HAIR)
    return smallest([
        trace(el.limit_at_health, "charge limit of one module at its real capacity",
              limit=mod.traced_charge_current_limit(o.module, above),
              state_of_health=o.stated_health if caps else o.state_of_health)
        for o in b.on_hand],
        f"charge limit of one module from {edge.shown}")


def charge_limits(brief: Brief, layout: Layout, *, beyond: bool = False) -> Limits:
    """(edge of a band, charge limit of the layout from there), rising; one string where strings.

    A string that is alone in takes the whole current. Where the limit falls, the hottest cell
    counts: see `by_cell`.

    Args:
        brief, layout: asked.
        beyond: whether edges count too that lie above the hottest cells in use.
    """
    paths = fewest_paths(Builder(brief, layout))
    return tuple((edge, trace(el.series_voltage, f"charge limit from {edge.shown}", symbol="I",
                              unit="A", series=paths, module_voltage=limit))
                 for edge, limit in module_limits(brief, layout, beyond=beyond))


def module_limits(brief: Brief, layout: Layout, *, beyond: bool = False) -> Limits:
    """The same of one module of the layout, the weakest of any type."""
    b = Builder(brief, layout)
    edges = sorted((*cold_edges(b), *hot_edges(b, beyond)), key=lambda f: f.number)
    return tuple((edge, limit_from(b, edge)) for edge in edges)


def by_cell(limits: Limits) -> tuple[Limits, Limits]:
    """Limits that go by the coldest cell, and those that go by the hottest: less than before."""
    less = [limit.number < before.number for (_, limit), (_, before) in zip(limits[1:], limits)]
    return ((limits[0], *(one for one, falls in zip(limits[1:], less) if not falls)),
            tuple(one for one, falls in zip(limits[1:], less) if falls))


def by_temperature(limits: Limits) -> str:
    """Limits in words, each with the temperature that it begins at."""
    cold, hot = (", ".join(f"{limit.shown} above {edge.shown}" for edge, limit in part)
                 for part in by_cell(limits))
    return f"{cold} of the coldest cell" + (f", {hot} of the hottest" if hot else "")


def braking_voltage(b: Builder, start: Finding) -> Finding:
    """Highest voltage while braking into a cold pack, at whichever charge up to the ceiling.

    Of parallel strings one may be in alone: its resistance counts. The charge limit is that of
    all strings, because the inverter may not be told that one is out. Resistance and voltage
    are both those at the charge that is counted: a limit that nobody keeps lowers neither.
    More of a resistance that is left open raises it further.

    Args:
        b: of the layout.
        start: full voltage at the ceiling of charge, which braking never lowers.
    """
    limit = b.brief.regeneration.voltage_limit
    edges = cold_edges(b)
    cases = [_braking_at(b, start, cold)
             for cold in (edges if b.asks.charge_limit_counts else edges[:1])]
    _, governing = max(cases, key=lambda case: case[0].number)
    title = "braking into a full cold pack"
    if governing.below:
        title = f"braking into a cold pack at {governing.below}"
    rise = largest([case for case, _ in cases], title, governing.note)
    more = governing.resistance.untold_more if rise.number > start.number else ""
    if limit.known:
        capped = largest([limit, start], "inverter's own limit" if limit.number >= start.number else
                         f"full voltage, above the inverter's own limit of {limit.shown}")
        held = rise.number >= capped.number
        more = "" if held else more
        rise = smallest([rise, capped], title, "" if held else governing.note)
    return with_more(rise, more)


@value_object
class _Behind:
    """What is braked into: the pack at one temperature and charge.

    Attributes:
        where: temperature, and the charge where it is not the ceiling, in words.
        below: the charge alone; empty at the ceiling.
        note: why a charge below the ceiling counts; empty at the ceiling.
        rest, resistance: of the pack.
    """

    where: str
    below: str
    note: str
    rest: Finding
    resistance: Finding


def _braking_at(b: Builder, start: Finding, cold: Finding) -> tuple[Finding, _Behind]:
    """Voltage while braking at one cold edge, and what is braked into."""
    braked, power = _braked(b, cold), b.brief.regeneration.power
    charges = _charges(b, braked.charges(braked.at_power(power.number)[1]))
    free_of = _behind(b, start, cold, charges)
    free = trace(el.charging_voltage, f"voltage while braking at {free_of.where}",
                 open_circuit_voltage=free_of.rest, resistance=free_of.resistance, power=power)
    if not b.asks.charge_limit_counts:
        return free, free_of
    limit = trace(el.series_voltage, "charge limit of the pack", symbol="I", unit="A",
                  series=b.parallel, module_voltage=limit_from(b, cold, caps=True))
    at_limit = _charges(b, braked.charges(braked.at_current(limit.number)[1]))
    held_of = free_of if at_limit == charges else _behind(b, start, cold, at_limit)
    held = trace(el.raised_voltage, f"voltage at the charge limit at {held_of.where}",
                 open_circuit_voltage=held_of.rest, current=limit, resistance=held_of.resistance)
    governing = held_of if held.number < free.number else free_of
    return smallest([free, held], f"braking at {governing.where}"), governing


def _braked(b: Builder, cold: Finding) -> Braked:
    """The bare figures of the pack at every charge, as the screening counts them."""
    asks, inside = b.asks, fewest_paths(b)
    return Braked(
        tuple(at_charges(o.module, cold.number, asks.charge_ceiling, asks.charger_tolerance,
                         asks.regeneration_duration, o.resistance_growth.number)
              for o in b.on_hand),
        tuple(np.array([s.number]) for s in b.part_series), np.array([inside.number]),
        np.array([b.path(inside).number + b.cables().number]))


def _charges(b: Builder, found: list[Any]) -> list[Finding]:
    """Charges of each type, found as arrays of one, as findings: the ceiling is the brief's own."""
    top = charge_ceiling(b.brief)
    return [top if one[0] == top.number else rule(
        "charge at which braking drives it highest" if one[0] < top.number else
        "charge to which the charger's tolerance carries the cells", "SOC", "%", float(one[0]))
        for one in found]


def _behind(b: Builder, start: Finding, cold: Finding, at: list[Finding]) -> _Behind:
    """The traced pack with each type at a charge.

    Args:
        b: of the layout.
        start: full voltage at the ceiling.
        cold: temperature.
        at: charge of each type.
    """
    top = charge_ceiling(b.brief)
    below = " and ".join(dict.fromkeys(charge.shown for charge in at))
    below = "" if all(charge.number >= top.number for charge in at) else f"{below} charge"
    where = f"{cold.shown} and {below}" if below else cold.shown
    resistance = b.resistance(
        cold, at, b.brief.regeneration.duration, aged=True, parallel=fewest_paths(b),
        title=f"resistance while braking at {where}")
    if not below:
        above = next((charge.shown for charge in at if charge.number > top.number), "")
        return _Behind(where, "", f"the charger's tolerance may carry the cells to {above}, and "
                       "they resist more there" if above else "", start, resistance)
    resting = [charge if charge.number < top.number else top for charge in at]
    rest = trace(el.with_tolerance, f"rest voltage at {below}, with charger tolerance",
                 voltage=_standing(b, resting, f"rest voltage at {below}"),
                 tolerance=b.brief.charger.tolerance)
    return _Behind(where, below, f"higher than at {top.shown} charge, where charging ends: the "
                   "cells rest lower there, but resist more", rest, resistance)


def charging_notes(b: Builder, currents: dict[str, Finding]) -> list[str]:
    """How warm the cells must be before the charger, or the brake, may push its current."""
    words = []
    edges = sorted((*cold_edges(b), *hot_edges(b, False)), key=lambda f: f.number)
    limits = [(edge, min(charge_limit(o, edge.number + A_HAIR) for o in b.on_hand)
               * b.layout.parallel) for edge in edges]
    asked = currents["charging_current"]
    worst, borne = limits[0] if limits[0][1] < asked.number else min(limits, key=lambda b: b[1])
    if borne < asked.number:
        words.append(
            f"The charger's {asked.shown} is more than the cells bear in the "
            f"{'cold' if worst is limits[0][0] else 'heat'}: at {worst.shown} at most "
            f"{show(borne, 'A')}. {_full_current(limits, asked.number)} the management system must "
            "cut the charging current.")
    braking = currents["regeneration_current"]
    worst, borne = min(limits, key=lambda b: b[1])
    if not b.asks.follows_charge_limit and braking.number > borne:
        words.append(
            f"Braking feeds up to {braking.shown} into cells that bear {show(borne, 'A')} "
            f"at {worst.shown}, and nobody said that the management system cuts it: "
            f"{'cold' if worst is limits[0][0] else 'hot'} cells are damaged by charging and may "
            "fail later.")
    return words


def _full_current(limits: list[tuple[Finding, float]], asked: float) -> str:
    """Between which temperatures of every cell a current is borne, and where it is not."""
    bears = [limit >= asked for _, limit in limits]
    if True not in bears:
        return "At every temperature in use"
    first = bears.index(True)
    end = next((edge for (edge, _), one in zip(limits[first:], bears[first:]) if not one), None)
    span = " and ".join((*((f"above {limits[first][0].shown}",) if first else ()),
                         *((f"up to {end.shown}",) if end else ())))
    return f"Charge at full current only {span}; {'elsewhere' if end else 'below it'}"
