"""A user's contactor, disconnect or connector held against the duty of its place."""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, Check, Fact, Requirement, figure_fact, judge,
)
from packcalc.curves import Curve
from packcalc.errors import OutOfRange
from packcalc.findings import Finding, leaf
from packcalc.part_checks.shown import (
    OPTIMISTIC, SILENT, at_voltage, counted, least_left, remark, rounded, stepped,
    terminals_check, tested_constant, voltage_check,
)
from packcalc.part_checks.limits import COUNTED_TIME
from packcalc.part_checks.overload import OverloadPath
from packcalc.part_checks.overload_carried import overload_carried
from packcalc.part_checks.withstand import Borne
from packcalc.parts import ConnectorPart, ContactorPart, DisconnectPart, Points
from packcalc.value import replace, value_object

MAKES_STEP = "makes the closing step after pre-charge"
BREAKS_CHARGING = "breaks the load, charging"
BY_WHOM = "faults are held over the whole range, see who clears"
BOTH_WAYS = counted("directions in which the path's current flows", 2, "definition")
ONE_POLE = counted("poles on one drive", 1, "common practice")


@value_object
class CarryDemand:
    """What anything in the main path must carry. Any finding may lack its value.

    Attributes:
        highest_voltage: of the pack.
        continuous_current: worse direction.
        peak_current, peak_duration: discharge.
        ambient: air around it.
        fault_highest: through it, until the fuse has cleared.
        borne: through it in every fault place, until somebody has cleared; None where nobody is
            shown to.
        overload: the main path as an overload meets it; None where nothing of it can be swept.
        in_main_path: whether the overloads of the main path run through it.
        terminal_temperature: up to which the conductors joined to it may run.
        counted_resistance: with which one closed contact is counted in sag and fault currents.
        spare_voltage: what is left above the inverter's need at the end of the peak for its
            contacts, beside those of the other part in the path.
        fault_lowest: through it, or None.
    """

    highest_voltage: Finding
    continuous_current: Finding
    peak_current: Finding
    peak_duration: Finding
    ambient: Finding
    fault_highest: Finding
    terminal_temperature: Finding | None = None
    counted_resistance: Finding | None = None
    spare_voltage: Finding | None = None
    borne: Borne | None = None
    overload: OverloadPath | None = None
    in_main_path: bool = False
    fault_lowest: Finding | None = None


@value_object
class SwitchDemand:
    """What a contactor must make and break besides.

    Attributes:
        closing_step: peak at closing after pre-charge.
        break_discharge, break_charge: largest flow of the load in either direction.
        time_constant: of the circuit that is broken.
        let_through: I²t of the fuse at the highest fault, where a fuse is chosen.
        delay: shortest time that a trip of the brief gives until the contact has opened.
        slower_loops: (voltage, time constant) of loops at lower voltages that it breaks as well.
    """

    closing_step: Finding | None
    break_discharge: Finding
    break_charge: Finding
    time_constant: Finding | None
    let_through: Finding | None = None
    delay: Finding | None = None
    slower_loops: tuple[tuple[Finding, Finding], ...] = ()


def unknown_break(title: str, known: Sequence[Finding], why: str) -> Finding:
    """A breaking current that only the fuse's curve would tell, with the least that is known."""
    least = max((f for f in known if f.known), key=lambda f: f.number, default=None)
    from_load = "" if least is None else f"at least {least.shown}, and "
    return leaf(title, "I_b", "A", None, "given", note=(
        f"{from_load}every current up to that from which your fuse opens within 1 s ({why})"))


def break_words(flow: Finding) -> str:
    """Of a sheet: what is to be broken, or all that is known of it."""
    return f"{flow.least}{flow.shown}" if flow.known else f"{flow.note}," if flow.note \
        else "not known"


def contactor_part_checks(part: ContactorPart, carry: CarryDemand,
                          switch: SwitchDemand) -> tuple[Check, ...]:
    """Every check of one contactor, in the order of the stages."""
    volts = carry.highest_voltage
    return (
        voltage_check(part, volts, "one pole rated above the highest working voltage"),
        at_voltage(judge(MAKES_STEP, "fault range", part.make_current,
                         "at least", switch.closing_step, missing=f"{SILENT}the making current"
                         if part.make_current is None else "closing step is not known",
                         remedy="a higher pre-charge level"), part, volts),
        judge(TEST, "fault range", tested_constant(part, volts), "at least",
              switch.time_constant, missing=f"{SILENT}the time constant of its breaking test",
              remedy="a contactor tested at a longer time constant"),
        *_slower_check(part, switch, volts),
        _make_and_pass(part, switch),
        *_withstand(part.short_time),
        at_voltage(_break(part, "discharging", part.break_discharge, switch.break_discharge),
                   part, volts),
        at_voltage(_break(part, "charging", part.break_charge, switch.break_charge), part, volts),
        direction_check(part),
        _own_housing(part),
        _opens_in_time(part, switch),
        *carry_checks(part, carry),
        _counted_with(part, carry),
    )


def relay_part_checks(part: ContactorPart, carry: CarryDemand,
                      switch: SwitchDemand) -> tuple[Check, ...]:
    """Every check of a pre-charge relay, which makes and breaks what its resistor lets through."""
    volts = carry.highest_voltage
    return (
        voltage_check(part, volts, "one pole rated above the highest working voltage"),
        at_voltage(judge(
            "makes the current into the empty link", "fault range", part.make_current,
            "at least", carry.peak_current, missing=f"{SILENT}the making current"
            if part.make_current is None else NO_PEAK, remedy="a larger resistance"), part, volts),
        judge(TEST, "fault range", tested_constant(part, volts), "at least",
              switch.time_constant, missing=f"{SILENT}the time constant of its breaking test"
              if part.break_time_constant is None and part.permitted_time_constant is None
              else NO_PEAK, remedy="a contactor tested at a longer time constant"),
        at_voltage(judge(
            "breaks the current of a failed pre-charge", "who clears", part.break_discharge,
            "at least", switch.break_discharge,
            missing=f"{SILENT}the breaking current discharging at this voltage"
            if part.break_discharge is None else NO_PEAK, remedy="a larger resistance"),
            part, volts),
        direction_check(part),
        _at_ambient(part, carry),
        _peak(part, carry),
    )


NO_PEAK = "the peak pre-charge current is not known"
TEST = "broken circuit is no more inductive than its test"
SLOWER = "slower loops at lower voltages are no more inductive than its test"


def direction_check(part: ContactorPart | DisconnectPart) -> Check:
    """Whether the contact breaks either way round; one marked way is a matter of mounting."""
    title = "breaks in whichever direction it is mounted"
    if not part.polarised:
        return Check(title, "who clears", NOT_EVALUATED,
                     reason=f"{SILENT}whether one direction is marked (polarised)")
    ways = counted("directions in which its breaking figure holds", 1 if part.polarised == "yes"
                   else 2, part.basis, part.origin)
    check = judge(title, "who clears", ways, "at least", BOTH_WAYS,
                  remedy="a part that is not polarised")
    return check if check.verdict != FAIL else replace(
        check, verdict=CAUTION, reason="polarised: mount it so that the marked direction is that "
        "of discharge, and prove it at commissioning; the other way round its discharging figure "
        "does not hold")


def _own_housing(part: ContactorPart) -> Check:
    """One drive for both leads would let one weld hold both."""
    title = "each battery lead has a contactor of its own"
    check = judge(title, "who clears", part.poles, "at most", ONE_POLE,
                  missing=f"{SILENT}the poles in one housing", remedy="two single-pole contactors")
    return check if check.verdict != FAIL else replace(
        check, verdict=CAUTION, reason="several poles on one drive: take one such housing for "
        "each lead, for one jammed drive holds all of its poles")


def _counted_with(part: ContactorPart, carry: CarryDemand) -> Check:
    check = judge("resistance within what one closed contactor is counted with", "voltage drop",
                  part.contact_resistance, "at most", carry.counted_resistance,
                  missing="it is not counted in any voltage here"
                  if carry.counted_resistance is None else
                  f"{SILENT}the resistance of one closed pole",
                  remedy="give it in the brief as path.contactor_resistance")
    return check if check.verdict != FAIL else replace(check, verdict=CAUTION, reason=OPTIMISTIC)


def _opens_in_time(part: ContactorPart, switch: SwitchDemand) -> Check:
    return judge("opens within the delay that the trips are given", "who clears",
                 part.opening_time, "below", switch.delay,
                 missing=f"{SILENT}the opening time with the coil suppression that is used"
                 if part.opening_time is None else "no trip's delay is given in the brief",
                 reason="the delays of the brief run until the contact has opened",
                 remedy="a longer delay in the brief, or a quicker contactor or suppression")


def _slower_check(part: ContactorPart, switch: SwitchDemand,
                  highest: Finding) -> tuple[Check, ...]:
    """Loops at lower voltages, where least is left of what is permitted there.

    The breaking test at full voltage shows a slower loop at a lower one only where it was as slow;
    else it is a question to the maker.
    """
    found = []
    for voltage, constant in switch.slower_loops:
        figure = tested_constant(part, voltage, voltage.number < highest.number)
        if figure is not None and figure.number < constant.number:
            figure = _permitted_less(part, voltage, constant)
        found.append(judge(SLOWER, "fault range", figure, "at least", constant,
                           reason=f"loop of {voltage.shown}",
                           missing=f"{SILENT}a time constant of {constant.shown} permitted at "
                                   f"{voltage.shown} or above",
                           remedy="a contactor tested at a longer time constant"))
    return tuple(sorted(found, key=least_left)[:1])


def _permitted_less(part: ContactorPart, voltage: Finding, constant: Finding) -> Finding | None:
    """What its sheet permits at a voltage, where that alone is less than a loop has; else None."""
    figure = stepped(part.permitted_time_constant, voltage, upper=True,
                     title="permitted time constant at the next stated voltage")
    return figure if figure is not None and figure.number < constant.number else None


def constant_words(constant: Finding | None) -> str:
    """Of a sheet: the time constant at full voltage; empty where it is not known."""
    if constant is None or not constant.known:
        return ""
    return f", L/R at least {rounded(constant, True)}"


def slower_duty(pairs: tuple[tuple[Finding, Finding], ...]) -> tuple[Requirement, ...]:
    """Of a sheet: what it breaks at lower voltages; none without such loops."""
    if not pairs:
        return ()
    return (Requirement("L/R at lower voltages", "at least " + "; ".join(
        f"{rounded(constant, True)} at {rounded(voltage, True)}" for voltage, constant in pairs),
        "fault places with fewer modules in the loop: less voltage, and slower").resting_on(
            *(constant for _, constant in pairs)),)


def carry_words(carry: CarryDemand) -> str:
    """Of a sheet: what it carries, and how warm what is joined to its terminals may be."""
    runs = carry.terminal_temperature
    joined = "" if runs is None or not runs.known else \
        f"; conductors of {runs.shown} at its terminals"
    return (f"{or_more(carry.continuous_current)} continuously at {carry.ambient.shown}; "
            f"{or_more(carry.peak_current)} for {carry.peak_duration.shown}{joined}")


def or_more(flow: Finding) -> str:
    """Of a sheet: a current, and whether something that is not known may raise it."""
    if not flow.known:
        return "not known"
    return flow.shown if flow.first_open is None else f"at least {flow.shown}"


def withstand_words(lowest: Finding | None, highest: Finding) -> str:
    """Of a sheet: the ends of the curve that it stands, while nobody is named who clears.

    The longest times often ask more than the highest current: neither end stands for the other.
    """
    least = "the lowest fault" if lowest is None or not lowest.known else lowest.with_end
    most = highest.with_end if highest.known else "the highest fault"
    return f"its curve from {least} to {most}: each as long as it flows, " \
        f"{COUNTED_TIME.shown} at most"


def pole_rows(resistance: Finding | None) -> tuple[Requirement, ...]:
    """Of a sheet: with what one closed pole is counted; none where nobody said."""
    return () if resistance is None or not resistance.known else (Requirement(
        "resistance", f"one closed pole, at most {resistance.shown}"),)


def dropped_rows(fuse: str, delay: Finding | None, highest: Finding,
                 through: Finding | None) -> tuple[Requirement, ...]:
    """Of a sheet: what a contactor does with its coil dropped, and when it closes onto a fault.

    Args:
        fuse: which fuse stands beside it, in words.
        delay, through: `delay` and `let_through` of its demand.
        highest: fault through it.
    """
    below = "" if delay is None or not delay.known else f", below {delay.shown}"
    passed = f"total clearing I²t of the {fuse}: not known" \
        if through is None or not through.known else through.with_end
    return (
        Requirement("opening time", f"longest and shortest, with its coil suppression{below}"),
        Requirement("opened at once", f"every current that the {fuse} has not cleared when it "
                    f"parts, up to {highest.with_end}, both directions",
                    "a crash waits for no trip").resting_on(highest),
        Requirement("makes and passes", passed, "it may close onto a fault").resting_on(through))


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
                 missing=missing if figure is None else
                 f"{flow.title} is not known: {flow.note}".rstrip(" :"),
                 reason=BY_WHOM,
                 remedy="a contactor that breaks this direction")


def carry_checks(part: ContactorPart | DisconnectPart | ConnectorPart,
                 demand: CarryDemand) -> tuple[Check, ...]:
    """Continuous current, its ambient, the peak, and the heat of what is joined to it."""
    return (
        judge("carries the continuous current", "thermal load", part.continuous_current,
              "at least", demand.continuous_current,
              missing=f"{SILENT}the continuous current" if part.continuous_current is None
              else "continuous current is not known", remedy="a larger part"),
        _at_ambient(part, demand),
        _peak(part, demand),
        *((overload_carried(part, demand.overload),) if demand.in_main_path else ()),
        terminals_check(part.terminal_limit, demand.terminal_temperature),
    )


def _at_ambient(part: ContactorPart | DisconnectPart | ConnectorPart,
                demand: CarryDemand) -> Check:
    return judge("its figure holds at this ambient", "thermal load", part.highest_ambient,
                 "at least", demand.ambient,
                 missing=f"{SILENT}the ambient and the section its continuous current holds for",
                 remedy="a cooler place, or the maker's derated figure")


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


def switch_facts(part: ContactorPart | DisconnectPart | ConnectorPart) -> tuple[Fact, ...]:
    """Columns of the table of candidates."""
    facts = [figure_fact("continuous current", "A", part.continuous_current),
             figure_fact("rated DC voltage", "V", part.rated_voltage_dc)]
    if isinstance(part, (ContactorPart, DisconnectPart)):
        facts += [figure_fact("breaks, discharging", "A", part.break_discharge),
                  figure_fact("breaks, charging", "A", part.break_charge)]
    return (*facts, *remark(part))
