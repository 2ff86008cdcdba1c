"""A user's management system held against what the brief counts on from it."""

from __future__ import annotations

from packcalc.checks import Check, Fact, figure_fact, judge, on_an_open_entry
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace, with_more
from packcalc.monitoring import (
    LINKS_MEASURED, RESTARTS, channels_of, monitors_needed, sensor_deviation,
)
from packcalc.part_checks.limits import ManagementAsked, cell_limits, range_needed, reach
from packcalc.part_checks.shown import SILENT, remark, voltage_check
from packcalc.parts import ManagementPart


def system_checks(part: ManagementPart, asked: ManagementAsked) -> tuple[Check, ...]:
    """Every check of one management system, in the order of the stages.

    What the brief says of channels, sensors and balancing was counted on by every other check: a
    system that has less makes them untrue.
    """
    own, (low, high) = asked.brief.management, cell_span(asked)
    return (
        voltage_check(part, asked.pack.highest_voltage,
                      "cell side bears the highest working voltage"),
        _channels_enough(part, asked),
        _as_counted("its monitors have the channels that the brief counts", part.channels_each,
                    own.channels_per_monitor, "the channels of one monitor",
                    stage="who clears", exactly=True),
        judge("measures the lowest cell that a trip must see", "who clears", part.channel_low,
              "at most", low, missing=f"{SILENT}the lowest cell voltage that a channel measures"),
        judge("measures the highest cell that a trip must see", "who clears", part.channel_high,
              "at least", high,
              missing=f"{SILENT}the highest cell voltage that a channel measures"),
        judge("its current sensor reaches as far as the trips count on", "who clears",
              part.sensor_range, "at least", range_counted(asked),
              missing=f"{SILENT}the range of its current sensor, the smaller of both directions",
              remedy="a sensor of a wider range, or this range in the brief: "
                     "management.current_sensor_range"),
        _error(part, asked),
        _as_counted("reads as many temperatures as the brief counts", part.temperature_inputs,
                    own.temperature_sensors, "how many temperatures it reads",
                    stage="thermal load"),
        _as_counted("balances with the current that the brief counts", part.balance_current,
                    own.balance_current, "its balance current", stage="convenience"),
    )


def _channels_enough(part: ManagementPart, asked: ManagementAsked) -> Check:
    """Whole monitors count: what one has left over at its module's end serves no other module."""
    own = asked.brief.management
    each = next((f for f in (part.channels_each, own.channels_per_monitor)
                 if f is not None and f.known), None)
    cells = leaf("cell voltages to monitor", "n", "", asked.pack.channels, "definition",
                 origin=Origin("layout"), note="every cell of every stack and string")

    def against(asks: Finding) -> Check:
        return judge("has a channel for every cell", "who clears", part.cell_channels, "at least",
                     asks, missing=f"{SILENT}how many cells all its monitors together measure",
                     remedy="more monitors, or a system that takes more")
    if each is None:
        return on_an_open_entry(against(cells), f"{SILENT}the channels of one monitor, and none is "
                                                "shared by two modules")
    held, most = (against(trace(channels_of, monitors=monitors_asked(asked, each, order),
                                channels=each)) for order in (RESTARTS, LINKS_MEASURED))
    if asked.brief.left_open("management.monitor_order") and most.verdict != held.verdict:
        assert most.demand is not None
        return on_an_open_entry(held, "their order is left open: with the links measured "
                                      f"{most.demand.shown} are asked")
    return held


def monitors_asked(asked: ManagementAsked, each: Finding, open_as: str = RESTARTS) -> Finding:
    """Monitors of so many channels in the whole pack, in the brief's order.

    Args:
        asked: of the system.
        each: channels of one monitor.
        open_as: order where that is left open; a new one at each module, as the specification
            asks, where none is told.
    """
    brief, pack = asked.brief, asked.pack
    order = open_as if brief.left_open("management.monitor_order") \
        else brief.management.monitor_order
    count = monitors_needed(asked.module_cells, int(each.number), order)
    return leaf("monitors", "n_m", "", count * pack.layout.parallel, "definition",
                origin=Origin("layout"),
                note=f"{len(asked.module_cells) * pack.layout.parallel} modules; {order}")


def system_facts(part: ManagementPart) -> tuple[Fact, ...]:
    """Columns of the table of candidates."""
    return (figure_fact("highest pack voltage", "V", part.rated_voltage_dc),
            figure_fact("current sensor", "A", part.sensor_range), *remark(part))


def cell_span(asked: ManagementAsked) -> tuple[Finding, Finding]:
    """Lowest and highest cell voltage at which a trip acts: as set, and as it may be set."""
    own, cell = asked.brief.management, cell_limits(asked)
    low = [f for f in (own.undervoltage_trip, cell["under"]) if f.known]
    high = [f for f in (own.overvoltage_trip, cell["limit"]) if f.known]
    return (smallest(low, "lowest cell voltage at which a trip acts"),
            largest(high, "highest cell voltage at which a trip acts"))


def range_counted(asked: ManagementAsked) -> Finding:
    """Range of the current sensor: as the brief counts it, and never less than is needed."""
    return at_least_both(asked.brief.management.current_sensor_range, range_needed(asked))


def at_least_both(stated: Finding, needed: Finding) -> Finding:
    """What the brief counts on, or the demand where that is or may be more, or nobody said."""
    return with_more(stated, needed.untold_more) \
        if stated.known and stated.number >= needed.number else needed


def error_counted(asked: ManagementAsked) -> Finding:
    """In A, not in per cent: a wider range makes the same share a larger error."""
    return trace(sensor_deviation, "error that the trips are held with",
                 error=asked.brief.management.current_sensor_error, full_range=reach(asked))


def _error(part: ManagementPart, asked: ManagementAsked) -> Check:
    title = "its current sensor errs no more than the trips count on"
    own = asked.brief.management
    missing = f"{SILENT}range and error of its current sensor"
    found = counted_on = None
    if part.sensor_error is not None and part.sensor_range is not None:
        missing = "say the range of the current sensor: management.current_sensor_range"
        found = trace(sensor_deviation, "error of its current sensor", error=part.sensor_error,
                      full_range=part.sensor_range)
    if own.current_sensor_range.known:
        counted_on = error_counted(asked)
    return judge(title, "who clears", found, "at most", counted_on, missing=missing,
                 remedy="a better sensor, or this error in the brief: "
                        "management.current_sensor_error")


def _as_counted(title: str, figure: Finding | None, stated: Finding, what: str, *, stage: str,
                exactly: bool = False) -> Check:
    """A figure of the sheet against the entry of the brief that speaks of the same thing."""
    if figure is not None and stated.known and exactly and figure.number > stated.number:
        return judge(title, stage, figure, "at most", stated,
                     reason="a monitor that takes more cells may reach over a link that one of "
                            "fewer does not",
                     remedy="the sheet's figure in the brief: management.channels_per_monitor")
    return judge(title, stage, figure, "at least", stated,
                 missing=f"{SILENT}{what}" if figure is None else
                 f"the brief does not say: {stated.title}",
                 remedy="the sheet's figure in the brief, or a system that has as much")
