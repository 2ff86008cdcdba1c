"""What nobody told, or a list puts into a loop unasked, betters no answer of who ends a fault.

Invented examples and parts with single entries changed; each test names what was said before.
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, NOT_EVALUATED
from packcalc.part_checks.sweep import NO_TRIP, UNREAD, contactor_side, seeing
from packcalc.part_checks.torn import TornOpen
from packcalc.places.stands import INSIDE, PERHAPS, fuse_in_disconnect
from packcalc.value import replace
from tests.cases.studies import study
from tests.cases.test_coordination_cases import contactor, f, trips
from tests.cases.test_one_rule_of_melting import listed

VOLTS, TAU = f("highest voltage", "V", 400.0), f("L/R", "ms", 2e-3)
WITHSTANDS = "closed contactor withstands faults until they are cleared"
EVERY = "every fault current from pole to pole is opened, fuse and contactor overlapping"
MEETS = "overload and fault range meet, from pole to pole"


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def told(found, title):
    return next(c for c in found.coordination.item.checks if c.title == title)


# -- a contactor by its own figures, and one of which something is asked -----------------------


def side(tripped=None, constant=TAU, **entries):
    return contactor_side(contactor(**entries), tripped or trips(), VOLTS, constant, None)


def test_a_figure_that_its_sheet_states_is_no_question():
    # every reason of a contactor that does not count was told as "not shown"
    assert not side().reasons
    assert side(rated_voltage_dc="300 V").never and side(break_time_constant="1 ms").never
    for blank in ("rated_voltage_dc", "break_time_constant", "break_charge", "opening_time"):
        open_ = side(**{blank: ""})
        assert open_.reasons and not open_.never, blank


def test_a_trip_beyond_its_sensor_is_named_and_acts_nowhere():
    # "no trip is named" was said of one, and "not shown" of what it leaves
    far = replace(trips(), sensor_range=f("range", "A", trips().current.number * 0.5))
    beyond = side(far)
    assert beyond.reasons == (UNREAD,) and beyond.never
    assert seeing(beyond, far, None).reasons == (UNREAD,)
    unnamed = side(replace(far, current=None))
    assert unnamed.reasons == (NO_TRIP,) and not unnamed.never
    assert side(replace(far, delay=None)).reasons == (NO_TRIP,)  # it may act sooner or later


def test_a_loop_of_its_own_time_constant_is_asked_for_itself():
    slow = side(break_time_constant="1 ms")
    quick = slow.in_loop("", False)  # the loop is quicker than the test: a question at most
    assert quick.reasons == slow.reasons and not quick.never
    assert slow.in_loop("its own", True).never
    assert not side().in_loop("asked at another voltage", False).never
    assert side(rated_voltage_dc="300 V").in_loop("", False).never  # whatever the loop is


def test_a_charge_contactor_of_too_little_voltage_is_torn_open_for_certain():
    # it "may be" torn open, for its rated voltage stood among what is asked of the maker
    low, silent = (TornOpen(side(rated_voltage_dc=one)) for one in ("300 V", ""))
    at = low.side.lines[0].from_current
    assert low.fails(at).all() and "does not break this" in low.why(at)
    assert not silent.fails(at).any() and "is not shown to break this" in silent.why(at)


@pytest.mark.thorough
def test_nobody_ends_what_a_contactor_of_too_little_voltage_leaves(tmp_path):
    # the place was "not shown" between trip and fuse, and stood in no caution of the first page
    low = {"rated_voltage_dc": "400 V",
           "permitted_time_constant": "60 V: 6.5 ms; 230 V: 4 ms; 400 V: 2.5 ms"}
    stated = place(study("truck", parts__file=listed(tmp_path, Lyng_500=low)), "terminals")
    assert stated.nobody and "is not above" in stated.at_lowest.why
    (tmp_path / "blank").mkdir()
    blank = place(study("truck", parts__file=listed(
        tmp_path / "blank", Lyng_500={"rated_voltage_dc": ""})), "terminals")
    assert blank.at_lowest.clears is None and not blank.nobody


@pytest.mark.thorough
def test_a_string_trip_above_its_sensor_ends_nothing():
    # ten times the trip bettered "nobody" to "not shown"
    for setting in ("350 A", "3500 A"):
        found = study("minibus", strings__trip_current=setting)
        leak = place(found, "chassis.second.strings.fused")
        assert leak.nobody, setting


# -- places of which not all is shown ----------------------------------------------------------


@pytest.mark.thorough
def test_a_contact_is_not_held_where_nobody_is_shown_to_end_the_fault():
    # with no sheet of the charger's fuse nobody is shown to end a fault at the inlet, and the
    # contact was held all the same: a caution, where a bad sheet leaves it not evaluated
    found = study("van")
    inlet = place(found, "inlet")
    assert not (inlet.shown or inlet.nobody or inlet.loop.inherent)
    check = told(found, WITHSTANDS)
    assert check.verdict == NOT_EVALUATED and f"'{inlet.title}'" in check.reason


@pytest.mark.thorough
def test_every_current_is_opened_only_where_every_place_is_shown():
    # a pass stood while the place behind a branch fuse was open, and a thin wire there fails
    whole = told(study("truck"), EVERY)
    assert whole.verdict == CAUTION and "Nobody is shown" not in whole.reason
    found = study("truck", branch={"DC/DC converter": {"section": "unknown"}})
    open_ = place(found, "branch.DC/DC converter.after")
    assert not (open_.shown or open_.nobody)
    check = told(found, EVERY)
    assert check.verdict == CAUTION and f"Nobody is shown to open some current of: {open_.title}" \
        in check.reason


@pytest.mark.thorough
def test_the_worst_of_rivals_is_so_as_far_as_is_known():
    # "at worst that of charger" was said while that of the oven was not evaluated
    found = study("van", branch={"oven of the round": {"section": "unknown"}})
    row = place(found, "chassis.second.inside_module_branch")
    assert row.title.endswith("as far as is known (not shown: oven of the round)")
    assert row.rivals[0].loop.rival.name == "charger"
    assert "may be less" in row.lowest.note
    each = study("truck")
    assert "as far as" not in place(each, "chassis.second.inside_module_branch").title


# -- a fuse in the disconnect ------------------------------------------------------------------


def inside(tmp_path, fuse, **changes):
    """The truck with nothing counted between its modules but what the list puts there."""
    return study("truck", **{"pack__fuse_after": 0, "parts__mid_fuse": None, "parts__file": listed(
        tmp_path, Port_400={"fuse_inside": fuse})} | changes)


@pytest.mark.thorough
def test_a_fuse_that_the_list_puts_into_the_disconnect_may_melt_first(tmp_path):
    # "counted nowhere" was said of it, and everybody else went on clearing
    found = inside(tmp_path, "yes")
    terminals = place(found, "terminals")
    assert {one.device for one in terminals.answers} == {INSIDE}
    assert not any(one.clears for one in terminals.answers)
    assert told(found, EVERY).verdict == CAUTION and "may melt first" in told(found, EVERY).reason
    assert told(found, MEETS).verdict == NOT_EVALUATED
    assert INSIDE in told(found, MEETS).reason
    # what nobody ends it does not better: inside the box no device stands all the same
    assert place(found, "box").nobody


@pytest.mark.thorough
def test_without_a_fuse_in_it_nothing_changes(tmp_path):
    found = inside(tmp_path, "no")
    assert place(found, "terminals").shown
    # other places of the truck's path are left to nobody: these alone take the pass
    for title in (EVERY, MEETS):
        assert told(found, title).verdict == CAUTION
        assert "may melt first" not in told(found, title).reason


@pytest.mark.thorough
@pytest.mark.parametrize(("fuse", "changes"), [
    ("", {}), ("yes", {"pack__disconnect_after": "unknown"})])
def test_one_that_is_left_open_may_stand_there(tmp_path, fuse, changes):
    found = inside(tmp_path, fuse, **changes)
    assert not place(found, "terminals").shown
    assert fuse_in_disconnect(found.brief, found.layout.series) == f"{INSIDE}{PERHAPS}"


@pytest.mark.thorough
def test_the_fuse_that_the_brief_counts_on_there_is_no_further_one(tmp_path):
    found = inside(tmp_path, "yes", pack__fuse_after=8, parts__mid_fuse="Talvik 400 full range")
    assert found.brief.pack.disconnect_after.number == 8
    assert fuse_in_disconnect(found.brief, found.layout.series) == ""
    assert place(found, "terminals").shown
