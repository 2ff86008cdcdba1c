"""What to find next: the open entry that moves the result most comes first.

Each open entry is tried with the value that a lucky answer might have; the largest
relative change of any headline figure is its swing. A swing ranks; it is no result.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from packcalc.brief import Brief, Unknown
from packcalc.layouts import Layout, asks_of
from packcalc.mixes import own_entries, with_pairs
from packcalc.reading.what_if import with_value
from packcalc.screening import screen_one
from packcalc.value import value_object

# Names of the headline figures, as the reason is printed.
HEADLINES = {
    "highest_voltage": "highest voltage of the battery side",
    "loaded_voltage": "loaded voltage",
    "available_power": "power available",
    "usable_energy": "usable energy",
    "continuous_current": "continuous current",
    "peak_current": "peak current",
    "table_current": "table current that the cables need",
    "cable_drop": "cable section for the voltage drop",
    "fuse_rating": "least fuse rating",
    "short_circuit": "cable section for the short-circuit",
    "precharge_window": "pre-charge resistance",
    "failed_precharge": "energy of a failed pre-charge",
}


# Figures on which the layout and its main fuse stand; the others follow after them.
MAIN = ("highest_voltage", "loaded_voltage", "available_power", "usable_energy",
        "continuous_current", "peak_current", "fuse_rating")
NOTICEABLE = 0.02
NOBODY_WAITS: Mapping[str, int] = MappingProxyType({})
_OF_MODULE = re.compile(r"modules\[(\d+)\]")


@value_object
class NextStep:
    """One open entry with its swing.

    Attributes:
        unknown: the entry.
        swing: largest relative change of a headline; 0 where no lucky value is offered.
        moves: the headline that changes most, in words.
        waiting: checks that are not evaluated and name it, or fail on what is counted meanwhile.
        failed: those of them that are evaluated meanwhile.
    """

    unknown: Unknown
    swing: float
    moves: str
    waiting: int = 0
    failed: int = 0


def find_next(brief: Brief, layout: Layout,
              waiting: Mapping[str, int] = NOBODY_WAITS,
              failed: Mapping[str, int] = NOBODY_WAITS) -> tuple[NextStep, ...]:
    """Rank the open entries of a brief by what they move in one layout.

    Args:
        brief: with its `unknowns`.
        layout: the layout whose headlines are looked at.
        waiting: how many checks wait for an entry, by its dotted name; in the order in which
            those entries are to be found.
        failed: how many of them fail, or need caution, on what is counted meanwhile.

    Returns:
        NextStep: entries without which modules are not tried, then those that checks wait for,
            then those that move a main figure, the largest swing first.
    """
    whole = with_pairs(brief)
    base, used = headlines(whole, layout), {
        brief.number_of(entry) for entry in _entries_of(whole, layout)}
    steps = []
    for unknown in brief.unknowns:
        of_module = _OF_MODULE.match(unknown.dotted)
        idle = of_module is not None and int(of_module.group(1)) not in used
        held = waiting.get(unknown.dotted, 0), failed.get(unknown.dotted, 0)
        if unknown.other is None or idle:
            steps.append(NextStep(unknown, 0.0, "", *held))
            continue
        changed = with_pairs(with_value(brief, unknown.dotted, unknown.other))
        other = headlines(changed, layout)
        swings = {name: _swing(base[name], other[name]) for name in base}
        main = max(MAIN, key=lambda name: swings[name])
        most = main if swings[main] >= NOTICEABLE else max(swings, key=lambda n: swings[n])
        steps.append(NextStep(unknown, swings[most], HEADLINES[most] if swings[most] else "",
                              *held))
    first, turn = {HEADLINES[name] for name in MAIN}, {name: n for n, name in enumerate(waiting)}
    # Modules of which nobody said which or how many may give layouts that are not tried at all.
    return tuple(sorted(steps, key=lambda s: (
        not s.unknown.key.required, turn.get(s.unknown.dotted, len(turn)), s.moves not in first,
        -s.swing)))


def _entries_of(brief: Brief, layout: Layout) -> set[int]:
    """The `[[modules]]` entries that stand in a layout; the others move nothing in it."""
    return {i for entry in layout.entries for i in own_entries(brief, entry)}


def _swing(base: float, other: float) -> float:
    if not np.isfinite(base) or not np.isfinite(other):
        return 0.0 if not np.isfinite(base) and not np.isfinite(other) else 1.0
    return abs(other - base) / abs(base) if base else float(other != base)


def headlines(brief: Brief, layout: Layout) -> dict[str, float]:
    """A dozen figures that stand for the whole result, each in closed form."""
    asks = asks_of(brief)
    row = screen_one(brief, asks, layout)
    steady = asks.continuous_drawn / asks.voltage_low
    inverter, pre = brief.inverter, brief.precharge
    capacitance = inverter.dc_link_capacitance.number * (1 + inverter.dc_link_tolerance.number)
    level = pre.level.number
    return {
        **{name: float(row.columns[name][0]) for name in (
            "highest_voltage", "loaded_voltage", "available_power", "usable_energy")},
        "continuous_current": steady, "peak_current": asks.peak_drawn / asks.peak_voltage,
        "table_current": steady * max(_table_share(brief, r) for r in brief.cables.route),
        "cable_drop": steady * sum(r.length.number for r in brief.cables.route)
        / (brief.cables.voltage_drop_limit.number * asks.voltage_low),
        "fuse_rating": steady / np.sqrt(max(403.15 - brief.surroundings.box_ambient.number, 1.0)),
        "short_circuit": max(1 / np.sqrt(np.log1p(
            (r.joint_limit.number - r.terminal_limit.number)
            / (234.5 + r.terminal_limit.number - 273.15))) if
            r.joint_limit.number > r.terminal_limit.number else np.inf
            for r in brief.cables.route),
        "precharge_window": pre.time_limit.number / (
            capacitance * (1 + pre.resistor_tolerance.number) * -np.log(1 - level)),
        "failed_precharge": pre.timeout.number * pre.tries.number,
    }


def _table_share(brief: Brief, route) -> float:
    """How much more table current a route needs than it carries, by the square-root law."""
    limit = min(route.insulation_class.number, route.terminal_limit.number)
    room = limit - brief.surroundings.cable_ambient.number
    if room <= 0:
        return np.inf
    base = 30.0 + 273.15
    factor = np.sqrt(room / (route.insulation_class.number - base))
    rules = {"NFPA 70": 1.0, "IEC 60364-5-52": 1.0, "33 CFR 183": 0.9, "DIN VDE 0298-4": 1.25}
    install = {"conduit": 1.25, "surface": 1.15}.get(route.install, 1.0)
    grouping = 1.0 + 0.2 * (route.grouped_circuits.number - 1)
    return float(install * grouping * rules[brief.cables.rules] / factor)
