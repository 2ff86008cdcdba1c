"""The range of a fault current: highest and lowest, and how fast it gets there.

Two currents, never one. The highest (hot, new, full, millisecond resistance, every
source) rates breaking capacity and bracing; the lowest (cold, aged, empty, long-pulse
resistance, one string, long hot path) decides whether anything opens at all.
"""

from __future__ import annotations

import numpy as np

from packcalc.checks import CAUTION, FAIL, PASS, Check, judge
from packcalc.errors import OutOfRange
from packcalc.findings import Finding, formula, leaf, trace, with_more
from packcalc.value import replace, value_object

LOWEST_IS_A_GUESS = (
    "A shorted cold lithium cell does not follow voltage over resistance for seconds: "
    "transport limits, its own heating and separator shutdown change the current. packcalc "
    "counts on the lowest fault current for about one second only."
)
RISE_NOTE = (
    "Neither the fault current nor its rise is limited by anything in the pack except "
    "resistance and inductance; no switch opens in the first millisecond."
)


def _above_zero(value, what: str) -> None:
    below = value <= 0 if isinstance(value, float) else np.any(np.asarray(value) <= 0)
    if below:
        raise OutOfRange(f"{what} must be above zero for a fault current; got {value!r:.60}")


@formula(
    title="Prospective fault current", symbol="Ik", unit="A", text="Ik = E / R",
    inputs={"voltage": "E [V] open-circuit voltage of the source",
            "resistance": "R [Ω] of the whole loop, source included"},
    valid="resistance above 0; a bolted fault with no arc",
    safe_side="low R for the highest fault, high R for the lowest",
    basis="definition",
)
def prospective_fault_current(voltage, resistance):
    """Current that a source drives through a bolted fault once inductance has no say.

    Examples:
        >>> round(prospective_fault_current(400.0, 0.100), 3)
        4000.0
    """
    _above_zero(resistance, "the loop resistance")
    return voltage / resistance


@formula(
    title="Fault current of sources in parallel", symbol="Ik", unit="A", text="Ik = I1 + I2",
    inputs={"first": "I1 [A] from one source", "second": "I2 [A] from another source"},
    valid="sources that feed one fault place through separate paths",
    safe_side="high: peaks that come at different times are added",
    basis="definition",
)
def parallel_source_current(first, second):
    """Sum of two sources that feed one fault.

    Examples:
        >>> parallel_source_current(4000.0, 1500.0)
        5500.0
    """
    return first + second


@formula(
    title="Time constant of a fault", symbol="τ", unit="ms", text="τ = L / R (µH / mΩ = ms)",
    inputs={"inductance": "L [µH] of the fault loop",
            "resistance": "R [mΩ] of the fault loop"},
    valid="resistance above 0",
    safe_side="high: take the longest loop with the lowest resistance",
    basis="definition",
)
def fault_time_constant(inductance, resistance):
    """Time constant L/R, which a DC fuse is rated for.

    Examples:
        >>> round(fault_time_constant(10e-6, 0.060) * 1e3, 4)
        0.1667
    """
    _above_zero(resistance, "the loop resistance")
    return inductance / resistance


@formula(
    title="Fault current while it rises", symbol="i", unit="A", text="i = Ik·(1 − e^(−t/τ))",
    inputs={"prospective": "Ik [A] prospective current",
            "time_constant": "τ [ms] of the loop",
            "time": "t [ms] after the fault begins"},
    valid="time at or above 0; no current before the fault; constant R and L",
    safe_side="a load current before the fault adds to it early on",
    basis="read", source="halliday-fundamentals", where="chapter 30, RL circuits",
)
def fault_current_rise(prospective, time_constant, time):
    """Current of an R-L loop a time after the fault begins.

    Examples:
        >>> round(float(fault_current_rise(1000.0, 1e-3, 1e-3)), 1)
        632.1
    """
    _above_zero(time_constant, "the time constant")
    return -prospective * np.expm1(-time / time_constant)


@formula(
    title="Loop inductance of a two-wire run per metre", symbol="L′", unit="µH/m",
    text="L′ = 0.1·(1 + 4·ln(d/r))",
    inputs={"spacing": "d [mm] between conductor centres",
            "radius": "r [mm] of one conductor"},
    valid="solid round non-magnetic conductors, spacing at or above 2·r; no steel nearby",
    safe_side="high: take the widest spacing of the run",
    basis="read", source="mehta-power-system", where="chapter 9, loop inductance",
)
def two_wire_loop_inductance(spacing, radius):
    """Loop inductance, both conductors together, per metre of run.

    Examples:
        >>> round(float(two_wire_loop_inductance(0.100, 0.0055)) * 1e6, 3)
        1.26
    """
    _above_zero(radius, "the conductor radius")
    if np.any(np.asarray(spacing) < 2.0 * np.asarray(radius)):
        raise OutOfRange("conductor centres cannot be closer than two radii: "
                         f"spacing {spacing!r:.40} m, radius {radius!r:.40} m")
    return 1e-7 * (1.0 + 4.0 * np.log(spacing / radius))


@formula(
    title="Inductance of a fault loop", symbol="L", unit="µH", text="L = L0 + L′·l",
    inputs={"pack_inductance": "L0 [µH] of modules and links",
            "per_length": "L′ [µH/m] of the run, both conductors",
            "run_length": "l [m] of the run, one way"},
    valid="any",
    safe_side="high for the time constant",
    basis="definition",
)
def fault_loop_inductance(pack_inductance, per_length, run_length):
    """Inductance of pack and run in one fault loop.

    Examples:
        >>> round(fault_loop_inductance(5e-6, 1.0e-6, 4.0) * 1e6, 3)
        9.0
    """
    return pack_inductance + per_length * run_length


@value_object
class FaultAsked:
    """What the range of a fault is computed from. Any finding may lack its value.

    Attributes:
        voltage_full: V, open-circuit voltage at full charge with charger tolerance.
        resistance_initial: Ω, millisecond, hot, new, all strings, no cable.
        voltage_empty: V, open-circuit voltage at the lowest charge allowed.
        resistance_long: Ω, long pulse, cold, aged, ONE string, long hot path included.
        loop_inductance: H, of the longest loop.
        slowest: inductance and least resistance of the slowest loop, for the time constant at
            the highest fault; None counts `loop_inductance` with `resistance_initial`.
        capacitor_current: A, peak that bus capacitors feed into the same place, if any.
        peak_load: A, largest load current, against which a trip must tell the fault.
    """

    voltage_full: Finding
    resistance_initial: Finding
    voltage_empty: Finding
    resistance_long: Finding
    loop_inductance: Finding
    slowest: tuple[Finding, Finding] | None = None
    capacitor_current: Finding | None = None
    peak_load: Finding | None = None


@value_object
class FaultRange:
    """Highest and lowest fault current of one place, each with its chain.

    Attributes:
        highest: A, from the pack alone: what its main fuse must break.
        all_sources: A, with bus capacitors: what the place and its branches see.
        lowest: A, what something must still open.
        time_constant_highest, time_constant_lowest: s, L/R at either end.
        early: A, the highest fault one millisecond after it begins.
        checks: order of the two ends, and whether a current trip can tell fault from load.
        notes: which side is safe and why.
    """

    highest: Finding
    all_sources: Finding
    lowest: Finding
    time_constant_highest: Finding
    time_constant_lowest: Finding
    early: Finding
    checks: tuple[Check, ...] = ()
    notes: tuple[str, ...] = ()


def fault_range(asked: FaultAsked) -> FaultRange:
    """Both ends of the fault current at one place.

    An end whose inputs are unknown comes back without a value, never as a guess.
    """
    highest = _known_or_blank(
        prospective_fault_current, "Highest fault current, pack alone",
        note="full, hot, new, millisecond resistance, all strings, no cable: errs high",
        voltage=asked.voltage_full, resistance=asked.resistance_initial)
    lowest = _known_or_blank(
        prospective_fault_current, "Lowest fault current",
        note="lowest charge in use, coldest cells at which contactors close, aged, long pulse, "
             "one string, long hot path: errs low; a fault beyond these corners is lower still",
        voltage=asked.voltage_empty, resistance=asked.resistance_long)
    slow = asked.slowest or (asked.loop_inductance, asked.resistance_initial)
    tau_high = _known_or_blank(
        fault_time_constant, "Time constant at the highest fault, pole-to-pole loop",
        note="slowest loop with the lowest resistance: errs high",
        inductance=slow[0], resistance=slow[1])
    tau_low = _known_or_blank(
        fault_time_constant, "Time constant at the lowest fault, pole-to-pole loop",
        inductance=asked.loop_inductance, resistance=asked.resistance_long)
    highest = with_more(highest, asked.voltage_full.untold_more)
    tau_high, tau_low = (with_more(tau, by.untold_more) for tau, by in (
        (tau_high, slow[0]), (tau_low, asked.loop_inductance)))
    return FaultRange(
        highest=highest, all_sources=_with_capacitors(highest, asked.capacitor_current),
        lowest=lowest, time_constant_highest=tau_high, time_constant_lowest=tau_low,
        early=_early(highest, tau_high), checks=range_checks(highest, lowest, asked.peak_load),
        notes=(LOWEST_IS_A_GUESS, RISE_NOTE))


def _with_capacitors(highest: Finding, capacitors: Finding | None) -> Finding:
    if capacitors is None:
        return highest.called("Highest fault current, all sources",
                              note="no bus capacitor feeds this place")
    return _known_or_blank(
        parallel_source_current, "Highest fault current, all sources",
        note="the capacitor's share lasts microseconds to milliseconds, yet can open a small "
             "healthy fuse", first=highest, second=capacitors)


def _early(highest: Finding, tau: Finding) -> Finding:
    after = leaf("Time after the fault begins", "t", "ms", 1e-3, "assumed",
                 source="packcalc-rule", note="sooner than any contactor opens")
    return _known_or_blank(fault_current_rise, "Highest fault one millisecond after it begins",
                           prospective=highest, time_constant=tau, time=after)


def _known_or_blank(function, title: str, *, note: str = "", **inputs: Finding) -> Finding:
    """Trace the formula, or a finding without value that says what is missing."""
    missing = [item.title for item in inputs.values() if not item.known]
    if not missing:
        return trace(function, title, note=note, **inputs)
    entry = function.formula
    return leaf(title, entry.symbol, entry.unit, None, "given",
                note="not known, for want of: " + "; ".join(missing))


ABOVE_PEAK = "Lowest fault current above the peak load"


def told_apart(check: Check, opened: str) -> Check:
    """A lowest fault below the load is no failure where others than a current trip open it.

    Args:
        check: one of `range_checks`.
        opened: who opens it, in words; "" where nobody is shown to.
    """
    if check.title != ABOVE_PEAK or check.verdict != FAIL or not opened:
        return check
    return replace(check, verdict=CAUTION, reason=f"{check.reason}; {opened}")


def range_checks(highest: Finding, lowest: Finding, peak: Finding | None,
                 aside: str = "") -> tuple[Check, ...]:
    """Order of the two ends, and whether a fixed trip can tell fault from load.

    Args:
        highest, lowest: of what the parts are sized for.
        peak: largest load; None asks nothing of it.
        aside: places left out of `lowest` of which a fault may be no larger than the load, in
            words; empty for none. No pass stands beside them.
    """
    order = judge("Lowest fault current at most the highest", "fault range", lowest, "at most",
                  highest, remedy="the corners are crossed: check both resistances")
    if peak is None:
        return (order,)
    tell = judge(
        ABOVE_PEAK, "who clears", lowest, "above", peak,
        reason="a fixed current threshold tells a fault from a load only when the smallest "
               "fault is the larger of the two",
        remedy="a current limit that falls with temperature, or an undervoltage trip, each by "
               "name in the management system; a warmer or fuller lower limit of use; a "
               "shorter or thicker path")
    if aside and tell.verdict == PASS:
        tell = replace(tell, verdict=CAUTION, reason=f"{tell.reason}; {aside}",
                       remedy="see these fault places")
    return (order, tell)
