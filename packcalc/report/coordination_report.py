"""Who clears over the whole fault range: the item, the picture, and the range span by span."""

from __future__ import annotations

import numpy as np

from packcalc.part_checks.sweep import DEVICES, Sweep
from packcalc.protect.coordination import Coordination
from packcalc.report.blocks import Cell, column, item_section, number, words
from packcalc.report.document import Block, Section, Table
from packcalc.report.drawings.time_current import time_current_figure


def coordination_section(found: Coordination, level: int = 1) -> Section:
    """The section of one path: lead, open items, picture, spans, then the item's own tables."""
    item = item_section(found.item, level=level)
    figure = time_current_figure(found)
    if figure is None or found.sweep is None:
        return item
    lead = sum(type(b).__name__ == "Paragraph" for b in item.blocks[:2])
    blocks: tuple[Block, ...] = (*item.blocks[:lead], spans_table(found.sweep), figure,
                                 *item.blocks[lead:])
    return Section(item.key, item.title, blocks, level)


def spans_table(swept: Sweep) -> Table:
    """Each span of current with one device: who, its slowest time and its largest let-through."""
    columns = (column("from_A", "From", "A"), column("to_A", "To", "A"),
               column("device", "Who opens it"), column("slowest_s", "Slowest", "s"),
               column("heat_A2s", "Largest I²t let through", "A²s"), column("at_A", "At", "A"))
    starts = np.flatnonzero(np.diff(swept.device, prepend=-1))
    ends = np.append(starts[1:], swept.device.size)
    rows = tuple(_row(swept, int(a), int(b)) for a, b in zip(starts, ends, strict=True))
    return Table("coordination_spans", "Who opens a fault, span by span", columns, rows,
                 f"{swept.current.size} currents swept, every break point of the curves among "
                 "them. Seconds are rounded as shown; a span without a device ends by itself only.")


def _row(swept: Sweep, start: int, end: int) -> tuple[Cell, ...]:
    part = slice(start, end)
    time, heat = swept.time[part], swept.heat[part]
    slowest = float(np.nanmax(time)) if np.isfinite(time).any() else None
    most, at = None, None
    if np.isfinite(heat).any():
        index = int(np.nanargmax(heat))
        most, at = float(heat[index]), float(swept.current[part][index])
    return (number(float(swept.current[start]), "A"), number(float(swept.current[end - 1]), "A"),
            words(DEVICES[int(swept.device[start])]), number(slowest, "s"),
            number(most, "A²s"), number(at, "A"))
