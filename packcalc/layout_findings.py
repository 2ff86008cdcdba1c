"""What the figures of one layout are built from: counts, series voltages, resistances."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from typing import Any

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.brief import Brief, Route
from packcalc.contacts import contacts, contacts_open, open_contacts
from packcalc.conductors import (
    ONE_HIGH, TABLE_AT, cable_loop_resistance, copper_resistance, wire_resistance,
)
from packcalc.findings import Finding, Origin, largest, leaf, trace, with_more
from packcalc.layouts import CABLE_ALLOWANCE, Asks, Layout, asks_of
from packcalc.loads import continuous_drawn, peak_drawn
from packcalc.parts import CABLE

RULE = Origin("rule")
ONE_METRE = leaf("a metre of cable", "l", "m", 1.0, "definition")
ONE_CABLE = leaf("cables", "n", "", 1.0, "definition")
PATH_ENTRIES = ("link_resistance", "fuse_resistance", "contactor_resistance",
                "string_cable_length", "string_cable_section")
PATH_OPEN = "left open, counted by our assumption, and may take more from it: "


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
        self.contacts = contacts(brief)

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
        """Links, cables inside, fuse, contactors, and the contacts of what is named besides.

        Every string of several has its own; contacts are counted for the whole current.
        """
        bare = self.path_least(parallel)
        return bare if self.contacts is None else trace(
            el.resistance_sum, "path with the contacts of disconnect and connectors",
            symbol="R_path", unit="mΩ", first=bare, second=self.contacts)

    def path_least(self, parallel: Finding | None = None) -> Finding:
        """The same without those contacts, which wear: the low side."""
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

    def resistance(self, temperature: Finding, charge: Finding | list[Finding], pulse: Finding, *,
                   aged: bool, title: str, parallel: Finding | None = None,
                   cables: Finding | None = None) -> Finding:
        """Modules, path and cables at one condition; without cables of its own by the allowance.

        More of them may be true where nobody told them: what rests on it is an end and no value.
        A list of charges holds one for each type.
        """
        parallel = parallel or self.parallel
        charges = charge if isinstance(charge, list) else [charge] * len(self.on_hand)
        per = [mod.traced_resistance(o.module, temperature, at, pulse, g if aged else self.new)
               for o, at, g in zip(self.on_hand, charges, self.growth, strict=True)]
        modules = self.modules_resistance(per, parallel, f"modules, {title}")
        path = self.path(parallel)
        return with_more(trace(el.total_resistance, title, modules=modules, path=path,
                               cables=cables or self.cables()),
                         self.open_at_load(path) if cables is None else
                         path_open(self.brief, path, cables_open(self.brief)))

    def open_at_load(self, path: Finding) -> str:
        """What nobody told of a path and of the cables that are counted by the allowance.

        Disconnect and connectors that nobody named are asked for no more drop than is to spare.
        """
        return path_open(self.brief, path, traction_open(self.brief))


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


# -- what nobody told of the path -------------------------------------------------------------


def told_by(entry: Finding) -> str:
    """Which line of the brief tells an entry, before what is said of it; empty where none does."""
    return f"{entry.origin.key}: " if entry.origin is not None and entry.origin.key else ""


def counted_for(figure: Finding, dotted: str) -> str:
    """Of an open entry that a figure rests on: what is counted in its place; else empty."""
    one = next((n for n in figure.guesses if n.origin is not None and n.origin.key == dotted),
               None)
    return f"{dotted} is left open and counted as {one.shown}" if one is not None else ""


def open_length(length: Finding) -> str:
    """Of a length that nobody told: what is counted in its place; else empty.

    A longer one has more resistance and more inductance: a lowest current is then only at most
    what is printed, and a time constant at least.
    """
    return f"{told_by(length)}a length left open is counted as {length.shown}, our assumption, " \
        "and may be more" if length.known and length.basis == "assumed" else ""


def traction_open(brief: Brief) -> str:
    """Of a traction route whose length nobody told: what is counted in its place; else empty."""
    return next((f"{told_by(route.length)}the traction cable's length is left open and counted as "
                 f"{route.length.shown}, our assumption, and may be more"
                 for route in brief.cables.route
                 if route.carries == "traction" and open_length(route.length)), "")


def unnamed(brief: Brief, route: Route) -> str:
    """Of a route: that the brief names no cable for it; empty where it names one."""
    index = [r.name for r in brief.cables.route].index(route.name)
    return "" if route.cable else \
        f"cables.route[{index}].cable: no cable is named for {route.name}"


def thinner(unnamed: str, counted: str) -> str:
    """Of a cable that is not named, in a lowest current: what is counted in its place."""
    return unnamed and f"{unnamed}, which is counted as {counted}; a thinner one takes more from it"


def cables_open(brief: Brief) -> str:
    """Of the traction cables in a lowest fault: what nobody told of them; else empty.

    A length left open, a route without a named cable, a named one of which nothing is known: one
    thinner than the allowance, which fails for it, still lies in the loop. So does a disconnect,
    and so do connectors.
    """
    return "; ".join(filter(None, (traction_open(brief), *(
        _cable_open(brief, r) for r in brief.cables.route if r.carries == "traction"),
        contacts_open(brief))))


def _cable_open(brief: Brief, route: Route) -> str:
    """Of one route: its cable, where nobody told how much copper lies there; else empty."""
    if named_loop(brief, route) is not None:
        return ""
    return thinner(unnamed(brief, route), "35 mm², our allowance") or (
        f"neither section nor resistance of {route.cable} is known, and {route.name} is counted "
        "with 35 mm², our assumption, and may take more")


def path_open(brief: Brief, figure: Finding, along: str) -> str:
    """What nobody told of the resistances that a figure rests on; each may be more.

    Args:
        brief: with its path.
        figure: a resistance, or what rests on one.
        along: the same of the cables in it; see `cables_open`.

    Returns:
        What is counted in its place, in words; empty where the figure rests on nothing open.
    """
    path = [(told_by(one := getattr(brief.path, name)), one) for name in PATH_ENTRIES
            if brief.left_open(f"path.{name}")] + [("", one) for one in open_contacts(brief)]
    origins = {id(node.origin) for node in figure.guesses} if path else set()
    told = [f"{line}{one.title} {one.shown}" for line, one in path if id(one.origin) in origins]
    return "; ".join(filter(None, (along, f"{PATH_OPEN}{', '.join(told)}" if told else "")))
