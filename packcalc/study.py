"""The only place that knows the order of stages: brief in, study out."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np

from packcalc import layouts as lay
from packcalc.brief import Brief
from packcalc.errors import UnknownName, UserError
from packcalc.layouts import Asks, Layout, Part, Screened
from packcalc.misses import Miss, explain
from packcalc.mixes import (
    SideBySide,
    choices,
    stand_together,
    why_not_alone,
    why_not_in_series,
    why_not_together,
    with_pairs,
)
from packcalc.screening import MOST_PARALLEL, MOST_SERIES, blocks, grid_ends
from packcalc.value import value_object

MOST_MISSES = 6
MOST_KEPT = 100_000  # layouts that meet the brief and are kept, best first: bounds the memory


@value_object
class LayoutStudy:
    """Every layout of a brief, ranked, and the nearest misses.

    Attributes:
        brief: what was asked; types side by side stand at the end of its modules.
        asks: the same as numbers; None where an entry is open without which nothing is tried.
        screened: valid layouts in blocks, each ranked.
        order: (which block, which row), best first over all.
        misses: nearest first.
        refusals: which types, pairs or counts were not tried, and why, in words.
        not_evaluated: checks that could not be made, with what to enter.
        tried: how many layouts were screened.
    """

    brief: Brief
    asks: Asks | None
    screened: tuple[Screened, ...]
    order: tuple[np.ndarray, np.ndarray]
    misses: tuple[Miss, ...]
    refusals: tuple[str, ...]
    not_evaluated: tuple[str, ...]
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
        figures["smallest_margin"] = min(
            (float(m[row]) for m in found.margins.values() if not np.isnan(m[row])), default=np.inf)
        return figures


def list_layouts(brief: Brief, *, most_series: int = MOST_SERIES,
                 most_parallel: int = MOST_PARALLEL) -> LayoutStudy:
    """Screen every layout of the modules on hand.

    Args:
        brief: what is asked and on hand.
        most_series, most_parallel: ends of the grid.

    Returns:
        LayoutStudy.
    """
    if brief.untold:
        return _untold(brief)
    brief = with_pairs(brief)
    asks = lay.asks_of(brief)
    tried_choices, refusals = choices(brief)
    ends = grid_ends(brief, tried_choices, asks, most_series, most_parallel)
    valid, near, tried, met = [], [], 0, 0
    for entries in tried_choices:
        for found in blocks(brief, entries, asks, ends.series, ends.parallel):
            tried += len(found)
            near.append(lay.nearest_misses(found, 2 * MOST_MISSES))
            fitting = lay.ranked(found)
            met += len(fitting)
            if len(fitting):
                valid.append(fitting)
            if sum(map(len, valid)) > 2 * MOST_KEPT:
                valid = _best(valid)
    if met > MOST_KEPT:
        valid = _best(valid)
        refusals = [*refusals, f"{met} layouts meet the brief: the best {MOST_KEPT} are kept"]
    refusals = [*_left_out(brief), *refusals, *_at_odds(brief), *ends.told]
    return LayoutStudy(brief, asks, tuple(valid), _merge(valid), _nearest(brief, asks, near),
                       tuple(refusals), _not_evaluated(brief, asks), tried)


def _untold(brief: Brief) -> LayoutStudy:
    """The answer while one of the first four entries is not known: nothing is tried."""
    none = np.array([], dtype=int)
    return LayoutStudy(brief, None, (), (none, none), (), tuple(
        f"{unknown.dotted} is open ({unknown.key.title}): no layout can be tried. To find it: "
        f"{unknown.key.find}" for unknown in brief.untold), (), 0)


def _left_out(brief: Brief) -> tuple[str, ...]:
    """Entries of `[[modules]]` that say no type, beside others that do."""
    return tuple(f"{unknown.dotted} is open ({unknown.key.title}): these modules are not tried, "
                 f"the others are. To find it: {unknown.key.find}" for unknown in brief.untyped)


def _merge(found: list[Screened]) -> tuple[np.ndarray, np.ndarray]:
    if not found:
        return np.array([], dtype=int), np.array([], dtype=int)
    which = np.concatenate([np.full(len(f), i) for i, f in enumerate(found)])
    row = np.concatenate([np.arange(len(f)) for f in found])
    keys = [np.concatenate(columns) for columns in zip(*(lay.rank_keys(f) for f in found),
                                                       strict=True)]
    order = np.lexsort(keys)
    return which[order], row[order]


def _best(found: list[Screened]) -> list[Screened]:
    """The best `MOST_KEPT` rows of blocks that are ranked, each still ranked."""
    which = _merge(found)[0][:MOST_KEPT]
    counts = np.bincount(which, minlength=len(found))
    return [f.take(np.arange(n)) for f, n in zip(found, counts, strict=True) if n]


def _nearest(brief: Brief, asks: Asks, near: list[Screened]) -> tuple[Miss, ...]:
    ranked = sorted((round(float(short), 6), w, i) for w, f in enumerate(near)
                    for i, short in enumerate(lay.shortfalls(f)))
    # What cannot hold the bus at all is shown only where nothing can.
    far = len(lay.CHECKS)
    if ranked and ranked[0][0] < far:
        ranked = [one for one in ranked if one[0] < far]
    chosen: dict[tuple, tuple[int, int]] = {}
    for _, w, i in ranked:
        # The two arrangements of one choice miss by nearly the same: one line says it.
        chosen.setdefault((near[w].entry, near[w].layout(i).label), (w, i))
        if len(chosen) == MOST_MISSES:
            break
    return tuple(explain(brief, asks, near[w], i) for w, i in chosen.values())


def _at_odds(brief: Brief) -> tuple[str, ...]:
    """Demands that exclude each other, so that no layout whatever can meet both."""
    charger, inverter = brief.charger, brief.inverter
    if not charger.voltage_high.known or charger.voltage_high.number > inverter.voltage_low.number:
        return ()
    return (f"no layout can meet both: the charger ends at {charger.voltage_high.shown}, and the "
            f"inverter runs from {inverter.voltage_low.shown}; another charger is needed",)


def _not_evaluated(brief: Brief, asks: Asks) -> tuple[str, ...]:
    """Checks that lack a figure; a target or limit that nobody asked is no such check."""
    found = []
    for on_hand in brief.modules:
        module = on_hand.module
        for limit, words in ((module.peak_current, "peak"),
                             (module.continuous_current, "continuous")):
            if not limit.known and not module.needs_bench and not isinstance(on_hand, SideBySide):
                found.append(f"{words} current of {module.title}: not evaluated, its limit is not "
                             f"known; enter {words}_current from the donor's or maker's data")
    if np.isnan(asks.charger_high):
        found.append("charger's voltage window: not evaluated; enter charger.voltage_range")
    return tuple(found)


_LABEL = re.compile(r"(\d{1,4})S(?:\+(\d{1,4})S)?(\d{1,4})P", re.IGNORECASE | re.ASCII)


def find_layout(brief: Brief, text: str, arrangement: str = "",
                module: int | tuple[int, int] = 0) -> Layout:
    """The layout a user names, e.g. "16S1P"; it need not pass the checks.

    Args:
        brief: what is on hand.
        text: module notation.
        arrangement: "grouped" or "strings"; empty takes the brief's, or grouped.
        module: 0-based index of the `[[modules]]` entry, or of the first of two types (the
            next entry is then the second), or both indices. Types side by side follow after
            the brief's own entries.

    Raises:
        UserError: not module notation, more modules than are on hand, a refused type or pair.
        UnknownName: no such arrangement.
    """
    brief = with_pairs(brief)
    match = _LABEL.fullmatch(text.strip()[:40])
    if "s" in text and text == text.lower():
        raise UserError(f"layout {text[:40]!r}: small letters count cells; name modules, like "
                        "16S2P, as packcalc layouts lists them")
    if not match:
        raise UserError(f"layout {text[:40]!r} is not module notation; write it like 16S2P")
    if arrangement and arrangement not in lay.ARRANGEMENTS:
        raise UnknownName("arrangement", arrangement, lay.ARRANGEMENTS)
    *runs, parallel = (int(n) for n in match.groups() if n)
    first = module if isinstance(module, tuple) else (module, module + 1)
    parts = tuple(Part(e, s) for e, s in zip(first, runs, strict=False))
    chosen = arrangement or ("strings" if brief.arrangement == "strings" else "grouped")
    layout = Layout(parts, parallel, "grouped" if parallel == 1 else chosen)
    _refuse(brief, text, layout)
    return layout


def choose_layout(study: LayoutStudy, text: str = "", arrangement: str = "",
                  module: int | None = None) -> Layout:
    """The layout that is meant: of all that match what is said, the best-ranked candidate.

    Where none of them is a candidate: the layout as it is named, or the nearest miss.

    Args:
        study: the layouts of a brief.
        text: module notation, or "".
        arrangement: "grouped", "strings" or "".
        module: 0-based index of a `[[modules]]` entry, or None for any.

    Raises:
        UserError: as `find_layout`; or nothing can be tried.
        UnknownName: no such arrangement.
    """
    brief = study.brief
    if arrangement and arrangement not in lay.ARRANGEMENTS:
        raise UnknownName("arrangement", arrangement, lay.ARRANGEMENTS)
    if study.asks is None:
        raise UserError(f"{brief.place}: no layout can be tried; " + "; ".join(study.refusals))
    label = text.strip().upper()
    nearest = [miss.layout for miss in study.misses]
    for layout in itertools.chain(map(study.layout, range(len(study))), () if text else nearest):
        if (layout.label == label or not text) and arrangement in ("", layout.arrangement) \
                and module in (None, layout.entries[0]):
            return layout
    if text:
        return find_layout(brief, text, arrangement, module or 0)
    if not len(study) and not nearest:
        raise UserError(f"{brief.place}: no layout can be tried; " + "; ".join(study.refusals))
    if module is not None:
        raise UserError(f"module {module + 1}: none of its layouts is a candidate or a near miss; "
                        "name one, like 16S2P")
    several = [one for one in nearest if one.parallel > 1]  # misses show one of two arrangements
    if not several:
        raise UserError("no layout of parallel strings is a candidate or a near miss; name one, "
                        "like 16S2P")
    return replace(several[0], arrangement=arrangement)


def _refuse(brief: Brief, text: str, layout: Layout) -> None:
    """Raise for what cannot be built."""
    parts, parallel = layout.parts, layout.parallel
    if max(p.entry for p in parts) >= len(brief.modules):
        raise UserError(f"layout {text}: the brief has {len(brief.modules)} module type(s)")
    if min(parallel, *(p.series for p in parts)) < 1:
        raise UserError(f"layout {text}: counts start at 1")
    reasons = [why_not_alone(brief, p.entry) for p in parts]
    if len(parts) > 1 and not any(reasons):
        reasons.append(why_not_in_series(brief, *(p.entry for p in parts)) if brief.mix == "series"
                       else 'two types in one string, and the brief does not say mix = "series"')
    if any(reasons):
        raise UserError(f"layout {text}: " + next(filter(None, reasons)))
    for part in parts:
        on_hand = brief.modules[part.entry]
        need, have = part.series * parallel, int(on_hand.count.number)
        if need > have:
            raise UserError(f"layout {text}: needs {need} modules of {on_hand.module.title}, "
                            f"{have} on hand")
        if not stand_together(on_hand, part.series, parallel, layout.in_strings):
            raise UserError(f"layout {text}: {why_not_together(on_hand)}")
