"""Main contactors: closing step, breaking in both directions, what is asked.

The three damping cases are checked against print in
tests/published/test_engineering_circuit_analysis_1993.py and against ngspice in
tests/oracle/test_spice.py.
"""

import dataclasses
import math

import numpy as np
import pytest

from packcalc.errors import OutOfRange
from packcalc.findings import leaf
from packcalc.protect.contactor import (
    NOTES,
    ContactorAsked,
    closing_peak,
    closing_step,
    preferred_sizes,
    ringing_bound,
    size_contactors,
)

VALUES = {
    "highest_voltage": ("V", 430.0), "continuous_current": ("A", 200.0),
    "peak_current": ("A", 350.0), "peak_duration": ("s", 30.0), "charge_current": ("A", 80.0),
    "regeneration_current": ("A", 150.0), "fault_highest": ("A", 6000.0),
    "fuse_let_through": ("A²s", None), "break_discharge": ("A", 700.0),
    "break_charge": ("A", 150.0), "closing_voltage_difference": ("V", 20.0),
    "loop_resistance": ("mΩ", 0.06), "loop_inductance": ("µH", 5e-6),
    "capacitance": ("mF", 1e-3), "box_ambient": ("°C", 323.15),
}


def asked(poles=2, breaking_inductance=None, **changes):
    values = {key: leaf(key.replace("_", " "), "x", unit, changes.get(key, value), "given")
              for key, (unit, value) in VALUES.items()}
    henry = breaking_inductance and leaf("largest inductance", "L", "µH", breaking_inductance,
                                         "given")
    return ContactorAsked(poles=poles, breaking_inductance=henry, **values)


def check(item, words):
    found = [c for c in item.checks if words in c.title]
    assert len(found) == 1
    return found[0]


def part(item, name, words):
    one = next(c for c in item.candidates if c.name == name)
    found = [c for c in one.checks if words in c.title]
    assert len(found) == 1
    return found[0]


# --- closing step -----------------------------------------------------------------------------


def test_closing_step_keeps_its_chain_and_lies_below_its_bound():
    step = closing_step(asked())
    assert step.peak.number == pytest.approx(166.3712, rel=1e-6)  # ngspice 39: 166.3712 A
    assert step.bound.number == pytest.approx(20.0 * math.sqrt(1e-3 / 5e-6))  # under 333.3 A
    assert step.peak.number < step.bound.number
    assert step.damping.number < 1
    assert {f.title for f in step.peak.leaves()} >= {"loop resistance", "loop inductance"}


@pytest.mark.parametrize("ratio", [1e-9, 0.5, 0.999, 1.0, 1.001, 3.0, 1e4])
def test_peak_lies_under_both_bounds_and_on_the_current(ratio):
    inductance, capacitance = 5e-6, 1e-3
    ohms = 2 * ratio * math.sqrt(inductance / capacitance)
    peak = closing_peak(20.0, ohms, inductance, capacitance)
    assert peak <= 20.0 / ohms * (1 + 1e-12)
    assert peak <= ringing_bound(20.0, inductance, capacitance) * (1 + 1e-12)
    state = np.array([[-ohms / inductance, -1 / inductance], [1 / capacitance, 0.0]])
    if 0.1 < ratio < 10:
        values, vectors = np.linalg.eig(state + np.diag([1e-9, 0.0]))
        start = np.linalg.solve(vectors, np.array([0.0, -20.0], dtype=complex))
        times = np.linspace(0.0, 12 / np.abs(values).min(), 400_001)
        current = (vectors[0] * start) @ np.exp(np.outer(values, times))
        assert peak == pytest.approx(float(current.real.max()), rel=1e-5)


@pytest.mark.parametrize("argument", range(4))
def test_peak_moves_to_the_side_that_the_formula_calls_unsafe(argument):
    base = [20.0, 0.06, 5e-6, 1e-3]
    more = list(base)
    more[argument] *= 1.1
    grows = bool(closing_peak(*more) > closing_peak(*base))
    assert grows is (argument in (0, 3))  # ΔV and C raise it, R and L lower it


def test_scalar_equals_vector_through_the_critical_case():
    ohms = 0.1414213562373095 * np.array([0.0, 0.5, 1 - 1e-7, 1.0, 1 + 1e-7, 2.0])
    whole = closing_peak(20.0, ohms, 5e-6, 1e-3)
    for one, got in zip(ohms, whole, strict=True):
        assert float(closing_peak(20.0, float(one), 5e-6, 1e-3)) == got
    assert np.all(np.diff(whole) < 0)


def test_a_step_is_not_computed_from_what_is_not_known():
    item = size_contactors(asked(loop_inductance=None))
    assert closing_step(asked(loop_inductance=None)) is None
    assert "closing step not known" in item.governing
    assert "loop inductance" in part(item, "200 A", "closing step").reason


# --- duty -----------------------------------------------------------------------------------


@pytest.mark.parametrize("discharge, charge, worse", [(700.0, 150.0, 700.0), (150.0, 700.0, 700.0)])
def test_the_worse_direction_governs(discharge, charge, worse):
    item = size_contactors(asked(break_discharge=discharge, break_charge=charge))
    assert item.duty[0].number == worse
    assert part(item, "250 A", "worse direction").demand.number == worse


def test_one_unknown_direction_is_not_taken_for_none():
    item = size_contactors(asked(break_charge=None))
    assert "not known in both directions" in item.governing
    assert "break charge" in check(item, "both directions").reason


@pytest.mark.parametrize("inductance, wanted", [(59.9e-6, "pass"), (60e-6, "pass"),
                                                (60.1e-6, "caution")])
def test_loop_time_constant_against_the_dc1_test(inductance, wanted):
    # 60 µH/60 mΩ = 1.0 ms, the DC-1 making and breaking test of IEC 60947-4-1
    item = size_contactors(asked(breaking_inductance=inductance))
    assert check(item, "DC-1").verdict == wanted


def test_the_smallest_inductance_is_no_ground_for_breaking():
    assert check(size_contactors(asked()), "DC-1").verdict == "not evaluated"


def test_a_trip_current_below_what_flows_is_raised_to_it():
    item = size_contactors(asked(break_discharge=100.0, break_charge=50.0))
    assert item.duty[0].number == 350.0  # the peak itself


def test_let_through_is_asked_for_and_never_passed():
    for let_through in (None, 120e3):
        one = check(size_contactors(asked(fuse_let_through=let_through)), "lets through")
        assert one.verdict == "not evaluated" and "maker" in one.reason


def test_voltage_breaking_and_making_are_never_passed_without_a_data_sheet():
    for one in size_contactors(asked()).candidates:
        for words in ("one pole rated", "worse direction", "closing step", "box ambient"):
            assert [c.verdict for c in one.checks if words in c.title] == ["not evaluated"]
        assert one.verdict in ("not evaluated", "fail")


# --- size guide -------------------------------------------------------------------------------


@pytest.mark.parametrize("amps, wanted", [(199.9, "pass"), (200.0, "pass"), (200.1, "fail")])
def test_continuous_size_on_and_around_its_break_point(amps, wanted):
    item = size_contactors(asked(continuous_current=amps))
    assert part(item, "200 A", "continuous current").verdict == wanted


def test_charging_may_be_the_larger_continuous_current():
    item = size_contactors(asked(charge_current=260.0))
    assert part(item, "250 A", "continuous current").verdict == "fail"


@pytest.mark.parametrize("amps, wanted", [(314.9, "pass"), (315.0, "pass"),
                                          (315.1, "not evaluated")])
def test_peak_passes_only_when_the_continuous_size_covers_it(amps, wanted):
    item = size_contactors(asked(peak_current=amps))
    assert part(item, "315 A", "peak").verdict == wanted


def test_preferred_sizes_are_the_r10_series():
    # R10 as marked in IEC 60127-1 Table A.1
    assert preferred_sizes(101.0) == [100.0, 125.0, 160.0, 200.0, 250.0]
    assert preferred_sizes(400.0)[:2] == [315.0, 400.0]


@pytest.mark.parametrize("amps", [0.9, 8000.1])
def test_a_duty_outside_the_series_is_refused(amps):
    with pytest.raises(OutOfRange, match="outside the preferred currents"):
        preferred_sizes(amps)


# --- words ------------------------------------------------------------------------------------


@pytest.mark.parametrize("changes, words", [
    ({"poles": 1}, "both leads"), ({"break_charge": -1.0}, "negative"),
    ({"loop_resistance": 0.0}, "no limit")])
def test_nonsense_is_refused_in_words(changes, words):
    with pytest.raises(OutOfRange, match=words):
        size_contactors(asked(**changes))


def test_poles_never_add_voltages_and_salvage_is_a_caution():
    item = size_contactors(asked())
    assert any("never adds up voltages" in note for note in NOTES)
    assert any("Salvaged sealed contactors" in note for note in item.notes)
    assert any("each pole alone above 430.0 V" in r.value for r in item.specification)


def test_every_unknown_of_the_brief_is_an_open_item():
    unknown = dataclasses.replace(asked(), fault_highest=leaf("highest fault", "I", "A", None,
                                                              "assumed"))
    items = size_contactors(unknown).open_items
    assert any(i.startswith("highest fault") for i in items)
    assert any(i.startswith("fuse let through") for i in items)
