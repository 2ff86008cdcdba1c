"""Every formula of packcalc, gathered from the rooms that hold them."""

from __future__ import annotations

import importlib

from packcalc.findings import Formula, formulas

ROOMS = (
    "packcalc.cell_formulas",
    "packcalc.conductors",
    "packcalc.electrical",
    "packcalc.mixes",
    "packcalc.transients",
    "packcalc.distances",
    "packcalc.isolation_formulas",
    "packcalc.monitoring",
    "packcalc.curves",
    "packcalc.fuse_formulas",
    "packcalc.part_formulas",
    "packcalc.protect.faults",
    "packcalc.protect.coordination",
    "packcalc.protect.contactor",
    "packcalc.protect.states",
    "packcalc.bench.rules",
    "packcalc.bench.teardown",
    "packcalc.bench.stored",
    "packcalc.bench.sharing",
    "packcalc.bench.balance",
    "packcalc.bench.meaning",
    "packcalc.protect.branch_figures",
    "packcalc.protect.strings",
    "packcalc.protect.string_shares",
    "packcalc.protect.places",
    "packcalc.protect.overvoltage",
    "packcalc.worst_measured",
    "packcalc.handover.bands",
    "packcalc.handover.inside",
)


def all_formulas() -> dict[str, Formula]:
    """Every registered formula by name."""
    for room in ROOMS:
        importlib.import_module(room)
    return formulas()
