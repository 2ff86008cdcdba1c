"""The as-built record: a CSV with one row a part or joint, as it was really fitted.

`packcalc build BRIEF --form FILE` writes it with the design's own columns filled; the builder
fills the rest. Torque and joint resistance carry their unit. A row that begins with `#` is a
remark. The file is never written to.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections.abc import Callable, Mapping, Sequence

from packcalc.errors import Fault, InputErrors, nearest
from packcalc.marks import signed
from packcalc.reading.positions import one_line, read_text
from packcalc.reading.readings_file import (
    LONGEST_CELL,
    MOST_FAULTS,
    check_date,
    guarded,
    measured,
    of_one_design,
    of_strange_rows,
    rows,
    to_come,
)
from packcalc.reading.told_once import first_of, told_once
from packcalc.value import value_object

# What the design says stands in front; what the builder fills in follows.
DESIGNED = ("id", "what", "designed", "assigned_mark")
FILLED = ("mark", "part", "serial", "torque", "resistance", "deviation", "name", "date", "note")
VERSION = ("design", "layout", "input_digest")
COLUMNS = (*DESIGNED, *FILLED, *VERSION)
NEEDED = ("id", "mark", "part", "serial", "torque", "resistance", "deviation", "name", "date",
          "design")
PART, JOINT = "part", "joint"
UNKNOWN = "no such line"
NOT_OF_JOINT, NOT_OF_PART = ("part", "serial"), ("resistance",)


@value_object
class Built:
    """One line that somebody filled.

    Attributes:
        id: of the build sheet.
        mark, part, serial, deviation, name, date, note: as written.
        torque_text, torque: as written, and in SI; None where blank.
        resistance_text, resistance: likewise, of a joint.
        line: of the file.
    """

    id: str
    mark: str
    part: str
    serial: str
    torque_text: str
    torque: float | None
    resistance_text: str
    resistance: float | None
    deviation: str
    name: str
    date: str
    note: str
    line: int = 0


@value_object
class Printed:
    """The design's own cells of one line, as they came back."""

    id: str
    designed: str
    assigned_mark: str


@value_object
class AsBuilt:
    """A whole record; `digest` is of the text that was read.

    Attributes:
        place: of the file.
        digest: what a signature names.
        lines: those that are filled, in the order of the file.
        layout, input_digest: which version of the design it was begun on; "" where not said.
        printed: the design's own cells of every line, filled or not.
    """

    place: str
    digest: str
    lines: tuple[Built, ...]
    layout: str = ""
    input_digest: str = ""
    printed: tuple[Printed, ...] = ()


def as_named(design: str, _: str) -> str:
    """A design by the name that its file has for it."""
    return design


def read_as_built(path: str | os.PathLike[str], wanted: Mapping[str, str], design: str,
                  today: str = "", version: tuple[str, str] = ("", ""),
                  named: Callable[[str, str], str] = as_named) -> AsBuilt:
    """Read a record.

    Args:
        path: of the CSV file.
        wanted: PART or JOINT by id.
        design: name of the design that it must belong to.
        named: how the design of a file, begun on that digest of the input, is called today.
        today: day, ISO 8601, after which no date may lie; "" where none is held against it.
        version: layout and digest of the input today; a record of the same input is refused
            where it was begun on another layout.

    Raises:
        InputErrors: every fault of the file, each with row and id.
    """
    text = read_text(path, begin="`packcalc build BRIEF --form FILE` writes one to fill in")
    return as_built_from_text(text, wanted, design, one_line(os.fspath(path)), today, version,
                              named)


def as_built_from_text(text: str, wanted: Mapping[str, str], design: str,
                       place: str = "record", today: str = "",
                       version: tuple[str, str] = ("", ""),
                       named: Callable[[str, str], str] = as_named) -> AsBuilt:
    """Read the text of a record.

    Raises:
        InputErrors: every fault at once; that it belongs to another design stands alone.
    """
    faults: list[Fault] = []
    found: list[Built] = []
    printed: list[Printed] = []
    versions: dict[tuple[str, ...], int] = {}
    count = 0
    try:
        for line, row in rows(text, place, faults, COLUMNS, NEEDED):
            count += 1
            begun = {key: row[key] for key in VERSION}
            begun["design"] = named(begun["design"], begun["input_digest"])
            versions.setdefault(tuple(begun.values()), line)
            printed.append(Printed(row["id"], row["designed"], row["assigned_mark"]))
            one = _built(place, line, row, wanted, faults)
            if one is not None:
                found.append(one)
            if len(faults) >= MOST_FAULTS:
                break
    except csv.Error as error:
        faults.append(Fault(place, 0, "", f"is no readable CSV from some row on: {error}",
                            "a quotation mark that opens must close"))
    layout, digest = version
    same = bool(versions) and all(signed(one[2]) == digest for one in versions)
    exact = same and all(one[1] == layout for one in versions)
    other = of_one_design(place, versions, (design, layout if same else ""), "record") \
        or of_strange_rows(faults, UNKNOWN, "" if exact else layout)
    if other:
        raise InputErrors(other)
    faults += _twice(place, found)
    faults += [Fault(place, b.line, b.id, f"date {b.date} lies in the future: today is {today}",
                     "write the day on which it was fitted") for b in found
               if to_come(b.date, today)]
    if not count and not faults:
        faults.append(Fault(place, 0, "", "holds no line", "one row a part, below the head"))
    if faults:
        raise InputErrors(first_of(told_once(faults), MOST_FAULTS))
    _, layout, digest = next(iter(versions))
    return AsBuilt(place, hashlib.sha256(text.encode()).hexdigest()[:16], tuple(found), layout,
                   signed(digest), tuple(printed))


def _built(place: str, line: int, row: Mapping[str, str], wanted: Mapping[str, str],
           faults: list[Fault]) -> Built | None:
    name, before = row["id"], len(faults)

    def fault(wrong: str, right: str = "") -> None:
        faults.append(Fault(place, line, one_line(name, 60), one_line(wrong), one_line(right)))

    long = next((key for key, cell in row.items() if len(cell) > LONGEST_CELL), None)
    if long is not None:
        fault(f"{long} holds {len(row[long])} characters", f"at most {LONGEST_CELL} are read")
        return None
    if name not in wanted:
        near = nearest(name, wanted)
        fault(UNKNOWN, f"did you mean {near!r}?" if near else
              "ids stand on the build sheet that `packcalc build` prints")
        return None
    if not any(row[key] for key in FILLED):
        return None  # a line of the form that nobody has filled yet
    for key in NOT_OF_JOINT if wanted[name] == JOINT else NOT_OF_PART:
        if row[key]:
            fault(f"{key} stands on the line of a {wanted[name]}", "that column stays blank here")
    torque, resistance = (measured(row[key], key, fault) if row[key] else None
                          for key in ("torque", "resistance"))
    if row["date"]:
        check_date("date", row["date"], fault)
    else:
        fault("date is blank", "write the day like 2026-11-24")
    if not row["name"]:
        fault("name is blank", "a line without a name is nobody's")
    if len(faults) > before:
        return None
    return Built(name, row["mark"], row["part"], row["serial"], row["torque"], torque,
                 row["resistance"], resistance, row["deviation"], row["name"], row["date"],
                 row["note"], line)


def _twice(place: str, found: Sequence[Built]) -> list[Fault]:
    """One line written twice, or one module in two places: which counts is not for us to guess."""
    faults = []
    for what, key in (("line", lambda b: b.id),
                      ("mark", lambda b: b.mark if b.id.startswith("module.") else "")):
        seen: dict[str, Built] = {}
        for one in found:
            first = seen.setdefault(key(one) or f" {one.id}", one)
            # one line written twice is told as such: that it repeats its mark says nothing more
            if first is not one and (what == "line" or first.id != one.id):
                faults.append(Fault(place, one.line, one.id, f"{what} {key(one)} stands twice, "
                                    f"first in line {first.line}", "keep the one that is true"))
    return faults


def form_text(lines: Sequence[Mapping[str, str]], remarks: Sequence[str] = ()) -> str:
    """A record with the design's columns filled; `remarks` stand above the head."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows([f"# {' '.join(words.split())}"] for words in remarks)
    writer.writerow(COLUMNS)
    for line in lines:
        writer.writerow([guarded(line.get(key, "")) for key in COLUMNS])
    return out.getvalue()
