"""Sections in both systems: mm² with the next AWG or kcmil up beside it, and the other way round.

By section alone, never a smaller one: what is sold by the other system is held to the duty only
once the brief names it.
"""

from __future__ import annotations

from packcalc.cable_rules import OTHER, UP, beside_name
from packcalc.checks import Item

SAID = ("in brackets the next size up of the other system, by section alone; SAE cable of that AWG "
        "number holds 5 to 12 % less copper: go by its own section")


def in_both(item: Item, said: str = UP) -> dict[str, str]:
    """Each standard cable's name by itself, in both systems; empty for what is no cable.

    Args:
        item: of one part.
        said: in front of what stands in brackets: as many cables of the other system's size.
    """
    return {c.name: f"{c.name} ({beside_name(c.name, c.fact(OTHER), said)})"
            for c in item.candidates if not c.own and c.fact(OTHER)}
