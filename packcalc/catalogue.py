"""Every formula of packcalc, gathered from the rooms that hold them."""

from __future__ import annotations

import importlib

from packcalc.findings import Formula, formulas

ROOMS = (
    "packcalc.cells",
    "packcalc.modules",
    "packcalc.conductors",
    "packcalc.electrical",
    "packcalc.transients",
    "packcalc.protect.faults",
    "packcalc.protect.fuse",
    "packcalc.protect.contactor",
    "packcalc.protect.cable",
    "packcalc.protect.precharge",
)


def all_formulas() -> dict[str, Formula]:
    """Every registered formula by name."""
    for room in ROOMS:
        importlib.import_module(room)
    return formulas()
