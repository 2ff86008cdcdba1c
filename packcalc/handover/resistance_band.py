"""Between what a sound pack's resistance must lie in the pulse of the first drive.

Measured modules with their uncertainty where the bench has them all, else the record's own
span; at the pulse, charge and cell temperature that the stage asks for.
"""

from __future__ import annotations

from packcalc import cell_formulas
from packcalc import electrical as el
from packcalc.bench.assign import AssignmentStudy, Place
from packcalc.bench.meaning import beside, total
from packcalc.brief import ModulesOnHand
from packcalc.findings import Finding, Origin, leaf, smallest, trace
from packcalc.handover import bands
from packcalc.handover.bands import rule
from packcalc.handover.figures import Figures

COLDEST = rule("coldest cell of the pulse", "T_lo", "°C", 295.15)
WARMEST = rule("warmest cell of the pulse", "T_hi", "°C", 301.15)
PULSE = rule("length of the pulse", "t_p", "s", 10.0, "our rule: as on the bench")
CHARGE = rule("charge at the pulse", "z_p", "%", 0.50, "our rule: 40 to 60 %")
NEW = rule("resistance growth of a new module", "f_age", "", 1.0)
NOTHING = rule("path and cables at their least", "R", "mΩ", 0.0,
               "counted as nothing: links, fuses and contacts are demands, no readings")


def pack_resistance(figures: Figures) -> tuple[Finding, Finding]:
    """Least and most of sag divided by current, battery to inverter."""
    pack = figures.pack
    low, high = _measured(figures) if measured(figures) else _by_record(figures)
    return (trace(el.total_resistance, "least resistance of a sound pack", unit="mΩ", modules=low,
                  path=NOTHING, cables=NOTHING),
            trace(el.total_resistance, "largest resistance of a sound pack", unit="mΩ",
                  modules=high, path=pack.path, cables=pack.cable_allowance))


def measured(figures: Figures) -> bool:
    """Whether the resistance of every module in its place was measured."""
    dealt = figures.dealt
    return dealt is not None and all(p.dealt.measured[1] for p in dealt.places)


def ground(figures: Figures) -> str:
    """Where the band comes from, in words."""
    if measured(figures):
        return "modules as measured on the bench, twice their uncertainty"
    if any(figures.brief.modules[p.entry].module.resistance_of_class
           for p in figures.pack.layout.parts):
        return ("modules by what is published of their class, which is not these modules; "
                "measured ones would be surer")
    return ("modules by the resistance that brief or record states, one figure for all; each "
            "measured would be surer")


def _measured(figures: Figures) -> tuple[Finding, Finding]:
    dealt = figures.dealt
    assert dealt is not None
    whole, law = _as_dealt(dealt), dealt.module.cell.temperature
    each = trace(bands.relative_uncertainty, "mean uncertainty of the modules",
                 sigma=total("standard uncertainties of all modules", "Σσ", "mΩ",
                             [_sigma(p) for p in dealt.places], "as if all erred the same way"),
                 resistance=total("resistances of all modules", "ΣR", "mΩ",
                                  [_read(p) for p in dealt.places]))
    return (trace(bands.least_measured, resistance=whole, uncertainty=each,
                  ratio=law.traced(WARMEST, "low")),
            trace(bands.largest_measured, resistance=whole, uncertainty=each,
                  ratio=law.traced(COLDEST, "high")))


def _as_dealt(dealt: AssignmentStudy) -> Finding:
    """Every module in its place; how each was brought to 25 °C stands in packcalc bench."""
    rows: dict[int, list[Finding]] = {}
    for place in dealt.places:
        rows.setdefault(place.row, []).append(_read(place))
    title = "resistance of the modules, 25 °C, 10 s, half charge"
    if dealt.layout.in_strings:
        return beside(title, "R_25", [total(f"string {n + 1}", f"R_{n + 1}", "mΩ", row)
                                      for n, row in sorted(rows.items())])
    return total(title, "R_25", "mΩ", [beside(f"group {n + 1}", f"R_{n + 1}", row)
                                       for n, row in sorted(rows.items())])


def _read(place: Place) -> Finding:
    return leaf(f"module {place.dealt.mark}, 25 °C, 10 s, half charge", "R", "mΩ",
                place.dealt.resistance.number, "measured", origin=_row(place),
                note="brought to these conditions by packcalc bench, which shows how")


def _sigma(place: Place) -> Finding:
    return leaf(f"standard uncertainty of {place.dealt.mark}", "σ", "mΩ",
                place.dealt.graded.resistance_sigma.number, "measured", origin=_row(place))


def _row(place: Place) -> Origin | None:
    return place.dealt.graded.row.resistance.origin


def _by_record(figures: Figures) -> tuple[Finding, Finding]:
    on_hand = [figures.brief.modules[p.entry] for p in figures.pack.layout.parts]
    return (_together(figures, [_one(o, upper=False) for o in on_hand], "least"),
            _together(figures, [_one(o, upper=True) for o in on_hand], "most"))


def _one(on_hand: ModulesOnHand, *, upper: bool) -> Finding:
    cell, side = on_hand.module.cell, "high" if upper else "low"
    module = on_hand.module
    return trace(
        cell_formulas.resistance_under_load,
        resistance=module.resistance_high if upper else module.resistance_low,
        temperature_ratio=cell.temperature.traced(COLDEST if upper else WARMEST, side),
        charge_ratio=cell.charge.traced(CHARGE, side),
        pulse_ratio=cell.pulse.traced(PULSE, side),
        growth=on_hand.resistance_growth if upper else
        smallest([NEW, on_hand.least_growth], "least growth"))


def _together(figures: Figures, each: list[Finding], words: str) -> Finding:
    """Every module of the layout; two types in series at most."""
    layout, parallel = figures.pack.layout, figures.pack.parallel
    parts = [trace(el.stack_resistance, f"modules, {words}", parallel=parallel, module_resistance=r,
                   series=leaf("modules in series", "S", "", p.series, "definition",
                               origin=Origin("layout")))
             for p, r in zip(layout.parts, each, strict=True)]
    if len(parts) == 1:
        return parts[0]
    return trace(el.resistance_sum, f"modules of both types, {words}", first=parts[0],
                 second=parts[1])
