"""Laws that hold for any strings, whatever the numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from packcalc.protect.branch_figures import discharge_integral
from packcalc.protect.places import STANDS, chassis_pairs
from packcalc.protect.strings import best_string_share, share_currents, shared_voltage

volts = st.floats(300.0, 420.0)
ohms = st.floats(0.02, 1.0)
strings = st.integers(2, 6).flatmap(lambda n: st.tuples(
    st.lists(volts, min_size=n, max_size=n), st.lists(ohms, min_size=n, max_size=n)))

pytestmark = pytest.mark.property


@settings(max_examples=80, deadline=None)
@given(strings, st.floats(-200.0, 400.0), st.floats(0.0, 0.01), st.booleans())
def test_currents_add_up_to_the_load(pair, load, segment, diagonal):
    _, currents = share_currents(*pair, load, bus_segment=segment, diagonal=diagonal)
    assert currents.sum() == pytest.approx(load, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(strings, st.floats(0.0, 400.0))
def test_each_string_obeys_its_own_resistance(pair, load):
    voltage, currents = share_currents(*pair, load)
    assert np.allclose(np.array(pair[0]) - currents * np.array(pair[1]), voltage)


@settings(max_examples=60, deadline=None)
@given(volts, ohms, volts, ohms, st.floats(0.0, 300.0))
def test_two_strings_by_network_and_by_formula(e1, r1, e2, r2, load):
    assert share_currents([e1, e2], [r1, r2], load)[0] == pytest.approx(
        shared_voltage(e1, r1, e2, r2, load))


@settings(max_examples=60, deadline=None)
@given(strings, st.floats(0.0, 300.0))
def test_an_open_string_counts_as_absent(pair, load):
    e, r = pair
    _, with_open = share_currents([*e, 400.0], [*r, np.inf], load)
    _, without = share_currents(e, r, load)
    assert with_open[-1] == pytest.approx(0.0)
    assert np.allclose(with_open[:-1], without)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 12), st.floats(0.0, 2.0))
def test_share_lies_between_even_and_all(n, mismatch):
    share = best_string_share(n, mismatch)
    assert 1.0 / n - 1e-12 <= share <= 1.0
    resistances = np.full(n, 0.1 * (1.0 + mismatch))
    resistances[0] = 0.1
    _, currents = share_currents(np.full(n, 350.0), resistances, 100.0)
    assert currents[0] == pytest.approx(100.0 * share)


@settings(max_examples=40, deadline=None)
@given(st.floats(1e-6, 5e-3), st.floats(60.0, 900.0), st.floats(1e-3, 1.0))
def test_less_resistance_more_heat(capacitance, voltage, resistance):
    heat = discharge_integral(capacitance, voltage, resistance)
    assert discharge_integral(capacitance, voltage, resistance / 2) == pytest.approx(2 * heat)
    assert discharge_integral(capacitance, 2 * voltage, resistance) == pytest.approx(4 * heat)


@pytest.mark.parametrize("stands", STANDS)
def test_one_loop_never_has_a_fuse(stands):
    """Two leaks within one unfused run of modules: no place of a main fuse prevents that."""
    pairs = chassis_pairs(stands)
    assert any(not p.fused and not p.contactor for p in pairs)
    assert len({p.key for p in pairs}) == len(pairs)
    assert all(p.remedies for p in pairs)
