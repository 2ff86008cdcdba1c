"""How sure the assigned pack is: chances, percentiles, and what to measure next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.bench.grade import GradedLot
from packcalc.bench.dealing import Assignment
from packcalc.bench.uncertainty import (
    TRIALS,
    Belief,
    Draws,
    Spread,
    chance,
    chance_error,
    draw_packs,
)
from packcalc.brief import Brief
from packcalc.loads import peak_drawn
from packcalc.modules import ModuleType
from packcalc.pack import PackModel
from packcalc.value import value_object

SEED = 20240229
SHARED = np.sqrt(0.5)  # half of an instrument's variance is counted as common to all modules
LEAST_OWN = 0.1  # of a reading's uncertainty is its own, whatever its meter shares with the rest
SHOWN = 5


@value_object
class Target:
    """One figure of the pack against its target.

    Attributes:
        title, unit: as printed.
        target: SI; None where nothing is asked.
        chance, error: share of the draws that reach it, and its standard error.
        low, middle, high: 5th, 50th and 95th percentile.
    """

    title: str
    unit: str
    target: float | None
    chance: float | None
    error: float | None
    low: float
    middle: float
    high: float


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
        targets: energy, then power.
        sharpeners: the most telling measurement first.
        trials, seed: how it was drawn.
        spread: counted for modules that nobody measured.
    """

    targets: tuple[Target, ...]
    sharpeners: tuple[Sharpener, ...]
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
    battery = brief.battery
    energy = el.energy_between(draws.capacity, battery.charge_highest.number,
                               battery.charge_lowest.number, pack.nominal_voltage.number)
    power, lasts = _power(brief, module, pack, draws)
    targets = (_target("usable energy", "kWh", energy, battery.energy_least.value),
               _target("power at the lowest voltage, cold and nearly empty", "kW", power,
                       peak_drawn(brief).value, lasts))
    return Sureness(targets, _sharpeners(draws, dealt), trials, seed, spread)


def _power(brief: Brief, module: ModuleType, pack: PackModel,
           draws: Draws) -> tuple[np.ndarray, np.ndarray]:
    """Power of each drawn pack at the end of its own peak, and whether it lasts so long.

    A pack of less capacity is emptier when the peak ends: the charge left is each draw's own.
    """
    left = el.charge_left(brief.battery.charge_lowest.number, peak_drawn(brief).number,
                          brief.power.peak_duration.number, pack.peak_voltage.number,
                          draws.capacity)
    at = np.maximum(left, 0.0)
    corner = mod.resistance(module, brief.battery.coldest_start.number, at,
                            brief.power.peak_duration.number, 1.0)
    ratio = corner / module.resistance_high.number
    whole = draws.resistance * ratio + pack.path.number + pack.cable_allowance.number
    rest = pack.layout.series * mod.ocv_low(module, at)
    return np.asarray(el.available_power(pack.demand_voltage.number, rest, whole)), left >= 0


def _target(title: str, unit: str, values: np.ndarray, target: float | None,
            lasts: np.ndarray | bool = True) -> Target:
    """A figure of the drawn packs; one that runs empty before its peak ends meets no target."""
    low, middle, high = (float(x) for x in np.percentile(values, [5, 50, 95]))
    share = None if target is None else chance(np.where(lasts, values, -np.inf), target)
    error = None if share is None else chance_error(share, len(values))
    return Target(title, unit, target, share, error, low, middle, high)


def _sharpeners(draws: Draws, dealt: Sequence[Any]) -> tuple[Sharpener, ...]:
    """What would explain most of the spread, capacity and resistance apart."""
    found = [Sharpener("check the capacity tester against a reference (error common to all)",
                       "usable energy", draws.common_explains[0]),
             Sharpener("check the pulse meter against a reference (error common to all)",
                       "power", draws.common_explains[1])]
    for shares, what, figure, index in (
            (draws.capacity_explains, "capacity", "usable energy", 0),
            (draws.resistance_explains, "resistance", "power", 1)):
        for i in np.argsort(-shares, kind="stable")[:SHOWN]:
            verb = "repeat the" if dealt[i].measured[index] else "measure the"
            found.append(Sharpener(f"{verb} {what} of {dealt[i].mark}", figure, float(shares[i])))
    return tuple(sorted((f for f in found if f.share > 0.005), key=lambda f: -f.share)[:2 * SHOWN])
