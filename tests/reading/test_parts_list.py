"""The parts list: what is read, and one clear line for whatever is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from packcalc.errors import InputErrors, UnknownName
from packcalc.parts import COLUMNS, KINDS, PART_CLASSES
from packcalc.reading.parts_list import describe_columns, parts_from_text, read_parts

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "parts.csv"
HEAD = "kind,name,class,rated_current,rated_voltage_dc,melting,clearing,breaking_capacity"
ROW = ('fuse,F 300,gR,300 A,500 V,"0.01 s: 3000 A; 1 s: 1200 A","0.01 s: 4000 A; 1 s: 1500 A",'
       "20 kA")
GOOD = f"{HEAD}\n{ROW}\n"


def faults(text: str) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        parts_from_text(text, "parts.csv")
    return [str(f) for f in caught.value.faults]


def test_a_fuse_keeps_its_origin():
    part = parts_from_text(GOOD, "parts.csv").fuses[0]
    assert (part.name, part.class_letters, part.full_range) == ("F 300", "gR", True)
    assert part.rated_current.number == 300.0 and part.rated_current.basis == "given"
    assert str(part.rated_current.origin) == "parts.csv:2 rated_current = 300 A"
    assert part.clearing.curve.currents == (1500.0, 4000.0)
    assert part.clearing.curve.times == (1.0, 0.01)
    assert part.lowest_breaking_current is None


@pytest.mark.parametrize("text", [
    "\ufeff" + GOOD,
    GOOD.replace("\n", "\r\n"),
    GOOD.replace("\n", "\n\n"),
    "# a remark, with commas; and more\n" + GOOD + "# the end\n",
    "\n".join(";".join(cells) for cells in (
        HEAD.split(","), ["fuse", "F 300", "gR", "300 A", "500 V",
                          '"0.01 s: 3000 A; 1 s: 1200 A"', '"0.01 s: 4000 A; 1 s: 1500 A"',
                          "20 kA"])),
    GOOD.replace(",", "\t"),
    GOOD.replace("kind,name", "Kind, NAME").replace("fuse,", "Fuse,").replace(",gR", ", gr"),
])
def test_separators_marks_and_line_ends(text):
    part = parts_from_text(text).fuses[0]
    assert part.rated_voltage_dc.number == 500.0 and part.class_letters == "gR"


def test_the_row_is_that_of_the_file_below_remarks_and_broken_cells():
    text = f'# one\n{HEAD},note\n{ROW},"two\nlines"\n{ROW.replace("F 300", "F 2")},\n'
    assert "parts.csv:3: note:" in faults(text)[0]


def test_empty_cells_and_unknown_are_missing():
    part = parts_from_text(GOOD.replace("20 kA", "unknown").replace("500 V", "")).fuses[0]
    assert part.breaking_capacity is None and part.rated_voltage_dc is None


CASES = {
    "points out of order in time": (
        GOOD.replace("0.01 s: 3000 A; 1 s: 1200 A", "1 s: 1200 A; 0.01 s: 3000 A"),
        "parts.csv:2: melting: points out of order: point 2 (0.01000 s) does not lie after "
        "point 1 (1.000 s)"),
    "points that do not fall": (
        GOOD.replace("1 s: 1500 A", "1 s: 4000 A"),
        "parts.csv:2: clearing: points out of order: 4000 A at 1.000 s does not lie below 4000 A"),
    "one point only": (
        GOOD.replace("0.01 s: 4000 A; 1 s: 1500 A", "1 s: 1500 A"),
        "parts.csv:2: clearing: holds 1 of the 2 points that a curve needs at least"),
    "crossing curves": (
        GOOD.replace("1 s: 1500 A", "1 s: 1100 A"),
        "parts.csv:2: clearing: the clearing curve lies below the melting curve at 1200 A"),
    "AC figure under DC": (
        GOOD.replace("500 V", "690 V AC"),
        "parts.csv:2: rated_voltage_dc: '690 V AC' is an AC rating, which says nothing about DC; "
        "put it under rated_voltage_ac, and ask the maker for the DC rating"),
    "kind of voltage written": (
        GOOD.replace("500 V", "500 V DC"), "parts.csv:2: rated_voltage_dc: '500 V DC' carries "
        "the kind of voltage, which the column's name says; write 500 V"),
    "unknown column": (
        GOOD.replace("rated_current", "rated_curent"),
        "parts.csv:1: rated_curent: unknown column; did you mean 'rated_current'?"),
    "column twice": (
        GOOD.replace("breaking_capacity", "class"), "parts.csv:1: class: stands twice in the head"),
    "no kind column": (
        GOOD.replace("kind,", "note,"), "parts.csv:1: kind: is missing from the head row"),
    "wrong unit": (
        GOOD.replace("300 A", "300 V"),
        "parts.csv:2: rated_current: '300 V' is a voltage, not a current"),
    "no unit": (GOOD.replace("300 A", "300"), "parts.csv:2: rated_current: '300' has no unit"),
    "unit missing in a point": (
        GOOD.replace("1 s: 1500 A", "1 s: 1500"),
        "parts.csv:2: clearing, point 2: '1500' has no unit"),
    "point without a colon": (
        GOOD.replace("1 s: 1500 A", "1 s 1500 A"),
        "parts.csv:2: clearing: point 2 '1 s 1500 A' is no pair"),
    "decimal comma": (
        GOOD.replace("20 kA", '"20,5 kA"'), "parts.csv:2: breaking_capacity: '20,5 kA' has a comma"),
    "unknown kind": (
        GOOD.replace("fuse,", "fuze,"), "parts.csv:2: kind: 'fuze' is no kind of part; did you "
        "mean 'fuse'?"),
    "unknown class": (GOOD.replace("gR", "gX"), "parts.csv:2: class: 'gX' is not one of gG, gR"),
    "name twice": (
        GOOD + ROW + "\n", "parts.csv:3: name: 'F 300' stands already on row 2"),
    "no name": (GOOD.replace("F 300", ""), "parts.csv:2: name: is needed"),
    "figure of another kind": (
        "kind,name,opening_time\nfuse,F,15 ms\n",
        "parts.csv:2: opening_time: a fuse has no opening time with its suppression"),
    "not above zero": (
        GOOD.replace("300 A", "0 A"), "parts.csv:2: rated_current: '0 A' is not above zero"),
    "factor above one": (
        "kind,name,conductor_factor\nfuse,F,1.1\n",
        "parts.csv:2: conductor_factor: '1.1' is above 1"),
    "let-through the wrong way round": (
        "kind,name,melting_i2t,clearing_i2t\nfuse,F,9000 A2s,4000 A2s\n",
        "parts.csv:2: clearing_i2t: 4000 A²s lies below melting_i2t (9000 A²s)"),
    "floor above the ceiling": (
        "kind,name,lowest_breaking_current,breaking_capacity\nfuse,F,9 kA,4 kA\n",
        "parts.csv:2: breaking_capacity: 4000 A lies below lowest_breaking_current (9000 A)"),
    "melts at its rating": (
        GOOD.replace("1 s: 1200 A", "1 s: 300 A"),
        "parts.csv:2: melting: 300.0 A at 1.000 s is not above the rated current 300.0 A"),
    "fusing current of a partial-range link": (
        "kind,name,class,rated_current,fusing_current\nfuse,F,aR,300 A,480 A\n",
        "parts.csv:2: fusing_current: a partial-range link (aR) has no conventional fusing "
        "current"),
    "fusing current below the rating": (
        "kind,name,rated_current,fusing_current\nfuse,F,300 A,280 A\n",
        "parts.csv:2: fusing_current: 280.0 A lies below rated_current (300.0 A)"),
    "a column that went": (
        "kind,name,coil_power\ncontactor,C,6 W\n", "coil_power: unknown column"),
    "voltage without its figure": (
        "kind,name,clearing_i2t_at\nfuse,F,500 V\n",
        "parts.csv:2: clearing_i2t_at: stands without clearing_i2t"),
    "too many cells": (GOOD.replace("20 kA", "20 kA,x"), "parts.csv:2: has 9 cells, the head has 8"),
    "open quotation mark": (GOOD.replace('A",', "A,", 1), "is no readable row"),
    "no part": (HEAD + "\n", "parts.csv: holds no part"),
    "nothing": ("", "parts.csv: holds no head row"),
}


@pytest.mark.parametrize("case", CASES)
def test_bad_input_gets_one_clear_line(case):
    text, words = CASES[case]
    found = faults(text)
    assert any(words in line for line in found), found


def test_every_fault_of_a_file_is_told_at_once():
    text = GOOD.replace("300 A", "300 V") + ROW.replace("F 300", "F 2").replace("500 V", "x") + "\n"
    found = faults(text)
    assert [line.split(":")[1] for line in found] == ["2", "3"]


def test_a_file_full_of_faults_is_given_up():
    rows = "".join(f"fuze,F {n}\n" for n in range(500))
    found = faults("kind,name\n" + rows)
    assert len(found) <= 101 and "more than 100 faults" in found[-1]


def test_files_that_are_none(tmp_path):
    with pytest.raises(InputErrors, match="does not exist"):
        read_parts(tmp_path / "parts.csv")
    (tmp_path / "zero.csv").write_bytes(b"kind,name\0")
    with pytest.raises(InputErrors, match="is no text file"):
        read_parts(tmp_path / "zero.csv")
    (tmp_path / "latin.csv").write_bytes("kind,name\nfuse,Å\n".encode("latin-1"))
    with pytest.raises(InputErrors, match="is not UTF-8 text"):
        read_parts(tmp_path / "latin.csv")


def test_an_unknown_part_is_told_with_the_near_name():
    with pytest.raises(UnknownName, match="did you mean 'F 300'"):
        parts_from_text(GOOD).part("fuse", "F300")


def test_the_example_list_says_invented_and_holds_every_kind():
    listed = read_parts(EXAMPLE)
    assert EXAMPLE.read_text("utf-8").startswith("# INVENTED")
    assert len(listed.parts) >= 35 and {p.basis for p in listed.parts} == {"invented"}
    assert all(listed.of(kind) for kind in KINDS)
    assert len({f.class_letters for f in listed.fuses}) >= 3


def test_columns_are_documented_and_have_a_field():
    assert [line[0] for line in describe_columns()] == [c.name for c in COLUMNS]
    for entry in COLUMNS:
        assert entry.title and entry.example and set(entry.kinds) <= set(KINDS)
        field = {"class": "class_letters"}.get(entry.name, entry.name)
        for kind in entry.kinds:
            if entry.name != "kind":
                assert field in PART_CLASSES[kind].__dataclass_fields__, (entry.name, kind)


@pytest.mark.parametrize("entry", [c for c in COLUMNS if c.form != "words"],
                         ids=lambda c: c.name)
def test_the_example_of_every_column_is_read(entry):
    if entry.name in ("kind", "name"):
        return
    extra, cell = "", f'"{entry.example}"'
    if entry.name == "clearing_i2t_at":
        extra, cell = ",clearing_i2t", f"{cell},9 A2s"
    text = f"kind,name,{entry.name}{extra}\n{entry.kinds[0]},P,{cell}\n"
    assert parts_from_text(text).parts[0].name == "P"
