"""Before anything is joined: which modules to charge or drain, by how much, and how long."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from packcalc import modules as mod
from packcalc.bench.sharing import equalising_current
from packcalc.findings import Finding, formula
from packcalc.modules import CHARGES, ModuleType
from packcalc.units import show
from packcalc.value import replace, value_object

TOLD_WITHIN = 0.15     # width of charge that one rest voltage leaves open; wider is not told
WITHIN = 0.010         # V a cell: two modules that are joined differ by no more (our rule)
ROOM_TEMPERATURE = 293.15
ROUNDING = 1e-9
MOST_NAMED = 12
WATCHED = "charge fully only under a management system"
NEVER = "never charge: set aside"


@formula(title="charge to move into a module", symbol="ΔQ", unit="Ah", text="ΔQ = (z_t − z)/100·Q",
         inputs={"target": "z_t [%] charge to bring it to", "charge": "z [%] charge it has",
                 "capacity": "Q [Ah] its capacity"},
         basis="definition", safe_side="")
def charge_to_move(target, charge, capacity):
    """Charge to put into a module; negative is to be drained.

    Examples:
        >>> round(charge_to_move(0.50, 0.45, 200.0 * 3600) / 3600, 2)
        10.0
    """
    return (target - charge) * capacity


@formula(title="time to move a charge", symbol="t", unit="h", text="t = |ΔQ|/I",
         inputs={"charge": "ΔQ [Ah] to move", "current": "I [A] of charger or drain"},
         basis="definition")
def time_to_move(charge, current):
    """Time that a charge takes at a steady current.

    Examples:
        >>> time_to_move(-36000.0, 5.0) / 3600
        2.0
    """
    return abs(charge) / current


def charge_from_voltage(module: ModuleType, voltage: float) -> tuple[float, float]:
    """Lowest and highest charge that a rest voltage allows over the published curves.

    Args:
        module: the type.
        voltage: rest voltage of the module [V].
    """
    low, high = module.rest_band
    least = float(np.interp(voltage, high, CHARGES))
    most = float(np.interp(voltage, low, CHARGES))
    return min(least, most), max(least, most)


def voltage_at(module: ModuleType, charge: float) -> float:
    """Rest voltage whose middle charge (see `charge_from_voltage`) is the one given [V]."""
    low, high = module.rest_band
    volts = np.linspace(low[0], high[-1], len(CHARGES))
    middle = (np.interp(volts, high, CHARGES) + np.interp(volts, low, CHARGES)) / 2.0
    return float(np.interp(charge, middle, volts))


@value_object
class Step:
    """What to do with one module before it is joined.

    Attributes:
        mark, place: which module, where it will stand.
        charge: middle of what the rest voltage allows; NaN where voltage cannot tell.
        band: half the width of what it allows.
        action: "charge", "drain", "leave", "charge fully", "measure", WATCHED, or NEVER, below the
            voltage under which a cell must not be charged again.
        move: charge to move [C]; 0 for "leave"; the most that may go in for "charge fully".
        least: for "charge fully" the least that goes in [C]; else the same as `move`.
        current, time: of the charger or drain [A], [s]; 0 where nothing moves. For "charge
            fully" the longest time at full current.
        joining: equalising current of the first instant if it were joined as it is [A]: on the
            others of its group, or of its whole string on the other strings; NaN where a
            voltage is missing.
        expected: rest voltage once the plan is done [V]: its own where it is left, else the
            plan's; NaN where modules are charged fully.
        joined: as `joining`, once the plan is done; NaN where modules are charged fully.
    """

    mark: str
    place: str
    charge: float
    band: float
    action: str
    move: float
    least: float
    current: float
    time: float
    joining: float
    expected: float = float("nan")
    joined: float = float("nan")


@value_object
class BalancePlan:
    """The plan for all modules.

    Attributes:
        steps: one a module, in the order of places.
        target, voltage: charge and rest voltage to bring modules to; NaN where all are to be
            charged fully.
        end_voltage: where "charge fully" ends [V of a module].
        charge_limit: largest joining current allowed, one module at 20 °C [A].
        hours: of charging and of draining, all modules one after another [s].
        sentence: what to do, in words.
        cell_limit: voltage at which the highest cell ends every charge [V].
        within: most by which two modules may differ when they are joined [V a cell]: the rule,
            or less where the rule would let more than the charge limit flow.
        at_most: the largest joining current that a difference of `within` lets flow [A].
        condition: at which cell temperatures it may be charged at all, in words.
    """

    steps: tuple[Step, ...]
    target: float
    voltage: float
    end_voltage: float
    charge_limit: float
    hours: tuple[float, float]
    sentence: str
    cell_limit: float
    within: float
    at_most: float
    condition: str

    @property
    def worst_joined(self) -> float:
        """The largest current of joining once the plan is done [A]."""
        return max((s.joined for s in self.steps if np.isfinite(s.joined)), default=0.0)

    @property
    def worst_joining(self) -> float:
        """The largest current that joining as it stands would let flow [A]."""
        return max((s.joining for s in self.steps if np.isfinite(s.joining)), default=0.0)

    @property
    def without_cells(self) -> tuple[str, ...]:
        """Marks of modules whose cells nobody can see while they are charged."""
        return tuple(s.mark for s in self.steps if s.action == WATCHED)


@value_object
class Standing:
    """One module before joining.

    Attributes:
        mark, place: which, and where it will stand.
        row: group, or string, that it will stand in.
        voltage: rest voltage, or None.
        capacity: as counted.
        resistance: of the first millisecond, hot: what counts in the moment of joining.
        highest_cell: voltage of its highest cell, or None where no cell was read.
        temperature: at which the voltage was read [K], or None where nobody noted it.
    """

    mark: str
    place: str
    row: int
    voltage: float | None
    capacity: float
    resistance: float
    highest_cell: float | None = None
    temperature: float | None = None


def plan_balance(module: ModuleType, standing: Sequence[Standing], current: Finding,
                 strings: bool = False) -> BalancePlan:
    """Bring every module to one charge before anything is joined.

    The target is the charge that moves the fewest ampere-hours. A module is left as it is only
    where any two that are left may be joined: within 10 mV a cell of each other, or nearer where
    that would exchange more than a module may be charged with. Where a rest voltage leaves more
    than 15 % of charge open, as on a flat curve, every module is charged fully.

    Args:
        module: the type.
        standing: every module in its place.
        current: of the bench charger and of the drain.
        strings: whether rows are strings, whose ends are paralleled, and not groups.
    """
    limit = float(mod.charge_current_limit(module, ROOM_TEMPERATURE))
    rate = min(current.number, limit) if limit > 0 else current.number
    condition = charging_condition(module, min(current.number, limit), standing)
    bands = [(np.nan, np.nan) if s.voltage is None else charge_from_voltage(module, s.voltage)
             for s in standing]
    join = _joining_strings if strings else _joining_groups
    joining = join(standing)
    within, at_most = _allowed(standing, strings, module.series, limit)
    width = np.array([b - a for a, b in bands])
    middle = np.array([(a + b) / 2 for a, b in bands])
    flat = bool(np.nanmax(width, initial=0.0) > TOLD_WITHIN)
    end, cell_limit = module.series * module.full_voltage.number, module.full_voltage.number
    if flat or not np.isfinite(middle).any():
        steps = tuple(_full_step(module, s, band, rate, i)
                      for s, band, i in zip(standing, bands, joining, strict=True))
        return BalancePlan(steps, float("nan"), float("nan"), end, limit,
                           (sum(s.time for s in steps), 0.0), _full_sentence(flat, cell_limit),
                           cell_limit, within, at_most, condition)
    known = np.isfinite(middle)
    target = _weighted_median(middle[known], np.array([s.capacity for s in standing])[known])
    to = _Target(target, voltage_at(module, target), within / 2 * module.series,
                 module.series * module.cell.absolute_min_voltage)
    steps = tuple(_step(s, z, w / 2, to, rate, i)
                  for s, z, w, i in zip(standing, middle, width, joining, strict=True))
    after = join([replace(s, voltage=step.expected)
                  for s, step in zip(standing, steps, strict=True)])
    steps = tuple(replace(step, joined=i) for step, i in zip(steps, after, strict=True))
    return BalancePlan(steps, target, to.voltage, end, limit, _hours(steps),
                       _sentence(steps), cell_limit, within, at_most, condition)


def charging_condition(module: ModuleType, current: float, standing: Sequence[Standing]) -> str:
    """At which cell temperatures a module may be charged with a current, and where with less.

    Args:
        module: the type, with the bands of its class.
        current: of the plan [A].
        standing: with the temperatures of their readings.
    """
    bands = [(b, float(mod.charge_current_limit(module, (b.above + b.up_to) / 2)))
             for b in module.cell.charge_bands]
    full = [b for b, limit in bands if limit >= current * (1 - ROUNDING)]
    allowed = [b for b, limit in bands if limit > 0]
    if current <= 0 or not allowed or not full:
        return f"Nothing is charged: {module.title} may not be charged at 20 °C."
    least, most = min(b.above for b in full), max(b.up_to for b in full)
    less = [f"{_celsius(b.above)} to {_celsius(b.up_to)} with at most {show(limit, 'A')}"
            for b, limit in bands if 0 < limit < current * (1 - ROUNDING)]
    cold = [s for s in standing if s.temperature is not None and s.temperature <= least]
    words = (f"Charge only where every cell is above {_celsius(least)} and below "
             f"{_celsius(most)}: the plan's {show(current, 'A')} are for that"
             + (f"; from {', from '.join(less)}" if less else "")
             + f"; never at or below {_celsius(min(b.above for b in allowed))} nor above "
             f"{_celsius(max(b.up_to for b in allowed))} (bands of the class, not of the cell's "
             "maker, whose sheet comes first): cold cells are harmed by charging, unseen. A module "
             "that stood in the cold comes in for a day before it is charged")
    if cold:
        coldest = min(s.temperature or 0.0 for s in cold)
        words += (f". Read at {_celsius(coldest)} and therefore not to be charged as they were "
                  f"read: {', '.join(s.mark for s in cold[:MOST_NAMED])}"
                  f"{' …' if len(cold) > MOST_NAMED else ''}")
    return words + "."


def _celsius(temperature: float) -> str:
    return show(temperature, "°C")


@value_object
class _Target:
    """Charge and rest voltage to bring modules to, how near one is left as it is [V], and the
    voltage below which a module is never charged again [V].
    """

    charge: float
    voltage: float
    near: float
    least: float


def _hours(steps: Sequence[Step]) -> tuple[float, float]:
    return (sum(s.time for s in steps if s.action == "charge"),
            sum(s.time for s in steps if s.action == "drain"))


def _sentence(steps: Sequence[Step]) -> str:
    count = {a: sum(s.action == a for s in steps)
             for a in ("charge", "drain", "leave", "measure")}
    words = (f"{count['charge']} to charge, {count['drain']} to drain, {count['leave']} to leave "
             f"as they are")
    never = [s.mark for s in steps if s.action == NEVER]
    return words + (f"; {count['measure']} without a rest voltage: measure first"
                    if count["measure"] else "") + (
        f"; NEVER TO BE CHARGED, nor joined: {', '.join(never)}" if never else "")


def _step(s: Standing, charge: float, band: float, target: _Target, rate: float,
          joining: float) -> Step:
    def step(action: str, move: float = 0.0, expected: float = target.voltage) -> Step:
        return Step(s.mark, s.place, charge, band, action, move, move, rate if move else 0.0,
                    float(time_to_move(move, rate)), joining, expected)

    if s.voltage is None:
        return step("measure")
    if s.voltage < target.least:
        return step(NEVER, expected=s.voltage)
    above = s.voltage - target.voltage
    if abs(above) <= target.near + ROUNDING:
        return step("leave", expected=s.voltage)
    # Beyond the end of the curve the charge says nothing, the voltage still says which way.
    move = float(charge_to_move(target.charge, charge, s.capacity))
    return step("drain", min(move, 0.0)) if above > 0 else step("charge", max(move, 0.0))


def _full_step(module: ModuleType, s: Standing, band: tuple[float, float], rate: float,
               joining: float) -> Step:
    """Room left in a module, as a band: the fullest cell may end it earlier than the sum says."""
    low, high = band if s.voltage is not None else (0.0, 1.0)
    fullest = high if s.highest_cell is None else max(
        high, charge_from_voltage(module, s.highest_cell * module.series)[1])
    if s.voltage is not None and s.voltage < module.series * module.cell.absolute_min_voltage:
        return Step(s.mark, s.place, float("nan"), float("nan"), NEVER, 0.0, 0.0, 0.0, 0.0, joining)
    most, least = (float(charge_to_move(1.0, z, s.capacity)) for z in (low, fullest))
    return Step(s.mark, s.place, float("nan"), (band[1] - band[0]) / 2,
                "charge fully" if s.highest_cell is not None else WATCHED, most, least, rate,
                float(time_to_move(most, rate)), joining)


def _full_sentence(flat: bool, cell_limit: float) -> str:
    why = ("rest voltage cannot tell the charge of this cell: every module is charged fully to one "
           "end voltage" if flat else
           "no rest voltage was measured: measure every module, or charge all of them fully")
    return (f"{why}. The charge ends when the highest CELL reaches {show(cell_limit, 'V')}, "
            f"whatever the module shows, or when the module stands at the end voltage and its "
            f"current has fallen below a twentieth of its capacity per hour, both at once. Every "
            f"cell's voltage is watched during charging; a module whose cells cannot be seen is "
            f"not charged fully without a management system that ends the charge by its highest "
            f"cell. Where the highest cell ends it first, balance the cells before going on")


# --- joined as they are ----------------------------------------------------------------------

def _allowed(standing: Sequence[Standing], strings: bool, cells: int,
             limit: float) -> tuple[float, float]:
    """Most by which modules may differ when joined [V a cell], and what flows at most then [A].

    Worst: one module, or all modules of one string, that far from everything it is joined to.
    """
    rows: dict[int, list[float]] = {}
    for s in standing:
        rows.setdefault(s.row, []).append(s.resistance)
    joined = [[sum(own) for own in rows.values()]] if strings else list(rows.values())
    span = cells * (max(map(len, rows.values()), default=0) if strings else 1)
    each = max((float(equalising_current(span, own, 1.0 / (sum(1.0 / r for r in ohms) - 1.0 / own)))
                for ohms in joined if len(ohms) > 1 for own in ohms), default=0.0)
    within = min(WITHIN, limit / each) if limit > 0 and each > 0 else WITHIN
    return within, within * each


def _joining_groups(standing: Sequence[Standing]) -> list[float]:
    """Equalising current of each module on the others of its group."""
    rows: dict[int, list[int]] = {}
    for i, s in enumerate(standing):
        rows.setdefault(s.row, []).append(i)
    found = [float("nan")] * len(standing)
    for members in rows.values():
        currents = _on_the_others([standing[i].voltage for i in members],
                                  [standing[i].resistance for i in members])
        for i, current in zip(members, currents, strict=True):
            found[i] = current
    return found


def _joining_strings(standing: Sequence[Standing]) -> list[float]:
    """Equalising current of each module's string on the other strings."""
    rows = sorted({s.row for s in standing})
    members = [[s for s in standing if s.row == row] for row in rows]
    volts = [None if any(s.voltage is None for s in own) else sum(s.voltage or 0.0 for s in own)
             for own in members]
    currents = dict(zip(rows, _on_the_others(volts, [sum(s.resistance for s in own)
                                                     for own in members]), strict=True))
    return [currents[s.row] for s in standing]


def _on_the_others(volts: Sequence[float | None], ohms: Sequence[float]) -> list[float]:
    """Current of each source when it is joined to all others; NaN where a voltage is missing."""
    found = []
    for i, (own, resistance) in enumerate(zip(volts, ohms, strict=True)):
        others = [(u, r) for k, (u, r) in enumerate(zip(volts, ohms, strict=True)) if k != i]
        if own is None or any(u is None for u, _ in others):
            found.append(float("nan"))
            continue
        if not others:
            found.append(0.0)
            continue
        conductance = sum(1.0 / r for _, r in others)
        mean = sum((u or 0.0) / r for u, r in others) / conductance
        apart = 0.0 if abs(own - mean) < ROUNDING * own else abs(own - mean)
        found.append(float(equalising_current(apart, resistance, 1.0 / conductance)))
    return found


def _weighted_median(values: np.ndarray, weights: np.ndarray) -> float:
    """The value from which the weighted distances to all others are least.

    Examples:
        >>> _weighted_median(np.array([0.2, 0.5, 0.9]), np.array([1.0, 1.0, 1.0]))
        0.5
    """
    order = np.argsort(values)
    half = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(half, half[-1] / 2.0)])
