"""What the user's pins ask of groups while modules move: together, apart, out of some places.

Pins on pairs of modules become two matrices, so that all ways to split many pairs of groups are
held against all pins by one matrix product.
"""

from __future__ import annotations

from dataclasses import field
from itertools import combinations

import numpy as np

from packcalc.value import value_object


@value_object
class Rules:
    """What a re-split must keep.

    Attributes:
        together: modules that stay in one group.
        apart: pairs of modules never in one group.
        allowed: (modules, groups); None where every module may stand everywhere.
    """

    together: tuple[tuple[int, ...], ...] = ()
    apart: tuple[tuple[int, int], ...] = ()
    allowed: np.ndarray | None = field(default=None, compare=False)

    def __bool__(self) -> bool:
        return bool(self.together or self.apart) or self.allowed is not None


class Keeping:
    """Rules laid out for one lot and one list of splits.

    Attributes:
        blocked: (modules) whether one is kept together with others.
    """

    def __init__(self, rules: Rules, count: int, masks: np.ndarray):
        """Lay the rules out.

        Args:
            rules: to keep.
            count: of modules.
            masks: (2P, ways); 1 goes to the first of two groups.
        """
        self.masks, self.rest = masks, 1.0 - masks
        self.blocked = np.zeros(count, dtype=bool)
        self._kin, self._foes = np.zeros((2, count, count), dtype=bool)
        for block in rules.together:
            self.blocked[list(block)] = True
            for one, other in combinations(block, 2):
                self._kin[one, other] = self._kin[other, one] = True
        for one, other in rules.apart:
            self._foes[one, other] = self._foes[other, one] = True
        self._barred = None if rules.allowed is None else 1.0 - rules.allowed
        self._one, self._other = np.triu_indices(len(masks), 1)
        parted = masks[self._one] != masks[self._other]
        self._ways = np.concatenate([parted, ~parted]).astype(float)

    def broken(self, worst: int, others: np.ndarray, both: np.ndarray) -> np.ndarray:
        """Which splits of the worst group with each other one break a rule.

        Args:
            worst, others: group numbers.
            both: (others, 2P) their modules, those of the worst first.

        Examples:
            >>> masks = np.array([[1.0, 1.0, 1.0], [1.0, 0, 0], [0, 1.0, 0], [0, 0, 1.0]])
            >>> keeping = Keeping(Rules(together=((0, 1),)), 4, masks)
            >>> keeping.broken(0, np.array([1]), np.arange(4)[None, :]).tolist()
            [[False, True, True]]
        """
        one, other = both[:, self._one], both[:, self._other]
        pairs = np.concatenate([self._kin[one, other], self._foes[one, other]], axis=1)
        broken = pairs.astype(float) @ self._ways > 0
        if self._barred is not None:
            broken |= self._barred[both, worst] @ self.masks > 0
            broken |= self._barred[both, others[:, None]] @ self.rest > 0
        return broken

    def exchangeable(self, group: int, members: np.ndarray, spare: np.ndarray) -> np.ndarray:
        """(members, spare): whether one may leave the group for a spare one."""
        foes = self._foes[members[:, None], spare]
        beside = foes.sum(axis=0) - foes  # of the others that stay
        fits = ~self.blocked[members][:, None] & ~self.blocked[spare] & (beside == 0)
        if self._barred is not None:
            fits &= self._barred[spare, group] == 0
        return fits
