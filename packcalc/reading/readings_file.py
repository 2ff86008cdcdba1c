"""Dated readings from a CSV file: strict, every fault told at once, nothing lost.

Columns: id, value (with its unit, or yes and no, or "> 200 MΩ" over range), instrument,
calibration_date, date, name, note, baseline, design, layout. Comma, semicolon or tab between
cells, as the head shows; a row that begins with `#` is a remark. One id may be read again on
another day. `baseline` is yes where something was mended and this reading is the new baseline.
The file is never written to.
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
from packcalc.reading.told_once import FEW, told_once
from packcalc.units import parse
from packcalc.value import value_object

FILLED = ("value", "instrument", "calibration_date", "date", "name", "note", "baseline")
VERSION = ("design", "layout")  # as the form has them; files of before them have no such columns
COLUMNS = ("id", *FILLED, *VERSION)
NEEDED = ("id", "value", "date")
WORDS = "words"
YES_NO = ("yes", "no")
SIGNED = ("voltage", "current", "temperature")
OVER = (">", "≥")  # in front of the range of a meter that shows over range
_SHOWN_OVER = re.compile(r"o\.?l\.?|over ?range|inf|∞", re.IGNORECASE)
BUILD = "build."  # begins the ids of what is read while the pack is joined
# What may be read at the bench before: resistor, link and monitor, and a module by itself.
UNJOINED = ("dead.", "logic.", "supply.", "monitor.", "section.position_")
UNKNOWN = "no such reading"
ISOLATION, OF_A_LINK, OF_ISOLATION = "isolation", '"1.2 mΩ"', '"450 kΩ" or "5 MΩ"'
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
        declared: whether it is declared as the new baseline, after a repair.
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
    declared: bool = False

    @property
    def when(self) -> tuple[str, bool, int]:
        """Its place in time: on one day what was read after the repair stands last."""
        return self.date, self.declared, self.line

    @property
    def said_yes(self) -> bool:
        """Whether a word reading says yes."""
        return self.text.lower() == YES_NO[0]

    @property
    def over(self) -> bool:
        """Whether the meter showed over range: `value` is then the least that it can be."""
        return self.text.startswith(OVER)


@value_object
class Bound:
    """What a file of readings is bound to.

    Attributes:
        design, layout: which the file must belong to; "" where none is asked for.
        today: day, ISO 8601, after which no date may lie; "" where none is held against it.
        before: what forms of before called it, with its name today; "" beside a name by which
            other designs were called as well.
    """

    design: str = ""
    layout: str = ""
    today: str = ""
    before: tuple[str, str] = ("", "")

    def known_as(self, design: str) -> str:
        """The design that a file says it belongs to; "" where its name does not tell."""
        old, now = self.before
        return now if design == old != self.design else design


FREE = Bound()


@value_object
class ReadingsFile:
    """Every reading of one file, in its order; `digest` is of the text that was read.

    Attributes:
        design: that the file says it belongs to; "" where it does not say.
    """

    place: str
    digest: str
    readings: tuple[Reading, ...]
    design: str = ""


def read_readings(path: str | os.PathLike[str], wanted: Mapping[str, str],
                  bound: Bound = FREE) -> ReadingsFile:
    """Read a file of readings.

    Args:
        path: of the CSV file.
        wanted: dimension of `packcalc.units` by id, or "words" for yes and no.
        bound: design, layout and day that it must keep to.

    Raises:
        InputErrors: every fault of the file, each with row and id.
    """
    text = read_text(path, begin="`packcalc commission BRIEF --form FILE` writes one to fill in")
    return readings_from_text(text, wanted, one_line(os.fspath(path)), bound)


def readings_from_text(text: str, wanted: Mapping[str, str], place: str = "readings",
                       bound: Bound = FREE) -> ReadingsFile:
    """Read the text of a file of readings.

    Raises:
        InputErrors: every fault at once; that it belongs to another design stands alone.
    """
    faults: list[Fault] = []
    found: list[Reading] = []
    versions: dict[tuple[str, ...], int] = {}
    untold = False  # a name of before, which may be another's
    try:
        for line, row in rows(text, place, faults):
            version = tuple(row[key] for key in VERSION)
            if any(version):  # a row that was added by hand may leave them blank
                name = bound.known_as(version[0])
                untold = untold or name != version[0] and not name
                versions.setdefault((name, *version[1:]), line)
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
    exact = set(versions) == {(bound.design, bound.layout)}
    own = ("" if untold else bound.design, bound.layout)
    other = of_one_design(place, versions, own, "file of readings") \
        or of_strange_rows(faults, UNKNOWN, "" if exact else bound.layout)
    if other:
        raise InputErrors(other)
    if not faults:
        faults += [*_twice(place, found), *_out_of_time(place, found, bound)]
    if not found and not faults:
        faults.append(Fault(place, 0, "", "holds no reading", "one row a reading, below the head"))
    if faults:
        raise InputErrors(told_once(faults))
    design, *_ = next(iter(versions), ("",))
    return ReadingsFile(place, hashlib.sha256(text.encode()).hexdigest()[:16], tuple(found),
                        design)


def to_come(day: str, today: str) -> bool:
    """Whether a day is still to come; one day is let pass, for another time zone.

    Examples:
        >>> to_come("2026-11-26", "2026-11-25"), to_come("2026-11-27", "2026-11-25")
        (False, True)
    """
    return bool(today) and datetime.date.fromisoformat(day) > (
        datetime.date.fromisoformat(today) + datetime.timedelta(days=1))


def of_one_design(place: str, versions: Mapping[tuple[str, ...], int], own: tuple[str, str],
                  what: str) -> list[Fault]:
    """A fault where a file belongs to another design or layout, or to several.

    Args:
        place: of the file.
        versions: first line of each set of design, layout and more that stands in it.
        own: design and layout of the brief; what is "" is not held. Files of before name a layout
            by its notation alone, without arrangement and modules.
        what: the file is, in a word or two.
    """
    if len(versions) > 1:
        return [Fault(place, sorted(versions.values())[1], "design", "rows of two designs, or of "
                      f"two versions of one, stand in one {what}", f"one {what}, one version")]
    for version, line in versions.items():
        for key, said, asked in zip(VERSION, version, own):
            if asked and said not in (asked, asked.split(" ")[0]):
                again = "repeat --layout, --arrangement and --module as that one has them, or " if (
                    key == "layout") else ""
                named = f"is for the {key} {one_line(said, 60)!r}" if said else f"names no {key}"
                return [Fault(place, line, key, f"{named}, and this brief is {asked!r}",
                              f"{again}give the {what} of this brief, "
                              "or write a new one with --form FILE")]
    return []


def of_strange_rows(faults: Sequence[Fault], wrong: str, layout: str) -> list[Fault]:
    """One fault where many rows are none of the layout at hand; none where they are few.

    A file of before may name its layout by notation alone, or not at all: what its other rows
    say is of no use until the layout is the right one.

    Args:
        faults: of the file.
        wrong: how an unknown row is told.
        layout: at hand; "" where the file is known to be of it, so that each row is told.
    """
    strange = [f for f in faults if f.wrong == wrong]
    if not layout or len(strange) <= FEW:
        return []
    many = "many" if len(faults) >= MOST_FAULTS else str(len(strange))
    first = strange[0]
    return [first._replace(
        wrong=f"is the first of {many} rows that {layout} has not",
        right="is the file of the other arrangement, of other modules or of an older form? repeat "
              "--layout, --arrangement and --module as they were, or write a new one with --form "
              "FILE")]


def _out_of_time(place: str, found: Sequence[Reading], bound: Bound) -> Iterator[Fault]:
    """Days that cannot be: still to come, before the pack was joined, calibrated afterwards."""
    built = min((r for r in found if r.id.startswith(BUILD)), key=lambda r: r.date, default=None)
    for one in found:
        if to_come(one.date, bound.today):
            yield Fault(place, one.line, one.id, f"date {one.date} lies in the future: today is "
                        f"{bound.today}", "write the day on which it was read")
        elif built is not None and one.date < built.date and not one.id.startswith(UNJOINED):
            yield Fault(place, one.line, one.id, f"date {one.date} lies before the pack was "
                        f"joined, which it needs: its first joint was read on {built.date}, line "
                        f"{built.line}", "write the day on which it was read, in the pack as built")
        elif one.calibration_date > one.date:
            yield Fault(place, one.line, one.id, f"calibration_date {one.calibration_date} lies "
                        f"after the reading, {one.date}", "write the calibration that held on "
                        "that day, or leave it blank")


def readings_text(readings: Iterable[Reading], design: str = "", layout: str = "") -> str:
    """Readings as such a file; what is read from it again is the same."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in readings:
        row = (one.id, one.text, one.instrument, one.calibration_date, one.date, one.name,
               one.note, YES_NO[0] if one.declared else "", design, layout)
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
                                in_quotes(separator)))
            continue
        row = dict.fromkeys(columns, "")
        row.update(zip(head, (_unguarded(cell) for cell in cells)))
        yield line, row
    if not head:
        faults.append(Fault(place, 0, "", "holds no head row",
                            "begin with: " + ",".join(columns)))


def in_quotes(separator: str) -> str:
    """What to do with a row that has more cells than the head."""
    sign = separator.replace("\t", "tab")
    return (f"the separator is {sign!r}: a cell that holds it stands in \"quotation marks\", or "
            "the sheet is saved with another separator")


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
        if ISOLATION in name:  # a link's milliohms are no example for it
            right = right.replace(OF_A_LINK, OF_ISOLATION)
        faults.append(Fault(place, line, one_line(name, 60), one_line(wrong), one_line(right)))

    long = next((key for key, cell in row.items() if len(cell) > LONGEST_CELL), None)
    if long is not None:
        fault(f"{long} holds {len(row[long])} characters", f"at most {LONGEST_CELL} are read")
        return None
    if name not in wanted:
        near = nearest(name, wanted)
        fault(UNKNOWN, f"did you mean {near!r}?" if near else
              "ids stand in the list of readings that `packcalc commission` prints")
        return None
    if not any(row[key] for key in FILLED):
        return None  # a line of the form that nobody has filled yet
    value = measured(row["value"], wanted[name], fault, over=True)
    for key in ("date", "calibration_date"):
        if row[key] or key == "date":
            check_date(key, row[key], fault)
    declared = _declared(row, wanted[name], fault)
    if len(faults) > before:
        return None
    return Reading(name, row["value"], value, row["instrument"], row["calibration_date"],
                   row["date"], row["name"], row["note"], place, line, declared)


def _declared(row: Mapping[str, str], dimension: str, fault) -> bool:
    """Whether a row declares a new baseline; nobody does that unsaid, or for a yes and no."""
    said = row["baseline"].lower()
    if said not in ("", *YES_NO):
        fault(f"baseline {row['baseline'][:30]!r} is no answer", "write yes where this reading is "
              "the new baseline after a repair, else leave it blank")
    elif said == YES_NO[0] and dimension == WORDS:
        fault("baseline is yes on a reading of yes and no", "leave it blank; only a figure has a "
              "baseline")
    elif said == YES_NO[0] and not (row["name"] and row["note"]):
        fault("baseline is yes, and name or note is blank", "write who declares it, and into the "
              "note what was replaced or mended")
    return said == YES_NO[0]


def measured(text: str, dimension: str, fault, *, over: bool = False) -> float | None:
    """A reading in SI; None with a fault where it is none.

    Args:
        text: as written.
        dimension: of `packcalc.units`, or WORDS.
        fault: is called with what is wrong and what would be right.
        over: whether a meter over its range may be written; its range is then the value.
    """
    if not text:
        fault("value is blank", "leave the row out until it is read")
        return None
    if dimension == WORDS:
        if text.lower() not in YES_NO:
            fault(f"{text[:40]!r} is no answer", "write yes or no; words belong in the note")
        return None
    if over and _SHOWN_OVER.fullmatch(text):
        fault(f"{text!r} does not say beyond what", "write > and the end of the meter's range "
              "with its unit, as in '> 200 MΩ'")
        return None
    beyond = over and text.startswith(OVER)
    try:
        value = parse(text[1:].strip() if beyond else text, dimension)
    except UnitError as error:
        wrong, _, right = str(error).partition("; ")
        fault(wrong, right)
        return None
    if beyond and value <= 0:
        fault(f"{text!r} is no range of a meter", "write > and the end of its range")
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
    """One id on one day with two values: which of them counts is not for us to guess.

    One before a repair and one after it, declared as the new baseline, may share a day.
    """
    seen: dict[tuple[str, str, bool], Reading] = {}
    faults = []
    for one in found:
        first = seen.setdefault((one.id, one.date, one.declared), one)
        if first is not one:
            faults.append(Fault(place, one.line, one.id, f"read twice on {one.date}, first in "
                                f"line {first.line}", "keep the one that counts; put the other "
                                "into its note"))
    return faults
