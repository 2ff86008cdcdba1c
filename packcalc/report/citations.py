"""The sources that a document rests on, with how each was read."""

from __future__ import annotations

from dataclasses import replace

from packcalc.report.document import Cell, Column, Document, Section, Table
from packcalc.sources import Source, register

KEY = "sources"

_COLUMNS = (
    Column("source", "Key"),
    Column("title", "Source", wide=True),
    Column("edition", "Edition"),
    Column("kind", "Kind"),
    Column("seen", "How it was read", wide=True),
    Column("note", "Note", wide=True),
)


def sources_used(document: Document) -> list[Source]:
    """Every source that a chain, or a table's column `source`, names; sorted by key.

    A key that the register does not hold (a user's own record may name one) is listed
    as such.
    """
    keys = {node.source for chain in document.chains() for node in chain.finding.walk()}
    for table in document.tables():
        for place, column in enumerate(table.columns):
            if column.key == "source":
                keys |= {str(row[place].data) for row in table.rows}
    known = register()
    unlisted = "not in the register of sources; named by the user's own entry"
    return [known.get(key) or Source(key, key, "", "", unlisted)
            for key in sorted(keys) if key and key != "–"]


def sources_table(document: Document) -> Table:
    """The list of sources as a table."""
    rows = tuple(
        tuple(Cell(words) for words in (s.key, s.title, s.edition, s.kind, s.seen, s.note))
        for s in sources_used(document)
    )
    return Table(KEY, "Sources and how each was read", _COLUMNS, rows)


def with_sources(document: Document) -> Document:
    """The document with its list of sources as last section, unless it has one."""
    if any(table.key == KEY for table in document.tables()):
        return document
    table = sources_table(document)
    if not table.rows:
        return document
    section = Section(KEY, "Sources", (table,))
    return replace(document, sections=(*document.sections, section))
