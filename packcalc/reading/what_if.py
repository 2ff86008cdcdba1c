"""A brief with one entry changed: what if it were found to be this?"""

from __future__ import annotations

import re
from typing import Any

from packcalc.brief import Brief, growth_left_open
from packcalc.errors import UnknownName
from packcalc.findings import Finding, Origin
from packcalc.reading.brief_modules import GROWTH, RESISTANCE
from packcalc.reading.positions import shown_key
from packcalc.value import replace

HEALTH = "state_of_health"
_STEP = re.compile(r"\.?([A-Za-z_]+)|\[(\d+)\]")


def with_value(brief: Brief, dotted: str, value: float | str) -> Brief:
    """A copy with one entry replaced, basis `assumed`: what if it were found to be this?

    Args:
        brief: stays as it is.
        dotted: e.g. "cables.route[0].length", "modules[0].state_of_health".
        value: in SI, or one of the key's words.

    Raises:
        UnknownName: the brief has no such entry.
    """
    steps = [name or int(index) for name, index in _STEP.findall(dotted)]
    names = (name for name, _ in brief.entries())
    if shown_key(tuple(steps)) != dotted:
        raise UnknownName("entry of the brief", dotted, names)
    try:
        if steps[0] == "modules" and isinstance(steps[1], int):
            steps[1] = brief.index_of(steps[1])  # None, for no type, is no entry
            if steps[2:] == [RESISTANCE]:  # of which every corner is made, new and aged
                steps[2:] = ["module", "resistance_high"]
        changed = _replaced(brief, steps, value, dotted)
        if steps[-1] == HEALTH and brief.left_open(dotted.removesuffix(HEALTH) + GROWTH):
            return _aged_anew(changed, int(steps[1]))
        return changed
    except (AttributeError, IndexError, TypeError) as error:
        raise UnknownName("entry of the brief", dotted, names) from error


def _aged_anew(brief: Brief, index: int) -> Brief:
    """A growth left open hangs on the state of health, and goes with it."""
    on_hand = brief.modules[index]
    growth = growth_left_open(on_hand.module, on_hand.state_of_health,
                              on_hand.resistance_growth.origin)
    return replace(brief, modules=(*brief.modules[:index],
                                   replace(on_hand, resistance_growth=growth),
                                   *brief.modules[index + 1:]))


def _replaced(node: Any, steps: list[str | int], value: float | str, dotted: str) -> Any:
    if not steps:
        if isinstance(node, str) and isinstance(value, str):
            return value
        if isinstance(node, Finding) and not isinstance(value, str):
            place = node.origin.place if node.origin else ""
            return replace(node, value=float(value), basis="assumed",
                           origin=Origin(place, 0, dotted, "tried"), note="")
        raise TypeError(dotted)
    step, rest = steps[0], steps[1:]
    if isinstance(step, int):
        changed = _replaced(node[step], rest, value, dotted)
        return (*node[:step], changed, *node[step + 1:])
    return replace(node, **{step: _replaced(getattr(node, step), rest, value, dotted)})
