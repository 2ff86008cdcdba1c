"""First energising: stages with gates, expected readings, and what was read."""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.bench.assign import AssignmentStudy
from packcalc.checks import FAIL
from packcalc.handover.anew import Anew, declared_anew
from packcalc.handover.commission import design_stops, plan_of
from packcalc.handover.expected import STOP, Expected, Plan, Stage
from packcalc.handover.readings import (
    APART,
    NOT_READ,
    OUT,
    Compared,
    Gate,
    Outlier,
    Trend,
    beyond_a_shut_gate,
    gates,
    joint_outliers,
    trends,
)
from packcalc.measured import Measured
from packcalc.protection import ProtectionStudy
from packcalc.reading.readings_file import COLUMNS, FILLED, Reading, ReadingsFile
from packcalc.report.blocks import column, words
from packcalc.report.cautions import CAUTIONS, DEFERENCE
from packcalc.report.document import (
    Block,
    Bullets,
    Cell,
    Chain,
    Column,
    Document,
    Paragraph,
    Section,
    Table,
)
from packcalc.report.frame import document
from packcalc.report.handover_blocks import (
    BLANK,
    appendix,
    chains,
    edge_cells,
    failing,
    lead,
    meta,
    signatures,
    subtitle,
)
from packcalc.review import design_of, layout_of

TITLE = "First energising, stage by stage"
TREND_TITLE = "Readings repeated, against the first energising"
UNBOUND = ("does not say which design it belongs to: make sure that these readings are of this "
           "pack, and add the columns design and layout as --form FILE writes them")
WORSE = ("worse than the baseline before it by more than its trend may move: a reviewer looks at "
         "what was mended")
NAMED = 5  # readings named in a line; all of them stand in their table
CREPT = ("worse than the first baseline by more than its trend may move, step by step: a reviewer "
         "looks at what was mended")
OVERDUE = "the straight line reached its limit since it was read last: read again now"
SIGNERS = ("who measured", "who watched", "electrician")


def commission_document(study: ProtectionStudy, file: ReadingsFile | None = None,
                        dealt: AssignmentStudy | None = None,
                        bench: Measured = Measured(), day: str = "") -> Document:
    """The page of `packcalc commission`, with readings held against their bands if given.

    Args:
        study: one layout sized.
        file: what was read, or None.
        dealt: modules of the bench in its places, for the bands that rest on them; or None.
        bench: what the bench sheet says of the pack as dealt.
        day: ISO 8601, to which what is overdue is counted, see `counted_to`.
    """
    readings = file.readings if file is not None else ()
    plan = plan_of(study, dealt, readings)
    found = gates(plan, readings)
    about = meta(study)
    if file is not None:
        about = (*about, ("readings", "Readings", file.place),
                 ("readings_digest", "Digest of the readings", file.digest),
                 ("counted_to", "Overdue is counted to", counted_to(study, readings, day)))
    trend_lines = trends(plan, readings)
    overdue = _overdue(trend_lines, counted_to(study, readings, day))
    said = (*(Paragraph(f"{title}: {words}", "open") for title, words in design_stops(study)),
            *failing(study, bench, "Do not begin before that is answered."),
            *_read_first(found, file, _open_words(plan, readings, trend_lines),
                         (_overdue_words(overdue), _worse_words(declared_anew(plan, readings)))))
    sections = [_first(study, plan, found, said, read=file is not None)]
    if file is not None:
        sections += _compared(plan, found, readings, trend_lines, overdue)
    sections += [_stage(number, gate, read=file is not None)
                 for number, gate in enumerate(found, start=1)]
    sections.append(Section("signatures", "Signatures", signatures(
        "commission_signatures", "A signature covers the readings as written down with their "
        "dates, and nothing else.", SIGNERS)))
    worked = [*_chains(plan, found), *_trend_chains(trend_lines, joint_outliers(plan, readings)),
              *chains("baseline_anew", [c for a in declared_anew(plan, readings)
                                        for c in (a.change, a.change_first) if c is not None])]
    return document(TREND_TITLE if trend_lines else TITLE, subtitle(study),
                    (*sections, *appendix(tuple(worked))), about, study.pack)


def answer(study: ProtectionStudy, file: ReadingsFile,
           dealt: AssignmentStudy | None = None) -> str:
    """Why the readings say no, or ""."""
    plan = plan_of(study, dealt, file.readings)
    found = gates(plan, file.readings)
    compared = [c for g in found for c in g.compared]
    out = [c.expected.id for c in compared if c.verdict in OUT]
    return "; ".join(filter(None, (
        stopped(study), *[f"out of band: {', '.join(out)}"] * bool(out),
        *_open_words(plan, file.readings, trends(plan, file.readings)))))


def stopped(study: ProtectionStudy) -> str:
    """Which stages the design itself stops, whatever is read; or ""."""
    found = list(dict.fromkeys(title for title, _ in design_stops(study)))
    return f"{STOP}: {', '.join(found)}" if found else ""


def asked(study: ProtectionStudy, file: ReadingsFile,
          dealt: AssignmentStudy | None = None, day: str = "") -> str:
    """What a reviewer or certifier will ask of the readings, in a line; or ""."""
    plan = plan_of(study, dealt, file.readings)
    overdue = _overdue(trends(plan, file.readings), counted_to(study, file.readings, day))
    return "; ".join(filter(None, (_lacking_words(gates(plan, file.readings)),
                                   _overdue_words(overdue),
                                   _worse_words(declared_anew(plan, file.readings)))))


def counted_to(study: ProtectionStudy, readings: Sequence[Reading], day: str = "") -> str:
    """The day to which overdue is counted: the one named, never before the last that is known.

    Where none is named it is the file's last day, or that of issue: the page is then the same
    whenever it is made.
    """
    return max((day, study.brief.date_of_issue, *(r.date for r in readings)))


def _overdue(lines: Sequence[Trend], day: str) -> tuple[str, ...]:
    """Ids whose straight line reached its limit before a day."""
    return tuple(t.expected.id for t in lines if t.overdue(day))


def _overdue_words(overdue: Sequence[str]) -> str:
    return f"{OVERDUE}: {', '.join(overdue)}" if overdue else ""


def _drifted_words(lines: Sequence[Trend]) -> list[str]:
    drifted = [t.expected.id for t in lines if t.check.verdict == FAIL]
    return [f"moved too far from the baseline: {', '.join(drifted)}"] * bool(drifted)


def _baseline_words(lines: Sequence[Trend]) -> list[str]:
    """Baselines against which nothing can be held, so that no later reading is judged by them."""
    named: dict[str, list[str]] = {}
    for one in lines:
        if one.off:
            named.setdefault(one.off, []).append(
                f"{one.expected.id} ({one.baseline.text} on {one.baseline.date})")
    return [f"{why}, look at value and unit: {', '.join(ids)}" for why, ids in named.items()]


def _beyond_words(plan: Plan, readings: Sequence[Reading]) -> list[str]:
    """Live readings that were taken although a gate before them is shut."""
    beyond = beyond_a_shut_gate(plan, readings)
    if not beyond:
        return []
    stages = ", ".join(title for title, _ in beyond)
    return [f"read live beyond a gate that is shut, or with an earlier stage not read "
            f"({beyond[0][1]}): {stages}"]


def _lacking_words(found: Sequence[Gate]) -> str:
    asked_of = [c for g in found for c in g.compared if c.questions]
    if not asked_of:
        return ""
    named = ", ".join(c.expected.id for c in asked_of[:NAMED])
    more = f" and {len(asked_of) - NAMED} more" if len(asked_of) > NAMED else ""
    return (f"{len(asked_of)} reading{'s' * (len(asked_of) > 1)} lack instrument, name or a "
            f"calibration within a year, which the certifier will ask for: {named}{more}")


def _open_words(plan: Plan, readings: Sequence[Reading],
                lines: Sequence[Trend]) -> list[str]:
    """What the first screen names beside the counts of the verdict."""
    outliers = [o.id for o in joint_outliers(plan, readings)]
    return [*([f"stands out from its like: {', '.join(outliers)}"] if outliers else []),
            *_baseline_words(lines), *_drifted_words(lines), *_beyond_words(plan, readings)]


def form(study: ProtectionStudy, dealt: AssignmentStudy | None = None) -> str:
    """An empty file of readings: every id, what it is, and its band as a remark."""
    lines = [f"# {' '.join(text.split())}" for text in (*CAUTIONS, DEFERENCE)]
    lines.append("# Fill in value with its unit (or yes / no; a meter over its range: > 200 MΩ), "
                 "date like 2026-11-24; one row may be copied for a later date. baseline: yes only "
                 "on a reading after a repair that the trend starts from anew, with name and note; "
                 "else blank. Rows left blank are not read; design and layout stay as they are.")
    lines.append(",".join(COLUMNS))
    blank = "," * (len(FILLED) + 1)
    version = f'{design_of(study)},"{layout_of(study)}"'  # two modules stand with a comma
    for stage in plan_of(study, dealt).stages:
        lines.append(f"# {stage.title}")
        lines += [f"# {like.capitalize()}: {_plain(how)}" for like, how in dict.fromkeys(
            (e.like, e.how) for e in stage.expected if e.like)]
        for expected in stage.expected:
            agrees = f"; {expected.agrees.words}" if expected.agrees is not None else ""
            lines += [f"# {_plain(expected.title)}: {_plain(expected.band + agrees)}",
                      f"{expected.id}{blank}{version}"]
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    return " ".join(text.split()).replace('"', "'")


# --- first page ------------------------------------------------------------------------------

def _first(study: ProtectionStudy, plan: Plan, found: Sequence[Gate],
           said: Sequence[Paragraph], *, read: bool) -> Section:
    count = sum(1 for _ in plan.expected())
    blocks: list[Block] = [lead(study, f"{len(plan.stages)} stages, {count} readings."), *said,
                           _overview(found, read=read)]
    blocks.append(Paragraph("Bands are computed from the tolerances of the parts. A reading "
                            "outside its band: stop, find out why. Never widen a band to fit a "
                            "reading.", "caution"))
    return Section("first", "Stages and gates", tuple(blocks))


def _read_first(found: Sequence[Gate], file: ReadingsFile | None,
                also: Sequence[str], told: Sequence[str]) -> list[Paragraph]:
    """What was read, before the stages; without a file, how readings come here."""
    if file is None:
        return [Paragraph("Write readings into the form that --form FILE writes, and hold "
                          "them against their bands with --readings FILE.", "text")]
    said = [Paragraph(_verdict_sentence(found, also), "open")]
    if lacking := _lacking_words(found):
        said.append(Paragraph(f"{lacking}.", "caution"))
    said += [Paragraph(f"{words[0].upper()}{words[1:]}.", "caution") for words in told if words]
    if not file.design:
        said.append(Paragraph(f"The file of readings {UNBOUND}.", "caution"))
    return said


def _verdict_sentence(found: Sequence[Gate], also: Sequence[str]) -> str:
    compared = [c for g in found for c in g.compared]
    out = [c for c in compared if c.verdict in OUT]
    unread = [c for c in compared if c.verdict == NOT_READ and c.expected.needed]
    shut = next((g.stage.title for g in found if not g.open), "")
    return (f"{len(compared) - sum(c.verdict == NOT_READ for c in compared)} of {len(compared)} "
            f"read; {len(out)} out of band; {len(unread)} needed and not read. "
            + "".join(f"{one[0].upper()}{one[1:]}. " for one in also)
            + (f"Do not go beyond: {shut}." if shut else
               "No reading keeps a gate shut; the words of each gate remain for who signs."))


def _overview(found: Sequence[Gate], *, read: bool) -> Table:
    columns = [Column("number", "No.", "right"), Column("stage", "Stage", wide=True),
               Column("live", "Live meanwhile", wide=True)]
    columns.append(Column("gate", "Gate, as far as the readings go", wide=True) if read else
                   Column("done", "Done, by whom"))
    first: dict[str, int] = {}
    rows = tuple((Cell(str(n), n), Cell(g.stage.title),
                  Cell(g.stage.live if first.setdefault(g.stage.live, n) == n
                       else f"as at {first[g.stage.live]}", g.stage.live),
                  Cell(_gate_words(g)) if read else BLANK) for n, g in enumerate(found, start=1))
    return Table("stages", "Stages in order", tuple(columns), rows)


def _gate_words(gate: Gate) -> str:
    if gate.why:
        counts = ((sum(w.startswith(STOP) for w in gate.why), STOP),
                  (sum(NOT_READ in w for w in gate.why), "not read"),
                  (sum(w.endswith(OUT) for w in gate.why), "out of band"),
                  (sum("stands out" in w for w in gate.why), "stands out from its like"))
        return "shut: " + ", ".join(what if what == STOP else f"{n} {what}"
                                    for n, what in counts if n)
    if gate.earlier:
        return f"readings hold; shut before, at: {gate.earlier}"
    return "readings hold"


# --- one stage -------------------------------------------------------------------------------

def _stage(number: int, gate: Gate, *, read: bool) -> Section:
    stage = gate.stage
    blocks: list[Block] = [
        Paragraph(f"Live: {stage.live}.", "caution"),
        Bullets(stage.steps, f"{stage.key}_steps", ordered=True)]
    kinds = dict.fromkeys(c.expected.like for c in gate.compared)
    for like in kinds:
        found = [c for c in gate.compared if c.expected.like == like]
        blocks += _alike(stage, like, found, read=read) if like else \
            (_readings_table(stage, found, read=read),)
    blocks.append(Paragraph("Do not go on unless every reading above is in its band, and "
                            + "; ".join(stage.gate) + ".", "caution"))
    return Section(stage.key, f"{number} {stage.title}", tuple(blocks))


def _alike(stage: Stage, like: str, compared: Sequence[Compared], *,
           read: bool) -> tuple[Block, ...]:
    """Readings of one kind share their words: said once, then a line each."""
    low = any(c.expected.low is not None for c in compared)
    columns = (column("id", "Reading"), column("what", "What", wide=True),
               *((Column("low", "At least", "right"),) if low else ()),
               Column("high", "At most", "right"), column("unit", "Unit"), column("read", "Read"),
               *((column("verdict", "Verdict"),) if read else ()))
    rows = tuple((Cell(c.expected.id), Cell(c.expected.title),
                  *edge_cells(c.expected)[0 if low else 1:],
                  Cell(c.reading.text if c.reading else "–") if read else BLANK,
                  *((Cell(c.verdict),) if read else ())) for c in compared)
    first = compared[0].expected
    off = [f"Too {side} suggests: {text}." for side, text in
           (("low", first.below), ("high", first.above)) if text]
    return (Paragraph(" ".join((f"How: {first.how}.", *off))),
            Table(f"{stage.key}_{like}", f"{like.capitalize()}: readings", columns, rows))


def _readings_table(stage: Stage, compared: Sequence[Compared], *, read: bool) -> Table:
    columns = [column("id", "Reading"), column("what", "What", wide=True),
               Column("low", "At least", "right"), Column("high", "At most", "right"),
               column("unit", "Unit"), column("how", "How", wide=True)]
    columns += ([column("read", "Read"), column("verdict", "Verdict"),
                 column("suggests", "Suggests", wide=True)] if read else
                [column("read", "Read"), column("off", "Too low / too high suggests", wide=True)])
    rows = tuple((Cell(c.expected.id), Cell(_what(c.expected)), *edge_cells(c.expected),
                  words(_how(c.expected)), *_tail(c, read=read)) for c in compared)
    return Table(f"{stage.key}_readings", f"{stage.title}: readings", tuple(columns), rows)


def _how(expected: Expected) -> str:
    """With what and where it is read, and with what it must agree."""
    agrees = f"must lie {expected.agrees.words}" if expected.agrees is not None else ""
    return "; ".join(text for text in (expected.how, agrees) if text)


def _what(expected: Expected) -> str:
    lacking = "" if expected.edges or expected.dimension == "words" else \
        f" (no band: {expected.lacking or 'becomes the baseline'})"
    return expected.title + lacking + ("" if expected.needed else " (where it can be read)")


def _tail(compared: Compared, *, read: bool) -> tuple[Cell, ...]:
    expected = compared.expected
    if read:
        text = compared.reading.text if compared.reading else ""
        return Cell(text or "–"), Cell(compared.verdict), words(compared.suggests)
    off = [f"{side}: {text}" for side, text in (
        ("low", expected.below), ("high", expected.above),
        ("does not agree", expected.agrees.off if expected.agrees else "")) if text]
    if expected.dimension == "words":
        off = [f"no: {expected.below}"]
    return BLANK, words("; ".join(off))


# --- what was read ---------------------------------------------------------------------------

def _compared(plan: Plan, found: Sequence[Gate], readings: Sequence[Reading],
              trend_lines: Sequence[Trend], overdue: Sequence[str]) -> list[Section]:
    blocks: list[Block] = []
    out = [c for g in found for c in g.compared if c.verdict in OUT]
    if out:
        blocks.append(_out_table(out))
    outliers = joint_outliers(plan, readings)
    if outliers:
        blocks.append(_outlier_table(outliers))
    if not out and not outliers:
        blocks.append(Paragraph("No reading lies outside its band, and no joint stands out."))
    asked = [(c.expected.id, "; ".join(c.questions)) for g in found for c in g.compared
             if c.questions]
    if asked:
        blocks.append(Table("reading_questions", "The certifier will ask",
                            (column("id", "Reading"), column("question", "Lacking", wide=True)),
                            tuple((Cell(a), Cell(b)) for a, b in asked)))
    sections = [Section("compared", "Readings held against their bands", tuple(blocks))]
    anew = declared_anew(plan, readings)
    if trend_lines or anew:
        sections.append(Section("trend", "Trend against the baseline", (
            *([_trend_table(trend_lines, anew, overdue)] if trend_lines else []),
            *([_anew_table(anew)] if anew else []))))
    sections.append(Section("all_readings", "Every reading as written", (_all(readings),)))
    return sections


def _out_table(out: Sequence[Compared]) -> Table:
    columns = (column("id", "Reading"), column("what", "What", wide=True), column("read", "Read"),
               column("band", "Band"), column("verdict", "Verdict"),
               column("suggests", "What it suggests", wide=True))
    rows = tuple((Cell(c.expected.id), Cell(c.expected.title), Cell(c.reading.text),
                  Cell(_asked(c)), Cell(c.verdict), words(c.suggests))
                 for c in out if c.reading is not None)
    return Table("out_of_band", "Out of band: stop here first", columns, rows)


def _asked(compared: Compared) -> str:
    """The band, or what it had to agree with where that is what it missed."""
    if compared.verdict == APART and compared.expected.agrees is not None:
        return compared.expected.agrees.words
    return compared.expected.band


def _outlier_table(outliers: Sequence[Outlier]) -> Table:
    columns = (column("id", "Joint"), column("read", "Read"), column("limit", "Stands out above"),
               column("why", "Rule", wide=True))
    rows = tuple((Cell(o.id), Cell(o.finding.shown), Cell(o.limit.shown), words(o.limit.note))
                 for o in outliers)
    return Table("joint_outliers", "Joints that stand out from their like", columns, rows,
                 "Take apart, clean, torque, measure again; the rest is the scale, so mend the "
                 "worst first.")


def _trend_table(lines: Sequence[Trend], anew: Sequence[Anew],
                 overdue: Sequence[str] = ()) -> Table:
    before = {a.expected.id: a for a in anew}
    columns = (column("id", "Reading"), column("baseline", "Baseline"), column("latest", "Latest"),
               column("change", "Change"), column("limit", "Limit"),
               column("verdict", "Verdict"), column("until", "Straight line reaches it"),
               column("series", "All, by date", wide=True), column("act", "Then", wide=True))
    rows = tuple((
        Cell(t.expected.id), Cell(_baseline(t, before.get(t.expected.id))),
        Cell(f"{t.latest.text}, {t.latest.date}"),
        Cell(t.change.shown if t.change else "–"),
        Cell(t.check.demand.shown if t.check.demand else "–"),
        Cell(f"{t.check.verdict}: {t.off}" if t.off else t.check.verdict),
        words(f"{t.until}: {OVERDUE}" if t.expected.id in overdue else t.until), _series(t),
        Cell(t.rule.act))
        for t in lines)
    return Table("trend", "Readings taken again, against their baseline", columns, rows,
                 "Baseline: the last that was declared after a repair, else the last reading up "
                 "to the day of the second torque, else the first; one out of its band, or that "
                 "stands out from its like, judges nothing. "
                 "The straight line is a date to look again, no promise until then.")


def _series(trend: Trend) -> Cell:
    """Every reading, a line each: a day must not part at the end of one."""
    lines = [f"{day}: {value}" for day, value in trend.series]
    return Cell("\n".join(lines), "; ".join(lines))


def _baseline(trend: Trend, anew: Anew | None) -> str:
    """The baseline, and where it was declared anew the one before it."""
    words = f"{trend.baseline.text}, {trend.baseline.date}"
    if anew is None or anew.now != trend.baseline:
        return words
    old = f"; before: {anew.before.text}, {anew.before.date}" if anew.before else ""
    return f"{words}, declared anew{old}"


def _anew_table(anew: Sequence[Anew]) -> Table:
    columns = (column("id", "Reading"), column("before", "Baseline before"),
               column("last", "Last before it"), column("now", "Declared"),
               column("change", "Against the one before"), column("worse", "Verdict", wide=True),
               column("name", "By"), column("note", "What was done", wide=True))
    rows = tuple((
        Cell(a.expected.id), *(words(f"{r.text}, {r.date}" if r else "")
                               for r in (a.before, a.last, a.now)),
        Cell(a.change.shown if a.change else "–"),
        words(WORSE if a.worse else CREPT if a.crept else ""), Cell(a.now.name), Cell(a.now.note))
        for a in anew)
    return Table("baselines_anew", "Baselines declared anew after a repair", columns, rows,
                 "From each the trend starts again, for that reading alone; the one before it "
                 "stays here.")


def _worse_words(anew: Sequence[Anew]) -> str:
    """Declared baselines that a reviewer looks at, in a line; or ""."""
    worse = list(dict.fromkeys(a.expected.id for a in anew if a.worse))
    crept = list(dict.fromkeys(a.expected.id for a in anew if a.crept and not a.worse))
    return "; ".join(f"{words}: {', '.join(found)}"
                     for words, found in ((WORSE, worse), (CREPT, crept)) if found)


def _all(readings: Sequence[Reading]) -> Table:
    columns = tuple(column(name, name.replace("_", " "), wide=name == "note")
                    for name in ("id", *FILLED))
    rows = tuple((Cell(r.id), Cell(r.text), words(r.instrument), words(r.calibration_date),
                  Cell(r.date), words(r.name), words(r.note), words("yes" if r.declared else ""))
                 for r in readings)
    return Table("readings", "Readings, in the order of the file", columns, rows)


def _chains(plan: Plan, found: Sequence[Gate]) -> tuple[Chain, ...]:
    """Both ends of every band once, under the id of the first reading that has them."""
    seen: set[int] = set()
    out = []
    for expected in plan.expected():
        for end, finding in (("low", expected.low), ("high", expected.high)):
            if finding is not None and finding.known and id(finding) not in seen:
                seen.add(id(finding))
                out.append(Chain(f"{expected.id}.{end}", finding))
    return tuple(out)


def _trend_chains(lines: Sequence[Trend], outliers: Sequence[Outlier]) -> tuple[Chain, ...]:
    changes = tuple(f for t in lines for f in (t.change, t.ahead) if f is not None)
    return (*chains("trend", changes), *chains("joint_limit", [o.limit for o in outliers[:1]]))
