"""Chains of weak modules: what is called out of reach, against every grouping."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.bench import bounds as bd
from packcalc.bench.chains import Chain, first_groups
from packcalc.bench.partition import assign_groups
from tests.bench.test_partition import weakest_of_every


def weak_lot(rng, count):
    """Invented: some tenths weak, the rest alike, in coarse or fine steps."""
    mean = rng.choice([10, 30, 100, 1000])
    units = mean * (1 + rng.choice([0.05, 0.2]) * rng.standard_normal(count))
    weak = rng.random(count) < rng.choice([0.1, 0.2, 0.3])
    units[weak] = mean * (0.7 + 0.1 * rng.standard_normal(weak.sum()))
    return np.abs(np.round(units))


@pytest.mark.property
@settings(max_examples=400, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 2),
       st.sampled_from([(3, 3), (4, 3), (3, 4), (2, 6), (2, 5), (2, 4), (2, 3)]))
def test_no_limit_is_called_out_of_reach_that_a_grouping_reaches(seed, above, shape):
    series, parallel = shape
    rng = np.random.default_rng(seed)
    units = weak_lot(rng, series * parallel)
    limit, weak, narrow = bd.tight_bound(units, series, parallel)
    limit = bd.on_the_grid(limit + above, units, parallel)
    if weak not in (0, narrow):
        return
    best = weakest_of_every(units, series, parallel).max()
    order = np.argsort(-units, kind="stable")
    for groups, proven in first_groups(units, order, limit, narrow, parallel,
                                       bd.grid_step(units), rng):
        assert proven >= best
        assert len(np.unique(groups)) == groups.size


@pytest.mark.parametrize("limit", [161, 165])
def test_two_weak_modules_share_out_the_strongest(limit):
    # 90 + 50 + 20 = 160 and 70 + 60 + 40 = 170 is the best of the three ways
    weak, strong = np.array([20.0, 40.0]), np.array([90.0, 70.0, 60.0, 50.0])
    rng = np.random.default_rng(1)
    missed = Chain(weak, strong, limit, 330.0 - 2 * limit, 3, rng, 10_000)
    assert missed.dealt() is None and missed.complete
    met = Chain(weak, strong, 160.0, 10.0, 3, rng, 10_000)
    assert sorted(float(weak[k] + strong[p].sum()) for k, p in met.dealt()) == [160.0, 170.0]


def skewed(series, parallel, seed):
    """Invented, not rounded: a tenth weak."""
    rng = np.random.default_rng(1000 * seed + 10 * series + parallel)
    q = 216000 * (1 + 0.02 * rng.standard_normal(series * parallel))
    weak = rng.random(len(q)) < 0.1
    q[weak] = 216000 * (0.85 + 0.06 * rng.standard_normal(weak.sum()))
    return q


# Lots whose bound no search reached: one that was there, others proven out of reach.
@pytest.mark.parametrize("series, parallel, seed, lowered", [
    (16, 5, 72, 0), (16, 6, 4, 1), (16, 6, 11, 1), (40, 5, 26, 2), (96, 5, 11, 0),
    (96, 5, 31, 1), (16, 5, 177, 1)])
def test_a_skewed_lot_reaches_its_bound_or_the_bound_is_lowered_to_it(series, parallel, seed,
                                                                      lowered):
    q = skewed(series, parallel, seed)
    found = assign_groups(q, None, series, parallel)
    limit, _, _ = bd.tight_bound(np.round(q / found.step), series, parallel)
    assert found.proven and found.gap == 0.0
    assert round(found.bound / found.step) == limit - lowered
