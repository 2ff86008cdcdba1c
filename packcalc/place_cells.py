"""What faults leave on their own cells, up to the highest current that is left to the cells' trip.

The resistance outside the modules takes the rest of the voltage: the larger the current, the more
a cell keeps. So the trip is held where it is counted on last, in each loop with the current, the
conductors and the cells of that loop.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from packcalc.clearing import CELL_TRIPS, PartAnswers
from packcalc.findings import Finding, leaf, with_more
from packcalc.part_checks.cells_left import CellsLeft
from packcalc.place_sweep import NO_CONTACTOR, SWEPT, currents_of, times_over
from packcalc.places.trips import left_on_cells, open_loops, open_words
from packcalc.protect.branch_figures import only_at_most
from packcalc.protect.places import FUSE, Device, Loop
from packcalc.units import several, show
from packcalc.value import replace

TITLE = "Voltage of a cell during a fault outside the modules"
# In place of a loop's own resistance for each cell: what hides every fault, and what hides none.
DEAF, KEEN = (leaf("resistance outside for each cell", "R_c", "mΩ", value, "definition")
              for value in (1e12, 0.0))


@dataclass(frozen=True, eq=False)
class _Left:
    """One loop at the highest current that is left to its cells' trip.

    Attributes:
        loop: of the trip.
        voltage: left on its cells.
        blind: current from which they may keep more than the trip's level, in A.
        shown: whether the trip is shown to open there what it sees.
    """

    loop: Loop
    voltage: Finding
    blind: float
    shown: bool

    @property
    def unseen(self) -> str:
        """From where on the trip does not see, in words; empty where it sees all."""
        start = max(self.blind, self.loop.lowest.number)
        return f"not seen from {show(start, 'A')}" if start < self.at.number else ""

    @property
    def at(self) -> Finding:
        """That current."""
        return self.voltage.inputs[0]

    @property
    def told(self) -> Finding:
        """The voltage with its loop, and with what the trip does not see of it."""
        words = ", ".join(filter(None, (
            f"{self.at.shown} at '{self.loop.title}'", self.unseen,
            "up to there no other device is shown to open it")))
        return self.voltage.called(TITLE, note=f"{words}; on top the trip's reading "
                                  "error: ask its maker")


def cells_left(loops: Iterable[Loop], answers: PartAnswers, lowest: Finding) -> CellsLeft:
    """The most that any loop leaves on its cells where their trip is counted on.

    Args:
        loops: every fault place.
        answers: what its devices do.
        lowest: left by the lowest currents, see `trips.fault_cell`; what is open of it stays open.
    """
    loops = tuple(loops)
    found = _found(answers, loops, lowest.value or 0.0)
    sized = sorted((one for one in found if one.loop.sizes), key=lambda one: -one.voltage.number)
    worst = next((one for one in sized if one.shown), None)
    most = [one for one in sized if not one.shown][:1]
    unknown = _unknown(loops)
    left = CellsLeft(with_more(lowest, unknown), most[0].voltage if most else None, _places(most),
                     _places(one for one in found if not one.loop.sizes)
                     or _unbroken(answers, loops))
    if worst is None or not lowest.known or worst.voltage.number <= lowest.number:
        return left
    open_ = lowest.untold_more or unknown or open_words(open_loops(
        one.loop for one in sized if one.shown))
    return replace(left, worst=with_more(worst.told, open_),
                   beside=lowest.told_note.partition("; governed by")[0])


def _unknown(loops: Iterable[Loop]) -> str:
    """Loops with such a trip of which no lowest current is known, in words; empty for none.

    However little flows there, it may be left to the trip, and by any conductors.
    """
    return open_words([loop for loop in loops if not loop.lowest.known
                       and any(_on_cells(d) for d in loop.devices)])


def _on_cells(device: Device) -> bool:
    """Whether the cells' trip opens it."""
    return device.key == "contactors" or device.key in CELL_TRIPS


def _places(found: Iterable[_Left]) -> str:
    """The first place at which the trip does not see all, with how many more; empty for none."""
    unseen = {one.loop.title: one for one in sorted(found, key=lambda one: -one.blind)
              if one.unseen}
    if not unseen:
        return ""
    *more, (title, first) = unseen.items()
    return f"{first.unseen} at '{title}'" + (f", and at {several(len(more), 'place')} more"
                                            if more else "")


def _unbroken(answers: PartAnswers, loops: Iterable[Loop]) -> str:
    """A place where the trip sees less than nobody ends, in words; empty for none.

    Its contactor does not break that either, and so it is not left to the trip: a contactor that
    breaks less lets no trip see more.
    """
    level = answers.brief.management.undervoltage_trip
    for trip in _trips(answers, loops) if level.known else ():
        blind = level.number / trip.drop.number
        if max(blind, trip.top) >= trip.whole:
            continue
        current = currents_of(answers, trip.loop)
        left = (current > max(blind, trip.top)) & (current <= trip.whole)
        if left.any() and np.isnan(times_over(
                answers, _with(trip.loop, DEAF), current[left])).any():
            return f"not seen from {show(max(blind, trip.loop.lowest.number), 'A')} at " \
                f"'{trip.loop.title}', where its contactor does not break all"
    return ""


@dataclass(frozen=True, eq=False)
class _Trip:
    """The cells' trip in one loop.

    Attributes:
        loop, drop: of it; resistance outside the modules for each of its cells.
        limit: what its contactor breaks, in A; 0 where not shown.
        top: highest current that may be left to it, in A.
        whole: the same if its contactor broke all.
        counts: whether its contactor may be shown to open it: a fuse without a sheet may take over
            before.
    """

    loop: Loop
    drop: Finding
    limit: float
    top: float
    whole: float
    counts: bool

    @property
    def most(self) -> float:
        """What it may leave on its cells at most, in V."""
        return self.top * self.drop.number


def _trips(answers: PartAnswers, loops: Iterable[Loop]) -> Iterator[_Trip]:
    """Every loop with such a trip.

    What its contactor does not break is not left to it, nor what a trip is held back from. From
    where the cells fall below the level by themselves every fault is seen.
    """
    held = answers.brief.management.trip_blocked_above
    for loop in loops:
        if not (loop.lowest.known and loop.highest.known
                and 0 < loop.lowest.number < loop.highest.number):
            continue
        for device in loop.devices:
            if device.drop is None or not device.drop.number > 0 or not _on_cells(device):
                continue
            path = answers.path(device)
            side = NO_CONTACTOR if path is None else answers.contactor(device, path)
            limit = side.limit * device.paths
            whole = min([loop.highest.number, *(
                f.number * (1.0 - 1e-9) for f in (held, device.falls)
                if f is not None and f.known)])
            yield _Trip(loop, device.drop, limit, min(whole, limit * (1.0 + 1e-9) or np.inf),
                        whole, path is not None and not side.reasons and all(
                            d.kind != FUSE or answers.sides.get(d.key) is not None
                            for d in loop.devices))


def _found(answers: PartAnswers, loops: Iterable[Loop], least: float) -> list[_Left]:
    """The loops that may leave the most, and those whose trip may not see all of a leak.

    Args:
        answers, loops: see `cells_left`.
        least: what is left anyway, in V.
    """
    level, found, most = answers.brief.management.undervoltage_trip, [], least
    hidden = 0.0  # the most that is left where no trip is shown to open it: one such is told
    unseen: set[str] = set()
    # Of a leak the loop that blinds its trip first says all of its place.
    for trip in sorted(_trips(answers, loops), key=lambda one: (
            -one.most if one.loop.sizes else -one.drop.number)):
        enough = most if trip.loop.sizes else level.value or np.inf
        if trip.most <= enough and not only_at_most(trip.loop.lowest) \
                or trip.loop.title in unseen \
                or level.known and not trip.counts and trip.loop.sizes and trip.most <= hidden:
            continue
        top, shown = _left_to(answers, trip)
        if top is None:
            continue
        at = leaf("highest current left to the cells' trip", "I", "A", top, "definition",
                  origin=SWEPT)
        one = _Left(trip.loop, left_on_cells(at, trip.drop),
                    level.number / trip.drop.number if level.known else np.inf, shown)
        found.append(one)
        if trip.loop.sizes and shown:
            most = max(most, one.voltage.number)
        elif trip.loop.sizes:
            hidden = max(hidden, one.voltage.number)
        elif not trip.loop.sizes and one.unseen:
            unseen.add(one.loop.title)
    return found


def _left_to(answers: PartAnswers, trip: _Trip) -> tuple[float | None, bool]:
    """(highest current that only the cells' trip may open, whether it is shown to if it sees it).

    None where others are shown to open all of the loop.
    """
    loop, current = trip.loop, currents_of(answers, trip.loop)
    left = np.isnan(times_over(answers, _with(loop, DEAF), current, loop)) & (current <= trip.top)
    if not left.any():
        return None, True
    last = int(np.flatnonzero(left)[-1])
    shown = left & ~np.isnan(times_over(answers, loop, current))
    if not shown[last]:  # it may be blind there, and open all the same what it sees
        shown = left & ~np.isnan(times_over(answers, _with(loop, KEEN), current, loop))
    if shown.any():
        return float(current[shown][-1]), trip.counts
    # A trip that nobody set is asked for: up to where its contactor breaks.
    return float(current[left][-1]), bool(trip.limit) \
        and not answers.brief.management.undervoltage_trip.known


def _with(loop: Loop, drop: Finding) -> Loop:
    """The loop with other conductors between its cells and the fault."""
    return replace(loop, devices=tuple(
        d if d.drop is None else replace(d, drop=drop, falls=None) for d in loop.devices))
