"""The switching states as a section: positions first, then the proof of each state."""

from __future__ import annotations

from packcalc.protect.states import State, StatesResult
from packcalc.report.blocks import column, item_section, words
from packcalc.report.document import Bullets, Cell, Paragraph, Section, Table


def positions_table(result: StatesResult) -> Table:
    """State by contactor, and what is live."""
    columns = (column("state", "State"),
               *(column(name.replace("-", "_").replace(" ", "_"), name.capitalize())
                 for name in result.contactors), column("live", "Live", wide=True))
    rows = tuple((words(s.name), *(words(p) for p in s.contactors), words(s.live))
                 for s in result.states)
    return Table("switching_positions", "Contactor positions, and what is live", columns, rows)


def proofs_table(result: StatesResult) -> Table:
    """What must come before, where it is measured, level, timeout, and what a failure means."""
    columns = (column("state", "State"), column("before", "Before it", wide=True),
               column("point", "Measured", wide=True), column("level", "Level"),
               column("timeout", "Within"), column("failing", "If not", wide=True),
               column("blind", "What this cannot see", wide=True))
    rows = tuple((words(s.name), words(s.before), words(s.point), words(_level(s)), _within(s),
                  words(s.failing), words(s.blind)) for s in result.states)
    return Table("switching_proofs", "What proves each state", columns, rows)


def ways_table(result: StatesResult) -> Table:
    """Every way to prove a contact, with what it cannot see."""
    columns = (column("proof", "Proof"), column("reading", "Reading", wide=True),
               column("tells", "Tells", wide=True), column("blind", "Cannot see", wide=True))
    rows = tuple((words(p.name), words(p.reading), words(p.tells), words(p.blind))
                 for p in result.proofs)
    return Table("switching_ways_of_proof", "Ways to prove a contact; no single one is enough",
                 columns, rows)


def _level(state: State) -> str:
    """A level that follows the battery in its share of it, with both ends; else its figure."""
    scaled = state.scaled
    if scaled is None:
        return state.relation if state.level is None else f"{state.relation} {state.level.shown}"
    slope = "" if scaled.slope is None else (
        f"; and a slope of at most {scaled.slope.shown} when emptiest, scaled alike")
    return (f"{state.relation} {scaled.share.shown} of the measured battery voltage "
            f"({scaled.full.shown} full, {scaled.emptiest.shown} emptiest){slope}")


def _within(state: State) -> Cell:
    known = state.timeout
    if known is None or not known.known:
        return Cell("not known")
    return words(f"{known.shown}, {state.unread}" if state.unread else known.shown)


def states_section(result: StatesResult, level: int = 1) -> Section:
    """Positions and proofs before the item's own tables."""
    base = item_section(result.item, level)
    lead, *rest = base.blocks
    steps = Bullets(result.weld_check, key="switching_weld_check", ordered=True)
    return Section(base.key, base.title,
                   (lead, positions_table(result), proofs_table(result), ways_table(result),
                    Paragraph("Weld check before each closing, in this order:"), steps, *rest),
                   level)
