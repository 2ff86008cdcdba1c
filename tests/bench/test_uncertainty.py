"""Drawn packs against closed forms, and the spread against open data of retired cells."""

import math
import statistics
import time

import numpy as np
import pytest

from packcalc.bench import uncertainty as un

Q, R = 60 * 3600.0, 3e-3
TRIALS = 40000


def belief(n, sigma_q=np.nan, sigma_r=np.nan, donor=None, common=(0.0, 0.0)):
    return un.Belief(np.full(n, Q), np.full(n, R), np.full(n, sigma_q, float),
                     np.full(n, sigma_r, float),
                     np.zeros(n, int) if donor is None else donor, *common)


def draws(known, places, **extra):
    return un.draw_packs(known, places, extra.pop("arrangement", "grouped"),
                         trials=extra.pop("trials", TRIALS), seed=11, **extra)


@pytest.mark.parametrize("count, expected", [
    # expected least of n normal values, exact: −1/√π and −3/(2√π)
    (1, 0.0), (2, -1 / math.sqrt(math.pi)), (3, -1.5 / math.sqrt(math.pi)),
])
def test_weakest_of_a_few_against_its_exact_mean(count, expected):
    found = draws(belief(count, 0.02, 0.02), np.arange(count).reshape(count, 1))
    deviation = (found.capacity / Q - 1) / 0.02
    assert deviation.mean() == pytest.approx(expected, abs=4 / math.sqrt(TRIALS))


@pytest.mark.parametrize("series, parallel", [(16, 1), (16, 4), (4, 6)])
@pytest.mark.parametrize("level", [0.97, 0.985, 1.0])
def test_chance_of_a_capacity_against_the_product_of_normal_tails(series, parallel, level):
    n = series * parallel
    found = draws(belief(n, 0.02, 0.02), np.arange(n).reshape(series, parallel))
    group = statistics.NormalDist(1.0, 0.02 / math.sqrt(parallel))
    exact = (1.0 - group.cdf(level)) ** series
    share = un.chance(found.capacity / (parallel * Q), level)
    assert share == pytest.approx(exact, abs=4 * un.chance_error(max(exact, 1e-3), TRIALS) + 1e-9)


def test_strings_add_their_weakest_modules():
    found = draws(belief(6, 0.02, 0.02), np.arange(6).reshape(2, 3), arrangement="strings")
    expected = 2 * (1 - 0.02 * 1.5 / math.sqrt(math.pi))
    assert found.capacity.mean() / Q == pytest.approx(expected, abs=4 * 0.02 / math.sqrt(TRIALS))
    assert found.resistance.mean() == pytest.approx(3 * R / 2, rel=1e-3)


def test_percentiles_of_one_module_are_those_of_the_normal_law():
    found = draws(belief(1, 0.02, 0.02), np.array([[0]]))
    low, high = np.percentile(found.capacity / Q, [5, 95])
    exact = statistics.NormalDist(1.0, 0.02)
    assert (low, high) == pytest.approx((exact.inv_cdf(0.05), exact.inv_cdf(0.95)), abs=6e-4)


def test_unmeasured_modules_follow_the_mixture():
    # mean and variance of a mixture in closed form
    s = un.Spread(offset=0.0)
    found = draws(belief(1), np.array([[0]]), spread=s)
    q, r = found.capacity / Q, found.resistance / R
    assert s.mean == pytest.approx(0.985)
    assert q.mean() == pytest.approx(s.mean, abs=4 * s.deviation / math.sqrt(TRIALS))
    assert q.std() == pytest.approx(s.deviation, rel=0.02)
    assert np.mean(((q - q.mean()) / q.std()) ** 3) < -1.0  # a weak tail
    assert r.std() == pytest.approx(s.resistance_scatter, rel=0.02)
    assert np.corrcoef(q, r)[0, 1] == pytest.approx(s.correlation, abs=0.02)


def test_the_offset_of_a_donor_pack_is_common_to_its_modules():
    s = un.Spread(scatter=1e-6, tail_share=0.0, offset=0.03)
    one = draws(belief(4), np.arange(4).reshape(1, 4), spread=s)
    two = draws(belief(4, donor=np.array([0, 0, 1, 1])), np.arange(4).reshape(1, 4), spread=s)
    assert one.capacity.std() / (4 * Q) == pytest.approx(0.03, rel=0.02)
    assert two.capacity.std() / (4 * Q) == pytest.approx(0.03 / math.sqrt(2), rel=0.02)


def test_the_part_explained_by_each_module_is_its_part_of_the_variance():
    # one group: the sum's variance is the sum of variances, so the parts are known exactly
    known = belief(4, 0.01, 0.02)
    sigma = np.array([0.01, 0.02, 0.03, 0.04])
    known = un.Belief(known.capacity, known.resistance, sigma, known.resistance_sigma, known.donor)
    found = draws(known, np.arange(4).reshape(1, 4))
    assert found.capacity_explains == pytest.approx(sigma ** 2 / (sigma ** 2).sum(), abs=0.02)


def test_a_common_error_is_no_modules_own():
    known = belief(64, 0.01, 0.01, common=(0.02, 0.03))
    found = draws(known, np.arange(64).reshape(16, 4))
    assert found.common_explains[0] > 0.9 and found.common_explains[1] > 0.95
    assert found.capacity_explains.max() < 0.05


def test_the_weakest_group_is_worth_measuring_most():
    q = np.full(8, Q)
    q[:2] *= 0.96
    known = un.Belief(q, np.full(8, R), np.full(8, 0.01), np.full(8, 0.01), np.zeros(8, int))
    found = draws(known, np.arange(8).reshape(4, 2))
    assert set(np.argsort(-found.capacity_explains)[:2]) == {0, 1}


def test_the_same_seed_gives_the_same_packs():
    known, places = belief(16), np.arange(16).reshape(4, 4)
    one, two = (un.draw_packs(known, places, "grouped", trials=600, seed=5) for _ in range(2))
    assert (one.capacity == two.capacity).all() and (one.resistance == two.resistance).all()


def test_the_default_spread_lies_inside_that_of_published_retired_cells():
    # Tao et al. 2024, doi:10.1038/s41467-024-54454-0, computed from the open data: CV of
    # capacity 5.4 % (NMC), 5.8 % (LFP), 14.3 % (LMO); r −0.89, −0.44, −0.70
    s = un.Spread()
    whole = math.hypot(s.deviation / s.mean, s.offset)
    assert 0.054 <= whole <= 0.143
    assert -0.89 <= s.correlation <= -0.44


@pytest.mark.benchmark
@pytest.mark.parametrize("unmeasured", [0.0, 0.3, 1.0])
def test_ten_thousand_packs_of_four_hundred_modules(unmeasured):
    known = belief(400, 0.01, 0.03)
    known.capacity_sigma[:int(400 * unmeasured)] = np.nan
    known.resistance_sigma[:int(400 * unmeasured)] = np.nan
    un.draw_packs(known, np.arange(400).reshape(100, 4), "grouped", trials=500)
    start = time.process_time()
    un.draw_packs(known, np.arange(400).reshape(100, 4), "grouped", trials=10000)
    spent = time.process_time() - start
    print(f"\n10 000 packs of 400 modules, {unmeasured:.0%} unmeasured: {spent:.2f} s of CPU")
    assert spent <= 0.5
