"""How sure the assigned pack is: chances, percentiles, and what to measure next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.bench.grade import GradedLot
from packcalc.bench.dealing import Assignment
from packcalc.bench.meaning import CHARGE_HELD, ENERGY_HELD, VOLTAGE_HELD
from packcalc.bench.uncertainty import (
    TRIALS,
    Belief,
    Draws,
    Spread,
    chance,
    chance_error,
    draw_packs,
    pack_of,
)
from packcalc.brief import Brief
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, Check
from packcalc.loads import peak_drawn
from packcalc.modules import ModuleType
from packcalc.pack import PackModel
from packcalc.units import several
from packcalc.value import replace, value_object

SEED = 20240229
SHARED = np.sqrt(0.5)  # half of an instrument's variance is counted as common to all modules
LEAST_OWN = 0.1  # of a reading's uncertainty is its own, whatever its meter shares with the rest
SHOWN = 5
# A pass stands only where the 5th percentile of the draws reaches the target, and where not even
# the 95th does it fails (rules of the bench, by the two percentiles that are printed).
SURE_ENOUGH, HARDLY = 0.95, 0.05
CAPACITY, RESISTANCE = "usable energy", "power"  # what a measurement sharpens


@value_object
class Target:
    """One figure of the pack against its target.

    Attributes:
        title, unit: as printed.
        target: SI; None where nothing is asked.
        chance, error: share of the draws that reach it, and its standard error.
        low, middle, high: 5th, 50th and 95th percentile.
        assigned: with every module at its reading, or at what is expected of it; above the middle
            where weak draws of one group are not made good by strong ones of another.
        assigned_chance: share of the draws that reach that.
        held: title of the check of the assigned pack that holds the same figure.
        sharpened_by: figure of the sharpeners that tell it.
    """

    title: str
    unit: str
    target: float | None
    chance: float | None
    error: float | None
    low: float
    middle: float
    high: float
    assigned: float
    assigned_chance: float
    held: str
    sharpened_by: str


@value_object
class Sharpener:
    """A measurement and the share of the figure's variance that it would explain."""

    what: str
    figure: str
    share: float


@value_object
class Sureness:
    """Chances from seeded draws.

    Attributes:
        targets: energy, power, charge left at the end of the peak.
        sharpeners: the most telling measurement first.
        open_modules: marks of placed modules that lack a reading of capacity, of resistance.
        trials, seed: how it was drawn.
        spread: counted for modules that nobody measured.
    """

    targets: tuple[Target, ...]
    sharpeners: tuple[Sharpener, ...]
    open_modules: tuple[tuple[str, ...], tuple[str, ...]]
    trials: int
    seed: int
    spread: Spread


def belief_of(lot: GradedLot, dealt: Sequence[Any]) -> Belief:
    """Readings, their own uncertainty, and the instrument's common part, row by row."""
    def of(name: str, index: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        values = np.array([getattr(d, name).number for d in dealt])
        common = np.array([SHARED * _instrument(lot, d, name) for d in dealt])
        whole = np.array([getattr(d.graded, f"{name}_sigma").number / v if d.measured[index]
                          else np.nan for d, v in zip(dealt, values, strict=True)])
        own = np.sqrt(np.maximum(whole ** 2 - common ** 2, (LEAST_OWN * whole) ** 2))
        return values, own, common

    q, sigma_q, common_q = of("capacity", 0)
    r, sigma_r, common_r = of("resistance", 1)
    # A capacity expected of a module already carries the tail's mean: the draw adds it again.
    q = np.where(np.isnan(sigma_q), q / Spread().mean, q)
    donors = {name: i for i, name in enumerate(dict.fromkeys(d.graded.row.donor for d in dealt))}
    return Belief(q, r, sigma_q, sigma_r, np.array([donors[d.graded.row.donor] for d in dealt]),
                  common_q, common_r)


def _instrument(lot: GradedLot, dealt: Any, name: str) -> float:
    """Relative error of the meter that read a module: the row's own, else the bench's."""
    own = getattr(dealt.graded.row, f"{name}_error")
    return (own if own.known else getattr(lot.bench, f"{name}_error")).number


def how_sure(brief: Brief, lot: GradedLot, module: ModuleType, pack: PackModel,
             assignment: Assignment, dealt: Sequence[Any], *, trials: int = TRIALS,
             seed: int = SEED) -> Sureness:
    """Draw packs and hold their energy and power against the brief."""
    spread = Spread()
    draws = draw_packs(belief_of(lot, dealt), assignment.places, assignment.arrangement,
                       spread=spread, trials=trials, seed=seed)
    asked = (("usable energy", "kWh", brief.battery.energy_least.value, ENERGY_HELD, CAPACITY),
             ("power at the lowest voltage, cold and nearly empty", "kW", peak_drawn(brief).value,
              VOLTAGE_HELD, RESISTANCE),
             ("charge left at the end of the peak", "%", 0.0, CHARGE_HELD, CAPACITY))
    own = pack_of(*(np.array([getattr(dealt[i], name).number for i in assignment.places.ravel()])
                    .reshape(assignment.places.shape) for name in ("capacity", "resistance")),
                  assignment.arrangement)
    drawn = _figures(brief, module, pack, draws.capacity, draws.resistance)
    assigned = _figures(brief, module, pack, *own)
    lasts = drawn[2] >= 0
    targets = tuple(_target(*words, values, float(one), lasts if words[3] == VOLTAGE_HELD else True)
                    for words, values, one in zip(asked, drawn, assigned, strict=True))
    placed = [dealt[i] for i in assignment.places.ravel()]
    open_ = tuple(tuple(d.mark for d in placed if not d.measured[k]) for k in (0, 1))
    return Sureness(targets, _sharpeners(draws, dealt), open_, trials, seed, spread)


def _figures(brief: Brief, module: ModuleType, pack: PackModel, capacity: Any,
             resistance: Any) -> tuple[Any, Any, Any]:
    """Usable energy, power and charge left of packs by capacity and resistance of their modules.

    A pack of less capacity is emptier when the peak ends: the charge left is each pack's own.
    """
    battery = brief.battery
    energy = el.energy_between(capacity, battery.charge_highest.number,
                               battery.charge_lowest.number, pack.nominal_voltage.number)
    left = el.charge_left(battery.charge_lowest.number, peak_drawn(brief).number,
                          brief.power.peak_duration.number, pack.peak_voltage.number, capacity)
    return energy, _power(brief, module, pack, resistance, left), left


def _power(brief: Brief, module: ModuleType, pack: PackModel, resistance: Any, left: Any) -> Any:
    """Power of each pack at the end of its own peak."""
    at = np.maximum(left, 0.0)
    corner = mod.resistance(module, brief.battery.coldest_start.number, at,
                            brief.power.peak_duration.number, 1.0)
    ratio = corner / module.resistance_high.number
    whole = resistance * ratio + pack.path.number + pack.cable_allowance.number
    rest = pack.layout.series * mod.ocv_low(module, at)
    return np.asarray(el.available_power(pack.demand_voltage.number, rest, whole))


def _target(title: str, unit: str, target: float | None, held: str, sharpened_by: str,
            values: np.ndarray, assigned: float, lasts: np.ndarray | bool) -> Target:
    """A figure of the drawn packs; one that runs empty before its peak ends meets no target."""
    low, middle, high = (float(x) for x in np.percentile(values, [5, 50, 95]))
    share = None if target is None else chance(np.where(lasts, values, -np.inf), target)
    error = None if share is None else chance_error(share, len(values))
    return Target(title, unit, target, share, error, low, middle, high, assigned,
                  chance(values, assigned), held, sharpened_by)


def held_by_chance(checks: Sequence[Check], sure: Sureness) -> tuple[Check, ...]:
    """The checks of an assigned pack, none of them a pass beside a chance that is none.

    Its figure counts each module at its reading, or at what is expected of it; the pack is as good
    as its weakest group, and of many groups some turn out weaker.
    """
    by_title = {target.held: target for target in sure.targets}
    return tuple(_by_chance(check, by_title[check.title], sure) if check.title in by_title
                 else check for check in checks)


def _by_chance(check: Check, target: Target, sure: Sureness) -> Check:
    if check.verdict == FAIL or target.chance is None or target.chance >= SURE_ENOUGH:
        return check
    drawn = f"{100 * target.chance:.3g} % of the packs drawn from what is known of the modules"
    words = f"only {drawn} reach it: see the chances"
    # What nobody told of the path can only lessen the chance: it makes no failure milder.
    unsure = NOT_EVALUATED if check.verdict == NOT_EVALUATED else CAUTION
    return replace(check, verdict=FAIL if target.chance < HARDLY else unsure,
                   reason="; ".join(filter(None, (check.reason, words))),
                   remedy="; ".join(filter(None, (_would_tell(target, sure), check.remedy))))


def _would_tell(target: Target, sure: Sureness) -> str:
    """The measurement that would tell most; how many modules wait for one."""
    first = next((s.what for s in sure.sharpeners if s.figure == target.sharpened_by), "")
    name, at = ("capacity", 0) if target.sharpened_by == CAPACITY else ("resistance", 1)
    waiting = len(sure.open_modules[at])
    many = f"{several(waiting, 'module')} without a {name}" if waiting else ""
    return ", of ".join(filter(None, (f"{first} first" if first else "", many)))


def _sharpeners(draws: Draws, dealt: Sequence[Any]) -> tuple[Sharpener, ...]:
    """What would explain most of the spread, capacity and resistance apart."""
    found = [Sharpener("check the capacity tester against a reference (error common to all)",
                       CAPACITY, draws.common_explains[0]),
             Sharpener("check the pulse meter against a reference (error common to all)",
                       RESISTANCE, draws.common_explains[1])]
    for shares, what, figure, index in (
            (draws.capacity_explains, "capacity", CAPACITY, 0),
            (draws.resistance_explains, "resistance", RESISTANCE, 1)):
        for i in np.argsort(-shares, kind="stable")[:SHOWN]:
            read = getattr(dealt[i].graded.row, what).known
            verb = "repeat the" if read else "measure the"
            found.append(Sharpener(f"{verb} {what} of {dealt[i].mark}", figure, float(shares[i])))
    return tuple(sorted((f for f in found if f.share > 0.005), key=lambda f: -f.share)[:2 * SHOWN])
