"""Pre-charge: window, loads, failed charge, slope and what is asked.

Check values are computed by hand beside the test from the formulas of
tests/published/test_college_physics_2022.py and test_electric_circuits_dc_2006.py.
"""

import math

import numpy as np
import pytest

from packcalc import transients as tr
from packcalc.charging import BusLoad
from packcalc.errors import OutOfRange
from packcalc.findings import leaf
from packcalc.protect.precharge import NOTES, PrechargeAsked, preferred_values, size_precharge
from packcalc.tables import table

TITLES = {"highest_voltage": ("Highest working voltage", "V", 400.0),
          "lowest_voltage": ("Lowest battery voltage", "V", 400.0),
          "capacitance": ("Bus capacitance", "mF", 1e-3),
          "capacitance_tolerance": ("Capacitance tolerance", "%", 0.0),
          "resistor_tolerance": ("Resistor tolerance", "%", 0.0),
          "time_limit": ("Time limit", "s", 1.0), "level": ("Level", "%", 0.5),
          "timeout": ("Timeout", "s", 2.0), "tries": ("Tries", "", 3.0),
          "peak_current_limit": ("Current the relay may make", "A", 40.0)}


def given(title, unit, value):
    return leaf(title, "x", unit, value, "given")


def asked(*loads, **changes):
    values = {key: given(title, unit, changes.get(key, value))
              for key, (title, unit, value) in TITLES.items()}
    return PrechargeAsked(loads=loads, **values)


def supply(watts, wakes_at=60.0):
    return BusLoad("supply", "constant power", None, given("Power", "W", watts),
                   given("Wakes at", "V", wakes_at))


def heater(ohms, wakes_at=0.0):
    return BusLoad("heater", "resistive", given("Resistance", "Ω", ohms), None,
                   given("Wakes at", "V", wakes_at))


def duty(item, title):
    return next(f for f in item.duty if f.title == title)


def candidate(item, name):
    return next(c for c in item.candidates if c.name == name)


def verdict(item, name, words):
    checks = [c for c in candidate(item, name).checks if words in c.title]
    assert len(checks) == 1, [c.title for c in candidate(item, name).checks]
    return checks[0]


# --- window -------------------------------------------------------------------------------


def test_window_ends_follow_time_and_current():
    # 1 s, 1 mF, 50 %: R = 1/(0.001·ln 2) = 1442.7 Ω; 400 V at 40 A: 10 Ω
    item = size_precharge(asked(peak_current_limit=1.0))
    assert duty(item, "Upper end of the resistance window").number == pytest.approx(1442.695)
    assert duty(item, "Lower end of the resistance window").number == pytest.approx(400.0)
    assert [c.name for c in item.candidates] == [
        "1500 Ω", "1200 Ω", "1000 Ω", "820 Ω", "680 Ω", "560 Ω", "470 Ω", "390 Ω"]
    assert [c.name for c in item.candidates if not c.qualifies] == ["1500 Ω", "390 Ω"]


def test_at_most_a_decade_is_listed():
    names = [c.name for c in size_precharge(asked()).candidates]
    assert names[-1] == "120 Ω" and names[0] == "1500 Ω" and len(names) == 14


def test_tolerances_narrow_the_window_on_both_sides():
    item = size_precharge(asked(capacitance_tolerance=0.2, resistor_tolerance=0.1))
    upper = duty(item, "Upper end of the resistance window").number
    assert upper == pytest.approx(1442.695 / 1.2 / 1.1, rel=1e-6)
    assert duty(item, "Lower end of the resistance window").number == pytest.approx(10.0 / 0.9)


@pytest.mark.parametrize("limit, wanted", [(0.999, "fail"), (1.0, "pass"), (1.001, "pass")])
def test_time_limit_on_and_around_its_break_point(limit, wanted):
    # 47 Ω, 1 mF, 50 %: 47·0.001·ln 2 = 0.032578 s; the window then ends at 47 Ω
    item = size_precharge(asked(time_limit=47 * 1e-3 * math.log(2) * limit))
    assert verdict(item, "47 Ω", "reaches the level in time").verdict == wanted


@pytest.mark.parametrize("factor, wanted", [(0.999, "fail"), (1.0, "pass"), (1.001, "pass")])
def test_peak_current_limit_on_and_around_its_break_point(factor, wanted):
    item = size_precharge(asked(peak_current_limit=40.0 * factor, time_limit=0.03))  # 400 V/10 Ω
    assert verdict(item, "10 Ω", "peak current").verdict == wanted


def test_without_a_current_limit_the_lower_end_is_asked_for():
    item = size_precharge(asked(peak_current_limit=None))
    assert all(f.title != "Lower end of the resistance window" for f in item.duty)
    check = verdict(item, item.candidates[0].name, "peak current")
    assert check.verdict == "not evaluated" and "ask the relay's maker" in check.reason


def test_an_empty_window_fails_in_words():
    item = size_precharge(asked(peak_current_limit=0.2))  # wants 2000 Ω, time allows 1443 Ω
    assert item.checks[0].verdict == "fail"
    assert "1443 Ω, asked at least 2000 Ω" in item.checks[0].sentence
    assert not item.shortlist


# --- heat ---------------------------------------------------------------------------------


def test_the_failed_charge_governs_and_comes_first():
    item = size_precharge(asked())
    failed, normal = item.duty[0], item.duty[1]
    ohms = 1200.0  # the largest E12 value in the window
    assert failed.number == pytest.approx(3 * 2.0 * 400.0 ** 2 / ohms)
    assert normal.number == pytest.approx(80.0)
    assert item.governing.startswith("a failed pre-charge governs")


def test_a_normal_charge_governs_when_the_timeout_is_short():
    item = size_precharge(asked(timeout=0.1, tries=1.0, time_limit=2.0))  # 13.3 J in 1200 Ω
    assert item.duty[0].title == "Energy of a normal charge (any resistance)"
    assert item.governing.startswith("a normal charge governs")


def test_energy_of_a_charge_is_the_same_for_every_resistance():
    facts = [c.fact("energy of a normal charge") for c in size_precharge(asked()).candidates]
    assert len(facts) > 10 and set(facts) == {"80.00 J"}


def test_current_and_heat_take_the_lower_tolerance():
    item = size_precharge(asked(resistor_tolerance=0.1, time_limit=0.1))
    held = candidate(item, "100 Ω")
    assert held.fact("peak current") == "4.444 A" and held.fact("peak power") == "1778 W"


def test_the_resistor_energy_is_never_passed_without_a_data_sheet():
    for one in size_precharge(asked()).candidates:
        check = next(c for c in one.checks if "failed pre-charge energy" in c.title)
        assert check.verdict == "not evaluated" and "ambient" in check.reason


# --- loads --------------------------------------------------------------------------------


@pytest.mark.parametrize("watts, wanted", [(203.9, "pass"), (204.0, "fail"), (204.1, "fail")])
def test_wake_up_on_and_around_its_break_point(watts, wanted):
    # 60·(400 − 60)/100 = 204 W
    item = size_precharge(asked(supply(watts), time_limit=0.2, peak_current_limit=4.5))
    assert verdict(item, "100 Ω", "wakes without stopping").verdict == wanted


def test_a_hanging_bus_says_where_and_that_it_heats_the_resistor():
    # 340 V over 100 Ω are 1156 W, with a fuller pack more: 1600 W of a failed try are the most
    item = size_precharge(asked(supply(300.0), time_limit=0.2, peak_current_limit=4.5))
    check = verdict(item, "100 Ω", "wakes without stopping")
    assert "hangs near 60.00 V" in check.reason and "stand the failed tries" in check.reason
    assert "1156 W" not in check.reason
    assert candidate(item, "100 Ω").fact("peak power") == "1600 W"
    assert candidate(item, "100 Ω").fact("time to the level, slow corner") == "never"


@pytest.mark.parametrize("watts, wanted", [(75.9, "pass"), (76.0, "fail"), (76.1, "fail")])
def test_equilibrium_on_and_around_its_break_point(watts, wanted):
    # 95 % of 400 V behind 100 Ω: 380·20/100 = 76 W
    item = size_precharge(asked(supply(watts), level=0.95, time_limit=5.0, peak_current_limit=4.5))
    assert verdict(item, "100 Ω", "lies above the closing level").verdict == wanted


@pytest.mark.parametrize("ohms, wanted", [(1899.0, "fail"), (1900.0, "fail"), (1901.0, "pass")])
def test_resistive_load_on_and_around_its_break_point(ohms, wanted):
    # 95 %: R_L ≥ 19·R = 1900 Ω for 100 Ω, reached only after endless time on the point
    item = size_precharge(asked(heater(ohms), level=0.95, time_limit=5.0, peak_current_limit=4.5))
    assert verdict(item, "100 Ω", "lies above the closing level").verdict == wanted


def test_a_level_never_reached_fails_with_the_equation_in_words():
    item = size_precharge(asked(supply(500.0, 200.0), level=0.95, peak_current_limit=4.5))
    check = verdict(item, "100 Ω", "lies above the closing level")
    assert check.verdict == "fail" and "V²/(4·R) = 400.0 W" in check.reason
    assert "never reached" in verdict(item, "100 Ω", "reaches the level in time").reason


def test_loads_add_up():
    one = size_precharge(asked(supply(150.0), time_limit=0.2, peak_current_limit=4.5))
    two = size_precharge(asked(supply(150.0), supply(150.0, 61.0), time_limit=0.2,
                               peak_current_limit=4.5))
    assert candidate(one, "100 Ω").qualifies and not candidate(two, "100 Ω").qualifies


def test_loads_are_judged_at_the_lowest_battery_voltage():
    # 400 V passes 60·340/100 = 204 W at 60 V, 200 V passes 60·140/100 = 84 W
    high = size_precharge(asked(supply(100.0), time_limit=0.2, peak_current_limit=4.5))
    low = size_precharge(asked(supply(100.0), time_limit=0.2, peak_current_limit=4.5,
                               lowest_voltage=200.0))
    assert verdict(high, "100 Ω", "wakes without stopping").verdict == "pass"
    assert verdict(low, "100 Ω", "wakes without stopping").verdict == "fail"


def test_the_loaded_time_agrees_with_quadrature():
    volts = np.linspace(60.0, 360.0, 200_001)
    slope = ((400.0 - volts) / 100.0 - 100.0 / volts) / 1e-3
    wanted = np.trapezoid(1 / slope, volts)
    assert tr.loaded_charging_time(400.0, 100.0, 1e-3, 100.0, 60.0, 360.0) == pytest.approx(
        wanted, rel=1e-8)


@pytest.mark.parametrize("loads, power, conductance", [
    ((supply(100.0),), 100.0, 0.0), ((heater(2000.0),), 0.0, 1 / 2000.0),
    ((supply(60.0), heater(2000.0)), 60.0, 1 / 2000.0)])
def test_the_windows_upper_end_is_in_time_with_the_loads_awake(loads, power, conductance):
    # the time by quadrature at the end of the window is the limit, with the loads awake
    item = size_precharge(asked(*loads, level=0.9, time_limit=0.3))
    end = duty(item, "Upper end of the resistance window").number
    volts = np.linspace(0.0, 360.0, 400_001)
    drawn = np.divide(power, volts, out=np.zeros_like(volts), where=volts >= 60.0) \
        + conductance * volts
    took = np.trapezoid(1e-3 / ((400.0 - volts) / end - drawn), volts)
    assert took == pytest.approx(0.3, rel=1e-3)
    assert end < 0.3 / (1e-3 * math.log(10))  # without loads


def test_a_load_that_sleeps_until_above_the_level_is_a_caution():
    item = size_precharge(asked(supply(500.0, 390.0), level=0.95))
    assert [c.verdict for c in item.checks] == ["pass", "caution"]


def test_an_unknown_load_is_asked_for_and_not_passed():
    load = BusLoad("pump", "constant power", None, given("Power", "W", None),
                   given("Wakes at", "V", 60.0))
    item = size_precharge(asked(load))
    assert [c.verdict for c in item.checks] == ["not evaluated", "not evaluated"]
    assert item.open_items[0].startswith("pump")


def test_a_load_of_no_kind_is_refused():
    with pytest.raises(OutOfRange, match="constant power"):
        BusLoad("pump", "inductive", None, None, given("Wakes at", "V", 60.0))


# --- slope, level, discharge --------------------------------------------------------------


def test_at_the_closing_slope_the_remaining_voltage_is_small_whatever_the_parts():
    item = size_precharge(asked(level=0.95, capacitance_tolerance=0.2, resistor_tolerance=0.1))
    slope = duty(item, "Slope limit to close, at the lowest battery voltage").number
    name = item.specification[0].value.split(" ")[0]
    nominal = float(name)
    for resistance in (0.9 * nominal, nominal, 1.1 * nominal):
        for capacitance in (0.8e-3, 1.0e-3, 1.2e-3):
            assert slope * resistance * capacitance <= 0.05 * 400.0 * (1 + 1e-3)


def test_a_held_bus_is_told_from_a_healthy_loaded_one():
    item = size_precharge(asked(supply(100.0), level=0.8, time_limit=0.3, peak_current_limit=4.5))
    held = duty(item, "Slope under which a bus below the level counts as held").number
    ohms = float(item.specification[0].value.split(" ")[0])
    healthy = [((400 - v) / ohms - 100 / v) / 1e-3 for v in np.linspace(60.0, 320.0, 500)]
    assert 0 < held < min(healthy)


def test_level_and_slope_are_both_specified():
    item = size_precharge(asked(level=0.95))
    close = next(r for r in item.specification if r.what == "control: close the main")
    assert "95.00 %" in close.value and "V/s" in close.value and "AND" in close.value


def test_discharge_companion_names_resistance_and_standing_power():
    # 5 s, 1 mF, 400 V to 60 V: 5/(0.001·ln(400/60)) = 2635.6 Ω, 60.71 W
    item = size_precharge(asked())
    assert item.duty[-2].number == pytest.approx(2635.57, rel=1e-5)
    assert item.duty[-1].number == pytest.approx(60.708, rel=1e-3)


@pytest.mark.parametrize("volts, bleeds", [(59.0, False), (60.0, False), (61.0, True)])
def test_no_bleed_is_asked_at_or_under_60_v(volts, bleeds):
    item = size_precharge(asked(highest_voltage=volts, lowest_voltage=50.0))
    assert any("bleed" in f.title for f in item.duty) is bleeds


# --- what is not known, what is refused -----------------------------------------------------


def test_unknown_capacitance_is_asked_for_and_nothing_is_evaluated():
    item = size_precharge(asked(capacitance=None))
    assert {c.verdict for c in item.checks} == {"not evaluated"}
    assert not item.candidates and "data sheet" in item.open_items[0]


@pytest.mark.parametrize("changes, words", [
    ({"level": 1.0}, "endless time"), ({"level": 0.0}, "between 0 and 100 %"),
    ({"resistor_tolerance": 1.0}, "resistor tolerance"),
    ({"capacitance_tolerance": -0.1}, "upper tolerance"),
    ({"capacitance": 0.0}, "above zero"), ({"tries": 0.0}, "above zero"),
    ({"lowest_voltage": 401.0}, "above the highest working voltage"),
])
def test_nonsense_is_refused_in_words(changes, words):
    with pytest.raises(OutOfRange, match=words):
        size_precharge(asked(**changes))


def test_both_views_on_a_fuse_are_shown():
    assert any("forbids a fuse" in note and "puts a fuse" in note for note in NOTES)


# --- formulas as arrays ---------------------------------------------------------------------


@pytest.mark.parametrize("function, arguments", [
    (tr.charged_voltage, (400.0, np.array([10.0, 100.0]), 1e-3, 0.1)),
    (tr.charging_time, (np.array([10.0, 100.0]), 1e-3, 0.95)),
    (tr.loaded_charging_time, (400.0, 100.0, 1e-3, np.array([0.0, 100.0, 300.0, 500.0]), 60.0,
                               300.0)),
    (tr.bus_voltage_with_power, (400.0, 100.0, np.array([0.0, 399.0, 400.0]))),
    (tr.discharge_time, (np.array([10.0, 100.0]), 1e-3, 400.0, 60.0)),
])
def test_scalar_equals_vector(function, arguments):
    whole = function(*arguments)
    for i, got in enumerate(whole):
        single = function(*(float(a[i]) if isinstance(a, np.ndarray) else a for a in arguments))
        assert float(single) == got


def test_no_steady_voltage_is_no_number():
    assert math.isnan(tr.bus_voltage_with_power(400.0, 100.0, 400.1))
    assert math.isinf(tr.loaded_charging_time(400.0, 100.0, 1e-3, 400.1, 60.0, 100.0))


# --- table ----------------------------------------------------------------------------------


@pytest.mark.parametrize("class_, steps", [("E12", 12), ("E24", 24)])
def test_preferred_values_follow_their_geometric_law(class_, steps):
    # IEC 60063: values lie within 5 % (E24) and 6 % (E12) of 10^(n/steps)
    decade = [v for v in preferred_values(class_) if 1.0 <= v < 10.0]
    assert len(decade) == steps == len(set(decade))
    for n, value in enumerate(decade):
        assert value == pytest.approx(10 ** (n / steps), rel=0.06)
    assert set(preferred_values("E12")) <= set(preferred_values("E24"))


def test_the_table_says_that_the_standard_was_not_seen():
    assert "not seen" in table("preferred_resistors").note
