"""What holds for every route: hotter asks for more, and no failed section is on the list."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.cable_rules import RULES
from packcalc.checks import FAIL
from packcalc.findings import leaf
from packcalc.protect.cable import size_route
from packcalc.protect.route_figures import RouteAsked

ZERO = 273.15
INSTALL = {"NFPA 70": "conduit", "IEC 60364-5-52": "surface", "DIN VDE 0298-4": "spaced in air",
           "33 CFR 183": "touching in air"}
pytestmark = pytest.mark.property


def value(title, unit, number):
    return leaf(title, "x", unit, number, "given")


def route(rules, air, current, terminals=85.0, fault=900.0, peak=2.0):
    return RouteAsked(
        name="invented", length=value("length", "m", 4.0), install=INSTALL[rules],
        grouped_circuits=value("circuits", "", 1.0),
        insulation_class=value("class", "°C", 110.0 + ZERO),
        terminal_limit=value("terminals", "°C", terminals + ZERO),
        ambient=value("air", "°C", air + ZERO), rules=rules,
        continuous_current=value("current", "A", current),
        peak_current=value("peak", "A", current * peak),
        peak_duration=value("time", "s", 10.0), system_voltage=value("voltage", "V", 260.0),
        voltage_drop_limit=value("drop", "%", 0.02), fault_highest=value("high", "A", 5000.0),
        fault_lowest=value("low", "A", fault), counted_time=value("counted", "s", 1.0),
        overload_device="management trip")


AIR = st.floats(min_value=-20.0, max_value=50.0)
RULE = st.sampled_from(sorted(RULES))
CURRENT = st.floats(min_value=5.0, max_value=400.0)


@settings(max_examples=60, deadline=None)
@given(RULE, AIR, AIR, CURRENT, st.floats(min_value=60.0, max_value=105.0))
def test_required_table_current_rises_with_air_within_one_rule_set(rules, a, b, current, limit):
    cool, hot = (size_route(route(rules, air, current, limit)) for air in sorted((a, b)))
    for lower, higher in zip(cool.choices, hot.choices, strict=True):
        assert lower.runs == higher.runs
        assert lower.required.number <= higher.required.number * (1 + 1e-12)


@settings(max_examples=40, deadline=None)
@given(RULE, AIR, CURRENT, CURRENT)
def test_required_table_current_rises_with_the_load(rules, air, a, b):
    light, heavy = (size_route(route(rules, air, i)) for i in sorted((a, b)))
    for lower, higher in zip(light.choices, heavy.choices, strict=True):
        assert lower.required.number <= higher.required.number * (1 + 1e-12)


@settings(max_examples=60, deadline=None)
@given(RULE, AIR, CURRENT, st.floats(min_value=60.0, max_value=105.0),
       st.floats(min_value=50.0, max_value=20000.0), st.floats(min_value=1.0, max_value=4.0))
def test_no_failed_section_is_on_the_shortlist(rules, air, current, limit, fault, peak):
    result = size_route(route(rules, air, current, limit, fault, peak))
    for candidate in result.item.shortlist:
        assert all(check.verdict != FAIL for check in candidate.checks)
    for choice in result.choices:
        if choice.candidate is not None:
            assert choice.candidate in result.item.shortlist
            assert choice.current_capacity.number >= current * (1 - 1e-9)
            assert choice.withstand.number >= fault ** 2 * (1 - 1e-9)


@settings(max_examples=40, deadline=None)
@given(RULE, AIR, CURRENT)
def test_a_refusal_has_no_candidates_and_a_reason(rules, air, current):
    result = size_route(route(rules, air + 60.0, current))
    if not result.choices:
        assert result.item.candidates == () and result.item.checks[0].reason
