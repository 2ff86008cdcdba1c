"""Every formula as a document: the list of methods that packcalc can print."""

from __future__ import annotations

import doctest

from packcalc import catalogue
from packcalc.errors import UnknownName
from packcalc.findings import Formula
from packcalc.report.blocks import column, words
from packcalc.report.document import Cell, Document, Facts, Paragraph, Section, Table
from packcalc.report.frame import document
from packcalc.sources import source


def formulas_document() -> Document:
    """Every formula, one a row, by the room that holds it."""
    entries = sorted(catalogue.all_formulas().values(), key=_place)
    columns = (column("name", "Name"), column("title", "Gives", wide=True),
               column("formula", "Formula", wide=True), column("unit", "Unit"),
               column("basis", "Basis"), column("source", "Source"), column("room", "Room"))
    rows = tuple((words(f.name), words(f.title), words(f.text), words(_unit(f.unit)),
                  words(f.basis), words(f.source), words(_room(f))) for f in entries)
    table = Table("formulas", f"{len(rows)} formulas", columns, rows,
                  "packcalc formulas NAME prints one with symbols, range and worked example.")
    return document("Formulas", "every rule that packcalc computes with",
                    (Section("formulas", "Formulas", (table,)),))


def _room(entry: Formula) -> str:
    return entry.module.removeprefix("packcalc.")


def _place(entry: Formula) -> tuple[int, str]:
    rooms = [room.removeprefix("packcalc.") for room in catalogue.ROOMS]
    room = _room(entry)
    return (rooms.index(room) if room in rooms else len(rooms), entry.name)


def _unit(unit: str) -> str:
    return unit or "1"


def formula_document(name: str) -> Document:
    """One formula: symbols, units, range, source, basis, worked example.

    Raises:
        UnknownName: no such formula.
    """
    known = catalogue.all_formulas()
    if name not in known:
        raise UnknownName("formula", name, known)
    entry = known[name]
    title = entry.title[:1].upper() + entry.title[1:]
    columns = (column("symbol", "Symbol"), column("unit", "Unit"),
               column("meaning", "Meaning", wide=True), column("parameter", "Parameter"))
    inputs = Table("inputs", "Inputs", columns, tuple(
        (words(i.symbol), words(_unit(i.unit)), words(i.meaning), words(i.parameter))
        for i in entry.inputs))
    return document(title, entry.name, (Section("formula", "Formula", (
        Paragraph(entry.text, "lead"), inputs, _facts(entry), *_examples(entry))),))


def _facts(entry: Formula) -> Facts:
    cited = source(entry.source) if entry.source else None
    shown = f"{cited.title} ({cited.edition})" if cited else "none: it holds by definition"
    return Facts("facts", "What is known of it", (
        ("name", "Name", words(entry.name)),
        ("result", "Result", words(f"{entry.symbol} [{_unit(entry.unit)}]")),
        ("range", "Range", words(entry.valid)),
        ("safe_side", "Safe side", words(entry.safe_side)),
        ("basis", "Basis", words(entry.basis)),
        ("source", "Source", Cell(shown, entry.source or "–")),
        ("where", "Where", words(entry.where)),
        ("seen", "How it was read", words(cited.seen if cited else "")),
        ("room", "Room", words(_room(entry)))))


def _examples(entry: Formula) -> tuple[Table, ...]:
    parsed = doctest.DocTestParser().get_examples(entry.function.__doc__ or "")
    if not parsed:
        return ()
    rows = tuple((words(e.source.strip()), words(e.want.strip())) for e in parsed)
    columns = (column("call", "Call", wide=True), column("result", "Result", wide=True))
    return (Table("worked_example", "Worked example (SI in, SI out; runs as a test)", columns,
                  rows),)
