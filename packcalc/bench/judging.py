"""Every check of one module, each with the grade that it asks for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Literal

from packcalc.bench import rules
from packcalc.bench.common import (
    FALL_TOLD, NOTE_IT, SURE, AtCommon, above_label, capacity_at_bad_end, larger_pulse, suspect,
    worst_not_noted,
)
from packcalc.bench.damage import APART, ASK, GRAVE, NONE, TOLD_IN, weigh, weigh_past
from packcalc.bench.isolation import line_at, of_no_layout, or_more, to_find
from packcalc.bench.readings_agree import last_before_rest, moved_after_test
from packcalc.bench.selfdischarge import SelfDischarge, on_plateau, selfdischarge
from packcalc.bench.sheet import BenchRow
from packcalc.bench.uncorrected import surely_beyond_line
from packcalc.brief import Bench
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, judge
from packcalc.findings import Finding, leaf, trace
from packcalc.modules import ModuleType
from packcalc.value import replace, value_object

Grade = Literal["keep", "quarantine", "reject", "undecided"]
GRADES: tuple[Grade, ...] = ("reject", "quarantine", "undecided", "keep")  # gravest first
ENERGY, HEAT, SHOCK, VOLTS = ("convenience", "thermal load", "isolation and distance",
                              "highest voltage")
SLACK_CELL = 0.005
COLD = 283.15  # below 10 °C a warm pulse does not tell the resistance (our rule)
_PRACTICE = "common practice"
ASKED = "asked about"
VOLTAGE, CELLS = "rest voltage", "cells of the module"
NO_LINE = "the pack's voltage is not known, so no line can be drawn"
CHARGE_LATER = ("not before its quarantine is over, and only if it is sound then: charge it slowly "
                "under watch, then test self-discharge")
DRAW_A_LINE = "give a brief, or bench.pack_voltage and bench.modules_in_pack"


_AGAIN_CAPACITY = "one discharge in five hours at 20 to 30 °C"
_AGAIN_PULSE = ("one 10 s pulse at half charge (told by rest voltage) and 25 °C; note current, "
                "moment, temperature, charge")


def read_in_the_cold(module: ModuleType) -> bool:
    """Whether the resistance that its figures go back to was read below 10 °C."""
    seen, open_ = set(), [module.resistance_high]
    while open_:
        found = open_.pop()
        if id(found) in seen:
            continue
        seen.add(id(found))
        if found.title == "cell temperature of the resistance" and found.known \
                and found.number < COLD:
            return True
        open_ += found.inputs
    return False


@value_object
class PackNeed:
    """What the finished pack asks of its modules' isolation.

    Attributes:
        modules: in the pack; may lack a value.
        voltage: highest working voltage; may lack a value.
        coldest: cells at full power, as the brief gives it; None where nobody gave it.
        cold_read: ids of module types whose resistance the brief gives as read in the cold.
        places: of the pack, as given or as the layout has them, whichever is more; lacks a value
            where nobody says. `modules` is that, else what is on hand.
    """

    modules: Finding
    voltage: Finding
    coldest: Finding | None = None
    cold_read: frozenset[str] = frozenset()
    places: Finding | None = None


@value_object
class Ground:
    """One check of one module, and the grade that it asks for; None asks for nothing."""

    check: Check
    effect: Grade | None = None


@value_object
class AtHand:
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


def untold(title: str, stage: str, reason: str, remedy: str,
          effect: Grade | None = "undecided") -> Ground:
    return Ground(Check(title, stage, NOT_EVALUATED, None, None, "", reason, remedy), effect)


def _insulation(b: AtHand) -> Iterable[Ground]:
    title, figure, tester = "insulation to the case", b.row.insulation, b.row.insulation_voltage
    if not figure.known:
        yield untold(title, SHOCK, "not measured", "insulation tester, each terminal to the "
                    "case, before anybody handles the module")
        return
    if b.line is None:
        yield untold(title, SHOCK, NO_LINE, DRAW_A_LINE)
        return
    found = judge(title, SHOCK, figure, "at least", b.line, remedy="dry it, clean it, measure "
                  "again; or fewer modules in the pack")
    if found.verdict == FAIL:
        yield Ground(found, "reject")
    elif not tester.known:
        yield untold(title, SHOCK, f"{figure.shown}, but the tester's voltage was not noted",
                    "a multimeter's few volts prove nothing; note the dial of the tester")
    elif b.need.voltage.known and tester.number < b.need.voltage.number * (1 - 1e-9):
        yield untold(title, SHOCK, f"{figure.shown} was read with {tester.shown}, less than the "
                    f"pack's {or_more(b.need.voltage)}", _first_a_layout(b.need.voltage) +
                    "test at no less than the highest working voltage (ISO 6469-3, 8.2.2)")
    elif b.need.voltage.at_least:
        yield _up_to_its_dial(found, b)
    else:
        yield Ground(found)


def _first_a_layout(voltage: Finding) -> str:
    """Before a new test: what its dial follows from; a near miss's voltage may never be built."""
    return f"{to_find(voltage)}; then " if of_no_layout(voltage) else ""


def _up_to_its_dial(held: Check, b: AtHand) -> Ground:
    """A reading above the line of a voltage that may be more: it speaks up to its tester's dial.

    Where it holds at the dial, and the dial stands above what is known of the voltage, the module
    is kept with a caution; where there is no such room nothing is shown.
    """
    dial, voltage = b.row.insulation_voltage, b.need.voltage
    asked = line_at(dial, b.need.modules, b.bench)
    above = dial.number > voltage.number * (1 + 1e-9)
    holds = above and b.row.insulation.number >= asked.number * (1 - 1e-9)
    speaks = "and holds up to that" if holds else f"which asks {asked.shown}" if above else \
        "which speaks for no more than that"
    told = (f"the pack's highest working voltage may be more than {voltage.shown}; read with "
            f"{dial.shown}, {speaks}")
    check = replace(held, verdict=CAUTION if holds else NOT_EVALUATED, reason=told,
                    remedy=to_find(voltage))
    return Ground(check, None if holds else "undecided")


def _voltage(b: AtHand) -> Iterable[Ground]:
    """Every voltage of the row against the window: the plan before joining counts on the latest."""
    title, figure, module = VOLTAGE, b.row.at_rest.voltage, b.row.module
    out = [] if module is None or not figure.known else list(_out_of_window(module, figure))
    for reading in b.row.selfdischarge:
        if module is not None and reading.voltage.known:
            out += [g for g in _out_of_window(module, reading.voltage) if _graver(g, out)]
    yield from out
    if not figure.known:
        undated = [r for r in b.row.selfdischarge if r.voltage.known]
        why = "not measured" + (", and a reading of the self-discharge test has no date: it cannot "
                                "stand in" if undated else "")
        yield untold(title, VOLTS, why, "date the readings, or a night at rest, then a voltmeter"
                     if undated else "a night at rest, then a voltmeter")
        return
    if module is None:
        return
    if not out:
        stands_in = "" if b.row.rest_voltage.known else f"; {figure.note}"
        yield Ground(Check(title, VOLTS, PASS, figure, reason=f"{figure.number / module.series:.3f}"
                           f" V a cell{stands_in}"))


def _graver(ground: Ground, others: list[Ground]) -> bool:
    """Whether a ground asks for a graver grade than all others: told once, at its worst."""
    return all(GRADES.index(ground.effect or "keep") < GRADES.index(g.effect or "keep")
               for g in others)


def _out_of_window(module: ModuleType, figure: Finding) -> Iterable[Ground]:
    """What one voltage of the module asks for; nothing where its cells can stand there."""
    title, cell = VOLTAGE, figure.number / module.series
    which = f" ({figure.title})" if figure.symbol != "U_0" else ""
    if cell < module.cell.absolute_min_voltage - 1e-9:
        yield _fails(title, VOLTS, "reject", f"{cell:.3f} V a cell{which} is below the "
                     f"{module.cell.absolute_min_voltage:.2f} V under which a cell must not be "
                     f"charged again", "if the reading is a slip, mend the sheet", figure)
    elif cell > module.full_voltage.number + SLACK_CELL:
        yield _fails(title, VOLTS, "quarantine", f"{cell:.3f} V a cell{which} is above full "
                     f"charge ({module.full_voltage.shown})", "if that is right: overcharged",
                     figure)
    elif cell < module.empty_voltage.number - 1e-9:
        yield _fails(title, VOLTS, "quarantine", f"{cell:.3f} V a cell{which} is below empty "
                     f"({module.empty_voltage.shown})", CHARGE_LATER, figure)


def _cells(b: AtHand) -> Iterable[Ground]:
    """A reading that is asked about may still be true: what it would mean stands meanwhile.

    Where one of the two was not read the mean of the other cells bounds it: no lowest of them
    stands above that, no highest below.
    """
    title, module = CELLS, b.row.module
    read = [figure for figure in (b.row.lowest_cell, b.row.highest_cell) if figure.known]
    if module is None:
        return
    if not read:
        yield untold(title, VOLTS, "neither lowest nor highest cell measured: a weak or an "
                     "overcharged cell hides in a good sum", "voltmeter on the sense taps", None)
        return
    low, high = (pick(read, key=lambda figure: figure.number) for pick in (min, max))
    if low.number < module.cell.absolute_min_voltage:
        yield _fails(title, VOLTS, "reject", f"the lowest cell stands at {low.shown}, below the "
                     f"{module.cell.absolute_min_voltage:.2f} V under which a cell must not be "
                     "charged again", "if the reading is a slip, mend the sheet", low)
        return
    if len(read) < 2:
        low, high = _bounded_by_mean(b, module)
    beyond = tuple(_beyond(b, module, low, high))
    yield from beyond
    if len(read) < 2:
        yield untold(title, VOLTS, "lowest or highest cell not measured: a weak or an overcharged "
                     "cell hides in a good sum", "voltmeter on the sense taps", None)
    elif not beyond and "cells" not in b.asked:
        yield _spread_told(b, module, low, high)


def _bounded_by_mean(b: AtHand, module: ModuleType) -> tuple[Finding, Finding]:
    """The one cell that was read, and the mean of the others where it bounds the one that was not.

    The others share what the sum leaves: |cell − mean of all|·n/(n − 1) from the cell. The sum is
    one reading, off by half of what two readings may differ; that is taken off the distance.
    A mean on the wrong side of the cell bounds nothing: it is asked about (`questions`).
    """
    low, high, total = b.row.lowest_cell, b.row.highest_cell, b.row.at_rest.voltage
    cell, others = low if low.known else high, module.series - 1
    if not total.known or others < 1:
        return cell, cell
    error = b.bench.voltmeter_error.number / 2 * (-1 if low.known else 1)
    mean = leaf("mean of the other cells, by the rest voltage within the meter's error", "U_mean",
                "V", (total.number + error - cell.number) / others, "measured",
                origin=total.origin)
    if low.known:
        return low, (mean if mean.number > low.number else low)
    return (mean if mean.number < high.number else high), high


def _beyond(b: AtHand, module: ModuleType, low: Finding, high: Finding) -> Iterable[Ground]:
    """A cell out of its window, or cells too far apart: set aside, asked about or not."""
    title = CELLS
    if high.number > module.full_voltage.number + SLACK_CELL:
        yield _fails(title, VOLTS, "quarantine", f"a cell stands at {high.shown}, above its end "
                     f"voltage {module.full_voltage.shown}", "if that is right: overcharged; "
                     "never charge it further, keep it apart", high)
    if low.number < module.empty_voltage.number - SLACK_CELL:
        yield _fails(title, VOLTS, "quarantine", f"a cell stands at {low.shown}, below its lowest "
                     f"voltage {module.empty_voltage.shown}", CHARGE_LATER, low)
    found = judge(title, VOLTS, _spread_of(low, high), "at most", b.bench.cell_spread_most,
                  remedy="balance the module, let it rest a week, read again")
    if found.verdict == FAIL:
        yield Ground(found, "quarantine")


def _spread_of(low: Finding, high: Finding) -> Finding:
    return leaf("difference between the cells at rest", "ΔU_c", "mV", high.number - low.number,
                "measured", origin=high.origin)


def _spread_told(b: AtHand, module: ModuleType, low: Finding, high: Finding) -> Ground:
    title, spread, most = CELLS, _spread_of(low, high), b.bench.cell_spread_most
    if on_plateau(module, (low.number + high.number) / 2):
        return Ground(Check(title, VOLTS, CAUTION, spread, most, "at most",
                            "on the flat part of the curve equal voltages prove nothing; compare "
                            "again near empty"))
    return Ground(judge(title, VOLTS, spread, "at most", most))


def _capacity(b: AtHand) -> Iterable[Ground]:
    """As counted; what was not noted of a test is no better than what would reject the module."""
    found = b.capacity
    if found.value.note.startswith(ASKED):
        return  # the question itself stands among the grounds
    if found.value.known and b.row.module is not None:
        yield from _capacity_held(b)
        return
    why, again = found.value.note or "the label is not known", _AGAIN_CAPACITY
    worst = capacity_at_bad_end(b.row, b.bench)
    if worst is not None:
        again = f"{NOTE_IT}: {again}"
    if worst is not None and b.row.module is not None:
        for ground in _capacity_held(replace(b, capacity=worst)):
            if ground.effect == "reject":
                yield replace(ground, check=replace(
                    ground.check, reason=f"{why}; it may have been at "
                    f"{' and '.join(worst_not_noted(b.row))}, and then: {ground.check.reason}",
                    remedy=f"{again}; {ground.check.remedy}"))
                return
    yield untold("capacity", ENERGY, why, again)


def _capacity_held(b: AtHand) -> Iterable[Ground]:
    title, found, module = "capacity", b.capacity, b.row.module
    assert module is not None
    share = trace(rules.capacity_share, capacity=found.value, label_capacity=module.capacity)
    if suspect(found):  # the figure counted is not its own, so no line is held to it
        yield Ground(Check(title, ENERGY, CAUTION, share, b.bench.capacity_warn, "at least",
                           found.value.note, "measure it again, with another meter"))
        return
    low = share.number * (1 - SURE * found.relative.number)
    high = share.number * (1 + SURE * found.relative.number)
    reject, warn = b.bench.capacity_reject, b.bench.capacity_warn
    told = f"give or take {SURE:.0f} times {found.relative.shown}"
    if above_label(found):
        told = f"{found.value.note}; {told}"
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
    else:
        yield Ground(Check(title, ENERGY, PASS, share, warn, "at least", told))


def _resistance(b: AtHand) -> Iterable[Ground]:
    title, found = "pulse resistance", b.resistance
    if found.value.note.startswith(ASKED):
        return
    reference = _type_resistance(b)
    if not found.value.known:
        if reference is not None and surely_beyond_line(b.row, b.bench, reference):
            yield _fails(title, HEAT, "reject", f"{found.value.note}; {b.row.resistance.shown} as "
                         "read lies surely beyond the line at some value that may stand there",
                         f"{NOTE_IT}: {_AGAIN_PULSE}", b.row.resistance)
            return
        yield untold(title, HEAT, found.value.note, _AGAIN_PULSE)
        return
    if reference is None:
        yield untold(title, HEAT, "neither its type nor five others of the lot have a resistance "
                    "to compare with", "measure the others", None)
        return
    share = trace(rules.resistance_share, resistance=found.value, type_resistance=reference)
    if suspect(found):
        yield Ground(Check(title, HEAT, CAUTION, share, b.bench.resistance_warn, "at most",
                           found.value.note, "read it again, at a full 10 s, 25 °C and half "
                           "charge, with another meter"))
        return
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
                           _repeat_pulse(b)), "undecided")
    elif share.number > warn.number:
        yield Ground(Check(title, HEAT, CAUTION, share, warn, "at most", told,
                           "it runs hotter than its neighbours"))
    else:
        yield Ground(Check(title, HEAT, PASS, share, warn, "at most", told))


def _repeat_pulse(b: AtHand) -> str:
    """How to repeat a pulse; with how much current where the meter left the fall open."""
    row, told = b.row, "repeat at 25 °C, 10 s, half charge"
    fall = row.resistance_current.number * row.resistance.number
    if row.module is None or b.bench.voltmeter_error.number <= FALL_TOLD * fall:
        return told
    return f"{told}; {larger_pulse(row.module, b.bench)}"


def _type_resistance(b: AtHand) -> Finding | None:
    """Resistance to compare with: a figure of the type itself, else the lot's middle."""
    module = b.row.module
    if module is not None and module.resistance_high.weakest not in ("assumed", "remembered"):
        return module.resistance_high
    return b.middle


def _selfdischarge(b: AtHand) -> Iterable[Ground]:
    found = selfdischarge(b.row, b.bench)
    yield Ground(found.check, found.effect)  # type: ignore[arg-type]
    last, answer = last_before_rest(b.row), b.row.charged_or_drained
    moved = moved_after_test(b.row, b.bench) is not None
    if last is None or answer == "yes" or moved and answer != "no":  # so far is asked about
        return
    after = selfdischarge(replace(b.row, selfdischarge=(last, b.row.at_rest)), b.bench)
    if moved or _tells_a_loss(after):
        words = f"from {last.date}, the end of the test, to the rest voltage of {b.row.rest_date}"
        reason = "; ".join(filter(None, (words, after.check.reason)))
        yield Ground(replace(after.check, reason=reason), after.effect)  # type: ignore[arg-type]


def _tells_a_loss(found: SelfDischarge) -> bool:
    """Whether two readings near each other say something: a fall beyond the meter's error.

    A few days between them tell nothing of a sound module, and take nothing from its test. A
    temperature that nobody noted takes nothing from the fall: it may have been the same.
    """
    check = found.check
    return check.verdict == FAIL or check.verdict == NOT_EVALUATED and found.loss.known \
        and check.demand is not None and found.fell \
        and found.loss.number > check.demand.number


def _past(b: AtHand) -> Iterable[Ground]:
    """Water, crash, damage: what a reading does not show."""
    row = b.row
    by = {name: ", as the brief's [donor] says" for name in row.by_donor}
    if row.water == "yes":
        yield _fails("water", SHOCK, "reject", f"stood in water{by.get('water', '')} ({_PRACTICE})",
                     f"keep it outdoors, {APART} from anything that burns "
                     "[towing-storage-report]")
    if row.crash == "yes":
        yield _fails("crash", HEAT, "quarantine", f"donor was crashed{by.get('crash', '')} "
                     f"({_PRACTICE})", "keep it apart and watch it for 30 days, then look inside")
    found = weigh(row.damage)
    if found not in (NONE, ASK):  # what must be asked stands among the questions
        yield _fails("damage", HEAT, "reject" if found == GRAVE else "quarantine",
                     f"noted: {row.damage} ({_PRACTICE})", "a person decides; a word that is no "
                     "damage belongs elsewhere")
    for column in TOLD_IN:
        told = weigh_past(getattr(row, column), row.module)
        if told.meaning == GRAVE:
            yield _fails(f"what its {column} tells", HEAT, "quarantine",
                         f"{column}: {getattr(row, column)} ({', '.join(told.words)}: "
                         f"{_PRACTICE})", "a person decides; if it never got at the module, write "
                         "so with a not right before the word")


PAPER_TITLES = ("lifetime record", "calendar expiry")
DAMAGE_NOTED = "note on damage"
LOOK_AT_IT = ("look at these: dents, swelling, smell, leaks, rust; write none, or what is there, "
              "in the column damage")
HISTORY_TITLES = (*PAPER_TITLES, "crash and water", DAMAGE_NOTED)


def _last_day(row: BenchRow) -> str:
    """Day of the latest reading; empty where none is dated."""
    return max((day[:10] for day in (row.rest_date, *(r.date for r in row.selfdischarge))),
               default="")


def _history(b: AtHand) -> Iterable[Ground]:
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
        yield untold("calendar expiry", ENERGY, "not given; UL 1974 allows no use past the expiry "
                    "that the maker states", "ask the maker", None)
    elif row.expiry[:10] < (latest := max(b.date, _last_day(row))):
        held = "" if latest == b.date else f" ({latest}, the day of its own latest reading)"
        yield _fails("calendar expiry", ENERGY, "quarantine", f"{row.expiry[:10]} is past{held}: "
                     "UL 1974 allows no further use", "ask the maker")
    elif b.date:
        yield Ground(Check("calendar expiry", ENERGY, PASS, reason=row.expiry[:10]))
    else:
        yield Ground(Check("calendar expiry", ENERGY, CAUTION, reason=f"{row.expiry[:10]}; no date "
                           "of issue to hold it against: past that day UL 1974 allows no use",
                           remedy="give the brief's date_of_issue"))
    unsaid = [name for name in ("crash", "water") if getattr(row, name) not in ("yes", "no")]
    if unsaid:
        yield untold("crash and water", HEAT, "not said: " + ", ".join(unsaid),
                    "seller, insurer's paper, tide marks, rust", None)
    if not row.damage:
        yield untold(DAMAGE_NOTED, HEAT, "damage not noted", LOOK_AT_IT, None)


CHECKS: tuple[Callable[[AtHand], Iterable[Ground]], ...] = (
    _past, _insulation, _voltage, _cells, _selfdischarge, _resistance, _capacity, _history)


