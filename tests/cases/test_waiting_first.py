"""The open line of the brief for which most checks wait stands first.

One line left out of a brief turned dozens of passes into "not evaluated", and page one only
counted them: nobody saw which line to find first. Changed figures of the example are invented.
"""

from __future__ import annotations

import tomllib

import pytest

from packcalc.checks import NOT_EVALUATED, Check
from packcalc.decisions import CHECK, Decision, Waiting, decisions, waiting
from packcalc.findings import Origin, leaf
from packcalc.next_steps import find_next
from packcalc.report.compose import protection_document, report_document
from packcalc.report.brief_report import wait
from packcalc.report.render import render
from tests.cases.studies import ROOT, study

pytestmark = pytest.mark.thorough
SOLE = [{"path__link_resistance": None}, {"path__fuse_resistance": None},
        {"path__contactor_resistance": None}, {"path__string_cable_length": None}]


def waits(made):
    """What waits for which entry of a study."""
    return waiting(decisions(made), made.brief)


def line(words: str, item: str = "", check: Check | None = None) -> Decision:
    """A check that is not evaluated, in these words."""
    return Decision("x.y", "x", "y", "fault range", NOT_EVALUATED, words, "given", "-", item=item,
                    kind=CHECK, check=check)


@pytest.mark.parametrize("gone", SOLE, ids=lambda gone: next(iter(gone)))
def test_the_line_left_out_is_the_first_to_give(gone):
    made = study("truck", **gone)
    dotted = next(iter(gone)).replace("__", ".")
    first = waits(made)[0]
    assert first.entry == dotted and first.places >= 10
    # the words of nearly all checks that were lost name it; the choices of parts sum them up
    before = {d.id for d in decisions(study("truck")) if d.verdict == NOT_EVALUATED}
    lost = [d for d in decisions(made) if d.kind == CHECK and d.verdict == NOT_EVALUATED
            and d.id not in before]
    # and of those that something else keeps open as well
    also = [d for d in decisions(made) if d.kind == CHECK and d.verdict == NOT_EVALUATED
            and d.id in before and dotted in d.shown]
    assert 0.75 * len(lost) <= first.checks - first.failed <= len(lost) + len(also)
    told = f"Give {dotted} in the brief first: {wait(first.checks, first.failed)}"
    for document in (protection_document(made, chains=False), report_document(made)):
        page = next(s for s in document.sections if s.key == "first")
        assert any(told in str(block) for block in page.blocks)
    assert find_next(made.brief, made.layout, {w.entry: w.checks for w in waits(made)})[
        0].unknown.dotted == dotted


def test_an_open_length_of_the_traction_cable_is_named_and_not_another():
    data = tomllib.loads((ROOT / "examples" / "truck" / "brief.toml").read_text("utf-8"))
    made = study("truck", cables__route=[
        {**route, "length": "unknown"} if route["carries"] == "traction" else route
        for route in data["cables"]["route"]])
    first, *others = waits(made)
    assert first.entry == "cables.route[0].length" and first.checks > 40
    assert not any("length" in one.entry and "route" in one.entry for one in others)


def test_a_line_that_is_given_is_asked_for_no_more():
    made = study("truck")
    assert not {w.entry for w in waits(made)} & {"path.link_resistance", "path.fuse_resistance"}
    assert {w.entry for w in waits(made)} <= {u.dotted for u in made.brief.unknowns}


def test_where_nobody_is_shown_to_end_a_fault_comes_before_what_more_checks_wait_for():
    brief = study("truck", path__link_resistance=None).brief
    lines = [line("say path.charge_difference") for _ in range(3)]
    lines.append(line("path.link_resistance: left open", "place"))
    assert waiting(lines, brief) == (Waiting("path.link_resistance", 1, 1),
                                     Waiting("path.charge_difference", 3, 0))


def test_an_entry_is_named_as_a_whole_only():
    brief = study("truck", path__link_resistance=None).brief
    for words in ("path.link_resistance_of_another", "x.path.link_resistance", "link_resistance"):
        assert waiting([line(words)], brief) == ()
    for words in ("say path.link_resistance.", "path.link_resistance: 0.2 mΩ"):
        assert [w.entry for w in waiting([line(words)], brief)] == ["path.link_resistance"]


def test_a_check_whose_own_figure_has_no_value_waits_for_it():
    brief = study("truck", management__crash_open_time=None).brief
    blank = leaf("time", "t", "s", None, "assumed",
                 origin=Origin("brief.toml", 0, "management.crash_open_time", "unknown"))
    held = Check("y", "fault range", NOT_EVALUATED, blank, None)
    assert waiting([line("", check=held)], brief) == (
        Waiting("management.crash_open_time", 1, 0),)


def test_page_one_fits_a_terminal_and_says_it_once():
    text = render(protection_document(study("truck", path__link_resistance=None), chains=False),
                  "text")
    assert text.count("in the brief first") == 1
    first = text[:text.index("in the brief first")].count("\n")
    assert first < 60 and all(len(row) <= 80 for row in text.splitlines()[:first + 3])
