"""The pictures as a real browser lays them out: no text on another, nothing beyond the page.

Every picture of every example and of the corner cases, at desktop and at phone width.
Needs a headless Chromium on the path.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from html import escape
from importlib import resources
from pathlib import Path

import pytest

from packcalc.report.document import Figure
from packcalc.report.drawings.time_current import time_current_figure
from tests.report.drawn import CASES, MAKERS, figure, study

CHROMIUM = shutil.which("chromium")
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--enable-logging=stderr", "--virtual-time-budget=4000",
         "--allow-file-access-from-files")
SECONDS = 90
SMALLEST_LETTERS = 10.0  # px on a phone 360 px wide

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no `chromium` on the path"),
]

# Two boxes of text share a place where they overlap by more than a pixel both ways. A box is
# as high as its line, so that lines set solid just touch.
PROBE = """
addEventListener("load", function () {
  var seen = {}, texts = 0, smallest = 99;
  document.querySelectorAll("svg").forEach(function (svg) {
    var frame = svg.getBoundingClientRect();
    var boxes = Array.from(svg.querySelectorAll("text")).map(function (node) {
      var b = node.getBoundingClientRect();
      smallest = Math.min(smallest, parseFloat(getComputedStyle(node).fontSize)
                          * frame.width / svg.viewBox.baseVal.width);
      return { l: b.left, r: b.right, t: b.top, b: b.bottom, s: node.textContent };
    });
    texts += boxes.length;
    var bad = [];
    boxes.forEach(function (one, i) {
      if (one.l < frame.left - 1 || one.r > frame.right + 1
          || one.t < frame.top - 2 || one.b > frame.bottom + 2) { bad.push("outside: " + one.s); }
      boxes.slice(i + 1).forEach(function (two) {
        if (Math.min(one.r, two.r) - Math.max(one.l, two.l) > 1
            && Math.min(one.b, two.b) - Math.max(one.t, two.t) > 1) {
          bad.push(one.s + " | " + two.s);
        }
      });
    });
    if (bad.length) { seen[svg.parentNode.id] = bad.slice(0, 5); }
  });
  document.title = JSON.stringify({
    overlaps: seen, pictures: document.querySelectorAll("svg").length, texts: texts,
    smallest: smallest, width: document.documentElement.clientWidth,
    scroll: document.documentElement.scrollWidth, ran: "broken" in window,
    fetched: performance.getEntriesByType("resource").length
  });
});
"""


def style() -> str:
    return resources.files("packcalc.report").joinpath("templates", "style.css").read_text("utf-8")


def page() -> str:
    """Every picture in the report's own frame."""
    return framed({f"{case}: {maker}": figure(case, maker)
                   for case in CASES for maker in MAKERS})


def framed(pictures: dict[str, Figure]) -> str:
    """Pictures by their ids in the report's own frame."""
    figures = "".join(
        f'<figure><div class="scroll" id="{escape(key)}">{one.svg}'
        f"</div><figcaption>{escape(one.caption)}</figcaption></figure>"
        for key, one in pictures.items())
    return ('<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title></title>'
            '<meta name="viewport" content="width=device-width, initial-scale=1">'
            f'<style>{style()}</style></head><body><div class="sheet">{figures}</div>'
            f"<script>{PROBE}</script></body></html>")


def probe(folder: Path, text: str, width: int) -> dict[str, object]:
    """Lay a page out in a frame `width` wide and return what the probe saw."""
    assert CHROMIUM is not None
    (folder / "page.html").write_text(text, "utf-8")
    (folder / "frame.html").write_text(
        f'<!DOCTYPE html><title></title><iframe id="f" width="{width}" height="900" '
        'style="border:0" src="page.html"></iframe><script>setInterval(function () {'
        "document.title = document.getElementById('f').contentDocument.title; }, 50)</script>",
        "utf-8")
    done = subprocess.run(
        [CHROMIUM, *FLAGS, f"--user-data-dir={folder / 'profile'}", "--window-size=1400,900",
         "--dump-dom", (folder / "frame.html").as_uri()],
        capture_output=True, text=True, timeout=SECONDS, check=True)
    assert [line for line in done.stderr.splitlines() if "CONSOLE" in line] == []
    found = re.search(r"<title>(\{.*?\})</title>", done.stdout, re.S)
    assert found, done.stdout[:500]
    return json.loads(found.group(1).replace("&lt;", "<").replace("&gt;", ">")
                      .replace("&amp;", "&"))


@pytest.fixture(scope="module", params=[1280, 360], ids=["desk", "phone"])
def seen(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory):
    return probe(tmp_path_factory.mktemp("drawings"), page(), request.param)


def test_no_text_overlaps_in_any_picture(seen: dict[str, object]) -> None:
    assert seen["pictures"] == len(CASES) * len(MAKERS)
    assert seen["texts"] > 500
    assert seen["overlaps"] == {}


def test_nothing_beyond_the_page_and_letters_large_enough(seen: dict[str, object]) -> None:
    assert seen["scroll"] == seen["width"]
    assert seen["smallest"] >= SMALLEST_LETTERS


def test_nothing_runs_and_nothing_is_fetched(seen: dict[str, object]) -> None:
    assert seen["ran"] is False and seen["fetched"] == 0


def test_no_text_overlaps_in_a_time_current_picture(tmp_path: Path) -> None:
    """The corner where both scales begin, too; this picture is a wide one, which a phone scrolls."""
    pictures = {}
    for case in CASES:
        found = study(case).coordination
        inside = study(case).circuit.inside_strings
        for key, one in ((case, found), *(((f"{case} inside", inside),) if inside else ())):
            drawn = time_current_figure(one, key)
            pictures |= {key: drawn} if drawn is not None else {}
    found = probe(tmp_path, framed(pictures), 1280)
    assert found["pictures"] == len(pictures) >= 4
    assert found["overlaps"] == {}


def test_the_probe_sees_an_overlap(tmp_path: Path) -> None:
    svg = ('<svg viewBox="0 0 340 60" width="100%"><text x="10" y="20">one over</text>'
           '<text x="30" y="22">the other</text></svg>')
    text = page().split("<div class=\"sheet\">")[0] + f'<div class="sheet"><div id="x">{svg}</div>'
    found = probe(tmp_path, f"{text}</div><script>{PROBE}</script></body></html>", 360)
    assert found["overlaps"] == {"x": ["one over | the other"]}
