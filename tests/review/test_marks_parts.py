"""A mark speaks for the parts that shared its figure when it was given, and for no later one.

Every scenario is invented.
"""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest

from packcalc.decisions import decisions, entries_under
from packcalc.marks import ACCEPT, ACCEPTED, NOT_MARKED, NOT_MY_FIELD, PARTLY, REJECT, REJECTED
from packcalc.report.compose import report_document
from packcalc.report.render import render
from packcalc.report.schema import schema
from packcalc.review import as_csv, as_json, blank_file, parse_csv, parse_json
from packcalc.review_carry import carried
from packcalc.review_merge import merge
from tests.cases.studies import study as example_with
from tests.review.cases import mark
from tests.sized import example

TITLE = "Largest rated current from the cable side"
MID = "Mid-pack fuse"
FORMS = pytest.mark.parametrize("form", ["csv", "json"])


def before():
    return example_with("truck", parts__mid_fuse=None, pack__fuse_after=None)


def cable_side(found):
    return next(d for d in decisions(found) if d.title == TITLE)


def back(marks, found, form: str, file=None):
    """Marks written for a study and read again."""
    file = file or replace(blank_file(found), marks=tuple(marks))
    text = as_csv(found, file.marks, file=file) if form == "csv" else as_json(file)
    if form == "json":
        jsonschema.validate(json.loads(text), schema("review"))
    return (parse_csv if form == "csv" else parse_json)(text, f"m.{form}")


def standing(found, *files):
    return next(s for s in merge(found, files).standings if s.decision.title == TITLE)


@FORMS
def test_a_mark_is_none_on_a_part_that_came_later(form: str) -> None:
    old, new = before(), example("truck")
    assert not cable_side(old).also and cable_side(new).also == (MID,)
    assert cable_side(old).digest == cable_side(new).digest
    file = back(map(mark, decisions(old)), old, form)
    found = standing(new, file)
    assert found.word == PARTLY
    assert found.of_parts == (("Main fuse", ACCEPTED), (MID, NOT_MARKED))
    page = " ".join(render(report_document(new, review=merge(new, [file])), "text").split())
    assert f"{PARTLY}: Main fuse: {ACCEPTED}; {MID}: {NOT_MARKED}; accept (A. Invented" in page
    assert standing(old, file).word == ACCEPTED


@FORMS
def test_written_anew_it_still_speaks_for_its_own_parts_and_the_line_can_be_marked(
        form: str) -> None:
    old, new = before(), example("truck")
    held = merge(new, [back([mark(cable_side(old))], old, form)])
    again = carried(held, blank_file(new))
    file = back((), new, form, again)
    assert standing(new, file).word == PARTLY
    rows = [line for line in as_csv(new, again.marks, file=again).splitlines()
            if cable_side(new).digest in line]
    assert len(rows) == 2 and MID not in rows[0] and MID in rows[1]  # the second is to be marked
    both = back((), new, form, replace(again, marks=(*again.marks, mark(cable_side(new)))))
    assert standing(new, both).word == ACCEPTED  # of the same day


def test_words_of_several_reviewers_are_held_part_by_part() -> None:
    old, new = before(), example("truck")
    first = mark(cable_side(old))
    other = {"name": "B. Invented"}
    files = [replace(blank_file(new), marks=marks) for marks in (
        (first, mark(cable_side(new), NOT_MY_FIELD, **other)),
        (first, mark(cable_side(new), ACCEPT, **other)),
        (mark(cable_side(old), REJECT),))]
    assert [standing(new, file).word for file in files] == [PARTLY, ACCEPTED, REJECTED]
    assert dict(standing(new, files[2]).of_parts)[MID] == NOT_MARKED


def test_a_saved_mark_that_does_not_say_speaks_for_the_part_of_its_line_alone() -> None:
    new = example("truck")
    data = json.loads(as_json(replace(blank_file(new), marks=(mark(cable_side(new)),))))
    del data["marks"][0]["also"]
    assert standing(new, parse_json(json.dumps(data), "m.json")).word == PARTLY


def test_modules_dealt_to_strings_bring_parts_that_nobody_marked() -> None:
    old, new = example("van"), example("van", "", "strings")
    shared = {d.digest: d for d in decisions(old)}
    more = [d for d in decisions(new) if d.digest in shared
            and set(d.also) - set(shared[d.digest].also)]
    assert more
    given = replace(blank_file(old), marks=tuple(map(mark, decisions(old))),
                    input_digest="k00000000000")  # the brief of today names the arrangement
    found = merge(new, [back((), old, "csv", given)])
    for s in found.standings:
        if s.decision.digest in {d.digest for d in more}:
            assert s.word == PARTLY
            was = shared[s.decision.digest]
            assert {part for part, word in s.of_parts if word == NOT_MARKED} \
                == set(s.decision.also) - set(was.also)


# -- the trips behind a figure -------------------------------------------------------------------


def test_what_the_slow_trip_is_left_with_names_the_quick_trip_s_entry() -> None:
    """650 A set + 1 % of 2500 A = 675 A; both are entries of the brief."""
    found = example("truck")
    held = next(d for d in decisions(found) if "bears an overload" in d.title)
    (quick,) = {node for one in held.rests_on for node in one.walk()
                if node.title == "current from which a quicker trip opens"}
    assert quick.number == pytest.approx(650.0 + 0.01 * 2500.0) and quick.formula is not None
    assert "management.trip_current" in entries_under(held, found.brief)
