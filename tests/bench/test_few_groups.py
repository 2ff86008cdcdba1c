"""Few groups of five and more: the optimum with its proof (all lots are invented, by seed)."""

import itertools

import numpy as np
import pytest

from packcalc.bench import bounds, partition
from packcalc.bench.allotted import allotment_bound
from packcalc.bench.dealing import Pins
from packcalc.bench.few_groups import best_of_few
from packcalc.bench.partition import NO_PINS, NOT_PROVEN, assign_groups

ENOUGH = 10_000_000


def skewed(count, seed):
    """Whole steps of 0.01 Ah: most alike, one in six far below."""
    rng = np.random.default_rng(seed)
    weak = rng.random(count) < 1 / 6
    units = np.where(weak, 115 + 8 * rng.standard_normal(count),
                     135 + 2.7 * rng.standard_normal(count))
    return np.round(100 * units)


def best_by_hand(units, series, parallel):
    """The highest weakest sum of every grouping: its own short search, no bound."""
    def best(left):
        if len(left) == parallel:
            return units[left].sum()
        highest = -np.inf
        for others in itertools.combinations(left[1:], parallel - 1):
            own = units[[left[0], *others]].sum()
            if own > highest:
                rest = [m for m in left[1:] if m not in others]
                highest = max(highest, min(own, best(rest)))
        return highest
    return best(list(range(series * parallel)))


@pytest.mark.parametrize("series, parallel, seed", [(2, 5, 1), (2, 6, 2), (3, 3, 3), (4, 3, 5),
                                                    (3, 4, 4), (3, 4, 6)])
def test_few_groups_come_to_the_best_of_every_grouping(series, parallel, seed):
    units = skewed(series * parallel, seed)
    best = best_by_hand(units, series, parallel)
    start = np.arange(series * parallel).reshape(series, parallel)
    groups, limit, settled = best_of_few(units, start, int(units.sum() // series), 1, ENOUGH)
    assert settled and limit == best == units[groups].sum(axis=1).min()
    assert sorted(groups.ravel()) == list(range(series * parallel))
    for known in (0, best - 1, best):
        assert allotment_bound(np.sort(units)[::-1], series, parallel, int(known)) >= best


def test_what_is_not_looked_through_is_not_proven():
    units = skewed(18, 7)
    start = np.arange(18).reshape(3, 6)
    groups, limit, settled = best_of_few(units, start, int(units.sum() // 3), 1, 1)
    assert not settled and limit == units.sum() // 3 and groups.tolist() == start.tolist()


# 109.55, 113.19 ... : 18 modules of which four are far below the others
EIGHTEEN = np.array([134.78, 133.15, 135.47, 134.85, 109.55, 113.19, 133.76, 132.38, 135.79,
                     134.74, 106.53, 133.63, 117.74, 138.13, 134.73, 135.22, 136.08, 135.19])


def test_weak_modules_that_must_share_a_group_set_the_bound():
    """Two of four weak ones share a group; the mean and law 2 lie 1.9 Ah above what it can hold,
    law 7 does not: one group of three holds at most four of the fourteen others."""
    found = assign_groups(EIGHTEEN * 3600, None, 3, 6)
    assert found.proven and found.gap == 0.0
    assert found.best_value / 36 == pytest.approx(77640)
    best = np.sort(np.round(100 * EIGHTEEN))[::-1]
    assert allotment_bound(best, 3, 6, 0) == 77640 == partition.tight_bound(best, 3, 6)[0]
    assert min(bound for bound, _, _ in bounds._bounds(best, 3, 6)) > 77640 + 180


@pytest.mark.parametrize("series, parallel, seed", [(3, 6, 1), (3, 6, 5), (3, 7, 8), (4, 6, 9),
                                                    (5, 6, 3), (6, 6, 4), (3, 8, 2), (7, 6, 5)])
def test_few_groups_of_a_skewed_lot_are_proven(series, parallel, seed):
    found = assign_groups(skewed(series * parallel, seed) * 36, None, series, parallel)
    assert found.proven and found.gap == 0.0


def test_words_speak_of_pins_only_where_there_are_some(monkeypatch):
    monkeypatch.setattr(partition, "_rest_groups", lambda units, used, series, parallel, *_: (
        partition.Dealing(used.reshape(series, parallel), used[:0]), 10 ** 9, ""))
    capacity = skewed(16, 1) * 36
    assert assign_groups(capacity, None, 4, 4).proof == NOT_PROVEN
    found = assign_groups(capacity, None, 4, 4, pins=Pins(((0, 1),)))
    assert found.proof == NO_PINS or found.proven
