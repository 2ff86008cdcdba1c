"""Who ends an overload of a conductor by a fuse: In ≤ Iz, and I2 ≤ 1.45·Iz of a full-range link.

Of a branch nobody but its own fuse does: no trip sees so little of the pack's current. A
partial-range link may melt from above its rated current on and breaks nothing up to its lowest
breaking current; so does any other whose sheet states one above its rated current.
"""

from __future__ import annotations

from collections.abc import Callable

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, Check, judge
from packcalc.findings import Finding, trace
from packcalc.fuse_formulas import fuse_rating_cable_limit
from packcalc.part_checks.shown import SILENT, at_voltage
from packcalc.part_formulas import fusing_current, fusing_factor
from packcalc.parts import FusePart
from packcalc.tables import table
from packcalc.value import replace, value_object

CARRIES = "Conductor carries the fuse's rated current"
ENDS = "Fuse ends an overload of the conductor"
NO_TRIP = "no trip sees a branch"
REMEDY = "a smaller fuse or a larger section"
BREAKS_ALL = "a full-range fuse, first letter g, that breaks from its rated current on"


@value_object
class LaidCapacity:
    """What a conductor may carry for ever, of which nobody said how it lies.

    Attributes:
        hottest, coolest: by the hottest and the coolest way of laying; None where no table says.
        why: why there is none, with what to do.
        below: where no table knows it, more than it can carry.
    """

    hottest: Finding | None
    coolest: Finding | None
    why: str
    below: Finding | None = None


def gg_factor(rating: float) -> Finding:
    """k2 of a gG link by its standard."""
    conventional = table("gg_conventional")
    row = conventional.at_or_above("current_to_A", rating, want="fusing_ratio")
    return conventional.finding(row, "fusing_ratio", "Conventional fusing factor of a gG link",
                                "k2", "", float(row["fusing_ratio"]))


def part_factor(part: FusePart, rated: Finding) -> Finding | None:
    """k2 by the part's own sheet, else by its standard where it is a gG link."""
    if part.fusing_current is not None:
        return trace(fusing_factor, fusing=part.fusing_current, rated=rated)
    return gg_factor(rated.number) if part.class_letters == "gG" else None


def fusing_currents(rated: Finding, cable: Finding, factor: Finding | None) -> tuple[
        Finding | None, Finding | None]:
    """(I2 of the link, the most that the cable allows); None where k2 or Iz is not known.

    In ≤ Iz bounds the second one too: a link with k2 under 1.45 asks no more than that.
    """
    if factor is None:
        return None, None
    fuses = trace(fusing_current, factor=factor, rated=rated)
    if not cable.known:
        return fuses, None
    most = trace(fuse_rating_cable_limit, cable_current=cable, fusing_factor=factor)
    return fuses, trace(fusing_current, "largest conventional fusing current for the cable",
                        factor=factor, rated=most)


# -- whether it breaks what melts it ----------------------------------------------------------


def breaks_overloads(part: FusePart | None, rated: Finding | None) -> bool | None:
    """Whether a fuse breaks every overload that may melt it; None where its sheet leaves it open.

    From its rated current on it may melt, however late: at its conventional fusing current it is
    sure to. A full-range class is not enough where the sheet's own figure says otherwise.

    Args:
        part: its row of the parts list; None where it has none.
        rated: its rated current, from there or from the brief.
    """
    if part is None:
        return None
    floor = part.lowest_breaking_current
    if floor is None:
        return part.full_range
    if rated is None or not rated.known:
        return False if part.full_range is False else None
    return False if floor.number > rated.number else part.full_range or None


def left_unbroken(part: FusePart | None, rated: Finding | None) -> str:
    """Which overloads a fuse leaves burning, or what to ask; empty where it breaks all of them."""
    breaks = breaks_overloads(part, rated)
    if part is None or breaks is None and part.full_range is None:
        return "ask for the fuse's class letters and its conventional fusing current"
    if breaks:
        return ""
    if breaks is False:
        floor = part.lowest_breaking_current
        low = rated.shown if rated is not None and rated.known else "its rated current"
        top = floor.shown if floor is not None else "its lowest breaking current, not on its sheet,"
        letters = "" if part.full_range is not False else \
            f"{part.class_letters} is partial range and gives no overload protection: "
        return f"{letters}from above {low} up to {top} it may melt and does not break"
    if part.full_range:
        return f"{SILENT}the rated current: whether it breaks from there on is not known"
    return (f"by its class, {part.class_letters}, it is partial range, its lowest breaking current "
            "not above its rated current: ask which of the two holds")


def unbroken_overload(part: FusePart | None, rated: Finding | None) -> Check | None:
    """The failure of a branch's fuse that may melt where it does not break; None of any other."""
    if part is None or breaks_overloads(part, rated) is not False:
        return None
    floor = part.lowest_breaking_current
    held = (None, None, "") if floor is None else (floor, rated, "at most")
    return Check(ENDS, "who clears", FAIL, *held, f"{left_unbroken(part, rated)}, and {NO_TRIP}",
                 BREAKS_ALL)


# -- a branch ---------------------------------------------------------------------------------


def branch_overload(part: FusePart | None, rating: Finding, *, voltage: Finding,
                    laid: LaidCapacity) -> tuple[Check, ...]:
    """Whether the fuse of a branch keeps its conductor from every overload.

    Args:
        part: its row of the parts list; None where its rated current alone is known.
        rating: rated current, known.
        voltage: highest working voltage.
        laid: what the conductor carries.
    """
    factor = part_factor(part, rating) if part is not None else None
    carries = _as_laid(laid, lambda capacity: judge(
        CARRIES, "thermal load", capacity, "at least", rating, remedy=REMEDY,
        missing=_outside(laid.why, rating, factor)))
    return (_thinner(carries, rating, laid.below), *_ends(part, rating, factor, voltage, laid))


def _thinner(carries: Check, rating: Finding, below: Finding | None) -> Check:
    """A conductor that no table knows fails where the smallest of the table would."""
    if carries.verdict != NOT_EVALUATED or below is None or rating.number <= below.number:
        return carries
    return judge(CARRIES, "thermal load", below, "at least", rating, remedy=REMEDY,
                 reason="the smallest conductor of the table, alone and laid the coolest way that "
                        "it knows, carries no more, and this one is thinner")


def _outside(why: str, rating: Finding, factor: Finding | None) -> str:
    """What to ask where no table knows the conductor, by both conditions."""
    told = why or "what the conductor carries is not known"
    if factor is None or not why:
        return told
    fuses = trace(fusing_current, factor=factor, rated=rating)
    return f"{told}; 1.45 times what it carries must reach the fuse's I2, {fuses.shown}"


def _ends(part: FusePart | None, rating: Finding, factor: Finding | None, voltage: Finding,
          laid: LaidCapacity) -> tuple[Check, ...]:
    burning = unbroken_overload(part, rating)
    if burning is not None:
        return (burning,)
    asks = left_unbroken(part, rating)
    if part is None or asks:
        return (Check(ENDS, "who clears", NOT_EVALUATED, reason=f"{NO_TRIP}: {asks}"),)
    if factor is None:
        return (Check(ENDS, "thermal load", NOT_EVALUATED, reason=f"{SILENT}the conventional "
                      "fusing current I2: only a gG link has it by its standard"),)
    if laid.hottest is None:
        return ()  # asked for with In ≤ Iz, in one sentence
    return (at_voltage(_as_laid(laid, lambda capacity: _in_time(rating, factor, capacity)), part,
                       voltage),)


def _in_time(rating: Finding, factor: Finding, capacity: Finding | None) -> Check:
    assert capacity is not None
    fuses, most = fusing_currents(rating, capacity, factor)
    return judge(ENDS, "thermal load", fuses, "at most", most, reason=f"I2 ≤ 1.45·Iz; {NO_TRIP}",
                 remedy=REMEDY)


def _as_laid(laid: LaidCapacity, hold: Callable[[Finding | None], Check]) -> Check:
    """By the hottest way of laying; a failure where even the coolest does not do."""
    held, best = hold(laid.hottest), laid.coolest
    how = "laid the hottest way, as the brief does not say how it lies"
    reason = "; ".join(w for w in (held.reason, how) if w)
    if held.verdict == NOT_EVALUATED:
        return held
    if held.verdict != FAIL:
        return replace(held, reason=reason)
    look = f"look how it lies; {held.remedy}"
    if best is None:
        return replace(held, verdict=CAUTION, reason=reason, remedy=look)
    free = hold(best)
    if free.verdict == FAIL:
        return replace(free, reason="; ".join(w for w in (
            free.reason, "even alone and laid the coolest way") if w))
    return replace(held, verdict=CAUTION, remedy=look, reason=f"{reason}; alone and laid the "
                   f"coolest way it carries {best.shown}")
