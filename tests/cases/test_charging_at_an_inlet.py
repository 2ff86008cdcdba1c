"""What the branch of a charger or an inlet says of the charging current counts everywhere.

The invented truck: 11 kW of charger and 326.9 V at rest at the lowest charge, 33.65 A. Its branch
charges; no station stands in its brief.
"""

from __future__ import annotations

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED
from packcalc.layouts import asks_of
from packcalc.loads import charging_current_said, charging_power
from packcalc.protect.states import charge_circuit_current
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

CABLE = "charge cable"


def inlet(**entries):
    return study("truck", branch={CABLE: {"kind": "fast-charge inlet", **entries}})


@pytest.fixture(scope="module")
def fast():
    return inlet(current="250 A")


def test_the_pack_is_charged_with_what_its_inlet_says(fast):
    assert fast.pack.charging_current.number == 250.0
    assert charge_circuit_current(fast.brief, fast.pack).number == 250.0
    assert asks_of(fast.brief).station == 250.0


def test_it_counts_in_cells_fuse_contactors_disconnect_and_limits(fast):
    (failed,) = [f for f in fast.miss.failures if f.check == "charging_current"]
    assert "250 A of each module when charging" in failed.fails
    assert fast.coordination.asked.continuous_load.number == 250.0
    items = {i.key: i for i in fast.items}
    for key, what in (("contactors", "Continuous current to carry"),
                      ("contactors", "largest current that a trip must break, charging"),
                      ("disconnect", "continuous current of the main path"),
                      ("cable.battery to inverter", "steady current of the busier run"),
                      ("charge_contactor", "current of the charge circuit")):
        assert next(d for d in items[key].duty if d.title.startswith(what)
                    and "discharging" not in d.title).number == 250.0, key
    # 188.3 A of continuous load alone is carried by the same fuse
    fuse = next(p for p in items["main_fuse"].own_parts if p.name == "Talvik 400 full range")
    assert next(c for c in fuse.checks if c.title == "Carries the continuous load").verdict == FAIL
    limit = next(x for x in fast.circuit.management.limits
                 if x.quantity == "charging current, charger")
    assert limit.warn.number == 250.0
    # 250 A and 25 A of the sensor's error lie above the cells' best limit: no setting serves both
    assert limit.trip is None and "at least 275" in limit.unsettled


def test_it_counts_in_a_string_and_its_parts():
    # 48 A of a station beside it: the larger counts; one of two strings may be alone in
    found = study("minibus", branch={"fast-charge inlet": {"current": "250 A"}})
    assert found.pack.charging_current.number == 250.0
    strings = next(i for i in found.items if i.key == "strings")
    assert next(d for d in strings.duty if d.title.startswith("charging current of a string")
                ).number >= 125.0


def test_a_smaller_entry_leaves_the_charger_s_own_current():
    assert study("truck").pack.charging_current.number == pytest.approx(33.64, abs=0.005)


def test_a_branch_that_says_power_is_counted_at_the_lowest_charge():
    plain, strong = study("truck"), inlet(current="unknown", power="44 kW")
    # four times 11 kW at the same voltage
    assert strong.pack.charging_current.number == pytest.approx(
        4.0 * plain.pack.charging_current.number)
    assert charging_power(strong.brief).number == 44e3
    assert charging_current_said(strong.brief) is None


def test_a_load_of_another_kind_charges_nothing():
    load = study("truck", branch={CABLE: {"kind": "other", "current": "250 A"}})
    assert load.pack.charging_current.number == pytest.approx(33.64, abs=0.005)


def test_beside_an_inlet_the_charger_still_counts_as_behind_the_charge_contactor():
    # its 250 A link leaves up to 1541 A to the trip (see test_charge_opening); the part breaks 15 A
    found = study("truck", parts__charge_contactor="Lyng 20 pre-charge", branch={
        CABLE: {"fuse_part": "Talvik 250 full range", "fuse_rating": "250 A", "section": "95 mm²"},
        "battery heater": {"kind": "fast-charge inlet"}})
    place = next(p for p in found.circuit.places if p.key == f"branch.{CABLE}.after")
    assert place.nobody and any(c.verdict == FAIL for c in place.checks)
    items = {i.key: i for i in found.items}
    step = "Healthy fuse passes the closing step at every charge"
    assert step in [c.title for c in items[f"branch.{CABLE}"].checks]
    # of two branches nobody said which one it closes onto first
    (part,) = items["charge_contactor"].candidates
    assert next(c for c in part.checks if c.title.startswith("makes the step")
                ).verdict == NOT_EVALUATED
