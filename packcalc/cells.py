"""Cell classes: open-circuit voltage, resistance and charge limits of a chemistry.

A class says what is known of a chemistry, not of the cell in hand: it is a default and
every figure taken from it is listed as assumed. Curves and ratios come from published
measurements and models; `cell_formulas` holds the arithmetic.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from packcalc.cell_formulas import (
    anchored_soc,
    curve_charge,
    curve_voltage,
    highest_rest_voltage,
    lowest_rest_voltage,
    ratio_between_charges,
    ratio_between_pulses,
    ratio_between_temperatures,
)
from packcalc.errors import OutOfRange, ProgramFault
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.value import value_object, worked_once

REFERENCE_TEMPERATURE = 298.15
REFERENCE_CHARGE = 0.50
REFERENCE_PULSE = 10.0
LOW_CHARGE = 0.30
# A curve may end this far short of a module's own limit; its end row is then replaced.
STRETCH_TOP, STRETCH_BOTTOM = 0.13, 0.75


# --- value objects --------------------------------------------------------------------

@value_object
class OcvCurve:
    """One open-circuit curve of one cell.

    Attributes:
        key, title: its name.
        soc: state of charge, rising, 0 to 1 between the ends of this curve.
        volt: rest voltage [V], rising.
        source: key of the register of sources.
        note: how it was got, what its ends mean.
        basis: one of the bases of a finding.
    """

    key: str
    title: str
    soc: tuple[float, ...]
    volt: tuple[float, ...]
    source: str
    note: str
    basis: str

    def __post_init__(self) -> None:
        rising = all(a < b for row in (self.soc, self.volt) for a, b in zip(row, row[1:]))
        if len(self.soc) != len(self.volt) or len(self.soc) < 2 or not rising:
            raise ProgramFault(f"curve {self.key} does not rise")

    def row(self, index: int) -> tuple[Finding, Finding]:
        """State of charge and voltage of one row, as leaves."""
        place = Origin(f"curve {self.key}", key="soc", text=f"{100 * self.soc[index]:g} %")
        return (leaf("state of charge of the row", "x", "%", self.soc[index], self.basis,
                     source=self.source, origin=place),
                leaf("open-circuit voltage of the row", "E", "V", self.volt[index], self.basis,
                     source=self.source, origin=place, note=self.note))


@value_object
class Law:
    """Ratios of resistance along one axis, each with a published band.

    Attributes:
        name: "temperature", "charge" or "pulse".
        at: rows along the axis, SI, rising.
        low, high: smallest and largest ratio at each row.
        source, basis, note: where they come from.
        lowest, highest: range in which the law answers; between its outermost row and
            that limit the outermost ratio is held.
    """

    name: str
    at: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    source: str
    basis: str
    note: str
    lowest: float
    highest: float

    def __post_init__(self) -> None:
        if not len(self.at) == len(self.low) == len(self.high) or \
                any(a >= b for a, b in zip(self.at, self.at[1:])) or \
                any(a > b for a, b in zip(self.low, self.high)):
            raise ProgramFault(f"{self.name} law is out of order")

    def ratio(self, value: Any, side: str = "high") -> Any:
        """Ratio at `value` on the "low" or "high" side.

        Raises:
            OutOfRange: outside the law; never extrapolated.
        """
        self.demand(value)
        rows = np.log(self.at) if self.name == "pulse" else np.asarray(self.at)
        where = np.log(value) if self.name == "pulse" else value
        return np.interp(where, rows, getattr(self, side))

    def demand(self, value: Any) -> None:
        """Refuse what lies outside the law."""
        low, high = np.min(value), np.max(value)
        if not (low >= self.lowest - 1e-9 and high <= self.highest + 1e-9):
            raise OutOfRange(_outside(self, float(low), float(high)))

    def traced(self, at: Finding, side: str = "high") -> Finding:
        """The ratio as a finding with the two rows it lies between."""
        self.demand(at.number)
        rows = getattr(self, side)
        if not self.at[0] <= at.number <= self.at[-1]:
            index = 0 if at.number < self.at[0] else len(self.at) - 1
            return self._leaf(index, rows[index], f"held at the outermost row for {at.shown}; "
                              f"{self.note}")
        above = max(1, int(np.searchsorted(self.at, at.number, side="left")))
        below = above - 1
        words = _WORDS[self.name]
        axis, ratios = self._axes, self._ratios[side]
        return trace(words.function, note=self.note, **{
            words.axis: at,
            f"{words.axis}_below": axis[below], "ratio_below": ratios[below],
            f"{words.axis}_above": axis[above], "ratio_above": ratios[above]})

    @worked_once
    def _axes(self) -> tuple[Finding, ...]:
        return tuple(self._axis(index) for index in range(len(self.at)))

    @worked_once
    def _ratios(self) -> dict[str, tuple[Finding, ...]]:
        return {side: tuple(self._leaf(index, value) for index, value in enumerate(rows))
                for side, rows in (("low", self.low), ("high", self.high))}

    def _axis(self, index: int) -> Finding:
        words = _WORDS[self.name]
        return leaf(f"{self.name} of the row", words.symbol, words.unit, self.at[index],
                    "definition", origin=Origin(f"{self.name} law"))

    def _leaf(self, index: int, value: float, note: str = "") -> Finding:
        row = self._axis(index).shown
        return leaf(f"resistance ratio at {row}", _WORDS[self.name].ratio, "", value, self.basis,
                    source=self.source, note=note or self.note,
                    origin=Origin(f"{self.name} law", text=row))


@value_object
class _Words:
    axis: str
    symbol: str
    unit: str
    ratio: str
    function: Any
    ask: str


_WORDS = {
    "temperature": _Words("temperature", "T", "°C", "k_T", ratio_between_temperatures,
                          "give a resistance measured at that temperature, or a warmer start"),
    "charge": _Words("charge", "z", "%", "k_z", ratio_between_charges,
                     "raise the lower limit of charge"),
    "pulse": _Words("pulse", "t", "s", "k_t", ratio_between_pulses,
                    "shorten the peak to what the law covers"),
}


def _outside(law: Law, low: float, high: float) -> str:
    words = _WORDS[law.name]
    shown = [leaf("", "", words.unit, v, "given").shown
             for v in (low if low < law.lowest else high, law.lowest, law.highest)]
    return (f"no published cell resistance for {law.name} {shown[0]} "
            f"(known: {shown[1]} to {shown[2]}); {words.ask}")


@value_object
class ChargeBand:
    """A band of cell temperature with the rate allowed in it.

    Attributes:
        above, up_to: band [K].
        rate: largest rate in capacities per hour, or None for the data-sheet rate.
    """

    above: float
    up_to: float
    rate: float | None


@value_object
class CellClass:
    """What is known of a chemistry.

    Attributes:
        chemistry, title: its name.
        nominal_voltage, full_voltage, empty_voltage, absolute_min_voltage: per cell [V].
        rest_window: lowest and highest rest voltage, where they differ from the limits [V].
        curves: published open-circuit curves; empty where a bench measurement is demanded.
        hysteresis_half_gap: half the gap between charge and discharge curves [V].
        temperature, temperature_low_charge, charge, pulse: laws of resistance.
        drop_low, drop_high: drop per cell at 1 C after 10 s, 25 °C, 50 % [V].
        initial_ratio, hot_ratio: first millisecond to 10 s; hot to 25 °C.
        growth_slope: growth of resistance per lost share of capacity.
        health_min: lowest state of health the slope was read at.
        charge_bands: temperature bands; nothing is allowed outside them.
        charge_rate: data-sheet rate assumed where none is given [1/h].
        energy_per_mass: of a whole module, smallest of the class [J/kg].
        temperature_min, temperature_max: window for discharge [K].
        needs_bench: no curve may be used without rest voltages of the user's own.
        source, note: where the windows come from.
        notes: per quantity, where it comes from; keys are field names.
    """

    chemistry: str
    title: str
    nominal_voltage: float
    full_voltage: float
    empty_voltage: float
    absolute_min_voltage: float
    rest_window: tuple[float, float]
    curves: tuple[OcvCurve, ...]
    hysteresis_half_gap: float
    temperature: Law
    temperature_low_charge: Law
    charge: Law
    pulse: Law
    drop_low: float
    drop_high: float
    initial_ratio: float
    hot_ratio: float
    growth_slope: float
    health_min: float
    charge_bands: tuple[ChargeBand, ...]
    charge_rate: float
    energy_per_mass: float
    temperature_min: float
    temperature_max: float
    needs_bench: bool
    source: str
    note: str
    notes: tuple[tuple[str, str, str], ...] = ()

    def figure(self, name: str, title: str, symbol: str, unit: str) -> Finding:
        """One figure of the class as an assumed leaf with its source."""
        source, note = next(((s, n) for key, s, n in self.notes if key == name),
                            (self.source, self.note))
        return leaf(title, symbol, unit, getattr(self, name), "assumed", source=source,
                    note=note, origin=Origin(f"class {self.chemistry}", key=name))


def resistance_temperature_factor(cell: CellClass, temperature: Any, soc: Any) -> Any:
    """Largest published ratio to 25 °C; a stricter law rules at and below 30 % charge.

    Raises:
        OutOfRange: colder than −20 °C or hotter than 60 °C.
    """
    low_charge = np.asarray(soc) <= LOW_CHARGE + 1e-12
    return np.where(low_charge, cell.temperature_low_charge.ratio(temperature),
                    cell.temperature.ratio(temperature))[()]


def resistance_charge_factor(cell: CellClass, soc: Any) -> Any:
    """Largest published ratio to 50 % charge; below the lowest published row it is assumed."""
    return cell.charge.ratio(soc)


def pulse_factor(cell: CellClass, pulse: Any) -> Any:
    """Largest published ratio to 10 s; refuses pulses longer than 60 s."""
    return cell.pulse.ratio(pulse)


def charge_limit_rate(cell: CellClass, temperature: Any, rate: Any) -> Any:
    """Largest charging rate in capacities per hour at a cell temperature.

    On the border of two bands the stricter one rules; outside all bands nothing is allowed.

    Args:
        cell: the class.
        temperature: of the cell [K].
        rate: data-sheet rate [1/h].
    """
    temperature = np.asarray(temperature, dtype=float)
    allowed = np.zeros(np.broadcast(temperature, rate).shape)
    for band in cell.charge_bands:
        inside = (temperature > band.above) & (temperature < band.up_to)
        limit = rate if band.rate is None else np.minimum(band.rate, rate)
        allowed = np.where(inside, limit, allowed)
    for left, right in zip(cell.charge_bands, cell.charge_bands[1:]):
        border = temperature == left.up_to
        limits = [rate if b.rate is None else np.minimum(b.rate, rate) for b in (left, right)]
        allowed = np.where(border, np.minimum(*limits), allowed)
    return allowed[()]


# --- curves on a module's own axis ----------------------------------------------------

@value_object
class AnchoredCurve:
    """A curve between a module's own empty and full voltages.

    Attributes:
        curve: as published.
        empty, full: the module's limits per cell [V].
        curve_empty, curve_full: where they lie on the curve's axis.
        charge, volt: rows on the curve's axis, ends replaced by the module's limits.
    """

    curve: OcvCurve
    empty: float
    full: float
    curve_empty: float
    curve_full: float
    charge: tuple[float, ...]
    volt: tuple[float, ...]

    def voltage(self, soc: Any) -> Any:
        """Rest voltage of a cell at the module's own state of charge (bare)."""
        return np.interp(anchored_soc(soc, self.curve_empty, self.curve_full), *self._rows)

    @worked_once
    def _rows(self) -> tuple[np.ndarray, np.ndarray]:
        return np.array(self.charge), np.array(self.volt)

    @worked_once
    def slopes(self) -> tuple[np.ndarray, np.ndarray]:
        """Rest voltages along the curve [V], and there its slopes [V for 1 % of charge]."""
        soc = np.linspace(0.03, 0.97, 189)
        return self.voltage(soc), (self.voltage(soc + 0.025) - self.voltage(soc - 0.025)) / 5.0

    def traced(self, soc: Finding, empty: Finding, full: Finding) -> Finding:
        """The same as a finding with its rows."""
        ends = {self.charge[0]: self._end(empty, 0), self.charge[-1]: self._end(full, -1)}
        where = trace(anchored_soc, state_of_charge=soc, curve_empty=ends[self.charge[0]],
                      curve_full=ends[self.charge[-1]])
        above = int(np.clip(np.searchsorted(self.charge, where.number), 1, len(self.charge) - 1))
        rows = [self._row(i, ends, empty, full) for i in (above - 1, above)]
        return trace(curve_voltage, note=f"curve: {self.curve.title}", charge=where,
                     charge_below=rows[0][0], voltage_below=rows[0][1],
                     charge_above=rows[1][0], voltage_above=rows[1][1])

    def _row(self, index: int, ends: dict, empty: Finding, full: Finding) -> tuple:
        if index == 0:
            return ends[self.charge[0]], empty
        if index == len(self.charge) - 1:
            return ends[self.charge[-1]], full
        return self.curve.row(self.curve.soc.index(self.charge[index]))

    def _end(self, limit: Finding, index: int) -> Finding:
        curve = self.curve
        title = f"where the curve meets {limit.title}"
        if not curve.volt[0] <= limit.number <= curve.volt[-1]:
            return leaf(title, "x", "%", curve.soc[index], curve.basis, source=curve.source,
                        note="the curve ends before it; its end row is replaced")
        above = int(np.clip(np.searchsorted(curve.volt, limit.number), 1, len(curve.volt) - 1))
        (x1, e1), (x2, e2) = curve.row(above - 1), curve.row(above)
        return trace(curve_charge, title, voltage=limit, voltage_below=e1, charge_below=x1,
                     voltage_above=e2, charge_above=x2)


def covers(curve: OcvCurve, empty: float, full: float) -> bool:
    """Whether a curve reaches a cell's limits, or ends so near that its end row may move."""
    return (full <= curve.volt[-1] + STRETCH_TOP and empty >= curve.volt[0] - STRETCH_BOTTOM
            and empty < curve.volt[-2] and full > curve.volt[1])


def anchor(curve: OcvCurve, empty: float, full: float) -> AnchoredCurve:
    """Anchor a curve to a module's empty and full voltages per cell.

    Where the curve ends before a limit, its end row is moved there; ask `covers` first.
    """
    start, end = np.interp((empty, full), curve.volt, curve.soc)
    inner = [(x, v) for x, v in zip(curve.soc, curve.volt)
             if start < x < end and empty < v < full]
    rows = [(float(start), empty), *inner, (float(end), full)]
    return AnchoredCurve(curve, empty, full, float(start), float(end),
                         tuple(x for x, _ in rows), tuple(v for _, v in rows))


def demand_charge(soc: Any) -> None:
    """Refuse a state of charge outside 0 to 100 %."""
    low, high = float(np.min(soc)), float(np.max(soc))
    if not (low >= -1e-9 and high <= 1 + 1e-9):
        raise OutOfRange(f"state of charge {100 * (low if low < 0 else high):.4g} % is outside "
                         f"0 to 100 %")


def lowest_ocv(curves: tuple[AnchoredCurve, ...], half_gap: float, soc: Any) -> Any:
    """Lowest rest voltage per cell over the curves of a class (sag side)."""
    demand_charge(soc)
    lowest = np.minimum.reduce([c.voltage(soc) for c in curves])
    return lowest_rest_voltage(lowest, half_gap, curves[0].empty)


def highest_ocv(curves: tuple[AnchoredCurve, ...], half_gap: float, soc: Any) -> Any:
    """Highest rest voltage per cell over the curves of a class (voltage side)."""
    demand_charge(soc)
    highest = np.maximum.reduce([c.voltage(soc) for c in curves])
    return highest_rest_voltage(highest, half_gap, curves[0].full)
