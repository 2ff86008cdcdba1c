"""What change would let a failing layout in: one demand eased, tried by the screening itself.

Every value that could be printed is tried, all in one pass; a brief with the printed value
passes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np

from packcalc import modules as mod
from packcalc.brief import Brief
from packcalc.layouts import Asks, Layout, Screened
from packcalc.screening import screen_one
from packcalc.value import replace, value_object

WARMEST_TRIED, COOLEST_TRIED = 298.15, 293.15
ZERO_CELSIUS = 273.15
LEAST_SHARE = 0.05     # of a power or an energy; less would be another vehicle
MOST_SHARE = 3.0       # of a mass or an energy
LEAST_CHARGE = 0.5
HIGHEST_LOW = 0.4      # a pack that is empty at more has lost half its use


@value_object
class Remedy:
    """One changed demand.

    Attributes:
        words: as printed, e.g. "with 138 kW peak".
        name: field of `Asks`.
        value: in SI.
    """

    words: str
    name: str
    value: float


class Trial:
    """One layout tried under every eased demand at once, one row a printed value."""

    def __init__(self, brief: Brief, asks: Asks, layout: Layout, failed: list[str]):
        self.brief, self.asks, self.layout, self.failed = brief, asks, layout, failed
        kinds = dict.fromkeys(kind for check in failed for kind in KINDS_OF[check])
        self.values = {kind: values for kind in kinds if len(values := _steps(kind, asks))}
        ends = np.cumsum([len(v) for v in self.values.values()])
        self.rows = {kind: slice(end - len(values), end) for (kind, values), end in zip(
            self.values.items(), ends, strict=True)}
        count = int(ends[-1]) if len(ends) else 0
        changed = {kind.name: np.full(count, getattr(asks, kind.name)) for kind in self.values}
        for kind, values in self.values.items():
            changed[kind.name][self.rows[kind]] = values
        if LOWER_CHARGE in self.values:  # a limit that is lowered is one that the charger keeps
            ceilings = np.full(count, asks.charge_ceiling)
            ceilings[self.rows[LOWER_CHARGE]] = self.values[LOWER_CHARGE]
            changed["charge_ceiling"] = ceilings
        self.screened = (screen_one(brief, replace(asks, **changed), layout, count) if count
                         else None)

    def alone(self, check: str) -> tuple[Remedy, ...]:
        """Changes with which one failing check passes, whatever becomes of the others."""
        return self._first(KINDS_OF[check], lambda row: ~row.fails(check))

    def passes(self) -> tuple[Remedy, ...]:
        """Single changes that let the layout in."""
        return self._first(self.values, lambda row: row.failures == 0)

    def _first(self, kinds: Iterable[_Kind], good: Callable[[Screened], np.ndarray]):
        """For each kind the value nearest to today's whose row is good."""
        if self.screened is None:
            return ()
        rows, found = good(self.screened), []
        for kind in kinds:
            if kind in self.values and rows[self.rows[kind]].any():
                value = float(self.values[kind][np.argmax(rows[self.rows[kind]])])
                found.append(Remedy(kind.words(self, value), kind.name, value))
        return tuple(found)

    def together(self) -> tuple[Remedy, ...]:
        """The first change of each failing check, where all let the layout in; none is idle."""
        first = [self.alone(check)[:1] for check in self.failed]
        if not all(first):
            return ()
        chosen: dict[str, Remedy] = {}
        for (remedy,) in first:
            today = getattr(self.asks, remedy.name)
            known = chosen.get(remedy.name, remedy)
            chosen[remedy.name] = max(known, remedy, key=lambda r: abs(r.value - today))
        if not self._lets_in(chosen.values()):
            return ()
        for name in list(chosen):
            rest = [r for r in chosen.values() if r.name != name]
            if self._lets_in(rest):
                del chosen[name]
        return tuple(chosen.values())

    def _lets_in(self, found: Iterable[Remedy]) -> bool:
        changed = {r.name: r.value for r in found}
        if LOWER_CHARGE.name in changed:
            changed["charge_ceiling"] = changed[LOWER_CHARGE.name]
        eased = replace(self.asks, **changed)
        return not screen_one(self.brief, eased, self.layout).failures[0]


def _steps(kind: _Kind, asks: Asks) -> np.ndarray:
    """Printed values of a demand beyond today's, nearest first; none where nothing is asked."""
    today, far = getattr(asks, kind.name), kind.far(asks)
    if np.isnan(today):
        return np.array([])
    step = kind.step(today)
    here, there = (today - kind.zero) / step, (far - kind.zero) / step
    if kind.sign > 0:
        numbers = np.arange(math.floor(here + 1e-6) + 1, math.floor(there + 1e-6) + 1)
    else:
        numbers = np.arange(math.ceil(here - 1e-6) - 1, math.ceil(there - 1e-6) - 1, -1)
    return numbers * step + kind.zero


# --- the demands that may be moved ----------------------------------------------------

@value_object
class _Kind:
    """One demand, the way in which it is eased, and the steps in which it is printed.

    Attributes:
        name: field of `Asks`.
        sign: +1 where a larger value is easier.
        far: the farthest value tried.
        step: printed step at today's value, SI.
        words: a change in words.
        zero: where the printed scale has its zero, SI.
    """

    name: str
    sign: int
    far: Callable[[Asks], float]
    step: Callable[[float], float]
    words: Callable[[Trial, float], str]
    zero: float = 0.0


def _fine(unit: float) -> Callable[[float], float]:
    """Whole units from ten on, tenths from one on, hundredths below."""
    def step(today: float) -> float:
        return unit if today >= 10 * unit else unit / 10 if today >= unit else unit / 100
    return step


def _whole(unit: float) -> Callable[[float], float]:
    return lambda today: unit


def _figure(value: float, unit: float) -> str:
    return f"{round(value / unit, 4):.10g}"


def _share(name: str, share: float) -> Callable[[Asks], float]:
    return lambda asks: share * getattr(asks, name)


def _charge_words(trial: Trial, charge: float) -> str:
    """The charge limit as a voltage per cell, rounded down, and as the brief states it."""
    volts = []
    for part in trial.layout.parts:
        module = trial.brief.modules[part.entry].module
        volts.append(math.floor(1000 * float(mod.ocv_high(module, charge)) / module.series) / 1000)
    shown = " and ".join(f"{v:.3f} V" for v in dict.fromkeys(volts))
    known = trial.brief.charger.voltage_high.known
    kept = "" if known else ", kept by a charger whose range is given"
    return f"with the charge limit lowered to {shown} per cell ({100 * charge:.1f} %){kept}"


# No change goes where the brief itself would be refused: a peak below continuous power, cells
# no warmer at their hottest than at their coldest.
WARMER = _Kind("coldest", 1, lambda a: min(WARMEST_TRIED, a.hottest - 1.0), _whole(1.0),
               lambda t, v: f"when warmed to {v - ZERO_CELSIUS:.0f} °C", ZERO_CELSIUS)
COOLER = _Kind("hottest", -1, lambda a: max(COOLEST_TRIED, a.coldest + 1.0), _whole(1.0),
               lambda t, v: f"when kept at {v - ZERO_CELSIUS:.0f} °C at most", ZERO_CELSIUS)
LESS_PEAK = _Kind("peak", -1, lambda a: max(LEAST_SHARE * a.peak, a.continuous), _fine(1e3),
                  lambda t, v: f"with {_figure(v, 1e3)} kW peak")
SHORTER = _Kind("peak_duration", -1, lambda a: 1.0, _fine(1.0),
                lambda t, v: f"with a peak of {_figure(v, 1.0)} s")
LESS_CONTINUOUS = _Kind("continuous", -1, _share("continuous", LEAST_SHARE), _fine(1e3),
                        lambda t, v: f"with {_figure(v, 1e3)} kW continuous")
LESS_BRAKING = _Kind("regeneration", -1, lambda a: 0.0, _fine(1e3),
                     lambda t, v: f"with braking power cut to {_figure(v, 1e3)} kW")
LESS_CHARGING = _Kind("charging", -1, _share("charging", LEAST_SHARE), _fine(1e3),
                      lambda t, v: f"with charging power cut to {_figure(v, 1e3)} kW")
LOWER_CHARGE = _Kind("charge_highest", -1, lambda a: max(LEAST_CHARGE, a.charge_lowest + 0.05),
                     _whole(0.001), _charge_words)
NOT_SO_EMPTY = _Kind("charge_lowest", 1, lambda a: min(HIGHEST_LOW, a.charge_highest - 0.05),
                     _whole(0.01), lambda t, v: f"when kept above {100 * v:.0f} % charge")
LESS_ENERGY = _Kind("energy_least", -1, _share("energy_least", LEAST_SHARE), _fine(3.6e6),
                    lambda t, v: f"with an energy target of {_figure(v, 3.6e6)} kWh")
MORE_ENERGY = _Kind("energy_most", 1, _share("energy_most", MOST_SHARE), _fine(3.6e6),
                    lambda t, v: f"with up to {_figure(v, 3.6e6)} kWh allowed")
MORE_MASS = _Kind("mass_most", 1, _share("mass_most", MOST_SHARE), _fine(10.0),
                  lambda t, v: f"with {_figure(v, 1.0)} kg allowed")
CHARGER_UP = _Kind("charger_high", 1, lambda a: 1500.0, _whole(1.0),
                   lambda t, v: f"with a charger that reaches {_figure(v, 1.0)} V")
CHARGER_DOWN = _Kind("charger_low", -1, lambda a: 1.0, _whole(1.0),
                     lambda t, v: f"with a charger that goes down to {_figure(v, 1.0)} V")

KINDS_OF: dict[str, tuple[_Kind, ...]] = {
    "highest_voltage": (LOWER_CHARGE, LESS_BRAKING),
    "full_charge": (LOWER_CHARGE,),
    "temperature_window": (WARMER, COOLER),
    "charge_left": (LESS_PEAK, SHORTER, NOT_SO_EMPTY),
    "loaded_voltage": (WARMER, LESS_PEAK, SHORTER, NOT_SO_EMPTY),
    "continuous_power": (WARMER, LESS_CONTINUOUS, NOT_SO_EMPTY),
    "peak_current": (LESS_PEAK,),
    "continuous_current": (LESS_CONTINUOUS,),
    "charging_current": (LESS_CHARGING,),
    "energy_least": (LESS_ENERGY,),
    "energy_most": (LOWER_CHARGE, MORE_ENERGY),
    "mass": (MORE_MASS,),
    "charger_window": (LOWER_CHARGE, CHARGER_UP, CHARGER_DOWN),
}
