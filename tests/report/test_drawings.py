"""Pictures from data: links, tags, places, escapes, and the same story in words and tables."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.charging import BusLoad, LoadedBus
from packcalc.errors import ProgramFault
from packcalc.findings import leaf
from packcalc.report.drawings.circuit import circuit_of, duty_of, item_of
from packcalc.report.drawings.modules_layout import (
    GROUPED,
    MINUS,
    PLUS,
    STRINGS,
    Grid,
    grid_of,
    links,
    modules_layout_figure,
    terminal,
)
from packcalc.report.drawings.precharge_traces import (
    charging_traces,
    discharging_traces,
    stages_of,
)
from packcalc.report.drawings.svg import Canvas, clip, escape, spread, text_width, ticks, wrap
from packcalc.report.drawings.voltage_picture import levels
from tests.report.drawn import CASES, HOSTILE, PICTURES, figure, study

SVG = "{http://www.w3.org/2000/svg}"
TAG = re.compile(r"[A-Z]\d+(\.\d+)?")


def tree(case: str, maker: str) -> ElementTree.Element:
    return ElementTree.fromstring(figure(case, maker).svg)


def words(node: ElementTree.Element) -> list[tuple[float, float, str, str]]:
    """(x, y, anchor, text) of every text of a picture."""
    return [(float(t.get("x")), float(t.get("y")), t.get("text-anchor", "start"),
             "".join(t.itertext())) for t in node.iter(f"{SVG}text")]


def bold_tags(node: ElementTree.Element) -> set[str]:
    """What a picture prints as a tag: bold, in the form of one."""
    bold = [n for n in node.iter() if n.get("font-weight") == "700"]
    found = {word for n in bold for word in "".join(n.itertext()).split()}
    return {word for word in found if TAG.fullmatch(word)}


# --- links ------------------------------------------------------------------------------

GRIDS = st.builds(Grid, st.integers(1, 130), st.integers(1, 14),
                  st.sampled_from([GROUPED, STRINGS]), st.integers(1, 9),
                  st.tuples(st.floats(30, 80), st.floats(16, 40)), st.floats(0, 50))


@pytest.mark.property
@settings(max_examples=120, deadline=None)
@given(GRIDS)
def test_each_link_joins_a_plus_to_the_next_minus(grid: Grid) -> None:
    found = links(grid)
    for link in found:
        (step, lane, pole), (to_step, to_lane, to_pole) = link.start, link.end
        assert link.points[0] == terminal(grid, *link.start)
        assert link.points[-1] == terminal(grid, *link.end)
        if link.kind == "link":
            assert (pole, to_pole) == (PLUS, MINUS)
            assert (to_step, to_lane) == (step + 1, lane)
        else:
            assert pole == to_pole and step == to_step and to_lane == lane + 1
            assert grid.arrangement == GROUPED
    lanes = 1 if grid.arrangement == GROUPED else grid.parallel
    assert sum(link.kind == "link" for link in found) == lanes * (grid.series - 1)


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(GRIDS)
def test_the_joined_terminals_are_the_nodes_of_the_pack(grid: Grid) -> None:
    parent: dict = {(s, p, q): (s, p, q) for s in range(grid.series)
                    for p in range(grid.parallel) for q in (PLUS, MINUS)}

    def root(node):
        while parent[node] != node:
            node = parent[node]
        return node

    for link in links(grid):
        parent[root(link.start)] = root(link.end)
    nodes = {root(node) for node in parent}
    if grid.arrangement == GROUPED:
        assert len(nodes) == grid.series + 1
        for step in range(grid.series):
            assert len({root((step, lane, PLUS)) for lane in range(grid.parallel)}) == 1
    else:
        assert len(nodes) == grid.parallel * (grid.series + 1)
    assert root((0, 0, MINUS)) != root((grid.series - 1, 0, PLUS))


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(GRIDS)
def test_no_two_boxes_share_a_place(grid: Grid) -> None:
    corners = [grid.corner(step, lane) for step in range(grid.series)
               for lane in range(grid.parallel)]
    width, height = grid.box
    ordered = sorted(corners, key=lambda c: (round(c[1], 6), c[0]))
    for (ax, ay), (bx, by) in zip(ordered, ordered[1:], strict=False):
        assert bx - ax >= width - 1e-6 or by - ay >= height - 1e-6


@pytest.mark.parametrize("case", CASES)
def test_the_drawn_links_end_at_the_drawn_terminals(case: str) -> None:
    picture, grid = tree(case, "modules_layout"), grid_of(study(case))
    drawn = {c.get("data-terminal"): (float(c.get("cx")), float(c.get("cy")))
             for c in picture.iter(f"{SVG}circle")}
    assert len(drawn) == 2 * grid.series * grid.parallel
    signs = {(x, y - 4): text for x, y, _, text in words(picture) if text in (PLUS, MINUS)}
    for name, (x, y) in drawn.items():
        near = [text for (sx, sy), text in signs.items()
                if abs(sy - y) < 0.2 and abs(sx - x) < 8]
        assert name[-1] in near
    count = 0
    for path in picture.iter(f"{SVG}path"):
        if path.get("data-kind"):
            ends = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.get("d"))
            assert tuple(map(float, ends[0])) == drawn[path.get("data-from")]
            assert tuple(map(float, ends[-1])) == drawn[path.get("data-to")]
            count += 1
        if path.get("data-kind") == "link":
            assert path.get("data-from")[-1] == PLUS and path.get("data-to")[-1] == MINUS
    assert count == len(links(grid))


def test_marks_stand_in_their_places() -> None:
    marked = [[f"m{group}-{module}" for module in (1, 2)] for group in range(1, 13)]
    found = modules_layout_figure(study("minibus"), marked)
    table = {row[0].text: row[4].text for row in found.data.rows}
    assert table["3.2"] == "m3-2" and table["12.1"] == "m12-1"
    assert all(mark in found.svg for row in marked for mark in row)
    long = modules_layout_figure(study("truck"), [[HOSTILE + "x" * 60]] * 16)
    assert "<script" not in long.svg and "…" in long.svg


# --- tags -------------------------------------------------------------------------------

@pytest.mark.parametrize("case", CASES)
def test_every_tag_is_in_the_parts_list(case: str) -> None:
    listed = [row[0].text for row in figure(case, "one_line").data.rows]
    assert len(set(listed)) == len(listed)
    drawn = bold_tags(tree(case, "one_line"))
    assert {"G1", "K3", "R1", "C1", "T1"} <= drawn
    assert drawn <= set(listed)
    assert bold_tags(tree(case, "modules_layout")) <= set(listed)
    if case != "nine strings":  # there, strings 5 to 8 are drawn as "alike"
        assert drawn == set(listed)


def test_parts_stand_where_the_brief_says() -> None:
    rows = {row[0].text: row for row in figure("main fuse in the middle", "one_line").data.rows}
    assert rows["F1"][2].text == "after module 10 from the negative end"
    assert rows["Q1"][2].text == "after module 5 from the negative end"
    places = {row[0].text: row[5].text
              for row in figure("main fuse in the middle", "modules_layout").data.rows}
    assert places["10"] == "F1, then minus of 11" and places["5"] == "Q1, then minus of 6"
    assert places["16"] == "K1"
    strings = {row[0].text: row[5].text
               for row in figure("strings with parts inside", "modules_layout").data.rows}
    assert strings["2.6"] == "Q1.2, then minus of 2.7" and strings["1.12"] == "K1.1"


def test_what_is_not_there_is_not_drawn() -> None:
    found = figure("truck", "one_line")
    tags = {row[0].text for row in found.data.rows}
    monitored = study("truck").brief.path.insulation_monitor != "none"
    assert ("B1" in tags) == monitored
    assert ("No insulation monitor is counted on." in found.text) != monitored
    both = {row[0].text: row[2].text for row in figure("every part", "one_line").data.rows}
    assert (both["F1"], both["F2"]) == ("+ pole", "− pole")


def test_the_inlet_and_every_load_are_drawn_whether_a_branch_describes_them_or_not() -> None:
    parts = {part.name: part for part in circuit_of(study("load that wakes early")).parts}
    assert parts["heater"].kind == "load" and "3000 W" in parts["heater"].other
    assert "heater" in figure("load that wakes early", "one_line").text
    for case in CASES:
        assert "inlet" in {part.kind for part in circuit_of(study(case)).parts}
        for load in study(case).brief.precharge.load:
            assert [p.name for p in circuit_of(study(case)).parts].count(load.name) == 1


def test_an_assumed_figure_is_not_drawn_as_the_briefs_own() -> None:
    rows = {row[0].text: " ".join(cell.text for cell in row)
            for row in figure("unknowns", "one_line").data.rows}
    assert "assumed, the brief does not say" in rows["C1"]
    told = figure("no absolute maximum", "one_line").text
    assert "never above" not in told and "absolute maximum is not known" in told
    assert "never above 450 V" in figure("truck", "one_line").text


@pytest.mark.parametrize("case", ["truck", "van", "minibus"])
def test_ratings_come_from_the_study(case: str) -> None:
    found = study(case)
    parts = {part.tag: part for part in circuit_of(found).parts}
    for tag, key, title, which in (
            ("F1", "main_fuse", "Least rated current", "current"),
            ("K1", "contactors", "Continuous current", "current"),
            ("K1", "contactors", "Largest current to break", "breaking"),
            ("K3", "precharge", "Peak pre-charge current", "breaking")):
        if tag in parts:
            duty = duty_of(item_of(found, key), title)
            assert duty is not None and getattr(parts[tag], which) is duty
            assert duty.shown in figure(case, "one_line").text or tag == "K3"


# --- voltages ---------------------------------------------------------------------------

@pytest.mark.parametrize("case", CASES)
def test_each_known_voltage_is_drawn_said_and_listed(case: str) -> None:
    found = figure(case, "voltage_picture")
    said = [text for *_, text in words(tree(case, "voltage_picture"))]
    for level, row in zip(levels(study(case)), found.data.rows, strict=True):
        if level.finding.known:
            assert level.finding.shown in said
            assert level.finding.shown in found.text
            assert row[2].value == pytest.approx(level.finding.number, rel=1e-3)
        else:
            assert level.words in found.text and row[2].text == "–"


def test_higher_voltages_stand_higher() -> None:
    said = words(tree("truck", "voltage_picture"))
    volts = [(y, float(text.split()[0])) for x, y, anchor, text in said
             if re.fullmatch(r"[\d.]+ V", text) and anchor == "end"]
    ordered = [v for _, v in sorted(volts)]
    assert len(ordered) == 6 and ordered == sorted(ordered, reverse=True)


# --- pre-charge -------------------------------------------------------------------------

def test_band_at_one_time_constant() -> None:
    # Truck: R ± 5 %, C ± 20 %. 1 − exp(−1/(1.05·1.20)) = 0.548; 1 − exp(−1/(0.95·0.80)) = 0.732.
    low, high = charging_traces(study("truck")).expected
    assert (round(low), round(high)) == (55, 73)
    assert "between 55 % and 73 %" in figure("truck", "precharge_traces").text


@pytest.mark.parametrize("case", ["truck", "van", "minibus"])
def test_slow_corner_agrees_with_the_time_of_the_study(case: str) -> None:
    found = study(case)
    traces = charging_traces(found)
    item = item_of(found, "precharge")
    named = next(c for c in item.own_parts if c.name == found.brief.parts.resistor)
    time, unit = named.fact("time to the level, slow corner").split()
    assert unit == "s"
    level = 100 * found.brief.precharge.level.number
    before, after = traces.slow.curve(float(time) * np.array([0.998, 1.002]))
    assert before < level < after


@pytest.mark.parametrize("case", ["load that wakes early", "resistor not known"])
def test_asked_discharge_resistor_reaches_the_border_in_time(case: str) -> None:
    traces = discharging_traces(study(case))
    (_, slow), = traces.times
    assert slow == pytest.approx(5.0, rel=1e-9)  # Formula SAE rules 2026, EV.7.2.2: 5 s
    at = traces.slow.curve(np.array([slow]))[0]
    assert at == pytest.approx(60.0, rel=1e-9)
    assert traces.fast.curve(np.array([slow]))[0] < at


def test_given_discharge_resistor_is_drawn() -> None:
    assert "discharge through 15 kΩ ± 5 %, given" in figure("unknowns", "precharge_traces").svg
    rows = {row[1].text: row[6].text for row in figure("unknowns", "one_line").data.rows}
    assert rows["discharge resistor"] == "15 kΩ"


def a_bus(power: float, wakes_at: float) -> LoadedBus:
    def known(title: str, symbol: str, unit: str, value: float):
        return leaf(title, symbol, unit, value, "given")

    load = BusLoad("heater", "constant power", None, known("power", "P", "W", power),
                   known("wakes at", "U_on", "V", wakes_at))
    return LoadedBus(known("battery", "V", "V", 400.0), known("resistor", "R", "Ω", 100.0),
                     known("capacitance", "C", "mF", 1e-3), known("level", "x", "%", 0.95),
                     (load,))


def test_a_bus_that_hangs_stays_where_the_load_wakes() -> None:
    # At 60 V the resistor passes 60·(400 − 60)/100 = 204 W; 300 W holds the bus there.
    times, volts = stages_of(a_bus(300.0, 60.0))
    assert volts[-1] == 60.0
    # −R·C·ln(1 − 60/400) = 0.1 s · 0.1625
    assert times[-1] == pytest.approx(0.016252, abs=1e-6)


def test_a_loaded_bus_creeps_to_its_steady_voltage() -> None:
    # 100 W at 400 V through 100 Ω: 200 + √(40000 − 10000) = 373.205 V
    times, volts = stages_of(a_bus(100.0, 60.0))
    assert volts[-1] == pytest.approx(373.205, abs=0.01) and np.all(np.diff(times) > 0)


@pytest.mark.parametrize("case", CASES)
def test_corners_keep_their_order(case: str) -> None:
    for panel in (charging_traces(study(case)), discharging_traces(study(case))):
        times = np.linspace(0.0, panel.span, 200)
        fast, nominal, slow = (c.curve(times) for c in (panel.fast, panel.nominal, panel.slow))
        sign = 1 if panel.unit == "%" else -1
        assert np.all(sign * (fast - nominal) >= -1e-9)
        assert np.all(sign * (nominal - slow) >= -1e-6)


# --- every picture ----------------------------------------------------------------------

@pytest.mark.parametrize("case, maker", PICTURES)
def test_a_picture_is_inside_its_frame(case: str, maker: str) -> None:
    picture = tree(case, maker)
    _, _, width, height = map(float, picture.get("viewBox").split())
    places = [(float(n.get(a)), float(n.get(b))) for n in picture.iter()
              for a, b in (("x", "y"), ("cx", "cy")) if n.get(a) is not None]
    for rect in picture.iter(f"{SVG}rect"):
        places.append((float(rect.get("x")) + float(rect.get("width")),
                       float(rect.get("y")) + float(rect.get("height"))))
    hatching = {path for pattern in picture.iter(f"{SVG}pattern") for path in pattern}
    for path in picture.iter(f"{SVG}path"):
        if path not in hatching:
            places += [(float(x), float(y)) for x, y in
                       re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.get("d"))]
    for x, y, anchor, text in words(picture):
        share = {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
        left = x - share * text_width(text)
        places += [(left + 0.2 * text_width(text) * (anchor != "start"), y - 9),
                   (left + 0.8 * text_width(text) + 0.2 * text_width(text) * (anchor == "end"),
                    y + 3)]
    assert len(places) > 20
    for x, y in places:
        assert math.isfinite(x) and math.isfinite(y)
        assert -0.5 <= x <= width + 0.5 and -0.5 <= y <= height + 0.5


@pytest.mark.parametrize("case, maker", PICTURES)
def test_a_picture_is_black_alone_and_self_contained(case: str, maker: str) -> None:
    found = figure(case, maker)
    picture = tree(case, maker)
    assert {n.tag for n in picture.iter(f"{SVG}style")} == set()
    assert "<script" not in found.svg and "href" not in found.svg
    inks = {n.get(a) for n in picture.iter() for a in ("fill", "stroke")} - {None}
    assert all(ink in ("#000", "#fff", "none") or ink.startswith(f"url(#{maker}-")
               for ink in inks)
    ids = [n.get("id") for n in picture.iter() if n.get("id")]
    assert len(set(ids)) == len(ids) and all(i.startswith(f"{maker}-") for i in ids)
    for ink in inks:
        if ink.startswith("url("):
            assert ink[5:-1] in ids
    assert picture.get("role") == "img"
    assert picture.get("aria-labelledby") == f"{maker}-title"
    assert picture.get("aria-describedby") == f"{maker}-desc"
    assert picture.find(f"{SVG}title").text and picture.find(f"{SVG}desc").text == found.text
    assert found.text and found.data is not None and found.data.rows
    assert "safe" not in found.text and "approved" not in found.text


def test_hostile_names_are_text() -> None:
    found = figure("every part", "one_line")
    assert escape(HOSTILE)[:20] in found.svg
    assert HOSTILE in ElementTree.fromstring(found.svg).find(f"{SVG}desc").text


# --- the helpers ------------------------------------------------------------------------

@pytest.mark.property
@given(st.lists(st.floats(-50, 400), min_size=1, max_size=20), st.floats(1, 15))
def test_spread_keeps_gap_order_and_span(wanted: list[float], gap: float) -> None:
    low, high = 0.0, 300.0
    found = spread(wanted, gap, low, high)
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    places = [found[i] for i in order]
    assert all(b - a >= gap - 1e-6 for a, b in zip(places, places[1:], strict=False))
    assert low - 1e-6 <= places[0] and places[-1] <= high + 1e-6


def test_spread_leaves_what_has_room() -> None:
    assert spread([20.0, 90.0, 50.0], 10.0, 0.0, 100.0) == [20.0, 90.0, 50.0]


def test_spread_refuses_what_cannot_fit() -> None:
    assert spread([0.0, 0.0, 0.0], 50.0, 0.0, 100.0) == [0.0, 50.0, 100.0]
    with pytest.raises(ProgramFault, match="3 labels do not fit between 0 and 99"):
        spread([0.0, 0.0, 0.0], 50.0, 0.0, 99.0)


@pytest.mark.property
@given(st.text(max_size=120), st.floats(20, 300), st.integers(1, 5))
def test_wrapped_lines_are_as_narrow_as_asked(text: str, width: float, most: int) -> None:
    lines = wrap(text, width, most)
    assert len(lines) <= most
    assert all(text_width(line) <= width or line == "…" for line in lines)
    assert text_width(clip(text, width)) <= width or clip(text, width) == "…"


@pytest.mark.property
@given(st.text(max_size=60))
def test_any_text_is_well_formed(text: str) -> None:
    canvas = Canvas("key")
    canvas.text((0, 0), text)
    drawn = ElementTree.fromstring(canvas.finish(10, text, text))
    seen = "".join(drawn.find(f".//{SVG}text").itertext())
    assert len(seen.replace("\r\n", "\n")) <= len(text)


def test_a_coordinate_that_is_no_number_is_a_fault() -> None:
    with pytest.raises(ProgramFault, match="no number"):
        Canvas("key").line(((0.0, math.nan), (1.0, 1.0)))


@pytest.mark.property
@given(st.floats(-500, 500), st.floats(0.01, 2000))
def test_ticks_lie_inside(low: float, span: float) -> None:
    found = ticks(low, low + span)
    assert 2 <= len(found) <= 13
    slack = 1e-6 * max(1.0, abs(low), span)
    assert all(low - slack <= tick <= low + span + slack for tick in found)
