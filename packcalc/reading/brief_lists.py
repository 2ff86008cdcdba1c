"""What a brief lists around the pack: cable routes, branches, loads on the bus at pre-charge."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from packcalc.brief import Unknown
from packcalc.brief_keys import (
    BRANCH_CHOICES, CARRIES_CHOICES, NO_CAPACITOR, NO_FUSE, NO_LOAD_OF_ITS_OWN, STRICTEST_INSTALL,
)
from packcalc.entry_key import Key
from packcalc.findings import Finding
from packcalc.reading.brief_sections import (
    as_written,
    hold_order,
    names_of,
    not_asked,
    read_entries,
)
from packcalc.reading.entries import LEFT_OPEN, Notes, is_unknown, keys_of
from packcalc.reading.positions import KeyPath, shown_key
from packcalc.value import replace

KIND_CHOICES = ("resistive", "constant power")
MOST_ROUTES = 100
MOST_LOADS = 100
MOST_BRANCHES = 100
ASSUMED_ROUTE = "battery to inverter"
RISING_IN_ROUTE = (
    ("surroundings.cable_ambient", "terminal_limit", False),
    ("surroundings.cable_ambient", "insulation_class", False),
    ("terminal_limit", "joint_limit", True),
)


def read_routes(notes: Notes, data: Mapping[str, Any], rules: str) -> list[dict[str, Any]]:
    """The cable routes; one from battery to inverter is assumed where none is given."""
    written, cables = as_written(notes, data, "cables")
    path: KeyPath = (written, "route")
    raw = cables.get("route") if isinstance(cables, Mapping) else None
    tables = list(notes.tables(raw, path, MOST_ROUTES))
    if all(isinstance(t, Mapping) and t.get("carries") == "charging" for t in tables):
        tables.append({"name": ASSUMED_ROUTE})  # sag is never judged without a cable
    known = ("name", "carries", "cable", *names_of("cables.route"))
    found = []
    for index, table in enumerate(tables):
        at = (*path, index)
        notes.only(table, known, at)
        route: dict[str, Any] = {
            "name": notes.words(table, "name", at, f"route {index + 1}"),
            "carries": notes.choice(table, "carries", at, CARRIES_CHOICES, "traction"),
            "cable": notes.words(table, "cable", at)}
        route |= read_entries(notes, "cables.route", table, at)
        if is_unknown(table.get("install")) and rules in STRICTEST_INSTALL:
            route["install"] = _strictest(notes, rules)
        for lower, higher, equal in RISING_IN_ROUTE:
            hold_order(notes, lower, higher, equal, route, (*at, higher))
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


NO_CAPACITOR_WORDS = "nothing is counted: such wires end in no capacitor"
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


def read_branches(notes: Notes, data: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The branches; what each is read as stays a plain dict until all of the brief holds."""
    written, raw = as_written(notes, data, "branch")
    path: KeyPath = (written,)
    known = ("name", "kind", "fuse_part", *names_of("branch"))
    found = []
    for index, table in enumerate(notes.tables(raw, path, MOST_BRANCHES)):
        at = (*path, index)
        notes.only(table, known, at)
        branch: dict[str, Any] = {
            "name": notes.words(table, "name", at, f"branch {index + 1}"),
            "kind": _kind(notes, table, "branch", at),
            "fuse_part": notes.words(table, "fuse_part", at)}
        found.append(branch | _branch_figures(notes, branch["kind"], table, at))
    _distinct(notes, [branch["name"] for branch in found], path)
    return found


def _branch_figures(notes: Notes, kind: str, table: Mapping[str, Any],
                    path: KeyPath) -> dict[str, Any]:
    """Power or current is asked for, never both; the fuse stands on the branch's own length."""
    before = len(notes.unknowns)
    rating = table.get("fuse_rating")
    bare = isinstance(rating, str) and rating.strip().lower() == NO_FUSE
    found = read_entries(notes, "branch", {**table, "fuse_rating": None} if bare else table, path)
    if bare:
        not_asked(notes, before, ("fuse_rating",))
        if not is_unknown(table.get("fuse_part") or None):
            notes.fault((*path, "fuse_rating"), f"{NO_FUSE!r}, and fuse_part names a fuse",
                        "leave out one of the two")
    load = {name for name in ("power", "current") if not is_unknown(table.get(name))}
    if len(load) == 2:
        notes.fault((*path, "current"), "a branch has its power or its current", "give one alone")
    if load:
        not_asked(notes, before, ("power", "current"))
    if kind in NO_LOAD_OF_ITS_OWN and "input_voltage" not in table:
        not_asked(notes, before, ("input_voltage",))
    if kind in NO_CAPACITOR and not found["capacitance"].known:
        found["capacitance"] = _no_capacitor(notes, before, found["capacitance"])
    hold_order(notes, "tap_length", "length", True, found, (*path, "tap_length"))
    return found


def _no_capacitor(notes: Notes, before: int, open_: Finding) -> Finding:
    """An open capacitance of wires that end in none: nothing is counted for it."""
    for at, old in enumerate(notes.unknowns[before:], before):
        if old.key.name == "capacitance":
            notes.unknowns[at] = replace(old, key=replace(old.key, consequence=NO_CAPACITOR_WORDS))
    return open_.called(note=NO_CAPACITOR_WORDS)


def read_loads(notes: Notes, data: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The loads that are on the bus while it is charged."""
    written, section = as_written(notes, data, "precharge")
    path: KeyPath = (written, "load")
    raw = section.get("load") if isinstance(section, Mapping) else None
    known = ("name", "kind", *names_of("precharge.load"))
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


def _load_figures(notes: Notes, kind: str, table: Mapping[str, Any],
                  path: KeyPath) -> dict[str, Any]:
    """A resistive load has a resistance, one of constant power its power: never both."""
    needed, foreign = ("resistance", "power") if kind == "resistive" else ("power", "resistance")
    before = len(notes.unknowns)
    found = read_entries(notes, "precharge.load", table, path)
    not_asked(notes, before, (foreign,))
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


def wake_alike(notes: Notes, loads: list[dict[str, Any]],
               branches: list[dict[str, Any]]) -> None:
    """A load whose waking voltage is open takes that of the branch of its name: one thing."""
    told = {b["name"]: b["wakes_at"] for b in branches if b["wakes_at"].known}
    for index, load in enumerate(loads):
        if load["name"] in told and not load["wakes_at"].known:
            load["wakes_at"] = told[load["name"]]
            dotted = f"precharge.load[{index}].wakes_at"
            notes.unknowns[:] = [u for u in notes.unknowns if u.dotted != dotted]


def _distinct(notes: Notes, names: list[str], path: KeyPath) -> None:
    """Fault names of one list that are one once the report makes its keys of them."""
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
