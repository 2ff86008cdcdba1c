"""What each part is asked: the brief and the electrical model turned into the duty of a part.

`packcalc.protection` sizes every part with it, in the order in which one rests on another.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from packcalc.brief import Branch, Brief, Load, Management, Route
from packcalc.brief_keys import INSTALL_CHOICES, NO_LOAD_OF_ITS_OWN, STRICTEST_INSTALL
from packcalc.charging import BusLoad, discharge_load
from packcalc.checks import FAIL, Item
from packcalc.clearing import path_conductors
from packcalc.electrical import loaded_voltage, power_current
from packcalc.feeds import (
    bus_capacitance, fault_capacitance, string_cables_open,
)
from packcalc.findings import OR_LESS, Finding, Origin, largest, leaf, smallest, trace, with_more
from packcalc.layout_findings import cables_inside, path_open, traction_open, unnamed
from packcalc.loads import peak_drawn
from packcalc.monitoring import cell_share, sensor_deviation
from packcalc.pack import PackModel, at_load
from packcalc.part_checks.contactor import CarryDemand, SwitchDemand, unknown_break
from packcalc.part_checks.disconnect import PlaceDemand
from packcalc.part_checks.limits import tolerance_open
from packcalc.part_checks.links_beside import WHOLE, Beside
from packcalc.part_checks.sweep import Trips, fuse_side, trips_alone
from packcalc.part_formulas import (
    contacts_drop, equal_share, loop_time_constant, spare_beside, spare_voltage,
)
from packcalc.parts import CONTACTOR, FUSE, CablePart
from packcalc.place_demands import Demand, demand_on
from packcalc.places.settings import TripSettings
from packcalc.places.slowest import slowest, traction
from packcalc.places.stands import (
    MID_PERHAPS, contactor_words, fuse_in_disconnect, fuse_stands, mid_fuse_open,
)
from packcalc.protect.cable import RouteResult, size_route
from packcalc.protect.contactor import ContactorAsked
from packcalc.protect.coordination import Coordination, CoordinationAsked
from packcalc.protect.faults import FaultAsked, FaultRange, fault_loop_inductance, fault_range
from packcalc.protect.fuse import FuseAsked
from packcalc.protect.places import Loop, resistance_left
from packcalc.protect.precharge import PrechargeAsked
from packcalc.protect.route_figures import MAIN_FUSE, NOBODY, RouteAsked
from packcalc.protect.strings import best_string_share, other_strings
from packcalc.side_circuits import (
    bus_loads,
    charging_branch,
    charging_load,
    closing_integral,
    joined_limit,
    shortest_delay,
)
from packcalc.string_sweep import string_trips
from packcalc.transients import closing_difference, largest_capacitance
from packcalc.value import replace

RULE = Origin("rule")
# Largest of the 5 to 20 µH that a traction pack is counted at: the slower fault is the safe side.
PACK_INDUCTANCE = leaf("inductance of the pack's own loop", "L_p", "µH", 20e-6, "assumed",
                       source="packcalc-rule", origin=RULE,
                       note="upper end of 5 to 20 µH; a longer time constant errs safe")
CLOSING_INDUCTANCE = leaf("inductance of the loop when the main contactor closes", "L", "µH", 5e-6,
                          "assumed", source="packcalc-rule", origin=RULE,
                          note="lower end of 5 to 20 µH; the smaller it is, the higher the step")
LET_THROUGH = leaf("total clearing I²t of the main fuse at the highest fault", "I²t", "A²s", None,
                   "given", note="on the fuse's data sheet, at this DC voltage and time constant")
BREAKING = "largest current that a trip must break, discharging"
NO_CURVE = "no fuse curve is known"
CABLE_INDUCTANCE = leaf("inductance of a cable pair for each metre of route", "L'", "µH/m",
                        1.3e-6, "assumed", source="packcalc-rule", origin=RULE,
                        note="two cables about 100 mm apart; touching pairs have about half")
MAIN_FUSE_CONSTANT = "Time constant at the highest fault, main fuse loop"
BOTH_PARTS = leaf("disconnect and connectors, which share alike", "n", "", 2, "definition",
                  origin=RULE)
ONCE = leaf("contacts of a part, counted together", "n", "", 1, "definition", origin=RULE)
SPARE_SHARED = "voltage to spare for its contacts"
COUNTED_TIME = leaf("time within which a fault must be opened to be counted on", "t", "s", 1.0,
                    "assumed", source="packcalc-rule", origin=RULE,
                    note="a hard-shorted lithium cell is not voltage over resistance for longer")


def pack_inductance(brief: Brief) -> Finding:
    """Modules and links, and the cables inside a string where there are any, or may be."""
    if not cables_inside(brief):
        return PACK_INDUCTANCE
    return with_more(trace(
        fault_loop_inductance, "inductance of the pack with the cables inside a string",
        pack_inductance=PACK_INDUCTANCE, per_length=CABLE_INDUCTANCE,
        run_length=brief.path.string_cable_length), string_cables_open(brief))


def loop_inductance(brief: Brief) -> Finding:
    inside = pack_inductance(brief)
    return with_more(trace(
        fault_loop_inductance, pack_inductance=inside, per_length=CABLE_INDUCTANCE,
        run_length=_traction_length(brief)), traction_open(brief) or inside.untold_more)


def rated_voltages(brief: Brief, strung: bool) -> tuple[tuple[str, Finding | None], ...]:
    """Rated DC voltages of the named parts and of the loads, for the over-voltage chain."""
    use = brief.parts
    fuse = use.list.part(FUSE, use.main_fuse) if use.main_fuse else None
    contactor = use.list.part(CONTACTOR, use.tripped(strung)) if use.tripped(strung) else None
    return (("main fuse", fuse.rated_voltage_dc if fuse else None),
            (contactor_words(strung), contactor.rated_voltage_dc if contactor else None),
            *((f"{carries} cables", _of_cables(brief, carries)) for carries in _carried(brief)),
            *((f"load of {branch.name}", branch.input_voltage if branch.input_voltage.known
               else None) for branch in brief.branch if branch.kind not in NO_LOAD_OF_ITS_OWN))


def _carried(brief: Brief) -> tuple[str, ...]:
    """What the cables carry: traction always, and what else a route is entered for."""
    return tuple(dict.fromkeys(("traction", *(r.carries for r in brief.cables.route))))


def _of_cables(brief: Brief, carries: str) -> Finding | None:
    """The lowest rating of these cables; or less, where one of them names none."""
    rated, open_ = [], ""
    for route in brief.cables.route:
        if route.carries != carries:
            continue
        part = next((c for c in brief.parts.list.cables if c.name == route.cable), None)
        if part is not None and part.rated_voltage_dc is not None:
            rated.append(part.rated_voltage_dc)
        else:
            open_ = open_ or f"{OR_LESS}the rated DC voltage of the cable of {route.name} is open"
    return smallest(rated, f"rated DC voltage of the {carries} cables",
                    f"as far as told{open_}" if open_ else "") if rated else None


def asked_of_coordination(brief: Brief, pack: PackModel, faults: FaultRange,
                        routes: tuple[RouteResult, ...],
                        settings: TripSettings | None = None) -> CoordinationAsked:
    # A named cable of which nobody knows what it stands may be the weakest.
    traction = [r for r in routes if r.asked.behind_main_fuse and (r.withstand or r.chosen)]
    weakest = min(traction, default=None,
                  key=lambda r: r.withstand.number if r.withstand else 0.0)
    listed, names = brief.parts.list, brief.parts
    opened = names.tripped(pack.layout.in_strings)
    ends = [f for f in (faults.time_constant_highest, faults.time_constant_lowest) if f.known]
    constant = largest(ends, "largest time constant of the fault circuit") \
        if len(ends) == 2 else faults.time_constant_highest
    loaded = _loaded_cell(brief, pack)
    return CoordinationAsked(
        entries=("parts.main_fuse", "parts.string_contactor" if pack.layout.in_strings
                 else "parts.contactor"), fault_lowest=faults.lowest, fault_highest=faults.highest,
        highest_voltage=pack.highest_voltage,
        time_constant=constant,
        counted_time=COUNTED_TIME,
        peak_load=largest([pack.peak_current, pack.regeneration_current], "largest load"),
        continuous_load=largest([pack.continuous_current, pack.charging_current],
                                "continuous load"),
        peak_duration=brief.power.peak_duration,
        cable_withstand=weakest.withstand if weakest else None,
        cable_current=weakest.current_capacity if weakest else None,
        cable_warming=weakest.warming if weakest else None,
        cable_name=f"cable, {weakest.asked.name}" if weakest else "cable",
        conductors=path_conductors(brief, pack, faults.highest),
        fuse=listed.part(FUSE, names.main_fuse) if names.main_fuse else None,
        contactor=listed.part(CONTACTOR, opened) if opened else None,
        trips=_trips_at_load(_trips(brief, settings), loaded), loaded_voltage=loaded,
        beside=_beside(brief, pack, constant))


def _beside(brief: Brief, pack: PackModel, constant: Finding) -> tuple[Beside, ...]:
    """Fuses besides the main one that an overload of the pack passes."""
    names, strung = brief.parts, pack.layout.in_strings
    stands, open_ = (of(brief, pack.layout.series) for of in (fuse_stands, mid_fuse_open))
    inside = fuse_in_disconnect(brief, pack.layout.series)
    middle = open_ or "mid-pack" in stands and (stands != "mid-pack" or names.mid_fuse)
    named = (*((("string fuse", names.string_fuse),) if strung else ()),
             *(((MID_PERHAPS if open_ else "mid-pack fuse", names.mid_fuse),) if middle else ()),
             *(((inside, ""),) if inside else ()))
    share = trace(best_string_share, "share of the best string, one string open",
                  strings=trace(other_strings, "strings left when one is open",
                                strings=pack.parallel),
                  mismatch=brief.strings.mismatch) if strung else WHOLE
    own = trips_alone(string_trips(brief), None).lines if strung else ()
    return tuple(Beside(role, fuse_side(
        brief.parts.list.part(FUSE, name) if name else None, pack.highest_voltage, constant,
        COUNTED_TIME.number), share, own, strung,
        pack.layout.parallel if role == "string fuse" else 1) for role, name in named)


def _loaded_cell(brief: Brief, pack: PackModel) -> Finding:
    """Mean voltage of one cell at the end of the peak; no value where no current carries it."""
    if not pack.loaded_voltage.known:
        return pack.loaded_voltage
    cells = sum(p.series * brief.modules[p.entry].module.series for p in pack.layout.parts)
    return trace(cell_share, "mean voltage of one cell under load, cold and nearly empty",
                 voltage=pack.loaded_voltage, note=pack.loaded_voltage.note,
                 cells=leaf("cells in series", "n", "", cells, "definition",
                            origin=Origin("layout")))


def _trips(brief: Brief, settings: TripSettings | None = None) -> Trips | None:
    """The current trip of the brief; its delay runs until the contactor has opened.

    Args:
        brief: what is asked.
        settings: of a trip that follows the cells' temperature.
    """
    managed = brief.management
    low = _where_known(managed.undervoltage_trip)
    # One of which the delay alone is told is there too: nobody knows what it leaves closed.
    if low is None and not any(entry.known for entry in (
            managed.trip_current, managed.overload_trip, managed.trip_delay,
            managed.overload_delay, managed.voltage_delay)):
        return None
    return Trips(name="over-current trip of the management system",
                 current=_where_known(managed.trip_current) if settings is None
                 else settings.current, moving=settings.moving if settings else None,
                 delay=_where_known(managed.trip_delay), to_opened=True, undervoltage=low,
                 undervoltage_delay=_where_known(managed.voltage_delay),
                 sensor_error=sensor_error(managed),
                 sensor_range=_where_known(managed.current_sensor_range),
                 falls_in_the_cold=managed.trip_falls_in_cold == "yes",
                 blocked_above=_where_known(managed.trip_blocked_above),
                 overload=_where_known(managed.overload_trip),
                 overload_delay=_where_known(managed.overload_delay),
                 opens_within=shortest_delay(brief))


def _trips_at_load(trips: Trips | None, loaded: Finding) -> Trips | None:
    """A level of the cells that may lie over their voltage under load is counted on nowhere."""
    less = loaded.may_be_less
    return trips if trips is None or trips.undervoltage is None or not less else replace(
        trips, undervoltage_open="whether the cells' undervoltage trip leaves the load alone is "
                                 f"not evaluated, and it is counted on nowhere: {less}")


def sensor_error(managed: Management) -> Finding | None:
    """What the current sensor may be wrong by, in A; of its range, or of the setting at least."""
    known = [f for f in (managed.current_sensor_range, managed.trip_current,
                         managed.overload_trip) if f.known]
    if not known:
        return None
    return trace(sensor_deviation, error=managed.current_sensor_error,
                 full_range=largest(known, "range of the current sensor, or the setting"))


def _where_known(finding: Finding) -> Finding | None:
    return finding if finding.known else None


def carry_demand(brief: Brief, pack: PackModel, faults: FaultRange,
                  held: Coordination) -> CarryDemand:
    return CarryDemand(
        highest_voltage=pack.highest_voltage,
        continuous_current=largest([pack.continuous_current, pack.charging_current],
                                   "continuous current of the main path"),
        peak_current=largest([pack.peak_current, pack.regeneration_current],
                             "peak current of the main path"),
        peak_duration=brief.power.peak_duration, ambient=brief.surroundings.box_ambient,
        fault_highest=faults.highest, fault_lowest=faults.lowest, overload=held.overload,
        in_main_path=True,
        terminal_temperature=joined_limit(brief),
        spare_voltage=_spare(brief, pack))


def _spare(brief: Brief, pack: PackModel) -> Finding | None:
    """What contacts may take in all, before any of them is counted.

    At the current that the peak draws with the bus at what full power needs: each volt that is
    lost raises it up to there. None where no voltage of the peak is known.
    """
    if not (pack.loaded_voltage.known and pack.demand_voltage.known):
        return None
    bare = pack.resistance_sag if pack.contacts is None else trace(
        resistance_left, "the same without the contacts of disconnect and connectors",
        whole=pack.resistance_sag, part=pack.contacts)
    drawn = trace(power_current, "current of the peak at what full power needs", symbol="I_d",
                  power=peak_drawn(brief), voltage=pack.demand_voltage)
    note = at_load(brief, path_open(brief, pack.resistance_sag, traction_open(brief)))
    return trace(spare_voltage, demanded=pack.demand_voltage, note=note, loaded=trace(
        loaded_voltage, "voltage at the inverter with that current, no contacts counted",
        open_circuit_voltage=pack.open_circuit_sag, current=drawn, resistance=bare, note=note))


def beside(demand: CarryDemand, other: Finding | None, perhaps: bool = True) -> CarryDemand:
    """The demand on one part, with what the contacts of the other leave it of the spare voltage.

    Args:
        demand: in which the spare voltage is that of all contacts.
        other: resistance of the other's contacts; None where none is named.
        perhaps: whether the other may stand in the path, named or not.

    Two parts share alike; where the other takes less than its half, the rest is left over. So a
    worse other never leaves more than an unknown one, and both together take no more than all.
    """
    spare = demand.spare_voltage
    if spare is None or not perhaps or not demand.peak_current.known:
        return demand
    left = [trace(equal_share, spare=spare, parts=BOTH_PARTS)]
    if other is not None and not other.guesses:
        left.append(trace(spare_beside, spare=spare, drop=trace(
            contacts_drop, "voltage drop in the contacts of the other", contacts=ONCE,
            current=demand.peak_current, resistance=other)))
    return replace(demand, spare_voltage=largest(left, SPARE_SHARED, spare.note))


def place_demand(brief: Brief, routes: tuple[RouteResult, ...]) -> PlaceDemand:
    """What stands at the disconnect's place, and which section is joined to connectors."""
    disconnect, fuse = brief.pack.disconnect_after, brief.pack.fuse_after
    here = None
    if disconnect.known and fuse.known:
        same = 0 < disconnect.number == fuse.number
        here = leaf("fuses that the brief counts on at the disconnect", "n", "", int(same),
                    "given", origin=fuse.origin)
    sections = [r.section for r in routes if r.asked.behind_main_fuse and r.section is not None]
    return PlaceDemand(here, largest(sections, "largest section of the traction cables")
                       if sections else None)


def pulled(pack: PackModel, inductance: Finding) -> SwitchDemand:
    """What a disconnect would break if it were pulled under load."""
    return SwitchDemand(
        closing_step=None, break_discharge=pack.peak_current,
        break_charge=largest([pack.regeneration_current, pack.charging_current],
                             "largest load, charging"),
        time_constant=with_more(trace(
            loop_time_constant, "Time constant of the circuit that is broken",
            inductance=inductance, resistance=pack.resistance_least), inductance.untold_more))


def _traction_length(brief: Brief) -> Finding:
    lengths = [r.length for r in brief.cables.route if r.carries == "traction"]
    total = sum(item.number for item in lengths)
    if len(lengths) == 1:
        return lengths[0]
    return leaf("length of all traction routes", "l", "m", total, "definition",
                origin=Origin("sum of routes"), note=" + ".join(i.shown for i in lengths))


def faults_of(brief: Brief, pack: PackModel, inductance: Finding) -> FaultRange:
    """Both ends of the fault current, at the terminals and at the end of the long path.

    Args:
        brief, pack: what is asked, and the layout.
        inductance: of pack and traction cables.
    """
    return fault_range(FaultAsked(
        slowest=slowest(pack_inductance(brief), pack.resistance_initial, CABLE_INDUCTANCE,
                        traction(brief)),
        voltage_full=with_more(pack.full_voltage, tolerance_open(brief)),
        resistance_initial=pack.resistance_initial, voltage_empty=pack.rest_low_voltage,
        resistance_long=pack.resistance_long, loop_inductance=inductance,
        peak_load=pack.peak_current))


def asked_of_fuse(brief: Brief, pack: PackModel, faults: FaultRange, loops: Iterable[Loop],
                  cable: Finding | None) -> FuseAsked:
    """What the main fuse is sized from: what it breaks is what all fault places ask of it."""
    steady = largest([pack.continuous_current, pack.charging_current],
                     "continuous current through the main fuse")
    peak = largest([pack.peak_current, pack.regeneration_current],
                   "peak current through the main fuse")
    return FuseAsked(
        highest_voltage=pack.highest_voltage, continuous_current=steady, peak_current=peak,
        peak_duration=brief.power.peak_duration, box_ambient=brief.surroundings.box_ambient,
        fault_lowest=faults.lowest, time_constant_lowest=faults.time_constant_lowest,
        cycles=brief.power.peaks_in_life, cable_current=cable,
        **_broken_by_main(brief, pack, faults, demand_on(loops, "main_fuse")),
        string_count=pack.layout.parallel if pack.layout.arrangement == "strings" else 1,
        bus_insulation=brief.insulation.bus_withstand,
        path_resistance=brief.path.fuse_resistance, terminal_temperature=joined_limit(brief),
        closing_integral=closing_integral(brief, pack))


def _broken_by_main(brief: Brief, pack: PackModel, faults: FaultRange,
                    demand: Demand | None) -> dict[str, Any]:
    """Both ways through it; a motor that feeds on backwards is no pulse, and must be broken."""
    if demand is None:
        return {"fault_highest": faults.highest,
                "time_constant_highest": faults.time_constant_highest}
    lasting = [f for f in (brief.motor.short_circuit_current,)
               if f.known and demand.backward is not None]
    stated = fault_capacitance(brief, pack.layout.in_strings, beyond_main=True)
    capacitance = with_more(trace(largest_capacitance, capacitance=stated,
                                  tolerance=brief.inverter.dc_link_tolerance), stated.untold_more)
    constant = demand.constant or faults.time_constant_highest
    longer = any(pair[1].number > constant.number for pair in demand.pairs)
    return {"fault_highest": max((demand.highest, *lasting), key=lambda f: f.number).called(
                faults.highest.title),
            "time_constant_highest": with_more(constant.called(
                MAIN_FUSE_CONSTANT, note="longest at the full voltage" + (
                    "; longer ones at lower voltage stand in the sheet" if longer else "")),
                constant.untold_more),
            "slower_loops": demand.pairs, "backward": demand.backward,
            "capacitance": capacitance}


def smallest_rating(fuse: Item) -> Finding | None:
    """Rated current of the smallest fuse that carries the load; None beyond the series.

    Whether it also opens at the lowest fault is held with the fuse: it is no ground to size the
    cable for none.
    """
    carries = next((c for c in fuse.candidates if not c.own and all(
        k.verdict != FAIL for k in c.checks if k.stage == "thermal load")), None)
    if carries is None:
        return None
    return leaf("rating asked of the main fuse", "I_n", "A", float(carries.name.split()[0]),
                "read", source="iec-60269-1", origin=Origin("ratings of the main fuse"),
                note="smallest standard rating that the load side allows")


def allowed_by_cables(brief: Brief, routes: tuple[RouteResult, ...]) -> Finding | None:
    """Capacity of the smallest traction cable; none at all where a route has no cable."""
    title = "capacity of the smallest traction cable"
    names = {r.name for r in brief.cables.route if r.carries == "traction"}
    mine = [r for r in routes if r.asked.name in names]
    bare = next((r for r in mine if r.current_capacity is None), None)
    if bare is not None:
        return leaf(title, "I_z", "A", 0.0, "definition", origin=Origin("cable table"),
                    note=f"no cable fits the route {bare.asked.name}: there is none that a fuse "
                         "could protect")
    currents = [r.current_capacity for r in mine]
    open_ = next((f for f in currents if not f.known), None)
    if open_ is not None:
        return open_.called(title)
    less = next(filter(None, (f.may_be_less for f in currents)), "")
    return smallest(currents, title, less and f"as far as told{OR_LESS}{less}") if mine else None


def sized_route(brief: Brief, route: Route, pack: PackModel, faults: FaultRange,
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
        highest_voltage=pack.highest_voltage, laid_open=_laid_open(brief, route),
        unnamed=unnamed(brief, route)),
        cables_tried(brief, route), named=route.cable)


def _laid_open(brief: Brief, route: Route) -> str:
    """The hottest way of laying, where nobody said how a route lies and its rule set lacks it."""
    index = [r.name for r in brief.cables.route].index(route.name)
    open_ = brief.left_open(f"cables.route[{index}].install")
    return INSTALL_CHOICES[0] if open_ and brief.cables.rules in STRICTEST_INSTALL else ""


def cables_tried(brief: Brief, route: Route) -> tuple[CablePart, ...]:
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


def asked_of_contactor(brief: Brief, pack: PackModel, faults: FaultRange,
                     inductance: Finding, loops: Iterable[Loop]) -> ContactorAsked:
    demand = demand_on(loops, "contactors", "pole_contactor", "wire_contactor")
    step = trace(closing_difference, voltage=pack.highest_voltage,
                 level=brief.precharge.level)
    on_bus = bus_capacitance(brief, pack.layout.in_strings)
    capacitance = with_more(trace(largest_capacitance, capacitance=on_bus,
                                  tolerance=brief.inverter.dc_link_tolerance), on_bus.untold_more)
    return ContactorAsked(
        highest_voltage=pack.highest_voltage, continuous_current=pack.continuous_current,
        peak_current=pack.peak_current, peak_duration=brief.power.peak_duration,
        charge_current=pack.charging_current, regeneration_current=pack.regeneration_current,
        fault_highest=faults.highest, fault_lowest=faults.lowest, fuse_let_through=LET_THROUGH,
        break_discharge=unknown_break(BREAKING, (
            pack.peak_current, brief.management.trip_current, faults.lowest), NO_CURVE),
        break_charge=largest([pack.regeneration_current, pack.charging_current],
                             "largest current that a trip must break, charging"),
        closing_voltage_difference=step, loop_resistance=pack.resistance_least,
        loop_inductance=CLOSING_INDUCTANCE,
        capacitance=capacitance, box_ambient=brief.surroundings.box_ambient,
        breaking_inductance=inductance, terminal_temperature=joined_limit(brief),
        counted_resistance=brief.path.contactor_resistance, delay=shortest_delay(brief),
        longest_constant=demand.constant if demand is not None else None,
        slower_loops=demand.pairs if demand is not None else ())


def wakes_at(load: Load) -> Finding:
    """A resistor draws from the first volt; a constant power is asked for its wake-up."""
    if load.wakes_at.known or load.kind != "resistive":
        return load.wakes_at
    return leaf(load.wakes_at.title, load.wakes_at.symbol, load.wakes_at.unit, 0.0, "assumed",
                source="packcalc-rule", origin=load.wakes_at.origin,
                note="a resistive load is counted as always connected")


def precharge_asked(brief: Brief, pack: PackModel,
                    loops: Iterable[Loop] = ()) -> PrechargeAsked:
    """The bus with every capacitor and load on it, and what the pre-charge is asked to do.

    Args:
        brief, pack: what is asked.
        loops: every fault place, for the largest inductance of the circuit that its relay breaks.
    """
    inductances = [loop.inductance for loop in loops]
    p = brief.precharge
    loads = tuple(BusLoad(load.name, load.kind,
                          load.resistance if load.resistance.known else None,
                          load.power if load.power.known else None, wakes_at(load))
                  for load in p.load)
    named = {load.name for load in loads}
    branches = bus_loads(brief, pack.highest_voltage, pack.layout.in_strings)
    loads += tuple(load for load in branches if load.name not in named)
    use = brief.parts
    relay = next((c for c in use.list.contactors if c.name == use.precharge_relay), None)
    bleed = brief.inverter.discharge_resistance
    if bleed.known:
        loads += (discharge_load(bleed, brief.inverter.discharge_tolerance),)
    return PrechargeAsked(
        highest_voltage=pack.highest_voltage, lowest_voltage=pack.rest_low_voltage,
        capacitance=bus_capacitance(brief, pack.layout.in_strings),
        capacitance_tolerance=brief.inverter.dc_link_tolerance,
        resistor_tolerance=p.resistor_tolerance, time_limit=p.time_limit, level=p.level,
        timeout=p.timeout, tries=p.tries, loads=loads,
        awake=tuple((load.name, load.power) for load in branches
                    if load.name in named and load.power is not None),
        timeout_open=brief.left_open("precharge.timeout"), bleed_open=not bleed.known,
        bleed_tolerance=brief.inverter.discharge_tolerance,
        ambient=brief.surroundings.box_ambient, relay=relay,
        inductance=largest(inductances, "largest inductance of any loop") if inductances else None,
        peak_current_limit=relay.make_current if relay is not None else None)
