"""Inputs that once gave a soft answer, a crash or a lost file. All figures invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from packcalc.checks import FAIL
from packcalc.errors import InputErrors, OutputError
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.render import write_text
from tests.cli.runner import run
from tests.test_own_parts import brief_with, part

FOUR = {"modules": [{"label": "6s 240 Ah NMC", "count": 18}],
        "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}}


def with_fuse(tmp_path: Path, rated: str, **more: str) -> object:
    """The truck with one more fuse of which the conductor factor is silent."""
    brief = brief_with(tmp_path)
    sheet = tmp_path / "parts.csv"
    head = next(line for line in sheet.read_text("utf-8").splitlines()
                if line.startswith("part,") or line.startswith("kind,"))
    cells = {"kind": "fuse", "part": "fuse", "name": "Tiny", "rated_voltage_dc": "500 V",
             "rated_current": rated, "class_letters": "gR", "breaking_capacity": "50 kA", **more}
    row = ",".join(f'"{cells[c]}"' if c in cells else "" for c in head.split(","))
    sheet.write_text(sheet.read_text("utf-8").rstrip("\n") + "\n" + row + "\n", "utf-8")
    from packcalc.reading.brief_file import read_brief
    return study_protection(read_brief(brief.place))


def test_a_fuse_below_the_load_fails_although_its_conductor_factor_is_silent(tmp_path):
    # 42 kW at 240 V is 175 A: 20 A can never carry it, whatever the missing factor.
    found = part(with_fuse(tmp_path, "20 A"), "main_fuse", "Tiny")
    carries = next(c for c in found.checks if c.title == "Carries the continuous load")
    assert carries.verdict == FAIL and not found.qualifies


def test_a_large_fuse_of_silent_factor_stays_a_question(tmp_path):
    found = part(with_fuse(tmp_path, "400 A"), "main_fuse", "Tiny")
    carries = next(c for c in found.checks if c.title == "Carries the continuous load")
    assert carries.verdict == "not evaluated"


def test_a_power_that_no_current_carries_fails():
    study = study_protection(brief_from_data({**FOUR, "power": {"peak": "900 kW"}}), "16S1P")
    full = next(c for _, c in study.checks if c.title.startswith("full power at the end"))
    assert not study.pack.loaded_voltage.known and full.verdict == FAIL


def test_a_brief_with_a_charging_route_alone_still_has_a_traction_cable():
    study = study_protection(brief_from_data({**FOUR, "cables": {"route": [
        {"name": "inlet", "carries": "charging"}]}}), "16S1P")
    assert {r.asked.name for r in study.routes} == {"inlet", "battery to inverter"}
    assert study.pack.cable_allowance.number > 0


@pytest.mark.parametrize("names", [("DC/DC", "DC-DC"), ("акб", "заряд")])
def test_names_that_would_share_a_key_are_refused(names):
    with pytest.raises(InputErrors):
        brief_from_data({**FOUR, "cables": {"route": [{"name": n} for n in names]}})


def test_a_current_beyond_the_size_guide_still_gives_a_report(tmp_path):
    brief = tmp_path / "b.toml"
    brief.write_text('[[modules]]\nlabel = "4s 240 Ah NMC"\ncount = 18\n[inverter]\n'
                     'voltage_range = "12 V to 20 V"\n[power]\npeak = "200 kW"\n', "utf-8")
    assert run("report", brief, "--format", "json").code == 1


@pytest.mark.parametrize("name", ["brief.toml", "bench.csv", "parts.csv"])
def test_an_input_is_never_overwritten(name, tmp_path):
    target = tmp_path / name
    target.write_text("mark,capacity_Ah\nM01,231\n", "utf-8")
    with pytest.raises(OutputError, match="name another file"):
        write_text(target, "x")
    assert target.read_text("utf-8").startswith("mark")


def test_a_table_written_before_may_be_written_again(tmp_path):
    out = tmp_path / "layouts.csv"
    for _ in range(2):
        assert run("layouts", "examples/truck/brief.toml", "--out", out).code == 0


HEATER = {"name": "heater", "kind": "heater", "power": "24 kW"}


def test_a_branch_load_stands_in_every_duty_of_the_main_path():
    bare = study_protection(brief_from_data(FOUR), "16S1P")
    more = study_protection(brief_from_data({**FOUR, "branch": [HEATER]}), "16S1P")
    # 24 kW at 240 V is 100 A, continuously and of the peak: full_power_from is left open, so that
    # nobody has said that full power ends above the lowest voltage.
    assert more.pack.continuous_current.number - bare.pack.continuous_current.number \
        == pytest.approx(100.0)
    assert more.pack.peak_current.number - bare.pack.peak_current.number \
        == pytest.approx(24e3 / 240)
    assert more.pack.available_power.number <= bare.pack.available_power.number
    least = [next(i for i in s.items if i.key == "main_fuse").duty[0].number for s in (bare, more)]
    assert least[1] > least[0]


def test_a_load_of_unknown_power_is_a_question_not_nothing():
    study = study_protection(brief_from_data(
        {**FOUR, "branch": [{"name": "pump", "kind": "other"}]}), "16S1P")
    asked = [c for _, c in study.checks if c.title.startswith("power of pump")]
    assert [c.verdict for c in asked] == ["not evaluated"]


def test_the_current_asked_of_a_station_is_a_charging_duty():
    study = study_protection(brief_from_data({**FOUR, "station": {"current": "200 A"}}), "16S1P")
    assert study.pack.charging_current.number == pytest.approx(200.0)
    contactors = next(i for i in study.items if i.key == "contactors")
    carried = next(f for f in contactors.duty if f.title.startswith("Continuous current"))
    assert carried.number == pytest.approx(200.0)
