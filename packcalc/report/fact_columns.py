"""The further columns of a table of candidates: readable on a page, numbers in JSON and CSV."""

from __future__ import annotations

import math
from collections.abc import Sequence

from packcalc.checks import Candidate, Fact
from packcalc.report.document import Cell, Column
from packcalc.units import from_si, printed, significant

# What a key ends in, for the units that are no plain letters.
ENDS = {"°C": "degC", "%": "percent", "mΩ": "mohm", "Ω": "ohm", "A²s": "A2s", "mm²": "mm2",
        "V/s": "V_per_s", "mΩ/m": "mohm_per_m", "": ""}
REMARK = "remark"


def machine_key(title: str) -> str:
    """A machine key from words: letters, digits and underscores.

    Examples:
        >>> machine_key("k²S² of one cable")
        'k2S2_of_one_cable'
    """
    flat = title.replace("²", "2")
    plain = "".join(ch if ch.isalnum() and ch.isascii() else "_" for ch in flat)
    return "_".join(part for part in plain.split("_") if part) or "column"


def fact_titles(candidates: Sequence[Candidate], most: int | None = None) -> list[str]:
    """Titles in the order met, the remark last.

    Args:
        candidates: one row each.
        most: how many of each candidate's facts are wanted; None for all.
    """
    titles = list(dict.fromkeys(f.title for c in candidates for f in c.facts[:most]
                                if f.title != REMARK))
    remarked = any(f.title == REMARK for c in candidates for f in c.facts)
    return titles + ([REMARK] if remarked else [])


def fact_columns(candidates: Sequence[Candidate], titles: Sequence[str]) -> tuple[Column, ...]:
    """One column a title; the key of a figure ends in its unit."""
    first = {f.title: f for c in reversed(candidates) for f in c.facts}
    return tuple(Column(fact_key(first[title]), title, wide=title == REMARK) for title in titles)


def fact_key(fact: Fact) -> str:
    """Key of a fact's column, ending in its unit.

    Examples:
        >>> fact_key(Fact("rated current", "350.0 A", "A", 350.0))
        'rated_current_A'
    """
    unit = printed(fact.unit)
    end = ENDS.get(unit, unit)
    return machine_key(fact.title) + (f"_{end}" if end else "")


def fact_cells(candidate: Candidate, titles: Sequence[str]) -> tuple[Cell, ...]:
    """The cells of one row; what is not known is null in the data, whatever a page says."""
    facts = {f.title: f for f in candidate.facts}
    return tuple(_cell(facts.get(title)) for title in titles)


def _cell(fact: Fact | None) -> Cell:
    if fact is None:
        return Cell("–")
    if fact.words:
        return Cell(fact.text or "–")
    if fact.value is None:
        return Cell(fact.text or "–", math.nan)  # no number: JSON writes null, CSV nothing
    return Cell(fact.text, float(significant(from_si(fact.value, fact.unit))))
