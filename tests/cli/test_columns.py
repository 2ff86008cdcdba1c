"""`packcalc columns`: every column of the sheets that a user writes, and no other."""

from __future__ import annotations

import json

import pytest

from packcalc.parts import COLUMNS
from packcalc.reading.bench_sheet import HEADS, PLAIN_HEADS
from tests.cli.runner import run


def told(sheet: str, column: str) -> list[str]:
    done = run("columns", sheet, "--format", "json")
    assert done.code == 0
    return [row[column] for row in json.loads(done.out)["columns"]]


def test_every_column_of_a_parts_list_is_told() -> None:
    assert told("parts", "column") == [column.name for column in COLUMNS]


def test_every_head_of_a_bench_sheet_is_told() -> None:
    heads = {head for line in told("bench", "heads") for head in line.split(", ")}
    assert heads == {*HEADS, *PLAIN_HEADS}


def test_another_sheet_is_refused_in_one_line() -> None:
    done = run("columns", "bnch")
    assert done.code == 2 and done.lines == ["unknown sheet 'bnch'; did you mean 'bench'?"]


@pytest.mark.parametrize("sheet", ["bench", "parts"])
def test_the_terminal_holds_eighty_columns(sheet: str) -> None:
    done = run("columns", sheet)
    assert done.code == 0 and max(map(len, done.out.splitlines())) <= 80
