"""Fault places read once more: a leak inside a module, a plugged station on the bus, a fuse that is
not shown to break, the pole's own resistance, a monitor that warns, a wire that melts first.

Every figure is that of the invented examples, with its arithmetic beside it; "nobody" and "not
shown" are packcalc's own words.
"""

from __future__ import annotations

import csv
import math

import numpy as np
import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED
from packcalc.curves import Curve
from packcalc.findings import leaf
from packcalc.part_checks.unbroken import Unbroken
from packcalc.places.shared import STATION, STATION_OPEN
from packcalc.protect import places as pl
from packcalc.report.places_report import headline
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

INSIDE, FUSED = "chassis.second.inside_module", "chassis.second.fused_pole"
CHARGER = "branch.charger.after"
# Rows like that of an invented 80 A fuse, each with one thing wrong.
ROWS = {"weak": {"breaking_capacity": "1000 A", "cut_off_current": ""},
        "blank": {"breaking_capacity": ""}, "open voltage": {"rated_voltage_dc": ""},
        "32 V": {"rated_voltage_dc": "32 V"},
        "open class": {"class": "", "lowest_breaking_current": ""}, "good": {}}


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


@pytest.fixture(scope="module")
def parts(tmp_path_factory):
    """The invented list with a row more for each of `ROWS`."""
    rows = (ROOT / "examples/parts.csv").read_text("utf-8").splitlines(keepends=True)
    head = next(i for i, line in enumerate(rows) if line.startswith("kind,"))
    names = next(csv.reader([rows[head]]))
    like = next(r for r in csv.DictReader(rows[head:]) if r["name"] == "Talvik 80 branch")
    path = tmp_path_factory.mktemp("parts") / "parts.csv"
    with path.open("w", encoding="utf-8", newline="") as out:
        out.writelines(rows)
        writer = csv.DictWriter(out, names)
        for name, changed in ROWS.items():
            writer.writerow({**like, **changed, "name": f"Talvik {name}"})
    return str(path)


def with_fuse(parts, name):
    return study("van", parts__file=parts, branch={
        "charger": {"fuse_part": f"Talvik {name}", "fuse_rating": "80 A"}})


# -- a leak inside a module ---------------------------------------------------------------------


def back_of(found, fuses=1):
    """Traction cables, fuses and contactor of one pole."""
    path = found.brief.path
    contacts = found.pack.contacts.number if found.pack.contacts is not None else 0.0
    return (found.pack.cable_allowance.number + contacts + path.fuse_resistance.number * fuses
            + path.contactor_resistance.number)


def test_one_cell_of_a_module_is_the_least_that_a_second_chassis_fault_has():
    van = study("van")
    cell, at = van.circuit.feeds.cell, place(van, INSIDE)
    # 5S4P of 8 cells: three modules beside it, through the other seven of its own: one cell's
    # voltage round 8·r/3 + 7·r
    r = cell.resistance_long.number
    beside = 1.0 / (1.0 / r + 1.0 / (8.0 * r / 3.0 + 7.0 * r))
    assert at.lowest.number == pytest.approx(
        cell.voltage_empty.number / (beside + back_of(van)))
    assert at.lowest.number < 0.3 * place(van, FUSED).lowest.number
    assert at.highest.number == pytest.approx(place(van, FUSED).highest.number)


def test_in_a_string_no_module_stands_beside_it():
    minibus = study("minibus")
    cell, at = minibus.circuit.feeds.cell, place(minibus, INSIDE)
    # the string's fuse and cables stand in it as well
    assert at.lowest.number < cell.voltage_empty.number / (
        cell.resistance_long.number + back_of(minibus))


def test_the_cells_trip_sees_it_while_one_cell_is_driven_down():
    van = study("van")
    at = place(van, INSIDE)
    assert at.at_lowest.clears and "on the lowest cell" in at.at_lowest.device
    # one cell keeps I·R of the conductors: from 2.5 V over these on it is above its level
    blind = 2.5 / back_of(van)
    assert at.between.clears is None and at.between.span.startswith(f"from {blind:.1f} A")


def test_without_the_cells_trip_nobody_is_shown_and_the_first_screen_counts_it():
    found = study("van", management__undervoltage_trip="unknown")
    at = place(found, INSIDE)
    assert not at.at_lowest.clears and not at.shown
    assert not any(c.verdict == FAIL for c in at.checks)  # the answer is a monitor and insulation
    assert pl.ACTS in at.remedies and "undervoltage trip" in "; ".join(at.remedies)
    assert f"of {len(found.circuit.places)} places" in headline(found.circuit.places)


def test_the_main_fuse_stays_sized_by_whole_modules():
    for name in ("van", "truck", "minibus"):
        found = study(name)
        at = place(found, INSIDE)
        assert found.faults.lowest.number > at.lowest.number
        assert found.coordination.asked.fault_lowest.number > at.lowest.number
        assert any("stays with whole modules" in note for note in at.loop.notes)


# -- a plugged station --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def plugged():
    return study("minibus", station__capacitance="2 mF", motor__back_voltage="0 V")


def surge(found, metres):
    """U·√(C/L) of 2 mF, 0.5 µH for each metre."""
    return found.pack.highest_voltage.number * math.sqrt(2e-3 / (0.5e-6 * metres))


def of_station(loop):
    return next(s.current.number for s in loop.sources if s.name == STATION)


def test_a_plugged_station_feeds_every_place_on_the_bus(plugged):
    # half a metre of its own cable, and 4 m of the vehicle's
    through = surge(plugged, 4.5)
    bare = study("minibus", station__capacitance="0 mF", motor__back_voltage="0 V")
    for key in ("terminals", "box", "cable.roof box to rear inverter", FUSED,
                "branch.DC/DC converter.after", "branch.fast-charge inlet.before", "string"):
        found = place(plugged, key)
        assert of_station(found.loop) == pytest.approx(through)
        assert found.highest.number == pytest.approx(place(bare, key).highest.number + through)
    item = next(i for i in plugged.items if i.key == "branch.DC/DC converter")
    held = next(c for c in item.checks if c.title.startswith("Fuse: breaking capacity"))
    assert held.verdict == FAIL  # 50 000 A against more than 60 000 A


def test_at_the_inlet_the_station_s_own_cable_alone_lies_between(plugged):
    for key in ("inlet.charge inlet to roof box", "branch.fast-charge inlet.after"):
        assert of_station(place(plugged, key).loop) == pytest.approx(surge(plugged, 0.5))


def test_it_comes_back_through_the_main_fuse(plugged):
    bare = study("minibus", station__capacitance="0 mF", motor__back_voltage="0 V")
    (back,), (less,) = (place(f, "box").loop.backward for f in (plugged, bare))
    assert back.sees.number == pytest.approx(less.sees.number + surge(plugged, 4.5))


def test_a_station_of_unknown_capacitors_is_named_wherever_it_feeds():
    minibus = study("minibus")
    for key in ("terminals", "box", "branch.DC/DC converter.after", FUSED):
        assert STATION_OPEN in place(minibus, key).loop.notes
    assert not any(s.name == STATION for p in study("van").circuit.places
                   for s in p.loop.sources)


# -- a fuse that is not shown to break ----------------------------------------------------------


@pytest.mark.parametrize(("name", "clears", "why"), [
    ("weak", False, "1000 A"), ("32 V", False, "32.00 V is not above"),
    ("blank", None, "breaking capacity"), ("open voltage", None, "rated DC voltage"),
    ("open class", None, "class letters")])
def test_no_slower_device_is_credited_behind_a_fuse_that_is_not_shown_to_break(
        parts, name, clears, why):
    found = with_fuse(parts, name)
    for key in (CHARGER, "inlet"):
        at = place(found, key)
        assert (at.at_highest.clears, at.at_lowest.clears) == (clears, clears)
        assert why in at.at_highest.why and "fuse of charger" in at.at_highest.why
        assert not at.shown and at.nobody is (clears is False)


def test_a_fuse_that_is_shown_to_break_clears_it_as_before(parts):
    at = place(with_fuse(parts, "good"), CHARGER)
    assert at.shown and at.at_highest.device == "fuse of charger"


def test_a_salvaged_fuse_without_a_sheet_is_no_better_than_one_with_half_a_sheet():
    at = place(study("van"), CHARGER)
    assert at.at_highest.clears is None and at.at_highest.device == "fuse of charger"


@pytest.mark.parametrize(("name", "verdict"), [
    ("32 V", FAIL), ("weak", FAIL), ("blank", NOT_EVALUATED), ("open voltage", NOT_EVALUATED)])
def test_a_fuse_that_does_not_break_does_not_open_without_the_upper_one(parts, name, verdict):
    found = with_fuse(parts, name)
    one = next(c for _, c in found.checks
               if c.title == f"Talvik {name} opens without Talvik 315 full range")
    assert one.verdict == verdict


def test_where_it_does_not_melt_first_the_other_device_counts():
    curve = Curve((100.0, 1000.0), (10.0, 0.001))
    blank = Unbroken(open="ask", melting=curve, rated=50.0)
    # log-log between (100 A, 10 s) and (1000 A, 1 ms): four decades of time in one of current
    assert blank.melts(np.array([50.0, 60.0, math.sqrt(1e5), 1001.0])) == pytest.approx(
        [np.inf, 10.0, 0.1, 0.0])
    partial = Unbroken(low=500.0, high=2000.0, melting=curve)
    assert np.isinf(partial.melts(np.array([500.0, 2000.0]))).all()
    assert np.isfinite(partial.melts(np.array([499.0, 2001.0]))).all()
    assert "lowest breaking current" in partial.why(499.0) and "burst" in partial.why(2001.0)
    assert blank.melts(300.0) == blank.melts(np.array([300.0]))[0]


@pytest.mark.parametrize(("melts", "clears"), [(0.3, True), (0.1, None)])
def test_an_end_is_cleared_where_the_device_is_quicker_than_the_fuse_melts(melts, clears):
    amps = leaf("current", "I", "A", 500.0, "given")
    time = leaf("time", "t", "s", 0.2, "given")
    devices = (pl.Device("branch_fuse.x", "fuse of x", pl.FUSE),
               pl.Device("contactors", "contactors", pl.CONTACTOR))
    told = pl.who_clears(
        "lowest", amps, devices,
        lambda d, _: (True, time, "trip") if d.kind == pl.CONTACTOR else (None, None, "no sheet"),
        lambda d, _, by: (False, "is not shown to break it") if melts < by.number else None)
    assert told.clears is clears


# -- the pole's own resistance, and a monitor that warns ------------------------------------------


@pytest.mark.parametrize(("name", "fuses"), [("van", 1), ("truck", 2)])
def test_fuse_and_contactor_of_the_chafed_pole_stand_in_the_lowest_current(name, fuses):
    """The truck's second fuse, in the middle, was left out: the current came out too high."""
    found = study(name)
    module = found.circuit.feeds.module
    assert place(found, FUSED).lowest.number == pytest.approx(module.voltage_empty.number / (
        module.resistance_long.number + back_of(found, fuses)))


def test_in_the_pole_without_a_fuse_the_contactor_alone_stands():
    truck = study("truck")
    module = truck.circuit.feeds.module
    assert place(truck, "chassis.second.own_side").lowest.number == pytest.approx(
        module.voltage_empty.number / (module.resistance_long.number + back_of(truck, fuses=0)))


@pytest.mark.parametrize(("word", "verdict"), [("opens the contactors", CAUTION), ("warns", FAIL)])
def test_a_warning_alone_opens_nothing(word, verdict):
    at = place(study("truck", path__insulation_monitor=word), "chassis.second.own_side")
    assert at.nobody and {c.verdict for c in at.checks if c.figure is pl.NONE_CLEARS} == {verdict}


# -- a wire that does not survive -----------------------------------------------------------------


def test_a_wire_that_melts_before_the_contactors_open_is_not_cleared():
    bare = {"battery heater": {"fuse_part": "", "fuse_rating": "none",
                               "taps": "behind the contactors"}}
    found = study("truck", branch=bare)
    at = place(found, "branch.battery heater.after")
    stands = at.loop.own_wire.number
    assert at.at_lowest.clears and at.at_lowest.current.number ** 2 * 0.16 < stands
    # from 1.35 kA on 0.152 s of the contactors pass more than its 276 100 A²s
    begins = float(at.between.span.split(" ")[1])
    assert begins == pytest.approx(math.sqrt(stands / 0.152), rel=0.01)
    assert at.nobody and "does not survive" in at.between.why and "276100 A²s" in at.between.why
    assert any(c.verdict == FAIL for c in at.checks)
