"""The worst arc of the whole pack: over every fault place, two seconds where nobody clears.

A device sees half the bolted current while an arc burns at half the voltage. Where nobody is
shown to clear that half, the longest exposure of the source counts.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from packcalc.checks import CAUTION, FAIL, Check, judge
from packcalc.clearing import PartAnswers
from packcalc.findings import Finding, leaf, trace
from packcalc.place_sweep import SWEPT, currents_of, entries_over, times_over
from packcalc.protect.coordination import (
    ARC_SOURCE, DISTANCE, LONGEST_ARC, arc_current, arc_incident_energy,
)
from packcalc.protect.places import CONTACTOR, FaultPlace, Loop
from packcalc.value import replace, value_object

# An arc takes the voltage that a short would leave to the cells: their trip is not counted on.
KEEPS_THEM_UP = leaf("kept by the cells for each ampere of an arc", "R_c", "mΩ", np.inf,
                     "definition", note="however weak the arc")
WORST_ARC = "worst incident energy of an arc, all fault places"
BURN = leaf("incident energy at which bare skin begins to blister", "E", "cal/cm²", 1.2 * 4.184e4,
            "read", source=ARC_SOURCE, note="boundary within which clothing is asked for")
NO_CLOTHING = leaf("incident energy above which no clothing is counted on", "E", "cal/cm²",
                   40.0 * 4.184e4, "read", source=ARC_SOURCE, note="work there dead or not at all")
SPLIT = ("pull the disconnect and split the string before any cover that leads there comes off: "
         "each part keeps its own voltage")
WHOLE = ("no disconnect splits this string by the brief: it stays whole until a first link between "
         "modules is taken off, and that is work under this figure; a disconnect near the middle, "
         "or modules joined last at one link that is made for it")


@value_object
class PlaceArc:
    """The worst arc anywhere in the pack.

    Attributes:
        place: title of the fault place.
        energy: at the working distance, with its chain.
        at: bolted current of the place.
        ended: whether somebody is shown to end it.
        splits: whether a disconnect by the brief splits the string.
    """

    place: str
    energy: Finding
    at: Finding
    ended: bool
    splits: bool = False

    @property
    def check(self) -> Check:
        """Against the first burn; words for what no clothing is counted on."""
        end = "" if self.ended else (", which nobody is shown to end: counted for "
                                     f"{LONGEST_ARC.shown}, and it may burn longer")
        words = (f"at '{self.place}'{end}; in the open, and a box can concentrate it up to three "
                 "times; whoever opens the box stands at it, contactors open or not")
        wear = "face shield and clothing rated above this figure, by the reviewer"
        if self.energy.number > NO_CLOTHING.number:
            words += f"; above {NO_CLOTHING.shown} no clothing is counted on"
            wear = "no work there while the string is whole: no clothing answers this figure"
        held = judge("worst arc anywhere in the pack, for bare skin at the working distance",
                     "isolation and distance", self.energy, "at most", BURN, reason=words,
                     remedy=f"{SPLIT if self.splits else WHOLE}; insulated tools, covers on every "
                            f"link not worked on; {wear}")
        return held if held.verdict != FAIL else replace(held, verdict=CAUTION)


def worst_arc(places: Iterable[FaultPlace], answers: PartAnswers, full: Finding, *,
              splits: bool = False) -> PlaceArc | None:
    """The place with the most incident energy; None where no current is known.

    Args:
        places, answers: of the layout.
        full: voltage of the whole pack at full charge, at which fault currents are counted.
        splits: whether a disconnect by the brief splits the string.

    An arc across the whole pack is counted with its highest working voltage, as in the path alone.
    No place can exceed its highest current for the longest exposure: where that bound lies at or
    below what is found, it need not be swept. Places without a device stand at theirs, and first.
    """
    highest = answers.held.asked.highest_voltage
    loops = [one if one.voltage.number < full.number else replace(one, voltage=highest)
             for p in places if (one := p.loop).highest.known and one.voltage.known]
    worst: PlaceArc | None = None
    for loop in sorted(loops, key=lambda one: (bool(one.devices), -_bound(one))):
        if worst is not None and _bound(loop) <= worst.energy.number:
            continue
        found = _arc_at(loop, answers)
        if worst is None or found.energy.number > worst.energy.number:
            worst = found
    return replace(worst, splits=splits) if worst is not None else None


def _bound(loop: Loop) -> float:
    return float(arc_incident_energy(loop.voltage.number, loop.highest.number,
                                     LONGEST_ARC.number, DISTANCE.number))


def _arc_at(loop: Loop, answers: PartAnswers) -> PlaceArc:
    """The worst of one place over all its currents, each judged by what the devices see."""
    seen = _half(loop, answers)
    if not loop.devices or seen is None:
        return _told(loop, loop.highest, LONGEST_ARC)
    half = currents_of(answers, seen)
    longest = LONGEST_ARC.number
    time = np.fmin(np.nan_to_num(times_over(answers, seen, half), nan=longest), longest)
    energy = arc_incident_energy(loop.voltage.number, 2.0 * half, time, DISTANCE.number)
    index = int(np.argmax(energy))
    at = loop.highest if index == half.size - 1 else leaf(
        "bolted current at which an arc burns worst", "I", "A", 2.0 * float(half[index]),
        "computed", source="packcalc-rule", origin=SWEPT)
    if time[index] >= longest:
        return _told(loop, at, LONGEST_ARC)
    return _told(loop, at, leaf(
        "time until the arc is cleared", "T", "s", float(time[index]), "computed",
        source=ARC_SOURCE, origin=entries_over(answers, seen, float(half[index])),
        note=f"device at {trace(arc_current, fault_current=at).shown}"))


def _half(loop: Loop, answers: PartAnswers) -> Loop | None:
    """The loop as its devices see an arc in it; None where its lowest current is not known.

    However warm the cells, an arc may take less than a trip that follows them is set to.
    """
    if not loop.lowest.known or not 0.0 < loop.lowest.number < loop.highest.number:
        return None
    trips = answers.held.asked.trips
    highest = trips.moving.highest if trips is not None and trips.moving is not None else None
    blind = tuple(replace(d, drop=KEEPS_THEM_UP, setting=highest or d.setting)
                  if d.kind == CONTACTOR else d for d in loop.devices)
    return replace(loop, lowest=trace(arc_current, fault_current=loop.lowest),
                   highest=trace(arc_current, fault_current=loop.highest), devices=blind)


def _told(loop: Loop, at: Finding, time: Finding) -> PlaceArc:
    energy = trace(arc_incident_energy, WORST_ARC,
                   voltage=loop.voltage, fault_current=at, time=time, distance=DISTANCE,
                   note=f"{loop.title}; battery alone: link capacitors and charger add to it")
    return PlaceArc(loop.title, energy, at, time is not LONGEST_ARC)
