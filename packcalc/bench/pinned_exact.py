"""The best dealing of few modules with pins, with proof: every group the pins allow is listed.

Then the weakest sum is sought by halves: for each target the module in the fewest groups that
reach it either stands in one of them or is left out. Effort is counted in steps.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from packcalc.bench.covers import Cover, who_stands_where
from packcalc.bench.dealing import Pins
from packcalc.bench.exact import combinations

MOST_GROUPS = 5_000  # groups that are listed
MOST_STEPS = 3_000  # of looking through, before it is given up: well below a second


def best_pinned(units: np.ndarray, series: int, parallel: int, pins: Pins) -> np.ndarray | None:
    """(S, P) module numbers, place by place, that no dealing with these pins betters.

    None where there are too many modules to tell, or no dealing keeps the pins.

    Args:
        units: of each module, in whole steps.
        series, parallel: S groups of P.
        pins: kept by every group and place.

    Examples:
        >>> best_pinned(np.array([9.0, 8, 7, 6, 5]), 2, 2, Pins(apart=((0, 3), (1, 2)))).tolist()
        [[1, 3], [0, 2]]
    """
    if math.comb(len(units), parallel) > MOST_GROUPS:
        return None
    groups = _kept(combinations(len(units), parallel), len(units), pins)
    sums = units[groups].sum(axis=1)
    order = np.argsort(-sums, kind="stable")
    groups, sums = groups[order], sums[order]
    inside = who_stands_where(groups, len(units))
    fits = (np.ones((len(groups), series), dtype=bool) if pins.allowed is None
            else pins.allowed[groups].all(axis=1))
    look = Cover(inside, fits, len(units) - series * parallel, MOST_STEPS)
    ends = [*(i for i, (a, b) in enumerate(pairwise(sums), 1) if a > b), len(sums)]
    low, high, best = 0, len(ends) - 1, None
    while low <= high:
        middle = (low + high) // 2
        found = look.among(ends[middle])
        if look.steps <= 0:
            return None
        if found is None:
            low = middle + 1
        else:
            best, high = found, middle - 1
    return None if best is None else groups[best]


def _kept(groups: np.ndarray, count: int, pins: Pins) -> np.ndarray:
    """Of all groups those that keep the pins: blocks whole, modules that are apart not both."""
    inside = who_stands_where(groups, count)
    keeps = np.ones(len(groups), dtype=bool)
    for block in pins.together:
        held = inside[:, list(block)]
        keeps &= held.all(axis=1) | ~held.any(axis=1)
    for pair in pins.apart:
        keeps &= ~inside[:, list(pair)].all(axis=1)
    if pins.allowed is not None:
        keeps &= pins.allowed[groups].all(axis=1).any(axis=1)
    return groups[keeps]
