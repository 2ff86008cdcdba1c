"""Every formula as a document: the list of methods that packcalc can print."""

from __future__ import annotations

import doctest

from packcalc import catalogue
from packcalc.errors import UnknownName
from packcalc.findings import Formula
from packcalc.report.blocks import column, words
from packcalc.report.document import Document, Facts, Paragraph, Section, Table
from packcalc.report.frame import document
from packcalc.sources import source


def formulas_document() -> Document:
    """Every formula, one a row."""
    entries = catalogue.all_formulas().values()
    columns = (column("name", "Name"), column("formula", "Formula", wide=True),
               column("unit", "Unit"), column("basis", "Basis"), column("source", "Source"))
    rows = tuple((words(f.name), words(f.text), words(f.unit or "1"), words(f.basis),
                  words(f.source)) for f in entries)
    table = Table("formulas", f"{len(rows)} formulas", columns, rows,
                  "packcalc formulas NAME prints one with symbols, range and worked example.")
    return document("Formulas", "every rule that packcalc computes with",
                    (Section("formulas", "Formulas", (table,)),))


def formula_document(name: str) -> Document:
    """One formula: symbols, units, range, source, basis, worked example.

    Raises:
        UnknownName: no such formula.
    """
    known = catalogue.all_formulas()
    if name not in known:
        raise UnknownName("formula", name, known)
    entry = known[name]
    columns = (column("symbol", "Symbol"), column("unit", "Unit"),
               column("meaning", "Meaning", wide=True), column("parameter", "Parameter"))
    inputs = Table("inputs", "Inputs", columns, tuple(
        (words(i.symbol), words(i.unit or "1"), words(i.meaning), words(i.parameter))
        for i in entry.inputs))
    return document(entry.title, entry.name, (Section("formula", entry.title, (
        Paragraph(entry.text, "lead"), _facts(entry), inputs, *_examples(entry))),))


def _facts(entry: Formula) -> Facts:
    cited = source(entry.source) if entry.source else None
    rows = [("name", "Name", words(entry.name)), ("result", "Result", words(
        f"{entry.symbol} [{entry.unit or '1'}]")), ("range", "Range", words(entry.valid)),
        ("safe_side", "Safe side", words(entry.safe_side)), ("basis", "Basis", words(entry.basis)),
        ("source", "Source", words(f"{cited.title} ({cited.edition})" if cited else entry.basis)),
        ("where", "Where", words(entry.where)),
        ("seen", "How it was read", words(cited.seen if cited else ""))]
    return Facts("facts", "What is known of it", tuple(rows))


def _examples(entry: Formula) -> tuple[Table, ...]:
    parsed = doctest.DocTestParser().get_examples(entry.function.__doc__ or "")
    if not parsed:
        return ()
    rows = tuple((words(e.source.strip()), words(e.want.strip())) for e in parsed)
    return (Table("worked_example", "Worked example (SI in, SI out; runs as a test)",
                  (column("call", "Call", wide=True), column("result", "Result", wide=True)), rows),)
