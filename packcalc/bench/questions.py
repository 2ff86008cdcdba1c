"""What a sheet must be asked: figures that can be read and cannot be right.

Nothing is corrected. A figure that is asked about counts nowhere until the user has
answered by mending the sheet.
"""

from __future__ import annotations

import re
import statistics
from collections import defaultdict
from collections.abc import Callable, Iterator

from packcalc.bench import common, rules
from packcalc.bench.damage import ASK, TOLD_IN, weigh, weigh_past
from packcalc.bench.donor_past import otherwise
from packcalc.bench.readings_agree import dates_of, odd_dates, unlike_readings
from packcalc.bench.sheet import BenchRow, BenchSheet
from packcalc.brief import Bench, Donor
from packcalc.errors import Fault
from packcalc.findings import Finding
from packcalc.modules import DROP_LEAST, DROP_MOST, ModuleType
from packcalc.units import several, show
from packcalc.value import replace, value_object

PLAUSIBLE_LOW, PLAUSIBLE_HIGH = 0.3, 6.0
COLD_GROWTH = 10.0
SLIP = 1000.0
FLAT, FLAT_BAND = "LFP", (3.18, 3.40)
FLAT_TOP = 3.50
STEEP = ("NMC", "NCA", "LMO")
LIKE_THE_LOT = 0.10   # V a cell; modules of one donor rest within hundredths
RATE_TOLERANCE = 0.1
SUM_TOLERANCE = 0.005  # two hand meters; wider would hide what the line of 50 mV a cell tells
MASS_TOLERANCE = 0.15
LEAST_SHARE = 0.0005  # of charge: 0.05 written for 5 %
# As spreadsheets write what they take for a day, 7. Jul, Jul 07, 07-Jul, 2026-07-07 or 07.07.2026,
# or for a power of ten, 1.00E+05.
_MONTH = "(?:jan|feb|mar|mär|mrz|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-zä]{0,6}"
LIKE_A_DAY = re.compile(
    rf"\d{{1,2}}[. -]{{1,2}}{_MONTH}\.?(?:[ -]\d{{2,4}})?|{_MONTH}\.?[ -]\d{{2,4}}|"
    r"\d{4}-\d{2}-\d{2}(?: [\d:]+)?|\d{1,2}([./])\d{1,2}\1\d{2,4}|\d+(?:[.,]\d+)?E[+-]\d+",
    re.IGNORECASE)


@value_object
class Question:
    """One thing to ask about one row, or about the sheet.

    Attributes:
        fault: file, line, column, what is odd, what to do: one line.
        mark: of the module; empty when the sheet is meant.
        quantity: what may not count meanwhile: "capacity", "resistance", "impedance_ac",
            "voltage", "cells", "module", "dates", "damage", "donor" or "mark".
        better: whether it is asked only because it reads better than a new one: it may be true,
            and the highest fault counts it meanwhile.
    """

    fault: Fault
    mark: str
    quantity: str
    better: bool = False

    def __str__(self) -> str:
        return str(self.fault)


def ask(sheet: BenchSheet, bench: Bench, types: tuple[ModuleType, ...] = (), issued: str = "",
        donor: Donor | None = None) -> tuple[Question, ...]:
    """Everything odd in a sheet, in the order of its rows.

    Args:
        sheet: as read.
        bench: thresholds.
        types: module types that the brief expects; empty where nobody said.
        issued: the brief's date of issue; empty where nobody said.
        donor: of the brief, where it describes one.
    """
    usual = dates_of(sheet) if not issued else ""
    found = [q for row in sheet.rows for q in ask_row(sheet, row, bench, issued, usual)]
    found += _unlike_the_lot(sheet)
    of_type = _mixed(sheet, types)
    if _all_of_another(sheet, of_type):  # held against a wrong label every reading looks odd
        found = [q for q in found if q.quantity in ("dates", "damage")]
    found += [*of_type, *_rewritten_marks(sheet), *unlike_the_donor(sheet, donor)]
    return tuple(sorted(found, key=lambda q: q.fault.line))


def unlike_the_donor(sheet: BenchSheet, donor: Donor | None) -> Iterator[Question]:
    for row, column, said in otherwise(sheet, donor):
        yield Question(sheet.fault(
            row, column, f"says {getattr(row, column)}, and the brief's [donor] says {column} = "
            f"{said}: which is it?", "mend the row or the brief; a module of another pack names "
            "that in the column donor; the worse counts meanwhile"), row.mark, "donor")


def ask_row(sheet: BenchSheet, row: BenchRow, bench: Bench, issued: str = "", usual: str = ""
            ) -> Iterator[Question]:
    """What one row must be asked on its own: label, slips of a thousand, window, cells, dates.

    Args:
        sheet, row, bench: as read.
        issued: day that no reading may lie behind; empty where nobody said.
        usual: day about which the sheet's readings lie, where `issued` is not known.
    """
    asks = _Asker(sheet, row)
    for inspect in (_untyped, _capacity, _rate, _beyond_a_bench, _resistance, _charge, _impedance,
                    _voltage, _cells, _sum_of_cells, _damage, _mass):
        yield from inspect(asks, row, bench)
    for column, wrong, right in odd_dates(row, issued, usual):
        yield Question(sheet.fault(row, column, wrong, right), row.mark, "dates")
    for figure, wrong, right in unlike_readings(row, bench):
        yield asks("voltage", figure, wrong, right)


@value_object
class _Asker:
    sheet: BenchSheet
    row: BenchRow

    def __call__(self, quantity: str, figure: Finding | None, wrong: str, right: str) -> Question:
        column = figure.origin.key if figure is not None and figure.origin else quantity
        return Question(self.sheet.fault(self.row, column, wrong, right), self.row.mark, quantity)


_Found = Iterator[Question]


def _untyped(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    if row.module is None and not row.refused:
        yield asks("module", None, "which module is it?", "fill the column module with a label "
                   "like 12s 160 Ah NMC, or a record of the library")


def _slip(value: float, low: float, high: float) -> float | None:
    """The factor that would make a figure plausible, or None where it is so already."""
    if low * PLAUSIBLE_LOW <= value <= high * PLAUSIBLE_HIGH:
        return None
    return next((factor for factor in (SLIP, 1 / SLIP)
                 if low * PLAUSIBLE_LOW <= value * factor <= high * PLAUSIBLE_HIGH), None)


def _written(figure: Finding) -> str:
    """The figure as it stands in the cell, with the unit of its column."""
    return figure.origin.text if figure.origin else figure.shown


def _capacity(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    if row.module is None or not row.capacity.known:
        return
    label, value = row.module.capacity, row.capacity.number
    share = value / label.number
    factor = next((f for f in (SLIP, 1 / SLIP) if 0.3 <= share * f <= 1.2), None)
    if factor is not None:
        yield asks("capacity", row.capacity, f"{row.capacity.shown} on a label of {label.shown}: "
                   f"is {show(value * factor, 'Ah')} meant?", "mend the figure, or the unit in "
                   "the head")
    elif share > bench.capacity_suspect.number + 1e-9:
        far = "far above" if share > 1.2 else "above"
        yield asks("capacity", row.capacity, f"{row.capacity.shown} is {100 * share:.4g} % of the "
                   f"label ({label.shown}), {far} what a used module holds",
                   "another module, another cut-off, or a slip? measure it again")


def _rate(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    """Rate and current of one test say the same thing twice."""
    if row.module is None or not (row.capacity_rate.known and row.capacity_current.known):
        return
    by_current = rules.capacity_rate(row.capacity_current.number, row.module.capacity.number)
    if abs(by_current / row.capacity_rate.number - 1) > RATE_TOLERANCE:
        yield asks("capacity", row.capacity_current, f"{row.capacity_current.shown} is "
                   f"{show(by_current, '1/h')} of the label ({row.module.capacity.shown}), yet the "
                   f"rate of the test stands as {row.capacity_rate.shown}",
                   "which of the two was it? leave the other cell empty")


def _beyond_a_bench(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    """Conditions past the ends of what a bench may have: what nobody noted stands at those."""
    warm, rate, pulse = row.capacity_temperature, common.rate_of(row), row.resistance_current
    if row.capacity.known and warm.known and warm.number > common.MOST_WARM + 1e-6:
        yield asks("capacity", warm, f"{warm.shown} at the capacity test is hotter than any bench "
                   f"test ({show(common.MOST_WARM, '°C')} at most)",
                   "is the unit in the head right?")
    if row.capacity.known and rate.known and rate.number < common.MOST_SLOW * (1 - 1e-9):
        yield asks("capacity", row.capacity_rate if row.capacity_rate.known else
                   row.capacity_current, f"{rate.shown} is slower than any bench test "
                   f"({show(common.MOST_SLOW, '1/h')} at least)", "is the figure a slip?")
    if row.resistance.known and pulse.known and pulse.number < common.LEAST_PULSE * (1 - 1e-9):
        yield asks("resistance", pulse, f"{pulse.shown} is less than any pulse of a bench "
                   f"({show(common.LEAST_PULSE, 'A')} at least)", "is the figure a slip?")


def _damage(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    if weigh(row.damage) == ASK:
        yield asks("damage", None, f"noted: {row.damage}: is there damage, or none?",
                   "write none, or what it is without a not; look again where nobody is sure")
    for column in TOLD_IN:
        told = weigh_past(getattr(row, column), row.module)
        if told.meaning == ASK:
            yield Question(asks.sheet.fault(
                row, column, f"noted: {getattr(row, column)} ({', '.join(told.words)}): did water, "
                "fire, a blow or a deep discharge get at the module?", "fill water, crash and "
                "damage, and tell the donor and the storage without the word"),
                row.mark, "damage")


def _resistance(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    figure, module = row.resistance, row.module
    if module is None or not figure.known:
        return
    low, high = module.resistance_low.number, module.resistance_high.number
    cold = row.resistance_temperature.known and row.resistance_temperature.number < 283.15
    factor = _slip(figure.number, low, high * (COLD_GROWTH if cold else 1.0))
    drop = figure.number * module.capacity.number / 3600 / module.series
    if factor is not None:
        way = _slip_in_words(figure, factor)
        yield asks("resistance", figure, f"{_written(figure)} in this column is {figure.shown}, "
                   f"and its type has {module.resistance_high.shown}: is "
                   f"{show(figure.number * factor, 'mΩ')} meant ({way})?",
                   "mend the figure, or the unit in the head")
    elif not DROP_LEAST <= drop <= DROP_MOST * (COLD_GROWTH if cold else 2.0):
        yield asks("resistance", figure, f"{figure.shown} makes {drop:.3g} V a cell at 1 C, which "
                   "no lithium cell does", "four wires to the terminals, and the whole module?")
    else:
        yield from _better_than_type(asks, row, bench, module)
    if row.impedance_ac.known and _warm(row) and row.impedance_ac.number > figure.number > 0:
        yield asks("resistance", figure, f"the AC reading ({row.impedance_ac.shown}) is larger "
                   f"than the pulse resistance ({figure.shown})",
                   "an AC reading is the smaller of the two; are the columns swapped?")


def _slip_in_words(figure: Finding, factor: float) -> str:
    """Which unit was written for that of the column, where that explains the slip."""
    in_ohm = figure.origin is not None and figure.origin.key.endswith("_ohm")
    if factor > 1:
        return "a slip of 1000" if in_ohm else "Ω where mΩ was meant"
    return "mΩ where Ω was meant" if in_ohm else "µΩ where mΩ was meant"


def _charge(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    """A share like 0.5 where per cent was meant; below 5 % no resistance is brought anywhere."""
    at = row.resistance_charge
    if at.known and at.origin and LEAST_SHARE <= at.number <= 0.01:
        yield asks("resistance", at, f"{_written(at)} in this column is {at.shown} charge: is "
                   f"{show(100 * at.number, '%')} meant?", "write per cent, like 50")


def _warm(row: BenchRow) -> bool:
    at = row.resistance_temperature
    return not at.known or at.number >= 293.15


def _better_than_type(asks: _Asker, row: BenchRow, bench: Bench, module: ModuleType) -> _Found:
    found = common.resistance_as_read(row, bench)
    if not found.value.known:
        return
    best = found.value.number * (1 + common.SURE * found.relative.number)
    least = bench.resistance_suspect.number * module.resistance_low.number
    if best < least:
        yield replace(asks(
            "resistance", row.resistance, f"{found.value.shown} at common conditions is less than "
            f"{bench.resistance_suspect.shown} of its type's {module.resistance_low.shown}",
            "better than new is suspect; read it again at a full 10 s and a larger current"),
            better=True)


def _impedance(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    figure, module = row.impedance_ac, row.module
    if module is None or not figure.known:
        return
    if figure.number <= 0.0:
        yield asks("impedance_ac", figure, f"{_written(figure)} is no reading of a module",
                   "hold the four probes on the two terminals, and read it again")
        return
    initial = module.resistance_initial
    low = initial.number if initial.known else 0.5 * module.resistance_low.number
    factor = _slip(figure.number, low, module.resistance_high.number)
    if factor is not None:
        yield asks("impedance_ac", figure, f"{_written(figure)} in this column is {figure.shown}: "
                   f"is {show(figure.number * factor, 'mΩ')} meant?",
                   "mend the figure, or the unit in the head")


def _window(module: ModuleType) -> tuple[float, float]:
    return module.empty_voltage.number, module.full_voltage.number


def _voltage(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    rest = row.at_rest.voltage
    readings = [rest, *(r.voltage for r in row.selfdischarge)]
    for reading in readings if row.module is not None else ():
        found = tuple(_in_window(asks, row.module, reading, bench)) if reading.known else ()
        if found:  # once for a row: the others of it stand there for the same reason
            yield from found
            return


def _in_window(asks: _Asker, module: ModuleType, rest: Finding, bench: Bench) -> _Found:
    value = rest.number
    empty, full = _window(module)
    slack = bench.voltmeter_error.number
    if module.series * empty - slack <= value <= module.series * full + slack:
        return
    side = "below empty" if value < module.series * empty else "above full"
    fits = [n for n in range(1, 60) if n * empty <= value <= n * full and n != module.series]
    guess = f"; it would fit {fits[0]} to {fits[-1]} cells" if len(fits) > 1 else \
        f"; it would fit {several(fits[0], 'cell')}" if fits else ""
    cell = f"{value / module.series:.3f} V a cell over {several(module.series, 'cell')}"
    yield asks("voltage", rest, f"{rest.shown} is {cell}, {side} "
               f"({empty:.2f} V to {full:.2f} V){guess}", "read it again; is it the module that "
               "its label says?")


def _cells(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    low, high = row.lowest_cell, row.highest_cell
    if low.known and high.known and low.number > high.number:
        yield asks("cells", low, f"the lowest cell ({low.shown}) stands above the highest "
                   f"({high.shown})", "are the two columns swapped?")
    if row.module is None:
        return
    empty, full = _window(row.module)
    for figure, word in ((low, "lowest"), (high, "highest")):
        if not figure.known or empty - 0.005 <= figure.number <= full + 0.005:
            continue
        per_module = figure.number / row.module.series
        meant = "; is that the whole module?" if empty <= per_module <= full else ""
        yield asks("cells", figure, f"the {word} cell at {figure.shown} lies outside the window of "
                   f"{row.module.chemistry} ({empty:.2f} V to {full:.2f} V){meant}",
                   "read the sense taps again")


def _sum_of_cells(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    low, high, total = row.lowest_cell, row.highest_cell, row.at_rest.voltage
    if row.module is None or not total.known or not (low.known or high.known) \
            or low.known and high.known and low.number > high.number:
        return
    series = row.module.series
    slack = bench.voltmeter_error.number + SUM_TOLERANCE * total.number
    below = low.known and total.number < series * low.number - slack
    above = high.known and total.number > series * high.number + slack
    if not (below or above):
        return
    between = (f"between {low.shown} and {high.shown}" if low.known and high.known else
               f"of which the lowest has {low.shown}" if low.known else
               f"of which the highest has {high.shown}")
    which = "three" if low.known and high.known else "two"
    yield asks("cells", total, f"{total.shown} cannot be {several(series, 'cell')} {between}",
               f"which of the {which}, or the number of cells, is wrong?")


def _mass(asks: _Asker, row: BenchRow, bench: Bench) -> _Found:
    if row.module is None or not row.mass.known or row.module.mass.weakest in ("assumed",):
        return
    share = row.mass.number / row.module.mass.number
    if abs(share - 1) > MASS_TOLERANCE:
        yield asks("module", row.mass, f"{row.mass.shown} against {row.module.mass.shown} of its "
                   "type: another type of module?", "read its label again, count its cells; weigh "
                   "it bare, without brackets")


# --- the lot ---------------------------------------------------------------------------------

def _mixed(sheet: BenchSheet, types: tuple[ModuleType, ...]) -> list[Question]:
    """Modules of another chemistry than the lot, or of a type that the brief does not hold."""
    groups: dict[str, list[BenchRow]] = defaultdict(list)
    for row in sheet.rows:
        if row.module is not None:
            groups[row.module.chemistry].append(row)
    expected = {t.chemistry for t in types} or {max(groups, key=lambda c: len(groups[c]))} \
        if groups or types else set()
    found = []
    for chemistry, rows in groups.items():
        if chemistry in expected:
            continue
        others = ", ".join(sorted(expected))
        marks = ", ".join(r.mark for r in rows[:6]) + (" …" if len(rows) > 6 else "")
        for row in rows:
            wrong = f"is {chemistry} in a lot of {others}" + (
                f" (as are {marks})" if len(rows) > 1 else "")
            found.append(Question(sheet.fault(row, "module", wrong, "chemistries never share a "
                                              "group; put it into a sheet of its own"),
                                  row.mark, "module"))
    return [*found, *_of_no_brief(sheet, types)]


def _all_of_another(sheet: BenchSheet, of_type: list[Question]) -> bool:
    """Whether no row at all is of a type that the brief, or the lot, holds."""
    asked = {q.mark for q in of_type}
    return len(asked) > 1 and all(row.mark in asked for row in sheet.rows)


def _rewritten_marks(sheet: BenchSheet) -> list[Question]:
    """Marks that read as a day or a power of ten where most do not: a spreadsheet's own doing."""
    odd = [row for row in sheet.rows if LIKE_A_DAY.fullmatch(row.mark)]
    if 2 * len(odd) >= len(sheet.rows):
        return []
    return [Question(sheet.fault(row, "mark", "the mark reads as a day or a power of ten, unlike "
                                 "the others: did the spreadsheet rewrite it?", "set the column to "
                                 "text, and write what stands on the module"), row.mark, "mark")
            for row in odd]


def _of_no_brief(sheet: BenchSheet, types: tuple[ModuleType, ...]) -> list[Question]:
    """Modules of the right chemistry whose cells or capacity no type of the brief has."""
    found = []
    for row in sheet.rows:
        same = [t for t in types if row.module is not None and t.chemistry == row.module.chemistry]
        if row.module is not None and same and not any(_alike(row.module, t) for t in same):
            expected = " or ".join(t.title for t in same)
            found.append(Question(sheet.fault(row, "module", f"{row.module.title} is no module of "
                                              f"the brief ({expected})", "mend the label, or add "
                                              "[[modules]] to the brief"), row.mark, "module"))
    return found


def _alike(first: ModuleType, second: ModuleType) -> bool:
    return first.series == second.series and \
        abs(first.capacity.number / second.capacity.number - 1) < 0.01


def _unlike_the_lot(sheet: BenchSheet) -> list[Question]:
    """A voltage a cell far from the others of its chemistry: flat curve, count, or charge."""
    steep = [r for r in sheet.rows if _told(r, lambda c: c in STEEP)]
    flat = [r for r in sheet.rows if _told(r, lambda c: c == FLAT)]
    found = []
    for rows in (steep, flat):
        middle = statistics.median(map(_per_cell, rows)) if rows else 0.0
        for row in rows if len(rows) > 1 else ():
            if abs(_per_cell(row) - middle) > _likeness(row, middle):
                found += _far_from(sheet, row, middle, rows is steep)
    for row in flat:
        if _per_cell(row) > FLAT_TOP and _per_cell(row) <= row.module.full_voltage.number:
            found.append(_odd(sheet, row, "an LFP cell does not rest there; a steep-curve module, "
                              "or read straight after charge?"))
    return found


def _likeness(row: BenchRow, middle: float) -> float:
    """How far from the lot's middle is like it: less than half a cell more or less would make."""
    assert row.module is not None
    return min(LIKE_THE_LOT, middle / (2 * row.module.series))


def _far_from(sheet: BenchSheet, row: BenchRow, middle: float, steep: bool) -> list[Question]:
    if steep and FLAT_BAND[0] <= _per_cell(row) <= FLAT_BAND[1]:
        return [_odd(sheet, row, f"nearly empty, or a flat-curve (LFP) module? (middle of the lot "
                     f"{middle:.3f} V)")]
    if row.lowest_cell.known and row.highest_cell.known:
        return []  # the cells' own readings prove the count, or are asked about
    return [_odd(sheet, row, f"the middle of the lot is {middle:.3f} V: another number of cells "
                 "than its label says, or another charge?", "read lowest and highest cell on the "
                 "sense taps and count the taps: they prove how many cells it has")]


def _told(row: BenchRow, wanted: Callable[[str], bool]) -> bool:
    return row.module is not None and row.at_rest.voltage.known and wanted(row.module.chemistry)


def _per_cell(row: BenchRow) -> float:
    assert row.module is not None
    return row.at_rest.voltage.number / row.module.series


def _odd(sheet: BenchSheet, row: BenchRow, question: str,
         right: str = "read the label again; charge it a little and see whether the voltage moves"
         ) -> Question:
    assert row.module is not None
    rest = row.at_rest.voltage
    column = rest.origin.key if rest.origin else "rest_voltage"
    wrong = f"{_per_cell(row):.3f} V a cell in a lot of {row.module.chemistry}: {question}"
    return Question(sheet.fault(row, column, wrong, right), row.mark, "module")
