"""What entering by hand writes: rows at the end, one row anew, and the row in hand beside it.

Nothing that stood on the disk is lost by a crash at any moment: rows are appended and forced
to the disk; a row that is rewritten goes through a new file that takes the old one's place at
once, and the old one stays beside it.
"""

from __future__ import annotations

import csv
import io
import json
import os
from pathlib import Path

from packcalc.errors import OutputError
from packcalc.reading.positions import one_line
from packcalc.reading.sheet_text import Layout, with_row
from packcalc.value import value_object

UNFINISHED, BEFORE, ANEW = ".unfinished", ".before", ".anew"
BOM = b"\xef\xbb\xbf"


@value_object
class Unfinished:
    """The row in hand: one line an answer, in a file beside the sheet.

    Attributes:
        path: of that file.
    """

    path: Path

    @classmethod
    def beside(cls, sheet: Path) -> Unfinished:
        """The row in hand of a sheet."""
        return cls(sheet.with_name(sheet.name + UNFINISHED))

    def add(self, head: str, answer: str) -> None:
        """Keep one answer."""
        append(self.path, (json.dumps([head, answer], ensure_ascii=False) + "\n").encode("utf-8"))

    def cells(self, heads: tuple[str, ...]) -> dict[str, str]:
        """The answers of a row that was broken off; empty where none has a mark.

        A last line that the crash cut is left out.
        """
        try:
            text = self.path.read_text("utf-8", errors="replace")
        except OSError:
            return {}
        found: dict[str, str] = {}
        for line in text.splitlines():
            try:
                head, answer = json.loads(line)
            except (ValueError, TypeError):
                continue
            if head in heads and isinstance(answer, str):
                found[head] = answer
        return found if found.get("mark") else {}

    def clear(self) -> None:
        """The row stands in the sheet: nothing is in hand."""
        try:
            self.path.unlink(missing_ok=True)
        except OSError as error:
            raise _unwritable(self.path, error) from error


def line_of(layout: Layout, cells: list[str]) -> bytes:
    """One row as the sheet is written."""
    out = io.StringIO()
    csv.writer(out, delimiter=layout.separator, lineterminator=layout.newline).writerow(cells)
    return out.getvalue().encode("utf-8")


def append(path: Path, data: bytes, mode: str = "ab") -> None:
    """Write and force to the disk; what was there before is never touched."""
    try:
        with open(path, mode) as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise _unwritable(path, error) from error


def rewrite_row(path: Path, layout: Layout, cells: dict[str, str]) -> None:
    """Write one row anew, every other byte as it was; the sheet as it stood stays beside it."""
    try:
        old = path.read_bytes()
        mark, bare = (BOM, old[len(BOM):]) if old.startswith(BOM) else (b"", old)
        line = line_of(layout, [cells.get(head, "") for head in layout.head]).decode("utf-8")
        text = with_row(bare.decode("utf-8"), cells["mark"], line)
        anew, before = (path.with_name(path.name + ending) for ending in (ANEW, BEFORE))
        for target, data in ((before, old), (anew, mark + text.encode("utf-8"))):
            with open(target, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
        os.replace(anew, path)
    except OSError as error:
        raise _unwritable(path, error) from error


def _unwritable(path: Path, error: OSError) -> OutputError:
    return OutputError(f"{one_line(str(path))}: cannot be written ({error.strerror or error}); "
                       "what was entered before is kept")
