"""The page in a real browser: no sideways scrolling on a phone, contrast, print.

Needs a headless Chromium on the path; the text of printed pages is read with pdftotext.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from packcalc.report.cautions import CAUTIONS, SHORT
from packcalc.report.document import Bullets, Cell, Column, Document, Section, Table
from packcalc.report.render import render
from tests.report import sample

CHROMIUM = shutil.which("chromium")
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--enable-logging=stderr", "--virtual-time-budget=4000")
SECONDS = 60

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no `chromium` on the path"),
]

# Reads the page as the browser has laid it out; the answer goes out by way of the title.
PROBE = """
addEventListener("load", function () {
  function colour(text) {
    var parts = text.match(/[\\d.]+/g).map(Number);
    return { rgb: parts.slice(0, 3), alpha: parts.length > 3 ? parts[3] : 1 };
  }
  function paper(node) {
    for (; node; node = node.parentElement) {
      var found = colour(getComputedStyle(node).backgroundColor);
      if (found.alpha === 1) { return found.rgb; }
    }
    return [255, 255, 255];
  }
  function luminance(rgb) {
    var linear = rgb.map(function (c) {
      c = c / 255;
      return c <= 0.04045 ? c / 12.92 : Math.pow((c + 0.055) / 1.055, 2.4);
    });
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2];
  }
  var least = 21, texts = 0;
  document.querySelectorAll("body *").forEach(function (node) {
    var own = Array.from(node.childNodes).some(function (child) {
      return child.nodeType === 3 && child.textContent.trim();
    });
    if (!own || node.closest("svg, script") || !node.getClientRects().length) { return; }
    texts += 1;
    var pair = [luminance(colour(getComputedStyle(node).color).rgb), luminance(paper(node))];
    least = Math.min(least, (Math.max(...pair) + 0.05) / (Math.min(...pair) + 0.05));
  });
  var chains = Array.from(document.querySelectorAll("details.chain, .chain details"));
  var before = chains.filter(function (c) { return c.open; }).length;
  var reachable = chains.every(function (c) {
    return c.firstElementChild.tagName === "SUMMARY" && c.firstElementChild.tabIndex === 0;
  });
  chains.forEach(function (c) { c.firstElementChild.click(); });
  var open = chains.filter(function (c) { return c.open; }).length;
  var width = document.documentElement.clientWidth;
  var beyond = Array.from(document.querySelectorAll("body *")).filter(function (node) {
    var box = node.getBoundingClientRect();
    return box.right > width + 0.5 && !node.closest(".scroll, .skip");
  }).map(function (node) { return node.tagName + " " + node.textContent.slice(0, 40); });
  document.title = JSON.stringify({
    width: width, scroll: document.documentElement.scrollWidth, beyond: beyond,
    least: least, texts: texts, chains: chains.length, before: before, open: open,
    reachable: reachable, fetched: performance.getEntriesByType("resource").length,
    ran: "broken" in window
  });
});
"""


def chromium(tmp_path: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    assert CHROMIUM is not None
    return subprocess.run([CHROMIUM, *FLAGS, f"--user-data-dir={tmp_path / 'profile'}", *arguments],
                          capture_output=True, text=True, timeout=SECONDS, check=True)


def page(tmp_path: Path, *, width: int) -> dict[str, object]:
    """Lay the sample out in a frame `width` wide and return what the probe saw."""
    deep = sample.large_document(tables=1, chains=2, depth=8)
    text = render(deep, "html")
    probed = text.replace("</body>", f"<script>{PROBE}</script></body>")
    (tmp_path / "page.html").write_text(probed, "utf-8")
    # A window is never narrower than the browser's own least width; a frame is.
    (tmp_path / "frame.html").write_text(
        f'<!DOCTYPE html><title></title><iframe id="f" width="{width}" height="800" '
        'style="border:0" src="page.html"></iframe><script>setInterval(function () {'
        "document.title = document.getElementById('f').contentDocument.title; }, 50)</script>",
        "utf-8")
    done = chromium(tmp_path, "--allow-file-access-from-files", "--window-size=1400,900",
                    "--dump-dom", (tmp_path / "frame.html").as_uri())
    console = [line for line in done.stderr.splitlines() if "CONSOLE" in line]
    assert console == []
    found = re.search(r"<title>(\{.*?\})</title>", done.stdout)
    assert found, done.stdout[:500]
    return json.loads(found.group(1))


@pytest.fixture(scope="module")
def phone(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    return page(tmp_path_factory.mktemp("phone"), width=360)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    return page(tmp_path_factory.mktemp("desk"), width=1280)


def test_no_sideways_scrolling_on_a_phone(phone: dict[str, object]) -> None:
    assert 340 <= phone["width"] <= 360  # less the browser's own scroll bar
    assert phone["scroll"] == phone["width"]
    assert phone["beyond"] == []


def test_no_sideways_scrolling_at_a_desk(desk: dict[str, object]) -> None:
    assert desk["scroll"] == desk["width"] <= 1280
    assert desk["beyond"] == []


def test_every_chain_opens_and_can_be_reached_by_keyboard(desk: dict[str, object]) -> None:
    assert desk["before"] == 0
    assert desk["open"] == desk["chains"] >= 20
    assert desk["reachable"] is True


@pytest.mark.parametrize("where", ["phone", "desk"])
def test_contrast_of_all_text_as_laid_out(where: str, request: pytest.FixtureRequest) -> None:
    seen = request.getfixturevalue(where)
    assert seen["texts"] > 100
    assert seen["least"] >= 4.5  # WCAG 2.2, 1.4.3, level AA


def test_nothing_is_fetched(desk: dict[str, object]) -> None:
    assert desk["fetched"] == 0


def test_script_in_a_text_field_never_runs(tmp_path: Path) -> None:
    text = render(sample.document(), "html")
    hostile = text.replace("alert(&#39;x&#39;)", "window.broken = 1")
    assert hostile.count("window.broken = 1") >= 5
    (tmp_path / "page.html").write_text(hostile.replace("</body>",
                                                        f"<script>{PROBE}</script></body>"))
    done = chromium(tmp_path, "--dump-dom", (tmp_path / "page.html").as_uri())
    found = re.search(r"<title>(\{.*?\})</title>", done.stdout)
    assert found and json.loads(found.group(1))["ran"] is False


def printed_pages(tmp_path: Path, text: str) -> list[str]:
    if shutil.which("pdftotext") is None:
        pytest.skip("no `pdftotext` on the path to read the printed pages")
    (tmp_path / "page.html").write_text(text, "utf-8")
    pdf = tmp_path / "page.pdf"
    chromium(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}",
             (tmp_path / "page.html").as_uri())
    done = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, text=True,
                          timeout=SECONDS, check=True)
    pages = done.stdout.split("\f")[:-1]
    return [" ".join(page.split()) for page in pages]


@pytest.mark.parametrize("scripts", ["on", "off"])
def test_print_carries_cautions_numbers_and_chains(tmp_path: Path, scripts: str) -> None:
    text = render(sample.large_document(tables=3, chains=4, depth=4), "html")
    if scripts == "off":
        text = re.sub(r"<script>.*?</script>", "", text, flags=re.S)
    pages = printed_pages(tmp_path, text)
    assert len(pages) >= 4
    for number, words in enumerate(pages, 1):
        assert SHORT in words
        assert re.search(rf"\b{number} ?/ ?{len(pages)}$", words)
    everything = " ".join(pages)
    assert all(caution.split(".")[0] in everything for caution in CAUTIONS)
    assert "I_k = U_pack / (1000 · R_pack)" in everything
    assert 'brief.toml:12 layout = "16S1P"' in everything
    assert everything.count("voltage 3 at level 0") >= 1


def test_no_printed_page_ends_in_a_table_head(tmp_path: Path) -> None:
    columns = (Column("name", "HeadOne"), Column("words", "HeadTwo", wide=True))
    rows = tuple((Cell(f"row {i}"), Cell("tall row " * 60)) for i in range(9))
    sections = tuple(
        Section(f"s{n}", f"Section {n}", (Bullets(tuple(f"line {i}" for i in range(n))),
                                          Table(f"t{n}", f"Caption {n}", columns, rows)))
        for n in range(26))
    document = Document("Title", "", (), CAUTIONS, "", sections)
    pages = printed_pages(tmp_path, render(document, "html"))
    assert len(pages) > 20
    for words in pages:
        assert not re.search(r"(HeadTwo|Caption \d+|Section \d+) \d+ ?/ ?\d+$", words)
