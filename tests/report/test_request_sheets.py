"""The request sheets that are to be sent: which, where each stands, and that it is there.

Demo data are the invented examples with entries changed.
"""

from __future__ import annotations

import csv
import io
import tomllib
from functools import cache

import pytest

from examples.regenerate import ROOT
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.compose import protection_document, report_document
from packcalc.report.csv_ import render
from packcalc.report.document import Table
from packcalc.report.requests_report import nothing_named, requests_section
from tests.cases.studies import LAYOUTS, study


@cache
def bare(name: str) -> ProtectionStudy:
    """An example that names no part at all."""
    brief = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(brief.read_text("utf-8"))
    del data["parts"]
    for table in (*data["branch"], *data["cables"]["route"]):
        table.pop("fuse_part", None)
        table.pop("cable", None)
    return study_protection(brief_from_data(data, str(brief)), *LAYOUTS[name])


def keys(found: ProtectionStudy) -> list[str]:
    table = next(b for s in requests_section(found) for b in s.blocks if isinstance(b, Table))
    at = [c.key for c in table.columns].index("part_key")
    return [row[at].text for row in table.rows]


@pytest.mark.parametrize("name", ["truck", "minibus"])
def test_with_no_part_named_the_listing_begins_with_the_sheets(name):
    found = bare(name)
    document = protection_document(found, chains=False)
    assert nothing_named(found) and document.sections[0].key == "requests"
    wanted = {"main_fuse", "contactors", "precharge", "charge_contactor", "management",
              "disconnect", "connectors", *(f"branch_{b}" for b in ("sense_wires",))}
    assert wanted <= set(keys(found))
    assert ("mid_fuse" in keys(found)) == (name == "truck")
    tables = {t.key: t for t in document.tables()}
    for key in keys(found):  # each where the list says, with all its lines
        assert tables[f"{key}_specification"].rows
    assert not {"insulation", "coordination", "switching", "overvoltage"} & set(keys(found))


def test_a_sheet_goes_out_by_itself_with_the_cautions():
    text = render(protection_document(bare("truck"), chains=False), "mid_fuse_specification")
    head = [line for line in text.splitlines() if line.startswith("#")]
    rows = list(csv.DictReader(io.StringIO("\n".join(
        line for line in text.splitlines() if not line.startswith("#")))))
    assert any("licensed electrician" in line for line in head)
    assert {"what", "value", "why"} <= set(rows[0]) and any(
        row["what"].startswith("Breaking capacity") for row in rows)


def test_in_the_file_for_review_they_stand_before_the_parts():
    sections = [s.key for s in report_document(bare("truck")).sections]
    assert sections.index("requests") < sections.index("main_fuse")
    assert sections[0] == "first"


def test_only_what_has_no_part_yet_is_to_be_sent():
    assert requests_section(study("truck")) == ()
    assert keys(study("minibus")) == ["precharge", "charge_contactor"]
    first = protection_document(study("minibus"), chains=False).sections
    assert first[0].key == "first" and "requests" in [s.key for s in first]
    assert not nothing_named(study("minibus"))
