"""Where nobody ends a fault, in the words of the checks of whatever the fault runs through."""

from __future__ import annotations

from collections.abc import Iterable

from packcalc.part_checks.sweep import number
from packcalc.protect.places import FaultPlace


def unended(places: Iterable[FaultPlace]) -> str:
    """Where nobody ends the heat: a place that fails before one where covers are the answer."""
    return _gravest((p for p in places if p.nobody), False, "nobody ends the heat")


def not_shown_ended(places: Iterable[FaultPlace]) -> str:
    """Where of a known range nobody is shown to end some current, be it that somebody does."""
    return _gravest((p for p in places if not (p.shown or p.nobody)
                     and p.loop.lowest.known and p.loop.highest.known), None,
                    "nobody is shown to end the heat")


def _gravest(places: Iterable[FaultPlace], clears: bool | None, words: str) -> str:
    left = sorted((p for p in places if p.loop.highest.number != 0.0), key=lambda p: (
        p.loop.inherent, not p.loop.devices, -max(
            number(one.current) or 0.0 for one in p.answers if one.clears is clears)))
    if not left:
        return ""
    first, more = left[0], len({p.key for p in left}) - 1  # rivals are one place
    span = first.between.span if first.between is not None and first.between.clears is clears \
        else " and ".join(f"at {one.current.shown}" for one in (first.at_lowest, first.at_highest)
                          if one.clears is clears and one.current.known)
    others = f", nor at {more} place{'s' if more > 1 else ''} more" if more else ""
    return f"{span or 'at some current'} {words} at '{first.title}'{others}"
