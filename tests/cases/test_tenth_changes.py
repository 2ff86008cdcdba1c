"""What a change raises, drops or weakens is told, also where a title or a part's name changes.

Every part is invented. No figure here is a check against the outside.
"""

from __future__ import annotations

import pytest

from packcalc.bench.sheet import BenchRow, figure
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, Item, judge
from packcalc.difference import difference
from packcalc.decisions import finding_digest
from packcalc.findings import leaf
from packcalc.parts import CablePart, ContactorPart
from packcalc.protection import ProtectionStudy
from packcalc.report.bench_report import readings_table
from packcalc.report.brief_report import list_table
from packcalc.report.review_report import _result
from packcalc.review_change import Recheck, Touched, _called, _judged, _told, recheck
from packcalc.value import replace
from tests.cases.studies import study
from tests.review.cases import known
from tests.sized import example

pytestmark = pytest.mark.thorough

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
    # its own checks were not evaluated before: nobody is shown to end the heat at the inlet
    assert found.weaker and all(
        w.endswith("(not evaluated as before, by other figures)") for w in found.weaker)
    # 160 A, the I2 of its fuse, lies above 1.45 times what 35 mm² carries
    assert _result(found) == "breaks something"


def test_a_new_place_with_a_caution_is_graver() -> None:
    new = Touched("Fault place", "who clears a fault: x", "", CAUTION, "at 9 A: nobody", stage=WHO)
    found = told((), (), new)
    assert found.graver and not found.raised and "makes 1 graver" in found.words
    assert "at 9 A: nobody" in found.words and _result(found) == "is graver than before"


def with_cable(name: str, **changes: object) -> ProtectionStudy:
    """The truck with one cable more in its list: that to the inverter under another name."""
    truck = example("truck")
    brief = truck.brief
    sheet = next(p for p in brief.parts.list.parts if p.name == "Vire 185")
    more = replace(sheet, name=name, **changes)
    parts = replace(brief.parts, list=replace(brief.parts.list, parts=(
        *brief.parts.list.parts, more)))
    return replace(truck, study=replace(truck.study, brief=replace(brief, parts=parts)))


def test_a_question_that_the_new_part_alone_raises_is_told() -> None:
    silent = CablePart("").short_circuit_temperature
    found = change(with_cable("Vire 185 silent", short_circuit_temperature=silent),
                   "cable.battery-to-inverter.choice", "Vire 185 silent")
    asked = "Short-circuit temperature of the insulation (not evaluated, not asked before)"
    assert found.unshown == (asked,) and f"raises 1 not shown: {asked}" in found.words
    assert found.raised and found.graver and _result(found) == "raises what is not shown"


def test_the_same_part_under_another_name_raises_nothing() -> None:
    found = change(with_cable("Vire 185 twin"), "cable.battery-to-inverter.choice",
                   "Vire 185 twin")
    assert not (found.raised or found.graver or found.lost or found.breaks)


def test_a_caution_that_is_not_evaluated_any_more_is_raised() -> None:
    there = Touched("Disconnect", "withstands", CAUTION, NOT_EVALUATED, "x", stage=WHO)
    found = told((Check("a", WHO, NOT_EVALUATED),), (Check("a", WHO, CAUTION),), there)
    assert found.unshown == ("a (not evaluated, was caution)", there.words)
    assert found.raised and not found.weaker and not found.lost


def test_what_only_a_sheet_tells_was_open_where_a_rating_alone_stood() -> None:
    now, was = (Check("a", WHO, NOT_EVALUATED),), (Check("b", WHO, PASS),)
    blank = Recheck("part.choice", "part", "other", "A. Invented", False, "")
    for rated, raised in (((), True), (("a",), False)):
        found = _told(blank, Item("part", "part", "", ()), "other", (now, ()), "held",
                      before=was, asked={"b"}, rated=rated)
        assert found.raised is raised and "a" in found.words


# -- passes that are asked no more ------------------------------------------------------------


def test_a_pass_that_another_sheet_no_longer_asks_for_is_lost() -> None:
    truck = study("truck", motor__short_circuit_current="1 A")  # unknown, it leaves no such pass
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


@pytest.mark.parametrize(("name", "figure", "asked", "verdicts"), [
    ("truck", "overvoltage.highest-working-voltage", "449 V", [CAUTION] * 3),
    ("truck", "charge_contactor.largest-current-not-yet-cleared-by-a-fuse-when-the-charge-"
     "contactor-s-coil-has-dropped", "1500 A", [NOT_EVALUATED]),  # a motor may burst a fuse
    ("truck", "main_fuse.least-rated-current-from-the-load-side-before-the-conductor-factor",
     "395 A", [NOT_EVALUATED]),
    ("truck", "charge_contactor.highest-fault-through-the-charge-contactor", "16 kA",
     [FAIL, NOT_EVALUATED, CAUTION]),
    ("truck", "main_fuse.current-of-the-bus-back-through-the-main-fuse", "26740 A", [CAUTION]),
    ("minibus", "precharge.time-to-the-closing-level", "1.15 s", [NOT_EVALUATED] * 3)])
def test_no_figure_lifts_what_it_does_not_decide(name: str, figure: str, asked: str,
                                                 verdicts: list[str]) -> None:
    # of the minibus as long as its discharge resistor is not known
    sized = study(name, inverter__discharge_resistance="unknown") if name == "minibus" \
        else example(name)
    found = change(sized, figure, asked)
    assert found.understood and "pass, was caution" not in found.words
    assert "pass, was not evaluated" not in found.words
    assert [c.verdict for c in found.checks if c.verdict != PASS] == verdicts
    for now in found.checks:
        assert any(now.reason.startswith(d.check.reason) and now.remedy == d.check.remedy
                   for d in known(sized).values() if d.check and d.check.title == now.title)


def test_a_verdict_that_is_kept_says_so() -> None:
    found = change(example("truck"), "overvoltage.highest-working-voltage", "449 V")
    assert "caution, was caution, kept" in found.words
    assert "; kept is what does not stand on this figure alone; but for these" in found.words
    assert any(c.sentence.endswith("kept: it does not stand on this figure alone")
               for c in found.checks)


@pytest.mark.parametrize(("limit", "held", "asked", "after"), [
    (400.0, "", 450.0, NOT_EVALUATED), (400.0, CAUTION, 450.0, CAUTION), (500.0, CAUTION, 460.0, CAUTION),
    (500.0, NOT_EVALUATED, 460.0, NOT_EVALUATED), (500.0, CAUTION, 100.0, FAIL),
    (500.0, "", 100.0, FAIL), (500.0, "", 460.0, PASS)])
def test_another_figure_lifts_only_its_own_verdict(limit: float, held: str, asked: float,
                                                   after: str) -> None:
    """A rating against 440 V: a failure is lifted to no pass, what more gave is kept."""
    rating, demand = leaf("rating", "U", "V", limit, "given"), leaf("u", "U", "V", 440.0, "given")
    check = judge("rated", WHO, rating, "at least", demand, reason="words")
    check = replace(check, verdict=held or check.verdict)
    own = leaf("rating", "U", "V", asked, "given")
    now = _judged(check, own, finding_digest(rating))
    assert now.verdict == after and now.figure.number == asked and now.reason.startswith("words")


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
