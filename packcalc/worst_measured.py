"""The worst module on the bench counted for every one, where the brief gives better figures.

Lowest fault, sag and held-up voltage fall with resistance, energy and current limits with
capacity: there the worst measured module stands for all. Where more resistance or less capacity
would be milder (highest fault, stored energy, voltage while braking, unequal sharing) the
brief's own figures stay. A module that measures better than the brief changes nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import field, fields, replace
from typing import Any

from packcalc.bench.assign import AssignmentStudy, assign_modules
from packcalc.bench.grade import GradedLot, GradedModule
from packcalc.brief import NO_ENTRY, Brief, ModulesOnHand, growth_left_open
from packcalc.errors import UserError
from packcalc.findings import Finding, formula, trace
from packcalc.layouts import Layout
from packcalc.marks import SIGN
from packcalc.mixes import own_entries, pairs_anew
from packcalc.value import value_object

GROWTH, HEALTH = "resistance_growth", "state_of_health"
FOR_ALL = "of the bench for every module"


@formula(title="growth of resistance as measured", symbol="f_age", unit="", text="f_age = R_c/R_10",
         inputs={"measured": "R_c [mΩ] of the module at 25 °C, 10 s, 50 % charge",
                 "new": "R_10 [mΩ] of a new one at the same"},
         basis="definition", safe_side="the module with the most")
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

    @property
    def used(self) -> tuple[GradedModule, ...]:
        """The modules that are built in; every kept one where nobody could be dealt."""
        return tuple(p.dealt.graded for p in self.dealt.places) if self.dealt is not None \
            else self.lot.of_grade("keep")


def salvage(brief: Brief, layout: Layout, lot: GradedLot) -> Salvage:
    """A graded lot, dealt to the places of a layout where that can be done."""
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
    """

    stated: ModulesOnHand | None = field(default=None, metadata=NO_ENTRY)
    marks: tuple[tuple[str, str], ...] = field(default=(), metadata=NO_ENTRY)

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
        return self.own.least_growth


@value_object
class Extremes:
    """The worst measured modules of one entry; None where none was measured."""

    resistance: GradedModule | None
    capacity: GradedModule | None


def extremes(on_hand: ModulesOnHand, used: Iterable[GradedModule]) -> Extremes:
    """The module of this entry's type with the most resistance, and that with the least charge."""
    mine = [m for m in used if m.row.module is not None and m.row.module.id == on_hand.module.id]
    return Extremes(
        max((m for m in mine if m.resistance_common.known), default=None,
            key=lambda m: m.resistance_common.number),
        min((m for m in mine if m.capacity_common.known), default=None,
            key=lambda m: m.capacity_common.number))


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
    entries = {own for part in layout.parts for own in own_entries(brief, part.entry)}
    worse = {i: one for i in sorted(entries)
             if (one := _worse(brief, i, found.used)) is not brief.modules[i]}
    if not worse:
        return brief
    modules = tuple(worse.get(i, on_hand) for i, on_hand in enumerate(brief.modules))
    told = {f"modules[{brief.number_of(i)}].{name}" for i, one in worse.items()
            for name, _ in one.marks}
    counted = [f for one in worse.values() for f in (one.resistance_growth, one.state_of_health)]
    # Another worst module makes another design, of which no mark and no record may hold.
    words = "\n".join((brief.digest, *(w for f in counted for node in f.walk()
                                       for w in (node.words, node.note))))
    return pairs_anew(replace(
        brief, modules=modules, unknowns=tuple(u for u in brief.unknowns if u.dotted not in told),
        digest=SIGN + hashlib.sha256(words.encode("utf-8", "replace")).hexdigest()[:16]))


def _worse(brief: Brief, index: int, used: Sequence[GradedModule]) -> Any:
    """An entry with what the bench makes worse; the entry itself where nothing is."""
    on_hand = brief.modules[index]
    worst = extremes(on_hand, used)
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
    if not marks:
        return on_hand
    plain = {f.name: getattr(on_hand, f.name) for f in fields(ModulesOnHand)}
    return AsMeasured(**{**plain, **given}, stated=on_hand, marks=tuple(sorted(marks)))


def as_stated(brief: Brief) -> Brief:
    """The brief's own figures again; itself where the bench makes none of them worse."""
    if not any(isinstance(on_hand, AsMeasured) for on_hand in brief.modules):
        return brief
    return pairs_anew(replace(brief, modules=tuple(
        o.own if isinstance(o, AsMeasured) else o for o in brief.modules)))


def counted_words(brief: Brief) -> str:
    """One line on what the bench makes worse, the brief's figure beside it; "" where nothing is."""
    found = [words for on_hand in brief.modules if isinstance(on_hand, AsMeasured)
             for words in _words_of(on_hand)]
    return f"Sized with the worst modules {FOR_ALL}: {'; '.join(found)}." if found else ""


def _words_of(on_hand: AsMeasured) -> Iterator[str]:
    for name, mark in on_hand.marks:
        now, stated = getattr(on_hand, name), getattr(on_hand.own, name)
        yield f"{stated.title} {now.shown} of {mark} ({_stated(stated)})"
