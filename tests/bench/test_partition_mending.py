"""Shortages handed on from group to group (all lots are invented, each with its seed)."""

import numpy as np
import pytest

from packcalc.bench.mending import mended
from packcalc.bench.partition import assign_groups
from tests.benchmarks.test_partition_speed import lot

AMPERE_HOUR = 100  # whole steps of 0.01 Ah


def dealt(series, parallel, seed):
    """A lot in whole steps, and its modules in any groups."""
    rng = np.random.default_rng(seed)
    units = np.round(60 * AMPERE_HOUR * (1 + 0.04 * rng.standard_normal(series * parallel)))
    return units, rng.permutation(series * parallel).reshape(series, parallel)


def missing(units, groups, limit):
    return np.maximum(limit - units[groups].sum(axis=1), 0.0).sum()


@pytest.mark.parametrize("series, parallel", [(20, 5), (40, 6), (30, 8)])
def test_groups_come_to_their_mean(series, parallel):
    units, groups = dealt(series, parallel, 1)
    limit = np.floor(units.sum() / series)
    found = mended(units, groups, limit, np.random.default_rng(2), 2000)
    assert sorted(found.ravel()) == list(range(series * parallel))
    assert missing(units, found, limit) == 0 < missing(units, groups, limit)


@pytest.mark.parametrize("seed", range(5))
def test_no_more_is_missing_than_before_where_the_limit_is_out_of_reach(seed):
    units, groups = dealt(6, 4, seed)
    limit = np.ceil(units.sum() / 6) + 50
    for steps in (0, 1, 5, 50):
        found = mended(units, groups, limit, np.random.default_rng(seed), steps)
        assert sorted(found.ravel()) == list(range(24))
        assert 6 * limit - units.sum() <= missing(units, found, limit) <= missing(
            units, groups, limit)


def test_one_group_has_nobody_to_turn_to():
    units, groups = np.array([5.0, 4.0, 3.0]), np.array([[2, 0, 1]])
    found = mended(units, groups, 20.0, np.random.default_rng(1), 10)
    assert found.tolist() == groups.tolist()


def test_the_same_seed_gives_the_same_groups():
    units, groups = dealt(40, 5, 3)
    limit = np.floor(units.sum() / 40)
    one, other = (mended(units, groups, limit, np.random.default_rng(7), 30) for _ in range(2))
    assert (one == other).all()


@pytest.mark.parametrize("series, parallel, seed", [
    (100, 6, 61), (100, 6, 64), (12, 7, 2), (400, 5, 12), (400, 5, 16)])
def test_skewed_lots_come_to_their_bound(series, parallel, seed):
    """They ended a step or more below it before shortages were handed on."""
    found = assign_groups(lot("skewed", series * parallel, seed), None, series, parallel)
    assert found.gap == 0 and found.proven


@pytest.mark.parametrize("series, parallel, seed", [(96, 5, 13), (96, 6, 9), (48, 6, 90)])
def test_long_chains_are_dealt_without_being_looked_through(series, parallel, seed, monkeypatch):
    def never(*_):
        raise AssertionError("looked through")
    monkeypatch.setattr("packcalc.bench.partition.first_groups", never)
    assert assign_groups(lot("skewed", series * parallel, seed), None, series, parallel).gap == 0
