"""Who of the weakest stands with whom: a bound for few groups, tighter than any mean.

Five weak modules in four groups: two of them share one, and even the strongest others lift that
group only so far. Laws 1 and 2 of `bounds` do not see it, for they let the weak choose how many
groups they take; law 7 sees one such choice at a time. Here the modules least like the others,
weak ones and giants, are allotted to groups one after the other, in every way that differs; of
each way any k groups hold at most what they hold already and the strongest others in the places
that are left. Ways that come no higher than a dealing that is known are dropped. The best of the
others is a bound; where none is left, that dealing is the optimum.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from packcalc.bench.exact import combinations

MOST_WAYS = 500  # of which the next module is allotted
MOST_ALLOTTED = 7  # groups: of more the subsets are too many
WHOLE = 1e-9  # of a step


def allotment_bound(best: np.ndarray, series: int, parallel: int, known: int) -> int:
    """No dealing lifts the weakest group above this; `known` where that is the optimum.

    Args:
        best: the S·P modules that are used, strongest first, in whole steps.
        series, parallel: S groups of P.
        known: what the weakest group of some dealing holds.

    Examples:
        >>> best = np.array([9.0, 9, 9, 9, 9, 9, 9, 5, 5, 5])
        >>> allotment_bound(best, 2, 5, 36), allotment_bound(best, 2, 5, 37)
        (37, 37)
    """
    some, size = _subsets(series)
    counts, held = np.zeros((1, series)), np.zeros((1, series))
    bound = math.floor(float(best.sum()) / series + WHOLE)
    pairs: dict[tuple[int, int, float, float], float] = {}
    left = np.sort(best)[::-1].astype(float)
    while len(left) > parallel:
        at = int(np.abs(left - left.mean()).argmax())
        if left[at] > left.mean():
            pairs.clear()  # they held the strongest
        counts, held = _allotted(counts, held, float(left[at]), parallel)
        left = np.delete(left, at)
        top = np.concatenate(([0.0], np.cumsum(left)))
        places = (size * parallel - counts @ some).astype(int)
        means = (held @ some + top[places]) / size
        limits = np.floor(means.min(axis=1) + WHOLE)
        tightest = means.argmin(axis=1)
        for way in np.flatnonzero((size[tightest] == 2) & (limits > known)):
            one, other = np.flatnonzero(some[:, tightest[way]])
            pair = (*(int(counts[way, g]) for g in (one, other)),
                    *(float(held[way, g]) for g in (one, other)))
            if pair not in pairs:
                pairs[pair] = _best_pair(left, parallel, *pair)
            limits[way] = pairs[pair]
        hopeful = limits > known
        if not hopeful.any():
            return known
        counts, held = counts[hopeful], held[hopeful]
        bound = min(bound, int(limits.max()))
        if len(counts) > MOST_WAYS:
            break
    return bound


def _allotted(counts: np.ndarray, held: np.ndarray, value: float,
              parallel: int) -> tuple[np.ndarray, np.ndarray]:
    """One more module in every group of every way; ways that differ by order alone are one."""
    ways, series = counts.shape
    counts, held = np.repeat(counts, series, axis=0), np.repeat(held, series, axis=0)
    row, group = np.arange(len(counts)), np.tile(np.arange(series), ways)
    counts[row, group] += 1.0
    held[row, group] += value
    room = counts[row, group] <= parallel
    counts, held = counts[room], held[room]
    order = np.lexsort((held, counts), axis=1)
    counts, held = (np.take_along_axis(x, order, axis=1) for x in (counts, held))
    both = np.concatenate([counts, held], axis=1)
    rank = np.lexsort(both.T)
    new = np.append(True, (np.diff(both[rank], axis=0) != 0).any(axis=1))
    return counts[rank[new]], held[rank[new]]


def _best_pair(best: np.ndarray, parallel: int, one: int, other: int, held: float,
               beside: float) -> float:
    """The weaker of two groups, filled with the strongest others in the best of all ways.

    Args:
        best: modules, strongest first.
        parallel: modules of a group.
        one, other: how many each holds already.
        held, beside: what each holds already.
    """
    if one == parallel:
        one, other, held, beside = other, one, beside, held
    strongest = best[:2 * parallel - one - other]
    ways = combinations(len(strongest), parallel - one) if len(strongest) else np.empty((1, 0), int)
    first = held + strongest[ways].sum(axis=1)
    both = held + beside + float(strongest.sum())
    return float(np.minimum(first, both - first).max())


@lru_cache(maxsize=16)
def _subsets(series: int) -> tuple[np.ndarray, np.ndarray]:
    """Every choice of some groups, as columns of 0 and 1, and how many they are."""
    some = (np.arange(1, 2 ** series)[None, :] >> np.arange(series)[:, None]) & 1
    return some.astype(float), some.sum(axis=0).astype(float)
