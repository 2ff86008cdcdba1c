"""A bench sheet from CSV as a spreadsheet writes it: comma, semicolon or tab.

The decimal mark is declared once, by a line `# decimal: comma` above the head; without it
a decimal point counts. Units stand in the heads of the columns. Every fault is told at
once, each with its line; the file is opened for reading only.
"""

from __future__ import annotations

import datetime
import hashlib
import math
import os
import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from packcalc.bench.sheet import (
    ANSWER_CHOICES,
    ANSWERS,
    DATES,
    FIGURES,
    WORDS,
    BenchRow,
    BenchSheet,
    DatedVoltage,
    Figure,
)
from packcalc.dimensions import dimension, to_si_number
from packcalc.errors import Fault, InputErrors, UserError, nearest
from packcalc.findings import Finding, Origin, leaf
from packcalc.modules import ModuleType
from packcalc.reading.brief_modules import beside, own_file
from packcalc.reading.library import check_record, ids, module_from_label, record
from packcalc.reading.positions import one_line
from packcalc.reading.sheet_text import (
    DECLARED,
    MARKS,
    Record,
    is_comment,
    read_text,
    records,
)
from packcalc.reading.told_once import told_once
from packcalc.units import fold, into_si, printed, several
from packcalc.value import replace, value_object

MOST_ROWS, MOST_COLUMNS, MOST_FAULTS = 20_000, 200, 100
LONGEST_MARK, LONGEST_WORDS = 40, 300
NO_LABEL = "is no module label"  # how the reader of labels says that a text is none
EMPTY = ("", "-", "–", "—", "--")
BLANK = (*EMPTY, "?", "unknown", "n/a", "n.a.", "na")
# A spreadsheet writes up to seventeen significant digits, below 1 with zeros before them.
_NUMBER = re.compile(r"[+-]?\d{1,15}(?:([.,])\d{1,30})?(?:[eE][+-]?\d{1,3})?")
# A blank inside a number parts thousands, or it is no number: 20 5 is not 205.
_THOUSANDS = re.compile(r"([+-]? ?)\d{1,3}(?: \d{3})+(?![\d ])")

# Head of a column to (figure, unit); case counts, because mohm and Mohm differ.
HEADS: dict[str, tuple[Figure, str]] = {
    f"{figure.name}_{ending}": (figure, unit)
    for figure in FIGURES for ending, unit in figure.units}
PLAIN_HEADS = ("mark", *WORDS, *ANSWERS, *DATES)


@value_object
class ColumnLine:
    """One line of the reference table of the bench sheet."""

    heads: str
    title: str
    find: str


_PLAIN_LINES = (
    ColumnLine("mark", "what you wrote on the module; the only column that must be there",
               "a paint pen, before the module leaves the donor"),
    ColumnLine("module", "record of the library, your own file like mine.toml, or label, "
               "e.g. 12s 160 Ah NMC",
               "the label; left out, the brief's only [[modules]] entry counts"),
    ColumnLine("rest_date, first_date, second_date", "days of the readings, like 2026-03-31 or "
               "2026-03-31 08:00; the plan before joining counts on the latest voltage; with no "
               "rest_voltage the later reading of the self-discharge test stands for it",
               "the bench's own diary"),
    ColumnLine("crash, water", "yes, no or unknown: was the donor crashed, stood it in water; left "
               "out, the brief's [donor] answers for the rows of its title, or for all where no "
               "row names a donor; where row and [donor] differ it is asked, and the worse counts",
               "seller, insurer's paper, tide marks and rust in the donor"),
    ColumnLine("charged_or_drained", "yes, no or unknown: was it charged or drained between its "
               "self-discharge test and a rest voltage read after that", "the bench's own diary"),
    ColumnLine("lifetime_record", "yes, no or unknown: is there a record of the module's life",
               "donor's management system, read out before it is taken apart"),
    ColumnLine("expiry", "end of the calendar life that the maker states", "the maker's paper"),
    ColumnLine("damage, donor, storage", "words: dents, swelling, smell; which donor; where it "
               "lay and how charged. Water, fire or swelling in any of them sets the module aside; "
               "words and figures in donor or storage that are not understood are told; damage "
               "that is unknown, or ?, is asked about, an empty cell of it told as left open",
               "look, and write it down"),
)


def describe_columns() -> tuple[ColumnLine, ...]:
    """Every column that is read: heads, meaning, how to find the figure."""
    measured = (ColumnLine(", ".join(f"{f.name}_{ending}" for ending, _ in f.units), f.title,
                           f.find) for f in FIGURES)
    return (*_PLAIN_LINES, *measured)


def read_sheet(path: str | os.PathLike[str], default: ModuleType | None = None,
               types: Sequence[ModuleType] = ()) -> BenchSheet:
    """Read a bench sheet.

    Args:
        path: of the CSV file; it is never written to.
        default: module type of the rows that name none.
        types: those of the brief, which a row may name by their id or their record's file.

    Raises:
        InputErrors: every fault of the file, each with its line.
    """
    sheet, faults = read_with_faults(path, default, types)
    if faults:
        raise InputErrors(told_once(faults, by_key=True))
    return sheet


def read_with_faults(path: str | os.PathLike[str], default: ModuleType | None = None,
                     types: Sequence[ModuleType] = ()) -> tuple[BenchSheet, tuple[Fault, ...]]:
    """The rows that can be read, and every fault of the others.

    Raises:
        InputErrors: the file itself cannot be read.
    """
    place = one_line(os.fspath(path))
    return parse_sheet(read_text(Path(path)), place, default, types)


def parse_sheet(text: str, place: str, default: ModuleType | None = None,
                types: Sequence[ModuleType] = ()) -> tuple[BenchSheet, tuple[Fault, ...]]:
    """Parse the text of a sheet; what cannot be read becomes a fault, nothing is guessed."""
    reading = _Reading(place, default, tuple(types))
    try:
        reading.take(records(text))
    except _Enough:
        reading.faults.append(Fault(place, 0, "", f"more than {MOST_FAULTS} faults",
                                    "mend these first"))
    reading.close()
    # a record of the user's own is part of what was read
    whole = text + "".join(read_text(Path(beside(place, cell))) for cell, kind
                           in reading.types.items() if kind is not None and own_file(cell)
                           and os.path.exists(beside(place, cell)))
    digest = hashlib.sha256(whole.encode("utf-8", "replace")).hexdigest()[:16]
    faults = sorted(reading.faults, key=lambda fault: fault.line or 10**9)
    return BenchSheet(place, tuple(reading.rows), digest), tuple(faults)


# -- records to rows --------------------------------------------------------------------------


class _Enough(Exception):
    """More faults than a person reads."""


@dataclass
class _Reading:
    """What is gathered while one sheet is read."""

    place: str
    default: ModuleType | None
    known: tuple[ModuleType, ...] = ()
    faults: list[Fault] = field(default_factory=list)
    rows: list[BenchRow] = field(default_factory=list)
    decimal: str = ""
    head: tuple[str, ...] = ()
    seen: dict[str, tuple[str, int]] = field(default_factory=dict)
    types: dict[str, ModuleType | None] = field(default_factory=dict)
    foreign_marks: list[tuple[int, str, str]] = field(default_factory=list)

    def fault(self, line: int, key: str, wrong: str, right: str = "") -> None:
        self.keep(Fault(self.place, line, key, one_line(wrong), one_line(right)))

    def keep(self, fault: Fault) -> None:
        self.faults.append(fault)
        if len(self.faults) >= MOST_FAULTS:
            raise _Enough

    def take(self, found: Iterator[Record]) -> None:
        for one in found:
            if one.broken:
                self.fault(one.line, "", f"is no CSV from here on: {one.broken}",
                           "a quotation mark that opens must close; the rest was not read")
            elif not any(one.cells):
                continue
            elif is_comment(one.cells, not self.head):
                self.comment(one)
            elif not self.head:
                self.read_head(one)
                if "mark" not in self.head:
                    return
            elif len(self.rows) >= MOST_ROWS:
                self.fault(one.line, "", f"more than {MOST_ROWS} rows", "split the sheet")
                return
            else:
                self.row(one)

    def close(self) -> None:
        """What can be told only at the end."""
        if self.foreign_marks:
            line, head, cell = self.foreign_marks[0]
            more = len(self.foreign_marks) - 1
            other = "point" if (self.decimal or "point") == "comma" else "comma"
            wrong = f"{cell!r} is written with a decimal {other}" + (
                f", and {several(more, 'more figure')}" if more else "")
            right = (f"the sheet declares `# decimal: {self.decimal}`; write one mark throughout, "
                     f"or declare `# decimal: {other}`" if self.decimal
                     else "declare it once: a first line `# decimal: comma`")
            self.faults.append(Fault(self.place, line, head, wrong, right))
        if not self.head and not self.faults:
            self.faults.append(Fault(self.place, 0, "", "is empty but for remarks",
                                     "the head needs at least the column mark"))
        if self.head and not self.rows and not self.faults:
            self.faults.append(Fault(self.place, 0, "", "holds a head and no rows",
                                     "one row a module; only the mark must be filled"))

    def comment(self, one: Record) -> None:
        match = DECLARED.match(one.cells[0])
        if match is None:
            return
        word = match.group(1).lower()
        if word not in MARKS:
            self.fault(one.line, "", f"decimal: {word!r} is no choice",
                       "write `# decimal: comma` or `# decimal: point`")
        elif self.head:
            self.fault(one.line, "", "the decimal mark is declared below the head",
                       "move the line above the head")
        elif self.decimal and self.decimal != word:
            self.fault(one.line, "", "the decimal mark is declared twice", "keep one")
        else:
            self.decimal = word

    # -- head ---------------------------------------------------------------------------------

    def read_head(self, one: Record) -> None:
        cells = list(one.cells)
        while cells and not cells[-1]:
            cells.pop()
        self.head = tuple(cells)
        if len(cells) > MOST_COLUMNS:
            self.fault(one.line, "", f"{len(cells)} columns, more than the {MOST_COLUMNS} that are "
                       "read", "is this a bench sheet?")
        names: dict[str, str] = {}
        for head in cells:
            name = self.column(one.line, head)
            if name in names:
                self.fault(one.line, head, f"the column stands twice ({names[name]!r} and "
                           f"{head!r})", "keep one")
            names.setdefault(name, head)
        if "mark" not in self.head:
            self.fault(one.line, "", "the head lacks the column mark",
                       "the first row names the columns: mark,module,rest_voltage_V,…; comma, "
                       "semicolon or tab between them")

    def column(self, line: int, head: str) -> str:
        """The name that a head stands for; an unknown one becomes a fault."""
        if head in PLAIN_HEADS:
            return head
        if head in HEADS:
            return HEADS[head][0].name
        own = next((f for f in FIGURES if f.name == head), None)
        if not head:
            self.fault(line, "", "a column has no head", "name it, or take it out")
        elif own is not None:
            choices = " or ".join(f"{own.name}_{ending}" for ending, _ in own.units)
            self.fault(line, head, "the head names no unit", f"write {choices}")
        else:
            near = _head_meant(head) or nearest(head, (*PLAIN_HEADS, *HEADS))
            self.fault(line, head, "unknown column", f"did you mean {near!r}?" if near else
                       "known: " + ", ".join((*PLAIN_HEADS, *HEADS)))
        return f"? {head}"

    # -- one row ------------------------------------------------------------------------------

    def row(self, one: Record) -> None:
        cells = list(one.cells)
        while len(cells) > len(self.head) and not cells[-1]:
            cells.pop()
        mark = self.mark(one, cells)
        if len(cells) != len(self.head):
            self.fault(one.line, "", f"{f'module {mark}: ' if mark else ''}the row has "
                       f"{several(len(cells), 'cell')}, the head {len(self.head)}",
                       "give every column its cell; quote text that holds the separator")
            return
        by_head = dict(zip(self.head, cells))
        entries: dict[str, Any] = {}
        readings: dict[str, Any] = {}
        for head, cell in by_head.items():
            if head in HEADS:
                name, value = HEADS[head][0].name, self.figure(one.line, head, cell)
                if value is not None:
                    (readings if name.startswith(("first_", "second_")) else entries)[name] = value
            elif head in DATES:
                readings[head] = self.date(one.line, head, cell)
            elif head in ANSWERS:
                entries[head] = self.answer(one.line, head, cell)
            elif head in WORDS and head != "module":
                entries[head] = self.words(one.line, head, cell)
        named = by_head.get("module", "")
        module = self.module(one.line, named)
        if mark:
            refused = module is None and named.lower() not in BLANK
            self.rows.append(_row(mark, one.line, module, {**entries, "refused": refused},
                                  readings))

    def mark(self, one: Record, cells: list[str]) -> str:
        at = self.head.index("mark")
        mark = " ".join(cells[at].split()) if at < len(cells) else ""  # no-break blanks as well
        if mark.lower() in BLANK:
            self.fault(one.line, "mark", "the row has no mark", "give each module its own")
            return ""
        if len(mark) > LONGEST_MARK or one_line(mark) != mark:
            self.fault(one.line, "mark", f"{mark!r:.60} is no mark",
                       f"up to {LONGEST_MARK} characters in one line")
            return ""
        first = self.seen.setdefault(mark.casefold(), (mark, one.line))
        if first[1] != one.line:
            self.fault(one.line, "mark", f"module {mark}: the mark stands already on line "
                       f"{first[1]}" + ("" if first[0] == mark else f" as {first[0]!r}"),
                       "give each module its own; which row is right?")
            return ""
        return mark

    def figure(self, line: int, head: str, cell: str) -> Finding | None:
        """One measured figure, or None where the cell is blank or at fault."""
        if cell.lower() in BLANK:
            return None
        column, unit = HEADS[head]
        plain = _whole_number(fold(cell))
        raised = any(unicodedata.category(sign) == "No" for sign in cell)  # 20² is not 202
        match = _NUMBER.fullmatch(plain) if len(plain) <= 40 and not raised else None
        if match is None:
            self.fault(line, head, f"{cell[:40]!r} is no number", _why_no_number(plain, head))
            return None
        if match.group(1) not in (None, MARKS[self.decimal or "point"]):
            self.foreign_marks.append((line, head, cell[:40]))
            return None
        value = _si(float(plain.replace(",", ".")), unit)
        least, most = (into_si(float(end), column.unit) for end in (column.least, column.most))
        if not least - 1e-9 * abs(least) <= value <= most * (1 + 1e-9):
            self.fault(line, head, f"{cell[:40]} {printed(unit)} is not readable as "
                       f"{column.title}", f"expected {column.least:g} to {column.most:g} "
                       f"{printed(column.unit)}".rstrip())
            return None
        return leaf(column.title, column.symbol, column.unit, value, "measured",
                    origin=Origin(self.place, line, head, cell[:40]))

    def date(self, line: int, head: str, cell: str) -> str:
        if cell.lower() in BLANK:
            return ""
        try:
            return datetime.datetime.fromisoformat(cell).isoformat(
                sep=" ", timespec="minutes").removesuffix(" 00:00")
        except ValueError:
            serial = ", and format the column as text: a spreadsheet's own count of days stands " \
                "there" if re.fullmatch(r"\d{5}([.,]\d+)?", cell) else ""
            self.fault(line, head, f"{cell[:40]!r} is no day", "write year, month, day like "
                       f"2026-03-31; which number is the month is never guessed{serial}")
            return ""

    def answer(self, line: int, head: str, cell: str) -> str:
        word = cell.lower()
        if word in ANSWER_CHOICES or word == "":
            return word
        if word in BLANK:
            return "unknown"
        self.fault(line, head, f"{cell[:40]!r} is no answer", "write yes, no or unknown")
        return ""

    def words(self, line: int, head: str, cell: str) -> str:
        if len(cell) > LONGEST_WORDS:
            self.fault(line, head, f"is {len(cell)} characters long",
                       f"up to {LONGEST_WORDS}; keep the rest in your diary")
            return ""
        nothing = EMPTY if head == "damage" else BLANK  # that nobody knows of any is no "none"
        return "" if cell.lower() in nothing else one_line(" ".join(cell.split()))

    def module(self, line: int, cell: str) -> ModuleType | None:
        """The type a row names; each distinct text is read, and faulted, once."""
        if cell.lower() in BLANK:
            return self.default
        if cell not in self.types:
            self.types[cell] = None
            try:
                self.types[cell] = self.named(cell) or self.of_brief(cell, _module(
                    cell, Origin(self.place, line, "module", cell[:60])))
            except InputErrors as error:
                for fault in error.faults:
                    self.refused(line, cell, fault)
            except UserError as error:
                wrong, _, right = str(error).partition("; ")
                self.fault(line, "module", wrong, right)
        return self.types[cell]

    def named(self, cell: str) -> ModuleType | None:
        """The brief's own type that a cell names: by its id, or by its record's file where no
        file of that name stands beside the sheet.
        """
        if own_file(cell):
            wanted = os.path.basename(cell.strip())
            return None if os.path.exists(beside(self.place, cell)) else next(
                (t for t in self.known if _file_of(t) == wanted), None)
        return None if cell in ids() else next((t for t in self.known if t.id == cell), None)

    def of_brief(self, cell: str, read: ModuleType) -> ModuleType:
        """The brief's own type where a label says what that one is; else what was read."""
        if own_file(cell) or cell in ids():
            return read
        meant = {t.id: t for t in reversed(self.known) if _says(read, t)}
        return next(iter(meant.values())) if len(meant) == 1 else read

    def refused(self, line: int, cell: str, fault: Fault) -> None:
        """A fault of a module's type; one of a record file is told in that file's own line."""
        if fault.line and own_file(cell):
            self.keep(fault)
            return
        whose = f"{fault.file} " if own_file(cell) else ""
        wrong, _, right = fault.wrong.partition("; ")
        more = self.choices(cell) if wrong.endswith(NO_LABEL) else ""
        self.fault(line, "module", f"{whose}{wrong}", f"{right or fault.right}{more}")

    def choices(self, cell: str) -> str:
        """What a row may name besides a label, for whoever named something else."""
        own = {t.id: _file_of(t) for t in self.known if t.id not in ids()}
        near = nearest(cell, (*own, *ids()))
        meant = f"; did you mean {near}?" if near else ""
        named = "".join(f"{name} ({file}), " if file else f"{name}, " for name, file in own.items())
        return (f"{meant}; known besides: {named}the records of `packcalc library`, and a file of "
                "your own beside the sheet, named like mine.toml")


def _whole_number(text: str) -> str:
    """A number without the blanks that part its thousands, or that follow its sign."""
    text = re.sub(r"^([+-]) ", r"\1", text)
    parted = _THOUSANDS.match(text)
    return text.replace(" ", "") if parted and " " not in text[parted.end():] else text


def _si(value: float, unit: str) -> float:
    if unit == "°F":  # the only unit of a sheet that no report prints
        return to_si_number(value, "degree_Fahrenheit", dimension("temperature"))
    return float(into_si(value, unit))


_UNIT_SIGNS = (("°", "deg"), ("Ω", "ohm"), ("μ", "u"), ("%", "percent"), ("1/h", "per_h"))


def _head_meant(head: str) -> str:
    """The column that a head names with other signs, as in "Resistance (mΩ)"; empty where none.

    What differs in the unit's capital alone, as milliohm and megohm do, is the one that fits.
    """
    plain = fold(head)
    for sign, word in _UNIT_SIGNS:
        plain = plain.replace(sign, word)
    plain = "_".join(re.findall(r"\w+", plain.replace("_", " ")))
    known = (*PLAIN_HEADS, *HEADS)
    alike = [one for one in known if one.casefold() == plain.casefold()]
    exact = [one for one in alike if one.rpartition("_")[2] == plain.rpartition("_")[2]]
    return exact[0] if exact else alike[0] if len(alike) == 1 else ""


def _file_of(module: ModuleType) -> str:
    """Name of the file of the user's own that a type was read from; empty where it is none."""
    origin = module.cells_in_series.origin
    return os.path.basename(origin.place) if origin is not None and own_file(origin.place) else ""


def _module(cell: str, origin: Origin) -> ModuleType:
    """The record of the library, the user's own beside the sheet, or what a label says."""
    if own_file(cell):
        return check_record(beside(origin.place, cell))
    return record(cell) if cell in ids() else module_from_label(cell, origin)


def _says(label: ModuleType, module: ModuleType) -> bool:
    """Whether all that a label says holds for a module: cells, capacity, chemistry."""
    return (label.chemistry == module.chemistry and label.series == module.series
            and math.isclose(label.capacity.number, module.capacity.number, rel_tol=1e-6)
            and (None in (label.parallel, module.parallel) or label.parallel == module.parallel))


def _why_no_number(plain: str, head: str) -> str:
    if plain.startswith("#"):
        return "the spreadsheet's own formula failed; mend it there"
    if re.fullmatch(r"[<>≥≤]=? ?[\d.,]+.*", plain) or _OVER.fullmatch(plain):
        return _off_scale(plain, head)
    if re.fullmatch(r"[+-]?[\d.,]+ ?[A-Za-zΩμ°%/]+", plain):
        return f"the unit stands in the head ({head}); write the number alone"
    if re.fullmatch(r"\d+([.,']\d+)+", plain):
        return "write no thousands marks"
    if re.fullmatch(r"[+-]?[\d., ]*\d [\d., ]*", plain):
        return "two numbers, or a blank for the decimal mark? write one number"
    return "write the number alone, or leave the cell empty"


_OVER = re.compile(r"[<>≥≤]?(?:o\.?l\.?|o\.?f\.?l\.?|over(?:load|flow|range)?|inf(?:inity)?|∞|1\.)",
                   re.IGNORECASE)


def _off_scale(plain: str, head: str) -> str:
    """What to write where the instrument showed only that it was at the end of its range."""
    if not head.startswith("insulation_") or head.startswith("insulation_voltage"):
        return "the meter was off its range: no reading; measure again in another range"
    if plain[0] in "<≤":
        return ("less than the tester shows: write 0, or measure again in a lower range; the "
                "figure written counts as the insulation")
    top = re.match(r"[>≥]=? ?([\d.,]+)", plain)
    example = f"write {top.group(1)}" if top else "write the top of its range, like 999 for > 999"
    return (f"the tester shows that there is more than the top of its range: {example}, in the "
            "unit of the head; it counts as the least that is there")


def _row(mark: str, line: int, module: ModuleType | None, entries: dict[str, Any],
         readings: dict[str, Any]) -> BenchRow:
    row = BenchRow(mark, line, module, **entries)
    pair = tuple(
        DatedVoltage(readings.get(f"{name}_voltage", empty.voltage),
                     readings.get(f"{name}_date", ""),
                     readings.get(f"{name}_temperature", empty.temperature))
        for name, empty in zip(("first", "second"), row.selfdischarge))
    return replace(row, selfdischarge=pair, rest_date=readings.get("rest_date", ""),
                   expiry=readings.get("expiry", ""))
