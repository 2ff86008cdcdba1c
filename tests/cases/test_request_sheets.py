"""What a part's checks hold it against stands on its sheet, whether or not a part is named.

Demo data are the invented examples without their parts; arithmetic stands beside each test.
"""

from __future__ import annotations

import tomllib

import pytest

from examples.regenerate import ROOT
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from tests.cases.studies import LAYOUTS, study

OPENING = ("opening time", "opened at once", "makes and passes", "short-time withstand")
ASKED = {
    "contactors": {"poles", "voltage", "carries", "overloads", "breaks", "resistance", "makes",
                   *OPENING},
    "string_contactors": {"poles", "voltage", "carries", "breaks", "resistance", "makes",
                          *OPENING},
    "disconnect": {"rated DC voltage", "carries", "overloads", "short-time withstand", "breaks",
                   "poles", "pilot contact"},
    "connectors": {"rated DC voltage", "carries", "overloads", "short-time withstand",
                   "parted under load", "resistance"}}


@pytest.fixture(scope="module")
def bare():
    return {name: _sheets(_bare(name)) for name in ("truck", "minibus")}


def _bare(name):
    brief = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(brief.read_text("utf-8"))
    data.pop("parts")
    data["cables"]["route"] = [{k: v for k, v in one.items() if k != "cable"}
                               for one in data["cables"]["route"]]
    data["branch"] = [{k: v for k, v in one.items() if k != "fuse_part"}
                      for one in data["branch"]]
    return study_protection(brief_from_data(data, str(brief)), *LAYOUTS[name])


def _sheets(found):
    return {i.key: {r.what: r.value for r in i.specification} for i in found.items
            if i.key in ASKED}


@pytest.mark.parametrize("name", ["truck", "minibus"])
def test_a_sheet_asks_the_same_before_and_after_a_part_is_named(bare, name):
    named = _sheets(study(name, parts__connector="Klo 500 wide"))  # the minibus has none
    assert {key: set(rows) for key, rows in bare[name].items()} == {
        key: set(rows) for key, rows in named.items()}
    assert all(ASKED[key] <= set(rows) for key, rows in named.items())
    assert ("string_contactors" in named) == (name == "minibus")


def test_a_contactors_sheet_says_what_its_opening_and_closing_are_held_against(bare):
    # truck (invented): a crash opens within 120 ms, shorter than the trip's 150 ms; highest fault
    # 28060 A, lowest 756.7 A (leak and chafed charge cable of 25 mm²), or less while no cable is
    # named; nobody is named who clears, so no I²t is known yet
    rows, named = bare["truck"]["contactors"], _sheets(study("truck"))["contactors"]
    assert rows["opening time"].endswith("below 120.0 ms") and "shortest" in rows["opening time"]
    assert rows["opened at once"].endswith("up to 28060 A, both directions")
    assert "main fuse: not known" in rows["makes and passes"]
    assert named["makes and passes"] == "120000 A²s"  # of Talvik 400 full range (invented)
    assert "756.7 A or less to 28060 A" in rows["short-time withstand"]
    assert "1.000 s at most" in rows["short-time withstand"]
    assert rows["carries"].endswith("conductors of 85.00 °C at its terminals")
    assert "string fuse" in bare["minibus"]["string_contactors"]["opened at once"]


def test_a_disconnects_sheet_says_what_it_would_break_and_stand(bare):
    # truck (invented): 112 kW and 1.2 kW at 265 V, 427.2 A; braking 30 kW at 327 V, 91.76 A
    rows = bare["truck"]["disconnect"]
    assert rows["breaks"].startswith("427.2 A discharging and 91.76 A charging at 448.4 V DC, L/R")
    assert "whichever way round" in rows["breaks"] and "breaks none" in rows["breaks"]
    for key in ("disconnect", "connectors"):
        asked = bare["truck"][key]
        assert "from 756.7 A or less to 28060 A" in asked["short-time withstand"]
        assert asked["carries"].endswith("85.00 °C at its terminals")
    assert bare["truck"]["connectors"]["parted under load"].startswith("427.2 A at 448.4 V")
