"""Overload between load and fault range: who opens it, and what the cable bears until then.

A shorted cell is counted on for about a second; an overload lasts. Here a fuse counts inside
its curve and above its lowest breaking current at any time, a contactor on any named trip up
to its breaking current, however slow, where it has opened before a link melts that does not break.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, judge
from packcalc.conductors import cable_fault_integral
from packcalc.curves import LONGEST_ADIABATIC
from packcalc.findings import Finding, Origin, smallest, trace
from packcalc.layout_findings import counted_for
from packcalc.monitoring import acts_by, acts_from
from packcalc.part_checks.closing import SHORTER, down
from packcalc.part_checks.fusing import breaks_overloads
from packcalc.part_checks.links_beside import Beside, beside_check, runs
from packcalc.part_checks.long_overload import LastingAsked, lasting_check
from packcalc.part_checks.rising import RISEN
from packcalc.part_checks.shown import counted
from packcalc.part_checks.slow_opening import Opening, bends, melting_words, opening
from packcalc.part_checks.sweep import BESIDE, OVERLOAD, Sweep, TripLine, number
from packcalc.units import show
from packcalc.value import replace, value_object, worked_once

STAGE = "who clears"
NONE_OPEN = counted("none", 0, "definition")
GRID = 120
MET_GRID = 400
LEAST = 1.0  # A; below it no contact of a main path is overloaded
MELTED = ("melts", "may_melt")
SAY_DELAY = "say the delay of the overload trip (management.overload_delay)"
MEETS = "overload and fault range meet, from pole to pole"


@value_object
class OverloadAsked:
    """What an overload is held against.

    Attributes:
        trip, delay: of the overload trip; None where nobody named one.
        deviation: what its current sensor may be wrong by, in A; None where nobody said.
        continuous_load, peak_load, peak_duration: what it must let pass.
        fault_lowest: where the fault range begins.
        cable_current, cable_withstand: of the smallest cable; None where not known.
        cable_name: as printed.
        cable_warming: I²t that takes it to its steady limit; None where not known.
        beside: further fuses that it passes.
        quick: highest setting of the quicker trip that is counted on; None without one.
    """

    trip: Finding | None
    delay: Finding | None
    continuous_load: Finding
    peak_load: Finding
    peak_duration: Finding
    fault_lowest: Finding
    cable_current: Finding | None
    cable_withstand: Finding | None
    cable_name: str
    deviation: Finding | None = None
    cable_warming: Finding | None = None
    beside: tuple[Beside, ...] = ()
    quick: Finding | None = None

    @property
    def lowest(self) -> Finding:
        """Lowest true current at which the trip may act."""
        return self._bound(acts_from, self.trip)

    @property
    def highest(self) -> Finding:
        """Highest true current that the trip may let pass."""
        return self._bound(acts_by, self.trip)

    @property
    def quicker(self) -> Finding | None:
        """Current from which the quicker trip opens; None without one."""
        return None if self.quick is None else self._bound(
            acts_by, self.quick, "current from which a quicker trip opens")

    def _bound(self, law: Callable[..., Any], trip: Finding | None, title: str = "") -> Finding:
        assert trip is not None
        return trip if self.deviation is None else trace(
            law, title, trip=trip, deviation=self.deviation)


@dataclass(frozen=True, eq=False)
class Met:
    """Overloads of a load that flows already: no rise of a fault delays their trip.

    Attributes:
        current: A, rising.
        time: s, until somebody has opened it; NaN for nobody.
        by_fuse: where that is the fuse.
        melted: where a link melts before, or may.
    """

    current: np.ndarray
    time: np.ndarray
    by_fuse: np.ndarray
    melted: np.ndarray

    @classmethod
    def at(cls, current: np.ndarray, swept: Sweep) -> Met:
        found = opening(current, swept)
        by_trip = np.where(np.isnan(found.by_trip), np.nan, swept.contactor.steady_times(current))
        by_fuse = np.where(np.isnan(found.by_fuse), np.nan, swept.fuse.curve_times(current))
        time = np.fmin(by_fuse, by_trip)
        return cls(current, time, time == by_fuse, found.melted)

    def above(self, low: float) -> Met:
        """From just above a current on: no bend lies between two currents of the grid."""
        after = int(np.searchsorted(self.current, low, "right"))
        if after in (0, self.current.size):
            return Met(*(own[after:] for own in (
                self.current, self.time, self.by_fuse, self.melted)))
        ends, times = self.current[after - 1:after + 1], self.time[after - 1:after + 1]
        time = np.exp(np.interp(np.log(low), np.log(ends), np.log(times)))
        return Met(np.append(low, self.current[after:]), np.append(time, self.time[after:]),
                   np.append(self.by_fuse[after], self.by_fuse[after:]),
                   np.append(self.melted[after - 1] | self.melted[after], self.melted[after:]))


@dataclass(frozen=True, eq=False)
class OverloadPath:
    """One path as an overload meets it, and what hangs on none of its cable.

    Attributes:
        asked: what is held against; its cable is of no account to the properties.
        swept: the path.
        unnamed: why what opens it is not shown, where nobody named that; else empty.
    """

    asked: OverloadAsked
    swept: Sweep
    unnamed: str = ""

    @worked_once
    def melting(self) -> _Melting:
        """Where its link melts before the overload is opened; a trip is given."""
        return _melting(self.asked, self.swept)

    @worked_once
    def met(self) -> Met:
        """When somebody has opened each current up to the fault range."""
        top = max(self.asked.fault_lowest.number, LEAST * (1.0 + BESIDE))
        return Met.at(_grid(LEAST, top, bends(self.swept), MET_GRID), self.swept)

    @worked_once
    def further(self) -> tuple[Check, ...]:
        """Every further fuse that the overload passes."""
        return beside_checks(self.asked, self.swept)


def overload_checks(path: OverloadPath) -> tuple[Check, ...]:
    """Checks of the overload trip, where one is named, and of what lasts longer than k²S² holds."""
    asked, swept, further = path.asked, path.swept, path.further
    lasting = () if asked.cable_current is None else (lasting_check(LastingAsked(
        asked.cable_name, asked.cable_current, asked.cable_warming, asked.peak_load,
        asked.peak_duration, asked.trip is not None), swept),)
    own = tuple(c for link, c in zip(asked.beside, further, strict=True) if not link.in_string)
    lasting = tuple(past_others(c, further) for c in lasting)
    if asked.trip is None:
        return (*lasting, *own)
    return (_quiet(asked), *(past_others(c, further) for c in (
        _unmelted(_meets(asked, swept), path.melting),
        _ended(_bears(asked, swept), path.melting))),
        *lasting, *own)


def beside_checks(asked: OverloadAsked, swept: Sweep) -> tuple[Check, ...]:
    """Every further fuse that the overload passes, as `asked.beside` names them."""
    def cure(first: float, melts: float, holds: Callable[[Sweep], bool]) -> str:
        return "" if asked.trip is None else _quicker(asked, swept, first, melts, holds)

    gap = "name the management system's overload trip with its delay (management.overload_trip, " \
        "management.overload_delay)" if asked.trip is None \
        else "" if asked.delay is not None and asked.delay.known \
        else SAY_DELAY
    return tuple(beside_check(link, swept, asked.fault_lowest, gap, cure)
                 for link in asked.beside)


def past_others(held: Check, further: tuple[Check, ...]) -> Check:
    """No pass while a further fuse in the same path may melt before, and break nothing."""
    left = [c for c in further if c.verdict != PASS]
    if not left or held.verdict not in (PASS, CAUTION):
        return held
    return replace(held, verdict=NOT_EVALUATED, reason=f"{held.reason}; holds only where no other "
                   f"fuse melts before, see {' and '.join(repr(c.title) for c in left)}",
                   remedy=" or ".join(dict.fromkeys(c.remedy for c in left if c.remedy)))


def _quiet(asked: OverloadAsked) -> Check:
    """The trip lets the load pass: the continuous one for ever, the peak for its length."""
    title = "the overload trip stays quiet in use"
    steady = judge(title, STAGE, asked.lowest, "above", asked.continuous_load,
                   missing="continuous load is not known",
                   reason="the sensor's error is taken off the setting",
                   remedy="a higher overload trip, a better current sensor, or less continuous "
                          "power")
    if steady.verdict != PASS or not asked.peak_load.known:
        return steady
    if asked.lowest.number > asked.peak_load.number:
        return steady
    words = (f"the peak load of {asked.peak_load.shown} lies above the {asked.lowest.shown} at "
             "which the trip may act and must end before the delay",
             counted_for(asked.peak_duration, "power.peak_duration"))
    return judge(title, STAGE, asked.delay, "above", asked.peak_duration,
                 missing=f"{SAY_DELAY}: the peak load lies above the trip",
                 reason="; ".join(filter(None, words)),
                 remedy="a longer delay that the cable bears, or a shorter peak")


@dataclass(frozen=True, eq=False)
class _Melting:
    """Where a link melts before an overload is opened, and breaks nothing.

    Attributes:
        words: where and why; empty for nowhere.
        sure: how many of the currents tried its curve shows it at.
        remedy: what was tried and helps.
    """

    words: str = ""
    sure: int = 0
    remedy: str = ""


def _melting(asked: OverloadAsked, swept: Sweep) -> _Melting:
    """From the link's rated current, below any trip, up to the fault range."""
    link, trip, top = swept.fuse.unbroken, asked.highest, asked.fault_lowest
    low = min(link.rated, trip.number) or trip.number
    if not top.known or asked.delay is None or not asked.delay.known or swept.contactor.reasons \
            or low >= top.number:
        return _Melting()
    grid = _grid(low, top.number, [low * (1.0 + BESIDE), trip.number, *bends(swept)])
    found = _lost(grid, swept, trip.number)
    if not found.melted.any():
        return _Melting()
    told = [f"from {show(float(grid[a]), 'A')} to {show(float(grid[b]), 'A')} {words}"
            for mask in (found.melts, found.may_melt) for a, b in runs(mask)
            for words in [melting_words(swept.fuse, float(grid[a]))]]
    part = swept.fuse.part
    cures = (_sooner(asked, swept, grid, found),
             "" if part is not None and breaks_overloads(part, part.rated_current)
             else "a full-range fuse")
    return _Melting("; ".join(told), int(found.melts.sum()), " or ".join(filter(None, cures)))


def _lost(grid: np.ndarray, swept: Sweep, trip: float) -> Opening:
    """Below the trip nothing but the link is asked: what it carries for ever, it does."""
    below, above = opening(grid, swept, untripped=True), opening(grid, swept)
    return replace(above, **{name: np.where(grid < trip, getattr(below, name),
                                            getattr(above, name)) for name in MELTED})


def _sooner(asked: OverloadAsked, swept: Sweep, grid: np.ndarray, found: Opening) -> str:
    """An overload trip that opens before the link melts and lets the load pass; tried."""
    def holds(made: Sweep) -> bool:
        level = next(one for one in made.contactor.lines if one.name == OVERLOAD).from_current
        return not _lost(grid, made, level).melted.any()

    return _quicker(asked, swept, float(grid[np.flatnonzero(found.melted)[0]]),
                    float(swept.fuse.unbroken.melts(grid)[found.melted].min()), holds)


def _quicker(asked: OverloadAsked, swept: Sweep, first: float, melts: float,
             holds: Callable[[Sweep], bool]) -> str:
    """The overload trip that is in time for a link.

    Args:
        asked, swept: the path.
        first: lowest current of the pack at which the link melts before.
        melts: its shortest time there.
        holds: whether the link is left whole with such a trip.
    """
    side = swept.contactor
    if melts <= 0.0:
        return ""
    later = side.opening + RISEN * side.time_constant
    within, now = down(SHORTER * melts, 2), asked.delay.number + later if asked.delay else 0.0
    setting = min(asked.highest.number, down(first))
    acts_at = setting - (asked.highest.number - asked.lowest.number)
    load, peak, length = (number(f) for f in (
        asked.continuous_load, asked.peak_load, asked.peak_duration))
    if load is None or peak is None or length is None or acts_at <= load or (
            acts_at <= peak and min(within, now) <= length):
        return ""
    quick = TripLine(OVERLOAD, setting, max(min(within, now) - later, 0.0))
    made = replace(swept, contactor=replace(side, lines=(*(
        line for line in side.lines if line.name != OVERLOAD), quick)))
    if not holds(made):
        return ""
    acts = ("" if setting == asked.highest.number else f"surely acts at or below "
            f"{show(setting, 'A')}", "" if within > now else f"has opened within "
            f"{show(within, 's')}")
    return f"an overload trip that {' and '.join(filter(None, acts))}"


def _unmelted(held: Check, melting: _Melting) -> Check:
    """Nobody ends an overload that a link leaves burning; where its sheet is silent it is asked."""
    if not melting.words or held.verdict == NOT_EVALUATED:
        return held
    if held.verdict == FAIL:
        return replace(held, reason=f"{held.reason}; {melting.words}",
                       remedy=f"{held.remedy}; and {melting.remedy}")
    if not melting.sure:
        return Check(held.title, held.stage, NOT_EVALUATED, reason=melting.words,
                     remedy=melting.remedy)
    left = counted("currents tried, up to the lowest fault, at which the fuse melts unbroken",
                   melting.sure, "given", Origin("melting curve of the fuse, trips"))
    return Check(held.title, held.stage, FAIL, left, NONE_OPEN, "at most",
                 f"no valid pair: {melting.words}", melting.remedy)


def _ended(held: Check, melting: _Melting) -> Check:
    """No pass by a trip where a link melts before it."""
    if not melting.words or held.verdict not in (PASS, CAUTION):
        return held
    return replace(held, verdict=NOT_EVALUATED, reason=f"{held.reason}; holds only where no link "
                   f"melts before, see '{MEETS}'", remedy=melting.remedy)


def _grid(low: float, high: float, marks: Iterable[float], steps: int = GRID) -> np.ndarray:
    """From end to end with every mark inside and both its sides."""
    inside = np.array([m for m in marks if low < m < high])
    return np.unique(np.clip(np.concatenate([np.geomspace(low, high, steps), inside, *(
        inside * (1 + side) for side in (-BESIDE, BESIDE))]), low, high))


def _meets(asked: OverloadAsked, swept: Sweep) -> Check:
    """From the overload trip up to the fault range somebody opens every current."""
    title, trip, top = MEETS, asked.highest, asked.fault_lowest
    if not top.known:
        return Check(title, STAGE, NOT_EVALUATED, trip, None, "", "lowest fault is not known")
    if trip.number >= top.number:
        return judge(title, STAGE, trip, "at least", top, reason="the overload trip lies inside "
                     "the fault range, which is swept by itself")
    if asked.delay is None or not asked.delay.known:
        return Check(title, STAGE, NOT_EVALUATED, trip, top, "",
                     SAY_DELAY)
    if swept.contactor.reasons:
        return Check(title, STAGE, NOT_EVALUATED, trip, top, "",
                     "; ".join(swept.contactor.reasons))
    grid = _grid(trip.number, top.number, bends(swept))
    found = opening(grid, swept)
    hole = grid[np.isnan(found.time) & ~found.melted]
    span = counted("currents tried, overload trip to lowest fault, that nobody opens", hole.size,
                   "definition", Origin("overload trip to lowest fault"))
    if hole.size:
        return Check(title, STAGE, FAIL, span, NONE_OPEN, "at most", f"no valid pair: nobody opens "
                     f"{show(float(hole[0]), 'A')} to {show(float(hole[-1]), 'A')}",
                     f"a contactor that breaks {show(float(hole[-1]), 'A')} in both directions, "
                     f"or a fuse that counts from {show(float(hole[0]), 'A')}")
    return judge(title, STAGE, span, "at most", NONE_OPEN, reason=f"every current from "
                 f"{trip.shown} to {top.shown} from pole to pole is opened, by the contactor on "
                 f"its trips or by the fuse; an overload is counted on for as long as its trip's "
                 f"delay of {asked.delay.shown} lasts, a current of a fault place for "
                 f"{show(swept.counted_time, 's')}")


def _left_to_it(asked: OverloadAsked, swept: Sweep) -> Finding:
    """Most current that only the slow trip opens: up to the next trip, or the fault range."""
    trip, top, quick = asked.highest, asked.fault_lowest, asked.quicker
    if quick is not None and quick.number <= trip.number:
        quick = None
    if top.known and top.number > trip.number and (quick is None or top.number <= quick.number):
        return top
    return trip if quick is None else quick


def _bears(asked: OverloadAsked, swept: Sweep) -> Check:
    """What the cable takes until the slow trip has opened, at the most current it sees alone."""
    title = f"{asked.cable_name} bears an overload until the trip has opened"
    stage, delay = "thermal load", asked.delay
    if delay is None or not delay.known or asked.cable_withstand is None \
            or not asked.cable_withstand.known:
        return Check(title, stage, NOT_EVALUATED, asked.cable_withstand, None, "at least",
                     SAY_DELAY if asked.cable_withstand
                     else "k²S² of the cable is not known")
    most = _left_to_it(asked, swept)
    warming = asked.cable_warming
    if delay.number > LONGEST_ADIABATIC and warming is not None and warming.known:
        longer = judge(title, stage, warming, "at least", trace(
            cable_fault_integral, "largest I²t of an overload until the trip has opened",
            current=most, time=delay), reason=f"at {most.shown}, the most that the slow trip is "
            "left with: losing no heat, the cable stays below its steady limit")
        if longer.verdict != FAIL:
            return _by_trip(longer, asked, swept, most)
    if delay.number > LONGEST_ADIABATIC:
        return Check(title, stage, NOT_EVALUATED, None, delay, "",
                     f"beyond {LONGEST_ADIABATIC:g} s k²S² does not hold: ask the cable's maker "
                     f"for its current for {delay.shown}, from the continuous load",
                     f"an overload trip at or below the cable's continuous current, with a delay "
                     f"of at most {LONGEST_ADIABATIC:g} s")
    heat = trace(cable_fault_integral, "largest I²t of an overload until the trip has opened",
                 current=most, time=delay)
    return _by_trip(judge(
        title, stage, asked.cable_withstand, "at least", heat,
        reason=f"at {most.shown}, the most that the slow trip is left with",
        remedy="a shorter delay, a lower over-current trip or a larger section"),
        asked, swept, most)


def _by_trip(held: Check, asked: OverloadAsked, swept: Sweep, most: Finding) -> Check:
    """No pass on the delay of the slow trip where nobody has opened within it.

    Args:
        held: by that delay.
        asked, swept: the path.
        most: highest current that is left to the trip.
    """
    held, side = _trip_opens(held, asked, swept), swept.contactor
    if held.verdict not in (PASS, CAUTION) or most.number <= side.limit:
        return held
    above = Met.at(_grid(side.limit * (1.0 + BESIDE), most.number, bends(swept)), swept)
    open_ = ~above.melted & ~(above.time <= asked.delay.number * (1.0 + BESIDE))
    return held if not open_.any() else replace(
        held, verdict=NOT_EVALUATED, reason=f"{held.reason}; nobody is shown to open it in that "
        f"time from {show(float(above.current[open_][0]), 'A')}, above what the contactor breaks",
        remedy="a contactor that breaks more")


def _trip_opens(held: Check, asked: OverloadAsked, swept: Sweep) -> Check:
    """No pass by the overload trip where its contactor is not shown to open it."""
    if held.verdict not in (PASS, CAUTION):
        return held
    highest, side = asked.highest, swept.contactor
    asks = [SAY_DELAY] \
        if asked.delay is None or not asked.delay.known else list(side.reasons)
    if asks:
        return replace(held, verdict=NOT_EVALUATED, reason="; ".join(asks), remedy="")
    if highest.number <= side.limit:
        return held
    part = side.part
    assert part is not None and part.break_discharge and part.break_charge
    limit = smallest([part.break_discharge, part.break_charge],
                     "current that the contactor breaks", "lower of the two directions")
    return Check(held.title, held.stage, FAIL, highest, limit, "at most",
                 "the overload trip opens above what the contactor breaks",
                 "a contactor that breaks more")


def ends_overload(path: OverloadPath, cable_current: Finding, cable_name: str) -> Check | None:
    """Whether the overload trip ends what a cable cannot carry for ever; None without one.

    Args:
        path: the path that it lies in.
        cable_current: what it carries for ever, known.
        cable_name: as printed.
    """
    asked, swept = path.asked, path.swept
    if asked.trip is None:
        return None
    title = f"ends an overload of {cable_name}"
    highest = asked.highest
    check = judge(title, STAGE, highest, "at most", cable_current,
                  reason="by the overload trip, its sensor's error counted",
                  remedy="a lower overload trip, a better current sensor, or a larger cable")
    if check.verdict != PASS:
        return check
    return past_others(_ended(_trip_opens(check, asked, swept), path.melting), path.further)


def needs_trip(cable_current: Finding) -> str:
    """What to name where nobody ends an overload."""
    return ("name the management system's overload trip with its delay, at or below "
            f"{cable_current.shown}, its sensor's error counted")
