"""The review as a user runs it: the sheet out, marks back in."""

from __future__ import annotations

import csv
import json

import pytest

from tests.cli.runner import GOOD, run


@pytest.fixture
def brief(tmp_path):
    path = tmp_path / "brief.toml"
    path.write_text(GOOD, "utf-8")
    return path


def sheet(path):
    rows = [row for row in csv.reader(path.read_text("utf-8").splitlines())
            if not row[0].startswith("#")]
    return rows[0], rows[1:]


def write(path, head, rows) -> None:
    with path.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows([head, *rows])


def marked(brief, tmp_path, **cells: str):
    """A sheet with one row marked: the main fuse put forward."""
    out = tmp_path / "review.csv"
    assert run("review", brief, "--out", out).code == 0
    head, rows = sheet(out)
    place = next(i for i, r in enumerate(rows) if r[head.index("decision")] == "main_fuse.choice")
    given = {"mark": "accept", "name": "A. Invented", "date": "2026-11-24", **cells}
    for key, value in given.items():
        rows[place][head.index(key)] = value
    write(out, head, rows)
    return out


def standings(ran) -> dict[str, str]:
    data = json.loads(ran.out)
    return {r["decision"]: r["standing"] for t in ("decisions_grave", "decisions_rest")
            for r in data[t]}


@pytest.mark.parametrize("ending", ["csv", "txt", "html", "json", "md"])
def test_the_sheet_in_every_form_carries_cautions(brief, tmp_path, ending) -> None:
    out = tmp_path / f"review.{ending}"
    assert run("review", brief, "--out", out).code == 0
    assert "every terminal inside the pack stays live" in " ".join(out.read_text("utf-8").split())


def test_an_unmarked_sheet_accepts_nothing(brief, tmp_path) -> None:
    out = tmp_path / "review.csv"
    run("review", brief, "--out", out)
    found = standings(run("report", brief, "--review", out, "--format", "json"))
    assert set(found.values()) == {"not marked"}


def test_a_marked_row_stands_beside_its_decision_and_nowhere_else(brief, tmp_path) -> None:
    out = marked(brief, tmp_path, note="seen")
    found = standings(run("report", brief, "--review", out, "--format", "json"))
    assert found.pop("main_fuse.choice") == "accepted"
    assert set(found.values()) == {"not marked"}
    text = run("report", brief, "--review", out).out
    assert "What the reviewers marked" in text and "note: seen" in text


def test_an_entry_changed_since_voids_the_mark(brief, tmp_path) -> None:
    out = marked(brief, tmp_path)
    brief.write_text(GOOD.replace('"30 kW"', '"32 kW"'), "utf-8")
    ran = run("report", brief, "--review", out, "--format", "json")
    assert standings(ran)["main_fuse.choice"] == "void: changed since"
    assert [r["decision"] for r in json.loads(ran.out)["review_void"]] == ["main_fuse.choice"]


def test_a_change_that_breaks_something_is_flagged_and_ends_in_no(brief, tmp_path) -> None:
    out = marked(brief, tmp_path, mark="change", change_to="1250 A")
    ran = run("report", brief, "--review", out, "--format", "json")
    (row,) = json.loads(ran.out)["review_changes"]
    assert row["result"] == "breaks something" and "cable's capacity" in row["words"]
    assert ran.code == 1 and "breaks something: main_fuse.choice" in ran.lines[-1]


def test_a_change_in_words_is_listed_as_not_understood(brief, tmp_path) -> None:
    out = marked(brief, tmp_path, mark="change", change_to="something bigger")
    ran = run("report", brief, "--review", out, "--format", "json")
    (row,) = json.loads(ran.out)["review_changes"]
    assert row["result"] == "not understood"


def test_a_rejection_ends_in_no(brief, tmp_path) -> None:
    ran = run("report", brief, "--review", marked(brief, tmp_path, mark="reject"), "--quiet")
    assert ran.code == 1 and ran.err == ""


def test_two_files_of_two_reviewers(brief, tmp_path) -> None:
    one = marked(brief, tmp_path)
    other = one.rename(tmp_path / "one.csv")
    two = marked(brief, tmp_path, mark="not my field", name="S. Frame", scope="structure")
    ran = run("report", brief, "--review", other, "--review", two, "--format", "json")
    assert [r["name"] for r in json.loads(ran.out)["reviewers"]] == ["A. Invented", "S. Frame"]
    assert standings(ran)["main_fuse.choice"] == "accepted"


def test_marks_can_be_taken_along_as_json(brief, tmp_path) -> None:
    out, again = marked(brief, tmp_path), tmp_path / "again.json"
    assert run("review", brief, "--review", out, "--out", again).code == 0
    assert [m["decision_id"] for m in json.loads(again.read_text("utf-8"))["marks"]] == [
        "main_fuse.choice"]


@pytest.mark.parametrize(("change", "words"), [
    (lambda t: t.replace("scenario-invented", "other"), "is for the design 'other'"),
    (lambda t: t.replace("2026-11-24", "24.11.2026"), "'24.11.2026' is no date"),
    (lambda t: t.replace("main_fuse.choice", "main_fuse.choise"), "is no decision of this design"),
    (lambda t: t[:len(t) // 2], "file whole?"),
    (lambda t: "", "is empty"),
])
def test_a_bad_file_is_one_line_and_nothing_is_written(brief, tmp_path, change, words) -> None:
    out, page = marked(brief, tmp_path), tmp_path / "page.html"
    out.write_text(change(out.read_text("utf-8")), "utf-8")
    ran = run("report", brief, "--review", out, "--out", page)
    assert ran.code == 2 and words in ran.lines[0] and not page.exists()


@pytest.mark.parametrize("rules", ["new-zealand", "australia", "common core"])
def test_the_path_to_a_signature_is_asked_and_not_answered(brief, rules) -> None:
    ran = run("review", brief, "--rules", rules)
    assert ran.code == 0 and "packcalc answers none of them" in " ".join(ran.out.split())


def test_unknown_rules_are_named(brief) -> None:
    ran = run("review", brief, "--rules", "newzealand")
    assert ran.code == 2 and "did you mean 'new-zealand'?" in ran.lines[0]


# -- nothing to try, and a design that fails: the same answer as the report's ----------------------

UNTRIED = GOOD.replace(GOOD[GOOD.index("[[modules]]"):GOOD.index("[inverter]")],
                       '[[modules]]\nlabel = "24s 46 Ah LTO"\ncount = 18\n\n')
PAGES = ("build", "commission", "maintain", "certify", "responder", "bill", "review")


@pytest.fixture
def untried(tmp_path):
    path = tmp_path / "untried.toml"
    path.write_text(UNTRIED, "utf-8")
    return path


@pytest.mark.parametrize("command", PAGES)
@pytest.mark.parametrize("ending", ["txt", "html", "json", "csv"])
def test_no_layout_to_try_ends_as_the_report_does(untried, tmp_path, command, ending) -> None:
    """README, exit codes: 1 where no layout fits; the page says what is missing."""
    out = tmp_path / f"page.{ending}"
    ran = run(command, untried, "--out", out)
    told = run("report", untried, "--out", tmp_path / f"report.{ending}")
    assert ran.code == told.code == 1 and ran.lines[-1] == told.lines[-1]
    words = " ".join(out.read_text("utf-8").split())
    assert "rest voltage of a cell at three" in words and "cannot be switched off" in words
    assert "not written" in words


@pytest.mark.parametrize("command", ["build", "commission"])
def test_no_form_is_written_of_a_layout_that_nobody_has(untried, tmp_path, command) -> None:
    form = tmp_path / "form.csv"
    ran = run(command, untried, "--form", form)
    assert ran.code == 1 and not form.exists()
    assert "not written, nor any form of it" in " ".join(ran.out.split())


@pytest.mark.parametrize("command", ["certify", "review"])
def test_an_unknown_rule_set_is_a_mistake_also_without_a_layout(untried, command) -> None:
    ran = run(command, untried, "--rules", "new-zeeland")
    assert ran.code == 2 and "did you mean 'new-zealand'?" in ran.lines[0]


def test_a_filled_sheet_is_not_written_over_without_a_layout(untried, tmp_path) -> None:
    filled = tmp_path / "review.csv"
    filled.write_text("marks\n", "utf-8")
    ran = run("review", untried, "--out", filled)
    assert ran.code == 2 and filled.read_text("utf-8") == "marks\n"


@pytest.mark.parametrize("command", ["report", *PAGES])
def test_a_design_that_fails_ends_every_page_with_one(brief, tmp_path, command) -> None:
    brief.write_text(GOOD.replace("count = 18", "count = 3"), "utf-8")
    assert run(command, brief, "--out", tmp_path / "page.txt").code == 1


def test_the_sheet_of_two_module_types_takes_both(tmp_path) -> None:
    """As the lists print them, and as the report takes them."""
    told = run("review", tmp_path / "none.toml", "--module", "1,2").lines[0]
    assert "none.toml" in told and "--module" not in told
