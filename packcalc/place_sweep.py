"""Who clears at one fault place at every current from its lowest to its highest.

Both ends may be cleared and the middle by nobody: a contactor that breaks no more, a fuse that
does not count yet, a trip that tears the contactor open before the fuse has cleared.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from packcalc.clearing import CELL_TRIPS, LEAK, UNSEEN, PartAnswers
from packcalc.findings import Finding, Origin, leaf
from packcalc.part_checks.rising import RISEN
from packcalc.part_checks.sweep import (
    BESIDE, REFINED, REFINED_GRID, ROUNDS, ContactorSide, FuseSide, grid, number,
)
from packcalc.part_checks.torn import TornOpen
from packcalc.part_checks.unbroken import Unbroken
from packcalc.protect.branch_figures import only_at_most, told_with_bound
from packcalc.protect.places import (
    CONTACTOR, FUSE, Between, Device, Gap, Loop, either, grounds, spoilt_words,
)
from packcalc.unended import APART
from packcalc.units import show
from packcalc.value import replace, worked_once

SWEPT = Origin("sweep from lowest to highest fault of the place, with every break point")
CLEARED, NOT_SHOWN, NOBODY = range(3)
UNPROVEN = "a contactor that is not shown to break it may open before the fuse has cleared"
BURST = ("with every source the {name} is driven above the {limit} that it breaks, and may burst "
         "before any other device has cleared")
TOO_EARLY = "the contactor trips above the {limit} that it breaks, before the fuse has cleared"
WIRE_OPEN = ("what the conductor of this branch or cable stands is {stands}, and it carries the "
             "fault until {by} could clear")
NO_WIRE = ("the conductor of this branch or cable stands {stands} and does not survive: {heat} "
           "pass until {by} could clear")
SHARED = "while {paths} paths feed it, each its part"
OWN_FUSE = "branch_fuse."
NO_FUSE, NO_CONTACTOR = FuseSide(None), ContactorSide(None)


@dataclass(frozen=True, eq=False)
class _Told:
    """What one device does over the currents.

    Attributes:
        device: in the loop.
        time: until it has cleared; NaN where it is not counted.
        open: where it is not shown.
        torn: soonest time at which it is torn open above what it breaks; NaN where it is not.
        limit: what it breaks, for the words.
        burst: where a fuse is driven above what it breaks, nearest to the fault of all devices.
        fuse: where it may melt without being shown to break, or as a charge contactor be torn
            open; None of any other device.
        own, seen: current that it carries, of the modules alone and with every source.
        heat: I²t that a fuse lets through which carries all; None of any other.
        due: when it would have cleared where all but its seeing the fault is shown; else None.
        passed: whether nobody counts on it here, and it may melt or open all the same.
        side: of a contactor on the current's trips.
        late: when it has cleared were all of it shown, and did its trip see this very loop; NaN
            where it never does, infinite where nobody knows when.
        above: of a contactor: where it carries more than its sheet says that it breaks.
        hidden: of the cells' trip: where it would count, were the cells as low as by a short wire.
    """

    device: Device
    time: np.ndarray
    open: np.ndarray
    torn: np.ndarray
    limit: float = 0.0
    burst: np.ndarray | None = None
    fuse: Unbroken | TornOpen | None = None
    own: np.ndarray | None = None
    seen: np.ndarray | None = None
    heat: np.ndarray | None = None
    due: np.ndarray | None = None
    passed: bool = False
    side: ContactorSide | None = None
    late: np.ndarray | float = np.nan
    above: np.ndarray | None = None
    hidden: np.ndarray | None = None

    def spoils(self, time: np.ndarray) -> np.ndarray:
        """Where it is lost in the fault before another device has cleared."""
        if self.fuse is None:
            return np.zeros(time.shape, bool)
        return self._melted < time  # never where there is none

    @worked_once
    def _melted(self) -> np.ndarray:
        return self.fuse.melts(self.seen, self.own)  # type: ignore[union-attr]

    def fails(self, where: np.ndarray) -> np.ndarray:
        """Where by its own sheet it does not break."""
        return where if self.fuse is None else where & self.fuse.fails(self.seen, self.own)

    def spoilt_at(self, index: int, by: str) -> str:
        assert self.fuse is not None and self.seen is not None and self.own is not None
        seen, own = float(self.seen[index]), float(self.own[index])
        return spoilt_words(self.device, bool(self.fuse.fails(seen, own)), by,
                            self.fuse.why(seen, own))


def sweeping_by(answers: PartAnswers) -> Callable[[Loop], Between | None]:
    """A loop's answer over its whole range, by the sheets of the named parts."""
    found: dict[tuple, Between] = {}

    def swept(loop: Loop) -> Between | None:
        low, high = loop.lowest, loop.highest
        if not loop.devices or not high.known:
            return None
        if not low.known:
            return _at_the_highest(answers, loop)
        if not 0 < low.number < high.number:
            return None
        key = alike(loop)
        if key not in found:
            found[key] = _swept(answers, loop)
        return found[key]

    return swept


def _at_the_highest(answers: PartAnswers, loop: Loop) -> Between:
    """The highest current alone, where nobody knows the lowest."""
    alone = replace(loop, lowest=leaf("share of the highest current", "I", "A",
                                      loop.highest.number / loop.paths, "definition"))
    current = np.array([loop.highest.number])
    cases, code, _ = _judged(answers, alone, current)
    return Between(_gaps(answers, cases, current, code))


def _swept(answers: PartAnswers, loop: Loop) -> Between:
    one = swept_once(answers, loop)
    return Between(_gaps(answers, one.cases, one.current, one.code),
                   *_slowest(answers, one.cases, one.current, one.time))


def alike(loop: Loop) -> tuple:
    """What a sweep depends on: taps of one point have the same devices and currents."""
    return (tuple([d.signature for d in (*loop.devices, *loop.passed)]), len(loop.devices),
            loop.lowest.number, loop.highest.number,
            tuple(loop.least(n) for n in range(1, loop.paths + 1)),
            loop.own_wire is not None, number(loop.own_wire),
            loop.own_wire is not None and only_at_most(loop.own_wire))


@dataclass(frozen=True, eq=False)
class SweptOnce:
    """A loop over its currents.

    Attributes:
        current: A, rising.
        cases: one for each number of equal paths that may feed it.
        code: the worst answer of them.
        time: s, until it is cleared; NaN where nobody is shown to clear it.
        counted_time: s, within which a fault must be cleared.
    """

    current: np.ndarray
    cases: list[_Case]
    code: np.ndarray
    time: np.ndarray
    counted_time: float

    @worked_once
    def unshown(self) -> list[tuple[int, np.ndarray, np.ndarray]]:
        """(paths, where, time) of what is not shown to be ended, were it all the same, at latest.

        What nobody ends stands in `nobody`.

        Whoever is shown to end it takes no longer than the devices of the loop may.
        """
        open_ = self.code == NOT_SHOWN
        return [(c.paths, open_ & c.feeds, time)
                for c, time in zip(self.cases, self._latest)] if open_.any() else []

    @worked_once
    def _latest(self) -> list[np.ndarray]:
        return [c.at_latest(self.counted_time) for c in self.cases]

    @worked_once
    def unshown_heat(self) -> tuple[np.ndarray, float]:
        """(I²t of these currents until then, 0 of any other; the most of it)."""
        if not self.unshown:
            return np.zeros(self.current.shape), 0.0
        heat = np.max([np.where(where, np.where(np.isnan(c.heat), self.current ** 2 * time, c.heat),
                                0.0)
                       for c, (_, where, time) in zip(self.cases, self.unshown, strict=True)],
                      axis=0)
        return heat, float(heat.max())

    @worked_once
    def nobody(self) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """(paths, where it counts, where it is a question, time) of what nobody ends.

        Until some device of the loop would have ended it with a better figure, so that no worse
        one asks less. It counts up to what a contactor of the loop breaks, also where the wires
        outside alone hide it from the cells' trip. It is a question beyond, and where a fuse may
        clear it sooner.
        """
        return [self._to_nobody(c, time) for c, time in zip(self.cases, self._latest)] \
            if (self.code != CLEARED).any() else []

    def _to_nobody(self, case: _Case, time: np.ndarray) -> tuple[
            int, np.ndarray, np.ndarray, np.ndarray]:
        nobody = case.feeds & (self.code == NOBODY)
        hidden = case.feeds & case.hidden & (self.code == NOT_SHOWN)
        counts = case.broken & ~case.fused
        return case.paths, (nobody | hidden) & counts, nobody & ~counts, time

    @worked_once
    def nobody_heat(self) -> tuple[np.ndarray, np.ndarray]:
        """(I²t of what nobody ends where that counts, where it is a question), else 0.

        No more than a fuse lets through that counts.
        """
        counts, question = np.zeros((2, *self.current.shape))
        for case, (_, where, asked, time) in zip(self.cases, self.nobody):
            heat = np.fmin(self.current ** 2 * time, case.through)
            counts = np.fmax(counts, np.where(where, heat, 0.0))
            question = np.fmax(question, np.where(asked, heat, 0.0))
        return counts, question


def swept_once(answers: PartAnswers, loop: Loop) -> SweptOnce:
    """The sweep of a loop, kept with the answers: heat, contacts and the place itself ask it."""
    key = alike(loop)
    if key not in answers.kept:
        current = grid(loop.lowest.number, loop.highest.number, _breaks(answers, loop))
        judged = _judged(answers, loop, current)
        for _ in range(ROUNDS):  # a step may hold more than one crossing
            beside = _crossings(answers, loop, current, judged[1])
            if not beside.size:
                break
            current = np.union1d(current, beside)
            judged = _judged(answers, loop, current)
        answers.kept[key] = SweptOnce(current, *judged, answers.named.counted_time)
    return answers.kept[key]


def _crossings(answers: PartAnswers, loop: Loop, current: np.ndarray,
               code: np.ndarray) -> np.ndarray:
    """The last current of one answer and the first of the next, where the grid holds neither.

    A span of nobody that began at a current of the grid alone would leave out what lies before.
    """
    apart = (code[1:] != code[:-1]) & (current[1:] > current[:-1] * (1.0 + APART))
    (steps,) = apart.nonzero()
    if not steps.size:
        return steps
    inside, outside, row = current[steps], current[steps + 1], np.arange(steps.size)
    for _ in range(REFINED):
        between = np.geomspace(inside, outside, REFINED_GRID, axis=1)
        told = _judged(answers, loop, between.ravel())[1].reshape(between.shape)
        after = np.maximum(np.argmax(told != told[:, :1], axis=1), 1)
        inside, outside = between[row, after - 1], between[row, after]
    return np.concatenate([inside, outside])


def asks_more(loops: Iterable[Loop], answers: PartAnswers) -> str:
    """What nobody told that may make all that is swept over some loops ask more; else empty."""
    unnamed = answers.first.held.asked.put_forward
    return "; ".join(filter(None, (unnamed, next(filter(None, (
        loop.asks_more for loop in loops)), ""))))


def as_told(answers: PartAnswers, loop: Loop) -> Loop:
    """The loop were what is told all of it, and no fuse there that only may stand and has no sheet.

    What it asks then of whatever it runs through is asked in any case: the less is known, the more
    may be asked, never less.
    """
    devices = tuple(d.as_told for d in loop.devices)
    passed = tuple(d.as_told for d in loop.passed
                   if d.kind != FUSE or answers.sides.get(d.key) is not None)
    same = len(passed) == len(loop.passed) and all(
        one is other for one, other in zip((*devices, *passed), (*loop.devices, *loop.passed)))
    return loop if same else replace(loop, devices=devices, passed=passed)


def currents_of(answers: PartAnswers, loop: Loop) -> np.ndarray:
    """The currents of a loop that are looked at, every break point of its devices among them."""
    return swept_once(answers, loop).current


def times_over(answers: PartAnswers, loop: Loop, current: np.ndarray,
               beside: Loop | None = None) -> np.ndarray:
    """Longest time until each current is cleared; NaN where nobody is shown to clear it.

    Args:
        beside: a loop swept over these currents, of which some devices are the same here.
    """
    kept = answers.kept.get(alike(loop))
    if kept is not None and current is kept.current:
        return kept.time
    known = answers.kept.get(alike(beside)) if beside is not None else None
    return _judged(answers, loop, current, known.cases if known is not None
                   and current is known.current else ())[2]


def heat_over(answers: PartAnswers, loop: Loop, current: np.ndarray) -> np.ndarray:
    """I²t let through at each current; NaN where nobody is shown to clear it.

    The full current over the time, which errs high, or what a fuse in the loop lets through at
    most where it counts and that is less.
    """
    heat = current ** 2 * times_over(answers, loop, current)
    for device in loop.devices:
        side = answers.fuse(device) if device.kind == FUSE and device.paths == 1 else None
        if side is not None:
            through = np.where(side.counts(current), side.heat(current), np.nan)
            heat = np.where(np.isnan(heat), np.nan, np.fmin(heat, through))
    return heat


def heat_entries(answers: PartAnswers, loop: Loop, current: float) -> Origin:
    """What the heat of `heat_over` at one current comes from: a fuse's sheet, or a time."""
    at = np.array([current])
    most = float(at[0] ** 2 * times_over(answers, loop, at)[0])
    sides = [side for side in (answers.fuse(d) for d in loop.devices
                               if d.kind == FUSE and d.paths == 1)
             if side is not None and bool(side.counts(at)[0])
             and float(side.heat(at)[0]) < most * (1.0 - 1e-9)]
    return min(sides, key=lambda side: float(side.heat(at)[0])).origin if sides \
        else entries_over(answers, loop, current)


def _judged(answers: PartAnswers, loop: Loop, current: np.ndarray,
            known: Sequence[_Case] = ()) -> tuple[list[_Case], np.ndarray, np.ndarray]:
    """(cases, code, time) over the currents; the time is NaN where one case is not cleared.

    Args:
        known: cases of as many paths of a loop with the same ends, over the same currents.
    """
    cases = [_case(answers, loop, current, paths, known[paths - 1].told if known else ())
             for paths in range(1, loop.paths + 1)]
    # Whichever number of strings feeds the fault, it must be cleared.
    code = functools.reduce(np.maximum, [np.where(c.feeds, c.code, CLEARED) for c in cases])
    time = np.full(current.shape, np.nan)
    for case in cases:
        time = np.fmax(time, np.where(case.feeds & (code == CLEARED), case.time, np.nan))
    return cases, code, time


@dataclass(frozen=True, eq=False)
class _Case:
    """What the devices do while a number of equal paths feeds the fault.

    Attributes:
        paths: that number.
        told: one answer a device.
        feeds: where so many paths can give the current.
        code, time: CLEARED with its time, NOT_SHOWN, or NOBODY.
        spoilt: one a device: where it is lost in the fault before another has cleared.
        early: where a contactor is torn open before the fuse has cleared.
        alone: time until the quickest has cleared, no fuse and no conductor lost before.
        lost: where the conductor of a branch does not survive until then.
        unsure: where nobody knows whether it does.
        heat: I²t that passes until then, in A²s.
        through: most that a fuse lets through which counts; NaN where none does.
        wire: I²t that this conductor stands; None where none is held.
    """

    paths: int
    told: list[_Told]
    spoilt: list[np.ndarray]
    feeds: np.ndarray
    code: np.ndarray
    time: np.ndarray
    early: np.ndarray
    alone: np.ndarray
    lost: np.ndarray
    unsure: np.ndarray
    heat: np.ndarray
    through: np.ndarray
    wire: Finding | None = None

    @worked_once
    def broken(self) -> np.ndarray:
        """Where some contactor of the loop carries no more than its sheet says that it breaks."""
        return _any([np.zeros(self.code.shape, bool),
                     *(~t.above for t in self.told if t.above is not None)])

    def counts(self, device: Device) -> np.ndarray:
        """Where one device of the loop clears by itself."""
        return next(~np.isnan(t.time) for t in self.told if t.device.key == device.key)

    def by(self, index: int) -> str:
        """Who would have cleared one current, or might have."""
        return self.alone_by(index) or either(
            [t.device.name for t in self.told if t.open[index] and not t.passed]) \
            or _open_names(self, index)

    @worked_once
    def hidden(self) -> np.ndarray:
        """Where nothing but the wires outside hides the fault from the cells' trip."""
        return _any([np.zeros(self.code.shape, bool),
                     *(t.hidden for t in self.told if t.hidden is not None)])

    @worked_once
    def fused(self) -> np.ndarray:
        """Where a fuse that is not shown to break may clear all the same, sooner than any trip."""
        return _any([np.zeros(self.code.shape, bool),
                     *(t.open for t in self.told if t.device.kind == FUSE)])

    def at_latest(self, counted_time: float) -> np.ndarray:
        """How long a current lasts that nobody ends, or is shown to, were it all the same.

        Until the quickest that is counted has cleared, whatever is lost before; a fuse that is not
        shown to break every source clears then, or bursts. Without one until the slowest that
        might act would have, in a fault that it sees: a better part asks no more. Where that is
        slower or nobody knows when, for the whole second that is counted on.
        """
        fuses = [t for t in self.told if t.device.kind == FUSE]
        soonest = _least([t.time for t in self.told] +
                         [t.due for t in fuses if t.due is not None], self.alone)
        slowest = np.zeros(self.alone.shape)
        for one in (t for t in self.told if not t.passed):
            late = np.where(one.open, one.late, np.nan) if one.device.kind == FUSE else one.late
            slowest = np.fmax(slowest, np.minimum(late, counted_time))
        slowest = np.where(slowest > 0.0, slowest, counted_time)
        return np.where(np.isnan(self.alone), np.where(np.isnan(soonest), slowest, soonest),
                        self.alone)

    def alone_by(self, index: int) -> str:
        """Who clears one current where nothing is lost before; empty for nobody."""
        return next((t.device.name for t in self.told if t.time[index] == self.alone[index]), "")


def _case(answers: PartAnswers, loop: Loop, current: np.ndarray, paths: int,
          known: Iterable[_Told] = ()) -> _Case:
    same = {one.device.signature: one for one in known if not one.passed}
    share = current / paths
    # One path gives at least its lowest current, and at most its part of the highest.
    feeds = (share >= loop.least(paths) * (1 - 1e-9)) & (
        share <= loop.highest.number / loop.paths * (1 + 1e-9))
    told = [same.get(device.signature) or _told(answers, device, current, share,
                                                loop.highest.number)
            for device in loop.devices]
    told += [_passed(answers, device, current, share, loop) for device in loop.passed
             if not _sound(answers, device, loop)]
    fuse = _least([t.time for t in told if t.device.kind == FUSE], current)
    torn = _least([t.torn for t in told], current)
    # A contactor torn open before the fuse has cleared burns on, whatever the fuse would do.
    early = ~np.isnan(torn) & ~(fuse < torn)
    by_contactor = _least([t.time for t in told if t.device.kind == CONTACTOR], current)
    time = np.fmin(np.where(early, np.nan, fuse), by_contactor)
    for one in told:  # what a burst fuse leaves burning no later device is counted on for
        time = time if one.burst is None else np.where(one.burst, np.nan, time)
    # Nor is anybody on what a fuse leaves burning that is not shown to break.
    alone, spoilt = time, [one.spoils(time) for one in told]
    time = np.where(_any(spoilt), np.nan, time)
    open_ = _any([t.open for t in told] + spoilt)
    for one in told:
        open_ = open_ if one.burst is None else open_ & ~one.burst
    # Nor is anybody not shown to, where a fuse melts before that by its sheet does not break.
    if open_.any():
        due = np.where(open_, _due(answers, told, alone), np.nan)
        failed = [one.fails(one.spoils(due)) for one in told]
        spoilt = [where | fails for where, fails in zip(spoilt, failed, strict=True)]
        open_ = open_ & ~_any(failed)
    through = _through(told, current)
    heat = np.where(np.isnan(alone), np.nan, np.fmin(current ** 2 * alone, through))
    wire, lost, unsure = loop.own_wire, *np.zeros((2, *current.shape), bool)
    if wire is not None:
        held = _not_by_its_fuse(told, current)
        if wire.known:
            lost = held & (heat > wire.number * (1.0 + 1e-9))
        if not wire.known or only_at_most(wire):
            unsure = held & ~lost & ~np.isnan(time)
    time, open_ = np.where(lost | unsure, np.nan, time), open_ & ~lost | unsure
    code = np.where(~np.isnan(time), CLEARED, np.where(open_, NOT_SHOWN, NOBODY))
    if answers.doubt:  # what would be cleared were it counted on is a question
        sure = _case(answers.as_told, loop, current, paths).code
        code = np.where((code == NOBODY) & (sure != NOBODY), NOT_SHOWN, code)
    return _Case(paths, told, spoilt, feeds, code, time, early, alone, lost, unsure, heat,
                 through, wire)


def _due(answers: PartAnswers, told: list[_Told], alone: np.ndarray) -> np.ndarray:
    """When somebody who is not shown would have cleared; else the second that is counted on.

    Beside those that are shown to, a fuse that would, were every source no more than is counted.

    Args:
        answers: what the named parts do.
        told: one answer a device.
        alone: when those that are shown to have cleared; NaN where nobody is.
    """
    open_ = [(np.where(t.open, t.due, np.nan), t.device) for t in told if t.due is not None]
    due = _least([one for one, _ in open_], alone)
    sooner = _least([one for one, device in open_ if device.untold], alone)
    return np.where(np.isnan(alone), np.where(np.isnan(due), answers.named.counted_time, due),
                    np.fmin(alone, sooner))


def _through(told: list[_Told], current: np.ndarray) -> np.ndarray:
    """I²t that a fuse lets through at most which counts and carries all; NaN without one."""
    least = np.full(current.shape, np.nan)
    for one in told:
        if one.heat is not None:
            least = np.where(np.isnan(one.time), least, np.fmin(least, one.heat))
    return least


def _not_by_its_fuse(told: list[_Told], current: np.ndarray) -> np.ndarray:
    """Where a branch's own fuse, which is held against its conductor elsewhere, does not clear.

    Nor may, were every source no more than is counted.
    """
    own = [t for t in told if t.device.key.startswith(OWN_FUSE)]
    held = np.isnan(_least([t.time for t in own], current))
    for one in own:
        held = held & ~one.open if one.device.untold else held
    return held


def _any(where: list[np.ndarray]) -> np.ndarray:
    """Where one of them holds; `np.any` would copy them into one array first."""
    return functools.reduce(np.logical_or, where)


def _least(times: list[np.ndarray], current: np.ndarray) -> np.ndarray:
    return functools.reduce(np.fmin, times) if times else np.full(current.shape, np.nan)


def _breaks(answers: PartAnswers, loop: Loop) -> list[float]:
    """Every current at which a device of the loop begins, bends or ends."""
    found: list[float] = []
    paths = [(d, answers.path(d)) for d in loop.devices if d.kind == CONTACTOR]
    # The same contactors stand in a loop by several of their trips: they bend once.
    sides = {(id(p), d.key == "contactors"): answers.contactor(d, p)
             for d, p in paths if p is not None}
    switched = [*sides.values(), *(answers.torn(d).side for d in loop.passed
                                   if d.kind == CONTACTOR)]
    passed = [d for d in loop.passed if d.paths <= loop.paths or not _sound(answers, d, loop)]
    for device in (*loop.devices, *passed):
        path = answers.path(device) if device.key in CELL_TRIPS else None
        if path is not None:
            trip = answers.cell_trip(device, path)
            found += [trip.blind_from, trip.seen_from, trip.shut_from]
        if device.kind == FUSE or device in loop.passed:
            bends, more = answers.unbroken(device).bends, further(device, loop.highest.number)
            # with every source, just beyond the tolerance of what it breaks
            found += [*bends, *(b * (1.0 + 3.0 * BESIDE) - more for b in bends if 0.0 < more < b)]
        fuse = answers.fuse(device.as_counted) if device not in loop.passed else None
        if fuse is not None:
            found += answers.breaks(fuse, NO_CONTACTOR)
            for side in switched:
                found += answers.breaks(fuse, side)
    for side in switched:
        found += answers.breaks(NO_FUSE, side)
    # Shared between equal paths, a current bends where each of them has its part of it, and from
    # its own lowest on so many of them may feed it.
    return [*found, *(n * b for n in range(2, loop.paths + 1) for b in (*found, loop.least(n)))]


def _told(answers: PartAnswers, device: Device, current: np.ndarray, share: np.ndarray,
          highest: float) -> _Told:
    """One device, which carries the whole current or the share of one of several paths."""
    none = np.full(current.shape, np.nan)
    path = answers.path(device) if device.kind == CONTACTOR else None
    if path is not None and path.sweep is not None:
        return _switched(answers, device, answers.contactor(device, path), current, share)
    side = answers.fuse(device.as_counted) if device.kind == FUSE else None
    own = share if device.paths > 1 else current
    more = further(device, highest)
    melting = {"fuse": answers.unbroken(device), "own": own, "seen": own + more} \
        if device.kind == FUSE else {}
    if side is None:
        open_ = _not_shown(answers, device, current)
        if melting:  # nor where by its own sheet it does not break, whatever else is asked for
            open_ &= ~melting["fuse"].fails(own + more, own)
        told = answers.fuse(device.as_told) if melting else None
        due = None if told is None else np.where(told.counts(own), told.times(own), np.nan)
        return _Told(device, none, open_, none, due=due, late=np.inf, **melting)
    _, times, heat = side.answers(own)
    time, quiet = np.where(side.counts(own), times, np.nan), np.zeros(own.shape, bool)
    if device.paths == 1:
        melting["heat"] = heat
    if device.sees is None:
        return _Told(device, time, quiet, none, **melting)
    burst = own + more > side.high * (1.0 + 1e-9)
    if device.untold:  # what may drive it further bursts it then: it clears, or may not
        return _Told(device, none, side.counts(own) & ~burst, none, side.high, burst, due=time,
                     **melting)
    return _Told(device, np.where(burst, np.nan, time), quiet, none, side.high, burst, **melting)


def _sound(answers: PartAnswers, device: Device, loop: Loop) -> bool:
    """Whether a fuse that the current passes is shown to break all of it: it spoils nothing."""
    fuse = answers.unbroken(device)
    return isinstance(fuse, Unbroken) and fuse.breaks_all(
        loop.highest.number + further(device, loop.highest.number))


def _passed(answers: PartAnswers, device: Device, current: np.ndarray,
            share: np.ndarray, loop: Loop) -> _Told:
    """What the current passes and nobody counts on: it may melt or open, and clears nothing.

    Of a fuse in each string that the loop does not count side by side any part counts.
    """
    own, none, fuse = share if device.paths > 1 else current, np.full(current.shape, np.nan), \
        answers.unbroken(device)
    if device.paths > loop.paths and isinstance(fuse, Unbroken):
        own = fuse.worst(np.fmin(current, loop.highest.number * (1.0 - 1.0 / device.paths)))
    return _Told(device, none, np.zeros(current.shape, bool), none, fuse=fuse, own=own,
                 seen=own + further(device, loop.highest.number), passed=True)


def further(device: Device, highest: float) -> float:
    """What every source besides the modules adds to what a device carries, in A."""
    return device.sees.number - highest if device.sees is not None else 0.0


def _switched(answers: PartAnswers, device: Device, side: ContactorSide,
              current: np.ndarray, share: np.ndarray) -> _Told:
    """A contactor on its trip: counted, not shown, or torn open.

    One of several strings' contactors breaks its share; the pack's trip sees the whole current,
    a string's own the share.
    """
    counted, none = answers.named.counted_time * (1.0 + 1e-9), np.full(current.shape, np.nan)
    seen = share if device.key == "string_contactors" else current
    above = share > side.limit
    if device.key in CELL_TRIPS:
        return _on_the_cells(answers, device, side.limit, current, seen, above)
    steady = side.steady_times(seen)
    soonest, tears = side.earliest(seen, steady), side
    torn = np.where(above | side.unproven, soonest, np.nan)
    if device.key in UNSEEN:
        path = answers.path(device)
        assert path is not None
        side = answers.sensed(device, path)
        steady = side.steady_times(seen)
    acts, soon = side.times(seen), steady <= counted
    if side.reasons:
        return _Told(device, none, side.may_open(seen, counted, share), torn,
                     0.0 if side.never else side.limit, side=tears, late=np.inf, above=above)
    counts = ~above & soon
    # Its trip acts only where the sensor carries this fault, or sits in the string's other pole.
    if device.key == LEAK or device.key in UNSEEN:
        return _Told(device, none, counts, torn, side.limit, due=acts, side=tears, late=acts,
                     above=above)
    return _Told(device, np.where(counts, acts, np.nan),
                 side.may_open(seen, counted, share) & ~counts, torn, side.limit, side=tears,
                 late=acts, above=above)


def _on_the_cells(answers: PartAnswers, device: Device, limit: float, current: np.ndarray,
                  seen: np.ndarray, above: np.ndarray) -> _Told:
    """A contactor on its cells' trip, which may be held back, or not see them fall."""
    none, path = np.full(current.shape, np.nan), answers.path(device)
    assert path is not None
    trip = answers.cell_trip(device, path)
    blind = trip.blind(current)
    acts = np.where(seen >= trip.shut_from, np.nan, trip.time)
    soon = acts <= answers.named.counted_time * (1.0 + 1e-9)
    if trip.never:
        return _Told(device, none, np.zeros(current.shape, bool), trip.soonest + 0.0 * current,
                     late=np.inf, above=above)
    if trip.why:
        return _Told(device, none, soon & ~blind & ~above if limit else soon & ~blind, none, limit,
                     late=np.inf, above=above)
    # Only a sensor that carries the fault holds the trip back: elsewhere it tears all the same,
    # and where the wires are shorter than is counted it is not blind.
    torn, counts = np.where(above, trip.soonest, np.nan), soon & ~above & ~blind
    late = acts + trip.rise
    if trip.open:
        return _Told(device, none, counts, torn, limit, due=late, late=late, above=above)
    return _Told(device, np.where(counts, late, np.nan), np.zeros(current.shape, bool), torn,
                 limit, late=late, above=above, hidden=soon & ~above & blind)


def _not_shown(answers: PartAnswers, device: Device, current: np.ndarray) -> np.ndarray:
    """Where a device without a sheet may act: not at or below a fuse's rated current."""
    top = leaf("current", "I", "A", float(current[-1]), "definition")
    if answers(device, top)[0] is False:
        return np.zeros(current.shape, bool)
    rated = device.rating.value if device.rating is not None else None
    return np.ones(current.shape, bool) if rated is None or device.kind != FUSE \
        else current > rated


def _gaps(answers: PartAnswers, cases: list[_Case], current: np.ndarray,
          code: np.ndarray) -> tuple[Gap, ...]:
    starts = np.flatnonzero(np.diff(code, prepend=-1))
    ends = np.append(starts[1:], code.size) - 1
    return tuple(_gap(answers, cases, current, slice(int(a), int(b) + 1), code[a])
                 for a, b in zip(starts, ends, strict=True) if code[a] != CLEARED)


def _gap(answers: PartAnswers, cases: list[_Case], current: np.ndarray, part: slice,
         code: Any) -> Gap:
    """One span with its ground at either end: what holds at one may be untrue at the other."""
    first, last = part.start, part.stop - 1
    middle = _case_at(cases, (first + last) // 2, code)
    grounds_ = [_ground(answers, _case_at(cases, i, code), current, i) for i in (first, last)]
    low, high = float(current[first]), float(current[last])
    words = grounds_[0] if grounds_[0] == grounds_[1] else (
        f"at {show(low, 'A')} {grounds_[0]}; at {show(high, 'A')} {grounds_[1]}")
    return Gap(low, high, None if code == NOT_SHOWN else False,
               _open_names(middle, (first + last) // 2) if code == NOT_SHOWN else "",
               _joined(words, _torn(middle, current, part)),
               *(_end(_case_at(cases, i, code), current, i, ground)
                 for i, ground in zip((first, last), grounds_, strict=True)))


def _case_at(cases: list[_Case], index: int, code: Any) -> _Case:
    """The first number of paths of which the code is said at one current."""
    return next(c for c in cases if c.feeds[index] and c.code[index] == code)


def _end(case: _Case, current: np.ndarray, index: int, ground: str) -> tuple[str, str]:
    """(devices that may act, why none is shown to) at one end of a span."""
    return (_open_names(case, index) if case.code[index] == NOT_SHOWN else "",
            _joined(ground, _torn(case, current, slice(index, index + 1))))


def _open_names(case: _Case, index: int) -> str:
    if case.unsure[index]:
        return case.alone_by(index)
    return either([t.device.name for t, melted in zip(case.told, case.spoilt, strict=True)
                   if t.open[index] or t.passed and melted[index]])


def _ground(answers: PartAnswers, case: _Case, current: np.ndarray, index: int) -> str:
    """Why no device of a loop is shown to open one current, each asked of what it carries."""
    spoilt = [one for one, where in zip(case.told, case.spoilt, strict=True) if where[index]]
    left = [one for one in case.told if np.isnan(one.time[index]) and not _bursts(one, index)
            and not one.passed and one not in spoilt]
    at = leaf("current", "I", "A", float(current[index]), "definition")
    shared = [one for one in left if one.device.key == "string_contactors" or (
        one.device.kind == FUSE and one.device.paths > 1)] if case.paths > 1 else []
    share = replace(at, value=at.number / case.paths) if shared else at
    words = grounds([(one.device.name, answers(one.device, share if one in shared else at)[2])
                     for one in left])
    return _joined(SHARED.format(paths=case.paths) if shared else "",
                   *(one.spoilt_at(index, case.by(index)) for one in spoilt),
                   _lost_words(case, index),
                   *(BURST.format(name=one.device.name, limit=show(one.limit, "A"))
                     for one in case.told if _bursts(one, index)), words)


def _lost_words(case: _Case, index: int) -> str:
    if case.wire is None or not (case.lost | case.unsure)[index]:
        return ""
    stands = told_with_bound(case.wire) if case.wire.known else case.wire.note
    if case.unsure[index]:
        return WIRE_OPEN.format(stands=stands, by=case.by(index))
    return NO_WIRE.format(stands=stands, by=case.by(index),
                          heat=show(float(case.heat[index]), "A²s"))


def _joined(*words: str) -> str:
    return "; ".join(w for w in words if w)


def _bursts(one: _Told, index: int) -> bool:
    return one.burst is not None and bool(one.burst[index])


def _torn(case: _Case, current: np.ndarray, part: slice) -> str:
    """Where a fuse would clear, had a trip not torn the contactor open before."""
    fused = ~np.isnan(_least([t.time for t in case.told if t.device.kind == FUSE], current))
    early = np.flatnonzero((case.early & fused)[part])
    if not early.size:
        return ""
    limit = max(t.limit for t in case.told if t.burst is None)
    why = TOO_EARLY.format(limit=show(limit, "A")) if limit else UNPROVEN
    first = int(np.arange(current.size)[part][early[0]])
    at_once = [t.side.at_once(float(current[first])) for t in case.told
               if t.side is not None and not np.isnan(t.torn[first])]
    soon = next(filter(None, at_once), "")
    return f"from {show(float(current[first]), 'A')} {why}" + (f" ({soon})" if soon else "")


def _slowest(answers: PartAnswers, cases: list[_Case], current: np.ndarray,
             time: np.ndarray) -> tuple[Finding | None, Finding | None, str]:
    if np.isnan(time).all():
        return None, None, ""
    index = int(np.nanargmax(time))
    paths, device = next((n, t.device) for n, c in enumerate(cases, 1) for t in c.told
                         if t.time[index] == time[index])
    at = float(current[index])
    return (leaf("slowest clearing between the ends", "t", "s", float(time[index]), "given",
                 origin=_entries(answers, device, at, paths),
                 note="from the data sheet's points; the rise of the current counted in"),
            leaf("current that is cleared slowest", "I", "A", at, "definition", origin=SWEPT),
            device.name)


def _entries(answers: PartAnswers, device: Device, current: float, paths: int) -> Origin:
    """What a device's time comes from; one of several strings' sees its share."""
    share = current / paths if device.key == "string_contactors" else current
    return answers.origin(device, share) or SWEPT


def entries_over(answers: PartAnswers, loop: Loop, current: float) -> Origin:
    """What the time of `times_over` at one current comes from."""
    found = _clearing(answers, loop, current)
    return SWEPT if found is None else _entries(answers, found[0], current, found[1])


def time_words(answers: PartAnswers, loop: Loop, current: float) -> str:
    """Delay with opening time, and the rise besides, in that of a contactor; empty of a fuse."""
    found = _clearing(answers, loop, current)
    path = None if found is None or found[0].kind != CONTACTOR else answers.path(found[0])
    if found is None or path is None or path.sweep is None:
        return ""
    device, paths = found
    if device.key in CELL_TRIPS:
        trip = answers.cell_trip(device, path)
        acts, rise = trip.time, trip.rise
    else:
        side = answers.contactor(device, path)
        seen = current / paths if device.key == "string_contactors" else current
        acts = float(side.steady_times(seen))
        rise = float(side.times(seen)) - acts
    return f"{show(acts, 's')} of delay and opening time, and {show(rise, 's')} in which the " \
           f"current rises, {RISEN:g} of the loop's time constants at most"


def _clearing(answers: PartAnswers, loop: Loop, current: float) -> tuple[Device, int] | None:
    """Who takes the time of `times_over` at one current, with the paths that feed it then."""
    cases, _, time = _judged(answers, loop, np.array([current]))
    return next(((t.device, n) for n, c in enumerate(cases, 1)
                 for t in c.told if t.time[0] == time[0]), None)
