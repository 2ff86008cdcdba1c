"""Marks that another design, a mistyped year or a second sheet could lose or lend."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import jsonschema
import pytest

import packcalc
from packcalc.checks import CAUTION, NOT_EVALUATED, PASS
from packcalc.decisions import decisions, slug
from packcalc.difference import difference
from packcalc.errors import InputErrors
from packcalc.findings import AT_LEAST
from packcalc.marks import ACCEPTED, REJECT, REJECTED, VOID
from packcalc.report import csv_
from packcalc.report.compose import report_document
from packcalc.report.data import as_dict
from packcalc.report.difference_report import difference_document
from packcalc.report.render import render
from packcalc.report.schema import schema
from packcalc.review import (
    PRINTED,
    as_csv,
    as_json,
    blank_file,
    check_review,
    design_of,
    parse_csv,
    parse_json,
)
from packcalc.review_carry import carried
from packcalc.review_change import recheck
from packcalc.review_merge import merge
from tests.briefs import asked
from tests.cases.studies import study as changed
from tests.cli.runner import GOOD, run
from tests.review.cases import file, known, mark, study
from tests.sized import example

pytestmark = pytest.mark.thorough

DECISIONS = known(study())
ONE = next(d for d in DECISIONS.values() if d.verdict == "pass")


def named(title: str, place: str = "test"):
    """The study under another title, or of a file without one."""
    brief = replace(study().brief, title=title, place=place)
    return replace(study(), study=replace(study().study, brief=brief))


# -- whose marks they are -------------------------------------------------------------------------


@pytest.mark.parametrize(("one", "other"), [
    ("Грузовик первый", "Грузовик второй"), ("電動バス", "電動船"), ("ट्रक", "ट्रेक"),
    ("Truck A+", "Truck A"), ("🚚", "🚌"), ("Ö", "Ä"), ("", "untitled"), ("Truck №1", "Truck 1")])
def test_unlike_titles_make_unlike_designs(one: str, other: str) -> None:
    assert design_of(named(one)) != design_of(named(other))
    with pytest.raises(InputErrors, match="is for the design"):
        check_review(file(named(one), mark(ONE)), named(other))
    check_review(file(named(one), mark(ONE)), named(one))


def test_files_without_a_title_are_named_by_their_folder(tmp_path) -> None:
    """Two folders may each hold a brief.toml."""
    one, other = (named("", str(tmp_path / folder / "brief.toml")) for folder in ("a", "b"))
    assert design_of(one) == "a-brief" and design_of(other) == "b-brief"
    with pytest.raises(InputErrors, match="a title at its head names the design"):
        check_review(file(one, mark(ONE)), other)


@pytest.mark.parametrize("title", ["review case, invented", "Truck 12 (second)"])
def test_a_plain_title_makes_the_name_it_always_made(title: str) -> None:
    assert design_of(named(title)) == slug(title)


@pytest.mark.parametrize(("title", "old"), [("Bus für zwölf", "bus-f-r-zw-lf"), ("Бус", "untitled"),
                                            ("", "brief")])
def test_names_of_the_old_form_are_read(tmp_path, title: str, old: str) -> None:
    found = named(title, "x/brief.toml")
    check_review(replace(file(found, mark(ONE)), design=old), found)
    changed = replace(file(found, mark(ONE)), design=old, input_digest="k00000000000")
    if old.startswith("bus"):  # no letter of another script was dropped
        return check_review(changed, found)
    with pytest.raises(InputErrors, match="is for the design"):
        check_review(changed, found)


# -- a day before there was anything to mark ------------------------------------------------------


def dated(day: str = "2026-11-24"):
    brief = replace(study().brief, date_of_issue=day)
    return replace(study(), study=replace(study().study, brief=brief))


@pytest.mark.parametrize(("day", "refused"), [("2025-11-25", True), ("2026-11-22", True),
                                              ("2026-11-23", False), ("2026-11-24", False)])
def test_a_mark_before_the_date_of_issue_is_refused(day: str, refused: bool) -> None:
    """One day is let pass, for another time zone, as on the side of the future."""
    found = dated()
    for text in (as_json(replace(blank_file(found), marks=(mark(ONE, REJECT, date=day),))),
                 json.dumps({k: v for k, v in json.loads(as_json(replace(
                     blank_file(found), marks=(mark(ONE, REJECT, date=day),)))).items()
                     if k not in ("issued", "gone")})):  # as earlier versions wrote it
        given = parse_json(text, "m.json")
        if not refused:
            assert merge(found, [given]).count(REJECTED) == 1
            continue
        with pytest.raises(InputErrors, match=f"{day} lies before 2026-11-24, the date of issue"):
            merge(found, [given])


def test_the_sheet_carries_its_date_of_issue_as_no_spreadsheet_rewrites_it() -> None:
    text = as_csv(dated(), [mark(ONE)])
    assert ",since 2026-11-24," in text and parse_csv(text, "m.csv").issued == "2026-11-24"
    with pytest.raises(InputErrors, match="'24.11.2026' is no date"):
        parse_csv(text.replace("since 2026-11-24", "24.11.2026"), "m.csv")


def test_marks_of_an_earlier_version_are_no_marks_before_the_issue() -> None:
    """What holds is carried from version to version with the day on which it was given."""
    first, second = dated("2026-11-24"), dated("2026-12-20")
    given = replace(file(first, mark(ONE)), issued="2026-11-24", input_digest="k00000000000")
    again = merge(second, [given])
    assert again.count(ACCEPTED) == 1
    anew = carried(again, blank_file(second))
    assert merge(second, [parse_json(as_json(anew), "m.json")]).count(ACCEPTED) == 1


# -- marks written anew ---------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["csv", "json"])
def test_void_superseded_and_gone_marks_are_written_anew(tmp_path, ending: str) -> None:
    brief, first = tmp_path / "brief.toml", tmp_path / "first.json"
    brief.write_text(GOOD, "utf-8")
    sized = packcalc.size_protection(packcalc.read_brief(brief))
    of = known(sized)
    held = of["precharge.choice"]
    marks = (mark(held, REJECT, date="2026-11-24"), mark(held, date="2026-11-25"),
             mark(of["main_fuse.choice"], digest="k0123456789ab", note="of old"),
             replace(mark(held), decision_id="branch.of-old.choice"))
    first.write_text(as_json(replace(blank_file(sized), marks=marks,
                                     input_digest="k00000000000")), "utf-8")
    second, third = tmp_path / f"second.{ending}", tmp_path / f"third.{ending}"
    run("review", brief, "--review", first, "--out", second)
    ran = run("review", brief, "--review", second, "--out", third)
    assert ran.code == 0, ran.lines
    given = (parse_json if ending == "json" else parse_csv)(third.read_text("utf-8"), third.name)
    assert {*given.marks, *given.gone} == set(marks) and given.gone == marks[2:]
    found = merge(sized, [given])
    assert found.count(ACCEPTED) == 1 and found.count(VOID) == 1 and found.gone == marks[3:]
    assert [m for s in found.standings for m in s.superseded] == [marks[0]]


def test_a_decision_whose_marks_are_void_has_a_row_to_mark_anew() -> None:
    text = as_csv(study(), [mark(ONE, digest="k0123456789ab")])
    rows = list(csv.DictReader(io.StringIO(text)))
    own = [r for r in rows if r["decision"] == ONE.id]
    assert [r["mark"] for r in own] == ["", "accept"] and own[0]["digest"] == ONE.digest
    # beside no figure of today, to which nobody gave it
    assert own[1]["number"] == "void" and not any(own[1][column] for column in PRINTED)


def test_a_void_mark_counts_again_where_its_version_comes_back() -> None:
    older = mark(ONE, digest="k0123456789ab")
    sheet = parse_csv(as_csv(study(), [older]), "m.csv")
    assert sheet.gone == (older,) and sheet.marks == ()
    assert merge(study(), [sheet]).count(VOID) == 1
    as_it_was = parse_csv(as_csv(study(), [mark(ONE)]).replace(ONE.digest, older.digest, 1), "o.csv")
    assert merge(study(), [as_it_was]).count(VOID) == 1
    back = parse_csv(as_csv(study(), [], file=replace(blank_file(study()), gone=(mark(ONE),))), "b.csv")
    found = merge(study(), [back])
    assert (found.count(ACCEPTED), found.count(VOID), found.rewritten) == (1, 0, ())


def test_a_void_mark_that_its_giver_answered_is_told_no_more() -> None:
    older = mark(ONE, digest="k0123456789ab", date="2026-11-24")
    found = merge(study(), [file(study(), older, mark(ONE, date="2026-11-27"))])
    (own,) = [s for s in found.standings if s.decision.id == ONE.id]
    assert own.word == ACCEPTED and own.void == () and own.superseded == (older,)
    assert older in carried(found, blank_file(study())).gone
    other = replace(older, name="B. Invented")
    found = merge(study(), [file(study(), other, mark(ONE, date="2026-11-27"))])
    assert [s.void for s in found.standings if s.decision.id == ONE.id] == [(other,)]


def test_one_person_cannot_mark_a_decision_twice_on_one_day() -> None:
    twice = as_csv(study(), [mark(ONE), mark(ONE, REJECT)])
    with pytest.raises(InputErrors, match="marks this decision twice"):
        parse_csv(twice, "m.csv")


def test_why_a_mark_is_void_is_told_as_far_as_its_sheet_shows_it() -> None:
    older = replace(ONE, digest="k0123456789ab")
    text = as_csv(study(), [mark(ONE)])
    shown = ONE.shown
    rows = list(csv.reader(io.StringIO(text)))
    head = rows[0]
    for row in rows[1:]:
        if row[head.index("decision")] == ONE.id:
            row[head.index("digest")] = older.digest
            row[head.index("figure")] = "as it read before"
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    found = merge(study(), [parse_csv(out.getvalue(), "m.csv")])
    (row,) = as_dict(report_document(study(), review=found))["review_void"]
    assert "figure was 'as it read before'" in row["why"] and f"today: {shown}" in row["why"]
    assert "the text of the brief did not" in row["why"]
    changed = merge(study(), [replace(file(study(), mark(older)), input_digest="k00000000000")])
    (row,) = as_dict(report_document(study(), review=changed))["review_void"]
    assert "the text of the brief changed" in row["why"]


# -- a cable of the list --------------------------------------------------------------------------


def test_a_cable_of_the_parts_list_is_understood() -> None:
    sized = example("truck")
    choice = next(d for d in decisions(sized) if d.id == "cable.battery-to-inverter.choice")
    cables = [c.name for c in sized.brief.parts.list.cables]
    assert cables
    for name in cables:
        found = recheck(sized, choice, name)
        assert found.understood, (name, found.words)
        assert found.checks and name in found.words


def test_a_part_of_another_kind_is_told_as_that() -> None:
    sized = example("truck")
    choice = next(d for d in decisions(sized) if d.id == "cable.battery-to-inverter.choice")
    fuse = sized.brief.parts.list.fuses[0].name
    found = recheck(sized, choice, fuse)
    assert not found.understood and f"{fuse} is in the parts list as a fuse" in found.words


# -- a bound is told as one -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def bounded():
    """A pack whose charger has no ceiling in the brief: what it may reach is not evaluated."""
    return packcalc.size_protection(asked(
        title="open ceiling, invented",
        inverter={"voltage_range": "260 V to 430 V", "dc_link_capacitance": "1 mF"}))


def test_a_lower_bound_is_told_on_the_decision_line_and_in_the_demands(bounded) -> None:
    voltage = bounded.pack.highest_voltage
    assert voltage.may_be_more
    lines = {d.id: d for d in decisions(bounded)}
    own = next(d for d in lines.values() if d.leading and d.finding.unit == "V")
    assert own.shown.startswith(f"at least {voltage.shown}; not evaluated: ")
    resting = [d for d in lines.values() if d.check is not None and d.check.demand is not None
               and d.check.demand.known and d.check.demand.may_be_more
               and d.check.relation in ("at least", "above")]
    assert len(resting) > 3
    for d in resting:
        assert f"may be more than {d.check.demand.shown}" in d.shown or AT_LEAST in d.shown
    for row in csv.DictReader(io.StringIO(as_csv(bounded))):
        if row["decision"] == own.id:
            assert row["figure"].startswith("at least")
    data = as_dict(report_document(bounded))
    (row,) = [r for t in ("decisions_grave", "decisions_rest") for r in data[t]
              if r["decision"] == own.id]
    assert row["figure"].startswith("at least")


def test_a_lower_bound_is_named_in_the_data_beside_its_number(bounded) -> None:
    """Whoever reads JSON or CSV alone meets no number that says it is the highest."""
    document = report_document(bounded)
    first = as_dict(document)["first"]
    assert isinstance(first["highest_voltage_V"], float)
    assert "highest_voltage_V" in first["lower_bounds"]
    jsonschema.validate(as_dict(document), schema("report"))
    assert "lower_bounds,May be more,highest_voltage_V" in csv_.render(document, "first")
    whole = as_dict(report_document(study()))["first"]
    assert ("highest_voltage_V" in whole["lower_bounds"]) == study().pack.highest_voltage.at_least
    for page in ("text", "html"):  # a page says it in words already
        assert "lower_bounds" not in render(document, page)


def test_reports_of_before_do_not_differ_by_the_bounds_alone() -> None:
    new = as_dict(report_document(study()))
    old = json.loads(json.dumps(new))
    old["first"]["lower_bounds"] = []
    assert all(c.key == "first.lower_bounds" for c in difference(old, new).results)
    new["first"]["lower_bounds"] = []
    del old["first"]["lower_bounds"]
    assert difference(old, new).nothing


def test_a_figure_that_is_whole_is_told_bare() -> None:
    voltage = study().pack.highest_voltage
    own = next(d for d in DECISIONS.values() if d.leading and d.finding.unit == "V")
    assert voltage.at_least == own.shown.startswith("at least")


# -- a monitor that warns -------------------------------------------------------------------------


def test_a_monitor_that_warns_is_no_pass_of_opening() -> None:
    title = "isolation monitor opens contactors no later than at 100 Ω/V"
    found, lower = {}, {}
    for monitor in ("warns", "opens the contactors"):
        sized = packcalc.size_protection(asked(
            path={"insulation_monitor": monitor},
            management={"isolation_warn": "600 kΩ", "isolation_trip": "300 kΩ"}))
        lower[monitor] = next(d for d in decisions(sized) if d.title == title)
        found[monitor] = next(d for d in decisions(changed(
            "truck", path__insulation_monitor=monitor)) if d.title == title)
    assert found["opens the contactors"].verdict == PASS
    assert found["warns"].verdict == CAUTION and "nothing opens" in found["warns"].shown
    # Its highest voltage is a lower bound: nothing passes on that, and it passed.
    assert {d.verdict for d in lower.values()} == {NOT_EVALUATED}
    assert "nothing opens" in lower["warns"].shown


# -- a difference says what it counts -------------------------------------------------------------


def test_a_difference_names_what_is_counted() -> None:
    old = as_dict(report_document(study()))
    new = json.loads(json.dumps(old))
    new["decisions_grave"][0]["digest"] = "k0123456789ab"
    text = " ".join(render(difference_document(difference(old, new)), "text").split())
    assert "0 results of the first page (five figures and the layout) and 1 decisions" in text
