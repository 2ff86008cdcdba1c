"""Keep, quarantine, reject or undecided: each module of a bench sheet with its grounds.

A failed check names the grade that it asks for; what was not measured, or what the
instrument cannot tell, leaves a module undecided. The gravest grade stands.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from packcalc.bench import rules
from packcalc.bench.common import (
    AtCommon,
    capacity_at_common,
    resistance_at_common,
    set_aside,
)
from packcalc.bench.questions import Question, ask
from packcalc.bench.selfdischarge import on_plateau, selfdischarge
from packcalc.bench.sheet import BenchRow, BenchSheet
from packcalc.brief import Bench, Brief
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, VERDICTS, Check, judge
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.modules import ModuleType
from packcalc.reading.bench_brief import default_bench

Grade = Literal["keep", "quarantine", "reject", "undecided"]
GRADES: tuple[Grade, ...] = ("reject", "quarantine", "undecided", "keep")  # gravest first
FEWEST_FOR_MIDDLE = 5
SURE = 2.0
ENERGY, HEAT, SHOCK, VOLTS = ("convenience", "thermal load", "isolation and distance",
                              "highest voltage")
NO_DAMAGE = ("none", "no", "nothing", "ok")
GRAVE_WORDS = ("swol", "swell", "bulg", "leak", "vent", "burn", "smell", "punct", "crush", "melt")
_PRACTICE = "common practice"
ASKED = "asked about"


@dataclass(frozen=True)
class PackNeed:
    """What the finished pack asks of its modules' isolation.

    Attributes:
        modules: in the pack; may lack a value.
        voltage: highest working voltage; may lack a value.
    """

    modules: Finding
    voltage: Finding


@dataclass(frozen=True)
class Ground:
    """One check of one module, and the grade that it asks for; None asks for nothing."""

    check: Check
    effect: Grade | None = None


@dataclass(frozen=True)
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
    """

    row: BenchRow
    grade: Grade
    reasons: tuple[Check, ...]
    capacity_common: Finding
    resistance_common: Finding
    capacity_sigma: Finding
    resistance_sigma: Finding
    questions: tuple[Question, ...] = ()

    @property
    def why(self) -> str:
        """The grounds of the grade in one line."""
        decisive = [c for c in self.reasons if c.verdict in (FAIL, NOT_EVALUATED)
                    and c.title not in HISTORY_TITLES]
        if self.grade in ("reject", "quarantine"):
            decisive = [c for c in decisive if c.verdict == FAIL]
        if self.grade == "keep":
            decisive = [c for c in self.reasons if c.verdict == CAUTION]
        return "; ".join(f"{c.title}: {c.sentence}" for c in decisive)


@dataclass(frozen=True)
class GradedLot:
    """A whole sheet, graded.

    Attributes:
        sheet, bench, need: what it was graded by.
        modules: in the order of the sheet.
        questions: everything asked, in the order of the sheet.
        checks: of the lot: enough good modules, isolation in parallel, history.
    """

    sheet: BenchSheet
    bench: Bench
    need: PackNeed
    modules: tuple[GradedModule, ...]
    questions: tuple[Question, ...]
    checks: tuple[Check, ...]

    def of_grade(self, grade: str) -> tuple[GradedModule, ...]:
        return tuple(m for m in self.modules if m.grade == grade)


# --- what the pack needs ---------------------------------------------------------------------

def pack_need(bench: Bench, brief: Brief | None = None, rows: int = 0) -> PackNeed:
    """Count and voltage of the finished pack: as given, else from the brief, else unknown."""
    modules, voltage = bench.modules_in_pack, bench.pack_voltage
    if not modules.known and brief is not None:
        count = sum(on_hand.count.number for on_hand in brief.modules)
        modules = leaf("modules in the pack", "N", "", count, "assumed",
                       origin=Origin(brief.place, key="modules.count"),
                       note="every module on hand; bench.modules_in_pack gives the real count")
    elif not modules.known and rows:
        modules = leaf("modules in the pack", "N", "", rows, "assumed",
                       origin=Origin("the sheet"), note="every row of the sheet")
    if not voltage.known and brief is not None:
        voltage = brief.inverter.absolute_maximum.called("highest voltage the pack may have", "U")
    return PackNeed(modules, voltage)


def isolation_line(bench: Bench, need: PackNeed) -> Finding | None:
    """Least isolation of one module; None where the pack's voltage is not known."""
    if not (need.modules.known and need.voltage.known):
        return None
    pack = trace(rules.pack_isolation_need, need=bench.isolation_need, voltage=need.voltage)
    return trace(rules.module_isolation_line, pack_need=pack, modules=need.modules,
                 share=bench.isolation_share)


# --- one module ------------------------------------------------------------------------------

@dataclass(frozen=True)
class _Bench:
    """What every check of a module may look at."""

    row: BenchRow
    bench: Bench
    need: PackNeed
    line: Finding | None
    asked: frozenset[str]
    capacity: AtCommon
    resistance: AtCommon
    middle: Finding | None
    date: str


def _fails(title: str, stage: str, effect: Grade, reason: str, remedy: str = "",
           figure: Finding | None = None, demand: Finding | None = None,
           relation: str = "") -> Ground:
    return Ground(Check(title, stage, FAIL, figure, demand, relation, reason, remedy), effect)


def _open(title: str, stage: str, reason: str, remedy: str,
          effect: Grade | None = "undecided") -> Ground:
    return Ground(Check(title, stage, NOT_EVALUATED, None, None, "", reason, remedy), effect)


def _insulation(b: _Bench) -> Iterable[Ground]:
    title, figure, tester = "insulation to the case", b.row.insulation, b.row.insulation_voltage
    if not figure.known:
        yield _open(title, SHOCK, "not measured", "insulation tester, each terminal to the case, "
                    "before anybody handles the module")
        return
    if b.line is None:
        yield _open(title, SHOCK, "the pack's voltage is not known, so no line can be drawn",
                    "give a brief, or bench.pack_voltage and bench.modules_in_pack")
        return
    found = judge(title, SHOCK, figure, "at least", b.line, remedy="dry it, clean it, measure "
                  "again; or fewer modules in the pack")
    if found.verdict == FAIL:
        yield Ground(found, "reject")
    elif not tester.known:
        yield _open(title, SHOCK, f"{figure.shown}, but the tester's voltage was not noted",
                    "a multimeter's few volts prove nothing; note the dial of the tester")
    elif b.need.voltage.known and tester.number < b.need.voltage.number * (1 - 1e-9):
        yield _open(title, SHOCK, f"{figure.shown} was read with {tester.shown}, less than the "
                    f"pack's {b.need.voltage.shown}", "test at no less than the highest working "
                    "voltage (ISO 6469-3, 8.2.2)")
    else:
        yield Ground(found)


def _voltage(b: _Bench) -> Iterable[Ground]:
    title, figure, module = "rest voltage", b.row.rest_voltage, b.row.module
    if not figure.known:
        yield _open(title, VOLTS, "not measured", "a night at rest, then a voltmeter")
        return
    if module is None:
        return
    cell = figure.number / module.series
    if cell < module.cell.absolute_min_voltage - 1e-9:
        yield _fails(title, VOLTS, "reject", f"{cell:.3f} V a cell is below the "
                     f"{module.cell.absolute_min_voltage:.2f} V under which a cell must not be "
                     f"charged again", "if the reading is a slip, mend the sheet", figure)
    elif cell > module.full_voltage.number + 0.005:
        yield _fails(title, VOLTS, "quarantine", f"{cell:.3f} V a cell is above full charge "
                     f"({module.full_voltage.shown})", "if the reading is right: overcharged", figure)
    elif cell < module.empty_voltage.number - 1e-9:
        yield _fails(title, VOLTS, "quarantine", f"{cell:.3f} V a cell is below empty "
                     f"({module.empty_voltage.shown})", "charge it slowly under watch, then test "
                     "self-discharge", figure)
    else:
        yield Ground(Check(title, VOLTS, PASS, figure, reason=f"{cell:.3f} V a cell"))


def _cells(b: _Bench) -> Iterable[Ground]:
    title, low, high, module = "cells of the module", b.row.lowest_cell, b.row.highest_cell, \
        b.row.module
    if module is None:
        return
    if low.known and low.number < module.cell.absolute_min_voltage:
        yield _fails(title, VOLTS, "reject", f"the lowest cell stands at {low.shown}, below the "
                     f"{module.cell.absolute_min_voltage:.2f} V under which a cell must not be "
                     "charged again", "if the reading is a slip, mend the sheet", low)
        return
    if "cells" in b.asked:
        return
    if not (low.known and high.known):
        yield _open(title, VOLTS, "lowest and highest cell not measured",
                    "voltmeter on the sense taps; one weak cell hides in a good sum", None)
        return
    spread = leaf("difference between the cells at rest", "ΔU_c", "mV", high.number - low.number,
                  "measured", origin=high.origin)
    found = judge(title, VOLTS, spread, "at most", b.bench.cell_spread_most,
                  remedy="balance the module, let it rest a week, read again")
    if found.verdict == FAIL:
        yield Ground(found, "quarantine")
    elif on_plateau(module, (low.number + high.number) / 2):
        yield Ground(Check(title, VOLTS, CAUTION, spread, b.bench.cell_spread_most, "at most",
                           "on the flat part of the curve equal voltages prove nothing; compare "
                           "again near empty"))
    else:
        yield Ground(found)


def _capacity(b: _Bench) -> Iterable[Ground]:
    title, found, module = "capacity", b.capacity, b.row.module
    if found.value.note.startswith(ASKED):
        return  # the question itself stands among the grounds
    if not found.value.known or module is None:
        yield _open(title, ENERGY, found.value.note or "the label is not known",
                    "one discharge in five hours at 20 to 30 °C")
        return
    share = trace(rules.capacity_share, capacity=found.value, label_capacity=module.capacity)
    low = share.number * (1 - SURE * found.relative.number)
    high = share.number * (1 + SURE * found.relative.number)
    reject, warn = b.bench.capacity_reject, b.bench.capacity_warn
    told = f"give or take {SURE:.0f} times {found.relative.shown}"
    if high < reject.number:
        yield _fails(title, ENERGY, "reject", told, "a pack is as good as its weakest group",
                     share, reject, "at least")
    elif low < reject.number:
        yield Ground(Check(title, ENERGY, NOT_EVALUATED, share, reject, "at least",
                           f"the measurement cannot tell which side of the line it is ({told})",
                           "repeat at 25 °C and C/5 with a better meter"), "undecided")
    elif share.number < warn.number:
        yield Ground(Check(title, ENERGY, CAUTION, share, warn, "at least", told,
                           "it will set the pace of its group"))
    elif "better than the label" in found.value.note:
        yield Ground(Check(title, ENERGY, CAUTION, share, warn, "at least",
                           "read better than the label: suspect, counted as the label", ""))
    else:
        yield Ground(Check(title, ENERGY, PASS, share, warn, "at least", told))


def _resistance(b: _Bench) -> Iterable[Ground]:
    title, found = "pulse resistance", b.resistance
    if found.value.note.startswith(ASKED):
        return
    if not found.value.known:
        yield _open(title, HEAT, found.value.note, "one 10 s pulse at half charge and 25 °C; note "
                    "current, moment, temperature and charge")
        return
    reference = _type_resistance(b)
    if reference is None:
        yield _open(title, HEAT, "neither its type nor five others of the lot have a resistance "
                    "to compare with", "measure the others", None)
        return
    share = trace(rules.resistance_share, resistance=found.value, type_resistance=reference)
    low = share.number * (1 - SURE * found.relative.number)
    high = share.number * (1 + SURE * found.relative.number)
    reject, warn = b.bench.resistance_reject, b.bench.resistance_warn
    told = f"give or take {SURE:.0f} times {found.relative.shown}"
    if low > reject.number:
        yield _fails(title, HEAT, "reject", told, "check the clamps, and repeat", share, reject,
                     "at most")
    elif high > reject.number:
        yield Ground(Check(title, HEAT, NOT_EVALUATED, share, reject, "at most", "the measurement "
                           f"cannot tell which side of the line it is ({told})",
                           "repeat at 25 °C, 10 s, half charge"), "undecided")
    elif share.number > warn.number:
        yield Ground(Check(title, HEAT, CAUTION, share, warn, "at most", told,
                           "it runs hotter than its neighbours"))
    else:
        yield Ground(Check(title, HEAT, PASS, share, warn, "at most", told))


def _type_resistance(b: _Bench) -> Finding | None:
    """Resistance to compare with: a figure of the type itself, else the lot's middle."""
    module = b.row.module
    if module is not None and module.resistance_high.weakest not in ("assumed", "remembered"):
        return module.resistance_high
    return b.middle


def _selfdischarge(b: _Bench) -> Iterable[Ground]:
    found = selfdischarge(b.row, b.bench)
    yield Ground(found.check, found.effect)  # type: ignore[arg-type]


def _past(b: _Bench) -> Iterable[Ground]:
    """Water, crash, damage: what a reading does not show."""
    row = b.row
    if row.water == "yes":
        yield _fails("water", SHOCK, "reject", f"stood in water ({_PRACTICE})",
                     "keep it outdoors, 15 m from anything that burns")
    if row.crash == "yes":
        yield _fails("crash", HEAT, "quarantine", f"donor was crashed ({_PRACTICE})", "keep it "
                     "apart and watch it for 30 days, then look inside")
    words = row.damage.lower()
    if words and words not in NO_DAMAGE:
        grave = any(word in words for word in GRAVE_WORDS)
        yield _fails("damage", HEAT, "reject" if grave else "quarantine", f"noted: {row.damage} "
                     f"({_PRACTICE})", "a person decides; a word that is no damage belongs "
                     "elsewhere")


HISTORY_TITLES = ("lifetime record", "calendar expiry", "crash and water")


def _history(b: _Bench) -> Iterable[Ground]:
    """What IEC 63338 and UL 1974 ask for; absence is said, and changes no grade by itself."""
    row = b.row
    if row.lifetime_record == "yes":
        yield Ground(Check("lifetime record", ENERGY, PASS, reason="said to exist"))
    else:
        yield Ground(Check(
            "lifetime record", ENERGY, FAIL if row.lifetime_record == "no" else NOT_EVALUATED,
            reason="no lifetime record: outside IEC 63338, clause 4",
            remedy="read the donor's management system out before it is taken apart"))
    if not row.expiry:
        yield _open("calendar expiry", ENERGY, "not given; UL 1974 allows no use past the expiry "
                    "that the maker states", "ask the maker", None)
    elif b.date and row.expiry[:10] < b.date:
        yield _fails("calendar expiry", ENERGY, "quarantine", f"{row.expiry[:10]} is past: UL 1974 "
                     "allows no further use", "ask the maker")
    else:
        yield Ground(Check("calendar expiry", ENERGY, PASS if b.date else CAUTION,
                           reason=f"{row.expiry[:10]}" + ("" if b.date else "; the brief carries "
                                                          "no date of issue to hold it against")))
    unsaid = [name for name in ("crash", "water") if getattr(row, name) not in ("yes", "no")]
    if unsaid:
        yield _open("crash and water", HEAT, "not said: " + ", ".join(unsaid),
                    "seller, insurer's paper, tide marks, rust", None)


_CHECKS: tuple[Callable[[_Bench], Iterable[Ground]], ...] = (
    _past, _insulation, _voltage, _cells, _selfdischarge, _resistance, _capacity, _history)


def _grade(grounds: Iterable[Ground]) -> Grade:
    effects = {g.effect for g in grounds}
    return next((g for g in GRADES if g in effects), "keep")


def _asked(questions: tuple[Question, ...]) -> Iterable[Ground]:
    for question in questions:
        if question.quantity in ("impedance_ac", "mass"):
            continue
        title = f"question on the {question.quantity}"
        yield _open(title, ENERGY, question.fault.wrong.partition(": ")[2] or question.fault.wrong,
                    question.fault.right)


def _graded(b: _Bench, questions: tuple[Question, ...]) -> GradedModule:
    grounds = [*_asked(questions), *(g for check in _CHECKS for g in check(b))]
    order = {effect: at for at, effect in enumerate((*GRADES, None))}
    grounds.sort(key=lambda g: (order[g.effect], VERDICTS.index(g.check.verdict)))
    return GradedModule(b.row, _grade(grounds), tuple(g.check for g in grounds),
                        b.capacity.value, b.resistance.value, b.capacity.sigma,
                        b.resistance.sigma, questions)


# --- the lot ---------------------------------------------------------------------------------

def grade_sheet(sheet: BenchSheet, bench: Bench | None = None, brief: Brief | None = None
                ) -> GradedLot:
    """Grade every module of a sheet.

    Args:
        sheet: as read; it is not changed.
        bench: thresholds; those of the brief, or the defaults, when not given.
        brief: for the types on hand, the pack's count and voltage, the date of issue.
    """
    bench = bench or (brief.bench if brief is not None else None) or default_bench()
    types = tuple(m.module for m in brief.modules) if brief is not None else ()
    need = pack_need(bench, brief, len(sheet.rows))
    questions = ask(sheet, bench, types)
    by_mark: dict[str, tuple[Question, ...]] = {}
    for question in questions:
        by_mark[question.mark] = (*by_mark.get(question.mark, ()), question)
    found = [_at_common(row, bench, by_mark.get(row.mark, ())) for row in sheet.rows]
    middles = _middles(sheet, found)
    line, date = isolation_line(bench, need), brief.date_of_issue if brief is not None else ""
    modules = tuple(
        _graded(_Bench(row, bench, need, line,
                       frozenset(q.quantity for q in by_mark.get(row.mark, ())), capacity,
                       resistance, middles.get(row.module.id if row.module else ""), date),
                by_mark.get(row.mark, ()))
        for row, (capacity, resistance) in zip(sheet.rows, found))
    return GradedLot(sheet, bench, need, modules, questions, _lot_checks(bench, need, modules))


def _at_common(row: BenchRow, bench: Bench, questions: tuple[Question, ...]
               ) -> tuple[AtCommon, AtCommon]:
    """Both quantities; what is asked about loses its value until the user answers."""
    pair = {"capacity": capacity_at_common(row, bench),
            "resistance": resistance_at_common(row, bench)}
    for question in questions:
        for name, value in pair.items():
            if question.quantity in (name, "module") and value.value.known:
                pair[name] = set_aside(value, f"{ASKED}: {question.fault.wrong}")
    return pair["capacity"], pair["resistance"]


def _middles(sheet: BenchSheet, found: list[tuple[AtCommon, AtCommon]]) -> dict[str, Finding]:
    """Median resistance of each type that has enough of them measured."""
    values: dict[str, list[float]] = {}
    for row, (_, resistance) in zip(sheet.rows, found):
        if row.module is not None and resistance.value.known:
            values.setdefault(row.module.id, []).append(resistance.value.number)
    return {name: leaf("middle of the lot's resistances", "R_t", "mΩ", float(np.median(own)),
                       "measured", origin=Origin("the sheet"), note=f"median of {len(own)}")
            for name, own in values.items() if len(own) >= FEWEST_FOR_MIDDLE}


def _lot_checks(bench: Bench, need: PackNeed, modules: tuple[GradedModule, ...]
                ) -> tuple[Check, ...]:
    kept = [m for m in modules if m.grade == "keep"]
    return (_enough(bench, kept), _isolation_of_lot(bench, need, kept), *_history_of_lot(modules))


def _enough(bench: Bench, kept: list[GradedModule]) -> Check:
    good = leaf("good modules", "n", "", len(kept), "measured", origin=Origin("the sheet"))
    found = judge("enough good modules for the places", ENERGY, good, "at least",
                  bench.modules_in_pack, missing="how many places? give bench.modules_in_pack",
                  remedy="more modules, a smaller layout, or answer what is undecided")
    return found


def _isolation_of_lot(bench: Bench, need: PackNeed, kept: list[GradedModule]) -> Check:
    """Isolation of the kept modules joined, against the pack's need."""
    title = "isolation of the kept modules in parallel"
    known = [m.row.insulation.number for m in kept if m.row.insulation.known]
    if not known or not need.voltage.known:
        return Check(title, SHOCK, NOT_EVALUATED, reason="no kept module with an insulation "
                     "reading, or the pack's voltage is not known")
    together = leaf(f"isolation of {len(known)} modules in parallel", "R", "kΩ",
                    rules.leakage_in_parallel(known), "measured", origin=Origin("the sheet"),
                    note="reciprocal of the sum of reciprocals")
    pack = trace(rules.pack_isolation_need, need=bench.isolation_need, voltage=need.voltage)
    return judge(title, SHOCK, together, "at least", pack,
                 remedy="leave out the modules that leak most")


def _history_of_lot(modules: tuple[GradedModule, ...]) -> tuple[Check, ...]:
    """IEC 63338 and UL 1974 for the whole lot: how many lack what."""
    def count(name: str, wanted: Callable[[BenchRow], bool], reason: str, remedy: str) -> Check:
        lacking = sum(not wanted(m.row) for m in modules)
        verdict = PASS if modules and not lacking else NOT_EVALUATED
        words = reason if lacking else "every row says so"
        return Check(name, ENERGY, verdict, reason=f"{lacking} of {len(modules)} modules: {words}"
                     if lacking else words, remedy=remedy if lacking else "")

    return (
        count("lifetime record (IEC 63338, clause 4)", lambda r: r.lifetime_record == "yes",
              "no lifetime record: outside IEC 63338", "read the donor out before it is opened"),
        count("calendar expiry (UL 1974)", lambda r: bool(r.expiry),
              "no calendar expiry known; UL 1974 allows no use past it", "ask the maker"),
        count("crash and water", lambda r: r.crash in ("yes", "no") and r.water in ("yes", "no"),
              "history not said", "seller, insurer's paper, tide marks"))
