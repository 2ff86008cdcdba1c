"""The best grouping of some modules, looked through with proof: weakest first, in windows.

Whoever must reach a target in every group has only so much to waste; the weakest module has
the fewest partners, so it chooses first. Effort is counted in sums, never in seconds.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from packcalc.bench.dealing import weakest_sum
from packcalc.bench.search import splits, thirds

EXACT_SUMS = 2_000_000  # sums tried before a proof is given up
SHARES = 4  # of the budget left: what one target gets
MOST_EXACT = {3: 48, 4: 96, 5: 45}  # modules whose groupings are looked through
FEW_EXACT = 16  # modules whose every grouping is looked through sooner than a search ends
WIDEST_AT_ONCE = 4
A_NODE = 200  # sums that take as long as one step of looking through
TIGHT = 2.0  # steps a group: the weakest with less room than that take no other partners
MOST_CHOICES, WIDEST_WINDOW = 500, 32  # partners tried for one weak module, of how many
SHORT = 1e9  # any waste is better than a group below the limit


def most_exact(parallel: int) -> int:
    """Modules whose groupings are looked through."""
    return MOST_EXACT.get(parallel, FEW_EXACT)


def best_grouping(units: np.ndarray, groups: np.ndarray, limit: int,
                  sums: int) -> tuple[np.ndarray, bool]:
    """The best grouping between the one given and the limit, and whether it is proven.

    The limit is tried first, then the half between; with few modules step by step, for each
    target within reach is found at once. A target that its share of the budget does not
    settle counts as out of reach, and is no proof.

    Args:
        units: of each module, in whole steps.
        groups: (S, P) module numbers to begin with.
        limit: bound of the weakest group's sum.
        sums: tried before a proof is given up.

    Examples:
        >>> units = np.array([9.0, 7, 6, 5, 4, 2])
        >>> found, proven = best_grouping(units, np.array([[0, 1, 2], [3, 4, 5]]), 16, EXACT_SUMS)
        >>> sorted(units[found].sum(axis=1).tolist()), proven
        ([16.0, 17.0], True)
    """
    parallel, few = groups.shape[1], groups.size <= FEW_EXACT
    order = np.array(sorted(groups.ravel().tolist(), key=lambda m: (-units[m], m)))
    low, high, settled = weakest_sum(units, groups), limit + 1, True
    target, share = (low + 1, 1) if few else (limit, SHARES)
    while high - low > 1:
        budget = [sums // share]
        found = _cover(units, order, parallel, float(target), budget, few)
        sums -= sums // share - max(budget[0], 0)
        if found is None:
            high, settled = target, budget[0] > 0
        else:
            groups = np.array(found)
            low = weakest_sum(units, groups)
        target = low + 1 if few else (low + high) // 2
    return groups, settled


def _cover(units: np.ndarray, rest: np.ndarray, parallel: int, floor: float,
           budget: list[int], strong: bool) -> list[list[int]] | None:
    """Split what is left, strongest first, into groups that all reach `floor`, or None.

    The weakest module chooses first, and of its partners those that waste the least. With
    `strong` the strongest does, and the last three groups are tried in all ways at once: less
    to look through where the target is far from what the weak leave room for.
    """
    if not len(rest):
        return []
    values = units[rest]
    if not _hopeful(values, parallel, floor):
        return None
    if strong and len(rest) == 3 * parallel and parallel <= WIDEST_AT_ONCE:
        budget[0] -= A_NODE
        return _three_groups(values, rest, parallel, floor)
    at = 0 if strong else len(rest) - 1
    others, held = np.delete(rest, at), np.delete(values, at)
    need = floor - values[at]
    most = held.sum() - (len(rest) // parallel - 1) * floor
    combos = combinations(int((held >= need - held[:parallel - 2].sum()).sum()), parallel - 1)
    budget[0] -= len(combos) + A_NODE
    if budget[0] <= 0:
        return None
    partners = held[combos].sum(axis=1)
    fits = np.flatnonzero((partners >= need) & (partners <= most))
    for row in combos[fits[np.argsort(partners[fits], kind="stable")]]:
        below = _cover(units, np.delete(others, row), parallel, floor, budget, strong)
        if below is not None:
            return [[int(rest[at]), *others[row].tolist()], *below]
        if budget[0] <= 0:
            return None
    return None


def _three_groups(values: np.ndarray, rest: np.ndarray, parallel: int,
                  floor: float) -> list[list[int]] | None:
    """Three groups that all reach `floor`, of every way to split what is left, or None."""
    (mask, after), halves = thirds(parallel), splits(parallel)
    first = values @ mask
    able = np.flatnonzero(first >= floor)
    second = values[after[able]] @ halves
    third = values.sum() - first[able, None] - second
    reach = np.argwhere((second >= floor) & (third >= floor))
    if not len(reach):
        return None
    row, column = able[reach[0, 0]], halves[:, reach[0, 1]] > 0
    left = rest[after[row]]
    return [rest[mask[:, row] > 0].tolist(), left[column].tolist(), left[~column].tolist()]


def weakest_first(units: np.ndarray, order: np.ndarray, limit: float,
                  parallel: int) -> np.ndarray:
    """One dealing without a step back: the weakest module takes what just reaches the limit.

    Its partners stand side by side in the order of strength, so that the strongest and the
    next weak ones lose nothing by it. Where the j weakest need almost all of the strongest
    (law 2 of `bounds`), they take no others.

    Args:
        units: of each module, in whole steps.
        order: module numbers, strongest first.
        limit: that every group should hold.
        parallel: modules of a group, 2 or more.

    Returns:
        (S, P) module numbers; the limit may be missed.

    Examples:
        >>> units = np.array([90.0, 70, 60, 50, 40, 20])
        >>> dealt = weakest_first(units, np.arange(6), 160.0, 3)
        >>> units[dealt].sum(axis=1).tolist()
        [160.0, 170.0]
    """
    series, beside = len(order) // parallel, parallel - 1
    strong, tight = units[order[:beside * series]], tight_ends(units[order], limit, parallel)
    free, rows = np.ones(len(strong), dtype=bool), []
    for i in range(series):
        able = np.flatnonzero(free[:beside * int(tight[np.searchsorted(tight, i + 1)])])
        weak = order[len(order) - 1 - i]
        taken = able[_partners(strong[able], limit - units[weak], beside)]
        free[taken] = False
        rows.append([*order[taken].tolist(), int(weak)])
    return np.array(rows)


def tight_ends(values: np.ndarray, limit: float, parallel: int) -> np.ndarray:
    """Counts of the weakest that need all of the strongest partners; at last all groups.

    Args:
        values: of the modules, strongest first.
        limit: that every group should hold.
        parallel: modules of a group.

    Examples:
        >>> tight_ends(np.array([9.0, 8, 7, 6, 3, 1]), 10.0, 2).tolist()
        [1, 2, 3]
    """
    series = len(values) // parallel
    count = np.arange(1, series + 1)
    held = np.cumsum(values[::-1])[:series] + np.cumsum(values)[(parallel - 1) * count - 1]
    return np.append(count[:-1][(held - count * limit <= TIGHT * count)[:-1]], series)


def _partners(values: np.ndarray, need: float, choose: int) -> np.ndarray:
    """Some of `values` (falling) that reach `need` with the least waste, or come nearest.

    Neighbours where they do without waste; else the best of them and of some from all along.
    """
    wide = min(window_width(choose), len(values))
    reach = int(np.searchsorted(-values, -need / choose)) - choose // 2
    start = min(max(0, reach - (wide - choose) // 2), len(values) - wide)
    taken, waste = _least_waste(values, start + np.arange(wide), need, choose)
    if waste > 0 and wide < len(values):
        spread = np.linspace(0, len(values) - 1, wide).astype(int)
        other, less = _least_waste(values, spread, need, choose)
        taken = other if less < waste else taken
    return taken


def _least_waste(values: np.ndarray, places: np.ndarray, need: float,
                 choose: int) -> tuple[np.ndarray, float]:
    combos, mask = _windows(len(places), choose)
    waste = values[places] @ mask - need
    waste[waste < 0] *= -SHORT
    at = int(waste.argmin())
    return places[combos[at]], float(waste[at])


@lru_cache(maxsize=64)
def _windows(count: int, choose: int) -> tuple[np.ndarray, np.ndarray]:
    """Every choice, as rows of places and as columns of 0 and 1."""
    combos = combinations(count, choose)
    mask = np.zeros((count, len(combos)))
    mask[combos.T, np.arange(len(combos))] = 1.0
    return combos, mask


@lru_cache(maxsize=64)
def window_width(choose: int) -> int:
    """How many neighbours give about as many choices as can be tried for every group."""
    return max((n for n in range(choose, WIDEST_WINDOW + 1)
                if math.comb(n, choose) <= MOST_CHOICES), default=choose)


def _hopeful(values: np.ndarray, parallel: int, floor: float) -> bool:
    """Whether the weakest can reach `floor` beside the strongest others: law 2 of `bounds`."""
    weak, groups, others = _few_groups(len(values) // parallel, parallel)
    low, top = (np.concatenate(([0.0], np.cumsum(v))) for v in (values[::-1], values))
    reach = (low[weak] + top[np.maximum(others, 0)] >= groups * floor) & (others >= 0)
    return bool((reach & (groups <= weak)).any(axis=1).all())


@lru_cache(maxsize=64)
def _few_groups(count: int, parallel: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The j weakest, in k groups, beside how many others."""
    weak, groups = np.arange(1, count + 1)[:, None], np.arange(1, count + 1)[None, :]
    return weak, groups, groups * parallel - weak


@lru_cache(maxsize=64)
def combinations(count: int, choose: int) -> np.ndarray:
    """Every choice of some numbers below `count`, one row each.

    Examples:
        >>> combinations(4, 3).tolist()
        [[1, 2, 3], [0, 2, 3], [0, 1, 3], [0, 1, 2]]
    """
    if count == choose:
        return np.arange(count)[None, :]
    if 2 * choose > count:  # by what each leaves out: far fewer rows on the way
        kept = np.ones((math.comb(count, choose), count), dtype=bool)
        np.put_along_axis(kept, combinations(count, count - choose), False, axis=1)
        return np.nonzero(kept)[1].reshape(-1, choose)
    found = np.arange(count)[:, None]
    for _ in range(choose - 1):
        more = count - 1 - found[:, -1]
        rows = np.repeat(found, more, axis=0)
        after = np.arange(len(rows)) - np.repeat(np.cumsum(more) - more, more)
        found = np.column_stack([rows, rows[:, -1] + 1 + after])
    return found
