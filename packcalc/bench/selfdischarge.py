"""Self-discharge from two dated rest voltages, and whether the voltmeter can tell it."""

from __future__ import annotations

import numpy as np

from packcalc.bench import rules
from packcalc.bench.common import NOTE_IT
from packcalc.bench.readings_agree import LONGEST, days_between
from packcalc.bench.sheet import BenchRow, DatedVoltage, figure
from packcalc.brief import Bench
from packcalc.checks import FAIL, NOT_EVALUATED, PASS, Check
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.modules import CHARGES, ModuleType
from packcalc.units import into_si, show
from packcalc.value import replace, value_object

TITLE, STAGE = "self-discharge", "thermal load"
DRIFT = 0.5e-3
LEAST_WINDOW = 0.005
PLATEAU = 0.002
NOTHING = 1e-9  # of volts and of charge: no way, nothing lost
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
        fell: whether the voltage fell by more than the least that the readings leave open.
    """

    check: Check
    effect: str | None
    loss: Finding
    resolution: Finding
    least: Finding | None = None
    most: Finding | None = None
    fell: bool = False


def slopes_about(module: ModuleType, cell_voltage: float,
                 other: float | None = None) -> tuple[float, float] | None:
    """Smallest and largest slope of the class's curves about a cell voltage [V for 1 % of charge].

    The curves are looked at within half the gap between charge and discharge, since the
    voltage alone does not say on which branch the cell rests.

    Args:
        module: the type.
        cell_voltage: where to look.
        other: where given, everywhere from the one voltage to the other.
    """
    low, high = sorted((cell_voltage, cell_voltage if other is None else other))
    window = _branch(module)
    slopes = np.concatenate([slope[(voltage >= low - window) & (voltage <= high + window)]
                             for voltage, slope in (c.slopes for c in module.low_curves)])
    return (max(float(slopes.min()), 1e-6), max(float(slopes.max()), 1e-6)) if slopes.size else None


def _branch(module: ModuleType) -> float:
    """How far off a published curve a cell may rest [V]."""
    return max(module.cell.hysteresis_half_gap, LEAST_WINDOW)


def charge_between(module: ModuleType, cell_voltage: float, fall: float,
                   error: float = 0.0) -> tuple[float, float]:
    """Least and most charge that lies on the way down from a cell voltage, over all curves.

    A curve is not straight: its slope where the fall began says nothing of where it ended. The
    cell may rest as far off each curve as `slopes_about` looks. Charge below empty or above full
    counts nothing: such a reading sets the module aside by itself.

    Args:
        module: the type.
        cell_voltage: at the beginning, as read.
        fall: of a cell; negative where it rose.
        error: how much more than was read this fall is; it may stand at either end.
    """
    low, high = sorted((cell_voltage, cell_voltage + error))
    low, high, found = low - _branch(module), high + _branch(module), []
    for curve in module.low_curves:
        volts = curve.voltage(CHARGES)
        # straight between rows: the charge is least and most where the way meets one of them
        rows = np.concatenate((volts, volts + fall))
        starts = np.concatenate(((low, high), rows[(rows > low) & (rows < high)]))
        found.append(np.interp(starts, volts, CHARGES) - np.interp(starts - fall, volts, CHARGES))
    every = np.concatenate(found)
    return float(every.min()), float(every.max())


def steepness(module: ModuleType, cell_voltage: float) -> float | None:
    """Smallest slope of the class's curves about a cell voltage [V for 1 % of charge]."""
    found = slopes_about(module, cell_voltage)
    return found[0] if found else None


def steepness_at_charge(module: ModuleType, soc: float) -> float:
    """Smallest slope of the class's curves at a state of charge [V for 1 %]."""
    return max(min(float(c.voltage(soc + 0.025) - c.voltage(soc - 0.025)) / 5.0
                   for c in module.low_curves), 1e-6)


def slope_leaf(module: ModuleType, slope: float, which: str = "smallest of the published curves "
               "about that voltage") -> Finding:
    """The slope as a finding."""
    return leaf("slope of the rest voltage of a cell for 1 % of charge", "g", "mV", slope,
                "assumed", source=module.low_curves[0].curve.source,
                origin=Origin(f"class {module.chemistry}"),
                note=which)


def _changes(first: DatedVoltage, second: DatedVoltage) -> tuple[float, float]:
    """Least and most change of temperature between two readings [K].

    One that nobody noted may be any that the column takes, the other reading's among them.
    """
    column = figure("first_temperature")
    ends = [into_si(end, column.unit) for end in (column.least, column.most)]
    at = [[r.temperature.number] if r.temperature.known else ends for r in (first, second)]
    apart = [abs(a - b) for a in at[0] for b in at[1]]
    return (min(apart) if not _unnoted(first, second) else 0.0), max(apart)


def _unnoted(first: DatedVoltage, second: DatedVoltage) -> str:
    """At which of two readings nobody noted the temperature; empty where both were."""
    return " and ".join(word for word, r in (("first", first), ("second", second))
                        if not r.temperature.known)


def _not_told(first: DatedVoltage, second: DatedVoltage, module: ModuleType,
             bench: Bench) -> tuple[Finding, Finding]:
    """Least and most voltage that two readings cannot tell."""
    missing = _unnoted(first, second)
    note = f"not noted at the {missing} reading: {{}} change that may be" if missing else ""
    least, most = (trace(
        rules.voltage_not_told, voltmeter_error=bench.voltmeter_error,
        cells_in_series=module.cells_in_series,
        drift=leaf("drift of a rest voltage with temperature", "c", "mV", DRIFT, "assumed",
                   source="packcalc-rule", origin=_RULE, note="either way, for each kelvin"),
        temperature_change=leaf("change of temperature between the readings", "ΔT", "K", change,
                                "assumed" if missing else "measured", origin=_RULE,
                                note=note.format(side)))
        for side, change in zip(("the least", "the most"), _changes(first, second), strict=True))
    return least, most


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
    """Held against the lines over the whole way that the voltage went.

    The most is lost where the fall was read too small, the least where it was read too large; a
    temperature that nobody noted counts for either at its worse end.
    """
    first, second = row.selfdischarge
    at, cells = first.voltage.number / module.series, module.series
    fall = first.voltage.number - second.voltage.number
    local = slopes_about(module, at)
    if local is None:
        return _nothing(f"{at:.3f} V a cell lies off the curves of {module.chemistry}",
                        "read the voltage again")
    least_open, open_ = _not_told(first, second, module, bench)
    fallen = leaf("fall of rest voltage between the readings", "ΔU", "mV", fall, "measured",
                  origin=second.voltage.origin)
    _, lost = charge_between(module, at, fall / cells)
    _, most = charge_between(module, at, (fall + open_.number) / cells, open_.number / cells)
    least, surely = (charge_between(module, at, (fall - e) / cells, -e / cells)[0]
                     for e in (open_.number, least_open.number))
    given = {"cells_in_series": module.cells_in_series,
             "days": leaf("days between the readings", "d", "", days, "measured", origin=_RULE)}
    flat = slope_leaf(module, local[0]) if abs(fall) < NOTHING else _mean_slope(
        module, fall, lost, "on the way between the readings")
    loss = trace(rules.charge_lost, **given, fall=fallen, slope=flat)
    resolution = trace(rules.charge_lost, "smallest loss that the readings can tell", symbol="s_e",
                       fall=open_, **given, slope=_mean_slope(
                           module, open_.number, most - lost, "on the further way that the "
                           "readings leave open"))
    in_a_month = rules.DAYS_A_MONTH / days
    ends = _Ends(least * in_a_month, most * in_a_month, surely * in_a_month)
    there = slopes_about(module, at, at - fall / cells) or local
    found = replace(_verdict(row, bench, loss, resolution, ends, there),
                    fell=fall > least_open.number)
    if found.check.verdict == NOT_EVALUATED:
        return found
    read = f"{fallen.shown} {{}} {open_.shown} in {days:.0f} days, {{}} of {cells} cells"
    return replace(found, most=_end(row, "most", ends.most, read.format("+", show(most, "%"))),
                   least=_end(row, "least", max(ends.least, 0.0),
                              read.format("−", show(max(least, 0.0), "%"))))


@value_object
class _Ends:
    """Loss in 30 days over all published curves, with the most that the readings leave open.

    Attributes:
        least, most: of what it may be.
        surely: the least, at the least that the readings leave open.
    """

    least: float
    most: float
    surely: float


def _mean_slope(module: ModuleType, way: float, charge: float, where: str) -> Finding:
    """Slope that the module's way [V] and the charge on it make [V a cell for 1 %]."""
    lost = max(abs(charge), NOTHING)
    return slope_leaf(module, abs(way) / (module.series * lost * 100),
                      f"mean {where}, of the published curve with the most charge there")


def _end(row: BenchRow, which: str, value: float, read: str) -> Finding:
    return leaf(f"{which} charge that {row.mark} loses in 30 days", "s", "%", value, "measured",
                origin=row.selfdischarge[1].voltage.origin, note=read)


def _verdict(row: BenchRow, bench: Bench, loss: Finding, resolution: Finding, ends: _Ends,
             there: tuple[float, float]) -> SelfDischarge:
    """The least loss counts with the curve of least charge on the way, the most with that of most.

    Args:
        row, bench: with the lines.
        loss, resolution: as printed.
        ends: as held against the lines.
        there: smallest and largest slope on the way.
    """
    line, last, module = bench.selfdischarge_quarantine, bench.selfdischarge_reject, row.module
    assert module is not None
    told, missing = f"give or take {resolution.shown} of the meter", _unnoted(*row.selfdischarge)
    if missing:
        told = (f"temperature at the {missing} reading not noted; give or take {resolution.shown} "
                "of the meter and of any temperature there")
    if ends.most >= 0:
        told += (f"; between {show(max(ends.least, 0.0), '%')} and {show(ends.most, '%')} over all "
                 "published curves")

    def said(verdict: str, effect: str | None, demand: Finding, reason: str,
             remedy: str = "") -> SelfDischarge:
        return SelfDischarge(Check(TITLE, STAGE, verdict, loss, demand, "at most", reason, remedy),
                             effect, loss, resolution)

    if ends.surely > line.number:
        if missing:
            told += (f"; at one temperature both times it lost {show(ends.surely, '%')} at least")
        if ends.surely > last.number:
            return said(FAIL, "reject", last, told, NOTE_IT if missing else "")
        return said(FAIL, "quarantine", line, told, "watch it apart from the others" + (
            f"; {NOTE_IT}" if missing else ""))
    if ends.most < 0:
        return said(NOT_EVALUATED, "undecided", line, f"the voltage rose by more than the error "
                    f"({told}): not yet at rest, or warmer", "let it rest, and read again")
    if ends.most <= line.number:
        return said(PASS, None, line, told)
    if missing:
        return said(NOT_EVALUATED, "undecided", line, told, NOTE_IT)
    flat, steep = there
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
