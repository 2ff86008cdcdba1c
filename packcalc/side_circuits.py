"""Strings and branches of one layout: what each is sized from, and their place on the bus."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from packcalc import electrical as el
from packcalc import transients as tr
from packcalc.brief import Branch, Brief
from packcalc.charging import BusLoad
from packcalc.checks import Check, Item, judge
from packcalc.feeds import Feeds
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.modules import traced_charge_current_limit
from packcalc.parts import FusePart
from packcalc.protect.branches import (
    SENSE,
    BranchAsked,
    BranchFuse,
    added_capacitance,
    branch_duty,
    fuse_without_sheet,
    size_branch,
)
from packcalc.protect.faults import fault_time_constant
from packcalc.protect.fuse import FuseAsked, size_main_fuse
from packcalc.protect.strings import ChargeLimit, StringsAsked, size_strings, string_duty

BUS = "behind the contactors"
FuseSheet = Callable[[Branch, Finding, Finding], BranchFuse]


# -- strings --------------------------------------------------------------------------------


def strings_asked(feeds: Feeds) -> StringsAsked | None:
    """What parallel strings are sized from; None where none are paralleled."""
    string, pack, brief = feeds.string, feeds.pack, feeds.brief
    if string is None:
        return None
    return StringsAsked(
        strings=pack.parallel, highest_voltage=pack.highest_voltage,
        voltage_full=pack.full_voltage, resistance_initial=string.resistance_initial,
        voltage_empty=pack.rest_low_voltage, resistance_long=string.resistance_long,
        module_voltage=feeds.module.voltage_empty, continuous_current=pack.continuous_current,
        peak_current=pack.peak_current, charging_current=pack.charging_current,
        charge_limits=_charge_limits(feeds), capacity=string.capacity, slope=string.slope,
        hysteresis=string.hysteresis, voltage_error=brief.strings.voltage_error,
        mismatch=brief.strings.mismatch)


def _charge_limits(feeds: Feeds) -> tuple[ChargeLimit, ...]:
    """Charge limit of one string at both ends of the cells' temperatures and between."""
    brief = feeds.brief
    middle = leaf("cells at room temperature", "θ", "°C", 298.15, "definition",
                  origin=Origin("rule"))
    coldest, hottest = brief.battery.coldest_start, brief.battery.hottest
    inside = (middle,) if coldest.number < middle.number < hottest.number else ()
    return tuple(ChargeLimit(t, _string_limit(feeds, t)) for t in (coldest, *inside, hottest))


def _string_limit(feeds: Feeds, temperature: Finding) -> Finding:
    on_hand = [feeds.brief.modules[part.entry] for part in feeds.pack.layout.parts]
    limits = [trace(el.limit_at_health, "charge limit of one module at its real capacity",
                    limit=traced_charge_current_limit(o.module, temperature),
                    state_of_health=o.state_of_health) for o in on_hand]
    return min(limits, key=lambda f: f.number)


def strings_item(feeds: Feeds) -> Item | None:
    """The strings of a layout as an item; None where none are paralleled."""
    asked = strings_asked(feeds)
    return None if asked is None else size_strings(asked)


def string_fuse_item(feeds: Feeds, parts: Sequence[FusePart] = (), *,
                     named: str = "") -> Item | None:
    """Ratings and the user's fuses held against the duty of a string fuse.

    Args:
        feeds: every source of the layout.
        parts: fuses of the user's list.
        named: the one that the brief names.

    Returns:
        None where no strings are paralleled.
    """
    asked = strings_asked(feeds)
    if asked is None:
        return None
    duty, brief, pack = string_duty(asked), feeds.brief, feeds.pack
    tau_high, tau_low = (trace(fault_time_constant, f"time constant of one string, {words}",
                               inductance=feeds.pack_inductance, resistance=resistance)
                         for words, resistance in (("highest", asked.resistance_initial),
                                                   ("lowest", asked.resistance_long)))
    item = size_main_fuse(FuseAsked(
        highest_voltage=pack.highest_voltage, continuous_current=duty.continuous,
        peak_current=duty.peak, peak_duration=brief.power.peak_duration,
        box_ambient=brief.surroundings.box_ambient, fault_highest=duty.breaking,
        fault_lowest=duty.lowest, time_constant_highest=tau_high, time_constant_lowest=tau_low,
        cycles=brief.power.peaks_in_life), parts, named=named)
    return replace(item, key="string_fuse", title="String fuse")


# -- branches -------------------------------------------------------------------------------


def branch_asked(feeds: Feeds, branch: Branch, fuse: BranchFuse | None = None) -> BranchAsked:
    """What one branch of the brief is sized from.

    Args:
        feeds: every source of the layout.
        branch: as in the brief.
        fuse: its data sheet; None where only the rated current is known.
    """
    brief, pack = feeds.brief, feeds.pack
    bus, sense = branch.taps == BUS, branch.kind == SENSE
    return BranchAsked(
        name=branch.name, kind=branch.kind, power=branch.power, current=branch.current,
        lowest_bus=brief.inverter.voltage_low, length=branch.length,
        tap_length=branch.tap_length, section=branch.section,
        insulation_voltage=branch.insulation_voltage, insulation_class=branch.insulation_class,
        fused_poles=branch.fused_poles,
        fuse=fuse or fuse_without_sheet(branch.fuse_rating, branch.fuse_part),
        capacitance=branch.capacitance, highest_voltage=pack.highest_voltage,
        fault_highest=_fault_at(feeds, branch),
        upstream_long=feeds.module.resistance_long if sense else
        pack.resistance_long if bus else feeds.resistance_box,
        voltage_empty=feeds.module.voltage_empty if sense else pack.rest_low_voltage,
        closing_difference=trace(tr.remaining_voltage, "difference left by pre-charge",
                                 voltage=pack.highest_voltage, bus_voltage=trace(
                                     tr.share_of_voltage, voltage=pack.highest_voltage,
                                     share=brief.precharge.level)) if bus else None,
        link_feeds=bus)


def _fault_at(feeds: Feeds, branch: Branch) -> Finding:
    """Highest current behind the branch's fuse: every source that reaches it."""
    if branch.kind == SENSE:
        return feeds.module.highest
    if branch.taps == BUS:
        return feeds.with_sources(feeds.link_peak(branch.length), feeds.charger, feeds.motor)
    charger = feeds.charger if branch.kind in ("charger", "fast-charge inlet") else None
    return feeds.with_sources(charger)


def branch_items(feeds: Feeds, sheet: FuseSheet | None = None) -> tuple[Item, ...]:
    """One item for each branch of the brief.

    Args:
        feeds: every source of the layout.
        sheet: finds a branch's fuse in the user's parts, for both ends of its fault current;
            None counts on rated currents alone.
    """
    asked = [(b, branch_asked(feeds, b)) for b in feeds.brief.branch]
    if sheet is not None:
        asked = [(b, replace(a, fuse=sheet(b, branch_duty(a).lowest, a.fault_highest)))
                 for b, a in asked]
    return tuple(size_branch(a) for _, a in asked)


# -- on the bus -----------------------------------------------------------------------------


def on_the_bus(brief: Brief) -> tuple[Branch, ...]:
    """Branches that are pre-charged and discharged with the DC link."""
    return tuple(b for b in brief.branch if b.taps == BUS)


def bus_capacitance(brief: Brief) -> Finding:
    """DC link and every branch on the bus, nominal; branches without a figure are not in it."""
    total = brief.inverter.dc_link_capacitance
    for branch in on_the_bus(brief):
        if branch.capacitance.known:
            total = trace(added_capacitance, "capacitance on the bus", first=total,
                          second=branch.capacitance.called(f"input capacitance of {branch.name}"))
    return total


def bus_loads(brief: Brief, highest_voltage: Finding) -> tuple[BusLoad, ...]:
    """Branches on the bus that draw during pre-charge: those with a known power.

    Args:
        brief: with its branches.
        highest_voltage: at which a branch of known current draws its largest power.

    A branch whose waking voltage is open has a `wakes_at` without value: the worst counts.
    Chargers and inlets feed and do not draw.
    """
    quiet = ("charger", "fast-charge inlet", SENSE)
    found = []
    for branch in on_the_bus(brief):
        if branch.kind in quiet:
            continue
        power = branch.power if branch.power.known else _power_of(highest_voltage, branch)
        if power is not None:
            found.append(BusLoad(branch.name, "constant power", None, power, branch.wakes_at))
    return tuple(found)


def _power_of(highest_voltage: Finding, branch: Branch) -> Finding | None:
    if not branch.current.known:
        return None
    return trace(tr.current_power, f"power of {branch.name}", voltage=highest_voltage,
                 current=branch.current)


def bus_checks(brief: Brief) -> tuple[Check, ...]:
    """Branches on the bus whose share of pre-charge and discharge is open."""
    least = leaf("least input capacitance", "C", "mF", 0.0, "definition", origin=Origin("rule"))
    return tuple(judge(f"Share of {b.name} in pre-charge and discharge", "fault range",
                       b.capacitance, "at least", least,
                       missing=f"input capacitance of {b.name} is not known and not in the sums: "
                               "pre-charge takes longer and the bus stays live longer")
                 for b in on_the_bus(brief))
