"""Marks lent to another part or figure, lost when written anew, or written past what is read.

Every scenario is invented.
"""

from __future__ import annotations

import csv
import io
import json
import time
from dataclasses import replace

import jsonschema
import pytest

import packcalc
import packcalc.review
import packcalc.review_carry
from packcalc.decisions import decisions
from packcalc.errors import InputErrors, OutputError
from packcalc.marks import ACCEPTED, CHANGE, NOT_MARKED, NOT_MY_FIELD, REJECT, VOID
from packcalc.report.compose import report_document
from packcalc.report.data import as_dict
from packcalc.report.render import render
from packcalc.report.schema import schema
from packcalc.review import (
    LARGEST_REVIEW,
    LONGEST_FIELD,
    MOST_MARKS,
    as_csv,
    as_json,
    blank_file,
    parse_csv,
    parse_json,
    read_review,
)
from packcalc.review_carry import carried, readable
from packcalc.review_merge import merge
from packcalc.review_since import few_entries
from tests.cases.studies import study as example_with
from tests.cli.runner import GOOD, run
from tests.review.cases import known, mark, study
from tests.sized import example

pytestmark = pytest.mark.thorough

DECISIONS = known(study())
CAUTION = ("Beware.",)
ONE, TWO = [d for d in DECISIONS.values() if d.verdict == "pass"][:2]
FORMS = pytest.mark.parametrize("form", ["csv", "json"])


def given(found, *marks, **more):
    return replace(blank_file(found), marks=marks, place="m.json", **more)


def back(file, found, form: str):
    """A file of marks written and read again."""
    text = as_csv(found, file.marks, CAUTION, file=file) if form == "csv" else as_json(file)
    if form == "json":
        jsonschema.validate(json.loads(text), schema("review"))
    return (parse_csv if form == "csv" else parse_json)(text, f"m.{form}")


def anew(found, *files, form: str = "csv"):
    """Files merged, written and read again."""
    return back(carried(merge(found, files), blank_file(found)), found, form)


# -- a mark speaks of the part that it was given to -----------------------------------------------


@FORMS
def test_marks_on_the_main_contactors_are_none_on_those_of_the_whole_pack(form: str) -> None:
    """Grouped modules have main contactors; strings, one set each and one for the whole pack.

    The brief of today names the arrangement, and so has another digest.
    """
    old, new = example("van"), example("van", "", "strings")
    assert old.layout.label == new.layout.label
    marks = tuple(mark(d) for d in decisions(old))
    part = {d.id: d.part for d in decisions(old)}
    other = {d.id for d in decisions(new) if d.id in part and d.part != part[d.id]}
    assert any(name.startswith("contactors.") for name in other)
    found = merge(new, [back(given(old, *marks, input_digest="k00000000000"), old, form)])
    accepted = {s.decision.id for s in found.standings if s.word == ACCEPTED}
    assert accepted and not accepted & other
    assert not found.rewritten  # nobody wrote in the sheet


def test_a_digest_covers_every_printed_word() -> None:
    """Cells beside one digest were always given out alike: one that reads otherwise was written
    in."""
    seen = {}
    for found in (study(), example("van"), example("van", "", "strings"), example("truck")):
        for d in decisions(found):
            printed = packcalc.review.printed_cells(d)
            assert seen.setdefault((d.id, d.digest), printed) == printed


# -- a figure that becomes equal to another -------------------------------------------------------

MONITOR, SENSE = "insulation monitor", "sense wires"


def stands(found, branch: str):
    return next(d for d in decisions(found) if d.part == f"Branch: {branch}"
                and d.title == "I²t that the conductor stands")


def test_a_figure_that_becomes_equal_to_another_is_not_accepted_with_it() -> None:
    old = example_with("truck", branch={MONITOR: {"section": "0.75 mm²"}})
    new = example_with("truck")
    assert stands(old, MONITOR).shown != stands(old, SENSE).shown
    assert stands(new, MONITOR).shown == stands(new, SENSE).shown
    marks = mark(stands(old, SENSE)), mark(stands(old, MONITOR), NOT_MY_FIELD)
    found = {s.decision.id: s for s in merge(new, [given(old, *marks)]).standings}
    assert found[stands(new, SENSE).id].word == ACCEPTED
    own = found[stands(new, MONITOR).id]
    assert own.word == VOID and own.void == marks[1:] and not own.superseded


def test_one_figure_of_several_parts_is_still_decided_once() -> None:
    highest = next(d for d in decisions(example("truck")) if d.leading and d.finding.unit == "V")
    assert len(highest.also) > 9


def test_a_void_mark_of_a_figure_that_stood_apart_leaves_the_joined_one_open() -> None:
    one = next(d for d in DECISIONS.values() if d.aliases)
    apart = replace(mark(one, NOT_MY_FIELD), decision_id=one.aliases[0], digest="k0123456789ab")
    (own,) = [s for s in merge(study(), [given(study(), mark(one), apart, listed="")]).standings
              if s.decision.id == one.id]
    assert own.word == VOID and own.void == (apart,) and not own.superseded
    later = mark(one, date="2026-11-26")  # said of the joined figure, after
    (own,) = [s for s in merge(study(), [given(study(), later, apart, listed="")]).standings
              if s.decision.id == one.id]
    assert own.word == ACCEPTED and own.superseded == (apart,)


# -- a mark beside a cell that was written in -----------------------------------------------------


def written_in(*marks, figure: str = "99 V"):
    """A sheet in which the figure of the first mark was written over."""
    rows = list(csv.reader(io.StringIO(as_csv(study(), marks))))
    at = next(i for i, r in enumerate(rows) if r[2] == marks[0].decision_id)
    rows[at][rows[0].index("figure")] = figure
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return parse_csv(out.getvalue(), "in.csv")


@FORMS
def test_a_mark_beside_a_written_cell_is_carried_and_never_counted(form: str) -> None:
    no = mark(ONE, REJECT, note="do not build")
    file = anew(study(), written_in(no, mark(TWO)), form=form)
    assert (file.marks, file.beside) == ((mark(TWO),), (no,))
    assert file.shown[no]["figure"] == "99 V"  # as it came back
    again = anew(study(), file, form=form)
    assert (again.marks, again.beside, again.shown[no]) == (file.marks, (no,), file.shown[no])
    found = merge(study(), [again])
    word = {s.decision.id: s.word for s in found.standings}
    assert word[ONE.id] == NOT_MARKED and word[TWO.id] == ACCEPTED
    (told,) = found.left_beside
    assert ONE.id in told and "must be given again" in told
    page = " ".join(render(report_document(study(), review=found), "text").split())
    assert "not counted, since a printed cell of its row was written in: reject" in page
    (row,) = as_dict(report_document(study(), review=found))["reviewers"]
    assert (row["accept"], row["reject"], row["not_counted"]) == (1, 0, 1)


@FORMS
def test_the_same_mark_given_again_ends_it(form: str) -> None:
    file = anew(study(), written_in(mark(ONE)), form=form)
    same = back(replace(file, marks=(mark(ONE),)), study(), form)  # of the same day
    found = merge(study(), [same])
    assert found.count(ACCEPTED) == 1 and not found.left_beside
    later = mark(ONE, REJECT, date="2026-11-27")
    found = merge(study(), [back(replace(file, marks=(later,)), study(), form)])
    (own,) = [s for s in found.standings if s.decision.id == ONE.id]
    assert own.marks == (later,) and own.superseded == (mark(ONE),) and not found.left_beside
    again = carried(found, blank_file(study()))
    assert again.marks == (later,) and again.beside == (mark(ONE),)


def test_the_command_says_no_until_it_is_given_again(tmp_path) -> None:
    brief, sheet = tmp_path / "brief.toml", tmp_path / "in.csv"
    brief.write_text(GOOD, "utf-8")
    sized = packcalc.size_protection(packcalc.read_brief(brief))
    held = known(sized)["precharge.choice"]
    sheet.write_text(as_csv(sized, [mark(held)]).replace(held.title, "another title"), "utf-8")
    for name, out in (("in.csv", "b.csv"), ("b.csv", "c.json"), ("c.json", "d.csv")):
        ran = run("review", brief, "--review", tmp_path / name, "--out", tmp_path / out)
        assert ran.code == 1 and any("not counted" in line for line in ran.lines)
        assert read_review(tmp_path / out).every == (mark(held),)


# -- what is written is read ----------------------------------------------------------------------


def test_ten_reviewers_of_the_largest_example_fit_in_one_file() -> None:
    found = example("minibus", "12S2P", "strings")
    lines = decisions(found)
    marks = [mark(d, name=f"Reviewer {n}, invented", licence="EL-12345", note="n" * 100)
             for n in range(10) for d in lines]
    file = given(found, *marks)
    for text in (as_csv(found, marks, CAUTION), as_json(file)):
        assert len(text.encode()) < LARGEST_REVIEW / 2 and len(marks) < MOST_MARKS / 2
        assert readable(text, file, "all") == text


def test_what_would_be_refused_is_not_written(tmp_path, monkeypatch) -> None:
    brief, out = tmp_path / "brief.toml", tmp_path / "out.csv"
    brief.write_text(GOOD, "utf-8")
    monkeypatch.setattr(packcalc.review_carry, "LARGEST_REVIEW", 5000)
    ran = run("review", brief, "--out", out)
    assert ran.code == 2 and not out.exists()
    assert any("more than the 5000 that are read back" in line for line in ran.lines)


def test_a_text_that_reads_back_as_less_is_not_written() -> None:
    file = given(study(), mark(ONE))
    with pytest.raises(OutputError, match="not every mark would be read back"):
        readable(as_csv(study(), []), file, "out.csv")
    many = replace(file, marks=(mark(ONE),) * 2)
    with pytest.raises(OutputError, match="would not be read back: out.json: "):
        readable(as_json(many), many, "out.json")


def test_a_file_larger_than_is_read_is_told_in_a_reviewers_words(tmp_path) -> None:
    path = tmp_path / "big.csv"
    path.write_bytes(b"#" * (LARGEST_REVIEW + 1))
    with pytest.raises(InputErrors, match="hand in each reviewer's own"):
        read_review(path)


BODY = as_csv(study(), [mark(d) for d in DECISIONS.values()]).splitlines()
HOSTILE = {
    "short rows": lambda: "\n".join([BODY[0], *["a"] * 2_000_000]),
    "bad dates": lambda: "\n".join([BODY[0], *[BODY[1].replace("2026-11-25", "x")] * 12_000]),
    "void beside void": lambda: as_json(given(
        study(), *(mark(ONE, name=f"N{n}") for n in range(9000)),
        gone=tuple(mark(ONE, name=f"N{n}", digest="k0123456789ab") for n in range(9000)))),
    "unknown ids": lambda: as_json(given(study(), *(
        replace(mark(ONE), decision_id=f"{ONE.id}{n}") for n in range(MOST_MARKS)))),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_megabytes_end_soon(name: str) -> None:
    """Seconds of this process, on a busy machine: no work grows with the square of the rows."""
    text = HOSTILE[name]()
    start = time.process_time()
    try:
        merge(study(), [(parse_json if text.startswith("{") else parse_csv)(text, "m")])
    except InputErrors as error:
        assert len(error.faults) <= 21
    assert time.process_time() - start < 15


# -- two marks of one person on one day -----------------------------------------------------------


@FORMS
def test_two_marks_that_say_the_same_are_written_as_one_with_both_notes(form: str) -> None:
    one, other = mark(ONE, note="seen on site"), mark(ONE, note="plate read", scan="p7.pdf")
    file = anew(study(), given(study(), one), given(study(), other), form=form)
    assert file.marks == (replace(one, note="seen on site; plate read", scan="p7.pdf"),)
    assert anew(study(), file, given(study(), other), form=form).marks == file.marks


def test_two_marks_that_say_otherwise_are_still_refused() -> None:
    one = mark(ONE, CHANGE, change_to="400 A")
    for other in (mark(ONE), replace(one, change_to="500 A"),
                  replace(one, note="n" * LONGEST_FIELD)):
        first = replace(one, note="m") if other.note else one
        with pytest.raises(InputErrors, match="on the same day in m.json"):
            anew(study(), given(study(), first), given(study(), other))


# -- why a mark that was carried is void ----------------------------------------------------------


def whys(found, *files) -> list[str]:
    review = merge(found, files)
    return [why for s in review.standings for _, why in review.why_void(s)]


@FORMS
def test_a_void_mark_written_anew_still_names_its_entry(form: str) -> None:
    old, new = study(), study(path__link_resistance="0.15 mΩ")
    marks = tuple(mark(d) for d in DECISIONS.values())
    first = back(given(old, *marks), old, form)
    before = whys(new, first)
    said = "path.link_resistance was 0.1000 mΩ (given), is 0.1500 mΩ (given)"
    assert len(before) > 5 and all(said in why for why in before)
    second = anew(new, first, form=form)
    assert whys(new, second) == before
    third = anew(new, second, form=form)
    assert whys(new, third) == before and third.earlier == second.earlier
    later = study(path__link_resistance="0.2 mΩ")
    assert all("was 0.1000 mΩ (given), is 0.2000 mΩ (given)" in why
               for why in whys(later, third)[:5])
    assert merge(old, [third]).count(ACCEPTED) == len(DECISIONS)  # its version comes back


def test_a_carried_mark_whose_version_is_not_known_claims_nothing() -> None:
    """The brief of the file that carries it is not the one that it was given to."""
    (why,) = whys(study(), given(study(), gone=(mark(ONE, digest="k0123456789ab"),)))
    assert why == ""


@pytest.mark.parametrize("odd", [
    [3], [{"was": []}], [{"was": {"a": 1}}], [{"marks": ["x"]}], [{"more": {}}], {}, [{}] * 41])
def test_versions_that_are_none_are_refused(odd) -> None:
    text = json.dumps({**json.loads(as_json(given(study(), mark(ONE)))), "earlier": odd})
    with pytest.raises(InputErrors, match="earlier: is no list of at most 40 versions"):
        parse_json(text, "m.json")


def test_no_cell_of_a_sheet_holds_more_than_a_spreadsheet_takes() -> None:
    entries = tuple((f"entry {n}", "x" * 3000) for n in range(300))
    assert max(sum(map(len, some.values())) for some in few_entries(entries)) <= 20_000
    assert {k: v for some in few_entries(entries) for k, v in some.items()} == dict(entries)
    text = as_csv(study(), [mark(ONE)], CAUTION, file=given(study(), mark(ONE), entries=entries))
    assert parse_csv(text, "m.csv").entries == entries  # 900 000 letters in cells that are read
