"""Marks of several reviewers beside the decisions; what changed is void, and only that."""

from __future__ import annotations

from dataclasses import replace

import pytest

from packcalc.marks import (
    ACCEPT,
    ACCEPTED,
    CHANGE,
    CHANGE_ASKED,
    CONFLICT,
    LEFT,
    NOT_CHECKED,
    NOT_MARKED,
    NOT_MY_FIELD,
    REJECT,
    REJECTED,
    VOID,
)
from packcalc.report.compose import report_document
from packcalc.report.review_report import mark_lines
from packcalc.review_merge import merge
from tests.review.cases import file, known, mark, study

DECISIONS = known(study())
NAME, CHOICE = "precharge.energy-of-failed-pre-charges", "main_fuse.choice"
ONE = next(d for d in DECISIONS.values() if d.verdict == "pass")


def standing(*files, on=ONE, found=None):
    review = merge(found or study(), files)
    return next(s for s in review.standings if s.decision.id == on.id)


def test_nothing_reads_as_accepted_that_nobody_marked() -> None:
    review = merge(study())
    assert review.count(NOT_MARKED) == len(review.standings) == len(DECISIONS)
    review = merge(study(), [file(study(), mark(ONE))])
    assert review.count(ACCEPTED) == 1
    assert review.count(NOT_MARKED) == len(DECISIONS) - 1


@pytest.mark.parametrize(("verdict", "word"), [
    (ACCEPT, ACCEPTED), (REJECT, REJECTED), (CHANGE, CHANGE_ASKED), (NOT_CHECKED, LEFT),
    (NOT_MY_FIELD, LEFT)])
def test_one_mark_is_how_it_stands(verdict: str, word: str) -> None:
    assert standing(file(study(), mark(ONE, verdict))).word == word


def test_reviewers_who_differ_are_a_conflict_and_both_are_shown() -> None:
    found = standing(file(study(), mark(ONE)), file(study(), mark(ONE, REJECT, name="B. Other")))
    assert found.word == CONFLICT
    lines = "; ".join(mark_lines(found))
    assert "accept (A. Invented" in lines and "reject (B. Other" in lines


def test_two_changes_to_different_values_are_a_conflict() -> None:
    choice = DECISIONS[CHOICE]
    files = [file(study(), mark(choice, CHANGE, change_to=v, name=v)) for v in ("250 A", "315 A")]
    assert standing(*files, on=choice).word == CONFLICT


def test_somebody_elses_field_is_no_conflict() -> None:
    other = mark(ONE, NOT_MY_FIELD, name="S. Frame", scope="structure")
    assert standing(file(study(), mark(ONE)), file(study(), other)).word == ACCEPTED


def test_later_word_of_the_same_person_counts_and_the_earlier_is_kept() -> None:
    early, late = mark(ONE, REJECT, date="2026-11-01"), mark(ONE, date="2026-11-09")
    found = standing(file(study(), late), file(study(), early))
    assert found.word == ACCEPTED and found.superseded == (early,)
    assert any(line.startswith("superseded: reject") for line in mark_lines(found))


def test_one_person_with_two_words_on_one_day_is_a_conflict() -> None:
    assert standing(file(study(), mark(ONE)), file(study(), mark(ONE, REJECT))).word == CONFLICT


def test_one_person_in_two_scopes_speaks_twice() -> None:
    late = mark(ONE, REJECT, date="2026-11-29", scope="structure")
    assert standing(file(study(), mark(ONE)), file(study(), late)).word == CONFLICT


def test_the_same_mark_in_two_files_is_one() -> None:
    assert len(standing(file(study(), mark(ONE)), file(study(), mark(ONE))).marks) == 1


def test_marks_are_void_where_the_digest_changed_and_only_there() -> None:
    after = study(surroundings__cable_ambient="50 degC")
    marks = [mark(d) for d in DECISIONS.values()]
    review = merge(after, [file(study(), *marks)])
    now = known(after)
    for s in review.standings:
        same = any(DECISIONS[k].digest == s.decision.digest for k in (s.decision.id,
                   *s.decision.aliases) if k in DECISIONS)
        assert s.word == (ACCEPTED if same else
                          VOID if s.decision.id in DECISIONS else NOT_MARKED), s.decision.id
    assert review.count(VOID) > 3 and review.count(ACCEPTED) > len(now) / 2
    kept = sum(len(s.marks) + len(s.void) + len(s.superseded) for s in review.standings)
    assert kept + len(review.gone) == len(marks)


def test_a_void_mark_beside_a_new_one_leaves_the_new_one() -> None:
    old = replace(mark(ONE, REJECT), digest="0" * 12)
    found = standing(file(study(), old), file(study(), mark(ONE, name="B. Other")))
    assert found.word == ACCEPTED and found.void == (old,)


def test_a_mark_on_a_decision_that_is_gone_is_told() -> None:
    odd = replace(mark(ONE), decision_id="main_fuse.of-yore")
    old = replace(file(study(), odd), input_digest="an older one")
    assert merge(study(), [old]).gone == (odd,)


def test_accepting_what_fails_is_said() -> None:
    open_ = next(d for d in DECISIONS.values() if d.verdict == "not evaluated")
    found = standing(file(study(), mark(open_)), on=open_)
    assert found.against_check
    assert "accepted although the check says: not evaluated" in mark_lines(found)


def test_a_scan_and_a_missing_licence_are_named() -> None:
    (line,) = mark_lines(standing(file(study(), mark(ONE, scan="sheet-3.png"))))
    assert "no licence number given" in line and "entered from the scan sheet-3.png" in line


def test_a_mark_follows_a_figure_that_became_another_parts_too() -> None:
    shared = next(d for d in DECISIONS.values() if d.aliases)
    alias = replace(mark(shared), decision_id=shared.aliases[0])
    assert standing(file(study(), alias), on=shared).word == ACCEPTED


def test_void_marks_stand_on_the_first_screen_and_are_not_counted_as_accepted() -> None:
    found = study()
    ids = list(known(found))[:9]
    marks = [mark(known(found)[name]) for name in ids[:2]]
    marks += [mark(known(found)[name], digest="0" * 16) for name in ids[2:]]
    marks.append(replace(marks[0], decision_id="main_fuse.of-another-day"))
    marks.append(mark(known(found)[ids[0]], REJECT, date="2026-11-24"))  # superseded since
    review = merge(found, [replace(file(found, *marks), input_digest="of another day")])
    page = report_document(found, review=review)
    (line,) = [b.text for b in page.sections[0].blocks if "void" in getattr(b, "text", "")]
    assert line.startswith("8 marks are void: " + ", ".join(
        [s.decision.id for s in review.standings if s.void][:5]) + " and 3 more")
    (table,) = [b for s in page.sections for b in s.blocks if getattr(b, "key", "") == "reviewers"]
    (row,) = table.rows
    counts = {c.key: cell.text for c, cell in zip(table.columns, row, strict=True)}
    assert (counts["accept"], counts["void"], counts["superseded"], counts["reject"]) == (
        "2", "8", "1", "0")
    whole = merge(found, [file(found, *marks[:2])])
    assert not any("void" in getattr(b, "text", "")
                   for b in report_document(found, review=whole).sections[0].blocks)
