"""What nobody told passes nothing: an unnamed fuse, a heavier load, a larger power or error.

The vehicles and parts are those of the invented examples, one entry changed; the worse values are
invented too. Each of these passed by what packcalc had put in the place of an open entry.
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, judge
from packcalc.clearing import clearing_by, largest_to_break, takeover_of
from packcalc.decisions import decisions
from packcalc.findings import AS_PARTS, NO_BOUND, Origin, leaf, trace, with_more
from packcalc.electrical import power_current
from packcalc.part_checks.trip_checks import trip_checks
from packcalc.parts import FUSE
from packcalc.protect.coordination import sweep_pair
from packcalc.report.layouts_report import layouts_section
from packcalc.value import replace
from tests.cases.studies import study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough
GRAVER = {PASS: (CAUTION, NOT_EVALUATED, FAIL), CAUTION: (NOT_EVALUATED, FAIL)}
LINK = {"path__link_resistance": "unknown"}
TRIP_TELLS = "the trip tells a fault from a load"


def verdicts(found, *words):
    return {d.id: d.verdict for d in decisions(found)
            if d.verdict and (not words or d.id.startswith(words))}


def told(found, words):
    return next(d.shown for d in decisions(found) if d.id.startswith(words))


# -- the fuse that nobody named: the first of the list stood for it ---------------------------


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_no_management_pass_rests_on_a_fuse_that_nobody_named(name):
    bare = study(name, parts__main_fuse=None)
    for words in ("management.trip-acts-below-the-current-at-which-the-fuse",
                  "management.current-sensor-reaches-the-highest-current",
                  "management.first.its-current-sensor-reaches-as-far",
                  "contactors.first.closes-onto-a-fault-and-passes"):
        assert set(verdicts(bare, words).values()) == {NOT_EVALUATED}, words
        assert "name the main fuse" in told(bare, words)
        assert set(verdicts(study(name), words).values()) == {PASS}, words


def test_the_take_over_of_an_unnamed_fuse_is_no_limit():
    held, bare = study("truck").coordination, study("truck", parts__main_fuse=None).coordination
    assert not takeover_of(held).or_less and not largest_to_break(held).or_more
    assert takeover_of(bare).may_be_less and largest_to_break(bare).untold_more
    # The contactor that nobody named shifts what a trip breaks, and no current of the fuse.
    other = study("truck", parts__contactor=None).coordination
    assert largest_to_break(other).untold_more and not takeover_of(other).may_be_less


def test_an_unnamed_fuse_leaves_the_lowest_fault_to_no_pass():
    asked = study("truck").coordination.asked
    asked = replace(asked, fault_lowest=replace(asked.fault_lowest, value=3000.0))
    for one, verdict in ((asked, PASS), (replace(asked, unnamed=(FUSE,)), NOT_EVALUATED)):
        check = next(c for c in trip_checks(one, sweep_pair(one)) if c.title == TRIP_TELLS)
        assert (check.verdict, "the fuse alone" in check.reason) == (verdict, True)


def test_an_overload_trip_is_not_held_with_the_error_of_a_range_that_nobody_told():
    words = "management.overload-trip-ends-an-overload-of-the-modules"
    whole, bare = study("truck"), study("truck", management__current_sensor_range="unknown")
    assert verdicts(bare, words)[words] in (
        {PASS: (NOT_EVALUATED,)}.get(verdicts(whole, words)[words], GRAVER[CAUTION] + (CAUTION,)))


# -- the undervoltage trip while the load may be heavier ---------------------------------------


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_the_cells_trip_ends_nothing_while_its_level_is_not_shown_to_leave_the_load_alone(name):
    found = study(name, **LINK)
    answers = clearing_by(found.coordination, found.brief, found.circuit.inside_strings)
    assert answers.doubt and not answers.as_told.doubt
    assert not any(one.clears and "lowest cell" in one.device
                   for place in found.circuit.places for one in place.answers)
    assert any("counted on nowhere" in one.why
               for place in found.circuit.places for one in place.answers)
    assert any(one.clears and "lowest cell" in one.device
               for place in study(name).circuit.places for one in place.answers)


@pytest.mark.parametrize("name", ["truck", "van", "minibus"])
def test_a_place_that_waits_for_the_load_is_a_question_and_no_failure(name):
    """The second chassis fault beside the van's charger lost its wire to the fuse alone."""
    found = verdicts(study(name, **LINK), "place.")
    known = verdicts(study(name), "place.")
    worse = verdicts(study(name, path__link_resistance="1 mΩ"), "place.")
    assert not [key for key, verdict in found.items()
                if verdict == FAIL != known.get(key) and worse.get(key) != FAIL]
    assert not [key for key, verdict in found.items() if known.get(key) in GRAVER.get(verdict, ())]


def test_without_another_trip_the_range_is_not_shown_and_does_not_fail():
    asked = study("truck", **LINK).coordination.asked
    alone = replace(asked, trips=replace(asked.trips, current=None, overload=None))
    swept = sweep_pair(alone)
    assert swept.contactor.doubt and not swept.covered and swept.as_told.covered
    assert all(hole.open for hole in swept.unopened)
    # What it may open too soon it may all the same.
    sure = sweep_pair(replace(alone, trips=alone.trips.as_told)).contactor
    high = float(swept.current[-1])
    assert float(swept.contactor.earliest(high)) <= float(sure.earliest(high))


def test_the_heat_asked_is_no_less_while_the_trip_is_open():
    one, other = ({h.name: h.heat for h in study("van", **changes).circuit.heats}
                  for changes in ({"path__link_resistance": "0.2 mΩ"}, LINK))
    assert one and all(other[name].number >= heat.number * (1 - 1e-9)
                       for name, heat in one.items() if heat.known)


# -- the charger's tolerance in the rise of the link -------------------------------------------

REACTION = "overvoltage.inverter-stops-braking-before"
QUIET = "overvoltage.over-voltage-trip-stays-quiet"


def test_the_inverters_reaction_is_not_shown_from_a_start_that_may_be_higher():
    found = study("truck", charger__tolerance="unknown")
    assert set(verdicts(found, REACTION).values()) == {NOT_EVALUATED}
    assert "charger.tolerance" in told(found, REACTION)
    assert set(verdicts(study("truck"), REACTION).values()) == {PASS}
    # The trip under braking rests on that reaction: a question, where it was a caution.
    assert set(verdicts(found, QUIET).values()) == {NOT_EVALUATED}
    assert set(verdicts(study("truck"), QUIET).values()) == {CAUTION}


def test_a_close_charger_leaves_the_full_pack_at_less():
    # 1 % was counted: a motor just above the set point passed as below the full pack
    pack = study("truck", charger__tolerance="unknown").pack
    between = 0.5 * (pack.rest_full_voltage.number + pack.full_voltage.number)
    found = study("truck", charger__tolerance="unknown", motor__back_voltage=f"{between:.2f} V")
    exact = study("truck", charger__tolerance="0 %", motor__back_voltage=f"{between:.2f} V")
    words = "overvoltage.dead-inverter-cannot-overcharge"
    assert verdicts(found, words) == verdicts(exact, words)
    assert set(verdicts(found, words).values()) == {FAIL}


# -- entries that nothing bounds ---------------------------------------------------------------

WORSE = {
    ("power__continuous", "truck"): "110 kW", ("power__continuous", "van"): "36 kW",
    ("power__continuous", "minibus"): "150 kW",
    ("power__peaks_in_life", "truck"): 1000000, ("power__peaks_in_life", "van"): 1000000,
    ("power__peaks_in_life", "minibus"): 1000000,
    ("charger__power", "truck"): "30 kW", ("charger__power", "van"): "60 kW",
    ("charger__power", "minibus"): "60 kW",
    ("inverter__full_power_from", "truck"): "330 V",
    ("inverter__full_power_from", "minibus"): "650 V",
    ("regeneration__power", "minibus"): "110 kW",
    ("strings__voltage_error", "minibus"): "1.18 V",
}
# Rated against a voltage that the inverter's own maximum bounds: what is above fails the inverter.
BOUNDED = ("overvoltage.",)


@pytest.mark.parametrize(("entry", "name"), WORSE)
def test_no_check_is_milder_than_with_a_worse_value(entry, name):
    found = verdicts(study(name, **{entry: "unknown"}))
    worse = verdicts(study(name, **{entry: WORSE[entry, name]}))
    assert found and not [
        (key, verdict, worse[key]) for key, verdict in found.items()
        if worse.get(key) in GRAVER.get(verdict, ()) and not key.startswith(BOUNDED)]


@pytest.mark.parametrize(("entry", "name", "words"), [
    ("power__continuous = 55 kW", "truck", (
        "contactors.first.carries-the-continuous", "coordination.the-overload-trip-stays-quiet",
        "cable.battery-to-inverter.first.corrected-current")),
    ("power__peaks_in_life = 100000", "truck", ("main_fuse.first.endures-the-peaks",)),
    ("charger__power = 11 kW", "truck", (
        "main_fuse.first.carries-the-continuous-load", "branch.charge-cable.fuse-carries-the-load",
        "charge_contactor.first.carries-the-continuous")),
    ("inverter__full_power_from = 264 V", "truck", ("highest_voltage.full-power-at-the-end",)),
    ("regeneration__power = 75 kW", "minibus", (
        "contactors.first.breaks-the-load-charging", REACTION,
        "coordination.the-current-trip-stays-quiet")),
    ("strings__voltage_error = 1 V", "minibus", (
        "strings.allowed-difference-can-be-told", "strings.voltage-shows")),
])
def test_what_rests_on_it_is_not_evaluated_and_says_so(entry, name, words):
    """Beside the same value stated nothing fails that passed, and what rests on it waits."""
    key, _, value = entry.partition(" = ")
    found = study(name, **{key: "unknown"})
    stated = verdicts(study(name, **{key: int(value) if value.isdigit() else value}))
    for one in words:
        held = verdicts(found, one)
        assert held and set(held.values()) == {NOT_EVALUATED}, (one, held)
        assert {stated[each] for each in held} == {PASS}, one
        assert NO_BOUND in told(found, one), one
    assert not [each for each, verdict in verdicts(found).items()
                if verdict == FAIL and stated.get(each) in (PASS, CAUTION)]


def test_a_joining_difference_of_an_assumed_error_is_or_less():
    item = next(i for i in study("minibus", strings__voltage_error="unknown").items
                if i.key == "strings")
    line = next(r for r in item.specification if "closes a string" in r.what)
    assert line.why.count("or less: strings.voltage_error") == 1


def test_no_fuse_is_shown_to_break_with_a_charger_whose_power_nobody_told(tmp_path):
    """Its current was a caution of what the fuse breaks, and each place was called cleared by it.

    With every source the charge cable's fuse may carry 43 190 A and what the charger adds: to 34 A
    of 11 kW it breaks, to 1071 A of 350 kW it does not.
    """
    path = listed(tmp_path, Talvik_80_branch={"breaking_capacity": "43500 A"})
    open_, known, worse = (verdicts(study("truck", charger__power=power, parts__file=path,
                                          motor__short_circuit_current="50 A"))
                           for power in ("unknown", "11 kW", "350 kW"))
    held = ("branch.charge-cable.fuse-breaking-capacity-at-the-highest-fault",
            "place.branch-charge-cable-after", "place.inlet-charge-inlet-to-battery",
            "place.chassis-second-branch-charge-cable")
    assert [known[key] for key in held] == [PASS] * 4
    assert [worse[key] for key in held] == [FAIL] * 4
    assert [open_[key] for key in held] == [NOT_EVALUATED] * 4


def test_a_station_of_which_nobody_told_what_it_gives_passes_nothing():
    """The charger's 34 A were counted of it: what they pass failed with 600 A stated."""
    inlet = {"fast-charge inlet": {"current": "unknown"}}
    open_, worse = (study("minibus", branch=inlet, station__current=amperes)
                    for amperes in ("unknown", "600 A"))
    found, graver = verdicts(open_), verdicts(worse)
    assert not [key for key, verdict in graver.items()
                if verdict == FAIL and found.get(key) in (PASS, CAUTION)]
    assert "station.current" in told(open_, "main_fuse.first.carries-the-continuous-load")
    # where the inlet tells what it draws, that counts
    assert not study("minibus", station__current="unknown").pack.charging_current.or_more


def test_layouts_say_with_which_assumption_they_were_tried():
    found = study("van", power__continuous="unknown").study
    texts = [getattr(b, "text", "") for b in layouts_section(found).blocks]
    assert any(t.startswith("Assumed, because power.continuous is open") for t in texts)


# -- which way an open entry asks more ---------------------------------------------------------

POWER = with_more(leaf("power", "P", "kW", 50e3, "assumed", source="packcalc-rule",
                       origin=Origin("brief", 1, "power.continuous")),
                  f"power.continuous is left open, {NO_BOUND}")
VOLTS = leaf("bus", "U", "V", 250.0, "given")
AMPS = trace(power_current, power=POWER, voltage=VOLTS)


@pytest.mark.parametrize(("figure", "relation", "demand", "verdict"), [
    (300.0, "at least", AMPS, NOT_EVALUATED), (150.0, "at least", AMPS, FAIL),
    (AMPS, "at most", 300.0, NOT_EVALUATED), (AMPS, "at least", 150.0, PASS),
    (150.0, "below", AMPS, PASS)])
def test_a_pass_waits_only_where_more_asks_more(figure, relation, demand, verdict):
    figure, demand = (leaf("told", "I", "A", f, "given") if isinstance(f, float) else f
                      for f in (figure, demand))
    assert judge("", "thermal load", figure, relation, demand).verdict == verdict


def test_the_direction_is_that_of_the_chain():
    # a larger voltage left open gives less current
    open_ = with_more(replace(VOLTS, basis="assumed"), f"left open, {NO_BOUND}")
    falls = trace(power_current, power=replace(POWER, note=""), voltage=open_)
    assert AMPS.rises > 0.0 > falls.rises
    limit = leaf("limit", "I", "A", 150.0, "given")
    assert judge("", "thermal load", falls, "at least", limit).verdict == NOT_EVALUATED
    assert judge("", "thermal load", falls, "at most", replace(limit, value=300.0)).verdict == PASS


def test_a_sum_that_names_its_open_parts_is_a_caution_by_them():
    total = AMPS.called(note=f"{AS_PARTS}power.continuous")
    part = leaf("breaks", "I", "A", 300.0, "given")
    assert total.unbounded is None and AMPS.unbounded is POWER
    assert judge("", "fault range", part, "at least", total).verdict == CAUTION
