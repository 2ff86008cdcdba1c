"""Baselines declared anew after a repair: which they replace, and whether that hides a drift.

The one before stays shown. A new one that is worse than the one before it by more than a trend
may move is told: a repair should not leave a joint or a resistor worse than it was. So is one
that is worse than the first baseline of all: small steps, each declared, add up.
"""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.checks import FAIL, judge
from packcalc.findings import Finding, trace
from packcalc.handover import bands
from packcalc.handover.expected import Expected, Plan
from packcalc.handover.readings import (
    STAGE_OF_CHECKS,
    as_finding,
    baseline_of,
    settled_on,
)
from packcalc.handover.trend_rules import TrendRule, trend_rule
from packcalc.reading.readings_file import Reading
from packcalc.value import value_object


@value_object
class Anew:
    """One declaration.

    Attributes:
        expected: what is read.
        now: the reading declared as the baseline.
        before: the baseline until then; None where nothing was read before.
        last: the last reading before it.
        change: of the new baseline against the one before; None where there is none.
        worse: whether that is more than the trend of the reading may move.
        first: the baseline before any was declared.
        change_first: of the new baseline against the first; None where there is none.
        crept: whether that is more than the trend may move.
    """

    expected: Expected
    now: Reading
    before: Reading | None = None
    last: Reading | None = None
    change: Finding | None = None
    worse: bool = False
    first: Reading | None = None
    change_first: Finding | None = None
    crept: bool = False


def declared_anew(plan: Plan, readings: Sequence[Reading]) -> tuple[Anew, ...]:
    """Every declaration, in the order of the plan and of time."""
    settled = settled_on(readings)
    found = []
    for expected in plan.expected():
        own = sorted((r for r in readings if r.id == expected.id), key=lambda r: r.when)
        found += [_anew(expected, own[:n], one, settled) for n, one in enumerate(own)
                  if one.declared]
    return tuple(found)


def _anew(expected: Expected, earlier: Sequence[Reading], now: Reading, settled: str) -> Anew:
    if not earlier:
        return Anew(expected, now)
    before, last, limits = baseline_of(earlier, settled), earlier[-1], trend_rule(expected.id)
    first = baseline_of([r for r in earlier if not r.declared] or earlier[:1], settled)
    change, worse = _held(expected, limits, before, now)
    change_first, crept = _held(expected, limits, first, now)
    return Anew(expected, now, before, last, change, worse, first, change_first, crept)


def _held(expected: Expected, limits: TrendRule | None, before: Reading,
          now: Reading) -> tuple[Finding | None, bool]:
    """Change of a new baseline against an old one, and whether it is more than a trend may move."""
    old = as_finding(expected, before)
    if limits is None or old.number <= 0 or now.over or before.over:
        return None, False
    change = trace(bands.change, f"{expected.title}: new baseline of {now.date} against that of "
                   f"{before.date}", latest=as_finding(expected, now), baseline=old)
    limit = limits.nearer(change)
    held = judge("new baseline", STAGE_OF_CHECKS, change,
                 "at most" if limit.number > 0 else "at least", limit)
    return change, held.verdict == FAIL
