"""The most heat in cables, links, bars, modules: over all fault places, also where nobody clears.

They lie in more loops than the path from pole to pole: a second chassis fault that only the cells'
trip or a mid-pack fuse ends lets more heat through them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

import numpy as np

from packcalc.clearing import PartAnswers
from packcalc.conductors import cable_fault_integral
from packcalc.findings import Finding, leaf, trace, with_more
from packcalc.part_checks.path_conductors import ElsewhereHeat, PathConductor, traced_heat
from packcalc.part_checks.rising import RISEN
from packcalc.part_checks.sweep import number
from packcalc.place_sweep import (
    NOBODY, SWEPT, SweptOnce, as_told, asks_more, entries_over, further, heat_entries, swept_once,
    time_words,
)
from packcalc.protect.places import FUSE, FaultPlace, Loop
from packcalc.unended import apart
from packcalc.units import show
from packcalc.value import replace

UNTOLD = "a fuse's let-through beyond its curve is not known"
ENDLESS = "nobody {ends} it: counted as until the devices of the loop might have"
NO_END = "the ends of the fault current are not known"


@dataclass(frozen=True, eq=False)
class _Swept:
    """One loop over its currents: time and I²t.

    `time` is NaN where nobody clears; `heat` counts there what `nobody_heat` does, and is NaN where
    that is nothing or the sheet is silent. `unshown` is the I²t of what is not shown to be ended,
    or of nobody where that is a question, `most_unshown` the most of it. `kept` holds the worst of
    each conductor: the next loop's bound and the check ask for it.
    """

    loop: Loop
    answers: PartAnswers
    current: np.ndarray
    time: np.ndarray
    heat: np.ndarray
    silent: bool
    swept: SweptOnce
    unshown: np.ndarray
    most_unshown: float
    kept: dict[str, tuple[PathConductor, int, float]] = field(default_factory=dict)

    def worst_of(self, conductor: PathConductor, parallel: int) -> tuple[PathConductor, int, float]:
        """(conductor with its share here, index of the worst current, I²t in it)."""
        if conductor.name not in self.kept:
            own = _share(conductor, self, parallel)
            self.kept[conductor.name] = own, *self._most(own, self.heat)
        return self.kept[conductor.name]

    def unshown_of(self, conductor: PathConductor, parallel: int) -> tuple[int, float]:
        """(index, I²t in it) of the worst current that is not shown to be ended."""
        return self._most(self.worst_of(conductor, parallel)[0], self.unshown)

    def _most(self, own: PathConductor, heat: np.ndarray) -> tuple[int, float]:
        part = 1.0 if own.most is None else np.minimum(1.0, own.most.number / self.current)
        known = np.where(np.isnan(heat), 0.0, heat * part ** 2)
        index = int(np.argmax(known))
        return index, float(known[index])


def place_heats(places: Iterable[FaultPlace], answers: PartAnswers,
                conductors: Iterable[PathConductor], parallel: int,
                own: Collection[str] = ()) -> tuple[ElsewhereHeat, ...]:
    """The worst of each conductor, of all loops that run through it.

    Args:
        places: whose current runs through these conductors.
        answers: of the layout; the places say themselves who is not named.
        conductors: links, bus bars and the modules' own; or a cable.
        parallel: modules or strings side by side.
        own: keys of the places at the ends of their own path.
    """
    asked, named, answers = tuple(places), tuple(conductors), answers.first
    if not named:
        return ()
    loops = [p.loop.from_the_least for p in asked if p.loop.devices]
    swept = _all_swept(loops, answers, named, parallel)
    told = [one for loop in loops if (one := as_told(answers, loop)) is not loop
            or answers.as_told is not answers]  # what is open lets no less heat through
    swept += _all_swept(told, answers.as_told, named, parallel)
    bare = answers.as_told.unfloored
    if bare is not answers.as_told:  # nor does a fuse that melts and does not break
        swept += _all_swept([as_told(bare, loop) for loop in loops], bare, named, parallel)
    nobody = apart(asked, own)
    untold = next((one.loop.title for one in swept if one.silent), "")
    open_ = [one for one in swept if one.answers is answers and one.most_unshown]
    more = asks_more((p.loop for p in asked), answers)
    found = [_worst(one, swept, open_, parallel, nobody, f"at '{untold}' {UNTOLD}"
                    if untold else _unknown(
                        loops, answers, _part_at_most(one, swept, parallel)[1]))
             for one in named]
    return tuple(found) if not more else tuple(replace(
        one, heat=one.heat and with_more(one.heat, more),
        unshown=one.unshown and with_more(one.unshown, more)) for one in found)


def _unknown(loops: Iterable[Loop], answers: PartAnswers, most: float) -> str:
    """A place of which an end is not known, unless a fuse bounds it below what is found."""
    return next((f"at '{loop.title}' {NO_END}" for loop in loops
                 if not (loop.lowest.known and loop.highest.known)
                 and not (loop.highest.known and _bound(loop, answers) <= most)), "")


def _all_swept(loops: Iterable[Loop], answers: PartAnswers,
               conductors: tuple[PathConductor, ...], parallel: int) -> list[_Swept]:
    """The loops that may hold a worst point: those that a fuse bounds below it need no sweep."""
    bounds = {id(loop): (_bound(loop, answers), loop) for loop in loops
              if loop.lowest.known and loop.highest.known
              and 0 < loop.lowest.number < loop.highest.number}
    swept, least = [], 0.0
    for bound, loop in sorted(bounds.values(), key=lambda pair: -pair[0]):
        if bound > least:
            swept.append(_swept(loop, answers))
            least = min(_part_at_most(c, swept, parallel)[1] for c in conductors)
    return swept


def _bound(loop: Loop, answers: PartAnswers) -> float:
    """I²t that no current of a loop exceeds: below a fuse's range it ends in the counted second.

    Infinite where no fuse bounds it.
    """
    constants = (loop.time_constant, answers.held.asked.time_constant,
                 *(d.constant for d in loop.devices))
    longest = answers.named.counted_time * (1.0 + 1e-9) + RISEN * max(
        number(c) or 0.0 for c in constants)
    found = [np.inf]
    for device in loop.devices:
        side = answers.fuse(device) if device.kind == FUSE and device.paths == 1 else None
        if side is None or side.clearing is None or side.high < loop.highest.number + \
                further(device, loop.highest.number) or (
                np.isnan(side.integral) and side.clearing.highest < loop.highest.number):
            continue
        points = [i ** 2 * t for i, t in zip(side.clearing.currents, side.clearing.times,
                                             strict=True) if i >= side.low]
        integral = 0.0 if np.isnan(side.integral) else side.integral
        found.append(max(side.low ** 2 * longest, *points, integral))
    return min(found)


def _swept(loop: Loop, answers: PartAnswers) -> _Swept:
    one = swept_once(answers, loop)
    current, time = one.current, one.time
    heat, counts, least = current ** 2 * time, np.zeros(current.shape, bool), \
        np.full(current.shape, np.nan)
    for side in (answers.fuse(d) for d in loop.devices if d.kind == FUSE and d.paths == 1):
        if side is not None:
            own = side.counts(current)
            counts |= own
            least = np.fmin(least, np.where(own, side.heat(current), np.nan))
    untold = counts & np.isnan(least) & ~np.isnan(time)
    heat = np.where(np.isnan(heat) | untold, np.nan, np.fmin(heat, least))
    nobody, question = one.nobody_heat
    heat = np.where(nobody > 0.0, nobody, heat)  # what nobody ends is left out of nothing
    unshown = np.fmax(one.unshown_heat[0], question)
    return _Swept(loop, answers, current, time, heat, bool(untold.any()), one, unshown,
                  float(unshown.max()))


def _share(conductor: PathConductor, one: _Swept, parallel: int) -> PathConductor:
    """One path's part is counted only where all of them feed the fault side by side."""
    most = conductor.most
    if most is not None and one.loop.highest.number >= most.number * parallel * (1.0 - 1e-9):
        return conductor
    return replace(conductor, most=None)


def _part_at_most(conductor: PathConductor, swept: list[_Swept], parallel: int) -> tuple[
        tuple[_Swept, PathConductor, int] | None, float]:
    """((loop, conductor with its share there, index), I²t) of the worst; (None, 0) for none."""
    worst, most = None, 0.0
    for one in swept:
        own, index, heat = one.worst_of(conductor, parallel)
        if heat > most:
            worst, most = (one, own, index), heat
    return worst, most


def _worst(conductor: PathConductor, swept: list[_Swept], open_: list[_Swept], parallel: int,
           nobody: tuple[str, str], silent: str) -> ElsewhereHeat:
    worst, most = _part_at_most(conductor, swept, parallel)
    unshown = _unshown(conductor, open_, parallel, most, " ".join(nobody))
    if worst is None:
        return ElsewhereHeat(conductor.name, "", None, None, silent, *nobody, unshown)
    one, own, index = worst
    at = leaf(f"current at which most heat gets into {conductor.name}", "I", "A",
              float(one.current[index]), "definition", origin=SWEPT,
              note=f"at the place '{one.loop.title}'")
    heat = traced_heat(own, _whole(one, at, index, conductor.name), at)
    return ElsewhereHeat(conductor.name, one.loop.title, heat, at, silent, *nobody, unshown)


def _unshown(conductor: PathConductor, swept: list[_Swept], parallel: int,
             most: float, told: str) -> Finding | None:
    """What a current that is not shown to be ended may ask beyond all that is; None for no more.

    Args:
        most: what all that is ended asks.
        told: where nobody ends it, which the same check says beside.
    """
    found = [(*one.unshown_of(conductor, parallel)[::-1], one) for one in swept
             if one.most_unshown > most]
    heat, index, one = max(found, key=lambda one: one[0], default=(0.0, 0, None))
    if one is None or heat <= most:
        return None
    nobody = "nobody clears" if one.swept.code[index] == NOBODY else "not shown to be cleared:"
    place = f"'{one.loop.title}'"
    return leaf(f"I²t in {conductor.name} where nobody is shown to end it", "I²t", "A²s", heat,
                "computed", source="packcalc-rule", origin=SWEPT,
                note=f"{nobody} {show(float(one.current[index]), 'A')}"
                     + (f" of {place}" if place not in told else ""))


def _whole(one: _Swept, at: Finding, index: int, name: str) -> Finding:
    """I²t of the loop there: the full current until it is cleared, or what a fuse lets through."""
    title, heat, time = f"largest I²t in {name}", float(one.heat[index]), float(one.time[index])
    if np.isnan(time):
        return leaf(title, "I²t", "A²s", heat, "computed", source="packcalc-rule", origin=SWEPT,
                    note=ENDLESS.format(ends="ends" if one.swept.code[index] == NOBODY
                                        else "is shown to end"))
    if heat < at.number ** 2 * time * (1.0 - 1e-9):
        return leaf(title, "I²t", "A²s", heat, "computed", source="packcalc-rule",
                    origin=heat_entries(one.answers, one.loop, at.number),
                    note="what a fuse of the loop lets through at most")
    return trace(cable_fault_integral, title, current=at, time=leaf(
        "time until it is cleared", "t", "s", time, "computed", source="packcalc-rule",
        origin=entries_over(one.answers, one.loop, at.number),
        note=time_words(one.answers, one.loop, at.number)))

