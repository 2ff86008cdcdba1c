"""The decisions with room for marks, what reviewers said, and the path to a signature."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from packcalc.brief import Brief
from packcalc.checks import NOT_EVALUATED
from packcalc.decisions import MOST_GRAVE, Decision
from packcalc.findings import Finding
from packcalc.handover.certifier import CORE, RULE_SETS, all_clauses
from packcalc.handover.voltage_class import called
from packcalc.marks import CONFLICT, MARKS, NOT_MARKED, REJECT, SPELLED, STANDINGS, Mark
from packcalc.measured import Measured
from packcalc.pack import PackModel
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import column, words
from packcalc.report.brief_report import meta_of
from packcalc.report.document import (
    Block,
    Bullets,
    Cell,
    Chain,
    Column,
    Document,
    Facts,
    Paragraph,
    Section,
    Table,
)
from packcalc.report.frame import document
from packcalc.report.handover_blocks import BLANK
from packcalc.report.html import GRAVE, REST
from packcalc.review import BESIDE, blank_file
from packcalc.review_merge import Review, Standing, merge
from packcalc.value import replace

TITLE = "Sheet for the reviewer"
NOTHING_READS = ("Nothing here reads as accepted that nobody marked. What is not marked is not "
                 "checked, and a mark holds only for what stood there when it was given.")
BOXES = ("[ ] accept  [ ] change to ________  [ ] reject  [ ] not checked  [ ] not my field  "
         "note: ____________________")
# Read by a page; a printed row leaves the last ones blank.
COLUMNS = (
    Column("number", "No."), Column("what", "Decision", wide=True), Column("verdict", "Verdict"),
    Column("figure", "Found", wide=True), Column("basis", "Weakest basis"),
    Column("mark", "Mark", wide=True), Column("decision", "Id"), Column("digest", "Digest"),
    Column("part", "Part"), Column("stage", "Stage"), Column("grounds", "Every basis"),
    Column("standing", "Standing"), Column("marks", "Marks"), Column("chain", "Worked"),
    Column("also", "Also in"),
)
# Marks that were given and do not hold; the last stand beside a printed cell written in.
VOID_MARK, SUPERSEDED = "void", "superseded"
NOT_COUNTED = VOID_MARK, SUPERSEDED, BESIDE
MOST_VOID = 5
Links = dict[tuple, str]


# -- the decisions ----------------------------------------------------------------------------


def decisions_sections(study: ProtectionStudy, review: Review | None = None,
                       links: Links | None = None, *, boxes: bool = False) -> tuple[Section,
                                                                                  Section]:
    """The gravest decisions, then all further ones, with the marks given to them.

    Args:
        study: one layout sized.
        review: marks read; none where not given.
        links: where each finding is unfolded, see `links_of`.
        boxes: print ids and boxes to tick, for paper.
    """
    found = merge(study) if review is None else review
    rows = [_row(n, s, links or {}, boxes) for n, s in enumerate(found.standings, 1)]
    file = blank_file(study, [s.decision for s in found.standings])
    blocks: list[Block] = [
        Paragraph(NOTHING_READS, "caution"),
        Paragraph(f"{len(rows)} decisions, {found.count(NOT_MARKED)} not marked; a line without "
                  "a mark has none. What fails comes first, then what all else rests on, the "
                  "parts put forward that do not pass, faults that nobody clears, and what can "
                  "kill and is not met, by how many times it is missed, or could not be "
                  "evaluated; what passes comes last."),
        Facts("review_file", "What a mark belongs to", (
            ("design", "Design", words(file.design)), ("layout", "Layout", words(file.layout)),
            ("input_digest", "Digest of the input", words(file.input_digest)),
            ("decisions", "Digest of the list", words(file.listed)))),
        Table(GRAVE, f"The {min(MOST_GRAVE, len(rows))} gravest decisions", COLUMNS,
              tuple(rows[:MOST_GRAVE]))]
    rest = Table(REST, f"Decisions {MOST_GRAVE + 1} to {len(rows)}", COLUMNS,
                 tuple(rows[MOST_GRAVE:]))
    return (Section("decisions", "Decisions for the reviewer", tuple(blocks)),
            Section("further", "All further decisions", (rest, signatures_table(study.pack))))


def _row(number: int, standing: Standing, links: Links, boxes: bool) -> tuple[Cell, ...]:
    d = standing.decision
    also = f" (also: {'; '.join(d.also)})" if d.also else ""
    said = "; ".join(mark_lines(standing))
    mark = f"{standing.word}: {said}" if said else (BOXES if boxes else "")
    marks = [{**asdict(m), "holds": m in standing.marks}
             for m in (*standing.marks, *standing.superseded, *standing.void, *standing.beside)]
    chains = list(dict.fromkeys(links[c] for c in map(_content, d.rests_on) if c in links))
    return (Cell(str(number), number), Cell(f"{d.part}: {d.title}{also}", d.title),
            Cell(d.verdict or "figure"), Cell(d.shown or "–"), Cell(d.basis),
            Cell(mark, mark or standing.word),
            Cell(d.id if boxes else "", d.id), Cell(d.digest if boxes else "", d.digest),
            Cell("", d.part), Cell("", d.stage), Cell("", list(d.grounds)),
            Cell("", standing.word), Cell("", marks), Cell("", chains), Cell("", list(d.also)))


def mark_lines(standing: Standing) -> tuple[str, ...]:
    """Every mark of a decision in words, those that no longer hold named as such."""
    parts = "; ".join(f"{part}: {word}" for part, word in standing.of_parts)
    lines = [*filter(None, [parts]), *(_said(m) for m in standing.marks)]
    lines += [f"superseded: {_said(m)}" for m in standing.superseded]
    lines += [f"void, what it rests on changed since: {_said(m)}" for m in standing.void]
    lines += [f"not counted, since a printed cell of its row was written in: {_said(m)}"
              for m in standing.beside]
    lines += [f"the change was checked again: {r.words}" for r in standing.rechecks]
    if standing.against_check:
        lines.append(f"accepted although the check says: {standing.decision.verdict}")
    return tuple(lines)


def _said(mark: Mark) -> str:
    what = f"change to {mark.change_to}" if mark.change_to else mark.verdict
    who = ", ".join(p for p in (mark.name, mark.scope or "scope not stated",
                                f"licence {mark.licence}" if mark.licence else
                                "no licence number given", mark.date) if p)
    scan = f"; entered from the scan {mark.scan}" if mark.scan else ""
    note = f"; note: {' '.join(mark.note.split())}" if mark.note else ""
    return f"{what} ({who}{scan}{note})"


def signatures_table(pack: PackModel) -> Table:
    """Boxes to sign: each person says what was checked and what was not."""
    specialist = called(pack).specialist
    roles = ("Builder", "Electrician", specialist[:1].upper() + specialist[1:],
             "Structural engineer", "Certifier")
    columns = (Column("role", "Role"), Column("checked", "What I checked"),
               Column("not_checked", "What I did not check"), Column("name", "Name"),
               Column("licence", "Licence number"), Column("signature", "Signature"),
               Column("date", "Date"))
    rows = tuple((Cell(role), *(Cell("") for _ in columns[1:])) for role in roles)
    return Table("signatures", "Signatures", columns, rows,
                 "A signature covers what its row names and nothing else; it covers the pack as "
                 "built only where the as-built record says so.")


# -- where a decision is unfolded -------------------------------------------------------------


def _content(finding: Finding) -> tuple:
    return (finding.title, finding.symbol, finding.unit, finding.value, finding.basis,
            finding.source, finding.origin, finding.note)


def links_of(section: Section) -> Links:
    """Where each finding of an appendix is unfolded: its content to the key of its chain."""
    found: Links = {}
    for block in section.blocks:
        if isinstance(block, Chain):
            found.setdefault(_content(block.finding), block.key)
    return found


def with_decision_chains(section: Section, lines: Iterable[Decision]) -> Section:
    """The appendix with every further figure that a decision rests on unfolded."""
    known = links_of(section)
    more = []
    for decision in lines:
        for number, finding in enumerate(decision.rests_on):
            if finding.formula is None or _content(finding) in known:
                continue
            chain = Chain(f"decision.{decision.id}.{number}", finding)
            known[_content(finding)] = chain.key
            more.append(chain)
    return replace(section, blocks=(*section.blocks, *more))


# -- what was said ----------------------------------------------------------------------------


def review_section(review: Review) -> Section:
    """Who marked what, where reviewers differ, what became void, what changes would do."""
    blocks: list[Block] = [Paragraph(_summary(review), "lead"), *rejections(review),
                           *unread(review), *other_names(review), _reviewers(review)]
    for word, title in ((CONFLICT, "Reviewers differ"),):
        rows = tuple((Cell(s.decision.id), Cell(f"{s.decision.part}: {s.decision.title}"),
                      Cell("; ".join(_said(m) for m in s.marks)))
                     for s in review.standings if s.word == word)
        if rows:
            columns = (Column("decision", "Id"), Column("what", "Decision", wide=True),
                       Column("marks", "Marks", wide=True))
            blocks.append(Table("review_conflicts", title, columns, rows))
    blocks += _voided(review)
    blocks += _changes(review)
    return Section("review", "What the reviewers marked", tuple(blocks))


def unread(review: Review) -> tuple[Paragraph, ...]:
    """What was asked or written and could not be taken in: it must not be overlooked."""
    said = [Paragraph(one.words, "caution") for one in review.rewritten]
    said += [Paragraph(f"{words[:1].upper()}{words[1:]}.", "caution")
             for words in review.left_beside]
    said += [Paragraph(f"A change of {r.part} to {r.asked!r}, asked for by {r.by}, was not "
                       f"checked: {r.words}.", "caution") for r in review.not_understood]
    return tuple(said)


def broken(review: Review) -> tuple[Paragraph, ...]:
    """Changes that were asked for and break something, lose what was shown, or pass no longer."""
    changes = sorted((r for r in review.rechecks if r.breaks or r.lost or r.graver),
                     key=lambda r: (not r.breaks, not r.lost, not r.raised))
    return tuple(Paragraph(f"{r.part} ({r.decision_id}), changed to {r.asked} as {r.by} asks: "
                           f"{r.words}", "caution") for r in changes)


def rejections(review: Review) -> tuple[Paragraph, ...]:
    """Decisions that somebody rejects, with who and why."""
    return tuple(Paragraph(
        f"Rejected: {s.decision.part}: {s.decision.title}, {s.decision.shown or 'no figure'}: "
        + "; ".join(_said(m) for m in s.marks if m.verdict == REJECT), "caution")
        for s in review.rejected)


def void_marks(review: Review) -> tuple[Paragraph, ...]:
    """Marks that count no longer, so that nobody takes them for given: how many, which."""
    void = [m for s in review.standings for m in s.void] + list(review.gone)
    if not void:
        return ()
    names = list(dict.fromkeys(m.decision_id for m in void))
    more = f" and {len(names) - MOST_VOID} more" if len(names) > MOST_VOID else ""
    count = "1 mark is" if len(void) == 1 else f"{len(void)} marks are"
    return (Paragraph(f"{count} void: {', '.join(names[:MOST_VOID])}{more}: what was marked "
                      "changed since, or stands here no longer; look again at each.", "open"),)


def first_words(review: Review) -> tuple[Paragraph, ...]:
    """What of the marks stands on the first screen, the gravest first."""
    return (*rejections(review), *broken(review), *void_marks(review), *unread(review),
            *other_names(review))


def other_names(review: Review) -> tuple[Paragraph, ...]:
    """Marks that hold under another name of a branch, so that nobody takes it for unseen."""
    return tuple(Paragraph(
        f"The branch {old!r} is called {new!r} now: {count} mark{'s' * (count != 1)} given under "
        "the old name count, since everything sized under that name reads as it was marked.",
        "caution") for old, new, count in review.renamed)


def _summary(review: Review) -> str:
    counts = "; ".join(f"{word}: {review.count(word)}" for word in STANDINGS if review.count(word))
    return f"Of {len(review.standings)} decisions: {counts}."


def _reviewers(review: Review) -> Table:
    """What each reviewer's marks say today: those that hold by verdict, the others by why not."""
    columns = (Column("name", "Name", wide=True), Column("scope", "Scope", wide=True),
               Column("licence", "Licence number"), *(Column(m.replace(" ", "_"), m, "right")
                                                     for m in (*MARKS, *NOT_COUNTED)))
    standings = review.standings
    holding = [m for s in standings for m in s.marks]
    void = [*(m for s in standings for m in s.void), *review.gone]
    superseded = [m for s in standings for m in s.superseded]
    beside = [m for m in review.beside if m not in set(superseded)]
    told = [*((m.verdict, m) for m in holding), *((VOID_MARK, m) for m in void),
            *((SUPERSEDED, m) for m in superseded), *((BESIDE, m) for m in beside)]
    rows = []
    for who in review.reviewers:
        own = [word for word, m in told if (m.name, m.scope, m.licence) == who]
        name, scope, licence = who
        rows.append((Cell(name), words(scope or "not stated"), words(licence or "none given"),
                     *(Cell(str(own.count(m)), own.count(m)) for m in (*MARKS, *NOT_COUNTED))))
    return Table("reviewers", "Who marked, and within which scope", columns, tuple(rows),
                 "Under a verdict stand the marks that hold; those that are void, superseded by "
                 "a later one or not counted stand in columns of their own.")


def _voided(review: Review) -> list[Block]:
    columns = (Column("decision", "Id"), Column("why", "Why void", wide=True),
               Column("mark", "Mark", wide=True))
    rows = [(Cell(s.decision.id), Cell("; ".join(filter(None, (
                "what it rests on changed", why, f"today: {s.decision.shown}")))), Cell(_said(m)))
            for s in review.standings for m, why in review.why_void(s)]
    rows += [(Cell(m.decision_id), Cell("there is no such decision today"), Cell(_said(m)))
             for m in review.gone]
    if not rows:
        return []
    return [Table("review_void", "Marks that are void: look again", columns, tuple(rows))]


def _changes(review: Review) -> list[Block]:
    if not review.rechecks:
        return []
    columns = (Column("decision", "Id"), Column("asked", "Change to"), Column("by", "By"),
               Column("result", "Result"), Column("words", "What came of it", wide=True))
    rows = tuple((Cell(r.decision_id), Cell(r.asked), Cell(r.by), Cell(_result(r)),
                  Cell(r.words)) for r in review.rechecks)
    blocks: list[Block] = [Table("review_changes", "Changes asked for, checked again", columns,
                                 rows, "Nothing was changed in the design: put the change into the "
                                       "brief and run packcalc again.")]
    blocks += broken(review)
    columns = (Column("decision", "Id"), Column("where", "Where", wide=True),
               Column("check", "Check", wide=True), Column("before", "Before"),
               Column("after", "After"), Column("why", "Figure, demand, why", wide=True))
    rows = tuple((Cell(r.decision_id), *row) for r in review.rechecks for row in _effects(r))
    if rows:
        blocks.append(Table("review_effects", "Every check of each change, and what reads "
                            "differently elsewhere", columns, rows))
    return blocks


def _result(recheck: Any) -> str:
    if not recheck.understood:
        return "not understood"
    if recheck.breaks:
        return "breaks something"
    if recheck.lost:
        return "loses what was shown"
    if recheck.raised:
        return "raises what is not shown"
    if recheck.graver:
        return "is graver than before"
    open_ = sum(c.verdict == NOT_EVALUATED for c in recheck.checks)
    return f"no check fails, {open_} not evaluated" if open_ else "no check fails"


def _effects(recheck: Any) -> Iterable[tuple[Cell, ...]]:
    was = dict(recheck.was)
    for check in recheck.checks:
        yield (Cell(f"the change to {recheck.asked}"), Cell(check.title),
               Cell(was.get(check.title, "–")),
               Cell(check.verdict), Cell(check.sentence or "–"))
    for one in recheck.touched:
        yield (Cell(one.part), Cell(one.title), Cell(one.before or "figure"),
               Cell(one.after or "figure"), Cell(one.shown or "–"))


# -- the path to a signature ------------------------------------------------------------------

# (question, why it is asked now); nothing here answers a legal question.
QUESTIONS = (
    ("Which authority registers or approves this conversion where the vehicle is registered?",
     "it decides which rule book and which edition count"),
    ("Under which path and form: individual approval, low-volume certification, registration "
     "only, competition?", "each wants other papers and other signatures"),
    ("Does the vehicle keep its identity and the rules of its build date after this change?",
     "cut chassis or structure may change the path"),
    ("Who may certify the whole conversion? Name, number, area of approval.",
     "some paths know only named persons"),
    ("Is work on the traction circuit licensed electrical work here, or vehicle work? Who may "
     "sign it?", "places differ; it was not settled by what was read"),
    ("Who may sign the battery box, its restraint and changed structure?",
     "a structural engineer is often a different person"),
    ("Who reviews insulation, distances and the over-current protection, and to which rule set?",
     "two rule books are never mixed in one sum"),
    ("Are salvaged modules accepted? With which history, tests and data?",
     "no published standard was found that tells a certifier how to accept them"),
    ("Which papers are wanted before work starts, which before first power, which at inspection?",
     "changes are cheap before metal is cut"),
    ("How long ahead must each be handed in, and in which form (paper, stamped, data)?",
     "one competition rule book asks three months before inspection"),
    ("Which tests must be witnessed, by whom, with which instruments and calibration?",
     "pre-charge, isolation and bonding readings cannot be repeated once the box is closed"),
    ("What must be photographed or inspected before it is covered?", "hidden parts"),
    ("What do insurer, charging site and fire service ask?", "often asked last"),
)


def signature_section(brief: Brief, rules: str = CORE) -> Section:
    """One page of questions with blanks, to be asked before anything is built.

    Args:
        brief: names the cable tables that the reviewer must agree to.
        rules: one of the certifier's rule sets.

    Raises:
        UnknownName: no such rule set.
    """
    from packcalc.errors import UnknownName

    if rules not in RULE_SETS:
        raise UnknownName("rule set", rules, RULE_SETS)
    title, ahead = RULE_SETS[rules]
    columns = (Column("number", "No."), Column("question", "Ask", wide=True),
               Column("why", "Because", wide=True), Column("answer", "Answer"),
               Column("by", "Answered by, date"))
    own = (f"Do you work by {brief.cables.rules} for the cables? If not, by which tables?",
           "the brief chose it; no table for vehicles exists")
    rows = tuple((Cell(str(n), n), Cell(q), Cell(why), BLANK, BLANK)
                 for n, (q, why) in enumerate((*QUESTIONS, own), 1))
    blocks: list[Block] = [
        Paragraph("Ask these before anything is bought or cut. packcalc answers none of them: "
                  "who may sign what is for the law and the authority where the vehicle is "
                  "registered.", "caution"),
        Paragraph((f"Rule set chosen: {title}." if rules != CORE else
                   f"No rule set was chosen: the common core, {title}.")
                  + (f" As read: {ahead}." if ahead else "")),
        Table("signature_questions", "The path to a signature", columns, rows)]
    clauses = [c for c in all_clauses() if c.rules == rules]
    if clauses:
        blocks.append(_clauses(title, clauses))
    else:
        known = tuple(f"{key}: {name}" for key, (name, _) in RULE_SETS.items() if key != CORE)
        blocks.append(Bullets(("No jurisdiction is named. Rule sets of which clauses were read: "
                               + "; ".join(known),)))
    return Section("signature", "The path to a signature, asked first", tuple(blocks))


def _clauses(title: str, clauses: Sequence[Any]) -> Table:
    columns = (column("rule", "Rule", wide=True), column("clause", "Clause"),
               column("subject", "Subject", wide=True), column("figure", "Figure", wide=True),
               column("meaning", "In our words", wide=True), column("status", "How seen"))
    rows = tuple((Cell(f"{c.rule}, {c.edition}".rstrip(", ")), words(c.clause), words(c.subject),
                  words(c.figure), words(c.meaning), Cell(c.status)) for c in clauses)
    return Table("signature_clauses", f"Clauses to ask about: {title}", columns, rows,
                 "Laws change: open the text in force before relying on a row.")


# -- the sheet --------------------------------------------------------------------------------


def review_document(study: ProtectionStudy, review: Review | None = None, rules: str = CORE,
                    bench: Measured = Measured()) -> Document:
    """The printed sheet: the path to a signature, then every decision with boxes to tick.

    Args:
        study: one layout sized.
        review: marks read; none where not given.
        rules: one of the certifier's rule sets.
        bench: what the bench sheet says, where no review carries it already.
    """
    brief = study.brief
    review = merge(study, bench=bench) if review is None else review
    how = Section("how", "How to mark", (Bullets((
        "Tick one box a line; with 'change to', write what it should become.",
        "Leave unmarked what you did not look at: that reads as not marked, never as accepted.",
        "'Not my field' tells the next reviewer that it is still open.",
        "Paper marks may be typed into the CSV (packcalc review BRIEF --out review.csv) with the "
        "name of the scanned sheet; the number of each line tells what was marked, in the version "
        "whose digest of the input and date of issue stand at the head: keep all sheets of one "
        "version together. The column "
        f"mark takes these words: {', '.join(SPELLED)}.",
        "packcalc report BRIEF --review FILE puts the marks beside the decisions."),
        ordered=True),))
    subtitle = f"{study.layout.label} {study.layout.arrangement}: {brief.title or brief.place}"
    sections = [how, signature_section(brief, rules),
                *decisions_sections(study, review, boxes=True)]
    if review.files:
        sections.append(review_section(review))
    return document(TITLE, subtitle, tuple(sections), meta_of(brief),
                    study.pack)
