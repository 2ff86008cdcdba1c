"""Protection of one layout with a forty-part list: at most 0.3 s of CPU after imports."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from packcalc.protection import study_protection
from packcalc.reading.brief_file import read_brief

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.mark.benchmark
def test_protection_with_the_parts_list(tmp_path):
    text = (EXAMPLES / "truck" / "brief.toml").read_text("utf-8")
    (tmp_path / "parts.csv").write_bytes((EXAMPLES / "parts.csv").read_bytes())
    (tmp_path / "brief.toml").write_text(text.split("\n[parts]")[0]
                                         + "\n[parts]\nfile = \"parts.csv\"\n", "utf-8")
    study_protection(read_brief(tmp_path / "brief.toml"))
    begun = time.process_time()
    study = study_protection(read_brief(tmp_path / "brief.toml"))
    spent = time.process_time() - begun
    assert study.coordination is not None and study.coordination.sweep is not None
    assert spent <= 0.3, f"{spent:.3f} s"
