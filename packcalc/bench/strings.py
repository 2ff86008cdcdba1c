"""Modules in strings: the sum of each string's weakest as high as possible.

Sorting and slicing solves it exactly; for pins see `pinned_strings`.
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from packcalc.bench.bounds import strings_bound
from packcalc.bench.dealing import (
    Assignment,
    Effort,
    Pins,
    counting_step,
    demand_enough,
)
from packcalc.bench.pinned_strings import best_pinned_strings

NARROWER = 1e-12  # Ω: an exchange that narrows less is none


def assign_strings(capacity: np.ndarray, resistance: np.ndarray | None, series: int,
                   parallel: int, *, pins: Pins = Pins(), effort: Effort = Effort()) -> Assignment:
    """Deal modules to P strings of S so that the sum of each string's weakest is highest.

    Sorted and sliced is the optimum: k strings whose weakest reaches a value hold k·S
    modules that reach it, so the k-th best string cannot beat module number k·S. With pins
    the floors of the strings are sought by flows; where that takes too long, the bound says how
    much higher another dealing might come.

    Args:
        capacity: of each module [C].
        resistance: of each module [Ω]; None leaves resistance out.
        series, parallel: P strings of S.
        pins: together and apart mean the same string; a place is string · S + position.
        effort: as for groups.

    Raises:
        UserError: fewer modules than places, or pins that cannot all be met.

    Examples:
        >>> found = assign_strings(np.array([50.0, 60, 55, 57]) * 3600, None, 2, 2)
        >>> found.value / 3600, found.proven
        (107.0, True)
    """
    capacity = np.asarray(capacity, dtype=float)
    demand_enough(len(capacity), series, parallel)
    step = counting_step(capacity)
    units = np.round(capacity / step)
    if pins:
        found = best_pinned_strings(units, series, parallel, pins)
        rows, bound, why = found.rows, found.bound, "no higher floors of the strings keep the pins"
    else:
        rows, bound = _slices(units, series, parallel), strings_bound(units, series, parallel)
        why = "sorted and sliced is optimal (each string's weakest at its own limit)"
    value = float(units[rows].min(axis=1).sum())
    proven = value >= bound
    if resistance is not None:
        rows = _even_strings(units, np.asarray(resistance, dtype=float), rows, pins)
    conductance, limit = _string_conductance(resistance, rows)
    spare = np.setdiff1d(np.arange(len(units)), rows.ravel())
    spare = spare[np.argsort(-units[spare], kind="stable")]
    return Assignment("strings", rows, spare, float(units[rows].min(axis=1).sum()) * step,
                      value * step, bound * step, proven,
                      why if proven else "not proven; the bound is", conductance, limit, step)


def _slices(units: np.ndarray, series: int, parallel: int) -> np.ndarray:
    order = np.argsort(-units, kind="stable")[:series * parallel]
    return order.reshape(parallel, series)


def _string_conductance(resistance: np.ndarray | None, rows: np.ndarray) -> tuple[float, float]:
    """Weakest string's conductance, and the mean string's as its bound."""
    if resistance is None:
        return math.nan, math.nan
    per_string = np.asarray(resistance, dtype=float)[rows].sum(axis=1)
    return float(1.0 / per_string.max()), float(1.0 / per_string.mean())


def _even_strings(units: np.ndarray, resistance: np.ndarray, rows: np.ndarray,
                  pins: Pins) -> np.ndarray:
    """Exchange modules between strings where no string's weakest is lowered and no pin broken.

    A module may change strings only where it still reaches the weakest there, so capacity
    stays at its optimum; each exchange narrows the two strings' difference in resistance.
    """
    rows, count = rows.copy(), len(rows)
    floors = units[rows].min(axis=1)
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
            return rows
        i, j = divmod(int(at[a, b]), rows.shape[1])
        rows[a, i], rows[b, j] = rows[b, j], rows[a, i]
        changed = (a, b)
    return rows


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
