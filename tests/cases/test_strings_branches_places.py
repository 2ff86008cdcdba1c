"""Designed corners of strings, branches and fault places; every number is invented.

The arithmetic stands beside each case, so that a pocket calculator gives the answer.
"""

from __future__ import annotations

import pytest
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.errors import OutOfRange
from packcalc.findings import leaf
from packcalc.protect import branch_figures as bf
from packcalc.protect import branches as br
from packcalc.protect import places as pl
from packcalc.protect import strings as st


def f(value, unit, title="figure"):
    return leaf(title, "x", unit, value, "given")


def check_of(item, words):
    return next(c for c in item.checks if words in c.title)


# -- strings: 2 × 400 V, 0.10 Ω new, 0.25 Ω cold; 100 Ah; 40 A charge limit warm, 8 A cold ----


def strings(**changed):
    given = {
        "fuse_breaks": f(9000.0, "A"), "strings": f(2, ""), "highest_voltage": f(410.0, "V"),
        "voltage_full": f(400.0, "V"), "resistance_initial": f(0.10, "mΩ"), "voltage_empty": f(320.0, "V"),
        "resistance_long": f(0.25, "mΩ"), "module_voltage": f(20.0, "V"),
        "continuous_current": f(120.0, "A"), "peak_current": f(300.0, "A"),
        "charging_current": f(30.0, "A"),
        "charge_limits": (st.ChargeLimit(f(278.15, "°C"), f(8.0, "A")),
                          st.ChargeLimit(f(298.15, "°C"), f(40.0, "A"))),
        "capacity": f(360000.0, "Ah"), "slope": f(90.0, "V"), "hysteresis": f(0.0, "V"),
        "voltage_error": f(1.0, "V"), "mismatch": f(0.20, "%")}
    return st.StringsAsked(**(given | changed))


def test_two_strings_already_feed_each_other():
    # (2 − 1) · 400 V / 0.10 Ω = 4000 A
    assert st.string_duty(strings()).breaking.number == pytest.approx(4000.0)


def test_four_strings_feed_a_fault_in_one_with_three():
    # 3 · 400 / 0.10 = 12 000 A
    assert st.string_duty(strings(strings=f(4, ""))).breaking.number == pytest.approx(12000.0)


def test_the_joining_current_is_told_over_hours():
    # C = 360000 A s/90 V = 4000 F, two in series 2000 F; τ = 0.50 Ω · 2000 F = 1000 s = 0.2778 h.
    # Half of it is 0.1389 h, the next whole power of two 0.25 h, then 0.5 h and 1 h. The least
    # limit, 8 A, at once; 8·e^(−0.9) = 3.2526 A, 8·e^(−1.8) = 1.3224 A, 8·e^(−3.6) = 0.21859 A
    shown = st.size_strings(strings()).duty
    told = [(d.title, d.value) for d in shown if d.title.startswith("joining current")]
    assert [title for title, _ in told] == [
        "joining current at once, at the allowed difference", "joining current after 0.25 h",
        "joining current after 0.5 h", "joining current after 1 h"]
    assert [value for _, value in told] == pytest.approx([8.0, 3.25256, 1.32239, 0.218590],
                                                         rel=1e-5)
    assert next(d for d in shown if d.title.endswith("0.25 h")).note.startswith("errs high")


@pytest.mark.parametrize("changed", [
    {"slope": f(0.0, "V")},                                              # no straight piece
    {"charge_limits": (st.ChargeLimit(f(258.15, "°C"), f(0.0, "A")),)},  # too cold to join
    {"voltage_error": f(2.0, "V")}])                  # ΔU = 8·0.2 = 1.6 V: readings hide it
def test_no_joining_current_where_no_string_may_join(changed):
    asked = strings(**changed)
    assert st.joining_currents(asked, st.string_duty(asked)) == ()


@pytest.mark.parametrize(("capacity", "hours"), [
    (360000.0, (0.25, 0.5, 1.0)),
    (720000.0, (0.5, 1.0, 2.0)),        # τ twice as long
    (2592000.0, (1.0, 2.0, 4.0)),       # τ = 2 h: half of it is 1 h itself
    (2592000.0 * 1.01, (2.0, 4.0, 8.0))])
def test_the_hours_follow_the_time_constant(capacity, hours):
    asked = strings(capacity=f(capacity, "Ah"))
    told = st.joining_currents(asked, st.string_duty(asked))[1:]
    assert tuple(one.inputs[2].number / 3600.0 for one in told) == pytest.approx(hours)


def test_one_string_is_no_parallel_pack():
    with pytest.raises(OutOfRange, match="two strings or more"):
        st.string_duty(strings(strings=f(1, "")))


def test_with_one_of_two_open_the_other_carries_all():
    assert st.string_duty(strings()).continuous.number == pytest.approx(120.0)


def test_best_of_two_takes_more_than_half():
    # 120 A · 1.2 / (2 + 0.2) = 65.45 A
    assert st.string_duty(strings()).in_use.number == pytest.approx(65.4545, rel=1e-5)


def test_best_of_three_with_one_open():
    # 120 · 1.2 / 2.2 = 65.45 A, the same as two strings in
    assert st.string_duty(strings(strings=f(3, ""))).continuous.number == pytest.approx(
        65.4545, rel=1e-5)


def test_a_module_shorted_inside_a_string_is_a_small_current():
    # 20 V / (0.25 + 0.25) Ω = 40 A: under a string fuse for 120 A, so nobody
    item = st.size_strings(strings())
    one = check_of(item, "module shorted")
    assert one.figure.number == pytest.approx(40.0)
    assert one.verdict == NOT_EVALUATED and "nobody" in one.reason


def test_coldest_charge_limit_governs_joining():
    # 8 A · (0.10 + 0.10) Ω = 1.6 V, not 40 A · 0.2 Ω = 8 V
    assert st.string_duty(strings()).difference.number == pytest.approx(1.6)
    allowed = st.joining_differences(strings())
    assert [d.number for _, d in allowed] == pytest.approx([1.6, 8.0])


def test_no_charge_in_the_cold_means_no_joining():
    cold = (st.ChargeLimit(f(263.15, "°C"), f(0.0, "A")),)
    item = st.size_strings(strings(charge_limits=cold))
    assert check_of(item, "may be charged").verdict == FAIL
    assert "refused" in check_of(item, "may be charged").reason


def test_joining_lasts_for_minutes_not_milliseconds():
    # C = 360000 C / 90 V = 4000 F; in series 2000 F; τ = 0.5 Ω · 2000 F = 1000 s
    duty = st.string_duty(strings())
    assert duty.time_constant.number == pytest.approx(1000.0)
    # 5 % left after ln 20 = 2.9957 τ
    assert duty.settled.number == pytest.approx(2995.7, rel=1e-4)


def test_a_steep_curve_shows_the_gap():
    # 1 V / 90 V = 1.11 % of charge hidden: below 5 %
    item = st.size_strings(strings())
    assert check_of(item, "Voltage shows").verdict == PASS
    assert st.string_duty(strings()).hidden.number == pytest.approx(0.01111, rel=1e-3)


def test_hidden_gap_at_just_below_and_just_above_five_percent():
    # 1 V / 0.05 = 20 V of slope is the border
    for slope, verdict in ((20.0, PASS), (20.1, PASS), (19.9, CAUTION)):
        item = st.size_strings(strings(slope=f(slope, "V")))
        assert check_of(item, "Voltage shows").verdict == verdict


def test_a_flat_curve_is_refused_although_voltages_agree():
    # 1 V over a slope of 2.8 V per whole charge hides 36 %
    item = st.size_strings(strings(slope=f(2.8, "V")))
    check = check_of(item, "Voltage shows")
    assert check.verdict == CAUTION
    assert "refused" in check.reason and "charge each string full" in check.remedy


def test_a_curve_without_slope_is_refused_without_division():
    item = st.size_strings(strings(slope=f(0.0, "V")))
    assert "refused" in check_of(item, "Voltage shows").reason
    with pytest.raises(OutOfRange, match="charge each string full"):
        st.string_capacitance(360000.0, 0.0)
    with pytest.raises(OutOfRange, match="charge each string full"):
        st.hidden_gap(1.0, 0.0, -3.0)


def test_hysteresis_hides_more_than_the_meter():
    # (1 + 4) V / 90 V = 5.56 %: refused, although the meter alone hides 1.1 %
    item = st.size_strings(strings(hysteresis=f(4.0, "V")))
    assert check_of(item, "Voltage shows").verdict == CAUTION


def test_meter_must_be_finer_than_the_allowed_difference():
    # allowed 1.6 V against an error of 1.6 V: not above it
    item = st.size_strings(strings(voltage_error=f(1.6, "V")))
    assert check_of(item, "measuring error").verdict == FAIL
    item = st.size_strings(strings(voltage_error=f(1.59, "V")))
    assert check_of(item, "measuring error").verdict == PASS


def test_unlike_strings_circulate_without_load():
    # 5 V / 0.22 Ω = 22.73 A
    assert st.joined_current(5.0, 0.0, 0.10, 0.20, 1) == pytest.approx(22.7273, rel=1e-5)


# -- branches: 4 mm², 2.5 m, 25 A fuse on a 410 V pack -------------------------------------


def fuse(**changed):
    given = {"name": "B25", "rating": f(25.0, "A"), "voltage": f(500.0, "V"),
             "breaking": f(50e3, "A"), "melting": f(400.0, "A²s"), "clearing": f(3000.0, "A²s")}
    return bf.BranchFuse(**(given | changed))


def branch(**changed):
    given = {
        "name": "heater", "kind": "heater", "power": f(5000.0, "kW"), "current": f(None, "A"),
        "lowest_bus": f(250.0, "V"), "length": f(2.5, "m"), "tap_length": f(0.08, "mm"),
        "section": f(4e-6, "mm²"), "insulation_voltage": f(600.0, "V"),
        "insulation_class": f(363.15, "°C"), "fused_poles": "both", "fuse": fuse(),
        "capacitance": f(50e-6, "mF"), "highest_voltage": f(410.0, "V"),
        "fault_highest": f(20e3, "A"), "upstream_long": f(0.150, "mΩ"),
        "voltage_empty": f(300.0, "V"), "closing_difference": f(20.5, "V"), "link_feeds": True}
    return bf.BranchAsked(**(given | changed))


def test_load_current_is_counted_at_the_lowest_voltage():
    # 5000 W / 250 V = 20 A
    assert bf.branch_duty(branch()).load.number == pytest.approx(20.0)


def test_conductor_withstand():
    # k = 226·√ln(1 + 70/324.5) = 99.9; (99.9 · 4)² = 159 600 A²s
    assert bf.branch_duty(branch()).withstand.number == pytest.approx(159.6e3, rel=1e-3)
    item = br.size_branch(branch())
    assert check_of(item, "Conductor stands").verdict == PASS


def test_thin_conductor_burns_before_its_fuse_is_done():
    # 0.5 mm²: 159600 / 64 = 2494 A²s, below 3000 A²s
    item = br.size_branch(branch(section=f(0.5e-6, "mm²")))
    assert check_of(item, "Conductor stands").verdict == FAIL


def test_lowest_fault_at_the_end_of_a_hot_branch():
    # hot: 20.55 mΩ/m·mm² · 324.5/254.5 = 26.2; 2·2.5·26.2/4 = 32.75 mΩ; 300/0.18275 = 1642 A
    assert bf.branch_duty(branch()).lowest.number == pytest.approx(1641.6, rel=1e-3)


def test_long_sense_wire_limits_its_own_fault_below_the_fuse():
    # 0.1 mm² over 40 m: 2·40·26.2/0.1 = 20.96 Ω; 300/21.1 = 14.2 A, under a 25 A fuse
    item = br.size_branch(branch(section=f(0.1e-6, "mm²"), length=f(40.0, "m")))
    assert check_of(item, "Lowest fault above").verdict == FAIL


def test_own_capacitor_blows_a_healthy_fuse():
    # copper alone 2·2.5·17.24/4 = 21.55 mΩ; ½·50 µF·410²/0.02155 = 195 A²s
    duty = bf.branch_duty(branch())
    assert duty.own_discharge.number == pytest.approx(195.0, rel=1e-3)
    assert check_of(br.size_branch(branch()), "own capacitor").verdict == PASS
    small = br.size_branch(branch(fuse=fuse(melting=f(150.0, "A²s"))))
    assert check_of(small, "own capacitor").verdict == CAUTION


def test_closing_step_is_a_four_hundredth_after_pre_charge_to_95_percent():
    # (20.5/410)² = 1/400: 195/400 = 0.488 A²s
    assert bf.branch_duty(branch()).closing_step.number == pytest.approx(0.4876, rel=1e-3)


@pytest.mark.parametrize("metres, verdict", [(0.149, PASS), (0.150, PASS), (0.151, FAIL)])
def test_fuse_within_150_mm_of_the_tap(metres, verdict):
    item = br.size_branch(branch(tap_length=f(metres, "mm")))
    assert check_of(item, "stands at the tap").verdict == verdict


def test_unknown_tap_length_is_not_evaluated():
    item = br.size_branch(branch(tap_length=f(None, "mm")))
    assert check_of(item, "stands at the tap").verdict == NOT_EVALUATED


def test_one_fused_pole_is_a_caution():
    assert check_of(br.size_branch(branch(fused_poles="one")), "both poles").verdict == CAUTION


def test_branch_without_a_fuse_says_nobody():
    item = br.size_branch(branch(fuse=bf.fuse_without_sheet(f(None, "A"))))
    check = check_of(item, "fuse of its own")
    assert check.verdict == FAIL and "nobody" in check.reason


def test_sense_wire_wants_its_fuse_at_the_cell_end_and_no_load():
    item = br.size_branch(branch(kind="sense", power=f(None, "kW"), capacitance=f(None, "mF"),
                                 fuse=bf.fuse_without_sheet(f(None, "A"))))
    assert check_of(item, "fuse of its own").title.endswith("the cell end")
    assert not any("load" in words for words in item.open_items)


@pytest.mark.parametrize("volts, verdict", [(409.9, FAIL), (410.0, PASS), (410.1, PASS)])
def test_insulation_for_the_whole_pack(volts, verdict):
    item = br.size_branch(branch(insulation_voltage=f(volts, "V")))
    assert check_of(item, "Insulation for").verdict == verdict


def test_automotive_fuse_fails_twice():
    item = br.size_branch(branch(fuse=fuse(voltage=f(58.0, "V"), breaking=f(2000.0, "A"))))
    assert check_of(item, "rated DC voltage").verdict == FAIL
    assert check_of(item, "breaking capacity").verdict == FAIL


def test_a_sheet_nobody_entered_never_passes():
    item = br.size_branch(branch(fuse=bf.fuse_without_sheet(f(25.0, "A"))))
    for words in ("rated DC voltage", "breaking capacity", "Conductor stands", "own capacitor"):
        assert check_of(item, words).verdict == NOT_EVALUATED
    assert "branch fuse: DC breaking capacity (supplier)" in item.open_items


def test_insulation_hotter_than_the_joints_leaves_no_adiabatic_limit():
    duty = bf.branch_duty(branch(insulation_class=f(273.15 + 160.0, "°C")))
    assert not duty.withstand.known and "160 °C" in duty.withstand.note


# -- who clears -----------------------------------------------------------------------------

MAIN = pl.Device("main_fuse", "main fuse", pl.FUSE, f(350.0, "A"))
POLE = pl.Device("contactors", "main contactors", pl.CONTACTOR)


def who(current, *devices, clearing=pl.clearing_without_parts, end="lowest"):
    return pl.who_clears(end, f(current, "A"), devices, clearing)


def test_no_device_in_the_loop_is_nobody():
    one = who(2000.0)
    assert (one.words, one.why) == ("nobody", "no device stands in this loop")


@pytest.mark.parametrize("amperes, words", [
    (349.0, "nobody"), (350.0, "nobody"), (351.0, "not shown: main fuse")])
def test_a_fuse_never_opens_at_or_below_its_rating(amperes, words):
    assert who(amperes, MAIN).words == words


def test_a_contactor_is_never_shown_without_a_trip():
    assert who(200.0, MAIN, POLE).words == "not shown: main contactors"
    assert "named trip" in who(200.0, MAIN, POLE).why


def test_the_quicker_device_is_named_with_its_time():
    def clearing(device, current):
        return True, f({"main_fuse": 0.004, "contactors": 0.06}[device.key], "s"), "curve"

    one = who(9000.0, POLE, MAIN, clearing=clearing)
    assert (one.device, one.time.number) == ("main fuse", 0.004)


def test_all_devices_refusing_is_nobody_with_each_reason():
    one = who(100.0, MAIN, POLE, clearing=lambda d, c: (False, None, f"{d.name} stays shut"))
    assert one.words == "nobody"
    assert one.why == "main fuse: main fuse stays shut; main contactors: main contactors stays shut"


def test_unknown_current_is_not_evaluated():
    one = pl.who_clears("lowest", f(None, "A"), (MAIN,), pl.clearing_without_parts)
    assert one.words == "not evaluated" and one.clears is None


def test_parallel_string_fuses_share_the_highest_current_only():
    # 600 A by two fuses: 300 A each, below 350 A; at the lowest one string carries it all
    pair = pl.Device("string_fuse", "string fuse", pl.FUSE, f(350.0, "A"), paths=2)
    assert who(600.0, pair, end="highest").words == "nobody"
    assert who(600.0, pair, end="lowest").words == "not shown: string fuse"


def test_fuse_in_one_pole_leaves_the_other_without():
    pairs = {p.key: p for p in pl.chassis_pairs("one pole")}
    assert pairs["fused_pole"].fused and not pairs["other_pole"].fused
    assert pl.OTHER_POLE in pairs["other_pole"].remedies


def test_fuses_in_both_poles_leave_two_leaks_inside():
    pairs = {p.key: p for p in pl.chassis_pairs("both poles")}
    assert "other_pole" not in pairs
    assert not pairs["inside"].fused and pl.MID_FUSE in pairs["inside"].remedies


def test_mid_pack_fuse_does_not_see_a_leak_on_the_poles_own_side():
    pairs = {p.key: p for p in pl.chassis_pairs("mid-pack")}
    assert pairs["beyond_mid"].fused and not pairs["own_side"].fused
    assert pairs["inside_across"].fused and not pairs["inside"].fused
