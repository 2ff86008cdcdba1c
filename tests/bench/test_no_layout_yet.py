"""The highest voltage on a bench that no layout was tried for; the order of what was left open.

Every brief and sheet is invented.
"""

from __future__ import annotations

from packcalc.bench.grade import grade_sheet, pack_need
from packcalc.bench.isolation import of_no_layout
from packcalc.bench.left_open import left_open
from packcalc.bench.next_tests import next_tests
from packcalc.checks import NOT_EVALUATED
from packcalc.highest_voltage import asked_of_bench

from .rows import GOOD, lot_of, sheet_of
from .test_auditor_fourth import nmc
from .test_salvage_facts import brief

TO_FIND = "find a layout that fits: its own highest voltage counts; or give bench.pack_voltage"


def held(lot, title: str):
    return next(c for c in lot.checks if c.title.startswith(title))


def insulation(module):
    return next(c for c in module.reasons if c.title == "insulation to the case")


def test_where_no_layout_was_tried_the_inverters_maximum_is_told_as_at_least():
    """A charger or braking may reach above it: the lot passed at a lower bound."""
    asked = brief(6)
    need = pack_need(asked.bench, asked)
    assert need.voltage.number == asked.inverter.absolute_maximum.number
    assert need.voltage.at_least and of_no_layout(need.voltage)
    lot = grade_sheet(sheet_of(*(nmc(f"M{i}") for i in range(6))), brief=asked)
    told = held(lot, "isolation of the kept")
    assert told.verdict == NOT_EVALUATED and TO_FIND in told.remedy
    given = brief(6, pack_voltage="460 V")
    assert not pack_need(given.bench, given).voltage.at_least


def test_no_retest_is_asked_for_at_the_voltage_of_a_near_miss():
    """No layout fits: what the nearest miss would reach may never be built."""
    asked = brief(6, energy="900 kWh")
    highest = asked_of_bench(asked)[0]
    assert of_no_layout(highest) and "the largest of the nearest misses" in highest.title
    lot = grade_sheet(sheet_of({**GOOD, "insulation_voltage_V": "50"},
                               {**GOOD, "mark": "M2", "insulation_Mohm": ""}), None, asked, highest)
    assert [m.grade for m in lot.modules] == ["undecided"] * 2
    assert insulation(lot.modules[0]).remedy.startswith(TO_FIND)
    test = next(t for t in next_tests(lot) if t.kind == "insulation")
    assert TO_FIND in test.how and "insulation tester at no less than the pack's" in test.how


def test_a_voltage_that_is_given_stands_before_that_of_a_near_miss():
    """What is given is the most that it may be; the inverter's own maximum still counts beside."""
    asked = brief(6, energy="900 kWh", pack_voltage="460 V")
    high = asked_of_bench(asked)[0]
    need = pack_need(asked.bench, asked, highest=high.called(title=high.title) if high else None)
    assert need.voltage.number == max(460.0, asked.inverter.absolute_maximum.number)
    assert not need.voltage.at_least


def test_what_can_hurt_stands_before_papers_in_what_was_left_open():
    """The calendar life stood first, for the sheet's first module lacked it."""
    bare = {**GOOD, "crash": "", "water": "", "lowest_cell_V": "", "highest_cell_V": "",
            "insulation_Mohm": "", "second_voltage_V": "", "lifetime_record": "", "expiry": "",
            "capacity_Ah": ""}
    lot = lot_of({**GOOD, "mark": "M0", "expiry": "", "lifetime_record": ""}, bare)
    titles = [o.title for o in left_open(lot.modules)]
    assert titles[:2] == ["cells of the module", "insulation to the case"]
    assert set(titles[2:4]) == {"crash and water", "self-discharge"}
    assert titles[4:] == ["capacity", "lifetime record", "calendar expiry"]
