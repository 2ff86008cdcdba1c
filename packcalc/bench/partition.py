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
from dataclasses import replace

import numpy as np

from packcalc.bench.bounds import (
    critical,
    giants,
    on_the_grid,
    relaxed_choice,
    second_bound,
    tight_bound,
    weakest_bound,
)
from packcalc.bench.dealing import (
    Assignment,
    Effort,
    Pins,
    chunks_of,
    counting_step,
    demand_enough,
    match,
    place_chunks,
)
from packcalc.bench.exact import (
    EXACT_SUMS,
    FEW_EXACT,
    best_grouping,
    most_exact,
    tight_ends,
    weakest_first,
    window_width,
)
from packcalc.bench.search import Rules, Search, pair_up
from packcalc.errors import UserError
from packcalc.value import value_object

REACHED = "the bound is reached"
NOT_PROVEN = "not proven; the bound is, and it knows no pins"
WHOLE = 1e-9  # of a step: sums of whole steps are whole
ROOM = 0.002  # of the bound: what each group after the first ones should hold above it
CRITICAL_ROUNDS = 60
MOST_STARTS = 8
CHAIN_ROUNDS = 20
OTHERWISE = "every other grouping of the modules that set the bound was excluded"
EVEN_ENOUGH = 0.0005  # no meter tells conductance finer
GOOD_ENOUGH = 0.001
FAR = 0.002  # below its bound: one more start is worth its time
ROOMS = (0.0005, 0.0012)  # capacity of the mean group above the floor, for a deal to be found
WEIGHTS = (1.0, 4.0, 25.0, 200.0)  # of missing capacity against missing conductance
EVEN_LOOKS, FEW_LOOKS = 0.35, 0.2  # looks a group at each weight: 2000 modules in two seconds
STRICT = 1e4  # no capacity may be missing


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
    placed, rules = _to_places(best, pins), _rules(pins)
    if placed is None:  # the groups found fit no places: name the places first
        placed, bound, proof = _best_start(units, _start_groups(units, series, parallel, pins),
                                           bound, effort, rng, rules)
    value, final, limit = _weakest(units, placed.groups), placed, math.nan
    if resistance is not None:
        conductance, floor = 1.0 / np.asarray(resistance, dtype=float), value * (
            1.0 - effort.tolerance)
        limit = second_bound(conductance, units, floor, series, parallel)
        final = _even_resistance(units, conductance, placed, (floor, limit), effort, rng, rules)
    return _grouped(final, units, step, value, bound, proof, resistance, limit)


def _least(conductance: np.ndarray, dealt: _Dealt) -> float:
    return float(conductance[dealt.groups].sum(axis=1).min())


def _rules(pins: Pins) -> Rules:
    return Rules(tuple(b for b in pins.together if len(b) > 1), pins.apart, pins.allowed)


@value_object
class _Dealt:
    """Groups of module numbers, and what is left over."""

    groups: np.ndarray
    spare: np.ndarray


def _grouped(final: _Dealt, units: np.ndarray, step: float, value: float, bound: float,
             proof: str, resistance: np.ndarray | None, limit: float) -> Assignment:
    conductance = math.nan
    if resistance is not None:
        g = 1.0 / np.asarray(resistance, dtype=float)
        conductance = float(g[final.groups].sum(axis=1).min())
    order = np.argsort(-units[final.groups], axis=1, kind="stable")
    rows = np.take_along_axis(final.groups, order, axis=1)
    spare = final.spare[np.argsort(-units[final.spare], kind="stable")]
    return Assignment("grouped", rows, spare,
                      float(units[rows].sum(axis=1).min()) * step, value * step, bound * step,
                      bool(proof), proof or NOT_PROVEN, conductance, limit, step)


def _start_groups(units: np.ndarray, series: int, parallel: int, pins: Pins) -> list[_Dealt]:
    """Pinned modules first, where they fit; then the largest to the lowest.

    One start for each choice of pinned blocks that are used, the strongest choice first.
    """
    chunks = chunks_of(pins, parallel)
    if pins.allowed is not None:
        choosy = np.flatnonzero(~pins.allowed.all(axis=1)).tolist()
        chunks += [[m] for m in choosy if not any(m in c for c in chunks)]
    starts, refusal = [], None
    for used in _choices_of_used(units, series * parallel, chunks):
        try:
            rows = place_chunks([c for c in chunks if c[0] in used], series, parallel, pins)
        except UserError as error:
            refusal = refusal or error
            continue
        placed = {m for row in rows for m in row}
        _largest_first(units, rows, [m for m in _descending(units, used) if m not in placed],
                       parallel)
        groups = np.array(rows)
        starts.append(_Dealt(groups, np.setdiff1d(np.arange(len(units)), groups.ravel())))
        if len(starts) == MOST_STARTS:
            break
    if not starts and refusal is not None:
        raise refusal
    return starts


def _descending(units: np.ndarray, chosen: set[int]) -> list[int]:
    return sorted(chosen, key=lambda m: (-units[m], m))


def _choices_of_used(units: np.ndarray, places: int,
                     chunks: Sequence[Sequence[int]]) -> list[set[int]]:
    """The modules to use: the strongest, blocks taken whole or left whole; most capacity first."""
    blocks = [c for c in chunks if len(c) > 1]
    inside_any = {m for block in blocks for m in block}
    single = [m for m in np.argsort(-units, kind="stable").tolist() if m not in inside_any]
    found: list[tuple[float, set[int]]] = []
    for kept in _subsets(blocks):
        inside = {m for block in kept for m in block}
        room = places - len(inside)
        if 0 <= room <= len(single):
            chosen = inside | set(single[:room])
            found.append((float(units[list(chosen)].sum()), chosen))
    if not found:
        raise UserError("the modules pinned together cannot fill the places whole")
    return [chosen for _, chosen in sorted(found, key=lambda f: -f[0])]


def _subsets(blocks: Sequence[Sequence[int]]):
    """Every choice of blocks; with very many, all of them or all but one."""
    if len(blocks) <= 12:
        for count in range(len(blocks), -1, -1):
            yield from itertools.combinations(blocks, count)
    else:
        yield blocks
        for skip in range(len(blocks)):
            yield [*blocks[:skip], *blocks[skip + 1:]]


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
    """The best groups found, a bound in whole steps, and the proof ("" where there is none).

    Forbidden places are left out of account here.
    """
    if pins:
        pins = replace(pins, allowed=None)
        starts = _start_groups(units, series, parallel, pins)
        if parallel == 2:
            starts = [_folded(units, start, pins) for start in starts]
        bound = math.floor(weakest_bound(units, series, parallel) + WHOLE)
        return _best_start(units, starts, on_the_grid(bound, units, parallel), effort, rng,
                           _rules(pins))
    order = np.argsort(-units, kind="stable")
    used, spare = order[:series * parallel], order[series * parallel:]
    if parallel <= 2:
        dealt = _Dealt(pair_up(units, used.reshape(series, parallel)), spare)
        return dealt, _weakest(units, dealt.groups), (
            "sorted pairs are optimal (exchange argument)" if parallel == 2
            else "one module a place")
    aside, limit = giants(units[used], series, parallel)
    own, rest = _set_aside(used, aside, parallel)
    dealt, bound, proof = _rest_groups(units, rest, series - aside, parallel, effort, rng)
    groups = np.concatenate([own, dealt.groups])
    bound = bound if math.isinf(limit) else min(bound, math.floor(limit + WHOLE))
    if _weakest(units, groups) >= bound:
        proof = proof or REACHED
    return _Dealt(groups, spare), bound, proof


def _best_start(units: np.ndarray, starts: list[_Dealt], bound: int, effort: Effort,
                rng: np.random.Generator, rules: Rules) -> tuple[_Dealt, int, str]:
    """The search from each start, until one reaches the bound."""
    effort, best = replace(effort, rounds=max(1, effort.rounds // len(starts))), None
    for start in starts:
        found = _searched(units, start, bound, effort, rng, rules)
        if best is None or _weakest(units, found[0].groups) > _weakest(units, best[0].groups):
            best = found
        if found[2]:
            break
    assert best is not None
    return best


def _set_aside(used: np.ndarray, aside: int, parallel: int) -> tuple[np.ndarray, np.ndarray]:
    """Groups of the giants with the smallest partners, and the modules left to deal."""
    partners = parallel - 1
    own = [[used[i], *used[len(used) - (i + 1) * partners:len(used) - i * partners]]
           for i in range(aside)]
    return (np.array(own, dtype=int).reshape(-1, parallel),
            used[aside:len(used) - aside * partners])


def _rest_groups(units: np.ndarray, used: np.ndarray, series: int, parallel: int, effort: Effort,
                 rng: np.random.Generator) -> tuple[_Dealt, int, str]:
    """What is left when the giants have their groups."""
    bound, weak, narrow = tight_bound(units[used], series, parallel)
    if series * parallel <= FEW_EXACT:  # all of it is looked through
        weak, narrow = 0, series
    bound = on_the_grid(bound, units[used], parallel)
    start, reached = _weakest_dealt(units, used, bound, parallel, rng)
    if reached:
        return start, bound, REACHED
    if narrow == series and series * parallel > most_exact(parallel):
        return _searched(units, start, bound, effort, rng)
    return _from_critical(units, start, (bound, weak, narrow), effort, rng)


def _weakest_dealt(units: np.ndarray, used: np.ndarray, limit: int, parallel: int,
                   rng: np.random.Generator) -> tuple[_Dealt, bool]:
    """Dealt from the weakest on, mended where the limit is missed; whether it is reached.

    Only the groups that have no room for others are searched: what is missing among the weak
    is never found in groups that hold none of the strongest.
    """
    none = np.array([], dtype=int)
    if window_width(parallel - 1) <= parallel:  # too many partners to choose them at once
        rows: list[list[int]] = [[] for _ in range(len(used) // parallel)]
        _largest_first(units, rows, used.tolist(), parallel)
        return _Dealt(np.array(rows), none), _weakest(units, np.array(rows)) >= limit
    best = weakest_first(units, used, float(limit), parallel)
    if _weakest(units, best) >= limit:
        return _Dealt(best, none), True
    short = np.flatnonzero(units[best].sum(axis=1) < limit)[-1]
    ends = tight_ends(units[used], limit, parallel)
    chain = int(ends[np.searchsorted(ends, short + 1)])
    search = Search(units[None, :], best[:chain], Rules(), _shortfall(limit), rng)
    search.run(CHAIN_ROUNDS)
    best = np.concatenate([search.best, best[chain:]])
    return _Dealt(best, none), _weakest(units, best) >= limit


def _folded(units: np.ndarray, start: _Dealt, pins: Pins) -> _Dealt:
    """Strongest with weakest, where no pin forbids the whole of it; else the start."""
    folded = pair_up(units, start.groups)
    rows = [set(row) for row in folded.tolist()]
    if (any(len(row & set(block)) == 1 for block in pins.together for row in rows)
            or any(row >= set(pair) for pair in pins.apart for row in rows)):
        return start
    return replace(start, groups=folded)


def _from_critical(units: np.ndarray, start: _Dealt, bound: tuple[int, int, int],
                   effort: Effort, rng: np.random.Generator) -> tuple[_Dealt, int, str]:
    """Search from the groups that set the bound for a short while, then from the start."""
    begun, proven, limit = _critical_start(units, start, bound, rng)
    found = []
    if limit < bound[0]:
        used = np.array(_descending(units, set(start.groups.ravel().tolist())))
        start, reached = _weakest_dealt(units, used, limit, start.groups.shape[1], rng)
        if reached:
            return start, limit, OTHERWISE
    for share, first in ((5, begun), (1, start)):
        dealt, _, proof = _searched(units, first, limit,
                                    replace(effort, rounds=effort.rounds // share), rng)
        if proof:
            return dealt, limit, OTHERWISE if proven else proof
        found.append(dealt)
    return max(found, key=lambda dealt: _weakest(units, dealt.groups)), limit, ""


def _weakest(units: np.ndarray, groups: np.ndarray) -> int:
    return int(units[groups].sum(axis=1).min())


def _searched(units: np.ndarray, start: _Dealt, bound: int, effort: Effort,
              rng: np.random.Generator, rules: Rules = Rules()) -> tuple[_Dealt, int, str]:
    search = Search(units[None, :], start.groups, rules, _shortfall(bound), rng,
                    start.spare if rules else None)
    search.run(effort.rounds)
    reached = _weakest(units, search.best) >= bound
    spare = np.setdiff1d(np.arange(len(units)), search.best.ravel()) if rules else start.spare
    return _Dealt(search.best, spare), bound, REACHED if reached else ""


def _critical_start(units: np.ndarray, start: _Dealt, bound: tuple[int, int, int],
                    rng: np.random.Generator) -> tuple[_Dealt, bool, int]:
    """First the groups that set the bound, then all others: the largest to the lowest.

    Args:
        units, start, rng: as everywhere.
        bound: value, weakest modules and groups that set it.

    Returns:
        The start, whether the bound was lowered to a proven optimum, and the bound.
    """
    series, parallel = start.groups.shape
    limit, weak, narrow = bound
    order = np.array(_descending(units, set(start.groups.ravel().tolist())))
    shape = (series, parallel)
    groups, proven, limit = _first_groups(units, order, bound, shape, rng, EXACT_SUMS)
    wide = _with_room(units[order], limit, narrow, parallel) if weak == narrow else narrow
    if wide > narrow:  # what the next weak modules need is settled along with these
        wider, again, limit = _first_groups(units, order, (limit, wide, wide), shape, rng,
                                            EXACT_SUMS // 4)
        proven = proven or again
        groups = wider if _weakest(units, wider) >= limit else groups
    rows: list[list[int]] = [[] for _ in range(series - len(groups))]
    outside = set(order.tolist()) - set(groups.ravel().tolist())
    _largest_first(units, rows, _descending(units, outside), parallel)
    whole = np.concatenate([groups, np.array(rows, dtype=int).reshape(-1, parallel)])
    return replace(start, groups=whole), proven, limit


def _first_groups(units: np.ndarray, order: np.ndarray, bound: tuple[int, int, int],
                  shape: tuple[int, int], rng: np.random.Generator,
                  sums: int) -> tuple[np.ndarray, bool, int]:
    """The weakest modules with the strongest others; whether that lowers the bound; the bound."""
    (limit, weak, narrow), (series, parallel) = bound, shape
    inside = np.concatenate([order[:narrow * parallel - weak], order[len(order) - weak:]])
    rows: list[list[int]] = [[] for _ in range(narrow)]
    _largest_first(units, rows, _descending(units, set(inside.tolist())), parallel)
    first = Search(units[None, :], np.array(rows), Rules(), _shortfall(limit), rng)
    looked_through = narrow * parallel <= most_exact(parallel)
    first.run(0 if looked_through else CRITICAL_ROUNDS)
    groups, proven = first.best, False
    if first.worst > 0 and looked_through:
        groups, proven = best_grouping(units, first.best, limit, sums)
    if proven:
        rivals = [critical(units[order], weak, k, parallel) if weak else 0
                  for k in range(-(-weak // parallel), min(weak, series) + 1) if k != narrow]
        lowered = min(limit, max([_weakest(units, groups), *rivals]))
        proven, limit = lowered < limit, lowered
    return groups, proven, limit


def _with_room(strongest: np.ndarray, limit: int, narrow: int, parallel: int) -> int:
    """How many of the weakest, each with the strongest others, leave room to those after them.

    What groups 1 to k hold above the limit is lost with them; each later group needs some of
    what all of them together hold.
    """
    count = np.arange(1, len(strongest) // parallel + 1)
    held = np.cumsum(strongest[::-1])[count - 1] + np.cumsum(strongest)[(parallel - 1) * count - 1]
    above = held - count * limit
    room = {k: float(((above[k:] - above[k - 1]) / (count[k:] - k)).min())
            for k in range(narrow, min(most_exact(parallel) // parallel, len(count) - 1) + 1)}
    enough = [k for k, each in room.items() if each >= ROOM * limit]
    return enough[0] if enough else max(room, key=lambda k: room[k], default=narrow)


def _shortfall(bound: float):
    """Badness of a group with one criterion: how far it lies below the bound, never less."""
    def badness(sums: np.ndarray) -> np.ndarray:
        return np.maximum(bound - sums[0], 0.0)
    return badness


# --- resistance -----------------------------------------------------------------------

def _even_resistance(units: np.ndarray, conductance: np.ndarray, best: _Dealt,
                     asked: tuple[float, float], effort: Effort, rng: np.random.Generator,
                     rules: Rules) -> _Dealt:
    """Even out conductance while the weakest group keeps its capacity within the tolerance.

    First both are bettered together, whatever capacity that costs on the way; then missing
    capacity weighs more and more. Where that fails, the best found goes on with no capacity
    missing at any step. With spare modules the first to be dealt are those that the bound
    itself would use. `asked` are the capacity to keep and the bound of the conductance.
    """
    values, found = np.stack([units, conductance]), [best]
    badness = [_two_criteria(*asked, weight) for weight in WEIGHTS]

    def bettered(groups: np.ndarray, steps: list) -> bool:
        for step in steps:
            spare = np.setdiff1d(np.arange(len(units)), groups.ravel())
            search = Search(values, groups, rules, step, rng, spare=spare)
            search.run(effort.rounds // 10, EVEN_LOOKS if groups.shape[1] > 3 else FEW_LOOKS)
            groups = search.best
            if _weakest(units, groups) >= asked[0]:
                spare = np.setdiff1d(np.arange(len(units)), groups.ravel())
                found.append(replace(best, groups=groups, spare=spare))
                if search.worst <= GOOD_ENOUGH:
                    return True
        return False

    def strongest() -> _Dealt:
        return max(found, key=lambda dealt: _least(conductance, dealt))

    def near() -> bool:
        return _least(conductance, strongest()) >= (1.0 - FAR) * asked[1]

    starts = [] if rules else _relaxed_starts(units, conductance, best, asked[0])
    for start in starts:
        if bettered(start, badness) or near():
            return strongest()
    if not bettered(best.groups, badness):
        again = badness if starts and not near() else []
        bettered(strongest().groups, [*again, _two_criteria(*asked, STRICT)])
    return strongest()


def _relaxed_starts(units: np.ndarray, conductance: np.ndarray, best: _Dealt,
                    floor: float) -> list[np.ndarray]:
    """The modules that the bound would use, dealt: with little and with more room in capacity."""
    series, parallel = best.groups.shape
    starts = []
    for room in ROOMS if len(best.spare) and best.groups.size > FEW_EXACT else ():
        chosen = relaxed_choice(conductance, units, series * floor * (1.0 + room),
                                series * parallel)
        if chosen is not None:
            rows: list[list[int]] = [[] for _ in range(series)]
            _largest_first(units, rows, _descending(units, set(chosen.tolist())), parallel)
            starts.append(np.array(rows))
    return starts


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
    return replace(dealt, groups=dealt.groups[order])


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
    bound = math.floor(weakest_bound(units, series, parallel) + WHOLE)
    limit = weakest_bound(1.0 / resistance, series, parallel)
    return _grouped(_Dealt(groups, spare), units, step, value, bound, "", resistance, limit)


def share_of_fair(capacity: np.ndarray, resistance: np.ndarray, places: np.ndarray) -> np.ndarray:
    """First share of each module in its group against its fair share by capacity.

    Examples:
        >>> share_of_fair(np.array([50.0, 50.0]), np.array([1.0, 3.0]), np.array([[0, 1]])).tolist()
        [[1.5, 0.5]]
    """
    conductance, held = 1.0 / resistance[places], capacity[places]
    return (conductance / conductance.sum(axis=1, keepdims=True)
            / (held / held.sum(axis=1, keepdims=True)))
