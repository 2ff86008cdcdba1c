"""Before anything is joined: which modules to charge or drain, by how much, and how long."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from packcalc import modules as mod
from packcalc.findings import Finding, formula
from packcalc.modules import ModuleType

GRID = np.linspace(0.0, 1.0, 2001)
TOLD_WITHIN = 0.15     # width of charge that one rest voltage leaves open; wider is not told
NEAR_ENOUGH = 0.01     # of charge; nearer needs no work
ROOM_TEMPERATURE = 293.15


@formula(title="charge to move into a module", symbol="ΔQ", unit="Ah", text="ΔQ = (z_t − z)·Q",
         inputs={"target": "z_t [%] charge to bring it to", "charge": "z [%] charge it has",
                 "capacity": "Q [Ah] its capacity"},
         basis="definition", safe_side="")
def charge_to_move(target, charge, capacity):
    """Charge to put into a module; negative is to be drained.

    Examples:
        >>> round(charge_to_move(0.50, 0.45, 200.0 * 3600) / 3600, 2)
        10.0
    """
    return (target - charge) * capacity


@formula(title="time to move a charge", symbol="t", unit="h", text="t = |ΔQ|/I",
         inputs={"charge": "ΔQ [Ah] to move", "current": "I [A] of charger or drain"},
         basis="definition")
def time_to_move(charge, current):
    """Time that a charge takes at a steady current.

    Examples:
        >>> time_to_move(-36000.0, 5.0) / 3600
        2.0
    """
    return abs(charge) / current


def charge_from_voltage(module: ModuleType, voltage: float) -> tuple[float, float]:
    """Lowest and highest charge that a rest voltage allows over the published curves.

    Args:
        module: the type.
        voltage: rest voltage of the module [V].
    """
    high, low = mod.ocv_high(module, GRID), mod.ocv_low(module, GRID)
    least = float(np.interp(voltage, high, GRID))
    most = float(np.interp(voltage, low, GRID))
    return min(least, most), max(least, most)


def voltage_at(module: ModuleType, charge: float) -> float:
    """Rest voltage whose middle charge (see `charge_from_voltage`) is the one given [V]."""
    high, low = mod.ocv_high(module, GRID), mod.ocv_low(module, GRID)
    volts = np.linspace(low[0], high[-1], len(GRID))
    middle = (np.interp(volts, high, GRID) + np.interp(volts, low, GRID)) / 2.0
    return float(np.interp(charge, middle, volts))


@dataclass(frozen=True)
class Step:
    """What to do with one module before it is joined.

    Attributes:
        mark, place: which module, where it will stand.
        charge: middle of what the rest voltage allows; NaN where voltage cannot tell.
        band: half the width of what it allows.
        action: "charge", "drain", "leave", "charge fully", "measure".
        move: charge to move [C]; 0 for "leave".
        current, time: of the charger or drain [A], [s]; 0 where nothing moves.
        joining: equalising current if it were joined as it is, against the weakest neighbour
            of unlike voltage [A]; NaN where nothing is known.
    """

    mark: str
    place: str
    charge: float
    band: float
    action: str
    move: float
    current: float
    time: float
    joining: float


@dataclass(frozen=True)
class BalancePlan:
    """The plan for all modules.

    Attributes:
        steps: one a module, in the order of places.
        target, voltage: charge and rest voltage to bring modules to; NaN where all are to be
            charged fully.
        end_voltage: where "charge fully" ends [V of a module].
        charge_limit: largest joining current allowed, one module at 20 °C [A].
        hours: of charging and of draining, all modules one after another [s].
        sentence: what to do, in words.
    """

    steps: tuple[Step, ...]
    target: float
    voltage: float
    end_voltage: float
    charge_limit: float
    hours: tuple[float, float]
    sentence: str


@dataclass(frozen=True)
class Standing:
    """One module before joining: its mark, place and group, rest voltage (or None), Q and R."""

    mark: str
    place: str
    group: int
    voltage: float | None
    capacity: float
    resistance: float


def plan_balance(module: ModuleType, standing: Sequence[Standing],
                 current: Finding) -> BalancePlan:
    """Bring every module to one charge before anything is joined.

    The target is the charge that moves the fewest ampere-hours. Where a rest voltage
    leaves more than 15 % of charge open, as on a flat curve, every module is charged fully.
    """
    limit = float(mod.charge_current_limit(module, ROOM_TEMPERATURE))
    rate = min(current.number, limit) if limit > 0 else current.number
    bands = [(np.nan, np.nan) if s.voltage is None else charge_from_voltage(module, s.voltage)
             for s in standing]
    middle = np.array([(a + b) / 2 for a, b in bands])
    width = np.array([b - a for a, b in bands])
    flat = bool(np.nanmax(width, initial=0.0) > TOLD_WITHIN)
    if flat or not np.isfinite(middle).any():
        return _full(module, standing, width, rate, limit, flat)
    known = np.isfinite(middle)
    target = _weighted_median(middle[known], np.array([s.capacity for s in standing])[known])
    joining = _joining(standing)
    steps = tuple(_step(s, z, w / 2, target, rate, i)
                  for s, z, w, i in zip(standing, middle, width, joining, strict=True))
    end = module.series * module.full_voltage.number
    return BalancePlan(steps, target, voltage_at(module, target), end, limit, _hours(steps),
                       _sentence(steps))


def _hours(steps: Sequence[Step]) -> tuple[float, float]:
    return (sum(s.time for s in steps if s.action == "charge"),
            sum(s.time for s in steps if s.action == "drain"))


def _sentence(steps: Sequence[Step]) -> str:
    count = {a: sum(s.action == a for s in steps)
             for a in ("charge", "drain", "leave", "measure")}
    words = (f"{count['charge']} to charge, {count['drain']} to drain, {count['leave']} to leave "
             f"as they are")
    return words + (f"; {count['measure']} without a rest voltage: measure first"
                    if count["measure"] else "")


def _step(s: Standing, charge: float, band: float, target: float, rate: float,
          joining: float) -> Step:
    if not np.isfinite(charge):
        return Step(s.mark, s.place, charge, band, "measure", 0.0, 0.0, 0.0, joining)
    if abs(target - charge) <= NEAR_ENOUGH:
        return Step(s.mark, s.place, charge, band, "leave", 0.0, 0.0, 0.0, joining)
    move = float(charge_to_move(target, charge, s.capacity))
    return Step(s.mark, s.place, charge, band, "charge" if move > 0 else "drain", move, rate,
                float(time_to_move(move, rate)), joining)


def _full(module: ModuleType, standing: Sequence[Standing], width: np.ndarray, rate: float,
          limit: float, flat: bool) -> BalancePlan:
    why = ("rest voltage cannot tell the charge of this cell: every module is charged fully to "
           "one end voltage, held there until the current falls below a twentieth of its "
           "capacity per hour, then joined" if flat else
           "no rest voltage was measured: measure every module, or charge all of them fully")
    joining = _joining(standing)
    steps = tuple(Step(s.mark, s.place, float("nan"), float(w) / 2, "charge fully", s.capacity,
                       rate, float(time_to_move(s.capacity, rate)), i)
                  for s, w, i in zip(standing, width, joining, strict=True))
    return BalancePlan(steps, float("nan"), float("nan"),
                       module.series * module.full_voltage.number, limit,
                       (sum(s.time for s in steps), 0.0), why)


def _joining(standing: Sequence[Standing]) -> list[float]:
    """Equalising current of each module on the others of its group, joined as they are."""
    found = []
    for s in standing:
        others = [o for o in standing
                  if o.group == s.group and o is not s and o.voltage is not None]
        if s.voltage is None or not others:
            found.append(0.0 if s.voltage is not None else float("nan"))
            continue
        conductance = sum(1.0 / o.resistance for o in others)
        mean = sum((o.voltage or 0.0) / o.resistance for o in others) / conductance
        found.append(abs(s.voltage - mean) / (s.resistance + 1.0 / conductance))
    return found


def _weighted_median(values: np.ndarray, weights: np.ndarray) -> float:
    """The value from which the weighted distances to all others are least.

    Examples:
        >>> _weighted_median(np.array([0.2, 0.5, 0.9]), np.array([1.0, 1.0, 1.0]))
        0.5
    """
    order = np.argsort(values)
    half = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(half, half[-1] / 2.0)])
