"""Cables of one route: rules at their break points, refusals, and what reaches a shortlist."""

import dataclasses

import numpy as np
import pytest

from packcalc import cable_rules, conductors
from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.errors import OutOfRange, UnknownName
from packcalc.findings import leaf
from packcalc.protect import cable, route_figures
from packcalc.tables import table

ZERO = 273.15


def given(title, unit, value, basis="given"):
    return leaf(title, "x", unit, value, basis)


def route(**changed):
    """A route of our own invention: 3 m from battery to inverter."""
    base = dict(
        name="battery to inverter", length=given("length", "m", 3.0), install="touching in air",
        grouped_circuits=given("grouped circuits", "", 1.0),
        insulation_class=given("insulation class", "°C", 125.0 + ZERO),
        terminal_limit=given("terminal limit", "°C", 85.0 + ZERO),
        ambient=given("air around the cable", "°C", 50.0 + ZERO), rules="IEC 60364-5-52",
        continuous_current=given("continuous current", "A", 180.0),
        peak_current=given("peak current", "A", 400.0),
        peak_duration=given("length of the peak", "s", 10.0),
        system_voltage=given("lowest voltage", "V", 260.0),
        voltage_drop_limit=given("drop limit", "%", 0.02),
        fault_highest=given("highest fault", "A", 4000.0),
        fault_lowest=given("lowest fault", "A", 900.0),
        counted_time=given("counted time", "s", 1.0), overload_device="battery management trip")
    return route_figures.RouteAsked(**{**base, **changed})


def celsius(title, value, basis="given"):
    return given(title, "°C", value + ZERO, basis)


def check_of(candidate, title):
    return next(c for c in candidate.checks if c.title == title)


def sized(**changed):
    return cable.size_route(route(**changed))


# Ambient: the row is on, just below and just above.
@pytest.mark.parametrize("ambient, factor", [(49.9, 0.82), (50.0, 0.82), (50.1, 0.76),
                                             (-20.0, 1.15), (80.0, 0.41)])
def test_ambient_goes_to_the_hotter_row(ambient, factor):
    use = cable_rules.rule_set("IEC 60364-5-52").table_for("surface", 90.0 + ZERO)
    assert cable_rules.ambient_factor(use, celsius("air", ambient)).number == factor


def test_ambient_above_the_table_is_refused_and_the_item_says_so():
    result = sized(ambient=celsius("air", 80.1), terminal_limit=celsius("t", 105.0))
    assert result.chosen is None and result.item.candidates == ()
    assert result.item.checks[0].verdict == FAIL
    assert "ambient_C = 80.1 is outside the table (10 to 80)" in result.item.governing


@pytest.mark.parametrize("key, circuits, factor", [
    ("NFPA 70", 1, 1.0), ("NFPA 70", 2, 0.8), ("NFPA 70", 3, 0.8), ("NFPA 70", 4, 0.7),
    ("IEC 60364-5-52", 1, 1.0), ("IEC 60364-5-52", 10, 0.48), ("IEC 60364-5-52", 11, 0.45),
    ("33 CFR 183", 1, 1.0), ("33 CFR 183", 2, 0.6), ("33 CFR 183", 4, 0.5)])
def test_grouping_counts_pairs_as_each_rule_set_does(key, circuits, factor):
    rule = cable_rules.rule_set(key)
    use = rule.table_for("spaced in air", 90.0 + ZERO)
    assert cable_rules.grouping_factor(use, circuits).number == factor


def test_grouping_outside_the_table_is_refused():
    use = cable_rules.rule_set("IEC 60364-5-52").table_for("conduit", 90.0 + ZERO)
    with pytest.raises(OutOfRange, match="count_max = 21 is outside"):
        cable_rules.grouping_factor(use, 21)
    with pytest.raises(OutOfRange, match="count this route itself as one"):
        cable_rules.grouping_factor(use, 0)


@pytest.mark.parametrize("key, install, asked, found", [
    ("NFPA 70", "conduit", 74.9, 60.0), ("NFPA 70", "conduit", 75.0, 75.0),
    ("NFPA 70", "conduit", 180.0, 90.0), ("IEC 60364-5-52", "touching in air", 179.9, 90.0),
    ("IEC 60364-5-52", "touching in air", 180.0, 180.0),
    ("DIN VDE 0298-4", "single in air", 134.9, 110.0),
    ("33 CFR 183", "touching in air", 124.0, 105.0)])
def test_insulation_class_is_rounded_down(key, install, asked, found):
    use = cable_rules.rule_set(key).table_for(install, asked + ZERO)
    assert use.insulation == found + ZERO


@pytest.mark.parametrize("key, install, asked, words", [
    ("33 CFR 183", "conduit", 105.0, "no current table for 'conduit'.*NFPA 70, IEC 60364-5-52"),
    ("DIN VDE 0298-4", "surface", 110.0, "no current table for 'surface'"),
    ("IEC 60364-5-52", "conduit", 70.0, "lowest class is 90 °C")])
def test_what_a_rule_set_does_not_know_is_refused(key, install, asked, words):
    with pytest.raises(OutOfRange, match=words):
        cable_rules.rule_set(key).table_for(install, asked + ZERO)


def test_an_unknown_rule_set_lists_the_known_ones():
    with pytest.raises(UnknownName, match="did you mean 'NFPA 70'"):
        sized(rules="NFPA 7")


@pytest.mark.parametrize("key", cable_rules.RULES)
def test_each_use_says_that_no_vehicle_table_exists(key):
    result = sized(rules=key)
    assert "No vehicle table exists" in result.item.notes[0]
    assert cable_rules.rule_set(key).made_for in result.item.notes[0]


@pytest.mark.parametrize("key", cable_rules.RULES)
def test_figures_of_one_use_come_from_that_rule_set_alone(key):
    tables = {t for use in cable_rules.rule_set(key).tables
              for t in (use.currents, use.ambients, use.grouping)}
    result = sized(rules=key)
    for finding in result.item.duty[:2]:
        for item in finding.leaves():
            if item.origin and item.origin.place.startswith("table "):
                assert item.origin.place.removeprefix("table ") in tables


def test_terminals_govern_before_the_insulation():
    result = sized()
    assert "governed by the terminals" in result.item.governing
    assert result.chosen.required.number > 180.0 / 0.82
    assert "governed by the insulation" in sized(terminal_limit=celsius("t", 120.0)).item.governing


def test_terminals_no_hotter_than_the_air_are_refused():
    item = sized(terminal_limit=celsius("terminals", 50.0)).item
    assert item.shortlist == () and "leaves nothing below the limit" in item.governing


def test_conductor_temperature_on_its_limit_passes_and_just_above_fails():
    # At the required table current itself the conductor stands on the terminals' limit.
    needed = sized().choices[0].required.number
    at = dict(ambient=323.15, rise=60.0, grouping_factor=1.0, table_current=needed)
    on = conductors.conductor_temperature(current=180.0, **at)
    assert on == pytest.approx(85.0 + ZERO, abs=1e-9)
    assert conductors.conductor_temperature(current=180.1, **at) > 85.0 + ZERO


@pytest.mark.parametrize("current, fits", [(199.99, True), (200.0, True), (200.01, False)])
def test_a_section_is_taken_on_its_table_current_and_not_above(current, fits):
    result = sized(continuous_current=given("continuous", "A", current),
                   peak_current=given("peak", "A", current), peak_duration=given("t", "s", 0.1),
                   ambient=celsius("air", 30.0), terminal_limit=celsius("terminals", 105.0),
                   insulation_class=celsius("class", 90.0), runs=(1,))
    # 35 mm² is printed 200 A in method F; the peak's own warming is kept out of this test.
    small = next(c for c in result.item.candidates if c.name == "1 × 35 mm²")
    assert (check_of(small, "Corrected current").verdict == PASS) is fits


def test_the_shortlist_runs_from_one_below_to_three_above():
    result = sized(runs=(1,))
    names = [c.name for c in result.item.candidates]
    assert names == ["1 × 50 mm²", "1 × 70 mm²", "1 × 95 mm²", "1 × 120 mm²", "1 × 150 mm²"]
    assert [c.qualifies for c in result.item.candidates] == [False, True, True, True, True]


def test_two_runs_share_unevenly_and_count_as_two_circuits():
    result = sized()
    one, two = result.choices
    assert two.required.number == pytest.approx(one.required.number * 0.55 / 0.80)
    assert two.candidate.name == "2 × 35 mm²"
    assert any("equal length" in note for note in result.item.notes)


def test_one_run_alone_must_stand_the_whole_fault():
    result = sized(fault_lowest=given("lowest fault", "A", 4000.0))
    two = result.choices[1]
    assert two.withstand.number >= 4000.0 ** 2
    assert two.candidate.name == "2 × 50 mm²"


def test_nobody_for_overload_stops_every_candidate():
    result = sized(overload_device="nobody")
    assert result.item.shortlist == () and result.chosen is None
    check = check_of(result.item.candidates[0], "Overload protection")
    assert check.verdict == FAIL and "nobody ends an overload" in check.reason


@pytest.mark.parametrize("rating, verdict", [(236.0, NOT_EVALUATED), (237.5, FAIL)])
def test_a_fuse_above_the_cable_fails_and_one_below_is_still_to_be_shown(rating, verdict):
    result = sized(overload_device="main fuse", fuse_rating=given("fuse", "A", rating), runs=(1,))
    seventy = next(c for c in result.item.candidates if c.name == "1 × 70 mm²")
    assert check_of(seventy, "Overload protection").verdict == verdict


def test_lowest_fault_on_below_and_above_what_one_cable_survives():
    limit = sized(runs=(1,)).choices[0].survivable.number
    for factor, verdict in ((0.999, PASS), (1.0, PASS), (1.001, FAIL)):
        result = sized(fault_lowest=given("lowest fault", "A", limit * factor), runs=(1,))
        seventy = next(c for c in result.item.candidates if c.name == "1 × 70 mm²")
        check = check_of(seventy, "Lowest fault over the counted time")
        assert check.verdict == verdict, factor


def test_let_through_is_a_demand_and_never_a_pass():
    for candidate in sized().item.candidates:
        check = check_of(candidate, "Let-through of the fuse")
        assert check.verdict == NOT_EVALUATED and "total clearing I²t" in check.reason


def test_the_end_of_a_fault_is_the_lowest_limit_and_assumed_when_not_given():
    asked = route()
    assert "160 °C assumed" in " ".join(cable.size_route(asked).item.open_items)
    hot = sized(joint_limit=celsius("lug", 200.0), insulation_end=celsius("insulation", 250.0))
    assert hot.chosen.withstand.number > cable.size_route(asked).chosen.withstand.number
    same = sized(joint_limit=celsius("lug", 200.0))
    assert same.chosen.withstand.number == cable.size_route(asked).chosen.withstand.number


def test_the_assumed_end_is_the_lowest_printed_up_to_300_square_millimetres():
    # IEC 60364-5-54 Table A.54.4; no table here goes above 253 mm².
    rows = [r for r in table("cable_k_factors").rows if ">300" not in r["insulation"]]
    assert route_figures.JOINT_LIMIT == min(r["final_C"] for r in rows) + ZERO


def test_a_budget_smaller_than_the_loop_asks_for_a_larger_section():
    loop = sized().chosen.loop_resistance.number
    on = sized(resistance_budget=given("allowance", "mΩ", loop))
    under = sized(resistance_budget=given("allowance", "mΩ", loop * 0.999))
    assert on.choices[0].candidate.name == "1 × 70 mm²"
    assert under.choices[0].candidate.name == "1 × 95 mm²"
    assert "no allowance" in check_of(sized().chosen.candidate,
                                      "Loop resistance allowed in the sag").reason


def test_drop_limit_is_held_at_the_steady_current():
    choice = sized(runs=(1,)).choices[0]
    ratio = 180.0 * choice.loop_resistance.number / 260.0
    under = sized(runs=(1,), voltage_drop_limit=given("drop", "%", ratio * 0.999))
    assert under.choices[0].candidate.name == "1 × 95 mm²"


@pytest.mark.parametrize("seconds, steady", [(300.0, 180.0), (300.1, 400.0)])
def test_a_peak_over_five_minutes_is_a_steady_load(seconds, steady):
    result = sized(peak_duration=given("peak", "s", seconds), runs=(1,))
    duty = next(f for f in result.item.duty if f.title == "steady current of the busier run")
    assert duty.number == steady


def test_a_peak_that_melts_small_copper_fails_without_a_traceback():
    result = sized(continuous_current=given("c", "A", 10.0), peak_current=given("p", "A", 900.0),
                   peak_duration=given("t", "s", 60.0), runs=(1,))
    assert result.chosen.candidate.name != "1 × 6 mm²"
    with pytest.raises(OutOfRange, match="could melt the copper"):
        conductors.peak_temperature(350.0, 900.0, 60.0, 6e-6)


@pytest.mark.parametrize("basis, current, column", [
    ("given", 100.0, 75.0), ("assumed", 100.0, 60.0), ("assumed", 100.1, 75.0)])
def test_unmarked_terminals_take_the_60_degree_column_up_to_100_ampere(basis, current, column):
    # NFPA 70 110.14(C)(1)(a) and (b).
    result = sized(rules="NFPA 70", continuous_current=given("c", "A", current), runs=(1,),
                   peak_current=given("p", "A", current),
                   terminal_limit=celsius("terminals", 85.0, basis))
    title = check_of(result.chosen.candidate, "Terminals' column, 110.14(C)").figure.title
    assert f"{column:g} °C column" in title


def test_terminals_under_60_degrees_have_no_column():
    result = sized(rules="NFPA 70", terminal_limit=celsius("terminals", 59.0), runs=(1,))
    assert result.chosen is None


def test_a_remembered_factor_never_carries_a_pass():
    # 33 CFR 183, 200 °C class at 50 °C: 1.00 is remembered and lies above the law.
    result = sized(rules="33 CFR 183", insulation_class=celsius("class", 200.0))
    for candidate in result.item.candidates:
        assert check_of(candidate, "Corrected current").verdict != PASS


def test_din_table_knows_no_gain_below_its_ambient():
    use = cable_rules.rule_set("DIN VDE 0298-4").table_for("spaced in air", 180.0 + ZERO)
    assert cable_rules.ambient_factor(use, celsius("air", 20.0)).number == 1.0
    with pytest.raises(OutOfRange):
        ninety = cable_rules.rule_set("DIN VDE 0298-4").table_for("spaced in air", 90.0 + ZERO)
        cable_rules.ambient_factor(ninety, celsius("air", 50.1))


def test_both_systems_of_sizes_are_shown():
    held = sized().chosen.candidate
    assert held.fact("section") == "70.00 mm²"
    assert held.fact("other system, not smaller") == "3/0 AWG (85.03 mm²)"
    nec = sized(rules="NFPA 70").chosen.candidate
    assert nec.fact("section") == "85.03 mm²" and nec.fact("other system, not smaller") == "95 mm²"


def test_nothing_known_asks_by_name():
    result = sized(ambient=leaf("air around the cable", "θ_a", "°C", None, "given"))
    assert result.item.checks[0].verdict == NOT_EVALUATED
    assert result.item.open_items == ("not known: air around the cable",)


def test_unknown_faults_and_voltage_are_not_evaluated():
    blank = leaf("unknown", "x", "A", None, "given")
    result = sized(fault_lowest=blank, fault_highest=blank, system_voltage=blank)
    seventy = result.chosen.candidate
    assert check_of(seventy, "Lowest fault over the counted time").verdict == NOT_EVALUATED
    assert check_of(seventy, "Voltage drop at the steady current").verdict == NOT_EVALUATED


def test_no_section_is_an_answer():
    result = sized(continuous_current=given("c", "A", 1500.0),
                   peak_current=given("p", "A", 1500.0))
    assert result.chosen is None and result.current_capacity is None
    assert "no section of the table qualifies" in result.item.governing
    assert result.item.open_items[0].startswith("no section qualifies")
    assert len(result.item.candidates) == 4 and result.item.shortlist == ()


def test_helpers_give_the_figures_of_each_run_count():
    result = sized()
    assert cable.capacity_of(result, 2) is result.choices[1].current_capacity
    assert cable.capacity_of(result, 3) is None


def test_checks_stand_in_the_order_of_the_house():
    from packcalc.checks import STAGES
    for candidate in sized(rules="NFPA 70").item.candidates:
        order = [STAGES.index(c.stage) for c in candidate.checks]
        assert order == sorted(order)


def test_what_was_asked_is_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        route().rules = "NFPA 70"


VECTORS = [
    (conductors.cable_ambient_factor, (363.15, np.array([300.0, 330.0]), 60.0)),
    (conductors.required_table_current, (np.array([100.0, 200.0]), 0.55, 0.82, 0.8)),
    (conductors.corrected_current, (np.array([100.0, 200.0]), 0.82, 0.8)),
    (conductors.conductor_temperature, (323.15, 60.0, np.array([50.0, 90.0]), 100.0, 0.8)),
    (conductors.copper_resistance, (np.array([1e-3, 2e-3]), 293.15, 363.15)),
    (conductors.adiabatic_constant, (np.array([300.0, 400.0]), 433.15)),
    (conductors.minimum_section, (np.array([1e3, 2e3]), 1.0, 115e6)),
    (conductors.cable_withstand, (115e6, np.array([35e-6, 70e-6]))),
    (conductors.survivable_current, (np.array([1e6, 2e6]), 1.0)),
    (conductors.peak_temperature, (350.0, np.array([100.0, 400.0]), 10.0, 70e-6)),
    (conductors.awg_area, (np.array([-3.0, 2.0]),)),
    (conductors.cable_loop_resistance, (1e-3, np.array([2.0, 3.0]), 2.0)),
]


@pytest.mark.parametrize("function, arguments", VECTORS, ids=lambda v: getattr(v, "__name__", ""))
def test_scalar_equals_vector(function, arguments):
    whole = function(*arguments)
    for i in range(2):
        single = function(*(a[i] if isinstance(a, np.ndarray) else a for a in arguments))
        assert float(single) == pytest.approx(float(whole[i]), rel=1e-15)


def test_a_fault_that_begins_at_its_end_is_refused():
    with pytest.raises(OutOfRange, match="nothing is left to heat"):
        conductors.adiabatic_constant(433.15, 433.15)
    assert conductors.adiabatic_constant(433.14, 433.15) > 0.0
