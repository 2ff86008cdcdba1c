"""Time–current curves from points of a data sheet: straight lines on logarithmic scales.

A curve holds inside its points only. Outside it is not a number in arrays and a refusal
where one value is asked; nothing is extrapolated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import field
from typing import Any

import numpy as np

from packcalc.errors import OutOfRange
from packcalc.findings import Finding, Origin, formula, leaf, trace
from packcalc.units import significant
from packcalc.value import value_object, worked_once

LONGEST_ADIABATIC = 5.0  # s, IEC 60364-4-43, 434.5.2
LEAST = 1e-300  # counted for a zero, whose logarithm is none: outside every curve's points


@formula(
    title="time on a curve between two points", symbol="t", unit="s",
    text="t = t_1 · (I / I_1)^(ln(t_2/t_1) / ln(I_2/I_1))",
    inputs={"current": "I [A] between I_1 and I_2", "current_1": "I_1 [A] first point",
            "time_1": "t_1 [s] first point", "current_2": "I_2 [A] second point",
            "time_2": "t_2 [s] second point"},
    basis="read", source="bhandari-machine-elements",
    where="chapter 5, straight line on logarithmic scales, example 5.7",
    valid="between the two points; a straight line on logarithmic scales",
    safe_side="a curve that bends down between its points lies below the line: give more points")
def log_log_time(current: Any, current_1: Any, time_1: Any, current_2: Any, time_2: Any) -> Any:
    """Time between two points of a time–current curve.

    Examples:
        >>> round(float(log_log_time(2000.0, 1000.0, 1.0, 4000.0, 0.01)), 6)
        0.1
    """
    slope = np.log(time_2 / time_1) / np.log(current_2 / current_1)
    return time_1 * (current / current_1) ** slope


@formula(
    title="current on a curve at a time", symbol="I", unit="A",
    text="I = I_1 · (t / t_1)^(ln(I_2/I_1) / ln(t_2/t_1))",
    inputs={"time": "t [s] between t_1 and t_2", "current_1": "I_1 [A] first point",
            "time_1": "t_1 [s] first point", "current_2": "I_2 [A] second point",
            "time_2": "t_2 [s] second point"},
    basis="read", source="bhandari-machine-elements",
    where="chapter 5, straight line on logarithmic scales, example 5.6",
    valid="between the two points; a straight line on logarithmic scales")
def log_log_current(time: Any, current_1: Any, time_1: Any, current_2: Any, time_2: Any) -> Any:
    """Current between two points of a time–current curve.

    Examples:
        >>> round(float(log_log_current(0.1, 1000.0, 1.0, 4000.0, 0.01)), 6)
        2000.0
    """
    slope = np.log(current_2 / current_1) / np.log(time_2 / time_1)
    return current_1 * (time / time_1) ** slope


@formula(
    title="heating integral of a rising fault", symbol="I²t", unit="A²s",
    text="I²t = Ik² · (t − 2·τ·(1 − e^(−t/τ)) + (τ/2)·(1 − e^(−2·t/τ)))",
    inputs={"prospective": "Ik [A] prospective current", "time_constant": "τ [s] of the loop",
            "time": "t [s] after the fault begins"},
    basis="computed", source="halliday-fundamentals",
    where="heat of a rising current in an R-L loop: the squared rise, integrated",
    valid="t at or above 0, τ above 0; constant R and L, no current before the fault",
    safe_side="low against Ik²·t: use Ik²·t for heat, this for the earliest melting")
def rising_integral(prospective: Any, time_constant: Any, time: Any) -> Any:
    """I²t of an R-L loop a time after the fault begins.

    Examples:
        >>> round(float(rising_integral(1000.0, 0.001, 0.010)))
        8500
    """
    if np.any(np.asarray(time_constant) <= 0) or np.any(np.asarray(time) < 0):
        raise OutOfRange("the time constant must be above zero and the time not below it")
    x = np.asarray(time, dtype=float) / time_constant
    return prospective ** 2 * time_constant * (x + 2.0 * np.expm1(-x) - 0.5 * np.expm1(-2.0 * x))


@formula(
    title="time in which a fault heats a conductor to its limit", symbol="t", unit="s",
    text="t = k²S² / I²",
    inputs={"withstand": "k²S² [A²s] of the conductor", "current": "I [A] fault current"},
    basis="read", source="iec-60364-4-43-conductors",
    where="434.5.2, I²·t = k²S² solved for t",
    valid="up to 5 s; beyond, the current-carrying capacity rules",
    safe_side="no heat is taken to leave the conductor")
def adiabatic_time(withstand: Any, current: Any) -> Any:
    """How long a conductor stands a fault current.

    Examples:
        >>> float(adiabatic_time(2.5e7, 5000.0))
        1.0
    """
    return withstand / np.square(current)


@value_object
class Curve:
    """Time against current: currents rising, times falling.

    Attributes:
        currents, times: the points.
        title: what the curve is.
        origin: file, row and column.
        basis: of the points.
        source: key of the register, for the points of a table.
    """

    currents: tuple[float, ...]
    times: tuple[float, ...]
    title: str = "curve"
    origin: Origin | None = field(default=None, compare=False)
    basis: str = "given"
    source: str = ""

    def __post_init__(self) -> None:
        wrong = order_fault(list(zip(self.times[::-1], self.currents[::-1], strict=True)),
                            "falling", lambda t: f"{t:g} s", lambda i: f"{i:g} A")
        if wrong:
            raise OutOfRange(f"{self.title}: {wrong}")

    @worked_once
    def _logs(self) -> tuple[np.ndarray, np.ndarray]:
        return np.log(self.currents), np.log(self.times)

    @property
    def lowest(self) -> float:
        """Lowest current of the points."""
        return self.currents[0]

    @property
    def highest(self) -> float:
        """Highest current of the points."""
        return self.currents[-1]

    @property
    def longest(self) -> float:
        """Longest time of the points."""
        return self.times[0]

    @property
    def shortest(self) -> float:
        """Shortest time of the points."""
        return self.times[-1]

    def time_at(self, current: Any) -> Any:
        """Time at a current; not a number outside the points.

        Examples:
            >>> curve = Curve((1000.0, 4000.0), (1.0, 0.01))
            >>> [round(float(t), 4) for t in curve.time_at(np.array([999.0, 1000.0, 2000.0]))]
            [nan, 1.0, 0.1]
        """
        logs, times = self._logs
        wanted = np.log(np.maximum(current, LEAST))
        return np.exp(np.interp(wanted, logs, times, left=np.nan, right=np.nan))

    def current_at(self, time: Any) -> Any:
        """Current at a time; not a number outside the points."""
        logs, times = self._logs
        wanted = np.log(np.maximum(time, LEAST))
        return np.exp(np.interp(wanted, times[::-1], logs[::-1], left=np.nan, right=np.nan))

    def above(self, other: "Curve") -> float | None:
        """A current at which this curve lies above the other, or None; common range only."""
        low, high = max(self.lowest, other.lowest), min(self.highest, other.highest)
        if low > high:
            return None
        at = np.array(sorted({low, high, *(c for c in (*self.currents, *other.currents)
                                           if low <= c <= high)}))
        wrong = self.time_at(at) > other.time_at(at) * (1.0 + 1e-9)
        return float(at[int(np.argmax(wrong))]) if wrong.any() else None

    def beyond(self, other: "Curve") -> float | None:
        """A time at which this curve's current exceeds what the other allows, or None.

        Held at equal times over the common range, and between points that are apart: as both
        curves fall, no point of this one may lie later and higher than a point of the other.
        """
        low, high = max(self.shortest, other.shortest), min(self.longest, other.longest)
        at = np.array(sorted(t for t in {low, high, *self.times, *other.times}
                             if low <= t <= high))
        wrong = self.current_at(at) > other.current_at(at) * (1.0 + 1e-9)
        if wrong.any():
            return float(at[int(np.argmax(wrong))])
        return next((t for i, t in zip(self.currents, self.times, strict=True)
                     for j, u in zip(other.currents, other.times, strict=True)
                     if t >= u and i > j * (1.0 + 1e-9)), None)

    def trace_time(self, current: Finding, title: str = "") -> Finding:
        """Time at a current, with the two points that it lies between.

        Raises:
            OutOfRange: the current lies outside the points.
        """
        return self._traced(log_log_time, current, self.currents, title)

    def trace_current(self, time: Finding, title: str = "") -> Finding:
        """Current at a time, with the two points that it lies between.

        Raises:
            OutOfRange: the time lies outside the points.
        """
        return self._traced(log_log_current, time, self.times, title)

    def _traced(self, function: Callable[..., Any], at: Finding, along: Sequence[float],
                title: str) -> Finding:
        value, low, high = at.number, min(along), max(along)
        if not low * (1 - 1e-9) <= value <= high * (1 + 1e-9):
            raise OutOfRange(f"{self.title}: {at.shown} lies outside its points "
                             f"({significant(low)} to {significant(high)}); ask for more points")
        count = len(along)
        if count == 1:  # no line between two: the point itself
            what = "time" if function is log_log_time else "current"
            return self._leaf(what, 0).called(title or f"{self.title} at {at.shown}")
        right = next((i for i in range(1, count) if (along[i] - value) * (along[0] - value) <= 0),
                     count - 1)
        points = {f"{what}_{n}": self._leaf(what, i)
                  for n, i in ((1, right - 1), (2, right)) for what in ("current", "time")}
        name = "current" if function is log_log_time else "time"
        return trace(function, title or f"{self.title} at {at.shown}", **{name: at}, **points)

    def _leaf(self, what: str, index: int) -> Finding:
        value = self.currents[index] if what == "current" else self.times[index]
        symbol, unit = ("I", "A") if what == "current" else ("t", "s")
        return leaf(f"{what} of point {index + 1} of the {self.title}", symbol, unit, value,
                    self.basis, source=self.source, origin=self.origin)


def order_fault(pairs: Sequence[tuple[float, float]], runs: str,
                first: Callable[[float], str], second: Callable[[float], str],
                least: int = 1) -> str:
    """What is wrong with the order of pairs, in words; empty when nothing is.

    Args:
        pairs: as written.
        runs: how the second runs while the first rises: "falling", "not rising",
            "not falling" or "".
        first, second: print one value of either.
        least: how many points are needed.
    """
    if len(pairs) < least:
        return f"holds {len(pairs)} of the {least} points that a curve needs at least"
    for number, ((x1, y1), (x2, y2)) in enumerate(zip(pairs, pairs[1:], strict=False), start=2):
        if not x2 > x1:
            return (f"points out of order: point {number} ({first(x2)}) does not lie after "
                    f"point {number - 1} ({first(x1)})")
        holds = {"falling": y2 < y1, "not rising": y2 <= y1, "not falling": y2 >= y1}
        if not holds.get(runs, True):
            way = "above" if runs == "not falling" else "below"
            return (f"points out of order: {second(y2)} at {first(x2)} does not lie {way} "
                    f"{second(y1)} at {first(x1)}")
    return ""
