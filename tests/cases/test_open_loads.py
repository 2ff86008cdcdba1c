"""A load of which nobody knows what it draws stands in no sum, and no pass rests on that sum.

Demo data are the invented examples with entries changed; arithmetic stands beside each test.
"""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.loads import continuous_drawn, peak_drawn
from packcalc.report.compose import protection_document
from tests.cases.studies import study

HEATER = "battery heater"
OPEN = "what battery heater draws is not known and in no sum"
FUSE, GLO = "Talvik 400 full range", "Glo 220 large"
STEADY = "steady bus voltage with the loads lies above the closing level"


def item(found, key):
    return next(i for i in found.items if i.key == key)


def own(found, key, name):
    part = next(c for c in item(found, key).own_parts if c.name == name)
    return {c.title: c for c in part.checks}


def of(found, key):
    return {c.title: c for c in item(found, key).checks}


@pytest.fixture(scope="module")
def heater():
    return study("truck", branch={HEATER: {"power": "unknown"}})


def test_the_power_of_the_main_path_is_the_least_it_can_be(heater):
    # truck (invented): 110 kW and 42 kW of the motor, 1.2 kW of the converter, the heater open
    for power, watts in ((peak_drawn(heater.brief), 111.2e3),
                         (continuous_drawn(heater.brief), 43.2e3)):
        assert power.number == pytest.approx(watts) and power.may_be_more.endswith(OPEN)
    assert not peak_drawn(study("truck").brief).at_least


@pytest.mark.parametrize("title", ["Carries the continuous load", "Endures the peaks"])
def test_no_fuse_passes_on_the_load_without_an_open_one(heater, title):
    # with 20 kW both fail: what passes without the heater is not shown to pass with it
    whole = own(study("truck"), "main_fuse", FUSE)[title]
    check = own(heater, "main_fuse", FUSE)[title]
    most = study("truck", branch={HEATER: {"power": "20 kW"}})
    assert own(most, "main_fuse", FUSE)[title].verdict == FAIL
    assert check.verdict == CAUTION and OPEN in check.reason and OPEN not in whole.reason


def test_page_one_says_at_least_of_the_least_rating(heater):
    # 43.2 kW/240 V = 180 A against 45.2 kW/240 V = 188.3 A; the rating follows, 372.0·180/188.3
    for found, words, keys in ((heater, "at least 355.5 A", True), (study("truck"), "372.0 A",
                                                                    False)):
        facts = next(b for section in protection_document(found).sections
                     for b in section.blocks if getattr(b, "key", "") == "first")
        told = next(cell for key, _, cell in facts.rows if key == "least_fuse_rating_A")
        assert told.text == words and ("least_fuse_rating_A" in facts.lower_bounds) == keys
        asked = {r.what: r.why for r in item(found, "main_fuse").specification}
        assert ("its low end is the least" in asked["Rated current"]) == keys


@pytest.mark.parametrize("key, title", [
    ("highest_voltage", "full power at the end of the peak, cold and nearly empty"),
    ("management", "under-voltage trip lies below the loaded cells at the end of the peak"),
    ("coordination", "the undervoltage trip stays quiet under load")])
def test_what_sags_with_the_load_is_not_shown_while_a_load_is_open(heater, key, title):
    assert of(study("truck"), key)[title].verdict == PASS
    check = of(heater, key)[title]
    assert check.verdict == NOT_EVALUATED and check.reason == f"it may be less: {OPEN}"


def test_an_open_load_on_the_bus_may_hold_it_down():
    # awake with 1.2 kW at 220 Ω·1.05: over V²/(4·R) of 327 V, 115.7 W: no steady voltage
    told = study("truck", branch={"DC/DC converter": {"power": "1.2 kW"}}, precharge__load=None)
    left = study("truck", branch={"DC/DC converter": {"power": "unknown"}}, precharge__load=None)
    assert own(told, "precharge", GLO)[STEADY].verdict == FAIL
    check = own(left, "precharge", GLO)[STEADY]
    assert check.verdict == NOT_EVALUATED and "it may hold the bus down" in check.reason
    window = of(left, "precharge")["a resistance exists between the time and the current limit"]
    assert window.verdict == NOT_EVALUATED


def test_the_sheets_ask_at_least_what_is_known(heater):
    # 43.2 kW/240 V = 180.0 A and 111.2 kW/265 V = 419.6 A without the heater
    for key in ("contactors", "disconnect", "connectors"):
        for found, words in ((heater, "at least 180.0 A continuously at 50.00 °C; "
                                      "at least 419.6 A for"),
                             (study("truck"), "188.3 A continuously at 50.00 °C; 427.2 A for")):
            rows = {r.what: r.value for r in item(found, key).specification}
            assert rows["carries"].startswith(words)
