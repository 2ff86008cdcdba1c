"""The bench and its assignment as sections of the file for review, chains apart."""

from __future__ import annotations

from packcalc.bench.assign import AssignmentStudy
from packcalc.bench.grade import GradedLot
from packcalc.measured import Measured
from packcalc.report.assign_report import sections_for_review
from packcalc.report.bench_report import grades_table, grounds_table, summary
from packcalc.report.blocks import checks_table, number
from packcalc.report.document import Block, Cell, Chain, Facts, Paragraph, Section
from packcalc.units import several
from packcalc.value import replace


def front_against_bench(found: Measured) -> tuple[Block, ...]:
    """Under the front figures: what the brief alone, and the modules as dealt, would give."""
    blocks: list[Block] = []
    rows = []
    if found.by_brief is not None:
        rows.append(("fault_lowest_by_brief_A", "Lowest fault current by the brief alone; "
                     "only the cells' undervoltage trip is held against it too",
                     number(found.by_brief.value, "A")))
    if found.energy is not None:
        rows.append(("usable_energy_dealt_kWh", "Usable energy, modules as dealt",
                     number(found.energy.value, "kWh")))
    if rows:
        blocks.append(Facts("first_measured", "The same by other counts", tuple(
            (key, title, Cell(f"{cell.text} {key.rpartition('_')[2]}", cell.value))
            for key, title, cell in rows)))
    if found.checks:
        blocks.append(checks_table("bench_against_brief",
                                   "Bench sheet against the brief's figures", found.checks))
    return tuple(blocks)


def salvage_sections(lot: GradedLot, dealt: AssignmentStudy | None,
                     refusal: str = "") -> tuple[Section, ...]:
    """Grades of the bench, then who stands where.

    Args:
        lot: the graded bench sheet.
        dealt: the assignment, or None where it cannot be made.
        refusal: why not, in words.
    """
    blocks: list[Block] = [Paragraph(summary(lot), "lead"), grounds_table(lot), grades_table(lot),
                           Paragraph("Every check of every module: packcalc bench.")]
    if lot.questions:
        count = len(lot.questions)
        blocks.insert(1, Paragraph(f"{several(count, 'question')} open about the sheet; packcalc "
                                   "bench lists what is asked.", "open"))
    if refusal:
        blocks.append(Paragraph(f"No assignment: {refusal}", "open"))
    found = [Section("bench_grades", "Bench: grades of the modules on hand", tuple(blocks))]
    if dealt is not None:
        found += [replace(s, blocks=tuple(b for b in s.blocks if not isinstance(b, Chain)))
                  for s in sections_for_review(dealt)]
    return tuple(found)


def salvage_chains(dealt: AssignmentStudy | None) -> tuple[Chain, ...]:
    """The chains of an assignment, for the appendix."""
    if dealt is None:
        return ()
    return tuple(b for s in sections_for_review(dealt) for b in s.blocks if isinstance(b, Chain))
