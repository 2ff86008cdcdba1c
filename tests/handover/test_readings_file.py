"""Readings: strict, every fault at once, nothing lost."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.errors import InputErrors
from packcalc.reading.readings_file import (
    MOST_FAULTS,
    Reading,
    read_readings,
    readings_from_text,
    readings_text,
)
from tests.handover_cases import HEAD

WANTED = {"a.ohms": "resistance", "a.volts": "voltage", "a.share": "ratio", "a.done": "words",
          "a.hot": "temperature"}


def faults(text: str) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        readings_from_text(text, WANTED, "r.csv")
    return [str(f) for f in caught.value.faults]


def test_a_row_is_read_with_all_its_words() -> None:
    (one,) = readings_from_text(
        HEAD + 'a.ohms,1.2 mΩ,"meter, bench",2026-01-01,2026-11-24,A. Tester,"cold, 12 °C"\n',
        WANTED).readings
    assert (one.value, one.text, one.instrument, one.note) == (
        0.0012, "1.2 mΩ", "meter, bench", "cold, 12 °C")


@pytest.mark.parametrize(("row", "words"), [
    ("a.ohms,5 V,,,2026-11-24,,", "r.csv:2: a.ohms: '5 V' is a voltage, not a resistance"),
    ("a.ohms,5,,,2026-11-24,,", "'5' has no unit"),
    ("a.ohms,\"1,2 mΩ\",,,2026-11-24,,", "has a comma"),
    ("a.ohms,-1 mΩ,,,2026-11-24,,", "is below zero"),
    ("a.share,0.5,,,2026-11-24,,", "has no unit"),
    ("a.done,ok,,,2026-11-24,,", "write yes or no"),
    ("a.done,5 V,,,2026-11-24,,", "write yes or no"),
    ("a.ohms,,M,,2026-11-24,,", "value is blank"),
    ("a.ohms,1 Ω,,,24.11.2026,,", "write it like 2026-11-24"),
    ("a.ohms,1 Ω,,,2026-02-30,,", "is no date"),
    ("a.ohms,1 Ω,,soon,2026-11-24,,", "calibration_date 'soon' is no date"),
    ("a.ohms,1 Ω,,,,,", "date '' is no date"),
    ("a.ohm,1 Ω,,,2026-11-24,,", "no such reading; did you mean 'a.ohms'?"),
    ("zzz,1 Ω,,,2026-11-24,,", "no such reading; ids stand in the list"),
    ("a.ohms,1 Ω,,,2026-11-24,,,more", "has 8 cells where the head has 7"),
    ("a.ohms,1 Ω," + "x" * 1001 + ",,2026-11-24,,", "at most 1000 are read"),
])
def test_what_is_wrong_takes_one_line(row, words) -> None:
    (one,) = faults(HEAD + row + "\n")
    assert words in one and "\n" not in one


def test_every_fault_is_told_and_nothing_is_kept() -> None:
    assert len(faults(HEAD + "a.ohms,5 V,,,2026-11-24,,\na.x,1 V,,,2026-11-24,,\n"
                      "a.volts,1 V,,,x,,\n")) == 3


def test_faults_end_at_a_bound() -> None:
    found = faults(HEAD + "a.x,1 V,,,2026-11-24,,\n" * 500)
    assert len(found) == 2 and f"more than {MOST_FAULTS}" in found[-1]
    assert f"and likewise lines 3 to {MOST_FAULTS + 1}" in found[0]


@pytest.mark.parametrize(("head", "words"), [
    ("id,value\n", "date: column is missing"), ("id,value,date,dat\n", "did you mean 'date'?"),
    ("id,value,date,date\n", "names a column twice"), ("# only remarks\n", "holds no head row"),
    (HEAD, "holds no reading"), (HEAD + 'a.ohms,"1 Ω\n', "no readable CSV")])
def test_heads_and_ends(head, words) -> None:
    assert any(words in f for f in faults(head))


def test_one_id_twice_on_one_day_is_asked_about() -> None:
    found = faults(HEAD + "a.volts,1 V,,,2026-11-24,,\na.volts,2 V,,,2026-11-24,,\n")
    assert "read twice on 2026-11-24, first in line 2" in found[0]


def test_semicolons_tabs_remarks_and_blank_lines_of_a_form() -> None:
    for mark in ";\t":
        text = "# remark, with, commas\n" + HEAD.replace(",", mark) + \
            f"# band{mark}x\na.volts{mark * 6}\na.hot{mark}-5 degC{mark * 3}2026-11-24{mark * 2}\n"
        (one,) = readings_from_text(text, WANTED).readings
        assert one.value == pytest.approx(268.15) and one.line == 5


def test_the_file_is_not_touched(tmp_path) -> None:
    path = tmp_path / "r.csv"
    path.write_text(HEAD + "a.volts,1 V,,,2026-11-24,,\n", "utf-8")
    before = path.read_bytes(), path.stat().st_mtime_ns
    assert read_readings(path, WANTED).place == str(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc", "Zl", "Zp")),
                max_size=40).map(str.strip)
NOTES = st.one_of(WORDS, st.sampled_from(
    ["=1+1", "'=x", "+49 30", "-5 K", "@sum", "#1", '"quoted"', "a;b,c\td", "line\nbreak"]))
VALUES = st.one_of(
    st.tuples(st.just("a.ohms"), st.floats(0, 1e6).map(lambda v: f"{v:.6f} ohm")),
    st.tuples(st.just("a.volts"), st.floats(-1e3, 1e3).map(lambda v: f"{v:.6f} V")),
    st.tuples(st.just("a.hot"), st.integers(-40, 90).map(lambda v: f"{v} degC")),
    st.tuples(st.just("a.done"), st.sampled_from(["yes", "no", "Yes"])))
DATES = st.dates(datetime.date(2020, 1, 1), datetime.date(2040, 1, 1)).map(str)


@pytest.mark.property
@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(VALUES, NOTES, st.one_of(st.just(""), DATES), DATES, NOTES, NOTES),
                min_size=1, max_size=8, unique_by=lambda t: (t[0][0], t[3])))
def test_any_set_of_readings_survives_the_round_trip(rows) -> None:
    written = [Reading(name, text, None, tool, min(calibrated, date), date, who, note)
               for (name, text), tool, calibrated, date, who, note in rows]
    found = readings_from_text(readings_text(written), WANTED).readings
    keep = [(r.id, r.text, r.instrument, r.calibration_date, r.date, r.name, r.note)
            for r in found]
    assert keep == [(r.id, r.text, r.instrument, r.calibration_date, r.date, r.name, r.note)
                    for r in written]
    again = readings_from_text(readings_text(found), WANTED).readings
    assert [r.value for r in again] == [r.value for r in found]
