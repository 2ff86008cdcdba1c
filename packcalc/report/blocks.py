"""Small makers of blocks: numbers to cells, checks and items to tables."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from packcalc.checks import Candidate, Check, Item
from packcalc.findings import OR_LESS, OR_MORE, Finding
from packcalc.handover.sizes import in_both
from packcalc.report.document import (
    Block,
    Bullets,
    Cell,
    Chain,
    Column,
    Paragraph,
    Section,
    Table,
)
from packcalc.report.fact_columns import fact_cells, fact_columns, fact_titles, machine_key
from packcalc.report.parts_report import parts_blocks
from packcalc.report.steps import slug
from packcalc.units import from_si, printed, show, significant
from packcalc.value import replace

MOST_CANDIDATES = 12
LONG_NOTE = 200  # characters of a note that a duty table still takes whole
RULES_TOLD_ONCE = ("Range and safe side of a rule, and among the shared steps its clause, "
                   "stand where it is used first; packcalc formulas NAME prints them of any "
                   "rule.")


def number(value: float | None, unit: str, digits: int = 4) -> Cell:
    """A cell with an SI value shown in a unit; page and data carry the same figure."""
    if value is None or not math.isfinite(value):
        return Cell("–")
    text = significant(from_si(value, unit), digits)
    return Cell(text, float(text))


def words(text: str) -> Cell:
    return Cell(text or "–", text)


def whole(value: int) -> Cell:
    return Cell(str(value), int(value))


def column(key: str, title: str, unit: str = "", *, wide: bool = False) -> Column:
    """A column; a unit makes it numeric and goes into title and key by the caller's words."""
    head = f"{title} [{printed(unit)}]" if unit else title
    return Column(key, head, "right" if unit else "left", wide)


def finding_cell(finding: Finding, unit: str = "") -> Cell:
    """A finding's printed number; its unit, or another of its kind, stands in its own column."""
    if finding.value is None:
        return Cell("not known")
    text = show(finding.value, unit or finding.unit)
    unit = printed(unit or finding.unit)
    plain = text.removesuffix(f" {unit}") if unit else text
    return Cell(plain, float(plain))


def findings_table(key: str, caption: str, findings: Sequence[Finding], note: str = "") -> Table:
    """Findings one a row: what, value, basis of this step, weakest link, note."""
    columns = (Column("quantity", "Quantity", wide=True), Column("symbol", "Symbol"),
               Column("value", "Value", "right"), Column("unit", "Unit"),
               Column("basis", "Weakest basis in the chain"),
               Column("note", "Corner and note", wide=True))
    rows = tuple(
        (Cell(f.title), Cell(f.symbol), finding_cell(f), words(printed(f.unit)),
         Cell(f.weakest if f.known else "not known"), words(_beside(f)))
        for f in findings)
    return Table(key, caption, columns, rows, note)


def _beside(finding: Finding) -> str:
    """The note of a figure; a long list of what does not govern it is left to its chain.

    What nobody told that may make it worse stands behind that list, and stays.
    """
    governs, rivals, _ = finding.note.partition(" (others: ")
    if not rivals or len(finding.note) <= LONG_NOTE:
        return finding.note
    untold = [f"{end}{why}" for end, why in (
        (OR_LESS, finding.may_be_less), (OR_MORE, finding.untold_more)) if why]
    return "".join((governs, "; all others in its chain",
                    *(one for one in untold if one not in governs)))


def to_confirm(*figures: Finding) -> str:
    """What the brief leaves open and our assumption fills in their chains; empty for nothing.

    What a figure itself names as open is told beside it.
    """
    named = dict.fromkeys(
        f"{one.title} ({one.origin.key})" for f in figures if f.known for one in f.walk()
        if one.basis == "assumed" and one.origin is not None and "." in one.origin.key
        and one.origin.key not in f.left_open)
    return f"subject to confirming {', '.join(named)}" if named else ""


def checks_table(key: str, caption: str, checks: Iterable[Check], note: str = "") -> Table:
    """Checks one a row, in the order given."""
    columns = (Column("check", "Check", wide=True), Column("verdict", "Verdict"),
               Column("why", "Figure, demand, why", wide=True),
               Column("remedy", "What would change it", wide=True))
    rows = tuple((Cell(c.title), Cell(c.verdict), Cell(_why(c)), words(c.remedy)) for c in checks)
    return Table(key, caption, columns, rows, note)


def _why(check: Check) -> str:
    confirm = len(check.to_confirm) if check.verdict == "pass" else 0
    figures = "figure" if confirm == 1 else "figures"
    tail = f"; subject to confirming {confirm} assumed {figures} in its chain" if confirm else ""
    return (check.sentence or "–") + tail


def candidates_table(item: Item) -> Table:
    """Candidates one a row: verdict, facts, and what failed or was not evaluated."""
    titles = fact_titles(item.candidates)
    columns = (Column("candidate", "Candidate"), Column("verdict", "Verdict"),
               *fact_columns(item.candidates, titles),
               Column("failed", "Fails", wide=True),
               Column("not_evaluated", "Not evaluated", wide=True))
    rows = []
    for candidate in _near_the_window(item):
        failed = "; ".join(f"{c.title}: {c.sentence}" for c in candidate.checks
                           if c.verdict == "fail")
        open_ = "; ".join(c.title for c in candidate.checks if c.verdict == "not evaluated")
        rows.append((Cell(candidate.name), Cell(candidate.verdict),
                     *fact_cells(candidate, titles), words(failed), words(open_)))
    left = len(item.candidates) - len(rows)
    note = f"{left} further ratings, farther from the window, all fail." if left > 0 else ""
    return Table(f"{machine_key(item.key)}_candidates",
                 f"{item.title}: ratings held against the duty", columns, tuple(rows), note)


def _near_the_window(item: Item) -> list:
    """Every candidate that does not fail, with the nearest failing ones on either side."""
    good = [i for i, c in enumerate(item.candidates) if c.qualifies]
    if len(item.candidates) <= MOST_CANDIDATES:
        return list(item.candidates)
    if not good:
        return sorted(item.candidates,
                      key=lambda c: sum(x.verdict == "fail" for x in c.checks))[:MOST_CANDIDATES]
    keep = set(good) | {i + d for i in good for d in (-1, 1)}
    return [c for i, c in enumerate(item.candidates) if i in keep]


def item_section(item: Item, level: int = 2) -> Section:
    """One protective part: duty, specification, candidates, checks, open items."""
    key = machine_key(item.key)
    blocks: list[Block] = [Paragraph(f"Governing: {item.governing}", "lead")]
    if item.open_items:
        blocks.append(Paragraph("; ".join(i.rstrip(".") for i in item.open_items), "open"))
    if item.duty:
        blocks.append(findings_table(f"{key}_duty", f"{item.title}: duty", item.duty))
    if item.checks:
        blocks.append(checks_table(f"{key}_checks", f"{item.title}: checks of the duty itself",
                                   item.checks))
    if item.specification:
        columns = (Column("what", "Ask the supplier for", wide=True), Column("value", "Value"),
                   Column("why", "Because", wide=True))
        both = in_both(item)
        rows = tuple((Cell(r.what), Cell(both.get(r.value, r.value)), words(r.why))
                     for r in item.specification)
        blocks.append(Table(f"{key}_specification",
                            f"{item.title}: specification to send to a supplier", columns, rows))
    ratings = replace(item, candidates=tuple(c for c in item.candidates if not c.own))
    if ratings.candidates:
        blocks.append(candidates_table(ratings))
        first = ratings.shortlist[0] if ratings.shortlist else None
        if first is not None:
            blocks.append(checks_table(
                f"{key}_first", f"{item.title}: every check of {first.name}", first.checks,
                _why_first(first)))
        else:
            blocks.append(Paragraph("No standard rating passes: see what fails and what would "
                                    "change it.", "open"))
    blocks += parts_blocks(item, key)
    if item.notes:
        blocks.append(Bullets(item.notes, kind="caution"))
    return Section(key, item.title, tuple(blocks), level)


def _why_first(first: Candidate) -> str:
    """What it means to stand first, said plainly."""
    left_open = sum(c.verdict == "not evaluated" for c in first.checks)
    why = f"{first.name} is the first of the list above in which no check failed."
    if not left_open:
        return f"{why} That makes it a candidate for review, no more."
    return (f"{why} It has not passed: {left_open} of its {len(first.checks)} checks could not be "
            "evaluated, and each is a question to its maker.")


def item_chains(item: Item) -> tuple[Chain, ...]:
    """The chains of an item's duty."""
    return named_chains(machine_key(item.key), item.duty)


def named_chains(prefix: str, findings: Iterable[Finding]) -> tuple[Chain, ...]:
    """A chain for each known finding, its key made of the title: it outlives new neighbours."""
    uses: dict[str, int] = {}
    found = []
    for finding in findings:
        name = slug(finding.title)
        uses[name] = uses.get(name, 0) + 1
        if finding.known:
            again = f"-{uses[name]}" if uses[name] > 1 else ""
            found.append(Chain(f"{prefix}.{name}{again}", finding))
    return tuple(found)
