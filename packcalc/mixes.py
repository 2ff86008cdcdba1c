"""Two module types in one pack: in series, side by side, or refused with the reason.

In series each type keeps its own cells, and the weaker one's capacity, currents,
temperatures and end voltages are kept. Side by side two types count as one combined type
that takes the worse figure of the two throughout: the smaller capacity and the larger growth
where something is asked of the pack, the larger capacity and the smaller growth where stored
energy or a high fault current is the danger.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np

from packcalc import cell_formulas as formulas
from packcalc import modules as mod
from packcalc.brief import Brief, ModulesOnHand
from packcalc.findings import Finding, Origin, formula, largest, leaf, smallest, trace
from packcalc.modules import ModuleType
from packcalc.value import replace, value_object

CURVES_MATCH = 0.010  # V per cell; our rule for two types side by side
LEAST_SHARE = 0.5     # our rule: the weaker of a string has half the other's capacity at least
MOST_TYPES = 12       # more make more pairs than anyone reads
LOWER_HEALTH = "lower state of health of the two"
ROUNDING = 1e-6       # of binary numbers, below any figure a user gives


@value_object
class SideBySide(ModulesOnHand):
    """Two entries that stand side by side as one combined type.

    Attributes:
        of: the two `[[modules]]` entries.
        of_most: the one of them that stores more when full.
        of_less: the other.
        growth_least: the smaller growth of the two.
    """

    of: tuple[int, int] = (0, 0)
    of_most: ModulesOnHand | None = None
    of_less: ModulesOnHand | None = None
    growth_least: Finding | None = None

    @property
    def least_growth(self) -> Finding:
        return self.growth_least or self.resistance_growth

    @property
    def first_read(self) -> Finding | None:
        read = [o.first_read for o in self.both if o.first_read is not None]
        return smallest(read, "lower reading of the two types") if read else None

    @property
    def stated_health(self) -> Finding:
        return smallest([o.stated_health for o in self.both], LOWER_HEALTH)

    @property
    def cells_beside(self) -> tuple[int | None, ...]:
        return tuple(o.module.parallel for o in self.both)

    @property
    def both(self) -> tuple[ModulesOnHand, ModulesOnHand]:
        """The two entries."""
        assert self.of_most is not None and self.of_less is not None
        return self.of_most, self.of_less


# --- which choices are tried ----------------------------------------------------------

def with_pairs(brief: Brief) -> Brief:
    """The brief with every pair that may stand side by side as one more entry at the end."""
    own = tuple(m for m in brief.modules if not isinstance(m, SideBySide))
    if brief.untold:
        return brief
    if brief.mix != "parallel" or len(own) > MOST_TYPES:
        return replace(brief, modules=own) if len(own) < len(brief.modules) else brief
    pairs = [_combined(own, i, j) for i, j in itertools.combinations(range(len(own)), 2)
             if not why_not_in_parallel(brief, i, j)]
    return replace(brief, modules=(*own, *pairs))


def pairs_anew(brief: Brief) -> Brief:
    """The brief with the same types side by side, made anew of entries that were changed."""
    own = tuple(m for m in brief.modules if not isinstance(m, SideBySide))
    if len(own) == len(brief.modules):
        return brief
    return replace(brief, modules=tuple(
        _combined(own, *m.of) if isinstance(m, SideBySide) else m for m in brief.modules))


def choices(brief: Brief) -> tuple[list[tuple[int, ...]], list[str]]:
    """Which entries are tried, alone or two in series, and why others are not.

    Args:
        brief: as `with_pairs` gives it.
    """
    refusals = [why_not_alone(brief, i) for i in range(len(brief.modules))]
    tried: list[tuple[int, ...]] = [(i,) for i, reason in enumerate(refusals) if not reason]
    refusals = [reason for reason in refusals if reason]
    own = [i for i, m in enumerate(brief.modules) if not isinstance(m, SideBySide)]
    if brief.mix == "no":
        return tried, refusals
    if len(own) > MOST_TYPES:
        return tried, [*refusals, f"types are not combined: {len(own)} types make "
                       f"{len(own) * (len(own) - 1) // 2} pairs; leave at most {MOST_TYPES} types "
                       f"in the brief"]
    why_not = why_not_in_series if brief.mix == "series" else why_not_in_parallel
    for i, j in itertools.combinations(own, 2):
        reason = why_not(brief, i, j)
        if reason:
            refusals.append(reason)
        elif brief.mix == "series":
            tried.append((i, j))
    refusals += [why_not_together(o) for o in brief.modules if isinstance(o, SideBySide)]
    return tried, refusals


def why_not_alone(brief: Brief, i: int) -> str:
    """Why a type is not tried at all; empty when it is."""
    on_hand = brief.modules[i]
    module, health = on_hand.module, on_hand.state_of_health
    if not on_hand.count.known:
        return f"{module.title}: not tried; nobody said how many are on hand. Enter count."
    if module.needs_bench:
        return (f"{module.title}: not tried; no published curve of {module.chemistry} is used "
                "without a bench measurement. Enter rest_voltages at three charges.")
    if brief.left_open(f"modules[{brief.number_of(i)}].resistance_growth") \
            and not mod.knows_growth(module, health):
        return (f"{module.title}: not tried; at {health.shown} state of health nobody read how far "
                f"the resistance of {module.chemistry} has grown (the figures end at "
                f"{100 * module.cell.health_min:.0f} %). Measure one module and enter "
                "resistance_growth.")
    return ""


def why_not_in_series(brief: Brief, i: int, j: int) -> str:
    """Why two types may not stand in one string; empty when they may.

    The weaker one's capacity, currents, temperatures and end voltages must be known, so
    that they can be kept.
    """
    pair = brief.modules[i], brief.modules[j]
    first, second = (o.module for o in pair)
    names = f"{first.title} and {second.title} in series: refused, "
    for index, module in ((i, first), (j, second)):
        if not brief.modules[index].count.known:
            return names + f"nobody said how many of {module.title} are on hand"
        if module.needs_bench:
            return names + f"the rest voltages of {module.title} are not measured"
        if why_not_alone(brief, index):
            return names + f"the resistance growth of {module.title} is not known"
        for limit, words in ((module.peak_current, "peak"),
                             (module.continuous_current, "continuous")):
            if not limit.known:
                return names + (f"the {words} current limit of {module.title} is not known, so "
                                f"the weaker one cannot be kept; enter {words}_current")
    low, high = sorted(o.module.capacity.number * o.state_of_health.number for o in pair)
    if low < LEAST_SHARE * high * (1.0 - ROUNDING):
        return names + (f"the weaker has {100 * low / high:.0f} % of the other's real capacity, "
                        f"less than {100 * LEAST_SHARE:.0f} %")
    apart = _temperatures_apart(brief, first, second)
    return names + apart if apart else ""


def why_not_in_parallel(brief: Brief, i: int, j: int) -> str:
    """Why two types may not stand side by side; empty when their curves match.

    They must have the same cells in series and rest voltages that differ by no more than
    10 mV per cell over the whole charge (our rule). The narrower temperature window is a
    check of each layout.
    """
    first, second = brief.modules[i].module, brief.modules[j].module
    names = f"{first.title} and {second.title} in parallel: refused, "
    if first.series != second.series:
        return names + f"{first.series} and {second.series} cells in series"
    if first.chemistry != second.chemistry:
        return names + f"{first.chemistry} and {second.chemistry}"
    if first.needs_bench or second.needs_bench:
        return names + "rest voltages are not measured"
    if not all(brief.modules[index].count.known for index in (i, j)):
        return names + "nobody said how many there are of each"
    if any(why_not_alone(brief, index) for index in (i, j)):
        return names + "a resistance growth is not known"
    apart = _curves_apart(first, second)
    if apart > CURVES_MATCH + ROUNDING:
        return names + (f"rest voltages differ by up to {1000 * apart:.1f} mV per cell, more than "
                        f"{1000 * CURVES_MATCH:.0f} mV")
    return ""


def stand_together(on_hand: ModulesOnHand, series: Any, parallel: Any, strings: Any) -> Any:
    """Whether both types stand beside each other all along a layout; true for one type alone.

    Grouped, every group holds a module of each. Of parallel strings each is of one type, and
    there is one of each at least: no string mixes the two.
    """
    if not isinstance(on_hand, SideBySide):
        return np.ones(np.shape(parallel), dtype=bool)
    first, second = (int(o.count.number) for o in on_hand.both)
    several = (np.asarray(parallel) >= 2) & (series <= first) & (series <= second)
    return several & (~np.asarray(strings)
                      | (parallel <= first // np.maximum(series, 1) + second
                         // np.maximum(series, 1)))


def why_not_together(on_hand: ModulesOnHand) -> str:
    """Which layouts of two types side by side are not tried, in words."""
    assert isinstance(on_hand, SideBySide)
    most = min(int(o.count.number) for o in on_hand.both)
    return (f"{on_hand.module.title}: every group must hold a module of each type, and a string "
            f"modules of one type alone; that takes 2 in parallel at least and allows {most} in "
            "series at most")


def module_numbers(brief: Brief, entries: tuple[int, ...]) -> str:
    """Which `[[modules]]` entries a layout is made of, from 1: "2", or "1,3" for two types."""
    return ",".join(str(brief.number_of(i) + 1) for entry in entries
                    for i in own_entries(brief, entry))


def own_entries(brief: Brief, entry: int) -> tuple[int, ...]:
    """The brief's own entries that stand behind one: itself, or the two side by side."""
    on_hand = brief.modules[entry]
    return on_hand.of if isinstance(on_hand, SideBySide) else (entry,)


def mix_cautions(brief: Brief, entries: tuple[int, ...]) -> tuple[str, ...]:
    """What whoever builds a layout of these `[[modules]]` entries must know of two types."""
    found = []
    if len(entries) > 1:
        found.append(
            "Two module types in series: capacity, currents, temperatures and end voltages of "
            "the weaker are kept; each type keeps its own cell limits in the monitor. Never "
            "charge or discharge past the first cell that reaches its limit.")
    if any(isinstance(brief.modules[entry], SideBySide) for entry in entries):
        found.append(
            "Two module types side by side, counted as one with the worse figure of each: every "
            "group holds both types, or every string one type alone, never a string of both; mark "
            "every module, and match rest voltages before any two are joined.")
    return tuple(found)


def _curves_apart(first: ModuleType, second: ModuleType) -> float:
    """Largest difference of rest voltage per cell, on either side of the class."""
    points = np.linspace(0.0, 1.0, 41)
    return max(float(np.max(np.abs(side(first, points) - side(second, points))))
               for side in (mod.ocv_low, mod.ocv_high)) / first.series


def _temperatures_apart(brief: Brief, first: ModuleType, second: ModuleType) -> str:
    """Why the narrower temperature window cannot be kept; empty when it can."""
    low = max(first.temperature_min, second.temperature_min, key=lambda f: f.number)
    high = min(first.temperature_max, second.temperature_max, key=lambda f: f.number)
    coldest, hottest = brief.battery.coldest_start, brief.battery.hottest
    if low.number <= coldest.number + ROUNDING and hottest.number <= high.number + ROUNDING:
        return ""
    return (f"the temperature window that both bear, {low.shown} to {high.shown}, does not cover "
            f"{coldest.shown} to {hottest.shown}")


# --- one combined type ----------------------------------------------------------------

@formula(title="limit of unlike modules side by side", symbol="I_lim", unit="A",
         text="I_lim = I · R_1/R_2",
         inputs={"limit": "I [A] the lower of the two", "stiffer": "R_1 [mΩ] the lower of the two",
                 "softer": "R_2 [mΩ] the higher of the two"},
         basis="assumed", source="packcalc-rule",
         where="current divider of one stiff module among soft ones, at its worst share",
         safe_side="low: one stiff module among soft ones takes at most R_2/R_1 of its even share")
def shared_limit(limit, stiffer, softer):
    """Current limit counted on even shares where the shares are uneven.

    Examples:
        >>> shared_limit(200.0, 0.004, 0.005)
        160.0
    """
    return limit * stiffer / softer


@formula(title="most capacity of a module, two types side by side", symbol="Q_m", unit="Ah",
         text="Q_m = (n_1·Q_1·SOH_1 + (N − n_1)·Q_2·SOH_2) / (100·N), n_1 = min(N_1, N)",
         inputs={"larger": "Q_1 [Ah] label of the type that stores more",
                 "larger_health": "SOH_1 [%] its capacity left",
                 "smaller": "Q_2 [Ah] label of the other",
                 "smaller_health": "SOH_2 [%] its capacity left",
                 "on_hand": "N_1 [] modules of the first",
                 "used": "N [] modules that the layout holds"},
         basis="definition",
         safe_side="high: as many of the larger type stand in the pack as there are")
def mixed_capacity(larger, larger_health, smaller, smaller_health, on_hand, used):
    """Mean capacity of the modules of a pack that may hold two types side by side.

    Examples:
        >>> float(mixed_capacity(240.0, 1.0, 120.0, 0.9, 14, 28))
        174.0
        >>> float(mixed_capacity(240.0, 1.0, 120.0, 0.9, 14, 7))
        240.0
    """
    share = np.minimum(on_hand, used) / used
    return share * larger * larger_health + (1.0 - share) * smaller * smaller_health


def most_capacity(on_hand: ModulesOnHand, used: Any) -> Any:
    """Capacity of one module where more is worse, in a layout of so many modules."""
    if isinstance(on_hand, SideBySide):
        return mixed_capacity(**{k: f.number for k, f in _two(on_hand).items()}, used=used)
    return on_hand.module.capacity.number * on_hand.most_health.number


def traced_most_capacity(on_hand: ModulesOnHand, used: Finding) -> tuple[Finding, Finding]:
    """The two factors of `most_capacity`, capacity and state of health, with their chain."""
    if isinstance(on_hand, SideBySide):
        return trace(mixed_capacity, used=used, **_two(on_hand)), leaf(
            "state of health, counted in the capacity already", "SOH", "%", 1.0, "definition")
    return on_hand.module.capacity, on_hand.most_health


def _two(both: SideBySide) -> dict[str, Finding]:
    most, less = both.both
    return {"larger": most.module.capacity, "larger_health": most.most_health,
            "smaller": less.module.capacity, "smaller_health": less.most_health,
            "on_hand": most.count}


def _combined(own: tuple[ModulesOnHand, ...], i: int, j: int) -> SideBySide:
    """Two entries as one: the worse figure of the two throughout."""
    pair = own[i], own[j]
    less, most = sorted(pair, key=lambda o: o.module.capacity.number * o.most_health.number)
    health = smallest([o.state_of_health for o in pair], LOWER_HEALTH)
    growth = largest([o.resistance_growth for o in pair], "larger growth of the two")
    count = leaf("modules on hand, both types", "N", "", sum(o.count.number for o in pair),
                 "definition", origin=Origin(f"modules[{i}] and modules[{j}]"))
    return SideBySide(_combined_type(pair), count, health, growth,
                      _lower_or_open([o.conductor_section for o in pair]),
                      _lower_or_open([o.conductor_withstand for o in pair]), (i, j), most, less,
                      smallest([o.least_growth for o in pair], "smaller growth of the two"))


def _lower_or_open(pair: list[Finding]) -> Finding:
    """The lower of two figures; open where one of them is open."""
    left_open = [f for f in pair if not f.known]
    return left_open[0] if left_open else smallest(pair, f"{pair[0].title}, lower of the two types")


def _combined_type(pair: tuple[ModulesOnHand, ModulesOnHand]) -> ModuleType:
    first, second = (o.module for o in pair)
    both = first, second
    # The lower curve at low charge is the one that sag is judged by.
    base = min(both, key=lambda m: float(mod.ocv_low(m, 0.1)))

    def lower(name: str) -> Finding:
        found = [getattr(m, name) for m in both]
        return smallest(found, f"{found[0].title}, lower of the two types")

    def higher(name: str) -> Finding:
        found = [getattr(m, name) for m in both]
        return largest(found, f"{found[0].title}, higher of the two types")

    stiffer, softer = _most_unequal(pair)

    def limit(name: str) -> Finding:
        figures = [getattr(m, name) for m in both]
        unknown = [f for f in figures if not f.known]
        return unknown[0] if unknown else trace(
            shared_limit, figures[0].title, symbol=figures[0].symbol, unit=figures[0].unit,
            limit=lower(name), stiffer=stiffer, softer=softer)

    return replace(
        base, id=f"{first.id} + {second.id}", title=f"{first.title} beside {second.title}",
        cells_in_parallel=_same_cells(first, second), capacity=lower("capacity"),
        full_voltage=lower("full_voltage"), empty_voltage=higher("empty_voltage"),
        nominal_voltage=lower("nominal_voltage"), resistance_high=higher("resistance_high"),
        resistance_low=lower("resistance_low"), resistance_initial=_initial(both),
        mass=higher("mass"), continuous_current=limit("continuous_current"),
        peak_current=limit("peak_current"), charge_rate=limit("charge_rate"),
        temperature_min=higher("temperature_min"), temperature_max=lower("temperature_max"),
        note="two types side by side, counted as one: the worse figure of the two throughout")


def _most_unequal(pair: tuple[ModulesOnHand, ModulesOnHand]) -> tuple[Finding, Finding]:
    """Aged resistance of the two, the smaller first, as far apart as the figures allow.

    A worst module on the bench may bring the two nearer: the others of its type are stiffer.
    """
    first, second = pair
    cases = [(_aged_resistance(a, a.least_growth), _aged_resistance(b, b.resistance_growth))
             for a, b in ((first, second), (second, first))]
    return max(cases, key=lambda case: case[1].number / case[0].number)


def _aged_resistance(on_hand: ModulesOnHand, growth: Finding) -> Finding:
    one = leaf("at 10 s, 25 °C, 50 %", "k", "", 1.0, "definition")
    return trace(formulas.resistance_under_load, f"aged resistance of {on_hand.module.title}",
                 resistance=on_hand.module.resistance_high, temperature_ratio=one,
                 charge_ratio=one, pulse_ratio=one, growth=growth)


def _same_cells(first: ModuleType, second: ModuleType) -> Finding:
    if first.parallel == second.parallel:
        return first.cells_in_parallel
    return replace(first.cells_in_parallel, value=None,
                   note="differs between the two types, or is not known")


def _initial(both: tuple[ModuleType, ModuleType]) -> Finding:
    """Lower first-millisecond resistance; where one is not measured, from its 10 s value."""
    if not any(m.resistance_initial.known for m in both):
        return both[0].resistance_initial
    one = leaf("of a cell as warm as at its reading", "b", "", 1.0, "definition")
    found = [m.resistance_initial if m.resistance_initial.known else trace(
        formulas.initial_resistance, resistance=m.resistance_low, hot_ratio=one,
        initial_ratio=m.cell.figure("initial_ratio", "first millisecond to 10 s", "a", ""))
        for m in both]
    return smallest(found, "resistance of a module in the first millisecond, lower of the two")
