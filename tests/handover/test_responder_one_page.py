"""The responders' sheet stays one page of paper, and leaves out nothing that stays live."""

from __future__ import annotations

import re
import shutil
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest

from examples.regenerate import ROOT
from packcalc.api import make_brief
from packcalc.handover.inside import live_ahead
from packcalc.handover.responder import MOST_NAMES, responder_sheet
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.render import render
from packcalc.report.responder_report import responder_document
from tests.handover.test_fifth_reader import BARROW

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
FURTHER = ("cabin air heater of the front bench seats", "refrigerated body compressor, left side",
           "refrigerated body compressor, right side", "hydraulic tail lift pump behind the axle",
           "coffee machine inverter over the counter")
KINDS = ("DC/DC converter", "heater", "compressor", "other")
LONG = "WWWWW MMMMM " * 16  # 192 characters, the widest there are


def sized(name: str, further: tuple[tuple[str, str], ...] = (), *, strings: bool = False,
          **top: Any) -> ProtectionStudy:
    """An example with further loads ahead of the contactors: (name, kind)."""
    path = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8")) | top
    like = {"power": "0.6 kW", "length": "1.6 m", "section": "6 mm²", "fuse_rating": "40 A",
            "fused_poles": "both", "taps": "behind the main fuse", "capacitance": "0 mF"}
    data["branch"] += [{"name": one, "kind": kind, **like} for one, kind in further]
    return study_protection(brief_from_data(data, str(path)),
                            *(("12S2P", "strings") if strings else ()))


def heaters() -> ProtectionStudy:
    return sized("van", tuple((one, "heater") for one in FURTHER))


def crowd(**top: Any) -> ProtectionStudy:
    return sized("van", tuple((f"load {n} with a name of its own", KINDS[n % 4])
                              for n in range(24)), **top)


def class_a() -> ProtectionStudy:
    """At most 60 V, without a disconnect: the longest words of all."""
    data = tomllib.loads(BARROW) | {"title": LONG, "branch": [
        {"name": f"load {n} with a name of its own", "kind": KINDS[n % 4], "power": "60 W",
         "taps": "behind the main fuse"} for n in range(24)]}
    return study_protection(make_brief(data), "4S1P")


def hazards(study: ProtectionStudy) -> str:
    return " ".join(next(h for h in responder_sheet(study).headings
                         if h.title == "Disable hazards").known)


@pytest.mark.parametrize("make", [heaters, crowd])
def test_what_stays_live_is_counted_whole_and_named_in_the_file(make) -> None:
    study = make()
    taps, said = live_ahead(study), hazards(study)
    assert len(", ".join(taps)) > MOST_NAMES
    kinds = [b.kind for b in study.brief.branch if b.name in taps]
    assert f"{len(taps)} circuits (" in said and "Count EVERY orange cable as one of these" in said
    assert all(f"{kind} × {kinds.count(kind)}" in said for kind in set(kinds))
    assert not any(name in said for name in taps)
    page = " ".join(render(responder_document(study), "text").split())
    assert all(name in page for name in taps)


def test_few_names_are_told_as_they_are() -> None:
    study = sized("van")
    assert all(name in hazards(study) for name in live_ahead(study))
    assert "Count EVERY" not in hazards(study)


def to_the_limit() -> ProtectionStudy:
    study = sized("van", (("x" * 26, "heater"), ("y" * 23, "other")))
    assert len(", ".join(live_ahead(study))) == MOST_NAMES
    return study


def beside_a_disconnect() -> ProtectionStudy:
    study = sized("truck", (("x" * 24, "heater"), ("y" * 24, "other")))
    assert MOST_NAMES - 4 <= len(", ".join(live_ahead(study))) <= MOST_NAMES
    return study


def over_the_disconnect(order: str) -> ProtectionStudy:
    """A cell monitor joins what the disconnect parts, or may: more words than one that parts."""
    path = ROOT / "examples" / "truck" / "brief.toml"
    own = tomllib.loads(path.read_text("utf-8"))["management"]
    return sized("truck", (("x" * 24, "heater"), ("y" * 24, "other")), title=LONG,
                 management=own | {"channels_per_monitor": 8, "monitor_order": order})


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on the path")
@pytest.mark.parametrize("make", [
    heaters, crowd, to_the_limit, beside_a_disconnect, class_a,
    lambda: over_the_disconnect("runs on, links measured"), lambda: over_the_disconnect("unknown"),
    lambda: crowd(title=LONG),
    lambda: sized("minibus", tuple((one, "heater") for one in FURTHER), strings=True, title=LONG)],
    ids=["five heaters", "all kinds", "names to the limit", "with a disconnect", "class A",
         "monitor over it", "division open", "long title", "strings"])
def test_the_sheet_is_one_page(make, tmp_path: Path) -> None:
    page, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    page.write_text(render(responder_document(make()), "html"), "utf-8")
    subprocess.run([str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu",
                    f"--user-data-dir={tmp_path / 'profile'}", "--no-pdf-header-footer",
                    f"--print-to-pdf={pdf}", page.as_uri()], check=True, timeout=60,
                   capture_output=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf.read_bytes())) == 1
