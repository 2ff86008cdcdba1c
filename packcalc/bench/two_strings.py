"""Two strings dealt anew at once, with spare modules, where no single exchange evens them.

The most resistive string and another one: in every way where they are short; else two modules
change places with two, or one comes from the other string, which takes a spare one instead.
Every string keeps its floor, so capacity stays at its optimum.
"""

from __future__ import annotations

import numpy as np

from packcalc.bench.dealing import Pins
from packcalc.bench.few_strings import MOST_DEALINGS, count_dealings, every_dealing

NEAR = 5e-4  # of the least: no meter tells finer
LEAST_WON = 1e-12  # Ω: less is rounding
MOST_BESIDE = 12  # other strings that are tried beside the most resistive one
MOST_PLACES = 64  # of each string, whose pairs are tried
MOST_TURNS = 100


def dealt_by_twos(units: np.ndarray, resistance: np.ndarray, rows: np.ndarray,
                  floors: np.ndarray, pins: Pins, least: float = 0.0) -> np.ndarray:
    """The strings, as long as two of them can lower the highest resistance.

    Args:
        units, resistance: of each module.
        rows: modules, string by string; pinned ones stay where they are.
        floors: that each string keeps.
        pins: that the rows keep.
        least: what is known that the most resistive string cannot come below [Ω].

    Examples:
        >>> r = np.array([3.0, 3, 2, 2, 1, 4, 4, 5])
        >>> rows = np.array([[0, 1, 2, 3], [4, 5, 6, 7]])
        >>> even = dealt_by_twos(np.ones(8), r, rows, np.ones(2), Pins())
        >>> r[even].sum(axis=1).tolist()
        [12.0, 12.0]
    """
    rows, free = rows.copy(), _unpinned(len(units), pins)
    for _ in range(MOST_TURNS):
        totals = resistance[rows].sum(axis=1)
        worst = int(totals.argmax())
        if totals[worst] <= least * (1.0 + NEAR):
            return rows
        others = np.argsort(totals, kind="stable")
        best = (float(totals[worst]) - LEAST_WON, worst, rows[[worst, worst]])
        for other in others[others != worst][:MOST_BESIDE].tolist():
            two = [worst, other]
            new = _anew(units, resistance, rows, two, floors, free)
            highest = float(resistance[new].sum(axis=1).max())
            if highest < best[0]:
                best = (highest, other, new)
        if best[1] == worst:
            return rows
        rows[[worst, best[1]]] = best[2]
    return rows


def _unpinned(count: int, pins: Pins) -> np.ndarray:
    free = np.ones(count, dtype=bool) if pins.allowed is None else pins.allowed.all(axis=1)
    free[[m for some in (*pins.together, *pins.apart) for m in some]] = False
    return free


def _anew(units: np.ndarray, resistance: np.ndarray, rows: np.ndarray, two: list[int],
          floors: np.ndarray, free: np.ndarray) -> np.ndarray:
    """The best new rows of two strings that were found."""
    spare = np.setdiff1d(np.flatnonzero(free), rows)
    spare = spare[np.argsort(resistance[spare], kind="stable")]
    if free[rows[two]].all() and (
            count_dealings(rows[two].size, rows.shape[1], 2) <= MOST_DEALINGS):
        return _every_way(units, resistance, rows[two], spare, floors[two])
    found = [_exchanged_twos(units, resistance, rows[two], floors[two], free)]
    for a, b in (two, two[::-1]):
        found += _with_spare(units, resistance, (rows[a], rows[b]), spare,
                             (floors[a], floors[b]), free, turned=(a, b) != tuple(two))
    return min(found, key=lambda new: float(resistance[new].sum(axis=1).max()))


def _every_way(units: np.ndarray, resistance: np.ndarray, two: np.ndarray, spare: np.ndarray,
               floors: np.ndarray) -> np.ndarray:
    """Two short strings with as many spare modules as leave few ways, in every way."""
    series, high = two.shape[1], int(floors.argmax())
    able = spare[units[spare] >= floors.min()]
    above = able[units[able] >= floors.max()]
    pool = two.ravel()
    # in turns one that serves both, and one of least resistance that serves one
    for m in dict.fromkeys(m for pair in zip(above, able) for m in pair) or able.tolist():
        if count_dealings(len(pool) + 1, series, 2) > MOST_DEALINGS:
            break
        pool = np.append(pool, m)
    ways = pool[every_dealing(len(pool), series, 2)]
    weakest = units[ways].min(axis=2)
    fits = (weakest.max(axis=1) >= floors.max()) & (weakest.min(axis=1) >= floors.min())
    ways, weakest = ways[fits], weakest[fits]
    totals = resistance[ways].sum(axis=2)
    way = int(np.lexsort((totals.sum(axis=1), totals.max(axis=1)))[0])
    new = ways[way]
    stronger = int(weakest[way].argmax())
    return new[[stronger, 1 - stronger]] if high == 0 else new[[1 - stronger, stronger]]


def _exchanged_twos(units: np.ndarray, resistance: np.ndarray, two: np.ndarray,
                    floors: np.ndarray, free: np.ndarray) -> np.ndarray:
    """Two modules of one string for two of the other, nearest to even."""
    places, pairs, sums = [], [], []
    for row, floor in zip(two, floors[::-1], strict=True):
        able = np.flatnonzero(free[row] & (units[row] >= floor))
        able = able[np.linspace(0, len(able) - 1, min(MOST_PLACES, len(able))).astype(int)]
        one, other = np.triu_indices(len(able), 1)
        places.append(able)
        pairs.append(np.stack([able[one], able[other]], axis=1))
        sums.append(resistance[row[able[one]]] + resistance[row[able[other]]])
    if not (len(sums[0]) and len(sums[1])):
        return two
    apart = float(resistance[two[0]].sum() - resistance[two[1]].sum())
    order = np.argsort(sums[1], kind="stable")
    wanted = sums[0] - apart / 2.0
    at = np.searchsorted(sums[1][order], wanted)
    near = np.stack([np.clip(at - 1, 0, len(order) - 1), np.clip(at, 0, len(order) - 1)])
    off = np.abs(sums[1][order][near] - wanted)
    which, i = divmod(int(off.argmin()), off.shape[1])
    out, into = pairs[0][i], pairs[1][order[near[which, i]]]
    new = two.copy()
    new[0, out], new[1, into] = two[1, into], two[0, out]
    return new


def _with_spare(units: np.ndarray, resistance: np.ndarray, two: tuple[np.ndarray, np.ndarray],
                spare: np.ndarray, floors: tuple[float, float], free: np.ndarray,
                turned: bool) -> list[np.ndarray]:
    """The first gives a module away, the second one to the first, and takes a spare one."""
    (first, second), (floor, other) = two, floors
    able = spare[units[spare] >= other]
    out = np.flatnonzero(free[first])
    moved = np.flatnonzero(free[second] & (units[second] >= floor))
    if not (len(able) and len(out) and len(moved)):
        return []
    new = int(able[0])  # the least resistive one
    one = (resistance[first].sum() - resistance[first[out]][:, None]
           + resistance[second[moved]][None, :])
    two_ = resistance[second].sum() - resistance[second[moved]] + resistance[new]
    highest = np.maximum(one, two_[None, :])
    i, j = divmod(int(highest.argmin()), len(moved))
    a, b = first.copy(), second.copy()
    a[out[i]], b[moved[j]] = second[moved[j]], new
    return [np.array([b, a] if turned else [a, b])]
