"""The protection of one layout: the order in which its parts hang on each other.

Faults first; then the fuse from the load side; cables that this fuse protects; the fuse
again with the smallest cable; contactors and pre-charge last.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

import numpy as np

from packcalc.brief import Branch, Brief, Load, Management, Route
from packcalc.charging import BusLoad
from packcalc.checks import FAIL, NOT_EVALUATED, STAGES, Check, Item, judge
from packcalc.circuit import Circuit, MainPath, study_circuit
from packcalc.clearing import (
    branch_sheet,
    charging_fuse,
    fuse_named,
    largest_to_break,
    path_conductors,
    path_fuses,
)
from packcalc.feeds import bus_capacitance, feeds_of
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace
from packcalc.further_parts import disconnect_nowhere
from packcalc.layouts import CHECKS, Layout
from packcalc.loads import open_loads
from packcalc.misses import Miss, explain
from packcalc.monitoring import cell_share, sensor_deviation
from packcalc.pack import PackModel, model_pack
from packcalc.part_checks.contactor import CarryDemand, SwitchDemand
from packcalc.part_checks.disconnect import PlaceDemand
from packcalc.part_checks.sweep import Trips
from packcalc.part_checks.trip_checks import overload_check
from packcalc.part_formulas import spare_voltage
from packcalc.parts import CONTACTOR, FUSE, CablePart, Part
from packcalc.places import contactor_words, fault_cell, one_pole_loops, places_asked
from packcalc.protect.cable import RouteResult, size_route
from packcalc.protect.coordination import Coordination, CoordinationAsked, coordinate
from packcalc.protect.contactor import (
    CLOSING_STEP,
    ContactorAsked,
    loop_time_constant,
    size_contactors,
)
from packcalc.protect.disconnect import size_connectors, size_disconnect
from packcalc.protect.faults import (
    FaultAsked,
    FaultRange,
    fault_loop_inductance,
    fault_range,
    range_checks,
)
from packcalc.protect.fuse import FuseAsked, overload_by, size_main_fuse
from packcalc.protect.overvoltage import overvoltage_asked, study_overvoltage
from packcalc.protect.places import Loop
from packcalc.protect.precharge import PrechargeAsked, size_precharge
from packcalc.protect.route_figures import MAIN_FUSE, NOBODY, RouteAsked
from packcalc.screening import screen_one
from packcalc.side_circuits import (
    bus_loads,
    charging_branch,
    charging_load,
    closing_integral,
    joined_limit,
    shortest_delay,
)
from packcalc.study import LayoutStudy, choose_layout, list_layouts
from packcalc.transients import closing_difference, largest_capacitance, smallest_resistance
from packcalc.value import value_object

RULE = Origin("rule")
AnyPart = TypeVar("AnyPart", bound=Part)

# Largest of the 5 to 20 µH that a traction pack is counted at: the slower fault is the safe side.
PACK_INDUCTANCE = leaf("inductance of the pack's own loop", "L_p", "µH", 20e-6, "assumed",
                       source="packcalc-rule", origin=RULE,
                       note="upper end of 5 to 20 µH; a longer time constant errs safe")
CLOSING_INDUCTANCE = leaf("inductance of the loop when the main contactor closes", "L", "µH", 5e-6,
                          "assumed", source="packcalc-rule", origin=RULE,
                          note="lower end of 5 to 20 µH; the smaller it is, the higher the step")
LET_THROUGH = leaf("total clearing I²t of the main fuse at the highest fault", "I²t", "A²s", None,
                   "given", note="on the fuse's data sheet, at this DC voltage and time constant")
BREAKING = leaf("largest current that a trip must break, discharging", "I_b", "A", None, "given",
                note="every current at which it opens before the fuse has cleared falls to the "
                     "contactor, which is not known yet")
CABLE_INDUCTANCE = leaf("inductance of a cable pair for each metre of route", "L'", "µH/m",
                        1.3e-6, "assumed", source="packcalc-rule", origin=RULE,
                        note="two cables about 100 mm apart; touching pairs have about half")
COUNTED_TIME = leaf("time within which a fault must be opened to be counted on", "t", "s", 1.0,
                    "assumed", source="packcalc-rule", origin=RULE,
                    note="a hard-shorted lithium cell is not voltage over resistance for longer")


STRINGS_OPEN = (
    "Parallel strings: the contactors here are the string contactors. Every string's pair opens on "
    "the pack's trips at the same command; the whole pack's current is counted through one of "
    "them, which errs high: at the worst one string alone is in.")
STRINGS_TITLE = "Contactors, duty of the whole pack through one string"
STRINGS_NOTE = (
    "Parallel strings: there is no pair common to all. This is the whole pack's duty; it falls to "
    "the contactors of a string that is alone in, so name a part that passes here and under the "
    "string contactors.")


@value_object
class ProtectionStudy:
    """One layout with everything sized for it.

    Attributes:
        study: the layouts it was chosen from.
        named: whether the user named the layout.
        pack: the model at its corners.
        miss: what the layout fails, when it fails a check of the screening.
        faults: highest and lowest fault.
        routes: one result a cable route.
        items: every part, in the order of consequence.
        coordination: fuse, contactor and cable held together over the whole fault range.
        circuit: fault places, strings, branches, insulation, management and switching.
    """

    study: LayoutStudy
    named: bool
    pack: PackModel
    miss: Miss | None
    faults: FaultRange
    routes: tuple[RouteResult, ...]
    items: tuple[Item, ...]
    coordination: Coordination
    circuit: Circuit

    @property
    def brief(self) -> Brief:
        return self.study.brief

    @property
    def layout(self) -> Layout:
        return self.pack.layout

    @property
    def checks(self) -> tuple[tuple[str, Check], ...]:
        """(item title, check) of everything that is not a rating held on trial."""
        found = [("Fault range", c) for c in self.faults.checks]
        for item in self.items:
            found += [(item.title, c) for c in item.checks]
        for place in self.circuit.places:
            found += [(f"Fault place: {place.title}", c) for c in place.checks]
        return tuple(sorted(found, key=lambda pair: STAGES.index(pair[1].stage)))

    @property
    def without_candidate(self) -> tuple[Item, ...]:
        """Items for which no standard rating passes."""
        return tuple(i for i in self.items if i.candidates and not i.shortlist)

    @property
    def failing(self) -> bool:
        """Whether the answer is no anywhere: a failed layout, duty check or empty shortlist."""
        return bool(self.miss or self.without_candidate
                    or any(c.verdict == FAIL for _, c in self.checks))


def study_protection(brief: Brief, layout: str = "", arrangement: str = "",
                     module: int | tuple[int, ...] | None = None) -> ProtectionStudy:
    """Size the protection of a named layout, or of the best one.

    Args:
        brief: what is asked and on hand.
        layout: module notation; empty takes the best layout, or the nearest miss.
        arrangement, module: what else is said of it; see `study.choose_layout`.

    Raises:
        UserError: the layout cannot be built from the modules on hand, or none can.
    """
    study = list_layouts(brief)
    chosen = choose_layout(study, layout, arrangement, module)
    return protect_layout(study, chosen, named=bool(layout or arrangement or module is not None))


def protect_layout(study: LayoutStudy, layout: Layout, *, named: bool = True) -> ProtectionStudy:
    """Size every part for one layout of a study."""
    brief = study.brief
    bare = model_pack(brief, layout)
    overvoltage = study_overvoltage(overvoltage_asked(
        brief, bare, _rated_voltages(brief, layout.in_strings)))
    pack = replace(bare, highest_voltage=overvoltage.highest)
    screened = screen_one(brief, study.asks, layout)
    miss = explain(brief, study.asks, screened, 0) if screened.failures[0] else None
    inductance = _loop_inductance(brief)
    at_the_end = _faults(pack, inductance)
    loops = _loops(brief, pack, at_the_end)
    faults = _demanded(pack, at_the_end, loops)
    listed = brief.parts.list
    first = size_main_fuse(_fuse_asked(brief, pack, faults, None), path_fuses(brief))
    rating = _rating(brief, first)
    routes = tuple(_route(brief, route, pack, faults, rating) for route in brief.cables.route)
    fuse_asked = replace(_fuse_asked(brief, pack, faults, _cable_current(brief, routes)),
                         chassis_loops=_chassis_loops(loops))
    fuse = size_main_fuse(fuse_asked, path_fuses(brief), named=brief.parts.main_fuse)
    fuse = replace(fuse, checks=(*fuse.checks, *_mid_pack(brief, pack)))
    asked = replace(_coordination_asked(brief, pack, faults, routes), **_fed_by_few(
        brief, pack, at_the_end, loops))
    switching = _contactor_asked(brief, pack, faults, inductance)
    held = coordinate(asked, _left(listed.fuses, fuse),
                      _left(listed.contactors, size_contactors(switching, listed.contactors)))
    if layout.in_strings:
        held = replace(held, item=replace(held.item, notes=(STRINGS_OPEN, *held.item.notes)))
    switching = replace(switching, fuse_let_through=_let_through(held),
                        break_discharge=_to_break(held))
    strung = pack.layout.in_strings
    contactors = size_contactors(switching, listed.contactors, named=brief.parts.tripped(strung))
    if strung:
        contactors = replace(contactors, title=STRINGS_TITLE,
                             notes=(STRINGS_NOTE, *contactors.notes))
    routes = tuple(_held_route(brief, route, held) for route in routes)
    precharge = size_precharge(precharge_asked(brief, pack), listed.resistors,
                               named=brief.parts.resistor)
    carry, place = _carry_demand(brief, pack, faults, held), _place_demand(brief, routes)
    step = next((f for f in contactors.duty if f.title == CLOSING_STEP), None)
    circuit = study_circuit(brief, MainPath(pack, at_the_end, routes, held, rating, precharge,
                                            PACK_INDUCTANCE, CABLE_INDUCTANCE, step,
                                            fuse_asked), overvoltage)
    items = (_voltage_item(brief, bare), *circuit.items[:2], fuse, contactors, held.item,
             precharge, *(r.item for r in routes), *circuit.items[2:],
             disconnect_nowhere(brief, layout.series) or size_disconnect(
                 carry, listed.disconnects, switch=_pulled(pack, inductance), place=place,
                 named=brief.parts.disconnect),
             size_connectors(carry, listed.connectors, place=place))
    return ProtectionStudy(study, named, pack, miss, faults, routes, items, held, circuit)


def lowest_with(brief: Brief, layout: Layout) -> Finding:
    """Lowest fault current of a layout with the modules of this brief; nothing is sized for it."""
    pack = model_pack(brief, layout)
    at_the_end = _faults(pack, _loop_inductance(brief))
    return _demanded(pack, at_the_end, _loops(brief, pack, at_the_end)).lowest


def _loop_inductance(brief: Brief) -> Finding:
    return trace(fault_loop_inductance, pack_inductance=PACK_INDUCTANCE,
                 per_length=CABLE_INDUCTANCE, run_length=_traction_length(brief))


def _mid_pack(brief: Brief, pack: PackModel) -> tuple[Check, ...]:
    """A fuse that the brief puts behind the last module of this string is not in it."""
    after, series = brief.pack.fuse_after, pack.layout.series
    if not after.known or after.number < series:
        return ()
    return (Check("mid-pack fuse stands inside the string", "who clears", FAIL, after,
                  reason=f"the brief puts it after module {after.number:.0f}, and a string of this "
                         f"layout has {series}: it protects nothing here",
                  remedy="count along this layout's string, or 0 where there is none"),)


def _demanded(pack: PackModel, faults: FaultRange, loops: tuple[Loop, ...]) -> FaultRange:
    """The range with the lowest fault of every place that the main fuse alone must open.

    A second chassis fault or a long charge cable can give less than the far end of the
    traction cable; places with a fuse of their own behind the main one are held apart.
    """
    mine = [loop for loop in loops if loop.lowest.known
            and "main_fuse" in (keys := {d.key for d in loop.devices})
            and not any(key.startswith("branch_fuse") for key in keys)]
    least = min(mine, key=lambda loop: loop.lowest.number, default=None)
    if least is None or least.lowest.number >= faults.lowest.number:
        return faults
    lowest = least.lowest.called("Lowest fault current", note=(
        f"{faults.lowest.note}; lowest of all places that the main fuse must open: "
        f"{least.title} (far end of the traction cable {faults.lowest.shown})"))
    return replace(faults, lowest=lowest,
                   checks=range_checks(faults.highest, lowest, pack.peak_current))


def _loops(brief: Brief, pack: PackModel, faults: FaultRange) -> tuple[Loop, ...]:
    """Every loop of the layout, before any part is asked."""
    return places_asked(feeds_of(brief, pack, faults, pack_inductance=PACK_INDUCTANCE,
                                 per_length=CABLE_INDUCTANCE)).loops


def _fed_by_few(brief: Brief, pack: PackModel, faults: FaultRange,
                loops: tuple[Loop, ...]) -> dict[str, Finding | None]:
    """What a fault that a few modules feed leaves on their cells, and its lowest current."""
    feeds = feeds_of(brief, pack, faults, pack_inductance=PACK_INDUCTANCE,
                     per_length=CABLE_INDUCTANCE)
    alone = min((one.lowest for one in one_pole_loops(loops) if one.lowest.known),
                key=lambda f: f.number, default=None)
    return {"fault_voltage": fault_cell(feeds, loops), "one_pole_lowest": alone}


def _chassis_loops(loops: tuple[Loop, ...]) -> tuple[tuple[Finding, Finding], ...]:
    """The (voltage, time constant) pairs of every place that asks them of the main fuse."""
    found = [pair for loop in loops for device in loop.devices
             if device.key == "main_fuse" for pair in device.breaks]
    return tuple({(v.shown, t.shown): (v, t) for v, t in found}.values())


def _rated_voltages(brief: Brief, strung: bool) -> tuple[tuple[str, Finding | None], ...]:
    """Rated DC voltages of the named parts, for the over-voltage chain."""
    use = brief.parts
    fuse = use.list.part(FUSE, use.main_fuse) if use.main_fuse else None
    contactor = use.list.part(CONTACTOR, use.tripped(strung)) if use.tripped(strung) else None
    named = [next((c for c in use.list.cables if c.name == r.cable), None)
             for r in brief.cables.route if r.cable]
    cables = [c.rated_voltage_dc for c in named if c is not None and c.rated_voltage_dc]
    return (("main fuse", fuse.rated_voltage_dc if fuse else None),
            (contactor_words(strung), contactor.rated_voltage_dc if contactor else None),
            ("traction cables", smallest(cables, "rated DC voltage of the cables")
             if cables else None))


def _left(parts: tuple[AnyPart, ...], item: Item) -> tuple[AnyPart, ...]:
    """The parts in which no check failed; all of them where every one fails."""
    good = {c.name for c in item.own_parts if c.qualifies}
    tried = {c.name for c in item.own_parts}
    return tuple(p for p in parts if p.name in (good or tried))


def _rating(brief: Brief, fuse: Item) -> Finding | None:
    """Rated current of the fuse that the brief names, else of the smallest that carries."""
    if brief.parts.main_fuse:
        return brief.parts.list.part(FUSE, brief.parts.main_fuse).rated_current
    return _smallest_rating(fuse)


def _coordination_asked(brief: Brief, pack: PackModel, faults: FaultRange,
                        routes: tuple[RouteResult, ...]) -> CoordinationAsked:
    traction = [r for r in routes if r.asked.behind_main_fuse and r.withstand is not None]
    weakest = min(traction, key=lambda r: r.withstand.number, default=None)
    listed, names = brief.parts.list, brief.parts
    opened = names.tripped(pack.layout.in_strings)
    ends = [f for f in (faults.time_constant_highest, faults.time_constant_lowest) if f.known]
    return CoordinationAsked(
        fault_lowest=faults.lowest, fault_highest=faults.highest,
        highest_voltage=pack.highest_voltage,
        time_constant=largest(ends, "largest time constant of the fault circuit")
        if len(ends) == 2 else faults.time_constant_highest,
        counted_time=COUNTED_TIME,
        peak_load=largest([pack.peak_current, pack.regeneration_current], "largest load"),
        continuous_load=largest([pack.continuous_current, pack.charging_current],
                                "continuous load"),
        peak_duration=brief.power.peak_duration,
        cable_withstand=weakest.withstand if weakest else None,
        cable_current=weakest.current_capacity if weakest else None,
        cable_name=f"cable, {weakest.asked.name}" if weakest else "cable",
        conductors=path_conductors(brief, pack, faults.highest),
        fuse=listed.part(FUSE, names.main_fuse) if names.main_fuse else None,
        contactor=listed.part(CONTACTOR, opened) if opened else None,
        trips=_trips(brief), loaded_voltage=_loaded_cell(brief, pack))


def _loaded_cell(brief: Brief, pack: PackModel) -> Finding:
    """Mean voltage of one cell at the end of the peak; no value where no current carries it."""
    if not pack.loaded_voltage.known:
        return pack.loaded_voltage
    cells = sum(p.series * brief.modules[p.entry].module.series for p in pack.layout.parts)
    return trace(cell_share, "mean voltage of one cell under load, cold and nearly empty",
                 voltage=pack.loaded_voltage,
                 cells=leaf("cells in series", "n", "", cells, "definition",
                            origin=Origin("layout")))


def _trips(brief: Brief) -> Trips | None:
    """The current trip of the brief; its delay runs until the contactor has opened."""
    managed = brief.management
    low = _where_known(managed.undervoltage_trip)
    if low is None and not (managed.trip_current.known or managed.overload_trip.known):
        return None
    return Trips(name="over-current trip of the management system",
                 current=_where_known(managed.trip_current),
                 delay=_where_known(managed.trip_delay), to_opened=True, undervoltage=low,
                 undervoltage_delay=_where_known(managed.voltage_delay),
                 sensor_error=_sensor_error(managed),
                 sensor_range=_where_known(managed.current_sensor_range),
                 falls_in_the_cold=managed.trip_falls_in_cold == "yes",
                 blocked_above=_where_known(managed.trip_blocked_above),
                 overload=_where_known(managed.overload_trip),
                 overload_delay=_where_known(managed.overload_delay))


def _sensor_error(managed: Management) -> Finding | None:
    """What the current sensor may be wrong by, in A; of its range, or of the setting at least."""
    known = [f for f in (managed.current_sensor_range, managed.trip_current,
                         managed.overload_trip) if f.known]
    if not known:
        return None
    return trace(sensor_deviation, error=managed.current_sensor_error,
                 full_range=largest(known, "range of the current sensor, or the setting"))


def _where_known(finding: Finding) -> Finding | None:
    return finding if finding.known else None


def _to_break(held: Coordination) -> Finding:
    """Up to there the contactor opens on a trip before the fuse has cleared."""
    most = largest_to_break(held)
    if not most.known:
        return replace(BREAKING, note=f"{BREAKING.note}: {most.note}")
    return most.called(f"{BREAKING.title}, before the fuse has cleared")


def _let_through(held: Coordination) -> Finding:
    """What the chosen fuse lets through at the highest fault, where its sheet says so."""
    fuse = held.asked.fuse
    if fuse is None or held.sweep is None or np.isnan(held.sweep.fuse.integral):
        return LET_THROUGH
    assert fuse.clearing_i2t is not None
    return fuse.clearing_i2t.called(f"total clearing I²t of {fuse.name} at the highest fault")


def _held_route(brief: Brief, route: RouteResult, held: Coordination) -> RouteResult:
    """The route once more, with what fuse and contactor let through over the whole range."""
    told = next(r for r in brief.cables.route if r.name == route.asked.name)
    asked = _charging_held(brief, route.asked, held) if told.carries == "charging" \
        else _traction_held(route.asked, held)
    return route if asked is None else size_route(asked, _cables(brief, told), named=told.cable)


def _traction_held(asked: RouteAsked, held: Coordination) -> RouteAsked | None:
    """The traction cable behind the main fuse and the contactors, faults and overloads."""
    swept = held.sweep
    if swept is None or not asked.behind_main_fuse:
        return None
    shown = swept.covered and not np.isnan(swept.heat).any()
    return replace(
        asked, let_through=held.worst_heat if shown else None,
        overload=lambda capacity: overload_check(
            replace(held.asked, cable_current=capacity, cable_name="this cable"), swept))


def _charging_held(brief: Brief, asked: RouteAsked, held: Coordination) -> RouteAsked | None:
    """The charge cable behind the fuse of its branch, over the whole fault range."""
    branch = charging_fuse(brief)
    if branch is None:
        return None
    fuse = branch_sheet(fuse_named(held, brief), branch, asked.fault_lowest, asked.fault_highest)
    opens = fuse.opens_from is not None and asked.fault_lowest.known \
        and fuse.opens_from.number <= asked.fault_lowest.number
    part = fuse.part
    return replace(asked, let_through=fuse.clearing if opens else None,
                   overload=None if part is None else lambda capacity: overload_by(part, capacity))


def _carry_demand(brief: Brief, pack: PackModel, faults: FaultRange,
                  held: Coordination) -> CarryDemand:
    return CarryDemand(
        highest_voltage=pack.highest_voltage,
        continuous_current=largest([pack.continuous_current, pack.charging_current],
                                   "continuous current of the main path"),
        peak_current=largest([pack.peak_current, pack.regeneration_current],
                             "peak current of the main path"),
        peak_duration=brief.power.peak_duration, ambient=brief.surroundings.box_ambient,
        fault_highest=faults.highest,
        cut_off=held.asked.fuse.cut_off_current if held.asked.fuse else None,
        terminal_temperature=joined_limit(brief),
        spare_voltage=trace(spare_voltage, loaded=pack.loaded_voltage,
                            demanded=pack.demand_voltage)
        if pack.loaded_voltage.known and pack.demand_voltage.known else None)


def _place_demand(brief: Brief, routes: tuple[RouteResult, ...]) -> PlaceDemand:
    """What stands at the disconnect's place, and which section is joined to connectors."""
    disconnect, fuse = brief.pack.disconnect_after, brief.pack.fuse_after
    here = None
    if disconnect.known and fuse.known:
        same = 0 < disconnect.number == fuse.number
        here = leaf("fuses that the brief counts on at the disconnect", "n", "", int(same),
                    "given", origin=fuse.origin)
    sections = [r.chosen.section for r in routes if r.asked.behind_main_fuse
                and r.chosen is not None and r.chosen.section is not None]
    return PlaceDemand(here, largest(sections, "largest section of the traction cables")
                       if sections else None)


def _pulled(pack: PackModel, inductance: Finding) -> SwitchDemand:
    """What a disconnect would break if it were pulled under load."""
    return SwitchDemand(
        closing_step=None, break_discharge=pack.peak_current,
        break_charge=largest([pack.regeneration_current, pack.charging_current],
                             "largest load, charging"),
        time_constant=trace(loop_time_constant, "Time constant of the circuit that is broken",
                            inductance=inductance, resistance=pack.resistance_least))


def _traction_length(brief: Brief) -> Finding:
    lengths = [r.length for r in brief.cables.route if r.carries == "traction"]
    total = sum(item.number for item in lengths)
    if len(lengths) == 1:
        return lengths[0]
    return leaf("length of all traction routes", "l", "m", total, "definition",
                origin=Origin("sum of routes"), note=" + ".join(i.shown for i in lengths))


def _faults(pack: PackModel, inductance: Finding) -> FaultRange:
    return fault_range(FaultAsked(
        voltage_full=pack.full_voltage, resistance_initial=pack.resistance_initial,
        voltage_empty=pack.rest_low_voltage, resistance_long=pack.resistance_long,
        loop_inductance=inductance, peak_load=pack.peak_current))


def _fuse_asked(brief: Brief, pack: PackModel, faults: FaultRange,
                cable: Finding | None) -> FuseAsked:
    steady = largest([pack.continuous_current, pack.charging_current],
                     "continuous current through the main fuse")
    peak = largest([pack.peak_current, pack.regeneration_current],
                   "peak current through the main fuse")
    return FuseAsked(
        highest_voltage=pack.highest_voltage, continuous_current=steady, peak_current=peak,
        peak_duration=brief.power.peak_duration, box_ambient=brief.surroundings.box_ambient,
        fault_highest=faults.highest, fault_lowest=faults.lowest,
        time_constant_highest=faults.time_constant_highest,
        time_constant_lowest=faults.time_constant_lowest, cycles=brief.power.peaks_in_life,
        cable_current=cable,
        string_count=pack.layout.parallel if pack.layout.arrangement == "strings" else 1,
        bus_insulation=brief.insulation.bus_withstand,
        path_resistance=brief.path.fuse_resistance, terminal_temperature=joined_limit(brief),
        closing_integral=closing_integral(brief, pack))


def _smallest_rating(fuse: Item) -> Finding | None:
    """Rated current of the smallest fuse that carries the load; None beyond the series.

    Whether it also opens at the lowest fault is held with the fuse: it is no ground to size the
    cable for none.
    """
    carries = next((c for c in fuse.candidates if not c.own and all(
        k.verdict != FAIL for k in c.checks if k.stage == "thermal load")), None)
    if carries is None:
        return None
    return leaf("rated current of the main fuse", "I_n", "A", float(carries.name.split()[0]),
                "read", source="iec-60269-1", origin=Origin("ratings of the main fuse"),
                note="smallest standard rating that the load side allows")


def _cable_current(brief: Brief, routes: tuple[RouteResult, ...]) -> Finding | None:
    """Capacity of the smallest traction cable; none at all where a route has no cable."""
    title = "capacity of the smallest traction cable"
    names = {r.name for r in brief.cables.route if r.carries == "traction"}
    mine = [r for r in routes if r.asked.name in names]
    bare = next((r for r in mine if r.current_capacity is None), None)
    if bare is not None:
        return leaf(title, "I_z", "A", 0.0, "definition", origin=Origin("cable table"),
                    note=f"no cable fits the route {bare.asked.name}: there is none that a fuse "
                         "could protect")
    return smallest([r.current_capacity for r in mine], title) if mine else None


def _route(brief: Brief, route: Route, pack: PackModel, faults: FaultRange,
           rating: Finding | None) -> RouteResult:
    traction = route.carries == "traction"
    branch = None if traction else charging_branch(brief)
    charging = pack.charging_current if branch is None else charging_load(brief, pack, branch)
    if not traction:
        rating = None if branch is None else _branch_rating(brief, branch)
    steady = (largest([pack.continuous_current, pack.charging_current], "continuous current")
              if traction else charging)
    peak = (largest([pack.peak_current, pack.regeneration_current], "peak current")
            if traction else charging)
    return size_route(RouteAsked(
        name=route.name, length=route.length, install=route.install,
        grouped_circuits=route.grouped_circuits, insulation_class=route.insulation_class,
        terminal_limit=route.terminal_limit, joint_limit=route.joint_limit,
        ambient=brief.surroundings.cable_ambient, rules=brief.cables.rules,
        continuous_current=steady, peak_current=peak, peak_duration=brief.power.peak_duration,
        system_voltage=brief.inverter.voltage_low,
        voltage_drop_limit=brief.cables.voltage_drop_limit,
        fault_highest=faults.highest, fault_lowest=faults.lowest, counted_time=COUNTED_TIME,
        resistance_budget=_budget(brief, pack, route) if traction else None,
        fuse_rating=rating, overload_device=_overload_device(traction, rating, branch),
        why_nobody="no standard rating of the main fuse carries the load" if traction else "",
        highest_voltage=pack.highest_voltage), _cables(brief, route), named=route.cable)


def _cables(brief: Brief, route: Route) -> tuple[CablePart, ...]:
    """The cable that the brief names for a route, else every cable of the list."""
    cables = brief.parts.list.cables
    return tuple(c for c in cables if not route.cable or c.name == route.cable)


def _branch_rating(brief: Brief, branch: Branch) -> Finding | None:
    """Rated current of a branch's fuse: the named part's, else the brief's; None for neither."""
    part = brief.parts.list.part(FUSE, branch.fuse_part) if branch.fuse_part else None
    rating = (part.rated_current if part is not None else None) or branch.fuse_rating
    return rating if rating.known else None


def _overload_device(traction: bool, rating: Finding | None, branch: Branch | None) -> str:
    if traction:
        return MAIN_FUSE if rating is not None else NOBODY
    if branch is not None and rating is not None:
        return f"fuse of the branch {branch.name}"
    return "charger, which cannot supply more than its own rating"


def _budget(brief: Brief, pack: PackModel, route: Route) -> Finding:
    """The route's share of the loop resistance with which sag was judged."""
    total = _traction_length(brief).number
    share = route.length.number / total
    if share >= 1.0:
        return pack.cable_allowance
    return leaf(f"share of the cable allowance of {route.name}", "R_cab", "mΩ",
                pack.cable_allowance.number * share, "definition", origin=RULE,
                note=f"{pack.cable_allowance.shown} by length")


def _contactor_asked(brief: Brief, pack: PackModel, faults: FaultRange,
                     inductance: Finding) -> ContactorAsked:
    step = trace(closing_difference, voltage=pack.highest_voltage,
                 level=brief.precharge.level)
    capacitance = trace(largest_capacitance,
                        capacitance=bus_capacitance(brief, pack.layout.in_strings),
                        tolerance=brief.inverter.dc_link_tolerance)
    return ContactorAsked(
        highest_voltage=pack.highest_voltage, continuous_current=pack.continuous_current,
        peak_current=pack.peak_current, peak_duration=brief.power.peak_duration,
        charge_current=pack.charging_current, regeneration_current=pack.regeneration_current,
        fault_highest=faults.highest, fuse_let_through=LET_THROUGH,
        break_discharge=BREAKING,
        break_charge=largest([pack.regeneration_current, pack.charging_current],
                             "largest current that a trip must break, charging"),
        closing_voltage_difference=step, loop_resistance=pack.resistance_least,
        loop_inductance=CLOSING_INDUCTANCE,
        capacitance=capacitance, box_ambient=brief.surroundings.box_ambient,
        breaking_inductance=inductance, terminal_temperature=joined_limit(brief),
        counted_resistance=brief.path.contactor_resistance, delay=shortest_delay(brief))


def wakes_at(load: Load) -> Finding:
    """A resistor draws from the first volt; a constant power is asked for its wake-up."""
    if load.wakes_at.known or load.kind != "resistive":
        return load.wakes_at
    return leaf(load.wakes_at.title, load.wakes_at.symbol, load.wakes_at.unit, 0.0, "assumed",
                source="packcalc-rule", origin=load.wakes_at.origin,
                note="a resistive load is counted as always connected")


def precharge_asked(brief: Brief, pack: PackModel) -> PrechargeAsked:
    """The bus with every capacitor and load on it, and what the pre-charge is asked to do."""
    p = brief.precharge
    loads = tuple(BusLoad(load.name, load.kind,
                          load.resistance if load.resistance.known else None,
                          load.power if load.power.known else None, wakes_at(load))
                  for load in p.load)
    named = {load.name for load in loads}
    branches = bus_loads(brief, pack.highest_voltage, pack.layout.in_strings)
    loads += tuple(load for load in branches if load.name not in named)
    bleed = brief.inverter.discharge_resistance
    if bleed.known:
        least = trace(smallest_resistance, "discharge resistor, lower tolerance", unit="kΩ",
                      resistance=bleed, tolerance=brief.inverter.discharge_tolerance,
                      note="the slow corner: the most that it draws")
        loads += (BusLoad("discharge resistor", "resistive", least, None, leaf(
            "voltage at which the discharge resistor draws", "U_on", "V", 0.0, "definition",
            origin=RULE, note="it lies across the bus from the first volt")),)
    return PrechargeAsked(
        highest_voltage=pack.highest_voltage, lowest_voltage=pack.rest_low_voltage,
        capacitance=bus_capacitance(brief, pack.layout.in_strings),
        capacitance_tolerance=brief.inverter.dc_link_tolerance,
        resistor_tolerance=p.resistor_tolerance, time_limit=p.time_limit, level=p.level,
        timeout=p.timeout, tries=p.tries, loads=loads,
        awake=tuple((load.name, load.power) for load in branches
                    if load.name in named and load.power is not None),
        ambient=brief.surroundings.box_ambient)


def _voltage_item(brief: Brief, pack: PackModel) -> Item:
    """Highest working voltage: the chain behind every rating, distance and glove."""
    inverter = brief.inverter
    checks = (
        judge("highest voltage of the battery side within the inverter's absolute maximum",
              "highest voltage", pack.highest_voltage, "at most", inverter.absolute_maximum,
              remedy="fewer modules in series, a lower charge limit, or less braking power cold"),
        judge("end of charging within the inverter's operating range", "highest voltage",
              pack.full_voltage, "at most", inverter.voltage_high,
              remedy="a lower charge limit, or fewer modules in series"),
        judge("charger does not exceed its own range", "highest voltage", pack.full_voltage,
              "at most", brief.charger.voltage_high,
              missing="charger's voltage range is not given: read it on its plate"),
        judge("charger reaches down to the empty pack", "convenience", pack.empty_voltage,
              "at least", brief.charger.voltage_low,
              missing="charger's voltage range is not given: read it on its plate"),
        _full_power(pack),
        *(Check(f"power of {name} stands in the load of the main path", "thermal load",
                NOT_EVALUATED, reason=f"neither power nor current of {name} is known: read its "
                "plate; sag, fuse, contactors and cables are sized without it")
          for name in open_loads(brief)),
    )
    return Item(
        key="highest_voltage", title="Highest voltage of the battery side",
        governing=_governing(pack.highest_voltage),
        duty=(pack.highest_voltage, pack.full_voltage, pack.regeneration_voltage),
        checks=checks,
        open_items=() if brief.regeneration.voltage_limit.known else (
            "inverter's own limit on braking voltage, with tolerance",),
        notes=("Battery side only: load dump, a spinning motor and a charging station stand in the "
               "over-voltage chain, whose highest voltage rates every part.",
               "Gloves, meters, insulation and distances go by the highest of that chain."))


def layout_checks(study: ProtectionStudy) -> tuple[tuple[str, float], ...]:
    """Each screening check in words with its relative margin; negative fails."""
    row = screen_one(study.brief, study.study.asks, study.layout)
    return tuple((text, float(row.margins[name][0])) for name, text in CHECKS)


def _governing(finding: Finding) -> str:
    """What governs a chosen finding, from its note."""
    return finding.note.split("governed by: ")[-1] if finding.note else finding.title


def _full_power(pack: PackModel) -> Check:
    """Loaded voltage at the end of the peak; a power that no current carries fails."""
    title, stage = "full power at the end of the peak, cold and nearly empty", "thermal load"
    remedy = "warmer cells, less power, more in parallel or one more in series"
    if not pack.loaded_voltage.known:
        return Check(title, stage, FAIL, pack.available_power, None, "",
                     f"the power cannot be delivered at this corner: at most "
                     f"{pack.available_power.shown}", remedy)
    return judge(title, stage, pack.loaded_voltage, "at least", pack.demand_voltage,
                 remedy=remedy)
