"""The time–current picture: its data, its words, ids, escapes, and no text over another."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from packcalc.protect.coordination import coordinate
from packcalc.report.coordination_report import coordination_section, spans_table
from packcalc.report.document import Figure
from packcalc.report.drawings.time_current import HEIGHT, WIDTH, time_current_figure
from tests.cases.test_coordination_cases import asked, contactor, f, fuse, trips

SVG = "{http://www.w3.org/2000/svg}"


def drawn(found, key="one"):
    figure = time_current_figure(found, key)
    return figure, ET.fromstring(figure.svg)


def test_a_hole_is_hatched_told_in_words_and_listed():
    figure, tree = drawn(coordinate(asked(trips=None)))
    fills = [node.get("fill") for node in tree.iter(f"{SVG}rect")]
    assert "url(#one-hole)" in fills
    assert "not shown: contactor from 700.0 A to 1000 A" in figure.text
    assert [row[0].text for row in figure.data.rows] == ["A", "B", "C", "D", "H", "X"]


def test_no_hole_is_said_too():
    strong = contactor(break_discharge="5000 A", break_charge="5000 A")
    figure, tree = drawn(coordinate(asked(contactor=strong)))
    assert "There is no hole" in figure.text and "url(#one-hole)" not in [
        node.get("fill") for node in tree.iter(f"{SVG}rect")]
    assert "E" in [row[0].text for row in figure.data.rows]


def test_nothing_swept_nothing_drawn():
    assert time_current_figure(coordinate(asked(fuse=None, contactor=None))) is None


def test_lines_differ_without_colour():
    figure, _ = drawn(coordinate(asked()))
    looks = [row[1].text for row in figure.data.rows]
    assert looks.count("full line") == 2 and len(set(looks)) >= len(looks) - 1
    colours = set(re.findall(r"#[0-9a-f]{3,6}\b", figure.svg))
    for colour in colours:
        digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
        assert digits[:2] == digits[2:4] == digits[4:], f"{colour} is no grey"


def test_ids_of_two_pictures_differ_and_names_are_escaped():
    odd = replace(fuse(), name='<F & "1">')
    found = coordinate(asked(fuse=odd))
    one, tree = drawn(found, "one")
    two, _ = drawn(found, "two")
    ids = [set(re.findall(r'\bid="([^"]+)"', figure.svg)) for figure in (one, two)]
    assert ids[0] and not ids[0] & ids[1]
    assert "<F" not in one.svg and "<F &" in tree.find(f"{SVG}title").text


@pytest.mark.parametrize("low, high", [(700.0, 20000.0), (700.0, 720.0), (15000.0, 25000.0),
                                       (60.0, 90000.0)])
def test_texts_stand_inside_and_clear_of_each_other(low, high):
    found = coordinate(asked(low=low, high=high, peak_load=f("peak", "A", min(400.0, low))))
    _, tree = drawn(found)
    boxes = []
    for node in tree.iter(f"{SVG}text"):
        if node.get("transform"):
            continue
        x, y, words = float(node.get("x")), float(node.get("y")), node.text
        wide = 6.6 * len(words)
        left = {"end": x - wide, "middle": x - wide / 2}.get(
            node.get("text-anchor") or ("middle" if "tag" in (node.get("class") or "") else ""), x)
        assert 0 <= left and left + wide <= WIDTH + 8 and 0 < y < HEIGHT, words
        # A line of 14 px letters is drawn into a box of 13 px above it and 3.5 px below.
        boxes.append((left, left + wide, y - 13, y + 3.5, words))
    for i, a in enumerate(boxes):
        for b in boxes[i + 1:]:
            apart = a[1] <= b[0] or b[1] <= a[0] or a[3] <= b[2] or b[3] <= a[2]
            assert apart, (a[4], b[4])


def test_the_section_puts_spans_and_picture_before_the_tables():
    found = coordinate(asked(trips=trips(blocked_above=f("held back", "A", 1500.0))))
    section = coordination_section(found)
    kinds = [type(block).__name__ for block in section.blocks]
    assert kinds.index("Figure") < kinds.index("Table", kinds.index("Figure"))
    assert sum(isinstance(b, Figure) for b in section.blocks) == 1
    rows = [(row[0].text, row[1].text, row[2].text) for row in spans_table(found.sweep).rows]
    assert rows == [("700.0", "1000", "contactor"), ("1000", "1500", "fuse or contactor"),
                    ("1500", "20000", "fuse")]
