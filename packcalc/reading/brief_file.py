"""A brief from a TOML file or from Python data, with every fault told at once.

The schema is `packcalc.brief.KEYS`; this room adds the shape of the file, what an open
entry takes from its neighbours, and the checks between entries.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import os
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from packcalc.brief import (
    CARRIES_CHOICES,
    Battery,
    Brief,
    Cables,
    Charger,
    Inverter,
    Load,
    ModulesOnHand,
    Path,
    Power,
    Precharge,
    Regeneration,
    Route,
    Surroundings,
)
from packcalc.errors import UnknownName, UserError
from packcalc.findings import Finding, Origin
from packcalc.modules import ModuleType
from packcalc.reading.entries import Notes, Safe, entry, is_unknown, keys_of, kind_of, schema_safe
from packcalc.reading.library import record
from packcalc.reading.modules import KEYS as MODULE_KEYS
from packcalc.reading.modules import module_from_entries
from packcalc.reading.positions import KeyPath, one_line, read_toml, shown_key

MIX_CHOICES = ("no", "series")
KIND_CHOICES = ("resistive", "constant power")
TOP_LEVEL = ("title", "date_of_issue", "note", "mix", "modules", "inverter", "power",
             "regeneration", "charger", "battery", "surroundings", "path", "cables", "precharge")
_PLAIN_SECTIONS: dict[str, Any] = {
    "inverter": Inverter, "power": Power, "regeneration": Regeneration, "charger": Charger,
    "battery": Battery, "surroundings": Surroundings, "path": Path,
}
MOST_MODULES, MOST_ROUTES, MOST_LOADS = 1000, 100, 100
ASSUMED_ROUTE = "battery to inverter"
_ISO_DATE = re.compile(r"\d{4}-\d\d-\d\d")

# An open entry that hangs on a neighbour: (neighbour, safe factor, lucky factor, at most).
DERIVED: dict[str, tuple[str, float, float | None, str]] = {
    "inverter.absolute_maximum": ("inverter.voltage_high", 1.0, None, ""),
    "inverter.full_power_from": ("inverter.voltage_low", 1.1, 1.0, "inverter.voltage_high"),
    "power.continuous": ("power.peak", 0.5, 0.33, ""),
    "regeneration.power": ("power.peak", 0.5, 0.0, ""),
}

# The first may not lie above the second; held only between what the user gave.
RISING: tuple[tuple[str, str, bool], ...] = (  # (lower, higher, may be equal)
    ("inverter.voltage_high", "inverter.absolute_maximum", True),
    ("inverter.voltage_low", "inverter.full_power_from", True),
    ("inverter.full_power_from", "inverter.voltage_high", True),
    ("inverter.voltage_low", "regeneration.voltage_limit", True),
    ("power.continuous", "power.peak", True),
    ("battery.charge_lowest", "battery.charge_highest", False),
    ("battery.coldest_start", "battery.hottest", False),
    ("battery.energy_least", "battery.energy_most", True),
    ("precharge.time_limit", "precharge.timeout", True),
)
RISING_IN_ROUTE = (
    ("surroundings.cable_ambient", "terminal_limit", False),
    ("surroundings.cable_ambient", "insulation_class", False),
    ("terminal_limit", "joint_limit", True),
)


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
    notes.only(data, TOP_LEVEL, ())
    modules = _modules(notes, data.get("modules"))
    parts = {name: _section(notes, data, name) for name in _PLAIN_SECTIONS}
    cables = _section(notes, data, "cables", ("route",))
    routes = _routes(notes, data)
    precharge = _section(notes, data, "precharge", ("load",))
    loads = _loads(notes, data)
    for rule in RISING:
        _hold(notes, *rule)
    words = {"title": notes.words(data, "title", ()), "note": notes.words(data, "note", ()),
             "date_of_issue": _date(notes, data.get("date_of_issue")),
             "mix": notes.choice(data, "mix", (), MIX_CHOICES, MIX_CHOICES[0])}
    notes.raise_faults()
    return Brief(
        **words, place=place, digest=_digest(data, text), modules=tuple(modules),
        **{name: _PLAIN_SECTIONS[name](**found) for name, found in parts.items()},
        cables=Cables(**cables, route=tuple(Route(**route) for route in routes)),
        precharge=Precharge(**_patient(precharge), load=tuple(Load(**load) for load in loads)),
        unknowns=tuple(notes.unknowns))


def _digest(data: Mapping[str, Any], text: str) -> str:
    words = text or json.dumps(data, sort_keys=True, default=str, ensure_ascii=False)
    return hashlib.sha256(words.encode("utf-8", "replace")).hexdigest()[:16]


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


# -- sections ---------------------------------------------------------------------------------


def _section(notes: Notes, data: Mapping[str, Any], name: str,
             lists: tuple[str, ...] = ()) -> dict[str, Any]:
    """One section that stands once."""
    table = notes.table(data.get(name), (name,))
    notes.only(table, [*(key.name for key in keys_of(name)), *lists], (name,))
    return _entries(notes, name, table, (name,))


def _entries(notes: Notes, section: str, table: Mapping[str, Any],
             path: KeyPath) -> dict[str, Any]:
    """Every entry of the schema that belongs to one section."""
    found: dict[str, Any] = {}
    for key in keys_of(section):
        at = (*path, key.name)
        found |= entry(notes, key, table.get(key.name), at, _safe(notes, key.dotted)
                       or schema_safe(key))
        if len(path) == 1:
            notes.read |= {f"{section}.{name}": value for name, value in found.items()
                           if isinstance(value, Finding)}
    return found


def _safe(notes: Notes, dotted: str) -> Safe | None:
    """What an open entry takes from its neighbour; None where it hangs on none."""
    if dotted not in DERIVED:
        return None
    neighbour, factor, lucky, most = DERIVED[dotted]
    ground = notes.read[neighbour].value
    if ground is None:  # the neighbour itself is at fault, which has been noted
        return Safe(None, None)
    value = ground * factor
    limit = notes.read[most].value if most else None
    return Safe(value if limit is None else min(value, limit),
                None if lucky is None else ground * lucky)


def _hold(notes: Notes, lower_key: str, higher_key: str, equal: bool,
          route: Mapping[str, Any] | None = None, path: KeyPath = ()) -> None:
    """Fault two given entries that stand in the wrong order."""
    lower, higher = ((route or {}).get(key) or notes.read.get(key)
                     for key in (lower_key, higher_key))
    if lower is None or higher is None or not (lower.known and higher.known):
        return
    if lower.basis != "given" or higher.basis != "given":
        return
    if lower.number < higher.number or (equal and lower.number == higher.number):
        return
    wrong = "lies below" if equal else "does not lie above"
    line = f", line {lower.origin.line}" if lower.origin and lower.origin.line else ""
    at = higher.origin.key if higher.origin else ""
    notes.fault(path or tuple(at.split(".")),
                f"{higher.title} {_as_given(higher)} {wrong} {lower.title} "
                f"({_as_given(lower)}{line})", "mend one of the two")


def _as_given(value: Finding) -> str:
    return value.origin.text if value.origin else value.shown


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


# -- lists ------------------------------------------------------------------------------------


def _modules(notes: Notes, raw: Any) -> list[ModulesOnHand]:
    tables = notes.tables(raw, ("modules",), MOST_MODULES)
    if raw is None or raw == []:
        notes.fault(("modules",), "no modules on hand: needed for a first answer",
                    "add [[modules]] with label = \"12s 160 Ah NMC\" and count = 16")
    found = []
    own = [key.name for key in keys_of("modules")]
    for index, table in enumerate(tables):
        path = ("modules", index)
        entries = _entries(notes, "modules", table, path)
        notes.only(table, [*own, "record", *MODULE_KEYS], path)
        figures = {name: value for name, value in table.items()
                   if name in MODULE_KEYS and not is_unknown(value)}
        module = _module(notes, table.get("record"), figures, path)
        if module is not None:
            found.append(ModulesOnHand(module, **entries))
    return found


def _module(notes: Notes, name: Any, figures: dict[str, Any],
            path: KeyPath) -> ModuleType | None:
    """One module type: by its record alone, or by its label and figures."""
    at = path if is_unknown(name) else (*path, "record")
    try:
        if is_unknown(name):
            if not figures:
                raise UserError("which module? needed for a first answer; give label = "
                                "\"12s 160 Ah NMC\", or record = \"…\" from `packcalc library`")
            return module_from_entries(figures, lambda one: notes.origin(
                (*path, one), figures.get(one, "")))
        if figures:
            raise UserError("a record stands alone; to change its figures, copy them from "
                            "`packcalc library show` and leave the record out")
        words = notes.words({"record": name}, "record", path)
        return record(words) if words else None
    except UserError as error:
        notes.refused(at, error)
        return None


def _routes(notes: Notes, data: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The cable routes; one from battery to inverter is assumed where none is given."""
    path: KeyPath = ("cables", "route")
    cables = data.get("cables")
    raw = cables.get("route") if isinstance(cables, Mapping) else None
    tables = notes.tables(raw, path, MOST_ROUTES) or [{"name": ASSUMED_ROUTE}]
    known = ["name", "carries", *(key.name for key in keys_of("cables.route"))]
    found = []
    for index, table in enumerate(tables):
        at = (*path, index)
        notes.only(table, known, at)
        route: dict[str, Any] = {
            "name": notes.words(table, "name", at, f"route {index + 1}"),
            "carries": notes.choice(table, "carries", at, CARRIES_CHOICES, "traction")}
        route |= _entries(notes, "cables.route", table, at)
        for lower, higher, equal in RISING_IN_ROUTE:
            _hold(notes, lower, higher, equal, route, (*at, higher))
        found.append(route)
    _distinct(notes, [route["name"] for route in found], path)
    return found


def _loads(notes: Notes, data: Mapping[str, Any]) -> list[dict[str, Any]]:
    path: KeyPath = ("precharge", "load")
    section = data.get("precharge")
    raw = section.get("load") if isinstance(section, Mapping) else None
    known = ["name", "kind", *(key.name for key in keys_of("precharge.load"))]
    found = []
    for index, table in enumerate(notes.tables(raw, path, MOST_LOADS)):
        at = (*path, index)
        notes.only(table, known, at)
        load: dict[str, Any] = {
            "name": notes.words(table, "name", at, f"load {index + 1}"),
            "kind": notes.choice(table, "kind", at, KIND_CHOICES)}
        found.append(load | _load_figures(notes, load["kind"], table, at))
    _distinct(notes, [load["name"] for load in found], path)
    return found


def _load_figures(notes: Notes, kind: str, table: Mapping[str, Any],
                  path: KeyPath) -> dict[str, Any]:
    """A resistive load has a resistance, one of constant power its power: never both."""
    needed, foreign = ("resistance", "power") if kind == "resistive" else ("power", "resistance")
    before = len(notes.unknowns)
    found = _entries(notes, "precharge.load", table, path)
    notes.unknowns[before:] = [u for u in notes.unknowns[before:] if u.key.name == "wakes_at"]
    if not kind:
        return found
    if is_unknown(table.get(needed)):
        find = next(key.find for key in keys_of("precharge.load") if key.name == needed)
        notes.fault((*path, needed), f"a {kind} load needs its {needed}", f"find it: {find}")
    if not is_unknown(table.get(foreign)):
        notes.fault((*path, foreign), f"a {kind} load has no {foreign} of its own",
                    f"give its {needed} alone")
    return found


def _distinct(notes: Notes, names: list[str], path: KeyPath) -> None:
    first: dict[str, int] = {}
    for index, name in enumerate(names):
        if name in first:
            line = notes.line((*path, first[name]))
            before = f"on line {line}" if line else f"in entry {first[name] + 1}"
            notes.fault((*path, index, "name"), f"the name {name!r} stands already {before}",
                        "give each its own")
        first.setdefault(name, index)


# -- one entry changed ------------------------------------------------------------------------

_STEP = re.compile(r"\.?([A-Za-z_]+)|\[(\d+)\]")


def with_value(brief: Brief, dotted: str, value: float | str) -> Brief:
    """A copy with one entry replaced, basis `assumed`: what if it were found to be this?

    Args:
        brief: stays as it is.
        dotted: e.g. "cables.route[0].length", "modules[0].state_of_health".
        value: in SI, or one of the key's words.

    Raises:
        UnknownName: the brief has no such entry.
    """
    steps = [name or int(index) for name, index in _STEP.findall(dotted)]
    names = (name for name, _ in brief.entries())
    if shown_key(tuple(steps)) != dotted:
        raise UnknownName("entry of the brief", dotted, names)
    try:
        return _replaced(brief, steps, value, dotted)
    except (AttributeError, IndexError, TypeError) as error:
        raise UnknownName("entry of the brief", dotted, names) from error


def _replaced(node: Any, steps: list[str | int], value: float | str, dotted: str) -> Any:
    if not steps:
        if isinstance(node, str) and isinstance(value, str):
            return value
        if isinstance(node, Finding) and not isinstance(value, str):
            place = node.origin.place if node.origin else ""
            return replace(node, value=float(value), basis="assumed",
                           origin=Origin(place, 0, dotted, "tried"), note="")
        raise TypeError(dotted)
    step, rest = steps[0], steps[1:]
    if isinstance(step, int):
        changed = _replaced(node[step], rest, value, dotted)
        return (*node[:step], changed, *node[step + 1:])
    return replace(node, **{step: _replaced(getattr(node, step), rest, value, dotted)})
