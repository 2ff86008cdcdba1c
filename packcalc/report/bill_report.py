"""Bill of materials."""

from __future__ import annotations

from packcalc.handover.bill import Line, bill
from packcalc.measured import Measured
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import column, words
from packcalc.report.document import Block, Cell, Column, Document, Paragraph, Section, Table
from packcalc.report.frame import document
from packcalc.report.handover_blocks import (
    BLANK,
    appendix,
    chains,
    failing,
    lead,
    meta,
    subtitle,
)
from packcalc.units import significant

TITLE = "Bill of materials"


def bill_document(study: ProtectionStudy, bench: Measured = Measured()) -> Document:
    """The page of `packcalc bill`; `bench`: what the sheet says of the pack as dealt."""
    lines = bill(study)
    blocks: list[Block] = [
        lead(study, f"{len(lines)} lines."), *failing(study, bench),
        Paragraph("Candidates are ratings in which no check failed; none is a choice. A part "
                  "without its data sheet is a specification to send to a supplier.", "caution")]
    asked = sum(line.open for line in lines)
    if asked:
        blocks.append(Paragraph(f"{asked} questions to suppliers are open: see each part in the "
                                "file for review.", "open"))
    blocks.append(_table(lines))
    found = [study.pack.highest_voltage, study.brief.path.link_resistance,
             *(item.duty[0] for item in study.items if item.duty)]
    return document(TITLE, subtitle(study),
                    (Section("bill", "Bill of materials", tuple(blocks)),
                     *appendix(chains("bill", found))), meta(study), study.pack)


def _table(lines: tuple[Line, ...]) -> Table:
    columns = (column("line", "Line"), column("part", "Part", wide=True),
               Column("quantity", "Quantity", "right"), column("unit", "Unit"),
               column("demand", "Demand", wide=True),
               column("candidates", "Candidates for review", wide=True),
               column("named", "Named in the brief"), column("note", "Note", wide=True),
               Column("open", "Open questions", "right"), column("part_number", "Part no."),
               column("supplier", "Supplier, price"))
    rows = tuple((Cell(b.key), Cell(b.what), _quantity(b), Cell(b.unit or "pcs"), Cell(b.demand),
                  words(b.candidates), words(b.named), words(b.note), Cell(str(b.open), b.open),
                  BLANK, BLANK) for b in lines)
    return Table("bill", "What to buy, and to which demand", columns, rows)


def _quantity(line: Line) -> Cell:
    if line.quantity is None:
        return Cell("to count", "")
    if line.unit:
        return Cell(significant(line.quantity), round(line.quantity, 3))
    return Cell(f"{line.quantity:g}", int(line.quantity))
