"""Two leaks to the chassis in two parallel strings: each pole closes a loop of its own."""

from __future__ import annotations

from packcalc.findings import largest, trace
from packcalc.places.shared import NO_FUSE_NOTE, Shared
from packcalc.places.strings import least_pushed
from packcalc.protect.places import ACTS, CONTACTOR, DOUBLE, FUSE, Device, Loop
from packcalc.protect.strings import fed_by_others, other_strings

LEAK = "leak_contactor"
LEAKS = "second chassis fault: leaks in two strings, the part through"
LEAKS_NOTE = ("both leaks inside their strings: the chassis joins them, and each pole where the "
              "strings meet closes a loop of its own; when one part is opened the other burns on")
LEAKS_BLIND = ("one module apart and far from that pole the cells hardly move: no trip on a cell "
               "is counted on; a mid-pack fuse stands in it only where the leaks lie on either "
               "side of it")
LEAKS_TRIP = ("a trip on unequal string currents, its sensor in the pole without a fuse, set below "
              "the smallest of them")
LEAST = "lowest current between two strings"
BOTH_ENDS = "a fuse at either end of each string"


def leaks(shared: Shared, fused: bool) -> Loop:
    """One leak in each of two strings: the part through the fuses' pole, or the other.

    At the worst the leaks are the far ends of their strings, and each loop is a whole string
    shorted, all further strings pushing in until a string fuse has opened; at the least they
    lie one module apart, as far from that pole as can be.
    """
    string = shared.feeds.string
    assert string is not None
    through = "their fuses" if fused else "the pole without a string fuse"
    whole = trace(fed_by_others, "all strings but one, shorted through the chassis",
                  others=trace(other_strings, strings=shared.pack.parallel),
                  voltage=shared.pack.full_voltage, resistance=string.resistance_initial)
    highest = largest([whole, shared.feeds.module.highest], "highest current between two strings")
    outside = shared.through_one_fuse(highest) if fused else {"notes": ()}
    contactor = Device(LEAK, "string contactor of that pole alone", CONTACTOR)
    fuses = (Device("string_fuse", "fuse of one of the two strings", FUSE, shared.string.rating,
                    sees=outside.get("all_sources")),) if fused else ()
    outside["notes"] = (*(() if fused else (NO_FUSE_NOTE,)), LEAKS_NOTE, LEAKS_BLIND,
                        *outside["notes"])
    return shared.loop(
        f"chassis.second.strings.{'fused' if fused else 'bare'}", f"{LEAKS} {through}",
        feeds=f"modules between the leaks and that pole, 1 to {shared.series} out of balance, and "
              "further strings",
        highest=highest, lowest=least_pushed(shared, 1, LEAST).called(
            LEAST, note="through the more loaded of the two contactors, however many strings are "
            "in; the other one may see as little as nothing"),
        inductance=shared.feeds.pack_inductance, resistance=string.resistance_initial,
        devices=(*fuses, contactor), inherent=shared.opened_at_first,
        remedies=(ACTS, DOUBLE, LEAKS_TRIP, *(() if fused else (BOTH_ENDS,))), **outside)
