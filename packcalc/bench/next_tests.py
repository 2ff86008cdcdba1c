"""What to test next on each module: at what current, how long, when to stop; bench hours."""

from __future__ import annotations

import math

from packcalc import modules as mod
from packcalc.bench import rules
from packcalc.bench.balance import TOLD_WITHIN, charge_from_voltage, voltage_at
from packcalc.bench.common import FALL_TOLD, NOTE_IT, not_noted
from packcalc.bench.grade import GradedLot, GradedModule, isolation_line
from packcalc.bench.isolation import of_no_layout, to_find
from packcalc.bench.judging import COLD
from packcalc.bench.selfdischarge import DRIFT, PLATEAU, slope_leaf, steepness_at_charge
from packcalc.brief import Bench
from packcalc.checks import NOT_EVALUATED
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.modules import ModuleType
from packcalc.units import show
from packcalc.value import replace, value_object

PULSE_TIME = 45.0 * 60
SHORT_TIME = 5.0 * 60
LEAST_WEEKS = 14.0
TESTER_STEPS = (250.0, 500.0, 1000.0)
WARM = 298.15
# Most decisive first: what can kill, what is cheap, what takes a day, what takes weeks.
# One module's cold pulse comes before them all: it may end the design.
COLD_PULSE = "cold pulse"
ORDER = (COLD_PULSE, "insulation", "rest voltage", "cells", "pulse", "capacity", "self-discharge")
_CHECK_OF = {"insulation to the case": "insulation", "rest voltage": "rest voltage",
             "cells of the module": "cells", "pulse resistance": "pulse", "capacity": "capacity",
             "self-discharge": "self-discharge"}


@value_object
class Test:
    """One test of one module type, and the modules that wait for it.

    Attributes:
        kind: one of ORDER.
        module: type; None where the rows do not say.
        marks: of the modules that need it.
        how: current, length and steps in words.
        stop: when to stop.
        hours: of one module on a tester [s]; no value where it only waits.
        days: calendar days that all wait together; no value where none.
        ground: source or rule.
    """

    __test__ = False  # no case for pytest

    kind: str
    module: ModuleType | None
    marks: tuple[str, ...]
    how: str
    stop: str
    hours: Finding
    days: Finding
    ground: str


def next_tests(lot: GradedLot) -> tuple[Test, ...]:
    """The cold pulse of one module, then every test that would settle an undecided one.

    Most decisive first.
    """
    waiting: dict[tuple[str, str], list[GradedModule]] = _cold_pulses(lot)
    for module in lot.modules:
        if module.grade == "reject":
            continue
        for kind in wanting(module):
            name = module.row.module.id if module.row.module else ""
            waiting.setdefault((kind, name), []).append(module)
    keys = sorted(waiting, key=lambda k: (ORDER.index(k[0]), k[1]))
    return tuple(_test(kind, waiting[kind, name], lot) for kind, name in keys)


def _cold_pulses(lot: GradedLot) -> dict[tuple[str, str], list[GradedModule]]:
    """One module of each type whose resistance in the cold nobody read; empty without cold.

    The one of the largest warm resistance, so that its reading errs high; else the first.
    """
    coldest = lot.need.coldest
    if coldest is not None and coldest.number >= COLD:
        return {}
    types: dict[str, list[GradedModule]] = {}
    for module in lot.modules:
        types.setdefault(module.row.module.id if module.row.module else "", []).append(module)
    found = {}
    for name, own in types.items():
        sound = [m for m in own if m.grade in ("keep", "undecided")]
        if sound and name not in lot.need.cold_read and not any(_read_cold(m) for m in own):
            # max keeps the first of equals: the first row where none is known
            found[COLD_PULSE, name] = [max(sound, key=lambda m: (
                m.resistance_common.number if m.resistance_common.known else 0.0))]
    return found


def _read_cold(module: GradedModule) -> bool:
    row = module.row
    return row.resistance.known and row.resistance_temperature.known \
        and row.resistance_temperature.number < COLD


def wanting(module: GradedModule) -> tuple[str, ...]:
    """Tests that a module waits for, most decisive first."""
    kinds = {_CHECK_OF[c.title] for c in module.reasons
             if c.verdict == NOT_EVALUATED and c.title in _CHECK_OF}
    return tuple(kind for kind in ORDER if kind in kinds)


def _half_noted(module: GradedModule) -> bool:
    """Whether its capacity was read, and not all noted of the test."""
    return module.row.capacity.known and bool(not_noted(module.row))


def bench_hours(tests: tuple[Test, ...], bench: Bench) -> Finding:
    """Hours of the bench for the whole lot, with as many testers as run side by side."""
    total = sum(t.hours.number * len(t.marks) for t in tests if t.hours.known)
    testers = bench.testers.number
    return leaf("hours of the bench for the lot", "t", "h", total / testers, "computed",
                source="packcalc-rule", origin=Origin("next tests"),
                note=f"sum of the tests above over {testers:.0f} tester"
                f"{'s' if testers != 1 else ''}; weeks of waiting run beside it")


def _test(kind: str, modules: list[GradedModule], lot: GradedLot) -> Test:
    module = modules[0].row.module
    how, stop, ground = _WORDS[kind](module, lot)
    return Test(kind, module, tuple(m.row.mark for m in modules), how, stop,
                _hours(kind, module), _days(kind, module, lot.bench), ground)


def _hours(kind: str, module: ModuleType | None) -> Finding:
    if kind == "capacity" and module is not None:
        return trace(rules.capacity_test_time, charge_rate=module.charge_rate)
    fixed = {"pulse": PULSE_TIME, COLD_PULSE: PULSE_TIME, "insulation": SHORT_TIME,
             "cells": SHORT_TIME, "rest voltage": SHORT_TIME,
             "self-discharge": 2 * SHORT_TIME}.get(kind)
    return leaf("time of one test at the bench", "t", "h", fixed, "assumed", source="packcalc-rule",
                origin=Origin("next tests"))


def _days(kind: str, module: ModuleType | None, bench: Bench) -> Finding:
    blank = leaf("days of waiting", "d", "", None, "computed")
    if kind in ("rest voltage", COLD_PULSE):
        return replace(blank, value=0.5, note="a night", basis="assumed", source="packcalc-rule")
    if kind != "self-discharge" or module is None or module.needs_bench:
        return blank
    wait = days_needed(module, bench, _where(module))
    if wait.number >= LEAST_WEEKS:
        return replace(wait, value=float(math.ceil(wait.number)), formula=None, inputs=(),
                       basis="computed", note="days until half the line shows, rounded up")
    return replace(blank, value=LEAST_WEEKS, basis="assumed", source="packcalc-rule",
                   note=f"two weeks at least; half the line would show after {wait.shown} days")


def _where(module: ModuleType) -> float:
    """State of charge to rest at: half, or near empty where half lies on a plateau."""
    return 0.5 if steepness_at_charge(module, 0.5) >= PLATEAU else 0.15


def days_needed(module: ModuleType, bench: Bench, soc: float) -> Finding:
    """Days until half the quarantine line shows above what the readings cannot tell."""
    not_told = trace(
        rules.voltage_not_told, voltmeter_error=bench.voltmeter_error,
        cells_in_series=module.cells_in_series,
        drift=leaf("drift of a rest voltage with temperature", "c", "mV", DRIFT, "assumed",
                   source="packcalc-rule"),
        temperature_change=leaf("change of temperature", "ΔT", "K", 2.0, "assumed",
                                source="packcalc-rule", note="the same room both times"))
    half = leaf("half the line", "s", "%", bench.selfdischarge_quarantine.number / 2,
                bench.selfdischarge_quarantine.basis)
    return trace(rules.days_to_tell, not_told=not_told, cells_in_series=module.cells_in_series,
                 slope=slope_leaf(module, steepness_at_charge(module, soc)), loss=half)


# --- words -----------------------------------------------------------------------------------

_Words = tuple[str, str, str]


def _insulation_words(module: ModuleType | None, lot: GradedLot) -> _Words:
    voltage = lot.need.voltage
    step = next((s for s in TESTER_STEPS if voltage.known and s >= voltage.number), None)
    dial = "no less than the pack's highest working voltage"
    if of_no_layout(voltage):
        dial += f" ({to_find(voltage)})"
    elif step:
        dial = f"{step:.0f} V"
    line = isolation_line(lot.bench, lot.need)
    least = f"at least {line.shown}" if line else "the line follows from the pack's voltage"
    return (f"insulation tester at {dial}, each terminal to the case, lower reading; {least}",
            "once the reading is steady, a minute at most; stop at once when it falls",
            "ISO 6469-3, 8.2.2")


def _rest_words(module: ModuleType | None, lot: GradedLot) -> _Words:
    return ("leave it overnight in one room with nothing connected; voltmeter across the "
            "terminals; note date and temperature", "–", "common practice")


def _cell_words(module: ModuleType | None, lot: GradedLot) -> _Words:
    return ("voltmeter on the sense taps after the night at rest: lowest and highest cell",
            "probes with fused leads, one hand", "common practice")


def _half(module: ModuleType) -> str:
    """How half charge is told before the capacity is."""
    if not module.needs_bench:
        volts = voltage_at(module, 0.5)
        least, most = charge_from_voltage(module, volts)
        if most - least <= TOLD_WITHIN:
            return (f"half charge, told by rest voltage before any capacity is: about "
                    f"{show(volts, 'V')} after a night")
    return (f"half charge: its rest voltage does not tell it, so charge fully, every cell watched, "
            f"and draw half of the label, {show(module.capacity.number / 2, 'Ah')}")


def _cold_words(module: ModuleType | None, lot: GradedLot) -> _Words:
    coldest = lot.need.coldest
    cold = f"at {coldest.shown}" if coldest is not None else \
        "in the coldest place it will start in (the brief gives no coldest_start)"
    first, night = "its insulation and rest voltage first", "this ONE module overnight"
    if module is None:
        return (f"{first}; {night} {cold}; one 10 s pulse while it is cold. Name its type: half "
                "charge, current and stop follow from it", "smell or hiss", "packcalc rule")
    limit = mod.continuous_current_limit(module)
    one_c = module.capacity.number / 3600
    current = one_c / 2 if limit is None else min(one_c / 2, limit)
    return (f"{first}; {_half(module)}; {night} {cold}; while it is cold {show(current, 'A')} for "
            "10 s; note voltage before and at 10 s, current, cell temperature, charge; enter it in "
            "the brief as resistance of [[modules]] with resistance_pulse, resistance_temperature "
            "and resistance_charge: in the cold resistance is several times the warm one, and "
            "decides whether the pack starts",
            f"10 s; any cell at {show(module.empty_voltage.number, 'V')}; smell or hiss; no charge "
            "into it before it is above 10 °C", "packcalc rule")


def _pulse_words(module: ModuleType | None, lot: GradedLot) -> _Words:
    if module is None:
        return "name its type first", "–", "packcalc rule"
    limit = mod.continuous_current_limit(module)
    one_c = module.capacity.number / 3600
    current = min(one_c, limit) if limit is not None else one_c / 2
    why = "" if limit is not None else " (half of 1 C: its current limit is not known)"
    told = FALL_TOLD * current * module.resistance_low.number
    fine = "" if told >= lot.bench.voltmeter_error.number else \
        f" with a voltmeter that tells {show(told, 'mV')}"
    return (f"{_half(module)}; 20 to 30 °C, 30 min at rest; {show(current, 'A')}{why} for 10 s; "
            f"note voltage before and at 10 s{fine}, current, temperature, charge",
            f"10 s; any cell at {show(module.empty_voltage.number, 'V')}; smell or hiss",
            "ISO 12405-4, 7.3: 30 min rest; pulse and stop are our rule")


def _capacity_words(module: ModuleType | None, lot: GradedLot) -> _Words:
    if module is None:
        return "name its type first", "–", "packcalc rule"
    charge = float(mod.charge_current_limit(module, WARM))
    discharge = module.capacity.number / 3600 / 5
    full = show(module.full_voltage.number, "V")
    noted = f"{NOTE_IT}: " if any(map(_half_noted, lot.modules)) else ""
    return (f"{noted}charge with {show(charge, 'A')} at most to {full} on the highest cell, 1 h "
            f"at rest, discharge with {show(discharge, 'A')}; note Ah, current and temperature; "
            "leave it at half charge, half of those Ah",
            f"the first cell at {show(module.empty_voltage.number, 'V')}; case above 45 °C; more "
            "than 7 h; never alone, never overnight unwatched",
            "GB/T 34015, 3.2: five hours")


def _selfdischarge_words(module: ModuleType | None, lot: GradedLot) -> _Words:
    if module is None:
        return "name its type first", "–", "packcalc rule"
    if module.needs_bench:
        return ("its curve is not known: measure rest voltages at three states of charge first",
                "–", "packcalc rule")
    soc = _where(module)
    place = f"rest at {100 * soc:.0f} % charge" + (
        " (steep there; at half charge the curve is flat)" if soc < 0.5 else "")
    return (f"{place}; a day to settle, then two readings with the same meter in the same room, "
            "dates and temperatures noted", "a module that falls day by day leaves the house",
            "packcalc rule: half the line must show above the error")


_WORDS = {COLD_PULSE: _cold_words, "insulation": _insulation_words,
          "rest voltage": _rest_words, "cells": _cell_words,
          "pulse": _pulse_words, "capacity": _capacity_words,
          "self-discharge": _selfdischarge_words}
