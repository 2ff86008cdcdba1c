"""A reviewer's words for a change, read as a part, a rating or a section; strict, else nothing."""

from __future__ import annotations

import re

from packcalc.errors import UserError
from packcalc.findings import Finding, Origin, leaf
from packcalc.parts import (
    CablePart,
    ConnectorPart,
    ContactorPart,
    DisconnectPart,
    FusePart,
    Part,
    ResistorPart,
)
from packcalc.reading.positions import one_line
from packcalc.tables import table
from packcalc.units import fold, parse, show

BARE = ", no data sheet"
ROUTE = "cable."
LONGEST = 60
MOST_RUNS = 6
LARGEST_SECTION = 2e-3  # m²
NUMBER = re.compile(r"([+-]?\d+(?:\.\d+)?) ?(\S.*)?")
_CURRENT = ("current", ("rated current", "I", "A"))
_OF_FUSE = (FusePart, "rated_current", "current", ("rated current", "I_n", "A"))
_OF_CONTACTOR = (ContactorPart, "continuous_current", *_CURRENT)
# Of a part that the list lacks: its class, field, dimension, quantity.
RATED = {
    "main_fuse": _OF_FUSE, "string_fuse": _OF_FUSE, "mid_fuse": _OF_FUSE,
    "contactors": _OF_CONTACTOR, "string_contactors": _OF_CONTACTOR,
    "charge_contactor": _OF_CONTACTOR, "precharge_relay": _OF_CONTACTOR,
    "disconnect": (DisconnectPart, "continuous_current", *_CURRENT),
    "connectors": (ConnectorPart, "continuous_current", *_CURRENT),
    "precharge": (ResistorPart, "resistance", "resistance", ("resistance", "R", "Ω")),
}


def plain(asked: str) -> str:
    """The words with one spelling of signs and squares, without a leading "to"."""
    return fold(asked).replace("^2", "2").removeprefix("to ").strip()


def key(words: str) -> str:
    """What is left of a name when spaces, case and signs do not count."""
    bare = re.sub(r"\s+", "", plain(words).casefold()).replace("ohm", "ω")
    return re.sub(r"[×*]", "x", bare)


def plain_quantity(words: str, dim: str) -> float | None:
    """A number with a unit of that dimension in SI; None where it is none."""
    if not NUMBER.fullmatch(words):
        return None
    try:
        return parse(words, dim)
    except UserError:
        return None


def given(asked: str, dim: str, title: str, symbol: str, unit: str) -> Finding | None:
    """A quantity above zero as the reviewer would have it."""
    words = plain(asked) if len(asked) <= LONGEST else ""
    value = plain_quantity(words, dim)
    if value is None or value <= 0:
        return None
    return leaf(f"{title} as the reviewer would have it", symbol, unit, value, "given",
                origin=Origin("review mark", text=one_line(words, LONGEST)))


def bare_part(item: str, asked: str) -> Part | None:
    """A part of which the reviewer gives nothing but a rating or a section; else None."""
    if item.startswith(ROUTE):
        return bare_cable(asked)
    if item not in RATED:
        return None
    kind, field, dim, quantity = RATED[item]
    rating = given(asked, dim, *quantity)
    return None if rating is None else kind(show(rating.number, rating.unit) + BARE,
                                            **{field: rating})


def bare_cable(asked: str) -> CablePart | None:
    """Cables a pole by their section: mm², AWG or kcmil; sizes of the last two as printed.

    Examples:
        >>> bare_cable("3 x 70 mm^2").name
        '3 × 70 mm², no data sheet'
        >>> bare_cable("0 x 70 mm2") is None
        True
    """
    if len(asked) > LONGEST:
        return None
    words = re.sub(r"\s+", " ", plain(asked).casefold())
    many = re.match(r"(\d{1,2}) ?[x×*] ?", words)
    runs = int(many.group(1)) if many else 1
    if not 1 <= runs <= MOST_RUNS:
        return None
    found = section_of(words[many.end() if many else 0:])
    if found is None:
        return None
    size, section = found
    return CablePart(f"{runs} × {size}{BARE}", section=section, runs=runs)


def section_of(asked: str) -> tuple[str, Finding] | None:
    """One section, as printed and as a figure; None where the words name none."""
    if len(asked) > LONGEST:
        return None
    words = plain(asked).casefold().replace("mcm", "kcmil")
    size = re.sub(r"^awg ?(.+)$", r"\1awg", words).replace(" ", "")
    sizes = table("conductors_awg")
    row = next((r for r in sizes.rows if r["size"].casefold().replace(" ", "") == size), None)
    if row is not None:
        return row["size"], sizes.finding(row, "area_mm2", f"section of {row['size']}", "S",
                                          "mm²", row["area_mm2"] * 1e-6)
    section = given(words, "area", "section", "S", "mm²")
    if section is None or section.number > LARGEST_SECTION:
        return None
    return f"{section.number * 1e6:.6g} mm²", section
