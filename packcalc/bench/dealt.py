"""The modules of one type that may be dealt, and at what each counts.

By its own readings at common conditions, else at what is expected of it, and never for better
than what a reading that cannot be brought there may mean.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from packcalc.bench.common import doubted
from packcalc.bench.grade import GradedLot, GradedModule
from packcalc.bench.sheet import BenchRow
from packcalc.bench.uncertainty import Spread
from packcalc.bench.uncorrected import least_capacity, least_resistance, most_resistance
from packcalc.brief import Bench, ModulesOnHand
from packcalc.cell_formulas import initial_resistance, initial_resistance_measured
from packcalc.findings import Finding, Origin, leaf
from packcalc.modules import INITIAL_PULSE, ModuleType, resistance_initial
from packcalc.value import replace, value_object


@value_object
class Dealt:
    """One module that may be dealt.

    Attributes:
        graded: as graded.
        capacity, resistance: at common conditions, or what is expected of it.
        measured: whether capacity and resistance were measured, and are not doubted.
        least: resistance that a reading which cannot be corrected may mean at the least; None
            where there is no such reading.
    """

    graded: GradedModule
    capacity: Finding
    resistance: Finding
    measured: tuple[bool, bool]
    least: Finding | None = None

    @property
    def mark(self) -> str:
        return self.graded.row.mark

    @property
    def doubted(self) -> bool:
        """Whether one of the two was read better than new."""
        return doubted(self.graded.capacity_common) or doubted(self.graded.resistance_common)

    @property
    def least_resistance(self) -> Finding:
        """As read, where a worse one is counted on: for currents that a low one drives."""
        read = self.graded.resistance_read or self.least
        return self.resistance if read is None else read.called(symbol=self.resistance.symbol)


def candidates(entry: ModulesOnHand, lot: GradedLot, undecided: bool) -> tuple[Dealt, ...]:
    """The modules of one type that may be dealt, in the order of the sheet."""
    module = entry.module
    chosen = [m for m in lot.modules if is_of(m, module) and (
        m.grade == "keep" or undecided and m.grade == "undecided" and not m.bars)]
    least = [_at_worst(m, "capacity", least_capacity) for m in chosen]
    most = [_at_worst(m, "resistance", lambda row: most_resistance(row, lot.bench))
            for m in chosen]
    capacity = _middle([m.capacity_common for m in chosen], least,
                       module.capacity.number * entry.state_of_health.number, min)
    resistance = _middle([m.resistance_common for m in chosen], most,
                         module.resistance_high.number * entry.resistance_growth.number, max)
    found = []
    for m, low, high in zip(chosen, least, most, strict=True):
        q, r = m.capacity_common, m.resistance_common
        measured = (q.known and not doubted(q), r.known and not doubted(r))
        if not measured[0]:
            q = _worse_of(_expected("capacity expected of it", "Q", "Ah",
                                    capacity * Spread().mean), q, m.row.capacity, low, min)
        if not measured[1]:
            r = _worse_of(_expected("resistance expected of it", "R", "mΩ", resistance), r,
                          m.row.resistance, high, max)
        found.append(Dealt(m, q.called(symbol=f"Q_{m.row.mark}"),
                           r.called(symbol=f"R_{m.row.mark}"), measured, least_read(m, lot.bench)))
    return tuple(found)


def least_read(graded: GradedModule, bench: Bench) -> Finding | None:
    """What a reading that cannot be corrected may mean at the least."""
    if graded.resistance_common.known or not graded.unasked("resistance"):
        return None
    value = least_resistance(graded.row, bench)
    return None if value is None else leaf(
        "resistance that the reading may mean at the least", "R", "mΩ", value, "assumed",
        source="packcalc-rule", origin=graded.row.resistance.origin,
        note="it cannot be brought to common conditions")


def _worse_of(expected: Finding, counted: Finding, read: Finding, bad_side: float | None,
              worse: Callable[[float, float], float]) -> Finding:
    """What is expected of a module, or what its own doubtful reading says where that is worse."""
    value, note = expected.number, expected.note
    if not counted.known and bad_side is None:
        return expected
    if counted.known:  # read better than new
        value, note = worse(value, counted.number), f"{counted.note}; drawn as if not measured"
    else:
        value = worse(value, bad_side or value)
        note = ("its reading cannot be brought to common conditions: the worse of what is expected "
                "of it and of what the reading may mean")
    return replace(expected, value=value, note=note, origin=read.origin)


def is_of(graded: GradedModule, module: ModuleType) -> bool:
    """Whether a module is of this type."""
    return graded.row.module is not None and graded.row.module.id == module.id


def _at_worst(graded: GradedModule, quantity: str,
              worst: Callable[[BenchRow], float | None]) -> float | None:
    """What a reading that cannot be brought to common conditions may mean at its worst."""
    known = getattr(graded, f"{quantity}_common").known
    return worst(graded.row) if not known and graded.unasked(quantity) else None


def _middle(values: Sequence[Finding], at_worst: Sequence[float | None], stated: float,
            worse: Callable[[float, float], float]) -> float:
    """Middle of what nobody doubts, or where it is worse with what cannot be corrected among it.

    Left out, a poor reading of which not all was noted would better what is expected of others.

    Args:
        values: at common conditions.
        at_worst: what else was read, at its worst.
        stated: by the brief; where nothing can be corrected.
        worse: of two.
    """
    known = [v.number for v in values if v.known and not doubted(v)]
    read = [*known, *(worst for worst in at_worst if worst is not None)]
    own = float(np.median(known)) if known else stated
    return worse(own, float(np.median(read))) if read else own


def _expected(title: str, symbol: str, unit: str, value: float) -> Finding:
    return leaf(title, symbol, unit, value, "assumed", source="packcalc-rule",
                origin=Origin("middle of the lot"),
                note="not measured; a tenth of such modules is counted as weak")


def first_resistance(d: Dealt, module: ModuleType) -> float:
    """Resistance of the first millisecond, hot [Ω]: low, so that a joining current errs high.

    A reading of it counts, the lower of an AC meter's and a pulse of 10 ms at most; else the
    class's ratio to 10 s, and where nobody measured the module, no more than its type new.
    """
    read, cell = own_first(d), module.cell
    if read is not None:
        return initial_resistance_measured(read.number, cell.hot_ratio)
    found = initial_resistance(d.least_resistance.number, cell.initial_ratio, cell.hot_ratio)
    return found if d.measured[1] else min(found, resistance_initial(module))


def own_first(d: Dealt) -> Finding | None:
    """The module's own reading of its first millisecond, the lower where there are two."""
    return first_read(d.graded)


def first_read(graded: GradedModule) -> Finding | None:
    """As `own_first`, of a module that need not be dealt."""
    row, asked = graded.row, {q.quantity for q in graded.questions}
    if "module" in asked:
        return None
    read = [row.impedance_ac] if row.impedance_ac.known and "impedance_ac" not in asked else []
    if row.resistance.known and "resistance" not in asked and row.resistance_pulse.known \
            and row.resistance_pulse.number <= INITIAL_PULSE:
        read.append(row.resistance)
    return min((f for f in read if f.number > 0), key=lambda f: f.number, default=None)


def by_ratio(d: Dealt, module: ModuleType) -> bool:
    """Whether its first millisecond is its own 10 s resistance times the class's ratios."""
    return own_first(d) is None and bool(np.isclose(
        first_resistance(d, module), initial_resistance(
            d.resistance.number, module.cell.initial_ratio, module.cell.hot_ratio)))


@value_object
class Numbers:
    """Capacities and resistances as bare arrays."""

    capacity: np.ndarray
    resistance: np.ndarray


def numbers(dealt: Sequence[Dealt]) -> Numbers:
    """What each counts at, without its chain."""
    return Numbers(np.array([d.capacity.number for d in dealt]),
                   np.array([d.resistance.number for d in dealt]))
