"""Whatever a user can cause ends in one clear line per fault, never in a traceback."""

from __future__ import annotations

import math
import os
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.brief_keys import KEYS
from packcalc.errors import InputErrors, UserError
from packcalc.reading import positions as positions_module
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.reading.entries import MOST_FAULTS
from packcalc.reading.positions import parse_toml, read_toml

GOOD = """title = "scenario, invented"
[[modules]]
label = "12s 160 Ah NMC"
count = 16
[inverter]
voltage_range = "260 V to 430 V"
[power]
peak = "120 kW"
"""


def faults_of(text: str) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        brief_from_data(parse_toml(text, "b.toml"), "b.toml", text)
    found = [str(fault) for fault in caught.value.faults]
    assert all(fault.isprintable() and len(fault) < 700 for fault in found), found
    return found


# -- one wrong entry: (what stands in GOOD, what replaces it, where, words of the message) -----

PEAK = 'peak = "120 kW"'
WRONG = {
    "missing unit, text": (PEAK, 'peak = "120"', "b.toml:8: power.peak:",
                           "'120' has no unit; write it like \"120 kW\""),
    "missing unit, number": (PEAK, "peak = 120", "b.toml:8: power.peak:",
                             "120 has no unit; write it like \"120 kW\""),
    "wrong dimension": (PEAK, 'peak = "120 kWh"', "b.toml:8: power.peak:",
                        "'120 kWh' is an energy, not a power"),
    "energy for capacity": ("160 Ah", "160 kWh", "b.toml:3: modules[0].label:", "kWh"),
    "milli for one, capacity": ("160 Ah", "230 mAh", "b.toml:3: modules[0].label:",
                                "not plausible"),
    "milli for one, voltage": ('"260 V to 430 V"', '"400 mV to 430 V"',
                               "b.toml:6: inverter.voltage_range:",
                               "0.4 V is not plausible for inverter's operating voltage range "
                               "(8 to 1500 V); did you mean 400 V?"),
    "thousand times too much": (PEAK, 'peak = "120000 kW"', "b.toml:8: power.peak:",
                                "did you mean 120 kW?"),
    "no prefix": (PEAK, 'peak = "0.12 W"', "b.toml:8: power.peak:", "is not plausible"),
    "not a number": (PEAK, 'peak = "nan kW"', "b.toml:8: power.peak:",
                     "does not begin with a number"),
    "not a number, bare": (PEAK, "peak = nan", "b.toml:8: power.peak:", "nan is no finite number"),
    "infinity": (PEAK, 'peak = "inf kW"', "b.toml:8: power.peak:", "does not begin with a number"),
    "infinity, bare": (PEAK, "peak = -inf", "b.toml:8: power.peak:", "-inf is no finite number"),
    "negative": (PEAK, 'peak = "-120 kW"', "b.toml:8: power.peak:", "-120 kW is not plausible"),
    "huge exponent": (PEAK, 'peak = "1e300 kW"', "b.toml:8: power.peak:",
                      "outside the numbers packcalc reads"),
    "exponent of many digits": (PEAK, 'peak = "1e99999999 kW"', "b.toml:8: power.peak:",
                                "outside the numbers packcalc reads"),
    "expression": (PEAK, 'peak = "9**9**9 V"', "b.toml:8: power.peak:", "'**9**9 V'"),
    "code": (PEAK, 'peak = "__import__(\'os\').abort()"', "b.toml:8: power.peak:",
             "does not begin with a number"),
    "decimal comma": (PEAK, 'peak = "5,2 kW"', "b.toml:8: power.peak:",
                      "has a comma; write a decimal point"),
    "rate for current": (PEAK, 'peak = "1.5 C"', "b.toml:8: power.peak:",
                         "'C' is not a unit of power"),
    "look-alike letter": (PEAK, 'peak = "120 \u043aW"', "b.toml:8: power.peak:",
                          "cyrillic small letter ka"),
    "long text": (PEAK, f'peak = "{"1" * 5000} kW"', "b.toml:8: power.peak:",
                  "text of 5003 characters is no quantity"),
    "list for a quantity": (PEAK, "peak = [1]", "b.toml:8: power.peak:",
                            "is a list, not a quantity"),
    "table for a quantity": (PEAK, "peak = {x = 1}", "b.toml:8: power.peak:",
                             "is a table, not a quantity"),
    "truth for a quantity": (PEAK, "peak = true", "b.toml:8: power.peak:",
                             "is true or false, not a quantity"),
    "date for a quantity": (PEAK, "peak = 2025-01-01", "b.toml:8: power.peak:",
                            "is a date or time, not a quantity"),
    "falling range": ("260 V to 430 V", "430 V to 260 V", "b.toml:6: inverter.voltage_range:",
                      "does not rise"),
    "no range": ("260 V to 430 V", "260 V", "b.toml:6: inverter.voltage_range:", "is no range"),
    "range with dots": ("260 V to 430 V", "300 V..420 V", "b.toml:6: inverter.voltage_range:",
                        "is no range"),
    "zero modules": ("count = 16", "count = 0", "b.toml:4: modules[0].count:",
                     "0 is not plausible for modules on hand (1 to 100000)"),
    "half a module": ("count = 16", "count = 15.5", "b.toml:4: modules[0].count:",
                      "15.5 is not a whole number"),
    "count with a unit": ("count = 16", 'count = "16 pcs"', "b.toml:4: modules[0].count:",
                          "has a unit where a bare number is wanted"),
    "count beyond all bounds": ("count = 16", f"count = {'9' * 90}", "b.toml:4: modules[0].count:",
                                "a whole number beyond 1e+15"),
    "share without its sign": ("count = 16", "count = 16\nstate_of_health = 0.85",
                               "b.toml:5: modules[0].state_of_health:",
                               "0.85 has no unit; write it like \"85 %\""),
    "share with a slipped point": ("count = 16", 'count = 16\nstate_of_health = "0.85 %"',
                                   "b.toml:5: modules[0].state_of_health:", "did you mean 85 %?"),
    "unknown record": ('label = "12s 160 Ah NMC"', 'record = "nmc-12s-160a"',
                       "b.toml:3: modules[0].record:", "did you mean 'nmc-12s-160ah'?"),
    "record and label": ("count = 16", 'count = 16\nrecord = "nmc-12s-160ah"',
                         "b.toml:5: modules[0].record:", "keep one of the two"),
    "unknown chemistry": ("NMC", "NMX", "b.toml:3: modules[0].label:", "did you mean 'NMC'?"),
    "no label": ("12s 160 Ah NMC", "x", "b.toml:3: modules[0].label:", "is no module label"),
    "unknown key": (PEAK, f'{PEAK}\npeek_duration = "3 s"', "b.toml:9: power.peek_duration:",
                    "unknown key; did you mean 'peak_duration'?"),
    "unknown section": ("[power]", "[powr]", "b.toml:7: powr:",
                        "unknown key; did you mean 'power'?"),
    "key in the wrong section": (PEAK, f'{PEAK}\nlink_resistance = "1 mΩ"',
                                 "b.toml:9: power.link_resistance:", "it belongs under [path]"),
    "unknown key in a module": ("count = 16", 'count = 16\ncapcity = "3 Ah"',
                                "b.toml:5: modules[0].capcity:", "did you mean 'capacity'?"),
    "single brackets": ("[[modules]]", "[modules]", "b.toml:2: modules:",
                        "write [[modules]] in double brackets"),
    "section that is a word": ("[power]\n" + PEAK, 'power = "120 kW"', "b.toml:7:", "power"),
    "no choice": (PEAK, f'{PEAK}\n[regeneration]\nfollows_charge_limit = "maybe"',
                  "b.toml:10: regeneration.follows_charge_limit:",
                  "'maybe' is no choice; write \"yes\" or \"no\""),
    "truth for a choice": (PEAK, f"{PEAK}\n[regeneration]\nfollows_charge_limit = true",
                           "b.toml:10: regeneration.follows_charge_limit:",
                           "is true or false; write \"yes\" or \"no\""),
    "load without its figure": (PEAK, f'{PEAK}\n[[precharge.load]]\nkind = "resistive"',
                                "b.toml:9: precharge.load[0].resistance:",
                                "a resistive load needs its resistance; find it: load's data"),
    "load with the other figure": (
        PEAK, f'{PEAK}\n[[precharge.load]]\nkind = "constant power"\npower = "3 W"\n'
        'resistance = "3 Ω"', "b.toml:12: precharge.load[0].resistance:",
        "a constant power load has no resistance of its own"),
    "load of no kind": (PEAK, f'{PEAK}\n[[precharge.load]]\npower = "3 W"',
                        "b.toml:9: precharge.load[0].kind:", "is needed"),
    "date off the calendar": ("title =", 'date_of_issue = "2025-02-30"\ntitle =',
                              "b.toml:1: date_of_issue:", "is not in the calendar"),
    "date with a time": ("title =", "date_of_issue = 2025-02-03T10:00:00\ntitle =",
                         "b.toml:1: date_of_issue:", "write it like 2025-03-31"),
    "long title": ("scenario, invented", "x" * 201, "b.toml:1: title:",
                   "is 201 characters long; up to 200"),
    "control character": ("scenario", "a\\u001b[31mb", "b.toml:1: title:",
                          "holds the control character U+001B"),
    "text turned round": ("scenario", "a\\u202eb", "b.toml:1: title:",
                          "holds the control character U+202E"),
    "number for a title": ('"scenario, invented"', "3", "b.toml:1: title:",
                           "is a bare number, not a text"),
}


@pytest.mark.parametrize("name", WRONG)
def test_one_wrong_entry(name: str) -> None:
    old, new, where, words = WRONG[name]
    assert GOOD.count(old) == 1
    faults = faults_of(GOOD.replace(old, new))
    matching = [f for f in faults if f.startswith(where) and words in f]
    assert matching, faults
    assert len(faults) <= 2, faults


def test_longest_title_is_taken() -> None:
    text = GOOD.replace("scenario, invented", "x" * 200)
    assert len(brief_from_data(parse_toml(text, "b"), "b", text).title) == 200


def test_all_faults_at_once_in_the_order_of_the_file() -> None:
    text = GOOD.replace("count = 16", "count = 0").replace("260 V to", "9**9**9 V to") \
        .replace("120 kW", "120 kWh").replace("title", "titel")
    faults = faults_of(text)
    assert [f.split(": ")[0] for f in faults] == ["b.toml:1", "b.toml:4", "b.toml:6", "b.toml:8"]


def test_faults_without_end_are_cut_short() -> None:
    faults = faults_of(GOOD + "".join(f"x{i} = 1\n" for i in range(50000)))
    assert len(faults) == MOST_FAULTS + 1
    assert any(f"more than {MOST_FAULTS} faults" in fault for fault in faults)


# -- TOML itself ------------------------------------------------------------------------------

SYNTAX = {
    "no quotation marks": ("peak = 120 kW", "b:1: column 12:", "stands in quotation marks"),
    "open quotation mark": ('a = 1\npeak = "120 kW\n', "b:2: column 15:", "close the quotation"),
    "open quotation mark at the end": ('a = 1\npeak = "120', "b:2: column 8:",
                                       "close the quotation"),
    "open long text": ("a = '''x\ny", "b:1: column 5:", "before the file ends"),
    "no value": ("a =\n", "b:1: column 4:", "Invalid value"),
    "no equals sign": ("peak 120\n", "b:1: column 6:", "key = \"value\""),
    "open bracket": ("\n[power\n", "b:2: column 7:", "a section is written [name]"),
    "duplicate key": ("[power]\npeak = 1\n\npeak = 2\n", "b:4: power.peak:",
                      "stands twice, first on line 2; keep one"),
    "duplicate section": ("[power]\na = 1\n[power]\nb = 2\n", "b:3: power:",
                          "stands twice, first on line 1"),
    "list and table of one name": ("[[m]]\n[m]\n", "b:2: m:", "stands twice, first on line 1"),
    "table and list of one name": ("[m]\n[[m]]\n", "b:2: m:", "stands twice, first on line 1"),
    "duplicate in braces": ("a = { b = 1, b = 2 }", "b:1: a.b:", "stands twice"),
    "octal": ("a = 012", "b:1:", "no valid TOML"),
}


@pytest.mark.parametrize("name", SYNTAX)
def test_faults_of_syntax(name: str) -> None:
    text, where, words = SYNTAX[name]
    with pytest.raises(InputErrors) as caught:
        parse_toml(text, "b")
    (fault,) = map(str, caught.value.faults)
    assert fault.startswith(where) and words in fault, fault


def test_every_duplicate_is_named() -> None:
    with pytest.raises(InputErrors) as caught:
        parse_toml("a = 1\na = 2\n[b]\nc = 1\nc = 2\n[b]\n", "f")
    assert [(f.line, f.key) for f in caught.value.faults] == [(2, "a"), (5, "b.c"), (6, "b")]


# -- files ------------------------------------------------------------------------------------


def file_fault(path) -> str:
    with pytest.raises(InputErrors) as caught:
        read_brief(path)
    (fault,) = map(str, caught.value.faults)
    assert fault.isprintable()
    return fault


@pytest.mark.parametrize("data", [b"", b"\n \r\n\t", b"\xef\xbb\xbf\n"])
def test_empty_file(tmp_path, data: bytes) -> None:
    (tmp_path / "b.toml").write_bytes(data)
    assert "b.toml: is empty; `packcalc new FOLDER`" in file_fault(tmp_path / "b.toml")


def test_comments_alone_are_a_brief_with_everything_missing(tmp_path) -> None:
    (tmp_path / "b.toml").write_text("# nothing\n")
    with pytest.raises(InputErrors, match="needed for a first answer"):
        read_brief(tmp_path / "b.toml")


def test_binary_file(tmp_path) -> None:
    (tmp_path / "b.toml").write_bytes(b"a = 1\n\0\1\2")
    fault = file_fault(tmp_path / "b.toml")
    assert "is no text file: byte 0 at offset 6; save it as UTF-8" in fault


def test_sixteen_bit_text(tmp_path) -> None:
    (tmp_path / "b.toml").write_text(GOOD, "utf-16")
    assert "is no text file: byte 0 at offset" in file_fault(tmp_path / "b.toml")


def test_other_encoding(tmp_path) -> None:
    (tmp_path / "b.toml").write_bytes(b"a = 1\nb = '3 m\xd8'\n")
    assert "b.toml:2: is not UTF-8 text: byte 0xD8 at offset 14" in file_fault(tmp_path / "b.toml")


def test_windows_line_ends_and_byte_order_mark_are_fine(tmp_path) -> None:
    (tmp_path / "b.toml").write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    brief = read_brief(tmp_path / "b.toml")
    assert brief.power.peak.origin.line == 8


def test_fifty_megabytes_are_refused_unread(tmp_path) -> None:
    path = tmp_path / "b.toml"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    start = time.perf_counter()
    assert "holds 50000000 bytes, more than the 1000000 that are read" in file_fault(path)
    assert time.perf_counter() - start < 0.1


def test_folder_for_a_file(tmp_path) -> None:
    assert "is a folder, not a file; name a file in it" in file_fault(tmp_path)
    (tmp_path / "brief.toml").write_text(GOOD)
    assert f"did you mean '{tmp_path / 'brief.toml'}'?" in file_fault(tmp_path)


def test_missing_file_points_to_the_near_one(tmp_path) -> None:
    assert "does not exist; check the name" in file_fault(tmp_path / "truck.toml")
    (tmp_path / "Truck.toml").write_text(GOOD)
    (tmp_path / "van.toml").write_text(GOOD)
    assert f"did you mean '{tmp_path / 'Truck.toml'}'?" in file_fault(tmp_path / "trcuk.toml")
    assert "nor does its folder" in file_fault(tmp_path / "no" / "b.toml")


def test_path_through_a_file(tmp_path) -> None:
    (tmp_path / "b.toml").write_text(GOOD)
    assert "part of its path is a file" in file_fault(tmp_path / "b.toml" / "c.toml")


def test_pipe_for_a_file_does_not_hang(tmp_path) -> None:
    os.mkfifo(tmp_path / "b.toml")
    assert "is not a regular file" in file_fault(tmp_path / "b.toml")


def test_no_permission(tmp_path, monkeypatch) -> None:
    (tmp_path / "b.toml").write_text(GOOD)

    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(positions_module.Path, "open", refuse)
    assert "may not be read: no permission" in file_fault(tmp_path / "b.toml")


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000, "a\nb", "\x1b[31m"])
def test_impossible_names_stay_on_one_line(name: str) -> None:
    assert len(file_fault(name)) < 500


# -- whatever comes ---------------------------------------------------------------------------

PIECES = st.sampled_from([
    "[[modules]]", "[modules]", "[inverter]", "[power]", "[[cables.route]]", "[precharge]",
    "[[precharge.load]]", "\n", "\n", " = ", "label", "record", "count", "rest_voltages", "peak",
    "voltage_range", "absolute_maximum", '"12s 160 Ah NMC"', '"12s 160 Ah LTO"', "16", "0", "-1",
    '"260 V to 430 V"', '"400 mV"', '"120 kW"', '"unknown"', "unknown", "nan", "1e400", "true",
    '{ "20 %" = "3.55 V" }', "[1, [2]]", "2025-01-01", '"""', "'", "#", "\r\n", "\ufeff", "Ω",
    '"9**9**9 V"', '"1.5 C"', '"5,2 s"', "chemistry", '"NMC"', "capacity", '"160 Ah"',
    "cells_in_series", "title", "name", "kind", '"resistive"', '"traction"', "carries",
])


def only_user_errors(text: str) -> None:
    start = time.perf_counter()
    try:
        brief_from_data(parse_toml(text, "b"), "b", text)
    except UserError as error:
        assert str(error)
        if isinstance(error, InputErrors):
            assert all(str(fault).isprintable() for fault in error.faults)
    assert time.perf_counter() - start < 2.0


@pytest.mark.property
@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(max_size=300), st.lists(PIECES, max_size=40).map(" ".join),
                 st.lists(PIECES, max_size=40).map("".join)))
def test_any_text_gets_an_answer_or_a_fault(text: str) -> None:
    only_user_errors(text)


@pytest.mark.property
@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_get_an_answer_or_a_fault(tmp_path_factory, data: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_bytes(data)
    with pytest.raises(UserError):
        read_brief(path)


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.dates() | st.datetimes()
    | st.text(max_size=70)
    | st.sampled_from(["unknown", "12s 160 Ah NMC", "120 kW", "260 V to 430 V", "85 %",
                       10 ** 400, math.nan, ["260 V", "430 V"], b"x", object()]),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.sampled_from([k.name for k in KEYS] + ["label", "record", "name"]),
                      inner, max_size=3), max_leaves=8)
SECTION_NAMES = sorted({k.section.split(".")[0] for k in KEYS} | {"title", "mix", "x"})


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(st.dictionaries(st.sampled_from(SECTION_NAMES), VALUES
                       | st.dictionaries(st.sampled_from([k.name for k in KEYS]), VALUES)
                       | st.lists(st.dictionaries(st.sampled_from(
                           ["count", "label", "record", "capacity", "chemistry",
                            "cells_in_series", "rest_voltages", "mass", "basis"]), VALUES))))
def test_any_data_gets_an_answer_or_a_fault(data: dict) -> None:
    try:
        brief_from_data(data)
    except UserError as error:
        assert str(error)


# About 1 MB each of what makes a careless parser slow.
HOSTILE = {
    "keys": "".join(f"k{i} = 1\n" for i in range(80_000)),
    "array": "a = [" + "1," * 400_000 + "]",
    "nested arrays": "a = " + "[" * 900_000,
    "nested braces": "a = " + "{a=" * 300_000,
    "dotted key": ".".join("a" * 400_000) + " = 1",
    "number": "a = " + "9" * 900_000,
    "hexadecimal": "a = 0x" + "f" * 900_000,
    "backslashes": 'a = "' + "\\" * 900_000,
    "quotation marks": 'a = """' + '"" ' * 300_000,
    "headers": "[a]\n" * 200_000,
    "deep headers": "[" + "a." * 19 + "a]\n" + "".join(f"b{i}=1\n" for i in range(80_000)),
    "modules": '[[modules]]\nlabel = "12s 160 Ah NMC"\ncount = 3\n' * 1000,
    "too many modules": "[[modules]]\n" * 70_000,
    "bare word": "a" * 900_000,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_megabytes_are_answered_soon(name: str) -> None:
    start = time.perf_counter()
    with pytest.raises(InputErrors):
        brief_from_data(parse_toml(HOSTILE[name], "b"), "b", HOSTILE[name])
    assert time.perf_counter() - start < 10.0


def test_reading_a_brief_is_quick(tmp_path) -> None:
    from packcalc.reading.template import starter_brief

    path = tmp_path / "b.toml"
    path.write_text(starter_brief(), "utf-8")
    read_brief(path)

    def once() -> float:
        positions_module.positions.cache_clear()
        start = time.perf_counter()
        read_brief(path)
        return time.perf_counter() - start

    assert min(once() for _ in range(5)) < 0.015


def test_a_path_object_and_a_text_are_the_same(tmp_path) -> None:
    (tmp_path / "b.toml").write_text(GOOD)
    assert read_toml(tmp_path / "b.toml") == read_toml(str(Path(tmp_path, "b.toml")))
