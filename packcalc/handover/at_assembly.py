"""At what charge modules are joined, and what a voltmeter then shows.

The plan of the bench decides: its one rest voltage, or every module full where a rest voltage
cannot tell the charge. Without a plan the same question is put to the module's own curve.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from packcalc import modules as mod
from packcalc.bench.balance import (
    TOLD_WITHIN,
    WITHIN,
    BalancePlan,
    charge_from_voltage,
    voltage_at,
)
from packcalc.findings import Finding, Origin, leaf
from packcalc.modules import ModuleType
from packcalc.value import value_object

STORED = (0.30, 0.50)
FULL = (0.95, 1.00)   # charged fully, then rested an hour or more (our rule)
RULE, PLAN = Origin("rule"), Origin("plan before joining")


@value_object
class AtAssembly:
    """Charge of every module when it is joined.

    Attributes:
        words: what the bands of the voltmeter count on.
        order: what is done before joining.
        charge: that the energy is counted with.
        span: lowest and highest charge; None where the plan names a voltage.
        voltage: rest voltage of one module by the plan [V]; NaN where it names a span.
    """

    words: str
    order: str
    charge: Finding
    span: tuple[float, float] | None
    voltage: float = float("nan")

    @property
    def full(self) -> bool:
        return self.span == FULL

    def edges(self, modules: Sequence[ModuleType]) -> tuple[float, float] | None:
        """Band of the voltmeter across modules in series; None where no curve is known."""
        if self.span is None:
            cells = sum(m.series for m in modules)
            middle = self.voltage * len(modules)
            return middle - WITHIN * cells, middle + WITHIN * cells
        if any(m.needs_bench for m in modules):
            return None
        low, high = self.span
        # A full module falls from the charger's end voltage for hours: that is its upper edge.
        return (sum(float(mod.ocv_low(m, low)) for m in modules),
                sum(m.series * m.full_voltage.number if self.full else
                    float(mod.ocv_high(m, high)) for m in modules))


def at_assembly(modules: Sequence[ModuleType], plan: BalancePlan | None = None) -> AtAssembly:
    """What a layout's modules are joined at.

    Args:
        modules: types of the layout.
        plan: of the bench; None without one.
    """
    if plan is not None and np.isfinite(plan.voltage):
        most = max((s.band for s in plan.steps if np.isfinite(s.band)), default=0.0)
        charge = leaf("charge at building, its largest give or take added", "z", "%",
                      min(plan.target + most, 1.0), "definition", origin=PLAN)
        return AtAssembly(
            f"every module brought to a rest voltage of {plan.voltage:.2f} V by the plan of "
            "packcalc assign, within 10 mV a cell",
            f"at one charge: the plan of packcalc assign brings every module to "
            f"{plan.voltage:.2f} V at rest", charge, None, plan.voltage)
    if plan is not None or any(_flat(m) for m in modules):
        charge = leaf("charge at building: charged fully", "z", "%", 1.0, "definition",
                      origin=PLAN if plan is not None else RULE)
        why = "as the plan of packcalc assign asks" if plan is not None else \
            "rest voltage cannot tell the charge of this cell"
        return AtAssembly(
            f"every module charged fully and rested an hour, counted as 95 to 100 % (our rule); "
            f"{why}",
            f"charged fully one by one, every cell watched, then rested an hour ({why}). Full "
            "modules hold all their energy and burn harder: join them soon, never leave them",
            charge, FULL)
    charge = leaf("charge of 30 to 50 % at building (common practice)", "z", "%", STORED[1],
                  "common practice", origin=RULE)
    return AtAssembly("charge of 30 to 50 % at building (common practice)",
                      "at one charge: 30 to 50 % (common practice)", charge, STORED)


def _flat(module: ModuleType) -> bool:
    """Whether a rest voltage leaves more charge open than the plan lets pass."""
    if module.needs_bench:
        return False
    middle = sum(STORED) / 2
    least, most = charge_from_voltage(module, voltage_at(module, middle))
    return most - least > TOLD_WITHIN
