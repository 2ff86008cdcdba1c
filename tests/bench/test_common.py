"""Bringing figures to common conditions: break points, uncertainty, refusals."""

from __future__ import annotations

from math import log, sqrt

import pytest

from packcalc.bench.common import (
    capacity_at_bad_end, capacity_at_common, resistance_at_common, suspect,
)
from tests.bench.rows import bench_of, row_of


def capacity(**changes):
    return capacity_at_common(row_of(**changes), bench_of())


FALL = 0.010 / (240 * 1.9e-3) / sqrt(3)  # 10 mV of the voltmeter over the fall of the pulse


def resistance(**changes):
    return resistance_at_common(row_of(**changes), bench_of())


def test_at_common_conditions_nothing_is_changed():
    found = capacity()
    assert found.value.shown == "210.0 Ah"
    assert found.relative.number == pytest.approx(sqrt(0.01 ** 2 + 0.005 ** 2 / 3))
    found = resistance()
    assert found.value.shown == "1.900 mΩ" and found.value.basis == "measured"
    assert found.relative.number == pytest.approx(sqrt(0.03 ** 2 + FALL ** 2))


def test_capacity_goes_along_its_two_rules():
    found = capacity(capacity_temperature_degC="20", capacity_current_A="120")
    assert found.value.number == pytest.approx(210 * 3600 / 0.975 * 2.5 ** 0.02)
    parts = (0.01, 0.025 / sqrt(3), 0.02 * log(2.5) / sqrt(3))
    assert found.relative.number == pytest.approx(sqrt(sum(p * p for p in parts)))


@pytest.mark.parametrize(("celsius", "known"), [
    ("14.9", False), ("15", True), ("15.1", True), ("34.9", True), ("35", True), ("35.1", False)])
def test_capacity_outside_15_to_35_degrees_is_uncorrectable(celsius, known):
    found = capacity(capacity_temperature_degC=celsius)
    assert found.value.known is known
    if not known:
        assert found.value.note.startswith("uncorrectable: measured at")
        assert not found.sigma.known and not found.relative.known


@pytest.mark.parametrize(("current", "known"), [
    ("23.9", False), ("24", True), ("24.1", True), ("119.9", True), ("120", True), ("120.1", False)])
def test_capacity_outside_a_tenth_to_half_an_hour_rate_is_uncorrectable(current, known):
    assert capacity(capacity_current_A=current).value.known is known


def test_a_capacity_of_a_test_not_noted_is_brought_nowhere_and_asked_for():
    """It was counted as at 35 °C and C/10, where a stated C/20 or 40 °C was not corrected at all.

    At those ends it is held to the line of rejection: 210/(1 + 0.5 % · 10)·0.5^0.02.
    """
    row = row_of(capacity_current_A="", capacity_temperature_degC="")
    found = capacity_at_common(row, bench_of())
    assert not found.value.known and found.value.note.startswith("uncorrectable: not noted")
    assert found.open_items == ("temperature of the capacity test", "current of the capacity test")
    worst = capacity_at_bad_end(row, bench_of())
    assert worst.value.number == pytest.approx(210 * 3600 / 1.05 * 0.5 ** 0.02)
    assert worst.relative.number > 3 * capacity().relative.number - 0.01
    assert capacity_at_bad_end(row_of(), bench_of()) is None
    assert capacity_at_bad_end(row_of(capacity_current_A="", capacity_temperature_degC="40"),
                               bench_of()) is None


@pytest.mark.parametrize(("ampere_hours", "shown"), [
    ("239.9", "239.9 Ah"), ("240", "240.0 Ah"), ("240.1", "240.0 Ah"), ("250", "240.0 Ah")])
def test_better_than_the_label_counts_as_the_label(ampere_hours, shown):
    found = capacity(capacity_Ah=ampere_hours)
    assert found.value.shown == shown
    assert ("suspect" in found.value.note) is (float(ampere_hours) > 245)


@pytest.mark.parametrize(("change", "doubted"), [("", (245.0, 245.2)), ("3", (255.3, 255.5))])
def test_only_a_capacity_clearly_above_the_label_is_doubted(change, doubted):
    """The line is 240 Ah/(1 − 2u), u² = 1 % (or 3 %)² + (0.5 %)²/3: 245.10 Ah, 255.39 Ah."""
    below, above = (capacity(capacity_Ah=f"{q}", capacity_error_percent=change) for q in doubted)
    assert not suspect(below) and "no more than the label is counted" in below.value.note
    assert suspect(above)
    assert below.sigma.number == pytest.approx(below.relative.number * 240 * 3600)


def test_resistance_is_the_middle_of_what_was_published():
    found = resistance(resistance_temperature_degC="10")
    assert found.value.number == pytest.approx(1.6e-3)  # no better than the type is counted
    assert found.read.number == pytest.approx((1.9e-3 / 1.6 + 1.9e-3 / 1.2) / 2)
    half = (1 / 1.2 - 1 / 1.6) / (1 / 1.2 + 1 / 1.6)
    assert found.relative.number == pytest.approx(sqrt(0.03 ** 2 + half ** 2 / 3 + FALL ** 2))


@pytest.mark.parametrize("column", [
    "resistance_current_A", "resistance_pulse_s", "resistance_temperature_degC",
    "resistance_charge_percent"])
def test_resistance_without_its_conditions_is_uncorrectable(column):
    found = resistance(**{column: ""})
    assert not found.value.known and found.value.note.startswith("uncorrectable: not noted")
    assert len(found.open_items) == 1


@pytest.mark.parametrize(("column", "inside", "outside"), [
    ("resistance_temperature_degC", "-20", "-20.1"), ("resistance_pulse_s", "60", "60.1"),
    ("resistance_pulse_s", "0.001", "0.0009"), ("resistance_temperature_degC", "60", "60.1")])
def test_resistance_is_never_extrapolated(column, inside, outside):
    assert resistance(**{column: inside}).value.known
    found = resistance(**{column: outside})
    assert not found.value.known and "uncorrectable: no published" in found.value.note


def test_an_ac_reading_never_stands_in_for_the_pulse():
    found = resistance(resistance_mohm="", impedance_ac_mohm="1.0")
    assert not found.value.known and found.value.note == "not measured"


def test_own_instruments_count_before_the_briefs():
    found = resistance(resistance_error_percent="1")
    assert found.relative.number == pytest.approx(sqrt(0.01 ** 2 + FALL ** 2))
