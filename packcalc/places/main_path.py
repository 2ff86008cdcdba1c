"""Fault places of the main path: terminals, inside the box, the cables' far ends, the inlet."""

from __future__ import annotations

import math
from collections.abc import Iterable

from packcalc import electrical as el
from packcalc.brief import Branch, Route
from packcalc.feeds import hottest_class, own_fuses
from packcalc.findings import Finding, leaf, trace, untold_of, with_more
from packcalc.places.branches import (
    OWN_FUSE, fuse_perhaps, inlets, loss_open, own_fuse,
)
from packcalc.places.chafed import ASK_CABLE, fused_inlet, perhaps_fused_inlets, unspoken_fuse
from packcalc.places.shared import Shared, beyond
from packcalc.places.slowest import UNTOLD, pair, route_conductor, route_loop
from packcalc.protect.branch_figures import (
    FUSE_LOSS, at_most, branch_loops, branch_wires, branch_withstand, open_length,
)
from packcalc.protect.faults import prospective_fault_current
from packcalc.protect.places import COVER, MID_FUSE, TRIP, Loop
from packcalc.protect.strings import pair_resistance

STRING_ENDS = ("counted behind the string contactors, where the strings join; ahead of them it is "
               "the place of one string shorted before its fuse")
OWN_SENSOR = "a current sensor and a trip for each string (strings.trip_current, trip_delay)"
CHARGER_SIDE = ("the charger's side stays fed by the charger after the pack's contactors have "
                "opened")
INLET_AT = "counted as leaving behind the main fuse and the contactors: look at the drawing"


TERMINALS = "terminals"


def far_ends(routes: Iterable[str]) -> set[str]:
    """Keys of the places at the far ends of cables, traction or charging."""
    return {f"{kind}.{name}" for name in routes for kind in ("cable", "inlet")}


def terminals(shared: Shared) -> Loop:
    """Across the pack's terminals: everything of the main path stands before them."""
    return shared.loop(
        TERMINALS, "across the pack terminals, behind fuse and contactors",
        lowest=_lowest_in_box(shared, "lowest fault current at the terminals"),
        inductance=shared.feeds.pack_inductance,
        devices=(*shared.upstream, shared.contactors), passed=shared.middle(),
        remedies=(TRIP, COVER),
        common=shared.behind_main, **shared.bus(shared.reach))


def box(shared: Shared) -> Loop:
    """Pole to pole ahead of the main fuse."""
    given = shared.into_the_box()
    given["notes"] += (STRING_ENDS,) if shared.strung else ()
    return shared.loop(
        "box", "inside the box, pole to pole, before the main fuse",
        lowest=_lowest_in_box(shared, "lowest fault current ahead of the main fuse"),
        inductance=shared.feeds.pack_inductance, devices=shared.inside, passed=shared.middle(),
        inherent=True,
        remedies=(OWN_SENSOR, COVER) if shared.strung else
        (COVER,) if shared.inside else (MID_FUSE, COVER), **given)


def _lowest_in_box(shared: Shared, title: str) -> Finding:
    return trace(prospective_fault_current, title, voltage=shared.pack.rest_low_voltage,
                 resistance=shared.feeds.resistance_box)


def cable(shared: Shared, route: Route) -> Loop:
    """The far end of a cable."""
    if route.carries != "traction":
        return inlet(shared, route)
    remedies = ("a smaller main fuse, a thicker or shorter cable", TRIP)
    return shared.loop(f"cable.{route.name}", f"far end of the cable {route.name}",
                       devices=(*shared.upstream, shared.contactors), passed=shared.middle(),
                       remedies=remedies, cables=shared.traction_names,
                       common=shared.down_the_cables, **shared.bus(None))


def inlet(shared: Shared, route: Route | None) -> Loop:
    """The charge inlet; its own fuse counts where a branch states one, and may melt unspoken of."""
    brief = shared.brief
    own = fused_inlet(brief, route)
    length = route.length if route else shared.reach
    given = shared.bus(length, at_inlet=True)
    fuse = own_fuse(own, given) if own else ()
    may = [(b, fuse_perhaps(brief, b, given)) for b in perhaps_fused_inlets(brief, route)]
    open_ = next((words for branch, fuses in ((own, fuse), *may) if branch is not None
                  if (words := loss_open(shared, branch, fuses, 2))), ())
    unspoken = unspoken_fuse(brief, route, given)
    may_melt = (*(one for _, fuses in may for one in fuses), *unspoken)
    given["notes"] = (*given["notes"], *open_, CHARGER_SIDE, INLET_AT)
    lowest, common, outside = _lowest_at_inlet(shared, route, own, FUSE_LOSS if open_ else "")
    area, cables = route_conductor(shared.brief, route) if route else (None, None)
    return shared.loop(
        f"inlet.{route.name}" if route else "inlet",
        f"charge inlet, far end of {route.name}" if route else "charge inlet",
        lowest=lowest, common=common, outside=outside,
        **_slowest_to_inlet(shared, route),
        devices=(*fuse, *shared.upstream, shared.contactors),
        passed=(*may_melt, *shared.middle(), *shared.to_inlet()),
        own_wire=branch_withstand(area, route.insulation_class)
        if route and area.known else None,
        cables=(*shared.traction_names, *((route.name,) if route else ())),
        remedies=(OWN_FUSE, TRIP, *shared.of_inlet),
        **given)


def _slowest_to_inlet(shared: Shared, route: Route | None) -> dict[str, Finding]:
    """Inductance and least resistance; the charge cable may leave from the traction cables' end.

    Of one that no route tells the slowest of its branches.
    """
    runs = [pair(route.length, *route_conductor(shared.brief, route))] if route else [
        pair(b.length, b.section) for b in inlets(shared.brief)] or [UNTOLD]
    loops = [shared.slowest_loop(*shared.traction, run) for run in runs]
    slow = max(loops, key=lambda one: one["inductance"].number / one["resistance"].number)
    more = untold_of(one["inductance"] for one in loops)
    return slow | {"inductance": with_more(slow["inductance"], more)}


def _lowest_at_inlet(shared: Shared, route: Route | None, own: Branch | None,
                     loss: str) -> tuple[Finding, Finding | None, Finding | None]:
    """(lowest current, resistance that all strings pass, resistance outside the modules).

    The fuses of its own branch stand in that loop; it may begin at the traction cables' far end.
    Of a cable that is not known it is that of the traction cables' far end, at most; of one whose
    length is left open, or with a fuse of unknown loss, at most what is counted.
    """
    lengths = [route.length] if route else [b.length for b in inlets(shared.brief)]
    length = next((why for one in lengths if (why := open_length(one))), "")
    both = route_loop(shared.brief, route, shared.routes) if route else _told_loop(shared)
    if not both.known:
        return (shared.feeds.faults.lowest.called(note=at_most(loss, both.note)),
                shared.down_the_cables, None)
    cable = branch_wires(both,
                         own_fuses(shared.brief, own, 2) if own else None)
    loop = trace(pair_resistance, "loop of a fault at the charge inlet",
                 first=shared.pack.resistance_long, second=cable)
    return (trace(prospective_fault_current, "lowest fault current at the charge inlet",
                  note=at_most(loss, length, both.untold_more),
                  voltage=shared.pack.rest_low_voltage, resistance=loop),
            _sum(shared.down_the_cables, cable), _sum(beyond(
                shared.pack, shared.pack.cables_long), cable))


def _told_loop(shared: Shared) -> Finding:
    """Both conductors of the charge cable that no route tells, hot: the longest of its branches."""
    loops = [branch_loops(b.length, b.section, hottest_class(shared.brief, b))[0]
             for b in inlets(shared.brief)] or [leaf(
                 "loop resistance of the charge cable", "R_loop", "mΩ", None, "given",
                 note=ASK_CABLE)]
    return max(loops, key=lambda one: one.number if one.known else math.inf)


def _sum(first: Finding | None, second: Finding) -> Finding | None:
    """Two resistances in a row; None without the first."""
    return None if first is None else trace(
        el.resistance_sum, "conductors up to the charge inlet", unit="mΩ", first=first,
        second=second)
