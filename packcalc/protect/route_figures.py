"""What one route asks of its cable and what each section of a table then does: figures alone.

The duty by load, laying and ambient; current-carrying capacity, voltage drop, temperatures and
heat of one section. `packcalc.protect.cable` holds them against the demands.
"""

from __future__ import annotations

from collections.abc import Callable

from packcalc import tables
from packcalc.cable_rules import (
    CurrentTable,
    RuleSet,
    Section,
    ambient_factor,
    grouping_factor,
    sections,
    table_rise,
)
from packcalc.checks import NOT_EVALUATED, Check
from packcalc.conductors import (
    adiabatic_constant,
    cable_ambient_factor,
    cable_drop_ratio,
    cable_loop_resistance,
    cable_voltage_drop,
    cable_withstand,
    conductor_temperature,
    copper_resistance,
    corrected_current,
    peak_temperature,
    required_table_current,
    run_current,
    survivable_current,
)
from packcalc.errors import OutOfRange
from packcalc.findings import (
    OR_LESS, Finding, Origin, largest, leaf, smallest, trace, with_more,
)
from packcalc.layout_findings import open_length
from packcalc.units import from_si
from packcalc.value import replace, value_object

NOBODY, MAIN_FUSE = "nobody", "main fuse"
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
        unended: where nobody ends the heat in it, or is shown to, in words; else empty.
        left: whether its own far end is one of these places.
        unshown: I²t that a fault may ask which is not shown to be ended; None for no more.
        fuse_lost: why its own fuse does not break some fault in it, by its sheet; else empty.
        fuse_open: why that fuse is not shown to, though its sheet is at hand; else empty.
        protected_by: who ends its faults where no fuse of its own is counted on; else empty.
        laid_open: hotter ways of laying that its rule set has no table for, while nobody said how
            it lies; else empty.
        unnamed: that the brief names no cable for it, and in which line it would; else empty.
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
    unended: str = ""
    left: bool = False
    unshown: Finding | None = None
    fuse_lost: str = ""
    fuse_open: str = ""
    protected_by: str = ""
    laid_open: str = ""
    unnamed: str = ""

    @property
    def key(self) -> str:
        return f"cable.{self.name}"

    @property
    def behind_main_fuse(self) -> bool:
        """Whether the main fuse, and no fuse of a branch, protects this route."""
        return self.fuse_rating is not None and self.overload_device == MAIN_FUSE


@value_object
class Frame:
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
class Duty:
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
class Figures:
    """What one section offers.

    Attributes:
        refusal: why the peak leaves nothing for a fault; what it stands is then counted from the
            steady limit, and may be less.
        silent: why nothing says what it carries; its current is then that of a thicker one, and
            may be less.
    """

    section: Section
    corrected: Finding
    capacity: Finding
    temperature: Finding
    loop_resistance: Finding | None = None
    drop: Finding | None = None
    peak_drop: Finding | None = None
    drop_ratio: Finding | None = None
    peak: Finding | None = None
    constant: Finding | None = None
    withstand: Finding | None = None
    survivable: Finding | None = None
    column: Finding | None = None
    refusal: str = ""
    silent: str = ""


def frame_of(asked: RouteAsked, rule: RuleSet) -> Frame:
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
    return Frame(
        rule, use, asked.ambient, rise, ambient_factor(use, asked.ambient),
        trace(cable_ambient_factor, "factor for the steady temperature limit", symbol="k_θ",
              limit=steady_limit, ambient=asked.ambient, rise=rise),
        steady_limit, smallest(ends, "end temperature of a fault"), steady)


def _safe_end(what: str) -> Finding:
    return leaf(f"short-time limit of the {what}", "θ_f", "°C", JOINT_LIMIT, "assumed",
                source="iec-60364-5-54",
                note="not given: the lowest end temperature printed for sections up to 300 mm²; "
                     "read it on the data sheets of lug, joint and cable")


def duty_of(asked: RouteAsked, frame: Frame, runs: int) -> Duty:
    count = leaf("cables a pole", "n", "", runs, "definition")
    share = _share(runs)
    # Each further run is one more circuit in the bundle.
    grouping = grouping_factor(frame.use, asked.grouped_circuits.number + runs - 1)
    load = dict(current=frame.steady_current, share=share, grouping_factor=grouping)
    by_insulation = trace(required_table_current, "required table current by the insulation",
                          ambient_factor=frame.ambient_factor, **load)
    by_terminals = trace(required_table_current, "required table current by the steady limit",
                         ambient_factor=frame.terminal_factor, **load)
    return Duty(
        count, share, grouping,
        trace(run_current, "steady current of the busier run", current=frame.steady_current,
              share=share),
        trace(run_current, "peak current of the busier run", current=asked.peak_current,
              share=share),
        by_insulation, by_terminals,
        largest([by_insulation, by_terminals], f"required table current, {cables_a_pole(runs)}"))


def duties_of(asked: RouteAsked, frame: Frame) -> tuple[tuple[Duty, ...], tuple[Check, ...]]:
    """The duty of each number of cables a pole; one that leaves the table takes no other along.

    Raises:
        OutOfRange: every one of them leaves the table.
    """
    duties: list[Duty] = []
    outside: list[Check] = []
    for runs in asked.runs:
        try:
            duties.append(duty_of(asked, frame, runs))
        except OutOfRange as refusal:
            if not duties and runs == asked.runs[-1]:
                raise
            outside.append(Check(f"{cables_a_pole(runs)}, within the tables", "thermal load",
                                 NOT_EVALUATED, reason=f"outside the table: {refusal}"))
    return tuple(duties), tuple(outside)


def _share(runs: int) -> Finding:
    """Part of the current that the busier run is taken to carry: 10 % above an even split."""
    if runs == 1:
        return leaf("share of the only run", "p", "", 1.0, "definition")
    return leaf("share of the busier run", "p", "", UNEVEN / runs, "assumed",
                source="packcalc-rule", note="10 % above an even split; lengths, lugs and "
                "sections of the runs must be equal")


def cables_a_pole(runs: int) -> str:
    return f"{runs} cable{'s' if runs > 1 else ''} a pole"


def figures_of(asked: RouteAsked, frame: Frame, duty: Duty, section: Section) -> Figures:
    factors = dict(table_current=section.current, grouping_factor=duty.grouping)
    corrected = trace(corrected_current, ambient_factor=frame.ambient_factor, **factors)
    limited = trace(corrected_current, "current at the steady temperature limit",
                    ambient_factor=frame.terminal_factor, **factors)
    column = _terminal_column(asked, frame, duty, section)
    temperature = trace(conductor_temperature, ambient=frame.ambient, rise=frame.rise,
                        current=duty.steady, **factors)
    capacity = smallest([f for f in (corrected, limited, column) if f], "capacity of one cable")
    return _whole(asked, frame, duty, Figures(section, corrected, capacity, temperature,
                                              column=column))


def thinner_figures(asked: RouteAsked, frame: Frame, duty: Duty, section: Section,
                    hot: Finding, silent: str) -> tuple[Frame, Figures]:
    """Figures of a cable below every section of the table, and the frame that they hold in.

    Its maker's current takes the place of a table current: taken to heat the conductor up to its
    class, with no credit for air cooler than stated. It carries no more than the smallest section
    of the table; where its maker states nothing, that bound is all there is.

    Args:
        section: the cable, with its maker's current, which may lack its value.
        hot: temperature class of its insulation.
        silent: what to ask for where the maker states no current.
    """
    least = figures_of(asked, frame, duty, sections(frame.rule, frame.use)[0])
    less = f"the table begins at {least.section.size}{OR_LESS}this cable is thinner"
    column = least.column and least.column.called(note=less)
    if not section.current.known:
        plain = Figures(section, least.corrected.called(note=less),
                        least.capacity.called(note=less), frame.steady_limit.called(
                            "conductor temperature, counted at its limit"), column=column,
                        silent=silent)
        return frame, _whole(asked, frame, duty, plain)
    rise = leaf("rise of the conductor at its maker's current", "Δθ", "K",
                hot.number - frame.ambient.number, "assumed", source="packcalc-rule",
                note=f"from {frame.ambient.shown} air to its class of {hot.shown}: errs high")
    own = replace(frame, rise=rise, ambient_factor=leaf(
        "factor for the air temperature", "k_a", "", 1.0, "definition",
        note="its maker's current holds in this air or hotter"), terminal_factor=trace(
            cable_ambient_factor, "factor for the steady temperature limit", symbol="k_θ",
            limit=frame.steady_limit, ambient=frame.ambient, rise=rise))
    found = figures_of(asked, own, duty, section)
    return own, replace(
        found, corrected=smallest([found.corrected, least.corrected], found.corrected.title),
        capacity=smallest([found.capacity, least.capacity], found.capacity.title), column=column)


def _whole(asked: RouteAsked, frame: Frame, duty: Duty, plain: Figures) -> Figures:
    """Add drop and heat, which hang on the copper alone."""
    section = plain.section
    hot = trace(copper_resistance, "resistance at the steady temperature limit",
                resistance=section.resistance, at=section.resistance_at,
                temperature=frame.steady_limit)
    loop = trace(cable_loop_resistance, "hot loop resistance", resistance=hot,
                 length=asked.length, runs=duty.runs)
    more = open_length(asked.length)
    drop = with_more(trace(cable_voltage_drop, "voltage drop at the steady current",
                           current=frame.steady_current, loop_resistance=loop), more)
    peak_drop = with_more(trace(cable_voltage_drop, "voltage drop at the peak",
                                current=asked.peak_current, loop_resistance=loop), more)
    ratio = (with_more(trace(cable_drop_ratio, drop=drop, voltage=asked.system_voltage), more)
             if asked.system_voltage.known else None)
    dropped = replace(plain, loop_resistance=loop, drop=drop, peak_drop=peak_drop,
                      drop_ratio=ratio)
    try:
        peak = trace(peak_temperature, start=plain.temperature, current=duty.peak,
                     time=asked.peak_duration, area=section.area)
        # The fuse lets the conductor run at its steady limit: a fault may begin there.
        start = largest([peak, frame.steady_limit], "conductor temperature when a fault begins")
        return _with_heat(asked, frame, replace(dropped, peak=peak), start)
    except OutOfRange as refusal:
        return _beyond(asked, frame, replace(dropped, refusal=str(refusal)))


def _beyond(asked: RouteAsked, frame: Frame, refused: Figures) -> Figures:
    """Its peak leaves nothing for a fault: no more than it stands from its steady limit."""
    try:
        return _with_heat(asked, frame, refused, frame.steady_limit,
                          f"from its steady limit{OR_LESS}{refused.refusal}")
    except OutOfRange:
        return refused


def _with_heat(asked: RouteAsked, frame: Frame, plain: Figures, start: Finding,
               note: str = "") -> Figures:
    """Add what a fault does to the copper.

    Raises:
        OutOfRange: it begins at the end limit or above.
    """
    constant = trace(adiabatic_constant, start=start, end=frame.fault_end)
    withstand = trace(cable_withstand, constant=constant, area=plain.section.area, note=note)
    return replace(plain, constant=constant, withstand=withstand,
                   survivable=trace(survivable_current, withstand=withstand,
                                    time=asked.counted_time, note=note))


def warming_of(frame: Frame, figures: Figures) -> Finding | None:
    """I²t until one cable, losing no heat, has warmed from its peak to its steady limit.

    None where the peak leaves nothing. With several runs a pole one is counted as carrying the
    whole current, which errs low.
    """
    peak, end = figures.peak, frame.steady_limit
    if peak is None or peak.number >= end.number:
        return None
    constant = trace(adiabatic_constant, "adiabatic constant up to the steady limit", start=peak,
                     end=end)
    return trace(cable_withstand, "I²t that warms one cable to its steady limit",
                 constant=constant, area=figures.section.area,
                 note="an end that it bears for ever: for longer than 5 s it errs low, as no heat "
                      "is counted as leaving it")


def _terminal_column(asked: RouteAsked, frame: Frame, duty: Duty,
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
    if not data.rows:  # thinner than the table: its smallest row bounds it
        return None
    return data.finding(data.rows[0], "current_A",
                        f"current by the terminals' {columns[-1]:g} °C column, 110.14(C)", "I_c",
                        "A", float(data.rows[0]["current_A"]))
