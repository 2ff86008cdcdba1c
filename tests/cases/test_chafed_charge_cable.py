"""A mid-pack leak and a chafed charge cable that no branch describes.

The invented truck with its charge cable made long; the arithmetic stands beside each figure.
"""

from __future__ import annotations

import tomllib

import pytest

from examples.regenerate import ROOT
from packcalc.places.chafed import undescribed_routes
from packcalc.places.slowest import route_loop
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data

pytestmark = pytest.mark.thorough

ROUTE, KEY = "charge inlet to battery", "chassis.second.route.charge inlet to battery"
LONG = {"cable": "Vire 16", "length": "10 m"}


def brief(*, branch=None, none=False, more=(), name="truck", **route):
    """An example whose charge cable and whose charger's branch are changed."""
    path = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    data["branch"] = [] if none else [
        {**one, **(branch or {})} if one["kind"] in ("charger", "fast-charge inlet") else one
        for one in data["branch"]]
    data["cables"]["route"][1].update(route)
    data["cables"]["route"] += [{**data["cables"]["route"][1], **one} for one in more]
    return brief_from_data(data, str(path))


def sized(layout=("16S1P", ""), **changes):
    return study_protection(brief(**changes), *layout)


def place(study, key=KEY):
    (found,) = [p for p in study.circuit.places if p.key == key]
    return found


def ohms(study, cable):
    """One module, what stands in a pole of the truck, contacts, the traction cables, the cable."""
    path, feeds = study.brief.path, study.circuit.feeds
    return (feeds.module.resistance_long.number + path.fuse_resistance.number
            + path.contactor_resistance.number + study.pack.contacts.number
            + study.pack.cable_allowance.number + cable)


def test_a_charge_cable_without_a_branch_is_a_place_of_the_second_chassis_fault():
    # 16 mm² hot, both ways: 31.13 mΩ; one conductor alone, 15.57 mΩ, gives more
    found = sized(none=True, **LONG)
    loop = next(r for r in found.routes if r.asked.name == ROUTE).loop_resistance
    assert loop.number == pytest.approx(31.13e-3, rel=1e-3)
    volts = found.circuit.feeds.module.voltage_empty.number
    assert place(found).lowest.number == pytest.approx(volts / ohms(found, loop.number))
    assert place(found).lowest.number < volts / ohms(found, loop.number / 2)
    keys = [d.key for d in place(found).loop.devices]
    assert keys == ["wire_contactor", "wire_cell_trip"]  # the main fuse stands in one pole


def test_the_lowest_fault_of_the_first_page_is_no_higher_than_that_place():
    found = sized(none=True, **LONG)
    assert found.faults.lowest.number == place(found).lowest.number
    assert place(found).title in found.faults.lowest.note


def test_one_cell_between_the_faults_is_counted_with_that_cable():
    found = place(sized(none=True, **LONG), "chassis.second.inside_module_branch")
    assert "charge cable" in found.title and ROUTE in found.rivals[0].loop.rival.name
    assert found.lowest.number < 100.0


@pytest.mark.parametrize(("changes", "held"), [
    ({}, ()),                                               # the branch is as long and as thick
    ({"branch": {"length": "2.4 m"}}, (ROUTE,)),            # its tap alone is described
    ({"branch": {"section": "35 mm²"}}, (ROUTE,)),          # of more copper than the cable
    ({"branch": {"length": "unknown"}}, (ROUTE,)),          # nobody says that it is as long
    ({"branch": {"length": "3 m", "section": "16 mm²"}}, ()),
    ({"cable": ""}, (ROUTE,)),                              # one that nobody named may be thinner
    ({"none": True}, (ROUTE,)),
    ({"more": ({"name": "second inlet"},)}, ("second inlet",)),  # one branch, two cables
    ({"name": "minibus"}, ()),
])
def test_a_branch_stands_for_a_cable_that_it_describes_in_full(changes, held):
    assert tuple(r.name for r in undescribed_routes(brief(**changes))) == held


def test_the_fuse_of_one_charge_cable_is_not_counted_at_the_inlet_of_another():
    found = sized(more=({"name": "second inlet"},))
    first, second = (place(found, f"inlet.{name}") for name in (ROUTE, "second inlet"))
    assert "branch_fuse.charge cable" in {d.key for d in first.loop.devices}
    assert {d.key for d in second.loop.devices} == {"main_fuse", "contactors"}


def test_the_fuse_of_a_branch_that_describes_a_part_takes_current_and_ends_nothing():
    bare, part = (place(sized(none=none, **LONG)) for none in (True, False))
    assert part.lowest.number < bare.lowest.number
    assert not any(d.key.startswith("branch_fuse") for d in part.loop.devices)


def test_a_cable_that_nobody_named_is_the_same_on_the_first_page_and_in_its_place():
    found = sized(none=True, cable="", length="10 m")
    assert found.faults.lowest.number == pytest.approx(place(found).lowest.number)


def test_a_named_cable_that_no_section_of_the_table_stands_for_counts_with_its_own_copper():
    # IEC 60228, class 5, tinned: 13.7 mΩ/m at 1.5 mm² and 20 °C, 20.55 mΩ/m of 1 mm²; at 90 °C by
    # (234.5 + 90)/(234.5 + 20) = 1.275; 2 × 10 m of 2.5 mm²: 209.6 mΩ
    small = brief(cable="Vire 2.5", length="10 m")
    route, other = small.cables.route[1], sized(none=True, **LONG)
    assert route_loop(small, route, ()).number == pytest.approx(209.6e-3, rel=1e-3)
    # a larger one of the table was chosen: it is not the one in the vehicle
    assert route_loop(small, route, other.routes).number == pytest.approx(209.6e-3, rel=1e-3)


def test_parallel_strings_hold_that_cable_too():
    found = sized(("12S2P", "strings"), name="minibus", none=True, length="9 m")
    (at,) = [p for p in found.circuit.places if p.key.startswith("chassis.second.route.")]
    assert at.lowest.known and found.faults.lowest.number <= at.lowest.number
