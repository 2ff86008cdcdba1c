"""A user's parts as their data sheets give them, and the columns of the parts list.

One row of the list is one part. Every figure is a leaf that remembers file, row and
column; what the sheet does not say is None and is asked for by name. Nothing is filled in.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import field, fields

from packcalc.curves import Curve
from packcalc.errors import UnknownName
from packcalc.findings import Finding, Origin
from packcalc.units import from_si, printed
from packcalc.value import replace, value_object, worked_once

FUSE, CONTACTOR, CABLE = "fuse", "contactor", "cable"
RESISTOR, DISCONNECT, CONNECTOR = "resistor", "disconnect", "connector"
MANAGEMENT = "management system"
KINDS = (FUSE, CONTACTOR, CABLE, RESISTOR, DISCONNECT, CONNECTOR, MANAGEMENT)
SWITCHES = (CONTACTOR, DISCONNECT)
JOINED = (CONTACTOR, DISCONNECT, CONNECTOR)
CLASSES = ("gG", "gR", "gS", "gPV", "gBat", "aR", "aM", "aBat", "aPV")
LIST_BASES = ("given", "measured", "read", "assumed", "invented")
YES_NO = ("yes", "no")
# What a sheet states of direct current: beside an AC rating alone it speaks of alternating current,
# whatever column it was written under. Heat and carrying are alike in both.
IN_DC = ("breaking_capacity", "lowest_breaking_current", "permitted_time_constant", "clearing",
         "clearing_i2t", "clearing_i2t_at", "cut_off_current", "arc_voltage", "make_current",
         "break_discharge", "break_charge", "break_time_constant", "make_and_pass", "opening_time")


@value_object
class PartColumn:
    """One column of the parts list: who has it, how it is written, what it means.

    Attributes:
        name: head of the column.
        kinds: the kinds of part that have it.
        form: "quantity", "points" (a list of pairs), "choice" or "words".
        dimension: of the quantity, or of the second of each pair.
        title, symbol, unit: as printed.
        against: dimension of the first of each pair.
        against_unit: as printed.
        choices: for a choice.
        runs: how the second runs when the first rises: "falling", "not rising",
            "not falling", "" for free.
        example: as written in a cell.
        meaning: where it stands on a data sheet, and what it must be.
    """

    name: str
    kinds: tuple[str, ...]
    form: str
    dimension: str
    title: str
    symbol: str
    unit: str
    example: str
    meaning: str
    against: str = ""
    against_unit: str = ""
    choices: tuple[str, ...] = ()
    runs: str = ""


def _quantity(name: str, kinds: tuple[str, ...], dimension: str, title: str, symbol: str,
              unit: str, example: str, meaning: str) -> PartColumn:
    return PartColumn(name, kinds, "quantity", dimension, title, symbol, unit, example, meaning)


def _curve(name: str, kinds: tuple[str, ...], title: str, example: str,
           meaning: str) -> PartColumn:
    """Points of current against time, time rising and current falling."""
    return PartColumn(name, kinds, "points", "current", title, "I", "A", example, meaning,
                      "time", "s", runs="falling")


def _points(name: str, kinds: tuple[str, ...], pair: tuple[str, str, str, str], title: str,
            example: str, meaning: str, runs: str = "") -> PartColumn:
    against, against_unit, dimension, unit = pair
    return PartColumn(name, kinds, "points", dimension, title, "", unit, example, meaning,
                      against, against_unit, runs=runs)


def _choice(name: str, kinds: tuple[str, ...], choices: tuple[str, ...], title: str,
            meaning: str) -> PartColumn:
    return PartColumn(name, kinds, "choice", "words", title, "", "", choices[0], meaning,
                      choices=choices)


_FUSE, _CONT, _CABLE, _RES = (FUSE,), (CONTACTOR,), (CABLE,), (RESISTOR,)
_SYSTEM = (MANAGEMENT,)

COLUMNS: tuple[PartColumn, ...] = (
    _choice("kind", KINDS, KINDS, "kind of part", "needed; one of these words"),
    PartColumn("name", KINDS, "words", "words", "name of the part", "", "", "FL-300",
               "needed; your own name or order number, each once"),
    _choice("basis", KINDS, LIST_BASES, "ground of the row's figures",
            "given when left out; `read` when you hold the sheet, `invented` for a trial"),
    PartColumn("note", KINDS, "words", "words", "remark", "", "", "sheet of 2024",
               "free text; edition of the sheet"),
    _quantity("rated_voltage_dc", KINDS, "voltage", "rated DC voltage", "U_n", "V", "500 V",
              "of ONE pole or link in DC; never the AC figure, never two parts added up; of a "
              "management system the highest pack voltage that its cell side bears"),
    _quantity("rated_voltage_ac", KINDS, "voltage", "rated AC voltage", "U_ac", "V", "690 V",
              "kept for the record only: it says nothing about DC; without a rated DC voltage "
              "nothing counts of what the row makes and breaks"),
    _quantity("rated_current", _FUSE, "current", "rated current", "I_n", "A", "300 A", "fuse link"),
    _choice("class", _FUSE, CLASSES, "class letters", "first letter g is full range, a is partial"),
    _quantity("fusing_current", _FUSE, "current", "conventional fusing current", "I2", "A",
              "640 A", "opens within the conventional time; full-range links alone have one"),
    _quantity("breaking_capacity", _FUSE, "current", "DC breaking capacity", "I_1", "A", "50 kA",
              "in DC, at the rated DC voltage"),
    _quantity("lowest_breaking_current", _FUSE, "current", "lowest breaking current", "I_min", "A",
              "1200 A", "below it the link melts and goes on arcing; partial-range links have one"),
    _points("permitted_time_constant", (FUSE, CONTACTOR), ("voltage", "V", "time", "ms"),
            "permitted time constant at a DC voltage", "400 V: 15 ms; 500 V: 8 ms",
            "L/R that the part breaks, at each DC working voltage; of a contactor at its rated "
            "voltage no more than its breaking test had", "not rising"),
    _curve("melting", _FUSE, "melting (pre-arcing) curve", "0.01 s: 4200 A; 1 s: 1300 A",
           "earliest melting; time: prospective current"),
    _curve("clearing", _FUSE, "total clearing curve in DC", "0.01 s: 5200 A; 1 s: 1700 A",
           "latest end of the arc at the rated DC voltage; time: prospective current"),
    _quantity("melting_i2t", _FUSE, "let-through", "pre-arcing I²t", "I²t_p", "A²s", "90000 A²s",
              "lowest pre-arcing figure, at high current"),
    _quantity("clearing_i2t", _FUSE, "let-through", "total clearing I²t in DC", "I²t_c", "A²s",
              "260000 A²s", "highest, up to the breaking capacity"),
    _quantity("clearing_i2t_at", _FUSE, "voltage", "DC voltage of the total clearing I²t", "U", "V",
              "500 V", "it counts only at or above the working voltage"),
    _quantity("cut_off_current", _FUSE, "current", "cut-off current at the breaking capacity",
              "i_c", "A", "14 kA", "largest peak let through"),
    _quantity("arc_voltage", _FUSE, "voltage", "peak arc voltage", "U_arc", "V", "950 V",
              "at the working voltage"),
    _quantity("watt_loss", _FUSE, "power", "power loss at rated current", "P_v", "W", "42 W", ""),
    _choice("derating_method", _FUSE, ("A", "B"), "derating method of the sheet",
            "A: constants a, θ0 and A′2; B: factor against ambient; never factors of both"),
    _quantity("link_constant", _FUSE, "temperature", "temperature constant a of the link", "a",
              "°C", "130 degC", "method A"),
    _quantity("rating_ambient", _FUSE, "temperature", "ambient of the rating", "θ0", "°C",
              "25 degC", "method A"),
    _quantity("fluctuation_factor", _FUSE, "number", "fluctuating-load factor", "A′2", "", "0.6",
              "either method; at most 1"),
    _quantity("conductor_factor", _FUSE, "number", "conductor factor", "C1", "", "0.9",
              "for the conductors that will be joined; at most 1"),
    _points("ambient_factor", _FUSE, ("temperature", "°C", "number", ""),
            "factor against ambient", "25 degC: 1.0; 60 degC: 0.85", "method B", "not rising"),
    _points("cyclic_share", _FUSE, ("number", "", "number", ""),
            "largest share of the melting current against number of pulses",
            "1000: 0.6; 100000: 0.4", "the family's own figure, a share of CURRENT",
            "not rising"),
    _quantity("continuous_current", JOINED, "current", "continuous current", "I_th", "A", "300 A",
              "at the ambient and with the cable of the sheet"),
    _quantity("highest_ambient", (CONTACTOR, DISCONNECT, CONNECTOR, RESISTOR), "temperature",
              "ambient at which the continuous figure holds", "θ_a", "°C", "65 degC", ""),
    _quantity("contact_resistance", JOINED, "resistance", "resistance of one pole", "R_k", "mΩ",
              "0.2 mΩ", "one closed pole"),
    _curve("carry", JOINED, "carry curve", "10 s: 700 A; 60 s: 450 A",
           "time: current that it carries so long, starting from its continuous current"),
    _curve("short_time", JOINED, "short-time withstand", "0.01 s: 8000 A; 1 s: 2500 A",
           "closed, without welding; time: current"),
    _quantity("make_current", _CONT, "current", "making current", "I_mk", "A", "700 A",
              "onto a charged capacitor, at its number of operations"),
    _quantity("break_discharge", (*SWITCHES, CONNECTOR), "current", "breaking current, discharging",
              "I_bd", "A", "2000 A", "at the rated DC voltage, current in the marked direction; of "
              "a connector what it may be parted under, empty where it has no breaking capacity"),
    _quantity("break_charge", SWITCHES, "current", "breaking current, charging", "I_bc", "A",
              "1000 A", "at the rated DC voltage, current against the marked direction"),
    _quantity("break_time_constant", SWITCHES, "time", "time constant of the breaking test", "T",
              "ms", "1 ms", "at which the breaking currents were shown"),
    _quantity("make_and_pass", _CONT, "let-through", "make-and-pass I²t", "I²t_m", "A²s",
              "400000 A²s", "closing onto a fault and passing what the fuse lets through"),
    _quantity("opening_time", _CONT, "time", "opening time with its suppression", "t_o", "ms",
              "15 ms", "from coil off to the end of the arc, with the coil suppression used"),
    _quantity("poles", SWITCHES, "number", "poles", "n", "", "1", "in one housing"),
    _choice("polarised", SWITCHES, ("yes", "no"), "polarised", "whether one direction is marked"),
    _quantity("section", (CABLE, CONNECTOR), "area", "section of the conductor", "S", "mm²",
              "95 mm²", "copper"),
    _quantity("insulation_class", _CABLE, "temperature", "temperature class of the insulation",
              "θ_ins", "°C", "150 degC", ""),
    _quantity("short_circuit_temperature", _CABLE, "temperature",
              "short-circuit temperature of the insulation", "θ_sc", "°C", "200 degC", ""),
    _quantity("resistance_per_length", _CABLE, "resistance per length", "resistance at 20 °C",
              "r_0", "mΩ/m", "0.196 mΩ/m", "of one conductor"),
    _points("current_at_ambient", _CABLE, ("temperature", "°C", "current", "A"),
            "current against ambient", "40 degC: 410 A; 85 degC: 290 A",
            "maker's curve for the way of laying", "not rising"),
    _quantity("resistance", _RES, "resistance", "resistance", "R", "Ω", "100 Ω", ""),
    _quantity("tolerance", _RES, "ratio", "tolerance", "ΔR", "%", "5 %", ""),
    _quantity("rated_power", _RES, "power", "rated power as mounted", "P_n", "W", "100 W",
              "on the mounting and at the ambient that will be used"),
    _points("pulse_energy", _RES, ("time", "s", "energy", "J"), "energy of one pulse",
            "0.1 s: 800 J; 10 s: 2500 J", "from rated conditions; pulse length: energy",
            "not falling"),
    _quantity("terminal_limit", (CONTACTOR, DISCONNECT, CONNECTOR, FUSE), "temperature",
              "steady limit of the terminals", "θ_t", "°C", "105 degC", ""),
    _choice("interlock", (DISCONNECT, CONNECTOR), YES_NO, "interlock contact",
            "whether a pilot circuit opens before the power contacts"),
    _choice("fuse_inside", (DISCONNECT,), YES_NO, "fuse inside", ""),
    _quantity("cell_channels", _SYSTEM, "number", "cell voltage channels, all monitors together",
              "n_c", "", "96", "as many monitors as the system takes"),
    _quantity("channels_each", _SYSTEM, "number", "cell voltage channels of one monitor", "n_ch",
              "", "12", "as management.channels_per_monitor of the brief counts them"),
    _quantity("channel_low", _SYSTEM, "voltage", "lowest cell voltage that a channel measures",
              "u_lo", "V", "0.5 V", "with the stated error"),
    _quantity("channel_high", _SYSTEM, "voltage", "highest cell voltage that a channel measures",
              "u_hi", "V", "5 V", "with the stated error"),
    _quantity("temperature_inputs", _SYSTEM, "number", "temperatures that it reads", "n_θ", "",
              "32", "all monitors together"),
    _quantity("sensor_range", _SYSTEM, "current", "range of its current sensor, both directions",
              "I_sr", "A", "1500 A", "the smaller of both directions"),
    _quantity("sensor_error", _SYSTEM, "ratio", "error of its current sensor, of its range", "e_s",
              "%", "1 %", "total error over temperature"),
    _quantity("balance_current", _SYSTEM, "current", "balance current of one cell", "I_b", "mA",
              "100 mA", ""),
)


# Plausible span of every figure, in its printed unit; packcalc's own rule: a slip of the decimal
# mark or of the unit falls outside, a part that anyone sells does not.
SPANS: dict[str, tuple[float, float]] = {
    "rated_voltage_dc": (5, 5000), "rated_voltage_ac": (5, 5000), "rated_current": (0.01, 10000),
    "fusing_current": (0.01, 20000), "breaking_capacity": (10, 1e6),
    "lowest_breaking_current": (0.01, 1e5), "permitted_time_constant": (0.01, 1000),
    "melting": (0.01, 1e6), "clearing": (0.01, 1e6), "melting_i2t": (1e-4, 1e9),
    "clearing_i2t": (1e-4, 1e9), "clearing_i2t_at": (5, 5000), "cut_off_current": (0.1, 1e6),
    "arc_voltage": (5, 20000), "watt_loss": (0.001, 2000), "link_constant": (60, 400),
    "rating_ambient": (0, 60), "fluctuation_factor": (0.2, 1), "conductor_factor": (0.2, 1),
    "ambient_factor": (0.05, 1.5), "cyclic_share": (0.01, 1), "continuous_current": (0.1, 10000),
    "highest_ambient": (15, 300), "contact_resistance": (0.001, 1000), "carry": (0.1, 1e6),
    "short_time": (0.1, 1e6), "make_current": (0.1, 1e6), "break_discharge": (0.1, 1e6),
    "break_charge": (0.1, 1e6), "break_time_constant": (0.01, 1000), "make_and_pass": (0.1, 1e9),
    "opening_time": (1, 1000), "poles": (1, 6), "section": (0.05, 3000),
    "insulation_class": (50, 400), "short_circuit_temperature": (80, 600),
    "resistance_per_length": (0.004, 1000), "current_at_ambient": (0.1, 10000),
    "resistance": (0.01, 1e6), "tolerance": (0, 50), "rated_power": (0.1, 1e5),
    "pulse_energy": (0.01, 1e7), "terminal_limit": (40, 300), "cell_channels": (1, 5000),
    "channels_each": (1, 600), "channel_low": (-5, 5), "channel_high": (1, 20),
    "temperature_inputs": (1, 5000), "sensor_range": (1, 50000), "sensor_error": (0.001, 20),
    "balance_current": (1, 20000),
}
# The same of the first of each pair.
AGAINST_SPANS: dict[str, tuple[float, float]] = {
    "permitted_time_constant": (5, 5000), "melting": (1e-5, 1e6), "clearing": (1e-5, 1e6),
    "ambient_factor": (-60, 250), "cyclic_share": (1, 1e10), "carry": (1e-4, 1e6),
    "short_time": (1e-5, 1e5), "current_at_ambient": (-60, 300), "pulse_energy": (1e-5, 1e5),
}


def column(name: str) -> PartColumn:
    """The column of that name.

    Raises:
        UnknownName: no such column.
    """
    for found in COLUMNS:
        if found.name == name:
            return found
    raise UnknownName("column of the parts list", name, [c.name for c in COLUMNS])


def _plainly(value: float | None, unit: str) -> str:
    """A figure as its row gives it, without zeros for the sake of four figures."""
    return "not known" if value is None else f"{from_si(value, unit):.6g} {printed(unit)}".strip()


@value_object
class Points:
    """Pairs from one cell, in SI, in the order in which the first rises.

    Attributes:
        column: what they are.
        first, second: the pairs, taken apart.
        origin: file, row and column.
        basis: of the row.
    """

    column: PartColumn
    first: tuple[float, ...]
    second: tuple[float, ...]
    origin: Origin
    basis: str = "given"

    @property
    def words(self) -> str:
        """The pairs as printed, a comma between two."""
        first, second = self.column.against_unit, self.column.unit
        return ", ".join(f"{_plainly(a, first)}: {_plainly(b, second)}"
                         for a, b in zip(self.first, self.second, strict=True))

    @worked_once
    def curve(self) -> Curve:
        """Time against current, of points that are current against time."""
        return Curve(self.second[::-1], self.first[::-1], self.column.title, self.origin,
                     self.basis)


@value_object
class Part:
    """What every part has."""

    name: str
    basis: str = "given"
    note: str = ""
    origin: Origin | None = None
    rated_voltage_dc: Finding | None = None
    rated_voltage_ac: Finding | None = None

    @property
    def figures(self) -> Iterator[Finding]:
        """Every figure that the list gives of it."""
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, Finding):
                yield value

    @property
    def written(self) -> Iterator[tuple[str, str]]:
        """(column, value as printed) of everything that its row gives but name and basis."""
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, Finding):
                yield item.name, _plainly(value.value, value.unit)
            elif isinstance(value, Points):
                yield item.name, value.words
            elif isinstance(value, str) and value and item.name not in ("name", "basis"):
                yield {"class_letters": "class"}.get(item.name, item.name), value

    @property
    def alternating_words(self) -> str:
        """What an AC rating alone leaves open, with the row that gives it; "" elsewhere."""
        if self.rated_voltage_dc is not None or self.rated_voltage_ac is None:
            return ""
        row = self.rated_voltage_ac.origin
        where = f"{Origin(row.place, row.line)}: " if row is not None else ""
        return f"{where}{self.rated_voltage_ac.shown} AC only, which says nothing about DC"

    @property
    def in_direct_current(self) -> "Part":
        """The part as it counts: rated in AC alone, it shows nothing of what it breaks in DC."""
        if not self.alternating_words:
            return self
        return replace(self, **{f.name: None for f in fields(self) if f.name in IN_DC})


@value_object
class FusePart(Part):
    """A fuse link; `class_letters` is "" where the list does not say."""

    class_letters: str = ""
    rated_current: Finding | None = None
    fusing_current: Finding | None = None
    breaking_capacity: Finding | None = None
    lowest_breaking_current: Finding | None = None
    permitted_time_constant: Points | None = None
    melting: Points | None = None
    clearing: Points | None = None
    melting_i2t: Finding | None = None
    clearing_i2t: Finding | None = None
    clearing_i2t_at: Finding | None = None
    cut_off_current: Finding | None = None
    arc_voltage: Finding | None = None
    watt_loss: Finding | None = None
    derating_method: str = ""
    link_constant: Finding | None = None
    rating_ambient: Finding | None = None
    fluctuation_factor: Finding | None = None
    conductor_factor: Finding | None = None
    ambient_factor: Points | None = None
    cyclic_share: Points | None = None
    terminal_limit: Finding | None = None

    @property
    def full_range(self) -> bool | None:
        """True for a first letter g, False for a, None where no class is given."""
        return None if not self.class_letters else self.class_letters[0] == "g"


@value_object
class ContactorPart(Part):
    """One contactor; figures are those of one pole."""

    continuous_current: Finding | None = None
    highest_ambient: Finding | None = None
    contact_resistance: Finding | None = None
    carry: Points | None = None
    short_time: Points | None = None
    make_current: Finding | None = None
    break_discharge: Finding | None = None
    break_charge: Finding | None = None
    break_time_constant: Finding | None = None
    permitted_time_constant: Points | None = None
    make_and_pass: Finding | None = None
    opening_time: Finding | None = None
    poles: Finding | None = None
    polarised: str = ""
    terminal_limit: Finding | None = None


@value_object
class CablePart(Part):
    """One cable, or several alike side by side.

    Attributes:
        runs: cables a pole; one, but where a reviewer asks for more.
    """

    section: Finding | None = None
    insulation_class: Finding | None = None
    short_circuit_temperature: Finding | None = None
    resistance_per_length: Finding | None = None
    current_at_ambient: Points | None = None
    runs: int = 1


@value_object
class ResistorPart(Part):
    """One pre-charge or bleed resistor."""

    resistance: Finding | None = None
    tolerance: Finding | None = None
    rated_power: Finding | None = None
    highest_ambient: Finding | None = None
    pulse_energy: Points | None = None


@value_object
class DisconnectPart(Part):
    """A manual or service disconnect."""

    continuous_current: Finding | None = None
    highest_ambient: Finding | None = None
    contact_resistance: Finding | None = None
    carry: Points | None = None
    short_time: Points | None = None
    break_discharge: Finding | None = None
    break_charge: Finding | None = None
    break_time_constant: Finding | None = None
    poles: Finding | None = None
    polarised: str = ""
    terminal_limit: Finding | None = None
    interlock: str = ""
    fuse_inside: str = ""


@value_object
class ConnectorPart(Part):
    """A plug or a terminal."""

    continuous_current: Finding | None = None
    highest_ambient: Finding | None = None
    contact_resistance: Finding | None = None
    carry: Points | None = None
    short_time: Points | None = None
    break_discharge: Finding | None = None
    section: Finding | None = None
    terminal_limit: Finding | None = None
    interlock: str = ""


@value_object
class ManagementPart(Part):
    """A management system with its monitors and its current sensor."""

    cell_channels: Finding | None = None
    channels_each: Finding | None = None
    channel_low: Finding | None = None
    channel_high: Finding | None = None
    temperature_inputs: Finding | None = None
    sensor_range: Finding | None = None
    sensor_error: Finding | None = None
    balance_current: Finding | None = None


PART_CLASSES: dict[str, type[Part]] = {
    FUSE: FusePart, CONTACTOR: ContactorPart, CABLE: CablePart, RESISTOR: ResistorPart,
    DISCONNECT: DisconnectPart, CONNECTOR: ConnectorPart, MANAGEMENT: ManagementPart,
}


@value_object
class PartsList:
    """Every part of one file.

    Attributes:
        place: file name as given, "" for no list.
        digest: of the text that was read.
        parts: in the order of the file.
    """

    place: str = ""
    digest: str = ""
    parts: tuple[Part, ...] = field(default=())

    def of(self, kind: str) -> tuple[Part, ...]:
        """The parts of one kind."""
        return self._by_class.get(PART_CLASSES[kind], ())

    @worked_once
    def _by_class(self) -> dict[type, tuple[Part, ...]]:
        return {made: tuple(p for p in self.parts if type(p) is made)
                for made in {type(p) for p in self.parts}}

    @property
    def fuses(self) -> tuple[FusePart, ...]:
        return self.of(FUSE)  # type: ignore[return-value]

    @property
    def contactors(self) -> tuple[ContactorPart, ...]:
        return self.of(CONTACTOR)  # type: ignore[return-value]

    @property
    def cables(self) -> tuple[CablePart, ...]:
        return self.of(CABLE)  # type: ignore[return-value]

    @property
    def resistors(self) -> tuple[ResistorPart, ...]:
        return self.of(RESISTOR)  # type: ignore[return-value]

    @property
    def disconnects(self) -> tuple[DisconnectPart, ...]:
        return self.of(DISCONNECT)  # type: ignore[return-value]

    @property
    def connectors(self) -> tuple[ConnectorPart, ...]:
        return self.of(CONNECTOR)  # type: ignore[return-value]

    def part(self, kind: str, name: str) -> Part:
        """The part of that kind and name.

        Raises:
            UnknownName: the list holds none, with the nearest name.
        """
        for found in self.of(kind):
            if found.name == name:
                return found
        raise UnknownName(kind, name, [p.name for p in self.of(kind)])


NO_PARTS = PartsList()
