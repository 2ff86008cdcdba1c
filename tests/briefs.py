"""One invented brief from which tests of layouts start, and what an entry is changed to."""

from __future__ import annotations

import copy
import re
from pathlib import Path
from typing import Any

from packcalc.brief import Brief
from packcalc.reading.brief_file import brief_from_data, read_brief

EXAMPLES = sorted((Path(__file__).parents[1] / "examples").glob("*/brief.toml"))

MODULE: dict[str, Any] = {
    "id": "invented-12s-100ah", "title": "invented 12s 100 Ah", "chemistry": "NMC",
    "cells_in_series": 12, "cells_in_parallel": 2, "capacity": "100 Ah",
    "resistance": "9 mΩ", "resistance_pulse": "10 s", "resistance_temperature": "25 degC",
    "resistance_charge": "50 %", "resistance_1khz": "5 mΩ", "mass": "25 kg",
    "continuous_current": "150 A", "peak_current": "400 A", "charge_rate": 0.5,
    "count": 20, "state_of_health": "80 %", "resistance_growth": 1.2,
}

DATA: dict[str, Any] = {
    "modules": [MODULE],
    "inverter": {"voltage_range": "260 V to 430 V", "absolute_maximum": "450 V",
                 "full_power_from": "280 V", "dc_link_capacitance": "1 mF",
                 "dc_link_tolerance": "10 %"},
    "power": {"peak": "60 kW", "peak_duration": "10 s", "continuous": "25 kW"},
    "regeneration": {"power": "20 kW", "duration": "10 s", "follows_charge_limit": "no"},
    "charger": {"power": "6.6 kW", "tolerance": "1 %", "voltage_range": "100 V to 460 V"},
    "battery": {"charge_lowest": "10 %", "charge_highest": "100 %", "coldest_start": "10 degC",
                "hottest": "40 degC"},
    "path": {"link_resistance": "0.1 mΩ", "fuse_resistance": "0.4 mΩ",
             "contactor_resistance": "0.3 mΩ"},
    "cables": {"route": [{"name": "battery to inverter", "length": "4 m"}]},
    "parts": {"connector": "none"},
}


def module(**changes: Any) -> dict[str, Any]:
    """The invented module with entries changed; None leaves one out."""
    return {k: v for k, v in {**MODULE, **changes}.items() if v is not None}


def asked(modules: list[dict[str, Any]] | None = None, **changes: Any) -> Brief:
    """The invented brief with entries changed.

    Args:
        modules: in place of the one module.
        changes: "section__key" or a top-level key to its new text; None leaves it open.
    """
    data = copy.deepcopy(DATA)
    if modules is not None:
        data["modules"] = modules
    for name, value in changes.items():
        section, _, key = name.rpartition("__")
        table = data.setdefault(section, {}) if section else data
        table[key] = value
    return brief_from_data(data, "test")


def without_parts(text: str) -> str:
    """An example's text with no parts list, branch, named part or management system."""
    kept: list[str] = []
    for block in re.split(r"\n(?=\[)", text):
        if not block.startswith(("[parts]", "[[branch]]", "[management]", "[bench]", "[donor]")):
            kept.append(re.sub(r"(?m)^cable = .*\n", "", block))
    return "\n".join(kept) + "\n"


def examples() -> dict[str, Brief]:
    """Every shipped example by the name of its folder."""
    return {path.parent.name: read_brief(path) for path in EXAMPLES}
