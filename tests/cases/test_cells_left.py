"""What a fault leaves on its own cells, up to the highest current that is left to their trip.

The duty multiplied the current of a loop of one module by the path's resistance from pole to pole
and spread it over all cells of the pack (0.05409 V), the checks held the trip at the lowest
currents alone (0.8715 V), and where the fault places said "not shown" they passed. Invented
examples with entries changed, and invented figures.
"""

from __future__ import annotations

import re
import tomllib

import numpy as np
import pytest

from packcalc import api
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.findings import OR_MORE, leaf
from packcalc.measured import measured_against
from packcalc.monitoring import fault_cell_voltage
from packcalc.part_checks.cells_left import CellsLeft, sees_faults
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.report.compose import report_document
from packcalc.report.data import as_dict
from packcalc.report.document import Facts
from packcalc.report.salvage_report import front_against_bench
from tests.cases.studies import ROOT, study
from tests.cases.test_coordination_cases import f

pytestmark = pytest.mark.thorough

SEES = {"coordination": "the undervoltage trip sees the lowest fault",
        "management": "under-voltage trip sees the lowest fault"}
TELLS = "the trip tells a fault from a load"
OTHER = "chassis.second.own_side"  # beside the mid-pack fuse, no other fuse in the loop


def check(found, key, title):
    item = next(i for i in found.items if i.key == key)
    return next(c for c in item.checks if c.title == title)


def both(found):
    return [check(found, key, title) for key, title in SEES.items()]


def duty(found):
    item = next(i for i in found.items if i.key == "management")
    return next(d for d in item.duty if d.symbol == "u_f")


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def drop(found, key):
    return next(d.drop for d in place(found, key).loop.devices if d.drop is not None)


# -- one loop's current, its own conductors, its own cells ------------------------------------


def test_the_duty_is_of_one_loop_up_to_the_current_that_the_trip_is_counted_for():
    truck = study("truck")
    voltage, (external, cells) = duty(truck), drop(truck, OTHER).inputs
    current, *own = voltage.inputs
    # nobody but this trip opens that loop, and the contactor breaks 3000 A
    assert current.number == pytest.approx(3000.0, rel=1e-6) and cells.number == 6
    assert [o.number for o in own] == [external.number, cells.number]
    assert voltage.number == pytest.approx(3000.0 * external.number / 6) and voltage.number > 2.3
    assert voltage.note.startswith(f"3000 A at '{place(truck, OTHER).title}'")
    for one in both(truck):
        assert one.demand.number == voltage.number, one.title
    assert check(truck, "coordination", TELLS).demand.number == voltage.number


def test_its_chain_is_worked():
    chains = as_dict(report_document(study("truck")))["findings"]
    (one,) = [c for c in chains.values() if c["symbol"] == "u_f"]
    assert one["formula"]["text"] == "u_f = I·R_x/(1000·n)"
    assert one["value_SI"] == pytest.approx(duty(study("truck")).number, rel=1e-8)
    assert len(one["inputs"]) == 3


@pytest.mark.parametrize("name", ["van", "minibus", "faulty"])
def test_no_other_loop_of_the_examples_leaves_more_where_the_trip_is_counted(name):
    found = study(name)
    voltage = duty(found)
    (shown,) = {one.demand.number for one in both(found)}
    assert shown == voltage.number
    lowest = [p.lowest.number * d.drop.number for p in found.circuit.places if p.loop.sizes
              for d in p.loop.devices if d.key == "pole_cell_trip" and p.at_lowest.clears]
    assert lowest and voltage.number >= max(lowest) * (1 - 1e-9)


def test_the_voltage_rises_with_the_current():
    """The safe side was said to be the lowest fault."""
    low, high = (fault_cell_voltage(at, 4.76e-3, 6) for at in (766.9, 3000.0))
    assert low < high and fault_cell_voltage.formula.safe_side.startswith("high")
    assert "lowest" not in fault_cell_voltage.formula.safe_side


# -- a place and the check say the same --------------------------------------------------------


@pytest.mark.parametrize("level", ["2.0 V", "1.5 V", "0.9 V"])
def test_the_check_fails_from_the_very_current_that_the_place_says(level):
    """At 2.0 V the place said "not shown from 2521 A", and the check passed above 0.8715 V."""
    found = study("truck", management__undervoltage_trip=level)
    blind = float(level[:3]) / drop(found, OTHER).number
    words = place(found, OTHER).between.words
    told = re.search(r"not shown from (\S+) A to 3000 A", words)
    assert told and float(told[1]) == pytest.approx(blind, rel=1e-3)
    for one in both(found):
        assert one.verdict == FAIL and f"not seen from {told[1]} A" in one.reason
    # and the loads are told from faults by the current alone, in one pole: no pass
    other = check(found, "coordination", TELLS)
    assert other.verdict == CAUTION and "sensor in that pole" in other.reason


@pytest.mark.parametrize("level", [None, *np.arange(0.6, 2.85, 0.15)])
def test_no_check_passes_a_level_that_some_place_does_not_show(level):
    said = "unknown" if level is None else f"{level:.2f} V"
    found = study("truck", management__undervoltage_trip=said)
    left = [p for p in found.circuit.places if p.loop.sizes and any(
        d.key == "pole_cell_trip" for d in p.loop.devices)
        and any("not shown" in a.words for a in p.answers)]
    verdicts = {one.verdict for one in both(found) if one.title in SEES.values()} \
        if level is not None else {check(found, "management", SEES["management"]).verdict}
    assert verdicts == ({NOT_EVALUATED} if level is None else {FAIL} if left else {CAUTION})


def test_a_leak_inside_a_module_is_told_where_the_rest_is_seen():
    """368.5 A in one cell leaves it 2.12 V: from 468.7 A on nobody sees it, and the check passed."""
    found = study("truck")
    for one in both(found):
        assert one.verdict == CAUTION
        assert re.match(r"not seen from \S+ A at 'second chassis fault: leak inside a module and "
                        r"chafed branch wire'", one.reason)


# -- nothing is milder for not being told -----------------------------------------------------


@pytest.mark.parametrize("part", ["main_fuse", "contactor"])
def test_an_unnamed_part_passes_nothing(part):
    """A fuse may take over later than the first of the list, a contactor break more."""
    found = study("truck", **{f"parts__{part}": None})
    for one in (*both(found), check(found, "coordination", TELLS)):
        assert one.verdict == NOT_EVALUATED and "not seen from" in one.reason, one.title


def test_a_late_fuse_leaves_more_to_the_trip():
    """Up to 2672 A at 2.4 V: what a later fuse leaves is its own, and more."""
    named, later = (study("truck", management__undervoltage_trip="1.7 V", **more)
                    for more in ({}, {"parts__main_fuse": None}))
    assert {one.verdict for one in both(named)} == {one.verdict for one in both(later)} == {FAIL}


def test_without_parts_the_trip_is_counted_on_nowhere():
    data = tomllib.loads((ROOT / "examples/truck/brief.toml").read_text("utf-8"))
    data.pop("parts")
    for one in (*data["cables"]["route"], *data["branch"]):
        one.pop("cable", None), one.pop("fuse_part", None)
    bare = study_protection(brief_from_data(data, str(ROOT / "examples/truck/brief.toml")), "16S1P")
    assert check(bare, "management", SEES["management"]).verdict == NOT_EVALUATED


def test_no_trip_is_held_where_none_is_set_and_the_level_asked_for_sees_all():
    found = study("truck", management__undervoltage_trip="unknown")
    one = check(found, "management", SEES["management"])
    assert one.verdict == NOT_EVALUATED and f"set it above {duty(found).shown}" in one.reason
    assert duty(found).number == pytest.approx(duty(study("truck")).number)


# -- the check itself -------------------------------------------------------------------------


def held(level, **left):
    return sees_faults("sees", f("level", "V", level), CellsLeft(
        left.pop("worst", f("left", "V", 2.0)), **left), missing="ask", remedy="higher")


@pytest.mark.parametrize(("level", "verdict"), [(1.999, FAIL), (2.0, FAIL), (2.001, PASS)])
def test_on_below_and_above_what_is_left(level, verdict):
    assert held(level).verdict == verdict


@pytest.mark.parametrize(("level", "verdict"), [(2.0, FAIL), (2.499, NOT_EVALUATED),
                                                (2.5, NOT_EVALUATED), (2.501, PASS)])
def test_a_loop_in_which_it_is_not_shown_to_open_fails_nothing_and_passes_nothing(level, verdict):
    one = held(level, most=f("most", "V", 2.5), open="not seen from 9 A at 'x'")
    assert one.verdict == verdict
    assert ("not seen from 9 A" in one.reason) is (verdict == NOT_EVALUATED)


def test_a_leak_apart_makes_a_pass_a_caution_and_mends_no_failure():
    told = "not seen from 5 A at 'leak'"
    assert held(3.0, apart=told).verdict == CAUTION and told in held(3.0, apart=told).reason
    assert held(1.0, apart=told).verdict == FAIL


def test_what_may_be_more_passes_nothing():
    open_ = leaf("left", "U", "V", 2.0, "invented", note=f"one loop{OR_MORE}its cable")
    assert held(3.0, worst=open_).verdict == NOT_EVALUATED
    none = leaf("left", "U", "V", None, "invented")
    assert held(3.0, worst=none).verdict == NOT_EVALUATED and held(3.0, worst=none).reason == "ask"


# -- the current's trip beside it --------------------------------------------------------------


def test_a_trip_on_the_current_passes_no_lowest_fault_of_one_pole():
    """Without the cells' trip the places said "not shown", and the current's trip passed."""
    found = study("truck", management__undervoltage_trip="unknown")
    lowest = min((p for p in found.circuit.places if p.loop.sizes and any(
        d.key == "pole_contactor" for d in p.loop.devices)), key=lambda p: p.lowest.number)
    assert found.faults.lowest.number == lowest.lowest.number
    assert not lowest.at_lowest.clears
    one = check(found, "coordination", TELLS)
    assert one.verdict == CAUTION and "its sensor in that pole" in one.reason
    # each string has a sensor of its own, which carries what its own trip opens
    strings = check(study("minibus"), "string_coordination", TELLS)
    assert strings.verdict == PASS


def test_a_loop_of_an_unknown_lowest_current_passes_no_level():
    """It dropped out of what is left on the cells: "1.535 V", pass; told, 0.75 mm², it was not."""
    for part in (None, "Talvik 20 branch"):
        wire = {"fuse_part": part} if part else {}
        found = study("van", branch={"DC/DC converter": {"section": "unknown", **wire}})
        for one in (check(found, "coordination", TELLS), *both(found)):
            assert one.verdict == NOT_EVALUATED, (one.title, one.sentence)
            assert "DC/DC converter" in one.sentence


def test_the_front_page_says_what_stands_on_the_fault_by_the_brief_alone():
    """"Which no figure stands on" it said, and 0.8715 V was 907.7 A of the brief's own figures."""
    sized = api.size_protection(read_brief(ROOT / "examples/truck/brief.toml"))
    facts = next(b for b in front_against_bench(measured_against(sized)) if isinstance(b, Facts))
    (title,) = [title for key, title, _ in facts.rows if key == "fault_lowest_by_brief_A"]
    assert "only the cells' undervoltage trip is held against it too" in title
    at_the_lowest = sized.coordination.asked.fault_voltage
    assert sized.by_brief.number in {f.number for f in at_the_lowest.walk()}
