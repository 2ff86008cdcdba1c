"""The fault places of one layout: every loop with its currents and the devices in it."""

from __future__ import annotations

from dataclasses import replace

from packcalc.brief import Branch, Brief, Route
from packcalc.feeds import Feeds, count
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc import electrical as el
from packcalc.protect.branches import SENSE, branch_loops, branch_lowest
from packcalc.protect.cable import RouteResult
from packcalc.protect.faults import (
    fault_loop_inductance,
    fault_time_constant,
    prospective_fault_current,
)
from packcalc.protect.places import (
    AT_TAP,
    CONTACTOR,
    COVER,
    FUSE,
    LIMIT,
    MID_FUSE,
    MIDDLE_FUSE,
    MONITOR,
    POLE_FUSE,
    TRIP,
    WATCH,
    Clearing,
    Device,
    Loop,
    Pair,
    PlacesAsked,
    Source,
    chassis_pairs,
    clearing_without_parts,
)
from packcalc.protect.strings import fed_by_others, other_strings, pair_resistance

MOTOR_NOTE = ("a spinning permanent-magnet motor feeds the fault through the inverter's diodes: "
              "its short-circuit current is not in the sum; ask the motor's maker")
LINK_NOTE = "the link capacitors empty themselves into the fault in milliseconds; nothing ends that"
UNDESCRIBED = (("sense", "sense wires"), ("pre-charge", "pre-charge wires"),
               ("monitor", "monitor wires"))
STRING_MODULE = "string.module"
BUS = "behind the contactors"
STRING_ENDS = ("counted behind the string contactors, where the strings join; ahead of them it is "
               "the place of one string shorted before its fuse")
PRECHARGE_SIDE = ("the wire on the string's side of its + contactor is cut off by the contactor "
                  "of the other pole alone")
NO_CURRENT = "insulation and Y capacitors limit it to milliamperes"


def contactor_words(strings: bool) -> str:
    """The contactors that the pack's trips open: in parallel strings those of each string."""
    return "string contactors" if strings else "main contactors"


def fuse_stands(brief: Brief, series: int) -> str:
    """Where main fuses stand: the brief's word, and a mid-pack fuse stated elsewhere."""
    stands = brief.path.main_fuse
    after = brief.pack.fuse_after
    inside = after.known and 0 < after.number < series
    return f"{stands} and mid-pack" if inside and "mid-pack" not in stands else stands


def places_asked(feeds: Feeds, routes: tuple[RouteResult, ...] = (), *,
                 main_rating: Finding | None = None,
                 string_rating: Finding | None = None,
                 clearing: Clearing = clearing_without_parts) -> PlacesAsked:
    """Every fault place of a layout, in the order of the table.

    Args:
        feeds: every source of the layout.
        routes: sized cable routes, for the hot resistance of charging routes.
        main_rating, string_rating: rated currents of the fuses, or the least that the load
            allows.
        clearing: what a device does at a current.
    """
    table = _Table(feeds, routes, main_rating, string_rating)
    return PlacesAsked(tuple(table.loops()), clearing)


class _Table:
    """Builds the loops of one layout; holds what several of them share."""

    def __init__(self, feeds: Feeds, routes: tuple[RouteResult, ...],
                 main_rating: Finding | None, string_rating: Finding | None):
        self.feeds, self.brief, self.pack = feeds, feeds.brief, feeds.pack
        self.routes = {r.asked.name: r for r in routes}
        self.stands = fuse_stands(self.brief, self.pack.layout.series)
        self.main = Device("main_fuse", "main fuse", FUSE, main_rating)
        # A fuse that only `pack.fuse_after` states is nobody's named part: it has no curve.
        self.mid = self.main if "mid-pack" in self.brief.path.main_fuse else Device(
            "midpack_fuse", "mid-pack fuse, not named", FUSE)
        self.string = Device("string_fuse", "string fuse", FUSE, string_rating, feeds.strings)
        # Parallel strings have no pair common to all: each string's own opens on the trip.
        self.strung = feeds.string is not None
        self.contactors = Device("contactors", contactor_words(self.strung), CONTACTOR)
        self.traction = [r for r in self.brief.cables.route if r.carries == "traction"]
        self.reach = _total_length(self.traction)

    def loops(self):
        yield self.terminals()
        yield self.box()
        yield from (self.cable(route) for route in self.brief.cables.route)
        if not any(r.carries == "charging" for r in self.brief.cables.route):
            yield self.inlet(None)
        yield self.section()
        yield self.module()
        if self.feeds.string is not None:
            yield self.string_short()
            yield self.string_module()
        for branch in self.brief.branch:
            yield self.before(branch)
            yield self.after(branch)
        kinds = {branch.kind for branch in self.brief.branch}
        yield from (self.undescribed(kind, title) for kind, title in UNDESCRIBED
                    if kind not in kinds)
        yield self.first_chassis()
        yield from (self.chassis(pair) for pair in chassis_pairs(self.stands))

    # -- shared -----------------------------------------------------------------------------

    @property
    def upstream(self) -> tuple[Device, ...]:
        """Fuses between all modules and the contactors, nearest to the fault first."""
        return (self.main,) + ((self.string,) if self.feeds.string else ())

    @property
    def inside(self) -> tuple[Device, ...]:
        """What stands even in a fault ahead of the pole fuse.

        Strings join behind their fuses and contactors: all of these feed such a fault.
        """
        mid = (self.mid,) if "mid-pack" in self.stands else ()
        return mid + ((self.string, self.contactors) if self.strung else ())

    @property
    def all_modules(self) -> str:
        strings = self.feeds.strings
        return f"whole pack, {strings} strings" if strings > 1 else "whole pack"

    def loop(self, key: str, title: str, *, resistance: Finding | None = None, **given) -> Loop:
        """A loop with what most of them share filled in."""
        known: dict = {
            "feeds": self.all_modules, "voltage": self.pack.full_voltage,
            "highest": self.feeds.faults.highest, "lowest": self.feeds.faults.lowest,
            "inductance": self.feeds.inductance(self.reach)} | given
        known.setdefault("all_sources", known["highest"])
        known["time_constant"] = trace(fault_time_constant, inductance=known["inductance"],
                                       resistance=resistance or self.pack.resistance_initial)
        return Loop(key, title, **known)

    def link(self, length: Finding | None) -> Source:
        """The link capacitors, at a distance or right at the place."""
        current = self.feeds.link_peak(length) if length is not None else leaf(
            "peak current from the link capacitors", "I", "A", None, "given",
            note="limited by the capacitors' own resistance: ask the inverter's maker")
        return Source("link capacitors", current, (), LINK_NOTE)

    def charger(self) -> Source:
        return Source("charger", self.feeds.charger, (Device(
            "charger", "charger's own limit", LIMIT, self.feeds.charger),))

    def _motor(self) -> tuple[tuple[Source, ...], tuple[str, ...]]:
        if self.feeds.motor is not None and self.feeds.motor.known:
            return (Source("spinning motor", self.feeds.motor, (), "it ends when the motor stands"),
                    ), ()
        quiet = self.brief.motor.back_voltage
        return (), () if quiet.known and quiet.number == 0 else (MOTOR_NOTE,)

    def _bus(self, length: Finding | None) -> dict:
        """Sources and notes of a place on the bus behind the contactors."""
        motor, notes = self._motor()
        sources = (self.link(length), self.charger(), *motor)
        return {"sources": sources, "notes": notes,
                "all_sources": self.feeds.with_sources(*(s.current for s in sources))}

    # -- the places -------------------------------------------------------------------------

    def terminals(self) -> Loop:
        lowest = trace(prospective_fault_current, "lowest fault current at the terminals",
                       voltage=self.pack.rest_low_voltage, resistance=self.feeds.resistance_box)
        return self.loop("terminals", "across the pack terminals, behind fuse and contactors",
                         lowest=lowest, inductance=self.feeds.pack_inductance,
                         devices=(*self.upstream, self.contactors), remedies=(TRIP, COVER),
                         **self._bus(self.reach))

    def box(self) -> Loop:
        lowest = trace(prospective_fault_current, "lowest fault current ahead of the main fuse",
                       voltage=self.pack.rest_low_voltage, resistance=self.feeds.resistance_box)
        given = self._bus(self.reach)
        given["notes"] += (STRING_ENDS,) if self.strung else ()
        return self.loop(
            "box", "inside the box, pole to pole, before the main fuse", lowest=lowest,
            inductance=self.feeds.pack_inductance, devices=self.inside, inherent=True,
            remedies=(COVER,) if self.inside else (MID_FUSE, COVER), **given)

    def cable(self, route: Route) -> Loop:
        if route.carries != "traction":
            return self.inlet(route)
        remedies = ("a smaller main fuse, a thicker or shorter cable", TRIP)
        return self.loop(f"cable.{route.name}", f"far end of the cable {route.name}",
                         devices=(*self.upstream, self.contactors), remedies=remedies,
                         **self._bus(None))

    def inlet(self, route: Route | None) -> Loop:
        """The charge inlet; its own fuse counts where a branch states one."""
        own = next((b for b in self.brief.branch if b.kind in ("fast-charge inlet", "charger")
                    and b.fuse_rating.known), None)
        fuse = (_branch_fuse(own),) if own else ()
        length = route.length if route else self.reach
        lowest = self.feeds.faults.lowest
        known = self.routes.get(route.name) if route else None
        if known is not None and known.loop_resistance is not None:
            loop = trace(pair_resistance, "loop of a fault at the charge inlet",
                         first=self.feeds.resistance_box, second=known.loop_resistance)
            lowest = trace(prospective_fault_current, "lowest fault current at the charge inlet",
                           voltage=self.pack.rest_low_voltage, resistance=loop)
        title = f"charge inlet, far end of {route.name}" if route else "charge inlet"
        given = self._bus(length)
        given["notes"] = (*given["notes"], "the charger's side stays fed by the charger after the "
                          "pack's contactors have opened",
                          "counted as leaving behind the main fuse and the contactors: look at "
                          "the drawing")
        return self.loop(
            f"inlet.{route.name}" if route else "inlet", title, lowest=lowest,
            inductance=self.feeds.inductance(length), devices=(*fuse, *self.upstream,
                                                               self.contactors),
            remedies=("a fuse of its own at the tap of the charge cable, in both poles", TRIP),
            **given)

    def section(self) -> Loop:
        modules = self._largest_section()
        n = count("modules in the largest section", "n", modules)
        voltage = trace(el.series_voltage, "highest voltage of one section", series=n,
                        module_voltage=self.feeds.module.voltage_full)
        whole = modules == self.pack.layout.series
        notes = ("no mid-pack break is stated: the section is the whole pack",) if whole else ()
        return self.loop(
            "section", f"one section between mid-pack breaks ({modules} modules in series)",
            feeds="the section itself", voltage=voltage, highest=self.feeds.module.highest,
            lowest=self.feeds.module.lowest, inductance=self.feeds.of_run(modules),
            resistance=trace(el.stack_resistance, "section, first millisecond", series=n, parallel=
                             count("as it stands", "P", 1),
                             module_resistance=self.feeds.module.resistance_initial),
            inherent=True, remedies=(COVER,), notes=(
                "the current of a section is that of the pack: fewer modules have less voltage and "
                "less resistance alike", *notes))

    def _largest_section(self) -> int:
        series = self.pack.layout.series
        places = (self.brief.pack.disconnect_after, self.brief.pack.fuse_after)
        cuts = sorted({0, series} | {int(p.number) for p in places
                                     if p.known and 0 < p.number < series})
        return max(b - a for a, b in zip(cuts, cuts[1:]))

    def module(self) -> Loop:
        module = self.feeds.module
        group = self.pack.layout.arrangement != "strings" and self.pack.layout.parallel > 1
        return self.loop(
            "module", "one module's terminals" + (", its group feeding with it" if group else ""),
            feeds="the group" if group else "the module itself", voltage=module.voltage_full,
            highest=module.highest, lowest=module.lowest, inductance=self.feeds.of_run(1),
            resistance=module.resistance_initial, inherent=True, remedies=(COVER,),
            notes=("devices inside cells seldom carry a rated voltage: not counted on",))

    def string_short(self) -> Loop:
        string = self.feeds.string
        assert string is not None
        others = trace(other_strings, strings=self.pack.parallel)
        highest = trace(fed_by_others, "highest current from all other strings", others=others,
                        voltage=self.pack.full_voltage, resistance=string.resistance_initial)
        lowest = trace(prospective_fault_current, "one other string alone, cold and empty",
                       voltage=self.pack.rest_low_voltage, resistance=string.resistance_long)
        device = Device("string_fuse", "fuse of the faulted string", FUSE, self.string.rating)
        return self.loop(
            "string", "one string shorted before its fuse, fed by the others",
            feeds="all other strings, through the faulted string's fuse", highest=highest,
            lowest=lowest, inductance=self.feeds.pack_inductance,
            devices=(device, Device("string_contactors", "string contactors", CONTACTOR)),
            remedies=("a fuse in each string", TRIP),
            notes=("the faulted string's own current flows inside it: nobody clears that",))

    def string_module(self) -> Loop:
        string, module = self.feeds.string, self.feeds.module
        assert string is not None
        low = trace(pair_resistance, "two strings, cold and aged", first=string.resistance_long,
                    second=string.resistance_long)
        high = trace(pair_resistance, "faulted string and one other, new and hot",
                     first=string.resistance_initial, second=string.resistance_initial)
        device = Device("string_fuse", "fuse of the faulted string", FUSE, self.string.rating)
        # All others together have at least no resistance: one string's alone bounds it.
        return self.loop(
            STRING_MODULE, "one module shorted inside one string: the others push in",
            feeds="difference of one module's voltage", voltage=module.voltage_full,
            highest=trace(prospective_fault_current, "highest current pushed into the string",
                          voltage=module.voltage_full, resistance=string.resistance_initial,
                          note="the other strings counted without resistance: errs high"),
            lowest=trace(prospective_fault_current, "lowest current pushed into the string",
                         voltage=module.voltage_empty, resistance=low),
            inductance=self.feeds.pack_inductance, resistance=high,
            devices=(device, Device("string_contactors", "string contactors", CONTACTOR),
                     Device("cell_trip", "string contactors, on the lowest cell", CONTACTOR)),
            remedies=("trip on unequal string currents, or on the lowest cell", TRIP))

    def _tap(self, branch: Branch) -> tuple[Device, ...]:
        if branch.kind == SENSE:
            return ()
        if branch.taps == "before the main fuse":
            return self.inside
        switched = branch.taps == BUS or self.strung
        return (*self.upstream, *((self.contactors,) if switched else ()))

    def _from(self, branch: Branch, length: Finding | None) -> dict:
        """Sources of a branch: on the bus everything, ahead of the contactors the modules.

        Strings have no contactor between the main fuse and the inverter: all of it is bus.
        """
        if branch.kind == SENSE:
            return {"feeds": "modules between the two wires",
                    "highest": self.feeds.module.highest}
        given = self._bus(length) if branch.taps == BUS or self.strung else {}
        if branch.kind in ("charger", "fast-charge inlet") and not given:
            given = {"sources": (self.charger(),),
                     "all_sources": self.feeds.with_sources(self.feeds.charger)}
        return given

    def before(self, branch: Branch) -> Loop:
        sense = branch.kind == SENSE
        lowest = self.feeds.module.lowest if sense else trace(
            prospective_fault_current, f"lowest fault current at the tap of {branch.name}",
            voltage=self.pack.rest_low_voltage, resistance=self._upstream(branch))
        given = self._from(branch, None)
        if self.strung and branch.kind == "pre-charge":
            given["notes"] = (*given.get("notes", ()), PRECHARGE_SIDE)
        return self.loop(
            f"branch.{branch.name}.before", f"{branch.name}, before its fuse", lowest=lowest,
            inductance=self.feeds.pack_inductance, devices=self._tap(branch), inherent=True,
            remedies=(f"keep tap to fuse within 150 mm; {AT_TAP}", COVER), **given)

    def _upstream(self, branch: Branch) -> Finding:
        bus = branch.taps == BUS
        return self.pack.resistance_long if bus else self.feeds.resistance_box

    def after(self, branch: Branch) -> Loop:
        sense = branch.kind == SENSE
        hot, _ = branch_loops(branch.length, branch.section, branch.insulation_class)
        source = (self.feeds.module.voltage_empty, self.feeds.module.resistance_long) if sense \
            else (self.pack.rest_low_voltage, self._upstream(branch))
        own = (_branch_fuse(branch),) if branch.fuse_rating.known or branch.fuse_part else ()
        return self.loop(
            f"branch.{branch.name}.after", f"{branch.name}, "
            + ("behind its fuse" if own else "far end, no fuse of its own stated"),
            lowest=branch_lowest(*source, hot), inductance=self.feeds.inductance(branch.length),
            devices=(*own, *self._tap(branch)),
            remedies=("a fuse at the cell end of each wire",) if sense else
            (AT_TAP, "a smaller fuse or a thicker conductor"),
            **self._from(branch, branch.length))

    def undescribed(self, kind: str, title: str) -> Loop:
        sense = kind == SENSE
        unknown = leaf("lowest fault current", "I_k", "A", None, "given",
                       note="length, section and fuse of these wires are not in the brief: add a "
                            f'[[branch]] with kind = "{kind}"')
        given = {"feeds": "modules between the two wires",
                 "highest": self.feeds.module.highest} if sense else {}
        fused = sense and self.brief.management.sense_fuse == "yes"
        device = (Device("sense_fuse", "fuse at the cell end of each wire", FUSE),) if fused else ()
        return self.loop(
            f"wires.{kind}", f"{title}, not described in the brief", lowest=unknown,
            inductance=self.feeds.pack_inductance, devices=device, inherent=True,
            remedies=("a fuse or fusible resistor at the cell end of each wire",) if sense
            else (AT_TAP,), why_nobody="no fuse of these wires is stated", **given)

    # -- chassis ----------------------------------------------------------------------------

    def first_chassis(self) -> Loop:
        nothing = leaf("current of a first chassis fault", "I", "A", 0.0, "definition",
                       origin=Origin("floating pack"), note=NO_CURRENT)
        watch = self.brief.path.insulation_monitor
        seen = {"none": "nobody detects it", "warns": "the insulation monitor warns",
                "opens the contactors": "the insulation monitor opens the contactors"}[watch]
        device = () if watch == "none" else (
            Device("insulation_monitor", "insulation monitor", MONITOR),)
        return self.loop("chassis.first", "first chassis fault: no current", feeds="no loop",
                         highest=nothing, lowest=nothing, devices=device, inherent=True,
                         inductance=self.feeds.pack_inductance, remedies=(WATCH,),
                         why_nobody="nobody detects it: no insulation monitor is stated",
            notes=(f"{seen}; it is silent, and makes the second one lethal",))

    def chassis(self, pair: Pair) -> Loop:
        """A second chassis fault: modules between the two faults, chassis as the way back."""
        module, series = self.feeds.module, self.pack.layout.series
        loop = trace(pair_resistance, "one module and the long hot way back",
                     first=module.resistance_long, second=self.pack.cable_allowance)
        lowest = trace(prospective_fault_current, "lowest current of the second chassis fault",
                       voltage=module.voltage_empty, resistance=loop,
                       note="one module between the faults; a poor contact makes it lower still")
        breaks = self._slow_breaks(pair)
        alone = f"{'string ' if self.strung else ''}contactor of that pole alone"
        devices = tuple(replace(d, breaks=breaks) for d in self._fuses_of(pair)) + (
            (Device("pole_contactor", alone, CONTACTOR),) if pair.contactor else ())
        notes = () if pair.fused else ("no fuse stands in this loop",)
        return self.loop(
            f"chassis.second.{pair.key}", f"second chassis fault: {pair.title}",
            feeds=f"modules between the two faults, 1 to {series}", lowest=lowest,
            inductance=self._chassis_inductance(pair, 1), resistance=module.resistance_initial,
            devices=devices, inherent=not pair.contactor, remedies=pair.remedies,
            notes=(*notes, "inductance and time constant are those of one module between the two "
                   "faults, the slowest of these loops: the way back is counted with the cables' "
                   "inductance and with no resistance"))

    def _fuses_of(self, pair: Pair) -> tuple[Device, ...]:
        """Fuses that the loop passes wherever the leak is: those of its own pole, or the middle.

        A string fuse stands at one end of its string: it counts with the one fused pole alone.
        """
        if pair.fuse == MIDDLE_FUSE:
            return (self.mid,)
        if pair.fuse != POLE_FUSE:
            return ()
        return (self.main,) if "both" in self.stands else self.upstream

    def _chassis_inductance(self, pair: Pair, modules: int) -> Finding:
        """Modules between the faults, and the cables where one fault lies outside the box."""
        run = self.feeds.of_run(modules)
        if not pair.contactor:
            return run
        return trace(fault_loop_inductance, "inductance of the loop through the chassis",
                     pack_inductance=run, per_length=self.feeds.per_length,
                     run_length=self.reach)

    def _slow_breaks(self, pair: Pair) -> tuple[tuple[Finding, Finding], ...]:
        """(voltage, time constant) of the loop for one, some and all modules between the faults."""
        module, series = self.feeds.module, self.pack.layout.series
        one = count("as it stands", "P", 1)
        found = []
        for modules in sorted({1, 2, max(1, series // 4), max(1, series // 2), series}):
            n = count("modules between the faults", "n", modules)
            resistance = trace(el.stack_resistance, "modules between the faults, new and hot",
                               series=n, parallel=one,
                               module_resistance=module.resistance_initial)
            found.append((
                trace(el.series_voltage, "voltage of the modules between the faults", series=n,
                      module_voltage=module.voltage_full),
                trace(fault_time_constant, "time constant of the second chassis fault",
                      inductance=self._chassis_inductance(pair, modules),
                      resistance=resistance)))
        return tuple(found)


def _branch_fuse(branch: Branch) -> Device:
    return Device(f"branch_fuse.{branch.name}", f"fuse of {branch.name}", FUSE, branch.fuse_rating)


def _total_length(routes: list[Route]) -> Finding:
    if len(routes) == 1:
        return routes[0].length
    open_ = any(r.length.basis == "assumed" for r in routes)
    return leaf("length of all traction routes", "l", "m", sum(r.length.number for r in routes),
                "assumed" if open_ else "definition",
                source="packcalc-rule" if open_ else "", origin=Origin("sum of routes"),
                note=" + ".join(r.length.shown for r in routes) or "no traction route")


