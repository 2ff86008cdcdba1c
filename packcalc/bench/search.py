"""Local search over groups of equal size: exact re-splits of the worst group with others.

One move takes the worst group and another one and splits their modules anew in the best
of all ways; a stuck worst group is split anew with two others at once; then a seeded kick
mixes a few groups and the search goes on from the best seen. All ways are laid out as
columns of a mask matrix, so that one matrix product tries them all.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import lru_cache

import numpy as np

MOST_SPLITS = 2000
MOST_TRIALS = 16000
MOST_TRIPLES = 110
RICHEST = 12
WIDEST_TRIPLE = 5
KEPT_CANDIDATES = 150
SMALL = 64  # groups up to which all rounds are run
CALM = 1e-12


def pair_up(units: np.ndarray, groups: np.ndarray) -> np.ndarray:
    """Strongest with weakest: the optimum for pairs; one module a group stays as it is.

    Examples:
        >>> pair_up(np.array([4, 1, 3, 2]), np.array([[0, 1], [2, 3]])).tolist()
        [[0, 1], [2, 3]]
    """
    if groups.shape[1] == 1:
        return groups
    order = groups.ravel()[np.argsort(-units[groups.ravel()], kind="stable")]
    half = len(order) // 2
    return np.stack([order[:half], order[::-1][:half]], axis=1)


@lru_cache(maxsize=64)
def splits(parallel: int) -> np.ndarray:
    """Ways to split 2P modules into two groups of P, as columns of 0 and 1.

    Every way where there are few; else the present one with one or two modules exchanged.
    """
    if _ways(2 * parallel, parallel) <= MOST_SPLITS:
        chosen = [(0, *c) for c in itertools.combinations(range(1, 2 * parallel), parallel - 1)]
        return _columns(chosen, 2 * parallel)
    return _near_splits(parallel)


def _near_splits(parallel: int) -> np.ndarray:
    """The present split with one or two modules exchanged; one only where P is large."""
    here = np.arange(parallel)
    twos = parallel <= 9
    ways = [tuple(here)]
    for count in (1, 2) if twos else (1,):
        for out in itertools.combinations(range(parallel), count):
            kept = tuple(i for i in range(parallel) if i not in out)
            ways += [kept + into for into in
                     itertools.combinations(range(parallel, 2 * parallel), count)]
    return _columns(ways, 2 * parallel)


def _ways(total: int, chosen: int) -> int:
    ways = 1
    for i in range(chosen):
        ways = ways * (total - i) // (i + 1)
    return ways // 2


def _columns(chosen: list[tuple[int, ...]], rows: int) -> np.ndarray:
    mask = np.zeros((rows, len(chosen)))
    for column, members in enumerate(chosen):
        mask[list(members), column] = 1.0
    return mask


@lru_cache(maxsize=16)
def thirds(parallel: int) -> tuple[np.ndarray, np.ndarray]:
    """First groups out of 3P modules, and for each the places of the rest."""
    total = 3 * parallel
    chosen = [(0, *c) for c in itertools.combinations(range(1, total), parallel - 1)]
    mask = _columns(chosen, total)
    rest = np.array([np.flatnonzero(mask[:, i] == 0) for i in range(mask.shape[1])])
    return mask, rest


class Search:
    """The state of one search.

    Attributes:
        best: the best groups seen.
    """

    def __init__(self, values: np.ndarray, groups: np.ndarray, frozen: np.ndarray,
                 badness: Callable[[np.ndarray], np.ndarray], rng: np.random.Generator,
                 spare: np.ndarray | None = None):
        """Start from `groups`.

        Args:
            values: (criteria, modules).
            groups: (S, P) module numbers.
            frozen: (S, P); a frozen module stays in its group.
            badness: sums (criteria, ...) to badness (...), zero where nothing is left to gain.
            rng: of the kicks.
            spare: modules that may take the place of one in a group.
        """
        self.values, self.frozen, self.badness, self.rng = values, frozen, badness, rng
        self.groups = groups.copy()
        self.spare = np.array([], dtype=int) if spare is None else spare.copy()
        self.parallel = groups.shape[1]
        self.pinned = bool(frozen.any())
        self.masks = splits(self.parallel)
        if self.pinned:
            self.masks = np.concatenate([self.masks, 1.0 - self.masks], axis=1)
        self.sums = values[:, groups].sum(axis=2)
        self.bad = badness(self.sums)
        self.best, self._score = self.groups.copy(), self._now()
        self._best_spare = self.spare.copy()

    @property
    def worst(self) -> float:
        """Badness of the worst group of the best state."""
        return self._score[0]

    def _now(self) -> tuple[float, float]:
        return float(self.bad.max()), float(self.bad.sum())

    def run(self, rounds: int) -> None:
        """Descend, then kick and descend again until nothing is bad or the rounds are over.

        Many groups get fewer rounds: each one costs more and is less needed.
        """
        self._descend()
        self._keep()
        for _ in range(max(20, rounds * SMALL // max(SMALL, len(self.groups)))):
            if self.worst <= CALM:
                return
            self._kick()
            self._descend()
            self._keep()

    def _keep(self) -> None:
        """Remember a better state, or go back to the best."""
        now = self._now()
        if now <= self._score:
            self.best, self._score = self.groups.copy(), now
            self._best_spare = self.spare.copy()
        else:
            self.groups, self.spare = self.best.copy(), self._best_spare.copy()
            self.sums = self.values[:, self.groups].sum(axis=2)
            self.bad = self.badness(self.sums)

    def _descend(self) -> None:
        while True:
            worst = int(self.bad.argmax())
            if self.bad[worst] <= CALM:
                return
            if not (self._resplit_pair(worst) or self._swap_spare(worst)
                    or self._resplit_three(worst)):
                return

    def _others(self, worst: int, most: int) -> np.ndarray:
        count = len(self.groups)
        others = np.delete(np.arange(count), worst)
        if len(others) <= most:
            return others
        return self.rng.choice(others, most, replace=False)

    def _richest(self, others: np.ndarray) -> np.ndarray:
        """Groups with the most to give first."""
        return others[np.lexsort((-self.sums[0, others], self.bad[others]))]

    def _resplit_pair(self, worst: int) -> bool:
        """The best split of the worst group with another, the richest tried first."""
        others = self._richest(np.delete(np.arange(len(self.groups)), worst))
        step = max(4, MOST_TRIALS // self.masks.shape[1])
        return any(self._resplit_with(worst, others[i:i + step])
                   for i in range(0, len(others), step))

    def _resplit_with(self, worst: int, others: np.ndarray) -> bool:
        mine = np.broadcast_to(self.groups[worst], (len(others), self.parallel))
        both = np.concatenate([mine, self.groups[others]], axis=1)
        held = self.values[:, both]
        first = held @ self.masks
        second = held.sum(axis=2)[:, :, None] - first
        bad = np.maximum(self.badness(first), self.badness(second))
        if self.pinned:
            bad = np.where(self._breaks(worst, others), np.inf, bad)
        row, column = divmod(int(bad.argmin()), bad.shape[1])
        if bad[row, column] >= self.bad[worst] - CALM:
            return False
        self._apply(both[row], self.masks[:, column] > 0, worst, int(others[row]))
        return True

    def _breaks(self, worst: int, others: np.ndarray) -> np.ndarray:
        """Whether a split would move a frozen module."""
        p = self.parallel
        mine = self.frozen[worst].astype(float) @ (1.0 - self.masks[:p])
        theirs = self.frozen[others].astype(float) @ self.masks[p:]
        return (mine[None, :] + theirs) > 0

    def _apply(self, both: np.ndarray, taken: np.ndarray, worst: int, other: int) -> None:
        """Write a split back; frozen modules keep their places in the row."""
        for group, members in ((worst, both[taken]), (other, both[~taken])):
            self._write(group, members)

    def _write(self, group: int, members: np.ndarray) -> None:
        fixed = self.frozen[group]
        if fixed.any():
            kept = self.groups[group][fixed]
            members = np.concatenate([kept, members[~np.isin(members, kept)]])
            order = np.concatenate([np.flatnonzero(fixed), np.flatnonzero(~fixed)])
            row = np.empty_like(members)
            row[order] = members
            members = row
        self.groups[group] = members
        self.sums[:, group] = self.values[:, members].sum(axis=1)
        self.bad[group] = self.badness(self.sums[:, group])

    def _swap_spare(self, worst: int) -> bool:
        """One module of the worst group against a spare one; whether it helped."""
        if not len(self.spare):
            return False
        free = np.flatnonzero(~self.frozen[worst])
        out = self.values[:, self.groups[worst][free]]
        into = self.values[:, self.spare]
        sums = self.sums[:, worst, None, None] - out[:, :, None] + into[:, None, :]
        bad = self.badness(sums)
        if not bad.size or bad.min() >= self.bad[worst] - CALM:
            return False
        place, which = divmod(int(bad.argmin()), bad.shape[1])
        members = self.groups[worst].copy()
        members[free[place]], self.spare[which] = self.spare[which], members[free[place]]
        self._write(worst, members)
        return True

    def _resplit_three(self, worst: int) -> bool:
        """A split of the worst group with two others at once; whether it helped."""
        if self.pinned or not 3 <= self.parallel <= WIDEST_TRIPLE or len(self.groups) < 3:
            return False
        pairs = self._pairs(worst)
        mask, rest = thirds(self.parallel)
        mine = np.broadcast_to(self.groups[worst], (len(pairs), self.parallel))
        members = np.concatenate([mine, self.groups[pairs[:, 0]], self.groups[pairs[:, 1]]], axis=1)
        held = self.values[:, members]
        first = held @ mask
        left = held.sum(axis=2)[:, :, None] - first
        hope = np.maximum(self.badness(first), self.badness(left / 2.0))
        goal = self.bad[worst] - CALM
        rows, columns = np.nonzero(hope < goal)
        if len(rows) > KEPT_CANDIDATES:
            some = self.rng.choice(len(rows), KEPT_CANDIDATES, replace=False)
            rows, columns = rows[some], columns[some]
        return bool(len(rows)) and self._finish_three(worst, pairs[rows], members[rows],
                                                      mask[:, columns], rest[columns])

    def _pairs(self, worst: int) -> np.ndarray:
        others = np.delete(np.arange(len(self.groups)), worst)
        count = len(others) * (len(others) - 1) // 2
        if count <= MOST_TRIPLES:
            return np.array(list(itertools.combinations(others, 2)))
        rich = self._richest(others)[:RICHEST]
        first = np.array(list(itertools.combinations(rich, 2)))
        picks = self.rng.integers(len(others), size=(MOST_TRIPLES - len(first), 2))
        picks = picks[picks[:, 0] != picks[:, 1]]
        return np.concatenate([first, others[picks]])

    def _finish_three(self, worst: int, pairs: np.ndarray, members: np.ndarray,
                      mask: np.ndarray, rest: np.ndarray) -> bool:
        """Split what a first group leaves; take the best of all candidates."""
        remaining = np.take_along_axis(members, rest, axis=1)
        held = self.values[:, remaining]
        halves = splits(self.parallel)
        second = held @ halves
        third = held.sum(axis=2)[:, :, None] - second
        first = np.einsum("kij,ji->ki", self.values[:, members], mask)
        bad = np.maximum(np.maximum(self.badness(second), self.badness(third)),
                         self.badness(first)[:, None])
        row, column = divmod(int(bad.argmin()), bad.shape[1])
        if bad[row, column] >= self.bad[worst] - CALM:
            return False
        taken = halves[:, column] > 0
        self._write(worst, members[row][mask[:, row] > 0])
        self._write(int(pairs[row, 0]), remaining[row][taken])
        self._write(int(pairs[row, 1]), remaining[row][~taken])
        return True

    def _kick(self) -> None:
        """Mix the free modules of the worst group and one or two others."""
        count = len(self.groups)
        if count < 2:
            return
        worst = int(self.bad.argmax())
        extra = self._others(worst, 1 + int(self.rng.integers(min(2, count - 1))))
        chosen = np.concatenate([[worst], extra])
        free = ~self.frozen[chosen]
        held = self.groups[chosen]
        held[free] = self.rng.permutation(held[free])
        for group, members in zip(chosen, held, strict=True):
            self.groups[group] = members
            self.sums[:, group] = self.values[:, members].sum(axis=1)
            self.bad[group] = self.badness(self.sums[:, group])
