"""Time–current curves: on, just below and just above every point; integral against quadrature."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from packcalc.curves import Curve, adiabatic_time, log_log_time, order_fault, rising_integral
from packcalc.errors import OutOfRange
from packcalc.findings import leaf

# Invented. Slopes: 1000 → 2000 A is a decade of time, 2000 → 8000 A two decades.
CURVE = Curve((1000.0, 2000.0, 8000.0), (1.0, 0.1, 0.001), "invented curve")


def amperes(value):
    return leaf("current", "I", "A", value, "invented")


def seconds(value):
    return leaf("time", "t", "s", value, "invented")


@pytest.mark.parametrize("current, time", [(1000.0, 1.0), (2000.0, 0.1), (8000.0, 0.001)])
def test_on_a_point_is_the_point(current, time):
    assert float(CURVE.time_at(current)) == pytest.approx(time, rel=1e-12)
    assert float(CURVE.current_at(time)) == pytest.approx(current, rel=1e-12)


@pytest.mark.parametrize("point", [1000.0, 2000.0, 8000.0])
@pytest.mark.parametrize("share", [-1e-6, 1e-6])
def test_beside_a_point_the_curve_goes_on_or_ends(point, share):
    beside = point * (1 + share)
    time = float(CURVE.time_at(beside))
    if 1000.0 <= beside <= 8000.0:
        assert math.copysign(1, float(CURVE.time_at(point)) - time) == math.copysign(1, share)
    else:
        assert math.isnan(time)


@pytest.mark.parametrize("time", [1.0 + 1e-6, 0.001 - 1e-9])
def test_the_inverse_ends_with_the_points(time):
    assert math.isnan(float(CURVE.current_at(time)))


def test_between_points_by_hand():
    # 4000 A is half of the way from 2000 to 8000 A on a logarithmic scale: √(0.1·0.001) = 0.01 s
    assert float(CURVE.time_at(4000.0)) == pytest.approx(0.01)
    assert float(CURVE.current_at(0.01)) == pytest.approx(4000.0)


def test_scalar_equals_vector():
    at = np.geomspace(900.0, 9000.0, 50)
    one_by_one = [float(CURVE.time_at(float(i))) for i in at]
    assert np.allclose(CURVE.time_at(at), one_by_one, equal_nan=True)
    inside = at[(at >= 1000.0) & (at <= 8000.0)]
    assert np.allclose(CURVE.current_at(CURVE.time_at(inside)), inside)
    assert np.allclose(adiabatic_time(1e7, inside), [adiabatic_time(1e7, float(i)) for i in inside])


def test_traced_time_names_its_two_points():
    found = CURVE.trace_time(amperes(4000.0))
    assert found.number == pytest.approx(0.01)
    assert [round(f.number, 6) for f in found.inputs] == [4000.0, 2000.0, 0.1, 8000.0, 0.001]
    on = CURVE.trace_time(amperes(2000.0))
    assert on.number == pytest.approx(0.1)
    back = CURVE.trace_current(seconds(0.01))
    assert back.number == pytest.approx(4000.0)


@pytest.mark.parametrize("current", [999.0, 8001.0])
def test_traced_time_refuses_beyond_the_points(current):
    with pytest.raises(OutOfRange, match="outside its points .1000 to 8000.; ask for more points"):
        CURVE.trace_time(amperes(current))


def test_above_finds_a_crossing_and_only_that():
    higher = Curve((1000.0, 8000.0), (2.0, 0.002))
    assert CURVE.above(higher) is None
    assert higher.above(CURVE) == 1000.0
    apart = Curve((9000.0, 10000.0), (0.5, 0.1))
    assert CURVE.above(apart) is None


@pytest.mark.parametrize("pairs, runs, words", [
    ([(0.1, 5.0), (0.1, 4.0)], "falling", "does not lie after point 1"),
    ([(0.1, 5.0), (1.0, 5.0)], "falling", "5.0 at 1.0 does not lie below 5.0 at 0.1"),
    ([(0.1, 5.0), (1.0, 4.0)], "not falling", "does not lie above"),
    ([(0.1, 5.0), (1.0, 5.0)], "not rising", ""),
    ([(0.1, 5.0), (1.0, 4.0)], "falling", ""),
])
def test_order_of_points(pairs, runs, words):
    found = order_fault(pairs, runs, str, str)
    assert words in found if words else found == ""


def test_a_curve_refuses_points_out_of_order():
    with pytest.raises(OutOfRange, match="points out of order"):
        Curve((1000.0, 2000.0), (0.1, 1.0))


@pytest.mark.oracle
@pytest.mark.parametrize("constant", [0.05e-3, 1.673e-3, 15e-3])
@pytest.mark.parametrize("time", [1e-4, 1e-3, 10e-3, 0.5])
def test_rising_integral_against_quadrature(constant, time):
    # scipy.integrate.quad of (Ik·(1 − e^(−t/τ)))², Ik = 4000 A
    by_parts, _ = quad(lambda t: (4000.0 * -math.expm1(-t / constant)) ** 2, 0.0, time,
                       epsrel=1e-11, limit=200, points=[min(time, 10 * constant)])
    assert float(rising_integral(4000.0, constant, time)) == pytest.approx(by_parts, rel=1e-8)


def test_rising_integral_lies_below_the_steady_one_and_refuses_nonsense():
    times = np.geomspace(1e-5, 1.0, 60)
    assert (rising_integral(1000.0, 1e-3, times) < 1e6 * times).all()
    with pytest.raises(OutOfRange):
        rising_integral(1000.0, 0.0, 1.0)


@pytest.mark.oracle
def test_let_through_of_a_curve_against_quadrature():
    """I²t of a steady fault is the integral of I² over the curve's time."""
    for current in (1000.0, 1500.0, 2000.0, 5000.0, 8000.0):
        time = float(CURVE.time_at(current))
        area, _ = quad(lambda _, i=current: i * i, 0.0, time)
        assert current ** 2 * time == pytest.approx(area, rel=1e-12)


def test_the_line_is_straight_on_logarithmic_scales():
    a, b = (float(log_log_time(i, 1000.0, 1.0, 4000.0, 0.01)) for i in (1414.2135623, 2828.4271247))
    assert a / b == pytest.approx(10.0, rel=1e-6)
