"""What the answer is worth: against simpler dealing, and if a module or a pin were not there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from packcalc.bench import partition as pt
from packcalc.bench.dealing import Assignment, Effort, Pins
from packcalc.bench.pinning import allowed_places, merged
from packcalc.bench.placing import Lot, deal_blocks
from packcalc.brief import WantedPins
from packcalc.errors import UserError
from packcalc.value import replace, value_object, worked_once

TRIED = 8
BETWEEN_BLOCKS = 4
MOST_NAMED = 4
MOST_LIFTED = 8  # pins of one kind that are lifted alone: each is a dealing


@value_object
class Trade:
    """One way to deal the lot.

    Attributes:
        name: in words.
        capacity: of the pack [C].
        conductance: of the weakest group or string [S].
        worst_share: highest first share against the fair one; NaN for strings.
        chosen: whether it is the way taken.
    """

    name: str
    capacity: float
    conductance: float
    worst_share: float
    chosen: bool = False


@value_object
class WhatIf:
    """A change and the pack's capacity after dealing anew [C]; None where it cannot be dealt."""

    what: str
    capacity: float | None
    note: str = ""


@value_object
class Successor:
    """What a later replacement in one place must bring.

    Attributes:
        place, mark: which.
        least: capacity that keeps the pack's capacity [C].
        product: resistance × capacity of the others in its group, on average [Ω·C].
        fits: marks of spare modules with enough capacity that keep the pins there, the likest
            R·Q first.
        note: what pins do there, in words.
    """

    place: str
    mark: str
    least: float
    product: float
    fits: tuple[str, ...]
    note: str = ""


@value_object
class Outlook:
    """Trades, what-ifs, what to replace first, and what fits later."""

    trades: tuple[Trade, ...]
    what_ifs: tuple[WhatIf, ...]
    replace_first: tuple[WhatIf, ...]
    successors: tuple[Successor, ...]


def look_out(numbers: Any, marks: Sequence[str], assignment: Assignment, pins: Pins,
             effort: Effort, wanted: WantedPins) -> Outlook:
    """Deal again in other ways and with other modules.

    Args:
        numbers: `capacity` and `resistance` of every module dealt.
        marks: their marks.
        assignment: the answer.
        pins, effort: as it was found.
        wanted: the pins by mark, for words.
    """
    view = _View(numbers.capacity, numbers.resistance, list(marks), assignment, pins,
                 replace(effort, rounds=min(effort.rounds, 40)))
    return Outlook(view.trades(), view.what_ifs(wanted), view.replace_first(), view.successors())


@value_object
class _View:
    q: np.ndarray
    r: np.ndarray
    marks: list[str]
    answer: Assignment
    pins: Pins
    effort: Effort

    @property
    def strings(self) -> bool:
        return self.answer.arrangement == "strings"

    @property
    def size(self) -> tuple[int, int]:
        rows, columns = self.answer.places.shape
        return (columns, rows) if self.strings else (rows, columns)

    def capacity_of(self, places: np.ndarray) -> float:
        held = self.q[places]
        return float(held.min(axis=1).sum() if self.strings else held.sum(axis=1).min())

    def trade(self, name: str, places: np.ndarray, chosen: bool = False) -> Trade:
        if self.strings:
            weakest = 1.0 / self.r[places].sum(axis=1).max()
            share = float("nan")
        else:
            weakest = (1.0 / self.r[places]).sum(axis=1).min()
            share = float(pt.share_of_fair(self.q, self.r, places).max())
        return Trade(name, self.capacity_of(places), float(weakest), share, chosen)

    def trades(self) -> tuple[Trade, ...]:
        found = [self.trade("this answer", self.answer.places, True)]
        if not self.strings and self.answer.places.shape[1] > 1:
            s, p = self.size
            found += [
                self.trade("most capacity, resistance not looked at",
                           pt.assign_groups(self.q, None, s, p, effort=self.effort).places),
                self.trade("between: sorted by R·Q into blocks of four groups", pt.assign_even(
                    self.q, self.r, s, p, blocks=BETWEEN_BLOCKS, effort=self.effort).places),
                self.trade("even sharing: sorted by R·Q", pt.assign_even(
                    self.q, self.r, s, p, effort=self.effort).places)]
        return (*found, *self.plain("order of arrival", np.arange(len(self.q)), "first"),
                *self.plain("sorted by capacity and sliced", np.argsort(-self.q, kind="stable"),
                            "strongest"))

    def plain(self, name: str, order: np.ndarray, which: str) -> tuple[Trade, ...]:
        """A way that nobody needs to think about: what dealing gains, then leaving out as well.

        Args:
            name: of the way, in words.
            order: of all modules.
            which: of them are taken where nobody leaves any out.
        """
        shape = self.answer.places.shape
        count = self.answer.places.size
        own = order[np.isin(order, self.answer.places)]
        found = [self.trade(f"{name}: this answer's modules", own.reshape(shape))]
        if set(own) != set(order[:count]):
            found.append(self.trade(f"{name}: the {which} {count} of {len(order)}",
                                    order[:count].reshape(shape)))
        return tuple(found)

    def dealt_anew(self, what: str, q: np.ndarray, pins: Pins, note: str = "",
                   least: float = 0.0) -> WhatIf:
        """Dealt as the answer was, where the answer itself stays possible: no less comes of it.

        Args:
            what: is changed.
            q: capacity of each module [C]; none lower than it was, further ones last.
            pins: on them, or fewer.
            note: beside it.
            least: capacity of a dealing that stays possible as well, if more than the answer's [C].
        """
        value, used = self.dealt_as_pinned(q, pins) or (0.0, self.answer.places)
        changed, least = self.changed(used, pins), max(self.answer.best_value, least)
        if value < least and not any(now for _, now in changed):
            value, changed = least, []
        return self.noted(what, value, changed, note)

    def dealt_as_pinned(self, q: np.ndarray, pins: Pins) -> tuple[float, np.ndarray] | None:
        """Capacity of another lot, its blocks placed where that costs little enough; who is used.

        None where it cannot be dealt.
        """
        lot = Lot(q, None, *self.size, self.strings, pins, self.effort)
        try:
            found, _ = deal_blocks(lot, lot.by_capacity)
        except UserError:
            return None
        return found.best_value, found.places.ravel()

    def changed(self, used: np.ndarray, pins: Pins) -> list[tuple[tuple[int, ...], bool]]:
        """Blocks that are placed now and were not, or the other way round."""
        placed = [(block, *(bool(np.isin(block, those).any())
                            for those in (self.answer.places, used)))
                  for block in merged(pins.together)]
        return [(block, now) for block, before, now in placed if before != now]

    def noted(self, what: str, value: float, changed: Sequence[tuple[tuple[int, ...], bool]],
              note: str = "") -> WhatIf:
        words = [f"{' with '.join(self.marks[i] for i in block)} then "
                 f"{'placed' if now else 'left out'}" for block, now in changed]
        return WhatIf(what, value, "; ".join([*([note] if note else []), *words]))

    def what_ifs(self, wanted: WantedPins) -> tuple[WhatIf, ...]:
        middle = float(np.median(self.q))
        placed = self.answer.places.ravel()
        worst = int(placed[np.argmin(self.q[placed])])
        more = np.append(self.q, middle)
        allowed = self.pins.allowed
        grown = self.pins if allowed is None else replace(
            self.pins, allowed=np.vstack([allowed, np.ones((1, allowed.shape[1]), bool)]))
        found = [WhatIf("as it is, dealt for capacity alone", self.answer.best_value),
                 self.dealt_anew("one more module like the middle of the lot", more, grown),
                 self.without(worst)]
        return (*found, *self.without_pins(wanted))

    def without(self, worst: int) -> WhatIf:
        """The worst placed module left out."""
        what = f"{self.marks[worst]}, the weakest placed, left out"
        if worst in self.mates:
            return WhatIf(what, None, "it is pinned together with "
                          f"{self.named(self.mates[worst])}")
        if not len(self.answer.left_out):
            return WhatIf(what, None, "no spare module fills its place")
        keep = np.arange(len(self.q)) != worst
        number = np.cumsum(keep) - 1
        def moved(given):  # one that keeps another away from it is met
            return tuple(tuple(int(number[m]) for m in pin) for pin in given if worst not in pin)

        pins = Pins(moved(self.pins.together), moved(self.pins.apart),
                    None if self.pins.allowed is None else self.pins.allowed[keep])
        found = self.dealt_as_pinned(self.q[keep], pins)
        if found is None:
            return WhatIf(what, None, "no dealing without it was found that keeps the pins")
        return self.noted(what, found[0],
                          self.changed(np.flatnonzero(keep)[found[1]], self.pins))

    def without_pins(self, wanted: WantedPins) -> list[WhatIf]:
        """Each pin lifted alone, and all of one kind at once: two may cost only together."""
        pins, (series, parallel) = self.pins, self.size

        def out_of(not_in: tuple[tuple[str, str], ...]) -> Pins:
            return replace(pins, allowed=allowed_places(
                replace(wanted, not_in=not_in), self.marks, series,
                parallel if self.strings else 1))

        return [
            *self.lifted("together", [" with ".join(self.marks[m] for m in own)
                                      for own in pins.together], pins.together,
                         lambda left: replace(pins, together=left)),
            *self.lifted("apart", [" apart from ".join(self.marks[m] for m in own)
                                   for own in pins.apart], pins.apart,
                         lambda left: replace(pins, apart=left)),
            *self.lifted("out of boxes", [f"{mark} not in {box}" for mark, box in wanted.not_in],
                         wanted.not_in, out_of)]

    def lifted(self, kind: str, words: Sequence[str], given: tuple[Any, ...],
               of: Callable[[tuple[Any, ...]], Pins]) -> list[WhatIf]:
        """The first of one kind of pins, each lifted alone; then all of that kind.

        Args:
            kind: in words.
            words: each pin in words.
            given: the pins.
            of: makes all pins of those of this kind that stay.
        """
        found = [self.dealt_anew(f"without the pin {words[i]}", self.q,
                                 of(given[:i] + given[i + 1:]))
                 for i in range(min(len(given), MOST_LIFTED))]
        if len(given) > 1:
            untried = len(given) - len(found)
            found.append(self.dealt_anew(
                f"without all {len(given)} pins that keep modules {kind}", self.q, of(()),
                f"{untried} of them not tried alone" if untried else "",
                max(w.capacity or 0.0 for w in found)))
        return found

    def replace_first(self) -> tuple[WhatIf, ...]:
        """The weakest placed modules, each replaced by one like the lot's middle."""
        middle = float(np.median(self.q))
        placed = self.answer.places.ravel()
        weakest = placed[np.argsort(self.q[placed], kind="stable")][:TRIED]
        found = []
        for i in weakest:
            q = self.q.copy()
            q[i] = max(middle, q[i])
            row, _ = np.argwhere(self.answer.places == i)[0]
            there = self.q[self.answer.places].copy()
            there[self.answer.places == i] = q[i]
            stay = there.min(axis=1).sum() if self.strings else there.sum(axis=1).min()
            found.append(self.dealt_anew(
                self.marks[i], q, self.pins, f"row {row + 1}; all others left where they are: "
                f"{stay / 3600:.5g} Ah"))
        return tuple(sorted(found, key=lambda w: -(w.capacity or 0.0)))

    def successors(self) -> tuple[Successor, ...]:
        """For every place, what a replacement must bring and which spares do."""
        value, spare = self.capacity_of(self.answer.places), self.answer.left_out
        found = []
        for row, members in enumerate(self.answer.places):
            for column, i in enumerate(members):
                others = np.delete(members, column)
                if self.strings:
                    least = float(self.q[members].min())
                else:
                    least = max(value - float(self.q[others].sum()), 0.0)
                beside = others if len(others) and not self.strings else members
                product = float((self.q * self.r)[beside].mean())
                enough = [int(k) for k in spare if self.q[k] >= least - 1e-6]
                enough.sort(key=lambda k: abs(self.q[k] * self.r[k] - product))
                barred = [k for k in enough if self.barred(k, row, column, others)]
                fits = tuple(self.marks[k] for k in enough if k not in barred)
                found.append(Successor(f"{row + 1}.{column + 1}", self.marks[i], least, product,
                                       fits, self.of_pins(int(i), barred)))
        return tuple(found)

    def barred(self, k: int, row: int, column: int, others: np.ndarray) -> bool:
        """Whether a pin keeps this spare module out of a place, or would be parted by it."""
        place = row * self.answer.places.shape[1] + column if self.strings else row
        return (k in self.mates  # they stay out
                or self.pins.allowed is not None and not self.pins.allowed[k, place]
                or not self.foes.get(k, set()).isdisjoint(others.tolist()))

    def of_pins(self, i: int, barred: Sequence[int]) -> str:
        """What pins do where a module is replaced, in words."""
        told = [f"its pin with {self.named(self.mates[i])} ends"] if i in self.mates else []
        more = " …" if len(barred) > MOST_NAMED else ""
        kept = [f"pins keep out {self.named(barred[:MOST_NAMED])}{more}"] if barred else []
        return "; ".join([*told, *kept])

    @worked_once
    def mates(self) -> dict[int, list[int]]:
        """What each module is pinned together with."""
        return {i: [m for m in block if m != i] for block in merged(self.pins.together)
                for i in block}

    @worked_once
    def foes(self) -> dict[int, set[int]]:
        """What each module is pinned apart from."""
        found: dict[int, set[int]] = {}
        for one, other in self.pins.apart:
            found.setdefault(one, set()).add(other)
            found.setdefault(other, set()).add(one)
        return found

    def named(self, modules: Sequence[int]) -> str:
        return ", ".join(self.marks[m] for m in modules)
