"""The circuit around the main path: fault places, strings, branches, insulation, control.

Everything here takes the sized main path and asks what it leaves open: who ends each
fault, what the branches and strings need, what the management system must do.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from packcalc.brief import Branch, Brief
from packcalc.charge_contactor import charge_contactor_item
from packcalc.charge_opening import faults_beyond, opened_at_once
from packcalc.checks import CAUTION, NOT_EVALUATED, Check, Item, worst
from packcalc.clearing import (
    NamedFuses,
    PartAnswers,
    branch_sheet,
    breaks_both_ways,
    clearing_by,
    fuse_named,
    fuses_apart,
    largest_to_break,
    opened_untimed,
    path_fuses,
    takeover_of,
)
from packcalc.feeds import AHEAD, Feeds, feeds_of, standing
from packcalc.findings import Finding, leaf, with_more
from packcalc.further_parts import (
    disconnect_stands, mid_fuse_asked, mid_fuse_item, precharge_relay_item, string_cables_item,
    with_system,
)
from packcalc.pack import PackModel
from packcalc.part_checks.cells_left import CellsLeft
from packcalc.part_checks.path_conductors import ElsewhereHeat, PathConductor
from packcalc.part_checks.sweep import Trips
from packcalc.part_checks.trip_checks import follows
from packcalc.place_arcs import PlaceArc, worst_arc
from packcalc.place_cells import cells_left
from packcalc.place_contacts import Contacts, contacts
from packcalc.place_heats import place_heats
from packcalc.place_sweep import SWEPT, currents_of, heat_entries, heat_over, sweeping_by
from packcalc.places.main_path import TERMINALS, far_ends
from packcalc.places.rivals import worst_of_rivals
from packcalc.places.settings import PlaceId
from packcalc.places.shared import branch_fuse
from packcalc.places.stands import PERHAPS, fuse_stands, mid_fuse_open
from packcalc.places.strings import STRING_MODULE
from packcalc.places.table import places_asked
from packcalc.places.trips import opened_all_the_same
from packcalc.protect.branch_figures import SENSE, Weakest, only_at_most, told_with_bound
from packcalc.protect.cable import RouteResult
from packcalc.protect.coordination import Coordination, with_contacts, with_heats, with_places
from packcalc.protect.faults import FaultRange
from packcalc.protect.fuse import FuseAsked
from packcalc.protect.insulation import InsulationResult, insulation_asked, study_insulation
from packcalc.protect.management import ManagementAsked, ManagementResult, specify_management
from packcalc.protect.overvoltage import OvervoltageResult
from packcalc.protect.places import (
    FUSE, FaultPlace, Loop, PlacesAsked, fault_places, place_words,
)
from packcalc.protect.state_checks import StatesAsked, Untimed, resistor_open
from packcalc.protect.states import StatesResult, study_states
from packcalc.protect.strings import MODULE_SHORT
from packcalc.side_circuits import (
    branch_items,
    bus_checks,
    joining_reading,
    string_contactor_item,
    string_fuse_item,
    strings_item,
)
from packcalc.string_sweep import string_coordination
from packcalc.units import show
from packcalc.value import replace, value_object

ELSEWHERE = Check(
    "Where the wires of pre-charge begin", "who clears", CAUTION,
    reason="which cannot be with strings: they bridge a string's contactor, which stands before "
           "the main fuse. Counted and drawn between string fuse and string contactor: the "
           "string's fuse clears them",
    remedy='look at the pack; taps = "before the main fuse" says so')
KIND_OPEN = Check(
    "What the branch feeds", "who clears", NOT_EVALUATED, reason="left open, and counted as a load "
    "of another kind: what a charger, an inlet or sense wires would add is not counted",
    remedy="follow the two conductors to their other end, and say branch.kind")
# Devices of a string that end what stays within strings.
STRINGS_OWN = ("string_fuse", "string_contactors", "cell_trip", "leak_contactor")
LEVEL_TIME = "Time to the closing level"


@value_object
class Circuit:
    """What stands around the main path of one layout.

    Attributes:
        feeds: every source that can feed a fault.
        places: every fault place with who ends it, rivals told as one.
        overvoltage: the chain behind the highest working voltage.
        insulation, management, states: results of those rooms.
        items: strings, branches and the rooms above, for the report.
        arc: the worst of every fault place; None where no current is known.
        mid_fuse: what a fuse inside the string is bought to; None where none stands there.
        inside_strings: string fuse and contactor over the whole range; None without strings.
        heats: the most heat of every fault place in each conductor of the main path, its cable
            among them, and so of each string; and in each charge cable.
        contacts: what every closed contact of the main path carries until somebody has cleared.
        cells_left: what faults leave on the cells whose own trip is to see them.
    """

    feeds: Feeds
    places: tuple[FaultPlace, ...]
    overvoltage: OvervoltageResult
    insulation: InsulationResult
    management: ManagementResult
    states: StatesResult
    items: tuple[Item, ...]
    inside_strings: Coordination | None = None
    arc: PlaceArc | None = None
    mid_fuse: Item | None = None
    heats: tuple[ElsewhereHeat, ...] = ()
    contacts: Contacts = Contacts()
    cells_left: CellsLeft | None = None


@value_object
class MainPath:
    """The sized main path that the circuit hangs on.

    Attributes:
        pack, faults, routes, held: of the layout.
        rating: rated current of the main fuse, named or least.
        precharge: the pre-charge item.
        pack_inductance, cable_inductance: of the fault loop.
        closing_step: what a contactor makes after pre-charge.
        fuse_asked: what the main fuse is sized from; None keeps a mid-pack fuse as it was.
        loops: every fault place, before any part is asked: what the parts must break.
        settings: of a trip that follows the cells' temperature, for each of them.
    """

    pack: PackModel
    faults: FaultRange
    routes: tuple[RouteResult, ...]
    held: Coordination
    rating: Finding | None
    precharge: Item
    pack_inductance: Finding
    cable_inductance: Finding
    closing_step: Finding | None = None
    fuse_asked: FuseAsked | None = None
    loops: tuple[Loop, ...] = ()
    settings: Mapping[PlaceId, Finding] | None = None


def study_circuit(brief: Brief, path: MainPath, overvoltage: OvervoltageResult) -> Circuit:
    """Everything around the main path of one layout."""
    feeds = feeds_of(brief, path.pack, path.faults, pack_inductance=path.pack_inductance,
                     per_length=path.cable_inductance)
    most = largest_to_break(path.held)
    inside = string_coordination(feeds, path.held, path.loops)
    fed_back = None if inside is None else largest_to_break(inside)
    strings = strings_item(feeds, path.loops, most, fed_back)
    string_fuse = string_fuse_item(feeds, path.loops, path_fuses(brief),
                                   named=brief.parts.string_fuse)
    answers = clearing_by(path.held, brief, inside)
    every = fault_places(places_asked(
        feeds, path.routes, main_rating=path.rating,
        string_rating=_string_rating(brief, string_fuse),
        clearing=answers, sweeping=sweeping_by(answers), spoiling=answers.spoils,
        settings=path.settings))
    places = worst_of_rivals(every)
    charged = feeds.capacitance  # the link's resistor has to empty every capacitor on the bus
    # A rival that is not told may be the one that runs through a cable.
    carried = _without_perhaps(every)
    heats = (*place_heats(carried, answers, path.held.asked.conductors,
                          path.pack.layout.parallel,
                          {TERMINALS, *far_ends(r.asked.name for r in path.routes
                                                if r.asked.behind_main_fuse)}),
             *_cable_heats(path, carried, answers, brief))
    borne = contacts(carried, answers)
    inside = _held_to_places(inside, places, heats)
    if inside is not None:
        inside = with_contacts(inside, borne.string_contactor)
    arc = worst_arc(every, answers, path.pack.full_voltage,
                    splits=disconnect_stands(brief, path.pack.layout.series))
    insulation = _with_arc(study_insulation(replace(
        insulation_asked(brief, path.pack, path.pack.highest_voltage), capacitance=charged)), arc)
    left = None if path.held.asked.fault_voltage is None else cells_left(
        (place.loop for place in every), answers, path.held.asked.fault_voltage)
    managed = ManagementAsked(
        brief, path.pack, path.held.asked.fault_lowest, _between_poles(path),
        takeover_of(path.held), left, path.held.asked.cable_current,
        _without_contactor(path.held), lambda below: opened_all_the_same(every, below),
        *_trip_settings(path.held.asked.trips, brief), path.held.asked.fuse_open)
    management = specify_management(managed)
    management = replace(management, item=with_system(management.item, managed))
    time = next((f for f in path.precharge.duty if f.title.startswith(LEVEL_TIME)), None)
    if time is not None:
        time = with_more(time, resistor_open(brief))
    loops = tuple(place.loop for place in every)
    beyond = faults_beyond(answers.first, loops, path.held.asked.put_forward)
    at_once = opened_at_once(answers, beyond)
    states = study_states(StatesAsked(brief, path.pack, path.pack.highest_voltage, time,
                                      charged, breaks_both_ways(path.held),
                                      _untimed(path.held, inside, at_once),
                                      joining_reading(feeds, path.loops)))
    named = fuse_named(path.held, brief)
    branches = tuple(_with_selectivity(item, branch, named, feeds)
                     for branch, item in zip(brief.branch, branch_items(
                         feeds, path.loops, lambda branch, lowest, highest: branch_sheet(
                             named, branch, lowest, highest), _stub_heats(every, answers),
                         path.precharge, _weakest(brief, every)), strict=True))
    if string_fuse is not None:
        string_fuse = replace(string_fuse, checks=(*string_fuse.checks, *fuses_apart(
            named, brief.parts.string_fuse, brief.parts.main_fuse, path.faults.highest,
            "a string")))
    switched = _string_contactors(feeds, brief, named, path, fed_back)
    if strings is not None:
        strings = _as_at_the_place(strings, places)
    several = tuple(item for item in (
        strings, string_fuse, switched, inside.item if inside else None,
        mid_fuse_item(feeds, path.fuse_asked, loops),
        charge_contactor_item(feeds, answers, tuple(p.loop for p in carried), beyond, at_once),
        precharge_relay_item(feeds, path.precharge, loops),
        string_cables_item(feeds, path.held.asked.cable_current)) if item is not None)
    items = (overvoltage.item, insulation.item, *several, *branches, management.item,
             _with_bus_checks(states.item, brief, path.pack))
    return Circuit(feeds, places, overvoltage, insulation, management, states, items, inside, arc,
                   mid_fuse_asked(feeds, path.fuse_asked, loops), heats, borne, left)


def _without_perhaps(places: tuple[FaultPlace, ...]) -> tuple[FaultPlace, ...]:
    """Places as they carry a fault where no fuse stands that nobody spoke of.

    One that may stand shows nobody to clear it, and hides no heat that there is without it.
    """
    return tuple(replace(p, loop=replace(p.loop, passed=tuple(
        d for d in p.loop.passed if d.key not in p.loop.perhaps
        and not (d.kind == FUSE and d.name.endswith(PERHAPS))))) for p in places)


def _cable_heats(path: MainPath, places: tuple[FaultPlace, ...], answers: PartAnswers,
                 brief: Brief) -> tuple[ElsewhereHeat, ...]:
    """The most heat in the traction cable, and in each charge cable."""
    asked, found = path.held.asked, []
    traction = {r.asked.name for r in path.routes if r.asked.behind_main_fuse}
    named = [] if not traction or asked.cable_withstand is None else [
        (traction, asked.cable_name, asked.cable_withstand)]  # the weakest, of what runs in any
    charging = {r.name for r in brief.cables.route if r.carries == "charging"}
    named += [({r.asked.name}, r.asked.name, r.withstand) for r in path.routes
              if r.asked.name in charging and r.withstand is not None]
    for routes, name, stands in named:
        through = tuple(p for p in places if routes.intersection(p.loop.cables))
        if routes & charging:  # of any section: whether this one lives so long is asked of it
            through = fault_places(PlacesAsked(
                tuple(replace(p.loop, own_wire=None) for p in through), answers,
                sweeping_by(answers), answers.spoils))
        found += place_heats(through, answers, (PathConductor(name, stands, ""),), 1,
                             far_ends(routes))
    return tuple(found)


def _held_to_places(inside: Coordination | None, places: tuple[FaultPlace, ...],
                    heats: tuple[ElsewhereHeat, ...]) -> Coordination | None:
    """No pass of a string's own devices while nobody opens a loop that is left to them alone.

    Links, cables and modules of a string are those of the main path: they lie in all its loops.
    """
    if inside is None:
        return None
    return with_heats(with_places(inside, [
        p.title for p in places if p.nobody and p.loop.devices
        and all(d.key in STRINGS_OWN for d in p.loop.devices)]), heats)


def _without_contactor(held: Coordination) -> bool:
    """Whether the lowest fault is that of a loop in which no contactor stands."""
    alone, lowest = held.asked.fuse_alone_lowest, held.asked.fault_lowest
    return alone is not None and lowest.known and alone.number <= lowest.number


def _between_poles(path: MainPath) -> Finding:
    """Every source from pole to pole, as far sense wires may meet it."""
    return next((loop.all_sources for loop in path.loops if loop.key == "box"),
                path.faults.highest)


def _trip_settings(trips: Trips | None, brief: Brief) -> tuple[
        tuple[Finding, Finding] | None, Check | None]:
    """Of a trip that follows the cells' temperature: what counts at full power and in a fault."""
    if trips is None or trips.moving is None:
        return None, None
    most = trips.current or brief.management.trip_current
    settings = (trips.moving.at_load, most) if trips.moving.at_load is not None else None
    return settings, follows(trips)


def _stub_heats(places: tuple[FaultPlace, ...], answers: PartAnswers) -> dict[str, Finding]:
    """Largest I²t between tap and fuse of each branch; no value where nobody ends some current.

    Of one that may leave at several taps the worst of them. Where a device is not named, that by
    the first of the list, or more.
    """
    found: dict[str, Finding] = {}
    known, bare, answers = {}, answers, answers.first
    for loop in (p.loop for p in places if p.key.startswith("branch.")
                 and p.key.endswith(".before")):
        title, name = "largest I²t until the branch's own fuse", loop.key[7:-7]
        if not (loop.lowest.known and loop.highest.known
                and 0 < loop.lowest.number < loop.highest.number):
            continue
        key = (tuple(d.key for d in loop.devices), loop.lowest.number, loop.highest.number,
               loop.least(loop.paths))
        if loop.devices and key not in known:
            current = currents_of(answers, loop)
            heat = heat_over(answers, loop, current)
            open_ = answers is not bare and np.isnan(
                heat_over(bare, loop, currents_of(bare, loop))).any()
            known[key] = current, heat, SWEPT if np.isnan(heat).any() else heat_entries(
                answers, loop, float(current[np.argmax(heat)])), \
                bare.held.asked.put_forward if open_ else ""
        current, heat, origin, more = known.get(key, (np.zeros(1), np.full(1, np.nan), SWEPT, ""))
        if np.isnan(heat).any():
            found[name] = leaf(title, "I²t", "A²s", None, "given",
                               note="is not shown to be ended")
            continue
        index = int(np.argmax(heat))
        before = found.get(name)
        less = f"the lowest current there is {told_with_bound(loop.lowest)}" \
            if only_at_most(loop.lowest) else ""
        more = more or loop.asks_more or less or (before.untold_more if before is not None else "")
        if before is not None and not (before.known and before.number < heat[index]):
            found[name] = with_more(before, more)
            continue
        found[name] = with_more(leaf(title, "I²t", "A²s", float(heat[index]), "computed",
                           source="packcalc-rule", origin=origin,
                           note=f"at {show(float(current[index]), 'A')}"), more)
    return found


def _weakest(brief: Brief, places: tuple[FaultPlace, ...]) -> dict[str, Weakest]:
    """The least that each branch's fuse is counted on for anywhere but at its own far end.

    A place that others are shown to clear where the fuse need not is none of them.
    """
    found = {}
    for branch in brief.branch:
        fuse = branch_fuse(branch)
        mine = [p for p in places if p.lowest.known and p.loop.sizes
                and p.key != f"branch.{branch.name}.after"
                and any(d.key == fuse.key for d in p.loop.devices)
                and not (p.shown and p.at_lowest.device != fuse.name)]
        if mine:
            least = min(mine, key=lambda p: p.lowest.number)
            found[branch.name] = Weakest(least.lowest, least.title, least.nobody)
    return found


def _with_arc(found: InsulationResult, arc: PlaceArc | None) -> InsulationResult:
    """Gloves are no answer to an arc: what it does at its worst place stands beside them."""
    if arc is None:
        return found
    item = found.item
    return replace(found, item=replace(item, duty=(*item.duty, arc.energy, arc.at),
                                       checks=(*item.checks, arc.check)))


def _untimed(held: Coordination, inside: Coordination | None,
             charge: Untimed | None) -> tuple[Untimed, ...]:
    """One for each pair of contactors that a lost supply drops."""
    beside = (charge,) if charge is not None else ()
    if inside is None:
        return (opened_untimed(held), *beside)
    return (opened_untimed(held, "whole pack"), opened_untimed(inside, "inside a string"), *beside)


def _string_rating(brief: Brief, fuse: Item | None) -> Finding | None:
    """Rated current of the string fuse that the brief names, else the least that it is asked."""
    name = brief.parts.string_fuse
    own = brief.parts.list.part(FUSE, name).rated_current if fuse and name else None
    return own or (fuse.duty[0].called("rating asked of the string fuse") if fuse else None)


def _as_at_the_place(strings: Item, places: tuple[FaultPlace, ...]) -> Item:
    """A module shorted inside a string is answered once, by the parts, at its fault place."""
    place = next(p for p in places if p.key == STRING_MODULE)
    answer = " ".join(f"{place_words(one)[0].upper()}{place_words(one)[1:]}, {check.reason}."
                      for one, check in zip(place.answers, place.checks, strict=True))
    verdict, told = worst(place.checks), f"as the fault place '{place.title}': {answer}"
    grave = max((c for c in place.checks if c.verdict == verdict),
                key=lambda c: c.figure.number if c.figure is not None else 0.0)
    checks = tuple(replace(
        c, verdict=verdict, figure=grave.figure or c.figure, demand=grave.demand,
        relation=grave.relation, reason=told, remedy="; ".join(place.remedies))
        if c.title == MODULE_SHORT else c for c in strings.checks)
    return replace(strings, checks=checks)


def _string_contactors(feeds: Feeds, brief: Brief, named: NamedFuses, path: MainPath,
                       fed_back: Finding | None) -> Item | None:
    """The string contactors behind the string fuse that the brief names."""
    side = named.side(brief.parts.string_fuse)
    part = side.part if side else None
    shown = side is not None and part is not None and not math.isnan(side.integral)
    return string_contactor_item(
        feeds, path.loops, brief.parts.list.contactors,
        takeover=largest_to_break(path.held), fed_back=fed_back, closing_step=path.closing_step,
        let_through=part.clearing_i2t.called(f"total clearing I²t of {part.name}")
        if shown else None, named=brief.parts.string_contactor)


def _with_selectivity(item: Item, branch: Branch, named: NamedFuses, feeds: Feeds) -> Item:
    """A branch with the question whether every fuse that it leaves behind stays in."""
    stands = standing(branch, feeds.string is not None)
    moved = () if stands is branch else (replace(
        ELSEWHERE, reason=f"the brief says '{branch.taps}', {ELSEWHERE.reason}"),)
    # Of one whose tap nobody told the worse end counts: the main fuse may stand before it.
    main = stands.taps != AHEAD or feeds.brief.taps_open(branch)
    apart = [check for upper, lost in _behind(stands, feeds, main).items() for check in fuses_apart(
        named, upper, branch.fuse_part, feeds.faults.highest, lost)]
    kind = (KIND_OPEN,) if feeds.brief.branch_open(branch, "kind") else ()
    return replace(item, checks=(*item.checks, *kind, *moved, *apart))


def _behind(branch: Branch, feeds: Feeds, main: bool) -> dict[str, str]:
    """Named fuses between the modules and a branch, with what stands still without each.

    With one string in, that string's fuses carry all that the branch takes.
    """
    brief, strung = feeds.brief, feeds.string is not None
    parts, series = brief.parts, feeds.pack.layout.series
    within = "mid-pack" in fuse_stands(brief, series) or mid_fuse_open(brief, series)
    if branch.kind == SENSE:
        return {}
    middle = parts.mid_fuse or (parts.main_fuse if "mid-pack" in brief.path.main_fuse else "")
    found = {parts.main_fuse: "the whole vehicle"} if main else {}
    for name in (parts.string_fuse if strung else "", middle if within else ""):
        found.setdefault(name, "a string" if strung else "the whole vehicle")
    return {name: lost for name, lost in found.items() if name}


def _with_bus_checks(item: Item, brief: Brief, pack: PackModel) -> Item:
    """The switching item with the branches whose share of the bus is open."""
    return replace(item, checks=(*item.checks, *bus_checks(brief, pack.layout.in_strings)))
