"""Laws that hold for any strings, whatever the numbers."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from packcalc.protect.branch_figures import discharge_integral
from packcalc.protect.places import STANDS, chassis_pairs
from packcalc.protect.strings import best_string_share, joined_current

volts = st.floats(300.0, 420.0)
ohms = st.floats(0.02, 1.0)
strings = st.integers(1, 6)

pytestmark = pytest.mark.property


@settings(max_examples=80, deadline=None)
@given(volts, volts, ohms, st.floats(-0.5, 2.0), strings, st.floats(-200.0, 400.0))
def test_a_string_and_its_others_obey_kirchhoff(own, other, r, mismatch, others, load):
    """The currents add up to the load, and both ways lead to one bus voltage."""
    current = joined_current(own - other, load, r, mismatch, others)
    each = (load - current) / others
    assert own - r * current == pytest.approx(other - r * (1.0 + mismatch) * each, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(volts, volts, ohms, st.floats(0.0, 2.0), strings, st.floats(0.0, 300.0))
def test_the_way_of_the_difference_does_not_matter(own, other, r, mismatch, others, load):
    """A string that is low and charged carries what one that is high and drawn on carries."""
    gap = own - other
    assert joined_current(gap, load, r, mismatch, others) == pytest.approx(
        -joined_current(-gap, -load, r, mismatch, others))


@settings(max_examples=60, deadline=None)
@given(st.integers(2, 12), st.floats(0.0, 2.0))
def test_share_lies_between_even_and_all(n, mismatch):
    share = best_string_share(n, mismatch)
    assert 1.0 / n - 1e-12 <= share <= 1.0 == best_string_share(1, mismatch)
    assert joined_current(0.0, 100.0, 0.1, mismatch, n - 1) == pytest.approx(100.0 * share)


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
