"""Loops that are told as one fault place: the one with the worst answer stands for all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from packcalc.protect.branch_figures import told_with_bound
from packcalc.protect.places import CONTACTOR, Cleared, FaultPlace


def worst_of_rivals(places: Iterable[FaultPlace]) -> tuple[FaultPlace, ...]:
    """Every place that has no rivals, and of rivals the worst; in the order of the table."""
    found: dict[str, list[FaultPlace]] = {}
    for index, place in enumerate(places):
        key = place.key if place.loop.rival is not None else str(index)
        found.setdefault(key, []).append(place)
    return tuple(_worst(group) for group in found.values())


def _worst(group: list[FaultPlace]) -> FaultPlace:
    """The worst of rivals, with all of them in its first note, worst first."""
    ranked = sorted(group, key=_gravity, reverse=True)
    worst = ranked[0]
    if worst.loop.rival is None:
        return worst
    each = "; ".join(f"{p.loop.rival.name} {_told(p)}" for p in ranked if p.loop.rival is not None)
    return replace(worst, loop=replace(
        worst.loop, title=f"{worst.title}, at worst that of {worst.loop.rival.name}",
        notes=(f"{worst.loop.rival.words}: {each}{_highest(ranked)}", *worst.loop.notes)))


def _highest(ranked: list[FaultPlace]) -> str:
    """The largest current of those whose highest ends differ, with whose it is."""
    told = [(p.loop.all_sources, p.loop.rival.name) for p in ranked
            if p.loop.rival is not None and p.loop.rival.highest and p.loop.all_sources.known]
    if not told:
        return ""
    most, whose = max(told, key=lambda one: one[0].number)
    return f"; the highest, all sources, {most.shown}: {whose}"


def _gravity(place: FaultPlace) -> tuple[int, int, int, bool, float]:
    """The larger, the worse: nobody before what is not shown, at any current, then at the ends."""
    return (max(map(_weight, place.answers)), _weight(place.at_lowest), _weight(place.at_highest),
            all(d.kind != CONTACTOR for d in place.loop.devices),
            -place.lowest.number if place.lowest.known else 0.0)


def _weight(one: Cleared) -> int:
    return 2 if one.clears is False else 0 if one.clears else 1


def _told(place: FaultPlace) -> str:
    """Its lowest current with who ends it, and where it is graver, who ends the others."""
    low, grave = place.at_lowest, max(place.answers, key=_weight)
    lowest = told_with_bound(place.lowest) if place.lowest.known else "not known"
    more = f", {grave.words}" if _weight(grave) > _weight(low) else ""
    return f"{lowest}: {low.words}{more}"
