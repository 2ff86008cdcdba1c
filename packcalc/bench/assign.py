"""Graded modules to places: which stands where, what it means, how sure it is.

The adapter between readings with their chains and the bare numbers of `partition`,
`sharing` and `uncertainty`. Only modules graded keep are dealt, unless the brief says
that undecided ones count at what is expected of them; one with an open question on its
voltage, cells, type, dates, insulation or rest voltage is never dealt.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from packcalc.bench import partition as pt
from packcalc.bench.balance import BalancePlan, Standing, plan_balance
from packcalc.bench.common import NEAR
from packcalc.bench.dealing import NOTHING, Assignment, Effort, Pins
from packcalc.bench.dealt import Dealt, Numbers, candidates, first_resistance, is_of, numbers
from packcalc.bench.grade import GradedLot, GradedModule, not_understood
from packcalc.bench.isolation import STAGE, judge_together
from packcalc.bench.left_open import LeftOpen, left_open
from packcalc.bench.meaning import Totals, totals
from packcalc.bench.outlook import Outlook, look_out
from packcalc.bench.pinning import Pinned, pin_modules, unmet
from packcalc.bench.placing import LeftOut, Lot, deal_blocks
from packcalc.bench.strings import assign_strings
from packcalc.bench.sureness import Sureness, held_by_chance, how_sure
from packcalc.bench.together import Together, alone_in_series, share_current
from packcalc.brief import Brief
from packcalc.checks import FAIL, NOT_EVALUATED, Check
from packcalc.errors import UserError
from packcalc.findings import Finding
from packcalc.layouts import Layout
from packcalc.modules import ModuleType
from packcalc.pack import PackModel, model_pack
from packcalc.units import several, show
from packcalc.value import replace, value_object, worked_once

BETWEEN_BLOCKS = 4
MOST_NAMED = 12


@value_object
class Place:
    """One line of the build list.

    Attributes:
        label: e.g. "5.2": group 5 (or string 5), second place.
        row, column: the same as numbers from 0.
        dealt: the module.
    """

    label: str
    row: int
    column: int
    dealt: Dealt


@value_object
class AssignmentStudy:
    """Modules dealt to the places of one layout, and what that means.

    Attributes:
        brief, layout, lot: what was asked, and what was on the bench.
        module: the type.
        pack: the layout as sized from the brief's own figures.
        assignment: the bare answer with its bound.
        places: build list.
        spare: good modules left out, strongest first.
        isolation: of the dealt modules in parallel against what this layout needs.
        notes: cautions of this answer.
        dealt: every module that could be, in the order of the sheet.
        pinned, effort: as it was dealt.
    """

    brief: Brief
    layout: Layout
    lot: GradedLot
    module: ModuleType
    pack: PackModel
    assignment: Assignment
    places: tuple[Place, ...]
    spare: tuple[Dealt, ...]
    isolation: Check
    notes: tuple[str, ...]
    dealt: tuple[Dealt, ...]
    pinned: Pinned
    effort: Effort

    @worked_once
    def sureness(self) -> Sureness:
        """Chances, and what to measure next."""
        return how_sure(self.brief, self.lot, self.module, self.pack, self.assignment, self.dealt)

    @worked_once
    def totals(self) -> Totals:
        """Of the pack."""
        q, r = (np.array([[getattr(self.dealt[i], name) for i in row]
                          for row in self.assignment.places])
                for name in ("capacity", "resistance"))
        found = totals(self.brief, self.pack, self.module, q, r)
        return replace(found, checks=held_by_chance(found.checks, self.sureness))

    @worked_once
    def balance(self) -> BalancePlan:
        """What to do before anything is joined."""
        return plan_balance(self.module, [_standing(p, self.module) for p in self.places],
                            self.lot.bench.balance_current,
                            self.assignment.arrangement == "strings")

    @worked_once
    def alone(self) -> tuple[Check, ...]:
        """Each module against its own current limits, where nothing is paralleled."""
        pack = self.pack
        return alone_in_series(
            self.module, _larger(pack.peak_current, self.totals.current), pack.continuous_current,
            self.assignment, self.dealt) if self.layout.parallel == 1 else ()

    @worked_once
    def outlook(self) -> Outlook:
        """Gains, trades, what a pin or a module is worth, what to replace: a dealing for each."""
        return look_out(numbers(self.dealt), [d.mark for d in self.dealt], self.assignment,
                        self.pinned.pins, self.effort, self.pinned.wanted)

    @property
    def undecided(self) -> tuple[Place, ...]:
        """Places whose module is dealt although it is undecided."""
        return tuple(p for p in self.places if p.dealt.graded.grade == "undecided")

    @worked_once
    def left_open(self) -> tuple[LeftOpen, ...]:
        """What was left open on the modules that are dealt."""
        return left_open(p.dealt.graded for p in self.places)

    @property
    def checks(self) -> tuple[Check, ...]:
        """Every check of the assigned pack, what can kill first."""
        return (self.isolation, *self.totals.checks,
                *(self.together.checks if self.together else self.alone))

    @worked_once
    def together(self) -> Together | None:
        """How paralleled modules share; None where nothing is paralleled.

        Stepped through a discharge, and only where a page asks for it.
        """
        return share_current(self.brief, self.module, self.pack, self.assignment, self.dealt) \
            if self.layout.parallel > 1 else None

    @property
    def meets_brief(self) -> bool:
        """Whether no check of the assigned pack fails."""
        return all(c.verdict != FAIL for c in self.checks)


def assign_modules(brief: Brief, lot: GradedLot, layout: Layout, *,
                   effort: Effort | None = None) -> AssignmentStudy:
    """Deal a graded lot to the places of a layout.

    Args:
        brief: what is asked.
        lot: the bench sheet, graded.
        layout: of one module type.
        effort: rounds and seed; the brief's tolerance when not given.

    Raises:
        UserError: two types in one string, fewer good modules than places, pins that name
            no module or cannot be met, see `pinning.pin_modules`.
    """
    bench = lot.bench
    if len(layout.parts) != 1 or layout.parts[0].entry >= len(brief.modules):
        raise UserError(f"layout {layout.label}: modules can be dealt for one module type at a "
                        f"time; name a layout of one type")
    entry = brief.modules[layout.parts[0].entry]
    module = entry.module
    dealt = candidates(entry, lot, bench.count_undecided == "yes")
    effort = effort or Effort(tolerance=bench.given_up.number)
    _demand(lot, dealt, layout, module)
    pinned = pin_modules(brief, lot, [d.mark for d in dealt], layout)
    assignment, left = _dealt_as_pinned(brief, dealt, layout, pinned, effort, bench.sharing)
    pack = model_pack(brief, layout)
    places = _places(assignment, dealt)
    return AssignmentStudy(
        brief, layout, lot, module, pack, assignment, places,
        tuple(dealt[i] for i in assignment.left_out),
        _isolation(lot, _voltages(lot, pack), places),
        (*_other_types(lot, module), *_never_dealt(lot, module),
         *(f"{words[0].upper()}{words[1:]}." for _, words in lot.told), *pinned.notes, *left,
         *_notes(assignment, dealt, bench)), dealt, pinned, effort)


def _larger(one: Finding, other: Finding) -> Finding:
    """The larger current; one without a value is none that is held up."""
    return max((f for f in (one, other) if f.known), key=lambda f: f.number, default=one)


def _other_types(lot: GradedLot, module: ModuleType) -> tuple[str, ...]:
    """One line on what the layout's type leaves out of account."""
    others = [m for m in lot.modules if m.grade in ("keep", "undecided") and not is_of(m, module)]
    if not others:
        return ()
    ids = sorted({m.row.module.id if m.row.module else "of no stated type" for m in others})
    count = len(others)
    return (f"The layout is made of {module.id}: {count} other module{'s' if count > 1 else ''} "
            f"on the sheet ({', '.join(ids)}) {'are' if count > 1 else 'is'} left out.",)


def _barred(lot: GradedLot, module: ModuleType) -> tuple[GradedModule, ...]:
    """Undecided modules of the type that are not dealt even where undecided ones count."""
    return tuple(m for m in lot.modules if m.grade == "undecided" and m.bars and is_of(m, module))


def _never_dealt(lot: GradedLot, module: ModuleType) -> tuple[str, ...]:
    """Modules with an open question that may kill, each with its ground; nothing where none."""
    barred = _barred(lot, module) if lot.bench.count_undecided == "yes" else ()
    if not barred:
        return ()
    named = "; ".join(f"{m.mark}: {m.bars[0].title}: {m.bars[0].sentence}"
                      for m in barred[:MOST_NAMED])
    more = f"; and {len(barred) - MOST_NAMED} more" if len(barred) > MOST_NAMED else ""
    return (f"Never dealt while open, though undecided modules count: {named}{more}.",)


def at_voltage(study: AssignmentStudy, highest: Finding) -> AssignmentStudy:
    """The same assignment, its isolation asked at the layout's own highest working voltage.

    The bench knows no chain of over-voltages: it counts with what it was told, else with the
    inverter's absolute maximum.

    Args:
        study: as dealt.
        highest: of the over-voltage chain; where parts of that are open the larger of both counts.
    """
    open_ = highest.at_least
    own = (study.lot.bench.pack_voltage, *(_voltages(study.lot, study.pack) if open_ else ()))
    voltages = [f for f in (highest, *own) if f.known]
    return replace(study, isolation=_isolation(study.lot, voltages, study.places))


def _voltages(lot: GradedLot, pack: PackModel) -> list[Finding]:
    return [v for v in (lot.need.voltage, pack.full_voltage) if v.known]


def _isolation(lot: GradedLot, voltages: Sequence[Finding], places: Sequence[Place]) -> Check:
    """Leakage of the modules really dealt, all in parallel, against the layout's own need."""
    title = "isolation of the assigned modules in parallel"
    known = [p.dealt.graded.row.insulation.number for p in places
             if p.dealt.graded.row.insulation.known]
    if len(known) < len(places) or not voltages:
        lacking = several(len(places) - len(known), "dealt module")
        return Check(title, STAGE, NOT_EVALUATED, reason=f"{lacking} without an insulation reading",
                     remedy="insulation tester, each terminal to the case, before anybody handles "
                            "a module")
    count, drawn = len(places), lot.need.modules
    words = (f"the bench drew its line for {several(drawn.number, 'module')}, this layout has "
             f"{count}" if drawn.known and drawn.number != count else "")
    return judge_together(
        title, f"the {several(count, 'assigned module')}", known, lot.bench,
        max(voltages, key=lambda v: v.number), reason=words,
        remedy="leave out the modules that leak most, dry and measure again; give "
               f"bench.modules_in_pack = {count} so that the bench draws this line")


def _demand(lot: GradedLot, dealt: Sequence[Dealt], layout: Layout, module: ModuleType) -> None:
    need, have = layout.series * layout.parallel, len(dealt)
    if have < need:
        barred = _barred(lot, module)
        waiting = sum(m.grade == "undecided" and is_of(m, module)
                      for m in lot.modules) - len(barred)
        others = sum(m.grade == "keep" and not is_of(m, module) for m in lot.modules)
        more = "" if not waiting or lot.bench.count_undecided == "yes" else (
            f"; {waiting} more {'is' if waiting == 1 else 'are'} undecided: test, or set "
            f"bench.count_undecided = \"yes\" to see what they might come to")
        if barred:
            marks = ", ".join(m.mark for m in barred[:MOST_NAMED])
            more += (f"; {len(barred)} undecided with an open question on voltage, cells, type, "
                     f"dates, insulation or rest voltage, never dealt: {marks}"
                     + (" …" if len(barred) > MOST_NAMED else ""))
        if others:
            more += f"; {several(others, 'good one')} of another type"
        open_ = len(lot.questions)
        asked = f"; {several(open_, 'question')} about the sheet open, see packcalc bench" \
            if open_ else ""
        asked += "".join(f"; {words}" for _, words in lot.told)
        raise UserError(f"{lot.sheet.place}: {several(have, 'good module')} of {module.id} for "
                        f"{several(need, 'place')} of {layout.label}: {need - have} short{more}"
                        f"{asked}")


def deal(dealt: Sequence[Dealt], layout: Layout, pins: Pins, effort: Effort,
         sharing: str = "capacity") -> Assignment:
    """Deal by the brief's choice of what comes first; figures are of the readings, unrounded."""
    n = numbers(dealt)
    found = _dealt_in_steps(n, layout, pins, effort, sharing)
    if found.best_value <= found.value * (1.0 + NOTHING) or found.arrangement == "strings":
        return unrounded(found, n.capacity, found.places)
    before = pt.assign_groups(n.capacity, None, layout.series, layout.parallel, pins=pins,
                              effort=effort)
    return unrounded(found, n.capacity, before.places)


def unrounded(found: Assignment, capacity: np.ndarray, before: np.ndarray) -> Assignment:
    """The same answer with the figures of the capacities themselves, not of whole steps.

    The bound is of whole steps. What rounding took from one group of P (or from the weakest of
    P strings) is at most what it took from the P modules that it took most from: that is added.

    Args:
        found: as counted in whole steps.
        capacity: of each module [C].
        before: places before any capacity was given up for even resistance.
    """
    strings = found.arrangement == "strings"
    count = found.places.shape[0 if strings else 1]
    lost = np.clip(capacity - np.round(capacity / found.step) * found.step, 0.0, None)
    slack = float(np.sort(lost)[-count:].sum())

    def of(places: np.ndarray) -> float:
        held = capacity[places]
        return float(held.min(axis=1).sum() if strings else held.sum(axis=1).min())

    value = of(found.places)
    best = max(of(before), value)
    bound = max(found.bound + slack, best)
    rounding = (bound - best) - (found.bound - found.best_value)
    return replace(found, value=value, best_value=best, bound=bound,
                   rounding=min(max(rounding, 0.0), bound - best))


def deal_pinned(dealt: Sequence[Dealt], layout: Layout, pins: Pins, effort: Effort,
                sharing: str = "capacity") -> tuple[Assignment, tuple[str, ...]]:
    """Deal, and see that modules pinned together are placed where they are good enough.

    Such a pin is met by leaving all of its modules out as well; that is done only where placing
    them would cost more capacity than may be given up, and it is said.
    """
    n = numbers(dealt)
    lot = Lot(n.capacity, n.resistance, layout.series, layout.parallel,
              layout.arrangement == "strings" and layout.parallel > 1, pins, effort)
    found, out = deal_blocks(lot, lambda use, inside: deal(
        [dealt[i] for i in use], layout, inside, effort, sharing))
    return found, tuple(_left_out(left, dealt, "string" if lot.strings else "group")
                        for left in out)


def _left_out(left: LeftOut, dealt: Sequence[Dealt], row: str) -> str:
    """That a block is left out, and what placing it would come to."""
    def named(block: Sequence[int]) -> str:
        return " with ".join(dealt[i].mark for i in block)

    others = "; ".join(map(named, left.beside[:MOST_NAMED]))
    beside = f" beside {others}{' …' if len(left.beside) > MOST_NAMED else ''}" if others else ""
    if left.cost is not None:
        more, most = ("", "") if left.proven else (" or more", "at most ")
        cost = (f"with them placed{beside} the pack would come to {show(left.capacity, 'Ah')}"
                f"{more}, {most}{100 * left.cost:.2g} % less")
    elif left.proven:
        cost = f"no dealing places them{beside} and keeps the other pins"
    else:
        cost = (f"no dealing was found that places them{beside} and keeps the other pins; that "
                f"there is none is not proven")
    return (f"{named(left.block)} are {'both' if len(left.block) == 2 else 'all'} left out: the "
            f"pin puts them into one {row} or leaves them out together; {cost}. Without the pin: "
            f"see \"what if\".")


def _dealt_as_pinned(brief: Brief, dealt: Sequence[Dealt], layout: Layout, pinned: Pinned,
                     effort: Effort, sharing: str) -> tuple[Assignment, tuple[str, ...]]:
    """As `deal_pinned`; pins that no dealing meets are told with their file, line and marks."""
    try:
        return deal_pinned(dealt, layout, pinned.pins, effort, sharing)
    except UserError as error:
        if not pinned.pins:
            raise
        raise unmet(brief, pinned.wanted, error) from error


def _dealt_in_steps(n: Numbers, layout: Layout, pins: Pins, effort: Effort,
                    sharing: str) -> Assignment:
    series, parallel = layout.series, layout.parallel
    if layout.arrangement == "strings" and parallel > 1:
        return assign_strings(n.capacity, n.resistance, series, parallel, pins=pins,
                                 effort=effort)
    if sharing == "capacity" or parallel == 1:
        return pt.assign_groups(n.capacity, n.resistance, series, parallel, pins=pins,
                                effort=effort)
    if pins:
        raise UserError(f"bench.sharing = \"{sharing}\" sorts by resistance × capacity and cannot "
                        f"keep pins; drop the pins, or deal for capacity")
    return pt.assign_even(n.capacity, n.resistance, series, parallel, effort=effort,
                          blocks=1 if sharing == "even" else BETWEEN_BLOCKS)


def _places(assignment: Assignment, dealt: Sequence[Dealt]) -> tuple[Place, ...]:
    return tuple(Place(f"{row + 1}.{column + 1}", row, column, dealt[i])
                 for row, members in enumerate(assignment.places)
                 for column, i in enumerate(members))


def _standing(place: Place, module: ModuleType) -> Standing:
    d = place.dealt
    row = d.graded.row
    return Standing(d.mark, place.label, place.row, row.latest_voltage.voltage.value,
                    d.capacity.number,
                    first_resistance(d, module), row.highest_cell.value,
                    row.latest_voltage.temperature.value)


def _notes(assignment: Assignment, dealt: Sequence[Dealt], bench) -> tuple[str, ...]:
    parallel = assignment.places.shape[1]
    own = [d.graded.row.capacity_error for d in dealt]
    error = max((e if e.known else bench.capacity_error for e in own), key=lambda e: e.number,
                default=bench.capacity_error)
    grouped = assignment.arrangement == "grouped"
    group = error.number / np.sqrt(parallel) if grouped else error.number
    gap = max(assignment.gap, 0.0)
    moves = (f"A measurement error of {error.shown} on each module moves a "
             f"{'group' if grouped else 'string'} by {100 * group:.2g} %")
    words = [f"{moves}: more than the last steps of this answer ({100 * gap:.2g} % to the bound). "
             f"Anything within that error is as good." if gap < group else
             f"{moves}: no more than the {100 * gap:.2g} % from this answer to the bound. A better "
             f"dealing, if there is one, might show above that error."]
    open_ = sum(not all(d.measured) for d in dealt)
    if open_:
        words.append(f"{several(open_, 'module')} counted at what is expected of them, not at a "
                     "reading: measure before you build.")
    doubtful = [d.mark for d in dealt if d.doubted]
    if doubtful:
        words.append(f"Read better than new, and so counted as if nobody had measured them: "
                     f"{', '.join(doubtful[:MOST_NAMED])}"
                     f"{' …' if len(doubtful) > MOST_NAMED else ''}. Repeat those readings first.")
    near = [d.mark for d in dealt if NEAR in d.capacity.note]
    if near:
        words.append(f"Capacity read above the label, by less than the test can tell, and so "
                     f"counted like the middle of the others: {', '.join(near[:MOST_NAMED])}"
                     f"{' …' if len(near) > MOST_NAMED else ''}. Repeat those readings.")
    told = not_understood(d.graded for d in dealt)
    if told:
        words.append(f"Of donor and storage not understood, read these yourself: {told}.")
    words.append("Join nothing before the plan below is done: unlike modules exchange current the "
                 "moment they touch.")
    return tuple(words)
