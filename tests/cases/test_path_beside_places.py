"""What the main path says of itself beside the fault places that leave currents to nobody.

Shipped examples; their parts and their lists are invented.
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.findings import leaf
from packcalc.part_checks.overload import MEETS
from packcalc.part_checks.rising import RISEN
from packcalc.protect.coordination import EVERY
from packcalc.protect.faults import ABOVE_PEAK, range_checks
from packcalc.report.coordination_report import spans_table
from packcalc.report.drawings.time_current import _words
from packcalc.report.places_report import places_table
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

PATHS = {"truck": "chassis.second.own_side", "minibus": "chassis.second.other_pole"}


def check(found, title):
    return next(c for c in found.coordination.item.checks if c.title == title)


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


@pytest.mark.parametrize("name", PATHS)
@pytest.mark.parametrize("title", [EVERY, MEETS])
def test_the_path_does_not_pass_beside_a_place_of_its_own_that_nobody_opens(name, title):
    # "every fault current is opened: pass" while page one said: nobody from 3000 A to 28060 A
    found, told = study(name), check(study(name), title)
    where = place(found, PATHS[name])
    assert where.nobody and where.loop.inherent
    assert not any(c.verdict == FAIL for c in where.checks)
    assert told.verdict == CAUTION and where.title in told.reason and "pole to pole" in told.title
    assert place(found, "chassis.second.inside_module").title in told.reason


@pytest.mark.parametrize("name", PATHS)
def test_the_pairs_own_row_says_the_same_as_the_item(name):
    # one title, one pair: caution in the item and pass in the row of the part
    found = study(name)
    held = [found.coordination] + [h for h in (found.circuit.inside_strings,) if h]
    for one in held:
        row = next(c for c in one.item.candidates if c.name == one.asked.pair)
        mine = next(c for c in one.item.checks if c.title == EVERY)
        own = next(c for c in row.checks if c.title == EVERY)
        assert (own.verdict, own.reason) == (mine.verdict, mine.reason)
        assert own.verdict == CAUTION


def test_the_heat_of_a_second_chassis_fault_names_its_loop():
    # it passed as of "a second chassis fault" while nobody ended another one of the same cable
    titles = [c.title for c in study("minibus").coordination.item.checks]
    assert not any(t.endswith("a second chassis fault") for t in titles)
    assert any(t.endswith("a second chassis fault through the fuse's pole") for t in titles)


def test_both_counted_times_are_told_where_they_differ():
    # the pass counted the overload trip's 12 s, the place one second, and neither said so
    found = study("minibus")
    told = check(found, MEETS).reason
    assert "delay of 12.00 s" in told and "a fault place for 1.000 s" in told
    assert "longer than 1.000 s counts for nobody" in places_table(found.circuit.places).note


# -- the lowest fault ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["truck", "minibus", "van", "faulty"])
def test_the_lowest_fault_says_what_it_leaves_out(name):
    # "lowest of all places": a leak inside a module gives less than half of it
    found = study(name)
    aside, lowest = place(found, "chassis.second.inside_module"), found.faults.lowest
    assert aside.lowest.number < lowest.number
    note = lowest.note
    assert "left out: " in note and f"{aside.title}, {aside.lowest.shown}" in note
    told = next(c for c in found.faults.checks if c.title == ABOVE_PEAK)
    # of the van a branch wire in the pole without a fuse gives less still
    title = {"van": "leak inside a module and chafed branch wire", "faulty": ""}.get(
        name, aside.title)
    assert (told.verdict == CAUTION) == bool(title)
    if title:
        assert "this fault is smaller than the load" in told.reason and title in told.reason


def test_what_is_left_out_betters_no_verdict():
    high, low, over = (leaf(t, "I", "A", v, "given") for t, v in (
        ("high", 900.0), ("low", 300.0), ("peak", 400.0)))
    aside = "this fault is smaller than the load of 400 A: a place, 100 A"
    for peak, plain in ((over, FAIL), (leaf("peak", "I", "A", None, "given"), NOT_EVALUATED),
                        (leaf("peak", "I", "A", 200.0, "given"), PASS)):
        assert range_checks(high, low, peak)[1].verdict == plain
        assert range_checks(high, low, peak, aside)[1].verdict == (
            CAUTION if plain == PASS else plain)


# -- times and words -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", PATHS)
def test_the_sentence_under_the_picture_names_its_loop_and_the_greater_heat(name):
    # three "most" on one page, and the one without a scope was not the most
    found = study(name).coordination
    words = _words(found)
    own = found.worst_heat
    more, at = next((heat, at) for one, heat, at in found.conductor_heat
                    if one.name == found.asked.cable_name)
    assert more.number > own.number
    assert f"no hole from pole to pole through {found.asked.fuse.name}" in words
    assert f"through the fuse's pole: {own.shown} at {found.worst_heat_at.shown}" in words
    assert f"elsewhere: {more.shown} at {at.shown}, {at.note}" in words and EVERY in words


def test_the_time_until_a_place_is_cleared_is_recomputed_from_what_is_printed():
    # 0.4 s of delay and 15 ms of opening gave 0.4245 s: the rise stood nowhere
    found = study("minibus").coordination
    heat = next(h for one, h, _ in found.conductor_heat if one.name == found.asked.cable_name)
    (time,) = [f for f in heat.inputs if f.symbol == "t"]
    loop = place(study("minibus"), "chassis.second.other_pole").loop
    rise = time.number - 0.415
    assert rise <= RISEN * max(loop.time_constant.number,
                               found.asked.time_constant.number) * (1 + 1e-9)
    assert "0.4150 s of delay and opening time" in time.note
    assert f"{RISEN:g} of the loop's time constants" in time.note
    assert "·τ at most" in spans_table(found.sweep).note


def test_two_time_constants_have_two_titles():
    # 0.7436 ms and 0.6577 ms under one title
    found = study("minibus")
    fuse = next(i for i in found.items if i.key == "main_fuse")
    titles = {f.title for f in fuse.duty if f.title.startswith("Time constant at the highest")}
    assert titles == {"Time constant at the highest fault, main fuse loop"}
    assert found.faults.time_constant_highest.title.endswith("pole-to-pole loop")
