"""Plain text: never wider than 80 columns, nothing lost."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.report.document import Cell, Column, Document, Facts, Paragraph, Section, Table
from packcalc.report.render import render
from packcalc.report.text import WIDTH
from tests.report import sample


def printed(*blocks: object) -> str:
    return render(Document("T", "", (), (), "", (Section("s", "S", blocks),)), "text")


def widest(text: str) -> int:
    return max(map(len, text.splitlines()))


def test_sample_fits_80_columns() -> None:
    assert widest(render(sample.document(), "text")) <= WIDTH


def test_large_sample_fits_80_columns() -> None:
    assert widest(render(sample.large_document(3, 5), "text")) <= WIDTH


def table(*widths: int, wide: bool = False, rows: int = 2) -> Table:
    columns = tuple(Column(f"c{i}", f"C{i}", wide=wide) for i in range(len(widths)))
    body = tuple(tuple(Cell("x" * w) for w in widths) for _ in range(rows))
    return Table("t", "Caption", columns, body)


@pytest.mark.parametrize(("widths", "blocks"), [((38, 40), 1), ((16, 15, 15, 15, 11), 1),
                                                ((16, 15, 15, 15, 12), 2)])
def test_numbers_stack_only_when_they_do_not_fit(widths: tuple[int, ...], blocks: int) -> None:
    text = printed(table(*widths))
    assert text.count("C0") == blocks
    assert widest(text) <= WIDTH


def test_words_that_fit_nowhere_become_records() -> None:
    text = printed(table(*[30] * 6, wide=True))
    assert text.count("C0: ") == 2
    assert text.count("C5") == 2
    assert widest(text) <= WIDTH


def test_one_endless_word_is_broken_and_kept() -> None:
    text = printed(table(300, wide=False, rows=1))
    assert text.count("x") == 300
    assert widest(text) <= WIDTH


def test_numbers_stand_at_the_right() -> None:
    columns = (Column("a", "Name"), Column("v_V", "Voltage V", "right"))
    body = ((Cell("one"), Cell("1.5")), (Cell("two"), Cell("123.5")))
    text = printed(Table("t", "Caption", columns, body))
    assert "one         1.5\n" in text
    assert "two       123.5\n" in text


def test_table_without_rows_says_none() -> None:
    assert "(none)" in printed(replace(table(3), rows=()))


def test_number_keeps_its_unit_at_a_line_end() -> None:
    words = "a " * 36 + "403.2 V and more words to come"
    assert "403.2 V" in printed(Paragraph(words))


def test_kinds_are_said_in_words_once() -> None:
    text = printed(Paragraph("Hot.", "caution"), Paragraph("Caution: hot.", "caution"),
                   Paragraph("Ask.", "open"))
    assert text.count("CAUTION: Hot.") == 1
    assert "CAUTION: Caution" not in text
    assert "OPEN: Ask." in text


def test_long_labels_of_facts_still_fit() -> None:
    facts = Facts("f", "Caption", (("k", "label " * 20, Cell("value " * 20)),))
    assert widest(printed(facts)) <= WIDTH


def test_shared_step_is_printed_once() -> None:
    text = render(sample.document(), "text")
    assert text.count("[pack-resistance-initial]: ") == 1
    assert text.count("see [pack-resistance-initial]") == 2


words = st.text(st.sampled_from("abc 12.Ω–"), max_size=60)


@pytest.mark.property
@settings(max_examples=150, deadline=None)
@given(st.integers(1, 12).flatmap(lambda n: st.tuples(
    st.lists(st.tuples(words, st.booleans(), st.sampled_from(["left", "right"])),
             min_size=n, max_size=n),
    st.lists(st.lists(words, min_size=n, max_size=n), max_size=4))))
def test_any_table_fits_and_loses_no_letter(case) -> None:
    heads, rows = case
    columns = tuple(Column(f"c{i}", title, align, wide)
                    for i, (title, wide, align) in enumerate(heads))
    body = tuple(tuple(Cell(text) for text in row) for row in rows)
    text = printed(Table("t", "", columns, body))
    assert widest(text) <= WIDTH
    for letter in "abcΩ":
        assert text.count(letter) >= sum(t.count(letter) for row in rows for t in row)
