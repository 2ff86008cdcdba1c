"""How sure the answer is: seeded packs drawn from what is known of each module.

A measured module is drawn about its reading; one that nobody measured is drawn from a
skewed spread, most near the donor pack's mean and some far below, as retired lots are.
The donor pack's own offset and the error that an instrument makes on every module are
drawn once a pack. Everything is plain numpy.
"""

from __future__ import annotations

import numpy as np

from packcalc.value import value_object

CHUNK = 250
TRIALS = 10000


@value_object
class Spread:
    """Spread of modules that nobody measured, relative to their donor pack's mean.

    Attributes:
        scatter: standard deviation of the many.
        tail_share, tail_mean, tail_scatter: the weak few.
        offset: standard deviation of a donor pack's mean against the value expected.
        resistance_scatter: standard deviation of resistance.
        correlation: of capacity and resistance inside a donor pack.
    """

    scatter: float = 0.02
    tail_share: float = 0.10
    tail_mean: float = 0.85
    tail_scatter: float = 0.06
    offset: float = 0.03
    resistance_scatter: float = 0.10
    correlation: float = -0.6

    @property
    def mean(self) -> float:
        """Mean of the many and the few together."""
        return 1.0 + self.tail_share * (self.tail_mean - 1.0)

    @property
    def deviation(self) -> float:
        """Standard deviation of the many and the few together."""
        many = (1.0 - self.tail_share) * (self.scatter ** 2 + (1.0 - self.mean) ** 2)
        few = self.tail_share * (self.tail_scatter ** 2 + (self.tail_mean - self.mean) ** 2)
        return float(np.sqrt(many + few))


@value_object
class Belief:
    """What is known of each module.

    Attributes:
        capacity, resistance: reading, or the value expected of the donor pack [C], [Ω].
        capacity_sigma, resistance_sigma: relative; NaN where it was not measured.
        donor: number of the donor pack of each module.
        common_capacity, common_resistance: relative error that the instruments make on all at
            once, of each module, or one for all.
    """

    capacity: np.ndarray
    resistance: np.ndarray
    capacity_sigma: np.ndarray
    resistance_sigma: np.ndarray
    donor: np.ndarray
    common_capacity: np.ndarray | float = 0.0
    common_resistance: np.ndarray | float = 0.0


@value_object
class Draws:
    """What the drawn packs came to.

    Attributes:
        capacity, resistance: of each drawn pack [C], [Ω] (modules only).
        capacity_explains, resistance_explains: (modules,) share of the spread of the pack's
            capacity (of its resistance) that knowing a module's capacity (its resistance)
            would explain; by linear regression.
        common_explains: the same for the instrument's common error on capacity and
            on resistance.
    """

    capacity: np.ndarray
    resistance: np.ndarray
    capacity_explains: np.ndarray
    resistance_explains: np.ndarray
    common_explains: tuple[float, float]


def draw_packs(belief: Belief, places: np.ndarray, arrangement: str, *,
               spread: Spread = Spread(), trials: int = TRIALS, seed: int = 1) -> Draws:
    """Draw packs of the modules in `places`.

    Args:
        belief: what is known.
        places: one row a group ("grouped") or a string ("strings").
        arrangement: as above.
        spread: of what nobody measured.
        trials: packs drawn.
        seed: same seed, same packs.
    """
    order = places.T.ravel()  # rows next to one another: the sums over a row run fast
    draw = _Drawer(belief, order, spread)
    rng = np.random.default_rng(seed)
    rows, columns = places.shape
    found, sums = [], _Sums(draw)
    for start in range(0, trials, CHUNK):
        count = min(CHUNK, trials - start)
        q, r, common = draw.chunk(rng, count)
        pack = _pack(q.reshape(count, columns, rows), r.reshape(count, columns, rows), arrangement)
        sums.add(q, r, common, pack)
        found.append(pack)
    capacity, resistance = (np.concatenate(part) for part in zip(*found, strict=True))
    explained = sums.explained()
    by_module = [np.zeros(len(belief.capacity)) for _ in range(2)]
    for target, values in zip(by_module, explained[:2], strict=True):
        target[order] = values
    return Draws(capacity, resistance, by_module[0], by_module[1], explained[2])


def pack_of(capacity: np.ndarray, resistance: np.ndarray,
            arrangement: str) -> tuple[np.ndarray, np.ndarray]:
    """Capacity and resistance of one pack; one row a group, or a string."""
    q, r = _pack(capacity.T[None], resistance.T[None], arrangement)
    return q[0], r[0]


def _pack(q: np.ndarray, r: np.ndarray, arrangement: str) -> tuple[np.ndarray, np.ndarray]:
    """Capacity and resistance of each pack; axes are pack, place in the row, row."""
    if arrangement == "grouped":
        weakest = q.sum(axis=1).min(axis=1)
        return weakest.astype(float), (1.0 / (1.0 / r).sum(axis=1)).sum(axis=1).astype(float)
    capacity = q.min(axis=1).sum(axis=1)
    return capacity.astype(float), (1.0 / (1.0 / r.sum(axis=1)).sum(axis=1)).astype(float)


class _Drawer:
    """Draws modules in the order of their places, in single precision for speed."""

    def __init__(self, belief: Belief, order: np.ndarray, spread: Spread):
        self.spread = spread
        self.capacity = belief.capacity[order].astype(np.float32)
        self.resistance = belief.resistance[order].astype(np.float32)
        sigma_q, sigma_r = belief.capacity_sigma[order], belief.resistance_sigma[order]
        self.open = np.flatnonzero(np.isnan(sigma_q))
        self.open_r = np.flatnonzero(np.isnan(sigma_r))
        self.measured = (~np.isnan(sigma_q), ~np.isnan(sigma_r))
        self.sigma_q = np.nan_to_num(sigma_q).astype(np.float32)
        self.sigma_r = np.nan_to_num(sigma_r).astype(np.float32)
        self.common_q, self.common_r = (
            np.broadcast_to(c, belief.capacity.shape)[order].astype(np.float32)
            for c in (belief.common_capacity, belief.common_resistance))
        self.donors, self.donor = np.unique(belief.donor[order], return_inverse=True)

    def chunk(self, rng: np.random.Generator, count: int):
        """Capacities, resistances and common errors, in standard deviations, of `count` packs."""
        size = (count, len(self.capacity))
        common = rng.standard_normal((count, 2))
        q = rng.standard_normal(size, dtype=np.float32)
        r = rng.standard_normal(size, dtype=np.float32)
        q *= self.sigma_q
        r_open = r[:, self.open_r].copy()
        r *= self.sigma_r
        q += np.float32(1.0) + common[:, :1].astype(np.float32) * self.common_q
        r += np.float32(1.0) + common[:, 1:].astype(np.float32) * self.common_r
        if len(self.open) or len(self.open_r):
            self._unmeasured(rng, count, q, r, r_open)
        q *= self.capacity
        r *= self.resistance
        np.maximum(r, np.float32(0.2) * self.resistance, out=r)
        np.maximum(q, np.float32(0.0), out=q)
        return q, r, common

    def _unmeasured(self, rng: np.random.Generator, count: int, q: np.ndarray, r: np.ndarray,
                    r_open: np.ndarray) -> None:
        """Overwrite what nobody measured with draws from the spread."""
        s = self.spread
        offset = (s.offset * rng.standard_normal((count, len(self.donors)))).astype(np.float32)
        shape = (count, len(self.open))
        normal = rng.standard_normal(shape, dtype=np.float32)
        weak = rng.random(shape, dtype=np.float32) < s.tail_share
        own = np.where(weak, s.tail_mean + s.tail_scatter * normal, 1.0 + s.scatter * normal)
        q[:, self.open] = own + offset[:, self.donor[self.open]]
        # A resistance follows its module's capacity where that is drawn as well.
        _, at_q, at_r = np.intersect1d(self.open, self.open_r, return_indices=True)
        if len(at_q):
            left = np.float32(np.sqrt(1.0 - s.correlation ** 2))
            partner = (own[:, at_q] - np.float32(s.mean)) / np.float32(s.deviation)
            r_open[:, at_r] = np.float32(s.correlation) * partner + left * r_open[:, at_r]
        if len(self.open_r):
            r[:, self.open_r] = 1.0 + s.resistance_scatter * r_open


class _Sums:
    """Running sums for the regression of the pack on each module."""

    def __init__(self, draw: "_Drawer"):
        modules, self.count = len(draw.capacity), 0
        # Repeating a reading with the same instrument tells nothing of its common error.
        self.shared = (np.where(draw.measured[0], draw.capacity * draw.common_q, 0),
                       np.where(draw.measured[1], draw.resistance * draw.common_r, 0))
        self.first = [np.zeros(modules) for _ in range(2)]
        self.second = [np.zeros(modules) for _ in range(2)]
        self.cross = [np.zeros(modules) for _ in range(2)]
        self.packs: list[tuple[np.ndarray, np.ndarray]] = []
        self.commons: list[np.ndarray] = []
        self.centre: list[np.ndarray] | None = None
        self.pack_centre = (0.0, 0.0)

    def add(self, q: np.ndarray, r: np.ndarray, common: np.ndarray, pack) -> None:
        if self.centre is None:
            self.centre = [q.mean(axis=0), r.mean(axis=0)]
            self.pack_centre = tuple(float(p.mean()) for p in pack)
        self.count += len(q)
        self.packs.append(pack)
        self.commons.append(common)
        for i, values in enumerate((q, r)):
            values -= self.centre[i]
            if self.shared[i].any():
                values -= common[:, i:i + 1].astype(np.float32) * self.shared[i]
            y = (pack[i] - self.pack_centre[i]).astype(np.float32)
            self.first[i] += values.sum(axis=0)
            self.second[i] += np.einsum("ij,ij->j", values, values)
            self.cross[i] += y @ values

    def explained(self):
        """Share of the variance explained by each module, and by the common errors."""
        packs = [np.concatenate(p) for p in zip(*self.packs, strict=True)]
        common = np.concatenate(self.commons)
        shares, by_common = [], []
        for i, pack in enumerate(packs):
            y = pack - self.pack_centre[i]
            covariance = self.cross[i] / self.count - y.mean() * self.first[i] / self.count
            variance = self.second[i] / self.count - (self.first[i] / self.count) ** 2
            whole = float(y.var()) or 1.0
            fine = variance > 0
            shares.append(np.where(fine, covariance ** 2 / np.where(fine, variance, 1) / whole, 0))
            c = common[:, i]
            by_common.append(float(np.cov(c, y, bias=True)[0, 1] ** 2 / c.var() / whole)
                             if self.shared[i].any() else 0.0)
        return shares[0], shares[1], (by_common[0], by_common[1])


def chance(values: np.ndarray, target: float) -> float:
    """Share of the draws that reach a target.

    Examples:
        >>> chance(np.array([1.0, 2.0, 3.0, 4.0]), 2.5)
        0.5
    """
    return float(np.mean(values >= target))


def chance_error(share: float, trials: int) -> float:
    """Standard error of a share of `trials` draws.

    Examples:
        >>> round(chance_error(0.5, 10000), 4)
        0.005
    """
    return float(np.sqrt(share * (1.0 - share) / trials))
