"""The two main contactors: carry, close after pre-charge, break in both directions.

No figure of a contactor is invented here: what its data sheet must state is asked for, and
the preferred currents are a size guide only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from packcalc import transients as tr
from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, Candidate, Check, Item, Requirement, judge, named_part,
    open_of,
)
from packcalc.errors import OutOfRange
from packcalc.findings import (
    Finding, Origin, formula, largest, leaf, smallest, trace, untold_of, with_more,
)
from packcalc.part_checks.contactor import (
    CarryDemand, SwitchDemand, break_words, carry_words, constant_words, contactor_part_checks,
    dropped_rows,
    pole_rows, slower_duty, switch_facts, withstand_words,
)
from packcalc.part_checks.overload import OverloadPath
from packcalc.part_checks.overload_carried import overload_rows
from packcalc.part_formulas import loop_time_constant
from packcalc.parts import ContactorPart
from packcalc.tables import table
from packcalc.units import significant
from packcalc.value import replace, value_object

TITLE = "Main contactors"
CLOSING_STEP = "Step current at closing after pre-charge"
CATEGORY_SOURCE = "iec-60947-4-1-contactors"
SIZES_LISTED = 5
LARGEST_SIZE = 8000.0

NOTES = (
    "Two poles in series, one in each battery lead: each pole alone must break the full DC "
    "voltage. A pair never adds up voltages unless its maker states a series rating.",
    "Many sealed DC contactors are polarised (blow-out magnets, common practice): the pack "
    "contactor breaks discharge and charge or regeneration current, so the worse direction rules.",
    "IEC 60947-4-1, making and breaking test: DC-1 (hardly inductive) 1.5 times rated current at "
    "1.0 ms, DC-3 (shunt motor, plugging) 4 times at 2.5 ms [iec-60947-4-1-contactors]. The "
    "endurance tests have other figures. Written for industrial switchgear.",
    "Salvaged sealed contactors: loss of gas does not show in continuity, coil or voltage-drop "
    "tests; it shows only when the contactor must break. Unknown history means: do not rely on it.",
    "Most failures come from capacitor inrush. A contactor that had to be freed from a weld is "
    "scrap.",
    "Cycle counts on data sheets are often without load; ask for the count at the breaking "
    "current. A plain diode across the coil slows opening and lengthens the arc; ask the maker "
    "for the suppression meant (common practice).",
)


@formula(
    title="Damping ratio of a series circuit", symbol="ζ", unit="",
    text="ζ = (R/2000)·√(1000·C/L)",
    inputs={"resistance": "R [mΩ] loop", "inductance": "L [µH] loop",
            "capacitance": "C [mF] sum on the bus"},
    basis="read", source=tr.TEXTBOOK_POWER, where="example 2.7 (α 40000 over ω0 100000 per second)")
def damping_ratio(resistance: Any, inductance: Any, capacitance: Any) -> Any:
    """Below 1 the current rings, above 1 it creeps.

    Examples:
        >>> round(float(damping_ratio(0.06, 5e-6, 1e-3)), 4)
        0.4243
    """
    return resistance / 2 * np.sqrt(capacitance / inductance)


@formula(
    title="Step current without resistance (bound)", symbol="I_LC", unit="A",
    text="I_LC = ΔV·√(1000·C/L)",
    inputs={"difference": "ΔV [V] across the open contact", "inductance": "L [µH] loop",
            "capacitance": "C [mF] sum on the bus"},
    basis="read", source=tr.TEXTBOOK_POWER, where="example 2.6 (220 V, 80 µH, 20 µF: 110 A)",
    safe_side="always above the true peak")
def ringing_bound(difference: Any, inductance: Any, capacitance: Any) -> Any:
    """Peak if nothing damped the loop.

    Examples:
        >>> round(float(ringing_bound(20.0, 5e-6, 1e-3)), 2)
        282.84
    """
    return difference * np.sqrt(capacitance / inductance)


@formula(
    title="Step current when a contact closes onto a capacitor", symbol="I_p", unit="A",
    text="I_p = ΔV·√(1000·C/L)·exp(−g), with ζ = (R/2000)·√(1000·C/L) and "
         "g = ζ·arccos(ζ)/√(1 − ζ²) below ζ = 1, 1 at ζ = 1, ζ·arcosh(ζ)/√(ζ² − 1) above",
    inputs={"difference": "ΔV [V] across the open contact", "resistance": "R [mΩ] loop",
            "inductance": "L [µH] loop", "capacitance": "C [mF] sum on the bus"},
    basis="computed", source=tr.TEXTBOOK_POWER,
    where="examples 2.6 and 2.7 (undamped and ringing); peak by di/dt = 0, all three cases",
    valid="R ≥ 0, L > 0, C > 0; one lumped loop, no load current",
    safe_side="lowest R and L, largest C and ΔV")
def closing_peak(difference: Any, resistance: Any, inductance: Any, capacitance: Any) -> Any:
    """True peak of the damped series circuit, ringing, critical or creeping.

    Examples:
        >>> round(float(closing_peak(20.0, 0.06, 5e-6, 1e-3)), 3)
        166.371
    """
    ratio = damping_ratio(resistance, inductance, capacitance)
    return ringing_bound(difference, inductance, capacitance) * np.exp(-_peak_decay(ratio))


def _peak_decay(ratio: Any) -> Any:
    """Decay up to the first peak, α·t_p, as a function of the damping ratio."""
    zeta = np.asarray(ratio, dtype=float)
    near = np.abs(zeta - 1) < 1e-6  # 0/0 at critical damping; the slope there is 2/3
    apart = np.where(near, 0.5, zeta)
    below = np.arccos(np.minimum(apart, 1.0)) / np.sqrt(np.abs(1 - apart * apart))
    above = np.arccosh(np.maximum(apart, 1.0)) / np.sqrt(np.abs(1 - apart * apart))
    decay = apart * np.where(apart < 1, below, above)
    return np.where(near, 1 + (zeta - 1) * 2 / 3, decay)[()]


@value_object
class ContactorAsked:
    """What the main contactors must carry, make and break. Any finding may lack its value.

    Attributes:
        highest_voltage: highest working voltage of the pack.
        continuous_current: discharge, the hottest corner.
        peak_current, peak_duration: discharge.
        charge_current: from the charger, continuous, the other direction.
        regeneration_current: from the motor, the other direction.
        fault_highest: highest fault current through the contactor.
        fuse_let_through: total clearing I²t of the main fuse at that fault.
        break_discharge, break_charge: largest current that a trip may have to break.
        closing_voltage_difference: across the open contact after pre-charge.
        loop_resistance, loop_inductance: battery to bus capacitor, lowest values.
        capacitance: bus capacitance, upper tolerance.
        box_ambient: air around the contactor.
        poles: main poles.
        breaking_inductance: largest inductance of the circuit that is broken; the smallest,
            which is safe for the closing step, is not safe for breaking.
        terminal_temperature, counted_resistance: as in `CarryDemand`, or None.
        delay: as in `SwitchDemand`, or None.
        longest_constant: of all fault places from pole to pole, or None.
        slower_loops: as in `SwitchDemand`.
        overload, fault_lowest: as in `CarryDemand`.
    """

    highest_voltage: Finding
    continuous_current: Finding
    peak_current: Finding
    peak_duration: Finding
    charge_current: Finding
    regeneration_current: Finding
    fault_highest: Finding
    fuse_let_through: Finding
    break_discharge: Finding
    break_charge: Finding
    closing_voltage_difference: Finding
    loop_resistance: Finding
    loop_inductance: Finding
    capacitance: Finding
    box_ambient: Finding
    poles: int = 2
    breaking_inductance: Finding | None = None
    terminal_temperature: Finding | None = None
    counted_resistance: Finding | None = None
    delay: Finding | None = None
    longest_constant: Finding | None = None
    slower_loops: tuple[tuple[Finding, Finding], ...] = ()
    overload: OverloadPath | None = None
    fault_lowest: Finding | None = None

    @property
    def lacking(self) -> tuple[Finding, ...]:
        """The findings without a value."""
        return tuple(item for item in self.findings if not item.known)

    @property
    def findings(self) -> tuple[Finding, ...]:
        values = (getattr(self, f.name) for f in fields(self))
        return tuple(value for value in values if isinstance(value, Finding))

    def refuse_nonsense(self) -> None:
        """Raise OutOfRange where a value lies outside the formulas' range."""
        if self.poles < 2:
            raise OutOfRange(f"{self.poles} pole: a traction battery is opened in both leads; "
                             "ask for 2")
        for item in self.findings:
            if item is not self.box_ambient and item.known and item.number < 0:
                raise OutOfRange(f"{item.title} {item.shown} is negative; give magnitudes, the "
                                 "direction is in the name")
        for item in (self.loop_resistance, self.loop_inductance, self.capacitance):
            if item.known and item.number == 0:
                raise OutOfRange(f"{item.title} is zero: the closing current would have no limit")


@value_object
class ClosingStep:
    """The current step when the main closes onto the pre-charged bus."""

    peak: Finding
    bound: Finding
    damping: Finding


def closing_step(asked: ContactorAsked) -> ClosingStep | None:
    """True peak of the damped loop with its bounds; None when a value lacks."""
    difference, loop_r = asked.closing_voltage_difference, asked.loop_resistance
    loop_l, capacitance = asked.loop_inductance, asked.capacitance
    if not all(f.known for f in (difference, loop_r, loop_l, capacitance)):
        return None
    resistive = trace(tr.current_at, "Step current without inductance (bound)", symbol="I_R",
                      voltage=difference, resistance=loop_r)
    ringing = trace(ringing_bound, difference=difference, inductance=loop_l,
                    capacitance=capacitance)
    peak = with_more(trace(closing_peak, CLOSING_STEP, difference=difference, resistance=loop_r,
                           inductance=loop_l, capacitance=capacitance), capacitance.untold_more)
    damping = trace(damping_ratio, "Damping of the closing loop", resistance=loop_r,
                    inductance=loop_l, capacitance=capacitance)
    return ClosingStep(peak, smallest([resistive, ringing], "Bound of the step current",
                                      "the true peak lies below both"), damping)


def size_contactors(asked: ContactorAsked, parts: Sequence[ContactorPart] = (), *,
                    named: str = "") -> Item:
    """Duty, specification, size guide and the user's own parts for the main contactors.

    Args:
        asked: what they must carry, make and break.
        parts: contactors of the user's list; they stand after the size guide.
        named: the one that the brief names.

    Raises:
        OutOfRange: negative magnitudes, a loop without impedance, fewer than two poles.
    """
    asked.refuse_nonsense()
    step = closing_step(asked)
    carry, breaking = _carry(asked), _breaking(asked)
    candidates = _candidates(asked, carry, breaking, step) + tuple(
        _part_candidate(part, asked, carry, step) for part in parts)
    of_named = named_part(named, candidates)
    return Item(
        key="contactors", title=TITLE, governing=_governing(
            carry, breaking or _open_break(asked), step),
        duty=_duty(asked, carry, breaking, step),
        specification=_specification(asked, carry, breaking, step),
        candidates=candidates,
        open_items=open_of(named, candidates, _open_items(asked, breaking, step)), notes=NOTES,
        # The data sheet of a named part answers what else is asked of its maker.
        checks=of_named or _duty_checks(asked, breaking, step),
    )


def _carry(asked: ContactorAsked) -> Finding | None:
    """Largest continuous current of both directions."""
    known = [f for f in (asked.continuous_current, asked.charge_current) if f.known]
    if not asked.continuous_current.known or not known:
        return None
    return largest(known, "Continuous current to carry")


def _breaking(asked: ContactorAsked) -> Finding | None:
    """The worse direction, at least what flows; None while a trip current is not known."""
    trips = (asked.break_discharge, asked.break_charge)
    if not all(f.known for f in trips):
        return None
    flows = [f for f in (asked.peak_current, asked.regeneration_current, asked.charge_current)
             if f.known]
    return largest([*trips, *flows], "Largest current to break, worse direction")


def _open_break(asked: ContactorAsked) -> Finding:
    """The direction that is not known, with all that is."""
    return next(f for f in (asked.break_discharge, asked.break_charge) if not f.known)


def _governing(carry: Finding | None, breaking: Finding, step: ClosingStep | None) -> str:
    parts = [
        f"breaks {break_words(breaking)} in its worse direction"
        if breaking.known or breaking.note else "breaking current not known in both directions",
        f"carries {carry.with_end}" if carry else "continuous current not known",
        f"closes onto a step of {step.peak.with_end}" if step else "closing step not known",
    ]
    return "; ".join(parts)


def _duty(asked: ContactorAsked, carry: Finding | None, breaking: Finding | None,
          step: ClosingStep | None) -> tuple[Finding, ...]:
    lines = [breaking, asked.break_discharge, asked.break_charge, carry, asked.peak_current,
             asked.peak_duration, asked.regeneration_current]
    if step:
        lines += [step.peak, step.bound, step.damping]
    lines += [_time_constant(asked), asked.fault_highest, asked.fuse_let_through,
              asked.highest_voltage, asked.box_ambient]
    return tuple(line for line in lines if line is not None)


def _time_constant(asked: ContactorAsked) -> Finding | None:
    inductance = asked.breaking_inductance
    if inductance is None or not (asked.loop_resistance.known and inductance.known):
        return None
    title, longest = "Time constant of the circuit that is broken", asked.longest_constant
    own = trace(loop_time_constant, title, inductance=inductance, resistance=asked.loop_resistance)
    found = own if longest is None or longest.number <= own.number else longest.called(
        title, own.symbol)
    return with_more(found, untold_of((inductance, *((longest,) if longest else ()))))


def _ask(figure: str, *needs: Finding | None) -> str:
    """The question to a supplier, with what the brief still lacks."""
    lacking = [f.title for f in needs if f is not None and not f.known]
    return figure + (f"; first find: {', '.join(lacking)}" if lacking else "")


def _duty_checks(asked: ContactorAsked, breaking: Finding | None,
                 step: ClosingStep | None) -> tuple[Check, ...]:
    tested = leaf("Time constant of the DC-1 making and breaking test", "T", "ms", 1e-3, "read",
                  source=CATEGORY_SOURCE)
    loop = _time_constant(asked)
    return (
        _as_caution(judge(
            "broken circuit is no more inductive than the DC-1 test", "fault range", loop,
            "at most", tested, missing="largest inductance and least resistance of the broken "
                                       "circuit are not known",
            remedy="a contactor whose breaking current is stated at this L/R (DC-3: 2.5 ms "
                   "[iec-60947-4-1-contactors])")),
        _short_time(asked),
        _direction(asked),
    )


def _as_caution(check: Check) -> Check:
    """Beyond the DC-1 test a contactor may still be stated: a question, not a failure."""
    return replace(check, verdict=CAUTION) if check.verdict == FAIL else check


def _short_time(asked: ContactorAsked) -> Check:
    title = "closed contactor withstands what the fuse lets through"
    if not asked.fuse_let_through.known:
        words = ("total clearing I²t and cut-off peak of the chosen fuse at this voltage (fuse "
                 "maker), then the contactor's withstand (contactor maker)")
    else:
        words = (f"ask the contactor's maker whether it stays closed and unwelded at "
                 f"{asked.fuse_let_through.with_end} and the fuse's cut-off peak (highest fault "
                 f"{asked.fault_highest.with_end})")
    return judge(title, "fault range", None, "at least", asked.fuse_let_through, missing=words)


def _direction(asked: ContactorAsked) -> Check:
    title = "trips in both directions are within the breaking capacity"
    lacking = [f for f in (asked.break_discharge, asked.break_charge) if not f.known]
    if lacking:
        reason = "not known: " + ", ".join(f.title for f in lacking)
    else:
        reason = (f"ask the maker for the breaking current in each direction at "
                  f"{asked.highest_voltage.with_end} DC: {asked.break_discharge.with_end} "
                  f"discharging, {asked.break_charge.with_end} charging; above its limit the "
                  "contactor must not open before the fuse")
    return Check(title, "who clears", NOT_EVALUATED, None, _breaking(asked), "at least", reason)


def preferred_sizes(duty: float) -> list[float]:
    """Preferred currents from the one just below a duty upwards.

    Raises:
        OutOfRange: the duty lies outside the series offered.

    Examples:
        >>> preferred_sizes(230.0)
        [200.0, 250.0, 315.0, 400.0, 500.0]
    """
    if not 1.0 <= duty <= LARGEST_SIZE:
        raise OutOfRange(f"continuous current {duty:g} A is outside the preferred currents "
                         f"1 A to {LARGEST_SIZE:g} A")
    series = [round(value * 10.0 ** step, 6) for step in range(4)
              for value in table("preferred_currents").numbers("value_A")]
    first = max((i for i, value in enumerate(series) if value < duty), default=0)
    return series[first:first + SIZES_LISTED]


def _candidates(asked: ContactorAsked, carry: Finding | None, breaking: Finding | None,
                step: ClosingStep | None) -> tuple[Candidate, ...]:
    if carry is None or not 1.0 <= carry.number <= LARGEST_SIZE:
        return ()
    return tuple(_candidate(asked, size, carry, breaking, step)
                 for size in preferred_sizes(carry.number))


def _candidate(asked: ContactorAsked, size: float, carry: Finding, breaking: Finding | None,
               step: ClosingStep | None) -> Candidate:
    series = table("preferred_currents")
    rated = leaf("Preferred current (size guide)", "I_e", "A", size, series.basis,
                 source=series.source, origin=Origin("table preferred_currents", key="value_A",
                                                     text=significant(size)))
    checks = (
        judge("one pole rated above the highest working voltage", "highest voltage", None, "above",
              asked.highest_voltage, missing=f"ask for the rated DC voltage of one pole (above "
              f"{asked.highest_voltage.least}{asked.highest_voltage.shown})"),
        _making(step, asked),
        judge("breaks the largest trip current, worse direction", "who clears", None, "at least",
              breaking, missing=_ask("ask for the breaking current in each direction and its "
                                     "number of operations", asked.break_discharge,
                                     asked.break_charge)),
        judge("carries the continuous current", "thermal load", rated, "at least", carry,
              reason="size guide only: the rating must be stated at the box ambient and with the "
                     "cable sizes used", remedy="a larger size"),
        _ambient(asked, carry),
        _peak(asked, rated),
    )
    return Candidate(f"{significant(size)} A".replace(".0 A", " A"), checks)


def _carried(asked: ContactorAsked, carry: Finding | None) -> CarryDemand:
    return CarryDemand(
        highest_voltage=asked.highest_voltage,
        continuous_current=carry if carry is not None else asked.continuous_current,
        peak_current=asked.peak_current, peak_duration=asked.peak_duration,
        ambient=asked.box_ambient, fault_highest=asked.fault_highest,
        terminal_temperature=asked.terminal_temperature,
        counted_resistance=asked.counted_resistance, overload=asked.overload,
        in_main_path=True)


def _part_candidate(part: ContactorPart, asked: ContactorAsked, carry: Finding | None,
                    step: ClosingStep | None) -> Candidate:
    demand = _carried(asked, carry)
    flows = [f for f in (asked.charge_current, asked.regeneration_current) if f.known]
    switch = SwitchDemand(
        closing_step=step.peak if step else None, break_discharge=asked.peak_current,
        break_charge=largest(flows, "largest load, charging") if flows else asked.charge_current,
        time_constant=_time_constant(asked), let_through=asked.fuse_let_through,
        delay=asked.delay, slower_loops=asked.slower_loops)
    return Candidate(part.name, contactor_part_checks(part, demand, switch), switch_facts(part),
                     own=True)


def _making(step: ClosingStep | None, asked: ContactorAsked) -> Check:
    words = _ask("ask for the making current and its number of operations",
                 asked.closing_voltage_difference, asked.loop_resistance, asked.loop_inductance,
                 asked.capacitance)
    return judge("makes the closing step after pre-charge", "fault range", None, "at least",
                 step.peak if step else None, missing=words)


def _ambient(asked: ContactorAsked, carry: Finding) -> Check:
    return judge("carries it at the box ambient", "thermal load", None, "at least", carry,
                 missing=f"ask for the carry current at {asked.box_ambient.shown} and the cable "
                         "section it was tested with")


def _peak(asked: ContactorAsked, rated: Finding) -> Check:
    title = "carries the peak for its duration"
    peak = asked.peak_current
    if peak.known and rated.number >= peak.number:
        return judge(title, "thermal load", rated, "at least", peak,
                     reason="the continuous size covers the peak")
    return Check(title, "thermal load", NOT_EVALUATED, None, peak, "at least",
                 f"ask for the carry curve: {peak.shown} for {asked.peak_duration.shown}")


def _specification(asked: ContactorAsked, carry: Finding | None, breaking: Finding | None,
                   step: ClosingStep | None) -> tuple[Requirement, ...]:
    volts = asked.highest_voltage.least + asked.highest_voltage.shown
    constant, peak = _time_constant(asked), step.peak if step else None
    return (
        Requirement("poles", f"{asked.poles}, one in each battery lead",
                    "one welded pole must not leave the pack connected"),
        Requirement("voltage", f"each pole alone above {volts} DC",
                    "poles in series add no voltage without a stated series rating"),
        Requirement("carries", carry_words(_carried(asked, carry))),
        *overload_rows(asked.overload),
        Requirement("breaks", f"{break_words(asked.break_discharge)} discharging and "
                    f"{break_words(asked.break_charge)} charging at {volts} DC"
                    + (constant_words(constant) or ", L/R not known"),
                    "not polarised, or rated for the worse direction"
                    + (f": {breaking.with_end}" if breaking else "")).resting_on(
                        asked.break_discharge, asked.break_charge, constant),
        *slower_duty(asked.slower_loops),
        *pole_rows(asked.counted_resistance),
        *dropped_rows("main fuse", asked.delay, asked.fault_highest, asked.fuse_let_through),
        Requirement("makes", f"{_text(peak)} at closing after pre-charge",
                    "peak of the damped loop; the bound is "
                    + _text(step.bound if step else None)).resting_on(peak),
        Requirement("short-time withstand", withstand_words(
            asked.fault_lowest, asked.fault_highest),
            "stays closed and unwelded until somebody has cleared the fault").resting_on(
                asked.fault_lowest, asked.fault_highest),
        Requirement("feedback", "auxiliary contact that shows the main contact, for weld "
                    "detection (common practice)"),
        Requirement("condition", "new; a salvaged sealed contactor only with its maker's test"),
    )


def _text(item: Finding | None) -> str:
    return item.with_end if item is not None and item.known else "not known"


def _open_items(asked: ContactorAsked, breaking: Finding | None,
                step: ClosingStep | None) -> tuple[str, ...]:
    asks = [f"{item.title}: not known; give it in the brief or choose the part it comes from"
            for item in asked.lacking]
    asks.append("Contactor data sheet: breaking current in both directions at the highest "
                "voltage, making current, carry curve at the box ambient, short-time withstand.")
    return tuple(asks)
