"""The cells' undervoltage trip of one path: blind between two borders, and seen again.

Level 2.5 V a cell, 1 mΩ outside the modules for each cell: from 2500 A on the conductors may keep
the cells above it. By their own resistance alone the cells fall below it from a second border on,
whatever lies outside. All parts and figures are invented.
"""

from __future__ import annotations

import numpy as np
import pytest

from packcalc.part_checks.sweep import BY_CONTACTOR, NOBODY, UNDERVOLTAGE, Trips
from packcalc.part_checks.trip_checks import one_pole_sweep, undervoltage_span
from packcalc.protect.coordination import sweep_pair
from tests.cases.studies import study
from tests.cases.test_coordination_cases import asked, at, contactor, f

TRIP = Trips(undervoltage=f("level", "V", 2.5), undervoltage_delay=f("delay", "s", 0.1))
STRONG = contactor(break_discharge="30 kA", break_charge="30 kA",
                   short_time='"0.01 s: 90000 A; 1 s: 60000 A"')


def path(falls: float | None, **changes):
    return asked(**{"fuse": None, "contactor": STRONG, "trips": TRIP,
                    "loaded_voltage": f("loaded", "V", 3.0), "fault_voltage": f("left", "V", 0.7),
                    "fault_drop": f("outside", "mΩ", 1e-3),
                    "fault_falls": None if falls is None else f("falls", "A", falls)} | changes)


@pytest.mark.parametrize(("falls", "current", "device"), [
    (4000.0, 2499.0, BY_CONTACTOR), (4000.0, 2501.0, NOBODY), (4000.0, 3999.0, NOBODY),
    (4000.0, 4000.0, BY_CONTACTOR), (4000.0, 19000.0, BY_CONTACTOR),
    (None, 19000.0, NOBODY),             # no second border known: blind to the end
    (2400.0, 2501.0, BY_CONTACTOR),      # the cells fall before any wire could blind the trip
    (2500.0, 2500.0, BY_CONTACTOR)])     # both borders alike: no gap between them
def test_blind_only_between_the_borders(falls, current, device):
    swept = sweep_pair(path(falls))
    index = int(np.argmin(np.abs(np.log(swept.current / current))))
    assert swept.current[index] == pytest.approx(current, rel=0.01)
    assert int(swept.device[index]) == device


def test_each_border_bends_the_sweep():
    current = sweep_pair(path(4000.0)).current
    for border in (2500.0, 4000.0):
        assert np.any(np.isclose(current, border, rtol=1e-12))


@pytest.mark.parametrize(("falls", "device"), [(None, NOBODY), (4000.0, BY_CONTACTOR),
                                               (12000.0, NOBODY)])
def test_one_pole_has_its_own_border(falls, device):
    # 2 mΩ a cell: blind from 1250 A; at 10 kA seen again where its own border lies below
    one = path(4000.0, one_pole_lowest=f("one pole", "A", 800.0),
               one_pole_drop=f("one pole outside", "mΩ", 2e-3),
               one_pole_falls=None if falls is None else f("falls", "A", falls))
    swept = one_pole_sweep(one, sweep_pair(one))
    assert at(swept, 1000.0) == BY_CONTACTOR
    assert at(swept, 2000.0) == NOBODY
    assert at(swept, 10000.0) == device


def test_a_trip_blind_from_the_start_still_opens_too_soon():
    """The wires may be shorter than is counted: a weak contactor is torn open at its trip."""
    blind = path(None, fault_drop=f("outside", "mΩ", 4e-3), fault_voltage=f("left", "V", 2.8),
                 path_lowest=f("pole to pole", "A", 700.0))
    assert undervoltage_span(blind) == (700.0, 700.0)  # 2.5 V/4 mΩ = 625 A lies below
    side = sweep_pair(blind).contactor
    assert not any(line.name == UNDERVOLTAGE for line in side.lines)
    assert np.isnan(side.times(np.array([2000.0])))[0]
    assert side.earliest(np.array([2000.0]))[0] == pytest.approx(0.12)  # 0.1 s and 20 ms to open


@pytest.mark.parametrize(("name", "one_pole"), [("truck", True), ("minibus", False)])
def test_the_borders_are_those_of_the_fault_places(name, one_pole):
    found = study(name, management__undervoltage_trip="2.5 V")
    held = found.coordination.asked
    borders = {d.falls.number for p in found.circuit.places for d in p.loop.devices
               if d.key == "contactors" and d.falls is not None}
    assert {held.fault_falls.number} == borders
    assert (held.one_pole_falls is not None) == one_pole
