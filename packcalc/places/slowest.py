"""The slowest loop of a fault: where along its conductors L/R is longest.

The loop that errs safe has the most inductance for its resistance: of every stretch of conductor
that may lie between the modules and the fault, those count that make it slower, each with the
least resistance of its own wire. One of unknown section counts with none, which errs long.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce

from packcalc import electrical as el
from packcalc.brief import Brief, Route
from packcalc.findings import Finding, leaf, trace, with_more
from packcalc.layout_findings import named_loop, thinner, unnamed
from packcalc.parts import CABLE
from packcalc.protect.branch_figures import (
    cold_conductor,
    open_length,
)
from packcalc.protect.cable import RouteResult
from packcalc.protect.faults import fault_loop_inductance, fault_time_constant
from packcalc.value import value_object

SLOWEST = "slowest of these loops"  # how the note of a place on its time constant begins
ONE_CABLE = leaf("cables a pole", "n", "", 1, "definition")


@value_object
class Stretch:
    """A conductor that may lie in a loop.

    Attributes:
        length: one way.
        resistance: least that it puts into the loop; without value where that is not known.
    """

    length: Finding
    resistance: Finding

    @property
    def untold(self) -> str:
        """What nobody told of its length, in words: the loop may be slower by it; else empty."""
        return open_length(self.length) if self.length.known else self.length.note

    @property
    def rank(self) -> float:
        """Least resistance of a metre: the smaller, the slower; none for what is not known."""
        return self.resistance.number / self.length.number \
            if self.resistance.known and self.length.number > 0 else 0.0


UNTOLD = Stretch(*(leaf(title, symbol, unit, None, "given", note=(
    "the charge cable is not described, and counted with no length"))
    for title, symbol, unit in (("length of the charge cable", "l", "m"),
                                ("resistance of the charge cable", "R", "mΩ"))))


def pair(length: Finding, area: Finding, cables: Finding = ONE_CABLE) -> Stretch:
    """Both conductors of a run, out and back."""
    one = cold_conductor(length, area, cables)
    return Stretch(length, trace(el.resistance_sum, "both conductors at their coldest", unit="mΩ",
                                 first=one, second=one) if one.known else one)


def one_conductor(length: Finding, area: Finding, cables: Finding = ONE_CABLE) -> Stretch:
    """One conductor of a run, with the chassis as way back, of which no resistance is counted."""
    return Stretch(length, cold_conductor(length, area, cables))


def route_conductor(brief: Brief, route: Route) -> tuple[Finding, Finding]:
    """(section, cables a pole) of the cable that the brief names; section without value else."""
    part = brief.parts.list.part(CABLE, route.cable) if route.cable else None
    if part is None or part.section is None:
        return leaf("section of the cable", "S", "mm²", None, "given",
                    note=f"no cable with its section is named for {route.name}"), ONE_CABLE
    return part.section, leaf("cables a pole", "n", "", part.runs, "definition",
                              origin=part.origin)


def route_loop(brief: Brief, route: Route, sized: Iterable[RouteResult]) -> Finding:
    """Both conductors of a route, hot; without value where nothing says its section.

    Of a cable that the brief names and no section of the table is small enough for, by its copper;
    more may be true of one that it does not name.
    """
    own = next((r for r in sized if r.asked.name == route.name), None)
    area, _ = route_conductor(brief, route)
    chosen = own.chosen if own is not None else None
    if chosen is not None and chosen.loop_resistance is not None \
            and (not area.known or chosen.candidate.name == route.cable):
        return with_more(chosen.loop_resistance, thinner(unnamed(brief, route),
                                                         chosen.candidate.name))
    copper = named_loop(brief, route)
    return copper if copper is not None else leaf(
        f"loop resistance of {route.name}", "R_loop", "mΩ", None, "given", note=area.note)


def traction(brief: Brief) -> list[Stretch]:
    """Every traction route, both conductors."""
    return [pair(r.length, *route_conductor(brief, r)) for r in brief.cables.route
            if r.carries == "traction"]


def traction_pole(brief: Brief) -> list[Stretch]:
    """Every traction route, one conductor."""
    return [one_conductor(r.length, *route_conductor(brief, r)) for r in brief.cables.route
            if r.carries == "traction"]


def slowest(inductance: Finding, resistance: Finding, per_length: Finding,
            stretches: Iterable[Stretch]) -> tuple[Finding, Finding]:
    """(inductance, resistance) of the slowest loop of what is always in it and some stretches.

    Args:
        inductance, resistance: of what is always in it; the least resistance.
        per_length: inductance of a metre of run.
        stretches: that may lie in it, in whatever order they follow each other.
    """
    return reduce(lambda loop, one: _slower(loop, one, per_length),
                  sorted(stretches, key=lambda one: one.rank), (inductance, resistance))


def loop_constant(inductance: Finding, resistance: Finding, title: str = "") -> Finding:
    """L/R of a loop; more where its inductance may be more."""
    return with_more(trace(fault_time_constant, title, inductance=inductance,
                           resistance=resistance), inductance.untold_more)


def _slower(loop: tuple[Finding, Finding], one: Stretch,
            per_length: Finding) -> tuple[Finding, Finding]:
    """The loop with one more stretch where that makes it slower.

    Whether it does is the same for any length of it: one left out adds nothing however long it is.
    """
    added = _added(loop, one, per_length)
    if added is loop and one.length.known:
        return loop
    inductance, resistance = added
    return with_more(inductance, loop[0].untold_more or one.untold), resistance


def _added(loop: tuple[Finding, Finding], one: Stretch,
           per_length: Finding) -> tuple[Finding, Finding]:
    inductance, resistance = loop
    if not (inductance.known and one.length.known):
        return loop
    longer = trace(fault_loop_inductance, pack_inductance=inductance, per_length=per_length,
                   run_length=one.length)
    if not one.resistance.known or not resistance.known:
        return longer, resistance
    more = trace(el.resistance_sum, "least resistance of the loop and its conductors", unit="mΩ",
                 first=resistance, second=one.resistance)
    return (longer, more) if longer.number / more.number > inductance.number / resistance.number \
        else loop
