"""The only place that knows the order of stages: brief in, study out."""

from __future__ import annotations

import itertools
import re

import numpy as np

from packcalc import layouts as lay
from packcalc.brief import Brief
from packcalc.electrical import with_tolerance
from packcalc.errors import UnknownName, UserError
from packcalc.layouts import Asks, Layout, Part, Screened
from packcalc.misses import Miss, explain
from packcalc.mixes import (
    MOST_TYPES,
    SideBySide,
    choices,
    module_numbers,
    own_entries,
    stand_together,
    why_not_alone,
    why_not_in_parallel,
    why_not_in_series,
    why_not_together,
    with_pairs,
)
from packcalc.screening import MOST_PARALLEL, MOST_SERIES, blocks, grid_ends, screen_one
from packcalc.units import show
from packcalc.value import replace, value_object, worked_once

MOST_MISSES = 6
MOST_NAMED = 12      # choices listed where a name may mean several
MOST_KEPT = 100_000  # layouts that meet the brief and are kept, best first: bounds the memory


@value_object
class Nearest:
    """The nearest misses, nearest first: screened, and put into words where that is asked.

    Attributes:
        brief, asks: as they were screened, whatever the study counts with later.
        rows: (block, row) of each.
    """

    brief: Brief
    asks: Asks | None
    rows: tuple[tuple[Screened, int], ...]

    @property
    def layouts(self) -> tuple[Layout, ...]:
        return tuple(block.layout(row) for block, row in self.rows)

    @worked_once
    def misses(self) -> tuple[Miss, ...]:
        """With what each fails, and what would let it in."""
        return () if self.asks is None else tuple(
            explain(self.brief, self.asks, block, row) for block, row in self.rows)


@value_object
class LayoutStudy:
    """Every layout of a brief, ranked, and the nearest misses.

    Attributes:
        brief: what was asked; types side by side stand at the end of its modules.
        asks: the same as numbers; None where an entry is open without which nothing is tried.
        screened: valid layouts in blocks, each ranked.
        order: (which block, which row), best first over all.
        near: misses.
        refusals: which types, pairs or counts were not tried, and why, in words.
        not_evaluated: checks that could not be made, with what to enter.
        tried: how many layouts were screened.
    """

    brief: Brief
    asks: Asks | None
    screened: tuple[Screened, ...]
    order: tuple[np.ndarray, np.ndarray]
    near: Nearest
    refusals: tuple[str, ...]
    not_evaluated: tuple[str, ...]
    tried: int

    @property
    def misses(self) -> tuple[Miss, ...]:
        """The nearest misses in words, nearest first."""
        return self.near.misses

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
    nearest = Nearest(brief, asks, _nearest(near))
    return LayoutStudy(brief, asks, tuple(valid), _merge(valid), nearest, tuple(refusals),
                       _not_evaluated(brief, asks), tried)


def _untold(brief: Brief) -> LayoutStudy:
    """The answer while one of the first four entries is not known: nothing is tried."""
    none = np.array([], dtype=int)
    return LayoutStudy(brief, None, (), (none, none), Nearest(brief, None, ()), tuple(
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


def _nearest(near: list[Screened]) -> tuple[tuple[Screened, int], ...]:
    ranked = sorted((round(float(short), 6), w, i) for w, f in enumerate(near)
                    for i, short in enumerate(lay.shortfalls(f)))
    nothing = [lay.carries_nothing(f) for f in near]
    if not all(one.all() for one in nothing):
        # What cannot hold the bus at all is shown only where nothing can.
        ranked = [(short, w, i) for short, w, i in ranked if not nothing[w][i]]
    chosen: dict[tuple, tuple[float, int, int]] = {}
    for short, w, i in ranked:
        # The two arrangements of one choice miss by nearly the same: one line says it.
        chosen.setdefault((near[w].entry, near[w].layout(i).label), (short, w, i))
    lines = list(chosen.values())
    kept, above = lines[:MOST_MISSES], [one for one in lines if one[0] >= lay.OUTSIDE]
    if above and above[0] not in kept and above[0][0] - lay.OUTSIDE < kept[-1][0]:
        kept[-1] = above[0]
    return tuple((near[w], i) for _, w, i in kept)


def above_maximum(brief: Brief) -> tuple[str, ...]:
    """Voltages of the brief that reach past the inverter's absolute maximum, in words.

    They hang on no layout: a candidate all the same fails for them when its protection is sized.
    """
    most = brief.inverter.absolute_maximum
    charger, station, motor = brief.charger, brief.station.voltage, brief.motor.back_voltage
    found = []
    if charger.voltage_high.known:
        top = float(with_tolerance(charger.voltage_high.number, charger.tolerance.number))
        found.append((top, f"the charger's range ends at {charger.voltage_high.shown}, with its "
                           f"tolerance {show(top, 'V')} (charger.voltage_range)"))
    if station.known:
        found.append((station.number, f"the charging station's ceiling is {station.shown} "
                                      "(station.voltage)"))
    if motor.known:
        found.append((motor.number, f"the spinning motor gives {motor.shown} (motor.back_voltage)"))
    return tuple(
        f"{words[:1].upper()}{words[1:]}, above the inverter's absolute maximum of {most.shown}: "
        "packcalc protect fails every layout listed here for it"
        for volts, words in found if most.known and volts > most.number * (1.0 + lay.ROUNDING))


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
                module: int | tuple[int, ...] = 0) -> Layout:
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
    runs, parallel = runs_of(text)
    if arrangement and arrangement not in lay.ARRANGEMENTS:
        raise UnknownName("arrangement", arrangement, lay.ARRANGEMENTS)
    first = module if isinstance(module, tuple) else (module, module + 1)
    parts = tuple(Part(e, s) for e, s in zip(first, runs, strict=False))
    chosen = arrangement or ("strings" if brief.arrangement == "strings" else "grouped")
    layout = Layout(parts, parallel, "grouped" if parallel == 1 else chosen)
    _refuse(brief, text, layout)
    return layout


def runs_of(text: str) -> tuple[list[int], int]:
    """Module notation as (modules in series of each type, in parallel): "10S+6S2P" is [10, 6], 2.

    Raises:
        UserError: not module notation.
    """
    match = _LABEL.fullmatch(text.strip()[:40])
    if "s" in text and text == text.lower():
        raise UserError(f"layout {text[:40]!r}: small letters count cells; name modules, like "
                        "16S2P, as packcalc layouts lists them")
    if not match:
        raise UserError(f"layout {text[:40]!r} is not module notation; write it like 16S2P")
    *runs, parallel = (int(n) for n in match.groups() if n)
    return runs, parallel


def choose_layout(study: LayoutStudy, text: str = "", arrangement: str = "",
                  module: int | tuple[int, ...] | None = None) -> Layout:
    """The layout that is meant: of all that match what is said, the one that fits best.

    Candidates come first, as they are ranked; where none matches, the nearest miss. A name that
    candidates of different modules share is refused.

    Args:
        study: the layouts of a brief.
        text: module notation, or "".
        arrangement: "grouped", "strings" or "".
        module: 0-based index of a `[[modules]]` entry; those of two types in series or side by
            side, in the order of the notation; None for any.

    Raises:
        UserError: as `find_layout`; the name is that of several candidates; nothing can be tried.
        UnknownName: no such arrangement.
    """
    brief = study.brief
    if arrangement and arrangement not in lay.ARRANGEMENTS:
        raise UnknownName("arrangement", arrangement, lay.ARRANGEMENTS)
    if study.asks is None:
        raise UserError(f"{brief.place}: no layout can be tried; " + "; ".join(study.refusals))
    wanted = (module,) if isinstance(module, int) else module
    if text:
        return _best_of_name(study, text, arrangement, wanted)
    nearest = study.near.layouts
    for layout in itertools.chain(map(study.layout, range(len(study))), nearest):
        if arrangement in ("", layout.arrangement) and _made_of(brief, layout, wanted):
            return layout
    if not len(study) and not nearest:
        raise UserError(f"{brief.place}: no layout can be tried; " + "; ".join(study.refusals))
    if wanted is not None:
        said = module_numbers(brief, wanted)
        raise UserError(f"module {said}: none of its layouts is a candidate or a near miss; "
                        "name one, like 16S2P")
    several = [one for one in nearest if one.parallel > 1]  # misses show one of two arrangements
    if not several:
        raise UserError("no layout of parallel strings is a candidate or a near miss; name one, "
                        "like 16S2P")
    return replace(several[0], arrangement=arrangement)


def _made_of(brief: Brief, layout: Layout, wanted: tuple[int, ...] | None) -> bool:
    """Whether a layout is made of the entries that are said, or of one and another."""
    if wanted is None or layout.entries == wanted:
        return True
    own = sorted(i for entry in layout.entries for i in own_entries(brief, entry))
    return own == sorted(wanted) or (len(wanted) == 1 and wanted[0] in layout.entries)


def _best_of_name(study: LayoutStudy, text: str, arrangement: str,
                  wanted: tuple[int, ...] | None) -> Layout:
    """Of all layouts of one name that can be built the one that fits best."""
    brief, asks = study.brief, study.asks
    assert asks is not None
    built, refusals = [], []
    for entries in _entries_of_name(brief, text, wanted):
        for how in (arrangement,) if arrangement or brief.arrangement != "either" else \
                lay.ARRANGEMENTS:
            try:
                built.append(find_layout(brief, text, how, entries))
            except UserError as refusal:
                refusals.append(refusal)
    if not built:
        raise refusals[0]
    found = [(one, screen_one(brief, asks, one)) for one in dict.fromkeys(built)]
    fitting = [(one, row) for one, row in found if not row.failures[0]]
    names = dict.fromkeys(module_numbers(brief, one.entries) for one, _ in fitting)
    if len(names) > 1:
        raise UserError(f"layout {text.strip()[:40]}: {len(names)} candidates have this name; say "
                        f"which with module {_listed(tuple(names))} (on the command line: "
                        f"--module {next(iter(names))})")
    if fitting:
        return min(fitting, key=lambda pair: [float(key[0]) for key in lay.rank_keys(pair[1])][::-1]
                   )[0]
    return min(found, key=lambda pair: round(float(lay.shortfalls(pair[1])[0]), 6))[0]


def _listed(names: tuple[str, ...]) -> str:
    left = len(names) - MOST_NAMED
    shown = [*names[:MOST_NAMED], *([f"{left} more"] if left > 0 else ())]
    return f"{', '.join(shown[:-1])} or {shown[-1]}"


def _entries_of_name(brief: Brief, text: str,
                     wanted: tuple[int, ...] | None) -> list[tuple[int, ...]]:
    """Every choice of entries that a name may mean."""
    runs = len(runs_of(text)[0])
    own = [i for i, on_hand in enumerate(brief.modules) if not isinstance(on_hand, SideBySide)]
    if wanted is not None and len(wanted) == 2 and runs == 1:
        return [_side_by_side(brief, text, wanted)]
    if wanted is not None and len(wanted) == runs:
        return [wanted]
    if runs == 1:
        return [(i,) for i in range(len(brief.modules))]
    if wanted is None and len(own) > MOST_TYPES:
        raise UserError(f"layout {text[:40]}: the brief has {len(own)} module types; say which two "
                        "with module 1,2 (on the command line: --module 1,2)")
    pairs = [pair for pair in itertools.combinations(own, 2)
             if wanted is None or wanted[0] in pair]
    return pairs or [(0, 1)]  # of one type there are no two: refused as such


def _side_by_side(brief: Brief, text: str, wanted: tuple[int, ...]) -> tuple[int, ...]:
    """The combined type of two entries."""
    pair = sorted(wanted)
    for index, on_hand in enumerate(brief.modules):
        if isinstance(on_hand, SideBySide) and sorted(on_hand.of) == pair:
            return (index,)
    reason = why_not_in_parallel(brief, *pair) if brief.mix == "parallel" else \
        'two types side by side, and the brief does not say mix = "parallel"'
    raise UserError(f"layout {text[:40]}: {reason}")


def _refuse(brief: Brief, text: str, layout: Layout) -> None:
    """Raise for what cannot be built."""
    parts, parallel = layout.parts, layout.parallel
    if len({p.entry for p in parts}) < len(parts):
        raise UserError(f"layout {text}: two runs of one module type are one run; name two types, "
                        "or one run")
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
