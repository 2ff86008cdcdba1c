"""A user's contactor, disconnect or connector held against the duty of its place."""

from __future__ import annotations

from dataclasses import dataclass

from packcalc.checks import FAIL, NOT_EVALUATED, Check, judge
from packcalc.curves import Curve
from packcalc.errors import OutOfRange
from packcalc.findings import Finding, leaf, smallest
from packcalc.part_checks.shown import SILENT, listed, stepped, voltage_check
from packcalc.parts import ConnectorPart, ContactorPart, DisconnectPart, Points


@dataclass(frozen=True)
class CarryDemand:
    """What anything in the main path must carry. Any finding may lack its value.

    Attributes:
        highest_voltage: of the pack.
        continuous_current: worse direction.
        peak_current, peak_duration: discharge.
        ambient: air around it.
        fault_highest: through it, until the fuse has cleared.
        cut_off: peak that the chosen fuse lets through, where its sheet says so.
    """

    highest_voltage: Finding
    continuous_current: Finding
    peak_current: Finding
    peak_duration: Finding
    ambient: Finding
    fault_highest: Finding
    cut_off: Finding | None = None


@dataclass(frozen=True)
class SwitchDemand:
    """What a contactor must make and break besides.

    Attributes:
        closing_step: peak at closing after pre-charge.
        break_discharge, break_charge: largest flow of the load in either direction.
        time_constant: of the circuit that is broken.
        let_through: I²t of the fuse at the highest fault, where a fuse is chosen.
    """

    closing_step: Finding | None
    break_discharge: Finding
    break_charge: Finding
    time_constant: Finding | None
    let_through: Finding | None = None


def contactor_part_checks(part: ContactorPart, carry: CarryDemand,
                          switch: SwitchDemand) -> tuple[Check, ...]:
    """Every check of one contactor, in the order of the stages."""
    return (
        voltage_check(part, carry.highest_voltage,
                      "one pole rated above the highest working voltage"),
        judge("makes the closing step after pre-charge", "fault range", part.make_current,
              "at least", switch.closing_step, missing=f"{SILENT}the making current"
              if part.make_current is None else "closing step is not known",
              remedy="a higher pre-charge level"),
        judge("broken circuit is no more inductive than its test", "fault range",
              _test_time_constant(part, carry.highest_voltage), "at least", switch.time_constant,
              missing=f"{SILENT}the time constant of its breaking test",
              remedy="a contactor tested at a longer time constant"),
        _make_and_pass(part, switch),
        *_withstand(part.short_time),
        _break(part, "discharging", part.break_discharge, switch.break_discharge),
        _break(part, "charging", part.break_charge, switch.break_charge),
        *carry_checks(part, carry),
    )


def _test_time_constant(part: ContactorPart, voltage: Finding) -> Finding | None:
    return stepped(part.permitted_time_constant, voltage, upper=True,
                   title="permitted time constant at the next stated voltage") \
        or part.break_time_constant


def _make_and_pass(part: ContactorPart, switch: SwitchDemand) -> Check:
    return judge("closes onto a fault and passes what the fuse lets through", "fault range",
                 part.make_and_pass, "at least", switch.let_through,
                 missing=f"{SILENT}the make-and-pass I²t" if part.make_and_pass is None else
                 "total clearing I²t of the fuse at the highest fault is not known",
                 remedy="a fuse that lets less through, or a stronger contactor")


def _withstand(points: Points | None) -> tuple[Check, ...]:
    """A question where the curve lacks; where it is given, the pairs are held over the range."""
    if points is not None:
        return ()
    return (Check("short-time withstand, closed, against the fuse", "fault range", NOT_EVALUATED,
                  reason=f"{SILENT}the short-time withstand curve, closed and unwelded"),)


def _break(part: ContactorPart, way: str, figure: Finding | None, flow: Finding) -> Check:
    polarised = part.polarised == "yes"
    missing = f"{SILENT}the breaking current {way} at this voltage"
    if polarised and figure is None:
        missing += "; the part is polarised, the other direction's figure does not hold here"
    return judge(f"breaks the load, {way}", "who clears", figure, "at least", flow,
                 missing=missing if figure is None else f"{flow.title} is not known",
                 reason="faults are held over the whole range, see who clears",
                 remedy="a contactor that breaks this direction")


def carry_checks(part: ContactorPart | DisconnectPart | ConnectorPart,
                 demand: CarryDemand) -> tuple[Check, ...]:
    """Continuous current, its ambient, and the peak."""
    return (
        judge("carries the continuous current", "thermal load", part.continuous_current,
              "at least", demand.continuous_current,
              missing=f"{SILENT}the continuous current" if part.continuous_current is None
              else "continuous current is not known", remedy="a larger part"),
        judge("its figure holds at this ambient", "thermal load", part.highest_ambient, "at least",
              demand.ambient, missing=f"{SILENT}the ambient and the section its continuous "
              "current holds for", remedy="a cooler place, or the maker's derated figure"),
        _peak(part, demand),
    )


def _peak(part: ContactorPart | DisconnectPart | ConnectorPart, demand: CarryDemand) -> Check:
    title, stage = "carries the peak for its duration", "thermal load"
    whole = part.continuous_current
    if whole is not None and demand.peak_current.known \
            and whole.number >= demand.peak_current.number:
        return judge(title, stage, whole, "at least", demand.peak_current,
                     reason="the continuous current covers the peak")
    figure = carried_at(part.carry, demand.peak_duration)
    return judge(title, stage, figure, "at least", demand.peak_current,
                 missing=f"{SILENT}a carry point at {demand.peak_duration.shown} or longer",
                 remedy="a larger part, or a shorter peak")


def carried_at(points: Points | None, time: Finding) -> Finding | None:
    """Current of a carry curve at a time, inside its points; before them the first point."""
    if points is None or not time.known:
        return None
    curve: Curve = points.curve
    if time.number < curve.shortest:
        return leaf("first point of the carry curve", "I", "A", curve.highest, points.basis,
                    origin=points.origin)
    try:
        return curve.trace_current(time, "carried so long")
    except OutOfRange:
        return None


def switch_facts(part: ContactorPart | DisconnectPart | ConnectorPart
                 ) -> tuple[tuple[str, str], ...]:
    """Columns of the table of candidates."""
    facts = [("continuous current", listed(part.continuous_current)),
             ("rated DC voltage", listed(part.rated_voltage_dc))]
    if isinstance(part, (ContactorPart, DisconnectPart)):
        facts += [("breaks, discharging", listed(part.break_discharge)),
                  ("breaks, charging", listed(part.break_charge))]
    return tuple(facts)


def disconnect_part_checks(part: DisconnectPart, demand: CarryDemand) -> tuple[Check, ...]:
    """Every check of one service disconnect."""
    lock = {"yes": "pass", "no": "fail"}.get(part.interlock, NOT_EVALUATED)
    return (
        voltage_check(part, demand.highest_voltage, "rated above the highest working voltage"),
        Check("a pilot contact opens first", "isolation and distance", lock,
              reason="given on the list" if part.interlock else f"{SILENT}the interlock contact: "
              "a disconnect without breaking capacity must never be pulled under load",
              remedy="a disconnect with an interlock contact"),
        _fault_carry(part, demand), *carry_checks(part, demand))


def connector_part_checks(part: ConnectorPart, demand: CarryDemand) -> tuple[Check, ...]:
    """Every check of one connector."""
    return (voltage_check(part, demand.highest_voltage, "rated above the highest working voltage"),
            _fault_carry(part, demand), *carry_checks(part, demand))


def _fault_carry(part: DisconnectPart | ConnectorPart, demand: CarryDemand) -> Check:
    title, stage = "withstands the highest fault until the fuse has cleared", "fault range"
    if part.short_time is None:
        return Check(title, stage, NOT_EVALUATED, None, demand.fault_highest, "at least",
                     f"{SILENT}its short-time withstand")
    curve = part.short_time.curve
    top = leaf(f"its withstand for {curve.shortest * 1e3:g} ms", "I", "A", curve.highest,
               part.basis, origin=curve.origin)
    ends = [f for f in (demand.fault_highest, demand.cut_off) if f is not None and f.known]
    seen = smallest(ends, "fault current that it sees") if ends else demand.fault_highest
    check = judge(title, stage, top, "at least", seen, missing="highest fault is not known")
    if check.verdict != FAIL:
        return check
    return Check(title, stage, NOT_EVALUATED, top, seen, "at least", "above the last point of its "
                 f"withstand curve: {SILENT}a point at that current",
                 "a stronger part, or a fuse whose cut-off current it stands")
