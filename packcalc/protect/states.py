"""Switching states: contactor positions, what proves each, how long it may take, what is live.

No contactor is closed before the others are shown not to be welded; none is opened before
the torque is at zero, except by a crash or a lost 12 V supply, which wait for nobody.
"""

from __future__ import annotations

from dataclasses import dataclass

from packcalc import transients as tr
from packcalc.brief import Brief
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, Check, Item, Requirement, judge
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace
from packcalc.pack import PackModel

TITLE = "Switching states and their proofs"
RULE = Origin("rule")
OPEN, CLOSED = "open", "closed"
CONTACTORS = ("main minus", "main plus", "pre-charge relay", "charge contactor")

BORDER = leaf("border of dangerous DC voltage", "v", "V", 60.0, "read", source="fmvss-305-2017")
CRASH_TIME = leaf("time after coming to rest in which a crashed vehicle must be isolated", "t", "s",
                  5.0, "read", source="fmvss-305-crash",
                  note="ISO 6469-4 counts 10 s from the impact when the car stops within 5 s")
HALF = leaf("share of the empty pack's voltage that tells a weld", "x", "%", 0.5, "assumed",
            source="packcalc-rule", origin=RULE)
SETTLE = leaf("time for a contact to move and a reading to settle", "t", "s", 0.5, "assumed",
              source="packcalc-rule", origin=RULE,
              note="our rule; the contactor's operate and release times plus two readings")

PACK_LIVE = "modules, links, sense wires and everything up to the open contactors"
BUS_LIVE = "everything: pack, link, inverter, every branch behind the main contactors"

NOTES = (
    "Battery and terminals up to the contactors are live in every state. Nothing switches a "
    "battery off.",
    "Weld check before each closing: with the contact open, voltage from its load side to the "
    "other pole of the battery must stay below the level. The pole that closes first is proven "
    "by the other being open; alternate which pole opens first, so that both are proven in turn.",
    "A link that is still charged looks like a weld: wait for it to fall, and count a fall that is "
    "too slow as a fault of the discharge path.",
    "Loss of the 12 V supply drops every contactor with no torque request first: each must break "
    "the largest load and the largest braking current by itself, and how often is on its data "
    "sheet. The motor may then drive the link up: see the over-voltage chain.",
    "Charging blocks the drive: torque stays off while the plug is in, told by the plug's contact.",
    "No level is trusted from one reading: battery, link and contact voltages are read by "
    "different channels and compared.",
    "After a weld, or an opening at more than the contactor's load figure, the contactor is "
    "replaced, not reset.",
)


@dataclass(frozen=True)
class StatesAsked:
    """What the states stand on.

    Attributes:
        brief, pack: what is asked, and the layout.
        highest: highest working voltage of the chain.
        precharge_time: slowest pre-charge to the level; None where it is never reached or
            not known.
        capacitance: of the whole bus, upper tolerance; None counts the DC link alone.
    """

    brief: Brief
    pack: PackModel
    highest: Finding
    precharge_time: Finding | None
    capacitance: Finding | None = None


@dataclass(frozen=True)
class State:
    """One switching state.

    Attributes:
        name: of the state.
        contactors: position of each of CONTACTORS.
        before: what must hold or happen before it is entered.
        point: where it is measured that the state is reached.
        relation: "below", "above" or words.
        level: what the reading is held against; None where the proof is in words.
        timeout: after which the state has failed; None where nobody said.
        failing: what happens then.
        live: what is live.
    """

    name: str
    contactors: tuple[str, str, str, str]
    before: str
    point: str
    relation: str
    level: Finding | None
    timeout: Finding | None
    failing: str
    live: str


@dataclass(frozen=True)
class StatesResult:
    """The table of states and everything held against it."""

    states: tuple[State, ...]
    item: Item

    def state(self, name: str) -> State:
        """The state of that name."""
        return next(s for s in self.states if s.name == name)


def study_states(asked: StatesAsked) -> StatesResult:
    """States, their proofs and the checks of their times."""
    states = _states(asked)
    fall = _fall(asked, BORDER)
    duty = [weld_level(asked), asked.brief.precharge.timeout]
    duty += [f for f in (asked.precharge_time, fall, _crash_time(asked)) if f is not None]
    item = Item(
        key="switching", title=TITLE,
        governing="no closing onto a weld, no opening under torque, nothing left live by a crash",
        duty=tuple(duty), specification=_specification(asked), open_items=_open_items(asked),
        notes=(*NOTES, *_strings_note(asked)), checks=_checks(asked))
    return StatesResult(states, item)


def weld_level(asked: StatesAsked) -> Finding:
    """Voltage over an open contact's far side that tells a weld: 60 V, less for a low pack."""
    half = trace(tr.share_of_voltage, "half of the empty pack's voltage",
                 voltage=asked.pack.empty_voltage, share=HALF)
    return smallest([BORDER, half], "level of the weld check")


def _capacitance(asked: StatesAsked) -> Finding:
    if asked.capacitance is not None:
        return asked.capacitance
    link = asked.brief.inverter
    return trace(tr.largest_capacitance, capacitance=link.dc_link_capacitance,
                 tolerance=link.dc_link_tolerance)


def _fall(asked: StatesAsked, end: Finding) -> Finding | None:
    """Time for the link to fall to a voltage through its own resistor."""
    resistance = asked.brief.inverter.discharge_resistance
    if not resistance.known or asked.highest.number <= end.number:
        return None
    return trace(tr.discharge_time, f"time for the link to fall to {end.shown}",
                 resistance=resistance, capacitance=_capacitance(asked), voltage=asked.highest,
                 end=end)


# --- the table ------------------------------------------------------------------------

def _states(asked: StatesAsked) -> tuple[State, ...]:
    return (*_starting(asked), *_working(asked), *_ending(asked))


def _starting(asked: StatesAsked) -> tuple[State, ...]:
    level, pre = weld_level(asked), asked.brief.precharge
    target = trace(tr.share_of_voltage, "level of the link for closing main plus, at the lowest "
                   "battery voltage", voltage=asked.pack.rest_low_voltage, share=pre.level,
                   note="scaled with the measured battery voltage")
    return (
        State("off", (OPEN, OPEN, OPEN, OPEN), "torque at zero, contactors told to open",
              "DC link, plus to minus", "below", BORDER, _fall(asked, BORDER),
              "discharge path or a weld: lock out, warn, prove dead by meter", PACK_LIVE),
        State("wake", (OPEN, OPEN, OPEN, OPEN),
              "cells within limits, isolation reading above its warning, interlock closed",
              "load side of each main contact to the other battery pole (weld check)", "below",
              level, _fall(asked, level),
              "a contact is welded or the link still charged: no closing", PACK_LIVE),
        State("first pole", (CLOSED, OPEN, OPEN, OPEN), "both weld checks passed",
              "DC link, plus to minus: must not rise", "below", level, SETTLE,
              "main plus or pre-charge relay is welded: open main minus",
              f"{PACK_LIVE}; the minus pole of link and inverter"),
        State("pre-charge", (CLOSED, OPEN, CLOSED, OPEN), "link did not rise with one pole closed",
              "DC link against battery, and its slope", "above", target, pre.timeout,
              "open relay, then main minus; wait until the resistor is cold; "
              f"{pre.tries.number:g} tries, then lock out", BUS_LIVE),
    )


def _working(asked: StatesAsked) -> tuple[State, ...]:
    left = trace(tr.closing_difference, "voltage across main plus before it closes",
                 voltage=asked.highest, level=asked.brief.precharge.level)
    return (
        State("run", (CLOSED, CLOSED, OPEN, OPEN), "level and slope of pre-charge both reached",
              "across main plus, battery side to load side", "below", left, SETTLE,
              "contact did not close: torque stays off, back to off", BUS_LIVE),
        State("charge", (CLOSED, CLOSED, OPEN, CLOSED),
              "plug in and locked, earth proven, torque blocked, weld check of the charge "
              "contactor", "inlet, plus to minus, against battery", "below", asked.highest, SETTLE,
              "charger off first, then charge contactor, then main contactors",
              f"{BUS_LIVE}; inlet and charge cable"),
    )


def _ending(asked: StatesAsked) -> tuple[State, ...]:
    own, link = asked.brief.management, asked.brief.inverter
    torque = _known(link.torque_zero_time)
    return (
        State("fault", (OPEN, OPEN, OPEN, OPEN),
              "torque to zero and charger off, then open; an over-current trip opens at its own "
              "delay, only within what the contactors break", "DC link, plus to minus", "below",
              BORDER, _known(own.trip_delay), "a contact is welded: the fuse is all that is left; "
              "warn, stop, leave the vehicle", PACK_LIVE),
        State("crash", (OPEN, OPEN, OPEN, OPEN),
              "nothing: the crash signal opens the coils' supply by wire",
              "DC link, plus to minus", "below", BORDER, CRASH_TIME,
              "not isolated: responders' sheet, cut loop, treat as live", PACK_LIVE),
        State("key off under load", (OPEN, OPEN, OPEN, OPEN),
              "torque to zero first; current below what the contactors open every day",
              "battery current, then DC link", "below", BORDER, torque,
              "open all the same, count the opening under load", PACK_LIVE),
        State("loss of 12 V", (OPEN, OPEN, OPEN, OPEN),
              "nothing can come before: springs open the contacts",
              "weld check at the next wake", "below", weld_level(asked), SETTLE,
              "welded contacts: no wake", PACK_LIVE),
    )


def _known(finding: Finding) -> Finding | None:
    return finding if finding.known else None


# --- checks ---------------------------------------------------------------------------

def _checks(asked: StatesAsked) -> tuple[Check, ...]:
    return (_precharge_check(asked), _torque_check(asked), _crash_check(asked),
            _crash_link_check(asked), _weld_wait_check(asked), _lost_supply_check(asked))


def _precharge_check(asked: StatesAsked) -> Check:
    return judge("pre-charge ends before its timeout in the slow corner", "who clears",
                 asked.precharge_time, "below", asked.brief.precharge.timeout,
                 missing="the level is never reached or its time not known: see pre-charge",
                 remedy="a longer timeout that the resistor bears, or a smaller resistance")


def _torque_check(asked: StatesAsked) -> Check:
    title = "torque is at zero before a fault opens the contactors"
    own, link = asked.brief.management, asked.brief.inverter
    missing = [f.title for f in (link.torque_zero_time, own.trip_delay) if not f.known]
    held = judge(title, "who clears", link.torque_zero_time, "at most", own.trip_delay,
                 missing="say " + "; ".join(missing))
    if held.verdict == FAIL:
        return Check(title, "who clears", CAUTION, held.figure, held.demand, held.relation,
                     "the contactors open under load or braking: each opening wears them, and "
                     "braking then drives the link up",
                     "a quicker torque shut-down, or a longer delay where the fault allows")
    return held


def _crash_check(asked: StatesAsked) -> Check:
    return judge("a crash opens the contactors in time", "who clears",
                 asked.brief.management.crash_open_time, "at most", CRASH_TIME,
                 missing="say the time from crash signal to open contactors; with no crash signal "
                         "nobody opens them",
                 remedy="a crash switch wired into the coils' supply")


def _crash_time(asked: StatesAsked) -> Finding | None:
    opening, fall = asked.brief.management.crash_open_time, _fall(asked, BORDER)
    if not opening.known or fall is None:
        return None
    return trace(tr.sum_of_times, "from a crash to a link below 60 V", first=opening, second=fall)


def _crash_link_check(asked: StatesAsked) -> Check:
    title = "link is below 60 V in time after a crash"
    held = judge(title, "isolation and distance", _crash_time(asked), "at most", CRASH_TIME,
                 missing="say the time to open after a crash and the resistor across the link")
    if held.verdict == FAIL:
        return Check(title, held.stage, CAUTION, held.figure, held.demand, held.relation,
                     "the low-voltage way is closed: isolation resistance or unbroken barriers "
                     "must protect after a crash", "an active discharge, or a smaller resistor")
    return held


def _weld_wait_check(asked: StatesAsked) -> Check:
    title = "weld check can tell a weld from a charged link"
    fall = _fall(asked, weld_level(asked))
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
    return judge("contactors break the largest load when the 12 V supply is lost", "who clears",
                 None, "at least", load,
                 missing=f"ask the contactor's maker: {load.shown} in both directions at "
                         f"{asked.highest.shown}, how many times",
                 remedy="hold-up of the 12 V supply until torque is at zero")


# --- words ----------------------------------------------------------------------------

def _specification(asked: StatesAsked) -> tuple[Requirement, ...]:
    return (
        Requirement("voltage channels", "battery, link, load side of each main contact to the "
                    "other pole, inlet", "each contact is proven by a voltage across it"),
        Requirement("weld check level", f"below {weld_level(asked).shown}",
                    "before each closing, both poles"),
        Requirement("pre-charge timeout", asked.brief.precharge.timeout.shown,
                    f"{asked.brief.precharge.tries.number:g} tries, then lock-out"),
        Requirement("coils", "normally open, dropped by wire by interlock, emergency stop and "
                    "crash switch", "no program stands between"),
        Requirement("crash to open contactors", f"at most {CRASH_TIME.shown}", CRASH_TIME.note),
    )


def _open_items(asked: StatesAsked) -> tuple[str, ...]:
    own, link = asked.brief.management, asked.brief.inverter
    wanted = (link.torque_zero_time, own.crash_open_time, link.discharge_resistance, own.trip_delay)
    return tuple(f"{f.title}: say it in the brief" for f in wanted if not f.known)


def _strings_note(asked: StatesAsked) -> tuple[str, ...]:
    if asked.pack.layout.arrangement != "strings":
        return ()
    return ("Each string has main contactors of its own: a string is closed onto the bus only "
            "when its voltage is within the allowed difference of the others, and the weld check "
            "is made string by string with the bus at rest.",)
