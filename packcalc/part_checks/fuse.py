"""A user's fuse held against the duty of its place: each check with its margin or its question."""

from __future__ import annotations

from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, PASS, Check, Fact, figure_fact, judge, word_fact,
)
from packcalc.conductors import cable_fault_integral
from packcalc.errors import OutOfRange
from packcalc.findings import Finding, largest, leaf, smallest, trace, untold_of, with_more
from packcalc.layout_findings import counted_for
from packcalc.fuse_formulas import (
    FLUCTUATION, HOTTEST_PART, RATING_AMBIENT, fuse_ambient_factor, fuse_melting_current_demand,
    fuse_rating_before_conductor, fuse_rating_by_sheet, fuse_rating_with_conductor,
    pulse_current_share,
)
from packcalc.part_checks.shown import (
    OPTIMISTIC, SILENT, at_voltage, fuse_curves, least_left, remark, stepped, terminals_check,
    voltage_check,
)
from packcalc.part_checks.sweep import fuse_side, lower_end
from packcalc.part_formulas import loss_resistance, pulse_integral_demand
from packcalc.parts import FusePart
from packcalc.tables import Table, table
from packcalc.value import replace, value_object


# What every fuse's sheet asks for: without it some check of a named one shows nothing.
TO_SEND = (
    "melting and total clearing curves in DC, pre-arcing I²t, total clearing I²t in DC with its "
    "voltage, cut-off current and peak arc voltage at this voltage, class letters, conventional "
    "fusing current, lowest breaking current if it has one, power loss, terminal limit, derating "
    "method with its figures, conductor factor, share of the melting current by number of pulses")


@value_object
class FuseDemand:
    """What a fuse must meet at its place. Any finding may lack its value.

    Attributes:
        highest_voltage, fault_highest, fault_lowest, time_constant: of the circuit.
        counted_time: within which it must open to be counted on.
        continuous_current, peak_current, peak_duration, cycles: load.
        ambient: air around it.
        bus_insulation: lowest short-time voltage that everything on the bus withstands.
        path_resistance: with which the fuse is counted in sag and fault currents.
        terminal_temperature: up to which the conductors joined to it may run.
        closing_integral: I²t of the step when a main contactor closes.
        slower_loops: (voltage, time constant) of loops at lower voltages that it breaks as well.
    """

    highest_voltage: Finding
    fault_highest: Finding
    fault_lowest: Finding
    time_constant: Finding
    counted_time: Finding
    continuous_current: Finding
    peak_current: Finding
    peak_duration: Finding
    ambient: Finding
    cycles: Finding | None = None
    bus_insulation: Finding | None = None
    path_resistance: Finding | None = None
    terminal_temperature: Finding | None = None
    closing_integral: Finding | None = None
    slower_loops: tuple[tuple[Finding, Finding], ...] = ()


@value_object
class SteadyLoad:
    """What `carries_check` asks of a place: the two of `FuseDemand` that derating needs.

    Attributes:
        continuous_current: load.
        ambient: air around the fuse.
    """

    continuous_current: Finding
    ambient: Finding


def fuse_part_checks(part: FusePart, demand: FuseDemand) -> tuple[Check, ...]:
    """Every check of one fuse, in the order of the stages."""
    return (
        voltage_check(part, demand.highest_voltage,
                      "Rated DC voltage above the highest working voltage"),
        _arc_voltage(part, demand),
        breaking_check(part, demand.highest_voltage, demand.fault_highest),
        *time_constant_checks(part, demand.highest_voltage, demand.time_constant,
                              demand.slower_loops),
        _let_through(part, demand),
        survives_closing(part.melting_i2t, demand.closing_integral),
        _opens_at_lowest(part, demand),
        carries_check(part, demand),
        _endures(part, demand),
        _loss(part, demand),
        terminals_check(part.terminal_limit, demand.terminal_temperature),
    )


def breaking_check(part: FusePart, highest_voltage: Finding, current: Finding,
                   title: str = "DC breaking capacity above the highest fault",
                   reason: str = "", remedy: str = "a fuse that breaks more") -> Check:
    """Breaking capacity, which holds at the rated DC voltage, against a prospective current."""
    return at_voltage(judge(
        title, "fault range", part.breaking_capacity, "above", current,
        missing=f"{SILENT}the DC breaking capacity" if part.breaking_capacity is None else
        f"{current.title} is not known", reason=reason, remedy=remedy), part, highest_voltage)


def fuse_facts(part: FusePart) -> tuple[Fact, ...]:
    """Columns of the table of candidates."""
    return (figure_fact("rated current", "A", part.rated_current),
            word_fact("class", part.class_letters or "–"),
            figure_fact("rated DC voltage", "V", part.rated_voltage_dc), *remark(part))


def survives_closing(melting: Finding | None, integral: Finding | None) -> Check:
    """A healthy link must outlive every closing onto the pre-charged bus."""
    return outlives_check(
        "Pre-arcing I²t outlives the step at every closing", melting, integral,
        "Pre-arcing I²t asked by the closing step",
        f"{SILENT}the pre-arcing I²t" if melting is None else "the step at closing is not known",
        "a higher pre-charge level, or a larger or slower fuse")


def outlives_check(title: str, melting: Finding | None, integral: Finding | None, called: str,
                   missing: str, remedy: str = "") -> Check:
    """Pre-arcing I²t against a pulse that comes as often as the published chart holds.

    Args:
        melting: pre-arcing I²t of the link.
        integral: I²t of one pulse.
        called: what the pre-arcing I²t is that so many pulses ask for.
        missing, remedy: as of `judge`.
    """
    source = table("fuse_pulse")
    most = leaf("number of closings", "N", "", max(source.numbers("cycles_n")), "assumed",
                source="packcalc-rule", note="the most that the published chart holds")
    share = _row(source, most, "share of the melting I²t", "p")
    known = integral is not None and integral.known and share is not None
    asked = with_more(trace(pulse_integral_demand, called, integral=integral, share=share),
                      integral.untold_more) if known else integral
    return judge(title, "fault range", melting, "at least", asked, missing=missing,
                 remedy=remedy)


def _loss(part: FusePart, demand: FuseDemand) -> Check:
    """What the sheet's power loss says of the resistance that sag was judged with."""
    title = "Resistance within what the fuse is counted with"
    resistance = None
    if part.watt_loss is not None and part.rated_current is not None:
        resistance = trace(loss_resistance, "resistance of the fuse at its rated current",
                           power=part.watt_loss, current=part.rated_current)
    check = judge(title, "voltage drop", resistance, "at most", demand.path_resistance,
                  missing=f"{SILENT}the power loss at rated current" if resistance is None else
                  "it is not counted in any voltage here",
                  reason="power loss over rated current squared",
                  remedy="give this resistance in the brief as path.fuse_resistance")
    return check if check.verdict != FAIL else replace(
        check, verdict=CAUTION, reason=f"{check.reason}; {OPTIMISTIC}")


def _arc_voltage(part: FusePart, demand: FuseDemand) -> Check:
    return at_voltage(arc_voltage_check(
        "Arc voltage within the insulation of what hangs on the bus", part.arc_voltage,
        demand.bus_insulation, demand.highest_voltage, SILENT), part, demand.highest_voltage)


def arc_voltage_check(title: str, arc: Finding | None, withstand: Finding | None,
                      highest: Finding, silent: str = "") -> Check:
    """Peak arc voltage of a fuse against what the bus stands; each missing figure is asked for."""
    asks = []
    if arc is None or not arc.known:
        asks.append(f"{silent}the peak arc voltage at {highest.shown}")
    if withstand is None or not withstand.known:
        reached = f"the fuse's arc reaches {arc.shown}: " if arc is not None and arc.known else ""
        asks.append(f"{reached}ask the makers of inverter, charger and converter what their inputs "
                    "stand for milliseconds (insulation.bus_withstand)")
    return judge(title, "isolation and distance", arc, "at most", withstand,
                 missing="; ".join(asks),
                 remedy="a fuse with a lower arc voltage, or parts with a higher withstand")


def time_constant_checks(part: FusePart, highest_voltage: Finding, constant: Finding,
                         slower: tuple[tuple[Finding, Finding], ...] = ()) -> tuple[Check, ...]:
    """Permitted L/R at the highest voltage, and at the lower voltage where least is left of it."""
    at_once = _permits(part, highest_voltage, constant, "Permitted time constant at this voltage")
    found = [_permits(part, voltage, tau, "Permitted time constant of slower loops, at their lower "
                      "voltage", f"loop of {voltage.shown}") for voltage, tau in slower]
    return (at_once, *sorted(found, key=least_left)[:1])


def _permits(part: FusePart, voltage: Finding, constant: Finding, title: str,
             reason: str = "") -> Check:
    permitted = stepped(part.permitted_time_constant, voltage, upper=True,
                        title="Permitted time constant at the next stated voltage", symbol="τ")
    return judge(title, "fault range", permitted, "at least", constant, reason=reason,
                 missing=f"{SILENT}the time constant permitted at {voltage.shown} or above",
                 remedy="a fuse proved at a longer time constant, or a shorter loop")


def _let_through(part: FusePart, demand: FuseDemand) -> Check:
    title = "Total clearing I²t stated at or above the working voltage"
    if part.clearing_i2t is None or part.clearing_i2t_at is None:
        return Check(title, "fault range", NOT_EVALUATED, reason=f"{SILENT}the total clearing I²t "
                     f"in DC with its voltage (at least {demand.highest_voltage.shown}); the "
                     "cable and contactor checks beyond its curve need it")
    return judge(title, "fault range", part.clearing_i2t_at, "at least", demand.highest_voltage,
                 missing="highest working voltage is not known",
                 remedy="ask for the figure at this voltage: I²t rises with voltage")


def _opens_at_lowest(part: FusePart, demand: FuseDemand) -> Check:
    title, stage = "Opens at the lowest fault within the counted time", "who clears"
    if not demand.fault_lowest.known:
        return Check(title, stage, NOT_EVALUATED, reason="lowest fault current is not known")
    side = fuse_side(part, demand.highest_voltage, demand.time_constant,
                     demand.counted_time.number)
    if side.reasons:
        return Check(title, stage, NOT_EVALUATED, None, demand.fault_lowest, "at most",
                     _lacking(side.reasons))
    counts = lower_end(side, demand.counted_time.number, "current from which the fuse counts")
    check = judge(title, stage, counts, "at most", demand.fault_lowest)
    if check.verdict != FAIL:
        return check
    return Check(title, stage, CAUTION, counts, demand.fault_lowest, "at most",
                 f"counts only from there ({side.why_low}); below it a contactor on a named trip "
                 "must open, see who clears over the whole range",
                 "a smaller or faster fuse; a contactor whose range overlaps")


def _lacking(reasons: tuple[str, ...]) -> str:
    """What the sheet says against it first, then all that is asked for, each once."""
    told = [reason for reason in reasons if "ask for " not in reason]
    asks = dict.fromkeys(r.rpartition("ask for ")[2] for r in reasons if r not in told)
    return "; ".join((*told, *((f"{SILENT}{'; '.join(asks)}",) if asks else ())))


# -- load -------------------------------------------------------------------------------------


def carries_check(part: FusePart, demand: FuseDemand | SteadyLoad,
                  title: str = "Carries the continuous load") -> Check:
    """Rated current against the derated load; a pass needs the sheet's own method and figures."""
    stage = "thermal load"
    try:
        least, ask = least_rating(part, demand)
    except OutOfRange as refusal:
        return Check(title, stage, FAIL, reason=str(refusal))
    if least is None:
        # No conductor factor and no derating can ask for less than these.
        floor = _least_without_conductor(part, demand)
        if floor is not None and part.rated_current is not None:
            bare = judge(title, stage, part.rated_current, "at least", floor,
                         reason="before the maker's missing factors, which may only raise it",
                         remedy="a larger rating")
            if bare.verdict == FAIL:
                return bare
    check = judge(title, stage, part.rated_current, "at least", least,
                  missing=ask or f"{SILENT}the rated current",
                  reason=counted_for(least, "power.continuous") if least is not None else "",
                  remedy="a larger rating; a cooler box; thicker conductors at the fuse")
    blank = _defaulted(part)
    if check.verdict != PASS or not blank:
        return check
    return replace(check, verdict=NOT_EVALUATED, reason="large enough by a published default, "
                   f"which need not be this sheet's: ask for {'; '.join(blank)}")


def _defaulted(part: FusePart) -> list[str]:
    """What the sheet does not say of its own derating, and a default stands for."""
    asks = [] if part.derating_method else ["the derating method of the sheet (derating_method)"]
    if (part.derating_method or _method_by_figures(part)) == "A":
        asks += [f"the sheet's {words} ({name})" for name, words in (
            ("link_constant", "temperature constant a"), ("rating_ambient", "rating ambient θ0"),
            ("fluctuation_factor", "factor for fluctuating load A′2"))
            if getattr(part, name) is None]
    return asks


def least_rating(part: FusePart, demand: FuseDemand | SteadyLoad) -> tuple[Finding | None, str]:
    """(rated current asked by one derating method, what is missing): never two methods in one.

    Raises:
        OutOfRange: the air is as hot as the link's own limit.
    """
    method = part.derating_method or _method_by_figures(part)
    if not method:
        return None, ("the list gives figures of both derating methods: say which is the sheet's "
                      "in derating_method")
    if not (demand.continuous_current.known and demand.ambient.known):
        return None, "continuous current or ambient is not known"
    if part.conductor_factor is None:
        return None, (f"{SILENT}the conductor factor for the section and length of what is joined "
                      "to the fuse; it may only raise the rating asked")
    return _by_constants(part, demand) if method == "A" else _by_curve(part, demand)


def _least_without_conductor(part: FusePart, demand: FuseDemand | SteadyLoad) -> Finding | None:
    """The rating asked before the conductor factor: method A where it applies, else the load."""
    if not (demand.continuous_current.known and demand.ambient.known):
        return None
    if (part.derating_method or _method_by_figures(part)) == "A":
        return _before_conductor(part, demand)
    return demand.continuous_current


def _method_by_figures(part: FusePart) -> str:
    constants = part.link_constant is not None or part.rating_ambient is not None
    if constants and part.ambient_factor is not None:
        return ""
    return "B" if part.ambient_factor is not None else "A"


def _before_conductor(part: FusePart, demand: FuseDemand | SteadyLoad) -> Finding:
    rated_at = part.rating_ambient or RATING_AMBIENT
    warmest = largest([demand.ambient, rated_at], "Air around the fuse",
                      "no credit for a box cooler than the rating ambient")
    factor = trace(fuse_ambient_factor, ambient=warmest,
                   hottest_part=part.link_constant or HOTTEST_PART, rating_ambient=rated_at)
    return trace(fuse_rating_before_conductor, load_current=demand.continuous_current,
                 ambient_factor=factor,
                 fluctuation_factor=part.fluctuation_factor or FLUCTUATION)


def _by_constants(part: FusePart, demand: FuseDemand | SteadyLoad) -> tuple[Finding, str]:
    before = _before_conductor(part, demand)
    return trace(fuse_rating_with_conductor, "Least rated current, method A", before=before,
                 conductor_factor=part.conductor_factor), ""


def _by_curve(part: FusePart,
              demand: FuseDemand | SteadyLoad) -> tuple[Finding | None, str]:
    factor = stepped(part.ambient_factor, demand.ambient, upper=True,
                     title="Sheet's factor at the ambient", symbol="Kt")
    if factor is None:
        return None, f"{SILENT}the factor at {demand.ambient.shown} or above"
    if part.fluctuation_factor is None:
        return None, f"{SILENT}the sheet's factor for fluctuating load"
    return trace(fuse_rating_by_sheet, "Least rated current, method B",
                 load_current=demand.continuous_current, ambient_factor=factor,
                 fluctuation_factor=part.fluctuation_factor,
                 conductor_factor=part.conductor_factor), ""


# -- pulses -----------------------------------------------------------------------------------


def _endures(part: FusePart, demand: FuseDemand) -> Check:
    title, stage = "Endures the peaks", "thermal load"
    melting, _ = fuse_curves(part)
    share = pulse_share(part, demand.cycles)
    if share is None or not demand.peak_current.known:
        return Check(title, stage, NOT_EVALUATED, reason="more peaks in life than the published "
                     f"figures hold, or peak unknown: {SILENT}the share at that number of pulses")
    asked = with_more(trace(
        fuse_melting_current_demand, "Melting current asked at the length of the peak",
        peak_current=demand.peak_current, share=share),
        untold_of(f for f in (demand.cycles, demand.peak_current) if f is not None))
    if melting is None:
        return Check(title, stage, NOT_EVALUATED, None, asked, "at least",
                     f"{SILENT}the melting current at {demand.peak_duration.shown}")
    try:
        figure = melting.trace_current(demand.peak_duration, "Melting current at the peak's length")
    except OutOfRange as refusal:
        if demand.peak_duration.number > melting.longest and melting.lowest < asked.number:
            last = leaf("Melting current at the longest time of the curve", "Im", "A",
                        melting.lowest, melting.basis, source=melting.source,
                        origin=melting.origin)
            return Check(title, stage, FAIL, last, asked, "at least",
                         "a longer peak melts the link at a smaller current still",
                         "a larger or slower fuse, or a shorter peak")
        return Check(title, stage, NOT_EVALUATED, None, asked, "at least", f"{SILENT}a melting "
                     f"point at {demand.peak_duration.shown}: {refusal}")
    check = judge(title, stage, figure, "at least", asked, reason=share.title,
                  remedy="a larger or slower fuse, or fewer peaks")
    if check.verdict != PASS or _own_share(part, demand.cycles) is not None:
        return check
    return replace(check, verdict=NOT_EVALUATED, reason=f"enough by {share.title}, a published "
                   "default, which need not be this link's: ask for the family's own share of the "
                   "melting current at that number of pulses (cyclic_share)")


def pulse_share(part: FusePart, cycles: Finding | None) -> Finding | None:
    """Share of the melting current: the part's own figure, else the lower published rule."""
    own = _own_share(part, cycles)
    if own is not None:
        return own
    count, cyclic, pulse = pulses(cycles), table("fuse_cyclic"), table("fuse_pulse")
    current = _row(cyclic, count, "share of the melting current (B′2)", "B′2")
    heat = _row(pulse, count, "share of the melting I²t", "p")
    rules = [r for r in (current, trace(pulse_current_share, share=heat) if heat else None) if r]
    return smallest(rules, "lower of the published rules") if rules else None


def _own_share(part: FusePart, cycles: Finding | None) -> Finding | None:
    return stepped(part.cyclic_share, pulses(cycles), upper=True,
                   title="the family's own share", symbol="B")


def pulses(cycles: Finding | None) -> Finding:
    """Peaks in life; where nobody said, the most that the published rules hold."""
    if cycles is not None and cycles.known:
        return cycles
    most = min(max(table(name).numbers("cycles_n")) for name in ("fuse_cyclic", "fuse_pulse"))
    return leaf("Number of pulses", "N", "", most, "assumed", source="packcalc-rule",
                note="not known: the most that both published rules hold")


def _row(source: Table, count: Finding, title: str, symbol: str) -> Finding | None:
    try:
        row = source.at_or_above("cycles_n", count.number, want="share_ratio")
    except OutOfRange:
        return None
    return source.finding(row, "share_ratio", title, symbol, "", float(row["share_ratio"]))


def selective(upper: FusePart, lower: FusePart, highest_voltage: Finding,
              fault_highest: Finding) -> Check:
    """Whether only the lower of two fuses in one path opens, by what the lower lets through.

    The total clearing I²t of the lower must stay below the pre-arcing I²t of the upper, and
    wherever both curves have points the lower must clear before the upper melts. Of the upper's
    own figure and its curve's fastest point the smaller I²t counts.
    """
    title, stage = f"{lower.name} opens without {upper.name}", "who clears"
    remedy = "a larger upper fuse or a smaller lower one; ask both makers for a selectivity table"
    if lower.clearing_i2t_at is None or not highest_voltage.known \
            or lower.clearing_i2t_at.number < highest_voltage.number:
        return Check(title, stage, NOT_EVALUATED, reason=f"{SILENT}the total clearing I²t of "
                     f"{lower.name} at {highest_voltage.shown} or above")
    melts = upper.melting_i2t
    if melts is not None and upper.melting is not None:
        time, current = (leaf(f"{what} of the melting curve's fastest point", sign, unit, at[0],
                              upper.basis, origin=upper.melting.origin)
                         for what, sign, unit, at in (
                             ("time", "t", "s", upper.melting.first),
                             ("current", "I", "A", upper.melting.second)))
        melts = smallest([melts, trace(
            cable_fault_integral, "I²t of the melting curve's fastest point", symbol="I²t_p",
            current=current, time=time)], f"pre-arcing I²t of {upper.name}")
    by_heat = judge(title, stage, lower.clearing_i2t, "below", melts,
                    missing=f"{SILENT}the pre-arcing I²t of {upper.name}",
                    reason=f"up to {fault_highest.shown}, by let-through", remedy=remedy)
    if by_heat.verdict != PASS:
        return by_heat
    melting, clearing = fuse_curves(upper)[0], fuse_curves(lower)[1]
    if melting is None or clearing is None:
        return Check(title, stage, NOT_EVALUATED, lower.clearing_i2t, melts, "below",
                     f"holds by let-through; {SILENT}both curves for the slower currents")
    at = clearing.above(melting)
    if at is not None:
        meets = leaf("a current at which the upper melts first", "I", "A", at, upper.basis,
                     origin=melting.origin)
        return Check(title, stage, FAIL, reason=f"the upper fuse may melt before the lower has "
                     f"cleared at {meets.shown}", remedy=remedy)
    return at_voltage(by_heat, lower, highest_voltage)
