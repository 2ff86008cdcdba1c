"""An overload that lasts longer than k²S² holds: how long the cable bears it, and who ends it.

Between what a cable carries for ever and what somebody opens within five seconds a short-circuit
limit means nothing: no insulation bears its temperature for minutes. Here the cable may warm from
where the peak load leaves it to its steady limit, and no heat is counted as leaving it: both err
short. Who opens the current in that time ends the overload; else it is nobody.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, Check, judge
from packcalc.curves import LONGEST_ADIABATIC, adiabatic_time
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.part_checks.slow_opening import bends, melting_words, opening
from packcalc.part_checks.sweep import BESIDE, Sweep
from packcalc.units import show
from packcalc.value import replace, value_object

STAGE = "thermal load"
GRID = 120
SWEPT = Origin("clearing curve of the fuse, trips of the contactor")
RULE_FOR_BUILDINGS = ("In ≤ Iz and I2 ≤ 1.45·Iz, held with the fuse, are a rule for buildings; a "
                      "named overload trip ends it at its delay")


@value_object
class LastingAsked:
    """What a long overload is held against.

    Attributes:
        cable: as printed.
        carries: current of the cable for ever.
        warming: I²t that takes it from its peak temperature to its steady limit; None where the
            peak leaves nothing, or nobody knows the cable.
        peak_load, peak_duration: what the load itself may draw, and for how long.
        trip_named: whether the brief names an overload trip.
    """

    cable: str
    carries: Finding
    warming: Finding | None
    peak_load: Finding
    peak_duration: Finding
    trip_named: bool

    @property
    def remedy(self) -> str:
        return ("an overload trip at or below the cable's continuous current, its sensor's error "
                f"counted, with a delay of at most {show(LONGEST_ADIABATIC, 's')}; or the cable "
                "maker's current for that time")


@dataclass(frozen=True, eq=False)
class _Worst:
    """The current of the span at which the cable has least time in hand.

    Attributes:
        current: A.
        bears: until the cable has reached its steady limit.
        time: s, until somebody has opened it; infinite for nobody.
        who: by name; empty for nobody.
        melts: why not the trip, where a link melts before; else empty.
        asked: whether that is a question to the link's maker.
        origin: the entries that the time comes from.
        untimed: which trip is not counted on as its delay is open; else empty.
    """

    current: Finding
    bears: Finding
    time: float
    who: str
    melts: str = ""
    asked: bool = False
    origin: Origin = SWEPT
    untimed: str = ""


def lasting_check(asked: LastingAsked, swept: Sweep) -> Check:
    """From what the cable carries for ever up to what somebody opens while k²S² holds."""
    title = f"{asked.cable}: overload that lasts longer than {show(LONGEST_ADIABATIC, 's')}"
    carries, within = asked.carries, opened_within(swept, LONGEST_ADIABATIC)
    if not carries.known or carries.may_be_less:
        return Check(title, STAGE, NOT_EVALUATED, reason="the cable's current is not known")
    if within is not None and within.number <= carries.number:
        return judge(title, STAGE, within, "at most", carries,
                     reason="all that the cable cannot carry for ever is opened sooner")
    top = within.number if within is not None else float(swept.current[-1])
    span = _spans(swept, carries.number, top, within is not None)
    if asked.warming is None or not asked.warming.known or top <= carries.number:
        return Check(title, STAGE, NOT_EVALUATED, within, carries, "at most",
                     f"{span}: the peak load leaves the cable nothing to warm by, and beyond "
                     f"{show(LONGEST_ADIABATIC, 's')} k²S² does not hold. {RULE_FOR_BUILDINGS}",
                     asked.remedy)
    worst = _worst(asked, swept, top)
    open_ = swept.contactor.at_once(worst.current.number)
    return _judged(asked, title, span, replace(worst, untimed=f"; {open_}") if open_ else worst)


def _judged(asked: LastingAsked, title: str, span: str, worst: _Worst) -> Check:
    """By who is first: the cable at its steady limit, or somebody who opens."""
    bears = (f"{span}; worst at {worst.current.shown}: the cable, losing no heat, would reach its "
             f"steady limit in {worst.bears.shown} from where its peak load leaves it")
    if worst.bears.number < LONGEST_ADIABATIC:
        bears += (f", long before the {show(LONGEST_ADIABATIC, 's')} are over: who clears it is "
                  "asked of the fault range too")
    if not worst.who:
        return _nobody(asked, title, f"{bears}{worst.untimed}", worst)
    taken = leaf("time until somebody has opened the overload", "t", "s", worst.time, "given",
                 origin=worst.origin)
    held = judge(title, STAGE, worst.bears, "at least", taken,
                 reason=f"{bears}; {worst.who} opens it in {taken.shown}", remedy=asked.remedy)
    if held.verdict != FAIL:
        return held
    return replace(held, verdict=NOT_EVALUATED, reason=f"{held.reason}: how hot the cable gets by "
                   f"then, losing heat, is not computed. {RULE_FOR_BUILDINGS}")


def _spans(swept: Sweep, low: float, top: float, opened_above: bool) -> str:
    """What nobody opens within five seconds; a trip may end part of it, between two holes."""
    marks = [m for m in (*_marks(swept), *_at_time(swept, LONGEST_ADIABATIC)) if low < m < top]
    ends = np.array(sorted({low, *marks, top}))
    opened = opening((ends[:-1] + ends[1:]) / 2.0, swept).time
    holes: list[tuple[float, float]] = []
    for start, end, time in zip(ends[:-1], ends[1:], opened, strict=True):
        if time <= LONGEST_ADIABATIC:
            continue
        if holes and holes[-1][1] == start:
            start = holes.pop()[0]
        holes.append((start, end))
    words = " and ".join(f"from {show(float(a), 'A')} to {show(float(b), 'A')}"
                         for a, b in holes or [(low, top)])
    if len(holes) > 1:
        return f"{words}, outside which somebody opens it sooner"
    return words + (", from which somebody opens it sooner" if opened_above else
                    ": nobody is shown to open any overload sooner")


def _nobody(asked: LastingAsked, title: str, bears: str, worst: _Worst) -> Check:
    """A load that ends its own peak is no protection, and all there is up to that peak."""
    peak, length = asked.peak_load, asked.peak_duration
    words = f"{bears}; nobody is shown to open it in that time{worst.melts}"
    if worst.melts:
        return Check(title, STAGE, NOT_EVALUATED if worst.asked or not asked.trip_named else FAIL,
                     worst.bears, None, "at least", words,
                     "a full-range fuse, or a trip that opens before this one melts")
    if peak.known and length.known and worst.current.number <= peak.number \
            and length.number <= worst.bears.number:
        return Check(title, STAGE, CAUTION, worst.bears, length, "at least",
                     f"{words}: only the load's own limit ends it, after {length.shown} at most, "
                     "and a load's limit is no protection", asked.remedy)
    return Check(title, STAGE, FAIL if asked.trip_named else NOT_EVALUATED, worst.bears, None,
                 "at least", words if asked.trip_named else
                 f"{words}: no overload trip is named. {RULE_FOR_BUILDINGS}", asked.remedy)


def _worst(asked: LastingAsked, swept: Sweep, top: float) -> _Worst:
    """Least time in hand over the span; of currents that nobody opens the highest."""
    assert asked.warming is not None
    low = asked.carries.number * (1.0 + BESIDE)
    marks = np.array([*(m for m in _marks(swept) if low < m < top), top])
    beside = [marks * (1.0 + side * BESIDE) for side in (-1, 0, 1)]
    current = np.unique(np.concatenate([np.geomspace(low, top, GRID), *beside]).clip(low, top))
    opened = opening(current, swept)
    time, never = opened.time, np.flatnonzero(np.isnan(opened.time))
    never = never[~opened.may_melt[never]] if not opened.may_melt[never].all() else never
    index = int(never[-1]) if never.size else int(np.argmax(time * current ** 2))
    at = leaf("overload at which the cable has least time in hand", "I", "A",
              float(current[index]), "definition", origin=SWEPT)
    bears = trace(adiabatic_time, "time until the cable has reached its steady limit",
                  withstand=asked.warming, current=at,
                  note="no heat is counted as leaving it, which errs short at any length")
    if never.size:
        return _Worst(at, bears, np.inf, "", f": {melting_words(swept.fuse, at.number)}"
                      if opened.melted[index] else "", bool(opened.may_melt[index]))
    fuse_first = bool(time[index] == opened.by_fuse[index])
    part = swept.fuse.part if fuse_first else swept.contactor.part
    name = part.name if part is not None else ("the fuse" if fuse_first else "the contactor")
    if fuse_first:
        return _Worst(at, bears, float(time[index]), name, origin=swept.fuse.origin)
    side = swept.contactor
    return _Worst(at, bears, float(time[index]), f"{name} on the {side.first(at.number).name}",
                  origin=side.origin(at.number))


def _marks(swept: Sweep) -> list[float]:
    """Currents at which who opens an overload may change."""
    fuse, side = swept.fuse, swept.contactor
    found = [fuse.low, side.limit * (1.0 + BESIDE), *bends(swept), *(
        end for line in side.lines for end in (line.from_current, line.to_current))]
    if fuse.clearing is not None:
        found += fuse.clearing.currents
    return [m for m in found if np.isfinite(m) and m > 0]


def _at_time(swept: Sweep, time: float) -> list[float]:
    """Current that the fuse clears in a time, its rise in the loop counted; none off its curve."""
    clearing = swept.fuse.clearing
    if clearing is None or not clearing.shortest <= time <= clearing.longest:
        return []
    at = float(clearing.current_at(time))
    late = float(swept.fuse.times(np.array([at]))[0]) - time
    sooner = time - 1.001 * late  # the rise hardly changes so near: a little more than it
    return [float(clearing.current_at(sooner)) if sooner >= clearing.shortest else at]


def opened_within(swept: Sweep, time: float) -> Finding | None:
    """Lowest current from which every one is opened within a time; None where none is."""
    marks = sorted({*_marks(swept), *_at_time(swept, time)})
    opened = opening(np.array(marks) * (1.0 + BESIDE), swept).time <= time
    first = next((i for i, _ in enumerate(marks) if opened[i:].all()), None)
    return None if first is None else leaf(
        f"current from which somebody opens within {show(time, 's')}", "I", "A", marks[first],
        "given", origin=SWEPT)
