"""Sections in both systems: mm² with the next AWG or kcmil up beside it, and the other way round.

By section alone, never a smaller one: what is sold by the other system is held to the duty only
once the brief names it.
"""

from __future__ import annotations

from packcalc.cable_rules import nearest_other
from packcalc.checks import Candidate, Item
from packcalc.conductors import awg_area
from packcalc.findings import Finding

OTHER = "other system, not smaller"  # the fact of a candidate in the file for review
NONE = "none as large"
SAID = ("in brackets the next size up of the other system, by section alone; SAE cable of an AWG "
        "number holds 5 to 12 % less copper: by its own section")
FINEST, TABLE_BEGINS = 40, 14  # even numbers are made; from 14 AWG up the table is printed


def next_gauge(area: float) -> str:
    """AWG or kcmil that is not smaller than a section in m².

    Examples:
        >>> next_gauge(185e-6), next_gauge(4e-6), next_gauge(0.5e-6)
        ('400 kcmil (202.68 mm²)', '10 AWG (5.26 mm²)', '20 AWG (0.519 mm²)')
    """
    for gauge in range(FINEST, TABLE_BEGINS, -2):
        made = float(awg_area(gauge)) * 1e6
        if made >= area * 1e6:
            return f"{gauge} AWG ({made:.3g} mm²)"
    return nearest_other(f"{area * 1e6:g} mm²", area, True)


def section_words(section: Finding) -> str:
    """A section of the brief in both systems; "" where it is not known."""
    if not section.known:
        return ""
    other = next_gauge(section.number)
    return f"{section.shown} ({f'AWG/kcmil: {other}' if other.startswith(NONE) else other})"


def beside(candidate: Candidate) -> str:
    """What stands in brackets behind a standard cable: as many of the other system's size."""
    runs, other = candidate.name.partition(" × ")[0], candidate.fact(OTHER)
    if not other:
        return ""
    return f" ({other})" if other.startswith(NONE) else f" ({runs} × {other.partition(' (')[0]})"


def in_both(item: Item) -> dict[str, str]:
    """Each standard cable's name by itself, in both systems; empty for what is no cable."""
    return {c.name: c.name + beside(c) for c in item.candidates if not c.own and c.fact(OTHER)}
