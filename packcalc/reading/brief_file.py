"""A brief from a TOML file or from Python data, with every fault told at once.

The schema is `packcalc.brief_keys.KEYS`; this room adds the shape of the file and brings its
sections together, which `brief_sections`, `brief_modules` and `brief_lists` read.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import os
import re
from collections.abc import Mapping
from typing import Any

from packcalc.brief import (
    Battery, Branch, Brief, Cables, Charger, Insulation, Inverter, Load, Management, Motor,
    PartsUse, Path, Places, Power, Precharge, Regeneration, Route, Station, Strings, Surroundings,
)
from packcalc.brief_keys import CHARGE_CONTACTOR_CHOICES, CHARGERS, NO_CONNECTOR
from packcalc.errors import UserError, nearest
from packcalc.marks import SIGN
from packcalc.parts import CABLE, CONNECTOR, CONTACTOR, DISCONNECT, FUSE, MANAGEMENT, RESISTOR
from packcalc.reading.bench_brief import PLAIN_BENCH, PLAIN_DONOR, read_bench, read_donor
from packcalc.reading.brief_lists import read_branches, read_loads, read_routes, wake_alike
from packcalc.reading.brief_modules import beside, own_file, read_modules, read_type
from packcalc.reading.brief_sections import (
    RISING, as_written, hold_order, names_of, not_asked, read_section,
)
from packcalc.reading.contradictions import hold_together
from packcalc.reading.entries import Notes, is_unknown, kind_of
from packcalc.reading.parts_list import read_parts
from packcalc.reading.positions import KeyPath, one_line, read_text, read_toml
from packcalc.reading.trip_points import NAME as TRIP_POINTS
from packcalc.reading.trip_points import read_trip_points
from packcalc.value import replace

MIX_CHOICES = ("no", "series", "parallel")
ARRANGEMENT_CHOICES = ("either", "grouped", "strings")
TOP_LEVEL = ("title", "date_of_issue", "note", "mix", "arrangement", "modules", "inverter", "power",
             "regeneration", "charger", "battery", "surroundings", "path", "motor", "station",
             "pack", "insulation", "management", "strings", "cables", "branch", "precharge",
             "parts")
# Sections that need not be, with their entries that are plain words.
OPTIONAL_SECTIONS = {"bench": PLAIN_BENCH, "donor": PLAIN_DONOR}
_PLAIN_SECTIONS: dict[str, Any] = {
    "inverter": Inverter, "power": Power, "regeneration": Regeneration, "charger": Charger,
    "battery": Battery, "surroundings": Surroundings, "path": Path, "motor": Motor,
    "station": Station, "pack": Places, "insulation": Insulation, "management": Management,
    "strings": Strings,
}
# Entries that are neither a quantity nor a choice.
PLAIN_ENTRIES = {"management": (TRIP_POINTS,)}
# Entries of [parts] that name a part of the list, with its kind.
NAMED_PARTS = {"main_fuse": FUSE, "string_fuse": FUSE, "contactor": CONTACTOR,
               "string_contactor": CONTACTOR, "resistor": RESISTOR, "disconnect": DISCONNECT,
               "mid_fuse": FUSE, "charge_contactor": CONTACTOR, "precharge_relay": CONTACTOR,
               "connector": CONNECTOR, "management_system": MANAGEMENT}
_ISO_DATE = re.compile(r"\d{4}-\d\d-\d\d")


def read_brief(path: str | os.PathLike[str]) -> Brief:
    """Read a brief from a TOML file.

    Raises:
        InputErrors: every fault of the file, each with line and key.
    """
    data, text = read_toml(path)
    return brief_from_data(data, one_line(os.fspath(path)), text)


def brief_from_data(data: Mapping[str, Any], place: str = "python", text: str = "") -> Brief:
    """Make a brief from plain data: texts with units, pint quantities, bare counts.

    Args:
        data: the same shape as the TOML file.
        place: names the data in every origin and fault.
        text: the TOML text that it came from, for lines and the digest.

    Raises:
        InputErrors: every fault at once.
    """
    notes = Notes(place, text)
    data = notes.table(data, ("brief",))
    _note_heads(notes, data)
    modules = read_modules(notes, data)
    parts = {name: read_section(notes, data, name, PLAIN_ENTRIES.get(name, ()))
             for name in _PLAIN_SECTIONS}
    written, managed = as_written(notes, data, "management")
    parts["management"] |= read_trip_points(
        notes, managed if isinstance(managed, Mapping) else {}, (written,), parts["management"])
    if parts["path"]["charge_contactor"] == CHARGE_CONTACTOR_CHOICES[0]:
        not_asked(notes, 0, ("charge_difference",))
    if parts["motor"]["back_voltage"].value == 0.0:  # without magnets it feeds no fault
        not_asked(notes, 0, ("short_circuit_current",))
    if not parts["path"]["string_cable_length"].value:
        not_asked(notes, 0, ("string_cable_section",))
    if not parts["strings"]["trip_current"].known:
        not_asked(notes, 0, ("sensor_range",), "strings")
    cables = read_section(notes, data, "cables", ("route",))
    routes = read_routes(notes, data, cables["rules"])
    branches = read_branches(notes, data)
    if not any(parts["station"][name].known for name in ("voltage", "current")) \
            and all(b["kind"] != CHARGERS[1] for b in branches):
        not_asked(notes, 0, ("capacitance",), "station")
    precharge = read_section(notes, data, "precharge", ("load",))
    loads = read_loads(notes, data)
    wake_alike(notes, loads, branches)
    listed = _parts(notes, data, routes, branches)
    bench, donor = read_bench(notes, data), read_donor(notes, data, read_type)
    for rule in RISING:
        hold_order(notes, *rule)
    hold_together(notes, data, modules, branches, loads, listed)
    words = _words(notes, data)
    notes.raise_faults()
    return Brief(
        **words, place=place, digest=_digest(data, text, listed, place), modules=tuple(modules),
        **{name: _PLAIN_SECTIONS[name](**found) for name, found in parts.items()},
        cables=Cables(**cables, route=tuple(Route(**route) for route in routes)),
        precharge=Precharge(**_patient(precharge), load=tuple(Load(**load) for load in loads)),
        branch=tuple(Branch(**branch) for branch in branches), parts=listed,
        unknowns=tuple(notes.unknowns), bench=bench, donor=donor)


def _note_heads(notes: Notes, data: Mapping[str, Any]) -> None:
    """Fault the names at the top that no schema holds, and note which sections they mean."""
    known = (*TOP_LEVEL, *OPTIONAL_SECTIONS)
    notes.only(data, known, ())
    notes.headed |= _misheaded(data, known)
    for name, plain in OPTIONAL_SECTIONS.items():
        if name in notes.headed:  # whose values are read under the right name alone
            written, raw = as_written(notes, data, name)
            notes.only(notes.table(raw, (written,)), (*plain, *names_of(name)), (written,))


def _misheaded(data: Mapping[str, Any], known: tuple[str, ...]) -> dict[str, str]:
    """Section to its misspelt name in the file: what stands inside is read all the same.

    All its faults are then told at once, and nothing is called missing for its name alone.
    """
    meant = {nearest(str(name), known): str(name) for name, raw in data.items()
             if name not in known and isinstance(raw, (Mapping, list, tuple))}
    return {right: name for right, name in meant.items() if right and right not in data}


def _digest(data: Mapping[str, Any], text: str, listed: PartsUse, place: str) -> str:
    """Of the brief and of all files that it names: two briefs with one digest are one design."""
    words = text or json.dumps(data, sort_keys=True, default=str, ensure_ascii=False)
    words += listed.list.digest
    named = [table.get("record") for table in (*data["modules"], data.get("donor") or {})]
    words += "".join(read_text(beside(place, name)) for name in named if own_file(name))
    return SIGN + hashlib.sha256(words.encode("utf-8", "replace")).hexdigest()[:16]


def _words(notes: Notes, data: Mapping[str, Any]) -> dict[str, str]:
    """The entries at the top, which belong to no section."""
    return {"title": notes.words(data, "title", ()), "note": notes.words(data, "note", ()),
            "date_of_issue": _date(notes, data.get("date_of_issue")),
            "mix": notes.choice(data, "mix", (), MIX_CHOICES, MIX_CHOICES[0]),
            "arrangement": notes.choice(data, "arrangement", (), ARRANGEMENT_CHOICES,
                                        ARRANGEMENT_CHOICES[0])}


def _date(notes: Notes, raw: Any) -> str:
    right = "write it like 2025-03-31"
    if is_unknown(raw):
        return ""
    if isinstance(raw, datetime.date) and not isinstance(raw, datetime.datetime):
        return raw.isoformat()
    if isinstance(raw, str) and _ISO_DATE.fullmatch(raw.strip()):
        try:
            return datetime.date.fromisoformat(raw.strip()).isoformat()
        except ValueError:
            notes.fault(("date_of_issue",), f"{raw.strip()} is not in the calendar", right)
            return ""
    wrong = f"{raw[:40]!r} is no date" if isinstance(raw, str) else f"is {kind_of(raw)}, no day"
    notes.fault(("date_of_issue",), wrong, right)
    return ""


def _patient(found: dict[str, Any]) -> dict[str, Any]:
    """A given time limit lengthens an open time-out; a given time-out shortens an open limit."""
    limit, timeout = found["time_limit"], found["timeout"]
    if limit.number > timeout.number:
        if timeout.basis == "given":
            return found | {"time_limit": replace(limit, value=timeout.value,
                                                  note=f"{limit.note}; lowered to the time-out")}
        return found | {"timeout": replace(timeout, value=limit.value,
                                           note=f"{timeout.note}; raised to the time limit")}
    return found


def _parts(notes: Notes, data: Mapping[str, Any], routes: list[dict[str, Any]],
           branches: list[dict[str, Any]]) -> PartsUse:
    """The parts list beside the brief, and every part that the brief names from it."""
    written, raw = as_written(notes, data, "parts")
    table = notes.table(raw, (written,))
    notes.only(table, ["file", *NAMED_PARTS], (written,))
    names = {name: notes.words(table, name, (written,)) for name in NAMED_PARTS}
    if names["connector"].lower() == NO_CONNECTOR:
        names["connector"] = NO_CONNECTOR
    file = notes.words(table, "file", (written,))
    wanted: list[tuple[KeyPath, str, str]] = [
        *(((written, name), kind, names[name]) for name, kind in NAMED_PARTS.items()),
        *((("cables", "route", i, "cable"), CABLE, r["cable"]) for i, r in enumerate(routes)),
        *((("branch", i, "fuse_part"), FUSE, b["fuse_part"]) for i, b in enumerate(branches))]
    wanted = [(path, kind, name) for path, kind, name in wanted
              if name and (kind, name) != (CONNECTOR, NO_CONNECTOR)]
    for path, _, name in wanted:
        if name.lower() == "none":
            notes.fault(path, "'none' is the name of no part",
                        "leave the line out" + (
                            "; pack.disconnect_after = 0 says that none stands"
                            if path[-1] == "disconnect" else ""))
    wanted = [one for one in wanted if one[2].lower() != "none"]
    if not file:
        for path, _, name in wanted:
            notes.fault(path, f"{name!r} is named without a parts list",
                        "add [parts] with file = \"parts.csv\"")
        return PartsUse(**names)
    try:
        listed = read_parts(beside(notes.place, file))
    except UserError as error:
        notes.refused(("parts", "file"), error)
        return PartsUse(**names)
    for path, kind, name in wanted:
        try:
            listed.part(kind, name)
        except UserError as error:
            notes.refused(path, error)
    return PartsUse(listed, **names)
