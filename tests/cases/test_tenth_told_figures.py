"""A deep discharge told the other way round, and figures in the words of a module's past.

Every scenario is invented.
"""

from __future__ import annotations

import pytest

from packcalc.bench.damage import read_yourself, weigh_past
from packcalc.bench.told_figures import told_figures
from packcalc.reading.library import record

from ..bench.rows import GOOD, graded, lot_of

SIX = record("nmc-6s-240ah")  # 18.0 V to 25.2 V, scrap below 15.0 V


@pytest.mark.parametrize("note", [
    "battery was flat", "cells flat", "stored flat, two years", "pack flat", "flat on the shelf",
    "module flat, two years in shed", "charge 0", "charge 0 for two years", "no charge left",
    "charge at zero", "0 charge", "soc 0 %", "charge 0-50 %", "stored at 9 V", "2x9 V", "3.7 V",
    "1.2 V cells", "empty cells", "pack was empty", "battery left discharged",
    "stored flat on a pallet for two years", "in the pool"])
@pytest.mark.parametrize("before", ["", "dry shed, "])
def test_a_deep_discharge_is_asked_about_in_either_order(note, before):
    assert weigh_past(before + note, SIX).meaning == "ask"


@pytest.mark.parametrize("note", [
    "stored at 85 degC", "heated to 90 degC", "cover removed, stood outside two winters",
    "lid open", "Outside two winters", "Heated barn", "Open crate", "Empty shed", "Removed lid",
    "in field two winters", "not dry", "no cover", "never tested", "never charged",
    "never been charged", "without lid", "90C", "90 °C",
    "194 °F", "-30 °C", "stored at 5 %", "charge 60-95 %", "charge gone", "won't charge",
    "stored at 16 V", "stored at 26 V", "400 V donor", "stored at 85", "charge 3", "at 85 for long",
    "temperature 70", "Temperature high", "90 degrees", "h2o in case", "cover removed in March"])
@pytest.mark.parametrize("before", ["", "dry shed, "])
def test_what_may_tell_of_harm_is_never_silent(note, before):
    found = weigh_past(before + note, SIX)
    assert found.meaning == "none" and found.unread


@pytest.mark.parametrize("note", [
    "stored at 22 V", "cells at 3.7 V", "half charge, 20 degC", "stored 30-50 %", "68 °F",
    "storage charge 50 %, 15 to 25 °C", "dry shed, 18 months", "module removed from van 2021",
    "Removed in March 2024", "heated workshop", "room temperature", "120000 km, 2019",
    "never flat", "stored at 22", "charge 50", "laid flat", "none", "no", "free pack", "sold 2019",
    "no crash, no flood", "never in water", "no sign of any fire"])
def test_a_harmless_figure_or_word_stays_silent(note):
    found = weigh_past(note, SIX)
    assert (found.meaning, found.unread) == ("none", ())


def test_a_voltage_is_held_to_the_type_and_without_one_is_told():
    assert weigh_past("stored at 22 V").unread == ("22 V",)
    assert weigh_past("stored at 22 V", record("nmc-16s-75ah")).meaning == "ask"
    assert weigh_past("stored at 16 V", record("lfp-8s-100ah")).unread == ("16 V",)
    assert weigh_past("not 9 V", SIX).meaning == "none"
    assert [found for *_, found in told_figures("9 v", SIX)] == ["drained"]


def test_a_figure_brings_no_denial_nearer_and_a_heated_room_hides_no_overheating():
    assert weigh_past("not 50 % flooded", SIX).meaning == "ask"
    assert weigh_past("over heated room", SIX).meaning == "ask"


def test_a_text_is_told_once_whatever_the_type():
    notes = [("storage", "no lid, 22 V", None), ("storage", "no lid, 22 V", SIX)] * 2
    assert read_yourself(notes) == \
        "storage: no lid, 22 V (no lid, 22 V); storage: no lid, 22 V (no lid)"


def test_the_sheet_asks_about_a_flat_battery_and_lists_a_hot_one():
    assert graded(storage="battery was flat").grade == "undecided"
    assert graded(storage="stored at 9 V").grade == "undecided"
    told, = (c for c in lot_of({**GOOD, "storage": "stored at 85 degC"}).checks
             if c.title == "what donor and storage tell")
    assert told.verdict == "caution" and "85 degC" in told.reason


@pytest.mark.parametrize("note", ["pack 3.5 V, six cells", "6 cells, 3 V",
                                  "removed by the fire brigade", "removed in water"])
def test_cells_that_are_counted_and_removals_by_others_do_not_hide_harm(note):
    assert weigh_past(note, SIX) != weigh_past("dry shed", SIX)
