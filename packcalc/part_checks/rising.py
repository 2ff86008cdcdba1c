"""When a current that rises with the loop's time constant has let an I²t through, or trips.

A sheet's curves hold for a current that stands at once. In a loop with inductance the heat
comes later, and so do the end of the arc and the moment at which a trip sees its level.
"""

from __future__ import annotations

import functools
import math
from typing import Any

import numpy as np

from packcalc.curves import rising_integral

# Time constants after which a current counts as risen: within 0.1 % of its end. A trip whose level
# lies closer to that end than this is counted with no more; its sensor's error is in the level.
RISEN = 7.0
LEFT = math.exp(-RISEN)
# Of one ampere in a loop of one second; below its first point the longer time is taken.
POINTS = np.geomspace(1e-3, 1e4, 600)


@functools.cache
def _table() -> tuple[np.ndarray, np.ndarray]:
    return np.log(rising_integral(1.0, 1.0, POINTS)), np.log(POINTS)


def rising_time(prospective: Any, time_constant: float, integral: Any) -> np.ndarray:
    """Time at which `curves.rising_integral` reaches an I²t, in s; errs long, if at all.

    Args:
        prospective: A, that the current rises to.
        time_constant: s, L/R of the loop; without one the current stands at once.
        integral: A²s to be let through.

    Examples:
        >>> round(float(rising_time(26864.0, 3.661e-3, 74400.0)) * 1e3, 2)
        1.81
        >>> round(float(rising_time(1000.0, 0.0, 2e4)), 6)
        0.02
    """
    steady = np.asarray(integral, dtype=float) / np.square(np.asarray(prospective, dtype=float))
    if time_constant <= 0.0:
        return steady
    heats, times = _table()
    share = steady / time_constant
    x = np.exp(np.interp(np.log(share), heats, times))
    # The integral bends upwards, so that one step along its tangent ends at the root or later.
    less = np.expm1(-x)
    heat = x + 2.0 * less - 0.5 * less * (less + 2.0)  # e^-2x - 1, from e^-x - 1
    return np.maximum((x - (heat - share) / less ** 2) * time_constant, steady)


def level_time(prospective: Any, time_constant: float, level: Any) -> np.ndarray:
    """Time that a rising current takes to a level, in s; at most `RISEN` time constants.

    Args:
        prospective: A, that the current rises to.
        time_constant: s, highest L/R of the loop, which errs long.
        level: A, that a trip waits for; one that is no current at all is the prospective itself.

    Examples:
        >>> round(float(level_time(1000.0, 2e-3, 632.1206)) * 1e3, 3)
        2.0
        >>> round(float(level_time(1000.0, 2e-3, 1000.0)) * 1e3, 3)
        14.0
    """
    end, at = np.asarray(prospective, dtype=float), np.asarray(level, dtype=float)
    left = 1.0 - np.minimum(at / end, 1.0)
    return -np.log(np.maximum(left, LEFT)) * time_constant
