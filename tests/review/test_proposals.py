"""What a reviewer may propose at the pair of fuse and contactor, at connectors and at branches.

Every part is invented; capacities and durations come from the design under test.
"""

from __future__ import annotations


import pytest

from packcalc.checks import FAIL, NOT_EVALUATED
from packcalc.decisions import CHOICE, Decision, decisions
from packcalc.protection import ProtectionStudy
from packcalc.review_change import Recheck, recheck
from packcalc.review_words import MOST_RUNS, bare_cable, key, section_of
from tests.review.cases import known
from tests.review.cases import study as bare_study
from tests.sized import example

pytestmark = pytest.mark.thorough


def sized(name: str = "truck", layout: str = "", arrangement: str = "") -> ProtectionStudy:
    return example(name, layout, arrangement)


def minibus() -> ProtectionStudy:
    return sized("minibus", "12S2P", "strings")


def decision(name: str, study: ProtectionStudy | None = None) -> Decision:
    return known(study or sized())[name]


def change(name: str, asked: str, study: ProtectionStudy | None = None) -> Recheck:
    return recheck(study or sized(), decision(name, study), asked)


# -- fuse and contactor together --------------------------------------------------------------


@pytest.mark.parametrize("asked, part", [
    ("contactor 300 A", "main contactors"), ("contactors 300 A", "main contactors"),
    ("fuse 500 A", "main fuse"), ("500 A", "main fuse"),
    ("Lyng 300", "main contactors"), ("Talvik 315 full range", "main fuse")])
def test_either_of_the_pair_may_be_named(asked: str, part: str) -> None:
    found = change("coordination.choice", asked)
    assert found.understood and found.checks
    assert f"Read as {part}." in found.words


def test_a_contactor_rating_is_not_taken_for_the_fuse() -> None:
    found = change("coordination.choice", "contactor 300 A")
    assert "carries the continuous current" in " ".join(c.title for c in found.checks).lower()
    assert not any(c.title == "Endures the peaks" for c in found.checks)


def test_both_of_the_pair_are_held_together() -> None:
    found = change("coordination.choice", "Talvik 315 full range + Lyng 300")
    alone = change("coordination.choice", "Talvik 315 full range")
    failed = {c.title for c in alone.checks if c.verdict == FAIL}
    assert failed and failed <= {c.title for c in found.checks if c.verdict == FAIL}
    assert found.breaks and "everything was sized again with both" in found.words
    turned = change("coordination.choice", "Lyng 300 + Talvik 315 full range")
    assert {(t.part, t.title, t.after) for t in turned.touched} == {
        (t.part, t.title, t.after) for t in found.touched}


@pytest.mark.parametrize("asked", ["Lyng 300 + Lyng 200", "Klo 40", "4 mm²", "fuse", "+", "",
                                   "a + b + c", "contactor 0 A", "contactor Talvik 315 full range"])
def test_what_is_no_pair_is_told_what_may_be_proposed(asked: str) -> None:
    found = change("coordination.choice", asked)
    assert not found.understood and not found.breaks and "\n" not in found.words
    assert "like contactor 400 A" in found.words and "Talvik 400 full range + Lyng 500" in found.words


def test_a_part_of_another_kind_is_told_as_that() -> None:
    assert "Klo 40 is in the parts list as a connector" in change(
        "coordination.choice", "Klo 40").words
    assert "Lyng 200 is in the parts list as a contactor" in change(
        "connectors.choice", "Lyng 200").words


def test_the_pair_of_a_string_may_be_changed_as_well() -> None:
    for asked in ("fuse 200 A", "Talvik 250 high voltage", "contactor 300 A", "Lyng 300"):
        found = change("string_coordination.choice", asked, minibus())
        assert found.understood and found.checks, asked


def test_without_a_parts_list_the_pair_may_be_changed_too() -> None:
    name = next(d for d in known(bare_study()).values() if d.item == "coordination"
                and d.kind != "figure")
    found = recheck(bare_study(), name, "fuse 400 A")
    assert found.understood and found.checks


# -- connectors -------------------------------------------------------------------------------


def test_a_bare_rating_of_a_connector_is_held_against_the_current() -> None:
    small, large = change("connectors.choice", "3 A"), change("connectors.choice", "500 A")
    assert "carries the continuous current" in [c.title for c in small.checks
                                                if c.verdict == FAIL]
    assert small.breaks and not large.breaks
    assert [c.title for c in large.checks if c.verdict == NOT_EVALUATED]
    assert "Not evaluated: " in large.words


def test_a_connector_of_the_list_is_sized_again_as_the_brief_s() -> None:
    found = change("connectors.choice", "Klo 200")
    assert found.understood and "sized again with this part named in the brief" in found.words
    assert "takes the section of the conductor" in [c.title for c in found.checks
                                                   if c.verdict == FAIL]


def test_without_a_parts_list_a_connector_may_be_proposed() -> None:
    check = replace_item("connectors")
    assert recheck(bare_study(), check, "3 A").breaks
    assert "a rated current like 400 A" in recheck(bare_study(), check, "a big one").words


def replace_item(name: str) -> Decision:
    """A decision of a part of which the list holds none."""
    from dataclasses import replace

    item = next(i for i in bare_study().items if i.key == name)
    assert not item.candidates
    return replace(next(d for d in known(bare_study()).values() if d.kind == CHOICE),
                   item=name, id=f"{name}.choice", part=item.title)


# -- branches ---------------------------------------------------------------------------------


def test_the_fuse_of_each_branch_is_a_decision() -> None:
    names = {d.id: d for d in decisions(sized())}
    for branch in sized().brief.branch:
        (one,) = [d for d in names.values()
                  if d.item == f"branch.{branch.name}" and d.kind == CHOICE]
        assert one.shown.startswith(f"{branch.fuse_part}: named in the brief")


def test_the_fuse_of_a_branch_stands_not_before_places_that_nobody_clears() -> None:
    order = decisions(sized())
    first = next(n for n, d in enumerate(order) if d.kind == CHOICE
                 and d.item.startswith("branch.") and d.verdict != FAIL)
    places = [n for n, d in enumerate(order) if d.item == "place" and d.verdict == "caution"]
    assert places and max(places) < first


def test_a_listed_fuse_of_a_branch_is_sized_with_everything() -> None:
    found = change("branch.dc-dc-converter.choice", "Talvik 40 branch")
    assert found.understood and found.checks
    assert not found.breaks
    small = change("branch.dc-dc-converter.choice", "Talvik 2 tap")
    assert "Fuse carries the load" in [c.title for c in small.checks if c.verdict == FAIL]


def test_a_bare_rating_of_a_charge_fuse_is_held_against_its_cable() -> None:
    found = change("branch.charge-cable.choice", "125 A")
    assert found.breaks
    assert "Conductor carries the fuse's rated current" in [
        c.title for c in found.checks if c.verdict == FAIL]
    assert any(t.part.startswith("Cable, charge inlet to battery") and t.worse
               for t in found.touched)


def test_a_fuse_that_no_wire_so_thin_can_carry_fails_below_the_table() -> None:
    # the converter's 4 mm²; IEC 60364-5-52 begins at 6 mm²
    found = change("branch.dc-dc-converter.choice", "Talvik 80 branch")
    assert found.breaks and "Conductor carries the fuse's rated current" in found.words


def test_a_question_of_two_fuses_that_a_bare_rating_drops_is_told() -> None:
    bare = change("branch.dc-dc-converter.choice", "20 A").lost
    named = change("branch.dc-dc-converter.choice", "Talvik 40 branch").lost
    told = "opens without Talvik 400 full range (no longer asked"
    assert any(told in words for words in bare) and not any(told in words for words in named)


def test_a_bare_rating_loses_what_the_sheet_had_shown() -> None:
    found = change("branch.sense-wires.choice", "63 A")
    lost = {c.title for c in found.checks if c.verdict == NOT_EVALUATED}
    assert "Conductor carries the fuse's rated current" in [
        c.title for c in found.checks if c.verdict == FAIL]  # thinner than what carries 49 A
    assert any("rated DC voltage" in title for title in lost)
    assert any(t.worse and t.part.startswith("Fault place") for t in found.touched)
    assert "Not evaluated" in found.words


@pytest.mark.parametrize("asked", ["2.5 mm²", "2.5 mm^2", "2.5 mm2", "12 AWG"])
def test_a_section_of_a_branch_moves_what_the_conductor_stands(asked: str) -> None:
    found = change("branch.dc-dc-converter.choice", asked)
    assert found.understood
    assert any(t.title.startswith("I²t that the conductor stands") for t in found.touched)


def test_any_check_of_a_branch_takes_the_change() -> None:
    one = next(d for d in decisions(sized()) if d.item == "branch.DC/DC converter"
               and d.kind == "check")
    assert recheck(sized(), one, "25 A").understood


@pytest.mark.parametrize("asked", ["big", "20", "20 V", "0 A", "2 x 4 mm²", "Lyng 200",
                                   "<script>", "9" * 500 + " A"])
def test_what_a_branch_cannot_take_is_told(asked: str) -> None:
    found = change("branch.dc-dc-converter.choice", asked)
    assert not found.understood and "\n" not in found.words
    assert "like 20 A" in found.words and "like 4 mm²" in found.words


# -- sections and squares ---------------------------------------------------------------------


@pytest.mark.parametrize("asked", ["3 x 70 mm^2", "3 x 70 mm²", "3x70 mm2", "3 × 70 mm²",
                                   "3 * 70 mm^2", "to 3 x 70 mm^2", "3X70MM2"])
def test_three_cables_a_pole_in_every_spelling(asked: str) -> None:
    found = change("cable.battery-to-inverter.choice", asked)
    assert found.understood and found.checks
    assert found.words.startswith(
        "3 × 70 mm² (next size up: 3/0 AWG, 85.03 mm²) held against the duty")
    assert "10 % above an even share, our assumption: measure each" in found.words


def test_a_pass_that_becomes_a_caution_is_told() -> None:
    # the charge cable of the example, 25 mm², passed under its 80 A fuse
    found = change("branch.charge-cable.choice", "16 mm2")
    assert found.weaker and not found.breaks
    assert f"weakens {len(found.weaker)} of its own checks" in found.words
    assert "16 mm² (next size up: 4 AWG, 21.15 mm²)" in found.words
    assert any(words.endswith("(caution, was pass)") for words in found.weaker)


@pytest.mark.parametrize(("branch", "asked"), [
    ("battery-heater", "1.5 mm²"), ("battery-heater", "4 mm²"), ("dc-dc-converter", "0.75 mm²"),
    ("dc-dc-converter", "Talvik 40 branch")])
def test_a_wire_that_no_table_knows_never_reads_as_milder(branch: str, asked: str) -> None:
    # IEC 60364-5-52 begins at 6 mm²
    found = change(f"branch.{branch}.choice", asked)
    assert any("Conductor carries the fuse's rated current (not evaluated" in words
               for words in (*found.unshown, *found.weaker, *found.lost))
    assert "no check fails" not in found.words


def test_more_cables_carry_more_and_drop_less() -> None:
    def drop(runs: int) -> float:
        found = change("cable.battery-to-inverter.choice", f"{runs} x 70 mm^2")
        return next(c.figure.number for c in found.checks if c.title.startswith("Voltage drop"))

    # common practice: cables side by side share the current
    assert drop(4) < drop(3) < drop(2)


@pytest.mark.parametrize("asked", ["0 x 70 mm²", f"{MOST_RUNS + 1} x 70 mm²", "99 x 70 mm²",
                                   "3 x mm²", "3 x 70", "3 x 70 m²", "x 70 mm²", "3 x 3 x 70 mm²"])
def test_cables_that_cannot_be_are_refused(asked: str) -> None:
    assert bare_cable(asked) is None


def test_squares_do_not_matter_in_a_name() -> None:
    assert key("1 × 185 mm²") == key("1x185 mm^2") == key("1 * 185 mm2")
    assert section_of("70 mm^2")[0] == section_of("70 mm²")[0] == "70 mm²"


def test_a_heat_in_another_spelling_is_a_figure_all_the_same() -> None:
    heat = next(d for d in decisions(sized()) if d.kind == "figure"
                and d.finding.unit == "A²s")
    assert recheck(sized(), heat, "120000 A^2s").understood
    assert recheck(sized(), heat, "120000 A²s").understood
