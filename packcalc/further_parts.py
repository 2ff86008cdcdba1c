"""Parts that not every pack has or names: mid-pack fuse, pre-charge relay, string cables …

Each is held against its own duty where the brief names it from the parts list; one that is
named and stands nowhere by the brief is told so.
"""

from __future__ import annotations

from collections.abc import Iterable

from packcalc.brief import Brief
from packcalc.brief_keys import NO_CONNECTOR
from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, Candidate, Check, Item, Requirement, judge, named_part, open_of,
)
from packcalc.feeds import Feeds
from packcalc.findings import OR_LESS, Finding, Origin, largest, leaf, smallest, trace, with_more
from packcalc.layout_findings import cables_inside
from packcalc.part_checks.contactor import (
    CarryDemand, SwitchDemand, relay_part_checks, switch_facts,
)
from packcalc.part_checks.limits import ManagementAsked
from packcalc.part_checks.management import system_checks, system_facts
from packcalc.part_checks.shown import counted
from packcalc.part_formulas import loop_time_constant
from packcalc.parts import CONTACTOR, FUSE, MANAGEMENT, ContactorPart, ManagementPart
from packcalc.place_demands import demand_on
from packcalc.places.stands import MID_KEY, fuse_stands
from packcalc.places.trips import open_loops, open_words
from packcalc.protect.disconnect import CONNECTORS
from packcalc.protect.fuse import FuseAsked, size_main_fuse
from packcalc.protect.places import Loop
from packcalc.protect.precharge import PEAK, in_a_row, relay_rows
from packcalc.protect.state_checks import resistor_open
from packcalc.side_circuits import Capacity, laid_capacity, string_fuse_asked
from packcalc.value import replace

ONE_THERE = counted("one at least", 1, "definition")
FEWEST = counted("stated in the brief", 0, "definition", Origin("brief"))
MID_NOTES = (
    "It carries what its string carries and stands inside the modules' row: in a second chassis "
    "fault it must break with part of the string alone behind it, at a longer time constant.",
    "Two fuses in one loop do not add up their voltages: each alone must break the whole.",
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


def mid_fuse_item(feeds: Feeds, asked: FuseAsked | None, loops: Iterable[Loop]) -> Item | None:
    """What the fuse inside the string is bought to, and the named one held against its place.

    None where the brief neither names one nor puts one there beside the main fuse.

    Args:
        feeds: every source of the layout.
        asked: of the main fuse, whose load a mid-pack fuse of a single string carries as well;
            None holds only that of parallel strings.
        loops: every fault place.
    """
    brief, name = feeds.brief, feeds.brief.parts.mid_fuse
    title, inside = "Mid-pack fuse", "mid-pack" in fuse_stands(brief, feeds.pack.layout.series)
    if name and not inside:
        return Item("mid_fuse", title, f"{name} is named, and no mid-pack fuse stands in this "
                    "layout by the brief", (), checks=(stands_nowhere(
                        f"{name} stands inside the string", "pack.fuse_after counts the modules "
                        "before it, at least 1 and fewer than the string has"),))
    # One that is the main fuse has that one's sheet.
    own = _mid_fuse_asked(feeds, asked, loops) \
        if name or inside and "mid-pack" not in brief.path.main_fuse else None
    if own is None:
        return None
    part = (brief.parts.list.part(FUSE, name),) if name else ()
    item = size_main_fuse(own, part, named=name)
    candidates = tuple(c for c in item.candidates if c.own)
    return replace(item, key="mid_fuse", title=title, candidates=candidates,
                   governing=f"breaks {own.fault_highest.with_end} and opens "
                             f"{own.fault_lowest.with_end} between the modules", notes=MID_NOTES,
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
    own = [loop for loop in places if any(d.key == MID_KEY for d in loop.devices)]
    low = [loop.lowest for loop in own if loop.lowest.known]
    less = open_words(open_loops(own))
    return replace(
        base, fault_highest=demand.highest.called("highest fault through the mid-pack fuse"),
        fault_lowest=smallest(low, "lowest fault through the mid-pack fuse",
                              f"of its loops{OR_LESS}{less}" if less else "") if low
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
                "this layout by the brief", (), checks=(replace(stands_nowhere(
                    f"{name} splits the string", "pack.disconnect_after counts the modules before "
                    "it, at least 1 and fewer than the string has; or name none"),
                    stage="isolation and distance"),))


def connectors_nowhere(brief: Brief) -> Item | None:
    """The one item where the brief says that the main path has none; None otherwise."""
    return Item("connectors", CONNECTORS, "none stand in the main path by the brief, so none are "
                "sized and none of the list is put forward", ()) \
        if brief.parts.connector == NO_CONNECTOR else None


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
    peak, open_ = next((f for f in precharge.duty if f.title == PEAK), None), resistor_open(brief)
    if peak is None:
        peak = leaf(PEAK, "I_peak", "A", None, "given", note="the pre-charge is not sized")
    peak = with_more(peak, open_)
    whole = in_a_row(brief.precharge.timeout, brief.precharge.tries)
    carry = CarryDemand(
        highest_voltage=feeds.pack.highest_voltage, continuous_current=peak, peak_current=peak,
        peak_duration=whole, ambient=brief.surroundings.box_ambient,
        fault_highest=feeds.faults.highest)
    inductance = largest([loop.inductance for loop in loops], "largest inductance of any loop")
    constant = with_more(trace(
        loop_time_constant, "time constant of a failed pre-charge", resistance=peak.inputs[1],
        inductance=inductance), inductance.untold_more or open_) if peak.known else None
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
        specification=relay_rows(peak, carry.highest_voltage, whole, brief.precharge.tries,
                                 carry.ambient, constant),
        candidates=(candidate,), open_items=open_of(name, (candidate,), ()),
        notes=RELAY_NOTES, checks=named_part(name, (candidate,)))


def string_cables_item(feeds: Feeds, cable_current: Finding | None) -> Item | None:
    """Cables between the modules of a string against its load; None where links alone join them.

    Where nobody said that links alone do, or told their section, nothing shows what they carry.

    Args:
        feeds: every source of the layout.
        cable_current: of the traction cable that fuse and trips are held with; None where no
            cable is chosen.
    """
    brief, pack, path = feeds.brief, feeds.pack, feeds.brief.path
    if not cables_inside(brief):
        return None
    steady = largest([pack.continuous_current, pack.charging_current],
                     "continuous current of the whole pack")
    coldest = smallest([r.insulation_class for r in brief.cables.route if r.carries == "traction"],
                       "temperature class of the insulation, as the traction cables'")
    told = path.string_cable_section.basis != "assumed"
    found = laid_capacity(brief, path.string_cable_section, coldest) if told \
        else Capacity(why=_asks_string_cables(brief))
    return Item(
        key="string_cables", title="Cables inside a string",
        governing=f"carry {steady.shown} as long as the load lasts, and every fault of the string",
        duty=(steady, path.string_cable_length, *((path.string_cable_section,) if told else ()),
              *(f for f in (found.hottest, found.coolest) if f is not None)),
        specification=(
            Requirement("carries", f"{steady.shown} in {brief.surroundings.cable_ambient.shown}, "
                        "with its maker's figure for the way it lies"),
            Requirement("insulation", f"above {pack.highest_voltage.least}"
                        f"{pack.highest_voltage.shown} DC",
                        "the whole string's voltage stands against chassis")),
        notes=STRING_CABLE_NOTES,
        checks=(_carried(found, steady), _beside_cable(found, cable_current)))


def _asks_string_cables(brief: Brief) -> str:
    """What to say of cables inside a string of which not all is told."""
    section = "their smallest section (path.string_cable_section)"
    if not brief.left_open("path.string_cable_length"):
        return f"say {section}"
    return ("say how long they are, 0 m where links alone join the modules "
            f"(path.string_cable_length); and {section} where there are any")


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


def stands_nowhere(title: str, remedy: str) -> Check:
    """Of a part that is named and of which the brief says nowhere that there is one."""
    return Check(title, "who clears", FAIL, FEWEST, ONE_THERE, "at least",
                 "named as a part, and the brief says nowhere that there is one: it protects "
                 "nothing", remedy)
