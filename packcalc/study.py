"""The only place that knows the order of stages: brief in, study out."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from packcalc import layouts as lay
from packcalc import modules as mod
from packcalc.brief import Brief
from packcalc.errors import UnknownName, UserError
from packcalc.layouts import Asks, Layout, Part, Screened
from packcalc.misses import Miss, explain

MOST_MISSES = 6
CURVES_MATCH = 0.010  # V per cell; our rule for two types side by side


@dataclass(frozen=True)
class LayoutStudy:
    """Every layout of a brief, ranked, and the nearest misses.

    Attributes:
        brief, asks: what was asked.
        screened: valid layouts of each module choice, each ranked.
        order: (which screened, which row), best first over all.
        misses: nearest first.
        refusals: why two types were not combined, in words.
        tried: how many layouts were screened.
    """

    brief: Brief
    asks: Asks
    screened: tuple[Screened, ...]
    order: tuple[np.ndarray, np.ndarray]
    misses: tuple[Miss, ...]
    refusals: tuple[str, ...]
    tried: int

    def __len__(self) -> int:
        return len(self.order[0])

    def layout(self, rank: int) -> Layout:
        """The layout at a rank, 0 the best."""
        which, row = self.order[0][rank], self.order[1][rank]
        return self.screened[which].layout(int(row))

    def row(self, rank: int) -> dict[str, float]:
        """The screened figures at a rank, in SI, with `smallest_margin`."""
        found, row = self.screened[self.order[0][rank]], int(self.order[1][rank])
        figures = {name: float(column[row]) for name, column in found.columns.items()}
        figures["smallest_margin"] = float(found.smallest_margin[row])
        return figures


def list_layouts(brief: Brief, *, most_series: int = lay.MOST_SERIES,
                 most_parallel: int = lay.MOST_PARALLEL) -> LayoutStudy:
    """Screen every layout of the modules on hand.

    Args:
        brief: what is asked and on hand.
        most_series, most_parallel: ends of the grid.

    Returns:
        LayoutStudy.
    """
    asks = lay.asks_of(brief)
    choices, refusals = _choices(brief)
    valid, near, tried = [], [], 0
    for entries in choices:
        found = lay.screen(brief, entries, asks, most_series, most_parallel)
        tried += len(found)
        valid.append(lay.ranked(found))
        near.append(lay.nearest_misses(found, 2 * MOST_MISSES))
    return LayoutStudy(brief, asks, tuple(valid), _merge(valid), _nearest(brief, asks, near),
                       tuple(refusals), tried)


def _merge(found: list[Screened]) -> tuple[np.ndarray, np.ndarray]:
    which = np.concatenate([np.full(len(f), i) for i, f in enumerate(found)] or [np.array([])])
    row = np.concatenate([np.arange(len(f)) for f in found] or [np.array([])])
    if not len(which):
        return which.astype(int), row.astype(int)
    keys = [np.concatenate(columns) for columns in zip(*(lay.rank_keys(f) for f in found),
                                                       strict=True)]
    order = np.lexsort(keys)
    return which[order].astype(int), row[order].astype(int)


def _nearest(brief: Brief, asks: Asks, near: list[Screened]) -> tuple[Miss, ...]:
    ranked = sorted((round(float(short), 6), w, i) for w, f in enumerate(near)
                    for i, short in enumerate(lay.shortfalls(f)))
    chosen: dict[tuple, tuple[int, int]] = {}
    for _, w, i in ranked:
        # The two arrangements of one choice miss by nearly the same: one line says it.
        chosen.setdefault((near[w].entry, near[w].layout(i).label), (w, i))
    return tuple(explain(brief, asks, near[w], i)
                 for w, i in list(chosen.values())[:MOST_MISSES])


def _choices(brief: Brief) -> tuple[list[tuple[int, ...]], list[str]]:
    """Which module types are tried: each alone, and pairs where the brief asks."""
    choices: list[tuple[int, ...]] = []
    refusals: list[str] = []
    for i, on_hand in enumerate(brief.modules):
        if on_hand.module.needs_bench:
            refusals.append(
                f"{on_hand.module.title}: not tried; no published curve of {on_hand.module.chemistry}"
                " is used without a bench measurement. Enter rest_voltages at three charges.")
        else:
            choices.append((i,))
    if brief.mix != "series":
        return choices, refusals
    for i in range(len(brief.modules)):
        for j in range(i + 1, len(brief.modules)):
            reason = why_not_in_series(brief, i, j)
            if reason:
                refusals.append(reason)
            else:
                choices.append((i, j))
    return choices, refusals


def why_not_in_series(brief: Brief, i: int, j: int) -> str:
    """Why two types may not stand in one string; empty when they may.

    The weaker one's capacity, currents, temperatures and end voltages must be known, so
    that they can be kept.
    """
    first, second = brief.modules[i].module, brief.modules[j].module
    names = f"{first.title} and {second.title} in series: refused, "
    for module in (first, second):
        if module.needs_bench:
            return names + f"the rest voltages of {module.title} are not measured"
        for limit, words in ((mod.peak_current_limit(module), "peak"),
                             (mod.continuous_current_limit(module), "continuous")):
            if limit is None:
                return names + (f"the {words} current limit of {module.title} is not known, so "
                                f"the weaker one cannot be kept; enter {words}_current")
    if min(first.capacity.number, second.capacity.number) < \
            0.5 * max(first.capacity.number, second.capacity.number):
        return names + "the weaker has less than half the capacity of the other"
    return ""


def why_not_in_parallel(brief: Brief, i: int, j: int) -> str:
    """Why two types may not stand side by side; empty when their curves match.

    Paralleled types must have the same cells in series and rest voltages that differ by
    no more than 10 mV per cell over the whole charge (our rule).
    """
    first, second = brief.modules[i].module, brief.modules[j].module
    names = f"{first.title} and {second.title} in parallel: refused, "
    if first.series != second.series:
        return names + f"{first.series} and {second.series} cells in series"
    if first.chemistry != second.chemistry:
        return names + f"{first.chemistry} and {second.chemistry}"
    if first.needs_bench or second.needs_bench:
        return names + "rest voltages are not measured"
    points = np.linspace(0.0, 1.0, 41)
    apart = max(float(np.max(np.abs(mod.ocv_low(first, points) - mod.ocv_low(second, points)))),
                float(np.max(np.abs(mod.ocv_high(first, points) - mod.ocv_high(second, points)))))
    if apart / first.series > CURVES_MATCH:
        return names + (f"rest voltages differ by up to {1000 * apart / first.series:.0f} mV "
                        f"per cell")
    return ""


_LABEL = re.compile(r"(\d{1,4})S(?:\+(\d{1,4})S)?(\d{1,4})P", re.IGNORECASE)


def find_layout(brief: Brief, text: str, arrangement: str = "", module: int = 0) -> Layout:
    """The layout a user names, e.g. "16S1P"; it need not pass the checks.

    Args:
        brief: what is on hand.
        text: module notation.
        arrangement: "grouped" or "strings"; empty takes grouped.
        module: 0-based index of the `[[modules]]` entry for a single type.

    Raises:
        UserError: not module notation, or more modules than are on hand.
        UnknownName: no such arrangement.
    """
    match = _LABEL.fullmatch(text.strip()[:40])
    if not match:
        raise UserError(f"layout {text[:40]!r} is not module notation; write it like 16S2P")
    if arrangement and arrangement not in lay.ARRANGEMENTS:
        raise UnknownName("arrangement", arrangement, lay.ARRANGEMENTS)
    first, second, parallel = match.groups()
    runs = [int(first)] + ([int(second)] if second else [])
    entries = [0, 1] if second else [module]
    if max(entries) >= len(brief.modules):
        raise UserError(f"layout {text}: the brief has {len(brief.modules)} module type(s)")
    parts = tuple(Part(e, s) for e, s in zip(entries, runs, strict=True))
    if min(runs) < 1 or int(parallel) < 1:
        raise UserError(f"layout {text}: counts start at 1")
    for part in parts:
        have = int(brief.modules[part.entry].count.number)
        if part.series * int(parallel) > have:
            raise UserError(f"layout {text}: needs {part.series * int(parallel)} modules of "
                            f"{brief.modules[part.entry].module.title}, {have} on hand")
    chosen = arrangement or "grouped"
    return Layout(parts, int(parallel), "grouped" if parallel == "1" else chosen)
