"""What the first version of the review swallowed: words changed, rows lost, cells written in."""

from __future__ import annotations

import csv
import functools
import io
import json
import re
import tomllib
from datetime import date
from pathlib import Path

import pytest

import packcalc
from packcalc import review as review_module
from packcalc.brief_keys import KEYS
from packcalc.checks import FAIL
from packcalc.decisions import FIGURE, RESTS_ON_WORDS, decisions, entries_under
from packcalc.difference import CHANGED, difference
from packcalc.errors import InputErrors
from packcalc.marks import ACCEPTED, NOT_MARKED, VOID
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.compose import report_document
from packcalc.report.data import as_dict
from packcalc.report.difference_report import difference_document
from packcalc.report.render import render
from packcalc.review import as_csv, check_review, parse_csv, read_review
from packcalc.review_change import recheck
from packcalc.review_merge import merge
from tests.cli.runner import GOOD, run
from tests.review.cases import file, known, mark, study

pytestmark = pytest.mark.thorough

TRUCK = Path("examples/truck/brief.toml")
DECISIONS = known(study())


@functools.lru_cache(maxsize=None)
def truck(*changes: tuple[str, str, str]):
    """The truck with words changed: (section, entry, word); the first entry of that name."""
    text = TRUCK.read_text("utf-8")
    for section, entry, word in changes:
        at = text.index(f"[{section}]")
        changed = re.sub(rf'(?m)^{entry} = "[^"]*"', f'{entry} = "{word}"', text[at:], count=1)
        text = text[:at] + changed
    return packcalc.size_protection(brief_from_data(tomllib.loads(text), str(TRUCK), text))


@functools.lru_cache(maxsize=None)
def page(*changes: tuple[str, str, str]):
    """The file for review of that truck, as data."""
    return as_dict(report_document(truck(*changes)))


WORDS = [("regeneration", "follows_charge_limit", "no"), ("path", "insulation_monitor", "warns"),
         ("path", "charge_contactor", "none"), ("path", "main_fuse", "both poles"),
         ("management", "monitor_order", "runs on across links"),
         ("management", "sense_fuse", "no"), ("[branch]", "fused_poles", "one")]
RESTS = {"follows_charge_limit": {"management.trip-of-the-braking-current-follows-the-cells-"
                                  "charge-limit"},
         "insulation_monitor": {"place.chassis-first",
                                "insulation.isolation-monitor-opens-contactors-no-later-than-at-"
                                "100-v"},
         "charge_contactor": {"switching.charge-inlet-is-dead-in-every-state-but-charge"},
         "main_fuse": {"main_fuse.choice"},
         "monitor_order": {"management.no-monitor-across-a-bolted-link"},
         "sense_fuse": {"management.a-fuse-at-the-cell-end-of-each-sense-wire"},
         "fused_poles": {"branch.dc-dc-converter.fuse-in-both-poles"}}


# -- words of the brief: marks and differences --------------------------------------------------


@pytest.mark.parametrize("change", WORDS, ids=lambda c: c[1])
def test_a_changed_word_voids_what_rests_on_it_and_leaves_the_rest(change) -> None:
    before, after = known(truck()), truck(change)
    found = merge(after, [file(truck(), *(mark(d) for d in before.values()))])
    void = {s.decision.id for s in found.standings if s.word == VOID}
    assert RESTS[change[1]] <= void
    assert found.count(ACCEPTED) > len(before) * 0.85
    figures = {d.id for d in decisions(after) if d.kind == FIGURE and d.id in void}
    assert len(figures) < 12  # a figure goes void by its chain alone


def test_every_check_of_a_branch_rests_on_the_name_of_its_fuse() -> None:
    brief, found = truck().brief, known(truck())
    for number, branch in enumerate(brief.branch):
        mine = [d for d in found.values() if d.item == f"branch.{branch.name}" and d.kind != FIGURE]
        assert not branch.fuse_part or mine and all(
            f"branch[{number}].fuse_part" in entries_under(d, brief) for d in mine)


@pytest.mark.parametrize("change", WORDS, ids=lambda c: c[1])
def test_equal_digests_mean_equal_words_on_the_page(change) -> None:
    old, new = page(), page(change)
    rows = [{r["decision"]: r for t in ("decisions_grave", "decisions_rest") for r in d[t]}
            for d in (old, new)]
    for name in rows[0].keys() & rows[1].keys():
        one, other = rows[0][name], rows[1][name]
        if one["digest"] == other["digest"]:
            assert [one[k] for k in ("what", "verdict", "figure", "basis")] == [
                other[k] for k in ("what", "verdict", "figure", "basis")]
    places = [{p.key: p for p in s.circuit.places} for s in (truck(), truck(change))]
    digests = [known(s) for s in (truck(), truck(change))]
    for key in places[0].keys() & places[1].keys():
        one, other = places[0][key], places[1][key]
        name = next(i for i, d in digests[0].items() if d.title.endswith(one.title)
                    and d.item == "place")
        if name in digests[1] and digests[0][name].digest == digests[1][name].digest:
            assert (one.loop.notes, one.remedies, [o.words for o in one.others]) == (
                other.loop.notes, other.remedies, [o.words for o in other.others])


@pytest.mark.parametrize("change", WORDS, ids=lambda c: c[1])
def test_diff_names_the_changed_word(change) -> None:
    found = difference(page(), page(change))
    changed = [c for c in found.inputs if c.key.endswith(change[1])]
    assert len(changed) == 1 and changed[0].kind == CHANGED and change[2] in changed[0].after
    assert not found.nothing and {c.key for c in found.decisions} >= RESTS[change[1]]


def test_every_entry_of_the_format_that_is_words_is_in_the_table() -> None:
    given = {r["entry"] for r in as_dict(report_document(truck()))["inputs"]}
    plain = {re.sub(r"\[\d+\]", "", g) for g in given}
    wanted = {k.dotted for k in KEYS if k.choices}
    assert wanted <= plain | {"mix", "arrangement"}


# Words that a figure carries into the chains: material constants, table rows, rule sets.
IN_CHAINS = {"path.link_material", "insulation.material_group", "insulation.overvoltage_category",
             "cables.rules", "cables.route.install"}


def test_every_entry_that_is_words_is_counted_somewhere() -> None:
    words = {k.dotted for k in KEYS if k.choices}
    assert words - IN_CHAINS <= set(RESTS_ON_WORDS)
    assert not IN_CHAINS & set(RESTS_ON_WORDS)


@pytest.mark.parametrize(("section", "entry", "word"), [
    ("path", "link_material", "aluminium"), ("insulation", "material_group", "II"),
    ("insulation", "overvoltage_category", "III"), ("cables", "rules", "NFPA 70"),
    ("[cables.route]", "install", "conduit")])
def test_words_in_chains_move_digests(section, entry, word) -> None:
    before, after = known(truck()), known(truck((section, entry, word)))
    moved = {k for k in before.keys() & after.keys() if before[k].digest != after[k].digest}
    assert moved and len(moved) < len(before) / 4


def test_digests_that_differ_are_told_although_nothing_else_does() -> None:
    old = as_dict(report_document(truck()))
    new = {**old, "meta": {**old["meta"], "input_digest": "another"}}
    found = difference(old, new)
    assert found.nothing and not found.same_input
    words = " ".join(render(difference_document(found), "text").split())
    assert "digests of the input differ" in words and "Nothing differs" not in words


# -- sheets that were cut, or written in ---------------------------------------------------------


def sheet(marks=()) -> list[list[str]]:
    return list(csv.reader(io.StringIO(as_csv(study(), marks))))


def text_of(rows) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


@pytest.mark.parametrize("kept", [2, 10, len(DECISIONS) - 1])
def test_a_sheet_cut_at_a_rows_end_is_refused_with_what_is_missing(kept) -> None:
    with pytest.raises(InputErrors, match=f"rows of {kept} of {len(DECISIONS)} decisions, "
                                          f"first no. {kept + 1}; is the file whole"):
        parse_csv(text_of(sheet()[:kept + 1]), "marks.csv")


def test_a_row_taken_out_of_the_middle_is_missed() -> None:
    rows = sheet()
    with pytest.raises(InputErrors, match="first no. 7"):
        parse_csv(text_of(rows[:7] + rows[8:]), "marks.csv")


def test_rows_in_another_order_are_whole() -> None:
    rows = sheet([mark(next(iter(DECISIONS.values())))])
    found = parse_csv(text_of([rows[0], *reversed(rows[1:])]), "marks.csv")
    assert len(found.marks) == 1 and len(found.rows) == len(DECISIONS)


def test_a_sheet_without_the_count_is_held_against_the_design() -> None:
    rows = [[c for n, c in enumerate(row) if n != 1] for row in sheet()]  # as older ones were
    with pytest.raises(InputErrors, match="has no row of .* first no. 6"):
        check_review(parse_csv(text_of(rows[:6]), "marks.csv"), study())


def test_a_whole_sheet_of_fewer_decisions_is_an_older_version_of_the_tool() -> None:
    first = next(iter(DECISIONS.values()))
    rows = [row[:] for row in sheet([mark(first)])[:-2]]
    for row in rows[1:]:
        row[1] = str(len(rows) - 1)
    found = merge(study(), [parse_csv(text_of(rows), "marks.csv")])
    assert found.count(ACCEPTED) == 1 and found.count(NOT_MARKED) == len(DECISIONS) - 1


@pytest.mark.parametrize(("number", "of"), [("x", "9"), ("0", "9"), ("10", "9"), ("1", "99999")])
def test_a_number_that_is_no_place_is_refused(number, of) -> None:
    rows = sheet()
    rows[1][:2] = [number, of]
    with pytest.raises(InputErrors, match="is no place in the sheet|first no. "):
        parse_csv(text_of(rows), "marks.csv")


def rewritten_sheet(column: str, words: str, marks=()):
    rows = sheet(marks)
    at = next(i for i, r in enumerate(rows) if r[rows[0].index("decision")] == FIRST.id)
    rows[at][rows[0].index(column)] = words
    return parse_csv(text_of(rows), "marks.csv")


FIRST = next(d for d in DECISIONS.values() if d.kind == FIGURE)


def test_a_figure_written_over_is_told_and_its_mark_not_counted() -> None:
    other = next(d for d in DECISIONS.values() if d.id != FIRST.id)
    found = merge(study(), [rewritten_sheet("figure", "99 A", [mark(FIRST), mark(other)])])
    (told,) = found.rewritten
    assert told.reads == "99 A" and told.given_out == FIRST.shown and "not counted" in told.words
    standing = {s.decision.id: s.word for s in found.standings}
    assert standing[FIRST.id] == NOT_MARKED and standing[other.id] == ACCEPTED
    page = render(report_document(study(), review=found), "text")
    first = " ".join(page[:page.index("Decisions for the reviewer")].split())
    assert "came back as '99 A'" in first


@pytest.mark.parametrize("column", ["part", "title", "check", "basis"])
def test_no_printed_cell_can_be_written_over_unseen(column) -> None:
    found = merge(study(), [rewritten_sheet(column, "something else")])
    assert [one.column for one in found.rewritten] == [column]
    assert "has no mark" in found.rewritten[0].words


def test_a_spreadsheet_that_drops_zeros_changes_nothing() -> None:
    bare = next(d for d in DECISIONS.values() if re.fullmatch(r"\d+(\.\d+)?", d.shown))
    rows = sheet()
    at = next(i for i, r in enumerate(rows) if r[rows[0].index("decision")] == bare.id)
    rows[at][rows[0].index("figure")] = f"{float(bare.shown):.1f}"
    assert merge(study(), [parse_csv(text_of(rows), "marks.csv")]).rewritten == ()


def test_a_separator_that_stands_in_cells_is_told_in_one_line() -> None:
    naive = as_csv(study()).replace(",", ";").replace('"', "")
    with pytest.raises(InputErrors) as caught:
        parse_csv(naive, "marks.csv")
    (line,) = str(caught.value).splitlines()
    assert "rows from here on have more cells than the head" in line and "';'" in line


# -- dates ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("day", "future"), [("2026-11-27", False), ("2026-11-28", False),
                                             ("2026-11-29", True), ("2099-01-01", True)])
def test_a_mark_of_a_day_that_has_not_come_is_refused(monkeypatch, day, future) -> None:
    monkeypatch.setattr(review_module, "today", lambda: date(2026, 11, 27))
    given = file(study(), mark(FIRST, date=day))
    if not future:
        assert merge(study(), [given]).count(ACCEPTED) == 1  # a day for other time zones
        return
    with pytest.raises(InputErrors, match=f"{day} lies in the future: today is 2026-11-27"):
        merge(study(), [given])


def test_a_clock_that_is_behind_takes_the_day_of_issue(monkeypatch) -> None:
    monkeypatch.setattr(review_module, "today", lambda: date(1970, 1, 1))
    later = study(date_of_issue="2026-11-24")
    assert merge(later, [file(later, mark(FIRST, date="2026-11-25"))]).count(ACCEPTED) == 1


# -- changes that were "not understood" ----------------------------------------------------------


def choice(key: str):
    return known(truck())[f"{key}.choice"]


@pytest.mark.parametrize("words", ["1 x 50 mm2", "50 mm²", "1 AWG", "AWG 1", "1/0 AWG"])
def test_a_cable_too_thin_comes_out_as_failing(words) -> None:
    found = recheck(truck(), choice("cable.battery-to-inverter"), words)
    assert found.understood and found.breaks
    assert any(c.verdict == FAIL for c in found.checks)


@pytest.mark.parametrize(("words", "name"), [
    ("4/0 AWG", "1 × 4/0 AWG"), ("500 kcmil", "1 × 500 kcmil"), ("500 MCM", "1 × 500 kcmil"),
    ("1 x 120 mm2", "1 × 120 mm²"), ("1 × 240 mm²", "1 × 240 mm²")])
def test_sections_of_both_systems_are_read(words, name) -> None:
    found = recheck(truck(), choice("cable.battery-to-inverter"), words)
    assert found.understood and found.words.startswith(name) and found.checks


def test_awg_counts_as_the_tables_section_that_is_not_larger() -> None:
    # NFPA 70-2023 Chapter 9 Table 8: 4/0 AWG is 107.2 mm²; IEC 60228 has 95 and 120 mm².
    found = recheck(truck(), choice("cable.battery-to-inverter"), "4/0 AWG")
    thinner = recheck(truck(), choice("cable.battery-to-inverter"), "95 mm²")
    capacity = [next(c.figure for c in r.checks if c.title == "Overload protection")
                for r in (found, thinner)]
    assert capacity[0].number == pytest.approx(capacity[1].number)


@pytest.mark.parametrize("words", ["10 A", "0.01 kA", "10000 mA"])
def test_a_fuse_below_the_list_fails_the_load(words) -> None:
    found = recheck(truck(), choice("main_fuse"), words)
    assert found.understood and found.breaks
    assert "Carries the continuous load" in [c.title for c in found.checks if c.verdict == FAIL]


def test_a_rating_named_for_the_coordination_is_the_main_fuse() -> None:
    found = recheck(truck(), choice("coordination"), "500 A")
    assert found.understood and found.breaks and found.decision_id == "coordination.choice"
    own = recheck(truck(), choice("main_fuse"), "500 A")
    assert [c.verdict for c in found.checks] == [c.verdict for c in own.checks]


@pytest.mark.parametrize(("words", "amperes"), [("30 kA", "30000 A"), ("30000 A", "30000 A"),
                                                ("3000000 mA", "3000 A")])
def test_a_figure_may_stand_in_a_multiple_of_its_unit(words, amperes) -> None:
    highest = next(d for d in known(truck()).values() if d.leading and d.finding.unit == "A")
    found = recheck(truck(), highest, words)
    assert found.understood and found.words.startswith(f"{amperes} in place of")


@pytest.fixture
def brief(tmp_path):
    path = tmp_path / "brief.toml"
    path.write_text(GOOD, "utf-8")
    return path


def marked(brief, tmp_path, change, decision="main_fuse.choice"):
    out = tmp_path / "review.csv"
    run("review", brief, "--out", out)
    lines = out.read_text("utf-8").splitlines(keepends=True)
    notes = [line for line in lines if line.lstrip('"').startswith("#")]
    rows = list(csv.reader(lines[len(notes):]))
    row = next(r for r in rows if r[rows[0].index("decision")] == decision)
    for key, value in change.items():
        row[rows[0].index(key)] = value
    out.write_text("".join(notes) + text_of(rows), "utf-8")
    return out


def test_what_cannot_be_understood_ends_in_no_and_stands_first(brief, tmp_path) -> None:
    out = marked(brief, tmp_path, {"mark": "change", "change_to": "something bigger",
                                   "name": "A. Invented", "date": "2026-11-24"})
    ran = run("report", brief, "--review", out)
    assert ran.code == 1 and "could not be checked: main_fuse.choice" in ran.lines[-1]
    first = " ".join(ran.out[:ran.out.index("Cautions")].split())
    assert "'something bigger', asked for by A. Invented, was not checked" in first


def test_a_cell_written_over_ends_in_no(brief, tmp_path) -> None:
    out = marked(brief, tmp_path, {"mark": "accept", "name": "A. Invented", "figure": "99 A",
                                   "date": "2026-11-24"})
    ran = run("report", brief, "--review", out, "--format", "json")
    assert ran.code == 1 and "came back as '99 A'" in ran.err
    standing = {r["decision"]: r["standing"] for t in ("decisions_grave", "decisions_rest")
                for r in json.loads(ran.out)[t]}
    assert standing["main_fuse.choice"] == NOT_MARKED


@pytest.mark.parametrize("ending", ["csv", "json"])
def test_an_empty_file_of_marks_is_told_how_to_get_one(tmp_path, ending) -> None:
    empty = tmp_path / f"marks.{ending}"
    empty.write_text("", "utf-8")
    with pytest.raises(InputErrors, match="is empty; write a sheet with `packcalc review BRIEF"):
        read_review(empty)
