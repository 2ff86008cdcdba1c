"""The bench sheet: one row a salvaged module, as measured.

Every figure is a `Finding` leaf, basis `measured`, that remembers file, line and column;
one without a value was not measured. Nothing here judges or corrects: `questions` asks,
`common` brings to common conditions, `grade` decides.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import field, fields
from typing import Any

from packcalc.errors import Fault
from packcalc.findings import Finding, leaf
from packcalc.modules import ModuleType
from packcalc.units import from_si, printed, several
from packcalc.value import value_object


@value_object
class Figure:
    """One measured column: how it is printed, its unit spellings, and what is readable.

    Attributes:
        name: field of `BenchRow`, and the head of the column without its unit.
        title, symbol, unit: as printed.
        units: ending of the column's head to a unit of `packcalc.units`, the usual one first.
        least, most: readable span, in `unit`; outside it a figure is a fault.
        find: how to measure it.
    """

    name: str
    title: str
    symbol: str
    unit: str
    units: tuple[tuple[str, str], ...]
    least: float
    most: float
    find: str


_VOLT = (("V", "V"), ("mV", "mV"))
_DEGREE = (("degC", "°C"), ("degF", "°F"))
_OHM = (("mohm", "mΩ"), ("ohm", "Ω"))
_LEAK = (("Mohm", "MΩ"), ("kohm", "kΩ"), ("ohm", "Ω"))
_SHARE = (("percent", "%"),)

FIGURES: tuple[Figure, ...] = (
    Figure("rest_voltage", "rest voltage of the module", "U_0", "V", _VOLT, 0, 1500,
           "voltmeter across the terminals after a night at rest, nothing connected"),
    Figure("rest_temperature", "temperature at the rest voltage", "θ_0", "°C", _DEGREE, -40, 80,
           "thermometer on the module's case, after the same night"),
    Figure("capacity", "capacity as measured", "Q_m", "Ah", (("Ah", "Ah"), ("mAh", "mAh")),
           0.001, 1e6, "from full to the lower cut-off at a fifth of the capacity per hour"),
    Figure("capacity_rate", "rate of the capacity test", "r", "1/h", (("per_h", "1/h"),),
           0.001, 20, "discharge current divided by label capacity; C/5 is 0.2"),
    Figure("capacity_current", "current of the capacity test", "I_Q", "A", (("A", "A"),),
           0.001, 5000, "discharge current, in place of the rate"),
    Figure("capacity_temperature", "temperature of the capacity test", "θ_Q", "°C", _DEGREE,
           -40, 80, "thermometer on the module's case at the middle of the discharge"),
    Figure("capacity_error", "standard uncertainty of the capacity reading", "u_Q", "%", _SHARE,
           0, 50, "the tester's data sheet, divided by the square root of three"),
    Figure("resistance", "DC pulse resistance as measured", "R_m", "mΩ", _OHM, 0, 1e7,
           "fall of voltage at the end of a pulse, divided by the step of current"),
    Figure("resistance_current", "current of the pulse", "I_p", "A", (("A", "A"),), 0.001, 5000,
           "clamp meter or shunt during the pulse; it tells how large the fall was"),
    Figure("resistance_pulse", "length of the pulse", "t_p", "s", (("s", "s"), ("ms", "ms")),
           0.0001, 3600, "the moment after load-on at which the voltage was read"),
    Figure("resistance_temperature", "temperature at the pulse", "θ_p", "°C", _DEGREE, -40, 80,
           "thermometer on the module's case before the pulse"),
    Figure("resistance_charge", "state of charge at the pulse", "z_p", "%", _SHARE, 0, 100,
           "charge taken out since full, against the capacity"),
    Figure("resistance_error", "standard uncertainty of the resistance reading", "u_R", "%",
           _SHARE, 0, 50, "from the meters' data sheets: gain of voltmeter and clamp; the "
           "voltmeter's last digits count beside it (bench.voltmeter_error over the fall)"),
    Figure("impedance_ac", "reading of an AC meter (another quantity)", "Z_ac", "mΩ", _OHM,
           0, 1e7, "an AC meter of about 1 kHz, four wires; never a stand-in for the pulse"),
    Figure("first_voltage", "first voltage of the self-discharge test", "U_1", "V", _VOLT,
           0, 1500, "after a day at rest, same meter and same room as the second"),
    Figure("first_temperature", "temperature at the first voltage", "θ_1", "°C", _DEGREE,
           -40, 80, "thermometer on the module's case"),
    Figure("second_voltage", "second voltage of the self-discharge test", "U_2", "V", _VOLT,
           0, 1500, "two to four weeks later, nothing connected in between"),
    Figure("second_temperature", "temperature at the second voltage", "θ_2", "°C", _DEGREE,
           -40, 80, "thermometer on the module's case"),
    Figure("insulation", "insulation to the case", "R_ins", "MΩ", _LEAK, 0, 1e9,
           "insulation tester from each terminal to the case, the lower reading"),
    Figure("insulation_voltage", "test voltage of the insulation reading", "U_t", "V", _VOLT,
           1, 6000, "dial of the insulation tester"),
    Figure("lowest_cell", "lowest cell of the module", "U_min", "V", _VOLT, -5, 10,
           "voltmeter on the sense taps, after the night at rest"),
    Figure("highest_cell", "highest cell of the module", "U_max", "V", _VOLT, -5, 10,
           "voltmeter on the sense taps, after the night at rest"),
    Figure("mass", "mass of the module", "m", "kg", (("kg", "kg"), ("lb", "lb")), 0.01, 5000,
           "scales"),
    Figure("age", "age of the module", "a", "", (("years", ""),), 0, 60,
           "date code, or first registration of the donor"),
)
DATES = ("rest_date", "first_date", "second_date", "expiry")
WORDS = ("module", "damage", "donor", "storage")
ANSWERS = ("crash", "water", "lifetime_record", "charged_or_drained")
ANSWER_CHOICES = ("yes", "no", "unknown")
MOST_NAMED = 12  # marks that a line names
STANDS_IN = "no rest voltage was entered: the reading of the self-discharge test"


def figure(name: str) -> Figure:
    """The column of that name."""
    return next(f for f in FIGURES if f.name == name)


def not_measured(name: str) -> Finding:
    """The figure of a column that holds nothing."""
    column = figure(name)
    return leaf(column.title, column.symbol, column.unit, None, "measured", note="not measured")


@value_object
class DatedVoltage:
    """One reading of a module at rest; the date is ISO 8601 or empty."""

    voltage: Finding
    date: str
    temperature: Finding


def _figure_field(name: str) -> Any:
    return field(default_factory=lambda: not_measured(name))


def _two_readings() -> tuple[DatedVoltage, DatedVoltage]:
    first, second = (DatedVoltage(not_measured(f"{name}_voltage"), "",
                                  not_measured(f"{name}_temperature"))
                     for name in ("first", "second"))
    return first, second


@value_object
class BenchRow:
    """One module as measured.

    Attributes:
        mark: what the user wrote on it.
        line: line of the file on which the row begins; 0 when typed or made in Python.
        module: its type, or None where nobody said.
        refused: whether a type is written that cannot be read, which is a fault of its own.
        resistance: DC pulse resistance; `impedance_ac` is another quantity, kept apart.
        selfdischarge: two dated voltages.
        insulation: to the case; `insulation_voltage` is the tester's.
        damage, donor, storage: words; empty where nothing was said.
        crash, water, lifetime_record: "yes", "no", "unknown", or empty.
        charged_or_drained: likewise; between the self-discharge test and a later rest voltage.
        expiry: end of the maker's calendar life, ISO 8601, or empty.
        capacity_error, resistance_error: relative standard uncertainty of the instruments.
        by_donor: answers that the brief's donor gives, and not the row, see `donor_past`.
    """

    mark: str
    line: int = 0
    module: ModuleType | None = None
    rest_voltage: Finding = _figure_field("rest_voltage")
    rest_date: str = ""
    rest_temperature: Finding = _figure_field("rest_temperature")
    capacity: Finding = _figure_field("capacity")
    capacity_rate: Finding = _figure_field("capacity_rate")
    capacity_current: Finding = _figure_field("capacity_current")
    capacity_temperature: Finding = _figure_field("capacity_temperature")
    capacity_error: Finding = _figure_field("capacity_error")
    resistance: Finding = _figure_field("resistance")
    resistance_current: Finding = _figure_field("resistance_current")
    resistance_pulse: Finding = _figure_field("resistance_pulse")
    resistance_temperature: Finding = _figure_field("resistance_temperature")
    resistance_charge: Finding = _figure_field("resistance_charge")
    resistance_error: Finding = _figure_field("resistance_error")
    impedance_ac: Finding = _figure_field("impedance_ac")
    selfdischarge: tuple[DatedVoltage, DatedVoltage] = field(default_factory=_two_readings)
    insulation: Finding = _figure_field("insulation")
    insulation_voltage: Finding = _figure_field("insulation_voltage")
    lowest_cell: Finding = _figure_field("lowest_cell")
    highest_cell: Finding = _figure_field("highest_cell")
    mass: Finding = _figure_field("mass")
    damage: str = ""
    donor: str = ""
    age: Finding = _figure_field("age")
    crash: str = ""
    water: str = ""
    storage: str = ""
    lifetime_record: str = ""
    expiry: str = ""
    charged_or_drained: str = ""
    refused: bool = False
    by_donor: tuple[str, ...] = ()

    @property
    def at_rest(self) -> DatedVoltage:
        """The rest voltage; where none was entered, the later reading of the self-discharge test.

        That stands in only where each of its readings is dated: which is the later is not guessed.
        """
        read = [r for r in self.selfdischarge if r.voltage.known]
        if self.rest_voltage.known or not read or not all(r.date for r in read):
            return DatedVoltage(self.rest_voltage, self.rest_date, self.rest_temperature)
        last = max(read, key=lambda r: r.date)
        at = f" at {last.temperature.shown}" if last.temperature.known else ""
        return DatedVoltage(last.voltage.called(note=f"{STANDS_IN} of {last.date}{at} counts"),
                            last.date, last.temperature)

    @property
    def written(self) -> Iterator[tuple[str, str]]:
        """(column, as read) of everything that the row gives, each figure in its usual unit."""
        first, second = self.selfdischarge
        read = {"first_voltage": first.voltage, "first_temperature": first.temperature,
                "second_voltage": second.voltage, "second_temperature": second.temperature}
        if self.module is not None:
            yield "module", self.module.id
        for one in FIGURES:
            value = read.get(one.name) or getattr(self, one.name)
            if value.known:
                yield (f"{one.name}_{one.units[0][0]}",
                       f"{from_si(value.number, one.unit):.9g} {printed(one.unit)}".strip())
        dates = {"first_date": first.date, "second_date": second.date}
        for name in (*DATES, *WORDS[1:], *ANSWERS):
            if text := dates.get(name) or getattr(self, name, ""):
                yield name, text

    @property
    def latest_voltage(self) -> DatedVoltage:
        """The rest voltage, or the reading of the self-discharge test that is dated after it.

        One without a date counts as older than any that has one.
        """
        rest = self.at_rest
        known = [r for r in (rest, *self.selfdischarge) if r.voltage.known]
        return max(known, key=lambda r: r.date, default=rest)

    def figures(self) -> tuple[Finding, ...]:
        """Every figure of the row, measured or not."""
        own = [getattr(self, f.name) for f in fields(self)]
        dated = [x for reading in self.selfdischarge for x in (reading.voltage,
                                                               reading.temperature)]
        return (*(value for value in own if isinstance(value, Finding)), *dated)


@value_object
class BenchSheet:
    """A whole sheet.

    Attributes:
        place: file name as given.
        rows: in the order of the file.
        digest: of the text that was read.
    """

    place: str
    rows: tuple[BenchRow, ...]
    digest: str = ""

    def fault(self, row: BenchRow | None, column: str, wrong: str, right: str = "") -> Fault:
        """One line about a row of this sheet, with file, line and column."""
        mark = f"module {row.mark}: " if row is not None and row.mark else ""
        return Fault(self.place, row.line if row is not None else 0, column, mark + wrong, right)


def some_marks(marks: Sequence[str]) -> str:
    """The first marks of a line, and how many more there are."""
    more = len(marks) - MOST_NAMED
    return ", ".join(marks[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def of_other_types(rows: Iterable[BenchRow], own: Collection[str]) -> str:
    """One line on the rows whose module is of none of these types; "" where all are of them.

    Args:
        rows: of a sheet.
        own: ids of the types that count.
    """
    others = [r.module.id if r.module else "" for r in rows
              if r.module is None or r.module.id not in own]
    if not others:
        return ""
    ids = ", ".join(name or "of no stated type" for name in sorted(set(others)))
    return (f"{several(len(others), 'row')} of another type ({ids}) "
            f"{'is' if len(others) == 1 else 'are'} not counted: {' or '.join(sorted(own))} counts")
