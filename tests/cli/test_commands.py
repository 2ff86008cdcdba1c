"""Every command as a user runs it: what it prints, where, and how it ends."""

from __future__ import annotations

import json
import re
from pathlib import Path

import click
import pytest

from packcalc import __version__, door
from packcalc.cli import main
from packcalc.door import FORMATS
from packcalc.reading.library import ids
from packcalc.report.cautions import SHORT
from tests.cli.runner import FOUR, GOOD, NONE_FITS, run


@pytest.fixture
def good(tmp_path) -> Path:
    path = tmp_path / "good.toml"
    path.write_text(GOOD, "utf-8")
    return path


@pytest.fixture
def none_fits(tmp_path) -> Path:
    path = tmp_path / "none.toml"
    path.write_text(NONE_FITS, "utf-8")
    return path


def commands(group: click.Group = main, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    found = []
    for name, command in group.commands.items():
        found.append((*path, name))
        if isinstance(command, click.Group):
            found += commands(command, (*path, name))
    return found


# -- help -------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", [(), *commands()], ids=" ".join)
def test_help_has_an_example_the_exit_codes_and_the_caution(path) -> None:
    ran = run(*path, "--help")
    flat = " ".join(ran.out.split())
    assert ran.code == 0 and ran.err == ""
    assert re.search(rf"Example: packcalc {' '.join(path)}", flat)
    assert door.EXIT_CODES in flat and SHORT in flat
    assert max(map(len, ran.out.splitlines())) <= 80
    assert run(*path, "-h").out == ran.out


@pytest.mark.parametrize("path", [(), *commands()], ids=" ".join)
def test_every_example_of_a_help_page_is_a_command(path) -> None:
    for line in re.findall(r"^ +packcalc (.+)$", run(*path, "--help").out, re.MULTILINE):
        command: click.Command = main
        for word in line.split():
            if not isinstance(command, click.Group):
                break
            command = command.commands[word]
        for option in re.findall(r"--[\w-]+", line):
            assert any(option in p.opts for p in command.params), line


def test_short_helps_are_whole() -> None:
    assert "..." not in run("--help").out.split("Commands:")[1]


def test_every_exit_code_is_documented() -> None:
    for code in (door.DONE, door.NO, door.MISTAKE, door.FAULT, door.STOPPED, door.READER_GONE):
        assert re.search(rf"\b{code} [a-z]", door.EXIT_CODES)


def test_version() -> None:
    assert run("--version").out == f"packcalc {__version__}\n"


def test_nothing_asked_prints_the_help() -> None:
    assert run() == run("--help")


# -- a mistake in the call --------------------------------------------------------------------

CALLS = {
    "near command": (["librry"], "unknown command 'librry'; did you mean 'library'?"),
    "far command": (["zzz"], "unknown command 'zzz'; known: assign, bench, "),
    "near subcommand": (["library", "shw"], "did you mean 'show'?"),
    "no brief": (["layouts"], "missing argument 'BRIEF'; try packcalc layouts --help"),
    "near option": (["layouts", "x", "--fromat", "json"], "--format"),
    "format": (["layouts", "x", "--format", "pdf"], "'pdf' is not one of 'text', 'markdown'"),
    "count": (["layouts", "x", "--most", "-1"], "-1 is not in the range x>=0"),
    "no number": (["layouts", "x", "--most", "many"], "'many' is not a valid integer"),
    "too many": (["check", "a", "b"], "unexpected extra argument (b); try packcalc check --help"),
    "module": (["protect", "x", "--module", "0"], "'0' is no number of a [[modules]] entry"),
    "arrangement": (["protect", "x", "--arrangement", "ring"], "'ring' is not one of 'grouped'"),
    "near formula": (["formulas", "constant_power"], "did you mean 'constant_power_current'?"),
    "far formula": (["formulas", "zzz"], "unknown formula 'zzz'; known: "),
    "near record": (["library", "show", "nmc-6s-240a"], "did you mean 'nmc-6s-240ah'?"),
    "part of a record": (["library", "show", "lfp-16"], "did you mean 'lfp-16s-120ah'?"),
    "escape in a name": (["formulas", "a\nb\x1b[31m"], "unknown formula 'a\\nb\\x1b[31m'"),
}


@pytest.mark.parametrize("name", CALLS)
def test_a_mistake_in_the_call_is_one_line(name) -> None:
    args, words = CALLS[name]
    ran = run(*args)
    assert ran.code == door.MISTAKE and ran.out == ""
    (line,) = ran.lines
    assert words in line and line.isprintable()


# -- new, and what it wrote -------------------------------------------------------------------


def test_the_starter_goes_all_the_way(tmp_path) -> None:
    folder = tmp_path / "mypack"
    ran = run("new", folder)
    assert ran.code == 0 and f"next: packcalc check {folder}/brief.toml" in ran.out
    brief = folder / "brief.toml"
    checked = run("check", brief)
    assert checked.code == 0 and "Nothing is wrong" in checked.out
    listed = run("layouts", brief, "--format", "json")
    assert listed.code == 0 and json.loads(listed.out)["layouts"]
    report = folder / "report.html"
    written = run("report", brief, "--out", report)
    # Nobody has looked at the sense wires yet: no fuse is counted on, and the answer is no.
    assert written.code == door.NO and report.read_text("utf-8").startswith("<!")
    told = run("protect", brief, "--format", "json")
    assert [row["check"] for row in json.loads(told.out)["failing"] if row["verdict"] == "fail"] \
        == ["a fuse at the cell end of each sense wire"]


def test_a_starter_never_overwrites(tmp_path) -> None:
    run("new", tmp_path)
    before = (tmp_path / "brief.toml").read_text("utf-8")
    ran = run("new", tmp_path)
    assert ran.code == door.MISTAKE and "exists already; name another folder" in ran.err
    assert (tmp_path / "brief.toml").read_text("utf-8") == before


def test_four_entries_give_a_first_answer(tmp_path) -> None:
    path = tmp_path / "four.toml"
    path.write_text(FOUR, "utf-8")
    assert run("check", path).code == 0
    for command in ("layouts", "protect", "report"):
        ran = run(command, path, "--format", "json")
        assert ran.code in (door.DONE, door.NO), ran.err
        found = json.loads(ran.out)
        assert found.get("layouts") or found.get("near_misses") or found["first"]
    told = json.loads(run("check", path, "--format", "json").out)
    found = told["find_next"] + told["also_open"]
    assert len(found) > 20 and all(row["find"] for row in found)


# -- answers ----------------------------------------------------------------------------------


def test_no_layout_fits_is_an_answer(none_fits, tmp_path) -> None:
    listed = run("layouts", none_fits, "--format", "json")
    assert listed.code == door.NO
    assert listed.lines == ["the answer is no: no layout meets the brief"]
    found = json.loads(listed.out)
    assert found["layouts"] == [] and found["near_misses"]
    assert all(row["fails"] for row in found["near_misses"])
    for command in ("report", "protect"):
        out = tmp_path / f"{command}.txt"
        ran = run(command, none_fits, "--out", out)
        assert ran.code == door.NO and "does not meet the brief" in ran.lines[-1]
        assert "What can kill first" in out.read_text("utf-8")
    assert "Decisions for the reviewer" in (tmp_path / "report.txt").read_text("utf-8")


def test_a_named_layout_that_fails_is_answered_no(good) -> None:
    ran = run("protect", good, "--layout", "9S2P")
    assert ran.code == door.NO
    assert ran.lines == ["the answer is no: layout 9S2P does not meet the brief"]
    assert "This layout does not meet the brief" in " ".join(ran.out.split())


LAYOUTS = {
    "99S9P": "layout 99S9P: needs 891 modules",
    "8x2": "layout '8x2' is not module notation; write it like 16S2P",
    "0S1P": "layout 0S1P: counts start at 1",
    "8S+8S1P": "the brief has 1 module type",
    "9" * 5000: "is not module notation",
    "16S\u0661P": "layout '16S\u0661P' is not module notation",
}


@pytest.mark.parametrize("layout", LAYOUTS, ids=range(len(LAYOUTS)))
@pytest.mark.parametrize("command", ["protect", "report"])
def test_a_layout_that_cannot_be_built(good, command, layout) -> None:
    ran = run(command, good, "--layout", layout)
    assert ran.code == door.MISTAKE and ran.out == ""
    (line,) = ran.lines
    assert LAYOUTS[layout] in line


def test_an_arrangement_alone_picks_the_best_layout_of_it(good) -> None:
    # was refused: it needed a named layout
    ran = run("protect", good, "--arrangement", "grouped", "--format", "json")
    assert ran.code in (door.DONE, door.NO)
    assert json.loads(ran.out)["layout"]["arrangement"] == "grouped"
    ran = run("protect", good, "--arrangement", "strings")
    assert (ran.code, ran.out) == (door.MISTAKE, "")
    assert ran.lines == ["no layout of parallel strings is a candidate or a near miss; name one, "
                         "like 16S2P"]


def test_module_beyond_the_brief(good) -> None:
    ran = run("report", good, "--layout", "16S1P", "--module", "2")
    assert (ran.code, ran.lines) == (2, ["module 2: the brief has 1, counted from 1"])


def test_most_cuts_the_list_and_says_so(good) -> None:
    all_of_them = json.loads(run("layouts", good, "--most", "0", "--format", "json").out)
    one = json.loads(run("layouts", good, "--most", "1", "--format", "json").out)
    left = len(all_of_them["layouts"]) - 1
    assert len(one["layouts"]) == 1 and left > 0
    assert one["layouts"][0] == all_of_them["layouts"][0]
    assert f"{left} more not shown" in one["notes"]["layouts"]


# -- outputs ----------------------------------------------------------------------------------

ENDINGS = {".txt": "text", ".md": "markdown", ".html": "html", ".json": "json", ".csv": "csv"}


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_files_ending_names_the_format(good, tmp_path, ending) -> None:
    out = tmp_path / f"report{ending}"
    ran = run("report", good, "--out", out)
    assert (ran.code, ran.out, ran.lines) == (0, "", [f"written: {out}"])
    named = run("report", good, "--format", ENDINGS[ending], "--out", "-")
    assert named.out == out.read_text("utf-8") and named.err == ""


def test_a_format_beats_the_ending(good, tmp_path) -> None:
    out = tmp_path / "report.txt"
    assert run("layouts", good, "--out", out, "--format", "json").code == 0
    assert json.loads(out.read_text("utf-8"))["layouts"]


def test_quiet_says_nothing(good, none_fits, tmp_path) -> None:
    assert run("layouts", good, "-q", "--out", tmp_path / "l.csv").err == ""
    assert run("layouts", none_fits, "--quiet").err == ""
    assert run("new", tmp_path / "pack", "-q").out == ""


def test_one_table_as_csv(good) -> None:
    ran = run("layouts", good, "--format", "csv", "--table", "layouts")
    rows = [line for line in ran.out.splitlines() if not line.startswith("#")]
    assert rows[0].startswith("layout,arrangement,cells,highest_voltage_V,")
    assert re.match(r"\d+S\dP,grouped,\d+s\dp,\d+\.\d+,", rows[1])
    assert "near_misses" not in ran.out


def test_text_is_never_wider_than_a_terminal(good) -> None:
    for args in (["check", good], ["layouts", good], ["protect", good], ["report", good],
                 ["library"], ["library", "show", "NMC"], ["formulas"],
                 *(["library", "show", name] for name in ids())):
        out = run(*args).out
        assert max(map(len, out.splitlines())) <= 80, args


def test_the_same_in_gives_the_same_out(good) -> None:
    for format_ in FORMATS:
        assert run("report", good, "--format", format_) == run("report", good, "--format", format_)


# -- library and formulas ---------------------------------------------------------------------


def test_library_lists_and_shows_each_record() -> None:
    listed = json.loads(run("library", "list", "--format", "json").out)
    assert [row["id"] for row in listed["modules"]] == list(ids())
    assert {row["chemistry"] for row in listed["cell_classes"]} == {"LFP", "LMO", "LTO", "NCA",
                                                                   "NMC"}
    assert run("library").out == run("library", "list").out
    for name in ids():
        ran = run("library", "show", name, "--format", "json")
        assert ran.code == 0
        found = json.loads(ran.out)
        assert len(found["provenance"]) == len(found["record_figures"]) > 10


@pytest.mark.parametrize("name", ["NMC", "nmc", "LFP", "NCA", "LMO", "LTO"])
def test_library_shows_a_cell_class(name) -> None:
    found = json.loads(run("library", "show", name, "--format", "json").out)
    assert found["title"] == f"Cell class {name.upper()}"
    sources = {row["source"] for row in found["sources"]}
    assert {row["source"] for row in found["curves"]} <= sources
    assert len(found["law_temperature"]) > 3 and len(found["charge_bands"]) > 2
    if name.upper() in ("LMO", "LTO"):
        assert "curve_points" not in found and "bench measurement is demanded" in str(found)
    else:
        assert len(found["curve_points"][0]) == 1 + len(found["curves"])


def test_library_check_prints_a_right_record(tmp_path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('id = "mine"\nlabel = "12s 160 Ah NMC"\nmass = "46 kg"\n', "utf-8")
    ran = run("library", "check", path)
    assert ran.code == 0 and "Module record mine" in ran.out
    assert "mine.toml:3" in "".join(ran.out.split())
    assert "Filled in from the class" in ran.out


def test_library_check_tells_every_fault(tmp_path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('label = "12s 160 mAh NMC"\nmas = "46 kg"\n', "utf-8")
    ran = run("library", "check", path)
    assert ran.code == door.MISTAKE and ran.out == ""
    assert any("mine.toml:1: label:" in line for line in ran.lines)
    assert any("mine.toml:2: mas: unknown key; did you mean 'mass'?" in line for line in ran.lines)
    assert ran.lines[-1] == "2 faults; mend and run again"


def test_formulas_lists_each_with_its_ground() -> None:
    listed = json.loads(run("formulas", "--format", "json").out)
    known = {row["source"] for row in listed["sources"]}
    assert len(listed["formulas"]) > 80
    for row in listed["formulas"]:
        assert row["formula"] and row["basis"]
        assert row["source"] in known or row["basis"] in ("definition", "common practice")
        shown = run("formulas", row["name"])
        assert shown.code == 0 and "Worked example" in shown.out, row["name"]


# -- how it ends when something breaks --------------------------------------------------------


def test_ctrl_c_is_quiet(good, monkeypatch) -> None:
    def stop(_path):
        raise KeyboardInterrupt

    monkeypatch.setattr("packcalc.api.read_brief", stop)
    ran = run("layouts", good)
    assert (ran.code, ran.out, ran.err.strip()) == (door.STOPPED, "", "")


def test_a_fault_of_the_program_is_one_line(good, monkeypatch) -> None:
    def broken(_path):
        raise ZeroDivisionError("division\nby zero")

    monkeypatch.setattr("packcalc.api.read_brief", broken)
    monkeypatch.delenv(door.DEBUG, raising=False)
    ran = run("layouts", good)
    assert ran.code == door.FAULT
    (line,) = ran.lines
    assert "fault of its own (ZeroDivisionError: division by zero)" in line and "report it" in line
    monkeypatch.setenv(door.DEBUG, "1")
    assert "Traceback" in run("layouts", good).err


@pytest.mark.parametrize(("error", "code", "words"), [
    (BrokenPipeError(32, "Broken pipe"), door.READER_GONE, ""),
    (OSError(28, "No space left on device"), door.MISTAKE,
     "output: cannot be written: No space left on device"),
], ids=["reader gone", "disk full"])
def test_output_that_is_lost(good, monkeypatch, error, code, words) -> None:
    def lost(_text):
        raise error

    monkeypatch.setattr("packcalc.report.render._to_standard_output", lost)
    ran = run("layouts", good)
    assert (ran.code, ran.err.strip()) == (code, words)


def test_progress_is_told_on_a_terminal_only(monkeypatch) -> None:
    told: list[str] = []
    monkeypatch.setattr(door, "PATIENCE", 0.0)
    monkeypatch.setattr(door, "tell", told.append)

    class Terminal:
        def __init__(self, is_one: bool):
            self.isatty = lambda: is_one

    def after(is_one: bool, quiet: bool) -> list[str]:
        told.clear()
        monkeypatch.setattr("sys.stderr", Terminal(is_one))
        with door.progress("screening", quiet):
            import threading

            for thread in threading.enumerate():
                if isinstance(thread, threading.Timer):
                    thread.join(5)
        return list(told)

    assert after(is_one=True, quiet=False) == ["screening …"]
    assert after(is_one=True, quiet=True) == []
    assert after(is_one=False, quiet=False) == []


def test_quick_work_is_not_announced(monkeypatch) -> None:
    told: list[str] = []
    monkeypatch.setattr(door, "tell", told.append)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    with door.progress("screening", quiet=False):
        pass
    assert told == []


# -- one part, and the worked chains ------------------------------------------------------------


def test_one_part_stands_alone_with_its_worked_chains(good) -> None:
    ran = run("protect", good, "--part", "main_fuse")
    assert ran.code in (0, 1)
    assert "Main fuse: duty" in ran.out and "Least rated current from the load side" in ran.out
    assert "Every figure of its duty, worked" in ran.out and SHORT[:20] in ran.out
    assert "Pre-charge resistor and relay: duty" not in ran.out


def test_an_unknown_part_is_told_with_the_near_one(good) -> None:
    ran = run("protect", good, "--part", "main_fus")
    assert ran.code == 2 and ran.out == ""
    assert "did you mean 'main_fuse'" in ran.err and len(ran.err.splitlines()) == 1


def test_the_listing_says_where_the_chains_are_and_other_formats_hold_them(good) -> None:
    short, whole = run("protect", good), run("protect", good, "--chains")
    assert "--chains adds all" in " ".join(short.out.split())
    assert "Appendix: every figure worked" not in short.out
    assert "Appendix: every figure worked" in whole.out
    assert json.loads(run("protect", good, "--format", "json").out)["findings"]
