"""Capacity and resistance at common conditions, with their uncertainty; or why not.

Common conditions: 25 °C and a discharge in five hours for the capacity; 25 °C, 10 s and
50 % charge for the resistance. An AC meter's reading is never brought there.
"""

from __future__ import annotations

from packcalc import cell_formulas, cells
from packcalc.bench import rules
from packcalc.bench.sheet import BenchRow
from packcalc.brief import Bench
from packcalc.errors import OutOfRange
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.modules import ModuleType
from packcalc.units import show
from packcalc.value import replace, value_object

COLDEST, HOTTEST = 288.15, 308.15
SLOWEST, FASTEST = 0.1 / 3600, 0.5 / 3600
# Ends of what a bench may have had where nobody noted it (our rule): what is stated beyond them is
# asked about by name.
MOST_WARM, MOST_SLOW, LEAST_PULSE = 333.15, 0.02 / 3600, 0.1
_NOTED = ("temperature of the capacity test", "current of the capacity test")
_WORST = ("35 °C", "C/10")  # HOTTEST and SLOWEST, in words
NOTE_IT = "enter what was not noted, if somebody still knows it; else repeat the test"
SLACK = 1e-9
BETTER, BETTER_TYPE = "better than the label", "better than its type new"
NEAR = "above the label, though within its own uncertainty"
SURE = 2.0          # standard uncertainties that a line is crossed by (rule of the bench)
LEAST_CHARGE = 0.05  # below it no ratio to half charge was ever printed, for any class
FALL_TOLD = 0.10   # of the fall of voltage: what a pulse's meter may leave open (rule of the bench)
FALL_LOST = 0.50   # a fall that may be off by half or more says nothing (rule of the bench)
_RULE = Origin("rule of the bench")


def capacity_slope() -> Finding:
    """Change of capacity with temperature."""
    return leaf("change of capacity with temperature", "a", "%", 0.005, "assumed",
                source="wildfeuer-2021", origin=_RULE,
                note="1.5 % for 3 K was printed; taken as straight from 15 to 35 °C (assumed)")


def rate_exponent() -> Finding:
    """Loss of capacity with rate."""
    return leaf("loss of capacity with rate", "p", "", 0.02, "assumed", source="packcalc-rule",
                origin=_RULE, note="assumed from C/10 to C/2; the whole correction counts as "
                "uncertain")


@value_object
class AtCommon:
    """A quantity at common conditions.

    Attributes:
        value: with its chain; without a value, its note says why.
        relative: relative standard uncertainty; likewise.
        sigma: standard uncertainty in the unit of the value; likewise.
        open_items: what to note down at the next test.
        read: the value itself, where a worse one is counted on.
    """

    value: Finding
    relative: Finding
    sigma: Finding
    open_items: tuple[str, ...] = ()
    read: Finding | None = None


def without_value(name: str, why: str, open_items: tuple[str, ...] = ()) -> AtCommon:
    """A quantity that cannot be brought to common conditions."""
    capacity = name == "capacity"
    symbol, unit = ("Q_c", "Ah") if capacity else ("R_c", "mΩ")
    where = "25 °C and C/5" if capacity else "25 °C, 10 s, 50 % charge"
    return AtCommon(
        leaf(f"{name} at {where}", symbol, unit, None, "computed", note=why),
        leaf(f"relative uncertainty of the {name}", "u_c", "%", None, "computed", note=why),
        leaf(f"standard uncertainty of the {name}", f"u({symbol[0]})", unit, None, "computed",
             note=why), open_items)


# --- capacity -------------------------------------------------------------------------------

def capacity_at_common(row: BenchRow, bench: Bench) -> AtCommon:
    """Capacity at 25 °C and C/5; a reading above the label is counted as the label.

    Within its own uncertainty of the label it is a measurement of that; clearly above, suspect.
    A test of which temperature or rate was not noted is brought nowhere: it may have been one that
    cannot be corrected.
    """
    if not row.capacity.known:
        return without_value("capacity", "not measured", ("capacity",))
    refusal, open_ = _capacity_refusal(rate_of(row), row.capacity_temperature), not_noted(row)
    if refusal or open_:
        why = refusal or "not noted: " + ", ".join(open_)
        return without_value("capacity", f"uncorrectable: {why}", open_ or ("capacity",))
    return _brought(row, bench, row.capacity_temperature, rate_of(row))


def capacity_at_bad_end(row: BenchRow, bench: Bench) -> AtCommon | None:
    """A reading as if what was not noted were what leaves least of it, of what can be corrected.

    None where everything was noted, or what was noted cannot be corrected.
    """
    temperature, rate = row.capacity_temperature, rate_of(row)
    if not row.capacity.known or not not_noted(row) or _capacity_refusal(rate, temperature):
        return None
    worst = (leaf("temperature of the test, not noted", "T", "°C", HOTTEST, "assumed",
                  source="packcalc-rule", origin=_RULE, note=f"{_WORST[0]} leaves least"),
             leaf("rate of the test, not noted", "r", "1/h", SLOWEST, "assumed",
                  source="packcalc-rule", origin=_RULE, note=f"{_WORST[1]} leaves least"))
    return _brought(row, bench, *(noted if noted.known else end for noted, end in zip(
        (temperature, rate), worst, strict=True)))


def not_noted(row: BenchRow) -> tuple[str, ...]:
    """What nobody noted at the capacity test; empty where all was."""
    return _where_not_noted(row, _NOTED)


def worst_not_noted(row: BenchRow) -> tuple[str, ...]:
    """What leaves least of that, in words; see `capacity_at_bad_end`."""
    return _where_not_noted(row, _WORST)


def _where_not_noted(row: BenchRow, words: tuple[str, str]) -> tuple[str, ...]:
    return tuple(word for figure, word in zip(
        (row.capacity_temperature, rate_of(row)), words, strict=True) if not figure.known)


def _brought(row: BenchRow, bench: Bench, temperature: Finding, rate: Finding) -> AtCommon:
    """The reading at common conditions, were it taken at these; no more than the label of it."""
    slope, exponent = capacity_slope(), rate_exponent()
    value = trace(rules.capacity_at_25, capacity=row.capacity, temperature=temperature,
                  slope=slope)
    value = trace(rules.capacity_at_c5, capacity=value, rate=rate, exponent=exponent)
    instrument = row.capacity_error if row.capacity_error.known else bench.capacity_error
    relative = _combined(
        instrument, trace(rules.temperature_half_width, temperature=temperature, slope=slope),
        trace(rules.rate_half_width, rate=rate, exponent=exponent),
        "relative uncertainty of the capacity")
    value = _counted(value.called("capacity at 25 °C and C/5", "Q_c"), relative, row.module)
    return AtCommon(value, relative,
                    trace(rules.capacity_uncertainty, relative=relative, capacity=value))


def rate_of(row: BenchRow) -> Finding:
    """Rate of the capacity test, as noted or from its current; the finding may lack a value."""
    if not row.capacity_current.known or row.capacity_rate.known or row.module is None:
        return row.capacity_rate
    return trace(rules.capacity_rate, current=row.capacity_current,
                 label_capacity=row.module.capacity)


def _capacity_refusal(rate: Finding, temperature: Finding) -> str:
    if temperature.known and not COLDEST - SLACK <= temperature.number <= HOTTEST + SLACK:
        return f"measured at {temperature.shown}; repeat it between 15 and 35 °C"
    if rate.known and not SLOWEST * (1 - SLACK) <= rate.number <= FASTEST * (1 + SLACK):
        return f"measured at {rate.shown}; repeat it between 0.1 and 0.5 1/h"
    return ""


def _counted(value: Finding, relative: Finding, module: ModuleType | None) -> Finding:
    """A capacity, no more than the label of it; what was read above that is told."""
    if module is None or value.number <= module.capacity.number:
        return value
    surely = value.number * (1 - SURE * relative.number) > module.capacity.number
    return trace(rules.capacity_counted, capacity=value, label_capacity=module.capacity,
                 note=f"read {BETTER}: suspect, counted as the label" if surely
                 else f"{value.shown} is {NEAR}; no more than the label is counted")


def suspect(found: AtCommon) -> bool:
    """Whether a quantity was read better than a new module can be."""
    return doubted(found.value)


def doubted(value: Finding) -> bool:
    """Whether a value at common conditions goes back to a reading better than new."""
    return value.known and any(word in value.note for word in (BETTER, BETTER_TYPE))


def above_label(found: AtCommon) -> bool:
    """Whether a capacity was read above the label, by less than the instrument can tell."""
    return found.value.known and NEAR in found.value.note


def like_the_others(found: AtCommon, middle: Finding) -> AtCommon:
    """A quantity read better than new, counted like the lot's middle until it is tested again.

    One that may be no better than the label for all that its test can tell is no less a
    measurement, but never the best of the lot: a poor test would else rank before a good one.

    Args:
        found: with a value that was counted as the label, or as its type new.
        middle: of the same quantity of its type that nobody doubts.
    """
    near = above_label(found)
    capacity = near or BETTER in found.value.note
    if (middle.number >= found.value.number) if capacity else \
            (middle.number <= found.value.number):
        return found
    value = middle.called(found.value.title, found.value.symbol)
    read = f"read {BETTER}" if found.read is None else f"{found.read.shown} is {BETTER_TYPE}"
    if near:
        read = found.value.note.partition("; ")[0]
    value = replace(value, note=f"{read}: {'' if near else 'suspect, '}counted like the "
                    f"{middle.note} until it is tested again")
    sigma = trace(rules.capacity_uncertainty, relative=found.relative, capacity=value) \
        if capacity else trace(rules.resistance_uncertainty, relative=found.relative,
                               resistance=value)
    return replace(found, value=value, sigma=sigma)


def _combined(instrument: Finding, half_first: Finding, half_second: Finding,
              title: str) -> Finding:
    first, second = (trace(rules.rectangular_uncertainty, half_width=half)
                     for half in (half_first, half_second))
    return trace(rules.combined_uncertainty, title, first=instrument, second=first, third=second)


# --- resistance -----------------------------------------------------------------------------

_NEEDED = (("resistance_current", "current of the pulse"),
           ("resistance_pulse", "length of the pulse"),
           ("resistance_temperature", "temperature at the pulse"),
           ("resistance_charge", "state of charge at the pulse"))


def pulse_not_noted(row: BenchRow) -> tuple[str, ...]:
    """What nobody noted at the pulse; empty where all was."""
    return tuple(words for name, words in _NEEDED if not getattr(row, name).known)


def resistance_at_common(row: BenchRow, bench: Bench) -> AtCommon:
    """Pulse resistance at common conditions; one below its type's, new, is counted as that."""
    found, module = resistance_as_read(row, bench), row.module
    if not found.value.known or module is None \
            or found.value.number >= module.resistance_low.number:
        return found
    surely = found.value.number * (1 + SURE * found.relative.number) < module.resistance_low.number
    value = trace(rules.resistance_counted, found.value.title, symbol="R_c",
                  resistance=found.value, type_resistance=module.resistance_low,
                  note=f"{found.value.shown} is {BETTER_TYPE}: suspect, counted as new" if surely
                  else f"read as {found.value.shown}; no better than new is counted")
    return replace(found, value=value, read=found.value, sigma=trace(
        rules.resistance_uncertainty, relative=found.relative, resistance=value))


def resistance_as_read(row: BenchRow, bench: Bench) -> AtCommon:
    """Pulse resistance at 25 °C, 10 s, 50 % charge: the middle of what was published."""
    if not row.resistance.known:
        return without_value("resistance", "not measured", ("pulse resistance",))
    missing = pulse_not_noted(row)
    if row.module is None:
        return without_value("resistance", "uncorrectable: the module's type is not known",
                             ("module type",))
    if missing:
        return without_value("resistance", "uncorrectable: not noted: " + ", ".join(missing),
                             missing)
    if row.resistance_charge.number < LEAST_CHARGE * (1 - SLACK):
        return without_value("resistance", f"uncorrectable: read at {row.resistance_charge.shown} "
                             "charge, and below 5 % no ratio to half charge was ever printed; "
                             "repeat it near half charge", ("pulse resistance",))
    lost = _lost_fall(row, row.module, bench)
    if lost:
        return without_value("resistance", lost, ("pulse resistance",))
    try:
        lower, upper = (referred(row, row.module, side) for side in ("high", "low"))
    except OutOfRange as error:
        why = str(error).partition(";")[0]
        return without_value("resistance", f"uncorrectable: {why}; repeat it nearer to 25 °C, "
                             "10 s, 50 % charge", ("pulse resistance",))
    if lower.number == upper.number:
        value, half = upper.called("resistance at 25 °C, 10 s, 50 % charge", "R_c"), _nothing()
    else:
        value = trace(rules.middle_of_band, lower=lower, upper=upper)
        half = trace(rules.band_half_width, lower=lower, upper=upper)
    instrument = row.resistance_error if row.resistance_error.known else bench.resistance_error
    fall = trace(rules.fall_half_width, voltmeter_error=bench.voltmeter_error,
                 current=row.resistance_current, resistance=row.resistance)
    relative = _combined(instrument, half, fall, "relative uncertainty of the resistance")
    sigma = trace(rules.resistance_uncertainty, relative=relative, resistance=value)
    return AtCommon(value, relative, sigma)


def _lost_fall(row: BenchRow, module: ModuleType, bench: Bench) -> str:
    """Why the fall of voltage cannot be told from the meter's error; empty where it can."""
    fall = row.resistance_current.number * row.resistance.number
    if bench.voltmeter_error.number < FALL_LOST * fall:
        return ""
    return (f"the pulse made {show(fall, 'mV')} and the voltmeter leaves "
            f"{bench.voltmeter_error.shown} open; {larger_pulse(module, bench)}")


def larger_pulse(module: ModuleType, bench: Bench) -> str:
    """What to repeat a pulse with, so that its fall of voltage is told to a tenth."""
    least = least_current(module, bench)
    limit = module.continuous_current.value
    if limit is not None and least.number > limit:
        return (f"repeat it with {show(limit, 'A')}, the most it may carry, and a voltmeter finer "
                f"than {show(FALL_TOLD * limit * module.resistance_low.number, 'mV')} "
                "(bench.voltmeter_error)")
    return (f"repeat it with at least {least.shown}, or with a finer voltmeter "
            "(bench.voltmeter_error)")


def least_current(module: ModuleType, bench: Bench) -> Finding:
    """Current of a pulse whose fall of voltage the meter tells to a tenth."""
    return trace(rules.least_pulse_current, voltmeter_error=bench.voltmeter_error,
                 half_width=leaf("share of the fall that may be left open", "h", "%", FALL_TOLD,
                                 "assumed", source="packcalc-rule", origin=_RULE),
                 resistance=module.resistance_low)


def _nothing() -> Finding:
    return leaf("no correction", "h", "%", 0.0, "definition", origin=_RULE)


def referred(row: BenchRow, module: ModuleType, side: str) -> Finding:
    """At the reference condition with the largest ("high") or smallest published ratios."""
    at = (row.resistance_temperature.number, row.resistance_charge.number,
          row.resistance_pulse.number)
    reference = (cells.REFERENCE_TEMPERATURE, cells.REFERENCE_CHARGE, cells.REFERENCE_PULSE)
    if all(abs(a - b) < 1e-9 for a, b in zip(at, reference)):
        return row.resistance
    cell = module.cell
    low_charge = side == "high" and at[1] <= cells.LOW_CHARGE
    law = cell.temperature_low_charge if low_charge else cell.temperature
    bound = {"high": "lower bound", "low": "upper bound"}[side]
    return trace(cell_formulas.reference_resistance, f"resistance at common conditions, {bound}",
                 resistance=row.resistance,
                 temperature_ratio=law.traced(row.resistance_temperature, side),
                 charge_ratio=cell.charge.traced(row.resistance_charge, side),
                 pulse_ratio=cell.pulse.traced(row.resistance_pulse, side))


def set_aside(found: AtCommon, why: str, *, better: bool = False) -> AtCommon:
    """The same quantity without its value: it is asked about and ranks nowhere meanwhile.

    Args:
        found: with its value.
        why: what is asked.
        better: whether only for being better than new; what was read then stays, for the figures
            that a low one makes worse.
    """
    return replace(found, read=found.read if better else None, **{name: replace(
        getattr(found, name), value=None, formula=None, inputs=(), note=why)
        for name in ("value", "relative", "sigma")})
