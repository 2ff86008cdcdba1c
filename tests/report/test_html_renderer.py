"""The page: self-contained, well formed, every link finds its place."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections import Counter
from html.parser import HTMLParser

import pytest

from packcalc.report.document import Cell, Chain, Column, Document, Section, Table
from packcalc.report.html import _file
from packcalc.report.markup import rows
from packcalc.report.render import render
from tests.report import sample

ITEMS = {"td", "th", "li", "dt", "dd", "p"}  # their end tags may be left out, and that of tr
CLOSE_P = {"ul", "ol", "dl", "div", "table", "section"}  # these end a paragraph before them
VOID = {"meta", "link", "br", "hr", "img", "input", "rect", "line", "path", "circle"}


class Page(HTMLParser):
    """Tags with their attributes, headings and text; checks that tags are closed."""

    def __init__(self, text: str):
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.words: list[str] = []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        while tag in CLOSE_P | ITEMS | {"tr"} and self.open[-1] == "p":
            self.open.pop()
        if tag in ITEMS - {"p"} | {"tr"} and self.open[-1] in ITEMS:
            self.open.pop()
        if tag == "tr" and self.open[-1] == "tr":
            self.open.pop()
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        ended = self.open.pop()
        while ended != tag and ended in ITEMS | {"tr"}:
            ended = self.open.pop()
        assert ended == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("style", "script"):
            self.words.append(data)

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


TEXT = render(sample.document(), "html")
PAGE = Page(TEXT)


def test_nothing_is_fetched() -> None:
    assert not re.search(r"@import|url\(|src=|<link|<iframe", TEXT)
    assert all(a["href"].startswith("#") for a in PAGE.of("a"))


def test_user_text_is_text() -> None:
    assert len(PAGE.of("script")) == 1
    assert sample.HOSTILE in " ".join("".join(PAGE.words).split())
    assert "alert('x')" not in TEXT.split("</style>")[1].replace("&#39;", "")


def test_ids_are_unique_and_every_link_has_a_target() -> None:
    ids = Counter(attrs["id"] for _, attrs in PAGE.tags if "id" in attrs)
    assert max(ids.values()) == 1
    assert {a["href"][1:] for a in PAGE.of("a")} <= set(ids)


def test_ids_are_stable_names() -> None:
    ids = {attrs.get("id") for _, attrs in PAGE.tags}
    assert {"s-layouts", "t-layouts", "fig-volts_figure", "f-faults.highest",
            "f-pack-resistance-initial", "source-packcalc-rule", "cautions"} <= ids


def test_language_title_and_landmarks() -> None:
    assert PAGE.of("html")[0]["lang"] == "en"
    assert len(PAGE.of("title")) == len(PAGE.of("main")) == len(PAGE.of("h1")) == 1
    assert PAGE.of("nav") and PAGE.of("header") and PAGE.of("footer")
    first_link = PAGE.of("a")[0]
    assert first_link == {"class": "skip", "href": "#content"}


def test_headings_never_skip_a_level() -> None:
    levels = [int(tag[1]) for tag, _ in PAGE.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in zip(levels, levels[1:], strict=False))


def test_every_table_has_caption_and_heads_that_need_no_scope() -> None:
    """HTML, tables, forming relationships between data cells and header cells: without a scope a
    heading cell is its column's where its row holds no data cell, and its row's where its column
    holds none."""
    assert len(PAGE.of("table")) == len(PAGE.of("caption")) == 6
    tables = [re.findall(r"<tr\b.*?(?=<tr\b|</t)", table, re.S)
              for table in re.findall(r"<table\b.*?</table>", TEXT, re.S)]
    rows = [re.findall(r"<(th|td)\b", row) for table in tables for row in table]
    assert len(tables) == 6 and all(rows)
    assert all("td" not in cells or cells == ["th", *["td"] * (len(cells) - 1)] for cells in rows)


def test_every_chain_unfolds_without_script() -> None:
    tags = [tag for tag, _ in PAGE.tags]
    assert "onclick" not in TEXT
    for place, tag in enumerate(tags):
        if tag == "details":
            assert tags[place + 1] == "summary"


def test_shared_step_stands_once_and_is_linked() -> None:
    assert len(re.findall(r"id=f-pack-resistance-initial[ >]", TEXT)) == 1
    number = re.search(r"id=f-pack-resistance-initial[^>]*><summary id=(n\d+)>", TEXT)
    assert number and len(re.findall(rf'href="?#{number[1]}\b', TEXT)) == 2


def test_step_used_once_is_nested() -> None:
    finding = sample.long_chain(3)
    page = render(Document("T", "", (), (), "", (Section("s", "S", (Chain("k", finding),)),)),
                  "html")
    assert re.search(r'id=f-k .*<details><summary>[^<]*voltage 0 at level 1.*'
                     r"<details><summary>[^<]*voltage 0 at level 0"
                     r".*</details>.*</details>.*</details>", page, re.S)


def test_what_an_earlier_figure_works_is_pointed_at_and_not_said_twice() -> None:
    finding = sample.long_chain(2)
    again = finding.called("the same under another name")
    page = render(Document("T", "", (), (), "", (Section("s", "S", (
        Chain("one", finding), Chain("two", again))),)), "html")
    assert '<p class=chain id=f-two' in page
    assert "2. the same under another name" in page
    assert 'worked at <a href=#n1>1</a>' in page
    assert '<details class=chain id=f-two' not in page


def test_numbers_stand_twice_only_where_their_digits_differ() -> None:
    for step in re.findall(r"<summary.*?</dl>", TEXT, re.S):
        inputs = re.findall(r"<li>([^,<]+),", step.split("<dl>")[0])
        numbers = re.search(r"<dt>numbers<dd>([^<]*)", step)
        assert numbers is None or numbers[1].strip() != ", ".join(inputs)


def test_end_tags_are_left_out_only_where_html_lets_them() -> None:
    body = TEXT.split("</style>")[1]
    assert not re.search(r"</(td|th)>\s*<(td|th|/tr)", body)
    assert body.count("<table") == body.count("</table>")
    assert body.count("<ul") == body.count("</ul>") and body.count("<dl") == body.count("</dl>")
    assert "\n\n" not in TEXT


def test_keys_that_differ_only_in_signs_get_two_ids() -> None:
    blocks = tuple(Chain(key, finding) for key, finding in
                   zip(("a b", "a/b"), sample.findings().values(), strict=False))
    page = Page(render(Document("T", "", (), (), "", (Section("s", "S", blocks),)), "html"))
    ids = [a["id"] for a in page.of("details") if a.get("id", "").startswith("f-a-b")]
    assert ids == ["f-a-b", "f-a-b-2"]


def test_no_line_of_a_narrow_cell_ends_between_a_number_and_its_unit() -> None:
    page = rows(Table("t", "T", (Column("a", "A"), Column("b", "B")), (
        (Cell("12.00 V"), Cell("0.1 to 0.3 mΩ, 2 of them")),
        (Cell("−5 °C"), Cell("at 12 V it reads otherwise than a long text would have it")))), [])
    assert ">12.00\u00a0V<" in page and "0.3\u00a0mΩ" in page and "−5\u00a0°C" in page
    assert "at 12 V it reads" in page  # a long text may break anywhere, and costs no byte


def test_verdicts_are_words() -> None:
    words = "".join(PAGE.words)
    for verdict in ("pass", "caution", "fail", "not evaluated"):
        assert verdict in words


def test_empty_document_still_has_its_cautions() -> None:
    page = Page(render(Document("T", "", (), ("Beware.",), "The law.", ()), "html"))
    assert "Beware." in "".join(page.words)


# WCAG 2.2, success criteria 1.4.3 and 1.4.11 with the definition of relative luminance.
def luminance(colour: str) -> float:
    parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_function_gives_the_extremes_of_the_definition() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") < 4.5 < contrast("#767676", "#ffffff")


def test_colours_of_the_style_sheet_have_contrast() -> None:
    style = _file("style.css")
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", style))
    rules = style.split("}", 1)[1]
    assert not re.search(r"#[0-9a-fA-F]{3,6}\b|rgb\(|hsl\(", rules)
    text = set(re.findall(r"(?<![-\w])color: var\(--(\w+)\)", rules))
    ground = set(re.findall(r"background: var\(--(\w+)\)", rules))
    assert text == {"ink", "soft", "link"} and ground == {"paper", "band"}
    for letters in text:
        for paper in ground:
            assert contrast(colours[letters], colours[paper]) >= 4.5
    assert contrast(colours["line"], colours["paper"]) >= 3


@pytest.mark.benchmark
def test_large_page_is_quick() -> None:
    large = sample.large_document()
    render(sample.document(), "html")
    best = min(_seconds(large) for _ in range(3))
    assert best < 0.15


def _seconds(document: Document) -> float:
    start = time.perf_counter()
    render(document, "html")
    return time.perf_counter() - start


def test_renderers_load_no_heavy_library() -> None:
    code = ("import sys\nfrom tests.report import sample\n"
            "from packcalc.report.render import FORMATS, render\n"
            "[render(sample.document(), f) for f in FORMATS if f != 'html']\n"
            "print([m for m in ('pandas', 'jinja2', 'click') if m in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
