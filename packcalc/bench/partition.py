"""Modules in groups: the weakest group's sum as high as possible, then even resistance.

A hard problem from three modules a group on. Capacities are counted in whole steps (see
`dealing.counting_step`), so that an optimum is an optimum to the last step. Everything is
plain numpy; the same seed gives the same answer, and effort is counted in rounds, never in
seconds. Strings are another problem: see `strings`.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from packcalc.bench.bounds import critical, tight_bound, weakest_bound
from packcalc.bench.dealing import (
    Assignment,
    Effort,
    Pins,
    chunks_of,
    counting_step,
    demand_enough,
    match,
)
from packcalc.bench.search import Search, pair_up
from packcalc.errors import UserError

EXACT_SUMS = 400_000  # sums tried before a proof is given up
CRITICAL_ROUNDS = 60
MOST_EXACT = 48
WIDEST_EXACT = 5
EVEN_ENOUGH = 0.0005  # no meter tells conductance finer
GOOD_ENOUGH = 0.001
WEIGHTS = (1.0, 3.0, 10.0, 40.0)  # of missing capacity against missing conductance


# --- groups ---------------------------------------------------------------------------

def assign_groups(capacity: np.ndarray, resistance: np.ndarray | None, series: int,
                  parallel: int, *, pins: Pins = Pins(), effort: Effort = Effort()) -> Assignment:
    """Deal modules to S groups of P so that the weakest group is as strong as possible.

    Args:
        capacity: of each module [C].
        resistance: of each module [Ω]; None leaves resistance out.
        series, parallel: S groups of P.
        pins: what the user wants kept together, apart, or out of places.
        effort: rounds, seed, and what may be given up for even resistance.

    Raises:
        UserError: fewer modules than places, or pins that cannot all be met.

    Examples:
        >>> found = assign_groups(np.array([50.0, 60, 55, 57]) * 3600, None, 2, 2)
        >>> found.value / 3600, found.proven
        (110.0, True)
    """
    capacity = np.asarray(capacity, dtype=float)
    demand_enough(len(capacity), series, parallel)
    step = counting_step(capacity)
    units = np.round(capacity / step)
    rng = np.random.default_rng(effort.seed)
    best, bound, proof = _best_groups(units, series, parallel, pins, effort, rng)
    placed = _to_places(best, pins)
    if placed is None:  # the groups found fit no places: name the places first
        best, bound, proof = _searched(units, _named_start(units, series, parallel, pins), bound,
                                       effort, rng)
        placed = best
    value = _weakest(units, placed.groups)
    final = placed
    if resistance is not None:
        even = _even_resistance(units, 1.0 / np.asarray(resistance, dtype=float), best, value,
                                effort, rng)
        final = _to_places(even, pins) or placed
    return _grouped(final, units, step, value, bound, proof, resistance, series, parallel)


@dataclass(frozen=True)
class _Dealt:
    """Groups of module numbers, which of them may not move, and what is left over."""

    groups: np.ndarray
    frozen: np.ndarray
    spare: np.ndarray


def _grouped(final: _Dealt, units: np.ndarray, step: float, value: float, bound: float,
             proof: str, resistance: np.ndarray | None, series: int, parallel: int) -> Assignment:
    conductance = limit = math.nan
    if resistance is not None:
        g = 1.0 / np.asarray(resistance, dtype=float)
        conductance = float(g[final.groups].sum(axis=1).min())
        limit = weakest_bound(g, series, parallel)
    order = np.argsort(-units[final.groups], axis=1, kind="stable")
    rows = np.take_along_axis(final.groups, order, axis=1)
    spare = final.spare[np.argsort(-units[final.spare], kind="stable")]
    return Assignment("grouped", rows, spare,
                      float(units[rows].sum(axis=1).min()) * step, value * step, bound * step,
                      bool(proof), proof or "not proven; the bound is", conductance, limit, step)


def _start_groups(units: np.ndarray, series: int, parallel: int, pins: Pins) -> _Dealt:
    """Pinned modules first, each unit to a group of its own; then the largest to the lowest."""
    chunks = chunks_of(pins, parallel)
    used = _strongest(units, series * parallel, chunks)
    rows: list[list[int]] = [[] for _ in range(series)]
    held: list[int] = [0] * series
    for chunk in (c for c in chunks if c[0] in used):
        spot = _room_for(chunk, rows, parallel, pins)
        rows[spot] += chunk
        held[spot] += len(chunk)
    _largest_first(units, rows, [m for m in _descending(units, used)
                                 if not any(m in row for row in rows)], parallel)
    groups = np.array(rows)
    frozen = np.arange(parallel) < np.array(held)[:, None]
    spare = np.setdiff1d(np.arange(len(units)), groups.ravel())
    return _Dealt(groups, frozen, spare)


def _descending(units: np.ndarray, chosen: set[int]) -> list[int]:
    return sorted(chosen, key=lambda m: (-units[m], m))


def _strongest(units: np.ndarray, places: int, chunks: Sequence[Sequence[int]]) -> set[int]:
    """The modules to use: the strongest, blocks taken whole or left whole."""
    blocks = [c for c in chunks if len(c) > 1]
    single = [m for m in np.argsort(-units, kind="stable").tolist()
              if not any(m in b for b in blocks)]
    best: tuple[float, set[int]] | None = None
    for kept in _subsets(blocks):
        inside = {m for block in kept for m in block}
        room = places - len(inside)
        if 0 <= room <= len(single):
            chosen = inside | set(single[:room])
            total = float(units[list(chosen)].sum())
            if best is None or total > best[0]:
                best = (total, chosen)
    if best is None:
        raise UserError("the modules pinned together cannot fill the places whole")
    return best[1]


def _subsets(blocks: Sequence[Sequence[int]]):
    """Every choice of blocks; with very many, all of them or all but one."""
    if len(blocks) <= 12:
        for count in range(len(blocks), -1, -1):
            yield from itertools.combinations(blocks, count)
    else:
        yield blocks
        for skip in range(len(blocks)):
            yield [*blocks[:skip], *blocks[skip + 1:]]


def _room_for(chunk: Sequence[int], rows: list[list[int]], parallel: int, pins: Pins,
              open_rows: np.ndarray | None = None) -> int:
    """The emptiest open row that the chunk fits into without meeting one kept apart from it."""
    enemies = {b if a in chunk else a for a, b in pins.apart if a in chunk or b in chunk}
    fits = [i for i, row in enumerate(rows)
            if len(row) + len(chunk) <= parallel and not enemies & set(row)
            and (open_rows is None or open_rows[i])]
    if not fits:
        raise UserError("the pinned modules do not fit into the groups; loosen a pin")
    return min(fits, key=lambda i: len(rows[i]))


def _largest_first(units: np.ndarray, rows: list[list[int]], order: Sequence[int],
                   parallel: int) -> None:
    """Each module, the largest first, to the lowest row that has room."""
    heap = [(float(units[row].sum()) if row else 0.0, i) for i, row in enumerate(rows)
            if len(row) < parallel]
    heapq.heapify(heap)
    for module in order:
        total, i = heapq.heappop(heap)
        rows[i].append(module)
        if len(rows[i]) < parallel:
            heapq.heappush(heap, (total + float(units[module]), i))


def _best_groups(units: np.ndarray, series: int, parallel: int, pins: Pins, effort: Effort,
                 rng: np.random.Generator) -> tuple[_Dealt, int, str]:
    """The best groups found, a bound in whole steps, and the proof ("" where there is none)."""
    start = _start_groups(units, series, parallel, pins)
    if parallel == 1 or (parallel == 2 and not pins):
        dealt = replace(start, groups=pair_up(units, start.groups))
        return dealt, _weakest(units, dealt.groups), (
            "sorted pairs are optimal (exchange argument)" if parallel == 2
            else "one module a place")
    bound, weak, narrow = tight_bound(units, series, parallel)
    if pins:
        return _searched(units, start, bound, effort, rng)
    if narrow == series and series * parallel > MOST_EXACT:
        return _searched(units, start, bound, effort, rng)
    return _from_critical(units, start, (bound, weak, narrow), effort, rng)


def _from_critical(units: np.ndarray, start: _Dealt, bound: tuple[int, int, int],
                   effort: Effort, rng: np.random.Generator) -> tuple[_Dealt, int, str]:
    """Search from the groups that set the bound; prove harder only where that falls short."""
    found: list[tuple[_Dealt, int, str]] = []
    for sums, share in ((EXACT_SUMS, 5), (5 * EXACT_SUMS, 1)):
        begun, proven, limit = _critical_start(units, start, bound, rng, sums)
        dealt, limit, proof = _searched(units, begun, limit,
                                        replace(effort, rounds=effort.rounds // share), rng)
        if proof:
            return dealt, limit, (proof if not proven else "every other grouping of the "
                                  "modules that set the bound was excluded")
        found.append((dealt, limit, ""))
    best = max(found, key=lambda f: _weakest(units, f[0].groups))
    return best[0], min(limit for _, limit, _ in found), ""


def _weakest(units: np.ndarray, groups: np.ndarray) -> int:
    return int(units[groups].sum(axis=1).min())


def _searched(units: np.ndarray, start: _Dealt, bound: int, effort: Effort,
              rng: np.random.Generator) -> tuple[_Dealt, int, str]:
    search = Search(units[None, :], start.groups, start.frozen, _shortfall(bound), rng)
    search.run(effort.rounds)
    reached = _weakest(units, search.best) >= bound
    return (replace(start, groups=search.best), bound,
            "the bound is reached" if reached else "")


def _critical_start(units: np.ndarray, start: _Dealt, bound: tuple[int, int, int],
                    rng: np.random.Generator, sums: int) -> tuple[_Dealt, bool, int]:
    """First the groups that set the bound, then all others: the largest to the lowest.

    Args:
        units, start, rng: as everywhere.
        bound: value, weakest modules and groups that set it.
        sums: tried before a proof is given up.

    Returns:
        The start, whether the bound was lowered to a proven optimum, and the bound.
    """
    series, parallel = start.groups.shape
    limit, weak, narrow = bound
    order = np.array(_descending(units, set(start.groups.ravel().tolist())))
    inside = np.concatenate([order[:narrow * parallel - weak], order[len(order) - weak:]])
    rows: list[list[int]] = [[] for _ in range(narrow)]
    _largest_first(units, rows, _descending(units, set(inside.tolist())), parallel)
    first = Search(units[None, :], np.array(rows), np.zeros((narrow, parallel), bool),
                   _shortfall(limit), rng)
    first.run(CRITICAL_ROUNDS)
    groups, proven = first.best, False
    if first.worst > 0 and narrow * parallel <= MOST_EXACT and parallel <= WIDEST_EXACT:
        groups, proven = _exact(units, first.best, sums)
    if proven:
        rivals = [critical(units[order], weak, k, parallel) if weak else 0
                  for k in range(-(-weak // parallel), min(weak, series) + 1) if k != narrow]
        lowered = min(limit, max([_weakest(units, groups), *rivals]))
        proven, limit = lowered < limit, lowered
    rows = [[] for _ in range(series - narrow)]
    outside = set(order.tolist()) - set(inside.tolist())
    _largest_first(units, rows, _descending(units, outside), parallel)
    whole = np.concatenate([groups, np.array(rows, dtype=int).reshape(-1, parallel)])
    return replace(start, groups=whole), proven, limit


def _shortfall(bound: float):
    """Badness of a group with one criterion: how far it lies below the bound, never less."""
    def badness(sums: np.ndarray) -> np.ndarray:
        return np.maximum(bound - sums[0], 0.0)
    return badness


def _exact(units: np.ndarray, groups: np.ndarray, sums: int) -> tuple[np.ndarray, bool]:
    """Lift the weakest group step by step until nothing better exists or the budget runs out."""
    series, parallel = groups.shape
    budget = [sums]
    while True:
        floor = _weakest(units, groups) + 1.0
        order = sorted(groups.ravel().tolist(), key=lambda m: (-units[m], m))
        found = _cover(units, order, parallel, floor, budget)
        if found is None:
            return groups, budget[0] > 0
        groups = np.array(found)


def _cover(units: np.ndarray, rest: list[int], parallel: int, floor: float,
           budget: list[int]) -> list[list[int]] | None:
    """Split what is left into groups that all reach `floor`, or None."""
    if not rest:
        return []
    left = len(rest) // parallel
    most = float(units[rest].sum()) - (left - 1) * floor
    if most < floor:
        return None
    first, others = rest[0], rest[1:]
    combos = _combinations(len(others), parallel - 1)
    budget[0] -= len(combos)
    if budget[0] <= 0:
        return None
    sums = units[first] + units[np.array(others, dtype=int)][combos].sum(axis=1)
    for row in combos[(sums >= floor) & (sums <= most)]:
        taken = set(row.tolist())
        below = _cover(units, [m for i, m in enumerate(others) if i not in taken], parallel,
                       floor, budget)
        if budget[0] <= 0:
            return None
        if below is not None:
            return [[first, *(others[i] for i in row)], *below]
    return None


@lru_cache(maxsize=64)
def _combinations(count: int, choose: int) -> np.ndarray:
    flat = list(itertools.combinations(range(count), choose))
    return np.array(flat, dtype=int).reshape(len(flat), choose)


# --- resistance -----------------------------------------------------------------------

def _even_resistance(units: np.ndarray, conductance: np.ndarray, best: _Dealt, value: float,
                     effort: Effort, rng: np.random.Generator) -> _Dealt:
    """Even out conductance while the weakest group keeps its capacity within the tolerance.

    First both are bettered together, whatever capacity that costs on the way; then missing
    capacity weighs more and more. Where that fails, only what the tolerance allows from the
    start is tried.
    """
    series, parallel = best.groups.shape
    floor = value * (1.0 - effort.tolerance)
    goal = weakest_bound(conductance, series, parallel)
    values = np.stack([units, conductance])
    found, groups = [best], best.groups
    for weight in (*WEIGHTS, WEIGHTS[-1]):
        spare = np.setdiff1d(np.arange(len(units)), groups.ravel())
        search = Search(values, groups, best.frozen, _two_criteria(floor, goal, weight), rng,
                        spare=spare)
        search.run(effort.rounds // 10)
        groups = search.best
        if _weakest(units, groups) >= floor:
            spare = np.setdiff1d(np.arange(len(units)), groups.ravel())
            found.append(replace(best, groups=groups, spare=spare))
            if search.worst <= GOOD_ENOUGH:
                break
        elif weight == WEIGHTS[-1]:
            groups = best.groups
    return max(found, key=lambda dealt: float(conductance[dealt.groups].sum(axis=1).min()))


def _two_criteria(floor: float, goal: float, weight: float):
    """The worse of: capacity below its floor, conductance below its bound (both relative)."""
    def badness(sums: np.ndarray) -> np.ndarray:
        short = np.maximum((floor - sums[0]) / floor, 0.0)
        loose = np.maximum((goal - sums[1]) / goal - EVEN_ENOUGH, 0.0)
        return np.maximum(weight * short, loose)
    return badness


# --- places ---------------------------------------------------------------------------

def _to_places(dealt: _Dealt, pins: Pins) -> _Dealt | None:
    """Give every group a place that all its modules are allowed in; None where none exists."""
    if pins.allowed is None:
        return dealt
    fits = pins.allowed[dealt.groups].all(axis=1)
    places = match(fits)
    if places is None:
        return None
    order = np.argsort(places)
    return replace(dealt, groups=dealt.groups[order], frozen=dealt.frozen[order])


def _named_start(units: np.ndarray, series: int, parallel: int, pins: Pins) -> _Dealt:
    """Every module with a forbidden place is fixed in a place of its own; rows are places."""
    assert pins.allowed is not None
    chunks = chunks_of(pins, parallel)
    choosy = [m for m in np.flatnonzero(~pins.allowed.all(axis=1)).tolist()
              if not any(m in c for c in chunks)]
    chunks = sorted([*chunks, *([m] for m in choosy)], key=lambda c: (
        int(pins.allowed[c].all(axis=0).sum()), -len(c), c))
    used = _strongest(units, series * parallel, chunks)
    rows: list[list[int]] = [[] for _ in range(series)]
    for chunk in (c for c in chunks if c[0] in used):
        open_rows = pins.allowed[chunk].all(axis=0)
        rows[_room_for(chunk, rows, parallel, pins, open_rows)] += chunk
    held = np.array([len(row) for row in rows])
    placed = {m for row in rows for m in row}
    _largest_first(units, rows, [m for m in _descending(units, used) if m not in placed],
                   parallel)
    groups = np.array(rows)
    return _Dealt(groups, np.arange(parallel) < held[:, None],
                  np.setdiff1d(np.arange(len(units)), groups.ravel()))


# --- even sharing ---------------------------------------------------------------------

def assign_even(capacity: np.ndarray, resistance: np.ndarray, series: int, parallel: int, *,
                blocks: int = 1, effort: Effort = Effort()) -> Assignment:
    """Deal modules of like resistance × capacity into one group, so that they share evenly.

    Paralleled modules share by their resistance and should share by their capacity; both
    agree where R·Q is equal. The strongest S·P modules are sorted by R·Q and cut into
    blocks of groups; inside a block the weakest group is made as strong as possible.

    Args:
        capacity, resistance: of each module [C], [Ω].
        series, parallel: S groups of P.
        blocks: groups in a block; 1 gives the most even sharing.
        effort: as for groups.
    """
    capacity, resistance = (np.asarray(x, dtype=float) for x in (capacity, resistance))
    demand_enough(len(capacity), series, parallel)
    step = counting_step(capacity)
    units = np.round(capacity / step)
    used = np.argsort(-units, kind="stable")[:series * parallel]
    order = used[np.argsort((resistance * capacity)[used], kind="stable")]
    rows = []
    for start in range(0, series, blocks):
        members = order[start * parallel:(start + blocks) * parallel]
        count = len(members) // parallel
        inside = assign_groups(capacity[members], None, count, parallel, effort=effort)
        rows += [members[row] for row in inside.places]
    groups = np.array(rows)
    spare = np.setdiff1d(np.arange(len(units)), groups.ravel())
    value = _weakest(units, groups)
    bound, _, _ = tight_bound(units, series, parallel)
    return _grouped(_Dealt(groups, np.zeros_like(groups, dtype=bool), spare), units, step, value,
                    bound, "", resistance, series, parallel)


def share_of_fair(capacity: np.ndarray, resistance: np.ndarray, places: np.ndarray) -> np.ndarray:
    """First share of each module in its group against its fair share by capacity.

    Examples:
        >>> share_of_fair(np.array([50.0, 50.0]), np.array([1.0, 3.0]), np.array([[0, 1]])).tolist()
        [[1.5, 0.5]]
    """
    conductance, held = 1.0 / resistance[places], capacity[places]
    return (conductance / conductance.sum(axis=1, keepdims=True)
            / (held / held.sum(axis=1, keepdims=True)))
