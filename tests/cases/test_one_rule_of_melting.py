"""A fuse that melts where it is not shown to break, the heat elsewhere, and cures that cure.

Invented parts and examples, with the arithmetic beside each figure; curves and times are
definitions of their own rows, I²t is 434.5.2 of IEC 60364-4-43, the arc Annex D.5 of NFPA 70E.
"""

from __future__ import annotations

import csv
import tomllib
from dataclasses import replace
from math import log

import numpy as np
import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED
from packcalc.clearing import clearing_by
from packcalc.part_checks.sweep import MAY_MELT, MELTS, TOO_EARLY, TORN_UNSHOWN
from packcalc.part_checks.unbroken import Unbroken
from packcalc.place_heats import NO_END, place_heats
from packcalc.place_sweep import currents_of, heat_over
from packcalc.protect.coordination import coordinate, with_heats
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.drawings.time_current import time_current_figure
from tests.cases.studies import ROOT, study
from tests.cases.test_coordination_cases import asked, check, contactor, f, fuse, trips

pytestmark = pytest.mark.thorough

EVERY = "every fault current"
SKARV = {"parts__main_fuse": "Skarv 400 fast", "insulation__bus_withstand": "1500 V",
         "power__peaks_in_life": 1000}
PARTIAL = {"class": "aR", "lowest_breaking_current": "3000 A"}
STRONG = {"break_discharge": "6000 A", "break_charge": "6000 A"}


def listed(tmp_path, **parts):
    """The invented parts list with entries of some parts changed."""
    text = (ROOT / "examples" / "parts.csv").read_text("utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    for row in rows:
        row.update(parts.get(row["name"].replace(" ", "_"), {}))
    path = tmp_path / "parts.csv"
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return str(path)


# -- the fuse that melts before the contactor has opened --------------------------------------


def melting_hole(**changes):
    return coordinate(asked(fuse=fuse(**PARTIAL), contactor=contactor(**STRONG), **changes))


def test_a_fuse_that_melts_before_the_trip_leaves_a_hole_up_to_its_lowest_breaking_current():
    # melting I²t is 800² = 0.64e6 A²s all along; the trip of 600 A has opened after 0.1 s and a
    # rise of 2 ms · ln(I/(I − 600)): both at about 2523 A, and the fuse breaks from 3000 A on
    found = melting_hole()
    (hole,) = found.holes
    meets = hole.low
    assert 0.64e6 / meets ** 2 == pytest.approx(
        0.1 + 2e-3 * log(meets / (meets - 600.0)), rel=1e-6)
    assert hole.device == MELTS and hole.high == pytest.approx(3000.0, rel=1e-6)
    told = check(found, EVERY)
    assert told.verdict == FAIL and "the fuse melts before the contactor has opened" in told.reason
    heat = check(found, "survives the heat over the whole range")
    assert heat.verdict == NOT_EVALUATED and "nobody ends the heat" in heat.reason


def test_no_arc_is_counted_torn_by_a_trip_that_nobody_named():
    # a trip of 0.1 s at 600 A: the arc sweep knows of no cells' trip, which might come sooner
    found = coordinate(asked(contactor=contactor(break_discharge="6000 A", break_charge="6000 A")))
    assert found.worst_arc_at.number == pytest.approx(1200.0, rel=1e-6)


def test_where_the_trip_is_first_at_the_floor_no_hole_is_left():
    # 0.64e6/3000² = 71.1 ms; a trip of 50 ms and 20 ms has opened after 70 ms and 0.45 ms of rise
    assert not melting_hole(trips=trips(delay=0.05)).holes
    assert melting_hole(trips=trips(delay=0.052)).holes


def test_a_floor_that_nobody_states_is_not_shown_and_no_failure():
    found = coordinate(asked(high=3400.0, fuse=fuse(**{"class": "aR"}),
                             contactor=contactor(**STRONG)))
    (hole,) = found.holes
    assert hole.device == MAY_MELT and hole.high == 3400.0
    assert check(found, EVERY).verdict == NOT_EVALUATED


def test_an_arc_that_melts_the_fuse_first_burns_for_two_seconds():
    # a device sees half: up to 2·3000 A bolted nobody ends it, and the trip above it does not
    found = melting_hole()
    assert found.worst_arc_at.number == pytest.approx(6000.0, rel=1e-6)
    assert found.worst_arc.number == pytest.approx(
        0.005 * 420.0 * 6000.0 * 2.0 / 45.72 ** 2 * 4.184e4, rel=1e-6)


def test_the_truck_with_a_partial_range_fuse_has_the_hole_of_its_fault_place():
    found = study("truck", **SKARV)
    (hole,) = found.coordination.holes
    # melting 1 s at 1200 A, 0.1 s at 1680 A; the trip surely acts from 675 A and has opened after
    # 0.15 s and the rise of the current
    constant = found.coordination.asked.time_constant.number
    melts = (hole.low / 1200.0) ** (log(0.1) / log(1680.0 / 1200.0))
    assert melts == pytest.approx(
        0.15 + constant * log(hole.low / (hole.low - 675.0)), rel=1e-5)
    assert hole.high == pytest.approx(1800.0, rel=1e-6) and hole.device == MELTS
    place = next(p for p in found.circuit.places if p.key == "cable.battery to inverter")
    assert place.nobody and f"to {hole.high:.0f} A" in place.between.span
    item = found.coordination.item
    told = check(found.coordination, EVERY)
    assert told.verdict == FAIL and "no valid pair: from 1582 A to 1800 A" in told.reason
    assert "a fuse that is shown to break from 1580 A" in told.remedy
    heats = [c for c in item.checks if "the heat" in c.title]
    assert len(heats) == 4 and all(c.verdict == NOT_EVALUATED for c in heats)
    arc = 0.005 * found.pack.highest_voltage.number * 3600.0 * 2.0 / 45.72 ** 2
    assert found.coordination.worst_arc.number / 4.184e4 == pytest.approx(arc, rel=1e-6)
    figure = time_current_figure(found.coordination, "time_current")
    assert "-hole)" in figure.svg and "Cross-hatched" in figure.text


def test_no_pair_of_the_list_hides_such_a_hole(tmp_path):
    found = study("truck", parts__main_fuse=None, parts__contactor=None,
                  insulation__bus_withstand="1500 V", power__peaks_in_life=1000)
    pairs = {c.name: c for c in found.coordination.item.candidates}
    fast = [c for name, c in pairs.items() if name.startswith("Skarv 400")]
    assert fast and all(c.verdict == FAIL for c in fast)
    assert all(next(x for x in c.facts if x.title == "opened by nobody").words != "nowhere"
               for c in fast)
    held = pairs["Talvik 400 full range + Lyng 500"]  # a fault place of its own has no end
    # nor is it named: the places do not count on it, and what its cable and closed contact bear
    # stays open, for nobody is shown to open a fault at the path's own ends
    assert [c.verdict for c in held.checks] == [CAUTION, NOT_EVALUATED, NOT_EVALUATED]
    assert "Nobody opens some current of" in held.checks[0].reason
    assert "nobody ends the heat" in held.checks[1].reason


def test_two_strings_behind_partial_range_fuses_have_it_both(tmp_path):
    partial = {"class": "aR", "fusing_current": ""}
    path = listed(
        tmp_path, Talvik_250_high_voltage=partial | {"lowest_breaking_current": "1400 A"},
        Talvik_200_high_voltage=partial | {"lowest_breaking_current": "1200 A"})
    found = study("minibus", parts__file=path)
    for held, floor in ((found.coordination, 1400.0), (found.circuit.inside_strings, 1200.0)):
        assert held.holes[-1].device == MELTS
        assert held.holes[-1].high == pytest.approx(floor, rel=1e-6)
        assert check(held, EVERY).verdict == FAIL


def test_one_pole_alone_opens_later_and_its_fuse_melts_first():
    # pole to pole the trip opens in 0.07 s; in one pole only the cells' trip of 0.5 s counts, and
    # 0.64e6/I² is less from 1131 A on
    found = melting_hole(trips=trips(
        delay=0.05, undervoltage=f("U", "V", 2.5), undervoltage_delay=f("t", "s", 0.48)),
        one_pole_lowest=f("one pole", "A", 700.0), one_pole_drop=f("drop", "mΩ", 1e-6),
        fault_drop=f("drop", "mΩ", 1e-6), loaded_voltage=f("loaded", "V", 2.9),
        fault_voltage=f("left", "V", 1.0), path_lowest=f("path", "A", 700.0))
    told = check(found, EVERY)
    assert not found.holes and told.verdict == FAIL and "second chassis fault" in told.reason
    assert f"to {3000} A" in told.reason
    heat = check(found, "heat of a second chassis fault")
    assert heat.verdict == NOT_EVALUATED


def test_without_a_fuse_nothing_melts():
    assert np.isinf(Unbroken(rated=np.inf).melts(np.array([1.0, 1e6]))).all()


# -- links, bus bars and modules in every loop ------------------------------------------------


def truck_with(section):
    """The truck whose modules have another section inside."""
    brief = ROOT / "examples" / "truck" / "brief.toml"
    data = tomllib.loads(brief.read_text("utf-8"))
    data["modules"][0]["conductor_section"] = section
    return study_protection(brief_from_data(data, str(brief)), "16S1P")


@pytest.mark.parametrize("section, verdict", [("45 mm²", NOT_EVALUATED), ("35 mm²", FAIL),
                                              ("27 mm²", FAIL)])
def test_a_modules_conductors_are_held_against_every_fault_place(section, verdict):
    # second chassis fault on the fuse's other side: the cells' trip opens 3000 A after 0.5 s, its
    # contactor's 15 ms and the rise; 45 mm² stand 5.255e6 A²s, 35 mm² 3.179e6, 27 mm² 1.892e6
    found = truck_with(section)
    told = check(found.coordination, "module's own conductors")
    assert told.verdict == verdict and "second chassis fault" in told.reason
    answers = clearing_by(found.coordination, found.brief, None)
    most = 0.0
    for loop in (p.loop for p in found.circuit.places if p.loop.devices and p.loop.lowest.known):
        if 0 < loop.lowest.number < loop.highest.number:
            heat = heat_over(answers, loop, currents_of(answers, loop))
            most = max(most, float(np.nanmax(np.nan_to_num(heat))))
    assert told.demand.number == pytest.approx(most, rel=1e-9)
    assert most == pytest.approx(3000.0 ** 2 * (0.515 + 7 * 4.84e-3), rel=0.01)


def test_links_fail_on_a_fault_that_another_device_ends_later():
    # 14 mm² of copper from 90 to 160 °C stand 1.955e6 A²s, and 915 600 A²s pass from pole to pole
    found = study("truck", path__link_section="14 mm²")
    told = check(found.coordination, "links and bus bars")
    assert told.verdict == FAIL and told.demand.number > 2.5 * told.figure.number
    rows = [r for r in found.coordination.item.specification if r.what == "links and bus bars"]
    assert len(rows) == 1
    (heat,) = [h for one, h, _ in found.coordination.conductor_heat
               if one.name == "links and bus bars"]
    assert heat is told.demand and heat in found.coordination.item.duty


def test_the_largest_let_through_is_that_of_the_later_device():
    # 2003 A: the fuse has cleared as the cells' trip opens one pole, 0.526 s; 2.11e6 A²s
    held = study("truck").coordination
    assert held.worst_heat.number == pytest.approx(2003.0 ** 2 * 0.526, rel=2e-3)
    assert "in a second chassis fault" in held.worst_heat.title
    assert held.worst_heat.number > float(np.nanmax(held.sweep.heat))


# -- cures ------------------------------------------------------------------------------------


def test_a_trip_held_back_is_no_cure_where_the_fuse_does_not_count_yet():
    # the fuse counts from 2250 A, the contactor breaks 1000 A: held back, nobody opens between
    told = check(study("faulty").coordination, EVERY)
    assert "held back" not in told.remedy
    blocked = study("faulty", management__trip_blocked_above="1000 A").coordination
    (hole,) = blocked.holes
    assert hole.low == pytest.approx(1000.0) and hole.high == pytest.approx(2250.0, rel=1e-3)


def test_a_printed_contactor_closes_the_hole_of_the_faulty_example(tmp_path):
    # printed: breaks 2340 A; its sheet has 1000 A
    told = check(study("faulty").coordination, EVERY)
    assert "a contactor shown to break 2340 A in both directions" in told.remedy
    path = listed(tmp_path, Rype_400_slow={"break_discharge": "2340 A", "break_charge": "2340 A"})
    assert not study("faulty", parts__file=path).coordination.holes


def test_a_cure_is_one_change_and_it_is_tried():
    # as printed: 3520 A; a trip held back above 1500 A, where the fuse counts from 1000 A on
    told = check(coordinate(asked()), EVERY)
    assert "break 3520 A" in told.remedy and "held back above 1500 A" in told.remedy
    enough = {"break_discharge": "3520 A", "break_charge": "3520 A"}
    assert not coordinate(asked(contactor=contactor(**enough))).holes
    assert not coordinate(asked(trips=trips(blocked_above=f("back", "A", 1500.0)))).holes


def test_a_quicker_trip_and_a_lower_floor_close_the_hole_of_a_melting_fuse():
    # 0.64e6/3000² is 71.1 ms: 70 ms are printed; the floor is printed as 2520 A
    told = check(melting_hole(), EVERY)
    assert "a trip at or below 2520 A that has opened it within 0.07000 s" in told.remedy
    assert "shown to break from 2520 A" in told.remedy
    assert not melting_hole(trips=trips(delay=0.049)).holes
    lower = fuse(**PARTIAL | {"lowest_breaking_current": "2520 A"})
    assert not coordinate(asked(fuse=lower, contactor=contactor(**STRONG))).holes


@pytest.mark.parametrize("changes, cure", [
    ({"break_time_constant": "1 ms"}, "this contactor's 6000 A shown at 420.0 V, L/R 2.000 ms"),
    ({"rated_voltage_dc": "410 V"}, "this contactor's 6000 A shown at 420.0 V, L/R 2.000 ms"),
    ({"break_charge": ""}, "a contactor shown to break 3520 A in both directions at 420.0 V"),
])
def test_what_a_sheet_lacks_is_not_called_more_than_it_breaks(changes, cure):
    found = coordinate(asked(contactor=contactor(**STRONG | changes)))
    assert [h.device for h in found.holes] == [TORN_UNSHOWN]
    told = check(found, EVERY)
    assert "above what it breaks" not in told.reason and cure in told.remedy


def test_above_a_stated_figure_it_still_is():
    assert [h.device for h in coordinate(asked()).holes] == [TOO_EARLY]


# -- the arc and the silent sheet -------------------------------------------------------------


def test_the_worst_arc_lies_just_below_twice_the_trip():
    # the trip sees 600 A: 1200 A bolted burn for two seconds, and above it for 0.1 s
    most = contactor(break_discharge="20 kA", break_charge="20 kA")
    found = coordinate(asked(contactor=most))
    assert found.worst_arc_at.number == pytest.approx(1200.0, rel=1e-6)
    truck = study("truck").coordination
    assert truck.worst_arc_at.number == pytest.approx(2 * 675.0, rel=1e-6)
    assert truck.worst_arc.number / 4.184e4 == pytest.approx(
        0.005 * truck.asked.highest_voltage.number * 1350.0 * 2.0 / 45.72 ** 2, rel=1e-6)


def test_a_cable_does_not_pass_where_the_let_through_is_not_known():
    # the curve ends at 10 000 A and the fault at 20 000 A
    silent = fuse(clearing_i2t="", clearing_i2t_at="")
    told = check(coordinate(asked(
        fuse=silent, contactor=contactor(break_discharge="4000 A", break_charge="4000 A"),
        cable_withstand=f("k²S²", "A²s", 1e9))), "survives the heat over the whole range")
    assert told.verdict == NOT_EVALUATED and "beyond the fuse's curve" in told.reason


def test_nor_does_the_trucks(tmp_path):
    path = listed(tmp_path, Talvik_400_full_range={"clearing_i2t": "", "clearing_i2t_at": ""})
    item = study("truck", parts__file=path).coordination.item
    told = [c for c in item.checks if "the heat" in c.title]
    assert len(told) == 4 and all(c.verdict == NOT_EVALUATED for c in told)


@pytest.mark.parametrize("key, open_", [("chassis.second.own_side", True),
                                        ("branch.battery heater.after", False)])
def test_a_place_without_an_end_is_no_pass_unless_its_fuse_bounds_it(key, open_):
    # one pole's contactor alone bounds no heat; the heater's fuse does, whatever its lowest is
    found = study("truck")
    places = [replace(p, loop=replace(p.loop, lowest=f("lowest", "A", None)))
              if p.key == key else p for p in found.circuit.places]
    asked_ = found.coordination.asked
    told = place_heats(places, clearing_by(found.coordination, found.brief), asked_.conductors, 1)
    assert all(bool(one.silent) is open_ for one in told)
    held = check(with_heats(found.coordination, told), "links and bus bars")
    assert held.verdict == NOT_EVALUATED  # for what nobody clears, too
    assert (NO_END in held.reason) is open_
