"""Maintenance: intervals, readings to repeat, actions after events."""

from __future__ import annotations

from packcalc.findings import Finding
from packcalc.handover.maintain import Maintenance, maintenance
from packcalc.handover.parted import taken_out
from packcalc.measured import Measured
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import column, words
from packcalc.report.document import Block, Bullets, Cell, Document, Paragraph, Section, Table
from packcalc.report.frame import document
from packcalc.report.handover_blocks import (
    BLANK,
    appendix,
    chains,
    failing,
    lead,
    meta,
    subtitle,
)

TITLE = "Maintenance"


def maintain_document(study: ProtectionStudy, bench: Measured = Measured()) -> Document:
    """The page of `packcalc maintain`; `bench`: what the sheet says of the pack as dealt."""
    plan = maintenance(study)
    sections = (_first(study, plan, bench), _repeats(plan), *_events(plan))
    limits = {(f.title, f.number): f for r in plan.repeats for f in (r.rule.rise, r.rule.fall)
              if f is not None}  # one rule serves readings of several kinds: worked once
    return document(TITLE, subtitle(study),
                    (*sections, *appendix(chains("maintain", (*plan.chains, *limits.values())))),
                    meta(study), study.pack)


def _first(study: ProtectionStudy, plan: Maintenance, bench: Measured) -> Section:
    columns = (column("interval", "When", wide=True), column("what", "What", wide=True),
               column("ground", "Ground"), column("source", "Source"), column("done", "Done, by"))
    rows = tuple((Cell(t.interval), Cell(t.what), Cell(t.ground), words(t.source), BLANK)
                 for t in plan.tasks)
    gloves = study.circuit.insulation.gloves or "a class that reaches the voltage"
    return Section("first", "Intervals", (
        lead(study, "For as long as the pack exists."), *failing(study, bench),
        Paragraph(f"Opening the box: two people; {taken_out(study)}; link proven dead; "
                  f"gloves of {gloves}. Every terminal inside stays live; {plan.ahead}.",
                  "caution"),
        Table("intervals", "What is done when", columns, rows,
              "Where the maker of a part, or the law, asks for more, that counts.")))


def _repeats(plan: Maintenance) -> Section:
    columns = (column("ids", "Readings"), column("interval", "When", wide=True),
               column("rise_percent", "Rise to act on", "%"),
               column("fall_percent", "Fall to act on", "%"), column("act", "Then", wide=True))
    rows = tuple((Cell(r.ids), Cell(r.rule.interval), _share(r.rule.rise), _share(r.rule.fall),
                  Cell(r.rule.act)) for r in plan.repeats)
    blocks: tuple[Block, ...] = (
        Paragraph("Same ids, same instruments where possible, same state (cold, half charge), "
                  "added to the same file with their date: packcalc commission --readings FILE "
                  "shows each against band and baseline, and what is overdue today or on "
                  "--date DAY."),
        Paragraph("After a repair, what was replaced or mended is read again in a row of its own "
                  "with yes under baseline, who declares it under name, and what was done in the "
                  "note: the trend of that reading alone starts from it, and the baseline before "
                  "it stays shown. A repair that leaves a reading worse than before is told, and "
                  "so is one that leaves it worse than the first baseline of all."),
        Table("repeats", "Readings to repeat, and how far each may move", columns, rows,
              "Change against the baseline. The limits are our rule, for the reviewer to "
              "replace; the bands of the first energising hold as well."))
    return Section("repeats", "Readings to repeat", blocks)


def _share(limit: Finding | None) -> Cell:
    if limit is None:
        return Cell("–")
    value = round(100 * limit.number, 6)
    return Cell(f"{value:+.0f}", value)


def _events(plan: Maintenance) -> tuple[Section, ...]:
    return tuple(Section(e.key, e.title, (
        Bullets(e.actions, f"after_{e.key}", ordered=True, kind="caution"),
        Paragraph(f"It may run again only after: {e.again}.", "open"))) for e in plan.events)
