"""Where nobody ends a fault, in the words of the checks of whatever the fault runs through."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from packcalc.part_checks.sweep import number
from packcalc.protect.places import FaultPlace, Gap, either
from packcalc.value import replace

APART = 1e-6  # share of a current by which two spans may lie apart and are told as one


def unended(places: Iterable[FaultPlace], first: Collection[str] = ()) -> str:
    """Where nobody ends the heat: a place that fails before one where covers are the answer.

    Args:
        first: keys of the places that are told before all others.
    """
    return _gravest((p for p in places if p.nobody), False, "nobody ends the heat", first)


def not_shown_ended(places: Iterable[FaultPlace], first: Collection[str] = ()) -> str:
    """Where of a known range nobody is shown to end some current, be it that somebody does."""
    return _gravest((p for p in places if not (p.shown or p.nobody)
                     and p.loop.lowest.known and p.loop.highest.known), None,
                    "nobody is shown to end the heat", first)


def apart(places: Sequence[FaultPlace], own: Collection[str]) -> tuple[str, str]:
    """(where nobody ends the heat in a conductor, or is shown to; the same of its own path).

    Args:
        places: whose current runs through it.
        own: keys of those that are the ends of its own path: what they leave to nobody no cover
            or other device answers for. They are told first, with all others counted.
    """
    here = [p for p in places if p.key in own]
    if unended(here):
        return "", unended(places, own)
    if not_shown_ended(here):
        return unended(places), not_shown_ended(places, own)
    return unended(places) or not_shown_ended(places) or _may_burst(places), ""


def _may_burst(places: Iterable[FaultPlace]) -> str:
    """Where a source of unknown current may burst the fuse that ends the heat."""
    return next((f"{why} at '{p.title}'" for p in places if (why := p.loop.may_burst)), "")


def gaps_of(place: FaultPlace) -> tuple[Gap, ...]:
    """What of its currents nobody ends or is shown to end; none while one end is not known."""
    low, high = place.at_lowest, place.at_highest
    if not (place.lowest.known and place.loop.highest.known):
        return ()
    if place.gaps or low.clears or low.clears is not high.clears:
        return place.gaps
    ends = sorted((place.lowest.number, place.loop.highest.number))
    return (Gap(*ends, low.clears, low.device if low.clears is None else "", low.why),)


def gaps_together(places: Sequence[FaultPlace]) -> tuple[Gap, ...]:
    """The same of several loops that are told as one place: what any of them leaves, rising.

    A current that nobody ends in one of them is told as that, whatever is not shown in another.
    """
    if len(places) == 1:
        return gaps_of(places[0])
    told = [(g, p.loop.rival.name if p.loop.rival is not None else p.title)
            for p in places for g in gaps_of(p)]
    nobody = _joined([one for one in told if one[0].clears is False])
    open_ = [left for g in _joined([one for one in told if one[0].clears is None])
             for left in _without(g, nobody)]
    return tuple(sorted((*nobody, *open_), key=lambda g: g.low))


def _joined(told: Iterable[tuple[Gap, str]]) -> list[Gap]:
    """Spans that meet as one, with the ground of the first and the names of all."""
    groups: list[list[tuple[Gap, str]]] = []
    most = 0.0
    for gap, name in sorted(told, key=lambda one: one[0].low):
        if not groups or gap.low > most * (1.0 + APART):
            groups.append([])
        groups[-1].append((gap, name))
        most = max(most, gap.high)
    return [_as_one([g for g, _ in group], list(dict.fromkeys(name for _, name in group)))
            for group in groups]


def _as_one(gaps: list[Gap], names: list[str]) -> Gap:
    likewise = f"; likewise {', '.join(names[1:])}" if len(names) > 1 else ""
    devices = [name for g in gaps for name in g.device.split(" or ") if name]
    return Gap(gaps[0].low, max(g.high for g in gaps), gaps[0].clears, either(devices),
               f"{names[0]}: {gaps[0].why}{likewise}")


def _without(gap: Gap, nobody: Iterable[Gap]) -> list[Gap]:
    """What of a span lies outside those of nobody."""
    left, low = [], gap.low
    for other in nobody:
        if other.high < low or other.low > gap.high:
            continue
        left += [(low, other.low)] if other.low > low * (1.0 + APART) else []
        low = max(low, other.high)
    more = 1.0 + APART
    within = any(other.low <= gap.low * more and gap.high <= other.high * more for other in nobody)
    left += [(low, gap.high)] if gap.high > low * more or not (left or within) else []
    return [replace(gap, low=a, high=b) for a, b in left]


def _gravest(places: Iterable[FaultPlace], clears: bool | None, words: str,
             before: Collection[str]) -> str:
    left = sorted((p for p in places if p.loop.highest.number != 0.0), key=lambda p: (
        p.key not in before, p.loop.inherent, not p.loop.devices, -max(
            number(one.current) or 0.0 for one in p.answers if one.clears is clears)))
    if not left:
        return ""
    first, more = left[0], len({p.key for p in left}) - 1  # rivals are one place
    rivals = [p for p in left if p.key == first.key]
    span = " and ".join(g.span for g in gaps_together(rivals) if g.clears is clears) \
        if len(rivals) > 1 else _span(first, clears)
    others = f", nor at {more} place{'s' if more > 1 else ''} more" if more else ""
    return f"{span or 'at some current'} {words} at '{first.title}'{others}"


def _span(place: FaultPlace, clears: bool | None) -> str:
    """The currents of which that is said at one place; its ends where the sweep says no more."""
    if place.between is not None and place.between.clears is clears:
        return place.between.span
    return " and ".join(f"at {one.current.shown}" for one in (place.at_lowest, place.at_highest)
                        if one.clears is clears and one.current.known)
