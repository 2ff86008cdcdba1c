"""The worst module on the bench counted for every one, where the brief gives better figures.

Lowest fault, sag and held-up voltage fall with resistance, energy and current limits with
capacity: there the worst measured module stands for all. Where more resistance or less capacity
would be milder (highest fault, stored energy, voltage while braking, unequal sharing) the
brief's own figures stay. A module that measures better than the brief changes nothing there;
one that reads less resistance than a new one makes the highest fault higher.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import field, fields
from typing import Any

from packcalc.bench.assign import AssignmentStudy, assign_modules
from packcalc.bench.dealt import first_read, least_read
from packcalc.bench.grade import GradedLot, GradedModule, graded_for
from packcalc.bench.selfdischarge import selfdischarge
from packcalc.bench.sheet import of_other_types
from packcalc.bench.uncorrected import least_capacity, most_resistance
from packcalc.brief import NO_ENTRY, Bench, Brief, Losses, ModulesOnHand, growth_left_open
from packcalc.cell_formulas import initial_resistance_measured
from packcalc.errors import UserError
from packcalc.findings import Finding, formula, leaf, trace
from packcalc.layouts import Layout
from packcalc.marks import SIGN
from packcalc.mixes import own_entries, pairs_anew
from packcalc.modules import traced_resistance_initial
from packcalc.monitoring import spread_read
from packcalc.pack import fault_side
from packcalc.units import several
from packcalc.value import replace, value_object, worked_once

GROWTH, HEALTH = "resistance_growth", "state_of_health"
FOR_ALL = "of the bench for every module"
SPREAD = "management.self_discharge_spread"


@formula(title="growth of resistance as measured", symbol="f_age", unit="", text="f_age = R_c/R_10",
         inputs={"measured": "R_c [mΩ] of the module at 25 °C, 10 s, 50 % charge",
                 "new": "R_10 [mΩ] of a new one at the same"},
         basis="definition", safe_side="the module with the most; for the highest fault the least")
def measured_growth(measured: Any, new: Any) -> Any:
    """What the brief's entry would have to be for this module.

    Examples:
        >>> measured_growth(3.0e-3, 2.0e-3)
        1.5
    """
    return measured / new


@formula(title="state of health as measured", symbol="SOH", unit="%", text="SOH = 100 · Q_c/Q_n",
         inputs={"measured": "Q_c [Ah] of the module at 25 °C and C/5",
                 "label": "Q_n [Ah] of its label"},
         basis="definition", safe_side="the module with the least")
def measured_health(measured: Any, label: Any) -> Any:
    """What the brief's entry would have to be for this module.

    Examples:
        >>> measured_health(180.0, 240.0)
        0.75
    """
    return measured / label


@value_object
class Salvage:
    """What the bench adds to the file: the graded lot and, where it can be made, who goes where."""

    lot: GradedLot
    dealt: AssignmentStudy | None
    refusal: str = ""

    @worked_once
    def used(self) -> tuple[GradedModule, ...]:
        """The modules that are built in; where nobody could be dealt every one of the sheet.

        A pack of that shelf can then only come from modules that are no good, or not known to be.
        """
        built = self.lot.modules if self.dealt is None \
            else tuple(p.dealt.graded for p in self.dealt.places)
        return tuple(on_bad_side(m, self.lot.bench) for m in built)

    @property
    def why_nobody(self) -> str:
        """Why nobody could be dealt, in words without the sheet's name."""
        return self.refusal.removeprefix(f"{self.lot.sheet.place}: ").partition("; ")[0]


def on_bad_side(module: GradedModule, bench: Bench) -> GradedModule:
    """A module whose readings cannot be brought to common conditions, at their worst.

    That is the most resistance for what falls with it, the least for the highest fault.
    """
    found: dict[str, Finding] = {}
    if (least := least_read(module, bench)) is not None:
        found["resistance_read"] = least
    for name, counted, at_worst in (
            ("resistance", module.resistance_common, lambda row: most_resistance(row, bench)),
            ("capacity", module.capacity_common, least_capacity)):
        if counted.known or not module.unasked(name):
            continue
        if (worst := at_worst(module.row)) is not None:
            found[f"{name}_common"] = replace(
                getattr(module.row, name), value=worst, basis="assumed",
                title=f"{name} that the reading may mean at its worst",
                note="it cannot be brought to common conditions")
    return replace(module, **found) if found else module


def salvage(brief: Brief, layout: Layout, lot: GradedLot) -> Salvage:
    """A graded lot, dealt to the places of a layout where that can be done."""
    lot = graded_for(lot, brief, layout.series * layout.parallel)
    try:
        return Salvage(lot, assign_modules(brief, lot, layout))
    except UserError as error:
        return Salvage(lot, None, str(error))


@value_object
class AsMeasured(ModulesOnHand):
    """An entry of the brief of which the bench shows a worse module.

    Attributes:
        stated: the entry as the brief has it.
        marks: of the worst module, by the name of the entry that it makes worse.
        low_growth: pulse resistance of the module that reads the least, against a new one's;
            None where none reads less than that.
        low_first: resistance of the first millisecond, hot, of the module that reads the least
            of it; None likewise.
    """

    stated: ModulesOnHand | None = field(default=None, metadata=NO_ENTRY)
    marks: tuple[tuple[str, str], ...] = field(default=(), metadata=NO_ENTRY)
    low_growth: Finding | None = field(default=None, metadata=NO_ENTRY)
    low_first: Finding | None = field(default=None, metadata=NO_ENTRY)

    @property
    def own(self) -> ModulesOnHand:
        """The entry as the brief has it."""
        assert self.stated is not None
        return self.stated

    @property
    def most_health(self) -> Finding:
        return self.own.most_health

    @property
    def stated_health(self) -> Finding:
        return self.own.stated_health

    @property
    def least_growth(self) -> Finding:
        return self.low_growth or self.own.least_growth

    @property
    def first_read(self) -> Finding | None:
        return self.low_first

    @property
    def counted(self) -> tuple[Finding, ...]:
        """What stands in place of the brief's figures."""
        low = (self.low_growth, self.low_first)
        return (self.resistance_growth, self.state_of_health, *(f for f in low if f is not None))


@value_object
class Extremes:
    """The worst measured modules of one entry; None where none was measured.

    Attributes:
        resistance, capacity: with the most resistance, with the least capacity.
        pulse, first: with the least pulse resistance as read, with the least of the first
            millisecond.
    """

    resistance: GradedModule | None
    capacity: GradedModule | None
    pulse: GradedModule | None
    first: GradedModule | None


def of_type(on_hand: ModulesOnHand, used: Iterable[GradedModule]) -> list[GradedModule]:
    """The modules of this entry's type."""
    return [m for m in used if m.row.module is not None and m.row.module.id == on_hand.module.id]


def extremes(on_hand: ModulesOnHand, used: Iterable[GradedModule]) -> Extremes:
    """The modules of this entry's type at either end of what was measured."""
    mine = of_type(on_hand, used)
    first = [(m, read) for m in mine if (read := first_read(m)) is not None]
    return Extremes(
        max((m for m in mine if m.resistance_common.known), default=None,
            key=lambda m: m.resistance_common.number),
        min((m for m in mine if m.capacity_common.known), default=None,
            key=lambda m: m.capacity_common.number),
        min((m for m in mine if _as_read(m).known), default=None,
            key=lambda m: _as_read(m).number),
        min(first, default=(None, None), key=lambda pair: pair[1].number)[0])


def _as_read(module: GradedModule) -> Finding:
    """Pulse resistance at common conditions, even where it is better than a new one's."""
    return module.resistance_read or module.resistance_common


def growth_of(on_hand: ModulesOnHand, worst: GradedModule) -> Finding:
    """The brief's entry as this module would have it, with its chain to the row of the sheet."""
    return trace(measured_growth, measured=worst.resistance_common,
                 new=on_hand.module.resistance_high, note=_counted(
                     worst, on_hand.resistance_growth, "errs low for the lowest fault"))


def health_of(on_hand: ModulesOnHand, weakest: GradedModule) -> Finding:
    """The brief's entry as this module would have it, with its chain to the row of the sheet."""
    return trace(measured_health, measured=weakest.capacity_common, label=on_hand.module.capacity,
                 note=_counted(weakest, on_hand.state_of_health, "errs low for the energy"))


def _counted(module: GradedModule, stated: Finding, errs: str) -> str:
    return f"with module {module.mark} {FOR_ALL}, {errs}; {_stated(stated)}"


def _stated(stated: Finding) -> str:
    return f"the brief {'counts' if stated.basis == 'assumed' else 'says'} {stated.shown}"


def with_worst(brief: Brief, layout: Layout, found: Salvage) -> Brief:
    """The brief with the worst measured module of each type for every one; itself where none is.

    Args:
        brief: what is asked and on hand; of pairs as `mixes.with_pairs` gives them.
        layout: whose types count.
        found: who is built in.
    """
    entries = sorted({own for part in layout.parts for own in own_entries(brief, part.entry)})
    ends = {i: extremes(brief.modules[i], found.used) for i in entries}
    worse = {i: one for i in entries if (one := _worse(brief, i, ends[i])) is not None}
    modules = tuple(worse.get(i, on_hand) for i, on_hand in enumerate(brief.modules))
    words = counted_words(found, [modules[i] for i in entries])
    losses = losses_of(found, [modules[i] for i in entries])
    if losses is not None and losses.spread.known and not losses.untold:
        brief = replace(brief, unknowns=tuple(u for u in brief.unknowns if u.dotted != SPREAD))
    if not worse:
        return replace(brief, counted=words, losses=losses)
    told = {f"modules[{brief.number_of(i)}].{name}" for i, one in worse.items()
            for name, _ in one.marks}
    return pairs_anew(replace(
        brief, modules=modules, unknowns=tuple(u for u in brief.unknowns if u.dotted not in told),
        digest=_digest(brief, worse.values()), counted=words, losses=losses))


def losses_of(found: Salvage, counted: list[ModulesOnHand]) -> Losses | None:
    """What the sheet says of self-discharge over the modules that count; None where none is.

    Args:
        found, counted: as `counted_words` has them.
    """
    types = {on_hand.module.id for on_hand in counted}
    mine = [(m.mark, selfdischarge(m.row, found.lot.bench)) for m in found.used
            if m.row.module is not None and m.row.module.id in types]
    if not mine:
        return None
    told = [(mark, s.most, s.least) for mark, s in mine
            if s.most is not None and s.least is not None]
    which = f"{len(told)} of {several(len(mine), 'module')}" + (
        " built in" if found.dealt else ", nobody dealt")
    if len(told) < 2:
        return Losses(leaf(SPREAD, "s", "%", None, "measured"), len(mine) - len(told),
                      f"the bench sheet tells the loss of {which}")
    leaky, most, _ = max(told, key=lambda one: one[1].number)
    tight, _, least = min(told, key=lambda one: one[2].number)
    return Losses(trace(spread_read, most=most, least=least), len(mine) - len(told),
                  f"{leaky} at most {most.shown}, {tight} at least {least.shown}, of {which}")


def _digest(brief: Brief, worse: Iterable[AsMeasured]) -> str:
    """Another worst module makes another design, of which no mark and no record may hold."""
    words = "\n".join((brief.digest, *(w for one in worse for f in one.counted
                                       for node in f.walk() for w in (node.words, node.note))))
    return SIGN + hashlib.sha256(words.encode("utf-8", "replace")).hexdigest()[:16]


def _worse(brief: Brief, index: int, worst: Extremes) -> AsMeasured | None:
    """An entry with what the bench makes worse; None where nothing is."""
    on_hand = brief.modules[index]
    given: dict[str, Finding] = {}
    marks = []
    if worst.capacity is not None:
        health = health_of(on_hand, worst.capacity)
        if health.number < on_hand.state_of_health.number:
            given[HEALTH] = health.called(on_hand.state_of_health.title)
            marks.append((HEALTH, worst.capacity.mark))
            if brief.left_open(f"modules[{brief.number_of(index)}].{GROWTH}"):
                # left open it goes by the capacity that is left
                given[GROWTH] = growth_left_open(on_hand.module, health,
                                                 on_hand.resistance_growth.origin)
    if worst.resistance is not None:
        growth = growth_of(on_hand, worst.resistance)
        if growth.number > given.get(GROWTH, on_hand.resistance_growth).number:
            given[GROWTH] = growth.called(on_hand.resistance_growth.title)
            marks.append((GROWTH, worst.resistance.mark))
    plain = {f.name: getattr(on_hand, f.name) for f in fields(ModulesOnHand)}
    found = AsMeasured(**{**plain, **given}, stated=on_hand, marks=tuple(sorted(marks)),
                       low_growth=_low_growth(on_hand, worst.pulse),
                       low_first=_low_first(on_hand, worst.first))
    return found if marks or found.low_growth or found.low_first else None


def _low_growth(on_hand: ModulesOnHand, least: GradedModule | None) -> Finding | None:
    """How far below a new module one reads; None where the brief or the record counts less."""
    if least is None:
        return None
    read, new = _as_read(least), on_hand.module.resistance_low
    if read.number >= new.number * min(1.0, on_hand.least_growth.number):
        return None
    return trace(measured_growth, on_hand.resistance_growth.title, measured=read, new=new,
                 note=_reads_low(least, read, new))


def _low_first(on_hand: ModulesOnHand, least: GradedModule | None) -> Finding | None:
    """The first millisecond of a module by its own reading; None where less counts without it."""
    if least is None:
        return None
    read, cell = first_read(least), on_hand.module.cell
    assert read is not None
    new = on_hand.module.resistance_initial
    found = trace(initial_resistance_measured, resistance=read, hot_ratio=cell.figure(
        "hot_ratio", "hot cell to 25 °C, first millisecond", "b", ""), note=_reads_low(
            least, read, new if new.known else traced_resistance_initial(on_hand.module)))
    return found if found.number < fault_side(on_hand).number else None


def _reads_low(module: GradedModule, read: Finding, new: Finding) -> str:
    reads = "may read" if read.basis == "assumed" else "reads"
    return (f"module {module.mark} {reads} less than new, {read.shown} ({read.title}) where new is "
            f"{new.shown}: the highest fault counts it for every module; measure it again")


def as_stated(brief: Brief) -> Brief:
    """The brief's own figures again; itself where the bench makes none of them worse."""
    if not any(isinstance(on_hand, AsMeasured) for on_hand in brief.modules):
        return brief
    return pairs_anew(replace(brief, modules=tuple(
        o.own if isinstance(o, AsMeasured) else o for o in brief.modules)))


def counted_words(found: Salvage, counted: list[ModulesOnHand]) -> str:
    """What counts of the bench sheet, the brief's figures beside it: never nothing.

    Args:
        found: who is built in.
        counted: entries of the layout, with what the bench makes worse.
    """
    types = {on_hand.module.id for on_hand in counted}
    mine = [m for m in found.used if m.row.module is not None and m.row.module.id in types]
    read = sum(m.resistance_common.known or m.capacity_common.known for m in mine)
    worse = [on_hand for on_hand in counted if isinstance(on_hand, AsMeasured)]
    lows = (low.note for one in worse for low in (one.low_growth, one.low_first) if low)
    lines = [*_nobody(found, read), *_worst_words(worse, read), *_unread(mine),
             *dict.fromkeys(lows), of_other_types((m.row for m in found.lot.modules), types)]
    return "".join(f"{line[:1].upper()}{line[1:]}. " for line in lines if line).strip()


def _nobody(found: Salvage, read: int) -> Iterator[str]:
    if found.dealt is None:
        why = f" ({found.why_nobody})" if found.refusal else ""
        yield f"nobody could be dealt{why}" + (
            f": the worst of all {several(read, 'measured module')} counts" if read else "")


def _worst_words(worse: list[AsMeasured], read: int) -> Iterator[str]:
    words = [w for on_hand in worse for w in _words_of(on_hand)]
    if words:
        yield f"sized with the worst modules {FOR_ALL}: {'; '.join(words)}"
    elif read:
        yield "none of the bench has more resistance or less capacity than the brief counts"


def _unread(mine: list[GradedModule]) -> Iterator[str]:
    """Which figures count of no module, or of some alone."""
    if not mine:
        yield "no row of the bench sheet is of this type: the brief's own figures count"
    for name in ("resistance", "capacity"):
        known = sum(getattr(m, f"{name}_common").known for m in mine)
        if 0 < known < len(mine):
            yield (f"the {name} of {len(mine) - known} of these {len(mine)} modules does not "
                   "count: not measured, asked about, or without what it was measured at")
        elif mine and not known:
            yield (f"no {name} of the {several(len(mine), 'module')} counts: "
                   "the brief's own does")


def _words_of(on_hand: AsMeasured) -> Iterator[str]:
    for name, mark in on_hand.marks:
        now, stated = getattr(on_hand, name), getattr(on_hand.own, name)
        yield f"{stated.title} {now.shown} of {mark} ({_stated(stated)})"
