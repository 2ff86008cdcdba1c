"""Marks that a name, a later version or a second file could lose, and why a mark is void.

Every scenario is invented.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace

import jsonschema
import pytest

import packcalc
import packcalc.api
from packcalc.decisions import decisions, entries_under
from packcalc.errors import InputErrors
from packcalc.marks import ACCEPTED, CHANGE, REJECT, VOID
from packcalc.report.compose import report_document
from packcalc.report.data import as_dict
from packcalc.report.render import render
from packcalc.report.schema import schema
from packcalc.review import as_csv, as_json, blank_file, check_review, parse_csv, parse_json
from packcalc.review_carry import carried
from packcalc.review_merge import merge
from packcalc.review_since import entries_of
from tests.briefs import asked
from tests.cases.studies import study as example_with
from tests.cli.runner import GOOD, run

from tests.review.cases import known, mark, study
from tests.sized import ROOT

pytestmark = pytest.mark.thorough

DECISIONS = known(study())
CAUTION = ("Beware.",)
ONE = next(d for d in DECISIONS.values() if d.verdict == "pass")


def reviewed(found, *marks, **more):
    """A file of marks as it comes back from a reviewer, spreadsheet or page."""
    return replace(blank_file(found), marks=marks, place="m.json", **more)


# -- why a mark is void ---------------------------------------------------------------------------


def why(found) -> dict[str, str]:
    return {row["decision"]: row["why"]
            for row in as_dict(report_document(found.study, review=found.review))["review_void"]}


class Merged:
    def __init__(self, now, file):
        self.study, self.review = now, merge(now, [file])


@pytest.mark.parametrize("form", ["csv", "json"])
def test_a_void_mark_names_the_entry_that_changed(form: str) -> None:
    old, new = study(), study(path__link_resistance="0.15 mΩ", power__peak_duration="10 s")
    marks = [mark(d) for d in DECISIONS.values()]
    file = parse_csv(as_csv(old, marks, CAUTION), "m.csv") if form == "csv" else parse_json(
        as_json(reviewed(old, *marks)), "m.json")
    found = why(Merged(new, file))
    assert len(found) > 5
    said = "path.link_resistance was 0.1000 mΩ (given), is 0.1500 mΩ (given)"
    assert all(said in words for words in found.values())


def test_an_entry_of_words_and_a_figure_of_the_module_are_named_too() -> None:
    old = study()
    new = study(path__main_fuse="both poles")
    found = why(Merged(new, reviewed(old, *(mark(d) for d in DECISIONS.values()))))
    assert any("path.main_fuse was " in words and "is both poles" in words
               for words in found.values())
    from tests.briefs import module

    module_of = packcalc.size_protection(asked(
        [module(capacity="98 Ah")], title="review case, invented"))
    found = why(Merged(module_of, reviewed(old, *(mark(d) for d in DECISIONS.values()))))
    assert any("rated capacity of a module was 100.0 Ah" in words for words in found.values())


def test_a_branch_put_in_front_shifts_no_entry() -> None:
    """Tables are known by their name: one that moves down a place is not changed."""
    from packcalc.review_since import moved

    sized = example_with("van")
    brief = sized.brief
    assert len(brief.branch) > 1
    turned = replace(brief, branch=(*brief.branch[1:], brief.branch[0]))
    assert moved(entries_of(brief), turned) == ()


def test_a_sheet_that_lost_lines_above_tells_no_entry_as_new() -> None:
    text = as_csv(study(), [mark(ONE)], CAUTION)
    found = parse_csv(text, "m.csv")
    assert found.entries == entries_of(study().brief) and found.listed
    for cut in (text.replace("path.link_resistance", "path", 1).replace("# then: {", "# {", 1),
                text.replace("(given)", "(giv\\", 1)):
        assert cut != text
        assert parse_csv(cut, "m.csv").entries == () and parse_csv(cut, "m.csv").marks == (
            mark(ONE),)


def test_the_file_of_marks_keeps_its_schema_and_refuses_what_is_no_entry() -> None:
    text = as_json(reviewed(study(), mark(ONE)))
    jsonschema.validate(json.loads(text), schema("review"))
    for odd in ([], {"a": 1}, {"a": "x" * 30_000}, 3):
        bad = json.dumps({**json.loads(text), "entries": odd})
        with pytest.raises(InputErrors, match="entries: is no object"):
            parse_json(bad, "m.json")
    hostile = json.dumps({**json.loads(text), "entries": {"<script>\n\x07": "</script>\x07"}})
    new = study(path__link_resistance="0.15 mΩ")
    page = render(report_document(new, review=merge(new, [parse_json(hostile, "m.json")])), "html")
    assert "<script>\n was" not in page and "\x07" not in page


# -- a branch by another name ---------------------------------------------------------------------


def marks_of(sized) -> tuple:
    return tuple(mark(d) for d in decisions(sized))


NEW = "hoist pump"


@pytest.fixture(scope="module", params=[1, 0])
def renamed(request):
    """Also of a branch that is a load of the pre-charge by its name: both are renamed."""
    old = example_with("van")
    name = old.brief.branch[request.param].name
    loads = [{"name": NEW if n == name else n, **rest} for n, rest in LOADS]
    assert (name in [n for n, _ in LOADS]) is (request.param == 0)
    return old, example_with("van", branch={name: {"name": NEW}}, precharge__load=loads), name


LOADS = [(one.pop("name"), one) for one in tomllib.loads(
    (ROOT / "examples" / "van" / "brief.toml").read_text("utf-8"))["precharge"]["load"]]


@pytest.mark.parametrize("form", ["csv", "json"])
def test_marks_hold_where_a_branch_has_another_name_alone(renamed, form: str) -> None:
    old, new, name = renamed
    assert sum(d.digest not in {one.digest for one in decisions(old)} for d in decisions(new)) > 9
    marks = marks_of(old)
    file = parse_csv(as_csv(old, marks, CAUTION), "m.csv") if form == "csv" else parse_json(
        as_json(reviewed(old, *marks)), "m.json")
    found = merge(new, [file])
    assert found.count(ACCEPTED) == len(found.standings) and not found.gone
    ((was, now, count),) = found.renamed
    assert (was, now) == (name, NEW) and count > 9
    page = " ".join(render(report_document(new, review=found), "text").split())
    assert f"The branch {name!r} is called 'hoist pump' now: {count} marks" in page
    # written anew they stand on the decisions of today
    again = merge(new, [parse_json(as_json(carried(found, blank_file(new))), "c.json")])
    assert again.count(ACCEPTED) == len(again.standings) and not again.renamed


def test_a_figure_that_changed_with_the_name_voids_its_mark_all_the_same() -> None:
    old = example_with("van")
    name = old.brief.branch[1].name
    new = example_with("van", branch={name: {"name": NEW, "section": "7 mm²"}})
    found = merge(new, [reviewed(old, *marks_of(old))])
    lost = {s.decision.id for s in found.standings if s.word != ACCEPTED}
    assert found.renamed and lost and len(lost) < len(found.standings)
    resting = {d.id for d in decisions(new) if "branch[1].section" in entries_under(d, new.brief)}
    assert len(resting) > 3 and lost >= resting
    rows = as_dict(report_document(new, review=found))["review_void"]
    assert {row["decision"] for row in rows} == lost and not found.gone
    assert all(f"branch[{NEW}].section was 6.000 mm² (given), is 7.000 mm² (given)" in row["why"]
               for row in rows if row["decision"] in resting)


def test_a_load_that_stays_behind_under_the_old_name_voids_what_it_moves() -> None:
    old = example_with("van")
    name = old.brief.branch[0].name
    new = example_with("van", branch={name: {"name": NEW}})
    found = merge(new, [reviewed(old, *marks_of(old))])
    words = {s.decision.id: s.word for s in found.standings}
    assert words["precharge.choice"] == VOID  # two loads wake where one did


def test_a_printed_cell_written_over_counts_for_nothing_under_the_new_name(renamed) -> None:
    old, new, name = renamed
    today = {d.digest for d in decisions(new)}
    of = next(d for d in decisions(old) if d.verdict and d.digest not in today)
    text = as_csv(old, [mark(of)], CAUTION)
    lines = [line.replace(of.title, "another title", 1) if f",{of.id}," in line else line
             for line in text.splitlines()]
    found = merge(new, [parse_csv("\n".join(lines) + "\n", "m.csv")])
    assert [r.column for r in found.rewritten] and found.count(ACCEPTED) == 0


def test_what_the_bench_gives_holds_under_the_new_name_as_well(tmp_path) -> None:
    folder = ROOT / "examples" / "truck"
    text = (folder / "brief.toml").read_text("utf-8").replace(
        'file = "../', f'file = "{ROOT}/examples/').replace(
        'file = "bench.csv"', f'file = "{folder}/bench.csv"')
    sized = []
    for name in ("battery heater", NEW):
        path = tmp_path / "brief.toml"
        path.write_text(text.replace('name = "battery heater"', f'name = "{name}"'), "utf-8")
        sized.append(packcalc.size_protection(packcalc.read_brief(path)))
    old, new = sized
    bench = packcalc.api.bench_of(new)
    marks = tuple(mark(d) for d in decisions(old, packcalc.api.bench_of(old)))
    found = merge(new, [reviewed(old, *marks)], bench)
    assert found.count(ACCEPTED) == len(marks) and found.renamed
    assert any(d.id.startswith("bench.") for d in decisions(new, bench))


def test_two_names_at_once_are_no_rename() -> None:
    old = example_with("van")
    name, other = (b.name for b in old.brief.branch[:2])
    new = example_with("van", branch={name: {"name": "one"}, other: {"name": "two"}})
    found = merge(new, [reviewed(old, *marks_of(old))])
    assert not found.renamed and found.gone


# -- a decision that a later version has no more --------------------------------------------------


def test_a_mark_on_a_decision_that_was_dropped_is_kept_as_gone() -> None:
    """Same brief, same layout; the version of packcalc that gave it out had one decision more."""
    dropped = replace(mark(ONE), decision_id="main_fuse.dropped-since", digest="k0123456789ab")
    for file in (reviewed(study(), dropped, listed="k00000000000"),
                 reviewed(study(), dropped, listed="")):  # a file of before
        found = merge(study(), [file])
        assert found.gone == (dropped,)
    sheet = as_csv(study(), [mark(ONE)], CAUTION).replace(ONE.id, dropped.decision_id).replace(
        ONE.digest, dropped.digest)
    sheet = sheet.replace(f"decisions {blank_file(study()).listed}", "decisions k000000000000")
    found = merge(study(), [parse_csv(sheet, "m.csv")])
    assert [m.decision_id for m in found.gone] == ["main_fuse.dropped-since"]
    (row,) = as_dict(report_document(study(), review=found))["review_void"]
    assert row["why"] == "there is no such decision today"


def test_an_id_that_never_was_stays_refused_in_one_line() -> None:
    odd = replace(mark(ONE), decision_id="main_fuse.never", digest="k0123456789ab")
    taken = replace(mark(ONE), decision_id="main_fuse.never")  # what another id stands for
    for file in (reviewed(study(), odd), reviewed(study(), taken, listed="")):
        with pytest.raises(InputErrors, match="main_fuse.never: is no decision") as caught:
            check_review(file, study())
        assert len(caught.value.faults) == 1


# -- two marks of one person on one day -----------------------------------------------------------


def test_two_marks_of_one_day_from_two_files_are_told_when_written_anew(tmp_path) -> None:
    brief = tmp_path / "brief.toml"
    brief.write_text(GOOD, "utf-8")
    sized = packcalc.size_protection(packcalc.read_brief(brief))
    held = known(sized)["precharge.choice"]
    for name, given in (("a.json", mark(held)), ("b.json", mark(held, REJECT))):
        (tmp_path / name).write_text(as_json(replace(blank_file(sized), marks=(given,))), "utf-8")
    out = tmp_path / "c.csv"
    both = ("--review", tmp_path / "a.json", "--review", tmp_path / "b.json")
    ran = run("review", brief, *both, "--out", out)
    assert ran.code == 2 and not out.exists()
    (line,) = [one for one in ran.err.splitlines() if "precharge.choice" in one]
    assert "'reject' on 2026-11-25, and 'accept' on the same day in" in line
    assert "take the one that no longer counts out of its file" in line
    # the same mark in two files is one mark
    ran = run("review", brief, *both[:2], "--review", tmp_path / "a.json", "--out", out)
    assert ran.code == 0, ran.lines


def test_marks_of_two_days_or_two_persons_are_written_anew() -> None:
    given = (mark(ONE), mark(ONE, REJECT, date="2026-11-26"),
             mark(ONE, CHANGE, name="B. Invented"))
    anew = carried(merge(study(), [reviewed(study(), one) for one in given]), blank_file(study()))
    assert set(anew.marks) == set(given)
