"""The page as a reviewer uses it: filters, keyboard, marks saved to a file, print, phone.

Needs a headless Chromium on the path.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from packcalc.decisions import MOST_GRAVE
from packcalc.marks import CHANGE, MARKS
from packcalc.report.cautions import SHORT
from packcalc.report.compose import report_document
from packcalc.report.html import DECISION_HEADS
from packcalc.report.render import render
from packcalc.report.review_report import review_document
from packcalc.review import parse_json
from packcalc.review_merge import merge
from packcalc.review_since import bare, entries_of, list_digest
from tests.briefs import EXAMPLES
from tests.report.test_browser import CHROMIUM, chromium, printed_pages
from tests.report.test_html_renderer import Page
from tests.review.cases import HOSTILE, file, known, mark, study
from tests.sized import example, report

DECISIONS = known(study())
PAGE = render(report_document(study()), "html")
WEAK = {"remembered", "remembered, consistent", "assumed"}

browser = pytest.mark.skipif(CHROMIUM is None, reason="no `chromium` on the path")
LARGEST = 1_500_000


# -- as text ----------------------------------------------------------------------------------


def test_every_decision_has_its_anchor_and_its_boxes() -> None:
    found = Page(PAGE)
    ids = [a["id"] for a in found.of("tr") if a.get("id", "").startswith("d-")]
    assert ids == [f"d-{name}" for name in DECISIONS]
    assert ".decisions td:last-child::after {" in PAGE  # boxes of every row, printed by the style
    # a box and its word stay on one line: U+00A0 between them
    assert "☐\\a0 accept  ☐\\a0 change\\a0to" in PAGE.split("</style>")[0]
    assert PAGE.index(f"The {MOST_GRAVE} gravest") < PAGE.index(
        f"Decisions {MOST_GRAVE + 1} to {len(DECISIONS)}")


def test_decisions_link_to_figures_that_are_worked() -> None:
    ids = set(re.findall(r"<summary id=([^ >]+)>", PAGE))
    rows = re.findall(r'<tr id="d-.*?(?=<tr id="d-|</tbody>)', PAGE, re.S)
    links = [set(re.findall(r'href="?#(n\d+)\b', row)) for row in rows]
    assert all(found <= ids for found in links)
    computed = [any(f.formula for f in d.rests_on) for d in DECISIONS.values()]
    assert [bool(found) for found, has in zip(links, computed, strict=True) if has] == \
        [True] * sum(computed)


def test_first_what_can_kill_then_the_gravest_decisions_then_places() -> None:
    places = [PAGE.index(f'id="{mark_}"') for mark_ in
              ("s-first", "cautions", "s-decisions", "s-fault_places", "s-further", "s-inputs",
               "s-appendix")]
    assert places == sorted(places)


def test_tools_are_hidden_until_a_script_shows_them() -> None:
    hidden = [a for _, a in Page(PAGE).tags if "tools" in (a.get("class") or "")]
    assert len(hidden) == 2 and all("hidden" in a for a in hidden)
    assert not re.search(r"<(tr|details)[^>]* hidden", PAGE)


@pytest.mark.parametrize("brief", EXAMPLES, ids=lambda p: p.parent.name)
def test_examples_stay_small(brief: Path) -> None:
    text = render(report(brief.parent.name), "html")
    assert len(text.encode("utf-8")) < LARGEST


def test_hostile_words_of_a_mark_are_text() -> None:
    one = next(iter(DECISIONS.values()))
    marks = [mark(one, CHANGE, change_to=w, name=f"{w} {n}", note=w, scope=w, licence=w, scan=w)
             for n, w in enumerate(HOSTILE)]
    text = render(report_document(study(), review=merge(study(), [file(study(), *marks)])), "html")
    assert len(Page(text).of("script")) == 1
    assert not [a for _, a in Page(text).tags if any(k.startswith("on") for k in a)]
    assert "{{ 7*7 }}" in text and "<img src=x" not in text and "<svg onload" not in text


def test_hostile_words_of_a_brief_are_text() -> None:
    route = {"route": [{"name": HOSTILE[0][:40], "length": "4 m"}]}
    odd = study_of(title=HOSTILE[0], note=HOSTILE[1], cables=route)
    text = render(report_document(odd), "html")
    assert len(Page(text).of("script")) == 1
    assert not [a for tag, a in Page(text).tags if any(k.startswith("on") for k in a)]


def study_of(**changes):
    from packcalc.api import size_protection
    from tests.briefs import asked

    return size_protection(asked(**changes))


def test_marks_stand_beside_their_decision() -> None:
    one = list(DECISIONS.values())[3]
    held = merge(study(), [file(study(), mark(one, note="seen on the bench"))])
    text = render(report_document(study(), review=held), "html")
    row = re.search(rf'<tr id="d-{re.escape(one.id)}".*?(?=<tr|</tbody>)', text, re.S)
    assert row and "accepted: accept (A. Invented" in row[0] and "seen on the bench" in row[0]
    assert text.count('data-standing="accepted"') == 1


# -- in a browser -----------------------------------------------------------------------------

PROBE = """
addEventListener("load", function () {
  var out = { errors: [] };
  function rows() {
    return Array.from(document.querySelectorAll("tr[data-d]")).filter(function (row) {
      return row.getClientRects().length;
    });
  }
  function pick(id, value) {
    var node = document.getElementById(id);
    node.value = value;
    node.dispatchEvent(new Event(id === "search" ? "input" : "change", { bubbles: true }));
  }
  function ids() { return rows().map(function (row) { return row.id.slice(2); }); }
  function all() { document.getElementById("all").click(); }
  out.all = ids().length;
  out.tools = document.getElementById("filters").getClientRects().length > 0;
  pick("search", "  PRE-CHARGE "); out.search = ids(); out.said = document.getElementById("shown").textContent;
  out.words = ["reject", "not my field", "no mark", "change to"].map(function (words) { pick("search", words); return ids(); });
  all(); out.again = ids().length;
  pick("by-verdict", "not evaluated"); out.verdict = ids();
  all(); pick("by-basis", document.querySelector("#by-basis option:nth-child(2)").value);
  out.weak = ids();
  out.chains = Array.from(document.querySelectorAll("details.chain[data-b]")).filter(function (node) {
    return node.getClientRects().length; }).length;
  all(); pick("by-part", document.querySelector("#by-part option:nth-child(2)").value);
  out.part = document.querySelector("#by-part option:nth-child(2)").textContent;
  out.parts = rows().map(function (row) { return row.querySelector("td p").textContent; });
  pick("search", "zzzz"); out.none = ids().length; all();
  pick("search", "zzzz");
  var link = document.querySelector("tr[data-d] .worked a");
  location.hash = link.getAttribute("href"); dispatchEvent(new HashChangeEvent("hashchange"));
  var place = document.getElementById(location.hash.slice(1));
  out.linked = place.closest("details").open && place.getClientRects().length > 0;
  all();

  var blobs = [];
  URL.createObjectURL = function (blob) { blobs.push(blob); return "#"; };
  HTMLAnchorElement.prototype.click = function () { out.name = this.download; };
  function field(key) { return document.querySelector("#review [data-key=" + key + "]"); }
  function save() { document.getElementById("save").click(); return document.getElementById("said").textContent; }
  out.refusals = [];
  out.refusals.push(save());
  field("name").value = NAME; out.refusals.push(save());
  field("date").value = "2026-02-30"; out.refusals.push(save());
  out.days = ["1999-12-31", "2999-11-24", "2025-11-24"].map(function (day) {
    field("date").value = day; document.getElementById("review").dataset.issued = "2026-11-24"; return save(); });
  document.getElementById("review").dataset.issued = "";
  field("date").value = "2026-11-24"; out.refusals.push(save());
  field("scope").value = "electrical"; field("licence").value = "EL 1";
  var five = rows().slice(0, 5);
  five.forEach(function (row, i) { row.querySelectorAll("input[type=radio]")[i].click(); });
  out.refusals.push(save());
  five[1].querySelector("[data-key=change_to]").value = "500 A";
  five[0].querySelector("[data-key=note]").value = NOTE;
  rows()[7].querySelector("[data-key=note]").value = "words only";
  out.refusals.push(save());
  rows()[7].querySelector("[data-key=note]").value = "";
  five[2].querySelector("[data-key=note]").value = "a\\u0007b";
  out.refusals.push(save());
  five[2].querySelector("[data-key=note]").value = "a\\u2028b\\u202ec";
  out.before = blobs.length;
  out.saved = save();
  out.fetched = performance.getEntriesByType("resource").length;
  out.focusable = rows().every(function (row) {
    return Array.from(row.querySelectorAll("input, a")).every(function (n) { return n.tabIndex === 0; });
  });
  out.named = Array.from(document.querySelectorAll("input, select")).every(function (node) {
    return node.labels && node.labels.length && node.labels[0].textContent.trim();
  });
  out.small = Array.from(document.querySelectorAll("tr[data-d] label, button, select")).filter(
    function (n) { var b = n.getBoundingClientRect(); return b.height && b.height < 24; }).length;
  out.ran = "broken" in window;
  blobs[0].text().then(function (text) {
    out.file = text;
    document.title = JSON.stringify(out).replace(/</g, "\\\\u003c");
  });
});
"""


def probed(text: str) -> str:
    names = f"var NAME = {json.dumps(HOSTILE[1])}, NOTE = {json.dumps('</x> ' + HOSTILE[3])};"
    return text.replace("</body>", f"<script>{names}{PROBE}</script></body>")


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    if CHROMIUM is None:
        pytest.skip("no `chromium` on the path")
    folder = tmp_path_factory.mktemp("review")
    (folder / "page.html").write_text(probed(PAGE), "utf-8")
    done = chromium(folder, "--window-size=1200,900", "--dump-dom",
                    (folder / "page.html").as_uri())
    assert [line for line in done.stderr.splitlines() if "CONSOLE" in line] == []
    found = re.search(r"<title>(\{.*?\})</title>", done.stdout, re.S)
    assert found, done.stdout[:500]
    from html import unescape

    return json.loads(unescape(found.group(1)))


@pytest.mark.browser
def test_filters_show_what_they_say(seen) -> None:
    assert seen["all"] == seen["again"] == len(DECISIONS) and seen["tools"] is True
    assert seen["verdict"] == [k for k, d in DECISIONS.items() if d.verdict == "not evaluated"]
    assert seen["weak"] == [k for k, d in DECISIONS.items() if WEAK & set(d.grounds)]
    assert 0 < len(seen["weak"]) < len(DECISIONS) and seen["chains"] > 0
    own = [d for d in DECISIONS.values() if seen["part"] in (d.part, *d.also)
           or d.part.startswith(f"{seen['part']}, ")]
    assert seen["parts"] == [f"{d.part}: {d.title}" for d in own]
    assert seen["none"] == 0


@pytest.mark.browser
def test_the_page_saves_no_mark_of_an_impossible_day(seen) -> None:
    """As the reader refuses it."""
    for said, words in zip(seen["days"], ("is before the year 2000", "lies in the future",
                                          "lies before 2026-11-24, the date of issue"),
                           strict=True):
        assert said.startswith("The date ") and words in said


def test_a_part_is_found_with_what_is_fitted_there() -> None:
    """The truck's main fuse is named: its checks stand under "Main fuse, Talvik ..."."""
    text = render(report("truck"), "html")
    number = re.search(r'<option value="(\d+)">Main fuse</option>', text)[1]
    rows = re.findall(r'<tr id="d-([^"]+)"[^>]* data-p=([\d|]+) ', text)
    found = {name for name, parts in rows if number in parts.split("|")}
    for d in known(example("truck")).values():
        if d.item == "main_fuse" or "Main fuse" in d.also:
            assert d.id in found, d.id
    assert len(found) > 15 and len(found) < len(rows)
    assert "part, verdict and standing do not" in text


def test_every_printed_sheet_names_its_version() -> None:
    brief = example("truck").brief
    for found in (report("truck"), review_document(example("truck"))):
        head = re.search(r'<div class="running"><p class="version">(.*?)</?p', render(
            found, "html"), re.S)[1]
        for words in (brief.digest, brief.date_of_issue, example("truck").layout.label):
            assert words in head
    how = render(review_document(example("truck")), "text")
    assert "the number of each line tells what was marked" in " ".join(how.split())


@browser
@pytest.mark.browser
def test_the_version_stands_on_every_printed_sheet(tmp_path) -> None:
    sheets = printed_pages(tmp_path, render(review_document(example("truck")), "html"))
    assert len(sheets) > 5
    assert all(example("truck").brief.digest in sheet for sheet in sheets)


@pytest.mark.browser
def test_search_looks_at_the_words_of_a_row(seen) -> None:
    assert set(seen["search"]) >= {k for k in DECISIONS if k.startswith("precharge.")}
    assert len(seen["search"]) < len(DECISIONS)
    assert seen["said"].startswith(f"{len(seen['search'])} of {len(DECISIONS)} decisions")


def test_search_does_not_look_at_the_words_of_the_buttons(seen) -> None:
    for words, found in zip(("reject", "not my field", "no mark", "change to"), seen["words"],
                            strict=True):
        assert found == [k for k, d in DECISIONS.items() if words in " ".join(
            (d.id, d.part, d.title, d.shown, d.verdict, d.basis, *d.also)).lower()]


@pytest.mark.browser
def test_a_link_opens_its_figure_even_when_filtered_away(seen) -> None:
    assert seen["linked"] is True


@pytest.mark.browser
def test_nothing_is_saved_that_says_nothing_clear(seen) -> None:
    words = ("Give your name", "Give the date", "Give the date", "Nothing is marked yet",
             "Line 2: say what", "Line 8 has words but no mark",
             "Line 3: what you wrote holds a character that no text may hold")
    assert all(said.startswith(word) or word in said
               for said, word in zip(seen["refusals"], words, strict=True))
    assert seen["before"] == 0


@pytest.mark.browser
def test_saved_marks_are_read_back_whole(seen) -> None:
    found = parse_json(seen["file"], "saved.json")
    assert [m.verdict for m in found.marks] == list(MARKS)
    assert [m.decision_id for m in found.marks] == list(DECISIONS)[:5]
    assert all(m.digest == DECISIONS[m.decision_id].digest for m in found.marks)
    also = ["; ".join(DECISIONS[m.decision_id].also) for m in found.marks]
    assert [m.also for m in found.marks] == also and any(also) and not all(also)
    first = found.marks[0]
    assert (first.name, first.scope, first.licence, first.date) == (
        HOSTILE[1], "electrical", "EL 1", "2026-11-24")
    assert found.marks[2].note == "a bc" and not found.cleaned  # the page cleaned it itself
    assert first.note == "</x> " + HOSTILE[3] and found.marks[1].change_to == "500 A"
    assert re.fullmatch(r"review-review-case-invented-[a-z0-9-]+-2026-11-24\.json", seen["name"])
    assert "5 marks saved" in seen["saved"]
    review = merge(study(), [found])
    assert [s.word for s in review.standings[:5]] == [
        "accepted", "change asked", "rejected", *["not checked by those who marked"] * 2]


@pytest.mark.browser
def test_saved_marks_carry_what_the_brief_said(seen) -> None:
    """By it a later void mark is told, see `review_since`; the page and the sheet say the same."""
    found = parse_json(seen["file"], "saved.json")
    known_entries = dict(entries_of(study().brief))
    saved = {key: bare(text) if key not in known_entries or "(" not in known_entries[key] else text
             for key, text in found.entries}
    assert {key: saved.get(key) for key in known_entries} == known_entries
    assert found.listed == list_digest(DECISIONS.values())
    assert found.shown[found.marks[0]]["figure"].split() == DECISIONS[
        found.marks[0].decision_id].shown.split()
    review = merge(study(charger__tolerance="2 %"), [found])
    told = [why for s in review.standings for _, why in review.why_void(s)]
    assert any("charger.tolerance was 1.000 % (given), is 2.000 % (given)" in w for w in told), told


@pytest.mark.browser
def test_controls_are_reached_named_and_large_enough(seen) -> None:
    assert seen["focusable"] is True and seen["named"] is True
    assert seen["small"] == 0  # WCAG 2.2, 2.5.8 target size: 24 by 24 CSS pixels
    assert seen["fetched"] == 0 and seen["ran"] is False


PHONE = """
addEventListener("load", function () {
  var width = document.documentElement.clientWidth;
  var beyond = Array.from(document.querySelectorAll("body *")).filter(function (node) {
    var box = node.getBoundingClientRect();
    return box.width && box.right > width + 0.5 && !node.closest(".scroll, .skip");
  }).map(function (node) { return node.tagName + " " + node.className; });
  var cells = document.querySelector("tr[data-d]").cells;
  document.title = JSON.stringify({ width: width, beyond: beyond.slice(0, 9),
    scroll: document.documentElement.scrollWidth,
    heads: Array.from(cells).map(function (c) { return getComputedStyle(c, "::before").content; }) });
});
"""


@pytest.mark.browser
@browser
def test_a_phone_shows_the_decisions_without_sideways_scrolling(tmp_path: Path) -> None:
    text = PAGE.replace("</body>", f"<script>{PHONE}</script></body>")
    (tmp_path / "page.html").write_text(text, "utf-8")
    (tmp_path / "frame.html").write_text(
        '<!DOCTYPE html><title></title><iframe id="f" width="360" height="800" style="border:0" '
        'src="page.html"></iframe><script>setInterval(function () { document.title = '
        "document.getElementById('f').contentDocument.title; }, 50)</script>", "utf-8")
    done = chromium(tmp_path, "--allow-file-access-from-files", "--window-size=1400,900",
                    "--dump-dom", (tmp_path / "frame.html").as_uri())
    found = re.search(r"<title>(\{.*?\})</title>", done.stdout)
    assert found
    seen = json.loads(found.group(1))
    assert seen["width"] <= 360 and seen["beyond"] == [] and seen["scroll"] == seen["width"]
    assert [h.strip('"') for h in seen["heads"]] == list(DECISION_HEADS)


@pytest.mark.browser
@browser
@pytest.mark.parametrize("scripts", ["on", "off"])
def test_paper_has_boxes_signatures_and_cautions(tmp_path: Path, scripts: str) -> None:
    from packcalc.report.review_report import review_document

    text = render(review_document(study()), "html")
    if scripts == "off":
        text = re.sub(r"<script>.*?</script>", "", text, flags=re.S)
    else:  # a filter that is left on hides nothing on paper
        text = text.replace("</body>", '<script>document.getElementById("search").value = "zz";'
                            'document.getElementById("search").dispatchEvent(new Event("input"));'
                            "</script></body>")
    pages = printed_pages(tmp_path, text)
    assert all(SHORT in page for page in pages)
    assert all(re.search(rf"\b{n} ?/ ?{len(pages)}$", p) for n, p in enumerate(pages, 1))
    whole = " ".join(pages)
    assert whole.count("not my field") >= len(DECISIONS)
    assert "What I did not check" in whole and "Structural engineer" in whole
    assert "Save the marks" not in whole


@pytest.mark.browser
@browser
def test_contrast_of_the_page_with_its_controls(tmp_path: Path) -> None:
    from tests.report.test_browser import PROBE as CONTRAST

    (tmp_path / "page.html").write_text(
        PAGE.replace("</body>", f"<script>{CONTRAST}</script></body>"), "utf-8")
    done = chromium(tmp_path, "--dump-dom", (tmp_path / "page.html").as_uri())
    found = re.search(r"<title>(\{.*?\})</title>", done.stdout)
    assert found
    seen = json.loads(found.group(1))
    assert seen["texts"] > 1000 and seen["least"] >= 4.5  # WCAG 2.2, 1.4.3, level AA
    assert seen["reachable"] is True and seen["open"] == seen["chains"] and seen["fetched"] == 0
