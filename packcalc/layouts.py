"""Candidate layouts: every series/parallel choice screened at its corners in whole arrays.

One module type is screened as a grid of S down and P across; a pair of types in series
as a list of (S_1, S_2). Per-cell laws depend on P alone (through the charge left at the
end of the peak), so they are evaluated on P and broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.brief import Brief, ModulesOnHand

ARRANGEMENTS = ("grouped", "strings")
MOST_SERIES = 400
MOST_PARALLEL = 400
LONGEST_PULSE = 60.0  # s; the longest pulse that the cell tables cover

# 35 mm² class 5 copper at 90 °C: 0.554 Ω/km at 20 °C (IEC 60228) times (234.5+90)/(234.5+20).
CABLE_ALLOWANCE = 0.554e-3 * (234.5 + 90.0) / (234.5 + 20.0)


@dataclass(frozen=True)
class Part:
    """A run of equal modules inside every string: which `[[modules]]` entry, how many."""

    entry: int
    series: int


@dataclass(frozen=True)
class Layout:
    """One series/parallel choice.

    Attributes:
        parts: one part, or two for two types in series.
        parallel: P.
        arrangement: "grouped" or "strings".
    """

    parts: tuple[Part, ...]
    parallel: int
    arrangement: str

    @property
    def series(self) -> int:
        return sum(part.series for part in self.parts)

    @property
    def label(self) -> str:
        """Module notation, e.g. "16S2P" or "10S+6S2P" for two types."""
        return "+".join(f"{p.series}S" for p in self.parts) + f"{self.parallel}P"

    def cells(self, brief: Brief) -> str:
        """Cell notation, e.g. "96s148p"; the second figure is left out where unknown."""
        def one(part: Part) -> str:
            module = brief.modules[part.entry].module
            inner = module.parallel
            tail = f"{inner * self.parallel}p" if inner else f"{self.parallel}p"
            return f"{part.series * module.series}s{tail}"
        return "+".join(one(part) for part in self.parts)


@dataclass(frozen=True)
class Asks:
    """The brief's demands as plain SI floats; NaN where nothing is asked."""

    voltage_low: float
    voltage_high: float
    absolute_maximum: float
    demand_voltage: float
    peak: float
    peak_duration: float
    continuous: float
    regeneration: float
    regeneration_duration: float
    regeneration_limit: float
    follows_charge_limit: bool
    charger_tolerance: float
    charger_low: float
    charger_high: float
    energy_least: float
    energy_most: float
    charge_lowest: float
    charge_highest: float
    coldest: float
    hottest: float
    mass_most: float
    link: float
    fuse: float
    contactor: float
    cables: float


def asks_of(brief: Brief) -> Asks:
    """Strip the brief's findings to floats for screening."""
    def number(finding) -> float:
        return np.nan if finding.value is None else finding.value

    b, inv, bat = brief, brief.inverter, brief.battery
    return Asks(
        inv.voltage_low.number, inv.voltage_high.number, inv.absolute_maximum.number,
        max(inv.voltage_low.number, inv.full_power_from.number),
        b.power.peak.number, b.power.peak_duration.number, b.power.continuous.number,
        b.regeneration.power.number, b.regeneration.duration.number,
        number(b.regeneration.voltage_limit), b.regeneration.follows_charge_limit == "yes",
        b.charger.tolerance.number, number(b.charger.voltage_low), number(b.charger.voltage_high),
        number(bat.energy_least), number(bat.energy_most), bat.charge_lowest.number,
        bat.charge_highest.number, bat.coldest_start.number, bat.hottest.number,
        number(bat.mass_most), b.path.link_resistance.number, b.path.fuse_resistance.number,
        b.path.contactor_resistance.number, cable_loop(brief),
    )


def cable_loop(brief: Brief) -> float:
    """Loop resistance allowed for all traction routes."""
    lengths = [r.length.number for r in brief.cables.route if r.carries == "traction"]
    return float(el.cable_allowance(sum(lengths), CABLE_ALLOWANCE))


# Name of each check, what it asks in words; the order is the order of the checks.
CHECKS = (
    ("highest_voltage", "highest working voltage at most the inverter's absolute maximum"),
    ("full_charge", "full-charge voltage at most the highest operating voltage"),
    ("charge_left", "charge left at the end of the peak"),
    ("loaded_voltage", "loaded voltage at least what full power needs"),
    ("continuous_power", "continuous power with the bus at its lower limit"),
    ("peak_current", "peak current within the module's limit"),
    ("continuous_current", "continuous current within the module's limit"),
    ("energy_least", "usable energy at least the target"),
    ("energy_most", "usable energy at most the target"),
    ("mass", "mass of the modules within the limit"),
    ("charger_window", "charger covers empty to full"),
)


@dataclass
class Screened:
    """Layouts as columns of equal length; `margin[name]` is relative, negative fails.

    A margin of NaN means not asked or not evaluated.
    """

    entry: tuple[int, ...]
    series: np.ndarray          # (n, parts)
    parallel: np.ndarray        # (n,)
    strings: np.ndarray         # bool (n,)
    columns: dict[str, np.ndarray]
    margins: dict[str, np.ndarray]

    def take(self, index: np.ndarray) -> "Screened":
        return Screened(self.entry, self.series[index], self.parallel[index],
                        self.strings[index], {k: v[index] for k, v in self.columns.items()},
                        {k: v[index] for k, v in self.margins.items()})

    def layout(self, i: int) -> Layout:
        parts = tuple(Part(e, int(s)) for e, s in zip(self.entry, self.series[i], strict=True))
        return Layout(parts, int(self.parallel[i]), "strings" if self.strings[i] else "grouped")

    def __len__(self) -> int:
        return len(self.parallel)

    @property
    def smallest_margin(self) -> np.ndarray:
        """The worst margin of each layout; NaN counts as not asked."""
        stacked = np.array([np.nan_to_num(m, nan=np.inf) for m in self.margins.values()])
        return stacked.min(axis=0)

    @property
    def failures(self) -> np.ndarray:
        """How many checks fail in each layout."""
        return sum((m < 0).astype(np.int16) for m in self.margins.values())


@dataclass(frozen=True)
class _CellLaws:
    """One module type's laws on the vector of P; `_of(P)` are arrays over P."""

    full: float
    empty: float
    rest_full: float
    sag_voltage: np.ndarray
    sag_resistance: np.ndarray
    low_voltage: float
    low_resistance: float
    cold_full_voltage: float
    cold_charge_resistances: np.ndarray
    charge_limits: np.ndarray
    mean_voltage: float
    mass: float


def running_temperature(asks: Asks) -> float:
    """Cells in continuous running: warmed to 25 °C by their own losses, no hotter."""
    return max(asks.coldest, min(asks.hottest, 298.15))


def charge_temperatures(coldest: float) -> np.ndarray:
    """Temperatures at which braking into a full pack is looked at: each band's cold edge."""
    edges = np.array([273.15, 278.15, 288.15, 298.15])
    return np.concatenate(([coldest], edges[edges > coldest]))


def full_voltage_of(on_hand: ModulesOnHand, top: float) -> float:
    """Voltage of one module where charging ends: its limit, or the rest voltage there."""
    module = on_hand.module
    limit = module.series * module.full_voltage.number
    if top >= 1.0:
        return limit
    return min(limit, float(mod.ocv_high(module, top)))


def _laws(asks: Asks, on_hand: ModulesOnHand, left: np.ndarray) -> _CellLaws:
    module, growth = on_hand.module, on_hand.resistance_growth.number
    temperatures = charge_temperatures(asks.coldest)
    usable = np.linspace(asks.charge_lowest, asks.charge_highest, 19)
    n = module.series
    return _CellLaws(
        full=full_voltage_of(on_hand, asks.charge_highest), empty=n * module.empty_voltage.number,
        rest_full=float(mod.ocv_high(module, asks.charge_highest)),
        sag_voltage=mod.ocv_low(module, np.maximum(left, 0.0)),
        sag_resistance=mod.resistance(module, asks.coldest, np.maximum(left, 0.0),
                                      asks.peak_duration, growth),
        low_voltage=float(mod.ocv_low(module, asks.charge_lowest)),
        low_resistance=float(mod.resistance(module, running_temperature(asks),
                                            asks.charge_lowest, LONGEST_PULSE, growth)),
        cold_full_voltage=float(mod.ocv_high(module, asks.charge_highest)),
        cold_charge_resistances=np.array([
            float(mod.resistance(module, t, asks.charge_highest, asks.regeneration_duration,
                                 growth)) for t in temperatures]),
        charge_limits=np.array([float(mod.charge_current_limit(module, t))
                                for t in temperatures]),
        mean_voltage=float(np.mean(mod.ocv_low(module, usable))),
        mass=module.mass.number,
    )


def screen(brief: Brief, entries: tuple[int, ...], asks: Asks | None = None,
           most_series: int = MOST_SERIES, most_parallel: int = MOST_PARALLEL) -> Screened:
    """Screen every layout of one module type, or of two types in series.

    Args:
        brief: what is asked and on hand.
        entries: one or two indices into `brief.modules`.
        asks: `asks_of(brief)`, when it is at hand already.
        most_series, most_parallel: ends of the grid.

    Returns:
        Screened: every layout that the count allows, both arrangements (one row where
        P = 1, where both are the same).
    """
    counts = [int(brief.modules[i].count.number) for i in entries]
    return _screen(brief, asks or asks_of(brief), entries,
                   *_grid(counts, most_series, most_parallel))


def screen_one(brief: Brief, asks: Asks, layout: Layout) -> Screened:
    """One layout as a screened row, e.g. to try another temperature or power."""
    series = np.array([[part.series for part in layout.parts]])
    return _screen(brief, asks, tuple(part.entry for part in layout.parts), series,
                   np.array([layout.parallel]), np.array([layout.arrangement == "strings"]))


def _screen(brief: Brief, asks: Asks, entries, series, parallel, strings) -> Screened:
    on_hand = [brief.modules[i] for i in entries]
    ps, at = np.unique(parallel, return_inverse=True)
    q_module = min(o.module.capacity.number * o.state_of_health.number for o in on_hand)
    left = el.charge_left(asks.charge_lowest, asks.peak, asks.peak_duration,
                          asks.demand_voltage, ps * q_module)
    laws = [_laws(asks, o, left) for o in on_hand]
    return _evaluate(asks, entries, on_hand, laws, series, parallel, strings, at, left, q_module)


def _grid(counts: list[int], most_series: int, most_parallel: int):
    """All (S…, P, arrangement) that the counts allow, as flat arrays."""
    tops = [min(c, most_series) for c in counts]
    p = np.arange(1, min(min(counts), most_parallel) + 1)
    axes = np.meshgrid(*[np.arange(1, t + 1) for t in tops], p, indexing="ij")
    flat = [a.ravel() for a in axes]
    fits = np.ones(flat[0].shape, dtype=bool)
    for s, c in zip(flat[:-1], counts, strict=True):
        fits &= s * flat[-1] <= c
    series = np.stack([s[fits] for s in flat[:-1]], axis=1)
    parallel = flat[-1][fits]
    several = parallel > 1
    series = np.concatenate([series, series[several]])
    strings = np.concatenate([np.zeros(len(parallel), bool), np.ones(several.sum(), bool)])
    return series, np.concatenate([parallel, parallel[several]]), strings


def _evaluate(asks, entries, on_hand, laws, series, parallel, strings, at, left, q_module) -> Screened:
    s = series.astype(float)
    p = parallel.astype(float)

    def total(values) -> np.ndarray:
        return sum(s[:, i] * value for i, value in enumerate(values))

    steps = s.sum(axis=1)
    path = np.where(strings, el.strings_path(steps, p, asks.link, asks.fuse, asks.contactor),
                    el.grouped_path(steps, asks.link, asks.fuse, asks.contactor)) + asks.cables
    full = el.with_tolerance(total([w.full for w in laws]), asks.charger_tolerance)
    regen = _regeneration(asks, total, laws, p, path)
    highest = np.maximum(full, regen)
    e_sag = total([w.sag_voltage[at] for w in laws])
    r_sag = total([w.sag_resistance[at] for w in laws]) / p + path
    current = el.constant_power_current(e_sag, r_sag, asks.peak)
    loaded = el.loaded_voltage(e_sag, current, r_sag)
    available = el.available_power(asks.demand_voltage, e_sag, r_sag)
    e_low = total([w.low_voltage for w in laws])
    r_low = total([w.low_resistance for w in laws]) / p + path
    continuous_available = el.available_power(asks.voltage_low, e_low, r_low)
    mean = total([w.mean_voltage for w in laws])
    capacity = p * q_module
    usable = el.energy_between(capacity, asks.charge_highest, asks.charge_lowest, mean)
    columns = {
        "highest_voltage": highest, "full_voltage": full, "regeneration_voltage": regen,
        "mean_voltage": mean, "loaded_voltage": loaded, "peak_current": current,
        "charge_left": left[at], "available_power": available,
        "continuous_power": continuous_available, "usable_energy": usable,
        "total_energy": capacity * mean, "capacity": capacity,
        "mass": total([w.mass for w in laws]) * p,
        "empty_voltage": total([w.empty for w in laws]),
        "rest_full": total([w.rest_full for w in laws]),
    }
    margins = _margins(asks, on_hand, columns, total([w.full for w in laws]), p)
    return Screened(tuple(entries), series, parallel, strings, columns, margins)


def _regeneration(asks: Asks, total, laws, p: np.ndarray, path: np.ndarray) -> np.ndarray:
    """Highest voltage while braking into a full pack over the temperatures looked at."""
    e = total([w.cold_full_voltage for w in laws])
    highest = np.zeros_like(p)
    for i in range(len(laws[0].charge_limits)):
        r = total([w.cold_charge_resistances[i] for w in laws]) / p + path
        free = el.charging_voltage(e, r, asks.regeneration)
        if asks.follows_charge_limit:
            limit = min(w.charge_limits[i] for w in laws) * p
            free = np.minimum(free, el.raised_voltage(e, limit, r))
        highest = np.maximum(highest, free)
        if not asks.follows_charge_limit:
            break  # resistance falls as cells warm: the coldest governs
    if np.isfinite(asks.regeneration_limit):
        highest = np.minimum(highest, np.maximum(asks.regeneration_limit, e))
    return highest


def _margins(asks: Asks, on_hand, c: dict[str, np.ndarray], full, p) -> dict[str, np.ndarray]:
    nothing = np.full_like(p, np.nan)
    peak_limit = min((mod.peak_current_limit(o.module) or np.inf for o in on_hand))
    steady_limit = min((mod.continuous_current_limit(o.module) or np.inf for o in on_hand))
    most_current = asks.peak / asks.demand_voltage
    most_steady = asks.continuous / asks.voltage_low
    solvable = np.isfinite(c["loaded_voltage"])
    sag = np.where(solvable, c["loaded_voltage"] / asks.demand_voltage - 1.0,
                   np.minimum(c["available_power"] / asks.peak - 1.0, -1e-9))
    margins = {
        "highest_voltage": 1.0 - c["highest_voltage"] / asks.absolute_maximum,
        "full_charge": 1.0 - full / asks.voltage_high,
        "charge_left": np.minimum(c["charge_left"] / max(asks.charge_lowest, 1e-9), 1.0),
        "loaded_voltage": sag,
        "continuous_power": c["continuous_power"] / asks.continuous - 1.0,
        "peak_current": p * peak_limit / most_current - 1.0 if np.isfinite(peak_limit) else nothing,
        "continuous_current": (p * steady_limit / most_steady - 1.0
                               if np.isfinite(steady_limit) else nothing),
        "energy_least": c["usable_energy"] / asks.energy_least - 1.0,
        "energy_most": 1.0 - c["usable_energy"] / asks.energy_most,
        "mass": 1.0 - c["mass"] / asks.mass_most,
        "charger_window": np.minimum(1.0 - full / asks.charger_high,
                                     c["empty_voltage"] / asks.charger_low - 1.0),
    }
    return {name: np.broadcast_to(margins[name], p.shape) for name, _ in CHECKS}


RANKING = (
    "1. largest smallest margin over all checks, in steps of 2 %; 2. more usable energy; "
    "3. less mass; 4. grouped before strings"
)


def rank_keys(screened: Screened) -> tuple[np.ndarray, ...]:
    """Sort keys of the ranking, last key first in weight (as numpy.lexsort takes them)."""
    step = np.floor(np.minimum(screened.smallest_margin, 10.0) / 0.02)
    return (screened.strings, screened.columns["mass"], -screened.columns["usable_energy"], -step)


def ranked(screened: Screened) -> Screened:
    """The valid layouts, best first, by the stated rules."""
    found = screened.take(np.flatnonzero(screened.failures == 0))
    return found.take(np.lexsort(rank_keys(found)))


def shortfalls(screened: Screened) -> np.ndarray:
    """How far each layout is from passing: the sum of its relative shortfalls."""
    return sum(-np.nan_to_num(np.minimum(m, 0.0)) for m in screened.margins.values())


def nearest_misses(screened: Screened, most: int = 6) -> Screened:
    """The failing layouts that fall short by the least in sum, nearest first."""
    found = screened.take(np.flatnonzero(screened.failures > 0))
    if len(found) > most:
        # Ties at the border are kept, so that the order does not hang on the partition.
        border = np.partition(shortfalls(found), most)[most]
        found = found.take(np.flatnonzero(shortfalls(found) <= border))
    order = np.lexsort((found.strings, found.parallel, np.round(shortfalls(found), 6)))
    return found.take(order[:most])
