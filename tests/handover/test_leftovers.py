"""Readings bound to a design and to the calendar; faults told once; pages that agree and fit.

Every scenario is invented.
"""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from examples.regenerate import ROOT, refreshed
from packcalc import api
from packcalc.decisions import Decision, decisions
from packcalc.errors import Fault, InputErrors
from packcalc.handover.as_built import assigned
from packcalc.handover.build import build_sheet
from packcalc.handover.commission import plan_of
from packcalc.handover.maintain import TASKS
from packcalc.handover.trend_rules import RULES
from packcalc.protection import ProtectionStudy
from packcalc.reading.as_built_file import COLUMNS as BUILT_COLUMNS
from packcalc.reading.as_built_file import PART, as_built_from_text
from packcalc.reading.parts_list import parts_from_text
from packcalc.reading.readings_file import COLUMNS, Bound, readings_from_text
from packcalc.reading.told_once import FEW, told_once
from packcalc.report.build_report import record_form
from packcalc.report.cautions import CAUTIONS, DEFERENCE, SHORT
from packcalc.report.commission_report import UNBOUND, commission_document, form
from packcalc.report.maintain_report import maintain_document
from packcalc.report.render import render
from packcalc.report.responder_report import responder_document
from packcalc.review_change import recheck
from packcalc.units import into_si
from tests.handover_cases import HEAD, run, study_of
from tests.report.devtools import CHROMIUM
from tests.sized import example

EXAMPLES = ROOT / "examples"
TRUCK = "hollin-light-truck-400-v-class-invented"
VAN = "pelling-bakery-van-96-to-144-v-class-invented"
WANTED = {"build.joint_1": "resistance", "dead.ohms": "resistance", "supply.volts": "voltage",
          "pack.ohms": "resistance"}
FULL = ",".join(COLUMNS) + "\n"
TODAY = "2026-11-24"


def faults(text: str, bound: Bound = Bound("truck", "16S1P", TODAY)) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        readings_from_text(text, WANTED, "r.csv", bound)
    return [str(fault) for fault in caught.value.faults]


def row(name: str = "dead.ohms", value: str = "1 Ω", date: str = "2026-11-24",
        calibrated: str = "", design: str = "truck", layout: str = "16S1P") -> str:
    return f"{name},{value},,{calibrated},{date},,,,{design},{layout}\n"


# -- one design -------------------------------------------------------------------------------


def test_readings_of_the_truck_are_refused_for_the_van(tmp_path: Path) -> None:
    out = tmp_path / "page.html"
    ran = run("commission", str(EXAMPLES / "van" / "brief.toml"), "--readings",
              str(EXAMPLES / "truck" / "readings.csv"), "--out", str(out))
    first, *rest = ran.err.splitlines()
    assert ran.code == 2 and not out.exists() and rest == ["1 fault; mend and run again"]
    assert f"is for the design {TRUCK!r}, and this brief is {VAN!r}" in first


@pytest.mark.parametrize(("text", "words"), [
    (row(design="van"), "r.csv:2: design: is for the design 'van', and this brief is 'truck'"),
    (row(layout="8S2P"), "r.csv:2: layout: is for the layout '8S2P', and this brief is '16S1P'"),
    (row() + row("supply.volts", "1 V", design="van"), "r.csv:3: design: rows of two designs"),
    # An id that the other pack alone has is no fault of its own then.
    (row("van.only", design="van"), "r.csv:2: design: is for the design 'van'"),
])
def test_another_design_is_one_line(text, words) -> None:
    (one,) = faults(FULL + text)
    assert words in one


def test_a_row_added_by_hand_may_leave_the_design_blank() -> None:
    text = FULL + row() + row("supply.volts", "1 V", design="", layout="")
    assert readings_from_text(text, WANTED, bound=Bound("truck", "16S1P")).design == "truck"


def test_a_file_of_before_is_read_with_a_caution(tmp_path: Path) -> None:
    old, new = tmp_path / "old.csv", EXAMPLES / "truck" / "readings.csv"
    old.write_text(re.sub(rf",(design,layout|{TRUCK},16S1P)$", "", new.read_text("utf-8"),
                          flags=re.M), "utf-8")
    assert "design" not in old.read_text("utf-8")
    page = tmp_path / "page.txt"
    for file, told in ((old, True), (new, False)):
        ran = run("commission", str(EXAMPLES / "truck" / "brief.toml"), "--readings", str(file),
                  "--out", str(page))
        assert ran.code == 1  # a joint of the story stands out
        assert (UNBOUND in ran.err) is told
        assert (UNBOUND in " ".join(page.read_text("utf-8").split())) is told


def test_the_form_names_its_design_and_comes_back() -> None:
    study = study_of()
    text = form(study)
    filled = text.replace("supply.voltage,", "supply.voltage,48 V", 1).replace(
        "48 V,,,,", "48 V,,,2026-11-24,", 1)
    from packcalc.handover.commission import plan_of
    from packcalc.review import design_of, layout_of

    bound = Bound(design_of(study), layout_of(study))
    file = readings_from_text(filled, plan_of(study).dimensions, bound=bound)
    assert [r.id for r in file.readings] == ["supply.voltage"] and file.design == bound.design
    with pytest.raises(InputErrors):
        readings_from_text(filled, plan_of(study).dimensions, bound=Bound("another", "16S1P"))


# -- days that cannot be ----------------------------------------------------------------------


@pytest.mark.parametrize(("text", "words"), [
    (row(date="2126-11-24"), "date 2126-11-24 lies in the future: today is 2026-11-24"),
    (row("build.joint_1", "1 mΩ", "2026-05-02") + row("pack.ohms", date="2025-05-03"),
     "r.csv:3: pack.ohms: date 2025-05-03 lies before the pack was joined, which it needs: its "
     "first joint was read on 2026-05-02, line 2"),
    (row(calibrated="2026-11-25"), "calibration_date 2026-11-25 lies after the reading"),
])
def test_a_day_that_cannot_be_is_one_line(text, words) -> None:
    (one,) = faults(FULL + text)
    assert words in one


@pytest.mark.parametrize("text", [
    row(date="2026-11-25"),  # another time zone
    row(calibrated="2026-11-24"),
    row("build.joint_1", "1 mΩ", "2026-05-02") + row(date="2026-05-02"),
])
def test_a_day_on_the_border_is_read(text) -> None:
    assert readings_from_text(FULL + text, WANTED, bound=Bound(today=TODAY)).readings


def test_where_the_clock_is_behind_the_briefs_date_counts(tmp_path: Path) -> None:
    from packcalc.review import latest_day

    assert latest_day(example("truck")) == "2026-12-31"  # the day of the tests
    late = (EXAMPLES / "truck" / "readings.csv").read_text("utf-8").replace("2026-11", "2126-11")
    file = tmp_path / "late.csv"
    file.write_text(late, "utf-8")
    ran = run("commission", str(EXAMPLES / "truck" / "brief.toml"), "--readings", str(file))
    assert ran.code == 2 and ran.out == "" and "lies in the future: today is 2026-12-31" in ran.err


def test_an_as_built_line_of_a_day_to_come_is_refused() -> None:
    cells = {"id": "main_fuse", "part": "F", "date": "2126-05-02", "name": "A", "design": "d"}
    text = ",".join(BUILT_COLUMNS) + "\n" + ",".join(cells.get(c, "") for c in BUILT_COLUMNS)
    with pytest.raises(InputErrors) as caught:
        as_built_from_text(text, {"main_fuse": PART}, "d", "b.csv", TODAY)
    assert [str(f) for f in caught.value.faults] == [
        "b.csv:2: main_fuse: date 2126-05-02 lies in the future: today is 2026-11-24; write the "
        "day on which it was fitted"]


def test_a_record_of_another_design_is_one_line_whatever_its_ids() -> None:
    cells = {"part": "F", "date": "2026-05-02", "name": "A", "design": "other"}
    lines = [",".join({**cells, "id": f"x{n}"}.get(c, "") for c in BUILT_COLUMNS)
             for n in range(150)]
    with pytest.raises(InputErrors) as caught:
        as_built_from_text("\n".join([",".join(BUILT_COLUMNS), *lines]), {"a": PART}, "d")
    (one,) = caught.value.faults
    assert "is for the design 'other'" in one.wrong


# -- one cause, one line ----------------------------------------------------------------------


def semicolons(text: str) -> str:
    return text.replace(",", ";")


def test_readings_with_the_separator_in_a_note_are_told_once() -> None:
    rows = "".join(f"dead.ohms,1 Ω,,,2026-11-{day},,cold; dry\n" for day in range(10, 20))
    (one,) = faults(semicolons(HEAD + rows), Bound())
    assert one.startswith("r.csv:2: dead.ohms: has 8 cells where the head has 7, and likewise "
                          "lines 3 to 11; the separator is ';'")


def test_decimal_commas_of_a_spreadsheet_are_told_once() -> None:
    rows = "".join(f"{name};1,5 {unit};;;2026-11-{day};;\n" for day in range(10, 20)
                   for name, unit in (("dead.ohms", "Ω"), ("supply.volts", "V")))
    (one,) = faults(semicolons(HEAD) + rows, Bound())
    assert "'1,5 Ω' has a comma, and likewise lines 3 to 21; write a decimal point" in one


def test_a_record_with_the_separator_in_its_cells_is_told_once() -> None:
    cells = {"id": "a", "note": "cold; dry", "design": "d", "input_digest": "0"}
    lines = [";".join(cells.get(c, "") for c in BUILT_COLUMNS) for _ in range(9)]
    with pytest.raises(InputErrors) as caught:
        as_built_from_text("\n".join([";".join(BUILT_COLUMNS), *lines]), {"a": PART}, "d")
    (one,) = caught.value.faults
    assert "and likewise lines 3 to 10" in one.wrong and "';'" in one.right


def test_a_parts_list_with_the_separator_in_its_cells_is_one_line() -> None:
    text = semicolons((EXAMPLES / "parts.csv").read_text("utf-8"))
    with pytest.raises(InputErrors) as caught:
        parts_from_text(text, "parts.csv")
    (one,) = caught.value.faults
    assert "and likewise lines" in one.wrong and "the separator is ';'" in one.right


def test_faults_of_several_causes_stay_apart() -> None:
    same = [Fault("f", n, "k", f"has {n} cells", "mend") for n in range(1, FEW + 1)]
    assert told_once(same) == same
    more = [*same, Fault("f", 9, "k", "has 9 cells", "mend")]
    assert [f.line for f in told_once(more)] == [1]
    assert len(told_once([*more, Fault("f", 10, "k", "has 9 cells", "otherwise")])) == 2
    assert len(told_once([f._replace(line=0) for f in more])) == len(more)
    assert len(told_once([f._replace(key=str(f.line)) for f in more], by_key=True)) == len(more)


# -- a change to several cables a pole --------------------------------------------------------


def main_cable(study: ProtectionStudy) -> Decision:
    return next(d for d in decisions(study) if d.item == "cable.battery to inverter"
                and d.kind == "choice")


@pytest.mark.parametrize("asked", ["2 x 95 mm2", "2x95mm²", "to 2 × 95 mm²", "2*1/0 AWG"])
def test_two_cables_a_pole_are_understood_where_none_is_listed(asked) -> None:
    study = example("van")  # its tables are in AWG
    found = recheck(study, main_cable(study), asked)
    assert found.understood and found.words.startswith("2 × ") and found.checks


def test_more_cables_than_the_model_counts_are_not_understood() -> None:
    study = example("van")
    assert not recheck(study, main_cable(study), "7 x 95 mm2").understood


def test_a_bare_pair_is_judged_as_the_listed_pair() -> None:
    """The same two cables, from the table and as a reviewer's own: the same figures."""
    from packcalc.protect.cable import size_route
    from packcalc.review_words import bare_cable

    study = example("van")
    asked = next(r.asked for r in study.routes if r.asked.behind_main_fuse)
    bare = bare_cable("2 × 4/0 AWG")
    assert bare is not None and bare.runs == 2
    candidates = size_route(asked, [bare]).item.candidates
    own, listed = (next(c for c in candidates if c.name == name)
                   for name in (bare.name, "2 × 4/0 AWG"))
    figures = {c.title: (c.verdict, c.figure and c.figure.number) for c in own.checks}
    for check in listed.checks:
        if check.title != "Insulation voltage":
            assert figures[check.title] == (check.verdict, check.figure and check.figure.number)


# -- pages that agree and fit -----------------------------------------------------------------


def test_intervals_and_readings_to_repeat_agree() -> None:
    """A reading that a task names is due when its trend says."""
    named = {"pack.isolation_": "isolation of both poles", "pack.precharge_time": "pre-charge time",
             "charge.cell_spread": "cells an hour after", "weld.fall_time": "fall of the link",
             "limited.pack_resistance": "pack resistance", "warm.joint_spread": "of the joints at",
             "supply.time_constant": "pre-charge and discharge from the supply"}
    for prefix, words in named.items():
        (rule,) = (r for r in RULES if r.prefix == prefix)
        due = {t.interval for t in TASKS if words in t.what and t.interval.startswith(
            ("every", "once"))}
        assert due and all(rule.interval.startswith(interval) for interval in due), prefix


def test_a_limit_that_serves_several_readings_is_worked_once() -> None:
    chains = [c.finding for c in maintain_document(study_of()).chains()]
    limits = [(f.title, f.number) for f in chains if "against the baseline" in f.title]
    assert limits and len(set(limits)) == len(limits)


def test_what_stays_live_alike_is_said_once() -> None:
    document = commission_document(study_of())
    (table,) = (t for t in document.tables() if t.key == "stages")
    said = [row[2] for row in table.rows]
    words = [cell.text for cell in said if not cell.text.startswith("as at ")]
    assert len(set(words)) == len(words) < len(said)
    for cell in said:
        if cell.text.startswith("as at "):
            assert said[int(cell.text.removeprefix("as at ")) - 1].data == cell.data


def test_the_shipped_record_is_of_the_shipped_brief() -> None:
    text = (EXAMPLES / "truck" / "as-built.csv").read_text("utf-8")
    study = example("truck")
    marks = assigned(api.salvage_of(study).dealt, build_sheet(study))
    assert refreshed(text, record_form(study, marks)) == text, "run python examples/regenerate.py"


def test_refreshing_a_record_prints_the_design_of_today_and_keeps_what_was_written() -> None:
    head = "id,designed,part,note,input_digest\n"
    record = f"# invented\n{head}a,Vire 6,Vire 6,as it came,k1\ngone,,X,,k1\n"
    form = f"# how\n{head}a,Vire 25,,,k2\nb,Talvik 80,,,k2\n"
    found = list(csv.DictReader(refreshed(record, form).splitlines()[1:]))
    assert [(r["id"], r["designed"], r["part"], r["note"], r["input_digest"]) for r in found] \
        == [("a", "Vire 25", "Vire 6", "as it came", "k2"), ("b", "Talvik 80", "", "", "k2")]


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no `chromium` on the path")
@pytest.mark.parametrize("paper", ["", "@page { size: A4; }"])
@pytest.mark.parametrize("name", ["truck", "van", "minibus", "faulty"])
def test_the_responders_sheet_is_one_page_with_its_cautions(name, paper, tmp_path) -> None:
    from tests.report.test_browser import printed_pages

    study = api.size_protection(api.read_brief(EXAMPLES / name / "brief.toml"),
                                *(["12S2P"] if name == "minibus" else []),
                                arrangement="strings" if name == "minibus" else "")
    text = render(responder_document(study), "html").replace("</style>", f"{paper}</style>", 1)
    (page,) = printed_pages(tmp_path, text)
    for words in (SHORT, DEFERENCE, "telephone", "top view", "what its figures rest on"):
        assert words in page
    # Two columns: a caution's words follow each other line by line, not in one row.
    assert all(caution.split(":")[0].split(",")[0].split(".")[0][:24] in page
               for caution in CAUTIONS)


def test_a_signature_table_stays_whole_on_paper_and_long_words_may_part() -> None:
    from packcalc.report.build_report import build_document
    from packcalc.report.html import _Page

    document = build_document(example("van"))
    page, tables = _Page(document), {t.key: t for t in document.tables()}
    assert "compact" in page.shape(tables["build_signatures"]).split()
    assert len(tables["build_steps"].rows) == 5
    assert "compact" not in page.shape(tables["build_steps"]).split()


def test_the_path_to_a_signature_has_blanks_to_write_in() -> None:
    from packcalc.report.review_report import review_document

    (table,) = (t for t in review_document(example("van")).tables()
                if t.key == "signature_questions")
    assert {(cell.text, cell.data) for row in table.rows for cell in row[-2:]} == {("____", "")}


def test_both_ends_of_a_band_stand_in_the_one_unit_of_their_row() -> None:
    """The shortest time that counts is in seconds, the brief's crash time in milliseconds."""
    seen = 0
    for name in ("truck", "van", "minibus"):
        study = example(name)
        plan = plan_of(study)
        for row in (r for t in commission_document(study).tables()
                    if t.key.endswith("_readings") for r in t.rows):
            wanted = plan.reading(row[0].text)
            ends = [(cell, f) for cell, f in zip(row[2:4], (wanted.low, wanted.high))
                    if wanted.dimension not in ("words", "temperature") and f is not None
                    and f.known]
            for cell, f in ends:
                assert into_si(cell.data, row[4].text) == pytest.approx(f.number, rel=1e-3)
                seen += 1
    assert seen > 100
    crash = next(r for t in commission_document(example("truck")).tables() for r in t.rows
                 if r[0].text == "logic.crash_time")
    assert [c.text for c in crash[2:5]] == ["1.000", "120.0", "ms"]
