"""The library's own records, and a user's record with everything that can be wrong in it."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

import packcalc
from packcalc import sources
from packcalc.errors import InputErrors, UnknownName
from packcalc.findings import BASES
from packcalc.reading.library import (
    cell_class, check_record, classes, ids, library, record, record_text,
)

ROOT = Path(packcalc.__file__).parents[1]
GOOD = '''
id = "mine"
chemistry = "LFP"
cells_in_series = 8
capacity = "100 Ah"
'''


def write(folder, text):
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_library_is_as_wide_as_promised():
    found = library()
    assert len(found) >= 14
    assert {m.chemistry for m in found.values()} == {"NMC", "NCA", "LFP", "LMO", "LTO"}
    assert min(m.series for m in found.values()) == 4
    assert max(m.series for m in found.values()) == 24
    for m in found.values():
        assert 40 <= m.capacity.number / 3600 <= 250
        assert 1.0 <= m.energy.number / 3.6e6 <= 8.0


@pytest.mark.parametrize("name", ids())
def test_record_says_that_it_is_invented_and_whole(name):
    found = record(name)
    assert found.id == name and "invented" in found.note and "any maker's product" in found.note
    assert found.capacity.basis == "invented" and found.capacity.origin.key == "capacity"
    for figure in (found.mass, found.length, found.continuous_current, found.resistance_initial):
        assert figure.known
    # measured at the reference condition, so that both sides are the reading itself
    assert found.resistance_high.number == found.resistance_low.number
    assert not found.resistance_high.inputs


@pytest.mark.parametrize("name", ids())
def test_record_figures_are_typical(name):
    found = record(name)
    drop = found.resistance_high.number * found.capacity.number / 3600 / found.series
    assert found.cell.drop_low <= drop <= found.cell.drop_high
    assert 0.5 < found.resistance_initial.number / found.resistance_high.number < 0.7
    volume = found.length.number * found.width.number * found.height.number
    assert 50 < found.energy.number / 3.6e6 / volume < 320  # Wh per litre


def test_every_source_and_basis_is_registered():
    for cell in classes().values():
        laws = (cell.temperature, cell.temperature_low_charge, cell.charge, cell.pulse)
        keys = [cell.source, *(n[1] for n in cell.notes), *(c.source for c in cell.curves),
                *(law.source for law in laws)]
        assert all(sources.source(key) for key in keys)
        assert all(item.basis in BASES for item in (*cell.curves, *laws))


def test_unknown_names_suggest_the_near_one():
    with pytest.raises(UnknownName, match="did you mean 'nmc-12s-160ah'"):
        record("nmc-12s-160a")
    with pytest.raises(UnknownName, match="chemistry 'LiPo'"):
        cell_class("LiPo")
    with pytest.raises(UnknownName):
        record_text("../cells/nmc")


def test_a_good_record_of_the_users_own(tmp_path):
    found = check_record(write(tmp_path, GOOD))
    assert found.id == "mine" and found.capacity.basis == "given"
    assert found.capacity.origin.line == 5 and found.capacity.origin.key == "capacity"


def test_unknown_is_a_legal_answer(tmp_path):
    text = GOOD + 'mass = "unknown"\npeak_current = "unknown"\nresistance = "unknown"\n'
    found = check_record(write(tmp_path, text))
    assert found.mass.basis == "definition" and "assumed" in found.mass.grounds()
    assert not found.peak_current.known


@pytest.mark.parametrize("line,where,words", [
    ('mas = "12 kg"', "mas", "did you mean 'mass'"),
    ('mass = "12"', "mass", "has no unit"), ('mass = 12', "mass", "has no unit"),
    ('mass = "12 kWh"', "mass", "is an energy"), ('mass = "0.1 kg"', "mass", "not plausible"),
    ('mass = "200 kg"', "mass", "Wh/kg"), ('cells_in_parallel = true', "cells_in_parallel",
                                           "whole number"),
    ('full_voltage = "29.2 V"', "full_voltage", "per cell"),
    ('full_voltage = "400 mV"', "full_voltage", "per cell"),
    ('full_voltage = "4.2 V"', "full_voltage", "does not fit LFP"),
    ('empty_voltage = "3.9 V"', "empty_voltage", "does not fit LFP"),
    ('resistance = "1.2 kΩ"', "resistance", "per module"),
    ('resistance = "0.1 mΩ"\nresistance_pulse = "10 s"', "resistance", "no lithium cell"),
    ('resistance = "8 mΩ"\nresistance_1khz = "9 mΩ"', "resistance_1khz", "above the pulse"),
    ('resistance = "8 mΩ"\nresistance_1khz = "5 mΩ"\nresistance_temperature = "19 degC"',
     "resistance_1khz", "20 °C or warmer"),
    ('resistance = "8 mΩ"\nresistance_pulse = "61 s"', "resistance_pulse", "not plausible"),
    ('resistance = "8 mΩ"\nresistance_temperature = "-21 degC"', "resistance_temperature",
     "not plausible"),
    ('continuous_current = "200 A"\npeak_current = "100 A"', "peak_current", "below"),
    ('charge_rate = "1.5 C"', "charge_rate", "bare number is wanted"),
    ('charge_rate = inf', "charge_rate", "inf"), ('charge_rate = -1', "charge_rate", "plausible"),
    ('basis = "guessed"', "basis", "one of given"), ('title = 3', "title", "not a text"),
    ('label = "8s 100 Ah LFP"', "chemistry", "beside a label"),
    ('mass = "9**9**9 kg"', "mass", "9**9**9"), ('mass = "nan kg"', "mass", "number"),
    ('mass = "1e999 kg"', "mass", "outside the numbers"), ('mass = "12,5 kg"', "mass", "comma"),
])
def test_each_fault_has_file_line_key_and_remedy(tmp_path, line, where, words):
    path = write(tmp_path, GOOD + line + "\n")
    with pytest.raises(InputErrors) as caught:
        check_record(path)
    fault = next(f for f in caught.value.faults if f.key == where)
    assert fault.file == str(path) and fault.line > 0
    assert words in f"{fault.wrong}; {fault.right}"


def test_all_faults_at_once(tmp_path):
    text = 'chemistry = "NMX"\ncells_in_series = 0\ncapacity = "160 V"\nmas = "1 kg"\n'
    with pytest.raises(InputErrors) as caught:
        check_record(write(tmp_path, text))
    assert [f.key for f in caught.value.faults] == ["mas", "chemistry", "cells_in_series",
                                                    "capacity"]
    assert [f.line for f in caught.value.faults] == [4, 1, 2, 3]


def test_missing_entries_are_named(tmp_path):
    with pytest.raises(InputErrors) as caught:
        check_record(write(tmp_path, 'title = "x"\n'))
    assert [f.key for f in caught.value.faults] == ["chemistry", "cells_in_series", "capacity"]


def test_library_works_from_an_empty_folder_without_heavy_imports(tmp_path):
    code = ("import sys; from packcalc.reading.library import record; import packcalc.cells;"
            "assert record('lfp-8s-100ah').series == 8;"
            "print(sorted({'pandas', 'jinja2', 'tabulate'} & set(sys.modules)))")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True,
                          text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=True)
    assert done.stdout.strip() == "[]"


def test_cells_alone_do_not_import_pint(tmp_path):
    code = ("import sys, packcalc.cells, packcalc.modules;"
            "print(sorted({'pint', 'pandas', 'scipy'} & set(sys.modules)))")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True,
                          text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.benchmark
def test_whole_library_loads_quickly():
    from packcalc.reading.library import _load_class

    record("nmc-12s-160ah")  # imports and the unit registry are not counted
    best = []
    for _ in range(5):
        record.cache_clear()
        _load_class.cache_clear()
        start = time.perf_counter()
        library()
        best.append(time.perf_counter() - start)
    assert min(best) < 0.020
