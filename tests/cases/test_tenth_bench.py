"""Words of a module's past, the voltage of the bench, a sound donor, what each pin costs.

Every scenario is invented.
"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from packcalc import cli_bench, highest_voltage
from packcalc.bench.damage import GRAVE_STEMS, GRAVE_WORDS, weigh, weigh_past
from packcalc.bench.dealing import Assignment, Effort, Pins
from packcalc.bench.grade import grade_sheet, not_understood, pack_need
from packcalc.bench.outlook import MOST_LIFTED, _View, look_out
from packcalc.bench.teardown import teardown
from packcalc.brief import WantedPins
from packcalc.findings import leaf
from packcalc.reading.library import record

from ..bench.rows import GOOD, lot_of, sheet_of
from ..bench.test_salvage_facts import brief, nmc
from ..bench.test_teardown import donor

EXAMPLES = Path(__file__).parents[2] / "examples"

# --- what donor and storage tell -------------------------------------------------------------


@pytest.mark.parametrize("note", [
    "barn blaze", "moisture in case", "sunken boat", "vented on the shelf", "pillowed",
    "extinguisher powder on it", "dead flat for two years, 0 V", "thermal event car",
    "hurricane salvage, tide mark on seats", "capsized", "storm surge", "tidal surge",
    "condensation inside", "muddy", "deluge", "brine", "overboard", "sprinkler went off",
    "blackened case", "incinerated", "cooked", "gassed", "gassing", "hissing", "case expanded",
    "deformed", "stored at 0 V", "0.3 V", "0V", "0 %", "run flat", "stored empty", "shorted",
    "short circuit", "T-boned", "got warm", "hot case", "outgassing", "salvage title", "salt spray",
    "electrolyte on the lid", "punctured", "weeping", "oozing", "dripping", "case crushed",
    "smells sweet", "puffy", "lightning strike", "recalled pack", "drained"])
def test_what_may_be_harm_is_set_aside_or_asked_about_and_its_denial_is_not_grave(note):
    assert weigh_past(note).meaning in ("ask", "grave")
    assert weigh_past(f"dry shed, {note}").meaning in ("ask", "grave")
    assert weigh_past(f"no {note}").meaning != "grave"


def test_what_is_grave_as_damage_is_at_least_asked_about_in_the_past():
    for stem in (*GRAVE_STEMS, *GRAVE_WORDS):
        for word in (f"got {stem}", f"{stem}ed", f"{stem}ing"):
            if weigh(word) == "grave" and stem not in ("burn", "warm", "gas", "hot") or " " in word:
                assert weigh_past(word).meaning in ("ask", "grave"), word


def test_words_that_tell_in_the_past_are_grave_as_damage():
    for note in ("blackened", "incinerated", "charred", "capsized", "went overboard", "exploded"):
        assert weigh(note) == "grave", note
    assert weigh("never capsized") == "ask" and weigh("tide mark on the case") == "plain"


@pytest.mark.parametrize("note", [
    "warm dry room", "ventilated room", "moistureproof box", "stored flat on a pallet",
    "fire extinguisher on board", "gas-heated garage", "stored at 22 V", "12V removed, 50 %",
    "humidity-controlled cellar", "no condensation", "never vented", "not 0 V",
    "no signs of thermal event", "Hollin farm donor (invented)", "barn find wagon",
    "Burnley breakers", "old fire engine; half charge"])
def test_what_is_no_harm_is_neither_asked_about_nor_left_to_be_read(note):
    found = weigh_past(note, record("nmc-6s-240ah"))  # 22 V: of six cells
    assert (found.meaning, found.unread) == ("none", ())


def test_words_of_a_note_are_shown_as_they_stand():
    assert weigh_past("Stood in water, swollen").words == ("in water", "swollen")
    assert weigh_past("at 0V, dead flat").words == ("0 V", "dead flat")


def test_a_note_that_is_not_understood_is_told_once_for_the_sheet():
    """An invented name before a plain word is none; a word of no list is told, and grades none."""
    lot = lot_of(*({**nmc(f"M{i}"), "donor": "zorched barn" if i < 3 else "Hollin farm donor"}
                   for i in range(5)))
    told, = (c for c in lot.checks if c.title == "what donor and storage tell")
    assert told.reason == "not understood: donor: zorched barn (zorched)"
    assert told.verdict == "caution" and "read these yourself" in told.remedy
    assert not lot.questions and all(m.grade == "keep" for m in lot.modules)
    assert not not_understood(lot.modules[3:])
    assert not [c for c in lot_of(GOOD).checks if c.title == told.title]


@pytest.mark.parametrize("name", ["truck", "van", "minibus", "faulty"])
def test_the_examples_leave_no_word_unread(name):
    notes = {cell for line in (EXAMPLES / name / "bench.csv").read_text("utf-8").splitlines()
             for cell in line.replace(";", ",").split(",") if "r (inv" in cell or "e (inv" in cell}
    assert notes and all(not weigh_past(note).unread for note in notes)


# --- the voltage that insulation is asked at -------------------------------------------------

def test_a_lower_pack_voltage_takes_nothing_from_what_the_layouts_reach(monkeypatch):
    """250 V given where a layout reaches 448.4 V: the bench asks at 448.4 V, as dealing does."""
    asked = brief(6, pack_voltage="250 V")
    high = leaf("highest working voltage of 6S1P", "U", "V", 448.4, "computed")
    monkeypatch.setattr(highest_voltage, "asked_of_bench", lambda of: (high, 0))
    assert cli_bench._asked_by_layouts(None) == (None, 0)
    counted, _ = cli_bench._asked_by_layouts(asked)
    assert counted is high
    lot = grade_sheet(sheet_of({**GOOD, "insulation_voltage_V": "250"}), None, asked, counted)
    assert lot.need.voltage.number == 448.4 and lot.modules[0].grade == "undecided"
    more = brief(6, pack_voltage="500 V")
    assert pack_need(more.bench, more, highest=high).voltage.number == 500.0


def test_where_no_layout_is_known_the_inverters_maximum_counts_beside_a_lower_pack_voltage():
    asked = brief(6, pack_voltage="250 V")
    most = asked.inverter.absolute_maximum.number
    assert most > 250.0 and pack_need(asked.bench, asked).voltage.number == most
    assert pack_need(asked.bench).voltage.number == 250.0


# --- a donor whose isolation holds -----------------------------------------------------------

@pytest.mark.parametrize(("isolation", "verdict", "words"), [
    ("5 MΩ", "pass", ""), ("0.1 MΩ", "fail", "stop: a first fault"),
    (None, "not evaluated", "two-voltmeter test")])
def test_only_a_donor_that_fails_is_told_of_a_first_fault(isolation, verdict, words):
    """16 modules of 6 cells at 4.20 V: 403.2 V, at 500 Ω/V 201.6 kΩ (UN R100, 5.1.3)."""
    check = teardown(donor(isolation=isolation, total_voltage="350 V")).checks[0]
    assert check.verdict == verdict and check.remedy.startswith(words)
    assert bool(check.remedy) is bool(words)


# --- what a pin costs ------------------------------------------------------------------------

MARKS = ["A", "B", "C", "D"]


def what_ifs(pins: Pins, wanted: WantedPins, places: list[list[int]]) -> dict[str, float]:
    """Two groups of two out of 100, 99, 98 and 97 Ah, dealt with the pins; Ah by change."""
    places_ = np.array(places)
    ah = np.array([100.0, 99.0, 98.0, 97.0]) * 3600.0
    value = float(ah[places_].sum(axis=1).min())
    answer = Assignment("grouped", places_, np.array([], int), value, value, value, False, "",
                        1.0, 1.0, 36.0)
    found = look_out(SimpleNamespace(capacity=ah, resistance=np.full(4, 1e-3)), MARKS, answer,
                     pins, Effort(rounds=5), wanted)
    return {w.what: (w.capacity or 0.0) / 3600 for w in found.what_ifs if "without" in w.what}


def test_each_pin_that_keeps_modules_apart_is_priced_alone():
    """100 + 97 beside 99 + 98 is best. A apart from D and A apart from C leave 100 + 99: 195."""
    found = what_ifs(Pins(apart=((0, 3), (0, 2))), WantedPins(), [[0, 1], [2, 3]])
    assert found == pytest.approx({
        "without the pin A apart from D": 197.0, "without the pin A apart from C": 196.0,
        "without all 2 pins that keep modules apart": 197.0})


def test_a_module_kept_out_of_two_boxes_is_let_into_one_alone():
    """A stands in neither place 1 nor place 2 of three: all that is lifted is one of them."""
    wanted = WantedPins(not_in=(("A", "front"), ("A", "rear")),
                        boxes=(("front", 1, 1), ("rear", 2, 2)))
    allowed = np.ones((4, 2), dtype=bool)
    allowed[0] = False
    tried = []

    def seen(what, q, pins, note="", least=0.0):
        tried.append((what, None if pins.allowed is None else pins.allowed[0].tolist()))
        return SimpleNamespace(capacity=None)

    view = SimpleNamespace(pins=Pins(allowed=allowed), size=(2, 2), strings=False, marks=MARKS,
                           q=None, dealt_anew=seen)
    view.lifted = lambda *given: _View.lifted(view, *given)
    _View.without_pins(view, wanted)
    assert tried == [("without the pin A not in front", [True, False]),
                     ("without the pin A not in rear", [False, True]),
                     ("without all 2 pins that keep modules out of boxes", None)]


def test_further_pins_are_told_together_alone():
    """The first pins are lifted one by one, each a dealing; all of them at once."""
    apart = tuple((0, i + 1) for i in range(MOST_LIFTED + 3))
    tried = []

    def seen(what, q, pins, note="", least=0.0):
        tried.append((what, len(pins.apart), note, least))
        return SimpleNamespace(capacity=float(len(tried)))

    view = SimpleNamespace(q=None, dealt_anew=seen)
    _View.lifted(view, "apart", [f"A apart from {b}" for _, b in apart], apart,
                 lambda left: Pins(apart=left))
    assert [count for _, count, _, _ in tried] == [len(apart) - 1] * MOST_LIFTED + [0]
    assert tried[-1][2:] == ("3 of them not tried alone", float(MOST_LIFTED))
