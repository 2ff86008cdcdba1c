"""A slip of prefix or unit shuts the gate wherever the tool knows a true lower end.

Bands are worked by hand from their definitions; demo readings are invented.
"""

from __future__ import annotations

import pytest

from packcalc import api
from packcalc.handover import readings as rd
from packcalc.handover.commission import plan_of
from packcalc.report.commission_report import answer
from packcalc.units import from_si
from tests.handover_cases import readings_of, study_of
from tests.sized import example

NAMES = ("truck", "van", "minibus")


def held(sized, name: str, value: str) -> rd.Compared:
    file = readings_of(sized, f"{name},{value},,,2026-05-10,,\n")
    return rd.compare(plan_of(sized).reading(name), file.readings)


@pytest.mark.parametrize(("name", "value"), [
    ("charge.cell_highest", "4.30 mV"), ("charge.cell_highest", "0.419 V"),
    ("charge.cell_highest", "3.19 V"), ("wheels.bus_highest", "0.460 V"),
    ("wheels.bus_highest", "404 mV"), ("charge.cell_hottest", "33 degF"),
    ("warm.cell_hottest", "33 degF"), ("warm.joint_hottest", "48 degF"),
    ("logic.timeout", "1.6 ms")])
def test_a_slipped_prefix_or_unit_keeps_the_gate_shut(name, value) -> None:
    sized = example("truck")
    one = held(sized, name, value)
    assert one.verdict == rd.BELOW and not one.holds
    assert "look at value and unit" in one.suggests
    assert name in answer(sized, readings_of(sized, f"{name},{value},,,2026-05-10,,\n"))


def test_a_coldest_cell_hotter_than_any_may_be_is_a_slip_too() -> None:
    one = held(example("truck"), "charge.cell_coldest", "57 °C")  # 57 °F is 13.9 °C
    assert one.verdict == rd.ABOVE and "look at value and unit" in one.suggests
    assert held(example("truck"), "charge.cell_coldest", "57 degF").verdict == rd.IN_BAND


@pytest.mark.parametrize(("name", "value"), [
    ("charge.cell_highest", "4190 mV"), ("charge.cell_highest", "4.19 V"),
    ("wheels.bus_highest", "404 V"), ("wheels.bus_highest", "0.404 kV"),
    ("charge.cell_hottest", "80 degF"), ("warm.joint_hottest", "48 °C"),
    ("warm.cell_hottest", "31 °C"), ("logic.timeout", "1600 ms"),
    # right when it is near nothing: no lower end may refuse it
    ("weld.plus", "2.1 mV"), ("weld.plus", "0 V"), ("dead.terminal_voltage", "0.1 mV"),
    ("charge.cell_spread", "0 mV"), ("sense.monitor_error", "0 mV")])
def test_what_is_rightly_read_stays_in_band(name, value) -> None:
    assert held(example("truck"), name, value).verdict == rd.IN_BAND


def test_the_highest_cell_is_held_from_the_mean_that_the_charger_ends_at_less_the_meters_error():
    # truck, NMC: 4.2 V a cell, charger ± 0.5 %, monitor 10 mV: 4.2·0.995 − 0.010 = 4.169 V
    sized = example("truck")
    band = plan_of(sized).reading("charge.cell_highest")
    assert band.low.number == pytest.approx(4.2 * 0.995 - 0.010)
    assert held(sized, "charge.cell_highest", "4.170 V").verdict == rd.IN_BAND
    assert held(sized, "charge.cell_highest", "4.168 V").verdict == rd.BELOW
    lower = plan_of(sized).reading("charge.end_voltage").low.number
    assert band.low.number < lower / 96


def test_a_trip_that_ends_the_charge_first_keeps_its_band_open() -> None:
    import tomllib

    from tests.handover_cases import WITH_LINK
    raw = tomllib.loads(WITH_LINK)
    raw.setdefault("management", {})["overvoltage_trip"] = "4.05 V"
    sized = api.size_protection(api.make_brief(raw), "16S1P")
    band = plan_of(sized).reading("charge.cell_highest")
    assert band.high.number == pytest.approx(4.05) and band.low.number < 4.05
    assert held(sized, "charge.cell_highest", "4.04 V").verdict == rd.IN_BAND


@pytest.mark.parametrize("name", NAMES)
def test_every_new_lower_end_lies_below_its_upper_end(name) -> None:
    plan = plan_of(example(name))
    for key in ("charge.cell_coldest", "charge.cell_highest", "charge.cell_hottest",
                "wheels.bus_highest", "warm.joint_hottest", "warm.cell_hottest", "logic.timeout"):
        one = plan.reading(key)
        assert one.low.known and one.high.known and one.low.number < one.high.number, key
        assert one.below and one.above, key


def test_the_bus_is_held_from_the_empty_pack_and_the_timeout_from_the_quickest_precharge() -> None:
    sized = example("truck")
    plan = plan_of(sized)
    assert plan.reading("wheels.bus_highest").low.number == sized.pack.empty_voltage.number
    assert from_si(plan.reading("warm.joint_hottest").low.number, "°C") == pytest.approx(15.0)
    assert plan.reading("logic.timeout").low.number == \
        plan.reading("pack.precharge_time").low.number


def test_a_timeout_shorter_than_the_quickest_precharge_still_has_a_band() -> None:
    import tomllib

    from tests.handover_cases import WITH_LINK
    raw = tomllib.loads(WITH_LINK)
    raw["precharge"]["timeout"] = "0.1 s"
    sized = api.size_protection(api.make_brief(raw), "16S1P")
    band = plan_of(sized).reading("logic.timeout")
    assert band.low.number < band.high.number


def test_where_hardly_anything_is_known_the_bus_is_still_held_from_the_empty_pack() -> None:
    assert held(study_of(), "wheels.bus_highest", "0.350 V").verdict == rd.BELOW
