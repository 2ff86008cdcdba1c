"""Parts that not every pack has: a mid-pack fuse, and a charge contactor.

Each is held against its own duty where the brief names it from the parts list; one that is
named and stands nowhere by the brief is told so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from packcalc.brief import Brief
from packcalc.brief_keys import CHARGE_CONTACTOR_CHOICES
from packcalc.checks import FAIL, Candidate, Check, Item, Requirement, named_part, open_of
from packcalc.clearing import NamedFuses, charging_fuse
from packcalc.feeds import Feeds
from packcalc.findings import Finding, Origin, largest, smallest, trace
from packcalc.part_checks.contactor import (
    CarryDemand, SwitchDemand, contactor_part_checks, switch_facts,
)
from packcalc.part_checks.shown import counted
from packcalc.parts import CONTACTOR, FUSE, ContactorPart
from packcalc.places import MID_KEY, fuse_stands
from packcalc.protect.fuse import FuseAsked, size_main_fuse
from packcalc.protect.places import Device, Loop, path_current
from packcalc.side_circuits import (
    charging_branch, charging_load, shortest_delay, string_fuse_asked,
)

ONE_THERE = counted("one at least", 1, "definition")
FEWEST = counted("stated in the brief", 0, "definition", Origin("brief"))
MID_NOTES = (
    "It carries what its string carries and stands inside the modules' row: in a second chassis "
    "fault it must break with part of the string alone behind it, at a longer time constant.",
    "Two fuses in one loop do not add up their voltages: each alone must break the whole.",
)
CHARGE_NOTES = (
    "Closed for charging alone. What it makes when the inlet's or the station's capacitors are "
    "empty is not in this file: bring both sides to one voltage first.",
    "It breaks the charging current and no fault: a trip must not open it above its breaking "
    "current before the fuse of the charge cable has cleared.",
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
    base = string_fuse_asked(feeds) or asked
    if base is None:
        return None
    mine = [(loop, device) for loop in loops for device in loop.devices if device.key == MID_KEY]
    own = replace(base, chassis_loops=_breaks(mine), **_range(mine))
    item = size_main_fuse(own, (brief.parts.list.part(FUSE, name),), named=name)
    candidates = tuple(c for c in item.candidates if c.own)
    return replace(item, key="mid_fuse", title=title, candidates=candidates,
                   governing=f"breaks {own.fault_highest.shown} and opens {own.fault_lowest.shown} "
                             "between the modules", notes=MID_NOTES,
                   checks=named_part(name, candidates))


def disconnect_stands(brief: Brief, series: int) -> bool:
    """Whether a service disconnect splits the string, by the brief."""
    after = brief.pack.disconnect_after
    return after.known and 0 < after.number < series


def disconnect_nowhere(brief: Brief, series: int) -> Item | None:
    """A disconnect that the brief names and places nowhere, said once; None otherwise."""
    name = brief.parts.disconnect
    if not name or not brief.pack.disconnect_after.known or disconnect_stands(brief, series):
        return None
    return Item("disconnect", "Service disconnect", f"{name} is named, and no disconnect stands in "
                "this layout by the brief", (), checks=(replace(_stands_nowhere(
                    f"{name} splits the string", "pack.disconnect_after counts the modules before "
                    "it, at least 1 and fewer than the string has; or name none"),
                    stage="isolation and distance"),))


def _range(mine: list[tuple[Loop, Device]]) -> dict[str, Finding]:
    """Both ends of what the places ask of it; equal paths share the highest."""
    high = [trace(path_current, current=loop.highest, paths=_paths(device))
            if device.paths > 1 else loop.highest for loop, device in mine if loop.highest.known]
    low = [loop.lowest for loop, _ in mine if loop.lowest.known]
    found = {"fault_highest": largest(high, "highest fault through the mid-pack fuse")} \
        if high else {}
    return found | ({"fault_lowest": smallest(low, "lowest fault through the mid-pack fuse")}
                    if low else {})


def _paths(device: Device) -> Finding:
    return counted("equal paths side by side", device.paths, "definition")


def _breaks(mine: list[tuple[Loop, Device]]) -> tuple[tuple[Finding, Finding], ...]:
    pairs = [pair for _, device in mine for pair in device.breaks]
    return tuple({(v.shown, t.shown): (v, t) for v, t in pairs}.values())


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
    carry, switch = _demands(feeds, named, loops)
    candidate = Candidate(name, contactor_part_checks(part, carry, switch), switch_facts(part),
                          own=True)
    current = switch.break_charge.shown
    return Item(
        key="charge_contactor", title=title,
        governing=f"each pole alone holds off and breaks {carry.highest_voltage.shown}, carries "
                  f"{current} and breaks it in both directions",
        duty=tuple(f for f in (carry.highest_voltage, carry.continuous_current,
                               carry.fault_highest, switch.time_constant,
                               switch.let_through, carry.ambient) if f is not None),
        specification=(
            Requirement("voltage", f"each pole alone above {carry.highest_voltage.shown} DC",
                        "one pole may be all that is left open"),
            Requirement("carries and breaks", f"{current} at {carry.ambient.shown}, both "
                        "directions"),
            Requirement("short-time withstand", f"{carry.fault_highest.shown}, until the fuse of "
                        "the charge cable has cleared")),
        candidates=(candidate,), open_items=open_of(name, (candidate,), (CHARGE_OPEN,)),
        notes=CHARGE_NOTES, checks=named_part(name, (candidate,)))


def _demands(feeds: Feeds, named: NamedFuses,
             loops: Iterable[Loop]) -> tuple[CarryDemand, SwitchDemand]:
    brief, pack = feeds.brief, feeds.pack
    branch = charging_branch(brief)
    current = pack.charging_current if branch is None else charging_load(brief, pack, branch)
    inlet = max((loop for loop in loops if loop.key.split(".")[0] == "inlet"),
                key=lambda loop: loop.all_sources.number)
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


def _stands_nowhere(title: str, remedy: str) -> Check:
    return Check(title, "who clears", FAIL, FEWEST, ONE_THERE, "at least",
                 "named as a part, and the brief says nowhere that there is one: it protects "
                 "nothing", remedy)
