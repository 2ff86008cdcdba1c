"""What no dealing of modules can exceed: bounds that prove an answer good."""

from __future__ import annotations

import math

import numpy as np

from packcalc.bench.search import splits, thirds

MOST_WEAK = 12


def weakest_bound(values: np.ndarray, series: int, parallel: int) -> float:
    """No grouping can lift its weakest group above this.

    The j smallest modules fill k groups; even with the strongest others beside them those
    k groups hold their mean at most. The bound is the least over j of the best over k; with
    every group counted it is the plain mean.

    Args:
        values: capacities or conductances; the strongest S·P are counted.
        series, parallel: S groups of P.

    Examples:
        >>> weakest_bound(np.array([1, 5, 5, 6]), 2, 2)
        7.0
        >>> weakest_bound(np.array([1.0, 5.0, 5.0, 5.0]), 2, 2)
        6.0
    """
    return min(float(bound) for bound, _, _ in _bounds(values, series, parallel))


def _bounds(values: np.ndarray, series: int, parallel: int) -> list[tuple[float, int, int]]:
    """(bound, j, k): with no weak modules singled out, then with the j weakest in k groups."""
    best = np.sort(np.asarray(values, dtype=float))[::-1][:series * parallel]
    top = np.concatenate(([0.0], np.cumsum(best)))
    low = np.concatenate(([0.0], np.cumsum(best[::-1])))
    found = [(top[-1] / series, 0, series)]
    for small in range(1, min(series * parallel, 4 * series) + 1):
        k = np.arange(-(-small // parallel), min(small, series) + 1)
        mean = (low[small] + top[k * parallel - small]) / k
        at = int(mean.argmax())
        found.append((mean[at], small, int(k[at])))
    return found


def tight_bound(units: np.ndarray, series: int, parallel: int) -> tuple[int, int, int]:
    """The bound in whole steps, and the j weakest modules and k groups that set it.

    Where the plain mean is not the tightest bound, one, two or three groups that hold the j
    weakest modules and the strongest others are split in every way.
    """
    best = np.sort(units)[::-1][:series * parallel]
    rough = [(math.floor(bound + 1e-9), j, k) for bound, j, k in _bounds(units, series, parallel)]
    tight = min(rough, key=lambda found: (found[0], -found[2]))
    if tight[1] == 0:
        return tight
    for _, small, _ in rough[1:MOST_WEAK + 1]:
        k = range(-(-small // parallel), min(small, series) + 1)
        here = max((critical(best, small, groups, parallel), small, groups) for groups in k)
        tight = min(tight, here, key=lambda found: found[0])
    return tight


def critical(best: np.ndarray, small: int, groups: int, parallel: int) -> int:
    """Highest weakest sum of `groups` groups of the weakest `small` and the strongest others."""
    count = groups * parallel - small
    members = np.concatenate([best[:count], best[len(best) - small:]])
    mean = math.floor(members.sum() / groups + 1e-9)
    if groups == 2 and parallel <= 7:
        first = members @ splits(parallel)
        return int(np.minimum(first, members.sum() - first).max())
    if groups == 3 and parallel <= 5:
        mask, rest = thirds(parallel)
        first = members @ mask
        second = members[rest] @ splits(parallel)
        third = members.sum() - first[:, None] - second
        return int(np.minimum(np.minimum(second, third), first[:, None]).max())
    return mean


def strings_bound(values: np.ndarray, series: int, parallel: int) -> float:
    """Highest sum of each string's weakest: the k-th string holds at most the kS-th module.

    Examples:
        >>> strings_bound(np.array([4.0, 3.0, 2.0, 1.0]), 2, 2)
        4.0
    """
    best = np.sort(np.asarray(values, dtype=float))[::-1]
    return float(best[series - 1:series * parallel:series].sum())
