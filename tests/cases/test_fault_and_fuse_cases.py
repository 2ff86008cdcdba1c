"""Designed corners of fault range and main fuse; packs are invented, arithmetic is here."""

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED
from packcalc.findings import leaf
from packcalc.protect import faults, fuse


def given(title, unit, value):
    return leaf(title, "x", unit, value, "invented")


def pack(full, initial, empty, long, inductance=12e-6):
    return faults.fault_range(faults.FaultAsked(
        voltage_full=given("full voltage", "V", full),
        resistance_initial=given("initial resistance", "mΩ", initial),
        voltage_empty=given("empty voltage", "V", empty),
        resistance_long=given("long resistance", "mΩ", long),
        loop_inductance=given("loop inductance", "µH", inductance)))


def main_fuse(found, continuous, peak, cable, strings=1, ambient=50.0):
    return fuse.size_main_fuse(fuse.FuseAsked(
        highest_voltage=given("highest working voltage", "V", 403.2),
        continuous_current=given("continuous current", "A", continuous),
        peak_current=given("peak current", "A", peak),
        peak_duration=given("peak duration", "s", 10.0),
        box_ambient=given("box ambient", "°C", ambient + 273.15),
        fault_highest=found.highest, fault_lowest=found.lowest,
        time_constant_highest=found.time_constant_highest,
        time_constant_lowest=found.time_constant_lowest,
        cable_current=given("cable capacity", "A", cable), string_count=strings))


def test_cold_pack_leaves_nobody_to_open():
    # Full 403.2 V / 60 mΩ = 6 720 A; empty 288 V / 900 mΩ = 320 A. A1 = √(80/105) = 0.87287,
    # so 170 A continuous asks for 170/(0.87287·0.58) = 335.8 A → 400 A, above 320 A.
    found = pack(403.2, 0.060, 288.0, 0.900)
    assert found.highest.number == pytest.approx(6720.0)
    assert found.lowest.number == pytest.approx(320.0)
    item = main_fuse(found, continuous=170.0, peak=350.0, cable=500.0)
    assert item.duty[0].number == pytest.approx(335.8, abs=0.05)
    assert item.checks[0].verdict == FAIL and item.checks[0].stage == "who clears"


def test_the_same_pack_warmed_leaves_ratings_to_ask_for():
    # Warmed to 300 mΩ: 288/0.3 = 960 A; cable 500 A lets 400 A and 500 A stand.
    found = pack(403.2, 0.060, 288.0, 0.300)
    item = main_fuse(found, continuous=170.0, peak=350.0, cable=500.0)
    assert [c.name for c in item.shortlist] == ["400 A", "500 A"]
    assert all(c.verdict == NOT_EVALUATED for c in item.shortlist)


def test_one_of_two_strings_feeds_the_lowest_fault():
    # Two strings of 120 mΩ: highest 403.2/0.060 = 6 720 A, but one string cold 288/0.5 = 576 A.
    found = pack(403.2, 0.060, 288.0, 0.500)
    item = main_fuse(found, continuous=100.0, peak=250.0, cable=300.0, strings=2)
    # 100/(0.87287·0.58) = 197.5 A → 200 A and 250 A within 300 A, both below 576 A.
    assert [c.name for c in item.shortlist] == ["200 A", "250 A"]
    assert "Each string needs its own fuse" in item.notes[0]


def test_chain_of_the_rating_reaches_the_users_entries():
    found = pack(403.2, 0.060, 288.0, 0.300)
    item = main_fuse(found, continuous=170.0, peak=350.0, cable=500.0)
    titles = {node.title for node in item.duty[0].leaves()}
    assert "continuous current" in titles and "Temperature constant of the link" in titles
    assert any("box ambient" in node.title or "Air around" in node.title
               for node in item.duty[0].walk())


@pytest.mark.property
@pytest.mark.parametrize("continuous", [20.0, 60.0, 120.0, 250.0])
@pytest.mark.parametrize("cable", [100.0, 250.0, 500.0, 900.0])
@pytest.mark.parametrize("long", [0.2, 0.5, 1.5])
def test_shortlist_never_contains_a_failed_check(continuous, cable, long):
    found = pack(403.2, 0.060, 288.0, long)
    item = main_fuse(found, continuous, 2 * continuous, cable)
    for candidate in item.shortlist:
        rating = float(candidate.name.removesuffix(" A"))
        assert rating >= item.duty[0].number - 1e-6
        assert rating <= cable
        assert rating < found.lowest.number
    assert bool(item.shortlist) == (item.checks[0].verdict != FAIL)


@pytest.mark.property
def test_duty_rises_with_load_and_ambient():
    found = pack(403.2, 0.060, 288.0, 0.300)
    loads = [main_fuse(found, amps, 300.0, 500.0).duty[0].number for amps in (50, 100, 200)]
    airs = [main_fuse(found, 100.0, 300.0, 500.0, ambient=t).duty[0].number
            for t in (20, 25, 40, 60, 85, 120)]
    assert loads == sorted(loads) and len(set(loads)) == 3
    assert airs[0] == airs[1] and airs[1:] == sorted(airs[1:]) and len(set(airs)) == 5
