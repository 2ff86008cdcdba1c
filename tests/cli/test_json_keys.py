"""The keys of `--format json`: our own earlier output, pinned.

Nothing here is a check against the outside. A script that reads packcalc's JSON may rely on
these names; changing one is a break that the changelog must tell. New keys may be added.
"""

from __future__ import annotations

import json
import re

import pytest

from tests.cli.runner import GOOD, run

ALWAYS = ("packcalc", "title", "subtitle", "cautions", "deference", "meta", "captions", "notes",
          "paragraphs", "figures", "findings")
META = ("version", "brief", "date_of_issue", "input_digest")
FINDING = ("title", "symbol", "value", "unit", "value_SI", "shown", "formula", "numbers", "inputs",
           "basis", "weakest_basis", "source", "origin", "governing", "note")
ORIGIN = ("file", "line", "key", "text")
RULE = ("name", "text", "range", "safe_side", "where")

LAYOUT = ("layout", "arrangement", "cells", "highest_voltage_V", "full_voltage_V",
          "regeneration_voltage_V", "nominal_voltage_V", "loaded_voltage_V", "total_energy_kWh",
          "usable_energy_kWh", "available_power_kW", "continuous_power_kW", "peak_current_A",
          "module_peak_current_A", "rate_per_h", "mass_kg", "modules_used", "modules_left",
          "monitor_channels", "smallest_margin_percent", "modules", "module_entries")
MISS = ("layout", "arrangement", "cells", "fails", "change", "modules", "module_entries")
DUTY = ("quantity", "symbol", "value", "unit", "basis", "note")
CHECK = ("check", "verdict", "why", "remedy")
SPECIFICATION = ("what", "value", "why")
CANDIDATE = ("candidate", "verdict", "failed", "not_evaluated")
SOURCE = ("source", "title", "edition", "kind", "seen", "note")
NEXT = ("entry", "meaning", "taken", "swing_percent", "moves", "consequence", "find")
FIRST = ("highest_voltage_V", "fault_highest_A", "fault_lowest_A", "least_fuse_rating_A",
         "stored_energy_kWh")
DECISION = ("number", "what", "verdict", "figure", "basis", "mark", "decision", "digest", "part",
            "stage", "grounds", "standing", "marks", "chain", "also")
FAILING = ("part", "stage", *CHECK)

PARTS = {f"{part}_{kind}": keys
         for part in ("main_fuse", "contactors", "precharge", "cable_battery_to_inverter")
         for kind, keys in (("duty", DUTY), ("specification", SPECIFICATION),
                            ("candidates", CANDIDATE), ("first", CHECK))}
CHOSEN = ("layout", "arrangement", "cells", "modules_used", "modules_left", "monitor_channels",
          "curve_spread_V")
PROTECT = {"first": FIRST, "layout": CHOSEN, "failing": FAILING, "highest_voltage_duty": DUTY,
           "highest_voltage_checks": CHECK, **PARTS, "sources": SOURCE}

KEYS: dict[str, tuple[list[str], dict[str, tuple[str, ...]]]] = {
    "check": (["check", "{brief}"], {"find_next": NEXT}),
    "layouts": (["layouts", "{brief}"], {"layouts": LAYOUT, "near_misses": MISS}),
    "protect": (["protect", "{brief}"], PROTECT),
    "report": (["report", "{brief}"], {
        **PROTECT, "layouts": LAYOUT, "near_misses": MISS, "find_next": NEXT,
        "inputs": ("entry", "meaning", "value", "basis", "origin", "note"),
        "module_figures": ("module", "figure", "value", "basis", "note"),
        "corner_figures": DUTY,
        "corners": ("charge_percent", "temperature_degC", "age", "strings_in", "open_circuit_V",
                    "resistance_mohm", "current_A", "loaded_V", "available_kW"),
        "decisions_grave": DECISION, "decisions_rest": DECISION,
        "review_file": ("design", "layout", "input_digest"),
        "signatures": ("role", "checked", "not_checked", "name", "licence", "signature", "date"),
        "signature_questions": ("number", "question", "why", "answer", "by")}),
    "library list": (["library", "list"], {
        "modules": ("id", "chemistry", "cells", "capacity_Ah", "energy_kWh", "full_voltage_V",
                    "mass_kg"),
        "cell_classes": ("chemistry", "empty_voltage_V", "nominal_voltage_V", "full_voltage_V",
                         "curves", "meaning")}),
    "library show": (["library", "show", "nmc-6s-240ah"], {
        "record_figures": ("quantity", "symbol", "value", "unit", "basis"),
        "provenance": ("figure", "basis", "source", "note"),
        "curves": ("curve", "basis", "source", "note", "points"),
        "charge_bands": ("above_degC", "up_to_degC", "rate_per_h", "source")}),
    "library show class": (["library", "show", "LFP"], {
        "class_figures": ("quantity", "symbol", "value", "unit", "basis"),
        "law_temperature": ("at_degC", "ratio_low", "ratio_high"),
        "law_charge": ("at_percent", "ratio_low", "ratio_high"),
        "law_pulse": ("at_s", "ratio_low", "ratio_high")}),
    "formulas": (["formulas"], {
        "own_rules": ("name", "takes", "safe_side"),
        "formulas": ("name", "title", "formula", "unit", "basis", "source", "room"),
        "sources": SOURCE}),
    "one formula": (["formulas", "constant_power_current"], {
        "inputs": ("symbol", "unit", "meaning", "parameter"),
        "facts": ("name", "result", "range", "safe_side", "basis", "source", "where", "seen"),
        "worked_example": ("call", "result")}),
}


@pytest.fixture(scope="module")
def answers(tmp_path_factory) -> dict[str, dict]:
    brief = tmp_path_factory.mktemp("json") / "b.toml"
    brief.write_text(GOOD, "utf-8")
    return {name: json.loads(run(*(a.format(brief=brief) for a in args), "--format", "json").out)
            for name, (args, _) in KEYS.items()}


@pytest.mark.parametrize("name", KEYS)
def test_documented_keys_are_there(answers, name) -> None:
    found = answers[name]
    assert [key for key in ALWAYS if key not in found] == []
    for key, columns in KEYS[name][1].items():
        assert key in found, key
        rows = found[key] if isinstance(found[key], list) else [found[key]]
        assert rows, f"{key} is empty: the pin would hold nothing"
        for row in rows:
            assert [column for column in columns if column not in row] == [], key


@pytest.mark.parametrize("name", ["check", "layouts", "protect", "report"])
def test_meta_of_a_brief(answers, name) -> None:
    assert tuple(answers[name]["meta"]) == META
    assert answers[name]["meta"]["version"] == answers[name]["packcalc"]


def test_findings_keep_their_chain(answers) -> None:
    found = answers["report"]["findings"]
    assert len(found) > 100
    for finding in found.values():
        assert tuple(finding) == FINDING
        assert all(name in found for name in finding["inputs"])
        assert finding["origin"] is None or tuple(finding["origin"]) == ORIGIN
        assert finding["formula"] is None or tuple(finding["formula"]) == RULE


def test_numbers_are_numbers(answers) -> None:
    """A key that ends in a unit holds a number or null, never a text with a unit."""
    ends = re.compile(r"_(V|A|kW|kWh|Ah|kg|percent|degC|mohm|s|per_h)$")
    words = ("cannot deliver", "data-sheet rate", "not known")
    for name, found in answers.items():
        for key, value in found.items():
            rows = value if isinstance(value, list) else [value]
            for row in (r for r in rows if isinstance(r, dict)):
                for column, cell in row.items():
                    if ends.search(column):
                        # a bound is no figure to count with: it stays in words
                        assert cell is None or isinstance(cell, (int, float)) or cell in words \
                            or cell.startswith(("at most ", "at least ")), (name, key, column, cell)


def test_the_notation_of_the_issue(answers) -> None:
    first = answers["layouts"]["layouts"][0]
    assert re.fullmatch(r"\d+S\d+P", first["layout"])
    assert first["arrangement"] in ("grouped", "strings")
    assert re.fullmatch(r"\d+s\d+p", first["cells"])
