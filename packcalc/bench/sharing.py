"""How paralleled modules or strings share the current, stepped through the discharge.

Every branch is a stack of modules with its own open-circuit voltage and resistance; what
is paralleled shares one terminal voltage. Natural ageing partly rights itself: the branch
of less resistance empties first, its voltage falls and the others take over.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from packcalc.findings import formula
from packcalc.value import value_object

STEPS = 400
FINER = 2  # steps between two that are kept
AHEAD = 1.0 - 0.5 ** 0.5  # of a step that the branches answer for: fast ones settle, none rings
NUDGE = 1e-3  # of charge, for the slope of the open-circuit voltage


@formula(title="current of the first of two paralleled sources", symbol="I_1", unit="A",
         text="I_1 = (E_1 − E_2 + I·R_2)/(R_1 + R_2)",
         inputs={"first_voltage": "E_1 [V] open-circuit voltage, first",
                 "second_voltage": "E_2 [V] open-circuit voltage, second",
                 "current": "I [A] of both together",
                 "first_resistance": "R_1 [Ω] first", "second_resistance": "R_2 [Ω] second"},
         basis="definition", where="Kirchhoff's laws for two branches")
def first_branch_current(first_voltage, second_voltage, current, first_resistance,
                         second_resistance):
    """Current of one of two paralleled branches; with no load, what they exchange.

    Examples:
        >>> round(first_branch_current(352.0, 347.0, 150.0, 0.10, 0.12), 3)
        104.545
    """
    return (first_voltage - second_voltage + current * second_resistance) / (
        first_resistance + second_resistance)


@formula(title="equalising current on joining", symbol="I_eq", unit="A",
         text="I_eq = 1000·ΔU/(R_1 + R_2)",
         inputs={"difference": "ΔU [V] of the rest voltages",
                 "first_resistance": "R_1 [mΩ] of the module that joins",
                 "second_resistance": "R_2 [mΩ] of what it joins"},
         basis="definition", where="Kirchhoff's laws, no load",
         safe_side="the links are counted as nothing, so the current errs high")
def equalising_current(difference, first_resistance, second_resistance):
    """Current in the moment two sources of unlike voltage are joined.

    Examples:
        >>> round(equalising_current(0.090, 1.5e-3, 1.5e-3), 1)
        30.0
    """
    return difference / (first_resistance + second_resistance)


@value_object
class Network:
    """Networks of paralleled branches, each a stack of modules in series.

    Attributes:
        capacity, resistance, charge: (networks, branches, modules) [C], [Ω], [1].
        path: resistance of each branch outside its modules [Ω].
        voltage: state of charge to open-circuit voltage of a module [V]; vectorised.
        ratio: state of charge to resistance over `resistance`; vectorised.
    """

    capacity: np.ndarray
    resistance: np.ndarray
    charge: np.ndarray
    path: float
    voltage: Callable[[Any], Any]
    ratio: Callable[[Any], Any]

    def branches(self, charge: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Open-circuit voltage and resistance of every branch."""
        inside = np.clip(charge, 0.0, 1.0)
        return (self.voltage(inside).sum(axis=2),
                (self.resistance * self.ratio(inside)).sum(axis=2) + self.path)

    def fall(self, charge: np.ndarray) -> np.ndarray:
        """How fast every branch's voltage falls for each ampere drawn [V/(A·s)]."""
        inside = np.clip(charge, NUDGE, 1.0)
        slope = (self.voltage(inside) - self.voltage(inside - NUDGE)) / NUDGE
        return (np.maximum(slope, 0.0) / self.capacity).sum(axis=2)


def split(voltage: np.ndarray, resistance: np.ndarray,
          current: float) -> tuple[np.ndarray, np.ndarray]:
    """Terminal voltage of each network and current of each branch.

    Args:
        voltage, resistance: (networks, branches).
        current: of each network; positive discharges.

    Examples:
        >>> u, i = split(np.array([[352.0, 347.0]]), np.array([[0.10, 0.12]]), 150.0)
        >>> u.round(3).tolist(), i.round(3).tolist()
        ([341.545], [[104.545, 45.455]])
    """
    conductance = 1.0 / resistance
    total = conductance.sum(axis=1)
    terminal = ((voltage * conductance).sum(axis=1) - current) / total
    return terminal, (voltage - terminal[:, None]) * conductance


@value_object
class Discharge:
    """A discharge at constant current.

    Attributes:
        times: of each step kept [s].
        at: mean charge of all modules then, falling.
        currents: (steps, networks, branches) [A].
        charges: (steps, networks, branches, modules).
        fair: (networks, branches) share by capacity, the weakest module of a branch counting.
        resistances: (steps, networks, branches) [Ω].
    """

    times: np.ndarray
    at: np.ndarray
    currents: np.ndarray
    charges: np.ndarray
    fair: np.ndarray
    resistances: np.ndarray

    @property
    def shares(self) -> np.ndarray:
        """Share of the current against the fair share; 1 is fair."""
        return self.currents / self.currents.sum(axis=2, keepdims=True) / self.fair

    def step_at(self, charge: float) -> int:
        """The step nearest to a mean charge."""
        return int(np.abs(self.at - charge).argmin())

    def with_peak(self, step: int, extra: float) -> np.ndarray:
        """Currents when the load rises by `extra` at a step, before charges move."""
        conductance = 1.0 / self.resistances[step]
        return self.currents[step] + extra * conductance / conductance.sum(axis=1, keepdims=True)


def discharge(network: Network, current: float, lowest: float, steps: int = STEPS) -> Discharge:
    """Step through a discharge at constant current, from the charges given to `lowest`.

    Args:
        network: branches with their charges at the start.
        current: of each network [A].
        lowest: mean charge at which it ends.
        steps: that are kept.
    """
    start = float(np.average(network.charge, weights=network.capacity))
    mean_capacity = float(network.capacity.min(axis=2).sum(axis=1).mean())
    return step_through(network, current, (start - lowest) * mean_capacity / current, steps)


def step_through(network: Network, current: float, duration: float,
                 steps: int = STEPS) -> Discharge:
    """Step through a time at constant current; with none, the branches equalise.

    A Rosenbrock method of second order: a branch whose voltage falls by what it gives counts as
    one of more resistance for that step, so that no step is too long for a fast branch.
    """
    charge, step = network.charge.astype(float).copy(), duration / (steps * FINER)
    at, currents, charges, resistances = [], [], [], []
    for index in range(steps * FINER + 1):
        voltage, resistance = network.branches(charge)
        if index % FINER == 0:
            at.append(float(np.average(charge, weights=network.capacity)))
            currents.append(split(voltage, resistance, current)[1])
            charges.append(charge)
            resistances.append(resistance)
        slow = resistance + AHEAD * step * network.fall(charge)
        _, first = split(voltage, slow, current)
        there = charge - step * first[:, :, None] / network.capacity
        _, then = split(*network.branches(there), current)
        _, second = split((then - 2.0 * first) * resistance, slow, -current)
        charge = charge - step * (1.5 * first + 0.5 * second)[:, :, None] / network.capacity
    least = network.capacity.min(axis=2)
    return Discharge(np.linspace(0.0, duration, steps + 1), np.array(at), np.array(currents),
                     np.array(charges), least / least.sum(axis=1, keepdims=True),
                     np.array(resistances))
