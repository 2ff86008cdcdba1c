"""One layout while it is charged: full voltages, what it bears cold and hot, braking into it."""

from __future__ import annotations

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.brief import Brief, ModulesOnHand
from packcalc.findings import Finding, largest, smallest, trace, with_more
from packcalc.layout_findings import Builder, fewest_paths, rule
from packcalc.layouts import Layout, charge_ceiling
from packcalc.modules import ModuleType
from packcalc.screening import A_HAIR, charge_edges, charge_limit
from packcalc.units import show
from packcalc.value import replace

Limits = tuple[tuple[Finding, Finding], ...]  # (edge of a band, charge limit from there)


def full_voltages(b: Builder) -> tuple[Finding, Finding]:
    """Full-charge voltage at the upper tolerance, and without it."""
    top = charge_ceiling(b.brief)
    per = [_full_of_one(o.module) if top.number >= 1.0 else mod.traced_ocv_high(o.module, top)
           for o in b.on_hand]
    rest_full = b.voltage(per, "voltage at the end of charging")
    full = trace(el.with_tolerance, voltage=rest_full, tolerance=b.brief.charger.tolerance,
                 note=top.note if top.number > b.asks.charge_highest else "")
    return full, rest_full


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
    b = Builder(brief, layout)
    paths = fewest_paths(b)
    edges = sorted((*cold_edges(b), *hot_edges(b, beyond)), key=lambda f: f.number)
    return tuple((edge, trace(el.series_voltage, f"charge limit from {edge.shown}", symbol="I",
                              unit="A", series=paths, module_voltage=limit_from(b, edge)))
                 for edge in edges)


def by_cell(limits: Limits) -> tuple[Limits, Limits]:
    """Limits that go by the coldest cell, and those that go by the hottest: less than before."""
    less = [limit.number < before.number for (_, limit), (_, before) in zip(limits[1:], limits)]
    return ((limits[0], *(one for one, falls in zip(limits[1:], less) if not falls)),
            tuple(one for one, falls in zip(limits[1:], less) if falls))


def braking_voltage(b: Builder, start: Finding) -> Finding:
    """Highest voltage while braking into a cold pack that the charger left full.

    Of parallel strings one may be in alone: its resistance counts. The charge limit is that of
    all strings, because the inverter may not be told that one is out. Resistance and voltage
    are both those at the charge that is counted: a limit that nobody keeps lowers neither.
    More of a resistance that is left open raises it further.
    """
    brief, asks = b.brief, b.asks
    inside = fewest_paths(b)
    candidates = []
    for cold in cold_edges(b):
        r = b.resistance(cold, charge_ceiling(brief), brief.regeneration.duration,
                         aged=True, parallel=inside,
                         title=f"resistance while braking at {cold.shown}")
        free = trace(el.charging_voltage, f"voltage while braking at {cold.shown}",
                     open_circuit_voltage=start, resistance=r, power=brief.regeneration.power)
        if not asks.charge_limit_counts:
            candidates.append(free)
            break
        pack_limit = trace(el.series_voltage, "charge limit of the pack", symbol="I", unit="A",
                           series=b.parallel, module_voltage=limit_from(b, cold, caps=True))
        held = trace(el.raised_voltage, f"voltage at the charge limit at {cold.shown}",
                     open_circuit_voltage=start, current=pack_limit, resistance=r)
        candidates.append(smallest([free, held], f"braking at {cold.shown}"))
    title = "braking into a full cold pack"
    rise, limit = largest(candidates, title), brief.regeneration.voltage_limit
    more = r.untold_more if rise.number > start.number else ""
    if limit.known:
        capped = largest([limit, start], "inverter's own limit, or the full voltage above it")
        more = more if rise.number < capped.number else ""
        rise = smallest([rise, capped], title)
    return with_more(rise, more)


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
