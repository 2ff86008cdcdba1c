"""Constant power and charge used, against scipy's root finder and integrators.

Oracle: scipy (https://scipy.org), `optimize.brentq` and `integrate.solve_ivp`; the version
that ran is printed in every failure. Written against scipy 1.13 to 1.17.
"""

from __future__ import annotations

import numpy as np
import pytest
from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.layouts import Layout, Part, asks_of
from packcalc.screening import screen_one

from tests.briefs import asked

scipy = pytest.importorskip("scipy", minversion="1.13")
optimize = pytest.importorskip("scipy.optimize")
integrate = pytest.importorskip("scipy.integrate")
pytestmark = pytest.mark.oracle
VERSION = f"scipy {scipy.__version__}"


@pytest.mark.parametrize("e, r", [(345.6, 0.2), (403.2, 0.05), (96.0, 0.011), (806.4, 1.3)])
@pytest.mark.parametrize("share", [1e-6, 0.1, 0.5, 0.9, 0.99, 0.999999, 1 - 1e-9])
def test_current_is_the_smaller_root(e, r, share):
    power = share * e * e / (4.0 * r)
    root = optimize.brentq(lambda i: i * (e - i * r) - power, 0.0, e / (2.0 * r),
                           xtol=1e-13 * e / r)
    # Near the maximum both roots meet and the power hardly tells them apart: the error of a
    # root is that of the power, 1e-15 of it, over the root of what is left to the maximum.
    tolerance = 1e-12 + 4e-16 / np.sqrt(1.0 - share)
    found = float(el.constant_power_current(e, r, power))
    assert found == pytest.approx(root, rel=tolerance), VERSION


@pytest.mark.parametrize("e, r, power", [(403.2, 0.2, 3e4), (806.4, 0.9, 6e4), (100.0, 0.02, 8e3)])
def test_braking_voltage_is_the_larger_root(e, r, power):
    root = optimize.brentq(lambda u: u * (u - e) / r - power, e, 3.0 * e, xtol=1e-12)
    assert float(el.charging_voltage(e, r, power)) == pytest.approx(root, rel=1e-12), VERSION


def peak_by_integration(brief, layout):
    """Charge at the end of the peak with the current that the falling voltage asks for."""
    asks, on_hand = asks_of(brief), brief.modules[0]
    capacity = layout.parallel * on_hand.module.capacity.number * on_hand.state_of_health.number
    path = el.grouped_path(layout.series, asks.link, asks.fuse, asks.contactor) + asks.cables

    def fall(t, y):
        charge = max(float(y[0]), 0.0)
        e = layout.series * float(mod.ocv_low(on_hand.module, charge))
        r = path + layout.series / layout.parallel * float(mod.resistance(
            on_hand.module, asks.coldest, charge, max(t, 1e-3), on_hand.resistance_growth.number))
        return [-float(el.constant_power_current(e, r, asks.peak)) / capacity]

    found = integrate.solve_ivp(fall, (0.0, asks.peak_duration), [asks.charge_lowest], rtol=1e-9,
                                atol=1e-12)
    assert found.success, VERSION
    return float(found.y[0, -1])


@pytest.mark.parametrize("power, duration", [("60 kW", "10 s"), ("110 kW", "10 s"),
                                             ("90 kW", "30 s"), ("60 kW", "60 s")])
def test_charge_left_errs_low_wherever_the_layout_passes(power, duration):
    brief = asked(power__peak=power, power__peak_duration=duration,
                  battery__charge_lowest="20 %")
    layout = Layout((Part(0, 8),), 2, "grouped")
    row = screen_one(brief, asks_of(brief), layout)
    assert "loaded_voltage" not in row.failed(0)
    counted, integrated = float(row.columns["charge_left"][0]), peak_by_integration(brief, layout)
    # Less charge is left than really is, but the current counted is not out of all reason.
    assert counted <= integrated, VERSION
    drawn = 0.20 - integrated
    assert 0.20 - counted <= 1.35 * drawn, VERSION


def test_usable_energy_against_an_integral_of_the_curve():
    brief = asked()
    on_hand = brief.modules[0]
    charges = np.linspace(0.1, 1.0, 20001)
    whole = integrate.simpson(mod.ocv_low(on_hand.module, charges), x=charges)
    row = screen_one(brief, asks_of(brief), Layout((Part(0, 8),), 2, "grouped"))
    expected = 8 * 2 * 100 * 3600 * 0.8 * whole
    assert float(row.columns["usable_energy"][0]) == pytest.approx(expected, rel=2e-3), VERSION
