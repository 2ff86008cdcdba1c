"""What a closed contact stands by its sheet, against how long each fault lasts until it is cleared.

Held by current and time, for a contact is no conductor of I²t: its points of short-time withstand
and of carrying, and its continuous current. Between two curves nothing is drawn: it carries at
least what a later point says and at most what an earlier one does, and what lies between is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from packcalc.checks import CAUTION, NOT_EVALUATED, PASS, Check, judge, on_an_open_entry
from packcalc.findings import Finding, Origin, leaf, with_more
from packcalc.part_checks.path_conductors import ENDED_ONLY, ElsewhereHeat, as_placed, left_of
from packcalc.part_checks.sweep import FuseSide, Sweep, number
from packcalc.parts import ConnectorPart, ContactorPart, DisconnectPart
from packcalc.units import show
from packcalc.value import replace

STAGE = "fault range"
WITHSTANDS = "closed contactor withstands faults until they are cleared"
STRONGER = "a stronger contactor, a faster fuse or a quicker trip"
CLOSE = 1.0 - 1e-9
NEAR = 1.03  # two currents nearer to each other than this are neighbours of a grid
Contact = ContactorPart | DisconnectPart | ConnectorPart
OriginOf = Callable[[float], Origin]


@dataclass(frozen=True, eq=False)
class Stretch:
    """One fault place, or one sweep, as a contact in it meets it.

    Attributes:
        title: of the place; empty for the path itself.
        fault: A, of the fault.
        current: A, through the contact, no more than a fuse's cut-off lets by.
        time: s, until it is cleared, or for how long it counts where nobody is shown to clear it;
            NaN where it counts for nothing.
        origin: what the time at a fault current comes from.
        left: why that does not hold of every fault of a path itself; else empty.
        nobody: where it is that nobody clears it; None for nowhere.
    """

    title: str
    fault: np.ndarray
    current: np.ndarray
    time: np.ndarray
    origin: OriginOf
    left: str = ""
    nobody: np.ndarray | None = None


@dataclass(frozen=True, eq=False)
class Borne:
    """Of many stretches only what presses a contact most: no larger current lasts longer.

    Attributes:
        current: A, rising.
        time: s, falling.
        fault: A, of the fault at each.
        where: index of its stretch.
        stretches: all of them.
        open: why more than this may be asked; empty where nothing is left out.
        nobody: the gravest place of which nobody ends some current; else empty.
        left: the same of the path itself, or of a place at which it fails; else empty.
        unshown: what currents ask that nobody ends, or is shown to, were they all the same; but
            what `SweptOnce.nobody` counts is among the others.
        more: what nobody told that may make all of it ask more; else empty.
    """

    current: np.ndarray
    time: np.ndarray
    fault: np.ndarray
    where: np.ndarray
    stretches: tuple[Stretch, ...]
    open: str = ""
    nobody: str = ""
    left: str = ""
    unshown: Borne | None = None
    more: str = ""

    def place(self, index: int) -> str:
        title = self.stretches[self.where[index]].title
        return f" of '{title}'" if title else ""

    def origin(self, index: int) -> Origin:
        return self.stretches[self.where[index]].origin(float(self.fault[index]))

    def nobody_at(self, index: int) -> bool:
        """Whether it is that nobody clears that current."""
        one = self.stretches[self.where[index]]
        return one.nobody is not None and bool(one.nobody[one.fault == self.fault[index]].any())

    @property
    def words(self) -> str:
        """For a supplier: the highest current, the most I²t and the longest time."""
        picked = dict.fromkeys((self.current.size - 1, self.hottest, 0))
        told = [self._told(i, "") for i in picked]
        one = self.unshown
        if one is not None and not self.covers(one, one.hottest):
            told.append(one._told(one.hottest, " where nobody is shown to clear it"))
        return "; ".join((*told, *(("or more",) if self.more else ())))

    def _told(self, index: int, otherwise: str) -> str:
        """A point, and that nobody clears it where that is so."""
        words = " where nobody clears it" if self.nobody_at(index) else otherwise
        return self.point(index) + words

    @property
    def longer(self) -> Finding | None:
        """The longest of its times, where nobody told what may make it longer."""
        return with_more(leaf("longest time until it is cleared", "t", "s", float(self.time[0]),
                              "definition", origin=Origin("sweep of the fault places")),
                         self.more) if self.more else None

    @property
    def hottest(self) -> int:
        """Index of the most I²t."""
        return int(np.argmax(self.current ** 2 * self.time))

    def point(self, index: int) -> str:
        return f"{show(float(self.current[index]), 'A')} for {show(float(self.time[index]), 's')}"

    def covers(self, other: Borne, index: int) -> bool:
        """Whether one point of another asks no more than some point of this."""
        return bool(((self.current >= other.current[index] * CLOSE)
                     & (self.time >= other.time[index] * CLOSE)).any())


def borne(stretches: Iterable[Stretch], left_out: str = "", nobody: str = "",
          left: str = "", unshown: Borne | None = None, more: str = "") -> Borne | None:
    """What all of them ask of one contact; None where they count for no time at all.

    Args:
        left_out: why more may be asked.
        nobody: a place of which nobody ends some current.
        left: one at which that fails.
        unshown: what asks that nobody ends, or is shown to.
        more: what nobody told that may make it ask more.
    """
    found = tuple(stretches)
    if not found:
        return None
    fault, current, time = (np.concatenate([getattr(one, name) for one in found])
                            for name in ("fault", "current", "time"))
    where = np.repeat(np.arange(len(found)), [one.time.size for one in found])
    falling = np.lexsort((-time, -current))
    falling = falling[~np.isnan(time[falling])]
    if not falling.size:
        return None
    longest = np.maximum.accumulate(time[falling])
    kept = falling[np.diff(longest, prepend=-1.0) > 0.0][::-1]
    return Borne(current[kept], time[kept], fault[kept], where[kept], found, left_out,
                 nobody, next((one.left for one in found if one.left), left), unshown,
                 more)


def let_through(fuse: FuseSide, current: np.ndarray,
                counts: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(time, current) that what a fuse lets through comes to; NaN and infinite where it is silent.

    A withstand is of a steady current: the let-through counts as so long at full current.

    Args:
        counts: where it clears; None where its sheet alone says so.
    """
    steady, times, heat = fuse.answers(current)
    if counts is None:
        counts = fuse.counts(current) & ~np.isnan(times)
    taken = np.fmax(steady, heat / current ** 2)
    cut_off = number(fuse.part.cut_off_current) if fuse.part is not None else None
    return (np.where(counts, taken, np.nan),
            np.where(counts, np.inf if cut_off is None else cut_off, np.inf))


def of_sweep(swept: Sweep, origin: OriginOf) -> Stretch:
    """A whole path: until its fuse has cleared, or its contactor on a trip."""
    through, cut_off = let_through(swept.fuse, swept.current)
    time = np.where(np.isnan(swept.time), np.nan, np.fmin(swept.time, through))
    return Stretch("", swept.current, np.fmin(swept.current, cut_off), time, origin,
                   "; ".join(left_of(swept)))


def withstand_check(title: str, part: ContactorPart, fuse: FuseSide, current: np.ndarray,
                    swept: Origin) -> Check:
    """A closed contactor against what one fuse alone lets through.

    Args:
        title: of the check.
        part: with a withstand curve.
        fuse: what lets through.
        current: every current looked at.
        swept: where the currents come from.
    """
    through, cut_off = let_through(fuse, current)
    found = borne([Stretch("", current, np.fmin(current, cut_off), through, lambda at: swept)])
    if found is None:
        return Check(title, STAGE, NOT_EVALUATED, reason="the fuse is shown to clear nowhere in "
                                                         "the range")
    return borne_check(title, part, found, remedy="a stronger contactor or a faster fuse")


def carried(part: Contact, current: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(time that its sheet shows it to carry each current, time beyond which it shows it not to).

    Below a curve it carries at least as long as at its lowest current; above it no longer than at
    its highest.
    """
    whole = number(part.continuous_current) or 0.0
    shown = np.where(current <= whole, np.inf, 0.0)
    most = np.full(current.shape, np.inf)
    for points in (part.carry, part.short_time):
        if points is None:
            continue
        curve = points.curve
        inside = curve.time_at(current)
        shown = np.fmax(shown, np.where(current < curve.lowest, curve.longest, inside))
        most = np.fmin(most, np.where(current < curve.lowest, np.inf, np.where(
            np.isnan(inside), curve.shortest, inside)))
    return np.fmin(shown, most), most


def borne_check(title: str, part: Contact, found: Borne, *, stage: str = STAGE,
                asked: str = "time until it is cleared", remedy: str = STRONGER) -> Check:
    """A closed contact at the current that presses it most.

    Where its points show that it stands less it fails, whatever they leave open elsewhere.

    Args:
        title, stage: of the check.
        part: with points of withstand or of carrying.
        found: what it carries.
        asked: name of the time.
        remedy: what would help.
    """
    found = _with_points(part, found)
    shown, most = carried(part, found.current)
    stands, worst = most, _least(most / found.time)
    if most[worst] >= found.time[worst] * CLOSE:
        lacks = np.flatnonzero(shown < found.time * CLOSE)
        if lacks.size:
            index = int(lacks[_least(shown[lacks] / found.time[lacks])])
            return _asks(title, stage, part, found, index, float(shown[index]))
        stands, worst = shown, _least(shown / found.time)
        if found.open:
            return Check(title, stage, NOT_EVALUATED, reason="; ".join(filter(None, (
                f"{found.open}: what it carries there is not known", found.left))))
    at = f"tightest at {show(float(found.fault[worst]), 'A')}{found.place(worst)}"
    if np.isinf(stands[worst]) and part.continuous_current is not None:
        held = judge(title, stage, part.continuous_current, "at least", leaf(
            "largest current of them", "I", "A", float(found.current[-1]), "definition",
            origin=found.origin(found.current.size - 1)), reason="it carries that for ever")
    else:
        held = judge(title, stage, _stands(part, float(stands[worst])), "at least",
                     leaf(f"{asked}, at that current", "t", "s", float(found.time[worst]),
                          "given", origin=found.origin(worst)), reason=at, remedy=remedy)
    return _while_ended(part, held, found, worst)


def _while_ended(part: Contact, held: Check, found: Borne, worst: int) -> Check:
    """No pass where nobody ends some current, as a cable in the same fault is held."""
    more = _beyond(part, found.unshown) if held.verdict in (PASS, CAUTION) else ""
    told = _as_left(held, found, worst)
    if found.more:
        told = on_an_open_entry(told, f"it may be asked more: {found.more}")
    return replace(told, verdict=NOT_EVALUATED, reason=f"{told.reason}; {more}") if more else told


def _beyond(part: Contact, unshown: Borne | None) -> str:
    """What it is not shown to stand of what nobody ends, or is shown to; empty for nothing."""
    if unshown is None:
        return ""
    shown, _ = carried(part, unshown.current)
    lacks = np.flatnonzero(shown < unshown.time * CLOSE)
    if not lacks.size:
        return ""
    index = int(lacks[_least(shown[lacks] / unshown.time[lacks])])
    place = unshown.place(index)
    if unshown.nobody_at(index):
        return f"nobody clears {show(float(unshown.current[index]), 'A')}{place}, and its points " \
               f"do not show that it carries that for {show(float(unshown.time[index]), 's')}"
    return f"not shown to be cleared: {unshown.point(index)}{place}, and its " \
           "points do not show that it carries that"


def _as_left(held: Check, found: Borne, worst: int) -> Check:
    if found.left and held.verdict in (PASS, CAUTION):
        return replace(held, verdict=NOT_EVALUATED,
                       reason=f"{held.reason}; {ENDED_ONLY}: {found.left}")
    return as_placed(held, ElsewhereHeat("", found.stretches[found.where[worst]].title,
                                         nobody=found.nobody))


def _least(ratio: np.ndarray) -> int:
    """Index of the least; of equal ones the last, which is that of the highest current."""
    return ratio.size - 1 - int(np.argmin(ratio[::-1]))


def _with_points(part: Contact, found: Borne) -> Borne:
    """The same at the currents of its own points too, between two neighbours of the grid."""
    marks = np.array([i for points in (part.carry, part.short_time) if points is not None
                      for i in points.second if found.current[0] < i < found.current[-1]])
    after = np.searchsorted(found.current, marks)
    near = found.current[after] < found.current[after - 1] * NEAR
    marks, after = marks[near], after[near]
    if not marks.size:
        return found
    time = np.exp(np.interp(np.log(marks), np.log(found.current), np.log(found.time)))
    old = found.current.size
    order = np.insert(np.arange(old), after, old + np.arange(marks.size))
    return replace(found, **{name: np.concatenate([getattr(found, name), new])[order]
                             for name, new in (
        ("current", marks), ("time", time), ("fault", found.fault[after]),
        ("where", found.where[after]))})


def _asks(title: str, stage: str, part: Contact, found: Borne, index: int, shown: float) -> Check:
    """Its points say too little there: which one to ask for."""
    current, time = float(found.current[index]), float(found.time[index])
    told = f"its points show {show(shown, 's')} there" if shown else "it has no point there"
    return Check(title, stage, NOT_EVALUATED, reason=f"ask for a point at {show(current, 'A')} for "
                 f"{show(time, 's')} or longer{found.place(index)}: {told}")


def _stands(part: Contact, time: float) -> Finding:
    points = part.short_time or part.carry
    return leaf("time that its sheet shows it to carry it", "t", "s", time, part.basis,
                origin=points.origin if points is not None else part.origin)
