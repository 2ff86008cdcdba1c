"""The sources that a document rests on, with how each was read."""

from __future__ import annotations

import re
from collections.abc import Iterator

from packcalc.report.document import (
    Bullets,
    Cell,
    Column,
    Document,
    Facts,
    Paragraph,
    Section,
    Table,
)
from packcalc.sources import Source, register
from packcalc.value import replace

KEY = "sources"

_COLUMNS = (
    Column("source", "Key"),
    Column("title", "Source", wide=True),
    Column("edition", "Edition"),
    Column("kind", "Kind"),
    Column("seen", "How it was read", wide=True),
    Column("note", "Note", wide=True),
)


# As words cite a source: `[key]`, or `[key, basis]` where it was not simply read.
_CITED = re.compile(r"\[([a-z0-9][a-z0-9-]*)(?:, [a-z, ]+)?\]")


def sources_used(document: Document) -> list[Source]:
    """Every source that a chain, a table's column `source` or a bracket in the words names.

    A key that the register does not hold (a user's own record may name one) is listed
    as such.
    """
    keys = {node.source for chain in document.chains() for node in chain.finding.walk()}
    for table in document.tables():
        for place, column in enumerate(table.columns):
            if column.key == "source":
                keys |= {str(row[place].data) for row in table.rows}
    known = register()
    keys |= {key for words in _words(document) if "[" in words
             for key in _CITED.findall(words) if key in known}
    unlisted = "not in the register of sources; named by the user's own entry"
    return [known.get(key) or Source(key, key, "", "", unlisted)
            for key in sorted(keys) if key and key != "–"]


def _words(document: Document) -> Iterator[str]:
    """Every running text and every cell of the document."""
    for block in document.blocks():
        if isinstance(block, Paragraph):
            yield block.text
        elif isinstance(block, Bullets):
            yield from block.items
        elif isinstance(block, Facts):
            yield from (cell.text for _, _, cell in block.rows)
    for table in document.tables():
        yield table.note
        yield from (cell.text for row in table.rows for cell in row)


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
