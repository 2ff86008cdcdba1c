"""The cell and module library as documents."""

from __future__ import annotations

from packcalc.modules import ModuleType
from packcalc.report.blocks import column, findings_table, number, whole, words
from packcalc.report.document import Block, Bullets, Document, Section, Table
from packcalc.report.frame import document


def library_document(records: dict[str, ModuleType]) -> Document:
    """Every record, one a row."""
    columns = (column("id", "Record"), column("chemistry", "Chemistry"),
               column("cells", "Cells"), column("capacity_Ah", "Capacity", "Ah"),
               column("energy_kWh", "Energy", "kWh"), column("full_voltage_V", "Full", "V"),
               column("mass_kg", "Mass", "kg"))
    rows = tuple(
        (words(key), words(m.chemistry),
         words(f"{m.series}s" + (f"{m.parallel}p" if m.parallel else "")),
         number(m.capacity.value, "Ah"), number(m.energy.value, "kWh"),
         number(m.series * m.full_voltage.number, "V"), number(m.mass.value, "kg"))
        for key, m in records.items())
    table = Table("modules", f"{len(records)} generic module records", columns, rows,
                  "Generic records of our own, not any maker's product: a stand-in until your "
                  "own modules are read and measured. packcalc library show ID prints one.")
    return document("Module library", "generic records as modules come out of donors",
                    (Section("library", "Records", (table,)),))


def record_document(module: ModuleType) -> Document:
    """One record with the provenance of every figure."""
    cell = module.cell
    blocks: list[Block] = [
        findings_table("figures", f"{module.title}: figures", module.figures),
        _provenance(module),
    ]
    if module.assumptions:
        blocks.append(Bullets(tuple(
            f"{f.title}: {f.shown}, {f.note}" if f.note else f"{f.title}: {f.shown}"
            for f in module.assumptions), key="assumptions"))
    rows = tuple((words(c.title), words(c.basis), words(c.source), words(c.note), whole(len(c.soc)))
                 for c in cell.curves)
    curves = Table("curves", f"{cell.chemistry}: open-circuit voltage curves",
                   (column("curve", "Curve", wide=True), column("basis", "Basis"),
                    column("source", "Source"), column("note", "Note", wide=True),
                    column("points", "Points")), rows,
                   "" if rows else "No curve is used: a bench measurement is demanded.")
    return document(f"Module record {module.id}", module.title,
                    (Section("record", "Record", tuple(blocks)),
                     Section("cell_class", f"Cell class {cell.chemistry}", (curves,))))


def _provenance(module: ModuleType) -> Table:
    rows = tuple((words(f.title), words(f.basis), words(f.source), words(str(f.origin or "–")))
                 for f in module.figures)
    return Table("provenance", "Where each figure comes from",
                 (column("figure", "Figure", wide=True), column("basis", "Basis"),
                  column("source", "Source"), column("origin", "Origin", wide=True)), rows)
