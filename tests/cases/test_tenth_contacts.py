"""Closed contacts where nobody ends the fault, an inlet matched before its contactor closes.

The truck's Lyng 500, Port 400 and Klo 500 wide with trips of three seconds: no device clears up to
1800 A within the second that counts, and the cable of the same loop says so. All data invented.
"""

from __future__ import annotations

import math

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.handover.commission import plan_of
from packcalc.part_checks.path_conductors import ENDED_ONLY
from packcalc.part_checks.withstand import WITHSTANDS, borne, borne_check
from packcalc.report.states_report import proofs_table
from packcalc.value import replace
from packcalc.unended import not_shown_ended, unended
from tests.cases.studies import study
from tests.cases.test_charge_opening import LEFT, own_check, place
from tests.cases.test_contacts_until_cleared import CURVES, FAULTS, of, part, stretch
from tests.cases.test_one_rule_of_melting import listed

SLOW = {"management__trip_delay": "3 s", "management__voltage_delay": "3 s"}
CELL = "chassis.second.inside_module_branch"


# -- where nobody ends the fault ------------------------------------------------------------------


def test_no_closed_contact_passes_where_nobody_ends_the_fault_of_its_own_path():
    found = study("truck", **SLOW)
    cable = next(c for c in found.coordination.item.checks
                 if c.title.endswith("survives the heat over the whole range"))
    words = cable.reason[cable.reason.index(ENDED_ONLY):]
    assert "to 1800 A nobody ends the heat" in words
    pair = next(c for c in found.coordination.item.candidates
                if c.name == found.coordination.asked.pair)
    for told in (*(c for c in (*found.coordination.item.checks, *pair.checks)
                   if c.title == WITHSTANDS),
                 of(found, "disconnect", "Port 400", FAULTS),
                 of(found, "connectors", "Klo 500 wide", FAULTS)):
        assert told.verdict == NOT_EVALUATED and words in told.reason


def test_the_faulty_example_shows_none_either():
    found = study("faulty")
    told = next(c for c in found.coordination.item.checks if c.title == WITHSTANDS)
    assert told.verdict == NOT_EVALUATED and "from 1000 A to 2336 A nobody" in told.reason


@pytest.mark.parametrize(("given", "time", "verdict"), [
    ({}, 0.9, PASS), ({"nobody": "N at 'x'"}, 0.9, CAUTION),
    ({"nobody": "N at 'x'", "left": "L"}, 0.9, NOT_EVALUATED),
    ({"left": "L"}, 11.0, FAIL), ({"left": "L"}, 5.0, NOT_EVALUATED),
    ({"left": "L", "left_out": "O"}, 0.9, NOT_EVALUATED)])
def test_what_nobody_ends_takes_a_pass_and_hides_no_failure(given, time, verdict):
    told = borne_check("held", part(**CURVES), borne([stretch([1500.0], [time], "x")], **given))
    assert told.verdict == verdict
    if verdict == CAUTION:
        assert told.reason.endswith("'x'; N there")
    if time == 0.9 and "left" in given:
        assert told.reason.endswith("; L" if "left_out" in given else f"{ENDED_ONLY}: L")


def test_a_path_s_own_hole_goes_before_a_place_and_what_it_carries_for_ever_is_held_too():
    own = replace(stretch([250.0], [0.5]), left="H")
    told = borne_check("held", part(**CURVES), borne([stretch([200.0], [0.5]), own], left="L"))
    assert told.verdict == NOT_EVALUATED and told.reason.endswith(": H")


def test_a_place_that_fails_goes_before_one_of_covers_and_one_not_shown_is_told_too():
    places = study("truck").circuit.places
    assert "nobody ends the heat at 'second chassis" in unended(places) and not unended([])
    own = next(p for p in places if p.shown and p.loop.devices)
    assert not not_shown_ended([own])
    open_ = replace(own, at_lowest=replace(own.at_lowest, clears=None), between=None)
    assert not_shown_ended([open_]) == (
        f"at {own.at_lowest.current.shown} nobody is shown to end the heat at '{own.title}'")


# -- what a trip leaves to the charge contactor ---------------------------------------------------


def test_the_leak_of_one_cell_is_left_to_the_charge_contactor(tmp_path):
    weak = {"break_discharge": "100 A", "break_charge": "100 A"}
    found = study("truck", parts__file=listed(tmp_path, Lyng_200=weak),
                  motor__short_circuit_current="1 A")
    check, least = own_check(found, LEFT), 528.0 * 5.0 ** -math.log10(528.0 / 360.0)
    assert check.verdict == CAUTION and least < check.demand.number < 1.01 * least
    assert "leak inside a module" in check.reason and "is cleared before" not in check.reason
    assert place(found, CELL).nobody


# -- an inlet matched before the contact closes ---------------------------------------------------


def test_the_contact_closes_only_within_the_stated_difference():
    found = study("truck", path__charge_difference="15 V")
    states = found.circuit.states
    match, charge = states.state("inlet match"), states.state("charge")
    assert match.relation == "differing by at most" and match.level.number == 15.0
    assert match.contactors == ("closed", "closed", "open", "open") and match.timeout.known
    assert "inlet" in match.point and "against battery" in match.point
    assert match.name in charge.before and charge.level.number == 15.0 and charge.scaled is None
    assert states.states.index(match) == states.states.index(charge) - 1
    read = plan_of(found).reading("charge.match")
    assert read.high.number == 15.0 and read.needed and "must stay open" in read.above


def test_a_difference_that_nobody_stated_is_said_to_be_bounded_by_nobody():
    found = study("truck")
    match = found.circuit.states.state("inlet match")
    assert match.level is None and "nobody bounds" in match.relation
    row = next(r for r in proofs_table(found.circuit.states).rows if r[0].text == match.name)
    assert any("nobody bounds" in cell.text for cell in row)
    assert "nobody bounds" in plan_of(found).reading("charge.match").band


def test_one_that_closes_for_a_station_alone_is_read_with_the_station():
    assert not plan_of(study("minibus")).reading("charge.match").needed
    van = study("van")
    assert "charge.match" not in plan_of(van).dimensions
    assert all(s.name != "inlet match" for s in van.circuit.states.states)
