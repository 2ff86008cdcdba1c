"""The command line in a process of its own: pipes, closed streams, what is loaded."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from packcalc import door
from tests.cli.runner import GOOD

ROOT = Path(__file__).resolve().parents[2]
POSIX = pytest.mark.skipif(sys.platform == "win32", reason="POSIX streams and signals")


def command(*args: str) -> list[str]:
    return [sys.executable, "-m", "packcalc", *map(str, args)]


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT)}


def in_process(*args: str, **options) -> subprocess.CompletedProcess:
    return subprocess.run(command(*args), env=environment(), text=True, encoding="utf-8",
                          capture_output=not options, timeout=60, **options)


@pytest.fixture
def good(tmp_path) -> Path:
    path = tmp_path / "b.toml"
    path.write_text(GOOD, "utf-8")
    return path


def test_an_empty_folder_is_enough(tmp_path) -> None:
    ran = in_process("library")
    assert ran.returncode == 0 and "nmc-6s-240ah" in ran.stdout
    ran = subprocess.run(command("new", "."), cwd=tmp_path, env=environment(), capture_output=True)
    assert ran.returncode == 0 and (tmp_path / "brief.toml").exists()


@POSIX
def test_a_reader_that_goes_away(good) -> None:
    for args in (["report", good], ["layouts", good], ["--help"]):
        process = subprocess.Popen(command(*args), env=environment(), stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE)
        process.stdout.close()
        told = process.stderr.read()
        process.stderr.close()
        assert (process.wait(60), told) == (door.READER_GONE, b"")


@POSIX
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
def test_a_full_disk_behind_standard_output(good) -> None:
    with open("/dev/full", "w") as full:
        ran = in_process("layouts", good, stdout=full, stderr=subprocess.PIPE)
    assert ran.returncode == door.MISTAKE
    assert ran.stderr == "output: cannot be written: No space left on device\n"


@POSIX
def test_closed_standard_output(good) -> None:
    closed = 'exec "$@" >&-'
    ran = subprocess.run(["sh", "-c", closed, "sh", *command("layouts", good)], env=environment(),
                         capture_output=True, text=True, timeout=60)
    assert (ran.returncode, ran.stderr) == (
        door.MISTAKE, "standard output is closed; name a file to write\n")


@POSIX
def test_ctrl_c_while_it_runs() -> None:
    """Interrupted on its way, wherever that is, it never prints a traceback."""
    # raised in its own thread: a signal to the process may reach a worker of a library later
    start = "import signal; from packcalc import api, cli\n" \
            "api.read_brief = lambda path: signal.raise_signal(signal.SIGINT)\n" \
            "cli.main(['layouts', 'x'])"
    ran = subprocess.run([sys.executable, "-c", start], env=environment(), capture_output=True,
                         text=True, timeout=60)
    assert (ran.returncode, ran.stdout, ran.stderr.strip()) == (door.STOPPED, "", "")
    assert door.STOPPED == 128 + signal.SIGINT


def loaded_by(*args: str) -> set[str]:
    words = f"import sys; sys.argv = {['packcalc', *args]!r}\n" \
            "from packcalc.cli import main\n" \
            "try: main()\n" \
            "except SystemExit: pass\n" \
            "import json; print(json.dumps(sorted(sys.modules)), file=sys.stderr)"
    ran = subprocess.run([sys.executable, "-c", words], env=environment(), capture_output=True,
                         text=True, timeout=60)
    return set(json.loads(ran.stderr.splitlines()[-1]))


@pytest.mark.parametrize("args", [("--help",), ("--version",), ("report", "--help"), ("librry",)],
                         ids=" ".join)
def test_help_loads_nothing_heavy(args) -> None:
    loaded = loaded_by(*args)
    heavy = {"numpy", "pandas", "pint", "tabulate", "jinja2", "scipy", "importlib.metadata",
             "packcalc.layouts", "packcalc.units", "packcalc.report.compose"}
    assert loaded & heavy == set()


def test_text_loads_no_pandas_and_no_templates(good) -> None:
    assert loaded_by("layouts", str(good)) & {"pandas", "jinja2"} == set()


def test_a_terminal_without_colours_gets_none(good) -> None:
    assert "\x1b" not in in_process("report", good).stdout
