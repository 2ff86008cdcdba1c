"""Both ends of what a reading may mean that cannot be brought to common conditions.

Such a reading ranks nowhere and passes nothing, but it was read: a module that is dealt all the
same never counts for better than what it may mean at its worst. What it carries beside others is
most with the least resistance that it may mean.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator

import numpy as np

from packcalc import cells
from packcalc.bench import common, rules
from packcalc.bench.sheet import BenchRow
from packcalc.brief import Bench
from packcalc.cells import CellClass, Law
from packcalc.errors import OutOfRange
from packcalc.findings import Finding
from packcalc.modules import ModuleType
from packcalc.value import replace


STEPS = 25  # of each condition that was not noted, over what is published


def least_capacity(row: BenchRow) -> float | None:
    """Least that a capacity as read may mean at 25 °C and C/5 [C]; None where none was read.

    Cold and fast readings count as they are, warm and slow ones are lowered along the same lines
    that correct others; beyond the range of those lines that is a guess on the safe side. What was
    not noted stands at the end of what a bench may have.
    """
    if not row.capacity.known:
        return None
    raw, temperature, rate = row.capacity.number, row.capacity_temperature, common.rate_of(row)
    warm = max(temperature.number if temperature.known else common.MOST_WARM,
               cells.REFERENCE_TEMPERATURE)
    slow = min(rate.number if rate.known else common.MOST_SLOW, rules.COMMON_RATE)
    at_25 = rules.capacity_at_25(raw, warm, common.capacity_slope().number)
    return float(rules.capacity_at_c5(at_25, slow, common.rate_exponent().number))


def most_resistance(row: BenchRow, bench: Bench) -> float | None:
    """Most that a resistance as read may mean at 25 °C, 10 s, 50 % charge [Ω]; None where unread.

    What was not noted is tried over every published ratio, the current at the least of a bench.
    Where a condition lies outside every published ratio, or may do so, it is no less than the line
    of rejection.
    """
    if not row.resistance.known or row.module is None:
        return None
    high = _off_by(row, _left_open(row, bench))
    found = list(_referred(high, row.module, max))
    if not found or _open_ratio(row):
        found += [bench.resistance_reject.number * row.module.resistance_high.number]
    return max(high.resistance.number, *found)


def least_resistance(row: BenchRow, bench: Bench) -> float | None:
    """Least that a resistance as read may mean at 25 °C, 10 s, 50 % charge [Ω]; None where unread.

    Never above the reading. What was not noted is tried over every published ratio, the current at
    the least of a bench. Where a condition lies outside every published ratio, or may do so, or
    the meter leaves the pulse's fall open, it may be that of the type new.
    """
    if not row.resistance.known or row.module is None:
        return None
    lost = common.FALL_LOST * row.resistance.number
    open_ = _left_open(row, bench)
    low = _off_by(row, -min(open_, lost))
    found = list(_referred(low, row.module, min))
    if not found or open_ >= lost or _below_every_ratio(row) or _open_ratio(row):
        found.append(row.module.resistance_low.number)
    return min(low.resistance.number, *found)


def _left_open(row: BenchRow, bench: Bench) -> float:
    """What the voltmeter leaves open of a resistance [Ω]; of an unnoted current the most."""
    current = row.resistance_current
    return bench.voltmeter_error.number / (current.number if current.known else common.LEAST_PULSE)


def _off_by(row: BenchRow, ohms: float) -> BenchRow:
    """The row with a resistance that was read so much off."""
    read = row.resistance
    return replace(row, resistance=replace(read, value=read.number + ohms))


def _below_every_ratio(row: BenchRow) -> bool:
    return row.resistance_charge.known and row.resistance_charge.number < common.LEAST_CHARGE


def _open_ratio(row: BenchRow) -> bool:
    """Whether a condition that a ratio is taken at was not noted."""
    return not all(f.known for f in (row.resistance_temperature, row.resistance_charge,
                                     row.resistance_pulse))


def _choices(cell: CellClass) -> tuple[tuple[float, ...], ...]:
    """Temperatures, charges and pulses at which the published ratios are least and largest.

    Ratios are straight between rows, so both ends stand at rows; of charges also where the law of
    temperature changes.
    """
    tried = ((*_ends(cell.temperature), *_ends(cell.temperature_low_charge)),
             (*_ends(cell.charge), cell.charge.lowest, cells.LOW_CHARGE), _ends(cell.pulse))
    return tuple(tuple(dict.fromkeys(one)) for one in tried)


def _ends(law: Law) -> tuple[float, ...]:
    """The rows of the least and of the largest ratio of a law."""
    return law.at[law.low.index(min(law.low))], law.at[law.high.index(max(law.high))]


def _referred(row: BenchRow, module: ModuleType, end: Callable[..., float]) -> Iterator[float]:
    """The reading at every condition that it may have had, each at one end of its band."""
    figures = (row.resistance_temperature, row.resistance_charge, row.resistance_pulse)
    for at in itertools.product(*(
            (figure,) if figure.known else tuple(replace(figure, value=v) for v in choices)
            for figure, choices in zip(figures, _choices(module.cell), strict=True))):
        tried = replace(row, resistance_temperature=at[0], resistance_charge=at[1],
                        resistance_pulse=at[2])
        try:
            yield end(common.referred(tried, module, side).number for side in ("high", "low"))
        except OutOfRange:
            continue


def surely_beyond_line(row: BenchRow, bench: Bench, reference: Finding) -> bool:
    """Whether a pulse that was not noted in full would be rejected at some value left out.

    The largest current tells its fall best, so that counts for one that was not noted.

    Args:
        row, bench: as read.
        reference: resistance of its type, which the line is drawn from.
    """
    if row.module is None or not row.resistance.known or not common.pulse_not_noted(row):
        return False
    read, current = row.resistance.number, row.resistance_current
    smallest, largest = _ratios(row, row.module)
    lower, upper = read / largest, read / smallest
    own = row.resistance_error
    relative = rules.combined_uncertainty(
        (own if own.known else bench.resistance_error).number,
        rules.rectangular_uncertainty(rules.band_half_width(lower, upper)),
        rules.rectangular_uncertainty(rules.fall_half_width(
            bench.voltmeter_error.number, current.number, read) if current.known else 0.0))
    least = rules.middle_of_band(lower, upper) * (1 - common.SURE * relative)
    return bool(np.any(least > bench.resistance_reject.number * reference.number))


def _ratios(row: BenchRow, module: ModuleType) -> tuple[np.ndarray, np.ndarray]:
    """Smallest and largest ratio at every condition that a reading may have had.

    Empty where a noted condition lies outside every published ratio.
    """
    cell = module.cell
    laws = (cell.temperature, cell.charge, cell.pulse)
    figures = (row.resistance_temperature, row.resistance_charge, row.resistance_pulse)
    at = np.meshgrid(*(np.array([f.number]) if f.known else _over(law)
                       for f, law in zip(figures, laws, strict=True)), indexing="ij")
    try:
        low, high = (np.prod([law.ratio(v, side) for law, v in zip(laws, at, strict=True)], axis=0)
                     for side in ("low", "high"))
        cold = cell.temperature_low_charge.ratio(at[0], "high") / laws[0].ratio(at[0], "high")
    except OutOfRange:
        return np.array([]), np.array([])
    return low, np.where(at[1] <= cells.LOW_CHARGE, high * cold, high)


def _over(law: Law) -> np.ndarray:
    """Values over a whole law, its rows and the reference among them."""
    least = max(law.lowest, common.LEAST_CHARGE) if law.name == "charge" else law.lowest
    steps = np.geomspace(least, law.highest, STEPS) if law.name == "pulse" \
        else np.linspace(least, law.highest, STEPS)
    rows = [at for at in law.at if least <= at <= law.highest]
    return np.unique([*steps.clip(least, law.highest), *rows])


def worse_than_line(row: BenchRow, quantity: str, bench: Bench) -> bool:
    """Whether a reading that is asked about lies beyond the line of rejection as it stands."""
    module = row.module
    figure: Finding = getattr(row, quantity)
    if module is None or not figure.known:
        return False
    if quantity == "capacity":
        return figure.number < bench.capacity_reject.number * module.capacity.number
    return figure.number > bench.resistance_reject.number * module.resistance_high.number
