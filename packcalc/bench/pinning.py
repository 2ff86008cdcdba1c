"""The brief's pins, by mark, as pins on the modules that are dealt; or what is wrong with them.

A pin about a module that is not dealt is met where it only keeps that module away from
something. One that wants it beside another cannot be met, and the reason is told.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TypeVar

import numpy as np

from packcalc.bench.dealing import Pins
from packcalc.bench.grade import GradedLot, GradedModule
from packcalc.brief import Brief, WantedPins
from packcalc.errors import Fault, InputErrors, UserError, nearest
from packcalc.layouts import Layout
from packcalc.value import value_object

TOGETHER, APART, NOT_IN, BOXES = "pins_together", "pins_apart", "pins_not_in", "boxes"
LONGEST_WHY = 160

Mark = TypeVar("Mark", str, int)


@value_object
class Pinned:
    """What the brief's pins ask of the modules that are dealt.

    Attributes:
        pins: by number.
        wanted: the same by mark, without those that ask for nothing any more.
        notes: pins that are met because their module is not dealt.
    """

    pins: Pins
    wanted: WantedPins
    notes: tuple[str, ...]


def pin_modules(brief: Brief, lot: GradedLot, marks: Sequence[str], layout: Layout) -> Pinned:
    """Pins of the modules dealt, by their numbers.

    Args:
        brief: for the name of its file.
        lot: the graded sheet, with the brief's pins.
        marks: of the modules that are dealt, in their order.
        layout: to be filled.

    Raises:
        InputErrors: every pin that cannot be met whatever is dealt, one line each.
    """
    desk = _Desk(brief.place, lot, {mark: i for i, mark in enumerate(marks)}, layout)
    wanted = lot.bench.pins
    faults = [*desk.strangers(wanted), *desk.boxes_too_long(wanted)]
    if not faults:
        faults = [*desk.broken_together(wanted), *desk.too_many_or_torn(wanted)]
    if faults:
        raise InputErrors(faults)
    return desk.pinned(wanted)


def unmet(brief: Brief, wanted: WantedPins, error: UserError) -> InputErrors:
    """What dealing says of pins that no dealing meets, with the file, the line and the marks."""
    pins = [*(f"{' with '.join(own)}" for own in wanted.together),
            *(f"{' apart from '.join(own)}" for own in wanted.apart),
            *(f"{mark} not in {box}" for mark, box in wanted.not_in)]
    name = TOGETHER if wanted.together else APART if wanted.apart else NOT_IN
    wrong, _, right = str(error).partition("; ")
    return InputErrors([Fault(brief.place, wanted.line(name), f"bench.{name}",
                              f"{wrong}: {', '.join(pins)}", right or "loosen a pin")])


@value_object
class _Desk:
    place: str
    lot: GradedLot
    number: dict[str, int]
    layout: Layout

    @property
    def strings(self) -> bool:
        return self.layout.arrangement == "strings" and self.layout.parallel > 1

    def fault(self, wanted: WantedPins, name: str, wrong: str, right: str) -> Fault:
        return Fault(self.place, wanted.line(name), f"bench.{name}", wrong, right)

    def graded(self, mark: str) -> GradedModule | None:
        return next((m for m in self.lot.modules if m.mark == mark), None)

    def out(self, mark: str) -> str:
        """Why a module of the sheet is not dealt."""
        found = self.graded(mark)
        assert found is not None
        why = found.why[:LONGEST_WHY] + ("…" if len(found.why) > LONGEST_WHY else "")
        if found.grade == "keep":
            return f"{mark} is kept, but of another type ({found.row.module.id})" \
                if found.row.module else f"{mark} is of no stated type"
        return f"{mark} is not dealt ({found.grade}{': ' if why else ''}{why})"

    # -- what is wrong ------------------------------------------------------------------------

    def strangers(self, wanted: WantedPins) -> Iterator[Fault]:
        """Marks that no row of the sheet has."""
        named = [(TOGETHER, pin) for pin in wanted.together]
        named += [(APART, pin) for pin in wanted.apart]
        named += [(NOT_IN, (mark,)) for mark, _ in wanted.not_in]
        known = [m.mark for m in self.lot.modules]
        for name, own in named:
            for mark in own:
                if self.graded(mark) is None:
                    near = next((k for k in known if k.casefold() == mark.casefold()),
                                "") or nearest(mark, known)
                    yield self.fault(wanted, name, f"{mark} is no module of "
                                     f"{self.lot.sheet.place}", f"did you mean {near}?" if near else
                                     "write a mark of the sheet")

    def boxes_too_long(self, wanted: WantedPins) -> Iterator[Fault]:
        """Boxes of a pin that reach beyond the layout."""
        spans, count = _spans(wanted), self.places
        for box in dict.fromkeys(box for _, box in wanted.not_in):
            if spans[box][1] > count:
                yield self.fault(wanted, BOXES, f"box {box!r} reaches to place {spans[box][1]}, "
                                 f"but {self.layout.label} has {count} "
                                 + ("positions in each of its strings, and a box counts those"
                                    if self.strings else "places"),
                                 f"end it at {count}, or name another layout")

    @property
    def places(self) -> int:
        """Places that a box counts: groups, or positions in every string."""
        return self.layout.series

    def broken_together(self, wanted: WantedPins) -> Iterator[Fault]:
        """Modules wanted together of which some are out."""
        for own in wanted.together:
            gone = [mark for mark in own if mark not in self.number]
            if gone and len(gone) < len(own):
                yield self.fault(wanted, TOGETHER, f"{' with '.join(own)}: "
                                 + "; ".join(map(self.out, gone)),
                                 "take the pin out, or settle what keeps the module out")

    def too_many_or_torn(self, wanted: WantedPins) -> Iterator[Fault]:
        """Modules that pins bring together, too many for a group or pinned apart as well."""
        row, room = ("string", self.layout.series) if self.strings else (
            "group", self.layout.parallel)
        blocks = merged(wanted.together)
        for block in blocks:
            if len(block) > room:
                yield self.fault(wanted, TOGETHER, f"{', '.join(block)} are pinned together, "
                                 f"{len(block)} modules, but a {row} of {self.layout.label} holds "
                                 f"{room}", f"pin no more than {room} together")
        for one, other in _pairs(wanted.apart):
            block = next((b for b in blocks if one in b and other in b), None)
            if block is not None:
                yield self.fault(wanted, APART, f"{one} and {other} are pinned apart, and together "
                                 f"by bench.{TOGETHER} ({', '.join(block)})", "drop one of the two")

    # -- what is left of them -----------------------------------------------------------------

    def pinned(self, wanted: WantedPins) -> Pinned:
        """The pins on what is dealt, and a note on each that is met by a module being out."""
        number = self.number
        together = tuple(own for own in wanted.together if own[0] in number)
        apart = tuple(p for p in _pairs(wanted.apart) if p[0] in number and p[1] in number)
        not_in = tuple((mark, box) for mark, box in wanted.not_in if mark in number)
        left = WantedPins(together, apart, not_in, wanted.boxes, wanted.lines)
        pins = Pins(tuple(tuple(number[m] for m in own) for own in together),
                    tuple((number[a], number[b]) for a, b in apart),
                    allowed_places(left, list(number), self.places,
                                   self.layout.parallel if self.strings else 1))
        return Pinned(pins, left, (*self.spans_told(wanted), *self.met(wanted)))

    def spans_told(self, wanted: WantedPins) -> Iterator[str]:
        """Which places each box of a pin is."""
        named = {box for _, box in wanted.not_in}
        for box, first, last in wanted.boxes:
            if box in named:
                yield f"Box {box}: " + (
                    f"positions {first} to {last} of every string, places 1.{first} to "
                    f"1.{last} and so on to {self.layout.parallel}.{first} to "
                    f"{self.layout.parallel}.{last}." if self.strings else
                    f"groups {first} to {last}.")

    def met(self, wanted: WantedPins) -> Iterator[str]:
        said = [*((own, " with ".join(own)) for own in wanted.together
                  if not any(mark in self.number for mark in own)),
                *((pair, " apart from ".join(pair)) for pair in _pairs(wanted.apart)),
                *(((mark,), f"{mark} not in {box}") for mark, box in wanted.not_in)]
        for own, words in said:
            gone = [mark for mark in own if mark not in self.number]
            if gone:
                yield f"The pin {words} is met: " + "; ".join(map(self.out, gone)) + "."


def allowed_places(wanted: WantedPins, marks: Sequence[str], places: int, strings: int
                   ) -> np.ndarray | None:
    """Where each module may stand; None where no pin keeps one out of a box.

    Args:
        wanted: its pins that keep modules out of boxes.
        marks: of the modules that are dealt, in their order.
        places: groups, or positions in a string.
        strings: how many; a box takes the same positions of every one. 1 for groups.

    Examples:
        >>> pins = WantedPins(not_in=(("B", "rear"),), boxes=(("rear", 2, 3),))
        >>> allowed_places(pins, ["A", "B"], 3, 1).tolist()
        [[True, True, True], [True, False, False]]
    """
    if not wanted.not_in:
        return None
    allowed = np.ones((len(marks), places), dtype=bool)
    for mark, box in wanted.not_in:
        first, last = _spans(wanted)[box]
        allowed[marks.index(mark), first - 1:last] = False
    return np.tile(allowed, (1, strings))


def _spans(wanted: WantedPins) -> dict[str, tuple[int, int]]:
    return {name: (first, last) for name, first, last in wanted.boxes}


def _pairs(apart: Sequence[Sequence[str]]) -> tuple[tuple[str, str], ...]:
    return tuple((a, b) for own in apart for i, a in enumerate(own) for b in own[i + 1:])


def merged(together: Sequence[Sequence[Mark]]) -> list[tuple[Mark, ...]]:
    """Pins that share a module are one block.

    Examples:
        >>> merged([("A", "B"), ("C", "D"), ("B", "E")])
        [('C', 'D'), ('A', 'B', 'E')]
    """
    blocks: list[tuple[Mark, ...]] = []
    for own in together:
        hit = [b for b in blocks if set(b) & set(own)]
        blocks = [b for b in blocks if b not in hit]
        blocks.append(tuple(dict.fromkeys(mark for b in (*hit, tuple(own)) for mark in b)))
    return blocks
