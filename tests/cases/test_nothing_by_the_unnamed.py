"""What rests on a fuse or contactor that nobody named, or on a contactor that does not open.

Named contacts, conductors and fuses passed on the trip time of the first contactor of the list,
on what the first fuse of the list lets through, on the delay of a trip whose contactor breaks
nothing, and on a permitted time constant that no breaking test had. All figures are invented.
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.part_checks import shown
from packcalc.part_checks.contactor import SLOWER, TEST, SwitchDemand, contactor_part_checks
from packcalc.part_checks.overload_carried import TITLE as CARRIES
from packcalc.part_checks.sweep import ASK_TEST, contactor_side
from packcalc.protect.coordination import coordinate
from packcalc.string_sweep import EVERY
from packcalc.value import replace
from tests.cases.studies import study
from tests.cases.test_coordination_cases import asked, check, contactor, f, fuse, trips
from tests.cases.test_one_rule_of_melting import listed
from tests.cases.test_path_and_overload_cases import BEARS, slow
from tests.cases.test_what_a_figure_holds_at import carry

VOLTS, LOOP = f("highest voltage", "V", 420.0), f("L/R", "ms", 2e-3)


# -- the cable bears an overload until the trip has opened ---------------------------------------


@pytest.mark.parametrize(("entries", "expected"), [
    ({}, PASS),
    ({"rated_voltage_dc": "250 V"}, NOT_EVALUATED),   # it passed, and the contactor opens nothing
    ({"break_discharge": "", "break_charge": ""}, NOT_EVALUATED),
    ({"break_time_constant": "1 ms"}, NOT_EVALUATED),
    ({"break_charge": "249 A"}, FAIL),                # below the trip's 250 A, as `ends_overload`
    ({"break_charge": "599 A"}, NOT_EVALUATED),       # the trip is left with 600 A
    ({"break_charge": "600 A"}, PASS)])
def test_no_cable_bears_an_overload_that_its_contactor_does_not_open(entries, expected):
    found = coordinate(asked(trips=slow(250.0, 4.0), contactor=contactor(**entries)))
    assert check(found, BEARS).verdict == expected


def test_a_cable_that_does_not_bear_the_delay_fails_whoever_opens():
    weak = f("k²S²", "A²s", 1e6)  # 600² · 4 = 1.44e6 A²s
    for entries in ({}, {"rated_voltage_dc": "250 V"}):
        found = coordinate(asked(trips=slow(250.0, 4.0), contactor=contactor(**entries),
                                 cable_withstand=weak))
        assert check(found, BEARS).verdict == FAIL


@pytest.mark.parametrize(("delay", "expected"), [(4.0, PASS), (2.0, NOT_EVALUATED)])
def test_above_what_the_contactor_breaks_a_fuse_must_be_in_time(delay, expected):
    """Without a quicker trip the slow one is left with 1000 A; at 650 A the fuse takes 2.5 s."""
    link = fuse(melting='"0.01 s: 8000 A; 1 s: 800 A; 3 s: 500 A"',
                clearing='"0.01 s: 10000 A; 1 s: 1000 A; 3 s: 600 A"')
    found = coordinate(asked(
        trips=replace(slow(250.0, delay), current=None), fuse=link,
        cable_withstand=f("k²S²", "A²s", 5e6), contactor=contactor(break_charge="650 A")))
    assert check(found, BEARS).verdict == expected


# -- a breaking current is shown at the time constant of its test --------------------------------


TESTED = [
    ("5 ms", "500 V: 5 ms", 5e-3),
    ("1 ms", "500 V: 5 ms", 1e-3),              # the permitted figure alone counted
    ("5 ms", "500 V: 1 ms", 1e-3),
    ("1 ms", "450 V: 5 ms; 500 V: 1 ms", 1e-3),  # permitted one volt below the rated voltage or 50
    ("1 ms", "499 V: 5 ms", 1e-3),
    ("5 ms", "450 V: 1 ms", 1e-3),
    ("1 ms", "400 V: 5 ms", 1e-3),              # no point at 420 V or above
    ("1 ms", "", 1e-3)]


@pytest.mark.parametrize(("test", "permitted", "expected"), TESTED)
def test_the_shorter_of_both_counts_at_the_rated_voltage(test, permitted, expected):
    part = contactor(break_time_constant=test, permitted_time_constant=f'"{permitted}"')
    assert shown.tested_constant(part, VOLTS).number == pytest.approx(expected)
    side = contactor_side(part, trips(), VOLTS, LOOP, None)
    assert side.never == bool(side.reasons) == (expected < LOOP.number)
    assert _of(part, TEST).verdict == (FAIL if expected < LOOP.number else PASS)


def test_a_breaking_test_that_is_not_told_is_asked_for():
    # a permitted figure without a test passed, and a stated quick test did not
    silent = contactor(break_time_constant="", permitted_time_constant='"500 V: 5 ms"')
    side = contactor_side(silent, trips(), VOLTS, LOOP, None)
    assert side.reasons == (ASK_TEST,) and not side.never
    assert _of(silent, TEST).verdict == NOT_EVALUATED
    less = contactor(break_time_constant="", permitted_time_constant='"500 V: 1 ms"')
    assert contactor_side(less, trips(), VOLTS, LOOP, None).never
    assert _of(less, TEST).verdict == FAIL


@pytest.mark.parametrize(("test", "permitted", "expected"), [
    ("5 ms", "500 V: 5 ms", PASS),
    ("1 ms", "500 V: 5 ms", NOT_EVALUATED),  # of a quicker loop at more voltage: a question
    ("", "500 V: 5 ms", NOT_EVALUATED),
    ("1 ms", "500 V: 1 ms", FAIL),
    ("1 ms", "100 V: 5 ms; 500 V: 1 ms", PASS)])
def test_slower_loops_are_held_by_the_same_figure(test, permitted, expected):
    part = contactor(break_time_constant=test, permitted_time_constant=f'"{permitted}"')
    assert _of(part, SLOWER).verdict == expected


def _of(part, title):
    load = f("load", "A", 100.0)
    switch = SwitchDemand(None, load, load, LOOP, slower_loops=((f("U", "V", 90.0), LOOP),))
    return next(c for c in contactor_part_checks(part, carry(), switch)
                if c.title == title)


@pytest.mark.thorough
def test_a_quick_breaking_test_turns_the_truck_s_contactor_down(tmp_path):
    # 0.3 ms in place of 2.5 ms: nothing in the whole report changed but the digest
    found = study("truck", parts__file=listed(
        tmp_path, Lyng_500={"break_time_constant": "0.3 ms"}))
    side = found.coordination.sweep.contactor
    assert side.never and "0.3 ms" in " ".join(side.reasons)
    assert not _place(found, "terminals").at_lowest.clears


# -- nothing passes by a part that nobody named --------------------------------------------------


CONTACTS = {"truck": ("contactors", "disconnect", "connectors"),
            "minibus": ("disconnect", "connectors")}


@pytest.mark.thorough
@pytest.mark.parametrize(("name", "entry"), [
    ("truck", "main_fuse"), ("truck", "contactor"),
    ("minibus", "main_fuse"), ("minibus", "string_contactor")])
def test_no_named_contact_passes_on_the_first_pair_of_the_list(name, entry):
    """"Carries an overload until somebody has opened it" by a trip that nobody's part opens."""
    found = study(name, **{f"parts__{entry}": None})
    told = [c for key in CONTACTS[name] for one in _item(found, key).candidates if one.own
            for c in one.checks if c.title == CARRIES]
    assert told and not {c.verdict for c in told} & {PASS, CAUTION}
    assert any("put forward, not named in the brief" in c.reason for c in told)


@pytest.mark.thorough
def test_the_main_contactor_stands_for_no_string_contactor():
    """Its sheet cleared faults for string contactors of which page one said they count nowhere."""
    bare = study("minibus", parts__string_contactor=None)
    both = study("minibus", parts__string_contactor=None, parts__contactor=None)
    assert not any(one.clears and "string contactor" in one.device
                   for p in bare.circuit.places for one in p.answers)
    verdicts = [[c.verdict for c in p.checks] for p in bare.circuit.places]
    assert verdicts == [[c.verdict for c in p.checks] for p in both.circuit.places]
    grouped = study("truck")
    assert grouped.coordination.asked.contactor.name == grouped.brief.parts.contactor


@pytest.mark.thorough
@pytest.mark.parametrize("entry", ["string_fuse", "string_contactor", "main_fuse"])
def test_no_string_fuse_passes_on_a_pair_that_nobody_named(entry):
    found = study("minibus", **{f"parts__{entry}": None})
    told = [c for c in found.circuit.inside_strings.item.checks
            if c.title.startswith("string fuse") or c.title == EVERY]
    by_others = [c for c in told if c.title != EVERY or entry == "string_fuse"]
    assert by_others and not {c.verdict for c in by_others} & {PASS, CAUTION}


@pytest.mark.thorough
def test_a_stub_stands_nothing_until_an_unnamed_fuse():
    """"Fuse stands at the tap" passed on what the first fuse of the list lets through."""
    found = study("truck", parts__main_fuse=None)
    told = next(c for c in _item(found, "branch.charge cable").checks
                if c.title == "Fuse stands at the tap")
    assert told.verdict == NOT_EVALUATED and "put forward" in told.reason


def _item(found, key):
    return next(i for i in found.items if i.key == key)


def _place(found, key):
    return next(p for p in found.circuit.places if p.key == key)
