"""The management system's specification: monitors, limits, trips, balancing.

Arithmetic stands beside each test; every formula of `monitoring` is a definition.
"""

import dataclasses
from functools import lru_cache

import pytest

from packcalc import monitoring as mon
from packcalc.checks import VERDICTS
from packcalc.findings import leaf
from packcalc.pack import model_pack
from packcalc.pack_charging import charge_limits
from packcalc.protect import management as man
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.management_report import management_section
from packcalc.study import find_layout

OWN = {"channels_per_monitor": 12, "monitor_order": "restarts at each module", "sense_fuse": "yes",
       "temperature_sensors": 29, "overvoltage_trip": "4.22 V", "undervoltage_trip": "2.6 V",
       "voltage_delay": "0.5 s", "overtemperature_trip": "58 degC", "trip_current": "450 A",
       "trip_delay": "0.3 s", "current_sensor_range": "1000 A", "current_sensor_error": "2 %",
       "balance_current": "200 mA", "self_discharge_spread": "3 %"}


@lru_cache
def pack_of(arrangement="grouped", layout="16S1P"):
    brief = brief_with()
    return model_pack(brief, find_layout(brief, layout, arrangement))


def brief_with(pack=None, **own):
    return brief_from_data({
        "modules": [{"label": "6s 200 Ah NMC", "count": 32}],
        "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "100 kW"},
        "charger": {"tolerance": "1 %"},
        "management": {k: v for k, v in {**OWN, **own}.items() if v is not None},
        "pack": {"disconnect_after": 8, "fuse_after": 0, **(pack or {})}})


def amps(title, value):
    return leaf(title, "I", "A", value, "given")


def specify(lowest=900.0, takeover=800.0, peak=400.0, pack=None, loaded=300.0, **own):
    model = dataclasses.replace(
        pack_of(), peak_current=amps("peak current", peak),
        loaded_voltage=leaf("loaded voltage", "U", "V", loaded, "given"),
        path=leaf("path", "R", "Ω", 8e-3, "given"),
        cables_long=leaf("cables", "R", "Ω", 4e-3, "given"))
    return man.specify_management(man.ManagementAsked(
        brief_with(pack, **own), model, amps("lowest fault", lowest),
        amps("highest fault", 9000.0), amps("fuse takes over", takeover)))


def check(result, words):
    found = [c for c in result.item.checks if words in c.title]
    assert len(found) == 1, [c.title for c in result.item.checks]
    return found[0]


def verdict(result, words):
    return check(result, words).verdict


def test_all_in_order_passes():
    result = specify()
    # what no entry of the brief can answer stays open
    held = [c for c in result.item.checks
            if not c.reason.startswith(("no setting is known", "no proof is known"))]
    assert {c.verdict for c in held if "of the modules" not in c.title} == {"pass", "caution"}
    assert [c.title for c in result.item.checks if c.verdict == "caution"] == [
        "a fuse at the cell end of each sense wire",
        "over-voltage trip above the end of charging"]  # 4.22 V, 4.242 V at the charger's 1 %


# -- monitors ---------------------------------------------------------------------------------

def test_monitors_that_restart_span_nothing():
    # 16 modules of 6 cells, monitors of 4 channels: two a module, the second half full
    found = mon.divide((6,) * 16, 4, mon.RESTARTS, {8: "disconnect"})
    assert len(found) == 32 and not any(m.spans for m in found)
    assert [(m.first, m.last) for m in found[:3]] == [(1, 4), (5, 6), (7, 10)]


@pytest.mark.parametrize(("channels", "spans"), [
    (6, 0), (12, 8), (11, 14), (48, 14), (96, 15)])
def test_monitors_that_run_on(channels, spans):
    # 15 joints between 16 modules of 6 cells; a joint is free where a monitor ends right there:
    # with 6 channels all, with 12 seven, with 11 the one at cell 66, with 48 the middle one
    found = mon.divide((6,) * 16, channels, mon.RUNS_ON, {i: "link" for i in range(1, 16)})
    assert sum(len(m.spans) for m in found) == spans
    assert found[0].first == 1 and found[-1].last == 96


@pytest.mark.parametrize(("after", "order", "expected", "cells"), [
    # monitors of 12 run on: cells 1–12, 13–24 …: module 3 ends at 18, inside the second
    (2, mon.RUNS_ON, "pass", ""), (3, mon.RUNS_ON, "fail", "13 to 24"),
    (4, mon.RUNS_ON, "pass", ""), (0, mon.RUNS_ON, "pass", ""), (16, mon.RUNS_ON, "pass", ""),
    # each joint has a channel: the disconnect is the 14th, 21st, 28th, in monitors 13–24, 25–36
    (2, mon.LINKS_MEASURED, "fail", "12 to 21"), (3, mon.LINKS_MEASURED, "fail", "12 to 21"),
    (4, mon.LINKS_MEASURED, "fail", "22 to 31"),
    (0, mon.LINKS_MEASURED, "pass", ""), (16, mon.LINKS_MEASURED, "pass", "")])
def test_monitor_across_the_disconnect(after, order, expected, cells):
    result = specify(pack={"disconnect_after": after}, monitor_order=order)
    assert verdict(result, "across the service disconnect") == expected
    if expected == "fail":
        assert f"cells {cells} across the disconnect after module {after}" in check(
            result, "across the service disconnect").reason


def test_monitor_across_a_fuse_inside_the_string():
    result = specify(pack={"fuse_after": 5}, monitor_order="runs on, links measured")
    assert verdict(result, "across a fuse") == "fail"
    assert verdict(specify(pack={"fuse_after": 5}), "across a fuse") == "pass"


def test_monitor_across_a_link():
    assert verdict(specify(monitor_order="runs on across links"), "bolted link") == "fail"
    assert verdict(specify(monitor_order="runs on, links measured"), "bolted link") == "caution"
    assert verdict(specify(), "bolted link") == "pass"
    assert verdict(specify(monitor_order="runs on across links", channels_per_monitor=6),
                   "bolted link") == "pass"


def test_unknown_order_or_channels_or_place_is_not_evaluated():
    for own in ({"monitor_order": None}, {"channels_per_monitor": None}):
        result = specify(**own)
        assert verdict(result, "across the service disconnect") == "not evaluated"
        assert verdict(result, "across a fuse") == "not evaluated"
    open_place = specify(pack={"disconnect_after": "unknown"},
                         monitor_order="runs on, links measured")
    assert verdict(open_place, "across the service disconnect") == "not evaluated"
    assert verdict(specify(pack={"disconnect_after": "unknown"}),
                   "across the service disconnect") == "pass"


@pytest.mark.parametrize(("channels", "after"), [(12, 8), (12, 3), (11, 8), (6, 8), (96, 8)])
def test_an_open_order_is_never_softer_than_its_worst_answer(channels, after):
    # the graver of both: fail < not evaluated < caution < pass in the order of VERDICTS
    pack = {"disconnect_after": after}
    open_ = specify(pack=pack, monitor_order=None, channels_per_monitor=channels)
    worst = specify(pack=pack, monitor_order="runs on across links",
                    channels_per_monitor=channels)
    for words in ("across the service disconnect", "across a fuse", "bolted link"):
        assert VERDICTS.index(verdict(open_, words)) <= VERDICTS.index(verdict(worst, words))
        assert verdict(open_, words) != "pass"


@pytest.mark.parametrize(("fused", "expected"), [("yes", "caution"), ("no", "fail"),
                                                 (None, "fail"), ("unknown", "fail")])
def test_sense_wires(fused, expected):
    assert verdict(specify(sense_fuse=fused), "sense wire") == expected
    if fused != "yes":
        said = "left open and counted as none" in check(specify(sense_fuse=fused),
                                                        "sense wire").reason
        assert said == (fused != "no")


def test_number_of_monitors():
    # modules of 6 cells on 4 channels take two each: 32
    lines = {r.what: r.value for r in specify(channels_per_monitor=4).item.specification}
    assert lines["monitors of 4 channels"] == "32"


# -- sensors and limits -----------------------------------------------------------------------

@pytest.mark.parametrize(("count", "expected"), [(28, "caution"), (29, "pass"), (30, "pass"),
                                                 (None, "not evaluated")])
def test_temperature_sensors(count, expected):
    # 96 cells · 30 % = 28.8, rounded up 29
    assert verdict(specify(temperature_sensors=count), "30 % of the cells") == expected


@pytest.mark.parametrize(("channels", "expected"), [(10, 3), (11, 4), (96, 29)])
def test_sensors_are_rounded_up(channels, expected):
    assert mon.sensors_for_share(channels, 0.3) == expected


@pytest.mark.parametrize(("volts", "high", "end"), [
    ("4.242 V", "pass", "pass"), ("4.243 V", "fail", "pass"),
    ("4.241 V", "pass", "caution"), ("4.2 V", "pass", "caution"),
    ("4.199 V", "pass", "fail")])
def test_over_voltage_trip(volts, high, end):
    # full 4.2 V, charger's tolerance of 1 %: 4.242 V
    result = specify(overvoltage_trip=volts)
    assert verdict(result, "over-voltage trip within") == high
    assert verdict(result, "over-voltage trip above the end") == end


def test_limits_come_from_the_cells():
    found = {x.quantity: x for x in specify().limits}
    assert found["cell voltage, high"].trip.number == pytest.approx(4.242)
    assert found["cell voltage, high"].setting.number == pytest.approx(4.22)
    hot = found["cell temperature, high"]
    assert hot.trip.number - hot.warn.number == pytest.approx(5.0)
    assert found["cell voltage, low, loaded"].delay.number == 0.5  # the delay that clearing counts
    assert found["cell voltage, low, loaded"].trip.number == 2.6   # likewise
    assert found["cell temperature, low, charging"].trip.number == pytest.approx(273.15)


# -- trips ------------------------------------------------------------------------------------

def test_band_of_the_trip():
    assert (mon.trip_lowest(450.0, 0.02, 1000.0), mon.trip_highest(450.0, 0.02, 1000.0)) == (
        430.0, 470.0)


@pytest.mark.parametrize(("lowest", "expected"), [(470.0, "pass"), (469.9, "fail"),
                                                  (470.1, "pass")])
def test_trip_against_the_lowest_fault(lowest, expected):
    assert verdict(specify(lowest=lowest), "tells the lowest fault") == expected


@pytest.mark.parametrize(("lowest", "known"), [(400.0, True), (399.0, True), (300.0, False)])
def test_cold_fault_smaller_than_the_warm_load_names_the_remedy(lowest, known):
    result = specify(lowest=lowest, trip_current="450 A" if known else None)
    found = check(result, "tells the lowest fault")
    assert found.verdict == "fail"
    assert "falls with cell temperature" in found.remedy and "under-voltage trip" in found.remedy
    assert "no fixed current" in result.item.governing


@pytest.mark.parametrize(("peak", "expected"), [(430.0, "pass"), (430.1, "fail")])
def test_trip_above_the_peak_load(peak, expected):
    assert verdict(specify(peak=peak), "trip lies above the peak load") == expected


@pytest.mark.parametrize(("takeover", "expected"), [(470.0, "pass"), (469.9, "fail"),
                                                    (None, "not evaluated")])
def test_trip_and_fuse_overlap(takeover, expected):
    assert verdict(specify(takeover=takeover), "fuse takes over") == expected


@pytest.mark.parametrize(("takeover", "span", "expected"), [
    (1000.0, "1000 A", "pass"), (1000.1, "1000 A", "fail"), (None, "1000 A", "not evaluated"),
    (None, "399 A", "fail"), (1000.0, None, "not evaluated")])
def test_sensor_range(takeover, span, expected):
    result = specify(takeover=takeover, current_sensor_range=span)
    assert verdict(result, "current sensor reaches") == expected


@pytest.mark.parametrize(("delay", "expected"), [("1 s", "pass"), ("1.001 s", "fail"),
                                                 (None, "not evaluated")])
def test_trip_in_time(delay, expected):
    assert verdict(specify(trip_delay=delay), "trip has opened the contactor") == expected


def test_under_voltage_trip_sees_the_cold_fault():
    # 900 A · 12 mΩ outside = 10.8 V over 96 cells: 0.1125 V a cell
    result = specify()
    fault = next(f for f in result.item.duty if f.symbol == "u_f")
    assert fault.number == pytest.approx(900.0 * 12e-3 / 96)
    assert verdict(result, "sees the lowest fault") == "pass"
    high = specify(lowest=25000.0, undervoltage_trip="2.6 V")
    assert verdict(high, "sees the lowest fault") == "fail"  # 25 kA·12 mΩ/96 = 3.125 V


@pytest.mark.parametrize(("loaded", "expected"), [(249.7, "pass"), (249.6, "fail"),
                                                  (None, "fail")])
def test_under_voltage_trip_below_the_loaded_cells(loaded, expected):
    # 249.6 V / 96 = 2.6 V, the trip itself; no loaded voltage: no current carries the power
    assert verdict(specify(loaded=loaded), "below the loaded cells") == expected


def test_a_power_without_solution_fails_with_its_reason_also_when_no_trip_is_set():
    for trip in ("2.6 V", None):
        one = check(specify(loaded=None, undervoltage_trip=trip), "below the loaded cells")
        assert one.verdict == "fail" and "no current carries the peak power" in one.reason


@pytest.mark.parametrize(("falls", "expected"), [("yes", "caution"), ("no", "fail"),
                                                 (None, "fail")])
def test_a_limit_that_falls_in_the_cold_is_to_be_proven(falls, expected):
    # a cold fault of 390 A against a peak load of 400 A
    assert verdict(specify(lowest=390.0, trip_falls_in_cold=falls),
                   "a fixed current trip tells") == expected


# -- over-current limits from the duties ------------------------------------------------------

def limits(result):
    return {x.quantity: x for x in result.limits}


def test_over_current_limits_stand_although_nobody_set_one():
    # peak 400 A, sensor 1000 A ± 2 %: the quick trip is above 400 + 20 = 420 A, so at least the
    # next figure of four digits
    found = limits(specify(trip_current=None, overload_trip=None))
    quick = found["discharge current, fault"]
    assert quick.warn.number == 400.0 and quick.trip.number == pytest.approx(420.1)
    assert quick.delay.number == 0.3 and quick.setting is None  # as the brief has it
    # and surely seen at 900 - 20 = 880 A
    assert "set between 420.1 A and 880.0 A" in quick.action
    slow = found["discharge current, overload"]
    steady = pack_of().continuous_current.number
    assert steady + 20.0 < slow.trip.number == pytest.approx(steady + 20.0, abs=0.1001)
    # a second more than the peak lasts
    assert slow.delay.number == brief_with().power.peak_duration.number + 1.0
    braking = found["braking current into the pack"]
    # 30 s is the safe-side peak; braking lasts 10 s unless said otherwise
    assert braking.delay.number == 10.0
    # braking asks for more than the cells bear at their warmest: no figure is sent, both are said
    best = max(limit.number for _, limit in charge_limits(brief_with(), pack_of().layout))
    assert best - 20.0 < pack_of().regeneration_current.number + 20.0
    assert braking.trip is None and f"at most {best - 20.0:.2f} A" in braking.action
    assert "no setting serves both" in braking.action and "less braking power" in braking.action
    charging = found["charging current, charger"]
    assert charging.trip is None and f"at most {best - 20.0:.2f} A" in charging.unsettled
    rows = {r.what: r.value for r in specify(trip_current=None).item.specification}
    for line in ("braking current into the pack: trip", "charging current, charger: trip"):
        assert rows[line].startswith("no setting serves both: at most") and "within" in rows[line]


def test_a_quick_limit_above_the_lowest_fault_is_no_limit():
    # 400 A + 2 % of 1000 A = 420 A; a fault of 439 A is surely seen only up to 419 A
    assert "no fixed current tells" in limits(specify(lowest=439.0))[
        "discharge current, fault"].action
    assert "no fixed current tells" not in limits(specify(lowest=441.0))[
        "discharge current, fault"].action


def test_what_is_set_stands_beside_what_is_asked():
    found = limits(specify(overload_trip="260 A", overload_delay="20 s"))
    slow = found["discharge current, overload"]
    # 20 s would end the peak of 30 s: a delay asked for must be the longer, by one second
    assert (slow.setting.number, slow.delay.number) == (260.0, 31.0)
    patient = limits(specify(overload_trip="260 A", overload_delay="40 s"))
    assert patient["discharge current, overload"].delay.number == 40.0
    assert found["discharge current, fault"].setting.number == 450.0


@pytest.mark.parametrize(("reach", "lowest", "said"), [
    ("14 kA", 450.0 - 280.0, False),    # 2 % of 14 kA is 280 A
    ("22.5 kA", 0.0, True),             # 2 % of 22.5 kA is the setting itself, 450 A
    ("50 kA", 0.0, True)])              # 1000 A of error: 550 A below zero before
def test_no_current_of_the_duty_is_negative(reach, lowest, said):
    result = specify(current_sensor_range=reach)
    band = next(x for x in result.item.duty if x.title.startswith("Lowest true current"))
    assert band.number == pytest.approx(lowest, abs=1e-9)
    assert all(x.number >= 0 for x in result.item.duty if x.known and x.unit == "A")
    titles = [c.title for c in result.item.checks if c.verdict == "fail"]
    assert ("the sensor's error leaves the trip a meaning" in titles) == said


# -- balancing --------------------------------------------------------------------------------

def test_currents_of_balancing():
    # 200 Ah · 3 % in 720 h = 8.333 mA; 200 mA for a tenth of the time = 20 mA
    assert mon.spread_current(200 * 3600.0, 0.03) == pytest.approx(8.3333e-3, rel=1e-4)
    assert mon.mean_balance(0.2, 0.1) == pytest.approx(0.02)
    assert mon.balance_time(200 * 3600.0, 0.01, 0.2) / 3600 == pytest.approx(10.0)


@pytest.mark.parametrize(("spread", "expected"), [("7.2 %", "pass"), ("7.21 %", "fail"),
                                                  (None, "not evaluated")])
def test_balancing_keeps_up(spread, expected):
    # 20 mA · 720 h / 200 Ah = 7.2 %
    assert verdict(specify(self_discharge_spread=spread), "balancing keeps up") == expected


def test_every_cell_of_every_stack_has_a_channel():
    brief = brief_with()
    for arrangement in ("grouped", "strings"):
        model = pack_of(arrangement, "16S2P")
        result = man.specify_management(man.ManagementAsked(
            brief, model, amps("lowest", 900.0), amps("highest", 9e3), amps("takes over", None)))
        lines = {r.what: r.value for r in result.item.specification}
        assert lines["cell voltage channels"] == "192"
        assert lines["monitors of 12 channels"] == "32"


def test_section_holds_limits_monitors_and_order():
    section = management_section(specify())
    tables = {block.key: block for block in section.blocks if hasattr(block, "rows")}
    assert len(tables["management_limits"].rows) == 11
    assert len(tables["management_monitors"].rows) == 16
    order = next(b for b in section.blocks if getattr(b, "key", "") == "management_plug_order")
    assert order.ordered and order.items[-1].startswith("To take apart")
