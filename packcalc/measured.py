"""The worst module on the bench against the figures that the brief gives for all of them.

The lowest fault and the sag of a layout stand on the brief's growth of resistance, the energy on
its state of health. A sheet that shows a worse module makes both too good for it.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from packcalc.bench.assign import AssignmentStudy, at_voltage
from packcalc.bench.grade import GradedLot, GradedModule
from packcalc.brief import ModulesOnHand
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, Check, judge
from packcalc.findings import Finding, formula, trace
from packcalc.protection import ProtectionStudy, lowest_with
from packcalc.value import value_object

STAGE = "fault range"
FILLED = "modules on the bench fill this layout"
GROWTH, HEALTH = ("worst measured module within the brief's resistance growth",
                  "weakest measured module within the brief's state of health")


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
class Measured:
    """What the bench says against the figures of the brief.

    Attributes:
        checks: one for resistance and one for capacity of each type, where measured.
        lowest: lowest fault current with the worst measured growth; None where the brief's holds.
        energy: usable energy as the modules are dealt; None where none are.
        dealt: every check of the pack as its modules are dealt.
    """

    checks: tuple[Check, ...] = ()
    lowest: Finding | None = None
    energy: Finding | None = None
    dealt: tuple[Check, ...] = ()

    @property
    def failing(self) -> tuple[Check, ...]:
        """Checks of the pack as dealt that fail."""
        return tuple(c for c in self.dealt if c.verdict == FAIL)


def measured_against(study: ProtectionStudy, lot: GradedLot, dealt: AssignmentStudy | None,
                     refusal: str = "") -> Measured:
    """Hold the modules that would be built in against the brief's entries of their type.

    Args:
        study: sized from the brief's figures.
        lot: the graded sheet.
        dealt: who goes where; None takes every module that is kept.
        refusal: why nobody was dealt, where that is so.
    """
    brief, entries = study.brief, {part.entry for part in study.layout.parts}
    used = [p.dealt.graded for p in dealt.places] if dealt is not None else lot.of_grade("keep")
    eased, checks = list(brief.modules), []
    for index in sorted(entries):
        on_hand = brief.modules[index]
        mine = [m for m in used if m.row.module is not None
                and m.row.module.id == on_hand.module.id]
        worst = max((m for m in mine if m.resistance_common.known), default=None,
                    key=lambda m: m.resistance_common.number)
        weakest = min((m for m in mine if m.capacity_common.known), default=None,
                      key=lambda m: m.capacity_common.number)
        if worst is not None:
            growth = _growth(on_hand, worst)
            if growth.number > on_hand.resistance_growth.number:
                eased[index] = replace(on_hand, resistance_growth=growth)
            checks.append((GROWTH, on_hand, growth, worst))
        if weakest is not None:
            checks.append((HEALTH, on_hand, _health(on_hand, weakest), weakest))
    lowest = lowest_with(replace(brief, modules=tuple(eased)), study.layout).called(
        "lowest fault current, with the worst measured module") \
        if tuple(eased) != brief.modules else None
    energy = dealt.totals.energy if dealt is not None else None
    judged = at_voltage(dealt, study.pack.highest_voltage).checks if dealt is not None else (
        Check(FILLED, STAGE, NOT_EVALUATED, reason=refusal or "nobody dealt them",
              remedy="more modules that are kept, or another layout"),)
    return Measured(tuple(_check(study, *one, lowest, energy) for one in checks), lowest, energy,
                    judged)


def _growth(on_hand: ModulesOnHand, worst: GradedModule) -> Finding:
    return trace(measured_growth, measured=worst.resistance_common,
                 new=on_hand.module.resistance_high,
                 note=f"module {worst.mark} for every module: errs low for the fault")


def _health(on_hand: ModulesOnHand, weakest: GradedModule) -> Finding:
    return trace(measured_health, measured=weakest.capacity_common,
                 label=on_hand.module.capacity, note=f"module {weakest.mark}")


def _check(study: ProtectionStudy, title: str, on_hand: ModulesOnHand, found: Finding,
           module: GradedModule, lowest: Finding | None, energy: Finding | None) -> Check:
    if title == GROWTH:
        told = "" if lowest is None else (
            f"; with it the lowest fault is {lowest.shown} and not {study.faults.lowest.shown}: "
            "fuse, trips and every sweep of this file stand on the larger one")
        held = judge(title, STAGE, on_hand.resistance_growth, "at least", found,
                     reason=f"module {module.mark}{told}",
                     remedy=f"write resistance_growth = {_up(found.number)} under [[modules]] and "
                            f"size again, or leave {module.mark} out")
    else:
        told = _energy_words(study.pack.usable_energy, energy)
        held = judge(title, STAGE, on_hand.state_of_health, "at most", found,
                     reason=f"module {module.mark}{told}",
                     remedy=f"write state_of_health = \"{_down(found.number)} %\" under "
                            f"[[modules]] and size again, or leave {module.mark} out")
    # The layout is the brief's to judge; its figures are what the sheet puts in question.
    return replace(held, verdict=CAUTION) if held.verdict == FAIL else replace(
        held, reason=f"module {module.mark}")


def _energy_words(brief: Finding, dealt: Finding | None) -> str:
    if dealt is None:
        return ""
    if dealt.number >= brief.number:
        return (f"; as dealt the pack gives {dealt.shown}, no less than the {brief.shown} of this "
                "file")
    return f"; as dealt the pack gives {dealt.shown} and not the {brief.shown} of this file"


def _up(growth: float) -> str:
    """Two decimals, rounded to more."""
    return f"{math.ceil(100.0 * growth - 1e-9) / 100.0:.2f}"


def _down(health: float) -> str:
    """Whole percent, rounded to less."""
    return f"{math.floor(100.0 * health + 1e-9):d}"
