"""Loads of open waking voltage or power, welds of the charge contactor, low packs, balance.

Demo data are the invented examples with entries changed; arithmetic stands beside each test.
"""

import dataclasses
import tomllib
from collections.abc import Callable

import pytest

from examples.regenerate import ROOT
from packcalc import api
from packcalc import transients as tr
from packcalc.charging import OPEN_WAKING, BusLoad, wakes_title
from packcalc.findings import leaf
from packcalc.pack import model_pack
from packcalc.protect import states as st
from packcalc.protect.precharge import LEVEL_TIME, PrechargeAsked, size_precharge
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.drawings.precharge_traces import precharge_traces_figure
from packcalc.study import find_layout
from tests.cases.studies import LAYOUTS, study

pytestmark = pytest.mark.thorough

NO_WORD = {"wakes_at": "unknown"}
HEATER = {"taps": "behind the contactors", "capacitance": "0.02 mF"}


def item(found, key):
    return next(i for i in found.items if i.key == key)


def checks(found, key, words):
    return [c for c in item(found, key).checks if words in c.title]


def resistor(found):
    """The checks of the one that the brief names, by title."""
    return {c.title: c for c in item(found, "precharge").own_parts[0].checks}


def level_time(found):
    return next((f for f in item(found, "precharge").duty if f.title == LEVEL_TIME), None)


def truck_with(watts):
    load = {"name": "DC/DC converter", "kind": "constant power", "power": watts}
    return study("truck", branch={"DC/DC converter": NO_WORD}, precharge__load=[load])


# -- a waking voltage that nobody said ----------------------------------------------------------

OPEN = {
    "truck, 200 W": (lambda: truck_with("200 W"), "DC/DC converter"),
    "truck, 15 W": (lambda: truck_with("15 W"), "DC/DC converter"),
    "truck, heater behind the contactors": (
        lambda: study("truck", branch={"battery heater": HEATER}), "battery heater"),
    "faulty": (lambda: study("faulty", precharge__load=[{
        "name": "tipper pump, electronics", "kind": "constant power", "power": "250 W"}]),
        "tipper pump, electronics"),
}


@pytest.mark.parametrize("case", OPEN)
def test_an_open_waking_voltage_counts_at_its_worst_everywhere(case: str) -> None:
    make, name = OPEN[case]
    found = make()
    own = resistor(found)
    wakes = own[wakes_title(name)]
    assert wakes.verdict == "fail" and OPEN_WAKING in wakes.reason
    assert own["bus reaches the level in time"].verdict == "fail"
    (never,) = checks(found, "precharge", "pre-charge ends")
    assert never.verdict == "fail" and "never" in never.reason and OPEN_WAKING in never.reason
    assert level_time(found) is None and found.failing
    assert any(words.startswith(name) for words in item(found, "precharge").open_items)
    (timely,) = checks(found, "switching", "pre-charge ends before its timeout")
    assert timely.verdict == "not evaluated"
    pole = found.circuit.states.state("first pole")
    assert pole.timeout is None and "a welded relay whose current a load" in pole.blind
    told = precharge_traces_figure(found).text
    assert f"{name} ({OPEN_WAKING})" in told and "does not reach the level" in told


def test_below_the_smaller_root_a_load_stops_the_charge_and_above_it_does_not() -> None:
    # 400 V through 100 Ω, 300 W: 200 ± √(40000 − 30000) = 300 and 100 V
    wakes = check_of(300.0, None)
    assert wakes.demand.number == pytest.approx(100.0) and wakes.verdict == "fail"
    assert tr.passing_power(400.0, 100.0, 100.0) == pytest.approx(300.0)
    assert check_of(300.0, 99.9).verdict == "fail"
    assert check_of(300.0, 100.1).verdict == "pass"


def test_above_the_most_that_the_resistor_passes_no_waking_voltage_serves() -> None:
    # V²/(4·R) = 160000/400 = 400 W
    wakes = check_of(401.0, None)
    assert wakes.demand.number == pytest.approx(400.0) and "at any voltage" in wakes.reason


def known(unit: str, value: float | None):
    return leaf("value", "x", unit, value, "given")


def asked(load: BusLoad) -> PrechargeAsked:
    """400 V, 1 mF, 70 %, limits wide, no tolerance."""
    volts, none = known("V", 400.0), known("%", 0.0)
    return PrechargeAsked(volts, volts, known("mF", 1e-3), none, none, known("s", 9.0),
                          known("%", 0.7), known("s", 10.0), known("", 1.0), (load,))



def check_of(watts: float, wakes_at: float | None):
    load = BusLoad("supply", "constant power", None, known("W", watts), known("V", wakes_at))
    # E12 values near a window of seconds are far larger: the check is asked of 100 Ω itself
    from packcalc.charging import LoadedBus, load_checks
    one = asked(load)
    bus = LoadedBus(one.highest_voltage, known("Ω", 100.0), one.capacitance, one.level,
                    one.known_loads)
    return next(c for c in load_checks(bus) if c.title == wakes_title("supply"))


def test_a_resistor_of_open_waking_draws_from_the_first_volt() -> None:
    def time(wakes_at: float | None) -> float:
        load = BusLoad("bleed", "resistive", known("Ω", 20e3), None, known("V", wakes_at))
        return next(f for f in size_precharge(asked(load)).duty if f.title == LEVEL_TIME).number
    assert time(None) == time(0.0) > time(200.0)


# -- a power that nobody said -------------------------------------------------------------------

def test_a_branch_of_unknown_power_on_the_bus_is_open_by_name() -> None:
    found = study("truck", branch={"battery heater": {**HEATER, "power": "unknown",
                                                      "current": "unknown"}})
    (open_,) = checks(found, "precharge", "battery heater lets the bus come up")
    assert open_.verdict == "not evaluated"
    for title in ("bus reaches the level in time", "timeout is longer than a slow charge"):
        held = resistor(found)[title]
        assert held.verdict == "not evaluated" and "battery heater" in held.reason
    (timely,) = checks(found, "switching", "pre-charge ends before its timeout")
    assert timely.verdict == "not evaluated" and "battery heater" in timely.reason
    assert level_time(found).at_least
    assert found.circuit.states.state("first pole").timeout is None
    assert "battery heater" in precharge_traces_figure(found).text
    known_ = study("truck")
    assert checks(known_, "switching", "pre-charge ends before")[0].verdict == "pass"


# -- a weld of the charge contactor -------------------------------------------------------------

@pytest.mark.parametrize(("poles", "which"), [
    ("both poles", "each inlet pole to the other bus pole"),
    ("one pole", "the inlet pole that it cuts off to the other bus pole")])
def test_a_weld_of_the_charge_contactor_is_read_with_the_bus_live(poles: str, which: str) -> None:
    states = study("truck", path__charge_contactor=poles).circuit.states
    (step,) = [s for s in states.weld_check if "charge contactor" in s]
    assert which in step and "main contacts closed" in step and "60.00 V" in step
    assert "no charge" in step  # what a failing reading means
    at = states.weld_check.index(step)
    assert at > next(i for i, s in enumerate(states.weld_check) if "close main plus" in s)
    assert not any("same for the charge contactor" in s for s in states.weld_check)
    assert "weld check" in states.state("run").before
    assert "bus live" in states.state("charge").before
    spec = {r.what: r for r in states.item.specification}
    assert "each inlet pole to the other bus pole" in spec["voltage channels"].value
    assert "bus live" in spec[f"charge contactor, {poles}"].why


def test_the_dead_inlet_leans_on_that_reading() -> None:
    (inlet,) = checks(study("truck"), "switching", "charge inlet is dead")
    assert "each inlet pole to the other bus pole, bus live" in inlet.reason
    none = study("van").circuit.states
    assert not any("charge contactor" in s for s in none.weld_check)
    assert "weld check" not in none.state("run").before


# -- a pack that rests below 60 V ---------------------------------------------------------------

def low(empty: float):
    brief = brief_from_data({
        "modules": [{"label": "4s 100 Ah NMC", "count": 8}],
        "inverter": {"voltage_range": "44 V to 70 V", "dc_link_capacitance": "2 mF",
                     "dc_link_tolerance": "0 %", "discharge_resistance": "1 kΩ",
                     "discharge_tolerance": "0 %", "torque_zero_time": "100 ms"},
        "power": {"peak": "3 kW"}, "management": {"trip_delay": "0.1 s"}})
    pack = dataclasses.replace(model_pack(brief, find_layout(brief, "4S2P")),
                               empty_voltage=leaf("empty", "U", "V", empty, "given"))
    return st.study_states(st.StatesAsked(brief, pack, known("V", 67.5), None))


@pytest.mark.parametrize("name", ["off", "fault", "key off under load"])
@pytest.mark.parametrize(("empty", "level"), [(56.0, 28.0), (59.9, 29.95), (60.0, 60.0)])
def test_where_the_pack_rests_below_the_border_half_of_it_proves_open(name, empty, level) -> None:
    state = low(empty).state(name)
    assert state.level.number == pytest.approx(level)
    # 1 kΩ · 2 mF · ln(67.5/28) = 1.760 s, and the delay of 0.1 s before it
    if empty == 56.0:
        first = 0.0 if name == "off" else 0.1
        assert state.timeout.number == pytest.approx(first + 1.7598, abs=1e-4)


def test_a_crash_of_such_a_pack_says_that_a_weld_is_not_seen() -> None:
    assert "a weld" in low(56.0).state("crash").blind
    assert "a weld" not in low(60.0).state("crash").blind


# -- a fuse and a disconnect at one link --------------------------------------------------------

def test_fuse_and_disconnect_at_one_link_are_both_looked_for() -> None:
    # 10 channels, modules of 6 cells: 48 cells and 7 joints lie before that place, channel 56 is
    # its own; monitor 6 has channels 51 to 60, cells 44 to 48, the place, cells 49 to 52
    found = study("truck", management__channels_per_monitor=10,
                  management__monitor_order="runs on, links measured")
    for words in ("across a fuse", "across the service disconnect"):
        (check,) = checks(found, "management", words)
        assert check.verdict == "fail" and check.figure.number == 1
        assert "cells 44 to 52" in check.reason


# -- what the bench says of self-discharge ------------------------------------------------------

def with_bench(name: str, edit: Callable[[dict], None]):
    path = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    edit(data)
    layout, arrangement = LAYOUTS[name]
    return api.size_protection(brief_from_data(data, str(path)), layout, arrangement=arrangement)


def balance(found):
    return checks(found, "management", "balancing keeps up")[0]


def set_(**entries: str) -> Callable[[dict], None]:
    return lambda data: data["management"].update(entries)


def test_the_worse_of_brief_and_bench_counts_for_balancing() -> None:
    # B02 2.966 %, B08 0.1120 %, both dealt: 75 Ah · 2.854 %/720 h = 2.973 mA
    weak = with_bench("minibus", set_(balance_current="11 mA"))
    held = balance(weak)
    assert held.verdict == "fail" and held.demand.number == pytest.approx(2.973e-3, rel=1e-3)
    assert "B02 at most 2.966 %, B08 at least 0.1120 %" in held.reason
    assert "the brief says 1.000 %" in held.reason and "bench" in held.reason
    marks = " ".join(f.title + f.note for f in held.demand.walk())
    assert "B02" in marks and "B08" in marks and "B12" not in marks  # B12 is not dealt
    # 75 Ah · 5 %/720 h = 5.208 mA: the brief's is the worse
    own = balance(with_bench("minibus", set_(self_discharge_spread="5 %")))
    assert own.demand.number == pytest.approx(5.2083e-3, rel=1e-4)
    assert own.reason.startswith("5.000 % by the brief") and own.verdict == "pass"


def test_a_spread_left_open_is_read_from_the_sheet() -> None:
    # M16 2.751 % less nothing: 240 Ah · 2.751 %/720 h = 9.169 mA, against 120 mA · 10 %
    found = with_bench("truck", lambda data: None)
    held = balance(found)
    assert held.verdict == "pass" and held.demand.number == pytest.approx(9.169e-3, rel=1e-3)
    assert not found.brief.left_open("management.self_discharge_spread")
    assert not any("spread" in words for words in item(found, "management").open_items)
    bare = study("truck")  # no sheet
    assert balance(bare).verdict == "not evaluated"
    assert bare.brief.left_open("management.self_discharge_spread")


def test_a_sheet_that_tells_some_modules_alone_shows_no_pass(monkeypatch) -> None:
    import packcalc.worst_measured as wm
    real = wm.selfdischarge

    def untold(row, bench):
        found = real(row, bench)
        return dataclasses.replace(found, most=None, least=None) if row.mark == "M01" else found
    monkeypatch.setattr(wm, "selfdischarge", untold)
    found = with_bench("truck", lambda data: None)
    assert balance(found).verdict == "not evaluated"
    assert "15 of 16 modules" in balance(found).reason
    assert found.brief.left_open("management.self_discharge_spread")
    weak = with_bench("truck", set_(balance_current="10 mA"))
    assert balance(weak).verdict == "fail"  # what is read already asks for more


def test_the_ends_of_a_loss_can_be_worked_from_their_note() -> None:
    found = with_bench("truck", lambda data: None)
    most, _ = found.brief.losses.spread.inputs
    assert "mV" in most.note and "days" in most.note and "% of 6 cells" in most.note


def test_a_sheet_of_which_no_row_tells_a_loss_leaves_it_open(monkeypatch) -> None:
    import packcalc.worst_measured as wm
    real = wm.selfdischarge
    monkeypatch.setattr(wm, "selfdischarge", lambda row, bench: dataclasses.replace(
        real(row, bench), most=None, least=None))
    held = balance(with_bench("truck", lambda data: None))
    assert held.verdict == "not evaluated" and "0 of 16 modules built in" in held.reason
    said = balance(with_bench("minibus", lambda data: None))
    assert said.verdict == "pass" and said.reason.startswith("1.000 % by the brief")
