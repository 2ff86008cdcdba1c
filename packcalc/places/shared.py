"""What the fault places of one layout share: its devices, its sources and a loop's figures."""

from __future__ import annotations

from collections.abc import Iterable

from packcalc import electrical as el
from packcalc.brief import Branch, Brief, Route
from packcalc.feeds import LEAST_PER_LENGTH, SHORT_RUN, Feeds, summed, untold_in
from packcalc.findings import Finding, Origin, leaf, trace, with_more
from packcalc.layout_findings import cables_open, count
from packcalc.pack import PackModel
from packcalc.parts import FUSE as FUSE_PART
from packcalc.places.runs import Run, run_of
from packcalc.places.slowest import Stretch, loop_constant, slowest, traction, traction_pole
from packcalc.places.stands import (
    INSIDE_KEY, MID_KEY, MID_PERHAPS, NOT_NAMED, PERHAPS, contactor_words, fuse_in_disconnect,
    fuse_stands, mid_fuse_open,
)
from packcalc.protect.branch_figures import at_most, only_at_most
from packcalc.protect.cable import RouteResult
from packcalc.protect.contactor import ringing_bound
from packcalc.protect.faults import fault_loop_inductance
from packcalc.protect.places import (
    CHARGE_KEY, CONTACTOR, FUSE, LIMIT, Device, Loop, Source, drop_each, falls_from,
)
from packcalc.protect.string_shares import string_share
from packcalc.value import replace, value_object, worked_once

MOTOR_OPEN = ("its short-circuit current is in no sum: ask the motor's maker, and enter it as "
              "motor.short_circuit_current")
MOTOR_NOTE = ("a spinning permanent-magnet motor feeds the fault through the inverter's diodes: "
              f"{MOTOR_OPEN}")
MOTOR_ENDS = "it feeds on until the motor stands"
LINK_NOTE = "the link capacitors empty themselves into the fault in milliseconds; nothing ends that"
ALL_IN = ("with {strings} strings in, the fuse and the own trip of one of them may see as little "
          "as {share}: both are asked for that as well")
BACKWARD = ("the bus feeds it backwards through the closed contactors and the main fuse with up to "
            "{current}: held against what that fuse breaks, or carries without melting")
STATION = "station's output capacitors"
STATION_NOTE = "spent in milliseconds, before any device of the vehicle opens"
STATION_OPEN = ("what a plugged station's output capacitors give is in no sum: ask its operator, "
                "and enter it as station.capacitance")
WORTH_SAYING = 0.98
STRONGER = ("a charge contactor that breaks what the trips leave it, or a quicker fuse of the "
            "charge cable")
SAY_MID = "say after which module a fuse sits inside the string, or 0 (pack.fuse_after)"
SAY_INSIDE = ("a disconnect without a fuse (fuse_inside = no), or its fuse entered as one of its "
              "own (pack.fuse_after, pack.disconnect_after, parts.mid_fuse)")
SAY_FUSE = ("say whether a fuse of its own stands there: branch.fuse_rating with what is printed "
            'on it, or "none"')
SAY_MAIN = "say in which poles the main fuse stands (path.main_fuse)"
NO_FUSE_NOTE = "no fuse stands in this loop"
NONE_COUNTS = "no fuse counts in this loop"
ON_THE_CELLS = ("contactors", "bus_cell_trip")  # of the whole pack, from pole to pole


@value_object
class Shared:
    """One layout with the devices and sources that several of its fault places have in common.

    Attributes:
        feeds: every source of the layout.
        routes: sized cable routes, for the hot resistance of charging routes.
        main_rating, string_rating: rated currents of the fuses, or the least that the load
            allows.
    """

    feeds: Feeds
    routes: tuple[RouteResult, ...] = ()
    main_rating: Finding | None = None
    string_rating: Finding | None = None

    @property
    def brief(self) -> Brief:
        return self.feeds.brief

    @property
    def pack(self) -> PackModel:
        return self.feeds.pack

    @property
    def series(self) -> int:
        return self.pack.layout.series

    @property
    def strung(self) -> bool:
        """Parallel strings have no pair common to all: each string's own opens on the trip."""
        return self.feeds.string is not None

    @worked_once
    def stands(self) -> str:
        """Where main fuses and a mid-pack fuse stand."""
        return fuse_stands(self.brief, self.series)

    @worked_once
    def mid_open(self) -> bool:
        """Whether a mid-pack fuse may stand that nobody spoke of."""
        return mid_fuse_open(self.brief, self.series)

    @property
    def watched(self) -> bool:
        """Whether an insulation monitor sees the first chassis fault."""
        return self.brief.path.insulation_monitor != "none"

    @property
    def opened_at_first(self) -> bool:
        """Whether the contactors open at the first chassis fault; a warning alone opens nothing."""
        return self.brief.path.insulation_monitor == "opens the contactors"

    # -- devices ----------------------------------------------------------------------------

    @worked_once
    def main(self) -> Device:
        return Device("main_fuse", self._called("main fuse", self.brief.parts.main_fuse), FUSE,
                      self.main_rating)

    @worked_once
    def main_perhaps(self) -> tuple[Device, ...]:
        """The main fuse in the other pole too, where nobody said so: it takes, and ends nothing."""
        return (replace(self.main, name=f"{self.main.name}{PERHAPS}"),) \
            if self.brief.left_open("path.main_fuse") else ()

    @worked_once
    def string(self) -> Device:
        return Device("string_fuse", self._called("string fuse", self.brief.parts.string_fuse),
                      FUSE, self.string_rating, self.feeds.strings)

    @worked_once
    def contactors(self) -> Device:
        return Device("contactors", self.tripped, CONTACTOR)

    @worked_once
    def tripped(self) -> str:
        """The contactors that the pack's trips open, in words."""
        return self._called(contactor_words(self.strung), self.brief.parts.tripped(self.strung))

    @worked_once
    def switched(self) -> str:
        """Those of a string by itself, in words."""
        return self._called(contactor_words(True), self.brief.parts.string_contactor)

    def _called(self, words: str, name: str) -> str:
        """A device in words: nothing is counted on of one that the brief might name and does not.

        Without a parts list nobody could.
        """
        listed = self.brief.parts.list
        return words if name or not (listed.fuses or listed.contactors) else words + NOT_NAMED

    @worked_once
    def mid(self) -> Device:
        """The named one; else the main fuse where that stands there; else one without a curve."""
        name = self.brief.parts.mid_fuse
        if name:
            return Device(MID_KEY, MID_PERHAPS if self.mid_open else "mid-pack fuse", FUSE,
                          self.brief.parts.list.part(FUSE_PART, name).rated_current)
        if "mid-pack" in self.brief.path.main_fuse:
            return self.main
        return Device(MID_KEY, MID_PERHAPS if self.mid_open else "mid-pack fuse" + NOT_NAMED, FUSE)

    @property
    def bare(self) -> str:
        """Of a loop of modules and one pole without a fuse of its own: a string's may melt."""
        return NONE_COUNTS if self.strung or self.main_perhaps else NO_FUSE_NOTE

    @worked_once
    def upstream(self) -> tuple[Device, ...]:
        """Fuses between all modules and the contactors, nearest to the fault first."""
        return (self.main,) + ((self.string,) if self.strung else ())

    @worked_once
    def inside(self) -> tuple[Device, ...]:
        """What stands even in a fault ahead of the pole fuse.

        Strings join behind their fuses and contactors: all of these feed such a fault. Each
        string's own sensor sees its part of it; where the pack's sensor sits nobody has said.
        """
        mid = (self.mid,) if "mid-pack" in self.stands else ()
        if not self.strung:
            return mid
        name, paths = self.switched, self.feeds.strings
        return (*(replace(m, paths=paths) for m in mid), self.string,
                Device("string_contactors", name, CONTACTOR, paths=paths),
                Device("bus_contactors", f"{self.tripped}, on the pack's trip", CONTACTOR,
                       paths=paths),
                Device("bus_cell_trip", f"{name}, on the lowest cell", CONTACTOR, paths=paths))

    @worked_once
    def faulted(self) -> tuple[Device, ...]:
        """What parts a faulted string from the others: on its own current, or its lowest cell."""
        return (Device("string_fuse", "fuse of the faulted string", FUSE, self.string.rating),
                Device("string_contactors", self.switched, CONTACTOR),
                Device("cell_trip", f"{self.switched}, on the lowest cell", CONTACTOR))

    @property
    def one_pole(self) -> str:
        """Name of the contactor that breaks alone in a loop through the chassis."""
        return f"{'string ' if self.strung else ''}contactor of that pole alone"

    @property
    def own_mid(self) -> bool:
        """Whether a fuse of its own stands, or may, between the modules besides the main fuse."""
        return (self.mid_open or "mid-pack" in self.stands) and self.mid is not self.main

    def middle(self, *, chassis: bool = False) -> tuple[Device, ...]:
        """Fuses of their own between the modules in a loop of pole fuses: they may melt before.

        One that nobody spoke of may stand there: it takes, and ends nothing.

        Args:
            chassis: whether the loop is one string's through the chassis; else from pole to pole.
        """
        inside = fuse_in_disconnect(self.brief, self.series)
        return tuple(replace(one, paths=1 if chassis else self.feeds.strings) for one in (
            *((self.mid,) if self.own_mid else ()),
            *((Device(INSIDE_KEY, inside, FUSE),) if inside else ())))

    @worked_once
    def between_modules(self) -> tuple[Device, ...]:
        """Every fuse between the modules of a string, a main fuse too that stands there alone."""
        main = (self.main,) if "mid-pack" in self.stands and self.mid is self.main else ()
        return (*self.middle(chassis=True), *main)

    @worked_once
    def in_disconnect(self) -> bool:
        """Whether a fuse inside the service disconnect stands in a string, or may."""
        return any(d.key == INSIDE_KEY for d in self.middle())

    def to_inlet(self, breaks: tuple[tuple[Finding, Finding], ...] = ()) -> tuple[Device, ...]:
        """The charge contactor of a loop beyond it: a trip may tear it open before others clear.

        Args:
            breaks: of a loop through the chassis, where it opens one pole alone.
        """
        if not self.brief.charge_contactor_may_stand:
            return ()
        perhaps = PERHAPS if self.brief.left_open("path.charge_contactor") else ""
        return (Device(CHARGE_KEY, f"charge contactor{perhaps}", CONTACTOR, breaks=breaks),)

    @property
    def of_inlet(self) -> tuple[str, ...]:
        """What would mend that; none without such a contactor."""
        return (STRONGER,) if self.to_inlet() else ()

    # -- sources ----------------------------------------------------------------------------

    @worked_once
    def reach(self) -> Finding:
        """Length of all traction routes."""
        return _total_length([r for r in self.brief.cables.route if r.carries == "traction"])

    @worked_once
    def traction(self) -> list[Stretch]:
        """Every traction route, both conductors."""
        return traction(self.brief)

    @worked_once
    def traction_pole(self) -> list[Stretch]:
        """Every traction route, one conductor."""
        return traction_pole(self.brief)

    @worked_once
    def traction_names(self) -> tuple[str, ...]:
        """Names of all traction routes: what begins at their far end runs through each."""
        return tuple(r.name for r in self.brief.cables.route if r.carries == "traction")

    @worked_once
    def _runs(self) -> dict[int, Run]:
        return {}

    def run(self, modules: int) -> Run:
        """Modules of one string shorted at their ends."""
        if modules not in self._runs:
            self._runs[modules] = run_of(self.feeds, modules)
        return self._runs[modules]

    def pushing(self, run: Run) -> tuple[Source, ...]:
        """What the other strings push into a shorted run."""
        if run.pushed is None or run.outside is None:
            return ()
        rise = loop_constant(self.feeds.of_run(2 * self.series - run.modules), run.outside,
                             "time constant of what the others push in")
        return (Source("other strings", with_more(
            run.pushed, self.feeds.faults.highest.untold_more), _in_loop(self.faulted, rise)),)

    @property
    def all_modules(self) -> str:
        strings = self.feeds.strings
        return f"whole pack, {strings} strings" if strings > 1 else "whole pack"

    def link(self, length: Finding | None) -> Source:
        """The link capacitors, at a distance or right at the place."""
        current = self.feeds.link_peak(length) if length is not None else leaf(
            "peak current from the link capacitors", "I", "A", None, "given",
            note="limited by the capacitors' own resistance: ask the inverter's maker")
        return Source("link capacitors", current, (), LINK_NOTE, fades=True)

    @worked_once
    def charger(self) -> Source:
        return Source("charger", self.feeds.charger, (Device(
            "charger", "charger's own limit", LIMIT, self.feeds.charger),))

    def _motor(self) -> tuple[tuple[Source, ...], tuple[str, ...]]:
        """One that nobody stated is a source without a value, unless it has no magnets."""
        known, quiet = self.feeds.motor.known, self.brief.motor.back_voltage
        if not known and quiet.known and quiet.number == 0:
            return (), ()
        source = Source("spinning motor", self.feeds.motor, (),
                        MOTOR_ENDS if known else f"{MOTOR_ENDS}; {MOTOR_OPEN}",
                        entry="motor.short_circuit_current")
        return (source,), () if known else (MOTOR_NOTE,)

    def station(self, at_inlet: bool) -> tuple[Source, ...]:
        """Whatever the vehicle does, a plugged station's output capacitors feed what it charges.

        Args:
            at_inlet: at the inlet itself; else on the bus, with the charge cable between.
        """
        asked = self.brief.station
        if not self.brief.at_a_station:
            return ()
        title = f"peak current from the {STATION}"
        if not asked.capacitance.known:
            return (Source(STATION, leaf(title, "I", "A", None, "given", note=STATION_OPEN), (),
                           f"{STATION_NOTE}; {STATION_OPEN}", fades=True,
                           entry="station.capacitance"),)
        length = None if at_inlet else self._charge_cable
        plug = self.feeds.least_inductance(SHORT_RUN)
        between = plug if length is None else trace(
            fault_loop_inductance, "least inductance between the station and the bus",
            pack_inductance=plug, per_length=LEAST_PER_LENGTH, run_length=length)
        way = "" if length is None else " and the vehicle's charge cable"
        return (Source(STATION, trace(
            ringing_bound, f"{title}, a bound", difference=self.pack.highest_voltage,
            inductance=between, capacitance=asked.capacitance,
            note=f"half a metre of the station's cable{way} counted and no resistance: errs high"),
            (), STATION_NOTE, fades=True),)

    @worked_once
    def _charge_cable(self) -> Finding | None:
        """Length of the shortest charge cable; None where one of them is not known."""
        found = [r.length for r in self.brief.cables.route if r.carries == "charging"]
        if not found or any(one.basis == "assumed" for one in found):
            return None
        return min(found, key=lambda one: one.number)

    def bus(self, length: Finding | None, at_inlet: bool = False) -> dict:
        """Sources and notes of a place on the bus behind the contactors.

        Args:
            length: from the link capacitors; None right at them.
            at_inlet: whether it is the charge inlet, next to the station.
        """
        motor, notes = self._motor()
        station = self.station(at_inlet)
        sources = (self.link(length), self.charger, *motor, *station)
        notes = (*notes, *(STATION_OPEN for one in station if not one.current.known))
        return {"sources": sources, "notes": notes,
                "all_sources": self.feeds.with_sources(*(s.current for s in sources))}

    def into_the_box(self) -> dict:
        """As `bus`, of a place ahead of the contactors or of the main fuse in the pole.

        What the bus gives comes back through the closed contactors, and through that fuse.
        """
        given = self.bus(self.reach)
        first, *others = given["sources"]
        if "pole" not in self.stands or not first.current.known:
            return given
        back = with_sources(first.current, others, "current of the bus, back through the main fuse")
        given["notes"] = (*given["notes"], BACKWARD.format(
            current=f"{back.shown}{', or more' if back.untold_more else ''}"))
        given["backward"] = (replace(self.main, sees=back),)
        return given

    def through_one_fuse(self, others: Finding) -> dict:
        """Every source of the bus, which reaches into a string through that string's own fuse.

        Charger and motor are parted with the other strings: only the link is spent before.
        """
        given = self.bus(self.reach)
        given["all_sources"] = with_sources(others, given["sources"])
        given["sources"] = tuple(s for s in given["sources"] if s.fades)
        return given

    # -- the loop ---------------------------------------------------------------------------

    def slowest_loop(self, *stretches: Stretch) -> dict:
        """Inductance and least resistance of the slowest loop of pack and some conductors."""
        inductance, resistance = slowest(self.feeds.pack_inductance, self.pack.resistance_initial,
                                         self.feeds.per_length, stretches)
        return {"inductance": inductance, "resistance": resistance}

    def loop(self, key: str, title: str, *, common: Finding | None = None,
             outside: Finding | None = None, **given) -> Loop:
        """A loop with what most of them share filled in.

        Args:
            key, title: of the place.
            common: what the current of all strings passes at the lowest; None where they join at
                the fault.
            outside: most resistance outside the modules; None counts path and traction cables.
            given: further attributes of the loop, and the least `resistance` that goes with its
                inductance; without it that of the whole pack counts. Without both the slowest
                loop along the traction cables does.
        """
        known: dict = {
            "feeds": self.all_modules, "voltage": self.pack.full_voltage,
            "highest": self.feeds.faults.highest, "lowest": self.feeds.faults.lowest} | given
        known["lowest"] = self.bounded(known["lowest"])
        if "inductance" not in known:
            known |= self.slowest_loop(*self.traction)
        least = known.pop("resistance", self.pack.resistance_initial)
        known.setdefault("all_sources", known["highest"])
        known["time_constant"] = loop_constant(known["inductance"], least)
        known["devices"] = self._dropping(
            _in_loop(known.get("devices", ()), known["time_constant"]), outside)
        counted = {d.key for d in known["devices"]}
        known["passed"] = _in_loop((d for d in known.get("passed", ()) if d.key not in counted),
                                   known["time_constant"])
        known["remedies"] = (*_say(known["passed"]), *known.get("remedies", ()))
        shares = self._shares(known["devices"], known["lowest"], common)
        # The sweep asks for every share; words are lost on what the main fuse alone takes away.
        if shares and shares[-1].number < WORTH_SAYING * shares[-1].inputs[0].number:
            known["notes"] = (*known.get("notes", ()), ALL_IN.format(
                strings=self.feeds.strings, share=shares[-1].shown))
        made = Loop(key, title, **known, shares=shares)
        more = self.feeds.faults.highest.untold_more
        return _driven_higher(made, more) if more else made

    @worked_once
    def cables_open(self) -> str:
        """What nobody told of the traction cables in a lowest fault; else empty."""
        return cables_open(self.brief)

    def bounded(self, lowest: Finding) -> Finding:
        """A lowest current through conductors of which something is left open: only at most."""
        why = "" if only_at_most(lowest) else untold_in(
            self.brief, self.pack, lowest, self.cables_open)
        if not why:
            return lowest
        return lowest.called(note=at_most(why, lowest.note))

    def _dropping(self, devices: tuple[Device, ...],
                  outside: Finding | None) -> tuple[Device, ...]:
        """Contactors that a trip on the cells opens, with what all cells keep of a fault here."""
        if not any(d.key in ON_THE_CELLS for d in devices):
            return devices
        drop = whole_drop(self.feeds, outside)
        return tuple(replace(d, drop=drop, falls=self.whole_falls) if d.key in ON_THE_CELLS else d
                     for d in devices)

    @worked_once
    def whole_falls(self) -> Finding | None:
        """From where the cells of the whole pack fall below their trip, whatever lies outside."""
        return self._falls(self.pack.full_voltage, cells_in_series(self.feeds),
                           self.pack.resistance_initial)

    @worked_once
    def module_falls(self) -> Finding | None:
        """The same of modules between two faults: alike for one and for all of them.

        None in strings, where nobody knows what part of the current the others push in.
        """
        if self.strung:
            return None
        module = self.feeds.module
        least = min(self.brief.modules[p.entry].module.series for p in self.pack.layout.parts)
        return self._falls(module.voltage_full, count("cells in series of one module", "n", least),
                           module.resistance_initial)

    def _falls(self, voltage: Finding, cells: Finding, resistance: Finding) -> Finding | None:
        level = self.brief.management.undervoltage_trip
        if not (level.known and voltage.known and resistance.known):
            return None
        return trace(falls_from, voltage=voltage, cells=cells, level=level, resistance=resistance)

    def _shares(self, devices: tuple[Device, ...], alone: Finding,
                common: Finding | None) -> tuple[Finding, ...]:
        """Lowest current through one string's devices with two strings in, three, and so on."""
        if common is None or not common.known or not alone.known \
                or not any(d.paths > 1 for d in devices):
            return ()
        return tuple(trace(
            string_share, f"lowest current through one string, {n} in", alone=alone,
            strings=count("strings in", "n", n), common=common, voltage=self.pack.rest_low_voltage)
            for n in range(2, self.feeds.strings + 1))

    @worked_once
    def behind_main(self) -> Finding | None:
        """What all strings pass up to the contactors; None without strings.

        The main fuse, and the contacts of disconnect and connectors: wherever these stand.
        """
        fuse, own = self.brief.path.fuse_resistance, self.pack.contacts
        if not self.strung or own is None:
            return fuse if self.strung else None
        return trace(el.resistance_sum, "main fuse and contacts that all strings pass",
                     unit="mΩ", first=fuse, second=own)

    @worked_once
    def down_the_cables(self) -> Finding | None:
        """What all strings pass up to the far end of the traction cables; None without strings."""
        if self.behind_main is None or not self.pack.cables_long.known:
            return self.behind_main
        return trace(el.resistance_sum, "main fuse and conductors that all strings pass",
                     unit="mΩ", first=self.behind_main, second=self.pack.cables_long)


def whole_drop(feeds: Feeds, outside: Finding | None = None) -> Finding | None:
    """What every cell of the pack keeps, for each ampere of a fault from pole to pole.

    Args:
        feeds: of the layout.
        outside: most resistance outside the modules; None counts path and traction cables.
    """
    pack = feeds.pack
    external = outside or beyond(pack, pack.cables_long)
    if external is None or not external.known:
        return None
    return trace(drop_each, external=external, cells=cells_in_series(feeds))


def cells_in_series(feeds: Feeds) -> Finding:
    """Of the whole pack, from pole to pole."""
    return count("cells in series", "n", sum(
        p.series * feeds.brief.modules[p.entry].module.series for p in feeds.pack.layout.parts))


def beyond(pack: PackModel, further: Finding) -> Finding | None:
    """The pack's own path and further conductors in a row; None where either is not known."""
    if not (pack.path.known and further.known):
        return None
    return trace(el.resistance_sum, "path and conductors outside the modules", unit="mΩ",
                 first=pack.path, second=further)


def branch_fuse(branch: Branch) -> Device:
    """The fuse of a branch, its rated current as the brief gives it."""
    return Device(f"branch_fuse.{branch.name}", f"fuse of {branch.name}", FUSE,
                  branch.fuse_rating)


def _say(passed: tuple[Device, ...]) -> tuple[str, ...]:
    """What to say of fuses that may stand in a loop and that nobody spoke of."""
    mid = any(d.name == MID_PERHAPS for d in passed)
    inside = any(d.key == INSIDE_KEY for d in passed)
    main = any(d.key == "main_fuse" for d in passed)
    own = any(d.kind == FUSE and d.name.endswith(PERHAPS) and d.name != MID_PERHAPS
              and d.key not in (INSIDE_KEY, "main_fuse") for d in passed)
    return (*((SAY_MAIN,) if main else ()), *((SAY_MID,) if mid else ()),
            *((SAY_INSIDE,) if inside else ()),
            *((SAY_FUSE,) if own else ()))


def with_sources(first: Finding, sources: Iterable[Source],
                 title: str = "highest current, all sources") -> Finding:
    """A current, of the battery where no title says otherwise, with every source of known one."""
    return summed(first, (source.current for source in sources), title)


def _driven_higher(loop: Loop, more: str) -> Loop:
    """A loop whose modules may drive more through it, for what nobody told of their voltage."""
    def through(devices: tuple[Device, ...]) -> tuple[Device, ...]:
        return tuple(d if d.sees is None else replace(d, sees=with_more(d.sees, more))
                     for d in devices)

    return replace(loop, highest=with_more(loop.highest, more),
                   all_sources=with_more(loop.all_sources, more),
                   devices=through(loop.devices), passed=through(loop.passed))


def _in_loop(devices: Iterable[Device], constant: Finding) -> tuple[Device, ...]:
    """Fuses and contactors with the slowest rise of the currents that they clear here."""
    return tuple(replace(d, constant=max((constant, *(tau for _, tau in d.breaks)),
                                         key=lambda f: f.number))
                 if d.kind in (FUSE, CONTACTOR) else d for d in devices)


def _total_length(routes: list[Route]) -> Finding:
    if len(routes) == 1:
        return routes[0].length
    open_ = any(r.length.basis == "assumed" for r in routes)
    return leaf("length of all traction routes", "l", "m", sum(r.length.number for r in routes),
                "assumed" if open_ else "definition",
                source="packcalc-rule" if open_ else "", origin=Origin("sum of routes"),
                note=" + ".join(r.length.shown for r in routes) or "no traction route")
