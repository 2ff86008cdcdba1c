"""Parts that not every pack has or names: mid-pack fuse, charge contactor, pre-charge relay …

Each is held against its own duty where the brief names it from the parts list; one that is
named and stands nowhere by the brief is told so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from packcalc import transients as tr
from packcalc.brief import Brief
from packcalc.brief_keys import CHARGE_CONTACTOR_CHOICES
from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, Candidate, Check, Item, Requirement, judge, named_part, open_of,
)
from packcalc.clearing import NamedFuses, charging_fuse
from packcalc.feeds import SHORT_RUN, Feeds
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace
from packcalc.part_checks.contactor import (
    MAKES_STEP, CarryDemand, SwitchDemand, constant_words, contactor_part_checks,
    relay_part_checks, switch_facts,
)
from packcalc.part_checks.limits import ManagementAsked
from packcalc.part_checks.management import system_checks, system_facts
from packcalc.part_checks.shown import counted
from packcalc.part_checks.sweep import grid
from packcalc.part_checks.withstand import withstand_check
from packcalc.parts import CONTACTOR, FUSE, MANAGEMENT, ContactorPart, ManagementPart
from packcalc.place_demands import demand_on
from packcalc.places.stands import MID_KEY, fuse_stands
from packcalc.protect.branch_figures import branch_loops
from packcalc.protect.contactor import closing_peak, loop_time_constant
from packcalc.protect.fuse import FuseAsked, size_main_fuse
from packcalc.protect.places import Loop
from packcalc.protect.precharge import PEAK, in_a_row
from packcalc.side_circuits import (
    Capacity, charging_branch, charging_load, laid_capacity, shortest_delay, sole_charger,
    string_fuse_asked,
)
from packcalc.value import value_object

CHARGE_STEP = "current step when the charge contactor closes"
SAY_DIFFERENCE = "say path.charge_difference"
ONE_THERE = counted("one at least", 1, "definition")
FEWEST = counted("stated in the brief", 0, "definition", Origin("brief"))
MID_NOTES = (
    "It carries what its string carries and stands inside the modules' row: in a second chassis "
    "fault it must break with part of the string alone behind it, at a longer time constant.",
    "Two fuses in one loop do not add up their voltages: each alone must break the whole.",
)
CHARGE_NOTES = (
    "Closed for charging alone. What it makes is counted from the charged link into the charger's "
    "capacitors over the charge wires alone, no resistance of the capacitors and none of the link "
    "counted: errs high. Bring both sides to one voltage first.",
    "It breaks the charging current and no fault: a trip must not open it above its breaking "
    "current before the fuse of the charge cable has cleared.",
)
STRING_CABLE_NOTES = (
    "Their resistance stands in the pack's path, hot and with the smallest section all along, for "
    "sag and the lowest fault; for the highest fault nothing of them is counted.",
    "Their heat over the whole fault range stands with who clears, as that of links and bus bars.",
)
RELAY_NOTES = (
    "A resistor that fails short leaves the relay to close onto the empty link by itself: the fuse "
    "of the pre-charge wires is then all there is, and the relay may weld (common practice).",
)
CHARGE_OPEN = ("charge contactor: voltage that each pole holds off open, breaking current of one "
               "pole in both directions, carry curve at the box ambient (supplier)")


def mid_fuse_item(feeds: Feeds, asked: FuseAsked | None, loops: Iterable[Loop]) -> Item | None:
    """The named mid-pack fuse held against its place; None where the brief names none.

    Args:
        feeds: every source of the layout.
        asked: of the main fuse, whose load a mid-pack fuse of a single string carries as well;
            None holds only that of parallel strings.
        loops: every fault place.
    """
    brief, name = feeds.brief, feeds.brief.parts.mid_fuse
    if not name:
        return None
    title = "Mid-pack fuse"
    if "mid-pack" not in fuse_stands(brief, feeds.pack.layout.series):
        return Item("mid_fuse", title, f"{name} is named, and no mid-pack fuse stands in this "
                    "layout by the brief", (), checks=(_stands_nowhere(
                        f"{name} stands inside the string", "pack.fuse_after counts the modules "
                        "before it, at least 1 and fewer than the string has"),))
    own = _mid_fuse_asked(feeds, asked, loops)
    if own is None:
        return None
    item = size_main_fuse(own, (brief.parts.list.part(FUSE, name),), named=name)
    candidates = tuple(c for c in item.candidates if c.own)
    return replace(item, key="mid_fuse", title=title, candidates=candidates,
                   governing=f"breaks {own.fault_highest.shown} and opens {own.fault_lowest.shown} "
                             "between the modules", notes=MID_NOTES,
                   checks=named_part(name, candidates))


def mid_fuse_asked(feeds: Feeds, asked: FuseAsked | None, loops: Iterable[Loop]) -> Item | None:
    """What a fuse inside the string is bought to, named or not; None where none stands there.

    Args:
        feeds, asked, loops: as of `mid_fuse_item`.
    """
    own = _mid_fuse_asked(feeds, asked, loops) \
        if "mid-pack" in fuse_stands(feeds.brief, feeds.pack.layout.series) else None
    return size_main_fuse(own) if own is not None else None


def _mid_fuse_asked(feeds: Feeds, asked: FuseAsked | None,
                    loops: Iterable[Loop]) -> FuseAsked | None:
    places = tuple(loops)
    base, demand = string_fuse_asked(feeds, places) or asked, demand_on(places, MID_KEY)
    if base is None or demand is None:
        return base
    low = [loop.lowest for loop in places if loop.lowest.known
           and any(d.key == MID_KEY for d in loop.devices)]
    return replace(
        base, fault_highest=demand.highest.called("highest fault through the mid-pack fuse"),
        fault_lowest=smallest(low, "lowest fault through the mid-pack fuse") if low
        else base.fault_lowest,
        time_constant_highest=largest(
            [f for f in (demand.constant, feeds.faults.time_constant_highest)
             if f is not None and f.known], "longest time constant through the mid-pack fuse"),
        slower_loops=demand.pairs, backward=None)


def disconnect_stands(brief: Brief, series: int) -> bool:
    """Whether a service disconnect splits the string, by the brief."""
    after = brief.pack.disconnect_after
    return after.known and 0 < after.number < series


def disconnect_nowhere(brief: Brief, series: int) -> Item | None:
    """The one item where the brief places none, or names one all the same; None otherwise."""
    name = brief.parts.disconnect
    if not brief.pack.disconnect_after.known or disconnect_stands(brief, series):
        return None
    if not name:
        return Item("disconnect", "Service disconnect", "none splits the string by the brief, so "
                    "none is sized and none of the list is put forward", (), notes=(
                        "Without one the whole pack stays joined while somebody works in it: "
                        "pack.disconnect_after places one.",))
    return Item("disconnect", "Service disconnect", f"{name} is named, and no disconnect stands in "
                "this layout by the brief", (), checks=(replace(_stands_nowhere(
                    f"{name} splits the string", "pack.disconnect_after counts the modules before "
                    "it, at least 1 and fewer than the string has; or name none"),
                    stage="isolation and distance"),))


def charge_contactor_item(feeds: Feeds, named: NamedFuses,
                          loops: Iterable[Loop]) -> Item | None:
    """The named charge contactor held against its duty; None where the brief names none.

    Args:
        feeds: every source of the layout.
        named: the fuses of the brief.
        loops: every fault place, the charge inlet among them.
    """
    brief, name = feeds.brief, feeds.brief.parts.charge_contactor
    if not name:
        return None
    title = "Charge contactor"
    if brief.path.charge_contactor == CHARGE_CONTACTOR_CHOICES[0]:
        return Item("charge_contactor", title, f"{name} is named, and the brief states no charge "
                    "contactor", (), checks=(_stands_nowhere(
                        f"{name} stands before the charge inlet",
                        "say path.charge_contactor, or name none"),))
    part = brief.parts.list.part(CONTACTOR, name)
    assert isinstance(part, ContactorPart)
    step = closing_step_of(feeds)
    carry, switch = _demands(feeds, named, loops)
    checks = contactor_part_checks(part, carry, replace(switch, closing_step=step.peak))
    candidate = Candidate(name, (*(_onto_charger(c, part, step) for c in checks),
                                 *_stays_closed(brief, part, named, loops)),
                          switch_facts(part), own=True)
    current = switch.break_charge.shown
    return Item(
        key="charge_contactor", title=title,
        governing=f"each pole alone holds off and breaks {carry.highest_voltage.shown}, carries "
                  f"{current} and breaks it in both directions",
        duty=tuple(f for f in (carry.highest_voltage, carry.continuous_current,
                               carry.fault_highest, step.peak, switch.time_constant,
                               switch.let_through, carry.ambient) if f is not None),
        specification=(
            Requirement("voltage", f"each pole alone above {carry.highest_voltage.least}"
                        f"{carry.highest_voltage.shown} DC",
                        "one pole may be all that is left open"),
            Requirement("carries and breaks", f"{current} at {carry.ambient.shown}, both "
                        "directions" + constant_words(switch)),
            Requirement("makes", step.words, step.why),
            Requirement("short-time withstand", f"{carry.fault_highest.shown}, until the fuse of "
                        "the charge cable has cleared")),
        candidates=(candidate,), open_items=open_of(name, (candidate,), (CHARGE_OPEN,)),
        notes=CHARGE_NOTES, checks=named_part(name, (candidate,)))


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
        return self.peak.shown if self.peak is not None else f"not known: {self.lacks}"

    @property
    def why(self) -> str:
        return f"{self.difference.shown} across the open contact" if self.stated else (
            f"counted as closing onto an empty charger, {self.difference.shown}: {SAY_DIFFERENCE}")


def closing_step_of(feeds: Feeds) -> ChargeClosing:
    """The link's charge into the charger's capacitors, through the wires of the charge branch.

    Of a fast-charge inlet the station's capacitors count; while these are open the bound without
    inductance does, which holds for any.
    """
    brief, branch = feeds.brief, sole_charger(feeds.brief)
    stated = brief.path.charge_difference.known
    difference = brief.path.charge_difference if stated else feeds.pack.highest_voltage
    if branch is None:
        return ChargeClosing(None, "one [[branch]] that charges, with its length, section and "
                             "capacitance", difference, stated)
    near = SHORT_RUN if branch.length.basis == "assumed" else branch.length
    _, wires = branch_loops(near, branch.section, branch.insulation_class)
    station = branch.kind == "fast-charge inlet"
    beyond = brief.station.capacitance if station else branch.capacitance
    lacks = [f"branch.{key} of {branch.name}" for key, open_ in (
        ("section", not branch.section.known),
        ("capacitance: of the charger's output", not station and not beyond.known),
        ) if open_]
    if station and not stated and not beyond.known:
        lacks.append("path.charge_difference, or station.capacitance")
    if lacks:
        return ChargeClosing(None, "; ".join(lacks), difference, stated)
    if not beyond.known:
        return ChargeClosing(trace(tr.current_at, CHARGE_STEP, voltage=difference,
                                   resistance=wires, note="without inductance, a bound"),
                             "", difference, stated)
    peak = trace(closing_peak, CHARGE_STEP, difference=difference, resistance=wires,
                 inductance=feeds.least_inductance(near),
                 capacitance=trace(tr.largest_capacitance, capacitance=beyond,
                                   tolerance=brief.inverter.dc_link_tolerance))
    return ChargeClosing(peak, "", difference, stated)


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
    curve = side.clearing.currents if side.clearing is not None else ()
    current = grid(inlet.lowest.number, inlet.all_sources.number, (*curve, *part.short_time.second))
    return (withstand_check(title, part, side, current, Origin(f"faults at {inlet.title}")),)


def _inlet(loops: Iterable[Loop]) -> Loop:
    return max((loop for loop in loops if loop.key.split(".")[0] == "inlet"),
               key=lambda loop: loop.all_sources.number)


def _demands(feeds: Feeds, named: NamedFuses,
             loops: Iterable[Loop]) -> tuple[CarryDemand, SwitchDemand]:
    brief, pack = feeds.brief, feeds.pack
    branch = charging_branch(brief)
    current = pack.charging_current if branch is None else charging_load(brief, pack, branch)
    inlet = _inlet(loops)
    fused = charging_fuse(brief)
    side = named.side(fused.fuse_part) if fused is not None else None
    fuse = side.part if side is not None else None
    shown = side is not None and fuse is not None and not math.isnan(side.integral)
    limits = [r.terminal_limit for r in brief.cables.route
              if r.carries == "charging" and r.terminal_limit.known]
    return (
        CarryDemand(
            highest_voltage=pack.highest_voltage, continuous_current=current,
            peak_current=current, peak_duration=brief.power.peak_duration,
            ambient=brief.surroundings.box_ambient,
            fault_highest=inlet.all_sources.called("highest fault through the charge contactor"),
            cut_off=fuse.cut_off_current if fuse is not None else None,
            terminal_temperature=largest(limits, "steady limit that the charge cable is sized for")
            if limits else None),
        SwitchDemand(
            closing_step=None, break_discharge=current, break_charge=current,
            time_constant=inlet.time_constant, delay=shortest_delay(brief),
            let_through=fuse.clearing_i2t.called(f"total clearing I²t of {fuse.name}")
            if shown and fuse is not None and fuse.clearing_i2t is not None else None))


def precharge_relay_item(feeds: Feeds, precharge: Item, loops: Iterable[Loop]) -> Item | None:
    """The named pre-charge relay held against its duty; None where the brief names none.

    Args:
        feeds: every source of the layout.
        precharge: the sized pre-charge: its peak is that of the resistor counted there.
        loops: every fault place, for the largest inductance of the circuit that it breaks.
    """
    brief, name = feeds.brief, feeds.brief.parts.precharge_relay
    if not name:
        return None
    part = brief.parts.list.part(CONTACTOR, name)
    assert isinstance(part, ContactorPart)
    peak = next((f for f in precharge.duty if f.title == PEAK), None)
    if peak is None:
        peak = leaf(PEAK, "I_peak", "A", None, "given", note="the pre-charge is not sized")
    whole = in_a_row(brief.precharge.timeout, brief.precharge.tries)
    carry = CarryDemand(
        highest_voltage=feeds.pack.highest_voltage, continuous_current=peak, peak_current=peak,
        peak_duration=whole, ambient=brief.surroundings.box_ambient,
        fault_highest=feeds.faults.highest)
    constant = trace(
        loop_time_constant, "time constant of a failed pre-charge", resistance=peak.inputs[1],
        inductance=largest([loop.inductance for loop in loops], "largest inductance of any loop")
        ) if peak.known else None
    switch = SwitchDemand(closing_step=None, break_discharge=peak, break_charge=peak,
                          time_constant=constant)
    candidate = Candidate(name, relay_part_checks(part, carry, switch), switch_facts(part),
                          own=True)
    return Item(
        key="precharge_relay", title="Pre-charge relay",
        governing=f"makes and breaks {peak.shown} at {carry.highest_voltage.shown} and carries it "
                  f"for {whole.shown}, every try of a failed pre-charge",
        duty=tuple(f for f in (carry.highest_voltage, peak, constant, whole, carry.ambient)
                   if f is not None),
        specification=(
            Requirement("voltage", f"one pole above {carry.highest_voltage.least}"
                        f"{carry.highest_voltage.shown} DC"),
            Requirement("makes and breaks", peak.shown + constant_words(switch),
                        "it interrupts a failed pre-charge"),
            Requirement("carries", f"{peak.shown} for {whole.shown} at {carry.ambient.shown}")),
        candidates=(candidate,), open_items=open_of(name, (candidate,), ()),
        notes=RELAY_NOTES, checks=named_part(name, (candidate,)))


def string_cables_item(feeds: Feeds, cable_current: Finding | None) -> Item | None:
    """Cables between the modules of a string against its load; None where links alone join them.

    Args:
        feeds: every source of the layout.
        cable_current: of the traction cable that fuse and trips are held with; None where no
            cable is chosen.
    """
    brief, pack, path = feeds.brief, feeds.pack, feeds.brief.path
    if path.string_cable_length.number == 0.0:
        return None
    steady = largest([pack.continuous_current, pack.charging_current],
                     "continuous current of the whole pack")
    coldest = smallest([r.insulation_class for r in brief.cables.route if r.carries == "traction"],
                       "temperature class of the insulation, as the traction cables'")
    found = laid_capacity(brief, path.string_cable_section, coldest)
    return Item(
        key="string_cables", title="Cables inside a string",
        governing=f"carry {steady.shown} as long as the load lasts, and every fault of the string",
        duty=(steady, path.string_cable_length, path.string_cable_section,
              *(f for f in (found.hottest, found.coolest) if f is not None)),
        specification=(
            Requirement("carries", f"{steady.shown} in {brief.surroundings.cable_ambient.shown}, "
                        "with its maker's figure for the way it lies"),
            Requirement("insulation", f"above {pack.highest_voltage.least}"
                        f"{pack.highest_voltage.shown} DC",
                        "the whole string's voltage stands against chassis")),
        notes=STRING_CABLE_NOTES,
        checks=(_carried(found, steady), _beside_cable(found, cable_current)))


def _carried(found: Capacity, steady: Finding) -> Check:
    """By the hottest way of laying; one that only the coolest carries is a question."""
    held = judge("carry the continuous current", "thermal load", found.hottest, "at least", steady,
                 missing=found.why or "no table knows this cable", remedy="a larger section")
    best = found.coolest
    if held.verdict == FAIL and best is not None and best.number >= steady.number:
        return replace(held, verdict=CAUTION, reason="laid the hottest way; laid the coolest way "
                       f"they carry {best.shown}: look how they lie")
    return held


def _beside_cable(found: Capacity, cable_current: Finding | None) -> Check:
    """Fuse and trips were held with the traction cable: a lesser one is held with nothing."""
    held = judge("carry as much as the cable that fuse and trips are held with", "thermal load",
                 found.hottest, "at least", cable_current,
                 missing=found.why or "no traction cable is chosen", remedy="a larger section")
    return held if held.verdict != FAIL else replace(
        held, verdict=NOT_EVALUATED, reason="an overload between both is shown to be ended by "
        "nobody: fuse and overload trip are held with the traction cable")


def with_system(item: Item, asked: ManagementAsked) -> Item:
    """The management system's specification with the named one held against it.

    Args:
        item: the specification.
        asked: what it stands on.
    """
    name = asked.brief.parts.management_system
    if not name:
        return item
    part = asked.brief.parts.list.part(MANAGEMENT, name)
    assert isinstance(part, ManagementPart)
    candidate = Candidate(name, system_checks(part, asked), system_facts(part), own=True)
    return replace(item, candidates=(candidate,),
                   checks=(*named_part(name, (candidate,)), *item.checks),
                   open_items=(*open_of(name, (candidate,), ()), *item.open_items))


def _stands_nowhere(title: str, remedy: str) -> Check:
    return Check(title, "who clears", FAIL, FEWEST, ONE_THERE, "at least",
                 "named as a part, and the brief says nowhere that there is one: it protects "
                 "nothing", remedy)
