"""The string fuse and the mid-pack fuse in an overload: whole, or shown to break.

Invented parts with the arithmetic beside each figure. The plain link is rated 250 A, breaks from
1000 A on and melts after 10 s at 700 A, after 60 s at 600 A: between them t = 10·(I/700)^n with
n = ln 6/ln(600/700) = −11.62, a straight line on logarithmic scales. Shares of strings are the
current divider at equal voltage, p = (1 + m)/(n + m), a definition.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.part_checks.links_beside import Beside
from packcalc.part_checks.overload import MEETS
from packcalc.part_checks.sweep import TripLine, fuse_side
from packcalc.protect.coordination import coordinate
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from tests.cases.studies import study
from tests.cases.test_coordination_cases import asked, check, contactor, f, trips
from tests.cases.test_one_rule_of_melting import STRONG, listed
from tests.cases.test_overload_melting import BEARS, ENDS, LASTS, SLOPE, link

pytestmark = pytest.mark.thorough

BESIDE = "an overload is opened before it melts unbroken"
FULL = link(**{"class": "gR", "lowest_breaking_current": ""})
PARTIAL = {"class": "aR", "fusing_current": ""}


def slow_main(longest):
    """A full-range main fuse whose curve goes on below a second."""
    return link(**{"class": "gR", "lowest_breaking_current": "", "melting": "",
                   "clearing": f'"0.01 s: 10000 A; 1 s: 1000 A; {longest}"'})


def beside(part, share=1.0, own=()):
    """A further fuse in the main path, so that the path's own item carries its check."""
    side = fuse_side(part, f("U", "V", 420.0), f("L/R", "ms", 2e-3), 1.0)
    return Beside("mid-pack fuse", side, f("share", "%", share), own)


def held(delay, part=None, share=1.0, own=(), main=FULL, overload=250.0, quick=650.0, **changes):
    """The slow trip of 250 A up to the quick one of 650 A, which the lowest fault lies above."""
    slow = trips(current=quick, overload=f("overload trip", "A", overload),
                 overload_delay=None if delay is None else f("overload delay", "s", delay))
    return coordinate(asked(**{
        "fuse": main, "contactor": contactor(**STRONG), "low": 700.0, "trips": slow,
        "beside": (beside(link() if part is None else part, share, own),),
        "peak_load": f("peak", "A", 240.0), "cable_warming": f("warming", "A²s", 1e9),
        "cable_withstand": f("k²S²", "A²s", 1e9)} | changes))


@pytest.mark.parametrize(("delay", "verdict"), [
    (20.0, PASS),           # at 650 A it melts after 10·(650/700)^n = 23.66 s
    (23.6, PASS), (23.7, FAIL), (40.0, FAIL)])
def test_a_further_link_is_asked_what_the_main_fuse_is_asked(delay, verdict):
    assert 10.0 * (650.0 / 700.0) ** SLOPE == pytest.approx(23.66, abs=0.01)
    found = held(delay)
    told = check(found, BESIDE)
    assert told.verdict == verdict
    assert (told.figure.number > 0) == (verdict == FAIL) and told.demand.number == 0
    others = [check(found, title) for title in (MEETS, BEARS, LASTS)]
    assert {c.verdict for c in others} == {PASS if verdict == PASS else NOT_EVALUATED}
    assert check(found, ENDS).verdict == (PASS if verdict == PASS else CAUTION)
    if verdict == FAIL:
        meets = 700.0 * ((delay + 0.02) / 10.0) ** (1.0 / SLOPE)
        assert f"from {meets:.1f} A to 650.0 A in it: F melts before the contactor has opened " \
            "and does not break it: its lowest breaking current is 1000 A" in told.reason
        assert all(told.title in c.reason for c in (*others, check(found, ENDS)))


def test_it_gives_the_span_of_the_main_fuse_where_both_are_alike():
    # the same link as main fuse and beside it: one curve, one trip, one span
    found = held(40.0, main=link())
    span = check(found, BESIDE).reason.split(" in it")[0]
    assert check(found, MEETS).verdict == FAIL and span in check(found, MEETS).reason


@pytest.mark.parametrize(("share", "verdict"), [
    (0.93, FAIL),    # 604.5 A at the quick trip: 10·(604.5/700)^n = 55.01 s
    (0.90, NOT_EVALUATED)])  # 585 A: below the 60 s at 600 A of its last point
def test_a_link_sees_its_share_of_the_pack_s_current(share, verdict):
    assert 10.0 * (0.93 * 650.0 / 700.0) ** SLOPE == pytest.approx(55.01, abs=0.01)
    told = check(held(57.0, share=share), BESIDE)
    assert told.verdict == (FAIL if share == 0.93 else PASS)
    assert check(held(53.0, share=share), BESIDE).verdict == PASS
    assert check(held(61.0, share=share), BESIDE).verdict == verdict


def test_below_the_share_of_the_pack_s_trip_only_a_trip_of_its_own_acts():
    # half of 560 A is 280 A: from its 250 A to there the pack's trip sees nothing; 3600 s at 255 A
    part = link(melting='"0.01 s: 8000 A; 1 s: 900 A; 60 s: 660 A; 3600 s: 255 A"')
    told = check(held(5.0, part, 0.5, overload=560.0, quick=640.0), BESIDE)
    assert told.verdict == FAIL and "to 280.0 A in it" in told.reason
    own = (TripLine("own", 250.0, 5.0),)
    assert check(held(5.0, part, 0.5, own, overload=560.0, quick=640.0), BESIDE).verdict == PASS


@pytest.mark.parametrize(("level", "verdict"), [(615.0, PASS), (640.0, FAIL)])
def test_a_trip_on_its_own_current_counts_where_it_acts(level, verdict):
    # the slow trip of 40 s comes too late from 621 A on; a quick one of its own from 615 A
    assert 700.0 * (40.02 / 10.0) ** (1.0 / SLOPE) == pytest.approx(621.2, abs=0.1)
    own = (TripLine("own", level, 0.15),)
    told = check(held(40.0, own=own), BESIDE)
    assert told.verdict == verdict
    assert ("to 640.0 A in it" in told.reason) == (verdict == FAIL)


@pytest.mark.parametrize(("longest", "verdict"), [("23 s: 622 A", FAIL), ("23 s: 615 A", PASS)])
def test_the_main_fuse_counts_where_it_has_cleared_before_the_other_melts(longest, verdict):
    # 621.2 A is where the slow trip of 40 s loses; at 650 A the link melts after 23.66 s
    assert check(held(40.0, main=slow_main(longest)), BESIDE).verdict == verdict


def test_the_printed_delay_is_tried_and_holds():
    # 0.99 of 23.66 s, cut to two figures
    told = check(held(40.0), BESIDE)
    assert told.remedy == "an overload trip that has opened within 23.00 s or a full-range fuse"
    assert check(held(22.96), BESIDE).verdict == PASS


def test_of_a_share_the_printed_setting_is_the_pack_s_and_holds():
    # rated 250 A, the pack's 500 A at half of it; acts at 560 A, and below that nobody
    part = link(melting='"0.01 s: 8000 A; 1 s: 900 A; 60 s: 660 A; 3600 s: 255 A"')
    told = check(held(5.0, part, 0.5, overload=560.0, quick=640.0,
                      cable_current=f("Iz", "A", 600.0)), BESIDE)
    assert told.remedy == \
        "an overload trip that surely acts at or below 500.0 A or a full-range fuse"
    assert check(held(5.0, part, 0.5, overload=500.0, quick=640.0), BESIDE).verdict == PASS


@pytest.mark.parametrize(("changes", "words"), [
    ({"part": link(melting="", melting_i2t="")}, "ask for the melting curve"),
    ({"part": link(lowest_breaking_current="")}, "ask for the lowest breaking current"),
    ({"part": link(rated_current="")}, "ask for its rated current"),
    ({"contactor": None}, "no contactor is named"),
    ({"trips": None}, "name the management system's overload trip with its delay")])
def test_what_no_sheet_says_is_a_question_and_no_pass(changes, words):
    found = held(40.0, **changes)
    told = check(found, BESIDE)
    assert told.verdict == NOT_EVALUATED and words in told.reason
    assert check(found, LASTS).verdict != PASS


@pytest.mark.parametrize(("back", "verdict"), [(699.0, NOT_EVALUATED), (700.0, PASS)])
def test_trips_held_back_below_the_fault_range_leave_lesser_shares_open(back, verdict):
    # 700 A is the lowest fault; with more strings in, 699 A of the pack is less in each of them;
    # the main fuse clears what the trips are held back from
    slow = trips(current=650.0, blocked_above=f("back", "A", back),
                 overload=f("overload trip", "A", 250.0), overload_delay=f("delay", "s", 5.0))
    path = held(5.0, trips=slow, main=slow_main("23 s: 615 A")).asked
    part = link(lowest_breaking_current="690 A")
    for strung, answer in ((True, verdict), (False, PASS)):
        one = replace(beside(part), in_string=strung)
        found = coordinate(replace(path, beside=(one,)))
        # in a string its check stands with the string: what the path makes of it is told here
        assert check(found, MEETS).verdict == answer
    full = replace(beside(FULL), in_string=True)
    found = coordinate(replace(path, beside=(full,)))
    assert check(found, MEETS).verdict == PASS


def test_a_trip_without_delay_ends_nothing():
    told = check(held(None), BESIDE)
    assert told.verdict == NOT_EVALUATED and "say the delay of the overload trip" in told.reason


def test_a_link_that_nobody_named_is_a_question():
    told = check(held(20.0, beside=(beside(None),)), BESIDE)
    assert told.verdict == NOT_EVALUATED and told.remedy == "name the mid-pack fuse"


def test_a_full_range_link_breaks_whatever_it_melts_at():
    found = held(40.0, FULL)
    assert {check(found, t).verdict for t in (BESIDE, MEETS, ENDS, BEARS, LASTS)} == {PASS}


@pytest.mark.parametrize(("rated", "verdict"), [("699 A", NOT_EVALUATED), ("700 A", PASS)])
def test_a_link_that_carries_every_overload_for_ever_is_asked_nothing(rated, verdict):
    # the fault range begins at 700 A; the quick trip is held back from 695 A on
    part = link(rated_current=rated, melting="")
    slow = trips(current=650.0, blocked_above=f("back", "A", 695.0),
                 overload=f("overload trip", "A", 250.0), overload_delay=f("delay", "s", 5.0))
    assert check(held(5.0, part, trips=slow), BESIDE).verdict == verdict


# -- the examples -----------------------------------------------------------------------------


@pytest.mark.parametrize(("delay", "verdict"), [("12 s", PASS), ("15.4 s", FAIL)])
def test_the_mid_pack_fuse_of_the_truck(tmp_path, delay, verdict):
    # 10 s at 700 A, 60 s at 600 A: 15.26 s at the 675 A of the quick trip; rated 405 A, as the
    # trip is sure to act
    points = "0.01 s: 2800 A; 0.1 s: 1680 A; 1 s: 1200 A; 10 s: 700 A; 60 s: 600 A"
    path = listed(tmp_path, Skarv_400_fast={"melting": points, "rated_current": "405 A"})
    found = study("truck", parts__file=path, parts__mid_fuse="Skarv 400 fast",
                  management__overload_delay=delay)
    told = check(found.coordination, f"mid-pack fuse: {BESIDE}")
    assert told.verdict == verdict
    # a caution for the fault places alone, which nobody opens: the overload meets the range
    assert check(found.coordination, MEETS).verdict == (
        CAUTION if verdict == PASS else NOT_EVALUATED)
    shown = next(c for r in found.routes for c in r.chosen.candidate.checks
                 if "overload" in c.title.lower()) if found.routes[0].chosen else None
    assert shown is not None and (shown.verdict == PASS) == (verdict == PASS)


def test_a_truck_whose_mid_pack_fuse_nobody_named_is_asked_for_it():
    found = study("truck", parts__mid_fuse=None).coordination
    told = check(found, f"mid-pack fuse: {BESIDE}")
    assert told.verdict == NOT_EVALUATED and told.remedy == "name the mid-pack fuse"
    assert check(found, MEETS).verdict == NOT_EVALUATED


@pytest.mark.parametrize(("delay", "own", "verdict"), [
    ("12 s", "350 A", PASS),   # its own trip surely acts from 365 A, where it melts after 13.25 s
    ("14 s", "350 A", FAIL), ("14 s", "340 A", PASS),   # from 355 A: 16.0 s
    ("14 s", None, FAIL)])     # then the pack's quick trip from 435 A: 4.40 s
def test_the_string_fuse_of_the_minibus(tmp_path, delay, own, verdict):
    # 4 s at 443 A and 60 s at 277 A: t = 4·(I/443)^n, n = ln 15/ln(277/443)
    points = "0.001 s: 3200 A; 1 s: 777 A; 4 s: 443 A; 60 s: 277 A"
    path = listed(tmp_path, Talvik_200_high_voltage=PARTIAL | {
        "lowest_breaking_current": "1200 A", "melting": points, "rated_current": "215 A"})
    found = study("minibus", parts__file=path, management__overload_delay=delay,
                  strings__trip_current=own)
    told = check(found.circuit.inside_strings, f"string fuse: {BESIDE}")
    assert told.verdict == verdict
    assert check(found.coordination, MEETS).verdict == (
        CAUTION if verdict == PASS else NOT_EVALUATED)
    if verdict == FAIL:
        assert "with one string out takes 100.0 % of the pack's current" in told.reason


def test_of_three_strings_two_share_the_overload(tmp_path):
    # one out, 10 % mismatch: 1.1/2.1 = 52.38 % of the pack's current; the fault range of one
    # string begins in it at that share
    path = ROOT / "examples" / "minibus" / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    data["modules"][0]["count"] = 40
    data.pop("bench", None)
    data["parts"]["file"] = listed(tmp_path, Talvik_200_high_voltage=PARTIAL | {
        "lowest_breaking_current": "1200 A", "rated_current": "110 A"})
    found = study_protection(brief_from_data(data, str(path)), "12S3P", "strings")
    (link_,) = found.coordination.asked.beside
    assert link_.share.number == pytest.approx(1.1 / 2.1)
    told = check(found.circuit.inside_strings, f"string fuse: {BESIDE}")
    top = found.coordination.asked.fault_lowest.number * 1.1 / 2.1
    # the pack's quick trip is sure from 435 A, in one string 227.9 A: from there it is in time
    assert "from 110.0 A to 227.9 A in it, which with one string out takes 52.38 %" in told.reason
    assert top > 227.9 and told.verdict == NOT_EVALUATED


def test_the_shipped_examples_keep_their_answers():
    truck, minibus = study("truck"), study("minibus")
    assert check(truck.coordination, f"mid-pack fuse: {BESIDE}").verdict == PASS
    assert check(minibus.circuit.inside_strings, f"string fuse: {BESIDE}").verdict == PASS
    for found in (truck, minibus):
        told = check(found.coordination, MEETS)
        assert told.verdict == CAUTION and "of this path's own loop alone" in told.reason
    assert not any(BESIDE in c.title for c in study("van").coordination.item.checks)
