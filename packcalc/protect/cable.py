"""The cables of one route: required table current first, then every section held to it.

One rule set at a time, never two in one sum. Conductor temperature is held against the
terminals as well as the insulation, because a hot cable must not run into a cool terminal.
Several runs a pole are unequal in practice: the busier one is judged, and in a fault one
run alone must stand the whole current.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import field, fields
from typing import Any, TypeVar

from packcalc import tables
from packcalc.cable_rules import (
    OTHER,
    UP,
    RuleSet,
    Section,
    beside_name,
    next_gauge,
    rule_set,
    sections,
)
from packcalc.checks import (
    CAUTION,
    FAIL,
    NOT_EVALUATED,
    PASS,
    STAGES,
    Candidate,
    Check,
    Fact,
    Item,
    Requirement,
    figure_fact,
    judge,
    named_part,
    word_fact,
)
from packcalc.conductors import (
    TABLE_AT,
    adiabatic_constant,
    cable_fault_integral,
    minimum_section,
    required_table_current,
    route_current,
)
from packcalc.errors import OutOfRange
from packcalc.findings import (
    OR_LESS, Finding, largest, leaf, smallest, trace, with_less, with_more,
)
from packcalc.layout_findings import of_copper
from packcalc.part_checks.path_conductors import ENDED_ONLY, asked_beyond
from packcalc.part_checks.shown import SILENT, remark, stepped, voltage_check
from packcalc.parts import CablePart
from packcalc.protect.route_figures import (
    NOBODY,
    Duty,
    Figures,
    Frame,
    RouteAsked,
    cables_a_pole,
    duties_of,
    duty_of,
    figures_of,
    frame_of,
    thinner_figures,
    warming_of,
)
from packcalc.value import replace, value_object

Made = TypeVar("Made")
OVERLOAD = "Overload protection"
WHOLE_RANGE = "largest I²t of the whole fault range, see who clears"
SOME_LEFT = "some of it nobody ends, or is shown to end"
THINNER = "none: thinner than every section of the table"


@value_object
class RunChoice:
    """The smallest section that qualifies with one number of cables a pole.

    Attributes:
        runs: cables a pole.
        required: required table current; None of a named cable outside the table's factors.
        candidate: the smallest that qualifies, or None.
        current_capacity: of the whole route, for the fuse's cable side; where nobody ends an
            overload, of the smallest section that fails by nothing else.
        loop_resistance: hot, out and back, all runs.
        withstand: k²S² of one cable.
        survivable: fault current that one cable survives for the counted time.
        section: of one cable.
        warming: I²t that takes one cable from its peak to its steady limit; None where the peak
            leaves nothing.
        conductor: its row of the table; None of a cable of the list.

    A named cable of which a figure is not known lacks that: no other cable's stands in for it.
    """

    runs: int
    required: Finding | None = None
    candidate: Candidate | None = None
    current_capacity: Finding | None = None
    loop_resistance: Finding | None = None
    withstand: Finding | None = None
    survivable: Finding | None = None
    section: Finding | None = None
    warming: Finding | None = None
    conductor: Section | None = None


# What is asked of a route besides its load, its way and its sections: who clears a fault in it.
_OF_FAULTS = ("let_through", "overload", "unended", "left", "unshown", "protected_by", "fuse_lost",
              "fuse_open")


class _Worked:
    """Frame, duties and figures of one route, which do not hang on who clears a fault in it."""

    def __init__(self, asked: RouteAsked) -> None:
        self._asked = asked
        self._known: dict[tuple[object, ...], Any] = {}

    def holds_for(self, asked: RouteAsked) -> bool:
        """Whether the very same load, way and sections are asked for."""
        return all(getattr(asked, f.name) is getattr(self._asked, f.name) for f in fields(asked)
                   if f.name not in _OF_FAULTS)

    def once(self, make: Callable[..., Made], *given: Any, key: tuple[object, ...]) -> Made:
        if key not in self._known:
            self._known[key] = make(*given)
        return self._known[key]


@value_object
class RouteResult:
    """What was asked, the item for the report, and the choice for each run count.

    `worked` is kept for the same route with other words of who clears a fault. Of a route for
    which the brief names no cable the choice is our own, and the cable that is laid may be
    thinner: its figures say so, and no part passes against them.
    """

    asked: RouteAsked
    item: Item
    choices: tuple[RunChoice, ...] = ()
    worked: _Worked | None = field(default=None, compare=False, repr=False)

    @property
    def chosen(self) -> RunChoice | None:
        """The choice with the fewest cables a pole."""
        return next((c for c in self.choices if c.candidate is not None), None)

    def _of_chosen(self, name: str) -> Finding | None:
        return self._as_told(getattr(self.chosen, name)) if self.chosen else None

    def _as_told(self, found: Finding | None) -> Finding | None:
        """A figure of the choice; only the most that it can be where no cable is named."""
        if not self.asked.unnamed or found is None:
            return found
        return with_less(found, f"{self.asked.unnamed}, and a thinner one carries and stands less")

    @property
    def current_capacity(self) -> Finding | None:
        return self._of_chosen("current_capacity") if self.chosen else self._as_told(next(
            (c.current_capacity for c in self.choices if c.current_capacity is not None), None))

    @property
    def loop_resistance(self) -> Finding | None:
        return self.chosen.loop_resistance if self.chosen else None

    @property
    def section(self) -> Finding | None:
        """Of one cable; more may be laid where none is named."""
        found = self.chosen.section if self.chosen else None
        return None if found is None else with_more(found, self.asked.unnamed)

    @property
    def withstand(self) -> Finding | None:
        return self._of_chosen("withstand")

    @property
    def warming(self) -> Finding | None:
        return self._of_chosen("warming")


def size_route(asked: RouteAsked, parts: Sequence[CablePart] = (), *, named: str = "",
               before: RouteResult | None = None) -> RouteResult:
    """Size one route with every wanted number of cables a pole, and the user's own cables.

    Args:
        asked: what the route has to do.
        parts: cables of the user's list; they stand after the sections of the table.
        named: the one that the brief names for this route; it then is the route's choice.
        before: the route as it was sized before more was known of who clears a fault.

    Raises:
        UnknownName: no such rule set.
    """
    rule = rule_set(asked.rules)
    missing = [f.title for f in (asked.continuous_current, asked.ambient, asked.insulation_class,
                                 asked.terminal_limit, asked.grouped_circuits, asked.length,
                                 asked.peak_current, asked.peak_duration, asked.counted_time)
               if not f.known]
    if missing:
        return _refused(asked, rule, "not known: " + ", ".join(missing), NOT_EVALUATED)
    worked = before.worked if before is not None else None
    if worked is None or not worked.holds_for(asked):
        worked = _Worked(asked)
    try:
        frame = worked.once(frame_of, asked, rule, key=())
        duties, outside = worked.once(duties_of, asked, frame, key=("duties",))
    except OutOfRange as refusal:
        return _refused(asked, rule, str(refusal), FAIL)
    sized = [_try_sections(asked, frame, duty, worked) for duty in duties]
    choices = tuple(choice for choice, _ in sized)
    candidates = tuple(c for _, tried in sized for c in tried)
    own = [(part, *_own_cable(asked, rule, part, worked)) for part in parts]
    candidates += tuple(candidate for _, candidate, _ in own)
    chosen = tuple(choice for part, _, choice in own if part.name == named)
    item = _item(asked, frame, duties, choices, candidates, chosen)
    item = replace(item, checks=(*item.checks, *_laid(asked), *outside,
                                 *named_part(named, candidates)))
    return RouteResult(asked, item, (*chosen, *choices), worked)


def _laid(asked: RouteAsked) -> tuple[Check, ...]:
    """How a route lies, where the hottest way is on no table of its rule set."""
    if not asked.laid_open:
        return ()
    return (Check("How the cable lies", "thermal load", CAUTION,
                  reason=f"left open, and counted as {asked.install}, our assumption: "
                         f"{asked.rules} has no table for {asked.laid_open}, which is hotter",
                  remedy="look at the route; for a conduit a rule set that has a table for it"),)


def _own_cable(asked: RouteAsked, rule: RuleSet, part: CablePart,
               worked: _Worked) -> tuple[Candidate, RunChoice]:
    """One cable of the list by the table's section that is not larger, or by its own sheet."""
    own = replace(asked, insulation_end=part.short_circuit_temperature or asked.insulation_end)
    try:
        frame, duty, figures = worked.once(_own_figures, own, rule, part, key=("own", part.name))
    except OutOfRange as refusal:
        return _not_sized(asked, part, FAIL, str(refusal))
    if figures is None:
        return _not_sized(asked, part, NOT_EVALUATED, f"{SILENT}the section")
    base = _candidate(own, frame, duty, figures)
    checks = [voltage_check(part, _blank_voltage(asked), "Insulation voltage"),
              *(c for c in base.checks if c.title != "Insulation voltage"),
              *_own_checks(own, duty, figures, part), *_end_asked(own, frame)]
    checks.sort(key=lambda c: STAGES.index(c.stage))
    facts = (word_fact("as table section", figures.section.size), *base.facts, *remark(part))
    candidate = Candidate(part.name, tuple(checks), facts, own=True)
    capacity = _capacity(duty, figures, f"current-carrying capacity of {part.name}")
    return candidate, RunChoice(part.runs, duty.required, candidate, capacity,
                                figures.loop_resistance, figures.withstand, figures.survivable,
                                part.section, warming_of(frame, figures))


def _own_figures(own: RouteAsked, rule: RuleSet,
                 part: CablePart) -> tuple[Frame, Duty, Figures | None]:
    """Frame, duty and figures of one cable of the list; without figures where it has no section.

    Raises:
        OutOfRange: it leaves the table's factors.
    """
    frame = frame_of(own, rule)
    duty = duty_of(own, frame, part.runs)
    if part.section is None:
        return frame, duty, None
    section = _table_section(frame, part)
    if section is not None:
        return frame, duty, figures_of(own, frame, duty, section)
    hot = largest([f for f in (part.insulation_class, own.insulation_class) if f is not None],
                  "conductor at its maker's current")
    silent = _asks_current(own)
    if part.insulation_class is None and part.current_at_ambient is not None:
        # Nobody knows then how hot its maker's current makes it.
        part, silent = replace(part, current_at_ambient=None), f"{SILENT}the temperature class"
    frame, figures = thinner_figures(own, frame, duty, _thin_section(own, part), hot, silent)
    return frame, duty, figures


def _table_section(frame: Frame, part: CablePart) -> Section | None:
    assert part.section is not None
    fitting = [s for s in sections(frame.rule, frame.use)
               if s.area.number <= part.section.number * (1.0 + 1e-6)]
    return fitting[-1] if fitting else None


def _thin_section(own: RouteAsked, part: CablePart) -> Section:
    """A cable below the table: its maker's current, and its resistance or that of its copper."""
    assert part.section is not None
    return Section(THINNER, part.section, _makers_current(own, part) or leaf(
        "maker's current", "I", "A", None, "given"), part.resistance_per_length or of_copper(
            part.section), TABLE_AT, next_gauge(part.section.number))


def _makers_current(own: RouteAsked, part: CablePart) -> Finding | None:
    return stepped(part.current_at_ambient, own.ambient, upper=True,
                   title="maker's current at the next stated ambient", symbol="I")


def _asks_current(own: RouteAsked) -> str:
    return f"{SILENT}the current at {own.ambient.shown} or above"


def _not_sized(asked: RouteAsked, part: CablePart, verdict: str,
               why: str) -> tuple[Candidate, RunChoice]:
    candidate = Candidate(part.name, (
        voltage_check(part, _blank_voltage(asked), "Insulation voltage"),
        Check("Section", "thermal load", verdict, part.section, reason=why)), own=True)
    return candidate, RunChoice(
        part.runs, candidate=candidate, section=part.section, current_capacity=leaf(
            f"current-carrying capacity of {part.name}", "I_z", "A", None, "given",
            note=f"{part.name}: {why}"))


def _blank_voltage(asked: RouteAsked) -> Finding:
    return asked.highest_voltage or leaf("highest working voltage", "U", "V", None, "given")


def _own_checks(asked: RouteAsked, duty: Duty, figures: Figures,
                part: CablePart) -> list[Check]:
    """What the cable's own sheet says besides the table."""
    same = abs(figures.section.resistance_at.number - 293.15) < 1e-6
    thin = figures.section.size == THINNER
    most = of_copper(figures.section.area) if thin else figures.section.resistance
    return [
        judge("Temperature class of the insulation", "thermal load", part.insulation_class,
              "at least", asked.insulation_class, missing=f"{SILENT}the temperature class",
              reason="the table is read at the class of the brief",
              remedy="give the cable's class in the brief, or a hotter-rated cable"),
        judge("Maker's own current", "thermal load", _makers_current(asked, part), "at least",
              duty.steady, missing=_asks_current(asked), remedy="a larger cable"),
        judge("Resistance within the table's", "voltage drop",
              part.resistance_per_length if same else None, "at most", most,
              missing=f"{SILENT}the resistance at 20 °C" if same
              else "the table's resistance is printed at another temperature",
              remedy="a cable of full section"),
    ]


def _end_asked(own: RouteAsked, frame: Frame) -> tuple[Check, ...]:
    """Where nobody said how hot a fault may make the insulation, and our own end is counted."""
    if own.insulation_end is not None:
        return ()
    return (Check("Short-circuit temperature of the insulation", "fault range", NOT_EVALUATED,
                  None, frame.fault_end, "at least", f"{SILENT}the short-circuit temperature; a "
                  f"fault is counted to end at {frame.fault_end.shown}"),)


def capacity_of(result: RouteResult, runs: int) -> Finding | None:
    """Current-carrying capacity of the whole route with that many cables a pole."""
    return next((c.current_capacity for c in result.choices if c.runs == runs), None)


def _try_sections(asked: RouteAsked, frame: Frame, duty: Duty,
                  worked: _Worked) -> tuple[RunChoice, tuple[Candidate, ...]]:
    """Every section of the table; those from one below to three above the first that fits."""
    figures: list[Figures] = []
    tried: list[Candidate] = []
    first, runs = None, int(duty.runs.number)
    for section in sections(frame.rule, frame.use):
        figures.append(worked.once(figures_of, asked, frame, duty, section,
                                   key=(runs, section.size)))
        tried.append(_candidate(asked, frame, duty, figures[-1]))
        first = len(tried) - 1 if first is None and tried[-1].qualifies else first
        if first is not None and len(tried) == first + 4:
            break
    if first is None:
        bare = next((f for f, c in zip(figures, tried, strict=True) if _but_for_nobody(asked, c)),
                    None)
        capacity = _whole_capacity(duty, bare) if bare is not None else None
        return RunChoice(runs, duty.required, current_capacity=capacity), tuple(tried[-2:])
    best = figures[first]
    choice = RunChoice(runs, duty.required, tried[first], _whole_capacity(duty, best),
                       best.loop_resistance, best.withstand, best.survivable, best.section.area,
                       warming_of(frame, best), best.section)
    return choice, tuple(tried[max(0, first - 1):first + 4])


def _but_for_nobody(asked: RouteAsked, candidate: Candidate) -> bool:
    """Whether a section fails only because nobody ends an overload: its capacity still stands."""
    return asked.overload_device == NOBODY and all(
        c.verdict != FAIL for c in candidate.checks if c.title != OVERLOAD)


def _whole_capacity(duty: Duty, figures: Figures) -> Finding:
    return _capacity(duty, figures, "current-carrying capacity of the route, "
                     f"{cables_a_pole(int(duty.runs.number))}")


def _capacity(duty: Duty, figures: Figures, title: str) -> Finding:
    """Of the whole route; it may be less where that of one cable may."""
    less = figures.capacity.may_be_less
    return trace(route_current, title, per_run=figures.capacity, share=duty.share,
                 note=f"by the smallest of the table{OR_LESS}{less}" if less else "")


def _candidate(asked: RouteAsked, frame: Frame, duty: Duty, figures: Figures) -> Candidate:
    runs = int(duty.runs.number)
    checks = (_voltage_check(asked), *_fault_checks(asked, figures),
              _overload_check(asked, duty, figures), *_thermal_checks(frame, duty, figures),
              *_drop_checks(asked, figures))
    return Candidate(f"{runs} × {figures.section.size}", checks,
                     _facts(figures, asked.counted_time))


def _voltage_check(asked: RouteAsked) -> Check:
    return Check("Insulation voltage", "highest voltage", NOT_EVALUATED, None,
                 asked.highest_voltage, "above",
                 "ask the supplier for the DC rating; road-vehicle classes are 600 V AC / 900 V DC "
                 "and 1000 V AC / 1500 V DC [iso-19642], and an AC figure alone says nothing "
                 "about DC")


def _fault_checks(asked: RouteAsked, figures: Figures) -> list[Check]:
    stage = "fault range"
    if figures.refusal or figures.withstand is None:
        return [Check("Adiabatic heating", stage, FAIL, reason=figures.refusal)]
    # Who is not shown to clear says more than the figure that lacks, and no curve would mend it.
    let_through = _where_ended(asked, "" if asked.left else SOME_LEFT, figures.withstand, judge(
        "Let-through of the fuse", stage, figures.withstand, "at least", asked.let_through,
        reason=WHOLE_RANGE,
        remedy="a larger section, a faster fuse or a quicker trip",
        missing=asked.fuse_lost or asked.fuse_open or
        "the fuse's total clearing I²t at the highest working voltage must be at most "
        f"{figures.withstand.shown} at every current from {asked.fault_lowest.with_end} to "
        f"{asked.fault_highest.with_end}; ask for the curve, the worst point often lies between"))
    if asked.let_through is not None and asked.let_through.known \
            and not asked.let_through.untold_more:
        return [let_through]  # the whole range is swept: the counted time is no longer the worst
    integral = (trace(cable_fault_integral, "I²t of the lowest fault over the counted time",
                      current=asked.fault_lowest, time=asked.counted_time)
                if asked.fault_lowest.known else None)
    lowest = judge("Lowest fault over the counted time", stage, figures.withstand, "at least",
                   integral, missing="the lowest fault current is not known",
                   reason=f"this one current only; one cable survives {figures.survivable.shown} "
                          f"for {asked.counted_time.shown}: whatever is larger must be opened "
                          "sooner, which the let-through line asks",
                   remedy="a larger section or a device that is proved quicker")
    return [let_through, lowest]


def _where_ended(asked: RouteAsked, words: str, stands: Finding | None, held: Check) -> Check:
    """No pass while a fault place whose current runs through this cable is left to nobody.

    Nor a caution where that is its own far end: it holds only where somebody opens the fault; nor
    where it is not shown to stand what is not shown to be ended.
    """
    more = asked_beyond(stands, asked.unshown)
    if more and held.verdict in (PASS, CAUTION):
        only = ENDED_ONLY if asked.left else ""
        return replace(held, reason="; ".join(filter(None, (held.reason, only, words, more))),
                       verdict=NOT_EVALUATED)
    if held.verdict == FAIL and (why := asked.fuse_lost or asked.left and words):
        return replace(held, reason=f"{held.reason}; {why}")
    if not asked.unended or held.verdict not in (PASS, CAUTION, NOT_EVALUATED):
        return held
    if asked.left:
        only = f"{ENDED_ONLY}: {words}" if words else ENDED_ONLY
        return replace(held, reason=f"{held.reason}; {only}", verdict=NOT_EVALUATED)
    return held if held.verdict == CAUTION else replace(
        held, reason=f"{held.reason}; {words}",
        verdict=CAUTION if held.verdict == PASS else NOT_EVALUATED)


def _overload_check(asked: RouteAsked, duty: Duty, figures: Figures) -> Check:
    """Who ends an overload of one section: In ≤ Iz by a fuse, a named trip, or nobody."""
    title, stage = OVERLOAD, "who clears"
    capacity = _capacity(duty, figures, "current-carrying capacity of the route")
    device, rating = asked.overload_device, asked.fuse_rating
    if device == NOBODY:
        return Check(title, stage, FAIL, capacity, reason="nobody ends an overload of this cable",
                     remedy=f"name a trip at or below {capacity.shown}, and prove it")
    if _by_fuse_alone(asked):
        check = judge(title, stage, capacity, "at least", rating,
                      reason=f"by {device}: the rating lies above what the cable carries",
                      remedy="a larger cable, a smaller fuse, or a named trip")
        if check.verdict == FAIL:
            return check
        if figures.silent:
            return replace(check, reason=figures.silent)
        if asked.overload is not None:
            return _as_shown(asked.overload(capacity), capacity)
        return replace(
            check, verdict=NOT_EVALUATED,
            reason=f"by {device}: its data sheet alone shows whether its conventional fusing "
                   "current stays within 1.45 times this capacity; a partial-range fuse gives no "
                   "overload protection")
    return Check(title, stage, NOT_EVALUATED, capacity, None, "at least",
                 figures.silent or f"by {device}: its level is not known here; it must be at or "
                 f"below {capacity.shown}")


def _as_shown(shown: Check, capacity: Finding) -> Check:
    """What the named parts are shown to do about an overload, as a check of this cable."""
    if shown.demand is capacity:
        return replace(shown, title=OVERLOAD, figure=capacity, demand=shown.figure,
                       relation="at least")
    if shown.verdict == FAIL and shown.figure is not None and shown.demand is not None:
        return replace(shown, title=OVERLOAD)  # a failure shows what it rests on
    return replace(shown, title=OVERLOAD, figure=capacity, demand=None, relation="",
                   reason=shown.sentence)


def _by_fuse_alone(asked: RouteAsked) -> bool:
    rating = asked.fuse_rating
    return "fuse" in asked.overload_device.lower() and rating is not None and rating.known


def _thermal_checks(frame: Frame, duty: Duty, figures: Figures) -> list[Check]:
    stage = "thermal load"
    by = f"{frame.rule.key}, {frame.use.printed}"
    if figures.section.size == THINNER:
        by += " has no section so small" + (
            f"; {figures.silent}" if figures.silent else
            ": by its maker's current, no more than its smallest carries")
    checks = [judge("Corrected current", stage, figures.corrected, "at least", duty.steady,
                    reason=by, remedy="a larger section")]
    checks.append(judge(
        "Steady conductor temperature", stage, None if figures.silent else figures.temperature,
        "at most", frame.steady_limit, missing=figures.silent,
        reason="against terminals and insulation",
        remedy="a larger section or terminals rated hotter"))
    if figures.column is not None:
        checks.append(judge("Terminals' column, 110.14(C)", stage, figures.column, "at least",
                            duty.steady, reason="Table 310.16 whatever the way of laying"))
    if figures.peak is None:
        checks.append(Check("End of the peak", stage, FAIL, reason=figures.refusal))
    else:
        checks.append(judge("End of the peak", stage, None if figures.silent else figures.peak,
                            "at most", frame.steady_limit, missing=figures.silent,
                            reason="no heat is taken to leave the copper during the peak"))
    return checks


def _drop_checks(asked: RouteAsked, figures: Figures) -> list[Check]:
    stage = "voltage drop"
    return [
        judge("Voltage drop at the steady current", stage, figures.drop_ratio, "at most",
              asked.voltage_drop_limit, missing="system voltage or drop limit is not known"),
        judge("Loop resistance allowed in the sag", stage, figures.loop_resistance, "at most",
              asked.resistance_budget, missing="no allowance was given for this route"),
    ]


def _facts(figures: Figures, counted: Finding) -> tuple[Fact, ...]:
    section, stands = figures.section, None if figures.refusal else figures.withstand
    said = None if figures.silent else figures
    return (
        figure_fact("section", "mm²", section.area),
        word_fact(OTHER, section.other),
        figure_fact("table current", "A", None if section.size == THINNER else section.current),
        figure_fact("corrected current", "A", said and said.corrected),
        figure_fact("capacity of one cable", "A", said and said.capacity),
        figure_fact("conductor temperature", "°C", said and said.temperature),
        figure_fact("hot loop resistance", "mΩ", figures.loop_resistance),
        figure_fact("voltage drop at the steady current", "V", figures.drop),
        figure_fact("voltage drop at the peak", "V", figures.peak_drop),
        figure_fact("temperature at the end of the peak", "°C", said and said.peak, "none"),
        figure_fact("k²S² of one cable", "A²s", stands, "none"),
        figure_fact(f"one cable survives for {counted.number:g} s", "A",
                    figures.survivable if stands else None, "none"))


def _item(asked: RouteAsked, frame: Frame, duties: tuple[Duty, ...],
          choices: tuple[RunChoice, ...], candidates: tuple[Candidate, ...],
          own: tuple[RunChoice, ...]) -> Item:
    required = tuple(d.required for d in duties)
    return Item(asked.key, f"Cable, {asked.name}", _governing(frame, duties, choices),
                required + _by_fuse(asked, frame, duties) + tuple(d.steady for d in duties)
                + (frame.ambient_factor, frame.terminal_factor, frame.steady_limit,
                   frame.fault_end, *_smallest_for_fault(asked, frame)),
                _specification(asked, frame, duties, choices), candidates,
                _open_items(asked, choices, candidates),
                _notes(asked, frame), _item_checks(asked, choices, own))


def _by_fuse(asked: RouteAsked, frame: Frame, duties: tuple[Duty, ...]) -> tuple[Finding, ...]:
    """What the table must show where the fuse ends an overload: In in place of the load."""
    rating = asked.fuse_rating
    if rating is None or not _by_fuse_alone(asked):
        return ()
    factor = smallest([frame.ambient_factor, frame.terminal_factor], "factor that governs")
    return tuple(trace(
        required_table_current, f"required table current, {cables_a_pole(int(d.runs.number))}, "
        "with the fuse as overload device", note="In ≤ Iz [iec-60364-4-43]; that it opens in its "
        "conventional time, I2 ≤ 1.45·Iz, is held with the fuse", current=rating, share=d.share,
        grouping_factor=d.grouping, ambient_factor=factor) for d in duties)


def _smallest_for_fault(asked: RouteAsked, frame: Frame) -> tuple[Finding, ...]:
    """Section that the lowest fault needs when it starts from the steady limit."""
    if not asked.fault_lowest.known or frame.fault_end.number <= frame.steady_limit.number:
        return ()
    constant = trace(adiabatic_constant, start=frame.steady_limit, end=frame.fault_end)
    return (trace(minimum_section, "section that the lowest fault needs from the steady limit",
                  current=asked.fault_lowest, time=asked.counted_time, constant=constant),)


def _governing(frame: Frame, duties: tuple[Duty, ...], choices: tuple[RunChoice, ...]) -> str:
    words = []
    for duty, choice in zip(duties, choices, strict=True):
        terminals = (frame.steady_limit.number < frame.use.conductor
                     and duty.by_terminals.number > duty.by_insulation.number)
        by = "the terminals" if terminals else "the insulation and the air"
        found = (f"{_named(choice.candidate)} is the smallest that fails no check"
                 if choice.candidate else "no section of the table qualifies")
        words.append(f"{cables_a_pole(choice.runs)}: at least {duty.required.shown} in the table "
                     f"({frame.rule.key}, {frame.use.printed}), governed by {by}; {found}")
    return ". ".join(words) + "."


def _named(candidate: Candidate) -> str:
    """In both systems."""
    return f"{candidate.name} ({beside_name(candidate.name, candidate.fact(OTHER), UP)})"


def _specification(asked: RouteAsked, frame: Frame, duties: tuple[Duty, ...],
                   choices: tuple[RunChoice, ...]) -> tuple[Requirement, ...]:
    voltage = (asked.highest_voltage.least + asked.highest_voltage.shown
               if asked.highest_voltage is not None
               else "the highest working voltage")
    lines = [
        Requirement("Insulation, rated DC voltage", f"above {voltage}",
                    "by the highest working voltage, never the label voltage"),
        Requirement("Insulation class", f"at least {asked.insulation_class.shown}"),
        Requirement("Current of one cable", " or ".join(
            f"at least {d.steady.shown} with {cables_a_pole(int(d.runs.number))}"
            for d in duties) + f", in air of {asked.ambient.shown}, laid {asked.install}, "
            f"circuits together: {asked.grouped_circuits.shown}", "send current against ambient"),
        Requirement("Short-circuit temperature of the insulation",
                    f"at least {frame.fault_end.shown}", "to which a fault is counted"),
        Requirement("Conductor", "fine-stranded copper, section and resistance proved",
                    "SAE sizes hold 5 to 12 % less copper than AWG of the same number"),
        Requirement("Terminals and lugs", f"steady limit {asked.terminal_limit.shown}, short-time "
                    f"limit at least {frame.fault_end.shown}"),
        Requirement(OVERLOAD, _overload_told(asked)),
        Requirement("Short-circuit protection",
                    asked.protected_by or f"fuse {asked.fuse_rating.shown}"
                    if asked.protected_by or asked.fuse_rating is not None
                    else "the fuse that feeds this route, still to be chosen"),
    ]
    for choice in choices:
        if choice.candidate:
            lines.append(Requirement(
                f"Smallest section, {cables_a_pole(choice.runs)}", choice.candidate.name,
                f"total clearing I²t of the fuse at most {choice.withstand.shown} a cable"))
            made = choice.conductor
            if made is not None:
                lines.append(Requirement(
                    f"Resistance, {cables_a_pole(choice.runs)}",
                    f"at most {made.resistance.shown} at {made.resistance_at.shown}",
                    f"a larger one as its own row has it [{made.resistance.source}]"))
    return tuple(lines)


def _overload_told(asked: RouteAsked) -> str:
    """Who is to end an overload, and what is asked of the cable for it."""
    if not _by_fuse_alone(asked):
        return asked.overload_device
    return (f"{asked.overload_device}: capacity of the route, terminals at their limit, at least "
            f"{asked.fuse_rating.shown}")


def _open_items(asked: RouteAsked, choices: tuple[RunChoice, ...],
                candidates: tuple[Candidate, ...]) -> tuple[str, ...]:
    items = ["fuse maker: total clearing I²t over the whole fault range, at the highest voltage",
             "cable maker: rated DC voltage, temperature class, short-circuit end temperature, "
             "resistance, own current curve"]
    if asked.joint_limit is None:
        items.append("lug and joint maker: short-time temperature limit (160 °C assumed)")
    if not asked.fault_lowest.known:
        items.append("lowest fault current of this route")
    if not any(c.candidate for c in choices):
        items.insert(0, _no_section(candidates))
    return tuple(items)


def _no_section(candidates: tuple[Candidate, ...]) -> str:
    """What the largest section still fails, with what would help against that."""
    tried = [c for c in candidates if not c.own]
    failed = [k for k in tried[-1].checks if k.verdict == FAIL] if tried else []
    causes = "; ".join(dict.fromkeys(k.title.lower() for k in failed))
    helps = dict.fromkeys(k.remedy for k in failed if k.remedy) or {
        "more runs, a cooler place, hotter-rated terminals or a shorter peak": None}
    return (f"no section qualifies: {tried[-1].name} still fails by {causes}: {'; '.join(helps)}"
            if causes else f"no section qualifies: {'; '.join(helps)}")


def _notes(asked: RouteAsked, frame: Frame) -> tuple[str, ...]:
    notes = [
        frame.rule.sentence,
        f"Current table: {tables.table(frame.use.currents).conditions}.",
        "Sections are never interpolated; ambient is rounded up, current down, size up. Copper "
        "only; aluminium is not sized.",
        "Resistance is the highest printed for tinned or coated strands; the cable's data sheet "
        "may show less.",
        "A salvaged cable has an unknown class and heat history: treat it as 70 °C PVC or reject "
        "it. Starter cable for 60 V and welding cable for 600 V are no traction cable.",
    ]
    if asked.behind_main_fuse:
        notes.append("Beyond 5 s k²S² does not hold: how long the cable bears an overload, and who "
                     "opens it by then, stands with who clears, over the whole fault range.")
    if any(n > 1 for n in asked.runs):
        notes.append("Several cables a pole: equal length, section and lugs; the busier run is "
                     "taken at 10 % above an even share. If one opens, the other carries all and "
                     "nothing shows it. In a fault on one run that run alone is held to the "
                     "whole current.")
    if frame.rule.key == "NFPA 70":
        notes.append("The 125 % for continuous loads of 210.19 and 215.2 (remembered) is not "
                     "applied: the continuous current is taken as it is.")
    else:
        notes.append("The terminals' factor: equation of NFPA 70 310.15(B), the physics of both.")
    return tuple(notes)


def _item_checks(asked: RouteAsked, choices: tuple[RunChoice, ...],
                 own: tuple[RunChoice, ...]) -> tuple[Check, ...]:
    return (*_nobody_check(asked, choices), *_short_circuit_check(asked, choices, own))


def _nobody_check(asked: RouteAsked, choices: tuple[RunChoice, ...]) -> tuple[Check, ...]:
    """Nobody ends an overload: no section of any size mends that."""
    if asked.overload_device != NOBODY:
        return ()
    capacity = next((c.current_capacity for c in choices if c.current_capacity), None)
    level = f" at or below {capacity.shown}" if capacity is not None else ""
    why = f": {asked.why_nobody}" if asked.why_nobody else ""
    return (Check(OVERLOAD, "who clears", FAIL, capacity,
                  reason=f"nobody ends an overload of this cable{why}",
                  remedy=f"name a trip{level}, and prove it; a larger cable alone helps nobody"),)


def _short_circuit_check(asked: RouteAsked, choices: tuple[RunChoice, ...],
                         own: tuple[RunChoice, ...]) -> tuple[Check, ...]:
    """Of the cable that the brief names, else of the smallest section that qualifies."""
    title, stage = "Short-circuit protection", "who clears"
    by, fuse = asked.protected_by, asked.fuse_rating
    if asked.fuse_lost:
        return (Check(title, stage, FAIL, reason=_with_unended(asked, asked.fuse_lost),
                      remedy="a fuse that is shown to break every fault of this cable at this DC "
                             "voltage; a larger cable helps nobody"),)
    if not by and (fuse is None or not fuse.known):
        why = "no fuse is chosen yet for this route"
    elif asked.let_through is not None and asked.let_through.known:
        held = next((c for c in (*own, *choices) if c.candidate), None)
        return (_where_ended(asked, asked.unended, held and held.withstand, judge(
            title, stage, asked.let_through, "at most", held and held.withstand,
            missing=f"k²S² of {held.candidate.name} is not known" if held and held.candidate
            else "no section qualifies that could be held against it",
            reason=f"{WHOLE_RANGE}, against one cable" + (f"; by {by}" if by else ""))),)
    elif by:
        why = f"by {by}: what they let through is not shown"
    else:
        why = asked.fuse_open or (f"the fuse of {asked.fuse_rating.shown}; shown only once its "
                                  "curve is held against k²S²")
    return (Check(title, stage, NOT_EVALUATED, reason=_with_unended(asked, why)),)


def _with_unended(asked: RouteAsked, why: str) -> str:
    return f"{why}; {asked.unended}" if asked.unended else why


def _refused(asked: RouteAsked, rule: RuleSet, why: str, verdict: str) -> RouteResult:
    check = Check("Within the tables", "thermal load", verdict, reason=f"refused: {why}",
                  remedy="change the route, or ask the cable's maker for a proved current")
    item = Item(asked.key, f"Cable, {asked.name}", f"Refused: {why}.", (),
                notes=(rule.sentence,), checks=(check,), open_items=(why,))
    return RouteResult(asked, item)
