"""Designed corner cases of over-voltage, isolation, management system and switching states.

All scenarios are invented; the arithmetic stands beside each. Formulas answer to
tests/published/test_pfc_design_example.py and test_defibrillator_example.py; distances to the
laws in tests/tables/test_insulation_tables.py.
"""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from packcalc import isolation_formulas as iso
from packcalc.distances import clearance, creepage, impulse_voltage, reinforced_impulse
from packcalc.findings import leaf
from packcalc.monitoring import LINKS_MEASURED, RESTARTS, RUNS_ON, divide
from packcalc.pack import model_pack
from packcalc.protect import insulation as ins
from packcalc.protect import management as man
from packcalc.protect import overvoltage as ov
from packcalc.protect import states as st
from packcalc.reading.brief_file import brief_from_data
from packcalc.study import find_layout
from packcalc.transients import parallel_resistance


def value(title, unit, number):
    return leaf(title, "x", unit, number, "given")


def scenario(layout, arrangement="grouped", **sections):
    """Brief and pack of an invented vehicle."""
    data = {"modules": [{"label": "6s 200 Ah NMC", "count": 40}],
            "inverter": {"voltage_range": "200 V to 460 V"}, "power": {"peak": "80 kW"},
            "path": {"string_cable_length": "0 m"}}
    for name, entries in sections.items():
        data[name] = entries if isinstance(entries, list) else {**data.get(name, {}), **entries}
    brief = brief_from_data(data)
    return brief, model_pack(brief, find_layout(brief, layout, arrangement))


def checks_of(item):
    return {c.title: c for c in item.checks}


# -- over-voltage -----------------------------------------------------------------------------

def test_charger_that_overshoots_is_named():
    # 16 · 6 · 4.2 V · 1.03 = 415.3 V above an inverter that runs to 410 V at most
    brief, pack = scenario("16S1P", inverter={"voltage_range": "240 V to 405 V",
                                              "absolute_maximum": "410 V"},
                           charger={"tolerance": "3 %", "voltage_range": "200 V to 450 V"},
                           regeneration={"power": "0 kW"})
    result = ov.study_overvoltage(ov.overvoltage_asked(brief, pack))
    assert pack.full_voltage.number == pytest.approx(96 * 4.2 * 1.03)
    found = checks_of(result.item)
    assert found["inverter, absolute maximum rated for the highest working voltage"].verdict == \
        "fail"
    assert found[CEILING].verdict == "fail"


CEILING = "a charger that runs to its own ceiling stays at the end of charging"


@pytest.mark.parametrize("ceiling, verdict", [
    ("410 V", "caution"), ("447.7 V", "caution"), ("447.8 V", "fail")])
def test_a_ceiling_above_the_inverter_s_maximum_is_more_than_a_caution(ceiling, verdict):
    # 16 · 6 · 4.2 V · 1.005 = 405.2 V at the end of charging; the inverter bears 450 V, which is
    # 447.76 V at the charger's upper tolerance
    brief, pack = scenario("16S1P", charger={"tolerance": "0.5 %",
                                             "voltage_range": f"200 V to {ceiling}"},
                           inverter={"voltage_range": "240 V to 420 V",
                                     "absolute_maximum": "450 V"},
                           management={"overvoltage_trip": "4.22 V", "voltage_delay": "0.5 s"})
    result = ov.study_overvoltage(ov.overvoltage_asked(brief, pack))
    check = checks_of(result.item)[CEILING]
    assert check.verdict == verdict and ("overshoots" in check.reason) is (verdict == "fail")


def test_a_motor_at_top_speed_above_everything_else():
    # 620 V peak between lines on a 407 V pack: capacitors of 500 V, semiconductors of 650 V
    brief, pack = scenario("16S1P", motor={"back_voltage": "620 V"},
                           regeneration={"power": "0 kW"},
                           inverter={"capacitor_rating": "500 V", "semiconductor_rating": "650 V",
                                     "voltage_range": "200 V to 460 V"})
    result = ov.study_overvoltage(ov.overvoltage_asked(brief, pack))
    standing = {s.part: s.check.verdict for s in result.standings}
    assert result.highest.number == 620.0
    assert standing["DC-link capacitors"] == "fail"
    assert standing["inverter's semiconductors"] == "caution"
    # a dead inverter's diodes feed the closed battery: that side is not lower than the motor
    assert result.battery_side.number == 620.0


def test_a_station_ceiling_rates_a_small_pack():
    # 8S1P: 8·6·4.2·1.01 = 203.6 V; a station of 500 V rates insulation at 250 kΩ instead of 102
    brief, pack = scenario("8S1P", station={"voltage": "500 V", "current": "125 A"},
                           inverter={"voltage_range": "120 V to 230 V"})
    chain = ov.study_overvoltage(ov.overvoltage_asked(brief, pack))
    found = ins.study_insulation(ins.insulation_asked(brief, pack, chain.highest))
    assert found.joined.number == 250e3


def test_twice_the_link_capacitance_gives_twice_the_time():
    first = ov.time_at_power(0.5e-3, 400.0, 450.0, 60e3)
    assert ov.time_at_power(1e-3, 400.0, 450.0, 60e3) == pytest.approx(2 * first)
    # 0.5 mF, 60 kW, 400 to 450 V: 0.5e-3·42500/120e3 = 0.1771 ms
    assert first == pytest.approx(0.5e-3 * 42500 / 120e3)


def test_a_48_v_cart_never_reaches_the_border():
    # 2S1P: 12 cells, 12·4.2·1.01 = 50.9 V; what is open counts with the inverter's 56 V, the top
    # of its range: still under the border, and no pass while the chain is open
    brief, pack = scenario("2S1P", inverter={"voltage_range": "30 V to 56 V"},
                           power={"peak": "3 kW"}, regeneration={"power": "0 kW"})
    chain = ov.study_overvoltage(ov.overvoltage_asked(brief, pack))
    found = ins.study_insulation(ins.insulation_asked(brief, pack, chain.highest))
    assert chain.battery_side.number == pytest.approx(12 * 4.2 * 1.01)
    assert chain.highest.number == pytest.approx(56.0)
    assert checks_of(found.item)["DC link falls below 60 V in 5 s"].verdict == "not evaluated"
    # weld check: half of 12·3.0 V = 18 V, far under 60 V
    level = st.weld_level(st.StatesAsked(brief, pack, chain.highest, None))
    assert level.number == pytest.approx(pack.empty_voltage.number / 2)


# -- isolation --------------------------------------------------------------------------------

def test_a_damp_module_among_thirty_two():
    # 31 modules of 100 MΩ and one of 0.3 MΩ: all together 274.5 kΩ, above 200 kΩ;
    # the worst counted for all is 9.4 kΩ: the tool errs low and says which figure it used
    together = 1 / (31 / 100e6 + 1 / 0.3e6)
    assert together == pytest.approx(274.5e3, rel=1e-3)
    assert iso.modules_in_parallel(0.3e6, 32) == pytest.approx(9375.0)
    assert iso.modules_in_parallel(0.3e6, 32) < together


def test_two_poles_at_twice_the_demand_warn_and_pass():
    # poles of 400 kΩ each on a 400 V pack: the test gives 400 kΩ, the monitor 200 kΩ, the demand
    demand = iso.isolation_demand(500.0, 400.0)
    assert parallel_resistance(2 * demand, 2 * demand) == demand


@pytest.mark.parametrize(("voltage", "farads", "balanced", "fault"), [
    (400.0, 2.0e-6, 0.08, 0.32), (800.0, 0.3e-6, 0.048, 0.192), (150.0, 8e-6, 0.045, 0.18)])
def test_touch_energy(voltage, farads, balanced, fault):
    pair = iso.both_poles(farads)
    assert 0.5 * pair * (voltage / 2) ** 2 == pytest.approx(balanced)
    assert 0.5 * pair * voltage ** 2 == pytest.approx(fault)
    allowed = iso.one_pole(iso.capacitance_for_energy(0.2, voltage))
    assert (farads <= allowed) == (fault <= 0.2)


@pytest.mark.parametrize(("voltage", "pd", "group", "category", "expected"), [
    # creepage, clearance, reinforced creepage (≥ its clearance), reinforced clearance [mm]
    (450.0, 2, "IIIa", "II", (5.0, 3.0, 10.0, 8.0)),
    (450.0, 3, "IIIb", "III", (8.0, 5.5, 16.0, 11.0)),
    (150.0, 2, "I", "I", (0.8, 0.2, 1.6, 0.5)),
    (820.0, 2, "II", "III", (8.0, 8.0, 18.0, 18.0)),   # creepage 7.1 lies under the clearance
    (1000.0, 3, "II", "II", (14.0, 5.5, 28.0, 11.0)),
    (60.0, 3, "IIIb", "III", (2.0, 0.8, 4.0, 1.5)),    # rows of 63 V and 100 V: 1.5 and 2.5 kV
])
def test_distances(voltage, pd, group, category, expected):
    degree, height = value("pollution degree", "", pd), value("altitude", "m", 500.0)
    step = impulse_voltage(value("U", "V", voltage), category)
    path = creepage(value("U", "V", voltage), degree, group).number * 1e3
    gap = clearance(step, degree, height, "basic").number * 1e3
    raised = clearance(reinforced_impulse(step), degree, height, "reinforced").number * 1e3
    found = (max(path, gap), gap, max(2 * path, raised), raised)
    assert found == pytest.approx(expected)


@pytest.mark.property
@given(some.floats(10, 1500), some.floats(10, 1500), some.sampled_from([1, 2, 3]),
       some.sampled_from(["I", "II", "IIIa"]))
@settings(max_examples=60, deadline=None)
def test_a_higher_voltage_never_asks_for_less(one, other, pd, group):
    low, high = sorted((one, other))
    degree, height = value("pollution degree", "", pd), value("altitude", "m", 0.0)

    def both(voltage):
        at = value("U", "V", voltage)
        return (creepage(at, degree, group).number,
                clearance(impulse_voltage(at, "II"), degree, height, "gap").number)

    assert all(a <= b for a, b in zip(both(low), both(high), strict=True))


# -- management system ------------------------------------------------------------------------

def test_monitor_across_the_disconnect_of_modules_with_unequal_cells():
    # modules of 14, 14, 12, 12 cells; monitors of 15 run on: 1–15 spans the end of module 1 (14),
    # 16–30 the end of module 2 (28, the disconnect), 31–45 the end of module 3 (40)
    between = {1: "link", 2: "disconnect", 3: "link"}
    found = divide((14, 14, 12, 12), 15, RUNS_ON, between)
    assert [m.spans for m in found] == [
        ("link after module 1",), ("disconnect after module 2",), ("link after module 3",), ()]


def test_monitor_that_ends_right_at_the_disconnect_is_clear_of_it():
    # modules of 7 cells, monitors of 14: the joint after module 2 (cell 14) is free, after 1 not
    between = {1: "link", 2: "disconnect", 3: "link"}
    found = divide((7, 7, 7, 7), 14, RUNS_ON, between)
    assert [m.spans for m in found] == [("link after module 1",), ("link after module 3",)]
    # measured, every joint is a channel: the disconnect is the 7+1+7+1 = 16th, the 2nd monitor's
    measured = divide((7, 7, 7, 7), 14, LINKS_MEASURED, between)
    assert [m.spans for m in measured] == [
        ("link after module 1",), ("disconnect after module 2", "link after module 3"), ()]


def test_restarting_monitors_waste_channels_but_span_nothing():
    found = divide((7, 7), 12, RESTARTS, {1: "disconnect"})
    assert [(m.first, m.last, m.spans) for m in found] == [(1, 7, ()), (8, 14, ())]


def managed(lowest, takeover, **own):
    brief, pack = scenario("16S1P", management=own, inverter={"full_power_from": "250 V",
                                                              "voltage_range": "200 V to 460 V"})
    return man.specify_management(man.ManagementAsked(
        brief, pack, value("lowest fault", "A", lowest), value("highest fault", "A", 8000.0),
        value("fuse takes over", "A", takeover)))


def test_hole_between_trip_and_fuse():
    # trip 600 A ± 2 % of 1000 A = 620 A at most; a fuse from 610 A on overlaps not, from 620 A does
    own = {"trip_current": "600 A", "current_sensor_range": "1000 A", "current_sensor_error": "2 %"}
    title = "trip acts below the current at which the fuse takes over"
    assert checks_of(managed(900.0, 610.0, **own).item)[title].verdict == "fail"
    assert checks_of(managed(900.0, 620.0, **own).item)[title].verdict == "pass"


def test_cold_fault_below_the_warm_load_is_told_apart_by_cell_voltage():
    # 80 kW at 250 V = 320 A peak; a cold fault of 310 A hides below it, but leaves the cells at
    # 310 A · (path + cables)/96, far under an under-voltage trip of 2.6 V
    result = managed(310.0, 900.0, trip_current="350 A", current_sensor_range="1000 A",
                     undervoltage_trip="2.6 V", voltage_delay="0.5 s")
    found = checks_of(result.item)
    assert found["a fixed current trip tells the lowest fault from the peak load"].verdict == "fail"
    assert found["under-voltage trip sees the lowest fault"].verdict == "pass"
    assert found["under-voltage trip acts within the counted time"].verdict == "pass"


def test_two_types_of_module_keep_the_tighter_limits():
    currents = {"peak_current": "400 A", "continuous_current": "200 A"}
    brief = brief_from_data({
        "mix": "series",
        "modules": [{"label": "6s 200 Ah NMC", "count": 8, "full_voltage": "4.10 V", **currents},
                    {"label": "6s 200 Ah NMC", "count": 8, **currents}],
        "inverter": {"voltage_range": "200 V to 460 V"}, "power": {"peak": "40 kW"}})
    pack = model_pack(brief, find_layout(brief, "8S+8S1P"))
    result = man.specify_management(man.ManagementAsked(
        brief, pack, value("lowest", "A", 900.0), value("highest", "A", 8e3),
        value("takes over", "A", None)))
    found = {x.quantity: x for x in result.limits}
    assert found["cell voltage, high"].warn.number == pytest.approx(4.10)


# -- switching states -------------------------------------------------------------------------

def test_a_pre_charge_that_never_ends_is_not_evaluated_as_a_time():
    brief, pack = scenario("16S1P")
    result = st.study_states(st.StatesAsked(brief, pack, pack.highest_voltage, None))
    check = checks_of(result.item)["pre-charge ends before its timeout in the slow corner"]
    assert check.verdict == "not evaluated" and "never reached" in check.reason


def test_crash_and_bleed_add_up():
    # 0.15 s + 1.1 kΩ · 1.2 mF · ln(U/60) with U = 96·4.2·1.01 V; resistor 10 % up when open
    brief, pack = scenario("16S1P", inverter={
        "voltage_range": "200 V to 460 V", "discharge_resistance": "1 kΩ",
        "dc_link_capacitance": "1 mF", "dc_link_tolerance": "20 %"},
        management={"crash_open_time": "150 ms"}, regeneration={"power": "0 kW"})
    top = pack.highest_voltage
    result = st.study_states(st.StatesAsked(brief, pack, top, None))
    time = next(f for f in result.item.duty if f.title.startswith("from a crash"))
    assert time.number == pytest.approx(0.15 + 1.1 * 1.2 * math.log(top.number / 60))
    assert checks_of(result.item)["link is below 60 V in time after a crash"].verdict == "pass"
