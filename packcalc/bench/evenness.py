"""Even resistance: the weakest group's conductance, while its capacity is kept.

A search by both criteria at once from the groups that capacity alone found, or from the
modules that the bound of the conductance itself would use.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from packcalc.bench.bounds import relaxed_choice
from packcalc.bench.covers import Cover, who_stands_where
from packcalc.bench.dealing import Dealing, Effort, descending, largest_first, weakest_sum
from packcalc.bench.exact import FEW_EXACT, combinations
from packcalc.bench.search import Rules, Search

EVEN_ENOUGH = 0.0005  # no meter tells conductance finer
GOOD_ENOUGH = 0.001
FAR = 0.002  # below its bound: one more start is worth its time
ROOMS = (0.0005, 0.0012)  # capacity of the mean group above the floor, for a deal to be found
WEIGHTS = (1.0, 4.0, 25.0, 200.0)  # of missing capacity against missing conductance
EVEN_LOOKS, FEW_LOOKS = 0.35, 0.2  # looks a group at each weight: 2000 modules in two seconds
STRICT = 1e4  # no capacity may be missing
REBUILT = 100  # times that a few groups are dealt anew, at most
MOST_SETS = 11_000  # groups that are listed for one of them
MOST_GROUPS = 4  # dealt anew at once
TIGHT = 0.5  # share of times that the others are those with the least capacity to spare
STEPS = 60  # of looking for disjoint ones among those listed
SHARES = (1.0, 0.5, 0.1, 0.0)  # of the way to the goal that the weakest group should go


def even_resistance(units: np.ndarray, conductance: np.ndarray, best: Dealing,
                    asked: tuple[float, float], effort: Effort, rng: np.random.Generator,
                    rules: Rules) -> Dealing:
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
            if weakest_sum(units, groups) >= asked[0]:
                spare = np.setdiff1d(np.arange(len(units)), groups.ravel())
                found.append(replace(best, groups=groups, spare=spare))
                if search.worst <= GOOD_ENOUGH:
                    return True
        return False

    def strongest() -> Dealing:
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
    if rules or near() or len(best.spare) or len(best.groups) <= MOST_GROUPS:
        return strongest()
    return rebuilt(values, strongest(), asked, rng)


def rebuilt(values: np.ndarray, dealt: Dealing, asked: tuple[float, float],
            rng: np.random.Generator) -> Dealing:
    """The group of least conductance is dealt anew with a few others, again and again.

    All groups that their modules can make and that serve are listed, then disjoint ones are
    sought: far more ways than exchanges know. Where nothing is won, another way that loses
    nothing is taken, to look on from there.

    Args:
        values: (2, modules): capacity, conductance.
        dealt: groups that keep the capacity.
        asked: capacity that each group keeps, and the conductance that none can exceed.
        rng: of what is dealt anew.
    """
    groups, (floor, goal), parallel = dealt.groups.copy(), asked, dealt.groups.shape[1]
    few = min(MOST_GROUPS, len(groups))
    if few < 2 or math.comb(MOST_GROUPS * parallel, parallel) > MOST_SETS:
        return dealt
    held = values[1, groups].sum(axis=1)
    for _ in range(REBUILT):
        worst, least = int(held.argmin()), float(held.min())
        if least >= goal * (1.0 - GOOD_ENOUGH):
            break
        others = np.delete(np.arange(len(groups)), worst)
        if rng.random() < TIGHT:
            others = others[np.argsort(values[0, groups[others]].sum(axis=1))][:MOST_GROUPS + 1]
        chosen = np.append(worst, rng.choice(others, few - 1, replace=False))
        members = groups[chosen].ravel()
        wishes = [least + share * (goal * (1.0 - EVEN_ENOUGH) - least) for share in SHARES]
        new = _dealt_anew(values[:, members], floor, wishes, parallel, rng)
        if new is not None:
            groups[chosen] = members[new]
            held[chosen] = values[1, groups[chosen]].sum(axis=1)
    return replace(dealt, groups=groups)


def _dealt_anew(values: np.ndarray, floor: float, wishes: list[float], parallel: int,
                rng: np.random.Generator) -> np.ndarray | None:
    """Disjoint groups of all modules that fulfil the first wish that can be; None: not one."""
    count = values.shape[1]
    sets = combinations(count, parallel)
    conductance = values[1][sets].sum(axis=1)
    able = rng.permutation(np.flatnonzero(
        (conductance >= wishes[-1]) & (values[0][sets].sum(axis=1) >= floor)))
    for wish in wishes:
        some = sets[able[conductance[able] >= wish]]
        places = np.ones((len(some), count // parallel), dtype=bool)
        found = Cover(who_stands_where(some, count), places, 0, STEPS).among(len(some))
        if found is not None:
            return some[found]
    return None


def _relaxed_starts(units: np.ndarray, conductance: np.ndarray, best: Dealing,
                    floor: float) -> list[np.ndarray]:
    """The modules that the bound would use, dealt: with little and with more room in capacity."""
    series, parallel = best.groups.shape
    starts = []
    for room in ROOMS if len(best.spare) and best.groups.size > FEW_EXACT else ():
        chosen = relaxed_choice(conductance, units, series * floor * (1.0 + room),
                                series * parallel)
        if chosen is not None:
            rows: list[list[int]] = [[] for _ in range(series)]
            largest_first(units, rows, descending(units, set(chosen.tolist())), parallel)
            starts.append(np.array(rows))
    return starts


def _two_criteria(floor: float, goal: float, weight: float):
    """The worse of: capacity below its floor, conductance below its bound (both relative)."""
    def badness(sums: np.ndarray) -> np.ndarray:
        short = np.maximum((floor - sums[0]) / floor, 0.0)
        loose = np.maximum((goal - sums[1]) / goal - EVEN_ENOUGH, 0.0)
        return np.maximum(weight * short, loose)
    return badness


def _least(conductance: np.ndarray, dealt: Dealing) -> float:
    return float(conductance[dealt.groups].sum(axis=1).min())
