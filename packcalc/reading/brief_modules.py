"""The modules on hand in a brief: which module each is, and what of it is open."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Any

from packcalc.brief import ModulesOnHand, Unknown, growth_left_open
from packcalc.brief_keys import MODULE_RESISTANCE, MODULE_TYPE, REST_VOLTAGES
from packcalc.errors import UnknownName, UserError
from packcalc.findings import Origin
from packcalc.modules import ModuleType, knows_growth
from packcalc.reading.brief_sections import as_written, names_of, not_asked, read_entries
from packcalc.reading.entries import Notes, is_unknown
from packcalc.reading.library import own_record, record, record_with
from packcalc.reading.modules import KEYS as MODULE_KEYS
from packcalc.reading.modules import NEEDED as MODULE_NEEDED
from packcalc.reading.modules import module_from_entries
from packcalc.reading.positions import KeyPath, shown_key
from packcalc.units import odd_character
from packcalc.value import replace

GROWTH = "resistance_growth"
RESISTANCE = "resistance"
MOST_MODULES = 1000


def read_modules(notes: Notes, data: Mapping[str, Any]) -> list[ModulesOnHand]:
    """Every type on hand; one that is open or at fault is left out, which is noted."""
    written, raw = as_written(notes, data, "modules")
    tables = notes.tables(raw, (written,), MOST_MODULES)
    if raw is None or raw == []:
        notes.fault(("modules",), "no modules on hand: needed for a first answer",
                    "add [[modules]] with label = \"12s 160 Ah NMC\" and count = 16")
    found = []
    known = (*names_of("modules"), "record", *MODULE_KEYS)
    for index, table in enumerate(tables):
        path = (written, index)
        entries = _module_entries(notes, table, path)
        notes.only(table, known, path)
        figures = {name: value for name, value in table.items()
                   if name in MODULE_KEYS and not is_unknown(value)}
        if _type_open(notes, table, figures, path) \
                or not figures and _type_slipped(notes, path):
            continue
        module = read_type(notes, table.get("record"), figures, path)
        if module is None:
            continue
        if module.needs_bench:
            notes.unknowns.append(Unknown(shown_key((*path, "rest_voltages")), REST_VOLTAGES,
                                          "none", None, True))
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
    found = read_entries(notes, "modules", table, path)
    pair = ("conductor_section", "conductor_withstand")
    if any(found[name].known for name in pair):
        not_asked(notes, before, pair)
    return found


def read_type(notes: Notes, name: Any, figures: dict[str, Any],
            path: KeyPath) -> ModuleType | None:
    """One module type: by its record, its label or its figures; own figures come first."""
    at = path if is_unknown(name) else (*path, "record")

    def origin_of(figure: str) -> Origin:
        return notes.origin((*path, figure), figures.get(figure, ""))

    try:
        if is_unknown(name):
            if not figures:
                raise UserError("which module? needed for a first answer; give label = "
                                "\"12s 160 Ah NMC\", or record = \"…\" from `packcalc library`")
            return module_from_entries(figures, origin_of)
        words = notes.words({"record": name}, "record", path)
        if not words:
            return None
        if "label" in figures:
            raise UserError("a record and a label say the same twice; keep one of the two")
        if own_file(words):
            return own_record(beside(notes.place, words), figures, origin_of)
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


def own_file(name: Any) -> bool:
    """Whether a record is named by a file of the user's own, beside the brief."""
    return isinstance(name, str) and name.strip().lower().endswith(".toml")


def beside(place: str, name: str) -> str:
    """The path of a file that a brief names from the folder it stands in."""
    return os.path.normpath(os.path.join(os.path.dirname(place), name.strip()))
