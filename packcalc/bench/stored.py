"""Energy that stands in modules at most: what a fire, a burn and a rule on sections go by.

Every hazard figure counts the highest published curve and all of the label, or the state of
health where that is more: a module that holds more than it is taken for errs the dangerous
way. Usable energy is counted the other way round, in `packcalc.pack`.
"""

from __future__ import annotations

import functools

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.brief import Brief, ModulesOnHand
from packcalc.cell_formulas import module_voltage
from packcalc.findings import Finding, Origin, formula, largest, leaf, trace
from packcalc.mixes import SideBySide
from packcalc.modules import ModuleType
from packcalc.pack import PackModel
from packcalc.screening import MEAN_POINTS, MEAN_SHARES

RULE = Origin("rule")
TITLE = "energy stored when full, at most"
LABEL = leaf("all of the label", "SOH", "%", 1.0, "definition", origin=RULE,
             note="the most a worn module is taken to hold, for hazards alone")
FULL = leaf("full", "SOC", "%", 1.0, "definition", origin=RULE)
EMPTY = leaf("empty", "SOC", "%", 0.0, "definition", origin=RULE)
ONE = leaf("one module", "P", "", 1.0, "definition", origin=RULE)


@formula(title="energy of full modules at most", symbol="W_max", unit="kWh",
         text="W_max = S · P · W_m",
         inputs={"series": "S [] in series", "parallel": "P [] in parallel",
                 "module_energy": "W_m [kWh] of one full module at most"}, basis="definition",
         safe_side="high: highest curve, all of the label")
def modules_energy(series, parallel, module_energy):
    """Energy of all modules of one type.

    Examples:
        >>> round(modules_energy(16, 1, 5.2 * 3.6e6) / 3.6e6, 1)
        83.2
    """
    return series * parallel * module_energy


def highest_mean(module: ModuleType) -> Finding:
    """Mean voltage of one module from empty to full on its highest curve, or its label's.

    Where no curve may be assumed, the voltage of a full module: at rest none has more.
    """
    if module.needs_bench:
        return trace(module_voltage, "highest mean voltage of one module, counted as when full",
                     symbol="U_m", cells_in_series=module.cells_in_series,
                     cell_voltage=module.full_voltage,
                     note=f"no curve of {module.chemistry} may be assumed; errs high")
    curve = leaf("mean voltage from empty to full, highest curve, one module", "U_m", "V",
                 float(np.mean(mod.ocv_high(module, MEAN_SHARES))), "computed",
                 source="packcalc-rule", origin=Origin(f"curve of {module.title}"),
                 note=f"mean of {MEAN_POINTS} evenly spaced points")
    label = trace(module_voltage, "nominal voltage of a module", symbol="U_m",
                  cells_in_series=module.cells_in_series, cell_voltage=module.nominal_voltage)
    return largest([curve, label], "highest mean voltage of one module")


def of_module(module: ModuleType, health: Finding | None = None) -> Finding:
    """Energy of one full module at most.

    Args:
        module: the type.
        health: state of health; counts only where it is more than all of the label.
    """
    capacity = trace(el.pack_capacity, "capacity of one module at most", parallel=ONE,
                     module_capacity=module.capacity, state_of_health=_most(health))
    return trace(el.energy_between, "energy of one full module at most", symbol="W_m",
                 capacity=capacity, upper=FULL, lower=EMPTY, voltage=highest_mean(module))


def of_type(on_hand: ModulesOnHand) -> Finding:
    """The same for modules on hand; of two types side by side the one that stores more."""
    both = on_hand.both if isinstance(on_hand, SideBySide) else (on_hand,)
    return largest([of_module(o.module, o.stated_health) for o in both],
                   "energy of one full module at most")


def of_pack(brief: Brief, pack: PackModel) -> Finding:
    """Energy of the whole pack when full, at most: the one figure of every page."""
    parts = [trace(modules_energy, TITLE, series=leaf(
        "modules in series", "S", "", part.series, "definition", origin=Origin("layout")),
        parallel=pack.parallel, module_energy=of_type(brief.modules[part.entry]))
        for part in pack.layout.parts]
    return functools.reduce(lambda a, b: trace(el.series_sum, TITLE, symbol="W_max", unit="kWh",
                                               first=a, second=b), parts)


def _most(health: Finding | None) -> Finding:
    return LABEL if health is None or not health.known else largest(
        [LABEL, health], "state of health at most")
