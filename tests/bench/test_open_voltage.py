"""Isolation at a highest working voltage of which more may be true: nothing passes on it.

Every scenario is invented. 500 Ω/V is UN R100's, 5.1.3.4; the modules may use up half of the
leakage, a rule of this project, so that N modules at U are asked 500·U·N/0.5 each.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from packcalc import highest_voltage
from packcalc.bench.door import grade_file
from packcalc.bench.grade import GradedModule, grade_sheet
from packcalc.bench.isolation import judge_together
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.findings import AT_LEAST, BOUNDED, Finding, leaf
from packcalc.highest_voltage import asked_of_bench
from packcalc.reading.bench_brief import default_bench
from packcalc.reading.brief_file import read_brief

from .rows import GOOD, bench_of, sheet_of
from .test_salvage_facts import brief

TRUCK = Path(__file__).parents[2] / "examples" / "truck"
CEILING = "contactors open under charge: charger at its own ceiling"
TO_STATE = "or give bench.pack_voltage, the most that it may be"


def highest(volts: float = 450.0, note: str = f"{AT_LEAST}; not evaluated: {CEILING}") -> Finding:
    return leaf("highest working voltage of 16S1P", "U", "V", volts, "given", note=note)


def module(volts: Finding, **changes: str) -> GradedModule:
    """One of sixteen, each asked 7.2 MΩ at 450 V and 8.0 MΩ at 500 V."""
    bench = default_bench()
    bench = replace(bench, modules_in_pack=replace(bench.modules_in_pack, value=16.0))
    return grade_sheet(sheet_of({**GOOD, **changes}), bench, highest=volts).modules[0]


def insulation(found: GradedModule):
    return next(c for c in found.reasons if c.title == "insulation to the case")


# --- the lot ---------------------------------------------------------------------------------

@pytest.mark.parametrize(("megohm", "open_verdict", "verdict"), [
    (0.2, FAIL, FAIL), (0.3, NOT_EVALUATED, CAUTION), (0.45, NOT_EVALUATED, PASS),
    (50.0, NOT_EVALUATED, PASS)])
@pytest.mark.parametrize("governed", ["", f"; governed by: inverter's absolute maximum, {BOUNDED}"])
def test_a_lot_passes_at_no_lower_bound(megohm, open_verdict, verdict, governed):
    """The pack needs 500 Ω/V · 450 V = 225 kΩ, its modules 450 kΩ."""
    def held(volts):
        return judge_together("t", "1 module", [megohm * 1e6], bench_of(), volts, remedy="dry it")
    open_ = held(highest(note=f"{AT_LEAST}; not evaluated: {CEILING}{governed}"))
    assert open_.verdict == open_verdict and held(highest(note="")).verdict == verdict
    assert "500.0 Ω/V at 450.0 V or more, highest working voltage of 16S1P" in open_.reason
    assert "or more" not in held(highest(note="")).sentence
    if open_verdict == NOT_EVALUATED:
        assert open_.remedy == f"find {CEILING}; {TO_STATE}" + \
            ("; dry it" if verdict == CAUTION else "")


# --- one module ------------------------------------------------------------------------------

@pytest.mark.parametrize(("megohm", "dial", "grade", "told"), [
    ("7.3", "450", "undecided", "read with 450.0 V, which speaks for no more than that"),
    ("550", "450", "undecided", "which speaks for no more than that"),
    ("7.3", "500", "undecided", "read with 500.0 V, which asks 8.000 MΩ"),
    ("8.0", "500", "keep", "read with 500.0 V, and holds up to that"),
    ("7.1", "500", "reject", ""),
    ("550", "250", "undecided", "less than the pack's 450.0 V or more"),
    ("550", "", "undecided", "the tester's voltage was not noted")])
def test_a_reading_speaks_up_to_the_dial_of_its_tester(megohm, dial, grade, told):
    found = module(highest(), insulation_Mohm=megohm, insulation_voltage_V=dial)
    held = insulation(found)
    assert found.grade == grade and held.verdict != PASS and told in held.reason
    assert bool(found.bars) is (grade == "undecided")
    if "may be more than 450.0 V" in held.reason:
        assert held.remedy == f"find {CEILING}; {TO_STATE}"


def test_a_settled_voltage_is_held_as_before():
    found = module(highest(note=""), insulation_Mohm="7.3", insulation_voltage_V="450")
    assert found.grade == "keep" and insulation(found).verdict == PASS


# --- as a user meets it ----------------------------------------------------------------------

def test_the_truck_with_its_charger_and_braking_left_open(tmp_path):
    """Its M01 at 7.3 MΩ and 450 V; the user states 500 V at most, and it is settled: rejected."""
    text = (TRUCK / "brief.toml").read_text("utf-8").replace("../parts.csv",
                                                             str(TRUCK.parent / "parts.csv"))
    for name, section in (("voltage_limit", "[regeneration]"), ("voltage_range", "[charger]")):
        head, _, tail = text.partition(section)
        before, line, after = tail.partition(f"\n{name} = ")
        assert line
        text = f'{head}{section}{before}{line}"unknown"\n{after.partition(chr(10))[2]}'
    path, sheet = tmp_path / "brief.toml", tmp_path / "bench.csv"
    lines = (TRUCK / "bench.csv").read_text("utf-8").splitlines()
    own = next(i for i, line in enumerate(lines) if line.startswith("M01,"))
    cells = lines[own].split(",")
    lines[own] = ",".join([*cells[:2], "7.3", "450", *cells[4:]])
    sheet.write_text("\n".join(lines), "utf-8")
    path.write_text(text, "utf-8")
    asked = read_brief(path)
    lot = grade_file(sheet, asked, asked_of_bench(asked)[0])
    assert lot.modules[0].grade == "undecided"
    together = next(c for c in lot.checks if c.title.startswith("isolation of the kept"))
    assert together.verdict == NOT_EVALUATED and "at 450.0 V or more" in together.reason
    assert CEILING in together.remedy and "contactor opens under braking" in together.remedy
    path.write_text(text.replace("[bench]\n", '[bench]\npack_voltage = "500 V"\n'), "utf-8")
    asked = read_brief(path)
    lot = grade_file(sheet, asked)
    assert lot.modules[0].grade == "reject" and len(lot.of_grade("keep")) >= 15
    assert next(c for c in lot.checks if c.title == together.title).verdict == PASS


def test_the_largest_of_several_says_errs_high_only_where_it_is_settled(monkeypatch):
    def told(note: str) -> str:
        monkeypatch.setattr(highest_voltage, "voltage_of", lambda asked, one: leaf(
            f"highest of {one.label}", "U", "V", 25.4 * one.series, "computed", note=note))
        return asked_of_bench(brief(6))[0].title
    assert told("").endswith("layouts that fit (errs high)")
    assert told(f"{AT_LEAST}; not evaluated: {CEILING}").endswith("layouts that fit")
