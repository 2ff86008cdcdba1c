"""What a change raises, drops or weakens is told, also where a title or a part's name changes.

Every part is invented. No figure here is a check against the outside.
"""

from __future__ import annotations

import pytest

from packcalc.bench.sheet import BenchRow, figure
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, Item
from packcalc.difference import difference
from packcalc.findings import leaf
from packcalc.parts import ContactorPart
from packcalc.protection import ProtectionStudy
from packcalc.report.bench_report import readings_table
from packcalc.report.brief_report import list_table
from packcalc.report.review_report import _result
from packcalc.review_change import Recheck, Touched, _called, _told, recheck
from packcalc.value import replace
from tests.review.cases import known
from tests.sized import example

WHO = "who clears"


def change(study: ProtectionStudy, name: str, asked: str) -> Recheck:
    return recheck(study, known(study)[name], asked)


def minibus() -> ProtectionStudy:
    return example("minibus", "12S2P", "strings")


def told(checks: tuple[Check, ...], before: tuple[Check, ...],
         *touched: Touched) -> Recheck:
    blank = Recheck("part.choice", "part", "other", "A. Invented", False, "")
    return _told(blank, Item("part", "part", "", ()), "other", (checks, touched), "held",
                 before=before, asked={c.title for c in checks})


# -- what the change alone raises -------------------------------------------------------------


def test_a_new_place_that_nobody_clears_is_told() -> None:
    found = change(minibus(), "cable.charge-inlet-to-roof-box.choice", "Vire 35")
    (new,) = [t for t in found.touched if t.part == "Fault place" and not t.before]
    assert new.after == NOT_EVALUATED and new.words in found.words and ": nobody" in new.words
    assert found.raised and "Nothing else was found" not in found.words
    # a check of the duty itself, beside those of the part
    assert any(w.startswith("Short-circuit protection (caution, was pass") for w in found.weaker)
    assert _result(found) == "raises what is not shown"


def test_a_new_place_with_a_caution_is_graver() -> None:
    new = Touched("Fault place", "who clears a fault: x", "", CAUTION, "at 9 A: nobody", stage=WHO)
    found = told((), (), new)
    assert found.graver and not found.raised and "makes 1 graver" in found.words
    assert "at 9 A: nobody" in found.words and _result(found) == "is graver than before"


# -- passes that are asked no more ------------------------------------------------------------


def test_a_pass_that_another_sheet_no_longer_asks_for_is_lost() -> None:
    truck = example("truck")
    brief = truck.brief
    sheet = next(p for p in brief.parts.list.parts if p.name == brief.parts.charge_contactor)
    assert isinstance(sheet, ContactorPart)
    silent = replace(sheet, name="Lyng silent", short_time=ContactorPart("").short_time)
    parts = replace(brief.parts, list=replace(brief.parts.list, parts=(
        *brief.parts.list.parts, silent)))
    longer = replace(truck, study=replace(truck.study, brief=replace(brief, parts=parts)))
    found = change(longer, "charge_contactor.choice", "Lyng silent")
    gone = [words for words in (*found.lost, *found.weaker) if " (no longer asked, was" in words]
    assert [words.partition(" (")[0] for words in gone] == [
        "closed, it withstands what the fuse lets through",
        "closed contactor withstands faults until they are cleared"]
    assert gone[0] in found.lost and f"loses {len(found.lost)} that passed" in found.words


def test_what_did_not_pass_and_is_asked_no_more_is_weaker_not_lost() -> None:
    found = told((), (Check("a", WHO, CAUTION), Check("b", WHO, PASS)))
    assert found.lost == ("b (no longer asked, was pass)",)
    assert found.weaker == ("a (no longer asked, was caution)",)


def test_a_caution_that_nobody_asked_before_is_told() -> None:
    found = told((Check("a", WHO, PASS), Check("b", WHO, CAUTION)), (Check("a", WHO, PASS),))
    assert found.weaker == ("b (caution, not asked before)",)


# -- the same question under another name -----------------------------------------------------


def test_a_fuse_that_opens_another_is_told_under_its_new_name() -> None:
    # 11700 A²s let through, pre-arcing 9600 A²s of the string's: invented sheets
    found = change(minibus(), "branch.fast-charge-inlet.choice", "Talvik 125 high voltage")
    title = "Talvik 125 high voltage opens without Talvik 200 high voltage"
    assert f"{title} (caution, was pass)" in found.weaker
    assert not any("no longer asked" in words for words in (*found.weaker, *found.lost))


@pytest.mark.parametrize(("was", "now"), [
    ("A opens without B", "C opens without B"), ("B opens without A", "B opens without C"),
    ("A opens without A", "C opens without A"), ("A opens without A", "A opens without C"),
    ("load", "load")])
def test_a_title_follows_the_part_that_changed(was: str, now: str) -> None:
    (one,) = _called([Check(was, WHO, PASS)], [Check(now, WHO, FAIL)], "A", "C")
    assert one == Check(now, WHO, PASS)


def test_a_title_that_nobody_asks_any_more_stays() -> None:
    (one,) = _called([Check("A opens without B", WHO, PASS)], [], "A", "")
    assert one.title == "A opens without B"


# -- figures ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "asked"), [
    ("contactors.largest-current-to-break-worse-direction", "4000 A"),
    ("main_fuse.largest-rated-current-from-the-cable-side", "300 A"),
    ("branch.charge-cable.lowest-fault-current-at-the-end-of-the-branch", "300 A"),
    ("cable.battery-to-inverter.required-table-current-1-cable-a-pole", "600 A")])
def test_a_figure_that_no_check_holds_itself_cannot_be_checked(name: str, asked: str) -> None:
    found = change(example("truck"), name, asked)
    assert not found.understood and "cannot be checked" in found.words


def test_the_figure_that_stands_there_changes_nothing() -> None:
    truck = example("truck")
    one = known(truck)["contactors.largest-current-to-break-worse-direction"]
    found = recheck(truck, one, one.finding.shown)
    assert found.understood and "nothing changes" in found.words


def test_a_figure_is_put_into_what_was_computed_from_it() -> None:
    found = change(example("truck"), "cable.battery-to-inverter.factor-for-the-air-temperature",
                   "0.3")
    assert found.breaks and "Corrected current: fail, was pass" in found.words
    milder = change(example("truck"),
                    "cable.battery-to-inverter.factor-for-the-air-temperature", "0.9")
    assert not milder.understood  # no pass rests on it: another figure may govern


# -- the difference of two versions -----------------------------------------------------------


def row(**figures: float) -> BenchRow:
    return BenchRow("L01", 3, **{name: leaf(figure(name).title, "", figure(name).unit, value,
                                            "measured") for name, value in figures.items()})


def rows_of(table) -> list[dict]:
    return [{c.key: cell.data for c, cell in zip(table.columns, one)} for one in table.rows]


def test_a_reading_that_changed_is_named_by_mark_and_column() -> None:
    old, new = ({"bench_readings": rows_of(readings_table([row(resistance=one, mass=25.0)]))}
                for one in (9.455e-3, 9.9e-3))
    (found,) = difference(old, new).inputs
    assert (found.key, found.before, found.after) == (
        "L01: resistance_mohm", "9.455 mΩ", "9.9 mΩ")


def test_a_report_of_an_earlier_packcalc_is_held_by_its_grades() -> None:
    grades = [{"bench_grades": [{"mark": "L01", "resistance_mohm": one}]} for one in (8.9, 9.4)]
    new = {**grades[1], "bench_readings": rows_of(readings_table([row(resistance=9.9e-3)]))}
    (found,) = difference(grades[0], new).inputs
    assert (found.key, found.before, found.after) == ("L01: resistance_mohm", "8.9", "9.4")
    assert difference(grades[1], new).nothing


def test_the_basis_of_a_part_is_an_input() -> None:
    old, new = ({"parts_list": rows_of(list_table([ContactorPart("Lyng", basis=basis)]))}
                for basis in ("invented", "assumed"))
    (found,) = difference(old, new).inputs
    assert (found.key, found.before, found.after) == ("Lyng: basis", "invented", "assumed")


def test_an_entry_that_differs_in_the_fifth_figure_is_named() -> None:
    old, new = ({"inputs": [{"entry": "a", "meaning": "b", "value": "405.2 V", "basis": "given",
                             "origin": f"brief.toml:3 a = {one} V"}]} for one in (405.21, 405.24))
    (found,) = difference(old, new).inputs
    assert (found.before, found.after) == ("405.21 V (given)", "405.24 V (given)")
