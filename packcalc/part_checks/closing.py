"""What would close a hole between fuse and contactor: tried over the whole sweep before it is said.

A cure that opens a hole elsewhere is none. Each is tried by itself, the other holes left as they
are; where none closes it, what the sheets lack is said instead.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from packcalc.curves import Curve
from packcalc.findings import Finding
from packcalc.part_checks.rising import RISEN
from packcalc.part_checks.sweep import (
    MELTED, MELTS, TORN, ContactorSide, FuseSide, Hole, Sweep, TripLine, Trips, number, sweep,
)
from packcalc.part_checks.unbroken import NO_FUSE
from packcalc.units import show
from packcalc.value import replace

SHORTER = 0.99  # of a time that something must stay below
LATER = 2.0  # time constants by which the rise of the current delays a fuse, at most
SAME = 1e-6  # of a current: within it two ends of a hole are one
Cure = tuple[str, FuseSide, ContactorSide]


def closing(swept: Sweep, voltage: Finding, time_constant: Finding,
            trips: Trips | None = None) -> str:
    """The cures of every hole that close it, or what is missing.

    Args:
        swept: with its holes.
        voltage, time_constant: at which a contactor must be shown to break.
        trips: of the path, for the error and the range of their current sensor.
    """
    above = " or more" if voltage.least else ""
    shown_at = f"at {voltage.shown}{above}, L/R {time_constant.with_end}"
    told = [" or ".join(words for words, fuse, contactor in _cures(swept, hole, shown_at, trips)
                        if _closes(swept, hole, fuse, contactor)) or _missing(swept, hole)
            for hole in swept.holes]
    return "; ".join(dict.fromkeys(told))


def _missing(swept: Sweep, hole: Hole) -> str:
    lacks = [*swept.fuse.reasons, *swept.contactor.reasons]
    return f"from {show(hole.low, 'A')} to {show(hole.high, 'A')} " + (
        f"first of all: {'; '.join(lacks)}" if lacks else
        "no one change that was tried closes it: another fuse with another contactor")


def _cures(swept: Sweep, hole: Hole, shown_at: str, trips: Trips | None) -> Iterator[Cure]:
    if hole.device in TORN:
        yield from _shown(swept, hole, shown_at)
        back = min(hole.low, swept.contactor.limit or hole.low)
        yield (f"a trip that is held back above {show(back, 'A')}", swept.fuse,
               replace(swept.contactor, blocked_above=back))
    else:
        yield from _tripped(swept, hole, shown_at, trips or Trips())
    if hole.device == MELTS and not swept.fuse.reasons:
        yield from _lower_floor(swept, hole)
    else:
        yield from _quicker(swept, hole)


def _up(value: float) -> float:
    """Rounded up to three figures, so that what is printed is what was tried."""
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return math.ceil(value / step * (1.0 - SAME)) * step


def down(value: float, figures: int = 3) -> float:
    step = 10.0 ** (math.floor(math.log10(value)) - figures + 1)
    return math.floor(value / step * (1.0 + SAME)) * step


def _shown(swept: Sweep, hole: Hole, shown_at: str) -> Iterator[Cure]:
    """A contactor that breaks what its trip opens: by a higher figure, or by what is missing."""
    side = swept.contactor
    if side.limit >= hole.high * (1.0 - SAME):
        yield (f"this contactor's {show(side.limit, 'A')} shown {shown_at}", swept.fuse,
               replace(side, reasons=()))
        return
    most = _up(hole.high)
    yield (f"a contactor shown to break {show(most, 'A')} in both directions {shown_at}",
           swept.fuse, replace(side, reasons=(), limit=most))


def _tripped(swept: Sweep, hole: Hole, shown_at: str, trips: Trips) -> Iterator[Cure]:
    """A trip that sees the whole span, in time and before the fuse melts, and its contactor.

    It is sure to act at its setting with the sensor's error, and may act that much below.
    """
    side, error = swept.contactor, number(trips.sensor_error) or 0.0
    if hole.low <= error or hole.low > (number(trips.sensor_range) or np.inf):
        return
    low = down(hole.low - error)
    within = swept.counted_time
    if hole.device in MELTED or swept.fuse.unbroken.melts(hole.high) < within:
        within = SHORTER * float(swept.fuse.unbroken.melts(hole.high))
    elif side.lines:
        within = min(within, min(line.delay for line in side.lines) + side.opening)
    if within <= 0.0:
        return
    within = down(within, 2)
    opening = min(side.opening, within)
    quick = TripLine("trip", low + error,
                     max(within - opening - RISEN * side.time_constant, 0.0))
    soonest = replace(quick, from_current=max(low - error, 0.0))
    made = replace(side, reasons=(), lines=(*side.lines, quick), opening=opening, limit=np.inf,
                   blocked_above=np.inf, threats=(*side.threats, soonest))
    most = _most_opened(swept, made)
    if most is None:
        return
    made = replace(made, limit=max(_up(most), side.limit))
    back = f", not held back below {show(made.limit, 'A')}" \
        if side.blocked_above < made.limit else ""
    off = f", the sensor's error of {show(error, 'A')} counted," if error else ""
    what = (f"a trip at or below {show(low, 'A')}{off} that has opened it within "
            f"{show(within, 's')}{back}")
    if not side.reasons and made.limit == side.limit:
        yield what, swept.fuse, made
    else:
        yield (f"a contactor shown to break {show(made.limit, 'A')} in both directions {shown_at}, "
               f"on {what}", swept.fuse, made)


def _most_opened(swept: Sweep, side: ContactorSide) -> float | None:
    """Largest current that it opens before the fuse has cleared; None for none."""
    current, fuse = swept.current, swept.fuse
    opens = side.earliest(current)
    by_fuse = fuse.counts(current) & (fuse.curve_times(current) <= swept.counted_time)
    first = np.flatnonzero(~np.isnan(opens) & ~(by_fuse & (fuse.times(current) < opens)))
    return float(current[min(int(first[-1]) + 1, current.size - 1)]) if first.size else None


def _lower_floor(swept: Sweep, hole: Hole) -> Iterator[Cure]:
    """The same fuse, shown to break from where it melts before the contactor has opened."""
    fuse, low = swept.fuse, down(hole.low)
    assert fuse.clearing is not None
    within = float(fuse.clearing.current_at(swept.counted_time)) \
        if fuse.clearing.longest >= swept.counted_time else fuse.clearing.lowest
    yield (f"a fuse that is shown to break from {show(low, 'A')}",
           replace(fuse, low=max(low, within), unbroken=replace(fuse.unbroken, low=low)),
           swept.contactor)


def _quicker(swept: Sweep, hole: Hole) -> Iterator[Cure]:
    """A fuse that counts over the whole span: before the trip, where that tears the contactor."""
    low, top = down(hole.low), float(swept.current[-1])
    soonest = swept.contactor.earliest(np.array([hole.low, hole.high]))
    least = float(np.nanmin([swept.counted_time, *(SHORTER * soonest)]))
    if least <= 0.0:  # no delay is named, so the trip may act at once
        return
    within = down(least, 2)
    steady = within - LATER * swept.fuse.time_constant if hole.device in TORN else within
    if steady <= 0.0:
        return
    curve = Curve((low, 2.0 * top), (steady, steady * (low / (2.0 * top)) ** 2), "tried")
    fuse = replace(swept.fuse, reasons=(), low=low, high=2.0 * top, clearing=curve, melting=curve,
                   integral=np.nan, unbroken=NO_FUSE)
    words = "" if hole.device not in TORN else \
        f" and has cleared it within {show(within, 's')}, before the trip opens"
    yield f"a fuse that counts from {show(low, 'A')} (full range){words}", fuse, swept.contactor


def _closes(swept: Sweep, hole: Hole, fuse: FuseSide, contactor: ContactorSide) -> bool:
    """Whether nothing is left of the hole and no current is lost that was opened before."""
    after = sweep(float(swept.current[0]), float(swept.current[-1]), fuse, contactor,
                  swept.counted_time)
    others = [h for h in swept.holes if h != hole]
    return all(any(h.low * (1.0 - SAME) <= left.low and left.high <= h.high * (1.0 + SAME)
                   for h in others) for left in after.holes)
