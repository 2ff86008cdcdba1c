"""GitHub-flavoured Markdown: text stays text, tables stay tables."""

from __future__ import annotations

import re

import pytest

from packcalc.report.document import Bullets, Document, Paragraph, Section
from packcalc.report.markdown import code, escape
from packcalc.report.render import render
from tests.report import sample

TEXT = render(sample.document(), "markdown")
BARE = re.compile(r"(?<!\\)\|")


def test_every_table_row_has_as_many_cells_as_its_head() -> None:
    lines = TEXT.splitlines()
    rules = [i for i, line in enumerate(lines) if re.fullmatch(r"\|( -+:? \|)+", line)]
    assert len(rules) >= 5
    for place in rules:
        count = len(BARE.findall(lines[place]))
        row = place - 1
        while row < len(lines) and lines[row].startswith("|"):
            assert len(BARE.findall(lines[row])) == count, lines[row]
            row += 1


def test_no_tag_survives_outside_code() -> None:
    outside = re.sub(r"(`+).*?\1", "", re.sub(r"\\`", "", TEXT))
    assert not re.search(r"(?<!\\)<", outside)
    assert r"\<script\>" in TEXT


@pytest.mark.parametrize(("text", "shown"), [
    ("a|b", r"a\|b"), ("*x*", r"\*x\*"), ("[a](b)", r"\[a\](b)"), ("a & b", "a &amp; b"),
    ("two\nlines", "two lines"), ("a\\", "a\\\\"), ("energy_kWh", r"energy\_kWh")])
def test_escape(text: str, shown: str) -> None:
    assert escape(text) == shown


@pytest.mark.parametrize(("text", "shown"), [
    ("# not a heading", r"\# not a heading"), ("1. not a list", r"1\. not a list"),
    ("- not a bullet", r"\- not a bullet"), ("=", r"\="),
    ("403.2 V", "403.2 V"), ("-20 °C", "-20 °C"), ("16S1P", "16S1P")])
def test_line_starts_are_harmless(text: str, shown: str) -> None:
    out = render(Document("T", "", (), (), "", (Section("s", "S", (
        Paragraph(text), Bullets((text,)))),)), "markdown")
    assert f"\n{shown}\n" in out
    assert f"\n- {shown}\n" in out


@pytest.mark.parametrize(("text", "shown"), [
    ("I = U / R", "`I = U / R`"), ("a`b", "``a`b``"), ("`a`", "`` `a` ``")])
def test_code_span_holds_any_text(text: str, shown: str) -> None:
    assert code(text) == shown


def test_headings_follow_the_levels() -> None:
    assert "\n## Protection\n" in TEXT
    assert "\n### Main fuse\n" in TEXT


def test_figure_is_words_and_data() -> None:
    assert "<svg" not in TEXT
    assert "The pack runs from 260 V, cold, empty and loaded, to 430 V, full." in TEXT
    assert "| highest | 430 |" in TEXT
