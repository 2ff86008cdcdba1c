"""The circuit as it is built, pictures that a printed page holds, and the first screen."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from dataclasses import replace

import pytest

from packcalc.handover.figures import discharge_time
from packcalc.report.compose import protection_document, report_document
from packcalc.report.data import as_dict
from packcalc.report.drawings.circuit import BEFORE, circuit_of
from packcalc.report.drawings.one_line import one_line_figure
from packcalc.report.drawings.precharge_traces import discharging_traces
from packcalc.report.render import render
from packcalc.units import show
from tests.report.devtools import CHROMIUM, Browser
from tests.report.drawn import CASES, figure, study

SVG = "{http://www.w3.org/2000/svg}"
# mm; Letter is the shorter of the two papers: 279.4 high, margins 14 and 16, running head 10.
ROOM, MM = 279.4 - 14 - 16 - 10, 96 / 25.4


# -- the circuit ---------------------------------------------------------------------------------


def test_the_pre_charge_fuse_stands_in_series_with_relay_and_resistor() -> None:
    for case, kinds in (("truck", ["fuse", "contactor", "resistor", "fuse"]),
                        ("minibus", ["fuse", "contactor", "resistor", "fuse"]),
                        ("load that wakes early", ["fuse", "contactor", "resistor", "fuse"])):
        circuit = circuit_of(study(case))
        assert [p.kind for p in circuit.precharge] == kinds
        tags = ", ".join(p.tag for p in circuit.precharge)
        assert f"{tags} in series, pre-charge across the + contactor" in figure(
            case, "one_line").text
    assert all("either end" in p.note for p in circuit_of(study("minibus")).precharge
               if p.kind == "fuse")


@pytest.mark.parametrize("case", CASES)
def test_no_wire_of_pre_charge_or_sense_lies_between_the_poles(case: str) -> None:
    circuit, brief = circuit_of(study(case)), study(case).brief
    aside = {b.name for b in brief.branch if b.kind in ("pre-charge", "sense")}
    assert not aside & {rung.load.name for rung in circuit.rungs}
    fuses = [p.tag for p in circuit.parts if p.kind == "fuse"]
    assert len(fuses) == len(set(fuses))


@pytest.mark.parametrize("case", CASES)
def test_the_management_system_is_drawn_on_the_taps_of_the_cells(case: str) -> None:
    circuit = circuit_of(study(case))
    loads = [rung.load for rung in circuit.sense]
    assert loads and all(load.kind == "management" for load in loads)
    listed = {row[0].text for row in figure(case, "one_line").data.rows}
    texts = ["".join(t.itertext()) for t in ElementTree.fromstring(
        figure(case, "one_line").svg).iter(f"{SVG}text")]
    for load in loads:
        assert load.tag in listed and load.tag in texts
    channels = f"reads {study(case).pack.channels} cell voltages"
    assert channels in figure(case, "one_line").text


def test_pre_charge_tapped_ahead_of_the_main_fuse_is_drawn_from_there() -> None:
    found = study("truck")
    branch = tuple(replace(b, taps=BEFORE) if b.kind == "pre-charge" else b
                   for b in found.brief.branch)
    moved = replace(found, study=replace(found.study, brief=replace(found.brief, branch=branch)))
    drawn = one_line_figure(moved)
    assert circuit_of(moved).precharge_tap == BEFORE
    assert "pre-charge, to F3 below" in drawn.svg and "from above" in drawn.svg
    assert "from above" not in figure("truck", "one_line").svg


def test_the_link_capacitor_is_printed_with_the_tolerance_that_is_used() -> None:
    (link,) = [p for p in circuit_of(study("truck")).parts if p.kind == "capacitor"]
    assert link.other == "1.1 mF ± 20 %"


@pytest.mark.parametrize("case", ["truck", "van"])
def test_the_slow_discharge_is_the_figure_of_the_report(case: str) -> None:
    (_, slow), = discharging_traces(study(case)).times
    assert slow == pytest.approx(discharge_time(study(case)).number, rel=1e-9)
    assert discharge_time(study(case)).shown in figure(case, "precharge_traces").text


@pytest.mark.parametrize("case", CASES)
def test_a_tall_picture_may_be_cut_only_where_nothing_but_the_rails_passes(case: str) -> None:
    root = ElementTree.fromstring(figure(case, "one_line").svg)
    cut = float(root.get("data-cut", 0))
    height = float(root.get("viewBox").split()[3])
    assert cut and 0.2 * height < cut < 0.8 * height
    for text in root.iter(f"{SVG}text"):
        assert not cut - 3 < float(text.get("y")) < cut + 9  # letters stand above their line
    for shape in root.iter(f"{SVG}rect"):
        top = float(shape.get("y"))
        assert not top < cut < top + float(shape.get("height"))


# -- the first screen ----------------------------------------------------------------------------


def test_the_headline_is_the_larger_fault_current() -> None:
    found = study("truck")
    most = max(p.highest.number for p in found.circuit.places if p.highest.known)
    document = report_document(found)
    assert most > found.faults.highest.number
    assert as_dict(document)["first"]["fault_highest_A"] == pytest.approx(most, rel=1e-3)
    lead = document.sections[0].blocks[0].text
    assert f"up to {show(most, 'A')} into a fault with every source" in lead


def test_fault_places_open_the_protection_part() -> None:
    keys = [s.key for s in protection_document(study("truck")).sections]
    assert keys[:3] == ["first", "fault_places", "judged"]


def test_decisions_come_before_the_tables_of_what_fails() -> None:
    keys = [s.key for s in report_document(study("truck")).sections]
    assert keys[:5] == ["first", "decisions", "judged", "fault_places", "further"]


browser_only = [pytest.mark.browser,
                pytest.mark.skipif(CHROMIUM is None, reason="no `chromium` on the path")]


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    place = tmp_path_factory.mktemp("pictures")
    for case in ("truck", "minibus"):
        (place / f"{case}.html").write_text(render(report_document(study(case)), "html"), "utf-8")
    with Browser() as browser:
        browser.folder_of_pages = place
        yield browser


class TestInABrowser:
    pytestmark = browser_only

    @pytest.mark.parametrize("case", ["truck", "minibus"])
    def test_the_first_screen_holds_what_can_kill(self, opened: Browser, case: str) -> None:
        opened.open(opened.folder_of_pages / f"{case}.html", 1280, 900)
        tops = opened.run("""["#s-first", "#t-first", "#s-first ~ .open", "#s-first ~ p.caution",
            "#cautions", "ol.cautions"].map(q =>
            document.querySelector(q).getBoundingClientRect().top)""")
        assert max(tops) < 900
        end = opened.run("document.querySelector('ol.cautions').getBoundingClientRect().bottom")
        assert end < 900

    @pytest.mark.parametrize("case", ["truck", "minibus"])
    def test_a_printed_page_holds_each_picture(self, opened: Browser, case: str) -> None:
        opened.call("Emulation.setEmulatedMedia", media="print")
        opened.open(opened.folder_of_pages / f"{case}.html", round(180 * MM), 900)
        tall = opened.run("Array.from(document.querySelectorAll('figure > .scroll'))"
                          ".map(n => n.getBoundingClientRect().height)")
        letters = opened.run(
            "Array.from(document.querySelectorAll('.halves svg')).map(n => "
            "n.getBoundingClientRect().height / n.viewBox.baseVal.height * 12)")
        opened.call("Emulation.setEmulatedMedia", media="")
        assert len(tall) >= 4 and max(tall) < ROOM * MM
        assert letters and min(letters) > 9  # px; 7 points on paper
