"""Sections in mm² with the next AWG or kcmil up, torque with lbf·ft; demo data invented.

Areas: NFPA 70 (2023) Chapter 9 Table 8; below 14 AWG ASTM B258, rule of diameters.
"""

from __future__ import annotations

import re

import pytest

from packcalc.cable_rules import OTHER, next_gauge
from packcalc.checks import Candidate, Item, word_fact
from packcalc.handover.as_built import torque_shown
from packcalc.handover.bill import bill
from packcalc.handover.build import JOINT_RULES, build_sheet
from packcalc.handover.sizes import in_both
from packcalc.reading.as_built_file import Built
from packcalc.report.bill_report import bill_document
from packcalc.report.render import render
from packcalc.units import parse, show
from tests.handover_cases import STRINGS, study_of
from tests.sized import example


def line(sized, key: str):
    return next(b for b in bill(sized) if b.key == key)


@pytest.mark.parametrize(("square", "size"), [
    # NFPA 70 (2023) Chapter 9 Table 8: 400 kcmil 202.68, 350 kcmil 177.35, 14 AWG 2.08 mm²
    (185, "400 kcmil"), (177.35, "350 kcmil"), (177.36, "400 kcmil"), (70, "3/0 AWG"),
    (25, "3 AWG"), (4, "10 AWG"), (2.08, "14 AWG"), (1.5, "14 AWG"),
    # ASTM B258: 16 AWG 1.31, 18 AWG 0.823, 20 AWG 0.518 mm²
    (1.3, "16 AWG"), (0.75, "18 AWG"), (0.5, "20 AWG"), (0.52, "18 AWG")])
def test_the_next_size_up_is_never_smaller(square, size) -> None:
    said = next_gauge(square * 1e-6)
    assert said.startswith(f"{size} (")
    assert float(re.search(r"\(([\d.]+) mm²", said)[1]) >= square - 0.005


def test_beyond_the_largest_size_it_says_so() -> None:
    assert next_gauge(300e-6).startswith("none as large")
    big = Candidate("1 × 300 mm²", (), (word_fact(OTHER, "none as large as 300 mm²"),))
    item = Item("cable.x", "Cable, x", "", (), candidates=(big,))
    assert in_both(item) == {"1 × 300 mm²": "1 × 300 mm² (other system: none as large as 300 mm²)"}


def test_the_bill_prints_every_cable_in_both_systems() -> None:
    main, inlet = (line(example("truck"), f"cable.{n}") for n in ("battery to inverter",
                                                          "charge inlet to battery"))
    assert "1 × 185 mm² (next size up: 1 × 400 kcmil)" in main.demand
    assert "2 × 120 mm² (next size up: 2 × 250 kcmil)" in main.demand
    assert "1 × 25 mm² (next size up: 1 × 3 AWG)" in inlet.demand
    assert main.candidates.startswith("1 × 185 mm² (1 × 400 kcmil), 1 × 240 mm² (1 × 500 kcmil)")
    assert "SAE cable" in main.note and "5 to 12 % less copper" in main.note


def test_the_bill_prints_the_wire_of_every_branch_in_both_systems() -> None:
    sized = example("truck")
    for branch in sized.brief.branch:
        demand = line(sized, f"branch.{branch.name}").demand
        assert f"section: {branch.section.shown} (next size up: " in demand, branch.name
    assert "4.000 mm² (next size up: 10 AWG, 5.26 mm²)" in line(
        sized, "branch.DC/DC converter").demand
    assert "0.5000 mm² (next size up: 20 AWG, 0.518 mm²)" in line(
        sized, "branch.sense wires").demand
    assert "takes 185.0 mm² (next size up: 400 kcmil, 202.68 mm²)" in line(
        sized, "connectors").demand


@pytest.mark.parametrize("form", ["csv", "html"])
def test_both_forms_of_the_bill_carry_it(form) -> None:
    page = render(bill_document(example("truck")), form)
    assert "1 × 185 mm² (next size up: 1 × 400 kcmil)" in page
    assert "10 AWG, 5.26 mm²" in page


def test_cables_inside_a_string_say_their_section_in_both_systems() -> None:
    brief = STRINGS + '[path]\nstring_cable_length = "1.2 m"\nstring_cable_section = "50 mm²"\n'
    note = line(study_of(brief, "16S2P", "strings"), "string_cables").note
    assert "50.00 mm² (next size up: 1/0 AWG, 53.51 mm²)" in note


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_no_section_stands_alone_in_the_bill(name) -> None:
    size = r"[\d.]+ mm²|[\d/]+ AWG|\d+ kcmil"
    for one in bill(example(name)):
        for text in (one.demand, one.candidates, one.note):
            outside = re.sub(r"\([^()]*\)", "()", text)
            assert re.findall(size, outside) == re.findall(rf"({size}) \(\)", outside), one.key


def test_the_build_sheet_prints_both_and_the_form_of_the_record_keeps_its_words() -> None:
    sheet = build_sheet(example("truck"))
    parts = {p.id: p for p in sheet.parts}
    cable = parts["cable.battery to inverter"]
    assert "1 × 185 mm² (next size up: 1 × 400 kcmil)" in cable.design
    assert cable.demand == "Insulation, rated DC voltage: above 448.4 V"
    assert parts["branch.DC/DC converter.plus"].design.endswith(
        "its wire: 4.000 mm² (next size up: 10 AWG, 5.26 mm²)")
    assert parts["main_fuse"].design == parts["main_fuse"].demand


def test_a_torque_is_shown_in_lbf_ft_too() -> None:
    # 1 lbf = 4.4482216152605 N, 1 ft = 0.3048 m (NIST SP 811, appendix B.8)
    one = Built("build.joint_1", "", "", "", "9.0 N·m", parse("9.0 N·m", "torque"), "", None,
                "", "", "", "")
    assert torque_shown(one) == "9.00 N·m (6.64 lbf·ft, 79.7 lbf·in)"
    assert 9.0 / (4.4482216152605 * 0.3048) == pytest.approx(6.64, abs=0.005)


def test_the_rules_of_the_joints_name_the_units_and_their_figures_hold() -> None:
    rule = next(r for r in JOINT_RULES if r.startswith("Torque"))
    newton_metres = parse("10 N·m", "torque")
    assert f"10 N·m = {show(newton_metres, 'lbf·ft', 3)} = {show(newton_metres, 'lbf·in', 3)}" \
        in rule
