"""Isolation and distances as a section: the demands as a small table before the checks."""

from __future__ import annotations

from packcalc.place_arcs import WORST_ARC
from packcalc.protect.insulation import NOT_KNOWN, InsulationResult
from packcalc.report.blocks import column, finding_cell, item_section, words
from packcalc.report.document import Block, Paragraph, Section, Table


def distances_table(result: InsulationResult) -> Table:
    """Creepage and clearance, basic and reinforced."""
    found = result.distances
    columns = (column("insulation", "Insulation"), column("clearance_mm", "Clearance", "mm"),
               column("creepage_mm", "Creepage", "mm"), column("where", "Where", wide=True))
    rows = []
    for name, gap, path, where in (
            ("basic", found.clearance, found.creepage, "live to metal that is bonded to chassis; "
             "pole to pole"),
            ("reinforced", found.clearance_reinforced, found.creepage_reinforced,
             "live to anything touchable that is not bonded; traction to 12 V circuits")):
        if gap is not None and path is not None:
            rows.append((words(name), finding_cell(gap), finding_cell(path), words(where)))
    more = f" Each is at least this, or more, {NOT_KNOWN}." if result.joined.at_least else ""
    return Table("insulation_distances", "Distances demanded (IEC 60664-1)", columns, tuple(rows),
                 found.refusal or f"Creepage is never taken shorter than the clearance.{more}")


def insulation_section(result: InsulationResult, level: int = 1) -> Section:
    """Distances and gloves before the item's own tables."""
    whole = item_section(result.item, level)
    lead, *rest = whole.blocks
    blocks: list[Block] = [lead, distances_table(result)]
    if result.sections.number < 1:
        blocks.append(Paragraph("Sections under 60 V: not reachable; one full module alone stands "
                                "above it.", "caution"))
    if result.gloves:
        blocks.append(Paragraph(f"Rubber gloves: {result.gloves}, leather over them; retest every "
                                "six months."))
    arc = next((f for f in result.item.duty if f.title == WORST_ARC), None)
    if arc is not None:
        blocks.append(Paragraph(f"Gloves stop a shock and no arc: {arc.shown} at the working "
                                f"distance, at the worst place: {arc.note}.", "caution"))
    return Section(whole.key, whole.title, (*blocks, *rest), level)
