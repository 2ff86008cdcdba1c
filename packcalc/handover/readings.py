"""Readings held against their bands, against each other, and against their baseline."""

from __future__ import annotations

import datetime
import statistics
from collections.abc import Sequence

from packcalc.bench.meaning import total
from packcalc.checks import FAIL, NOT_EVALUATED, Check, judge
from packcalc.electrical import with_tolerance
from packcalc.findings import AT_LEAST, Finding, Origin, leaf, smallest, trace
from packcalc.handover import bands
from packcalc.handover.bands import OUTLIER_SCORE, SCORE_CONSTANT, rule
from packcalc.handover.expected import FALL, WORDS, Agreement, Expected, Plan, Stage
from packcalc.handover.figures import BORDER
from packcalc.handover.trend_rules import TrendRule, trend_rule
from packcalc.reading.readings_file import BUILD, UNJOINED, Reading
from packcalc.value import replace, value_object

IN_BAND, BELOW, ABOVE = "in band", "below band", "above band"
YES, NO, NOT_READ, NO_BAND = "yes", "no", "not read", "no band: baseline"
NO_LIMIT = "no limit: does not hold"
UNSETTLED = "limit still open: does not hold"
APART = "does not agree"
SWAPPED = "probes swapped? judged by its size"
RANGE_ENDS = ("void: repeat with a higher range: the meter's ends before the band does, so nothing "
              "is shown")
OUT = (BELOW, ABOVE, NO, APART, NO_LIMIT, UNSETTLED)
BASELINE_OUT = "baseline out of band"
BASELINE_APART = "baseline stands out from its like"
FEWEST = 5
KINDS = ("build.joint_", "build.group_")
JOINT_FACTOR = rule("multiple of the median above which a joint is worse than its like", "k", "",
                    1.5)
CALIBRATION_DAYS = 366
STAGE_OF_CHECKS = "thermal load"


@value_object
class Compared:
    """One expected reading with what was read last.

    Attributes:
        expected: what should be read.
        reading: the latest one, or None.
        finding: its value as a finding.
        verdict: one of the words above.
        suggests: what a deviation suggests.
        checks: each end of the band held against it.
        questions: what is lacking of the reading itself.
    """

    expected: Expected
    reading: Reading | None
    finding: Finding | None
    verdict: str
    suggests: str = ""
    checks: tuple[Check, ...] = ()
    questions: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether its gate may open, as far as this reading goes."""
        if self.reading is None:
            return not self.expected.needed
        return self.verdict not in OUT


@value_object
class Gate:
    """One stage with its readings; `why` is empty where its readings hold."""

    stage: Stage
    compared: tuple[Compared, ...]
    why: tuple[str, ...]
    earlier: str = ""

    @property
    def open(self) -> bool:
        """Readings hold here and at every stage before; the words of the gate remain."""
        return not self.why and not self.earlier


def as_finding(expected: Expected, reading: Reading) -> Finding:
    """A reading with its origin; who measured, with what and when stands in the note.

    Below zero, where leads or clamp may be the wrong way round, it counts by its size.
    """
    words = [f"on {reading.date}"] + [f"by {reading.name}"] * bool(reading.name) \
        + [f"with {reading.instrument}"] * bool(reading.instrument) \
        + [SWAPPED] * _swapped(expected, reading) \
        + ["over the meter's range: this or more"] * reading.over
    value = reading.value
    if value is not None and _swapped(expected, reading):
        value = abs(value)
    return leaf(expected.title, "x", expected.unit, value, "measured",
                origin=Origin(reading.place, reading.line, expected.id, reading.text),
                note=", ".join(words))


def _swapped(expected: Expected, reading: Reading) -> bool:
    return expected.by_size and reading.value is not None and reading.value < 0


def latest(readings: Sequence[Reading], name: str) -> Reading | None:
    """The last reading of an id by date."""
    found = [r for r in readings if r.id == name]
    return max(found, key=lambda r: r.when) if found else None


def compare(expected: Expected, readings: Sequence[Reading]) -> Compared:
    """Hold the latest reading of one id against its band."""
    reading = latest(readings, expected.id)
    if reading is None:
        return Compared(expected, None, None, NOT_READ)
    questions = _questions(reading)
    if expected.dimension == WORDS:
        said = reading.said_yes
        return Compared(expected, reading, None, YES if said else NO,
                        "" if said else expected.below, questions=questions)
    finding = as_finding(expected, reading)
    verdict, checks = _held(expected, finding, over=reading.over)
    apart = _agreement(expected, reading, finding, readings)
    suggests = {BELOW: expected.below, ABOVE: expected.above,
                NO_LIMIT: expected.lacking}.get(verdict, "")
    if reading.over and verdict == BELOW:
        suggests = RANGE_ENDS
    if _swapped(expected, reading):
        suggests = "; ".join(filter(None, (SWAPPED, suggests)))
    if verdict not in OUT and (any(c.verdict == FAIL for c in apart) or reading.over and apart):
        verdict, suggests = APART, expected.agrees.off if expected.agrees else ""
    if verdict == IN_BAND and expected.unsettled is not None:
        verdict, suggests = UNSETTLED, _still_open(expected.unsettled)
    return Compared(expected, reading, finding, verdict, suggests, (*checks, *apart), questions)


def _still_open(least: Finding) -> str:
    """Why a band is not settled, and what settles it."""
    lacking = least.note.partition("; governed by")[0].removeprefix(AT_LEAST).lstrip(";: ")
    return (f"its limit rests on the {least.title}, {least.shown} or more"
            f"{f' ({lacking})' if lacking else ''}: find that first, then hold the reading again")


def _agreement(expected: Expected, reading: Reading, finding: Finding,
               readings: Sequence[Reading]) -> tuple[Check, ...]:
    """A reading held against the others it must agree with; nothing where one is not read."""
    agrees = expected.agrees
    if agrees is None:
        return ()
    upto = [r for r in readings if r.date <= reading.date]
    others = [(name, latest(upto, name)) for name in agrees.ids]
    units = ("s", "V") if agrees.kind == FALL else (expected.unit,) * len(others)
    found = [leaf(name, "x", unit, abs(r.value) if agrees.kind == FALL else r.value, "measured",
                  origin=Origin(r.place, r.line, name, r.text), note=f"on {r.date}")
             for (name, r), unit in zip(others, units, strict=True)
             if r is not None and r.value is not None]
    if len(found) < len(others):
        return ()
    edges = _fall_edges(agrees, found) if agrees.kind == FALL else _sum_edges(agrees, found)
    return tuple(judge(f"{expected.title} agrees with {' and '.join(agrees.ids[:2])}",
                       STAGE_OF_CHECKS, finding, relation, edge)
                 for edge, relation in zip(edges, ("at least", "at most")))


def _sum_edges(agrees: Agreement, found: Sequence[Finding]) -> tuple[Finding, ...]:
    whole = total("sum of the readings of its parts", "U", "V", found)
    return (trace(bands.lower_voltage, voltage=whole, tolerance=agrees.within),
            trace(with_tolerance, voltage=whole, tolerance=agrees.within))


def _fall_edges(agrees: Agreement, found: Sequence[Finding]) -> tuple[Finding, ...]:
    constant, start = found
    if start.number <= BORDER.number:
        return ()
    expected = trace(bands.fall_from_constant, constant=constant, start=start, end=BORDER)
    return (trace(bands.shorter, time=expected, share=agrees.within),
            trace(bands.longer, time=expected, share=agrees.within))


def _held(expected: Expected, finding: Finding, *, over: bool = False
          ) -> tuple[str, tuple[Check, ...]]:
    """Verdict and checks; a meter over its range never shows that something is at most."""
    if not expected.edges:
        return NO_LIMIT if expected.guards else NO_BAND, ()
    checks, verdict = [], IN_BAND
    for edge, relation, beyond in ((expected.low, "at least", BELOW),
                                   (expected.high, "at most", ABOVE)):
        if edge is None or not edge.known:
            continue
        check = judge(f"{expected.title} {relation} its band's end", STAGE_OF_CHECKS, finding,
                      relation, edge)
        checks.append(check)
        if check.verdict == FAIL:
            verdict = beyond
        elif over and beyond == ABOVE and verdict == IN_BAND:
            verdict = ABOVE
            checks[-1] = replace(check, verdict=FAIL, reason="over range shows no upper limit")
    return verdict, tuple(checks)


def beyond_a_shut_gate(plan: Plan, readings: Sequence[Reading]) -> tuple[tuple[str, str], ...]:
    """(stage, the gate that was shut before it) of what was read live all the same.

    Judged by what had been read up to that day: a joint that drifts years later shuts no gate
    in hindsight. What may be read at the bench before anything is joined counts for no stage.
    """
    live: dict[str, list[str]] = {}
    for one in readings:
        if not one.id.startswith((BUILD, *UNJOINED)):
            live.setdefault(one.id, []).append(one.date)
    shut = {day: {e.id: g.earlier for g in gates(plan, [r for r in readings if r.date <= day])
                  for e in g.stage.expected}
            for day in {day for days in live.values() for day in days}}
    found: dict[str, str] = {}
    for stage in plan.stages:
        for days in (live[e.id] for e in stage.expected if e.id in live):
            name = next(e.id for e in stage.expected)
            if all(shut[day][name] for day in days):
                found.setdefault(stage.title, shut[min(days)][name])
    return tuple(found.items())


def _questions(reading: Reading) -> tuple[str, ...]:
    found = [f"{words} not written down" for words, text in
             (("instrument", reading.instrument), ("name", reading.name)) if not text]
    if not reading.calibration_date:
        found.append("calibration date not written down")
        return tuple(found)
    age = (_day(reading.date) - _day(reading.calibration_date)).days
    if age > CALIBRATION_DAYS:
        found.append(f"calibration was {age} days old (common practice: a year)")
    return tuple(found)


def _day(text: str) -> datetime.date:
    return datetime.date.fromisoformat(text)


def gates(plan: Plan, readings: Sequence[Reading]) -> tuple[Gate, ...]:
    """Every stage with what keeps its gate shut, in order."""
    found: list[Gate] = []
    outliers = {o.id: o for o in joint_outliers(plan, readings)}
    shut = ""
    for stage in plan.stages:
        compared = tuple(compare(e, readings) for e in stage.expected)
        why = [f"{c.expected.id} {c.verdict}" for c in compared if not c.holds]
        why += [f"{c.expected.id} stands out from its like" for c in compared
                if c.expected.id in outliers]
        why += stage.stops
        found.append(Gate(stage, compared, tuple(why), shut))
        if why and not shut:
            shut = stage.title
    return tuple(found)


# -- joints against each other ----------------------------------------------------------------


@value_object
class Outlier:
    """One joint that differs from its like: its reading and the limit that it passes."""

    id: str
    finding: Finding
    limit: Finding


def joint_limit(values: Sequence[float]) -> Finding | None:
    """Resistance above which a joint stands out; None below five readings.

    The modified score of Iglewicz and Hoaglin, and never more than half above the median:
    in a set that scatters widely the score alone would let a bad joint pass. Where more
    than half of the readings are equal the score has no scale and the factor stands alone.
    """
    if len(values) < FEWEST:
        return None
    middle = statistics.median(values)
    count = f"of {len(values)} joints"
    median = leaf(f"median {count}", "m", "mΩ", middle, "measured", origin=Origin("readings"))
    factor = trace(bands.multiple, "half above the median", median=median, factor=JOINT_FACTOR)
    spread = statistics.median(abs(v - middle) for v in values)
    if spread <= 0:
        return factor
    deviation = leaf(f"median distance from the median {count}", "d", "mΩ", spread, "measured",
                     origin=Origin("readings"))
    score = trace(bands.outlier_limit, "limit of the modified score", median=median,
                  deviation=deviation, score=OUTLIER_SCORE, constant=SCORE_CONSTANT)
    return smallest([score, factor], "resistance above which a joint stands out")


def joint_outliers(plan: Plan, readings: Sequence[Reading]) -> tuple[Outlier, ...]:
    """Joints above the limit that all of their kind set together."""
    return tuple(o for kind in KINDS for o in _outliers(plan, readings, kind))


def _outliers(plan: Plan, readings: Sequence[Reading], kind: str) -> tuple[Outlier, ...]:
    found = [(e, r) for e in plan.expected() if e.id.startswith(kind)
             and (r := latest(readings, e.id)) is not None]
    limit = joint_limit([r.value for _, r in found])
    if limit is None:
        return ()
    return tuple(Outlier(e.id, as_finding(e, r), limit) for e, r in found
                 if r.value > limit.number * (1 + 1e-9))


# -- trend ------------------------------------------------------------------------------------


@value_object
class Trend:
    """One id read at least twice.

    Attributes:
        expected, rule: what it is and how far it may move.
        baseline, latest: the two readings.
        change: against the baseline; None where the baseline is zero or `off`.
        check: the change held against the limit.
        days: from baseline to latest.
        until: day on which a straight line reaches the limit, or "".
        series: (date, shown) of every reading, in order.
        off: why nothing may be held against the baseline; "" where it may.
    """

    expected: Expected
    rule: TrendRule
    baseline: Reading
    latest: Reading
    change: Finding | None
    check: Check
    days: int
    until: str
    ahead: Finding | None
    series: tuple[tuple[str, str], ...]
    off: str = ""

    def overdue(self, day: str) -> bool:
        """Whether the straight line reached the limit before that day, and nobody read since."""
        return bool(self.until) and self.until < day


def baseline_of(found: Sequence[Reading], settled: str) -> Reading:
    """The last that was declared, else the last up to the end of commissioning, else the first.

    A declaration from before the end of commissioning gives way to a later reading within it.
    """
    ordered = sorted(found, key=lambda r: r.when)
    upto = [r for r in ordered if settled and r.date <= settled]
    declared = [r for r in ordered if r.declared]
    first = upto[-1] if upto else ordered[0]
    return max(first, declared[-1], key=lambda r: r.when) if declared else first


def settled_on(readings: Sequence[Reading]) -> str:
    """Day on which commissioning ended: the second torque; "" where it has not."""
    return min((r.date for r in readings if r.id == "retorque.marks" and r.said_yes), default="")


def trends(plan: Plan, readings: Sequence[Reading]) -> tuple[Trend, ...]:
    """Every id that was read again after its baseline, against the limit of its kind."""
    settled = settled_on(readings)
    alike = {kind: joint_limit(_baselines(plan, readings, settled, kind)) for kind in KINDS}
    found = []
    for expected in plan.expected():
        own = [r for r in readings if r.id == expected.id]
        limits = trend_rule(expected.id)
        if expected.dimension == WORDS or limits is None or len(own) < 2:
            continue
        base, last = baseline_of(own, settled), latest(own, expected.id)
        if last is not None and last.date > base.date:
            limit = next((alike[k] for k in KINDS if expected.id.startswith(k)), None)
            found.append(_trend(expected, limits, base, last, own, _off(expected, base, limit)))
    return tuple(found)


def _baselines(plan: Plan, readings: Sequence[Reading], settled: str, kind: str) -> list[float]:
    own = ([r for r in readings if r.id == e.id] for e in plan.expected()
           if e.id.startswith(kind))
    return [baseline_of(one, settled).value for one in own if one]


def _off(expected: Expected, base: Reading, limit: Finding | None) -> str:
    """Why a baseline is none: a slip of its unit would let every later reading pass."""
    verdict, _ = _held(expected, as_finding(expected, base), over=base.over)
    if verdict in OUT:
        return BASELINE_OUT
    apart = limit is not None and base.value > limit.number * (1 + 1e-9)
    return BASELINE_APART if apart else ""


def _trend(expected: Expected, limits: TrendRule, base: Reading, last: Reading,
           own: Sequence[Reading], off: str) -> Trend:
    days = (_day(last.date) - _day(base.date)).days
    series = tuple((r.date, r.text) for r in sorted(own, key=lambda r: r.when))
    title = f"{expected.title}: change since {base.date}"
    assert base.value is not None and last.value is not None
    if off or as_finding(expected, base).number <= 0:
        check = Check(title, STAGE_OF_CHECKS, NOT_EVALUATED,
                      reason=off or "the baseline is zero: a share of it says nothing")
        return Trend(expected, limits, base, last, None, check, days, "", None, series, off)
    moved = trace(bands.change, title, latest=as_finding(expected, last),
                  baseline=as_finding(expected, base))
    limit = limits.nearer(moved)
    relation = "at most" if limit.number > 0 else "at least"
    check = judge(title, STAGE_OF_CHECKS, moved, relation, limit, remedy=limits.act)
    over = base.over or last.over
    if over and check.verdict != FAIL:
        check = Check(title, STAGE_OF_CHECKS, NOT_EVALUATED, moved, limit, relation,
                      "a meter was over its range: how far it moved is not known")
    ahead = None if over else _ahead(moved, limit, days)
    until = _date_after(base.date, ahead) if ahead is not None else ""
    return Trend(expected, limits, base, last, moved, check, days, until, ahead, series)


def _ahead(moved: Finding, limit: Finding, days: int) -> Finding | None:
    """Days from the latest reading to the limit, on a straight line."""
    if moved.number * limit.number <= 0 or abs(moved.number) >= abs(limit.number):
        return None
    span = leaf("days from baseline to latest reading", "n_0", "", days, "measured",
                origin=Origin("readings"))
    return trace(bands.days_to_limit, days=span, change=moved, limit=limit,
                 note="a straight line through two readings; wear speeds up")


def _date_after(base: str, ahead: Finding) -> str:
    assert ahead.inputs
    total = int(ahead.inputs[0].number + ahead.number)
    start = _day(base)
    if total > (datetime.date.max - start).days:
        return ""
    return (start + datetime.timedelta(days=total)).isoformat()
