"""One entry of a user's file: its value, its origin, or its fault.

A `Notes` object goes through the whole reading of one file. It gathers every fault, every
entry left open and every value read, so that a file is judged in one pass.
"""

from __future__ import annotations

import datetime
import functools
import math
import numbers
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from packcalc.bench_keys import OPTIONAL_KEYS
from packcalc.brief import Unknown
from packcalc.brief_keys import KEYS
from packcalc.dimensions import BARE, dimension
from packcalc.entry_key import Key
from packcalc.errors import Fault, InputErrors, UnitError, UserError, nearest
from packcalc.findings import NO_BOUND, Finding, Origin, leaf, with_more
from packcalc.reading.positions import LONGEST_SHOWN, KeyPath, locate, one_line, shown_key
from packcalc.units import (
    from_si,
    into_si,
    leading_number,
    odd_character,
    other_reading,
    parse_range,
    printed,
    range_ends,
    show,
    to_si,
)
from packcalc.value import value_object

MOST_FAULTS = 100
SMALL_VEHICLE = 60.0  # V; scooters and carts lie below it, and they have a few hundred watts
LEFT_OPEN = "unknown"
LONGEST_WORDS = 200
LARGEST_WHOLE = 10**15
WHOLE_NUMBERS = ("modules.count", "power.peaks_in_life", "cables.route.grouped_circuits",
                 "precharge.tries", "bench.modules_in_pack", "bench.testers",
                 "donor.modules_in_parallel", "donor.service_plug_after", "pack.disconnect_after",
                 "pack.fuse_after", "insulation.pollution_degree",
                 "management.channels_per_monitor", "management.temperature_sensors")
_KINDS: tuple[tuple[type, str], ...] = (
    (bool, "true or false"), (numbers.Real, "a bare number"), (str, "a text"),
    (Mapping, "a table"), ((list, tuple), "a list"),  # type: ignore[list-item]
    ((datetime.date, datetime.time), "a date or time"))  # type: ignore[list-item]


@functools.cache
def keys_of(section: str) -> tuple[Key, ...]:
    """The keys of one section of the brief, in the order of the schema."""
    return tuple(key for key in (*KEYS, *OPTIONAL_KEYS) if key.section == section)


def kind_of(raw: Any) -> str:
    """What a value is, in the words of a message."""
    return next((words for kind, words in _KINDS if isinstance(raw, kind)), "not readable")


def is_unknown(raw: Any) -> bool:
    """Whether an entry is left open: absent, None or the word `unknown`."""
    return raw is None or (isinstance(raw, str) and raw.strip().lower() == LEFT_OPEN)


LEAST_LIKE = 5  # letters; a shorter word is not taken for a misspelt `unknown`


def meant_open(raw: Any) -> str:
    """What is right where a text is the word `unknown` misspelt; else empty."""
    if not isinstance(raw, str) or not LEAST_LIKE <= len(raw.strip()) <= 2 * len(LEFT_OPEN):
        return ""
    return f"did you mean {LEFT_OPEN!r}?" if nearest(raw.strip(), (LEFT_OPEN,)) else ""


@dataclass
class Notes:
    """What is gathered while one file is read.

    Attributes:
        place: file name as given.
        text: of the file; empty when the data came from Python.
        faults: everything wrong so far.
        unknowns: entries left open so far.
        read: findings so far by the dotted key of their section.
        slipped: keys that are missing only because their name is misspelt.
        headed: section to its name as the file has it, where that is misspelt.
    """

    place: str
    text: str = ""
    faults: list[Fault] = field(default_factory=list)
    unknowns: list[Unknown] = field(default_factory=list)
    read: dict[str, Finding] = field(default_factory=dict)
    slipped: set[str] = field(default_factory=set)
    headed: dict[str, str] = field(default_factory=dict)

    def line(self, path: KeyPath) -> int:
        return locate(self.text, path) if self.text else 0

    def origin(self, path: KeyPath, raw: Any) -> Origin:
        return Origin(self.place, self.line(path), shown_key(path), one_line(str(raw), 120))

    def fault(self, path: KeyPath, wrong: str, right: str = "") -> None:
        self.add(Fault(self.place, self.line(path), shown_key(path), one_line(wrong),
                       one_line(right)))

    def add(self, *faults: Fault) -> None:
        """Keep faults; beyond `MOST_FAULTS` the file is given up."""
        self.faults += faults
        if len(self.faults) > MOST_FAULTS:
            rest = Fault(self.place, 0, "", f"more than {MOST_FAULTS} faults", "mend these first")
            raise InputErrors([*self.faults[:MOST_FAULTS], rest])

    def refused(self, path: KeyPath, error: UserError) -> None:
        """Keep what a lower floor refused, under the key that asked.

        A fault of another file as a whole has no line of its own: it stands at the entry that
        names the file.
        """
        if isinstance(error, InputErrors):
            for fault in error.faults:
                if fault.line or fault.file == self.place:
                    self.add(fault)
                else:
                    self.fault(path, f"{fault.file} {fault.wrong}", fault.right)
        else:
            wrong, _, right = str(error).partition("; ")
            self.fault(path, wrong, right)

    def raise_faults(self) -> None:
        """Raise what was gathered; a key that only slipped is told once, where it is misspelt."""
        faults = [fault for fault in self.faults
                  if fault.file != self.place or fault.key not in self.slipped]
        if faults:
            raise InputErrors(sorted(faults, key=lambda fault: fault.line))

    # -- shape ------------------------------------------------------------------------------

    def table(self, raw: Any, path: KeyPath) -> Mapping[str, Any]:
        """A section; absent counts as empty."""
        if isinstance(raw, Mapping):
            return raw
        if raw is not None:
            self.fault(path, f"is {kind_of(raw)}, not a section",
                       f"write [{path[-1]}] and its entries below")
        return {}

    def tables(self, raw: Any, path: KeyPath, most: int) -> list[Mapping[str, Any]]:
        """A list of sections; absent counts as empty."""
        name = ".".join(str(part) for part in path)
        if raw is None:
            return []
        if not isinstance(raw, (list, tuple)):
            self.fault(path, f"is {kind_of(raw)}, not a list of sections",
                       f"write [[{name}]] in double brackets")
            return []
        if len(raw) > most:
            self.fault(path, f"{len(raw)} entries, more than the {most} that are read")
            return []
        return [self.table(item, (*path, index)) for index, item in enumerate(raw)]

    def only(self, table: Mapping[str, Any], known: Iterable[str], path: KeyPath) -> None:
        """Refuse names that no schema holds, and point to the near one."""
        allowed = list(known)
        for name in table:
            if name not in allowed:
                right = _where_instead(str(name), allowed, path)
                self.fault((*path, str(name)), "unknown key", right)
                near = nearest(str(name), allowed)
                if near and near not in table and right == _meant(near):
                    self.slipped.add(shown_key((*path, near)))

    # -- words ------------------------------------------------------------------------------

    def words(self, table: Mapping[str, Any], name: str, path: KeyPath,
              default: str = "") -> str:
        """A short text without control characters."""
        raw = table.get(name)
        if is_unknown(raw):
            return default
        wrong = _why_no_words(raw)
        if wrong:
            self.fault((*path, name), wrong, f"up to {LONGEST_WORDS} characters in one line")
            return default
        return str(raw).strip() or default

    def choice(self, table: Mapping[str, Any], name: str, path: KeyPath,
               choices: tuple[str, ...], default: str = "") -> str:
        """One word of a list; a fault when it is left open and no default is safe."""
        raw = table.get(name)
        right = "write " + " or ".join(f'"{choice}"' for choice in choices)
        if is_unknown(raw):
            if not default:
                self.fault((*path, name), "is needed", right)
            return default
        if isinstance(raw, str) and raw in choices:
            return raw
        if isinstance(raw, str):
            odd = odd_character(raw[:LONGEST_SHOWN])
            self.fault((*path, name), f"{raw!r:.{LONGEST_SHOWN}} "
                       + (f"{odd}, and is no choice" if odd else "is no choice"),
                       meant_open(raw) or right)
        else:
            self.fault((*path, name), f"is {kind_of(raw)}", right)
        return default


MOST_KEYS_SHOWN = 6


# Sections that may stand several times, and so in double brackets.
REPEATED = ("modules", "branch", "cables.route", "precharge.load")


def header(section: str) -> str:
    """A section as its head is written."""
    return f"[[{section}]]" if section in REPEATED else f"[{section}]"


def _homes(name: str, path: KeyPath) -> str:
    """The sections that have an entry of that name; one inside the section it stands in first."""
    found = dict.fromkeys(key.section for key in KEYS if key.name == name and key.section)
    inside = [section for section in found if path and section.startswith(f"{path[0]}.")]
    return " or ".join(header(section) for section in inside or found)


def _meant(near: str) -> str:
    return f"did you mean {near!r}?"


def _where_instead(name: str, allowed: list[str], path: KeyPath) -> str:
    homes = _homes(name, path)
    if homes and path:
        return f"it belongs under {homes}"
    near = nearest(name, allowed)
    if near:
        return _meant(near)
    if homes:
        return f"it belongs under {homes}"
    near = nearest(name, dict.fromkeys(key.name for key in KEYS))
    if near:
        return f"did you mean {near!r}, which belongs under {_homes(near, path)}?"
    more = len(allowed) - MOST_KEYS_SHOWN
    return "known here: " + ", ".join(allowed[:MOST_KEYS_SHOWN]) + (
        f" and {more} more; packcalc new writes them all" if more > 0 else "")


def _why_no_words(raw: Any) -> str:
    if not isinstance(raw, str):
        return f"is {kind_of(raw)}, not a text"
    if len(raw) > LONGEST_WORDS:
        return f"is {len(raw)} characters long"
    odd = "" if raw.isprintable() else next(
        (c for c in raw if unicodedata.category(c)[0] == "C"
         or unicodedata.category(c) in ("Zl", "Zp")), "")
    return f"holds the control character U+{ord(odd):04X}" if odd else ""


# -- quantities -------------------------------------------------------------------------------


def number_si(raw: Any, dim: str) -> float:
    """A text with a unit or a pint quantity to SI; a bare number only where no unit belongs.

    Raises:
        UnitError: no finite quantity of that dimension.
    """
    example = dimension(dim).example
    if isinstance(raw, numbers.Real) and not isinstance(raw, bool):
        if isinstance(raw, numbers.Integral) and abs(raw) > LARGEST_WHOLE:
            raise UnitError(f"a whole number beyond {LARGEST_WHOLE:.0e}; "
                            f"write it like \"{example}\"")
        value = float(raw)
        if not math.isfinite(value):
            raise UnitError(f"{value} is no finite number; write it like \"{example}\"")
        if dim not in BARE:
            raise UnitError(f"{value:.10g} has no unit; write it like \"{example}\"")
        return value
    if isinstance(raw, str) or hasattr(raw, "magnitude"):
        return to_si(raw, dim)
    raise UnitError(f"is {kind_of(raw)}, not a quantity; write it like \"{example}\"")


def plausible(value: float, key: Key) -> bool:
    """Whether a value in SI lies in the key's span."""
    shown = from_si(value, key.unit)
    if key.zero and shown == 0:
        return True
    slack = 1e-9 * max(abs(key.least or 0.0), abs(key.most or 0.0))
    return (key.least is None or shown >= key.least - slack) \
        and (key.most is None or shown <= key.most + slack)


def _figure(value: float, unit: str) -> str:
    return f"{from_si(value, unit):.7g} {printed(unit)}".rstrip()


def span(key: Key) -> str:
    """The plausible span as printed, e.g. "12 to 1500 V"; empty where there is none."""
    if key.least is None or key.most is None:
        return ""
    nothing = "0, or " if key.zero else ""
    return f"{nothing}{key.least:.10g} to {key.most:.10g} {printed(key.unit)}".rstrip()


def _near_miss(value: float, key: Key, words: str) -> str:
    """What was probably meant when a prefix or a percent sign slipped: the unit asked for first."""
    if key.dimension == "temperature":
        return ""
    number = leading_number(words)
    meant = [] if number is None or not key.unit else [into_si(number, key.unit)]
    factors = (100.0,) if key.dimension == "ratio" else (1000.0, 1e-3)
    near = next((v for v in (*meant, *(value * f for f in factors)) if plausible(v, key)), None)
    return "" if near is None else f"did you mean {_figure(near, key.unit)}?"


def _odd(notes: Notes, key: Key, value: float, words: str) -> bool:
    """Whether a thousand may be lost: little for such a vehicle, and not in the own unit."""
    shown = from_si(value, key.unit)
    if key.odd is None or not shown or shown >= key.odd:
        return False
    lowest = notes.read.get("inverter.voltage_low")
    small = lowest is not None and lowest.known and lowest.number <= SMALL_VEHICLE
    number = leading_number(words)
    own = number is not None and math.isclose(number, shown, rel_tol=1e-9)
    return not (small or own)


_WITH_POINT = re.compile(r"\d+\.\d+")


def _judged(notes: Notes, key: Key, value: float, path: KeyPath, words: str,
            text: str | None = None) -> float | None:
    """The value, or None with a fault when it is implausible, not whole, or read two ways.

    A point before exactly three digits may mark thousands: where both readings are plausible
    for this entry the user is asked. "3.650 V" of a cell or "110.000 kW" of a motor is not.
    """
    if key.ends and key.least is not None and from_si(value, key.unit) < key.least \
            and not plausible(value, key):
        wrong, _, right = key.ends.partition("; ")
        notes.fault(path, f"{words} {wrong}", right)
        return None
    if key.beyond and key.most is not None and from_si(value, key.unit) > key.most \
            and not plausible(value, key):
        wrong, _, right = key.beyond.partition("; ")
        notes.fault(path, f"{words} {wrong}", right)
        return None
    if not plausible(value, key):
        near = _near_miss(value, key, words if text is None else text)
        notes.fault(path, f"{words} is not plausible for {key.title} ({span(key)})",
                    near or "check the figure and its unit")
        return None
    if _odd(notes, key, value, words if text is None else text):
        notes.fault(path, f"{words} is odd for {key.title} beside an inverter above "
                    f"{SMALL_VEHICLE:g} V", f"did you mean {_figure(value * 1000.0, key.unit)}? "
                    f"else write it as {_figure(value, key.unit)}")
        return None
    other = other_reading(words if text is None else text, key.dimension)
    if other is not None and plausible(other[0], key):
        wrong, _, right = other[1].partition("; ")
        notes.fault(path, wrong, right)
        return None
    if key.dotted in WHOLE_NUMBERS and value != int(value):
        notes.fault(path, f"{words} is not a whole number", "write it like 16")
        return None
    if key.dotted in WHOLE_NUMBERS and notes.text and _WITH_POINT.fullmatch(words):
        # TOML reads 1.000 as one: a count with a point may be meant in thousands.
        notes.fault(path, f"{words} is a count with a point", f"write {value:.0f}, or in full "
                    "where the point marks thousands")
        return None
    return value


def given(notes: Notes, key: Key, raw: Any, path: KeyPath) -> float | None:
    """The value of one quantity in SI; None with a fault noted."""
    kind = "count" if key.dotted in WHOLE_NUMBERS else key.dimension
    try:
        return _judged(notes, key, number_si(raw, kind), path,
                       one_line(_user_text(raw), LONGEST_SHOWN))
    except UserError as error:
        _refused(notes, raw, path, error)
        return None


def _refused(notes: Notes, raw: Any, path: KeyPath, error: UserError) -> None:
    """Keep a fault; a misspelt `unknown` is asked about before any form of a quantity."""
    meant = meant_open(raw)
    if meant:
        odd = odd_character(raw.strip())
        notes.fault(path, f"{raw.strip()!r} {odd + ', and ' if odd else ''}is no quantity", meant)
    else:
        notes.refused(path, error)


def _given_range(notes: Notes, key: Key, raw: Any, path: KeyPath) -> list[float | None]:
    texts = ["", ""]
    try:
        if isinstance(raw, str):
            ends, texts = list(parse_range(raw, key.dimension)), range_ends(raw)
        elif isinstance(raw, (list, tuple)) and len(raw) == 2:
            ends = [number_si(end, key.dimension) for end in raw]
            texts = [_user_text(end) for end in raw]
        else:
            example = dimension(key.dimension).example.split()[-1]
            raise UnitError(f"is {kind_of(raw)}, not a range; write it like "
                            f"\"260 {example} to 430 {example}\"")
        if not ends[0] < ends[1]:
            raise UnitError("the range does not rise; give the lowest first")
    except UserError as error:
        _refused(notes, raw, path, error)
        return [None, None]
    return [_judged(notes, key, end, path, _figure(end, key.unit), text)
            for end, text in zip(ends, texts, strict=True)]


# -- findings ---------------------------------------------------------------------------------


@value_object
class Safe:
    """What counts while an entry is open, in SI: the safe value, and a lucky one."""

    value: float | None
    other: float | None


def schema_safe(key: Key) -> Safe:
    """The safe and the lucky value as the schema states them."""
    value, other = (into_si(float(v), key.unit) if isinstance(v, (int, float)) else None
                    for v in (key.safe, key.other))
    return Safe(value, other)


def entry(notes: Notes, key: Key, raw: Any, path: KeyPath, safe: Safe) -> dict[str, Any]:
    """Read one entry of the schema; its field names (two for a range) to what was read."""
    if is_unknown(raw):
        if key.required and raw is None:  # the word is an answer, a gap is a slip
            notes.fault(path, f"{key.title}: needed for a first answer",
                        f"find it: {key.find}; or write {LEFT_OPEN!r}")
        return _left_open(notes, key, path, safe)
    if key.dimension == "words":
        return {key.name: notes.choice({key.name: raw}, key.name, path[:-1], key.choices,
                                       str(key.safe))}
    origin = notes.origin(path, _user_text(raw))
    if key.pair:
        values = _given_range(notes, key, raw, path)
        return {name: _end_of_range(key, index, value, "given", origin)
                for index, (name, value) in enumerate(zip(key.pair, values, strict=True))}
    value = given(notes, key, raw, path)
    return {key.name: leaf(key.title, key.symbol, key.unit, value, "given", origin=origin)}


def _user_text(raw: Any) -> str:
    if isinstance(raw, (list, tuple)):
        return " to ".join(_user_text(item) for item in raw[:2])
    if isinstance(raw, int) and abs(raw) > LARGEST_WHOLE:
        return "a very large number"
    return str(raw)


def _end_of_range(key: Key, index: int, value: float | None, basis: str, origin: Origin,
                  note: str = "") -> Finding:
    word, mark = (("lowest", "min"), ("highest", "max"))[index]
    symbol = f"{key.symbol},{mark}" if "_" in key.symbol else f"{key.symbol}_{mark}"
    return leaf(f"{key.title}, {word}", symbol, key.unit, value, basis, origin=origin, note=note)


def _left_open(notes: Notes, key: Key, path: KeyPath, safe: Safe) -> dict[str, Any]:
    dotted = shown_key(path)
    words = key.dimension == "words"
    taken = str(key.safe) if words else "none" if safe.value is None else show(safe.value, key.unit)
    other = key.other if words else safe.other
    notes.unknowns.append(Unknown(dotted, key, taken, other, key.required))
    if words:
        return {key.name: str(key.safe)}
    origin = Origin(notes.place, 0, dotted, "unknown")
    if key.pair:
        return {name: _end_of_range(key, index, None, key.basis, origin, key.consequence)
                for index, name in enumerate(key.pair)}
    counted = leaf(key.title, key.symbol, key.unit, safe.value, key.basis,
                   source=key.source, origin=origin, note=key.consequence)
    return {key.name: with_more(counted, f"{dotted} is left open and counted as {taken}, {NO_BOUND}"
                                if key.unbounded else "")}
