"""A pack of at most 60 V DC is nowhere called high-voltage, and keeps every caution.

The border of 60 V DC: 49 CFR 571.305 (FMVSS 305), as amended 2017. Every pack is invented.
"""

from __future__ import annotations

import functools
import re
import tomllib

import pytest

from packcalc import api
from packcalc.handover.certifier import RULE_SETS
from packcalc.handover.voltage_class import CLASS_A, HIGH, called
from packcalc.protection import ProtectionStudy
from packcalc.report.bill_report import bill_document
from packcalc.report.build_report import build_document
from packcalc.report.cautions import CAUTIONS, SHORT, SHORT_CLASS_A
from packcalc.report.certify_report import certify_document
from packcalc.report.citations import with_sources
from packcalc.report.commission_report import commission_document
from packcalc.report.compose import protection_document, report_document
from packcalc.report.html import render as render_html
from packcalc.report.maintain_report import maintain_document
from packcalc.report.markdown import render as render_markdown
from packcalc.report.responder_report import responder_document
from packcalc.report.review_report import review_document
from packcalc.report.text import render as render_text
from tests.handover_cases import study_of

pytestmark = pytest.mark.thorough

CART = """
title = "cart, invented"
[[modules]]
record = "lfp-8s-100ah"
count = 8
[inverter]
voltage_range = "36 V to 62 V"
absolute_maximum = "75 V"
dc_link_capacitance = "4.4 mF"
discharge_resistance = "12 kΩ"
[power]
peak = "6 kW"
[regeneration]
power = "0 kW"
[charger]
power = "1 kW"
voltage_range = "40 V to 59 V"
tolerance = "0.5 %"
[motor]
back_voltage = "0 V"
[battery]
charge_highest = "100 %"
coldest_start = "10 degC"
"""
PAGES = {"report": report_document, "protect": protection_document, "build": build_document,
         "commission": commission_document, "maintain": maintain_document,
         "certify": certify_document, "responder": responder_document, "bill": bill_document,
         "review": review_document}
HIGH_WORDS = re.compile(r"high[- ]voltage", re.IGNORECASE)
# Only above the border; what every page says of a second insulation fault stands on all alike.
KILLS = re.compile(r"lethal(?! DC)|no shock limit|orange", re.IGNORECASE)
SECOND_FAULT = re.compile(r"makes\s+the\s+second\s+(?:one\s+)?lethal")


@functools.lru_cache(maxsize=None)
def cart(text: str = CART) -> ProtectionStudy:
    return api.size_protection(api.make_brief(tomllib.loads(text)), "2S2P", arrangement="grouped")


@functools.lru_cache(maxsize=None)
def page(name: str) -> str:
    return render_markdown(PAGES[name](cart()))


def test_the_cart_stays_below_the_border():
    found = cart().pack.highest_voltage
    assert not found.at_least
    assert 50.0 < found.number <= 60.0
    assert called(cart().pack) is CLASS_A


@pytest.mark.parametrize("name", PAGES)
def test_no_page_of_a_class_a_pack_says_high_voltage(name):
    assert HIGH_WORDS.findall(page(name)) == []


@pytest.mark.parametrize("name", PAGES)
def test_no_page_of_a_class_a_pack_calls_its_parts_lethal_or_its_cable_orange(name):
    assert KILLS.findall(SECOND_FAULT.sub("", page(name))) == []


@pytest.mark.parametrize("rules", [r for r in RULE_SETS if r != "new-zealand"])
@pytest.mark.parametrize("make", [certify_document, review_document])
def test_nor_does_a_page_that_names_its_rule_set(make, rules):
    found = with_sources(make(cart(), rules=rules))
    for render in (render_text, render_html):
        words = SECOND_FAULT.sub("", render(found))
        assert KILLS.findall(words) + HIGH_WORDS.findall(words) == []


def test_a_part_that_is_itself_above_the_border_is_called_lethal():
    low, high = (" ".join(render_text(commission_document(one)).split())
                 for one in (cart(), study_of()))
    shorted = "each part stays at or below 60 V; shorted it still burns, arcs and welds"
    assert low.count(shorted) >= 1 and "lethal against" not in low
    assert high.count("each end of a part is lethal against the other") >= 1
    assert shorted not in high


@pytest.mark.parametrize("name", PAGES)
def test_every_caution_stands_on_it_all_the_same(name):
    document = PAGES[name](cart())
    assert document.cautions == CAUTIONS
    assert document.short == SHORT_CLASS_A
    for render in (render_text, render_html):
        words = " ".join(render(document).split())
        assert SHORT not in words
        for one in ("LETHAL DC", "short-circuit", "sets fire", "arcs do not go out"):
            assert one in words


def test_all_that_the_short_cautions_of_high_voltage_say_is_said():
    _, _, same = SHORT.partition("A battery cannot")
    assert SHORT_CLASS_A.endswith("A battery cannot" + same)


@pytest.mark.parametrize("name", ["build", "certify", "bill", "commission", "maintain"])
def test_the_first_sentence_names_what_stays(name):
    assert CLASS_A.danger in page(name)


@pytest.mark.parametrize("name, words", [
    ("responder", "The link never stands above 60 V, but shorted it still burns"),
    ("responder", "Never cut traction cable of any colour"),
    ("maintain", "nobody touches traction cable of any colour"),
    ("commission", "The link never stands above 60 V: its fall is the one timed from the supply"),
    ("commission", "open, link discharged, proven by meter"),
    ("certify", "the link never stands above 60 V; its energy burns all the same")])
def test_no_time_to_a_border_that_is_never_passed(name, words):
    assert words in page(name)


@pytest.mark.parametrize("name", ["responder", "maintain", "commission", "build"])
def test_no_orange_cable_is_promised(name):
    assert "orange" not in page(name)


def test_a_fall_to_60_volts_is_not_asked_of_it():
    assert "weld.fall\\_time" not in page("commission")
    assert "weld.link\\_voltage" in page("commission")


def test_above_the_border_and_where_it_is_not_whole_it_is_high_voltage():
    above = cart(CART.replace("40 V to 59 V", "40 V to 60 V"))
    assert above.pack.highest_voltage.number > 60.0
    assert called(above.pack) is HIGH
    open_ = cart(CART.replace('[regeneration]\npower = "0 kW"\n', "").replace(
        '[motor]\nback_voltage = "0 V"\n', ""))
    if open_.pack.highest_voltage.number <= 60.0:
        assert open_.pack.highest_voltage.at_least
    assert called(open_.pack) is HIGH
    words = render_markdown(responder_document(open_))
    assert "High-voltage vehicle" in words and "orange cable" in words
