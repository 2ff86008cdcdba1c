"""Switching states: positions, proofs, times; arithmetic beside each test."""

import dataclasses
import math

import pytest

from packcalc.findings import leaf
from packcalc.pack import model_pack
from packcalc.protect import states as st
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.states_report import states_section
from packcalc.study import find_layout

INVERTER = {"voltage_range": "240 V to 420 V", "dc_link_capacitance": "1 mF",
            "dc_link_tolerance": "0 %", "torque_zero_time": "200 ms",
            "discharge_resistance": "2 kΩ", "discharge_tolerance": "0 %"}
OWN = {"trip_delay": "0.3 s", "crash_open_time": "200 ms"}


def brief_of(inverter=(), management=(), label="6s 200 Ah NMC"):
    return brief_from_data({
        "modules": [{"label": label, "count": 16}],
        "inverter": {k: v for k, v in {**INVERTER, **dict(inverter)}.items() if v is not None},
        "power": {"peak": "60 kW"}, "path": {"charge_contactor": "both poles"},
        "precharge": {"timeout": "4 s", "time_limit": "2 s"},
        "management": {k: v for k, v in {**OWN, **dict(management)}.items() if v is not None}})


def study(precharge_time=1.5, empty=290.0, arrangement="grouped", highest=400.0, **changes):
    brief = brief_of(**changes)
    pack = dataclasses.replace(
        model_pack(brief, find_layout(brief, "8S2P", arrangement)),
        empty_voltage=leaf("empty", "U", "V", empty, "given"))
    time = None if precharge_time is None else leaf("pre-charge", "t", "s", precharge_time, "given")
    return st.study_states(st.StatesAsked(
        brief, pack, leaf("highest working voltage", "U", "V", highest, "given"), time))


def verdict(result, words):
    found = [c for c in result.item.checks if words in c.title]
    assert len(found) == 1, [c.title for c in result.item.checks]
    return found[0].verdict


def test_eleven_states_in_order():
    assert [s.name for s in study().states] == [
        "off", "wake", "first pole", "pre-charge", "run", "inlet match", "charge",
        "fault", "crash", "key off under load", "loss of 12 V"]


def test_positions_follow_from_each_other():
    found = {s.name: s.contactors for s in study().states}
    for name in ("off", "wake", "fault", "crash", "key off under load", "loss of 12 V"):
        assert set(found[name]) == {"open"}
    assert found["first pole"].count("closed") == 1
    assert found["pre-charge"] == ("closed", "open", "closed", "open")
    assert found["run"] == ("closed", "closed", "open", "open")
    assert found["charge"] == ("closed", "closed", "open", "closed")


def test_one_contact_moves_at_a_time_on_the_way_to_run_but_the_relay_that_hands_over():
    found = {s.name: s.contactors for s in study().states}
    way = ("wake", "first pole", "pre-charge", "run")
    moves = [sum(a != b for a, b in zip(found[x], found[y])) for x, y in zip(way, way[1:])]
    assert moves == [1, 1, 2]  # main plus closes before the relay opens


def test_main_plus_and_pre_charge_are_never_both_open_with_the_bus_in_use():
    for state in study().states:
        minus, plus, relay, charge = state.contactors
        if charge == "closed":
            assert plus == minus == "closed"
        if relay == "closed":
            assert plus == "open"


def test_every_state_says_what_is_live_and_is_proven():
    for state in study().states:
        assert "modules" in state.live or "everything" in state.live
        assert state.point and state.failing and state.before
        # onto what the charge contactor may close nobody says here
        assert (state.level is not None) == (state.name != "inlet match")


def test_weld_check_comes_before_closing_and_torque_zero_before_opening():
    result = study()
    assert "weld check" in result.state("wake").point
    assert "weld" in result.state("first pole").before
    assert "weld check" in result.state("charge").before
    for name in ("off", "fault", "key off under load"):
        assert "torque" in result.state(name).before


@pytest.mark.parametrize(("empty", "level"), [(290.0, 60.0), (120.0, 60.0), (119.0, 59.5),
                                              (48.0, 24.0)])
def test_level_of_the_weld_check(empty, level):
    assert study(empty=empty).state("wake").level.number == pytest.approx(level)


def test_timeout_of_wake_is_the_fall_of_the_link():
    # 2 kΩ · 1 mF · ln(400/60) = 3.794 s
    found = study().state("wake").timeout
    assert found.number == pytest.approx(2.0 * math.log(400 / 60))


def test_level_of_pre_charge_is_scaled_to_the_lowest_battery():
    result = study()
    level = result.state("pre-charge").level
    assert level.number == pytest.approx(0.95 * level.inputs[0].number)
    assert result.state("pre-charge").timeout.number == 4.0


@pytest.mark.parametrize(("time", "expected"), [(3.999, "pass"), (4.0, "fail"), (4.001, "fail"),
                                                (None, "not evaluated")])
def test_timeout_against_the_pre_charge(time, expected):
    assert verdict(study(precharge_time=time), "pre-charge ends before") == expected


@pytest.mark.parametrize(("time", "expected"), [("300 ms", "pass"), ("301 ms", "caution"),
                                                (None, "not evaluated")])
def test_torque_to_zero_before_opening(time, expected):
    assert verdict(study(inverter={"torque_zero_time": time}), "torque is at zero") == expected


@pytest.mark.parametrize(("time", "expected"), [("5000 ms", "pass"), ("5001 ms", "fail"),
                                                (None, "not evaluated")])
def test_crash_opens_in_time(time, expected):
    assert verdict(study(management={"crash_open_time": time}), "crash opens") == expected


@pytest.mark.parametrize(("ohms", "expected"), [("2.5 kΩ", "pass"), ("2.54 kΩ", "caution"),
                                                (None, "not evaluated")])
def test_link_after_a_crash(ohms, expected):
    # 0.2 s + 2.5 kΩ·1 mF·1.8971 = 4.943 s; 2.54 kΩ gives 5.019 s
    assert verdict(study(inverter={"discharge_resistance": ohms}), "link is below 60 V") == expected


@pytest.mark.parametrize(("ohms", "expected"), [("15.8 kΩ", "pass"), ("15.9 kΩ", "caution"),
                                                (None, "not evaluated")])
def test_weld_check_waits_for_the_link(ohms, expected):
    # 15.8 kΩ·1 mF·1.8971 = 29.97 s, 15.9 kΩ 30.16 s against 30 s
    assert verdict(study(inverter={"discharge_resistance": ohms}), "tell a weld") == expected


def test_loss_of_12_v_is_asked_of_the_contactors_maker():
    found = next(c for c in study().item.checks if "12 V supply is lost" in c.title)
    assert found.verdict == "not evaluated" and "both directions" in found.reason


def test_strings_have_contactors_of_their_own():
    assert any("Each string" in n for n in study(arrangement="strings").item.notes)
    assert not any("Each string" in n for n in study().item.notes)


def test_section_has_both_tables():
    section = states_section(study(inverter={"discharge_resistance": None}))
    tables = {block.key: block for block in section.blocks if hasattr(block, "rows")}
    assert len(tables["switching_positions"].rows) == len(tables["switching_proofs"].rows) == 11
    assert tables["switching_proofs"].rows[0][4].text == "not known"


# -- proofs of a closed contact ---------------------------------------------------------------


def test_every_proof_says_what_it_cannot_see():
    result = study()
    assert all(s.blind for s in result.states)
    assert len(result.proofs) >= 4 and all(p.tells and p.blind for p in result.proofs)
    run = result.state("run")
    assert "no current reads the same" in run.blind and "auxiliary contact" in run.point
    page = states_section(result)
    ways = next(b for b in page.blocks if getattr(b, "key", "") == "switching_ways_of_proof")
    assert len(ways.rows) == len(result.proofs)
    steps = next(b for b in page.blocks if getattr(b, "key", "") == "switching_weld_check")
    assert steps.ordered and "60.00 V" in steps.items[0] and "battery minus" in steps.items[1]


@pytest.mark.parametrize(("resistance", "expected"), [
    # 2 kΩ · 1 mF · ln(400/380) = 2 s · 0.05129 = 0.1026 s; the time-out is 4 s
    ("2 kΩ", "pass"), ("77.9 kΩ", "pass"), ("78 kΩ", "caution"), (None, "not evaluated")])
def test_an_open_main_contact_is_told_by_the_links_fall(resistance, expected):
    result = study(inverter={"discharge_resistance": resistance})
    assert verdict(result, "stayed open is told") == expected
    if resistance == "2 kΩ":
        run = result.state("run")
        assert run.timeout.number == pytest.approx(2.0 * math.log(400.0 / 380.0))


def test_the_resistors_tolerance_lengthens_every_fall():
    exact, loose = study(), study(inverter={"discharge_tolerance": "10 %"})
    assert loose.state("wake").timeout.number == pytest.approx(
        1.1 * exact.state("wake").timeout.number)
    open_ = study(inverter={"discharge_tolerance": None})
    assert open_.state("wake").timeout.number == loose.state("wake").timeout.number


def test_the_link_is_below_60_v_only_after_its_own_fall():
    # 2 kΩ · 1 mF · ln(400/60) = 3.794 s; 0.3 s of trip delay and 0.2 s of torque come before
    fall = 2.0 * math.log(400.0 / 60.0)
    result = study()
    assert result.state("fault").timeout.number == pytest.approx(0.3 + fall)
    assert result.state("key off under load").timeout.number == pytest.approx(0.2 + fall)
    assert study(inverter={"discharge_resistance": None}).state("fault").timeout is None


def test_the_inlet_is_held_against_the_battery_and_not_against_a_ceiling():
    # 5 % of the measured battery voltage, the difference at which a main contact may close
    charge = study().state("charge")
    assert charge.relation == "differing by less than"
    full, emptiest = (f.inputs[0].number for f in (charge.scaled.full, charge.scaled.emptiest))
    assert charge.scaled.full.number == pytest.approx(0.05 * full)
    assert charge.level.number == pytest.approx(0.05 * emptiest) and emptiest < full < 400.0
