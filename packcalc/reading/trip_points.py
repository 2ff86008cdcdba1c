"""A trip whose setting follows the cells' temperature: points of current against temperature."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from packcalc.brief import TripPoint
from packcalc.brief_keys import key
from packcalc.entry_key import Key
from packcalc.findings import leaf
from packcalc.reading.brief_sections import not_asked
from packcalc.reading.contradictions import MEND
from packcalc.reading.entries import Notes, given, is_unknown, kind_of
from packcalc.reading.positions import KeyPath, one_line
from packcalc.units import show
from packcalc.value import replace

NAME = "trip_current_at"
EXAMPLE = "-10 degC: 450 A; 5 degC: 450 A; 10 degC: 900 A"
RIGHT = f'write points like "{EXAMPLE}"'
MOST_POINTS = 20
TEMPERATURE = Key("management", NAME, "temperature", "θ", "°C", "cell temperature of a point",
                  -40, 100)


def read_trip_points(notes: Notes, table: Mapping[str, Any], path: KeyPath,
                     found: dict[str, Any]) -> dict[str, Any]:
    """The points, the entry as written, and the highest setting as the trip's current.

    Args:
        notes: of the brief.
        table: the section as the file has it.
        path: of the section.
        found: what was read of it; its `trip_current` may not be given besides.
    """
    raw, here = table.get(NAME), (*path, NAME)
    if is_unknown(raw):
        return {}
    points = _points(notes, raw, here)
    if not points:
        return {}
    not_asked(notes, 0, ("trip_current", "trip_falls_in_cold"), "management")
    highest = replace(points[-1].current, title="over-current trip, its highest setting")
    _hold_together(notes, table, here, points, found)
    notes.read["management.trip_current"] = highest
    return {NAME: one_line(str(raw), 200), "trip_points": points, "trip_current": highest}


def _points(notes: Notes, raw: Any, here: KeyPath) -> tuple[TripPoint, ...]:
    if not isinstance(raw, str):
        notes.fault(here, f"is {kind_of(raw)}, not a text", RIGHT)
        return ()
    pieces = [piece.strip() for piece in raw.split(";") if piece.strip()]
    if not 2 <= len(pieces) <= MOST_POINTS:
        notes.fault(here, f"holds {len(pieces)} point{'s' * (len(pieces) != 1)}",
                    f"2 to {MOST_POINTS} of them: {RIGHT}")
        return ()
    points = []
    for number, piece in enumerate(pieces, start=1):
        point = _point(notes, here, number, piece)
        if point is None:  # one fault an entry: the points after it are likely wrong alike
            return ()
        points.append(point)
    for number, (one, other) in enumerate(zip(points, points[1:]), start=2):
        if other.temperature.number <= one.temperature.number:
            wrong = (f"point {number}, {other.temperature.shown}, is not warmer than the one "
                     f"before, {one.temperature.shown}")
        elif other.current.number < one.current.number:
            wrong = (f"point {number}, {other.current.shown}, lies below the one before, "
                     f"{one.current.shown}: such a limit rises as the cells cool")
        else:
            continue
        notes.fault(here, wrong, "coldest first, currents that do not fall: " + RIGHT)
        return ()
    return tuple(points)


def _point(notes: Notes, here: KeyPath, number: int, piece: str) -> TripPoint | None:
    first, colon, second = (word.strip() for word in piece.partition(":"))
    if not colon:
        notes.fault(here, f"point {number} {one_line(piece, 40)!r} is no pair", RIGHT)
        return None
    entry = key("management.trip_current")
    temperature, current = (given(notes, one, words, here)
                            for one, words in ((TEMPERATURE, first), (entry, second)))
    if temperature is None or current is None:
        return None
    origin = notes.origin(here, piece)
    return TripPoint(
        leaf(TEMPERATURE.title, "θ", "°C", temperature, "given", origin=origin),
        leaf("over-current trip", entry.symbol, "A", current, "given", origin=origin,
             note=f"at cells of {show(temperature, '°C')}"))


def _hold_together(notes: Notes, table: Mapping[str, Any], here: KeyPath,
                   points: tuple[TripPoint, ...], found: dict[str, Any]) -> None:
    """What excludes points, and a slow trip above the lowest of them."""
    if found["trip_current"].known:
        notes.fault(here, f"stands beside trip_current ({found['trip_current'].shown}), one "
                    "setting at every temperature", MEND)
    raw = table.get("trip_falls_in_cold")
    if not is_unknown(raw) and found["trip_falls_in_cold"] == "no" \
            and points[0].current.number < points[-1].current.number:
        notes.fault(here, 'falls with the temperature, and trip_falls_in_cold says "no"', MEND)
    slow = found["overload_trip"]
    if slow.known and slow.number > points[0].current.number:
        notes.fault(here, f"{points[0].current.shown} at {points[0].temperature.shown} lies below "
                    f"the overload trip ({slow.shown})", MEND)
