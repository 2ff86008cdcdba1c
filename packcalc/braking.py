"""Braking into a pack at whichever charge drives its voltage highest; that need not be the fullest.

Below the ceiling of charge a cell rests lower and may resist more. Of a voltage U behind E and R
U² − E·U = P·R at a power P, and U = E + I·R at a current I: for one U each is a straight line of E
and R. Two things follow. Where E and R both run straight with the charge, no U is met twice (or
one U all along), so the highest stands at a row of a table. And of all rows only the corners of
the outline of (E, R) can be highest. The lower of the two voltages bends at U = P/I alone, which
lies between the ends of its run; so the highest of the lower one is the lower of both highest.

Types in series are each counted at the charge that is worst for it: nothing shows that they are
charged alike.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.modules import CHARGES, ModuleType
from packcalc.value import value_object

CEILING = 0       # the first of the charges
ROUNDING = 1e-12  # a rise this small is the rounding of binary numbers


@value_object
class AtCharges:
    """One module at some charges, the ceiling first; each figure has a column a row, or one.

    Attributes:
        charge: state of charge; of the ceiling that to which the charger's tolerance carries the
            cells, where they resist more there.
        rest: highest rest voltage with the charger's tolerance; −∞ above a row's ceiling.
        resistance: while braking.
        takes_over: least currents at which each but the first is highest, rising; None where
            other charges stand among them that never are.
    """

    charge: np.ndarray
    rest: np.ndarray
    resistance: np.ndarray
    takes_over: np.ndarray | None = None

    def highest(self, current: Any) -> Any:
        """Which charge gives the highest voltage of the module at a current."""
        if self.takes_over is not None:
            return np.searchsorted(self.takes_over, current)
        return np.argmax(self.rest + current * self.resistance, axis=0)

    def of(self, rows: np.ndarray) -> AtCharges:
        """The same of some rows."""
        if self.rest.shape[1] == 1:
            return self
        return AtCharges(self.charge[:, rows], self.rest[:, rows], self.resistance[:, rows])


def at_charges(module: ModuleType, temperature: Any, ceiling: Any, tolerance: float, pulse: float,
               growth: float) -> AtCharges:
    """One module at every charge up to the ceiling at which braking may drive it highest.

    Args:
        module: the module type.
        temperature: of the cells, one or one a row.
        ceiling: charge that the charger's tolerance alone carries the cells above, one or one a
            row.
        tolerance: of the charger, counted at every charge: charging may end at any.
        pulse: length of the braking pulse.
        growth: growth of resistance with age.
    """
    kelvin, ceiling = np.atleast_1d(temperature), np.atleast_1d(ceiling)[None, :]
    rows = module.charge_rows[:, None]
    resistance = mod.resistance(module, kelvin, rows, pulse, growth)
    # Where it does not fall, the next charge rests higher and resists as much.
    falls = np.flatnonzero((resistance[:-1] > resistance[1:]).any(axis=1))
    rows, resistance = rows[falls], resistance[falls]
    rest = np.where(rows < ceiling, mod.ocv_high(module, rows), -np.inf)
    at_most, resists = _carried(module, ceiling, tolerance, lambda charge: mod.resistance(
        module, kelvin, charge, pulse, growth))
    of_ceiling = at_most, mod.ocv_high(module, ceiling), resists
    width = max(len(kelvin), ceiling.shape[1])
    charge, rest, resistance = (
        np.concatenate([np.broadcast_to(figure, (len(figure), width)) for figure in pair])
        for pair in zip(of_ceiling, (rows, rest, resistance), strict=True))
    found = AtCharges(charge, el.with_tolerance(rest, tolerance), resistance)
    return found if width > 1 else _corners(found)


def _carried(module: ModuleType, ceiling: Any, tolerance: float,
             resistance: Callable[[Any], Any]) -> tuple[Any, Any]:
    """(charge, resistance) where the cells resist most, of all between the ceiling and what the
    charger's tolerance makes of it; beyond the end of their curve they count as full.
    """
    if tolerance <= 0.0 or (ceiling >= 1.0).all():
        return ceiling, resistance(ceiling)
    after = np.searchsorted(module.rest_band[1],
                            el.with_tolerance(mod.ocv_high(module, ceiling), tolerance), "right")
    end = np.fmax(CHARGES[np.minimum(after, len(CHARGES) - 1)], ceiling)
    charges = np.clip(np.concatenate([ceiling, np.broadcast_to(
        module.charge_rows[:, None], (len(module.charge_rows), ceiling.shape[1])), end]),
        ceiling, end)
    found = resistance(charges)
    most = np.argmax(found, axis=0)[None, :]
    charges = np.broadcast_to(charges, found.shape)
    return np.take_along_axis(charges, most, 0), np.take_along_axis(found, most, 0)


def _corners(every: AtCharges) -> AtCharges:
    """Only the charges that are highest at some current, found from the ceiling down.

    The next one takes over at the least current that makes up for its lower rest voltage.
    """
    rest, resistance = every.rest[:, 0], every.resistance[:, 0]
    kept, takes_over = [CEILING], []
    while len(more := np.flatnonzero((resistance > resistance[kept[-1]]) & np.isfinite(rest))):
        current = (rest[kept[-1]] - rest[more]) / (resistance[more] - resistance[kept[-1]])
        kept.append(int(more[np.argmin(current)]))
        takes_over.append(np.min(current))
    return AtCharges(every.charge[kept], every.rest[kept], every.resistance[kept],
                     np.array(takes_over))


@value_object
class Braked:
    """Modules in series and all that lies before the inverter; each figure one value a row.

    Attributes:
        parts: a module of each type.
        series: how many of each.
        inside: strings or modules that share the current: the fewest that may be in.
        path: resistance of all else.
    """

    parts: tuple[AtCharges, ...]
    series: tuple[np.ndarray, ...]
    inside: np.ndarray
    path: np.ndarray

    def at_current(self, current: Any) -> tuple[np.ndarray, list[np.ndarray]]:
        """Highest voltage at a charging current, and where each type is then; see `charges`."""
        at = self._highest(current)
        rest, resistance = self._source(at)
        return el.raised_voltage(rest, current, resistance), at

    def at_power(self, power: Any) -> tuple[np.ndarray, list[np.ndarray]]:
        """Highest voltage at a power, and where each type is then; see `charges`.

        Counted from the ceiling; at the current found, other charges may stand higher. Each
        step rises, at a smaller current, until none does.
        """
        at = [np.full(len(self.inside), CEILING) for _ in self.parts]
        voltage = el.charging_voltage(*self._source(at), power)
        power, rows = np.broadcast_to(power, voltage.shape), np.arange(len(voltage))
        while len(rows):
            other = self.of(rows)._highest(power[rows] / voltage[rows])
            moved = np.any([o != a[rows] for o, a in zip(other, at, strict=True)], axis=0)
            rows, other = rows[moved], [o[moved] for o in other]
            higher = el.charging_voltage(*self.of(rows)._source(other), power[rows])
            rises = higher > voltage[rows] * (1.0 + ROUNDING)
            rows = rows[rises]
            voltage[rows] = higher[rises]
            for a, o in zip(at, other, strict=True):
                a[rows] = o[rises]
        return voltage, at

    def within(self, power: np.ndarray, limit: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
        """Highest voltage at a power that a current may hold back, and whether it does.

        It is the lower of the two: that at the current, where so much current falls short of the
        power.

        Args:
            power: fed back.
            limit: the current; None where nothing holds the power back.
        """
        if limit is None:
            return self.at_power(power)[0], np.zeros(len(self.inside), dtype=bool)
        voltage, _ = self.at_current(limit)
        held = voltage * limit <= power
        free = np.flatnonzero(~held)
        voltage[free], _ = self.of(free).at_power(power[free])
        return voltage, held

    def charges(self, at: list[np.ndarray]) -> list[np.ndarray]:
        """State of charge of each type where `at_power` or `at_current` found it highest."""
        return [_taken(part.charge, index) for part, index in zip(self.parts, at, strict=True)]

    def of(self, rows: np.ndarray) -> Braked:
        """Some of the rows."""
        return Braked(tuple(part.of(rows) for part in self.parts),
                      tuple(n[rows] for n in self.series), self.inside[rows], self.path[rows])

    def _highest(self, current: Any) -> list[np.ndarray]:
        return [part.highest(current / self.inside) for part in self.parts]

    def _source(self, at: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
        """Rest voltage and resistance with each type at a charge."""
        rest, resistance = (sum(n * _taken(getattr(part, name), index) for n, part, index in zip(
            self.series, self.parts, at, strict=True)) for name in ("rest", "resistance"))
        return rest, resistance / self.inside + self.path


def _taken(figures: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The figure of each row at its index; see `AtCharges`."""
    return figures[at, 0] if figures.shape[1] == 1 else figures[at, np.arange(len(at))]
