"""Cell classes: curves, laws of resistance and charge bands, at and beside their break points."""

import numpy as np
import pytest

from packcalc import cell_formulas as formulas
from packcalc import cells
from packcalc.errors import OutOfRange, ProgramFault
from packcalc.findings import leaf
from packcalc.reading.library import cell_class, classes

NMC, LFP = cell_class("NMC"), cell_class("LFP")


def kelvin(celsius):
    return celsius + 273.15


def test_classes_and_what_demands_a_bench():
    assert sorted(classes()) == ["LFP", "LMO", "LTO", "NCA", "NMC"]
    assert {c for c, cell in classes().items() if cell.needs_bench} == {"LMO", "LTO"}
    assert all(bool(cell.curves) != cell.needs_bench for cell in classes().values())
    assert all(len(cell.curves) >= 2 for cell in classes().values() if not cell.needs_bench)


def test_voltage_windows_are_nested():
    for cell in classes().values():
        assert (cell.absolute_min_voltage < cell.empty_voltage < cell.nominal_voltage
                < cell.full_voltage)


def test_lto_rests_well_inside_its_limits():
    low, high = cell_class("LTO").rest_window
    assert 1.80 < low and high < 2.85


# The table's rows themselves: evidence of measured cells, see cell_library/cells/laws.toml.
@pytest.mark.parametrize("celsius,ratio", [(-20, 8), (-10, 5), (0, 2.5), (10, 1.6), (25, 1),
                                           (40, 1), (60, 1)])
def test_temperature_ratio_at_its_rows(celsius, ratio):
    assert cells.resistance_temperature_factor(NMC, kelvin(celsius), 0.5) == pytest.approx(ratio)


@pytest.mark.parametrize("soc,ratio", [(0.2999, 10.0), (0.30, 10.0), (0.3001, 8.0)])
def test_cold_weighs_more_at_and_below_thirty_percent(soc, ratio):
    assert cells.resistance_temperature_factor(NMC, kelvin(-20), soc) == pytest.approx(ratio)


def test_colder_than_the_law_is_refused_and_says_what_to_do():
    assert cells.resistance_temperature_factor(NMC, kelvin(-20), 0.5) == pytest.approx(8)
    words = r"-20\.01 °C \(known: -20\.00 °C to 60\.00 °C\).*warmer"
    with pytest.raises(OutOfRange, match=words):
        cells.resistance_temperature_factor(NMC, kelvin(-20.01), 0.5)
    with pytest.raises(OutOfRange, match="60.01"):
        cells.resistance_temperature_factor(NMC, kelvin(60.01), 0.5)


def test_one_element_out_of_range_refuses_the_whole_array():
    with pytest.raises(OutOfRange):
        cells.pulse_factor(NMC, np.array([10.0, 61.0]))
    with pytest.raises(OutOfRange):
        cells.pulse_factor(NMC, np.array([10.0, np.nan]))


@pytest.mark.parametrize("seconds,ratio", [(1, 0.94), (10, 1.0), (30, 1.35), (60, 1.7)])
def test_pulse_ratio_at_its_rows(seconds, ratio):
    assert cells.pulse_factor(NMC, seconds) == pytest.approx(ratio)


def test_pulse_longer_than_a_minute_is_refused():
    with pytest.raises(OutOfRange, match=r"60\.10 s.*shorten the peak"):
        cells.pulse_factor(NMC, 60.1)
    with pytest.raises(OutOfRange):
        cells.pulse_factor(NMC, 0.0009)


def test_charge_ratio_below_five_percent_is_assumed_and_never_below_the_last_published():
    assert cells.resistance_charge_factor(NMC, 0.05) == pytest.approx(1.43)
    assert cells.resistance_charge_factor(NMC, 0.0) == pytest.approx(2.86)
    with pytest.raises(OutOfRange):
        cells.resistance_charge_factor(NMC, -0.01)


@pytest.mark.parametrize("celsius,rate", [
    (-0.01, 0.0), (0, 0.0), (0.01, 0.1), (5, 0.1), (5.01, 0.2), (15, 0.2), (15.01, 0.5),
    (44.99, 0.5), (45, 0.1), (45.01, 0.1), (54.99, 0.1), (55, 0.0), (55.01, 0.0)])
def test_charge_bands_take_the_stricter_on_a_border(celsius, rate):
    assert cells.charge_limit_rate(NMC, kelvin(celsius), 0.5) == pytest.approx(rate)


def test_a_slow_datasheet_rate_is_never_raised_by_a_band():
    assert cells.charge_limit_rate(NMC, kelvin(10), 0.05) == pytest.approx(0.05)


def test_curve_that_does_not_rise_is_a_fault_of_the_program():
    with pytest.raises(ProgramFault, match="does not rise"):
        cells.OcvCurve("x", "x", (0.0, 1.0), (3.0, 3.0), "", "", "read")


@pytest.mark.parametrize("cell", [c for c in classes().values() if c.curves],
                         ids=lambda c: c.chemistry)
def test_anchoring_meets_the_modules_own_limits(cell):
    for curve in cell.curves:
        anchored = cells.anchor(curve, cell.empty_voltage, cell.full_voltage)
        assert anchored.voltage(0.0) == pytest.approx(cell.empty_voltage)
        assert anchored.voltage(1.0) == pytest.approx(cell.full_voltage)
        assert np.all(np.diff(anchored.voltage(np.linspace(0, 1, 201))) > 0)


def test_narrower_limits_stretch_the_curve_between_them():
    chen = NMC.curves[0]
    anchored = cells.anchor(chen, 3.2959, 4.0967)  # its rows at 10 % and 90 %
    assert anchored.voltage(0.5) == pytest.approx(3.7509)  # its row at 50 %
    assert (anchored.curve_empty, anchored.curve_full) == pytest.approx((0.10, 0.90))


def test_a_curve_covers_a_limit_only_near_its_end():
    chen = NMC.curves[0]
    assert cells.covers(chen, 3.0, 4.2 + cells.STRETCH_TOP)
    assert not cells.covers(chen, 3.0, 4.2 + cells.STRETCH_TOP + 0.001)
    assert not cells.covers(chen, 4.15, 4.2)


def test_measured_lfp_curves_stand_above_the_one_set_aside():
    # Prada 2013 at 50 %: 3.266 V; the measured mid curves stand 33 to 42 mV above it
    for curve in LFP.curves:
        assert 0.032 < np.interp(0.5, curve.soc, curve.volt) - 3.266 < 0.043


def test_growth_slope_is_the_cross_section_of_retired_cells():
    # Tao et al. 2024, computed: x1.49 (NMC), x1.43 (LMO), x1.16 (LFP) from 95 to 75 %
    for name, ratio in (("NMC", 1.49), ("LMO", 1.43), ("LFP", 1.16)):
        assert formulas.growth_with_age(0.80, cell_class(name).growth_slope) == \
            pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize("value,law", [(kelvin(-13), "temperature"), (kelvin(-20), "temperature"),
                                       (kelvin(55), "temperature"), (0.15, "charge"),
                                       (0.97, "charge"), (20.0, "pulse"), (60.0, "pulse")])
def test_traced_ratio_equals_the_bare_one(value, law):
    rule = getattr(NMC, law)
    for side in ("low", "high"):
        found = rule.traced(leaf("x", "x", "", value, "given"), side)
        assert found.number == pytest.approx(float(rule.ratio(value, side)), rel=1e-12)
        assert all(f.source or f.basis in ("given", "definition") for f in found.leaves())


def test_laws_are_ordered():
    for cell in classes().values():
        for law in (cell.temperature, cell.temperature_low_charge):
            assert np.all(np.diff(law.high) <= 0) and np.all(np.diff(law.low) <= 0)
        assert np.all(np.diff(cell.pulse.high) > 0) and np.all(np.diff(cell.pulse.low) > 0)
        assert np.all(np.asarray(cell.temperature_low_charge.high) >=
                      np.asarray(cell.temperature.high))


def test_laws_hold_one_at_the_reference_condition():
    for cell in classes().values():
        for law, at in ((cell.temperature, cells.REFERENCE_TEMPERATURE),
                        (cell.charge, cells.REFERENCE_CHARGE), (cell.pulse, cells.REFERENCE_PULSE)):
            assert law.ratio(at, "low") == law.ratio(at, "high") == 1.0
