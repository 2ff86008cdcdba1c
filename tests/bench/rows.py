"""Rows of made-up bench sheets for tests; figures are invented."""

from __future__ import annotations

from dataclasses import replace

from packcalc.bench.grade import GradedLot, GradedModule, grade_sheet
from packcalc.bench.sheet import BenchRow, BenchSheet
from packcalc.brief import Bench
from packcalc.reading.bench_brief import default_bench
from packcalc.reading.bench_sheet import parse_sheet

GOOD = {
    "mark": "M1", "module": "nmc-6s-240ah", "insulation_Mohm": "550",
    "insulation_voltage_V": "500", "rest_voltage_V": "22.20", "rest_date": "2026-03-01",
    "rest_temperature_degC": "21", "lowest_cell_V": "3.698", "highest_cell_V": "3.703",
    "resistance_mohm": "1.90", "resistance_current_A": "240", "resistance_pulse_s": "10",
    "resistance_temperature_degC": "25", "resistance_charge_percent": "50",
    "capacity_Ah": "210", "capacity_current_A": "48", "capacity_temperature_degC": "25",
    "first_voltage_V": "22.20", "first_date": "2026-03-02", "first_temperature_degC": "21",
    "second_voltage_V": "22.19", "second_date": "2026-03-30", "second_temperature_degC": "21",
    "mass_kg": "33", "crash": "no", "water": "no", "damage": "none", "lifetime_record": "yes",
    "expiry": "2035-01-01"}


def text_of(*rows: dict[str, str], separator: str = ",") -> str:
    heads = list(dict.fromkeys(head for row in rows for head in row))
    lines = [heads, *([row.get(head, "") for head in heads] for row in rows)]
    return "\n".join(separator.join(line) for line in lines) + "\n"


def sheet_of(*rows: dict[str, str]) -> BenchSheet:
    sheet, faults = parse_sheet(text_of(*rows), "b.csv")
    assert not faults, [str(f) for f in faults]
    return sheet


def row_of(**changes: str) -> BenchRow:
    return sheet_of({**GOOD, **changes}).rows[0]


def bench_of(**changes: float) -> Bench:
    bench = replace(default_bench(), pack_voltage=replace(default_bench().pack_voltage, value=450.0,
                                                          basis="given"))
    for name, value in changes.items():
        bench = replace(bench, **{name: replace(getattr(bench, name), value=value)})
    return bench


def lot_of(*rows: dict[str, str], bench: Bench | None = None) -> GradedLot:
    return grade_sheet(sheet_of(*rows), bench or bench_of())


def graded(**changes: str) -> GradedModule:
    """One module graded, with sixteen places that its isolation line is drawn for."""
    return lot_of({**GOOD, **changes}, bench=bench_of(modules_in_pack=16)).modules[0]
