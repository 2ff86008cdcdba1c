"""An assignment as a document: build list, totals, plan before joining, trades, chances."""

from __future__ import annotations

import math

import numpy as np

from packcalc.bench.assign import AssignmentStudy, Place
from packcalc.bench.balance import WITHIN, BalancePlan, Step
from packcalc.bench.dealing import AMPERE_HOUR, NOTHING
from packcalc.bench.joining import worst_joining
from packcalc.bench.left_open import which
from packcalc.bench.sureness import HARDLY, SURE_ENOUGH
from packcalc.checks import FAIL
from packcalc.findings import Finding, Origin
from packcalc.report.assign_plot import groups_figure
from packcalc.report.blocks import checks_table, column, findings_table, number, whole, words
from packcalc.report.document import (
    Block,
    Bullets,
    Cell,
    Chain,
    Document,
    Facts,
    Paragraph,
    Section,
    Table,
)
from packcalc.report.frame import document
from packcalc.units import several, show
from packcalc.value import replace

MOST_SUCCESSORS = 40
SELDOM = 0.25       # share of the draws below which a figure as assigned is cautioned (our rule)
MOST_UNFOLDED = 60  # modules; the chains of more would fill hundreds of pages


def assignment_document(study: AssignmentStudy) -> Document:
    """The whole assignment as a document of its own."""
    brief = study.brief
    meta = (("brief", "brief", f"{brief.place}, digest {brief.digest}"),
            ("sheet", "bench sheet", f"{study.lot.sheet.place}, digest {study.lot.sheet.digest}"),
            ("date_of_issue", "date of issue", brief.date_of_issue or "not given"))
    return document("Assignment of modules", f"{study.layout.label}, {study.layout.arrangement}",
                    assignment_sections(study), meta)


def assignment_sections(study: AssignmentStudy) -> tuple[Section, ...]:
    """Everything of an assignment, the plan before joining ahead of the gains."""
    return (*sections_for_review(study), _trades(study), _replacing(study))


def sections_for_review(study: AssignmentStudy) -> tuple[Section, ...]:
    """What the file for review shows of an assignment: all but what other dealings would give."""
    found = [_answer(study), _build_list(study), _before_joining(study), _meaning(study)]
    if study.together is not None:
        found.append(_sharing(study))
    return (*found, _sureness(study))


def _row_word(study: AssignmentStudy) -> str:
    return "string" if study.assignment.arrangement == "strings" else "group"


def _answer(study: AssignmentStudy) -> Section:
    a, row = study.assignment, _row_word(study)
    what = "weakest group" if row == "group" else "sum of each string's weakest module"
    lead = (f"{several(len(study.places), 'module')} dealt to {study.layout.label} "
            f"({study.layout.arrangement}); {what} {show(a.value, 'Ah')}.")
    rows = (
        ("capacity_Ah", f"{what} [Ah]", number(a.value, "Ah", 6)),
        ("best_capacity_Ah", "before any was given up for even resistance [Ah]",
         number(a.best_value, "Ah", 6)),
        ("bound_Ah", "no dealing of these modules can exceed, rounded up [Ah]",
         number(_up(a.bound), "Ah", 6)),
        ("step_Ah", "step that capacities were dealt in, a module; its rounding is in the bound "
         "[Ah]",
         number(a.step, "Ah", 2)),
        ("rounding_Ah", "of the bound above that best, rounding to whole steps [Ah]",
         number(a.rounding, "Ah", 2)),
        ("gap_percent", "gap to that bound, counted in whole steps [%]",
         number(a.gap, "%", 2)),
        ("given_up_percent", "given up for even resistance [%]", number(a.given_up, "%", 2)),
        ("conductance_gap_percent",
         f"weakest {row}'s conductance below its bound at that capacity [%]",
         number(a.conductance_gap, "%", 2)),
        ("proof", "optimum", words(f"proven: {a.proof}" if a.proven else a.proof)))
    left = ", ".join(f"{d.mark} ({d.capacity.shown})" for d in study.spare[:12])
    blocks: list[Block] = [Paragraph(lead, "lead"), Facts("assignment", "The answer", rows)]
    if study.spare:
        blocks.append(Paragraph(f"Left out, {len(study.spare)}: {left}"
                                + (" …" if len(study.spare) > 12 else "")))
    failing = [c for c in study.checks if c.verdict == FAIL]
    if failing:
        blocks.insert(0, Paragraph("Fails: " + "; ".join(f"{c.title}: {c.sentence}"
                                                         for c in failing) + ".", "caution"))
    blocks.append(Bullets(study.notes, kind="caution"))
    return Section("assignment", "Assignment", tuple(blocks))


def _up(charge: float) -> float:
    """A bound as six digits show it, rounded up so that nothing found can exceed it."""
    shown = charge / AMPERE_HOUR
    last = 10.0 ** (math.floor(math.log10(shown)) - 5)
    return math.ceil(shown / last - NOTHING) * last * AMPERE_HOUR


def _build_list(study: AssignmentStudy) -> Section:
    row, plan = _row_word(study), {s.mark: s for s in study.balance.steps}
    columns = (column("place", "Place"), column("mark", "Mark"),
               column("capacity_Ah", "Capacity", "Ah"),
               column("resistance_mohm", "Resistance", "mΩ"),
               column("rest_voltage_V", _dated(study), "V"),
               column("expected_voltage_V", "At assembly", "V"), column("first", "First"),
               column("known", "Known by"))
    rows = tuple(
        (words(p.label), words(p.dealt.mark), number(p.dealt.capacity.number, "Ah"),
         number(p.dealt.resistance.number, "mΩ"),
         number(p.dealt.graded.row.latest_voltage.voltage.value, "V"),
         number(_finite(plan[p.dealt.mark].expected), "V"),
         words(plan[p.dealt.mark].action),
         words(_known_by(p)))
        for p in study.places)
    table = Table("build_list", f"Build list: place is {row} and position", columns, rows,
                  "Check polarity by meter at every joint. Voltages at assembly hold after the "
                  "plan below; a module that is left keeps its own.")
    open_ = (*((_undecided(study),) if study.undecided else ()),
             *((_left_open(study),) if study.left_open else ()))
    return Section("build_list", "Build list",
                   (*open_, table, _days_table(study), _row_table(study), groups_figure(study)))


def _dated(study: AssignmentStudy) -> str:
    """Head of the voltages that the plan counts on: with their day where it is one for all."""
    days = {p.dealt.graded.row.latest_voltage.date[:10] for p in study.places}
    day = days.pop() if len(days) == 1 else ""
    return f"Rest voltage of {day}" if day else "Latest rest voltage"


def _days_table(study: AssignmentStudy) -> Table:
    """Day and temperature of the voltages that the plan counts on."""
    days: dict[str, list[Place]] = {}
    for p in study.places:
        if p.dealt.graded.row.latest_voltage.voltage.known:
            days.setdefault(p.dealt.graded.row.latest_voltage.date[:10], []).append(p)
    rows = []
    for day, places in sorted(days.items()):
        read = [p.dealt.graded.row.latest_voltage.temperature for p in places]
        at = [t.number for t in read if t.known]
        rows.append((words(day or "not noted"), number(min(at, default=None), "°C", 3),
                     number(max(at, default=None), "°C", 3),
                     words(", ".join(p.dealt.mark for p in places))))
    return Table("voltage_days", "When the rest voltages were read", (
        column("read", "Day"), column("coldest_degC", "Coldest", "°C"),
        column("warmest_degC", "Warmest", "°C"), column("marks", "Marks", wide=True)),
        tuple(rows), "The latest dated reading of each module at rest, as it was read: nothing is "
        "corrected for its temperature. Read again before charging: what a module lost since then "
        "is not in the plan.")


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _known_by(place: Place) -> str:
    known = "readings" if all(place.dealt.measured) else (
        "expected; a reading better than new" if place.dealt.doubted else "expected, not measured")
    return f"UNDECIDED; {known}" if place.dealt.graded.grade == "undecided" else known


def _undecided(study: AssignmentStudy) -> Table:
    """Modules dealt only because the brief counts undecided ones, each with its ground."""
    return Table("dealt_undecided", "Dealt though undecided: settle these before anything is built",
                 (column("place", "Place"), column("mark", "Mark"),
                  column("why", "Ground", wide=True)),
                 tuple((words(p.label), words(p.dealt.mark), words(p.dealt.graded.why))
                       for p in study.undecided))


def _left_open(study: AssignmentStudy) -> Table:
    """Each kind of check that is open on a module of the build list."""
    return Table("dealt_open", "Left open on modules of this list", (
        column("check", "Check", wide=True), column("modules", "Modules"),
        column("marks", "Which", wide=True), column("why", "Why", wide=True),
        column("remedy", "What would settle it", wide=True)),
        tuple((words(o.title), whole(len(o.marks)), words(which(o.marks, len(study.places))),
               words(o.reason), words(o.remedy)) for o in study.left_open),
        "A module is kept as far as it was measured. What stands here was not: it may be as bad as "
        "any value that could stand there.")


def _row_table(study: AssignmentStudy) -> Table:
    row, strings = _row_word(study), study.assignment.arrangement == "strings"
    columns = (column(row, row.capitalize(), ""), column("marks", "Marks", wide=True),
               column("capacity_Ah", "Weakest" if strings else "Capacity", "Ah"),
               column("resistance_mohm", "Resistance", "mΩ"),
               column("expected_voltage_V", "Voltage at assembly", "V"))
    expected = {s.mark: s.expected for s in study.balance.steps}
    rows = []
    for i, (q, r) in enumerate(zip(study.totals.groups, study.totals.resistances, strict=True)):
        marks = [p.dealt.mark for p in study.places if p.row == i]
        volts = [expected[mark] for mark in marks]
        rows.append((words(str(i + 1)), words(", ".join(marks)), number(q.number, "Ah", 6),
                     number(r.number, "mΩ"),
                     number(_finite(sum(volts) / (1 if strings else len(volts))), "V")))
    return Table("rows", f"Totals of each {row}", columns, tuple(rows),
                 "" if strings else "Voltage: mean of its modules after the plan below.")


def _before_joining(study: AssignmentStudy) -> Section:
    plan = study.balance
    full = not np.isfinite(plan.voltage)
    columns = (column("place", "Place"), column("mark", "Mark"),
               column("charge_percent", "Charge", "%"),
               column("band_percent", "Give or take", "%"), column("action", "Do"),
               *((column("move_least_Ah", "Takes at least", "Ah"),) if full else ()),
               column("move_Ah", "Takes at most" if full else "Move", "Ah"),
               column("to_V", "End voltage while charging" if full else "To rest voltage", "V"),
               column("current_A", "At", "A"),
               column("time_h", "For at most" if full else "For", "h"),
               column("joining_A", "Joined as it is, first instant", "A"),
               *(() if full else (column("joined_A", "Joined after the plan", "A"),)))
    end = plan.end_voltage if full else plan.voltage
    rows = tuple((words(s.place), words(s.mark), number(s.charge, "%", 3), number(s.band, "%", 2),
                  words(s.action), *((number(s.least, "Ah", 3),) if full else ()),
                  number(s.move, "Ah", 3), number(_to(s, end), "V"),
                  number(s.current, "A", 3), number(s.time, "h", 3), number(s.joining, "A", 3),
                  *(() if full else (number(_finite(s.joined), "A", 3),))) for s in plan.steps)
    blocks: list[Block] = [Paragraph(
        f"{plan.sentence}. {_joined_as_they_are(study)}{_joined_after(study)}", "caution"),
        Paragraph(plan.condition, "caution")]
    if plan.without_cells:
        blocks.append(Paragraph(
            f"No cell was read of {_some(plan.without_cells)}: not charged fully without a "
            f"management system that watches every cell.", "caution"))
    table = Table("balance_plan", "Before anything is joined", columns, rows,
                  (_FULL_NOTE if full else _MOVE_NOTE).format(
                      cell=show(plan.cell_limit, "V"), charging=show(plan.hours[0], "h"),
                      draining=show(plan.hours[1], "h"), within=_within(plan)))
    worst = worst_joining(study)
    chain = (Chain("joining.worst", _cut(worst, _ends(study), {})),) if worst is not None \
        and worst.number > 0 else ()
    return Section("balance_plan", "Before anything is joined", (*blocks, table, *chain))


_MOVE_NOTE = (
    "Charging {charging}, draining {draining}, one module after another. Every charge ends when "
    "the highest cell reaches {cell}, whatever the plan says; watch the cells. Rest an hour, read "
    "again, and join only what stands within {within}. Most of \"give or take\" is the class's "
    "curve, the same for every module: differences between modules are surer than the charge.")
_FULL_NOTE = (
    "Charging {charging} at most, one module after another, with the current falling at the end on "
    "top. What a module takes is a band, for its rest voltage leaves its charge open: one that has "
    "taken its most and has not ended, or ends well before its least, is set aside until somebody "
    "knows why. No cell above {cell}. The end voltage stands only while charging: an hour later a "
    "module rests lower. Then join only what stands within {within}.")


def _to(step: Step, end: float) -> float:
    """Where a module is brought to; its own rest voltage where it is left."""
    return step.expected if step.action == "leave" else end


def _within(plan: BalancePlan) -> str:
    """How far apart two modules may be joined, rounded down to a tenth of a millivolt."""
    shown = math.floor(plan.within * 1e4 + NOTHING) / 10
    return f"{shown:g} mV a cell of each other"


def _joined_after(study: AssignmentStudy) -> str:
    """What flows on joining once the plan is done, beside what a module may be charged with."""
    plan = study.balance
    if study.layout.parallel == 1:
        return ""
    if plan.charge_limit <= 0:
        judged = "not judged, for charging is not allowed at 20 °C"
    else:
        judged = "within the limit" if max(plan.worst_joined, plan.at_most) \
            <= plan.charge_limit * (1 + NOTHING) else "BEYOND THE LIMIT: do not join"
    tight = " (nearer than 10 mV, for the charge limit's sake)" if plan.within < WITHIN else ""
    own = "" if not np.isfinite(plan.voltage) else \
        f"with every module at its voltage \"at assembly\" up to {show(plan.worst_joined, 'A')}; "
    return (f" After the plan: {own}where readings stand within {_within(plan)}{tight}, up to "
            f"{show(plan.at_most, 'A')}: {judged}.")


def _joined_as_they_are(study: AssignmentStudy) -> str:
    """What joining without the plan would let flow, beside what a module may be charged with."""
    plan, strings = study.balance, study.assignment.arrangement == "strings"
    if study.layout.parallel == 1:
        return "Nothing is paralleled: unlike modules exchange no current when they are joined."
    if all(not np.isfinite(s.joining) for s in plan.steps):
        return "A rest voltage is missing: what would flow on joining is not known."
    worst = plan.worst_joining
    what = ("a whole string would exchange up to {} the moment it touches the others" if strings
            else "a module would exchange up to {} the moment it touches its group")
    limit = ("charging is not allowed at 20 °C" if plan.charge_limit <= 0 else
             f"one module's charge limit at 20 °C is {show(plan.charge_limit, 'A')}")
    beyond = (" and is exceeded" if plan.charge_limit > 0 and worst > plan.charge_limit else "")
    flat = ("" if np.isfinite(plan.voltage) else " Equal voltages do not mean equal charge: "
            "current flows for hours after such a joining.")
    return (f"Joined as they are, {what.format(show(worst, 'A'))}; {limit}{beyond}. "
            f"{_first_instant(study)}{flat}")


def _first_instant(study: AssignmentStudy) -> str:
    """Which resistance the joining currents were counted with."""
    ratio = study.module.cell.figure("initial_ratio", "first millisecond to 10 s", "a", "")
    return ("Counted without links and with the resistance of the first millisecond, hot: a "
            f"module's own AC or short-pulse reading, else {ratio.number:g} of its 10 s resistance "
            f"[{ratio.source}, {ratio.basis}]; within seconds the current falls.")


def _some(marks: tuple[str, ...]) -> str:
    return ", ".join(marks[:12]) + (f" and {len(marks) - 12} more" if len(marks) > 12 else "")


def _meaning(study: AssignmentStudy) -> Section:
    t = study.totals
    figures = (t.capacity, t.energy, t.resistance, t.current, t.loaded_voltage, t.power)
    blocks: list[Block] = [
        findings_table("assigned", "With the modules in their places", figures),
        *_seldom_reached(study),
        findings_table("as_sized", "As sized from the brief's own state of health", t.before),
        checks_table("assigned_checks", "Against the brief, and each module's own limits"
                     if study.alone else "Against the brief",
                     (study.isolation, *t.checks, *study.alone))]
    ends = _ends(study)
    if ends:
        blocks.append(Paragraph(
            f"The chains below end at each module's reading at common conditions: "
            f"{len(study.places)} modules are too many to unfold here. `packcalc bench` lists "
            f"the readings; a chain of one module is the same for each."))
    blocks += [Chain(f"assigned.{i}", _cut(f, ends, {})) for i, f in enumerate(figures) if f.known]
    return Section("meaning", "What it means", tuple(blocks))


def _ends(study: AssignmentStudy) -> dict[int, Origin]:
    """Where the chains of a large lot stop: the modules' own values, by row of the sheet."""
    if len(study.places) <= MOST_UNFOLDED:
        return {}
    sheet = study.lot.sheet.place
    return {id(value): Origin(sheet, p.dealt.graded.row.line, key)
            for p in study.places
            for value, key in ((p.dealt.capacity, "capacity_Ah"),
                               (p.dealt.resistance, "resistance_mohm"))}


def _cut(finding: Finding, ends: dict[int, Origin], done: dict[int, Finding]) -> Finding:
    """The finding with every chain ended where `ends` says; what is shared stays shared."""
    if not ends:
        return finding
    if id(finding) not in done:
        if id(finding) in ends and finding.inputs:
            done[id(finding)] = replace(finding, inputs=(), formula=None, basis=finding.weakest,
                                        origin=ends[id(finding)])
        else:
            done[id(finding)] = replace(
                finding, inputs=tuple(_cut(f, ends, done) for f in finding.inputs))
    return done[id(finding)]


def _sharing(study: AssignmentStudy) -> Section:
    together = study.together
    assert together is not None
    columns = (column("place", "Place"), column("mark", "Mark"),
               *(column(f"{key}_{what}", f"{title}, {name}", unit)
                 for key, title in (("full", "Full"), ("middle", "Middle"), ("low", "Low"))
                 for what, name, unit in (("A", "steady", "A"), ("of_fair", "of fair", "%"))))
    rows = []
    for p in study.places:
        cells = [words(p.label), words(p.dealt.mark)]
        for m in together.moments:
            cells += [number(float(m.currents[p.row, p.column]), "A", 3),
                      number(float(m.fair[p.row, p.column]), "%", 3)]
        rows.append(tuple(cells))
    row, col = together.worst_place
    mark = next(p.dealt.mark for p in study.places if (p.row, p.column) == (row, col))
    lead = (f"Highest share: {mark} in place {row + 1}.{col + 1} carries up to "
            f"{together.worst_share:.3g} times its fair share of the current in the course of a "
            f"discharge at continuous current.")
    return Section("sharing", "How they share the current", (
        Paragraph(lead, "lead"),
        Table("sharing", "Current of each module: full, at the middle, nearly empty", columns,
              tuple(rows), "Own voltages and resistances stepped through the discharge. Fair is "
              "in proportion to capacity. Less resistance takes more at first; as it empties "
              "sooner, the others take over."),
        findings_table("sharing_highest", "Highest currents of one module",
                       (together.peak, together.steady)),
        checks_table("sharing_checks", "Against the module's own limits", together.checks)))


def _sureness(study: AssignmentStudy) -> Section:
    sure = study.sureness
    columns = (column("figure", "Figure", wide=True), column("unit", "Unit"),
               column("target", "Target"), column("chance_percent", "Chance", "%"),
               column("error_percent", "Give or take", "%"), column("p5", "5 % lie below"),
               column("p50", "Middle"), column("p95", "95 % lie below"))
    rows = tuple((words(t.title), words(t.unit), number(t.target, t.unit),
                  number(t.chance, "%", 3), number(t.error, "%", 1), number(t.low, t.unit),
                  number(t.middle, t.unit), number(t.high, t.unit)) for t in sure.targets)
    sharp = Table("sharpeners", "Which measurement would sharpen the answer most",
                  (column("what", "Measurement", wide=True), column("figure", "Sharpens"),
                   column("explains_percent", "Part of the spread it explains", "%")),
                  tuple((words(s.what), words(s.figure), number(s.share, "%", 2))
                        for s in sure.sharpeners))
    s = sure.spread
    note = (f"{sure.trials} packs drawn, seed {sure.seed}. Readings: normal about the reading, "
            f"half of the instrument's variance common to all modules (assumed). Not measured: "
            f"{100 * (1 - s.tail_share):.0f} % about the middle with {100 * s.scatter:.0f} % "
            f"scatter, {100 * s.tail_share:.0f} % about {100 * s.tail_mean:.0f} % of it with "
            f"{100 * s.tail_scatter:.0f} %, the donor pack's own offset {100 * s.offset:.0f} %; "
            f"resistance {100 * s.resistance_scatter:.0f} %, correlation {s.correlation:g} "
            f"(assumed, shaped on open data of retired cells). A check passes where "
            f"{100 * SURE_ENOUGH:.0f} % of the draws reach its target, and fails where fewer than "
            f"{100 * HARDLY:.0f} % do (our rule).")
    return Section("sureness", "How sure it is", (
        Table("chances", "Chances with this assignment", columns, rows, note),
        _as_assigned(study), sharp))


def _as_assigned(study: AssignmentStudy) -> Table:
    """The figures that count each module at its reading, beside those of the drawn packs."""
    rows = tuple((words(t.title), words(t.unit), number(t.assigned, t.unit),
                  number(t.middle, t.unit), number(t.assigned_chance, "%", 3))
                 for t in study.sureness.targets)
    return Table("as_assigned", "The figures as assigned, among the draws", (
        column("figure", "Figure", wide=True), column("unit", "Unit"),
        column("assigned", "As assigned"), column("p50", "Middle of the draws"),
        column("reached_percent", "Draws that reach it", "%")), rows,
        "As assigned: every module at its reading, or at what is expected of it. A pack is as good "
        f"as its weakest {_row_word(study)}s, and of many some turn out weaker than their readings "
        "say: fewer than half of the draws may reach that figure.")


def _seldom_reached(study: AssignmentStudy) -> tuple[Paragraph, ...]:
    """One caution for each figure as assigned that few of the drawn packs reach."""
    return tuple(Paragraph(
        f"{t.title[0].upper()}{t.title[1:]} as assigned, {show(t.assigned, t.unit)}: only "
        f"{100 * t.assigned_chance:.2g} % of the drawn packs reach it; reckon with "
        f"{show(t.middle, t.unit)}, their middle, see the chances.", "caution")
        for t in study.sureness.targets[:2] if t.assigned_chance < SELDOM)


def _trades(study: AssignmentStudy) -> Section:
    columns = (column("way", "Way of dealing", wide=True), column("capacity_Ah", "Pack", "Ah"),
               column("against_percent", "Against this answer", "%"),
               column("conductance_S", "Weakest conductance", "S"),
               column("worst_share", "Highest first share", ""))
    own = study.outlook.trades[0].capacity
    pins = study.lot.bench.pins
    pinned = " Pins are kept by this answer alone." if (
        pins.together or pins.apart or pins.not_in) else ""
    rows = tuple((words(t.name), number(t.capacity, "Ah", 5), number(t.capacity / own - 1, "%", 3),
                  number(t.conductance, "S"), number(t.worst_share, "", 3))
                 for t in study.outlook.trades)
    ifs = tuple((words(w.what), number(w.capacity, "Ah", 5),
                 _against(w.capacity, study), words(w.note)) for w in study.outlook.what_ifs)
    return Section("trades", "Other ways, and what if", (
        Table("trades", "Dealt in other ways", columns, rows,
              "This answer's modules: the same ones, so that only the dealing differs; all other "
              "ways choose among every module that may be dealt, and differ in what they leave out "
              "too." + pinned + " Highest first share: current against the fair share in the first "
              "moment. Choose by "
              "bench.sharing = \"capacity\", \"between\" or \"even\"."),
        Table("what_ifs", "Dealt anew for capacity, with one thing changed",
              (column("change", "Change", wide=True), column("capacity_Ah", "Pack", "Ah"),
               column("against_percent", "Against now", "%"), column("note", "Note", wide=True)),
              ifs)))


def _against(capacity: float | None, study: AssignmentStudy) -> Cell:
    """Change against the best value of the lot as it is."""
    best = study.assignment.best_value
    return number(None if capacity is None else capacity / best - 1, "%", 2)


def _replacing(study: AssignmentStudy) -> Section:
    first = tuple((words(w.what), number(w.capacity, "Ah", 5),
                   _against(w.capacity, study), words(w.note)) for w in study.outlook.replace_first)
    later = tuple((words(s.place), words(s.mark), number(s.least, "Ah", 5),
                   words("; ".join(filter(None, (", ".join(s.fits[:4]) or "none of the spares",
                                                 s.note)))))
                  for s in study.outlook.successors[:MOST_SUCCESSORS])
    more = len(study.outlook.successors) - len(later)
    how = ("Before a replacement is joined: bring it to the rest voltage of its group by the same "
           f"plan, within {_within(study.balance)}; on a flat curve charge both fully, ended by "
           "the highest cell.")
    return Section("replacing", "Replacing a module", (
        Table("replace_first", "Which to replace first: one like the middle of the lot in its "
              "place, all dealt anew", (column("mark", "Mark"), column("capacity_Ah", "Pack", "Ah"),
                                        column("gain_percent", "Gain", "%"),
                                        column("note", "Without dealing anew", wide=True)), first),
        Table("successors", "Which spare fits later", (
            column("place", "Place"), column("mark", "Now"),
            column("least_Ah", "Needs at least", "Ah"),
            column("fits", "Spares that fit, likest R·Q first", wide=True)), later,
            how + (f" {several(more, 'further place')} not shown." if more > 0 else ""))))
