"""Further fuses that an overload passes: one in each string, and one between the modules.

Each is asked what the main fuse is asked, at its own current: where it melts before the overload
is opened it must be shown to break, for whatever else stands in that loop is counted on only where
it has cleared before. Of all shares of the pack's current the largest is the worst: the same
current in the link then leaves the pack's trips the least to see, unless they are held back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from packcalc.checks import FAIL, NOT_EVALUATED, PASS, Check
from packcalc.findings import Finding, Origin, leaf
from packcalc.part_checks.fusing import breaks_overloads
from packcalc.part_checks.shown import counted
from packcalc.part_checks.slow_opening import melting_words
from packcalc.part_checks.sweep import (
    BESIDE, MAY_MELT, TRIPLESS, ContactorSide, FuseSide, Sweep, TripLine, breaks, grid, sweep,
)
from packcalc.part_checks.unbroken import NO_SHEET, Unbroken
from packcalc.units import show
from packcalc.value import replace

STAGE = "who clears"
NONE_OPEN = counted("none", 0, "definition")
WHOLE = leaf("share of the pack's current", "p", "%", 1.0, "definition", origin=Origin("rule"))
LEAST = 1e-3  # of the range, where the sheet has no rated current to begin at


@dataclass(frozen=True, eq=False)
class Beside:
    """A further fuse in the path of an overload.

    Attributes:
        name: as printed.
        fuse: where it counts, in its own current; no part where the brief names none.
        share: largest of the pack's current that runs through it.
        own: trips on its own current.
        in_string: whether it stands in each of several strings.
        strings: how many of them stand side by side, at the ends of their strings.
        most: A, largest current of a fault that runs through it.
    """

    name: str
    fuse: FuseSide
    share: Finding
    own: tuple[TripLine, ...] = ()
    in_string: bool = False
    strings: int = 1
    most: float = np.inf

    @property
    def title(self) -> str:
        return f"{self.name}: an overload is opened before it melts unbroken"

    @property
    def unbroken(self) -> Unbroken:
        """Where it may melt and is not shown to break: of one that nobody named, anywhere."""
        return self.fuse.unbroken if self.fuse.part is not None else Unbroken(open=NO_SHEET)

    def through_one_pole(self, highest: Finding) -> Beside:
        """As a second chassis fault has it: one string may carry all of it, or any part."""
        most = highest.number * (1.0 - 1.0 / self.strings) if self.strings > 1 else np.inf
        return replace(self, share=WHOLE, most=most)

    def melts_at(self, current: Any) -> np.ndarray:
        """What it carries of the pack's current where it first melts unbroken.

        With more strings in, each carries less than its share: below what it breaks it melts too.
        """
        own = np.minimum(np.asarray(current, dtype=float) * self.share.number, self.most)
        return self.unbroken.worst(own) if self.in_string else own

    def contactor(self, side: ContactorSide) -> ContactorSide:
        """The contactors as the current in the link sees them, on the pack's trips and its own."""
        share = self.share.number
        lines = (*(replace(line, from_current=line.from_current * share,
                           to_current=line.to_current * share) for line in side.lines), *self.own)
        return replace(side, lines=lines, blocked_above=side.blocked_above * share,
                       reasons=tuple(r for r in side.reasons if r not in TRIPLESS or not lines))


def melts_first(link: Beside, current: Any, time: Any) -> np.ndarray:
    """Where a further fuse may melt before a fault is cleared, and is not shown to break it.

    Args:
        link: with its share of the pack's current.
        current: of the pack.
        time: until somebody clears it, no further fuse lost before; NaN for nobody.
    """
    return link.unbroken.melts(link.melts_at(current)) < np.nan_to_num(time, nan=-1.0)


def spoilt(swept: Sweep, links: Sequence[Beside]) -> Sweep:
    """A sweep in which nobody counts whom a further fuse of its loop may forestall."""
    marks = [m / link.share.number for link in links for m in breaks(
        link.fuse, link.contactor(swept.contactor), swept.counted_time)]
    held = sweep(float(swept.current[0]), float(swept.current[-1]), swept.fuse, swept.contactor,
                 swept.counted_time, (*swept.current, *marks))
    lost = np.any([melts_first(link, held.current, held.time) for link in links]
                  or [np.zeros(held.current.shape, bool)], axis=0)
    return replace(held, less=swept.less, device=np.where(lost, MAY_MELT, held.device),
                   time=np.where(lost, np.nan, held.time), heat=np.where(lost, np.nan, held.heat))


def spoilt_words(links: Iterable[Beside], current: np.ndarray, time: np.ndarray) -> str:
    """Which further fuses may melt before a fault is cleared, and why none is shown to break."""
    found = []
    for link in links:
        lost = current[melts_first(link, current, time)]
        if lost.size:
            why = link.unbroken.why(float(link.melts_at(lost[-1])))
            found.append(f"the {link.name} may melt before and {why}")
    return "; ".join(found)


@dataclass(frozen=True, eq=False)
class _Lost:
    """Where a link melts before anybody has opened, and is not shown to break."""

    current: np.ndarray
    sure: np.ndarray
    asked: np.ndarray

    @property
    def any(self) -> np.ndarray:
        return self.sure | self.asked


def _lost(link: Beside, swept: Sweep, low: float, top: float) -> _Lost:
    """Over the link's own current, from what it carries for ever up to its share of a fault."""
    side, share, fuse = link.contactor(swept.contactor), link.share.number, link.fuse
    marks = (*breaks(fuse, side, swept.counted_time), low * (1.0 + BESIDE), *(
        i * share for i in breaks(swept.fuse, swept.contactor, swept.counted_time)))
    at = grid(low, top, marks)
    pack = at / share
    trips = (at <= side.limit) & (not side.reasons)
    by_trip = np.where(trips, side.times(at), np.nan)
    main = swept.fuse
    by_main = np.where(main.counts_at_any_time(pack), main.times(pack), np.nan)
    opened = np.nan_to_num(np.fmin(by_trip, by_main), nan=np.inf)
    lost = ~fuse.counts_at_any_time(at) & (fuse.unbroken.melts(at) < opened)
    sure = lost & fuse.unbroken.fails(at) & fuse.unbroken.timed(at)
    return _Lost(at, sure, lost & ~sure)


def beside_check(link: Beside, swept: Sweep, lowest: Finding, gap: str,
                 cure: Callable[[float, float, Callable[[Sweep], bool]], str]) -> Check:
    """Whether a further fuse breaks every overload that it does not outlast.

    Args:
        link: with its share of the pack's current.
        swept: of the whole pack's path.
        lowest: where the fault range begins; each fault place is held by itself.
        gap: why the trips are not all known; empty where they are.
        cure: an overload trip that helps, by the lowest current of the pack at which it melts
            before, its shortest time there, and whether a path leaves it whole.
    """
    part, rated = link.fuse.part, link.fuse.unbroken.rated
    if part is None:
        return Check(link.title, STAGE, NOT_EVALUATED, reason="no part is named for it: whether it "
                     "melts first, and breaks, no sheet says", remedy=f"name the {link.name}")
    if not lowest.known:
        return Check(link.title, STAGE, NOT_EVALUATED, reason="lowest fault is not known")
    top = lowest.number * link.share.number
    low = min(rated or LEAST * top, top)
    if low == top:
        return _told(link, 0, f"{part.name} carries {show(rated, 'A')} for ever, and the fault "
                              f"range begins at {show(top, 'A')} in it{_where(link)}")
    found = _lost(link, swept, low, top)
    if not found.any.any() and _held_back(link, swept, lowest, found):
        return Check(link.title, STAGE, NOT_EVALUATED, reason="the trips are held back from "
                     f"{show(swept.contactor.blocked_above, 'A')} of the pack on, below the fault "
                     "range: with more strings in, each then has less than is counted here",
                     remedy="management.trip_blocked_above at or above the lowest fault, or a "
                            "full-range fuse")
    if not found.any.any():
        return _told(link, 0, f"{part.name} breaks, or outlasts, every current from "
                              f"{show(low, 'A')} to {show(top, 'A')} in it{_where(link)}")
    return _melted(link, swept, found, gap, _cures(link, swept, found, cure))


def _held_back(link: Beside, swept: Sweep, lowest: Finding, found: _Lost) -> bool:
    """Whether a lesser share may be worse: the pack's trips are gone, and the link still melts."""
    return link.in_string and swept.contactor.blocked_above < lowest.number \
        and bool(np.isfinite(link.fuse.unbroken.melts(found.current)).any())


def _melted(link: Beside, swept: Sweep, found: _Lost, gap: str, remedy: str) -> Check:
    """A failure where its curve shows it and the trips are known; else a question."""
    words = "; ".join(
        f"from {show(float(found.current[a]), 'A')} to {show(float(found.current[b]), 'A')} in "
        f"it{_where(link)}: {melting_words(link.fuse, float(found.current[a]))}"
        for mask in (found.sure, found.asked) for a, b in runs(mask))
    missing = [gap, *link.contactor(swept.contactor).reasons,
               "" if link.fuse.unbroken.rated else "ask for its rated current"]
    asks = "; ".join(m for m in missing if m)
    if asks or not found.sure.any():
        return Check(link.title, STAGE, NOT_EVALUATED, remedy=remedy,
                     reason="; ".join(w for w in (words, asks) if w))
    return _told(link, int(found.sure.sum()), words, remedy)


def _told(link: Beside, number: int, reason: str, remedy: str = "") -> Check:
    part = link.fuse.part
    figure = counted("currents tried, up to the lowest fault, at which it melts unbroken", number,
                     part.basis if part is not None else "given",
                     Origin("melting curve of the fuse, trips"))
    return Check(link.title, STAGE, FAIL if number else PASS, figure, NONE_OPEN, "at most",
                 reason, remedy)


def _where(link: Beside) -> str:
    """Whose current it is."""
    return "" if not link.in_string else (
        f", which with one string out takes {link.share.shown} of the pack's current")


def _cures(link: Beside, swept: Sweep, found: _Lost,
           cure: Callable[[float, float, Callable[[Sweep], bool]], str]) -> str:
    """What was tried and helps."""
    low, top = float(found.current[0]), float(found.current[-1])
    first = float(found.current[np.flatnonzero(found.any)[0]]) / link.share.number
    melts = float(link.fuse.unbroken.melts(found.current)[found.any].min())
    sooner = cure(first, melts, lambda made: not _lost(link, made, low, top).any.any())
    part = link.fuse.part
    full = "" if part is not None and breaks_overloads(part, part.rated_current) \
        else "a full-range fuse"
    return " or ".join(filter(None, (sooner, full)))


def runs(mask: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of every unbroken run."""
    edges = np.flatnonzero(np.diff(mask.astype(int), prepend=0, append=0))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
