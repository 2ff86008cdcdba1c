"""CSV: one table or all, nothing that a spreadsheet would run."""

from __future__ import annotations

import csv
import io

import pytest

from packcalc.errors import UnknownName
from packcalc.report.document import Cell, Column, Document, Section, Table
from packcalc.report.render import render
from tests.report import sample

DOCUMENT = sample.document()


def rows(text: str) -> list[list[str]]:
    lines = [line for line in text.splitlines(keepends=True) if not line.startswith("#")]
    return list(csv.reader(io.StringIO("".join(lines))))


def test_one_table_reads_back() -> None:
    found = rows(render(DOCUMENT, "csv", "layouts"))
    assert found[0][:3] == ["layout", "cells", "highest_V"]
    assert found[1][:3] == ["16S1P", "96s1p", "403.2"]
    assert len(found) == 13


def test_all_tables_are_led_by_key_and_caption() -> None:
    text = render(DOCUMENT, "csv")
    for line in ("# table: summary — The pack in five lines\n",
                 "# table: layouts — Layouts that fit, best first\n",
                 "# note: Ranked by usable energy, then by voltage margin.\n",
                 "# table: volts — Voltage bands\n", "# table: sources — "):
        assert line in text


def test_unknown_table_lists_the_near_one() -> None:
    with pytest.raises(UnknownName, match="unknown table 'layout'; did you mean 'layouts'"):
        render(DOCUMENT, "csv", "layout")


@pytest.mark.parametrize(("text", "field"), [
    ("=SUM(A1)", "'=SUM(A1)"), ("+1+1", "'+1+1"), ("-2+3", "'-2+3"), ("@cmd", "'@cmd"),
    (" =1", "' =1"), ("\t=1", "'\t=1"), ("#1", "'#1"), ("-20.5", "-20.5"), ("+3", "+3"),
    ("1e-3", "1e-3"), ("a=b", "a=b"), ("–", "")])
def test_texts_that_a_spreadsheet_would_run(text: str, field: str) -> None:
    table = Table("t", "C", (Column("a", "A"), Column("b", "B")), ((Cell(text), Cell("x")),))
    document = Document("T", "", (), (), "", (Section("s", "S", (table,)),))
    assert rows(render(document, "csv", "t"))[1] == [field, "x"]


def test_numbers_are_untouched() -> None:
    found = rows(render(DOCUMENT, "csv", "evil"))
    assert [row[1] for row in found[1:]] == ["-12.5"] * 6


def test_comment_lines_hide_no_formula_behind_a_separator() -> None:
    document = Document("Title, =cmd() ; +1\n=2", "", (), (), "", ())
    assert render(document, "csv").splitlines()[0] == "# Title, '=cmd() ; '+1 =2"


def test_truths_and_lists_are_words() -> None:
    row = (Cell("yes", True), Cell("a b", ["a", "b"]))
    table = Table("t", "C", (Column("a", "A"), Column("b", "B")), (row,))
    document = Document("T", "", (), (), "", (Section("s", "S", (table,)),))
    assert rows(render(document, "csv", "t"))[1] == ["true", "a; b"]
