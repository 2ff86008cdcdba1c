"""What no dealing of modules can exceed: bounds that prove an answer good.

Seven laws, each true of every way to deal the strongest S·P modules to S groups of P:

1. The mean: the weakest of some groups holds their mean at most.
2. Weak modules: the j weakest lie in some k groups; even with the strongest others beside
   them those k groups hold their mean at most, so the weakest holds the best over k.
3. A giant: where the largest module with the P − 1 smallest beside it already reaches an
   upper bound, nothing is lost by that group. (Exchange a larger partner of it for one of
   the smallest: the other group gains, this one stays at the bound or above.) So the rest
   is a problem of its own, with a mean that the giant no longer lifts; and so on.
4. Two criteria: whoever keeps capacity F in every group and conductance C in every group
   keeps C + λF of the weighted sum g + λq in every group, for any λ ≥ 0. So C is at most
   the bound of the weighted sums less λF, for the best λ.
5. Law 2 for two criteria: without spare modules the j weakest by capacity lie in some k
   groups; with the best others by weighted sum those hold k(C + λF) at least, for any λ.
   And weak modules that fit into no group together need partners of their own (`own_groups`).
6. Whole steps: sums of P modules that differ by multiples of d differ by multiples of d.
7. Few strong ones: the j strongest fill at most j/(m + 1) groups with more than m of them each.
   Every other group holds m of them at most, beside the best of the rest, and the weakest of
   those groups holds their mean at most. Four giants in five groups: one group has none.
"""

from __future__ import annotations

import math

import numpy as np

from packcalc.bench.own_groups import MOST_WEAK, own_groups_bound
from packcalc.bench.search import splits, thirds

EACH = 192  # weak modules singled out one by one; above, in even steps
WEIGHTS = np.concatenate([[0.0], np.geomspace(0.02, 50.0, 23)])
FINER = np.linspace(-1.0, 1.0, 9)
WEAK_WEIGHTS = np.geomspace(0.05, 500.0, 49)
HEAVIEST, HALVINGS = 1e3, 40  # of the weight of capacity against conductance
ROUNDING = 1e-12  # of floating-point sums; a bound errs high


def weakest_bound(values: np.ndarray, series: int, parallel: int) -> float:
    """No grouping can lift its weakest group above this: laws 1 to 3 and 7.

    Args:
        values: capacities or conductances; the strongest S·P are counted.
        series, parallel: S groups of P.

    Examples:
        >>> weakest_bound(np.array([1, 5, 5, 6]), 2, 2)
        7.0
        >>> weakest_bound(np.array([1.0, 5.0, 5.0, 5.0]), 2, 2)
        6.0
        >>> weakest_bound(np.array([90.0, 5.0, 5.0, 5.0]), 2, 2)
        10.0
        >>> weakest_bound(np.array([10.0, 6.0, 6.0, 6.0, 6.0, 3.0]), 2, 3)
        18.0
    """
    best = np.sort(np.asarray(values, dtype=float))[::-1][:series * parallel]
    if parallel <= 2:  # strongest with weakest is the optimum itself (exchange argument)
        return float((best if parallel == 1 else best[:series] + best[::-1][:series]).min())
    aside, limit = giants(best, series, parallel)
    return min(limit, _mean_bound(_rest(best, aside, parallel), series - aside, parallel))


def giants(best: np.ndarray, series: int, parallel: int) -> tuple[int, float]:
    """How many giants may be set aside with the smallest partners, and the bound so far.

    Args:
        best: the S·P modules that are used, strongest first.
        series, parallel: S groups of P.
    """
    aside, limit = 0, math.inf
    while aside < series - 1:
        rest = _rest(best, aside, parallel)
        group = rest[0] + rest[len(rest) - parallel + 1:].sum()
        mean = float(rest.sum()) / (series - aside)
        if group < mean:
            mean = _mean_bound(rest, series - aside, parallel)
        limit = min(limit, mean)
        if group < mean:
            break
        aside += 1
    return aside, limit


def _rest(best: np.ndarray, aside: int, parallel: int) -> np.ndarray:
    return best[aside:len(best) - aside * (parallel - 1)]


def _mean_bound(best: np.ndarray, series: int, parallel: int) -> float:
    return min(few_strong_bound(best, series, parallel),
               *(bound for bound, _, _ in _bounds(best, series, parallel)))


def few_strong_bound(best: np.ndarray, series: int, parallel: int) -> float:
    """The least that groups with few of the strongest hold on average: law 7.

    Args:
        best: the S·P modules that are used, strongest first.
        series, parallel: S groups of P.

    Examples:
        >>> few_strong_bound(np.array([9.0, 9.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0]), 3, 3)
        15.0
    """
    top = np.concatenate(([0.0], np.cumsum(best)))
    strong = np.arange(len(best))[:, None]
    few = np.arange(parallel)[None, :]
    groups = series - strong // (few + 1)
    fits = groups > 0
    groups = np.where(fits, groups, 1)
    taken = np.minimum(few * groups, strong)
    last = np.minimum(strong + groups * parallel - taken, len(best))
    held = (top[taken] + top[last] - top[strong]) / groups
    return float(held[fits].min())


def _bounds(best: np.ndarray, series: int, parallel: int) -> list[tuple[float, int, int]]:
    """(bound, j, k): with no weak modules singled out, then with the j weakest in k groups."""
    top = np.concatenate(([0.0], np.cumsum(best)))
    low = np.concatenate(([0.0], np.cumsum(best[::-1])))
    most = min(series * parallel, 4 * series)
    j = np.unique(np.concatenate([np.arange(1, min(most, EACH) + 1),
                                  np.linspace(1, most, EACH).astype(int)]))[:, None]
    k = np.arange(1, series + 1)[None, :]
    fits = (k * parallel >= j) & (k <= j)
    mean = np.where(fits, (low[j] + top[np.where(fits, k * parallel - j, 0)]) / k, -np.inf)
    at = mean.argmax(axis=1)
    return [(float(top[-1]) / series, 0, series),
            *((float(mean[i, a]), int(j[i, 0]), a + 1) for i, a in enumerate(at.tolist()))]


def tight_bound(units: np.ndarray, series: int, parallel: int) -> tuple[int, int, int]:
    """The bound in whole steps, and the j weakest modules and k groups that set it.

    Laws 1, 2 and 7, which names no weak modules; giants are set aside before. Where the plain
    mean is not the tightest bound, one, two or three groups that hold the j weakest modules and
    the strongest others are split in every way.
    """
    best = np.sort(units)[::-1][:series * parallel]
    few = math.floor(few_strong_bound(best, series, parallel) + 1e-9)
    return min(_tight_by_weak(best, series, parallel), (few, 0, series), key=lambda b: b[0])


def _tight_by_weak(best: np.ndarray, series: int, parallel: int) -> tuple[int, int, int]:
    rough = [(math.floor(bound + 1e-9), j, k) for bound, j, k in _bounds(best, series, parallel)]
    tight = min(rough, key=lambda found: (found[0], -found[2]))
    if tight[1] == 0 or series <= 3 and parallel >= 5:
        return tight
    for _, small, _ in rough[1:MOST_WEAK + 1]:
        here = (-1, small, series)
        for groups in range(min(small, series), -(-small // parallel) - 1, -1):
            here = max(here, (critical(best, small, groups, parallel), small, groups))
            if here[0] >= tight[0]:  # these j weakest tighten nothing
                break
        else:
            tight = here
    return tight


def on_the_grid(bound: int, units: np.ndarray, parallel: int) -> int:
    """The bound lowered to a sum that P modules can have: law 6.

    Examples:
        >>> on_the_grid(24058, np.array([6011.0, 6001.0, 6021.0]), 4)
        24054
    """
    step = grid_step(units)
    return bound if step <= 1 else bound - (bound - parallel * int(units[0])) % step


def grid_step(units: np.ndarray) -> int:
    """Steps by which capacities differ, and so sums of equally many of them; 1 at least.

    Examples:
        >>> grid_step(np.array([6011.0, 6001.0, 6021.0]))
        10
    """
    return max(1, int(np.gcd.reduce(np.abs(units - units[0]).astype(np.int64))))


def critical(best: np.ndarray, small: int, groups: int, parallel: int) -> int:
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


def second_bound(conductance: np.ndarray, capacity: np.ndarray, floor: float, series: int,
                 parallel: int) -> float:
    """Highest conductance of the weakest group while every group keeps `floor`: laws 4, 5.

    Args:
        conductance, capacity: of each module, in any units.
        floor: capacity that every group keeps.
        series, parallel: S groups of P.

    Examples:
        >>> like, unlike = np.ones(4), np.array([1.0, 2.0, 3.0, 4.0])
        >>> round(float(second_bound(unlike, like, 2.0, 2, 2)), 9)
        5.0
    """
    scale = float(np.mean(conductance)) / float(np.mean(capacity))

    def at(weight: float) -> float:
        mixed = conductance + weight * scale * capacity
        return weakest_bound(mixed, series, parallel) - weight * scale * floor

    found = [at(w) for w in WEIGHTS]
    best = int(np.argmin(found))
    low, high = WEIGHTS[max(best - 1, 0)], WEIGHTS[min(best + 1, len(WEIGHTS) - 1)]
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    tightest = min([*found, *(at(w) for w in middle + half * FINER),
                    *own_groups_bound(conductance, capacity, floor, series, parallel),
                    *_weak_together(conductance, capacity, floor, series, parallel)])
    return tightest * (1.0 + ROUNDING)


def relaxed_choice(conductance: np.ndarray, capacity: np.ndarray, least: float,
                   count: int) -> np.ndarray | None:
    """Modules with the most conductance together that hold `least` capacity together (law 4).

    The strongest by the weighted sum, for the smallest weight that serves; None where no
    modules hold so much. A start for dealing, since the second bound is theirs as well.

    Examples:
        >>> g, q = np.array([4.0, 3.0, 2.0, 1.0]), np.array([1.0, 2.0, 3.0, 4.0])
        >>> relaxed_choice(g, q, 3.0, 2).tolist(), relaxed_choice(g, q, 6.5, 2).tolist()
        ([0, 1], [3, 2])
        >>> relaxed_choice(g, q, 7.5, 2) is None
        True
    """
    scale = float(np.mean(conductance)) / float(np.mean(capacity))

    def strongest(weight: float) -> np.ndarray:
        mixed = conductance + weight * scale * capacity
        return np.argsort(-mixed, kind="stable")[:count]

    low, high = 0.0, HEAVIEST
    found = strongest(low)
    if capacity[found].sum() >= least:
        return found
    found = strongest(high)
    if capacity[found].sum() < least:
        return None
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        some = strongest(middle)
        if capacity[some].sum() >= least:
            high, found = middle, some
        else:
            low = middle
    return found


def _weak_together(conductance: np.ndarray, capacity: np.ndarray, floor: float, series: int,
                   parallel: int) -> list[float]:
    """Law 5: the j weakest by capacity, in k groups, with the best others by weighted sums."""
    if len(capacity) != series * parallel or parallel < 2:
        return []  # a spare one may take the place of a weak one
    order, found = np.argsort(capacity, kind="stable"), []
    scale = float(np.mean(conductance)) / float(np.mean(capacity))
    weight = WEAK_WEIGHTS[:, None] * scale
    mixed = conductance[order] + weight * capacity[order]
    for weak in range(1, min(MOST_WEAK, series) + 1):
        groups = np.arange(-(-weak // parallel), weak + 1)
        others = -np.sort(-mixed[:, weak:], axis=1)[:, :int(groups[-1]) * parallel - weak]
        top = np.concatenate([np.zeros((len(mixed), 1)), np.cumsum(others, axis=1)], axis=1)
        held = mixed[:, :weak].sum(axis=1)[:, None] + top[:, groups * parallel - weak]
        found.append(float((held / groups - weight * floor).min(axis=0).max()))
    return found


def strings_bound(values: np.ndarray, series: int, parallel: int) -> float:
    """Highest sum of each string's weakest: the k-th string holds at most the kS-th module.

    Examples:
        >>> strings_bound(np.array([4.0, 3.0, 2.0, 1.0]), 2, 2)
        4.0
    """
    best = np.sort(np.asarray(values, dtype=float))[::-1]
    return float(best[series - 1:series * parallel:series].sum())
