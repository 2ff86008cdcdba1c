"""Every formula answers to a printed number, is a definition, or is named as a rule of our own.

No source is overworked, and none that nobody read is the ground of a formula.
"""

from __future__ import annotations

import collections
import importlib.util
from pathlib import Path

import pytest
from packcalc import catalogue
from packcalc.sources import register, source

FOLDER = Path(__file__).parent
MOST_CHECKS_PER_SOURCE = 5
HANDBOOK_GRADE = ("standard", "law", "paper", "book", "guide", "data")
NOT_READ = ("remembered", "not seen")
OUR_RULE = "packcalc-rule"

# Rules of our own: no printed number answers for them, and they hold by no definition. Each
# errs to the side that `packcalc formulas NAME` shows.
OWN_RULES = {
    "capacity_counted": "no source says what to do with a reading above the label",
    "capacity_test_time": "a plan of hours at our own bench",
    "charge_left": "bound: the sagging voltage moves the current during the peak",
    "days_to_limit": "no source was read on how fast a joint or an isolation wears",
    "growth_with_age": "published tests give points of a cross-section, no line",
    "half_slope": "no source says which slope is still healthy",
    "highest_rest_voltage": "the papers print one curve, seldom both branches of it",
    "initial_resistance": "no test was read that varies pulse length and heat together",
    "initial_resistance_measured": "no test was read on modules",
    "largest_measured": "no source says how far the errors of one bench go together",
    "least_measured": "no source says how far the errors of one bench go together",
    "limit_at_health": "no maker prints limits of worn modules",
    "lowest_rest_voltage": "the papers print one curve, seldom both branches of it",
    "rate_half_width": "no published spread of the correction",
    "reinforced_step": "the sentence of the standard was not seen: two forms, the larger",
    "resistance_at_corner": "no test was read on worn modules at other corners",
    "resistance_counted": "no source says what to do with a reading better than new",
    "resistance_at_fault": "policy: age is never counted on against the highest fault",
    "section_energy": "bound: energy falls faster than charge",
    "shared_limit": "bound of the current divider, whatever stands beside",
    "same_energy_constant": "no source says how far a permitted time constant outlasts a test",
    "temperature_half_width": "no published spread of the correction",
}


def _printed():
    found = []
    for path in sorted(FOLDER.glob("test_*.py")):
        if path.name == Path(__file__).name:
            continue
        spec = importlib.util.spec_from_file_location(f"printed_{path.stem}", path)
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        found += [*getattr(module, "PRINTED", [])]
    return found


PRINTED = _printed()
FORMULAS = catalogue.all_formulas()


def _is_ground(key):
    cited = source(key)
    return cited.kind in HANDBOOK_GRADE and not cited.seen.startswith(NOT_READ)


def test_every_formula_is_checked_or_a_definition_or_a_named_rule():
    grounded = {case.formula for case in PRINTED if _is_ground(case.source)}
    assert [f"{name} ({entry.basis}, {entry.source}) has no printed number to answer to"
            for name, entry in FORMULAS.items()
            if entry.basis != "definition" and name not in OWN_RULES
            and name not in grounded] == []


def test_own_rules_are_those_that_the_formulas_call_assumed():
    assert {name for name, f in FORMULAS.items() if f.basis == "assumed"} == set(OWN_RULES)
    assert all(OWN_RULES.values())


@pytest.mark.parametrize("name", sorted(OWN_RULES))
def test_an_own_rule_says_what_it_takes_and_to_which_side_it_errs(name):
    entry = FORMULAS[name]
    assert entry.source == OUR_RULE
    assert entry.where, "what it takes for granted"
    assert entry.safe_side, "to which side it errs"


def test_nothing_but_a_definition_goes_without_a_source_and_a_definition_cites_none():
    for name, entry in FORMULAS.items():
        assert bool(entry.source) == (entry.basis != "definition"), name


def test_every_input_says_what_it_is_and_every_safe_side_why():
    for name, entry in FORMULAS.items():
        assert all(i.meaning for i in entry.inputs), name
        assert entry.safe_side not in ("high", "low", "wide"), name


@pytest.mark.parametrize("name", [
    # Empirical or borrowed rules that once stood as definitions.
    "capacity_at_25", "capacity_at_c5", "growth_with_age", "limit_at_health", "outlier_limit",
    "combined_uncertainty", "rectangular_uncertainty", "arc_current", "adiabatic_time",
    "survivable_current", "log_log_time", "log_log_current", "rising_integral",
    "fuse_rating_by_sheet", "curve_voltage", "ratio_between_pulses", "resistance_under_load",
])
def test_a_rule_that_nature_or_a_guide_sets_is_no_definition(name):
    assert FORMULAS[name].basis != "definition"


def test_the_catalogue_lists_the_rooms_that_hold_formulas():
    assert {f.module for f in FORMULAS.values()} == set(catalogue.ROOMS)


def test_no_source_serves_more_than_five_checks():
    counts = collections.Counter(case.source for case in PRINTED)
    assert not {k: n for k, n in counts.items() if n > MOST_CHECKS_PER_SOURCE}


def test_no_check_was_read_on_a_forum_or_course_page():
    for case in PRINTED:
        seen = source(case.source).seen
        assert "course page" not in seen, case.source
        # of BS 7671 only a law's wording was; every number came from table pages
        assert "forum" not in seen or case.source == "bs-7671", case.source


def test_every_check_names_a_registered_source_and_formula():
    for case in PRINTED:
        source(case.source)
        assert case.formula in FORMULAS
        assert case.where
        assert 0 < case.tolerance <= 0.1 and case.reason, case


def test_every_formula_cites_a_registered_source():
    assert [name for name, entry in FORMULAS.items()
            if entry.source and entry.source not in register()] == []
