"""What a branch's fuse is asked for: overload, pulses, its upper fuses, its sheet; all invented.

The branch of `test_strings_branches_places` has 2.5 m of 4 mm², 2·2.5·17.24/4 = 21.55 mΩ, 50 µF at
410 V and a 25 A fuse. As often as contacts close, a pulse may have 22 % of the pre-arcing I²t
[fuse-pulse-chart, 100 000 pulses]; I2 ≤ 1.45·Iz [iec-60364-4-43, 433.1].
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.part_checks.fusing import CARRIES, ENDS
from packcalc.parts import CablePart, FusePart
from packcalc.protect import branch_figures as bf
from packcalc.protect import branches as br
from packcalc.protect import cable
from tests.cases.studies import study
from tests.cases.test_strings_branches_places import branch, check_of, f, fuse
from tests.test_cable import route

SHARE = 0.22
CHARGED = "Healthy fuse passes the closing step at every charge"


def part(**changed):
    return FusePart("B25", **({
        "rated_voltage_dc": f(500.0, "V"), "class_letters": "gR", "rated_current": f(25.0, "A"),
        "fusing_current": f(40.0, "A"), "breaking_capacity": f(50e3, "A")} | changed))


def held(words, **changed):
    return check_of(br.size_branch(branch(**changed)), words)


# -- pulses -----------------------------------------------------------------------------------


@pytest.mark.parametrize("melting, verdict", [
    (0.48, CAUTION), (0.49, CAUTION), (2.21, CAUTION), (2.22, PASS)])
def test_a_step_at_every_start_may_have_22_percent(melting, verdict):
    # ½·50 µF·(20.5 V)²/21.55 mΩ = 0.4876 A²s; / 0.22 = 2.216 A²s
    check = held("passes the closing step", fuse=fuse(melting=f(melting, "A²s")))
    assert check.verdict == verdict
    assert check.demand.number == pytest.approx(0.5 * 50e-6 * 20.5 ** 2 / 21.55e-3 / SHARE)


def test_its_request_asks_for_the_largest_step_that_comes_again():
    item = br.size_branch(branch(at_charge=bf.AtCharge(f(410.0, "V"), f(50e-6, "mF"), False)))
    (asked,) = [r for r in item.specification if r.what.endswith("for every closing")]
    # ½·50 µF·(410 V)²/21.55 mΩ/0.22 = 886.4 A²s
    assert asked.value == "at least 886.4 A²s" and "path.charge_difference" in asked.why


@pytest.mark.parametrize("stated, melting, verdict", [
    (True, 886.0, CAUTION), (True, 887.0, PASS), (False, 886.0, NOT_EVALUATED),
    (False, 887.0, PASS)])
def test_a_charger_closed_onto_empty_is_a_question_until_somebody_says(stated, melting, verdict):
    check = held(CHARGED, fuse=fuse(melting=f(melting, "A²s")), at_charge=bf.AtCharge(
        f(410.0, "V"), f(50e-6, "mF"), stated))
    assert check.verdict == verdict
    assert ("say path.charge_difference" in check.reason) == (verdict == NOT_EVALUATED)


def test_an_open_length_counts_short_where_capacitors_feed():
    # half a metre in place of 2.5 m: five times the I²t
    near, far = (bf.branch_duty(branch(near=n)).own_discharge.number for n in (f(0.5, "m"), None))
    assert near == pytest.approx(5.0 * far)


def test_the_charge_cable_of_the_truck_behind_its_charge_contactor():
    # ½ · 0.02 mF · 1.2 · (448.4 V)² / (2·2.5·17.24/25 mΩ) = 699.8 A²s
    found = study("truck", branch={"charge cable": {}})
    item = next(i for i in found.items if i.key == "branch.charge cable")
    full = found.pack.highest_voltage.number
    check = check_of(item, CHARGED)
    assert check.verdict == NOT_EVALUATED and check.figure.number == 1540.0
    assert check.demand.number == pytest.approx(0.5 * 24e-6 * full ** 2 / 3.448e-3 / SHARE)
    near = study("truck", branch={"charge cable": {}}, path__charge_difference="15 V")
    check = check_of(next(i for i in near.items if i.key == item.key), CHARGED)
    assert check.verdict == PASS
    assert check.demand.number == pytest.approx(0.5 * 24e-6 * 225.0 / 3.448e-3 / SHARE)
    other = next(i for i in found.items if i.key == "branch.DC/DC converter")
    assert not [c for c in other.checks if c.title == CHARGED]


def test_a_station_closes_onto_the_fuse_of_the_inlet():
    inlet = {"fuse_part": "Talvik 125 high voltage", "fuse_rating": "125 A"}
    found = study("minibus", branch={"fast-charge inlet": inlet, "floor heater": {
        "taps": "unknown"}}, station__capacitance="1 mF")
    item = next(i for i in found.items if i.key == "branch.fast-charge inlet")
    check, full = check_of(item, CHARGED), found.pack.highest_voltage.number
    # its own capacitance is 0 mF; the station's 1 mF · 1.1 over 2·4·17.24/50 = 2.758 mΩ
    assert check.verdict == NOT_EVALUATED and "say path.charge_difference" in check.reason
    assert check.demand.number == pytest.approx(
        0.5 * 1.1e-3 * full ** 2 / (2 * 4 * 17.24e-3 / 50) / SHARE)
    # with one string in, its fuse of 9600 A²s carries what the inlet's lets through: 11700 A²s
    upper = check_of(item, "opens without Talvik 200 high voltage")
    assert upper.verdict == CAUTION and "may go with it: a string" in upper.reason
    assert (upper.figure.number, upper.demand.number) == (11700.0, 9600.0)
    assert check_of(item, "opens without Talvik 250 high voltage").verdict == PASS
    # of one whose tap nobody told the main fuse may stand before it
    heater = next(i for i in found.items if i.key == "branch.floor heater")
    assert check_of(heater, "opens without Talvik 250 high voltage").verdict == PASS


# -- overload ---------------------------------------------------------------------------------


def overload(words=ENDS, capacity=(27.6, None), **changed):
    hottest, coolest = (None if a is None else f(a, "A") for a in capacity)
    found = br.size_branch(branch(fuse=fuse(part=part(**changed)), capacity=hottest,
                                  capacity_at_best=coolest, why_no_capacity="no table."))
    return next((c for c in found.checks if c.title == words), None)


@pytest.mark.parametrize("capacity, verdict", [
    # 40 A / 1.45 = 27.59 A
    ((27.59, None), PASS), ((27.58, None), CAUTION), ((20.0, 27.59), CAUTION),
    ((20.0, 27.58), FAIL)])
def test_its_fusing_current_within_145_percent_of_what_the_wire_carries(capacity, verdict):
    assert overload(capacity=capacity).verdict == verdict


def test_where_no_table_knows_the_wire_its_maker_is_asked_with_both_conditions():
    assert overload(capacity=(None, None)) is None
    assert "fuse's I2, 40.00 A" in overload(CARRIES, (None, None)).reason


@pytest.mark.parametrize("changed, words", [
    ({"fusing_current": None}, "conventional fusing current"), ({"class_letters": ""}, "class"),
    ({"rated_voltage_dc": f(400.0, "V")}, "400.0 V")])
def test_a_silent_sheet_ends_no_overload(changed, words):
    check = overload(capacity=(100.0, None), **changed)
    assert check.verdict == NOT_EVALUATED and words in check.reason


@pytest.mark.parametrize("letters, floor, verdict", [
    ("aR", None, FAIL), ("aR", 100.0, FAIL), ("aR", 25.1, FAIL), ("", 25.1, FAIL),
    ("", 25.0, NOT_EVALUATED), ("aR", 25.0, NOT_EVALUATED)])
def test_a_partial_range_link_melts_and_breaks_nothing(letters, floor, verdict):
    check = overload(capacity=(100.0, None), class_letters=letters, fusing_current=None,
                     lowest_breaking_current=floor and f(floor, "A"))
    assert check.verdict == verdict
    assert verdict != FAIL or check.stage == "who clears" and "no trip sees" in check.reason
    assert (letters == "aR" and verdict == FAIL) == ("aR is partial range" in check.reason)


@pytest.mark.parametrize("floor, verdict", [
    (25.0, PASS), (25.1, FAIL), (40.0, FAIL), (40.1, FAIL)])
def test_a_floor_above_the_rated_current_is_a_gap_whatever_the_letters_say(floor, verdict):
    # At the 40 A of its I2 it is sure to melt; from above its rated 25 A on it may.
    check = overload(capacity=(100.0, None), lowest_breaking_current=f(floor, "A"))
    assert check.verdict == verdict
    assert verdict == PASS or f"from above 25.00 A up to {floor:.2f} A it may melt and does not " \
        "break" in check.reason


def test_a_fuse_without_a_row_is_asked_for_its_class():
    check = held(ENDS)
    assert check.verdict == NOT_EVALUATED and "class letters" in check.reason


# -- its sheet --------------------------------------------------------------------------------


def test_a_request_asks_for_all_that_its_checks_need():
    item = br.size_branch(branch(bus_insulation=f(900.0, "V"), ambient=f(323.15, "°C"),
                                 capacity=f(30.0, "A")))
    told = {r.what: r.value for r in item.specification}
    assert told["branch fuse: class and rating"] == (
        "full range, first letter g, no lowest breaking current above the rated current; rated at "
        "most 30.00 A, I2 at most 1.45 times that")
    assert told["branch fuse: peak arc voltage"] == "at most 900.0 V"
    assert told["branch fuse: continuous current in the box's air"] == "at least 20.00 A at 50.00 °C"
    for words in ("curves in DC", "arc voltage", "cut-off current", "power loss", "terminal limit",
                  "derating", "conductor factor"):
        assert words in told["branch fuse: to send"]


def test_an_empty_cell_without_a_check_of_its_own_is_asked_for():
    item = br.size_branch(branch(fuse=fuse(part=part())))
    assert "branch fuse: melting curve (supplier)" in item.open_items
    assert "branch fuse: pre-arcing I²t (supplier)" in item.open_items


@pytest.mark.parametrize("end", [None, f(473.15, "°C")])
def test_a_cable_without_its_short_circuit_temperature_is_a_question(end):
    own = CablePart("W", section=f(95e-6, "mm²"), short_circuit_temperature=end)
    result = cable.size_route(route(), [own], named="W")
    checks = [c for c in next(c for c in result.item.candidates if c.name == "W").checks
              if c.title == "Short-circuit temperature of the insulation"]
    assert [c.verdict for c in checks] == ([] if end else [NOT_EVALUATED])
    assert not checks or "counted to end at 160.0 °C" in checks[0].reason


# -- its stub ---------------------------------------------------------------------------------


@pytest.mark.parametrize("section, heat, verdict", [
    (4e-6, 159e3, PASS), (4e-6, 160e3, CAUTION), (4e-6, None, CAUTION),  # it stands 159 600 A²s
    (None, 159e3, NOT_EVALUATED), (None, None, CAUTION)])
def test_an_unknown_section_does_not_better_what_stands_before_the_fuse(section, heat, verdict):
    check = held("stands at the tap", section=f(section, "mm²"), stub_heat=f(heat, "A²s"))
    assert check.verdict == verdict
