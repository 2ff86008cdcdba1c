"""Self-discharge by two voltages: what the instrument tells, and what it cannot."""

from __future__ import annotations

import numpy as np
import pytest

from packcalc.bench.selfdischarge import (
    charge_between,
    days_between,
    on_plateau,
    selfdischarge,
    steepness_at_charge,
)
from packcalc.reading.library import record
from tests.bench.rows import bench_of, row_of

NMC, LFP = record("nmc-6s-240ah"), record("lfp-8s-100ah")


def judged(fall_mV: float, **changes):
    second = 22.2 - fall_mV / 1000
    return selfdischarge(row_of(second_voltage_V=f"{second:.4f}", **changes), bench_of())


def lfp(first: float, second: float, **changes):
    given = {"module": "lfp-8s-100ah", "first_voltage_V": f"{first}", "second_voltage_V": f"{second}",
             "capacity_Ah": "90", **changes}
    return selfdischarge(row_of(**given), bench_of())


def by_hand(fall: float, error: float = 0.0) -> list[float]:
    """Charge on the way down from 3.7 V on each NMC curve, as far off as 5 mV and the error."""
    found = []
    for curve in NMC.low_curves:
        charges = np.linspace(0, 1, 20001)
        volts = curve.voltage(charges)
        low, high = sorted((3.7, 3.7 + error))
        found += [np.interp(u, volts, charges) - np.interp(u - fall, volts, charges)
                  for u in np.linspace(low - 0.005, high + 0.005, 301)]
    return found


def test_loss_and_resolution_by_hand():
    """28 days, 6 cells, meter 10 mV, no drift: the charge between the two voltages, in 30 days.

    This once took the slope at the first voltage alone: see test_the_whole_way.py.
    """
    found = judged(40)
    assert found.loss.number == pytest.approx(max(by_hand(0.040 / 6)) * 30 / 28, rel=1e-3)
    most = max(by_hand(0.050 / 6, 0.010 / 6)) * 30 / 28
    assert found.loss.number + found.resolution.number == pytest.approx(most, rel=1e-3)
    assert found.most.number == pytest.approx(most, rel=1e-3)
    assert found.least.number == pytest.approx(min(by_hand(0.030 / 6, -0.010 / 6)) * 30 / 28,
                                               rel=1e-3)


def fall_that_makes(share: float, which: int) -> float:
    """Fall [mV] at which the least (0) or the most (1) charge lost in 28 days is a share."""
    low, high = 0.0, 600.0
    for _ in range(50):
        middle, error = (low + high) / 2, (-10.0, 10.0)[which] / 6000
        lost = charge_between(NMC, 3.7, middle / 6000 + error, error)[which]
        low, high = (middle, high) if lost * 30 / 28 < share else (low, middle)
    return low


def test_verdicts_on_either_side_of_the_lines():
    """A pass goes by the curve with the most charge on the way, a fail by that with the least."""
    for line, which, below, above in (
            (0.03, 1, ("pass", None), ("not evaluated", "undecided")),
            (0.03, 0, ("not evaluated", "undecided"), ("fail", "quarantine")),
            (0.10, 0, ("fail", "quarantine"), ("fail", "reject"))):
        for beyond, wanted in ((-0.5, below), (0.5, above)):
            found = judged(fall_that_makes(line, which) + beyond)
            assert (found.check.verdict, found.effect) == wanted
    between = judged(fall_that_makes(0.03, 1) + 5)
    assert "the instrument cannot tell" in between.check.reason


def test_a_flat_curve_cannot_be_told_by_voltage():
    found = lfp(26.416, 26.412)
    assert found.effect == "undecided"
    assert "voltage cannot tell this: LFP moves" in found.check.reason
    assert "near 20 % charge" in found.check.remedy


def test_the_same_module_near_empty_can_be_told():
    found = lfp(25.76, 25.75)
    assert found.check.verdict == "pass" and found.effect is None


@pytest.mark.parametrize(("celsius", "verdict"), [("21", "pass"), ("22", "pass"),
                                                  ("60", "not evaluated")])
def test_temperature_drift_between_two_readings(celsius, verdict):
    assert judged(10, second_temperature_degC=celsius).check.verdict == verdict


def test_a_voltage_that_rose_is_no_proof():
    found = judged(-30)
    assert found.effect == "undecided" and "the voltage rose" in found.check.reason


@pytest.mark.parametrize(("changes", "wanted"), [
    ({"second_date": ""}, "one of the two voltages or dates is missing"),
    ({"first_voltage_V": ""}, "one of the two voltages or dates is missing"),
    ({"second_date": "2026-03-02"}, "is not later than the first"),
    ({"second_date": "2026-02-01"}, "is not later than the first"),
    ({"module": ""}, "the module's type is not known"),
    ({"module": "lmo-8s-64ah"}, "no open-circuit curve may be assumed for LMO"),
    ({"first_voltage_V": "11"}, "lies off the curves of NMC"),
])
def test_what_cannot_be_judged_says_why(changes, wanted):
    found = judged(10, **changes)
    assert found.check.verdict == "not evaluated" and found.effect == "undecided"
    assert wanted in found.check.reason and not found.loss.known


def test_the_brief_may_do_without():
    row = row_of(first_voltage_V="", second_voltage_V="")
    assert selfdischarge(row, bench_of()).effect == "undecided"
    from dataclasses import replace
    assert selfdischarge(row, replace(bench_of(), demand_selfdischarge="no")).effect is None


def test_days_count_hours_too():
    assert days_between("2026-03-01", "2026-03-29") == 28
    assert days_between("2026-03-01 12:00", "2026-03-02") == 0.5
    assert days_between("", "2026-03-02") is None


def test_slopes_are_those_of_published_curves():
    """About 0.6 to 1 mV for 1 % on the LFP plateau, 8 to 10 mV for NMC (measured cells)."""
    assert 1e-6 < steepness_at_charge(LFP, 0.5) < 1.0e-3
    assert 3e-3 < steepness_at_charge(LFP, 0.15)
    assert 4e-3 < steepness_at_charge(NMC, 0.5) < 12e-3
    assert on_plateau(LFP, 3.30) and not on_plateau(NMC, 3.70)
