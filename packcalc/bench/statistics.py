"""Spread of a lot: count, mean, standard deviation, ends, skew, correlation."""

from __future__ import annotations

import numpy as np

from packcalc.value import value_object


@value_object
class Spread:
    """Spread of one quantity over a lot; figures in the unit that went in.

    Attributes:
        count: of the values.
        mean, deviation: sample standard deviation (divisor n − 1); 0 for one value.
        least, low, middle, high, most: ends, 5th, 50th and 95th percentile.
        skew: third standardised moment (divisor n); 0 where it has no meaning.
    """

    count: int
    mean: float
    deviation: float
    least: float
    low: float
    middle: float
    high: float
    most: float
    skew: float

    @property
    def variation(self) -> float:
        """Standard deviation as a share of the mean."""
        return self.deviation / self.mean if self.mean else 0.0


def spread(values: object) -> Spread | None:
    """Spread of the values; None for none.

    Examples:
        >>> round(spread([90.0, 100.0, 110.0]).variation, 3)
        0.1
    """
    data = np.asarray(values, dtype=float)
    if data.size == 0:
        return None
    centred = data - data.mean()
    second = float(np.mean(centred ** 2))
    skew = float(np.mean(centred ** 3)) / second ** 1.5 if second > 0 else 0.0
    low, middle, high = np.percentile(data, [5, 50, 95])
    return Spread(int(data.size), float(data.mean()),
                  float(data.std(ddof=1)) if data.size > 1 else 0.0, float(data.min()),
                  float(low), float(middle), float(high), float(data.max()), skew)


def correlation(first: object, second: object) -> float | None:
    """Pearson's r; None for fewer than three pairs or no spread.

    Examples:
        >>> round(correlation([1.0, 2.0, 3.0], [3.0, 2.0, 1.0]), 3)
        -1.0
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if a.size < 3 or a.std() == 0 or b.std() == 0:
        return None
    return float(np.corrcoef(a, b)[0, 1])
