"""The text of a CSV sheet: how it is written, and its records with their lines."""

from __future__ import annotations

import csv
import io
import re
import stat
from collections.abc import Iterator
from pathlib import Path

from packcalc.errors import Fault, InputErrors, ProgramFault
from packcalc.reading.positions import one_line
from packcalc.value import value_object

LARGEST_FILE = 5_000_000
MARKS = {"point": ".", "comma": ","}
SEP_LINE = re.compile(r"\"?sep=.?\"?[,;\t]*", re.IGNORECASE)  # spreadsheets write it first
DECLARED = re.compile(r"#\s*decimal\s*[:=]\s*(\w*)", re.IGNORECASE)


def read_text(path: Path) -> str:
    """The text of a sheet; the file is opened for reading only.

    Raises:
        InputErrors: it cannot be read, is no UTF-8 text, is empty or too large.
    """
    place = one_line(str(path))

    def refuse(wrong: str, right: str = "", line: int = 0) -> InputErrors:
        return InputErrors([Fault(place, line, "", wrong, right)])

    try:
        state = path.stat()
        if stat.S_ISDIR(state.st_mode):
            raise refuse("is a folder, not a file", "name a CSV file in it")
        if not stat.S_ISREG(state.st_mode):
            raise refuse("is not a regular file", "name a CSV file")
        if state.st_size > LARGEST_FILE:
            raise refuse(f"holds {state.st_size} bytes, more than the {LARGEST_FILE} that are "
                         "read", "a sheet of 400 modules is about 100 000; is this the right file?")
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except FileNotFoundError as error:
        raise refuse("does not exist", "check the name, or begin it with "
                     "`packcalc bench --enter SHEET`") from error
    except PermissionError as error:
        raise refuse("may not be read: no permission",
                     "ask its owner, or copy it to your own folder") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise refuse(f"cannot be read ({one_line(reason)})", "check the name") from error
    save = "save it from the spreadsheet as CSV, UTF-8"
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise refuse("is UTF-16 text", save)
    if data[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        raise refuse("is a spreadsheet's own file, not CSV", save)
    if b"\0" in data:
        raise refuse(f"is no text file: byte 0 at offset {data.find(bytes(1))}", save)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise refuse(f"is not UTF-8 text: byte 0x{data[error.start]:02X} at offset {error.start}",
                     save, data.count(b"\n", 0, error.start) + 1) from error
    if not text.strip(" \t\r\n,;"):
        raise refuse("is empty", "take it away, and `packcalc bench --enter SHEET` begins a new "
                     "one; by hand the head needs at least the column mark")
    return text


@value_object
class Layout:
    """How a sheet is written: what whoever appends a row must keep to."""

    separator: str
    decimal: str
    newline: str
    head: tuple[str, ...]


def layout_of(text: str) -> Layout:
    """Separator, decimal mark, line end and head of a sheet.

    Examples:
        >>> layout_of("# decimal: comma\\nmark;capacity_Ah\\n").decimal
        'comma'
    """
    decimal = "point"
    for one in records(text):
        if any(one.cells) and not one.broken:
            if is_comment(one.cells, True):
                match = DECLARED.match(one.cells[0])
                decimal = match.group(1).lower() if match else decimal
            else:
                head = [*one.cells]
                while head and not head[-1]:
                    head.pop()
                return Layout(separator_of(text), decimal,
                              "\r\n" if "\r\n" in text else "\n", tuple(head))
    return Layout(",", "point", "\n", ())


def last_cells(text: str) -> dict[str, str]:
    """Cells of the last row of a sheet by head; empty where there is none."""
    head, cells = layout_of(text).head, ()
    for one in records(text):
        if any(one.cells) and not is_comment(one.cells, True) and one.cells[:len(head)] != head:
            cells = one.cells
    return dict(zip(head, cells))


def cells_by_mark(text: str) -> dict[str, dict[str, str]]:
    """Cells of every whole row by its mark, its case and blanks folded; each row's by head."""
    head = layout_of(text).head
    return {folded_mark(cells["mark"]): cells for _, _, cells in _rows(text, head)}


def folded_mark(mark: str) -> str:
    """A mark whatever its case and its blanks, no-break ones among them.

    Examples:
        >>> folded_mark("Box\\u00a07") == folded_mark("box 7")
        True
    """
    return " ".join(mark.split()).casefold()


def with_row(text: str, mark: str, line: str) -> str:
    """The same text with the row of one mark written as `line`; every other byte as it was.

    Args:
        text: of the sheet.
        mark: of the row.
        line: with its line end, where the row has one.

    Examples:
        >>> with_row("mark,mass_kg\\nA,\\nB,3\\n", "a", "A,2\\n")
        'mark,mass_kg\\nA,2\\nB,3\\n'
    """
    lines = list(io.StringIO(text, newline=""))
    for first, end, cells in _rows(text, layout_of(text).head):
        if cells["mark"].casefold() == mark.casefold():
            return "".join((*lines[:first - 1], line, *lines[end - 1:]))
    raise ProgramFault(f"no row of mark {mark!r}")


def _rows(text: str, head: tuple[str, ...]) -> Iterator[tuple[int, int, dict[str, str]]]:
    """First line, line after the last, and cells of each row that has a mark."""
    found = list(records(text))
    ends = [*(one.line for one in found[1:]), len(list(io.StringIO(text, newline=""))) + 1]
    below = False
    for one, end in zip(found, ends):
        if below and any(one.cells) and not is_comment(one.cells, False):
            cells = dict(zip(head, one.cells))
            if cells.get("mark"):
                yield one.line, end, cells
        below = below or one.cells[:len(head)] == head


@value_object
class Record:
    """One record of the file: its first line, its cells; or why it cannot be split."""

    line: int
    cells: tuple[str, ...]
    broken: str = ""


def records(text: str) -> Iterator[Record]:
    """Records with the line on which each begins; a broken quotation ends the file."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator_of(text), strict=True)
    line = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            yield Record(line, (), str(error))
            return
        yield Record(line, tuple(cell.strip() for cell in cells))
        line = reader.line_num + 1


def separator_of(text: str) -> str:
    """The mark that the head uses most; the head is the first line that is no comment."""
    lines = (one for one in text.splitlines() if one.strip(" \t,;\"") and
             not one.lstrip(" \t\"").startswith("#") and not SEP_LINE.fullmatch(one.strip(" ")))
    head = re.sub(r'"[^"]*"', "", next(lines, ""))
    return max(",;\t", key=head.count)


def is_comment(cells: tuple[str, ...], above: bool) -> bool:
    """A remark: above the head any line that begins with #; below it a lone one with a blank.

    A line like `sep=;`, which names the separator to spreadsheets, is one above the head.

    A mark such as #12 stays a mark.
    """
    first, *rest = cells
    if above and SEP_LINE.fullmatch(first):
        return not any(rest)
    return first.startswith("#") if above else first.startswith("# ") and not any(rest)
