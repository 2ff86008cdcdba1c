"""Fuse, contactor and cable together: who clears, what gets through, where nobody does.

Every statement is made over the sweep from the lowest to the highest fault, with all break
points of the curves, and the worst point is printed with its current.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, PASS, Candidate, Check, Fact, Item, Requirement,
    by_the_unnamed, judge, on_an_open_entry, word_fact,
)
from packcalc.conductors import cable_fault_integral
from packcalc.findings import BASES, Finding, Origin, formula, leaf, trace, with_more
from packcalc.monitoring import acts_by, acts_from, rounded_down, rounded_up
from packcalc.part_checks.cells_left import CellsLeft
from packcalc.part_checks.closing import closing
from packcalc.part_checks.limits import as_printed
from packcalc.part_checks.links_beside import spoilt, spoilt_words
from packcalc.part_checks.overload import MEETS, OverloadPath, overload_checks
from packcalc.part_checks.path_conductors import (
    ElsewhereHeat, PathConductor, as_placed, as_swept, conductor_check, overheated_words,
    path_heat, traced_heat,
)
from packcalc.part_checks.shown import counted
from packcalc.part_checks.sweep import (
    BY_BOTH, BY_CONTACTOR, MAY_MELT, MELTS, TORN, ContactorSide, Hole, Sweep, at_highest,
    breaks, contactor_side, fuse_side, grid, judge_currents, number, seeing, sweep,
)
from packcalc.part_checks.trip_checks import (
    CoordinationAsked, counts_from, one_pole_sweep, overload_check, overloaded, seen_again,
    trip_checks, undervoltage_span,
)
from packcalc.part_checks.withstand import (
    WITHSTANDS, Borne, Stretch, borne, borne_check, of_sweep,
)
from packcalc.parts import CONTACTOR, FUSE, ContactorPart, FusePart
from packcalc.units import show
from packcalc.value import replace, value_object, worked_once

TITLE = "Who clears, over the whole fault range"
OPENING = "contactor: opening time"
CLOSED = "contactor: short-time withstand, closed"
EVERY = "every fault current from pole to pole is opened, fuse and contactor overlapping"
COLD = "the fuse opens the lowest fault, cold and nearly empty"
SWEPT = Origin("sweep from lowest to highest fault, with every break point")
SECOND = " in a second chassis fault"
NO_SPAN = counted("no span", 0, "definition")
ONE_SPAN = counted("spans of current that nobody opens", 1, "definition", SWEPT)
MOST_PAIRS = 12
MOST_TITLES = 3  # of open places in one reason
ARC_SOURCE = "nfpa-70e-2018"
LONGEST_ARC = leaf("longest exposure to an arc", "T", "s", 2.0, "read", source=ARC_SOURCE,
                   note="no device, or a slower one: two seconds, then a person has moved away")
DISTANCE = leaf("working distance", "D", "cm", 0.4572, "read", source=ARC_SOURCE, note="18 in")

NOTES = (
    "A fuse counts only above its lowest breaking current, up to its DC breaking capacity, and "
    "where its total clearing curve lies within about one second (packcalc's own rule: a shorted "
    "lithium cell does not hold its current for longer).",
    "A contactor counts only on a named trip, with trip delay and opening time, up to its "
    "breaking current in both directions. Above that it must not open before the fuse has cleared. "
    "Its time begins with the fault: until the rising current has crossed the trip's level, at the "
    "loop's highest time constant and for seven of them at most, no delay runs.",
    "Curves are straight lines between the sheet's points on logarithmic scales, never beyond "
    "them. Above its last point a fuse is taken to be no slower than there, and its let-through is "
    "the sheet's total clearing I²t at this voltage, or not known.",
    "Curves hold for a current that stands at once. Here it rises with the loop's highest time "
    "constant, and a fuse's time ends when that rise has let through its clearing I²t, by the "
    "sheet or by the curve's own I²t at that current, whichever is more: the time errs long.",
    "Curves are those of a cold link in free air; the heat of a fault is I²t with the full "
    "prospective current, which errs high.",
    "Arc figures by the maximum power method are information, and here of this path alone, its "
    "devices in circuit: the worst of all fault places stands with isolation and distances. Open "
    "air, half the voltage across the arc, the device seeing half the bolted current. "
    "A box can concentrate the heat up to three times. Not a vehicle rule.",
    "Two fuses or two contacts in series never add up their voltages without a stated rating.",
)


ONE_POLE_NOTE = (
    "The contactor's times here hold from pole to pole. A second chassis fault passes one pole "
    "alone: its contactor breaks alone, and as the current sensor may sit in the other pole only "
    "the cells' undervoltage trip is counted on there, see the fault places.")


OTHER_PAIRS = (
    "Pairs other than the first are held against this path from pole to pole alone: name one, and "
    "its cable and contactor are held against every fault place.")


@formula(
    title="incident energy of a DC arc, maximum power", symbol="E", unit="cal/cm²",
    text="E = 0.005 · U · I · T / D²",
    inputs={"voltage": "U [V] of the source", "fault_current": "I [A] bolted fault current",
            "time": "T [s] until the arc is cleared", "distance": "D [cm] working distance"},
    valid="open air; arc at half the source's voltage and half the bolted current",
    safe_side="high in the open, low in a box (up to three times)",
    basis="read", source=ARC_SOURCE, where="Annex D.5 and Table 130.7(C)(15)(b)")
def arc_incident_energy(voltage, fault_current, time, distance):
    """Heat on a surface at the working distance from an arc of the greatest power.

    Examples:
        >>> round(float(arc_incident_energy(250.0, 4000.0, 2.0, 0.4572)) / 41840, 2)
        4.78
    """
    calories = 0.005 * voltage * fault_current * time / (100.0 * distance) ** 2
    return calories * 4.184e4


@formula(
    title="current of an arc of the greatest power", symbol="I_arc", unit="A",
    text="I_arc = I / 2", inputs={"fault_current": "I [A] bolted fault current"},
    basis="read", source="nfpa-70e-2018",
    where="Annex D.5, half the bolted fault current: half the voltage across the arc")
def arc_current(fault_current):
    """What a device sees while the arc burns.

    Examples:
        >>> arc_current(4000.0)
        2000.0
    """
    return fault_current / 2.0


@dataclass(frozen=True, eq=False)
class Coordination:
    """One path with its sweep, its worst points and its item for the report.

    Attributes:
        asked: what was held together.
        sweep: None where nothing can be swept.
        item: for the report, with every pair of the parts list as a candidate.
        worst_heat, worst_heat_at: largest I²t let through and its current.
        worst_arc, worst_arc_at: largest incident energy and its bolted current.
        conductor_heat: (conductor, largest I²t in it, pack current there), where known; the cable
            among them where a fault place asks more of it than this path's own loops.
    """

    asked: CoordinationAsked
    sweep: Sweep | None
    item: Item
    worst_heat: Finding | None = None
    worst_heat_at: Finding | None = None
    worst_arc: Finding | None = None
    worst_arc_at: Finding | None = None
    conductor_heat: tuple[tuple[PathConductor, Finding, Finding], ...] = ()

    @worked_once
    def overload(self) -> OverloadPath | None:
        """The path as an overload meets it."""
        return overloaded(self.asked, self.sweep) if self.sweep else None

    @property
    def holes(self) -> tuple[Hole, ...]:
        return self.sweep.holes if self.sweep else ()

    @property
    def unopened(self) -> tuple[Hole, ...]:
        """The holes, parted where others may open them."""
        return self.sweep.unopened if self.sweep else ()


@value_object
class _Worst:
    """The worst point of one quantity."""

    value: Finding
    at: Finding


# -- one pair ---------------------------------------------------------------------------------


def sweep_pair(asked: CoordinationAsked) -> Sweep:
    """The sweep of one pair, without findings: quick enough for every pair of a list."""
    fuse = fuse_side(asked.fuse, asked.highest_voltage, asked.time_constant,
                     asked.counted_time.number)
    contactor = seen_again(contactor_side(
        asked.contactor, asked.trips, asked.highest_voltage, asked.time_constant,
        undervoltage_span(asked)), asked.fault_falls)
    extra = asked.contactor.short_time.second \
        if asked.contactor and asked.contactor.short_time else ()
    return replace(sweep(asked.fault_lowest.number, asked.fault_highest.number, fuse, contactor,
                         asked.counted_time.number, extra), less=asked.fault_lowest.may_be_less)


def coordinate(asked: CoordinationAsked, fuses: Sequence[FusePart] = (),
               contactors: Sequence[ContactorPart] = ()) -> Coordination:
    """Hold one pair against its path, and every other pair of the list beside it.

    Args:
        asked: the path, with the pair that is looked at in full; where it names no fuse or no
            contactor, the best of the lists is taken.
        fuses, contactors: every part to pair.
    """
    if not asked.known:
        return Coordination(asked, None, _nothing(asked, "the fault range is not known at both "
                                                         "ends, or its ends are crossed"))
    if asked.fuse is None and not fuses:
        return Coordination(asked, None, _nothing(asked, "no fuse is entered in a parts list"))
    pairs = _pairs(asked, fuses, contactors)
    best, swept = pairs[0] if pairs else (asked, sweep_pair(asked))
    heat, arc = _worst_heat(best, swept), _worst_arc(best, swept)
    others = _worst_of_conductors(best, swept)
    most = _with_one_pole(best, swept, heat)
    item = Item(
        key="coordination", title=TITLE, governing=_governing(best, swept),
        duty=_duty(best, swept, most, arc, others), specification=_specification(best, others),
        candidates=tuple(_candidate(a, s) for a, s in pairs[:MOST_PAIRS]),
        open_items=_open_items(best, swept),
        notes=NOTES if best.one_pole_lowest is None else (*NOTES, ONE_POLE_NOTE),
        checks=_checks(best, swept, heat, others))
    return Coordination(best, swept, item, most.value if most else None,
                        most.at if most else None, arc.value if arc else None,
                        arc.at if arc else None, others)


def _pairs(asked: CoordinationAsked, fuses: Sequence[FusePart],
           contactors: Sequence[ContactorPart]) -> list[tuple[CoordinationAsked, Sweep]]:
    """Every pair of the lists with its sweep, the one without a hole and least heat first."""
    links = [asked.fuse] if asked.fuse else list(fuses)
    switches = [asked.contactor] if asked.contactor else list(contactors) or [None]
    open_ = tuple(what for what, part, listed in (
        (FUSE, asked.fuse, fuses), (CONTACTOR, asked.contactor, contactors))
        if part is None and listed)
    tried = [replace(asked, fuse=f, contactor=c, unnamed=open_) for f in links for c in switches]
    swept = [(a, sweep_pair(a)) for a in tried]
    ranked = sorted(swept, key=lambda pair: (
        pair[1].hole_width, not _heat_holds(*pair), len(pair[1].contactor.reasons)))
    first: dict[int, int] = {}
    for index, (one, _) in enumerate(ranked):
        first.setdefault(id(one.fuse), index)
    # The best contactor of every fuse stands before any fuse's second one.
    best = sorted(first.values())
    return [ranked[i] for i in (*best, *(i for i in range(len(ranked)) if i not in set(best)))]


def _heat_holds(asked: CoordinationAsked, swept: Sweep) -> bool:
    withstand = number(asked.cable_withstand)
    if withstand is None or np.isnan(swept.heat[~np.isnan(swept.time)]).any() \
            or not np.isfinite(swept.heat).any():
        return False
    return bool(np.nanmax(swept.heat) <= withstand)


def _candidate(asked: CoordinationAsked, swept: Sweep) -> Candidate:
    checks = _untold(asked, swept, lambda made: (
        _range_check(asked, made), *_cable_checks(asked, made, _worst_heat(asked, made)),
        _withstand_check(asked, made)))
    limit = 0.0 if swept.contactor.reasons else swept.contactor.limit
    facts = (_counts("fuse counts from", swept.fuse.low),
             _counts("contactor counts up to", limit),
             word_fact("opened by nobody", "; ".join(
                 _span(h) + ", not shown" * h.open for h in swept.unopened) or "nowhere"))
    return Candidate(asked.pair, checks, facts)


def _counts(title: str, current: float) -> Fact:
    shown = bool(np.isfinite(current)) and current > 0
    return Fact(title, _amperes(current), "A", current if shown else None)


def _amperes(value: float) -> str:
    return show(value, "A") if np.isfinite(value) and value > 0 else "not shown"


def _span(hole: Hole) -> str:
    return f"{show(hole.low, 'A')} to {show(hole.high, 'A')}"


# -- worst points -----------------------------------------------------------------------------


def _at(value: float, title: str, note: str = "") -> Finding:
    return leaf(title, "I", "A", value, "definition", origin=SWEPT, note=note)


def _worst_heat(asked: CoordinationAsked, swept: Sweep, where: str = "") -> _Worst | None:
    if not np.isfinite(swept.heat).any():
        return None
    index = swept.heat.size - 1 - int(np.nanargmax(swept.heat[::-1]))  # of equal ones the highest
    at = _at(float(swept.current[index]), f"current at which most heat gets through{where}",
             f"worst of {swept.current.size} currents swept")
    return _Worst(_heat_at(swept, at, index, f"largest I²t let through{where}"), at)


def _with_one_pole(asked: CoordinationAsked, swept: Sweep,
                   heat: _Worst | None) -> _Worst | None:
    """The worst of the cable: from pole to pole, or in a second chassis fault, which ends later."""
    alone = one_pole_sweep(asked, swept)
    other = _worst_heat(asked, alone, SECOND) if alone is not None else None
    return max((w for w in (heat, other) if w is not None), key=lambda w: w.value.number,
               default=None)


def _heat_at(swept: Sweep, at: Finding, index: int, title: str) -> Finding:
    """The heat at one current with its chain."""
    clearing = swept.fuse.clearing
    if _contactor_first(swept, index):
        return trace(cable_fault_integral, f"{title}, by the contactor", current=at,
                     time=_trip_time(swept.contactor, at))
    if clearing is not None and (at.number > clearing.highest or swept.fuse.integral
                                 > at.number ** 2 * clearing.time_at(at.number)):
        part = swept.fuse.part
        assert part is not None and part.clearing_i2t is not None
        return part.clearing_i2t.called(f"{title}, by the fuse's sheet")
    assert clearing is not None
    return trace(cable_fault_integral, f"{title}, by the fuse", current=at,
                 time=clearing.trace_time(at))


def _contactor_first(swept: Sweep, index: int) -> bool:
    """Whether the contactor ends that current: alone, or before the fuse has cleared."""
    if swept.device[index] != BY_BOTH:
        return bool(swept.device[index] == BY_CONTACTOR)
    current = swept.current[index]
    time = swept.contactor.times(current)
    return bool(time < swept.fuse.times(current) and swept.heat[index] >= current ** 2 * time)


def _worst_of_conductors(asked: CoordinationAsked, swept: Sweep) -> tuple[
        tuple[PathConductor, Finding, Finding], ...]:
    """Worst point of each conductor beside the cable; nothing where nobody opens."""
    found = []
    for one in asked.conductors:
        heat = path_heat(swept, one)
        if np.isfinite(heat).any():
            index = int(np.nanargmax(heat))
            at = _at(float(swept.current[index]),
                     f"current at which most heat gets into {one.name}")
            whole = _heat_at(swept, at, index, "I²t let through there")
            found.append((one, traced_heat(one, whole, at), at))
    return tuple(found)


def _trip_time(side: ContactorSide, at: Finding) -> Finding:
    time = float(side.times(at.number))
    line = side.first(at.number)
    note = f"{line.delay:g} s + {side.opening:g} s"
    if side.time_constant:
        rise = float(side.rise(line, at.number))
        note += f", and {show(rise, 's')} in which the current rises to the trip"
    return leaf(f"{line.name}: delay and opening time", "t", "s", time, "given",
                origin=side.origin(at.number), note=note)


def _worst_arc(asked: CoordinationAsked, swept: Sweep) -> _Worst | None:
    """Worst incident energy: a device sees half the bolted current, none counts as two seconds.

    An arc takes the voltage that a short would leave to the cells: their trip is not counted on.
    """
    side = seeing(at_highest(swept.contactor, asked.trips), asked.trips, (0.0, 0.0))
    # What bends an answer lies at what the devices see.
    half = grid(arc_current(swept.current[0]), arc_current(swept.current[-1]),
                breaks(swept.fuse, side, swept.counted_time))
    device, time = judge_currents(half, swept.fuse, side, swept.counted_time)
    longest = LONGEST_ARC.number
    time = np.where(np.isnan(time), longest, np.minimum(time, longest))
    energy = arc_incident_energy(asked.highest_voltage.number, 2.0 * half, time, DISTANCE.number)
    index = int(np.argmax(energy))
    at = _at(2.0 * float(half[index]), "bolted current at which an arc burns worst")
    seen = trace(arc_current, fault_current=at)
    duration = LONGEST_ARC if time[index] >= longest else leaf(
        "time until the arc is cleared", "T", "s", float(time[index]), "computed",
        source=ARC_SOURCE, note=f"device at {seen.shown}", origin=side.origin(seen.number)
        if device[index] == BY_CONTACTOR else swept.fuse.origin)
    return _Worst(trace(arc_incident_energy, "incident energy of an arc that its devices see",
                        voltage=asked.highest_voltage, fault_current=at, time=duration,
                        distance=DISTANCE), at)


# -- checks -----------------------------------------------------------------------------------


def _checks(asked: CoordinationAsked, swept: Sweep, heat: _Worst | None,
            others: tuple[tuple[PathConductor, Finding, Finding], ...]) -> tuple[Check, ...]:
    """Of the pair that is held; see `_untold`."""
    return _untold(asked, swept, lambda made: _all_checks(asked, made, heat, others))


def _untold(asked: CoordinationAsked, swept: Sweep,
            of: Callable[[Sweep], tuple[Check, ...]]) -> tuple[Check, ...]:
    """Checks of a pair; a question where they fail only on what nobody told of its loop.

    A contactor that may meet a slower loop than its test had is counted on nowhere. What would
    hold were the loop as told is no failure by that alone, and no pass either.
    """
    held, side = of(swept), swept.contactor
    if not side.untold:
        return held
    told = of(swept.as_told)
    fails = {c.title for c in told if c.verdict == FAIL}
    shown = {c.title for c in told} - fails
    return tuple(c if c.verdict != FAIL or c.title not in shown else replace(
        c, verdict=NOT_EVALUATED, reason=c.reason if side.untold in c.reason else
        f"{c.reason}: {side.untold}") for c in held)


def _all_checks(asked: CoordinationAsked, swept: Sweep, heat: _Worst | None,
                others: tuple[tuple[PathConductor, Finding, Finding], ...]) -> tuple[Check, ...]:
    worst = {one.name: (found, at) for one, found, at in others}
    path = overloaded(asked, swept)
    return (*not_by_the_unnamed(asked, (
                *_cable_checks(asked, swept, heat), *_one_pole_heat(asked, swept),
                *(conductor_check(swept, c, *worst.get(c.name, (None, None)))
                  for c in asked.conductors),
                _withstand_check(asked, swept),
                _range_check(asked, swept), _cold_check(asked, swept))),
            *trip_checks(asked, swept),
            *not_by_the_unnamed(asked, (overload_check(asked, path), *overload_checks(path))))


def not_by_the_unnamed(asked: CoordinationAsked, checks: tuple[Check, ...]) -> tuple[Check, ...]:
    """Of a pair that nobody named nothing is shown: what fails by the best of the list stays."""
    return tuple(by_the_unnamed(c, asked.pair_open) for c in checks)


def _cold_check(asked: CoordinationAsked, swept: Sweep) -> Check:
    """Whether the fuse opens the lowest fault by itself; where not, the contactor must."""
    title, stage = COLD, "who clears"
    if swept.fuse.reasons:
        return Check(title, stage, NOT_EVALUATED, demand=asked.fault_lowest,
                     reason="; ".join(swept.fuse.reasons))
    counts = counts_from(swept, "current from which the fuse counts")
    check = judge(title, stage, counts, "at most", asked.fault_lowest,
                  remedy="a smaller or faster fuse; warmer cells before the contactors close; a "
                         "contactor on a named trip whose range reaches the fuse's")
    if check.verdict != FAIL:
        return check
    span = f"from {asked.fault_lowest.with_end} to {counts.shown} the fuse is not counted on"
    if not swept.covered:
        return replace(check, reason=f"{span}, and the contactor does not cover it all"
                       + _at_once(swept))
    if swept.less:
        return replace(check, verdict=NOT_EVALUATED, reason=f"{span}, and the lowest fault may be "
                       f"less: {swept.less}")
    alone = asked.fuse_alone_lowest
    bare = "" if alone is None or alone.number >= counts.number else \
        ", and nobody where none stands in the loop"
    return replace(check, verdict=CAUTION,
                   reason=f"{span}: only the contactor on its named trip opens there{bare}")


def _range_check(asked: CoordinationAsked, swept: Sweep) -> Check:
    """Somebody is shown to open every current; otherwise no valid pair."""
    title, stage = EVERY, "who clears"
    sheets = [part.basis for part in (asked.fuse, asked.contactor) if part is not None]
    unknown = bool(swept.holes) and all(h.open for h in swept.unopened)
    who = "nobody is shown to open" if unknown else "nobody opens"
    spans_open = counted(f"spans of current that {who}", len(swept.holes),
                         max(sheets, key=BASES.index, default="definition"), SWEPT)
    alone = asked.fuse_alone_lowest
    if swept.covered and alone is not None and not swept.fuse.reasons \
            and alone.number < swept.fuse.low:
        return Check(title, stage, FAIL, ONE_SPAN, NO_SPAN, "at most",
                     f"{asked.pair}: opened where the contactors stand in the loop; nobody from "
                     f"{alone.shown} to {_amperes(swept.fuse.low)} {alone.note}, where none does",
                     "a fuse of its own in that wire, at the tap; or its tap behind the contactors")
    if swept.covered and _one_pole_holes(asked, swept):
        return _one_pole_open(asked, swept, title, stage)
    if swept.covered:
        weak = swept.fuse.clearing is not None and "gate" in swept.fuse.clearing.title
        words = (f"{asked.pair}: fuse from {_amperes(swept.fuse.low)} ({swept.fuse.why_low})"
                 + (f", contactor up to {_amperes(swept.contactor.limit)}"
                    if not swept.contactor.reasons else ""))
        held = Check(title, stage, NOT_EVALUATED if weak else PASS, spans_open, NO_SPAN, "at most",
                     words + ("; gates from memory are no data sheet: ask for the curve"
                              if weak else ""))
        return on_an_open_entry(held, f"the lowest fault may be less: {swept.less}") \
            if swept.less else held
    spans = "; ".join(f"from {_span(h)} {h.words}" for h in swept.unopened)
    asks = [*swept.fuse.reasons, *swept.contactor.reasons]
    found = {h.device for h in swept.holes}
    silent = unknown and (bool(swept.fuse.reasons and asked.fuse is not None)
                          or found == {MAY_MELT})
    return Check(title, stage, NOT_EVALUATED if silent else FAIL, spans_open, NO_SPAN, "at most",
                 f"no valid pair: {spans}{_at_once(swept)}"
                 + (f"; {'; '.join(asks)}" if asks else ""),
                 closing(swept, asked.highest_voltage, asked.time_constant, asked.trips))


def _at_once(swept: Sweep) -> str:
    """Which delays nobody told, where a trip tears the contactor open; empty where none is open."""
    told = dict.fromkeys(swept.contactor.at_once(h.low) for h in swept.unopened
                         if h.device in TORN)
    return "".join(f"; {words}" for words in told if words)


def _one_pole_holes(asked: CoordinationAsked, swept: Sweep) -> tuple[Hole, ...]:
    """Currents of a loop through one pole that only the sensor of the other pole would see."""
    alone = one_pole_sweep(asked, swept)
    return alone.holes if alone is not None else ()


def _one_pole_open(asked: CoordinationAsked, swept: Sweep, title: str, stage: str) -> Check:
    """Opened between the poles, and not shown where the loop passes one pole alone."""
    holes = _one_pole_holes(asked, swept)
    spans = counted("spans of current that one pole's contactor is not shown to open", len(holes),
                    _part_basis(asked.contactor), SWEPT)
    where = " and ".join(_span(h) for h in holes)
    melted = [h for h in holes if h.device == MELTS]
    if melted:
        return Check(title, stage, FAIL, spans, NO_SPAN, "at most",
                     f"{asked.pair}: opened from pole to pole; nobody from "
                     f"{' and '.join(_span(h) for h in melted)} in a second chassis fault: the "
                     "fuse melts before the cells' undervoltage trip has opened one pole's "
                     "contactor, and does not break it",
                     f"a shorter management.voltage_delay, or a fuse that is shown to break from "
                     f"{show(melted[0].low, 'A')}")
    return Check(title, stage, NOT_EVALUATED, spans, NO_SPAN, "at most",
                 f"{asked.pair}: opened from pole to pole; not shown from {where} in a second "
                 "chassis fault: one pole's contactor breaks alone, and an over-current trip acts "
                 "only where the current sensor sits in that pole",
                 "name the cells' undervoltage trip (management.undervoltage_trip, voltage_delay), "
                 "which sees such a fault in either pole; a current sensor in each pole; or a fuse "
                 f"that counts from {show(holes[0].low, 'A')}")


def _one_pole_heat(asked: CoordinationAsked, swept: Sweep) -> tuple[Check, ...]:
    """The cable once more where only the cells' undervoltage trip sees the fault: it is slower.

    A fuse between the modules lies in such a loop wherever the leak is beyond it, and that of a
    string.
    """
    alone, withstand = one_pole_sweep(asked, swept), asked.cable_withstand
    worst = _worst_heat(asked, alone) if alone is not None else None
    if alone is None or worst is None or withstand is None or not withstand.known:
        return ()
    where = (f"worst at {worst.at.shown}{overheated_words(alone, withstand.number)}, of a loop "
             "through the fuse's pole: by the fuse or on the cells' undervoltage trip, whichever "
             "comes first: the current sensor may sit in the other pole")
    beside = tuple(link.through_one_pole(asked.fault_highest) for link in asked.beside)
    left = spoilt_words(beside, alone.current, alone.time)
    where = f"{where}; {left}" if left else where
    held = judge(f"{asked.cable_name} survives the heat of a second chassis fault through the "
                 "fuse's pole", "fault range", withstand, "at least", worst.value, reason=where,
                 remedy="a larger section, a shorter delay of the undervoltage trip, or a current "
                        "sensor in each pole")
    return (as_swept(held, spoilt(alone, beside), where),)


def _cable_checks(asked: CoordinationAsked, swept: Sweep,
                  heat: _Worst | None) -> tuple[Check, ...]:
    title = _cable(asked).title
    stage, withstand = "fault range", asked.cable_withstand
    covered = ~np.isnan(swept.time)
    silent = covered & np.isnan(swept.heat)
    checks = []
    if heat is None or withstand is None or not withstand.known:
        missing = "k²S² of the cable is not known" if heat else "no device is shown to clear"
        checks.append(Check(title, stage, NOT_EVALUATED, withstand, None, "at least", missing))
    else:
        where = f"worst at {heat.at.shown}" + overheated_words(swept, withstand.number)
        held = judge(title, stage, withstand, "at least", heat.value, reason=where,
                     remedy="a larger section, a faster fuse or a quicker trip")
        checks.append(as_swept(held, swept, where))
    if silent.any():
        span = (f"{show(float(swept.current[silent][0]), 'A')} to "
                f"{show(float(swept.current[silent][-1]), 'A')}")
        checks.append(Check("let-through beyond the fuse's curve", stage, NOT_EVALUATED,
                            reason=f"from {span} the curve has no point: ask for the total "
                                   f"clearing I²t at {asked.highest_voltage.shown} or above"))
    return tuple(checks)


def _cable(asked: CoordinationAsked) -> PathConductor:
    """The path's cable as one of its conductors."""
    return PathConductor(asked.cable_name, asked.cable_withstand or leaf(
        "k²S² of the cable", "k²S²", "A²s", None, "given"), "its section", verb="survives")


def _withstand_check(asked: CoordinationAsked, swept: Sweep) -> Check:
    """The closed contactor until the fuse or its own trip has cleared, at what presses it most."""
    title, stage, part = WITHSTANDS, "fault range", asked.contactor
    if part is None or part.short_time is None:
        return Check(title, stage, NOT_EVALUATED, reason="ask for the short-time withstand curve "
                     "of the contactor, closed and unwelded")
    # Where nobody opens the fault it never ends: the range says so.
    found = borne([until_cleared(swept)])
    if found is None:
        return Check(title, stage, NOT_EVALUATED, reason="nobody is shown to clear any fault")
    return borne_check(title, part, found)


def until_cleared(swept: Sweep) -> Stretch:
    """A path as a closed contact in it carries its faults."""
    return of_sweep(swept, lambda at: _ended_by(swept, at))


def _ended_by(swept: Sweep, current: float) -> Origin:
    """What the time until a current is cleared comes from."""
    by_trip, by_fuse = swept.contactor.times(current), swept.fuse.times(current)
    counts = bool(swept.fuse.counts(current)) and not by_trip < by_fuse
    return swept.fuse.origin if counts else swept.contactor.origin(current)


# -- item -------------------------------------------------------------------------------------


def _duty(asked: CoordinationAsked, swept: Sweep, heat: _Worst | None, arc: _Worst | None,
          others: tuple[tuple[PathConductor, Finding, Finding], ...]) -> tuple[Finding, ...]:
    lines = [asked.fault_lowest, asked.fault_highest, asked.highest_voltage, asked.time_constant]
    for value, title in ((swept.fuse.low, "current from which the fuse counts"),
                         (swept.contactor.limit if not swept.contactor.reasons else 0.0,
                          "current up to which the contactor counts")):
        if np.isfinite(value) and value > 0:
            lines.append(counts_from(swept, title) if "fuse" in title else
                         leaf(title, "I", "A", value, _part_basis(asked.contactor),
                              origin=asked.contactor.origin if asked.contactor else None,
                              note="lower of the two directions"))
    for worst in (heat, arc):
        if worst is not None:
            lines += [worst.value, worst.at]
    for one, found, at in others:
        lines += [one.withstand, found, at] if one.withstand.known else [found, at]
    return tuple(lines)


def _part_basis(part: ContactorPart | None) -> str:
    return part.basis if part else "given"


def _governing(asked: CoordinationAsked, swept: Sweep, *, alone: bool = False) -> str:
    """What the pair opens; `alone`, of the path's own loop and from its own lowest fault on."""
    span = f"{asked.fault_lowest.with_end} to {asked.fault_highest.with_end}"
    pair = f"{asked.pair} ({asked.put_forward})" if asked.unnamed else asked.pair
    if swept.covered:
        less = "; what is less, as a fault may be, is not shown opened" if swept.less else ""
        if alone:
            own = asked.path_lowest or asked.fault_lowest
            span = f"{own.with_end} to {asked.fault_highest.with_end} of this path's own loop " \
                   "alone"
        opens = "would open" if asked.unnamed else "open"
        return f"{pair} {opens} every current from {span}{less}, subject to the checks below."
    holes = "; ".join(f"from {_span(h)} {h.words}" for h in swept.unopened)
    return f"{pair}, from {span}: no valid pair, {holes}."


def _specification(asked: CoordinationAsked, others: tuple[
        tuple[PathConductor, Finding, Finding], ...] = ()) -> tuple[Requirement, ...]:
    lowest, highest = asked.fault_lowest.with_end, asked.fault_highest.with_end
    rows = [
        Requirement("fuse: total clearing curve in DC", f"points from {lowest} to {highest} at "
                    f"{asked.highest_voltage.least}{asked.highest_voltage.shown} or above, with "
                    "the lowest breaking current",
                    "the worst heat and the worst arc often lie between the ends").resting_on(
                        asked.fault_lowest, asked.fault_highest),
        Requirement("fuse: total clearing I²t", f"at {highest}, DC, with its voltage",
                    "beyond the last point of the curve").resting_on(asked.fault_highest),
        Requirement("contactor: breaking current", "both directions, at the highest working "
                    "voltage, up to the largest current at which it opens before the fuse has "
                    "cleared"),
        Requirement(CLOSED, f"points up to {highest}").resting_on(asked.fault_highest),
        Requirement(OPENING, "with the coil suppression that will be used"),
    ]
    if asked.cable_withstand is not None and asked.cable_withstand.known:
        rows.append(Requirement(f"{asked.cable_name}", f"at most {asked.cable_withstand.shown} "
                                "let through at every current of the range"))
    heat = {one.name: found for one, found, _ in others}
    return (*rows, *(_conductor_line(c, heat.get(c.name)) for c in asked.conductors))


def _conductor_line(conductor: PathConductor, heat: Finding | None) -> Requirement:
    """What one stands, or the question for it with the least that would do."""
    if conductor.withstand.known:
        return Requirement(conductor.name, f"at most {conductor.withstand.shown} in them at every "
                           "current of the range")
    least = "" if heat is None else f"; current squared times its time at least {heat.with_end}"
    return Requirement(conductor.name, f"not shown: ask for {conductor.request}{least}",
                       conductor.ask).resting_on(heat)


def with_trips(held: Coordination, lines: tuple[Requirement, ...]) -> Coordination:
    """The sheet of requests with the settings of the trips, by whoever specifies them."""
    named = {line.what for line in lines}
    rows = tuple(row for row in held.item.specification if row.what not in named)
    at = next(i for i, row in enumerate(rows) if row.what == OPENING) + 1
    return replace(held, item=replace(held.item,
                                      specification=(*rows[:at], *lines, *rows[at:])))


def with_heats(held: Coordination, elsewhere: Sequence[ElsewhereHeat]) -> Coordination:
    """Cable, links, bus bars and modules held against every fault place that runs through them.

    Args:
        held: of the main path.
        elsewhere: the worst of all places, one a conductor.
    """
    if held.sweep is None or not elsewhere:
        return held
    cable = next((e for e in elsewhere if e.name == held.asked.cable_name), None) \
        if held.asked.cable_withstand is not None else None
    held = held if cable is None else _with_cable(held, held.sweep, cable)
    found = {one.name: one for one in elsewhere}
    own = {one.name: (heat, at) for one, heat, at in held.conductor_heat}
    named = {c.name for c in held.asked.conductors}
    worst = [one for one in held.conductor_heat if one[0].name not in named]
    checks, rows, duty = list(held.item.checks), list(held.item.specification), \
        list(held.item.duty)
    for conductor in held.asked.conductors:
        other, (heat, at) = found.get(conductor.name), own.get(conductor.name, (None, None))
        if other is not None and other.heat is not None \
                and (heat is None or other.heat.number > heat.number * (1.0 + 1e-9)):
            duty = [other.heat if f is heat else other.at if f is at else f for f in duty]
            heat, at = other.heat, other.at
        if heat is not None and at is not None:
            if other is not None and other.heat is not None:
                heat = with_more(heat, other.heat.untold_more)
            worst.append((conductor, heat, at))
        (told,) = not_by_the_unnamed(held.asked, (
            conductor_check(held.sweep, conductor, heat, at, other),))
        checks = [told if c.title == told.title else c for c in checks]
        asked = max((f for f in (heat, other and other.unshown) if f is not None),
                    key=lambda f: f.number, default=None)  # of a sheet: more is no harm
        rows = [_conductor_line(conductor, asked) if r.what == conductor.name else r for r in rows]
    return replace(held, conductor_heat=tuple(worst), item=replace(
        held.item, checks=tuple(checks), specification=tuple(rows), duty=tuple(duty)))


def with_contacts(held: Coordination, found: Borne | None) -> Coordination:
    """The contactor of the pair that is held, against every fault place that it stands in.

    Args:
        held: of the main path, or of one string against the others.
        found: what it carries until they are cleared.
    """
    part, item = held.asked.contactor, held.item
    if held.sweep is None or found is None:
        return held
    item = replace(item, specification=tuple(
        replace(r, value=f"{r.value}; at least {found.words}").resting_on(found.longer)
        if r.what == CLOSED else r for r in item.specification))
    if part is None or part.short_time is None:
        return replace(held, item=item)
    told = borne_check(WITHSTANDS, part, found)
    candidates = tuple(replace(c, checks=tuple(told if o.title == WITHSTANDS else o
                                               for o in c.checks))
                       if c.name == held.asked.pair else c for c in item.candidates)
    return replace(held, item=replace(item, candidates=candidates, checks=tuple(
        not_by_the_unnamed(held.asked, (told,))[0] if c.title == WITHSTANDS else c
        for c in item.checks)))


def _with_cable(held: Coordination, swept: Sweep, other: ElsewhereHeat) -> Coordination:
    """The cable of the pair that is held: of other pairs no fault place is known."""
    cable, most, item = _cable(held.asked), held.worst_heat, held.item
    worse = other.heat is not None and other.at is not None and (
        most is None or other.heat.number > most.number * (1.0 + 1e-9))
    told = conductor_check(swept, cable, other.heat, other.at, other) if worse else None

    def placed(checks: tuple[Check, ...]) -> tuple[Check, ...]:
        return tuple(c if c.title != cable.title else told or as_placed(c, other) for c in checks)

    candidates = tuple(replace(c, checks=placed(c.checks)) if c.name == held.asked.pair else c
                       for c in item.candidates)
    # The row is that of a candidate; the path's own check shows nothing by it where none is named.
    checks = tuple(not_by_the_unnamed(held.asked, (c,))[0] if c.title == cable.title else c
                   for c in placed(item.checks))
    item = replace(item, checks=checks, candidates=candidates,
                   notes=(*item.notes, *((OTHER_PAIRS,) if len(candidates) > 1 else ())))
    if not worse or other.heat is None or other.at is None:
        return replace(held, item=item)
    return replace(held, conductor_heat=(*held.conductor_heat, (cable, other.heat, other.at)),
                   item=replace(item, duty=(*item.duty, other.heat, other.at)))


def with_cells(held: Coordination, left: CellsLeft | None) -> Coordination:
    """The checks of the trips once more, with what all faults leave on the cells.

    Args:
        held: of the main path.
        left: up to the highest current that is left to the cells' trip; None where not known.
    """
    if held.sweep is None or left is None:
        return held

    def checks(asked: CoordinationAsked) -> tuple[Check, ...]:
        assert held.sweep is not None
        return _untold(asked, held.sweep, lambda made: trip_checks(asked, made))

    before = {c.title for c in checks(held.asked)}
    own = held.item.checks
    at = next(i for i, c in enumerate(own) if c.title in before)
    new = checks(replace(held.asked, fault_voltage=left.worst, cells_left=left))
    return replace(held, item=replace(held.item, checks=(
        *own[:at], *new, *(c for c in own[at:] if c.title not in before))))


def with_places(held: Coordination, left: Sequence[str], unshown: Sequence[str] = (),
                asked: Sequence[str] = ()) -> Coordination:
    """No pass of the path while a fault place leaves currents to nobody: it is named.

    The path is swept from pole to pole, and a loop of its own may see less of the fuse and of the
    trips, or neither. The place tells so itself; where the path fails too it has its own reason.

    Args:
        held: of the main path, or of one string against the others.
        left: titles of its fault places that nobody opens.
        unshown: titles of those where a further fuse may melt first, not shown to break.
        asked: of those of which nobody is shown to open some current.
    """
    if not (left or unshown or asked):
        return held
    spans = counted("fault places with currents that nobody opens", len(left), "definition",
                    SWEPT) if left else None
    told = ". ".join(filter(None, (
        f"Nobody opens some current of: {'; '.join(left)}" if left else "",
        f"Nobody is shown to open some current of: {_some(asked)}" if asked else "",
        f"A mid-pack fuse that is not shown to break may melt first at {len(unshown)} places, "
        f"'{unshown[0]}' among them" if unshown else "")))

    def placed(checks: tuple[Check, ...]) -> tuple[Check, ...]:
        return tuple(_beside_places(c, told, spans) for c in checks)

    item, governing = held.item, held.item.governing if held.sweep is None \
        else _governing(held.asked, held.sweep, alone=True)
    # The pair's own row says the same; of other pairs no fault place is known.
    candidates = tuple(replace(c, checks=placed(c.checks)) if c.name == held.asked.pair else c
                       for c in item.candidates)
    return replace(held, item=replace(item, governing=governing, checks=placed(item.checks),
                                      candidates=candidates))


def _beside_places(check: Check, told: str, spans: Finding | None) -> Check:
    """A check of the path beside the fault places that leave currents to nobody.

    Args:
        check: of the path from pole to pole.
        told: these places, in words.
        spans: how many of them nobody opens; None where nobody is only not shown to.
    """
    if check.title in (EVERY, MEETS) and check.verdict == PASS:
        return replace(check, verdict=CAUTION, figure=spans or check.figure,
                       reason=f"{check.reason}; of this path's own loop alone. {told}",
                       remedy="see these fault places")
    if check.title == COLD and check.verdict == CAUTION:
        return replace(check, reason=f"{check.reason}, and not at every fault place")
    return check


def _some(titles: Sequence[str]) -> str:
    """Titles of a few places; of many the first with how many more."""
    more = len(titles) - MOST_TITLES
    return "; ".join(titles) if more <= 0 else \
        f"{'; '.join(titles[:MOST_TITLES])}; and {more} place{'s' if more > 1 else ''} more"


def own_trip_line(asked: CoordinationAsked) -> Requirement:
    """A trip with a sensor of its own, of which the table of limits knows nothing."""
    load, lowest, off = asked.peak_load, asked.fault_lowest, \
        asked.trips.sensor_error if asked.trips else None
    if off is not None and load.known and lowest.known:
        load = as_printed(rounded_up, "lowest setting of the trip",
                          trace(acts_by, trip=load, deviation=off))
        lowest = as_printed(rounded_down, "highest setting of the trip",
                            trace(acts_from, trip=lowest, deviation=off))
    return Requirement("trip: current, delay, name", f"at least {load.shown} and at most "
                       f"{lowest.shown}", "a trip must tell a fault from a load; " + (
                           "the sensor's error comes on top and is taken off" if off is None else
                           f"the sensor's error of {off.shown} is counted")).resting_on(
                               asked.peak_load, asked.fault_lowest)


def _open_items(asked: CoordinationAsked, swept: Sweep) -> tuple[str, ...]:
    items = [f"{asked.fuse.name}: {r}" for r in swept.fuse.reasons if asked.fuse]
    items += [f"{asked.contactor.name if asked.contactor else 'contactor'}: {r}"
              for r in swept.contactor.reasons]
    return (*items, *_open_conductors(asked))


def _open_conductors(asked: CoordinationAsked) -> tuple[str, ...]:
    return tuple(f"{c.name}: {c.ask}" for c in asked.conductors if not c.withstand.known)


def _nothing(asked: CoordinationAsked, why: str) -> Item:
    title = EVERY
    return Item("coordination", TITLE, f"Not evaluated: {why}. Send the requests below to the "
                "suppliers and enter their answers in a parts list.",
                (asked.fault_lowest, asked.fault_highest, asked.highest_voltage,
                 asked.time_constant), specification=_specification(asked),
                open_items=("data sheets of fuse and contactor: until they are entered nobody is "
                            "shown to open any fault current", *_open_conductors(asked)),
                notes=NOTES,
                checks=(Check(title, "who clears", NOT_EVALUATED, reason=why),))
