"""A document with everything a renderer must cope with; values invented.

The formulas here are built beside the register, so that the register stays as shipped.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from packcalc.findings import Finding, Formula, Input, Origin, leaf
from packcalc.report.cautions import CAUTIONS, DEFERENCE
from packcalc.report.document import (
    Bullets, Cell, Chain, Column, Document, Facts, Figure, Paragraph, Section, Table,
)

HOSTILE = "<script>alert('x')</script> & | pipe * star _under_ `tick` [link](http://x) =1+1"


def rule(name: str, symbol: str, unit: str, text: str, function: Callable[..., float],
         inputs: Sequence[tuple[str, str, str]], basis: str = "definition",
         source: str = "") -> Formula:
    """An unregistered formula for tests."""
    arguments = tuple(Input(p, s, u, p.replace("_", " ")) for p, s, u in inputs)
    return Formula(name, name.replace("_", " "), symbol, unit, text, arguments,
                   "any pack", "errs high", source, "clause 5, note 2", basis, function)


def apply(entry: Formula, title: str, *inputs: Finding, note: str = "") -> Finding:
    """What `trace` does, for an unregistered formula."""
    value = entry.function(*(item.number for item in inputs))
    return Finding(title, entry.symbol, entry.unit, value, entry.basis, source=entry.source,
                   formula=entry, inputs=inputs, note=note)


SERIES = rule("pack_voltage", "U_pack", "V", "U_pack = S · U_mod", lambda s, u: s * u,
              [("series", "S", ""), ("module_voltage", "U_mod", "V")])
RESISTANCE = rule("pack_resistance", "R_pack", "Ω", "R_pack = S · R_mod / (1000 · P)",
                  lambda s, r, p: s * r / p,
                  [("series", "S", ""), ("module_resistance", "R_mod", "mΩ"),
                   ("parallel", "P", "")])
FAULT = rule("fault_current", "I_k", "kA", "I_k = U_pack / (1000 · R_pack)", lambda u, r: u / r,
             [("voltage", "U_pack", "V"), ("resistance", "R_pack", "Ω")],
             basis="common practice", source="packcalc-rule")
DROP = rule("loaded_voltage", "U_load", "V", "U_load = U_pack − I · R_pack",
            lambda u, i, r: u - i * r,
            [("voltage", "U_pack", "V"), ("current", "I", "A"), ("resistance", "R_pack", "Ω")])


def findings() -> dict[str, Finding]:
    """Four chains that share their inputs."""
    series = leaf("modules in series", "S", "", 16, "given",
                  origin=Origin("brief.toml", 12, "layout", '"16S1P"'))
    parallel = leaf("modules in parallel", "P", "", 1, "given",
                    origin=Origin("brief.toml", 12, "layout", '"16S1P"'))
    module = leaf("module voltage at full charge", "U_mod", "V", 25.2, "read",
                  source="packcalc-rule",
                  origin=Origin("library module-nmc-6s", key="voltage_max", text="25.2 V"))
    milliohm = leaf("module resistance, initial, hot and new", "R_mod", "mΩ", 0.0042, "assumed",
                    origin=Origin("cell_library class NMC", key="resistance"),
                    note="class value; measure it: " + HOSTILE)
    current = leaf("current at the peak", "I", "A", 250, "given",
                   origin=Origin("brief.toml", 20, "inverter.peak", HOSTILE))
    voltage = apply(SERIES, "highest pack voltage", series, module)
    resistance = apply(RESISTANCE, "pack resistance, initial", series, milliohm, parallel)
    return {
        "faults.highest": apply(FAULT, "highest fault current", voltage, resistance,
                                note="governed by: hot, full, new (others: cold 3.1 kA)"),
        "pack.loaded_voltage": apply(DROP, "loaded voltage at the peak", voltage, current,
                                     resistance),
        "pack.highest_voltage": voltage,
        "link.capacitance": leaf("DC-link capacitance", "C", "µF", None, "given",
                                 note="unknown: read it off the inverter's label"),
    }


def layouts_table() -> Table:
    """Fifteen columns of numbers, twelve rows."""
    heads = [("layout", "Layout"), ("cells", "Cells"), ("highest_V", "Highest working voltage V"),
             ("nominal_V", "Nominal V"), ("loaded_V", "Loaded, cold, aged, empty V"),
             ("total_kWh", "Total energy kWh"), ("usable_kWh", "Usable energy kWh"),
             ("power_kW", "Power at lower limit kW"), ("continuous_kW", "Continuous power kW"),
             ("cell_A", "Current per cell A"), ("used", "Modules used"), ("left", "Left"),
             ("mass_kg", "Mass kg"), ("channels", "Cell channels"), ("margin_V", "Margin V")]
    columns = tuple(Column(key, title, "left" if i < 2 else "right")
                    for i, (key, title) in enumerate(heads))
    rows = tuple(
        (Cell(f"{16 - i}S{1 + i % 2}P"), Cell(f"{96 - 6 * i}s{1 + i % 2}p"),
         *(Cell(f"{403.2 / k - i:.1f}", 403.2 / k - i) for k in range(1, 14)))
        for i in range(12))
    return Table("layouts", "Layouts that fit, best first", columns, rows,
                 "Ranked by usable energy, then by voltage margin.")


def checks_table() -> Table:
    """Columns of words."""
    columns = (Column("check", "Check", wide=True), Column("verdict", "Verdict"),
               Column("figure_A", "Offers A", "right"), Column("demand_A", "Demand A", "right"),
               Column("reason", "Why", wide=True), Column("remedy", "What would change it",
                                                          wide=True))
    rows = (
        (Cell("breaking capacity above the highest fault current"), Cell("not evaluated"),
         Cell("–"), Cell("6000"), Cell("the breaking capacity is not known; ask the supplier for "
                                       "the DC rating at 450 V and its time constant"),
         Cell("a data sheet")),
        (Cell("lowest fault opens it within a second"), Cell("fail"), Cell("1180", 1180),
         Cell("1420", 1420), Cell("nobody clears this fault in the cold"),
         Cell("a contactor on a named trip")),
        (Cell("carries the continuous current"), Cell("pass"), Cell("200", 200),
         Cell("163.4", 163.4), Cell(HOSTILE), Cell("")),
        (Cell("voltage drop"), Cell("caution"), Cell("1.9", 1.9), Cell("2.0", 2.0),
         Cell("close to the limit that was asked"), Cell("the next section")),
    )
    return Table("fuse_checks", "Main fuse 200 A against its duty", columns, rows)


SVG = ('<svg viewBox="0 0 320 80" width="320" height="80" role="img" aria-label="Voltage bands">'
       '<rect x="40" y="20" width="240" height="18" fill="none" stroke="#111"/>'
       '<line x1="120" y1="10" x2="120" y2="50" stroke="#111" stroke-dasharray="4 3"/>'
       '<text x="40" y="66" font-size="12">260 V</text>'
       '<text x="244" y="66" font-size="12">430 V</text></svg>')


def document() -> Document:
    """The sample report."""
    traced = findings()
    evil = Table("evil", "Cells that a spreadsheet would run",
                 (Column("name", "Name"), Column("value_V", "Value V", "right")),
                 tuple((Cell(text), Cell("-12.5", -12.5)) for text in
                       ("=SUM(A1)", "+1+1", "-2+3", "@cmd", "-20.5", HOSTILE)))
    volts = Table("volts", "Voltage bands", (Column("edge", "Edge"), Column("V", "V", "right")),
                  ((Cell("lowest"), Cell("260", 260.0)), (Cell("highest"), Cell("430", 430.0))))
    first = Section("first", "What can kill first", (
        Paragraph("A pack of 16 modules in series, at most 403.2 V DC, for a light truck.", "lead"),
        Facts("summary", "The pack in five lines", (
            ("layout", "Layout", Cell("16S1P (96s1p)")),
            ("highest_V", "Highest working voltage", Cell("403.2 V", 403.2)),
            ("fault_kA", "Highest fault current", Cell("6.000 kA", 6.0)),
            ("module", "Module, as the user calls it", Cell(HOSTILE)),
            ("energy_kWh", "Usable energy", Cell("21.20 kWh", 21.2)))),
        Paragraph("Nobody clears a fault between the pack and the main fuse.", "caution"),
        Bullets(("DC-link capacitance: read it off the inverter's label",
                 "lowest breaking current of the fuse: ask the supplier"), "open_items",
                kind="open"),
    ))
    layouts = Section("layouts", "Layouts", (layouts_table(), Paragraph(HOSTILE, "open")))
    fuse = Section("protection", "Protection", (
        Paragraph("Each part starts with its duty."),))
    main_fuse = Section("fuse", "Main fuse", (
        checks_table(), evil,
        Figure("volts_figure", "Voltages of the pack against the bus", SVG,
               "The pack runs from 260 V, cold, empty and loaded, to 430 V, full.", volts)),
        level=2)
    chains = Section("chains", "Every result and how it came about", tuple(
        Chain(key, finding, "hot, full, new" if key == "faults.highest" else "")
        for key, finding in traced.items()))
    return Document(
        f"Layouts and protection for review: {HOSTILE}", "A light truck (invented example)",
        (("version", "Tool", "packcalc 0.1.0"), ("date", "Date of issue", "2025-01-31"),
         ("digest", "Digest of inputs", "sha256 " + "0123456789abcdef" * 4)),
        CAUTIONS, DEFERENCE, (first, layouts, fuse, main_fuse, chains))


def long_chain(depth: int, number: int = 0) -> Finding:
    """A chain of `depth` computed steps with leaves at each."""
    series = leaf("modules in series", "S", "", 1.0 + number / 1000, "given",
                  origin=Origin("brief.toml", number + 1, "layout"))
    found = leaf(f"voltage {number}", "U", "V", 25.2, "read", source="packcalc-rule")
    for level in range(depth):
        found = apply(SERIES, f"voltage {number} at level {level}", series, found)
    return found


def large_document(tables: int = 25, chains: int = 120, depth: int = 8) -> Document:
    """As large as a full report."""
    from dataclasses import replace

    base = document()
    many = tuple(replace(layouts_table(), key=f"layouts_{i}") for i in range(tables))
    deep = tuple(Chain(f"chain.{i}", long_chain(depth, i)) for i in range(chains))
    return replace(base, sections=(*base.sections, Section("many", "Many", many),
                                   Section("deep", "Deep", deep)))
