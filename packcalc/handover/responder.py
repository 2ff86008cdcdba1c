"""One page for the emergency services, in the order of ISO 17840-3 as far as it was read."""

from __future__ import annotations

from collections import Counter

from packcalc.bench.damage import APART
from packcalc.findings import Finding
from packcalc.handover.figures import Figures, discharge_open, discharge_time
from packcalc.handover.inside import (
    across_taps,
    disconnect_of,
    disconnect_open,
    division_open,
    live_ahead,
    may_part,
    over_disconnect,
    sense_wires,
    up_to,
)
from packcalc.handover.voltage_class import called
from packcalc.measured import Measured
from packcalc.protection import ProtectionStudy
from packcalc.units import show
from packcalc.value import value_object

LAYOUT_NOTE = (
    "Order after the scope of ISO 17840-3:2019 and front page after the contents of ISO 17840-2 "
    "(header, top view, side view, legend, footer), as far as read. The numbers of the chapters "
    "are from memory, and the template and its pictograms were not seen: ask the certifier whether "
    "the standard's own form is wanted.")
ON_PAPER = ("On paper this sheet is one page; what its figures rest on stands, worked, in the file "
            "that it was printed from.")
VIEWS = ("top view", "side view")
UNPLUG = ("Plugged in: stop the station, plug out; if it stays locked, have the station's supply "
          "cut off (common practice). Then")
LINE, MOST = 42, 25  # characters of a blank with its name, and of its line alone
MOST_NAMES = 90  # characters of the names of live cables: more would ask for a second sheet
FAILS = "Checks of the design fail: see the file for review."  # all that one page has room for
DISCONNECT = "disconnect"
SENSE_WIRES = "sense wires"  # whatever a brief calls them: who cuts knows them by no name
LEGEND = ("battery box", DISCONNECT, "12 V battery", "cut loop", "traction cable",
          "airbags, pretensioners", "where not to cut or jack")


@value_object
class Heading:
    """One heading with what is known and what the builder adds (blanks)."""

    title: str
    known: tuple[str, ...]
    blanks: tuple[str, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """Each blank on a line of its own, long enough to be written on by hand."""
        return tuple(f"{name}: {'_' * min(MOST, LINE - len(name) - 2)}" for name in self.blanks)


@value_object
class ResponderSheet:
    """The whole page; `live` names all that the contactors do not part, however many."""

    figures: Figures
    headings: tuple[Heading, ...]
    legend: tuple[str, ...]
    chains: tuple[Finding, ...]
    live: tuple[str, ...] = ()


def responder_sheet(study: ProtectionStudy, bench: Measured = Measured()) -> ResponderSheet:
    """What the emergency services must know of one layout.

    Args:
        study: one layout sized.
        bench: what the bench sheet says of the pack as dealt.
    """
    figures = Figures(study)
    fall = discharge_time(study)
    chains = (study.pack.highest_voltage, figures.stored, study.pack.mass,
              *((fall,) if fall else ()))
    legend = LEGEND if may_part(study) else tuple(x for x in LEGEND if x != DISCONNECT)
    wires = f"{', '.join(sense_wires(study))} (at all times, {across_taps(study)})"
    fails = (FAILS,) if study.miss or study.failing or bench.failing else ()
    return ResponderSheet(figures, _headings(figures, fails), legend, chains,
                          (*live_ahead(study), wires))


def _ahead(study: ProtectionStudy) -> tuple[str, str]:
    """Whose cable or wires stay live while the rest is off, and what to take for such a cable.

    By name; where the names would not fit on one page, by kind, and every cable counts as one
    of them: nothing that stays live is left out.
    """
    taps = live_ahead(study)
    names = ", ".join(taps)
    if len(names) <= MOST_NAMES:
        return names, ""
    kinds = Counter(b.kind for b in study.brief.branch if b.name in taps)
    told = ", ".join(f"{kind} × {count}" for kind, count in kinds.items())
    return (f"{len(taps)} circuits ({told})",
            f" Count EVERY {called(study.pack).cable} as one of these.")


def _isolating(study: ProtectionStudy) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What switches it off as far as this circuit can be, and the blanks beside it."""
    first = f"{UNPLUG} 1 key off, 2 cut loop (cut out a section)"
    blanks = ("cut loop", "12 V battery", "charge inlet, its release")
    part, cable = disconnect_of(study), called(study.pack).cable
    inside = "Nothing empties the battery: inside the box all stays live."
    names, every = _ahead(study)
    always = ", ".join(filter(None, (names, SENSE_WIRES)))
    if part is None and not disconnect_open(study):
        return (f"{first}. That opens the contactors.",
                "NO DISCONNECT: nothing else parts the battery. A welded contactor leaves the "
                f"{cable} live: count it as live. LIVE AT ALL TIMES: {always}.{every}",
                inside), blanks
    blanks = (blanks[0], "disconnect, how", *blanks[1:])
    if part is None:
        return (f"{first}, 3 disconnect out if one is found.",
                f"Whether it has one is not known: count {cable} as live, and at all times "
                f"{always}.{every}", inside), blanks
    many = "3 disconnect out" if part.count == 1 else \
        f"3 disconnect out in each of the {part.count} strings"
    over = over_disconnect(study)
    if over or division_open(study):
        said = "Sense wires join the parts: this does NOT isolate" if over else \
            "Whether sense wires join the parts is not known: do not count on this to isolate"
        return (f"{first}, {many}.", f"{said}; count {cable} as live.",
                f"LIVE EVEN THEN: {always}, {up_to(study.pack)}, and all inside the box: nothing "
                "empties the battery."), blanks
    ahead = f"Until then stay live: {names}.{every} " if names else ""
    return (f"{first}, {many}.", f"This isolates. {ahead}LIVE EVEN THEN: {SENSE_WIRES}, "
            f"{across_taps(study)}, and all inside the box: nothing empties the battery."), blanks


def _pounds(mass: Finding) -> str:
    return f" ({show(mass.value, 'lb')})" if mass.known else ""


def _link(study: ProtectionStudy) -> str:
    """How long what hangs on the contactors stays charged after they have opened."""
    fall = discharge_time(study)
    if called(study.pack).class_a:
        return ("The link never stands above 60 V, but shorted it still burns until it has "
                "discharged; measure.")
    if fall is None:
        return "How long the link stays above 60 V is not known: count on minutes; measure."
    if discharge_open(study):
        return (f"COUNT ON THE LINK ABOVE 60 V FOR LONGER THAN {fall.shown} after isolating: not "
                "all that holds its charge is known, it may fall sooner or take minutes; measure.")
    return f"Link falls below 60 V in up to {fall.shown} after isolating; measure."


def _headings(figures: Figures, fails: tuple[str, ...]) -> tuple[Heading, ...]:
    pack = figures.pack
    kinds = ", ".join(dict.fromkeys(figures.brief.modules[p.entry].module.chemistry
                                    for p in pack.layout.parts))
    off, blanks = _isolating(figures.study)
    words = called(pack)
    danger = (words.danger,) if words.danger else ()
    return (
        Heading("Identification", (
            f"Converted to electric. Lithium-ion ({kinds}), "
            f"{up_to(pack)} DC, stores at most {figures.stored.shown}, modules "
            f"{pack.mass.shown}{_pounds(pack.mass)}.", *danger, *fails),
            ("make, model, year", "plate, VIN", "EV labels: front, rear")),
        Heading("Immobilise", (
            "It may stand ready without a sound: chock the wheels, set the lever to P, and carry "
            "the key at least 30 m (100 ft) away from the vehicle.",), ("parking brake, lever",)),
        Heading("Disable hazards", (*off, _link(figures.study)), blanks),
        Heading("Access to occupants", (f"Never cut {words.cable} or the battery box.",),
                ("where not to cut", "where to jack")),
        Heading("Stored energy", (
            "Flammable and poisonous gas when damaged; can light again hours or days later.",),
            ("vents point to", "airbags, coolant")),
        Heading("Fire", ("30 m (100 ft) away, uphill and upwind; breathing apparatus. Much "
                         "water onto the box from a distance; never pierce it (common "
                         "practice).",), ()),
        Heading("Submersion", (f"Count {words.cable} and box as live, in water too. Out of the "
                               "water first, then as above; bubbles and hiss mean a damaged box "
                               "(common practice).",), ()),
        Heading("Towing, transport, storage", (
            "Driven wheels off the ground: a turning motor makes voltage. Outdoors, at least "
            f"{APART} from anything that burns.",), ("towing eye",)),
        Heading("Additional information", (), ("who knows it: name", "telephone")),
    )
