"""The brief: what the vehicle asks of the pack and which modules are on hand.

Every entry is a `Finding` leaf that remembers file, line and key. `unknown` is a legal
answer: the entry then holds the safe-side value of its `Key`, basis `assumed`, and the
`Key` says what that means and where to find the real figure. Entries without a safe
value (a target, a limit) hold None: nothing is asked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass

from packcalc.findings import Finding
from packcalc.modules import ModuleType


@dataclass(frozen=True)
class Key:
    """One entry of the brief: how it is read, and what `unknown` means.

    Attributes:
        section, name: where it stands in the TOML file.
        dimension: of `packcalc.units`, or "words" for a choice.
        symbol, unit, title: as printed.
        least, most: plausible span, in `unit`; outside it the entry is a fault.
        safe: value taken when unknown, in `unit`; None where nothing is then asked.
        other: the value a lucky answer might have, for ranking what to find next.
        consequence: what taking the safe value means.
        find: where to read it or how to measure it.
        basis, source: ground of the safe value.
        choices: for "words".
        pair: for a range, the names of its two fields.
        required: no first answer without it.
    """

    section: str
    name: str
    dimension: str
    symbol: str
    unit: str
    title: str
    least: float | None = None
    most: float | None = None
    safe: float | str | None = None
    other: float | str | None = None
    consequence: str = ""
    find: str = ""
    basis: str = "assumed"
    source: str = "packcalc-rule"
    choices: tuple[str, ...] = ()
    pair: tuple[str, str] | None = None
    required: bool = False

    @property
    def dotted(self) -> str:
        return f"{self.section}.{self.name}" if self.section else self.name


RULE_CHOICES = ("NFPA 70", "IEC 60364-5-52", "DIN VDE 0298-4", "33 CFR 183")
INSTALL_CHOICES = ("conduit", "surface", "touching in air", "spaced in air", "single in air")
CARRIES_CHOICES = ("traction", "charging")

KEYS: tuple[Key, ...] = (
    Key("modules", "count", "number", "N", "", "modules on hand", 1, 100000, required=True,
        find="count the modules that passed the bench"),
    Key("modules", "state_of_health", "ratio", "SOH", "%", "state of health (capacity left)",
        30, 110, 70, 90,
        "capacity counted at 70 % of the label",
        "measure the capacity of a few modules at C/5 and 25 °C; divide by the label"),
    Key("modules", "resistance_growth", "number", "f_age", "", "resistance growth with age",
        0.8, 6, 1.5, 1.1,
        "resistance counted 1.5 times that of a new module for sag and lowest fault, "
        "once for the highest fault",
        "one 10 s pulse on a rested module at 25 °C and half charge, divided by the record"),
    Key("inverter", "voltage_range", "voltage", "U", "V", "inverter's operating voltage range",
        12, 1500, required=True, pair=("voltage_low", "voltage_high"),
        find="inverter's manual: lowest and highest DC operating voltage"),
    Key("inverter", "absolute_maximum", "voltage", "U_abs", "V",
        "inverter's absolute maximum voltage", 12, 2000, None, None,
        "the highest operating voltage counts as the absolute maximum",
        "inverter's manual: maximum DC voltage, also when not running"),
    Key("inverter", "full_power_from", "voltage", "U_fp", "V",
        "voltage below which full power is not available", 12, 1500, None, None,
        "full power is counted on only from 10 % above the lowest operating voltage",
        "inverter's manual: power or current derating against DC voltage"),
    Key("inverter", "dc_link_capacitance", "capacitance", "C", "mF", "DC-link capacitance",
        0.01, 100, 3.0, 0.5,
        "pre-charge is sized for 3 mF, more than one inverter usually holds",
        "inverter's manual, or charge the link through a known resistor and time 63 %"),
    Key("inverter", "dc_link_tolerance", "ratio", "ΔC", "%", "tolerance of the DC-link capacitance",
        0, 50, 20, 10, "capacitance counted 20 % larger", "capacitor's data sheet"),
    Key("power", "peak", "power", "P_pk", "kW", "peak power at the inverter", 0.1, 2000,
        required=True, find="what the motor and inverter may draw at full pedal"),
    Key("power", "peak_duration", "time", "t_pk", "s", "duration of the peak", 0.1, 60, 30, 10,
        "sag is judged at the end of a 30 s peak",
        "longest full-pedal pull: a slip road, a ramp; inverter's peak time limit"),
    Key("power", "continuous", "power", "P_c", "kW", "continuous power", 0.05, 2000, None, None,
        "half the peak power is counted as continuous; more than published drive cycles of a "
        "light truck ask, less than a long climb at full power",
        "motor's continuous rating, or the power that holds the steepest long climb"),
    Key("power", "peaks_in_life", "number", "n_pk", "", "full-power peaks in the pack's life",
        1, 1e8, 100000, 10000, "fuse is asked to stand 100 000 peaks",
        "full pulls a day times days of use"),
    Key("regeneration", "power", "power", "P_rg", "kW", "braking power fed back", 0, 2000,
        None, None,
        "braking power counted as half the peak power",
        "inverter's regeneration setting"),
    Key("regeneration", "duration", "time", "t_rg", "s", "duration of a braking pulse", 0.1, 60,
        10, 5, "voltage rise is judged at the end of a 10 s braking pulse",
        "inverter's setting, or a long downhill stop"),
    Key("regeneration", "voltage_limit", "voltage", "U_rg", "V",
        "voltage at which the inverter itself stops braking, upper tolerance", 12, 2000, None, None,
        "no limit is counted on: the rise into a full cold pack stands in full",
        "inverter's manual: DC over-voltage regeneration limit with its tolerance"),
    Key("regeneration", "follows_charge_limit", "words", "", "",
        "management system cuts braking to the cells' charge limit in the cold",
        safe="no", other="yes", choices=("yes", "no"),
        consequence="braking power is counted in full even on a cold full pack",
        find="management system's manual: charge current limit sent to the inverter, and proof "
             "that the inverter obeys it"),
    Key("charger", "power", "power", "P_ch", "kW", "charging power", 0.05, 500, 11, 6.6,
        "charging counted at 11 kW", "charger's plate"),
    Key("charger", "tolerance", "ratio", "Δ_ch", "%", "tolerance of the charger's end voltage",
        0, 5, 1, 0.5, "full-charge voltage counted 1 % higher", "charger's data sheet"),
    Key("charger", "voltage_range", "voltage", "U_ch", "V", "charger's output voltage range",
        12, 1500, pair=("voltage_low", "voltage_high"),
        consequence="whether the charger covers the pack's voltages is not evaluated",
        find="charger's plate"),
    Key("battery", "energy_least", "energy", "E_min", "kWh", "least usable energy", 0.1, 2000,
        consequence="no energy is asked for",
        find="distance a day times consumption, plus reserve"),
    Key("battery", "energy_most", "energy", "E_max", "kWh", "most usable energy", 0.1, 5000,
        consequence="no upper limit on energy",
        find="box, budget or rules"),
    Key("battery", "charge_lowest", "ratio", "SOC_min", "%", "lowest charge in use", 0, 60, 10, 20,
        "the pack is judged down to 10 % charge", "management system's setting"),
    Key("battery", "charge_highest", "ratio", "SOC_max", "%", "highest charge in use", 50, 100,
        100, 90, "the pack is judged at full charge", "charger's and management system's setting"),
    Key("battery", "coldest_start", "temperature", "θ_min", "°C", "coldest cells at full power",
        -20, 25, -20, -5,
        "sag is judged at −20 °C, the coldest that the cell tables cover",
        "coldest morning at the parking place; the battery heater's setting"),
    Key("battery", "hottest", "temperature", "θ_max", "°C", "hottest cells in use", 20, 60, 45, 35,
        "cells are counted as hot as 45 °C", "hottest cell seen on a summer drive"),
    Key("battery", "mass_most", "mass", "m_max", "kg", "most mass of the modules", 1, 20000,
        consequence="no mass limit is asked for",
        find="axle loads and gross mass of the vehicle, weighed"),
    Key("surroundings", "box_ambient", "temperature", "θ_box", "°C",
        "air in the box of fuses and contactors", -10, 85, 50, 40,
        "fuses and contactors are counted in 50 °C air",
        "thermometer in the closed box after a hard drive on a hot day"),
    Key("surroundings", "cable_ambient", "temperature", "θ_cab", "°C", "air around the cables",
        -10, 85, 60, 40, "cables are counted in 60 °C air",
        "thermometer beside the cable route after a hard drive on a hot day"),
    Key("path", "link_resistance", "resistance", "R_ln", "mΩ",
        "resistance of one module link with its joints", 0.001, 5, 0.2, 0.05,
        "each link counted at 0.2 mΩ", "four-wire milliohm meter across a torqued link"),
    Key("path", "fuse_resistance", "resistance", "R_fu", "mΩ", "resistance of the main fuse",
        0.01, 10, 0.5, 0.2, "main fuse counted at 0.5 mΩ",
        "fuse's data sheet: rated power loss divided by rated current squared"),
    Key("path", "contactor_resistance", "resistance", "R_k", "mΩ",
        "resistance of one closed contactor", 0.01, 10, 0.4, 0.2,
        "each contactor counted at 0.4 mΩ",
        "contactor's data sheet, or voltage drop at a known current"),
    Key("cables", "rules", "words", "", "", "cable rule set",
        safe="IEC 60364-5-52", choices=RULE_CHOICES,
        consequence="IEC 60364-5-52 is used; it knows every common way of laying",
        find="ask the electrician or certifier which tables they work by"),
    Key("cables", "voltage_drop_limit", "ratio", "Δu", "%", "voltage drop allowed on the cables",
        0.1, 10, 2, 5, "2 % of the lowest bus voltage at continuous current",
        "a choice: less drop costs copper, more costs sag", basis="assumed"),
    Key("cables.route", "length", "length", "l", "m", "one-way length", 0.05, 50, 5, 2,
        "5 m one way", "a string laid along the route, plus 10 %"),
    Key("cables.route", "install", "words", "", "", "how the cable lies",
        safe="conduit", other="touching in air", choices=INSTALL_CHOICES,
        consequence="the hottest way of laying is counted: in conduit or a closed sill",
        find="look at the route"),
    Key("cables.route", "grouped_circuits", "number", "n_g", "", "circuits lying together",
        1, 20, 2, 1, "one more loaded circuit is counted beside it", "look at the route"),
    Key("cables.route", "insulation_class", "temperature", "θ_ins", "°C",
        "temperature class of the insulation", 60, 200, 90, 125,
        "insulation counted at 90 °C", "print on the cable"),
    Key("cables.route", "terminal_limit", "temperature", "θ_t", "°C",
        "lower temperature limit of the two terminals", 40, 180, 75, 90,
        "terminals counted at 75 °C", "data sheets of both ends: fuse, contactor, inverter"),
    Key("cables.route", "joint_limit", "temperature", "θ_j", "°C",
        "short-time temperature limit of lugs and crimps", 100, 300, 160, 200,
        "lugs and crimps counted at 160 °C for a short-circuit", "lug's data sheet"),
    Key("precharge", "level", "ratio", "x", "%", "level at which the main contactor may close",
        80, 99.5, 95, 98, "95 % of battery voltage", "contactor's data sheet: making capacity"),
    Key("precharge", "time_limit", "time", "t_pc", "s", "time the driver may wait", 0.05, 60,
        2, 5, "pre-charge must be done in 2 s", "a choice"),
    Key("precharge", "timeout", "time", "t_to", "s", "time after which a failed try is given up",
        0.1, 120, 10, 4, "a failed try lasts 10 s", "pre-charge controller's setting"),
    Key("precharge", "tries", "number", "n_t", "", "tries in a row before lock-out", 1, 20, 3, 1,
        "three failed tries in a row", "pre-charge controller's setting"),
    Key("precharge", "resistor_tolerance", "ratio", "ΔR", "%", "tolerance of the resistor",
        0, 30, 10, 5, "resistance counted 10 % off either way", "resistor's data sheet"),
    Key("precharge.load", "resistance", "resistance", "R_L", "Ω", "resistive load on the bus",
        0.1, 1e8, find="load's data sheet or an ohmmeter on the dead bus"),
    Key("precharge.load", "power", "power", "P_L", "W", "constant-power load on the bus", 0.1, 1e5,
        find="load's plate"),
    Key("precharge.load", "wakes_at", "voltage", "U_on", "V", "voltage at which the load wakes",
        0, 1500, None, None, "the load is counted as waking at the worst voltage",
        "load's data sheet: start-up voltage"),
)


def key(dotted: str) -> Key:
    """The key of that dotted name."""
    return next(k for k in KEYS if k.dotted == dotted)


@dataclass(frozen=True)
class ModulesOnHand:
    """One `[[modules]]` entry."""

    module: ModuleType
    count: Finding
    state_of_health: Finding
    resistance_growth: Finding


@dataclass(frozen=True)
class Inverter:
    voltage_low: Finding
    voltage_high: Finding
    absolute_maximum: Finding
    full_power_from: Finding
    dc_link_capacitance: Finding
    dc_link_tolerance: Finding


@dataclass(frozen=True)
class Power:
    peak: Finding
    peak_duration: Finding
    continuous: Finding
    peaks_in_life: Finding


@dataclass(frozen=True)
class Regeneration:
    power: Finding
    duration: Finding
    voltage_limit: Finding
    follows_charge_limit: str


@dataclass(frozen=True)
class Charger:
    power: Finding
    tolerance: Finding
    voltage_low: Finding
    voltage_high: Finding


@dataclass(frozen=True)
class Battery:
    energy_least: Finding
    energy_most: Finding
    charge_lowest: Finding
    charge_highest: Finding
    coldest_start: Finding
    hottest: Finding
    mass_most: Finding


@dataclass(frozen=True)
class Surroundings:
    box_ambient: Finding
    cable_ambient: Finding


@dataclass(frozen=True)
class Path:
    link_resistance: Finding
    fuse_resistance: Finding
    contactor_resistance: Finding


@dataclass(frozen=True)
class Route:
    """One `[[cables.route]]`; its ambient is that of `surroundings` unless given."""

    name: str
    carries: str
    length: Finding
    install: str
    grouped_circuits: Finding
    insulation_class: Finding
    terminal_limit: Finding
    joint_limit: Finding


@dataclass(frozen=True)
class Cables:
    rules: str
    voltage_drop_limit: Finding
    route: tuple[Route, ...]


@dataclass(frozen=True)
class Load:
    """One `[[precharge.load]]`."""

    name: str
    kind: str
    resistance: Finding
    power: Finding
    wakes_at: Finding


@dataclass(frozen=True)
class Precharge:
    level: Finding
    time_limit: Finding
    timeout: Finding
    tries: Finding
    resistor_tolerance: Finding
    load: tuple[Load, ...]


@dataclass(frozen=True)
class Unknown:
    """One entry that the user left open: what was taken, and how to find the real figure.

    Attributes:
        dotted: the key, with an index where it stands in a list.
        key: its definition.
        taken: what was counted on, as printed.
        other: what a lucky answer might be, in SI (or words); None when none is offered.
    """

    dotted: str
    key: Key
    taken: str
    other: float | str | None


@dataclass(frozen=True)
class Brief:
    """Everything asked, checked and with its origin.

    Attributes:
        title, date_of_issue, note: words; the date is ISO 8601 or "".
        place: file name as given.
        digest: of the text that was read.
        mix: "no" or "series": whether two module types may stand in one string.
        unknowns: entries left open, in the order of the file format.
    """

    title: str
    date_of_issue: str
    note: str
    place: str
    digest: str
    mix: str
    modules: tuple[ModulesOnHand, ...]
    inverter: Inverter
    power: Power
    regeneration: Regeneration
    charger: Charger
    battery: Battery
    surroundings: Surroundings
    path: Path
    cables: Cables
    precharge: Precharge
    unknowns: tuple[Unknown, ...] = ()

    def entries(self) -> Iterator[tuple[str, Finding]]:
        """Every leaf with its dotted name, in the order of the classes."""
        yield from _entries(self, "")


def _entries(value: object, prefix: str) -> Iterator[tuple[str, Finding]]:
    if isinstance(value, Finding):
        yield prefix, value
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from _entries(item, f"{prefix}[{index}]")
    elif is_dataclass(value) and not isinstance(value, ModuleType):
        for item in fields(value):
            name = f"{prefix}.{item.name}" if prefix else item.name
            if item.name != "unknowns":
                yield from _entries(getattr(value, item.name), name)
