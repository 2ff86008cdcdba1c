"""Module types: what comes out of a donor in one piece, with every figure as a finding.

A module type is built from a record, a brief or a label; what was filled in from its
cell class is marked `assumed`. Functions come in pairs: bare ones on SI floats or numpy
arrays for screening, and `traced_` twins that keep the chain.
"""

from __future__ import annotations

import re
from dataclasses import fields
from typing import Any

import numpy as np

from packcalc import cell_formulas as formulas
from packcalc import cells
from packcalc.cells import AnchoredCurve, CellClass, OcvCurve
from packcalc.errors import OutOfRange, UserError
from packcalc.findings import Finding, leaf, trace
from packcalc.units import odd_character
from packcalc.value import value_object, worked_once

CELLS_MOST = 100
CAPACITY_LEAST, CAPACITY_MOST = 1.0 * 3600, 2000.0 * 3600
DROP_LEAST, DROP_MOST = 0.01, 0.3
INITIAL_PULSE = 0.010
CHARGES = np.linspace(0.0, 1.0, 2001)  # where rest voltages are looked up
REST_FAR = 0.15


@value_object
class RestVoltage:
    """A rest voltage the user measured: state of charge, and voltage of one cell [V]."""

    soc: Finding
    voltage: Finding


@value_object
class ModuleType:
    """One type of module.

    Attributes:
        id, title: its name.
        cell: its cell class.
        cells_in_series, cells_in_parallel: counts; the second may lack a value.
        capacity, full_voltage, empty_voltage, nominal_voltage: voltages per cell.
        resistance_high, resistance_low: of the module at 10 s, 25 °C, 50 % charge; the
            high one for sag and heat, the low one for the highest fault current.
        resistance_initial: as measured at 1 kHz or in the first millisecond; may lack a value.
        mass: of one module.
        length, width, height, continuous_current, peak_current: may lack a value.
        charge_rate: data-sheet rate in capacities per hour.
        temperature_min, temperature_max: window for discharge.
        rest_voltages: the user's own, rising; may be empty.
        note: provenance, in words.
    """

    id: str
    title: str
    cell: CellClass
    cells_in_series: Finding
    cells_in_parallel: Finding
    capacity: Finding
    full_voltage: Finding
    empty_voltage: Finding
    nominal_voltage: Finding
    resistance_high: Finding
    resistance_low: Finding
    resistance_initial: Finding
    mass: Finding
    length: Finding
    width: Finding
    height: Finding
    continuous_current: Finding
    peak_current: Finding
    charge_rate: Finding
    temperature_min: Finding
    temperature_max: Finding
    rest_voltages: tuple[RestVoltage, ...] = ()
    note: str = ""

    @property
    def chemistry(self) -> str:
        return self.cell.chemistry

    @property
    def series(self) -> int:
        """Cells in series as a whole number."""
        return int(self.cells_in_series.number)

    @property
    def parallel(self) -> int | None:
        """Cells in parallel as a whole number; None where nobody said."""
        count = self.cells_in_parallel.value
        return None if count is None else int(count)

    @property
    def needs_bench(self) -> bool:
        """Whether no rest voltage may be stated before the user measures some."""
        return self.cell.needs_bench and not self.rest_voltages

    @property
    def resistance_of_class(self) -> bool:
        """Whether nobody measured the resistance: what is published of the class counts."""
        rule = self.resistance_high.formula
        return rule is not None and rule.name == formulas.resistance_from_window.__name__

    @worked_once
    def figures(self) -> tuple[Finding, ...]:
        """Every figure, in the order of the fields."""
        own = (getattr(self, f.name) for f in fields(self))
        return tuple(value for value in own if isinstance(value, Finding))

    @worked_once
    def assumptions(self) -> tuple[Finding, ...]:
        """Every assumed leaf under the figures, each once."""
        leaves = (leaf for figure in self.figures for leaf in figure.leaves())
        found = {(leaf.title, leaf.value): leaf for leaf in leaves
                 if leaf.basis == "assumed" and leaf.known}
        return tuple(found.values())

    @worked_once
    def energy(self) -> Finding:
        """Nominal energy."""
        return trace(formulas.module_energy, cells_in_series=self.cells_in_series,
                     nominal_voltage=self.nominal_voltage, capacity=self.capacity)

    @worked_once
    def low_curves(self) -> tuple[AnchoredCurve, ...]:
        """Anchored curves for the lowest rest voltage."""
        return self._anchored("low")

    @worked_once
    def high_curves(self) -> tuple[AnchoredCurve, ...]:
        """Anchored curves for the highest rest voltage."""
        return self._anchored("high")

    @worked_once
    def rest_band(self) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest rest voltage of the module at each of `CHARGES` [V]."""
        return ocv_low(self, CHARGES), ocv_high(self, CHARGES)

    @worked_once
    def charge_rows(self) -> np.ndarray:
        """Charges between which the highest rest voltage and the resistance both run straight.

        The rows of every curve, and where it meets the full voltage with its half gap; the rows
        of the law; low charge, and a hair more, where the milder law of temperature begins.
        """
        below_full = self.full_voltage.number - self.cell.hysteresis_half_gap
        rows = [cells.LOW_CHARGE, cells.LOW_CHARGE + 1e-9, *self.cell.charge.at]
        for c in self.high_curves:
            at = np.array([*c.charge, np.interp(below_full, c.volt, c.charge)])
            rows.extend((at - c.curve_empty) / (c.curve_full - c.curve_empty))
        return np.unique(np.clip(rows, 0.0, 1.0))

    @property
    def half_gap(self) -> Finding:
        """Half the gap between the charge and discharge curves of the class."""
        return self.cell.figure("hysteresis_half_gap", "half gap of hysteresis", "h", "V")

    def _anchored(self, side: str) -> tuple[AnchoredCurve, ...]:
        if self.needs_bench:
            raise UserError(f"{self.id}: no open-circuit curve may be assumed for "
                            f"{self.chemistry}; give rest_voltages at three states of charge")
        empty, full = self.empty_voltage.number, self.full_voltage.number
        if not self.rest_voltages:
            return tuple(cells.anchor(c, empty, full) for c in self._covering(empty, full))
        if self.cell.needs_bench:
            return (_whole(_straight(self, side), empty, full),)
        return tuple(_whole(_shifted(self, cells.anchor(c, empty, full)), empty, full)
                     for c in self.cell.curves)

    def _covering(self, empty: float, full: float) -> list[OcvCurve]:
        """The published curves that reach the module's own limits."""
        found = [c for c in self.cell.curves if cells.covers(c, empty, full)]
        if not found:
            raise OutOfRange(f"{self.id}: no published {self.chemistry} curve reaches from "
                             f"{empty:.3f} V to {full:.3f} V per cell; give rest_voltages at "
                             f"three states of charge")
        return found


def _whole(curve: OcvCurve, empty: float, full: float) -> AnchoredCurve:
    """A curve that already runs on the module's own axis."""
    return AnchoredCurve(curve, empty, full, 0.0, 1.0, curve.soc, curve.volt)


def _straight(module: ModuleType, side: str) -> OcvCurve:
    """Straight segments through the user's rest voltages; the ends are assumed.

    The low side ends in the lower of limit and rest window at full, the high side in the
    higher one at empty.
    """
    first, last = module.cell.rest_window
    empty, full = module.empty_voltage.number, module.full_voltage.number
    points = [(p.soc.number, p.voltage.number) for p in module.rest_voltages]
    ends = (empty, min(full, last)) if side == "low" else (max(empty, first), full)
    start = min(ends[0], points[0][1] - 1e-3)
    stop = max(ends[1], points[-1][1] + 1e-3)
    soc, volt = zip((0.0, start), *points, (1.0, stop))
    return OcvCurve("rest voltages", "straight lines between your rest voltages", soc, volt,
                    "packcalc-rule", "ends at 0 % and 100 % are assumed", "assumed")


def _shifted(module: ModuleType, anchored: AnchoredCurve) -> OcvCurve:
    """A class curve moved through the user's rest voltages; offsets held outside them."""
    at = np.array([p.soc.number for p in module.rest_voltages])
    own = np.array([p.voltage.number for p in module.rest_voltages])
    span = anchored.curve_full - anchored.curve_empty
    rows = (np.array(anchored.charge) - anchored.curve_empty) / span
    soc = np.union1d(np.clip(rows, 0, 1), at)
    volt = anchored.voltage(soc) + np.interp(soc, at, own - anchored.voltage(at))
    volt[0], volt[-1] = anchored.empty, anchored.full
    ramp = np.arange(len(soc)) * 1e-9  # a nanovolt a row keeps rows rising where limits cut in
    volt = np.clip(volt, anchored.empty + ramp, anchored.full - ramp[::-1])
    volt = np.maximum.accumulate(volt - ramp) + ramp
    return OcvCurve(f"{anchored.curve.key}, moved", f"{anchored.curve.title}, moved through "
                    f"your rest voltages", tuple(map(float, soc)), tuple(map(float, volt)),
                    anchored.curve.source, "offset straight between your points and held "
                    "outside them (assumed)", "assumed")


# --- bare functions for screening -----------------------------------------------------

def ocv_low(module: ModuleType, soc: Any) -> Any:
    """Lowest open-circuit voltage of the module [V] over the published curves (sag side)."""
    gap = module.cell.hysteresis_half_gap
    return module.series * cells.lowest_ocv(module.low_curves, gap, soc)


def ocv_high(module: ModuleType, soc: Any) -> Any:
    """Highest open-circuit voltage of the module [V] over the published curves."""
    gap = module.cell.hysteresis_half_gap
    return module.series * cells.highest_ocv(module.high_curves, gap, soc)


def resistance(module: ModuleType, temperature: Any, soc: Any, pulse: Any, growth: Any) -> Any:
    """Resistance of the module [Ω] on the sag side.

    Args:
        module: the module type.
        temperature: of the cells [K], −20 to 60 °C.
        soc: state of charge at the end of the pulse, 0 to 1.
        pulse: length of the pulse [s], 1 ms to 60 s.
        growth: growth with age, 1 for new.

    Raises:
        OutOfRange: outside what was published for the class.
    """
    cell = module.cell
    return formulas.resistance_under_load(
        module.resistance_high.number,
        cells.resistance_temperature_factor(cell, temperature, soc),
        cells.resistance_charge_factor(cell, soc), cells.pulse_factor(cell, pulse), growth)


def resistance_initial(module: ModuleType) -> float:
    """Resistance of the module in the first millisecond of a fault [Ω]: new, hot, lowest."""
    return traced_resistance_initial(module).number


def charge_current_limit(module: ModuleType, temperature: Any) -> Any:
    """Largest charging current of the module [A] at a cell temperature [K]."""
    rate = cells.charge_limit_rate(module.cell, temperature, module.charge_rate.number)
    return formulas.current_at_rate(rate, module.capacity.number)


def continuous_current_limit(module: ModuleType) -> float | None:
    """Continuous discharge current [A], or None where nobody gave it."""
    return module.continuous_current.value


def peak_current_limit(module: ModuleType) -> float | None:
    """Peak discharge current [A], or None where nobody gave it."""
    return module.peak_current.value


def knows_growth(module: ModuleType, state_of_health: Finding) -> bool:
    """Whether the class's growth of resistance was read at so little capacity left."""
    return state_of_health.number >= module.cell.health_min - 1e-9


# --- traced twins ---------------------------------------------------------------------

def traced_ocv_low(module: ModuleType, soc: Finding) -> Finding:
    """Lowest open-circuit voltage of the module with its chain."""
    cells.demand_charge(soc.number)
    curve = min(module.low_curves, key=lambda c: float(c.voltage(soc.number)))
    lowest = trace(formulas.lowest_rest_voltage, half_gap=module.half_gap,
                   voltage=curve.traced(soc, module.empty_voltage, module.full_voltage),
                   empty_voltage=module.empty_voltage, note=_spread(module.low_curves, soc))
    return trace(formulas.module_voltage, "lowest open-circuit voltage of a module",
                 symbol="E_low,m", cells_in_series=module.cells_in_series, cell_voltage=lowest)


def traced_ocv_high(module: ModuleType, soc: Finding) -> Finding:
    """Highest open-circuit voltage of the module with its chain."""
    cells.demand_charge(soc.number)
    curve = max(module.high_curves, key=lambda c: float(c.voltage(soc.number)))
    highest = trace(formulas.highest_rest_voltage, half_gap=module.half_gap,
                    voltage=curve.traced(soc, module.empty_voltage, module.full_voltage),
                    full_voltage=module.full_voltage, note=_spread(module.high_curves, soc))
    return trace(formulas.module_voltage, "highest open-circuit voltage of a module",
                 symbol="E_high,m", cells_in_series=module.cells_in_series, cell_voltage=highest)


def _spread(curves: tuple[AnchoredCurve, ...], soc: Finding) -> str:
    ordered = sorted((float(c.voltage(soc.number)), c.curve.title) for c in curves)
    words = "; ".join(f"{title} {volt:.3f} V" for volt, title in ordered)
    return f"curves of the class: {words}" if len(ordered) > 1 else ""


def traced_resistance(module: ModuleType, temperature: Finding, soc: Finding, pulse: Finding,
                      growth: Finding) -> Finding:
    """Resistance of the module on the sag side with its chain."""
    cell = module.cell
    low_charge = soc.number <= cells.LOW_CHARGE + 1e-12
    law = cell.temperature_low_charge if low_charge else cell.temperature
    return trace(formulas.resistance_under_load, resistance=module.resistance_high,
                 temperature_ratio=law.traced(temperature), charge_ratio=cell.charge.traced(soc),
                 pulse_ratio=cell.pulse.traced(pulse), growth=growth)


def traced_resistance_initial(module: ModuleType) -> Finding:
    """Resistance of the first millisecond of a fault with its chain: new, hot, lowest."""
    cell = module.cell
    hot = cell.figure("hot_ratio", "hot cell to 25 °C, first millisecond", "b", "")
    if module.resistance_initial.known:
        return trace(formulas.initial_resistance_measured, hot_ratio=hot,
                     resistance=module.resistance_initial)
    ratio = cell.figure("initial_ratio", "first millisecond to 10 s", "a", "")
    return trace(formulas.initial_resistance, resistance=module.resistance_low,
                 initial_ratio=ratio, hot_ratio=hot)


def traced_charge_current_limit(module: ModuleType, temperature: Finding) -> Finding:
    """Largest charging current of the module with its chain."""
    rate = float(cells.charge_limit_rate(module.cell, temperature.number,
                                         module.charge_rate.number))
    allowed = module.charge_rate
    if rate < module.charge_rate.number:
        allowed = module.cell.figure("charge_rate", "charging rate at the cell's temperature",
                                     "r", "")
        allowed = leaf(allowed.title, "r", "", rate, "assumed", source=allowed.source,
                       origin=allowed.origin, note=f"band for {temperature.shown}; the border "
                       f"of two bands takes the stricter one")
    return trace(formulas.current_at_rate, "charging current limit of a module", symbol="I_ch",
                 rate=allowed, capacity=module.capacity)


def traced_growth(module: ModuleType, state_of_health: Finding) -> Finding:
    """Resistance growth of a module of which only the capacity left is known, with its chain.

    Raises:
        OutOfRange: less capacity left than the slope was read at.
    """
    health, least = state_of_health.number, module.cell.health_min
    if not knows_growth(module, state_of_health) or health > 1 + 1e-9:
        raise OutOfRange(f"state of health {100 * health:.4g} % is outside what the growth of "
                         f"resistance was read at ({100 * least:.0f} to 100 %); give the "
                         "resistance growth itself")
    return trace(formulas.growth_with_age, state_of_health=state_of_health,
                 growth_slope=module.cell.figure("growth_slope", "growth per lost capacity",
                                                 "g", ""))


# --- labels ---------------------------------------------------------------------------

@value_object
class Label:
    """What a module's label says: counts, capacity as text, chemistry as written."""

    cells_in_series: int
    cells_in_parallel: int | None
    capacity: str
    chemistry: str


_LABEL = re.compile(r"(\d{1,4})\s?[sS](?:(\d{1,4})\s?[pP])?[\s,]+"
                    r"(\d[\d.,]*\s?[A-Za-zµμ]+)[\s,]+([A-Za-z][A-Za-z0-9-]{1,11})")


def read_label(text: str) -> Label:
    """Read "12s 160 Ah NMC" or "12s2p 160 Ah NMC".

    Raises:
        UserError: the text is no such label.

    Examples:
        >>> read_label("12s2p 160 Ah NMC")
        Label(cells_in_series=12, cells_in_parallel=2, capacity='160 Ah', chemistry='NMC')
    """
    match = _LABEL.fullmatch(text.strip()) if isinstance(text, str) and len(text) < 60 else None
    odd = odd_character(text[:60], "µμ\u00a0\u2007\u2009\u202f") if isinstance(text, str) else ""
    if match is None or odd:
        raise UserError(f"{text!r:.70} {odd + ', and ' if odd else ''}is no module label; "
                        "write it like \"12s 160 Ah NMC\" "
                        "(cells in series, capacity, chemistry); half a label goes into "
                        "chemistry, cells_in_series and capacity, each or \"unknown\"")
    series, parallel, capacity, chemistry = match.groups()
    return Label(int(series), int(parallel) if parallel else None, capacity, chemistry)
