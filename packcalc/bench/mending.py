"""What some groups lack is handed on from group to group until one has it to spare.

Where a dealing misses its limit by little, there are ways without number to reach it; what
is wanted is a quick way to one. So a group that is short is split anew with another, in any of
the ways that leave the least missing in both together. Often nothing is won by it; but the
shortage comes to another group, with other modules, and sooner or later beside one with some to
spare. What groups have to spare wanders in the same way. Effort is counted in steps, never in
seconds.
"""

from __future__ import annotations

import numpy as np

from packcalc.bench.search import splits

WAYS = 8_000  # to split the groups that are looked at in one step
GIVING = 0.2  # share of steps that begin from a group with some to spare
MOST_LOST = 2  # steps of capacity, to leave a dead end


def mended(units: np.ndarray, groups: np.ndarray, limit: float, rng: np.random.Generator,
           steps: int) -> np.ndarray:
    """The groups with the least missing, all together, that were seen on the way.

    Args:
        units: of each module, in whole steps.
        groups: (S, P) module numbers to begin with.
        limit: that every group should hold.
        rng: of the groups and ways taken.
        steps: before it is given up.

    Examples:
        >>> units, rng = np.array([9.0, 7, 6, 5, 4, 2]), np.random.default_rng(1)
        >>> found = mended(units, np.array([[0, 1, 2], [3, 4, 5]]), 16.0, rng, 20)
        >>> sorted(units[found].sum(axis=1).tolist())
        [16.0, 17.0]
    """
    groups, (series, parallel) = groups.copy(), groups.shape
    masks = splits(parallel)[:, 1:]  # the first leaves all as it is
    most = max(2, WAYS // masks.shape[1])
    spare = units[groups].sum(axis=1) - limit
    best, least = groups.copy(), np.inf
    for _ in range(steps if series > 1 else 0):
        short = np.flatnonzero(spare < 0)
        if (missing := -spare[short].sum()) <= least:
            best, least = groups.copy(), missing
        if not missing:
            break
        rich = np.flatnonzero(spare > 0)
        at = _any(rich if len(rich) and rng.random() < GIVING else short, rng)
        others = _others(spare, at, most, rng)
        both = np.concatenate([np.broadcast_to(groups[at], (len(others), parallel)),
                               groups[others]], axis=1)
        won = _won(units[both] @ masks - limit, spare[at], spare[others])
        if (most_won := won.max()) < -MOST_LOST:
            continue
        row, column = divmod(_any(np.flatnonzero(won == most_won), rng), won.shape[1])
        taken = masks[:, column] > 0
        for group, members in ((at, both[row][taken]), (int(others[row]), both[row][~taken])):
            groups[group] = members
            spare[group] = units[members].sum() - limit
    return best


def _won(first: np.ndarray, spare: float, beside: np.ndarray) -> np.ndarray:
    """How much less is missing in two groups together after each way to split them anew.

    Args:
        first: what the first group has to spare after each way; a row for each other group.
        spare, beside: what the first group and the others have to spare now.
    """
    second = (spare + beside)[:, None] - first
    won = np.minimum(first, 0.0)
    won += np.minimum(second, 0.0, out=second)
    won -= (min(spare, 0.0) + np.minimum(beside, 0.0))[:, None]
    return won


def _any(some: np.ndarray, rng: np.random.Generator) -> int:
    return int(some[rng.integers(len(some))])


def _others(spare: np.ndarray, at: int, most: int, rng: np.random.Generator) -> np.ndarray:
    """Some other groups, about half of them with something to spare."""
    order = rng.permutation(len(spare))
    order = order[order != at]
    if len(order) <= most:
        return order
    rich = order[spare[order] > 0][:most // 2]
    return np.concatenate([rich, order[:most - len(rich)]])
