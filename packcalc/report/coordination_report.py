"""Who clears over the whole fault range: the item, the picture, and the range span by span."""

from __future__ import annotations

import numpy as np

from packcalc.findings import Finding
from packcalc.part_checks.rising import RISEN
from packcalc.part_checks.sweep import Sweep, device_words
from packcalc.protect.coordination import Coordination
from packcalc.report.blocks import Cell, column, item_section, machine_key, number, words
from packcalc.report.document import Block, Section, Table
from packcalc.report.drawings.time_current import time_current_figure

MAIN = "coordination"


def coordination_section(found: Coordination, level: int = 1) -> Section:
    """The section of one path: lead, open items, picture, spans, then the item's own tables."""
    item = item_section(found.item, level=level)
    key = machine_key(found.item.key)
    figure = time_current_figure(found, "time_current" if key == MAIN else f"{key}_time_current")
    if figure is None or found.sweep is None:
        return item
    lead = sum(type(b).__name__ == "Paragraph" for b in item.blocks[:2])
    blocks: tuple[Block, ...] = (*item.blocks[:lead], spans_table(found.sweep, key),
                                 conductors_table(found, key), figure, *item.blocks[lead:])
    return Section(item.key, item.title, blocks, level)


def spans_table(swept: Sweep, key: str = MAIN) -> Table:
    """Each span of current with one device: who, its slowest time and its largest let-through."""
    columns = (column("from_A", "From", "A"), column("to_A", "To", "A"),
               column("device", "Who opens it"), column("slowest_s", "Slowest", "s"),
               column("heat_A2s", "Largest I²t let through", "A²s"), column("at_A", "At", "A"))
    starts = np.flatnonzero((np.diff(swept.device, prepend=-1) != 0)
                            | (np.diff(swept.may, prepend=-1) != 0))
    ends = np.append(starts[1:], swept.device.size)
    rows = tuple(_row(swept, int(a), int(b)) for a, b in zip(starts, ends, strict=True))
    return Table(f"{key}_spans", "Who opens a fault, span by span", columns, rows,
                 f"{swept.current.size} currents swept, every break point of the curves among "
                 "them. Seconds are rounded as shown and begin with the fault: the time in which "
                 f"its current rises, {RISEN:g}·τ at most, is in them, and not in "
                 "the I²t that a fuse lets through by its curve. All of this path's own loop: a "
                 "current that flows in other loops alone may last longer there, see the fault "
                 "places. A span without a device ends by itself only.")


def conductors_table(found: Coordination, key: str = MAIN) -> Table:
    """What lies in the current and must survive what is let through, the cable first."""
    columns = (column("conductor", "Conductor"), column("stands_A2s", "Stands", "A²s"),
               column("worst_A2s", "Worst of the range", "A²s"),
               column("at_A", "At a pack current of", "A"), column("ask", "Ask for", wide=True))
    asked, worst = found.asked, {c.name: (h, at) for c, h, at in found.conductor_heat}
    heat, at = worst.get(asked.cable_name, (found.worst_heat, found.worst_heat_at))
    rows = [(words(asked.cable_name), _figure(asked.cable_withstand), _figure(heat), _figure(at),
             words("" if asked.cable_withstand else "its section"))]
    for one in asked.conductors:
        heat, at = worst.get(one.name, (None, None))
        rows.append((words(one.name), _figure(one.withstand), _figure(heat), _figure(at),
                     words("" if one.withstand.known else one.ask)))
    return Table(f"{key}_conductors", "What lies in the fault current", columns,
                 tuple(rows), "Worst of the currents that somebody is shown to open; in a hole "
                 "nothing ends the heat.")


def _figure(finding: Finding | None) -> Cell:
    known = finding is not None and finding.known
    return number(finding.value, finding.unit) if known else Cell("not known")


def _row(swept: Sweep, start: int, end: int) -> tuple[Cell, ...]:
    part = slice(start, end)
    time, heat = swept.time[part], swept.heat[part]
    slowest = float(np.nanmax(time)) if np.isfinite(time).any() else None
    most, at = None, None
    if np.isfinite(heat).any():
        index = int(np.nanargmax(heat))
        most, at = float(heat[index]), float(swept.current[part][index])
    return (number(float(swept.current[start]), "A"), number(float(swept.current[end - 1]), "A"),
            words(device_words(int(swept.device[start]), int(swept.may[start]))),
            number(slowest, "s"),
            number(most, "A²s"), number(at, "A"))
