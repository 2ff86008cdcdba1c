"""What an auditor found in commissioning, as-built and review pages: each failed before.

Every scenario is invented.
"""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from examples.regenerate import ROOT
from packcalc.errors import InputErrors
from packcalc.handover import readings as rd
from packcalc.handover.as_built import hold, wanted
from packcalc.handover.build import build_sheet
from packcalc.handover.certifier import RULE_SETS, SOURCE_OF_SET
from packcalc.handover.commission import plan_of
from packcalc.handover.figures import SUPPLY
from packcalc.marks import CHANGE
from packcalc.reading.as_built_file import COLUMNS, as_built_from_text
from packcalc.report.certify_report import certify_document
from packcalc.report.commission_report import answer, asked, commission_document
from packcalc.report.drawings.circuit import circuit_of
from packcalc.report.drawings.one_line import one_line_figure
from packcalc.report.render import render
from packcalc.report.review_report import review_document, review_section
from packcalc.review import as_json, design_of, parse_json
from packcalc.review_merge import merge
from tests.handover_cases import STRINGS, readings_of, study_of
from tests.review.cases import file as marks_file
from tests.review.cases import known, mark
from tests.review.cases import study as reviewed
from tests.sized import example as sized

pytestmark = pytest.mark.thorough


def truck():
    return sized("truck")


def van():
    return sized("van")


BY_WHOM = "M1,2026-01-01,{date},A. Tester,\n"


def row(name: str, value: str, date: str = "2026-11-24") -> str:
    return f"{name},{value},{BY_WHOM.format(date=date)}"


def held(study, name: str, value: str, *before: str) -> rd.Compared:
    """One reading compared, after others of the same file."""
    readings = readings_of(study, "".join(before) + row(name, value)).readings
    return rd.compare(plan_of(study, None, readings).reading(name), readings)


# -- A1: the sign of a voltage or a current is no pass ------------------------------------------

@pytest.mark.parametrize(("name", "value"), [
    ("dead.terminal_voltage", "-350 V"), ("weld.plus", "-350 V"), ("weld.minus", "-350 V"),
    ("pack.first_pole", "-350 V"), ("supply.first_pole", "-48 V"), ("wheels.bus_highest", "-900 V"),
    ("pack.open_place", "-350 V"), ("charge.current", "-60 A"), ("limited.current", "-400 A"),
    ("charge.cell_spread", "-200 mV"), ("charge.cell_highest", "-5 V"),
    ("sense.monitor_error", "-200 mV")])
def test_a_reading_below_zero_is_judged_by_its_size(name, value) -> None:
    one = held(study_of(), name, value)
    assert one.verdict == rd.ABOVE and rd.SWAPPED in one.suggests


def test_the_difference_of_two_strings_is_judged_by_its_size() -> None:
    study = study_of(STRINGS, "16S2P", "strings")
    plan = plan_of(study)
    high = replace(plan.reading("weld.plus_1").high)  # any known edge: the brief leaves this open
    expected = replace(plan.reading("join.strings_differ"), high=high)
    file = readings_of(study, row("join.strings_differ", "-120 V"))
    assert rd.compare(expected, file.readings).verdict == rd.ABOVE


def test_every_band_of_a_voltage_or_current_refuses_the_size_of_its_end_with_a_minus() -> None:
    study = study_of()
    for e in plan_of(study).expected():
        if e.dimension in ("voltage", "current") and e.high is not None and e.high.known:
            unit = "V" if e.dimension == "voltage" else "A"
            assert held(study, e.id, f"{-2 * e.high.number:.6f} {unit}").verdict in rd.OUT, e.id


@pytest.mark.parametrize("name", ["section.position_1", "section.voltage_1", "pack.voltage"])
def test_a_module_put_in_reversed_stays_reversed(name) -> None:
    study = study_of()
    middle = sum(f.number for f in plan_of(study).reading(name).edges) / 2
    assert held(study, name, f"{-middle:.3f} V").verdict == rd.BELOW


def test_a_small_reading_below_zero_holds_and_is_remarked_a_temperature_keeps_its_sign() -> None:
    one = held(study_of(), "dead.terminal_voltage", "-0.3 V")
    assert one.verdict == rd.IN_BAND and one.suggests == rd.SWAPPED
    assert held(study_of(), "charge.cell_coldest", "-40 degC").verdict == rd.BELOW


def test_a_later_reading_below_zero_counts_by_its_size_in_the_trend() -> None:
    study = study_of()
    file = readings_of(study, row("charge.cell_spread", "10 mV", "2026-01-01")
                       + row("charge.cell_spread", "-40 mV"))
    (line,) = rd.trends(plan_of(study), file.readings)
    assert line.check.verdict == "fail"


# -- B7: readings that make the test void --------------------------------------------------------

@pytest.mark.parametrize(("name", "value"), [
    ("supply.voltage", "0 V"), ("supply.voltage", "5 V"), ("limited.current", "1 A"),
    ("charge.current", "0 A"), ("monitor.trip_time_positive", "0 s"), ("build.joint_1", "0 mohm"),
    ("logic.emergency_time", "0 s"), ("dead.bond_highest", "0 mohm")])
def test_a_reading_that_proves_nothing_is_void(name, value) -> None:
    one = held(truck(), name, value)
    assert one.verdict == rd.BELOW and one.suggests.startswith("void: repeat")


def test_the_first_current_is_held_to_the_supply_as_it_was_read() -> None:
    study = study_of()
    peak = plan_of(study).reading("supply.peak_current")
    middle = (peak.low.number + peak.high.number) / 2
    for volts, share, verdict in ((48, 1.0, rd.IN_BAND), (24, 0.5, rd.IN_BAND),
                                  (24, 1.0, rd.ABOVE), (59, 1.0, rd.BELOW)):
        supply = row("supply.voltage", f"{volts} V")
        assert held(study, "supply.voltage", f"{volts} V").verdict == rd.IN_BAND
        found = held(study, "supply.peak_current", f"{middle * share:.6f} A", supply)
        assert found.verdict == verdict, (volts, share)
    assert SUPPLY.number == 48.0


# -- B6: over range ------------------------------------------------------------------------------

@pytest.mark.parametrize("value", ["> 200 MΩ", ">200 MΩ", "≥ 200 MΩ", "> 200 Mohm"])
def test_over_range_is_at_least_the_range(value) -> None:
    assert held(study_of(), "dead.open_contact_lowest", value).verdict == rd.IN_BAND


def test_a_range_below_the_band_shows_nothing() -> None:
    one = held(study_of(), "dead.open_contact_lowest", "> 2 MΩ")
    assert one.verdict == rd.BELOW and one.suggests == rd.RANGE_ENDS


@pytest.mark.parametrize(("name", "value"), [
    ("build.joint_1", "> 0.01 mΩ"), ("dead.discharge_resistor", "> 47 kΩ"),
    ("monitor.trip_time_positive", "> 1 s"), ("dead.terminal_voltage", "> 0.1 V")])
def test_over_range_never_passes_an_upper_band(name, value) -> None:
    one = held(truck(), name, value)
    assert one.verdict == rd.ABOVE and one.checks[-1].verdict == "fail"


def test_over_range_alone_is_told_how_to_be_written() -> None:
    for value in ("OL", "o.l.", "∞"):
        with pytest.raises(InputErrors, match="'> 200 MΩ'"):
            held(study_of(), "dead.open_contact_lowest", value)
    with pytest.raises(InputErrors, match="no range of a meter"):
        held(study_of(), "dead.open_contact_lowest", "> 0 MΩ")


def test_how_far_an_over_range_reading_moved_is_not_known() -> None:
    study = study_of()
    file = readings_of(study, row("dead.isolation_positive", "> 4 MΩ", "2026-01-01")
                       + row("dead.isolation_positive", "3 MΩ"))
    (line,) = rd.trends(plan_of(study), file.readings)
    assert line.check.verdict == "not evaluated" and not line.until


# -- C1, C8, B3: what the first screen and the exit code say -------------------------------------

def test_live_readings_without_the_stages_before_are_a_no() -> None:
    study = study_of()
    file = readings_of(study, row("weld.plus", "0.5 V"))
    assert "beyond a gate that is shut" in answer(study, file)
    text = " ".join(render(commission_document(study, file), "text").split())
    assert "Read live beyond a gate that is shut" in text
    # at the bench, before anything is joined, a resistor and a module may be read
    early = readings_of(study, row("dead.precharge_resistor",
                                   f"{plan_of(study).reading('dead.precharge_resistor').low.number}"
                                   " ohm"))
    assert answer(study, early) == ""


def test_a_joint_that_drifts_later_shuts_no_gate_in_hindsight() -> None:
    from packcalc.reading.readings_file import read_readings

    file = read_readings(ROOT / "examples" / "truck" / "readings.csv", plan_of(truck()).dimensions)
    assert rd.beyond_a_shut_gate(plan_of(truck()), file.readings) == ()


def test_a_failed_trend_stands_on_the_open_line() -> None:
    study = study_of()
    file = readings_of(study, row("dead.isolation_positive", "9 MΩ", "2026-01-01")
                       + row("dead.isolation_positive", "3 MΩ"))
    first = commission_document(study, file).sections[0]
    (line,) = [b.text for b in first.blocks if getattr(b, "kind", "") == "open"
               and "out of band" in b.text]
    assert "Moved too far from the baseline: dead.isolation_positive" in line


@pytest.mark.parametrize("end", [",,2026-11-24,A. Tester,", "M1,2020-01-01,2026-11-24,A. Tester,",
                                 "M1,2026-01-01,2026-11-24,,"])
def test_a_reading_without_name_or_calibration_is_remarked_first(end) -> None:
    study = study_of()
    file = readings_of(study, f"build.joint_1,0.03 mohm,{end}\n")
    assert "build.joint_1" in asked(study, file)
    first = commission_document(study, file).sections[0]
    assert any("certifier will ask" in getattr(b, "text", "") for b in first.blocks)


# -- B1, B2: parts that the brief names ----------------------------------------------------------

NAMED = {"inside_fuse": "Talvik 400 full range", "charge_contactor.plus": "Lyng 200",
         "branch.charge cable.minus": "Talvik 80 branch", "branch.sense wires": "Talvik 2 tap"}


def record(study, name: str, part: str):
    cells = {"id": name, "part": part, "serial": "1", "name": "B. Invented", "date": "2026-05-02",
             "design": design_of(study), "layout": study.layout.label,
             "input_digest": study.brief.digest}
    text = ",".join(COLUMNS) + "\n" + ",".join(cells.get(c, "") for c in COLUMNS) + "\n"
    sheet = build_sheet(study)
    return hold(sheet, as_built_from_text(text, wanted(sheet), design_of(study)), {})


@pytest.mark.parametrize("name", NAMED)
def test_the_named_part_is_as_designed_and_another_is_told(name) -> None:
    study = truck()
    assert not record(study, name, NAMED[name]).grave
    (other,) = record(study, name, "Some other 9").grave
    assert f"{NAMED[name]} designed" in other.words


def test_every_place_has_one_row_of_the_record() -> None:
    ids = [p.id for p in build_sheet(truck()).parts]
    assert "mid_fuse" not in ids and ids.count("inside_fuse") == 1
    assert len(set(ids)) == len(ids) and len([i for i in ids if "charge_contactor" in i]) == 2
    assert not any("charge_contactor" in p.id for p in build_sheet(van()).parts)


def test_the_one_line_diagram_names_the_parts_of_the_brief() -> None:
    parts = {p.tag: p for p in circuit_of(truck()).parts}
    (inside,) = [p for p in parts.values() if p.name == "fuse inside the string"]
    assert inside.other == "Talvik 400 full range"
    charging = [p for p in parts.values() if p.name.startswith("charge contactor")]
    assert charging and all("Lyng 200" in p.other and not p.note for p in charging)
    words = " ".join(re.findall(r">([^<>]+)<", one_line_figure(truck()).svg))
    for name in ("Talvik 400 full range", "Lyng 200", "Talvik 80 branch"):
        assert name in words


# -- B5: characters that hide or turn words ------------------------------------------------------

def marks_text(**changes: str) -> str:
    first = next(iter(known(reviewed()).values()))
    found = json.loads(as_json(marks_file(reviewed(), mark(first))))
    found["marks"][0].update(changes)
    return json.dumps(found)


@pytest.mark.parametrize(("odd", "reads"), [
    ("a\u2028b", "a b"), ("a\u2029b", "a b"), ("a\u202eb", "ab"), ("a\u0085b", "a b"),
    ("a\u2067b", "ab")])
def test_an_odd_character_in_a_note_is_replaced_and_told(odd, reads) -> None:
    file = parse_json(marks_text(note=odd), "marks.json")
    assert file.marks[0].note == reads
    (said,) = file.cleaned
    assert f"U+{ord(odd[1]):04X}" in said and file.marks[0].decision_id in said
    assert parse_json(marks_text(note="a\u200fb"), "marks.json").marks[0].note == "a\u200fb"


def test_what_is_still_refused_names_character_and_decision() -> None:
    with pytest.raises(InputErrors) as caught:
        parse_json(marks_text(note="a\x07b"), "marks.json")
    assert "U+0007" in str(caught.value) and "in the mark of" in str(caught.value)


# -- C2, C3, C5, C6, B4 --------------------------------------------------------------------------

def test_the_sheet_has_a_line_for_the_note_and_its_questions_their_own_page() -> None:
    page = render(review_document(truck()), "html")
    assert "not my field  note: ___" in page.replace("\\a0 ", " ").replace("\\a0", " ")
    assert "[aria-labelledby=s-signature], [aria-labelledby=s-signature] + section" in page
    assert "note: ____" in render(review_document(truck()), "text")


def test_one_change_asked_by_two_is_checked_once() -> None:
    study = reviewed()
    decision = next(d for d in known(study).values() if d.id.startswith("main_fuse"))
    marks = [mark(decision, CHANGE, change_to="400 A", name=name) for name in ("A. One", "B. Two")]
    review = merge(study, [marks_file(study, *marks)])
    (one,) = review.rechecks
    assert one.by == "A. One and B. Two"
    assert review_section(review).blocks


def asked_by(rules: str) -> list[str]:
    """The column of who asks for each document."""
    return [row[5].text for section in certify_document(truck(), rules).sections
            for block in section.blocks if re.fullmatch(r"asked_\d+", getattr(block, "key", ""))
            for row in block.rows]


def test_a_text_of_another_place_is_no_source_of_this_rule_set() -> None:
    text = " ".join(render(certify_document(truck(), "germany"), "markdown").split())
    cells = asked_by("germany")
    foreign = ("vsb-14", "cfr-49-561", "motorsport-uk-2026", "formula-sae-inspection")
    assert not set(foreign) & set(cells) and any("common core" in c for c in cells)
    assert not [name for name in foreign if name in text]
    assert "vsb-14" in asked_by("australia")


@pytest.mark.parametrize("rules", RULE_SETS)
def test_who_asks_is_the_chosen_rule_set_or_the_core_and_no_other(rules: str) -> None:
    own = SOURCE_OF_SET.get(rules, "")
    others = {r for r in RULE_SETS if r not in (rules, "common core")} | (
        set(SOURCE_OF_SET.values()) - {own})
    cells = asked_by(rules)
    assert all(cells)
    assert [c for c in cells if any(name in c for name in others)] == []
    assert all(c in (own, rules, "common core") or c.startswith("un-r100") for c in cells)


def test_the_way_to_a_pdf_stands_in_the_readme() -> None:
    readme = (Path(ROOT) / "README.md").read_text("utf-8")
    assert "--print-to-pdf=" in readme
    assert "pdf" not in tomllib.loads((Path(ROOT) / "pyproject.toml").read_text("utf-8"))[
        "project"]["optional-dependencies"]
