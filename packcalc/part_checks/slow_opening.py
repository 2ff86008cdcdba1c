"""Who opens an overload, however slowly, and where a link melts before that and breaks nothing.

The rule is that of the fault sweep, without its counted time: a trip opens what its contactor
breaks, unless a fuse melts before that is not shown to break.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from packcalc.part_checks.sweep import FuseSide, Sweep, breaks
from packcalc.units import show


@dataclass(frozen=True, eq=False)
class Opening:
    """Until each has opened each of some overloads.

    Attributes:
        by_fuse, by_trip: s; NaN where it does not.
        melts: where the trip would open, but the fuse melts before by its curve and does not break.
        may_melt: where it may melt before: its sheet does not say when, or what it breaks.
    """

    by_fuse: np.ndarray
    by_trip: np.ndarray
    melts: np.ndarray
    may_melt: np.ndarray

    @property
    def time(self) -> np.ndarray:
        """Of whoever is first; NaN for nobody."""
        return np.fmin(self.by_fuse, self.by_trip)

    @property
    def melted(self) -> np.ndarray:
        return self.melts | self.may_melt


def opening(current: Any, swept: Sweep, *, untripped: bool = False) -> Opening:
    """Who opens each current.

    Args:
        current: A.
        swept: both sides.
        untripped: whether a link may melt too where no trip opens anything.
    """
    at, fuse, side = np.asarray(current, dtype=float), swept.fuse, swept.contactor
    by_fuse = np.where(fuse.counts_at_any_time(at), fuse.times(at), np.nan)
    trips = (at <= side.limit) & (not side.reasons)
    by_trip = np.where(trips, side.times(at), np.nan)
    link = fuse.unbroken
    latest = np.nan_to_num(by_trip, nan=np.inf if untripped else -1.0)
    lost = np.isnan(by_fuse) & (link.melts(at) < latest)
    sure = lost & link.fails(at) & link.timed(at)
    return Opening(by_fuse, np.where(lost, np.nan, by_trip), sure, lost & ~sure)


def bends(swept: Sweep) -> list[float]:
    """Currents up to the highest fault at which who opens an overload may change."""
    return [i for i in breaks(swept.fuse, swept.contactor, swept.counted_time)
            if 0.0 < i < swept.current[-1]]


def melting_words(fuse: FuseSide, current: float, name: str = "the fuse") -> str:
    """Why no trip counts there: a link melts before, or may."""
    link, part = fuse.unbroken, fuse.part
    name = part.name if part is not None else name
    if link.timed(current):
        return f"{name} melts before the contactor has opened and {link.why(current)}"
    return (f"{name} {link.why(current)}; whether it melts before the contactor has opened its "
            f"sheet does not say: ask for the melting curve down to {show(current, 'A')}")
