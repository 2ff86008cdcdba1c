"""The user's own parts: one line a part, then every check of those that fail none."""

from __future__ import annotations

from packcalc.checks import FAIL, NOT_EVALUATED, Candidate, Check, Item, margin
from packcalc.report.document import Block, Cell, Column, Paragraph, Table
from packcalc.report.fact_columns import fact_cells, fact_columns, fact_titles

REQUEST = ("Not one part of the list qualifies without a question: send the specification above "
           "to the suppliers as a request for data.")


def parts_blocks(item: Item, key: str) -> tuple[Block, ...]:
    """Tables of the user's own parts for one item; nothing where the list holds none.

    Args:
        item: with its candidates.
        key: machine key of the item.
    """
    if not item.own_parts:
        return ()
    standing = [c for c in item.own_parts if c.qualifies]
    blocks: list[Block] = [_summary(item, key)]
    if standing:
        blocks.append(_checks(item, key, standing))
    if all(c.verdict != "pass" for c in item.own_parts):
        blocks.append(Paragraph(REQUEST, "open"))
    return tuple(blocks)


def _summary(item: Item, key: str) -> Table:
    titles = fact_titles(item.own_parts, 4)
    columns = (Column("part", "Part"), Column("verdict", "Verdict"),
               *fact_columns(item.own_parts, titles),
               Column("failed", "Fails", wide=True),
               Column("missing", "Not shown: ask", wide=True))
    rows = tuple(_row(c, titles) for c in item.own_parts)
    return Table(f"{key}_parts", f"{item.title}: your own parts held against the duty", columns,
                 rows, "In the order of your list. A part that fails nothing is a candidate for "
                       "review, no more.")


def _row(candidate: Candidate, titles: list[str]) -> tuple[Cell, ...]:
    failed = "; ".join(f"{c.title}: {c.sentence}" for c in candidate.checks if c.verdict == FAIL)
    missing = "; ".join(f"{c.title}: {_ask(c)}" for c in candidate.checks
                        if c.verdict == NOT_EVALUATED)
    # questions to the maker of a part that fails already would bury why it fails
    asked = Cell("–", missing) if failed else Cell(missing or "–")
    return (Cell(candidate.name), Cell(candidate.verdict),
            *fact_cells(candidate, titles), Cell(failed or "–"), asked)


def _ask(check: Check) -> str:
    return check.reason.removeprefix("not shown to qualify: ") or "not known"


def _checks(item: Item, key: str, parts: list[Candidate]) -> Table:
    columns = (Column("part", "Part"), Column("stage", "Stage"),
               Column("check", "Check", wide=True), Column("verdict", "Verdict"),
               Column("margin_percent", "Margin [%]", "right"),
               Column("why", "Figure, demand, why", wide=True))
    rows = tuple((Cell(p.name), Cell(c.stage), Cell(c.title), Cell(c.verdict), _margin_cell(c),
                  Cell(c.sentence or "–")) for p in parts for c in p.checks)
    return Table(f"{key}_parts_checks", f"{item.title}: every check of the parts that fail none",
                 columns, rows, "Margin: what is left between figure and demand, as a share of "
                                "the demand; none for temperatures.")


def _margin_cell(check: Check) -> Cell:
    value = margin(check)
    if value is None:
        return Cell("–")
    return Cell(f"{round(100 * value)}", round(100 * value, 1) + 0.0)
