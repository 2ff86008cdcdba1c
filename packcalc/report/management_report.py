"""The management system's specification as a section: limits, monitors, order of plugging."""

from __future__ import annotations

from packcalc.findings import Finding
from packcalc.monitoring import Monitor
from packcalc.protect.management import ManagementResult
from packcalc.report.blocks import column, item_section, whole, words
from packcalc.report.document import Block, Bullets, Cell, Section, Table

MOST_MONITORS = 24


# What stands where a limit has no figure; a bare mark would leave open which of these it is.
NOT_ASKED, ELSEWHERE, UNSET = "not asked", "see what happens", "no setting known"


def _shown(finding: Finding | None, otherwise: str) -> Cell:
    return words(finding.shown if finding is not None and finding.known else otherwise)


def limits_table(result: ManagementResult) -> Table:
    """Warn, trip and delay of each quantity against what is set."""
    columns = (column("quantity", "Quantity", wide=True), column("warn", "Warn"),
               column("trip", "Trip"), column("delay", "Within"), column("set", "Set to"),
               column("action", "What happens", wide=True), column("ground", "Ground", wide=True))
    rows = tuple(
        (words(x.quantity), _shown(x.warn, NOT_ASKED), _shown(x.trip, ELSEWHERE),
         _shown(x.delay, ELSEWHERE), _shown(x.setting, UNSET),
         words(x.action), words(x.trip.weakest if x.trip is not None and x.trip.known else ""))
        for x in result.limits)
    return Table("management_limits", "Limits: warn, trip, delay", columns, rows,
                 "Limits of the cell class are assumed until the module's own data sheet replaces "
                 "them. A trip of a current is the lowest setting that leaves the load alone at "
                 "the sensor's error.")


def monitors_table(result: ManagementResult) -> Table:
    """Monitors along one string with what lies between their cells."""
    measured = any(m.joints for m in result.monitors)
    columns = (column("monitor", "Monitor"), column("first_cell", "First cell"),
               column("last_cell", "Last cell"),
               *((column("joints", "Joints measured"),) if measured else ()),
               column("across", "Lies across", wide=True))
    shown = result.monitors[:MOST_MONITORS]
    rows = tuple((whole(i), *_cells(m), *((whole(m.joints),) if measured else ()),
                  words("; ".join(m.spans))) for i, m in enumerate(shown, start=1))
    left = len(result.monitors) - len(shown)
    more = f" {left} more not shown." if left else ""
    return Table("management_monitors", "Monitors along one string", columns, rows,
                 f"Cells counted from the negative end.{more}")


def _cells(monitor: Monitor) -> tuple[Cell, Cell]:
    """Its first and last cell; no figure where a joint alone takes its channels."""
    if monitor.last < monitor.first:
        return words(""), words("")
    return whole(monitor.first), whole(monitor.last)


def management_section(result: ManagementResult, level: int = 1) -> Section:
    """Limits, monitors and order of plugging with the item's own tables."""
    base = item_section(result.item, level)
    lead, *rest = base.blocks
    blocks: list[Block] = [lead, limits_table(result)]
    if result.monitors:
        blocks.append(monitors_table(result))
    order = Bullets(result.plug_order, key="management_plug_order", ordered=True)
    return Section(base.key, base.title, (*blocks, *rest, order), level)
