"""The range of a fault current: corner arithmetic, unknowns, refusals."""

import numpy as np
import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.errors import OutOfRange
from packcalc.findings import leaf
from packcalc.protect import faults


def volts(value, title="voltage"):
    return leaf(title, "U", "V", value, "given")


def ohms(value, title="resistance"):
    return leaf(title, "R", "mΩ", value, "given")


def asked(**changes):
    entries = dict(
        voltage_full=volts(400.0, "full voltage"),
        resistance_initial=ohms(0.100, "initial resistance"),
        voltage_empty=volts(330.0, "empty voltage"),
        resistance_long=ohms(0.800, "long resistance"),
        loop_inductance=leaf("loop inductance", "L", "µH", 10e-6, "given"))
    return faults.FaultAsked(**{**entries, **changes})


def verdicts(found):
    return [check.verdict for check in found.checks]


def test_both_ends_of_one_pack():
    # 400 V / 0.1 Ω = 4 000 A; 330 V / (0.1·4·2) Ω = 412.5 A: ten times lower.
    found = faults.fault_range(asked())
    assert found.highest.number == pytest.approx(4000.0)
    assert found.lowest.number == pytest.approx(412.5)
    assert found.time_constant_highest.number == pytest.approx(1e-4)
    assert found.time_constant_lowest.number == pytest.approx(1.25e-5)
    assert verdicts(found) == [PASS]


def test_chain_ends_in_the_given_entries():
    found = faults.fault_range(asked())
    assert {item.title for item in found.lowest.leaves()} == {"empty voltage", "long resistance"}
    assert "errs high" in found.highest.note and "errs low" in found.lowest.note


def test_a_millisecond_after_the_fault_it_is_all_there():
    # τ = 0.1 ms: ten time constants in a millisecond, 1 − e⁻¹⁰ = 0.99995.
    found = faults.fault_range(asked())
    assert found.early.number == pytest.approx(4000.0 * (1 - np.exp(-10.0)))


def test_capacitors_add_to_the_place_but_not_to_the_main_fuse():
    capacitors = leaf("capacitor peak", "Ic", "A", 3000.0, "given")
    found = faults.fault_range(asked(capacitor_current=capacitors))
    assert found.highest.number == pytest.approx(4000.0)
    assert found.all_sources.number == pytest.approx(7000.0)


def test_without_capacitors_all_sources_is_the_pack():
    found = faults.fault_range(asked())
    assert found.all_sources.number == found.highest.number


@pytest.mark.parametrize("peak, verdict", [(412.4, PASS), (412.5, FAIL), (412.6, FAIL)])
def test_fault_smaller_than_load_is_flagged(peak, verdict):
    found = faults.fault_range(asked(peak_load=leaf("peak load", "I", "A", peak, "given")))
    assert verdicts(found) == [PASS, verdict]
    assert found.checks[1].stage == "who clears"
    assert "undervoltage trip" in found.checks[1].remedy


def test_peak_load_unknown_is_not_evaluated():
    found = faults.fault_range(asked(peak_load=leaf("peak load", "I", "A", None, "given")))
    assert verdicts(found) == [PASS, NOT_EVALUATED]


@pytest.mark.parametrize("resistance, verdict", [(0.0824, FAIL), (0.0825, PASS), (0.0826, PASS)])
def test_lowest_above_highest_is_flagged(resistance, verdict):
    # 330 V / 0.0825 Ω = 4 000 A, exactly the highest.
    assert verdicts(faults.fault_range(asked(resistance_long=ohms(resistance)))) == [verdict]


def test_unknown_inputs_give_no_value_and_are_named():
    found = faults.fault_range(asked(resistance_initial=ohms(None, "initial resistance")))
    for blank in (found.highest, found.all_sources, found.time_constant_highest, found.early):
        assert not blank.known
    assert "initial resistance" in found.highest.note
    assert found.lowest.known
    assert verdicts(found) == [NOT_EVALUATED]


def test_remembered_resistance_never_grounds_a_pass():
    remembered = leaf("resistance from memory", "R", "mΩ", 0.8, "remembered")
    assert verdicts(faults.fault_range(asked(resistance_long=remembered))) == [NOT_EVALUATED]


@pytest.mark.parametrize("resistance", [0.0, -0.1])
def test_no_resistance_is_refused(resistance):
    with pytest.raises(OutOfRange, match="loop resistance must be above zero"):
        faults.prospective_fault_current(400.0, resistance)
    with pytest.raises(OutOfRange, match="loop resistance must be above zero"):
        faults.fault_time_constant(1e-6, resistance)


def test_no_time_constant_is_refused():
    with pytest.raises(OutOfRange, match="time constant must be above zero"):
        faults.fault_current_rise(100.0, 0.0, 1.0)


def test_conductors_closer_than_touching_are_refused():
    faults.two_wire_loop_inductance(0.020, 0.010)
    with pytest.raises(OutOfRange, match="closer than two radii"):
        faults.two_wire_loop_inductance(0.0199, 0.010)
    with pytest.raises(OutOfRange, match="conductor radius must be above zero"):
        faults.two_wire_loop_inductance(0.02, 0.0)


SAMPLES = [
    (faults.prospective_fault_current, ([300.0, 400.0], [0.05, 0.4])),
    (faults.parallel_source_current, ([300.0, 400.0], [5.0, 4.0])),
    (faults.fault_time_constant, ([5e-6, 2e-5], [0.05, 0.4])),
    (faults.fault_current_rise, ([300.0, 4000.0], [1e-4, 1e-3], [1e-4, 5e-3])),
    (faults.two_wire_loop_inductance, ([0.05, 0.1], [0.006, 0.01])),
    (faults.fault_loop_inductance, ([5e-6, 6e-6], [1e-6, 7e-7], [3.0, 5.0])),
]


@pytest.mark.parametrize("function, columns", SAMPLES, ids=lambda x: getattr(x, "__name__", ""))
def test_scalar_equals_vector(function, columns):
    vector = function(*(np.array(column) for column in columns))
    scalars = [function(*row) for row in zip(*columns)]
    assert vector == pytest.approx(scalars, rel=1e-14)


def test_small_times_keep_their_figures():
    # For t much below τ the rise is Ik·t/τ; 1 − exp would lose it.
    assert faults.fault_current_rise(1000.0, 1.0, 1e-12) == pytest.approx(1e-9, rel=1e-9)
