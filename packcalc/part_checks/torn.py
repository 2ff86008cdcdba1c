"""A contactor beside the path that a trip opens as well: where that tears it open in the fault.

It is counted on nowhere. A device that clears later than its contacts part is not counted on
either: what is left of the current until then burns on in them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from packcalc.findings import Finding, leaf
from packcalc.part_checks.sweep import (
    BESIDE, TRIPLESS, ContactorSide, Trips, contactor_side, trips_alone,
)
from packcalc.parts import ContactorPart
from packcalc.units import show
from packcalc.value import replace

EVERY_CURRENT = (0.0, np.inf)  # weak or near cells may fall below their trip in any fault
LOOPS_OWN = leaf("time constant, held loop by loop", "τ", "ms", None, "given")
UNNAMED = "no part is named for it"


@dataclass(frozen=True, eq=False)
class TornOpen:
    """Where the contactor is opened in a current that it is not shown to break.

    Asked as `unbroken.Unbroken` is, of a fuse.

    Attributes:
        side: its trips at the earliest, and what it breaks.
    """

    side: ContactorSide

    def fails(self, current: Any, least: Any = None) -> np.ndarray:
        """Where by its sheet it does not break."""
        at = np.asarray(current, dtype=float)
        return self.side.never | (at > self.side.limit) & (self.side.limit > 0.0)

    def melts(self, current: Any, least: Any = None) -> np.ndarray:
        """Earliest time at which it is torn open; infinite where it is not.

        At one command with other contactors its contacts may be the first to part.
        """
        opens = self.side.earliest(current)
        shown = ~self.fails(current) & (not self.side.reasons)
        return np.where(shown | np.isnan(opens), np.inf, opens * (1.0 - BESIDE))

    def why(self, current: float, least: float | None = None) -> str:
        """What is said of it where it is torn open."""
        soon = self.side.at_once(current)
        return self._why(current) + (f" ({soon})" if soon else "")

    def _why(self, current: float) -> str:
        if current > self.side.limit > 0.0:
            return f"a trip opens it above the {show(self.side.limit, 'A')} that it breaks"
        if self.side.part is None:
            return f"a trip opens it, and {UNNAMED}"
        shown = "does not break this" if self.side.never else "is not shown to break this"
        return f"a trip opens it, and it {shown}: {'; '.join(self.side.reasons)}"

    @property
    def bends(self) -> tuple[float, ...]:
        """Currents at which the answer changes."""
        lines = (*self.side.lines, *self.side.threats)
        return tuple(c for c in (self.side.limit, self.side.blocked_above, *(
            end for line in lines for end in (line.from_current, line.to_current)))
            if 0.0 < c < np.inf)


def torn_side(part: ContactorPart | None, trips: Trips | None, strings: Trips | None,
              voltage: Finding) -> ContactorSide:
    """The contactor on every trip that may open it, each at its earliest.

    A sheet gives the longest opening time: none is counted before its contacts part.

    Args:
        part: its row of the parts list; None where none is named.
        trips, strings: of the management system; of a string's own current.
        voltage: highest working voltage.
    """
    own = contactor_side(part, trips, voltage, LOOPS_OWN, EVERY_CURRENT)
    found = [trips_alone(one, EVERY_CURRENT) for one in (trips, strings)]
    reasons = (UNNAMED,) if part is None else tuple(r for r in own.reasons if r not in TRIPLESS)
    return replace(own, reasons=reasons, opening=0.0,
                   lines=tuple(line for side in found for line in side.lines),
                   threats=tuple(line for side in found for line in side.threats),
                   blocked_above=found[0].blocked_above)
