"""The weakest modules with the strongest others, dealt to a limit or proven not to reach it.

Where the j weakest need almost all of the strongest partners (law 2 of `bounds`), they make a
chain: what one group holds above the limit is lost to all of them. Its groups fall into blocks
between those j that leave no room, and a small block has few ways. So the smallest block is
dealt first; a choice that takes from others what they need (law 2 again) is dropped at once; a
group that ran out of choices comes sooner from then on; and what was looked through without
success is remembered, so that beginning anew costs little. Effort is counted, never timed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from packcalc.bench.exact import combinations

EFFORT = 1_200_000  # small steps before a chain is given up: about half a second
LONG = 100  # groups; a longer chain gets twice the effort
SHARES = 2  # of the effort left: what one chain gets
TIGHT, NEAR = 2.0, 6.0  # steps a group and steps in all: less room than that ends a block
WARY = 40.0  # steps in all: with less room than that a group belongs to the chain
ALONE = 60.0  # steps in all: with more room a chain that sets no limit is not looked at
WIDEST, MOST_HALVES = 40, 12_000  # partners looked at for one group, and their half sets
SOME_SETS = 12_000  # sets among the partners that are looked at where there are more
MOST_SETS = 600  # sets of partners tried for one group; of more, those that waste least
MOST_PAIRS = 60_000  # ways to put two halves of a set together
FIRST_RUN, LONGER = 60, 1.5  # groups dealt before beginning anew, and how that grows
CHUNK = 8  # sets judged at once; each time three times as many
MOST_GROUPS = 200
A_LOOK, A_CHUNK = 400, 50  # small steps that one group's choice costs, and a chunk of its sets


def first_groups(units: np.ndarray, order: np.ndarray, limit: int, narrow: int, parallel: int,
                 grid: int, rng: np.random.Generator,
                 steps: int = EFFORT) -> Iterator[tuple[np.ndarray, int]]:
    """Groups of the weakest modules with strong others, and the limit that is proven.

    First as many as set the limit, then as many more as leave those after them little room;
    whoever can deal the rest needs to look no further. A limit that is out of reach is lowered
    in growing steps, then in halves.

    Args:
        units: of each module, in whole steps.
        order: module numbers, strongest first.
        limit: no dealing lifts its weakest group above this.
        narrow: how many of the weakest, each in its own group, set that limit; all groups
            where the mean sets it.
        parallel: modules of a group, 3 or more.
        grid: steps by which sums of a group differ.
        rng: of the choices among very many.
        steps: small ones, before it is given up.

    Yields:
        (groups, P) module numbers that reach the limit or come as near as was found; the
        limit, lowered where a higher one is proven out of reach.

    Examples:
        >>> units, rng = np.array([90.0, 70, 60, 50, 40, 20]), np.random.default_rng(1)
        >>> found, limit = next(first_groups(units, np.arange(6), 165, 2, 3, 1, rng))
        >>> found.tolist(), limit
        ([[5, 0, 3]], 160)
    """
    effort = steps * (2 if narrow > LONG else 1)
    target, reached, missed, step = limit, None, limit + grid, grid
    groups = np.empty((0, parallel), dtype=int)
    while effort > 0 and (reached is None or missed - reached > grid):
        ends = chain_ends(units[order], target, narrow, parallel)
        for count in ends:
            chain = _chain(units, order, target, count, parallel, rng, effort // SHARES)
            before, rows = chain.effort, chain.dealt()
            effort -= before - chain.effort
            if rows is None:
                missed = target
                if chain.complete:
                    limit = min(limit, target - grid)
                break
            groups = np.array([[order[len(order) - 1 - k], *order[list(places)]]
                               for k, places in rows], dtype=int).reshape(-1, parallel)
            if target == limit:
                yield groups, limit
        else:
            reached, at = target, limit
            if not ends:
                groups = np.empty((0, parallel), dtype=int)
                yield groups, limit
        if reached is None:
            target, step = missed - step, 2 * step
        else:
            target = reached + (missed - reached) // (2 * grid) * grid
    if reached is not None and reached < at:  # the limit was lowered since, or is not reached
        yield groups, limit


def chain_ends(values: np.ndarray, limit: float, narrow: int, parallel: int) -> list[int]:
    """How many of the weakest to deal first: those that set the limit, then some more.

    The last after which the strongest are used up but for next to nothing, and the last after
    which they are used up but for little.
    """
    series = len(values) // parallel
    counts = np.arange(1, min(series, MOST_GROUPS) + 1)
    room = _room(values[::-1][:series], values, limit, parallel)[:len(counts)]
    if narrow == series:  # the mean sets the limit
        alone = _each_in_its_own(values, limit, parallel)[:len(counts)]
        fits = counts[alone & (room <= TIGHT * counts + ALONE) & (counts < series)]
        return fits[-1:].tolist()
    ends = [narrow]
    for near in (NEAR, WARY):
        ends.append(max([narrow, *counts[room <= TIGHT * counts + near].tolist()]))
    return sorted(set(ends))


def _chain(units: np.ndarray, order: np.ndarray, limit: float, count: int, parallel: int,
           rng: np.random.Generator, effort: int) -> Chain:
    """The chain of some weakest modules; its partners are the strongest, as many as it needs.

    Where a longer chain has less room, weaker partners must take some places: so all that can.
    """
    values, series = units[order], len(order) // parallel
    room = _room(values[::-1][:series], values, limit, parallel)
    alone = _each_in_its_own(values, limit, parallel)
    counts = alone | (np.arange(series) == series - 1)  # all groups hold all modules anyway
    waste = room[count - 1:][counts[count - 1:]].min(initial=room[count - 1])
    places = (parallel - 1) * count
    if waste < room[count - 1]:
        least = values[places - 1] - room[count - 1]
        places = max(places, int((values[:len(order) - count] >= least).sum()))
    strong = values[:places]
    return Chain(values[::-1][:count], strong, limit, float(waste), parallel, rng, effort,
                 bool(alone[count - 1]))


def _each_in_its_own(values: np.ndarray, limit: float, parallel: int) -> np.ndarray:
    """Whether the 1, 2, ... weakest need as many groups: in fewer the mean is too low."""
    series = len(values) // parallel
    weak = np.arange(1, series + 1)[:, None]
    groups = np.arange(1, series + 1)[None, :]
    others = groups * parallel - weak
    top, low = (np.concatenate(([0.0], np.cumsum(v))) for v in (values, values[::-1]))
    held = low[weak] + top[np.maximum(others, 0)]
    return ~((held >= groups * limit) & (groups < weak) & (others >= 0)).any(axis=1)


def _room(weak: np.ndarray, strong: np.ndarray, limit: float, parallel: int) -> np.ndarray:
    """What the 1, 2, ... weakest with the strongest partners hold above the limit together."""
    count = np.arange(1, len(weak) + 1)
    return np.cumsum(weak) + np.cumsum(strong)[(parallel - 1) * count - 1] - count * limit


class Chain:
    """Weak modules, each with its partners out of strong ones, all at the limit or above.

    Attributes:
        complete: whether every way was looked through, and none other is to be thought of.
        effort: small steps that are left.
    """

    def __init__(self, weak: np.ndarray, strong: np.ndarray, limit: float, waste: float,
                 parallel: int, rng: np.random.Generator, effort: int, alone: bool = True):
        """Begin with nothing dealt.

        Args:
            weak: capacities, weakest first.
            strong: capacities, strongest first; P − 1 for each of the weak, or more.
            limit: that every group should hold.
            waste: that all groups together may hold above the limit.
            parallel: P, modules of a group.
            rng: of the choices among very many.
            effort: small steps to spend.
            alone: whether none of the weak can stand beside another in any dealing.
        """
        self.weak, self.strong, self.limit, self.waste = weak, strong, float(limit), waste
        self.rng, self.effort, self.complete = rng, effort, True
        self._alone, self._beside = alone, parallel - 1
        self._total = float(weak.sum() + strong.sum())
        wide, half = range(self._beside, WIDEST + 1), self._beside - self._beside // 2
        self._widest = max(n for n in wide if math.comb(n, half) <= MOST_HALVES)
        self._some = max(n for n in wide if math.comb(n, self._beside) <= SOME_SETS)
        self._stuck = np.zeros(len(weak))  # how often a group had no choice left
        self._failed: set[tuple[bytes, bytes]] = set()
        self._through, self._dealt, self._most = True, 0, 0

    def dealt(self) -> list[tuple[int, np.ndarray]] | None:
        """(weak, its partners) for each group, numbered as given; None where none was found."""
        run = float(FIRST_RUN)
        while True:
            self._through, self._most = True, self._dealt + int(run)
            found = self._deal(np.arange(len(self.weak)), np.arange(len(self.strong)))
            if found is not None or self._through or self.effort <= 0:
                self.complete = self._through and self._alone
                return found
            run *= LONGER

    def _deal(self, groups: np.ndarray, free: np.ndarray) -> list[tuple[int, np.ndarray]] | None:
        """The groups that are left, with the partners that are left."""
        if not len(groups):
            return []
        weak, strong = self.weak[groups], self.strong[free]
        state = (weak.tobytes(), strong.tobytes())
        if state in self._failed:
            return None
        room = _room(weak, strong, self.limit, self._beside + 1)
        if (room < 0).any():
            return None
        self._dealt += 1
        before, self._through = self._through, True
        at = self._next(weak, room, self._stuck[groups])
        others, stuck = np.delete(groups, at), True
        for places, kept in self._hopeful(weak, strong, at, self._choices(weak, strong, room, at)):
            stuck = False
            below = self._deal(others, free[kept])
            if below is not None:
                return [(int(groups[at]), free[places]), *below]
            if self.effort <= 0 or self._dealt > self._most:
                self._through = False
                return None
        self._stuck[groups[at]] += stuck
        if self._through:
            self._failed.add(state)
        self._through = self._through and before
        return None

    @staticmethod
    def _next(weak: np.ndarray, room: np.ndarray, stuck: np.ndarray) -> int:
        """Of the smallest block, or of one that was often stuck, the group least like others."""
        ends = np.flatnonzero(room <= TIGHT * np.arange(1, len(room) + 1) + NEAR) + 1
        ends = ends if len(ends) and ends[-1] == len(weak) else np.append(ends, len(weak))
        first = np.concatenate(([0], ends[:-1]))
        size = ends - first
        mean = np.repeat(np.add.reduceat(weak, first) / size, size)
        unlike = np.abs(weak - mean) / (1.0 + np.abs(weak).max())  # below 1: only breaks ties
        return int(np.argmin((np.repeat(size, size) - 1e-3 * unlike) / (1.0 + stuck)))

    def _choices(self, weak: np.ndarray, strong: np.ndarray, room: np.ndarray,
                 at: int) -> np.ndarray:
        """Sets of partners for one group, as places among the strong; least waste first."""
        beside = self._beside
        need = self.limit - weak[at]
        spent = (self._total - float(weak.sum() + strong.sum())
                 - (len(self.weak) - len(weak)) * self.limit)
        most = need + min(room[-1], self.waste - spent)
        able = self._able(strong, room, at)
        if len(able) >= beside:
            values = strong[able]
            able = able[(values >= need - values[:beside - 1].sum())
                        & (values <= most - values[len(values) - beside + 1:].sum())]
        if len(able) > self._widest:
            self._through = False
            able = np.sort(self.rng.choice(able, self._some, replace=False))
        self.effort -= A_LOOK
        if len(able) < beside or most < need:
            return np.empty((0, beside), dtype=int)
        sets, sums = self._sets(strong[able], need, most)
        rank = np.argsort(sums + self.rng.random(len(sums)) / 2.0)  # sums are whole
        if len(rank) > MOST_SETS:
            self._through = False
            rank = rank[:MOST_SETS]
        return able[sets[rank]]

    def _able(self, strong: np.ndarray, room: np.ndarray, at: int) -> np.ndarray:
        """Partners that neither a weaker group nor all groups together need elsewhere."""
        count, high, low = len(room), np.inf, -np.inf
        if at:
            high = (strong[self._beside * np.arange(1, at + 1)] + room[:at]).min()
        if at < count - 1:
            low = (strong[self._beside * np.arange(at + 1, count) - 1] - room[at:-1]).max()
        return np.flatnonzero((strong <= high) & (strong >= low))

    def _sets(self, values: np.ndarray, need: float,
              most: float) -> tuple[np.ndarray, np.ndarray]:
        """Every set of partners whose sum lies between two limits: two halves put together."""
        if self._beside == 1:
            fits = np.flatnonzero((values >= need) & (values <= most))
            return fits[:, None], values[fits]
        first = combinations(len(values), self._beside // 2)
        second = combinations(len(values), self._beside - self._beside // 2)
        one, other = values[first].sum(axis=1), values[second].sum(axis=1)
        order = np.argsort(other, kind="stable")
        second, other = second[order], other[order]
        low = np.searchsorted(other, need - one, "left")
        ways = np.searchsorted(other, most - one, "right") - low
        if (total := int(ways.sum())) > MOST_PAIRS:
            self._through = False
            some = self.rng.permutation(len(first))[:max(1, len(first) * MOST_PAIRS // total)]
            first, one, low, ways = first[some], one[some], low[some], ways[some]
            total = int(ways.sum())
        self.effort -= (len(first) + len(second)) // 10 + total // 20
        row = np.repeat(np.arange(len(first)), ways)
        column = np.arange(total) + np.repeat(low - np.cumsum(ways) + ways, ways)
        once = first[row, -1] < second[column, 0]
        row, column = row[once], column[once]
        return np.concatenate([first[row], second[column]], axis=1), one[row] + other[column]

    def _hopeful(self, weak: np.ndarray, strong: np.ndarray, at: int,
                 sets: np.ndarray) -> Iterator[tuple[np.ndarray, np.ndarray]]:
        """Sets that leave the other groups enough (law 2), and which partners they leave."""
        count = np.arange(1, len(weak))
        need = count * self.limit - np.cumsum(np.delete(weak, at))
        done, chunk = 0, CHUNK
        while done < len(sets):
            some = sets[done:done + chunk]
            done, chunk = done + chunk, chunk * 3
            kept = np.ones((len(some), len(strong)), dtype=bool)
            kept[np.arange(len(some))[:, None], some] = False
            left = np.broadcast_to(strong, kept.shape)[kept].reshape(len(some), -1)
            self.effort -= A_CHUNK + left.size // 100
            held = np.cumsum(left, axis=1)[:, self._beside * count - 1]
            for i in np.flatnonzero((held >= need).all(axis=1)):
                yield some[i], kept[i]
