"""Every column of the parts list is held against something: changing it changes a check.

One invented part of each kind is named in the truck's brief (invented); each column in turn
gets another value, and at least one check of the whole study must read differently. A column
that is read and then forgotten fails here.
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import pytest

from packcalc.parts import (
    CABLE, COLUMNS, CONNECTOR, CONTACTOR, DISCONNECT, FUSE, MANAGEMENT, RESISTOR,
)
from packcalc.protection import ProtectionStudy, protect_layout
from packcalc.reading.brief_file import read_brief
from packcalc.reading.parts_list import parts_from_text
from packcalc.report.compose import protection_document
from packcalc.report.data import as_dict
from packcalc.study import LayoutStudy, list_layouts
from tests.briefs import without_parts

pytestmark = pytest.mark.thorough

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
TEXT = without_parts((EXAMPLES / "truck" / "brief.toml").read_text("utf-8")).replace(
    'name = "battery to inverter"', 'name = "battery to inverter"\ncable = "W"') + """
[parts]
file = "parts.csv"
main_fuse = "F"
contactor = "C"
resistor = "R"
disconnect = "D"
management_system = "M"
"""
# They name a row or speak to the reviewer; `note` is held to be printed below.
NAMING = ("kind", "name", "note")

# (kind, column): value of the row, and another one. Invented throughout.
SWITCH = {
    "rated_voltage_dc": ("500 V", "600 V"), "continuous_current": ("300 A", "280 A"),
    "highest_ambient": ("65 degC", "70 degC"), "contact_resistance": ("0.1 mΩ", "0.15 mΩ"),
    "carry": ("10 s: 1200 A; 60 s: 900 A", "10 s: 1100 A; 60 s: 800 A"),
    "short_time": ("0.001 s: 40000 A; 1 s: 6000 A", "0.001 s: 30000 A; 1 s: 1500 A"),
    "terminal_limit": ("105 degC", "85 degC"),
}
BREAKS = {
    "break_discharge": ("3000 A", "2000 A"), "break_charge": ("3000 A", "2000 A"),
    "break_time_constant": ("2.5 ms", "1 ms"), "poles": ("1", "2"), "polarised": ("no", "yes"),
}
VALUES: dict[str, dict[str, tuple[str, str]]] = {
    FUSE: {
        "rated_voltage_dc": ("500 V", "600 V"), "rated_current": ("400 A", "500 A"),
        "class": ("gR", "aR"), "fusing_current": ("640 A", "700 A"), "breaking_capacity": ("50 kA", "40 kA"),
        "lowest_breaking_current": ("1500 A", "2500 A"),
        "permitted_time_constant": ("500 V: 8 ms", "500 V: 6 ms"),
        "melting": ("0.001 s: 6400 A; 0.1 s: 2240 A; 10 s: 1220 A",
                    "0.001 s: 6200 A; 0.1 s: 2200 A; 10 s: 1210 A"),
        "clearing": ("0.001 s: 8800 A; 0.1 s: 2640 A; 10 s: 1360 A",
                     "0.001 s: 8900 A; 0.1 s: 2700 A; 10 s: 1370 A"),
        "melting_i2t": ("38400 A2s", "30000 A2s"), "clearing_i2t": ("120000 A2s", "130000 A2s"),
        "clearing_i2t_at": ("500 V", "600 V"), "cut_off_current": ("16 kA", "12 kA"),
        "arc_voltage": ("950 V", "900 V"), "watt_loss": ("40 W", "50 W"),
        "derating_method": ("A", "B"), "link_constant": ("130 degC", "140 degC"),
        "rating_ambient": ("25 degC", "30 degC"), "fluctuation_factor": ("0.6", "0.7"),
        "conductor_factor": ("0.95", "0.9"), "cyclic_share": ("100000: 0.4", "100000: 0.5"),
        "ambient_factor": ("60 degC: 0.83", "60 degC: 0.8"),
        "terminal_limit": ("120 degC", "85 degC"),
    },
    CONTACTOR: {
        **SWITCH, **BREAKS, "make_current": ("1100 A", "900 A"),
        "permitted_time_constant": ("500 V: 2.5 ms", "500 V: 2 ms"),
        "make_and_pass": ("200000 A2s", "100000 A2s"), "opening_time": ("15 ms", "20 ms"),
    },
    CABLE: {
        "rated_voltage_dc": ("1000 V", "900 V"), "section": ("185 mm2", "150 mm2"),
        "insulation_class": ("150 degC", "125 degC"),
        "short_circuit_temperature": ("200 degC", "150 degC"),
        "resistance_per_length": ("0.106 mΩ/m", "0.105 mΩ/m"),
        "current_at_ambient": ("85 degC: 448 A", "85 degC: 400 A"),
    },
    RESISTOR: {
        "rated_voltage_dc": ("900 V", "800 V"), "resistance": ("220 Ω", "180 Ω"),
        "tolerance": ("5 %", "10 %"), "rated_power": ("300 W", "200 W"),
        "highest_ambient": ("70 degC", "40 degC"),
        "pulse_energy": ("1 s: 5000 J; 10 s: 15000 J", "1 s: 4000 J; 10 s: 10000 J"),
    },
    DISCONNECT: {**SWITCH, **BREAKS, "interlock": ("yes", "no"), "fuse_inside": ("no", "yes")},
    CONNECTOR: {**SWITCH, "section": ("240 mm2", "95 mm2"), "interlock": ("yes", "no"),
                "break_discharge": ("500 A", "100 A"),
                # its last point lies between the two cut-off currents of the fuse
                "short_time": ("0.001 s: 14000 A; 1 s: 6000 A", "0.001 s: 14000 A; 1 s: 1500 A")},
    MANAGEMENT: {
        "rated_voltage_dc": ("600 V", "400 V"), "cell_channels": ("96", "90"),
        "channels_each": ("6", "12"), "channel_low": ("0.5 V", "2.9 V"),
        "channel_high": ("5 V", "4 V"), "temperature_inputs": ("32", "16"),
        "sensor_range": ("2500 A", "200 A"), "sensor_error": ("1 %", "2 %"),
        "balance_current": ("120 mA", "100 mA"),
    },
}
for _entries in VALUES.values():
    _entries |= {"rated_voltage_ac": ("690 V", "600 V"), "basis": ("invented", "given")}
# What must stand empty for a column to speak: an AC figure beside none in DC, the other method.
APART = {"rated_voltage_ac": ("rated_voltage_dc",),
         "ambient_factor": ("link_constant", "rating_ambient"),
         "class": ("fusing_current",), "fusing_current": ("lowest_breaking_current",)}
NAMES = {FUSE: "F", CONTACTOR: "C", CABLE: "W", RESISTOR: "R", DISCONNECT: "D", CONNECTOR: "K",
         MANAGEMENT: "M"}
HELD = [(kind, c.name) for c in COLUMNS for kind in c.kinds if c.name not in NAMING]


def rows(kind: str = "", name: str = "", changed: bool = False) -> list[dict[str, str]]:
    """One part of each kind; the column in question stands in its row, changed or not."""
    found = []
    for each, values in VALUES.items():
        row = {"kind": each, "name": NAMES[each], "note": f"remark on {NAMES[each]}"}
        row |= {key: pair[0] for key, pair in values.items()
                if key not in ("rated_voltage_ac", "ambient_factor")}
        if each == kind:
            row |= {empty: "" for empty in APART.get(name, ())}
            row[name] = values[name][changed]
            if name == "ambient_factor":
                row["derating_method"] = "B"
        found.append(row)
    return found


def as_csv(parts: list[dict[str, str]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, [c.name for c in COLUMNS], restval="")
    writer.writeheader()
    writer.writerows(parts)
    return text.getvalue()


@pytest.fixture(scope="module")
def listed(tmp_path_factory) -> LayoutStudy:
    """The layouts of the brief, read once: the parts list does not move them."""
    folder = tmp_path_factory.mktemp("columns")
    (folder / "parts.csv").write_text(as_csv(rows()), "utf-8")
    (folder / "brief.toml").write_text(TEXT, "utf-8")
    return list_layouts(replace(read_brief(folder / "brief.toml"), branch=()))


def studied(listed: LayoutStudy, parts: list[dict[str, str]]) -> ProtectionStudy:
    brief = replace(listed.brief, parts=replace(
        listed.brief.parts, list=parts_from_text(as_csv(parts), "parts.csv")))
    return protect_layout(replace(listed, brief=brief), listed.layout(0))


def checks_of(study) -> list[tuple]:
    """Every check as it reads: verdict, figures with their grounds, reason."""
    held = [c for _, c in study.checks]
    held += [c for item in study.items for one in item.candidates for c in one.checks]
    return [(c.title, c.verdict, c.reason, c.to_confirm, *(
        f and (f.value, f.weakest) for f in (c.figure, c.demand))) for c in held]


def test_no_column_is_left_out():
    assert sorted((kind, name) for kind, values in VALUES.items() for name in values) == \
        sorted(HELD)


@pytest.fixture(scope="module")
def unchanged(listed) -> list[tuple]:
    """The checks of the list as it stands."""
    return checks_of(studied(listed, rows()))


@pytest.mark.parametrize(("kind", "name"), HELD, ids=lambda word: word)
def test_a_changed_value_changes_a_check(kind, name, listed, unchanged):
    plain = unchanged if rows(kind, name) == rows() else checks_of(
        studied(listed, rows(kind, name)))
    found = checks_of(studied(listed, rows(kind, name, changed=True)))
    assert set(found) != set(plain), f"{name} of a {kind} is held against nothing"


def test_a_remark_is_printed_with_its_part(listed):
    found = as_dict(protection_document(studied(listed, rows())))
    for key, name in (("main_fuse", "F"), ("contactors", "C"), ("precharge", "R"),
                      ("disconnect", "D"), ("connectors", "K"), ("management", "M"),
                      ("cable_battery_to_inverter", "W")):
        row = next(r for r in found[f"{key}_parts"] if r["part"] == name)
        assert row["remark"] == f"remark on {name}"
