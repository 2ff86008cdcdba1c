"""Sections of the file for review in mm² and in AWG or kcmil, side by side; demo data invented.

NFPA 70 (2023) Chapter 9 Table 8: 400 kcmil 202.68 mm², 10 AWG 5.26 mm², the next above 185 and
4 mm²; the next below, 350 kcmil and 12 AWG, hold 177.35 and 3.31 mm².
"""

from __future__ import annotations

from packcalc.report.blocks import item_section
from packcalc.report.document import Table
from tests.sized import example


def item(title: str):
    return next(i for i in example("truck").items if i.title == title)


def rows(title: str):
    found = item_section(item(title))
    table = next(b for b in found.blocks if isinstance(b, Table)
                 and b.key.endswith("_specification"))
    return {row[0].text: row[1].text for row in table.rows}


def test_the_smallest_cable_is_told_in_both_systems() -> None:
    title = "Cable, battery to inverter"
    said = "1 × 185 mm² (next size up: 1 × 400 kcmil)"
    assert f"; {said} is the smallest that fails no check" in item(title).governing
    assert rows(title)["Smallest section, 1 cable a pole"] == said
    # the item itself keeps the bare name, by which its candidate is found
    assert {r.value for r in item(title).specification} & {c.name for c in item(title).candidates}


def test_the_section_of_a_branch_is_told_in_both_systems() -> None:
    branch = next(b for b in example("truck").brief.branch if b.section.number == 4e-6)
    assert rows(f"Branch: {branch.name}")["conductor: section"] == (
        "4.000 mm² (next size up: 10 AWG, 5.26 mm²)")
