"""A cable is held by its own figures; a request asks for all that its own checks need.

Designed cables and the invented examples; arithmetic stands beside each test.
"""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import fields

import pytest

from examples.regenerate import ROOT
from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.findings import Origin
from packcalc.parts import CABLE, COLUMNS, CONTACTOR, CablePart, Points
from packcalc.protect.cable import size_route
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.review_words import bare_cable
from packcalc.value import replace
from tests.cases.studies import LAYOUTS
from tests.cases.test_request_sheets import _bare
from tests.test_cable import celsius, check_of, given, route

# IEC 60364-5-54 Annex A, equation of k: copper, A²s/mm⁴, from 85 °C to 160 °C.
K_SQUARED = 226 ** 2 * math.log(1 + (160 - 85) / (234.5 + 85))
CURRENTS = next(c for c in COLUMNS if c.name == "current_at_ambient")


def _cable(area, current=None, **more):
    """An invented cable of 150 °C, its current stated in air of 40 °C and of 60 °C."""
    points = Points(CURRENTS, (313.15, 333.15), (current + 3.0, current), Origin("list")) \
        if current else None
    return CablePart("own", section=given("section", "mm²", area * 1e-6),
                     insulation_class=celsius("class", 150.0),
                     short_circuit_temperature=celsius("end", 200.0),
                     resistance_per_length=given("r", "mΩ/m", 20e-3 / area),
                     current_at_ambient=points, **more)


def _held(part, amperes=20.0, **changed):
    load = given("current", "A", amperes)
    found = size_route(route(continuous_current=load, peak_current=load, **changed), (part,),
                       named=part.name)
    candidate, = found.item.own_parts
    return found, candidate


def test_a_cable_below_the_table_is_held_by_its_own_figures():
    # Vire 2.5 (invented) in the example's method F, which begins at 6 mm²: 35 A at 60 °C,
    # 150 °C class. Terminals of 85 °C in 50 °C air leave √(35/100) of it, 20.71 A.
    found, part = _held(_cable(2.5, 35.0), 180.0, joint_limit=celsius("joints", 160.0))
    assert check_of(part, "Corrected current").verdict == FAIL
    assert check_of(part, "Corrected current").figure.number == 35.0
    assert check_of(part, "Maker's own current").verdict == FAIL
    assert found.current_capacity.number == pytest.approx(35.0 * math.sqrt(35 / 100))
    # 180 A melts it in the open sum: k²S² is then that from the steady limit, or less.
    assert found.withstand.number == pytest.approx(K_SQUARED * 2.5 ** 2)
    assert found.withstand.may_be_less and check_of(part, "Adiabatic heating").verdict == FAIL
    # 2 · 3 m · 8 mΩ/m · (234.5 + 85)/254.5 hot: its own sheet, no table's.
    assert found.loop_resistance.number == pytest.approx(6 * 8e-3 * 319.5 / 254.5)


def test_a_thin_cable_passes_by_its_makers_current_and_carries_no_more_than_the_smallest():
    found, part = _held(_cable(4.0, 45.0), 15.0)
    assert all(check_of(part, title).verdict == PASS for title in (
        "Corrected current", "Steady conductor temperature", "End of the peak",
        "Maker's own current", "Resistance within the table's"))
    assert not found.current_capacity.may_be_less
    # A sheet that says more than the table's smallest, 6 mm²: that one bounds it.
    boast, _ = _held(_cable(4.0, 400.0), 15.0)
    six, _ = _held(_cable(6.0, 400.0), 15.0)
    assert boast.current_capacity.number == six.current_capacity.number


@pytest.mark.parametrize("words", ["2.5 mm²", "4 mm²", "10 AWG"])
def test_a_bare_section_below_the_table_shows_nothing_of_its_current(words):
    # The smallest of method F, 6 mm², carries 49 A or less at 85 °C terminals.
    rated = {"fuse_rating": given("In", "A", 25.0), "overload_device": "fuse of a branch"}
    found, part = _held(bare_cable(words), 20.0, **rated)
    for title in ("Corrected current", "Steady conductor temperature", "End of the peak",
                  "Overload protection"):
        assert check_of(part, title).verdict == NOT_EVALUATED, title
        assert "ask for the current" in check_of(part, title).reason
    assert found.current_capacity.may_be_less
    _, part = _held(bare_cable(words), 180.0, **{**rated, "fuse_rating": given("In", "A", 60.0)})
    assert check_of(part, "Corrected current").verdict == FAIL
    assert check_of(part, "Overload protection").verdict == FAIL


def test_a_thin_cable_of_no_stated_class_shows_nothing_of_its_current():
    # Its maker's current may heat it to 150 °C as well as to 90: terminals of 85 °C in 50 °C air
    # would leave √(35/100) or √(35/40) of 35 A, 20.7 A or 32.7 A beside a fuse of 25 A.
    rated = {"fuse_rating": given("In", "A", 25.0), "overload_device": "fuse of a branch"}
    _, stated = _held(_cable(2.5, 35.0), 8.0, **rated)
    assert check_of(stated, "Overload protection").verdict == FAIL
    found, part = _held(replace(_cable(2.5, 35.0), insulation_class=None), 8.0, **rated)
    for title in ("Steady conductor temperature", "End of the peak", "Overload protection"):
        assert check_of(part, title).verdict == NOT_EVALUATED, title
        assert "the temperature class" in check_of(part, title).reason
    assert found.current_capacity.may_be_less


def test_a_named_cable_without_its_section_takes_no_other_ones_figures():
    found, part = _held(replace(_cable(50.0, 200.0), section=None), let_through=given(
        "I²t", "A²s", 1e3), protected_by="main fuse")
    assert found.chosen.candidate is part
    assert found.withstand is found.loop_resistance is found.warming is None
    assert not found.current_capacity.known
    short = next(c for c in found.item.checks if c.title == "Short-circuit protection")
    assert short.verdict == NOT_EVALUATED and "own" in short.reason


def test_a_wire_rule_that_begins_thicker_than_its_terminals_column_refuses_nothing():
    # NFPA 70 begins at 14 AWG, 2.08 mm²: 0.75 mm² has no column of Table 310.16.
    found, part = _held(_cable(0.75, 12.0), 4.0, rules="NFPA 70")
    assert check_of(part, "Corrected current").verdict == PASS
    assert check_of(part, "Terminals' column, 110.14(C)").verdict == NOT_EVALUATED
    assert found.current_capacity.number < 12.0


@pytest.fixture(scope="module")
def thin():
    """The truck with the 2.5 mm² of its list on both routes."""
    data, path = _data("truck")
    for one in data["cables"]["route"]:
        one["cable"] = "Vire 2.5"
    return study_protection(brief_from_data(data, path), *LAYOUTS["truck"])


def _data(name):
    path = ROOT / "examples" / name / "brief.toml"
    return tomllib.loads(path.read_text("utf-8")), str(path)


def test_who_clears_and_the_fuse_are_held_with_the_thin_cable_itself(thin):
    # (invented) 185 mm² stands 3.686e8 A²s, 2.5 mm² 3.686e8 · (2.5/185)² = 67310 A²s.
    traction = thin.routes[0]
    assert traction.withstand.number == pytest.approx(K_SQUARED * 2.5 ** 2)
    checks = {c.title: c for i in thin.items for c in i.checks if i.key == "coordination"}
    for words in ("survives the heat over the whole range", "ends an overload of cable",
                  "survives the heat of a second chassis fault"):
        assert next(c for t, c in checks.items() if words in t).verdict == FAIL
    fuse = next(i for i in thin.items if i.key == "main_fuse")
    named = next(c for c in fuse.own_parts if c.name == "Talvik 400 full range")
    assert check_of(named, "Rated current within the cable's capacity").verdict == FAIL
    for one in thin.routes:
        assert next(c for c in one.item.checks
                    if c.title == "Short-circuit protection").verdict == FAIL


# -- request sheets ---------------------------------------------------------------------------

# What a sheet says where it asks for a column of the parts list.
DERATING = "derating method with its figures"
WORDS = {
    "rated_voltage_dc": "voltage", "rated_current": "rated current|class and rating",
    "class_letters": "class letters", "fusing_current": "conventional fusing current",
    "breaking_capacity": "breaking capacity", "lowest_breaking_current": "lowest breaking current",
    "permitted_time_constant": "l/r", "melting": "melting and total clearing curves",
    "clearing": "melting and total clearing curves", "melting_i2t": "pre-arcing i²t",
    "clearing_i2t": "total clearing i²t in dc", "clearing_i2t_at": "i²t in dc with its voltage",
    "cut_off_current": "cut-off current", "arc_voltage": "peak arc voltage",
    "watt_loss": "power loss", "derating_method": DERATING, "link_constant": DERATING,
    "rating_ambient": DERATING, "fluctuation_factor": DERATING, "ambient_factor": DERATING,
    "conductor_factor": "conductor factor", "cyclic_share": "share of the melting current",
    "terminal_limit": "terminal limit|at its terminals", "continuous_current": "carries",
    "highest_ambient": r"(carries|rated power)[^\n]* \d+\.\d+ °c", "contact_resistance":
    "resistance", "carry": r"carries[^\n]* for \d", "short_time": "short-time withstand",
    "make_current": "makes", "break_discharge": "breaks|parted under load",
    "break_charge": "breaks", "break_time_constant": "l/r", "make_and_pass": "makes and passes",
    "opening_time": "opening time", "poles": "poles",
    "polarised": "whichever way round|either way round|not polarised",
    "section": "section|takes", "insulation_class": "insulation class",
    "short_circuit_temperature": "short-circuit temperature of the insulation",
    "resistance_per_length": "mω/m", "current_at_ambient": "current against ambient",
    "resistance": "resistance and tolerance", "tolerance": "resistance and tolerance",
    "rated_power": "rated power", "pulse_energy": "energy", "interlock": "pilot contact",
    "fuse_inside": "fuse stands inside", "cell_channels": "cell voltage channels",
    "channels_each": "monitors of", "channel_low": "a channel measures",
    "channel_high": "a channel measures", "temperature_inputs": "temperature sensors",
    "sensor_range": "current sensor: range", "sensor_error": "current sensor: error",
    "balance_current": "balance current"}
PLACES = {"main_fuse": "main_fuse", "string_fuse": "string_fuse", "contactors": "contactor",
          "string_contactors": "string_contactor", "precharge": "resistor",
          "precharge_relay": "precharge_relay", "charge_contactor": "charge_contactor",
          "disconnect": "disconnect", "connectors": "connector",
          "management": "management_system"}
MORE = {"precharge_relay": "Lyng 20 pre-charge", "charge_contactor": "Lyng 300 high voltage",
        "connector": "Klo 500 wide"}


def _sheet(item):
    return "\n".join(f"{r.what} | {r.value} | {r.why}" for r in item.specification).casefold()


def _filled(part, sheet, name):
    """A part of the list with nothing but what the sheet asks for."""
    kept = {f.name for f in fields(part) if f.name not in WORDS or re.search(
        WORDS[f.name], sheet)}
    return replace(part, name=name, **{
        f.name: f.default for f in fields(part) if f.name not in kept and f.name != "name"})


@pytest.fixture(scope="module")
def asked():
    """Sheets of the minibus (invented) before any part is named, by item."""
    return {i.key: _sheet(i) for i in _bare("minibus").items if i.specification}


@pytest.fixture(scope="module")
def answered(asked):
    """The minibus with parts of which exactly what their sheets ask for is known."""
    data, path = _data("minibus")
    data["parts"] |= MORE
    brief = brief_from_data(data, path)
    use, filled = brief.parts, []

    def fill(name, sheet, key):
        part = next(p for p in use.list.parts if p.name == name)
        filled.append(_filled(part, asked[sheet], f"{name}, {key}"))
        return filled[-1].name

    named = {field: fill(getattr(use, field),
                         "precharge" if key == "precharge_relay" else key, key)
             for key, field in PLACES.items()}
    routes = tuple(replace(r, cable=fill(r.cable, f"cable.{r.name}", r.name))
                   for r in brief.cables.route)
    branch = tuple(replace(b, fuse_part=fill(b.fuse_part, f"branch.{b.name}", b.name))
                   for b in brief.branch)
    listed = replace(use.list, parts=tuple(filled))
    return study_protection(replace(
        brief, parts=replace(use, list=listed, **named), branch=branch,
        cables=replace(brief.cables, route=routes)), *LAYOUTS["minibus"]), {
            p.name for p in filled}


def test_what_a_sheet_asks_for_is_all_that_its_checks_need(answered):
    found, names = answered
    held = [c for i in found.items for c in i.candidates if c.name.endswith(
        (f", {i.key}", f", {i.key.removeprefix('cable.')}"))]
    assert {c.name for c in held} == names - {b.fuse_part for b in found.brief.branch}
    still = [(c.name, k.title, k.reason) for c in held for k in c.checks
             if k.verdict == NOT_EVALUATED and "ask for" in k.reason]
    assert not still, still
    of_branches = [(i.key, k.title, k.reason) for i in found.items if i.key.startswith("branch.")
                   for k in i.checks if k.verdict == NOT_EVALUATED and "ask for" in k.reason]
    assert not of_branches, of_branches


def test_a_main_fuses_sheet_gives_the_figures_that_it_is_held_against(asked):
    # minibus (invented): bus_withstand 1800 V, fuse_resistance 0.6 mΩ, terminals 105 °C
    sheet = asked["main_fuse"]
    for words in ("peak arc voltage | at most 1800 v", "squared | at most 0.6000 mω",
                  "terminals | at least 105.0 °c", "pre-arcing i²t | at least ",
                  "conventional fusing current | at most 1.45 times ", "backwards above "):
        assert words in sheet, words
    to_send = [s.rpartition("to send | ")[2].partition(" |")[0] for s in (
        sheet, asked["string_fuse"], asked["branch.floor heater"])]
    assert len(set(to_send)) == 1 and "derating method" in to_send[0]


def test_a_relays_sheet_asks_the_whole_time_of_all_tries_named_or_not(asked, answered):
    # minibus (invented): 2 tries of 2 s each, 50 °C in the box
    rows = {r.what: r.value for i in answered[0].items if i.key == "precharge_relay"
            for r in i.specification}
    for words in ("for 4.000 s at an ambient of 50.00 °c", "l/r at least "):
        assert words in asked["precharge"] and words in "\n".join(rows.values()).casefold()
    energy = next(line for line in asked["precharge"].splitlines() if "energy" in line)
    assert "at an ambient of 50.00 °c" in energy


def test_a_cables_sheet_asks_for_its_current_and_prints_no_verdict(asked):
    # minibus (invented): 99.20 A in 60 °C air
    sheet = asked["cable.roof box to rear inverter"]
    assert "at least 99.20 a with 1 cable a pole" in sheet and "air of 60.00 °c" in sheet
    assert "at most 0.2770 mω/m at 20.00 °c" in sheet  # 70 mm², class 5 tinned, IEC 60228
    assert not any(f"{verdict}:" in sheet for verdict in (NOT_EVALUATED, FAIL, PASS))


def test_parts_of_every_kind_stand_in_the_list_of_words():
    kinds = {CABLE, CONTACTOR, *(k for c in COLUMNS for k in c.kinds)}
    assert len(kinds) == 7
    columns = {c.name for c in COLUMNS} - {"kind", "name", "basis", "note", "rated_voltage_ac"}
    assert {"class_letters" if c == "class" else c for c in columns} == set(WORDS)
