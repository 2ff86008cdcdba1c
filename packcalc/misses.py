"""Why a layout fails, by how much, and what change would let it in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from packcalc.brief import Brief
from packcalc.layouts import Asks, Layout, Screened, full_voltage_of, screen_one
from packcalc.units import show

WARMEST_TRIED = 298.15


@dataclass(frozen=True)
class Failure:
    """One failed check of one layout, in words.

    Attributes:
        check: its name.
        fails: what fails, and by how much.
        alone: changes with which this check alone would pass.
    """

    check: str
    fails: str
    alone: tuple[str, ...] = ()


@dataclass(frozen=True)
class Miss:
    """A layout that fails, everything that it fails, and what would let it in.

    Attributes:
        passes: single changes, each of which lets the whole layout in; where there is
            none, each failure says what would cure it alone.
    """

    layout: Layout
    cells: str
    failures: tuple[Failure, ...]
    passes: tuple[str, ...]

    @property
    def fails(self) -> str:
        return "; ".join(f.fails for f in self.failures)

    @property
    def change(self) -> str:
        """What would let it in, in words."""
        if self.passes:
            return "passes " + ", or ".join(self.passes)
        alone = [f"{CHECK_WORDS[f.check]} alone passes {', or '.join(f.alone)}"
                 for f in self.failures if f.alone]
        return "no single change found" + ("; " + "; ".join(alone) if alone else "")

    @property
    def sentence(self) -> str:
        return f"{self.fails}; {self.change}"


CHECK_WORDS = {
    "highest_voltage": "highest voltage", "full_charge": "full-charge voltage",
    "charge_left": "charge left", "loaded_voltage": "loaded voltage",
    "continuous_power": "continuous power", "peak_current": "peak current",
    "continuous_current": "continuous current", "charger_window": "charger window",
}


def explain(brief: Brief, asks: Asks, screened: Screened, index: int) -> Miss:
    """Put every failed check of one screened row into words with its remedies."""
    layout = screened.layout(index)
    row = {name: float(column[index]) for name, column in screened.columns.items()}
    failed = [name for name, margin in screened.margins.items() if margin[index] < 0]
    passes = _remedies(brief, asks, layout, failed, whole=True)
    failures = tuple(
        Failure(name, _EXPLAIN[name](asks, row, layout),
                () if passes else _remedies(brief, asks, layout, [name], whole=False))
        for name in failed)
    return Miss(layout, layout.cells(brief), failures, passes)


@dataclass(frozen=True)
class _Trial:
    """One layout tried again with other demands.

    Attributes:
        failed: the checks that a change must cure.
        whole: whether the change must leave no other check failing.
    """

    brief: Brief
    asks: Asks
    layout: Layout
    failed: tuple[str, ...]
    whole: bool

    def border(self, name: str, good_end: float, resolution: float) -> float | None:
        """The value of one demand, nearest today's, at which the failed checks pass."""
        def good(value: float) -> bool:
            row = screen_one(self.brief, replace(self.asks, **{name: value}), self.layout)
            return not any(row.margins[check][0] < 0.0 for check in self.failed)

        found = _bisect(good, getattr(self.asks, name), good_end, resolution)
        if found is None or not self.whole:
            return found
        row = screen_one(self.brief, replace(self.asks, **{name: found}), self.layout)
        return None if row.failures[0] else found


def _bisect(good: Callable[[float], bool], bad_end: float, good_end: float,
            resolution: float) -> float | None:
    """A good value within `resolution` of the border; None when not even `good_end` is good."""
    if not good(good_end):
        return None
    while abs(good_end - bad_end) > resolution:
        middle = 0.5 * (bad_end + good_end)
        if good(middle):
            good_end = middle
        else:
            bad_end = middle
    return good_end


def _remedies(brief: Brief, asks: Asks, layout: Layout, failed: list[str], *,
              whole: bool) -> tuple[str, ...]:
    trial = _Trial(brief, asks, layout, tuple(failed), whole)
    kinds = dict.fromkeys(kind for name in failed for kind in _REMEDY_KINDS.get(name, ()))
    return tuple(words for words in (kind(trial) for kind in kinds) if words)


def _warmer(trial: _Trial) -> str:
    if trial.asks.coldest >= WARMEST_TRIED:
        return ""
    found = trial.border("coldest", WARMEST_TRIED, 0.25)
    # A whole degree up: the safe side of the bisection.
    return "" if found is None else f"when warmed to {np.ceil(found - 273.15 - 1e-6):.0f} °C"


def _less_peak(trial: _Trial) -> str:
    peak = trial.asks.peak
    found = trial.border("peak", 0.05 * peak, 0.004 * peak)
    return "" if found is None else f"with {_floor(found / 1e3)} kW peak"


def _less_continuous(trial: _Trial) -> str:
    steady = trial.asks.continuous
    found = trial.border("continuous", 0.05 * steady, 0.004 * steady)
    return "" if found is None else f"with {_floor(found / 1e3)} kW continuous"


def _shorter(trial: _Trial) -> str:
    found = trial.border("peak_duration", 1.0, 0.25)
    return "" if found is None else f"with a peak of {_floor(found)} s"


def _less_regeneration(trial: _Trial) -> str:
    power = trial.asks.regeneration
    if power <= 0:
        return ""
    found = trial.border("regeneration", 0.0, 0.004 * power)
    return "" if found is None else f"with braking power cut to {_floor(found / 1e3)} kW in the cold"


def _lower_charge(trial: _Trial) -> str:
    low = max(0.5, trial.asks.charge_lowest + 0.05)
    found = trial.border("charge_highest", low, 0.002)
    if found is None:
        return ""
    on_hand = trial.brief.modules[trial.layout.parts[0].entry]
    volt = full_voltage_of(on_hand, found) / on_hand.module.series
    return f"with the charge limit lowered to {np.floor(volt * 100) / 100:.2f} V per cell"


def _floor(value: float) -> str:
    return f"{np.floor(value):.0f}" if value >= 10 else f"{np.floor(value * 10) / 10:.1f}"


_REMEDY_KINDS = {
    "highest_voltage": (_lower_charge, _less_regeneration),
    "full_charge": (_lower_charge,),
    "charge_left": (_less_peak, _shorter),
    "loaded_voltage": (_warmer, _less_peak, _shorter),
    "continuous_power": (_less_continuous,),
    "peak_current": (_less_peak,),
    "continuous_current": (_less_continuous,),
    "charger_window": (_lower_charge,),
}


def _volts(value: float) -> str:
    return f"{value:.0f} V"


def _by(value: float, unit: str) -> str:
    """A shortfall: one figure more below ten, so that nothing reads as zero."""
    return f"{value:.0f} {unit}" if value >= 9.5 else f"{value:.2g} {unit}"


def _sag(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    corner = (f"at {show(asks.coldest, '°C', 2)} and "
              f"{100 * row['charge_left']:.0f} % charge left")
    if not np.isfinite(row["loaded_voltage"]):
        return (f"cannot deliver {asks.peak / 1e3:.0f} kW {corner}; at most "
                f"{row['available_power'] / 1e3:.0f} kW")
    under = asks.demand_voltage - row["loaded_voltage"]
    return f"sags to {_volts(row['loaded_voltage'])}, {_by(under, 'V')} under, {corner}"


def _highest(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    why = ("braking into a full cold pack" if row["regeneration_voltage"] > row["full_voltage"]
           else "full charge with charger tolerance")
    over = row["highest_voltage"] - asks.absolute_maximum
    return f"reaches {_volts(row['highest_voltage'])}, {_by(over, 'V')} over the absolute maximum, by {why}"


def _full(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    full = row["full_voltage"] / (1.0 + asks.charger_tolerance)
    return (f"stands at {_volts(full)} when full, {_by(full - asks.voltage_high, 'V')} over the "
            f"highest operating voltage")


def _charge_left(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    need = -row["charge_left"] * row["capacity"] / 3600.0
    return f"runs empty before the peak ends, {_by(need, 'Ah')} short"


def _continuous(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    short = (asks.continuous - row["continuous_power"]) / 1e3
    return f"gives {row['continuous_power'] / 1e3:.0f} kW continuous, {_by(short, 'kW')} short"


def _peak_limit(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    current = asks.peak / asks.demand_voltage / layout.parallel
    return f"asks {current:.0f} A of each module at the peak, over its limit"


def _steady_limit(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    current = asks.continuous / asks.voltage_low / layout.parallel
    return f"asks {current:.0f} A of each module continuously, over its limit"


def _energy_least(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    short = (asks.energy_least - row["usable_energy"]) / 3.6e6
    return f"holds {row['usable_energy'] / 3.6e6:.1f} kWh usable, {_by(short, 'kWh')} short"


def _energy_most(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    over = (row["usable_energy"] - asks.energy_most) / 3.6e6
    return f"holds {row['usable_energy'] / 3.6e6:.1f} kWh usable, {_by(over, 'kWh')} over"


def _mass(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    return f"weighs {row['mass']:.0f} kg, {_by(row['mass'] - asks.mass_most, 'kg')} over"


def _charger(asks: Asks, row: dict[str, float], layout: Layout) -> str:
    return (f"spans {_volts(row['empty_voltage'])} empty to {_volts(row['full_voltage'])} full, "
            f"outside the charger's {_volts(asks.charger_low)} to {_volts(asks.charger_high)}")


_EXPLAIN: dict[str, Callable[[Asks, dict[str, float], Layout], str]] = {
    "highest_voltage": _highest, "full_charge": _full, "charge_left": _charge_left,
    "loaded_voltage": _sag, "continuous_power": _continuous, "peak_current": _peak_limit,
    "continuous_current": _steady_limit, "energy_least": _energy_least,
    "energy_most": _energy_most, "mass": _mass, "charger_window": _charger,
}
