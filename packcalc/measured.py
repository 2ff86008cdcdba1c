"""What the bench sheet says against the figures that the brief gives for all modules.

Where the worst measured module is worse than the brief, the study counts it already (see
`worst_measured`): here stands what that changes, and the pack as its modules are dealt.
"""

from __future__ import annotations

import math

from packcalc.bench.assign import at_voltage
from packcalc.bench.left_open import which
from packcalc.brief import ModulesOnHand
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, Check, judge
from packcalc.findings import Finding
from packcalc.mixes import own_entries
from packcalc.protection import ProtectionStudy
from packcalc.value import replace, value_object
from packcalc.worst_measured import Salvage, as_stated, extremes, growth_of, health_of

STAGE = "fault range"
FILLED = "modules on the bench fill this layout"
GROWTH, HEALTH = ("worst measured module within the brief's resistance growth",
                  "weakest measured module within the brief's state of health")


@value_object
class Measured:
    """What the bench says against the figures of the brief.

    Attributes:
        checks: one for resistance and one for capacity of each type, where measured.
        by_brief: lowest fault current with the brief's own growth; None where that holds.
        energy: usable energy as the modules are dealt; None where none are.
        dealt: every check of the pack as its modules are dealt.
        left_open: checks that are open on modules as dealt, with their marks; empty where none.
    """

    checks: tuple[Check, ...] = ()
    by_brief: Finding | None = None
    energy: Finding | None = None
    dealt: tuple[Check, ...] = ()
    left_open: str = ""

    @property
    def failing(self) -> tuple[Check, ...]:
        """Checks of the pack as dealt that fail."""
        return tuple(c for c in self.dealt if c.verdict == FAIL)


def measured_against(study: ProtectionStudy) -> Measured:
    """Hold the modules that would be built in against the brief's entries of their type."""
    found = study.salvage
    if found is None:
        return Measured()
    lowest, by_brief = study.faults.lowest, study.by_brief
    if by_brief is not None and not (by_brief.known and by_brief.number > lowest.number):
        by_brief = None
    dealt = found.dealt
    energy = dealt.totals.energy if dealt is not None else None
    judged = at_voltage(dealt, study.pack.highest_voltage).checks if dealt is not None else (
        Check(FILLED, STAGE, NOT_EVALUATED, reason=found.refusal or "nobody dealt them",
              remedy="more modules that are kept, or another layout"),)
    open_ = "; ".join(f"{o.title} ({which(o.marks, len(dealt.places))})"
                      for o in dealt.left_open) if dealt is not None else ""
    return Measured(tuple(_checks(study, found, by_brief, energy)), by_brief, energy, judged, open_)


def _checks(study: ProtectionStudy, found: Salvage, by_brief: Finding | None,
            energy: Finding | None) -> list[Check]:
    stated, checks = as_stated(study.brief), []
    for index in sorted({own for part in study.layout.parts
                         for own in own_entries(stated, part.entry)}):
        on_hand = stated.modules[index]
        worst = extremes(on_hand, found.used)
        if worst.resistance is not None:
            checks.append(_of_growth(study, on_hand, growth_of(on_hand, worst.resistance),
                                     worst.resistance.mark, by_brief))
        if worst.capacity is not None:
            checks.append(_of_health(study, on_hand, health_of(on_hand, worst.capacity),
                                     worst.capacity.mark, energy))
    return checks


def _of_growth(study: ProtectionStudy, on_hand: ModulesOnHand, growth: Finding, mark: str,
               by_brief: Finding | None) -> Check:
    told = "" if by_brief is None else (
        f": the lowest fault is {study.faults.lowest.shown} and not the {by_brief.shown} of the "
        "brief's own figure; fuse, trips and every sweep of this file stand on the smaller one")
    held = judge(GROWTH, STAGE, on_hand.resistance_growth, "at least", growth,
                 reason=f"counted for every module: {mark}{told}",
                 remedy=f"write resistance_growth = {_up(growth.number)} under [[modules]], or "
                        f"leave {mark} out")
    return _told(held, mark)


def _of_health(study: ProtectionStudy, on_hand: ModulesOnHand, health: Finding, mark: str,
               energy: Finding | None) -> Check:
    held = judge(HEALTH, STAGE, on_hand.state_of_health, "at most", health,
                 reason=f"counted for every module: {mark}"
                        f"{_energy_words(study.pack.usable_energy, energy)}",
                 remedy=f'write state_of_health = "{_down(health.number)} %" under [[modules]], '
                        f"or leave {mark} out")
    return _told(held, mark)


def _told(held: Check, mark: str) -> Check:
    """The file is sized with the worse figure already: that the brief has a better is a caution."""
    return replace(held, verdict=CAUTION) if held.verdict == FAIL else replace(
        held, reason=f"module {mark}")


def _energy_words(counted: Finding, dealt: Finding | None) -> str:
    """What this file counts beside what the modules give as they are dealt."""
    if dealt is None:
        return ""
    return (f"; this file counts {counted.shown} usable, and as dealt the pack gives "
            f"{dealt.shown}")


def _up(growth: float) -> str:
    """Two decimals, rounded to more."""
    return f"{math.ceil(100.0 * growth - 1e-9) / 100.0:.2f}"


def _down(health: float) -> str:
    """Whole percent, rounded to less."""
    return f"{math.floor(100.0 * health + 1e-9):d}"
