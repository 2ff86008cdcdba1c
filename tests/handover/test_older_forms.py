"""Forms of before that name no arrangement, read for the other one: one line, and no more.

Every scenario is invented.
"""

from __future__ import annotations

import csv
import io

import pytest

from packcalc.decisions import decisions
from packcalc.errors import InputErrors
from packcalc.handover.as_built import wanted
from packcalc.handover.build import build_sheet
from packcalc.handover.commission import plan_of
from packcalc.marks import ACCEPT
from packcalc.reading.as_built_file import as_built_from_text
from packcalc.reading.readings_file import Bound, readings_from_text
from packcalc.report.build_report import record_form
from packcalc.report.commission_report import form
from packcalc.review import as_csv, check_review, design_of, layout_of, parse_csv
from tests.handover_cases import STRINGS, study_of
from tests.review.cases import mark

NAMED, BLANK = "16S2P", ""
GROUPED = study_of(STRINGS, "16S2P", "grouped")
STRUNG = study_of(STRINGS, "16S2P", "strings")


def filled(text: str, layout: str, **cells: str) -> str:
    """A form with every row filled, its layout as forms of before had it."""
    head, *rows = [row for row in csv.reader(io.StringIO(text)) if not row[0].startswith("#")]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow({**dict(zip(head, row)), **cells, "layout": layout}.values())
    return out.getvalue()


@pytest.mark.parametrize("layout", [NAMED, BLANK])
def test_readings_of_the_other_arrangement_are_told_in_one_line(layout: str) -> None:
    text = filled(form(GROUPED), layout, value="yes", date="2026-11-20")
    with pytest.raises(InputErrors) as caught:
        readings_from_text(text, plan_of(STRUNG).dimensions, "r.csv",
                           Bound(design_of(STRUNG), layout_of(STRUNG), "2026-11-24"))
    (fault,) = map(str, caught.value.faults)
    assert fault.startswith("r.csv:") and "repeat --layout, --arrangement and --module" in fault
    assert (f"rows that {layout_of(STRUNG)} has not" if layout else "names no layout") in fault


@pytest.mark.parametrize("layout", [NAMED, BLANK])
def test_a_record_of_the_other_arrangement_is_told_in_one_line(layout: str) -> None:
    text = filled(record_form(GROUPED, {}), layout, name="A. Invented", date="2026-11-20")
    with pytest.raises(InputErrors) as caught:
        as_built_from_text(text, wanted(build_sheet(STRUNG)), design_of(STRUNG), "b.csv",
                           "2026-11-24", (layout_of(STRUNG), STRUNG.brief.digest))
    (fault,) = map(str, caught.value.faults)
    assert (f"rows that {layout_of(STRUNG)} has not" if layout else "names no layout") in fault

def test_an_unknown_row_or_two_are_still_told_by_name() -> None:
    text = filled(form(GROUPED), NAMED)
    rows = "build.joint_99,1 mΩ,,,2026-11-20,,,,,\nbuild.joint_98,1 mΩ,,,2026-11-20,,,,,\n"
    with pytest.raises(InputErrors) as caught:
        readings_from_text(text + rows, plan_of(GROUPED).dimensions, "r.csv",
                           Bound(design_of(GROUPED), layout_of(GROUPED), "2026-11-24"))
    assert [f.key for f in caught.value.faults] == ["build.joint_99", "build.joint_98"]


@pytest.mark.parametrize("layout", [NAMED, BLANK])
@pytest.mark.parametrize("whole", [True, False])
def test_marks_on_the_other_arrangement_are_told_in_one_line(layout: str, whole: bool) -> None:
    """Also where every marked id is known: its printed cells read otherwise."""
    known = {d.id for d in decisions(STRUNG)}
    marks = [mark(d, ACCEPT) for d in decisions(GROUPED) if whole or d.id in known]
    sheet = parse_csv(filled(as_csv(GROUPED, marks), layout), "marks.csv")
    check_review(sheet, GROUPED)
    with pytest.raises(InputErrors) as caught:
        check_review(sheet, STRUNG)
    (fault,) = map(str, caught.value.faults)
    assert layout_of(STRUNG) in fault and "is it of the other arrangement" in fault
