"""How long each closed contact of the main path carries a fault, over all fault places.

A contactor, a disconnect or a connector stands its current for a time that its sheet states. Every
place whose current runs through it is asked, at every current; where nobody clears it, or is shown
to, until a device of the loop might have, and no contact passes beside it.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from packcalc.clearing import IN_STRINGS, PartAnswers
from packcalc.part_checks.withstand import Borne, Stretch, borne, let_through
from packcalc.place_sweep import (
    CLEARED, NOBODY, alike, as_told, asks_more, heat_entries, swept_once, sweeping_by, times_over,
)
from packcalc.protect.coordination import Coordination, until_cleared
from packcalc.protect.places import (
    CHARGE_KEY, CONTACTOR, FUSE, Device, FaultPlace, Loop, PlacesAsked, fault_places,
)
from packcalc.unended import APART, not_shown_ended, unended
from packcalc.value import replace

PERHAPS_LOST = ("at '{title}' a fuse may stand that nobody spoke of, and melt before anybody has "
                "cleared")


@dataclass(frozen=True, eq=False)
class Contacts:
    """What each kind of contact carries; None where no current counts through it.

    Attributes:
        contactor: of the main path, where it stands in the loop.
        string_contactor: of one string, for a fault inside a string.
        in_string: anything that lies in each string, wherever in it.
        common: anything that carries the whole pack.
    """

    contactor: Borne | None = None
    string_contactor: Borne | None = None
    in_string: Borne | None = None
    common: Borne | None = None


@dataclass(frozen=True, eq=False)
class _Carried:
    """One place while a number of equal paths feeds it: as a string has it, and as the whole.

    `shown` tells whether these currents count as ended: somebody is shown to, or what nobody ends
    counts all the same; else they are a question.
    """

    loop: Loop
    share: Stretch
    whole: Stretch
    shown: bool = True


def contacts(places: Iterable[FaultPlace], answers: PartAnswers) -> Contacts:
    """What the contacts of the main path carry in all fault places.

    Args:
        places: of the layout.
        answers: what its devices do.
    """
    asked = tuple(places)
    loops, unknown = _known(p.loop for p in asked)
    more = asks_more((p.loop for p in asked), answers)
    first = answers.first  # the places say themselves who is not named
    found = [one for loop in loops for one in _asked_of(first, loop)]
    path, inside = _of_path(first.held), _of_path(first.inside)

    def through(own: list[Stretch], counts: Callable[[Device], bool]) -> Borne | None:
        held = [(one, _contactors(one.loop, counts)) for one in found]
        # One pole's contactor is not told apart from its string's: it carries the whole.
        return _borne(own, [(one.shown, one.share if max(d.paths for d in devices) > 1
                             else one.whole) for one, devices in held if devices],
                      _open(loop for loop in unknown if _contactors(loop, counts)),
                      *_nobody([p for p in asked if _contactors(p.loop, counts)]), more=more)

    return Contacts(through(path, lambda d: d.key not in IN_STRINGS),
                    through(inside, lambda d: d.key in IN_STRINGS),
                    _borne([*path, *inside], [(one.shown, one.share) for one in found],
                           _open(unknown), *_nobody(asked), more=more),
                    _borne(path, [(one.shown, one.whole) for one in found], _open(unknown),
                           *_nobody(asked), more=more))


def _borne(own: list[Stretch], placed: Sequence[tuple[bool, Stretch]],
           *left_out: str, more: str = "") -> Borne | None:
    """What a contact carries of its own path and of all places; what is a question apart."""
    return borne([*own, *(one for shown, one in placed if shown)], *left_out,
                 unshown=borne(one for shown, one in placed if not shown), more=more)


def through_charging(loops: Iterable[Loop], answers: PartAnswers,
                     told: Iterable[Loop] = ()) -> Borne | None:
    """What the closed charge contactor carries; None where no current counts through it.

    The whole fault runs through it, whatever of that a string's contactor has. It is counted as
    closed until others have cleared, whatever it breaks by itself: errs high.

    Args:
        loops: every fault place; a tap that is not told at each where it may be.
        answers: what the devices of the layout do.
        told: the same loops with the fuses that may stand in them, where that makes a difference.
    """
    closed = _closed(loops)
    known, unknown = _known(closed)
    nobody, left = _nobody(fault_places(PlacesAsked(closed, answers, sweeping_by(answers),
                                                    answers.spoils)))
    return _borne([], [(one.shown, one.whole) for loop in known
                       for one in _asked_of(answers.first, loop)], _open(unknown), nobody,
                  left or _perhaps_lost(zip(closed, _closed(told)), answers),
                  more=asks_more(closed, answers) or next(
                      (why for loop in closed if (why := loop.may_burst)), ""))


def _closed(loops: Iterable[Loop]) -> tuple[Loop, ...]:
    """Those that run through the charge contactor, with it as a closed contact."""
    return tuple(replace(loop, passed=tuple(d for d in loop.passed if d.key != CHARGE_KEY))
                 for loop in loops if any(d.key == CHARGE_KEY for d in loop.passed))


def _perhaps_lost(pairs: Iterable[tuple[Loop, Loop]], answers: PartAnswers) -> str:
    """The first loop cleared without a fuse that may stand there, and not shown to be with it."""
    for bare, told in ((one.from_the_least, other.from_the_least) for one, other in pairs):
        if len(bare.passed) == len(told.passed) or not _known([bare])[0]:
            continue
        one = swept_once(answers, bare)
        if (~np.isnan(one.time) & np.isnan(times_over(answers, told, one.current))).any():
            return PERHAPS_LOST.format(title=bare.title)
    return ""


def _known(loops: Iterable[Loop]) -> tuple[list[Loop], list[Loop]]:
    """(those of a known range, one of each kind; those without) in which a device stands."""
    found: dict[tuple, Loop] = {}
    unknown: list[Loop] = []
    for loop in (one.from_the_least for one in loops if one.devices):
        if not (loop.lowest.known and loop.highest.known):
            unknown.append(loop)
        elif 0 < loop.lowest.number < loop.highest.number:
            found.setdefault(alike(loop), loop)
    return list(found.values()), unknown


def _of_path(held: Coordination | None) -> list[Stretch]:
    """The path from pole to pole, or of one string: all of it runs through every contact."""
    if held is None or held.sweep is None:
        return []
    return [until_cleared(one) for one in dict.fromkeys((held.sweep, held.sweep.as_told))]


def _contactors(loop: Loop, counts: Callable[[Device], bool]) -> list[Device]:
    return [d for d in loop.devices if d.kind == CONTACTOR and counts(d)]


def _nobody(places: Sequence[FaultPlace]) -> tuple[str, str]:
    """(where nobody ends what runs through it, or is not shown to; where covers are no answer).

    Who is not shown to end it may be nobody: an open datum is no milder than a bad one.
    """
    own = [p for p in places if not p.loop.inherent]
    nobody, open_ = unended(places), not_shown_ended(own)
    # What is not shown at one place hides no other at which nobody is left.
    left = unended(own) or (open_ and "; ".join(filter(None, (nobody, open_))))
    return nobody or not_shown_ended(places), left


def _open(loops: Iterable[Loop]) -> str:
    """Where no current is known; empty for nowhere."""
    first = next((loop.title for loop in loops), "")
    return f"at '{first}' the ends of the fault current are not known" if first else ""


def _asked_of(answers: PartAnswers, loop: Loop) -> Iterator[_Carried]:
    """As it is shown, and as it were if what is told is all: what is open asks no less."""
    yield from _carried(answers, loop, unshown=True)
    told = as_told(answers, loop)
    if told is not loop or answers.as_told is not answers:
        yield from _carried(answers.as_told, told)


def _carried(answers: PartAnswers, loop: Loop, unshown: bool = False) -> Iterator[_Carried]:
    """Until somebody has cleared it; `unshown` adds until when at latest where nobody is shown.

    And where nobody is at all: no contact is asked less for it.
    """
    swept = swept_once(answers, loop)
    fuses = [(d, side) for d in loop.devices if d.kind == FUSE
             for side in [answers.fuse(d)] if side is not None]
    origin = functools.cache(functools.partial(heat_entries, answers, loop))
    for shown, paths, where, times in (
            *((True, n, c.feeds & (c.code == CLEARED), c.time)
              for n, c in enumerate(swept.cases, 1)),
            *((False, *one) for one in (swept.unshown if unshown else ())),
            *((counts, n, where if counts else asked, time)
              for n, where, asked, time in (swept.nobody if unshown else ())
              for counts in (True, False))):
        if not where.any():
            continue
        fault, time = swept.current[where], times[where]
        share, least, most = fault / paths, np.full(fault.shape, np.inf), fault
        for device, side in fuses:
            own = share if device.paths > 1 else fault
            if own[-1] * (1.0 + APART) < side.low:
                continue  # it counts nowhere here
            through, cut_off = let_through(side, own, swept.cases[paths - 1].counts(device)[where])
            time, least = np.fmin(time, through), np.fmin(least, cut_off)
            most = most if device.paths > 1 else np.fmin(most, cut_off)
        nobody = swept.code[where] == NOBODY
        share, whole = (Stretch(loop.title, fault, current, time, origin, nobody=nobody)
                        for current in (np.fmin(share, least), most))
        yield _Carried(loop, share, whole, shown)
