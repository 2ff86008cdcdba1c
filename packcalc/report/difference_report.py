"""The difference between two versions of a design as a document."""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.difference import Change, Difference
from packcalc.report.document import Block, Cell, Column, Document, Paragraph, Section, Table
from packcalc.report.frame import document

_COLUMNS = (Column("key", "Entry or id"), Column("title", "What", wide=True),
            Column("kind", "Change"), Column("before", "Before", wide=True),
            Column("after", "After", wide=True), Column("why", "Note", wide=True))


def difference_document(found: Difference) -> Document:
    """The answer of `packcalc diff`."""
    blocks: list[Block] = [Paragraph(_lead(found), "lead"), _versions(found)]
    if not found.same_design:
        blocks.append(Paragraph("The two are not versions of one design: their titles differ.",
                                "caution"))
    for key, caption, changes in (
            ("changed_inputs", "Inputs and assumptions that changed", found.inputs),
            ("changed_results", "Results of the first page that changed", found.results),
            ("changed_decisions", "Decisions that changed: marks on these are void",
             found.decisions)):
        blocks.append(_table(key, caption, changes))
    return document("What changed between two versions", found.new[0],
                    (Section("difference", "Differences", tuple(blocks)),))


def _lead(found: Difference) -> str:
    if found.nothing and found.same_input:
        return "Nothing differs in inputs, results or decisions."
    if found.nothing:
        return ("No entry, result or decision was found to differ, yet the two were not made of "
                "the same text: their digests of the input differ. That may be a comment, a note "
                "or, where an earlier packcalc wrote one of them, a figure of the parts list; "
                "compare the files.")
    return (f"{len(found.inputs)} inputs and figures of modules, parts and bench sheet, "
            f"{len(found.results)} results of the first page (five figures and the layout) and "
            f"{len(found.decisions)} decisions differ. A decision differs where its figure, its "
            "verdict or anything that it rests on does.")


def _versions(found: Difference) -> Table:
    columns = (Column("version", "Version"), Column("brief", "Brief", wide=True),
               Column("digest", "Digest of the input"), Column("packcalc", "packcalc"))
    rows = tuple((Cell(name), *(Cell(words or "–") for words in given))
                 for name, given in (("before", found.old), ("after", found.new)))
    return Table("versions", "The two versions", columns, rows)


def _table(key: str, caption: str, changes: Sequence[Change]) -> Table:
    rows = tuple((Cell(c.key), Cell(c.title), Cell(c.kind), Cell(c.before or "–"),
                  Cell(c.after or "–"), Cell(c.why)) for c in changes)
    return Table(key, caption, _COLUMNS, rows)
