"""Switching states: contactor positions, what proves each, how long it may take, what is live.

No contactor is closed before the others are shown not to be welded; none is opened before
the torque is at zero, except by a crash or a lost 12 V supply, which wait for nobody.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Any, TypeVar

from packcalc import transients as tr
from packcalc.brief import Brief
from packcalc.brief_keys import CHARGERS
from packcalc.checks import Item, Requirement
from packcalc.findings import Finding, formula, largest, leaf, trace
from packcalc.pack import PackModel
from packcalc.part_checks.limits import closing_bar
from packcalc.protect.branch_figures import branch_load
from packcalc.protect.state_checks import (
    BORDER,
    BOTH,
    CRASH_TIME,
    MAIN,
    NONE,
    ONE,
    RULE,
    StatesAsked,
    capacitance_of,
    checks_of,
    crash_failing,
    crash_time,
    dead_level,
    fall_to,
    hold_time,
    inlet_reading,
    late_words,
    rests_below,
    weld_level,
)
from packcalc.value import replace, value_object

TITLE = "Switching states and their proofs"
OPEN, CLOSED = "open", "closed"
CONTACTORS = ("main minus", "main plus", "pre-charge relay", "charge contactor")
Said = TypeVar("Said", bound=Any)
SETTLE = leaf("time for a contact to move and a reading to settle", "t", "s", 0.5, "assumed",
              source="packcalc-rule", origin=RULE,
              note="our rule; the contactor's operate and release times plus two readings")
MATCHED = leaf("time for charger or station to match the inlet to the battery", "t", "s", 7.0,
               "assumed", source="packcalc-rule", origin=RULE, note="our rule; its manual first")
MATCH = "inlet match"
UNBOUNDED = "path.charge_difference is not stated: nobody bounds what the contact may close onto"
UNTOLD = leaf("time until an open main contact shows by the link's fall", "t", "s", None, "given",
              note="needs the discharge resistor")
PACK_LIVE = "modules, links, sense wires and everything up to the open contactors"
INLET_WELDED = ("Above it that pole of the charge contactor is welded: no charge, main contacts "
                "open, inlet treated as live until it is replaced.")
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
    "A lost 12 V supply, an emergency stop and a crash wait for no trip: in a short at the same "
    "moment the contacts part before the fuse has cleared. A current above what a contactor breaks "
    "then burns on in it.",
    "Charging blocks the drive: torque stays off while the plug is in, told by the plug's contact.",
    "No level is trusted from one reading: battery, link and contact voltages are read by "
    "different channels and compared.",
    "After a weld, or an opening at more than the contactor's load figure, the contactor is "
    "replaced, not reset.",
)


@formula(
    title="Time left of a time", symbol="t", unit="s", text="t = t_w − t_u",
    inputs={"whole": "t_w [s] allowed in all", "used": "t_u [s] of it"}, basis="definition",
    valid="t_u ≤ t_w")
def time_left(whole: Any, used: Any) -> Any:
    """What one step leaves to the other.

    Examples:
        >>> time_left(5.0, 2.0)
        3.0
    """
    return whole - used


@value_object
class Scaled:
    """A level that follows the battery voltage measured at that moment.

    Attributes:
        share: of that voltage.
        full, emptiest: what it makes of the full pack and at the lowest charge in use.
        slope: largest slope of the link that goes with it, at the lowest charge; None where
            there is none, or the resistor is not known.
    """

    share: Finding
    full: Finding
    emptiest: Finding
    slope: Finding | None = None


@value_object
class State:
    """One switching state.

    Attributes:
        name: of the state.
        contactors: position of each contactor of the result.
        before: what must hold or happen before it is entered.
        point: where it is measured that the state is reached.
        relation: "below", "above", "differing by less than" or words.
        level: what the reading is held against, the stricter end of a scaled one; None where the
            proof is in words.
        timeout: after which the state has failed; None where nobody said.
        failing: what happens then.
        live: what is live.
        blind: what this proof cannot see.
        scaled: how the level follows the battery voltage; None for a fixed one.
        unread: said beside the time where nothing is read in it; else empty.
    """

    name: str
    contactors: tuple[str, ...]
    before: str
    point: str
    relation: str
    level: Finding | None
    timeout: Finding | None
    failing: str
    live: str
    blind: str = ""
    scaled: Scaled | None = None
    unread: str = ""


@value_object
class Proof:
    """One way to prove a contact.

    Attributes:
        name: as printed.
        reading: where, and what the contact's position makes of it.
        tells: what it can tell.
        blind: what it cannot see.
    """

    name: str
    reading: str
    tells: str
    blind: str


PROOFS = (
    Proof("voltage across one contact", "battery side to load side of the same pole",
          "a contact that is open while current is asked for",
          "an open contact while the link is charged and no current flows: both sides read the "
          "same; a weld while the other pole is closed and the link charged"),
    Proof("pole by pole", "load side of one contact to the other battery pole, link dead, both "
          "told to open", "which pole is welded, each by its own reading",
          "a contact that will not close; a weld while the link is still charged; with no "
          "measuring resistor a floating load side reads anything"),
    Proof("fall of the link", "link, plus to minus, after the relay has opened again",
          "a main contact that stayed open: the link falls through its resistor",
          "anything sooner than the link falls; a contact that opens later in the drive without "
          "current"),
    Proof("auxiliary contact", "its own wire, moved by the same armature",
          "that the armature moved, with no voltage and no current needed",
          "a burnt main contact that passes nothing; a weld of one main contact, unless the maker "
          "states a mirror contact (remembered as IEC 60947-4-1 Annex F)"),
    Proof("voltage drop at a known current", "across the closed contact, at the current sensor's "
          "reading", "a contact that conducts, and how worn it is",
          "anything while no current flows: torque must be held low until it has been read"),
    Proof("current of the coil", "its supply", "that the coil is driven",
          "whether any contact moved"),
)


@value_object
class StatesResult:
    """The table of states and everything held against it.

    Attributes:
        states: in order.
        proofs: every way to prove a contact, with what it cannot see.
        weld_check: its steps, in order.
        item: as put to the reviewer.
        contactors: those that this pack has, in the order of each state's positions.
    """

    states: tuple[State, ...]
    proofs: tuple[Proof, ...]
    weld_check: tuple[str, ...]
    item: Item
    contactors: tuple[str, ...] = CONTACTORS

    def state(self, name: str) -> State:
        """The state of that name."""
        return next(s for s in self.states if s.name == name)


def study_states(asked: StatesAsked) -> StatesResult:
    """States, their proofs and the checks of their times."""
    has = 3 if asked.brief.path.charge_contactor == NONE else 4
    states = tuple(replace(s, contactors=s.contactors[:has]) for s in _states(asked))
    fall = fall_to(asked, BORDER)
    duty = [weld_level(asked), asked.brief.precharge.timeout]
    duty += [f for f in (asked.precharge_time, fall, crash_time(asked), hold_time(asked))
             if f is not None]
    item = Item(
        key="switching", title=TITLE,
        governing="no closing onto a weld, no opening under torque, nothing left live by a crash",
        duty=tuple(duty), specification=_specification(asked), open_items=_open_items(asked),
        notes=(*NOTES, *_strings_note(asked)), checks=checks_of(asked))
    result = StatesResult(states, PROOFS, _weld_check(asked), item, CONTACTORS[:has])
    return _of_strings(result) if asked.pack.layout.in_strings else result


def _of_strings(result: StatesResult) -> StatesResult:
    """The same said of the strings' own contactors: there is no pair common to all."""
    item = result.item
    said = replace(
        item, notes=_renamed(item.notes), checks=_each_renamed(item.checks),
        specification=_each_renamed(item.specification), open_items=_renamed(item.open_items),
        duty=tuple(f.called(MAIN.sub("string ", f.title)) for f in item.duty))
    return StatesResult(_each_renamed(result.states), _each_renamed(result.proofs),
                        _renamed(result.weld_check), said, _renamed(result.contactors))


def _renamed(texts: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(MAIN.sub("string ", text) for text in texts)


def _each_renamed(things: tuple[Said, ...]) -> tuple[Said, ...]:
    """Every word of each thing that names a main contactor."""
    return tuple(replace(thing, **{f.name: MAIN.sub("string ", text) for f in fields(thing)
                                   if isinstance(text := getattr(thing, f.name), str)})
                 for thing in things)


def _weld_check(asked: StatesAsked) -> tuple[str, ...]:
    """Steps of the check before each closing."""
    level = weld_level(asked).shown
    return (
        f"Every contact is told to open; wait until the link, plus to minus, reads below {level}: "
        "a charged link holds both load sides up and hides what follows.",
        f"Load side of main plus to battery minus, and load side of main minus to battery plus, "
        f"each through a measuring resistor that pulls it down: both below {level}. Above it that "
        "pole is welded.",
        *_string_welds(asked),
        f"Close main minus alone: the link stays below {level}{_watched(asked)}. A rise means that "
        "main plus or the relay passes current.",
        "Close the relay: the link rises. No rise means that main minus, the relay or its resistor "
        "is open.",
        "Level and slope reached: close main plus, then open the relay, and prove main plus before "
        "torque is allowed (see the state run).",
        *_inlet_weld(asked),
        "At every key-off without load open the poles one after the other, the first one in turn: "
        "after the first has opened its own reading must fall, which proves it while the other is "
        "still closed.")


def _string_welds(asked: StatesAsked) -> tuple[str, ...]:
    return ("The same for each string with the bus dead.",) if asked.pack.layout.in_strings else ()


def _inlet_weld(asked: StatesAsked) -> tuple[str, ...]:
    """With the bus live: on a dead one both sides of the charge contactor read nothing."""
    if asked.brief.path.charge_contactor == NONE:
        return ()
    return (f"At each run and before each charge, main contacts closed, charge contactor told to "
            f"open, no charger feeding: {inlet_reading(asked)}, through a measuring resistor that "
            f"is switched in for the reading alone. {INLET_WELDED}",)


# --- the table ------------------------------------------------------------------------

def _states(asked: StatesAsked) -> tuple[State, ...]:
    return (*_starting(asked), *_working(asked), *_stringed(asked), *_ending(asked))


def _starting(asked: StatesAsked) -> tuple[State, ...]:
    level, pre, pole = weld_level(asked), asked.brief.precharge, asked.brief.path.charge_contactor
    target, dead = _closing_level(asked), dead_level(asked)
    return (
        State("off", (OPEN, OPEN, OPEN, OPEN), "torque at zero, contactors told to open",
              "DC link, plus to minus", "below", dead, fall_to(asked, dead),
              "discharge path or a weld: lock out, warn, prove dead by meter", PACK_LIVE,
              "one welded pole: the other, open, lets the link fall all the same"),
        State("wake", (OPEN, OPEN, OPEN, OPEN),
              f"above {closing_bar(asked.brief)}, cells within their other limits, isolation "
              "reading above its warning, interlock closed",
              "load side of each main contact to the other battery pole (weld check)", "below",
              level, fall_to(asked, level),
              "a contact is welded or the link still charged: no closing", PACK_LIVE,
              "whether a contact will close; a weld while the link is still charged"),
        State("first pole", (CLOSED, OPEN, OPEN, OPEN), "both weld checks passed",
              "DC link, plus to minus: must not rise in the whole of that time", "below", level,
              _relay_told(asked), "main plus or pre-charge relay is welded: open main minus",
              f"{PACK_LIVE}; the minus pole of link and inverter"
              + {NONE: ", and of the charge inlet", BOTH: "", ONE: ", and of the charge inlet "
                 "unless its contactor stands in that pole"}[pole],
              "main minus itself: it reads the same when it stayed open"
              + _relay_unseen(asked)),
        State("pre-charge", (CLOSED, OPEN, CLOSED, OPEN), "link did not rise with one pole closed",
              "DC link against battery, and its slope", "above", target.full, pre.timeout,
              "open relay, then main minus; wait until the resistor is cold; "
              f"{pre.tries.number:g} tries, then lock out", _bus_live(asked),
              "a load that holds the level, without the slope; which of main minus, relay and "
              "resistor is open when nothing rises", target),
    )


def _relay_told(asked: StatesAsked) -> Finding | None:
    """Time after which a closed relay has raised the link above the weld level.

    The whole pre-charge in its slow corner, with every load awake: the level lies far below its
    end. None where that time is not known, or at least what is known of it.
    """
    time = asked.precharge_time
    if time is None or not time.known or time.at_least:
        return None
    return trace(tr.sum_of_times, "contact settled, then a whole pre-charge in the slow corner",
                 first=SETTLE, second=asked.precharge_time,
                 note="a welded relay charges the link through its resistor: sooner it may pass")


def _relay_unseen(asked: StatesAsked) -> str:
    """A load that may hold the link hides a welded relay."""
    return "" if _relay_told(asked) is not None else \
        "; a welded relay whose current a load on the bus takes"


def _watched(asked: StatesAsked) -> str:
    told = _relay_told(asked)
    return ", for as long as a closed relay needs to raise it" if told is None else \
        f" for {told.shown}, in which a closed relay would have raised it"


def _closing_level(asked: StatesAsked) -> Scaled:
    """Share of the measured battery voltage at which main plus may close, with its slope."""
    share, pack = asked.brief.precharge.level, asked.pack
    full, emptiest = (trace(
        tr.share_of_voltage, f"level of the link for closing main plus, {words}", voltage=volts,
        share=share) for words, volts in (("full pack", pack.full_voltage),
                                          ("lowest battery voltage", pack.rest_low_voltage)))
    return Scaled(share, full, emptiest, _closing_slope(asked))


def _closing_slope(asked: StatesAsked) -> Finding | None:
    """Slope at the level, with the resistor that the time of pre-charge was worked with."""
    chain = asked.precharge_time.walk() if asked.precharge_time is not None else ()
    resistor = next((f for f in chain if f.formula is tr.largest_resistance.formula), None)
    if resistor is None:
        return None
    return trace(tr.level_slope, "slope of the link for closing main plus, lowest battery voltage",
                 voltage=asked.pack.rest_low_voltage, level=asked.brief.precharge.level,
                 resistance=resistor, capacitance=capacitance_of(asked))


def _closing_gap(asked: StatesAsked) -> Scaled:
    """What the closing level leaves of the measured battery voltage."""
    level, pack = asked.brief.precharge.level, asked.pack
    full, emptiest = (trace(
        tr.closing_difference, f"voltage across main plus before it closes, {words}",
        voltage=volts, level=level) for words, volts in (
            ("full pack", pack.full_voltage), ("lowest battery voltage", pack.rest_low_voltage)))
    return Scaled(leaf("share of the battery voltage left across main plus", "x", "%",
                       1.0 - level.number, "definition", origin=level.origin), full, emptiest)


def _working(asked: StatesAsked) -> tuple[State, ...]:
    left = _closing_gap(asked)
    cut, matched = asked.brief.path.charge_contactor != NONE, asked.brief.path.charge_difference
    nearer = cut and matched.known and matched.number < left.emptiest.number
    return (
        State("run", (CLOSED, CLOSED, OPEN, OPEN), "level and slope of pre-charge both reached"
              + ("; then the charge contactor's weld check" if cut else ""),
              "with the relay open again: the link does not fall by the closing difference, and "
              "the auxiliary contact of main plus has moved; from the first load current on, "
              "voltage across main plus", "below", left.emptiest, hold_time(asked) or UNTOLD,
              "contact did not close: torque stays off, back to off", _bus_live(asked),
              "voltage across main plus alone: a charged link with no current reads the same open "
              "and closed; the auxiliary contact tells the armature, not a burnt main contact",
              left),
        *_inlet_match(asked),
        State("charge", (CLOSED, CLOSED, OPEN, CLOSED),
              "plug in and locked, earth proven, torque blocked"
              + (f", weld check of the charge contactor with the bus live, then {MATCH}"
                 if cut else ""),
              "inlet, plus to minus, against battery", "differing by less than",
              matched if nearer else left.emptiest, SETTLE, "charger off first, then "
              + ("charge contactor, then " if cut else "") + "main contactors",
              f"{BUS_LIVE}; inlet and charge cable",
              "before current flows an inlet whose capacitors are charged reads the same with the "
              "charge contactor open" if cut else
              "whether the plug is in: the inlet reads the same as in the drive",
              None if nearer else left),
    )


def _inlet_match(asked: StatesAsked) -> tuple[State, ...]:
    """Both sides of the charge contactor at one voltage before it closes; none without one."""
    if asked.brief.path.charge_contactor == NONE:
        return ()
    most = asked.brief.path.charge_difference
    return (State(
        MATCH, (CLOSED, CLOSED, OPEN, OPEN), "plug locked, that contactor's weld check",
        "inlet, plus to minus, against battery, contact still open",
        "differing by at most" if most.known else UNBOUNDED, most if most.known else None, MATCHED,
        "it stays open, charger off", f"{BUS_LIVE}; inlet and charge cable",
        "a welded contact matches at once; both readings' errors come on top: set the controller "
        "so much lower"),)


def _bus_live(asked: StatesAsked) -> str:
    """What is live with the main contactors closed, charging or not."""
    return BUS_LIVE + {
        NONE: "; the charge inlet and its cable, which no contactor cuts off",
        ONE: "; one pole of the charge inlet, which its contactor does not cut off",
        BOTH: ""}[asked.brief.path.charge_contactor]


def _stringed(asked: StatesAsked) -> tuple[State, ...]:
    """How a string comes to the others, and what is left when one goes; none without strings."""
    if not asked.pack.layout.in_strings:
        return ()
    level = asked.joining
    return (
        State("joining a further string", (CLOSED, CLOSED, OPEN, OPEN),
              "torque, charger and braking off, until the strings are even; its weld check; its "
              "charge shown, see the parallel strings",
              "across its own open contactors, string against bus, both poles",
              "differing by at most" if level is not None else
              "no difference by itself permits joining: see the parallel strings", level, SETTLE,
              "it stays out; once closed, its current above its charge limit opens it again",
              _bus_live(asked), "charge, where the rest voltage is flat; an open contact at equal "
              "voltages reads like a closed one: its current tells"),
        State("one string out", ("its own open", "its own open", OPEN, OPEN),
              "power cut to what the others bear, see the parallel strings, then both its "
              "contactors", "its own current", "at zero", None, SETTLE,
              "a contact is welded: every string opens; its fuse is all that is left",
              f"{BUS_LIVE}; that string by itself",
              "one welded pole; both at equal voltages: weld check with the bus dead"),
    )


def _not_proven(asked: StatesAsked) -> str:
    """What stays live behind contacts that have opened, until a reading says otherwise."""
    fall, back = fall_to(asked, BORDER), asked.brief.motor.back_voltage
    time = "for a time that is not known" if fall is None else \
        f"{fall.shown} by its resistor, computed" if fall.number else "up to its own voltage"
    motor = "" if back.known and back.number == 0 else "; at speed by the motor, " + (
        f"up to {back.shown}" if back.known else "its back-voltage is not known")
    inlet = "" if asked.brief.path.charge_contactor == BOTH else ", the charge inlet among them"
    return (f"{PACK_LIVE}; until proven link, inverter and every branch behind the main "
            f"contactors{inlet} ({time}{motor}); plugged in, inlet and charge cable from outside")


def _ending(asked: StatesAsked) -> tuple[State, ...]:
    own, link, live = asked.brief.management, asked.brief.inverter, _not_proven(asked)
    dead = dead_level(asked)
    return (
        State("fault", (OPEN, OPEN, OPEN, OPEN),
              "torque to zero and charger off, then open; an over-current trip opens at its own "
              "delay, only within what the contactors break", "battery current at zero once the "
              "trip's delay is over, then DC link, plus to minus", "below",
              dead, _then_fall(asked, own.trip_delay),
              "a contact is welded: the fuse is all that is left; warn, stop, leave the vehicle",
              live,
              "one welded pole while the other opened; a motor that holds the link up looks like "
              "a weld"),
        State("crash", (OPEN, OPEN, OPEN, OPEN),
              "nothing: the crash signal opens the coils' supply by wire",
              "DC link, plus to minus", "below", BORDER, CRASH_TIME,
              crash_failing(asked), live,
              "live metal on the pack's side of the contactors; torn wires of the reading itself; "
              + (f"a weld, as the pack rests below {BORDER.shown}: the next wake; "
                 if rests_below(asked) else "") + late_words(asked)),
        State("key off under load", (OPEN, OPEN, OPEN, OPEN),
              "torque to zero first; current below what the contactors open every day",
              "battery current at zero, then DC link, plus to minus", "below", dead,
              _then_fall(asked, link.torque_zero_time),
              "open all the same, count the opening under load", live,
              "the second pole to open: prove each in turn, see the weld check"),
        State("loss of 12 V", (OPEN, OPEN, OPEN, OPEN),
              "nothing can come before: springs open the contacts",
              "nothing is proven dead: by a meter, or by the weld check at the next wake",
              "below", weld_level(asked), _after_settling(asked),
              "welded contacts: no wake; until a meter reads dead nobody touches", live,
              f"anything until the supply is back: no channel is read; {late_words(asked)}",
              unread="computed, nothing reads it"),
    )


def _after_settling(asked: StatesAsked) -> Finding | None:
    """Contact settled and link fallen to the weld level; None where its resistor is not known."""
    if asked.highest.number <= weld_level(asked).number:
        return SETTLE
    fall = fall_to(asked, weld_level(asked))
    return None if fall is None else trace(
        tr.sum_of_times, "contact settled, then the link below the weld level", first=SETTLE,
        second=fall)


def _then_fall(asked: StatesAsked, first: Finding) -> Finding | None:
    """A time, and the fall of the link after it; None where either is not known."""
    dead = dead_level(asked)
    fall = fall_to(asked, dead)
    if not first.known or fall is None:
        return None
    words = f"{dead.number:g} V" if dead is BORDER else dead.shown
    return trace(tr.sum_of_times, f"{first.title}, then a link below {words}", first=first,
                 second=fall)


# --- words ----------------------------------------------------------------------------

def _specification(asked: StatesAsked) -> tuple[Requirement, ...]:
    return (
        Requirement("voltage channels", "battery, link, load side of each main contact to the "
                    "other pole, inlet" + (
                        "" if asked.brief.path.charge_contactor == NONE else ", each inlet pole to "
                        "the other bus pole"), "each contact is proven by a voltage across it"),
        Requirement("weld check level", f"below {weld_level(asked).shown}",
                    "before each closing, both poles"),
        Requirement("auxiliary contact on each main contactor", "read by the program, mirror "
                    "contact where its maker states one", "a charged link reads the same across "
                    "an open and a closed contact"),
        Requirement("pre-charge timeout", asked.brief.precharge.timeout.shown,
                    f"{asked.brief.precharge.tries.number:g} tries, then lock-out"),
        Requirement("coils", "normally open, dropped by wire by interlock, emergency stop and "
                    "crash switch", "no program stands between"),
        Requirement("crash to open contactors", _opening_left(asked), CRASH_TIME.note),
        *_charge_contactor(asked),
    )


def _charge_contactor(asked: StatesAsked) -> tuple[Requirement, ...]:
    poles = asked.brief.path.charge_contactor
    if poles == NONE:
        return ()
    return (Requirement(f"charge contactor, {poles}", "to its own sheet, see Charge contactor",
                        "open unless charging; proven open at each run and before each charge, "
                        "bus live"),)


def charge_circuit_current(brief: Brief, pack: PackModel) -> Finding:
    """The largest current of the charge circuit: by the charger's power, or a branch's entry."""
    own = [branch_load(b.power, b.current, brief.inverter.voltage_low) for b in brief.branch
           if b.kind in CHARGERS]
    known = [f for f in (pack.charging_current, *own) if f.known]
    return largest(known, "current of the charge circuit") if known else pack.charging_current


def _opening_left(asked: StatesAsked) -> str:
    """What the link's fall leaves of the time after a crash for opening the contactors."""
    whole, fall = CRASH_TIME.shown, fall_to(asked, BORDER)
    if asked.highest.number <= BORDER.number:
        return f"at most {whole}"
    if fall is None:
        return (f"at most {whole} less the time in which the link falls below {BORDER.shown}, "
                "which is not known")
    if fall.number >= CRASH_TIME.number:
        return (f"at once; the link alone takes {fall.shown} to fall below {BORDER.shown}, more "
                f"than the {whole} for both: an active discharge")
    left = trace(time_left, whole=CRASH_TIME, used=fall)
    return f"at most {left.shown}: the link's fall of {fall.shown} ends within the same {whole}"


def _open_items(asked: StatesAsked) -> tuple[str, ...]:
    own, link = asked.brief.management, asked.brief.inverter
    wanted = (link.torque_zero_time, own.crash_open_time, link.discharge_resistance, own.trip_delay)
    return tuple(f"{f.title}: say it in the brief" for f in wanted if not f.known)


def _strings_note(asked: StatesAsked) -> tuple[str, ...]:
    if not asked.pack.layout.in_strings:
        return ()
    return ("Each string has a pair of its own, and every pair opens on the pack's trips at the "
            "same command; at the worst one string alone is in. A string is closed onto the bus "
            "only when its voltage is within the allowed difference of the others, and the weld "
            "check is made string by string with the bus at rest.",)
