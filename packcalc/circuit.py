"""The circuit around the main path: fault places, strings, branches, insulation, control.

Everything here takes the sized main path and asks what it leaves open: who ends each
fault, what the branches and strings need, what the management system must do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from packcalc.brief import Branch, Brief
from packcalc.checks import Item
from packcalc.feeds import Feeds, feeds_of
from packcalc.findings import Finding, Origin, leaf
from packcalc.pack import PackModel
from packcalc.parts import FUSE
from packcalc.places import places_asked
from packcalc.protect.branches import BranchFuse, fuse_without_sheet
from packcalc.protect.cable import RouteResult
from packcalc.protect.coordination import Coordination
from packcalc.protect.faults import FaultRange
from packcalc.protect.insulation import InsulationResult, insulation_asked, study_insulation
from packcalc.protect.management import ManagementAsked, ManagementResult, specify_management
from packcalc.protect.overvoltage import OvervoltageResult
from packcalc.protect.places import (
    Clearing,
    Device,
    FaultPlace,
    clearing_without_parts,
    fault_places,
)
from packcalc.protect.states import StatesAsked, StatesResult, study_states
from packcalc.side_circuits import branch_items, bus_checks, string_fuse_item, strings_item

LEVEL_TIME = "Time to the closing level"


@dataclass(frozen=True)
class Circuit:
    """What stands around the main path of one layout.

    Attributes:
        feeds: every source that can feed a fault.
        places: every fault place with who ends it.
        overvoltage: the chain behind the highest working voltage.
        insulation, management, states: results of those rooms.
        items: strings, branches and the rooms above, for the report.
    """

    feeds: Feeds
    places: tuple[FaultPlace, ...]
    overvoltage: OvervoltageResult
    insulation: InsulationResult
    management: ManagementResult
    states: StatesResult
    items: tuple[Item, ...]


@dataclass(frozen=True)
class MainPath:
    """The sized main path that the circuit hangs on.

    Attributes:
        pack, faults, routes, held: of the layout.
        rating: rated current of the main fuse, named or least.
        precharge: the pre-charge item.
        pack_inductance, cable_inductance: of the fault loop.
    """

    pack: PackModel
    faults: FaultRange
    routes: tuple[RouteResult, ...]
    held: Coordination
    rating: Finding | None
    precharge: Item
    pack_inductance: Finding
    cable_inductance: Finding


def study_circuit(brief: Brief, path: MainPath, overvoltage: OvervoltageResult) -> Circuit:
    """Everything around the main path of one layout."""
    feeds = feeds_of(brief, path.pack, path.faults, pack_inductance=path.pack_inductance,
                     per_length=path.cable_inductance)
    strings, string_fuse = strings_item(feeds), string_fuse_item(feeds)
    places = fault_places(places_asked(
        feeds, path.routes, main_rating=path.rating,
        string_rating=string_fuse.duty[0] if string_fuse else None,
        clearing=clearing_by(path.held)))
    insulation = study_insulation(insulation_asked(brief, path.pack, path.pack.highest_voltage))
    management = specify_management(ManagementAsked(
        brief, path.pack, path.faults.lowest, path.faults.highest, takeover_of(path.held)))
    time = next((f for f in path.precharge.duty if f.title.startswith(LEVEL_TIME)), None)
    states = study_states(StatesAsked(brief, path.pack, path.pack.highest_voltage, time))
    several = tuple(item for item in (strings, string_fuse) if item is not None)
    branches = branch_items(feeds, lambda branch: branch_sheet(brief, branch))
    items = (overvoltage.item, insulation.item, *several, *branches, management.item,
             _with_bus_checks(states.item, brief))
    return Circuit(feeds, places, overvoltage, insulation, management, states, items)


def _with_bus_checks(item: Item, brief: Brief) -> Item:
    """The switching item with the branches whose share of the bus is open."""
    return replace(item, checks=(*item.checks, *bus_checks(brief)))


def branch_sheet(brief: Brief, branch: Branch) -> BranchFuse:
    """A branch's fuse as the parts list gives it; its rating alone where it does not."""
    if not branch.fuse_part:
        return fuse_without_sheet(branch.fuse_rating)
    part = brief.parts.list.part(FUSE, branch.fuse_part)
    blank = fuse_without_sheet(part.rated_current or branch.fuse_rating, part.name)
    return BranchFuse(part.name, blank.rating, part.rated_voltage_dc or blank.voltage,
                      part.breaking_capacity or blank.breaking,
                      part.prearcing_i2t or blank.melting, part.clearing_i2t or blank.clearing)


def takeover_of(held: Coordination) -> Finding:
    """Lowest current of the sweep from which the fuse opens within the counted time."""
    title, note = "current from which the main fuse takes over", "from its clearing curve"
    if held.sweep is not None:
        swept, fuse = held.sweep, held.sweep.fuse
        inside = fuse.counts(swept.current) & (fuse.times(swept.current) <= swept.counted_time)
        if inside.any():
            return leaf(title, "I", "A", float(swept.current[np.argmax(inside)]), "given",
                        origin=Origin(f"clearing curve of {held.asked.fuse.name}"), note=note)
    return leaf(title, "I", "A", None, "given", note="no fuse curve is known")


def clearing_by(held: Coordination) -> Clearing:
    """What main fuse and contactors do at a current, by their curves where these are known."""
    def answer(device: Device, current: Finding):
        if held.sweep is None or not current.known:
            return clearing_without_parts(device, current)
        if device.key == "main_fuse" and not held.sweep.fuse.reasons:
            return _fuse_answer(held, current)
        if device.key == "contactors" and not held.sweep.contactor.reasons:
            return _contactor_answer(held, current)
        return clearing_without_parts(device, current)

    return answer


def _time(value: float, what: str) -> Finding:
    return leaf("time to the end of the arc", "t", "s", value, "given",
                origin=Origin(what), note="from the data sheet's points")


def _fuse_answer(held: Coordination, current: Finding):
    side, limit = held.sweep.fuse, held.sweep.counted_time
    time = float(side.times(np.array([current.number]))[0])
    counts = bool(side.counts(np.array([current.number]))[0])
    if counts and time <= limit:
        return True, _time(time, f"clearing curve of {side.part.name}"), "by its clearing curve"
    if current.number > side.high:
        return False, None, f"above its breaking capacity of {side.high:.0f} A"
    return False, None, (f"below {side.low:.0f} A it is not counted on: {side.why_low}")


def _contactor_answer(held: Coordination, current: Finding):
    side, limit = held.sweep.contactor, held.sweep.counted_time
    time = float(side.times(np.array([current.number]))[0])
    if np.isnan(time):
        return False, None, "no named trip acts at this current"
    if current.number > side.limit:
        return False, None, f"above the {side.limit:.0f} A that it breaks"
    if time > limit:
        return False, None, "its trip is slower than the counted second"
    return True, _time(time, f"trip and opening time of {side.part.name}"), "on its named trip"
