"""Why a layout fails, by how much, and what change would let it in."""

from __future__ import annotations

import math
from collections.abc import Callable

from packcalc.brief import Brief
from packcalc.layout_findings import Builder
from packcalc.layouts import Asks, Layout, Screened
from packcalc.pack_charging import braking_voltage, full_voltages
from packcalc.remedies import Remedy, Trial
from packcalc.units import show
from packcalc.value import value_object


@value_object
class Failure:
    """One failed check of one layout, in words.

    Attributes:
        check: its name.
        fails: what fails, and by how much.
        alone: changes with which this check alone would pass.
    """

    check: str
    fails: str
    alone: tuple[Remedy, ...] = ()


@value_object
class Miss:
    """A layout that fails, everything that it fails, and what would let it in.

    Attributes:
        layout, cells: what it is.
        failures: every failed check.
        passes: single changes, each of which lets the whole layout in.
        together: changes that let it in only all together; empty where one is enough.
    """

    layout: Layout
    cells: str
    failures: tuple[Failure, ...]
    passes: tuple[Remedy, ...]
    together: tuple[Remedy, ...] = ()

    @property
    def fails(self) -> str:
        return "; ".join(f.fails for f in self.failures)

    @property
    def change(self) -> str:
        """What would let it in, in words."""
        if self.passes:
            return "passes " + ", or ".join(r.words for r in self.passes)
        if self.together:
            return "passes only with all of these: " + "; ".join(r.words for r in self.together)
        alone = [f"{CHECK_WORDS[f.check]} alone passes "
                 f"{', or '.join(r.words for r in f.alone)}" for f in self.failures if f.alone]
        return "no change found that lets it in" + ("; " + "; ".join(alone) if alone else "")

    @property
    def sentence(self) -> str:
        return f"{self.fails}; {self.change}"


CHECK_WORDS = {
    "highest_voltage": "highest voltage", "full_charge": "full-charge voltage",
    "temperature_window": "temperature", "charge_left": "charge left",
    "loaded_voltage": "loaded voltage", "continuous_power": "continuous power",
    "peak_current": "peak current", "continuous_current": "continuous current",
    "charging_current": "charging current", "energy_least": "least energy",
    "energy_most": "most energy", "mass": "mass", "charger_window": "charger window",
}


def explain(brief: Brief, asks: Asks, screened: Screened, index: int) -> Miss:
    """Put every failed check of one screened row into words with its remedies."""
    layout = screened.layout(index)
    case = _Case(brief, asks, layout, {k: float(v[index]) for k, v in screened.columns.items()},
                 {k: float(v[index]) for k, v in screened.margins.items()})
    failed = screened.failed(index)
    trial = Trial(brief, asks, layout, failed)
    failures = tuple(Failure(name, _EXPLAIN[name](case), trial.alone(name)) for name in failed)
    passes = trial.passes()
    return Miss(layout, layout.cells(brief), failures, passes,
                () if passes else trial.together())


# --- each failure in words ------------------------------------------------------------

@value_object
class _Case:
    brief: Brief
    asks: Asks
    layout: Layout
    row: dict[str, float]
    margins: dict[str, float]

    @property
    def cold(self) -> str:
        return show(self.asks.coldest, "°C", 2)

    def per_module(self, current: float, check: str, when: str) -> str:
        """A module's current against its limit, which its margin tells."""
        asked = current / self.layout.parallel
        limit = asked * (1.0 + self.margins[check])
        return (f"asks {asked:.4g} A of each module {when}, {_by(asked - limit, 'A')} over its "
                f"limit of {limit:.4g} A at its real capacity")


def _volts(value: float) -> str:
    return f"{value:.0f} V"


def _by(value: float, unit: str) -> str:
    """A shortfall: one figure more below ten, so that nothing reads as zero."""
    return f"{value:.0f} {unit}" if value >= 9.5 else f"{value:.2g} {unit}"


def _sag(case: _Case) -> str:
    asks, row = case.asks, case.row
    corner = f"at {case.cold} and {100 * max(row['charge_left'], 0.0):.0f} % charge left"
    if not math.isfinite(row["loaded_voltage"]) and row["bus_short"] > 0.0:
        rest = asks.demand_voltage - row["bus_short"]
        return (f"stands at {_volts(rest)} before anything is drawn, {_by(row['bus_short'], 'V')} "
                f"under the {_volts(asks.demand_voltage)} that full power needs, {corner}")
    if not math.isfinite(row["loaded_voltage"]):
        most = row["available_power"] / 1e3
        return (f"cannot deliver {asks.peak_drawn / 1e3:.0f} kW {corner}; "
                f"at most {most:.0f} kW with "
                f"{_volts(asks.demand_voltage)} held")
    under = asks.demand_voltage - row["loaded_voltage"]
    return f"sags to {_volts(row['loaded_voltage'])}, {_by(under, 'V')} under, {corner}"


def _highest(case: _Case) -> str:
    row, why = case.row, "full charge with charger tolerance"
    if row["regeneration_voltage"] > row["full_voltage"]:
        b = Builder(case.brief, case.layout)
        why = braking_voltage(b, full_voltages(b)[0]).title
    over = row["highest_voltage"] - case.asks.absolute_maximum
    return (f"reaches {_volts(row['highest_voltage'])}, {_by(over, 'V')} over the absolute "
            f"maximum, by {why}")


def _full(case: _Case) -> str:
    full = case.row["full_voltage"]
    return (f"stands at {_volts(full)} when full, {_by(full - case.asks.voltage_high, 'V')} over "
            f"the highest operating voltage")


def _temperature(case: _Case) -> str:
    modules = [case.brief.modules[p.entry].module for p in case.layout.parts]
    low = max((m.temperature_min for m in modules), key=lambda f: f.number)
    high = min((m.temperature_max for m in modules), key=lambda f: f.number)
    return (f"is used from {case.cold} to {show(case.asks.hottest, '°C', 2)}, "
            f"{_by(-100 * case.margins['temperature_window'], 'K')} outside what its cells bear "
            f"({show(low.number, '°C', 2)} to {show(high.number, '°C', 2)})")


def _charge_left(case: _Case) -> str:
    need = -case.row["charge_left"] * case.row["capacity"] / 3600.0
    return f"runs empty before the peak ends, {_by(need, 'Ah')} short"


def _continuous(case: _Case) -> str:
    power = case.row["continuous_power"]
    short = (case.asks.continuous_drawn - power) / 1e3
    return (f"gives {power / 1e3:.0f} kW continuous, {_by(short, 'kW')} short, at {case.cold} and "
            f"{100 * case.asks.charge_lowest:.0f} % charge")


def _peak_limit(case: _Case) -> str:
    asks = case.asks
    lower = asks.peak_voltage < asks.demand_voltage
    when = f"at the peak, drawn at {_volts(asks.peak_voltage)}" if lower else "at the peak"
    return case.per_module(asks.peak_drawn / asks.peak_voltage, "peak_current", when)


def _steady_limit(case: _Case) -> str:
    return case.per_module(case.asks.continuous_drawn / case.asks.voltage_low, "continuous_current",
                           "continuously")


def _charging_limit(case: _Case) -> str:
    return case.per_module(case.row["charging_current"], "charging_current", "when charging")


def _energy_least(case: _Case) -> str:
    short = (case.asks.energy_least - case.row["usable_energy"]) / 3.6e6
    return f"holds {case.row['usable_energy'] / 3.6e6:.1f} kWh usable, {_by(short, 'kWh')} short"


def _energy_most(case: _Case) -> str:
    most = case.row["most_usable_energy"]
    over = (most - case.asks.energy_most) / 3.6e6
    return f"may hold {most / 3.6e6:.1f} kWh usable, {_by(over, 'kWh')} over"


def _mass(case: _Case) -> str:
    over = case.row["mass"] - case.asks.mass_most
    return f"weighs {case.row['mass']:.0f} kg, {_by(over, 'kg')} over"


def _charger(case: _Case) -> str:
    ends = []
    over = case.row["full_voltage"] - case.asks.charger_high
    under = case.asks.charger_low - case.row["empty_voltage"]
    if over > 0:
        ends.append(f"{_volts(case.row['full_voltage'])} when full, {_by(over, 'V')} over")
    if under > 0:
        ends.append(f"{_volts(case.row['empty_voltage'])} when empty, {_by(under, 'V')} under")
    return (f"stands at {' and at '.join(ends)} the charger's window of "
            f"{_volts(case.asks.charger_low)} to {_volts(case.asks.charger_high)}")


_EXPLAIN: dict[str, Callable[[_Case], str]] = {
    "highest_voltage": _highest, "full_charge": _full, "temperature_window": _temperature,
    "charge_left": _charge_left, "loaded_voltage": _sag, "continuous_power": _continuous,
    "peak_current": _peak_limit, "continuous_current": _steady_limit,
    "charging_current": _charging_limit, "energy_least": _energy_least,
    "energy_most": _energy_most, "mass": _mass, "charger_window": _charger,
}
