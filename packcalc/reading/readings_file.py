"""Dated readings from a CSV file: strict, every fault told at once, nothing lost.

Columns: id, value (with its unit, or yes and no), instrument, calibration_date, date, name,
note. Comma, semicolon or tab between cells, as the head shows; a row that begins with `#`
is a remark. One id may be read again on another day. The file is never written to.
"""

from __future__ import annotations

import csv
import datetime
import hashlib
import io
import os
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from packcalc.errors import Fault, InputErrors, UnitError, nearest
from packcalc.reading.positions import one_line, read_text
from packcalc.units import parse
from packcalc.value import value_object

COLUMNS = ("id", "value", "instrument", "calibration_date", "date", "name", "note")
NEEDED = ("id", "value", "date")
WORDS = "words"
YES_NO = ("yes", "no")
SIGNED = ("voltage", "current", "temperature")
MOST_ROWS, MOST_FAULTS, LONGEST_CELL = 20_000, 100, 1000
# A spreadsheet takes such a cell for a formula; an apostrophe in front keeps it a text.
_GUARDED, _FORMULA = re.compile(r"'+[=+\-@#]"), re.compile(r"'*[=+\-@#]")


@value_object
class Reading:
    """One row.

    Attributes:
        id: of the expected reading.
        text: value as written.
        value: in SI; None for yes and no.
        instrument, calibration_date, date, name, note: as written; dates ISO 8601.
        place, line: file and row.
    """

    id: str
    text: str
    value: float | None
    instrument: str
    calibration_date: str
    date: str
    name: str
    note: str
    place: str = ""
    line: int = 0

    @property
    def said_yes(self) -> bool:
        """Whether a word reading says yes."""
        return self.text.lower() == YES_NO[0]


@value_object
class ReadingsFile:
    """Every reading of one file, in its order; `digest` is of the text that was read."""

    place: str
    digest: str
    readings: tuple[Reading, ...]


def read_readings(path: str | os.PathLike[str], wanted: Mapping[str, str]) -> ReadingsFile:
    """Read a file of readings.

    Args:
        path: of the CSV file.
        wanted: dimension of `packcalc.units` by id, or "words" for yes and no.

    Raises:
        InputErrors: every fault of the file, each with row and id.
    """
    return readings_from_text(read_text(path), wanted, one_line(os.fspath(path)))


def readings_from_text(text: str, wanted: Mapping[str, str],
                       place: str = "readings") -> ReadingsFile:
    """Read the text of a file of readings.

    Raises:
        InputErrors: every fault at once.
    """
    faults: list[Fault] = []
    found: list[Reading] = []
    try:
        for line, row in rows(text, place, faults):
            one = _reading(place, line, row, wanted, faults)
            if one is not None:
                found.append(one)
            if len(faults) >= MOST_FAULTS:
                faults.append(Fault(place, 0, "", f"more than {MOST_FAULTS} faults",
                                    "mend these first"))
                break
    except csv.Error as error:
        faults.append(Fault(place, 0, "", f"is no readable CSV from some row on: {error}",
                            "a quotation mark that opens must close"))
    if not faults:
        faults += _twice(place, found)
    if not found and not faults:
        faults.append(Fault(place, 0, "", "holds no reading", "one row a reading, below the head"))
    if faults:
        raise InputErrors(faults)
    return ReadingsFile(place, hashlib.sha256(text.encode()).hexdigest()[:16], tuple(found))


def readings_text(readings: Iterable[Reading]) -> str:
    """Readings as such a file; what is read from it again is the same."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in readings:
        row = (one.id, one.text, one.instrument, one.calibration_date, one.date, one.name,
               one.note)
        writer.writerow(map(guarded, row))
    return out.getvalue()


def guarded(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if _FORMULA.match(cell) else cell


# -- rows -------------------------------------------------------------------------------------


def rows(text: str, place: str, faults: list[Fault], columns: Sequence[str] = COLUMNS,
         needed: Sequence[str] = NEEDED) -> Iterator[tuple[int, dict[str, str]]]:
    """(line, cells by column) of each row below the head; what is wrong is added to `faults`."""
    head: list[str] = []
    lines = (line for line in text.splitlines() if line.strip() and not _remark(line))
    first = next(lines, "")
    separator = "\t" if "\t" in first else max(",;", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    count, before = 0, 0
    for cells in reader:
        line, before = before + 1, reader.line_num
        cells = [cell.strip() for cell in cells]
        if not any(cells) or (cells[0].startswith("#")):
            continue
        if not head:
            head = [cell.lower() for cell in cells]
            if not _head_holds(head, line, place, faults, columns, needed):
                return
            continue
        count += 1
        if count > MOST_ROWS:
            faults.append(Fault(place, line, "", f"more than {MOST_ROWS} rows", "split the file"))
            return
        if len(cells) > len(head) and any(cells[len(head):]):
            faults.append(Fault(place, line, one_line(cells[0], 60),
                                f"has {len(cells)} cells where the head has {len(head)}",
                                "a cell that holds the separator stands in \"quotation marks\""))
            continue
        row = dict.fromkeys(columns, "")
        row.update(zip(head, (_unguarded(cell) for cell in cells)))
        yield line, row
    if not head:
        faults.append(Fault(place, 0, "", "holds no head row",
                            "begin with: " + ",".join(columns)))


def _remark(line: str) -> bool:
    return line.lstrip(' "').startswith("#")


def _unguarded(cell: str) -> str:
    return cell[1:] if _GUARDED.match(cell) else cell


def _head_holds(head: list[str], line: int, place: str, faults: list[Fault],
                columns: Sequence[str], needed: Sequence[str]) -> bool:
    before = len(faults)
    for name in head:
        if name not in columns:
            near = nearest(name, columns)
            faults.append(Fault(place, line, one_line(name, 40) or "blank", "unknown column",
                                f"did you mean {near!r}?" if near else
                                "columns: " + ", ".join(columns)))
    for name in needed:
        if name not in head:
            faults.append(Fault(place, line, name, "column is missing",
                                "columns: " + ", ".join(columns)))
    if len(set(head)) != len(head):
        faults.append(Fault(place, line, "", "the head names a column twice"))
    return len(faults) == before


def _reading(place: str, line: int, row: dict[str, str], wanted: Mapping[str, str],
             faults: list[Fault]) -> Reading | None:
    name, before = row["id"], len(faults)

    def fault(wrong: str, right: str = "") -> None:
        faults.append(Fault(place, line, one_line(name, 60), one_line(wrong), one_line(right)))

    long = next((key for key, cell in row.items() if len(cell) > LONGEST_CELL), None)
    if long is not None:
        fault(f"{long} holds {len(row[long])} characters", f"at most {LONGEST_CELL} are read")
        return None
    if name not in wanted:
        near = nearest(name, wanted)
        fault("no such reading", f"did you mean {near!r}?" if near else
              "ids stand in the list of readings that `packcalc commission` prints")
        return None
    if not any(cell for key, cell in row.items() if key != "id"):
        return None  # a line of the form that nobody has filled yet
    value = measured(row["value"], wanted[name], fault)
    for key in ("date", "calibration_date"):
        if row[key] or key == "date":
            check_date(key, row[key], fault)
    if len(faults) > before:
        return None
    return Reading(name, row["value"], value, row["instrument"], row["calibration_date"],
                   row["date"], row["name"], row["note"], place, line)


def measured(text: str, dimension: str, fault) -> float | None:
    """A reading in SI; None with a fault where it is none."""
    if not text:
        fault("value is blank", "leave the row out until it is read")
        return None
    if dimension == WORDS:
        if text.lower() not in YES_NO:
            fault(f"{text[:40]!r} is no answer", "write yes or no; words belong in the note")
        return None
    try:
        value = parse(text, dimension)
    except UnitError as error:
        wrong, _, right = str(error).partition("; ")
        fault(wrong, right)
        return None
    if value < 0 and dimension not in SIGNED:
        fault(f"{text!r} is below zero", f"no {dimension} is; swap the probes or zero the meter")
        return None
    return value


def check_date(key: str, text: str, fault) -> None:
    """A fault where a text is no day of the calendar, year-month-day."""
    try:
        if not re.fullmatch(r"\d{4}-\d\d-\d\d", text):
            raise ValueError
        datetime.date.fromisoformat(text)
    except ValueError:
        fault(f"{key} {text[:30]!r} is no date", "write it like 2026-11-24")


def _twice(place: str, found: list[Reading]) -> list[Fault]:
    """One id on one day with two values: which of them counts is not for us to guess."""
    seen: dict[tuple[str, str], Reading] = {}
    faults = []
    for one in found:
        first = seen.setdefault((one.id, one.date), one)
        if first is not one:
            faults.append(Fault(place, one.line, one.id, f"read twice on {one.date}, first in "
                                f"line {first.line}", "keep the one that counts; put the other "
                                "into its note"))
    return faults
