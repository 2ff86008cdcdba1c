"""The worst module of the bench sheet counted for every one. Every brief and sheet is invented.

The truck's worst measured module gives a lower fault current than the brief's figures do: what
must open it has to be held to that one, on every page.
"""

from __future__ import annotations

import functools
import re
import tempfile
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from examples.regenerate import ROOT
from packcalc import api
from packcalc.bench.stored import of_pack
from packcalc.brief import Brief, ModulesOnHand
from packcalc.checks import FAIL, PASS
from packcalc.decisions import decisions
from packcalc.findings import Finding
from packcalc.layouts import Layout, Part
from packcalc.marks import ACCEPT, Mark
from packcalc.measured import measured_against
from packcalc.mixes import SideBySide, shared_limit, with_pairs
from packcalc.pack import model_pack
from packcalc.protection import ProtectionStudy, protect_layout, study_protection
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.report.compose import report_document
from packcalc.report.data import as_dict
from packcalc.review import ReviewFile, blank_file
from packcalc.review_change import _all_again, recheck
from packcalc.review_merge import merge
from packcalc.screening import screen_one
from packcalc.study import list_layouts
from packcalc.worst_measured import AsMeasured, Salvage, as_stated, with_worst
from tests.bench.rows import GOOD, lot_of
from tests.cli.runner import run

pytestmark = pytest.mark.thorough

TRIP = "a fixed current trip tells the lowest fault from the peak load"


def truck_in(folder: Path, *changes: tuple[str, str]) -> Path:
    """The truck's brief with its sheet and parts, entries of the text replaced."""
    text = (ROOT / "examples/truck/brief.toml").read_text("utf-8").replace("../parts", "parts")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    (folder / "parts.csv").write_bytes((ROOT / "examples/parts.csv").read_bytes())
    (folder / "bench.csv").write_bytes((ROOT / "examples/truck/bench.csv").read_bytes())
    (folder / "brief.toml").write_text(text, "utf-8")
    return folder / "brief.toml"


@functools.lru_cache(maxsize=None)
def truck(*changes: tuple[str, str], bench: bool = True) -> ProtectionStudy:
    """The truck sized as every command sizes it, or by its brief alone."""
    with tempfile.TemporaryDirectory() as folder:
        brief = read_brief(truck_in(Path(folder), *changes))
        return api.size_protection(brief) if bench else study_protection(brief)


LATE_TRIP = ('trip_current = "650 A"', 'trip_current = "850 A"')


def verdicts(study: ProtectionStudy, title: str) -> set[str]:
    return {c.verdict for _, c in study.checks if c.title == title}


# -- the lowest fault --------------------------------------------------------------------------


def test_a_trip_above_the_worst_modules_fault_fails():
    by_brief, study = truck(LATE_TRIP, bench=False), truck(LATE_TRIP)
    # 850 A and 1 % of 2500 A: 875 A, below 899.7 A by the brief, above 761.2 A with M13.
    assert by_brief.faults.lowest.number == pytest.approx(899.7, abs=0.1)
    assert study.faults.lowest.number == pytest.approx(761.2, abs=0.1)
    assert verdicts(by_brief, TRIP) == {PASS} and not by_brief.failing
    assert verdicts(study, TRIP) == {FAIL} and study.failing
    assert {d.verdict for d in decisions(study) if d.title == TRIP} == {FAIL}


@pytest.mark.parametrize("command", ["protect", "report", "review", "certify", "maintain"])
def test_every_command_that_sizes_says_so(tmp_path, command):
    brief = truck_in(tmp_path, LATE_TRIP)
    out = tmp_path / "page.txt"
    ran = run(command, str(brief), "--out", str(out))
    page = " ".join(out.read_text("utf-8").split())
    assert ran.code == 1
    assert "1.496 of M13 (the brief says 1.200)" in page


def test_the_figure_is_that_of_a_brief_that_says_the_same():
    """Two ways to one answer: what the bench shows, written into the brief by hand."""
    study, plain = truck(), truck(bench=False)
    (counted,) = study.brief.modules
    (entry,) = plain.brief.modules
    said = replace(entry, **{
        name: replace(getattr(entry, name), value=getattr(counted, name).number)
        for name in ("resistance_growth", "state_of_health")})
    listed = plain.study
    told = protect_layout(replace(listed, brief=replace(plain.brief, modules=(said,))),
                          plain.layout)
    assert study.faults.lowest.number == pytest.approx(told.faults.lowest.number, rel=1e-9)
    assert study.pack.loaded_voltage.number == pytest.approx(
        told.pack.loaded_voltage.number, rel=1e-9)
    for one, two in zip(study.circuit.places, told.circuit.places, strict=True):
        assert one.lowest.value == pytest.approx(two.lowest.value, rel=1e-9), one.title


def test_its_chain_ends_in_the_row_of_the_sheet_and_names_the_briefs_figure():
    study = truck()
    (growth,) = [f for f in study.faults.lowest.walk() if f.symbol == "f_age"]
    assert growth.formula is not None and "R_c/R_10" in growth.formula.text
    assert "module M13 of the bench for every module" in growth.note
    assert "the brief says 1.200" in growth.note
    origins = [f.origin for f in growth.leaves() if f.origin is not None]
    assert any("bench.csv" in str(o) for o in origins)
    entries = dict(study.brief.entries())
    assert entries["modules[0].resistance_growth"] is study.brief.modules[0].resistance_growth
    assert not any("stated" in name for name in (*entries, *dict(study.brief.words())))


def test_more_resistance_makes_nothing_milder():
    study, plain = truck(), truck(bench=False)
    assert study.faults.highest.number == plain.faults.highest.number
    for one, two in zip(study.circuit.places, plain.circuit.places, strict=True):
        assert one.highest.value == two.highest.value, one.title
    assert study.pack.highest_voltage.number >= plain.pack.highest_voltage.number
    assert study.pack.total_energy.number == plain.pack.total_energy.number
    assert of_pack(study.brief, study.pack).number == of_pack(plain.brief, plain.pack).number
    # Cells of less resistance keep more voltage in a fault, and their trip sees it less.
    assert study.coordination.asked.fault_voltage.number >= \
        plain.coordination.asked.fault_voltage.number


def test_better_modules_than_the_brief_change_nothing():
    changes = (("resistance_growth = 1.2 ", "resistance_growth = 1.6 "),
               ('state_of_health = "88 %"', 'state_of_health = "75 %"'))
    study, plain = truck(*changes), truck(*changes, bench=False)
    assert as_stated(study.brief) is study.brief and study.by_brief is None
    assert study.faults.lowest.number == plain.faults.lowest.number
    assert study.brief.digest == plain.brief.digest
    assert as_dict(report_document(study))["meta"]["counted_by_bench"] == (
        "None of the bench has more resistance or less capacity than the brief counts.")


def test_a_weak_module_alone_counts_for_the_energy():
    study = truck(("resistance_growth = 1.2 ", "resistance_growth = 1.6 "))
    plain = truck(("resistance_growth = 1.2 ", "resistance_growth = 1.6 "), bench=False)
    # M13: 191.8 Ah of 240 Ah, 79.93 % where the brief says 88 %.
    assert study.pack.usable_energy.number == pytest.approx(
        plain.pack.usable_energy.number * 0.7993 / 0.88, rel=1e-3)
    assert study.faults.lowest.number == plain.faults.lowest.number
    assert measured_against(study).by_brief is None


def test_what_counts_for_an_open_entry_stays_where_the_bench_is_better():
    changes = (('state_of_health = "88 %"', 'state_of_health = "unknown"'),
               ("resistance_growth = 1.2 ", 'resistance_growth = "unknown" '))
    study = truck(*changes)
    # Left open the growth counts 1.5 or more, M13 shows 1.496; 70 % counts, M13 shows 79.93 %.
    assert study.brief.modules[0].resistance_growth.number >= 1.5
    assert as_stated(study.brief) is study.brief


def test_an_open_entry_is_open_no_more_where_the_bench_is_worse_than_what_counts():
    brief = brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": 18, "state_of_health": "100 %"}],
        "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}}, "invented")
    assert brief.left_open("modules[0].resistance_growth")
    # 2.56 mΩ over 1.6 mΩ of the record: 1.6, where 1.5 counts while nobody has measured.
    lot = lot_of({**GOOD, "capacity_Ah": "240", "resistance_mohm": "2.56"})
    lot = replace(lot, modules=tuple(replace(m, grade="keep") for m in lot.modules))
    found = with_worst(brief, Layout((Part(0, 16),), 1, "grouped"), Salvage(lot, None))
    assert found.modules[0].resistance_growth.number == pytest.approx(1.6, abs=0.02)
    assert not found.left_open("modules[0].resistance_growth")
    assert "the brief counts 1.500" in found.counted


def test_a_mark_on_the_briefs_figure_is_void():
    plain, study = truck(bench=False), truck()
    lowest = next(d for d in decisions(plain) if d.title.startswith("Lowest fault current"))
    blank = blank_file(plain)
    given = ReviewFile(blank.design, (Mark(lowest.id, ACCEPT, lowest.digest, "A. Invented",
                                           "2026-11-24"),), "m.json", blank.layout,
                       blank.input_digest)
    (stands,) = [s for s in merge(plain, [given]).standings if s.decision.id == lowest.id]
    assert stands.marks and not stands.void
    (now,) = [s for s in merge(study, [given], measured_against(study)).standings
              if s.decision.id == lowest.id]
    assert now.void and not now.marks
    assert study.brief.digest != plain.brief.digest


def test_a_change_is_held_against_the_same_modules():
    study = truck(LATE_TRIP)
    decision = next(d for d in decisions(study) if d.item == "main_fuse" and d.kind == "choice")
    found = recheck(study, decision, "Talvik 315 full range")
    assert found.understood and "928.3" not in found.words
    again = _all_again(study, study.brief)
    assert again.salvage is study.salvage
    assert again.faults.lowest.number == study.faults.lowest.number
    assert again.by_brief.number == study.by_brief.number


def test_a_layout_that_only_the_brief_lets_in_is_told(tmp_path):
    # With M13 for every module 278.5 V stand at the inverter at full power, by the brief 288.9 V.
    brief = truck_in(tmp_path, ('full_power_from = "265 V"', 'full_power_from = "283 V"'))
    ran = run("protect", str(brief))
    words = " ".join(ran.out.split())
    assert ran.code == 1 and "the best-ranked layout" in words
    assert "This layout does not meet the brief" in words
    assert "no layout meets the brief" not in words
    assert "with the worst modules of the bench for every one" in ran.err
    listed = " ".join(run("layouts", str(brief)).out.split())
    assert "Screened with the brief's own resistance growth" in listed


def test_a_sheet_that_cannot_be_read_ends_every_page(tmp_path):
    brief = truck_in(tmp_path)
    (tmp_path / "bench.csv").write_text("mark,modle\nM01,x\n", "utf-8")
    ran = run("certify", str(brief))
    assert ran.code == 2 and "bench.csv" in ran.err and not ran.out


# -- what must not get milder ------------------------------------------------------------------


def worse(on_hand: ModulesOnHand, **values: float) -> AsMeasured:
    plain = {f.name: getattr(on_hand, f.name) for f in fields(ModulesOnHand)}
    given: dict[str, Finding] = {k: replace(plain[k], value=v) for k, v in values.items()}
    return AsMeasured(**{**plain, **given}, stated=on_hand,
                      marks=tuple((name, "X1") for name in sorted(given)))


def test_a_weak_module_lowers_no_voltage_while_braking():
    """The charge limit caps the voltage; a limit of a weak module would be a lower cap."""
    brief = brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": 18, "state_of_health": "90 %",
                     "resistance_growth": 1.2}],
        "inverter": {"voltage_range": "240 V to 420 V"},
        "power": {"peak": "60 kW", "peak_duration": "10 s"},
        "regeneration": {"power": "60 kW", "duration": "10 s", "follows_charge_limit": "yes"},
        "battery": {"coldest_start": "5 degC", "coldest_closed": "5 degC"}}, "invented")
    layout = Layout((Part(0, 16),), 1, "grouped")
    weak = replace(brief, modules=(worse(brief.modules[0], state_of_health=0.45),))
    plain, found = model_pack(brief, layout), model_pack(weak, layout)
    assert plain.regeneration_voltage.number > plain.full_voltage.number  # the cap is at work
    assert found.regeneration_voltage.number == plain.regeneration_voltage.number
    # Everything that the weak one bears less of is less.
    assert found.module_charge_limit.number == pytest.approx(
        plain.module_charge_limit.number * 0.45 / 0.90)
    row = screen_one(weak, list_layouts(brief).asks, layout)
    assert row.columns["regeneration_voltage"][0] == pytest.approx(
        found.regeneration_voltage.number, rel=1e-9)


def test_a_lot_said_to_hold_more_than_its_label_stores_no_less_for_a_weak_module():
    brief = brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": 18, "state_of_health": "104 %",
                     "resistance_growth": 1.2}],
        "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}}, "invented")
    layout = Layout((Part(0, 16),), 1, "grouped")
    weak = replace(brief, modules=(worse(brief.modules[0], state_of_health=0.8),))
    pack = model_pack(weak, layout)
    assert of_pack(weak, pack).number == of_pack(brief, model_pack(brief, layout)).number
    assert pack.usable_energy.number < model_pack(brief, layout).usable_energy.number


def two_types(**growth: float) -> Brief:
    """Two lots that may stand side by side."""
    return with_pairs(brief_from_data({
        "mix": "parallel",
        "modules": [{"record": "nmc-6s-240ah", "count": 18, "state_of_health": "80 %",
                     "resistance_growth": growth.get("first", 1.0), "peak_current": "500 A",
                     "continuous_current": "200 A"},
                    {"record": "nmc-6s-240ah", "count": 18, "state_of_health": "80 %",
                     "resistance_growth": growth.get("second", 1.6), "peak_current": "500 A",
                     "continuous_current": "200 A"}],
        "inverter": {"voltage_range": "240 V to 420 V"},
        "power": {"peak": "60 kW", "peak_duration": "10 s"}}, "invented"))


def pair_of(brief: Brief) -> SideBySide:
    (pair,) = [m for m in brief.modules if isinstance(m, SideBySide)]
    return pair


def test_two_types_side_by_side_share_no_more_evenly_for_a_bad_module_in_the_better_lot():
    brief, layout = two_types(first=0.9), Layout((Part(2, 16),), 1, "grouped")
    # One lot for both entries: its worst module has 2.4 mΩ, 1.5 times a new one.
    lot = lot_of({**GOOD, "mark": "A1"}, {**GOOD, "mark": "A2", "resistance_mohm": "2.40"})
    found = with_worst(brief, layout, Salvage(lot, None))
    first, second, pair = found.modules
    assert isinstance(first, AsMeasured) and not isinstance(second, AsMeasured)
    assert first.resistance_growth.number == pytest.approx(1.5, abs=0.02)
    assert pair.least_growth.number == 0.9  # the highest fault stands on the brief's
    assert pair.resistance_growth.number == 1.6
    stiff, soft = 0.9 * 1.6e-3, 1.6 * 1.6e-3
    assert pair.module.peak_current.number == pytest.approx(float(shared_limit(500.0, stiff, soft)))
    assert pair.module.peak_current.number == pytest.approx(
        pair_of(brief).module.peak_current.number)
    assert as_stated(found).modules == brief.modules


def test_the_bench_counts_for_two_types_side_by_side():
    brief, layout = two_types(second=1.3), Layout((Part(2, 16),), 1, "grouped")
    lot = lot_of({**GOOD, "mark": "A2", "resistance_mohm": "2.40"})
    found = with_worst(brief, layout, Salvage(lot, None))
    # 2.4 mΩ over 1.6 mΩ: 1.5 times a new one, where the brief's worse entry has 1.3.
    assert pair_of(found).resistance_growth.number == pytest.approx(1.5, abs=0.02)
    assert model_pack(found, layout).resistance_long.number > \
        model_pack(brief, layout).resistance_long.number


def test_modules_of_another_layout_are_left_alone():
    brief, lot = two_types(), lot_of({**GOOD, "resistance_mohm": "3.20", "module": "nmc-12s-160ah",
                                      "rest_voltage_V": "44.4"})
    found = with_worst(brief, Layout((Part(0, 16),), 1, "grouped"), Salvage(lot, None))
    assert found.modules == brief.modules and found.digest == brief.digest
    assert found.counted == (
        "Nobody could be dealt. No row of the bench sheet is of this type: the brief's own figures "
        "count. 1 row of another type (nmc-12s-160ah) is not counted: nmc-6s-240ah counts.")


def test_growth_left_open_goes_with_the_weakest_modules_health():
    brief = brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": 18, "state_of_health": "100 %"}],
        "inverter": {"voltage_range": "240 V to 420 V"},
        "power": {"peak": "60 kW", "peak_duration": "10 s"}}, "invented")
    lot = lot_of({**GOOD, "capacity_Ah": "200", "resistance_mohm": ""})
    found = with_worst(brief, Layout((Part(0, 16),), 1, "grouped"), Salvage(lot, None))
    same = brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": 18,
                     "state_of_health": f"{100 * found.modules[0].state_of_health.number:.6f} %"}],
        "inverter": {"voltage_range": "240 V to 420 V"},
        "power": {"peak": "60 kW", "peak_duration": "10 s"}}, "invented")
    assert found.modules[0].resistance_growth.number == pytest.approx(
        same.modules[0].resistance_growth.number, rel=1e-4)


@pytest.mark.parametrize("name", ["van", "minibus"])
def test_strings_and_groups_are_held_to_the_worst_module(name):
    brief = read_brief(ROOT / "examples" / name / "brief.toml")
    plain, study = study_protection(brief), api.size_protection(brief)
    assert study.layout == plain.layout
    assert study.faults.lowest.number < plain.faults.lowest.number == study.by_brief.number
    # One module of either lot reads some 4 % less than a new one.
    assert plain.faults.highest.number < study.faults.highest.number \
        < 1.05 * plain.faults.highest.number
    assert study.pack.highest_voltage.number >= plain.pack.highest_voltage.number
    known = [(p.lowest.value, q.lowest.value) for p, q in zip(
        study.circuit.places, plain.circuit.places, strict=True) if q.lowest.known]
    assert known and np.all([a <= b * (1 + 1e-12) for a, b in known])
    assert re.search(r"Sized with the worst modules .* \(the brief says ",
                     study.brief.counted)
