"""Modules to places: against exhaustive search, closed bounds and published partitions."""

import itertools
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.bench import partition as pt
from packcalc.bench.bounds import second_bound, strings_bound, weakest_bound
from packcalc.bench.dealing import Effort, Pins
from packcalc.bench.strings import assign_strings
from packcalc.errors import UserError

AH = 3600.0


def lot(values):
    """Capacities given in steps of 0.01 Ah."""
    return np.array(values, dtype=float) * 36.0


def groupings(members, size):
    """Every way to split members into groups of one size."""
    if not members:
        yield []
        return
    first, rest = members[0], members[1:]
    for others in itertools.combinations(rest, size - 1):
        left = [m for m in rest if m not in others]
        for below in groupings(left, size):
            yield [(first, *others), *below]


@lru_cache(maxsize=None)
def every(count, series, parallel):
    """Every choice of S·P modules out of `count` and every grouping of them, one row each."""
    rows = np.array(list(groupings(list(range(series * parallel)), parallel)))
    used = np.array(list(itertools.combinations(range(count), series * parallel)))
    return used[:, rows].reshape(-1, series, parallel)


def weakest_of_every(units, series, parallel):
    """The weakest sum of every grouping of every choice of modules."""
    return np.asarray(units)[every(len(units), series, parallel)].sum(axis=2).min(axis=1)


def exhaustive(units, series, parallel, allowed=None):
    """Highest weakest sum over every choice of modules and every grouping."""
    weakest = weakest_of_every(units, series, parallel)
    if allowed is None:
        return float(weakest.max())
    for at in np.argsort(-weakest, kind="stable"):
        if allowed(every(len(units), series, parallel)[at].tolist()):
            return float(weakest[at])
    return -1.0


@pytest.mark.parametrize("count, series, parallel, ways", [
    (12, 4, 3, 15400), (12, 3, 4, 5775), (12, 2, 6, 462), (7, 3, 2, 7 * 15), (6, 2, 2, 15 * 3)])
def test_the_enumeration_holds_every_grouping_once(count, series, parallel, ways):
    # (S·P)!/(P!^S·S!) groupings of each choice of S·P modules
    rows = {frozenset(map(frozenset, groups)) for groups in
            every(count, series, parallel).tolist()}
    assert len(rows) == len(every(count, series, parallel)) == ways
    assert all(len(group) == parallel for groups in rows for group in groups)
    assert all(len(frozenset().union(*groups)) == series * parallel for groups in rows)


def used_once(found, count):
    both = np.concatenate([found.places.ravel(), found.left_out])
    return sorted(both.tolist()) == list(range(count))


# --- bounds and small cases against exhaustive search ---------------------------------

SHAPES = [(2, 2, 0), (3, 2, 0), (2, 3, 0), (3, 3, 0), (2, 4, 0), (2, 2, 2), (3, 2, 1), (2, 3, 1),
          (4, 2, 1)]


def small_lot(kind, rng, count):
    """Invented: anything between two limits, alike, few different values, or giants and weak."""
    return {"any": lambda: rng.integers(1500, 7000, count).astype(float),
            "alike": lambda: np.round(6000 * (1 + 0.04 * rng.standard_normal(count))),
            "ties": lambda: 1000.0 * rng.integers(2, 7, count),
            "skewed": lambda: skewed(rng, count)}[kind]()


@pytest.mark.property
@pytest.mark.parametrize("kind", ["any", "alike", "ties", "skewed"])
@pytest.mark.parametrize("shape", SHAPES)
def test_thousands_of_small_lots_against_every_grouping(shape, kind):
    series, parallel, extra = shape
    for seed in range(60):
        units = small_lot(kind, np.random.default_rng(seed), series * parallel + extra)
        found = pt.assign_groups(lot(units), None, series, parallel)
        best = exhaustive(units, series, parallel)
        assert used_once(found, len(units))
        assert round(found.best_value / 36) == best, seed
        assert weakest_bound(units, series, parallel) >= best
        assert found.proven and round(found.bound / 36) == best, seed


@pytest.mark.property
@pytest.mark.parametrize("kind", ["alike", "skewed"])
@pytest.mark.parametrize("shape", [(4, 3), (3, 4), (2, 6)])
def test_twelve_modules_against_every_grouping(shape, kind):
    for seed in range(20):
        units = small_lot(kind, np.random.default_rng(seed), 12)
        found = pt.assign_groups(lot(units), None, *shape)
        best = exhaustive(units, *shape)
        assert round(found.best_value / 36) == best, seed
        assert found.proven and round(found.bound / 36) == best, seed


@pytest.mark.property
@settings(max_examples=150, deadline=None)
@given(st.lists(st.integers(1, 99), min_size=6, max_size=6), st.sampled_from([(3, 2), (2, 3)]))
def test_the_bound_holds_for_any_values(units, shape):
    assert weakest_bound(np.array(units), *shape) >= exhaustive(units, *shape) - 1e-9


def test_one_weak_module_tightens_the_bound():
    # 20 + 60 + 60 + 60: no group with the weak module can do better than the strongest three
    units = np.array([20.0] + [60.0] * 15)
    assert weakest_bound(units, 4, 4) == 200.0
    assert units.sum() / 4 == 230.0


def skewed(rng, count):
    """Invented: a few giants, a few weak modules, the rest alike."""
    units = 6000 * (1 + 0.04 * rng.standard_normal(count))
    units[rng.random(count) < 0.15] *= 1.8
    units[rng.random(count) < 0.15] *= 0.6
    return np.round(units)


def test_a_giant_takes_the_smallest_partners_and_lifts_no_mean():
    # 200 + 10 + 10 stands above every bound; the rest, 3 × 60 and 3 × 50, holds 165 in the mean,
    # and one of its two groups holds one of the three 60 at most: 160
    units = np.array([200.0, 60, 60, 60, 50, 50, 50, 10, 10])
    assert units.sum() / 3 > 180
    assert weakest_bound(units, 3, 3) == 160.0
    found = pt.assign_groups(lot(units), None, 3, 3)
    assert found.proven and found.gap == 0.0
    assert found.value == pytest.approx(160 * 36)


@pytest.mark.parametrize("parallel", [5, 6])
@pytest.mark.parametrize("seed", range(4))
def test_the_bound_itself_with_giants_in_the_lot(parallel, seed):
    rng = np.random.default_rng(seed)
    units = np.round(6000 * (1 + 0.02 * rng.standard_normal(16 * parallel)))
    units[rng.permutation(len(units))[:2]] *= 1.8
    found = pt.assign_groups(lot(units), None, 16, parallel)
    assert found.gap == 0.0
    assert found.bound < np.floor(units.sum() / 16) * 36.0 * 0.99


@pytest.mark.property
@pytest.mark.parametrize("seed", range(36))
def test_no_dealing_beats_the_second_bound(seed):
    series, parallel, extra = [(2, 3, 0), (3, 2, 0), (2, 4, 0), (3, 2, 1), (2, 3, 1),
                               (3, 3, 0)][seed % 6]
    tolerance = [0.0, 0.0025, 0.05][seed // 6 % 3]
    rng = np.random.default_rng(seed)
    units = skewed(rng, series * parallel + extra)
    g = 1.0 / np.exp(0.3 * rng.standard_normal(len(units)))
    floor = exhaustive(units.tolist(), series, parallel) * (1.0 - tolerance)
    keeps = weakest_of_every(units, series, parallel) >= floor
    best = float(weakest_of_every(g, series, parallel)[keeps].max())
    assert second_bound(g, units, floor, series, parallel) >= best - 1e-12
    found = pt.assign_groups(lot(units), 1.0 / g, series, parallel,
                             effort=Effort(rounds=20, tolerance=tolerance))
    assert found.conductance <= best * (1 + 1e-9)
    assert found.conductance <= found.conductance_bound * (1 + 1e-9)


@pytest.mark.parametrize("series, parallel, seed", [
    (96, 4, 0), (96, 4, 9), (96, 4, 11), (96, 4, 19), (16, 5, 1)])
def test_skewed_lots_whose_weak_modules_need_the_strongest_reach_the_bound(series, parallel, seed):
    """Invented: nine tenths alike, a tenth weak; the weakest leave next to no room (law 2)."""
    rng = np.random.default_rng(seed)
    weak = rng.random(series * parallel) < 0.1
    q = 60 * np.where(weak, 0.85 + 0.06 * rng.standard_normal(len(weak)),
                      1 + 0.02 * rng.standard_normal(len(weak)))
    found = pt.assign_groups(np.round(q, 2) * AH, None, series, parallel)
    assert used_once(found, series * parallel) and found.proven and found.gap == 0.0


@pytest.mark.parametrize("series, parallel", [(16, 6), (40, 5)])
def test_nine_in_ten_skewed_lots_reach_the_bound(series, parallel):
    """Invented, not rounded: chains of weak modules that need all of the strongest (law 2)."""
    rng, gaps = np.random.default_rng(series * 7 + parallel), []
    for _ in range(10):
        q = 60 * (1 + 0.02 * rng.standard_normal(series * parallel))
        weak = rng.random(len(q)) < 0.1
        q[weak] = 60 * (0.85 + 0.06 * rng.standard_normal(weak.sum()))
        gaps.append(pt.assign_groups(q * AH, None, series, parallel).gap)
    assert sum(gap == 0.0 for gap in gaps) >= 9 and max(gaps) <= 2e-4


# --- pins -----------------------------------------------------------------------------

@pytest.mark.property
@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([(3, 2, 0), (2, 3, 1), (3, 3, 0)]))
def test_pins_are_kept_and_cost_little(seed, shape):
    series, parallel, extra = shape
    rng = np.random.default_rng(seed)
    count = series * parallel + extra
    units = rng.integers(4000, 6000, count)
    a, b, c, d = rng.permutation(count)[:4].tolist()
    allowed = np.ones((count, series), bool)
    allowed[d, rng.integers(series)] = False
    pins = Pins(((a, b),), ((a, c),), allowed)
    found = pt.assign_groups(lot(units), None, series, parallel, pins=pins,
                             effort=Effort(rounds=100))
    rows = [set(row) for row in found.places.tolist()]
    assert used_once(found, count)
    assert [{a, b} & row for row in rows if a in row or b in row] in ([{a, b}], [])
    assert not any({a, c} <= row for row in rows)
    assert all(allowed[m, place] for place, row in enumerate(rows) for m in row)

    def kept(groups):
        inside = [set(g) for g in groups]
        whole = all({a, b} <= g for g in inside if {a, b} & g)
        return whole and not any({a, c} <= g for g in inside)

    best = exhaustive(units.tolist(), series, parallel, kept) * 36.0
    assert found.value <= best + 1e-6
    assert found.bound >= best - 1e-6
    assert found.value >= 0.985 * best


def test_two_weak_modules_of_different_pins_may_share_a_group():
    # each is kept apart from a strong one; alone in a group of its own either costs more
    units = [1000, 1010, 6000, 6000, 6010, 6020, 6030, 6040, 6050]
    pins = Pins(apart=((0, 2), (1, 3)))
    found = pt.assign_groups(lot(units), None, 3, 3, pins=pins)

    def kept(groups):
        return not any({0, 2} <= set(g) or {1, 3} <= set(g) for g in groups)

    assert kept(found.places.tolist())
    assert found.value == pytest.approx(exhaustive(units, 3, 3, kept) * 36.0)


def test_pins_that_fit_only_one_way_are_found():
    # a chain of modules kept apart and a block that fills what is left
    pins = Pins(((0, 1), (2, 3)), ((0, 2), (4, 0), (5, 2)))
    found = pt.assign_groups(lot([600, 590, 580, 570, 560, 550]), None, 2, 3, pins=pins)
    assert sorted(map(sorted, found.places.tolist())) == [[0, 1, 5], [2, 3, 4]]


@pytest.mark.parametrize("seed", range(3))
def test_pins_cost_next_to_nothing_in_a_lot_of_ninety_six(seed):
    rng = np.random.default_rng(seed)
    units = np.round(6000 * (1 + 0.04 * rng.standard_normal(96)))
    order = rng.permutation(96).tolist()
    pins = Pins(tuple(zip(order[:6:2], order[1:6:2], strict=True)),
                tuple(zip(order[6:30:2], order[7:30:2], strict=True)))
    found = pt.assign_groups(lot(units), None, 16, 6, pins=pins)
    rows = [set(row) for row in found.places.tolist()]
    assert all(any({a, b} <= row for row in rows) for a, b in pins.together)
    assert not any({a, b} <= row for a, b in pins.apart for row in rows)
    assert found.gap <= 0.0005


def test_modules_pinned_together_and_apart_are_refused():
    with pytest.raises(UserError, match="pinned together and apart at once"):
        pt.assign_groups(lot(range(100, 108)), None, 4, 2, pins=Pins(((0, 1),), ((0, 1),)))


def test_too_many_modules_pinned_together_are_refused():
    with pytest.raises(UserError, match="3 modules are pinned together, but a group holds 2"):
        pt.assign_groups(lot(range(100, 108)), None, 4, 2, pins=Pins(((0, 1, 2),)))


def test_a_module_allowed_nowhere_is_refused():
    allowed = np.ones((4, 2), bool)
    allowed[3] = False
    with pytest.raises(UserError, match="loosen a pin"):
        pt.assign_groups(lot([100, 101, 102, 103]), None, 2, 2, pins=Pins(allowed=allowed))


def test_fewer_modules_than_places_are_refused():
    with pytest.raises(UserError, match=r"7 modules for 8 places \(4S2P\): 1 short"):
        pt.assign_groups(lot(range(100, 107)), None, 4, 2)


def test_a_module_kept_out_of_half_the_places_costs_nothing():
    rng = np.random.default_rng(5)
    units = np.round(6000 * (1 + 0.04 * rng.standard_normal(96)))
    allowed = np.ones((96, 16), bool)
    allowed[:10, 8:] = False
    free = pt.assign_groups(lot(units), None, 16, 6)
    pinned = pt.assign_groups(lot(units), None, 16, 6, pins=Pins(allowed=allowed))
    assert pinned.value == free.value
    assert all(allowed[m, g] for g, row in enumerate(pinned.places) for m in row)


# --- strings --------------------------------------------------------------------------

def all_strings(units, series, parallel, fits=None):
    rows = every(len(units), parallel, series)
    sums = np.asarray(units)[rows].min(axis=2).sum(axis=1)
    if fits is None:
        return float(sums.max())
    for at in np.argsort(-sums, kind="stable"):
        if fits(rows[at].tolist()):
            return float(sums[at])
    return -1.0


@pytest.mark.property
@pytest.mark.parametrize("kind", ["any", "ties"])
@pytest.mark.parametrize("shape", SHAPES)
def test_sorted_and_sliced_is_the_optimum_for_strings(shape, kind):
    series, parallel, extra = shape
    for seed in range(40):
        units = small_lot(kind, np.random.default_rng(seed), series * parallel + extra)
        found = assign_strings(lot(units), None, series, parallel)
        assert found.proven and used_once(found, len(units))
        assert round(found.value / 36) == all_strings(units, series, parallel)
        assert round(strings_bound(units, series, parallel)) == all_strings(units, series,
                                                                            parallel)


@pytest.mark.property
@settings(max_examples=100, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([(3, 2, 0), (2, 3, 1), (3, 2, 2)]))
def test_pinned_strings_are_the_optimum(seed, shape):
    series, parallel, extra = shape
    rng = np.random.default_rng(seed)
    count = series * parallel + extra
    units = rng.integers(4000, 6000, count)
    a, b, c, _ = rng.permutation(count)[:4].tolist()
    pins = Pins(((a, b),), ((a, c),))
    found = assign_strings(lot(units), None, series, parallel, pins=pins)

    def kept(rows):
        inside = [set(row) for row in rows]
        return (all({a, b} <= row for row in inside if {a, b} & row)
                and not any({a, c} <= row for row in inside))

    assert used_once(found, count) and kept(found.places.tolist())
    assert found.value == pytest.approx(all_strings(units.tolist(), series, parallel, kept) * 36)


def test_a_string_position_may_be_forbidden():
    allowed = np.ones((6, 6), bool)
    allowed[0, [0, 3]] = False  # not first in either string
    found = assign_strings(lot([600, 500, 400, 300, 200, 100]), None, 3, 2,
                              pins=Pins(allowed=allowed))
    assert found.value == pytest.approx((400 + 100) * 36)
    assert 0 not in found.places[:, 0]


def test_even_strings_lower_no_weakest():
    rng = np.random.default_rng(9)
    units, r = rng.integers(4000, 6000, 40), 1e-3 * (1 + 0.1 * rng.standard_normal(40))
    plain = assign_strings(lot(units), None, 10, 4)
    even = assign_strings(lot(units), r, 10, 4)
    assert even.value == plain.value
    assert np.ptp(r[even.places].sum(axis=1)) <= np.ptp(r[plain.places].sum(axis=1)) + 1e-12


# --- published and worked partitions --------------------------------------------------

@pytest.mark.parametrize("numbers, each", [
    # encyclopaedia article on the 3-partition problem, both instances that it prints as solvable
    ([20, 23, 25, 30, 49, 45, 27, 30, 30, 40, 22, 19], 90),
    ([1, 2, 5, 6, 7, 9], 15),
    # instance printed with its solution in a public repository on the same problem
    ([1, 2, 3, 3, 3, 4, 4, 4, 5, 5, 5, 5, 5, 6, 7, 8, 9, 11], 15),
])
def test_published_instances_of_three_partition(numbers, each):
    found = pt.assign_groups(lot(numbers), None, len(numbers) // 3, 3)
    assert found.proven and found.value == pytest.approx(each * 36)
    assert {int(sum(numbers[m] for m in row)) for row in found.places} == {each}


# --- two criteria ---------------------------------------------------------------------

def pair_of_criteria(series, parallel, seed):
    """Capacity CV 4 %, resistance CV 10 %, correlation −0.6, as in the measured comparison."""
    rng = np.random.default_rng(seed)
    z = rng.standard_normal(series * parallel)
    q = np.round(60 * (1 + 0.04 * z), 2) * AH
    r = 3e-3 * (1 + 0.10 * (-0.6 * z + 0.8 * rng.standard_normal(series * parallel)))
    return q, r


@pytest.mark.parametrize("shape", [(16, 4), (16, 5), (16, 6), (96, 4), (108, 7)])
@pytest.mark.parametrize("seed", [0, 1])
def test_both_criteria_within_three_per_mille(shape, seed):
    q, r = pair_of_criteria(*shape, seed)
    found = pt.assign_groups(q, r, *shape)
    assert used_once(found, len(q))
    assert (found.bound - found.value) / found.bound <= 0.003
    assert found.conductance_gap <= 0.003


@pytest.mark.parametrize("series, parallel, count", [(12, 4, 60), (16, 5, 100)])
def test_both_criteria_within_three_per_mille_with_spares(series, parallel, count):
    q, r = pair_of_criteria(1, count, 0)
    found = pt.assign_groups(q, r, series, parallel)
    assert used_once(found, count)
    assert (found.bound - found.value) / found.bound <= 0.003
    assert found.conductance_gap <= 0.003


def test_the_tolerance_is_kept_and_zero_tolerance_gives_nothing_up():
    q, r = pair_of_criteria(10, 4, 4)
    found = pt.assign_groups(q, r, 10, 4, effort=Effort(rounds=20, tolerance=0.0))
    assert found.value == found.best_value
    wide = pt.assign_groups(q, r, 10, 4, effort=Effort(rounds=20, tolerance=0.01))
    assert wide.given_up <= 0.01
    assert wide.conductance >= found.conductance


def test_a_spare_module_is_used_for_resistance_only_within_the_tolerance():
    q, r = pair_of_criteria(8, 4, 2)
    q, r = np.append(q, q[:4]), np.append(r, r[:4] * 0.8)
    found = pt.assign_groups(q, r, 8, 4)
    assert used_once(found, 36) and found.given_up <= 0.0025


def test_the_same_seed_gives_the_same_answer():
    q, r = pair_of_criteria(16, 4, 7)
    one, two = (pt.assign_groups(q, r, 16, 4) for _ in range(2))
    assert (one.places == two.places).all()


def test_even_sharing_trades_capacity_for_even_currents():
    q, r = pair_of_criteria(16, 4, 3)
    ways = [pt.assign_groups(q, None, 16, 4), pt.assign_even(q, r, 16, 4, blocks=4),
            pt.assign_even(q, r, 16, 4)]
    worst = [pt.share_of_fair(q, r, w.places).max() for w in ways]
    value = [w.value for w in ways]
    assert worst[0] > worst[1] > worst[2] and value[0] > value[1] > value[2]
    assert worst[2] < 1.06 and all(used_once(w, 64) for w in ways)


@pytest.mark.parametrize("capacity, resistance", [
    ((97.43, 89.76, 95.56, 94.11, 90.93), (10.253, 7.176, 9.294, 8.704, 8.14)),
    ((89.57, 89.42, 88.33, 91.21, 92.73, 87.77), (8.156, 8.182, 8.123, 9.131, 9.305, 8.559))])
def test_a_few_modules_and_a_spare_are_dealt(capacity, resistance):
    """No pair that keeps the capacity conducts half of what is asked for (lots are invented)."""
    q, r = np.array(capacity) * 3600, np.array(resistance) * 1e-3
    found = pt.assign_groups(q, r, 2, 2)
    pairs = [(a, b) for a in itertools.combinations(range(len(q)), 2)
             for b in itertools.combinations(set(range(len(q))) - set(a), 2)]
    best = max(min(q[list(a)].sum(), q[list(b)].sum()) for a, b in pairs)
    assert found.best_value == pytest.approx(best)
    assert found.conductance <= found.conductance_bound * (1 + 1e-9)
