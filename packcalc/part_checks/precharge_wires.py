"""Pre-charge wires and their fuse held against what the resistor passes.

A charge is a pulse that the fuse must outlive each time; a failed one is a steady current for
the whole timeout, try after try. Neither is the load that a branch states for itself.
"""

from __future__ import annotations

from packcalc.checks import CAUTION, FAIL, PASS, Check, judge
from packcalc.conductors import cable_fault_integral
from packcalc.errors import OutOfRange
from packcalc.findings import Finding, largest, leaf, trace, with_more
from packcalc.part_checks.fuse import SteadyLoad, carries_check, outlives_check
from packcalc.part_checks.shown import SILENT, fuse_curves
from packcalc.parts import FusePart
from packcalc.value import replace, value_object

OUTLIVES = "Pre-arcing I²t outlives every pre-charge"
STANDS = "Conductor stands the failed pre-charges"
LARGER = "a larger resistance"
ONE_OFF = leaf("factor for fluctuating load A′2, a failed pre-charge", "A′2", "", 1.0,
               "definition", note="not a load that comes again and again")


@value_object
class ResistorCurrent:
    """What the pre-charge resistor passes.

    Attributes:
        peak: at closing onto an empty bus; steady while a try fails.
        pulse: I²t of one normal charge.
        failing: length of all failed tries in a row.
    """

    peak: Finding
    pulse: Finding
    failing: Finding

    def or_more(self, why: str) -> ResistorCurrent:
        """The same of a resistor that stands for one nobody named, which may be smaller."""
        return replace(self, peak=with_more(self.peak, why), pulse=with_more(self.pulse, why))


def wires_load(own: Finding, passes: ResistorCurrent | None) -> Finding:
    """The larger of what the brief states for these wires and of what the resistor passes."""
    if passes is None:
        return own
    if own.known and own.number >= passes.peak.number:
        return with_more(own, passes.peak.untold_more)
    return largest([own, passes.peak], "largest current of the pre-charge wires")


def one_current(own: Finding, passes: ResistorCurrent | None) -> tuple[Check, ...]:
    """What the brief states for these wires beside what the resistor passes."""
    if passes is None or not own.known:
        return ()
    check = judge("One circuit, one current: branch and resistor", "thermal load", own,
                  "at least", passes.peak, reason="the larger of both is counted",
                  remedy=f"enter {passes.peak.shown} or more for this branch, or {LARGER}")
    return (check if check.verdict != FAIL else replace(
        check, verdict=CAUTION, reason="the resistor passes more than the branch states; the "
        "larger is counted"),)


def outlives_charges(melting: Finding, passes: ResistorCurrent | None) -> Check:
    """Each charge sends one pulse through a fuse that must not open nor wear out."""
    if passes is None:
        return outlives_check(OUTLIVES, melting, None, "", "what the resistor passes is not "
                              "known, see the pre-charge resistor and relay")
    pulse = passes.pulse
    check = outlives_check(OUTLIVES, melting, pulse, "Pre-arcing I²t asked by every pre-charge",
                           "ask the supplier for the pre-arcing I²t of the branch fuse",
                           f"{LARGER}, or a fuse with more pre-arcing I²t if the conductor "
                           "stands it")
    if check.verdict != FAIL or pulse.number < melting.number:
        return check
    return replace(check, reason=f"one charge has {pulse.shown}: the fuse may open on the first")


def carries_tries(held: Check, part: FusePart | None, load: Finding,
                  passes: ResistorCurrent, ambient: Finding | None) -> Check:
    """A fuse that does not carry the current for ever need only carry it until the tries end.

    Args:
        held: its verdict as a load for ever; kept unless it fails by its figure.
        part: the fuse; without its melting curve the verdict stays.
        load, passes: current, and for how long.
        ambient: air around the fuse.
    """
    melting = fuse_curves(part)[0] if part is not None else None
    if held.verdict != FAIL or held.figure is None or part is None or melting is None \
            or ambient is None:
        return held
    length, remedy = passes.failing, f"{LARGER}; {held.remedy}"
    try:
        figure = melting.trace_current(length, f"melting current at {length.shown}, all failed "
                                               "tries in a row")
    except OutOfRange:
        return replace(held, reason="; ".join(filter(None, (
            held.reason, f"{SILENT}a melting point at {length.shown}, all failed tries"))))
    lasts = judge(held.title, held.stage, figure, "above", load, remedy=remedy)
    if lasts.verdict == FAIL:
        return replace(lasts, verdict=CAUTION, reason="the fuse, not the timeout, ends a failed "
                       "pre-charge, and must be changed after it")
    once = carries_check(replace(part, fluctuation_factor=ONE_OFF),
                         SteadyLoad(load, ambient), held.title)
    if once.verdict == PASS:
        return replace(once, reason="until the failed tries end; a load that comes again and "
                                    "again would ask for more")
    return replace(lasts, verdict=CAUTION, reason="it does not melt before the tries end, by its "
                   "curve in cooler air; above what it carries, each failed pre-charge wears it")


def stands_tries(withstand: Finding, capacity: Finding | None, load: Finding,
                 passes: ResistorCurrent, ended: Finding | None) -> Check:
    """The wire against all failed tries, or against its fuse where that ends them.

    Args:
        withstand: I²t that the conductor stands.
        capacity: what it carries for ever; None where there is no figure.
        load, passes: current, and for how long.
        ended: I²t that the fuse lets through; None where it is not shown to open at this current.
    """
    remedy = f"{LARGER}, a shorter timeout, fewer tries or a larger section"
    if capacity is not None and capacity.known and capacity.number >= load.number:
        return judge(STANDS, "thermal load", capacity, "at least", load, reason="it carries the "
                     "current for ever")
    asked = ended or trace(cable_fault_integral, "I²t of all failed pre-charges", current=load,
                           time=passes.failing)
    return judge(STANDS, "thermal load", withstand, "at least", asked,
                 missing=withstand.note or withstand.title, remedy=remedy,
                 reason="the fuse ends the first try" if ended else
                 "all tries as one pulse, without cooling: errs high")
