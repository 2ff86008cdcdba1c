"""What to find next: the open entry that moves the result most comes first."""

from __future__ import annotations

import numpy as np
import pytest
from packcalc.layouts import Layout, Part
from packcalc.next_steps import HEADLINES, MAIN, NOTICEABLE, find_next, headlines
from packcalc.reading.what_if import with_value

from tests.briefs import asked, module

EIGHT = Layout((Part(0, 8),), 2, "grouped")


def open_brief():
    return asked([module(state_of_health=None, resistance_growth=None)],
                 battery__coldest_start=None, regeneration__power=None,
                 path__fuse_resistance="unknown", precharge={"tries": "unknown"},
                 charger__voltage_range=None)


def test_every_open_entry_is_listed_once():
    brief = open_brief()
    steps = find_next(brief, EIGHT)
    assert {s.unknown.dotted for s in steps} == {u.dotted for u in brief.unknowns}
    assert len(steps) == len(brief.unknowns)


def test_main_figures_first_then_the_largest_swing():
    steps = find_next(open_brief(), EIGHT)
    main = {HEADLINES[name] for name in MAIN}
    ranks = [(s.moves not in main, -s.swing) for s in steps]
    assert ranks == sorted(ranks)
    assert steps[0].swing > 0 and steps[0].moves in main


def test_a_swing_is_the_change_that_the_lucky_answer_makes():
    brief = open_brief()
    base = headlines(brief, EIGHT)
    for step in find_next(brief, EIGHT):
        if step.unknown.other is None:
            assert (step.swing, step.moves) == (0.0, "")
            continue
        other = headlines(with_value(brief, step.unknown.dotted, step.unknown.other), EIGHT)
        name = next((n for n, words in HEADLINES.items() if words == step.moves), None)
        if name:
            assert step.swing == pytest.approx(abs(other[name] - base[name]) / abs(base[name]))


def test_a_barely_moved_main_figure_does_not_hide_what_moves():
    for step in find_next(open_brief(), EIGHT):
        name = next((n for n, words in HEADLINES.items() if words == step.moves), None)
        if name in MAIN:
            assert step.swing >= NOTICEABLE or step.swing == 0 or name in MAIN


def test_the_cold_moves_more_than_a_fuse_resistance():
    order = [s.unknown.dotted for s in find_next(open_brief(), EIGHT)]
    assert order.index("battery.coldest_start") < order.index("path.fuse_resistance")


def test_a_power_that_can_no_longer_be_delivered_is_the_largest_swing():
    brief = asked([module(resistance_growth=None)], power__peak="190 kW",
                  battery__coldest_start="-10 degC")
    assert np.isnan(headlines(brief, EIGHT)["loaded_voltage"])
    assert all(np.isfinite(s.swing) for s in find_next(brief, EIGHT))


def test_a_pair_side_by_side_moves_with_its_members():
    pair = [module(resistance_growth=None), module(id="b", title="b", resistance_growth=None)]
    steps = find_next(asked(pair, mix="parallel"), Layout((Part(2, 8),), 2, "grouped"))
    swings = {s.unknown.dotted: s.swing for s in steps}
    # The larger growth of the two governs: one lucky answer alone moves nothing at 1.5 and 1.5.
    assert swings["modules[0].resistance_growth"] == 0.0
    lone = [module(resistance_growth=None), module(id="b", title="b", resistance_growth=1.1)]
    steps = find_next(asked(lone, mix="parallel"), Layout((Part(2, 8),), 2, "grouped"))
    assert {s.unknown.dotted: s.swing for s in steps}["modules[0].resistance_growth"] > 0.0


def test_headlines_of_routes_hotter_than_their_terminals_do_not_break():
    brief = asked(surroundings__cable_ambient="80 degC",
                  cables__route=[{"name": "a", "terminal_limit": "85 degC",
                                  "insulation_class": "90 degC"}])
    hot = headlines(brief, EIGHT)
    assert np.isfinite(hot["table_current"])
    over = with_value(brief, "surroundings.cable_ambient", 273.15 + 90)
    assert headlines(over, EIGHT)["table_current"] == np.inf
