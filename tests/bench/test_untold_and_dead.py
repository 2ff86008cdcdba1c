"""What nobody looked at, terminals that are dead, and counts that contradict: none is better.

Every sheet and donor is invented.
"""

from __future__ import annotations

import pytest

from packcalc.bench.damage import weigh, weigh_past
from packcalc.bench.door import too_few
from packcalc.bench.grade import grade_sheet
from packcalc.bench.left_open import left_open
from packcalc.highest_voltage import asked_of_bench
from packcalc.study import find_layout
from packcalc.worst_measured import salvage

from .rows import GOOD, graded, lot_of, sheet_of
from .test_auditor_fourth import brief, nmc
from .test_charge_few_strong_boxes import torn

NOTED = "note on damage"


# --- damage that nobody knows ----------------------------------------------------------------

@pytest.mark.parametrize("word", ["unknown", "Unknown", "?", "??", "n/a", "na", "n.a.",
                                  "not looked at"])
def test_damage_that_nobody_knows_is_asked_about(word):
    """The reader took these words for an empty cell: kept, dealt, and printed nowhere."""
    found = graded(damage=word)
    assert found.grade == "undecided" and found.bars
    assert any(q.quantity == "damage" for q in found.questions)


@pytest.mark.parametrize("cell", ["", "-", "–"])
def test_damage_left_blank_keeps_its_grade_and_is_told_once_as_left_open(cell):
    """A blank came out the same as "none"."""
    lot = lot_of({**GOOD, "damage": cell}, {**GOOD, "mark": "M2"})
    assert {m.grade for m in lot.modules} == {"keep"} and not lot.questions
    assert not lot.modules[0].why.count("damage")  # told of the lot, not module by module
    told = next(c for c in lot.checks if c.title == NOTED)
    assert told.verdict == "not evaluated" and "1 of 2 modules (M1): damage not noted" in told.reason
    assert "look at these" in told.remedy
    opened = next(o for o in left_open(lot.modules) if o.title == NOTED)
    assert opened.marks == ("M1",)


def test_damage_said_to_be_none_leaves_nothing_open():
    lot = lot_of(GOOD)
    assert next(c for c in lot.checks if c.title == NOTED).verdict == "pass"
    assert NOTED not in [o.title for o in left_open(lot.modules)]


# --- isolation of terminals that may be dead -------------------------------------------------

def isolation(**donor):
    return torn(isolation="10 MΩ", **donor).checks[0]


@pytest.mark.parametrize("volt", [None, "0 V", "2 V", "300 V", "470 V"])
def test_isolation_passes_nothing_where_the_packs_voltage_was_not_read(volt):
    """With contactors open the terminals are dead; the test passed without a word of it."""
    found = isolation(total_voltage=volt)
    assert found.verdict == "not evaluated"
    assert "contactors open" in found.reason and "total_voltage" in found.remedy


def test_isolation_passes_beside_a_voltage_that_fits_and_says_where_that_counts():
    found = isolation(total_voltage="398 V")
    assert found.verdict == "pass" and "same two terminals" in found.reason


@pytest.mark.parametrize("volt", [None, "0 V", "398 V"])
def test_too_little_isolation_fails_all_the_same(volt):
    assert torn(isolation="1 kΩ", total_voltage=volt).checks[0].verdict == "fail"


def test_nothing_read_is_a_reading_that_names_open_contactors():
    """0 V was refused as implausible; deleting the line gave the whole list of steps."""
    sheet = torn(isolation="10 MΩ", total_voltage="0 V")
    assert len(sheet.steps) == 1 and "0 V was read" in sheet.refusal
    assert "Contactors that are open" in sheet.refusal and "behind contactors" in sheet.refusal
    assert any("dead behind open contactors" in words for words in sheet.preparation)


# --- storage charge --------------------------------------------------------------------------

@pytest.mark.parametrize("harm", [{"crash": "yes"}, {"water": "yes"}, {"crash": "unknown"},
                                  {"water": None}, {"total_voltage": "200 V"}])
def test_what_may_be_harmed_is_neither_charged_nor_drained_before_quarantine(harm):
    """A crashed and flooded donor's modules were all to be brought to a storage charge."""
    first = torn(**{"crash": "no", "water": "no", **harm}).afterwards[0]
    assert first.startswith("Neither charge nor drain what comes out before its quarantine")


def test_a_sound_donors_storage_charge_is_for_sound_modules_alone():
    first = torn(crash="no", water="no").afterwards[0]
    assert "of sound modules alone" in first and "Neither charge nor drain" in first


def test_a_module_below_empty_is_charged_only_after_its_quarantine():
    found = graded(rest_voltage_V="17.4", lowest_cell_V="2.88", highest_cell_V="2.92")
    told = [c.remedy for c in found.reasons if "charge it slowly" in c.remedy]
    assert told and all(words.startswith("not before its quarantine is over") for words in told)


# --- how many modules ------------------------------------------------------------------------

LEAKS = {"insulation_Mohm": "1.2"}  # 500 Ω/V times 450 V times 2/50 %: 0.9 MΩ; times 6: 2.7 MΩ


def six(**bench):
    """Six modules on hand; layouts of fewer fit too, none of two."""
    return brief(6, pack_voltage="450 V", **bench)


def rows():
    return [nmc(f"M{i}", 22.2, 210, **(LEAKS if i == 0 else {})) for i in range(6)]


def test_a_count_below_every_layout_that_fits_gives_way_to_the_larger():
    """2 modules given beside a layout of 6: the leaking one was kept, "6, asked at least 2"."""
    asked = six(modules_in_pack=2)
    highest, in_layout = asked_of_bench(asked)
    assert in_layout == 6
    lot = grade_sheet(sheet_of(*rows()), None, asked, highest, in_layout)
    assert lot.modules[0].grade == "reject" and lot.need.modules.number == 6
    enough = lot.checks[0]
    assert enough.demand.number == 6 and enough.verdict == "fail"
    assert "modules_in_pack says 2" in enough.reason and "5 good modules for 6" in too_few(lot)


@pytest.mark.parametrize("count", [6, 8, None])
def test_a_count_that_fits_or_is_larger_or_not_given_stays_as_it_is(count):
    asked = six(**({} if count is None else {"modules_in_pack": count}))
    highest, in_layout = asked_of_bench(asked)
    lot = grade_sheet(sheet_of(*rows()), None, asked, highest, in_layout)
    assert lot.need.modules.number == (count or 6)
    assert lot.need.places.value == count


def test_modules_are_dealt_to_a_layout_by_its_own_count():
    """The leaking module was dealt to place 1.1 of a chain of six."""
    asked = brief(6, modules_in_pack=2, pack_voltage="450 V")
    lot = grade_sheet(sheet_of(*rows()), None, asked)
    assert lot.modules[0].grade == "keep"
    found = salvage(asked, find_layout(asked, "6S1P"), lot)
    assert found.dealt is None and "5 good modules" in found.refusal
    assert found.lot.modules[0].grade == "reject"


# --- words -----------------------------------------------------------------------------------

@pytest.mark.parametrize("note", [
    "coolant in pack", "coolant loss", "glycol inside", "Glykol im Gehäuse", "Kühlmittel im Pack",
    "Ruß am Gehäuse", "zwarte roetaanslag", "suie sur le boitier", "kortslutning", "po povodni",
    "Seitenaufprall", "Überschlag", "contactor welded", "recovered from canal lock", "canal lock",
    "pulled out of the Elbe", "fished out", "towed out of a field", "recovered from the Hollin",
    "corto circuito", "winched out of the Elbe"])
def test_further_words_of_harm_are_asked_about(note):
    """Each meant nothing: the module was kept."""
    assert weigh_past(note).meaning != "none"
    assert graded(storage=note).grade != "keep" and weigh(note) != "none"


@pytest.mark.parametrize("note", [
    "pulled out of the donor van", "recovered from a 2019 car", "lifted out of the old white van",
    "no coolant", "coolant hose capped", "retrieved from store", "dry shed, half charge",
    "Hollin farm donor (invented)"])
def test_what_tells_of_no_harm_is_not_asked_about(note):
    assert weigh_past(note).meaning == "none"
