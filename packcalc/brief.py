"""The brief: what the vehicle asks of the pack and which modules are on hand.

Every entry is a `Finding` leaf that remembers file, line and key. `unknown` is a legal
answer: the entry then holds the value of its `Key`, basis `assumed`, and the `Key` says what
that means, whether a true value may still ask for more, and where to find the real figure.
Entries without such a value (a target, a limit) hold None: nothing is asked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import Field, field, fields, is_dataclass

from packcalc.brief_keys import (
    CARRIES_CHOICES, CHARGE_CONTACTOR_CHOICES, CHARGERS, MODULE_TYPE, NO_CONNECTOR, key,
)
from packcalc.entry_key import Key
from packcalc.findings import Finding, Origin, largest, leaf
from packcalc.modules import ModuleType, knows_growth, traced_growth
from packcalc.parts import NO_PARTS, PartsList
from packcalc.value import replace, value_object, worked_once

NO_ENTRY = {"entry": False}  # metadata of a field that is no entry of the brief


def growth_left_open(module: ModuleType, health: Finding, origin: Origin | None) -> Finding:
    """Resistance growth that counts where nobody measured it: the larger of rule and class's law.

    Below the least capacity left that the law was read at it is not known: the law's end stands
    here, and no layout is tried with it.
    """
    entry = key("modules.resistance_growth")
    rule = leaf(entry.title, entry.symbol, entry.unit, float(entry.safe or 0.0), entry.basis,
                source=entry.source, origin=origin, note=entry.consequence)
    if health.number >= 1.0:
        return rule
    least = module.cell.health_min
    held = health if knows_growth(module, health) else replace(
        health, value=least, note=f"the law ends at {100 * least:.0f} %; {health.shown} is below")
    law = traced_growth(module, held)
    counted = largest([rule, law], entry.title)
    if counted.inputs:
        counted = replace(counted, symbol=entry.symbol, unit=entry.unit, basis=entry.basis,
                          source=counted.source or entry.source, origin=origin)
    return counted


@value_object
class ModulesOnHand:
    """One `[[modules]]` entry."""

    module: ModuleType
    count: Finding
    state_of_health: Finding
    resistance_growth: Finding
    conductor_section: Finding
    conductor_withstand: Finding

    @property
    def most_health(self) -> Finding:
        """State of health where more is worse: all of the label while it is left open."""
        if self.state_of_health.basis != "assumed":
            return self.state_of_health
        return replace(self.state_of_health, value=1.0, note=(
            "left open: all of the label is counted where stored energy is the danger or the "
            "limit"))

    @property
    def stated_health(self) -> Finding:
        """State of health of the brief itself, whatever the bench shows: where a charge limit
        caps a voltage, or energy is the danger."""
        return self.state_of_health

    @property
    def least_growth(self) -> Finding:
        """Resistance growth where less is worse: in the highest fault."""
        return self.resistance_growth

    @property
    def first_read(self) -> Finding | None:
        """Resistance of the first millisecond, hot, as the bench read it; None of a brief alone."""
        return None

    @property
    def cells_beside(self) -> tuple[int | None, ...]:
        """Cells in parallel inside each type of module that this entry stands for."""
        return (self.module.parallel,)


@value_object
class Inverter:
    voltage_low: Finding
    voltage_high: Finding
    absolute_maximum: Finding
    full_power_from: Finding
    dc_link_capacitance: Finding
    dc_link_tolerance: Finding
    capacitor_rating: Finding
    semiconductor_rating: Finding
    overvoltage_reaction: Finding
    torque_zero_time: Finding
    discharge_resistance: Finding
    discharge_tolerance: Finding


@value_object
class Power:
    peak: Finding
    peak_duration: Finding
    continuous: Finding
    peaks_in_life: Finding


@value_object
class Regeneration:
    power: Finding
    duration: Finding
    voltage_limit: Finding
    follows_charge_limit: str


@value_object
class Charger:
    power: Finding
    tolerance: Finding
    voltage_low: Finding
    voltage_high: Finding


@value_object
class Battery:
    energy_least: Finding
    energy_most: Finding
    charge_lowest: Finding
    charge_highest: Finding
    coldest_start: Finding
    coldest_closed: Finding
    hottest: Finding
    mass_most: Finding


@value_object
class Surroundings:
    box_ambient: Finding
    cable_ambient: Finding


@value_object
class Path:
    link_resistance: Finding
    fuse_resistance: Finding
    contactor_resistance: Finding
    link_section: Finding
    link_material: str
    link_limit: Finding
    string_cable_length: Finding
    string_cable_section: Finding
    main_fuse: str
    insulation_monitor: str
    charge_contactor: str
    charge_difference: Finding


@value_object
class Strings:
    """How alike parallel strings are, and how well their voltages are compared."""

    mismatch: Finding
    voltage_error: Finding
    trip_current: Finding
    trip_delay: Finding
    sensor_range: Finding


@value_object
class Route:
    """One `[[cables.route]]`; its ambient is that of `surroundings` unless given.

    `cable` names a cable of the parts list, or is "".
    """

    name: str
    carries: str
    length: Finding
    install: str
    grouped_circuits: Finding
    insulation_class: Finding
    terminal_limit: Finding
    joint_limit: Finding
    cable: str = ""


@value_object
class PartsUse:
    """`[parts]`: the user's list, and the parts of it that the brief names ("" names none).

    `connector` may be `NO_CONNECTOR`: the brief says that none stands in the main path.
    """

    list: PartsList = NO_PARTS
    main_fuse: str = ""
    string_fuse: str = ""
    contactor: str = ""
    string_contactor: str = ""
    resistor: str = ""
    disconnect: str = ""
    mid_fuse: str = ""
    charge_contactor: str = ""
    precharge_relay: str = ""
    connector: str = ""
    management_system: str = ""

    @property
    def named_connector(self) -> str:
        """The connectors of the list that stand in the main path; "" for none, or none named."""
        return "" if self.connector == NO_CONNECTOR else self.connector

    def tripped(self, in_strings: bool) -> str:
        """The contactor that the pack's trips open: in parallel strings that of each string.

        There is no pair common to all strings then, so that the main one stands for none of them.
        """
        return self.string_contactor if in_strings else self.contactor


@value_object
class Cables:
    rules: str
    voltage_drop_limit: Finding
    route: tuple[Route, ...]


@value_object
class Branch:
    """One `[[branch]]`: a small conductor that leaves a source of kiloamperes.

    Attributes:
        name, kind: words; kind is one of BRANCH_CHOICES.
        fuse_part: name of its fuse in the user's parts list, or "".
        fused_poles, taps: one of POLES_CHOICES, TAP_CHOICES.
    """

    name: str
    kind: str
    fuse_part: str
    power: Finding
    current: Finding
    length: Finding
    tap_length: Finding
    section: Finding
    insulation_voltage: Finding
    insulation_class: Finding
    fuse_rating: Finding
    fused_poles: str
    taps: str
    capacitance: Finding
    wakes_at: Finding
    input_voltage: Finding


@value_object
class Load:
    """One `[[precharge.load]]`."""

    name: str
    kind: str
    resistance: Finding
    power: Finding
    wakes_at: Finding


@value_object
class Precharge:
    level: Finding
    time_limit: Finding
    timeout: Finding
    tries: Finding
    resistor_tolerance: Finding
    load: tuple[Load, ...]


@value_object
class WantedPins:
    """What the user wants of places, by mark: `pins_together` and its sisters in `[bench]`.

    Attributes:
        together, apart: marks of one group (or string), or never of one.
        not_in: (mark, box).
        boxes: (name, first place, last place), counted from 1.
        lines: (name of an entry, its line in the brief); none where it came from Python.
    """

    together: tuple[tuple[str, ...], ...] = ()
    apart: tuple[tuple[str, ...], ...] = ()
    not_in: tuple[tuple[str, str], ...] = ()
    boxes: tuple[tuple[str, int, int], ...] = ()
    lines: tuple[tuple[str, int], ...] = ()

    def line(self, name: str) -> int:
        """Line of one of the entries, or 0."""
        return dict(self.lines).get(name, 0)


@value_object
class Bench:
    """`[bench]`: the bench sheet and the thresholds that its modules are graded by.

    Attributes:
        file: the sheet, as given; relative to the brief; empty where none is named.
    """

    file: str
    capacity_warn: Finding
    capacity_reject: Finding
    capacity_suspect: Finding
    resistance_warn: Finding
    resistance_reject: Finding
    resistance_suspect: Finding
    isolation_need: Finding
    isolation_share: Finding
    modules_in_pack: Finding
    pack_voltage: Finding
    selfdischarge_quarantine: Finding
    selfdischarge_reject: Finding
    demand_selfdischarge: str
    cell_spread_most: Finding
    voltmeter_error: Finding
    capacity_error: Finding
    resistance_error: Finding
    testers: Finding
    sharing: str
    given_up: Finding
    balance_current: Finding
    count_undecided: str
    pins: WantedPins = WantedPins()


@value_object
class Donor:
    """`[donor]`: the pack that the modules come out of.

    Attributes:
        title: as the user calls it.
        module: its module type.
        sections: steps of the chain in each section, from the minus end; each step is one
            module, or `modules_in_parallel` of them.
    """

    title: str
    module: ModuleType
    sections: tuple[int, ...]
    modules_in_parallel: Finding
    service_plug_after: Finding
    charge: Finding
    total_voltage: Finding
    isolation: Finding
    crash: str
    water: str
    compression: str


@value_object
class Motor:
    back_voltage: Finding
    short_circuit_current: Finding


@value_object
class Station:
    voltage: Finding
    current: Finding
    capacitance: Finding


@value_object
class Places:
    """What sits between the modules of a string."""

    disconnect_after: Finding
    fuse_after: Finding


@value_object
class Insulation:
    pollution_degree: Finding
    material_group: str
    overvoltage_category: str
    altitude: Finding
    y_capacitance: Finding
    module_resistance: Finding
    creepage: Finding
    clearance: Finding
    bus_withstand: Finding


@value_object
class TripPoint:
    """Setting of a trip at one temperature of the cells."""

    temperature: Finding
    current: Finding


@value_object
class Management:
    """`[management]`.

    Attributes:
        trip_current: of one setting; the highest where the setting follows the temperature.
        trip_current_at: points of such a setting as written, or "".
        trip_points: the same, coldest first; empty without any.
    """

    channels_per_monitor: Finding
    monitor_order: str
    sense_fuse: str
    temperature_sensors: Finding
    overvoltage_trip: Finding
    undervoltage_trip: Finding
    voltage_delay: Finding
    overtemperature_trip: Finding
    trip_current: Finding
    trip_delay: Finding
    trip_blocked_above: Finding
    trip_falls_in_cold: str
    overload_trip: Finding
    overload_delay: Finding
    current_sensor_range: Finding
    current_sensor_error: Finding
    balance_current: Finding
    self_discharge_spread: Finding
    isolation_warn: Finding
    isolation_trip: Finding
    crash_open_time: Finding
    trip_current_at: str = ""
    trip_points: tuple[TripPoint, ...] = field(default=(), metadata=NO_ENTRY)


@value_object
class Unknown:
    """One entry that the user left open: what was taken, and how to find the real figure.

    Attributes:
        dotted: the key, with an index where it stands in a list.
        key: its definition.
        taken: what was counted on, as printed.
        other: what a lucky answer might be, in SI (or words); None when none is offered.
        decides: whether nothing of it, or of its modules, is tried while it is open.
    """

    dotted: str
    key: Key
    taken: str
    other: float | str | None
    decides: bool = False


@value_object
class Losses:
    """What the bench sheet says of self-discharge, over the modules that count.

    Attributes:
        spread: largest loss less smallest, on the bad side; no value where fewer than two tell it.
        untold: how many of them tell none.
        words: whose readings these are.
    """

    spread: Finding
    untold: int
    words: str


@value_object
class Brief:
    """Everything asked, checked and with its origin.

    Attributes:
        title, date_of_issue, note: words; the date is ISO 8601 or "".
        place: file name as given.
        digest: of the text that was read.
        mix: "no", "series" or "parallel": how two module types may stand in one pack.
        arrangement: "grouped", "strings" or "either": which layouts are tried.
        unknowns: entries left open, in the order of the file format.
        bench, donor: None where the brief has no such section.
        counted: one line on what counts of its bench sheet; "" until a layout is held to it.
        losses: what the sheet says of self-discharge; None likewise, and without a sheet.
    """

    title: str
    date_of_issue: str
    note: str
    place: str
    digest: str
    mix: str
    arrangement: str
    modules: tuple[ModulesOnHand, ...]
    inverter: Inverter
    power: Power
    regeneration: Regeneration
    charger: Charger
    battery: Battery
    surroundings: Surroundings
    path: Path
    motor: Motor
    station: Station
    pack: Places
    insulation: Insulation
    management: Management
    strings: Strings
    cables: Cables
    precharge: Precharge
    unknowns: tuple[Unknown, ...] = ()
    bench: Bench | None = None
    donor: Donor | None = None
    branch: tuple[Branch, ...] = ()
    parts: PartsUse = PartsUse()
    counted: str = field(default="", metadata=NO_ENTRY)
    losses: Losses | None = field(default=None, metadata=NO_ENTRY)

    def left_open(self, dotted: str) -> bool:
        """Whether the user left an entry open, so that only its safe value is counted on."""
        return dotted in self._open_entries

    @worked_once
    def _open_entries(self) -> frozenset[str]:
        return frozenset(unknown.dotted for unknown in self.unknowns)

    @property
    def at_a_station(self) -> bool:
        """Whether a charging station is told of: by an entry of its own, or by its inlet."""
        return self.station.voltage.known or self.station.current.known or any(
            b.kind == CHARGERS[1] for b in self.branch)

    @property
    def charge_contactor_may_stand(self) -> bool:
        """Whether a charge contactor stands before the inlet, or nobody said that none does."""
        return self.path.charge_contactor != CHARGE_CONTACTOR_CHOICES[0] \
            or self.left_open("path.charge_contactor")

    @property
    def charge_cable_told(self) -> bool:
        """Whether any route or branch is the cable between charger or inlet and the pack."""
        return any(r.carries == CARRIES_CHOICES[1] for r in self.cables.route) \
            or any(b.kind in CHARGERS for b in self.branch)

    def branch_open(self, branch: Branch, entry: str) -> bool:
        """Whether the user left an entry of one branch open."""
        names = [b.name for b in self.branch]
        return self.left_open(f"branch[{names.index(branch.name)}].{entry}")

    def taps_open(self, branch: Branch) -> bool:
        """Whether nobody said where a branch leaves the main circuit."""
        return self.branch_open(branch, "taps")

    @property
    def untold(self) -> tuple[Unknown, ...]:
        """The open entries without which no first answer can be given.

        Which modules and how many is known as soon as one type is: the others are left out.
        """
        told = any(on_hand.count.known for on_hand in self.modules)
        return tuple(unknown for unknown in self.unknowns if unknown.key.required
                     and not (told and unknown.key.section == "modules"))

    @property
    def untyped(self) -> tuple[Unknown, ...]:
        """Open entries of `[[modules]]` that do not say which module; not among `modules`."""
        return tuple(unknown for unknown in self.unknowns if unknown.key is MODULE_TYPE)

    def number_of(self, index: int) -> int:
        """Where a type stands among the `[[modules]]` entries of the file, from 0."""
        for unknown in self.untyped:  # in the order of the file
            index += _number(unknown.dotted) <= index
        return index

    def index_of(self, number: int) -> int | None:
        """Where an entry of the file stands in `modules`; None for one that says no type."""
        left_out = [_number(unknown.dotted) for unknown in self.untyped]
        return None if number in left_out else number - sum(n < number for n in left_out)

    def entries(self) -> Iterator[tuple[str, Finding]]:
        """Every leaf with its dotted name, in the order of the classes."""
        for name, finding in _entries(self, ""):
            yield self._as_written(name), finding

    def words(self) -> Iterator[tuple[str, str]]:
        """Every entry that is no figure, with its dotted name; entries left empty are not there."""
        for name, text in _words(self, ""):
            yield self._as_written(name), text

    def _as_written(self, name: str) -> str:
        """A dotted name with the number that the module type has in the file."""
        if not self.untyped or not name.startswith("modules["):
            return name
        number = _number(name)
        return name.replace(f"[{number}]", f"[{self.number_of(number)}]", 1)


def _number(dotted: str) -> int:
    """The number of the entry in "modules[2].label"."""
    return int(dotted.partition("[")[2].partition("]")[0])


def _is_entry(item: Field) -> bool:
    return item.metadata.get("entry", True)


def _words(value: object, prefix: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        if value:
            yield prefix, value
    elif isinstance(value, ModuleType):
        yield prefix, value.id
    elif isinstance(value, tuple) and value and not any(map(is_dataclass, value)):
        yield prefix, "; ".join(" + ".join(map(str, one)) if isinstance(one, tuple) else str(one)
                                for one in value)
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from _words(item, f"{prefix}[{index}]")
    elif is_dataclass(value) and not isinstance(value, Finding):
        for item in fields(value):
            name = f"{prefix}.{item.name}" if prefix else item.name
            if name not in ("place", "digest", "unknowns", "parts.list") and _is_entry(item):
                yield from _words(getattr(value, item.name), name)


def _entries(value: object, prefix: str) -> Iterator[tuple[str, Finding]]:
    if isinstance(value, Finding):
        yield prefix, value
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from _entries(item, f"{prefix}[{index}]")
    elif is_dataclass(value) and not isinstance(value, ModuleType):
        for item in fields(value):
            name = f"{prefix}.{item.name}" if prefix else item.name
            if item.name not in ("unknowns", "parts") and _is_entry(item):
                yield from _entries(getattr(value, item.name), name)
