"""Entries of a module record, a brief or a label → a checked `ModuleType`."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Any

from packcalc import cell_formulas as formulas
from packcalc import cells, units
from packcalc.cells import CellClass
from packcalc.errors import Fault, InputErrors, UnitError, UnknownName, UserError, nearest
from packcalc.findings import Finding, Origin, leaf, smallest, trace
from packcalc.modules import (
    CAPACITY_LEAST, CAPACITY_MOST, CELLS_MOST, DROP_LEAST, DROP_MOST, INITIAL_PULSE, REST_FAR,
    ModuleType, RestVoltage, read_label,
)
from packcalc.value import value_object

UNKNOWN = "unknown"
WARM_ENOUGH = 293.15
# Our rule: rest voltages nearer together move a curve at one place and hang the ends in the air.
LEAST_SPAN, LEAST_APART = 0.40, 0.10
RECORD_BASES = ("given", "measured", "read", "assumed", "invented")


@value_object
class Key:
    """One entry: its dimension, how it is printed and written, what is plausible for a module."""

    dimension: str
    title: str
    symbol: str
    unit: str
    example: str
    least: float = 0.0
    most: float = 1e12


# Every figure that an entry may give; words and tables stand below.
FIGURES: dict[str, Key] = {
    "cells_in_series": Key("count", "cells in series in a module", "N", "", "12", 1, CELLS_MOST),
    "cells_in_parallel": Key("count", "cells in parallel in a module", "M", "", "2", 1, 200),
    "capacity": Key("charge", "rated capacity of a module", "Q", "Ah", '"160 Ah"', CAPACITY_LEAST,
                    CAPACITY_MOST),
    "full_voltage": Key("voltage", "full voltage of a cell", "U_f", "V", '"4.20 V"', 1.5, 5.0),
    "empty_voltage": Key("voltage", "empty voltage of a cell", "U_e", "V", '"2.80 V"', 1.0, 4.5),
    "nominal_voltage": Key("voltage", "nominal voltage of a cell", "U_n", "V", '"3.68 V"', 1.5,
                           4.5),
    "resistance": Key("resistance", "resistance of a module as measured", "R_m", "mΩ", '"4.8 mΩ"',
                      1e-5, 10),
    "resistance_pulse": Key("time", "pulse length of the resistance", "t", "s", '"10 s"', 1e-3, 60),
    "resistance_temperature": Key("temperature", "cell temperature of the resistance", "T", "°C",
                                  '"25 degC"', 253.15, 318.15),
    "resistance_charge": Key("ratio", "state of charge of the resistance", "z", "%", '"50 %"', 0.05,
                             1.0),
    "resistance_1khz": Key("resistance", "resistance of a module at 1 kHz", "R_m", "mΩ", '"2.6 mΩ"',
                           1e-5, 10),
    "mass": Key("mass", "mass of a module", "m", "kg", '"52 kg"', 0.2, 500),
    "length": Key("length", "length of a module", "l", "mm", '"700 mm"', 0.02, 3),
    "width": Key("length", "width of a module", "w", "mm", '"300 mm"', 0.02, 3),
    "height": Key("length", "height of a module", "h", "mm", '"160 mm"', 0.02, 3),
    "continuous_current": Key("current", "continuous current of a module", "I_c", "A", '"160 A"', 1,
                              5000),
    "peak_current": Key("current", "peak current of a module", "I_p", "A", '"480 A"', 1, 10000),
    "charge_rate": Key("number", "charging rate, capacities per hour", "r", "", "0.5", 0.01, 10),
    "temperature_min": Key("temperature", "lowest temperature for discharge", "T_min", "°C",
                           '"-20 degC"', 223.15, 298.15),
    "temperature_max": Key("temperature", "highest temperature for discharge", "T_max", "°C",
                           '"55 degC"', 298.15, 353.15),
}
# Every entry that is words: what it is, and how it is written.
WORDS: dict[str, tuple[str, str]] = {
    "id": ("short name of the module type, as layouts print it", '"mine-12s"'),
    "title": ("name of the module type in words", '"my own twelve"'),
    "chemistry": ("chemistry of the cells: LFP, LMO, LTO, NCA or NMC", '"NMC"'),
    "label": ("what stands on the module: cells in series, capacity, chemistry",
              '"12s 160 Ah NMC"'),
    "note": ("where the figures come from", '"bench, three modules"'),
    "basis": ("how the figures are known: given, measured, read, assumed or invented",
              '"measured"'),
}
KEYS = (*FIGURES, *WORDS, "rest_voltages")
NEEDED = ("chemistry", "cells_in_series", "capacity")
# Milliohm meters show three decimals, and a thousandfold resistance is refused by its own
# plausibility (`DROP_LEAST` to `DROP_MOST` a cell), so a point is never asked about here.
ONE_READING = ("resistance", "resistance_1khz")
_LABEL_KEYS = ("chemistry", "cells_in_series", "cells_in_parallel", "capacity")


class _Reader:
    """Entries under reading; collects every fault and goes on."""

    def __init__(self, entries: Mapping[str, Any], origin_of: Callable[[str], Origin],
                 own: Collection[str]):
        self.origin_of, self.own = origin_of, own
        self.faults: list[Fault] = []
        self.entries = {k: v for k, v in entries.items() if v != UNKNOWN}
        self.basis = self.entries.get("basis", "given")
        self.from_label: set[str] = set()
        self.slipped: set[str] = set()  # missing only because the name is misspelt

    def fault(self, key: str, wrong: str, right: str = "") -> None:
        origin = self.origin_of(key)
        self.faults.append(Fault(origin.place, origin.line, origin.key or key, wrong, right))

    def leave_if_faulty(self) -> None:
        if self.faults:
            raise InputErrors(self.faults)

    def words(self) -> None:
        """Check the keys themselves and the entries that are words."""
        for key in self.entries:
            if key not in KEYS:
                near = nearest(str(key), KEYS)
                self.slipped.add(near)
                self.fault(key, "unknown key", f"did you mean {near!r}?" if near else
                           "known: " + ", ".join(KEYS))
        for key in WORDS:
            value = self.entries.get(key, "")
            if not isinstance(value, str) or len(value) > 2000:
                self.fault(key, f"{value!r:.40} is not a text", f'write {key} = "…"')
                self.entries.pop(key)
        if self.basis not in RECORD_BASES:
            self.fault("basis", f"{self.basis!r:.40} is no basis of a record",
                       "one of " + ", ".join(RECORD_BASES))
            self.basis = "given"

    def label(self) -> None:
        """Take apart a label; it may not contradict other entries."""
        if "label" not in self.entries:
            for key in NEEDED:
                if key not in self.entries and key not in self.slipped:
                    self.fault(key, "is missing", "a module needs chemistry, cells_in_series and "
                               "capacity, or a label like \"12s 160 Ah NMC\"")
            return
        try:
            label = read_label(self.entries["label"])
        except UserError as error:
            self.fault("label", str(error))
            return
        for key in _LABEL_KEYS:
            value = getattr(label, key)
            if value is None:
                continue
            if key in self.entries:
                self.fault(key, "is given beside a label that says it too", "keep one of the two")
            self.entries[key] = value
            self.from_label.add(key)

    def basis_of(self, key: str) -> str:
        return "given" if key in self.own else self.basis

    def origin(self, key: str) -> Origin:
        if key in self.from_label:
            return self.origin_of("label")
        return self.origin_of(key)

    def figure(self, key: str) -> Finding | None:
        """One figure as a leaf, or None where it is not given or not right."""
        if key not in self.entries:
            return None
        spec = FIGURES[key]
        try:
            value = _number(self.entries[key], spec.dimension)
        except UnitError as error:
            self.fault("label" if key in self.from_label else key, str(error))
            return None
        if not spec.least * (1 - 1e-9) <= value <= spec.most * (1 + 1e-9):
            self.fault("label" if key in self.from_label else key, _implausible(key, spec, value),
                       _hint(key, spec))
            return None
        other = units.other_reading(self.entries[key], spec.dimension) \
            if key not in ONE_READING else None
        if other is not None and spec.least <= other[0] <= spec.most:
            wrong, _, right = other[1].partition("; ")
            self.fault("label" if key in self.from_label else key, wrong, right)
            return None
        return leaf(spec.title, spec.symbol, spec.unit, value, self.basis_of(key),
                    origin=self.origin(key))

    def cell(self) -> CellClass | None:
        from packcalc.reading.library import cell_class

        name = self.entries.get("chemistry")
        if name is None:
            return None
        try:
            return cell_class(name)
        except UnknownName as error:
            wrong, _, right = str(error).partition("; ")
            odd = units.odd_character(name)
            self.fault("label" if "chemistry" in self.from_label else "chemistry",
                       f"{wrong} {odd}" if odd else wrong, right)
            return None

    def rest_voltages(self) -> tuple[RestVoltage, ...]:
        """The user's rest voltages, rising; faults leave an empty tuple."""
        table = self.entries.get("rest_voltages")
        if table is None:
            return ()
        right = 'write rest_voltages = { "20 %" = "3.55 V", "50 %" = "3.70 V", "80 %" = "3.99 V" }'
        if not isinstance(table, Mapping) or not 3 <= len(table) <= 40:
            self.fault("rest_voltages", "needs three states of charge at least", right)
            return ()
        try:
            points = sorted((_number(k, "ratio"), _number(v, "voltage")) for k, v in table.items())
        except UnitError as error:
            self.fault("rest_voltages", str(error), right)
            return ()
        rising = all(a[0] < b[0] and a[1] < b[1] for a, b in zip(points, points[1:]))
        if not rising or not 0.03 <= points[0][0] or not points[-1][0] <= 0.97:
            self.fault("rest_voltages", "must rise with the state of charge, between 3 and 97 %",
                       right)
            return ()
        if not _spread(z for z, _ in points):
            self.fault("rest_voltages", f"lie at {points[0][0]:.0%} to {points[-1][0]:.0%} charge, "
                       "too near together to say how the curve runs",
                       f"measure over at least {LEAST_SPAN:.0%} of the charge, three of them "
                       f"{LEAST_APART:.0%} apart: 20 %, 50 % and 80 %")
            return ()
        origin = self.origin_of("rest_voltages")
        basis = self.basis_of("rest_voltages")
        return tuple(RestVoltage(leaf("state of charge of a rest voltage", "z", "%", z, basis,
                                      origin=origin),
                                 leaf("rest voltage of a cell", "E", "V", e, basis,
                                      origin=origin)) for z, e in points)


def _spread(charges: Iterable[float]) -> bool:
    """Whether rest voltages are far enough apart to hold a curve (our rule)."""
    kept: list[float] = []
    for charge in charges:
        if not kept or charge >= kept[-1] + LEAST_APART - 1e-9:
            kept.append(charge)
        last = charge
    return len(kept) >= 3 and last - kept[0] >= LEAST_SPAN - 1e-9


def _number(value: Any, dimension: str) -> float:
    if dimension == "count":
        if not isinstance(value, int) or isinstance(value, bool):
            raise UnitError(f"{value!r:.40} is not a whole number; write it like 12")
        return float(min(value, 10 ** 9))
    return units.to_si(value, dimension)


def _implausible(key: str, spec: Key, value: float) -> str:
    shown = units.show(value, spec.unit)
    if spec.dimension == "count":
        return f"{value:.0f} is not a number of {spec.title}"
    return f"{shown} is not plausible as {spec.title}"


def _hint(key: str, spec: Key) -> str:
    ends = (f"{spec.least:g} to {spec.most:g}" if spec.dimension == "count" else
            f"{units.show(spec.least, spec.unit)} to {units.show(spec.most, spec.unit)}")
    more = {"capacity": "; did you mean Ah?", "full_voltage": "; it is counted per cell",
            "empty_voltage": "; it is counted per cell", "resistance": "; it is counted per module",
            "resistance_1khz": "; it is counted per module"}.get(key, "")
    return f"expected {ends}{more}"


def module_from_entries(entries: Mapping[str, Any], origin_of: Callable[[str], Origin],
                        own: Collection[str] = ()) -> ModuleType:
    """Build a module type from entries; what is not given comes from its class, as assumed.

    Args:
        entries: key to text with unit, whole number or table; "unknown" counts as not given.
        origin_of: where an entry of that key stands.
        own: keys that the user gave over a record's own; their basis is `given`.

    Returns:
        ModuleType with every figure as a finding.

    Raises:
        InputErrors: every fault found.
    """
    reader = _Reader(entries, origin_of, own)
    reader.words()
    reader.label()
    cell = reader.cell()
    given = {key: reader.figure(key) for key in FIGURES}
    rest = reader.rest_voltages()
    if cell is None or any(given[k] is None for k in ("cells_in_series", "capacity")):
        reader.leave_if_faulty()
    _check_voltages(reader, cell, given, rest)
    _check_currents(reader, given)
    reader.leave_if_faulty()
    module = _build(reader, cell, given, rest)
    _check_built(reader, module, given)
    reader.leave_if_faulty()
    return module


def module_from_label(text: str, origin: Origin) -> ModuleType:
    """Build a module type from its label alone, e.g. "12s 160 Ah NMC".

    Raises:
        InputErrors: the text is no label, or no plausible module.
    """
    return module_from_entries({"label": text}, lambda key: origin)


def _check_voltages(reader: _Reader, cell: CellClass, given: dict,
                    rest: tuple[RestVoltage, ...]) -> None:
    full, empty = given["full_voltage"], given["empty_voltage"]
    top = full.number if full else cell.full_voltage
    bottom = empty.number if empty else cell.empty_voltage
    bands = {"full_voltage": (full, cell.nominal_voltage, cell.full_voltage + 0.20),
             "empty_voltage": (empty, cell.absolute_min_voltage, cell.nominal_voltage),
             "nominal_voltage": (given["nominal_voltage"], bottom, top)}
    for key, (figure, least, most) in bands.items():
        if figure and not least <= figure.number <= most:
            reader.fault(key, f"{figure.shown} per cell does not fit {cell.chemistry}",
                         f"expected {least:.2f} V to {most:.2f} V per cell")
    for point in rest:
        if not bottom <= point.voltage.number <= top:
            reader.fault("rest_voltages", f"{point.voltage.shown} lies outside the cell's own "
                         f"limits {bottom:.3f} V to {top:.3f} V", "measure one cell at rest")


def _check_currents(reader: _Reader, given: dict) -> None:
    steady, peak = given["continuous_current"], given["peak_current"]
    if steady and peak and peak.number < steady.number:
        reader.fault("peak_current", f"{peak.shown} is below the continuous current "
                     f"{steady.shown}", "the peak is the larger of the two")
    fast, slow = given["resistance_1khz"], given["resistance"]
    if fast and slow and fast.number > slow.number:
        reader.fault("resistance_1khz", f"{fast.shown} is above the pulse resistance "
                     f"{slow.shown}", "a 1 kHz reading is the smaller of the two")
    if fast and _cold(given):
        reader.fault("resistance_1khz", f"was read at {given['resistance_temperature'].shown}, "
                     f"where it is higher than in a warm fault", "read it at 20 °C or warmer, or "
                     "leave it out")


def _build(reader: _Reader, cell: CellClass, given: dict,
           rest: tuple[RestVoltage, ...]) -> ModuleType:
    def own(key: str) -> Finding:
        spec = FIGURES[key]
        return given[key] or leaf(spec.title, spec.symbol, spec.unit, None, "given",
                                  note="not given")

    def own_or_class(key: str) -> Finding:
        spec = FIGURES[key]
        return given[key] or cell.figure(key, spec.title, spec.symbol, spec.unit)

    series, capacity = given["cells_in_series"], given["capacity"]
    nominal = own_or_class("nominal_voltage")
    high, low, initial = _resistances(cell, given)
    high = high.called("module resistance at 10 s, 25 °C, 50 %, high side for sag", "R10")
    low = low.called("module resistance at 10 s, 25 °C, 50 %, low side for the peak fault", "R10")
    name = reader.entries.get("id") or _slug(reader.entries.get("label") or
                                             f"{cell.chemistry} {series.number:.0f}s "
                                             f"{capacity.shown}")
    return ModuleType(
        id=name, title=reader.entries.get("title") or reader.entries.get("label") or name,
        cell=cell, cells_in_series=series, cells_in_parallel=own("cells_in_parallel"),
        capacity=capacity, full_voltage=own_or_class("full_voltage"),
        empty_voltage=own_or_class("empty_voltage"), nominal_voltage=nominal,
        resistance_high=high, resistance_low=low, resistance_initial=initial,
        mass=given["mass"] or _mass(cell, series, nominal, capacity),
        length=own("length"), width=own("width"), height=own("height"),
        continuous_current=own("continuous_current"), peak_current=own("peak_current"),
        charge_rate=own_or_class("charge_rate"),
        temperature_min=own_or_class("temperature_min"),
        temperature_max=own_or_class("temperature_max"), rest_voltages=rest,
        note=reader.entries.get("note", ""))


def _slug(words: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")[:60]


def _mass(cell: CellClass, series: Finding, nominal: Finding, capacity: Finding) -> Finding:
    energy = trace(formulas.module_energy, cells_in_series=series, nominal_voltage=nominal,
                   capacity=capacity)
    density = cell.figure("energy_per_mass", "energy per mass of a module", "e", "Wh/kg")
    return trace(formulas.module_mass, energy=energy, energy_per_mass=density)


def _resistances(cell: CellClass, given: dict) -> tuple[Finding, Finding, Finding]:
    """Reference resistance for sag, for the peak fault, and the initial one as measured."""
    initials = [given["resistance_1khz"]]
    pulse = given["resistance_pulse"]
    if given["resistance"] and pulse and pulse.number <= INITIAL_PULSE and not _cold(given):
        initials.append(given["resistance"])
    initials = [f for f in initials if f]
    initial = (smallest(initials, "resistance of a module in the first millisecond") if initials
               else leaf("resistance of a module in the first millisecond", "R_m", "mΩ", None,
                         "given", note="not given"))
    if given["resistance"]:
        return (_referred(cell, given, "low"), _referred(cell, given, "high"), initial)
    if initials:
        first = dict(given, resistance=initials[0],
                     resistance_pulse=leaf("pulse length of a 1 kHz reading", "t", "s", 1e-3,
                                           "assumed", source="packcalc-rule"))
        return (_referred(cell, first, "low"), _referred(cell, first, "high"), initial)
    return (_from_window(cell, given, "drop_high"), _from_window(cell, given, "drop_low"), initial)


def _cold(given: dict) -> bool:
    """Whether a reading was taken too cold to stand for the first millisecond at 25 °C."""
    at = given["resistance_temperature"]
    return bool(at) and at.number < WARM_ENOUGH - 1e-9


def _from_window(cell: CellClass, given: dict, name: str) -> Finding:
    side = {"drop_high": "largest", "drop_low": "smallest"}[name]
    drop = cell.figure(name, f"{side} drop of a cell at 1 C after 10 s", "w", "V")
    return trace(formulas.resistance_from_window, drop=drop, capacity=given["capacity"],
                 cells_in_series=given["cells_in_series"])


# Where the condition of a test is not known: (value for sag, value for the peak fault).
_UNSAID = {"resistance_pulse": (1e-3, 30.0), "resistance_temperature": (303.15, 293.15),
           "resistance_charge": (0.5, 0.5)}
_REFERENCE = {"resistance_pulse": cells.REFERENCE_PULSE,
              "resistance_temperature": cells.REFERENCE_TEMPERATURE,
              "resistance_charge": cells.REFERENCE_CHARGE}


def _referred(cell: CellClass, given: dict, ratio: str) -> Finding:
    """A measured resistance at the reference condition; low ratios give the sag side."""
    at: dict[str, Finding] = {}
    for key, (for_sag, for_fault) in _UNSAID.items():
        spec = FIGURES[key]
        at[key] = given[key] or leaf(spec.title, spec.symbol, spec.unit,
                                     for_sag if ratio == "low" else for_fault, "assumed",
                                     source="packcalc-rule", note="not given; the far side of a "
                                     "usual bench test counts, our assumption")
    if all(abs(at[key].number - value) < 1e-9 for key, value in _REFERENCE.items()):
        return given["resistance"]
    cold = cell.temperature
    if ratio == "high" and at["resistance_charge"].number <= cells.LOW_CHARGE:
        cold = cell.temperature_low_charge
    return trace(formulas.reference_resistance, resistance=given["resistance"],
                 temperature_ratio=cold.traced(at["resistance_temperature"], ratio),
                 charge_ratio=cell.charge.traced(at["resistance_charge"], ratio),
                 pulse_ratio=cell.pulse.traced(at["resistance_pulse"], ratio))


def _check_built(reader: _Reader, module: ModuleType, given: dict) -> None:
    """Plausibility of figures against one another."""
    series, capacity = module.series, module.capacity.number
    key = "resistance" if given["resistance"] else "resistance_1khz"
    if given[key]:
        drops = [f.number * capacity / 3600 / series
                 for f in (module.resistance_high, module.resistance_low)]
        if drops[0] < DROP_LEAST or drops[1] > DROP_MOST:
            reader.fault(key, f"{given[key].shown} makes {drops[0]:.3g} V per cell at 1 C and "
                         f"25 °C, which no lithium cell does ({DROP_LEAST:g} V to "
                         f"{DROP_MOST:g} V)", "give the resistance of the whole module")
    if given["mass"]:
        density = module.energy.number / 3600 / module.mass.number
        if not 15 <= density <= 350:
            reader.fault("mass", f"{module.mass.shown} for {module.energy.shown} is "
                         f"{density:.3g} Wh/kg", "expected 15 to 350 Wh/kg for a module")
    if module.needs_bench:
        return
    try:
        curves = (*module.low_curves, *module.high_curves)
    except UserError as error:
        reader.fault("full_voltage" if given["full_voltage"] else "empty_voltage", str(error))
        return
    if module.rest_voltages and not module.cell.needs_bench:
        _check_rest(reader, module)
    assert curves


def _check_rest(reader: _Reader, module: ModuleType) -> None:
    """Rest voltages far from every curve of the class point to another chemistry."""
    empty, full = module.empty_voltage.number, module.full_voltage.number
    curves = [cells.anchor(c, empty, full) for c in module.cell.curves]
    for point in module.rest_voltages:
        known = [float(c.voltage(point.soc.number)) for c in curves]
        far = max(min(known) - point.voltage.number, point.voltage.number - max(known))
        if far > REST_FAR:
            reader.fault("rest_voltages", f"{point.voltage.shown} at {point.soc.shown} is "
                         f"{1000 * far:.0f} mV off every {module.chemistry} curve",
                         f"expected {min(known):.3f} V to {max(known):.3f} V; is the chemistry "
                         f"right?")
