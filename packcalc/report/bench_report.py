"""The bench sheet graded, and the teardown sheet, as neutral documents."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from packcalc.bench.grade import (
    GRADES,
    GradedLot,
    GradedModule,
    isolation_line,
    tells_grade,
)
from packcalc.bench.judging import DRAW_A_LINE, NO_LINE
from packcalc.bench.sheet import BenchRow
from packcalc.bench.next_tests import Test, bench_hours, next_tests
from packcalc.bench.statistics import Spread, correlation, spread
from packcalc.bench.teardown import SectionState, Teardown, band
from packcalc.brief import Brief
from packcalc.checks import PASS
from packcalc.reading.told_once import told_once
from packcalc.report.blocks import (
    checks_table,
    column,
    finding_cell,
    findings_table,
    number,
    whole,
    words,
)
from packcalc.report.brief_report import meta_of
from packcalc.report.document import (
    TO_FILL,
    Block,
    Bullets,
    Cell,
    Chain,
    Document,
    Paragraph,
    Section,
    Table,
)
from packcalc.report.frame import document
from packcalc.units import from_si, several, significant
from packcalc.value import replace

MOST_SPELLED = 12


# --- the bench -------------------------------------------------------------------------------

def readings_table(rows: Iterable[BenchRow]) -> Table:
    """Everything that the sheet says of each module, a line each."""
    columns = (column("mark", "Module"), column("line", "Line"), column("column", "Column"),
               column("reading", "As read"))
    return Table("bench_readings", "The bench sheet as read", columns, tuple(
        (Cell(row.mark), Cell(str(row.line), row.line), Cell(name), Cell(text))
        for row in rows for name, text in row.written))


def bench_document(lot: GradedLot, brief: Brief | None = None) -> Document:
    """The whole answer of `packcalc bench`."""
    meta = (*(meta_of(brief) if brief is not None else ()),
            ("sheet", "Bench sheet", lot.sheet.place),
            ("sheet_digest", "Digest of the sheet", lot.sheet.digest))
    return document("Bench sheet, graded", lot.sheet.place, bench_sections(lot), meta)


def bench_sections(lot: GradedLot) -> tuple[Section, ...]:
    """The sections of the bench: grades, questions, spread, next tests, thresholds, chains."""
    tests = next_tests(lot)
    grades: list[Block] = [Paragraph(summary(lot), "lead"), grounds_table(lot), grades_table(lot)]
    if lot.questions:
        grades.insert(1, Paragraph("Answer these first; what is asked about counts nowhere "
                                   "meanwhile, and the sheet is left as it is.", "open"))
        grades.insert(2, questions_table(lot))
    return (
        Section("bench_grades", "Grades", tuple(grades)),
        Section("bench_lot", "The lot", (
            checks_table("bench_lot_checks", "Checks of the whole lot", lot.checks),
            spread_table(lot), _correlation(lot))),
        Section("bench_next", "What to test next", _next(lot, tests)),
        Section("bench_reasons", "Checks module by module", (reasons_table(lot),)),
        Section("bench_rules", "Thresholds, and how figures were brought together",
                _rules(lot)))


def _no_line(lot: GradedLot) -> str:
    """What is true of every module where no line can be drawn, told once."""
    without = sum(any(c.reason == NO_LINE for c in m.reasons) for m in lot.modules)
    return (f" Insulation to the case is not judged of {several(without, 'module')}: {NO_LINE}, "
            f"and none of them is kept before; {DRAW_A_LINE}.") if without else ""


def _but_line(m: GradedModule) -> GradedModule:
    return replace(m, reasons=tuple(c for c in m.reasons if c.reason != NO_LINE))


def summary(lot: GradedLot) -> str:
    """How many of each grade, in one sentence."""
    counts = ", ".join(f"{len(lot.of_grade(g))} {g}" for g in reversed(GRADES))
    count = len(lot.modules)
    return (f"{several(count, 'module')}: {counts}. Keep means: nothing that was "
            f"measured speaks against it; it is a candidate, not a promise.{_no_line(lot)}")


def grades_table(lot: GradedLot) -> Table:
    """Grade and figures at common conditions, one module a row."""
    columns = (column("mark", "Mark"), column("grade", "Grade"),
               column("capacity_Ah", "Capacity", "Ah"), column("capacity_u_Ah", "u", "Ah"),
               column("share_percent", "of label", "%"),
               column("resistance_mohm", "Resistance", "mΩ"),
               column("resistance_u_mohm", "u", "mΩ"), column("ac_mohm", "AC meter", "mΩ"))
    rows = tuple(_grade_row(m) for m in lot.modules)
    return Table("bench_grades", "Modules, their grades and figures at common conditions", columns,
                 rows, "Capacity at 25 °C and C/5; resistance at 25 °C, 10 s, 50 % charge; u: one "
                 "standard uncertainty. The AC meter's reading is another quantity. A dash: not "
                 "measured, asked about, or not to be corrected.")


def _grade_row(m: GradedModule) -> tuple[Cell, ...]:
    module = m.row.module
    share = m.capacity_common.number / module.capacity.number \
        if m.capacity_common.known and module is not None else None
    return (Cell(m.row.mark), Cell(m.grade), number(m.capacity_common.value, "Ah"),
            number(m.capacity_sigma.value, "Ah", 2), number(share, "%", 3),
            number(m.resistance_common.value, "mΩ"), number(m.resistance_sigma.value, "mΩ", 2),
            number(m.row.impedance_ac.value, "mΩ"))


def grounds_table(lot: GradedLot) -> Table:
    """Ground of each grade that is not a plain keep."""
    columns = (column("mark", "Mark"), column("line", "Row"), column("module", "Type"),
               column("grade", "Grade"), column("why", "Ground", wide=True))
    rows = tuple((Cell(m.row.mark), whole(m.row.line), words(m.row.module.id if m.row.module
                                                             else ""), Cell(m.grade), words(m.why))
                 for m in map(_but_line, sorted(lot.modules, key=lambda m: GRADES.index(m.grade)))
                 if m.why or m.grade in ("reject", "quarantine"))
    return Table("bench_grounds", "Grounds, the gravest grade first", columns, rows,
                 "Modules without a remark of their own are not listed.")


def questions_table(lot: GradedLot) -> Table:
    """What the user must answer, one a row."""
    columns = (column("place", "File and row"), column("column", "Column"),
               column("question", "What is odd", wide=True),
               column("answer", "What to do", wide=True))
    rows = tuple((Cell(f"{f.file}:{f.line}"), words(f.key), Cell(f.wrong), words(f.right))
                 for f in told_once((q.fault for q in lot.questions), by_key=True))
    return Table("bench_questions", "Questions", columns, rows)


def spread_table(lot: GradedLot) -> Table:
    """Spread of capacity and resistance over all that have one, and over the kept ones."""
    columns = (column("quantity", "Quantity", wide=True), column("count", "n"),
               column("unit", "Unit"), column("mean", "Mean"), column("deviation", "Std deviation"),
               column("variation_percent", "Variation", "%"), column("least", "Least"),
               column("p5", "5th percentile"), column("p95", "95th percentile"),
               column("most", "Most"), column("skew", "Skew"))
    rows = []
    for title, modules in (("all", lot.modules), ("keep", lot.of_grade("keep"))):
        for name, unit in (("capacity", "Ah"), ("resistance", "mΩ")):
            values = [getattr(m, f"{name}_common") for m in modules]
            found = spread([from_si(v.number, unit) for v in values if v.known])
            if found is not None:
                rows.append(_spread_row(f"{name}, {title}", unit, found))
    return Table("bench_spread", "Spread at common conditions", columns, tuple(rows),
                 "Real lots are skewed: a weak tail below a narrow middle. A skew far from 0 says "
                 "that mean and deviation do not describe the tail.")


def _spread_row(title: str, unit: str, s: Spread) -> tuple[Cell, ...]:
    def plain(value: float, digits: int = 4) -> Cell:
        text = significant(value, digits)
        return Cell(text, float(text))

    return (Cell(title), whole(s.count), Cell(unit), plain(s.mean), plain(s.deviation, 3),
            number(s.variation, "%", 3), plain(s.least), plain(s.low), plain(s.high),
            plain(s.most), plain(s.skew, 3))


def _correlation(lot: GradedLot) -> Paragraph:
    pairs = [(m.capacity_common.number, m.resistance_common.number) for m in lot.modules
             if m.capacity_common.known and m.resistance_common.known]
    found = correlation(*zip(*pairs)) if len(pairs) >= 3 else None
    return Paragraph("Correlation of capacity and resistance: " + (
        f"{found:.2f} over {len(pairs)} modules. A resistance does not stand in for a capacity "
        "test." if found is not None else "not worked out, fewer than three modules have both."))


def _next(lot: GradedLot, tests: tuple[Test, ...]) -> tuple[Block, ...]:
    if not tests:
        return (Paragraph("Nothing is waiting for a test."),)
    hours = bench_hours(tests, lot.bench)
    words_ = f"Most decisive first. Bench hours for the lot: {hours.shown} ({hours.note})."
    return (Paragraph(words_, "lead"), tests_table(tests))


def tests_table(tests: tuple[Test, ...]) -> Table:
    """Tests that would settle what is undecided."""
    columns = (column("test", "Test"), column("type", "Type"), column("count", "Modules"),
               column("how", "How", wide=True), column("stop", "Stop at", wide=True),
               column("hours_each_h", "Each takes", "h"), column("days", "Waits, days"),
               column("ground", "Ground", wide=True), column("marks", "Which", wide=True))
    rows = tuple(
        (Cell(t.kind), words(t.module.id if t.module else ""), whole(len(t.marks)), Cell(t.how),
         words(t.stop), number(t.hours.value, "h", 3), finding_cell(t.days) if t.days.known
         else Cell("–"), Cell(t.ground), Cell(_some(t.marks))) for t in tests)
    return Table("bench_next_tests", "Next tests, most decisive first", columns, rows)


def _some(marks: tuple[str, ...]) -> str:
    more = len(marks) - MOST_SPELLED
    return ", ".join(marks[:MOST_SPELLED]) + (f" and {more} more" if more > 0 else "")


def reasons_table(lot: GradedLot) -> Table:
    """Every check that did not pass, the gravest first; the history of all is told once."""
    columns = (column("mark", "Mark"), column("check", "Check", wide=True),
               column("verdict", "Verdict"), column("why", "Figure, line and reason", wide=True),
               column("remedy", "What would change it", wide=True))
    told = [(m, c) for m in map(_but_line, lot.modules) for c in m.reasons if tells_grade(c)]
    rows = tuple((Cell(m.row.mark), Cell(c.title), Cell(c.verdict), words(c.sentence),
                  words(c.remedy)) for m, c in told if c.verdict != PASS)
    return Table("bench_reasons", "Checks that did not pass", columns, rows,
                 f"{several(len(told) - len(rows), 'further check')} passed. What IEC 63338 and "
                 "UL 1974 ask for stands with the checks of the lot.")


def _rules(lot: GradedLot) -> tuple[Block, ...]:
    bench = lot.bench
    line = isolation_line(bench, lot.need)
    figures = [bench.capacity_warn, bench.capacity_reject, bench.capacity_suspect,
               bench.resistance_warn, bench.resistance_reject, bench.resistance_suspect,
               bench.selfdischarge_quarantine, bench.selfdischarge_reject, bench.cell_spread_most,
               bench.voltmeter_error, bench.capacity_error, bench.resistance_error,
               bench.isolation_need, bench.isolation_share, lot.need.modules, lot.need.voltage]
    blocks: list[Block] = [
        findings_table("bench_thresholds", "Thresholds; the brief's [bench] can change each",
                       figures),
        Bullets(("Capacity: to 25 °C along a straight line, to C/5 by a small power of the rate; "
                 "each correction counts as uncertain by its whole size; outside 15 to 35 °C or "
                 "0.1 to 0.5 1/h it is not corrected. What was not noted may have been "
                 "just that: it is not corrected either, and a pulse's current may have been "
                 "0.1 A.",
                 "Resistance: middle of what the published ratios allow for temperature, charge "
                 "and pulse length, their half-width as uncertainty; an AC meter's reading is kept "
                 "apart and never converted.",
                 "A line is crossed when the figure lies beyond it by twice its standard "
                 "uncertainty; nearer than that the measurement cannot tell, and says so.",
                 "Better than the label, or surely less resistance than its type when new, is "
                 "suspect: counted like the middle of the others until it is tested again, or "
                 "asked about; dealt as if nobody had measured it. Above the label by less than "
                 "the test can tell, it counts like the middle of the others. What cannot be "
                 "corrected is dealt, where undecided modules are, no better than it may mean at "
                 "its worst. No resistance counts as better than new, but for joining and "
                 "sharing, where a low one drives more current."),
                "bench_methods")]
    if line is not None:
        blocks.append(Chain("bench_isolation_line", line, "leakages of modules add in parallel"))
    for kind in ("capacity", "resistance"):
        first = next((m for m in lot.modules if getattr(m, f"{kind}_sigma").known), None)
        if first is not None:
            blocks.append(Chain(f"bench_{kind}_example", getattr(first, f"{kind}_sigma"),
                                f"module {first.row.mark}, as an example"))
    return tuple(blocks)


# --- teardown --------------------------------------------------------------------------------

def teardown_document(sheet: Teardown, brief: Brief) -> Document:
    """The whole answer of `packcalc teardown`."""
    title = sheet.donor.title or sheet.donor.module.title
    return document("Teardown sheet of the donor pack", title, teardown_sections(sheet),
                    meta_of(brief))


def teardown_sections(sheet: Teardown) -> tuple[Section, ...]:
    """Before the first tool, step by step, every section, afterwards."""
    whole_pack = sheet.steps[0].worst
    by_voltage = bool(sheet.refusal) and sheet.donor.total_voltage.known
    count = f"{several(sheet.stack.steps, 'step')} of" if not by_voltage else (
        f"{several(sum(sheet.donor.sections), 'step')} described, at least {sheet.stack.steps} by "
        "the voltage as read, of")
    lead = (f"{count} {sheet.donor.module.title}, up to "
            f"{whole_pack.highest.shown} and {whole_pack.energy.shown}. Nothing switches it off.")
    first: list[Block] = [Paragraph(lead, "caution"),
                          checks_table("teardown_checks", "Before the first tool", sheet.checks),
                          Bullets(sheet.preparation, "teardown_preparation", ordered=True)]
    if sheet.refusal:
        first.insert(0, Paragraph(sheet.refusal, "caution"))
    if sheet.assumptions:
        first.append(findings_table("teardown_assumptions", "Not given, counted on meanwhile",
                                    sheet.assumptions))
    return (
        Section("teardown_before", "Before the first tool", tuple(first)),
        Section("teardown_steps", "Step by step", (
            Paragraph(sheet.refusal, "caution") if sheet.refusal else
            Paragraph(_reach(sheet), "lead"), steps_table(sheet))),
        Section("teardown_sections", "Voltage and energy of every section after each step", (
            sections_table(sheet), Chain("teardown_voltage", whole_pack.highest,
                                  "every cell full, or as read where that is more"),
            Chain("teardown_energy", whole_pack.energy, "the pack as found"))),
        Section("teardown_after", "What comes out", (
            Bullets(sheet.afterwards, "teardown_afterwards"),)))


def _reach(sheet: Teardown) -> str:
    """When every section is at or below 60 V, if ever."""
    step = next((s for s in sheet.steps if s.worst.highest.number <= 60.0 + 1e-9), None)
    if step is None:
        return ("Not reachable: a single module is above 60 V when full. Every step is work on "
                "lethal parts to the end.")
    opened = step.during
    still = (f" Step {step.number} itself is still done in a section of up to "
             f"{opened.highest.shown}." if opened is not None
             and opened.highest.number > 60.0 + 1e-9 else "")
    return (f"After step {step.number} no section is above 60 V.{still} That ends the danger of "
            "shock, not of burns: one module still welds a spanner.")


def steps_table(sheet: Teardown) -> Table:
    """What is done, where to measure, what stays live, with room for the reading."""
    columns = (column("step", "Step"), column("action", "Do", wide=True),
               column("measure", "Measure before going on", wide=True),
               column("live", "Live while it is opened, and after", wide=True),
               column("reading", "Read, by whom"))
    rows = tuple((whole(s.number), Cell(s.action), Cell(s.measure), Cell(s.live), Cell(TO_FILL))
                 for s in sheet.steps)
    return Table("teardown_steps", "Steps", columns, rows,
                 "A reading outside its band: stop, and find out why before the next step.")


def sections_table(sheet: Teardown) -> Table:
    """Sections of each step, like ones on one row."""
    columns = (column("step", "Step"), column("sections", "Modules joined", wide=True),
               column("count", "Sections"), column("highest_V", "Highest voltage", "V"),
               column("expected", "Voltmeter shows"), column("energy_MJ", "Energy each", "MJ"),
               column("words", "What it is", wide=True))
    rows = []
    for step in sheet.steps:
        for _, group in groupby(step.sections, key=lambda s: s.run.steps):
            rows.append(_section_row(step.number, tuple(group)))
    return Table("teardown_sections", "Sections, the longest first", columns, tuple(rows))


def _section_row(number_: int, group: tuple[SectionState, ...]) -> tuple[Cell, ...]:
    first = group[0]
    return (whole(number_), Cell(_some(tuple(str(s.run) for s in group))), whole(len(group)),
            number(first.highest.number, "V"), Cell(band(first)),
            number(first.energy.number, "MJ"), Cell(first.words))
