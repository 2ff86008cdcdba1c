"""Fault places, strings and branches of whole layouts; every brief is invented."""

from __future__ import annotations

from dataclasses import replace

import pytest
from packcalc.checks import CAUTION, FAIL
from packcalc.errors import InputErrors
from packcalc.feeds import feeds_of
from packcalc.findings import leaf
from packcalc.pack import model_pack
from packcalc.places.stands import fuse_stands
from packcalc.places.table import places_asked
from packcalc.protect.faults import FaultAsked, fault_range
from packcalc.protect.places import fault_places
from packcalc.reading.brief_file import brief_from_data
from packcalc.reading.positions import parse_toml
from packcalc.report.document import Table
from packcalc.report.places_report import places_chains, places_section
from packcalc.side_circuits import (
    branch_items,
    bus_capacitance,
    bus_checks,
    bus_loads,
    string_fuse_item,
    strings_asked,
    strings_item,
)
from packcalc.study import find_layout

BASE = """
title = "Trial cart (invented)"
[[modules]]
label = "12s 120 Ah NMC"
count = 32
[inverter]
voltage_range = "180 V to 430 V"
dc_link_capacitance = "1 mF"
dc_link_tolerance = "0 %"
[power]
peak = "40 kW"
[battery]
coldest_start = "5 degC"
[motor]
back_voltage = "0 V"
"""
HEATER = """
[[branch]]
name = "heater"
kind = "heater"
power = "5 kW"
length = "2.5 m"
tap_length = "80 mm"
section = "4 mm²"
insulation_voltage = "1000 V"
fuse_rating = "25 A"
fused_poles = "both"
taps = "behind the contactors"
capacitance = "0.05 mF"
"""
PACK_L = leaf("inductance of the pack", "L_p", "µH", 20e-6, "assumed", source="packcalc-rule")
CABLE_L = leaf("per metre", "L'", "µH/m", 1.3e-6, "assumed", source="packcalc-rule")


def brief_of(text: str):
    return brief_from_data(parse_toml(text, "b.toml"), "b.toml", text)


def feeds(extra: str = "", layout: str = "8S2P", arrangement: str = "grouped"):
    brief = brief_of(BASE + extra)
    pack = model_pack(brief, find_layout(brief, layout, arrangement))
    faults = fault_range(FaultAsked(
        voltage_full=pack.full_voltage, resistance_initial=pack.resistance_initial,
        voltage_empty=pack.rest_low_voltage, resistance_long=pack.resistance_long,
        loop_inductance=PACK_L, peak_load=pack.peak_current))
    return feeds_of(brief, pack, faults, pack_inductance=PACK_L, per_length=CABLE_L)


def places(extra: str = "", layout: str = "8S2P", arrangement: str = "grouped", **given):
    return {p.key: p for p in fault_places(
        places_asked(feeds(extra, layout, arrangement), **given))}


def test_every_asked_place_is_there():
    found = places(HEATER, arrangement="strings")
    assert set(found) >= {
        "terminals", "box", "cable.battery to inverter", "inlet", "section", "module", "string",
        "string.module", "branch.heater.before", "branch.heater.after", "wires.sense",
        "wires.pre-charge", "wires.monitor", "chassis.first", "chassis.second.fused_pole",
        "chassis.second.other_pole", "chassis.second.inside"}
    assert not any(key.startswith("string") for key in places())


def test_ends_are_in_order_and_no_fault_is_weaker_with_more_sources():
    for arrangement in ("grouped", "strings"):
        for place in places(HEATER, arrangement=arrangement).values():
            if place.lowest.known:
                assert place.lowest.number <= place.loop.highest.number, place.key
            assert place.highest.number >= place.loop.highest.number


def test_one_module_gives_the_current_of_the_pack_at_its_own_voltage():
    found = places()
    assert found["module"].loop.highest.number == pytest.approx(
        found["terminals"].loop.highest.number)
    # 12 cells · 4.2 V · 1.01 = 50.9 V
    assert found["module"].loop.voltage.number == pytest.approx(50.904)
    assert found["module"].at_highest.words == "nobody"


def test_a_module_in_strings_gives_one_strings_current():
    grouped, strings = places(), places(arrangement="strings")
    # its own half, and what the other string pushes through the seven modules left beside it:
    # one module's voltage over 7 + 8 modules, a fifteenth of what it gives itself
    assert strings["module"].loop.highest.number == pytest.approx(
        grouped["module"].loop.highest.number / 2 * (1.0 + 1.0 / 15.0))
    assert strings["string"].loop.highest.number == pytest.approx(
        strings["terminals"].loop.highest.number / 2)


def test_section_shrinks_with_breaks():
    assert "8 modules" in places()["section"].title
    halved = places('[pack]\ndisconnect_after = 5\n')["section"]
    assert "5 modules" in halved.title
    assert halved.loop.voltage.number == pytest.approx(5 * 50.904)


@pytest.mark.parametrize("extra, stands", [
    ("", "one pole"), ('[path]\nmain_fuse = "both poles"\n', "both poles"),
    ("[pack]\nfuse_after = 4\n", "one pole and mid-pack"),
    ("[pack]\nfuse_after = 0\n", "one pole"), ("[pack]\nfuse_after = 8\n", "one pole"),
    ('[path]\nmain_fuse = "mid-pack"\n[pack]\nfuse_after = 4\n', "mid-pack")])
def test_where_the_main_fuse_stands(extra, stands):
    brief = feeds(extra).brief
    assert fuse_stands(brief, 8) == stands


def test_inside_the_box_is_nobody_until_a_fuse_stands_mid_pack():
    assert places()["box"].at_lowest.words == "nobody"
    assert places()["box"].checks[0].verdict == CAUTION
    # Nobody said which fuse stands there: it may not borrow the main fuse's curve.
    assert places("[pack]\nfuse_after = 4\n")["box"].at_lowest.words \
        == "not shown: mid-pack fuse, not named"


def test_the_unfused_pole_has_its_contactor_alone():
    place = places()["chassis.second.other_pole"]
    assert place.at_lowest.device == "contactor of that pole alone"
    assert "no fuse counts in this loop" in place.loop.notes  # left open, one may stand there
    told = places('[path]\nmain_fuse = "one pole"\n')["chassis.second.other_pole"]
    assert "no fuse stands in this loop" in told.loop.notes
    assert any("other pole" in r for r in place.remedies)
    assert "chassis.second.other_pole" not in places('[path]\nmain_fuse = "both poles"\n')


@pytest.mark.parametrize("word, answer", [
    ("none", "nobody"), ("warns", "not shown: insulation monitor")])
def test_who_sees_the_first_chassis_fault(word, answer):
    place = places(f'[path]\ninsulation_monitor = "{word}"\n')["chassis.first"]
    assert place.highest.number == 0 and place.at_lowest.words == answer


def test_a_rating_above_the_lowest_fault_is_nobody():
    lowest = places()["terminals"].lowest.number
    rating = leaf("rated current", "I_n", "A", lowest * 1.001, "given")
    found = places(main_rating=rating)["cable.battery to inverter"]
    assert "main contactors" in found.at_lowest.words
    assert "never opens" in found.at_lowest.why


def test_branch_fuse_is_asked_only_behind_itself():
    found = places(HEATER)
    assert "fuse of heater" in found["branch.heater.after"].at_lowest.device
    assert "fuse of heater" not in found["branch.heater.before"].at_lowest.device
    assert found["branch.heater.after"].lowest.number < found["branch.heater.before"].lowest.number


def test_a_tap_before_the_main_fuse_has_nothing_upstream():
    extra = '[[branch]]\nname = "tap"\nkind = "monitor"\nsection = "0.75 mm²"\n' \
            'taps = "before the main fuse"\n'
    found = places(extra)
    assert found["branch.tap.after"].at_lowest.words == "nobody"
    assert found["branch.tap.after"].checks[1].verdict == FAIL
    assert "wires.monitor" not in found


def test_link_capacitors_reach_the_bus_and_nothing_ends_them():
    # route left open, 0.5 m · 0.5 µH/m = 0.25 µH; U · √(1 mF / 0.25 µH) = 63.2 · U
    place = places()["terminals"]
    link = next(o for o in place.others if "link" in o.end)
    assert link.words == "nobody"
    assert link.current.number == pytest.approx(4000.0 ** 0.5 * feeds().pack.highest_voltage.number)


def test_an_unknown_motor_is_said_and_not_summed():
    assert places()["terminals"].loop.notes == ()
    brief = brief_of(BASE.replace('back_voltage = "0 V"', 'back_voltage = "300 V"'))
    told = fault_places(places_asked(replace(feeds(), brief=brief)))[0]
    assert any("motor" in note for note in told.loop.notes)


def test_a_known_motor_is_summed():
    motor = leaf("motor's short-circuit current", "I", "A", 900.0, "given")
    quiet, loud = feeds(), replace(feeds(), motor=motor)
    sums = [fault_places(places_asked(f))[0].highest.number for f in (quiet, loud)]
    assert sums[1] - sums[0] == pytest.approx(900.0)


def test_strings_only_where_strings_are_paralleled():
    one, two = feeds(), feeds(arrangement="strings")
    loops, strung = places_asked(one).loops, places_asked(two).loops
    assert strings_asked(one, loops) is None and strings_item(one, loops) is None
    assert string_fuse_item(one, loops) is None
    item, fuse = strings_item(two, strung), string_fuse_item(two, strung)
    assert item is not None and item.key == "strings"
    assert fuse is not None and fuse.key == "string_fuse" and fuse.candidates


def test_flat_chemistry_is_refused_by_voltage():
    text = BASE.replace("12s 120 Ah NMC", "12s 120 Ah LFP")
    brief = brief_of(text)
    pack = model_pack(brief, find_layout(brief, "8S2P", "strings"))
    base = feeds(arrangement="strings")
    own = feeds_of(brief, pack, base.faults, pack_inductance=PACK_L, per_length=CABLE_L)
    item = strings_item(own, places_asked(own).loops)
    assert item is not None
    check = next(c for c in item.checks if "Voltage shows" in c.title)
    assert check.verdict == CAUTION and "charge each string full" in check.remedy


def test_branch_items_and_the_sums_of_the_bus():
    one = feeds(HEATER)
    (item,) = branch_items(one, places_asked(one).loops)
    assert item.key == "branch.heater"
    assert bus_capacitance(one.brief, False).number == pytest.approx(1.05e-3)
    (load,) = bus_loads(one.brief, one.pack.highest_voltage, False)
    assert (load.name, load.kind, load.power.number) == ("heater", "constant power", 5000.0)
    assert not load.wakes_at.known
    open_ = feeds(HEATER.replace('capacitance = "0.05 mF"', 'capacitance = "unknown"'))
    (check,) = bus_checks(open_.brief, False)
    assert check.verdict == "not evaluated" and "counted with 1.000 mF" in check.reason
    assert bus_capacitance(open_.brief, False).number == pytest.approx(2e-3)  # open is not none


def test_section_of_the_report_names_every_place_and_nobody():
    found = tuple(places(HEATER, arrangement="strings").values())
    section = places_section(found)
    tables = [b for b in section.blocks if isinstance(b, Table)]
    assert [t.key for t in tables][0] == "fault_places"
    assert len(tables[0].rows) == len(found)
    assert any("nobody" in cell.text for row in tables[0].rows for cell in row)
    far = next(r for r in tables[0].rows if r[0].text.startswith("far end"))
    assert any(cell.text.endswith("and link capacitors") for cell in far)
    for table in tables:
        assert all(len(row) == len(table.columns) for row in table.rows)
    keys = [chain.key for chain in places_chains(found)]
    assert len(keys) == len(set(keys))


# -- bad input -------------------------------------------------------------------------------


@pytest.mark.parametrize("lines, words", [
    ('kind = "toaster"', "is no choice"),
    ('power = "5 kW"', "kind: is needed"),
    ('kind = "heater"\npower = "5 kW"\ncurrent = "12 A"', "its power or its current"),
    ('kind = "heater"\npower = "5 V"', "power"),
    ('kind = "heater"\npower = 5000', "no unit"),
    ('kind = "heater"\nsection = "4 mm"', "section"),
    ('kind = "heater"\nsection = "4000 mm²"', "not plausible"),
    ('kind = "heater"\nlength = "0 m"', "not plausible"),
    ('kind = "heater"\nlength = "1 m"\ntap_length = "1200 mm"', "lies below"),
    ('kind = "heater"\nfuse_rating = "20"', "A"),
    ('kind = "heater"\nfused_poles = "three"', "is no choice"),
    ('kind = "heater"\ntaps = "somewhere"', "is no choice"),
    ('kind = "heater"\ncapacitance = "5 F"', "not plausible"),
    ('kind = "heater"\nfuse_ratng = "20 A"', "did you mean 'fuse_rating'"),
])
def test_bad_branches_get_one_clear_line(lines, words):
    text = f'{BASE}\n[[branch]]\nname = "b"\n{lines}\n'
    with pytest.raises(InputErrors) as caught:
        brief_of(text)
    messages = [str(fault) for fault in caught.value.faults]
    assert len(messages) == 1 and words in messages[0] and "branch[0]" in messages[0]
    assert "b.toml:" in messages[0]


def test_branches_of_one_name_are_told_apart():
    text = BASE + '[[branch]]\nname = "b"\nkind = "other"\n' * 2
    with pytest.raises(InputErrors, match="stands already"):
        brief_of(text)


def test_a_branch_as_a_single_section_is_told_its_brackets():
    text = BASE + '[branch]\nkind = "other"\n'
    with pytest.raises(InputErrors, match=r"\[\[branch\]\]"):
        brief_of(text)


@pytest.mark.parametrize("lines, words", [
    ('[path]\nmain_fuse = "roof"', "is no choice"),
    ('[path]\ninsulation_monitor = "yes"', "is no choice"),
    ('[strings]\nmismatch = "-1 %"', "not plausible"),
    ('[strings]\nvoltage_error = "0 V"', "not plausible")])
def test_bad_words_of_path_and_strings(lines, words):
    text = f"{BASE}\n{lines}\n"
    with pytest.raises(InputErrors, match=words):
        brief_of(text)
