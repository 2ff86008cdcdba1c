"""The protection of one layout: the order in which its parts hang on each other.

Faults first; then the fuse from the load side; cables that this fuse protects; the fuse
again with the smallest cable; contactors and pre-charge last.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar
import numpy as np

from packcalc.bench.grade import GradedLot
from packcalc.brief import Brief
from packcalc.checks import FAIL, NOT_EVALUATED, STAGES, Check, Item, judge
from packcalc.circuit import Circuit, MainPath, study_circuit
from packcalc.clearing import branch_sheet, charging_fuse, fuse_named, largest_to_break, path_fuses
from packcalc.contacts import connector_contacts, disconnect_contacts
from packcalc.duties import (
    BREAKING,
    CABLE_INDUCTANCE,
    LET_THROUGH,
    NO_CURVE,
    allowed_by_cables,
    asked_of_contactor,
    asked_of_coordination,
    asked_of_fuse,
    beside,
    cables_tried,
    carry_demand,
    faults_of,
    loop_inductance,
    pack_inductance,
    place_demand,
    precharge_asked,
    pulled,
    rated_voltages,
    sensor_error,
    sized_route,
    smallest_rating,
)
from packcalc.feeds import Feeds, feeds_of
from packcalc.findings import Finding, largest, with_less, with_more
from packcalc.further_parts import connectors_nowhere, disconnect_nowhere
from packcalc.highest_voltage import voltage_of
from packcalc.layouts import Layout
from packcalc.loads import open_loads
from packcalc.misses import Miss, explain
from packcalc.pack import PackModel, model_pack
from packcalc.part_checks.limits import tolerance_open
from packcalc.part_checks.path_conductors import ElsewhereHeat
from packcalc.part_checks.sweep import FuseSide
from packcalc.part_checks.trip_checks import overload_check
from packcalc.part_checks.unbroken import Unbroken
from packcalc.parts import FUSE, Part
from packcalc.place_heats import UNTOLD
from packcalc.places.chafed import undescribed_routes
from packcalc.places.settings import Node, TripSettings, settings_of, temperatures
from packcalc.places.shared import branch_fuse
from packcalc.places.shared import whole_drop
from packcalc.places.stands import BETWEEN_MODULES
from packcalc.places.table import places_asked
from packcalc.places.trips import (
    MAIN_PATH, aside_loops, fault_cell, fuse_alone_loops, lowest_in_one_pole, main_path_loops,
    one_pole_drop, one_pole_falls, one_pole_loops, open_path_loops, open_words, opened_all_the_same,
    path_highest, whole_falls,
)
from packcalc.protect.branch_figures import BranchFuse, only_at_most
from packcalc.protect.cable import RouteResult, size_route
from packcalc.protect.contactor import CLOSING_STEP, size_contactors
from packcalc.protect.coordination import (
    Coordination, coordinate, not_by_the_unnamed, with_cells, with_contacts, with_heats,
    with_places, with_trips,
)
from packcalc.protect.disconnect import size_connectors, size_disconnect
from packcalc.protect.faults import FaultRange, range_checks, told_apart
from packcalc.protect.fuse import overload_by, size_main_fuse
from packcalc.protect.overvoltage import overvoltage_asked, study_overvoltage
from packcalc.protect.places import FaultPlace, Loop
from packcalc.protect.precharge import size_precharge
from packcalc.protect.route_figures import RouteAsked
from packcalc.screening import screen_one
from packcalc.study import LayoutStudy, choose_layout, list_layouts
from packcalc.units import show
from packcalc.value import replace, value_object
from packcalc.worst_measured import Salvage, as_stated, salvage, with_worst

AnyPart = TypeVar("AnyPart", bound=Part)
STRINGS_OPEN = (
    "Parallel strings: the contactors here are the string contactors. Every string's pair opens on "
    "the pack's trips at the same command; the whole pack's current is counted through one of "
    "them, which errs high: at the worst one string alone is in.")
NOT_ALL_ENDED = "only what somebody is shown to end is counted"
MOST_HEAT = "largest I²t of the charge cable"
BEHIND_MAIN = "main fuse and main contactors; no fuse of its own is counted on"
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
        salvage: the bench sheet, graded and dealt; None where the brief names none. Where it
            shows worse modules than the brief's figures, `brief` counts them for every one.
        by_brief: lowest fault current with the brief's own figures, where the bench shows worse.
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
    salvage: Salvage | None = None
    by_brief: Finding | None = None

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
                     module: int | tuple[int, ...] | None = None, *,
                     bench: Callable[[Finding], GradedLot] | None = None) -> ProtectionStudy:
    """Size the protection of a named layout, or of the best one.

    Layouts are ranked by the brief's own figures. The one that is taken is dealt its modules and
    sized with the worst of them for every one, where the bench shows worse than the brief.

    Args:
        brief: what is asked and on hand.
        layout: module notation; empty takes the best layout, or the nearest miss.
        arrangement, module: what else is said of it; see `study.choose_layout`.
        bench: grades the brief's bench sheet for a highest working voltage; None sizes with the
            brief's own figures.

    Raises:
        UserError: the layout cannot be built from the modules on hand, or none can.
    """
    study = list_layouts(brief)
    chosen = choose_layout(study, layout, arrangement, module)
    named = bool(layout or arrangement or module is not None)
    if bench is None:
        return protect_layout(study, chosen, named=named)
    found = salvage(study.brief, chosen, bench(voltage_of(study.brief, chosen)))
    return protect_layout(replace(study, brief=with_worst(study.brief, chosen, found)), chosen,
                          named=named, found=found)


def protect_layout(study: LayoutStudy, layout: Layout, *, named: bool = True,
                   found: Salvage | None = None) -> ProtectionStudy:
    """Size every part for one layout of a study.

    Args:
        study: with the brief that counts, see `worst_measured.with_worst`.
        layout: one of it.
        named: whether the user named it.
        found: the bench sheet that the brief was held against; None where there is none.
    """
    brief = study.brief
    stated = as_stated(brief)
    own = None if stated is brief else _lowest_end(stated, layout)
    bare = model_pack(brief, layout)
    overvoltage = study_overvoltage(overvoltage_asked(
        brief, bare, rated_voltages(brief, layout.in_strings)))
    pack = replace(bare, highest_voltage=overvoltage.highest)
    screened = screen_one(brief, study.asks, layout)
    miss = explain(brief, study.asks, screened, 0) if screened.failures[0] else None
    inductance = loop_inductance(brief)
    at_the_end = faults_of(brief, pack, inductance)
    loops = _loops(brief, pack, at_the_end)
    faults = _demanded(pack, at_the_end, loops)
    listed = brief.parts.list
    rating = _rating(brief, lambda: size_main_fuse(
        asked_of_fuse(brief, pack, faults, loops, None)))
    routes = tuple(sized_route(brief, route, pack, faults, rating) for route in brief.cables.route)
    fuse_asked = asked_of_fuse(brief, pack, faults, loops, allowed_by_cables(brief, routes))
    fuse = size_main_fuse(fuse_asked, path_fuses(brief), named=brief.parts.main_fuse)
    fuse = replace(fuse, checks=(*fuse.checks, *_mid_pack(brief, pack)))
    settings = _settings(brief, layout, loops)
    asked = replace(asked_of_coordination(brief, pack, faults, routes, settings), **_fed_by_few(
        brief, pack, at_the_end, loops))
    if own is not None and asked.fault_voltage is not None:
        # Cells of less resistance keep more voltage in a fault, and their trip sees it less.
        asked = replace(asked, fault_voltage=largest(
            [asked.fault_voltage, own.cell], asked.fault_voltage.title, asked.fault_voltage.note))
    switching = asked_of_contactor(brief, pack, faults, inductance, loops)
    held = coordinate(asked, _left(listed.fuses, fuse),
                      _left(listed.contactors, size_contactors(switching, listed.contactors)))
    if layout.in_strings:
        held = replace(held, item=replace(held.item, notes=(STRINGS_OPEN, *held.item.notes)))
    switching = replace(switching, overload=held.overload, fuse_let_through=_let_through(held),
                        break_discharge=_to_break(held, switching.break_discharge))
    strung = pack.layout.in_strings
    contactors = size_contactors(switching, listed.contactors, named=brief.parts.tripped(strung))
    if strung:
        contactors = replace(contactors, title=STRINGS_TITLE,
                             notes=(STRINGS_NOTE, *contactors.notes))
    routes = tuple(_held_route(brief, route, held, loops) for route in routes)
    precharge = size_precharge(precharge_asked(brief, pack, loops), listed.resistors,
                               named=brief.parts.resistor)
    carry = carry_demand(brief, pack, faults, held)
    step = next((f for f in contactors.duty if f.title == CLOSING_STEP), None)
    circuit = study_circuit(brief, MainPath(pack, at_the_end, routes, held, rating, precharge,
                                            pack_inductance(brief), CABLE_INDUCTANCE, step,
                                            fuse_asked, loops,
                                            settings.by_place if settings else None), overvoltage)
    held = with_places(with_trips(with_cells(held, circuit.cells_left), circuit.management.trips),
                       *_left_open(circuit.places, {
                           r.asked.name for r in routes if r.asked.behind_main_fuse}))
    held = with_contacts(with_heats(held, circuit.heats), circuit.contacts.contactor)
    routes = tuple(_placed_route(brief, route, held, circuit.heats) for route in routes)
    faults = replace(faults, checks=tuple(told_apart(
        c, opened_all_the_same(circuit.places, pack.peak_current.number)
        if c.verdict == FAIL and pack.peak_current.known else "") for c in faults.checks))
    place, nowhere = place_demand(brief, routes), disconnect_nowhere(brief, layout.series)
    plugs_nowhere = connectors_nowhere(brief)
    items = (_voltage_item(brief, bare), *circuit.items[:2], fuse, contactors, held.item,
             precharge, *(r.item for r in routes), *circuit.items[2:],
             nowhere or size_disconnect(
                 replace(beside(carry, connector_contacts(brief), plugs_nowhere is None),
                         borne=circuit.contacts.in_string), listed.disconnects,
                 switch=pulled(pack, inductance), place=place, named=brief.parts.disconnect),
             plugs_nowhere or size_connectors(replace(beside(
                 carry, disconnect_contacts(brief), nowhere is None),
                 borne=circuit.contacts.common), listed.connectors, place=place,
                 named=brief.parts.connector))
    return ProtectionStudy(study, named, pack, miss, faults, routes, items, held, circuit, found,
                           own.lowest if own else None)


@value_object
class LowestEnd:
    """The lowest fault of a layout.

    Attributes:
        lowest: current.
        cell: voltage left on the cells that feed it.
    """

    lowest: Finding
    cell: Finding


def _lowest_end(brief: Brief, layout: Layout) -> LowestEnd:
    """The lowest fault with the modules of this brief; nothing is sized for it."""
    pack = model_pack(brief, layout)
    at_the_end = faults_of(brief, pack, loop_inductance(brief))
    loops = _loops(brief, pack, at_the_end)
    return LowestEnd(
        _demanded(pack, at_the_end, loops).lowest.called(
            "Lowest fault current, by the brief's own figures"),
        fault_cell(_feeds(brief, pack, at_the_end), loops).called(
            "voltage left on the cells, by the brief's own figures"))


def _feeds(brief: Brief, pack: PackModel, faults: FaultRange) -> Feeds:
    return feeds_of(brief, pack, faults, pack_inductance=pack_inductance(brief),
                    per_length=CABLE_INDUCTANCE)


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
    """The range with the lowest fault of every place left to the main fuse or the contactors.

    A second chassis fault, a chafed wire of a branch or a long charge cable can give less than
    the far end of the traction cable, in the pole of the main fuse or in the other; places with
    a fuse of their own behind the main one are held apart.
    """
    least = min(main_path_loops(loops), key=lambda loop: loop.lowest.number, default=None)
    lowest = faults.lowest
    if least is not None and least.lowest.number < lowest.number:
        lowest = least.lowest.called("Lowest fault current", note=(
            f"{lowest.note}; lowest of all places that the main fuse or the contactors must "
            f"open: {least.title} (far end of the traction cable {lowest.shown})"))
    aside = _aside(loops, lowest)
    if aside:
        lowest = lowest.called(lowest.title, note=f"{lowest.note}; left out: {_told(aside)}, see "
                               f"{'this place' if len(aside) == 1 else 'these places'}")
    open_ = open_words(open_path_loops(loops))
    if open_:
        lowest = with_less(lowest, open_)
    return faults if lowest is faults.lowest else replace(
        faults, lowest=lowest, checks=range_checks(
            faults.highest, lowest, pack.peak_current, _below_load(aside, pack.peak_current)))


def _aside(loops: Iterable[Loop], lowest: Finding) -> tuple[Loop, ...]:
    """Places for which nothing is sized that give less than the lowest fault, or may; least first.

    Where they pass a branch's own fuse they are held with that branch.
    """
    less = sorted((loop for loop in aside_loops(loops)
                   if not (loop.lowest.known and lowest.known) or only_at_most(loop.lowest)
                   or loop.lowest.number < lowest.number), key=lambda loop: (
        not loop.lowest.known, loop.lowest.number if loop.lowest.known else 0.0))
    found: dict[tuple, Loop] = {}
    for loop in less:  # rivals are one place: the least of them, and one that may be less still
        found.setdefault((loop.key, loop.lowest.known and not only_at_most(loop.lowest)), loop)
    return tuple(found.values())


def _told(aside: Iterable[Loop]) -> str:
    """Places with their lowest currents."""
    return "; ".join(f"{loop.title}, {loop.lowest.with_end if loop.lowest.known else 'not known'}"
                     for loop in aside)


def _below_load(aside: Iterable[Loop], load: Finding) -> str:
    """Those of which a fault is no larger than the load, or may be, in words; empty for none."""
    if not load.known:
        return ""
    less = [loop for loop in aside if loop.lowest.known and loop.lowest.number <= load.number]
    open_ = [loop for loop in aside if loop not in less
             and (not loop.lowest.known or only_at_most(loop.lowest))]
    return "; ".join(f"this fault {is_} smaller than the load of {load.shown}: {_told(some)}"
                     for some, is_ in ((less, "is"), (open_, "may be")) if some)


def _loops(brief: Brief, pack: PackModel, faults: FaultRange) -> tuple[Loop, ...]:
    """Every loop of the layout, before any part is asked.

    A charge cable that nobody named is sized by the lowest fault, and that hangs on its section:
    it is sized again, each time no thicker, until it stays.
    """
    feeds, open_, least = _feeds(brief, pack, faults), undescribed_routes(brief), faults
    before: tuple[str | None, ...] = ()
    while True:
        routes = tuple(sized_route(brief, r, pack, least, None) for r in open_)
        loops = places_asked(feeds, routes).loops
        now = tuple(r.chosen and r.chosen.candidate.name for r in routes)
        if now == before or all(r.cable for r in open_):
            return loops
        before, least = now, _demanded(pack, faults, loops)


def _left_open(places: Iterable[FaultPlace],
               routes: set[str]) -> tuple[list[str], list[str], list[str]]:
    """Titles of the places that the path from pole to pole does not speak for.

    Of its own contactors, fuse and cable all count, be it that covers are the usual answer there:
    whoever reads that the path is opened reads it of them.

    Args:
        places: every fault place with who ends it.
        routes: names of the cables behind the main fuse.

    Returns:
        where nobody opens some current; where a fuse between the modules may melt first; and
        where nobody is shown to open some current, behind a branch's own fuse or elsewhere.
    """
    nobody, melting, asked = [], [], []
    for place in places:
        own = any(_of_the_path(one, routes) for one in place.rivals or (place,)
                  if (one.nobody, one.shown) == (place.nobody, place.shown))
        if any(c.verdict == FAIL for c in place.checks) or place.nobody and own:
            nobody.append(place.title)
        elif _may_melt(place):
            melting.append(place.title)
        elif not place.shown and (own or not (place.nobody or place.loop.inherent)):
            asked.append(place.title)
    return nobody, melting, asked


def _of_the_path(place: FaultPlace, routes: set[str]) -> bool:
    """Whether its current passes the path's own devices, or its cable."""
    return bool(MAIN_PATH & {d.key for d in place.loop.devices}
                or routes & set(place.loop.cables))


def _may_melt(place: FaultPlace) -> bool:
    """Whether a further fuse between the modules may melt there before others have cleared."""
    return any(one.clears is None and d.name in one.device.split(" or ")
               for one in place.answers for d in place.loop.passed if d.key in BETWEEN_MODULES)


def _settings(brief: Brief, layout: Layout, loops: tuple[Loop, ...]) -> TripSettings | None:
    """Settings of a trip that follows the cells' temperature; None of one that does not.

    Args:
        brief, layout: what is asked.
        loops: at the coldest cells.
    """
    managed = brief.management
    if not managed.trip_points:
        return None
    coldest, *warmer = temperatures(brief)
    nodes = [Node(coldest, loops)]
    for at in warmer:
        warm = replace(brief, battery=replace(brief.battery, coldest_closed=at))
        pack = model_pack(warm, layout)
        nodes.append(Node(at, _loops(warm, pack, faults_of(warm, pack, loop_inductance(warm)))))
    error = sensor_error(managed)
    assert error is not None  # a trip is given
    return settings_of(brief, error, nodes)


def _fed_by_few(brief: Brief, pack: PackModel, faults: FaultRange,
                loops: tuple[Loop, ...]) -> dict[str, Any]:
    """What a fault that a few modules feed leaves on their cells, and its lowest current."""
    feeds = _feeds(brief, pack, faults)
    one_pole, no_contactor = (
        min((one.lowest.called(one.lowest.title, note=f"at the place '{one.title}'")
             for one in some), key=lambda f: f.number, default=None)
        for some in (one_pole_loops(loops), fuse_alone_loops(loops)))
    return {"fault_voltage": fault_cell(feeds, loops), "one_pole_lowest": one_pole,
            "fault_highest": path_highest(faults.highest, loops), "path_lowest": faults.lowest,
            "fuse_alone_lowest": no_contactor, "fault_drop": whole_drop(feeds),
            "fault_falls": whole_falls(loops), "one_pole_drop": one_pole_drop(loops),
            "one_pole_falls": one_pole_falls(loops),
            "lowest_in_one_pole": lowest_in_one_pole(loops, faults.lowest)}


def _left(parts: tuple[AnyPart, ...], item: Item) -> tuple[AnyPart, ...]:
    """The parts in which no check failed; all of them where every one fails."""
    good = {c.name for c in item.own_parts if c.qualifies}
    tried = {c.name for c in item.own_parts}
    return tuple(p for p in parts if p.name in (good or tried))


def _rating(brief: Brief, tried: Callable[[], Item]) -> Finding | None:
    """Rated current of the fuse that the brief names, else of the smallest that carries."""
    if brief.parts.main_fuse:
        return brief.parts.list.part(FUSE, brief.parts.main_fuse).rated_current
    return smallest_rating(tried())


def _to_break(held: Coordination, least: Finding) -> Finding:
    """Up to there the contactor opens on a trip before the fuse has cleared."""
    most = largest_to_break(held)
    if not most.known:
        return replace(least, note=least.note.replace(NO_CURVE, most.note))
    return most.called(f"{BREAKING}, before the fuse has cleared")


def _let_through(held: Coordination) -> Finding:
    """What the chosen fuse lets through at the highest fault, where its sheet says so."""
    fuse = held.asked.fuse
    if fuse is None or held.sweep is None or np.isnan(held.sweep.fuse.integral):
        return LET_THROUGH
    assert fuse.clearing_i2t is not None
    return with_more(fuse.clearing_i2t.called(
        f"total clearing I²t of {fuse.name} at the highest fault"), held.asked.fuse_open)


def _held_route(brief: Brief, route: RouteResult, held: Coordination,
                loops: tuple[Loop, ...]) -> RouteResult:
    """The route once more, with what fuse and contactor let through over the whole range."""
    told = next(r for r in brief.cables.route if r.name == route.asked.name)
    asked = _charging_held(brief, route.asked, held, loops) if told.carries == "charging" \
        else _traction_held(route.asked, held)
    if asked is None:
        return route
    return size_route(asked, cables_tried(brief, told), named=told.cable, before=route)


def _traction_held(asked: RouteAsked, held: Coordination) -> RouteAsked | None:
    """The traction cable behind the main fuse and the contactors, faults and overloads."""
    swept, path = held.sweep, held.overload
    if swept is None or path is None or not asked.behind_main_fuse:
        return None
    shown = swept.covered and not swept.less and not np.isnan(swept.heat).any() \
        and not held.asked.unnamed
    most = next((heat for one, heat, _ in held.conductor_heat
                 if one.name == held.asked.cable_name), held.worst_heat)
    # What somebody ends counts at once: a worse cable leaves more of the range to nobody.
    return replace(
        asked, let_through=most and with_more(most, "" if shown else NOT_ALL_ENDED),
        overload=lambda capacity: not_by_the_unnamed(held.asked, (overload_check(
            replace(held.asked, cable_current=capacity, cable_name="this cable"), path),))[0])


def _placed_route(brief: Brief, route: RouteResult, held: Coordination,
                  heats: tuple[ElsewhereHeat, ...]) -> RouteResult:
    """The route once more, with the most heat of every fault place that runs through it."""
    told = next(r for r in brief.cables.route if r.name == route.asked.name)
    traction = _traction_held(route.asked, held)
    other = next((h for h in heats if h.name == (
        held.asked.cable_name if traction is not None else told.name)), None)
    if other is None:
        return route
    if traction is None and told not in undescribed_routes(brief):
        asked = _with_places(route.asked, other)
    else:
        asked = traction if traction is not None else replace(
            route.asked, let_through=other.heat, protected_by=BEHIND_MAIN, fuse_open="")
        asked = replace(asked, let_through=None if other.silent else asked.let_through)
    return size_route(replace(asked, unended=other.unended, left=bool(other.left),
                              unshown=other.unshown),
                      cables_tried(brief, told), named=told.cable, before=route)


def _with_places(asked: RouteAsked, other: ElsewhereHeat) -> RouteAsked:
    """A charge cable behind its own fuse, which need not be in every loop through that cable."""
    own = asked.let_through
    if own is None:
        return asked
    found = [f for f in (own, other.heat) if f is not None and f.known]
    open_ = asked.fuse_open or other.silent
    if not found:
        return replace(asked, fuse_open=open_)
    more = asked.fuse_lost or open_ or ("" if own.known else UNTOLD)
    return replace(asked, let_through=with_more(largest(found, MOST_HEAT), more))


def _charging_held(brief: Brief, asked: RouteAsked, held: Coordination,
                   loops: tuple[Loop, ...]) -> RouteAsked | None:
    """The charge cable behind the fuse of its branch, over the range of all its fault places."""
    branch = charging_fuse(brief)
    if branch is None:
        return None
    key = branch_fuse(branch).key
    mine = [loop for loop in loops if loop.sizes and any(d.key == key for d in loop.devices)]
    lowest = _least(asked.fault_lowest, mine)
    # Of all that runs through the cable: a fuse that does not stand in a loop lessens no heat.
    named, least = fuse_named(held, brief), _least(lowest, (
        loop for loop in loops if asked.name in loop.cables))
    fuse = branch_sheet(named, branch, least, asked.fault_highest)
    side = named.side(branch.fuse_part)
    lost, open_ = "", ""
    if side is not None and side.part is not None:
        lost = _fuse_lost(side.unbroken, side.part.name, key, mine, lowest)
        open_ = _fuse_open(side, fuse, lowest, [loop.lowest for loop in mine])
    part, through = fuse.part, fuse.clearing
    if lost:  # says at which current of which loop
        through = through.called(note=through.told_note)
    return replace(asked, let_through=part and with_more(through, lost or open_),
                   fuse_lost=lost, fuse_open=open_,
                   overload=None if part is None else lambda capacity: overload_by(
                       part, capacity, asked.highest_voltage, fuse.rating))


def _least(lowest: Finding, loops: Iterable[Loop]) -> Finding:
    """The lowest current of a route and of loops, as far as known; none where that of it is not."""
    known = (loop.lowest for loop in loops if loop.lowest.known)
    return min((lowest, *known), key=lambda f: f.number) if lowest.known else lowest


def _fuse_lost(link: Unbroken, name: str, key: str, loops: Iterable[Loop],
               lowest: Finding) -> str:
    """Why a fuse by its own sheet leaves some fault of its loops burning in itself; else empty.

    Args:
        link: what the fuse breaks.
        name, key: of the part; of the device.
        loops: of all its fault places.
        lowest: of the currents that it is to open.
    """
    met = [d.sees or loop.highest for loop in loops for d in loop.devices if d.key == key]
    for at in (lowest, *met):
        if at.known and link.fails(at.number) and np.isfinite(link.melts(at.number)):
            return f"at {at.shown} {name} {link.why(at.number)}"
    return ""


def _fuse_open(side: FuseSide, fuse: BranchFuse, lowest: Finding,
               ends: Iterable[Finding]) -> str:
    """Why a fuse is not shown to end every fault that it is to open, by its sheet; else empty."""
    if side.reasons:
        return f"{fuse.name} is not shown to break it: {'; '.join(side.reasons)}"
    less = next((end for end in (lowest, *ends) if not end.known or only_at_most(end)), None)
    if less is not None:
        return f"{fuse.name} is not shown to open the lowest fault: " + (
            less.note or "it is not known")
    if side.low > lowest.number:
        return (f"{fuse.name} is not shown to open the lowest fault, {lowest.shown}: it counts "
                f"from {show(side.low, 'A')}, {side.why_low}")
    return ""


def _voltage_item(brief: Brief, pack: PackModel) -> Item:
    """Highest working voltage: the chain behind every rating, distance and glove."""
    inverter, full = brief.inverter, with_more(pack.full_voltage, tolerance_open(brief))
    checks = (
        judge("highest voltage of the battery side within the inverter's absolute maximum",
              "highest voltage", with_more(_highest(brief, pack), tolerance_open(brief)), "at most",
              inverter.absolute_maximum,
              remedy="fewer modules in series, a lower charge limit, or less braking power cold"),
        judge("end of charging within the inverter's operating range", "highest voltage",
              full, "at most", inverter.voltage_high,
              remedy="a lower charge limit, or fewer modules in series"),
        judge("charger does not exceed its own range", "highest voltage", full,
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


def _highest(brief: Brief, pack: PackModel) -> Finding:
    """Of the battery side; the inverter's own limit bounds what is open of braking, if it may."""
    limit, most = brief.regeneration.voltage_limit, brief.inverter.absolute_maximum
    open_ = pack.highest_voltage.untold_more or pack.highest_voltage.unbounded
    if not (open_ and limit.known and most.known and limit.number <= most.number):
        return pack.highest_voltage
    return largest([pack.full_voltage, limit], pack.highest_voltage.title)


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
