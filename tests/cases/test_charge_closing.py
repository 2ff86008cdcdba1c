"""Designed corners of the step when a charge contactor closes; all data invented.

The truck's charger holds 0.02 mF, 20 % more at its tolerance; its wires are 2.5 m of 25 mm², out
and back: 2·2.5·17.24/25 = 3.448 mΩ and, touching, 2.5·0.5 = 1.25 µH. The peak of the damped series
circuit is that of `closing_peak`, checked against print and a SPICE engine in its own tests.
"""

from __future__ import annotations

import math

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from tests.briefs import asked
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

TITLE = "makes the step when it closes onto the charger's capacitors"
CABLE = "charge cable"


def held(branch=None, **changes):
    found = study("truck", branch={CABLE: branch or {}}, **changes)
    item = next(i for i in found.items if i.key == "charge_contactor")
    return item, next(c for c in item.candidates[0].checks if c.title == TITLE)


def peak(difference, resistance=3.448e-3, inductance=1.25e-6, capacitance=24e-6):
    """By the ringing solution of the series circuit, a textbook's."""
    alpha = resistance / (2 * inductance)
    omega = math.sqrt(1 / (inductance * capacitance) - alpha ** 2)
    at = math.atan2(omega, alpha) / omega
    return difference / (omega * inductance) * math.exp(-alpha * at) * math.sin(omega * at)


@pytest.mark.parametrize(("difference", "verdict"), [
    ("15 V", PASS), ("101 V", PASS), ("102 V", FAIL), ("0 V", PASS)])
def test_the_stated_difference_against_what_the_contactor_makes(difference, verdict):
    # Lyng 200 makes 440 A: 440/4.3305 A/V = 101.6 V
    item, check = held(path__charge_difference=difference)
    assert check.verdict == verdict and check.figure.number == 440.0
    assert check.demand.number == pytest.approx(peak(float(difference.split()[0])), rel=1e-4)
    line = next(r for r in item.specification if r.what == "makes")
    assert "across the open contact" in line.why and check.demand in item.duty


def test_an_empty_charger_is_counted_where_nobody_said_and_fails_nothing():
    item, check = held()
    full = next(f for f in item.duty if f.title == "highest working voltage").number
    assert check.verdict == NOT_EVALUATED
    assert check.demand.number == pytest.approx(peak(full), rel=1e-4)
    assert "say path.charge_difference" in check.reason


@pytest.mark.parametrize(("entry", "value"), [
    ("capacitance", "unknown"), ("section", "unknown")])
def test_what_is_missing_is_asked_for_by_name(entry, value):
    item, check = held({entry: value}, path__charge_difference="15 V")
    assert check.verdict == NOT_EVALUATED
    assert f"branch.{entry}" in check.reason and CABLE in check.reason
    assert f"branch.{entry}" in next(r.value for r in item.specification if r.what == "makes")


def test_an_open_length_is_counted_short():
    # half a metre, as wherever the link's capacitors feed: less in the way errs high
    _, check = held({"length": "unknown"}, path__charge_difference="15 V")
    assert check.demand.number == pytest.approx(
        peak(15.0, 2 * 0.5 * 17.24e-3 / 25, 0.25e-6), rel=1e-4)


def test_a_station_s_capacitors_are_in_no_entry():
    inlet = {"kind": "fast-charge inlet", "capacitance": "0 mF"}
    _, check = held(inlet)
    assert check.verdict == NOT_EVALUATED and "path.charge_difference" in check.reason
    # with the difference: no current exceeds ΔU/R, whatever the station holds: 1.5/3.448 mΩ
    _, near = held(inlet, path__charge_difference="1.5 V")
    assert near.demand.number == pytest.approx(1.5 / 3.448e-3, rel=1e-4) and near.verdict == PASS


INLET = "fast-charge inlet"


@pytest.mark.parametrize(("own", "station", "verdict", "sum_"), [
    ("1 mF", "0 mF", NOT_EVALUATED, 1e-3), ("0.4 mF", "0.6 mF", NOT_EVALUATED, 1e-3),
    ("0 mF", "0 mF", PASS, 0.0), ("unknown", "0 mF", NOT_EVALUATED, None),
    ("1 mF", "unknown", NOT_EVALUATED, None)])
def test_an_inlet_s_own_capacitance_and_the_station_s_are_both_filled(own, station, verdict, sum_):
    found = study("minibus", branch={INLET: {"capacitance": own}}, station__capacitance=station)
    items = {i.key: i for i in found.items}
    full = found.pack.highest_voltage.number
    # 4 m of 50 mm² out and back, 2·4·17.24/50 = 2.758 mΩ; 10 % more at the tolerance
    check = next(c for c in items[f"branch.{INLET}"].checks
                 if c.title == "Healthy fuse passes the closing step at every charge")
    assert check.verdict == verdict
    line = next(r for r in items["charge_contactor"].specification if r.what == "makes")
    if sum_ is None:
        open_ = "branch.capacitance" if own == "unknown" else "station.capacitance"
        assert open_ in line.value and not check.demand.known
        return
    integral = 0.5 * 1.1 * sum_ * full ** 2 / 2.758e-3
    step = next(f for f in check.demand.walk() if f.title == "I²t of the step at every charge")
    assert step.number == pytest.approx(integral, rel=1e-3)
    assert (line.value == "0 A") == (sum_ == 0.0)


def test_the_entry_is_open_only_where_there_is_such_a_contactor():
    name = "path.charge_difference"
    assert not asked(path__charge_contactor="none").left_open(name)
    assert asked(path__charge_contactor="both poles").left_open(name)
    assert not asked().left_open(name)


def test_without_a_single_branch_that_charges_one_is_asked_for():
    found = study("truck", without="charger")
    item = next(i for i in found.items if i.key == "charge_contactor")
    check = next(c for c in item.candidates[0].checks if c.title == TITLE)
    assert check.verdict == NOT_EVALUATED and "[[branch]] that charges" in check.reason
