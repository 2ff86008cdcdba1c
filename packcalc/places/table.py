"""Every fault place of a layout, in the order of the table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from packcalc.feeds import Feeds
from packcalc.findings import Finding
from packcalc.places.branches import along_branches
from packcalc.places.chafed import cables_of, chafed_wires
from packcalc.places.chassis import through_chassis
from packcalc.places.main_path import box, cable, inlet, terminals
from packcalc.places.modules import module, section
from packcalc.places.settings import PlaceId, place_id
from packcalc.places.shared import Shared
from packcalc.places.strings import within_strings
from packcalc.protect.cable import RouteResult
from packcalc.protect.places import (
    CONTACTOR,
    Clearing,
    Loop,
    PlacesAsked,
    Spoiling,
    Sweeping,
    clearing_without_parts,
    not_swept,
    spoils_nothing,
)
from packcalc.value import replace


def places_asked(feeds: Feeds, routes: tuple[RouteResult, ...] = (), *,
                 main_rating: Finding | None = None,
                 string_rating: Finding | None = None,
                 clearing: Clearing = clearing_without_parts,
                 sweeping: Sweeping = not_swept,
                 spoiling: Spoiling = spoils_nothing,
                 settings: Mapping[PlaceId, Finding] | None = None) -> PlacesAsked:
    """Every fault place of a layout, in the order of the table.

    Args:
        feeds: every source of the layout.
        routes: sized cable routes, for the hot resistance of charging routes.
        main_rating, string_rating: rated currents of the fuses, or the least that the load
            allows.
        clearing: what a device does at a current.
        sweeping: what the devices of a loop do over its whole range.
        spoiling: what a fuse that is not shown to break leaves burning.
        settings: of a trip that follows the cells' temperature, for each loop.
    """
    shared = Shared(feeds, routes, main_rating, string_rating)
    loops = tuple(_with_setting(loop, (settings or {}).get(place_id(loop)))
                  for loop in _loops(shared))
    return PlacesAsked(loops, clearing, sweeping, spoiling)


def _with_setting(loop: Loop, setting: Finding | None) -> Loop:
    if setting is None:
        return loop
    return replace(loop, devices=tuple(
        replace(d, setting=setting) if d.kind == CONTACTOR else d for d in loop.devices))


def _loops(shared: Shared) -> Iterator[Loop]:
    routes = shared.brief.cables.route
    yield terminals(shared)
    yield box(shared)
    yield from (cable(shared, route) for route in routes)
    if not any(r.carries == "charging" for r in routes):
        yield inlet(shared, None)
    yield section(shared)
    yield module(shared)
    yield from within_strings(shared)
    yield from _along_branches(shared)
    yield from through_chassis(shared)
    yield from chafed_wires(shared)


def _along_branches(shared: Shared) -> Iterator[Loop]:
    """Each of them; the far end of one that describes a charge cable runs through that cable."""
    own = {f"branch.{b.name}.after": cables_of(shared.brief, b.name)
           for b in shared.brief.branch}
    for loop in along_branches(shared):
        yield replace(loop, cables=(*loop.cables, *own.get(loop.key, ())))
