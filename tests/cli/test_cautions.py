"""Every output of every command, in every format, carries the cautions and defers."""

from __future__ import annotations

import html
import re

import pytest

from packcalc.door import FORMATS
from packcalc.report.cautions import CAUTIONS, DEFERENCE, SHORT
from tests.cli.runner import GOOD, NONE_FITS, run

COMMANDS = {
    "check": ["check", "{brief}"],
    "layouts": ["layouts", "{brief}"],
    "no layouts": ["layouts", "{none}"],
    "protect": ["protect", "{brief}"],
    "protect, failing": ["protect", "{none}"],
    "report": ["report", "{brief}"],
    "library list": ["library", "list"],
    "library show": ["library", "show", "nmc-6s-240ah"],
    "library show class": ["library", "show", "LFP"],
    "library check": ["library", "check", "{record}"],
    "formulas": ["formulas"],
    "one formula": ["formulas", "constant_power_current"],
}


@pytest.fixture
def files(tmp_path) -> dict[str, str]:
    texts = {"brief": GOOD, "none": NONE_FITS, "record": 'label = "12s 160 Ah NMC"\n'}
    for name, text in texts.items():
        (tmp_path / f"{name}.toml").write_text(text, "utf-8")
    return {name: str(tmp_path / f"{name}.toml") for name in texts}


def flat(text: str) -> str:
    """What a reader sees, without line ends, marks of comments, tags and escapes."""
    bare = re.sub(r"(?m)^[#>] ?", "", re.sub(r"<[^>]+>", " ", text))
    return " ".join(html.unescape(bare).replace("\\", "").split())


@pytest.mark.parametrize("format_", FORMATS)
@pytest.mark.parametrize("name", COMMANDS)
def test_every_output_carries_cautions_and_deference(files, name, format_) -> None:
    args = [arg.format(**files) for arg in COMMANDS[name]]
    ran = run(*args, "--format", format_)
    seen = flat(ran.out)
    assert ran.code in (0, 1)
    for words in (*CAUTIONS, DEFERENCE):
        assert words in seen, words
    if format_ in ("text", "markdown", "html"):
        assert SHORT in seen
        assert seen.index(SHORT) < 1500 or format_ == "html", "the short caution comes first"


@pytest.mark.parametrize("format_", FORMATS)
def test_one_csv_table_carries_them_too(files, format_) -> None:
    for table in ("layouts", "near_misses"):
        seen = flat(run("layouts", files["brief"], "--format", "csv", "--table", table).out)
        assert all(words in seen for words in (*CAUTIONS, DEFERENCE))


def test_bare_library_is_the_list() -> None:
    assert SHORT in flat(run("library").out)


def test_new_says_it_and_writes_it(tmp_path) -> None:
    assert SHORT in flat(run("new", tmp_path / "pack").out)
    seen = flat((tmp_path / "pack" / "brief.toml").read_text("utf-8"))
    for words in (*CAUTIONS, DEFERENCE):
        assert words in seen, words


def test_nothing_is_called_safe_or_approved(files) -> None:
    allowed = re.compile(r"safe[- ]side|safe side|errs safe|fail-?safe|Nothing here approves")
    for args in COMMANDS.values():
        seen = allowed.sub("", flat(run(*(arg.format(**files) for arg in args)).out))
        for word in ("compliant", "approved", "certified", "is safe", "safely", "guarantee"):
            found = re.search(rf".{{40}}\b{word}\b.{{40}}", seen, re.IGNORECASE)
            assert not found, (args, found.group(0))
