"""Cable, links, bus bars and a module's own conductors against the heat of the whole range.

They lie in the same current and are protected by the same fuse and trip; the
worst point of the sweep is asked of each, with what one of several paths can carry at most.
"""

from __future__ import annotations

import numpy as np

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, by_the_unnamed, judge
from packcalc.conductors import path_integral
from packcalc.findings import Finding, smallest, trace
from packcalc.part_checks.sweep import Hole, Sweep, number, overheated
from packcalc.units import show
from packcalc.value import replace, value_object

STAGE = "fault range"
ENDED_ONLY = "holds only where somebody opens the fault"


@value_object
class PathConductor:
    """One conductor of the main path, or the cable of a route.

    Attributes:
        name: as printed.
        withstand: I²t that it stands; may lack a value.
        ask: what to find where it does.
        request: the same as a question to whoever supplies it.
        most: most current that it can carry in a fault of the pack, where paths share it.
        remedy: what would help.
        verb: that goes with its name.
    """

    name: str
    withstand: Finding
    ask: str
    most: Finding | None = None
    request: str = "the short-time current that it stands, with its time"
    remedy: str = "a larger section, a faster fuse or a quicker trip"
    verb: str = "survive"

    @property
    def title(self) -> str:
        """Of its check."""
        return f"{self.name} {self.verb} the heat over the whole range"


@value_object
class ElsewhereHeat:
    """What all fault places together ask of one conductor.

    Attributes:
        name: of the conductor.
        place: title of the worst one; empty where none counts.
        heat, at: I²t in it and the current there.
        silent: a place at which it is not known, and why; else empty.
        nobody: where nobody ends the heat in it, or is shown to, the gravest of these places;
            else empty.
        left: the same where an end of its own path is one of them; else empty.
        unshown: I²t that a current which nobody ends, or is shown to end, may ask beyond `heat`;
            its note says which. None for no more.
    """

    name: str
    place: str = ""
    heat: Finding | None = None
    at: Finding | None = None
    silent: str = ""
    nobody: str = ""
    left: str = ""
    unshown: Finding | None = None

    @property
    def unended(self) -> str:
        """Every place that is left to nobody, in words."""
        return "; ".join(filter(None, (self.left, self.nobody)))


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
    return "; ".join(f"{_spans(held)} nobody {ends} the heat, and no conductor holds"
                     for held, ends in (
                         ([h for h in swept.unopened if not h.open], "ends"),
                         ([h for h in swept.unopened if h.open], "is shown to end")) if held)


def _spans(holes: list[Hole]) -> str:
    return " and ".join(f"from {show(h.low, 'A')} to {show(h.high, 'A')}" for h in holes)


def left_of(swept: Sweep) -> tuple[str, ...]:
    """Why what holds over a sweep does not hold of every fault; empty where it does."""
    return (*(() if swept.covered else (unended(swept),)),
            *((f"the lowest fault may be less: {swept.less}",) if swept.less else ()))


def as_swept(held: Check, swept: Sweep, words: str) -> Check:
    """No pass where nobody ends the heat, or where nobody says how much of it gets through.

    Args:
        held: a conductor against the worst of the sweep that is known.
        words: its ground.
    """
    why = left_of(swept)
    if np.isnan(swept.heat[~np.isnan(swept.time)]).any():
        why = (*why, "beyond the fuse's curve its let-through is not known")
    if held.verdict not in (PASS, CAUTION) or not why:
        return held
    return replace(held, verdict=NOT_EVALUATED, reason=f"{words}; {ENDED_ONLY}: {'; '.join(why)}")


def conductor_check(swept: Sweep, conductor: PathConductor, heat: Finding | None,
                    at: Finding | None, elsewhere: ElsewhereHeat | None = None) -> Check:
    """Whether a conductor survives every current that counts.

    Those that somebody is shown to open, and what nobody does up to what a contactor of the loop
    breaks; what else nobody opens, or is shown to, passes nothing (`as_placed`).

    Args:
        swept: from pole to pole.
        heat, at: worst I²t in it and the current there; None where none counts.
        elsewhere: of all fault places, where they have been asked.
    """
    title, withstand = conductor.title, conductor.withstand
    if not withstand.known:
        return Check(title, STAGE, NOT_EVALUATED, None, heat, "at least",
                     f"ask for {conductor.ask}")
    if heat is None or at is None:
        return Check(title, STAGE, NOT_EVALUATED, withstand, None, "at least",
                     "no device is shown to clear")
    place = elsewhere.place if elsewhere is not None and at is elsewhere.at else ""
    over = overheated_words(swept, withstand.number, number(conductor.most) or np.inf)
    words = f"worst at {at.shown}" + (f" of '{place}'{'; in the sweep itself' if over else ''}"
                                      if place else "") + over.replace("; ", ": ", bool(place))
    # What may be more passes nothing; where nobody ends the heat is told all the same.
    held = judge(title, STAGE, withstand, "at least", heat.called(note=heat.told_note),
                 reason=words, remedy=conductor.remedy)
    if held.verdict == FAIL and elsewhere is not None and elsewhere.unended:
        held = replace(held, reason=f"{held.reason}; {elsewhere.unended}")
    more = heat.untold_more and f"it may be more: {heat.untold_more}"
    return replace(by_the_unnamed(as_placed(as_swept(held, swept, words), elsewhere), more),
                   demand=heat)


def asked_beyond(stands: Finding | None, unshown: Finding | None) -> str:
    """Why a conductor is not shown to stand what nobody is shown to end; empty where it is."""
    if stands is None or unshown is None or not stands.number < unshown.number * (1.0 - 1e-9):
        return ""
    return f"{unshown.told_note}, which asks {unshown.shown}"


def as_placed(held: Check, elsewhere: ElsewhereHeat | None) -> Check:
    """No pass where a fault place is left to nobody, or where its heat is not known.

    Nor a caution where that is an end of its own path: it holds only where somebody opens.
    """
    if elsewhere is None or held.verdict not in (PASS, CAUTION):
        return held
    same, nobody = f"'{elsewhere.place}'", elsewhere.unended
    if same in held.reason:
        nobody = nobody.replace(f"at {same}", "there")
    nobody = f"{ENDED_ONLY}: {nobody}" if elsewhere.left else nobody
    more = asked_beyond(held.figure, elsewhere.unshown)
    told = "; ".join(w for w in (held.reason, elsewhere.silent, nobody, more) if w)
    if elsewhere.silent or elsewhere.left or more:
        return replace(held, verdict=NOT_EVALUATED, reason=told)
    return replace(held, verdict=CAUTION, reason=told) if elsewhere.nobody else held
