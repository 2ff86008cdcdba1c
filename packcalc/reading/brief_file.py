"""A brief from a TOML file or from Python data, with every fault told at once.

The schema is `packcalc.brief_keys.KEYS`; this room adds the shape of the file, what an open
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
    Battery, Branch, Brief, Cables, Charger, Insulation, Inverter, Load, Management, ModulesOnHand,
    Motor, PartsUse, Path, Places, Power, Precharge, Regeneration, Route, Station, Strings,
    Surroundings, Unknown, growth_left_open,
)
from packcalc.brief_keys import (
    BRANCH_CHOICES, CARRIES_CHOICES, MODULE_RESISTANCE, MODULE_TYPE, REST_VOLTAGES,
    STRICTEST_INSTALL, Key,
)
from packcalc.errors import UnknownName, UserError, nearest
from packcalc.findings import Finding, Origin
from packcalc.modules import ModuleType, knows_growth
from packcalc.parts import CABLE, CONTACTOR, DISCONNECT, FUSE, RESISTOR
from packcalc.reading.bench_brief import PLAIN_BENCH, PLAIN_DONOR, read_bench, read_donor
from packcalc.reading.contradictions import hold_together
from packcalc.reading.entries import (
    LEFT_OPEN,
    Notes,
    Safe,
    entry,
    is_unknown,
    keys_of,
    kind_of,
    schema_safe,
)
from packcalc.reading.library import own_record, record, record_with
from packcalc.reading.modules import KEYS as MODULE_KEYS
from packcalc.reading.modules import NEEDED as MODULE_NEEDED
from packcalc.reading.modules import module_from_entries
from packcalc.reading.parts_list import read_parts
from packcalc.reading.positions import KeyPath, one_line, read_text, read_toml, shown_key
from packcalc.units import odd_character, range_ends

MIX_CHOICES = ("no", "series", "parallel")
ARRANGEMENT_CHOICES = ("either", "grouped", "strings")
KIND_CHOICES = ("resistive", "constant power")
TOP_LEVEL = ("title", "date_of_issue", "note", "mix", "arrangement", "modules", "inverter", "power",
             "regeneration", "charger", "battery", "surroundings", "path", "motor", "station",
             "pack", "insulation", "management", "strings", "cables", "branch", "precharge",
             "parts")
OPTIONAL_SECTIONS = ("bench", "donor")
_PLAIN_SECTIONS: dict[str, Any] = {
    "inverter": Inverter, "power": Power, "regeneration": Regeneration, "charger": Charger,
    "battery": Battery, "surroundings": Surroundings, "path": Path, "motor": Motor,
    "station": Station, "pack": Places, "insulation": Insulation, "management": Management,
    "strings": Strings,
}
GROWTH, HEALTH = "resistance_growth", "state_of_health"
RESISTANCE = "resistance"
MOST_MODULES, MOST_ROUTES, MOST_LOADS, MOST_BRANCHES = 1000, 100, 100, 100
ASSUMED_ROUTE = "battery to inverter"
# Entries of [parts] that name a part of the list, with its kind.
NAMED_PARTS = {"main_fuse": FUSE, "string_fuse": FUSE, "contactor": CONTACTOR,
               "string_contactor": CONTACTOR, "resistor": RESISTOR, "disconnect": DISCONNECT,
               "mid_fuse": FUSE, "charge_contactor": CONTACTOR}
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
    ("battery.coldest_closed", "battery.coldest_start", True),
    ("battery.energy_least", "battery.energy_most", True),
    ("precharge.time_limit", "precharge.timeout", True),
    ("management.undervoltage_trip", "management.overvoltage_trip", False),
    ("management.overload_trip", "management.trip_current", True),
    ("management.trip_current", "management.trip_blocked_above", False),
    ("management.isolation_trip", "management.isolation_warn", True),
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
    known = (*TOP_LEVEL, *OPTIONAL_SECTIONS)
    notes.only(data, known, ())
    notes.headed |= _misheaded(data, known)
    for name, plain in (("bench", PLAIN_BENCH), ("donor", PLAIN_DONOR)):
        if name in notes.headed:  # whose values are read under the right name alone
            written, raw = _found(notes, data, name)
            notes.only(notes.table(raw, (written,)),
                       [*plain, *(key.name for key in keys_of(name))], (written,))
    modules = _modules(notes, data)
    parts = {name: _section(notes, data, name) for name in _PLAIN_SECTIONS}
    cables = _section(notes, data, "cables", ("route",))
    routes = _routes(notes, data, cables["rules"])
    branches = _branches(notes, data)
    precharge = _section(notes, data, "precharge", ("load",))
    loads = _loads(notes, data)
    _wake_alike(notes, loads, branches)
    listed = _parts(notes, data, routes, branches)
    bench, donor = read_bench(notes, data), read_donor(notes, data, _module)
    for rule in RISING:
        _hold(notes, *rule)
    hold_together(notes, data, modules, branches, loads, listed)
    words = {"title": notes.words(data, "title", ()), "note": notes.words(data, "note", ()),
             "date_of_issue": _date(notes, data.get("date_of_issue")),
             "mix": notes.choice(data, "mix", (), MIX_CHOICES, MIX_CHOICES[0]),
             "arrangement": notes.choice(data, "arrangement", (), ARRANGEMENT_CHOICES,
                                         ARRANGEMENT_CHOICES[0])}
    notes.raise_faults()
    return Brief(
        **words, place=place, digest=_digest(data, text, listed, place), modules=tuple(modules),
        **{name: _PLAIN_SECTIONS[name](**found) for name, found in parts.items()},
        cables=Cables(**cables, route=tuple(Route(**route) for route in routes)),
        precharge=Precharge(**_patient(precharge), load=tuple(Load(**load) for load in loads)),
        branch=tuple(Branch(**branch) for branch in branches), parts=listed,
        unknowns=tuple(notes.unknowns), bench=bench, donor=donor)


def _misheaded(data: Mapping[str, Any], known: tuple[str, ...]) -> dict[str, str]:
    """Section to its misspelt name in the file: what stands inside is read all the same.

    All its faults are then told at once, and nothing is called missing for its name alone.
    """
    meant = {nearest(str(name), known): str(name) for name, raw in data.items()
             if name not in known and isinstance(raw, (Mapping, list, tuple))}
    return {right: name for right, name in meant.items() if right and right not in data}


def _found(notes: Notes, data: Mapping[str, Any], name: str) -> tuple[str, Any]:
    """A section's name as the file has it, and what stands there."""
    written = notes.headed.get(name, name)
    return written, data.get(written)


def _digest(data: Mapping[str, Any], text: str, listed: PartsUse, place: str) -> str:
    words = text or json.dumps(data, sort_keys=True, default=str, ensure_ascii=False)
    words += listed.list.digest
    named = [table.get("record") for table in (*data["modules"], data.get("donor") or {})]
    words += "".join(read_text(_beside(place, name)) for name in named if _own_file(name))
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
    written, raw = _found(notes, data, name)
    table = notes.table(raw, (written,))
    notes.only(table, [*(key.name for key in keys_of(name)), *lists], (written,))
    return _entries(notes, name, table, (written,))


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
    told, other = higher, lower
    if _is_end(higher_key) and not _is_end(lower_key):  # the single entry is the likelier slip
        told, other = lower, higher
        wrong = "lies above" if equal else "does not lie below"
    line = f", line {other.origin.line}" if other.origin and other.origin.line else ""
    at = told.origin.key if told.origin else ""
    notes.fault(path or tuple(at.split(".")),
                f"{told.title} {_as_given(told)} {wrong} {other.title} "
                f"({_as_given(other)}{line})", "mend one of the two")


def _is_end(key: str) -> bool:
    """Whether an entry is one end of a range, which is written in one line with the other."""
    return key.endswith(("voltage_low", "voltage_high"))


def _as_given(value: Finding) -> str:
    """As the user wrote it; of a range the one end that is meant."""
    text = value.origin.text if value.origin else ""
    return text if text and len(range_ends(text)) == 1 else value.shown


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


def _modules(notes: Notes, data: Mapping[str, Any]) -> list[ModulesOnHand]:
    written, raw = _found(notes, data, "modules")
    tables = notes.tables(raw, (written,), MOST_MODULES)
    if raw is None or raw == []:
        notes.fault(("modules",), "no modules on hand: needed for a first answer",
                    "add [[modules]] with label = \"12s 160 Ah NMC\" and count = 16")
    found = []
    own = [key.name for key in keys_of("modules")]
    for index, table in enumerate(tables):
        path = (written, index)
        entries = _module_entries(notes, table, path)
        notes.only(table, [*own, "record", *MODULE_KEYS], path)
        figures = {name: value for name, value in table.items()
                   if name in MODULE_KEYS and not is_unknown(value)}
        if _type_open(notes, table, figures, path) \
                or not figures and _type_slipped(notes, path):
            continue
        module = _module(notes, table.get("record"), figures, path)
        if module is not None and module.needs_bench:
            notes.unknowns.append(Unknown(shown_key((*path, "rest_voltages")), REST_VOLTAGES,
                                          "none", None, True))
        if module is not None:
            if module.resistance_of_class:
                notes.unknowns.append(_unmeasured(module, path))
            found.append(_aged(notes, ModulesOnHand(module, **entries), path))
    return found


def _type_open(notes: Notes, table: Mapping[str, Any], figures: Mapping[str, Any],
               path: KeyPath) -> bool:
    """Whether the user says that it is not known which module this is; listed as open."""
    names = ("label", "record", *MODULE_NEEDED)
    told = "label" in figures or not is_unknown(table.get("record")) \
        or all(name in figures for name in MODULE_NEEDED)
    name = next((n for n in names if table.get(n) is not None and is_unknown(table[n])), "")
    if told or not name:
        return False
    notes.unknowns.append(Unknown(shown_key((*path, name)), MODULE_TYPE, "none", None, True))
    return True


def _type_slipped(notes: Notes, path: KeyPath) -> bool:
    """Whether a name is misspelt that says which module this is: that line tells it."""
    return any(shown_key((*path, name)) in notes.slipped
               for name in ("label", "record", *MODULE_NEEDED))


def _unmeasured(module: ModuleType, path: KeyPath) -> Unknown:
    """The resistance of a module that nobody measured; a lucky reading is the class's smallest."""
    high = module.resistance_high
    return Unknown(shown_key((*path, RESISTANCE)), MODULE_RESISTANCE, high.shown,
                   module.resistance_low.number)


def _aged(notes: Notes, on_hand: ModulesOnHand, path: KeyPath) -> ModulesOnHand:
    """A growth left open goes by the module's class and the capacity left; its words say which."""
    dotted = shown_key((*path, GROWTH))
    at = next((i for i, u in enumerate(notes.unknowns) if u.dotted == dotted), None)
    health = on_hand.state_of_health
    if at is None or not health.known:
        return on_hand
    counted = growth_left_open(on_hand.module, health, on_hand.resistance_growth.origin)
    if not knows_growth(on_hand.module, health):
        notes.unknowns[at] = replace(notes.unknowns[at], decides=True)
        least = 100 * on_hand.module.cell.health_min
        words = (f"nobody read how resistance grows below {least:.0f} % of capacity left, and "
                 f"{health.shown} counts: these modules are not tried")
        taken = f"not known below {least:.0f} %"
    elif counted.inputs:
        taken = counted.shown
        words = (f"resistance counted {taken} times that of a new module for sag and lowest "
                 f"fault, by the class's law at {health.shown} capacity left; once for the "
                 "highest fault")
    else:
        return replace(on_hand, resistance_growth=counted)
    old = notes.unknowns[at]
    notes.unknowns[at] = replace(old, taken=taken, key=replace(old.key, consequence=words))
    return replace(on_hand, resistance_growth=replace(counted, note=words))


def _module_entries(notes: Notes, table: Mapping[str, Any], path: KeyPath) -> dict[str, Any]:
    """What the module's own conductors stand needs one entry of two: section or I²t."""
    before = len(notes.unknowns)
    found = _entries(notes, "modules", table, path)
    pair = ("conductor_section", "conductor_withstand")
    if any(found[name].known for name in pair):
        notes.unknowns[before:] = [u for u in notes.unknowns[before:] if u.key.name not in pair]
    return found


def _module(notes: Notes, name: Any, figures: dict[str, Any],
            path: KeyPath) -> ModuleType | None:
    """One module type: by its record, its label or its figures; own figures come first."""
    at = path if is_unknown(name) else (*path, "record")
    try:
        if is_unknown(name):
            if not figures:
                raise UserError("which module? needed for a first answer; give label = "
                                "\"12s 160 Ah NMC\", or record = \"…\" from `packcalc library`")
            return module_from_entries(figures, lambda one: notes.origin(
                (*path, one), figures.get(one, "")))
        words = notes.words({"record": name}, "record", path)
        if not words:
            return None
        if "label" in figures:
            raise UserError("a record and a label say the same twice; keep one of the two")

        def origin_of(one: str) -> Origin:
            return notes.origin((*path, one), figures.get(one, ""))

        if _own_file(words):
            return own_record(_beside(notes.place, words), figures, origin_of)
        return record_with(words, figures, origin_of) if figures else record(words)
    except UnknownName as error:
        odd = odd_character(str(name))
        wrong, _, right = str(error).partition("; ")
        notes.fault(at, f"{wrong} {odd}" if odd else wrong,
                    f'{right}{"" if right.endswith("?") else ";"} a record of your own is named '
                    'by its file, like "mine.toml"')
        return None
    except UserError as error:
        notes.refused(at, error)
        return None


def _own_file(name: Any) -> bool:
    """Whether a record is named by a file of the user's own, beside the brief."""
    return isinstance(name, str) and name.strip().lower().endswith(".toml")


def _beside(place: str, name: str) -> str:
    return os.path.normpath(os.path.join(os.path.dirname(place), name.strip()))


def _routes(notes: Notes, data: Mapping[str, Any], rules: str) -> list[dict[str, Any]]:
    """The cable routes; one from battery to inverter is assumed where none is given."""
    written, cables = _found(notes, data, "cables")
    path: KeyPath = (written, "route")
    raw = cables.get("route") if isinstance(cables, Mapping) else None
    tables = list(notes.tables(raw, path, MOST_ROUTES))
    if all(isinstance(t, Mapping) and t.get("carries") == "charging" for t in tables):
        tables.append({"name": ASSUMED_ROUTE})  # sag is never judged without a cable
    known = ["name", "carries", "cable", *(key.name for key in keys_of("cables.route"))]
    found = []
    for index, table in enumerate(tables):
        at = (*path, index)
        notes.only(table, known, at)
        route: dict[str, Any] = {
            "name": notes.words(table, "name", at, f"route {index + 1}"),
            "carries": notes.choice(table, "carries", at, CARRIES_CHOICES, "traction"),
            "cable": notes.words(table, "cable", at)}
        route |= _entries(notes, "cables.route", table, at)
        if is_unknown(table.get("install")) and rules in STRICTEST_INSTALL:
            route["install"] = _strictest(notes, rules)
        for lower, higher, equal in RISING_IN_ROUTE:
            _hold(notes, lower, higher, equal, route, (*at, higher))
        found.append(route)
    _distinct(notes, [route["name"] for route in found], path)
    return found


def _strictest(notes: Notes, rules: str) -> str:
    """An open way of laying under a rule set without conduit: the hottest that it knows."""
    counted = STRICTEST_INSTALL[rules]
    at = max(i for i, u in enumerate(notes.unknowns) if u.key.name == "install")
    words = (f"{rules} has no table for conduit: {counted} is counted, the hottest way of laying "
             "that it knows; a cable in conduit or a closed sill needs another rule set")
    old = notes.unknowns[at]
    notes.unknowns[at] = Unknown(old.dotted, replace(old.key, safe=counted, consequence=words),
                                 counted, "spaced in air")
    return counted


# What an open kind counts as; left out altogether it is a fault, because it names the thing.
OPEN_KINDS = {
    "branch": Key("branch", "kind", "words", "", "", "what the branch feeds", safe="other",
                  choices=BRANCH_CHOICES,
                  consequence="counted as a load of another kind; what a charger, an inlet or "
                              "sense wires would add to a fault is not counted",
                  find="follow the two conductors to their other end"),
    "precharge.load": Key("precharge.load", "kind", "words", "", "", "how the load draws",
                          safe="constant power", choices=KIND_CHOICES,
                          consequence="counted as constant power, which can stop the pre-charge, "
                                      "unless its resistance is given",
                          find="a heater or lamp is resistive; a converter draws constant power"),
}


def _kind(notes: Notes, table: Mapping[str, Any], section: str, path: KeyPath) -> str:
    """The kind of a branch or load; the word `unknown` is legal and listed as open."""
    key, raw = OPEN_KINDS[section], table.get("kind")
    if raw is None or not is_unknown(raw):
        return notes.choice(table, "kind", path, key.choices)
    taken = str(key.safe)
    if section == "precharge.load" and not is_unknown(table.get("resistance")):
        taken = "resistive"
    notes.unknowns.append(Unknown(shown_key((*path, "kind")), key, taken, None))
    return taken


def _branches(notes: Notes, data: Mapping[str, Any]) -> list[dict[str, Any]]:
    written, raw = _found(notes, data, "branch")
    path: KeyPath = (written,)
    known = ["name", "kind", "fuse_part", *(key.name for key in keys_of("branch"))]
    found = []
    for index, table in enumerate(notes.tables(raw, path, MOST_BRANCHES)):
        at = (*path, index)
        notes.only(table, known, at)
        branch: dict[str, Any] = {
            "name": notes.words(table, "name", at, f"branch {index + 1}"),
            "kind": _kind(notes, table, "branch", at),
            "fuse_part": notes.words(table, "fuse_part", at)}
        found.append(branch | _branch_figures(notes, table, at))
    _distinct(notes, [branch["name"] for branch in found], path)
    return found


def _branch_figures(notes: Notes, table: Mapping[str, Any], path: KeyPath) -> dict[str, Any]:
    """Power or current is asked for, never both; the fuse stands on the branch's own length."""
    before = len(notes.unknowns)
    found = _entries(notes, "branch", table, path)
    load = {name for name in ("power", "current") if not is_unknown(table.get(name))}
    if len(load) == 2:
        notes.fault((*path, "current"), "a branch has its power or its current", "give one alone")
    if load:
        notes.unknowns[before:] = [u for u in notes.unknowns[before:]
                                   if u.key.name not in ("power", "current")]
    _hold(notes, "tap_length", "length", True, found, (*path, "tap_length"))
    return found


def _loads(notes: Notes, data: Mapping[str, Any]) -> list[dict[str, Any]]:
    written, section = _found(notes, data, "precharge")
    path: KeyPath = (written, "load")
    raw = section.get("load") if isinstance(section, Mapping) else None
    known = ["name", "kind", *(key.name for key in keys_of("precharge.load"))]
    found = []
    for index, table in enumerate(notes.tables(raw, path, MOST_LOADS)):
        at = (*path, index)
        notes.only(table, known, at)
        load: dict[str, Any] = {
            "name": notes.words(table, "name", at, f"load {index + 1}"),
            "kind": _kind(notes, table, "precharge.load", at)}
        found.append(load | _load_figures(notes, load["kind"], table, at))
    _distinct(notes, [load["name"] for load in found], path)
    return found


def _wake_alike(notes: Notes, loads: list[dict[str, Any]],
                branches: list[dict[str, Any]]) -> None:
    """A load whose waking voltage is open takes that of the branch of its name: one thing."""
    told = {b["name"]: b["wakes_at"] for b in branches if b["wakes_at"].known}
    for index, load in enumerate(loads):
        if load["name"] in told and not load["wakes_at"].known:
            load["wakes_at"] = told[load["name"]]
            dotted = f"precharge.load[{index}].wakes_at"
            notes.unknowns[:] = [u for u in notes.unknowns if u.dotted != dotted]


def _load_figures(notes: Notes, kind: str, table: Mapping[str, Any],
                  path: KeyPath) -> dict[str, Any]:
    """A resistive load has a resistance, one of constant power its power: never both."""
    needed, foreign = ("resistance", "power") if kind == "resistive" else ("power", "resistance")
    before = len(notes.unknowns)
    found = _entries(notes, "precharge.load", table, path)
    notes.unknowns[before:] = [u for u in notes.unknowns[before:] if u.key.name != foreign]
    if not kind:
        return found
    if table.get(needed) is None:
        find = next(key.find for key in keys_of("precharge.load") if key.name == needed)
        notes.fault((*path, needed), f"a {kind} load needs its {needed}",
                    f"find it: {find}; or write {LEFT_OPEN!r}")
    if not is_unknown(table.get(foreign)):
        notes.fault((*path, foreign), f"a {kind} load has no {foreign} of its own",
                    f"give its {needed} alone")
    return found


def _parts(notes: Notes, data: Mapping[str, Any], routes: list[dict[str, Any]],
           branches: list[dict[str, Any]]) -> PartsUse:
    """The parts list beside the brief, and every part that the brief names from it."""
    written, raw = _found(notes, data, "parts")
    table = notes.table(raw, (written,))
    notes.only(table, ["file", *NAMED_PARTS], (written,))
    names = {name: notes.words(table, name, (written,)) for name in NAMED_PARTS}
    file = notes.words(table, "file", (written,))
    wanted: list[tuple[KeyPath, str, str]] = [
        *(((written, name), kind, names[name]) for name, kind in NAMED_PARTS.items()),
        *((("cables", "route", i, "cable"), CABLE, r["cable"]) for i, r in enumerate(routes)),
        *((("branch", i, "fuse_part"), FUSE, b["fuse_part"]) for i, b in enumerate(branches))]
    wanted = [(path, kind, name) for path, kind, name in wanted if name]
    if not file:
        for path, _, name in wanted:
            notes.fault(path, f"{name!r} is named without a parts list",
                        "add [parts] with file = \"parts.csv\"")
        return PartsUse(**names)
    try:
        listed = read_parts(_beside(notes.place, file))
    except UserError as error:
        notes.refused(("parts", "file"), error)
        return PartsUse(**names)
    for path, kind, name in wanted:
        try:
            listed.part(kind, name)
        except UserError as error:
            notes.refused(path, error)
    return PartsUse(listed, **names)


def _distinct(notes: Notes, names: list[str], path: KeyPath) -> None:
    first: dict[str, int] = {}
    for index, name in enumerate(names):
        plain = "".join(ch.lower() for ch in name if ch.isascii() and ch.isalnum())
        if not plain:
            notes.fault((*path, index, "name"), f"the name {name!r} has no Latin letter or digit",
                        "give it one: the report's keys are made of these")
            continue
        if plain in first:
            line = notes.line((*path, first[plain]))
            before = f"on line {line}" if line else f"in entry {first[plain] + 1}"
            notes.fault((*path, index, "name"), f"the name {name!r} stands already {before}",
                        "give each its own, apart in letters or digits")
        first.setdefault(plain, index)


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
        if steps[0] == "modules" and isinstance(steps[1], int):
            steps[1] = brief.index_of(steps[1])  # None, for no type, is no entry
            if steps[2:] == [RESISTANCE]:  # of which every corner is made, new and aged
                steps[2:] = ["module", "resistance_high"]
        changed = _replaced(brief, steps, value, dotted)
        growth = dotted.removesuffix(HEALTH) + GROWTH
        if steps[-1] == HEALTH and brief.left_open(growth):
            index = int(steps[1])
            on_hand = changed.modules[index]
            aged = replace(on_hand, resistance_growth=growth_left_open(
                on_hand.module, on_hand.state_of_health, on_hand.resistance_growth.origin))
            changed = replace(changed, modules=(*changed.modules[:index], aged,
                                                *changed.modules[index + 1:]))
        return changed
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
