"""Links, bus bars and a module's own conductors against the heat of the whole fault range.

They lie in the same current as the cable and are protected by the same fuse and trip; the
worst point of the sweep is asked of each, with what one of several paths can carry at most.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from packcalc.checks import NOT_EVALUATED, PASS, Check, judge
from packcalc.conductors import path_integral
from packcalc.findings import Finding, smallest, trace
from packcalc.part_checks.sweep import Sweep, number, overheated
from packcalc.units import show
from packcalc.value import value_object

STAGE = "fault range"


@value_object
class PathConductor:
    """One conductor of the main path besides its cable.

    Attributes:
        name: as printed.
        withstand: I²t that it stands; may lack a value.
        ask: what to find where it does.
        request: the same as a question to whoever supplies it.
        most: most current that it can carry in a fault of the pack, where paths share it.
        remedy: what would help.
    """

    name: str
    withstand: Finding
    ask: str
    most: Finding | None = None
    request: str = "the short-time current that it stands, with its time"
    remedy: str = "a larger section, a faster fuse or a quicker trip"


def path_heat(swept: Sweep, conductor: PathConductor) -> np.ndarray:
    """I²t in the conductor at every current of the sweep; NaN where nobody is counted."""
    if conductor.most is None:
        return swept.heat
    share = np.minimum(1.0, conductor.most.number / swept.current)
    return swept.heat * share ** 2


def through(conductor: PathConductor, at: Finding) -> Finding:
    """Current of the conductor while the pack gives a current."""
    if conductor.most is None:
        return at
    return smallest([at, conductor.most], f"most current through {conductor.name}")


def traced_heat(conductor: PathConductor, whole: Finding, at: Finding) -> Finding:
    """The worst I²t with its chain.

    Args:
        whole: I²t that the device lets through at that current.
        at: current of the pack.
    """
    if conductor.most is None:
        return whole
    return trace(path_integral, f"largest I²t in {conductor.name}", whole=whole,
                 path=through(conductor, at), current=at)


def overheated_words(swept: Sweep, withstand: float, most: float = np.inf) -> str:
    """Where a conductor fails, and where nobody ends its heat; empty where it holds.

    Args:
        swept: the whole range.
        withstand: I²t that it stands.
        most: largest current that it can carry itself.
    """
    spans = overheated(swept, withstand, most)
    if not spans:
        return ""
    ends = " and ".join(f"from {show(s.low, 'A')} to {show(s.high, 'A')}" for s in spans)
    return f"; fails {ends}" + ("" if swept.covered else f"; {unended(swept)}")


def unended(swept: Sweep) -> str:
    """The holes of a sweep: no conductor holds there, however large it is."""
    holes = " and ".join(f"from {show(h.low, 'A')} to {show(h.high, 'A')}" for h in swept.holes)
    return f"{holes} nobody ends the heat, and no conductor holds"


def conductor_check(swept: Sweep, conductor: PathConductor, heat: Finding | None,
                    at: Finding | None) -> Check:
    """Whether a conductor survives every current that somebody is shown to open.

    Args:
        heat, at: worst I²t in it and the pack's current there; None where nobody opens.
    """
    title, withstand = f"{conductor.name} survive the heat over the whole range", \
        conductor.withstand
    if not withstand.known:
        return Check(title, STAGE, NOT_EVALUATED, None, heat, "at least",
                     f"ask for {conductor.ask}")
    if heat is None or at is None:
        return Check(title, STAGE, NOT_EVALUATED, withstand, None, "at least",
                     "no device is shown to clear")
    found = path_heat(swept, conductor)
    words = f"worst at {at.shown}" + overheated_words(
        swept, withstand.number, number(conductor.most) or np.inf)
    held = judge(title, STAGE, withstand, "at least", heat, reason=words,
                 remedy=conductor.remedy)
    silent = np.isnan(found[~np.isnan(swept.time)]).any()
    if held.verdict == PASS and (silent or not swept.covered):
        why = "beyond the fuse's curve its let-through is not known" if silent else unended(swept)
        return replace(held, verdict=NOT_EVALUATED, reason=f"{words}; holds only where somebody "
                       f"opens the fault: {why}")
    return held
