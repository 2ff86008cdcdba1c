"""A closed contactor against what a fuse lets through, over every current that the fuse clears."""

from __future__ import annotations

import numpy as np

from packcalc.checks import FAIL, NOT_EVALUATED, Check, judge
from packcalc.findings import Finding, Origin, leaf
from packcalc.part_checks.sweep import FuseSide, number
from packcalc.parts import ContactorPart
from packcalc.units import show

STAGE = "fault range"


def withstand_check(title: str, part: ContactorPart, fuse: FuseSide, current: np.ndarray,
                    swept: Origin) -> Check:
    """The withstand curve of the contactor at the current that presses it most.

    Beyond its last point it stands no longer than there: a failure inside the points or on that
    bound stands, and what else lies beyond is a question.

    Args:
        title: of the check.
        part: with a withstand curve.
        fuse: what lets through.
        current: every current looked at.
        swept: where the currents come from.
    """
    assert part.short_time is not None
    current = current[fuse.counts(current) & ~np.isnan(fuse.times(current))]
    if not current.size:
        return Check(title, STAGE, NOT_EVALUATED, reason="the fuse is shown to clear nowhere in "
                                                         "the range")
    seen = np.minimum(current, number(fuse.part.cut_off_current) or np.inf) \
        if fuse.part else current
    curve = part.short_time.curve
    allowed = np.where(seen < curve.lowest, curve.longest, curve.time_at(seen))
    beyond = np.isnan(allowed)
    allowed = np.where(beyond, curve.shortest, allowed)
    # Its withstand is of a steady current: the let-through counts as so long at full current.
    taken_by = np.fmax(fuse.curve_times(current), fuse.heat(current) / current ** 2)
    index = int(np.argmin(allowed / taken_by))
    held = judge(title, STAGE, _withstood(part, float(allowed[index])), "at least",
                 leaf("time at that current which the fuse's let-through comes to", "t", "s",
                      float(taken_by[index]), fuse.part.basis if fuse.part else "given",
                      origin=swept),
                 reason=f"tightest at {show(float(current[index]), 'A')}",
                 remedy="a stronger contactor or a faster fuse")
    if held.verdict == FAIL or not beyond.any():
        return held
    return Check(title, STAGE, NOT_EVALUATED, reason=f"from {show(float(current[beyond][0]), 'A')} "
                 "its withstand curve has no point, nor does the fuse's cut-off current bring it "
                 "back: ask the contactor's maker")


def _withstood(part: ContactorPart, time: float) -> Finding:
    assert part.short_time is not None
    return leaf("time that the closed contactor withstands", "t", "s", time, part.basis,
                origin=part.short_time.curve.origin)
