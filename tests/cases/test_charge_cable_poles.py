"""A charge cable whose fuse is not in every loop through it, or does not break what it meets.

Invented examples and parts with entries changed. The cable was held to the loops of its own fuse
alone: the pole without one carries the whole pack's fault, and no check of the cable said so.
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.part_checks.path_conductors import ENDED_ONLY
from tests.cases.studies import study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough

CABLES = {"truck": ("charge cable", "charge inlet to battery"),
          "minibus": ("fast-charge inlet", "charge inlet to roof box")}
SHORT, LETS, LEFT = ("Short-circuit protection", "Let-through of the fuse",
                     "breaks what a trip leaves of a fault beyond it")
NO_TRIP = {"management__trip_current": None, "management__trip_delay": None,
           "management__undervoltage_trip": None, "management__voltage_delay": None}


def poles(name, fused, **changes):
    return study(name, branch={CABLES[name][0]: {"fused_poles": fused}}, **changes)


def route(found, name="truck"):
    return next(r for r in found.routes if r.asked.name == CABLES[name][1])


def only(checks, title):
    (check,) = [c for c in checks if c.title == title]
    return check


def own(found, title, name="truck"):
    """A check of the named cable's row."""
    return only(route(found, name).chosen.candidate.checks, title)


def listed_study(tmp_path, **changes):
    return study("truck", parts__file=listed(tmp_path, Talvik_80_branch=changes))


@pytest.mark.parametrize("name", CABLES)
@pytest.mark.parametrize("fused", ["one", "unknown"])
def test_the_pole_without_a_fuse_is_told_at_the_cable(name, fused):
    # it passed at the let-through of the fuse, which is not in that loop
    found = poles(name, fused)
    (place,) = [p for p in found.circuit.places
                if p.key == f"chassis.second.branch.{CABLES[name][0]}"]
    assert place.nobody and CABLES[name][1] in place.loop.cables
    check = only(route(found, name).item.checks, SHORT)
    # of one whose poles are left open the place is told as the worst of both answers
    title = place.title.partition(", at worst that of")[0]
    assert f"nobody ends the heat at '{title}'" in check.reason
    # beyond what the contactor breaks nobody does, and the cable does not stand it until a trip
    assert check.verdict == own(found, LETS, name).verdict == NOT_EVALUATED
    # at the minibus's own inlet nobody is shown to, beside a charge contactor that none names
    assert (ENDED_ONLY in check.reason) is (name == "minibus")


@pytest.mark.parametrize("name", CABLES)
@pytest.mark.parametrize("changes", [{}, NO_TRIP])
def test_a_fuse_taken_away_lessens_no_heat(name, changes):
    # truck: 18520 A²s with both, 16810 A²s with one
    both, unknown, one = (own(poles(name, fused, **changes), LETS, name).demand.number
                          for fused in ("both", "unknown", "one"))
    assert both <= min(unknown, one) * (1.0 + 1e-6)  # a step beside the end of the curve
    # the fuse that may not stand there was in the loop: 1.001e6 A²s unknown, 1.248e6 with one
    assert unknown >= max(both, one) * (1.0 - 1e-6)


def test_the_slower_end_of_the_pole_without_a_fuse_counts():
    # contactor of that pole alone, on the cells' trip: 0.5489 s, up to the 3000 A that it breaks;
    # it was up to the 1600 A alone at which a trip tears the charge contactor open, so that a worse
    # charge contactor asked less of the cable
    heat = own(poles("truck", "one"), LETS).demand
    assert heat.number == pytest.approx(3000.0 ** 2 * 0.5489, rel=1e-3)


def test_whoever_is_not_shown_to_end_a_fault_ends_none():
    # a fuse between the modules that nobody names may melt before the others have cleared
    found = study("truck", parts__mid_fuse=None)
    check = only(route(found).item.checks, SHORT)
    assert check.verdict in (CAUTION, NOT_EVALUATED) and "nobody" in check.reason
    assert own(found, LETS).verdict != PASS


# -- a fuse that by its own sheet is none here -----------------------------------------------


@pytest.mark.parametrize(("changes", "words"), [
    ({"lowest_breaking_current": "750 A"},
     "at 706.0 A Talvik 80 branch does not break it: its lowest breaking current is 750.0 A"),
    ({"rated_voltage_dc": "100 V", "clearing_i2t_at": "100 V", "permitted_time_constant": ""},
     "Talvik 80 branch does not break it: its rated voltage 100.0 V is not above 448.4 V"),
    ({"breaking_capacity": "20000 A"},
     "at 43190 A Talvik 80 branch breaks no more than 20000 A: it may burst")])
def test_a_fuse_that_fails_by_its_sheet_protects_no_cable(tmp_path, changes, words):
    # it was a caution that asked for the curve, which the list holds
    found = listed_study(tmp_path, **changes)
    check, lets = only(route(found).item.checks, SHORT), own(found, LETS)
    assert check.verdict == FAIL
    assert words in check.reason and "nobody ends the heat" in check.reason
    assert lets.verdict == NOT_EVALUATED and words in lets.reason
    assert "ask for the curve" not in lets.reason and "once its curve" not in check.reason


@pytest.mark.parametrize(("changes", "words"), [
    ({"breaking_capacity": ""}, "ask for the DC breaking capacity"),
    ({"class": "", "lowest_breaking_current": ""}, "ask for the class letters")])
def test_a_sheet_that_is_silent_is_asked_for_what_it_lacks(tmp_path, changes, words):
    # no better than the worst that it could state, which fails
    found = listed_study(tmp_path, **changes)
    check, lets = only(route(found).item.checks, SHORT), own(found, LETS)
    assert check.verdict == lets.verdict == NOT_EVALUATED
    assert words in check.reason and words in lets.reason
    assert "ask for the curve" not in lets.reason


def test_a_rating_alone_is_no_better_than_a_sheet_that_fails():
    # a fuse of which nothing is listed was a caution, a listed one of 100 V no more
    found = study("truck", branch={"charge cable": {"fuse_part": ""}})
    check = only(route(found).item.checks, SHORT)
    assert check.verdict == NOT_EVALUATED and "once its curve" in check.reason


# -- the charge contactor ---------------------------------------------------------------------


@pytest.mark.parametrize(("fused", "verdict"), [("both", PASS), ("one", FAIL), ("unknown", FAIL)])
def test_covers_are_no_answer_where_a_fuse_in_that_pole_is(fused, verdict):
    # a trip tears the charge contactor open at 28 kA: it was a caution, covers the usual answer
    (item,) = [i for i in poles("truck", fused, motor__short_circuit_current="1 A").items
               if i.key == "charge_contactor"]
    check = only(item.candidates[0].checks, LEFT)
    assert check.verdict == verdict
    if verdict == FAIL:
        assert "in both poles" in check.remedy and "covers" not in check.reason
