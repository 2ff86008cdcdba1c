"""Self-discharge from two dated rest voltages, and whether the voltmeter can tell it."""

from __future__ import annotations

import numpy as np

from packcalc.bench import rules
from packcalc.bench.readings_agree import LONGEST, days_between
from packcalc.bench.sheet import BenchRow
from packcalc.brief import Bench
from packcalc.checks import FAIL, NOT_EVALUATED, PASS, Check
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.modules import ModuleType
from packcalc.units import show
from packcalc.value import replace, value_object

TITLE, STAGE = "self-discharge", "thermal load"
DRIFT = 0.5e-3
UNSAID_CHANGE = 5.0
LEAST_WINDOW = 0.005
PLATEAU = 0.002
_RULE = Origin("rule of the bench")
NEAR_EMPTY = ("rest the module near 20 % charge, where the curve is steep, and read again after "
              "weeks")


@value_object
class SelfDischarge:
    """What two readings say.

    Attributes:
        check: with its verdict.
        effect: the grade that it asks for, or None.
        loss, resolution: in 30 days; without a value where nothing can be said.
        least, most: what the loss may be, with the meter's error and over the published curves;
            None where the readings tell none.
    """

    check: Check
    effect: str | None
    loss: Finding
    resolution: Finding
    least: Finding | None = None
    most: Finding | None = None


def slopes_about(module: ModuleType, cell_voltage: float) -> tuple[float, float] | None:
    """Smallest and largest slope of the class's curves about a cell voltage [V for 1 % of charge].

    The curves are looked at within half the gap between charge and discharge, since the
    voltage alone does not say on which branch the cell rests.
    """
    window = max(module.cell.hysteresis_half_gap, LEAST_WINDOW)
    slopes = np.concatenate([slope[np.abs(voltage - cell_voltage) <= window]
                             for voltage, slope in (c.slopes for c in module.low_curves)])
    return (max(float(slopes.min()), 1e-6), max(float(slopes.max()), 1e-6)) if slopes.size else None


def steepness(module: ModuleType, cell_voltage: float) -> float | None:
    """Smallest slope of the class's curves about a cell voltage [V for 1 % of charge]."""
    found = slopes_about(module, cell_voltage)
    return found[0] if found else None


def steepness_at_charge(module: ModuleType, soc: float) -> float:
    """Smallest slope of the class's curves at a state of charge [V for 1 %]."""
    return max(min(float(c.voltage(soc + 0.025) - c.voltage(soc - 0.025)) / 5.0
                   for c in module.low_curves), 1e-6)


def slope_leaf(module: ModuleType, slope: float, side: str = "smallest") -> Finding:
    """The slope as a finding."""
    return leaf("slope of the rest voltage of a cell for 1 % of charge", "g", "mV", slope,
                "assumed", source=module.low_curves[0].curve.source,
                origin=Origin(f"class {module.chemistry}"),
                note=f"{side} of the published curves about that voltage")


def _not_told(row: BenchRow, module: ModuleType, bench: Bench) -> Finding:
    first, second = row.selfdischarge
    known = first.temperature.known and second.temperature.known
    change = second.temperature.number - first.temperature.number if known else UNSAID_CHANGE
    return trace(
        rules.voltage_not_told, voltmeter_error=bench.voltmeter_error,
        cells_in_series=module.cells_in_series,
        drift=leaf("drift of a rest voltage with temperature", "c", "mV", DRIFT, "assumed",
                   source="packcalc-rule", origin=_RULE, note="either way, for each kelvin"),
        temperature_change=leaf("change of temperature between the readings", "ΔT", "K", change,
                                "measured" if known else "assumed", origin=_RULE,
                                note="" if known else "not noted: 5 K counted"))


def _nothing(why: str, asks: str, effect: str | None = "undecided") -> SelfDischarge:
    blank = leaf("loss of charge in 30 days", "s", "%", None, "computed", note=why)
    return SelfDischarge(Check(TITLE, STAGE, NOT_EVALUATED, None, None, "", why, asks), effect,
                         blank, blank.called("smallest loss that the readings can tell", "s_e"))


def selfdischarge(row: BenchRow, bench: Bench) -> SelfDischarge:
    """Judge two dated voltages; where the instrument cannot tell, say so."""
    first, second = row.selfdischarge
    demanded = "undecided" if bench.demand_selfdischarge == "yes" else None
    if not first.voltage.known and not second.voltage.known:
        return _nothing("not tested", "two voltages some weeks apart, same meter, same room",
                        demanded)
    days = days_between(first.date, second.date)
    if not (first.voltage.known and second.voltage.known) or days is None:
        return _nothing("one of the two voltages or dates is missing", "give both, dated", demanded)
    if row.module is None:
        return _nothing("the module's type is not known", "fill the column module")
    if days > LONGEST:
        return _nothing(f"{days:.0f} days between the readings, more than {LONGEST}: a slip in the "
                        "year?", "mend the date, or repeat the test over some weeks")
    if days <= 0:
        return _nothing(f"the second reading ({second.date}) is not later than the first "
                        f"({first.date})", "are the two columns swapped?")
    if row.module.needs_bench:
        return _nothing(f"no open-circuit curve may be assumed for {row.module.chemistry}",
                        "give rest voltages at three states of charge")
    return _judged(row, row.module, bench, days)


def _judged(row: BenchRow, module: ModuleType, bench: Bench, days: float) -> SelfDischarge:
    first, second = row.selfdischarge
    fall = first.voltage.number - second.voltage.number
    slopes = slopes_about(module, first.voltage.number / module.series)
    if slopes is None:
        return _nothing(f"{first.voltage.number / module.series:.3f} V a cell lies off the curves "
                        f"of {module.chemistry}", "read the voltage again")
    given = {"cells_in_series": module.cells_in_series,
             "days": leaf("days between the readings", "d", "", days, "measured", origin=_RULE)}
    flat, steep = (slope_leaf(module, slope, side)
                   for slope, side in zip(slopes, ("smallest", "largest")))
    not_told = _not_told(row, module, bench)
    fallen = leaf("fall of rest voltage between the readings", "ΔU", "mV", fall, "measured",
                  origin=second.voltage.origin)
    loss = trace(rules.charge_lost, **given, slope=flat, fall=fallen)
    resolution = trace(rules.charge_lost, "smallest loss that the readings can tell", symbol="s_e",
                       fall=not_told, slope=flat, **given)
    surely = rules.charge_lost(fall - not_told.number, module.series, steep.number, days)
    found = _verdict(module, bench, loss, resolution, slopes, float(surely))
    if found.check.verdict == NOT_EVALUATED:
        return found
    read = f"{fallen.shown} {{}} {not_told.shown} in {days:.0f} days, {module.series} cells, {{}}"
    return replace(found, most=_end(
        row, "most", loss.number + resolution.number, read.format("+", flat.shown)), least=_end(
        row, "least", max(float(surely), 0.0), read.format("−", steep.shown)))


def _end(row: BenchRow, which: str, value: float, read: str) -> Finding:
    return leaf(f"{which} charge that {row.mark} loses in 30 days", "s", "%", value, "measured",
                origin=row.selfdischarge[1].voltage.origin, note=f"{read} a cell for 1 %")


def _verdict(module: ModuleType, bench: Bench, loss: Finding, resolution: Finding,
             slopes: tuple[float, float], surely: float) -> SelfDischarge:
    """The least loss counts with the steepest published curve there, the most with the flattest."""
    line, last = bench.selfdischarge_quarantine, bench.selfdischarge_reject
    least, most = min(surely, loss.number - resolution.number), loss.number + resolution.number
    told = f"give or take {resolution.shown} of the meter"
    if most >= 0:
        told += (f"; between {show(max(least, 0.0), '%')} and {show(most, '%')} over all published "
                 "curves")

    def said(verdict: str, effect: str | None, demand: Finding, reason: str,
             remedy: str = "") -> SelfDischarge:
        return SelfDischarge(Check(TITLE, STAGE, verdict, loss, demand, "at most", reason, remedy),
                             effect, loss, resolution)

    if surely > last.number:
        return said(FAIL, "reject", last, told)
    if surely > line.number:
        return said(FAIL, "quarantine", line, told, "watch it apart from the others")
    if most < 0:
        return said(NOT_EVALUATED, "undecided", line, f"the voltage rose by more than the error "
                    f"({told}): not yet at rest, or warmer", "let it rest, and read again")
    if most <= line.number:
        return said(PASS, None, line, told)
    flat, steep = slopes
    why = (f"voltage cannot tell this: {module.chemistry} moves {1000 * flat:.2g} to "
           f"{1000 * steep:.2g} mV a cell for 1 % there" if flat < PLATEAU else
           "the instrument cannot tell this")
    return said(NOT_EVALUATED, "undecided", line, f"{why}; {told}",
                NEAR_EMPTY if flat < PLATEAU else "same room, finer meter, or more weeks")


def on_plateau(module: ModuleType, cell_voltage: float) -> bool:
    """Whether a cell rests where its voltage hardly tells the charge."""
    if module.needs_bench:
        return False
    slope = steepness(module, cell_voltage)
    return slope is not None and slope < PLATEAU
