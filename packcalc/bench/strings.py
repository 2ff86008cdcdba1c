"""Modules in strings: the sum of each string's weakest as high as possible.

Sorting and slicing solves it exactly; for pins see `pinned_strings`, for resistance
`even_strings`.
"""

from __future__ import annotations

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
from packcalc.bench.even_strings import conductance_bound, even_strings, least_modules
from packcalc.bench.few_strings import most_even
from packcalc.bench.pinned_strings import Found, best_pinned_strings


def assign_strings(capacity: np.ndarray, resistance: np.ndarray | None, series: int,
                   parallel: int, *, pins: Pins = Pins(), effort: Effort = Effort()) -> Assignment:
    """Deal modules to P strings of S so that the sum of each string's weakest is highest.

    Sorted and sliced is the optimum: k strings whose weakest reaches a value hold k·S
    modules that reach it, so the k-th best string cannot beat module number k·S. With pins
    the floors of the strings are sought by flows; where that takes too long, the bound says how
    much higher another dealing might come. Of modules that serve as well those of least
    resistance are taken, and exchanged until no exchange makes two strings more even; of few
    modules every dealing is looked at.

    Args:
        capacity: of each module [C].
        resistance: of each module [Ω]; None leaves resistance out.
        series, parallel: P strings of S.
        pins: together and apart mean the same string; a place is string · S + position.
        effort: as for groups.

    Raises:
        UserError: fewer modules than places, pins that cannot all be met, or pins for which no
            dealing was found.

    Examples:
        >>> found = assign_strings(np.array([50.0, 60, 55, 57]) * 3600, None, 2, 2)
        >>> found.value / 3600, found.proven
        (107.0, True)
    """
    capacity = np.asarray(capacity, dtype=float)
    demand_enough(len(capacity), series, parallel)
    step = counting_step(capacity)
    units = np.round(capacity / step)
    if resistance is not None:
        resistance = np.asarray(resistance, dtype=float)
    if pins:
        found = best_pinned_strings(units, series, parallel, pins, resistance)
        why = "no higher floors of the strings keep the pins"
    else:
        found = _sorted_and_sliced(units, series, parallel, resistance)
        why = "sorted and sliced is optimal (each string's weakest at its own limit)"
    rows, conductance, limit = found.rows, math.nan, math.nan
    if resistance is not None:
        limit = conductance_bound(units, resistance, np.array(found.limits), series,
                                  float(units[rows].min(axis=1).sum()))
        # Blocks may stand in the way of evening where the least resistance begins.
        starts = [found.rows, found.least] if pins else [found.least]
        evened = [even_strings(units, resistance, start, pins, 1.0 / limit) for start in starts]
        rows = min(evened, key=lambda own: float(resistance[own].sum(axis=1).max()))
        best = most_even(units, resistance, rows, pins)
        rows = rows if best is None else best
        conductance = 1.0 / float(resistance[rows].sum(axis=1).max())
        limit = limit if best is None else conductance
    value = float(units[rows].min(axis=1).sum())
    bound = max(value, found.bound)
    proven = value >= bound
    spare = np.setdiff1d(np.arange(len(units)), rows.ravel())
    spare = spare[np.argsort(-units[spare], kind="stable")]
    return Assignment("strings", rows, spare, value * step, value * step, bound * step, proven,
                      why if proven else "not proven; the bound is", conductance, limit, step)


def _sorted_and_sliced(units: np.ndarray, series: int, parallel: int,
                       resistance: np.ndarray | None) -> Found:
    """The optimum without pins, of the strongest modules and of the least resistive that serve."""
    rows = least = _slices(units, np.arange(len(units)), series, parallel)
    limits = units[rows].min(axis=1)
    if resistance is not None and len(units) > rows.size:
        least = _slices(units, least_modules(units, resistance, limits, series, (0, parallel)),
                        series, parallel)
    return Found(rows, strings_bound(units, series, parallel), tuple(limits.tolist()), least)


def _slices(units: np.ndarray, modules: np.ndarray, series: int, parallel: int) -> np.ndarray:
    order = modules[np.argsort(-units[modules], kind="stable")][:series * parallel]
    return order.reshape(parallel, series)
