"""Pinned modules in strings: the highest sum of each string's weakest, or a bound of it.

Every string is asked a floor that its modules reach. Whether floors can be kept is a flow from
modules to places; where they cannot, some places have too few modules (Hall), and one of their
strings must go down to the next modules that may stand there. The highest sums are tried first,
so the first floors that can be kept are the best. Blocks and modules apart are given strings one
after the other; those that have none yet count as free, so no sum is missed. Effort is counted in
flows and arrangements; where it ends, the highest sum still open is the bound.
"""

from __future__ import annotations

import heapq
import math
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from itertools import accumulate, pairwise, permutations

import numpy as np

from packcalc.bench.dealing import Pins, chunks_of
from packcalc.errors import UserError
from packcalc.value import value_object

MOST_ARRANGEMENTS = 8_000  # of blocks and modules apart on strings, whole or begun
MOST_FIRST_FLOWS = 2_000  # of looking for any arrangement that keeps the pins
MOST_FLOWS = 16_000  # of looking for better floors, over the strings squared: half a second
MOST_ORDERS = 120  # of strings by their floors, for one arrangement
MOST_GREEDY = 4  # arrangements for which floors are raised one after the other

Supply = tuple[int, int]  # kinds of places as bits, and how many modules may stand there
Floors = tuple[float, ...]


@value_object
class Found:
    """The best rows found, and what no other rows can exceed.

    Attributes:
        rows: modules, position by position.
        bound: of the sum, in steps.
        limits: of the k-th best string, in steps.
        least: rows of the same weakest ones at least, with the least resistance altogether that
            the blocks as they stand allow; without resistances `rows`.
    """

    rows: np.ndarray
    bound: float
    limits: Floors
    least: np.ndarray


def best_pinned_strings(units: np.ndarray, series: int, parallel: int, pins: Pins,
                        resistance: np.ndarray | None = None) -> Found:
    """The highest sum of each string's weakest that keeps the pins.

    Args:
        units: of each module, in whole steps.
        series, parallel: P strings of S.
        pins: together and apart mean the same string; a place is string · S + position.
        resistance: of each module, where `least` is wanted.

    Raises:
        UserError: proven that no dealing keeps the pins, or none found in many.

    Examples:
        >>> found = best_pinned_strings(np.array([9.0, 8, 7, 6, 5]), 2, 2, Pins(((0, 4),)))
        >>> found.rows.tolist(), found.bound
        ([[0, 4], [1, 2]], 12.0)
    """
    return _Search(units, series, parallel, pins).found(resistance)


class _Flow:
    """Modules of some kinds put into places of some kinds, as many as can be."""

    def __init__(self, supplies: Sequence[Supply], room: Sequence[int]):
        self.supplies, self.left, self.closed = supplies, list(room), 0
        self.flow = [[0] * len(room) for _ in supplies]
        self.unplaced = [self._push(s) for s in range(len(supplies))]

    def _push(self, first: int) -> int:
        """Place one supply; how many of it find no place."""
        wanted = self.supplies[first][1]
        while wanted:
            way = self._way(first)
            if not way:
                return wanted
            most = min(wanted, self.left[way[-1][1]],
                       *(self.flow[b][t] for (_, t), (b, _) in pairwise(way)))
            for s, t in way:
                self.flow[s][t] += most
            for (_, t), (after, _) in pairwise(way):
                self.flow[after][t] -= most
            self.left[way[-1][1]] -= most
            wanted -= most
        return 0

    def _way(self, first: int) -> list[tuple[int, int]]:
        """Steps (supply, place) to a place with room: each next supply gives up the last place."""
        came: dict[int, tuple[int, int]] = {}
        reached, queue = self.closed, [(first, -1)]
        for s, before in queue:
            for t in _bits(self.supplies[s][0] & ~reached):
                reached |= 1 << t
                came[t] = (s, before)
                if self.left[t]:
                    way = []
                    while t >= 0:
                        s, before = came[t]
                        way.append((s, t))
                        t = before
                    return way[::-1]
                queue += [(other, t) for other, row in enumerate(self.flow) if row[t]]
        self.closed = reached  # full for good: no way leads out of them
        return []

    def short(self) -> tuple[int, int]:
        """Kinds of places that have too few modules, and how many lack."""
        kinds = 1 << next(t for t, left in enumerate(self.left) if left)
        while True:
            more = kinds
            for (mask, _), row in zip(self.supplies, self.flow, strict=True):
                if mask & kinds:
                    more |= sum(1 << t for t, held in enumerate(row) if held)
            if more == kinds:
                return kinds, sum(self.left[t] for t in _bits(kinds))
            kinds = more


def _bits(mask: int) -> Iterator[int]:
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


class _Places:
    """Kinds of places: positions of one string that the same modules may take."""

    def __init__(self, count: int, series: int, parallel: int, allowed: np.ndarray | None):
        if allowed is None:
            allowed = np.ones((count, series * parallel), dtype=bool)
        own = [allowed[:, i * series:(i + 1) * series] for i in range(parallel)]
        self.alike = all((one == own[0]).all() for one in own)
        self.columns: list[list[int]] = []
        self.string_mask = []
        kinds = []
        for i in range(parallel):
            rights, at = np.unique(own[i], axis=1, return_inverse=True)
            first = len(self.columns)
            self.columns += [(i * series + np.flatnonzero(at.ravel() == k)).tolist()
                             for k in range(rights.shape[1])]
            self.string_mask.append((1 << len(self.columns)) - (1 << first))
            kinds.append(rights)
        rights = np.concatenate(kinds, axis=1)
        self.room = [len(columns) for columns in self.columns]
        self.mask = [sum(1 << t for t in np.flatnonzero(row).tolist()) for row in rights]

    def strings(self, mask: int) -> list[int]:
        return [i for i, own in enumerate(self.string_mask) if own & mask]


@value_object
class _Choice:
    """Blocks in strings.

    Attributes:
        decided: how many blocks stand in a string or are left out; the others count as free.
        fixed: modules of the blocks in each string.
        most: the floor that they allow each string.
        limits: what the k-th best string holds at most beside them.
    """

    decided: int
    fixed: tuple[tuple[int, ...], ...]
    most: Floors
    limits: Floors


@value_object
class _Order:
    """Strings of falling floors, and what each of them holds at most."""

    strings: tuple[int, ...]
    limits: Floors


@value_object
class _Node:
    """Floors at most, in an order of the strings; without an order, blocks not yet looked at."""

    choice: _Choice
    order: _Order | None = None
    floors: Floors = ()
    above: Floors = ()


class _Search:
    def __init__(self, units: np.ndarray, series: int, parallel: int, pins: Pins):
        self.units, self.series, self.parallel, self.pins = units, series, parallel, pins
        self.places = _Places(len(units), series, parallel, pins.allowed)
        self.values = np.unique(units).tolist()
        self.flows, self.greedy = 0, MOST_GREEDY
        # The large first, then the weak: they say soonest what an arrangement may come to.
        self.chunks = sorted(chunks_of(pins, series), key=lambda c: (-len(c), min(units[c])))
        self.foes: dict[int, set[int]] = {}
        for one, other in pins.apart:
            self.foes.setdefault(one, set()).add(other)
            self.foes.setdefault(other, set()).add(one)
        self.free, self.falling = [], []
        for decided in range(len(self.chunks) + 1):
            free = set(range(len(units))).difference(*self.chunks[:decided])
            self.free.append(self._by_rights(free))
            self.falling.append(sorted(units[list(free)].tolist(), reverse=True))
        self.rank = self._ranks()
        self.limited: dict[tuple[tuple[int, ...], int], Floors] = {}
        self.best: tuple[float, _Choice, Floors] | None = None

    def _by_rights(self, modules: set[int]) -> dict[int, list[float]]:
        found: dict[int, list[float]] = {}
        for m in sorted(modules, key=lambda m: self.units[m]):
            found.setdefault(self.places.mask[m], []).append(float(self.units[m]))
        return found

    # -- whether floors can be kept ------------------------------------------------------------

    def flow(self, choice: _Choice, floors: Sequence[float]) -> _Flow:
        self.flows += 1
        order = sorted(range(self.parallel), key=lambda i: floors[i])
        supplies = self._fixed(choice)
        for rights, values in self.free[choice.decided].items():
            cuts = [*(bisect_left(values, floors[i]) for i in order), len(values)]
            reached = 0
            for k, i in enumerate(order):
                reached |= self.places.string_mask[i]
                if cuts[k + 1] > cuts[k] and rights & reached:
                    supplies.append((rights & reached, cuts[k + 1] - cuts[k]))
        return _Flow(supplies, self.places.room)

    def _fixed(self, choice: _Choice) -> list[Supply]:
        """Modules that must be placed come first: what is placed once stays placed."""
        return [(self.places.mask[m] & self.places.string_mask[i], 1)
                for i, row in enumerate(choice.fixed) for m in row]

    def keeps(self, choice: _Choice, floors: Sequence[float]) -> bool:
        found = self.flow(choice, floors)
        fixed = sum(map(len, choice.fixed))
        return not any(found.left) and not any(found.unplaced[:fixed])

    def highest(self, choice: _Choice, floors: Sequence[float], strings: Sequence[int],
                most: float) -> float:
        """To which value these strings can be raised together; the others stay."""
        low, high = 0, bisect_left(self.values, most)
        while low < high:
            middle = (low + high + 1) // 2
            tried = [max(f, self.values[middle]) if i in strings else f
                     for i, f in enumerate(floors)]
            low, high = (middle, high) if self.keeps(choice, tried) else (low, middle - 1)
        return self.values[low]

    def _ranks(self) -> list[float]:
        """What the k-th best string holds at most, whichever blocks stand where."""
        lowest = [self.values[0]] * self.parallel
        nobody = _Choice(0, ((),) * self.parallel, (self.values[-1],) * self.parallel, ())
        if not self.keeps(nobody, lowest):
            raise UserError("the pins cannot all be met; loosen one")
        down = np.sort(self.units)[::-1]
        limits = down[self.series - 1:self.series * self.parallel:self.series].tolist()
        if not self.places.alike:
            return limits
        return [self.highest(nobody, lowest, range(k), limit)
                for k, limit in enumerate(limits, 1)]

    # -- blocks and modules apart --------------------------------------------------------------

    def arrangements(self, choice: _Choice) -> list[_Choice]:
        """The next block in every string that can take it, or left out; alike strings once."""
        chunk, found = self.chunks[choice.decided], []
        foes = set().union(*(self.foes.get(m, ()) for m in chunk))
        for i, row in enumerate(choice.fixed):
            if len(row) + len(chunk) <= self.series and foes.isdisjoint(row):
                found.append(self._choice((*choice.fixed[:i], (*row, *chunk),
                                           *choice.fixed[i + 1:]), choice.decided + 1))
                if not row and self.places.alike:
                    break
        decided = sum(map(len, self.chunks[:choice.decided + 1]))
        if decided - sum(map(len, choice.fixed)) <= len(self.units) - self.series * self.parallel:
            found.append(self._choice(choice.fixed, choice.decided + 1))
        return found

    def _choice(self, rows: tuple[tuple[int, ...], ...], decided: int) -> _Choice:
        most = tuple(float(min(self.units[list(row)], default=self.values[-1])) for row in rows)
        sizes = sorted(map(len, rows), reverse=True)
        return _Choice(decided, rows, most, self.limits(sizes, decided))

    def limits(self, sizes: Sequence[int], decided: int) -> Floors:
        """What the k-th string holds at most, after strings with so many fixed modules each."""
        asked = (tuple(sizes), decided)
        if asked not in self.limited:
            needs = accumulate(self.series - size for size in sizes)
            self.limited[asked] = tuple(min(limit, self._free_at(need, decided))
                                        for limit, need in zip(self.rank, needs, strict=True))
        return self.limited[asked]

    def _free_at(self, need: int, decided: int) -> float:
        """The weakest of so many free modules, the strongest taken; -inf where there are fewer."""
        falling = self.falling[decided]
        if need > len(falling):
            return -np.inf
        return falling[need - 1] if need else np.inf

    def whole(self, choice: _Choice) -> bool:
        return choice.decided == len(self.chunks)

    def first(self) -> _Choice:
        """A whole arrangement that keeps the pins, the most promising ways tried first."""
        lowest = (self.values[0],) * self.parallel
        stack, self.flows = [self._choice(((),) * self.parallel, 0)], 0
        while stack:
            if self.flows > MOST_FIRST_FLOWS:
                raise UserError(f"no dealing that keeps the pins was found in {self.flows} tries "
                                f"({len(self.chunks)} pinned modules or blocks on {self.parallel} "
                                f"strings); loosen some pins")
            choice = stack.pop()
            if not self.keeps(choice, lowest):
                continue
            if self.whole(choice):
                return choice
            ways = self.arrangements(choice)
            stack += sorted(reversed(ways), key=lambda way: self.bound(way, way.most))
        raise UserError("the pins cannot all be met; loosen one")

    # -- the best floors -----------------------------------------------------------------------

    def bound(self, choice: _Choice, floors: Sequence[float]) -> float:
        return sum(map(min, sorted(floors, reverse=True), choice.limits))

    def orders(self, choice: _Choice) -> list[_Order]:
        """Strings by falling floor, alike ones once; where too many, only the alike ones."""
        empty = [i for i, row in enumerate(choice.fixed) if not row] if self.places.alike else []
        others = [i for i in range(self.parallel) if i not in empty]
        if math.perm(self.parallel, len(others)) > MOST_ORDERS:
            return [_Order(tuple(empty), choice.limits[:len(empty)])]
        found = []
        for at in permutations(range(self.parallel), len(others)):
            held = dict(zip(at, others, strict=True))
            rest = iter(empty)
            order = tuple(held[k] if k in held else next(rest) for k in range(self.parallel))
            found.append(_Order(order, self.limits([len(choice.fixed[i]) for i in order],
                                                   choice.decided)))
        return found

    def ordered(self, choice: _Choice, order: _Order, floors: Sequence[float]) -> Floors:
        """The highest floors below these that fall in this order."""
        ordered, before = [min(f, choice.limits[0]) for f in floors], np.inf
        for i, limit in zip(order.strings, order.limits, strict=True):
            ordered[i] = before = min(ordered[i], limit, before)
        return tuple(ordered)

    def found(self, resistance: np.ndarray | None) -> Found:
        """Look where the sum may still be highest, until it is reached or the effort ends."""
        self.look_into(self.first())
        assert self.best is not None
        root, tries = self._choice(((),) * self.parallel, 0), MOST_ARRANGEMENTS
        heap = [(-self.bound(root, root.most), 0, 0, _Node(root))]
        most_flows = MOST_FLOWS // self.parallel ** 2  # one takes as much longer
        ticket, self.flows = 0, 0
        while heap and -heap[0][0] > self.best[0] and self.flows < most_flows and tries > 0:
            _, _, _, node = heapq.heappop(heap)
            for child in self.further(node):
                tries -= child.order is None
                value = self.bound(child.choice, child.floors or child.choice.most)
                if value > self.best[0]:
                    ticket -= 1
                    heapq.heappush(heap, (-value, -child.choice.decided, ticket, child))
        _, choice, floors = self.best
        rows = least = self.rows(choice, floors, np.argsort(-self.units, kind="stable"))
        held = self.units[rows].min(axis=1)
        if resistance is not None:
            least = self.rows(choice, tuple(held.tolist()), np.lexsort((-self.units, resistance)))
        bound = max([float(held.sum()), *(-limit for limit, *_ in heap[:1])])
        return Found(rows, bound, tuple(self.rank), least)

    def note(self, choice: _Choice, floors: Sequence[float]) -> None:
        if self.best is None or sum(floors) > self.best[0]:
            self.best = (sum(floors), choice, tuple(floors))

    def further(self, node: _Node) -> Iterator[_Node]:
        """What is still possible below: of blocks where the next one stands, then of floors."""
        if node.order is not None:
            yield from self.lower(node)
        elif self.whole(node.choice):
            yield from self.look_into(node.choice)
        else:
            yield from map(_Node, self.arrangements(node.choice))

    def look_into(self, choice: _Choice) -> list[_Node]:
        """Every order of the strings, where these blocks keep the pins at all."""
        lowest = (self.values[0],) * self.parallel
        if not self.keeps(choice, lowest):
            return []
        self.note(choice, lowest)
        nodes = [_Node(choice, order, self.ordered(choice, order, choice.most),
                       (-np.inf,) * self.parallel) for order in self.orders(choice)]
        if self.greedy:
            self.greedy -= 1
            self.raise_floors(choice, max(nodes, key=lambda n: sum(n.floors)).floors)
        return nodes

    def raise_floors(self, choice: _Choice, most: Floors) -> None:
        """Floors that can be kept: the strongest string first, and all strings together first."""
        order = sorted(range(self.parallel), key=lambda i: -most[i])
        singly = [[i] for i in order]
        for steps in (singly, [order[:k] for k in range(self.parallel, 0, -1)] + singly):
            floors = [self.values[0]] * self.parallel
            for strings in steps:
                value = self.highest(choice, floors, strings, min(most[i] for i in strings))
                for i in strings:
                    floors[i] = max(floors[i], value)
            self.note(choice, floors)

    def lower(self, node: _Node) -> Iterator[_Node]:
        """Nothing where the floors can be kept; else the floors that are still possible below.

        A set of places short of d modules, in n strings: one of them goes down as far as d/n
        further modules that may stand there. Each way is looked at once: in the ways after it
        that string stays above.
        """
        choice, order, floors = node.choice, node.order, node.floors
        assert order is not None
        flow = self.flow(choice, floors)
        if not any(flow.left):
            self.note(choice, floors)
            return
        short, lacking = flow.short()
        strings = self.places.strings(short)
        need, over = -(-lacking // len(strings)), list(node.above)
        for i in strings:
            down = self._next_down(choice, short, i, floors, need)
            if down is None:
                continue
            child = self.ordered(choice, order, [*floors[:i], down, *floors[i + 1:]])
            if all(f > least for f, least in zip(child, over, strict=True)):
                yield _Node(choice, order, child, tuple(over))
            over[i] = max(over[i], down)

    def _next_down(self, choice: _Choice, short: int, string: int, floors: Floors,
                   need: int) -> float | None:
        """The value that lets so many further modules into the short places of a string."""
        further: list[float] = []
        here = short & self.places.string_mask[string]
        for rights, values in self.free[choice.decided].items():
            if rights & here:
                end = bisect_left(values, min(floors[i] for i in
                                              self.places.strings(rights & short)))
                further += values[max(end - need, 0):end]
        return sorted(further)[-need] if len(further) >= need else None

    # -- who stands where ----------------------------------------------------------------------

    def rows(self, choice: _Choice, floors: Floors, order: np.ndarray) -> np.ndarray:
        """Modules place by place; the first in this order that still fit are the ones used.

        Whoever is placed once stays placed: so no other modules come earlier in the order.
        """
        fixed = [m for row in choice.fixed for m in row]
        named = set().union(*self.chunks)
        free = [m for m in order.tolist() if m not in named]
        reached = [sum(mask for mask, f in zip(self.places.string_mask, floors, strict=True)
                       if self.units[m] >= f) for m in free]
        flow = _Flow([*self._fixed(choice),
                      *((self.places.mask[m] & r, 1) for m, r in zip(free, reached, strict=True))],
                     self.places.room)
        rows = np.full(self.series * self.parallel, -1)
        for t, columns in enumerate(self.places.columns):
            rows[columns] = [m for m, row in zip([*fixed, *free], flow.flow, strict=True)
                             if row[t]]
        return rows.reshape(self.parallel, self.series)
