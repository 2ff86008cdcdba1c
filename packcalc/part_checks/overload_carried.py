"""A closed contact in an overload: what its sheet lets it carry until somebody has opened it.

From what it carries for ever up to the fault range. An overload is opened by a named trip or by
the fuse, however slowly; where nobody opens it only the load's own limit ends it.
"""

from __future__ import annotations

import numpy as np

from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, Check, Requirement, by_the_unnamed, judge,
)
from packcalc.findings import Finding, Origin, leaf
from packcalc.part_checks.overload import OverloadPath, past_others
from packcalc.part_checks.shown import SILENT
from packcalc.part_checks.sweep import BESIDE
from packcalc.part_checks.withstand import Contact, Stretch, borne, borne_check, carried
from packcalc.units import show
from packcalc.value import replace

TITLE = "carries an overload until somebody has opened it"
STAGE = "thermal load"
SWEPT = Origin("clearing curve of the fuse, trips of the contactor")


def overload_carried(part: Contact, path: OverloadPath | None) -> Check:
    """Every current between what it carries for ever and the fault range.

    What the first pair of the list would leave to it shows nothing while nobody named that pair.
    """
    return by_the_unnamed(_told(part, path), path.unnamed if path is not None else "")


def _told(part: Contact, path: OverloadPath | None) -> Check:
    """No failure by what nobody told of the loop alone."""
    held = _carried(part, path)
    side = path.swept.contactor if path is not None else None
    if path is None or side is None or not side.untold or held.verdict != FAIL:
        return held
    told = _carried(part, replace(path, swept=replace(path.swept, contactor=side.as_told)))
    return held if told.verdict == FAIL else replace(
        held, verdict=NOT_EVALUATED, reason=f"{held.reason}: {side.untold}")


def _carried(part: Contact, path: OverloadPath | None) -> Check:
    whole = part.continuous_current
    if path is None:
        return Check(TITLE, STAGE, NOT_EVALUATED, reason="no fuse is named, or the fault range is "
                     "not known")
    if whole is None:
        return Check(TITLE, STAGE, NOT_EVALUATED, reason=f"{SILENT}the continuous current")
    if not path.asked.fault_lowest.known:
        return Check(TITLE, STAGE, NOT_EVALUATED, reason="the lowest fault is not known")
    met = path.met.above(whole.number * (1.0 + BESIDE))
    if not met.current.size:
        return judge(TITLE, STAGE, whole, "at least", path.asked.fault_lowest,
                     reason="it carries every overload for ever")
    nobody = np.isnan(met.time)
    found = borne([Stretch("", met.current, met.current, met.time,
                           lambda at: _opened_by(path, at))])
    held = None if found is None else past_others(borne_check(
        TITLE, part, found, stage=STAGE, asked="time until somebody has opened it",
        remedy="a larger part, a lower or a quicker overload trip"), path.further)
    if held is not None and (held.verdict == FAIL or not nobody.any()):
        return held
    left = _nobody(part, whole, path, met.current[nobody], bool(met.melted[nobody].any()))
    return held if held is not None and held.verdict == NOT_EVALUATED \
        and left.verdict == CAUTION else past_others(left, path.further)


def overload_rows(path: OverloadPath | None) -> tuple[Requirement, ...]:
    """Of a sheet: what trips and fuse leave to a contact; where that is not known, its curve."""
    if path is None or not path.asked.fault_lowest.known:
        return (Requirement("overloads", "its carry curve up to the lowest fault",
                            "trips and fuse are held against it once they are known"),)
    current, never = path.met.current, np.isnan(path.met.time)
    words = []
    if never.any():
        most = show(float(current[never][-1]), "A")
        words.append(f"{most} for ever" if path.asked.trip is not None else
                     f"its carry curve up to {most}: no overload trip is named")
    if not never.all():
        heat = np.where(never, 0.0, current ** 2 * path.met.time)
        worst = int(np.argmax(heat))
        words.append(f"{show(float(current[worst]), 'A')} for "
                     f"{show(float(path.met.time[worst]), 's')}")
    if path.unnamed:
        words[0] = f"at least {words[0]}"
    return (Requirement("overloads", "; ".join(words), "; ".join(filter(None, (
        "what trips and fuse leave to it", path.unnamed)))),)


def _opened_by(path: OverloadPath, current: float) -> Origin:
    """Where the time of an overload comes from."""
    at = min(int(np.searchsorted(path.met.current, current)), path.met.current.size - 1)
    return path.swept.fuse.origin if path.met.by_fuse[at] \
        else path.swept.contactor.origin(current)


def _nobody(part: Contact, whole: Finding, path: OverloadPath, left: np.ndarray,
            melted: bool) -> Check:
    """A load that ends its own peak is no protection, and all there is up to that peak."""
    asked, low, high = path.asked, float(left[0]), float(left[-1])
    words = f"nobody is shown to open it from {show(low, 'A')} to {show(high, 'A')}"
    untimed = path.swept.contactor.at_once(high)
    words += f"; {untimed}" if untimed else ""
    remedy = f"an overload trip that surely acts at or below {whole.shown}, or a larger part"
    shown, _ = carried(part, np.array([high]))
    peak, length = asked.peak_load, asked.peak_duration
    if peak.known and length.known and high <= peak.number and length.number <= shown[0]:
        stands = leaf("time that its sheet shows it to carry it", "t", "s", float(shown[0]),
                      part.basis, origin=part.origin)
        return Check(TITLE, STAGE, CAUTION, stands, length, "at least", f"{words}: only the load's "
                     "own limit ends it, and a load's limit is no protection", remedy)
    if melted or asked.trip is None:
        return Check(TITLE, STAGE, NOT_EVALUATED, reason=words if melted else
                     f"{words}: no overload trip is named", remedy=remedy)
    return judge(TITLE, STAGE, leaf("highest current that nobody is shown to open", "I", "A", high,
                                    "given", origin=SWEPT), "at most", whole, reason=words,
                 remedy=remedy)
