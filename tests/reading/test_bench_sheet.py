"""A bench sheet as a spreadsheet writes it, and every way in which it may be wrong."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.bench.sheet import ANSWERS, DATES, FIGURES, WORDS
from packcalc.errors import InputErrors
from packcalc.reading.bench_sheet import (
    HEADS,
    describe_columns,
    parse_sheet,
    read_sheet,
)
from packcalc.reading.library import record
from packcalc.reading.sheet_text import layout_of
from packcalc.units import from_si, into_si

PLAIN = "mark,module,capacity_Ah,rest_date,damage\nM1,nmc-6s-240ah,205.5,2026-03-01,none\n"


def faults_of(text: str) -> list[str]:
    return [str(fault) for fault in parse_sheet(text, "b.csv")[1]]


def only(text: str) -> str:
    (fault,) = faults_of(text)
    return fault


@pytest.mark.parametrize("text", [
    PLAIN,
    PLAIN.replace(",", ";"),
    PLAIN.replace(",", "\t"),
    "# decimal: comma\n" + PLAIN.replace(",", ";").replace("205.5", "205,5"),
    "# decimal: comma;;;;\n" + PLAIN.replace(",", ";").replace("205.5", "205,5"),
    '# decimal: comma\n' + PLAIN.replace("205.5", '"205,5"'),
    "# a remark, with, commas\n\n# decimal: point\n" + PLAIN,
    PLAIN.replace("\n", "\r\n"),
    '"mark","module","capacity_Ah","rest_date","damage"\n"M1","nmc-6s-240ah",205.5,2026-03-01,""\n',
    PLAIN.replace("205.5", "2.055E+02"),
    PLAIN + ",,,,\n",
    PLAIN.replace("none\n", "none,,\n"),
    PLAIN.replace("capacity_Ah", "capacity_mAh").replace("205.5", "205500"),
])
def test_the_same_row_however_it_is_written(text):
    sheet, faults = parse_sheet(text, "b.csv")
    assert faults == ()
    (row,) = sheet.rows
    assert row.mark == "M1" and row.module is record("nmc-6s-240ah")
    assert row.capacity.shown == "205.5 Ah" and row.capacity.basis == "measured"
    assert row.rest_date == "2026-03-01"
    assert str(row.capacity.origin).startswith(f"b.csv:{row.line} capacity_")


def test_only_the_mark_is_obligatory():
    sheet, faults = parse_sheet("mark\nA\n#12\nB\n", "b.csv")
    assert not faults
    assert [(r.mark, r.line) for r in sheet.rows] == [("A", 2), ("#12", 3), ("B", 4)]
    assert all(not figure.known for figure in sheet.rows[0].figures())


def test_lines_count_the_rows_of_quoted_text():
    text = 'mark,damage\nA,"two\nlines"\nB,\n'
    sheet, _ = parse_sheet(text, "b.csv")
    assert [(r.mark, r.line) for r in sheet.rows] == [("A", 2), ("B", 4)]
    assert sheet.rows[0].damage == "two lines"


def test_a_row_without_type_takes_the_briefs_only_one():
    module = record("nmc-6s-240ah")
    sheet, _ = parse_sheet("mark\nA\n", "b.csv", module)
    assert sheet.rows[0].module is module


@pytest.mark.parametrize("figure", FIGURES, ids=lambda f: f.name)
def test_every_column_is_read_in_each_of_its_units(figure):
    middle = (figure.least + min(figure.most, 100.0)) / 2
    for ending, unit in figure.units:
        si = into_si(middle, figure.unit)
        text = f"{si * 9 / 5 - 459.67 if unit == '°F' else from_si(si, unit):.9g}"
        sheet, faults = parse_sheet(f"mark,{figure.name}_{ending}\nA,{text}\n", "b.csv")
        assert not faults
        found = next(f for f in sheet.rows[0].figures() if f.title == figure.title)
        assert found.number == pytest.approx(into_si(middle, figure.unit), rel=1e-6)


def test_the_reference_table_names_every_column_once():
    heads = [head for line in describe_columns() for head in line.heads.split(", ")]
    assert sorted(heads) == sorted({"mark", *HEADS, *WORDS, *DATES, *ANSWERS})
    assert all(line.title and line.find for line in describe_columns())


@pytest.mark.parametrize(("text", "wanted"), [
    ("mark\nM1\nm1\n", "b.csv:3: mark: module m1: the mark stands already on line 2 as 'M1'"),
    ("mark,capacity_Ah\nA,5\nB\n", "b.csv:3: module B: the row has 1 cell, the head 2"),
    ("mark,capacity_Ah\nA,5,6\n", "b.csv:2: module A: the row has 3 cells, the head 2"),
    ("mark,capacity_Ah\n,5\n", "b.csv:2: mark: the row has no mark"),
    ("mark,capacity\nA,5\n", "b.csv:1: capacity: the head names no unit; write capacity_Ah or "
     "capacity_mAh"),
    ("mark,capacity_ah\nA,5\n", "did you mean 'capacity_Ah'?"),
    ("mark,mark\nA,B\n", "b.csv:1: mark: the column stands twice"),
    ("mark,mass_kg,mass_lb\nA,5,5\n", "the column stands twice ('mass_kg' and 'mass_lb')"),
    ("mark,,mass_kg\nA,5,5\n", "a column has no head"),
    ("marke,mass_kg\nA,5\n", "did you mean 'mark'?"),
    ("mark,capacity_Ah\nA,205 Ah\n", "the unit stands in the head (capacity_Ah)"),
    ("mark,capacity_Ah\nA,#DIV/0!\n", "the spreadsheet's own formula failed"),
    ("mark,capacity_Ah\nA,~205\n", "'~205' is no number; write the number alone"),
    ("mark;capacity_Ah\nA;1.205,5\n", "write no thousands marks"),
    ("mark,capacity_Ah\nA,-5\n", "is not readable as capacity as measured; expected 0.001 to"),
    ("mark,capacity_Ah\nA,nan\n", "'nan' is no number"),
    ("mark,rest_date\nA,03/04/2026\n", "which number is the month is never guessed"),
    ("mark,rest_date\nA,2026-02-30\n", "'2026-02-30' is no day"),
    ("mark,water\nA,maybe\n", "b.csv:2: water: 'maybe' is no answer; write yes, no or unknown"),
    ("mark,module\nA,6s 240 Ah XYZ\n", "b.csv:2: module: unknown chemistry 'XYZ'"),
    ("mark,module\nA,brick\n", "is no module label"),
    ("mark\n", "b.csv: holds a head and no rows"),
    ("# decimal: dot\nmark\nA\n", "decimal: 'dot' is no choice"),
    ("mark\nA\n# decimal: comma\n", "b.csv:3: the decimal mark is declared below the head"),
    ("# decimal: comma\n# decimal: point\nmark\nA\n", "the decimal mark is declared twice"),
    ('mark\nA\n"B\n', "b.csv:3: is no CSV from here on"),
    ("mark,damage\nA," + "x" * 400 + "\n", "damage: is 400 characters long"),
    ("mark\n" + "x" * 60 + "\n", "up to 40 characters in one line"),
])
def test_one_clear_line_for_each_mistake(text, wanted):
    assert any(wanted in line for line in faults_of(text))
    assert all("\n" not in line for line in faults_of(text))


def test_a_foreign_decimal_mark_is_told_once_and_never_guessed():
    text = "mark;capacity_Ah;mass_kg\n" + "".join(f"A{i};205,{i};33,1\n" for i in range(30))
    assert only(text) == ("b.csv:2: capacity_Ah: '205,0' is written with a decimal comma, and 59 "
                          "more figures; declare it once: a first line `# decimal: comma`")
    assert "declares `# decimal: comma`" in only("# decimal: comma\nmark;mass_kg\nA;33.1\n")


def test_every_fault_comes_in_one_run_in_the_order_of_the_lines():
    text = ("mark,module,capacity_Ah,water\nA,brick,x,\nB,,1,\nB,,,\nC,,1\nD,,,perhaps\n")
    lines = [int(line.split(":")[1]) for line in faults_of(text)]
    assert lines == [2, 2, 4, 5, 6]


def test_faults_are_bounded():
    text = "mark,capacity_Ah\n" + "".join(f"A{i},x\n" for i in range(500))
    found = faults_of(text)
    assert len(found) == 101 and "more than 100 faults" in found[-1]


def refusal(path) -> str:
    with pytest.raises(InputErrors) as caught:
        read_sheet(path)
    return str(caught.value)


@pytest.mark.parametrize(("data", "wanted"), [
    (b"", "is empty"),
    (b" ;;\r\n", "is empty"),
    ("mark\nA\n".encode("utf-16"), "is UTF-16 text; save it from the spreadsheet as CSV, UTF-8"),
    (b"PK\x03\x04rest", "is a spreadsheet's own file, not CSV"),
    (b"mark\nA\0\n", "is no text file: byte 0 at offset 6"),
    ("mark,damage\nA,fêlé\n".encode("cp1252"), "is not UTF-8 text: byte 0xEA"),
])
def test_files_that_are_no_sheet(tmp_path, data, wanted):
    path = tmp_path / "b.csv"
    path.write_bytes(data)
    assert wanted in refusal(path)


def test_a_file_that_is_not_there_too_large_or_a_folder(tmp_path):
    assert "does not exist; check the name, or begin it with" in refusal(tmp_path / "b.csv")
    assert "is a folder" in refusal(tmp_path)
    big = tmp_path / "big.csv"
    with big.open("wb") as file:
        file.truncate(50_000_000)
    start = time.monotonic()
    assert "holds 50000000 bytes, more than the 5000000 that are read" in refusal(big)
    assert time.monotonic() - start < 1


def test_a_byte_order_mark_is_no_part_of_the_head(tmp_path):
    path = tmp_path / "b.csv"
    path.write_bytes("mark\r\nA\r\n".encode("utf-8-sig"))
    assert [row.mark for row in read_sheet(path).rows] == ["A"]


def test_two_thousand_rows_are_read_in_two_seconds():
    row = ",nmc-6s-240ah,205.5,2026-03-01,none\n"
    text = PLAIN.splitlines()[0] + "\n" + "".join(f"M{i}{row}" for i in range(2000))
    start = time.monotonic()
    sheet, faults = parse_sheet(text, "b.csv")
    assert len(sheet.rows) == 2000 and not faults
    assert time.monotonic() - start < 2


def test_layout_says_how_the_sheet_is_written():
    found = layout_of("# decimal: comma\r\nmark;mass_kg;\r\nA;3,1;\r\n")
    assert (found.separator, found.decimal, found.newline) == (";", "comma", "\r\n")
    assert found.head == ("mark", "mass_kg")


@pytest.mark.property
@given(st.text(max_size=300))
@settings(max_examples=300, deadline=None)
def test_no_text_breaks_the_reader(text):
    _, faults = parse_sheet("mark,capacity_Ah,rest_date\n" + text, "b.csv")
    assert all(str(fault).isprintable() for fault in faults)


@pytest.mark.property
@given(st.floats(0.01, 9999.0), st.sampled_from(",;\t"), st.sampled_from(("point", "comma")))
@settings(max_examples=200, deadline=None)
def test_separator_and_decimal_mark_change_no_figure(value, separator, decimal):
    written = f"{value:.3f}".replace(".", "," if decimal == "comma" else ".")
    cell = f'"{written}"' if "," in (separator, ) and "," in written else written
    text = f"# decimal: {decimal}\nmark{separator}capacity_Ah\nA{separator}{cell}\n"
    sheet, faults = parse_sheet(text, "b.csv")
    assert not faults
    assert sheet.rows[0].capacity.number == pytest.approx(float(f"{value:.3f}") * 3600)


# -- a record of the user's own, beside the sheet ----------------------------------------------

OWN = """id = "mine-6s"
title = "module of my own, invented"
label = "6s 240 Ah NMC"
mass = "32 kg"
"""


def own_sheet(tmp_path, cell: str = "mine.toml", text: str = OWN):
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    place = tmp_path / "b.csv"
    place.write_text(PLAIN.replace("nmc-6s-240ah", cell) + f"M2,{cell},204,2026-03-01,none\n",
                     "utf-8")
    return place


def test_a_record_of_ones_own_is_named_by_its_file(tmp_path):
    """As in a brief, see README."""
    sheet = read_sheet(own_sheet(tmp_path))
    first, second = (row.module for row in sheet.rows)
    assert first is second and first.id == "mine-6s"
    assert str(first.mass.origin) == "mine.toml:4 mass = 32 kg"


def test_its_text_is_part_of_the_sheets_digest(tmp_path):
    first = read_sheet(own_sheet(tmp_path)).digest
    assert read_sheet(own_sheet(tmp_path)).digest == first
    assert read_sheet(own_sheet(tmp_path, text=OWN.replace("32", "33"))).digest != first


def test_its_faults_stand_once_in_its_own_lines(tmp_path):
    with pytest.raises(InputErrors) as caught:
        read_sheet(own_sheet(tmp_path, text=OWN.replace("32 kg", "2 kg")))
    (told,) = (str(fault) for fault in caught.value.faults)
    assert f"{tmp_path / 'mine.toml'}:4: mass:" in told and "Wh/kg" in told


def test_a_record_that_is_not_there_is_told_at_the_row(tmp_path):
    with pytest.raises(InputErrors) as caught:
        read_sheet(own_sheet(tmp_path, "mien.toml"))
    (fault,) = caught.value.faults
    assert (fault.line, fault.key) == (2, "module")
    assert "mien.toml" in fault.wrong and "does not exist" in fault.wrong


def test_the_column_says_that_a_file_may_be_named():
    (line,) = (one for one in describe_columns() if one.heads == "module")
    assert "mine.toml" in str(line)
