"""What the brief's donor went through, what was left open of dealt modules, foreign words.

Every sheet, brief and name is invented.
"""

from __future__ import annotations

import itertools

import pytest
from click.testing import CliRunner

from packcalc.bench.assign import assign_modules
from packcalc.bench.damage import weigh_past
from packcalc.bench.door import too_few
from packcalc.bench.grade import GRADES, grade_sheet, not_understood
from packcalc.cli import main
from packcalc.errors import UserError
from packcalc.measured import measured_against
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.assign_report import assignment_document, sections_for_review
from packcalc.report.build_report import build_document
from packcalc.report.document import Table
from packcalc.report.render import render
from packcalc.study import find_layout
from tests.sized import example

from .rows import GOOD, graded, lot_of, sheet_of

TITLE = "Renford works donor"
UNTOLD = {"crash": "", "water": ""}
NO_CELLS = {"lowest_cell_V": "", "highest_cell_V": ""}


def brief(**donor):
    """Six modules of 6 cells in series, out of a donor of six."""
    past = {"title": TITLE, "record": "nmc-6s-240ah", "sections": [6], **donor}
    return brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": 6}], "date_of_issue": "2026-11-24",
        "inverter": {"voltage_range": "60 V to 420 V", "absolute_maximum": "450 V",
                     "full_power_from": "60 V"},
        "power": {"peak": "5 kW", "peak_duration": "10 s", "continuous": "2 kW"},
        "battery": {"coldest_start": "15 degC", "charge_lowest": "12 %"},
        "bench": {"modules_in_pack": 6}, **({"donor": past} if donor else {})})


def rows(**changes: str) -> list[dict[str, str]]:
    return [{**GOOD, "mark": f"M{i}", "donor": TITLE, **changes} for i in range(6)]


def lot(asked, *of: dict[str, str]):
    return grade_sheet(sheet_of(*of), brief=asked)


def history(found):
    return next(c for c in found.checks if c.title == "crash and water")


def page(document) -> str:
    return " ".join(render(document, "text").split())


# --- the donor of the brief ------------------------------------------------------------------

def test_a_row_that_says_otherwise_than_the_donor_is_asked_and_the_worse_counts():
    """It was kept and dealt, and the check of the lot passed: "every row says so"."""
    found = lot(brief(crash="yes", water="yes"), *rows())
    assert {m.grade for m in found.modules} == {"reject"}
    assert all(m.bars for m in found.modules)
    asked = [str(q) for q in found.questions]
    assert len(asked) == 12 and asked[0].startswith("b.csv:2: crash: module M0: says no, and ")
    assert history(found).verdict == "not evaluated"
    assert "contradict" in history(found).reason
    assert "as the brief's [donor] says" in found.modules[0].why


@pytest.mark.parametrize(("said", "grade"), [("crash", "quarantine"), ("water", "reject")])
@pytest.mark.parametrize("named", [TITLE, TITLE.upper(), ""])
def test_a_row_that_says_nothing_takes_the_donors_answer(said, grade, named):
    """A blank was kept beside a donor said to be soaked, which is rejected where a row says it."""
    found = lot(brief(**{said: "yes"}), *rows(**UNTOLD, donor=named))
    assert {m.grade for m in found.modules} == {grade} and not found.questions
    assert history(found).verdict == "not evaluated"  # of the other nobody says anything
    both = history(lot(brief(**{"crash": "no", "water": "no", said: "yes"}),
                       *rows(**UNTOLD, donor=named)))
    assert both.verdict == "caution" and "[donor] is said to have been" in both.reason


def test_a_sound_donor_answers_for_its_rows_and_a_worse_row_is_asked_about():
    asked = brief(crash="no", water="no")
    assert history(lot(asked, *rows(**UNTOLD))).verdict == "pass"
    unknown = lot(asked, *rows(crash="unknown", water="unknown"))
    assert history(unknown).verdict == "not evaluated"
    found = lot(asked, *rows(water="yes"))
    assert {m.grade for m in found.modules} == {"reject"} and len(found.questions) == 6


def test_the_sheet_as_read_keeps_its_own_words():
    found = lot(brief(crash="yes"), *rows(**UNTOLD))
    assert not found.sheet.rows[0].crash and found.modules[0].row.by_donor == ("crash",)


@pytest.mark.parametrize("donor", ["Tamsel quarry donor", "Renfold store"])
def test_modules_of_another_donor_keep_what_their_rows_say_and_a_name_of_no_row_is_told(donor):
    asked = brief(crash="yes", water="yes")
    found = lot(asked, *rows(donor=donor))
    assert {m.grade for m in found.modules} == {"keep"} and not found.questions
    told = history(found)
    assert told.verdict == "not evaluated" and f"the rows name {donor}" in told.reason
    study = assign_modules(asked, found, find_layout(asked, "6S1P"))
    assert f"the rows name {donor}" in page(assignment_document(study))
    mixed = lot(asked, *rows()[:1], *rows(donor=donor)[1:])
    assert [m.grade for m in mixed.modules] == ["reject", *["keep"] * 5]
    assert "the rows name" not in history(mixed).reason


@pytest.mark.parametrize("own", ["", "Renford works donor: rear box"])
def test_a_row_that_may_be_of_the_donor_takes_its_harm_and_never_its_soundness(own):
    named, open_ = rows()[0], {**rows(**UNTOLD)[1], "donor": own}
    harmed = lot(brief(water="yes"), named, open_)
    assert harmed.modules[1].grade == "reject"
    sound = lot(brief(crash="no", water="no"), named, open_)
    assert sound.modules[1].row.by_donor == () and "(M1)" in history(sound).reason


def test_no_answer_of_a_donor_makes_a_module_better():
    """Every answer of row and brief: with a donor no grade is milder than the row alone has."""
    for own, said in itertools.product(("", "unknown", "no", "yes"), ("unknown", "no", "yes")):
        for fact in ("crash", "water"):
            alone = lot(brief(), *rows(**{fact: own})).modules[0].grade
            beside = lot(brief(**{fact: said}), *rows(**{fact: own})).modules[0].grade
            assert GRADES.index(beside) <= GRADES.index(alone)


def test_dealing_and_the_check_of_the_brief_tell_of_the_donor(tmp_path):
    asked = brief(crash="yes")
    found = lot(asked, *rows(**UNTOLD))
    with pytest.raises(UserError, match="is said to have been crashed or burnt, and that counts "
                                        "for 6 of 6 modules"):
        assign_modules(asked, found, find_layout(asked, "6S1P"))
    assert "crashed or burnt" in too_few(found)
    (tmp_path / "b.csv").write_text("mark,crash\nA,no\nB,no\n", "utf-8")
    (tmp_path / "brief.toml").write_text(
        'modules = [{ record = "nmc-6s-240ah", count = 6 }]\n[inverter]\nvoltage_range = '
        '"60 V to 420 V"\n[bench]\nfile = "b.csv"\n[donor]\nrecord = "nmc-6s-240ah"\n'
        'sections = [6]\ncrash = "yes"\n[power]\npeak = "5 kW"\n', "utf-8")
    told = CliRunner().invoke(main, ["check", str(tmp_path / "brief.toml")]).output
    assert "contradict each other on crash or water" in " ".join(told.split())


# --- what was left open of modules that are dealt --------------------------------------------

def test_the_build_list_says_which_checks_were_left_open_of_its_modules():
    """Cells not read stood on the bench's page alone; the list people build from was silent."""
    asked = brief()
    of = rows(**UNTOLD)
    of[2] |= NO_CELLS
    study = assign_modules(asked, lot(asked, *of), find_layout(asked, "6S1P"))
    assert {p.dealt.graded.grade for p in study.places} == {"keep"}
    table = next(b for s in sections_for_review(study) for b in s.blocks
                 if isinstance(b, Table) and b.key == "dealt_open")
    told = {row[0].text: (row[1].value, row[2].text) for row in table.rows}
    assert told == {"cells of the module": (1, "M2"), "crash and water": (6, "all 6")}
    assert "kept as far as it was measured" in page(assignment_document(study))


def test_nothing_is_open_of_modules_of_which_all_was_read():
    asked = brief()
    study = assign_modules(asked, lot(asked, *rows()), find_layout(asked, "6S1P"))
    assert not study.left_open
    assert "Left open on modules" not in page(assignment_document(study))


def test_the_build_sheet_says_it_too():
    """No maker's calendar life is known of any module of the truck."""
    sized = example("truck")
    told = page(build_document(sized, bench=measured_against(sized)))
    assert "Not known of modules as dealt: note on damage (all 16); calendar expiry (all 16)" \
        in told


# --- words -----------------------------------------------------------------------------------

@pytest.mark.parametrize("note", [
    "ferry, bottom of the dock", "harbour dock bottom", "Ferry bottom", "in pool",
    "taken from pool", "out of the dock", "green terminals", "terminals gone green", "not flat",
    "Hochwasser cellar", "Inondation cellar", "Brand garage", "Incendie garage", "Unfall car",
    "Überschwemmung", "Oversvømmelse barn", "Inundación", "Löschwasser", "voiture accidentée",
    "Pożar garage", "Überladen"])
@pytest.mark.parametrize("column", ["donor", "storage"])
def test_harm_in_further_words_and_languages_is_asked_about(column, note):
    """A foreign word of harm before a plain one passed for a name."""
    found = graded(**{column: f'"{note}"'})
    assert found.grade == "undecided" and found.bars


@pytest.mark.parametrize("note", [
    "taken apart", "full charge for ten years", "stored full all summer at 45 degC", "ferry",
    "harbour shed", "Zorch car", "Zorch crate", "black Zorch yard"])
def test_what_may_tell_of_harm_is_told_to_be_read(note):
    assert weigh_past(note).meaning == "none" and weigh_past(note).unread


def test_a_name_stands_in_the_donor_alone():
    """Where a module lay is told in words; "Zorch barn" there may tell of anything."""
    named = {**GOOD, "donor": "Hollin farm donor", "storage": "Zorch barn"}
    assert not_understood(lot_of(named).modules) == "storage: Zorch barn (Zorch)"


@pytest.mark.parametrize("note", [
    "Hollin farm donor (invented)", "van from Hollin farm", "Miller's barn", "brand new pack",
    "pool car", "never flat", "Brandon farm", "laid flat"])
def test_a_name_of_a_place_or_an_owner_and_harmless_words_stay_silent(note):
    assert (weigh_past(note).meaning, weigh_past(note).unread) == ("none", ())
