"""Invented lots with many pins, for tests and benchmarks."""

import numpy as np

from packcalc.bench.dealing import Pins


def heavily_pinned(count, seed):
    """Invented: blocks, a clique, pairs apart and barred modules all over the lot."""
    rng = np.random.default_rng(seed)
    order = rng.permutation(count).tolist()
    blocks, clique = tuple(tuple(order[i:i + 2]) for i in range(0, 12, 2)), order[12:24]
    apart = [(a, b) for i, a in enumerate(clique) for b in clique[i + 1:]]
    apart += [tuple(order[i:i + 2]) for i in range(24, 48, 2)]
    allowed = np.ones((count, 16), dtype=bool)
    for m in rng.permutation(count)[:20]:
        allowed[m, rng.permutation(16)[:6]] = False
    return Pins(blocks, tuple(apart), allowed)
