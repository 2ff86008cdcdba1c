"""Table of limits of the management system: warn, trip and delay of each quantity.

Currents follow from the duties: the load plus the sensor's error is the lowest setting, the
lowest fault less that error the highest.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from packcalc.brief import Brief
from packcalc.checks import Check, Requirement
from packcalc.electrical import series_voltage, with_tolerance
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace, with_more
from packcalc.layout_findings import told_by
from packcalc.monitoring import (
    cell_share, outlasting, rounded_down, rounded_up, sensor_deviation, trip_highest, trip_lowest,
)
from packcalc.pack import PackModel
from packcalc.pack_charging import by_cell, by_temperature, charge_limits
from packcalc.part_checks.cells_left import CellsLeft
from packcalc.value import value_object

RULE = Origin("rule")
WARN_BELOW_LIMIT = 5.0  # K; our rule
OVERSHOOT = leaf("overshoot that a full cell may see", "Δ", "%", 0.01, "assumed",
                 source="packcalc-rule", origin=RULE,
                 note="our rule; the cell's maker states an absolute maximum: ask for it")
BEYOND_PEAK = leaf("time by which a slow trip outlasts the longest peak", "Δt", "s", 1.0,
                   "assumed", source="packcalc-rule", origin=RULE,
                   note="our rule: the peak ends before the delay does")
COUNTED_TIME = leaf("time within which a fault must be opened to be counted on", "t", "s", 1.0,
                    "assumed", source="packcalc-rule", origin=RULE,
                    note="a hard-shorted lithium cell is not voltage over resistance for longer")

OVERLOAD_LIMIT = "discharge current, overload"
STRING_LIMIT = "each string's own current, either direction"
_FOLLOWS = ("open contactors, only within what they can break; it follows the cells' temperature, "
            "{points}, and its highest setting is shown here: each is held against the lowest "
            "fault of its own temperature")
CLOSING_COLD = "cell temperature, low, contactors closed"
CLOSING_LOW = "charge, low, contactors closed"
NO_SETTING = "no setting serves both"
RANGE_OPEN = ("the range of the current sensor is left open and counted as the least that it must "
              "tell apart; its error is of that range")
NEVER_ABOVE = "never above the cells' charge limit by temperature: see what is open"


def nobody_shown(below: float) -> str:
    """No fault place was asked."""
    return ""


@value_object
class ManagementAsked:
    """What the specification stands on.

    Attributes:
        brief, pack: what is asked, and the layout.
        fault_lowest: of the fault range; fault_highest: from pole to pole, every source.
        takeover: current from which the fuse opens within the counted time; may lack a value.
        fault_cell: voltage left on the cells by the faults that their trip is to see; None counts
            the lowest fault, and the whole pack as feeding it.
        cable_current: what the traction cables carry for ever; None where not known.
        no_contactor: whether the lowest fault is one of a loop without a contactor.
        settings: of a current trip that follows the cells' temperature: the lowest at full power,
            and the one that counts against the lowest fault; None of one that does not.
        follows: the same trip held against the lowest faults.
        opened: who opens every fault that can be smaller than a current, in words, without a trip
            on that current; "" where nobody is shown to.
        fuse_open: what is not shown of the main fuse that nobody named; else empty.
    """

    brief: Brief
    pack: PackModel
    fault_lowest: Finding
    fault_highest: Finding
    takeover: Finding
    fault_cell: CellsLeft | None = None
    cable_current: Finding | None = None
    no_contactor: bool = False
    opened: Callable[[float], str] = nobody_shown
    settings: tuple[Finding, Finding] | None = None
    follows: Check | None = None
    fuse_open: str = ""

    @property
    def cells(self) -> int:
        """Cells in series of the whole string."""
        return sum(part.series * self.brief.modules[part.entry].module.series
                   for part in self.pack.layout.parts)

    @property
    def module_cells(self) -> tuple[int, ...]:
        """Cells in series of each module along one string, from the negative end."""
        return tuple(self.brief.modules[part.entry].module.series
                     for part in self.pack.layout.parts for _ in range(part.series))


@value_object
class Limit:
    """One line of the table of limits.

    Attributes:
        quantity: what is watched.
        warn, trip, delay: as specified; None where the user must say.
        setting: what the management system is set to, None where nobody said.
        action: what happens at the trip.
        unsettled: both ends of the settings, in words, where none serves both; else empty.
    """

    quantity: str
    warn: Finding | None
    trip: Finding | None
    delay: Finding | None
    setting: Finding | None
    action: str
    unsettled: str = ""


def tolerance_open(brief: Brief) -> str:
    """What is counted for a charger's tolerance that nobody told; empty where it is told."""
    tolerance = brief.charger.tolerance
    return f"{told_by(tolerance)}the charger's tolerance is left open and counted as " \
        f"{tolerance.shown}, our assumption, and may be more" \
        if brief.left_open("charger.tolerance") else ""


def _charged(brief: Brief, full: Finding) -> Finding:
    return trace(with_tolerance, "cell voltage at the charger's upper tolerance", symbol="u_ch",
                 voltage=full, tolerance=brief.charger.tolerance)


def _overshot(full: Finding) -> Finding:
    return trace(with_tolerance, "highest voltage that a full cell may see", symbol="u_max",
                 voltage=full, tolerance=OVERSHOOT)


def highest_cell_trip(brief: Brief, full: Finding) -> Finding:
    """The stricter of where the charger may end and what a full cell may see.

    A close charger leaves less: of an open tolerance none is counted.

    Args:
        full: voltage of one full cell.
    """
    ends = full if tolerance_open(brief) else _charged(brief, full)
    return smallest([ends, _overshot(full)], "highest over-voltage trip of one cell",
                    "below where the charger may end it trips in every charge; higher overcharges")


def cell_limits(asked: ManagementAsked) -> dict[str, Finding]:
    """The tightest limits over the module types of the string."""
    modules = [asked.brief.modules[p.entry].module for p in asked.pack.layout.parts]
    full = smallest([m.full_voltage for m in modules], "full voltage of one cell")
    ended, limit = _charged(asked.brief, full), _overshot(full)
    open_ = tolerance_open(asked.brief)
    return {
        "full": full,
        "charger": with_more(ended, open_),
        "ended": with_more(smallest([ended, trace(
            cell_share, "mean voltage of one cell when charging ends, charger's upper tolerance",
            voltage=asked.pack.full_voltage, cells=leaf(
                "cells in series", "n", "", asked.cells, "definition", origin=Origin("layout")))],
            "cell voltage at the end of charging, charger's upper tolerance"), open_),
        "limit": limit,
        "over": highest_cell_trip(asked.brief, full),
        "empty": largest([m.empty_voltage for m in modules], "empty voltage of one cell"),
        "under": largest([m.cell.figure("absolute_min_voltage", "lowest voltage of the class",
                                        "u_min", "V") for m in modules],
                         "lowest under-voltage trip of one cell"),
        "hot": smallest([m.temperature_max for m in modules], "hottest cell allowed"),
    }


def charge_floor(asked: ManagementAsked) -> Finding:
    """Below this cell temperature nothing is charged."""
    found = []
    for part in asked.pack.layout.parts:
        cell = asked.brief.modules[part.entry].module.cell
        bands = [b for b in cell.charge_bands if b.rate is None or b.rate > 0]
        found.append(leaf("coldest cell that may be charged", "θ_ch", "°C",
                          min(b.above for b in bands), "assumed", source=cell.source,
                          origin=Origin(f"class {cell.chemistry}", key="charge_bands")))
    return largest(found, "coldest cell that may be charged")


def charge_bands(asked: ManagementAsked) -> str:
    """What a charging current may be set to, by the cells' temperature, in words."""
    limits = charge_limits(asked.brief, asked.pack.layout, beyond=True)
    cold, hot = by_cell(limits)
    off = trace(sensor_deviation, error=asked.brief.management.current_sensor_error,
                full_range=reach(asked))
    words = f"set at most {by_temperature(limits)}, less the sensor's error of {off.shown}"
    some = (limit.number for _, limit in hot if limit.number)
    if min(*(limit.number for _, limit in cold), *some, math.inf) <= off.number:
        words += ", which hides the smaller of them: a finer sensor for it"
    return words


def _counted_within(delay: Finding, title: str) -> Finding:
    """The delay that clearing relies on: the given one, and never more than is counted on."""
    return smallest([delay, COUNTED_TIME], title) if delay.known else COUNTED_TIME


def fault_delay(brief: Brief) -> Finding:
    """Of the quick trip, until the contactor has opened."""
    return _counted_within(brief.management.trip_delay,
                           "longest delay of the over-current trip, until it has opened")


def _undervoltage(asked: ManagementAsked, least: Finding) -> tuple[Finding, Finding]:
    """(trip, delay): where clearing a fault relies on this trip, the setting that it relies on."""
    own = asked.brief.management
    trip = largest([least, own.undervoltage_trip], "lowest under-voltage trip of one cell",
                   "a fault is counted as opened by this setting") \
        if own.undervoltage_trip.known else least
    return trip, _counted_within(own.voltage_delay, "longest delay of the under-voltage trip")


def string_alone(asked: ManagementAsked) -> bool:
    """Whether one string may carry all the current, the others being out."""
    return asked.pack.layout.arrangement == "strings"


def modules_current(asked: ManagementAsked) -> Finding:
    """What the modules carry for ever: all in parallel, or one string where strings may be out."""
    pack = asked.pack
    alone = string_alone(asked)
    paths = leaf("strings in", "P", "", 1, "definition", origin=Origin("layout"),
                 note="a string may be alone in") if alone else pack.parallel
    title = "continuous current of one string, alone in" if alone \
        else "continuous current of the modules"
    if not pack.module_continuous_limit.known:
        return pack.module_continuous_limit.called(title)
    return trace(series_voltage, title, symbol="I", unit="A", series=paths,
                 module_voltage=pack.module_continuous_limit)


@value_object
class Window:
    """Settings of a current trip that leave the load alone and hold what lies in its way.

    Attributes:
        least: that leaves the load alone, the sensor's error on top; None where it is not known.
        most: that holds cells, cables or the lowest fault, the error taken off; None where
            nothing is known to ask it.
        holders: what asks the highest setting, in words.
    """

    least: Finding | None
    most: Finding | None
    holders: str

    @property
    def serves_both(self) -> bool:
        return self.least is None or self.most is None or self.least.number <= self.most.number

    @property
    def setting(self) -> Finding | None:
        """What is sent; None where no setting serves both: each would fail for one side."""
        return self.least if self.serves_both else None

    @property
    def unsettled(self) -> str:
        """Both ends in words where no setting serves both; else empty."""
        return "" if self.serves_both else self.words

    @property
    def words(self) -> str:
        """For a sheet of requests."""
        least, most = self.least, self.most
        if least is None:
            return "not known: the load is open" if most is None else f"at most {most.shown}"
        if most is None:
            return f"at least {least.shown}"
        if self.serves_both:
            return f"at least {least.shown} and at most {most.shown}"
        # a figure sent here would fail for one side: none is
        return f"{NO_SETTING}: {self.told}"

    @property
    def told(self) -> str:
        """Who asks for what where no setting serves both."""
        assert self.least is not None and self.most is not None
        return (f"at most {self.most.shown} for {self.holders}, at least {self.least.shown} for "
                "the load")


def overload_window(asked: ManagementAsked, *, cables: bool = True) -> Window:
    """Of the slow trip: above the steady load, below what modules and cables carry for ever."""
    return _window(asked, _either_way(asked.pack.continuous_current, asked.pack.charging_current,
                                      "continuous load"), "steady load",
                   (modules_current(asked), asked.cable_current if cables else None),
                   "cells (one string alone in) and cables" if string_alone(asked)
                   else "cells and cables")


def _either_way(one: Finding, other: Finding, title: str) -> Finding:
    """The larger of two directions: a trip on the current's size leaves neither out."""
    return largest([one, other], title) if one.known and other.known \
        and other.number > one.number else one


def fault_window(asked: ManagementAsked) -> Window:
    """Of the quick trip: above the peak load, below the lowest fault."""
    load = _either_way(asked.pack.peak_current, asked.pack.regeneration_current, "largest load")
    return Window(_lowest_setting(asked, load, "discharging"),
                  _highest_setting(asked), "the lowest fault")


def _window(asked: ManagementAsked, load: Finding, name: str,
            holders: tuple[Finding | None, ...], named: str = "cells and cables") -> Window:
    """Settings that leave a load alone and exceed none of the currents that are known to hold."""
    known = [h for h in holders if h and h.known]
    most = as_printed(
        rounded_down, f"highest setting of the trip for cells and cables, {name}", trace(
            trip_lowest, f"what cells and cables bear less the sensor's error, {name}",
            trip=smallest(known, f"least that cells and cables bear, {name}"),
            error=asked.brief.management.current_sensor_error, full_range=reach(asked)),
        "what they bear less the sensor's error") if known else None
    return Window(_lowest_setting(asked, load, name), most, named)


def _closes(window: Window, less: str) -> str:
    """What would close a window in which no setting serves both, for the line of its trip.

    Args:
        window: of the trip.
        less: what the load may give up.
    """
    return "" if window.serves_both else (
        f"; {window.unsettled}: {less}, a finer sensor or more in parallel first")


def trip_lines(asked: ManagementAsked) -> tuple[Requirement, ...]:
    """Both current trips as they are asked for beside fuse and contactor."""
    off = trace(sensor_deviation, error=asked.brief.management.current_sensor_error,
                full_range=reach(asked))
    counted_in = f"the sensor's error of {off.shown} is counted"
    return (
        Requirement("trip: current, delay, name", f"{_fault_words(asked)}; has opened within "
                    f"{fault_delay(asked.brief).shown}",
                    f"a trip must tell a fault from a load; {counted_in}"),
        Requirement("overload trip: current, delay, name", f"{overload_window(asked).words}; after "
                    f"{_overload_delay(asked.brief).shown}",
                    "ends what the load never asks for and the fuse is not shown to open, before "
                    f"cells or cables overheat; {counted_in}"))


def _fault_words(asked: ManagementAsked) -> str:
    """Of one that follows the cells' temperature each end holds at temperatures of its own."""
    window, points = fault_window(asked), asked.brief.management.trip_current_at
    less = asked.fault_lowest.may_be_less
    less = f"; the lowest fault may be less: {less}" if less else ""
    if not points:
        return f"{window.words}{less}"
    least = "" if window.least is None else (
        f"at least {window.least.shown} wherever full power may be asked; ")
    most = "" if window.most is None else f" ({window.most.shown} at the coldest cells)"
    return (f"{least}at most the lowest fault of each temperature less the sensor's error{most}; "
            f"the brief counts on {points}{less}")


def _best_charge(asked: ManagementAsked) -> Finding:
    return largest([limit for _, limit in charge_limits(asked.brief, asked.pack.layout)],
                   "cells' best charge limit")


def limits_of(asked: ManagementAsked) -> tuple[Limit, ...]:
    brief, pack, cell = asked.brief, asked.pack, cell_limits(asked)
    own = brief.management
    warm = leaf("hot warning", "θ_w", "°C", cell["hot"].number - WARN_BELOW_LIMIT, "assumed",
                source="packcalc-rule", origin=RULE, note="5 K below the limit (our rule)")
    delay = leaf("longest delay", "t", "s", 1.0, "assumed", source="packcalc-rule", origin=RULE,
                 note="our rule: long enough for no noise, short against heating")
    trip = own.trip_current if own.trip_current.known else None
    best = _best_charge(asked)
    braking, charging = (_window(asked, current, name, (best,), "the cells' best charge limit")
                         for current, name in ((pack.regeneration_current, "braking"),
                                               (pack.charging_current, "charging")))
    return (
        Limit("cell voltage, high", cell["full"], cell["over"], delay,
              where_known(own.overvoltage_trip),
              "stop charger and braking, then open contactors"),
        Limit("cell voltage, low, loaded", cell["empty"], *_undervoltage(asked, cell["under"]),
              where_known(own.undervoltage_trip),
              "cut power first, then open contactors; also tells a cold fault from a load when "
              "its delay is short"),
        Limit("cell temperature, high", warm, cell["hot"], delay,
              where_known(own.overtemperature_trip),
              "cut power and charging; open contactors at the trip; warn the occupants"),
        Limit("cell temperature, low, charging", None, charge_floor(asked), delay, None,
              "no charging, no braking into the pack"),
        *_closing_limits(brief),
        *_discharge_limits(asked, trip), *_string_limit(asked),
        Limit("braking current into the pack", where_known(pack.regeneration_current),
              braking.setting,
              largest([delay, brief.regeneration.duration], "longer than the braking pulse"), None,
              f"cut braking to the cells' charge limit, then open contactors; {NEVER_ABOVE}"
              + _none_while_joining(asked) + _closes(braking, "less braking power"),
              braking.unsettled),
        Limit("charging current, charger", where_known(pack.charging_current),
              charging.setting, COUNTED_TIME, None,
              _end_of_charging(asked) + _none_while_joining(asked)
              + _closes(charging, "a smaller charging current"),
              charging.unsettled),
        Limit("isolation reading", None, None, None, where_known(own.isolation_warn),
              "as the isolation section asks"),
    )


def _closing_limits(brief: Brief) -> tuple[Limit, Limit]:
    """Colder or emptier cells feed a smaller fault than any that is counted."""
    battery = brief.battery
    cold, low = battery.coldest_closed, battery.charge_lowest
    return (
        Limit(CLOSING_COLD, None, cold, None, _as_set(brief, cold), "no contactor closes below "
              "it, the reading's error on top; there while closed: cut power, then open. Lowest "
              "faults are counted from here"),
        Limit(CLOSING_LOW, None, low, None, _as_set(brief, low), "the same; by the weakest "
              "cell's rest voltage where the charge is not known"))


def closing_bar(brief: Brief) -> str:
    """Below what the contactors stay open, in words."""
    return f"{brief.battery.coldest_closed.shown} of the coldest cell and " \
           f"{brief.battery.charge_lowest.shown} charge"


def _as_set(brief: Brief, counted_on: Finding) -> Finding | None:
    """An entry of [battery] as the setting that it states; None where it is left open."""
    origin = counted_on.origin
    return None if origin is None or brief.left_open(origin.key) else counted_on


def _end_of_charging(asked: ManagementAsked) -> str:
    between = "" if asked.brief.path.charge_contactor == "none" else "the charge contactor, then "
    whose = "string" if asked.pack.layout.in_strings else "main"
    return f"stop the charger, then open {between}the {whose} contactors; {NEVER_ABOVE}"


def _none_while_joining(asked: ManagementAsked) -> str:
    """The joining current takes up the receiving string's charge limit by itself."""
    return "; none from the joining of a string until the strings are even" \
        if asked.pack.layout.in_strings else ""


def _discharge_limits(asked: ManagementAsked, trip: Finding | None) -> tuple[Limit, Limit]:
    """Over-current from the duties: a slow limit above the steady load, a quick one above peak."""
    brief, pack = asked.brief, asked.pack
    own = brief.management
    slow = overload_window(asked)
    quick = fault_window(asked)
    return (
        Limit(OVERLOAD_LIMIT, where_known(pack.continuous_current),
              slow.setting, _overload_delay(brief),
              where_known(own.overload_trip), "cut power first, then open contactors; with a "
              "partial-range fuse nobody else ends an overload"
              + _closes(slow, "less continuous power"), slow.unsettled),
        Limit("discharge current, fault", where_known(pack.peak_current),
              trip if own.trip_points else quick.least, fault_delay(brief), trip,
              _FOLLOWS.format(points=own.trip_current_at)
              if own.trip_points else f"open contactors, only within what they can break; set "
              f"between {quick.least.shown} and {asked.fault_lowest.most}{quick.most.shown}"
              if quick.least is not None and quick.most is not None and quick.serves_both else
              "no fixed current tells the lowest fault from the load: a limit that falls with "
              "temperature and charge, or the under-voltage trip, opens the contactors"),
    )


def _string_limit(asked: ManagementAsked) -> tuple[Limit, ...]:
    """The trip on each string's own current, with a sensor of its own; none without strings."""
    own = asked.brief.strings
    if not string_alone(asked):
        return ()
    trip = where_known(own.trip_current)
    delay = _counted_within(own.trip_delay, "longest delay of a string's own trip")
    sensor = own.sensor_range.shown if own.sensor_range.known else "not known"
    return (Limit(STRING_LIMIT, None, trip, delay, trip,
                  "open that string's contactors, only within what they can break; a sensor of its "
                  f"own in each string, range {sensor}: see who clears inside a string",
                  "" if trip else "none is set: see who clears inside a string"),)


def _overload_delay(brief: Brief) -> Finding:
    """As set where that outlasts the peak, else the least that does: a delay must be the longer."""
    own, peak = brief.management.overload_delay, brief.power.peak_duration
    if own.known and (not peak.known or own.number > peak.number):
        return own
    return trace(outlasting, time=peak, more=BEYOND_PEAK)


def _lowest_setting(asked: ManagementAsked, load: Finding, name: str) -> Finding | None:
    """Least setting that leaves a load alone at the sensor's error."""
    if not load.known:
        return None
    return as_printed(rounded_up, f"lowest setting of the trip, {name}", trace(
        trip_highest, f"load and sensor's error, {name}", trip=load,
        error=asked.brief.management.current_sensor_error, full_range=reach(asked)),
        "the load plus the sensor's error")


def as_printed(law: Callable[..., Any], title: str, current: Finding, note: str = "") -> Finding:
    """A setting of four digits, so that what is printed is what passes when it is entered."""
    size = current.number if current.number > 0 else 1.0
    step = leaf("one in the fourth digit", "d", "A", 10.0 ** (math.floor(math.log10(size)) - 3),
                "definition", origin=RULE)
    return trace(law, title, current=current, step=step, note=note)


def _highest_setting(asked: ManagementAsked) -> Finding:
    """Highest setting that surely sees the lowest fault at the sensor's error."""
    return as_printed(rounded_down, "highest setting of the trip, discharging", trace(
        trip_lowest, "lowest fault less sensor's error", trip=asked.fault_lowest,
        error=asked.brief.management.current_sensor_error, full_range=reach(asked)),
        "the lowest fault less the sensor's error")


def range_needed(asked: ManagementAsked) -> Finding:
    """Least range of the current sensor: load, take-over of the fuse, and each trip as it errs."""
    own, quick = asked.brief.management, fault_window(asked)
    off = {"error": own.current_sensor_error, "full_range": reach(asked)}
    wanted = [asked.takeover, asked.pack.peak_current,
              *(trace(trip_highest, title, trip=trip, **off) for title, trip in (
                  ("highest current of the trip as it is asked", quick.least),
                  ("highest current of the trip as it is set", own.trip_current))
                if trip is not None and trip.known)]
    return with_more(largest([f for f in wanted if f.known], "highest current to be told apart"),
                     asked.fuse_open or ("" if asked.takeover.known else asked.takeover.note
                                         or "the current at which the fuse takes over"))


def reach(asked: ManagementAsked) -> Finding:
    """Range of the current sensor: as given, else the least that it must tell apart."""
    own = asked.brief.management.current_sensor_range
    wanted = (asked.takeover, asked.pack.peak_current, asked.fault_lowest)
    return own if own.known else with_more(
        largest([f for f in wanted if f.known], "least range of the current sensor"), RANGE_OPEN)


def where_known(finding: Finding) -> Finding | None:
    return finding if finding.known else None
