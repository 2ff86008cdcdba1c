"""The fault places of one layout: every loop with its currents and the devices in it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cached_property

from packcalc.brief import Branch, Brief, Route
from packcalc.feeds import Feeds, count
from packcalc.findings import Finding, Origin, largest, leaf, trace
from packcalc import electrical as el
from packcalc.monitoring import fault_cell_voltage
from packcalc.parts import FUSE as FUSE_PART
from packcalc.protect.branches import SENSE, branch_loops, branch_lowest
from packcalc.protect.cable import RouteResult
from packcalc.protect.faults import (
    fault_loop_inductance,
    fault_time_constant,
    parallel_source_current,
    prospective_fault_current,
)
from packcalc.protect.places import (
    AT_TAP,
    CONTACTOR,
    COVER,
    DOUBLE,
    FUSE,
    LIMIT,
    MID_FUSE,
    MIDDLE_FUSE,
    MONITOR,
    OTHER_POLE_OF_BRANCH,
    OWN_STRING,
    POLE_FUSE,
    TRIP,
    WATCH,
    Clearing,
    Device,
    Loop,
    Pair,
    PlacesAsked,
    Source,
    Sweeping,
    chassis_pairs,
    clearing_without_parts,
    drop_each,
    not_swept,
    side_by_side,
)
from packcalc.protect.strings import fed_by_others, other_strings, pair_resistance
from packcalc.value import value_object

MOTOR_NOTE = ("a spinning permanent-magnet motor feeds the fault through the inverter's diodes: "
              "its short-circuit current is not in the sum; ask the motor's maker")
LINK_NOTE = "the link capacitors empty themselves into the fault in milliseconds; nothing ends that"
UNDESCRIBED = (("sense", "sense wires"), ("pre-charge", "pre-charge wires"),
               ("monitor", "monitor wires"))
STRING_MODULE, STRING_SECTION = "string.module", "string.section"
OWN_TITLE = "one string shorted before its fuse: its own current"
BUS = "behind the contactors"
STRING_ENDS = ("counted behind the string contactors, where the strings join; ahead of them it is "
               "the place of one string shorted before its fuse")
PRECHARGE_SIDE = ("the wire on the string's side of its + contactor is cut off by the contactor "
                  "of the other pole alone")
OWN_AND_PUSHED = ("what the other strings push in is asked of the faulted string's fuse and "
                  "contactors; what the shorted modules give themselves is ended by nobody")
LEAK = "leak_contactor"
LEAKS = "second chassis fault: leaks in two strings, the part through"
LEAKS_NOTE = ("both leaks inside their strings: the chassis joins them, and each pole where the "
              "strings meet closes a loop of its own; when one part is opened the other burns on")
LEAKS_BLIND = ("one module apart and far from that pole the cells hardly move: no trip on a cell "
               "is counted on; a mid-pack fuse stands in it only where the leaks lie on either "
               "side of it")
LEAKS_TRIP = ("a trip on unequal string currents, its sensor in the pole without a fuse, set below "
              "the smallest of them")
BOTH_ENDS = "a fuse at either end of each string"
OWN_SENSOR = "a current sensor and a trip for each string (strings.trip_current, trip_delay)"
MAIN_BEHIND, MID_KEY = "main_fuse.behind", "midpack_fuse"
ALL_PUSH = "the other strings, through the faulted string's fuse"
LONG_BRANCH = ("counted with both conductors of the branch in the loop and no cable: the way back "
               "through the chassis is not known")
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
                 clearing: Clearing = clearing_without_parts,
                 sweeping: Sweeping = not_swept) -> PlacesAsked:
    """Every fault place of a layout, in the order of the table.

    Args:
        feeds: every source of the layout.
        routes: sized cable routes, for the hot resistance of charging routes.
        main_rating, string_rating: rated currents of the fuses, or the least that the load
            allows.
        clearing: what a device does at a current.
        sweeping: what the devices of a loop do over its whole range.
    """
    table = _Table(feeds, routes, main_rating, string_rating)
    return PlacesAsked(tuple(table.loops()), clearing, sweeping)


def one_pole_loops(loops: Iterable[Loop]) -> tuple[Loop, ...]:
    """The loops with the main fuse in them that the contactor of one pole alone can open."""
    return tuple(loop for loop in loops
                 if {"main_fuse", "pole_contactor"} <= {d.key for d in loop.devices})


def fault_cell(feeds: Feeds, loops: Iterable[Loop]) -> Finding:
    """What the cells that feed a lowest fault still show: the drop outside the modules.

    A second chassis fault draws on a few modules alone, whose cells fall; the others keep theirs.
    """
    brief, pack = feeds.brief, feeds.pack
    parts = [(p.series, brief.modules[p.entry].module.series) for p in pack.layout.parts]
    whole = trace(fault_cell_voltage, "voltage left on a cell, the whole pack shorted",
                  current=feeds.faults.lowest,
                  external=trace(el.resistance_sum, "path and cables outside the modules",
                                 unit="mΩ", first=pack.path, second=pack.cable_allowance),
                  cells=count("cells in series", "n", sum(s * c for s, c in parts)))
    alone = [trace(fault_cell_voltage, "voltage left on a cell, one module shorted by a second "
                   "chassis fault", current=loop.lowest, external=pack.cable_allowance,
                   cells=count("cells in series of one module", "n", min(c for _, c in parts)))
             for loop in loops if loop.lowest.known
             and "pole_contactor" in {d.key for d in loop.devices}]
    title = "voltage left on the cells that feed the lowest fault"
    if not alone:
        return whole.called(title)
    rest = trace(el.series_voltage, "voltage of the modules outside the fault",
                 series=count("modules outside the fault", "n", pack.layout.series - 1),
                 module_voltage=feeds.module.voltage_empty)
    return largest([whole, *alone], title).called(title, note=(
        "every cell is read by itself: in a second chassis fault with one module in it the others "
        f"hold the whole pack above {rest.shown}, and a trip on the pack's voltage does not see "
        "it"))


def run_on_one_side(brief: Brief, series: int) -> int:
    """Most modules between two faults on one side of the mid-pack fuse; all without a fuse."""
    after = brief.pack.fuse_after
    if "mid-pack" not in fuse_stands(brief, series) or not after.known \
            or not 0 < after.number < series:
        return series
    return max(int(after.number), series - int(after.number))


@value_object
class _Run:
    """Some modules in series, shorted at their ends: what they and the other strings give.

    Attributes:
        modules: how many.
        voltage: of the run, full.
        own: current that they give themselves.
        pushed: what all other strings push in; None without any.
        outside: resistance of the loop in which they push it; None without any.
        resistance: of both loops side by side, or of the modules alone.
    """

    modules: int
    voltage: Finding
    own: Finding
    pushed: Finding | None
    outside: Finding | None
    resistance: Finding

    @cached_property
    def current(self) -> Finding:
        """What both give together."""
        if self.pushed is None:
            return self.own
        return trace(parallel_source_current, "highest current of the run and the other strings",
                     first=self.own, second=self.pushed)


class _Table:
    """Builds the loops of one layout; holds what several of them share."""

    def __init__(self, feeds: Feeds, routes: tuple[RouteResult, ...],
                 main_rating: Finding | None, string_rating: Finding | None):
        self.feeds, self.brief, self.pack = feeds, feeds.brief, feeds.pack
        self.routes = {r.asked.name: r for r in routes}
        self.stands = fuse_stands(self.brief, self.pack.layout.series)
        self.main = Device("main_fuse", "main fuse", FUSE, main_rating)
        self.mid = self._mid_fuse()
        self.string = Device("string_fuse", "string fuse", FUSE, string_rating, feeds.strings)
        # Parallel strings have no pair common to all: each string's own opens on the trip.
        self.strung = feeds.string is not None
        self.contactors = Device("contactors", contactor_words(self.strung), CONTACTOR)
        self.runs: dict[int, _Run] = {}
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
            yield self.string_itself()
            yield self.string_run(STRING_MODULE, 1)
            if self._largest_section() < self.pack.layout.series:
                yield self.string_run(STRING_SECTION, self._largest_section())
        for branch in self.brief.branch:
            yield self.before(branch)
            yield self.after(branch)
        kinds = {branch.kind for branch in self.brief.branch}
        yield from (self.undescribed(kind, title) for kind, title in UNDESCRIBED
                    if kind not in kinds)
        yield self.first_chassis()
        yield from (self.chassis(pair) for pair in chassis_pairs(self.stands))
        if self.strung:
            yield from (self.leaks(fused) for fused in (True, False))
        yield from (self.chassis_branch(branch) for branch in self.brief.branch
                    if branch.kind != SENSE)

    def _mid_fuse(self) -> Device:
        """The named one; else the main fuse where that stands there; else one without a curve."""
        name = self.brief.parts.mid_fuse
        if name:
            return Device(MID_KEY, "mid-pack fuse", FUSE,
                          self.brief.parts.list.part(FUSE_PART, name).rated_current)
        if "mid-pack" in self.brief.path.main_fuse:
            return self.main
        return Device(MID_KEY, "mid-pack fuse, not named", FUSE)

    # -- shared -----------------------------------------------------------------------------

    @property
    def upstream(self) -> tuple[Device, ...]:
        """Fuses between all modules and the contactors, nearest to the fault first."""
        return (self.main,) + ((self.string,) if self.feeds.string else ())

    @property
    def inside(self) -> tuple[Device, ...]:
        """What stands even in a fault ahead of the pole fuse.

        Strings join behind their fuses and contactors: all of these feed such a fault. Each
        string's own sensor sees its part of it; where the pack's sensor sits nobody has said.
        """
        mid = (self.mid,) if "mid-pack" in self.stands else ()
        if not self.strung:
            return mid
        name, paths = "string contactors", self.feeds.strings
        return (*(replace(m, paths=paths) for m in mid), self.string,
                Device("string_contactors", name, CONTACTOR, paths=paths),
                Device("bus_contactors", f"{name}, on the pack's trip", CONTACTOR, paths=paths),
                Device("bus_cell_trip", f"{name}, on the lowest cell", CONTACTOR, paths=paths))

    @property
    def faulted(self) -> tuple[Device, ...]:
        """What parts a faulted string from the others: on its own current, or its lowest cell."""
        return (Device("string_fuse", "fuse of the faulted string", FUSE, self.string.rating),
                Device("string_contactors", "string contactors", CONTACTOR),
                Device("cell_trip", "string contactors, on the lowest cell", CONTACTOR))

    def run(self, modules: int) -> _Run:
        """Modules of one string shorted at their ends; the other strings push in as well."""
        if modules not in self.runs:
            self.runs[modules] = self._run_of(modules)
        return self.runs[modules]

    def _run_of(self, modules: int) -> _Run:
        module, string, one = self.feeds.module, self.feeds.string, count("as it stands", "P", 1)
        n = count("modules between the two ends of the fault", "n", modules)
        voltage = self.feeds.run_voltage(n, "highest voltage of the shorted modules")
        loop = trace(el.stack_resistance, "shorted modules, new and hot", series=n, parallel=one,
                     module_resistance=module.resistance_initial)
        own = trace(prospective_fault_current, "highest current of the shorted modules",
                    voltage=voltage, resistance=loop)
        if string is None:
            return _Run(modules, voltage, own, None, None, loop)
        beyond = trace(el.stack_resistance, "all other strings side by side, new and hot",
                       series=count("one string in series", "S", 1),
                       parallel=trace(other_strings, strings=self.pack.parallel),
                       module_resistance=string.resistance_initial)
        left = self.pack.layout.series - modules
        # Of unlike modules nobody knows which are left: none is counted, and the current errs high.
        if left and len(self.pack.layout.parts) == 1:
            beyond = trace(pair_resistance, "other strings, and what is left of the faulted one",
                           first=beyond, second=trace(
                               el.stack_resistance, "modules left in the faulted string",
                               series=count("modules left in it", "n", left), parallel=one,
                               module_resistance=module.resistance_initial))
        pushed = trace(prospective_fault_current, "highest current pushed into the string",
                       voltage=voltage, resistance=beyond,
                       note="driven by the voltage that the shorted modules leave missing")
        return _Run(modules, voltage, own, pushed, beyond, trace(
            side_by_side, "shorted modules beside the loop of the other strings", first=loop,
            second=beyond))

    def _pushing(self, run: _Run) -> tuple[Source, ...]:
        if run.pushed is None or run.outside is None:
            return ()
        rise = trace(fault_time_constant, "time constant of what the others push in",
                     inductance=self.feeds.of_run(2 * self.pack.layout.series - run.modules),
                     resistance=run.outside)
        return (Source("other strings", run.pushed, _in_loop(self.faulted, rise)),)

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
        known["devices"] = _in_loop(known.get("devices", ()), known["time_constant"])
        return Loop(key, title, **known)

    def link(self, length: Finding | None) -> Source:
        """The link capacitors, at a distance or right at the place."""
        current = self.feeds.link_peak(length) if length is not None else leaf(
            "peak current from the link capacitors", "I", "A", None, "given",
            note="limited by the capacitors' own resistance: ask the inverter's maker")
        return Source("link capacitors", current, (), LINK_NOTE, fades=True)

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

    def _through_one_fuse(self, others: Finding) -> dict:
        """Every source of the bus, which reaches into a string through that string's own fuse.

        Charger and motor are parted with the other strings: only the link is spent before.
        """
        given = self._bus(self.reach)
        given["all_sources"] = _with(others, given["sources"])
        given["sources"] = tuple(s for s in given["sources"] if s.fades)
        return given

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
            remedies=(OWN_SENSOR, COVER) if self.strung else
            (COVER,) if self.inside else (MID_FUSE, COVER), **given)

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
        length = route.length if route else self.reach
        given = self._bus(length)
        fuse = (replace(_branch_fuse(own), sees=given["all_sources"]),) if own else ()
        lowest = self.feeds.faults.lowest
        known = self.routes.get(route.name) if route else None
        if known is not None and known.loop_resistance is not None:
            loop = trace(pair_resistance, "loop of a fault at the charge inlet",
                         first=self.feeds.resistance_box, second=known.loop_resistance)
            lowest = trace(prospective_fault_current, "lowest fault current at the charge inlet",
                           voltage=self.pack.rest_low_voltage, resistance=loop)
        title = f"charge inlet, far end of {route.name}" if route else "charge inlet"
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
        run = self.run(modules)
        whole = modules == self.pack.layout.series
        notes = ("no mid-pack break is stated: the section is the whole pack",) if whole else ()
        return self.loop(
            "section", f"one section between mid-pack breaks ({modules} modules in series)",
            feeds="the section itself, and the other strings" if self.strung else
            "the section itself", voltage=run.voltage.called("highest voltage of one section"),
            highest=self._strongest(run), lowest=self.feeds.module.lowest,
            inductance=self.feeds.of_run(modules), resistance=run.resistance,
            sources=self._pushing(run), inherent=True, remedies=(COVER,), notes=(
                OWN_AND_PUSHED if self.strung else
                "the current of a section is that of the pack: fewer modules have less voltage and "
                "less resistance alike", *notes))

    def _strongest(self, run: _Run) -> Finding:
        """The run's highest current, or that of one module in it which gives more."""
        if run.pushed is not None or self.feeds.module.highest.number <= run.own.number:
            return run.current
        return self.feeds.module.highest

    def _largest_section(self) -> int:
        series = self.pack.layout.series
        places = (self.brief.pack.disconnect_after, self.brief.pack.fuse_after)
        cuts = sorted({0, series} | {int(p.number) for p in places
                                     if p.known and 0 < p.number < series})
        return max(b - a for a, b in zip(cuts, cuts[1:]))

    def module(self) -> Loop:
        module, run = self.feeds.module, self.run(1)
        group = self.pack.layout.arrangement != "strings" and self.pack.layout.parallel > 1
        return self.loop(
            "module", "one module's terminals" + (", its group feeding with it" if group else ""),
            feeds="the group" if group else "the module itself, and the other strings"
            if self.strung else "the module itself", voltage=module.voltage_full,
            highest=run.current if run.pushed else module.highest, lowest=module.lowest,
            inductance=self.feeds.of_run(1), resistance=run.resistance, inherent=True,
            sources=self._pushing(run), remedies=(COVER,),
            notes=("devices inside cells seldom carry a rated voltage: not counted on",
                   *((OWN_AND_PUSHED,) if self.strung else ())))

    def string_short(self) -> Loop:
        string = self.feeds.string
        assert string is not None
        others = trace(other_strings, strings=self.pack.parallel)
        highest = trace(fed_by_others, "highest current from all other strings", others=others,
                        voltage=self.pack.full_voltage, resistance=string.resistance_initial)
        lowest = trace(prospective_fault_current, "one other string alone, cold and empty",
                       voltage=self.pack.rest_low_voltage, resistance=string.resistance_long)
        outside = self._through_one_fuse(highest)
        outside["notes"] = (f"only half of that fault: see '{OWN_TITLE}'", *outside["notes"])
        fuse, own_trip, _ = self.faulted
        return self.loop(
            "string", "one string shorted before its fuse: the part that the others feed",
            feeds="all other strings, through the faulted string's fuse", highest=highest,
            lowest=lowest, inductance=self.feeds.pack_inductance,
            resistance=trace(el.stack_resistance, "all other strings side by side, new and hot",
                             series=count("one string in series", "S", 1), parallel=others,
                             module_resistance=string.resistance_initial),
            devices=(replace(fuse, sees=outside["all_sources"]), own_trip),
            remedies=("a fuse in each string, which breaks the sum of every source", TRIP),
            **outside)

    def string_itself(self) -> Loop:
        """The other half of the same fault: it burns on when the others are cut off."""
        string = self.feeds.string
        assert string is not None
        mid = (self.mid,) if "mid-pack" in self.stands else ()
        return self.loop(
            "string.own", OWN_TITLE, feeds="the faulted string itself",
            highest=trace(prospective_fault_current, "highest current of one string in itself",
                          voltage=self.pack.full_voltage, resistance=string.resistance_initial),
            lowest=trace(prospective_fault_current, "lowest current of one string in itself",
                         voltage=self.pack.rest_low_voltage, resistance=string.resistance_long),
            inductance=self.feeds.pack_inductance, resistance=string.resistance_initial,
            devices=mid, inherent=True, why_nobody=OWN_STRING,
            remedies=(COVER,) if mid else (MID_FUSE, COVER),
            notes=("its fuse and its contactors stand beyond the fault: they part it from the "
                   "others and end nothing of its own",))

    def string_run(self, key: str, modules: int) -> Loop:
        """The part of a short inside a string that the other strings push into it."""
        run = self.run(modules)
        assert run.pushed is not None and run.outside is not None
        what = "one module" if modules == 1 else f"one section ({modules} modules in series)"
        return self.loop(
            key, f"{what} shorted inside one string: the others push in",
            feeds=f"the voltage that {what.split(' (')[0]} leaves missing, in {ALL_PUSH}",
            voltage=run.voltage, highest=run.pushed,
            lowest=self._least_pushed(modules, "lowest current pushed into the string"),
            # One other string is counted, as for the lowest: several have less, so this errs high.
            inductance=self.feeds.of_run(2 * self.pack.layout.series - modules),
            resistance=run.outside, devices=self.faulted,
            remedies=("trip on unequal string currents, or on the lowest cell", TRIP),
            notes=("this part alone: what the shorted modules give themselves stands at the place "
                   "of the module or section, and nobody ends it",))

    def _least_pushed(self, modules: int, title: str) -> Finding:
        """What some modules out of two strings in one loop drive round it, cold and empty."""
        string, module = self.feeds.string, self.feeds.module
        assert string is not None
        return trace(
            prospective_fault_current, title,
            voltage=trace(el.series_voltage, "voltage out of balance, empty",
                          series=count("modules out of balance", "n", modules),
                          module_voltage=module.voltage_empty),
            resistance=trace(pair_resistance, "loop through one other string, cold and aged",
                             first=string.resistance_long,
                             second=self.feeds.left_in_string(modules)))

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
            # Two far wires of one string: all modules, and the other strings, lie between them.
            return {"feeds": "modules between the two wires"}
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
        given = self._from(branch, branch.length)
        own = self._own_fuse(branch, given)
        return self.loop(
            f"branch.{branch.name}.after", f"{branch.name}, "
            + ("behind its fuse" if own else "far end, no fuse of its own stated"),
            lowest=branch_lowest(*source, hot), inductance=self.feeds.inductance(branch.length),
            devices=(*own, *self._tap(branch)),
            remedies=("a fuse at the cell end of each wire",) if sense else
            (AT_TAP, "a smaller fuse or a thicker conductor",
             *(("a fuse that breaks the sum of every source",) if own else ())), **given)

    def _own_fuse(self, branch: Branch, given: dict) -> tuple[Device, ...]:
        """The branch's own fuse, which every source of its place passes; empty without one."""
        if not (branch.fuse_rating.known or branch.fuse_part):
            return ()
        return (replace(_branch_fuse(branch), sees=given.get("all_sources")),)

    def undescribed(self, kind: str, title: str) -> Loop:
        sense = kind == SENSE
        unknown = leaf("lowest fault current", "I_k", "A", None, "given",
                       note="length, section and fuse of these wires are not in the brief: add a "
                            f'[[branch]] with kind = "{kind}"')
        given = {"feeds": "modules between the two wires"} if sense else {}
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
        module = self.feeds.module
        loop = trace(pair_resistance, "one module and the long hot way back",
                     first=module.resistance_long, second=self.pack.cable_allowance)
        lowest = trace(prospective_fault_current, "lowest current of the second chassis fault",
                       voltage=module.voltage_empty, resistance=loop,
                       note="one module between the faults; a poor contact makes it lower still")
        most = self._most(pair)
        breaks, strongest, slowest = self._slow_breaks(pair, most)
        drop = self._drop(self.pack.cable_allowance)
        alone = f"{'string ' if self.strung else ''}contactor of that pole alone"
        devices = tuple(replace(d, breaks=breaks) for d in self._fuses_of(pair)) + (
            (Device("pole_contactor", alone, CONTACTOR),
             Device("pole_cell_trip", f"{alone}, on the lowest cell", CONTACTOR, drop=drop))
            if pair.contactor else ())
        notes = () if pair.fused else ("no fuse stands in this loop",)
        # Where no fuse stands in the loop a monitor must act on the first fault, if there is one.
        watched = self.brief.path.insulation_monitor != "none"
        outside = self._bus(None) if pair.contactor else {"notes": ()}
        outside["notes"] = (*notes, slowest, *outside["notes"])
        if "sources" in outside:
            outside["all_sources"] = _with(strongest.current, outside["sources"])
        return self.loop(
            f"chassis.second.{pair.key}", f"second chassis fault: {pair.title}",
            feeds=f"modules between the two faults, 1 to {most}", lowest=lowest,
            highest=strongest.current.called("highest current of the second chassis fault"),
            voltage=self.feeds.run_voltage(count("most modules between the two faults", "n", most),
                                           "highest voltage between the two faults"),
            inductance=self._chassis_inductance(pair, strongest.modules),
            resistance=strongest.resistance, devices=devices,
            inherent=not pair.contactor or (watched and not pair.fused),
            remedies=pair.remedies, **outside)

    def leaks(self, fused: bool) -> Loop:
        """One leak in each of two strings: the part through the fuses' pole, or the other.

        At the worst the leaks are the far ends of their strings, and each loop is a whole string
        shorted, all further strings pushing in until a string fuse has opened; at the least they
        lie one module apart, as far from that pole as can be.
        """
        string = self.feeds.string
        assert string is not None
        through = "their fuses" if fused else "the pole without a string fuse"
        whole = trace(fed_by_others, "all strings but one, shorted through the chassis",
                      others=trace(other_strings, strings=self.pack.parallel),
                      voltage=self.pack.full_voltage, resistance=string.resistance_initial)
        highest = largest([whole, self.feeds.module.highest],
                          "highest current between two strings")
        outside = self._through_one_fuse(highest) if fused else {"notes": ()}
        contactor = Device(LEAK, "string contactor of that pole alone", CONTACTOR)
        fuses = (Device("string_fuse", "fuse of one of the two strings", FUSE, self.string.rating,
                        sees=outside.get("all_sources")),) if fused else ()
        outside["notes"] = (*(() if fused else ("no fuse stands in this loop",)), LEAKS_NOTE,
                            LEAKS_BLIND, *outside["notes"])
        return self.loop(
            f"chassis.second.strings.{'fused' if fused else 'bare'}", f"{LEAKS} {through}",
            feeds=f"modules between the leaks and that pole, 1 to {self.pack.layout.series} out "
                  "of balance, and further strings",
            highest=highest, lowest=self._least_pushed(
                1, "lowest current between two strings").called(
                "lowest current between two strings", note="two strings in; with more in, the "
                "share of one contactor is less still"),
            inductance=self.feeds.pack_inductance, resistance=string.resistance_initial,
            devices=(*fuses, contactor), inherent=self.brief.path.insulation_monitor != "none",
            remedies=(WATCH, DOUBLE, LEAKS_TRIP, *(() if fused else (BOTH_ENDS,))), **outside)

    def chassis_branch(self, branch: Branch) -> Loop:
        """A mid-pack leak and a chafed wire of a branch: the pole without a fuse, if one has none.

        Of the pack's own fuses those count that stand in either pole.
        """
        given = self._from(branch, branch.length)
        own = self._own_fuse(branch, given) if branch.fused_poles == "both" else ()
        behind = branch.taps != "before the main fuse" and "both" in self.stands
        switched = branch.taps == BUS or self.strung
        hot, _ = branch_loops(branch.length, branch.section, branch.insulation_class)
        alone = f"{'string ' if self.strung else ''}contactor of that pole alone"
        # The main fuse by a key of its own: the main path is not sized for a branch's wire.
        devices = (*own, *((replace(self.main, key=MAIN_BEHIND),) if behind else ()), *(
            (Device("wire_contactor", alone, CONTACTOR),
             Device("wire_cell_trip", f"{alone}, on the lowest cell", CONTACTOR,
                    drop=self._drop(hot))) if switched else ()))
        watched = self.brief.path.insulation_monitor != "none"
        notes = (LONG_BRANCH,) if own or behind else ("no fuse stands in this loop", LONG_BRANCH)
        given["notes"] = (*given.get("notes", ()), *notes)
        pole = "" if own else " in the pole without a fuse" if branch.fuse_rating.known \
            or branch.fuse_part else ", no fuse of its own stated"
        return self.loop(
            f"chassis.second.branch.{branch.name}",
            f"second chassis fault: mid-pack leak and chafed wire of {branch.name}{pole}",
            **given | {"feeds": "modules between the two faults, 1 to "
                                f"{self.pack.layout.series}"},
            lowest=branch_lowest(self.feeds.module.voltage_empty, self.feeds.module.resistance_long,
                                 hot), inductance=self.feeds.inductance(branch.length),
            devices=devices, inherent=watched and not (own or behind),
            remedies=(TRIP, WATCH, DOUBLE) if own else
            (OTHER_POLE_OF_BRANCH, TRIP, WATCH, DOUBLE))

    def _drop(self, external: Finding) -> Finding | None:
        """What the cells of one module keep of a fault that they feed through a resistance."""
        if not external.known:
            return None
        least = min(self.brief.modules[p.entry].module.series for p in self.pack.layout.parts)
        return trace(drop_each, external=external,
                     cells=count("cells in series of one module", "n", least))

    def _most(self, pair: Pair) -> int:
        """Most modules that two faults on one side of the mid-pack fuse can have between them."""
        series = self.pack.layout.series
        return run_on_one_side(self.brief, series) if pair.one_side else series

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

    def _slow_breaks(self, pair: Pair, most: int) -> tuple[
            tuple[tuple[Finding, Finding], ...], _Run, str]:
        """One, some and all modules between the faults.

        Returns:
            (voltage, time constant) of each, the run with the highest current, of equal ones the
            slowest, and the slowest of all in words.
        """
        found = []
        for modules in sorted({1, min(2, most), max(1, most // 4), max(1, most // 2), most}):
            run = self.run(modules)
            found.append((run, trace(
                fault_time_constant, "time constant of the second chassis fault",
                inductance=self._chassis_inductance(pair, modules), resistance=run.resistance)))
        top = max(run.current.number for run, _ in found) * (1.0 - 1e-9)
        strongest, _ = max(((r, t) for r, t in found if r.current.number >= top),
                           key=lambda one: one[1].number)
        slow, constant = max(found, key=lambda one: one[1].number)
        several = f"{slow.modules} module{'s' if slow.modules > 1 else ''} between the two faults"
        return (tuple((run.voltage, tau) for run, tau in found), strongest,
                f"slowest of these loops: {several}, {constant.shown} at {slow.current.shown}; the "
                "way back is counted with the cables' inductance and with no resistance")


def _in_loop(devices: Iterable[Device], constant: Finding) -> tuple[Device, ...]:
    """Fuses with the slowest rise of the currents that they clear here."""
    return tuple(replace(d, constant=max((constant, *(tau for _, tau in d.breaks)),
                                         key=lambda f: f.number))
                 if d.kind == FUSE else d for d in devices)


def _with(battery: Finding, sources: Iterable[Source]) -> Finding:
    total = battery
    for source in sources:
        if source.current.known:
            total = trace(parallel_source_current, "highest current, all sources", first=total,
                          second=source.current)
    return total


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


