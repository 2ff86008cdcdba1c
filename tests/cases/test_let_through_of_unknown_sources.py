"""A fuse that a source of unknown current may burst limits no heat and no peak.

A plugged station of 1 mF, or a motor of 20 kA, took the passes that nothing said of either left.
Also: page one says "at least" of a sum with an unknown part, the layout that will not do stands
before request sheets, and "none" as the name of a part is told how to be said. Changes invented.
"""

from __future__ import annotations

import tomllib

import pytest

from packcalc.checks import NOT_EVALUATED, PASS
from packcalc.decisions import decisions, waiting
from packcalc.errors import InputErrors
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.compose import protection_document
from tests.cases.studies import ROOT, study

pytestmark = pytest.mark.thorough
HEAT, PEAK = "Conductor stands what the fuse lets through", "Fuse limits the peak"
CHARGE = ("closes onto a fault and passes", "closed, it withstands what the fuse lets through")


def of_branches(found):
    return {(title, c.title): c.verdict for title, c in found.checks
            if c.title.startswith((HEAT, PEAK))}


def of_charging(found):
    item = next(i for i in found.items if i.key == "charge_contactor")
    return {c.title: c.verdict for c in item.own_parts[0].checks if c.title.startswith(CHARGE)}


@pytest.mark.parametrize("name, told, worse", [
    ("minibus", {"motor__short_circuit_current": "500 A", "station__capacitance": "1 uF"},
     {"motor__short_circuit_current": "500 A", "station__capacitance": "1 mF"}),
    ("truck", {"motor__short_circuit_current": "500 A"},
     {"motor__short_circuit_current": "20 kA"})])
def test_no_branch_passes_by_a_fuse_that_an_unknown_source_may_burst(name, told, worse):
    open_, known, bad = (of_branches(study(name, **one)) for one in ({}, told, worse))
    assert PASS in known.values() and NOT_EVALUATED in bad.values()
    assert open_ and all(verdict == NOT_EVALUATED for key, verdict in open_.items()
                         if bad.get(key) == NOT_EVALUATED)


def test_nor_does_the_charge_contactor():
    open_, bad = (of_charging(study("truck", **one)) for one in (
        {}, {"motor__short_circuit_current": "20 kA"}))
    assert len(open_) == 2 and set(open_.values()) == set(bad.values()) == {NOT_EVALUATED}


@pytest.mark.parametrize("name, entries", [
    ("truck", {"motor.short_circuit_current"}),
    ("minibus", {"motor.short_circuit_current", "station.capacitance"})])
def test_what_tells_the_source_is_the_first_to_give(name, entries):
    found = study(name)
    first = waiting(decisions(found), found.brief)[:len(entries)]
    assert {one.entry for one in first} == entries and all(one.checks > 10 for one in first)


def five(found):
    page = next(s for s in protection_document(found, chains=False).sections if s.key == "first")
    return {key: cell.text for block in page.blocks if getattr(block, "caption", "").startswith(
        "What can kill, in five") for key, _, cell in block.rows}


def test_page_one_says_at_least_of_a_sum_that_lacks_a_source():
    known = five(study("truck", motor__short_circuit_current="500 A"))["fault_highest_A"]
    assert five(study("truck"))["fault_highest_A"].startswith("at least ")
    assert not known.startswith("at least ")


def data_of(name):
    path = ROOT / "examples" / name / "brief.toml"
    return tomllib.loads(path.read_text("utf-8")), str(path)


@pytest.mark.parametrize("highest, first", [(None, "requests"), ("300 V", "first")])
def test_a_layout_that_will_not_do_is_told_before_any_sheet(highest, first):
    data, path = data_of("truck")
    data.pop("parts")
    for route in data["cables"]["route"]:
        route.pop("cable", None)
    for branch in data["branch"]:
        branch.pop("fuse_part", None)
    if highest:
        data["inverter"] |= {"voltage_range": f"200 V to {highest}", "absolute_maximum": highest}
        data["inverter"].pop("full_power_from", None)
        data["regeneration"].pop("voltage_limit", None)
    found = study_protection(brief_from_data(data, path), "16S1P")
    assert protection_document(found, chains=False).sections[0].key == first


@pytest.mark.parametrize("listed", [True, False])
def test_none_is_the_name_of_no_part(listed):
    data, path = data_of("truck")
    data["parts"] = {"disconnect": "none"} | ({"file": data["parts"]["file"]} if listed else {})
    with pytest.raises(InputErrors) as told:
        brief_from_data(data, path)
    words = str(told.value)
    assert "parts.disconnect: 'none' is the name of no part; leave the line out" in words
    assert "pack.disconnect_after = 0" in words
