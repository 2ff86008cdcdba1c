"""The lowest fault of all loops that the main path must open, and a wire that nobody ends.

Every brief is an invented example with entries changed, its arithmetic beside it.
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, FAIL
from packcalc.protection import ProtectionStudy
from tests.cases.studies import study

EVERY = "every fault current from pole to pole is opened, fuse and contactor overlapping"
BARE = "chassis.second.branch.{}"
WIRE = 20.55e-3 * (234.5 + 105) / (234.5 + 20)  # Ω·mm²/m at 105 °C, class 5 of IEC 60228


@pytest.fixture(scope="module")
def ahead() -> ProtectionStudy:
    """The truck's heater, tapped ahead of the contactors, with a fuse in one pole."""
    return study("truck", branch={"battery heater": {"fused_poles": "one"}},
                 path__main_fuse="one pole")


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def opened(found):
    return next(c for c in found.coordination.item.checks if c.title == EVERY)


def test_a_wire_that_no_device_ends_fails_whatever_the_monitor_opens(ahead):
    at = place(ahead, BARE.format("battery heater"))
    assert at.loop.devices == () and at.at_lowest.words == at.at_highest.words == "nobody"
    # the contactors stand behind its tap: opening them ends nothing, a fuse in either pole does
    assert {c.verdict for c in at.checks} == {FAIL} and ahead.failing
    told = at.checks[0].remedy
    assert told.startswith("a fuse in the other pole of the branch") and "trip" not in told
    both = study("truck", branch={"battery heater": {"fused_poles": "both"}},
                 path__main_fuse="one pole")
    assert FAIL not in {c.verdict for c in place(both, at.key).checks} and not both.failing


def test_the_path_does_not_pass_while_a_fault_place_fails(ahead):
    one = opened(ahead)
    bare = place(ahead, BARE.format("battery heater")).title
    assert one.verdict == CAUTION and bare in one.reason
    # of the truck as shipped other places are left, where covers are the usual answer
    shipped = opened(study("truck"))
    assert shipped.verdict == CAUTION and bare not in shipped.reason
    # among them a leak in a module and the chafed wires that leave behind the contactors
    assert one.figure.number == 7


def test_the_lowest_fault_counts_a_chafed_wire_of_the_pole_without_the_main_fuse():
    found = study("minibus", branch={"floor heater": {"fused_poles": "one"}})
    at = place(found, BARE.format("floor heater"))
    keys = {d.key for d in at.loop.devices}
    assert "wire_contactor" in keys and "main_fuse" not in keys
    # both wires of 5 m, 6 mm²: 45.7 mΩ more than at a chafed traction cable, 537.2 A
    assert 2 * 5 * WIRE / 6 == pytest.approx(45.7e-3, rel=1e-3)
    lowest = found.faults.lowest
    assert lowest.number == at.lowest.number == pytest.approx(389.9, abs=0.05)
    assert lowest.number < place(found, "chassis.second.fused_pole").lowest.number
    assert "chafed wire of floor heater" in lowest.note
    assert found.coordination.asked.fault_lowest.number == lowest.number


def test_the_cells_trip_is_held_against_that_wire_and_a_pole_by_its_own_loop():
    thin = {"length": "16 m", "section": "4 mm²", "fuse_rating": "none", "fuse_part": "",
            "taps": "behind the contactors"}
    found = study("truck", branch={"battery heater": thin}, path__main_fuse="one pole",
                  management__trip_current="unknown")
    at = place(found, BARE.format("battery heater"))
    drop = next(d.drop for d in at.loop.devices if d.key == "wire_cell_trip")
    assert found.faults.lowest.number == at.lowest.number
    assert found.coordination.asked.fault_voltage.number == pytest.approx(
        at.lowest.number * drop.number)
    # the short loop of a chafed traction cable keeps far less on its cells: seen as before
    assert at.lowest.number * drop.number > 2.7
    assert place(found, "chassis.second.fused_pole").at_lowest.clears
    seen = next(c for c in found.coordination.item.checks
                if c.title == "the undervoltage trip sees the lowest fault")
    assert seen.verdict == FAIL and opened(found).verdict == FAIL
