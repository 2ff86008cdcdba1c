"""A bus that is charged through a resistor while loads wake on it, stage by stage.

Each stage lasts from one waking voltage to the next; within it the resistive loads are
part of the source (Thévenin) and the constant-power loads are one power, so that every
stage has an exact time.
"""

from __future__ import annotations

import bisect
import functools
import math

from packcalc import transients as tr
from packcalc.checks import FAIL, Check, judge
from packcalc.errors import OutOfRange
from packcalc.findings import Finding, Origin, leaf, smallest, trace
from packcalc.value import replace, value_object, worked_once

KINDS = ("resistive", "constant power")
OPEN_WAKING = "waking voltage open, counted at the worst"
HEATED = ("behind the resistive loads; the resistor is heated until the timeout, more with a full "
          "pack: it must stand the failed tries")
# An open timeout is counted long, the worse end for the heat of failed tries and for no other.
TIMEOUT_OPEN = "the timeout is left open and counted long: say precharge.timeout"
BLEED_OPEN = "discharge resistor not known and in no sum: say inverter.discharge_resistance"


@value_object
class BusLoad:
    """A load that wakes on the bus while it is being charged.

    Attributes:
        name: as in the brief.
        kind: one of KINDS.
        resistance: of a resistive load.
        power: of a constant-power load.
        wakes_at: bus voltage at which it begins to draw (zero when always connected); without a
            value where it is open.
    """

    name: str
    kind: str
    resistance: Finding | None
    power: Finding | None
    wakes_at: Finding

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise OutOfRange(f"load {self.name}: kind {self.kind!r} is not one of "
                             + ", ".join(KINDS))

    @property
    def draws(self) -> Finding | None:
        """Its resistance or its power."""
        return self.resistance if self.kind == "resistive" else self.power

    @property
    def known(self) -> bool:
        """Whether what it draws is known; a waking voltage that is open counts at its worst."""
        return self.draws is not None and self.draws.known

    @property
    def at_worst(self) -> BusLoad:
        """Itself; where its waking voltage is open, awake from the first volt on.

        No waking voltage is worse: a resistor then draws all the way up, and a constant power
        takes more than the resistor passes at the foot of the way.
        """
        if self.wakes_at.known:
            return self
        return replace(self, wakes_at=replace(
            self.wakes_at, value=0.0, basis="assumed", source="packcalc-rule",
            note="open: counted as waking at the worst voltage, from the first volt on"))

    @property
    def supposed(self) -> bool:
        """Whether nobody said at which voltage a constant power wakes."""
        return self.kind != "resistive" and self.wakes_at.basis == "assumed"


def discharge_load(resistance: Finding, tolerance: Finding) -> BusLoad:
    """The discharge resistor as a load of the pre-charge, at the end at which it draws most.

    Args:
        resistance: nominal, across the bus.
        tolerance: of it.
    """
    least = trace(tr.smallest_resistance, "discharge resistor, lower tolerance", unit="kΩ",
                  resistance=resistance, tolerance=tolerance,
                  note="the slow corner: the most that it draws")
    return BusLoad("discharge resistor", "resistive", least, None, leaf(
        "voltage at which the discharge resistor draws", "U_on", "V", 0.0, "definition",
        origin=Origin("rule"), note="it lies across the bus from the first volt"))


@value_object
class LoadedBus:
    """Battery voltage, one resistor at its upper tolerance, the loads: the slow corner."""

    voltage: Finding
    resistance: Finding
    capacitance: Finding
    level: Finding
    loads: tuple[BusLoad, ...]

    @worked_once
    def target(self) -> Finding:
        return trace(tr.share_of_voltage, "Voltage of the closing level", symbol="v_x",
                     voltage=self.voltage, share=self.level)

    def awake(self, bus: float) -> tuple[BusLoad, ...]:
        """The loads that draw at a bus voltage."""
        return self._woken[:self._count(bus)]

    @worked_once
    def _woken(self) -> tuple[BusLoad, ...]:
        return tuple(sorted(self.loads, key=lambda load: load.wakes_at.number))

    @worked_once
    def _wake(self) -> list[float]:
        return [load.wakes_at.number for load in self._woken]

    def _count(self, bus: float) -> int:
        return bisect.bisect_right(self._wake, bus)

    @worked_once
    def _sources(self) -> list[tuple[Finding, Finding]]:
        """Of as many loads awake as it has been asked for, from none on."""
        return [(self.voltage, self.resistance)]

    @worked_once
    def _powers(self) -> dict[int, Finding]:
        return {}

    def source(self, bus: float) -> tuple[Finding, Finding]:
        """Open-circuit voltage and resistance with the resistive loads that are awake."""
        found, count = self._sources, self._count(bus)
        for load in self._woken[len(found) - 1:count]:
            found.append(self._behind(*found[-1], load))
        return found[count]

    @staticmethod
    def _behind(voltage: Finding, resistance: Finding,
                load: BusLoad) -> tuple[Finding, Finding]:
        """A source with one load more across it."""
        if load.kind != "resistive":
            return voltage, resistance
        assert load.resistance is not None
        return (trace(tr.divided_voltage, f"Bus voltage left by {load.name}", voltage=voltage,
                      resistance=resistance, load_resistance=load.resistance),
                trace(tr.parallel_resistance, f"Resistance with {load.name}",
                      resistance=resistance, load_resistance=load.resistance))

    def power(self, bus: float) -> Finding:
        """Sum of the constant-power loads that are awake."""
        count = self._count(bus)
        if count not in self._powers:
            self._powers[count] = self._power(bus)
        return self._powers[count]

    def _power(self, bus: float) -> Finding:
        powers = [load.power for load in self.awake(bus)
                  if load.kind == "constant power" and load.power is not None]
        if not powers:
            return leaf("No constant-power load awake", "P", "W", 0.0, "definition")
        return functools.reduce(lambda a, b: trace(tr.sum_of_powers, "Power of the awake loads",
                                                   first=a, second=b), powers)

    def conductance(self, bus: float) -> Finding:
        """Sum of the conductances of the resistive loads that are awake."""
        total = leaf("No resistive load awake", "G", "mS", 0.0, "definition")
        for load in self.awake(bus):
            if load.kind == "resistive" and load.resistance is not None:
                total = trace(tr.added_conductance, f"Conductance with {load.name}",
                              conductance=total, resistance=load.resistance)
        return total

    def marks(self) -> list[Finding]:
        """The waking voltages on the way up, then the level."""
        target = self.target
        return [load.wakes_at for load in self.loads
                if 0 < load.wakes_at.number < target.number] + [target]

    def smallest_slope(self) -> Finding:
        """Where the bus rises most slowly: at a waking voltage or at the level."""
        slopes = []
        for mark in self.marks():
            drawn = trace(tr.load_current, power=self.power(mark.number),
                          conductance=self.conductance(mark.number), bus_voltage=mark)
            slopes.append(trace(tr.loaded_slope, f"Slope of the bus at {mark.shown}",
                                voltage=self.voltage, bus_voltage=mark, load_current=drawn,
                                resistance=self.resistance, capacitance=self.capacitance))
        return smallest(slopes, "Smallest slope on a healthy way up")

    @worked_once
    def time(self) -> Finding | None:
        """Time to the level through every stage, or None when it is never reached."""
        stages = [self._stage(start, end) for start, end in self._spans()]
        if any(stage is None for stage in stages):
            return None
        known = [stage for stage in stages if stage is not None]
        return functools.reduce(lambda a, b: trace(tr.sum_of_times, "Time to the closing level",
                                                   first=a, second=b), known)

    def _spans(self) -> list[tuple[Finding, Finding]]:
        zero = leaf("Empty bus", "v", "V", 0.0, "definition")
        marks = [zero, *self.marks()]
        pairs = zip(marks, marks[1:], strict=False)
        return [(a, b) for a, b in pairs if a.number < b.number]

    def _stage(self, start: Finding, end: Finding) -> Finding | None:
        voltage, resistance = self.source(start.number)
        power = self.power(start.number)
        if not self.loads:
            return trace(tr.charging_time, "Time to the closing level", resistance=resistance,
                         capacitance=self.capacitance, level=self.level)
        time = trace(tr.loaded_charging_time, f"Time from {start.shown} to {end.shown}",
                     voltage=voltage, resistance=resistance, capacitance=self.capacitance,
                     power=power, start=start, end=end)
        return time if math.isfinite(time.number) else None


def wakes_title(name: str) -> str:
    return f"{name} wakes without stopping the charge"


def load_checks(bus: LoadedBus) -> list[Check]:
    """Equilibrium and wake-up of the loads, at upper resistor tolerance."""
    if not bus.awake(bus.target.number):
        return []
    return [*_equilibrium_checks(bus), *_wake_checks(bus)]


def _equilibrium_checks(bus: LoadedBus) -> list[Check]:
    target = bus.target
    voltage, resistance = bus.source(target.number)
    power = bus.power(target.number)
    title = "steady bus voltage with the loads lies above the closing level"
    remedy = "a smaller resistance, or keep the loads asleep until the main has closed"
    most = trace(tr.most_power, voltage=voltage, resistance=resistance)
    checks = []
    if power.number > 0:
        checks.append(judge("loads draw less than the resistor can ever pass", "thermal load",
                            power, "below", most, remedy=remedy))
    if power.number > most.number:
        reason = (f"no steady voltage exists: P = {power.shown} is above V²/(4·R) = {most.shown} "
                  f"with V = {voltage.shown}, R = {resistance.shown}; the level is never reached")
        return [*checks, Check(title, "thermal load", FAIL, None, target, "above", reason, remedy)]
    steady = voltage if power.number == 0 else trace(
        tr.bus_voltage_with_power, "Steady bus voltage with the loads", voltage=voltage,
        resistance=resistance, power=power)
    reason = "" if steady.number > target.number else (
        f"the level is never reached: {_equation(steady, voltage, resistance, power)}")
    checks.append(judge(title, "thermal load", steady, "above", target, reason=reason,
                        remedy=remedy))
    return checks


def _equation(steady: Finding, voltage: Finding, resistance: Finding, power: Finding) -> str:
    if power.number == 0 and steady.formula is None:
        return f"the bus ends at {steady.shown}"
    if power.number == 0:
        return f"{steady.formula.text} = {steady.shown}"  # type: ignore[union-attr]
    return (f"V/2 + √(V²/4 − P·R) = {steady.shown} with V = {voltage.shown}, "
            f"R = {resistance.shown}, P = {power.shown}")


def _wake_checks(bus: LoadedBus) -> list[Check]:
    """At every waking voltage the resistor must pass more than the awake loads draw."""
    checks = []
    for load in bus.awake(bus.target.number):
        at = load.wakes_at
        power = bus.power(at.number)
        if load.kind != "constant power":
            continue
        if load.supposed:
            checks.append(_open_waking(bus, load))
            continue
        voltage, resistance = bus.source(at.number)
        passing = trace(tr.passing_power, f"Power that the resistor passes at {at.shown}",
                        voltage=voltage, resistance=resistance, bus_voltage=at)
        reason = "" if power.number < passing.number else (
            f"the bus hangs near {at.shown}: P = {power.shown} is not below v·(V − v)/R = "
            f"{passing.shown} with v = {at.shown}, V = {voltage.shown}, R = {resistance.shown}, "
            f"{HEATED}")
        checks.append(judge(wakes_title(load.name), "thermal load",
                            power, "below", passing, reason=reason,
                            remedy="a higher waking voltage, a smaller resistance, or keep the "
                                   "load asleep until the main has closed"))
    return checks


def _open_waking(bus: LoadedBus, load: BusLoad) -> Check:
    """Nobody said where it wakes: it may be where the resistor passes less than it draws."""
    power = bus.power(bus.target.number)
    voltage, resistance = bus.source(bus.target.number)
    most = trace(tr.most_power, voltage=voltage, resistance=resistance)
    title, stage = wakes_title(load.name), "thermal load"
    keep = "or keep the load asleep until the main has closed"
    if power.number > most.number:
        return Check(title, stage, FAIL, power, most, "below", f"{OPEN_WAKING}: at any voltage "
                     "below the level it stops the charge, as the awake loads draw more than "
                     "V²/(4·R)", f"a smaller resistance, {keep}")
    least = trace(tr.least_waking_voltage, power=power, resistance=resistance, steady=trace(
        tr.bus_voltage_with_power, voltage=voltage, resistance=resistance, power=power))
    return Check(title, stage, FAIL, load.wakes_at, least, "above", f"{OPEN_WAKING}: at or below "
                 f"{least.shown} the awake loads ({power.shown}) stop the charge",
                 f"ask its maker and say wakes_at; {keep}")
