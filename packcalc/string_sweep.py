"""One string against all the others, over the whole range of what they can feed into it.

The pack's own current sensor does not see a fault inside a string: only the string's fuse,
and a trip on the string's own current, can end it.
"""

from __future__ import annotations

from dataclasses import replace

from packcalc.clearing import path_conductors
from packcalc.feeds import Feeds
from packcalc.findings import largest, trace
from packcalc.monitoring import sensor_deviation
from packcalc.part_checks.sweep import Trips
from packcalc.parts import CONTACTOR, FUSE
from packcalc.protect.coordination import Coordination, coordinate
from packcalc.protect.faults import fault_time_constant
from packcalc.protect.strings import string_duty
from packcalc.side_circuits import strings_asked

KEY = "string_coordination"
TITLE = "Who clears inside a string, over the whole range the others can feed"
UNSEEN = ("The current sensor of the main path does not carry what one string feeds into another: "
          "no trip of the pack is counted on here, only one on the string's own current "
          "(strings.trip_current with strings.trip_delay).")
AS_MAIN = "The notes of the sweep of the main path hold here as well."


def string_coordination(feeds: Feeds, main: Coordination) -> Coordination | None:
    """String fuse and string contactor over the range of a fault inside a string.

    Args:
        feeds: every source of the layout.
        main: the main path as held, for what both have in common.

    Returns:
        None where no strings are paralleled.
    """
    asked, brief = strings_asked(feeds), feeds.brief
    if asked is None:
        return None
    duty, names, listed = string_duty(asked), brief.parts, brief.parts.list
    conductors = tuple(replace(one, most=None) for one in path_conductors(
        brief, feeds.pack, duty.breaking))
    held = coordinate(replace(
        main.asked, fault_lowest=duty.lowest, fault_highest=duty.breaking,
        time_constant=trace(fault_time_constant, "time constant inside a string",
                            inductance=feeds.pack_inductance,
                            resistance=asked.resistance_initial),
        peak_load=largest([duty.peak, duty.braking], "largest load of a string"),
        continuous_load=largest([duty.continuous, duty.charging], "continuous load of a string"),
        cable_withstand=None, cable_current=None, cable_name="cables inside the string",
        conductors=conductors, trips=_trips(feeds),
        fuse=listed.part(FUSE, names.string_fuse) if names.string_fuse else None,
        contactor=listed.part(CONTACTOR, names.string_contactor)
        if names.string_contactor else None, loaded_voltage=None, fault_voltage=None),
        listed.fuses, listed.contactors)
    return replace(held, item=replace(held.item, key=KEY, title=TITLE,
                                      notes=(UNSEEN, AS_MAIN)))


def _trips(feeds: Feeds) -> Trips | None:
    own = feeds.brief.strings
    if not own.trip_current.known:
        return None
    blocked = feeds.brief.management.trip_blocked_above
    return Trips(name="over-current trip on the string's own current", current=own.trip_current,
                 delay=own.trip_delay if own.trip_delay.known else None, to_opened=True,
                 blocked_above=blocked if blocked.known else None,
                 sensor_error=trace(sensor_deviation, "deviation of a string's current sensor",
                                    error=feeds.brief.management.current_sensor_error,
                                    full_range=own.trip_current,
                                    note="its range is not asked for: of the setting at least"))
