"""The README's own command for a PDF, run as it stands there.

Needs a headless Chromium on the path; the text of printed pages is read with pdftotext.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from packcalc.report.cautions import SHORT, SHORT_CLASS_A
from packcalc.report.render import render
from tests.report import sample

README = Path(__file__).parents[2] / "README.md"
SECONDS = 120

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which("chromium") is None, reason="no `chromium` on the path"),
    pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no `pdftotext` on the path")]


def commands() -> list[str]:
    """Every line of the README's console blocks that calls the browser."""
    return re.findall(r"^\$ (chromium .*)$", README.read_text("utf-8"), re.MULTILINE)


def pages_of(folder: Path, text: str) -> list[str]:
    (command,) = commands()
    (folder / "truck.html").write_text(text, "utf-8")
    words = shlex.split(command)
    if os.geteuid() == 0:  # as the README says for root
        words.insert(1, "--no-sandbox")
    subprocess.run(words, cwd=folder, capture_output=True, timeout=SECONDS, check=True)
    done = subprocess.run(["pdftotext", "-layout", "truck.pdf", "-"], cwd=folder, text=True,
                          capture_output=True, timeout=SECONDS, check=True)
    return [" ".join(page.split()) for page in done.stdout.split("\f")[:-1]]


@pytest.mark.parametrize("short", [SHORT, SHORT_CLASS_A])
def test_each_sheet_bears_its_number_and_the_cautions(tmp_path: Path, short: str) -> None:
    document = replace(sample.large_document(tables=3, chains=4, depth=4), short=short)
    pages = pages_of(tmp_path, render(document, "html"))
    assert len(pages) >= 4
    for number, page in enumerate(pages, start=1):
        assert short in page
        assert re.search(rf"\b{number} ?/ ?{len(pages)}$", page)
