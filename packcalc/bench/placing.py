"""Modules pinned together: placed where they are good enough, else left out with the cost told.

A dealing that knows capacity alone leaves a weak block out. With fewer spare modules than a block
has members it cannot: so others are set aside until no more are left over than that, the weakest
first, and the rest is dealt.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import field

import numpy as np

from packcalc.bench import partition as pt
from packcalc.bench.bounds import second_bound, strings_bound
from packcalc.bench.dealing import Assignment, Effort, Pins, counting_step
from packcalc.bench.pinning import merged
from packcalc.bench.strings import assign_strings
from packcalc.errors import UserError
from packcalc.value import replace, value_object

FEW = 16  # modules: so few are dealt with proof, and quickly
MOST_TRIES = 60  # dealings of few modules for one block, until none can be better
FIRST_OF = 8  # of more modules the first dealing that keeps the pins is taken
MOST_ASIDE = 64  # choices of other blocks that are set aside

Deal = Callable[[np.ndarray, Pins], Assignment]


@value_object
class Lot:
    """What is dealt.

    Attributes:
        capacity, resistance: of each module [C], [Ω]; None leaves resistance out.
        series, parallel: S and P.
        strings: P strings of S, else S groups of P.
        pins: to keep.
        effort: of a dealing; its tolerance is what may be given up to place a block as well.
    """

    capacity: np.ndarray = field(compare=False)
    resistance: np.ndarray | None = field(compare=False)
    series: int
    parallel: int
    strings: bool
    pins: Pins
    effort: Effort

    @property
    def places(self) -> int:
        return self.series * self.parallel

    def held(self, values: np.ndarray, places: np.ndarray) -> float:
        """The weakest group's sum, or the sum of each string's weakest."""
        rows = values[places]
        return float(rows.min(axis=1).sum() if self.strings else rows.sum(axis=1).min())

    def by_capacity(self, use: np.ndarray, pins: Pins) -> Assignment:
        """These modules dealt for capacity alone; its value unrounded."""
        assign = assign_strings if self.strings else pt.assign_groups
        found = assign(self.capacity[use], None, self.series, self.parallel, pins=pins,
                       effort=self.effort)
        value = self.held(self.capacity[use], found.places)
        return replace(found, value=value, best_value=value, bound=max(found.bound, value))

    def units(self) -> np.ndarray:
        """Capacities in whole steps, as they are dealt."""
        return np.round(self.capacity / counting_step(self.capacity))


@value_object
class LeftOut:
    """A block that is left out.

    Attributes:
        block: its modules.
        capacity: of the best pack found with it placed [C]; None where none was found.
        cost: what that is less, as a share; None likewise.
        beside: other blocks, which it would be placed beside.
        proven: that no dealing which keeps the other pins and places it holds more, or that there
            is none.
    """

    block: tuple[int, ...]
    capacity: float | None = None
    cost: float | None = None
    beside: tuple[tuple[int, ...], ...] = ()
    proven: bool = False


def deal_blocks(lot: Lot, deal: Deal) -> tuple[Assignment, tuple[LeftOut, ...]]:
    """Deal, then place each block that was left out, where that costs no more than may be given up.

    Args:
        lot: to be dealt.
        deal: modules by number, and the pins on them by their place in that list, to an
            assignment that numbers them likewise.

    Raises:
        UserError: as `deal` does, of all modules.
    """
    found, out = deal(np.arange(len(lot.capacity)), lot.pins), []
    for block in map(tuple, merged(lot.pins.together)):
        if np.isin(block, found.places).any():
            continue
        beside = tuple(own for own in merged(lot.pins.together)
                       if np.isin(own, found.places).any())
        forced = [*beside, block]
        placing = _Placing(lot, forced, found.places)
        value, use, proven = placing.best()
        if use is None:
            out.append(LeftOut(block, beside=beside, proven=proven))
        elif value < found.best_value * (1.0 - lot.effort.tolerance):
            out.append(LeftOut(block, value, 1.0 - value / found.best_value, beside, proven))
        else:
            found = _among_all(lot, forced, found, placing.dealt(use, deal))
    return found, tuple(out)


def _among_all(lot: Lot, forced: Sequence[Sequence[int]], before: Assignment,
               placed: Assignment) -> Assignment:
    """With the bounds of all dealings: they hold for those that place the block too."""
    proven = before.proven and placed.best_value >= before.best_value
    bound = max(before.bound, placed.best_value)
    return replace(
        placed, bound=bound, proven=proven,
        rounding=min(before.rounding, max(bound - placed.best_value, 0.0)),
        proof=before.proof if proven else pt.NOT_PROVEN if lot.strings else pt.NO_PINS,
        conductance_bound=_conductance_bound(lot, forced, placed))


def _conductance_bound(lot: Lot, forced: Sequence[Sequence[int]], placed: Assignment) -> float:
    """What no weakest row exceeds, whichever modules stand beside the forced ones [S]."""
    if lot.resistance is None:
        return placed.conductance_bound
    if lot.strings:  # the mean string of the least resistances
        inside = [m for own in forced for m in own]
        others = np.sort(np.delete(lot.resistance, inside))[:lot.places - len(inside)]
        total = lot.resistance[inside].sum() + others.sum()
        return max(float(lot.parallel / total), placed.conductance)
    floor = placed.best_value / placed.step * (1.0 - lot.effort.tolerance)
    limit = second_bound(1.0 / lot.resistance, lot.units(), floor - lot.parallel,  # of rounding
                         lot.series, lot.parallel)
    return max(float(limit), placed.conductance)


class _Placing:
    """Blocks that must be placed, and who is set aside for it."""

    def __init__(self, lot: Lot, forced: Sequence[Sequence[int]], answer: np.ndarray):
        self.lot, self.forced, self.answer, self.units = lot, forced, answer, lot.units()
        pinned = {m for own in lot.pins.together for m in own}
        inside = {m for own in forced for m in own}
        self.others = [own for own in merged(lot.pins.together) if not inside & set(own)]
        self.single = [m for m in np.argsort(self.units, kind="stable").tolist()
                       if m not in pinned]
        self.spare = len(self.units) - lot.places
        self.most_left = min(map(len, forced)) - 1  # fewer spare ones than any forced block has

    def best(self) -> tuple[float, np.ndarray | None, bool]:
        """The most capacity [C] found with every forced block placed, and the modules dealt.

        And whether it is proven that none holds more, or where none was found that there is none.
        """
        if not self.has_a_place():
            return 0.0, None, True
        few = proven = len(self.units) <= FEW
        tries, best, most, value = MOST_TRIES if few else FIRST_OF, None, -np.inf, 0.0
        for limit, use in itertools.chain(self.likely(), self.choices()):
            if best is not None and np.isinf(limit):
                continue
            if most >= limit:
                return value, best, True
            if tries == 0 or best is not None and not few:
                return value, best, False
            tries -= 1
            try:
                found = self.dealt(use, self.lot.by_capacity)
            except UserError:
                continue
            proven, held = proven and found.proven, self.lot.held(self.units, found.places)
            if held > most:
                best, most, value = use, held, found.best_value
        return value, best, proven

    def has_a_place(self) -> bool:
        """Whether each forced block has rows that all its members may stand in."""
        allowed, lot = self.lot.pins.allowed, self.lot
        if allowed is None:
            return True
        if lot.strings:  # some position of the string
            allowed = allowed.reshape(len(allowed), lot.parallel, lot.series).any(axis=2)
        return all(allowed[list(own)].all(axis=0).any() for own in self.forced)

    def dealt(self, use: np.ndarray, deal: Deal) -> Assignment:
        """These modules dealt, the others left out too."""
        pins, at = self.lot.pins, {m: k for k, m in enumerate(use.tolist())}
        inside = Pins(tuple(tuple(at[i] for i in own) for own in pins.together if own[0] in at),
                      tuple((at[a], at[b]) for a, b in pins.apart if a in at and b in at),
                      None if pins.allowed is None else pins.allowed[use])
        found = deal(use, inside)
        places = use[found.places]
        spare = np.setdiff1d(np.arange(len(self.units)), places.ravel())
        return replace(found, places=places,
                       left_out=spare[np.argsort(-self.units[spare], kind="stable")])

    # -- who is set aside ----------------------------------------------------------------------

    def likely(self) -> Iterator[tuple[float, np.ndarray]]:
        """The strongest, without any spare; then the answer's own with the blocks, which stand.

        As `choices`, but that others may hold more.
        """
        for blocks in itertools.islice(self.blocks_aside(), 1):
            aside = self.spare - sum(len(self.others[i]) for i in blocks)
            if aside <= len(self.single):
                yield np.inf, self.left(blocks, tuple(range(aside)))
        inside = [m for own in self.forced for m in own]
        own = [m for m in self.single if m in set(self.answer.ravel().tolist())]
        room = self.lot.places + self.most_left - len(inside)
        yield np.inf, np.sort([*inside, *own[max(0, len(own) - room):]])

    def choices(self) -> Iterator[tuple[float, np.ndarray]]:
        """What a dealing of these modules holds at most, and they; the highest first."""
        heap: list[tuple[float, float, tuple[int, ...], tuple[int, ...]]] = []
        seen = set()

        def push(blocks: tuple[int, ...], aside: tuple[int, ...]) -> None:
            if (blocks, aside) not in seen:
                seen.add((blocks, aside))
                use = self.left(blocks, aside)
                heapq.heappush(heap, (-self.limit(use), -float(self.units[use].sum()),
                                      blocks, aside))

        for blocks in itertools.islice(self.blocks_aside(), MOST_ASIDE):
            gone = sum(len(self.others[i]) for i in blocks)
            push(blocks, tuple(range(max(0, self.spare - gone - self.most_left))))
        while heap:
            limit, _, blocks, aside = heapq.heappop(heap)
            yield -limit, self.left(blocks, aside)
            for i, k in enumerate(aside):  # the next stronger one in its stead
                if k + 1 < len(self.single) and k + 1 not in aside:
                    push(blocks, (*aside[:i], k + 1, *aside[i + 1:]))

    def blocks_aside(self) -> Iterator[tuple[int, ...]]:
        """Other blocks that are set aside: as many as can be, then fewer."""
        for count in range(len(self.others), -1, -1):
            for chosen in itertools.combinations(range(len(self.others)), count):
                gone = sum(len(self.others[i]) for i in chosen)
                if gone <= self.spare <= gone + len(self.single) + self.most_left:
                    yield chosen

    def left(self, blocks: tuple[int, ...], aside: tuple[int, ...]) -> np.ndarray:
        gone = [*(m for i in blocks for m in self.others[i]), *(self.single[k] for k in aside)]
        return np.setdiff1d(np.arange(len(self.units)), gone)

    def limit(self, use: np.ndarray) -> float:
        """No dealing of these modules with the forced blocks placed exceeds this, in steps."""
        return min(self.limit_beside(use, own) for own in self.forced)

    def limit_beside(self, use: np.ndarray, block: Sequence[int]) -> float:
        """A group holds at most the block and the strongest others, a string its weakest."""
        series, parallel, own = self.lot.series, self.lot.parallel, self.units[list(block)]
        others = np.sort(self.units[np.setdiff1d(use, block)])[::-1]
        if self.lot.strings:
            return float(own.min()) + strings_bound(others, series, parallel - 1)
        mean = (own.sum() + others[:self.lot.places - len(block)].sum()) / series
        return float(min(mean, own.sum() + others[:parallel - len(block)].sum()))
