"""One rule of whether a fuse ends an overload by itself; all parts invented.

It may melt from its rated current on, and breaks from its lowest breaking current on: a figure
between the two leaves overloads burning, whatever the class letters say. I2 ≤ 1.45·Iz
[iec-60364-4-43, 433.1].
"""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.part_checks.fusing import ENDS, breaks_overloads, left_unbroken
from packcalc.protect.cable import OVERLOAD
from packcalc.protect.coordination import coordinate
from packcalc.protect.fuse import FUSING, WITHIN_CABLE, fuse_duty, overload_by, part_candidate
from tests.cases.studies import ROOT, study
from tests.cases.test_coordination_cases import asked, check, f, fuse, trips
from tests.cases.test_one_rule_of_melting import listed
from tests.test_fuse import asked as fuse_asked

pytestmark = pytest.mark.thorough

HIGHEST = f("highest voltage", "V", 420.0)


# -- the rule ---------------------------------------------------------------------------------


@pytest.mark.parametrize("letters, floor, breaks", [
    ("gR", None, True), ("gR", 400.0, True), ("gR", 400.1, False), ("gR", 2500.0, False),
    ("aR", None, False), ("aR", 400.1, False), ("aR", 400.0, None),
    ("", None, None), ("", 400.0, None), ("", 400.1, False)])
def test_the_rule_on_and_above_the_rated_current(letters, floor, breaks):
    part = replace(fuse(rated_current="400 A"), class_letters=letters,
                   lowest_breaking_current=floor and f("I_min", "A", floor))
    assert breaks_overloads(part, part.rated_current) is breaks
    assert bool(left_unbroken(part, part.rated_current)) == (breaks is not True)


@pytest.mark.parametrize("letters, floor, breaks", [
    ("gR", None, True), ("gR", 450.0, None), ("aR", 450.0, False), ("", 450.0, None)])
def test_without_a_rated_current_a_figure_shows_nothing(letters, floor, breaks):
    part = replace(fuse(), rated_current=None, class_letters=letters,
                   lowest_breaking_current=floor and f("I_min", "A", floor))
    assert breaks_overloads(part, None) is breaks
    assert breaks_overloads(None, None) is None


# -- a branch and its cable -------------------------------------------------------------------


def charged(tmp_path, section="25 mm2", cable="Vire 25", **entries):
    """The charge branch of the truck and its cable: what each says of an overload."""
    routes = [dict(r, cable=cable) if r.get("carries") == "charging" else r
              for r in _routes()]
    found = study("truck", branch={"charge cable": {"section": section}}, cables__route=routes,
                  parts__file=listed(tmp_path, Talvik_80_branch=entries))
    branch = next(i for i in found.items if i.key == "branch.charge cable")
    route = next(r for r in found.routes if not r.asked.behind_main_fuse)
    own = next(c for c in route.item.own_parts if c.name == cable)
    return (next(c for c in branch.checks if c.title == ENDS),
            next(c for c in own.checks if c.title == OVERLOAD))


def _routes():
    text = (ROOT / "examples" / "truck" / "brief.toml").read_text("utf-8")
    return tomllib.loads(text)["cables"]["route"]


def test_the_charge_cable_fails_with_the_fuse_of_its_branch(tmp_path):
    # The branch failed at 450 A, and the cable behind the same fuse passed with In ≤ Iz.
    for told in charged(tmp_path, lowest_breaking_current="450 A"):
        assert told.verdict == FAIL
        assert "from above 80.00 A up to 450.0 A it may melt and does not break" in told.reason
        assert "no trip sees a branch" in told.reason


@pytest.mark.parametrize("floor, verdict", [("80 A", PASS), ("80.1 A", FAIL), ("120 A", FAIL),
                                            ("128 A", FAIL)])
def test_a_figure_between_rated_and_fusing_current_leaves_a_gap(tmp_path, floor, verdict):
    # Up to the 128 A of I2 it was held as harmless; from above 80 A on the link may melt.
    branch, own = charged(tmp_path, "35 mm2", "Vire 35", lowest_breaking_current=floor)
    assert branch.verdict == own.verdict == verdict
    assert verdict == PASS or "from above 80.00 A up to" in branch.reason


@pytest.mark.parametrize("entries, verdict", [
    ({"class": "aR", "fusing_current": ""}, FAIL), ({"class": ""}, NOT_EVALUATED)])
def test_cable_and_branch_agree_by_the_class(tmp_path, entries, verdict):
    # A link without class letters passed by the cable; partial range was told to name a trip.
    branch, own = charged(tmp_path, "35 mm2", "Vire 35", **entries)
    assert branch.verdict == own.verdict == verdict


@pytest.mark.parametrize("capacity, verdict", [(88.3, PASS), (88.2, FAIL)])
def test_no_trip_ends_what_a_branch_s_fuse_leaves(capacity, verdict):
    # 128 A / 1.45 = 88.28 A; the cable was only a caution, to be mended by a trip that sees nothing
    part = fuse(rated_current="80 A", fusing_current="128 A")
    told = overload_by(part, f("Iz", "A", capacity), HIGHEST)
    assert told.verdict == verdict
    assert verdict == PASS or "no trip sees a branch" in told.reason


def test_the_rating_of_the_brief_counts_where_the_list_has_none():
    part = replace(fuse(rated_current="80 A"), rated_current=None,
                   lowest_breaking_current=f("I_min", "A", 120.0))
    cable, rating = f("Iz", "A", 144.6), f("In", "A", 80.0)
    assert overload_by(part, cable, HIGHEST, rating).verdict == FAIL
    assert overload_by(part, cable, HIGHEST).verdict == NOT_EVALUATED


# -- the main path ----------------------------------------------------------------------------


@pytest.mark.parametrize("floor, verdict", [(None, CAUTION), ("400 A", CAUTION),
                                            ("400.1 A", NOT_EVALUATED),
                                            ("2500 A", NOT_EVALUATED)])
def test_a_full_range_class_alone_ends_no_overload_of_the_traction_cable(tmp_path, floor, verdict):
    # At 2500 A this was "In ≤ Iz by Talvik 400 full range, full range", with no trip at all.
    found = study("truck", management__overload_trip=None, management__overload_delay=None,
                  parts__file=listed(tmp_path, Talvik_400_full_range={
                      "lowest_breaking_current": floor or ""}))
    main = next(i for i in found.items if i.key == "main_fuse")
    own = next(c for c in main.own_parts if c.name == "Talvik 400 full range")
    cable = next(r for r in found.routes if r.asked.behind_main_fuse).chosen.candidate
    path = next(c for c in found.coordination.item.checks
                if c.title.startswith("ends an overload of"))
    told = (path, next(c for c in cable.checks if c.title == OVERLOAD),
            next(c for c in own.checks if c.title == (FUSING if verdict == CAUTION
                                                      else WITHIN_CABLE)))
    for one in told:
        assert one.verdict == verdict
        assert verdict == CAUTION or "it may melt and does not break" in one.reason
        assert verdict == CAUTION or "overload trip" in one.reason


@pytest.mark.parametrize("entries", [
    {"class": "aR", "lowest_breaking_current": "1000 A"}, {"class": ""},
    {"lowest_breaking_current": "1000 A"}, {"rated_voltage_dc": "400 V"}, {}])
def test_a_worse_link_above_the_cable_s_capacity_fails_like_a_good_one(entries):
    # 261 A before a cable of 260 A: partial range was not evaluated where full range failed.
    part = fuse(**{"rated_current": "261 A", **entries})
    for named in (None, trips(overload=f("overload trip", "A", 261.0))):
        held = coordinate(asked(fuse=part, trips=named or trips()))
        assert check(held, "ends an overload").verdict == FAIL
    main = fuse_asked(cable_current=f("Iz", "A", 260.0))
    own = part_candidate(part, main, fuse_duty(main))
    assert next(c for c in own.checks if c.title == WITHIN_CABLE).verdict == FAIL


def test_another_device_may_end_what_the_main_fuse_leaves():
    # Its curve melts after 100 s at 610 A: the trip at 260 A, after 20 s, is before it.
    part = fuse(lowest_breaking_current="1000 A", rated_current="260 A",
                melting='"0.01 s: 8000 A; 1 s: 800 A; 100 s: 610 A"')
    alone = check(coordinate(asked(fuse=part)), "ends an overload")
    assert alone.verdict == NOT_EVALUATED and "from above 260.0 A up to 1000 A" in alone.reason
    slow = trips(overload=f("overload trip", "A", 260.0), overload_delay=f("delay", "s", 20.0))
    assert check(coordinate(asked(fuse=part, trips=slow)), "ends an overload").verdict == PASS


def test_a_link_whose_class_nobody_knows_protects_no_cable():
    # I2 of its sheet passed without the class, where partial range was not evaluated.
    main = fuse_asked(cable_current=f("Iz", "A", 400.0))
    part = fuse(rated_current="261 A", fusing_current="400 A")
    for letters, verdict in (("gR", PASS), ("", NOT_EVALUATED)):
        own = part_candidate(replace(part, class_letters=letters), main, fuse_duty(main))
        (within,) = (c for c in own.checks if c.title == WITHIN_CABLE)
        assert within.verdict == verdict
    assert "class letters" in within.reason
