"""Self-discharge by two voltages: what the instrument tells, and what it cannot."""

from __future__ import annotations

import pytest

from packcalc.bench.selfdischarge import (
    days_between,
    on_plateau,
    selfdischarge,
    slopes_about,
    steepness,
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


def test_loss_and_resolution_by_hand():
    """28 days, 6 cells, meter 10 mV, no drift: s = fall/(6·g)·30/28 and s_e = 10 mV likewise."""
    slope = steepness(NMC, 3.7)
    found = judged(40)
    assert found.loss.number == pytest.approx(0.040 / (6 * slope) * 0.01 * 30 / 28)
    assert found.resolution.number == pytest.approx(0.010 / (6 * slope) * 0.01 * 30 / 28)


def test_verdicts_on_either_side_of_the_lines():
    """A pass goes by the flattest published curve there, a fail by the steepest."""
    flat, steep = slopes_about(NMC, 3.7)
    error = judged(0).resolution.number
    per_mV = judged(1).loss.number
    found = judged((0.03 - error) / per_mV - 1)
    assert (found.check.verdict, found.effect) == ("pass", None)
    sure = 28 / 30 * 6 * steep * 1000 * 100  # mV that a loss of 100 % in 30 days would cost, surely
    for line, below, above in ((0.03, ("not evaluated", "undecided"), ("fail", "quarantine")),
                               (0.10, ("fail", "quarantine"), ("fail", "reject"))):
        for fall, wanted in ((sure * line + 10 - 1, below), (sure * line + 10 + 1, above)):
            found = judged(fall)
            assert (found.check.verdict, found.effect) == wanted
    between = judged(0.03 / per_mV)
    assert (between.check.verdict, between.effect) == ("not evaluated", "undecided")
    assert flat < steep and "the instrument cannot tell" in between.check.reason


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


def test_a_temperature_that_was_not_noted_counts_as_five_kelvin():
    known, unsaid = judged(10), judged(10, second_temperature_degC="")
    assert unsaid.resolution.number == pytest.approx(known.resolution.number * 2.5)


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
