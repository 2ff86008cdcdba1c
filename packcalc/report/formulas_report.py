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

GROUNDS = ("A definition is an identity (a sum, a ratio, Ohm's law) and needs no source. Formulas "
           "read or computed answer to numbers printed in a source. An assumed one is a rule of "
           "our own: no source prescribes it, a reviewer may replace it.")
OWN = "assumed"
SI_WORDS = ("Every quantity of a call is in SI units, whatever unit its symbol has above: V, A, Ω, "
            "F, H, s, m, kg, J, W, K; a charge in C, a share as a ratio (0.1 for 10 %).")


def formulas_document() -> Document:
    """Every formula, one a row, by the room that holds it."""
    entries = sorted(catalogue.all_formulas().values(), key=_place)
    columns = (column("name", "Name"), column("title", "Gives", wide=True),
               column("formula", "Formula", wide=True), column("unit", "Unit"),
               column("basis", "Basis"), column("source", "Source"), column("room", "Room"))
    rows = tuple((words(f.name), Cell(_title(f), f.title), words(f.text), words(_unit(f.unit)),
                  words(f.basis), words(f.source), words(_room(f))) for f in entries)
    table = Table("formulas", f"{len(rows)} formulas", columns, rows,
                  "packcalc formulas NAME prints one with symbols, range and worked example.")
    return document("Formulas", "every rule that packcalc computes with",
                    (Section("formulas", "Formulas", (Paragraph(GROUNDS), _own(entries), table)),))


def _own(entries: list[Formula]) -> Table:
    """The rules that rest on no source, told before all others."""
    columns = (column("name", "Name"), column("takes", "Takes for granted", wide=True),
               column("safe_side", "Errs", wide=True))
    rows = tuple((words(f.name), words(f.where), words(f.safe_side))
                 for f in entries if f.basis == OWN)
    return Table("own_rules", f"{len(rows)} rules of our own (assumed)", columns, rows)


def _title(entry: Formula) -> str:
    return entry.title[:1].upper() + entry.title[1:]


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
    columns = (column("symbol", "Symbol"), column("unit", "Unit"),
               column("meaning", "Meaning", wide=True), column("parameter", "Parameter"))
    inputs = Table("inputs", "Inputs", columns, tuple(
        (words(i.symbol), words(_unit(i.unit)), words(i.meaning), words(i.parameter))
        for i in entry.inputs))
    return document(_title(entry), entry.name, (Section("formula", "Formula", (
        Paragraph(entry.text, "lead"), inputs, _facts(entry), *_examples(entry))),))


def _facts(entry: Formula) -> Facts:
    cited = source(entry.source) if entry.source else None
    shown = f"{cited.title} ({cited.edition})" if cited else "none: it holds by definition"
    return Facts("facts", "What is known of it", (
        ("name", "Name", words(entry.name)),
        ("result", "Result", words(f"{entry.symbol} [{_unit(entry.unit)}]")),
        ("range", "Range", words(entry.valid)),
        ("safe_side", "Safe side", words(entry.safe_side)),
        ("basis", "Basis", Cell(_basis(entry), entry.basis)),
        ("source", "Source", Cell(shown, entry.source or "–")),
        ("where", "Takes for granted" if entry.basis == OWN else "Where", words(entry.where)),
        ("seen", "How it was read", words(cited.seen if cited else "")),
        ("room", "Room", words(_room(entry)))))


def _basis(entry: Formula) -> str:
    return "assumed: a rule of our own" if entry.basis == OWN else entry.basis


def _examples(entry: Formula) -> tuple[Table, ...]:
    parsed = doctest.DocTestParser().get_examples(entry.function.__doc__ or "")
    if not parsed:
        return ()
    rows = tuple((words(e.source.strip()), words(e.want.strip())) for e in parsed)
    columns = (column("call", "Call", wide=True), column("result", "Result", wide=True))
    return (Table("worked_example", "Worked example (SI in, SI out; runs as a test)", columns,
                  rows, SI_WORDS),)
