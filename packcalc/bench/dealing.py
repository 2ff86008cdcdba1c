"""What dealing modules to groups and to strings has in common: pins, effort, the answer."""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import field

import numpy as np

from packcalc.errors import UserError
from packcalc.units import several
from packcalc.value import value_object

AMPERE_HOUR = 3600.0
FINEST = 0.01 * AMPERE_HOUR
NOTHING = 1e-9  # rounding of floating-point sums


@value_object
class Pins:
    """What the user wants kept together, kept apart, or kept out of some places.

    Attributes:
        together: modules of one group (or string); used all or none.
        apart: pairs of modules never in one group (or string).
        allowed: (modules, places) of bool; None allows all. A place is a group, or for
            strings a position: string · S + position.
    """

    together: tuple[tuple[int, ...], ...] = ()
    apart: tuple[tuple[int, int], ...] = ()
    allowed: np.ndarray | None = field(default=None, compare=False)

    def __bool__(self) -> bool:
        return bool(self.together or self.apart) or self.allowed is not None


@value_object
class Dealing:
    """Groups of module numbers, and what is left over."""

    groups: np.ndarray
    spare: np.ndarray


@value_object
class Effort:
    """How long to look, in rounds, and how the look is seeded.

    Attributes:
        rounds: kicks after the first local optimum, for each criterion.
        seed: of the random kicks.
        tolerance: share of the capacity optimum that may be given up for even resistance.
    """

    rounds: int = 400
    seed: int = 20240229
    tolerance: float = 0.0025


@value_object
class Assignment:
    """Modules dealt to places.

    Attributes:
        arrangement: "grouped" or "strings".
        places: module numbers; one row a group, or one row a string.
        left_out: module numbers not used, strongest first.
        value: weakest group's capacity, or the sum of each string's weakest [C].
        best_value: the highest value found before any was given up for resistance [C].
        bound: no assignment can exceed this [C].
        proven: whether `best_value` is proven to be the optimum.
        proof: by what, in words.
        conductance: of the weakest group, or of the weakest string [S]; NaN if unknown.
        conductance_bound: no assignment that keeps the capacity can exceed this [S].
        step: capacities were counted in whole steps of this [C].
        rounding: of what the bound lies above the best value, this much [C] stands for the
            rounding to whole steps, and for no dealing that was missed.
    """

    arrangement: str
    places: np.ndarray
    left_out: np.ndarray
    value: float
    best_value: float
    bound: float
    proven: bool
    proof: str
    conductance: float
    conductance_bound: float
    step: float
    rounding: float = 0.0

    @property
    def gap(self) -> float:
        """How far the best value lies below the proven bound in whole steps, as a share of it."""
        gap = (self.bound - self.rounding - self.best_value) / self.bound
        return 0.0 if abs(gap) < NOTHING else gap

    @property
    def given_up(self) -> float:
        """Share of the best value given up for even resistance."""
        return (self.best_value - self.value) / self.best_value

    @property
    def conductance_gap(self) -> float:
        """How far the weakest group's conductance lies below its bound."""
        gap = (self.conductance_bound - self.conductance) / self.conductance_bound
        return 0.0 if abs(gap) < NOTHING else gap


def counting_step(capacity: np.ndarray) -> float:
    """Whole step in which capacities are counted [C]: 0.01 Ah, finer for small modules.

    Examples:
        >>> counting_step(np.array([60.0, 58.0]) * 3600) / 3600
        0.01
    """
    mean = float(np.mean(capacity)) / AMPERE_HOUR
    if mean >= 10.0:
        return FINEST
    return AMPERE_HOUR * 10.0 ** (math.floor(math.log10(mean)) - 3)


def demand_enough(count: int, series: int, parallel: int) -> None:
    places = series * parallel
    if count < places:
        raise UserError(f"{several(count, 'module')} for {several(places, 'place')} "
                        f"({series}S{parallel}P): "
                        f"{places - count} short")


def chunks_of(pins: Pins, parallel: int) -> list[list[int]]:
    """Modules that move as one: those pinned together, merged, then those kept apart."""
    merged: list[set[int]] = []
    for block in pins.together:
        hit = [m for m in merged if m & set(block)]
        merged = [m for m in merged if m not in hit] + [set(block).union(*hit)]
    for one, other in pins.apart:
        if any(one in m and other in m for m in merged):
            raise UserError("two modules are pinned together and apart at once")
        merged += [{m} for m in (one, other) if not any(m in block for block in merged)]
    too_large = next((m for m in merged if len(m) > parallel), None)
    if too_large:
        raise UserError(f"{len(too_large)} modules are pinned together, "
                        f"but a group holds {parallel}")
    return sorted((sorted(m) for m in merged), key=lambda c: (-len(c), c))


def descending(units: np.ndarray, chosen: set[int]) -> list[int]:
    """Module numbers, strongest first; of equal ones the lower number."""
    return sorted(chosen, key=lambda m: (-units[m], m))


def largest_first(units: np.ndarray, rows: list[list[int]], order: Sequence[int],
                  parallel: int) -> None:
    """Each module, the largest first, to the lowest row that has room.

    Examples:
        >>> rows = [[], []]
        >>> largest_first(np.array([4.0, 3, 2, 1]), rows, [0, 1, 2, 3], 2)
        >>> rows
        [[0, 3], [1, 2]]
    """
    heap = [(float(units[row].sum()) if row else 0.0, i) for i, row in enumerate(rows)
            if len(row) < parallel]
    heapq.heapify(heap)
    for module in order:
        total, i = heapq.heappop(heap)
        rows[i].append(module)
        if len(rows[i]) < parallel:
            heapq.heappush(heap, (total + float(units[module]), i))


def weakest_sum(units: np.ndarray, groups: np.ndarray) -> int:
    """Of the weakest group, in whole steps."""
    return int(units[groups].sum(axis=1).min())


def match(allowed: np.ndarray) -> list[int] | None:
    """A column for every row so that each is allowed and none is used twice, or None.

    Examples:
        >>> match(np.array([[True, True], [True, False]]))
        [1, 0]
    """
    taken: dict[int, int] = {}

    def place(row: int, seen: set[int]) -> bool:
        for column in np.flatnonzero(allowed[row]).tolist():
            if column not in seen:
                seen.add(column)
                if column not in taken or place(taken[column], seen):
                    taken[column] = row
                    return True
        return False

    if not all(place(row, set()) for row in range(len(allowed))):
        return None
    found = {row: column for column, row in taken.items()}
    return [found[row] for row in range(len(allowed))]
