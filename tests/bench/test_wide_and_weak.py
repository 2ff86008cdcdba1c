"""Wide groups in little memory; what the weakest modules leave for conductance."""

import tracemalloc

import numpy as np
import pytest

from packcalc.bench.bounds import second_bound
from packcalc.bench.dealing import Dealing
from packcalc.bench.evenness import rebuilt
from packcalc.bench.exact import combinations
from packcalc.bench.own_groups import own_groups_bound
from packcalc.bench.partition import assign_groups
from packcalc.bench.prices import price_bound
from packcalc.bench.search import near_sums, splits
from tests.bench.test_partition import weakest_of_every
from tests.benchmarks.test_partition_speed import lot

pytestmark = pytest.mark.thorough


def test_all_of_some_numbers_are_one_choice_and_no_more_on_the_way():
    tracemalloc.start()
    assert combinations(29, 29).tolist() == [list(range(29))]
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 100_000


@pytest.mark.parametrize("parallel", [8, 30])
def test_near_splits_hold_what_their_matrix_says(parallel):
    held = np.random.default_rng(parallel).random((2, 3, 2 * parallel))
    masks = splits(parallel)
    assert (masks.sum(axis=0) == parallel).all()
    assert np.allclose(near_sums(held, parallel), held @ masks)


@pytest.mark.parametrize("series, parallel, count", [
    (4, 22, 88), (4, 26, 104), (4, 30, 120), (16, 24, 400), (10, 30, 300), (3, 60, 180),
    (3, 60, 200)])
def test_wide_groups_reach_the_bound_in_little_memory(series, parallel, count):
    """Invented: a tenth weak."""
    rng = np.random.default_rng(count)
    q = 756e3 * (1 + 0.02 * rng.standard_normal(count))
    q[rng.random(count) < 0.1] *= 0.86
    tracemalloc.start()
    found = assign_groups(q, None, series, parallel)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert found.gap == 0.0 and found.proven
    assert most < 30e6


@pytest.mark.property
@pytest.mark.parametrize("seed", range(200))
def test_no_dealing_beats_what_the_own_groups_of_the_weakest_allow(seed):
    rng = np.random.default_rng(seed)
    series, parallel = [(3, 3), (2, 4), (4, 2), (4, 3)][seed % 4]
    units = np.round(6000 * (1 + 0.03 * rng.standard_normal(series * parallel)))
    units[:rng.integers(1, series + 1)] -= 900
    g = 1.0 / np.exp(0.3 * rng.standard_normal(len(units)))
    sums = weakest_of_every(units, series, parallel)
    floor = float(sums.max()) * (1.0 - rng.choice([0.0, 0.0025, 0.02]))
    best = float(weakest_of_every(g, series, parallel)[sums >= floor].max())
    assert all(b >= best * (1 - 1e-12)
               for b in own_groups_bound(g, units, floor, series, parallel))
    assert second_bound(g, units, floor, series, parallel) >= best - 1e-12


def two_criteria(series, parallel, seed):
    """Invented: a tenth weak; stronger modules resist less."""
    q, rng = lot("skewed", series * parallel, seed), np.random.default_rng(100 + seed)
    z = (q - q.mean()) / q.std()
    return q, 3e-3 * np.exp(0.1 * (-0.6 * z + 0.8 * rng.standard_normal(len(q))))


def two_criteria_of(kind, count, seed):
    """Invented: as above, of a lot that is alike or skewed, with spares or without."""
    q, rng = lot(kind, count, seed), np.random.default_rng(100 + seed)
    z = (q - q.mean()) / q.std()
    return q, 3e-3 * np.exp(0.1 * (-0.6 * z + 0.8 * rng.standard_normal(count)))


@pytest.mark.property
@pytest.mark.parametrize("seed", range(100))
def test_no_dealing_beats_what_prices_allow(seed):
    rng = np.random.default_rng(seed)
    series, parallel, extra = [(3, 3, 0), (2, 4, 0), (4, 2, 0), (3, 2, 1), (2, 3, 1)][seed % 5]
    units = np.round(6000 * (1 + 0.03 * rng.standard_normal(series * parallel + extra)))
    units[:rng.integers(1, series + 1)] -= 900
    g = 1.0 / np.exp(0.3 * rng.standard_normal(len(units)))
    sums = weakest_of_every(units, series, parallel)
    floor = float(sums.max()) * (1.0 - rng.choice([0.0, 0.0025, 0.02]))
    best = float(weakest_of_every(g, series, parallel)[sums >= floor].max())
    before = second_bound(g, units, floor, series, parallel)
    found = price_bound(g, units, (floor, before), series, parallel, best * 0.9)
    assert best * (1 - 1e-12) <= found <= before


def covered(sets, count):
    """As much of disjoint groups as there is, by scipy's linprog (HiGHS)."""
    from scipy.optimize import linprog

    inside = np.zeros((count, len(sets)))
    inside[sets.T, np.arange(len(sets))] = 1.0
    return -linprog(-np.ones(len(sets)), A_ub=inside, b_ub=np.ones(count)).fun


def test_two_thousand_pairs_are_not_priced(monkeypatch):
    monkeypatch.setattr("packcalc.bench.prices._listed", lambda *_: pytest.fail("half a minute"))
    g = q = np.ones(2000)
    assert price_bound(g, q, (2.0, 2.0), 1000, 2, 1.9) == 2.0


@pytest.mark.parametrize("kind, seed", [("skewed", 1), ("skewed", 4), ("normal", 2)])
def test_prices_prove_what_a_linear_programme_proves(kind, seed):
    # a general solver, at the bound and a little below: five groups are within reach only there
    q, r = two_criteria_of(kind, 20, seed)
    found = assign_groups(q, None, 5, 4)
    floor, g = found.best_value * 0.9975, 1.0 / r
    held = combinations(20, 4)[q[combinations(20, 4)].sum(axis=1) >= floor]
    bound = second_bound(g, q, floor, 5, 4)
    for _ in range(4):
        bound = price_bound(g, q, (floor, bound), 5, 4, bound * 0.98)
    sums = g[held].sum(axis=1)
    assert covered(held[sums >= bound * 1.0001], 20) < 5 - 1e-7
    assert covered(held[sums >= bound * 0.995], 20) >= 5 - 1e-7


@pytest.mark.parametrize("kind, series, parallel, count, seed", [
    ("skewed", 16, 4, 64, 20), ("skewed", 16, 4, 64, 16), ("skewed", 12, 4, 48, 33),
    ("skewed", 12, 4, 48, 17), ("normal", 12, 4, 60, 26), ("skewed", 12, 4, 60, 26),
    ("skewed", 16, 5, 80, 39)])
def test_both_criteria_where_they_were_furthest_from_their_bounds(kind, series, parallel, count,
                                                                  seed):
    # by the bounds of sums alone 0.36 % to 1.1 % below; by prices these are near their optimum
    found = assign_groups(*two_criteria_of(kind, count, seed), series, parallel)
    assert found.given_up <= 0.0025 + 1e-12
    assert found.conductance_gap <= 0.003


@pytest.mark.parametrize("seed", [1, 8, 9])
def test_the_bound_of_conductance_knows_what_two_weak_modules_need(seed):
    # an exact solver gave 2.726 % (seed 1) and 0.625 % (seed 8) below the mean as the optimum
    found = assign_groups(*two_criteria(16, 4, seed), 16, 4)
    assert found.conductance_gap <= 0.003


def test_groups_of_three_with_many_weak_modules_come_near_their_bound():
    q = lot("skewed", 1998, 1)
    r = 3e-3 * np.exp(0.1 * np.random.default_rng(101).standard_normal(1998))
    assert assign_groups(q, r, 666, 3).conductance_gap <= 0.003


def test_groups_dealt_anew_keep_the_capacity_and_lose_no_conductance():
    rng = np.random.default_rng(3)
    values = 1.0 + 0.05 * rng.standard_normal((2, 40))
    groups = np.arange(40).reshape(10, 4)
    floor, goal = values[0, groups].sum(axis=1).min(), values[1].sum() / 10
    before = values[1, groups].sum(axis=1).min()
    found = rebuilt(values, Dealing(groups, np.array([], dtype=int)), (floor, goal), rng).groups
    assert sorted(found.ravel().tolist()) == list(range(40))
    assert values[0, found].sum(axis=1).min() >= floor - 1e-12
    assert values[1, found].sum(axis=1).min() > before


def test_one_group_with_a_spare_is_dealt():
    """Two modules for one place: there is no other group to deal it anew with."""
    values = np.array([[203.17, 216.53], [1 / 1.72e-3, 1 / 1.845e-3]])
    dealt = Dealing(np.array([[1]]), np.array([0]))
    assert rebuilt(values, dealt, (203.17, 1 / 1.72e-3), np.random.default_rng(1)) is dealt
    found = assign_groups(values[0] * 3600.0, np.array([1.72e-3, 1.845e-3]), 1, 1)
    assert found.places.shape == (1, 1)


def test_a_bound_out_of_reach_is_lowered_where_two_million_groups_serve():
    """Invented, a tenth weak: 0.97 % lay between answer and bound, all of it the bound's doing."""
    ah = np.array("""
        59.56 60.39 60.09 58.73 61.55 59.15 62.08 60.34 58.30 51.51 59.55 59.80 60.85 57.90
        60.52 58.85 60.66 60.62 59.64 59.93 58.83 58.34 60.62 55.99 62.25 63.08 59.51 59.21
        60.45 60.27 58.06 61.41 60.46 43.86 60.40 60.45""".split(), dtype=float)
    milliohm = np.array("""
        4.044 4.332 3.884 4.436 3.912 4.016 3.388 3.916 4.016 5.184 3.764 4.128 3.844 4.296
        3.676 3.708 3.452 3.396 4.348 4.34 3.852 4.576 3.652 4.12 3.876 3.108 4.176 3.936
        3.756 3.808 3.844 3.58 4.716 5.236 4.432 4.124""".split(), dtype=float)
    found = assign_groups(ah * 3600, milliohm * 1e-3, 6, 6)
    assert found.conductance_gap < 0.001
