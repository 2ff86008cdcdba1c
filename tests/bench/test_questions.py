"""What a sheet is asked: nothing is corrected, nothing that is asked about counts."""

from __future__ import annotations

import pytest

from packcalc.bench.door import grade_file, too_few
from packcalc.bench.questions import ask
from packcalc.errors import InputErrors
from packcalc.reading.library import record
from tests.bench.rows import GOOD, bench_of, lot_of, sheet_of, text_of

LFP = {**GOOD, "module": "lfp-8s-100ah", "rest_voltage_V": "25.8", "lowest_cell_V": "3.22",
       "highest_cell_V": "3.23", "resistance_mohm": "8.5", "capacity_Ah": "90",
       "capacity_current_A": "20", "mass_kg": "25", "first_voltage_V": "25.8",
       "second_voltage_V": "25.79"}


def asked(*rows: dict[str, str], types=()) -> list[str]:
    return [str(q) for q in ask(sheet_of(*rows), bench_of(), types)]


def lot(rows: int = 5) -> list[dict[str, str]]:
    return [{**GOOD, "mark": f"M{i}"} for i in range(rows)]


def test_a_good_lot_is_asked_nothing():
    assert asked(*lot()) == []


@pytest.mark.parametrize(("changes", "wanted"), [
    ({"resistance_mohm": "0.0019"}, "is 1.900 mΩ meant (Ω where mΩ was meant)?"),
    ({"resistance_mohm": "1900"}, "is 1.900 mΩ meant"),
    ({"resistance_mohm": "60"}, "which no lithium cell does"),
    ({"resistance_mohm": "0.9"}, "is less than 70.00 % of its type's 1.600 mΩ"),
    ({"impedance_ac_mohm": "2.2"}, "the AC reading (2.200 mΩ) is larger than the pulse"),
    ({"impedance_ac_mohm": "0.0009"}, "is 0.9000 mΩ meant?"),
    ({"capacity_Ah": "300"}, "300.0 Ah is 125 % of the label (240.0 Ah), far above"),
    ({"capacity_Ah": "253"}, "253.0 Ah is 105.4 % of the label"),
    ({"capacity_Ah": "0.21"}, "is 210.0 Ah meant?"),
    ({"capacity_Ah": "210000"}, "is 210.0 Ah meant?"),
    ({"rest_voltage_V": "29.6", "lowest_cell_V": "", "highest_cell_V": ""},
     "4.933 V a cell over 6 cells, above full (3.00 V to 4.20 V); it would fit 8 to 9 cells"),
    ({"rest_voltage_V": "12.0", "lowest_cell_V": "", "highest_cell_V": ""}, "below empty"),
    ({"lowest_cell_V": "3.71"}, "the lowest cell (3.710 V) stands above the highest"),
    ({"highest_cell_V": "5.0"}, "the highest cell at 5.000 V lies outside the window of NMC"),
    ({"rest_voltage_V": "24.0"}, "24.00 V cannot be 6 cells between 3.698 V and 3.703 V"),
    ({"mass_kg": "25"}, "25.00 kg against 33.00 kg of its type"),
    ({"module": ""}, "which module is it?"),
])
def test_one_line_with_file_and_row(changes, wanted):
    found = asked(*lot(4), {**GOOD, "mark": "odd", **changes})
    assert any(wanted in line for line in found), found
    assert all(line.startswith("b.csv:6: ") and "module odd: " in line and "\n" not in line
               for line in found)


@pytest.mark.parametrize(("capacity", "count"), [("251.9", 0), ("252", 0), ("252.1", 1)])
def test_capacity_above_the_label_is_asked_from_105_percent_on(capacity, count):
    assert len(asked({**GOOD, "capacity_Ah": capacity})) == count


def test_ohms_for_milliohms_are_never_corrected_and_never_rank():
    rows = [*lot(), {**GOOD, "mark": "slip", "resistance_mohm": "0.0016"}]
    found = lot_of(*rows, bench=bench_of(modules_in_pack=16)).modules[-1]
    assert found.grade == "undecided"
    assert not found.resistance_common.known and not found.resistance_sigma.known
    assert found.row.resistance.number == pytest.approx(1.6e-6)
    assert found.capacity_common.known  # what nobody doubts still counts


def test_far_above_the_label_never_ranks():
    found = lot_of(*lot(), {**GOOD, "mark": "odd", "capacity_Ah": "300"}).modules[-1]
    assert found.grade == "undecided" and not found.capacity_common.known


def at(volt: str, **changes: str) -> dict[str, str]:
    """A row that rests at one voltage all the time."""
    return {**GOOD, "mark": "odd", "rest_voltage_V": volt, "first_voltage_V": volt,
            "second_voltage_V": volt, "lowest_cell_V": "", "highest_cell_V": "", **changes}


# A module far from the lot is asked about outside the flat band too: its count may be wrong.
@pytest.mark.parametrize(("volt", "word"), [
    ("19.0", "another number of cells"), ("19.1", "flat-curve (LFP) module?"),
    ("19.8", "flat-curve (LFP) module?"), ("20.3", "flat-curve (LFP) module?"),
    ("20.5", "another number of cells")])
def test_a_flat_curve_module_in_a_steep_lot_is_asked_about(volt, word):
    found = asked(*lot(), at(volt))
    assert len(found) == 1 and word in found[0]


def test_a_lot_that_is_nearly_empty_is_not_asked():
    assert asked(*(at("19.8", mark=f"M{i}") for i in range(5))) == []


def test_a_steep_module_in_a_flat_lot_is_asked_about():
    rows = [{**LFP, "mark": f"L{i}"} for i in range(4)]
    odd = {**LFP, "mark": "odd", "rest_voltage_V": "28.8", "lowest_cell_V": "3.59",
           "highest_cell_V": "3.61"}
    assert any("an LFP cell does not rest there" in line for line in asked(*rows, odd))


def test_mixed_chemistries_are_asked_about_once_a_row():
    found = asked(*lot(), {**LFP, "mark": "L1"}, {**LFP, "mark": "L2"})
    assert [line.split(":")[1] for line in found] == ["7", "8"]
    assert all("is LFP in a lot of NMC" in line for line in found)
    graded = lot_of(*lot(), {**LFP, "mark": "L1"}).modules[-1]
    assert graded.grade == "undecided" and not graded.capacity_common.known


def test_types_of_the_brief_rule_over_the_majority():
    types = (record("lfp-8s-100ah"),)
    found = asked(*lot(), {**LFP, "mark": "L1"}, types=types)
    assert len(found) == 5 and all("is NMC in a lot of LFP" in line for line in found)
    found = asked({**LFP, "mark": "L1", "module": "lfp-16s-120ah"}, types=types)
    assert any("is no module of the brief" in line for line in found)


def test_all_in_one_run_and_the_sheet_is_left_alone(tmp_path):
    path = tmp_path / "bench.csv"
    rows = [*lot(), {**GOOD, "mark": "slip", "resistance_mohm": "0.0016"},
            {**GOOD, "mark": "M1"}, {**GOOD, "mark": "bad", "capacity_Ah": "x"}]
    path.write_text(text_of(*rows), "utf-8")
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    with pytest.raises(InputErrors) as caught:
        grade_file(path)
    lines = [fault.line for fault in caught.value.faults]
    assert lines == [7, 8, 9]  # question and faults together, in the order of the file
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


def test_too_few_is_one_line(tmp_path):
    found = lot_of(GOOD, bench=bench_of(modules_in_pack=16))
    assert too_few(found).startswith("b.csv: 1 good module for 16 places")
    assert too_few(lot_of(GOOD, bench=bench_of(modules_in_pack=1))) == ""
