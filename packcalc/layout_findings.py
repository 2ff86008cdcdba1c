"""What the figures of one layout are built from: counts, series voltages, resistances."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from typing import Any

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.brief import Brief, Route
from packcalc.conductors import (
    ONE_HIGH, TABLE_AT, cable_loop_resistance, copper_resistance, wire_resistance,
)
from packcalc.findings import Finding, Origin, largest, leaf, trace
from packcalc.layouts import CABLE_ALLOWANCE, Asks, Layout, asks_of
from packcalc.loads import continuous_drawn, peak_drawn
from packcalc.parts import CABLE

RULE = Origin("rule")
ONE_METRE = leaf("a metre of cable", "l", "m", 1.0, "definition")
ONE_CABLE = leaf("cables", "n", "", 1.0, "definition")


def count(title: str, symbol: str, value: float) -> Finding:
    """A number that the layout itself states."""
    return leaf(title, symbol, "", value, "definition", origin=Origin("layout"))


def rule(title: str, symbol: str, unit: str, value: float, note: str = "",
         basis: str = "definition", source: str = "") -> Finding:
    """A value that a rule of packcalc takes."""
    return leaf(title, symbol, unit, value, basis, source=source, origin=RULE, note=note)


def sum_of_parts(formula: Callable[..., Any], parts: Sequence[Finding], title: str, *,
                 symbol: str = "", unit: str = "", note: str = "") -> Finding:
    """The figure of a layout of one module type, or the sum of those of its two."""
    if len(parts) == 1:
        return parts[0]
    first, second = parts
    return trace(formula, title, symbol=symbol, unit=unit, note=note, first=first, second=second)


class Builder:
    """Builds the findings of one layout; holds what several of them share."""

    def __init__(self, brief: Brief, layout: Layout):
        self.brief, self.layout = brief, layout
        self.asks: Asks = asks_of(brief)
        self.peak, self.continuous = peak_drawn(brief), continuous_drawn(brief)
        self.on_hand = [brief.modules[p.entry] for p in layout.parts]
        self.part_series = [count("modules in series" if len(layout.parts) == 1 else
                                  f"modules in series, type {i + 1}", "S", p.series)
                            for i, p in enumerate(layout.parts)]
        self.series = count("modules in series", "S", layout.series)
        self.parallel = count("in parallel", "P", layout.parallel)
        self.growth = [o.resistance_growth for o in self.on_hand]
        self.new = rule("resistance growth of a new module", "f_age", "", 1.0)

    def voltage(self, per_module: list[Finding], title: str, symbol: str = "U") -> Finding:
        """Series voltage of all modules, from the voltage of one of each type."""
        parts = [trace(el.series_voltage, title, symbol=symbol, series=s, module_voltage=u)
                 for s, u in zip(self.part_series, per_module, strict=True)]
        return sum_of_parts(el.series_sum, parts, title, symbol=symbol)

    def modules_resistance(self, per_module: list[Finding], parallel: Finding,
                           title: str) -> Finding:
        """Resistance of all modules, from the resistance of one of each type."""
        parts = [trace(el.stack_resistance, title, series=s, parallel=parallel,
                       module_resistance=r)
                 for s, r in zip(self.part_series, per_module, strict=True)]
        return sum_of_parts(el.resistance_sum, parts, title)

    def path(self, parallel: Finding | None = None) -> Finding:
        """Links, cables inside, fuse and contactors; every string of several has its own."""
        p = self.brief.path
        if self.layout.arrangement != "strings":
            return self._with_cables(None, trace(
                el.grouped_path, series=self.series, link=p.link_resistance,
                fuse=p.fuse_resistance, contactor=p.contactor_resistance))
        inside = parallel or self.parallel
        return self._with_cables(inside, trace(
            el.strings_path, series=self.series, parallel=inside, link=p.link_resistance,
            fuse=p.fuse_resistance, contactor=p.contactor_resistance))

    def _with_cables(self, inside: Finding | None, path: Finding) -> Finding:
        """The path with the cables inside its strings, where the brief has any.

        Args:
            inside: strings in; None of a grouped pack, whose whole current passes them.
            path: all else.
        """
        cables = string_cables(self.brief)
        if cables is None:
            return path
        if inside is not None:
            cables = trace(el.stack_resistance, "cables inside the strings",
                           series=count("strings in a row", "S", 1), parallel=inside,
                           module_resistance=cables)
        return trace(el.resistance_sum, "path with the cables inside a string", symbol="R_path",
                     unit="mΩ", first=path, second=cables)

    def cables(self) -> Finding:
        """Both conductors of all traction routes, by an allowance: no size is chosen yet."""
        routes = [r for r in self.brief.cables.route if r.carries == "traction"]
        total = routes[0].length if len(routes) == 1 else leaf(
            "length of all traction routes", "l", "m", sum(r.length.number for r in routes),
            "definition", origin=Origin("sum of routes"), note=", ".join(
                f"{r.name} {r.length.shown}" for r in routes))
        return trace(el.cable_allowance, length=total, resistance_per_length=_allowance())

    def cables_long(self) -> Finding:
        """The same in a lowest fault: a named cable counts by its own copper where that is more.

        A cable that fails its allowance still lies in the loop of every fault beyond it.
        """
        found, thin = [], False
        for route in (r for r in self.brief.cables.route if r.carries == "traction"):
            allowed = trace(el.cable_allowance, length=route.length,
                            resistance_per_length=_allowance())
            own = named_loop(self.brief, route)
            less = own is not None and own.number > allowed.number
            thin = thin or less
            found.append(own if own is not None and less else allowed)
        return functools.reduce(lambda one, other: trace(
            el.resistance_sum, "traction cables of the lowest fault", unit="mΩ", first=one,
            second=other), found) if thin else self.cables()

    def resistance(self, temperature: Finding, charge: Finding, pulse: Finding, *,
                   aged: bool, title: str, parallel: Finding | None = None,
                   cables: Finding | None = None) -> Finding:
        """Modules, path and cables at one condition; without cables of its own by the allowance."""
        parallel = parallel or self.parallel
        per = [mod.traced_resistance(o.module, temperature, charge, pulse,
                                     g if aged else self.new)
               for o, g in zip(self.on_hand, self.growth, strict=True)]
        modules = self.modules_resistance(per, parallel, f"modules, {title}")
        return trace(el.total_resistance, title, modules=modules, path=self.path(parallel),
                     cables=cables or self.cables())


def _allowance() -> Finding:
    return rule("allowance for one conductor: 35 mm² class 5 tinned copper at 90 °C", "R'",
                "mΩ/m", CABLE_ALLOWANCE, basis="computed", source="iec-60228",
                note="0.565 Ω/km at 20 °C × 324.5/254.5")


def of_copper(section: Finding) -> Finding:
    """Highest resistance that IEC 60228 leaves so much copper."""
    return trace(wire_resistance, f"highest resistance of {section.shown} of copper at 20 °C",
                 symbol="r_0", unit="mΩ/m", length=ONE_METRE, one=ONE_HIGH, area=section,
                 cables=ONE_CABLE)


def named_loop(brief: Brief, route: Route) -> Finding | None:
    """Both conductors of the cable that the brief names for a route, hot, by its own sheet.

    By its section or the resistance that it states, whichever is more; None where neither is
    known. At the class of the route; where that is left open, at the cable's own if it is hotter.
    """
    part = brief.parts.list.part(CABLE, route.cable) if route.cable else None
    if part is None:
        return None
    known = [*((part.resistance_per_length,) if part.resistance_per_length else ()),
             *((of_copper(part.section),) if part.section else ())]
    if not known:
        return None
    classes = [route.insulation_class]
    if classes[0].basis == "assumed" and part.insulation_class is not None:
        classes.append(part.insulation_class)
    hot = trace(copper_resistance, "resistance at the insulation's temperature",
                resistance=largest(known, "resistance of the named cable at 20 °C"), at=TABLE_AT,
                temperature=largest(classes, "hottest class of the insulation"))
    return trace(cable_loop_resistance, f"loop resistance of {route.name}", resistance=hot,
                 length=route.length, runs=leaf("cables a pole", "n", "", part.runs, "definition",
                                                origin=part.origin))


def cables_inside(brief: Brief) -> bool:
    """Whether cables lie inside a string; or may, where nobody said that none do.

    A length left open is counted as none, and stands in every chain that more of it would change.
    """
    length = brief.path.string_cable_length
    return length.number > 0.0 or length.basis == "assumed"


def string_cables(brief: Brief) -> Finding | None:
    """Resistance of the cables inside one string; None where links alone join its modules."""
    path = brief.path
    if not cables_inside(brief):
        return None
    return trace(el.string_cables, length=path.string_cable_length,
                 resistance_per_length=_allowance(), section=path.string_cable_section)


def fewest_paths(b: Builder) -> Finding:
    """Fewest paths that may carry the whole current: one string alone, else all of a group."""
    return count("strings in", "P", 1) if b.layout.arrangement == "strings" else b.parallel
