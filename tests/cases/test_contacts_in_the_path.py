"""Contacts of disconnect and connectors stand in every sum of the path. All parts are invented.

A contact of 4 mΩ changed one row of the listing: lowest fault, loaded voltage and who clears
stayed as they were, and disconnect and connectors were each granted the whole spare voltage.
"""

from __future__ import annotations

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.contacts import contacts
from packcalc.layout_findings import cables_open
from packcalc.layouts import asks_of
from packcalc.screening import screen_one
from tests.cases.studies import study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough
DROP = "voltage drop at the peak within what is to spare"
FIXED = "a fixed current trip tells the lowest fault from the peak load"
POWER = "full power at the end of the peak, cold and nearly empty"


def truck(tmp_path, connector=None, disconnect=None, **changes):
    own = {name: {"contact_resistance": value} for name, value in (
        ("Klo_500_wide", connector), ("Port_400", disconnect)) if value is not None}
    folder = tmp_path / f"{connector} {disconnect}"  # a study is kept by the name of its list
    folder.mkdir(exist_ok=True)
    return study("truck", parts__file=listed(folder, **own), **changes)


def check(found, title):
    return next(c for c in (*found.faults.checks, *(c for i in found.items for c in i.checks))
                if c.title == title)


def drop(found, key, name):
    item = next(i for i in found.items if i.key == key)
    part = next(c for c in item.candidates if c.name == name)
    return next(c for c in part.checks if c.title == DROP)


def test_a_bad_contact_lowers_the_lowest_fault_and_the_voltage_under_load(tmp_path):
    before, after = truck(tmp_path), truck(tmp_path, "4 mohm")
    more = 2 * (4.0 - 0.05) * 1e-3  # one contact in each lead
    for name in ("resistance_long", "resistance_sag", "path"):
        gap = getattr(after.pack, name).number - getattr(before.pack, name).number
        assert gap == pytest.approx(more)
    assert after.faults.lowest.number < before.faults.lowest.number
    for old, new in zip(before.circuit.places, after.circuit.places, strict=True):
        if old.key.startswith("chassis.second") and old.loop.lowest.known:
            assert new.loop.lowest.number < old.loop.lowest.number, old.title
    assert after.pack.loaded_voltage.number < before.pack.loaded_voltage.number
    assert check(before, FIXED).verdict == PASS and check(after, FIXED).verdict == FAIL


def test_a_worn_contact_lowers_no_highest_current(tmp_path):
    before, after = truck(tmp_path), truck(tmp_path, "4 mohm", "4 mohm")
    assert after.faults.highest.number == before.faults.highest.number
    assert after.pack.resistance_least.number == before.pack.resistance_least.number


def test_the_screened_row_counts_the_same_contacts(tmp_path):
    found = truck(tmp_path, "4 mohm", "2 mohm")
    brief, pack = found.brief, found.pack
    assert contacts(brief).number == pytest.approx((2 * 4.0 + 2.0) * 1e-3)
    row = screen_one(brief, asks_of(brief), pack.layout)
    assert row.columns["loaded_voltage"][0] == pytest.approx(pack.loaded_voltage.number)


@pytest.mark.parametrize(("connector", "disconnect"), [
    ("8 mohm", "20 mohm"), ("20 mohm", "20 mohm"), ("27 mohm", "4 mohm"), ("1 mohm", "50 mohm"),
    ("16 mohm", "9 mohm"), ("23 mohm", "0.2 mohm"), ("0.1 mohm", "47 mohm")])
def test_parts_that_pass_leave_the_voltage_together(tmp_path, connector, disconnect):
    """Each was held against the whole of it: two of 0.6 of what is to spare both passed."""
    found = truck(tmp_path, connector, disconnect)
    if not found.pack.loaded_voltage.known:
        return
    plug, switch = (drop(found, "connectors", "Klo 500 wide"),
                    drop(found, "disconnect", "Port 400"))
    enough = found.pack.loaded_voltage.number >= found.pack.demand_voltage.number
    assert (plug.verdict == switch.verdict == PASS) == enough
    assert check(found, POWER).verdict == (PASS if enough else FAIL)


def test_nobody_named_is_no_better_than_the_worst_of_the_other_part(tmp_path):
    unknown = drop(truck(tmp_path, parts__connector=None), "disconnect", "Port 400").demand.number
    worst = drop(truck(tmp_path, "23 mohm"), "disconnect", "Port 400").demand.number
    little = drop(truck(tmp_path, "0.01 mohm"), "disconnect", "Port 400").demand.number
    assert unknown == pytest.approx(worst) and unknown < little


@pytest.mark.parametrize("silent", [
    {"Klo_500_wide": {"contact_resistance": ""}}, {"Port_400": {"contact_resistance": ""}},
    {"Port_400": {"poles": ""}}])
def test_a_named_part_that_is_silent_passes_no_lowest_fault(tmp_path, silent):
    found = study("truck", parts__file=listed(tmp_path, **silent))
    assert found.faults.lowest.or_less and found.pack.loaded_voltage.may_be_less
    assert all(check(found, title).verdict == NOT_EVALUATED for title in (FIXED, POWER))
    name = next(iter(silent)).replace("_", " ")
    assert name in check(found, FIXED).reason


def test_a_disconnect_that_stands_and_that_nobody_named_passes_no_lowest_fault():
    assert not cables_open(study("truck").brief)
    found = study("truck", parts__disconnect=None)
    assert "parts.disconnect" in cables_open(found.brief)
    assert check(found, FIXED).verdict == NOT_EVALUATED


def test_the_request_sheets_ask_a_share_that_holds_for_both(tmp_path):
    """Both asked for the whole spare voltage."""
    found = truck(tmp_path)
    words = {i.key: " ".join(r.value for r in i.specification) for i in found.items}
    for key, name in (("disconnect", "Port 400"), ("connectors", "Klo 500 wide")):
        assert f"in all at most {drop(found, key, name).demand.shown} at" in words[key]
        assert "what other contacts leave to spare, at least half" in words[key]
