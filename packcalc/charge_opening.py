"""What a charge contactor may meet when it opens: on a trip, or with no delay at all.

A fault beyond it is fed by the pack through it; one on the pack's side by what charges. Which fuse
of the loop has cleared before is asked of every one that stands in it.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from packcalc.brief import Brief
from packcalc.clearing import (
    SUM_OPEN, PartAnswers, half_of, parting_sooner, weaker_direction,
)
from packcalc.findings import Finding, Origin, largest, leaf, with_more
from packcalc.part_checks.contactor import unknown_break
from packcalc.part_checks.sweep import trip_delays_known
from packcalc.parts import CONTACTOR, ContactorPart
from packcalc.place_demands import Demand, demand_on
from packcalc.place_sweep import currents_of, further
from packcalc.protect.branch_figures import only_at_most
from packcalc.protect.places import CHARGE_KEY, FUSE, OTHER_POLE_OF_BRANCH, Device, Loop, Source
from packcalc.protect.state_checks import Untimed
from packcalc.units import show
from packcalc.value import replace, value_object

PATH = "charge contactor"
FED = "what charger or station feeds through the charge contactor"
LEFT = "largest fault that a trip leaves to the charge contactor"
UNTIMED = "largest current not yet cleared by a fuse when the charge contactor's coil has dropped"
NO_FUSE = ("name the fuse of the charge cable, with its total clearing curve, DC breaking capacity "
           "and permitted time constant")
NO_DELAY = "name the trips, each with its delay"
NO_RANGE = "the fault range at the inlet is not known"
NO_RANGE_AT = "the fault range at the place '{title}' is not known"
LESS_AT = "the lowest fault at the place '{title}' may be less than counted"
NO_FUSE_AT = "no fuse stands there"


@value_object
class Beyond:
    """One fault place beyond the charge contactor.

    Attributes:
        loop: with the contactor among what the current passes.
        current: its range, rising.
        fuses: (name, time until it has cleared) of each; NaN where it does not count.
        doubt: the first fuse that may melt before them and is not shown to break; empty for none.
    """

    loop: Loop
    current: np.ndarray
    fuses: tuple[tuple[str, np.ndarray], ...]
    doubt: str = ""

    @property
    def clears(self) -> np.ndarray:
        """When the quickest of its fuses has cleared; NaN where none counts."""
        found = np.full(self.current.shape, np.nan)
        for _, times in self.fuses:
            found = np.fmin(found, times)
        return found

    @property
    def fused(self) -> bool:
        """Whether a fuse stands in the loop, whatever is known of it."""
        return any(d.kind == FUSE for d in self.loop.devices)

    @property
    def device(self) -> Device:
        """The charge contactor as it stands there."""
        return _own_device(self.loop)

    @property
    def fed(self) -> float:
        """What sources on the pack's side add to what it carries for as long as it lasts, in A.

        The charger stands beyond it, and capacitors are spent before.
        """
        return sum(s.current.number for s in _lasting(self.loop) if s.current.known)

    @property
    def fed_more(self) -> str:
        """Which of them nobody knows the current of; empty for none."""
        names = [s.asked for s in _lasting(self.loop) if not s.current.known]
        return "" if not names else (f"at the place '{self.loop.title}' {' and '.join(names)}, not "
                                     "known, adds to what it carries")

    def most(self, first: np.ndarray) -> tuple[float, str, str]:
        """(current, fuse, place) one step of the grid beyond the last of which that holds.

        There both end together: the fuse is the one that does. Without one it is empty.
        """
        index = min(int(np.flatnonzero(first)[-1]) + 1, self.current.size - 1)
        clears = self.clears[index]
        fed = f", {show(self.fed, 'A')} of it from other sources" if self.fed else ""
        return float(self.current[index]) + self.fed, next(
            (name for name, times in self.fuses if times[index] == clears),
            "any fuse" if self.fused else ""), f"at the place '{self.loop.title}'{fed}"


@value_object
class FaultsBeyond:
    """Every fault place beyond the charge contactor: a trip opens it at those of one cell too.

    Attributes:
        loops: all of them; empty where there is no such contactor.
        swept: those whose range is known.
        firm: those at which covers are not the usual answer, or would not be did a fuse stand
            there that may, or a fuse in that pole is; None where these are not told apart.
        unnamed: what of the main path nobody named: the first of the list is counted; empty for
            nothing.
    """

    loops: tuple[Loop, ...]
    swept: tuple[Beyond, ...]
    firm: FaultsBeyond | None = None
    unnamed: str = ""

    @property
    def chassis(self) -> tuple[Beyond, ...]:
        """Those through the chassis, which pass one pole of it alone."""
        return tuple(p for p in self.swept if p.device.breaks)

    @property
    def lacks(self) -> str:
        """What to find before anything can be said of them; empty where nothing lacks."""
        if not self.swept:
            return self.untold or NO_RANGE
        return "" if all(p.fuses for p in self.swept if p.fused) else NO_FUSE

    @property
    def untold(self) -> str:
        """Of which of them no range is known: it may ask more than all others; empty for none."""
        open_ = next((one.title for one in self.loops
                      if not (one.lowest.known and one.highest.known)), "")
        return NO_RANGE_AT.format(title=open_) if open_ else ""

    def may_burst(self, above: float = 0.0) -> str:
        """What may leave more: a fuse counted here that may burst, a source; empty for nothing.

        Args:
            above: current, in A; a fault that gives no more is counted whole already.
        """
        return next((why for p in self.swept if (why := p.fed_more or (
            p.loop.highest.number + p.fed > above and (_bursting(p.loop) or p.doubt) or ""))), "")

    def told(self, most: Finding) -> Finding:
        """The most of those whose range is known: at least this where one is not.

        Of one whose lowest current is only at most, what is less than that may be left as well; so
        may more, where a fuse is driven by what is not told.
        """
        if not most.known:
            return most
        return with_more(most, self.untold or self.may_burst(most.number) or self.unnamed or next(
            (LESS_AT.format(title=p.loop.title) for p in self.swept if only_at_most(p.loop.lowest)
             and most.number < p.loop.lowest.number + p.fed), ""))


def _lasting(loop: Loop) -> list[Source]:
    """Sources besides the modules that last, and that no device of their own limits."""
    return [s for s in loop.sources if not s.fades and not s.devices]


def _own_device(loop: Loop) -> Device:
    """The charge contactor as it stands in a loop beyond it."""
    return next(d for d in loop.passed if d.key == CHARGE_KEY)


def faults_beyond(answers: PartAnswers, loops: Iterable[Loop],
                  unnamed: str = "") -> FaultsBeyond:
    """The fault places beyond it, each with when its fuses clear.

    Args:
        answers: what the named parts do.
        loops: every fault place.
        unnamed: what of the main path nobody named, in words.
    """
    found = tuple(loop for loop in loops if any(d.key == CHARGE_KEY for d in loop.passed))
    firm = tuple(loop.as_fused if loop.inherent and not _lacks_fuse(loop) else loop
                 for loop in found if loop.perhaps or not loop.inherent or _lacks_fuse(loop))
    return FaultsBeyond(found, _swept(answers, found),
                        FaultsBeyond(firm, _swept(answers, firm), unnamed=unnamed), unnamed)


def _lacks_fuse(loop: Loop) -> bool:
    """Whether a fuse in that pole is the answer: no cover saves a contactor torn open there."""
    return OTHER_POLE_OF_BRANCH in loop.remedies


def _swept(answers: PartAnswers, loops: Iterable[Loop]) -> tuple[Beyond, ...]:
    return tuple(
        Beyond(loop, current := currents_of(answers, loop),
               fuses := _fuses(answers, loop, current), _doubt(answers, loop, current, fuses))
        for loop in loops if loop.lowest.known and loop.highest.known
        and 0 < loop.lowest.number < loop.highest.number)


def _bursting(loop: Loop) -> str:
    """Which fuse of a loop may be driven further than is counted, and by what; empty for none."""
    return next((f"at the place '{loop.title}' {d.name} may not break it: {why}"
                 for d in loop.devices if d.kind == FUSE and (why := _left_untold(d))),
                loop.may_burst)


def _left_untold(device: Device) -> str:
    """What may drive a fuse further than is counted, or make its loop slower; empty for nothing."""
    slower = "" if device.constant is None else device.constant.untold_more
    slower = slower or next((t.untold_more for _, t in device.breaks if t.untold_more), "")
    return f"{SUM_OPEN}{device.untold}" if device.untold else slower


def _fuses(answers: PartAnswers, loop: Loop,
           current: np.ndarray) -> tuple[tuple[str, np.ndarray], ...]:
    """When each has cleared, as the fault places count them.

    None that is driven above what it breaks, nor any in the arc of another that has melted before
    and by its own sheet does not break.
    """
    found, lost = [], np.full(current.shape, np.inf)
    standing = {d.key for d in loop.devices}
    for device in (d.as_told for d in (*loop.devices, *loop.passed)):  # see `FaultsBeyond.told`
        if device.kind != FUSE:
            continue
        own = current / device.paths  # shared by as many as may share it: the slowest
        seen, link = own + further(device, loop.highest.number), answers.unbroken(device)
        fails = link.fails(seen, own)
        lost = np.fmin(lost, np.where(fails, link.melts(seen, own), np.inf))
        side = answers.fuse(device) if device.key in standing else None
        if side is not None and side.part is not None:
            found.append((side.part.name, np.where(side.counts(own) & ~fails, side.times(own),
                                                   np.nan)))
    return tuple((name, np.where(lost < time, np.nan, time)) for name, time in found)


def _doubt(answers: PartAnswers, loop: Loop, current: np.ndarray,
           fuses: tuple[tuple[str, np.ndarray], ...]) -> str:
    """Which fuse may melt before the quickest has cleared, and is not shown to break; or empty."""
    clears = np.full(current.shape, np.inf)
    for _, times in fuses:
        clears = np.fmin(clears, times)
    for device in (d.as_told for d in (*loop.devices, *loop.passed)):
        if device.kind != FUSE:
            continue
        own, link = current / device.paths, answers.unbroken(device)
        if link.open and (link.melts(own + further(device, loop.highest.number), own)
                          < clears).any():
            return (f"at the place '{loop.title}' {device.name} is not shown to break it: "
                    f"{link.open}")
    return ""


def _by_trip(answers: PartAnswers, place: Beyond) -> np.ndarray:
    """Where a trip opens it before a fuse has cleared."""
    opens = answers.torn(place.device).side.earliest(place.current)
    return ~np.isnan(opens) & ~(place.clears < opens)


def slower_loops(answers: PartAnswers, faults: FaultsBeyond) -> Demand | None:
    """What loops through the chassis ask of which a trip leaves it something; None without any.

    Or may: one whose lowest current is not known, or only at most, is not shown to leave none.
    """
    known = [p.loop for p in faults.chassis if _by_trip(answers, p).any()]
    open_ = [one for one in faults.loops if _own_device(one).breaks
             and (not one.lowest.known or only_at_most(one.lowest))
             and not any(one is other for other in known)]
    left = [replace(one, devices=(_own_device(one),)) for one in (*known, *open_)]
    return demand_on(left, CHARGE_KEY)


def left_by_trips(answers: PartAnswers, faults: FaultsBeyond, load: Finding) -> Finding:
    """Largest current at which a trip opens it before a fuse has cleared; 0 where none does.

    Where no fuse stands in the loop that is all of it. No value where a fuse is not shown to clear,
    or the delay of a trip is not known; at least its value where the range of a place is not.

    Args:
        answers: what the named parts do.
        faults: beyond it.
        load: of the charge circuit: the least that is known of it.
    """
    places, trips = faults.swept, answers.held.asked.trips
    lacks = faults.lacks or ("" if trip_delays_known(trips) else NO_DELAY)
    if lacks:
        return unknown_break(LEFT, [load, *(p.loop.lowest if p.fused else p.loop.highest
                                            for p in places)], lacks)
    found = [p.most(first) for p in places
             if (first := _by_trip(answers, p)).any()]
    if not found:
        return faults.told(leaf(LEFT, "I", "A", 0.0, "given", origin=_curves(places), note=(
            f"{_names(places)}: every fault beyond it is cleared before a trip opens it")))
    most, fuse, where = max(found)
    return faults.told(leaf(LEFT, "I", "A", most, "given", origin=_curves(places), note=(
        f"{where}: " + (
            f"up to there a trip opens it before {fuse} has cleared; one that opens sooner than "
            "its stated delay meets more" if fuse else f"{NO_FUSE_AT}, and a trip opens it"))))


def opened_at_once(answers: PartAnswers, faults: FaultsBeyond) -> Untimed | None:
    """Its coil dropped with no delay into a fault beyond it; None where there is no such contactor.

    A crash, a lost 12 V supply and an emergency stop wait for no trip.
    """
    if not faults.loops:
        return None
    part = named_contactor(answers.brief)
    breaks = weaker_direction(part, answers.held.asked.highest_voltage)
    return Untimed(PATH, breaks, _left_at_once(part, faults), _hold(breaks, faults),
                   max((loop.all_sources for loop in faults.loops), key=lambda f: f.number))


def parting_in(faults: FaultsBeyond, seconds: float) -> float | None:
    """Most current that no fuse has cleared when its contacts part; None where that is not known.

    Args:
        faults: beyond it.
        seconds: from the coil's drop until they part.
    """
    if faults.lacks:
        return None
    found = _late(faults.swept, seconds)
    return found[0] if found is not None else 0.0


def _late(places: tuple[Beyond, ...], opening: float) -> tuple[float, str, str] | None:
    """(current, fuse, place) of the largest not yet cleared by then; None where all are."""
    return max((p.most(late) for p in places
                if (late := ~(p.clears <= opening)).any()), default=None)


def _left_at_once(part: ContactorPart | None, faults: FaultsBeyond) -> Finding:
    places, opening = faults.swept, part.opening_time if part is not None else None
    lacks = [words for words, open_ in (
        ("name the charge contactor", part is None),
        ("ask for the charge contactor's opening time with its coil suppression",
         part is not None and opening is None), (faults.lacks, bool(faults.lacks))) if open_]
    if lacks or opening is None:
        return leaf(UNTIMED, "I", "A", None, "given", note="; ".join(lacks))
    found, sooner = (_late(places, time) for time in (opening.number, half_of(opening).number))
    most, fuse, where = found or (0.0, "", "")
    note = f"{_names(places)}: every fault beyond it is cleared in its opening time" \
        if found is None else where + (
            f", {fuse} in series" if fuse else f": {NO_FUSE_AT}")
    if most < max(float(p.current[-1]) + p.fed for p in places):
        note = parting_sooner(opening, sooner[0] if sooner is not None else 0.0, note)
    return faults.told(leaf(UNTIMED, "I", "A", most, "given", origin=_curves(places), note=note))


def _hold(breaks: Finding | None, faults: FaultsBeyond) -> Finding | None:
    """Longest time in which a fuse clears what the contactor breaks; None where none does."""
    places = faults.swept
    if breaks is None or faults.lacks or faults.untold or faults.may_burst() or any(
            only_at_most(p.loop.lowest) and breaks.number < p.current[0] + p.fed for p in places):
        return None
    # Nor where none is shown to clear a larger fault: holding up the coil mends nothing then.
    times = np.concatenate([p.clears[max(int(np.searchsorted(
        p.current + p.fed, breaks.number)) - 1, 0):] for p in places])
    return None if np.isnan(times).any() else leaf(
        "time in which the fuse clears what the charge contactor breaks", "t", "s",
        float(times.max()), "given", origin=_curves(places))


def _names(places: tuple[Beyond, ...]) -> str:
    """Fuses that are the quickest somewhere."""
    return " or ".join(dict.fromkeys(name for p in places for name, times in p.fuses
                                     if (times == p.clears).any()))


def _curves(places: tuple[Beyond, ...]) -> Origin:
    names = _names(places)
    return Origin((f"clearing curve of {names}, " if names else "") + "delays of the trips")


def named_contactor(brief: Brief) -> ContactorPart | None:
    """The part of the list that the brief names as charge contactor."""
    name = brief.parts.charge_contactor
    part = brief.parts.list.part(CONTACTOR, name) if name else None
    assert part is None or isinstance(part, ContactorPart)
    return part


def fed_by_charging(brief: Brief, load: Finding) -> Finding:
    """What feeds a fault on the pack's side through it, as far as its own limit tells.

    Args:
        brief: with the station.
        load: of the charge circuit.
    """
    known = [f for f in (load, brief.station.current) if f.known]
    return largest(known, FED) if known else load
