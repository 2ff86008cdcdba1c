"""The certifier's file."""

from __future__ import annotations

from packcalc.handover.certifier import (
    BLANK as EMPTY,
    CORE,
    GROUPS,
    RULE_SETS,
    SOURCE_OF_SET,
    Answer,
    CertifierFile,
    certifier_file,
)
from packcalc.measured import Measured
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import column, finding_cell, words
from packcalc.report.document import Block, Bullets, Cell, Document, Paragraph, Section, Table
from packcalc.report.frame import document
from packcalc.report.handover_blocks import (
    BLANK,
    appendix,
    chains,
    failing,
    lead,
    meta,
    signatures,
    signers,
    subtitle,
)
from packcalc.units import printed

TITLE = "Certifier's file"
SIGNERS = ("structural engineer", "certifier")


def certify_document(study: ProtectionStudy, rules: str = CORE,
                     bench: Measured = Measured()) -> Document:
    """The page of `packcalc certify`.

    Args:
        study: one layout sized.
        rules: rule set whose items and clauses are added.
        bench: what the bench sheet says of the pack as dealt.
    """
    file = certifier_file(study, rules)
    sections = (_first(study, file, bench), *(s for g in GROUPS if (s := _group(g, file))),
                *_clauses(file), _open(study, file))
    found = [f for a in file.answers for f in a.figures]
    title = RULE_SETS[rules][0]
    return document(TITLE, f"{title[:1].upper()}{title[1:]}; {subtitle(study)}",
                    (*sections, *appendix(chains("certify", found))),
                    (*meta(study), ("rules", "Rule set", rules)), study.pack)


def _first(study: ProtectionStudy, file: CertifierFile, bench: Measured) -> Section:
    states = [a.state for a in file.answers]
    title, when = RULE_SETS[file.rules]
    blocks: list[Block] = [
        lead(study, f"{len(file.answers)} documents, {states.count(EMPTY)} of them blank."),
        Paragraph("No claim that any rule is met. What is asked for was read where a source "
                  "stands; the rest is what naturally proves a figure. Laws change: open the "
                  "text, ask the authority first.", "caution")]
    if when:
        blocks.append(Paragraph(f"{title}: {when} (as read).", "open"))
    blocks += failing(study, bench)
    if file.rules == CORE:
        others = ", ".join(name for name in RULE_SETS if name != CORE)
        blocks.append(Paragraph(f"No rule set was chosen; --rules takes one of: {others}.",
                                "open"))
    return Section("first", "What is asked for", tuple(blocks))


def _group(group: str, file: CertifierFile) -> Section | None:
    answers = [a for a in file.answers if a.asked.group == group]
    if not answers:
        return None
    key = "asked_" + str(GROUPS.index(group) + 1)
    columns = (column("number", "No."), column("asked", "Document", wide=True),
               column("state", "State"), column("known", "From packcalc", wide=True),
               column("adds", "Builder adds", wide=True), column("source", "Asked by"),
               column("place", "Where it is"))
    rows = tuple((Cell(str(a.asked.number), a.asked.number), Cell(a.asked.title), Cell(a.state),
                  words(a.known), Cell(a.asked.adds), _asked_by(a, file), BLANK)
                 for a in answers)
    blocks: list[Block] = [Table(key, "Documents", columns, rows)]
    figures = _figures(answers)
    if figures:
        blocks.append(Table(f"{key}_figures", "Figures of the study for these documents", (
            column("number", "No."), column("quantity", "Quantity", wide=True),
            column("symbol", "Symbol"), column("value", "Value"), column("unit", "Unit"),
            column("basis", "Weakest basis")), figures))
    return Section(key, group, tuple(blocks))


def _asked_by(answer: Answer, file: CertifierFile) -> Cell:
    """Its source, or the chosen set, or the core; never the text of another rule set."""
    asked = answer.asked
    source, own = asked.source, SOURCE_OF_SET.get(file.rules, "")
    if source in SOURCE_OF_SET.values() and source != own:  # by its own text, not a neighbour's
        source = own if file.rules in asked.sets else ""
    return Cell(source or (file.rules if asked.sets else CORE), source)


def _figures(answers: list[Answer]) -> tuple[tuple[Cell, ...], ...]:
    return tuple((Cell(str(a.asked.number), a.asked.number),
                  Cell(", ".join(filter(None, (f.title, f.most.strip(), f.least.strip())))),
                  Cell(f.symbol), finding_cell(f), words(printed(f.unit)), Cell(f.weakest))
                 for a in answers for f in a.figures if f.known)


def _clauses(file: CertifierFile) -> tuple[Section, ...]:
    own = SOURCE_OF_SET.get(file.rules, "")
    if not file.clauses and not file.second_hand and not own:
        return ()
    blocks: list[Block] = []
    if file.clauses:
        columns = (column("rule", "Rule", wide=True), column("edition", "Edition"),
                   column("clause", "Clause"), column("subject", "Subject", wide=True),
                   column("figure", "Figure", wide=True), column("meaning", "Meaning", wide=True),
                   column("source", "Source"))
        rows = tuple((Cell(c.rule), words(c.edition), words(c.clause), Cell(c.subject),
                      words(c.figure), words(c.meaning), Cell("guideline-clauses"))
                     for c in file.clauses)
        blocks.append(Table("clauses", "Clauses as read, in our words", columns, rows,
                            "Not the whole rule. Open the text before relying on a line."))
    if file.second_hand:
        subjects = "; ".join(f"{c.rule}: {c.subject}" for c in file.second_hand)
        blocks.append(Paragraph(f"Known from second hand only, figures left out: {subjects}. "
                                "Open the text.", "open"))
    if own:
        blocks.append(Table("rule_source", "Text that the items of this rule set were read in",
                            (column("source", "Source"), column("rules", "Rule set")),
                            ((Cell(own), Cell(file.rules)),)))
    return (Section("clauses", f"Rules of {RULE_SETS[file.rules][0]}", tuple(blocks)),)


def _open(study: ProtectionStudy, file: CertifierFile) -> Section:
    left = "; ".join(f"{a.number} {a.title} ({', '.join(a.sets)})" for a in file.left_out)
    blocks: list[Block] = [Bullets(file.not_covered, "not_covered", kind="open")]
    if left:
        blocks.append(Paragraph(f"Asked by other rule sets, left out here: {left}."))
    blocks += signatures("certify_signatures", "A signature says what its owner checked, and what "
                         "not.", signers(study.pack, *SIGNERS))
    return Section("open", "Not covered by packcalc, and signatures", tuple(blocks))
