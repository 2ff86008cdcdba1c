"""What is worked or told already is pointed at, and nothing of it is lost. Values invented."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import markupsafe
import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcalc.findings import Finding, Origin, leaf
from packcalc.report.document import Chain, Document, Section
from packcalc.report.markup import escaped
from packcalc.report.render import render
from packcalc.report.steps import apart, likes, steps, twins, wordy
from tests.report import sample

HALF = sample.rule("part_of", "k", "", "k = a·b", lambda a, b: a * b,
                   [("first", "a", ""), ("second", "b", "")])
RISE = sample.rule("rise_of", "m", "", "m = k + q", lambda k, q: k + q,
                   [("part", "k", ""), ("own", "q", "")])
NOTE = "as an invented table prints it, after a long look through many pages of it"


def row(line: int, value: float = 2.0) -> Finding:
    return leaf("ratio as read", "a", "", value, "measured",
                origin=Origin("bench.csv", line, "ratio", f"{value:g}"))


SHARED = leaf("ratio of a table", "b", "", 3.0, "assumed", source="packcalc-rule", note=NOTE)


def modules(*values: float, shared: Finding = SHARED) -> Document:
    """A chain for each module: its own ratio with one of a table, then its own rise."""
    chains = []
    for line, value in enumerate(values, 11):
        part = sample.apply(HALF, "part of a module", row(line, value), shared)
        own = leaf("own", "q", "", float(line), "given", origin=Origin("bench.csv", line, "own"))
        chains.append(Chain(f"rise.{line}", sample.apply(RISE, f"rise of M{line}", part, own)))
    return Document("T", "", (), (), "", (Section("s", "S", tuple(chains)),))


def flat(text: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", text)).split())


def test_the_same_from_another_row_is_like_the_first() -> None:
    known = steps(modules(2.0, 2.0, 2.5))
    found = likes(known)
    assert found == {"part-of-a-module-2": "part-of-a-module"}
    symbols = [(symbol, step.finding.origin.line) for symbol, step in apart(
        known["part-of-a-module-2"], known["part-of-a-module"], known)]
    assert symbols == [("a", 12)]


@pytest.mark.parametrize("name, other", [
    ("title", "part of another"), ("symbol", "k2"), ("note", "with care"), ("value", 6.5),
    ("basis", "assumed"), ("source", "packcalc-rule")])
def test_a_step_that_says_anything_else_is_none(name: str, other: object) -> None:
    first = sample.apply(HALF, "part of a module", row(11), SHARED)
    again = replace(sample.apply(HALF, "part of a module", row(12), SHARED), **{name: other})
    chains = tuple(Chain(f"c{n}", sample.apply(RISE, f"rise {n}", one, row(20 + n)))
                   for n, one in enumerate((first, again)))
    assert likes(steps(Document("T", "", (), (), "", (Section("s", "S", chains),)))) == {}


def test_a_computed_input_that_came_another_way_makes_another_step() -> None:
    parts = [sample.apply(HALF, title, row(11), SHARED) for title in ("one way", "other way")]
    known = steps(Document("T", "", (), (), "", (Section("s", "S", tuple(
        Chain(f"c{n}", sample.apply(RISE, "top", sample.apply(RISE, "rise", one, row(12)),
                                    row(13 + n)))
        for n, one in enumerate(parts))),)))
    assert likes(known) == {}


def test_a_chain_is_never_like_another_but_may_be_its_twin() -> None:
    document = Document("T", "", (), (), "", (Section("s", "S", tuple(
        Chain(f"c{line}", sample.apply(HALF, "part", row(line), SHARED))
        for line in (11, 12))),))
    known = steps(document)
    assert likes(known) == {} and twins([known["c11"], known["c12"]]) == {}


@pytest.mark.parametrize("form", ["html", "text"])
def test_a_page_works_it_once_and_tells_every_entry(form: str) -> None:
    once, twice = (flat(render(modules(2.0, *values), form)) for values in ((), (2.0,)))
    assert once.count("k = a·b") == twice.count("k = a·b") == 1
    assert "bench.csv:11 ratio = 2" in twice and "bench.csv:12 ratio = 2" in twice
    assert "worked at" in twice and "worked at" not in once
    other = flat(render(modules(2.0, 2.5), form))
    assert other.count("k = a·b") == 2 and "worked at" not in other


def test_the_links_of_a_page_find_the_step_that_works_it() -> None:
    page = render(modules(2.0, 2.0, 2.0), "html")
    places = re.findall(r"worked at <a href=#(n\d+)>", page)
    assert len(places) == 2 and len(set(places)) == 1
    at = page.index(f"<summary id={places[0]}>")
    assert "part of a module" in page[at:page.index("</summary>", at)]
    assert page.index("k = a·b") > at


def test_a_step_told_by_another_still_says_its_own_ground() -> None:
    """The first rests on a measured ratio, the second on one that is only assumed."""
    weak = replace(row(12), basis="remembered")
    chains = tuple(Chain(f"c{n}", sample.apply(
        RISE, f"rise {n}", sample.apply(HALF, "part of a module", one, SHARED), row(20 + n)))
        for n, one in enumerate((row(11), weak)))
    document = Document("T", "", (), (), "", (Section("s", "S", chains),))
    assert "definition, rests on remembered), worked at" in flat(render(document, "html"))
    assert "(definition; the chain rests on: remembered); worked at" in flat(
        render(document, "text"))


def test_long_words_of_an_entry_are_told_once_in_text() -> None:
    document = modules(2.0, 2.1, 2.2, 2.3)
    assert [s.finding.title for s in steps(document).values() if wordy(s)] == ["ratio of a table"]
    text = flat(render(document, "text"))
    assert text.count(NOTE) == 1
    assert text.count("[ratio-of-a-table]") == 4
    assert text.index(NOTE) > text.index("[ratio-of-a-table]")  # the words stand at the first
    few = flat(render(modules(2.0, 2.1), "text"))
    assert few.count(NOTE) == 2 and "[ratio-of-a-table]" not in few


def test_a_link_tells_the_users_entry_and_leaves_a_tables_row_to_its_place() -> None:
    for origin, told in ((Origin("brief.toml", 7, "own.ratio", "3"), 4),
                         (Origin("law of a table", text="3"), 1)):
        page = flat(render(modules(2.0, 2.1, 2.2, shared=replace(SHARED, origin=origin)), "html"))
        assert page.count(str(origin)) == told


@given(st.text())
def test_escaped_is_what_the_template_library_escapes(text: str) -> None:
    assert escaped(text) == str(markupsafe.escape(text))  # MarkupSafe 3.0.4, that of jinja2 3.1
