"""Figures that are only the most or the least they can be, as a supplier or a program meets them.

Invented parts and examples. Before, a request sheet printed a lowest fault current and a time
constant bare although a length was left open; JSON named the figures of which more may be true and
none of which less may be; and the check of a pair said "nobody" where a fault place said
"not shown".
"""

from __future__ import annotations

import tomllib

import jsonschema
import numpy as np
import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, Requirement
from packcalc.findings import AT_LEAST, AT_MOST, OR_LESS, OR_MORE, leaf
from packcalc.part_checks.contactor import slower_duty, withstand_words
from packcalc.part_checks.path_conductors import unended
from packcalc.part_checks.sweep import MAY_MELT, NOBODY, contactor_side, device_words
from packcalc.protect.coordination import coordinate, sweep_pair
from packcalc.report import csv_
from packcalc.report.blocks import findings_table
from packcalc.report.compose import report_document
from packcalc.report.data import as_dict
from packcalc.report.render import render
from packcalc.report.schema import schema
from tests.cases.studies import ROOT, study
from tests.cases.test_coordination_cases import asked, check, contactor, f, fuse, trips
from tests.cases.test_one_rule_of_melting import listed

LENGTH = "the traction cable's length is open"


def amperes(value, note=""):
    return leaf("lowest fault", "I", "A", value, "invented", note=note)


def spoken(swept):
    """(from, to, words) of what nobody is shown to open."""
    return [(round(h.low), round(h.high), h.words) for h in swept.unopened]


# -- a figure and what is not known of it -------------------------------------------------------


@pytest.mark.parametrize("note, shown, open_", [
    ("", "812.0 A", ""),
    ("of its loops" + OR_LESS + LENGTH, "812.0 A or less", f"or less: {LENGTH}"),
    (f"{AT_MOST}: {LENGTH}", "812.0 A or less", f"or less: {LENGTH}"),
    ("as far as told" + OR_MORE + LENGTH, "812.0 A or more", f"or more: {LENGTH}"),
    (f"{AT_LEAST}, the motor not known; governed by: others", "812.0 A or more",
     "or more: the motor not known"),
    (f"{AT_LEAST}, the motor not known{OR_MORE}{LENGTH}", "812.0 A or more",
     f"or more: the motor not known; or more: {LENGTH}")])
def test_a_figure_says_which_end_it_is(note, shown, open_):
    found = amperes(812.0, note)
    assert (found.with_end, found.left_open) == (shown, open_)
    line = Requirement("breaks", "a figure", "because").resting_on(found, None, found)
    assert line.why == "; ".join(filter(None, ("because", open_)))  # once, and no more


def test_a_figure_without_value_leaves_nothing_open():
    assert amperes(None, f"{AT_MOST}: {LENGTH}").left_open == ""
    assert amperes(None, f"{AT_MOST}: {LENGTH}").with_end == amperes(None).shown


def test_the_curve_of_a_closed_contact_begins_at_the_figure_or_less():
    words = withstand_words(amperes(812.0, "told" + OR_LESS + LENGTH), amperes(9000.0))
    assert words.startswith("its curve from 812.0 A or less to 9000 A")
    slow = leaf("L/R", "T", "ms", 2e-3, "invented", note="as far as told" + OR_MORE + LENGTH)
    (row,) = slower_duty(((f("U", "V", 200.0), slow),))
    assert row.why.endswith(f"; or more: {LENGTH}")


def test_a_long_note_keeps_what_may_make_a_figure_worse():
    """It was cut with the list of what does not govern, behind which it stands."""
    rivals = "; ".join(f"another figure of a long name {n} ms" for n in range(20))
    found = amperes(5.0, f"governed by: one (others: {rivals}){OR_MORE}{LENGTH}")
    note = findings_table("t", "T", (found,)).rows[0][-1].text
    assert note == f"governed by: one; all others in its chain{OR_MORE}{LENGTH}"


# -- nobody, or not shown -----------------------------------------------------------------------

# A contactor that trips is torn open until the fuse is faster, within the 0.1 s of its delay and
# opening: 3162 A by the fuse's curve, later as the current rises first. The fuse F clears within a
# second from 1000 A on, melts in a second at 800 A, is rated 250 A and
# breaks 30 kA; the contactor K breaks 1500 A; faults run from 700 A to 20 kA. All invented.
SILENT = {"permitted_time_constant": ""}  # of the fuse: it then counts nowhere, and may clear


@pytest.mark.parametrize("changes, holes", [
    # every datum is there: a trip at 5000 A opens nothing between 700 A and 1000 A
    ({"trips": trips(5000.0), "contactor": contactor(break_discharge="6000 A",
                                                     break_charge="6000 A")},
     [(700, 1000, "nobody")]),
    ({"trips": None}, [(700, 1000, "not shown: contactor")]),
    ({"contactor": contactor(break_charge="")},
     [(700, 3517, "not shown: contactor, the contactor trips and is not shown to break it")]),
    # a sheet that says 300 V at 420 V says that it breaks nothing, whatever else is asked
    ({"contactor": contactor(rated_voltage_dc="300 V", break_charge="")},
     [(700, 3517, "nobody, the contactor trips and is not counted on to break it")]),
    # a trip above what the contactor breaks, and the fuse may have cleared before
    ({"fuse": fuse(**SILENT), "trips": trips(5000.0)},
     [(700, 5000, "not shown: fuse"),
      (5000, 20000, "not shown: fuse, the contactor trips above what it breaks")]),
])
def test_a_pair_says_nobody_only_where_it_is_known(changes, holes):
    assert spoken(sweep_pair(asked(**changes)))[:len(holes)] == holes


def test_a_silent_fuse_opens_nothing_up_to_its_rating():
    # rated 750 A: below nobody, however its sheet is completed; above it may
    part = fuse(**SILENT, rated_current="750 A")
    found = sweep_pair(asked(fuse=part, trips=trips(50000.0), contactor=None))
    told = sweep_pair(asked(fuse=part, trips=trips(50000.0),
                            contactor=contactor(rated_voltage_dc="300 V")))
    assert {w for _, _, w in spoken(found)} == {"not shown: contactor",
                                                "not shown: fuse or contactor"}
    assert [w for _, _, w in spoken(told)][:2] == ["nobody", "not shown: fuse"]
    assert spoken(told)[0][1] == 750 == round(told.unopened[1].low)
    # the span stays one hole of one kind to whoever seeks its cure
    assert [h.device for h in told.holes] == [NOBODY]


def test_what_a_sheet_rules_out_is_no_question():
    """A pair failed nowhere while its fuse's sheet lacked anything; here it breaks 15 kA alone."""
    part = fuse(**SILENT, breaking_capacity="15 kA")
    far, near = (check(coordinate(asked(fuse=part, high=high)), "every fault")
                 for high in (20000.0, 14000.0))
    assert far.verdict == FAIL and "to 20000 A nobody" in far.reason
    assert near.verdict == NOT_EVALUATED and "nobody" not in near.reason.partition(";")[0]


def test_nothing_may_open_behind_a_fuse_that_surely_melts_before():
    # partial range from 3000 A: at 900 A it melts within 0.8 s and by its sheet does not break
    part = fuse(**{"class": "aR", "lowest_breaking_current": "3000 A"})
    swept = sweep_pair(asked(fuse=part, trips=None))
    index = int(np.argmin(np.abs(swept.current - 900.0)))
    below = int(np.argmin(np.abs(swept.current - 705.0)))  # it takes longer than the second there
    assert swept.may[index] == 0 and swept.may[below] == 2


def test_heat_that_may_be_ended_is_not_left_to_nobody():
    swept = sweep_pair(asked(trips=None))
    assert unended(swept) == ("from 700.0 A to 1000 A nobody is shown to end the heat, and no "
                              "conductor holds")
    assert device_words(MAY_MELT).startswith("not shown, the fuse may melt")


def test_who_may_open_holds_the_sensor_to_what_the_trips_see():
    """One rule serves the path and the fault places, where a string's contactor breaks a share."""
    side = contactor_side(contactor(opening_time=""), trips(2000.0), f("U", "V", 420.0),
                          f("L/R", "ms", 2e-3), None)
    assert side.reasons and not side.never
    seen = np.array([1900.0, 2100.0])
    assert side.may_open(seen, 1.0, seen / 2.0).tolist() == [False, True]
    assert side.may_open(seen, 1.0).tolist() == [False, False]  # it breaks 1500 A


@pytest.mark.thorough
@pytest.mark.parametrize("part, changes, who", [
    ("Lyng_500", {"break_charge": ""}, "not shown"),
    ("Talvik_400_full_range", {"permitted_time_constant": ""}, "not shown"),
    ("Lyng_500", {"rated_voltage_dc": "300 V"}, "nobody")])
def test_a_path_and_its_fault_place_say_the_same(tmp_path, part, changes, who):
    """Of the place across the pack's terminals, where fuse and contactors alone stand."""
    found = study("truck", parts__file=listed(tmp_path, **{part: changes}))
    place = next(p for p in found.circuit.places if p.key == "terminals")
    assert {d.key for d in place.loop.devices} == {"main_fuse", "contactors"}
    pair = next(i for i in found.items if i.key == "coordination").checks
    told = next(c for c in pair if c.title.startswith("every fault current")).reason
    assert f" A {who}" in told
    assert any(a.words.startswith(who) for a in place.answers)
    assert place.nobody == (who == "nobody") == (" A nobody" in told)


# -- the sheets and the data of a design with an open length ------------------------------------


@pytest.fixture(scope="module")
def open_length():
    data = tomllib.loads((ROOT / "examples" / "truck" / "brief.toml").read_text("utf-8"))
    return study("truck", cables__route=[
        {**r, "length": "unknown"} if r["carries"] == "traction" else r
        for r in data["cables"]["route"]])


def rows(found, key):
    return {r.what: r for r in next(i for i in found.items if i.key == key).specification}


@pytest.mark.thorough
def test_every_sheet_tells_what_is_open_of_its_figures(open_length):
    lowest = open_length.faults.lowest
    assert lowest.or_less
    main, pair = rows(open_length, "contactors"), rows(open_length, "coordination")
    assert f"its curve from {lowest.shown} or less to " in main["short-time withstand"].value
    assert "L/R at least" in main["breaks"].value
    curve = pair["fuse: total clearing curve in DC"]
    assert f"points from {lowest.shown} or less to " in curve.value
    fuse_ = rows(open_length, "main_fuse")
    lines = [main["breaks"], main["L/R at lower voltages"], main["short-time withstand"],
             curve, fuse_["Lowest breaking current"],
             fuse_["Permitted time constant L/R at that voltage"],
             rows(open_length, "charge_contactor")["L/R at lower voltages"],
             rows(open_length, "disconnect")["breaks"],
             rows(open_length, "precharge")["relay: breaks"],
             rows(open_length, "branch.charge cable")["branch fuse: permitted time constant L/R"]]
    for line in lines:
        assert "counted as 5.000 m, our assumption, and may be more" in line.why, line
    assert any(what.endswith(" A or less DC") for what in fuse_)
    # a cell that is a number in the data stays one
    data = as_dict(report_document(open_length))
    values = [r["value"] for r in data["contactors_duty"]]
    assert all(isinstance(v, float) or v in (None, "not known") for v in values), values


@pytest.mark.thorough
def test_a_whole_design_prints_its_figures_bare():
    main = rows(study("truck"), "contactors")
    assert not any("may be more" in r.why for r in main.values())
    assert " or less" not in main["short-time withstand"].value


@pytest.mark.thorough
def test_the_data_name_the_figures_of_which_less_may_be_true(open_length):
    document = report_document(open_length)
    first = as_dict(document)["first"]
    assert isinstance(first["fault_lowest_A"], float)
    assert first["upper_bounds"] == ["fault_lowest_A"]
    jsonschema.validate(as_dict(document), schema("report"))
    assert "upper_bounds,May be less,fault_lowest_A" in csv_.render(document, "first")
    assert as_dict(report_document(study("truck")))["first"]["upper_bounds"] == []
    for page in ("text", "html"):  # a page says it in words already
        assert "upper_bounds" not in render(document, page)
