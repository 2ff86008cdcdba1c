"""Cables that nobody told or that are thinner than the allowance never look better than they are.

The vehicles and parts are those of the invented examples.
"""

from __future__ import annotations

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.decisions import decisions
from packcalc.protect.branch_figures import only_at_most
from tests.cases.studies import study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough
SECTION = "path__string_cable_section"
LENGTH = "path__string_cable_length"
NAMED = "cables between the modules of one string"


def item(found, key):
    return next(i for i in found.items if i.key == key)


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def heat(found):
    return next(c for c in item(found, "coordination").checks
                if c.title.startswith("cables inside a string survive"))


def milder(found, worse):
    """Decisions that pass, or are a caution, in one study and are graver in the other."""
    other = {d.id: d.verdict for d in decisions(worse)}
    return [d.id for d in decisions(found) if (d.verdict == PASS and other.get(d.id) not in (
        PASS, "", None)) or (d.verdict == "caution" and other.get(d.id) in (NOT_EVALUATED, FAIL))]


# -- their length left open: it counted as 0 m, and passed without a word ---------------------


@pytest.mark.parametrize("name", ["van", "minibus", "truck"])
def test_every_loop_that_may_pass_them_has_a_current_at_most_and_a_constant_at_least(name):
    found = study(name, **{LENGTH: None})
    for key in ("terminals", "box", "chassis.second.fused_pole", "chassis.second.inside_module"):
        one = place(found, key)
        assert only_at_most(one.lowest) and NAMED in one.lowest.note, key
        assert one.loop.time_constant.untold_more, key
    assert found.faults.lowest.may_be_less
    for constant in (found.faults.time_constant_highest, found.faults.time_constant_lowest):
        assert "inside a string" in constant.untold_more
    low = place(found, "chassis.second.inside_module").lowest
    assert low.note.endswith("one cell between the faults; a poor contact makes it lower still")


@pytest.mark.parametrize("name", ["van", "minibus", "truck"])
def test_nothing_is_milder_than_with_eight_metres_of_them(name):
    found = study(name, **{LENGTH: None})
    assert not milder(found, study(name, **{LENGTH: "8 m", SECTION: "70 mm²"}))
    verdicts = {d.id: d.verdict for d in decisions(found)}
    whole = next(k for k in verdicts if k.startswith("coordination.every-fault-current"))
    assert verdicts[whole] != PASS


def test_what_they_carry_is_asked():
    found = study("van", **{LENGTH: None})
    asked = item(found, "string_cables").checks
    assert [c.verdict for c in asked] == [NOT_EVALUATED, NOT_EVALUATED]
    assert all("path.string_cable_length" in c.reason for c in asked)
    assert heat(found).verdict == NOT_EVALUATED


def test_a_string_s_own_lowest_current_may_be_less():
    found = study("minibus", **{LENGTH: None})
    duty = {f.title: f for f in item(found, "strings").duty}
    low = duty["one other string, cold and empty, into a dead short of this one"]
    assert NAMED in low.may_be_less
    told = {f.title: f for f in item(study("minibus"), "strings").duty}
    assert not told[low.title].may_be_less and low.number == told[low.title].number


def test_none_is_an_answer():
    for name in ("van", "minibus", "truck", "faulty"):
        found = study(name)
        assert not found.brief.left_open("path.string_cable_length")
        assert not any(i.key == "string_cables" for i in found.items)
        assert not found.faults.time_constant_highest.untold_more


# -- their section left open: it counted as 35 mm², and passed --------------------------------


def test_a_section_that_nobody_told_passes_nothing():
    found, thin = (study("minibus", **{LENGTH: "3 m"} | more) for more in (
        {}, {SECTION: "6 mm²"}))
    assert found.brief.left_open("path.string_cable_section")
    first, second = item(found, "string_cables").checks
    assert first.verdict == second.verdict == heat(found).verdict == NOT_EVALUATED
    assert "path.string_cable_section" in first.reason
    one = place(found, "chassis.second.fused_pole")
    assert only_at_most(one.lowest) and "smallest section of the cables" in one.lowest.note
    assert not one.loop.time_constant.untold_more  # the length is told
    assert not milder(found, thin)


# -- links, fuse and contactors of unknown resistance: the assumed ones passed ----------------


@pytest.mark.parametrize(("entry", "words", "key"), [
    ("link_resistance", "resistance of one module link", "terminals"),
    ("fuse_resistance", "resistance of the main fuse", "chassis.second.fused_pole"),
    ("contactor_resistance", "resistance of one closed contactor", "chassis.second.fused_pole")])
def test_a_resistance_that_nobody_told_makes_no_lowest_current_sure(entry, words, key):
    low = place(study("minibus", **{f"path__{entry}": None}), key).lowest
    assert only_at_most(low) and words in low.note
    assert not only_at_most(place(study("minibus"), key).lowest)


# -- a named cable thinner than the allowance: the allowance stayed in every lowest current ---


def named(route):
    """The van with another cable on its traction route."""
    return study("van", cables__route=[route])


def route(**changes):
    return dict(study_route(), **changes)


def study_route():
    (one,) = [r for r in study("van").brief.cables.route if r.carries == "traction"]
    return {"name": one.name, "carries": "traction", "length": one.length.origin.text,
            "cable": one.cable, "insulation_class": one.insulation_class.origin.text}


def test_a_thin_cable_stands_in_the_lowest_current_with_its_own_copper():
    thick, thin = named(route()), named(route(cable="Vire 16"))
    length = thin.brief.cables.route[0].length.number
    hot = (234.5 + thin.brief.cables.route[0].insulation_class.number - 273.15) / 254.5
    own = 2 * length * 20.55e-3 / 16 * hot  # highest of IEC 60228 for 16 mm², both conductors
    assert thin.pack.cables_long.number == pytest.approx(own, rel=1e-6)
    assert thin.pack.cable_allowance.number == thick.pack.cable_allowance.number < own
    assert thick.pack.cables_long.number == thick.pack.cable_allowance.number
    more = own - thick.pack.cable_allowance.number
    assert thin.pack.resistance_long.number - thick.pack.resistance_long.number == \
        pytest.approx(more, rel=1e-6)
    for key in (f"cable.{thin.brief.cables.route[0].name}", "chassis.second.fused_pole",
                "chassis.second.inside_module"):
        assert place(thin, key).lowest.number < place(thick, key).lowest.number, key
    assert place(thin, "terminals").lowest.number == pytest.approx(
        place(thick, "terminals").lowest.number)  # the cables lie beyond them


def test_a_named_cable_that_says_nothing_of_its_copper_leaves_it_open(tmp_path):
    found = study("van", parts__file=listed(
        tmp_path, Vire_150={"section": "", "resistance_per_length": ""}))
    low = place(found, "chassis.second.fused_pole").lowest
    assert only_at_most(low) and "Vire 150" in low.note
    assert not only_at_most(place(found, "terminals").lowest)
