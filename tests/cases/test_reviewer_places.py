"""What a reviewer found at fault places, contactors and pictures; vehicles and parts invented.

Each case was wrong once: a fuse credited in a loop that it is not in, contactors named that
the picture does not have, three figures for one demand, a contactor in no list.
"""

from __future__ import annotations


import pytest

from packcalc.checks import CAUTION, NOT_EVALUATED, worst
from packcalc.decisions import decisions
from packcalc.handover.bill import bill
from packcalc.parts import CONTACTOR
from packcalc.protect import places as pl
from packcalc.protection import STRINGS_TITLE, ProtectionStudy
from packcalc.report.drawings.circuit import circuit_of
from packcalc.report.drawings.one_line import one_line_figure
from packcalc.report.states_report import positions_table
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

SOUND = ("truck", "van", "minibus")


@pytest.fixture(scope="module")
def truck() -> ProtectionStudy:
    return study("truck")


@pytest.fixture(scope="module")
def minibus() -> ProtectionStudy:
    return study("minibus")


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def item(found, key):
    return next(i for i in found.items if i.key == key)


def line(of, words):
    return next(r.value for r in of.specification if r.what.startswith(words))


# -- a fuse counts only in the loops that it is in ----------------------------------------------


@pytest.fixture(scope="module")
def unnamed():
    """The truck before anybody has named its mid-pack fuse or its charge contactor."""
    return study("truck", parts__mid_fuse=None, parts__charge_contactor=None)


@pytest.mark.parametrize("key", ["inside_across", "beyond_mid"])
def test_the_fuse_of_a_pole_is_not_credited_in_a_loop_through_the_middle_alone(unnamed, key):
    found = place(unnamed, f"chassis.second.{key}")
    assert "main_fuse" not in {d.key for d in found.loop.devices}
    # the lowest of a loop that leaves the box is opened by one pole's contactor on the cells' trip
    ends = (found.at_highest,) if key == "beyond_mid" else (found.at_highest, found.at_lowest)
    for end in ends:
        assert end.clears is None
        assert end.words.startswith("not shown: mid-pack fuse, not named")
    assert "Talvik 400" not in found.at_highest.why


def test_the_decisions_follow(unnamed):
    line_ = next(d for d in decisions(unnamed) if d.id == "place.chassis-second-inside-across")
    assert line_.verdict == NOT_EVALUATED and "Talvik" not in line_.shown


def test_the_fuse_of_a_pole_counts_where_that_pole_is_in_the_loop(truck):
    keys = [d.key for d in place(truck, "chassis.second.fused_pole").loop.devices]
    assert keys == ["main_fuse", "pole_contactor", "pole_cell_trip"]


@pytest.mark.parametrize("stands", pl.STANDS)
def test_each_loop_says_which_fuse_it_passes(stands):
    for pair in pl.chassis_pairs(stands):
        through_middle = pair.key in ("beyond_mid", "inside_across")
        assert (pair.fuse == pl.MIDDLE_FUSE) == through_middle
        assert (pair.fuse == pl.POLE_FUSE) == (pair.key == "fused_pole")


def test_a_main_fuse_that_stands_mid_pack_still_counts_there():
    found = study("truck", path__main_fuse="mid-pack", parts__mid_fuse=None)
    assert [d.key for d in place(found, "chassis.second.inside_across").loop.devices] \
        == ["main_fuse"]


def test_a_string_fuse_stands_at_one_end_of_its_string():
    # fuses in both poles: a loop through the minus pole passes no string fuse
    found = study("minibus", path__main_fuse="both poles")
    keys = [d.key for d in place(found, "chassis.second.fused_pole").loop.devices]
    assert keys == ["main_fuse", "pole_contactor", "pole_cell_trip"]


# -- parallel strings have no main contactors ---------------------------------------------------


def test_no_place_of_a_layout_in_strings_is_cleared_by_main_contactors(minibus):
    named = {d.name for p in minibus.circuit.places for d in p.loop.devices}
    assert "string contactors" in named and "main contactors" not in named
    assert place(minibus, "terminals").at_lowest.device == "string contactors"


@pytest.mark.parametrize("branch", ["floor heater", "insulation monitor"])
def test_a_tap_behind_the_main_fuse_lies_behind_the_string_contactors(minibus, branch):
    found = place(minibus, f"branch.{branch}.before")
    assert "contactors" in {d.key for d in found.loop.devices}
    assert found.at_lowest.device == "string contactors" and found.at_lowest.clears
    # with no contactor between, the link feeds it as well
    assert any("link" in other.end for other in found.others)


def test_in_one_string_the_same_taps_have_no_contactor_upstream(truck):
    found = place(truck, "branch.battery heater.before")
    assert "contactors" not in {d.key for d in found.loop.devices}


def test_the_contactors_of_the_strings_are_those_held_against_the_faults():
    weak = study("minibus", parts__contactor="Lyng 500")
    assert weak.coordination.asked.contactor.name == "Lyng 300 high voltage"
    assert place(weak, "terminals").at_lowest.clears
    # no pair is common to all strings: the main contactor's sheet cleared what nobody named
    unnamed = study("minibus", parts__string_contactor=None)
    assert unnamed.coordination.asked.unnamed == (CONTACTOR,)
    assert not place(unnamed, "terminals").at_lowest.clears
    strong = study("minibus", parts__string_contactor="Lyng 500")
    assert strong.coordination.asked.contactor.name == "Lyng 500"
    assert not place(strong, "terminals").at_lowest.clears


def test_coordination_of_strings_says_whose_contactors_open(minibus, truck):
    assert "string contactors" in minibus.coordination.item.notes[0]
    assert not any("string contactors" in n for n in truck.coordination.item.notes)


def test_states_of_strings_name_their_contactors(minibus):
    states = minibus.circuit.states
    said = " ".join((*states.contactors, *(w for s in states.states for w in (
        s.before, s.point, s.failing, s.live, s.blind)), *states.weld_check, *states.item.notes,
        *(c.title + c.reason + c.remedy for c in states.item.checks),
        *(r.what + r.value + r.why for r in states.item.specification)))
    assert "string plus" in said and "string minus" in said
    for words in ("main plus", "main minus", "main contact"):
        assert words not in said


def test_one_breaking_demand_of_a_string_contactor_everywhere(minibus):
    own = next(f for f in item(minibus, "string_contactors").duty
               if f.title.startswith("largest current that a string contactor must break, its"))
    assert own.number > 1100.0  # not the 274.3 A that a string carries at its peak
    assert line(item(minibus, "string_contactors"), "breaks").startswith(own.shown)
    back = next(f for f in item(minibus, "string_contactors").duty if "fed by the others" in f.title)
    assert back.number > 1000.0  # not the 92.74 A of braking: a fault of its own string runs back
    assert f"at least {own.shown} discharging and at least {back.shown} charging" \
        == line(item(minibus, "strings"), "string contactor: breaking current")
    drawn = [p for p in circuit_of(minibus).parts if p.name.startswith("string contactor")]
    assert {p.breaking.shown for p in drawn} == {own.shown}
    bought = next(b for b in bill(minibus) if b.key == "contactors")
    assert bought.what == "String contactors" and f"breaks: {own.shown}" in bought.demand


def test_the_duty_of_the_whole_pack_says_what_it_is(minibus, truck):
    assert item(minibus, "contactors").title == STRINGS_TITLE
    assert item(truck, "contactors").title == "Main contactors"


def test_a_module_shorted_inside_a_string_has_one_answer(minibus):
    found = place(minibus, "string.module")
    check = next(c for c in item(minibus, "strings").checks if "shorted inside" in c.title)
    assert check.verdict == worst(found.checks)
    assert "lowest cell" in check.reason and "nobody" not in check.reason


# -- the charge contactor -----------------------------------------------------------------------


def tagged(found, words):
    return [p for p in circuit_of(found).parts if p.name.startswith(words)]


@pytest.mark.parametrize("poles, many", [("one pole", 1), ("both poles", 2)])
def test_a_stated_charge_contactor_is_drawn_bought_and_switched(poles, many):
    found = study("truck", path__charge_contactor=poles)
    drawn = tagged(found, "charge contactor")
    assert len(drawn) == many
    assert all(p.tag in one_line_figure(found).svg for p in drawn)
    bought = next(b for b in bill(found) if b.key == "charge_contactors")
    assert bought.quantity == many and "33.64 A" in bought.demand
    assert found.circuit.states.contactors[-1] == "charge contactor"
    assert line(item(found, "switching"), f"charge contactor, {poles}")


@pytest.mark.parametrize("given", ["none", None])
def test_without_one_the_inlet_is_live_and_said_to_be(given):
    found = study("truck", path__charge_contactor=given)
    assert tagged(found, "charge contactor") == []
    assert "charge_contactors" not in {b.key for b in bill(found)}
    states = found.circuit.states
    assert "charge contactor" not in states.contactors
    assert len(positions_table(states).columns) == 2 + len(states.contactors)
    for name in ("pre-charge", "run"):
        assert "charge inlet" in states.state(name).live
    check = next(c for c in states.item.checks if c.title.startswith("charge inlet is dead"))
    assert check.verdict == CAUTION and "both poles" in check.remedy
    limits = " ".join(limit.action for limit in found.circuit.management.limits)
    assert "charge contactor" not in limits


def test_one_pole_leaves_the_other_live():
    states = study("truck", path__charge_contactor="one pole").circuit.states
    assert "one pole of the charge inlet" in states.state("run").live
    check = next(c for c in states.item.checks if c.title.startswith("charge inlet is dead"))
    assert check.verdict == CAUTION


def test_both_poles_stay_a_question_to_their_maker(unnamed):
    states = unnamed.circuit.states
    assert "inlet" not in states.state("run").live
    check = next(c for c in states.item.checks if c.title.startswith("charge inlet is dead"))
    assert check.verdict == NOT_EVALUATED


@pytest.mark.parametrize("name", SOUND)
def test_the_inlet_is_drawn_once(name):
    kinds = [p.kind for p in circuit_of(study(name)).parts]
    assert kinds.count("inlet") == 1


# -- the fuse's permitted time constant, and the insulation monitor -----------------------------


@pytest.mark.parametrize("name", SOUND)
def test_the_fuse_is_asked_for_every_pair_of_voltage_and_time_constant(name):
    found = study(name)
    fuse = item(found, "main_fuse")
    assert line(fuse, "Permitted time constant L/R at that voltage").endswith(" V")
    pairs = line(fuse, "Permitted time constant L/R at lower voltages")
    one = place(found, "chassis.second.fused_pole").loop.devices[0].breaks
    assert pairs.count(" V") == len(one) and len(one) > 2
    # one module between the faults: least voltage, slowest loop
    assert one[0][1].number == max(constant.number for _, constant in one)


def test_the_insulation_monitor_is_drawn_once(truck):
    parts = circuit_of(truck).parts
    (drawn,) = [p for p in parts if p.kind == "monitor"]
    assert drawn.place == "tapped behind the main fuse" and not drawn.note
    assert "opens the contactors" in drawn.other
    assert [p.name for p in parts].count("insulation monitor") == 1
    assert "No insulation monitor" not in one_line_figure(truck).text


def test_a_monitor_that_no_branch_describes_is_still_drawn():
    found = study("truck", without="monitor")
    (drawn,) = [p for p in circuit_of(found).parts if p.kind == "monitor"]
    assert "which side" in drawn.note


def test_a_monitor_that_nobody_counts_on_says_so():
    found = study("truck", path__insulation_monitor="none", management__isolation_warn=None,
                  management__isolation_trip=None)
    (drawn,) = [p for p in circuit_of(found).parts if p.kind == "monitor"]
    assert "counted on by nobody" in drawn.other
