"""Fault places: where a fault can happen, what feeds it, and who clears it, or nobody.

Each place has both ends of its current, all that lies between them, and the devices that
stand in its loop. What a device does at a current is asked of the caller; without a real part
the answer is never better than "not shown". A device that does not stand in the loop does not
count.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, judge
from packcalc.findings import Finding, Origin, formula, leaf, trace
from packcalc.fuse_formulas import COUNTED_ON
from packcalc.part_checks.shown import counted
from packcalc.protect.branch_figures import only_at_most
from packcalc.units import show
from packcalc.value import replace, value_object, worked_once

NOBODY = "nobody"
NEXT_TO_NOTHING = 1e-3  # of what a current is at most: below it no device of any loop acts
BETWEEN = "currents between"
FUSE, CONTACTOR, LIMIT, MONITOR = "fuse", "contactor", "current limit", "insulation monitor"
CHARGE_KEY = "charge_contactor"
STANDS = ("one pole", "both poles", "mid-pack", "one pole and mid-pack",
          "both poles and mid-pack")

COVER = "insulating covers on every terminal and link, insulated tools, one joint open at a time"
OTHER_POLE = "a fuse in the other pole as well"
OTHER_POLE_OF_BRANCH = "a fuse in the other pole of the branch as well, at the tap"
MID_FUSE = "a mid-pack fuse, added or moved between the two halves"
SPLIT = "a second mid-pack fuse, so that no run of modules is left without one"
WATCH = "an insulation monitor that warns at the first fault and bars closing"
ACTS = "an insulation monitor that opens the contactors at the first fault and bars closing"
DOUBLE = "double insulation, edge guards and clamps against the second fault"
TRIP = "contactors on a named trip, proven for this current and voltage, one pole alone"
AT_TAP = "a fuse at the tap, in both poles"
NONE_CLEARS = counted("devices that clear it", 0, "definition", Origin("loop of the fault place"))
ONE_CLEARS = counted("one at least", 1, "definition")
NO_DEVICE = "no device stands in this loop"
OWN_STRING = "the string's own current flows inside it, on the cells' side of fuse and contactors"


@formula(title="current of one of several equal paths", symbol="I_p", unit="A",
         text="I_p = I / n",
         inputs={"current": "I [A] of all paths", "paths": "n [] equal paths side by side"},
         basis="definition")
def path_current(current, paths):
    """What one of n equal paths carries.

    Examples:
        >>> path_current(9000.0, 3)
        3000.0
    """
    return current / paths


@formula(title="resistance left when a part is taken out", symbol="R", unit="mΩ",
         text="R = R_all − R_out",
         inputs={"whole": "R_all [mΩ] of the whole loop", "part": "R_out [mΩ] of the part"},
         basis="definition", valid="the part is in the whole")
def resistance_left(whole, part):
    """Resistance of a loop without one of its parts.

    Examples:
        >>> round(resistance_left(0.130, 0.006), 4)
        0.124
    """
    return whole - part


@formula(title="share of a run of modules", symbol="L_n", unit="µH", text="L_n = L_0 · n/S",
         inputs={"whole": "L_0 [µH] of all modules and links",
                 "modules": "n [] modules in the run",
                 "series": "S [] modules in series"},
         basis="definition", valid="modules and links alike")
def run_inductance(whole, modules, series):
    """Inductance of some of the modules in series.

    Examples:
        >>> round(run_inductance(8e-6, 4, 16) * 1e6, 6)
        2.0
    """
    return whole * modules / series


@formula(title="resistance of two loops side by side", symbol="R", unit="mΩ",
         text="R = R_1·R_2/(R_1 + R_2)",
         inputs={"first": "R_1 [mΩ] of one loop", "second": "R_2 [mΩ] of the other"},
         basis="definition", valid="both driven by the same voltage into one fault")
def side_by_side(first, second):
    """What two loops with one driving voltage are to the fault that both feed.

    Examples:
        >>> side_by_side(30.0, 60.0)
        20.0
    """
    return first * second / (first + second)


@formula(title="resistance of one cell of a module", symbol="R_1", unit="mΩ", text="R_1 = R_m/n",
         inputs={"module": "R_m [mΩ] of the module", "cells": "n [] of its cells in series"},
         basis="definition", valid="cells alike, the module's own links shared out among them",
         safe_side="high, for the lowest fault")
def cell_resistance(module, cells):
    """What one series element of a module adds to a loop.

    Examples:
        >>> round(cell_resistance(16.8, 6), 3)
        2.8
    """
    return module / cells


@formula(title="way from one end of a cell round to the other", symbol="R_w", unit="mΩ",
         text="R_w = R_1·(n − 1 + n/m)",
         inputs={"cell": "R_1 [mΩ] of one cell", "cells": "n [] cells in series of one module",
                 "beside": "m [] modules paralleled with its own at their ends"},
         basis="definition", valid="modules alike: what drives it is one cell's voltage",
         safe_side="high, for the lowest fault")
def way_round(cell, cells, beside):
    """Resistance of a module's other cells with the modules that stand beside it.

    Examples:
        >>> round(way_round(1.0, 8, 3), 4)
        9.6667
    """
    return cell * (cells - 1.0 + cells / beside)


@formula(title="resistance outside the modules for each of their cells", symbol="R_c", unit="mΩ",
         text="R_c = R_x/n",
         inputs={"external": "R_x [mΩ] of the loop outside the modules that feed it",
                 "cells": "n [] cells in series that feed it"},
         basis="definition", safe_side="high, few cells: the cells keep more voltage")
def drop_each(external, cells):
    """What a cell keeps, for each ampere of a fault that it feeds.

    Examples:
        >>> round(drop_each(9.0, 6), 3)
        1.5
    """
    return external / cells


@formula(title="current from which cells by themselves fall below their trip", symbol="I_v",
         unit="A", text="I_v = 1000·(U − n·U_t)/R",
         inputs={"voltage": "U [V] of the modules that feed, full",
                 "cells": "n [] cells in series of them",
                 "level": "U_t [V] of the trip on one cell",
                 "resistance": "R [mΩ] of these modules alone, at its least"},
         basis="definition", valid="modules alike; not above 0: always below it",
         safe_side="high: full, new and hot, first millisecond")
def falls_from(voltage, cells, level, resistance):
    """Above it their own resistance leaves them less than the level, whatever lies outside.

    Examples:
        >>> round(falls_from(400.0, 96, 2.5, 0.040), 1)
        4000.0
    """
    return (voltage - cells * level) / resistance


@value_object
class Device:
    """Something that stands in a loop and might end its current.

    Attributes:
        key: stable name, e.g. "main_fuse", "string_fuse", "branch_fuse.heater".
        name: in words.
        kind: FUSE, CONTACTOR, LIMIT or MONITOR (detects a first chassis fault).
        rating: rated current of a fuse or set current of a limit, where known.
        paths: equal devices side by side that share the highest current; at the lowest
            one of them carries it all.
        breaks: (voltage, time constant) that it must break here, where these are not those of
            the main path.
        sees: highest current through it where every source besides the modules passes it too;
            None where only the modules' current does.
        drop: for a trip on the lowest cell: resistance outside the modules for each cell that
            feeds the fault; None where the path's own check of that voltage holds.
        falls: for the same trip: current from which these cells fall below it by themselves;
            None where that is not known.
        constant: highest time constant of the loop; None counts that of the main path.
        setting: of the pack's current trip, where that follows the cells' temperature and the
            one that counts here is this loop's own.
    """

    key: str
    name: str
    kind: str
    rating: Finding | None = None
    paths: int = 1
    breaks: tuple[tuple[Finding, Finding], ...] = ()
    sees: Finding | None = None
    drop: Finding | None = None
    falls: Finding | None = None
    constant: Finding | None = None
    setting: Finding | None = None

    @property
    def untold(self) -> str:
        """Why every source together may give it more than is counted; empty where none may."""
        return self.sees.untold_more if self.sees is not None else ""

    @worked_once
    def constants(self) -> tuple[Any, ...]:
        """The time constants of its loop, each with what nobody told that may raise it."""
        own = self.constant
        return (own.value if own is not None else None, own.untold_more if own is not None else "",
                *[(voltage.value, constant.value, constant.untold_more)
                  for voltage, constant in self.breaks])

    @worked_once
    def signature(self) -> tuple[Any, ...]:
        """All that a sweep asks of it: equal ones do the same at every current."""
        figures = (self.sees, self.drop, self.falls, self.setting, self.rating)
        return (self.key, *[None if f is None else f.value for f in figures], self.paths,
                self.untold, *self.constants)

    @property
    def as_counted(self) -> Device:
        """The same as if what is counted of every source were the most of it."""
        return replace(self, sees=self.sees.called(note=self.sees.told_note)) \
            if self.sees is not None and self.untold else self

    @property
    def as_told(self) -> Device:
        """The same with what is told of the loop, too, taken for all of it."""
        held = self.constant
        constants = (*([held] if held is not None else []), *(t for _, t in self.breaks))
        if not self.untold and not any(t.untold_more for t in constants):
            return self
        return replace(
            self.as_counted, constant=held and held.called(note=held.told_note),
            breaks=tuple((u, t.called(note=t.told_note)) for u, t in self.breaks))


# Whether the device ends that current (None: not shown), in what time, and why.
Answer = tuple[bool | None, Finding | None, str]
Clearing = Callable[[Device, Finding], Answer]
# Of a fuse that may melt and not break, or a contactor that may be torn open, before another device
# has cleared: (whether its own sheet says so, why); None where it does not.
Spoilt = tuple[bool, str] | None
Spoiling = Callable[[Device, Finding, Finding | None], Spoilt]


def clearing_without_parts(device: Device, current: Finding) -> Answer:
    """What can be said of a device of which no data sheet is at hand.

    Args:
        device: in the loop.
        current: through the device.

    Returns:
        False only where the current cannot open it; otherwise None, with what to show.
    """
    if device.kind == CONTACTOR:
        return None, None, ("only on a named trip and within its breaking capacity, one pole at "
                            "this voltage: not shown")
    if device.kind == MONITOR:
        return None, None, ("its set point, time and what it switches are to be proven with a "
                            "known resistor: not shown")
    if device.kind == LIMIT:
        return None, None, "its own current limit: ask its maker what it feeds into a short-circuit"
    if device.rating is None or not device.rating.known:
        return None, None, "counted on only where it opens within 1 s; its rating is not chosen"
    if current.number <= device.rating.number:
        return False, None, (f"at or below the {device.rating.title}, {device.rating.shown}, it "
                             "never opens")
    return None, None, "counted on only if its curve shows that it opens within 1 s: not shown"


def spoils_nothing(device: Device, current: Finding, time: Finding | None) -> Spoilt:
    """No part is at hand: nobody is shown to clear, and there is nothing to spoil."""


@value_object
class Cleared:
    """Who ends one current of one place.

    Attributes:
        end: which current, in words ("highest", "lowest", BETWEEN, "from the charger").
        current: at the place; between the ends the worst one.
        device: name of the device, or NOBODY.
        clears: True, False, or None where it is not shown.
        time: where known.
        why: in words.
        span: between the ends: the currents of which that is said, in words.
        further: beside those of nobody: what is said of currents that are not shown.
    """

    end: str
    current: Finding
    device: str
    clears: bool | None
    time: Finding | None = None
    why: str = ""
    span: str = ""
    further: str = ""

    @property
    def spans(self) -> str:
        """The currents of which that is said, and the further ones that are not shown."""
        return "; ".join(filter(None, (self.span, self.further)))

    @property
    def words(self) -> str:
        """The answer for a table: device with time, `nobody`, or what is not shown."""
        at = f" {self.spans}" if self.span else ""
        if self.clears:
            return f"{self.device},{at}" if at else self.device
        if self.clears is None:
            return f"not shown{at}: {self.device}" if self.device else "not evaluated"
        return f"{NOBODY}{at}"


@value_object
class Gap:
    """Neighbouring currents of one place, ends included, that no device is shown to open.

    Attributes:
        low, high: in A.
        clears: False where nobody opens them, None where it is not shown.
        device: that is not shown; empty for nobody.
        why: in words.
        at_low, at_high: (device, why) at either end; None where they are those of the span.
    """

    low: float
    high: float
    clears: bool | None
    device: str = ""
    why: str = ""
    at_low: tuple[str, str] | None = None
    at_high: tuple[str, str] | None = None

    def told_at(self, current: float) -> tuple[str, str]:
        """(device, why) at a current of the span."""
        own = self.at_low if current <= self.low else self.at_high if current >= self.high \
            else None
        return own or (self.device, self.why)

    @property
    def span(self) -> str:
        return f"from {show(self.low, 'A')} to {show(self.high, 'A')}"


@value_object
class Between:
    """Every current of one place, swept from the lowest to the highest.

    Attributes:
        gaps: what nobody opens or is shown to open, rising.
        slowest, at, device: longest time of those that are opened, its current, and by whom;
            None where nothing is opened.
    """

    gaps: tuple[Gap, ...] = ()
    slowest: Finding | None = None
    at: Finding | None = None
    device: str = ""


@value_object
class Source:
    """Something besides the modules that feeds the place, with the device that ends it.

    Attributes:
        name, current: of the source.
        devices: that might end it.
        why: the reason while `devices` is empty.
        fades: whether it is spent in milliseconds, whoever acts.
        entry: of the brief, that would tell its current.
    """

    name: str
    current: Finding
    devices: tuple[Device, ...] = ()
    why: str = ""
    fades: bool = False
    entry: str = ""

    @property
    def asked(self) -> str:
        """Its name, with the entry that would tell its current."""
        return f"{self.name} ({self.entry})" if self.entry else self.name


@value_object
class Rival:
    """One of several loops that are told as one place, that of the worst answer.

    Attributes:
        name: by which the others are told apart from it.
        words: what stands before the list of all of them.
        highest: whether the largest current of them all is told as well.
        one_wire: whether they are one wire at several taps: each figure is the worst of them all.
    """

    name: str
    words: str
    highest: bool = False
    one_wire: bool = False


@value_object
class Loop:
    """One place before it is asked who clears it.

    Attributes:
        key, title: stable name; as printed.
        feeds: which part of the pack feeds it, in words.
        voltage: highest driving voltage.
        highest, lowest: currents of the battery side; may lack a value.
        all_sources: highest with every source added.
        inductance, time_constant: of its slowest loop.
        devices: in the loop, nearest to the fault first.
        sources: what feeds it besides the modules.
        inherent: covers and distance are the usual answer here, or a monitor that opens the
            contactors at a first fault: nobody is then a caution, elsewhere it is a failure.
        remedies: what exists, most effective first.
        notes: cautions of this place.
        why_nobody: the reason while `devices` is empty.
        shares: lowest current through one string's devices with two strings in, three, and so
            on, where less than one string gives alone; else empty.
        backward: devices that only the sources of the bus pass, against the modules' current;
            each `sees` their sum.
        own_wire: I²t that its own conductor stands until it melts, where that is a branch's or a
            charge cable's; without value nobody is shown to save it; None where none is held.
        sizes: whether the parts of the main path are sized for its lowest current.
        passed: what the current may pass besides, and nobody counts on here: a fuse that is not
            shown to break it may melt before a device has cleared, a charge contactor be torn open.
        rival: where all loops of this key are one place; else None.
        cables: names of the routes that its current runs through, or may.
        perhaps: keys of fuses of `passed` that may stand there: did they, covers would be no
            answer.
    """

    key: str
    title: str
    feeds: str
    voltage: Finding
    highest: Finding
    lowest: Finding
    all_sources: Finding
    inductance: Finding
    time_constant: Finding
    devices: tuple[Device, ...] = ()
    sources: tuple[Source, ...] = ()
    inherent: bool = False
    remedies: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    why_nobody: str = NO_DEVICE
    shares: tuple[Finding, ...] = ()
    backward: tuple[Device, ...] = ()
    own_wire: Finding | None = None
    sizes: bool = True
    passed: tuple[Device, ...] = ()
    rival: Rival | None = None
    cables: tuple[str, ...] = ()
    perhaps: tuple[str, ...] = ()

    @property
    def from_the_least(self) -> Loop:
        """The same from next to nothing on, where its lowest current is only known at most."""
        if not only_at_most(self.lowest):
            return self
        return replace(self, lowest=leaf(
            "any current that may be less than what is known at most", "I", "A",
            self.lowest.number * NEXT_TO_NOTHING, "definition"))

    @worked_once
    def asks_more(self) -> str:
        """What nobody told that may make more of all that is swept over it; else empty."""
        return self.highest.untold_more or self.time_constant.untold_more

    @property
    def fed_more(self) -> tuple[str, ...]:
        """Which sources of unknown current may drive a fuse further than is counted."""
        return tuple(source.name for source in self._fed_more)

    @property
    def _fed_more(self) -> tuple[Source, ...]:
        return tuple(source for source in self.sources if not source.current.known) if any(
            d.kind == FUSE and d.sees is not None for d in self.devices) else ()

    @property
    def may_burst(self) -> str:
        """The same in words, with what would tell them; empty where there is none."""
        more = " and ".join(source.asked for source in self._fed_more)
        return more and f"{more}, not known, may burst a fuse"

    @property
    def as_fused(self) -> Loop:
        """The same where somebody said that every fuse stands there which may."""
        there = tuple(d for d in self.passed if d.key in self.perhaps)
        return replace(self, devices=(*there, *self.devices), perhaps=(), inherent=False,
                       passed=tuple(d for d in self.passed if d not in there))

    def least(self, paths: int) -> float:
        """Lowest current through one of several equal paths while so many feed the fault, in A."""
        return (self.shares[paths - 2] if paths > 1 and self.shares else self.lowest).number

    @property
    def paths(self) -> int:
        """Most equal paths that feed it side by side, each through devices of its own."""
        return max((d.paths for d in self.devices), default=1)


@value_object
class FaultPlace:
    """One place with both ends of its current and who clears them.

    Attributes:
        loop: what was asked.
        at_highest, at_lowest: of the battery's current.
        others: one answer for every other source.
        between: of every current between the two; None where the ends say it all.
        gaps: what of these currents nobody ends or is shown to end, rising; empty where no part
            is at hand.
        rivals: the loops that are told as this one place, worst first; empty for one alone.
    """

    loop: Loop
    at_highest: Cleared
    at_lowest: Cleared
    others: tuple[Cleared, ...] = ()
    between: Cleared | None = None
    gaps: tuple[Gap, ...] = ()
    rivals: tuple[FaultPlace, ...] = ()

    @property
    def key(self) -> str:
        return self.loop.key

    @property
    def title(self) -> str:
        return self.loop.title

    @property
    def highest(self) -> Finding:
        return self.loop.all_sources

    @property
    def lowest(self) -> Finding:
        return self.loop.lowest

    @property
    def answers(self) -> tuple[Cleared, ...]:
        """Of the highest current, the lowest, and those between."""
        ends = (self.at_highest, self.at_lowest)
        return ends if self.between is None else (*ends, self.between)

    @property
    def nobody(self) -> bool:
        """Whether nobody clears some current from the lowest to the highest."""
        return any(one.clears is False for one in self.answers)

    @property
    def shown(self) -> bool:
        """Whether every current of the battery, from end to end, is shown to be cleared."""
        return all(one.clears for one in self.answers)

    @property
    def feeding_on(self) -> tuple[str, ...]:
        """What else feeds the place, lasts, and is not shown to be ended by anybody."""
        return tuple(source.name for source, one in zip(self.loop.sources, self.others,
                                                        strict=False)
                     if not one.clears and not source.fades)

    @property
    def remedies(self) -> tuple[str, ...]:
        """What exists where a current is not shown to be cleared; empty where all are."""
        return () if self.shown else self.loop.remedies

    @property
    def checks(self) -> tuple[Check, ...]:
        """One check for each answer, in stage "who clears"."""
        return tuple(_check(self, one) for one in self.answers)


Sweeping = Callable[[Loop], Between | None]


def not_swept(loop: Loop) -> None:
    """Nothing is said between the ends: no part is at hand."""


@value_object
class PlacesAsked:
    """Every loop of a layout, and who answers for the devices.

    Attributes:
        loops: in the order of the table.
        clearing: answers for one device at one current.
        sweeping: answers for a whole loop at every current from the lowest to the highest.
        spoiling: of a fuse of the loop that another device is counted on instead of.
    """

    loops: tuple[Loop, ...]
    clearing: Clearing = clearing_without_parts
    sweeping: Sweeping = not_swept
    spoiling: Spoiling = spoils_nothing


def fault_places(asked: PlacesAsked) -> tuple[FaultPlace, ...]:
    """Who clears what, at every place."""
    return tuple(_settled(loop, asked) for loop in asked.loops)


def _settled(loop: Loop, asked: PlacesAsked) -> FaultPlace:
    # Nothing is milder for not being told: where it fails with a fuse, it fails with one perhaps.
    if loop.inherent and any(d.key in loop.perhaps for d in loop.passed) \
            and _settled(loop.as_fused, asked).nobody:
        loop = replace(loop, inherent=False)
    others = tuple(_other(source, asked) for source in loop.sources)
    ends = (("highest", loop.highest), ("lowest", loop.lowest))
    high, low = (who_clears(end, current, loop.devices, asked.clearing, asked.spoiling,
                            loop.passed)
                 if loop.devices else
                 Cleared(end, current, NOBODY, False, None, loop.why_nobody)
                 for end, current in ends)
    swept = asked.sweeping(loop)
    if swept is None:
        return FaultPlace(loop, high, _bounded(low), others)
    return FaultPlace(loop, _as_swept(high, swept), _bounded(_as_swept(low, swept)), others,
                      _between(swept, high, low), swept.gaps)


def _bounded(low: Cleared) -> Cleared:
    """A lowest current that may be less than its value: what opens that need not open less."""
    if low.clears is False or not (low.current.known and only_at_most(low.current)):
        return low
    return replace(low, clears=None, time=None,
                   why=f"{low.why}, and it may be less: {low.current.note}")


def _as_swept(end: Cleared, swept: Between) -> Cleared:
    """An end that one device would clear, or might, were another not lost before it has."""
    if end.clears is False or not end.current.known:
        return end
    value = end.current.number
    gap = next((g for g in swept.gaps if g.low <= value <= g.high), None)
    if gap is None or gap.clears is end.clears:
        return end
    device, why = gap.told_at(value)
    return Cleared(end.end, end.current, device or NOBODY, gap.clears, None, why)


def _between(swept: Between, high: Cleared, low: Cleared) -> Cleared | None:
    """The gravest that is said of the currents between; None where the ends say it of all."""
    if not low.current.known or (len(swept.gaps) == 1 and high.words == low.words
                                 and swept.slowest is None):
        return None
    if not swept.gaps:
        if swept.slowest is None or swept.at is None:
            return None
        return Cleared(BETWEEN, swept.at, swept.device, True, swept.slowest,
                       span=f"slowest {swept.slowest.shown} at {swept.at.shown}")
    return left_between(swept.gaps)


def left_between(gaps: Sequence[Gap]) -> Cleared:
    """The gravest that is said of some currents, with the spans of all of which it is said."""
    grave = next((g for g in gaps if g.clears is False), gaps[0])
    at = leaf("current from which nobody is shown to clear", "I", "A", grave.low, "definition")
    why = gaps[0].why if len(gaps) == 1 else "; ".join(f"{g.span} {g.why}" for g in gaps)
    spans = {verdict: " and ".join(g.span for g in gaps if g.clears is verdict)
             for verdict in (False, None)}
    further = f"not shown {spans[None]}" if grave.clears is False and spans[None] else ""
    return Cleared(BETWEEN, at, grave.device or NOBODY, grave.clears, None, why,
                   spans[grave.clears], further)


def _other(source: Source, asked: PlacesAsked) -> Cleared:
    end = f"from the {source.name}"
    if source.devices:
        return who_clears(end, source.current, source.devices, asked.clearing, asked.spoiling)
    return Cleared(end, source.current, NOBODY, False, None,
                   source.why or "no device stands between it and the fault")


def who_clears(end: str, current: Finding, devices: tuple[Device, ...],
               clearing: Clearing, spoiling: Spoiling = spoils_nothing,
               passed: tuple[Device, ...] = ()) -> Cleared:
    """The device that ends a current, or nobody.

    Args:
        end: "highest" shares the current between equal paths; any other end does not.
        current: at the place.
        devices: that stand in the loop.
        clearing: answers for one device at one current.
        spoiling: of what may be lost in the fault before another device has cleared.
        passed: fuses and contactors that nobody counts on, and that may melt or open all the same.
    """
    if not devices:
        return Cleared(end, current, NOBODY, False, None, NO_DEVICE)
    if not current.known:
        return Cleared(end, current, "", None, None,
                       f"not evaluated: {current.note or 'its current is not known'}")
    answers = [(d, *_answer(d, end, current, clearing)) for d in devices]
    clear = [a for a in answers if a[1]]
    melting = [*_may_melt(answers, end, current), *((d, _seen(d, end, current)) for d in passed)]
    if clear:
        device, _, time, why = min(clear, key=_time_of)
        return _unless_spoilt(Cleared(end, current, device.name, True, time, why), [
            (d, at, spoiling(d, at, time)) for d, at in melting])
    open_ = [a for a in answers if a[1] is None]
    if open_:
        one = Cleared(end, current, either([a[0].name for a in open_]), None, None,
                      grounds([(d.name, why) for d, _, _, why in answers]))
        # Nor may anybody, behind a fuse that melts before and by its own sheet does not break.
        due = min(open_, key=_time_of)[2]
        lost = [(d, at, spoiling(d, at, due)) for d, at in melting]
        return _unless_spoilt(one, [told for told in lost if told[2] is not None and told[2][0]])
    return Cleared(end, current, NOBODY, False, None,
                   grounds([(d.name, why) for d, _, _, why in answers]))


def _may_melt(answers: Sequence[tuple[Device, bool | None, Finding | None, str]], end: str,
              current: Finding) -> list[tuple[Device, Finding]]:
    """The fuses that do not end a current, each with what melts it."""
    return [(d, _seen(d, end, current)) for d, ends, _, _ in answers
            if d.kind == FUSE and not ends]


def _unless_spoilt(one: Cleared, told: Sequence[tuple[Device, Finding, Spoilt]]) -> Cleared:
    """What a device clears, or may, unless a fuse melts before and leaves an arc in itself."""
    found = [(device, at, *spoilt) for device, at, spoilt in told if spoilt is not None]
    if not found:
        return one
    fails = any(surely for _, _, surely, _ in found)
    words = "; ".join((f"with every source, {at.shown}: " if at is device.sees else "")
                      + spoilt_words(device, surely, one.device, why)
                      for device, at, surely, why in found)
    return Cleared(one.end, one.current,
                   NOBODY if fails else either([device.name for device, _, _, _ in found]),
                   False if fails else None, None, words)


def spoilt_words(lost: Device, surely: bool, by: str, why: str) -> str:
    """Of a fuse that melts, or a contactor torn open, before another device has cleared."""
    if lost.kind == CONTACTOR:
        return (f"{lost.name} {'is' if surely else 'may be'} torn open before {by} could clear: "
                f"{why}")
    return f"{lost.name} {'melts' if surely else 'may melt'} before {by} could clear, and {why}"


def _seen(device: Device, end: str, current: Finding) -> Finding:
    """The current that melts a fuse: every source's where they all pass it."""
    return device.sees if end == "highest" and device.sees is not None \
        else _through(device, end, current)


def _answer(device: Device, end: str, current: Finding, clearing: Clearing) -> Answer:
    """A device that every source passes must end their sum, and the modules' current alone."""
    if end == "highest" and device.sees is not None:
        told = clearing(device, device.sees)
        if not told[0]:
            return told[0], told[1], f"with every source, {device.sees.shown}: {told[2]}"
    return clearing(device, _through(device, end, current))


def either(names: Sequence[str]) -> str:
    """Names of devices, each once; what is only another trip of one of them is left out."""
    kept = [n for n in names if not any(n.startswith(f"{other},") for other in names)]
    return " or ".join(dict.fromkeys(kept))


def grounds(told: Sequence[tuple[str, str]]) -> str:
    """Why each device does not clear; another trip of the same one is told where it differs."""
    return "; ".join(f"{name}: {why}" for name, why in told if not any(
        name.startswith(f"{other},") and why == same for other, same in told))


def place_words(one: Cleared) -> str:
    """Which currents an answer is of, as a sentence begins."""
    return "between the ends" if one.end == BETWEEN else f"at the {one.end} of"


def _time_of(answer) -> float:
    time = answer[2]
    return time.number if time is not None and time.known else float("inf")


def _through(device: Device, end: str, current: Finding) -> Finding:
    if device.paths == 1 or end != "highest":
        return current
    paths = leaf("equal paths side by side", "n", "", device.paths, "definition")
    return trace(path_current, f"current through one {device.name}", current=current, paths=paths)


FED_MORE = "in no sum, and may drive a fuse above what it breaks"


def _check(place: FaultPlace, one: Cleared) -> Check:
    whole = one.end == BETWEEN
    which = "every fault current between the ends" if whole else f"the {one.end} fault current"
    title = f"Who clears {which}: {place.title}"
    told = f"{one.words}; {one.why}" if one.why else one.words
    # Between the ends the span stands in the words.
    reason = told if whole else f"{one.current.shown}: {told}"
    if one.clears:
        held = judge(title, "who clears", one.time, "at most", COUNTED_ON, reason=reason,
                     missing=f"{reason}; its time is not known")
        open_ = "" if one.end == "lowest" else " and ".join(place.loop.fed_more)
        return held if not open_ or held.verdict != PASS else replace(
            held, verdict=CAUTION, reason=f"{reason}; {FED_MORE}: {open_}")
    remedy = "; ".join(place.loop.remedies)
    if one.clears is None:
        return Check(title, "who clears", NOT_EVALUATED, reason=reason, remedy=remedy)
    return Check(title, "who clears", CAUTION if place.loop.inherent else FAIL, NONE_CLEARS,
                 ONE_CLEARS, "at least", reason, remedy)


# -- topology: which devices stand in a chassis loop ----------------------------------------

POLE_FUSE, MIDDLE_FUSE = "fuse of the pole", "mid-pack fuse"


@value_object
class Pair:
    """Two chassis faults at once: where they are and what stands between them.

    Attributes:
        key, title: of the pair.
        fuse: which fuse stands in the loop wherever on its side the leak is: POLE_FUSE,
            MIDDLE_FUSE, or "" for none.
        contactor: whether one pole's contactor stands in it.
        remedies: what would put a device into the loop.
        one_side: whether both faults lie on one side of the mid-pack fuse.
    """

    key: str
    title: str
    fuse: str
    contactor: bool
    remedies: tuple[str, ...]
    one_side: bool = False

    @property
    def fused(self) -> bool:
        """Whether a fuse stands in the loop."""
        return bool(self.fuse)


def chassis_pairs(stands: str) -> tuple[Pair, ...]:
    """Every kind of double chassis fault for a place of the main fuse.

    A leak inside the pack and a chafed cable outside it close a loop through the chassis
    and the modules between the leak and that pole; a fuse counts only if it stands there.

    Args:
        stands: one of STANDS.
    """
    mid = "mid-pack" in stands
    poles = 2 if "both" in stands else 1 if "one" in stands else 0
    inside = (SPLIT if mid else MID_FUSE, ACTS, DOUBLE)
    pairs = []
    if poles:
        name = "chafed cable of either pole" if poles == 2 else "chafed cable of the fused pole"
        pairs.append(Pair("fused_pole", f"mid-pack leak and {name}", POLE_FUSE, True,
                          (TRIP, ACTS, DOUBLE)))
    if poles < 2:
        name = "the other pole" if poles else "a pole"
        rest = ((OTHER_POLE,) if poles else ("a fuse in each pole",)) + (TRIP, ACTS, DOUBLE)
        if mid:
            pairs.append(Pair("beyond_mid", f"leak beyond the mid-pack fuse and chafed cable of "
                              f"{name}", MIDDLE_FUSE, True, (TRIP, ACTS, DOUBLE)))
            pairs.append(Pair("own_side", f"leak between the mid-pack fuse and {name}, and chafed "
                              f"cable of {name}", "", True, rest, one_side=True))
        else:
            pairs.append(Pair("other_pole", f"mid-pack leak and chafed cable of {name}", "",
                              True, (OTHER_POLE, MID_FUSE, TRIP, ACTS, DOUBLE)))
    if mid:
        pairs.append(Pair("inside_across", "two leaks inside the box, one on each side of the "
                          "mid-pack fuse", MIDDLE_FUSE, False, (ACTS, DOUBLE)))
    pairs.append(Pair("inside", "two leaks inside the box" + (
        ", on one side of the mid-pack fuse" if mid else ""), "", False, inside, one_side=mid))
    return tuple(pairs)
