"""Resistance of strings: against every dealing of small lots, with spare modules and pins."""

import itertools

import numpy as np
import pytest

from packcalc.bench.dealing import Pins
from packcalc.bench.even_strings import even_strings, least_modules
from packcalc.bench.strings import assign_strings
from packcalc.bench.two_strings import dealt_by_twos
from packcalc.errors import UserError
from tests.bench.test_pinned_strings import kept, small_pinned


def test_spare_modules_of_less_resistance_are_dealt():
    """Four of 12 mΩ and two of 8 mΩ (invented), all of 90 Ah: 20 mΩ each string."""
    found = assign_strings(np.full(6, 90.0) * 3600, np.array([12, 12, 12, 12, 8, 8]) * 1e-3, 2, 2)
    assert found.value == pytest.approx(180 * 3600)
    assert found.conductance == pytest.approx(found.conductance_bound) == 1 / 20e-3


def test_beside_a_pinned_block_the_less_resistive_of_those_that_serve_is_dealt():
    """The block's string holds 80 Ah whoever stands third: 6 mΩ in place of 12 (invented)."""
    q = np.array([95.0, 80.0, 94.0, 93.0, 92.0, 91.0, 90.0]) * 3600
    r = np.array([8, 8, 8, 8, 8, 12, 6]) * 1e-3
    found = assign_strings(q, r, 3, 2, pins=Pins(((0, 1),)))
    assert found.value == pytest.approx(172 * 3600)
    assert sorted(r[found.places].sum(axis=1)) == pytest.approx([22e-3, 24e-3])
    assert found.conductance <= found.conductance_bound


def small(seed):
    """Invented: capacities read to 1, 5 or 0.1 Ah, with up to three spare modules."""
    rng = np.random.default_rng(seed)
    series, parallel = [(2, 2), (3, 2), (2, 3), (4, 2), (3, 3)][seed % 5]
    count = series * parallel + (int(rng.integers(0, 4)) if series * parallel < 8 else seed % 2)
    q = np.round(90 + 4 * rng.standard_normal(count), [0, 0, 1][rng.integers(3)])
    if rng.random() < 0.3:
        q = 5 * np.round(q / 5)
    return q * 3600, 1e-3 * np.round(rng.normal(8, 1.2, count), 2), series, parallel


def fewest_ohms(q, r, series, parallel, least, pins=Pins()):
    """The lowest resistance of the most resistive string, of all dealings that hold as much."""
    rows = []
    for row in itertools.combinations(range(len(q)), series):
        if (all(len(set(b) & set(row)) in (0, len(b)) for b in pins.together)
                and not any(set(pair) <= set(row) for pair in pins.apart)):
            rows.append((set(row), q[list(row)].min(), r[list(row)].sum()))
    if pins.allowed is not None:
        places = np.arange(series * parallel).reshape(parallel, series)
        fits = [[any(pins.allowed[m, p].all() for m in map(list, itertools.permutations(row)))
                 for row, *_ in rows] for p in places]
    best = [np.inf]

    def place(string, used, held, most):
        if most >= best[0]:
            return
        if string == parallel:
            if held >= least - 1e-6:
                best[0] = most
            return
        for k, (row, weakest, ohms) in enumerate(rows):
            if not used & row and (pins.allowed is None or fits[string][k]):
                place(string + 1, used | row, held + weakest, max(most, ohms))

    place(0, set(), 0.0, 0.0)
    return best[0]


@pytest.mark.property
def test_every_dealing_keeps_the_bound_of_resistance():
    for seed in range(60):
        q, r, series, parallel = small(seed)
        found = assign_strings(q, r, series, parallel)
        least = fewest_ohms(q, r, series, parallel, found.value)
        ours = r[found.places].sum(axis=1).max()
        assert 1 / found.conductance_bound <= least * (1 + 1e-9)
        assert ours == pytest.approx(least)


@pytest.mark.property
def test_every_pinned_dealing_keeps_the_bound_of_resistance():
    tried = 0
    for seed in range(120):
        units, series, parallel, pins = small_pinned(seed)
        if series * parallel > 6:
            continue
        q = np.round(units / 7) * 3600  # many alike
        r = np.random.default_rng(seed + 500).uniform(5e-3, 12e-3, len(q))
        try:
            found = assign_strings(q + 3600, r, series, parallel, pins=pins)
        except UserError:
            continue
        least = fewest_ohms(q + 3600, r, series, parallel, found.value, pins)
        ours = r[found.places].sum(axis=1).max()
        assert kept(found.places, pins) and ours == pytest.approx(least)
        assert 1 / found.conductance_bound <= least * (1 + 1e-9)
        tried += 1
    assert tried > 40


def test_no_exchange_with_a_spare_module_beats_the_answer_or_its_bound():
    """8S2P with six spare modules, capacities read to 1 Ah (invented)."""
    for seed in range(60):
        rng = np.random.default_rng(seed)
        q = np.round(90 + 2 * rng.standard_normal(22)) * 3600
        r = 1e-3 * rng.normal(8, 0.8, 22)
        found = assign_strings(q, r, 8, 2)
        worst = 1 / found.conductance
        assert found.proven and found.conductance <= found.conductance_bound
        for at in range(16):
            for spare in found.left_out:
                rows = found.places.copy()
                rows.flat[at] = spare
                if q[rows].min(axis=1).sum() >= found.value - 1e-6:
                    assert r[rows].sum(axis=1).max() >= worst * (1 - 1e-9)


@pytest.mark.property
def test_the_least_resistance_of_some_strings_is_that_of_every_dealing():
    for seed in range(40):
        rng = np.random.default_rng(seed)
        series, parallel = [(2, 3), (3, 2), (2, 2), (1, 4)][seed % 4]
        count = series * parallel + seed % 3
        units = rng.integers(1, 6, count).astype(float)
        r = rng.uniform(5, 12, count)
        limits = np.sort(units)[::-1][series - 1:series * parallel:series]
        for first, end in itertools.combinations(range(parallel + 1), 2):
            held = least_modules(units, r, limits, series, (first, end))
            least = np.inf
            for row in itertools.combinations(range(count), (end - first) * series):
                others = np.delete(units, list(row))
                floors = np.repeat(limits, series)
                own = floors[first * series:end * series]
                rest = np.delete(floors, np.arange(first * series, end * series))
                if ((np.sort(units[list(row)])[::-1] >= own).all()
                        and (np.sort(others)[::-1][:len(rest)] >= rest).all()):
                    least = min(least, r[list(row)].sum())
            assert r[held].sum() == pytest.approx(least)


def test_strings_of_unlike_modules_without_spares_are_at_their_bound():
    """No module can change its string: the bound says so (it was the mean string's)."""
    q = np.array([96.0, 95, 94, 93, 92, 91]) * 3600
    r = np.array([10, 10, 10, 6, 6, 6]) * 1e-3
    found = assign_strings(q, r, 3, 2)
    assert found.conductance == pytest.approx(1 / 30e-3) and found.conductance_gap == 0.0


SEVEN = (np.array([93.0, 85, 87, 85, 87, 88, 89]) * 3600,
         np.array([8.66, 10.62, 8.95, 10.75, 11.36, 8.01, 9.12]) * 1e-3)


def test_a_spare_module_of_more_resistance_may_even_the_strings():
    """261 Ah with 19.57 mΩ, by enumeration of all 105 dealings (invented lot)."""
    q, r = SEVEN
    found = assign_strings(q, r, 2, 3)
    assert found.value == pytest.approx(261 * 3600)
    assert {tuple(sorted(row)) for row in found.places.tolist()} == {(0, 6), (1, 2), (4, 5)}
    assert found.conductance == pytest.approx(1 / 19.57e-3) and found.conductance_gap == 0.0


@pytest.mark.parametrize("pins", [
    Pins(apart=((1, 2),)), Pins(((4, 5),)), Pins(((0, 3),), ((1, 2),)),
    Pins(allowed=np.arange(7)[:, None] != np.array([4] * 2 + [9] * 4))])
def test_few_pinned_strings_are_as_even_as_any_that_hold_as_much(pins):
    q, r = SEVEN
    found = assign_strings(q, r, 2, 3, pins=pins)
    least = fewest_ohms(q, r, 2, 3, found.value, pins)
    assert kept(found.places, pins) and found.conductance_gap == 0.0
    assert r[found.places].sum(axis=1).max() == pytest.approx(least)


def test_two_strings_dealt_anew_are_more_even_than_by_single_exchanges(monkeypatch):
    """4S4P of 17 modules, by seed (invented)."""
    lots = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        q = np.round(90 + 2 * rng.standard_normal(17))
        lots.append((q, np.round(rng.normal(10, 1.2, 17), 2) * 1e-3,
                     np.argsort(-q, kind="stable")[:16].reshape(4, 4)))
    ours = [even_strings(*lot, Pins()) for lot in lots]
    monkeypatch.setattr("packcalc.bench.even_strings.dealt_by_twos",
                        lambda units, resistance, rows, *_: rows)
    alone = [even_strings(*lot, Pins()) for lot in lots]
    won = []
    for (q, r, rows), new, old in zip(lots, ours, alone, strict=True):
        assert len(set(new.ravel())) == 16
        assert (q[new].min(axis=1) >= q[rows].min(axis=1)).all()
        won.append(r[old].sum(axis=1).max() - r[new].sum(axis=1).max())
    assert min(won) >= -1e-12 and sum(w > 1e-9 for w in won) >= 3


def test_pinned_modules_stay_while_two_strings_are_dealt_anew():
    """8S2P of 18: module 0 and 1 together, 2 and 3 apart (invented)."""
    rng = np.random.default_rng(4)
    q, r = np.full(18, 90.0), rng.normal(10, 1.2, 18) * 1e-3
    rows, pins = np.arange(16).reshape(2, 8)[:, ::-1], Pins(((0, 1),), ((2, 8),))
    new = dealt_by_twos(q, r, rows, np.full(2, 90.0), pins)
    assert r[new].sum(axis=1).max() < r[rows].sum(axis=1).max()
    assert len(set(new.ravel())) == 16
    assert all(m in new[0] for m in (0, 1, 2)) and 8 in new[1]
