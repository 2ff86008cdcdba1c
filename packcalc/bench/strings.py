"""Modules in strings: the sum of each string's weakest as high as possible.

Sorting and slicing solves it exactly; pinned modules are tried in every string.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from packcalc.bench.bounds import strings_bound
from packcalc.bench.dealing import (
    Assignment,
    Effort,
    Pins,
    chunks_of,
    counting_step,
    demand_enough,
    match,
)
from packcalc.errors import UserError

MOST_ARRANGEMENTS = 20000
NARROWER = 1e-12  # Ω: an exchange that narrows less is none


def assign_strings(capacity: np.ndarray, resistance: np.ndarray | None, series: int,
                   parallel: int, *, pins: Pins = Pins(), effort: Effort = Effort()) -> Assignment:
    """Deal modules to P strings of S so that the sum of each string's weakest is highest.

    Sorted and sliced is the optimum: k strings whose weakest reaches a value hold k·S
    modules that reach it, so the k-th best string cannot beat module number k·S. Pinned
    modules are tried in every string; around them the rest is again sorted and sliced.

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
    bound = strings_bound(units, series, parallel)
    rows, proof = (_slices(units, series, parallel),
                   "sorted and sliced is optimal (each string's weakest at its own limit)")
    if pins:
        rows, proof = _pinned_strings(units, series, parallel, pins)
    value = float(units[rows].min(axis=1).sum())
    bound = value if proof and pins else bound
    if resistance is not None and not pins:
        rows = _even_strings(units, np.asarray(resistance, dtype=float), rows)
    conductance, limit = _string_conductance(resistance, rows)
    spare = np.setdiff1d(np.arange(len(units)), rows.ravel())
    spare = spare[np.argsort(-units[spare], kind="stable")]
    return Assignment("strings", rows, spare, float(units[rows].min(axis=1).sum()) * step,
                      value * step, bound * step, bool(proof), proof or
                      "not proven; the bound is", conductance, limit, step)


def _slices(units: np.ndarray, series: int, parallel: int) -> np.ndarray:
    order = np.argsort(-units, kind="stable")[:series * parallel]
    return order.reshape(parallel, series)


def _string_conductance(resistance: np.ndarray | None, rows: np.ndarray) -> tuple[float, float]:
    """Weakest string's conductance, and the mean string's as its bound."""
    if resistance is None:
        return math.nan, math.nan
    per_string = np.asarray(resistance, dtype=float)[rows].sum(axis=1)
    return float(1.0 / per_string.max()), float(1.0 / per_string.mean())


def _even_strings(units: np.ndarray, resistance: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Exchange modules between strings where no string's weakest is lowered.

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
            narrowed[a, b], at[a, b] = (_best_exchange(units, resistance, rows[[a, b]],
                                                       floors[[a, b]])
                                        if totals[a] > totals[b] else (-np.inf, 0))
        a, b = divmod(int(narrowed.argmax()), count)
        if narrowed[a, b] <= NARROWER:
            return rows
        i, j = divmod(int(at[a, b]), rows.shape[1])
        rows[a, i], rows[b, j] = rows[b, j], rows[a, i]
        changed = (a, b)
    return rows


def _best_exchange(units: np.ndarray, resistance: np.ndarray, rows: np.ndarray,
                   floors: np.ndarray) -> tuple[float, int]:
    """By how much one exchange narrows the difference of two strings most, and which one."""
    first, second = resistance[rows]
    apart = first.sum() - second.sum()
    left = np.abs(apart - 2.0 * (first[:, None] - second[None, :]))
    fits = (units[rows[0]][:, None] >= floors[1]) & (units[rows[1]][None, :] >= floors[0])
    narrowed = np.where(fits, abs(apart) - left, -np.inf)
    return float(narrowed.max()), int(narrowed.argmax())


def _pinned_strings(units: np.ndarray, series: int, parallel: int,
                    pins: Pins) -> tuple[np.ndarray, str]:
    """Every way to give the pinned modules strings, the rest sorted and sliced around them."""
    chunks = own = chunks_of(pins, series)
    if pins.allowed is not None:
        choosy = np.flatnonzero(~pins.allowed.all(axis=1)).tolist()
        chunks = own + [[m] for m in choosy if not any(m in c for c in own)]
    every = (parallel + 1) ** len(chunks) <= MOST_ARRANGEMENTS
    if not every:
        chunks = own  # those of a box alone are placed with the rest, strongest first
    if (parallel + 1) ** len(chunks) > MOST_ARRANGEMENTS:
        raise UserError(f"{len(chunks)} pinned modules or blocks on {parallel} strings are too "
                        f"many to try; loosen some pins")
    best: tuple[float, np.ndarray] | None = None
    for choice in itertools.product(range(parallel, -1, -1), repeat=len(chunks)):
        rows = _around(units, series, parallel, chunks, choice, pins,
                       -1.0 if best is None else best[0])
        if rows is not None:
            best = (float(units[rows].min(axis=1).sum()), rows)
    if best is None:
        raise UserError("the pins cannot all be met; loosen one")
    if every:
        return best[1], "every string for every pinned module was tried"
    return best[1], ("each string's weakest at its own limit"
                     if best[0] >= strings_bound(units, series, parallel) else "")


def _around(units: np.ndarray, series: int, parallel: int, chunks: list[list[int]],
            choice: Sequence[int], pins: Pins, beaten: float) -> np.ndarray | None:
    """Strings with the pinned modules where `choice` puts them; None unless allowed and better.

    The last choice, `parallel`, leaves a block out.
    """
    fixed: list[list[int]] = [[] for _ in range(parallel)]
    for chunk, string in zip(chunks, choice, strict=True):
        if string < parallel:
            fixed[string] += chunk
    if any(len(row) > series for row in fixed) or any(
            a in row and b in row for a, b in pins.apart for row in fixed):
        return None
    named = {m for chunk in chunks for m in chunk}
    free = [m for m in np.argsort(-units, kind="stable").tolist() if m not in named]
    if sum(series - len(row) for row in fixed) > len(free):
        return None
    orders = (itertools.permutations(range(parallel)) if parallel <= 5 else
              [sorted(range(parallel), key=lambda i: -min(units[fixed[i]], default=np.inf))])
    found = None
    for order in orders:
        rows, left = [row.copy() for row in fixed], free
        for string in order:
            taken = _best_fitting(left, rows[string], string, series, pins)
            rows[string] += taken
            left = [m for m in left if m not in taken]
        if any(len(row) < series for row in rows):
            continue
        value = float(units[np.array(rows)].min(axis=1).sum())
        placed = _positions(np.array(rows), pins) if value > beaten else None
        if placed is not None:
            found, beaten = placed, value
    return found


def _best_fitting(free: list[int], own: list[int], string: int, series: int,
                  pins: Pins) -> list[int]:
    """The strongest free modules that fill a string so that each has a position it may take.

    Sets that find positions are a matroid: taking the strongest that still fits is best.
    """
    need = series - len(own)
    if pins.allowed is None:
        return free[:need]
    anywhere = pins.allowed.all(axis=1)
    spans = pins.allowed[:, string * series:(string + 1) * series]
    choosy, taken = [m for m in own if not anywhere[m]], []
    for m in free:
        if len(taken) == need:
            break
        if anywhere[m]:
            taken.append(m)
        elif match(spans[[*choosy, m]]) is not None:
            choosy.append(m)
            taken.append(m)
    return taken


def _positions(rows: np.ndarray, pins: Pins) -> np.ndarray | None:
    """Positions inside each string that every module is allowed in; None where none exist."""
    if pins.allowed is None:
        return rows
    placed = []
    for string, members in enumerate(rows):
        own = pins.allowed[members][:, string * len(members):(string + 1) * len(members)]
        positions = match(own)
        if positions is None:
            return None
        placed.append(members[np.argsort(positions)])
    return np.array(placed)
