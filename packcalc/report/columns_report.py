"""The columns of the two sheets that a user writes: the bench sheet and the parts list."""

from __future__ import annotations

from packcalc.errors import UnknownName
from packcalc.report.blocks import column, words
from packcalc.report.document import Document, Paragraph, Section, Table
from packcalc.report.frame import document

BENCH = ("A comma, a semicolon or a tab parts the columns. One row a module, under one row of "
         "heads in any order; only the mark must be there. Before the heads a line "
         "'# decimal: comma' says how numbers are written; an empty cell is a question, never a "
         "zero.")
PARTS = ("One row a part, as its data sheet gives it, under one row of heads in any order; "
         "every figure carries its unit. An empty cell is a question to the maker. Points stand "
         "as in '0.01 s: 2250 A; 0.1 s: 1400 A'.")


def columns_document(sheet: str) -> Document:
    """What may stand in one of the sheets.

    Raises:
        UnknownName: neither of the two sheets.
    """
    if sheet not in SHEETS:
        raise UnknownName("sheet", sheet, SHEETS)
    return SHEETS[sheet]()


def _bench() -> Document:
    from packcalc.reading.bench_sheet import describe_columns

    columns = (column("heads", "Column", wide=True), column("meaning", "What it says", wide=True),
               column("found", "How to find it", wide=True))
    rows = tuple((words(line.heads), words(line.title), words(line.find))
                 for line in describe_columns())
    return document("Columns of a bench sheet", "what packcalc bench reads", (Section(
        "columns", "Columns", (Paragraph(BENCH), Table("columns", "Of one module", columns,
                                                       rows))),))


def _parts() -> Document:
    from packcalc.reading.parts_list import describe_columns

    columns = (column("column", "Column"), column("kinds", "Parts that have it", wide=True),
               column("form", "Form", wide=True), column("example", "Example", wide=True),
               column("meaning", "What it says", wide=True))
    rows = tuple(tuple(map(words, line)) for line in describe_columns())
    return document("Columns of a parts list", "what [parts] file of a brief names", (Section(
        "columns", "Columns", (Paragraph(PARTS), Table("columns", "Of one part", columns,
                                                       rows))),))


SHEETS = {"bench": _bench, "parts": _parts}
