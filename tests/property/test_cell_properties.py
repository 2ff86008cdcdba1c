"""True of every cell class and every record of the library."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc import cells, modules
from packcalc.reading.library import cell_class, library

WITH_CURVES = sorted(name for name, m in library().items() if not m.needs_bench)
names = st.sampled_from(WITH_CURVES)
charge = st.floats(0.0, 1.0)
kelvin = st.floats(253.15, 333.15)
seconds = st.floats(0.001, 60.0)


@pytest.mark.property
@given(names, charge, charge)
@settings(max_examples=200, deadline=None)
def test_rest_voltage_rises_with_charge_and_stays_in_the_window(name, a, b):
    module = library()[name]
    low, high = sorted((a, b))
    for function in (modules.ocv_low, modules.ocv_high):
        assert function(module, low) <= function(module, high) + 1e-9
    n = module.series
    assert n * module.empty_voltage.number - 1e-9 <= modules.ocv_low(module, a)
    assert modules.ocv_low(module, a) <= modules.ocv_high(module, a) + 1e-9
    assert modules.ocv_high(module, a) <= n * module.full_voltage.number + 1e-9


@pytest.mark.property
@given(names, kelvin, kelvin, charge, seconds, seconds)
@settings(max_examples=200, deadline=None)
def test_resistance_rises_with_cold_and_with_pulse_length(name, t1, t2, z, p1, p2):
    module = library()[name]
    cold, warm = sorted((t1, t2))
    short, long = sorted((p1, p2))
    assert modules.resistance(module, cold, z, short, 1.0) >= \
        modules.resistance(module, warm, z, short, 1.0) * (1 - 1e-12)
    assert modules.resistance(module, cold, z, long, 1.0) >= \
        modules.resistance(module, cold, z, short, 1.0) * (1 - 1e-12)
    assert modules.resistance(module, cold, z, short, 1.3) == \
        pytest.approx(1.3 * modules.resistance(module, cold, z, short, 1.0))


@pytest.mark.property
@given(names, kelvin, charge, seconds)
@settings(max_examples=100, deadline=None)
def test_sag_resistance_is_never_below_the_peak_fault_one(name, temperature, z, pulse):
    module = library()[name]
    assert modules.resistance(module, temperature, z, pulse, 1.0) > \
        modules.resistance_initial(module)


@pytest.mark.property
@given(st.sampled_from(["NMC", "NCA", "LFP", "LMO", "LTO"]), st.floats(200.0, 400.0),
       st.floats(0.01, 5.0))
@settings(max_examples=200, deadline=None)
def test_charging_never_exceeds_the_datasheet_and_stops_in_the_cold(name, temperature, rate):
    allowed = cells.charge_limit_rate(cell_class(name), temperature, rate)
    assert 0 <= allowed <= rate
    if temperature <= 273.15 or temperature >= 328.15:
        assert allowed == 0


@pytest.mark.property
@given(st.floats(2.6, 3.3), st.floats(4.0, 4.25), charge)
@settings(max_examples=200, deadline=None)
def test_anchored_curve_lies_between_the_limits(empty, full, z):
    for curve in cell_class("NMC").curves:
        if cells.covers(curve, empty, full):
            volt = float(cells.anchor(curve, empty, full).voltage(z))
            assert empty - 1e-9 <= volt <= full + 1e-9


@pytest.mark.property
def test_envelope_holds_every_curve():
    soc = np.linspace(0, 1, 401)
    for name in WITH_CURVES:
        module = library()[name]
        for curve in module.low_curves:
            volt = module.series * curve.voltage(soc)
            assert np.all(modules.ocv_low(module, soc) <= volt + 1e-9)
            assert np.all(modules.ocv_high(module, soc) >= volt - 1e-9)
