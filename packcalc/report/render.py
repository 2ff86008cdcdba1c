"""One door from a document to text, Markdown, HTML, JSON or CSV, and to a file."""

from __future__ import annotations

import contextlib
import os
import re
import sys
import tempfile
from pathlib import Path

from packcalc.errors import OutputError, UnknownName, UserError
from packcalc.report.citations import with_sources
from packcalc.report.document import Document

FORMATS = ("text", "markdown", "html", "json", "csv")
ENDINGS = {".txt": "text", ".md": "markdown", ".html": "html", ".json": "json", ".csv": "csv"}

OWN_MARK = b"A battery cannot be switched off"  # at the head of every table that packcalc writes
HEAD = 8000  # B; long enough for the longest title
# how text, Markdown, HTML, JSON and a schema of packcalc begin
_WRITTEN = re.compile(rb'^(packcalc +\d|- packcalc: \d|<meta name="generator" content="packcalc '
                      rb'| "packcalc": "| "\$schema": |# table: )', re.MULTILINE)


def render(document: Document, format: str, table: str | None = None) -> str:
    """The document in one of FORMATS.

    Args:
        document: what to print.
        format: one of FORMATS.
        table: for CSV, the key of the one table wanted; all of them when not given.

    Raises:
        UnknownName: no such format, or no such table.
        UserError: a table was named for a format that prints the whole document.
    """
    if format not in FORMATS:
        raise UnknownName("format", format, FORMATS)
    if table is not None and format != "csv":
        raise UserError(f"a single table can be written as csv only, not as {format}")
    whole = with_sources(document)
    # Each renderer is imported on use: jinja2 costs more than the rest.
    if format == "text":
        from packcalc.report import text

        return text.render(whole)
    if format == "markdown":
        from packcalc.report import markdown

        return markdown.render(whole)
    if format == "html":
        from packcalc.report import html

        return html.render(whole)
    if format == "json":
        from packcalc.report import data

        return data.render(whole)
    from packcalc.report import csv_

    return csv_.render(whole, table)


def format_of(path: str) -> str:
    """The format that a file's ending asks for.

    Raises:
        UserError: another ending; the message lists the choices.
        OutputError: a folder.
    """
    if os.path.isdir(path):
        raise OutputError(f"{path}: is a folder; name a file in it")
    ending = Path(path).suffix.lower()
    if ending not in ENDINGS:
        what = f"the ending {ending!r} names no format" if ending else "the name has no ending"
        raise UserError(f"{path}: {what}; end it in {', '.join(ENDINGS)}, or give the format")
    return ENDINGS[ending]


def write(document: Document, path: str | os.PathLike[str], format: str | None = None,
          *, table: str | None = None) -> None:
    """Render the document and write it whole or not at all; "-" is standard output.

    Raises:
        OutputError: the place cannot be written.
    """
    name = os.fspath(path)
    if name == "-":
        _to_standard_output(render(document, format or "text", table))
        return
    write_text(name, render(document, format or format_of(name), table))


def write_text(path: str | os.PathLike[str], text: str) -> None:
    """Write a text file whole or not at all.

    Raises:
        OutputError: a folder, a missing folder, or no permission.
    """
    target = Path(os.path.realpath(path))
    if target.is_dir():
        raise OutputError(f"{path}: is a folder; name a file")
    if not target.parent.is_dir():
        raise OutputError(f"{path}: the folder {target.parent} does not exist")
    _spare_inputs(path, target)
    try:
        if target.exists() and not target.is_file():
            target.write_text(text, "utf-8")
        else:
            _replace(target, text)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror or error}") from error


def _spare_inputs(path: str | os.PathLike[str], target: Path) -> None:
    """Refuse to write over what a user made: a brief, a record, a parts list, a bench sheet.

    Raises:
        OutputError: the file is such an input.
    """
    if not target.is_file() or target.stat().st_size == 0:
        return
    if target.suffix.lower() == ".toml":
        raise OutputError(f"{path}: exists and is an input; name another file")
    with target.open("rb") as old:
        head = old.read(HEAD)
    own = OWN_MARK in head if target.suffix.lower() == ".csv" else _WRITTEN.search(head)
    if not own:
        raise OutputError(f"{path}: exists and was not written as a report; name another file")


def _replace(target: Path, text: str) -> None:
    """Write beside the target, then rename: a reader never meets half a file."""
    if target.exists() and not os.access(target, os.W_OK):
        raise PermissionError(13, "Permission denied")
    handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", dir=target.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as out:
            out.write(text)
        os.chmod(name, target.stat().st_mode & 0o777 if target.exists() else _mode())
        os.replace(name, target)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise


def _mode() -> int:
    """What a plain `open` would have given a new file."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _to_standard_output(text: str) -> None:
    if sys.stdout is None:
        raise OutputError("standard output is closed; name a file to write")
    stream = getattr(sys.stdout, "buffer", None)
    if stream is None:
        sys.stdout.write(text)
        return
    sys.stdout.flush()
    left = memoryview(text.encode("utf-8"))
    while left:  # an unbuffered stream may take less than it is given
        left = left[stream.write(left) or len(left):]
    stream.flush()
