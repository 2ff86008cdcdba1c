"""Marks that were swallowed: of the bench, of lost passes, of other arrangements, of spellings."""

from __future__ import annotations

import csv
import functools
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

import packcalc
from packcalc import api
from packcalc.checks import FAIL, NOT_EVALUATED, PASS, Check
from packcalc.decisions import BENCH, MOST_GRAVE, decisions, missed_by
from packcalc.difference import difference
from packcalc.errors import InputErrors
from packcalc.findings import leaf
from packcalc.measured import GROWTH
from packcalc.marks import ACCEPTED, CHANGE, REJECT, REJECTED, SPELLED, VOID, signed
from packcalc.report.compose import report_document
from packcalc.report.data import as_dict
from packcalc.report.render import render
from packcalc.report.review_report import review_document
from packcalc.review import as_csv, as_json, blank_file, check_review, layout_of, parse_csv, \
    parse_json
from packcalc.review_change import recheck
from packcalc.review_merge import merge
from tests.briefs import EXAMPLES
from tests.cli.runner import GOOD, run
from tests.review.cases import file, known, mark, study
from tests.sized import example

pytestmark = pytest.mark.thorough

DECISIONS = known(study())
FUSE = DECISIONS["main_fuse.choice"]
TRUCK = Path("examples/truck")


# -- what the bench gives is decided, and its marks hang on its rows ------------------------------


@pytest.fixture(scope="module")
def benched(tmp_path_factory):
    """The truck beside a bench sheet of which cells can be changed: column by mark."""
    @functools.lru_cache(maxsize=None)
    def sized(*changes: tuple[str, str, float]):
        folder = tmp_path_factory.mktemp("bench") / "truck"
        folder.mkdir()
        (folder.parent / "parts.csv").write_bytes(Path("examples/parts.csv").read_bytes())
        (folder / "brief.toml").write_bytes((TRUCK / "brief.toml").read_bytes())
        rows = list(csv.reader(io.StringIO((TRUCK / "bench.csv").read_text("utf-8"))))
        head = next(row for row in rows if row[0] == "mark")
        for row in rows[rows.index(head) + 1:]:
            for which, column, factor in changes:
                if which in ("", row[0]):
                    at = head.index(column)
                    row[at] = f"{float(row[at]) * factor:.4g}"
        with (folder / "bench.csv").open("w", encoding="utf-8", newline="") as out:
            csv.writer(out).writerows(rows)
        found = packcalc.size_protection(packcalc.read_brief(folder / "brief.toml"))
        return found, api.bench_of(found), folder / "brief.toml"
    return sized


def all_accepted(benched):
    sized, bench, _ = benched()
    return file(sized, *(mark(d) for d in decisions(sized, bench)))


def test_what_the_bench_gives_is_decided(benched) -> None:
    sized, bench, _ = benched()
    found = [d for d in decisions(sized, bench) if d.item == BENCH]
    shown = [d.shown for d in found]
    assert any(c.reason in words for c in bench.checks for words in shown if c.reason)
    growth = next(d for d in found if d.title == GROWTH)
    assert bench.by_brief.shown in growth.shown and sized.faults.lowest.shown in growth.shown
    assert bench.by_brief.number > sized.faults.lowest.number
    assert {c.title for c in (*bench.checks, *bench.dealt)} <= {d.title for d in found}
    ids = [d.id for d in decisions(sized, bench)]
    lowest = next(d for d in decisions(sized, bench) if d.id == "main_fuse.lowest-fault-current")
    assert lowest.shown == sized.faults.lowest.shown and ids.index(lowest.id) < MOST_GRAVE
    for text in (as_csv(sized, (), (), bench),
                 render(review_document(sized, bench=bench), "text"),
                 render(api.report_document(sized), "text")):
        assert growth.id.split(".")[1] in text.replace("\n", "") or growth.title in text


@pytest.mark.parametrize("changes", [(("", "capacity_Ah", 0.93),), (("M13", "resistance_mohm",
                                                                    1.02),)])
def test_changed_rows_void_the_marks_on_what_stands_on_them_alone(benched, changes) -> None:
    sized, bench, _ = benched(*changes)
    found = merge(sized, [all_accepted(benched)], bench)
    void = [s.decision for s in found.standings if s.word == VOID]
    assert not found.gone and any(d.item == BENCH for d in void)
    # M13 is the worst module of the pack: the file counts its growth and its capacity for all.
    symbol = {"capacity_Ah": "SOH", "resistance_mohm": "f_age"}[changes[0][1]]
    voided, by_id = {d.id for d in void}, {s.decision.id: s.decision for s in found.standings}
    assert all(s.word == ACCEPTED for s in found.standings if s.decision.id not in voided)
    for name in ("main_fuse.lowest-fault-current", "insulation.highest-fault-current-pack-alone"):
        counts = any(f.symbol == symbol for f in by_id[name].finding.walk())
        assert (name in voided) == counts == (symbol == "f_age" and "lowest" in name)
    weakest = next(d for d in decisions(sized, bench) if "state-of-health" in d.id)
    assert (weakest in void) == (changes[0][1] == "capacity_Ah")


def test_the_same_rows_keep_every_mark(benched) -> None:
    sized, bench, _ = benched()
    found = merge(sized, [all_accepted(benched)], bench)
    assert found.count(ACCEPTED) == len(found.standings)


def test_a_module_too_bad_to_deal_leaves_no_mark_on_the_deal(benched) -> None:
    """M13 at 3.557 mΩ is left out, and the layout can no longer be dealt: that is told."""
    sized, bench, _ = benched(("M13", "resistance_mohm", 3.557 / 2.557))
    found = merge(sized, [all_accepted(benched)], bench)
    assert found.count(VOID) and found.gone
    # the worst of all measured modules counts: no pair of fuse and contactor stands forward then
    (pair,) = [i for i in sized.items if i.key == "coordination"]
    assert pair.candidates and not pair.shortlist
    assert all(m.decision_id.startswith(("bench.", "coordination.")) for m in found.gone)
    (filled,) = [s for s in found.standings if s.decision.id.startswith("bench.modules-on")]
    assert filled.word != ACCEPTED and filled.decision.verdict == NOT_EVALUATED


def test_a_pack_that_fails_as_dealt_ends_in_no(benched) -> None:
    """README: 60 kWh are asked for by the truck's brief (invented)."""
    _, _, brief = benched(("", "capacity_Ah", 0.93))
    for command in ("report", "review"):
        ran = run(command, brief, "--format", "json")
        assert ran.code == 1 and "usable energy at least the target" in ran.lines[-1]


def test_a_change_of_a_bench_figure_says_where_it_comes_from(benched) -> None:
    sized, bench, _ = benched()
    lowest = next(d for d in decisions(sized, bench) if d.item == BENCH)
    found = recheck(sized, lowest, "700 A")
    assert not found.understood and "follows from the bench sheet" in found.words


# -- a change that loses what was shown -----------------------------------------------------------


def truck():
    return example("truck")


@pytest.mark.parametrize("words", ["0.4 kA", "380 A", "400 A"])
def test_a_fuse_is_judged_alike_however_it_is_said(words) -> None:
    found, listed = (recheck(truck(), known(truck())["main_fuse.choice"], w)
                     for w in (words, "400 A"))
    assert found.breaks == listed.breaks and len(found.lost) == len(listed.lost)
    # the path itself is a caution beside places that nobody opens; what it opened is lost here
    hole = next(w for w in found.lost if "far end of the cable battery to inverter" in w)
    assert "(not evaluated, was pass)" in hole
    assert found.words.index(hole) < found.words.index("Elsewhere it makes")
    # what nobody clears leaves the pair's heat not evaluated, with and without the change
    asks = "no check fails; what was not evaluated stays a question"
    assert found.words.count("no check fails") == found.words.count(asks) == 2


def test_a_pass_that_is_lost_counts_and_stands_on_the_first_screen(tmp_path) -> None:
    choice = next(d for d in known(truck()).values() if d.id == "connectors.choice")
    found = merge(truck(), [file(truck(), mark(choice, CHANGE, change_to="480 A"))])
    (one,) = found.rechecks
    assert one.lost and not one.breaks
    (row,) = as_dict(report_document(truck(), review=found))["review_changes"]
    assert row["result"] == "loses what was shown"
    text = render(report_document(truck(), review=found), "text")
    first = " ".join(text[:text.index("Decisions for the reviewer")].split())
    assert "changed to 480 A" in first and "that passed and are no longer shown" in first


@pytest.mark.parametrize(("words", "asked"), [("255 A", "250 A"), ("0.25 kA", "250 A")])
def test_a_rating_that_is_not_listed_is_held_against_todays_cable(words, asked) -> None:
    found, listed = (recheck(study(), FUSE, w) for w in (words, asked))
    assert found.breaks and listed.breaks
    for one in (found, listed):
        assert "Rated current within the cable's capacity" in [
            c.title for c in one.checks if c.verdict == FAIL]


def test_a_figure_names_each_check_with_its_verdict_before_and_after() -> None:
    lowest = known(truck())["main_fuse.lowest-fault-current"]
    found = recheck(truck(), lowest, "800 A")
    assert found.understood and found.checks
    for check in found.checks:
        was = {d.check.verdict for d in decisions(truck()) if d.check is not None
               and d.check.title == check.title}
        assert any(f"{check.title}: {check.verdict}, was {one}" in found.words for one in was)
    unused = known(truck())["main_fuse.choice"].rests_on[0]
    alone = replace(lowest, finding=replace(unused, title="by itself", value=unused.number * 1.01))
    assert "cannot be checked: no check holds" in recheck(truck(), alone, f"1 {unused.unit}").words


# -- rejected, and the exit line ------------------------------------------------------------------


def test_a_rejected_decision_stands_on_the_first_screen() -> None:
    one = DECISIONS["contactors.choice"]
    given = [file(study(), mark(one, REJECT, note="too small for me")),
             file(study(), mark(one, name="B. Other"))]
    for files in (given[:1], given):  # also where another reviewer says otherwise
        found = merge(study(), files)
        text = render(report_document(study(), review=found), "text")
        first = " ".join(text[:text.index("Decisions for the reviewer")].split())
        screen = first[:first.index("What the reviewers marked")]
        assert f"Rejected: {one.part}: {one.title}" in screen and "too small for me" in screen
    assert merge(study(), given[:1]).count(REJECTED) == 1


def test_the_exit_line_counts_every_reason_the_gravest_first(tmp_path) -> None:
    brief, marks = tmp_path / "brief.toml", tmp_path / "marks.json"
    brief.write_text(GOOD, "utf-8")
    sized = packcalc.size_protection(packcalc.read_brief(brief))
    of = known(sized)
    marks.write_text(as_json(replace(blank_file(sized), marks=(
        mark(of["precharge.choice"], REJECT),
        mark(of["main_fuse.choice"], CHANGE, change_to="1250 A"),
        mark(of["contactors.choice"], CHANGE, change_to="something bigger"),
        mark(next(d for k, d in of.items() if k.startswith("cable.") and k.endswith(".choice")),
             CHANGE, change_to="something better")))), "utf-8")
    ran = run("report", brief, "--review", marks, "--out", tmp_path / "page.txt")
    line = ran.lines[-1]
    words = ["1 decision is rejected: precharge.choice",
             "1 change that was asked for breaks something: main_fuse.choice",
             "2 changes that were asked for could not be checked: "]
    assert ran.code == 1 and [line.index(w) for w in words] == sorted(line.index(w) for w in words)


def test_void_marks_are_told(tmp_path) -> None:
    brief, marks = tmp_path / "brief.toml", tmp_path / "marks.json"
    brief.write_text(GOOD, "utf-8")
    sized = packcalc.size_protection(packcalc.read_brief(brief))
    marks.write_text(as_json(replace(blank_file(sized), marks=(
        mark(known(sized)["main_fuse.choice"]),))), "utf-8")
    brief.write_text(GOOD.replace('"30 kW"', '"32 kW"'), "utf-8")
    ran = run("report", brief, "--review", marks, "--out", tmp_path / "page.txt")
    assert any("1 mark is void" in line for line in ran.lines)


# -- which arrangement a file is of ---------------------------------------------------------------


def minibus(arrangement: str):
    return example("minibus", "12S2P", arrangement)


def test_a_sheet_of_the_other_arrangement_is_told_in_one_line() -> None:
    strings, grouped = minibus("strings"), minibus("grouped")
    marks = [mark(d) for d in decisions(strings) if "string" in d.id]
    with pytest.raises(InputErrors) as caught:
        check_review(parse_csv(as_csv(strings, marks), "m.csv"), grouped)
    (line,) = str(caught.value).splitlines()
    assert "is for 12S2P strings (1), and this is 12S2P grouped (1)" in line
    assert "repeat --layout 12S2P --arrangement strings --module 1" in line


def test_an_older_sheet_without_the_arrangement_is_told_in_one_line_too() -> None:
    strings, grouped = minibus("strings"), minibus("grouped")
    marks = [mark(d) for d in decisions(strings) if "string" in d.id]
    older = replace(file(strings, *marks), layout="12S2P")
    with pytest.raises(InputErrors) as caught:
        check_review(older, grouped)
    (line,) = str(caught.value).splitlines()
    assert "repeat --arrangement or --module" in line
    check_review(older, strings)


def test_forms_carry_the_arrangement_and_are_told_in_one_line(tmp_path) -> None:
    brief = "examples/minibus/brief.toml"
    for command, option in (("commission", "--readings"), ("build", "--as-built")):
        form = tmp_path / f"{command}.csv"
        run(command, brief, "--layout", "12S2P", "--arrangement", "strings", "--form", form)
        assert "12S2P strings (1)" in form.read_text("utf-8")
        ran = run(command, brief, "--layout", "12S2P", "--arrangement", "grouped", option, form,
                  "--out", tmp_path / "page.txt")
        assert ran.code == 2 and len(ran.lines) == 2
        assert "12S2P strings (1)" in ran.lines[0] and "--arrangement" in ran.lines[0]


def test_layout_of_names_arrangement_and_modules() -> None:
    assert re.fullmatch(r"\d+S\d+P (grouped|strings) \(1\)", layout_of(study()))


def test_the_sheet_takes_two_module_types(tmp_path) -> None:
    brief = tmp_path / "mix.toml"
    start, end = GOOD.index("[[modules]]"), GOOD.index("[inverter]")
    entry = GOOD[start:end]
    second = entry.replace("count = 18", "count = 9")
    brief.write_text('mix = "series"\n' + GOOD[:start] + entry + second + GOOD[end:]
                     if "mix" not in GOOD else GOOD, "utf-8")
    report, review = (run(c, brief, "--module", "1,2", "--out", tmp_path / f"{c}.txt")
                      for c in ("report", "review"))
    assert review.code == report.code and review.code in (0, 1), review.lines
    assert not any("valid integer" in line for line in review.lines)


# -- order of consequence -------------------------------------------------------------------------


@pytest.mark.parametrize("brief", EXAMPLES, ids=lambda p: p.parent.name)
def test_what_passes_comes_after_what_can_kill_and_is_not_met(brief) -> None:
    found = decisions(example(brief.parent.name))
    unmet = [n for n, d in enumerate(found) if d.verdict == NOT_EVALUATED and d.stage in (
        "highest voltage", "isolation and distance", "fault range", "who clears")]
    passed = [n for n, d in enumerate(found) if d.verdict == PASS]
    assert max(unmet) < min(passed)


@pytest.mark.parametrize(("name", "more"), [("truck", {}), ("van", {}), (
    "minibus", {"layout": "12S2P", "arrangement": "strings"})])
def test_the_arc_and_the_crash_state_are_among_the_gravest(name, more) -> None:
    found = decisions(example(name, **more))
    first = {d.id: d for d in found[:MOST_GRAVE]}
    for words in ("worst-arc-anywhere", "link-is-below-60-v-in-time-after-a-crash"):
        (one,) = [d for d in found if words in d.id]
        if one.verdict != PASS and missed_by(one.check) > 10.0:
            assert one.id in first
    assert not any(d.verdict == PASS for d in first.values())
    met = [d for d in first.values() if d.check is not None and missed_by(d.check) == 0.0]
    assert met == []


@pytest.mark.parametrize(("figure", "demand", "relation", "times"), [
    (54.0, 1.2, "at most", 45.0), (1.0, 4.0, "at least", 4.0), (1.0, 2.0, "at most", 0.0),
    (2.0, 2.0, "at most", 0.0), (0.0, 2.0, "at least", 1.0)])
def test_by_how_many_times_a_demand_is_missed(figure, demand, relation, times) -> None:
    check = Check("t", "who clears", "caution", leaf("f", "f", "A", figure, "given"),
                  leaf("d", "d", "A", demand, "given"), relation)
    assert missed_by(check) == pytest.approx(times)
    assert missed_by(Check("t", "who clears", "caution", reason="nobody")) == 1.0


# -- marks as printed, digests and dates of a spreadsheet ------------------------------------------


def sheet(*marks, **cells: str) -> str:
    rows = list(csv.reader(io.StringIO(as_csv(study(), marks))))
    head = rows[0]
    for row in rows[1:]:
        if row[head.index("mark")]:
            for key, value in cells.items():
                row[head.index(key)] = value
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


@pytest.mark.parametrize("words", ["change to", "Change to", "CHANGE", " change  TO "])
def test_a_mark_is_taken_as_it_is_printed(words) -> None:
    given = mark(FUSE, CHANGE, change_to="250 A")
    assert parse_csv(sheet(given, mark=words), "m.csv").marks == (given,)


def test_the_words_of_a_mark_stand_in_the_sheet_and_in_the_message(tmp_path) -> None:
    brief, out = tmp_path / "brief.toml", tmp_path / "review.csv"
    brief.write_text(GOOD, "utf-8")
    run("review", brief, "--out", out)
    assert f"# Marks, in the column mark: {', '.join(SPELLED)};" in out.read_text("utf-8")
    assert parse_csv(out.read_text("utf-8"), "review.csv").marks == ()
    with pytest.raises(InputErrors, match="one of accept, change to, reject, not checked"):
        parse_csv(sheet(mark(FUSE), mark="ok"), "m.csv")
    for words in SPELLED:
        assert words in " ".join(Path("README.md").read_text("utf-8").split())


def test_no_digest_is_a_number_to_a_spreadsheet() -> None:
    found = [d.digest for d in DECISIONS.values()] + [study().brief.digest]
    for digest in found:
        with pytest.raises(ValueError):
            float(digest)
        assert digest[0] == "k"


def test_digests_of_the_first_version_are_read() -> None:
    given = mark(FUSE)
    old = json.loads(as_json(file(study(), given)))
    old["marks"][0]["digest"] = given.digest[1:]
    old["input_digest"] = study().brief.digest[1:]
    again = parse_json(json.dumps(old), "m.json")
    assert again.marks == (given,) and again.input_digest == study().brief.digest
    assert parse_csv(sheet(given, digest=given.digest[1:]), "m.csv").marks == (given,)
    report = as_dict(report_document(study()))
    older = json.loads(json.dumps(report).replace('"k', '"'))
    found = difference(older, report)
    assert not found.decisions and signed("abc") == "abc"


@pytest.mark.parametrize(("cells", "words"), [
    ({"date": "25.11.2026"}, "'25.11.2026' is no date, and 3 further rows like it; a spreadsheet "
                             "rewrote the column date"),
    ({"digest": "9.24E+11"}, "is no digest of k and twelve hexadecimal digits, and 3 further rows "
                             "like it; a spreadsheet rewrote the column digest")])
def test_a_column_that_a_spreadsheet_rewrote_is_told_in_one_line(cells, words) -> None:
    marks = [mark(d) for d in list(DECISIONS.values())[:4]]
    with pytest.raises(InputErrors) as caught:
        parse_csv(sheet(*marks, **cells), "m.csv")
    (line,) = str(caught.value).splitlines()
    assert words in line and "set that column to text" in line


def test_one_date_that_is_none_says_that_the_column_must_be_text() -> None:
    with pytest.raises(InputErrors, match="'11/25/2026' is no date; write the day .* set to text"):
        parse_csv(sheet(mark(FUSE), date="11/25/2026"), "m.csv")


# -- exit codes -----------------------------------------------------------------------------------


def test_the_starter_brief_ends_alike_on_every_page(tmp_path) -> None:
    run("new", tmp_path / "pack")
    brief = tmp_path / "pack" / "brief.toml"
    codes = {c: run(c, brief, "--out", tmp_path / f"{c}.txt").code
             for c in ("report", "build", "certify", "review")}
    assert len(set(codes.values())) == 1, codes
