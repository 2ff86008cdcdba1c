"""The cell and module library as documents."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from packcalc.cells import CellClass, Law
from packcalc.errors import UnknownName
from packcalc.findings import Finding
from packcalc.modules import ModuleType
from packcalc.report.blocks import column, findings_table, number, whole, words
from packcalc.report.document import (
    Block, Bullets, Cell, Column, Document, Paragraph, Section, Table,
)
from packcalc.report.frame import document
from packcalc.units import printed, show
from packcalc.value import replace

GENERIC = ("Generic records of our own, not any maker's product: a stand-in until your own "
           "modules are read and measured. packcalc library show ID prints one; a chemistry, "
           "such as NMC, prints its cell class.")

LEAST_SAVED = 20  # characters; a shorter note is said again
# Field of a cell class, what it is, symbol, printed unit.
_FIGURES = (
    ("full_voltage", "full voltage of a cell", "U_f", "V"),
    ("nominal_voltage", "nominal voltage of a cell", "U_n", "V"),
    ("empty_voltage", "empty voltage of a cell", "U_e", "V"),
    ("absolute_min_voltage", "voltage below which a cell is scrap", "U_min", "V"),
    ("hysteresis_half_gap", "half the gap between charge and discharge curves", "h", "V"),
    ("drop_low", "drop at 1 C after 10 s, lowest", "d", "V"),
    ("drop_high", "drop at 1 C after 10 s, highest", "d", "V"),
    ("initial_ratio", "resistance in the first millisecond to that at 10 s", "a", ""),
    ("hot_ratio", "resistance hot to that at 25 °C, first millisecond", "b", ""),
    ("growth_slope", "growth of resistance per lost share of capacity", "g", ""),
    ("charge_rate", "charging rate where a record gives none, capacities per hour", "r", ""),
    ("energy_per_mass", "energy per mass of a whole module, lowest", "e", "Wh/kg"),
    ("temperature_min", "lowest temperature for discharge", "T_min", "°C"),
    ("temperature_max", "highest temperature for discharge", "T_max", "°C"),
)
# Field of a cell class, what it runs along, printed unit of that axis.
_LAWS = (("temperature", "cell temperature", "°C"),
         ("temperature_low_charge", "cell temperature, at and below 30 % charge", "°C"),
         ("charge", "state of charge", "%"), ("pulse", "length of the pulse", "s"))


# -- lists ------------------------------------------------------------------------------------


def library_document(records: Mapping[str, ModuleType],
                     classes: Mapping[str, CellClass]) -> Document:
    """Every module record and every cell class, one a row."""
    return document("Cell and module library", "generic records as modules come out of donors",
                    (Section("library", "Records",
                             (_modules_table(records), _classes_table(classes))),))


def _modules_table(records: Mapping[str, ModuleType]) -> Table:
    columns = (column("id", "Record"), column("chemistry", "Chemistry"),
               column("cells", "Cells"), column("capacity_Ah", "Capacity", "Ah"),
               column("energy_kWh", "Energy", "kWh"), column("full_voltage_V", "Full", "V"),
               column("mass_kg", "Mass", "kg"))
    rows = tuple(
        (words(key), words(m.chemistry), words(_cells(m)),
         number(m.capacity.value, "Ah"), number(m.energy.value, "kWh"),
         number(m.series * m.full_voltage.number, "V"), number(m.mass.value, "kg"))
        for key, m in records.items())
    return Table("modules", f"{len(records)} generic module records", columns, rows, GENERIC)


def _classes_table(classes: Mapping[str, CellClass]) -> Table:
    columns = (column("chemistry", "Class"), column("empty_voltage_V", "Empty", "V"),
               column("nominal_voltage_V", "Nominal", "V"), column("full_voltage_V", "Full", "V"),
               column("curves", "Curves"), column("meaning", "Rest voltage", wide=True))
    rows = tuple(
        (words(name), number(c.empty_voltage, "V"), number(c.nominal_voltage, "V"),
         number(c.full_voltage, "V"), whole(len(c.curves)),
         words("needs your own rest voltages at three charges" if c.needs_bench else
               "lowest and highest of the published curves"))
        for name, c in classes.items())
    return Table("cell_classes", f"{len(classes)} cell classes, voltages per cell", columns, rows)


def _cells(module: ModuleType) -> str:
    return f"{module.series}s" + (f"{module.parallel}p" if module.parallel else "")


def document_of(name: str) -> Document:
    """The document of a module record, or of a cell class where a chemistry is named.

    Raises:
        UnknownName: neither; the message names the nearest one.
    """
    from packcalc.reading.library import classes, ids, record

    known = classes()
    if name.upper() in known:
        return class_document(known[name.upper()])
    if name not in ids():
        raise UnknownName("library record", name, ids())
    return record_document(record(name))


# -- one module record ------------------------------------------------------------------------


def record_document(module: ModuleType) -> Document:
    """One record with the provenance of every figure."""
    cell = module.cell
    blocks: list[Block] = [Paragraph(module.note)] if module.note else []
    blocks += _figures("record_figures", f"{module.title}: figures", _distinct(module))
    if module.assumptions:
        blocks += [Paragraph("Filled in from the class, because the record does not say; a note "
                             "that stands above is not said again:"),
                   Bullets(_filled_in(module), key="assumptions")]
    return document(f"Module record {module.id}", module.title,
                    (Section("record", "Record", tuple(blocks)),
                     Section("cell_class", f"Cell class {cell.chemistry}",
                             (_curves_table(cell), _bands_table(cell, _notes(module))))))


def _filled_in(module: ModuleType) -> tuple[str, ...]:
    """What the class filled in, with the notes that stand with no figure of the record."""
    said, lines = {f.note for f in _distinct(module)}, []
    for f in module.assumptions:
        lines.append(f"{f.title}: {f.shown}" + (f", {f.note}" if f.note not in said else ""))
        said.add(f.note)
    return tuple(lines)


def _notes(module: ModuleType) -> set[str]:
    """Every note of its page's first section."""
    return {f.note for f in (*_distinct(module), *module.assumptions)}


def _distinct(module: ModuleType) -> tuple[Finding, ...]:
    """Figures once each: both resistance corners are one figure where it was measured."""
    found = {(f.title, f.value): f for f in (*module.figures, module.energy)}
    return tuple(found.values())


def _figures(key: str, caption: str, figures: Sequence[Finding]) -> tuple[Table, Table]:
    """The figures, and where each comes from; a note stands once, with the first it belongs to."""
    table = findings_table(key, caption, figures)
    bare = replace(table, columns=table.columns[:-1], rows=tuple(row[:-1] for row in table.rows))
    first: dict[str, str] = {}
    for f in figures:
        first.setdefault(f.note, f.title)
    rows = tuple((words(f.title), words(f.basis), words(f.source),
                  words("; ".join(t for t in (str(f.origin or ""), _once(f, first)) if t)))
                 for f in figures)
    return (bare, Table("provenance", "Where each figure comes from",
                        (column("figure", "Figure", wide=True), column("basis", "Basis"),
                         column("source", "Source"),
                         column("note", "Entry and note", wide=True)), rows))


def _once(figure: Finding, first: Mapping[str, str]) -> str:
    """A note, or the figure under which it stands already."""
    said = first[figure.note]
    return figure.note if said == figure.title or len(figure.note) <= len(said) + LEAST_SAVED \
        else f"as for {said}"


# -- one cell class ---------------------------------------------------------------------------


def class_document(cell: CellClass) -> Document:
    """One cell class: windows, published curves, laws of resistance, charge limits."""
    lead = ("Of this class only the voltage window is used: a bench measurement is demanded."
            if cell.needs_bench else
            "A class says what is known of a chemistry, not of the cell in hand: every figure "
            "taken from it is listed as assumed.")
    figures = [cell.figure(*row) for row in _FIGURES]
    blocks: list[Block] = [Paragraph(lead, "lead"),
                           *_figures("class_figures", "Figures of the class", figures),
                           _curves_table(cell)]
    if cell.curves:
        blocks.append(_points_table(cell))
    blocks += [_law_table(cell, *row) for row in _LAWS]
    return document(f"Cell class {cell.chemistry}", cell.title,
                    (Section("cell_class", f"Cell class {cell.chemistry}",
                             (*blocks, _bands_table(cell, {f.note for f in figures}))),))


def _curves_table(cell: CellClass) -> Table:
    rows = tuple((words(c.title), words(c.basis), words(c.source), words(c.note), whole(len(c.soc)))
                 for c in cell.curves)
    return Table("curves", f"{cell.chemistry}: published open-circuit voltage curves",
                 (column("curve", "Curve", wide=True), column("basis", "Basis"),
                  column("source", "Source"), column("note", "Note", wide=True),
                  column("points", "Points")), rows,
                 "" if rows else "No curve is used: rest voltages measured at three charges are "
                 "demanded.")


def _points_table(cell: CellClass) -> Table:
    """All curves side by side: they are tabled on the same charges."""
    columns = (column("charge_percent", "Charge", "%"),
               *(column(f"{c.key.replace('-', '_')}_V", c.title, "V", wide=True)
                 for c in cell.curves))
    rows = tuple((number(charge, "%"), *(number(volt, "V") for volt in volts))
                 for charge, *volts in zip(cell.curves[0].soc, *(c.volt for c in cell.curves),
                                           strict=True))
    return Table("curve_points", f"{cell.chemistry}: rest voltage of a cell, each curve on its own "
                 "axis of charge", columns, rows)


def _law_table(cell: CellClass, name: str, words_of_axis: str, unit: str) -> Table:
    law: Law = getattr(cell, name)
    key = {"°C": "degC", "%": "percent"}.get(unit, unit)
    columns = (column(f"at_{key}", words_of_axis.split(",")[0].capitalize(), unit),
               Column("ratio_low", "Smallest ratio", "right"),
               Column("ratio_high", "Largest", "right"))
    rows = tuple((number(at, unit, 3), number(low, "", 3), number(high, "", 3))
                 for at, low, high in zip(law.at, law.low, law.high, strict=True))
    return Table(f"law_{name}", f"Resistance against {words_of_axis}: ratio to 25 °C, 50 % charge "
                 "and 10 s", columns, rows, f"{law.source} ({law.basis}): {law.note}. Answers from "
                 f"{show(law.lowest, unit, 3)} to {show(law.highest, unit, 3)}, refuses outside.")


def _bands_table(cell: CellClass, said: Collection[str]) -> Table:
    """Charge limits by temperature; their note only where it is not among those `said`."""
    source, note = next(((s, n) for key, s, n in cell.notes if key == "charge_rate"), ("", ""))
    columns = (column("above_degC", "Above", "°C"), column("up_to_degC", "Up to", "°C"),
               column("rate_per_h", f"Most charging [{printed('1/h')}]"),
               column("source", "Source"))
    rows = tuple((number(b.above, "°C", 3), number(b.up_to, "°C", 3),
                  words("data-sheet rate") if b.rate is None else Cell(f"{b.rate:g}", b.rate),
                  words(source)) for b in cell.charge_bands)
    return Table("charge_bands", "Charge limit by cell temperature, capacities per hour", columns,
                 rows, ("" if note in said else f"{note}. ")
                 + "Nothing is allowed outside the bands.")
