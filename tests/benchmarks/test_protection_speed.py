"""Protection of one layout, five branches, two strings, forty parts: at most 0.3 s of CPU.

After imports and a first run, which reads the tables. With every part named and with none.
"""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest

from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import read_brief

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
NAMED = r'(?m)^(main_fuse|string_fuse|contactor|resistor|disconnect) = "(?!one|both|mid).*\n'
TRIES = 3


def timed(path: Path, *layout: str) -> tuple[float, ProtectionStudy]:
    """Least CPU time of a few runs: others share the machine."""
    study_protection(read_brief(path), *layout)
    spent = []
    for _ in range(TRIES):
        begun = time.process_time()
        study = study_protection(read_brief(path), *layout)
        spent.append(time.process_time() - begun)
    return min(spent), study


@pytest.mark.benchmark
@pytest.mark.parametrize("named", [True, False], ids=["parts named", "every part tried"])
def test_two_strings_with_their_branches_and_the_parts_list(tmp_path, named):
    text = (EXAMPLES / "minibus" / "brief.toml").read_text("utf-8")
    text = text.replace("../parts.csv", "parts.csv").split("\n[bench]")[0]
    (tmp_path / "parts.csv").write_bytes((EXAMPLES / "parts.csv").read_bytes())
    (tmp_path / "brief.toml").write_text(text if named else re.sub(NAMED, "", text), "utf-8")
    spent, study = timed(tmp_path / "brief.toml", "12S2P", "strings")
    assert len(study.brief.branch) >= 5 and study.layout.parallel == 2
    assert len(study.brief.parts.list.parts) >= 40
    assert study.coordination is not None and study.coordination.sweep is not None
    print(f"\n{spent:.3f} s")
    assert spent <= 0.3, f"{spent:.3f} s"


@pytest.mark.benchmark
def test_one_string_with_its_branches():
    spent, study = timed(EXAMPLES / "truck" / "brief.toml")
    assert len(study.brief.branch) >= 5
    print(f"\n{spent:.3f} s")
    assert spent <= 0.3, f"{spent:.3f} s"
