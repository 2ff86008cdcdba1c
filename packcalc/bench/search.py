"""Local search over groups of equal size: exact re-splits of the worst group with others.

One move takes the worst group and another one and splits their modules anew in the best
of all ways; a stuck worst group is split anew with two others at once, and where that too
betters nothing, in a way that is no worse, to look on from there; then a seeded kick mixes a
few groups and the search goes on from the best seen. Pins are rules that every split keeps.
All ways are laid out as columns of a mask matrix, so that one matrix product tries them all.
Effort is counted in looks, never in seconds, so that the same lot gets the same answer.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import lru_cache

import numpy as np

from packcalc.bench.keeping import Keeping, Rules

MOST_SPLITS = 2000
MOST_TRIALS = 3000
MOST_TWOS = 1500
MOST_TRIPLES = 400
MOST_FIRSTS = 20000
RICHEST = 40
RICH_FEW = 8
LEVEL_STEPS = 4
LEVEL_PAIRS = 20
WIDEST_TRIPLE = 5
KEPT_CANDIDATES = 400
SMALL = 64  # groups up to which all rounds are run
CALM = 1e-12
SUM_COUNTS = 1e-3
LOOKS_A_ROUND = 3
PAIR_LOOK = 0.25
A_LOOK = 15_000  # re-splits that take as long as looking for first groups


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
    if every_split(parallel):
        chosen = [(0, *c) for c in itertools.combinations(range(1, 2 * parallel), parallel - 1)]
        return _columns(chosen, 2 * parallel)
    ways = 1 + parallel ** 2 + len(_twos(parallel)[0])
    return np.stack([near_split(parallel, way) for way in range(ways)], axis=1).astype(float)


def every_split(parallel: int) -> bool:
    """Whether two groups are split in every way, and not in near ways alone."""
    return _ways(2 * parallel, parallel) <= MOST_SPLITS


@lru_cache(maxsize=16)
def _twos(parallel: int) -> tuple[np.ndarray, np.ndarray]:
    """Pairs that leave a group and pairs that come into it; of very many, some."""
    pairs = np.stack(np.triu_indices(parallel, 1), axis=1)
    count = len(pairs) ** 2
    some = np.arange(count) if count <= MOST_TWOS else (  # the same ones in every run
        np.random.default_rng(parallel).choice(count, MOST_TWOS, replace=False))
    out, into = np.divmod(some, len(pairs))
    return pairs[out], pairs[into]


def near_split(parallel: int, way: int) -> np.ndarray:
    """Who is in the first group: as now, one module exchanged, then two.

    Examples:
        >>> near_split(3, 1 + 2).astype(int).tolist()  # the first goes, the last of the other comes
        [0, 1, 1, 0, 0, 1]
    """
    taken = np.arange(2 * parallel) < parallel
    if 0 < way <= parallel ** 2:
        out, into = divmod(way - 1, parallel)
    elif way:
        out, into = (pairs[way - 1 - parallel ** 2] for pairs in _twos(parallel))
    else:
        return taken
    taken[out], taken[parallel + into] = False, True
    return taken


def near_sums(held: np.ndarray, parallel: int) -> np.ndarray:
    """What the first group holds after each near split; without a matrix, for wide groups.

    Args:
        held: (..., 2P) of the modules, those of the first group first.
        parallel: P.

    Examples:
        >>> near_sums(np.array([5.0, 4.0, 1.0, 0.0]), 2).tolist()
        [9.0, 5.0, 4.0, 6.0, 5.0, 1.0]
    """
    mine, theirs = held[..., :parallel], held[..., parallel:]
    now, (out, into) = mine.sum(axis=-1), _twos(parallel)
    ones = now[..., None, None] - mine[..., :, None] + theirs[..., None, :]
    twos = now[..., None] - mine[..., out].sum(axis=-1) + theirs[..., into].sum(axis=-1)
    return np.concatenate([now[..., None], ones.reshape(*now.shape, -1), twos], axis=-1)


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


def _together(*bads):
    """One figure for several groups: the worst counts, the others only where that is equal."""
    worst, total = np.maximum(bads[0], bads[1]), bads[0] + bads[1]
    for bad in bads[2:]:
        worst, total = np.maximum(worst, bad), total + bad
    total *= SUM_COUNTS
    total += worst
    return total


class Search:
    """The state of one search.

    Attributes:
        best: the best groups seen.
    """

    def __init__(self, values: np.ndarray, groups: np.ndarray, rules: Rules,
                 badness: Callable[[np.ndarray], np.ndarray], rng: np.random.Generator,
                 spare: np.ndarray | None = None):
        """Start from `groups`.

        Args:
            values: (criteria, modules).
            groups: (S, P) module numbers.
            rules: that the groups keep now and after every move.
            badness: sums (criteria, ...) to badness (...), zero where nothing is left to gain.
            rng: of the kicks.
            spare: modules that may take the place of one in a group.
        """
        self.values, self.rules, self.badness, self.rng = values, rules, badness, rng
        self.groups = groups.copy()
        self.spare = np.array([], dtype=int) if spare is None else spare.copy()
        self.parallel = groups.shape[1]
        self.pinned = bool(rules)
        self.looks, self.most_looks = 0.0, 0.0
        self.whole = bool((values == np.round(values)).all())
        self.near = not (self.pinned or every_split(self.parallel))
        self.masks = None if self.near else splits(self.parallel)
        if self.pinned:
            self.masks = np.concatenate([self.masks, 1.0 - self.masks], axis=1)
            self._keeping = Keeping(rules, values.shape[1], self.masks)
        self.sums = values[:, groups].sum(axis=2)
        self.bad = badness(self.sums)
        self.best, self._score = self.groups.copy(), self._now()
        self._best_spare = self.spare.copy()

    @property
    def worst(self) -> float:
        """Badness of the worst group of the best state."""
        return self._score[0]

    @property
    def _has_triples(self) -> bool:
        return 3 <= self.parallel <= WIDEST_TRIPLE and len(self.groups) >= 3

    def _now(self) -> tuple[float, float]:
        return float(self.bad.max()), float(self.bad.sum())

    def run(self, rounds: int, looks_a_group: float = 1.0) -> None:
        """Descend, then kick and descend again until nothing is bad or the rounds are over.

        Many groups get fewer rounds: each one costs more and is less needed. With no rounds it
        ends where nothing betters the worst group.
        """
        self.most_looks = max(LOOKS_A_ROUND * rounds, looks_a_group * len(self.groups))
        self._descend()
        self._keep()
        least = 20 if rounds else 0
        for _ in range(max(least, rounds * SMALL // max(SMALL, len(self.groups)))):
            if self.worst <= CALM or self.looks > self.most_looks:
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
        """Better the worst groups until nothing betters any, also after steps on the level."""
        level = LEVEL_STEPS
        while (most := self.bad.max()) > CALM and self.looks <= self.most_looks:
            worst = self.rng.permutation(np.flatnonzero(self.bad >= most - CALM))
            if (any(self._resplit_pair(int(w)) or self._swap_spare(int(w)) for w in worst)
                    or any(self._resplit_three(int(w)) for w in worst)
                    or self._resplit_with_spare(int(worst[0]))):
                continue
            if level < 0 or self.pinned or not self._has_triples:
                return
            level -= 1
            self._step_on_the_level(int(worst[0]))

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
        ways = self.parallel ** 2 if self.masks is None else self.masks.shape[1]
        step = max(4, MOST_TRIALS // ways)
        return any(self._resplit_with(worst, others[i:i + step])
                   for i in range(0, len(others), step))

    def _both(self, worst: int, others: np.ndarray) -> np.ndarray:
        mine = np.broadcast_to(self.groups[worst], (len(others), self.parallel))
        return np.concatenate([mine, self.groups[others]], axis=1)

    def _taken(self, column: int) -> np.ndarray:
        """Which of the modules of two groups a split gives to the first."""
        return near_split(self.parallel, column) if self.masks is None else (
            self.masks[:, column] > 0)

    def _resplit_with(self, worst: int, others: np.ndarray) -> bool:
        both = self._both(worst, others)
        self.looks += PAIR_LOOK
        row, column = self._best_split(worst, others, both)
        if row is None:
            return False
        self._apply(both[row], self._taken(column), worst, int(others[row]))
        return True

    def _best_split(self, worst: int, others: np.ndarray,
                    both: np.ndarray) -> tuple[int | None, int]:
        """The split that betters the worst group and another most; None where none does."""
        held = self.values[:, both]
        first = near_sums(held, self.parallel) if self.masks is None else held @ self.masks
        second = held.sum(axis=2)[:, :, None] - first
        bad = _together(self.badness(first), self.badness(second))
        bad -= _together(self.bad[worst], self.bad[others])[:, None]
        if self.pinned:
            bad[self._keeping.broken(worst, others, both)] = np.inf
        row, column = divmod(int(bad.argmin()), bad.shape[1])
        return (row if bad[row, column] < -CALM else None), column

    def _resplit_with_spare(self, worst: int) -> bool:
        """A split of the worst group with another after a spare module took one's place.

        Pins may leave no plain exchange: a strong module moves over, a weak one goes out, and
        a spare one comes in beside the pinned.
        """
        if not self.pinned or not len(self.spare) or len(self.groups) < 2:
            return False
        others = self._richest(np.delete(np.arange(len(self.groups)), worst))[:RICH_FEW]
        blocked, size = self._keeping.blocked, 2 * self.parallel
        came = self.spare[~blocked[self.spare]]
        for which in self.rng.permutation(len(came))[:RICH_FEW]:
            both = np.repeat(self._both(worst, others), size, axis=0)
            rows, place = np.arange(len(both)), np.tile(np.arange(size), len(others))
            left = both[rows, place]
            both[rows, place] = came[which]
            held = np.flatnonzero(~blocked[left])
            if not len(held):
                continue
            against = np.repeat(others, size)[held]
            row, column = self._best_split(worst, against, both[held])
            self.looks += PAIR_LOOK
            if row is not None:
                self._apply(both[held[row]], self._taken(column), worst, int(against[row]))
                self.spare[self.spare == came[which]] = left[held[row]]
                return True
        return False

    def _apply(self, both: np.ndarray, taken: np.ndarray, worst: int, other: int) -> None:
        for group, members in ((worst, both[taken]), (other, both[~taken])):
            self._write(group, members)

    def _write(self, group: int, members: np.ndarray) -> None:
        self.groups[group] = members
        self.sums[:, group] = self.values[:, members].sum(axis=1)
        self.bad[group] = self.badness(self.sums[:, group])

    def _swap_spare(self, worst: int) -> bool:
        """One module of the worst group against a spare one; whether it helped."""
        if not len(self.spare):
            return False
        members = self.groups[worst].copy()
        out = self.values[:, members]
        into = self.values[:, self.spare]
        sums = self.sums[:, worst, None, None] - out[:, :, None] + into[:, None, :]
        bad = self.badness(sums)
        if self.pinned:
            bad = np.where(self._keeping.exchangeable(worst, members, self.spare), bad, np.inf)
        if bad.min() >= self.bad[worst] - CALM:
            return False
        place, which = divmod(int(bad.argmin()), bad.shape[1])
        members[place], self.spare[which] = self.spare[which], members[place]
        self._write(worst, members)
        return True

    def _resplit_three(self, worst: int) -> bool:
        """A split of the worst group with two others at once; whether it helped."""
        if self.pinned or not self._has_triples:
            return False
        pairs = self._pairs(worst, -CALM)
        step = max(4, MOST_FIRSTS // thirds(self.parallel)[0].shape[1])
        return any(self._resplit_with_two(worst, pairs[i:i + step])
                   for i in range(0, len(pairs), step))

    def _step_on_the_level(self, worst: int) -> bool:
        """A split of three groups that is no worse than now, to look from somewhere else."""
        pairs = self._pairs(worst, CALM)
        some = self.rng.permutation(len(pairs))[:LEVEL_PAIRS]
        return self._resplit_with_two(worst, pairs[some], CALM)

    def _resplit_with_two(self, worst: int, pairs: np.ndarray, worse: float = -CALM) -> bool:
        """First groups that leave hope for the other two; then what they leave is split.

        Args:
            worst, pairs: the worst group and two others, row by row.
            worse: by how much the worst of the three may be worse than now.
        """
        mask, rest = thirds(self.parallel)
        mine = np.broadcast_to(self.groups[worst], (len(pairs), self.parallel))
        members = np.concatenate([mine, self.groups[pairs[:, 0]], self.groups[pairs[:, 1]]], axis=1)
        held = self.values[:, members]
        first = held @ mask
        level = self.bad[worst] + CALM
        rows, columns = np.nonzero(self.badness(first) < level)
        left = held.sum(axis=2)[:, rows] - first[:, rows, columns]
        hope = self.badness(left / 2.0) < level
        if worse > 0:  # the first column leaves the worst group as it is
            hope &= columns > 0
        rows, columns = rows[hope], columns[hope]
        kept = min(len(rows), KEPT_CANDIDATES)
        self.looks += 1 + kept * splits(self.parallel).shape[1] // A_LOOK
        if len(rows) > KEPT_CANDIDATES:
            some = self.rng.choice(len(rows), KEPT_CANDIDATES, replace=False)
            rows, columns = rows[some], columns[some]
        return bool(len(rows)) and self._finish_three(worst, pairs[rows], members[rows],
                                                      mask[:, columns], rest[columns], worse)

    def _pairs(self, worst: int, worse: float) -> np.ndarray:
        """Pairs of other groups whose mean with the worst leaves hope: the richest, then any."""
        others = self._richest(np.delete(np.arange(len(self.groups)), worst))
        rich, rest = others[:RICHEST], others[RICHEST:]
        others = np.concatenate([rich, self.rng.permutation(rest)[:RICHEST]])
        first, second = np.triu_indices(len(others), 1)
        pairs = np.stack([others[first], others[second]], axis=1)
        mean = self.badness((self.sums[:, worst, None] + self.sums[:, pairs].sum(axis=2)) / 3.0)
        least = (np.ceil(mean - CALM) if self.whole else mean) + SUM_COUNTS * 3.0 * mean
        now = _together(self.bad[worst], *self.bad[pairs].T)
        pairs = pairs[least < now + worse]
        order = np.argsort(-self.sums[0, pairs].sum(axis=1), kind="stable")
        half = MOST_TRIPLES // 2
        return pairs[np.concatenate([order[:half], self.rng.permutation(order[half:])[:half]])]

    def _finish_three(self, worst: int, pairs: np.ndarray, members: np.ndarray,
                      mask: np.ndarray, rest: np.ndarray, worse: float) -> bool:
        """Split what a first group leaves; take one of the best of all candidates."""
        remaining = np.take_along_axis(members, rest, axis=1)
        held = self.values[:, remaining]
        halves = splits(self.parallel)
        second = held @ halves
        third = held.sum(axis=2)[:, :, None] - second
        first = np.einsum("kij,ji->ki", self.values[:, members], mask)
        bad = _together(self.badness(second), self.badness(third), self.badness(first)[:, None])
        bad -= _together(self.bad[worst], *self.bad[pairs].T)[:, None]
        best = bad.min()
        if best >= worse:
            return False
        ties = np.flatnonzero(bad <= (worse if worse > 0 else best) + CALM)
        row, column = divmod(int(ties[self.rng.integers(len(ties))]), bad.shape[1])
        taken = halves[:, column] > 0
        self._write(worst, members[row][mask[:, row] > 0])
        self._write(int(pairs[row, 0]), remaining[row][taken])
        self._write(int(pairs[row, 1]), remaining[row][~taken])
        return True

    def _kick(self) -> None:
        """Mix the worst group and one or two others."""
        count = len(self.groups)
        if count < 2:
            return
        worst = int(self.bad.argmax())
        extra = self._others(worst, 1 + int(self.rng.integers(min(2, count - 1))))
        if self.pinned:
            for other in extra:
                self._mix(worst, np.array([other]))
            return
        chosen = np.concatenate([[worst], extra])
        held = self.groups[chosen]
        for group, members in zip(chosen, self.rng.permutation(held.ravel()).reshape(held.shape),
                                  strict=True):
            self._write(int(group), members)

    def _mix(self, worst: int, other: np.ndarray) -> None:
        """Any split of two groups that keeps the rules."""
        both = np.concatenate([self.groups[worst], self.groups[other[0]]])
        fits = np.flatnonzero(~self._keeping.broken(worst, other, both[None, :])[0])
        if len(fits):
            way = self.masks[:, int(self.rng.choice(fits))] > 0
            self._apply(both, way, worst, int(other[0]))
