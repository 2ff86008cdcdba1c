"""Screening: every series/parallel choice held against the brief in whole arrays.

Per-cell laws depend on P alone (through the charge left at the end of the peak), so they
are evaluated once for each P and spread over the rows. `pack` traces the same figures for
one layout; a test holds both against each other.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from typing import Any

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.braking import AtCharges, Braked, at_charges
from packcalc.brief import Brief, ModulesOnHand
from packcalc.layouts import CHECKS, Asks, Layout, Screened
from packcalc.mixes import SideBySide, most_capacity, stand_together
from packcalc.value import value_object

MOST_SERIES = 600      # 1500 V of single cells at 2.5 V
MOST_PARALLEL = 400
LONGEST_PULSE = 60.0   # s; the longest pulse that the cell tables cover
MEAN_POINTS = 20
MEAN_SHARES = (np.arange(MEAN_POINTS) + 0.5) / MEAN_POINTS
BLOCK = 250_000        # rows screened at once: bounds the memory
MOST_ROWS = 20_000_000  # rows screened in all: bounds the time
A_HAIR = 1e-6          # K
ROUNDED_KELVIN = 1e-6  # temperatures are given in whole degrees
FAR_OVER = 1.5         # two types in series are not tried this far over the absolute maximum


# --- what pack traces with the same numbers -------------------------------------------

def charge_edges(brief: Brief, asks: Asks, on_hand: list[ModulesOnHand]) -> list[Any]:
    """Cold edges of the charge-limit bands, kept between the coldest cells and the hottest.

    Within a band the limit is constant and resistance falls as cells warm, so braking is
    worst at the cold edge: resistance on the edge, limit a hair above it. Whoever may close the
    contactors may also brake: cells too cold for full power are charged all the same.
    """
    coldest = np.minimum(asks.coldest, brief.battery.coldest_closed.number)
    edges = sorted({band.above for o in on_hand for band in o.module.cell.charge_bands})
    return [coldest, *(np.clip(edge, coldest, asks.hottest) for edge in edges)]


def charge_limit(on_hand: ModulesOnHand, temperature: Any) -> Any:
    """Largest charging current of one module at its real capacity."""
    return el.limit_at_health(mod.charge_current_limit(on_hand.module, temperature),
                              on_hand.state_of_health.number)


def braking_limit(on_hand: ModulesOnHand, temperature: Any) -> Any:
    """The same where it caps a voltage: a weak module on the bench must not lower that."""
    return el.limit_at_health(mod.charge_current_limit(on_hand.module, temperature),
                              on_hand.stated_health.number)


def mean_voltage(on_hand: ModulesOnHand, low: Any, high: Any) -> Any:
    """Mean of the lowest open-circuit curve of one module between two charges."""
    points = low + np.multiply.outer(MEAN_SHARES, high - low)
    return np.mean(mod.ocv_low(on_hand.module, points), axis=0)


# --- one module's laws, and its limits ------------------------------------------------

@value_object
class _Laws:
    """One module's figures: one value, one for each row that differs, or one for each edge."""

    full: Any
    empty: float
    low: Any
    mean: Any
    whole_mean: float
    mass: float
    sag_voltage: np.ndarray
    sag_resistance: np.ndarray
    steady_resistance: Any
    braked: list[AtCharges]
    charge_limits: list[Any]
    braking_limits: list[Any]


def _laws(asks: Asks, on_hand: ModulesOnHand, left: np.ndarray, edges: list[Any]) -> _Laws:
    module, growth = on_hand.module, on_hand.resistance_growth.number
    left = np.maximum(left, 0.0)
    # All edges at once, each as many rows as what stands beside it.
    at_edges = np.stack(np.broadcast_arrays(*edges, asks.charge_ceiling)[:-1])
    warmer = (at_edges[1:] > at_edges[:-1]).reshape(len(edges) - 1, -1).any(axis=1)
    at_edges = at_edges[[True, *warmer]]  # edges below the coldest cells are the coldest again
    charging = list(charge_limit(on_hand, at_edges + A_HAIR))
    # Resistance falls as cells warm: where nothing limits the current, the coldest governs.
    looked_at = at_edges if asks.charge_limit_counts else at_edges[:1]
    as_stated = on_hand.stated_health.number == on_hand.state_of_health.number
    return _Laws(
        full=mod.ocv_high(module, asks.charge_ceiling),
        empty=module.series * module.empty_voltage.number,
        low=mod.ocv_low(module, asks.charge_lowest),
        mean=mean_voltage(on_hand, asks.charge_lowest, asks.charge_highest),
        whole_mean=mean_voltage(on_hand, 0.0, 1.0), mass=module.mass.number,
        sag_voltage=mod.ocv_low(module, left),
        sag_resistance=mod.resistance(module, asks.coldest, left, asks.peak_duration, growth),
        steady_resistance=mod.resistance(module, asks.coldest, asks.charge_lowest, LONGEST_PULSE,
                                         growth),
        braked=[at_charges(module, kelvin, asks.charge_ceiling, asks.charger_tolerance,
                           asks.regeneration_duration, growth) for kelvin in looked_at],
        charge_limits=charging,
        braking_limits=charging if as_stated else list(braking_limit(on_hand, at_edges + A_HAIR)),
    )


@value_object
class _Limits:
    """What the weakest module of a row bears; NaN where nobody said."""

    peak: float
    continuous: float
    charging: Any
    coldest: float
    hottest: float


def _limits(on_hand: list[ModulesOnHand], laws: list[_Laws]) -> _Limits:
    def weakest(limit_of) -> float:
        known = [np.nan if limit_of(o.module) is None else limit_of(o.module) for o in on_hand]
        return float(np.min([el.limit_at_health(limit, o.state_of_health.number)
                             for limit, o in zip(known, on_hand, strict=True)]))

    return _Limits(
        peak=weakest(mod.peak_current_limit), continuous=weakest(mod.continuous_current_limit),
        charging=functools.reduce(np.maximum, (_weakest(laws, i) for i in
                                               range(len(laws[0].charge_limits)))),
        coldest=max(o.module.temperature_min.number for o in on_hand),
        hottest=min(o.module.temperature_max.number for o in on_hand))


def _weakest(laws: list[_Laws], edge: int) -> Any:
    """Charge limit of the weaker module from one edge."""
    return functools.reduce(np.minimum, (w.charge_limits[edge] for w in laws))


def _braking_cap(laws: list[_Laws], edge: int) -> Any:
    """The same where it caps the voltage while braking."""
    return functools.reduce(np.minimum, (w.braking_limits[edge] for w in laws))


# --- which rows -----------------------------------------------------------------------

def blocks(brief: Brief, entries: tuple[int, ...], asks: Asks, most_series: int = MOST_SERIES,
           most_parallel: int = MOST_PARALLEL) -> Iterator[Screened]:
    """Screen every layout of one module type, or of two in series, a block at a time.

    Args:
        brief: what is asked and on hand.
        entries: one or two indices into `brief.modules`.
        asks: `asks_of(brief)`.
        most_series, most_parallel: ends of the grid.

    Yields:
        Screened: rows that the counts and the brief's arrangement allow; one row stands
        for both arrangements where P = 1.
    """
    series, tops = _reach(brief, asks, entries, most_series)
    tops = np.minimum(tops, most_parallel)
    for chunk in _chunks(tops):
        rows = _of_both(brief, _Rows(entries, *_grid(brief, series[chunk], tops[chunk])))
        if not len(rows.parallel):
            continue
        occurring = np.flatnonzero(np.bincount(rows.parallel))
        yield _screen(brief, asks, rows, occurring, np.searchsorted(occurring, rows.parallel))


@value_object
class Ends:
    """Where the grid ends.

    Attributes:
        series, parallel: most modules in series and in parallel that are tried.
        told: what is left out although the modules on hand would allow it, in words.
    """

    series: int
    parallel: int
    told: tuple[str, ...] = ()


def grid_ends(brief: Brief, tried: list[tuple[int, ...]], asks: Asks,
              most_series: int = MOST_SERIES, most_parallel: int = MOST_PARALLEL) -> Ends:
    """The ends of the grid: lowered in parallel until no more than `MOST_ROWS` are tried.

    Args:
        brief, asks: as for `blocks`.
        tried: every choice of entries.
        most_series, most_parallel: ends of the grid that are never passed.
    """
    count = np.zeros(most_parallel + 1, dtype=np.int64)  # series choices by their largest P
    largest, long = 0, False
    for entries in tried:
        series, tops = _reach(brief, asks, entries, most_series)
        count += np.bincount(np.minimum(tops, most_parallel), minlength=most_parallel + 1)
        on_hand = [brief.modules[i] for i in entries]
        stock = max(int(o.count.number) for o in on_hand)
        if stock > most_parallel or largest:
            fit = tops[_within_reach(asks, on_hand, series)]
            largest = max(largest, int(fit.max(initial=0)))
        long = long or (stock > most_series and len(on_hand) == 1 and most_series * float(
            mod.ocv_high(on_hand[0].module, asks.charge_ceiling)) < asks.absolute_maximum)
    parallel, tops = most_parallel, np.arange(most_parallel + 1)
    while parallel > 1 and 2 * int(count @ np.minimum(tops, parallel)) > MOST_ROWS:
        parallel -= 1
    told = []
    if parallel < most_parallel:
        told.append(f"more than {parallel} modules in parallel: not tried, because that would make "
                    f"over {MOST_ROWS // 10**6} million layouts; give fewer types or lower counts")
    elif largest > parallel:
        told.append(f"more than {parallel} modules in parallel: not tried, although the counts "
                    "allow it")
    if long:
        told.append(f"more than {most_series} modules in series: not tried, although the counts "
                    "and the voltage allow it")
    return Ends(most_series, parallel, tuple(told))


def screen_one(brief: Brief, asks: Asks, layout: Layout, trials: int = 1) -> Screened:
    """One layout as a screened row, or as several rows.

    Args:
        brief: what is on hand.
        asks: what is asked; a field with an array holds one value a row.
        layout: the layout.
        trials: how many rows.
    """
    rows = _Rows(tuple(part.entry for part in layout.parts),
                 np.tile([float(part.series) for part in layout.parts], (trials, 1)),
                 np.full(trials, layout.parallel),
                 np.full(trials, layout.arrangement == "strings"))
    return _screen(brief, asks, rows, rows.parallel, np.arange(trials))


def _reach(brief: Brief, asks: Asks, entries: tuple[int, ...],
           most_series: int) -> tuple[np.ndarray, np.ndarray]:
    """Every choice of S, and the largest P that the counts allow it."""
    on_hand = [brief.modules[i] for i in entries]
    counts = [int(o.count.number) for o in on_hand]
    axes = np.meshgrid(*[np.arange(1, min(c, most_series) + 1) for c in counts], indexing="ij")
    series = np.stack([axis.ravel() for axis in axes], axis=1)
    if len(on_hand) > 1:
        series = series[_within_reach(asks, on_hand, series)]
    return series, np.min(np.array(counts) // series, axis=1)


def _chunks(tops: np.ndarray) -> Iterator[slice]:
    """Runs of series choices that make about a block of rows, both arrangements counted."""
    which = (2 * np.cumsum(tops)) // BLOCK
    edges = [0, *(np.flatnonzero(np.diff(which)) + 1), len(tops)]
    for start, end in zip(edges, edges[1:]):
        if start < end:
            yield slice(int(start), int(end))


def _grid(brief: Brief, series: np.ndarray,
          tops: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """All (S…, P, arrangement) of some series choices, as flat arrays."""
    starts = np.cumsum(tops) - tops
    parallel = np.arange(tops.sum()) - np.repeat(starts, tops) + 1
    series = np.repeat(series, tops, axis=0)
    several = parallel > 1
    grouped = np.flatnonzero(~several) if brief.arrangement == "strings" else slice(None)
    strings = np.flatnonzero(several) if brief.arrangement != "grouped" else slice(0)
    return (np.concatenate([series[grouped], series[strings]]),
            np.concatenate([parallel[grouped], parallel[strings]]),
            np.repeat([False, True], [len(parallel[grouped]), len(parallel[strings])]))


def _within_reach(asks: Asks, on_hand: list[ModulesOnHand], series: np.ndarray) -> np.ndarray:
    """Pairs that could come near: full they reach the bus, and are not far over its maximum."""
    full = sum(series[:, i] * float(mod.ocv_high(o.module, asks.charge_highest))
               for i, o in enumerate(on_hand))
    return (full >= asks.demand_voltage) & (full <= FAR_OVER * asks.absolute_maximum)


# --- the rows -------------------------------------------------------------------------

@value_object
class _Rows:
    """Which layouts stand in the rows."""

    entries: tuple[int, ...]
    series: np.ndarray
    parallel: np.ndarray
    strings: np.ndarray


def _of_both(brief: Brief, rows: _Rows) -> _Rows:
    """The rows in which two types side by side stand beside each other all along."""
    if len(rows.entries) > 1 or not isinstance(brief.modules[rows.entries[0]], SideBySide):
        return rows
    kept = stand_together(brief.modules[rows.entries[0]], rows.series[:, 0], rows.parallel,
                          rows.strings)
    return _Rows(rows.entries, rows.series[kept], rows.parallel[kept], rows.strings[kept])


def _screen(brief: Brief, asks: Asks, rows: _Rows, parallels: np.ndarray,
            at: np.ndarray) -> Screened:
    """Evaluate rows; the charge left hangs on P: `parallels[at]` is the P of each row."""
    on_hand = [brief.modules[i] for i in rows.entries]
    module_capacity = min(el.pack_capacity(1, o.module.capacity.number, o.state_of_health.number)
                          for o in on_hand)
    left = el.charge_left(asks.charge_lowest, asks.peak_drawn, asks.peak_duration,
                          asks.peak_voltage, parallels * module_capacity)
    edges = charge_edges(brief, asks, on_hand)
    laws = [_laws(asks, o, left, edges) for o in on_hand]
    used = rows.series.sum(axis=1) * rows.parallel
    evaluation = _Evaluation(asks, laws, rows, at)
    columns = evaluation.columns(left, module_capacity, [most_capacity(o, used) for o in on_hand])
    margins = _margins(asks, _limits(on_hand, laws), columns, evaluation.parallel)
    return Screened(rows.entries, rows.series, rows.parallel, rows.strings, columns, margins)


class _Evaluation:
    """Sums over the parts, and the resistance of each row."""

    def __init__(self, asks: Asks, laws: list[_Laws], rows: _Rows, at: np.ndarray):
        self.asks, self.laws, self.at = asks, laws, at
        self.series, self.parallel = rows.series.astype(float), rows.parallel.astype(float)
        steps = self.series.sum(axis=1)
        grouped = el.grouped_path(steps, asks.link, asks.fuse, asks.contactor) + asks.string_cables
        self.path, self.fewest_path = (asks.cables + asks.contacts + np.where(
            rows.strings, el.strings_path(steps, inside, asks.link, asks.fuse, asks.contactor)
            + asks.string_cables / inside, grouped) for inside in (self.parallel, 1.0))
        # Of parallel strings one may be in alone.
        self.fewest = np.where(rows.strings, 1.0, self.parallel)

    def total(self, per_module: list[Any]) -> np.ndarray:
        """Sum over the parts of S times one figure."""
        return sum(self.series[:, i] * figure for i, figure in enumerate(per_module))

    def named(self, name: str) -> np.ndarray:
        """Sum over the parts of S times one figure of the laws."""
        return self.total([getattr(w, name) for w in self.laws])

    def resistance(self, per_module: list[Any]) -> np.ndarray:
        """Modules, path and cables."""
        return self.total(per_module) / self.parallel + self.path

    def columns(self, left: np.ndarray, module_capacity: float,
                most_capacities: list[Any]) -> dict[str, np.ndarray]:
        """Every figure of every row, in SI; stored energy goes by the most there can be.

        What can be used ends with the weaker type of a string; full, each stores its own.
        """
        asks = self.asks
        full = el.with_tolerance(self.named("full"), asks.charger_tolerance)
        braking = self._braking(full)
        sag = self.total([w.sag_voltage[self.at] for w in self.laws])
        resistance = self.resistance([w.sag_resistance[self.at] for w in self.laws])
        steady = self.resistance([w.steady_resistance for w in self.laws])
        current = el.constant_power_current(sag, resistance, asks.peak_drawn)
        low, mean = self.named("low"), self.named("mean")
        capacity = self.parallel * module_capacity
        most = self.parallel * functools.reduce(np.minimum, most_capacities)
        stored = self.total([w.whole_mean * each
                             for w, each in zip(self.laws, most_capacities, strict=True)])
        return {
            "highest_voltage": np.maximum(full, braking), "full_voltage": full,
            "regeneration_voltage": braking, "mean_voltage": mean,
            "loaded_voltage": el.loaded_voltage(sag, current, resistance),
            "bus_short": np.fmax(asks.demand_voltage - sag, 0.0),
            "peak_current": current, "charge_left": left[self.at],
            "available_power": el.available_power(asks.demand_voltage, sag, resistance),
            "continuous_power": el.available_power(asks.voltage_low, low, steady),
            "usable_energy": el.energy_between(capacity, asks.charge_highest,
                                               asks.charge_lowest, mean),
            "most_usable_energy": el.energy_between(most, asks.charge_highest,
                                                    asks.charge_lowest, mean),
            "total_energy": el.energy_between(self.parallel, 1.0, 0.0, stored),
            "capacity": capacity, "mass": self.named("mass") * self.parallel,
            "empty_voltage": self.named("empty"),
            "charging_current": np.fmax(el.power_current(asks.charging, low), asks.station),
        }

    def _braking(self, start: np.ndarray) -> np.ndarray:
        """Highest voltage while braking into a pack at any charge up to the ceiling.

        A string may be alone in, and the inverter may be told the charge limit of all.

        Args:
            start: voltage at the ceiling, which braking never lowers.
        """
        asks, highest, rows = self.asks, start.copy(), np.arange(len(start))
        power = np.broadcast_to(asks.regeneration, start.shape)
        for i in range(len(self.laws[0].braked)):
            braked = Braked(tuple(w.braked[i] for w in self.laws), tuple(self.series.T),
                            self.fewest, self.fewest_path).of(rows)
            limit = (_braking_cap(self.laws, i) * self.parallel)[rows]
            voltage, held = braked.within(power[rows], limit if asks.charge_limit_counts else None)
            highest[rows] = np.maximum(highest[rows], voltage)
            rows = rows[held]  # at the whole power the coldest edge is the worst
        if np.isfinite(asks.regeneration_limit):
            highest = np.minimum(highest, np.maximum(asks.regeneration_limit, start))
        return highest


def _margins(asks: Asks, limits: _Limits, c: dict[str, np.ndarray], p: np.ndarray):
    """Relative margin of each check; see `Screened`."""
    # Where no current carries the power, the power short stands for the voltage short; where
    # nothing is left at that voltage, the volts short at rest come on top.
    sag = np.where(np.isfinite(c["loaded_voltage"]), c["loaded_voltage"] / asks.demand_voltage,
                   np.minimum(c["available_power"] / asks.peak_drawn, 1.0 - 2e-9)
                   - c["bus_short"] / asks.demand_voltage) - 1.0
    peak = el.power_current(asks.peak_drawn, asks.peak_voltage)
    drawn = peak * asks.peak_duration / c["capacity"]
    outside = np.maximum(limits.coldest - asks.coldest, asks.hottest - limits.hottest)
    margins = {
        "highest_voltage": 1.0 - c["highest_voltage"] / asks.absolute_maximum,
        "full_charge": 1.0 - c["full_voltage"] / asks.voltage_high,
        "temperature_window": np.where(outside <= ROUNDED_KELVIN, np.inf, -outside / 100.0),
        "charge_left": asks.charge_lowest / drawn - 1.0,
        "loaded_voltage": sag,
        "continuous_power": c["continuous_power"] / asks.continuous_drawn - 1.0,
        "peak_current": p * limits.peak / peak - 1.0,
        "continuous_current": p * limits.continuous / el.power_current(asks.continuous_drawn,
                                                                       asks.voltage_low) - 1.0,
        "charging_current": p * limits.charging / c["charging_current"] - 1.0,
        "energy_least": c["usable_energy"] / asks.energy_least - 1.0,
        "energy_most": 1.0 - c["most_usable_energy"] / asks.energy_most,
        "mass": 1.0 - c["mass"] / asks.mass_most,
        "charger_window": np.minimum(1.0 - c["full_voltage"] / asks.charger_high,
                                     c["empty_voltage"] / asks.charger_low - 1.0),
    }
    return {name: np.broadcast_to(margins[name], p.shape) for name, _ in CHECKS}
