"""A parts list from a CSV file: our own plain columns, every fault told with its row.

Comma, semicolon or tab between cells, as the head shows; a cell with a list in it stands
in quotation marks where the separator occurs in it. Points are written
`0.1 s: 3200 A; 1 s: 1500 A`. A row that begins with `#` is a remark.
"""

from __future__ import annotations

import csv
import functools
import hashlib
import os
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from packcalc.brief_keys import NO_CONNECTOR
from packcalc.curves import order_fault
from packcalc.dimensions import dimension
from packcalc.errors import Fault, InputErrors, UnitError, nearest
from packcalc.findings import Finding, Origin, leaf
from packcalc.parts import (
    AGAINST_SPANS,
    COLUMNS,
    CONNECTOR,
    CONTACTOR,
    DISCONNECT,
    FUSE,
    KINDS,
    PART_CLASSES,
    RESISTOR,
    SPANS,
    Part,
    PartColumn,
    PartsList,
    Points,
    column,
)
from packcalc.reading.part_contradictions import contradictions
from packcalc.reading.positions import one_line, read_text
from packcalc.reading.readings_file import in_quotes
from packcalc.reading.told_once import FEW, told_once
from packcalc.units import into_si, other_reading, parse, show

MOST_PARTS = 2000
MOST_FAULTS = 100
MOST_POINTS = 200
LONGEST_CELL = 4000
LONGEST_WORDS = 200
UNKNOWN = ("", "unknown", "-", "–", "n/a")
# Fields whose name differs from the column's, because Python or a class needs the word.
FIELDS = {"class": "class_letters"}
NAMES = tuple(c.name for c in COLUMNS)
CURVES = ("melting", "clearing")
# What stands at a place of the brief, as it names the place (`precharge_relay`, `string_fuse`).
PLACES = (("relay", CONTACTOR), (" contactor", CONTACTOR), (" fuse", FUSE), ("fuse part", FUSE),
          (" resistor", RESISTOR), (" disconnect", DISCONNECT), (" connector", CONNECTOR))
# A sheet prints "20.000 A" for twenty thousand as readily as for twenty, and no span of a part
# tells which; resistances, times and factors are printed with three true decimals.
NOT_ABOVE_ZERO = ("tolerance", "channel_low")  # exact, or from 0 V or a little below
ASKED_ABOUT = ("voltage", "current", "let-through", "power", "energy")


class _Faults:
    """The faults of one file, given up beyond a bound, and what separates its cells."""

    def __init__(self, place: str):
        self.place, self.separator = place, ","
        self.found: list[Fault] = []

    def add(self, line: int, key: str, wrong: str, right: str = "") -> None:
        self.found.append(Fault(self.place, line, key, one_line(wrong), one_line(right)))
        if len(self.found) > MOST_FAULTS:
            self.found[-1] = Fault(self.place, 0, "", f"more than {MOST_FAULTS} faults",
                                   "mend these first")
            self.stop()

    def refused(self, line: int, key: str, error: UnitError) -> None:
        wrong, _, right = str(error).partition("; ")
        self.add(line, key, wrong, right)

    def stop(self) -> None:
        if self.found:
            raise InputErrors(told_once(self.found, by_key=True))


def read_parts(path: str | os.PathLike[str]) -> PartsList:
    """Read a parts list.

    Raises:
        InputErrors: every fault of the file, each with row and column.
    """
    place = one_line(os.fspath(path))
    begin = "its head needs kind and name: `packcalc columns parts` lists what it may hold"
    return parts_from_text(read_text(path, begin=begin), place)


@functools.lru_cache(maxsize=4)  # a brief is read again for each change that is tried
def parts_from_text(text: str, place: str = "parts") -> PartsList:
    """Make a parts list from the text of a CSV file.

    Raises:
        InputErrors: every fault at once.
    """
    faults = _Faults(place)
    rows = _rows(text, faults)
    head = _head(rows, faults)
    parts = []
    for line, cells in _not_wide(rows, faults):
        part = _part(line, cells, head, faults)
        if part is not None:
            parts.append(part)
    _distinct(parts, faults)
    if not parts and not faults.found:
        faults.add(0, "", "holds no part", "one row a part below the head")
    faults.stop()
    return PartsList(place, hashlib.sha256(text.encode()).hexdigest()[:16], tuple(parts))


# -- rows -------------------------------------------------------------------------------------


def _rows(text: str, faults: _Faults) -> list[tuple[int, list[str]]]:
    """(line, cells) of every row that holds something, the head first."""
    lines = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    lines = ["" if line.lstrip(' "').startswith("#") else line for line in lines]
    head = next((line for line in lines if line.strip()), "")
    separator = "\t" if "\t" in head else max(";,", key=head.count)
    faults.separator = separator
    reader = csv.reader((line + "\n" for line in lines), delimiter=separator, strict=True)
    rows: list[tuple[int, list[str]]] = []
    before = 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            faults.add(before + 1, "", f"is no readable row: {error}",
                       "a cell that holds the separator stands in \"quotation marks\"")
            break
        if any(cell.strip() for cell in cells):
            rows.append((before + 1, [cell.strip() for cell in cells]))
        before = reader.line_num
        if len(rows) > MOST_PARTS + 1:
            faults.add(0, "", f"more than {MOST_PARTS} parts", "give the ones in question")
            break
    if not rows:
        faults.add(0, "", "holds no head row", "begin with: kind,name,rated_voltage_dc,…")
        faults.stop()
    return rows


def _not_wide(rows: list[tuple[int, list[str]]], faults: _Faults) -> list[tuple[int, list[str]]]:
    """Rows below the head without those that have more cells than it.

    Where those are many, the separator stands in the cells of other rows too, whose columns have
    moved: what else is wrong with them would only lead astray.
    """
    (_, head), *below = rows
    wide = [line for line, cells in below if any(cells[len(head):])]
    cells_of = dict(below)
    for line in wide:
        faults.add(line, "", f"has {len(cells_of[line])} cells, the head has {len(head)}",
                   in_quotes(faults.separator))
    if len(wide) > FEW:
        faults.stop()
    return [row for row in below if row[0] not in wide]


def _head(rows: list[tuple[int, list[str]]], faults: _Faults) -> list[str]:
    line, cells = rows[0]
    names = [_plain(cell) for cell in cells]
    for index, name in enumerate(names):
        if not name:
            faults.add(line, f"column {index + 1}", "has no name in the head row")
        elif name not in NAMES:
            faults.add(line, cells[index][:40], "unknown column", _near_column(name))
        elif name in names[:index]:
            faults.add(line, name, "stands twice in the head row", "keep one")
    for needed in ("kind", "name"):
        if needed not in names:
            faults.add(line, needed, "is missing from the head row",
                       f"add a column `{needed}`; separators are comma, semicolon or tab")
    faults.stop()
    return names


def _plain(cell: str) -> str:
    return "_".join(cell.strip().lower().split())


def _near_column(name: str) -> str:
    near = nearest(name, NAMES)
    return f"did you mean {near!r}?" if near else "known: " + ", ".join(NAMES)


# -- one part ---------------------------------------------------------------------------------


def _part(line: int, cells: list[str], head: list[str], faults: _Faults) -> Part | None:
    row = {name: cell for name, cell in zip(head, cells, strict=False)
           if cell.lower() not in UNKNOWN}
    kind = " ".join(row.get("kind", "").lower().replace("_", " ").split())
    if kind not in KINDS:
        place = next((k for ending, k in PLACES if kind.replace("-", "").endswith(ending)), "")
        if place:
            faults.add(line, "kind", f"{row['kind'][:40]!r} is a place of the brief",
                       f"write {place}: [parts] of the brief says where it stands")
            return None
        near = nearest(kind, KINDS)
        faults.add(line, "kind", f"{kind[:40]!r} is no kind of part" if kind else "is needed",
                   f"did you mean {near!r}?" if near else "write " + " or ".join(KINDS))
        return None
    if not row.get("name"):
        faults.add(line, "name", "is needed", "your own name of the part")
        return None
    if row["name"].lower() == NO_CONNECTOR:  # the brief says so of a place where nothing stands
        faults.add(line, "name", f"{row['name']!r} is the name of no part",
                   "give it another: in the brief the word says that none stands there")
        return None
    before = len(faults.found)
    entries = _entries(line, kind, row, faults)
    if len(faults.found) > before:
        return None
    made = PART_CLASSES[kind](**entries)
    for key, wrong, right in contradictions(made):
        faults.add(line, key, wrong, right)
    return made.in_direct_current


def _entries(line: int, kind: str, row: Mapping[str, str], faults: _Faults) -> dict[str, Any]:
    basis = _choice(line, column("basis"), row.get("basis", "given"), faults)
    found: dict[str, Any] = {"basis": basis or "given",
                             "origin": Origin(faults.place, line, "name", row["name"][:80])}
    known = {f.name for f in fields(PART_CLASSES[kind])}
    for name, cell in row.items():
        entry = column(name)
        if name in ("kind", "basis"):
            continue
        if kind not in entry.kinds:
            faults.add(line, name, f"a {kind} has no {entry.title}",
                       "leave the cell empty, or give it to: " + ", ".join(entry.kinds))
        elif FIELDS.get(name, name) in known:
            found[FIELDS.get(name, name)] = _value(line, entry, cell, found["basis"], faults)
    return found


def _value(line: int, entry: PartColumn, cell: str, basis: str, faults: _Faults) -> Any:
    if len(cell) > LONGEST_CELL:
        faults.add(line, entry.name, f"holds {len(cell)} characters",
                   f"at most {LONGEST_CELL} are read")
        return None
    if entry.form == "words":
        if len(cell) > LONGEST_WORDS or not cell.isprintable():
            faults.add(line, entry.name, "is too long or holds control characters",
                       f"up to {LONGEST_WORDS} plain characters")
        return cell
    if entry.form == "choice":
        return _choice(line, entry, cell, faults)
    if entry.form == "points":
        return _points(line, entry, cell, basis, faults)
    return _quantity(line, entry, cell, basis, faults)


def _choice(line: int, entry: PartColumn, cell: str, faults: _Faults) -> str:
    for choice in entry.choices:
        if cell.lower() == choice.lower():
            return choice
    near = nearest(cell, entry.choices)
    faults.add(line, entry.name, f"{cell[:40]!r} is not one of " + ", ".join(entry.choices),
               f"did you mean {near!r}?" if near else "")
    return ""


def _quantity(line: int, entry: PartColumn, cell: str, basis: str,
              faults: _Faults) -> Finding | None:
    value = _parsed(line, entry.name, cell, entry.dimension, faults)
    if value is None:
        return None
    if entry.dimension != "temperature" and value <= 0 and entry.name not in NOT_ABOVE_ZERO:
        faults.add(line, entry.name, f"{cell!r} is not above zero", "give a magnitude")
        return None
    if entry.name.endswith("_factor") and value > 1:
        faults.add(line, entry.name, f"{cell!r} is above 1", "a factor is at most 1")
        return None
    if not _plausible(line, entry.name, cell, value, entry.unit, SPANS, faults):
        return None
    return leaf(entry.title, entry.symbol, entry.unit, value, basis,
                origin=Origin(faults.place, line, entry.name, cell))


def _plausible(line: int, name: str, cell: str, value: float, unit: str,
               spans: Mapping[str, tuple[float, float]], faults: _Faults, at: str = "") -> bool:
    """Whether a figure lies within its column's span; what lies outside is told."""
    if name not in spans:
        return True
    low, high = (into_si(end, unit) for end in spans[name])
    slack = 1e-9 * max(abs(low), abs(high))
    if low - slack <= value <= high + slack:
        return True
    faults.add(line, f"{name}{at}", f"{cell[:40]!r} is not plausible",
               f"between {show(low, unit)} and {show(high, unit)}: check the figure and its unit")
    return False


def _parsed(line: int, name: str, cell: str, dim: str, faults: _Faults) -> float | None:
    words = cell.split()
    if dim == "voltage" and words and words[-1].lower() in ("ac", "dc", "vac", "vdc"):
        kind = words[-1].lower()
        wrong = ("is an AC rating, which says nothing about DC" if "ac" in kind
                 else "carries the kind of voltage, which the column's name says")
        right = ("put it under rated_voltage_ac, and ask the maker for the DC rating"
                 if "ac" in kind else f"write {words[0]} V")
        faults.add(line, name, f"{cell!r} {wrong}", right)
        return None
    try:
        value = parse(cell, dim)
        asked = other_reading(cell, dim) if dim in ASKED_ABOUT else None
        if asked is not None:
            raise UnitError(asked[1])
        return value
    except UnitError as error:
        faults.refused(line, name, error)
        return None


def _points(line: int, entry: PartColumn, cell: str, basis: str,
            faults: _Faults) -> Points | None:
    pieces = [piece.strip() for piece in cell.split(";") if piece.strip()]
    if len(pieces) > MOST_POINTS:
        faults.add(line, entry.name, f"holds {len(pieces)} points", f"at most {MOST_POINTS}")
        return None
    pairs: list[tuple[float, float]] = []
    for number, piece in enumerate(pieces, start=1):
        pair = _point(line, entry, number, piece, faults)
        if pair is None:  # one fault a cell: the points after it are likely wrong alike
            return None
        pairs.append(pair)
    wrong = order_fault(pairs, entry.runs, lambda x: show(x, entry.against_unit),
                        lambda y: show(y, entry.unit), 2 if entry.name in CURVES else 1)
    if wrong:
        faults.add(line, entry.name, wrong, f"write points like \"{entry.example}\"")
        return None
    return Points(entry, tuple(x for x, _ in pairs), tuple(y for _, y in pairs),
                  Origin(faults.place, line, entry.name, one_line(cell, 120)), basis)


def _point(line: int, entry: PartColumn, number: int, piece: str,
           faults: _Faults) -> tuple[float, float] | None:
    first, colon, second = (word.strip() for word in piece.partition(":"))
    if not colon:
        faults.add(line, entry.name, f"point {number} {piece[:40]!r} is no pair",
                   f"write points like \"{entry.example}\"")
        return None
    where = f", point {number}"
    x = _parsed(line, f"{entry.name}{where}", first, entry.against, faults)
    y = _parsed(line, f"{entry.name}{where}", second, entry.dimension, faults)
    if x is None or y is None:
        return None
    if not (_plausible(line, entry.name, first, x, entry.against_unit, AGAINST_SPANS, faults, where)
            and _plausible(line, entry.name, second, y, entry.unit, SPANS, faults, where)):
        return None
    return x, y


# -- all parts --------------------------------------------------------------------------------


def _distinct(parts: list[Part], faults: _Faults) -> None:
    first: dict[str, int] = {}
    for part in parts:
        line = part.origin.line if part.origin else 0
        if part.name in first:
            faults.add(line, "name", f"{part.name[:60]!r} stands already on row "
                       f"{first[part.name]}", "give each part its own name")
        first.setdefault(part.name, line)


def describe_columns() -> list[tuple[str, str, str, str, str]]:
    """(column, parts that have it, form, example, meaning) of every column, for the manual."""
    lines = []
    for entry in COLUMNS:
        form = entry.form
        if entry.form == "choice":
            form = " | ".join(entry.choices)
        elif entry.form == "quantity":
            form = f"{entry.dimension}, like {dimension(entry.dimension).example}"
        elif entry.form == "points":
            form = f"points, {entry.against}: {entry.dimension}"
        who = "all" if entry.kinds == KINDS else ", ".join(entry.kinds)
        lines.append((entry.name, who, form, entry.example,
                      f"{entry.title}; {entry.meaning}".rstrip("; ")))
    return lines
