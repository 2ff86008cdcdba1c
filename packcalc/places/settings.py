"""Which setting of a trip that follows the cells' temperature counts at each fault place.

A fault of some current may come at any temperature at which the place can give so little. The
trip is sure to open it only where its setting lies below that current at all of these: where, up
to the warmest, each setting lies below the lowest fault of its own temperature, every current of
the place is opened; where one does not, those above the highest that fails.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from packcalc.brief import Battery, Brief, TripPoint
from packcalc.findings import OR_LESS, Finding
from packcalc.part_checks.moving import MovingTrip
from packcalc.places.trips import main_path_loops, open_path_loops, open_words
from packcalc.protect.places import Loop
from packcalc.units import show
from packcalc.value import replace, value_object

COUNTED = "over-current trip, the setting that is counted on"
PlaceId = tuple[str, str]


@value_object
class Node:
    """Every loop at one temperature of the cells."""

    temperature: Finding
    loops: tuple[Loop, ...]


@value_object
class TripSettings:
    """What a moving trip is counted with.

    Attributes:
        moving: for the checks of the trip.
        current: setting that the main path is swept with; None where nothing is counted on.
        by_place: setting for each loop, by `place_id`.
    """

    moving: MovingTrip
    current: Finding | None
    by_place: Mapping[PlaceId, Finding]


@value_object
class _Step:
    """From one temperature to the next: setting at its warmer end, faults at its colder."""

    node: Node
    upper: Finding
    setting: Finding
    faults: Mapping[PlaceId, Finding]


def place_id(loop: Loop) -> PlaceId:
    """A loop among all; rivals stand under one key."""
    return loop.key, loop.rival.name if loop.rival is not None else ""


def temperatures(brief: Brief) -> tuple[Finding, ...]:
    """Those at which the lowest faults are needed: the coldest, and every point above it."""
    battery = brief.battery
    return (battery.coldest_closed, *(
        p.temperature for p in brief.management.trip_points
        if battery.coldest_closed.number < p.temperature.number < battery.hottest.number))


def settings_of(brief: Brief, error: Finding, nodes: Sequence[Node]) -> TripSettings:
    """The settings that count, and where the trip is nearest to missing a fault.

    Args:
        brief: with the points.
        error: of the current sensor.
        nodes: the loops at each of `temperatures`.
    """
    points, battery = brief.management.trip_points, brief.battery
    least, at_load = (_floor(points, at) for at in (battery.coldest_closed, battery.coldest_start))
    gap = _gap(points, battery)
    if gap or least is None:
        soonest = least or replace(points[0].current, value=0.0, note="outside its points any")
        return TripSettings(MovingTrip(soonest, at_load, gap=gap), None, {})
    cold = _cold_load(battery, least, error)
    steps = _steps(points, battery, nodes)
    by_place = {place_id(loop): _counted(steps, error, brief, place_id(loop))
                for loop in nodes[0].loops}
    main = [place_id(loop) for loop in main_path_loops(nodes[0].loops)]
    current = max((by_place[one] for one in main), key=lambda f: f.number,
                  default=_highest(steps))
    nearest = min(((step.faults[one], step) for step in steps for one in main),
                  key=lambda pair: pair[0].number / (pair[1].setting.number + error.number),
                  default=None)
    if nearest is None:
        return TripSettings(MovingTrip(least, at_load, steps[-1].setting, cold=cold), current,
                            by_place)
    fault, step = nearest
    open_ = open_words(open_path_loops(nodes[0].loops))
    fault = fault.called(note=f"{fault.note}{OR_LESS}{open_}") if open_ else fault
    where = (f"its setting up to {step.upper.shown} against the lowest fault at "
             f"{step.node.temperature.shown}")
    return TripSettings(MovingTrip(least, at_load, steps[-1].setting, step.setting, fault, where,
                                   cold), current, by_place)


def _steps(points: Sequence[TripPoint], battery: Battery,
           nodes: Sequence[Node]) -> list[_Step]:
    found = []
    for index, node in enumerate(nodes):
        after = nodes[index + 1] if index + 1 < len(nodes) else None
        upper = after.temperature if after is not None else battery.hottest
        setting = next(p.current for p in points if p.temperature.number >= upper.number)
        found.append(_Step(node, upper, setting, _least(node, after)))
    return found


def _least(node: Node, after: Node | None) -> dict[PlaceId, Finding]:
    """Lowest fault of each place between two temperatures: that of the colder, if not the other."""
    found = {place_id(loop): loop.lowest for loop in node.loops if loop.lowest.known}
    for loop in after.loops if after is not None else ():
        one = place_id(loop)
        if one in found and loop.lowest.known and loop.lowest.number < found[one].number:
            found[one] = loop.lowest
    return found


def _counted(steps: Sequence[_Step], error: Finding, brief: Brief, place: PlaceId) -> Finding:
    """The highest setting that may miss a fault of the place, else that of the coldest cells.

    One that the sensor cannot show misses every fault.
    """
    shown = brief.management.current_sensor_range
    missed = [step.setting for step in steps if place not in step.faults
              or step.setting.number + error.number > step.faults[place].number
              or (shown.known and step.setting.number + error.number > shown.number)]
    return max(missed or [steps[0].setting], key=lambda f: f.number).called(COUNTED)


def _highest(steps: Sequence[_Step]) -> Finding:
    return max((step.setting for step in steps), key=lambda f: f.number).called(COUNTED)


def _floor(points: Sequence[TripPoint], at: Finding) -> Finding | None:
    """Lowest setting at a temperature: that of the point next below it; None outside them."""
    below = [p.current for p in points if p.temperature.number <= at.number]
    return below[-1] if below and at.number <= points[-1].temperature.number else None


def _gap(points: Sequence[TripPoint], battery: Battery) -> str:
    first, last = points[0].temperature, points[-1].temperature
    if first.number <= battery.coldest_closed.number and last.number >= battery.hottest.number:
        return ""
    return (f"its points reach from {first.shown} to {last.shown}, and the cells are in use from "
            f"{battery.coldest_closed.shown} to {battery.hottest.shown}: outside its points no "
            "setting is counted on")


def _cold_load(battery: Battery, least: Finding, error: Finding) -> str:
    if battery.coldest_closed.number >= battery.coldest_start.number:
        return ""
    hold = show(max(least.number - error.number, 0.0), "A")
    return (f"below {battery.coldest_start.shown} full power is not asked, and no entry says what "
            f"load there is: the management system must hold it below {hold}")
