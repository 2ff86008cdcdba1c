"""Figures in the words of a module's past: a voltage, a charge, a temperature told there alone.

Nothing is read as measured from them: what lies where a stored module may lie says nothing,
what tells of a deep discharge is asked about, and all else is told to be read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from packcalc.modules import ModuleType

# Of a module stored as told, our choice: charge in percent, degrees Celsius of a room.
QUIET_CHARGE, QUIET_ROOM = (20.0, 80.0), (0.0, 45.0)
PLAIN, UNREAD, DRAINED = "plain", "unread", "drained"

_NUMBER = r"[-−+]?\d+(?:[.,]\d+)?"
_UNIT = (r"(?:(?P<volt>v|volts?)|(?P<charge>%|per\s?cent|percent)|"
         r"(?P<fahrenheit>(?:°|º|deg(?:rees?)?\.?)?\s*f(?:ahrenheit)?)|"
         r"(?P<celsius>(?:°|º|deg(?:rees?)?\.?)?\s*c(?:elsius)?|°|º|deg(?:rees?)?))(?!\w)")
_FIGURE = re.compile(
    r"(?<![\w.,])(?:\d+\s*[x×]\s*)?"
    rf"(?:(?P<low>{_NUMBER})\s*(?:-|–|to|\.\.|and)\s*)?(?P<high>{_NUMBER})\s*{_UNIT}")
# A figure without a unit that says how much: a year, or what is plain as charge and as warmth.
_COUNTED = (r"(?:kwh|ah|km|miles?|mm|cm|m|kg|a|h|am|pm|(?:month|year|week|day|hour|minute|owner|"
            r"module|cell|pack)s?)\b")
_BARE = re.compile(r"\b(?P<what>charge|soc|level|temperature|at|to|reads?|measured)[\s:=]+"
                   r"(?:(?:was|is|of|at|about|only|reads?)[\s:=]+)?"
                   rf"(?P<high>{_NUMBER})(?![\w%]|[.,]\d|\s*{_COUNTED})")
_BARE_SPANS = {"charge": QUIET_CHARGE, "soc": QUIET_CHARGE, "level": QUIET_CHARGE,
               "temperature": QUIET_ROOM}
_CELL = re.compile(r"\bcells?\b")
# Cells that are only counted say nothing of whose voltage is told.
_COUNTED_CELLS = re.compile(
    r"\b(?:\d+|two|three|four|five|six|seven|eight|nine|ten|twelve)[\s-]+cells?\b")


def told_figures(text: str, module: ModuleType | None = None
                 ) -> Iterator[tuple[int, int, str]]:
    """Where each figure stands in a text in small letters, and PLAIN, UNREAD or DRAINED.

    Args:
        text: the note.
        module: its type, whose voltages a voltage is held to; without one each is UNREAD.

    Examples:
        >>> [found for _, _, found in told_figures("50 %, 85 degc, 20 to 25 °c, at 2024, soc 0")]
        ['plain', 'unread', 'plain', 'plain', 'drained']
    """
    taken: set[int] = set()
    of_cells = _CELL.search(_COUNTED_CELLS.sub("", text)) is not None
    for found in _FIGURE.finditer(text):
        taken.update(range(*found.span()))
        unit = next(name for name in ("volt", "charge", "fahrenheit", "celsius") if found[name])
        values = [_value(found[name]) for name in ("low", "high") if found[name]]
        if unit == "volt":
            meaning = _voltage(values, module, of_cells)
        elif unit == "charge":
            meaning = _charge(values)
        else:
            if unit == "fahrenheit":
                values = [(value - 32.0) / 1.8 for value in values]
            meaning = PLAIN if _within(values, QUIET_ROOM) else UNREAD
        yield *found.span(), meaning
    for found in _BARE.finditer(text):
        if found.start("high") not in taken:
            yield *found.span(), _bare(found["what"], _value(found["high"]))


def _value(words: str) -> float:
    return float(words.replace("−", "-").replace(",", "."))


def _within(values: list[float], span: tuple[float, float]) -> bool:
    return all(span[0] <= value <= span[1] for value in values)


def _voltage(values: list[float], module: ModuleType | None, of_cells: bool) -> str:
    if module is None:
        return UNREAD
    cell = (module.empty_voltage.number, module.full_voltage.number)
    whole = (module.series * cell[0], module.series * cell[1])
    if _within(values, whole) or of_cells and _within(values, cell):
        return PLAIN
    drained = min(values) < module.series * module.cell.absolute_min_voltage
    return DRAINED if drained and not of_cells else UNREAD


def _charge(values: list[float]) -> str:
    if min(values) <= 0.0:
        return DRAINED
    return PLAIN if _within(values, QUIET_CHARGE) else UNREAD


def _bare(what: str, value: float) -> str:
    span = _BARE_SPANS.get(what)
    if span is QUIET_CHARGE:
        return _charge([value])
    if span is None:  # charge, warmth or a year
        year = value.is_integer() and 1990 <= value <= 2100
        return PLAIN if year or _within([value], (QUIET_CHARGE[0], QUIET_ROOM[1])) else UNREAD
    return PLAIN if _within([value], span) else UNREAD
