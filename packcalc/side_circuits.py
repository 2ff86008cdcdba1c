"""Strings and branches of one layout: what each is sized from, and their place on the bus."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from packcalc import electrical as el
from packcalc import transients as tr
from packcalc.brief import Branch, Brief
from packcalc.brief_keys import CHARGERS
from packcalc.cable_rules import ambient_factor, grouping_factor, rule_set, sections
from packcalc.charging import BusLoad
from packcalc.checks import Check, Item, judge
from packcalc.conductors import corrected_current
from packcalc.errors import OutOfRange
from packcalc.feeds import (
    BARE, BUS, OPEN_INPUT, Feeds, bus_capacitance, hottest_class, may_be_fused, named_fuse, nearest,
    perhaps_on_the_bus, untold_in, wherever,
)
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace, with_more
from packcalc.modules import traced_charge_current_limit
from packcalc.pack import PackModel
from packcalc.part_checks.contactor import CarryDemand, SwitchDemand, unknown_break
from packcalc.part_checks.precharge_wires import ResistorCurrent
from packcalc.parts import ContactorPart, FusePart
from packcalc.place_demands import Demand, demand_on
from packcalc.protect.branch_figures import (
    PRECHARGE,
    SENSE,
    AtCharge,
    BranchAsked,
    BranchFuse,
    Weakest,
    added_capacitance,
    branch_duty,
    branch_load,
    discharge_integral,
    fuse_without_sheet,
)
from packcalc.protect.branches import must_open, size_branch
from packcalc.protect.faults import fault_time_constant
from packcalc.protect.fuse import FuseAsked, size_main_fuse
from packcalc.protect.places import Loop
from packcalc.protect.precharge import FAILED, NORMAL, PEAK, in_a_row
from packcalc.protect.state_checks import resistor_open
from packcalc.protect.string_contactors import size_string_contactors
from packcalc.protect.strings import (
    ChargeLimit,
    StringsAsked,
    StringsDuty,
    allowed_reading,
    fuse_opens,
    size_strings,
    string_duty,
)
from packcalc.strings_left import one_string_out
from packcalc.value import replace, value_object

STRING_FUSE = "string_fuse"
STRING_CONTACTORS = ("string_contactors", "cell_trip", "contactors", "bus_contactors",
                     "bus_cell_trip", "pole_contactor", "wire_contactor", "leak_contactor")
AS_MAIN = "The notes of the main fuse hold here as well."
FuseSheet = Callable[[Branch, Finding, Finding], BranchFuse]


# -- strings --------------------------------------------------------------------------------


def strings_asked(feeds: Feeds, loops: Iterable[Loop]) -> StringsAsked | None:
    """What parallel strings are sized from; None where none are paralleled.

    Args:
        feeds: every source of the layout.
        loops: every fault place: what a string's fuse must break.
    """
    string, pack, brief, places = feeds.string, feeds.pack, feeds.brief, tuple(loops)
    demand = demand_on(places, STRING_FUSE)
    if string is None or demand is None:
        return None
    return StringsAsked(
        fuse_breaks=demand.highest.called("highest current that a string fuse must break"),
        strings=pack.parallel, highest_voltage=pack.highest_voltage,
        voltage_full=pack.full_voltage, resistance_initial=string.resistance_initial,
        voltage_empty=pack.rest_low_voltage, resistance_long=with_more(
            string.resistance_long, untold_in(brief, pack, string.resistance_long)),
        module_voltage=feeds.module.voltage_empty, continuous_current=pack.continuous_current,
        peak_current=pack.peak_current, charging_current=pack.charging_current,
        regeneration_current=pack.regeneration_current,
        charge_limits=_charge_limits(feeds), capacity=string.capacity, slope=string.slope,
        hysteresis=string.hysteresis, voltage_error=brief.strings.voltage_error,
        mismatch=brief.strings.mismatch, left_resistance=feeds.left_in_string(1),
        continuous_limit=pack.module_continuous_limit, beside_main=tuple(
            loop.lowest for loop in places if loop.lowest.known and _beside_main(loop)))


def _beside_main(loop: Loop) -> bool:
    """Whether the string's fuse is counted on with the main fuse, and no branch's own is asked."""
    keys = [d.key for d in loop.devices]
    return loop.sizes and STRING_FUSE in keys and "main_fuse" in keys \
        and not any(k.startswith("branch_fuse") for k in keys)


def _charge_limits(feeds: Feeds) -> tuple[ChargeLimit, ...]:
    """Charge limit of one string at both ends of the cells' temperatures and between.

    Strings are joined wherever contactors may be closed, not only where full power is given.
    """
    battery = feeds.brief.battery
    middle = leaf("cells at room temperature", "θ", "°C", 298.15, "definition",
                  origin=Origin("rule"))
    coldest = min((battery.coldest_start, battery.coldest_closed), key=lambda f: f.number)
    hottest = battery.hottest
    inside = (middle,) if coldest.number < middle.number < hottest.number else ()
    return tuple(ChargeLimit(t, _string_limit(feeds, t)) for t in (coldest, *inside, hottest))


def _string_limit(feeds: Feeds, temperature: Finding) -> Finding:
    on_hand = [feeds.brief.modules[part.entry] for part in feeds.pack.layout.parts]
    limits = [trace(el.limit_at_health, "charge limit of one module at its real capacity",
                    limit=traced_charge_current_limit(o.module, temperature),
                    state_of_health=o.state_of_health) for o in on_hand]
    return min(limits, key=lambda f: f.number)


def strings_item(feeds: Feeds, loops: Iterable[Loop], takeover: Finding | None = None,
                 fed_back: Finding | None = None) -> Item | None:
    """The strings of a layout as an item; None where none are paralleled.

    Args:
        feeds, loops: as of `strings_asked`.
        takeover, fed_back: as of `string_contactor_item`; None where it was not asked.
    """
    asked = strings_asked(feeds, loops)
    if asked is None:
        return None
    breaks = None if takeover is None else _broken(feeds, string_duty(asked), takeover, fed_back)
    item = size_strings(asked, breaks)
    return replace(item, checks=(*item.checks, *one_string_out(feeds, string_duty(asked))))


def joining_reading(feeds: Feeds, loops: Iterable[Loop]) -> Finding | None:
    """Measured difference that by itself permits joining a string; None where none does."""
    asked = strings_asked(feeds, loops)
    return None if asked is None else allowed_reading(asked, string_duty(asked))


def string_fuse_item(feeds: Feeds, loops: Iterable[Loop], parts: Sequence[FusePart] = (), *,
                     named: str = "") -> Item | None:
    """Ratings and the user's fuses held against the duty of a string fuse.

    Args:
        feeds, loops: as of `strings_asked`.
        parts: fuses of the user's list.
        named: the one that the brief names.

    Returns:
        None where no strings are paralleled.
    """
    asked = string_fuse_asked(feeds, loops)
    if asked is None:
        return None
    item = size_main_fuse(asked, parts, named=named)
    return replace(item, key="string_fuse", title="String fuse", notes=(AS_MAIN,))


def string_fuse_asked(feeds: Feeds, loops: Iterable[Loop]) -> FuseAsked | None:
    """What a fuse in each string is sized from; None where none are paralleled."""
    places = tuple(loops)
    asked, demand = strings_asked(feeds, places), demand_on(places, STRING_FUSE)
    if asked is None or demand is None:
        return None
    duty, brief, pack = string_duty(asked), feeds.brief, feeds.pack
    tau_low = with_more(trace(
        fault_time_constant, "time constant of one string, lowest",
        inductance=feeds.pack_inductance, resistance=asked.resistance_long),
        feeds.pack_inductance.untold_more)
    tau_high = _longest(demand, "longest time constant that a string fuse must break")
    return FuseAsked(
        highest_voltage=pack.highest_voltage, continuous_current=duty.continuous,
        peak_current=duty.peak, peak_duration=brief.power.peak_duration,
        box_ambient=brief.surroundings.box_ambient, fault_highest=asked.fuse_breaks,
        fault_lowest=fuse_opens(asked, duty), time_constant_highest=tau_high,
        time_constant_lowest=tau_low,
        slower_loops=demand.pairs,
        cycles=brief.power.peaks_in_life, bus_insulation=brief.insulation.bus_withstand,
        path_resistance=brief.path.fuse_resistance, terminal_temperature=joined_limit(brief),
        closing_integral=closing_integral(brief, pack))


def _longest(demand: Demand, title: str) -> Finding:
    """At full voltage, of all places of a device."""
    longest = demand.constant
    return with_more(longest.called(title, note="longest of all fault places"),
                     longest.untold_more) \
        if longest is not None else leaf(title, "τ", "ms", None, "given")


def string_contactor_item(feeds: Feeds, loops: Iterable[Loop],
                          parts: Sequence[ContactorPart] = (), *,
                          takeover: Finding, fed_back: Finding | None = None,
                          closing_step: Finding | None = None,
                          let_through: Finding | None = None, named: str = "") -> Item | None:
    """The user's contactors held against the duty of one string's; None without strings.

    Args:
        feeds, loops: as of `strings_asked`.
        parts: contactors of the user's list.
        takeover: largest current that a trip may break: up to it the contactor opens before the
            main fuse has cleared.
        fed_back: the same of a fault inside its own string, which the others feed backwards
            through it, before the string fuse has cleared; None where it was not asked.
        closing_step: what the first string's contactor makes onto the pre-charged link.
        let_through: of the named string fuse, where its sheet says so.
        named: the one that the brief names.
    """
    places = tuple(loops)
    asked, demand = strings_asked(feeds, places), demand_on(
        places, *STRING_CONTACTORS)
    if asked is None or demand is None:
        return None
    duty, brief, pack = string_duty(asked), feeds.brief, feeds.pack
    discharging, charging = _broken(feeds, duty, takeover, fed_back)
    return size_string_contactors(
        CarryDemand(
            highest_voltage=pack.highest_voltage,
            continuous_current=largest([duty.continuous, duty.charging],
                                       "continuous current of one string, one string open"),
            peak_current=duty.peak, peak_duration=brief.power.peak_duration,
            ambient=brief.surroundings.box_ambient, fault_highest=duty.breaking,
            terminal_temperature=joined_limit(brief),
            counted_resistance=brief.path.contactor_resistance, fault_lowest=duty.lowest),
        SwitchDemand(
            closing_step=_made(duty.charge_limit.called(
                "first current when a string is joined at the allowed difference"), closing_step),
            break_discharge=discharging, break_charge=charging,
            time_constant=_longest(demand, "longest time constant that a string contactor meets"),
            let_through=let_through, delay=shortest_delay(brief), slower_loops=demand.pairs),
        parts, named=named)


def _made(joining: Finding, step: Finding | None) -> Finding:
    """The first string closes onto the link, the others onto the first."""
    if step is None or not step.known:
        return joining
    return largest([joining, step], "largest current that a string contactor makes")


def _broken(feeds: Feeds, duty: StringsDuty, takeover: Finding,
            fed_back: Finding | None) -> tuple[Finding, Finding]:
    """What a string contactor must break, discharging and charging.

    A trip opens it at any current at which the fuse has not cleared before: with one string in
    all of what the main fuse leaves is its own, and what the others push into a fault of its
    string comes backwards through it until the string fuse has cleared.
    """
    pack, brief = feeds.pack, feeds.brief
    discharging = _tripped(
        "largest current that a string contactor must break, its string alone in", takeover,
        [duty.peak], [brief.management.trip_current, feeds.faults.lowest])
    charging = [duty.charging, duty.braking, pack.charging_current, pack.regeneration_current]
    if fed_back is None:
        return discharging, largest(
            charging, "largest current that a string contactor must break, charging, its string "
                      "alone in")
    return discharging, _tripped(
        "largest current that a string contactor must break, charging or fed by the others",
        fed_back, charging, [brief.strings.trip_current, duty.lowest])


def _tripped(title: str, takeover: Finding, loads: Sequence[Finding],
             faults: Sequence[Finding]) -> Finding:
    """The largest of load and what the fuse leaves; where that is open, all that is known of it."""
    if not takeover.known:
        return unknown_break(title, (*loads, *faults), takeover.note)
    return largest([f for f in (*loads, takeover) if f.known], title)


def shortest_delay(brief: Brief) -> Finding | None:
    """The shortest time that the brief gives until a contactor has opened; None without one."""
    delays = [f for f in (brief.management.trip_delay, brief.management.crash_open_time)
              if f.known]
    return smallest(delays, "shortest delay until a contactor has opened") if delays else None


def joined_limit(brief: Brief) -> Finding | None:
    """Up to which the conductors joined to a part of the main path may run."""
    limits = [r.terminal_limit for r in brief.cables.route
              if r.carries == "traction" and r.terminal_limit.known]
    return largest(limits, "steady limit that the traction cables are sized for") \
        if limits else None


def closing_integral(brief: Brief, pack: PackModel) -> Finding:
    """I²t of the step when the main contactor closes onto the pre-charged bus."""
    on_bus = bus_capacitance(brief, pack.layout.in_strings)
    return with_more(trace(
        discharge_integral, "I²t of the step when the main contactor closes",
        capacitance=trace(tr.largest_capacitance, capacitance=on_bus,
                          tolerance=brief.inverter.dc_link_tolerance),
        voltage=trace(tr.closing_difference, voltage=pack.highest_voltage,
                      level=brief.precharge.level),
        resistance=pack.resistance_least,
        note="all the heat of the equalising in the loop's own resistance"), on_bus.untold_more)


# -- branches -------------------------------------------------------------------------------

HOTTEST, COOLEST = ("conduit", "touching in air"), ("spaced in air", "touching in air", "surface")
BESIDE = 2   # circuits counted together where a branch lies hottest: one more beside it


@value_object
class Capacity:
    """What a branch's conductor may carry for ever; the brief does not say how it lies.

    Attributes:
        hottest, coolest: by the hottest and the coolest way of laying of the rule set, else None.
        why: why there is none, and what to do.
        below: where the hottest way knows no conductor so thin, more than it can carry the
            coolest way.
    """

    hottest: Finding | None = None
    coolest: Finding | None = None
    why: str = ""
    below: Finding | None = None


def branch_capacity(brief: Brief, branch: Branch) -> Capacity:
    """By the brief's rule set; below its smallest row nothing is extrapolated."""
    if not branch.section.known:
        return Capacity(why="conductor section of the branch: print on the cable")
    return laid_capacity(brief, branch.section, _coolest_class(brief, branch))


def _coolest_class(brief: Brief, branch: Branch) -> Finding:
    """What a conductor counts with for what it carries: left open, the lowest of the rule set."""
    own = branch.insulation_class
    if not brief.branch_open(branch, "insulation_class"):
        return own
    least = min(table.insulation for table in rule_set(brief.cables.rules).tables)
    return leaf(own.title, own.symbol, own.unit, least, "assumed", source="packcalc-rule",
                origin=own.origin, note="left open: the coolest of the rule set, for what it "
                                        "carries")


def laid_capacity(brief: Brief, section: Finding, insulation: Finding) -> Capacity:
    """What a conductor carries of which nobody said how it lies.

    Args:
        brief: with its rule set and the air around its cables.
        section, insulation: of the conductor: its section and temperature class.
    """
    wire = (section, insulation)
    try:
        return Capacity(_laid(brief, wire, HOTTEST[0], BESIDE) or _laid(
            brief, wire, HOTTEST[1], BESIDE), _at_best(brief, wire))
    except OutOfRange as refusal:
        return Capacity(why=f"outside table: {refusal}, this one has {section.shown}. Ask the "
                            "wire's maker for its current at "
                            f"{brief.surroundings.cable_ambient.shown} in a bundle, and take a "
                            "fuse at or below it", below=_at_most_laid(brief, wire))


def _at_most_laid(brief: Brief, wire: tuple[Finding, Finding]) -> Finding | None:
    """Of the smallest section that is known for any cool way, alone, the coolest way it knows."""
    rule, (section, insulation) = rule_set(brief.cables.rules), wire
    try:
        least = min((sections(rule, rule.table_for(way, insulation.number))[0].area
                     for way in COOLEST if way in rule.installs), key=lambda f: f.number)
    except OutOfRange:
        return None
    return _at_best(brief, (max(least, section, key=lambda f: f.number), insulation))


def _at_best(brief: Brief, wire: tuple[Finding, Finding]) -> Finding | None:
    """Alone, the coolest way whose table holds so small a section; None where none does."""
    for way in COOLEST:
        try:
            found = _laid(brief, wire, way, 1)
        except OutOfRange:
            continue
        if found is not None:
            return found
    return None


def _laid(brief: Brief, wire: tuple[Finding, Finding], install: str,
          circuits: int) -> Finding | None:
    """Current of the conductor laid one way; between two rows the smaller section counts.

    None where the rule set does not know that way.

    Raises:
        OutOfRange: the section, the class or the air lies outside the tables.
    """
    rule = rule_set(brief.cables.rules)
    if install not in rule.installs:
        return None
    section, insulation = wire
    use = rule.table_for(install, insulation.number)
    rows = sections(rule, use)
    fitting = [r for r in rows if r.area.number <= section.number * (1.0 + 1e-9)]
    if not fitting:
        raise OutOfRange(f"{rule.key}, {use.printed}, begins at {rows[0].size}")
    return trace(corrected_current, f"current of a {fitting[-1].size} conductor, {install}",
                 table_current=fitting[-1].current,
                 ambient_factor=ambient_factor(use, brief.surroundings.cable_ambient),
                 grouping_factor=grouping_factor(use, circuits),
                 note=f"{rule.sentence} Laid {install}, {circuits} circuits counted")


def charging_branch(brief: Brief) -> Branch | None:
    """The branch that is one circuit with the charge cable; None unless there is one of each."""
    own = [b for b in brief.branch if b.kind in CHARGERS]
    routes = [r for r in brief.cables.route if r.carries == "charging"]
    return own[0] if len(own) == 1 == len(routes) else None


def sole_charger(brief: Brief) -> Branch | None:
    """The one branch that all charging passes; None where there are several or none."""
    own = [b for b in brief.branch if b.kind in CHARGERS]
    return own[0] if len(own) == 1 else None


def charging_load(brief: Brief, pack: PackModel, branch: Branch) -> Finding:
    """Load of a branch that charges: the larger of its own entry and of the charger's power."""
    own = branch_load(branch.power, branch.current, brief.inverter.voltage_low)
    if not own.known:
        return pack.charging_current
    return largest([pack.charging_current, own], f"current of the charge circuit, {branch.name}")


def branch_asked(feeds: Feeds, loops: Iterable[Loop], branch: Branch,
                 fuse: BranchFuse | None = None) -> BranchAsked:
    """What one branch of the brief is sized from.

    Args:
        feeds: every source of the layout.
        loops: every fault place: what the branch's own fuse must break.
        branch: as in the brief.
        fuse: its data sheet; None where only the rated current is known.
    """
    brief, pack, sense = feeds.brief, feeds.pack, branch.kind == SENSE
    bus = any(b.taps == BUS for b in wherever(brief, branch, feeds.string is not None))
    up = pack.resistance_long if bus else feeds.resistance_box
    joined = branch.name in [b.name for b in perhaps_on_the_bus(brief, feeds.string is not None)]
    capacity = branch_capacity(brief, branch)
    return BranchAsked(
        name=branch.name, kind=branch.kind, power=branch.power, current=branch.current,
        lowest_bus=brief.inverter.voltage_low, length=branch.length,
        tap_length=branch.tap_length, section=branch.section,
        insulation_voltage=branch.insulation_voltage, insulation_class=branch.insulation_class,
        hottest=hottest_class(brief, branch), fused_poles=branch.fused_poles,
        poles_open=brief.branch_open(branch, "fused_poles"),
        fuse=fuse or fuse_without_sheet(branch.fuse_rating, branch.fuse_part,
                                        named_fuse(brief, branch)),
        capacitance=_at_most(brief, branch.capacitance), highest_voltage=pack.highest_voltage,
        near=nearest(branch.length), fuse_untold=may_be_fused(brief, branch),
        at_charge=_at_charge(feeds, branch), **_at_places(feeds, loops, branch),
        upstream_long=feeds.cell.resistance_long if sense else up,
        upstream_open="" if sense else untold_in(brief, pack, up),
        voltage_empty=feeds.cell.voltage_empty if sense else pack.rest_low_voltage,
        closing_difference=trace(tr.remaining_voltage, "difference left by pre-charge",
                                 voltage=pack.highest_voltage, bus_voltage=trace(
                                     tr.share_of_voltage, voltage=pack.highest_voltage,
                                     share=brief.precharge.level)) if joined else None,
        link_feeds=joined, capacity=capacity.hottest, capacity_at_best=capacity.coolest,
        capacity_below=capacity.below,
        charging=pack.charging_current if branch is sole_charger(brief) else None,
        why_no_capacity=capacity.why, ambient=brief.surroundings.box_ambient,
        bus_insulation=None if sense else brief.insulation.bus_withstand)


def _at_most(brief: Brief, capacitance: Finding) -> Finding:
    """At the tolerance of the link's capacitors; what is open or nothing stays so."""
    if not capacitance.known or capacitance.number == 0.0:
        return capacitance
    return trace(tr.largest_capacitance, capacitance=capacitance,
                 tolerance=brief.inverter.dc_link_tolerance)


def _at_charge(feeds: Feeds, branch: Branch) -> AtCharge | None:
    """Behind a charge contactor, or a station's own, a branch ends on what may be empty."""
    brief = feeds.brief
    charger, inlet = CHARGERS
    if branch.kind != inlet and not (branch.kind == charger and brief.charge_contactor_may_stand):
        return None
    stated = brief.path.charge_difference
    return AtCharge(
        stated if stated.known else feeds.pack.highest_voltage,
        _at_most(brief, filled_at_charge(brief, branch)), stated.known)


def filled_at_charge(brief: Brief, branch: Branch) -> Finding:
    """What a branch fills when the charge contactor closes: of an inlet, its own and a station's.

    Without value where either is open.
    """
    own, station = branch.capacitance, brief.station.capacitance
    if branch.kind != CHARGERS[1] or not own.known or (station.known and station.number == 0.0):
        return own
    if not station.known or own.number == 0.0:
        return station
    return trace(added_capacitance, "capacitance behind the inlet's contacts", first=own,
                 second=station)


def _at_places(feeds: Feeds, loops: Iterable[Loop], branch: Branch) -> dict[str, Any]:
    """What the branch's fuse must break at its worst place; without one, what feeds its far end.

    Its sheet is asked for no less than the time constant of the main path, with which every fuse
    of a branch is held at its places.
    """
    places, main = tuple(loops), feeds.faults.time_constant_highest
    demand = demand_on(places, f"branch_fuse.{branch.name}")
    if demand is None:
        far = max((p for p in places if p.key == f"branch.{branch.name}.after"),
                  key=lambda p: p.all_sources.number if p.all_sources.known else 0.0)
        return {"fault_highest": far.all_sources, "time_constant": main if main.known else None}
    longest = [f for f in (demand.constant, main) if f is not None and f.known]
    return {"fault_highest": demand.highest, "slower_loops": demand.pairs,
            "time_constant": largest(longest, "longest time constant that a branch's fuse meets")
            if longest else None}


def branch_items(feeds: Feeds, loops: Iterable[Loop], sheet: FuseSheet | None = None,
                 stubs: Mapping[str, Finding] | None = None,
                 precharge: Item | None = None,
                 weakest: Mapping[str, Weakest] | None = None) -> tuple[Item, ...]:
    """One item for each branch of the brief.

    Args:
        feeds, loops: as of `branch_asked`.
        sheet: finds a branch's fuse in the user's parts, for both ends of its fault current;
            None counts on rated currents alone.
        stubs: largest I²t between tap and fuse, by the branch's name.
        precharge: the sized resistor, whose current its own wires carry.
        weakest: what each branch's fuse is counted on for elsewhere, by the branch's name.
    """
    passes = resistor_current(precharge) if precharge is not None else None
    open_ = resistor_open(feeds.brief)
    if passes is not None and open_:
        passes = passes.or_more(open_)
    places = tuple(loops)
    asked = [(b, replace(branch_asked(feeds, places, b), stub_heat=(stubs or {}).get(b.name),
                         weakest=(weakest or {}).get(b.name),
                         resistor=passes if b.kind == PRECHARGE else None))
             for b in feeds.brief.branch]
    if sheet is not None:
        asked = [(b, replace(a, fuse=sheet(b, must_open(a, branch_duty(a)),
                                         a.fault_highest)))
                 for b, a in asked]
    return tuple(size_branch(a) for _, a in asked)


def resistor_current(precharge: Item) -> ResistorCurrent | None:
    """What the sized resistor sends through its wires; None where it could not be sized."""
    found = {line.title: line for line in precharge.duty}
    if not {PEAK, NORMAL, FAILED} <= found.keys():
        return None
    # From the item's own figures, so that wires and resistor are judged by one resistance.
    capacitance, voltage = found[NORMAL].inputs
    _, resistance, timeout, tries = found[FAILED].inputs
    pulse = with_more(trace(
        discharge_integral, "I²t of a normal pre-charge", capacitance=capacitance,
        voltage=voltage, resistance=resistance,
        note="loads that are awake add to it, at most to the I²t of a failed try"),
        capacitance.untold_more)
    return ResistorCurrent(found[PEAK], pulse, in_a_row(timeout, tries))


# -- on the bus -----------------------------------------------------------------------------


def bus_loads(brief: Brief, highest_voltage: Finding, strung: bool) -> tuple[BusLoad, ...]:
    """Branches that draw during pre-charge: on the bus, or perhaps.

    Args:
        brief, strung: as of `perhaps_on_the_bus`.
        highest_voltage: at which a branch of known current draws its largest power.

    A branch whose waking voltage is open has a `wakes_at` without value: the worst counts. One of
    neither known power nor current has a `power` without value. Chargers and inlets feed and do
    not draw.
    """
    quiet = (*CHARGERS, SENSE, PRECHARGE)  # its own wires feed the bus
    found = []
    for branch in perhaps_on_the_bus(brief, strung):
        if branch.kind in quiet:
            continue
        power = branch.power if branch.power.known else _power_of(highest_voltage, branch)
        found.append(BusLoad(branch.name, "constant power", None, power, branch.wakes_at))
    return tuple(found)


def _power_of(highest_voltage: Finding, branch: Branch) -> Finding:
    if not branch.current.known:
        return branch.power
    return trace(tr.current_power, f"power of {branch.name}", voltage=highest_voltage,
                 current=branch.current)


def _counted_as(branch: Branch) -> str:
    return "not in the sums: with any" if branch.kind in BARE else \
        f"counted with {OPEN_INPUT.shown}, our rule: with less both are shorter, with more"


def bus_checks(brief: Brief, strung: bool) -> tuple[Check, ...]:
    """Branches on the bus, or perhaps, whose share of pre-charge and discharge is open."""
    least = leaf("least input capacitance", "C", "mF", 0.0, "definition", origin=Origin("rule"))
    return tuple(judge(f"Share of {b.name} in pre-charge and discharge", "fault range",
                       b.capacitance, "at least", least,
                       missing=f"input capacitance of {b.name} is not known and {_counted_as(b)} "
                               "pre-charge takes longer and the bus stays live longer")
                 for b in perhaps_on_the_bus(brief, strung))
