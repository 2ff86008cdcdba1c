"""What faults leave on the cells that feed them, held against the level of the cells' trip."""

from __future__ import annotations

from packcalc.checks import CAUTION, PASS, Check, judge, on_an_open_entry
from packcalc.findings import Finding
from packcalc.value import replace, value_object


@value_object
class CellsLeft:
    """What a cell keeps of the faults that its own trip is counted on for.

    Attributes:
        worst: most of all loops in which this trip opens what it sees, each up to the highest
            current that is left to it; its note names the loop. May lack a value.
        most: the same of the loops in which it is not shown to open it; None without any.
        open: why it is not shown in the loop of `most`; empty without any.
        apart: leaks inside a module that the trip does not see, in words; empty for none.
        beside: what else a check of it says.
    """

    worst: Finding
    most: Finding | None = None
    open: str = ""
    apart: str = ""
    beside: str = ""

    def doubt(self, level: Finding) -> str:
        """Where a level may not see what this trip may have to open; empty for nowhere."""
        return self.open if self.most is not None and self.most.number >= level.number else ""


def sees_faults(title: str, level: Finding | None, left: CellsLeft, *, missing: str,
                remedy: str) -> Check:
    """Whether a trip on the cells' voltage sees all faults that are left to it.

    Args:
        title: what is asked.
        level: of the trip; None where nobody set it.
        left: on the cells.
        missing, remedy: as of `judge`.
    """
    told = "; ".join(filter(None, (left.worst.told_note, left.beside)))
    held = judge(title, "who clears", level, "above", left.worst, missing=missing,
                 reason=told, remedy=remedy)
    if held.verdict != PASS or level is None:
        return held
    doubt = left.doubt(level)
    if doubt:
        return on_an_open_entry(held, doubt)
    return held if not left.apart else replace(
        held, verdict=CAUTION, reason=f"{left.apart}; {held.reason}")
