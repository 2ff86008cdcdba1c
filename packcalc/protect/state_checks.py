"""What the switching sequence is asked, its times, and the checks it must pass.

`packcalc.protect.states` writes the table of states and their proofs from it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from packcalc import transients as tr
from packcalc.brief import Brief
from packcalc.brief_keys import CHARGE_CONTACTOR_CHOICES, TAP_CHOICES
from packcalc.charging import BLEED_OPEN, TIMEOUT_OPEN
from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, PASS, Check, by_the_unnamed, judge, on_an_open_entry,
)
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace, with_more
from packcalc.pack import PackModel
from packcalc.part_checks.shown import counted, never_above, voltage_check
from packcalc.parts import CONTACTOR, RESISTOR, ResistorPart
from packcalc.value import replace, value_object

RULE = Origin("rule")
NONE, ONE, BOTH = CHARGE_CONTACTOR_CHOICES
BUS = TAP_CHOICES[2]
MAIN = re.compile(r"\bmain (?=minus|plus|contact)")
BORDER = leaf("border of dangerous DC voltage", "v", "V", 60.0, "read", source="fmvss-305-2017")
CRASH_TIME = leaf("time after coming to rest in which a crashed vehicle must be isolated", "t", "s",
                  5.0, "read", source="fmvss-305-crash",
                  note="ISO 6469-4 counts 10 s from the impact when the car stops within 5 s")
HALF = leaf("share of the empty pack's voltage that tells a weld", "x", "%", 0.5, "assumed",
            source="packcalc-rule", origin=RULE)
NO_CONTACTOR = counted("none between", 0, "definition", RULE)
NO_RESISTOR = ("no pre-charge resistor is named, and the first of the list is counted: name it "
               "(parts.resistor)")
LATE = "short that begins once the coils have dropped"
ASK_SHORTEST = ("ask the contactor's maker for its shortest opening time with this coil "
                "suppression: what it meets by then it must break")
APART = "a short at the same moment is held apart: see contactors opened untimed"
STRING_MONITOR = ("a reading of each string on its cells' side of its contactors before it is "
                  "closed: by the management system's two voltage readings, or a monitor switched "
                  "to one string after the other; only one monitor may measure at a time")


def resistor_open(brief: Brief) -> str:
    """Why another pre-charge resistor may be fitted than the one counted; empty where none may."""
    parts = brief.parts
    if not parts.resistor:
        return NO_RESISTOR
    fitted = parts.list.part(RESISTOR, parts.resistor)
    return "" if isinstance(fitted, ResistorPart) and fitted.resistance is not None else \
        f"the list does not say the resistance of {parts.resistor}, and a preferred value is " \
        "counted: ask its maker"


@value_object
class Untimed:
    """Contactors of one path that open with no delay while a short flows.

    Attributes:
        path: which path, in words; empty where there is one alone.
        breaks: what one breaks, the weaker direction; None where its sheet does not show it.
        left: largest current that the fuse has not cleared when the contact parts.
        hold: time in which the fuse clears what the contactor breaks at most; None where it is
            not shown to.
        highest: highest fault of the path.
        open: why a fuse or contactor of it shows nothing: nobody named it; empty where all are.
    """

    path: str
    breaks: Finding | None
    left: Finding
    hold: Finding | None
    highest: Finding
    open: str = ""


@value_object
class StatesAsked:
    """What the states stand on.

    Attributes:
        brief, pack: what is asked, and the layout.
        highest: highest working voltage of the chain.
        precharge_time: slowest pre-charge to the level; None where it is never reached or
            not known.
        capacitance: of the whole bus, upper tolerance; None counts the DC link alone.
        breaks: current that a main contactor breaks in both directions at that voltage; None
            where its sheet does not say so.
        untimed: one for each path whose contactors a lost supply drops.
        joining: of strings, largest measured difference at which one may be joined; None where
            none permits it.
    """

    brief: Brief
    pack: PackModel
    highest: Finding
    precharge_time: Finding | None
    capacitance: Finding | None = None
    breaks: Finding | None = None
    untimed: tuple[Untimed, ...] = ()
    joining: Finding | None = None


def rests_below(asked: StatesAsked) -> bool:
    """Whether the pack can rest below the border: a link below it then shows no open contact."""
    return asked.pack.empty_voltage.number < BORDER.number


def dead_level(asked: StatesAsked) -> Finding:
    """Below which a link shows that the contacts have opened, and is no danger."""
    return weld_level(asked) if rests_below(asked) else BORDER


def inlet_reading(asked: StatesAsked) -> str:
    """How a weld of the charge contactor is read; what hangs on a dead bus reads nothing."""
    which = {BOTH: "each inlet pole", ONE: "the inlet pole that it cuts off"}[
        asked.brief.path.charge_contactor]
    return f"{which} to the other bus pole, bus live, below {weld_level(asked).shown}"


def weld_level(asked: StatesAsked) -> Finding:
    """Voltage over an open contact's far side that tells a weld: 60 V, less for a low pack."""
    half = trace(tr.share_of_voltage, "half of the empty pack's voltage",
                 voltage=asked.pack.empty_voltage, share=HALF)
    return smallest([BORDER, half], "level of the weld check")


def capacitance_of(asked: StatesAsked) -> Finding:
    if asked.capacitance is not None:
        return asked.capacitance
    link = asked.brief.inverter
    return trace(tr.largest_capacitance, capacitance=link.dc_link_capacitance,
                 tolerance=link.dc_link_tolerance)


def fall_to(asked: StatesAsked, end: Finding) -> Finding | None:
    """Time for the link to fall to a voltage through its own resistor."""
    if asked.highest.number <= end.number:
        return leaf(f"time for the link to fall to {end.shown}", "t", "s", 0.0, "definition",
                    origin=RULE, note="never above it")
    if not asked.brief.inverter.discharge_resistance.known:
        return None
    held = capacitance_of(asked)
    return with_more(trace(
        tr.discharge_time, f"time for the link to fall to {end.shown}",
        resistance=_slowest_resistor(asked), capacitance=held, voltage=asked.highest, end=end),
        held.untold_more)


def _slowest_resistor(asked: StatesAsked) -> Finding:
    link = asked.brief.inverter
    return trace(tr.largest_resistance, "discharge resistor, upper tolerance", unit="kΩ",
                 resistance=link.discharge_resistance, tolerance=link.discharge_tolerance)


def hold_time(asked: StatesAsked) -> Finding | None:
    """Time in which a link behind an open main contact falls by the closing difference."""
    if not asked.brief.inverter.discharge_resistance.known:
        return None
    level = trace(tr.share_of_voltage, "link voltage that an open main contact falls to",
                  voltage=asked.highest, share=asked.brief.precharge.level)
    held = capacitance_of(asked)
    return with_more(trace(
        tr.discharge_time, "time until an open main contact shows by the link's fall",
        resistance=_slowest_resistor(asked), capacitance=held, voltage=asked.highest, end=level,
        note="relay open, nothing drawing; a load only makes it quicker"), held.untold_more)


def checks_of(asked: StatesAsked) -> tuple[Check, ...]:
    return (_precharge_check(asked), _closed_check(asked), _torque_check(asked),
            _crash_check(asked), _crash_link_check(asked), _weld_wait_check(asked),
            _lost_supply_check(asked), *(_untimed_check(one) for one in asked.untimed),
            *(_late_check(one) for one in asked.untimed),
            *_monitor_sees(asked), _inlet_check(asked))


def _precharge_check(asked: StatesAsked) -> Check:
    time = asked.precharge_time
    held = judge("pre-charge ends before its timeout in the slow corner", "who clears",
                 time, "below", asked.brief.precharge.timeout,
                 missing="the level is never reached or its time not known: see pre-charge",
                 remedy="a longer timeout that the resistor bears, or a smaller resistance")
    for why in _slower(asked):
        held = on_an_open_entry(held, why)
    held = _timed_out(asked, held)
    if time is None or not time.at_least or held.verdict == FAIL:
        return held
    return replace(held, verdict=NOT_EVALUATED, reason=f"{time.note}: see pre-charge", remedy="")


def _slower(asked: StatesAsked) -> Iterator[str]:
    """What nobody told that may make the pre-charge slower than is counted."""
    brief = asked.brief
    if not brief.inverter.discharge_resistance.known:
        yield BLEED_OPEN
    if capacitance_of(asked).untold_more:
        yield capacitance_of(asked).untold_more


def _timed_out(asked: StatesAsked, held: Check) -> Check:
    """A check against the timeout, which counts long where it is left open."""
    return on_an_open_entry(held, TIMEOUT_OPEN) \
        if asked.brief.left_open("precharge.timeout") else held


def _closed_check(asked: StatesAsked) -> Check:
    """Before any current flows, open and closed read the same across a contact."""
    title = "a main contact that stayed open is told before torque is allowed"
    limit = asked.brief.precharge.timeout
    ask = "fit an auxiliary contact on each main contactor, and read it"
    hold = hold_time(asked)
    if hold is None:
        return Check(title, "who clears", NOT_EVALUATED, None, limit, "at most",
                     "across a charged link open and closed read the same, and how fast the link "
                     f"would fall is not known: say inverter.discharge_resistance, or {ask}", ask)
    held = _timed_out(asked, judge(title, "who clears", hold, "at most", limit,
                                   reason="by the link's fall once the relay is open again"))
    if held.verdict == FAIL:
        return replace(held, verdict=CAUTION, reason="the link falls too slowly to tell in the "
                       "time-out: voltage across the contact cannot tell it either", remedy=ask)
    return held


def _torque_check(asked: StatesAsked) -> Check:
    title = "torque is at zero before a fault opens the contactors"
    zero = asked.brief.inverter.torque_zero_time
    # A trip of which nobody said how soon it opens may open at once.
    open_ = [f"{delay.title} ({delay.origin and delay.origin.key})"
             for named, delay in _trip_delays(asked) if named and not delay.known]
    held = judge(title, "who clears", zero, "at most", _soonest_trip(asked),
                 missing="say " + "; ".join([*[zero.title] * (not zero.known), *open_]))
    if held.verdict == PASS and open_:
        return on_an_open_entry(held, f"say {'; '.join(open_)}")
    if held.verdict == FAIL:
        return Check(title, "who clears", CAUTION, held.figure, held.demand, held.relation,
                     "the contactors open under load or braking: each opening wears them, and "
                     "braking then drives the link up",
                     "a quicker torque shut-down, or a longer delay where the fault allows")
    return held


def _soonest_trip(asked: StatesAsked) -> Finding | None:
    """Least delay of every trip that opens under load; a lost supply and a crash wait for none."""
    known = [delay for _, delay in _trip_delays(asked) if delay.known]
    return smallest(known, "least delay of the trips that open under load") if known else None


def _trip_delays(asked: StatesAsked) -> tuple[tuple[bool, Finding], ...]:
    """(whether such a trip is named, its delay); one of the pack's own current always is."""
    own, strings = asked.brief.management, asked.brief.strings
    found = ((True, own.trip_delay),
             (own.undervoltage_trip.known or own.overvoltage_trip.known, own.voltage_delay),
             (own.overload_trip.known, own.overload_delay))
    return found if not asked.pack.layout.in_strings else (
        *found, (strings.trip_current.known, strings.trip_delay))


def _crash_check(asked: StatesAsked) -> Check:
    return judge("a crash opens the contactors in time, no fault present", "who clears",
                 asked.brief.management.crash_open_time, "at most", CRASH_TIME,
                 reason=APART,
                 missing="say the time from crash signal to open contactors; with no crash signal "
                         "nobody opens them",
                 remedy="a crash switch wired into the coils' supply")


def crash_time(asked: StatesAsked) -> Finding | None:
    opening, fall = asked.brief.management.crash_open_time, fall_to(asked, BORDER)
    if not opening.known or fall is None:
        return None
    return trace(tr.sum_of_times, "from a crash to a link below 60 V", first=opening, second=fall)


def _crash_link_check(asked: StatesAsked) -> Check:
    title, stage = "link is below 60 V in time after a crash", "isolation and distance"
    if asked.highest.number <= BORDER.number:
        return never_above(title, stage, asked.highest, BORDER)
    held = judge(title, stage, _crash_fall(asked), "at most", CRASH_TIME,
                 missing="say the time to open after a crash and the resistor across the link")
    if held.verdict == FAIL:
        return Check(title, held.stage, CAUTION, held.figure, held.demand, held.relation,
                     f"the proof of the crash state, below {BORDER.shown} within "
                     f"{CRASH_TIME.shown}, can never be met: the low-voltage way is closed, and "
                     "isolation resistance or unbroken barriers must protect after a crash",
                     "an active discharge, or a smaller resistor")
    return held


def _crash_fall(asked: StatesAsked) -> Finding | None:
    """From a crash to a safe link; its fall alone where that is too long whoever opens."""
    fall = fall_to(asked, BORDER)
    alone = fall if fall is not None and fall.number > CRASH_TIME.number else None
    return crash_time(asked) or alone


def crash_failing(asked: StatesAsked) -> str:
    """What a missing proof means; one that the link's own resistor can never give says so."""
    needs = _crash_fall(asked)
    never = "" if needs is None or needs.number <= CRASH_TIME.number else (
        f"CAUTION, never met by the link's own resistor, which takes {needs.shown}: ")
    return f"{never}not isolated: responders' sheet, cut loop, treat as live"


def _weld_wait_check(asked: StatesAsked) -> Check:
    title = "weld check can tell a weld from a charged link"
    fall = fall_to(asked, weld_level(asked))
    if fall is None:
        return Check(title, "who clears", NOT_EVALUATED, demand=weld_level(asked),
                     reason="without a discharge path the link stays charged for minutes and "
                            "every restart looks like a weld: say the resistor across the link")
    waits = leaf("time that a driver waits for a restart", "t", "s", 30.0, "assumed",
                 source="packcalc-rule", origin=RULE)
    held = judge(title, "who clears", fall, "at most", waits)
    if held.verdict == FAIL:
        return Check(title, "who clears", CAUTION, fall, waits, "at most",
                     "a restart must wait that long, or the check must compare battery and link "
                     "instead", "a smaller discharge resistor, or an active discharge")
    return held


def _lost_supply_check(asked: StatesAsked) -> Check:
    load = largest([asked.pack.peak_current, asked.pack.regeneration_current,
                    asked.pack.charging_current], "largest current that a lost 12 V supply breaks")
    title = "contactors break the largest load, no fault present, when the 12 V supply is lost"
    return judge(title, "who clears", asked.breaks, "at least", load,
                 reason=f"how many times is on the contactor's data sheet; {APART}",
                 missing=f"ask the contactor's maker: {load.shown} in both directions at "
                         f"{asked.highest.shown}, how many times",
                 remedy="hold-up of the 12 V supply until torque is at zero")


def _untimed_check(one: Untimed) -> Check:
    """A coil that drops with no delay against the fuse, which may not have cleared yet."""
    title = "contactors opened untimed during a short" + (f", {one.path}" if one.path else "")
    remedy = "; ".join(words for words in (
        f"hold up the coils' supply for at least {one.hold.shown}, in which the fuse clears what "
        "the contactor breaks at most" if one.hold is not None else "",
        "a faster or smaller fuse", "a contactor that breaks more, in both directions") if words)
    # What breaks the highest fault may part as soon as it will.
    every = one.breaks is not None and one.highest.known \
        and one.breaks.number >= one.highest.number
    left = one.highest if every and one.left.known else one.left
    held = judge(title, "who clears", one.breaks, "at least", left,
                 missing=left.note if not left.known else
                 f"ask the contactor's maker: {left.shown} in both directions", remedy=remedy)
    if held.verdict == CAUTION and not one.open:
        return replace(held, remedy=f"{ASK_SHORTEST}; {remedy}")
    if held.verdict != FAIL:
        return by_the_unnamed(held, one.open)
    return by_the_unnamed(replace(held, verdict=CAUTION, reason=(
        "lost 12 V supply, emergency stop or crash: the contact parts before the fuse has "
        f"cleared, and from {held.figure.shown} to {held.demand.shown} it is torn open in an arc "
        "that it is not shown to put out")), one.open)


def _late_check(one: Untimed) -> Check:
    """A short that begins while the contacts part: no time of the fuse lies behind it."""
    title = LATE + (f", {one.path}" if one.path else "")
    ask = ("the contactor's maker: opening into the highest fault with this fuse in series, in "
           "both directions")
    held = judge(title, "who clears", one.breaks, "at least", one.highest,
                 missing=f"ask {ask}" if one.highest.known else "highest fault is not known",
                 reason="it breaks the highest fault by itself")
    if held.verdict != FAIL:
        return held
    return replace(held, verdict=NOT_EVALUATED, remedy=f"ask {ask}", reason=(
        f"above {held.figure.shown} only the fuse ends it, and the contact is torn open in the "
        "fault until it has: whether the contactor holds that arc is on no sheet"))


def late_words(asked: StatesAsked) -> str:
    """What is said of that short in the table of states."""
    verdicts = {_late_check(one).verdict for one in asked.untimed}
    told = "not evaluated, see the checks" if verdicts - {PASS} or not verdicts else \
        "within what the contactors break"
    return f"{LATE}: {told}"


def _monitor_sees(asked: StatesAsked) -> tuple[Check, ...]:
    """Before closing the isolation reading must be that of the cells, not of a dead bus."""
    taps = [b for b in asked.brief.branch if b.kind == "monitor"]
    told = taps and asked.brief.left_open("path.insulation_monitor")
    if asked.brief.path.insulation_monitor == "none" and not told:
        return ()
    title, stage = "insulation monitor sees the battery before the contactors close", "who clears"
    strung = asked.pack.layout.in_strings
    if not taps:
        return (Check(title, stage, NOT_EVALUATED,
                      reason="where it is tapped is not described, and the state wake demands its "
                             "reading", remedy='add a [[branch]] with kind = "monitor" and taps'),)
    # Strings join behind their contactors: no tap of the main circuit lies before these.
    behind = counted("contactors between the monitor's tap and the cells",
                     min(int(strung or b.taps == BUS) for b in taps), "given",
                     taps[0].length.origin)
    held = judge(title, stage, behind, "at most", NO_CONTACTOR,
                 reason="the state wake demands its reading while every contactor is open",
                 remedy=STRING_MONITOR if strung else "tap it between the cells and the contactors")
    if held.verdict == PASS and all(b.taps == BUS or asked.brief.taps_open(b) for b in taps):
        held = on_an_open_entry(held, "where it is tapped is left open: say its taps")
    if held.verdict != FAIL:
        return (held,)
    whose = "string contactors" if strung else "main contactors"
    return (replace(held, verdict=CAUTION, reason=(
        f"it is tapped behind the {whose}: while they are open it reads the bus alone, and a "
        "leak of the cells shows only after closing; the state wake demands its reading before")),)


OPEN_CONTACTOR = "; left open, and counted as none here alone, our assumption"


def _inlet_check(asked: StatesAsked) -> Check:
    title, stage = "charge inlet is dead in every state but charge", "isolation and distance"
    poles = asked.brief.path.charge_contactor
    ask = ("a charge contactor in both poles, closed only to charge and proven open by its weld "
           "check with the bus live; without it contacts that no finger can reach, and a lock, see "
           "the insulation")
    named = asked.brief.parts.charge_contactor
    if poles == BOTH and named:
        held = voltage_check(asked.brief.parts.list.part(CONTACTOR, named), asked.highest, title)
        return replace(held, stage=stage, reason="; ".join(w for w in (
            held.reason, f"{named} in both poles, each alone; proven open at each run and before "
            f"each charge by its weld check: {inlet_reading(asked)}") if w))
    if poles == BOTH:
        return Check(title, stage, NOT_EVALUATED, reason="by the brief a charge contactor in both "
                     "poles cuts it off; no part is named for it: ask its maker for the voltage "
                     "that each pole holds off open and breaks, in both directions",
                     remedy="each pole alone rated above the highest working voltage")
    return Check(title, stage, CAUTION, reason={
        NONE: "no charge contactor is stated: the inlet is live whenever the main contactors are "
              "closed, in the drive as well, and while the link is still charged"
              + (OPEN_CONTACTOR if asked.brief.left_open("path.charge_contactor") else ""),
        ONE: "one pole of it stays joined to the bus whenever the main contactors are closed: a "
             "first fault to the chassis, or one weld, makes the inlet dangerous"}[poles],
        remedy=ask)
