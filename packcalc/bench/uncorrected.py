"""Both ends of what a reading may mean that cannot be brought to common conditions.

Such a reading ranks nowhere and passes nothing, but it was read: a module that is dealt all the
same never counts for better than what it may mean at its worst. What it carries beside others is
most with the least resistance that it may mean.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator

from packcalc import cells
from packcalc.bench import common, rules
from packcalc.bench.sheet import BenchRow
from packcalc.brief import Bench
from packcalc.errors import OutOfRange
from packcalc.findings import Finding
from packcalc.modules import ModuleType
from packcalc.value import replace

# What a bench may have had where nobody noted it (our rule): 15 to 35 °C as at the capacity test,
# 20 to 90 % charge, a pulse of 1 to 30 s.
CHARGES = (0.20, 0.50, 0.90)
PULSES = (1.0, 10.0, 30.0)


def least_capacity(row: BenchRow) -> float | None:
    """Least that a capacity as read may mean at 25 °C and C/5 [C]; None where none was read.

    Cold and fast readings count as they are, warm and slow ones are lowered along the same lines
    that correct others; beyond the range of those lines that is a guess on the safe side.
    """
    if not row.capacity.known:
        return None
    raw, temperature, rate = row.capacity.number, row.capacity_temperature, common.rate_of(row)
    warm = max(temperature.number if temperature.known else common.HOTTEST,
               cells.REFERENCE_TEMPERATURE)
    slow = min(rate.number if rate.known else common.SLOWEST, rules.COMMON_RATE)
    at_25 = rules.capacity_at_25(raw, warm, common.capacity_slope().number)
    return float(rules.capacity_at_c5(at_25, slow, common.rate_exponent().number))


def most_resistance(row: BenchRow, bench: Bench) -> float | None:
    """Most that a resistance as read may mean at 25 °C, 10 s, 50 % charge [Ω]; None where unread.

    What was not noted is tried over what a bench may have, the current down to the least that a
    reading may be taken with. Where a noted condition lies outside every published ratio, it is no
    less than the line of rejection.
    """
    if not row.resistance.known or row.module is None:
        return None
    high = _off_by(row, _left_open(row, bench))
    found = list(_referred(high, row.module, max))
    if not found:
        found = [bench.resistance_reject.number * row.module.resistance_high.number]
    return max(high.resistance.number, *found)


def least_resistance(row: BenchRow, bench: Bench) -> float | None:
    """Least that a resistance as read may mean at 25 °C, 10 s, 50 % charge [Ω]; None where unread.

    Never above the reading. What was not noted is tried over what a bench may have, the current
    down to the least that a reading may be taken with. Where a noted condition lies outside every
    published ratio, or the meter leaves the pulse's fall open, it may be that of the type new.
    """
    if not row.resistance.known or row.module is None:
        return None
    lost = common.FALL_LOST * row.resistance.number
    open_ = _left_open(row, bench)
    low = _off_by(row, -min(open_, lost))
    found = list(_referred(low, row.module, min))
    if not found or open_ >= lost or _below_every_ratio(row):
        found.append(row.module.resistance_low.number)
    return min(low.resistance.number, *found)


def _left_open(row: BenchRow, bench: Bench) -> float:
    """What the voltmeter leaves open of a resistance [Ω]; of an unnoted current the most.

    With less current than that the fall says nothing, see `common.FALL_LOST`.
    """
    if row.resistance_current.known:
        return bench.voltmeter_error.number / row.resistance_current.number
    return common.FALL_LOST * row.resistance.number


def _off_by(row: BenchRow, ohms: float) -> BenchRow:
    """The row with a resistance that was read so much off."""
    read = row.resistance
    return replace(row, resistance=replace(read, value=read.number + ohms))


def _below_every_ratio(row: BenchRow) -> bool:
    return row.resistance_charge.known and row.resistance_charge.number < common.LEAST_CHARGE


def _referred(row: BenchRow, module: ModuleType, end: Callable[..., float]) -> Iterator[float]:
    """The reading at every condition that it may have had, each at one end of its band."""
    for at in itertools.product(*(
            (figure,) if figure.known else tuple(replace(figure, value=v) for v in choices)
            for figure, choices in ((row.resistance_temperature, common.TEMPERATURES),
                                    (row.resistance_charge, CHARGES),
                                    (row.resistance_pulse, PULSES)))):
        tried = replace(row, resistance_temperature=at[0], resistance_charge=at[1],
                        resistance_pulse=at[2])
        try:
            yield end(common.referred(tried, module, side).number for side in ("high", "low"))
        except OutOfRange:
            continue


def worse_than_line(row: BenchRow, quantity: str, bench: Bench) -> bool:
    """Whether a reading that is asked about lies beyond the line of rejection as it stands."""
    module = row.module
    figure: Finding = getattr(row, quantity)
    if module is None or not figure.known:
        return False
    if quantity == "capacity":
        return figure.number < bench.capacity_reject.number * module.capacity.number
    return figure.number > bench.resistance_reject.number * module.resistance_high.number
