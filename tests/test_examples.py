"""The shipped reports are what packcalc writes today (version and date masked).

They are our own earlier output, pinned; `python examples/regenerate.py` writes them again,
and the difference then shows which numbers moved.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache

import pytest

from examples import regenerate
from packcalc import api
from packcalc.brief import Brief
from packcalc.reading.brief_file import read_brief
from packcalc.report.cautions import SHORT
from tests.cli.runner import run

REPORTS = [(name, file) for name, files in regenerate.FILES.items() for file in files]
LARGEST = 1_500_000


def masked(text: str) -> str:
    """Without what may differ: three-part versions and ISO dates."""
    return re.sub(r"\b\d+\.\d+\.\d+\w*\b", "VERSION", re.sub(r"\b\d{4}-\d\d-\d\d\b", "DATE", text))


def brief_of(name: str) -> Brief:
    return read_brief(regenerate.ROOT / "examples" / name / "brief.toml")


def test_every_folder_is_an_example() -> None:
    folders = {path.parent.name for path in regenerate.ROOT.glob("examples/*/brief.toml")}
    assert folders == set(regenerate.EXAMPLES)


@pytest.fixture(scope="module", autouse=True)
def _sized_once() -> Iterator[None]:
    """The pages of one example rest on one study, which a process works out once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(api, "size_protection", lru_cache(maxsize=None)(api.size_protection))
        yield


@pytest.mark.parametrize(("name", "file"), REPORTS, ids=["/".join(r) for r in REPORTS])
def test_the_shipped_report_is_todays(name, file, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(regenerate.ROOT)
    out = tmp_path / file
    ran = run(*regenerate.arguments(name, file, str(out)))
    no = (name, file) in regenerate.ANSWER_IS_NO
    assert (ran.code, ran.err) == (1 if no else 0, "")
    today = out.read_text("utf-8")
    shipped = (regenerate.ROOT / "examples" / name / file).read_text("utf-8")
    assert masked(shipped).splitlines() == masked(today).splitlines(), \
        "run python examples/regenerate.py, and read what moved"
    assert len(today.encode()) < LARGEST


def test_masking_hides_nothing_else() -> None:
    assert masked("packcalc 0.1.0, 2026-11-24: 406.0 V") == "packcalc VERSION, DATE: 406.0 V"


@pytest.mark.parametrize("name", regenerate.EXAMPLES)
def test_scenarios_are_invented_and_say_so(name) -> None:
    text = (regenerate.ROOT / "examples" / name / "brief.toml").read_text("utf-8")
    assert "nvented" in brief_of(name).title and "nvented" in brief_of(name).note
    assert "HIGH VOLTAGE, LETHAL DC" in text.split("[[modules]]")[0]
    assert SHORT in " ".join((regenerate.ROOT / "examples" / name / "report.txt")
                             .read_text("utf-8").split())


@pytest.mark.parametrize(("name", "low", "high", "chemistry"), [
    ("truck", 240, 450, "NMC"), ("van", 96, 170, "LFP"), ("minibus", 500, 850, "NMC")])
def test_each_example_tells_its_own_story(name, low, high, chemistry) -> None:
    asked = brief_of(name)
    assert asked.inverter.voltage_low.number == low
    assert asked.inverter.absolute_maximum.number == high
    assert asked.modules[0].module.chemistry == chemistry


def test_the_truck_holds_between_60_and_100_kwh() -> None:
    import packcalc

    frame = packcalc.layouts_frame(brief_of("truck"))
    assert len(frame) and frame["usable_energy_kWh"].between(60, 100).all()


def test_the_minibus_has_two_strings() -> None:
    import packcalc

    study = packcalc.size_protection(brief_of("minibus"), "12S2P", arrangement="strings")
    assert study.miss is None and study.layout.parallel == 2
    assert study.pack.highest_voltage.number > 700
