"""Files of marks: what is read, and every way in which one is refused."""

from __future__ import annotations

import json

import pytest

from packcalc.errors import InputErrors
from packcalc.marks import CHANGE, MARKS
from packcalc.review import (
    LONGEST_FIELD,
    MOST_MARKS,
    as_csv,
    as_json,
    check_review,
    parse_csv,
    parse_json,
    read_review,
    shielded,
    unshielded,
)
from tests.review.cases import HOSTILE, file, known, mark, study

DECISIONS = known(study())
FIRST = next(iter(DECISIONS.values()))
CAUTION = ("Beware, \"lethal\".",)


def data(**changes: object) -> dict:
    """A file with one mark, entries of the mark changed."""
    found = json.loads(as_json(file(study(), mark(FIRST))))
    found["marks"][0].update(changes)
    return found


def refused(text: str, ending: str = "json") -> list[str]:
    with pytest.raises(InputErrors) as caught:
        (parse_json if ending == "json" else parse_csv)(text, f"marks.{ending}")
    lines = str(caught.value).splitlines()
    assert all(line.startswith(f"marks.{ending}") and line.isprintable() for line in lines)
    return lines


def test_json_round_trip_keeps_every_mark() -> None:
    marks = [mark(d, v) for d, v in zip(DECISIONS.values(), MARKS, strict=False)]
    again = parse_json(as_json(file(study(), *marks), CAUTION), "marks.json")
    assert again.marks == tuple(marks)
    assert again.design == "review-case-invented"


def test_csv_round_trip_keeps_every_mark_and_skips_unmarked_rows() -> None:
    marks = tuple(mark(d, v, note="a, \"b\"\nc") for d, v in
                  zip(DECISIONS.values(), MARKS, strict=False))
    text = as_csv(study(), marks, CAUTION)
    assert text.startswith("# Beware") or text.startswith('"# Beware')
    assert parse_csv(text, "marks.csv").marks == marks
    assert parse_csv(as_csv(study()), "marks.csv").marks == ()


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_csv_of_other_spreadsheets(delimiter: str) -> None:
    import csv
    import io

    rows = list(csv.reader(io.StringIO(as_csv(study(), [mark(FIRST)], CAUTION))))
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\r\n").writerows(rows)
    assert parse_csv(out.getvalue(), "marks.csv").marks == (mark(FIRST),)


@pytest.mark.parametrize("words", ["=1+1", "+1", "-1", "@x", "#x", "\tx", "'=1", "''a", "'a", "'",
                                   "plain", "'-"])
def test_a_spreadsheet_meets_no_formula_and_the_text_comes_back(words: str) -> None:
    assert unshielded(shielded(words)) == words
    assert not shielded(words).startswith(("=", "+", "-", "@", "\t"))


BAD_MARKS = {
    "no such verdict": ({"verdict": "approved"}, "'approved' is no mark; one of accept, change"),
    "verdict of another type": ({"verdict": 1}, "is no text but int"),
    "no name": ({"name": " "}, "name: is missing; a mark without a name is none"),
    "no id": ({"decision_id": ""}, "decision_id: is missing"),
    "no digest": ({"digest": ""}, "is no digest of k and twelve hexadecimal digits"),
    "digest with capitals": ({"digest": "ABCDEF012345"}, "is no digest"),
    "no date": ({"date": ""}, "date: is missing; write the day"),
    "date of a day that is none": ({"date": "2026-02-30"}, "'2026-02-30' is no date"),
    "date turned round": ({"date": "24/11/2026"}, "year-month-day, e.g. 2026-11-24"),
    "date in a week": ({"date": "2026-W48-2"}, "is no date"),
    "date in other digits": ({"date": "٢٠٢٦-١١-٢٤"}, "is no date"),
    "date of long ago": ({"date": "1026-11-24"}, "is no date"),
    "change to nothing": ({"verdict": CHANGE}, "change_to: is missing; say what"),
    "value beside accept": ({"change_to": "500 A"}, "stands beside the mark 'accept'"),
    "control character": ({"note": "a\x07b"}, "note: holds control characters"),
    "half a character": ({"note": "\ud800"}, "note: holds control characters"),
    "turned reading direction": ({"decision_id": "abc\u202edef"}, "holds control characters"),
    "too long": ({"note": "x" * (LONGEST_FIELD + 1)}, f"more than {LONGEST_FIELD}"),
    "unknown key": ({"licnce": "1"}, "licnce: is unknown; did you mean 'licence'?"),
    "a list for a text": ({"scope": ["a"]}, "is no text but list"),
}


@pytest.mark.parametrize("name", BAD_MARKS)
def test_a_mark_that_says_nothing_clear_is_refused_in_one_line(name: str) -> None:
    changes, words = BAD_MARKS[name]
    lines = refused(json.dumps(data(**changes)))
    assert len(lines) == 1 and words in lines[0]


BAD_FILES = {
    "empty object": ("{}", "is no review file"),
    "a list": ("[]", "is no review file"),
    "a report": ('{"packcalc": "0.1.0"}', "the key packcalc_review is missing"),
    "another format": ('{"packcalc_review": 2, "design": "x", "marks": []}', "is not 1"),
    "true for a number": ('{"packcalc_review": true, "design": "x", "marks": []}', "is not 1"),
    "no design": ('{"packcalc_review": 1, "marks": []}', "design: is missing"),
    "no marks": ('{"packcalc_review": 1, "design": "x"}', "marks: is no list"),
    "a mark that is none": ('{"packcalc_review": 1, "design": "x", "marks": [3]}', "is no mark"),
    "doubled key": ('{"packcalc_review": 1, "packcalc_review": 1}', "stands twice"),
    "no number": ('{"packcalc_review": NaN}', "NaN is no number"),
    "a number without end": ('{"packcalc_review": ' + "9" * 6000 + "}", "is no JSON that is read"),
    "nested without end": ("[" * 200_000, "nested too deep"),
    "words": ("accept all", "is no JSON"),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_file_that_is_none_is_refused(name: str) -> None:
    text, words = BAD_FILES[name]
    assert words in refused(text)[0]


def test_a_truncated_file_is_refused_wherever_it_ends() -> None:
    text = as_json(file(study(), mark(FIRST), mark(FIRST, name="B. Other")))
    for end in range(1, len(text.rstrip()), 7):
        assert refused(text[:end])


def test_a_truncated_sheet_gives_no_mark_of_the_torn_row() -> None:
    text = as_csv(study(), [mark(d) for d in list(DECISIONS.values())[:4]])
    lines = text.splitlines(keepends=True)
    torn = "".join(lines[:4]) + lines[4][:40]
    assert "is the file whole?" in refused(torn, "csv")[0]


def test_too_many_marks() -> None:
    many = {**data(), "marks": [{}] * (MOST_MARKS + 1)}
    assert f"at most {MOST_MARKS}" in refused(json.dumps(many))[0]


def test_faults_are_collected_and_bounded() -> None:
    many = {**data(), "marks": [{"verdict": "x"}] * 100}
    lines = refused(json.dumps(many))
    assert len(lines) == 21 and "further faults" in lines[-1]


def test_one_person_marks_a_decision_once_in_a_file() -> None:
    twice = {**data(), "marks": [*data()["marks"], *data(verdict="reject")["marks"]]}
    assert "marks this decision twice, first at marks[0]" in refused(json.dumps(twice))[0]


BAD_SHEETS = {
    "no column": (lambda t: t.replace("change_to", "changed"), "no column change_to"),
    "note without a mark": (lambda t: t.replace(",accept,,", ",,,"), "in a row without a mark"),
    "a cell too many": (lambda t: t.rstrip("\n") + ",x\n", "cells for"),
    "two designs": (lambda t: t.rstrip("\n").rsplit(",", 3)[0] + ",other,16S1P,0\n",
                    "two designs"),
    "no rows": (lambda t: t.split("\n")[0] + "\n", "holds no rows"),
    "not a table": (lambda t: "hello\n", "is no review sheet"),
    "an unknown mark": (lambda t: t.replace(",accept,", ",ok,"), "'ok' is no mark"),
}


@pytest.mark.parametrize("name", BAD_SHEETS)
def test_a_sheet_that_says_nothing_clear_is_refused(name: str) -> None:
    change, words = BAD_SHEETS[name]
    text = as_csv(study(), [mark(FIRST, note="seen")])
    assert any(words in line for line in refused(change(text), "csv"))


def test_a_file_of_another_design_is_refused() -> None:
    other = study(title="another case, invented")
    with pytest.raises(InputErrors, match="is for the design 'review-case-invented'"):
        check_review(file(study(), mark(FIRST)), other)


def test_an_unknown_id_of_the_same_version_is_refused() -> None:
    from dataclasses import replace

    odd = replace(mark(FIRST), decision_id=FIRST.id + "x")
    with pytest.raises(InputErrors, match="is no decision of this design; did you mean"):
        check_review(file(study(), odd), study())


@pytest.mark.parametrize("name", ["marks.txt", "marks", "marks.html"])
def test_ending_of_a_review_file(name: str) -> None:
    with pytest.raises(InputErrors, match="ends in .json"):
        read_review(name)


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_words_are_words(words: str) -> None:
    given = mark(FIRST, CHANGE, change_to=words, note=words, name=words, scope=words,
                 licence=words, scan=words)
    assert parse_json(as_json(file(study(), given)), "m.json").marks == (given,)
    assert parse_csv(as_csv(study(), [given]), "m.csv").marks == (given,)
