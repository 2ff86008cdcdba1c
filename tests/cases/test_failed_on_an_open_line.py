"""A line left out that makes checks fail, or leaves places to nobody, is asked for as well.

Page one counted only what was not evaluated: an open delay made a dozen places "nobody" and
stood nowhere. An open tolerance of the charger counted 1 %, which is the limit it is held to.
Changed figures of the examples are invented.
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check
from packcalc.decisions import CHECK, Decision, Waiting, decisions, waiting
from packcalc.findings import leaf
from packcalc.next_steps import find_next
from packcalc.part_checks.overload import SAY_DELAY
from packcalc.part_checks.sweep import Trips, trips_alone
from packcalc.report.brief_report import wait
from packcalc.report.compose import protection_document
from packcalc.report.render import render
from tests.cases.studies import study

pytestmark = pytest.mark.thorough


def waits(made):
    """What waits for which entry of a study."""
    return waiting(decisions(made), made.brief)


def line(verdict: str, words: str, item: str = "", remedy: str = "") -> Decision:
    """A check of that verdict, in these words."""
    check = Check("y", "fault range", verdict, reason=words, remedy=remedy)
    return Decision("x.y", "x", "y", "fault range", verdict, words, "given", "-", item=item,
                    kind=CHECK, check=check)


def found(made, title):
    """The one check of that title."""
    checks = {c for _, c in made.checks if c.title == title}
    assert len(checks) == 1, title
    return checks.pop()


# -- which line to give first -----------------------------------------------------------------

@pytest.mark.parametrize(("gone", "places"), [
    ("inverter__dc_link_capacitance", 10), ("management__overload_delay", 8),
    ("management__voltage_delay", 8), ("management__trip_delay", 8), ("parts__mid_fuse", 15)])
def test_the_line_that_leaves_places_to_nobody_is_the_first_to_give(gone, places):
    made, dotted = study("truck", **{gone: None}), gone.replace("__", ".")
    first = waits(made)[0]
    assert first.entry == dotted and first.places >= places
    page = " ".join(render(protection_document(made, chains=False), "text").split())
    assert f"Give {dotted} in the brief first: {wait(first.checks, first.failed)}" in page


@pytest.mark.parametrize("gone", ["power__continuous", "power__peak_duration"])
def test_what_fails_on_a_counted_load_names_its_line(gone):
    dotted = gone.replace("__", ".")
    held = {w.entry: w for w in waits(study("truck", **{gone: None}))}
    assert held[dotted].failed >= 1
    assert dotted not in {w.entry for w in waits(study("truck"))}


def test_a_check_that_fails_counts_where_its_own_words_name_the_line():
    brief = study("truck", management__overload_delay=None).brief
    named = [line(FAIL, "management.overload_delay left open", "place"),
             line(CAUTION, "nobody", remedy="say management.overload_delay"),
             line(NOT_EVALUATED, SAY_DELAY)]
    assert waiting(named, brief) == (Waiting("management.overload_delay", 3, 1, 2),)
    # in words alone another figure may be meant; what passes asks for nothing
    others = [line(FAIL, "the delay of the overload trip until the contactor has opened"),
              line(PASS, "management.overload_delay"), line(FAIL, "x.management.overload_delay")]
    assert waiting(others, brief) == ()


def test_a_line_that_is_given_is_not_asked_for():
    brief = study("truck").brief
    assert waiting([line(FAIL, "management.overload_delay, parts.main_fuse")], brief) == ()


def test_the_words_say_that_some_failed_meanwhile():
    assert wait(3) == "3 checks wait for it (not evaluated)"
    assert wait(3, 1).startswith("3 checks rest on it (not evaluated, or failed on what is")
    assert wait(1, 1).startswith("1 check rests on it")
    made = study("truck", management__overload_delay=None)
    held = waits(made)
    step = next(s for s in find_next(made.brief, made.layout, {w.entry: w.checks for w in held},
                                     {w.entry: w.failed for w in held})
                if s.unknown.dotted == "management.overload_delay")
    assert (step.waiting, step.failed) == (held[0].checks, held[0].failed)


def test_only_an_open_delay_that_acts_there_is_told():
    def value(unit, number):
        return leaf("x", "x", unit, number, "given")

    trips = Trips(current=value("A", 1000.0), delay=value("s", 0.2), overload=value("A", 400.0))
    side = trips_alone(trips, None)
    assert "management.overload_delay left open" in side.at_once(500.0)
    assert side.at_once(300.0) == ""  # below the trip's setting
    own = trips_alone(Trips(current=value("A", 1000.0), delay_entry="strings.trip_delay"), None)
    assert own.at_once(1500.0).startswith("strings.trip_delay left open")


# -- the charger's tolerance ------------------------------------------------------------------

OVERSHOOTS = "charger ends its charge before it overshoots a full cell"
WITHIN = "over-voltage trip within the cell's limit"
ABOVE = "over-voltage trip above the end of charging"


@pytest.mark.parametrize("name", ["truck", "minibus", "van"])
def test_a_tolerance_that_nobody_told_ends_no_charge_in_time(name):
    """The counted 1 % is the limit itself: it passed at equality, and 1.25 % stated fails."""
    check = found(study(name, charger__tolerance=None), OVERSHOOTS)
    assert check.verdict == NOT_EVALUATED and "charger.tolerance" in check.reason
    assert found(study(name, charger__tolerance="1 %"), OVERSHOOTS).verdict == PASS
    assert found(study(name, charger__tolerance="1.25 %"), OVERSHOOTS).verdict == FAIL


def test_an_open_tolerance_leaves_the_trip_no_more_than_any_stated_one():
    """The trip's limit took the loosest end of the open tolerance: 4.242 V, and 0.2 % fails."""
    made = study("minibus", charger__tolerance=None)
    stated = [found(study("minibus", charger__tolerance=f"{x} %"), WITHIN) for x in (0, 0.2, 3)]
    held = found(made, WITHIN)
    assert held.demand.number <= min(c.demand.number for c in stated)
    assert held.verdict == FAIL and "charger.tolerance" in held.reason
    assert found(made, ABOVE).verdict != PASS
    lower = study("minibus", charger__tolerance=None, management__overvoltage_trip="4.2 V")
    assert found(lower, WITHIN).verdict == PASS


@pytest.mark.parametrize("title", [
    "main fuse rated for the highest working voltage",
    "highest voltage of the battery side within the inverter's absolute maximum",
    "end of charging within the inverter's operating range"])
def test_no_voltage_passes_on_the_tolerance_that_is_counted(title):
    assert found(study("minibus"), title).verdict == PASS
    assert found(study("minibus", charger__tolerance=None), title).verdict != PASS


def test_what_waits_for_the_tolerance_names_it():
    held = {w.entry: w for w in waits(study("truck", charger__tolerance=None))}
    assert held["charger.tolerance"].checks >= 3 and held["charger.tolerance"].failed >= 1
