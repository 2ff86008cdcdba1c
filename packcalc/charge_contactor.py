"""The charge contactor: what it is bought to, and the named one held against it.

It is closed for charging alone and opens with the main contactors, on every trip and at once: what
it meets of a fault on either side of it is `charge_opening`'s to say.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from packcalc import transients as tr
from packcalc.brief import Brief
from packcalc.charge_opening import (
    FaultsBeyond, fed_by_charging, left_by_trips, named_contactor, parting_in, slower_loops,
)
from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, PASS, Candidate, Check, Item, Requirement, judge, named_part,
    open_of,
)
from packcalc.clearing import NamedFuses, PartAnswers, charging_fuse
from packcalc.feeds import Feeds, nearest
from packcalc.findings import (
    Finding, Origin, largest, smallest, trace, untold_of, with_more,
)
from packcalc.further_parts import stands_nowhere
from packcalc.part_checks.contactor import (
    BREAKS_CHARGING, BY_WHOM, MAKES_STEP, CarryDemand, SwitchDemand, break_words, constant_words,
    contactor_part_checks, slower_duty, switch_facts,
)
from packcalc.part_checks.shown import SILENT, at_voltage
from packcalc.part_checks.sweep import FuseSide, grid
from packcalc.part_checks.withstand import (
    STAGE, WITHSTANDS, Borne, borne_check, withstand_check,
)
from packcalc.parts import ContactorPart
from packcalc.place_contacts import through_charging
from packcalc.place_demands import FULL, Demand
from packcalc.protect.branch_figures import branch_loops, only_at_most
from packcalc.protect.contactor import closing_peak
from packcalc.protect.places import Loop
from packcalc.protect.state_checks import Untimed
from packcalc.side_circuits import (
    charging_branch, charging_load, filled_at_charge, shortest_delay, sole_charger,
)
from packcalc.units import show
from packcalc.value import replace, value_object

MUST_BREAK = "largest current that the charge contactor must break, discharging"
QUICK, SLOW = 0.01, 0.03  # opening times between which a sheet asks: common practice
CHARGE_STEP = "current step when the charge contactor closes"
SAY_DIFFERENCE = "say path.charge_difference"
CHARGE_NOTES = (
    "Closed for charging alone. What it makes is counted from the charged link into the charger's "
    "capacitors over the charge wires alone, no resistance of the capacitors and none of the link "
    "counted: errs high. Bring both sides to one voltage first.",
    "It is counted on for no fault. A trip opens it as the main contactors: above its breaking "
    "current, and before a fuse has cleared, a fault at the charge inlet burns on in it.",
)
CHARGE_OPEN = "charge contactor: no part is named; send its sheet to the suppliers"
NOBODY_THERE = "nobody breaks it there, and covers are the usual answer; "
NOTHING_CLEARED = "nobody is shown to clear any fault that runs through it"
STATION_FEEDS = ("its limit in use alone is counted: ask its operator what it feeds into a "
                 "short-circuit, and for how long")


def charge_contactor_item(feeds: Feeds, answers: PartAnswers, loops: Iterable[Loop],
                          faults: FaultsBeyond, at_once: Untimed | None) -> Item | None:
    """What a charge contactor is bought to, and the named one held against it.

    None where the brief says that none stands there, and names none.

    Args:
        feeds: every source of the layout.
        answers: what the named parts do at a current.
        loops: every fault place, the charge inlet among them.
        faults, at_once: those beyond it; its coil dropped at once; None where there is none.
    """
    brief, name, places = feeds.brief, feeds.brief.parts.charge_contactor, tuple(loops)
    title = "Charge contactor"
    if at_once is None:
        return None if not name else Item(
            "charge_contactor", title, f"{name} is named, and the brief states no charge "
            "contactor", (), checks=(stands_nowhere(
                f"{name} stands before the charge inlet",
                "say path.charge_contactor, or name none"),))
    step, part = closing_step_of(feeds), named_contactor(brief)
    carry, switch = _demands(feeds, answers.named, places)
    switch = _with_slower(switch, _inlet(places), slower_loops(answers, faults))
    meets = _meets(answers, faults, at_once, switch.break_discharge)
    carry = replace(carry, borne=through_charging(places, answers, faults.loops))
    candidates = () if part is None else (_charge_candidate(
        part, carry, replace(switch, closing_step=step.peak), step, meets, answers, places),)
    return Item(
        key="charge_contactor", title=title,
        governing=f"each pole alone holds off {carry.highest_voltage.least}"
                  f"{carry.highest_voltage.shown}, carries "
                  f"{carry.continuous_current.shown}, breaks {break_words(meets.discharging)} "
                  f"discharging and {break_words(meets.charging)} charging",
        duty=tuple(f for f in (carry.highest_voltage, carry.continuous_current,
                               meets.discharging, meets.more_charging, meets.at_once_known,
                               carry.fault_highest, step.peak, switch.time_constant,
                               switch.let_through, carry.ambient) if f is not None),
        specification=_charge_sheet(brief, carry, switch, step, meets, faults),
        candidates=candidates,
        open_items=open_of(name, candidates, (CHARGE_OPEN,)),
        notes=CHARGE_NOTES, checks=named_part(name, candidates))


@value_object
class ChargeMeets:
    """What the charge contactor may have to break.

    Attributes:
        left: of a fault beyond it, by a trip.
        firm: of that where covers are not the usual answer.
        discharging, charging: the larger of that and of the load; of what charges.
        at_once: its coil dropped with no delay.
        station: whether something outside the vehicle feeds through it.
        load: of the charge circuit.
    """

    left: Finding
    firm: Finding
    discharging: Finding
    charging: Finding
    at_once: Untimed
    station: bool
    load: Finding

    @property
    def more_charging(self) -> Finding | None:
        """What charges, where a station gives more than the load asks."""
        same = self.load.known and self.charging.known \
            and self.charging.number <= self.load.number
        return None if same else self.charging

    @property
    def at_once_known(self) -> Finding | None:
        """What the coil dropped at once leaves it; None where that is not known."""
        return self.at_once.left if self.at_once.left.known else None


def _meets(answers: PartAnswers, faults: FaultsBeyond, at_once: Untimed,
           load: Finding) -> ChargeMeets:
    brief = answers.brief
    left, firm = (left_by_trips(answers, one, load) for one in (faults, faults.firm or faults))
    most = faults.told(largest([f for f in (load, left) if f.known], MUST_BREAK)) \
        if left.known else left.called(MUST_BREAK)
    return ChargeMeets(left, firm, most, fed_by_charging(brief, load), at_once,
                       brief.at_a_station, load)


def _charge_sheet(brief: Brief, carry: CarryDemand, switch: SwitchDemand, step: ChargeClosing,
                  meets: ChargeMeets, faults: FaultsBeyond) -> tuple[Requirement, ...]:
    """Whatever its checks hold it against, named or not."""
    volts = f"{carry.highest_voltage.least}{carry.highest_voltage.shown}"
    runs, through = carry.terminal_temperature, switch.let_through
    return (
        Requirement("poles", "those in which one stands: path.charge_contactor is open"
                    if brief.left_open("path.charge_contactor") else
                    f"{brief.path.charge_contactor}, a drive of its own in each",
                    "one jammed drive must not hold both"),
        Requirement("voltage", f"each pole alone above {volts} DC",
                    "one pole may be all that is left open"),
        Requirement("carries", f"{carry.continuous_current.shown} at {carry.ambient.shown}" + (
            f", conductors of {runs.shown} at its terminals" if runs is not None else "")),
        Requirement("breaks", f"{break_words(meets.discharging)} discharging and "
                    f"{break_words(meets.charging)} charging at {volts} DC"
                    + constant_words(switch.time_constant)
                    + ", whichever way round it is mounted",
                    meets.left.note if meets.left.known else
                    "a trip may open it before a fuse has cleared a fault beyond it").resting_on(
                        meets.discharging, meets.charging, switch.time_constant),
        *slower_duty(switch.slower_loops),
        Requirement("opening time", "longest and shortest, with the coil suppression that will be "
                    "used" + (f", below {switch.delay.shown}" if switch.delay is not None else ""),
            "the delays of the brief run until the contact has opened"),
        Requirement("opened at once", _at_once(meets, faults) + ", both directions",
                    "a crash and a lost 12 V supply wait for no trip" + (
                        f"; {meets.at_once.left.note}" if meets.at_once.left.known else "")),
        Requirement("makes", step.words, step.why).resting_on(step.peak),
        Requirement("makes and passes", through.with_end if through is not None else
                    "total clearing I²t of the fuse of the charge cable: not known",
                    "it may close onto a fault").resting_on(through),
        Requirement("short-time withstand", f"points up to {carry.fault_highest.with_end}" + (
            f"; at least {carry.borne.words}" if carry.borne is not None else ""),
            "closed and unwelded until somebody has cleared the fault").resting_on(
                carry.fault_highest, carry.borne and carry.borne.longer))


def _at_once(meets: ChargeMeets, faults: FaultsBeyond) -> str:
    """What it breaks with its coil dropped; of one whose opening time is open, for two of them."""
    load = meets.load.number if meets.load.known else 0.0
    if meets.at_once.left.known:
        left = meets.at_once.left
        return f"{left.least}{show(max(left.number, load), 'A')}"
    quick, slow = (parting_in(faults, time) for time in (QUICK, SLOW))
    if quick is None or slow is None:
        return ("every current that the fuse of the charge cable has not cleared in its opening "
                "time")
    least = "at least " if faults.untold or faults.may_burst(slow) else ""
    return (f"{least}{show(max(quick, load), 'A')} where it parts in {show(QUICK, 'ms')}, "
            f"{least}{show(max(slow, load), 'A')} in {show(SLOW, 'ms')}")


def _charge_candidate(part: ContactorPart, carry: CarryDemand, switch: SwitchDemand,
                      step: ChargeClosing, meets: ChargeMeets, answers: PartAnswers,
                      loops: tuple[Loop, ...]) -> Candidate:
    held = tuple(_of_charging(_onto_charger(c, part, step), meets)
                 for c in contactor_part_checks(part, carry, switch))
    return Candidate(part.name, (
        *held, _breaks_left(part, carry, meets), *_breaks_fed(part, carry, meets),
        *_stays_closed(answers.brief, part, answers.named, loops),
        *_until_cleared(part, carry.borne)), switch_facts(part), own=True)


def _of_charging(check: Check, meets: ChargeMeets) -> Check:
    """Of breaking the load: what else it breaks stands in checks of their own."""
    if check.reason != BY_WHOM:
        return check
    return replace(check, reason="a charger is counted with its own limit"
                   if check.title == BREAKS_CHARGING and not meets.station
                   else "faults are held below")


def _breaks_left(part: ContactorPart, carry: CarryDemand, meets: ChargeMeets) -> Check:
    """Fed by the pack: the fault places say what a lesser one leaves burning.

    Where it lacks at those alone at which covers are the usual answer, it fails no more than they.
    """
    weaker = smallest([part.break_discharge, part.break_charge],
                      f"breaking current of {part.name}, the weaker direction") \
        if part.break_discharge and part.break_charge else None
    held, firm = (at_voltage(judge(
        "breaks what a trip leaves of a fault beyond it", "who clears", weaker, "at least",
        left, missing=f"{SILENT}the breaking current in both directions at this voltage: "
        f"{break_words(left)}" if weaker is None else break_words(left), reason=left.told_note,
        remedy="a contactor that breaks more, in both directions; a faster or smaller fuse of the "
               "charge cable, in both poles; a longer delay of the trip"),
        part, carry.highest_voltage) for left in (meets.left, meets.firm))
    if firm.verdict == FAIL:
        return held if held.verdict == FAIL else firm
    if held.verdict != FAIL:
        return held
    there = f"{NOBODY_THERE}{held.reason}"
    if firm.verdict == NOT_EVALUATED:  # an open place may ask more than the sheet gives
        return replace(held, verdict=NOT_EVALUATED, reason=f"{firm.reason}; {there}")
    return replace(held, verdict=CAUTION, reason=there)


def _breaks_fed(part: ContactorPart, carry: CarryDemand, meets: ChargeMeets) -> tuple[Check, ...]:
    """Fed by a station, whose own limit in a short-circuit is on no entry."""
    if not meets.station:
        return ()
    held = at_voltage(judge(
        "breaks what a station feeds into a fault on the pack's side", "who clears",
        part.break_charge, "at least", meets.charging,
        missing=f"{SILENT}the breaking current charging at this voltage",
        remedy="a contactor that breaks more, charging"), part, carry.highest_voltage)
    return (replace(held, verdict=NOT_EVALUATED, reason=STATION_FEEDS)
            if held.verdict == PASS else held,)


@value_object
class ChargeClosing:
    """What the charge contactor makes when it closes.

    Attributes:
        peak: of the current; None where something lacks.
        lacks: what to find, by the names of the entries; empty where nothing does.
        difference: across the open contact; the highest working voltage where nobody said.
        stated: whether the brief gives the difference.
    """

    peak: Finding | None
    lacks: str
    difference: Finding
    stated: bool

    @property
    def words(self) -> str:
        return self.peak.with_end if self.peak is not None else f"not known: {self.lacks}"

    @property
    def why(self) -> str:
        return f"{self.difference.shown} across the open contact" if self.stated else (
            f"counted as closing onto an empty charger, {self.difference.shown}: {SAY_DIFFERENCE}")


def closing_step_of(feeds: Feeds) -> ChargeClosing:
    """The link's charge into the charger's capacitors, through the wires of the charge branch.

    Of a fast-charge inlet its own and the station's capacitors count; while either is open the
    bound without inductance does, which holds for any.
    """
    brief, branch = feeds.brief, sole_charger(feeds.brief)
    stated = brief.path.charge_difference.known
    difference = brief.path.charge_difference if stated else feeds.pack.highest_voltage
    if branch is None:
        return ChargeClosing(None, "one [[branch]] that charges, with its length, section and "
                             "capacitance", difference, stated)
    near = nearest(branch.length)
    _, wires = branch_loops(near, branch.section, branch.insulation_class)
    station = branch.kind == "fast-charge inlet"
    beyond = filled_at_charge(brief, branch)
    lacks = [f"branch.{key} of {branch.name}" for key, open_ in (
        ("section", not branch.section.known),
        ("capacitance: of the charger's output", not station and not beyond.known),
        ) if open_]
    if station and not stated and not beyond.known:
        both = ((brief.station.capacitance, "station.capacitance"),
                (branch.capacitance, f"branch.capacitance of {branch.name}"))
        lacks.append("path.charge_difference, or " + " and ".join(
            key for held, key in both if not held.known))
    if lacks:
        return ChargeClosing(None, "; ".join(lacks), difference, stated)
    if not beyond.known:
        bound = trace(tr.current_at, CHARGE_STEP, voltage=difference, resistance=wires,
                      note="without inductance, a bound")
        return ChargeClosing(with_more(bound, near.may_be_less), "", difference, stated)
    peak = trace(closing_peak, CHARGE_STEP, difference=difference, resistance=wires,
                 inductance=feeds.least_inductance(near),
                 capacitance=trace(tr.largest_capacitance, capacitance=beyond,
                                   tolerance=brief.inverter.dc_link_tolerance))
    return ChargeClosing(with_more(peak, near.may_be_less), "", difference, stated)


def _onto_charger(check: Check, part: ContactorPart, step: ChargeClosing) -> Check:
    """The closing step under its own name; an empty charger that nobody stated fails nothing."""
    if check.title != MAKES_STEP:
        return check
    check = replace(check, title="makes the step when it closes onto the charger's capacitors",
                    remedy="bring the charger's side to the pack's voltage before it closes; a "
                           "resistor of its own that pre-charges it")
    if step.peak is None:
        return replace(check, reason=f"find {step.lacks}") if part.make_current is not None \
            else check
    if check.verdict == FAIL and not step.stated:
        return replace(check, verdict=NOT_EVALUATED, reason=step.why)
    return check


def _stays_closed(brief: Brief, part: ContactorPart, named: NamedFuses,
                  loops: Iterable[Loop]) -> tuple[Check, ...]:
    """Its withstand curve against the fuse of the charge cable, over the range at the inlet."""
    if part.short_time is None:
        return ()
    title, branch = "closed, it withstands what the fuse lets through", charging_fuse(brief)
    side = named.side(branch.fuse_part) if branch is not None else None
    inlet = _inlet(loops)
    if side is None or not (inlet.lowest.known and inlet.all_sources.known
                            and 0 < inlet.lowest.number < inlet.all_sources.number):
        return (Check(title, "fault range", NOT_EVALUATED, reason="no fuse of the charge cable is "
                      "named, or the fault range at the inlet is not known"),)
    if _bursts(side, inlet):
        most = _every_source(inlet)
        may = "may be" if most.untold_more else "is"
        return (Check(title, "fault range", NOT_EVALUATED, reason="; ".join(filter(None, (
            f"with every source, {most.least}{most.shown}, the fuse {may} driven above the "
            f"{show(side.high, 'A')} that it breaks", most.untold_more)))),)
    curve = side.clearing.currents if side.clearing is not None else ()
    low = inlet.lowest.number
    if only_at_most(inlet.lowest) and side.low > 0:  # what is less than that it clears more slowly
        low = min(low, side.low)
    current = grid(low, inlet.all_sources.number, (*curve, *part.short_time.second))
    return (withstand_check(title, part, side, current, Origin(f"faults at {inlet.title}")),)


def _until_cleared(part: ContactorPart, carried: Borne | None) -> tuple[Check, ...]:
    """The same against every place beyond it, whoever ends the fault there."""
    if part.short_time is None:
        return ()
    if carried is None:
        return (Check(WITHSTANDS, STAGE, NOT_EVALUATED, reason=NOTHING_CLEARED),)
    return (borne_check(WITHSTANDS, part, carried),)


def _bursts(side: FuseSide, inlet: Loop) -> bool:
    """Whether every source together drives it above what it breaks, or may: any heat passes."""
    most = _every_source(inlet)
    return most.known and (bool(most.untold_more) or most.number > side.high * (1.0 + 1e-9))


def _every_source(inlet: Loop) -> Finding:
    """What all of them give there together; more where nobody knows what one gives."""
    return with_more(inlet.all_sources, inlet.may_burst)


def _with_slower(switch: SwitchDemand, inlet: Loop, slower: Demand | None) -> SwitchDemand:
    """Of loops through the chassis each at its voltage; the longest at that of the inlet for all.

    Args:
        switch: asked from pole to pole.
        inlet: that place.
        slower: what the loops through the chassis ask.
    """
    if slower is None:
        return switch
    own, most = switch.time_constant, slower.constant
    if own is not None and own.known and most is not None and inlet.voltage.known and any(
            v.number >= inlet.voltage.number * FULL for v, _ in slower.pairs):
        own = with_more(max(own, most, key=lambda f: f.number), untold_of((own, most))).called(
            own.title)
    return replace(switch, slower_loops=slower.pairs, time_constant=own)


def _inlet(loops: Iterable[Loop]) -> Loop:
    return max((loop for loop in loops if loop.key.split(".")[0] == "inlet"),
               key=lambda loop: loop.all_sources.number)


def _demands(feeds: Feeds, named: NamedFuses,
             loops: tuple[Loop, ...]) -> tuple[CarryDemand, SwitchDemand]:
    brief, pack = feeds.brief, feeds.pack
    branch = charging_branch(brief)
    current = pack.charging_current if branch is None else charging_load(brief, pack, branch)
    inlet = _inlet(loops)
    fused = charging_fuse(brief)
    side = named.side(fused.fuse_part) if fused is not None else None
    fuse = side.part if side is not None else None
    shown = side is not None and fuse is not None and not math.isnan(side.integral) \
        and not _bursts(side, inlet)
    limits = [r.terminal_limit for r in brief.cables.route
              if r.carries == "charging" and r.terminal_limit.known]
    return (
        CarryDemand(
            highest_voltage=pack.highest_voltage, continuous_current=current,
            peak_current=current, peak_duration=brief.power.peak_duration,
            ambient=brief.surroundings.box_ambient,
            fault_highest=_every_source(inlet).called("highest fault through the charge contactor"),
            terminal_temperature=largest(limits, "steady limit that the charge cable is sized for")
            if limits else None),
        SwitchDemand(
            closing_step=None, break_discharge=current, break_charge=current,
            time_constant=inlet.time_constant, delay=shortest_delay(brief),
            let_through=fuse.clearing_i2t.called(f"total clearing I²t of {fuse.name}")
            if shown and fuse is not None and fuse.clearing_i2t is not None else None))
