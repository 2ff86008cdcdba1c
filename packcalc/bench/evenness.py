"""Even resistance: the weakest group's conductance, while its capacity is kept.

A search by both criteria at once from the groups that capacity alone found, or from the
modules that the bound of the conductance itself would use.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from packcalc.bench.bounds import relaxed_choice
from packcalc.bench.covers import Cover, who_stands_where
from packcalc.bench.dealing import Dealing, Effort, descending, largest_first, weakest_sum
from packcalc.bench.exact import FEW_EXACT, combinations
from packcalc.bench.keeping import Rules
from packcalc.bench.prices import price_bound
from packcalc.bench.search import Search
from packcalc.bench.weak_by_both import dealt_by_both
from packcalc.value import replace

AIMS = (0.0025, 0.0015, 0.0008)  # below the bound, one after the other; no meter tells finer
ROOMS = (0.0005, 0.0012)  # capacity of the mean group above the floor, for a deal to be found
WEIGHTS = (1.0, 4.0, 25.0, 200.0)  # of missing capacity against missing conductance
EVEN_LOOKS, FEW_LOOKS = 0.7, 0.3  # looks a group at each weight: 2000 modules in two seconds
NARROWEST, WIDEST = 4, 8  # modules of a group: of many such the weakest are dealt by both first
STRICT = 1e4  # no capacity may be missing
MANY = 128  # groups; more are looked at again only with no capacity missing
REBUILT = 100  # times that a few groups are dealt anew, at most
MOST_SETS = 11_000  # groups that are listed for one of them
MOST_GROUPS = 4  # dealt anew at once
TIGHT = 0.5  # share of times that the others are those with the least capacity to spare
STEPS = 60  # of looking for disjoint ones among those listed
SHARES = (1.0, 0.5, 0.1, 0.0)  # of the way to the goal that the weakest group should go


def even_resistance(units: np.ndarray, conductance: np.ndarray, best: Dealing,
                    asked: tuple[float, float], effort: Effort, rng: np.random.Generator,
                    rules: Rules) -> tuple[Dealing, float]:
    """Even out conductance while the weakest group keeps its capacity within the tolerance.

    Groups that reach what is aimed at are content, so that all others can have what they need;
    the aim comes nearer to the bound each time it is reached. Where it is not, the bound is
    looked at again (`prices`). With spare modules the first to be dealt are those that the
    bound itself would use. Of very many modules the weakest are dealt first, by both criteria.

    Args:
        units, conductance: of each module.
        best: the dealing that capacity alone found.
        asked: the capacity to keep, and the bound of the conductance.
        effort, rng, rules: of the search.

    Returns:
        The dealing, and the bound, lowered where that was proven.
    """
    (floor, limit), (series, parallel) = asked, best.groups.shape
    look = _Look(units, conductance, best, floor, effort, rng, rules)
    if series > MANY and NARROWEST <= parallel <= WIDEST and not (rules or len(best.spare)):
        for aim in (AIMS[-1], AIMS[0]):  # so many are as a rule dealt at once
            if not look.reached(limit, aim):
                look.bettered(look.by_both(limit, aim), limit, aim)
    starts = [*([] if rules else _relaxed_starts(units, conductance, best, floor)), best.groups,
              *([None, None] if series <= MANY else [None])]
    priced = None
    for place, start in enumerate(starts):
        if look.reached(limit, AIMS[0]) or look.bettered(start, limit, AIMS[0]):
            break
        if place in (0, len(starts) - 2) and priced != (limit, look.least):
            priced = limit, look.least  # asked the same again, prices prove the same
            limit = price_bound(conductance, units, (floor, limit), series, parallel, look.least)
    if not (rules or len(best.spare) or look.reached(limit, AIMS[0])):
        look.rebuild(limit, AIMS[0])
    for before, aim in pairwise(AIMS):
        if not look.reached(limit, before):
            break
        if not look.reached(limit, aim):
            look.bettered(None, limit, aim)
    return look.dealt, limit


class _Look:
    """The most even dealing so far, and the looks for a better one.

    Attributes:
        dealt: that dealing; it keeps the capacity.
    """

    def __init__(self, units: np.ndarray, conductance: np.ndarray, best: Dealing, floor: float,
                 effort: Effort, rng: np.random.Generator, rules: Rules):
        self.units, self.conductance, self.dealt, self.floor = units, conductance, best, floor
        self.effort, self.rng, self.rules = effort, rng, rules

    @property
    def least(self) -> float:
        """Conductance of the weakest group."""
        return _least(self.conductance, self.dealt)

    def reached(self, limit: float, aim: float) -> bool:
        """Whether the dealing so far lies no further below the limit than that share of it."""
        return self.least >= limit * (1.0 - aim)

    def bettered(self, start: np.ndarray | None, limit: float, aim: float) -> bool:
        """Look from a start, or from the best so far; whether the aim is reached.

        First both are bettered together, whatever capacity that costs on the way; then missing
        capacity weighs more and more. From the best so far none is missing at any step at last.
        """
        groups, weights = (start, WEIGHTS) if start is not None else (
            self.dealt.groups, (*WEIGHTS, STRICT) if len(self.dealt.groups) <= MANY else (STRICT,))
        looks = EVEN_LOOKS if groups.shape[1] > 3 else FEW_LOOKS
        for weight in weights:
            spare = np.setdiff1d(np.arange(len(self.units)), groups.ravel())
            search = Search(np.stack([self.units, self.conductance]), groups, self.rules,
                            _two_criteria(self.floor, limit * (1.0 - aim), weight), self.rng,
                            spare=spare)
            search.run(self.effort.rounds // 10, looks)
            groups = search.best
            self._keep(groups)
            if self.reached(limit, aim):
                return True
        return False

    def by_both(self, limit: float, aim: float) -> np.ndarray:
        """The same modules, dealt by both criteria."""
        return dealt_by_both(np.stack([self.units, self.conductance]), self.dealt.groups.ravel(),
                             (self.floor, limit * (1.0 - aim)), self.dealt.groups.shape[1])

    def rebuild(self, limit: float, aim: float) -> None:
        """A few groups are dealt anew, again and again."""
        values = np.stack([self.units, self.conductance])
        self._keep(rebuilt(values, self.dealt, (self.floor, limit * (1.0 - aim)), self.rng).groups)

    def _keep(self, groups: np.ndarray) -> None:
        if weakest_sum(self.units, groups) < self.floor:
            return
        spare = np.setdiff1d(np.arange(len(self.units)), groups.ravel())
        self.dealt = max(self.dealt, Dealing(groups, spare),
                         key=lambda dealt: _least(self.conductance, dealt))


def rebuilt(values: np.ndarray, dealt: Dealing, asked: tuple[float, float],
            rng: np.random.Generator) -> Dealing:
    """The group of least conductance is dealt anew with a few others, again and again.

    All groups that their modules can make and that serve are listed, then disjoint ones are
    sought: far more ways than exchanges know. Where nothing is won, another way that loses
    nothing is taken, to look on from there.

    Args:
        values: (2, modules): capacity, conductance.
        dealt: groups that keep the capacity.
        asked: capacity that each group keeps, and the conductance aimed at.
        rng: of what is dealt anew.
    """
    groups, (floor, goal), parallel = dealt.groups.copy(), asked, dealt.groups.shape[1]
    few = min(MOST_GROUPS, len(groups))
    if few < 2 or math.comb(MOST_GROUPS * parallel, parallel) > MOST_SETS:
        return dealt
    held = values[1, groups].sum(axis=1)
    for _ in range(REBUILT):
        worst, least = int(held.argmin()), float(held.min())
        if least >= goal:
            break
        others = np.delete(np.arange(len(groups)), worst)
        if rng.random() < TIGHT:
            others = others[np.argsort(values[0, groups[others]].sum(axis=1))][:MOST_GROUPS + 1]
        chosen = np.append(worst, rng.choice(others, few - 1, replace=False))
        members = groups[chosen].ravel()
        wishes = [least + share * (goal - least) for share in SHARES]
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
    """The worse of: capacity below its floor, conductance below its goal (both relative)."""
    def badness(sums: np.ndarray) -> np.ndarray:
        short = np.maximum((floor - sums[0]) / floor, 0.0)
        loose = np.maximum((goal - sums[1]) / goal, 0.0)
        return np.maximum(weight * short, loose)
    return badness


def _least(conductance: np.ndarray, dealt: Dealing) -> float:
    return float(conductance[dealt.groups].sum(axis=1).min())
