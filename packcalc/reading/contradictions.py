"""Entries of one brief that cannot all be true: each pair is told, neither is dropped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from packcalc.brief import ModulesOnHand, PartsUse
from packcalc.errors import UserError
from packcalc.findings import Finding
from packcalc.parts import CONTACTOR, FUSE, ContactorPart, FusePart
from packcalc.reading.entries import Notes
from packcalc.reading.positions import KeyPath

ROUNDING = 1e-6
MEND = "mend one of the two"
# Delays that by their definition run until the contactor has opened.
UNTIL_OPEN = ("trip_delay", "overload_delay", "crash_open_time")


def hold_together(notes: Notes, data: Mapping[str, Any], modules: Sequence[ModulesOnHand],
                  branches: Sequence[Mapping[str, Any]], loads: Sequence[Mapping[str, Any]],
                  listed: PartsUse) -> None:
    """Fault what the user gave twice and differently, or what excludes the other."""
    _branch_fuses(notes, branches, listed)
    _branches_that_are_loads(notes, branches, loads)
    _places(notes, data, modules)
    _opening_times(notes, listed)
    _monitor(notes, data)


def _differ(one: Finding, other: Finding) -> bool:
    return one.known and other.known and abs(one.number - other.number) > ROUNDING * max(
        abs(one.number), abs(other.number))


def _given(value: Finding | None) -> bool:
    return value is not None and value.known and value.basis == "given"


def _line(value: Finding) -> str:
    return f", line {value.origin.line}" if value.origin and value.origin.line else ""


def _branch_fuses(notes: Notes, branches: Sequence[Mapping[str, Any]], listed: PartsUse) -> None:
    """A branch's fuse rating is the rating on the sheet of the fuse that it names."""
    for index, branch in enumerate(branches):
        if not branch["fuse_part"] or not _given(branch["fuse_rating"]):
            continue
        try:
            part = listed.list.part(FUSE, branch["fuse_part"])
        except UserError:  # noted where the list was read
            continue
        rated = part.rated_current if isinstance(part, FusePart) else None
        if rated is not None and _differ(branch["fuse_rating"], rated):
            notes.fault(("branch", index, "fuse_rating"),
                        f"{branch['fuse_rating'].shown} is not the rating of {part.name}, "
                        f"{rated.shown}", "leave out fuse_rating, or name the right fuse")


def _plain(name: str) -> str:
    return "".join(ch.lower() for ch in name if ch.isalnum())


def _branches_that_are_loads(notes: Notes, branches: Sequence[Mapping[str, Any]],
                             loads: Sequence[Mapping[str, Any]]) -> None:
    """A branch and a load of one name are one thing, which wakes once.

    Their powers may differ: what a converter draws while the bus is charged is not its plate.
    """
    names = {_plain(load["name"]): load for load in loads}
    for index, branch in enumerate(branches):
        load = names.get(_plain(branch["name"]))
        if load is None:
            continue
        if load["name"] != branch["name"]:
            notes.fault(("branch", index, "name"), f"{branch['name']!r} and the load "
                        f"{load['name']!r} differ in their spelling alone",
                        "write both alike, or one would be counted twice")
        mine, other = branch["wakes_at"], load["wakes_at"]
        if _given(mine) and _differ(mine, other):
            notes.fault(("branch", index, "wakes_at"), f"{mine.shown} stands beside the load of "
                        f"the same name ({other.shown}{_line(other)}), whose figure counts",
                        "give it once, in [[precharge.load]]")


def _places(notes: Notes, data: Mapping[str, Any], modules: Sequence[ModulesOnHand]) -> None:
    """A disconnect or fuse inside the string needs modules on both of its sides."""
    counts = [m.count.number for m in modules if m.count.known]
    for name in ("disconnect_after", "fuse_after"):
        place = notes.read.get(f"pack.{name}")
        if _given(place) and counts and place.number >= sum(counts):
            notes.fault(("pack", name), f"after module {place.number:.0f}, and {sum(counts):.0f} "
                        "are on hand", "count along one string; 0 where there is none")
    fuse = notes.read.get("pack.fuse_after")
    if _words(data, "path", "main_fuse") == "mid-pack" and _given(fuse) and fuse.number == 0:
        notes.fault(("pack", "fuse_after"), f"0 says that no fuse sits inside the string, and "
                    f"path.main_fuse says mid-pack{_at(notes, ('path', 'main_fuse'))}", MEND)


def _opening_times(notes: Notes, listed: PartsUse) -> None:
    """A time until the contactor has opened is not shorter than the contactor's own."""
    for name in UNTIL_OPEN:
        _opens_in_time(notes, listed, listed.contactor, ("management", name))
    _opens_in_time(notes, listed, listed.tripped(True), ("strings", "trip_delay"))


def _opens_in_time(notes: Notes, listed: PartsUse, contactor: str, path: tuple[str, str]) -> None:
    if contactor:
        try:
            part = listed.list.part(CONTACTOR, contactor)
        except UserError:  # noted where the list was read
            return
        opening = part.opening_time if isinstance(part, ContactorPart) else None
        delay = notes.read.get(".".join(path))
        if opening is not None and _given(delay) and delay.number < opening.number * (
                1.0 - ROUNDING):
            notes.fault(path, f"{delay.title} {delay.shown} is shorter than "
                        f"{part.name} takes to open, {opening.shown}",
                        "count from the event until the arc has ended")


def _monitor(notes: Notes, data: Mapping[str, Any]) -> None:
    """No insulation monitor has no readings at which it warns or opens."""
    if _words(data, "path", "insulation_monitor") != "none":
        return
    for name in ("isolation_warn", "isolation_trip"):
        if _given(notes.read.get(f"management.{name}")):
            notes.fault(("management", name), "is given, and path.insulation_monitor says none"
                        f"{_at(notes, ('path', 'insulation_monitor'))}", MEND)


def _words(data: Mapping[str, Any], section: str, name: str) -> Any:
    table = data.get(section)
    return table.get(name) if isinstance(table, Mapping) else None


def _at(notes: Notes, path: KeyPath) -> str:
    line = notes.line(path)
    return f" on line {line}" if line else ""
