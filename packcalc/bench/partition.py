"""Modules in groups: the weakest group's sum as high as possible, then even resistance.

A hard problem from three modules a group on. Capacities are counted in whole steps (see
`dealing.counting_step`), so that an optimum is an optimum to the last step. Everything is
plain numpy; the same seed gives the same answer, and effort is counted in rounds, never in
seconds. Strings are another problem: see `strings`.
"""

from __future__ import annotations

import math

import numpy as np

from packcalc.bench.allotted import MOST_ALLOTTED, allotment_bound
from packcalc.bench.bounds import (
    critical,
    giants,
    grid_step,
    on_the_grid,
    second_bound,
    tight_bound,
    weakest_bound,
)
from packcalc.bench.chains import EFFORT as CHAIN_STEPS
from packcalc.bench.chains import chain_ends, first_groups
from packcalc.bench.dealing import (
    Assignment,
    Dealing,
    Effort,
    Pins,
    chunks_of,
    counting_step,
    demand_enough,
    descending,
    largest_first,
    match,
    weakest_sum,
)
from packcalc.bench.evenness import even_resistance
from packcalc.bench.exact import (
    EXACT_SUMS,
    FEW_EXACT,
    best_grouping,
    most_exact,
    weakest_first,
    window_width,
)
from packcalc.bench.few_groups import MOST_GROUPS, best_of_few
from packcalc.bench.keeping import Rules
from packcalc.bench.mending import mended
from packcalc.bench.pinned import folded, start_groups
from packcalc.bench.pinned_exact import best_pinned
from packcalc.bench.search import Search, pair_up, splits
from packcalc.value import replace

REACHED = "the bound is reached"
NOT_PROVEN = "not proven; the bound is"
NO_PINS = f"{NOT_PROVEN}, and it knows no pins"
WHOLE = 1e-9  # of a step: sums of whole steps are whole
ROOM = 0.002  # of the bound: what each group after the first ones should hold above it
CRITICAL_ROUNDS = 60
WIDEST_CHAIN = 8  # modules of a group that are dealt chain by chain
LONG_CHAIN = 60  # modules: longer ones are sooner mended than looked through
MENDING = 600  # steps before that is given up
FEW_WAYS = 1_700  # to split two of all groups: fewer are searched instead
FEW_WIDE, FEW_SUMS, LONGER = 5, 800_000, 5  # looked through from five modules a group on
BRIEF_LIST = 11_000  # half sets of partners: of more a short mending comes first
LEFT = 5  # of the other effort this part is left where few groups were looked through in vain
FEW_ROUNDS = 20  # of that search
EVERY_PINNED = "every other dealing that keeps the pins was excluded"
OTHERWISE = "every other grouping of the modules that set the bound was excluded"


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
    placed, bound, proof = _best_places(units, series, parallel, pins, effort, rng)
    value, final, limit = weakest_sum(units, placed.groups), placed, math.nan
    if resistance is not None:
        conductance, floor = 1.0 / np.asarray(resistance, dtype=float), value * (
            1.0 - effort.tolerance)
        limit = second_bound(conductance, units, floor, series, parallel)
        final, limit = even_resistance(units, conductance, placed, (floor, limit), effort, rng,
                                       _rules(pins))
    return _grouped(final, units, step, value, bound, proof, resistance, limit,
                    NO_PINS if pins else NOT_PROVEN)


def _best_places(units: np.ndarray, series: int, parallel: int, pins: Pins, effort: Effort,
                 rng: np.random.Generator) -> tuple[Dealing, int, str]:
    """The best groups found, each at a place that the pins allow; a bound, and the proof."""
    chunks_of(pins, parallel)  # refuses pins that contradict each other
    exact = best_pinned(units, series, parallel, pins) if pins else None
    if exact is not None:
        spare = np.setdiff1d(np.arange(len(units)), exact.ravel())
        return Dealing(exact, spare), weakest_sum(units, exact), EVERY_PINNED
    best, bound, proof = _best_groups(units, series, parallel, pins, effort, rng)
    placed = _to_places(best, pins)
    if placed is not None:
        return placed, bound, proof
    # the groups found fit no places: name the places first
    return _best_start(units, start_groups(units, series, parallel, pins), bound, effort, rng,
                       _rules(pins))


def _rules(pins: Pins) -> Rules:
    return Rules(tuple(b for b in pins.together if len(b) > 1), pins.apart, pins.allowed)


def _grouped(final: Dealing, units: np.ndarray, step: float, value: float, bound: float,
             proof: str, resistance: np.ndarray | None, limit: float,
             unproven: str = NOT_PROVEN) -> Assignment:
    conductance = math.nan
    if resistance is not None:
        g = 1.0 / np.asarray(resistance, dtype=float)
        conductance = float(g[final.groups].sum(axis=1).min())
    order = np.argsort(-units[final.groups], axis=1, kind="stable")
    rows = np.take_along_axis(final.groups, order, axis=1)
    spare = final.spare[np.argsort(-units[final.spare], kind="stable")]
    return Assignment("grouped", rows, spare,
                      float(units[rows].sum(axis=1).min()) * step, value * step, bound * step,
                      bool(proof), proof or unproven, conductance, limit, step)


def _best_groups(units: np.ndarray, series: int, parallel: int, pins: Pins, effort: Effort,
                 rng: np.random.Generator) -> tuple[Dealing, int, str]:
    """The best groups found, a bound in whole steps, and the proof ("" where there is none).

    Forbidden places are left out of account here.
    """
    if pins:
        pins = replace(pins, allowed=None)
        starts = start_groups(units, series, parallel, pins)
        if parallel == 2:
            starts = [folded(units, start, pins) for start in starts]
        # what no dealing without pins exceeds, none with pins does
        _, bound, _ = _best_groups(units, series, parallel, Pins(), replace(effort, rounds=0), rng)
        return _best_start(units, starts, bound, effort, rng, _rules(pins))
    order = np.argsort(-units, kind="stable")
    used, spare = order[:series * parallel], order[series * parallel:]
    if parallel <= 2:
        dealt = Dealing(pair_up(units, used.reshape(series, parallel)), spare)
        return dealt, weakest_sum(units, dealt.groups), (
            "sorted pairs are optimal (exchange argument)" if parallel == 2
            else "one module a place")
    aside, limit = giants(units[used], series, parallel)
    own, rest = _set_aside(used, aside, parallel)
    dealt, bound, proof = _rest_groups(units, rest, series - aside, parallel, effort, rng)
    groups = np.concatenate([own, dealt.groups])
    bound = bound if math.isinf(limit) else min(bound, math.floor(limit + WHOLE))
    if weakest_sum(units, groups) >= bound:
        proof = proof or REACHED
    return Dealing(groups, spare), bound, proof


def _best_start(units: np.ndarray, starts: list[Dealing], bound: int, effort: Effort,
                rng: np.random.Generator, rules: Rules) -> tuple[Dealing, int, str]:
    """The search from each start, until one reaches the bound."""
    effort, best = replace(effort, rounds=max(1, effort.rounds // len(starts))), None
    for start in starts:
        found = _searched(units, start, bound, effort, rng, rules)
        if best is None or weakest_sum(units, found[0].groups) > weakest_sum(units, best[0].groups):
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
                 rng: np.random.Generator) -> tuple[Dealing, int, str]:
    """What is left when the giants have their groups."""
    bound, weak, narrow = tight_bound(units[used], series, parallel)
    few = series * parallel <= FEW_EXACT
    if few:  # all of it is looked through
        weak, narrow = 0, series
    bound = on_the_grid(bound, units[used], parallel)
    chain = not few and weak in (0, narrow) and parallel <= WIDEST_CHAIN
    start, reached = _weakest_dealt(units, used, bound, parallel)
    looked = not reached and series <= MOST_GROUPS and FEW_WIDE <= parallel <= WIDEST_CHAIN
    if looked:
        start, limit, proof = _few_groups(units, start, bound, narrow, rng)
        if proof:
            return start, limit, proof
        effort = replace(effort, rounds=effort.rounds // LEFT)
        bound, weak, narrow = (bound, weak, narrow) if limit == bound else (limit, 0, series)
    elif not (reached or few or chain and _brief_chain(units[used], bound, narrow, parallel)):
        start, reached = _mended(units, start, bound, narrow, rng)
    if reached:
        return start, bound, REACHED
    proof = ""
    if chain:
        steps = CHAIN_STEPS // 2 if looked else CHAIN_STEPS
        start, limit, proof = _from_chain(units, used, start, (bound, narrow), effort, steps, rng)
        weak = weak if limit == bound else 0
        bound = limit
    if proof or chain and narrow < series:
        return start, bound, proof
    if narrow == series and series * parallel > most_exact(parallel):
        return _searched(units, start, bound, effort, rng)
    return _from_critical(units, start, (bound, weak, narrow), effort, rng)


def _few_groups(units: np.ndarray, start: Dealing, bound: int, narrow: int,
                rng: np.random.Generator) -> tuple[Dealing, int, str]:
    """Few groups of several modules: looked through, and mended where that takes long."""
    series, parallel = start.groups.shape
    best, limit = np.sort(units[start.groups.ravel()])[::-1], bound
    if math.comb(len(best), parallel // 2) > BRIEF_LIST:
        start, reached = _mended(units, start, bound, narrow, rng, MENDING // 6)
        if reached:
            return start, bound, REACHED
    sums = FEW_SUMS
    while True:
        groups, limit, settled = best_of_few(units, start.groups, limit, grid_step(best), sums)
        start = replace(start, groups=groups)
        if settled or sums > FEW_SUMS:
            return start, limit, (REACHED if limit == bound else OTHERWISE) if settled else ""
        lower = limit
        if series <= MOST_ALLOTTED:
            lower = allotment_bound(best, series, parallel, weakest_sum(units, groups))
            lower = min(limit, on_the_grid(lower, best, parallel))
        if lower == limit:
            start, reached = _mended(units, start, limit, series, rng)
            if reached:
                return start, limit, REACHED
            sums = LONGER * FEW_SUMS
        limit = lower


def _brief_chain(values: np.ndarray, limit: int, narrow: int, parallel: int) -> bool:
    """Whether some of the weakest leave so little room that they are sooner looked through."""
    ends = chain_ends(values, limit, narrow, parallel)
    return bool(ends) and ends[0] * parallel <= LONG_CHAIN


def _weakest_dealt(units: np.ndarray, used: np.ndarray, limit: int,
                   parallel: int) -> tuple[Dealing, bool]:
    """Dealt from the weakest on; whether the limit is reached."""
    none = np.array([], dtype=int)
    if not len(used):
        return Dealing(np.empty((0, parallel), dtype=int), none), True
    if window_width(parallel - 1) <= parallel:  # too many partners to choose them at once
        rows: list[list[int]] = [[] for _ in range(len(used) // parallel)]
        largest_first(units, rows, used.tolist(), parallel)
        groups = np.array(rows)
    else:
        groups = weakest_first(units, used, float(limit), parallel)
    return Dealing(groups, none), weakest_sum(units, groups) >= limit


def _mended(units: np.ndarray, dealt: Dealing, limit: int, narrow: int,
            rng: np.random.Generator, steps: int = MENDING) -> tuple[Dealing, bool]:
    """Groups that were dealt from the weakest on, mended; whether the limit is reached.

    First those that set the limit, among themselves: what is missing there is never found in
    groups that hold none of the strongest. A few small groups have too few ways to split two.
    """
    groups, parallel = dealt.groups.copy(), dealt.groups.shape[1]
    for count in sorted({narrow, len(groups)}):
        if count * splits(parallel).shape[1] < FEW_WAYS:
            search = Search(units[None, :], groups[:count], Rules(), _shortfall(limit), rng)
            search.run(FEW_ROUNDS)
            groups[:count] = search.best
        else:
            groups[:count] = mended(units, groups[:count], limit, rng, steps)
        if weakest_sum(units, groups[:count]) < limit:
            break
    return replace(dealt, groups=groups), weakest_sum(units, groups) >= limit


def _from_chain(units: np.ndarray, used: np.ndarray, start: Dealing, bound: tuple[int, int],
                effort: Effort, steps: int,
                rng: np.random.Generator) -> tuple[Dealing, int, str]:
    """The groups of the weakest that set the bound first, by looking through; then the rest."""
    parallel, (limit, narrow) = start.groups.shape[1], bound
    starts = []
    for groups, limit in first_groups(units, used, limit, narrow, parallel,
                                      grid_step(units[used]), rng, steps):
        if limit == bound[0] and not len(groups):
            break
        rest = used[~np.isin(used, groups)]
        dealt, reached = _weakest_dealt(units, rest, limit, parallel)
        if not reached:
            dealt, _ = _mended(units, dealt, limit, len(dealt.groups), rng)
        whole = replace(start, groups=np.concatenate([groups, dealt.groups]))
        if weakest_sum(units, whole.groups) >= limit:
            return whole, limit, OTHERWISE if limit < bound[0] else REACHED
        starts.append(whole)
    for first in starts[::-1]:
        dealt, _, reached = _searched(units, first, limit,
                                      replace(effort, rounds=effort.rounds // 5), rng)
        if reached:
            return dealt, limit, OTHERWISE if limit < bound[0] else REACHED
        start = max(start, dealt, key=lambda dealt: weakest_sum(units, dealt.groups))
    return start, limit, ""


def _from_critical(units: np.ndarray, start: Dealing, bound: tuple[int, int, int],
                   effort: Effort, rng: np.random.Generator) -> tuple[Dealing, int, str]:
    """Search from the groups that set the bound for a short while, then from the start."""
    begun, proven, limit = _critical_start(units, start, bound, rng)
    found = []
    if limit < bound[0]:
        used = np.array(descending(units, set(start.groups.ravel().tolist())))
        start, reached = _weakest_dealt(units, used, limit, start.groups.shape[1])
        if reached:
            return start, limit, OTHERWISE
    for share, first in ((5, begun), (1, start)):
        dealt, _, proof = _searched(units, first, limit,
                                    replace(effort, rounds=effort.rounds // share), rng)
        if proof:
            return dealt, limit, OTHERWISE if proven else proof
        found.append(dealt)
    return max(found, key=lambda dealt: weakest_sum(units, dealt.groups)), limit, ""


def _searched(units: np.ndarray, start: Dealing, bound: int, effort: Effort,
              rng: np.random.Generator, rules: Rules = Rules()) -> tuple[Dealing, int, str]:
    search = Search(units[None, :], start.groups, rules, _shortfall(bound), rng,
                    start.spare if rules else None)
    search.run(effort.rounds)
    reached = weakest_sum(units, search.best) >= bound
    spare = np.setdiff1d(np.arange(len(units)), search.best.ravel()) if rules else start.spare
    return Dealing(search.best, spare), bound, REACHED if reached else ""


def _critical_start(units: np.ndarray, start: Dealing, bound: tuple[int, int, int],
                    rng: np.random.Generator) -> tuple[Dealing, bool, int]:
    """First the groups that set the bound, then all others: the largest to the lowest.

    Args:
        units, start, rng: as everywhere.
        bound: value, weakest modules and groups that set it.

    Returns:
        The start, whether the bound was lowered to a proven optimum, and the bound.
    """
    series, parallel = start.groups.shape
    limit, weak, narrow = bound
    order = np.array(descending(units, set(start.groups.ravel().tolist())))
    shape = (series, parallel)
    groups, proven, limit = _first_groups(units, order, bound, shape, rng, EXACT_SUMS)
    wide = _with_room(units[order], limit, narrow, parallel) if weak == narrow else narrow
    if wide > narrow:  # what the next weak modules need is settled along with these
        wider, again, limit = _first_groups(units, order, (limit, wide, wide), shape, rng,
                                            EXACT_SUMS // 4)
        proven = proven or again
        groups = wider if weakest_sum(units, wider) >= limit else groups
    rows: list[list[int]] = [[] for _ in range(series - len(groups))]
    outside = set(order.tolist()) - set(groups.ravel().tolist())
    largest_first(units, rows, descending(units, outside), parallel)
    whole = np.concatenate([groups, np.array(rows, dtype=int).reshape(-1, parallel)])
    return replace(start, groups=whole), proven, limit


def _first_groups(units: np.ndarray, order: np.ndarray, bound: tuple[int, int, int],
                  shape: tuple[int, int], rng: np.random.Generator,
                  sums: int) -> tuple[np.ndarray, bool, int]:
    """The weakest modules with the strongest others; whether that lowers the bound; the bound."""
    (limit, weak, narrow), (series, parallel) = bound, shape
    inside = np.concatenate([order[:narrow * parallel - weak], order[len(order) - weak:]])
    rows: list[list[int]] = [[] for _ in range(narrow)]
    largest_first(units, rows, descending(units, set(inside.tolist())), parallel)
    first = Search(units[None, :], np.array(rows), Rules(), _shortfall(limit), rng)
    looked_through = narrow * parallel <= most_exact(parallel)
    first.run(0 if looked_through else CRITICAL_ROUNDS)
    groups, proven = first.best, False
    if first.worst > 0 and looked_through:
        groups, proven = best_grouping(units, first.best, limit, sums)
    if proven:
        rivals = [critical(units[order], weak, k, parallel) if weak else 0
                  for k in range(-(-weak // parallel), min(weak, series) + 1) if k != narrow]
        lowered = min(limit, max([weakest_sum(units, groups), *rivals]))
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


# --- places ---------------------------------------------------------------------------

def _to_places(dealt: Dealing, pins: Pins) -> Dealing | None:
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
    value = weakest_sum(units, groups)
    bound = math.floor(weakest_bound(units, series, parallel) + WHOLE)
    limit = weakest_bound(1.0 / resistance, series, parallel)
    return _grouped(Dealing(groups, spare), units, step, value, bound, "", resistance, limit)


def share_of_fair(capacity: np.ndarray, resistance: np.ndarray, places: np.ndarray) -> np.ndarray:
    """First share of each module in its group against its fair share by capacity.

    Examples:
        >>> share_of_fair(np.array([50.0, 50.0]), np.array([1.0, 3.0]), np.array([[0, 1]])).tolist()
        [[1.5, 0.5]]
    """
    conductance, held = 1.0 / resistance[places], capacity[places]
    return (conductance / conductance.sum(axis=1, keepdims=True)
            / (held / held.sum(axis=1, keepdims=True)))
