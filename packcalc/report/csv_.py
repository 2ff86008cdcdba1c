"""The document's tables as CSV.

Cautions and captions stand on lines that begin with `#`. A text that a spreadsheet would
take for a formula, or a reader for such a line, gets an apostrophe in front; numbers are
left alone.
"""

from __future__ import annotations

import csv
import io
import re
from typing import Any

from packcalc.errors import UnknownName
from packcalc.report.data import plain
from packcalc.report.document import Cell, Column, Document, Facts, Table

_FACTS = (Column("key", "Key"), Column("label", "Label"), Column("value", "Value"))
_FORMULA = re.compile(r"[=+\-@#]")
_HIDDEN = re.compile(r"([,;\t]\s*)(?=[=+\-@])")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?([eE][+-]?\d+)?")


def render(document: Document, table: str | None = None) -> str:
    """One table, or all of them one after another.

    Raises:
        UnknownName: the document has no table of that key.
    """
    tables = tables_of(document)
    if table is not None:
        if table not in tables:
            raise UnknownName("table", table, tables)
        tables = {table: tables[table]}
    out = io.StringIO()
    for line in (document.title, *document.cautions, document.deference,
                 *(f"{label}: {text}" for _, label, text in document.meta)):
        out.write(_comment(line))
    for item in tables.values():
        out.write(_comment(f"table: {item.key} — {item.caption}"))
        if item.note:
            out.write(_comment(f"note: {item.note}"))
        _write(out, item)
    return out.getvalue()


def tables_of(document: Document) -> dict[str, Table]:
    """Every table and list of facts by key, in reading order."""
    found: dict[str, Table] = {}
    charted = {t.key: t for t in document.tables()}
    for block in document.blocks():
        if isinstance(block, Facts):
            rows = tuple((Cell(key), Cell(label), cell) for key, label, cell in block.rows)
            rows += tuple((Cell(key), Cell(label), Cell("; ".join(held)))
                          for key, label, held in block.bounds if held)
            found[block.key] = Table(block.key, block.caption, _FACTS, rows)
        elif isinstance(block, Table):
            found[block.key] = block
    return {**found, **{key: t for key, t in charted.items() if key not in found}}


def _write(out: io.StringIO, table: Table) -> None:
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([column.key for column in table.columns])
    writer.writerows([_field(cell.data) for cell in row] for row in table.rows)


def _field(value: Any) -> Any:
    value = plain(value)
    if value is None:
        return ""
    if isinstance(value, (list, dict)):
        value = "; ".join(map(str, value))
    if isinstance(value, bool):
        return str(value).lower()
    if not isinstance(value, str):
        return value
    if _FORMULA.match(value.lstrip()) and not _NUMBER.fullmatch(value):
        return "'" + value
    return value


def _comment(text: str) -> str:
    return "# " + _HIDDEN.sub(r"\1'", " ".join(text.split())) + "\n"
