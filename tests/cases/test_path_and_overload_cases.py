"""Designed corners of what lies in the fault current, of overload and of a few proofs.

Everything is invented, with the arithmetic beside each figure. The plain fuse lets 1e6 A²s
through at every current from 1000 A to 10 000 A (see the coordination cases); the contactor
opens 0.1 s after 600 A. The two published constants are those of IEC 60364-5-54, Annex A:
k = 226·√(ln((234.5 + θ_f)/(234.5 + θ_i))) for copper, 148 and 228 for aluminium.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from math import log, sqrt

import numpy as np
import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.clearing import path_conductors
from packcalc.conductors import path_integral
from packcalc.errors import InputErrors
from packcalc.findings import leaf
from packcalc.part_checks.fuse import arc_voltage_check
from packcalc.part_checks.path_conductors import PathConductor, path_heat
from packcalc.part_checks.sweep import (
    BY_CONTACTOR, BY_FUSE, NOBODY, TOO_EARLY, TOO_SLOW, Trips,
)
from packcalc.protect import branches as br
from packcalc.protect import overvoltage as ov
from packcalc.protect.coordination import coordinate, sweep_pair
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.coordination_report import conductors_table
from packcalc.report.drawings.time_current import time_current_figure
from packcalc.side_circuits import branch_capacity
from tests.cases.test_coordination_cases import asked, at, check, contactor, f, fuse, trips
from tests.cases.test_second_stage_cases import scenario
from tests.cases.test_strings_branches_places import branch
from tests.test_overvoltage import asked as chain_asked
from tests.test_overvoltage import verdict as told_of_chain
from tests.test_places import places

STRONG = {"break_discharge": "5000 A", "break_charge": "5000 A"}
LINKS = "links and bus bars"
RISE = 2e-3 * log(2000.0 / (2000.0 - 600.0))  # of the current to the trip; step of an R-L circuit


def conductor(withstand, most=None, name=LINKS):
    return PathConductor(name, f("I²t", "A²s", withstand), "the section",
                         None if most is None else f("most", "A", most))


def held(one, high=8000.0, **changes):
    given = {"contactor": contactor(**STRONG), "conductors": (one,)} | changes
    return coordinate(asked(high=high, **given))


# -- what lies in the fault current -----------------------------------------------------------


@pytest.mark.parametrize(("withstand", "high", "expected"), [
    (1.2e6, 8000.0, PASS),       # the sheet's 1.2e6 A²s, more than the curve's own 1e6
    (1.199e6, 8000.0, FAIL),
    (1.2e6, 20000.0, PASS),      # beyond the curve the sheet's 1.2e6 A²s
    (1.199e6, 20000.0, FAIL),
    (None, 8000.0, NOT_EVALUATED)])
def test_links_against_the_worst_of_the_range(withstand, high, expected):
    found = [c for c in held(conductor(withstand), high).item.checks if c.title.startswith(LINKS)]
    assert [c.verdict for c in found] == [expected]


def test_what_is_missing_is_asked_for_by_name():
    found = held(conductor(None))
    one = next(c for c in found.item.checks if c.title.startswith(LINKS))
    assert one.reason == "ask for the section"
    assert "links and bus bars: the section" in found.item.open_items


def test_without_any_part_links_are_asked_for_and_specified_all_the_same():
    bare = coordinate(asked(fuse=None, contactor=None, conductors=(conductor(None),)))
    assert bare.sweep is None and "links and bus bars: the section" in bare.item.open_items
    known = coordinate(asked(fuse=None, contactor=None, conductors=(conductor(1e6),)))
    line = next(r for r in known.item.specification if r.what == LINKS)
    assert "at most 1000000 A²s" in line.value


def test_the_sheet_of_requests_asks_the_module_s_maker_for_its_conductors():
    # 8S1P of a module of which nobody knows the bars, from the invented fuse's 1.2e6 A²s at most
    modules = links_of("8S1P")[1]
    found = coordinate(asked(high=8000.0, contactor=contactor(**STRONG), conductors=(modules,)))
    line = next(r for r in found.item.specification if r.what == "the module's own conductors")
    assert line.value.startswith("not shown: ask for the short-time current of the module's own "
                                 "conductors, with its time, from the module's maker; current "
                                 "squared times its time at least 1")
    assert "conductor_withstand" in line.why and "conductor_section" in line.why
    bare = coordinate(asked(fuse=None, contactor=None, conductors=(modules,)))
    line = next(r for r in bare.item.specification if r.what == "the module's own conductors")
    assert line.value.endswith("from the module's maker")


def test_one_of_several_paths_fails_only_in_the_middle():
    # the contactor's 0.1 s lets 1.2e6 A²s through at √(1.2e6/0.1) = 3464 A, and the fuse no more.
    # One path carries 2000 A at most: I²·0.1 up to 2000 A, then 2000²·0.1 = 0.4e6 A²s, then
    # 1.2e6·(2000/I)², 75e3 at 8000 A
    one = conductor(0.39e6, 2000.0)
    found = held(one)
    told = next(c for c in found.item.checks if c.title.startswith(LINKS))
    # and until 600 A of 2000 A trip, 2 ms · ln(2000/1400) = 0.713 ms more
    assert told.verdict == FAIL and told.demand.number == pytest.approx(
        0.4e6 + 2000.0 ** 2 * RISE, rel=1e-6)
    heat = path_heat(found.sweep, one)
    over = found.sweep.current[heat > 0.39e6]
    # √(0.39e6/0.1) = 1975 A up to 2000·√(1.2/0.39) = 3508 A; a grid of 400 steps is 0.6 % wide
    assert over[0] == pytest.approx(1975.0, rel=0.007)
    assert over[-1] == pytest.approx(3508.0, rel=0.007)
    assert heat[0] < 0.39e6 and heat[-1] == pytest.approx(75e3)
    assert next(c for c in held(conductor(0.404e6, 2000.0)).item.checks
                if c.title.startswith(LINKS)).verdict == PASS


def test_the_worst_heat_of_one_path_keeps_its_chain():
    (one, heat, where), = held(conductor(1e6, 2000.0)).conductor_heat
    assert heat.formula.text == "I²t_p = I²t · (I_p / I)²"
    # 2000 A for the contactor's 0.1 s and the rise, wherever it is quicker than the fuse
    assert heat.number == pytest.approx(0.4e6 + 2000.0 ** 2 * RISE, rel=1e-6)
    assert 2000.0 * (1 - 1e-6) <= where.number <= 3465.0
    assert "by the contactor" in heat.inputs[0].title
    assert heat.inputs[1].number == one.most.number == 2000.0


def test_the_heat_of_the_quicker_device_is_the_one_that_is_traced():
    # both open 2500 A: the contactor in 0.1 s (625e3 A²s), the fuse in 0.16 s (1e6 A²s); the trip
    # sees its 600 A after 2 ms · ln(2500/1900)
    found = held(conductor(1e9), high=2500.0)
    assert found.worst_heat.number == pytest.approx(2500.0 ** 2 * (0.1 + 2e-3 * log(2500 / 1900)))
    assert found.worst_heat.number == pytest.approx(float(np.nanmax(found.sweep.heat)))


def test_a_pass_does_not_stand_over_a_hole():
    # the weak contactor leaves 1500 A to √(1.2e6/(0.1 − 1.5·0.002)) = 3517 A to nobody
    told = next(c for c in held(conductor(1e9), contactor=contactor()).item.checks
                if c.title.startswith(LINKS))
    assert told.verdict == NOT_EVALUATED
    assert "from 1500 A to 3517 A nobody ends the heat" in told.reason


def test_links_stand_in_the_picture_and_in_its_table():
    found = held(conductor(0.39e6, 2000.0, "the module's own conductors"))
    figure = time_current_figure(found)
    row = next(r for r in figure.data.rows if r[0].text == "L")
    assert "the module's own conductors: limit" in row[2].text and "2000 A" in row[3].text
    table = conductors_table(found)
    assert [r[0].text for r in table.rows] == ["cable", "the module's own conductors"]
    blank = conductors_table(held(conductor(None)))
    assert blank.rows[1][1].text == "not known" and blank.rows[1][4].text == "the section"


def links_of(layout="16S1P", arrangement="grouped", module=None, **path):
    module = {"label": "6s 200 Ah NMC", "count": 40} | (module or {})
    brief, pack = scenario(layout, arrangement, modules=[module], path=path)
    return path_conductors(brief, pack, f("highest", "A", 9000.0))


@pytest.mark.parametrize(("metal", "constant"), [
    ("copper", 226 * sqrt(log((234.5 + 160) / (234.5 + 90)))),
    ("aluminium", 148 * sqrt(log((228 + 160) / (228 + 90)))),
    ("unknown", 148 * sqrt(log((228 + 160) / (228 + 90))))])
def test_links_by_section_and_metal(metal, constant):
    found = links_of(link_section="80 mm²", link_material=metal)[0]
    assert found.withstand.number == pytest.approx((constant * 80) ** 2, rel=1e-9)


def test_a_cooler_limit_of_the_sleeve_counts():
    found = links_of(link_section="80 mm²", link_material="copper", link_limit="120 degC")[0]
    constant = 226 * sqrt(log((234.5 + 120) / (234.5 + 90)))
    assert found.withstand.number == pytest.approx((constant * 80) ** 2, rel=1e-9)


def test_module_by_section_is_aluminium_that_ends_at_130_degrees():
    found = links_of(module={"conductor_section": "50 mm²"})[1]
    constant = 148 * sqrt(log((228 + 130) / (228 + 90)))
    assert found.withstand.number == pytest.approx((constant * 50) ** 2, rel=1e-9)


def test_the_makers_figure_comes_before_the_section():
    found = links_of(module={"conductor_section": "50 mm²",
                             "conductor_withstand": "3000000 A²s"})[1]
    assert found.withstand.number == 3e6


def test_two_types_count_the_weaker_and_one_unknown_leaves_it_open():
    one = {"label": "6s 200 Ah NMC", "count": 8, "conductor_withstand": "3000000 A²s"}
    two = {"label": "8s 200 Ah NMC", "count": 8, "conductor_withstand": "2000000 A²s"}
    for second, stands in ((two, 2e6), ({k: v for k, v in two.items() if "with" not in k}, None)):
        brief, pack = scenario("8S1P", modules=[one, second])
        part = replace(pack.layout.parts[0], entry=1)
        both = replace(pack, layout=replace(pack.layout, parts=(pack.layout.parts[0], part)))
        assert path_conductors(brief, both, f("highest", "A", 1.0))[1].withstand.value == stands


@pytest.mark.parametrize(("layout", "arrangement", "most"), [
    ("16S1P", "grouped", None), ("12S2P", "grouped", 4500.0), ("12S2P", "strings", 4500.0),
    ("8S3P", "grouped", 3000.0)])
def test_what_one_module_can_carry(layout, arrangement, most):
    # 9000 A shared by P modules; alone it is never more than its own share of the highest
    found = links_of(layout, arrangement)
    assert found[0].most is None
    assert (found[1].most.number if found[1].most else None) == most


# -- overload ---------------------------------------------------------------------------------


def slow(current=250.0, delay=20.0, **changes):
    return trips(overload=f("overload trip", "A", current),
                 overload_delay=None if delay is None else f("delay", "s", delay), **changes)


MEETS, QUIET, BEARS = ("overload and fault range meet, from pole to pole",
                       "the overload trip stays quiet in use",
                       "bears an overload until the trip has opened")
# melts later than any slow trip here acts, up to the quick one's 600 A
LATE = '"0.01 s: 8000 A; 1 s: 800 A; 100 s: 610 A"'


def test_without_an_overload_trip_its_checks_are_not_there():
    titles = [c.title for c in coordinate(asked()).item.checks]
    assert MEETS not in titles and QUIET not in titles


@pytest.mark.parametrize(("current", "delay", "expected"), [
    (150.0, 20.0, FAIL),          # the continuous load of 150 A itself
    (150.1, 20.0, PASS),          # and the 10 s peak of 400 A ends before 20 s
    (250.0, 10.0, FAIL), (250.0, 10.1, PASS), (250.0, None, NOT_EVALUATED),
    (400.0, 5.0, FAIL),           # the peak itself reaches it
    (400.1, 5.0, PASS)])          # above the peak no delay is asked
def test_the_overload_trip_lets_the_load_pass(current, delay, expected):
    assert check(coordinate(asked(trips=slow(current, delay))), QUIET).verdict == expected


@pytest.mark.parametrize(("low", "limit", "lowest_breaking", "expected"), [
    (700.0, "1500 A", "", PASS),
    (700.0, "700 A", "", PASS),          # the contactor breaks up to the lowest fault
    (900.0, "800 A", "", FAIL),          # 800 A to 900 A: below the fuse's curve of 1000 A
    (1200.0, "1000 A", "", PASS),        # the fuse's curve begins at 1000 A
    (1200.0, "1000 A", "1100 A", FAIL),  # but it breaks from 1100 A only: a hole of 100 A
    (200.0, "100 A", "", FAIL)])         # an overload above the lowest fault of cold cells is one
def test_overload_and_fault_range_meet(low, limit, lowest_breaking, expected):
    part = fuse(**{"class": "aR", "lowest_breaking_current": lowest_breaking or "900 A",
                   "melting": LATE})
    found = coordinate(asked(low=low, fuse=part, trips=slow(), contactor=contactor(
        break_discharge=limit, break_charge="5000 A")))
    told = check(found, MEETS)
    assert told.verdict == expected
    if expected == FAIL:
        assert "no valid pair" in told.reason and "contactor that breaks" in told.remedy


def test_the_hole_is_named_with_its_ends():
    part = fuse(**{"class": "aR", "lowest_breaking_current": "1100 A", "melting": LATE})
    told = check(coordinate(asked(low=1200.0, fuse=part, trips=slow(), contactor=contactor(
        break_discharge="1000 A", break_charge="1000 A"))), MEETS)
    assert "nobody opens 1000 A to 1100 A" in told.reason


def test_an_unproven_contactor_or_an_open_delay_proves_no_overlap():
    bare = contactor(break_time_constant="")
    assert check(coordinate(asked(trips=slow(), contactor=bare)), MEETS).verdict == NOT_EVALUATED
    assert check(coordinate(asked(trips=slow(delay=None))), MEETS).verdict == NOT_EVALUATED


@pytest.mark.parametrize(("delay", "withstand", "expected"), [
    (5.0, 1.8e6, PASS),          # the quick trip of 600 A leaves 600²·5 = 1.8e6 A²s
    (5.0, 1.79e6, FAIL),
    (5.1, 1e9, NOT_EVALUATED),   # k²S² holds up to 5 s (IEC 60364-4-43, 434.5.2)
    (5.0, None, NOT_EVALUATED)])
def test_what_the_cable_takes_until_the_slow_trip(delay, withstand, expected):
    found = coordinate(asked(trips=slow(410.0, delay), cable_withstand=f("k²S²", "A²s", withstand)
                             if withstand else None))
    assert check(found, BEARS).verdict == expected


@pytest.mark.parametrize(("quick", "left"), [
    (600.0, 600.0),    # below the lowest fault of 700 A the quick trip bounds it
    (900.0, 900.0),    # above it too: warm cells may be overloaded beyond the lowest fault of cold
    (1100.0, 1000.0),  # the fuse is counted on from 1000 A
    (None, 1000.0)])
def test_the_slow_trip_is_left_with_all_that_nobody_quicker_opens(quick, left):
    found = coordinate(asked(trips=replace(
        slow(410.0, 4.0), current=f("trip", "A", quick) if quick else None),
        cable_withstand=f("k²S²", "A²s", 4e6)))
    told = check(found, BEARS)
    assert told.demand.number == pytest.approx(left ** 2 * 4.0) and told.verdict == PASS


def test_the_overload_trip_above_what_the_contactor_breaks_ends_nothing():
    part = fuse(**{"class": "aR", "lowest_breaking_current": "1000 A"})
    found = coordinate(asked(fuse=part, trips=slow(255.0), contactor=contactor(
        break_discharge="254 A", break_charge="254 A")))
    assert check(found, "ends an overload").verdict == FAIL


def test_a_slow_trip_covers_no_fault_but_is_not_called_too_early():
    # overload alone: 20 s at 250 A; a contactor that breaks 1500 A; the fuse from 1000 A at 1 s
    alone = Trips(overload=f("overload", "A", 250.0), overload_delay=f("delay", "s", 20.0))
    swept = sweep_pair(asked(trips=alone))
    assert at(swept, 800.0) == TOO_SLOW and at(swept, 1200.0) == BY_FUSE
    assert at(swept, 5000.0) == BY_FUSE
    (hole,) = swept.holes
    assert hole.low == pytest.approx(700.0) and hole.high == pytest.approx(1000.0, rel=1e-6)
    told = check(coordinate(asked(trips=alone)), "every fault current from pole to pole is opened")
    assert told.verdict == FAIL and "slower than the counted time" in told.reason
    assert "a trip at or below 700.0 A that has opened it within 1.000 s" in told.remedy


@pytest.mark.parametrize(("delay", "device"), [(0.98, BY_CONTACTOR), (0.99, TOO_SLOW)])
def test_a_slow_trip_at_the_edge_of_the_counted_second(delay, device):
    # with 20 ms of opening: 1.00 s counts, 1.01 s does not
    swept = sweep_pair(asked(trips=Trips(overload=f("overload", "A", 250.0),
                                         overload_delay=f("delay", "s", delay))))
    assert at(swept, 800.0) == device


def test_above_the_limit_a_slow_trip_is_harmless_where_the_fuse_is_quicker():
    part = fuse(**{"class": "aR", "lowest_breaking_current": "1400 A"})
    swept = sweep_pair(asked(fuse=part, trips=Trips(overload=f("overload", "A", 250.0),
                                                    overload_delay=f("delay", "s", 20.0)),
                             contactor=contactor(break_discharge="1200 A", break_charge="1200 A")))
    assert at(swept, 5000.0) == BY_FUSE
    # between limit and lowest breaking current the slow trip would tear the contact open
    assert at(swept, 1300.0) == TOO_EARLY
    assert NOBODY not in swept.device[swept.current > 250.0]


def test_a_blocked_trip_closes_the_hole_that_it_would_tear():
    # 1500 A is what the contactor breaks; blocked above it the slow fuse is left alone
    open_ = sweep_pair(asked())
    assert at(open_, 2000.0) == TOO_EARLY
    blocked = sweep_pair(asked(trips=trips(blocked_above=f("blocked", "A", 1500.0))))
    assert at(blocked, 2000.0) == BY_FUSE and not blocked.holes


def test_the_brief_states_both():
    found = study_protection(brief_of_truck(
        trip_blocked_above='"2900 A"', trip_falls_in_cold='"yes"'), "16S1P")
    held_by = found.coordination.asked.trips
    assert held_by.blocked_above.number == 2900.0 and held_by.falls_in_the_cold
    assert found.coordination.sweep.contactor.blocked_above == 2900.0
    with pytest.raises(InputErrors, match="blocked_above|keeps the contactors closed"):
        brief_of_truck(trip_blocked_above='"640 A"')  # its trip stands at 650 A


def brief_of_truck(**management):
    place = ROOT / "examples" / "truck" / "brief.toml"
    lines = "".join(f"{name} = {value}\n" for name, value in management.items())
    text = place.read_text("utf-8").replace("[management]\n", f"[management]\n{lines}")
    return brief_from_data(tomllib.loads(text), str(place))


# -- arc voltage, undervoltage ----------------------------------------------------------------


@pytest.mark.parametrize(("arc", "stands", "expected", "words"), [
    (950.0, 950.0, PASS, ""), (950.0, 949.0, FAIL, ""),
    (950.0, None, NOT_EVALUATED, "bus_withstand"), (None, 1000.0, NOT_EVALUATED, "arc voltage"),
    (None, None, NOT_EVALUATED, "bus_withstand")])
def test_arc_voltage_against_what_the_bus_stands(arc, stands, expected, words):
    told = arc_voltage_check("t", None if arc is None else f("arc", "V", arc),
                             None if stands is None else f("bus", "V", stands),
                             f("highest", "V", 420.0))
    assert told.verdict == expected and words in told.reason


def test_a_branch_fuse_opens_on_the_bus_too():
    title = "Fuse: arc voltage within the insulation of what hangs on the bus"
    with_arc = replace(branch().fuse, name="own", arc=f("arc", "V", 900.0))
    found = {stands: [c.verdict for c in br.size_branch(branch(
        fuse=with_arc, bus_insulation=f("bus", "V", stands))).checks if c.title == title]
        for stands in (900.0, 899.0)}
    assert found == {900.0: [PASS], 899.0: [FAIL]}
    assert not [c for c in br.size_branch(branch(fuse=with_arc)).checks if c.title == title]


def test_a_power_without_solution_fails_the_undervoltage_trip():
    low = trips(undervoltage=f("trip", "V", 260.0), undervoltage_delay=f("delay", "s", 0.5))
    told = check(coordinate(asked(trips=low, fault_voltage=f("left", "V", 20.0), loaded_voltage=leaf(
        "loaded", "U", "V", None, "given", note="no solution"))), "stays quiet under load")
    assert told.verdict == FAIL and "no current carries the power" in told.reason


# -- braking into a full pack -----------------------------------------------------------------

TRIP = "over-voltage trip stays quiet while braking"


def braked(trip, delay=0.5, pulse=10.0, **changes):
    asked_ = replace(chain_asked(**changes), trip=f("pack trip", "V", trip) if trip else None,
                     trip_delay=f("delay", "s", delay), braking_time=f("pulse", "s", pulse))
    return told_of_chain(ov.study_overvoltage(asked_), TRIP)


@pytest.mark.parametrize(("trip", "changes", "expected", "words"), [
    (408.1, {}, PASS, ""),                         # braking raises the pack to 408 V
    (408.0, {}, CAUTION, "opens a contactor under regeneration"),  # in 0.2 ms of 0.48 ms
    (404.0, {"reaction": 0.6e-3}, FAIL, "nobody is shown to stop"),
    (404.0, {"reaction": None}, FAIL, "nobody is shown to stop"),
    (404.0, {"delay": 11.0}, CAUTION, "outlasts the braking pulse"),
    (404.0, {"braking_limit": 420.0}, CAUTION, "limit of 420.0 V lies above the trip"),
    (None, {}, NOT_EVALUATED, "management.overvoltage_trip")])
def test_a_trip_while_braking_into_a_full_pack(trip, changes, expected, words):
    told = braked(trip, **changes)
    assert told.verdict == expected and words in told.reason


def test_the_pack_trip_is_that_of_every_cell():
    # 16 modules of 6 cells: 96 · 4.22 V = 405.1 V
    brief, pack = scenario("16S1P", management={"overvoltage_trip": "4.22 V"})
    assert ov.overvoltage_asked(brief, pack).trip.number == pytest.approx(96 * 4.22)


# -- second chassis fault ---------------------------------------------------------------------


def test_the_second_chassis_fault_has_the_time_constant_of_its_own_loop():
    found = places('[path]\nmain_fuse = "one pole"\n[[cables.route]]\nlength = "4 m"\n')
    loop = found["chassis.second.fused_pole"].loop
    module = found["module"].loop
    # one of eight modules: 20 µH/8 = 2.5 µH, and 4 m of cable at 1.3 µH/m = 5.2 µH
    assert loop.inductance.number == pytest.approx(2.5e-6 + 4 * 1.3e-6)
    one = module.voltage.number / module.highest.number
    assert loop.time_constant.number == pytest.approx(7.7e-6 / one)
    # the whole loop, 25.2 µH through eight modules, is quicker: 25.2/8 = 3.15 µH a module
    whole = found["terminals"].loop
    assert loop.time_constant.number > 2 * whole.time_constant.number
    assert "slowest of these loops" in " ".join(loop.notes)


def test_two_leaks_inside_the_box_have_no_cable_between_them():
    found = places('[path]\nmain_fuse = "one pole"\n[[cables.route]]\nlength = "4 m"\n')
    inside = found["chassis.second.inside"].loop
    assert inside.inductance.number == pytest.approx(2.5e-6)


def test_a_fuse_of_that_loop_is_asked_for_each_voltage_it_may_see():
    found = places('[path]\nmain_fuse = "one pole"\n[[cables.route]]\nlength = "4 m"\n')
    fused = next(d for d in found["chassis.second.fused_pole"].loop.devices
                 if d.key == "main_fuse")
    volts = [v.number for v, _ in fused.breaks]
    constants = [t.number for _, t in fused.breaks]
    one = found["module"].loop.voltage.number
    assert volts == pytest.approx([one * n for n in (1, 2, 4, 8)])
    assert all(a > b for a, b in zip(constants, constants[1:]))


# -- small conductors -------------------------------------------------------------------------


def capacity(rules="IEC 60364-5-52", ambient="40 degC", **entry):
    given = {"name": "heater", "kind": "heater", "section": "6 mm²",
             "insulation_class": "90 degC"} | entry
    brief = brief_from_data({
        "modules": [{"label": "6s 200 Ah NMC", "count": 40}], "power": {"peak": "80 kW"},
        "inverter": {"voltage_range": "200 V to 460 V"}, "cables": {"rules": rules},
        "surroundings": {"cable_ambient": ambient},
        "branch": [{k: v for k, v in given.items() if v}]})
    return branch_capacity(brief, brief.branch[0])


def test_below_the_table_nothing_is_extrapolated():
    for rules, least in (("IEC 60364-5-52", "6 mm²"), ("DIN VDE 0298-4", "16 mm²")):
        found = capacity(rules, section="1.5 mm²")
        assert found.hottest is None and found.coolest is None
        assert "outside table" in found.why and f"begins at {least}" in found.why
        assert "ask the wire's maker" in found.why.lower()


def test_between_two_rows_the_smaller_section_counts():
    assert capacity(section="9.9 mm²").hottest.number == capacity().hottest.number
    assert capacity(section="10 mm²").hottest.number > capacity().hottest.number


def test_air_beyond_the_table_is_no_current_either():
    assert "outside table" in capacity(ambient="85 degC", insulation_class="70 degC").why
    assert capacity(section=None).why.startswith("conductor section")


@pytest.mark.parametrize(("rating", "hottest", "coolest", "expected"), [
    (30.0, 30.0, 45.0, PASS), (30.1, 30.0, 45.0, CAUTION), (45.0, 30.0, 45.0, CAUTION),
    (45.1, 30.0, 45.0, FAIL), (30.1, 30.0, None, CAUTION), (30.0, None, None, NOT_EVALUATED)])
def test_a_fuse_may_not_overload_its_conductor_for_ever(rating, hottest, coolest, expected):
    made = branch(
        fuse=replace(branch().fuse, rating=leaf("rating", "I", "A", rating, "given")),
        capacity=hottest and leaf("hot", "I", "A", hottest, "given"),
        capacity_at_best=coolest and leaf("cool", "I", "A", coolest, "given"),
        why_no_capacity="outside table: ask")
    told = next(c for c in br.size_branch(made).checks if "carries the fuse" in c.title)
    assert told.verdict == expected
    if expected == NOT_EVALUATED:
        assert told.reason == "outside table: ask"


# -- entries ----------------------------------------------------------------------------------


def brief_with(**management):
    return brief_from_data({
        "modules": [{"label": "6s 200 Ah NMC", "count": 40, "conductor_section": "50 mm²"}],
        "power": {"peak": "80 kW"}, "inverter": {"voltage_range": "200 V to 460 V"},
        "management": management})


def test_one_of_two_module_figures_is_enough():
    open_ = [u.dotted for u in brief_with().unknowns]
    assert not [name for name in open_ if ".conductor_" in name]
    for name in ("path.link_section", "insulation.bus_withstand", "management.overload_trip",
                 "management.overload_delay", "inverter.discharge_tolerance"):
        assert name in open_


def test_an_overload_trip_above_the_quick_one_is_a_mistake():
    with pytest.raises(InputErrors, match="overload trip"):
        brief_with(overload_trip="500 A", trip_current="400 A")
    assert brief_with(overload_trip="400 A", trip_current="400 A")


def test_scalar_equals_vector_for_one_path():
    currents = np.array([1000.0, 2000.0])
    assert path_integral(1e6, 500.0, currents) == pytest.approx(
        [path_integral(1e6, 500.0, float(i)) for i in currents])
