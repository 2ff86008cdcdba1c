"""Entries that were once read wrongly, dropped in silence or answered with half a file.

All figures invented.
"""

from __future__ import annotations

import copy
import math
import tomllib
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from packcalc import api, cable_rules, next_steps, screening
from packcalc.brief import Brief
from packcalc.brief_keys import KEYS, STRICTEST_INSTALL
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED
from packcalc.entry_key import Key
from packcalc.errors import InputErrors, UnitError
from packcalc.layouts import asks_of
from packcalc.protect.cable import size_route
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.reading.entries import keys_of
from packcalc.reading.parts_list import parts_from_text
from packcalc.report.brief_report import check_document
from packcalc.screening import grid_ends
from packcalc.study import MOST_KEPT, list_layouts
from packcalc.units import other_reading, parse
from tests.briefs import EXAMPLES, asked, module
from tests.cases.test_hard_inputs import FOUR
from tests.cli.runner import run
from tests.test_cable import given, route

pytestmark = pytest.mark.thorough

HERE = {path.parent.name: path for path in EXAMPLES}


def faults(data: dict[str, Any]) -> list[str]:
    with pytest.raises(InputErrors) as told:
        brief_from_data(data, "b")
    return [str(f) for f in told.value.faults]


def put(data: dict[str, Any], at: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    """A copy with one entry set."""
    changed = copy.deepcopy(data)
    table: Any = changed
    for step in at[:-1]:
        table = table.setdefault(step, {}) if isinstance(step, str) else table[step]
    table[at[-1]] = value
    return changed


# --- a point that may mark thousands --------------------------------------------------

ASKED_ABOUT = [
    (("power", "continuous"), "400.000 W", "'400.000 W' may be 400 W or 400000 W",
     "write 400.0 W or 400000 W"),
    (("modules", 0, "label"), "6s 1.240 Ah NMC", "'1.240 Ah' may be 1.24 Ah or 1240 Ah",
     "write 1.24 Ah or 1240 Ah"),
    (("insulation", "altitude"), "2.000 m", "may be 2 m or 2000 m", "write 2.0 m or 2000 m"),
    (("management", "trip_current"), "1.247 A", "may be 1.247 A or 1247 A",
     "write 1.2470 A or 1247 A"),
    (("power", "peaks_in_life"), "100.000", "may be 100 or 100000", "write 100.0 or 100000"),
]


@pytest.mark.parametrize("at, text, wrong, right", ASKED_ABOUT)
def test_a_point_that_may_mark_thousands_is_asked_about(at, text, wrong, right):
    (told,) = faults(put(FOUR, at, text))
    assert wrong in told and right in told


@pytest.mark.parametrize("at, text", [
    (("management", "overvoltage_trip"), "4.200 V"), (("power", "peak"), "110.000 kW"),
    (("inverter", "voltage_range"), "240.000 V to 420.000 V"),
    (("path", "fuse_resistance"), "0.125 mohm"), (("path", "link_resistance"), "1.240 mohm"),
    (("modules", 0, "resistance"), "4.240 mohm"), (("power", "peak_duration"), "10.000 s"),
    (("modules", 0, "rest_voltages"),
     {"20 %": "3.550 V", "50 %": "3.700 V", "80 %": "3.990 V"}),
    (("modules", 0, "state_of_health"), "85.125 %"), (("battery", "hottest"), "45.000 degC"),
    (("modules", 0, "label"), "6s 240.000 Ah NMC"), (("power", "peak"), "110.0000 kW")])
def test_a_meters_three_decimals_are_no_nuisance(at, text):
    brief_from_data(put(FOUR, at, text), "b")


def test_each_way_of_writing_that_is_offered_reads_one_way_only():
    for text, dim in (("110.000 W", "power"), ("1.247 Ah", "charge"), ("2.500 m", "length")):
        thousands, words = other_reading(text, dim)
        clear, whole = words.split("; write ")[1].split(" or ")
        assert parse(clear, dim) == parse(text, dim) and parse(whole, dim) == thousands
        assert other_reading(clear, dim) is None and other_reading(whole, dim) is None


@pytest.mark.parametrize("text", ["0.125 W", "1.24 W", "1.2400 W", "1240.125 W", "1.240e3 W",
                                  "1 W"])
def test_one_reading_stays_one(text):
    assert other_reading(text, "power") is None


def test_two_points_are_refused_by_name():
    with pytest.raises(UnitError, match="two points"):
        parse("1.240.000 W", "power")


@pytest.mark.parametrize("column, cell", [
    ("breaking_capacity", "20.000 A"), ("clearing_i2t", "260.000 A²s"),
    ("clearing", "0.01 s: 5.200 A; 1 s: 1.700 A")])
def test_a_sheets_thousands_are_asked_about(column, cell):
    with pytest.raises(InputErrors, match="may be"):
        parts_from_text(f'kind,name,rated_current,{column}\nfuse,F,15 A,"{cell}"\n')


def test_a_count_with_a_point_is_asked_about_where_the_file_shows_it(tmp_path):
    brief = tmp_path / "b.toml"
    brief.write_text('[[modules]]\nlabel = "6s 240 Ah NMC"\ncount = 1.000\n[inverter]\n'
                     'voltage_range = "240 V to 420 V"\n[power]\npeak = "60 kW"\n', "utf-8")
    with pytest.raises(InputErrors, match="b.toml:3: modules.0..count: .*count with a point"):
        read_brief(brief)


# --- contradictions -------------------------------------------------------------------

def truck_data(name: str = "truck") -> dict[str, Any]:
    return tomllib.loads(HERE[name].read_text("utf-8"))


def truck_faults(data: dict[str, Any]) -> list[str]:
    with pytest.raises(InputErrors) as told:
        brief_from_data(data, str(HERE["truck"]))
    return [str(f) for f in told.value.faults]


def test_a_branch_fuse_is_rated_as_its_sheet_says():
    data = truck_data()
    index = next(i for i, b in enumerate(data["branch"]) if b.get("fuse_part"))
    changed = put(data, ("branch", index, "fuse_rating"), "400 A")
    (told,) = truck_faults(changed)
    assert "fuse_rating: 400.0 A is not the rating of" in told


HEATED = {**FOUR, "branch": [{"name": "heater", "kind": "heater", "taps": "behind the contactors",
                              "power": "3 kW", "wakes_at": "180 V"}],
          "precharge": {"load": [{"name": "heater", "kind": "constant power", "power": "20 W",
                                  "wakes_at": "150 V"}]}}


def test_one_thing_wakes_at_one_voltage():
    (told,) = faults(HEATED)
    assert "branch[0].wakes_at: 180.0 V stands beside the load of the same name (150.0 V" in told
    brief_from_data(put(HEATED, ("branch", 0, "wakes_at"), "150 V"), "b")


def test_a_load_takes_the_waking_voltage_of_its_branch():
    found = brief_from_data(put(HEATED, ("precharge", "load", 0, "wakes_at"), "unknown"), "b")
    assert found.precharge.load[0].wakes_at.number == 180.0
    assert not found.left_open("precharge.load[0].wakes_at")


def test_a_branch_and_a_load_differ_in_more_than_spelling():
    told = faults(put(HEATED, ("branch", 0, "name"), "Heater"))
    assert any("differ in their spelling alone" in line for line in told)


@pytest.mark.parametrize("name", ["disconnect_after", "fuse_after"])
def test_what_sits_inside_the_string_has_modules_on_both_sides(name):
    (told,) = faults({**FOUR, "pack": {name: 18}})
    assert f"pack.{name}: after module 18, and 18 are on hand" in told


@pytest.mark.parametrize("after, fails", [(15, False), (16, True)])
def test_a_mid_pack_fuse_beyond_this_layouts_string_fails(after, fails):
    study = study_protection(brief_from_data({**FOUR, "pack": {"fuse_after": after}}), "16S1P")
    found = [c for _, c in study.checks if c.title.startswith("mid-pack fuse stands")]
    assert [c.verdict for c in found] == [FAIL] * fails


def test_a_mid_pack_fuse_that_is_nowhere_is_refused():
    (told,) = faults({**FOUR, "pack": {"fuse_after": 0}, "path": {"main_fuse": "mid-pack"}})
    assert "path.main_fuse says mid-pack" in told


@pytest.mark.parametrize("name", ["trip_delay", "crash_open_time"])
def test_a_contactor_opens_no_sooner_than_its_sheet_says(name):
    opening = read_brief(HERE["truck"]).parts.list.part(
        "contactor", truck_data()["parts"]["contactor"]).opening_time
    assert opening is not None
    below, at = (f"{factor * opening.number * 1e3:.9f} ms" for factor in (0.99, 1.0))
    told = truck_faults(put(truck_data(), ("management", name), below))
    assert any(f"management.{name}" in line and "takes to open" in line for line in told)
    brief_from_data(put(truck_data(), ("management", name), at), str(HERE["truck"]))


def test_no_monitor_has_no_readings():
    (told,) = faults({**FOUR, "path": {"insulation_monitor": "none"},
                      "management": {"isolation_trip": "100 kΩ"}})
    assert "path.insulation_monitor says none" in told


@pytest.mark.parametrize("changes", [
    {"inverter": {"voltage_range": "420 V to 240 V"}},
    {"charger": {"voltage_range": "400 V to 300 V"}},
    {"power": {"peak": "60 kW", "continuous": "61 kW"}},
    {"battery": {"coldest_start": "25 degC", "hottest": "20 degC"}},
    {"battery": {"coldest_closed": "5 degC", "coldest_start": "0 degC"}},
    {"battery": {"charge_lowest": "60 %", "charge_highest": "50 %"}},
    {"battery": {"energy_least": "60 kWh", "energy_most": "50 kWh"}},
    {"precharge": {"time_limit": "5 s", "timeout": "4 s"}},
    {"management": {"undervoltage_trip": "4.2 V", "overvoltage_trip": "4.1 V"}},
    {"management": {"isolation_warn": "100 kΩ", "isolation_trip": "200 kΩ"}},
    {"bench": {"capacity_warn": "70 %", "capacity_reject": "80 %"}}])
def test_what_stands_upside_down_is_refused(changes):
    assert len(faults({**FOUR, **changes})) == 1


# --- `unknown` is legal everywhere ----------------------------------------------------

LISTS = {"modules": ("modules",), "branch": ("branch",), "cables.route": ("cables", "route"),
         "precharge.load": ("precharge", "load")}
WORDS = {"branch": ("kind", "name", "fuse_part"), "precharge.load": ("kind", "name"),
         "cables.route": ("carries", "cable", "name")}
# One of two says what the other would: the second is not asked for.
EITHER = ("power", "current", "resistance", "conductor_section", "conductor_withstand", "wakes_at",
          "string_cable_section")


def asked_for(key: Key, data: dict[str, Any]) -> bool:
    """No capacitance of a station, no sensor of a string trip where the brief has none."""
    return key.section in data or key.dotted not in ("station.capacitance", "strings.sensor_range")


def slots(data: dict[str, Any]) -> Iterator[tuple[tuple[str | int, ...], bool]]:
    """Every entry of the schema where a brief may have it, and whether it must be listed."""
    for section in dict.fromkeys(key.section for key in KEYS):
        path = LISTS.get(section)
        tables: Any = data
        for step in path or ():
            tables = tables.get(step, [])
        places = [(*path, i) for i in range(len(tables))] if path else [(section,)]
        for place in places:
            yield from (((*place, key.name), key.name not in EITHER and asked_for(key, data))
                        for key in keys_of(section) if not key.required)
            yield from (((*place, name), name == "kind") for name in WORDS.get(section, ()))


def dotted(at: tuple[str | int, ...]) -> str:
    words = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in at)
    return words.removeprefix(".")


def opened(name: str, at: tuple[str | int, ...]) -> Brief:
    return brief_from_data(put(truck_data(name), at, "unknown"), str(HERE[name]))


@pytest.mark.property
@pytest.mark.parametrize("name", ["truck", "minibus"])
def test_unknown_is_legal_for_every_entry_and_listed_as_open(name):
    for at, listed in slots(truck_data(name)):
        brief = opened(name, at)
        assert brief.left_open(dotted(at)) or not listed, dotted(at)


SAMPLED = [("truck", at) for at, _ in list(slots(truck_data()))[3::40]] \
    + [("minibus", at) for at, _ in list(slots(truck_data("minibus")))[21::40]] \
    + [("truck", ("precharge", "load", 0, "power")), ("truck", ("branch", 0, "kind"))]


@pytest.mark.property
@pytest.mark.parametrize("name, at", SAMPLED, ids=[f"{n}-{dotted(at)}" for n, at in SAMPLED])
def test_whatever_is_unknown_there_is_an_answer(name, at):
    brief = opened(name, at)
    check_document(brief)
    api.report_document(api.size_protection(brief))


@pytest.mark.parametrize("load", [{"kind": "resistive", "resistance": "unknown"},
                                  {"kind": "constant power", "power": "unknown"},
                                  {"kind": "unknown", "power": "unknown"}])
def test_a_load_that_nobody_measured_is_a_question(load):
    brief = brief_from_data({**FOUR, "precharge": {"load": [{"name": "lamp", **load}]}}, "b")
    assert any(u.dotted.startswith("precharge.load[0]") for u in brief.unknowns)
    study = study_protection(brief, "16S1P")
    assert any(c.verdict == NOT_EVALUATED and c.title == "lamp lets the bus come up"
               for _, c in study.checks)


def test_a_load_of_unknown_kind_is_what_its_figure_says():
    load = {"name": "lamp", "kind": "unknown", "resistance": "90 Ω"}
    brief = brief_from_data({**FOUR, "precharge": {"load": [load]}}, "b")
    assert brief.precharge.load[0].kind == "resistive"
    assert brief.left_open("precharge.load[0].kind")


def test_a_load_that_says_nothing_is_told_how():
    (told,) = faults({**FOUR, "precharge": {"load": [{"name": "lamp", "kind": "resistive"}]}})
    assert "or write 'unknown'" in told


# --- a whole report for every legal brief ---------------------------------------------

UNTRIED = '[[modules]]\nlabel = "{}"\ncount = 18\n[inverter]\nvoltage_range = "240 V to 420 V"\n' \
    '[power]\npeak = "60 kW"\n'


@pytest.mark.parametrize("label", ["8s 64 Ah LMO", "24s 46 Ah LTO"])
@pytest.mark.parametrize("ending", ["txt", "html", "json", "md", "csv"])
def test_a_brief_of_untried_modules_has_a_whole_report(label, ending, tmp_path):
    brief, out = tmp_path / "b.toml", tmp_path / f"r.{ending}"
    brief.write_text(UNTRIED.format(label), "utf-8")
    ran = run("report", brief, "--out", out)
    text = out.read_text("utf-8")
    assert ran.code == 1 and "no layout can be tried yet" in ran.lines[-1]
    assert "rest voltage of a cell at three" in text and "resistance" in text
    if ending != "csv":
        assert "licensed electrician" in text
    assert run("protect", brief).code == 1


def test_a_named_layout_of_untried_modules_has_the_same_answer(tmp_path):
    brief = tmp_path / "b.toml"
    brief.write_text(UNTRIED.format("8s 64 Ah LMO"), "utf-8")
    ran = run("report", brief, "--layout", "8S1P")
    assert ran.code == 1 and ran.out == run("report", brief).out


# --- the nearest miss is near ---------------------------------------------------------

@pytest.mark.parametrize("changes", [
    {"charger": {"voltage_range": "12 V to 50 V"}},
    {"charger": {"power": "200 kW"}, "battery": {"mass_most": "40 kg"}}])
def test_a_limit_of_another_class_leaves_the_near_misses_at_the_bus(changes):
    study = list_layouts(brief_from_data({**FOUR, **changes}, "b"))
    assert not len(study) and all(m.layout.series > 10 for m in study.misses)
    protected = api.size_protection(study.brief)
    assert protected.failing and api.report_document(protected).sections


def test_a_charger_that_fills_no_pack_of_this_inverter_is_told():
    words = " ".join(list_layouts(brief_from_data(
        {**FOUR, "charger": {"voltage_range": "12 V to 50 V"}}, "b")).refusals)
    assert "the charger ends at 50.00 V, and the inverter runs from 240.0 V" in words
    assert not list_layouts(asked()).refusals


@pytest.mark.parametrize("charges, good", [
    (("4 %", "5 %", "6 %"), False), (("20 %", "50 %", "59 %"), False),
    (("20 %", "25 %", "80 %"), False), (("20 %", "29 %", "60 %"), False),
    (("20 %", "30 %", "60 %"), True), (("20 %", "50 %", "80 %"), True)])
def test_rest_voltages_are_spread(charges, good):
    # straight from 2.10 V when empty to 2.50 V when full
    rest = {c: f"{2.1 + 0.004 * float(c.split()[0]):.3f} V" for c in charges}
    data = {**FOUR, "modules": [{"label": "24s 46 Ah LTO", "count": 8, "rest_voltages": rest}]}
    if good:
        assert not brief_from_data(data, "b").modules[0].module.needs_bench
    else:
        (told,) = faults(data)
        assert "at least 40% of the charge, three of them 10% apart" in told


# --- how much is tried ----------------------------------------------------------------

def stock(count: int, **changes: Any) -> Brief:
    small = module(cells_in_series=1, resistance="0.75 mΩ", resistance_1khz="0.42 mΩ",
                   mass="2 kg", count=count)
    return asked([small], **changes)


def test_the_end_of_the_grid_is_told_where_it_binds():
    asks = asks_of(stock(1))
    full = float(screening.mod.ocv_high(stock(1).modules[0].module, asks.charge_highest))
    least = math.ceil(asks.demand_voltage / full)  # in series, to reach the bus
    for count, told in ((least * 101 - 1, 0), (least * 101, 1)):
        ends = grid_ends(stock(count), [(0,)], asks, most_parallel=100)
        assert len(ends.told) == told and ends.parallel == 100


def test_four_hundred_in_parallel_are_told_of_by_layouts():
    words = list_layouts(stock(100_000, mix="no")).refusals
    assert any("more than 400 modules in parallel: not tried, although" in w for w in words)


def test_two_types_in_series_are_tried_within_a_bound_that_is_told(monkeypatch):
    monkeypatch.setattr(screening, "MOST_ROWS", 50_000)
    both = [module(count=2000), module(id="other", title="other", capacity="90 Ah", count=2000)]
    study = list_layouts(asked(both, mix="series"))
    assert 25_000 < study.tried <= 50_000
    (told,) = [w for w in study.refusals if "not tried, because" in w]
    most = int(told.split("more than ")[1].split()[0])
    assert max(study.layout(i).parallel for i in range(len(study))) <= most < 400


def test_the_best_of_many_layouts_are_kept(monkeypatch):
    whole = list_layouts(stock(3600))
    monkeypatch.setattr("packcalc.study.MOST_KEPT", 100)
    monkeypatch.setattr(screening, "BLOCK", 5000)
    best = list_layouts(stock(3600))
    assert len(whole) > 1000 and len(best) == 100 and MOST_KEPT == 100_000
    keys = [[s.row(i)["smallest_margin"] for i in range(100)] for s in (whole, best)]
    assert np.allclose(keys[0], keys[1])
    assert any(f"{len(whole)} layouts meet the brief: the best 100 are kept" in w
               for w in best.refusals)


def test_an_entry_of_a_module_that_is_not_in_the_layout_is_not_tried_anew(monkeypatch):
    """A thousand types once took half a minute to check."""
    calls: list[int] = []
    bare = next_steps.headlines

    def counted(brief: Brief, layout: Any) -> dict[str, float]:
        calls[-1] += 1
        return bare(brief, layout)
    monkeypatch.setattr(next_steps, "headlines", counted)
    for count in (10, 40):
        calls.append(0)
        check_document(brief_from_data({**FOUR, "modules": [
            {"label": "6s 240 Ah NMC", "count": 18} for _ in range(count)]}, "b"))
    assert calls[0] == calls[1]


# --- cable tables ---------------------------------------------------------------------

def test_the_strictest_way_of_laying_is_one_that_each_rule_set_knows():
    for key, rule in cable_rules.RULES.items():
        counted = STRICTEST_INSTALL.get(key, "conduit")
        assert counted in rule.installs
        assert ("conduit" in rule.installs) == (key not in STRICTEST_INSTALL)


@pytest.mark.parametrize("rules", list(STRICTEST_INSTALL))
def test_an_open_way_of_laying_counts_as_the_strictest_of_the_rule_set(rules):
    data = {**FOUR, "power": {"peak": "30 kW"}, "surroundings": {"cable_ambient": "40 degC"},
            "battery": {"coldest_start": "15 degC"},
            "cables": {"rules": rules, "route": [{"name": "main", "length": "3 m"}]}}
    brief = brief_from_data(data, "b")
    (open_,) = [u for u in brief.unknowns if u.key.name == "install"]
    assert open_.taken == brief.cables.route[0].install == "touching in air"
    assert f"{rules} has no table for conduit" in open_.key.consequence
    study = study_protection(brief, "15S1P")
    assert study.routes[0].item.candidates
    laid = next(c for c in study.routes[0].item.checks if c.title == "How the cable lies")
    assert laid.verdict == CAUTION and "our assumption" in laid.reason
    told = put(data, ("cables", "route", 0, "install"), "conduit")
    refused = study_protection(brief_from_data(told, "b"), "15S1P").routes[0].item
    assert refused.checks[0].verdict == FAIL and "no current table for 'conduit'" in \
        refused.checks[0].reason


def test_two_cables_a_pole_outside_the_table_leave_the_one_cable_standing():
    found = size_route(route(grouped_circuits=given("grouped circuits", "", 20.0),
                             continuous_current=given("continuous current", "A", 60.0)))
    assert [c.runs for c in found.choices] == [1] and found.item.candidates
    (beside,) = [c for c in found.item.checks if c.title.startswith("2 cables a pole")]
    assert beside.verdict == NOT_EVALUATED and "outside the table" in beside.reason


def test_more_circuits_than_the_table_has_refuse_the_route():
    found = size_route(route(grouped_circuits=given("grouped circuits", "", 21.0)))
    assert not found.choices and found.item.checks[0].verdict == FAIL


# --- what messages say ----------------------------------------------------------------

@pytest.mark.parametrize("at, value, words", [
    (("modules", 0, "label"), "6s 240 Ah LiFePO4", "did you mean 'LFP'?"),
    (("modules", 0, "label"), "6s 240 Ah NCM", "did you mean 'NMC'?"),
    (("modules", 0, "label"), "6s 240 Ah LCO", "known: LFP, LMO, LTO, NCA, NMC"),
    (("modules", 0, "label"), "6s 240 Ah Li-ion", "known: LFP, LMO, LTO, NCA, NMC"),
    (("power", "peak"), "60 KW", "did you mean 'kW'? capital and small letters differ"),
    (("modules", 0, "label"), "6s 5.3 kWh NMC", "divide the energy by the nominal voltage"),
    (("power", "peak"), "60 kWh", "a power is energy per hour"),
    (("inverter", "12"), "a", "known here: voltage_range,")])
def test_a_message_says_what_would_be_right_in_one_line(at, value, words):
    (told,) = faults(put(FOUR, at, value))
    assert words in told and len(told) <= 240 and "\n" not in told
