"""Layouts as objects and as columns: what is asked of them, checked and how they rank."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from packcalc import electrical as el
from packcalc.brief import Brief
from packcalc.contacts import contacts
from packcalc.findings import Finding, largest, leaf
from packcalc.loads import charging_current_said, charging_power, power_of_branches
from packcalc.value import value_object

ARRANGEMENTS = ("grouped", "strings")

# 35 mm² class 5 tinned copper at 90 °C: 0.565 Ω/km at 20 °C (IEC 60228),
# times (234.5+90)/(234.5+20).
CABLE_ALLOWANCE = 0.565e-3 * (234.5 + 90.0) / (234.5 + 20.0)

# A margin this little below zero is the rounding of binary numbers, no failure.
ROUNDING = 1e-9


@value_object
class Part:
    """A run of equal modules inside every string: which `[[modules]]` entry, how many."""

    entry: int
    series: int


@value_object
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
    def entries(self) -> tuple[int, ...]:
        """The `[[modules]]` entries that it is made of."""
        return tuple(part.entry for part in self.parts)

    @property
    def label(self) -> str:
        """Module notation, e.g. "16S2P" or "10S+6S2P" for two types."""
        return "+".join(f"{p.series}S" for p in self.parts) + f"{self.parallel}P"

    @property
    def in_strings(self) -> bool:
        """Whether strings stand side by side, each with its own fuse and contactors."""
        return self.arrangement == "strings" and self.parallel > 1

    def cells(self, brief: Brief) -> str:
        """Cell notation, e.g. "96s148p"; "96s(2×?)p" where nobody said what is inside a module.

        Two types side by side that differ inside read "96s(2×2–4)p": two modules with two to
        four cells in parallel each.
        """
        def one(part: Part) -> str:
            on_hand = brief.modules[part.entry]
            inside = [n for n in on_hand.cells_beside if n is not None]
            if len(inside) < len(on_hand.cells_beside):
                beside = f"({self.parallel}×?)"
            elif min(inside) < max(inside):
                beside = f"({self.parallel}×{min(inside)}–{max(inside)})"
            else:
                beside = str(inside[0] * self.parallel)
            return f"{part.series * on_hand.module.series}s{beside}p"
        return "+".join(one(part) for part in self.parts)


@value_object
class Asks:
    """The brief's demands as plain SI floats; NaN where nothing is asked.

    To try many values of a demand at once, a field may hold an array with one value a row.
    `charge_ceiling` is the charge that at most the charger's tolerance carries the cells above: the
    charge limit beside a charger whose range is given, else full cells. The loaded voltage is held
    against `demand_voltage`; current and charge of the peak are counted at `peak_voltage`.
    """

    voltage_low: float
    voltage_high: float
    absolute_maximum: float
    demand_voltage: float
    peak_voltage: float
    peak: float
    peak_duration: float
    continuous: float
    regeneration: float
    regeneration_duration: float
    regeneration_limit: float
    follows_charge_limit: bool
    branches: float
    charging: float
    station: float
    charger_tolerance: float
    charger_low: float
    charger_high: float
    energy_least: float
    energy_most: float
    charge_lowest: float
    charge_highest: float
    charge_ceiling: float
    coldest: float
    hottest: float
    mass_most: float
    link: float
    fuse: float
    contactor: float
    cables: float
    string_cables: float
    contacts: float

    @property
    def peak_drawn(self) -> float:
        """Peak power with every branch load on."""
        return self.peak + self.branches

    @property
    def continuous_drawn(self) -> float:
        """Continuous power with every branch load on."""
        return self.continuous + self.branches

    @property
    def charge_limit_counts(self) -> bool:
        """Whether the cells' charge limit may hold the braking voltage down.

        Only where no limit of the inverter is stated: that one is a device of its own, the
        other rests on a message that the inverter obeys.
        """
        return self.follows_charge_limit and not np.isfinite(self.regeneration_limit)


def asks_of(brief: Brief) -> Asks:
    """Strip the brief's findings to floats for screening."""
    def number(finding) -> float:
        return np.nan if finding.value is None else finding.value

    b, inv, bat = brief, brief.inverter, brief.battery
    return Asks(
        voltage_low=inv.voltage_low.number, voltage_high=inv.voltage_high.number,
        absolute_maximum=inv.absolute_maximum.number,
        demand_voltage=demand_voltage(b).number, peak_voltage=peak_voltage(b).number,
        peak=b.power.peak.number, peak_duration=b.power.peak_duration.number,
        continuous=b.power.continuous.number, regeneration=b.regeneration.power.number,
        regeneration_duration=b.regeneration.duration.number,
        regeneration_limit=number(b.regeneration.voltage_limit),
        follows_charge_limit=b.regeneration.follows_charge_limit == "yes",
        branches=more.number if (more := power_of_branches(b)) is not None else 0.0,
        charging=charging_power(b).number,
        station=said.number if (said := charging_current_said(b)) is not None else np.nan,
        charger_tolerance=b.charger.tolerance.number,
        charger_low=number(b.charger.voltage_low), charger_high=number(b.charger.voltage_high),
        energy_least=number(bat.energy_least), energy_most=number(bat.energy_most),
        charge_lowest=bat.charge_lowest.number, charge_highest=bat.charge_highest.number,
        charge_ceiling=charge_ceiling(brief).number,
        coldest=bat.coldest_start.number, hottest=bat.hottest.number,
        mass_most=number(bat.mass_most), link=b.path.link_resistance.number,
        fuse=b.path.fuse_resistance.number, contactor=b.path.contactor_resistance.number,
        cables=cable_loop(brief), string_cables=float(el.string_cables(
            b.path.string_cable_length.number, CABLE_ALLOWANCE,
            b.path.string_cable_section.number)),
        contacts=own.number if (own := contacts(b)) is not None else 0.0,
    )


def demand_voltage(brief: Brief) -> Finding:
    """What the loaded voltage must hold; 10 % above the lowest where nobody said what it is."""
    return largest([brief.inverter.voltage_low, brief.inverter.full_power_from],
                   "voltage that full power needs")


def peak_voltage(brief: Brief) -> Finding:
    """Lowest voltage at which the whole peak may be drawn: its current and charge go by it.

    While `full_power_from` is open its safe value is a demand on the sag; that the inverter
    derates below it nobody has said, and full power may be drawn down to the lowest voltage.
    """
    if brief.left_open("inverter.full_power_from"):
        return brief.inverter.voltage_low
    return demand_voltage(brief)


def charge_ceiling(brief: Brief) -> Finding:
    """Charge at which full voltage is counted: a limit that no known charger keeps is none."""
    limit = brief.battery.charge_highest
    if brief.charger.voltage_high.known or limit.number >= 1.0:
        return limit
    return leaf("charge at the end of charging", limit.symbol, limit.unit, 1.0, "assumed",
                source="packcalc-rule", origin=limit.origin,
                note=f"charger.voltage_range is open: nothing shows that charging ends at "
                     f"{limit.shown}, so full cells are counted")


def cable_loop(brief: Brief) -> float:
    """Loop resistance allowed for all traction routes."""
    lengths = [r.length.number for r in brief.cables.route if r.carries == "traction"]
    return float(el.cable_allowance(sum(lengths), CABLE_ALLOWANCE))


# Name of each check, what it asks in words; the order is the order of the checks.
CHECKS = (
    ("highest_voltage",
     "highest voltage of the battery side at most the inverter's absolute maximum"),
    ("full_charge", "end of charging, with tolerance, at most the highest operating voltage"),
    ("temperature_window", "cells within their temperature window, coldest to hottest"),
    ("charge_left", "charge left at the end of the peak"),
    ("loaded_voltage", "loaded voltage at least what full power needs"),
    ("continuous_power", "continuous power with the bus at its lower limit, cold and nearly empty"),
    ("peak_current", "peak current within the module's limit at its real capacity"),
    ("continuous_current", "continuous current within the module's limit at its real capacity"),
    ("charging_current", "charging current within the cells' charge limit when they are warm"),
    ("energy_least", "usable energy at least the target"),
    ("energy_most", "usable energy at most the target"),
    ("mass", "mass of the modules within the limit"),
    ("charger_window", "charger covers empty to full"),
)


@dataclass
class Screened:
    """Layouts as columns of equal length.

    Attributes:
        entry: the `[[modules]]` entries, one a part.
        series: (n, parts) modules in series.
        parallel: (n,) in parallel.
        strings: (n,) whether strings are paralleled.
        columns: figures in SI.
        margins: by check, relative; negative fails, NaN is not asked or not evaluated,
            infinite passes without a margin worth ranking by.
    """

    entry: tuple[int, ...]
    series: np.ndarray
    parallel: np.ndarray
    strings: np.ndarray
    columns: dict[str, np.ndarray]
    margins: dict[str, np.ndarray]

    def take(self, index: np.ndarray) -> Screened:
        """The rows at an index."""
        return Screened(self.entry, self.series[index], self.parallel[index],
                        self.strings[index], {k: v[index] for k, v in self.columns.items()},
                        {k: v[index] for k, v in self.margins.items()})

    def layout(self, i: int) -> Layout:
        """One row as an object."""
        parts = tuple(Part(e, int(s)) for e, s in zip(self.entry, self.series[i], strict=True))
        return Layout(parts, int(self.parallel[i]), "strings" if self.strings[i] else "grouped")

    def fails(self, check: str) -> np.ndarray:
        """Which rows fail a check."""
        return self.margins[check] < -ROUNDING

    def failed(self, i: int) -> list[str]:
        """Names of the checks that one row fails, in the order of the checks."""
        return [name for name in self.margins if self.fails(name)[i]]

    def __len__(self) -> int:
        return len(self.parallel)

    @property
    def smallest_margin(self) -> np.ndarray:
        """The worst margin of each layout; NaN counts as not asked."""
        worst = np.full(len(self), np.inf)
        for margin in self.margins.values():
            worst = np.fmin(worst, margin)
        return worst

    @property
    def failures(self) -> np.ndarray:
        """How many checks fail in each layout."""
        count = np.zeros(len(self), dtype=np.int8)
        for check in self.margins:
            count += self.fails(check)
        return count


RANKING = (
    "1. largest smallest margin over all checks, in steps of 2 %; 2. more usable energy; "
    "3. less mass; 4. grouped before strings"
)


def rank_keys(screened: Screened) -> tuple[np.ndarray, ...]:
    """Sort keys of the ranking, last key first in weight (as numpy.lexsort takes them)."""
    # What is equal but for its last bit ranks as equal: margins on a step, Wh, grams.
    step = np.floor(np.minimum(screened.smallest_margin, 10.0) / 0.02 + ROUNDING)
    energy = np.round(screened.columns["usable_energy"] / 3600.0)
    return (screened.strings, np.round(screened.columns["mass"], 3), -energy, -step)


def ranked(screened: Screened) -> Screened:
    """The valid layouts, best first, by the stated rules."""
    found = screened.take(np.flatnonzero(screened.failures == 0))
    return found.take(np.lexsort(rank_keys(found)))


NEAREST = (
    "1. layouts that stay within the inverter's highest voltages and, nearly empty, carry some of "
    "the peak and of the continuous power, before those that do not; 2. least sum of the relative "
    "shortfalls of all failing checks, none counted as more than 100 % but the inverter's own "
    "voltages, which count in full. The last line is kept for the nearest of the others where its "
    "sum is less than that of the layout it stands for: a lowered charge limit may let it in"
)
OUTSIDE = 1e6  # more than any sum of shortfalls: voltages that do not fit come after those that do
# Another class of pack passes a charger's or a mass's limit many times over; counted in full,
# that would make one lone module the nearest miss. The inverter's voltages are what it stands.
IN_FULL = ("highest_voltage", "full_charge", "loaded_voltage")


def carries_nothing(screened: Screened, check: str = "loaded_voltage") -> np.ndarray:
    """Which rows lack the voltage that a check asks for before anything is drawn."""
    return screened.margins.get(check, np.zeros(len(screened))) <= -1.0 + ROUNDING


def shortfalls(screened: Screened) -> np.ndarray:
    """How far each layout is from passing; see `NEAREST`. Above `OUTSIDE` no voltage fits."""
    total = np.zeros(len(screened))
    for name, margin in screened.margins.items():
        short = np.fmin(margin, 0.0)
        total -= short if name in IN_FULL else np.fmax(short, -1.0)
    outside = carries_nothing(screened, "loaded_voltage") | carries_nothing(
        screened, "continuous_power")
    for name in ("highest_voltage", "full_charge"):
        if name in screened.margins:
            outside |= screened.fails(name)
    return total + np.where(outside, OUTSIDE, 0.0)


def nearest_misses(screened: Screened, most: int = 6) -> Screened:
    """The failing layouts that fall short by the least, nearest first; see `NEAREST`.

    As many again of those whose voltages do not fit follow after `most` that fit.
    """
    failing = np.flatnonzero(screened.failures > 0)
    short = np.round(shortfalls(screened)[failing], 6)
    fit = short < OUTSIDE
    kept = np.concatenate([_first(screened, failing[rows], short[rows], most)
                           for rows in (fit, ~fit)])
    return screened.take(kept)


def _first(screened: Screened, rows: np.ndarray, short: np.ndarray, most: int) -> np.ndarray:
    """The rows that fall short by the least, in order."""
    if len(rows) > most:
        # Ties at the border are kept, so that the order does not hang on the partition.
        near = short <= np.partition(short, most)[most]
        rows, short = rows[near], short[near]
    order = np.lexsort((screened.strings[rows], screened.parallel[rows], short))
    return rows[order[:most]]
