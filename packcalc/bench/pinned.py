"""Dealings that keep the pins, to begin a search from.

Of pinned modules some may have to stay out: a block is used whole or not at all, and of modules
kept apart only as many are used as there are groups for them. What no pin names fills up.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np

from packcalc.bench.dealing import Dealing, Pins, chunks_of, descending, largest_first
from packcalc.bench.search import pair_up
from packcalc.errors import UserError
from packcalc.value import replace

MOST_STARTS = 8
MOST_WISHES = 24  # choices of modules that starts are tried for
MOST_TRIES = 20_000
MOST_BLOCKS = 12  # of more, not every choice is tried


def start_groups(units: np.ndarray, series: int, parallel: int, pins: Pins) -> list[Dealing]:
    """Pinned modules first, where they fit; then the largest to the lowest.

    One start for each choice of pinned blocks that are used, the strongest choice first; where
    such a choice cannot be met, others of the pinned modules are left out or used.

    Raises:
        UserError: no way to meet all pins is there, or none was found.
    """
    chunks = chunks_of(pins, parallel)
    if pins.allowed is not None:
        choosy = np.flatnonzero(~pins.allowed.all(axis=1)).tolist()
        chunks += [[m] for m in choosy if not any(m in c for c in chunks)]
    chunks.sort(key=lambda c: -float(units[c].mean()))
    named = {m for chunk in chunks for m in chunk}
    free = [m for m in descending(units, set(range(len(units)))) if m not in named]
    starts: dict[bytes, Dealing] = {}
    for wanted in itertools.islice(_wishes(units, series * parallel, chunks), MOST_WISHES):
        rows = place_chunks(chunks, wanted, series, parallel, pins, len(free))
        room = series * parallel - sum(map(len, rows))
        largest_first(units, rows, free[:room], parallel)
        groups = np.array(rows)
        spare = np.setdiff1d(np.arange(len(units)), groups.ravel())
        starts.setdefault(spare.tobytes(), Dealing(groups, spare))
        if len(starts) == MOST_STARTS:
            break
    if not starts:
        raise UserError("the modules pinned together cannot fill the places whole")
    return list(starts.values())


def _wishes(units: np.ndarray, places: int,
            chunks: Sequence[Sequence[int]]) -> Iterator[set[int]]:
    """The modules to use: the strongest, blocks taken whole or left whole; most capacity first."""
    blocks = [c for c in chunks if len(c) > 1]
    inside_any = {m for block in blocks for m in block}
    single = [m for m in np.argsort(-units, kind="stable").tolist() if m not in inside_any]
    held = np.concatenate(([0.0], np.cumsum(units[single])))
    found: list[tuple[float, int, Sequence[Sequence[int]]]] = []
    for kept in _subsets(blocks):
        inside = [m for block in kept for m in block]
        room = places - len(inside)
        if 0 <= room <= len(single):
            found.append((float(units[inside].sum() + held[room]), room, kept))
    for _, room, kept in sorted(found, key=lambda f: -f[0]):
        yield {m for block in kept for m in block} | set(single[:room])


def _subsets(blocks: Sequence[Sequence[int]]) -> Iterator[Sequence[Sequence[int]]]:
    """Every choice of blocks; with very many, all of them or all but one."""
    if len(blocks) <= MOST_BLOCKS:
        for count in range(len(blocks), -1, -1):
            yield from itertools.combinations(blocks, count)
    else:
        yield blocks
        for skip in range(len(blocks)):
            yield [*blocks[:skip], *blocks[skip + 1:]]


def place_chunks(chunks: Sequence[Sequence[int]], wanted: set[int], series: int, parallel: int,
                 pins: Pins, free: int) -> list[list[int]]:
    """Rows of the groups that hold pinned modules, each chunk in the emptiest that fits.

    A chunk that is wanted is left out only where it fits nowhere; one that is not is used only
    where places would stay empty. Where the first try leads nowhere, others are tried.

    Args:
        chunks: modules that move as one; of equally choosy ones the first come first.
        wanted: module numbers that should be used.
        series, parallel: S groups of P.
        pins: what is apart, and allowed where.
        free: how many modules no pin names: they fill what is left.

    Raises:
        UserError: none of the tries fits.

    Examples:
        >>> three = Pins(apart=((0, 1), (0, 2), (1, 2)))
        >>> place_chunks([[0], [1], [2]], {0, 1, 2}, 2, 2, three, 2)
        [[0], [1]]
    """
    highest = max((m for chunk in chunks for m in chunk), default=0)
    allowed = (np.ones((highest + 1, series), dtype=bool) if pins.allowed is None
               else pins.allowed)
    open_rows = [allowed[list(c)].all(axis=0) for c in chunks]
    order = sorted((k for k, c in enumerate(chunks) if c[0] in wanted),
                   key=lambda k: (int(open_rows[k].sum()), -len(chunks[k])))
    # of those that are not wanted the last come first: the first are the last to be left out
    order += [k for k, c in reversed([*enumerate(chunks)]) if c[0] not in wanted]
    left = [0, *itertools.accumulate(len(chunks[k]) for k in order[::-1])][::-1]
    need = series * parallel - free
    enemies: dict[int, set[int]] = {}
    for one, other in pins.apart:
        enemies.setdefault(one, set()).add(other)
        enemies.setdefault(other, set()).add(one)
    alike = [allowed[:, i].tobytes() for i in range(series)]
    rows: list[list[int]] = [[] for _ in range(series)]
    tries = [MOST_TRIES]

    def place(at: int, used: int) -> bool:
        tries[0] -= 1
        if tries[0] < 0 or used + left[at] < need:
            return False
        if at == len(order):
            return True
        if chunks[order[at]][0] in wanted:
            return into_a_row(at, used) or place(at + 1, used)
        return place(at + 1, used) or into_a_row(at, used)

    def into_a_row(at: int, used: int) -> bool:
        chunk, fits, empty = list(chunks[order[at]]), open_rows[order[at]], set()
        foes = set().union(*(enemies.get(m, set()) for m in chunk))
        for i in sorted(range(series), key=lambda i: len(rows[i])):
            if not fits[i] or len(rows[i]) + len(chunk) > parallel or foes & set(rows[i]):
                continue
            if not rows[i]:
                if alike[i] in empty:  # another empty row with the same rights
                    continue
                empty.add(alike[i])
            rows[i] += chunk
            if place(at + 1, used + len(chunk)):
                return True
            del rows[i][len(rows[i]) - len(chunk):]
        return False

    if not place(0, 0):
        raise UserError("the pinned modules do not fit into the groups; loosen a pin"
                        + (f" ({MOST_TRIES} tries)" if tries[0] < 0 else ""))
    return rows


def folded(units: np.ndarray, start: Dealing, pins: Pins) -> Dealing:
    """Strongest with weakest, where no pin forbids the whole of it; else the start."""
    pairs = pair_up(units, start.groups)
    rows = [set(row) for row in pairs.tolist()]
    if (any(len(row & set(block)) == 1 for block in pins.together for row in rows)
            or any(row >= set(pair) for pair in pins.apart for row in rows)):
        return start
    return replace(start, groups=pairs)
