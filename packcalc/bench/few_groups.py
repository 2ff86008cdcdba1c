"""Few groups of several modules, looked through: the hardest to serve chooses, two halves last.

Where every group must reach a floor and all together hold little above it, the module least
like the others has few sets of partners that neither fall short nor waste what the others need.
Those are listed (two halves of a set put together), and of what each leaves the next module
chooses; two groups at last are split in every way by one product of matrices. Nothing is left
out, so where no way is found there is none. Effort is counted in sums, never in seconds.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from packcalc.bench.dealing import weakest_sum
from packcalc.bench.exact import combinations

MOST_GROUPS = 12
AT_ONCE = 64  # sets whose rests are looked at in one product
A_LIST, TO_SORT = 5_000, 8  # sums that take as long as a list of sets, and as sorting a half


class _Work:
    """What may still be tried, and what was tried in vain."""

    def __init__(self, sums: int):
        self.left = sums
        self.failed: set[bytes] = set()


def best_of_few(units: np.ndarray, groups: np.ndarray, limit: int, grid: int,
                sums: int) -> tuple[np.ndarray, int, bool]:
    """The best grouping of these modules, the limit as far as it is proven, whether they meet.

    The limit is tried first; where that is out of reach it is lowered in growing steps, and
    what is left between is halved.

    Args:
        units: of each module, in whole steps.
        groups: (S, P) module numbers to begin with; P is 3 or more.
        limit: bound of the weakest group's sum.
        grid: steps by which sums of a group differ.
        sums: tried before it is given up.

    Examples:
        >>> units, any_way = np.array([9.0, 7, 6, 5, 4, 2]), np.array([[0, 1, 2], [3, 4, 5]])
        >>> found, limit, settled = best_of_few(units, any_way, 16, 1, 99_999)
        >>> sorted(units[found].sum(axis=1).tolist()), limit, settled
        ([16.0, 17.0], 16, True)
    """
    members = np.array(sorted(groups.ravel().tolist(), key=lambda m: (-units[m], m)))
    low, high, target = weakest_sum(units, groups), limit + grid, limit
    while high > low + grid and sums > 0:
        work = _Work(sums)
        rows = _dealt(units[members], groups.shape[1], float(target), work)
        sums = work.left
        if rows is not None:
            groups = members[rows]
            low = weakest_sum(units, groups)
            target = low + max(1, (high - low) // (2 * grid)) * grid
        elif sums > 0:
            high = target
            away = max(1, (limit - target) // (2 * grid)) * grid
            target = max(target - away, low + grid)
    return groups, max(low, high - grid), high <= low + grid


def _dealt(values: np.ndarray, parallel: int, floor: float, work: _Work) -> np.ndarray | None:
    """Groups that all reach the floor, as places; None where there are none or work is spent.

    Args:
        values: of the modules, strongest first.
        parallel: modules of a group.
        floor: that every group should hold.
        work: counted on.
    """
    count, places = len(values) // parallel, np.arange(len(values))
    room = float(values.sum()) - count * floor
    if room < 0 or values.tobytes() in work.failed:
        return None
    if count < 3:
        return (places[None, :] if count == 1 else
                _two_groups(values[None, :], places[None, :], parallel, floor, work))
    at = int(np.abs(values - values.mean()).argmax())
    others, need = np.delete(places, at), floor - float(values[at])
    sets = _sets(values[others], parallel - 1, need, need + room, work)
    for start in range(0, len(sets), AT_ONCE):
        some = others[sets[start:start + AT_ONCE]]
        kept = np.ones((len(some), len(values)), dtype=bool)
        kept[:, at] = False
        kept[np.arange(len(some))[:, None], some] = False
        rest = np.broadcast_to(places, kept.shape)[kept].reshape(len(some), -1)
        work.left -= rest.size
        able = _hopeful(values[rest], parallel, floor)
        if count == 3:
            below = _two_groups(values[rest[able]], rest[able], parallel, floor, work)
            if below is not None:
                return np.concatenate([np.setdiff1d(places, below)[None, :], below])
        else:
            for own, left in zip(some[able], rest[able], strict=True):
                below = _dealt(values[left], parallel, floor, work)
                if below is not None:
                    return np.concatenate([[[at, *own.tolist()]], left[below]])
                if work.left <= 0:
                    return None
        if work.left <= 0:
            return None
    if work.left > 0:
        work.failed.add(values.tobytes())
    return None


def _two_groups(values: np.ndarray, places: np.ndarray, parallel: int, floor: float,
                work: _Work) -> np.ndarray | None:
    """Two groups that both reach the floor, of every way to split every row."""
    halves = _halves(parallel)
    first = values @ halves
    work.left -= first.size
    found = np.argwhere((first >= floor) & (first <= values.sum(axis=1)[:, None] - floor))
    if not len(found):
        return None
    row, way = found[0]
    one = halves[:, way] > 0
    return np.array([places[row][one], places[row][~one]])


@lru_cache(maxsize=16)
def _halves(parallel: int) -> np.ndarray:
    """Every way to split 2P modules into two groups, as columns of 0 and 1."""
    chosen = combinations(2 * parallel - 1, parallel - 1) + 1
    columns = np.zeros((2 * parallel, len(chosen)))
    columns[0] = 1.0
    columns[chosen.T, np.arange(len(chosen))] = 1.0
    return columns


def _hopeful(values: np.ndarray, parallel: int, floor: float) -> np.ndarray:
    """Which rows may reach the floor in every group: law 2 of `bounds`."""
    top = np.concatenate([np.zeros((len(values), 1)), np.cumsum(values, axis=1)], axis=1)
    weak, groups = _weak_in_groups(values.shape[1] // parallel)
    held = (top[:, -1:] - top[:, values.shape[1] - weak])[:, :, None]
    held = held + top[:, np.maximum(groups * parallel - weak[:, None], 0)]
    reach = (held >= groups * floor) & (groups * parallel >= weak[:, None])
    return reach.any(axis=2).all(axis=1)


@lru_cache(maxsize=16)
def _weak_in_groups(count: int) -> tuple[np.ndarray, np.ndarray]:
    """The 1, 2, ... weakest modules, and for each in how many groups they may stand."""
    weak = np.arange(1, count + 1)
    return weak, np.minimum(weak[None, :], weak[:, None])


def _sets(values: np.ndarray, choose: int, least: float, most: float, work: _Work) -> np.ndarray:
    """Every set of so many modules whose sum lies between two limits, least waste first.

    None, and no work left, where to list them would take more than that.
    """
    half = choose // 2
    work.left -= A_LIST + TO_SORT * (math.comb(len(values), half)
                                     + math.comb(len(values), choose - half))
    if work.left > 0:
        first, second = combinations(len(values), half), combinations(len(values), choose - half)
        one, other = values[first].sum(axis=1), values[second].sum(axis=1)
        order = np.argsort(other, kind="stable")
        second, other = second[order], other[order]
        low = np.searchsorted(other, least - one, "left")
        ways = np.searchsorted(other, most - one, "right") - low
        work.left -= (total := int(ways.sum()))
    if work.left <= 0:
        return np.empty((0, choose), dtype=int)
    row = np.repeat(np.arange(len(first)), ways)
    column = np.arange(total) + np.repeat(low - np.cumsum(ways) + ways, ways)
    once = first[row, -1] < second[column, 0]  # each set is put together in one way alone
    row, column = row[once], column[once]
    rank = np.argsort(one[row] + other[column], kind="stable")
    return np.concatenate([first[row], second[column]], axis=1)[rank]
