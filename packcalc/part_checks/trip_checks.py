"""What one path is held against, and whether its trips tell a fault from a load.

The quick trip must carry every load and see every fault that is left to it, by current or by
undervoltage; the slow one ends what the load never asks for.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, PASS, Check, judge, on_an_open_entry,
)
from packcalc.findings import Finding, smallest, trace
from packcalc.monitoring import acts_by, acts_from
from packcalc.part_checks.cells_left import CellsLeft, sees_faults
from packcalc.part_checks.fusing import left_unbroken
from packcalc.part_checks.links_beside import Beside
from packcalc.part_checks.overload import OverloadAsked, OverloadPath, ends_overload, needs_trip
from packcalc.part_checks.path_conductors import PathConductor
from packcalc.part_checks.shown import voltage_reason
from packcalc.part_checks.sweep import (
    UNDERVOLTAGE, ContactorSide, Sweep, Trips, at_highest, lower_end, number, seeing, sweep,
)
from packcalc.parts import CONTACTOR, FUSE, ContactorPart, FusePart
from packcalc.value import replace, value_object

FOLLOWS = "the current trip lies below the lowest fault at every temperature of the cells"
READS = ("the temperature that it reads is counted as that of the coldest cells: its error and "
         "their spread are not evaluated, allow for them in the points")
SEES = "the undervoltage trip sees the lowest fault"
NO_SOLUTION = "no current carries the power asked, cold and nearly empty"


@value_object
class CoordinationAsked:
    """One path: its fault range, its load, its cable, and the parts held against it.

    Attributes:
        fault_lowest, fault_highest, highest_voltage, time_constant: of the path.
        counted_time: within which a fault must be opened.
        peak_load, continuous_load: largest of either direction.
        peak_duration: of the peak.
        cable_withstand: k²S² of one conductor, or None.
        cable_current: continuous current of the conductor, or None.
        cable_warming: I²t that takes it from its peak to its steady limit, or None.
        cable_name: as printed.
        conductors: links, bus bars and the modules' own conductors.
        fuse, contactor, trips: what protects; any may be None.
        loaded_voltage: lowest voltage of one cell under load, for the undervoltage trip.
        fault_voltage: of one cell of the run that feeds the lowest fault; its note says what a
            reading of the whole pack would see.
        cells_left: of all faults that the cells' trip is to see, once every fault place is known.
        lowest_in_one_pole: whether the lowest fault passes one pole alone, the sensor's or not.
        one_pole_lowest: lowest fault of a loop through the fuse's pole alone, where one contactor
            breaks and the current sensor may sit in the other pole; None without such a loop.
        path_lowest: lowest fault from pole to pole alone, where another loop gives less; None where
            `fault_lowest` is that.
        fault_drop: most that a cell keeps for each ampere of a fault from pole to pole: resistance
            outside the modules for each cell in series; None where not known.
        fault_falls: current from which these cells fall below their trip by themselves; None where
            not known.
        one_pole_drop, one_pole_falls: the same of the loop through one pole alone.
        beside: further fuses that an overload of this path passes.
        fuse_alone_lowest: lowest fault of a loop with the fuse and no contactor, where covers are
            not the usual answer; its note says where; None without such a loop.
        unnamed: which of fuse and contactor the brief does not name: the first of the list stands
            for it.
        entries: by which lines of the brief a fuse and a contactor of this path are named.
    """

    fault_lowest: Finding
    fault_highest: Finding
    highest_voltage: Finding
    time_constant: Finding
    counted_time: Finding
    peak_load: Finding
    continuous_load: Finding
    peak_duration: Finding
    cable_withstand: Finding | None = None
    cable_current: Finding | None = None
    cable_name: str = "cable"
    conductors: tuple[PathConductor, ...] = ()
    fuse: FusePart | None = None
    contactor: ContactorPart | None = None
    trips: Trips | None = None
    loaded_voltage: Finding | None = None
    fault_voltage: Finding | None = None
    one_pole_lowest: Finding | None = None
    fuse_alone_lowest: Finding | None = None
    cable_warming: Finding | None = None
    path_lowest: Finding | None = None
    fault_drop: Finding | None = None
    fault_falls: Finding | None = None
    one_pole_drop: Finding | None = None
    one_pole_falls: Finding | None = None
    beside: tuple[Beside, ...] = ()
    unnamed: tuple[str, ...] = ()
    entries: tuple[str, str] = ("parts.main_fuse", "parts.contactor")
    cells_left: CellsLeft | None = None
    lowest_in_one_pole: bool = False

    @property
    def known(self) -> bool:
        return all(f.known for f in (self.fault_lowest, self.fault_highest, self.highest_voltage,
                                     self.time_constant)) \
            and self.fault_lowest.number <= self.fault_highest.number

    @property
    def pair(self) -> str:
        names = (self.fuse.name if self.fuse else "no fuse",
                 self.contactor.name if self.contactor else "no contactor")
        return " + ".join(names)

    @property
    def put_forward(self) -> str:
        """What of the pair nobody named, in words; empty where the brief names both."""
        lines = [line for what, line in zip((FUSE, CONTACTOR), self.entries, strict=True)
                 if what in self.unnamed]
        return f"{' and '.join(self.unnamed)} put forward, not named in the brief " \
               f"({' and '.join(lines)})" if lines else ""

    @property
    def pair_open(self) -> str:
        """Why the pair shows nothing: its name, and what of it nobody named; else empty."""
        return f"{self.pair}: {self.put_forward}" if self.unnamed else ""

    @property
    def fuse_open(self) -> str:
        """What is not shown of the fuse that stands in for one nobody named; else empty."""
        return f"{self.put_forward}: the one that is built in may clear at less or at more; name " \
            "the main fuse" if FUSE in self.unnamed else ""


def undervoltage_span(asked: CoordinationAsked) -> tuple[float, float] | None:
    """Fault currents that the undervoltage trip is shown to see and to tell from load, or None.

    From the lowest fault to where the conductors outside keep the cells above the trip's level. A
    loop of its own that keeps them above it leaves those from pole to pole to the trip. From where
    the cells fall by themselves it sees again: `seen_again`. A span without width sees nothing.
    """
    blind = undervoltage_blind_from(asked, asked.fault_drop, asked.fault_falls)
    if blind is None or number(asked.fault_voltage) is None:
        return None
    lowest = number(asked.fault_lowest if sees_every_loop(asked) else asked.path_lowest)
    # Blind from its start it is counted on nowhere, and yet may open too soon.
    return None if lowest is None else (lowest, max(lowest, blind))


def sees_every_loop(asked: CoordinationAsked) -> bool:
    """Whether the undervoltage trip lies above what any lowest fault leaves on its cells."""
    level = number(asked.trips.undervoltage) if asked.trips else None
    fault = number(asked.fault_voltage)
    return level is not None and fault is not None and fault < level


def undervoltage_blind_from(asked: CoordinationAsked, drop: Finding | None,
                            falls: Finding | None) -> float | None:
    """Fault current from which cells may keep more than the level of their trip; None without one.

    Args:
        asked: the path, whose trip must tell a fault from its load.
        drop: resistance outside the modules for each cell that feeds the fault; None where it is
            not known, and the path's own check of that voltage holds.
        falls: current from which these cells fall below the level by themselves, whatever lies
            outside; None where not known.
    """
    level = number(asked.trips.undervoltage) if asked.trips else None
    load, each = number(asked.loaded_voltage), number(drop)
    if level is None or load is None or not level < load:
        return None
    blind = level / each if each else np.inf
    return blind if blind < _border(falls) else np.inf


def seen_again(side: ContactorSide, falls: Finding | None) -> ContactorSide:
    """The cells' trip acts up to where the conductors blind it, and again from `falls` on."""
    border = _border(falls)
    again = tuple(replace(line, from_current=border, to_current=np.inf) for line in side.lines
                  if line.name == UNDERVOLTAGE and line.to_current < border < np.inf)
    return replace(side, lines=(*side.lines, *again))


def _border(falls: Finding | None) -> float:
    known = number(falls)
    return np.inf if known is None else known


def one_pole_sweep(asked: CoordinationAsked, swept: Sweep) -> Sweep | None:
    """The sweep of a loop through one pole alone; None where there is none.

    The cells' undervoltage trip counts there, as it sees the cells that feed the fault; a trip on
    the current may sit in the other pole, so it is not counted on, yet may open too soon.
    """
    low = asked.one_pole_lowest
    if low is None or not low.known or low.number > asked.fault_highest.number:
        return None
    side = swept.contactor
    blind = tuple(line for line in side.lines if line.name != UNDERVOLTAGE)
    # What is left of the voltage is that of this loop, which a module alone may feed.
    end = undervoltage_blind_from(asked, asked.one_pole_drop, asked.one_pole_falls)
    seen = tuple(replace(line, to_current=end) for line in side.lines
                 if line.name == UNDERVOLTAGE and end is not None)[:1]
    later = tuple(replace(line, from_current=end, to_current=np.inf) for line in seen
                  if end is not None and np.isfinite(end))
    alone = seen_again(replace(side, lines=seen, threats=(*side.threats, *blind, *later)),
                       asked.one_pole_falls)
    return replace(sweep(low.number, asked.fault_highest.number, swept.fuse, alone,
                         swept.counted_time), less=swept.less)


def overloaded(asked: CoordinationAsked, swept: Sweep) -> OverloadPath:
    """What an overload is held against, and the path as it meets one.

    An overload is of any current at any temperature: a trip that follows it counts at its highest
    setting. And it leaves the cells' voltage up, as no short does: their trip is not counted on.
    """
    trips = asked.trips or Trips()
    side = seeing(at_highest(swept.contactor, asked.trips), asked.trips, None)
    met = replace(swept, contactor=side)
    return OverloadPath(OverloadAsked(
        trips.overload, trips.overload_delay, asked.continuous_load, asked.peak_load,
        asked.peak_duration, _left_alone(asked, met), asked.cable_current, asked.cable_withstand,
        asked.cable_name, trips.sensor_error, asked.cable_warming, asked.beside,
        _highest_setting(trips, met)), met, asked.pair_open)


def _highest_setting(trips: Trips, met: Sweep) -> Finding | None:
    """Of the quick trip; None where it is not counted on."""
    if not any(line.name == trips.name for line in met.contactor.lines):
        return None
    moving = trips.moving
    return trips.current if moving is None or moving.highest is None else moving.highest


def _left_alone(asked: CoordinationAsked, met: Sweep) -> Finding:
    """Up to where there are overloads: the lowest fault, or what is opened at once above it."""
    lowest, top, trips = asked.fault_lowest, asked.fault_highest, asked.trips
    if trips is None or not (lowest.known and top.known):
        return lowest
    title = "highest current that is left to the slow trip"
    by_fuse = None if met.fuse.reasons else counts_from(met, title)
    by_trip = _with_error(trips, _highest_setting(trips, met), acts_by)
    end = smallest([top, *filter(None, (by_fuse, by_trip))], title)
    return lowest if end.number <= lowest.number else top if end.number >= top.number else end


def trip_checks(asked: CoordinationAsked, swept: Sweep) -> tuple[Check, ...]:
    """A trip must carry every load and still see every fault that is left to it."""
    stage, trips = "who clears", asked.trips
    by_fuse = swept.fuse.low <= asked.fault_lowest.number and not swept.fuse.reasons
    alone = by_fuse and not (asked.fault_lowest.may_be_less or asked.fuse_open)
    if trips is None or (trips.current is None and trips.undervoltage is None
                         and trips.overload is None and trips.moving is None):
        words = ("the fuse alone is shown to open the lowest fault; name the current trip all the "
                 "same" if alone else "name the trip that opens the contactors below the fuse's "
                 "range: current and delay, or undervoltage")
        return (Check("the trip tells a fault from a load", stage, NOT_EVALUATED, reason=words),)
    checks = []
    if trips.current is not None or trips.moving is not None:
        least = trips.moving.at_load if trips.moving is not None else trips.current
        gap = trips.moving.gap if trips.moving is not None and least is None else ""
        checks.append(judge("the current trip stays quiet at the peak load", stage,
                            _with_error(trips, least, acts_from),
                            "above", asked.peak_load, missing=gap or "peak load is not known",
                            remedy="a higher trip, or one that falls with temperature"))
    if trips.moving is not None and trips.moving.cold:
        checks.append(Check("the current trip stays quiet in the cold", stage, NOT_EVALUATED,
                            trips.moving.least, reason=trips.moving.cold,
                            remedy="the management system's limit of power against temperature"))
    told = _sees_lowest(asked, swept, by_fuse)
    checks.append(told)
    if trips.moving is not None and told.title != FOLLOWS:
        checks.append(_beside_others(follows(trips), told))
    if trips.undervoltage is not None:
        checks += _undervoltage_checks(asked, trips)
    return tuple(checks)


def _with_error(trips: Trips, setting: Finding | None, law: Callable[..., Any]) -> Finding | None:
    """A quick trip's setting with the sensor's error; as set where nobody stated the error."""
    if setting is None or trips.sensor_error is None:
        return setting
    return trace(law, trip=setting, deviation=trips.sensor_error)


def _beside_others(check: Check, told: Check) -> Check:
    """A current trip that misses a fault which the fuse or the cells' trip is shown to see."""
    return check if check.verdict != FAIL or told.verdict != PASS else replace(
        check, verdict=CAUTION, reason=f"{check.reason}; another device sees the lowest fault")


def follows(trips: Trips) -> Check:
    """A trip that follows the cells' temperature, where it is nearest to missing a fault."""
    title, stage, moving = FOLLOWS, "who clears", trips.moving
    assert moving is not None
    remedy = "points closer together, or lower ones; or an undervoltage trip, by name"
    if moving.gap:
        return Check(title, stage, NOT_EVALUATED, reason=moving.gap,
                     remedy="points from the coldest cells at which the contactors close to the "
                            "hottest")
    return judge(title, stage, _with_error(trips, moving.setting, acts_by), "at most",
                 moving.fault, missing="no lowest fault of the main path is known",
                 reason=f"{moving.where}; {READS}", remedy=remedy)


def _sees_lowest(asked: CoordinationAsked, swept: Sweep, by_fuse: bool) -> Check:
    title, stage, trips = "the trip tells a fault from a load", "who clears", asked.trips
    assert trips is not None
    if by_fuse:
        held = judge(title, stage, counts_from(swept, "current from which the fuse counts"),
                     "at most", asked.fault_lowest,
                     reason="the fuse alone opens the lowest fault; no trip is needed for it")
        return on_an_open_entry(held, asked.fuse_open) if asked.fuse_open else held
    span = undervoltage_span(asked)
    if sees_every_loop(asked) and span is not None and span[0] < span[1]:
        held = judge(title, stage, trips.undervoltage, "above", asked.fault_voltage,
                     reason="by the undervoltage of the cells that feed the fault: the level lies "
                            "over what is left on them, and under the lowest voltage under load")
        assert trips.undervoltage is not None
        doubt = asked.cells_left.doubt(trips.undervoltage) if asked.cells_left else ""
        held = on_an_open_entry(held, doubt) if doubt else held
        less = asked.loaded_voltage.may_be_less if asked.loaded_voltage else ""
        return on_an_open_entry(held, f"the lowest voltage under load may be less: {less}") \
            if less else held
    if trips.moving is not None:
        return follows(trips)
    remedy = ("a current limit that falls with the cells' temperature, or an undervoltage trip, "
              "each by name")
    if asked.peak_load.known and asked.fault_lowest.number <= asked.peak_load.number \
            and not trips.falls_in_the_cold:
        return Check(title, stage, FAIL, asked.fault_lowest, asked.peak_load, "above",
                     "the smallest fault is no larger than the largest load: one fixed current "
                     "cannot tell them apart", remedy)
    check = judge(title, stage, _with_error(trips, trips.current, acts_by), "at most",
                  asked.fault_lowest,
                  missing="the trip's current is not known",
                  reason="the smallest fault must reach the trip", remedy=remedy)
    if check.verdict == FAIL and trips.falls_in_the_cold:
        return Check(title, stage, CAUTION, check.figure, asked.fault_lowest, "at most",
                     "the limit is said to fall in the cold: prove it at the coldest cells",
                     remedy)
    if check.verdict == PASS and asked.lowest_in_one_pole:
        return replace(check, verdict=CAUTION, reason=f"{check.reason}, and it passes one pole "
                       "alone: this trip sees it only with its sensor in that pole",
                       remedy="an undervoltage trip on the cells, by name")
    return check


def _undervoltage_checks(asked: CoordinationAsked, trips: Trips) -> list[Check]:
    stage, level, left = "who clears", trips.undervoltage, asked.cells_left
    if left is None and asked.fault_voltage is not None:
        left = CellsLeft(asked.fault_voltage)
    missing = ("the voltage left on the cells at the lowest fault is not known: it needs the "
               "resistance outside the modules")
    return [
        _quiet_under_load(asked, level),
        Check(SEES, stage, NOT_EVALUATED, level, reason=missing) if left is None else sees_faults(
            SEES, level, left, missing=missing, remedy="a higher level; every cell read by "
            "itself, not the pack's whole voltage"),
    ]


def _quiet_under_load(asked: CoordinationAsked, level: Finding | None) -> Check:
    title, stage, loaded = "the undervoltage trip stays quiet under load", "who clears", \
        asked.loaded_voltage
    if loaded is not None and not loaded.known:
        return Check(title, stage, FAIL, level, None, "below", f"{NO_SOLUTION}: the voltage falls "
                     "until the trip opens the contactors, and no level lies under the load's",
                     "warmer or fuller cells, less power, more modules in parallel")
    return judge(title, stage, level, "below", loaded,
                 missing="lowest voltage under load is not known", remedy="a lower level")


def overload_check(asked: CoordinationAsked, path: OverloadPath) -> Check:
    """Overload of the cable: never by a fuse that may melt where it does not break.

    A fuse must meet two conditions, In ≤ Iz and I2 ≤ 1.45·Iz; the second is held with the fuse.

    Args:
        asked: the path with the cable that is asked for.
        path: as an overload meets it, see `overloaded`; of whichever cable.
    """
    title, stage, limit = f"ends an overload of {asked.cable_name}", "who clears", \
        asked.cable_current
    if limit is None or not limit.known:
        return Check(title, stage, NOT_EVALUATED, reason="the cable's current is not known")
    by_trip = ends_overload(path, limit, asked.cable_name)
    if by_trip is not None and by_trip.verdict == PASS:
        return replace(by_trip, reason=f"{by_trip.reason}; not by the fuse: whether In ≤ Iz and "
                       "I2 ≤ 1.45·Iz hold is said there")
    within, left = _by_fuse(asked, limit)
    if left and by_trip is not None and by_trip.verdict == FAIL:
        return by_trip
    by_others = "" if by_trip is None else f"; the overload trip does not: {by_trip.sentence}"
    if within is not None and (within.verdict == FAIL or not left):
        held = replace(within, title=title, reason=f"{within.reason}{by_others}")
        return held if within.verdict != PASS else replace(
            held, verdict=CAUTION, reason=f"{within.reason}; I2 ≤ 1.45·Iz is not shown here: it is "
            f"held with the fuse, whose maker states the conventional fusing current{by_others}")
    return by_trip if by_trip is not None else Check(
        title, stage, NOT_EVALUATED, None, limit, "at most", f"{left}; {needs_trip(limit)}",
        "an overload trip, by name")


def _by_fuse(asked: CoordinationAsked, limit: Finding) -> tuple[Check | None, str]:
    """(In ≤ Iz, why the fuse ends no overload all the same); None where In is not known."""
    part = asked.fuse
    if part is None:
        return None, "the fuse's class is not given"
    rated, volts = part.rated_current, voltage_reason(part, asked.highest_voltage)
    left = left_unbroken(part, rated) or volts and f"not shown to break one: {volts}"
    if rated is None:
        return None, f"{part.name}: {left or 'its rated current is not known'}"
    why = f"{part.name}: {left}" if left else ""
    return judge("", "who clears", rated, "at most", limit,
                 reason=f"In ≤ Iz by {why or f'{part.name}, full range'}",
                 remedy="a larger cable, a smaller fuse, or a named overload trip"), why


def counts_from(swept: Sweep, title: str) -> Finding:
    """The lower end of the fuse, traced to what sets it."""
    return lower_end(swept.fuse, swept.counted_time, title)
