"""What the weakest group can conduct at most, by what each module is worth: linear prices.

Give every module a price, none below nothing. Of S groups without a common member the cheapest
costs an S-th of all prices at most. So where every group that keeps the capacity and conducts C
or more costs more than that, no dealing reaches C. Any prices prove something; the best ones are
those of a linear programme (as much as possible of disjoint groups, each module used once at
most), solved by the simplex method over the groups that are worth most at the prices so far.
Effort is counted in exchanges, never in seconds.
"""

from __future__ import annotations

import math

import numpy as np

from packcalc.bench.exact import combinations

MOST_SETS = 2_200_000  # groups that are looked at once
MOST_LISTED = 1_500_000  # of them those that keep the capacity and conduct enough
MOST_MODULES = 240  # an exchange takes as long as their square
NEAR = 20_000  # groups that prices are worked out for before they are held against all
POOL = 1_000  # groups that are priced at every exchange
EXCHANGES, MANY, OF_MANY = 2_500, 400_000, 1_500  # fewer where many groups are listed
HALVINGS = 4
FRESH = 60  # exchanges after which the inverse is computed anew
CALM = 1e-9
CLOSE = 1e-4  # of the bound: so near what is found it need not be lowered further
UNLIKE = 1e-3  # share by which the rows are set apart, so that no exchange stands still
WEIGHTS = np.geomspace(0.05, 50.0, 16)


def price_bound(conductance: np.ndarray, capacity: np.ndarray, asked: tuple[float, float],
                series: int, parallel: int, found: float) -> float:
    """The bound of the weakest group's conductance, lowered as far as prices prove it.

    Args:
        conductance, capacity: of each module, in any units.
        asked: capacity that every group keeps, and the bound so far.
        series, parallel: S groups of P.
        found: conductance that a dealing has.

    Examples:
        >>> g, q = np.array([4.0, 3.0, 3.0, 1.0, 1.0, 1.0]), np.ones(6)
        >>> price_bound(g, q, (3.0, 6.5), 2, 3, 5.0)  # 4 + 1 + 1 and 3 + 3 + 1
        6.0
    """
    floor, limit = asked
    count = len(conductance)
    if not 2 * parallel <= count <= MOST_MODULES or math.comb(count, parallel) > MOST_SETS:
        return limit
    members, held = _listed(conductance, capacity, floor, found, parallel)
    if not 0 < len(held) <= MOST_LISTED:
        return limit
    limit = min(limit, float(held.max()))  # no group that keeps the capacity conducts more
    programme = _Programme(members, count, series, _first_prices(conductance, capacity, members))
    low = found
    for _ in range(HALVINGS):
        if limit - found <= CLOSE * limit:
            break
        middle = (low + limit) / 2.0
        prices = programme.prices(np.flatnonzero(held >= middle))
        if prices is None:
            low = middle
            continue
        cheap = _cost(prices, members) <= prices.sum() / series * (1.0 + CALM)
        limit = min(limit, float(held[cheap].max(initial=found)))
    return limit


def _listed(conductance: np.ndarray, capacity: np.ndarray, floor: float, least: float,
            parallel: int) -> tuple[np.ndarray, np.ndarray]:
    """Every group that keeps the capacity and conducts `least`, a column each; what it conducts."""
    count = len(conductance)
    later = combinations(count, parallel - 1)
    held, kept = conductance[later].sum(axis=1), capacity[later].sum(axis=1)
    rows, sums = [], []
    for first in range(count - parallel + 1):
        after = int(np.searchsorted(later[:, 0], first + 1))
        fits = after + np.flatnonzero((kept[after:] + capacity[first] >= floor * (1.0 - CALM))
                                      & (held[after:] + conductance[first] >= least))
        rows.append(np.vstack([np.full((1, len(fits)), first), later[fits].T]))
        sums.append(held[fits] + conductance[first])
    return np.concatenate(rows, axis=1), np.concatenate(sums)


def _first_prices(conductance: np.ndarray, capacity: np.ndarray, members: np.ndarray
                  ) -> np.ndarray:
    """The best of some weighted sums of both criteria, as prices to begin with."""
    some = members[:, ::max(1, members.shape[1] // 5_000)]
    each = (conductance / conductance.mean() + weight * capacity / capacity.mean()
            for weight in WEIGHTS)
    return max(each, key=lambda prices: float(_cost(prices, some).min() / prices.sum()))


def _cost(prices: np.ndarray, members: np.ndarray) -> np.ndarray:
    """What groups cost; by place in the group, which is faster than group by group."""
    cost = prices[members[0]]
    for column in members[1:]:
        cost += prices[column]
    return cost


def _cheapest(cost: np.ndarray, most: int) -> np.ndarray | slice:
    """Which are the cheapest, in no order; all where there are no more."""
    return np.argpartition(cost, most)[:most] if len(cost) > most else slice(None)


class _Programme:
    """As much of disjoint groups as there is; the prices are those of its dual."""

    def __init__(self, members: np.ndarray, count: int, series: int, first: np.ndarray):
        self.members, self.count, self.series = members, count, series
        self._first = first
        self._once = 1.0 + UNLIKE * np.random.default_rng(count).random(count) / count
        self._basis = np.arange(-count, 0)  # below nothing: the place that a module leaves empty
        self._exchanges = OF_MANY if members.shape[1] > MANY else EXCHANGES

    def prices(self, able: np.ndarray) -> np.ndarray | None:
        """Prices at which each of some groups costs more than an S-th of all, or None.

        Worked out for the cheapest of them, which the prices are then held against all.
        """
        basis, prices = self._basis.copy(), self._first
        members = self.members[:, able]
        while self._exchanges > 0:
            cost = _cost(prices, members)
            if self._prove(prices, cost):
                self._basis = basis
                return prices
            found = self._of_few(basis, able[_cheapest(cost, NEAR)], prices)
            if found is None:
                return None
            prices = found
        return None

    def _of_few(self, basis: np.ndarray, able: np.ndarray, prices: np.ndarray
                ) -> np.ndarray | None:
        """The same for a few groups, the basis bettered; None where no prices do or it is long."""
        members = self.members[:, able]
        cost = _cost(prices, members)
        while self._exchanges > 0:
            inverse = self._exchanged(basis, able[_cheapest(cost, POOL)])
            prices = np.maximum(inverse[basis >= 0].sum(axis=0), 0.0)
            cost = _cost(prices, members)
            if self._prove(prices, cost):
                return prices
            if (inverse @ self._once)[basis >= 0].sum() >= self.series or cost.min() >= 1.0 - CALM:
                return None
        return None

    def _prove(self, prices: np.ndarray, cost: np.ndarray) -> bool:
        return bool(prices.sum() < self.series * float(cost.min()) * (1.0 - CALM))

    def _exchanged(self, basis: np.ndarray, pool: np.ndarray) -> np.ndarray:
        """The basis bettered with the groups of the pool; the inverse that belongs to it."""
        members = self.members[:, pool].T
        inverse = np.linalg.inv(self._matrix(basis))
        for step in range(1, EXCHANGES):
            prices = inverse[basis >= 0].sum(axis=0)
            gains = 1.0 - prices[members].sum(axis=1)
            best, empty = int(gains.argmax()), int(prices.argmin())
            if max(gains[best], -prices[empty]) <= CALM or self._exchanges <= 0:
                break
            self._exchanges -= 1
            fill = gains[best] >= -prices[empty]
            column = inverse[:, members[best]].sum(axis=1) if fill else inverse[:, empty]
            self._swap(basis, inverse, column, int(pool[best]) if fill else empty - self.count)
            if step % FRESH == 0:
                inverse = np.linalg.inv(self._matrix(basis))
            if (inverse @ self._once)[basis >= 0].sum() >= self.series:
                break
        return inverse

    def _swap(self, basis: np.ndarray, inverse: np.ndarray, column: np.ndarray, came: int) -> None:
        """One takes the place of the first that runs out."""
        column = column.copy()
        ratio = np.full(len(basis), np.inf)
        up = column > CALM
        ratio[up] = np.maximum((inverse @ self._once)[up], 0.0) / column[up]
        row = int(ratio.argmin())
        inverse[row] /= column[row]
        column[row] = 0.0
        inverse -= np.outer(column, inverse[row])
        basis[row] = came

    def _matrix(self, basis: np.ndarray) -> np.ndarray:
        matrix = np.zeros((self.count, self.count))
        for place, which in enumerate(basis):
            matrix[self.members[:, which] if which >= 0 else which + self.count, place] = 1.0
        return matrix
