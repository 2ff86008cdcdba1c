"""The largest current that joining modules as they stand would let flow, with its chain.

The plan before joining counts every module as a bare number; the worst of them is worked here
from the same readings, and is the same number.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from packcalc.bench.assign import AssignmentStudy, Place
from packcalc.bench.dealt import Dealt, by_ratio, own_first
from packcalc.bench.meaning import beside, total
from packcalc.bench.sharing import equalising_current
from packcalc.cell_formulas import initial_resistance, initial_resistance_measured
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.modules import ModuleType, traced_resistance_initial
from packcalc.units import several

Source = tuple[Finding, Finding]  # rest voltage, resistance of the first millisecond


def worst_joining(study: AssignmentStudy) -> Finding | None:
    """The worst of the plan; None where nothing is paralleled or a rest voltage is missing."""
    steps = [s for s in study.balance.steps if np.isfinite(s.joining)]
    if study.layout.parallel == 1 or not steps:
        return None
    mark = max(steps, key=lambda s: s.joining).mark
    place = next(p for p in study.places if p.dealt.mark == mark)
    if study.assignment.arrangement == "strings":
        rows = sorted({p.row for p in study.places})
        found = {row: _string(study, row) for row in rows}
        return _current(found[place.row], [found[r] for r in rows if r != place.row])
    members = [p for p in study.places if p.row == place.row]
    return _current(_module(place, study.module),
                    [_module(p, study.module) for p in members if p is not place])


def _current(own: Source, others: Sequence[Source]) -> Finding:
    volts, ohms = [u for u, _ in others], [r for _, r in others]
    if len(others) == 1:
        mean, resistance = others[0]
    else:
        resistance = beside("first millisecond of the others in parallel", "R_o", ohms)
        mean = Finding("rest voltage of the others in parallel", "U_o", "V",
                       sum(u.number / r.number for u, r in others)
                       / sum(1.0 / r.number for r in ohms), "definition",
                       inputs=(*volts, *ohms), note="mean, each by the reciprocal of its R_i")
    apart = Finding("difference of the rest voltages", "ΔU", "V",
                    abs(own[0].number - mean.number), "definition", inputs=(own[0], mean),
                    note=f"between {own[0].symbol} and {mean.symbol}")
    return trace(equalising_current, "largest current of the first instant, joined as they are",
                 difference=apart, first_resistance=own[1], second_resistance=resistance)


def _module(place: Place, module: ModuleType) -> Source:
    row = place.dealt.graded.row
    read = row.latest_voltage
    return (read.voltage.called(f"rest voltage of {row.mark}", f"U_{row.mark}",
                                f"read {read.date}" if read.date else ""),
            _first(place.dealt, module))


def _first(d: Dealt, module: ModuleType) -> Finding:
    title, symbol = f"first millisecond of {d.mark}, hot", f"R_i,{d.mark}"
    read = own_first(d)
    if read is not None:
        return trace(initial_resistance_measured, title, symbol=symbol, resistance=read,
                     hot_ratio=_hot(module))
    found = _from_ten_seconds(d.least_resistance, module, title, symbol)
    new = traced_resistance_initial(module)
    return found if d.measured[1] or found.number <= new.number else new.called(title, symbol)


def _from_ten_seconds(resistance: Finding, module: ModuleType, title: str, symbol: str) -> Finding:
    ratio = module.cell.figure("initial_ratio", "first millisecond to 10 s", "a", "")
    return trace(initial_resistance, title, symbol=symbol, resistance=resistance,
                 initial_ratio=ratio, hot_ratio=_hot(module))


def _hot(module: ModuleType) -> Finding:
    return module.cell.figure("hot_ratio", "hot cell to 25 °C, first millisecond", "b", "")


def _string(study: AssignmentStudy, row: int) -> Source:
    members = [p for p in study.places if p.row == row]
    number, count = row + 1, len(members)
    volts = leaf(f"rest voltage of string {number}", f"U_{number}", "V",
                 sum(p.dealt.graded.row.latest_voltage.voltage.number for p in members), "measured",
                 origin=Origin(study.lot.sheet.place),
                 note=f"sum of the {several(count, 'reading')} in the build list")
    title, symbol = f"first millisecond of string {number}, hot", f"R_i,{number}"
    if all(by_ratio(p.dealt, study.module) for p in members):
        return volts, _from_ten_seconds(study.totals.resistances[row], study.module, title, symbol)
    return volts, total(title, symbol, "mΩ", [_first(p.dealt, study.module) for p in members])
