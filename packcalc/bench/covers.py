"""Disjoint groups out of a list of those that serve, one for every place.

The module in the fewest groups either stands in one of them or stays out. Effort is counted in
steps, never in seconds.
"""

from __future__ import annotations

import numpy as np

from packcalc.bench.dealing import match


def who_stands_where(groups: np.ndarray, count: int) -> np.ndarray:
    """(groups, modules) of bool.

    Examples:
        >>> who_stands_where(np.array([[0, 2]]), 3).tolist()
        [[True, False, True]]
    """
    inside = np.zeros((len(groups), count), dtype=bool)
    inside[np.arange(len(groups))[:, None], groups] = True
    return inside


class Cover:
    """Disjoint groups out of the first of a list, one for every place."""

    def __init__(self, inside: np.ndarray, fits: np.ndarray, spare: int, steps: int):
        """Take the list.

        Args:
            inside: (groups, modules): who stands where.
            fits: (groups, places): which place takes which group.
            spare: modules that stay out.
            steps: of looking through, before it is given up.
        """
        self.inside, self.fits, self.spare, self.steps = inside, fits, spare, steps

    def among(self, first: int) -> list[int] | None:
        """Numbers of groups, place by place, among the first ones; None where none exist.

        None, too, where no steps are left: then nothing is proven. Of two groups that serve the
        later one of the list is tried first.
        """
        every = np.ones(self.inside.shape[1], dtype=bool)
        return self._from(np.arange(first), every, (), self.spare)

    def _from(self, able: np.ndarray, waiting: np.ndarray, taken: tuple[int, ...],
              spare: int) -> list[int] | None:
        """The groups that are still wanted; `spare` of the waiting modules may stay out."""
        if len(taken) == self.fits.shape[1]:
            return self._placed(taken)
        self.steps -= 1
        if self.steps <= 0 or not len(able):
            return None
        counts = np.where(waiting, self.inside[able].sum(axis=0), len(able) + 1)
        lonely = int((counts == 0).sum())
        if lonely > spare:
            return None
        module = int(np.where(counts == 0, len(able) + 1, counts).argmin())
        holds = self.inside[able, module]
        for group in able[holds][::-1]:
            mine = self.inside[group]
            found = self._from(able[~(self.inside[able] & mine).any(axis=1)], waiting & ~mine,
                               (*taken, int(group)), spare)
            if found is not None:
                return found
        if spare <= lonely:
            return None
        rest = waiting.copy()
        rest[module] = False
        return self._from(able[~holds], rest, taken, spare - 1)

    def _placed(self, taken: tuple[int, ...]) -> list[int] | None:
        """The groups in the order of their places; None where no such order exists."""
        places = match(self.fits[list(taken)])
        return None if places is None else [taken[k] for k in np.argsort(places)]
