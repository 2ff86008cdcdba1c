"""Every page in a real browser: an accessibility checker, real keys, pictures, no complaints.

Needs a headless Chromium on the path; the checker (axe-core) comes with the extra `browser`.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from packcalc.report.build_report import build_document
from packcalc.report.certify_report import certify_document
from packcalc.report.commission_report import commission_document
from packcalc.report.compose import report_document
from packcalc.report.maintain_report import maintain_document
from packcalc.report.render import render
from packcalc.report.responder_report import responder_document
from packcalc.report.review_report import review_document
from tests.report.devtools import CHROMIUM, Browser, axe_script
from tests.report.test_drawings_browser import PROBE
from tests.review.cases import study

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no `chromium` on the path"),
]

PAGES = {"report": report_document, "review": review_document, "build": build_document,
         "commission": commission_document, "maintain": maintain_document,
         "responder": responder_document, "certify": certify_document}
WIDTHS = (1280, 360)
# WCAG 2.2 level AA holds all criteria of 2.0 and 2.1; the checker tags each by its first edition.
TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
CHECK = f"""axe.run(document, {{ runOnly: {list(TAGS)}, resultTypes: ["violations"] }})
.then(function (found) {{ return found.violations.map(function (one) {{
  return one.id + ": " + one.nodes[0].html.slice(0, 200); }}); }})"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with Browser() as opened:
        yield opened


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("pages")
    for name, make in PAGES.items():
        (place / f"{name}.html").write_text(render(make(study()), "html"), "utf-8")
    return place


def check(browser: Browser) -> list[str]:
    script = axe_script()
    if not script:
        pytest.skip("no axe-core: install the extra `browser`")
    browser.run(f"{script}; 1")
    return browser.run(CHECK)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_the_accessibility_checker_finds_nothing(name, width, browser, folder) -> None:
    browser.open(folder / f"{name}.html", width)
    browser.run("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    assert check(browser) == []


def test_a_merged_review_and_a_filled_record_pass_the_checker_too(browser, tmp_path) -> None:
    from packcalc.handover.as_built import hold
    from packcalc.marks import CHANGE
    from packcalc.review_merge import merge
    from tests.handover.test_as_built import MARKS, SHEET, STUDY, read, record
    from tests.review.cases import file, known, mark

    one = next(iter(known(study()).values()))
    merged = merge(study(), [file(study(), mark(one, CHANGE, change_to="500 A"))])
    held = hold(SHEET, read(record({"id": "main_fuse", "part": "Another 300"})), MARKS)
    for name, document in (("report", report_document(study(), review=merged)),
                           ("build", build_document(STUDY, held, MARKS))):
        (tmp_path / f"{name}.html").write_text(render(document, "html"), "utf-8")
        browser.open(tmp_path / f"{name}.html", 360)
        assert check(browser) == [] and browser.complaints() == []
        assert browser.run("document.documentElement.scrollWidth") <= 360


def test_the_checker_sees_a_fault(browser, tmp_path) -> None:
    (tmp_path / "bad.html").write_text(
        '<!DOCTYPE html><html lang="en"><title>t</title><p style="color:#bbb;background:#fff">'
        'pale words</p><input></html>', "utf-8")
    browser.open(tmp_path / "bad.html")
    assert {one.split(":")[0] for one in check(browser)} == {"color-contrast", "label"}


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_no_complaints_no_requests_no_sideways_scrolling(name, width, browser, folder) -> None:
    browser.open(folder / f"{name}.html", width)
    assert browser.complaints() == []
    seen = browser.run("[document.documentElement.scrollWidth, document.documentElement"
                       ".clientWidth, performance.getEntriesByType('resource').length]")
    assert seen[0] == seen[1] <= width and seen[2] == 0


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_no_text_overlaps_in_any_picture_of_the_page(name, width, browser, folder) -> None:
    import json

    text = (folder / f"{name}.html").read_text("utf-8")
    (folder / "probed.html").write_text(
        text.replace("</body>", f"<script>{PROBE}</script></body>"), "utf-8")
    browser.open(folder / "probed.html", width)
    seen = json.loads(browser.run("document.title"))
    assert seen["overlaps"] == {}
    assert seen["pictures"] == text.count("<svg")
    assert name != "report" or seen["pictures"] >= 4


def test_every_chain_opens_by_keyboard(browser, folder) -> None:
    """Tab from the appendix on; Enter and Space by turns on whatever can be unfolded."""
    browser.open(folder / "report.html")
    browser.run("location.hash = '#s-appendix'")
    total = browser.run("document.querySelectorAll('.chain details, details.chain').length")
    stops = browser.run("document.querySelectorAll('#s-appendix ~ * a, a, summary').length")
    opened = 0
    for _ in range(stops + 50):
        browser.press("Tab")
        if browser.run("document.activeElement.tagName === 'SUMMARY'"
                       " && Boolean(document.activeElement.closest('.chain'))"):
            browser.press("Enter" if opened % 2 else " ")
            assert browser.run("document.activeElement.parentElement.open")
            opened += 1
            if opened == total:
                break
    assert total > 100
    assert browser.run("Array.from(document.querySelectorAll('.chain details, details.chain'))"
                       ".every(d => d.open)")


def test_a_link_to_a_figure_works_by_keyboard(browser, folder) -> None:
    browser.open(folder / "report.html")
    browser.run("document.querySelector('.decisions .worked a').focus()")
    browser.press("Enter")
    assert browser.becomes("location.hash && document.getElementById(location.hash.slice(1))"
                           ".closest('details').open")


def test_the_first_tab_skips_to_the_content(browser, folder) -> None:
    browser.open(folder / "report.html")
    browser.press("Tab")
    assert browser.run("document.activeElement.className") == "skip"
    browser.press("Enter")
    assert browser.becomes("document.activeElement.id === 'content'")


def test_the_keys_are_real(browser, tmp_path) -> None:
    (tmp_path / "page.html").write_text(
        "<!DOCTYPE html><title>t</title><button>b</button><script>"
        "document.querySelector('button').onclick = e => { window.trusted = e.isTrusted; }"
        "</script>", "utf-8")
    browser.open(tmp_path / "page.html")
    browser.press("Tab")
    browser.press("Enter")
    assert browser.run("window.trusted") is True
