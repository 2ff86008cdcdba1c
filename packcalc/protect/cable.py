"""The cables of one route: required table current first, then every section held to it.

One rule set at a time, never two in one sum. Conductor temperature is held against the
terminals as well as the insulation, because a hot cable must not run into a cool terminal.
Several runs a pole are unequal in practice: the busier one is judged, and in a fault one
run alone must stand the whole current.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from packcalc import tables
from packcalc.cable_rules import (
    CurrentTable,
    RuleSet,
    Section,
    ambient_factor,
    grouping_factor,
    rule_set,
    sections,
    table_rise,
)
from packcalc.checks import (CAUTION, FAIL, NOT_EVALUATED, STAGES, Candidate, Check, Fact,
                             Item, Requirement, figure_fact, judge, named_part, word_fact)
from packcalc.conductors import (
    adiabatic_constant,
    cable_ambient_factor,
    cable_drop_ratio,
    cable_fault_integral,
    cable_loop_resistance,
    cable_voltage_drop,
    cable_withstand,
    conductor_temperature,
    copper_resistance,
    corrected_current,
    minimum_section,
    peak_temperature,
    required_table_current,
    route_current,
    run_current,
    survivable_current,
)
from packcalc.errors import OutOfRange
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace
from packcalc.part_checks.shown import SILENT, remark, stepped, voltage_check
from packcalc.parts import CablePart
from packcalc.units import from_si
from packcalc.value import value_object

NOBODY, MAIN_FUSE = "nobody", "main fuse"
OVERLOAD = "Overload protection"
JOINT_LIMIT = 160.0 + 273.15   # K, lowest end temperature in IEC 60364-5-54 below 300 mm²
LONGEST_PEAK = 300.0           # s, a longer peak is a steady load
SMALL_CIRCUIT = 100.0          # A, NFPA 70 110.14(C)
UNEVEN = 1.1                   # busier run over an even split


@value_object
class RouteAsked:
    """What one cable route has to do.

    Attributes:
        name: e.g. "battery to inverter".
        length: one way [m].
        install: way of laying: conduit, surface, touching in air, spaced in air.
        grouped_circuits: circuits laid together, this route counted as one.
        insulation_class: of the cable [K].
        terminal_limit: lower steady limit of the two ends' terminals [K].
        ambient: air around the cable [K].
        rules: key of the rule set.
        continuous_current, peak_current, peak_duration: load of the whole route.
        system_voltage: lowest system voltage under load, for the drop.
        voltage_drop_limit: ratio, at the steady current; the peak is held to the budget.
        fault_highest, fault_lowest: fault currents at the end of the route.
        counted_time: time within which a fault must be cleared [s].
        joint_limit: short-time limit of joints and terminals [K]; None takes 160 °C.
        insulation_end: short-circuit limit of the insulation [K]; None takes 160 °C.
        resistance_budget: hot loop resistance that the sag was judged with.
        fuse_rating: of the fuse that feeds this route, if one is chosen.
        overload_device: who ends an overload, or "nobody".
        why_nobody: where it is nobody, the cause in words.
        overload: what the named parts are shown to do about an overload of a route of that
            capacity; None where no part is at hand.
        highest_voltage: highest working voltage, for the insulation.
        runs: cables a pole to try.
        let_through: largest I²t that the chosen devices let through anywhere in the range.
    """

    name: str
    length: Finding
    install: str
    grouped_circuits: Finding
    insulation_class: Finding
    terminal_limit: Finding
    ambient: Finding
    rules: str
    continuous_current: Finding
    peak_current: Finding
    peak_duration: Finding
    system_voltage: Finding
    voltage_drop_limit: Finding
    fault_highest: Finding
    fault_lowest: Finding
    counted_time: Finding
    joint_limit: Finding | None = None
    insulation_end: Finding | None = None
    resistance_budget: Finding | None = None
    fuse_rating: Finding | None = None
    overload_device: str = NOBODY
    why_nobody: str = ""
    overload: Callable[[Finding], Check] | None = None
    highest_voltage: Finding | None = None
    runs: tuple[int, ...] = (1, 2)
    let_through: Finding | None = None

    @property
    def key(self) -> str:
        return f"cable.{self.name}"

    @property
    def behind_main_fuse(self) -> bool:
        """Whether the main fuse, and no fuse of a branch, protects this route."""
        return self.fuse_rating is not None and self.overload_device == MAIN_FUSE


@value_object
class RunChoice:
    """The smallest section that qualifies with one number of cables a pole.

    Attributes:
        runs: cables a pole.
        required: required table current.
        candidate: the smallest that qualifies, or None.
        current_capacity: of the whole route, for the fuse's cable side; where nobody ends an
            overload, of the smallest section that fails by nothing else.
        loop_resistance: hot, out and back, all runs.
        withstand: k²S² of one cable.
        survivable: fault current that one cable survives for the counted time.
        section: of one cable.
    """

    runs: int
    required: Finding
    candidate: Candidate | None = None
    current_capacity: Finding | None = None
    loop_resistance: Finding | None = None
    withstand: Finding | None = None
    survivable: Finding | None = None
    section: Finding | None = None


@value_object
class RouteResult:
    """What was asked, the item for the report, and the choice for each run count."""

    asked: RouteAsked
    item: Item
    choices: tuple[RunChoice, ...] = ()

    @property
    def chosen(self) -> RunChoice | None:
        """The choice with the fewest cables a pole."""
        return next((c for c in self.choices if c.candidate is not None), None)

    def _of_chosen(self, name: str) -> Finding | None:
        return getattr(self.chosen, name) if self.chosen else None

    @property
    def current_capacity(self) -> Finding | None:
        return self._of_chosen("current_capacity") or next(
            (c.current_capacity for c in self.choices if c.current_capacity is not None), None)

    @property
    def loop_resistance(self) -> Finding | None:
        return self._of_chosen("loop_resistance")

    @property
    def withstand(self) -> Finding | None:
        return self._of_chosen("withstand")


@value_object
class _Frame:
    """What does not change from section to section."""

    rule: RuleSet
    use: CurrentTable
    ambient: Finding
    rise: Finding
    ambient_factor: Finding
    terminal_factor: Finding
    steady_limit: Finding
    fault_end: Finding
    steady_current: Finding


@value_object
class _Duty:
    """What one number of cables a pole asks of each of them."""

    runs: Finding
    share: Finding
    grouping: Finding
    steady: Finding
    peak: Finding
    by_insulation: Finding
    by_terminals: Finding
    required: Finding


@value_object
class _Figures:
    """What one section offers."""

    section: Section
    corrected: Finding
    capacity: Finding
    temperature: Finding
    loop_resistance: Finding
    drop: Finding
    peak_drop: Finding
    drop_ratio: Finding | None
    peak: Finding | None = None
    constant: Finding | None = None
    withstand: Finding | None = None
    survivable: Finding | None = None
    column: Finding | None = None
    refusal: str = ""


def size_route(asked: RouteAsked, parts: Sequence[CablePart] = (), *,
               named: str = "") -> RouteResult:
    """Size one route with every wanted number of cables a pole, and the user's own cables.

    Args:
        asked: what the route has to do.
        parts: cables of the user's list; they stand after the sections of the table.
        named: the one that the brief names for this route; it then is the route's choice.

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
    try:
        frame = _frame(asked, rule)
        duties, outside = _duties(asked, frame)
    except OutOfRange as refusal:
        return _refused(asked, rule, str(refusal), FAIL)
    sized = [_try_sections(asked, frame, duty) for duty in duties]
    choices = tuple(choice for choice, _ in sized)
    candidates = tuple(c for _, tried in sized for c in tried)
    own = [(part, *_own_cable(asked, rule, part)) for part in parts]
    candidates += tuple(candidate for _, candidate, _ in own)
    chosen = tuple(choice for part, _, choice in own if part.name == named and choice)
    item = _item(asked, frame, duties, choices, candidates)
    item = replace(item, checks=(*item.checks, *outside, *named_part(named, candidates)))
    return RouteResult(asked, item, (*chosen, *choices))


# -- the user's own cables --------------------------------------------------------------------


def _own_cable(asked: RouteAsked, rule: RuleSet,
               part: CablePart) -> tuple[Candidate, RunChoice | None]:
    """One cable of the list by the table's section that is not larger."""
    own = replace(asked, insulation_end=part.short_circuit_temperature or asked.insulation_end)
    try:
        frame = _frame(own, rule)
        duty = _duty(own, frame, part.runs)
        section = _table_section(frame, part)
        figures = _figures(own, frame, duty, section) if section else None
    except OutOfRange as refusal:
        return _not_sized(asked, part, FAIL, str(refusal)), None
    if figures is None:
        return _not_sized(asked, part, NOT_EVALUATED, f"{SILENT}the section"
                          if part.section is None else "smaller than every section of the table"
                          ), None
    base = _candidate(own, frame, duty, figures)
    checks = [voltage_check(part, _blank_voltage(asked), "Insulation voltage"),
              *(c for c in base.checks if c.title != "Insulation voltage"),
              *_own_checks(own, duty, figures, part)]
    checks.sort(key=lambda c: STAGES.index(c.stage))
    facts = (word_fact("as table section", figures.section.size), *base.facts, *remark(part))
    candidate = Candidate(part.name, tuple(checks), facts, own=True)
    capacity = trace(route_current, f"current-carrying capacity of {part.name}",
                     per_run=figures.capacity, share=duty.share)
    return candidate, RunChoice(part.runs, duty.required, candidate, capacity,
                                figures.loop_resistance, figures.withstand, figures.survivable,
                                part.section)


def _table_section(frame: _Frame, part: CablePart) -> Section | None:
    if part.section is None:
        return None
    fitting = [s for s in sections(frame.rule, frame.use)
               if s.area.number <= part.section.number * (1.0 + 1e-6)]
    return fitting[-1] if fitting else None


def _not_sized(asked: RouteAsked, part: CablePart, verdict: str, why: str) -> Candidate:
    return Candidate(part.name, (
        voltage_check(part, _blank_voltage(asked), "Insulation voltage"),
        Check("Section", "thermal load", verdict, part.section, reason=why)), own=True)


def _blank_voltage(asked: RouteAsked) -> Finding:
    return asked.highest_voltage or leaf("highest working voltage", "U", "V", None, "given")


def _own_checks(asked: RouteAsked, duty: _Duty, figures: _Figures,
                part: CablePart) -> list[Check]:
    """What the cable's own sheet says besides the table."""
    current = stepped(part.current_at_ambient, asked.ambient, upper=True,
                      title="maker's current at the next stated ambient", symbol="I")
    same = abs(figures.section.resistance_at.number - 293.15) < 1e-6
    return [
        judge("Temperature class of the insulation", "thermal load", part.insulation_class,
              "at least", asked.insulation_class, missing=f"{SILENT}the temperature class",
              reason="the table is read at the class of the brief",
              remedy="give the cable's class in the brief, or a hotter-rated cable"),
        judge("Maker's own current", "thermal load", current, "at least", duty.steady,
              missing=f"{SILENT}the current at {asked.ambient.shown} or above",
              remedy="a larger cable"),
        judge("Resistance within the table's", "voltage drop",
              part.resistance_per_length if same else None, "at most", figures.section.resistance,
              missing=f"{SILENT}the resistance at 20 °C" if same
              else "the table's resistance is printed at another temperature",
              remedy="a cable of full section"),
    ]


def capacity_of(result: RouteResult, runs: int) -> Finding | None:
    """Current-carrying capacity of the whole route with that many cables a pole."""
    return next((c.current_capacity for c in result.choices if c.runs == runs), None)


def hot_loop_resistance(result: RouteResult, runs: int) -> Finding | None:
    """Hot loop resistance of the route with that many cables a pole."""
    return next((c.loop_resistance for c in result.choices if c.runs == runs), None)


def _frame(asked: RouteAsked, rule: RuleSet) -> _Frame:
    use = rule.table_for(asked.install, asked.insulation_class.number)
    rise = table_rise(use)
    insulation = leaf("insulation class of the table", "θ_c", "°C", use.conductor, "read",
                      source=tables.table(use.currents).source,
                      origin=Origin(f"table {use.currents}"), note=use.printed)
    steady_limit = smallest([asked.terminal_limit, insulation],
                            "highest steady conductor temperature")
    ends = [asked.joint_limit or _safe_end("joints and terminals"),
            asked.insulation_end or _safe_end("insulation")]
    steady = asked.continuous_current
    if asked.peak_duration.number > LONGEST_PEAK:
        steady = largest([steady, asked.peak_current], "steady current",
                         "a peak longer than five minutes is taken as a steady load")
    return _Frame(
        rule, use, asked.ambient, rise, ambient_factor(use, asked.ambient),
        trace(cable_ambient_factor, "factor for the steady temperature limit", symbol="k_θ",
              limit=steady_limit, ambient=asked.ambient, rise=rise),
        steady_limit, smallest(ends, "end temperature of a fault"), steady)


def _safe_end(what: str) -> Finding:
    return leaf(f"short-time limit of the {what}", "θ_f", "°C", JOINT_LIMIT, "assumed",
                source="iec-60364-5-54",
                note="not given: the lowest end temperature printed for sections up to 300 mm²; "
                     "read it on the data sheets of lug, joint and cable")


def _duty(asked: RouteAsked, frame: _Frame, runs: int) -> _Duty:
    count = leaf("cables a pole", "n", "", runs, "definition")
    share = _share(runs)
    # Each further run is one more circuit in the bundle.
    grouping = grouping_factor(frame.use, asked.grouped_circuits.number + runs - 1)
    load = dict(current=frame.steady_current, share=share, grouping_factor=grouping)
    by_insulation = trace(required_table_current, "required table current by the insulation",
                          ambient_factor=frame.ambient_factor, **load)
    by_terminals = trace(required_table_current, "required table current by the steady limit",
                         ambient_factor=frame.terminal_factor, **load)
    return _Duty(
        count, share, grouping,
        trace(run_current, "steady current of the busier run", current=frame.steady_current,
              share=share),
        trace(run_current, "peak current of the busier run", current=asked.peak_current,
              share=share),
        by_insulation, by_terminals,
        largest([by_insulation, by_terminals], f"required table current, {_runs(runs)}"))


def _duties(asked: RouteAsked, frame: _Frame) -> tuple[tuple[_Duty, ...], tuple[Check, ...]]:
    """The duty of each number of cables a pole; one that leaves the table takes no other along.

    Raises:
        OutOfRange: every one of them leaves the table.
    """
    duties: list[_Duty] = []
    outside: list[Check] = []
    for runs in asked.runs:
        try:
            duties.append(_duty(asked, frame, runs))
        except OutOfRange as refusal:
            if not duties and runs == asked.runs[-1]:
                raise
            outside.append(Check(f"{_runs(runs)}, within the tables", "thermal load",
                                 NOT_EVALUATED, reason=f"outside the table: {refusal}"))
    return tuple(duties), tuple(outside)


def _share(runs: int) -> Finding:
    """Part of the current that the busier run is taken to carry: 10 % above an even split."""
    if runs == 1:
        return leaf("share of the only run", "p", "", 1.0, "definition")
    return leaf("share of the busier run", "p", "", UNEVEN / runs, "assumed",
                source="packcalc-rule", note="10 % above an even split; lengths, lugs and "
                "sections of the runs must be equal")


def _runs(runs: int) -> str:
    return f"{runs} cable{'s' if runs > 1 else ''} a pole"


def _try_sections(asked: RouteAsked, frame: _Frame,
                  duty: _Duty) -> tuple[RunChoice, tuple[Candidate, ...]]:
    """Every section of the table; those from one below to three above the first that fits."""
    figures: list[_Figures] = []
    tried: list[Candidate] = []
    first = None
    for section in sections(frame.rule, frame.use):
        figures.append(_figures(asked, frame, duty, section))
        tried.append(_candidate(asked, frame, duty, figures[-1]))
        first = len(tried) - 1 if first is None and tried[-1].qualifies else first
        if first is not None and len(tried) == first + 4:
            break
    runs = int(duty.runs.number)
    if first is None:
        bare = next((f for f, c in zip(figures, tried, strict=True) if _but_for_nobody(asked, c)),
                    None)
        capacity = _whole_capacity(duty, bare) if bare is not None else None
        return RunChoice(runs, duty.required, current_capacity=capacity), tuple(tried[-2:])
    best = figures[first]
    choice = RunChoice(runs, duty.required, tried[first], _whole_capacity(duty, best),
                       best.loop_resistance, best.withstand, best.survivable, best.section.area)
    return choice, tuple(tried[max(0, first - 1):first + 4])


def _but_for_nobody(asked: RouteAsked, candidate: Candidate) -> bool:
    """Whether a section fails only because nobody ends an overload: its capacity still stands."""
    return asked.overload_device == NOBODY and all(
        c.verdict != FAIL for c in candidate.checks if c.title != OVERLOAD)


def _whole_capacity(duty: _Duty, figures: _Figures) -> Finding:
    return trace(route_current, "current-carrying capacity of the route, "
                 f"{_runs(int(duty.runs.number))}", per_run=figures.capacity, share=duty.share)


def _figures(asked: RouteAsked, frame: _Frame, duty: _Duty, section: Section) -> _Figures:
    factors = dict(table_current=section.current, grouping_factor=duty.grouping)
    corrected = trace(corrected_current, ambient_factor=frame.ambient_factor, **factors)
    limited = trace(corrected_current, "current at the steady temperature limit",
                    ambient_factor=frame.terminal_factor, **factors)
    column = _terminal_column(asked, frame, duty, section)
    temperature = trace(conductor_temperature, ambient=frame.ambient, rise=frame.rise,
                        current=duty.steady, **factors)
    hot = trace(copper_resistance, "resistance at the steady temperature limit",
                resistance=section.resistance, at=section.resistance_at,
                temperature=frame.steady_limit)
    loop = trace(cable_loop_resistance, "hot loop resistance", resistance=hot,
                 length=asked.length, runs=duty.runs)
    drop = trace(cable_voltage_drop, "voltage drop at the steady current",
                 current=frame.steady_current, loop_resistance=loop)
    peak_drop = trace(cable_voltage_drop, "voltage drop at the peak", current=asked.peak_current,
                      loop_resistance=loop)
    ratio = (trace(cable_drop_ratio, drop=drop, voltage=asked.system_voltage)
             if asked.system_voltage.known else None)
    plain = _Figures(section, corrected,
                     smallest([f for f in (corrected, limited, column) if f],
                              "capacity of one cable"),
                     temperature, loop, drop, peak_drop, ratio, column=column)
    try:
        return _with_heat(asked, frame, duty, plain)
    except OutOfRange as refusal:
        return replace(plain, refusal=str(refusal))


def _with_heat(asked: RouteAsked, frame: _Frame, duty: _Duty, plain: _Figures) -> _Figures:
    """Add what the peak and the fault do to the copper.

    Raises:
        OutOfRange: the peak alone leaves nothing for the fault.
    """
    peak = trace(peak_temperature, start=plain.temperature, current=duty.peak,
                 time=asked.peak_duration, area=plain.section.area)
    # The fuse lets the conductor run at its steady limit: a fault may begin there.
    start = largest([peak, frame.steady_limit], "conductor temperature when a fault begins")
    constant = trace(adiabatic_constant, start=start, end=frame.fault_end)
    withstand = trace(cable_withstand, constant=constant, area=plain.section.area)
    return replace(plain, peak=peak, constant=constant, withstand=withstand,
                   survivable=trace(survivable_current, withstand=withstand,
                                    time=asked.counted_time))


def _terminal_column(asked: RouteAsked, frame: _Frame, duty: _Duty,
                     section: Section) -> Finding | None:
    """NFPA 70 110.14(C): the column of Table 310.16 that the terminals allow."""
    if frame.rule.key != "NFPA 70":
        return None
    limit = float(from_si(asked.terminal_limit.number, "°C"))
    unmarked = asked.terminal_limit.basis in ("assumed", "common practice")
    top = 60.0 if unmarked and duty.steady.number <= SMALL_CIRCUIT else 75.0
    columns = [c for c in (60.0, 75.0) if c <= min(limit + 1e-6, top)]
    if not columns:
        return leaf("current by the terminals' column, 110.14(C)", "I_c", "A", 0.0, "read",
                    source="nfpa-70", note="terminals below 60 °C have no column")
    data = tables.table("cable_nec_310_16").where(insulation_C=columns[-1], size=section.size)
    return data.finding(data.rows[0], "current_A",
                        f"current by the terminals' {columns[-1]:g} °C column, 110.14(C)", "I_c",
                        "A", float(data.rows[0]["current_A"]))


def _candidate(asked: RouteAsked, frame: _Frame, duty: _Duty, figures: _Figures) -> Candidate:
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


def _fault_checks(asked: RouteAsked, figures: _Figures) -> list[Check]:
    stage = "fault range"
    if figures.withstand is None:
        return [Check("Adiabatic heating", stage, FAIL, reason=figures.refusal)]
    let_through = judge(
        "Let-through of the fuse", stage, figures.withstand, "at least", asked.let_through,
        reason="largest I²t of the whole fault range, see who clears",
        remedy="a larger section, a faster fuse or a quicker trip",
        missing="the fuse's total clearing I²t at the highest working voltage must be at most "
        f"{figures.withstand.shown} at every current from {asked.fault_lowest.shown} to "
        f"{asked.fault_highest.shown}; ask for the curve, the worst point often lies between")
    if asked.let_through is not None and asked.let_through.known:
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


def _overload_check(asked: RouteAsked, duty: _Duty, figures: _Figures) -> Check:
    """Who ends an overload of one section: In ≤ Iz by a fuse, a named trip, or nobody."""
    title, stage = OVERLOAD, "who clears"
    capacity = trace(route_current, "current-carrying capacity of the route",
                     per_run=figures.capacity, share=duty.share)
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
        if asked.overload is not None:
            return _as_shown(asked.overload(capacity), capacity)
        return replace(
            check, verdict=NOT_EVALUATED,
            reason=f"by {device}: its data sheet alone shows whether its conventional fusing "
                   "current stays within 1.45 times this capacity; a partial-range fuse gives no "
                   "overload protection")
    return Check(title, stage, NOT_EVALUATED, capacity, None, "at least",
                 f"by {device}: its level is not known here; it must be at or below "
                 f"{capacity.shown}")


def _as_shown(shown: Check, capacity: Finding) -> Check:
    """What the named parts are shown to do about an overload, as a check of this cable."""
    if shown.demand is capacity:
        return replace(shown, title=OVERLOAD, figure=capacity, demand=shown.figure,
                       relation="at least")
    return replace(shown, title=OVERLOAD, figure=capacity, demand=None, relation="",
                   reason=shown.sentence)


def _by_fuse_alone(asked: RouteAsked) -> bool:
    rating = asked.fuse_rating
    return "fuse" in asked.overload_device.lower() and rating is not None and rating.known


def _thermal_checks(frame: _Frame, duty: _Duty, figures: _Figures) -> list[Check]:
    stage = "thermal load"
    checks = [
        judge("Corrected current", stage, figures.corrected, "at least", duty.steady,
              reason=f"{frame.rule.key}, {frame.use.printed}", remedy="a larger section"),
        judge("Steady conductor temperature", stage, figures.temperature, "at most",
              frame.steady_limit, reason="against terminals and insulation",
              remedy="a larger section or terminals rated hotter"),
    ]
    if figures.column is not None:
        checks.append(judge("Terminals' column, 110.14(C)", stage, figures.column, "at least",
                            duty.steady, reason="Table 310.16 whatever the way of laying"))
    if figures.peak is None:
        checks.append(Check("End of the peak", stage, FAIL, reason=figures.refusal))
    else:
        checks.append(judge("End of the peak", stage, figures.peak, "at most", frame.steady_limit,
                            reason="no heat is taken to leave the copper during the peak"))
    return checks


def _drop_checks(asked: RouteAsked, figures: _Figures) -> list[Check]:
    stage = "voltage drop"
    return [
        judge("Voltage drop at the steady current", stage, figures.drop_ratio, "at most",
              asked.voltage_drop_limit, missing="system voltage or drop limit is not known"),
        judge("Loop resistance allowed in the sag", stage, figures.loop_resistance, "at most",
              asked.resistance_budget, missing="no allowance was given for this route"),
    ]


def _facts(figures: _Figures, counted: Finding) -> tuple[Fact, ...]:
    section = figures.section
    return (
        figure_fact("section", "mm²", section.area),
        word_fact("other system, not smaller", section.other),
        figure_fact("table current", "A", section.current),
        figure_fact("corrected current", "A", figures.corrected),
        figure_fact("capacity of one cable", "A", figures.capacity),
        figure_fact("conductor temperature", "°C", figures.temperature),
        figure_fact("hot loop resistance", "mΩ", figures.loop_resistance),
        figure_fact("voltage drop at the steady current", "V", figures.drop),
        figure_fact("voltage drop at the peak", "V", figures.peak_drop),
        figure_fact("temperature at the end of the peak", "°C", figures.peak, "none"),
        figure_fact("k²S² of one cable", "A²s", figures.withstand, "none"),
        figure_fact(f"one cable survives for {counted.number:g} s", "A", figures.survivable,
                    "none"))


def _item(asked: RouteAsked, frame: _Frame, duties: tuple[_Duty, ...],
          choices: tuple[RunChoice, ...], candidates: tuple[Candidate, ...]) -> Item:
    required = tuple(d.required for d in duties)
    return Item(asked.key, f"Cable, {asked.name}", _governing(frame, duties, choices),
                required + _by_fuse(asked, frame, duties) + tuple(d.steady for d in duties)
                + (frame.ambient_factor, frame.terminal_factor, frame.steady_limit,
                   frame.fault_end, *_smallest_for_fault(asked, frame)),
                _specification(asked, frame, choices), candidates,
                _open_items(asked, choices, candidates),
                _notes(asked, frame), _item_checks(asked, choices))


def _by_fuse(asked: RouteAsked, frame: _Frame, duties: tuple[_Duty, ...]) -> tuple[Finding, ...]:
    """What the table must show where the fuse ends an overload: In in place of the load."""
    rating = asked.fuse_rating
    if rating is None or not _by_fuse_alone(asked):
        return ()
    factor = smallest([frame.ambient_factor, frame.terminal_factor], "factor that governs")
    return tuple(trace(
        required_table_current, f"required table current, {_runs(int(d.runs.number))}, with the "
        "fuse as overload device", note="In ≤ Iz [iec-60364-4-43]; that it opens in its "
        "conventional time, I2 ≤ 1.45·Iz, is held with the fuse", current=rating, share=d.share,
        grouping_factor=d.grouping, ambient_factor=factor) for d in duties)


def _smallest_for_fault(asked: RouteAsked, frame: _Frame) -> tuple[Finding, ...]:
    """Section that the lowest fault needs when it starts from the steady limit."""
    if not asked.fault_lowest.known or frame.fault_end.number <= frame.steady_limit.number:
        return ()
    constant = trace(adiabatic_constant, start=frame.steady_limit, end=frame.fault_end)
    return (trace(minimum_section, "section that the lowest fault needs from the steady limit",
                  current=asked.fault_lowest, time=asked.counted_time, constant=constant),)


def _governing(frame: _Frame, duties: tuple[_Duty, ...], choices: tuple[RunChoice, ...]) -> str:
    words = []
    for duty, choice in zip(duties, choices, strict=True):
        terminals = (frame.steady_limit.number < frame.use.conductor
                     and duty.by_terminals.number > duty.by_insulation.number)
        by = "the terminals" if terminals else "the insulation and the air"
        found = (f"{choice.candidate.name} is the smallest that fails no check"
                 if choice.candidate else "no section of the table qualifies")
        words.append(f"{_runs(choice.runs)}: at least {duty.required.shown} in the table "
                     f"({frame.rule.key}, {frame.use.printed}), governed by {by}; {found}")
    return ". ".join(words) + "."


def _specification(asked: RouteAsked, frame: _Frame,
                   choices: tuple[RunChoice, ...]) -> tuple[Requirement, ...]:
    voltage = (asked.highest_voltage.shown if asked.highest_voltage is not None
               else "the highest working voltage")
    lines = [
        Requirement("Insulation, rated DC voltage", f"above {voltage}",
                    "by the highest working voltage, never the label voltage"),
        Requirement("Insulation class", f"at least {asked.insulation_class.shown}"),
        Requirement("Conductor", "fine-stranded copper, section and resistance proved",
                    "SAE sizes hold 5 to 12 % less copper than AWG of the same number"),
        Requirement("Terminals and lugs", f"steady limit {asked.terminal_limit.shown}, short-time "
                    f"limit at least {frame.fault_end.shown}"),
        _overload_told(asked, choices),
        Requirement("Short-circuit protection",
                    f"fuse {asked.fuse_rating.shown}" if asked.fuse_rating is not None
                    else "the fuse that feeds this route, still to be chosen"),
    ]
    for choice in choices:
        if choice.candidate:
            lines.append(Requirement(
                f"Smallest section, {_runs(choice.runs)}", choice.candidate.name,
                f"total clearing I²t of the fuse at most {choice.withstand.shown} a cable"))
    return tuple(lines)


def _overload_told(asked: RouteAsked, choices: tuple[RunChoice, ...]) -> Requirement:
    """Who is asked to end an overload, and what is shown of it for the smallest section."""
    shown = next((check for choice in choices if choice.candidate
                  for check in choice.candidate.checks if check.title == OVERLOAD), None)
    if shown is None:
        return Requirement("Overload protection", asked.overload_device)
    return Requirement("Overload protection", f"{shown.verdict}: {shown.sentence}")


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


def _notes(asked: RouteAsked, frame: _Frame) -> tuple[str, ...]:
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
    if any(n > 1 for n in asked.runs):
        notes.append("Several cables a pole: equal length, section and lugs; the busier run is "
                     "taken at 10 % above an even share. If one opens, the other carries all and "
                     "nothing shows it. In a fault on one run that run alone is held to the "
                     "whole current.")
    if frame.rule.key == "NFPA 70":
        notes.append("The 125 % for continuous loads of 210.19 and 215.2 (remembered) is not "
                     "applied: the continuous current is taken as it is.")
    return tuple(notes)


def _item_checks(asked: RouteAsked,
                 choices: tuple[RunChoice, ...]) -> tuple[Check, ...]:
    return (*_nobody_check(asked, choices), *_short_circuit_check(asked, choices))


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


def _short_circuit_check(asked: RouteAsked,
                         choices: tuple[RunChoice, ...]) -> tuple[Check, ...]:
    if asked.fuse_rating is None or not asked.fuse_rating.known:
        return (Check("Short-circuit protection", "who clears", NOT_EVALUATED,
                      reason="no fuse is chosen yet for this route"),)
    if asked.let_through is not None and asked.let_through.known:
        stands = next((c.withstand for c in choices if c.candidate), None)
        return (judge("Short-circuit protection", "who clears", asked.let_through, "at most",
                      stands, missing="no section qualifies that could be held against it",
                      reason="largest I²t of the whole fault range, see who clears, against one "
                             "cable"),)
    return (Check("Short-circuit protection", "who clears", CAUTION,
                  reason=f"the fuse of {asked.fuse_rating.shown}; shown only once its curve is "
                         "held against k²S²"),)


def _refused(asked: RouteAsked, rule: RuleSet, why: str, verdict: str) -> RouteResult:
    check = Check("Within the tables", "thermal load", verdict, reason=f"refused: {why}",
                  remedy="change the route, or ask the cable's maker for a proved current")
    item = Item(asked.key, f"Cable, {asked.name}", f"Refused: {why}.", (),
                notes=(rule.sentence,), checks=(check,), open_items=(why,))
    return RouteResult(asked, item)
