"""Pins on few modules against a mixed-integer solver; pins on many against planted dealings."""

import numpy as np
import pytest

from packcalc.bench.dealing import Pins
from packcalc.bench.keeping import Keeping, Rules
from packcalc.bench.partition import EVERY_PINNED, assign_groups
from packcalc.bench.pinned import place_chunks, start_groups
from packcalc.bench.pinned_exact import best_pinned
from packcalc.bench.search import splits
from packcalc.errors import UserError
from tests.bench.pinned_lots import heavily_pinned

STEP = 36.0  # 0.01 Ah [C]


def solver_optimum(units, series, parallel, pins):
    """The highest weakest sum by scipy's milp (HiGHS); None where the pins cannot be met."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    count, rows, low, high = len(units), [], [], []

    def demand(terms, least, most):
        row = np.zeros(count * series + 1)
        for at, factor in terms:
            row[at] += factor
        rows.append(row)
        low.append(least)
        high.append(most)

    for m in range(count):
        demand([(m * series + g, 1) for g in range(series)], 0, 1)
    for g in range(series):
        demand([(m * series + g, 1) for m in range(count)], parallel, parallel)
        demand([*((m * series + g, units[m]) for m in range(count)), (-1, -1)], 0, np.inf)
        for block in pins.together:
            for m in block[1:]:
                demand([(block[0] * series + g, 1), (m * series + g, -1)], 0, 0)
        for a, b in pins.apart:
            demand([(a * series + g, 1), (b * series + g, 1)], 0, 1)
    top = np.append(np.ones(count * series), units.sum())
    if pins.allowed is not None:
        top[:-1] = pins.allowed.ravel()
    else:  # all places are alike: whoever comes first takes one of the first
        top[:-1] *= np.tri(count, series).ravel()
    found = milp(np.append(np.zeros(count * series), -1.0), bounds=Bounds(0, top),
                 constraints=LinearConstraint(np.array(rows), low, high),
                 integrality=np.append(np.ones(count * series), 0), options={"mip_rel_gap": 0})
    return None if found.x is None else round(found.x[-1])


def pinned_lot(seed):
    """Invented: a few blocks, cliques that may not fit, modules barred from places, spares."""
    rng = np.random.default_rng(seed)
    series, parallel = [(2, 2), (3, 2), (2, 3), (3, 3), (4, 2), (2, 4)][rng.integers(6)]
    count = series * parallel + int(rng.integers(0, 4))
    units = np.round(20_000 * (1 + 0.04 * rng.standard_normal(count)))
    units[rng.random(count) < 0.15] -= 2600
    left, together, apart = rng.permutation(count).tolist(), [], []
    for _ in range(rng.integers(0, 3)):
        size = int(rng.integers(2, min(parallel, 3) + 1))
        together.append(tuple(left[:size]))
        left = left[size:]
        if len(left) < 4:
            break
    for _ in range(rng.integers(0, 3)):
        clique = rng.permutation(count)[:rng.integers(2, series + 3)].tolist()
        apart += [(a, b) for i, a in enumerate(clique) for b in clique[i + 1:]
                  if not any({a, b} <= set(block) for block in together)]
    allowed = None
    if rng.random() < 0.5:
        allowed = np.ones((count, series), dtype=bool)
        for m in rng.permutation(count)[:rng.integers(1, 4)]:
            allowed[m, rng.permutation(series)[:rng.integers(1, series)]] = False
    return units, series, parallel, Pins(tuple(together), tuple(apart), allowed)


def kept(places, pins):
    rows = [set(row) for row in np.asarray(places).tolist()]
    return (all(set(b) <= row or not set(b) & row for b in pins.together for row in rows)
            and not any({a, b} <= row for a, b in pins.apart for row in rows)
            and (pins.allowed is None
                 or all(pins.allowed[m, g] for g, row in enumerate(rows) for m in row)))


@pytest.mark.parametrize("block", range(10))
def test_pins_on_few_modules_against_a_mixed_integer_solver(block):
    for seed in range(12 * block, 12 * block + 12):
        units, series, parallel, pins = pinned_lot(seed)
        if not pins:
            continue
        best = solver_optimum(units, series, parallel, pins)
        if best is None:
            with pytest.raises(UserError, match="pin"):
                assign_groups(units * STEP, None, series, parallel, pins=pins)
            continue
        starts = start_groups(units, series, parallel, Pins(pins.together, pins.apart))
        assert all(kept(s.groups, Pins(pins.together, pins.apart)) for s in starts)
        found = assign_groups(units * STEP, None, series, parallel, pins=pins)
        assert kept(found.places, pins)
        assert round(found.best_value / STEP) == best
        assert found.proven and round(found.bound / STEP) == best


def test_of_four_modules_apart_one_stays_out_of_three_groups():
    # 215 + 188, 214 + 189, 213 + 190 = 403 with the weakest and one of the four left out
    units = np.array([215, 214, 213, 212, 190, 189, 188, 187]) * 100.0
    four = tuple((a, b) for a in range(4) for b in range(a + 1, 4))
    found = assign_groups(units * STEP, None, 3, 2, pins=Pins(apart=four))
    assert found.value == pytest.approx(403 * 3600.0)
    assert found.proof == EVERY_PINNED and sorted(found.left_out.tolist()) == [3, 7]
    assert kept(start_groups(units, 3, 2, Pins(apart=four))[0].groups, Pins(apart=four))


def test_a_module_that_is_not_wanted_is_used_where_a_place_would_stay_empty():
    three = Pins(apart=((0, 1), (0, 2), (1, 2)))
    assert place_chunks([[0], [1], [2]], {0}, 2, 2, three, 2) == [[0], [1]]
    with pytest.raises(UserError, match="do not fit into the groups; loosen a pin"):
        place_chunks([[0], [1], [2]], {0, 1, 2}, 2, 2, three, 1)


def test_pins_that_contradict_each_other_are_refused_with_modules_to_spare():
    with pytest.raises(UserError, match="pinned together and apart at once"):
        assign_groups(np.arange(100.0, 108.0) * STEP, None, 2, 2,
                      pins=Pins(((0, 1),), ((0, 1),)))


def test_too_many_modules_to_list_every_group_are_left_to_the_search():
    assert best_pinned(np.arange(60.0), 15, 4, Pins(apart=((0, 1),))) is None


@pytest.mark.parametrize("seed", range(3))
def test_cliques_larger_than_the_number_of_groups_are_met_in_a_large_lot(seed):
    rng = np.random.default_rng(seed)
    units = np.round(20_000 * (1 + 0.04 * rng.standard_normal(52)))
    clique = rng.permutation(52)[:14].tolist()
    pins = Pins(apart=tuple((a, b) for i, a in enumerate(clique) for b in clique[i + 1:]))
    starts = start_groups(units, 12, 4, pins)
    assert starts and all(kept(s.groups, pins) for s in starts)


@pytest.mark.property
@pytest.mark.parametrize("seed", range(40))
def test_splits_are_held_against_every_pin(seed):
    """The matrices against the pins themselves, way by way."""
    rng = np.random.default_rng(seed)
    count, series, parallel = 14, 4, 3
    order = rng.permutation(count).tolist()
    rules = Rules((tuple(order[:3]), tuple(order[3:5])), tuple(zip(order[5:8], order[8:11],
                                                                   strict=True)),
                  rng.random((count, series)) < 0.8 if seed % 2 else None)
    masks = np.concatenate([splits(parallel), 1.0 - splits(parallel)], axis=1)
    worst, others = 0, np.array([2, 3])
    both = np.array([rng.permutation(count)[:6] for _ in others])
    found = Keeping(rules, count, masks).broken(worst, others, both)
    for row, other in enumerate(others):
        for way in range(masks.shape[1]):
            halves = [set(both[row][masks[:, way] == side].tolist()) for side in (1, 0)]
            here = set(both[row].tolist())
            torn = any(len(half & set(block)) not in (0, len(here & set(block)))
                       for block in rules.together for half in halves)
            met = any(half >= set(pair) for pair in rules.apart for half in halves)
            out = rules.allowed is not None and not all(
                rules.allowed[m, g] for half, g in zip(halves, (worst, other), strict=True)
                for m in half)
            assert found[row, way] == (torn or met or out)


def test_a_spare_comes_in_only_where_no_pin_forbids_it():
    rules = Rules(((0, 1),), ((2, 6), (3, 7)))
    fits = Keeping(rules, 8, splits(3)).exchangeable(0, np.array([0, 2, 3]), np.array([5, 6, 7]))
    # 0 is kept beside 1; 6 may take the place of 2 alone, 7 that of 3 alone
    assert fits.tolist() == [[False, False, False], [True, True, False], [True, False, True]]


@pytest.mark.parametrize("count", [64, 72])
def test_a_heavily_pinned_lot_has_an_answer_with_a_bound(count):
    rng, pins = np.random.default_rng(count), heavily_pinned(count, count)
    units = np.round(6000 * (1 + 0.04 * rng.standard_normal(count)))
    found = assign_groups(units * STEP, None, 16, 4, pins=pins)
    assert kept(found.places, pins) and sorted(
        [*found.places.ravel().tolist(), *found.left_out.tolist()]) == list(range(count))
    free = assign_groups(units * STEP, None, 16, 4)
    assert found.best_value <= found.bound <= free.bound + 1e-6
    assert found.gap <= 0.005
