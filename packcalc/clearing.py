"""What the named parts do at a current: the answers for fault places and branches.

A fuse answers by its clearing curve, the contactors on their named trip. A part that the
brief does not name, or whose sheet is silent, is "not shown", with what to ask for.
"""

from __future__ import annotations

from dataclasses import field
from typing import Any, TypeVar

import numpy as np

from packcalc.brief import Branch, Brief, ModulesOnHand
from packcalc.brief_keys import CHARGERS
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check
from packcalc.conductors import adiabatic_constant, aluminium_constant, cable_withstand
from packcalc.findings import (
    AT_LEAST, Finding, Origin, leaf, smallest, trace, with_less, with_more,
)
from packcalc.layout_findings import cables_inside
from packcalc.pack import PackModel
from packcalc.part_checks.fuse import selective
from packcalc.part_checks.links_beside import melts_first, spoilt_words
from packcalc.part_checks.path_conductors import PathConductor
from packcalc.part_checks.rising import level_time
from packcalc.part_checks.shown import tested_constant, underrated, voltage_check
from packcalc.part_checks.sweep import (
    ASK_OPENING, BESIDE, TRIPLESS, UNDERVOLTAGE, ContactorSide, FuseSide, beyond_test, breaks,
    entries_of, fuse_side, number, opening_counted, permitted_at, seeing, slower_than, sweep,
    trip_delays_known, trips_alone, with_setting,
)
from packcalc.part_checks.torn import TornOpen, torn_side
from packcalc.part_checks.unbroken import Unbroken, unbroken
from packcalc.part_checks.trip_checks import (
    seen_again, undervoltage_blind_from, undervoltage_span,
)
from packcalc.parts import CONTACTOR, FUSE, ContactorPart, FusePart
from packcalc.protect.branch_figures import BranchFuse, fuse_without_sheet, only_at_most
from packcalc.protect.coordination import Coordination, sweep_pair
from packcalc.protect.state_checks import Untimed
from packcalc.protect.places import (
    CHARGE_KEY, Answer, Device, Spoilt, clearing_without_parts, path_current,
)
from packcalc.value import replace, value_object, worked_once

RUNNING = leaf("bar or link before the fault", "θ_i", "°C", 90.0 + 273.15, "assumed",
               source="packcalc-rule", origin=Origin("rule"),
               note="hotter than the 65 °C that bar tables are made for; errs low")
END_AT_CELLS = leaf("conductor of a module at the end of a fault", "θ_f", "°C", 130.0 + 273.15,
                    "assumed", source="packcalc-rule", origin=Origin("rule"),
                    note="our rule: it is welded to the cells, which must not be heated further")
Side = TypeVar("Side", FuseSide, ContactorSide)
MAIN_KEY = "main_fuse"
UNNAMED = "the brief does not name it, and it is not counted on"
CELL_TRIPS = ("cell_trip", "pole_cell_trip", "bus_cell_trip", "wire_cell_trip")
# The pack's own current trip, where its sensor need not carry the fault.
UNSEEN = ("pole_contactor", "wire_contactor", "bus_contactors")
LEAK = "leak_contactor"  # of one string, in the part of a fault that passes one of its poles
IN_STRINGS = ("string_contactors", "cell_trip", "bus_cell_trip", LEAK)
BUS_SENSOR = ("the pack's trip acts only where its current sensor carries this fault, and nobody "
              "says where that sits: not shown")
# The entries of the brief that name a fuse of the path.
NAMED_AS = {"main_fuse": "parts.main_fuse", "midpack_fuse": "parts.mid_fuse",
            "string_fuse": "parts.string_fuse"}
LEAK_SENSOR = ("the string's own trip acts only where its sensor sits in the pole that this part "
               "passes, and nobody says where that is: not shown")
ONE_POLE = ("it breaks one pole alone here, and the trip acts only where the current sensor sits "
            "in that pole: not shown")
SENSORS = {"pole_contactor": ONE_POLE, "wire_contactor": ONE_POLE, "bus_contactors": BUS_SENSOR,
           LEAK: LEAK_SENSOR}


@value_object
class NamedFuses:
    """The fuses that the brief names from its list, each held against the highest voltage.

    Attributes:
        brief: with its parts list.
        highest_voltage, time_constant: of the layout; the longest of the fault circuit.
        counted_time: within which a fault must be opened, in s.
    """

    brief: Brief
    highest_voltage: Finding
    time_constant: Finding
    counted_time: float

    def side(self, name: str) -> FuseSide | None:
        """Where the fuse of that name counts; None without a name."""
        if not name:
            return None
        return self._side(self.brief.parts.list.part(FUSE, name))

    def _side(self, part: FusePart) -> FuseSide:
        return fuse_side(part, self.highest_voltage, self.time_constant, self.counted_time)

    def unfloored(self, side: FuseSide | None) -> FuseSide | None:
        """A fuse as if it broke, too, what it clears by its curve below its lowest breaking
        current; the same where its curve alone says from where it counts.

        It lets no less heat through below, where it melts and does not break.
        """
        part = side.part if side is not None else None
        floor, rated = (None, None) if part is None else (
            part.lowest_breaking_current, part.rated_current)
        if side is None or floor is None or rated is None or floor.number < side.low:
            return side
        bare = self._side(replace(part, lowest_breaking_current=rated))
        return side if bare.low >= side.low else replace(bare, time_constant=side.time_constant)


def path_fuses(brief: Brief) -> tuple[FusePart, ...]:
    """The fuses of the list that may stand in the main path: not those named for a branch."""
    named = {brief.parts.main_fuse, brief.parts.string_fuse}
    branch = {b.fuse_part for b in brief.branch} - named
    return tuple(f for f in brief.parts.list.fuses if f.name not in branch)


def fuse_named(held: Coordination, brief: Brief) -> NamedFuses:
    """The named fuses at the voltage and the time constant of the main path."""
    asked = held.asked
    return NamedFuses(brief, asked.highest_voltage, asked.time_constant,
                      asked.counted_time.number)


def charging_fuse(brief: Brief) -> Branch | None:
    """The branch whose fuse protects the charge cable; None unless there is one of each."""
    own = [b for b in brief.branch if b.kind in CHARGERS and b.fuse_part]
    routes = [r for r in brief.cables.route if r.carries == "charging"]
    return own[0] if len(own) == 1 == len(routes) else None


# -- links, bus bars and the modules' own conductors ------------------------------------------


def path_conductors(brief: Brief, pack: PackModel, highest: Finding) -> tuple[PathConductor, ...]:
    """Conductors of the main path besides its cables, each with what it stands.

    Args:
        brief, pack: what is asked, and the layout.
        highest: highest fault current of the whole pack.
    """
    modules = [brief.modules[part.entry] for part in pack.layout.parts]
    stands = [_module_withstand(m) for m in modules]
    open_ = [s for s in stands if not s.known]
    return (
        *((_string_cables(brief),) if cables_inside(brief) else ()),
        PathConductor("links and bus bars", _link_withstand(brief),
                      "the smallest section of a link or bus bar (path.link_section), with its "
                      "metal; the current of the whole pack is counted through it"),
        PathConductor("the module's own conductors",
                      open_[0] if open_ else smallest(stands, "I²t of the weakest module"),
                      "the I²t that the module's maker states (conductor_withstand), or the "
                      "smallest section of its own bars (conductor_section)",
                      most=_of_one_module(pack, highest),
                      request="the short-time current of the module's own conductors, with its "
                              "time, from the module's maker",
                      remedy="a faster fuse or a quicker trip; modules of another make"))


def _string_cables(brief: Brief) -> PathConductor:
    """The cables inside a string; without what they stand where nobody told their section."""
    section, title = brief.path.string_cable_section, "I²t that the cables inside a string stand"
    stands = leaf(title, "k²S²", "A²s", None, "given") if section.basis == "assumed" \
        else _withstand("copper", brief.path.link_limit, section, title)
    return PathConductor("cables inside a string", stands,
                         "whether there are any (path.string_cable_length), and their smallest "
                         "section (path.string_cable_section)")


def _link_withstand(brief: Brief) -> Finding:
    path = brief.path
    if not path.link_section.known:
        return leaf("I²t that links and bus bars stand", "k²S²", "A²s", None, "given")
    return _withstand(path.link_material, path.link_limit, path.link_section,
                      "I²t that links and bus bars stand")


def _module_withstand(on_hand: ModulesOnHand) -> Finding:
    """The maker's figure, else by the section, counted as aluminium that ends at the cells."""
    if on_hand.conductor_withstand.known:
        return on_hand.conductor_withstand
    title = "I²t that the module's own conductors stand"
    if not on_hand.conductor_section.known:
        return leaf(title, "k²S²", "A²s", None, "given")
    return _withstand("aluminium", END_AT_CELLS, on_hand.conductor_section, title)


def _withstand(metal: str, end: Finding, section: Finding, title: str) -> Finding:
    law = adiabatic_constant if metal == "copper" else aluminium_constant
    return trace(cable_withstand, title, constant=trace(law, start=RUNNING, end=end),
                 area=section)


def _of_one_module(pack: PackModel, highest: Finding) -> Finding | None:
    """What one of several modules or strings side by side can give or carry in a fault."""
    if pack.layout.parallel == 1 or not highest.known:
        return None
    return trace(path_current, "highest fault current of one module or string",
                 current=highest, paths=pack.parallel,
                 note="below it one of them is counted as carrying the whole current: errs high")


def breaks_both_ways(held: Coordination) -> Finding | None:
    """What the main contactor breaks in either direction; None unless its sheet shows it here."""
    found, asked = weaker_direction(held.asked.contactor, held.asked.highest_voltage), held.asked
    if found is None or CONTACTOR not in asked.unnamed:
        return found
    return with_less(found, asked.put_forward)


def weaker_direction(part: ContactorPart | None, voltage: Finding) -> Finding | None:
    """What a contactor breaks in either direction; None unless its sheet shows it there."""
    if part is None or part.break_discharge is None or part.break_charge is None \
            or voltage_check(part, voltage, "").verdict not in (PASS, CAUTION):
        return None
    return smallest([part.break_discharge, part.break_charge],
                    f"breaking current of {part.name}, the weaker direction")


# -- the fuse of a branch ---------------------------------------------------------------------


def branch_sheet(named: NamedFuses, branch: Branch, lowest: Finding,
                 highest: Finding) -> BranchFuse:
    """A branch's fuse as the parts list gives it; its rating alone where it does not.

    Args:
        named: the fuses of the brief.
        branch: with the name of its fuse, or none.
        lowest, highest: ends of the fault current at the branch's far end.
    """
    side = named.side(branch.fuse_part)
    if side is None or side.part is None:
        return fuse_without_sheet(branch.fuse_rating)
    part = side.part
    blank = fuse_without_sheet(part.rated_current or branch.fuse_rating, part.name)
    return BranchFuse(part.name, blank.rating, part.rated_voltage_dc or blank.voltage,
                      part.breaking_capacity or blank.breaking,
                      part.melting_i2t or blank.melting,
                      _worst_heat(side, lowest, highest, named) or blank.clearing,
                      _opens_from(side), part.arc_voltage, part)


def _opens_from(side: FuseSide) -> Finding | None:
    if side.reasons or side.part is None or not np.isfinite(side.low):
        return None
    return leaf("current from which the branch fuse opens within 1 s", "I", "A", side.low,
                side.part.basis, origin=side.part.origin, note=side.why_low)


def _worst_heat(side: FuseSide, lowest: Finding, highest: Finding,
                named: NamedFuses) -> Finding | None:
    """Most I²t let through between the ends, where the fuse counts; None where not known."""
    part = side.part
    if part is None or side.reasons or not highest.known or highest.number < side.low:
        return None
    bare = named.unfloored(side)
    assert bare is not None
    least = bare.low * (1.0 + BESIDE)  # its curve ends at that current, and holds from there on
    low = max(least, lowest.number) if lowest.known and not only_at_most(lowest) else least
    swept = sweep(min(low, highest.number), highest.number, bare, NO_CONTACTOR,
                  named.counted_time)
    if np.isnan(swept.heat).any():
        return None
    index = int(np.argmax(swept.heat))
    at = leaf("at", "I", "A", float(swept.current[index]), "definition")
    melts = MELTS_BELOW.format(low=_amperes(low), floor=_amperes(side.low)) \
        if low < side.low else ""
    return with_more(leaf(
        "total clearing I²t of the branch fuse, worst of the range", "I²t_c", "A²s",
        float(swept.heat[index]), part.basis, origin=part.origin,
        note=f"at {at.shown}; by its curve, beyond it the sheet's figure"),
        "; ".join(filter(None, (melts, highest.untold_more or highest.may_be_more))))


NO_CONTACTOR = ContactorSide(None, ("no contactor counts in a branch",))
MELTS_BELOW = ("from {low} to {floor}, its lowest breaking current, it melts and does not break: "
               "nobody ends the heat there")


# -- which of two fuses opens -----------------------------------------------------------------

LOST = "the fault is opened all the same, but the upper fuse may go with it: "


def fuses_apart(named: NamedFuses, upper: str, lower: str, highest: Finding,
                lost: str) -> tuple[Check, ...]:
    """Whether only the lower of two named fuses opens; a caution where both may.

    Args:
        named: the fuses of the brief.
        upper, lower: names; the upper carries what the lower does and more.
        highest: fault current behind the lower one.
        lost: what stands still when the upper one opens as well.
    """
    if not upper or not lower:
        return ()
    listed, side = named.brief.parts.list, named.side(lower)
    assert side is not None
    fuse = unbroken(side.part, None, named.highest_voltage, "")
    if fuse.open or bool(fuse.fails(highest.number)):
        why = fuse.why(highest.number)
        fails = bool(fuse.fails(highest.number))
        return (Check(f"{lower} opens without {upper}", "who clears",
                      FAIL if fails else NOT_EVALUATED,
                      reason=f"at {highest.shown} {lower} {why}",
                      remedy="a fuse that is shown to break it at this DC voltage"),)
    check = selective(listed.part(FUSE, upper), listed.part(FUSE, lower), named.highest_voltage,
                      highest)
    if check.verdict != FAIL:
        return (check,)
    return (replace(check, verdict=CAUTION, reason="; ".join(
        w for w in (check.reason, LOST + lost) if w)),)


# -- the answers for fault places -------------------------------------------------------------


@value_object
class PartAnswers:
    """What fuses and contactors do at a current, by their data sheets where these are known.

    Attributes:
        held: the main path.
        brief: with its parts list.
        named: the fuses of the brief.
        sides: each fuse of a place, by the key of its device.
        inside: one string against the others, where strings are paralleled.
        kept: sweeps of fault places, by what they depend on.
        tried: what they do with the first of the list for each that the brief does not name; None
            where it names them all.
    """

    held: Coordination
    brief: Brief
    named: NamedFuses
    sides: dict[str, FuseSide | None]
    inside: Coordination | None = None
    kept: dict[Any, Any] = field(default_factory=dict, compare=False)
    tried: PartAnswers | None = None

    @property
    def first(self) -> PartAnswers:
        """What asks of conductors and contacts: the best pair of the list for one not named.

        That is what they carry at least, and shows of no fault who ends it.
        """
        return self.tried or self

    @worked_once
    def as_told(self) -> PartAnswers:
        """What they do were every path as told; itself where nothing of them is open."""
        held, inside = _path_as_told(self.held), self.inside and _path_as_told(self.inside)
        return self if held is self.held and inside is self.inside else replace(
            self, held=held, inside=inside, kept={})

    @worked_once
    def unfloored(self) -> PartAnswers:
        """What they do if each fuse broke all that it clears by its curve; itself where it does."""
        sides = {key: self.named.unfloored(side) for key, side in self.sides.items()}
        return self if all(side is self.sides[key] for key, side in sides.items()) \
            else replace(self, sides=sides, kept={})

    @property
    def doubt(self) -> str:
        """Why the cells' undervoltage trip is not counted on; empty where it is."""
        trips = self.held.asked.trips
        return trips.undervoltage_open if trips is not None else ""

    def path(self, device: Device) -> Coordination | None:
        """The path whose contactors a device is; None without a sweep of it."""
        found = self.inside if device.key in IN_STRINGS else self.held
        return found if found is not None and found.sweep is not None else None

    def cell_trip(self, device: Device, path: Coordination) -> CellTrip:
        """What a trip on the lowest cell does in the loop of a device."""
        key = (path is self.held, number(device.drop), number(device.falls), *_constants(device))
        if key not in self._trips:
            self._trips[key] = self._cell_trip(device, path)
        return self._trips[key]

    def _cell_trip(self, device: Device, path: Coordination) -> CellTrip:
        # Where the wires of this very loop are known, its own drop tells up to where it sees; the
        # path's check is of the worst of all loops.
        left = self.held.asked.fault_voltage if device.drop is None \
            and device.key in ("pole_cell_trip", "bus_cell_trip") else None
        return replace(cell_trip(path, self.brief, left, device), open=self.doubt)

    def contactor(self, device: Device, path: Coordination) -> ContactorSide:
        """The contactors of a path in this loop, whose current rises in its own time.

        What is left on the cells is that of this loop too: their trip sees any fault in it up to
        where the conductors outside keep them above its level.
        """
        key = (path is self.held, device.key == "contactors", number(device.setting),
               number(device.drop), number(device.falls), *device.constants)
        if key not in self._opened:
            self._opened[key] = self._contactor(device, path)
        return self._opened[key]

    def _contactor(self, device: Device, path: Coordination) -> ContactorSide:
        assert path.sweep is not None
        side = path.sweep.contactor
        if device.setting is not None and path is self.held:
            side = with_setting(side, path.asked.trips, device.setting)
        if device.drop is not None and device.key == "contactors":
            blind = undervoltage_blind_from(path.asked, device.drop, device.falls)
            side = seeing(side, path.asked.trips, None if blind is None else (0.0, blind))
            side = seen_again(side, device.falls)
        return _rising(_in_loop(side, device, path.asked.highest_voltage), device)

    def sensed(self, device: Device, path: Coordination) -> ContactorSide:
        """The same on the current's trips alone: that of the cells is a device of its own."""
        side = self.contactor(device, path)
        if id(side) not in self._blind:  # it is kept in `_opened`
            self._blind[id(side)] = seeing(side, path.asked.trips, None)
        return self._blind[id(side)]

    def fuse(self, device: Device) -> FuseSide | None:
        """Where a fuse counts in this loop; None where that is not shown."""
        key = _constants(device)
        if key not in self._counted:
            self._counted[key] = self._fuse(device)
        return self._counted[key]

    def _fuse(self, device: Device) -> FuseSide | None:
        side = self.sides.get(device.key)
        if side is None or side.part is None or side.reasons \
                or _unshown(side.part, device, self.named.highest_voltage):
            return None
        return _rising(side, device)

    def torn(self, device: Device) -> TornOpen:
        """Where a charge contactor is opened in a current that it is not shown to break."""
        named, highest = self.brief.parts.charge_contactor, self.named.highest_voltage
        part = self.brief.parts.list.part(CONTACTOR, named) if named else None
        side = torn_side(part, self.held.asked.trips,
                         self.inside.asked.trips if self.inside is not None else None, highest)
        # Only a sensor that carries the fault holds a trip back: in one pole it need not.
        return TornOpen(replace(
            _in_loop(side, device, highest),
            blocked_above=np.inf if device.breaks else side.blocked_above))

    # The same part stands in many loops: it is asked once for each time constant.
    @worked_once
    def _lost(self) -> dict[tuple[Any, ...], Unbroken | TornOpen]:
        return {}

    @worked_once
    def _counted(self) -> dict[tuple[Any, ...], FuseSide | None]:
        return {}

    @worked_once
    def _opened(self) -> dict[tuple[Any, ...], ContactorSide]:
        return {}

    @worked_once
    def _blind(self) -> dict[int, ContactorSide]:
        return {}

    @worked_once
    def _trips(self) -> dict[tuple[Any, ...], CellTrip]:
        return {}

    @worked_once
    def _bends(self) -> dict[tuple[int, int], tuple[FuseSide, ContactorSide, list[float]]]:
        return {}

    def breaks(self, fuse: FuseSide, contactor: ContactorSide) -> list[float]:
        """Every current at which one of both begins, bends or ends."""
        key = (id(fuse), id(contactor))  # kept with both, so that no other takes their place
        if key not in self._bends:
            self._bends[key] = fuse, contactor, breaks(fuse, contactor, self.named.counted_time)
        return self._bends[key][2]

    def unbroken(self, device: Device) -> Unbroken | TornOpen:
        """Where a fuse of a loop may melt, or a charge contactor open, not shown to break."""
        key = (number(device.rating), *_constants(device))
        if key not in self._lost:
            self._lost[key] = self._unbroken(device)
        return self._lost[key]

    def _unbroken(self, device: Device) -> Unbroken | TornOpen:
        if device.key == CHARGE_KEY:
            return self.torn(device)
        side, highest = self.sides.get(device.key), self.named.highest_voltage
        part = side.part if side is not None else None
        found = unbroken(part, device.rating, highest,
                         _unshown(part, device, highest) if part is not None else "")
        entry = NAMED_AS.get(device.key, "") if part is None else ""
        return replace(found, open=f"{found.open} ({entry} names none)") if entry else found

    def origin(self, device: Device, current: float) -> Origin | None:
        """The entries by which a device clears a current that it carries; None without a sheet."""
        path = self.path(device)
        if path is None or device.kind == FUSE:
            side = self.fuse(device)
            return side.origin if side is not None else None
        if device.key in CELL_TRIPS:
            return self.cell_trip(device, path).origin
        own = self.sensed(device, path) if device.key in UNSEEN else self.contactor(device, path)
        return own.origin(current)

    def spoils(self, device: Device, current: Finding, time: Finding | None) -> Spoilt:
        """Whether a device of the loop is lost in the fault before another has cleared.

        Args:
            time: of that device; None where none is known: within the second that is counted on.
        """
        fuse, at = self.unbroken(device), np.array([current.number])
        due = self.named.counted_time if time is None else time.number
        if not fuse.melts(at)[0] < due:
            return None
        return bool(fuse.fails(at)[0]), fuse.why(current.number)

    @worked_once
    def _said(self) -> dict[tuple[Any, ...], Answer]:
        return {}

    def __call__(self, device: Device, current: Finding) -> Answer:
        key = device.signature, current.value
        if key not in self._said:
            self._said[key] = self._told(device, current)
        return self._said[key]

    def _told(self, device: Device, current: Finding) -> Answer:
        clears, time, why = self._answer(device, current)
        if clears is not None or self.tried is None or not self.unnamed(device):
            return clears, time, why
        pair = (self.path(device) or self.held).asked.pair
        return clears, time, f"{why}; {_by_the_first(pair, self.tried(device, current))}"

    def unnamed(self, device: Device) -> bool:
        """Whether a device is counted on nowhere because the brief does not name it."""
        path = self.path(device)
        return path is not None and device.kind in path.asked.unnamed and (
            device.kind == CONTACTOR or device.key == MAIN_KEY)

    def _answer(self, device: Device, current: Finding) -> Answer:
        side, path = self.sides.get(device.key), self.path(device)
        if side is not None and side.part is not None and current.known:
            return self._of_fuse(side, device, current)
        if path is None or not current.known:
            return clearing_without_parts(device, current)
        if device.key in ("contactors", "string_contactors", LEAK, *UNSEEN):
            told = _contactor_answer(path, current, self.sensed(device, path) if device.key
                                     in UNSEEN else self.contactor(device, path))
            # Above its level the sensor's place decides; below it no place would help.
            return (None, told[1], SENSORS[device.key]) if told[0] and device.key in SENSORS \
                else told
        if device.key in CELL_TRIPS:
            return _cell_answer(path, self.cell_trip(device, path), current)
        return clearing_without_parts(device, current)

    def _of_fuse(self, side: FuseSide, device: Device, current: Finding) -> Answer:
        """What no time constant mends comes first: what it breaks, and where it is counted on."""
        assert side.part is not None
        highest, fuse = self.named.highest_voltage, self.unbroken(device)
        told = _fuse_answer(_rising(side, device), current, highest)
        if told[0] is None and bool(fuse.fails(current.number)):
            return False, None, f"{side.part.name} {fuse.why(current.number)}"
        slow = _unshown(side.part, device, highest) if device.breaks or not side.reasons else ""
        if not slow or told[0] is False:
            return told
        # Were what is told all of it, nothing that opens later is lost before.
        due = None if _unshown(side.part, device.as_told, highest) else told[1]
        return None, due, f"{side.part.name}: {slow}"


def _path_as_told(path: Coordination) -> Coordination:
    swept, trips = path.sweep and path.sweep.as_told, path.asked.trips and path.asked.trips.as_told
    return path if swept is path.sweep and trips is path.asked.trips else replace(
        path, sweep=swept, asked=replace(path.asked, trips=trips))


def clearing_by(held: Coordination, brief: Brief,
                inside: Coordination | None = None) -> PartAnswers:
    """What the named parts do at a current.

    Args:
        held: the main path.
        brief: with its parts list.
        inside: one string against the others, where strings are paralleled.
    """
    named = fuse_named(held, brief)
    sides = {f"branch_fuse.{b.name}": named.side(b.fuse_part) for b in brief.branch}
    sides |= {"string_fuse": named.side(brief.parts.string_fuse),
              MAIN_KEY: held.sweep.fuse if held.sweep is not None
              else named.side(brief.parts.main_fuse),
              "midpack_fuse": named.side(brief.parts.mid_fuse)}
    first = PartAnswers(held, brief, named, sides, inside)
    own, within = _as_named(held), inside and _as_named(inside)
    if own is held and within is inside:
        return first
    return replace(first, held=own, inside=within, kept={}, tried=first, sides=sides | (
        {MAIN_KEY: None} if FUSE in held.asked.unnamed else {}))


def _as_named(path: Coordination) -> Coordination:
    """A path with the parts alone that the brief names; itself where it names both.

    A contactor that nobody named opens on the same trips, and breaks nobody knows what.
    """
    asked, swept = path.asked, path.sweep
    if swept is None or not asked.unnamed:
        return path
    fuse = None if FUSE in asked.unnamed else asked.fuse
    if CONTACTOR not in asked.unnamed:
        return replace(path, sweep=sweep_pair(replace(asked, fuse=fuse)))
    swept = sweep_pair(replace(asked, fuse=fuse, contactor=ContactorPart(CONTACTOR)))
    side = swept.contactor
    return replace(path, sweep=replace(swept, contactor=replace(side, reasons=(
        UNNAMED, *(r for r in side.reasons if r in TRIPLESS)))))


def _by_the_first(pair: str, answer: Answer) -> str:
    """What the first pair of the list would do, in words."""
    clears, time, why = answer
    would = f"opened in {time.shown}" if clears and time is not None else \
        f"not opened, {why}" if clears is False else f"not shown, {why}"
    return f"with {pair}, the first of the list, it would be {would}"


def _constants(device: Device) -> tuple[Any, ...]:
    """A device by its key, with the time constants of its loop and what may drive it further."""
    return (device.key, device.untold, *device.constants)


SUM_OPEN = "with every source it may be driven above what it breaks: "


def _unshown(part: FusePart, device: Device, highest_voltage: Finding) -> str:
    """Why a fuse is not shown to break in this loop, whatever its sheet says of it elsewhere.

    The loop's own time constant, or a sum of all sources that may be more than is counted.
    """
    return f"{SUM_OPEN}{device.untold}" if device.untold \
        else _too_slow(part, device, highest_voltage)


def _too_slow(part: FusePart, device: Device, highest_voltage: Finding) -> str:
    """Why a fuse is not shown to break the loop's own time constant; empty where it is."""
    own = () if device.constant is None or not device.constant.known \
        else ((highest_voltage, device.constant),)
    for voltage, constant in device.breaks or own:
        permitted = permitted_at(part.permitted_time_constant, voltage)
        if permitted is None:
            return f"ask for the time constant permitted at {voltage.shown}"
        slower = slower_than(permitted, constant, voltage)
        if slower:
            return f"the sheet permits {permitted * 1e3:.3g} ms, the loop has {slower}"
    return ""


def _in_loop(side: ContactorSide, device: Device, highest: Finding) -> ContactorSide:
    """A contactor against the time constant of a device's own loop; of none that of its path."""
    if not device.breaks and (device.constant is None or not device.constant.known):
        return side
    return side.in_loop(*_too_inductive(side.part, device, highest))


def _too_inductive(part: ContactorPart | None, device: Device,
                   highest: Finding) -> tuple[str, bool]:
    """(why it is not shown to break the loop's own time constant, whether by its sheet's figure).

    The path's own is held with the path. A test at a higher voltage than that of the loop leaves
    open what it breaks there.
    """
    own = () if device.constant is None or not device.constant.known \
        else ((highest, device.constant),)
    for voltage, constant in device.breaks or own if part is not None else ():
        # One of which the test is not told is a question of its path already.
        limit = number(tested_constant(part, voltage, voltage.number < highest.number))
        slower = "" if limit is None else slower_than(limit, constant, voltage)
        if slower:
            return (f"its breaking test had {limit * 1e3:.3g} ms, the loop has {slower}",
                    not device.breaks and beyond_test(limit, constant))
    return "", False


def _falls(device: Device) -> float:
    """Current from which the cells fall below their trip by themselves; infinite if not known."""
    return device.falls.number if device.falls is not None and device.falls.known else np.inf


COUNTED_SLOW = ("; its sheet states no opening time: {time} counted, the longest that its own "
                "check passes")
NAME_CELL_TRIP = ("name the cells' undervoltage trip and its delay (management.undervoltage_trip, "
                  "management.voltage_delay)")
RISES = "errs long: the current's rise counted in"


def _rising(side: Side, device: Device) -> Side:
    """A fuse or contactor in a loop whose current rises with a time constant of its own."""
    if device.constant is None or not device.constant.known:
        return side
    return replace(side, time_constant=device.constant.number)


def _time(value: float, origin: Origin, note: str) -> Finding:
    return leaf("time to the end of the arc", "t", "s", value, "given", origin=origin, note=note)


def _fuse_answer(side: FuseSide, current: Finding, highest_voltage: Finding) -> Answer:
    assert side.part is not None
    name = side.part.name
    if side.reasons:
        told = underrated(side.part, highest_voltage)
        return False if told else None, None, f"{name}: {'; '.join(side.reasons)}"
    at = np.array([current.number])
    if bool(side.counts(at)[0]):
        return True, _time(float(side.times(at)[0]), side.origin,
                           RISES if side.time_constant else "from the data sheet's points"), \
            f"{name} by its clearing curve"
    if current.number > side.high:
        return False, None, f"above the breaking capacity of {name}, {_amperes(side.high)}"
    return False, None, (f"below {_amperes(side.low)} {name} is not counted on: {side.why_low}")


def _amperes(value: float) -> str:
    return leaf("current", "I", "A", value, "given").shown


def _held_back(above: float) -> str:
    return (f"held closed: from {_amperes(above)} on every trip is held back, by the brief's own "
            "entry management.trip_blocked_above")


def _no_trip_acts(side: ContactorSide, current: float) -> str:
    """Why none does: of the cells' trip, that the conductors keep them above its level."""
    words = "no named trip acts at this current"
    end = next((one.to_current for one in side.lines if one.name == UNDERVOLTAGE), np.inf)
    return words if current < end else (
        f"{words}: from {_amperes(end)} the cells may keep more than the level of their trip, the "
        "conductors outside taking the rest of the voltage")


def _contactor_answer(held: Coordination, current: Finding, side: ContactorSide) -> Answer:
    limit = held.sweep.counted_time  # type: ignore[union-attr]
    if side.limit and current.number > side.limit:
        return False, None, f"above the {_amperes(side.limit)} that it breaks"
    at = np.array([current.number])
    delayed = float(side.steady_times(at)[0])
    if side.doubt and not delayed <= limit and side.may_open(at, limit)[0]:
        return None, None, "; ".join((*side.reasons, side.doubt))
    if side.reasons and (not side.lines or delayed <= limit):
        return False if side.never else None, None, "; ".join(side.reasons)
    if np.isnan(delayed):
        held = current.number >= side.blocked_above and side.low <= current.number
        return False, None, _held_back(side.blocked_above) if held \
            else _no_trip_acts(side, current.number)
    if delayed > limit:
        return False, None, "its trip is slower than the counted second"
    return True, _time(float(side.times(at)[0]), side.origin(current.number),
                       RISES if side.time_constant else "from the brief's delay"), \
        f"{side.part.name} on its named trip"


@value_object
class CellTrip:
    """What a trip on the lowest cell does to one contactor.

    Attributes:
        time: delay and opening of the contactor; NaN where no such trip is named.
        why: it is not shown to; empty where it is.
        level: of the cells.
        rise: of the current, before they have fallen below it.
        blind_from, seen_from: currents from and to which the cells may keep more than the level;
            from the second on their own resistance alone takes them below it. In A.
        shut_from: current from which every trip may be held back.
        origin: entries that the time comes from.
        soonest: time at which it may open at the earliest.
        counts: of an opening time that no sheet gives; empty where one does.
        never: whether by its own stated figures the contactor breaks nothing that it opens.
        open: why the level is not shown to leave the load alone; empty where it is.
    """

    time: float
    why: str
    level: Finding
    origin: Origin = Origin("delay of the cells' undervoltage trip")
    rise: float = 0.0
    blind_from: float = np.inf
    seen_from: float = np.inf
    shut_from: float = np.inf
    soonest: float = np.nan
    counts: str = ""
    never: bool = False
    open: str = ""

    def blind(self, current: Any) -> Any:
        """Where a fault of that current is not seen, its wires as long as they may be."""
        return (current >= self.blind_from) & (current < self.seen_from)


def cell_trip(path: Coordination, brief: Brief, left: Finding | None,
              device: Device) -> CellTrip:
    """Time of the cells' trip, and where it does not see the fault.

    Args:
        path: whose contactors it opens.
        brief: with level and delay.
        left: voltage that the lowest fault leaves on the cells; None where nothing lies between
            them and the fault.
        device: with the resistance outside the modules for each cell that feeds the fault, and
            the time constant of its loop, each where known.
    """
    drop, rising = device.drop, device.constant
    side = path.sweep.contactor  # type: ignore[union-attr]
    level, delay = brief.management.undervoltage_trip, brief.management.voltage_delay
    side = _in_loop(side, device, path.asked.highest_voltage)
    side = replace(side, reasons=tuple(r for r in side.reasons if r not in TRIPLESS))
    reasons = list(side.reasons)
    if not (level.known and delay.known):
        return CellTrip(np.nan, "; ".join(
            (*reasons, NAME_CELL_TRIP)), level)
    if left is not None and left.known and not left.number < level.number:
        reasons.append(f"the cells' undervoltage trip of {level.shown} does not lie above the "
                       f"{left.shown} that such a fault leaves on them")
    opening = opening_counted(side.part, path.asked.trips)
    own = side.part.opening_time if side.part is not None else None
    if opening is None and side.part is not None and ASK_OPENING not in reasons:
        reasons.append(ASK_OPENING)
    # The cells' voltage falls as the current rises: the trip waits until that has risen.
    rise = float(level_time(1.0, rising.number if rising is not None and rising.known
                            else side.time_constant, 1.0))
    blind = level.number / drop.number if drop is not None and drop.number > 0 else np.inf
    # The pack holds back the trips of its strings' contactors as well.
    held = brief.management.trip_blocked_above
    return CellTrip(delay.number + (opening.number if opening else 0.0), "; ".join(reasons), level,
                    entries_of(UNDERVOLTAGE, level, delay, opening), rise, blind, _falls(device),
                    min(side.blocked_above, held.number if held.known else np.inf),
                    delay.number + (own.number if own else 0.0),
                    COUNTED_SLOW.format(time=opening.shown) if opening and not own else "",
                    side.never)


def _cell_answer(path: Coordination, trip: CellTrip, current: Finding) -> Answer:
    """A shorted module's own cells fall below the undervoltage trip, whatever the current is."""
    level, side, time = trip.level, path.sweep.contactor, trip.time  # type: ignore[union-attr]
    if side.limit and current.number > side.limit:
        return False, None, f"above the {_amperes(side.limit)} that it breaks"
    if np.isnan(time):
        return False, None, trip.why
    if current.number >= trip.shut_from:
        return False, None, _held_back(trip.shut_from)
    if time > path.sweep.counted_time:  # type: ignore[union-attr]
        return False, None, "the cells' undervoltage trip is slower than the counted second"
    if trip.blind(current.number):
        end = f" to {_amperes(trip.seen_from)}" if np.isfinite(trip.seen_from) else ""
        return False, None, (
            f"from {_amperes(trip.blind_from)}{end} the cells may keep more than its "
            f"{level.shown}: the wires outside take the rest of the voltage")
    if trip.why or trip.open:
        return False if trip.never else None, None, trip.why or trip.open
    return True, _time(time + trip.rise, trip.origin,
                       RISES if trip.rise else "from the brief's delay"), (
        f"{side.part.name}: the shorted cells fall below {level.shown}, which their monitor must "
        f"see within the delay{trip.counts}")


def largest_to_break(held: Coordination) -> Finding:
    """Largest current that a trip may break: it opens before the fuse has cleared.

    At least up to where the fuse takes over, unless the trip is held back above a lower current;
    without value where the fuse's curve or the delay of a trip is not known. More where nobody
    named the pair.
    """
    title = "largest current that a trip may break"
    takes, swept, trips = takeover_of(held), held.sweep, held.asked.trips
    side = swept.contactor if swept is not None and swept.contactor.part is not None \
        else trips_alone(trips, undervoltage_span(held.asked))
    if swept is None or not takes.known or not trip_delays_known(trips):
        lacks = takes.note if not takes.known else "name the trips, each with its delay"
        return leaf(title, "I", "A", None, "given", note=lacks)
    opens = side.earliest(swept.current)
    first = ~np.isnan(opens) & ~(swept.fuse.counts(swept.current)
                                 & (swept.fuse.times(swept.current) < opens))
    # One step of the grid further: the current at which both end together lies between.
    last = min(int(np.flatnonzero(first)[-1]) + 1, swept.current.size - 1) if first.any() else 0
    most = max(takes.number, float(swept.current[last]))
    found = leaf(title, "I", "A", min(most, side.blocked_above), "given",
                 origin=Origin(f"clearing curve of {held.asked.fuse.name}, delays of the trips"),
                 note=f"up to there the contactor opens before {held.asked.fuse.name} has cleared; "
                      "one that opens sooner than its stated delay meets more")
    return with_more(found, held.asked.put_forward)


def takeover_of(held: Coordination) -> Finding:
    """Lowest current of the sweep from which the fuse opens within the counted time."""
    title, note = "current from which the main fuse takes over", "from its clearing curve"
    if held.sweep is not None:
        swept, fuse = held.sweep, held.sweep.fuse
        inside = fuse.counts(swept.current) & (
            fuse.curve_times(swept.current) <= swept.counted_time)
        if inside.any():
            first = int(np.argmax(inside))
            found = leaf(title, "I", "A", float(swept.current[first]), "given",
                         origin=fuse.origin, note=note)
            return with_less(with_less(found, swept.less if first == 0 else ""),
                             held.asked.fuse_open)
    return leaf(title, "I", "A", None, "given", note="no fuse curve is known")


# -- contactors that open at once, with no delay ------------------------------------------------


def opened_untimed(held: Coordination, path: str = "") -> Untimed:
    """One path's contactors with the coil dropped at once.

    Args:
        held: the path.
        path: in words, where there are several.
    """
    breaks = breaks_both_ways(held)
    hold = _held_up(held, breaks) if breaks is not None and held.sweep is not None else None
    return Untimed(path, breaks, untimed_current(held), hold, held.asked.fault_highest,
                   held.asked.pair_open)


def _held_up(held: Coordination, breaks: Finding) -> Finding | None:
    """Time in which the fuse clears what the contactor breaks, and all above; None where not."""
    assert held.sweep is not None
    swept, side = held.sweep.current, held.sweep.fuse
    alone = _cleared(held, np.array([breaks.number, *swept[swept > breaks.number]]))
    return None if np.isnan(alone).any() else leaf(
        "time in which the fuse clears what the contactor breaks", "t", "s", float(alone[0]),
        "given", origin=side.origin)


def _cleared(held: Coordination, current: np.ndarray) -> np.ndarray:
    """When the fuse of a path has cleared by itself; NaN where it does not count.

    Nor does it where a further fuse of the loop may melt before, not shown to break: whatever
    that leaves burning the main one is not counted on for.
    """
    assert held.sweep is not None
    side = held.sweep.fuse
    time = np.where(side.counts(current), side.times(current), np.nan)
    lost = [melts_first(link, current, time) for link in held.asked.beside]
    return np.where(np.any(lost, axis=0), np.nan, time) if lost else time


def untimed_current(held: Coordination) -> Finding:
    """Largest current that the fuse has not cleared when a contactor opens without any delay.

    A lost 12 V supply, an emergency stop or a crash drops the coil with no regard to the current.
    The fault is counted from the moment at which the coil drops; a later one meets the contact
    with no time of the fuse behind it. A sheet gives the longest opening time: the least is told.
    """
    title = "largest current not yet cleared by the fuse when the coil has dropped"
    fuse, contactor = held.asked.fuse, held.asked.contactor
    opening = contactor.opening_time if contactor is not None else None
    side = held.sweep.fuse if held.sweep is not None else None
    lacks = [words for words, open_ in (
        ("name the fuse", fuse is None), ("name the contactor", contactor is None),
        ("ask for the contactor's opening time with its coil suppression",
         contactor is not None and opening is None)) if open_]
    if side is not None:
        lacks += list(side.reasons)
    if lacks or side is None or side.clearing is None or opening is None:
        return leaf(title, "I", "A", None, "given", note="; ".join(lacks) or "not swept")
    left, sooner = (_uncleared(held, side, time, title) for time in (opening, half_of(opening)))
    told = left if left.number == held.asked.fault_highest.number else left.called(
        title, note=parting_sooner(opening, sooner.number, left.note))
    return with_more(told, held.asked.put_forward)


def half_of(opening: Finding) -> Finding:
    """How soon a contact is counted to part where a sheet gives its longest opening time alone."""
    return leaf("half of the longest opening time", opening.symbol, opening.unit,
                0.5 * opening.number, "assumed", source="packcalc-rule", origin=Origin("rule"))


def parting_sooner(opening: Finding, sooner: float, note: str) -> str:
    """Of what a contact meets that parts at its longest opening time: how much more it may be."""
    return (f"{AT_LEAST}: its longest opening time counted, {opening.shown}; parting in half of "
            f"it, our assumption, it meets {_amperes(sooner)}"
            + (f"; governed by: {note}" if note else ""))


def _uncleared(held: Coordination, side: FuseSide, opening: Finding, title: str) -> Finding:
    """Largest current that the fuse of a path has not cleared at a time after the coil's drop."""
    highest, curve = held.asked.fault_highest, side.clearing
    assert curve is not None and held.sweep is not None
    if opening.number < curve.shortest:
        return highest.called(title, note="the contact has parted before the fuse's quickest point")
    if opening.number > curve.longest:
        found = leaf(title, "I", "A", curve.lowest, curve.basis, origin=curve.origin,
                     note="lowest current of its clearing curve: below it the fuse is slower still")
    else:
        found = curve.trace_current(opening, title)
    return _or_later(held, side, opening, found, title)


def _or_later(held: Coordination, side: FuseSide, opening: Finding, found: Finding,
              title: str) -> Finding:
    """More than by its curve alone: the current rises first, and it may not clear at all."""
    assert held.sweep is not None and side.clearing is not None
    highest, current = held.asked.fault_highest, held.sweep.current
    cleared = _cleared(held, current)
    late = np.flatnonzero(~(cleared <= opening.number))
    if late.size and current[late[-1]] > found.number:
        last, curve = int(late[-1]), side.clearing
        # No fuse is shown to clear more, up to the highest, where the last of all is left.
        most = float(current[min(last + 1, current.size - 1)])
        found = leaf(title, "I", "A", most, curve.basis, origin=curve.origin,
                     note=_left_words(held, current[last], cleared[last]))
    if found.number < highest.number:
        return found
    never = late.size and np.isnan(cleared[late[-1]])
    return highest.called(title, note=f"{found.note}; {highest.note}" if never else "")


def _left_words(held: Coordination, current: float, cleared: float) -> str:
    """Why the fuse has not cleared one current in time."""
    if not np.isnan(cleared):
        return RISES
    side = held.sweep.fuse  # type: ignore[union-attr]
    at = np.array([current])
    return spoilt_words(held.asked.beside, at, side.times(at)) \
        if side.counts(current) else _fuse_answer(
            side, leaf("current", "I", "A", current, "definition"),
            held.asked.highest_voltage)[2]
