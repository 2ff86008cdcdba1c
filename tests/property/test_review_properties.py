"""Laws of the review: any set of marks survives, none is invented, only changes void."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.errors import InputErrors
from packcalc.marks import ACCEPTED, CHANGE, MARKS, NOT_MARKED, Mark
from packcalc.review import as_csv, as_json, parse_csv, parse_json
from packcalc.review_merge import merge
from tests.review.cases import TODAY, file, known, study

pytestmark = pytest.mark.property

DECISIONS = known(study())
LATER = study(surroundings__cable_ambient="50 degC")
TURNS = "\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


def plain(text: str) -> str:
    """What a reviewer can write: no control characters, trimmed, plain line ends."""
    kept = "".join(c for c in text if c == "\n" or (
        unicodedata.category(c) not in ("Cc", "Cs") and c not in TURNS))
    return kept.strip()


texts = st.text(max_size=60).map(plain)
names = texts.filter(bool)
# to the day that the tests take for today: a later mark is refused
dates = st.dates(min_value=date(2000, 1, 1), max_value=TODAY).map(str)


@st.composite
def marks(draw: st.DrawFn) -> Mark:
    decision = DECISIONS[draw(st.sampled_from(sorted(DECISIONS)))]
    verdict = draw(st.sampled_from(MARKS))
    change = draw(names) if verdict == CHANGE else ""
    digest = draw(st.one_of(st.just(decision.digest),
                            st.from_regex(r"k[0-9a-f]{12}", fullmatch=True)))
    return Mark(decision.id, verdict, digest, draw(names), draw(dates), change, draw(texts),
                draw(texts), draw(texts), draw(texts))


def once(found: list[Mark]) -> list[Mark]:
    """One mark a person and decision, as a file holds it."""
    return list({(m.decision_id, m.name): m for m in found}.values())


lots = st.lists(marks(), max_size=8).map(once)


@settings(max_examples=60, deadline=None)
@given(lots)
def test_any_set_of_marks_survives_json(found: list[Mark]) -> None:
    assert parse_json(as_json(file(study(), *found)), "m.json").marks == tuple(found)


@settings(max_examples=40, deadline=None)
@given(lots)
def test_any_set_of_marks_survives_the_spreadsheet(found: list[Mark]) -> None:
    back = parse_csv(as_csv(study(), found), "m.csv")
    again = (*back.marks, *back.gone)  # apart, where given to another figure than today's
    assert set(again) == set(found) and len(again) == len(found)


@settings(max_examples=25, deadline=None)
@given(lots)
def test_merging_loses_none_and_invents_none(found: list[Mark]) -> None:
    review = merge(study(), [file(study(), *found)])
    held = [m for s in review.standings for m in (*s.marks, *s.void, *s.superseded)]
    assert sorted(map(repr, held)) == sorted(map(repr, found)) and not review.gone
    marked = {m.decision_id for m in found}
    for s in review.standings:
        assert all(m.digest == s.decision.digest for m in s.marks)
        assert all(m.digest != s.decision.digest for m in s.void)
        assert (s.word == NOT_MARKED) == (s.decision.id not in marked)
        if s.word == ACCEPTED:
            assert any(m.verdict == "accept" for m in s.marks)


@settings(max_examples=15, deadline=None)
@given(st.lists(st.sampled_from(sorted(DECISIONS)), max_size=12, unique=True))
def test_only_what_changed_is_void(ids: list[str]) -> None:
    given_ = [Mark(k, "accept", DECISIONS[k].digest, "A", "2026-11-20") for k in ids]
    review = merge(LATER, [file(study(), *given_)])
    void = {m.decision_id for s in review.standings for m in s.void}
    now = {name: d for d in known(LATER).values() for name in (d.id, *d.aliases)}
    assert void == {k for k in ids if k in now and now[k].digest != DECISIONS[k].digest}
    assert {m.decision_id for m in review.gone} == {k for k in ids if k not in now}


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=200))
def test_no_text_is_read_as_marks_or_breaks_the_reader(text: str) -> None:
    for parse, name in ((parse_json, "m.json"), (parse_csv, "m.csv")):
        with pytest.raises(InputErrors):
            parse(text, name)


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_a_damaged_file_is_refused_or_says_what_it_says(data: st.DataObject) -> None:
    decision = next(iter(DECISIONS.values()))
    one = Mark(decision.id, "reject", decision.digest, "A", "2026-11-20", note="n")
    text = as_json(file(study(), one))
    at = data.draw(st.integers(0, len(text) - 1))
    damaged = text[:at] + data.draw(st.characters(codec="utf-8")) + text[at + 1:]
    try:
        found = parse_json(damaged, "m.json")
    except InputErrors as error:
        assert all(line.isprintable() for line in str(error).splitlines())
        return
    assert all(m.verdict == "reject" for m in found.marks) and len(found.marks) == 1


def test_a_mark_with_another_digest_never_reads_as_accepted() -> None:
    for decision in list(DECISIONS.values())[:20]:
        mark = Mark(decision.id, "accept", "0" * 12, "A", "2026-11-20")
        review = merge(study(), [file(study(), replace(mark))])
        assert review.count(ACCEPTED) == 0
