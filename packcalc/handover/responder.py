"""One page for the emergency services, in the order of ISO 17840-3 as far as it was read."""

from __future__ import annotations

from dataclasses import dataclass

from packcalc.findings import Finding
from packcalc.handover.figures import Figures
from packcalc.protection import ProtectionStudy
from packcalc.units import show

LAYOUT_NOTE = (
    "Order after the scope of ISO 17840-3:2019 and front page after the contents of ISO 17840-2 "
    "(header, top view, side view, legend, footer), as far as read. The template and its "
    "pictograms were not seen: ask the certifier whether the standard's own form is wanted.")
VIEWS = ("top view", "side view")
LEGEND = ("battery box", "disconnect", "12 V battery", "cut loop", "traction cable",
          "airbags, pretensioners", "where not to cut or jack")


@dataclass(frozen=True)
class Heading:
    """One heading with what is known and what the builder adds (blanks)."""

    title: str
    known: tuple[str, ...]
    blanks: tuple[str, ...]


@dataclass(frozen=True)
class ResponderSheet:
    """The whole page."""

    figures: Figures
    headings: tuple[Heading, ...]
    chains: tuple[Finding, ...]


def responder_sheet(study: ProtectionStudy) -> ResponderSheet:
    """What the emergency services must know of one layout."""
    figures = Figures(study)
    fall = figures.fall_time()
    chains = (study.pack.highest_voltage, study.pack.total_energy, study.pack.mass,
              *((fall,) if fall else ()))
    return ResponderSheet(figures, _headings(figures), chains)


def _pounds(mass: Finding) -> str:
    return f" ({show(mass.value, 'lb')})" if mass.known else ""


def _headings(figures: Figures) -> tuple[Heading, ...]:
    pack, fall = figures.pack, figures.fall_time()
    kinds = ", ".join(dict.fromkeys(figures.brief.modules[p.entry].module.chemistry
                                    for p in pack.layout.parts))
    link = (f"Link falls below 60 V in up to {fall.shown} after isolating; measure." if fall else
            "How long the link stays above 60 V is not known: count on minutes; measure.")
    return (
        Heading("Identification", (
            f"Converted to electric. Lithium-ion ({kinds}), up to "
            f"{pack.highest_voltage.shown} DC, {pack.total_energy.shown}, modules "
            f"{pack.mass.shown}{_pounds(pack.mass)}.",),
            ("make, model, year", "plate, VIN", "EV labels: front, rear")),
        Heading("Immobilise", ("It may stand ready without a sound: chock, lever to P, key "
                               "30 m (100 ft) away.",), ("parking brake, lever",)),
        Heading("Disable hazards", (
            "1 key off, 2 cut loop (cut out a section), 3 disconnect out.",
            "This isolates. It does not empty the battery: inside the box all stays live.",
            link),
            ("cut loop: where", "disconnect: where, how", "12 V battery: where")),
        Heading("Access to occupants", ("Never cut orange cable or the battery box.",),
                ("where not to cut", "where to jack")),
        Heading("Stored energy", (
            "Flammable and poisonous gas when damaged; can light again hours or days later.",),
            ("vents point to", "airbags", "coolant")),
        Heading("Fire", ("30 m (100 ft) away, uphill and upwind; breathing apparatus. Much "
                         "water onto the box from a distance; never pierce it (common "
                         "practice).",), ()),
        Heading("Submersion", ("Count orange cable and box as live, in water too. Out of the "
                               "water first, then as above; bubbles and hiss mean a damaged box "
                               "(common practice).",), ()),
        Heading("Towing and storage", (
            "Driven wheels off the ground: a turning motor makes voltage. Outdoors, 15 m (50 ft) "
            "from anything that burns.",), ("towing eye",)),
        Heading("Who knows this vehicle", (), ("name, telephone, day and night",)),
    )
