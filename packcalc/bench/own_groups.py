"""What the groups of the weakest modules can conduct at most, with no partner used twice.

Where capacity leaves the weakest modules few partners, and no two of them fit into one group,
every set of partners is listed for each. The conductance is lowered until disjoint sets cannot
be excluded any more: all groups together conduct no better than these.
"""

from __future__ import annotations

import math

import numpy as np

from packcalc.bench.covers import who_stands_where
from packcalc.bench.exact import combinations
from packcalc.value import value_object

MOST_WEAK = 12
MOST_PARTNERS = 60_000  # sets of partners looked through for one weak module
MOST_LISTED = 6_000  # sets of partners that serve, for one weak module
MOST_STEPS = 400  # of looking for disjoint ones; what that does not exclude counts as possible
CALM = 1e-12


@value_object
class _Partners:
    """Sets of partners of one weak module and what the group would conduct."""

    sets: np.ndarray
    conductance: np.ndarray


def own_groups_bound(conductance: np.ndarray, capacity: np.ndarray, floor: float, series: int,
                     parallel: int) -> list[float]:
    """Bounds of the weakest group's conductance while every group keeps `floor`.

    Args:
        conductance, capacity: of each module, in any units.
        floor: capacity that every group keeps.
        series, parallel: S groups of P; with modules to spare a weak one may stay out, and
            nothing is bounded.

    Examples:
        >>> g, q = np.array([1.0, 1.0, 5.0, 2.0]), np.array([1.0, 2.0, 9.0, 8.0])
        >>> own_groups_bound(g, q, 9.0, 2, 2)  # the strongest partner serves only one of two
        [6.0, 6.0, 3.0]
    """
    if len(capacity) != series * parallel or parallel < 2:
        return []
    order = np.argsort(capacity, kind="stable")
    top = np.cumsum(capacity[order][::-1])
    beside = float(top[parallel - 3]) if parallel > 2 else 0.0
    weak, alone = order[:min(MOST_WEAK, series)], 1
    while alone < len(weak) and (float(capacity[weak[alone - 1:alone + 1]].sum()) + beside
                                 < floor * (1.0 - CALM)):
        alone += 1
    found, lists = [], []
    for place, module in enumerate(weak):
        partners = _partners(conductance, capacity, floor, int(module), parallel)
        if partners is None:
            break
        found.append(float(partners.conductance.max(initial=0.0)))
        outside = ~np.isin(partners.sets, weak[:alone]).any(axis=1)
        if place < alone and 0 < outside.sum() <= MOST_LISTED:
            lists.append(_Partners(partners.sets[outside], partners.conductance[outside]))
    if len(lists) > 1:
        found.append(_together(lists, len(capacity)))
    return found


def _partners(conductance: np.ndarray, capacity: np.ndarray, floor: float, weak: int,
              parallel: int) -> _Partners | None:
    """Every set that reaches the floor with one weak module; None where there are too many."""
    need = floor - capacity[weak] - CALM * floor
    others = np.delete(np.arange(len(capacity)), weak)
    top = float(np.sort(capacity[others])[len(others) - parallel + 2:].sum())
    able = others[capacity[others] >= need - top]
    if math.comb(len(able), parallel - 1) > MOST_PARTNERS:
        return None
    sets = able[combinations(len(able), parallel - 1)] if len(able) >= parallel - 1 else (
        np.empty((0, parallel - 1), dtype=int))
    sets = sets[capacity[sets].sum(axis=1) >= need]
    return _Partners(sets, conductance[weak] + conductance[sets].sum(axis=1))


def _together(lists: list[_Partners], count: int) -> float:
    """The highest conductance for which disjoint sets are not excluded."""
    inside = [who_stands_where(p.sets, count) for p in lists]
    least = min(float(p.conductance.max()) for p in lists)
    steps = np.unique(np.concatenate([p.conductance for p in lists]))
    steps = steps[steps <= least]
    low, high = 0, len(steps) - 1  # the highest is tried first, then by halves
    middle = high
    while low <= high:
        able = [rows[p.conductance >= steps[middle]]
                for rows, p in zip(inside, lists, strict=True)]
        if _disjoint(able, [MOST_STEPS]):
            low = middle + 1
        else:
            high = middle - 1
        middle = (low + high) // 2
    return float(steps[max(high, 0)])


def _disjoint(able: list[np.ndarray], steps: list[int]) -> bool:
    """Whether one set of each list can be taken, none with a member of another; or too long."""
    if not able:
        return True
    steps[0] -= 1
    if steps[0] <= 0:
        return True
    at = min(range(len(able)), key=lambda k: len(able[k]))
    for chosen in able[at]:
        left = [rows[~(rows @ chosen)] for k, rows in enumerate(able) if k != at]
        if all(map(len, left)) and _disjoint(left, steps):
            return True
        steps[0] -= 1
        if steps[0] <= 0:
            return True
    return False
