"""What a data sheet shows of a part, for every kind: voltage, points, curves."""

from __future__ import annotations

import math

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, Fact, judge, word_fact
from packcalc.curves import Curve
from packcalc.findings import Finding, Origin, leaf, trace, with_less
from packcalc.part_formulas import same_energy_constant
from packcalc.parts import ContactorPart, FusePart, Part, Points
from packcalc.tables import table
from packcalc.units import from_si, printed, significant
from packcalc.value import replace

SILENT = "not shown to qualify: ask for "
OPTIMISTIC = ("sag and the lowest fault are counted with less than this part has: both are worse "
              "with it, until the brief gives its resistance")


def voltage_check(part: Part, highest_voltage: Finding, title: str) -> Check:
    """Rated DC voltage above the highest working voltage; an AC rating is no answer."""
    why = part.alternating_words
    return judge(title, "highest voltage", part.rated_voltage_dc, "above", highest_voltage,
                 missing=f"{why}; {SILENT}the rated DC voltage".removeprefix("; ")
                 if part.rated_voltage_dc is None else "highest working voltage is not known",
                 remedy="a part rated higher in DC; two in series never add up without a stated "
                        "series rating")


def underrated(part: Part, highest_voltage: Finding) -> str:
    """Why by its own stated voltage it breaks nothing; empty where the sheet does not say so."""
    return voltage_reason(part, highest_voltage) \
        if voltage_check(part, highest_voltage, "").verdict == FAIL else ""


def voltage_reason(part: Part, highest_voltage: Finding) -> str:
    """Why a part does not count at this voltage; empty where it does."""
    check = voltage_check(part, highest_voltage, "")
    if check.verdict in ("pass", "caution"):
        return ""
    if check.verdict == NOT_EVALUATED:
        return check.reason
    return f"its rated voltage {check.figure.shown} is not above {highest_voltage.shown}"


def at_voltage(check: Check, part: Part, highest_voltage: Finding) -> Check:
    """A check of a figure that its sheet states at the rated DC voltage: no pass above that."""
    rated = part.rated_voltage_dc
    enough = rated is not None and (not highest_voltage.known
                                    or rated.number >= highest_voltage.number)
    if enough or check.verdict not in (PASS, CAUTION):
        return check
    return replace(check, verdict=NOT_EVALUATED, reason=(
        f"{SILENT}the rated DC voltage, at which the figure holds" if rated is None else
        f"the figure holds at {rated.shown} DC: {SILENT}that at {highest_voltage.shown}"))


def fuse_curves(part: FusePart) -> tuple[Curve | None, Curve | None]:
    """(melting, clearing); the gates of a gG link only where it is one and shows a DC voltage."""
    melting = part.melting.curve if part.melting else None
    clearing = part.clearing.curve if part.clearing else None
    if melting or clearing or part.class_letters != "gG" or part.rated_voltage_dc is None \
            or part.rated_current is None:
        return melting, clearing
    rows = table("gg_gates").where(current_A=part.rated_current.number).rows
    if not rows:
        return None, None
    row, gates = rows[0], table("gg_gates")
    origin = Origin("table gg_gates", text=f"{part.rated_current.number:g} A, from memory")
    return (Curve((row["imin_10s_A"], row["imin_0p1s_A"]), (10.0, 0.1), "gG gate, earliest",
                  origin, gates.basis, gates.source),
            Curve((row["imax_5s_A"], row["imax_0p1s_A"]), (5.0, 0.1), "gG gate, latest",
                  origin, gates.basis, gates.source))


def stepped(points: Points | None, at: Finding, *, upper: bool, title: str,
            symbol: str = "") -> Finding | None:
    """The figure of the next stated point, on the safe side; None beyond the points.

    Args:
        upper: take the point at or above `at` (falling curves), else at or below.
    """
    if points is None or not at.known:
        return None
    pairs = list(zip(points.first, points.second, strict=True))
    slack = 1e-9 * abs(at.number)
    if upper:
        value = next((y for x, y in pairs if x >= at.number - slack), None)
    else:
        value = next((y for x, y in reversed(pairs) if x <= at.number + slack), None)
    if value is None:
        return None
    return leaf(title, symbol or points.column.symbol or "x", points.column.unit, value,
                points.basis, origin=points.origin, note="next stated point on the safe side")


def tested_constant(part: ContactorPart, voltage: Finding, lower: bool = False) -> Finding | None:
    """Longest time constant at which a contactor is shown to break its current; None for none.

    The breaking current is that of its test, at the rated voltage: what is permitted beside no
    current, there or one volt below, makes it no longer. In a loop at a lower voltage what is
    permitted there counts, as far as at the same current no more energy is stored than in the
    test: L·I²/2 = τ·U·I/2.

    Args:
        lower: whether the loop has less than the highest voltage.
    """
    points, test, full = (part.permitted_time_constant, part.break_time_constant,
                          part.rated_voltage_dc)
    permitted = stepped(points, voltage, upper=True,
                        title="permitted time constant at the next stated voltage")
    if points is None or permitted is None:
        return test
    if test is None:
        return with_less(permitted, "the time constant of its breaking test is not told")
    at = next(u for u in points.first if u >= voltage.number * (1.0 - 1e-9))
    if lower and full is not None and at < full.number:
        test = trace(same_energy_constant, tested=test, rated=full, voltage=leaf(
            "voltage of the permitted time constant", "U", "V", at, points.basis,
            origin=points.origin))
    return test if test.number < permitted.number * (1.0 - 1e-9) else permitted


def never_above(title: str, stage: str, voltage: Finding, border: Finding) -> Check:
    """A pack below the border of dangerous voltage; no pass while its highest is a lower bound."""
    held = judge(title, stage, voltage, "at most", border, reason="never above it")
    if held.verdict in (PASS, CAUTION) and voltage.at_least:
        return Check(title, stage, NOT_EVALUATED, voltage, border, "at most", "not above it by "
                     "what is known; parts of the over-voltage chain are not evaluated")
    return held


def terminals_check(limit: Finding | None, joined: Finding | None) -> Check:
    """The part's terminals against the heat that the conductors joined to it may bring."""
    return judge("Terminals stand the conductors joined to them", "thermal load", limit,
                 "at least", joined,
                 missing=f"{SILENT}the steady limit of its terminals" if limit is None else
                 "no conductor's limit is known here",
                 reason="a conductor may run up to the limit that its section was chosen for",
                 remedy="a lower terminal_limit of the route in the brief, and a larger section")


def counted(title: str, value: int, basis: str, origin: Origin | None = None) -> Finding:
    """A bare count, so that a yes or no stands beside its demand like any figure."""
    return leaf(title, "n", "", value, basis, origin=origin)


def rounded(finding: Finding, up: bool, figures: int = 3) -> str:
    """Few figures, rounded to the side that asks more of the supplier."""
    if not finding.known:
        return "not known"
    value = from_si(finding.number, finding.unit)
    if value <= 0:
        return finding.shown
    step = 10.0 ** (math.floor(math.log10(value)) + 1 - figures)
    steps = value / step
    whole = math.ceil(steps - 1e-9) if up else math.floor(steps + 1e-9)
    return f"{significant(whole * step, figures)} {printed(finding.unit)}".rstrip()


def remark(part: Part) -> tuple[Fact, ...]:
    """What the list says beside the figures, for the reviewer to read."""
    return (word_fact("remark", part.note),) if part.note else ()


def least_left(check: Check) -> float:
    """Permitted over asked; what is not known stands before a pass."""
    figure, demand = check.figure, check.demand
    if figure is None or demand is None or not (figure.known and demand.known):
        return 1.0
    return figure.number / demand.number
