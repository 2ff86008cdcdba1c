"""Which module goes where: the weakest group, or each string's weakest, as strong as possible.

Two problems that look alike and are not. *Groups* (modules paralleled first): the pack
delivers its weakest group's sum, so that sum is made as high as possible; a hard problem
from three modules a group on. *Strings* (modules in series first): the pack delivers the
sum of each string's weakest module, which sorting and slicing solves exactly.

Capacities are counted in whole steps (see `counting_step`), so that an optimum is an
optimum to the last step. Everything is plain numpy; the same seed gives the same answer,
and effort is counted in rounds, never in seconds.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from packcalc.bench.search import Search, pair_up, splits, thirds
from packcalc.errors import UserError

AMPERE_HOUR = 3600.0
FINEST = 0.01 * AMPERE_HOUR
EXACT_NODES = 600
MOST_WEAK = 12
CRITICAL_ROUNDS = 60
MOST_EXACT = 48
WIDEST_EXACT = 5
EVEN_ENOUGH = 0.0005  # no meter tells conductance finer
GOOD_ENOUGH = 0.001
WEIGHTS = (1.0, 3.0, 10.0, 40.0)  # of missing capacity against missing conductance
MOST_ARRANGEMENTS = 20000


@dataclass(frozen=True)
class Pins:
    """What the user wants kept together, kept apart, or kept out of some places.

    Attributes:
        together: modules of one group (or string); used all or none.
        apart: pairs of modules never in one group (or string).
        allowed: (modules, places) of bool; None allows all. A place is a group, or for
            strings a position: string · S + position.
    """

    together: tuple[tuple[int, ...], ...] = ()
    apart: tuple[tuple[int, int], ...] = ()
    allowed: np.ndarray | None = field(default=None, compare=False)

    def __bool__(self) -> bool:
        return bool(self.together or self.apart) or self.allowed is not None


@dataclass(frozen=True)
class Effort:
    """How long to look, in rounds, and how the look is seeded.

    Attributes:
        rounds: kicks after the first local optimum, for each criterion.
        seed: of the random kicks.
        tolerance: share of the capacity optimum that may be given up for even resistance.
    """

    rounds: int = 400
    seed: int = 20240229
    tolerance: float = 0.0025


@dataclass(frozen=True)
class Assignment:
    """Modules dealt to places.

    Attributes:
        arrangement: "grouped" or "strings".
        places: module numbers; one row a group, or one row a string.
        left_out: module numbers not used, strongest first.
        value: weakest group's capacity, or the sum of each string's weakest [C].
        best_value: the highest value found before any was given up for resistance [C].
        bound: no assignment can exceed this [C].
        proven: whether `best_value` is proven to be the optimum.
        proof: by what, in words.
        conductance: of the weakest group, or of the weakest string [S]; NaN if unknown.
        conductance_bound: no assignment can exceed this [S].
        step: capacities were counted in whole steps of this [C].
    """

    arrangement: str
    places: np.ndarray
    left_out: np.ndarray
    value: float
    best_value: float
    bound: float
    proven: bool
    proof: str
    conductance: float
    conductance_bound: float
    step: float

    @property
    def gap(self) -> float:
        """How far the best value found lies below the proven bound, as a share of it."""
        return (self.bound - self.best_value) / self.bound

    @property
    def given_up(self) -> float:
        """Share of the best value given up for even resistance."""
        return (self.best_value - self.value) / self.best_value

    @property
    def conductance_gap(self) -> float:
        """How far the weakest group's conductance lies below its bound."""
        return (self.conductance_bound - self.conductance) / self.conductance_bound


def counting_step(capacity: np.ndarray) -> float:
    """Whole step in which capacities are counted [C]: 0.01 Ah, finer for small modules.

    Examples:
        >>> counting_step(np.array([60.0, 58.0]) * 3600) / 3600
        0.01
    """
    mean = float(np.mean(capacity)) / AMPERE_HOUR
    if mean >= 10.0:
        return FINEST
    return AMPERE_HOUR * 10.0 ** (math.floor(math.log10(mean)) - 3)


# --- bounds ---------------------------------------------------------------------------

def weakest_bound(values: np.ndarray, series: int, parallel: int) -> float:
    """No grouping can lift its weakest group above this.

    The j smallest modules fill k groups; even with the strongest others beside them those
    k groups hold their mean at most. The bound is the least over j of the best over k; with
    every group counted it is the plain mean.

    Args:
        values: capacities or conductances; the strongest S·P are counted.
        series, parallel: S groups of P.

    Examples:
        >>> weakest_bound(np.array([1, 5, 5, 6]), 2, 2)
        7.0
        >>> weakest_bound(np.array([1.0, 5.0, 5.0, 5.0]), 2, 2)
        6.0
    """
    return min(float(bound) for bound, _, _ in _bounds(values, series, parallel))


def _bounds(values: np.ndarray, series: int, parallel: int) -> list[tuple[float, int, int]]:
    """(bound, j, k): with no weak modules singled out, then with the j weakest in k groups."""
    best = np.sort(np.asarray(values, dtype=float))[::-1][:series * parallel]
    top = np.concatenate(([0.0], np.cumsum(best)))
    low = np.concatenate(([0.0], np.cumsum(best[::-1])))
    found = [(top[-1] / series, 0, series)]
    for small in range(1, min(series * parallel, 4 * series) + 1):
        k = np.arange(-(-small // parallel), min(small, series) + 1)
        mean = (low[small] + top[k * parallel - small]) / k
        at = int(mean.argmax())
        found.append((mean[at], small, int(k[at])))
    return found


def _tight_bound(units: np.ndarray, series: int, parallel: int) -> tuple[int, int, int]:
    """The bound in whole steps, and the j weakest modules and k groups that set it.

    Where the plain mean is not the tightest bound, one, two or three groups that hold the j
    weakest modules and the strongest others are split in every way.
    """
    best = np.sort(units)[::-1][:series * parallel]
    rough = [(math.floor(bound + 1e-9), j, k) for bound, j, k in _bounds(units, series, parallel)]
    tight = min(rough, key=lambda found: (found[0], -found[2]))
    if tight[1] == 0:
        return tight
    for _, small, _ in rough[1:MOST_WEAK + 1]:
        k = range(-(-small // parallel), min(small, series) + 1)
        here = max((_critical(best, small, groups, parallel), small, groups) for groups in k)
        tight = min(tight, here, key=lambda found: found[0])
    return tight


def _critical(best: np.ndarray, small: int, groups: int, parallel: int) -> int:
    """Highest weakest sum of `groups` groups of the weakest `small` and the strongest others."""
    count = groups * parallel - small
    members = np.concatenate([best[:count], best[len(best) - small:]])
    mean = math.floor(members.sum() / groups + 1e-9)
    if groups == 2 and parallel <= 7:
        first = members @ splits(parallel)
        return int(np.minimum(first, members.sum() - first).max())
    if groups == 3 and parallel <= 5:
        mask, rest = thirds(parallel)
        first = members @ mask
        second = members[rest] @ splits(parallel)
        third = members.sum() - first[:, None] - second
        return int(np.minimum(np.minimum(second, third), first[:, None]).max())
    return mean


def strings_bound(values: np.ndarray, series: int, parallel: int) -> float:
    """Highest sum of each string's weakest: the k-th string holds at most the kS-th module.

    Examples:
        >>> strings_bound(np.array([4.0, 3.0, 2.0, 1.0]), 2, 2)
        4.0
    """
    best = np.sort(np.asarray(values, dtype=float))[::-1]
    return float(best[series - 1:series * parallel:series].sum())


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
    _demand_enough(len(capacity), series, parallel)
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


def _demand_enough(count: int, series: int, parallel: int) -> None:
    places = series * parallel
    if count < places:
        raise UserError(f"{count} modules for {places} places ({series}S{parallel}P): "
                        f"{places - count} short")


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
    chunks = _chunks(pins, parallel)
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


def _chunks(pins: Pins, parallel: int) -> list[list[int]]:
    """Modules that move as one: those pinned together, merged, then those kept apart."""
    merged: list[set[int]] = []
    for block in pins.together:
        hit = [m for m in merged if m & set(block)]
        merged = [m for m in merged if m not in hit] + [set(block).union(*hit)]
    for one, other in pins.apart:
        if any(one in m and other in m for m in merged):
            raise UserError("two modules are pinned together and apart at once")
        merged += [{m} for m in (one, other) if not any(m in block for block in merged)]
    too_large = next((m for m in merged if len(m) > parallel), None)
    if too_large:
        raise UserError(f"{len(too_large)} modules are pinned together, "
                        f"but a group holds {parallel}")
    return sorted((sorted(m) for m in merged), key=lambda c: (-len(c), c))


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
    bound, weak, narrow = _tight_bound(units, series, parallel)
    if pins:
        return _searched(units, start, bound, effort, rng)
    proven = False
    if narrow < series or series * parallel <= MOST_EXACT:
        start, proven, bound = _critical_start(units, start, (bound, weak, narrow), rng)
    dealt, bound, proof = _searched(units, start, bound, effort, rng)
    if proof and proven:
        proof = "every other grouping of the modules that set the bound was excluded"
    return dealt, bound, proof


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
                    rng: np.random.Generator) -> tuple[_Dealt, bool, int]:
    """First the groups that set the bound, then all others: the largest to the lowest.

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
        groups, proven = _exact(units, first.best, EXACT_NODES)
    if proven:
        rivals = [_critical(units[order], weak, k, parallel) if weak else 0
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


def _exact(units: np.ndarray, groups: np.ndarray, nodes: int) -> tuple[np.ndarray, bool]:
    """Lift the weakest group step by step until nothing better exists or the nodes run out."""
    series, parallel = groups.shape
    budget = [nodes]
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
    sums = units[first] + units[np.array(others, dtype=int)][combos].sum(axis=1)
    for row in combos[(sums >= floor) & (sums <= most)]:
        budget[0] -= 1
        if budget[0] <= 0:
            return None
        taken = set(row.tolist())
        below = _cover(units, [m for i, m in enumerate(others) if i not in taken], parallel,
                       floor, budget)
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
        search.run(effort.rounds // 4)
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

def match(allowed: np.ndarray) -> list[int] | None:
    """A column for every row so that each is allowed and none is used twice, or None.

    Examples:
        >>> match(np.array([[True, True], [True, False]]))
        [1, 0]
    """
    taken: dict[int, int] = {}

    def place(row: int, seen: set[int]) -> bool:
        for column in np.flatnonzero(allowed[row]).tolist():
            if column not in seen:
                seen.add(column)
                if column not in taken or place(taken[column], seen):
                    taken[column] = row
                    return True
        return False

    if not all(place(row, set()) for row in range(len(allowed))):
        return None
    found = {row: column for column, row in taken.items()}
    return [found[row] for row in range(len(allowed))]


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
    chunks = _chunks(pins, parallel)
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


# --- strings --------------------------------------------------------------------------

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
    _demand_enough(len(capacity), series, parallel)
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
    rows = rows.copy()
    floors = units[rows].min(axis=1)
    for _ in range(rows.size * 4):
        totals = resistance[rows].sum(axis=1)
        best = (1e-12, None)
        for a, b in itertools.permutations(range(len(rows)), 2):
            if totals[a] <= totals[b]:
                continue
            gain = resistance[rows[a]][:, None] - resistance[rows[b]][None, :]
            fits = (units[rows[a]][:, None] >= floors[b]) & (units[rows[b]][None, :] >= floors[a])
            left = np.abs(totals[a] - totals[b] - 2.0 * gain)
            narrowed = np.where(fits, abs(totals[a] - totals[b]) - left, -np.inf)
            if narrowed.max() > best[0]:
                best = (float(narrowed.max()), (a, b, *divmod(int(narrowed.argmax()),
                                                              rows.shape[1])))
        if best[1] is None:
            return rows
        a, b, i, j = best[1]
        rows[a, i], rows[b, j] = rows[b, j], rows[a, i]
    return rows


def _pinned_strings(units: np.ndarray, series: int, parallel: int,
                    pins: Pins) -> tuple[np.ndarray, str]:
    """Every way to give the pinned modules strings, the rest sorted and sliced around them."""
    chunks = _chunks(pins, series)
    if pins.allowed is not None:
        choosy = np.flatnonzero(~pins.allowed.all(axis=1)).tolist()
        chunks += [[m] for m in choosy if not any(m in c for c in chunks)]
    ways = (parallel + 1) ** len(chunks)
    if ways > MOST_ARRANGEMENTS:
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
    return best[1], "every string for every pinned module was tried"


def _around(units: np.ndarray, series: int, parallel: int, chunks: list[list[int]],
            choice: Sequence[int], pins: Pins, beaten: float) -> np.ndarray | None:
    """Strings with the pinned modules where `choice` puts them; None where not better or not allowed.

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
        rows, at = [row.copy() for row in fixed], 0
        for string in order:
            need = series - len(rows[string])
            rows[string] += free[at:at + need]
            at += need
        value = float(units[np.array(rows)].min(axis=1).sum())
        placed = _positions(np.array(rows), pins) if value > beaten else None
        if placed is not None:
            found, beaten = placed, value
    return found


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
