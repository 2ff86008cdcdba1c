"""The over-voltage chain as a section: every link, then where each part stands."""

from __future__ import annotations

from packcalc.protect.overvoltage import OvervoltageResult
from packcalc.report.blocks import column, finding_cell, item_section, words
from packcalc.report.document import Cell, Section, Table
from packcalc.value import replace


def chain_table(result: OvervoltageResult) -> Table:
    """Every way in which the voltage rises, in the order of the energy's way."""
    columns = (column("rise", "What raises the voltage", wide=True), column("side", "Where"),
               column("voltage_V", "Voltage", "V"), column("basis", "Weakest basis in the chain"),
               column("note", "Why, or what is missing", wide=True))
    rows = []
    for link in result.chain:
        known = link.voltage
        rows.append((words(link.name), words(link.side),
                     finding_cell(known) if known else Cell("not known"),
                     words(known.weakest if known else ""),
                     words(link.reason or (known.note if known else ""))))
    return Table("overvoltage_chain", "The chain behind the highest working voltage", columns,
                 tuple(rows), f"Highest of the known links: {result.highest.shown}. With the "
                              f"contactors closed: {result.battery_side.least}"
                              f"{result.battery_side.shown}.")


def standings_table(result: OvervoltageResult) -> Table:
    """Each part's rating against the highest working voltage."""
    columns = (column("part", "Part", wide=True), column("rating_V", "Rated", "V"),
               column("highest_V", "Highest working voltage", "V"), column("verdict", "Verdict"),
               column("why", "Reason, or what to ask", wide=True))
    rows = tuple(
        (words(s.part), finding_cell(s.rating) if s.rating is not None else Cell("not known"),
         finding_cell(result.highest), words(s.check.verdict), words(s.check.reason))
        for s in result.standings)
    return Table("overvoltage_standings", "Where each part stands", columns, rows)


def overvoltage_section(result: OvervoltageResult, level: int = 1) -> Section:
    """Chain and standings before the item's own tables; no check is printed twice."""
    shown = {id(s.check) for s in result.standings}
    others = tuple(c for c in result.item.checks if id(c) not in shown)
    whole = item_section(replace(result.item, checks=others), level)
    lead, *rest = whole.blocks
    return Section(whole.key, whole.title,
                   (lead, chain_table(result), standings_table(result), *rest), level)
