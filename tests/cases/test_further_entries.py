"""Entries for what a builder knows beside the main path; all data invented.

Pre-charge relay, connectors and management system by the parts list; a station's capacitors; the
sensor of a string; cables from box to box inside a string.
"""

from __future__ import annotations

import math
from functools import cache

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.clearing import takeover_of
from packcalc.decisions import CHOICE, decisions
from packcalc.duties import carry_demand
from packcalc.errors import InputErrors, UserError
from packcalc.handover.bill import bill
from packcalc.handover.build import build_sheet
from packcalc.part_checks.disconnect import connector_part_checks
from packcalc.part_checks.limits import ManagementAsked
from packcalc.part_checks.management import system_checks
from packcalc.reading.parts_list import parts_from_text
from packcalc.reading.template import starter_brief
from packcalc.report.compose import protection_document
from packcalc.report.data import as_dict
from packcalc.review_change import recheck
from tests.briefs import asked
from tests.cases.studies import study as sized

pytestmark = pytest.mark.thorough

study = cache(sized)
NAMED = {"precharge_relay": "Lyng 20 pre-charge", "connector": "Klo 500 wide",
         "management_system": "Vakt 6"}
ITEM = {"precharge_relay": "precharge_relay", "connector": "connectors",
        "management_system": "management"}


def item(found, key):
    return next(i for i in found.items if i.key == key)


def checks(found, key, name):
    part = next(c for c in item(found, key).own_parts if c.name == name)
    return {c.title: c for c in part.checks}


# -- parts named -------------------------------------------------------------------------------


@pytest.mark.parametrize("entry", NAMED)
def test_a_part_must_stand_in_the_list_and_in_the_starter(entry):
    with pytest.raises(UserError, match="Lyng 9"):
        sized("truck", **{f"parts__{entry}": "Lyng 9"})
    assert f"\n# {entry} = " in starter_brief()


@pytest.mark.parametrize("entry", NAMED)
def test_the_named_part_stands_on_report_bill_build_sheet_and_among_decisions(entry):
    found, key, name = study("truck"), ITEM[entry], NAMED[entry]
    assert item(found, key).checks[0].title.startswith(f"{name}, named in the brief")
    assert [d for d in decisions(found) if d.item == key and d.kind == CHOICE]
    assert any(name in line.named for line in bill(found))
    assert name in {p.named for p in build_sheet(found).parts}
    rows = [r["part"] for r in as_dict(protection_document(found))[f"{key}_parts"]]
    assert name in rows


def test_nothing_is_bought_or_recorded_twice():
    found = study("truck")
    lines = [line.key for line in bill(found)]
    assert "precharge_relay" not in lines and lines.count("precharge") == 1
    ids = [p.id for p in build_sheet(found).parts]
    assert "precharge_relay" not in ids and ids.count("precharge.relay") == 1


def test_an_unnamed_relay_or_system_stays_a_request_for_data():
    bare = study("truck", parts__precharge_relay=None, parts__management_system=None)
    assert not any(i.key == "precharge_relay" for i in bare.items)
    assert not item(bare, "management").candidates
    assert any("Relay: current it makes" in words for words in item(bare, "precharge").open_items)
    assert "relay: breaks" in [r.what for r in item(bare, "precharge").specification]
    breaks = checks(bare, "precharge", "Glo 220 large")["relay breaks the current of a failed "
                                                       "pre-charge"]
    assert breaks.verdict == NOT_EVALUATED


# -- the pre-charge relay ----------------------------------------------------------------------


def test_the_relay_makes_breaks_and_carries_what_the_resistor_lets_through():
    found = study("truck")
    by = checks(found, "precharge_relay", "Lyng 20 pre-charge")
    # 448.4 V over 220 Ω less 5 %: I = U/R
    peak = found.pack.highest_voltage.number / (220 * 0.95)
    for title, figure in (("makes the current into the empty link", 30.0),
                          ("breaks the current of a failed pre-charge", 15.0),
                          ("carries the peak for its duration", 20.0)):
        assert by[title].verdict == PASS and by[title].figure.number == figure
        assert by[title].demand.number == pytest.approx(peak, rel=1e-6)
    # the resistor's own line then rests on the relay's sheet
    own = checks(found, "precharge", "Glo 220 large")
    assert own["relay breaks the current of a failed pre-charge"].verdict == PASS
    assert own["peak current within what relay and resistor may make"].verdict == PASS


def test_the_resistor_s_loop_is_held_against_the_test_of_the_relay():
    found = study("truck")
    check = checks(found, "precharge_relay", "Lyng 20 pre-charge")[
        "broken circuit is no more inductive than its test"]
    most = max(p.loop.inductance.number for p in found.circuit.places)
    assert check.demand.number == pytest.approx(most / (220 * 0.95), rel=1e-6)


@pytest.mark.parametrize(("name", "title", "verdict"), [
    ("Lyng 400 low voltage", "one pole rated above the highest working voltage", FAIL),   # 250 V
    ("Hauk 250 thin sheet", "breaks the current of a failed pre-charge", NOT_EVALUATED),
    ("Hauk 300 polarised", "breaks in whichever direction it is mounted", CAUTION)])
def test_a_relay_that_does_not_show_it_is_no_pass(name, title, verdict):
    found = study("truck", parts__precharge_relay=name)
    check = checks(found, "precharge_relay", name)[title]
    assert check.verdict == verdict
    assert verdict != NOT_EVALUATED or "not shown to qualify: ask for" in check.reason
    assert item(found, "precharge_relay").checks[0].verdict == item(
        found, "precharge_relay").own_parts[0].verdict


def test_the_relay_s_making_current_ends_the_window_of_resistances():
    # least resistance: U/I of what the relay makes; without a relay there is no lower end
    def lower(found):
        return next((f for f in item(found, "precharge").duty
                     if f.title == "Lower end of the resistance window"), None)

    found = study("truck")
    assert lower(found).number == pytest.approx(
        found.pack.highest_voltage.number / 30.0 / 0.95, rel=1e-3)
    assert lower(study("truck", parts__precharge_relay=None)) is None


# -- connectors --------------------------------------------------------------------------------


def test_a_connector_that_may_be_parted_under_load_is_held_to_the_load():
    head = "kind,name,rated_voltage_dc,break_discharge,interlock\n"
    weak, strong = (parts_from_text(f"{head}connector,K,600 V,{amps} A,yes\n").connectors[0]
                    for amps in (100, 600))
    found = study("truck")
    demand = carry_demand(found.brief, found.pack, found.faults, found.coordination)
    title = "opens the load when parted"
    held = {p.break_discharge.number: next(c for c in connector_part_checks(p, demand)
                                           if c.title == title) for p in (weak, strong)}
    assert held[600.0].verdict == PASS and held[100.0].verdict == CAUTION
    assert "pilot contact must have opened the contactors" in held[100.0].reason


def test_the_request_for_a_connector_names_section_and_parting():
    rows = {r.what: r.value for r in item(study("truck"), "connectors").specification}
    assert rows["conductor"] == "takes 185.0 mm²"
    assert "or the words that it breaks none" in rows["parted under load"]


# -- the management system ---------------------------------------------------------------------


@pytest.mark.parametrize(("changes", "title", "verdict"), [
    ({"management__channels_per_monitor": 8}, "its monitors have the channels that the brief "
     "counts", FAIL),                                    # Vakt 6 has 6
    ({"management__channels_per_monitor": 4}, "its monitors have the channels that the brief "
     "counts", FAIL),                                    # 6 may reach over a link that 4 do not
    ({"management__current_sensor_range": "3000 A"}, "its current sensor reaches as far as the "
     "trips count on", FAIL),                            # 2500 A
    ({"management__current_sensor_error": "0.5 %"}, "its current sensor errs no more than the "
     "trips count on", FAIL),                            # 25 A against 12.5 A
    ({"management__temperature_sensors": 40}, "reads as many temperatures as the brief counts",
     FAIL),
    ({"management__balance_current": None}, "balances with the current that the brief counts",
     NOT_EVALUATED),
    ({"parts__management_system": "Vakt 8"}, "has a channel for every cell", PASS)])
def test_the_system_has_what_the_brief_counts_on(changes, title, verdict):
    name = changes.get("parts__management_system", "Vakt 6")
    check = checks(study("truck", **changes), "management", name)[title]
    assert check.verdict == verdict, check


SYSTEM = {"rated_voltage_dc": "600 V", "cell_channels": "96", "channels_each": "6",
          "channel_low": "0 V", "channel_high": "5 V", "temperature_inputs": "32",
          "sensor_range": "2500 A", "sensor_error": "1 %", "balance_current": "120 mA"}
TITLES = {"rated_voltage_dc": "cell side bears the highest working voltage",
          "cell_channels": "has a channel for every cell",
          "channels_each": "its monitors have the channels that the brief counts",
          "channel_low": "measures the lowest cell that a trip must see",
          "channel_high": "measures the highest cell that a trip must see",
          "temperature_inputs": "reads as many temperatures as the brief counts",
          "sensor_range": "its current sensor reaches as far as the trips count on",
          "sensor_error": "its current sensor errs no more than the trips count on",
          "balance_current": "balances with the current that the brief counts"}


def system(**changes):
    row = SYSTEM | changes
    return parts_from_text(f"kind,name,{','.join(row)}\nmanagement system,M,"
                           f"{','.join(row.values())}\n").parts[0]


@pytest.mark.parametrize("column", SYSTEM)
def test_what_a_sheet_does_not_say_is_asked_for(column):
    managed = _managed()
    whole = {c.title: c for c in system_checks(system(), managed)}
    assert {c.verdict for c in whole.values()} == {PASS}
    silent = {c.title: c for c in system_checks(system(**{column: ""}), managed)}
    check = silent[TITLES[column]]
    assert check.verdict == NOT_EVALUATED and "not shown to qualify: ask for" in check.reason


@pytest.mark.parametrize(("column", "value"), [
    ("rated_voltage_dc", "400 V"), ("cell_channels", "95"), ("channel_low", "2.6 V"),
    ("channel_high", "4.2 V")])
def test_a_system_that_falls_short_fails_by_name(column, value):
    found = {c.title: c for c in system_checks(system(**{column: value}), _managed())}
    assert found[TITLES[column]].verdict == FAIL


@cache
def _managed():
    """What the truck's management system stands on."""
    found = study("truck")
    return ManagementAsked(found.brief, found.pack, found.faults.lowest, found.faults.highest,
                           takeover_of(found.coordination))


@pytest.mark.parametrize(("column", "value", "words"), [
    ("cell_channels", "96 V", "96 V"), ("channel_high", "50 V", "is not plausible"),
    ("channel_low", "-10 V", "is not plausible"), ("channels_each", "120", "below channels_each"),
    ("channel_high", "-1 V", "not plausible|not above zero"),
    ("sensor_range", "2.500 A", "2500")])
def test_a_wrong_cell_of_a_system_is_told(column, value, words):
    with pytest.raises(InputErrors, match=words):
        system(**{column: value})


def test_a_column_of_another_kind_is_told():
    with pytest.raises(InputErrors, match="a fuse has no cell voltage channels"):
        parts_from_text("kind,name,cell_channels\nfuse,F,96\n")


@pytest.mark.parametrize(("key", "change"), [
    ("precharge_relay", "Lyng 200"), ("precharge_relay", "10 A"), ("management", "Vakt 8"),
    ("connectors", "Klo 350")])
def test_a_reviewers_change_is_sized_again(key, change):
    found = study("truck")
    decision = next(d for d in decisions(found) if d.item == key and d.kind == CHOICE)
    again = recheck(found, decision, change)
    assert again.understood and "sized again" in again.words


# -- the limits' table -------------------------------------------------------------------------


def test_a_limit_without_a_figure_says_in_words_why():
    table = as_dict(protection_document(study("truck")))["management_limits"]
    cells = [row[column] for row in table for column in ("warn", "trip", "delay", "set")]
    assert "–" not in cells
    assert {"not asked", "see what happens", "no setting known"} <= set(cells)


def test_nothing_to_spare_is_printed_without_a_sign():
    rows = as_dict(protection_document(study("truck")))["management_parts_checks"]
    spare = [row["margin_percent"] for row in rows if row["margin_percent"] == 0]
    assert spare and not any(str(value).startswith("-") for value in spare)


# -- a charging station ------------------------------------------------------------------------


def inlet(found):
    return next(p for p in found.circuit.places if p.key.startswith("inlet"))


def test_a_station_s_capacitors_feed_a_fault_at_the_inlet():
    # touching pair 0.5 µH/m over half a metre: î = U·√(C/L), a textbook's bound of the loop
    known = study("minibus", station__capacitance="0.02 mF")
    source = next(s for s in inlet(known).loop.sources if s.name.startswith("station's output"))
    volts = known.pack.highest_voltage.number
    assert source.current.number == pytest.approx(volts * math.sqrt(20e-6 / 0.25e-6), rel=1e-6)
    open_ = study("minibus")
    assert inlet(known).loop.all_sources.number == pytest.approx(
        inlet(open_).loop.all_sources.number + source.current.number, rel=1e-9)
    assert source.fades
    assert any("station.capacitance" in note for note in inlet(open_).loop.notes)
    assert not any("station.capacitance" in note for note in inlet(known).loop.notes)


def test_the_entry_is_open_only_where_a_station_is_counted_on():
    assert study("minibus").brief.left_open("station.capacitance")
    assert not study("truck").brief.left_open("station.capacitance")
    assert not any("station" in s.name for s in inlet(study("truck")).loop.sources)


def test_the_charge_contactor_makes_what_the_station_s_capacitors_take():
    changes = {"parts__charge_contactor": "Lyng 300 high voltage"}
    title = "makes the step when it closes onto the charger's capacitors"

    def step(**more):
        found = study("minibus", **changes, **more)
        return checks(found, "charge_contactor", "Lyng 300 high voltage")[title]

    assert "station.capacitance" in step().reason and step().demand is None
    # 8 V over 2·4·17.24/50 mΩ and 2 µH into 0.02 mF and 20 %: less than ΔU·√(C/L) = 27.7 A
    near = step(station__capacitance="0.02 mF", path__charge_difference="8 V")
    assert near.verdict == PASS
    assert 0.5 * 27.7 < near.demand.number < 27.8
    bound = step(path__charge_difference="8 V")
    assert bound.demand.number > near.demand.number       # ΔU/R holds for any station


# -- the sensor of a string --------------------------------------------------------------------


def string_check(**changes):
    found = study("minibus", **changes)
    return next(c for c in item(found, "string_coordination").checks
                if c.title == "string's current sensor reaches its trip")


def test_the_string_s_sensor_reaches_its_trip_with_its_error():
    held = string_check()          # 350 A and 1 % of 1500 A
    assert held.verdict == PASS and held.demand.number == pytest.approx(365.0)
    short = string_check(strings__sensor_range="352 A")    # 350 A and 1 % of 352 A: 353.52 A
    assert short.verdict == FAIL and short.demand.number == pytest.approx(353.52)
    open_ = string_check(strings__sensor_range=None)
    assert open_.verdict == NOT_EVALUATED and "strings.sensor_range" in open_.reason


def test_a_trip_beyond_its_sensor_opens_nothing():
    def lines(**changes):
        side = study("minibus", **changes).circuit.inside_strings.sweep.contactor
        return {line.name for line in side.lines}

    name = "over-current trip on the string's own current"
    assert name in lines() and name not in lines(strings__sensor_range="352 A")


def test_the_range_is_asked_only_where_a_string_has_a_trip():
    assert study("minibus", strings__sensor_range=None).brief.left_open("strings.sensor_range")
    assert not study("truck").brief.left_open("strings.sensor_range")


# -- cables inside a string --------------------------------------------------------------------


BOXES = {"path__string_cable_length": "4 m", "path__string_cable_section": "70 mm²"}


def test_cables_from_box_to_box_stand_in_path_sag_and_lowest_fault():
    plain, boxes = study("truck"), study("truck", **BOXES)
    # 0.565 Ω/km of 35 mm² at 20 °C (IEC 60228), 90 °C: ·324.5/254.5; half of it for 70 mm²
    ohms = 4 * 0.565e-3 * 324.5 / 254.5 * 35 / 70
    assert boxes.pack.path.number - plain.pack.path.number == pytest.approx(ohms, rel=1e-3)
    assert boxes.pack.loaded_voltage.number < plain.pack.loaded_voltage.number
    assert boxes.faults.lowest.number < plain.faults.lowest.number
    # the highest fault counts nothing of them, and neither does the step of the contactors
    assert boxes.faults.highest.number == plain.faults.highest.number
    assert boxes.pack.resistance_least.number == plain.pack.resistance_least.number
    # L/R errs long: their inductance and not their resistance
    assert boxes.faults.time_constant_highest.number > plain.faults.time_constant_highest.number


@pytest.mark.parametrize("key", ["chassis.second.fused_pole", "chassis.second.branch.battery heater",
                                 "box"])
def test_every_loop_that_may_pass_them_counts_them(key):
    low = {name: next(p for p in study("truck", **changes).circuit.places if p.key == key)
           for name, changes in (("plain", {}), ("boxes", BOXES))}
    assert low["boxes"].lowest.number < low["plain"].lowest.number
    assert low["boxes"].loop.time_constant.number > low["plain"].loop.time_constant.number


def test_of_parallel_strings_each_has_its_own():
    plain, boxes = study("minibus"), study("minibus", **BOXES)
    ohms = 4 * 0.565e-3 * 324.5 / 254.5 * 35 / 70
    assert boxes.pack.path.number - plain.pack.path.number == pytest.approx(ohms / 2, rel=1e-3)


@pytest.mark.parametrize(("section", "carries", "beside"), [
    ("50 mm²", FAIL, NOT_EVALUATED), ("70 mm²", CAUTION, NOT_EVALUATED),
    ("95 mm²", CAUTION, NOT_EVALUATED), ("120 mm²", PASS, NOT_EVALUATED)])
def test_they_are_held_against_load_and_protection(section, carries, beside):
    found = item(study("truck", **BOXES | {"path__string_cable_section": section}),
                 "string_cables")
    first, second = found.checks
    assert (first.verdict, second.verdict) == (carries, beside)
    assert "look how they lie" in first.reason or carries != CAUTION


def test_their_heat_over_the_whole_range_is_held():
    def heat(section):
        found = study("truck", **BOXES | {"path__string_cable_section": section})
        return next(c for c in item(found, "coordination").checks
                    if c.title.startswith("cables inside a string survive"))

    # 70 mm² stand all that is ended; above what one pole breaks nobody ends it
    enough = heat("70 mm²")
    assert enough.verdict == NOT_EVALUATED and enough.figure.number >= enough.demand.number
    assert "nobody ends the heat" in enough.reason and heat("4 mm²").verdict == FAIL


def test_without_such_cables_nothing_is_said_of_them():
    found = study("truck")
    assert not any(i.key == "string_cables" for i in found.items)
    assert not found.brief.left_open("path.string_cable_length")
    assert asked().left_open("path.string_cable_length")
    assert not asked().left_open("path.string_cable_section")
    assert asked(path__string_cable_length="2 m").left_open("path.string_cable_section")


def test_they_are_on_the_bill_by_the_metre():
    line = next(b for b in bill(study("minibus", **BOXES)) if b.key == "string_cables")
    assert (line.quantity, line.unit) == (8.0, "m")
