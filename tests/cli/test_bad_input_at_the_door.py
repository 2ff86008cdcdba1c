"""Bad input at the command line: one clear line for each fault, exit code 2, nothing written.

The readers' own tests hold the messages in full; here is what the user meets, on every
command that takes a file.
"""

from __future__ import annotations

import os
import stat
import sys
import tempfile
from pathlib import Path

import pytest

from packcalc.door import MISTAKE
from tests.cli.runner import GOOD, NONE_FITS, run

PEAK = 'peak = "90 kW"'
WINDOW = '"240 V to 420 V"'

# What is wrong: (text in the good brief, what stands instead, line, words of the message).
WRONG = {
    "missing unit": (PEAK, "peak = 90", 12, "90 has no unit; write it like \"120 kW\""),
    "wrong dimension": (PEAK, 'peak = "90 kWh"', 12, "'90 kWh' is an energy, not a power"),
    "kWh for Ah": ('record = "nmc-6s-240ah"', 'label = "6s 240 kWh NMC"', 3,
                   "'240 kWh' is an energy, not a charge"),
    "230 mAh for 230 Ah": ('record = "nmc-6s-240ah"', 'label = "6s 230 mAh NMC"', 3,
                           "not plausible"),
    "400 mV for 400 V": (WINDOW, '"240 V to 400 mV"', 8, "does not rise"),
    "millivolts throughout": (WINDOW, '"240 mV to 420 mV"', 8, "did you mean 240 V?"),
    "nan": (PEAK, "peak = nan", 12, "nan is no finite number"),
    "nan text": (PEAK, 'peak = "nan kW"', 12, "does not begin with a number"),
    "inf": (PEAK, "peak = inf", 12, "inf is no finite number"),
    "inf text": (PEAK, 'peak = "inf kW"', 12, "does not begin with a number"),
    "negative": (PEAK, 'peak = "-90 kW"', 12, "-90 kW is not plausible"),
    "huge exponent": (PEAK, 'peak = "1e300 kW"', 12, "outside the numbers packcalc reads"),
    "expression": (WINDOW, '"9**9**9 V to 420 V"', 8, "'**9**9 V'"),
    "decimal comma": (PEAK, 'peak = "90,5 kW"', 12, "has a comma; write a decimal point"),
    "a rate": (PEAK, 'peak = "1.5 C"', 12, "'C' is not a unit of power"),
    "look-alike": (PEAK, 'peak = "90 \u043aW"', 12, "cyrillic small letter ka"),
    "duplicate key": (PEAK, f'{PEAK}\npeak = "80 kW"', 13, "stands twice, first on line 12"),
    "duplicate section": ("[power]", "[inverter]\n[power]", 11, "stands twice, first on line 7"),
    "unknown key": (PEAK, f'{PEAK}\npeak_duraton = "3 s"', 13, "did you mean 'peak_duration'?"),
    "unknown section": ("[battery]", "[batery]", 17, "did you mean 'battery'?"),
    "unknown record": ("nmc-6s-240ah", "nmc-6s-240a", 3, "did you mean 'nmc-6s-240ah'?"),
    "zero modules": ("count = 18", "count = 0", 4, "0 is not plausible for modules on hand"),
    "no quotation marks": (PEAK, "peak = 90 kW", 12, "stands in quotation marks"),
    "date": ("title =", 'date_of_issue = "2025-02-30"\ntitle =', 1, "is not in the calendar"),
}
BRIEF_COMMANDS = ("check", "layouts", "protect", "report")


def refused(*args: str) -> list[str]:
    """The lines of a refusal, the last one with the count of faults cut off."""
    ran = run(*args)
    assert ran.code == MISTAKE, ran
    assert ran.out == "" and "Traceback" not in ran.err
    assert all(line and line.isprintable() and len(line) < 700 for line in ran.lines)
    *faults, count = ran.lines
    assert count == f"{len(faults)} fault{'s' if len(faults) != 1 else ''}; mend and run again"
    return faults


@pytest.fixture
def brief(tmp_path) -> Path:
    return tmp_path / "b.toml"


@pytest.mark.parametrize("command", BRIEF_COMMANDS)
@pytest.mark.parametrize("name", WRONG)
def test_one_wrong_entry(brief, command, name) -> None:
    old, new, line, words = WRONG[name]
    assert GOOD.count(old) == 1
    brief.write_text(GOOD.replace(old, new), "utf-8")
    out = brief.with_name("out.json")
    faults = refused(command, brief, "--out", out)
    assert any(f.startswith(f"{brief}:{line}:") and words in f for f in faults), faults
    assert len(faults) <= 2
    assert os.listdir(brief.parent) == ["b.toml"]


def test_all_faults_at_once(brief) -> None:
    text = GOOD
    for old, new, *_ in (WRONG[n] for n in ("missing unit", "expression", "zero modules",
                                            "unknown section")):
        text = text.replace(old, new)
    brief.write_text(text, "utf-8")
    lines = [int(fault.split(":")[1]) for fault in refused("check", brief)]
    assert lines == [4, 8, 12, 17]


FILES = {
    "empty": (b"", "is empty; `packcalc new FOLDER` writes a brief to start from"),
    "blank": (b"\n\n  \r\n", "is empty"),
    "binary": (bytes(range(256)), "is no text file: byte 0 at offset 0"),
    "other encoding": ("title = 'Ø'".encode("latin-1"), "is not UTF-8 text: byte 0xD8"),
    "sixteen bits": (GOOD.encode("utf-16"), "is no text file"),
    "prose": (b"Dear packcalc, please\n", "b.toml:1:"),
}


@pytest.mark.parametrize("args", [*((c,) for c in BRIEF_COMMANDS), ("library", "check")],
                         ids=" ".join)
@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_none(brief, args, name) -> None:
    data, words = FILES[name]
    brief.write_bytes(data)
    if args[0] == "library":
        words = words.replace("`packcalc new FOLDER` writes a brief to start from",
                              "a module record needs chemistry, cells_in_series and capacity")
    faults = refused(*args, brief)
    assert len(faults) == 1 and words in faults[0], faults


@pytest.mark.parametrize("head", ["[[modules]]", "[donor]"])
def test_an_empty_record_that_a_brief_names_is_no_brief(brief, head) -> None:
    (brief.parent / "mine.toml").write_bytes(b"\xef\xbb\xbf\n")
    own = 'record = "mine.toml"'
    brief.write_text(f"{GOOD}\n[donor]\n{own}\nsections = [8, 8]\n" if head == "[donor]"
                     else GOOD.replace('record = "nmc-6s-240ah"', own), "utf-8")
    (fault,) = refused("check", brief)
    assert "mine.toml is empty; a module record needs chemistry" in fault
    assert "packcalc new" not in fault


@pytest.mark.parametrize("args", [*((c,) for c in BRIEF_COMMANDS), ("library", "check")],
                         ids=" ".join)
def test_a_path_that_is_none(tmp_path, args) -> None:
    (fault,) = refused(*args, tmp_path)
    assert "is a folder, not a file" in fault
    (fault,) = refused(*args, tmp_path / "no.toml")
    assert "does not exist" in fault
    (fault,) = refused(*args, "a\0b")
    assert "cannot be read" in fault
    (fault,) = refused(*args, "x" * 9000)
    assert "x" * 40 in fault
    large = tmp_path / "large.toml"
    with large.open("wb") as file:
        file.truncate(50_000_000)
    (fault,) = refused(*args, large)
    assert "holds 50000000 bytes, more than the 1000000 that are read" in fault


def test_windows_line_ends_and_a_byte_order_mark_are_read(brief) -> None:
    brief.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert run("layouts", brief).code == 0
    brief.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").replace("90 kW", "90").encode())
    (fault,) = refused("layouts", brief)
    assert fault.startswith(f"{brief}:12: power.peak:")


@pytest.mark.skipif(sys.platform == "win32", reason="file names are bytes on POSIX only")
def test_a_name_that_is_no_text(tmp_path) -> None:
    path = os.fsdecode(os.fsencode(tmp_path) + b"/\xff.toml")
    Path(path).write_text(GOOD, "utf-8")
    ran = run("layouts", path)
    assert ran.code == 0 and "16S1P" in ran.out
    out = os.fsdecode(os.fsencode(tmp_path) + b"/\xff.html")
    ran = run("layouts", path, "--out", out)
    assert ran.code == 0 and Path(out).exists() and ran.err.isascii() is False


# -- a place that cannot be written -----------------------------------------------------------


def not_written(*args: str) -> str:
    ran = run(*args)
    assert ran.code == MISTAKE and ran.out == "", ran
    (line,) = ran.lines
    return line


@pytest.fixture
def good(tmp_path) -> Path:
    path = tmp_path / "b.toml"
    path.write_text(GOOD, "utf-8")
    return path


@pytest.mark.parametrize("command", BRIEF_COMMANDS)
def test_places_that_cannot_be_written(good, command) -> None:
    folder = good.parent
    assert f"{folder}: is a folder; name a file in it" in not_written(command, good, "--out", folder)
    assert "is a folder; name a file" in not_written(command, good, "--out", folder,
                                                     "--format", "json")
    assert "does not exist" in not_written(command, good, "--out", folder / "no" / "r.html")
    assert "'.pdf' names no format" in not_written(command, good, "--out", folder / "r.pdf")
    assert "the name has no ending" in not_written(command, good, "--out", folder / "r")
    assert "cannot be written" in not_written(command, good, "--out", folder / f"{'r' * 300}.html")
    assert os.listdir(folder) == ["b.toml"]


def test_no_permission_to_write(good, monkeypatch) -> None:
    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(tempfile, "mkstemp", refuse)
    line = not_written("report", good, "--out", good.with_name("r.html"))
    assert line == f"{good.with_name('r.html')}: cannot be written: Permission denied"
    monkeypatch.setattr(Path, "mkdir", refuse)
    line = not_written("new", good.parent / "pack")
    assert "pack/brief.toml: cannot be written (Permission denied); name another folder" in line


def test_no_permission_to_read(good, monkeypatch) -> None:
    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    (fault,) = refused("check", good)
    assert "may not be read: no permission" in fault


OLD = '<meta name="generator" content="packcalc 0.1.0">\nthe old report'


def test_a_full_disk_leaves_the_old_report_whole(good, monkeypatch) -> None:
    out = good.with_name("r.html")
    out.write_text(OLD, "utf-8")
    out.chmod(0o640)

    def full(*_args):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", full)
        assert "No space left on device" in not_written("report", good, "--out", out)
    assert out.read_text("utf-8") == OLD
    assert sorted(os.listdir(good.parent)) == ["b.toml", "r.html"]
    assert run("report", good, "--out", out).code == 0
    assert out.read_text("utf-8") != OLD
    assert stat.S_IMODE(out.stat().st_mode) == 0o640


def test_a_fault_leaves_the_old_report_whole(good) -> None:
    out = good.with_name("r.html")
    out.write_text("the old report", "utf-8")
    good.write_text(GOOD.replace("90 kW", "90"), "utf-8")
    refused("report", good, "--out", out)
    assert out.read_text("utf-8") == "the old report"


def test_new_where_a_file_stands(good) -> None:
    assert "part of its path is a file" in not_written("new", good)
    assert "name another folder" in not_written("new", good / "deeper")


def test_a_table_that_is_not_there(good) -> None:
    line = not_written("layouts", good, "--format", "csv", "--table", "layout")
    assert "unknown table 'layout'; did you mean 'layouts'?" in line
    line = not_written("layouts", good, "--table", "layouts")
    assert line == "a single table can be written as csv only, not as text"


def test_no_layout_fits_is_no_mistake(brief) -> None:
    brief.write_text(NONE_FITS, "utf-8")
    out = brief.with_name("r.json")
    ran = run("report", brief, "--out", out)
    assert ran.code == 1 and out.stat().st_size > 10_000
