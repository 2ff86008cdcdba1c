"""Who opens a fault current, and when, at every current from the lowest to the highest.

A fuse counts where it is shown to break and clears within the counted time. A contactor
counts on a named trip, up to its breaking current in both directions, where it has opened before
a fuse melts that is not shown to break. Whatever is not on a data sheet is counted nowhere.
"Nobody" is said where it is known that no device ends a current, "not shown" where one may and
data are missing: of a path as of a fault place.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from packcalc.curves import Curve
from packcalc.errors import OutOfRange
from packcalc.findings import Finding, Origin, leaf
from packcalc.part_checks.moving import MovingTrip
from packcalc.part_checks.rising import level_time, rising_time
from packcalc.part_checks.shown import fuse_curves, tested_constant, underrated, voltage_reason
from packcalc.part_checks.unbroken import NO_FUSE, Unbroken, floor_reason, unbroken
from packcalc.parts import ContactorPart, FusePart, Points
from packcalc.value import replace, value_object, worked_once

(NOBODY, BY_FUSE, BY_CONTACTOR, BY_BOTH, TOO_EARLY, TOO_SLOW, TORN_UNSHOWN, MELTS,
 MAY_MELT) = range(9)
DEVICES = ("nobody", "fuse", "contactor", "fuse or contactor",
           "nobody, the contactor trips above what it breaks",
           "nobody in time, the trip is slower than the counted time",
           "nobody, the contactor trips and is not counted on to break it",
           "nobody, the fuse melts before the contactor has opened and does not break it",
           "not shown, the fuse may melt before the contactor has opened and is not shown to "
           "break it")
MAY_OPEN = ("", "fuse", "contactor", "fuse or contactor")  # of whom data are missing, as bits
UNOPENED = (NOBODY, TOO_EARLY, TOO_SLOW, TORN_UNSHOWN, MELTS, MAY_MELT)
IS_UNOPENED = np.isin(range(len(DEVICES)), UNOPENED)
TORN = (TOO_EARLY, TORN_UNSHOWN)
NOT_SHOWN = "not shown"
MELTED = (MELTS, MAY_MELT)
OVERLOAD, UNDERVOLTAGE = "overload trip", "cells' undervoltage trip"
DELAY_ENTRIES = {OVERLOAD: "management.overload_delay", UNDERVOLTAGE: "management.voltage_delay"}
AT_ONCE = "{entries} left open: that trip may act at once, and is counted on nowhere"
ANYWHERE = ("{entries} left open, and its delay told: that trip may act at any current, and is "
            "counted on nowhere")
GRID = 400
EVENLY = np.linspace(0.0, 1.0, GRID)
ROUNDS = 6  # until a trip's time and the current at which a curve meets it agree to seven figures
REFINED, REFINED_GRID = 3, 100  # rounds and currents to find a crossing between two of the grid
BESIDE = 1e-9  # a break point is tried on it and this share to either side
NO_TRIP = "no trip is named with its current and delay"
UNREAD = "every trip that is named acts beyond what its current sensor reads"
TRIPLESS = (NO_TRIP, UNREAD)
ASK_OPENING = "ask for the opening time with its coil suppression"
ASK_TEST = "ask for the time constant of its breaking test"


@value_object
class Trips:
    """The trips that open the contactors, by name. Any may be missing.

    Attributes:
        name: who trips, as the report prints it.
        current, delay: threshold, and time from crossing it to the coil's being off.
        undervoltage, undervoltage_delay: of one cell: each is read by itself.
        undervoltage_open: why that level is not shown to leave the load alone; it is counted on
            nowhere then, and may act all the same.
        overload, overload_delay: a slower and lower current limit, for the cables.
        falls_in_the_cold: whether the current limit falls with the cells' temperature.
        blocked_above: current above which the contactors stay closed and leave it to the fuse.
        to_opened: whether the delays run until the contactor has opened, its own time included.
        sensor_error, sensor_range: of the current sensor, in A: a trip is sure to act only
            that much above its setting, may act that much below, and never beyond the range.
        moving: settings of one that follows the cells' temperature; `current` is then the one
            that counts against the faults of the main path, None where none does.
        opens_within: longest opening time that a contactor's own check passes: what counts of one
            whose sheet is silent.
        delay_entry: dotted name of `delay` in the brief.
    """

    name: str = "current trip of the management system"
    current: Finding | None = None
    delay: Finding | None = None
    undervoltage: Finding | None = None
    undervoltage_delay: Finding | None = None
    overload: Finding | None = None
    overload_delay: Finding | None = None
    falls_in_the_cold: bool = False
    blocked_above: Finding | None = None
    to_opened: bool = False
    sensor_error: Finding | None = None
    sensor_range: Finding | None = None
    moving: MovingTrip | None = None
    opens_within: Finding | None = None
    delay_entry: str = "management.trip_delay"
    undervoltage_open: str = ""

    @property
    def as_told(self) -> Trips:
        """The same were the load no heavier than is told."""
        return replace(self, undervoltage_open="") if self.undervoltage_open else self


def entries_of(what: str, *entries: Finding | None) -> Origin:
    """Where a figure of several entries comes from, each with its file and line."""
    told = [str(f.origin) for f in entries if f is not None and f.origin]
    return Origin(f"{what}: {'; '.join(told)}" if told else what)


def number(item: Finding | None) -> float | None:
    """The value of a finding that may be missing."""
    return item.value if item is not None else None


@value_object
class FuseSide:
    """Where a fuse counts.

    Attributes:
        part: the fuse.
        reasons: why it does not count at all; empty where it does.
        low, high: currents between which it counts.
        why_low: what sets the lower end.
        clearing, melting: curves.
        integral: sheet's clearing I²t where it holds at the working voltage, else NaN.
        time_constant: highest of the loop, in s; 0 where none is known.
        unbroken: where it may melt without being shown to break.
    """

    part: FusePart | None
    reasons: tuple[str, ...] = ()
    low: float = np.inf
    high: float = 0.0
    why_low: str = ""
    clearing: Curve | None = None
    melting: Curve | None = None
    integral: float = np.nan
    time_constant: float = 0.0
    unbroken: Unbroken = NO_FUSE

    def answers(self, current: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(`curve_times`, `times`, `heat`) of one and the same currents."""
        at = np.asarray(current, dtype=float)
        if self.clearing is None or self.part is None:
            none = np.full(at.shape, np.nan)
            return none, none, none
        inside = self.clearing.time_at(at)
        steady, heat = self._steady(at, inside), self._heat(at, inside)
        return steady, self._risen(at, steady, heat), heat

    @property
    def origin(self) -> Origin:
        """The row that holds its clearing curve."""
        what = f"clearing curve of {self.part.name}" if self.part else "no fuse"
        row = self.clearing.origin if self.clearing is not None else None
        return Origin(row.place, row.line, what) if row is not None else Origin(what)

    def curve_times(self, current: Any) -> np.ndarray:
        """Of a current that stands at once; beyond the last point no longer than there."""
        at = np.asarray(current, dtype=float)
        if self.clearing is None or self.part is None:
            return np.full(at.shape, np.nan)
        return self._steady(at, self.clearing.time_at(at))

    def _steady(self, at: np.ndarray, inside: np.ndarray) -> np.ndarray:
        assert self.clearing is not None
        return np.where(at > self.clearing.highest, self.clearing.shortest, inside)

    def times(self, current: Any) -> np.ndarray:
        """Clearing time in this loop; NaN where not shown.

        The current rises with the loop's time constant: the fuse has cleared when that rise has
        let its clearing I²t through, and never sooner than by its curve. Where the sheet is
        silent beyond the last point, that point's time at the full current counts as the I²t.
        """
        return self.answers(current)[1]

    def _risen(self, at: np.ndarray, steady: np.ndarray, heat: np.ndarray) -> np.ndarray:
        if not self.time_constant:
            return steady
        heat = np.where(np.isnan(heat), at ** 2 * steady, heat)
        return np.fmax(steady, rising_time(at, self.time_constant, heat))

    def counts(self, current: Any) -> np.ndarray:
        at = np.asarray(current, dtype=float)
        return (at >= self.low) & (at <= self.high) if not self.reasons \
            else np.zeros(at.shape, dtype=bool)

    def counts_at_any_time(self, current: Any) -> np.ndarray:
        """Where it breaks an overload, however slowly: above its lowest breaking current."""
        at = np.asarray(current, dtype=float)
        if self.reasons or self.part is None:
            return np.zeros(at.shape, dtype=bool)
        return (at >= (number(self.part.lowest_breaking_current) or 0.0)) & (at <= self.high)

    def may_clear(self, current: Any) -> np.ndarray:
        """Where it is not counted for want of data, and may clear all the same.

        Not up to its rated current, nor where by its own sheet it does not break.
        """
        at = np.asarray(current, dtype=float)
        if not self.reasons or self.part is None:
            return np.zeros(at.shape, dtype=bool)
        return (at > self.unbroken.rated) & ~self.unbroken.fails(at)

    def heat(self, current: Any) -> np.ndarray:
        """I²t let through: the sheet's figure, inside the curve's points by these if larger."""
        at = np.asarray(current, dtype=float)
        if self.clearing is None:
            return np.full(at.shape, np.nan)
        return self._heat(at, self.clearing.time_at(at))

    def _heat(self, at: np.ndarray, inside: np.ndarray) -> np.ndarray:
        assert self.clearing is not None
        if np.isnan(self.integral):
            return at ** 2 * inside
        return np.where(at < self.clearing.lowest * (1.0 - BESIDE / 10.0), np.nan,
                        np.fmax(at ** 2 * inside, self.integral))


def fuse_side(part: FusePart | None, highest_voltage: Finding, time_constant: Finding,
              counted_time: float) -> FuseSide:
    """Where a fuse counts, or why it does not."""
    if part is None:
        return FuseSide(None, ("no fuse is named",))
    melting, clearing = fuse_curves(part)
    slow = _time_constant_reason(part, highest_voltage, time_constant)
    reasons = [r for r in (
        voltage_reason(part, highest_voltage),
        "" if part.breaking_capacity else "ask for the DC breaking capacity",
        "" if clearing else "ask for the total clearing curve in DC",
        floor_reason(part), slow) if r]
    low, why = _lower_end(part, clearing, counted_time)
    if low is None:
        reasons.append(why)
    return FuseSide(part, tuple(reasons), np.inf if low is None else low,
                    number(part.breaking_capacity) or 0.0, why, clearing, melting,
                    _sheet_integral(part, highest_voltage), number(time_constant) or 0.0,
                    unbroken(part, None, highest_voltage, slow))


def _time_constant_reason(part: FusePart, voltage: Finding, time_constant: Finding) -> str:
    permitted = permitted_at(part.permitted_time_constant, voltage)
    if permitted is None:
        return f"ask for the time constant permitted at {voltage.shown}"
    if time_constant.known and permitted < time_constant.number:
        return (f"the time constant permitted at {voltage.shown} is {permitted * 1e3:.3g} ms, "
                f"the circuit has {time_constant.shown}")
    return ""


def permitted_at(points: Points | None, voltage: Finding) -> float | None:
    """Permitted time constant at the next stated voltage at or above; None where none is."""
    if points is None or not voltage.known:
        return None
    return next((t for u, t in zip(points.first, points.second, strict=True)
                 if u >= voltage.number), None)


def _lower_end(part: FusePart, clearing: Curve | None,
               counted_time: float) -> tuple[float | None, str]:
    if clearing is None:
        return None, "no clearing curve"
    if clearing.shortest > counted_time:
        return None, f"no point of the clearing curve lies within {counted_time:g} s"
    if clearing.longest < counted_time:
        ends = [(clearing.lowest, "lowest current of its clearing curve")]
    else:
        ends = [(float(clearing.current_at(counted_time)),
                 f"it clears within {counted_time:g} s only from there on")]
    if part.lowest_breaking_current is not None:
        ends.append((part.lowest_breaking_current.number, "its lowest breaking current"))
    return max(ends)


def lower_end(side: FuseSide, counted_time: float, title: str) -> Finding:
    """The lower end of a fuse, traced to what sets it: its floor, or its curve."""
    part, clearing = side.part, side.clearing
    floor = part.lowest_breaking_current if part else None
    if floor is not None and floor.number == side.low:
        return floor.called(title, note=side.why_low)
    time = leaf("counted time", "t", "s", counted_time, "assumed", source="packcalc-rule")
    if clearing is not None and side.why_low.startswith("it clears"):
        try:
            return clearing.trace_current(time, title)
        except OutOfRange:
            pass
    told = clearing or part
    return leaf(title, "I", "A", side.low, told.basis if told else "given",
                source=clearing.source if clearing else "", origin=told.origin if told else None,
                note=side.why_low)


def _sheet_integral(part: FusePart, highest_voltage: Finding) -> float:
    value, at = number(part.clearing_i2t), number(part.clearing_i2t_at)
    holds = (value is not None and at is not None and highest_voltage.known
             and at >= highest_voltage.number)
    return value if holds else np.nan  # type: ignore[return-value]


@value_object
class TripLine:
    """One trip that acts at and above a current, and below another where it has an end.

    `entries` are what it was set by: its level and its delay; `delay_open` is the dotted name of
    one that nobody told, which counts as none, and `level_open` that of a level, which may be any;
    `open` says why it is not counted on.
    """

    name: str
    from_current: float
    delay: float
    to_current: float = np.inf
    entries: tuple[Finding, ...] = ()
    delay_open: str = ""
    open: str = ""
    level_open: str = ""

    def acts(self, current: Any) -> Any:
        acts = current >= self.from_current
        return acts if self.to_current == np.inf else acts & (current < self.to_current)


@value_object
class ContactorSide:
    """Where a contactor counts.

    Attributes:
        part: the contactor.
        reasons: why it does not count.
        stated: those of them that its own stated figures give: no answer to a question mends them.
        slow: the one of them that the time constant of its path gives.
        lines: the trips that are sure to open it, and those that are not counted on as yet.
        threats: the same at the earliest they may act; an open delay counts as none.
        limit: highest current that it breaks in either direction; 0 where not shown.
        opening: opening time.
        blocked_above: current above which it is held closed.
        time_constant: highest of the loop, in s; 0 where none is known.
    """

    part: ContactorPart | None
    reasons: tuple[str, ...] = ()
    lines: tuple[TripLine, ...] = ()
    limit: float = 0.0
    opening: float = 0.0
    blocked_above: float = np.inf
    threats: tuple[TripLine, ...] = ()
    time_constant: float = 0.0
    stated: tuple[str, ...] = ()
    slow: str = ""

    @property
    def never(self) -> bool:
        """Whether it breaks nothing by its own stated figures, whatever else is asked for."""
        return any(r in (*self.stated, UNREAD) for r in self.reasons)

    @property
    def unproven(self) -> bool:
        """Whether it is not shown to break what its sheet says; not for want of a trip alone."""
        return any(r not in TRIPLESS for r in self.reasons)

    @property
    def untold(self) -> str:
        """Why it is not shown to open, where that is only what nobody told of its path; or ""."""
        slow = self.slow if self.slow != ASK_TEST and self.slow not in self.stated else ""
        if self.reasons and self.reasons != (slow,):
            return ""
        return "; ".join(filter(None, (slow if self.reasons else "", self.doubt)))

    @property
    def as_told(self) -> ContactorSide:
        """The same were its path as it is told: what fails then fails in any case."""
        return replace(self, reasons=(), slow="", lines=tuple(
            replace(line, open="") for line in self.lines)) if self.untold else self

    @property
    def doubt(self) -> str:
        """Why a trip of its is not counted on; empty where every one is."""
        return next((line.open for line in self.lines if line.open), "")

    @worked_once
    def _sure(self) -> tuple[TripLine, ...]:
        return tuple(line for line in self.lines if not line.open)

    def in_loop(self, slow: str, stated: bool) -> ContactorSide:
        """The same in a loop whose time constant, and not that of its path, says what it is.

        Args:
            slow: why it is not shown to break that one; empty where it is.
            stated: whether its own stated figures say that it does not.
        """
        # The reason of the path stays, and is a question here.
        kept = tuple(r for r in self.stated if r != self.slow)
        return replace(self, reasons=(*self.reasons, slow) if slow else self.reasons,
                       stated=(*kept, slow) if slow and stated else kept)

    def times(self, current: Any) -> np.ndarray:
        """Time to the end of its arc on the first trip that acts; NaN where none does.

        From the start of the fault: until the rising current has reached the trip's level, then
        delay and opening time. It errs long.
        """
        return self._first(self._sure, current, self.time_constant)

    def steady_times(self, current: Any) -> np.ndarray:
        """The same of a current that stands at once."""
        return self._first(self._sure, current)

    def may_open(self, seen: Any, within: float, own: Any = None) -> np.ndarray:
        """Where it is not counted for want of data, and may open all the same.

        Args:
            seen: current that its trips see.
            within: time that is counted on, in s.
            own: current that it breaks; None where that is the same.
        """
        at = np.asarray(seen, dtype=float)
        # a question that is left open mends nothing where it breaks nothing
        if self.never or not (self.reasons or self.doubt):
            return np.zeros(at.shape, dtype=bool)
        may = self._first(self.lines, at) <= within if self.lines \
            else np.ones(at.shape, dtype=bool)
        # Whatever else is asked for, nothing opens above what its sheet says.
        return may & ~((at if own is None else own) > self.limit) if self.limit else may

    def earliest(self, current: Any, steady: np.ndarray | None = None) -> np.ndarray:
        """The soonest that a trip may open it; NaN where none can.

        Args:
            steady: what `steady_times` gives, where it is known already.
        """
        return np.fmin(self.steady_times(current) if steady is None else steady,
                       self._first(self.threats, current))

    def at_once(self, current: float) -> str:
        """Which open entries make a trip act too soon at a current, in words; empty where none."""
        acting = [x for x in self.threats if x.acts(current)]
        return "; ".join(words.format(entries=" and ".join(names)) for words, names in (
            (AT_ONCE, dict.fromkeys(x.delay_open for x in acting if x.delay_open)),
            (ANYWHERE, dict.fromkeys(x.level_open for x in acting if x.level_open))) if names)

    def _first(self, lines: Iterable[TripLine], current: Any, rise: float = 0.0) -> np.ndarray:
        at = np.asarray(current, dtype=float)
        best, shut = None, self.blocked_above
        for line in lines:
            acts = line.acts(at) if shut == np.inf else line.acts(at) & (at < shut)
            time = line.delay + self.opening + (self.rise(line, at) if rise else 0.0)
            own = np.where(acts, time, np.nan)
            best = own if best is None else np.fmin(best, own)
        return np.full(at.shape, np.nan) if best is None else best

    def first(self, current: float) -> TripLine:
        """The trip that opens one current; some trip acts there."""
        return min((x for x in self._sure if x.acts(current)),
                   key=lambda x: x.delay + float(self.rise(x, current)))

    def origin(self, current: float) -> Origin:
        """Where the time at one current comes from: the entries of its trip and of its sheet."""
        line = self.first(current)
        own = self.part.opening_time if self.part is not None else None
        return entries_of(line.name, *line.entries, own)

    def rise(self, line: TripLine, current: Any) -> np.ndarray:
        """Until the rising current has crossed the trip's level; that of a voltage comes last."""
        level = current if line.name == UNDERVOLTAGE else line.from_current
        return level_time(current, self.time_constant, level)

    @property
    def low(self) -> float:
        """Lowest current at which a trip acts."""
        return min((line.from_current for line in self.lines), default=np.inf)


def contactor_side(part: ContactorPart | None, trips: Trips | None, highest_voltage: Finding,
                   time_constant: Finding,
                   undervoltage: tuple[float, float] | None) -> ContactorSide:
    """Where a contactor counts on its trips, or why it does not.

    Args:
        undervoltage: currents between which the cells' trip is shown to act; None for nowhere.
    """
    if part is None:
        return ContactorSide(None, ("no contactor is named",))
    lines = _lines(trips, undervoltage, _after_the_coil(part, trips))
    slow, beyond = _inductive_reason(part, highest_voltage, time_constant)
    reasons = [r for r in (
        voltage_reason(part, highest_voltage),
        "" if part.break_discharge and part.break_charge
        else "ask for the breaking current in both directions",
        "" if part.opening_time or (trips and trips.to_opened and not _untold(
            part, trips, undervoltage)) else ASK_OPENING,
        "" if lines else _tripless(trips), slow) if r]
    limit = 0.0
    if part.break_discharge and part.break_charge:
        limit = min(part.break_discharge.number, part.break_charge.number)
    blocked = number(trips.blocked_above) if trips else None
    own = number(part.opening_time) or 0.0
    opening, soonest = (0.0, own) if trips and trips.to_opened else (own, 0.0)
    return ContactorSide(part, tuple(reasons), lines, limit, opening,
                         np.inf if blocked is None else blocked,
                         _threats(trips, undervoltage, soonest), number(time_constant) or 0.0,
                         tuple(r for r in (underrated(part, highest_voltage),
                                           slow if beyond else "") if r), slow)


def opening_counted(part: ContactorPart | None, trips: Trips | None) -> Finding | None:
    """Time from the coil's being off to the end of the arc; None where nothing bounds it.

    A silent sheet counts as the longest that the part's own check would pass: no answer that it
    may get is slower and holds.
    """
    if part is None or part.opening_time is not None:
        return part.opening_time if part is not None else None
    return trips.opens_within if trips is not None else None


def _after_the_coil(part: ContactorPart, trips: Trips | None) -> Finding | None:
    """What comes on top of the cells' trip, whose delay ends at the coil."""
    return opening_counted(part, trips) if trips is not None and trips.to_opened else None


def _untold(part: ContactorPart, trips: Trips, undervoltage: tuple[float, float] | None) -> bool:
    """Whether nothing bounds when the cells' trip has opened the contactor."""
    return undervoltage is not None and number(trips.undervoltage_delay) is not None \
        and opening_counted(part, trips) is None


def trips_alone(trips: Trips | None, undervoltage: tuple[float, float] | None) -> ContactorSide:
    """When some contactor opens on these trips, whatever its own sheet says."""
    blocked = number(trips.blocked_above) if trips else None
    return ContactorSide(None, (), _lines(trips, undervoltage),
                         blocked_above=np.inf if blocked is None else blocked,
                         threats=_threats(trips, undervoltage, 0.0))


def seeing(side: ContactorSide, trips: Trips | None,
           undervoltage: tuple[float, float] | None) -> ContactorSide:
    """The same contactor where the cells' trip acts between other currents, or nowhere.

    Beyond them it is not counted on, and yet may open too soon: the cells may be weaker, or the
    fault nearer to them, than is counted.
    """
    if side.part is None:
        return side
    own = number(side.part.opening_time) or 0.0
    soonest = own if trips is not None and trips.to_opened else 0.0
    lines = (*(one for one in side.lines if one.name != UNDERVOLTAGE), *(
        one for one in _lines(trips, undervoltage, _after_the_coil(side.part, trips))
        if one.name == UNDERVOLTAGE))
    threats = (*(one for one in side.threats if one.name != UNDERVOLTAGE), *(
        one for one in _threats(trips, undervoltage, soonest) if one.name == UNDERVOLTAGE))
    reasons = (*(r for r in side.reasons if r not in TRIPLESS),
               *(() if lines else (_tripless(trips),)))
    return replace(side, lines=lines, threats=threats, reasons=reasons)


def _lines(trips: Trips | None, undervoltage: tuple[float, float] | None,
           opening: Finding | None = None) -> tuple[TripLine, ...]:
    if trips is None:
        return ()
    error, top = number(trips.sensor_error) or 0.0, number(trips.sensor_range) or np.inf
    lines = [TripLine(name, level + error, delay, entries=told)
             for name, level, delay, told in _limits(trips)
             if delay is not None and level + error <= top]
    if undervoltage is not None and number(trips.undervoltage_delay) is not None:
        low, high = undervoltage
        if low < high:
            bound = opening if opening is trips.opens_within else None
            lines.append(TripLine(
                UNDERVOLTAGE, low, trips.undervoltage_delay.number + (number(opening) or 0.0), high,
                _known(trips.undervoltage, trips.undervoltage_delay, bound),
                open=trips.undervoltage_open))
    return tuple(lines)


def _tripless(trips: Trips | None) -> str:
    """Why no trip acts: none is named with all that it needs, or its sensor reads none of them."""
    return UNREAD if trip_delays_known(trips) else NO_TRIP


def trip_delays_known(trips: Trips | None) -> bool:
    """Whether a current limit is named, and each with its delay."""
    limits = _limits(trips) if trips is not None else []
    return bool(limits) and all(delay is not None for _, _, delay, _ in limits)


def with_setting(side: ContactorSide, trips: Trips | None, setting: Finding) -> ContactorSide:
    """The same contactor where another setting of the quick trip counts."""
    if side.part is None or trips is None or trips.delay is None:
        return side
    own = _lines(replace(trips, current=setting), None)
    return replace(side, lines=tuple(
        one for old in side.lines for one in (own if old.name == trips.name else (old,))
        if old.name != trips.name or one.name == trips.name))


def at_highest(side: ContactorSide, trips: Trips | None) -> ContactorSide:
    """The same contactor for currents that may come at any temperature: overloads and arcs."""
    moving = trips.moving if trips is not None else None
    return side if moving is None or moving.highest is None \
        else with_setting(side, trips, moving.highest)


def _limits(trips: Trips, *, soonest: bool = False) -> list[
        tuple[str, float, float | None, tuple[Finding, ...]]]:
    """(name, setting, delay, entries) of each current limit; `soonest`, each at its lowest."""
    quick = trips.moving.least if soonest and trips.moving is not None else trips.current
    found = ((trips.name, quick, trips.delay), (OVERLOAD, trips.overload, trips.overload_delay))
    return [(name, level.value, number(delay), _known(level, delay))
            for name, level, delay in found if level is not None and level.value is not None]


def _known(*entries: Finding | None) -> tuple[Finding, ...]:
    return tuple(f for f in entries if f is not None and f.known)


def _threats(trips: Trips | None, undervoltage: tuple[float, float] | None,
             soonest: float) -> tuple[TripLine, ...]:
    """When a trip may open the contactor at the earliest; an open delay may be none."""
    if trips is None:
        return ()
    error = number(trips.sensor_error) or 0.0
    found = [TripLine(name, max(level - error, 0.0), soonest if delay is None else delay,
                      delay_open="" if delay is not None
                      else DELAY_ENTRIES.get(name, trips.delay_entry))
             for name, level, delay, _ in _limits(trips, soonest=True)]
    found += _of_any_level(trips, soonest)
    if undervoltage is None or trips.undervoltage is None:
        return tuple(found)
    low, high = undervoltage
    if number(trips.undervoltage_delay) is None:
        found.append(TripLine(UNDERVOLTAGE, low, soonest,
                              delay_open=DELAY_ENTRIES[UNDERVOLTAGE]))
        return tuple(found)
    # Above it the cells may fall as well, where they are weak or near.
    begins = low if trips.undervoltage_open else high
    if np.isfinite(begins):
        found.append(TripLine(UNDERVOLTAGE, begins, trips.undervoltage_delay.number + soonest))
    return tuple(found)


def _of_any_level(trips: Trips, soonest: float) -> Iterator[TripLine]:
    """Trips of which the delay alone is told: they are there, and nobody knows from where on."""
    quick = trips.current if trips.moving is None else trips.moving.least
    for name, level, delay, entry in (
            (trips.name, quick, trips.delay, trips.delay_entry.replace("_delay", "_current")),
            (OVERLOAD, trips.overload, trips.overload_delay, "management.overload_trip"),
            (UNDERVOLTAGE, trips.undervoltage, trips.undervoltage_delay,
             "management.undervoltage_trip")):
        time = number(delay)
        if number(level) is None and time is not None:
            yield TripLine(name, 0.0, time + (soonest if name == UNDERVOLTAGE else 0.0),
                           level_open=entry)


def _inductive_reason(part: ContactorPart, voltage: Finding,
                      time_constant: Finding) -> tuple[str, bool]:
    """(why it is not shown to break the path's, whether by a figure that its sheet states)."""
    found = tested_constant(part, voltage)
    if found is None:
        return ASK_TEST, False
    tested = found.number
    beyond = beyond_test(tested, time_constant)
    if found.may_be_less and not beyond:
        return ASK_TEST, False
    slower = slower_than(tested, time_constant)
    return (f"its breaking test had {tested * 1e3:.3g} ms, the circuit has {slower}"
            if slower else "", beyond)


def beyond_test(tested: float, constant: Finding) -> bool:
    """Whether a loop's time constant, as far as it is known, is longer than that of a test."""
    return constant.known and tested < constant.number


def slower_than(tested: float, constant: Finding, voltage: Finding | None = None) -> str:
    """A loop's time constant where a test is not shown to have had it; empty where it is.

    What nobody told of the loop may make it slower than any test: nothing is shown of it then.

    Args:
        tested: time constant of the test, in s.
        constant: of the loop.
        voltage: of the loop, where its own test is a question to the maker; None of the path.
    """
    if not constant.known:
        return ""
    at, ask = ("", "") if voltage is None else (
        f" at {voltage.shown}", ": ask for its figure at that voltage")
    if beyond_test(tested, constant):
        return f"{constant.least}{constant.shown}{at}{ask}"
    more = constant.untold_more
    return f"{constant.least}{constant.shown}{at}: {more}" if more else ""


@value_object
class Hole:
    """A span of current that nobody is shown to open, ends included.

    `may` tells who may all the same, an index into MAY_OPEN: of one of `Sweep.unopened` alone.
    """

    low: float
    high: float
    device: int
    may: int = 0

    @property
    def words(self) -> str:
        return device_words(self.device, self.may)

    @property
    def open(self) -> bool:
        """Whether some device may open it, and data are missing."""
        return self.may > 0 or self.device == MAY_MELT


def device_words(device: int, may: int = 0) -> str:
    """Who opens a current: a device, nobody, or those of whom it is not shown, and why.

    Args:
        device: index into DEVICES.
        may: index into MAY_OPEN.
    """
    if not may:
        return DEVICES[device]
    why = DEVICES[device].partition(", ")[2]
    if device == TORN_UNSHOWN and MAY_OPEN[may] != MAY_OPEN[1]:
        why = "the contactor trips and is not shown to break it"
    return ", ".join(filter(None, (f"{NOT_SHOWN}: {MAY_OPEN[may]}", why)))


def may_open(current: Any, fuse: FuseSide, contactor: ContactorSide,
             counted_time: float) -> np.ndarray:
    """Who may open each current although nobody is shown to: an index into MAY_OPEN.

    Nobody may what a fuse leaves burning that melts before, and by its own sheet does not break.
    """
    at, within = np.asarray(current, dtype=float), counted_time * (1.0 + 1e-9)
    lost = fuse.unbroken.fails(at) & (fuse.unbroken.melts(at) < counted_time)
    by_fuse, by_contactor = fuse.may_clear(at), contactor.may_open(at, within)
    return np.where(lost, 0, by_fuse + 2 * by_contactor)


@dataclass(frozen=True, eq=False)
class Sweep:
    """The whole range in arrays.

    Attributes:
        current: A, rising.
        device: index into DEVICES.
        time: s, of the device that is counted; NaN where nobody is.
        heat: A²s let through; NaN where nobody is, or where the sheet is silent.
        fuse, contactor: the two sides.
        less: why faults may begin below its lowest current, in words; empty where none do.
    """

    current: np.ndarray
    device: np.ndarray
    time: np.ndarray
    heat: np.ndarray
    fuse: FuseSide
    contactor: ContactorSide
    counted_time: float = field(default=1.0)
    less: str = ""

    @worked_once
    def holes(self) -> tuple[Hole, ...]:
        """Spans without a device, each with its ends."""
        return self._spans(np.zeros(self.device.shape, dtype=int))

    @worked_once
    def unopened(self) -> tuple[Hole, ...]:
        """The same, parted where others may open them."""
        return self._spans(self.may)

    @worked_once
    def may(self) -> np.ndarray:
        """Index into MAY_OPEN at each current; 0 where somebody is shown to open it."""
        return np.where(IS_UNOPENED[self.device], may_open(
            self.current, self.fuse, self.contactor, self.counted_time), 0)

    def _spans(self, may: np.ndarray) -> tuple[Hole, ...]:
        bad = IS_UNOPENED[self.device]
        code = np.where(bad, len(MAY_OPEN) * self.device + may, -1)
        starts = np.flatnonzero(np.diff(code, prepend=-2))
        ends = np.append(starts[1:], code.size) - 1
        return tuple(Hole(float(self.current[a]), float(self.current[b]), int(self.device[a]),
                          int(may[a]))
                     for a, b in zip(starts, ends, strict=True) if code[a] >= 0)

    @property
    def covered(self) -> bool:
        return not self.holes

    @worked_once
    def as_told(self) -> Sweep:
        """The same were its path no slower than is told; itself where nothing of that is open."""
        side = self.contactor
        if not side.untold:
            return self
        return replace(sweep(float(self.current[0]), float(self.current[-1]), self.fuse,
                             side.as_told, self.counted_time), less=self.less)

    @property
    def hole_width(self) -> float:
        """Sum of the holes on a logarithmic scale: how far the pair is from valid."""
        return float(sum(np.log(h.high / h.low) for h in self.holes))


def sweep(low: float, high: float, fuse: FuseSide, contactor: ContactorSide,
          counted_time: float, extra: Iterable[float] = ()) -> Sweep:
    """Sweep a pair over a dense logarithmic grid and every break point.

    Args:
        low, high: ends of the fault range.
        fuse, contactor: where either counts.
        counted_time: within which a fault must be opened.
        extra: further currents to look at, such as the points of a withstand curve.
    """
    current = grid(low, high, (*breaks(fuse, contactor, counted_time), *extra))
    device, time, heat = judge_heat(current, fuse, contactor, counted_time)
    return Sweep(current, device, time, heat, fuse, contactor, counted_time)


def judge_heat(current: Any, fuse: FuseSide, contactor: ContactorSide,
               counted_time: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(device, time, I²t let through) at each current; NaN as in `judge_currents`."""
    at = np.asarray(current, dtype=float)
    by_curve, fuse_time, own = fuse.answers(at)
    trip_time = contactor.times(at)
    device, time = _judged(at, fuse, contactor, counted_time, by_curve, fuse_time, trip_time)
    both, whole = device == BY_BOTH, at ** 2 * time
    by_fuse = (device == BY_FUSE) | (both & ~(trip_time < fuse_time))
    # Whoever is first, no more than the fuse lets through has gone by.
    by_fuse |= both & (own < whole)
    return device, time, np.where(by_fuse, own, whole)


def judge_currents(current: Any, fuse: FuseSide, contactor: ContactorSide,
                   counted_time: float) -> tuple[np.ndarray, np.ndarray]:
    """(device, time) at each current; the time is NaN where nobody is counted."""
    at = np.asarray(current, dtype=float)
    by_curve, fuse_time, _ = fuse.answers(at)
    return _judged(at, fuse, contactor, counted_time, by_curve, fuse_time, contactor.times(at))


def _judged(at: np.ndarray, fuse: FuseSide, contactor: ContactorSide, counted_time: float,
            by_curve: np.ndarray, fuse_time: np.ndarray,
            trip_time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    within = counted_time * (1.0 + 1e-9)
    # The counted second is of the curve and of the trip's delay: the rise of the current adds
    # milliseconds to it.
    by_fuse = fuse.counts(at) & (by_curve <= within)
    trips, delayed = ~np.isnan(trip_time), contactor.steady_times(at)
    by_contactor = trips & (at <= contactor.limit) & (delayed <= within)
    if contactor.reasons:
        by_contactor = np.zeros(at.shape, dtype=bool)
    # A trip that its contactor breaks, but later than a shorted cell can be counted on.
    late = trips & (delayed > within) & (at <= contactor.limit) & (not contactor.reasons)
    # A contactor that trips above its limit before the fuse has cleared is torn open in an arc.
    soonest = contactor.earliest(at, delayed)
    above = (at > contactor.limit) & (contactor.limit > 0.0)
    torn = ~np.isnan(soonest) & ((at > contactor.limit) | bool(contactor.reasons))
    early = torn & ~late & ~(by_fuse & (fuse_time < soonest))
    # Nor does it open what a fuse leaves burning that melts before and is not shown to break.
    lost = by_contactor & (fuse.unbroken.melts(at) < trip_time)  # never where it has none
    device = np.full(at.shape, NOBODY)
    for where, what in ((late, TOO_SLOW), (by_contactor, BY_CONTACTOR), (by_fuse, BY_FUSE),
                        (by_fuse & by_contactor, BY_BOTH), (lost, MAY_MELT),
                        (lost & fuse.unbroken.fails(at), MELTS), (early, TORN_UNSHOWN),
                        (early & above, TOO_EARLY)):  # the gravest last
        device[where] = what
    time = np.fmin(np.where(by_fuse, fuse_time, np.nan),
                   np.where(by_contactor, trip_time, np.nan))
    return device, np.where(IS_UNOPENED[device], np.nan, time)


def breaks(fuse: FuseSide, contactor: ContactorSide, counted_time: float) -> list[float]:
    """Every current at which one of the curves or windows begins, bends or ends."""
    found = [fuse.low, fuse.high, *fuse.unbroken.bends, contactor.limit, contactor.blocked_above,
             *(end for line in (*contactor.lines, *contactor.threats)
               for end in (line.from_current, line.to_current))]
    for curve in (fuse.clearing, fuse.melting):
        if curve is not None:
            found += curve.currents
    if fuse.melting is not None:  # where it melts as the contactor has opened
        found += fuse.melting.current_at(_risen(contactor, fuse.melting)).tolist()
    if fuse.clearing is not None:
        times = [counted_time, *(line.delay + contactor.opening
                                   for line in (*contactor.lines, *contactor.threats))]
        times += _risen(contactor, fuse.clearing).tolist()
        # Where the rise of the current ends with a trip: it adds one and a half time constants.
        later = [t - 1.5 * fuse.time_constant for t in times if t > 1.5 * fuse.time_constant]
        found += fuse.clearing.current_at(np.array([*times, *later])).tolist()
        found += [math.sqrt(fuse.integral / t) for t in later]
    return found


def _risen(contactor: ContactorSide, curve: Curve) -> np.ndarray:
    """Time of each trip where a curve of the fuse meets it: that current's rise counted in."""
    lines = contactor.lines
    steady = time = np.array([line.delay for line in lines]) + contactor.opening
    level = np.array([np.inf if line.name == UNDERVOLTAGE else line.from_current
                      for line in lines])  # a voltage comes last, at the very current
    for _ in range(ROUNDS if contactor.time_constant and lines else 0):
        meets = curve.current_at(time)
        before, time = time, np.where(np.isnan(meets), time, steady + level_time(
            meets, contactor.time_constant, level))
        if (np.abs(time - before) <= 1e-6 * time).all():
            break
    return time


def grid(low: float, high: float, points: Iterable[float]) -> np.ndarray:
    """A dense logarithmic grid from end to end, with every break point and both its sides."""
    marks = np.array(list({*points}))
    marks = marks[(marks >= low) & (marks <= high)]
    dense = low * np.exp(EVENLY * np.log(high / low))
    dense[-1] = high
    every = np.concatenate([dense, marks, marks * (1 - BESIDE), marks * (1 + BESIDE)])
    every = np.minimum(np.maximum(every, low), high)
    every.sort()
    new = np.ones(every.shape, bool)
    new[1:] = every[1:] != every[:-1]
    return every[new]


@value_object
class Span:
    """Neighbouring currents of a sweep of which one thing holds, ends included."""

    low: float
    high: float


def overheated(swept: Sweep, withstand: float, share: float = np.inf) -> tuple[Span, ...]:
    """Where more heat gets through than a conductor stands, to the very crossing.

    Args:
        swept: the whole range.
        withstand: I²t that the conductor stands.
        share: most current that the conductor can carry itself.
    """
    def over(current: Any) -> np.ndarray:
        _, _, heat = judge_heat(current, swept.fuse, swept.contactor, swept.counted_time)
        own = np.minimum(1.0, share / np.asarray(current))
        return np.nan_to_num(heat * own ** 2) > withstand

    bad = over(swept.current)
    starts = np.flatnonzero(bad & ~np.append(False, bad[:-1]))
    ends = np.flatnonzero(bad & ~np.append(bad[1:], False))
    last = swept.current.size - 1
    return tuple(Span(_crossing(over, swept.current[a], swept.current[max(a - 1, 0)]),
                      _crossing(over, swept.current[b], swept.current[min(b + 1, last)]))
                 for a, b in zip(starts, ends, strict=True))


def _crossing(over: Callable[[Any], np.ndarray], inside: float, outside: float) -> float:
    """Last current on the way from one that overheats to one that does not."""
    for _ in range(REFINED):
        between = np.geomspace(inside, outside, REFINED_GRID)
        index = int(np.flatnonzero(over(between))[-1])
        inside, outside = between[index], between[min(index + 1, REFINED_GRID - 1)]
    return float(inside)


