"""Layouts as objects, and how rows of them fail, rank and miss."""

from __future__ import annotations

import numpy as np
import pytest
from packcalc import layouts as lay
from packcalc.layouts import Layout, Part, Screened

from tests.briefs import asked, module


def rows(margins: dict[str, list[float]], **columns: list[float]) -> Screened:
    """Screened rows with the margins given; figures that do not matter are equal."""
    n = len(next(iter(margins.values())))
    figures = {"usable_energy": [1.0] * n, "mass": [1.0] * n, **columns}
    return Screened((0,), np.arange(1, n + 1)[:, None], np.ones(n, int), np.zeros(n, bool),
                    {k: np.array(v) for k, v in figures.items()},
                    {k: np.array(v) for k, v in margins.items()})


def order(found: Screened) -> list[int]:
    return found.series[:, 0].tolist()


def test_notation_of_modules_and_cells():
    brief = asked([module(), module(id="b", cells_in_series=4, cells_in_parallel=3)])
    one = Layout((Part(0, 8),), 2, "grouped")
    assert (one.label, one.series, one.cells(brief)) == ("8S2P", 8, "96s4p")
    two = Layout((Part(0, 7), Part(1, 3)), 2, "strings")
    assert (two.label, two.series, two.cells(brief)) == ("7S+3S2P", 10, "84s4p+12s6p")


def test_cells_that_nobody_counted_are_not_counted_as_one():
    # was "96s2p": a figure that nobody knows was printed as if it were known
    brief = asked([module(cells_in_parallel=None)])
    assert Layout((Part(0, 8),), 2, "grouped").cells(brief) == "96s(2×?)p"
    assert Layout((Part(0, 8),), 1, "grouped").cells(brief) == "96s(1×?)p"


@pytest.mark.parametrize("margin, fails", [
    (0.0, False), (-1e-12, False), (-1e-8, True), (np.nan, False), (np.inf, False)])
def test_a_check_fails_below_zero_but_not_by_rounding(margin, fails):
    found = rows({"mass": [margin]})
    assert bool(found.failures[0]) is fails
    assert found.failed(0) == (["mass"] if fails else [])


def test_what_is_not_asked_or_has_no_margin_does_not_rank():
    found = rows({"mass": [np.nan, 0.5], "temperature_window": [np.inf, np.inf],
                  "energy_least": [0.3, 0.2]})
    assert found.smallest_margin.tolist() == [0.3, 0.2]
    assert rows({"mass": [np.nan]}).smallest_margin.tolist() == [np.inf]


def test_only_valid_rows_rank_and_the_larger_margin_step_wins():
    found = lay.ranked(rows({"mass": [0.01, 0.05, -0.1, 0.09]}))
    assert order(found) == [4, 2, 1]


def test_within_a_step_of_two_percent_energy_decides_then_mass():
    found = lay.ranked(rows({"mass": [0.041, 0.059, 0.05, 0.05]},
                            usable_energy=[3e8, 2e8, 5e8, 5e8], mass=[1.0, 1.0, 9.0, 8.0]))
    assert order(found) == [4, 3, 1, 2]


def test_energy_that_differs_in_its_last_bit_is_equal():
    found = lay.ranked(rows({"mass": [0.05, 0.05]}, usable_energy=[5e8 + 1e-6, 5e8],
                            mass=[9.0, 8.0]))
    assert order(found) == [2, 1]


@pytest.mark.parametrize("margin, step", [(0.0399, 1), (0.04, 2), (0.0401, 2)])
def test_steps_of_the_ranking_at_their_border(margin, step):
    assert -lay.rank_keys(rows({"mass": [margin]}))[3][0] == step


def test_grouped_before_strings_where_all_else_is_equal():
    found = rows({"mass": [0.1, 0.1]})
    found.strings[0] = True
    assert order(lay.ranked(found)) == [2, 1]


def test_misses_are_the_failing_rows_with_the_least_sum_of_shortfalls():
    found = rows({"mass": [0.5, -0.2, -0.01, -0.3], "energy_least": [0.1, 0.0, -0.3, -0.01]})
    assert lay.shortfalls(found).tolist() == pytest.approx([0.0, 0.2, 0.31, 0.31])
    assert order(lay.nearest_misses(found, 6)) == [2, 3, 4]
    assert order(lay.nearest_misses(found, 1)) == [2]
    # Equal shortfalls at the border: the order hangs on the rows, not on the partition.
    assert order(lay.nearest_misses(found, 2)) == [2, 3]


def test_a_nearer_miss_comes_first_whatever_its_count_in_parallel():
    found = rows({"mass": [-0.3, -0.1, -0.1]})
    found.parallel[:] = [1, 5, 2]
    # Equally near: fewer in parallel first.
    assert order(lay.nearest_misses(found)) == [3, 2, 1]
    assert order(lay.nearest_misses(found, 1)) == [3]


def test_no_rows_rank_to_no_rows():
    assert len(lay.ranked(rows({"mass": [-0.1]}))) == 0
    assert len(lay.nearest_misses(rows({"mass": [0.1]}))) == 0


def test_asks_take_the_stricter_bus_voltage_and_nan_for_what_is_not_asked():
    asks = lay.asks_of(asked(inverter__full_power_from=None))
    assert asks.demand_voltage == pytest.approx(286.0)  # 10 % above 260 V, the safe answer
    assert lay.asks_of(asked()).demand_voltage == 280.0
    assert np.isnan(asks.mass_most) and np.isnan(asks.energy_least)
    assert np.isnan(asks.regeneration_limit)


def test_only_traction_routes_stand_in_the_way_of_the_load():
    routes = [{"name": "a", "length": "4 m"}, {"name": "b", "length": "1 m"},
              {"name": "c", "length": "9 m", "carries": "charging"}]
    brief = asked(cables__route=routes)
    # 2 · 5 m · 0.565 mΩ/m · 324.5/254.5 (IEC 60228, 35 mm² class 5 tinned, 90 °C)
    assert lay.cable_loop(brief) == pytest.approx(2 * 5 * 0.565e-3 * 324.5 / 254.5)
