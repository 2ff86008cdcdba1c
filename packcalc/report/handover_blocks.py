"""Blocks that the pages of the handover share: blanks, signatures, chains, bands."""

from __future__ import annotations

from collections.abc import Iterable

from packcalc.findings import Finding
from packcalc.handover.expected import WORDS, Expected
from packcalc.handover.inside import most_voltage
from packcalc.handover.voltage_class import called
from packcalc.measured import Measured
from packcalc.pack import PackModel
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import RULES_TOLD_ONCE, finding_cell
from packcalc.report.brief_report import meta_of
from packcalc.report.document import (
    TO_FILL, Block, Cell, Chain, Column, Paragraph, Section, Table,
)
from packcalc.units import printed

BLANK = Cell(TO_FILL, "")
DEALT = "As its modules are dealt"


def subtitle(study: ProtectionStudy) -> str:
    """Layout and brief in one line."""
    layout = study.layout
    return (f"{layout.label} {layout.arrangement} ({study.pack.cells}): "
            f"{study.brief.title or study.brief.place}")


def meta(study: ProtectionStudy) -> tuple[tuple[str, str, str], ...]:
    """Brief, date of issue, digest."""
    return meta_of(study.brief)


def lead(study: ProtectionStudy, words: str) -> Paragraph:
    """First sentence of a page: what it is, how high, that it stays live."""
    pack = study.pack
    said = called(pack)
    return Paragraph(" ".join(filter(None, (
        f"{words} {pack.modules_used} modules, {most_voltage(pack)}.", said.danger,
        said.warning))), "lead")


def failing(study: ProtectionStudy, bench: Measured, then: str = "") -> tuple[Paragraph, ...]:
    """That checks of the design, or of the pack as its modules are dealt, fail.

    Args:
        study: one layout sized.
        bench: what the bench sheet says of it.
        then: what must not be done before they are answered.
    """
    found = []
    if study.miss:
        found.append(f"This layout does not meet the brief: {study.miss.sentence}.")
    if study.failing:
        found.append("Checks of the design fail: see the file for review.")
    if bench.failing:
        titles = "; ".join(f"{c.title}: {c.sentence}" for c in bench.failing)
        found.append(f"{DEALT} these checks fail: {titles}. See packcalc assign.")
    return tuple(Paragraph(f"{words}{f' {then}' if then else ''}", "open") for words in found)


def chains(name: str, findings: Iterable[Finding]) -> tuple[Chain, ...]:
    """One chain for each distinct known finding."""
    distinct = {id(f): f for f in findings if f.known}
    return tuple(Chain(f"{name}.{i}", f) for i, f in enumerate(distinct.values(), start=1))


def appendix(found: tuple[Chain, ...]) -> tuple[Section, ...]:
    """Every figure worked; no section where there is none."""
    if not found:
        return ()
    words = Paragraph("Each figure with its inputs, rule, numbers, result, source and basis. A "
                      f"pocket calculator gives the printed result. {RULES_TOLD_ONCE}")
    return (Section("appendix", "Appendix: every figure worked", (words, *found)),)


def signers(pack: PackModel, *others: str) -> tuple[str, ...]:
    """Who signs: builder, electrician or specialist by the pack's voltage class, and others."""
    return ("builder", f"electrician or {called(pack).specialist}", *others)


def signatures(key: str, covers: str, who: tuple[str, ...]) -> tuple[Block, ...]:
    """What a signature covers, and a line for each who signs."""
    columns = (Column("role", "Who", wide=True), Column("name", "Name"),
               Column("licence", "Licence no."), Column("date", "Date"),
               Column("not_checked", "Did not check", wide=True), Column("signature", "Signature"))
    rows = tuple((Cell(role), *(BLANK,) * 5) for role in who)
    return Paragraph(covers, "caution"), Table(key, "Signatures", columns, rows)


def edge_cells(expected: Expected) -> tuple[Cell, Cell, Cell]:
    """Low, high and unit of a band."""
    if expected.dimension == WORDS:
        return Cell("yes"), Cell("–"), Cell("yes / no")
    units = {f.unit for f in expected.edges}
    # Both ends print in their own unit where they share one, else in that of the reading.
    shared = units.pop() if len(units) == 1 else expected.unit
    low, high = (_edge(f, shared) if f is not None and f.known else Cell("–")
                 for f in (expected.low, expected.high))
    unit = printed(shared)
    if unit == "°C":
        low, high = (_with_fahrenheit(cell, f) for cell, f in ((low, expected.low),
                                                                (high, expected.high)))
    return low, high, Cell(unit)


def _edge(finding: Finding, unit: str) -> Cell:
    """One end, "or more" where it is only the least it can be."""
    cell = finding_cell(finding, unit)
    return Cell(f"{cell.text} or more", cell.data) if finding.at_least else cell


def _with_fahrenheit(cell: Cell, finding: Finding | None) -> Cell:
    """A temperature with °F beside it, as the trade's thermometers show either."""
    if finding is None or not finding.known:
        return cell
    return Cell(f"{cell.text} ({fahrenheit(finding.number):.0f} °F)", cell.data)


def fahrenheit(kelvin: float) -> float:
    """Degrees Fahrenheit, for words beside a temperature.

    Examples:
        >>> round(fahrenheit(373.15)), round(fahrenheit(273.15))
        (212, 32)
    """
    return (kelvin - 273.15) * 9 / 5 + 32
