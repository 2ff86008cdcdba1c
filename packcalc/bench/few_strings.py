"""Strings of few modules, every dealing looked at: the least resistance at the same capacity."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from packcalc.bench.dealing import Pins, match
from packcalc.bench.exact import combinations

MOST_DEALINGS = 20_000
ROUNDING = 1e-9  # of a step: whole steps are summed
DIGITS = 12  # of an ohm: finer differences are rounding


def most_even(units: np.ndarray, resistance: np.ndarray, rows: np.ndarray,
              pins: Pins) -> np.ndarray | None:
    """The strings of least highest resistance that hold as much; None: too many dealings.

    Args:
        units, resistance: of each module.
        rows: modules, string by string, that keep the pins.
        pins: to be kept.

    Examples:
        >>> units, r = np.array([9.0, 8, 8, 8, 7]), np.array([5.0, 2, 7, 3, 6])
        >>> most_even(units, r, np.array([[0, 1], [2, 3]]), Pins()).tolist()
        [[0, 3], [1, 2]]
        >>> most_even(units, r, np.array([[1, 2], [3, 4]]), Pins()).tolist()
        [[0, 3], [1, 4]]
    """
    parallel, series = rows.shape
    if count_dealings(len(units), series, parallel) > MOST_DEALINGS:
        return None
    every = every_dealing(len(units), series, parallel)
    held = units[every].min(axis=2).sum(axis=1)
    every = every[(held >= units[rows].min(axis=1).sum() - ROUNDING)]
    every = every[_keep(every, pins, len(units))]
    totals = np.round(resistance[every].sum(axis=2), DIGITS)
    total = np.round(resistance[every].sum(axis=(1, 2)), DIGITS)
    for way in np.lexsort((np.ptp(totals, axis=1), total, totals.max(axis=1))):
        placed = _placed(every[way], units, pins)
        if placed is not None:
            return placed
    return rows


def count_dealings(count: int, series: int, parallel: int) -> int:
    """In how many ways some modules make strings, whatever their order.

    Examples:
        >>> count_dealings(7, 2, 3)
        105
    """
    used = series * parallel
    return math.comb(count, used) * math.factorial(used) // (
        math.factorial(series) ** parallel * math.factorial(parallel))


@lru_cache(maxsize=16)
def every_dealing(count: int, series: int, parallel: int) -> np.ndarray:
    """(dealings, P, S) module numbers.

    Examples:
        >>> every_dealing(4, 2, 2).tolist()
        [[[0, 1], [2, 3]], [[0, 2], [1, 3]], [[0, 3], [1, 2]]]
    """
    used = series * parallel
    ways, left = np.empty((1, 0), dtype=int), np.arange(used)[None, :]
    for _ in range(parallel):  # the first that is left, beside any others
        others = np.arange(1, left.shape[1])
        sets = (others[np.sort(combinations(len(others), series - 1), axis=1)] if series > 1
                else np.empty((1, 0), dtype=int))
        sets = np.concatenate([np.zeros((len(sets), 1), dtype=int), sets], axis=1)
        sets = sets[np.lexsort(sets.T[::-1])]
        rest = np.array([np.setdiff1d(np.arange(left.shape[1]), own) for own in sets], dtype=int)
        ways = np.concatenate([np.repeat(ways, len(sets), axis=0),
                               left[:, sets].reshape(-1, series)], axis=1)
        left = left[:, rest].reshape(len(ways), -1)
    chosen = np.sort(combinations(count, used), axis=1)
    return chosen[:, ways].reshape(-1, parallel, series)


def _keep(every: np.ndarray, pins: Pins, count: int) -> np.ndarray:
    """Which dealings keep together and apart what has to be."""
    string = np.full((len(every), count), -1)
    for k in range(every.shape[1]):
        np.put_along_axis(string, every[:, k, :], k, axis=1)
    keep = np.ones(len(every), dtype=bool)
    for block in pins.together:
        keep &= (string[:, list(block)] == string[:, [block[0]]]).all(axis=1)
    for one, other in pins.apart:
        keep &= (string[:, one] != string[:, other]) | (string[:, one] < 0)
    return keep


def _placed(rows: np.ndarray, units: np.ndarray, pins: Pins) -> np.ndarray | None:
    """The strings, strongest first, or where the pins allow them; None where they do not."""
    rows = rows[np.argsort(-units[rows].min(axis=1), kind="stable")]
    if pins.allowed is None:
        return rows
    parallel, series = rows.shape
    fits = [[match(pins.allowed[row][:, k * series:(k + 1) * series]) for k in range(parallel)]
            for row in rows]
    strings = match(np.array([[fit is not None for fit in row] for row in fits]))
    if strings is None:
        return None
    placed = np.empty_like(rows)
    for row, string, own in zip(rows, strings, fits, strict=True):
        placed[string, own[string]] = row
    return placed
