"""A fuse that melts where it is not shown to break: what it leaves burning.

Whatever else stands in that loop is counted on only where it has cleared before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from packcalc.curves import Curve
from packcalc.findings import Finding
from packcalc.part_checks.shown import fuse_curves, underrated, voltage_reason
from packcalc.parts import FusePart
from packcalc.units import show

NO_SHEET = "no data sheet says what it breaks"
FAILS, OPEN = "does not break it", "is not shown to break it"


@dataclass(frozen=True, eq=False)
class Unbroken:
    """Where a fuse may melt and is not shown to break.

    Attributes:
        never: why it breaks nothing here by its own sheet; empty where that does not say so.
        open: why it is not shown to break, at any current; empty where it is.
        low, high: currents between which it breaks by its sheet.
        melting: earliest it melts; None where no curve is known.
        rated: current up to which it does not melt, in A; 0 where not known.
    """

    never: str = ""
    open: str = ""
    low: float = 0.0
    high: float = np.inf
    melting: Curve | None = None
    rated: float = 0.0

    def fails(self, current: Any, least: Any = None) -> np.ndarray:
        """Where it does not break by its sheet.

        Args:
            current: with every source.
            least: of the modules alone; None where that is the same.
        """
        at = np.asarray(current, dtype=float)
        small = at if least is None else np.asarray(least, dtype=float)
        return np.ones(at.shape, bool) if self.never \
            else (at > self.high * (1.0 + 1e-9)) | (small < self.low)

    def breaks_all(self, highest: float) -> bool:
        """Whether it is shown to break every current up to one."""
        return not (self.never or self.open) and self.low <= 0.0 and highest <= self.high

    def melts(self, current: Any, least: Any = None) -> np.ndarray:
        """Earliest time at which it melts and is not shown to break; infinite where it is.

        Without a curve, and beyond its last point, at once; below its first not before that.
        """
        small = np.asarray(current if least is None else least, dtype=float)
        time = np.zeros(small.shape)
        if self.melting is not None:
            inside = self.melting.time_at(np.minimum(
                np.maximum(small, self.melting.lowest), self.melting.highest))
            time = np.where(small > self.melting.highest, 0.0, inside)
        harmless = (small <= self.rated) | ~(self.fails(current, least) | bool(self.open))
        return np.where(harmless, np.inf, time)

    def worst(self, most: Any) -> np.ndarray:
        """Of every current up to a largest one that at which it first melts unbroken.

        Below what it breaks it melts too, be it later.
        """
        at = np.asarray(most, dtype=float)
        below = np.minimum(at, np.nextafter(self.low, 0.0))
        return np.where(self.melts(below) < self.melts(at), below, at)

    def timed(self, current: Any) -> np.ndarray:
        """Where its curve says when it melts; below the first point it is later than there."""
        at = np.asarray(current, dtype=float)
        return np.zeros(at.shape, bool) if self.melting is None else at >= self.melting.lowest

    def why(self, current: float, least: float | None = None) -> str:
        """What is said of it where it melts."""
        small = current if least is None else least
        if self.never:
            return f"{FAILS}: {self.never}"
        if current > self.high:
            return f"breaks no more than {show(self.high, 'A')}: it may burst"
        if small < self.low:
            return f"{FAILS}: its lowest breaking current is {show(self.low, 'A')}"
        return f"{OPEN}: {self.open}"

    @property
    def bends(self) -> tuple[float, ...]:
        """Currents at which the answer changes."""
        return tuple(c for c in (self.rated, self.low, self.high) if 0.0 < c < np.inf)


NO_FUSE = Unbroken(rated=np.inf)  # nothing stands there that might melt


def floor_reason(part: FusePart) -> str:
    """Why it is not known from which current on a fuse breaks; empty where it is."""
    if part.lowest_breaking_current is not None or part.full_range:
        return ""
    if part.full_range is None:
        return "ask for the class letters, or for the lowest breaking current"
    return f"partial range ({part.class_letters}): ask for the lowest breaking current"


def unbroken(part: FusePart | None, rated: Finding | None, voltage: Finding,
             slow: str) -> Unbroken:
    """What is known of a fuse that may melt before another device has cleared.

    Args:
        part: its row of the parts list; None where no sheet is at hand.
        rated: its rated current where there is no row.
        voltage: highest working voltage.
        slow: why it is not shown to break the loop's time constant; empty where it is.
    """
    if part is None:
        return Unbroken(open=NO_SHEET, rated=_number(rated))
    never = underrated(part, voltage)
    reasons = ("" if never else voltage_reason(part, voltage),
               "" if part.breaking_capacity else "ask for the DC breaking capacity",
               floor_reason(part), slow)
    return Unbroken(
        never, "; ".join(r for r in reasons if r), _number(part.lowest_breaking_current),
        _number(part.breaking_capacity) or np.inf, fuse_curves(part)[0],
        _number(part.rated_current) or _number(rated))


def _number(item: Finding | None) -> float:
    return item.number if item is not None and item.known else 0.0
