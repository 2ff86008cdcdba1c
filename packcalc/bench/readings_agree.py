"""Whether the dates of a row can be right, and its voltages agree with one another.

A mistyped year stretches a self-discharge test until a bad module looks sound, and a rest
voltage that is no longer true would steer the plan before joining.
"""

from __future__ import annotations

import datetime
import statistics
from collections.abc import Iterator

from packcalc.bench.sheet import BenchRow, BenchSheet, DatedVoltage
from packcalc.brief import Bench
from packcalc.findings import Finding
from packcalc.units import show

LONGEST = 366           # days: of a test, and of a reading's age (rule of the bench)
LIKE_BEFORE = 0.020     # V a cell between two rest voltages with nothing moved (rule of the bench)
READINGS = (("rest_date", "rest voltage"), ("first_date", "first voltage of the self-discharge "
            "test"), ("second_date", "second voltage of the self-discharge test"))


def days_between(first: str, second: str) -> float | None:
    """Days between two dates, or None where one is missing."""
    if not first or not second:
        return None
    start, end = (datetime.datetime.fromisoformat(day).replace(tzinfo=None)
                  for day in (first, second))
    return (end - start).total_seconds() / 86400.0


def _dates(row: BenchRow) -> dict[str, str]:
    first, second = row.selfdischarge
    return {"rest_date": row.rest_date, "first_date": first.date, "second_date": second.date}


def dates_of(sheet: BenchSheet) -> str:
    """The day about which a sheet's readings lie; empty where none is dated."""
    found = [day for row in sheet.rows for day in _dates(row).values() if day]
    return statistics.median_low(found) if found else ""


def odd_dates(row: BenchRow, issued: str, usual: str) -> Iterator[tuple[str, str, str]]:
    """Column, what is odd, what to do: behind the day of issue, too old, reversed, or too far
    apart.

    Args:
        row: with its dates.
        issued: the brief's date of issue; empty where nobody said.
        usual: day about which the sheet's readings lie, for a sheet without a date of issue.
    """
    held, name = (issued, "date of issue") if issued else (usual, "the sheet's other readings")
    dates = _dates(row)
    for column, title in READINGS:
        age = days_between(dates[column], held)
        if age is None:
            continue
        if issued and age < -1.0 + 1e-9:  # the whole day of issue still counts
            yield column, f"{dates[column]} lies behind the date of issue ({issued})", \
                "mend the date, here or in the brief"
        elif abs(age) > LONGEST:
            yield column, (f"{dates[column]} lies {abs(age):.0f} days from the {name} ({held}), "
                           f"more than {LONGEST}: a slip in the year, or is the {title} so old?"), \
                "mend the date, or read the voltage again"
    test = days_between(dates["first_date"], dates["second_date"])
    if test is not None and test < 0:
        yield "second_date", (f"the second reading ({dates['second_date']}) lies before the first "
                              f"({dates['first_date']}): nothing is told from the two"), \
            "are the two readings swapped, or is one date a slip?"
    if test is not None and test > LONGEST:
        yield "second_date", (f"{test:.0f} days between the two readings, more than {LONGEST}: a "
                              "slip in the year would hide a fast self-discharge"), \
            "mend the date, or repeat the test over some weeks"


def unlike_readings(row: BenchRow, bench: Bench) -> Iterator[tuple[Finding, str, str]]:
    """A rest voltage that another reading of the same module contradicts."""
    rest, module = row.rest_voltage, row.module
    if module is None or not rest.known:
        return
    slack = bench.voltmeter_error.number + module.series * LIKE_BEFORE
    for reading in row.selfdischarge:
        if not reading.voltage.known or _settled_after(reading.date, row.rest_date):
            continue
        if reading.voltage.number - rest.number > slack or _fell(row, reading.voltage, slack):
            yield (reading.voltage, f"{reading.voltage.shown}{_on(reading.date)} against a rest "
                   f"voltage of {rest.shown}{_on(row.rest_date)}, "
                   f"{show(abs(reading.voltage.number - rest.number), 'V')} apart: was it charged "
                   "or drained in between, or is one a slip?",
                   "the plan before joining counts on the latest by its date: mend the slip, or "
                   "write the last reading with its date as the rest voltage")
            return
    end = _may_precede(row)
    if end is not None and end.voltage.number - rest.number > bench.voltmeter_error.number:
        yield (rest, f"{rest.shown}{_on(row.rest_date)} lies "
               f"{show(end.voltage.number - rest.number, 'V')} below {end.voltage.shown}"
               f"{_on(end.date)}, the last reading of the self-discharge test, and one of the two "
               "has no date: was the rest voltage read after it, so that the module lost that by "
               "itself?", "date both: read before the test it tells no loss, read after it it does")
        return
    last = moved_after_test(row, bench)
    if last is not None and row.charged_or_drained not in ("yes", "no"):
        yield (rest, f"{rest.shown}{_on(row.rest_date)} against {last.voltage.shown}"
               f"{_on(last.date)}, the last reading of the self-discharge test, "
               f"{show(abs(last.voltage.number - rest.number), 'V')} apart: was it charged or "
               "drained in between?", "answer in the column charged_or_drained: yes, and the later "
               "voltage counts; no, and it lost that by itself")


def moved_after_test(row: BenchRow, bench: Bench) -> DatedVoltage | None:
    """The last reading of the test where the rest voltage, dated after it, is far from it."""
    last = last_before_rest(row)
    if row.module is None or last is None:
        return None
    slack = bench.voltmeter_error.number + row.module.series * LIKE_BEFORE
    return last if abs(last.voltage.number - row.rest_voltage.number) > slack else None


def last_before_rest(row: BenchRow) -> DatedVoltage | None:
    """The last reading of the self-discharge test where the rest voltage is dated after it."""
    dated = [r for r in row.selfdischarge if r.voltage.known and r.date]
    if not row.rest_voltage.known or not dated:
        return None
    last = max(dated, key=lambda r: r.date)
    return last if _settled_after(last.date, row.rest_date) else None


def _may_precede(row: BenchRow) -> DatedVoltage | None:
    """The last reading of the test where no dates tell whether the rest voltage came after it."""
    read = [r for r in row.selfdischarge if r.voltage.known]
    if not read:
        return None
    last = max(read, key=lambda r: r.date) if all(r.date for r in read) else read[-1]
    return last if days_between(last.date, row.rest_date) is None else None


def _settled_after(day: str, rest_day: str) -> bool:
    """Whether the rest voltage is the later of the two, so that it is the one that counts."""
    days = days_between(day, rest_day)
    return days is not None and days > 0


def _fell(row: BenchRow, voltage: Finding, slack: float) -> bool:
    """Whether a later reading lies far below; a fall within the test is self-discharge's matter."""
    first, second = row.selfdischarge
    within = voltage is second.voltage and first.voltage.known \
        and (days_between(first.date, second.date) or 0.0) > 0
    return not within and row.rest_voltage.number - voltage.number > slack


def _on(day: str) -> str:
    return f" on {day}" if day else ""
