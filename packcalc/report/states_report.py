"""The switching states as a section: positions first, then the proof of each state."""

from __future__ import annotations

from packcalc.protect.states import CONTACTORS, State, StatesResult
from packcalc.report.blocks import column, item_section, words
from packcalc.report.document import Cell, Section, Table


def positions_table(result: StatesResult) -> Table:
    """State by contactor, and what is live."""
    columns = (column("state", "State"),
               *(column(name.replace("-", "_").replace(" ", "_"), name.capitalize())
                 for name in CONTACTORS), column("live", "Live", wide=True))
    rows = tuple((words(s.name), *(words(p) for p in s.contactors), words(s.live))
                 for s in result.states)
    return Table("switching_positions", "Contactor positions, and what is live", columns, rows)


def proofs_table(result: StatesResult) -> Table:
    """What must come before, where it is measured, level, timeout, and what a failure means."""
    columns = (column("state", "State"), column("before", "Before it", wide=True),
               column("point", "Measured", wide=True), column("level", "Level"),
               column("timeout", "Within"), column("failing", "If not", wide=True))
    rows = tuple((words(s.name), words(s.before), words(s.point), words(_level(s)), _within(s),
                  words(s.failing)) for s in result.states)
    return Table("switching_proofs", "What proves each state", columns, rows)


def _level(state: State) -> str:
    return state.relation if state.level is None else f"{state.relation} {state.level.shown}"


def _within(state: State) -> Cell:
    known = state.timeout
    return words(known.shown) if known is not None and known.known else Cell("not known")


def states_section(result: StatesResult, level: int = 1) -> Section:
    """Positions and proofs before the item's own tables."""
    base = item_section(result.item, level)
    lead, *rest = base.blocks
    return Section(base.key, base.title,
                   (lead, positions_table(result), proofs_table(result), *rest), level)
