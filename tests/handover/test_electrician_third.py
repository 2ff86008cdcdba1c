"""What an electrician found in the pages of the handover: each case failed before it was mended.

Every scenario is invented.
"""

from __future__ import annotations

import ast
import functools
import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from packcalc import api
from packcalc.bench.assign import at_voltage
from packcalc.bench.door import default_type
from packcalc.bench.grade import pack_need
from packcalc.bench.joining import worst_joining
from packcalc.bench.stored import of_module, of_pack
from packcalc.errors import InputErrors
from packcalc.findings import leaf
from packcalc.handover.build import build_sheet
from packcalc.handover.commission import plan_of
from packcalc.handover.expected import Expected
from packcalc.handover.responder import responder_sheet
from packcalc.modules import traced_resistance_initial
from packcalc.pack_charging import charge_limits
from packcalc.reading.bench_brief import only_type
from packcalc.reading.readings_file import readings_from_text
from packcalc.report.assign_report import assignment_document
from packcalc.report.commission_report import answer
from packcalc.report.document import Chain, Table
from packcalc.report.render import render
from packcalc.report.salvage_report import salvage_chains
from packcalc.sources import register
from tests.handover_cases import WITH_LINK, readings_of, study_of
from tests.sized import example as sized

pytestmark = pytest.mark.thorough

PACKAGE = Path(__file__).resolve().parents[2] / "packcalc"


@functools.lru_cache(maxsize=None)
def report(name: str) -> str:
    """The file for review as text on one line."""
    return " ".join(render(api.report_document(sized(name)), "text").split())


# -- a clause that is cited stands in the record of its source ----------------------------------

CLAUSE = re.compile(r"\bEV\.?\d+(?:\.\d+)+|\b\d+(?:\.\d+){2,4}\b")
LISTED = re.compile(r"(?:\bEV\.?)?\d+(?:\.\d+)+")
IN_WORDS = re.compile(r"([^\[\]]{0,60})\[([a-z0-9-]+)(?:, [a-z ]+)?\]")


def _texts(node: ast.AST) -> list[str]:
    return [n.value for n in ast.walk(node) if isinstance(n, ast.Constant)
            and isinstance(n.value, str)]


def _cited(tree: ast.AST) -> list[tuple[int, str, str]]:
    """(line, key, clause) of each call with a source, and of each `clause [key]` in words."""
    found = []
    for node in ast.walk(tree):
        given = {k.arg: k.value for k in node.keywords} if isinstance(node, ast.Call) else {}
        key = given.get("source")
        if isinstance(key, ast.Constant) and key.value in register():
            found += [(node.lineno, key.value, clause)
                      for name in ("origin", "where", "note") if name in given
                      for text in _texts(given[name]) for clause in CLAUSE.findall(text)]
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            found += [(node.lineno, key, clause) for words, key in IN_WORDS.findall(node.value)
                      if key in register() for clause in CLAUSE.findall(words)]
    return found


def test_each_clause_cited_in_code_is_one_that_its_source_was_read_for() -> None:
    count, open_ = 0, []
    for path in sorted(PACKAGE.rglob("*.py")):
        for line, key, clause in _cited(ast.parse(path.read_text("utf-8"))):
            record = register()[key]
            listed = LISTED.findall(f"{record.title} {record.seen} {record.note}")
            count += 1
            if not any(clause == own or clause.startswith(f"{own}.") for own in listed):
                open_.append(f"{path.name}:{line}: {clause} [{key}] is not in its record")
    assert count > 30 and open_ == []


# -- the first energising -----------------------------------------------------------------------


def band(name: str, reading: str, **layout: str) -> Expected:
    return plan_of(sized(name, **layout)).reading(reading)


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_a_closed_bus_is_held_to_the_battery_and_not_to_an_opened_contactor(name: str) -> None:
    study, pack = sized(name), sized(name).pack
    assert band(name, "weld.link_voltage").high.number == pack.full_voltage.number
    driven = band(name, "wheels.bus_highest").high
    limit = study.brief.regeneration.voltage_limit
    assert driven.number == min(study.circuit.overvoltage.battery_side.number, limit.number)
    assert pack.full_voltage.number <= driven.number < pack.highest_voltage.number
    first = band(name, "pack.peak_current").high
    assert pack.full_voltage.title in {f.title for f in first.walk()}
    assert pack.highest_voltage.title not in {f.title for f in first.walk()}


@pytest.mark.parametrize(("name", "coldest"), [("truck", 5.0), ("van", 5.0), ("minibus", 15.0)])
def test_nothing_is_charged_before_the_coldest_cell_bears_the_charger(name, coldest) -> None:
    study = sized(name)
    limits = dict((edge.number, limit.number) for edge, limit in
                  charge_limits(study.brief, study.layout))
    gate, current = band(name, "charge.cell_coldest"), band(name, "charge.current")
    assert gate.low.number == pytest.approx(coldest + 273.15) and gate.needed
    assert gate.high is study.brief.battery.hottest
    assert current.high.number <= limits[gate.low.number]
    assert all(limit < current.high.number for edge, limit in limits.items()
               if edge < gate.low.number)
    stage = next(s for s in plan_of(study).stages if s.key == "charge")
    assert gate.low.shown in stage.steps[0] and "DO NOT CHARGE" in stage.steps[0]
    assert any(gate.low.shown in words for words in stage.gate)


def test_a_cold_charge_is_out_of_band() -> None:
    study = sized("truck")
    for degrees, told in (("-3", True), ("12", False)):
        read = readings_of(study, f"charge.cell_coldest,{degrees} °C,,,2026-05-10,,\n"
                                  "charge.current,33.64 A,,,2026-05-10,,\n")
        assert ("charge.cell_coldest" in answer(study, read)) is told


def test_the_first_charge_is_by_the_vehicles_own_charger() -> None:
    study = sized("minibus")
    own = study.brief.charger.power.number / study.pack.rest_low_voltage.number
    assert study.pack.charging_current.number == pytest.approx(48.0)  # the station's
    # B11 is the weakest module: 0.5 C of its real capacity in each string is less than that.
    weakest = 0.5 * 75.0 * study.brief.modules[0].state_of_health.number
    assert study.brief.modules[0].state_of_health.number == pytest.approx(0.8209, abs=1e-4)
    assert band("minibus", "charge.current").high.number == pytest.approx(min(own, weakest))
    steps = next(s for s in plan_of(study).stages if s.key == "charge").steps
    assert any("station (48.00 A at most) only when" in words for words in steps)


def test_a_charger_that_no_band_bears_is_held_to_the_cells() -> None:
    study = study_of(WITH_LINK + '[charger]\npower = "200 kW"\n', "16S1P")
    most = max(limit.number for _, limit in charge_limits(study.brief, study.layout))
    current = plan_of(study).reading("charge.current").high
    assert current.number == pytest.approx(most)
    assert study.brief.charger.power.number / study.pack.rest_low_voltage.number > most


# -- stored energy ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_the_hazard_of_stored_energy_errs_high_and_is_one_figure(name: str) -> None:
    study = sized(name)
    whole, health = of_pack(study.brief, study.pack), study.brief.modules[0].stated_health
    module = study.brief.modules[0].module
    grid = np.linspace(0.0, 1.0, 101)
    label = module.capacity.number * study.layout.series * study.layout.parallel
    for curve in module.high_curves:
        mean = module.series * np.mean([float(curve.voltage(z)) for z in grid])
        assert whole.number >= label * mean * 0.998
    assert health.number < 1.0 and whole.number > study.pack.total_energy.number / health.number
    shown = whole.shown
    assert shown in responder_sheet(study).headings[0].known[0]
    assert f"Energy stored when full, at most {shown}" in report(name)
    assert f"at most {shown} when full" in report(name)
    bench = api.salvage_of(study)
    sheet = build_sheet(study, bench.dealt.balance)
    last = sheet.steps[-1].worst.energy
    assert last.number * sheet.stacks == pytest.approx(whole.number * sheet.charged.charge.number)


def test_a_state_of_health_above_the_label_counts() -> None:
    module = sized("truck").brief.modules[0].module
    over = leaf("state of health", "SOH", "%", 1.04, "measured")
    assert of_module(module, over).number == pytest.approx(1.04 * of_module(module).number)
    assert of_module(module, leaf("s", "SOH", "%", 0.8, "measured")).number == \
        of_module(module).number


# -- reinforced clearance -----------------------------------------------------------------------


@pytest.mark.parametrize(("name", "millimetres"), [("truck", 8.0), ("van", 3.0), ("minibus", 11.0)])
def test_reinforced_clearance_prints_its_rule_and_is_no_reading(name, millimetres) -> None:
    # rows of IEC 60664-1 Table F.2 [iec-60664-1]: 8 kV 8 mm, 4 kV 3 mm, 10 kV 11 mm
    found = sized(name).circuit.insulation.distances
    gap = found.clearance_reinforced
    assert gap.number == pytest.approx(millimetres * 1e-3)
    rule = next(f for f in gap.walk() if f.formula and f.formula.name == "reinforced_step")
    step, raised = rule.inputs
    assert rule.number == max(step.number, raised.number) and "not seen" in rule.formula.where
    assert gap.weakest == "assumed" and found.clearance.weakest == "read"
    assert any("own sentence was not seen" in note for note in
               sized(name).circuit.insulation.item.notes)


# -- the bench ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_isolation_of_the_dealt_modules_rests_on_the_highest_working_voltage(name: str) -> None:
    study = sized(name)
    dealt = at_voltage(api.salvage_of(study).dealt, study.pack.highest_voltage)
    share = study.brief.bench.isolation_share.number
    assert dealt.isolation.demand.number == pytest.approx(
        500.0 * study.pack.highest_voltage.number * share ** -1)
    words = f"500.0 Ω/V at {study.pack.highest_voltage.shown}, highest working voltage"
    assert words in dealt.isolation.reason
    (table,) = [b for s in api.report_document(study).sections for b in s.blocks
                if isinstance(b, Table) and b.key == "assigned_checks"]
    cells = " ".join(cell.text for cell in table.rows[0])
    assert dealt.isolation.demand.shown in cells and words in cells


def test_where_the_chain_is_open_the_larger_voltage_counts() -> None:
    study = sized("truck")
    dealt, low = api.salvage_of(study).dealt, leaf(
        "highest working voltage", "U", "V", 400.0, "computed", note="at least this: parts open")
    dealt = replace(dealt, lot=replace(dealt.lot, need=pack_need(
        study.brief.bench, study.brief, highest=low)))
    assert at_voltage(dealt, low).isolation.demand.number == pytest.approx(
        500.0 * study.brief.inverter.absolute_maximum.number / 0.5)
    known = replace(low, note="")
    assert at_voltage(dealt, known).isolation.demand.number == pytest.approx(500.0 * 400.0 / 0.5)


@pytest.mark.parametrize(("name", "layout"), [
    ("van", {}), ("minibus", {"layout": "12S2P", "arrangement": "strings"})])
def test_the_joining_current_has_its_chain(name: str, layout: dict[str, str]) -> None:
    study = sized(name, **layout)
    dealt = api.salvage_of(study).dealt
    worst = worst_joining(dealt)
    assert worst.number == pytest.approx(dealt.balance.worst_joining)
    chains = [b.finding for s in assignment_document(dealt).sections for b in s.blocks
              if isinstance(b, Chain)]
    assert any(f.title == worst.title and f.number == worst.number for f in chains)
    assert [c.finding.number for c in salvage_chains(dealt) if c.key == "joining.worst"] == [
        worst.number]


def test_both_sections_count_a_string_alike_in_its_first_millisecond() -> None:
    study = sized("minibus", layout="12S2P", arrangement="strings")
    dealt = worst_joining(api.salvage_of(study).dealt)
    string = 12 * traced_resistance_initial(study.brief.modules[0].module).number  # the record
    apart = next(f for f in dealt.walk() if f.symbol == "ΔU")
    assert dealt.number == pytest.approx(apart.number / (2 * string), rel=0.05)
    # the file counts the module that reads the least for every one: two strings beside each other
    assert 2 * study.pack.resistance_initial.number < string


def test_a_row_without_type_is_asked_about_while_another_type_is_unknown() -> None:
    text = WITH_LINK + '[[modules]]\nrecord = "unknown"\ncount = 4\n'
    brief = api.make_brief(tomllib.loads(text))
    assert len(brief.modules) == 1 and brief.untyped
    assert only_type(brief) is None and default_type(brief) is None
    plain = study_of().brief
    assert only_type(plain) is plain.modules[0].module


# -- words and dates ----------------------------------------------------------------------------


def test_a_tolerance_left_open_names_no_side() -> None:
    lower = next(f for f in sized("van").circuit.overvoltage.item.duty[0].walk()
                 if f.symbol == "C_min")
    notes = " ".join(f.note for f in lower.walk())
    assert "20 % off" in notes and "larger" not in notes


@pytest.mark.parametrize(("name", "refused"), [
    ("dead.precharge_resistor", False), ("supply.voltage", False), ("monitor.warn_resistor", False),
    ("section.position_1", False), ("section.voltage_1", True), ("pack.voltage", True),
    ("weld.plus", True), ("charge.current", True)])
def test_only_what_needs_the_joined_pack_is_refused_before_its_joints(name, refused) -> None:
    wanted = {name: "voltage", "build.joint_1": "resistance"}
    text = (f"id,value,date\nbuild.joint_1,0.1 mΩ,2026-05-02\n{name},2 V,2026-04-01\n")
    if refused:
        with pytest.raises(InputErrors, match="before the pack was joined"):
            readings_from_text(text, wanted)
    else:
        assert len(readings_from_text(text, wanted).readings) == 2
