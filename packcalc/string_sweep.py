"""One string against all the others, over the whole range of what they can feed into it.

The pack's own current sensor does not see a fault inside a string: only the string's fuse,
and a trip on the string's own current, can end it.
"""

from __future__ import annotations

from collections.abc import Iterable

from packcalc.brief import Brief
from packcalc.clearing import path_conductors
from packcalc.checks import Check, Requirement, judge
from packcalc.feeds import Feeds
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace
from packcalc.monitoring import acts_by, sensor_deviation
from packcalc.part_checks.fuse import breaking_check
from packcalc.part_checks.links_beside import Beside
from packcalc.part_checks.shown import rounded
from packcalc.part_checks.sweep import Trips, fuse_side
from packcalc.parts import CONTACTOR, FUSE
from packcalc.protect.coordination import (
    Coordination, coordinate, not_by_the_unnamed, own_trip_line, with_trips,
)
from packcalc.protect.places import Loop
from packcalc.protect.strings import string_duty
from packcalc.side_circuits import shortest_delay, string_fuse_asked, strings_asked
from packcalc.value import replace

WHOLE = leaf("share of the current in one string", "p", "%", 1.0, "definition",
             origin=Origin("rule"))
STRING_FUSE = "string fuse"  # as a link of the main path is named
KEY = "string_coordination"
EVERY = "string fuse breaks every source of its worst fault place"
TITLE = "Who clears inside a string, over the whole range the others can feed"
UNSEEN = ("The current sensor of the main path does not carry what one string feeds into another: "
          "no trip of the pack is counted on here, only one on the string's own current "
          "(strings.trip_current with strings.trip_delay).")
REACHES = "string's current sensor reaches its trip"
CABLES = "cables inside the string"  # where there are any they are held with links and modules
AS_MAIN = "The notes of the sweep of the main path hold here as well."


def string_coordination(feeds: Feeds, main: Coordination,
                        loops: Iterable[Loop]) -> Coordination | None:
    """String fuse and string contactor over the range of a fault inside a string.

    Args:
        feeds: every source of the layout.
        main: the main path as held, for what both have in common.
        loops: every fault place, for the longest time constant of a string's fuse.

    Returns:
        None where no strings are paralleled.
    """
    places = tuple(loops)
    fused, brief = string_fuse_asked(feeds, places), feeds.brief
    asked = strings_asked(feeds, places)
    if asked is None or fused is None:
        return None
    duty, names, listed = string_duty(asked), brief.parts, brief.parts.list
    conductors = tuple(replace(one, most=None) for one in path_conductors(
        brief, feeds.pack, duty.breaking))
    held = coordinate(replace(
        main.asked, fault_lowest=duty.lowest, fault_highest=duty.breaking,
        time_constant=fused.time_constant_highest,
        peak_load=largest([duty.peak, duty.braking], "largest load of a string"),
        continuous_load=largest([duty.continuous, duty.charging], "continuous load of a string"),
        cable_withstand=None, cable_current=None, cable_name=CABLES,
        conductors=conductors, trips=string_trips(brief),
        beside=_between_modules(main, brief, fused.time_constant_highest),
        fuse=listed.part(FUSE, names.string_fuse) if names.string_fuse else None,
        contactor=listed.part(CONTACTOR, names.string_contactor)
        if names.string_contactor else None, loaded_voltage=None, fault_voltage=None,
        fault_drop=None, fault_falls=None, one_pole_drop=None, one_pole_falls=None,
        lowest_in_one_pole=False, entries=("parts.string_fuse", "parts.string_contactor"),
        path_lowest=None, one_pole_lowest=None, fuse_alone_lowest=None),
        listed.fuses, listed.contactors)
    held = with_trips(held, (own_trip_line(held.asked), *_sensor_line(held.asked.trips)))
    return replace(held, item=replace(
        held.item, key=KEY, title=TITLE, notes=(UNSEEN, AS_MAIN),
        checks=(*_breaks_all(held, asked.fuse_breaks), *_reaches(feeds, held.asked.trips),
                *_overloads(main),
                *(c for c in held.item.checks if not c.title.startswith(f"{CABLES} survives")))))


def _between_modules(main: Coordination, brief: Brief, constant: Finding) -> tuple[Beside, ...]:
    """Fuses between the modules of a string: what the others feed into one passes them as well.

    Beside the string fuse they may melt before it has cleared; a main fuse may stand there alone.
    """
    asked = main.asked
    named = [(link.name, link.fuse.part) for link in asked.beside if link.name != STRING_FUSE]
    if brief.path.main_fuse == "mid-pack" and not brief.parts.mid_fuse:
        named.append(("main fuse between the modules", asked.fuse))
    return tuple(Beside(name, fuse_side(part, asked.highest_voltage, constant,
                                        asked.counted_time.number), WHOLE, in_string=True)
                 for name, part in named)


def _overloads(main: Coordination) -> tuple[Check, ...]:
    """The pack's overload in the fuses that stand in each string: its trips see that one."""
    path = main.overload
    return () if path is None else not_by_the_unnamed(main.asked, tuple(
        check for link, check in zip(main.asked.beside, path.further, strict=True)
        if link.in_string))


def _breaks_all(held: Coordination, every: Finding) -> tuple[Check, ...]:
    """The sweep ends at what the other strings give alone: the bus adds to each of its currents."""
    fuse = held.asked.fuse
    return () if fuse is None else not_by_the_unnamed(held.asked, (breaking_check(
        fuse, held.asked.highest_voltage, every, EVERY,
        "the sweep counts what the other strings give alone"),))


def string_trips(brief: Brief) -> Trips | None:
    """The trip on a string's own current; None where the brief names none."""
    own, name = brief.strings, "over-current trip on the string's own current"
    blocked = brief.management.trip_blocked_above
    if not own.trip_current.known:  # of which the delay alone is told is there too
        return None if not own.trip_delay.known else Trips(
            name, delay=own.trip_delay, to_opened=True,
            blocked_above=blocked if blocked.known else None, opens_within=_opens_within(brief),
            delay_entry="strings.trip_delay")
    whole, reach = brief.management.current_sensor_range, own.sensor_range
    wide = whole.known and whole.number > own.trip_current.number
    note = "" if reach.known else (
        "the range of a string's own sensor is open (strings.sensor_range): "
        + ("that of the pack's is counted, which errs high" if wide
           else "of the setting at least"))
    return Trips(name=name, current=own.trip_current,
                 delay=own.trip_delay if own.trip_delay.known else None, to_opened=True,
                 blocked_above=blocked if blocked.known else None,
                 sensor_error=trace(sensor_deviation, "deviation of a string's current sensor",
                                    error=brief.management.current_sensor_error,
                                    full_range=reach if reach.known else whole if wide
                                    else own.trip_current, note=note),
                 sensor_range=reach if reach.known else None,
                 opens_within=_opens_within(brief), delay_entry="strings.trip_delay")


def _opens_within(brief: Brief) -> Finding | None:
    """Longest opening time of a string's contactor that the delays of the brief leave it."""
    known = [f for f in (brief.strings.trip_delay, shortest_delay(brief))
             if f is not None and f.known]
    return smallest(known, "shortest delay until a string's contactor has opened") \
        if known else None


def _reaches(feeds: Feeds, trips: Trips | None) -> tuple[Check, ...]:
    """A sensor that ends below its trip never opens anything."""
    if trips is None or trips.current is None or trips.sensor_error is None:
        return ()
    return (judge(REACHES, "who clears", feeds.brief.strings.sensor_range, "at least",
                  trace(acts_by, "current at which the string's trip surely acts",
                        trip=trips.current, deviation=trips.sensor_error),
                  missing="say strings.sensor_range: the range on the data sheet of each string's "
                          "own current sensor", remedy="a sensor of a wider range, or a lower "
                                                       "trip"),)


def _sensor_line(trips: Trips | None) -> tuple[Requirement, ...]:
    if trips is None or trips.current is None or trips.sensor_error is None:
        return ()
    least = trace(acts_by, trip=trips.current, deviation=trips.sensor_error)
    return (Requirement("each string's current sensor: range, both directions",
                        f"at least {rounded(least, True)}", "the trip with the sensor's error"),)
