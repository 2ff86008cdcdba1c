"""Studies and pictures for the tests of drawings: every example, and briefs made for corners."""

from __future__ import annotations

import functools
import tomllib
from pathlib import Path
from typing import Any

from packcalc.api import make_brief
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.report.document import Figure
from packcalc.report.drawings.modules_layout import modules_layout_figure
from packcalc.report.drawings.one_line import one_line_figure
from packcalc.report.drawings.precharge_traces import precharge_traces_figure
from packcalc.report.drawings.voltage_picture import voltage_picture_figure

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
HOSTILE = '</text></svg><script>window.broken = 1</script>& "x" \' ]]>'
MAKERS = {"one_line": one_line_figure, "modules_layout": modules_layout_figure,
          "voltage_picture": voltage_picture_figure, "precharge_traces": precharge_traces_figure}

BRANCHES = [
    {"name": HOSTILE, "kind": "heater", "power": "6 kW", "fuse_rating": "32 A",
     "fused_poles": "both", "taps": "behind the contactors"},
    {"name": "DC/DC converter", "kind": "DC/DC converter", "power": "2 kW", "fuse_rating": "20 A",
     "taps": "behind the main fuse"},
    {"name": "lead of the voltmeter on the dash with a name that is much too long for a label",
     "kind": "sense", "current": "0.01 A", "taps": "before the main fuse"},
]
MANY = [{"record": "lfp-8s-100ah", "count": 200, "state_of_health": "86 %",
         "resistance_growth": 1.15}]

# name: (example, changed sections, layout, arrangement)
CASES: dict[str, tuple[str, dict[str, Any], str, str]] = {
    "truck": ("truck", {}, "", ""),
    "van": ("van", {}, "", ""),
    "minibus": ("minibus", {}, "12S2P", "grouped"),
    "minibus in strings": ("minibus", {}, "12S2P", "strings"),
    "every part": ("truck", {
        "path": {"main_fuse": "both poles", "insulation_monitor": "opens the contactors"},
        "pack": {"disconnect_after": 8, "fuse_after": 8}, "branch": BRANCHES}, "", ""),
    "main fuse in the middle": ("truck", {
        "path": {"main_fuse": "mid-pack", "insulation_monitor": "warns"},
        "pack": {"disconnect_after": 5, "fuse_after": 10}}, "16S1P", "grouped"),
    "strings with parts inside": ("minibus", {
        "path": {"insulation_monitor": "warns"},
        "pack": {"disconnect_after": 6, "fuse_after": 9}}, "12S2P", "strings"),
    "nine strings": ("van", {"modules": MANY, "path": {"main_fuse": "mid-pack"},
                             "pack": {"fuse_after": 2}}, "5S9P", "strings"),
    "groups of thirty": ("van", {"modules": MANY}, "5S30P", "grouped"),
    "load that wakes early": ("truck", {"inverter": {"discharge_resistance": "unknown"},
                                        "precharge": {"load": [
        {"name": "heater", "kind": "constant power", "power": "3 kW",
         "wakes_at": "60 V"}]}}, "", ""),
    "resistor not known": ("minibus", {"inverter": {"discharge_resistance": "unknown"}}, "12S2P",
                           "grouped"),
    "no absolute maximum": ("faulty", {"inverter": {"absolute_maximum": "unknown"}}, "", ""),
    "unknowns": ("truck", {
        "charger": {"voltage_range": "unknown"}, "precharge": {"time_limit": "unknown"},
        "inverter": {"dc_link_capacitance": "unknown", "discharge_resistance": "15 kΩ"}}, "", ""),
}


@functools.lru_cache(maxsize=None)
def study(case: str) -> ProtectionStudy:
    """The study of a case."""
    example, changes, layout, arrangement = CASES[case]
    data = tomllib.loads((EXAMPLES / example / "brief.toml").read_text("utf-8"))
    for name, value in changes.items():
        if isinstance(value, dict):
            data.setdefault(name, {}).update(value)
        else:
            data[name] = value
    # Placed beside the example, so that its parts list is found.
    return study_protection(make_brief(data, str(EXAMPLES / example / "brief.toml")), layout,
                            arrangement)


@functools.lru_cache(maxsize=None)
def figure(case: str, maker: str) -> Figure:
    """One picture of a case."""
    found = MAKERS[maker](study(case))
    assert found is not None
    return found


PICTURES = [(case, maker) for case in CASES for maker in MAKERS]
