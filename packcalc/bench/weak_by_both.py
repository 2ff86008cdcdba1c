"""A dealing by both criteria in which those that have the fewest partners choose first.

Of many modules the weakest can only stand beside the strongest, and of these just some conduct
what is asked. Where they are dealt by capacity alone their groups conduct as it happens, and no
exchange of modules betters them: nearly all that could are weak themselves. So the weakest take,
one after the other, partners that waste the least of both criteria and leave enough capacity to
the other weak ones (law 2 of `bounds`). One dealing without a step back.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from packcalc.bench.dealing import descending, largest_first
from packcalc.bench.exact import combinations

CHOOSING = 0.6  # of the groups are chosen for; what is left has partners enough
MOST_SETS = 4_000  # of partners that are looked at for one weak module at once
FEW, ALL_SETS = 36, 60_000  # where there are no more partners and sets, all are looked at
WIDEST = 100  # of how many partners
LITTLE = 0.01  # of both criteria: with less waste no other partners are looked at
TRIED = 60  # sets that are held against what the others need
CALM = 1e-12
SHORT, TAKING = 1.0, 50.0  # worse than any waste: too little, and what leaves others too little


def dealt_by_both(values: np.ndarray, used: np.ndarray, asked: tuple[float, float],
                  parallel: int) -> np.ndarray:
    """Groups of those that are used; what is asked may be missed.

    Args:
        values: (2, modules): capacity, conductance.
        used: module numbers, S·P of them.
        asked: capacity and conductance of every group.
        parallel: modules of a group, 3 or more.

    Examples:
        >>> values = np.array([[9.0, 9, 8, 8, 5, 4], [1.0, 5, 4, 2, 3, 3]])
        >>> dealt_by_both(values, np.arange(6), (21.0, 8.0), 3).tolist()
        [[5, 0, 2], [4, 1, 3]]
    """
    series, beside = len(used) // parallel, parallel - 1
    shares = values / np.array(asked)[:, None]  # every group wants 1 of both
    weak = used[_fewest_partners(shares[:, used], beside)[:math.ceil(CHOOSING * series)]]
    free = used[np.argsort(-shares[0, used], kind="stable")]
    free, rows = free[~np.isin(free, weak)], []
    for place, module in enumerate(weak):
        later = np.sort(shares[0, weak[place + 1:]])
        lack = np.arange(1, len(later) + 1) - np.cumsum(later)
        taken = _partners(shares[:, free], 1.0 - shares[:, module], beside, lack)
        rows.append([int(module), *free[taken].tolist()])
        free = np.delete(free, taken)
    rest: list[list[int]] = [[] for _ in range(series - len(rows))]
    outside = set(used.tolist()) - {module for row in rows for module in row}
    largest_first(values[0], rest, descending(values[0], outside), parallel)
    return np.array(rows + rest)


def _fewest_partners(shares: np.ndarray, beside: int) -> np.ndarray:
    """In the order of how much they need of what the strongest partners hold."""
    top = -np.sort(-shares, axis=1)[:, :beside].sum(axis=1)
    return np.argsort(-((1.0 - shares) / top[:, None]).max(axis=0), kind="stable")


def _partners(shares: np.ndarray, need: np.ndarray, choose: int, lack: np.ndarray) -> np.ndarray:
    """Partners with little waste: neighbours in capacity, some from all along, the strongest.

    Args:
        shares: (2, partners), falling in capacity.
        need: of both criteria.
        choose: how many partners.
        lack: capacity that the next weak ones need, one, two and so on together.
    """
    top = -np.sort(-shares, axis=1)[:, :choose - 1].sum(axis=1)
    able = np.flatnonzero((shares >= (need - top)[:, None] - CALM).all(axis=0))
    able = able if len(able) >= choose else np.arange(shares.shape[1])
    every = len(able) <= FEW and math.comb(len(able), choose) <= ALL_SETS
    wide, found = len(able) if every else min(_widest(choose), len(able)), []
    near = np.argsort(np.abs(shares[0, able] - need[0] / choose), kind="stable")[:wide]
    for some in (np.sort(near), np.linspace(0, len(able) - 1, wide).astype(int), np.arange(wide)):
        found.append(_least_waste(shares, able[some], need, choose, lack))
        if found[-1][0] < LITTLE or wide == len(able):
            break
    return min(found, key=lambda waste_and_set: waste_and_set[0])[1]


@lru_cache(maxsize=64)
def _widest(choose: int) -> int:
    return max((n for n in range(choose, WIDEST + 1) if math.comb(n, choose) <= MOST_SETS),
               default=choose)


def _least_waste(shares: np.ndarray, places: np.ndarray, need: np.ndarray, choose: int,
                 lack: np.ndarray) -> tuple[float, np.ndarray]:
    """The set that wastes least and leaves enough to others, and its waste."""
    sets = places[combinations(len(places), choose)]
    over = shares[:, sets].sum(axis=2) - need[:, None]
    short = (over < -CALM).any(axis=0)
    waste = np.where(short, SHORT + np.maximum(-over, 0.0).sum(axis=0), np.abs(over).sum(axis=0))
    best = np.argpartition(waste, TRIED)[:TRIED] if len(waste) > TRIED else np.arange(len(waste))
    best = best[np.argsort(waste[best], kind="stable")]
    ends = choose * np.arange(1, len(lack) + 1) - 1
    for which in best[waste[best] < SHORT]:
        held = np.cumsum(np.delete(shares[0], sets[which]))
        if (held[ends] >= lack).all():
            return float(waste[which]), sets[which]
    return float(waste[best[0]]) + TAKING, sets[best[0]]
