"""The weakest dealt first by both criteria (all lots are invented, each with its seed)."""

import numpy as np
import pytest

from packcalc.bench.bounds import weakest_bound
from packcalc.bench.exact import weakest_first
from packcalc.bench.partition import assign_groups
from packcalc.bench.weak_by_both import CHOOSING, dealt_by_both
from tests.benchmarks.test_partition_speed import lot

pytestmark = pytest.mark.thorough


def resistance(count, seed):
    return 3e-3 * np.exp(0.10 * np.random.default_rng(100 + seed).standard_normal(count))


def resistance_of_a_tenth_worse(count, seed):
    rng = np.random.default_rng(1000 + seed)
    r = 1e-3 * (1 + 0.1 * rng.standard_normal(count))
    return np.abs(r * np.where(rng.random(count) < 0.1, 1.4, 1))


# They ended 0.43, 1.25, 1.00, 1.49 and 2.20 % below their bound while the weakest module's
# group was dealt by capacity alone.
@pytest.mark.parametrize("series, parallel, seed, resists", [
    (500, 4, 1, resistance), (500, 4, 29, resistance), (400, 5, 29, resistance),
    (500, 4, 13, resistance_of_a_tenth_worse), (400, 5, 8, resistance_of_a_tenth_worse)])
def test_large_skewed_lots_come_near_the_bound_of_conductance(series, parallel, seed, resists):
    q = lot("skewed", series * parallel, seed)
    found = assign_groups(q, resists(len(q), seed), series, parallel)
    assert found.conductance_gap <= 3e-3
    assert found.value >= found.best_value * (1 - 0.0025) and found.gap == 0
    assert sorted(found.places.ravel()) == list(range(len(q)))


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("series, parallel", [(200, 4), (300, 5), (150, 6), (130, 8)])
def test_far_fewer_of_those_that_choose_first_miss_what_is_asked(series, parallel, seed):
    """Than where each takes what just reaches the capacity."""
    q = lot("skewed", series * parallel, seed)
    values = np.stack([q, 1 / resistance(len(q), seed)])
    asked = np.array([weakest_bound(each, series, parallel) for each in values]) * (0.9975, 0.999)
    groups = dealt_by_both(values, np.arange(len(q)), tuple(asked), parallel)
    assert sorted(groups.ravel()) == list(range(len(q)))
    first = groups[:int(CHOOSING * series)]
    alone = weakest_first(q, np.argsort(-q, kind="stable"), float(asked[0]), parallel)
    rivals = alone[np.isin(alone, first[:, 0]).any(axis=1)]
    missed, rival = ((values[:, g].sum(axis=2) < asked[:, None] * (1 - 1e-9)).any(axis=0).mean()
                     for g in (first, rivals))
    assert missed <= rival / 4 and rival > 0.2


def test_where_nothing_serves_all_are_dealt_all_the_same():
    q = lot("skewed", 600, 2)
    values = np.stack([q, 1 / resistance(600, 2)])
    groups = dealt_by_both(values, np.arange(600), tuple(values.sum(axis=1)), 3)
    assert sorted(groups.ravel()) == list(range(600))
