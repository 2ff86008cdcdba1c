"""The main fuse: what it must carry, break and open, and which ratings are left.

Load side, cable side and lowest fault bound the rated current; voltage, breaking
capacity, time constant and melting curve go to the supplier as a specification. No
rating passes here on a data sheet that nobody entered.
"""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, PASS, Candidate, Check, Item, Requirement, judge, named_part,
    on_an_open_entry, open_of, word_fact, worst,
)
from packcalc.conductors import copper_resistance
from packcalc.findings import AT_LEAST, Finding, largest, leaf, trace, untold_of, with_more
from packcalc.layout_findings import counted_for
from packcalc.fuse_formulas import (
    COUNTED_ON, FLUCTUATION, HOTTEST_PART, RATING_AMBIENT, fuse_ambient_factor,
    fuse_melting_current_demand, fuse_rating_before_conductor, fuse_rating_cable_limit,
    fuse_rating_with_conductor,
)
from packcalc.part_checks.fuse import (
    TO_SEND, FuseDemand, breaking_check, fuse_facts, fuse_part_checks, pulses, survives_closing,
)
from packcalc.part_checks.fusing import (
    NO_TRIP, fusing_currents, gg_factor, left_unbroken, part_factor, unbroken_overload,
)
from packcalc.part_checks.shown import SILENT, at_voltage, rounded
from packcalc.part_formulas import loss_resistance
from packcalc.parts import FusePart
from packcalc.protect.branch_figures import discharge_integral
from packcalc.tables import table
from packcalc.units import significant
from packcalc.value import replace, value_object

NOTES = (
    "An AC voltage rating says nothing about DC: only a DC rating at this voltage, with its "
    "time constant, counts.",
    "Two fuses in series never add up their voltages or breaking capacities unless the maker "
    "states a series rating.",
    "A gG link is no default here: its curve comes from AC practice and it seldom carries the "
    "DC voltage. A partial-range link (first letter a) gives no overload protection at all: "
    "below its lowest breaking current it melts and goes on arcing.",
    "Road-vehicle fuses of ISO 8820 stop at 32 or 58 V [iso-8820] or at 450 V [iso-8820, "
    "remembered]; 450 V lies under the full-charge voltage of many 400 V class packs.",
    "The conventional non-fusing current of a gG link is 1.25 times its rating: it may never "
    "open there, and may take hours at 1.6 times [iec-60269-1-gates, remembered, consistent].",
    "The melting I²t of a sheet is not the total clearing I²t, and an AC clearing I²t is not "
    "one for DC.",
    "A fuse taken out of a donor has an unknown history of pulses and faults: scrap it.",
)


# The colder the link beside the temperature at which its loss was stated, the less it has.
LINK_LOADED = leaf("link at its rated current", "θ_0", "°C", 200.0 + 273.15, "assumed",
                   source="packcalc-rule", note="hotter than links are built to run: errs low in "
                   "the cold resistance")
LINK_COLD = leaf("link before the fault", "θ", "°C", -40.0 + 273.15, "assumed",
                 source="packcalc-rule", note="colder than any start: errs low")
WITHIN_CABLE = "Rated current within the cable's capacity"
FUSING = "Conventional fusing current within 1.45 times the cable's capacity"
NO_CABLE = "no cable qualifies: not evaluated from the cable side"
CABLE_REMEDY = "a larger cable; two cables a pole; a second, smaller fuse for the thin cable"


@value_object
class FuseAsked:
    """What the main fuse is sized from. Any finding may lack its value.

    Attributes:
        highest_voltage: V, highest working voltage.
        continuous_current: A, RMS.
        peak_current: A, at the end of the peak's sag.
        peak_duration: s.
        box_ambient: K, air around the fuse.
        fault_highest, fault_lowest: A.
        time_constant_highest, time_constant_lowest: s, L/R at either end.
        cycles: number of peaks in life, or None.
        cable_current: A, corrected capacity of the smallest cable it protects, or None.
        conductor_factor: C1 from the maker's sheet, or None.
        string_count: strings in parallel, each a source.
        bus_insulation: lowest short-time voltage that everything on the bus withstands, or None.
        path_resistance, terminal_temperature, closing_integral: as in `FuseDemand`, or None.
        slower_loops: (voltage, time constant) of loops at lower voltages that it must break as
            well: through the chassis, by the modules between the two faults, or inside a string.
        backward: largest current of the bus through it into a fault on the modules' side; None
            where it meets none.
        capacitance: of everything on the bus, which gives most of that in milliseconds.
    """

    highest_voltage: Finding
    continuous_current: Finding
    peak_current: Finding
    peak_duration: Finding
    box_ambient: Finding
    fault_highest: Finding
    fault_lowest: Finding
    time_constant_highest: Finding
    time_constant_lowest: Finding
    cycles: Finding | None = None
    cable_current: Finding | None = None
    conductor_factor: Finding | None = None
    string_count: int = 1
    bus_insulation: Finding | None = None
    path_resistance: Finding | None = None
    terminal_temperature: Finding | None = None
    closing_integral: Finding | None = None
    slower_loops: tuple[tuple[Finding, Finding], ...] = ()
    backward: Finding | None = None
    capacitance: Finding | None = None

    @property
    def most(self) -> Finding:
        """Largest current of all that it must break, whichever way."""
        known = [f for f in (self.fault_highest, self.backward) if f is not None and f.known]
        return max(known, key=lambda f: f.number) if self.fault_highest.known \
            else self.fault_highest


@value_object
class FuseDuty:
    """What a main fuse must meet, computed once for all ratings.

    Attributes:
        least_rating: A, from the load side; with C1 where it is known.
        conductor_known: whether C1 stands in `least_rating`.
        melting_current: A, at the length of the peak.
        cable_rating: A, largest rating that is shown to protect the cable (I2 rule).
        cable_current: A, the cable's capacity, above which a rating fails.
        time_constant: s, the larger of the two ends.
    """

    least_rating: Finding
    conductor_known: bool
    melting_current: Finding
    cable_rating: Finding
    cable_current: Finding
    time_constant: Finding


def size_main_fuse(asked: FuseAsked, parts: Sequence[FusePart] = (), *,
                   named: str = "") -> Item:
    """Duty, specification, every standard rating and the user's own parts held to the duty.

    Args:
        asked: the place of the fuse.
        parts: fuses of the user's list; they stand after the standard ratings.
        named: the one that the brief names.
    """
    duty = fuse_duty(asked)
    ratings = tuple(_candidate(float(row["current_A"]), asked, duty)
                    for row in table("fuse_currents").rows)
    candidates = ratings + tuple(part_candidate(part, asked, duty) for part in parts)
    return Item(
        key="main_fuse", title="Main fuse", governing=_governing(asked, duty),
        duty=(duty.least_rating, duty.cable_rating, asked.highest_voltage,
              asked.fault_highest, *((asked.backward,) if asked.backward is not None else ()),
              asked.fault_lowest, asked.time_constant_highest, asked.time_constant_lowest,
              duty.melting_current),
        specification=_specification(asked, duty), candidates=candidates,
        open_items=open_of(named, candidates, _open_items(asked, duty)), notes=_notes(asked),
        checks=(_window(ratings, asked, duty), *named_part(named, candidates)))


def fuse_duty(asked: FuseAsked) -> FuseDuty:
    """The bounds on rated current, melting current and time constant."""
    least, conductor_known = _least_rating(asked)
    cable = asked.cable_current or _blank("Capacity of the smallest cable", "Iz", "A",
                                          "no cable is chosen yet")
    ends = [f for f in (asked.time_constant_highest, asked.time_constant_lowest) if f.known]
    title = "Largest time constant of the fault circuit"
    return FuseDuty(
        least_rating=least, conductor_known=conductor_known,
        melting_current=_melting_current(asked), cable_rating=_cable_rating(cable),
        cable_current=cable,
        time_constant=(largest(ends, title) if len(ends) == 2
                       else _blank(title, "τ", "ms", "loop inductance or resistance unknown")))


def _blank(title: str, symbol: str, unit: str, why: str) -> Finding:
    return leaf(title, symbol, unit, None, "given", note=f"not known: {why}")


def _least_rating(asked: FuseAsked) -> tuple[Finding, bool]:
    title = "Least rated current from the load side"
    missing = [f.title for f in (asked.continuous_current, asked.box_ambient) if not f.known]
    if missing:
        return _blank(title, "In", "A", "for want of " + "; ".join(missing)), False
    warmest = largest([asked.box_ambient, RATING_AMBIENT], "Air around the fuse",
                      note="no credit is taken for a box cooler than the rating ambient")
    factor = trace(fuse_ambient_factor, ambient=warmest, hottest_part=HOTTEST_PART,
                   rating_ambient=RATING_AMBIENT)
    open_ = asked.continuous_current.first_open
    least = f"{AT_LEAST}: the {open_.title} may be more" if open_ else ""
    before = trace(
        fuse_rating_before_conductor, f"{title}, before the conductor factor",
        note="; ".join(filter(None, (
            least, "the conductor factor C1 is not in this figure and may only raise it"))),
        load_current=asked.continuous_current, ambient_factor=factor,
        fluctuation_factor=FLUCTUATION)
    if asked.conductor_factor is None or not asked.conductor_factor.known:
        return before, False
    return trace(fuse_rating_with_conductor, title, note=least, before=before,
                 conductor_factor=asked.conductor_factor), True


def _melting_current(asked: FuseAsked) -> Finding:
    title = "Melting current asked at the length of the peak"
    if not asked.peak_current.known:
        return _blank(title, "Im", "A", "peak current unknown")
    cyclic = table("fuse_cyclic")
    most = max(cyclic.numbers("cycles_n"))
    known = asked.cycles is not None and asked.cycles.known
    wanted = asked.cycles.number if known else most
    if wanted > most:
        return _blank(title, "Im", "A", f"{wanted:.0f} peaks in life are more than the "
                      f"{most:.0f} of the table; ask the maker for the share at that number")
    row = cyclic.at_or_above("cycles_n", wanted, want="share_ratio")
    share = cyclic.finding(row, "share_ratio", "Share of the melting current", "B′2", "",
                           float(row["share_ratio"]))
    note = "" if known else (f"number of peaks in life unknown: taken as {most:.0f}, the most "
                             "that the table holds")
    return with_more(trace(fuse_melting_current_demand, title, note=note,
                           peak_current=asked.peak_current, share=share),
                     untold_of(f for f in (asked.cycles, asked.peak_current) if f is not None))


def _cable_rating(cable: Finding) -> Finding:
    title = "Largest rated current from the cable side"
    if not cable.known:
        return _blank(title, "In", "A", "no cable capacity")
    if cable.number == 0:
        return _blank(title, "In", "A", NO_CABLE)
    conventional = table("gg_conventional")
    smallest = table("fuse_currents").numbers("current_A")[0]
    row = conventional.at_or_above("current_to_A", smallest, want="fusing_ratio")
    factor = conventional.finding(row, "fusing_ratio", "Conventional fusing factor of a gG link",
                                  "k2", "", float(row["fusing_ratio"]))
    return trace(fuse_rating_cable_limit, title,
                 note="holds only for a full-range link whose conventional fusing current is at "
                      "most this multiple", cable_current=cable, fusing_factor=factor)


def _candidate(rating: float, asked: FuseAsked, duty: FuseDuty) -> Candidate:
    figure = leaf("Rated current", "In", "A", rating, "read",
                  source=table("fuse_currents").source)
    checks = _sheet_checks(asked, duty) + (
        _opens_at_lowest(figure, asked),
        _carries_load(figure, duty),
        Check("Endures the peaks", "thermal load", NOT_EVALUATED, None, duty.melting_current,
              "at least", "the melting curve of the link is not known; read its current at "
              f"{asked.peak_duration.shown}"),
        *_rating_and_cable(figure, duty))
    return Candidate(f"{rating:g} A", checks, facts=(
        word_fact("Were it a gG link (indication only, from memory)",
                  gg_indication(rating, asked.fault_lowest)),))


def _sheet_checks(asked: FuseAsked, duty: FuseDuty) -> tuple[Check, ...]:
    """What only a data sheet can answer, the same for every rating."""
    return (
        judge("Rated DC voltage above the highest working voltage", "highest voltage", None,
              "above", asked.highest_voltage, missing="no data sheet: ask for the rated DC "
              "voltage"),
        judge("DC breaking capacity above the highest fault", "fault range", None, "above",
              asked.most, missing="no data sheet: ask for the breaking capacity in DC "
              "at this voltage and time constant"),
        judge("Permitted time constant at this voltage", "fault range", None, "at least",
              duty.time_constant, missing="no data sheet: ask for the curve of permitted L/R "
              "against DC voltage"))


def _opens_at_lowest(figure: Finding, asked: FuseAsked) -> Check:
    title = "Opens at the lowest fault within about a second"
    remedy = ("a contactor on a named trip that breaks this range, proven to overlap with the "
              "fuse; a smaller rating; a warmer or fuller lower limit of use; a fuse per string")
    check = judge(title, "who clears", figure, "below", asked.fault_lowest,
                  missing="lowest fault current is not known",
                  reason="a fuse carries its rated current for ever", remedy=remedy)
    if check.verdict != PASS:
        return check
    multiple = significant(asked.fault_lowest.number / figure.number, 3)
    return Check(title, "who clears", NOT_EVALUATED, figure, asked.fault_lowest, "below",
                 f"the lowest fault is {multiple} times this rating; ask for the total clearing "
                 f"time at {rounded(asked.fault_lowest, False)} DC (at most "
                 f"{COUNTED_ON.shown}) and for the lowest breaking current (at most that "
                 "current)", remedy)


def _carries_load(figure: Finding, duty: FuseDuty) -> Check:
    title = "Carries the continuous load"
    check = judge(title, "thermal load", figure, "at least", duty.least_rating,
                  missing=duty.least_rating.note, remedy="a larger rating; a cooler box",
                  reason=counted_for(duty.least_rating, "power.continuous"))
    if check.verdict not in (PASS, CAUTION) or duty.conductor_known:
        return check
    return Check(title, "thermal load", NOT_EVALUATED, figure, duty.least_rating, "at least",
                 "; ".join(filter(None, (
                     "large enough before the maker's conductor factor C1, which is not known and "
                     "may only raise the demand (0.85 in both worked examples of the guide): ask "
                     "for it, with the section and length of what is joined to the fuse",
                     check.reason if check.verdict == CAUTION else ""))),
                 "a larger rating; thicker conductors at the fuse")


def _protects_cable(figure: Finding, cable: Finding) -> Check:
    """Ib ≤ In ≤ Iz: the load side is held apart, where derating asks for more than Ib."""
    if cable.known and cable.number == 0:
        return Check(WITHIN_CABLE, "thermal load", NOT_EVALUATED, figure, None, "at most", NO_CABLE)
    return judge(WITHIN_CABLE, "thermal load", figure, "at most", cable,
                 missing=cable.note or "cable capacity is not known",
                 reason="In ≤ Iz: a larger fuse would let the cable be overloaded for ever",
                 remedy=CABLE_REMEDY)


def _fuses_in_time(figure: Finding, cable: Finding, factor: Finding | None, missing: str,
                   reason: str, trip: bool = True) -> Check:
    """I2 ≤ 1.45·Iz; a caution where the link may fuse too late and a trip may end that."""
    if cable.known and cable.number == 0:
        return Check(FUSING, "thermal load", NOT_EVALUATED, None, None, "at most", NO_CABLE)
    fuses, asked = fusing_currents(figure, cable, factor)
    check = judge(FUSING, "thermal load", fuses, "at most", asked,
                  missing=missing if factor is None else "cable capacity is not known",
                  reason=reason, remedy=CABLE_REMEDY)
    if cable.may_be_less:
        check = on_an_open_entry(check, f"it may be less: {cable.may_be_less}")
    return check if check.verdict != FAIL or not trip else replace(
        check, verdict=CAUTION, reason="an overload between Iz and the conventional fusing current "
        "may last for hours: a named overload trip must end it")


def _rating_and_cable(figure: Finding, duty: FuseDuty) -> tuple[Check, Check]:
    cable = duty.cable_current
    return _protects_cable(figure, cable), _fuses_in_time(
        figure, cable, gg_factor(figure.number), "", "I2 ≤ 1.45·Iz, were it a gG link; any other "
        "full-range link by its maker's figure, and a partial-range link never")


def part_candidate(part: FusePart, asked: FuseAsked, duty: FuseDuty) -> Candidate:
    """One fuse of the user's list, every check with its margin or its question."""
    demand = FuseDemand(
        highest_voltage=asked.highest_voltage, fault_highest=asked.fault_highest,
        fault_lowest=asked.fault_lowest, time_constant=duty.time_constant, counted_time=COUNTED_ON,
        continuous_current=asked.continuous_current, peak_current=asked.peak_current,
        peak_duration=asked.peak_duration, ambient=asked.box_ambient, cycles=asked.cycles,
        bus_insulation=asked.bus_insulation, path_resistance=asked.path_resistance,
        terminal_temperature=asked.terminal_temperature,
        closing_integral=asked.closing_integral, slower_loops=asked.slower_loops)
    checks = (*fuse_part_checks(part, demand), *_backward_check(part, asked))
    checks = (*checks, *_part_and_cable(part, duty.cable_current, asked.highest_voltage))
    return Candidate(part.name, checks, fuse_facts(part), own=True)


def _backward_check(part: FusePart, asked: FuseAsked) -> tuple[Check, ...]:
    """The pulse of the link capacitors, backwards: the link breaks its peak, or does not melt.

    Once it melts it must interrupt a current of which its sheet has shown no more than the
    breaking capacity, however little energy is left; a link that stays whole interrupts nothing.
    """
    if asked.backward is None or not asked.backward.known:
        return ()
    title, stage = "Stands the link capacitors' current, backwards through it", "fault range"
    breaks = breaking_check(
        part, asked.highest_voltage, asked.backward, title, "prospective peak, the capacitors' own "
        "resistance not counted: errs high", "a fuse that breaks more; the peak that the "
        "inverter's maker states for its shorted input")
    if breaks.verdict != FAIL:
        return (breaks,)
    integral = _pulse_through(part, asked)
    whole = judge(title, stage, part.melting_i2t, "above", integral)
    if whole.verdict == PASS:
        return (replace(whole, reason="above what it breaks, yet it does not melt in the pulse: "
                        "change it after such a fault"),)
    told = f"its pulse of {integral.shown} melts it" if integral is not None and whole.verdict \
        == FAIL else "it is not shown to carry the pulse without melting"
    return (replace(breaks, reason=f"{breaks.reason}; {told}"),)


def _pulse_through(part: FusePart, asked: FuseAsked) -> Finding | None:
    """I²t of the whole discharge in the link's own resistance, cold: nothing else is counted."""
    if part.watt_loss is None or part.rated_current is None or asked.capacitance is None \
            or not asked.highest_voltage.known:
        return None
    cold = trace(copper_resistance, "resistance of the link, cold", unit="mΩ", at=LINK_LOADED,
                 temperature=LINK_COLD, resistance=trace(
                     loss_resistance, "resistance of the link at its rated current",
                     power=part.watt_loss, current=part.rated_current))
    return with_more(trace(
        discharge_integral, "I²t of the bus capacitors' whole charge through the link",
        note="all its energy in the cold link: errs high", capacitance=asked.capacitance,
        voltage=asked.highest_voltage, resistance=cold), asked.capacitance.untold_more)


def overload_by(part: FusePart, cable: Finding, highest_voltage: Finding,
                rating: Finding | None = None) -> Check:
    """Whether the fuse of a branch, which no trip sees, ends an overload: the gravest condition.

    Args:
        part: its row of the parts list.
        cable: what the cable of the branch carries for ever.
        highest_voltage: highest working voltage.
        rating: its rated current by the brief, where its row has none.
    """
    burning = unbroken_overload(part, part.rated_current or rating)
    checks = _part_and_cable(part, cable, highest_voltage, trip=False)
    checks = checks if burning is None else (burning, *checks)
    return next(c for c in checks if c.verdict == worst(checks))


def _part_and_cable(part: FusePart, cable: Finding, highest_voltage: Finding, *,
                    trip: bool = True) -> tuple[Check, ...]:
    """In ≤ Iz, and I2 ≤ 1.45·Iz of a link that is shown to break at this DC voltage.

    Args:
        part: the link.
        cable: what the cable carries for ever.
        highest_voltage: highest working voltage.
        trip: whether an overload trip may end what the link does not.
    """
    rated = part.rated_current
    if rated is None:
        return (Check(WITHIN_CABLE, "thermal load", NOT_EVALUATED, None, cable,
                      "at most", f"{SILENT}the rated current"),)
    within, left = _protects_cable(rated, cable), left_unbroken(part, rated)
    if left:
        return (_not_by_it(within, left, trip),)
    return within, at_voltage(_fuses_in_time(
        rated, cable, part_factor(part, rated),
        f"{SILENT}the conventional fusing current: only a gG link has it by its standard",
        "I2 ≤ 1.45·Iz" if trip else f"I2 ≤ 1.45·Iz; {NO_TRIP}", trip), part, highest_voltage)


def _not_by_it(within: Check, left: str, trip: bool) -> Check:
    """A link that is not shown to break what melts it; above the cable's capacity it fails too."""
    if within.verdict == FAIL:
        return replace(within, reason=f"{within.reason}; {left}")
    told = f"{left}: name the management system's overload trip, at or below the cable's " \
        "capacity" if trip else f"{left}; {NO_TRIP}"
    return Check(WITHIN_CABLE, "who clears", NOT_EVALUATED, within.figure, within.demand,
                 "at most", told)


def gg_indication(rating: float, current: Finding) -> str:
    """What the gates of a gG link of that rating say; an indication, never a pass.

    Examples:
        >>> from packcalc.findings import leaf
        >>> gg_indication(400.0, leaf("Lowest fault", "Ik", "A", 2000.0, "given"))
        'may or may not open within 5 s (sure at 2840 A)'
    """
    if not current.known:
        return "lowest fault current unknown"
    rows = table("gg_gates").where(current_A=rating).rows
    if not rows:
        return "no gates for this rating"
    row = rows[0]
    if current.number >= row["imax_0p1s_A"]:
        return "opens within 0.1 s"
    if current.number >= row["imax_5s_A"]:
        return f"opens within 5 s, not surely within 0.1 s (sure at {row['imax_0p1s_A']:g} A)"
    if current.number > row["imin_10s_A"]:
        return f"may or may not open within 5 s (sure at {row['imax_5s_A']:g} A)"
    return "does not open within 10 s"


def _window(candidates: tuple[Candidate, ...], asked: FuseAsked, duty: FuseDuty) -> Check:
    """Whether any standard rating lies between the load, the cable and the lowest fault."""
    title = "Rating window between load, cable and lowest fault"
    if _no_cable(duty):
        return Check(title, "thermal load", FAIL, duty.least_rating,
                     reason=f"{NO_CABLE}: {duty.cable_current.note}",
                     remedy="see what the cable's own sections fail by, and mend that first")
    left = [c for c in candidates if c.qualifies]
    if not left:
        return _empty_window(title, candidates, asked, duty)
    words = f"lowest rating left {left[0].name}, highest {left[-1].name}"
    own = [c for c in left[0].checks if c.stage == "thermal load" and c.figure is not None]
    verdict = worst(own)
    if duty.least_rating.at_least or verdict == NOT_EVALUATED:
        words += "; the lower end may rise and the upper end fall with what is not yet known"
    return Check(title, "thermal load", verdict, duty.least_rating, _upper(asked, duty),
                 "at most", words)


def _empty_window(title: str, candidates: tuple[Candidate, ...], asked: FuseAsked,
                  duty: FuseDuty) -> Check:
    fitting = [c for c in candidates
               if all(k.verdict != FAIL for k in c.checks if k.stage == "thermal load")]
    if fitting:
        return Check(title, "who clears", FAIL, duty.least_rating, asked.fault_lowest, "below",
                     f"{fitting[0].name} is the smallest rating that carries the load, and the "
                     "lowest fault does not exceed it: the fuse would never open and nobody "
                     "else is named",
                     "a contactor on a named trip for this range, a fuse per string, or a warmer "
                     "or fuller lower limit of use")
    return Check(title, "thermal load", FAIL, duty.least_rating, _upper(asked, duty), "at most",
                 "; ".join(filter(None, (
                     "no standard rating is large enough for the load and small enough for the "
                     "cable", counted_for(duty.least_rating, "power.continuous")))),
                 "a larger cable or two cables a pole; a second fuse for a thin cable; a cooler "
                 "box; above the end of the series, a fuse per string")


def _upper(asked: FuseAsked, duty: FuseDuty) -> Finding | None:
    bounds = [f for f in (duty.cable_current, asked.fault_lowest) if f.known]
    return min(bounds, key=lambda f: f.number) if bounds else None


def _no_cable(duty: FuseDuty) -> bool:
    """No cable fits a route: 0 A is then no capacity, and no rating is to be sought for it."""
    return duty.cable_current.known and duty.cable_current.number == 0


def _rating_asked(duty: FuseDuty) -> str:
    """Both ends of the rated current; a clash is said, not printed as a range."""
    least, most = rounded(duty.least_rating, True), rounded(duty.cable_rating, False)
    if _no_cable(duty):
        return f"at least {least} for the load; {duty.cable_current.note}"
    known = duty.least_rating.known and duty.cable_rating.known and duty.cable_current.known
    if known and duty.least_rating.number <= duty.cable_rating.number < duty.cable_current.number:
        return (f"at least {least}, at most {most} were it a gG link (I2 ≤ 1.45·Iz); up to "
                f"{rounded(duty.cable_current, False)} (In ≤ Iz) where its maker shows the "
                "conventional fusing current, or a named overload trip ends what lies between")
    if not known or duty.least_rating.number <= duty.cable_rating.number:
        return f"at least {least}, at most {most}"
    if duty.least_rating.number > duty.cable_current.number:
        return (f"NO RATING MEETS BOTH: at least {least} for the load, at most {most} to protect "
                "the cable; take a larger cable first")
    upper = rounded(duty.cable_current, False)
    return (f"{least} to {upper} carry the load and meet In ≤ Iz; none of them meets "
            f"I2 ≤ 1.45·Iz, were it a gG link (at most {most}): a named overload trip must end "
            "what lies between, or take a larger cable")


def _specification(asked: FuseAsked, duty: FuseDuty) -> tuple[Requirement, ...]:
    lowest = rounded(asked.fault_lowest, False)
    volts = asked.highest_voltage.least + rounded(asked.highest_voltage, True)
    conductor = "in it" if duty.conductor_known else "to be applied by the maker"
    return (
        Requirement("Rated voltage, DC", f"above {volts}",
                    "highest working voltage, not the label voltage"),
        Requirement("Permitted time constant L/R at that voltage",
                    f"at least {rounded(duty.time_constant, True)} at {volts}",
                    "longest loop with the lowest resistance").resting_on(duty.time_constant),
        *_slower_loops(asked), *_breaking(asked),
        Requirement("Lowest breaking current", f"at most {lowest}", "cold, aged, empty pack, one "
                    "string, fault at the far end").resting_on(asked.fault_lowest),
        Requirement(f"Total clearing time at {lowest}{' or less' * asked.fault_lowest.or_less} DC",
                    f"at most {COUNTED_ON.shown}",
                    "packcalc's own rule").resting_on(asked.fault_lowest),
        Requirement("Rated current", _rating_asked(duty),
                    f"load side and cable side; conductor factor {conductor}" + (
                        "; its low end is the least: a load is not known"
                        if duty.least_rating.at_least else "")),
        Requirement(f"Melting current at {asked.peak_duration.shown}",
                    f"at least {rounded(duty.melting_current, True)}", "repeated peaks must not "
                    f"age the link: by the family's own share at {pulses(asked.cycles).shown} "
                    "pulses").resting_on(duty.melting_current),
        *_figures_asked(asked, duty),
        Requirement("Air around the fuse", asked.box_ambient.shown, "inside the box, at load"),
        Requirement("To send", TO_SEND, "without these no rating can pass"))


def _figures_asked(asked: FuseAsked, duty: FuseDuty) -> tuple[Requirement, ...]:
    """What a named link's further figures are held against; none of what is not known."""
    rows = (
        ("Conventional fusing current", "at most 1.45 times ", duty.cable_current, "I2 ≤ 1.45·Iz"),
        ("Pre-arcing I²t", "at least ", survives_closing(None, asked.closing_integral).demand,
         "one pulse a closing, for life"),
        ("Peak arc voltage", "at most ", asked.bus_insulation, "insulation on the bus"),
        ("Power loss over rated current squared", "at most ", asked.path_resistance,
         "counted in sag and faults"),
        ("Steady limit of the terminals", "at least ", asked.terminal_temperature,
         "conductors joined to them"))
    return tuple(Requirement(what, f"{bound}{figure.shown}", why).resting_on(figure)
                 for what, bound, figure, why in rows
                 if figure is not None and figure.known and figure.number > 0)


def _breaking(asked: FuseAsked) -> tuple[Requirement, ...]:
    """The largest of both ways; one that does not melt backwards need not break that."""
    forward = f"above {rounded(asked.fault_highest, True)}"
    title, why = "Breaking capacity, DC", "largest of all fault places, full, hot, new pack, " \
        "every source that passes it"
    rest = (asked.fault_highest, asked.backward)
    if asked.backward is None or not asked.backward.known:
        return (Requirement(title, forward, why).resting_on(*rest),)
    if asked.most is not asked.backward:
        return (Requirement(title, f"{forward}; backwards above {asked.backward.least}"
                            f"{rounded(asked.backward, True)}", why).resting_on(*rest),)
    return (Requirement(
        title, f"above {rounded(asked.backward, True)}; {forward} is enough of a link that is "
        "shown not to melt backwards", f"{why}; the link capacitors' pulse goes backwards through "
        "it into a fault on the modules' side").resting_on(*rest),)


def _slower_loops(asked: FuseAsked) -> tuple[Requirement, ...]:
    """Fewer modules in the loop: less voltage, and a slower one."""
    if not asked.slower_loops:
        return ()
    pairs = (f"{rounded(constant, True)} at {rounded(voltage, True)}"
             for voltage, constant in asked.slower_loops)
    return (Requirement("Permitted time constant L/R at lower voltages",
                        "at least " + "; ".join(pairs), "second chassis fault, by the modules "
                        "between the two faults").resting_on(*(c for _, c in asked.slower_loops)),)


def _open_items(asked: FuseAsked, duty: FuseDuty) -> tuple[str, ...]:
    items = ["Lowest breaking current and DC clearing curve of the link: ask the supplier; "
             "they decide whether the lowest fault is opened by the fuse, by a contactor or "
             "by nobody."]
    if not duty.conductor_known:
        items.append("Conductor factor C1: ask the supplier, with section and length of the "
                     "conductors joined to the fuse.")
    if not duty.cable_current.known:
        items.append("Cable capacity: choose the cable, then hold the rating against it.")
    if asked.cycles is None or not asked.cycles.known:
        items.append("Number of full-power peaks in the life of the fuse: estimate from the "
                     "route; the most that the table holds is taken until then.")
    items += [f"{f.title}: not known." for f in (
        asked.highest_voltage, asked.continuous_current, asked.peak_current, asked.box_ambient,
        asked.fault_highest, asked.fault_lowest, asked.time_constant_highest) if not f.known]
    return tuple(items)


def _notes(asked: FuseAsked) -> tuple[str, ...]:
    strings = (
        f"{asked.string_count} strings in parallel are {asked.string_count} sources: the main "
        "fuse alone does not protect one string against the others. Each string needs its own "
        "fuse, able to break what all the other strings feed into it.",
    ) if asked.string_count > 1 else ()
    return strings + NOTES


def _governing(asked: FuseAsked, duty: FuseDuty) -> str:
    return (f"Continuous {asked.continuous_current.shown} with {asked.box_ambient.shown} around "
            f"the fuse asks for at least {duty.least_rating.shown}; it must break "
            f"{asked.most.shown} at {asked.highest_voltage.shown} and still open at "
            f"{asked.fault_lowest.shown}{' or less' if asked.fault_lowest.may_be_less else ''}.")
