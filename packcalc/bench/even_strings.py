"""Resistance of strings as even as can be, where no string's weakest capacity is lowered.

Strings by falling floor hold, the k best of them, k·S modules that reach the k-th floor. Which
modules the strings from number j up to number k may hold at once, so that the others can still
be filled, is bounded by caps on nested or disjoint sets (a laminar matroid): taking the least
resistances that keep the caps gives the least sum there is, and no string of those lies below
their mean all together.
"""

from __future__ import annotations

import itertools

import numpy as np

from packcalc.bench.bounds import ROUNDING
from packcalc.bench.dealing import Pins
from packcalc.bench.two_strings import dealt_by_twos

NARROWER = 1e-12  # Ω: an exchange that narrows less is none
WIDEST = 2  # neighbouring strings whose mean is looked at, besides that of all


def least_modules(units: np.ndarray, resistance: np.ndarray, limits: np.ndarray, series: int,
                  span: tuple[int, int]) -> np.ndarray:
    """Modules of least resistance that the strings of this span may hold together.

    Args:
        units: capacity of each module, in steps.
        resistance: of each module [Ω].
        limits: falling; the k-th best string reaches the k-th of them.
        series: modules of a string.
        span: first string and the one after the last.

    Examples:
        >>> units, r = np.array([9.0, 9, 9, 5, 5]), np.array([3.0, 2, 1, 8, 9])
        >>> least_modules(units, r, np.array([9.0, 5.0]), 2, (0, 2)).tolist()
        [2, 1, 0, 3]
        >>> least_modules(units, r, np.array([9.0, 5.0]), 2, (1, 2)).tolist()
        [2, 3]
    """
    first, end = span
    level = np.searchsorted(-limits, -units, side="left")  # the best string that it may stand in
    reach = np.searchsorted(-np.sort(units)[::-1], -limits, side="right")
    own = np.arange(1, len(limits) + 1) * series
    # Above the span: what the better strings can spare. Within it: room below each floor.
    caps = np.where(np.arange(len(limits)) < first, reach - own, end * series - own)
    closed = np.flatnonzero(caps[:first] <= 0)
    lowest = int(closed[-1]) + 1 if len(closed) else 0
    order = np.lexsort((-units, resistance))
    found: list[int] = []
    for m in order[(level[order] >= lowest) & (level[order] < end)].tolist():
        counted = caps[min(level[m], first):max(level[m], first)]
        if counted.min(initial=1) > 0:
            counted -= 1
            found.append(m)
            if len(found) == (end - first) * series:
                break
    return np.array(found)


def conductance_bound(units: np.ndarray, resistance: np.ndarray, limits: np.ndarray,
                      series: int, held: float) -> float:
    """No strings that hold this sum of weakest ones conduct more in every string [S].

    Args:
        units, resistance, series: as for `least_modules`.
        limits: what the k-th best string holds at most, in steps, whatever is dealt.
        held: sum of each string's weakest that is kept: what it lies below the sum of the
            limits, any one string may lie below its own.

    Examples:
        >>> r = np.array([12.0, 12, 12, 12, 8, 8]) / 1e3  # one of 8 and one of 12 in each
        >>> round(1e3 / conductance_bound(np.full(6, 90.0), r, np.array([90.0, 90.0]), 2, 180.0), 9)
        20.0
    """
    count = len(limits)
    floors = limits - max(float(limits.sum()) - held, 0.0)
    spans = [(a, a + width) for width in {*range(1, min(WIDEST, count) + 1), count}
             for a in range(count - width + 1)]
    means = [float(resistance[least_modules(units, resistance, floors, series, span)].sum())
             / (span[1] - span[0]) for span in spans]
    return (1.0 + ROUNDING) / max(means)


def even_strings(units: np.ndarray, resistance: np.ndarray, rows: np.ndarray,
                 pins: Pins, least: float = 0.0) -> np.ndarray:
    """Exchange modules between strings, or with spare ones, where no weakest is lowered.

    A module may change strings only where it still reaches the weakest there, and only where
    the pins allow, so capacity stays at its optimum; each exchange narrows the two strings'
    difference in resistance, or lowers the resistance of one.

    Args:
        units, resistance: of each module.
        rows: modules, string by string.
        pins: that the rows keep.
        least: what is known that the most resistive string cannot come below [Ω].
    """
    rows = rows.copy()
    floors = units[rows].min(axis=1)
    while True:
        _even(units, resistance, rows, floors, pins)
        while _take_spares(units, resistance, rows, floors, pins):
            _even(units, resistance, rows, floors, pins)
        highest = float(resistance[rows].sum(axis=1).max())
        rows = dealt_by_twos(units, resistance, rows, floors, pins, least)
        if float(resistance[rows].sum(axis=1).max()) >= highest - NARROWER:
            return rows


def _even(units: np.ndarray, resistance: np.ndarray, rows: np.ndarray, floors: np.ndarray,
          pins: Pins) -> None:
    """Exchanges between strings, the one that narrows most first, until none is left."""
    count = len(rows)
    narrowed, at = np.full((count, count), -np.inf), np.zeros((count, count), dtype=int)
    changed = range(count)
    for _ in range(rows.size * 4):
        totals = resistance[rows].sum(axis=1)
        for a, b in ((a, b) for a, b in itertools.permutations(range(count), 2)
                     if a in changed or b in changed):
            narrowed[a, b], at[a, b] = (_best_exchange(
                units, resistance, rows[[a, b]], floors[[a, b]],
                _keeps_pins(rows, (a, b), pins)) if totals[a] > totals[b] else (-np.inf, 0))
        a, b = divmod(int(narrowed.argmax()), count)
        if narrowed[a, b] <= NARROWER:
            return
        i, j = divmod(int(at[a, b]), rows.shape[1])
        rows[a, i], rows[b, j] = rows[b, j], rows[a, i]
        changed = (a, b)


def _take_spares(units: np.ndarray, resistance: np.ndarray, rows: np.ndarray, floors: np.ndarray,
                 pins: Pins) -> bool:
    """Spare modules of less resistance take places, the most resistive string first."""
    spare = np.setdiff1d(np.arange(len(units)), rows)
    taken = False
    for a in np.argsort(-resistance[rows].sum(axis=1), kind="stable").tolist():
        while len(spare):
            fits = (units[spare] >= floors[a])[None, :] & _admits(rows[a], a, spare, pins)
            lowered = np.where(fits, resistance[rows[a]][:, None] - resistance[spare], -np.inf)
            i, j = divmod(int(lowered.argmax()), len(spare))
            if lowered[i, j] <= NARROWER:
                break
            rows[a, i], spare[j], taken = spare[j], rows[a, i], True
    return taken


def _admits(row: np.ndarray, string: int, spare: np.ndarray, pins: Pins) -> np.ndarray:
    """Which spare modules may take which places of a string: (position, spare)."""
    blocks = [i for own in pins.together for i in own]
    admits = ~np.isin(row, blocks)[:, None] & ~np.isin(spare, blocks)[None, :]
    if pins.allowed is not None:
        admits &= pins.allowed[np.ix_(spare, np.arange(len(row)) + string * len(row))].T
    for pair in pins.apart:
        for x, y in (pair, pair[::-1]):
            if y in row:
                admits[np.ix_(row != y, spare == x)] = False
    return admits


def _keeps_pins(rows: np.ndarray, two: tuple[int, int], pins: Pins) -> np.ndarray | bool:
    """Which exchanges between two strings keep every pin: (position in one, in the other)."""
    if not pins:
        return True
    one, other = rows[two[0]], rows[two[1]]
    blocks = [i for own in pins.together for i in own]
    keeps = ~np.isin(one, blocks)[:, None] & ~np.isin(other, blocks)[None, :]
    if pins.allowed is not None:
        here, there = (np.arange(len(one)) + string * len(one) for string in two)
        keeps &= pins.allowed[np.ix_(one, there)] & pins.allowed[np.ix_(other, here)].T
    for pair in pins.apart:
        for x, y in (pair, pair[::-1]):
            # Where x moves to the string of y, y has to leave it in the same exchange.
            keeps[np.ix_(one == x, other != y)] &= y not in other
            keeps[np.ix_(one != y, other == x)] &= y not in one
    return keeps


def _best_exchange(units: np.ndarray, resistance: np.ndarray, rows: np.ndarray, floors: np.ndarray,
                   keeps: np.ndarray | bool) -> tuple[float, int]:
    """By how much one exchange narrows the difference of two strings most, and which one."""
    first, second = resistance[rows]
    apart = first.sum() - second.sum()
    left = np.abs(apart - 2.0 * (first[:, None] - second[None, :]))
    fits = (units[rows[0]][:, None] >= floors[1]) & (units[rows[1]][None, :] >= floors[0]) & keeps
    narrowed = np.where(fits, abs(apart) - left, -np.inf)
    return float(narrowed.max()), int(narrowed.argmax())
