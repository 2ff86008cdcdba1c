"""The as-built record: written, filled, read back, held against the design; bad input in a line."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.cli_handover import record_no, tell_record
from packcalc.cli_layout import end_study
from packcalc.errors import InputErrors
from packcalc.handover.as_built import Deviation, assigned, hold, wanted
from packcalc.handover.build import build_sheet
from packcalc.handover.readings import joint_limit
from packcalc.reading.as_built_file import COLUMNS, as_built_from_text
from packcalc.report.build_report import build_document, record_form
from packcalc.report.render import render
from packcalc.review import design_of
from packcalc.units import parse, show
from tests.handover_cases import study_of

STUDY = study_of()
SHEET = build_sheet(STUDY)
DESIGN = design_of(STUDY)
MARKS = {p.id: f"M{n:02}" for n, p in enumerate(SHEET.parts) if p.id.startswith("module.")}
JOINTS = [j.id for j in SHEET.joints]


def record(*changes: dict[str, str], **every: str) -> str:
    """A whole record, filled as designed, with changed cells by id."""
    rows = list(csv.DictReader(line for line in record_form(STUDY, MARKS).splitlines()
                               if not line.lstrip('"').startswith("#")))
    named = {change["id"]: change for change in changes}
    for row in rows:
        row.update(name="A. Invented", date="2026-11-20")
        if row["id"].startswith("module."):
            row.update(mark=row["assigned_mark"], torque="80 lbf·in")
        elif row["id"] in JOINTS:
            row.update(torque="9.0 N·m", resistance="0.030 mΩ")
        else:
            row.update(part=row["designed"], serial="S")
        row.update(every)
        row.update(named.get(row["id"], {}))
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def read(text: str):
    return as_built_from_text(text, wanted(SHEET), DESIGN, "built.csv")


def deviations(text: str) -> dict[str, str]:
    return {d.id: d.words for d in hold(SHEET, read(text), MARKS).deviations}


def faults(text: str) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        read(text)
    return [str(f) for f in caught.value.faults]


def test_an_empty_form_reads_as_nothing_built() -> None:
    held = hold(SHEET, read(record_form(STUDY, MARKS)), MARKS)
    assert held.record.lines == () and set(held.blank) == set(wanted(SHEET))
    assert held.deviations == ()


def test_another_mark_than_assigned_is_flagged() -> None:
    found = deviations(record({"id": "module.3", "mark": "M99"}))
    assert found["module.3"] == f"M99 fitted, {MARKS['module.3']} assigned"
    assert "module.2" not in found


def test_a_part_other_than_designed_is_flagged() -> None:
    found = deviations(record({"id": "main_fuse", "part": "Another 300"}))
    assert "Another 300 fitted" in found["main_fuse"]


def test_a_joint_above_its_like_and_one_above_the_limit() -> None:
    bad, worse = JOINTS[2], JOINTS[4]
    counted = SHEET.joint_limit.number
    found = deviations(record({"id": bad, "resistance": "0.046 mΩ"},
                              {"id": worse, "resistance": show(2 * counted, "mΩ")}))
    assert "stands out above" in found[bad]  # half above the median: 0.045 mΩ (our rule)
    assert "counted on" in found[worse]
    assert JOINTS[3] not in found
    limit = joint_limit([0.030e-3] * 6)
    assert limit is not None and limit.number == pytest.approx(0.045e-3)


def test_torque_in_either_unit_is_shown_in_both() -> None:
    text = render(build_document(STUDY, hold(SHEET, read(record()), MARKS), MARKS), "text")
    flat = " ".join(text.split())
    assert "9.04 N·m" in flat and "80.0 lbf·in" in flat


def test_pound_force_inch_is_that_of_its_definition() -> None:
    # definition: pound 0.45359237 kg, standard gravity 9.80665 m/s², inch 0.0254 m
    assert parse("1 lbf·in", "torque") == pytest.approx(0.45359237 * 9.80665 * 0.0254, rel=1e-12)
    assert parse("1 lbf·ft", "torque") == pytest.approx(12 * parse("1 lbf·in", "torque"))


def test_the_signature_names_the_digest_of_the_record() -> None:
    held = hold(SHEET, read(record()), MARKS)
    text = " ".join(render(build_document(STUDY, held, MARKS), "text").split())
    assert f"the record with digest {held.record.digest}" in text
    other = read(record({"id": "module.1", "serial": "S1"}))
    assert other.digest != held.record.digest


def test_a_record_of_an_older_version_is_flagged() -> None:
    found = deviations(record(input_digest="0" * 16))
    assert "begun on" in found["design"]


@pytest.mark.parametrize(("changes", "words"), [
    ({"id": JOINTS[0], "torque": "9.0 V"}, "'9.0 V' is a voltage, not a torque"),
    ({"id": JOINTS[0], "torque": "9"}, "has no unit"),
    ({"id": JOINTS[0], "resistance": "-1 mΩ"}, "is below zero"),
    ({"id": JOINTS[0], "date": "20.11.2026"}, "is no date"),
    ({"id": JOINTS[0], "date": ""}, "date is blank"),
    ({"id": JOINTS[0], "name": ""}, "name is blank"),
    ({"id": JOINTS[0], "serial": "S"}, "serial stands on the line of a joint"),
    ({"id": "main_fuse", "resistance": "1 mΩ"}, "resistance stands on the line of a part"),
    ({"id": "module.2", "mark": MARKS["module.1"]}, "stands twice"),
    ({"id": "module.2", "note": "x" * 2000}, "note holds 2000 characters"),
])
def test_bad_cells_are_told_in_one_line(changes, words) -> None:
    (line,) = faults(record(changes))
    assert words in line and changes["id"] in line and "\n" not in line


def test_another_design_unknown_ids_columns_and_truncated_files() -> None:
    text = record()
    assert "is for the design" in faults(text.replace(DESIGN, "another"))[0]
    assert "did you mean" in faults(text.replace("module.1,", "modul.1,", 1))[0]
    assert "did you mean 'torque'" in faults(text.replace(",torque,", ",torqe,"))[0]
    assert "quotation mark" in faults(text + '"cut')[0]
    assert "holds no head row" in faults("")[0]
    assert "holds no line" in faults(",".join(COLUMNS) + "\n")[0]


def test_hostile_words_stay_words() -> None:
    nasty = "<script>alert(1)</script>"
    changed = record(*({"id": p.id, "part": nasty, "serial": nasty, "deviation": nasty,
                        "note": nasty, "name": nasty} for p in SHEET.parts))
    page = render(build_document(STUDY, hold(SHEET, read(changed), MARKS), MARKS), "html")
    assert page.count("<script>") == 1 and "&lt;script&gt;" in page


def test_places_of_the_assignment_are_those_of_the_build_list() -> None:
    from packcalc import api

    brief = api.read_brief("examples/minibus/brief.toml")
    study = api.size_protection(brief, "12S2P", arrangement="strings")
    dealt = api.salvage_of(study).dealt
    found = assigned(dealt, build_sheet(study))
    by_label = {p.label: p.dealt.mark for p in dealt.places}  # string.place
    assert len(found) == 24
    for name, mark in found.items():
        _, step, string = name.split(".")
        assert by_label[f"{string}.{step}"] == mark


WORDS = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=40)


@settings(deadline=None)
@given(st.dictionaries(st.sampled_from([p.id for p in SHEET.parts]), WORDS, max_size=4))
def test_whatever_is_written_is_read_back_and_nothing_is_invented(notes) -> None:
    text = record(*({"id": name, "note": words} for name, words in notes.items()))
    found = read(text)
    assert len(found.lines) == len(wanted(SHEET))
    for one in found.lines:
        said = notes.get(one.id, "").strip()
        assert one.note == said or one.note == said.lstrip("'")


@pytest.mark.parametrize("name", ["main_fuse", next(iter(MARKS))])
def test_a_line_written_twice_is_one_fault(name) -> None:
    text = record()
    row = next(line for line in text.splitlines() if line.startswith(f"{name},"))
    (one,) = faults(f"{text}{row}\n")
    assert f"line {name} stands twice" in one and "mark" not in one


def test_one_mark_in_two_places_is_still_told() -> None:
    first, second = list(MARKS)[:2]
    (one,) = faults(record({"id": second, "mark": MARKS[first]}))
    assert f"mark {MARKS[first]} stands twice" in one


def test_the_last_line_counts_deviations_and_the_lines_they_stand_on(capsys) -> None:
    held = hold(SHEET, read(record({"id": "main_fuse", "part": "another", "deviation": "told"},
                                   {"id": "precharge.resistor", "deviation": "told"})), MARKS)
    lines = {d.id for d in held.grave}
    assert len(held.grave) > len(lines) > 5
    said = record_no(held)
    counted = f"{len(held.grave)} deviations from the design on {len(lines)} lines: main_fuse, "
    assert counted in said
    assert said.endswith(f"and {len(lines) - 5} more")
    with pytest.raises(SystemExit) as ended:
        end_study(STUDY, False, also=said)
    assert ended.value.code == 1 and counted in capsys.readouterr().err


def test_a_line_that_is_missing_or_blank_is_told_on_the_page_and_in_the_terminal(capsys) -> None:
    gone, blank = JOINTS[1], JOINTS[2]
    text = "".join(line for line in record().splitlines(keepends=True)
                   if not line.startswith(f"{gone},"))
    row = next(line for line in text.splitlines() if line.startswith(f"{blank},"))
    empty = next(line for line in record_form(STUDY, MARKS).splitlines()
                 if line.startswith(f"{blank},"))
    held = hold(SHEET, read(text.replace(row, empty)), MARKS)
    assert held.missing == (gone,) and held.unfilled == (blank,)
    tell_record(held, False)
    said = capsys.readouterr().err.splitlines()
    assert said == [f"built.csv: 1 line of the build sheet left out of the record: {gone}",
                    f"built.csv: 1 line of the build sheet not filled yet: {blank}"]
    page = " ".join(render(build_document(STUDY, held, MARKS), "text").split())
    assert f"Left out of the record, without even a row: {gone}." in page
    assert f"Blank: {blank}." in page
    tell_record(held, True)
    tell_record(hold(SHEET, read(record()), MARKS), False)
    assert capsys.readouterr().err == ""


# --- readings that cannot be --------------------------------------------------------------------


def added(*changes: dict[str, str]) -> tuple[Deviation, ...]:
    """What a record has to tell beyond one that is filled as it should be."""
    known = hold(SHEET, read(record()), MARKS).deviations
    return tuple(d for d in hold(SHEET, read(record(*changes)), MARKS).deviations if d not in known)


@pytest.mark.parametrize("text", ["0 mΩ", "0.031 µΩ", "0.0009 mΩ"])
def test_a_joint_lower_than_any_can_be_goes_back(text) -> None:
    (one,) = added({"id": JOINTS[2], "resistance": text})
    assert (one.id, one.words, one.grave) == (JOINTS[2], f"{text} read, below 0.001000 mΩ", True)
    assert "look at value and unit" in one.act


def test_every_joint_in_a_wrong_unit_goes_back_and_tells_nothing_of_what_is_normal() -> None:
    changes = [{"id": name, "resistance": "0.030 µΩ"} for name in JOINTS]
    assert [d.id for d in added(*changes)] == JOINTS
    assert [d.id for d in added(*changes[1:])] == JOINTS[1:]  # the true one does not stand out


@pytest.mark.parametrize(("text", "told"), [
    ("0 N·m", True), ("0.4 N·m", True), ("210 N·m", True), ("0.5 N·m", False), ("200 N·m", False)])
def test_a_torque_that_no_bolt_has_goes_back_however_alike_all_are(text, told) -> None:
    lines = [*MARKS, *JOINTS]
    found = added(*({"id": name, "torque": text} for name in lines))
    assert sorted(d.id for d in found) == (sorted(lines) if told else [])
    assert all(d.grave and "look at value and unit" in d.act for d in found)


def test_a_torque_of_nought_does_not_make_the_true_one_stand_out() -> None:
    found = added(*({"id": name, "torque": "0 N·m"} for name in JOINTS[1:]))
    assert [d.id for d in found] == JOINTS[1:]


def test_a_blank_serial_is_told_and_holds_no_gate() -> None:
    (one,) = added({"id": "main_fuse", "serial": ""})
    assert (one.words, one.grave) == ("no serial number written down", False)
    assert "write none" in one.act
