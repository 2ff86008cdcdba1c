"""What holds for every format: cautions, hostile text, files whole or not at all."""

from __future__ import annotations

import html
import os
import re
import stat
from dataclasses import replace

import pytest

from packcalc.errors import OutputError, UnknownName, UserError
from packcalc.report.cautions import CAUTIONS, DEFERENCE, SHORT
from packcalc.report.document import Document
from packcalc.report.render import FORMATS, format_of, render, write
from tests.report import sample

DOCUMENT = replace(sample.document(), meta=(("version", "packcalc", "0.1.0"),
                                            *sample.document().meta))  # as frame.document makes it


def flat(text: str, format: str) -> str:
    """The words of a rendering on one line, without the marks of its format."""
    if format == "html":
        text = html.unescape(text)
    if format == "markdown":
        text = html.unescape(re.sub(r"\\(.)", r"\1", text))
    return " ".join(text.replace("\\n", " ").split())


@pytest.mark.parametrize("format", FORMATS)
def test_every_caution_and_the_deference_are_printed(format: str) -> None:
    words = flat(render(DOCUMENT, format), format)
    for caution in (*CAUTIONS, DEFERENCE):
        assert caution in words


@pytest.mark.parametrize("format", FORMATS)
def test_cautions_are_those_of_the_document(format: str) -> None:
    own = Document("Title", "", (), ("Beware of the test.",), "The law comes first.")
    words = flat(render(own, format), format)
    assert "Beware of the test." in words
    assert "The law comes first." in words
    assert CAUTIONS[0] not in words


@pytest.mark.parametrize("format", ["text", "markdown", "html"])
def test_short_caution_stands_on_top(format: str) -> None:
    words = flat(render(DOCUMENT, format), format)
    assert words.index(SHORT) < words.index("What can kill first")


@pytest.mark.parametrize("format", FORMATS)
def test_same_document_same_text(format: str) -> None:
    assert render(DOCUMENT, format) == render(replace(DOCUMENT), format)


@pytest.mark.parametrize("format", ["text", "markdown", "html", "json"])
def test_every_step_of_every_chain_is_printed(format: str) -> None:
    words = flat(render(DOCUMENT, format), format)
    for chain in DOCUMENT.chains():
        for node in chain.finding.walk():
            assert node.title in words
            if node.formula is not None:
                assert node.formula.text in words
            if node.known:
                assert node.shown in words


@pytest.mark.parametrize("format", ["text", "markdown", "html", "json"])
def test_origin_is_printed_down_to_file_and_line(format: str) -> None:
    words = flat(render(DOCUMENT, format), format)
    if format == "json":
        assert '"file": "brief.toml", "line": 12' in words
    else:
        assert 'brief.toml:12 layout = "16S1P"' in words


@pytest.mark.parametrize("format", FORMATS)
def test_sources_are_listed_with_how_they_were_read(format: str) -> None:
    words = flat(render(DOCUMENT, format), format)
    listed = words[words.index('"sources"' if format == "json" else "Sources and how each"):]
    for part in ("packcalc-rule", "Rule of this", "own rule", "practice"):
        assert part in listed


def test_unknown_format_lists_the_near_one() -> None:
    with pytest.raises(UnknownName, match="unknown format 'htm'; did you mean 'html'"):
        render(DOCUMENT, "htm")


def test_a_single_table_is_for_csv_only() -> None:
    with pytest.raises(UserError, match="csv only, not as html"):
        render(DOCUMENT, "html", table="layouts")


@pytest.mark.parametrize(("name", "format"), [
    ("a.txt", "text"), ("a.md", "markdown"), ("b/a.HTML", "html"), ("a.json", "json"),
    ("a.b.csv", "csv")])
def test_format_follows_the_ending(name: str, format: str) -> None:
    assert format_of(name) == format


@pytest.mark.parametrize("name", ["report", "report.pdf", "report.", ".html"])
def test_another_ending_is_refused_with_the_choices(name: str) -> None:
    with pytest.raises(UserError, match=r"\.txt, \.md, \.html, \.json, \.csv"):
        format_of(name)


KEPT = "Layouts\n\npackcalc             0.1.0\n"  # as an older report begins


@pytest.mark.parametrize("format", ["text", "markdown", "html", "json", "csv"])
@pytest.mark.parametrize("ending", ["txt", "html", "json", "csv"])
def test_only_what_was_written_as_a_report_is_written_over(tmp_path, format, ending) -> None:
    target = tmp_path / f"report.{ending}"
    write(DOCUMENT, target, "csv" if ending == "csv" else format)
    write(DOCUMENT, target, "csv" if ending == "csv" else format)
    own = "# A brief for packcalc\n# A battery cannot be switched off\n[inverter]\n"
    for words in (own, '{"packcalc_review": 1, "marks": []}', "my notes"):
        words = words if ending != "csv" or words != own else "mark,note\nM1,packcalc 1\n"
        target.write_text(words)
        with pytest.raises(OutputError, match="was not written as a report"):
            write(DOCUMENT, target, format)
        assert target.read_text() == words


def test_write_makes_the_file_with_ordinary_rights(tmp_path) -> None:
    target = tmp_path / "report.txt"
    write(DOCUMENT, target)
    assert target.read_text("utf-8") == render(DOCUMENT, "text")
    plain = tmp_path / "plain"
    plain.touch()
    assert stat.S_IMODE(target.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["plain", "report.txt"]


def test_given_format_beats_the_ending(tmp_path) -> None:
    write(DOCUMENT, tmp_path / "layouts.txt", "csv", table="layouts")
    assert "# table: layouts" in (tmp_path / "layouts.txt").read_text("utf-8")


def test_write_through_a_link_keeps_the_link(tmp_path) -> None:
    real, link = tmp_path / "real.txt", tmp_path / "link.txt"
    write(DOCUMENT, real, "markdown")
    real.chmod(0o640)
    link.symlink_to(real)
    write(DOCUMENT, link)
    assert link.is_symlink()
    assert real.read_text("utf-8").startswith("Layouts and protection")
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_dash_is_standard_output(capfdbinary) -> None:
    write(DOCUMENT, "-", "json")
    assert capfdbinary.readouterr().out.decode("utf-8") == render(DOCUMENT, "json")


def test_folder_for_a_file_is_one_line(tmp_path) -> None:
    folder = tmp_path / "report.html"
    folder.mkdir()
    with pytest.raises(OutputError, match="is a folder; name a file") as caught:
        write(DOCUMENT, folder)
    assert "\n" not in str(caught.value)


def test_missing_folder_is_one_line(tmp_path) -> None:
    with pytest.raises(OutputError, match="does not exist"):
        write(DOCUMENT, tmp_path / "nowhere" / "report.html")
    assert not (tmp_path / "nowhere").exists()


def test_no_permission_is_one_line(tmp_path, monkeypatch) -> None:
    target = tmp_path / "report.txt"
    target.write_text(KEPT)
    monkeypatch.setattr(os, "access", lambda *_: False)  # a test may run as root
    with pytest.raises(OutputError, match="cannot be written: Permission denied"):
        write(DOCUMENT, target)
    assert target.read_text() == KEPT


def test_a_failed_write_leaves_the_old_file_and_no_scraps(tmp_path, monkeypatch) -> None:
    target = tmp_path / "report.txt"
    target.write_text(KEPT)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write(DOCUMENT, target)
    assert target.read_text() == KEPT
    assert [p.name for p in tmp_path.iterdir()] == ["report.txt"]


def test_a_document_that_cannot_be_rendered_writes_nothing(tmp_path) -> None:
    with pytest.raises(UnknownName):
        write(DOCUMENT, tmp_path / "x.csv", table="no such table")
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_no_plain_file_is_written_in_place() -> None:
    write(DOCUMENT, os.devnull, "text")
    assert not os.path.isfile(os.devnull)
