"""Keep, quarantine, reject or undecided: each module of a bench sheet with its grounds.

A failed check names the grade that it asks for; what was not measured, or what the
instrument cannot tell, leaves a module undecided. The gravest grade stands.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from packcalc.bench import rules
from packcalc.bench.common import (
    AtCommon,
    above_label,
    capacity_at_common,
    like_the_others,
    resistance_at_common,
    set_aside,
    suspect,
)
from packcalc.bench.damage import TOLD_IN, read_yourself
from packcalc.bench.donor_past import donor_told, with_donor
from packcalc.bench.isolation import NO_LAYOUT, judge_together, of_no_layout
from packcalc.bench.judging import (
    ASKED,
    CHECKS,
    DAMAGE_NOTED,
    ENERGY,
    GRADES,
    HEAT,
    HISTORY_TITLES,
    LOOK_AT_IT,
    SHOCK,
    AtHand,
    Grade,
    Ground,
    PackNeed,
    read_in_the_cold,
    untold,
)
from packcalc.bench.questions import Question, ask
from packcalc.bench.sheet import BenchRow, BenchSheet, some_marks
from packcalc.bench.uncorrected import worse_than_line
from packcalc.brief import Bench, Brief
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, VERDICTS, Check, judge
from packcalc.findings import AT_LEAST, Finding, Origin, leaf, trace
from packcalc.reading.bench_brief import default_bench
from packcalc.units import several
from packcalc.value import replace, value_object

FEWEST_FOR_MIDDLE = 5
# What a question may be about while its module is still dealt at what is expected of it.
NUMBERS_ONLY = ("capacity", "resistance", "impedance_ac")
QUESTION = "question on the"
LETHAL_WHILE_OPEN = ("insulation to the case", "rest voltage")
EXPIRY = "calendar expiry"


@value_object
class GradedModule:
    """One module with its grade.

    Attributes:
        row: as measured.
        grade: one of GRADES.
        reasons: every check, the gravest first.
        capacity_common: at 25 °C and C/5 [C]; no value where it cannot be brought there.
        resistance_common: at 10 s, 25 °C, 50 % charge [Ω]; likewise.
        capacity_sigma, resistance_sigma: standard uncertainty, in the same units; likewise.
        questions: what the user must answer about it first.
        resistance_read: the resistance itself, where a worse one is counted on, or none while it
            is asked about for being better than new.
        bad_as_asked: quantities that are asked about, and would be rejected as they stand.
    """

    row: BenchRow
    grade: Grade
    reasons: tuple[Check, ...]
    capacity_common: Finding
    resistance_common: Finding
    capacity_sigma: Finding
    resistance_sigma: Finding
    questions: tuple[Question, ...] = ()
    resistance_read: Finding | None = None
    bad_as_asked: tuple[str, ...] = ()

    @property
    def mark(self) -> str:
        return self.row.mark

    @property
    def bars(self) -> tuple[Check, ...]:
        """What is open on voltage, cells, type, dates, damage or insulation: never dealt."""
        numbers = tuple(f"{QUESTION} {name}" for name in NUMBERS_ONLY
                        if name not in self.bad_as_asked)
        return tuple(c for c in self.reasons if c.verdict == NOT_EVALUATED and (
            c.title in LETHAL_WHILE_OPEN
            or c.title.startswith(QUESTION) and c.title not in numbers))

    def unasked(self, quantity: str) -> bool:
        """Whether nothing is asked about a quantity, so that its reading says something."""
        return all(q.quantity not in (quantity, "module") for q in self.questions)

    @property
    def why(self) -> str:
        """The grounds of the grade in one line; of a kept module, what is to be known of it."""
        verdicts = {"keep": (CAUTION, NOT_EVALUATED),
                    "undecided": (FAIL, NOT_EVALUATED)}.get(self.grade, (FAIL,))
        decisive = [c for c in self.reasons if c.verdict in verdicts and tells_grade(c)]
        return "; ".join(f"{c.title}: {c.sentence}" for c in decisive)


def tells_grade(check: Check) -> bool:
    """Whether a check may be a ground: absent history changes no grade, a past expiry does.

    An expiry that nothing can be held against is told with its day.
    """
    return check.title not in HISTORY_TITLES \
        or check.title == EXPIRY and check.verdict in (FAIL, CAUTION)


@value_object
class GradedLot:
    """A whole sheet, graded.

    Attributes:
        sheet, bench, need: what it was graded by.
        modules: in the order of the sheet.
        questions: everything asked, in the order of the sheet.
        checks: of the lot: enough good modules, isolation in parallel, history.
        told: (verdict, words) of what the past of the brief's donor does to it.
    """

    sheet: BenchSheet
    bench: Bench
    need: PackNeed
    modules: tuple[GradedModule, ...]
    questions: tuple[Question, ...]
    checks: tuple[Check, ...]
    told: tuple[tuple[str, str], ...] = ()

    def of_grade(self, grade: str) -> tuple[GradedModule, ...]:
        return tuple(m for m in self.modules if m.grade == grade)


# --- what the pack needs ---------------------------------------------------------------------

def _places(bench: Bench, in_layout: int) -> Finding:
    """Modules in the pack, as given or as the layout has them: the larger count, as of voltages."""
    given = bench.modules_in_pack
    if not given.known or given.number >= in_layout:
        return given
    return leaf("modules in the pack, by its layout", "N", "", in_layout, "definition",
                origin=Origin("the layout"),
                note=f"bench.modules_in_pack says {given.shown}; a layout that is counted on has "
                     f"{in_layout}: the larger counts until one of them is mended")


def pack_need(bench: Bench, brief: Brief | None = None, rows: int = 0,
              highest: Finding | None = None, in_layout: int = 0) -> PackNeed:
    """Count and voltage of the finished pack: as given, else from the brief, else unknown.

    Of voltages the largest counts: one that is given takes nothing from what the brief implies.
    Until a layout fits, more than what the brief implies may be true, and of the nearest misses
    one that is given takes the place.

    Args:
        bench, brief, rows: as `grade_sheet` has them.
        highest: highest working voltage of a layout, by its over-voltage chain.
        in_layout: modules of that layout; 0 where nobody says.
    """
    places, voltage = _places(bench, in_layout), bench.pack_voltage
    modules = places
    if not modules.known and brief is not None and all(o.count.known for o in brief.modules):
        count = sum(on_hand.count.number for on_hand in brief.modules)
        modules = leaf("modules in the pack", "N", "", count, "assumed",
                       origin=Origin(brief.place, key="modules.count"),
                       note="every module on hand; bench.modules_in_pack gives the real count")
    elif not modules.known and rows:
        modules = leaf("modules in the pack", "N", "", rows, "assumed",
                       origin=Origin("the sheet"), note="every row of the sheet")
    if highest is not None and of_no_layout(highest) and voltage.known:
        highest = None
    if brief is not None and (highest is None or highest.at_least):
        maximum = brief.inverter.absolute_maximum.called(
            "inverter's absolute maximum, counted until a layout has its own highest voltage: errs "
            "low where charger or braking reach above it", "U",
            note=f"{AT_LEAST}: {NO_LAYOUT}" if highest is None else highest.note)
        highest = max((f for f in (highest, maximum) if f is not None and f.known),
                      key=lambda f: f.number, default=None)
    voltage = max((f for f in (voltage, highest) if f is not None and f.known),
                  key=lambda f: f.number, default=voltage)
    if brief is None:
        return PackNeed(modules, voltage, places=places)
    coldest = brief.battery.coldest_start
    return PackNeed(modules, voltage, coldest if coldest.basis == "given" else None,
                    frozenset(m.module.id for m in brief.modules if read_in_the_cold(m.module)),
                    places)


def isolation_line(bench: Bench, need: PackNeed) -> Finding | None:
    """Least isolation of one module; None where the pack's voltage is not known."""
    if not (need.modules.known and need.voltage.known):
        return None
    pack = trace(rules.pack_isolation_need, need=bench.isolation_need, voltage=need.voltage)
    return trace(rules.module_isolation_line, pack_need=pack, modules=need.modules,
                 share=bench.isolation_share)


# --- one module ------------------------------------------------------------------------------

def _grade(grounds: Iterable[Ground]) -> Grade:
    effects = {g.effect for g in grounds}
    return next((g for g in GRADES if g in effects), "keep")


def _asked(questions: tuple[Question, ...]) -> Iterable[Ground]:
    for question in questions:
        if question.quantity == "impedance_ac":
            continue
        title = f"{QUESTION} {question.quantity}"
        yield untold(title, ENERGY, question.fault.wrong.partition(": ")[2] or question.fault.wrong,
                    question.fault.right)


def _graded(b: AtHand, questions: tuple[Question, ...]) -> GradedModule:
    grounds = [*_asked(questions), *(g for check in CHECKS for g in check(b))]
    order = {effect: at for at, effect in enumerate((*GRADES, None))}
    grounds.sort(key=lambda g: (order[g.effect], VERDICTS.index(g.check.verdict)))
    return GradedModule(b.row, _grade(grounds), tuple(g.check for g in grounds),
                        b.capacity.value, b.resistance.value, b.capacity.sigma,
                        b.resistance.sigma, questions, b.resistance.read,
                        tuple(name for name in ("capacity", "resistance")
                              if name in b.asked and worse_than_line(b.row, name, b.bench)))


# --- the lot ---------------------------------------------------------------------------------

def grade_sheet(sheet: BenchSheet, bench: Bench | None = None, brief: Brief | None = None,
                highest: Finding | None = None, in_layout: int = 0) -> GradedLot:
    """Grade every module of a sheet.

    Args:
        sheet: as read; it is not changed.
        bench: thresholds; those of the brief, or the defaults, when not given.
        brief: for the types on hand, the pack's count and voltage, the date of issue, the donor.
        highest: highest working voltage of the layout, see `packcalc.highest_voltage`; where
            nobody says, what the brief gives, else the inverter's absolute maximum.
        in_layout: modules of that layout, where one is counted on.
    """
    bench = bench or (brief.bench if brief is not None else None) or default_bench()
    types = tuple(m.module for m in brief.modules) if brief is not None else ()
    need = pack_need(bench, brief, len(sheet.rows), highest, in_layout)
    date = brief.date_of_issue if brief is not None else ""
    donor = brief.donor if brief is not None else None
    questions, told = ask(sheet, bench, types, date, donor), donor_told(sheet, donor)
    by_mark: dict[str, tuple[Question, ...]] = {}
    for question in questions:
        by_mark[question.mark] = (*by_mark.get(question.mark, ()), question)
    found = _suspects_like_the_others(sheet, [
        _at_common(row, bench, by_mark.get(row.mark, ())) for row in sheet.rows])
    middles, line = _middles(sheet, found), isolation_line(bench, need)
    modules = tuple(
        _graded(AtHand(row, bench, need, line,
                       frozenset(q.quantity for q in by_mark.get(row.mark, ())), capacity,
                       resistance, middles.get(row.module.id if row.module else ""), date),
                by_mark.get(row.mark, ()))
        for row, (capacity, resistance) in zip(with_donor(sheet, donor).rows, found))
    return GradedLot(sheet, bench, need, modules, questions,
                     _lot_checks(bench, need, modules, told), told)


def graded_for(lot: GradedLot, brief: Brief, in_layout: int) -> GradedLot:
    """The lot held to as many modules as a layout has, where it was held to fewer.

    Args:
        lot: as graded.
        brief: by which it was.
        in_layout: modules of the layout that is filled.
    """
    counted, voltage = lot.need.modules, lot.need.voltage
    if not counted.known or counted.number >= in_layout:
        return lot
    return grade_sheet(lot.sheet, lot.bench, brief, voltage if voltage.known else None, in_layout)


def _at_common(row: BenchRow, bench: Bench, questions: tuple[Question, ...]
               ) -> tuple[AtCommon, AtCommon]:
    """Both quantities; what is asked about loses its value until the user answers."""
    pair = {"capacity": capacity_at_common(row, bench),
            "resistance": resistance_at_common(row, bench)}
    for question in questions:
        for name, value in pair.items():
            known = value.value.known or value.read is not None
            if question.quantity == name or question.quantity == "module" and known:
                pair[name] = set_aside(value, f"{ASKED}: {question.fault.wrong}",
                                       better=question.better)
    return pair["capacity"], pair["resistance"]


def _suspects_like_the_others(sheet: BenchSheet, found: list[tuple[AtCommon, AtCommon]]
                              ) -> list[tuple[AtCommon, AtCommon]]:
    """Nothing that was read better than new ranks before the middle of the others."""
    capacities, resistances = zip(*found, strict=True) if found else ((), ())
    return list(zip(
        _none_before_the_middle(sheet, capacities, "middle of the lot's capacities", "Q_mid", "Ah"),
        _none_before_the_middle(sheet, resistances, "middle of the lot's resistances", "R_mid",
                                "mΩ"), strict=True))


def _none_before_the_middle(sheet: BenchSheet, found: Sequence[AtCommon], title: str, symbol: str,
                            unit: str) -> list[AtCommon]:
    """One quantity of every module, those read too good like the middle of the others."""
    values: dict[str, list[float]] = {}
    for row, one in zip(sheet.rows, found, strict=True):
        if row.module is not None and one.value.known and not _too_good(one):
            values.setdefault(row.module.id, []).append(one.value.number)
    middles = {name: leaf(title, symbol, unit, float(np.median(own)), "measured",
                          origin=Origin("the sheet"),
                          note=f"median of {several(len(own), 'other')}")
               for name, own in values.items()}
    return [like_the_others(one, middles[row.module.id])
            if row.module is not None and row.module.id in middles and _too_good(one) else one
            for row, one in zip(sheet.rows, found, strict=True)]


def _too_good(one: AtCommon) -> bool:
    return suspect(one) or above_label(one)


def _middles(sheet: BenchSheet, found: list[tuple[AtCommon, AtCommon]]) -> dict[str, Finding]:
    """Median resistance of each type that has enough of them measured."""
    values: dict[str, list[float]] = {}
    for row, (_, resistance) in zip(sheet.rows, found):
        if row.module is not None and resistance.value.known:
            values.setdefault(row.module.id, []).append(resistance.value.number)
    return {name: leaf("middle of the lot's resistances", "R_t", "mΩ", float(np.median(own)),
                       "measured", origin=Origin("the sheet"), note=f"median of {len(own)}")
            for name, own in values.items() if len(own) >= FEWEST_FOR_MIDDLE}


def _lot_checks(bench: Bench, need: PackNeed, modules: tuple[GradedModule, ...],
                told: tuple[tuple[str, str], ...]) -> tuple[Check, ...]:
    kept = [m for m in modules if m.grade == "keep"]
    return (_enough(need, kept), _isolation_of_lot(bench, need, kept),
            *_history_of_lot(modules, told), *_unread(modules))


def _enough(need: PackNeed, kept: list[GradedModule]) -> Check:
    places = need.places
    assert places is not None
    good = leaf("good modules", "n", "", len(kept), "measured", origin=Origin("the sheet"))
    found = judge("enough good modules for the places", ENERGY, good, "at least",
                  places, missing="how many places? give bench.modules_in_pack",
                  reason=places.note if places.known else "",
                  remedy="more modules, a smaller layout, or answer what is undecided")
    return found


def _isolation_of_lot(bench: Bench, need: PackNeed, kept: list[GradedModule]) -> Check:
    """Isolation of the kept modules joined, against the pack's need."""
    title = "isolation of the kept modules in parallel"
    known = [m.row.insulation.number for m in kept if m.row.insulation.known]
    if not known or not need.voltage.known:
        return Check(title, SHOCK, NOT_EVALUATED, reason="no kept module with an insulation "
                     "reading, or the pack's voltage is not known")
    return judge_together(title, several(len(known), "module"), known, bench, need.voltage,
                          remedy="leave out the modules that leak most")


def not_understood(modules: Iterable[GradedModule]) -> str:
    """Texts on where modules came from and lay that hold a word which says nothing here."""
    return read_yourself((column, getattr(m.row, column), m.row.module)
                         for m in modules for column in TOLD_IN)


def _unread(modules: tuple[GradedModule, ...]) -> tuple[Check, ...]:
    """A caution, once for the sheet, where somebody must read."""
    told = not_understood(modules)
    return (Check("what donor and storage tell", HEAT, CAUTION, reason=f"not understood: {told}",
                  remedy="read these yourself; fill water, crash and damage where they tell of "
                         "harm"),) if told else ()


def _history_of_lot(modules: tuple[GradedModule, ...], told: tuple[tuple[str, str], ...]
                    ) -> tuple[Check, ...]:
    """IEC 63338 and UL 1974 for the whole lot: how many lack what, and what the donor tells."""
    def count(name: str, wanted: Callable[[BenchRow], bool], reason: str, remedy: str) -> Check:
        lacking = [m.mark for m in modules if not wanted(m.row)]
        verdict = PASS if modules and not lacking else NOT_EVALUATED
        which = "" if len(lacking) == len(modules) else f" ({some_marks(lacking)})"
        words = f"{len(lacking)} of {several(len(modules), 'module')}{which}: {reason}" \
            if lacking else "every row says so"
        return Check(name, ENERGY, verdict, reason=words, remedy=remedy if lacking else "")

    return (
        count("lifetime record (IEC 63338, clause 4)", lambda r: r.lifetime_record == "yes",
              "no lifetime record: outside IEC 63338", "read the donor out before it is opened"),
        count("calendar expiry (UL 1974)", lambda r: bool(r.expiry),
              "no calendar expiry known; UL 1974 allows no use past it", "ask the maker"),
        _beside_the_donor(count(
            "crash and water", lambda r: r.crash in ("yes", "no") and r.water in ("yes", "no"),
            "history not said", "seller, insurer's paper, tide marks"), told),
        count(DAMAGE_NOTED, lambda r: bool(r.damage), "damage not noted", LOOK_AT_IT))


def _beside_the_donor(held: Check, told: tuple[tuple[str, str], ...]) -> Check:
    """What the rows say, with what the brief's donor says: no pass against that."""
    if not told:
        return held
    verdicts = {verdict for verdict, _ in told} | {held.verdict}
    words = [words for _, words in told] + ([held.reason] if held.verdict != PASS else [])
    remedy = held.remedy or "mend the rows or [donor]" if NOT_EVALUATED in verdicts else ""
    return replace(held, verdict=next(v for v in VERDICTS if v in verdicts),
                   reason="; ".join(words), remedy=remedy)
