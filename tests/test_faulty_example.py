"""The example that is wrong on purpose: the report names each of its mistakes.

Everything here is invented. The arithmetic beside each figure is repeated by hand from the
brief and the parts list; the two published figures are the counted second and the
temperature rise of copper (IEC 60364-4-43, k = 226·√ln((234.5 + θ_f)/(234.5 + θ_i))).
"""

from __future__ import annotations

from math import log, sqrt

import numpy as np
import pytest

from examples import regenerate
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.part_checks.sweep import TOO_EARLY
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import read_brief
from tests.cli.runner import run

BRIEF = "examples/faulty/brief.toml"


@pytest.fixture(scope="module")
def study() -> ProtectionStudy:
    return study_protection(read_brief(regenerate.ROOT / BRIEF), "16S1P")


@pytest.fixture(scope="module")
def first_page() -> str:
    """The first page as a reader sees it, on one line."""
    text = (regenerate.ROOT / "examples" / "faulty" / "report.txt").read_text("utf-8")
    page = text.split("\nWhat can kill first\n")[1].split("\nFault places")[0]
    return " ".join(page.split())


def check(study, part, title):
    found = [c for item, c in study.checks if item.startswith(part) and c.title == title]
    assert len(found) == 1, f"{part}: {title}"
    return found[0]


def test_the_cable_fails_in_the_middle_of_the_range_alone(study, first_page):
    one = check(study, "Who clears", "cable, battery to inverter survives the heat over the whole "
                                     "range")
    assert one.verdict == FAIL
    swept, stands = study.coordination.sweep, one.figure.number
    # 16 mm², 90 °C to 160 °C: (226·√ln(394.5/324.5)·16)² = 2.55e6 A²s
    assert stands == pytest.approx((226 * sqrt(log(394.5 / 324.5)) * 16) ** 2, rel=0.01)
    over = swept.heat > stands
    assert over.any() and not over[0] and not over[-1]
    at = swept.current[over]
    # the fuse's clearing curve runs from 2250 A at 1 s to 3300 A at 0.1 s; it is quicker than
    # the trip of 0.8 s from 2250·0.8^−0.1663 = 2335 A, and there lets 2335²·0.8 through
    exponent = log(3300 / 2250) / log(10)
    assert at[0] == pytest.approx(2250 * 0.8 ** -exponent, rel=1e-3)
    # the rise of the current adds 1.5·τ to the time and nothing to the heat of the curve's own
    late = 0.8 - 1.5 * study.coordination.asked.time_constant.number
    assert one.demand.number == pytest.approx(at[0] ** 2 * late, rel=2e-3)
    # the very crossing, not the last current of the grid: (2250/I)^(1/0.1663) · I² = k²S²
    power = 1.0 / exponent
    end = (stands / 2250.0 ** power) ** (1.0 / (2.0 - power))
    assert end == pytest.approx(2668.0, abs=0.5) and end > at[-1]
    assert f"fails from 2336 A to {end:.0f} A" in one.reason and one.reason in first_page
    assert "from 1000 A to 2336 A nobody ends the heat" in one.reason
    assert float(np.nanmax(swept.heat[swept.current <= 1000.0])) < stands
    assert float(np.nanmax(swept.heat[swept.current >= 3300.0])) < stands


def test_the_fuse_does_not_open_when_cold(study, first_page):
    one = check(study, "Who clears", "the fuse opens the lowest fault, cold and nearly empty")
    assert one.verdict == FAIL
    assert one.figure.number == pytest.approx(2250.0)  # its clearing curve at 1 s
    assert one.demand is study.faults.lowest and one.demand.number < 1000.0
    assert "the fuse is not counted on" in one.reason and one.reason in first_page


def test_warm_cells_would_let_it_open(study):
    """The verdict comes from the cold and the thin cable, not from the name of the example."""
    text = (regenerate.ROOT / BRIEF).read_text("utf-8")
    warm = text.replace('coldest_closed = "-12 degC"', 'coldest_closed = "20 degC"').replace(
        'coldest_start = "5 degC"', 'coldest_start = "20 degC"').replace(
        '"Talvik 500 full range"', '"Talvik 250 full range"').replace('"Vire 16"', '"Vire 70"')
    assert warm != text
    from packcalc.reading.brief_file import brief_from_data
    import tomllib
    brief = brief_from_data(tomllib.loads(warm), str(regenerate.ROOT / BRIEF))
    found = study_protection(brief, "16S1P")
    one = check(found, "Who clears", "the fuse opens the lowest fault, cold and nearly empty")
    assert one.verdict == PASS


def test_a_hole_lies_between_contactor_and_fuse(study, first_page):
    one = check(study, "Who clears", "every fault current from pole to pole is opened, "
                                     "fuse and contactor overlapping")
    assert one.verdict == FAIL
    (hole,) = study.coordination.holes
    # the contactor breaks 1000 A, either way; the fuse is quicker than the trip from 2335 A
    assert hole.device == TOO_EARLY and hole.low == pytest.approx(1000.0, rel=1e-6)
    assert hole.high == pytest.approx(2335.0, rel=1e-3)
    assert "no valid pair: from 1000 A to 2336 A nobody" in one.reason
    assert one.reason in first_page


def test_pre_charge_never_ends(study, first_page):
    one = check(study, "Pre-charge", "pre-charge ends")
    assert one.verdict == FAIL and one.reason.startswith("never: with tipper pump, electronics awake")
    assert one.reason in first_page
    # most that 220 Ω + 5 % can pass: V²/(4·R), with the pack at its lowest
    low = study.pack.rest_low_voltage.number
    assert low ** 2 / (4 * 231.0) < 250.0
    named = check(study, "Pre-charge", "Glo 220 large, named in the brief, meets its duty")
    assert named.verdict == FAIL and "no steady voltage exists" in named.reason
    ends = check(study, "Switching", "pre-charge ends before its timeout in the slow corner")
    assert ends.verdict == NOT_EVALUATED and "never reached" in ends.reason


def test_a_monitor_lies_across_the_disconnect(study, first_page):
    one = check(study, "Management", "no monitor across the service disconnect")
    assert one.verdict == FAIL
    # before the disconnect lie 42 cells and 6 joints, 48 channels: its own is the first of the
    # seventh monitor of 8, cells 43 to 48 and the link after module 8 follow
    assert "cells 43 to 48 across the disconnect after module 7" in one.reason
    assert one.reason in first_page


def test_the_charger_overshoots_in_two_ways(study, first_page):
    cell = check(study, "Management", "charger ends its charge before it overshoots a full cell")
    assert cell.verdict == FAIL
    assert cell.figure.number == pytest.approx(4.20 * 1.03)
    assert cell.demand.number == pytest.approx(4.20 * 1.01)
    bus = check(study, "Over-voltage", "a charger that runs to its own ceiling stays at the end of "
                                       "charging")
    assert bus.verdict == FAIL
    # 475 V at the charger's upper tolerance of 3 %
    assert (bus.figure.number, bus.demand.number) == (pytest.approx(475.0 * 1.03), 450.0)
    assert "overshoots the inverter's absolute maximum" in bus.reason
    for one in (cell, bus):
        assert one.reason in first_page


def test_failures_stand_before_cautions_on_the_first_page(study, first_page):
    assert sum(c.verdict == CAUTION for _, c in study.checks) > 0
    last_fail, first_caution = first_page.rfind("Verdict fail"), first_page.find("Verdict caution")
    assert 0 < last_fail < first_caution


def test_nothing_else_is_wrong_with_it(study):
    """Each failure belongs to one of the mistakes: the example must not hide them in noise."""
    assert study.miss is None
    parts = {item for item, c in study.checks if c.verdict == FAIL}
    assert parts == {
        "Over-voltage chain and highest working voltage",
        "Management system: what it must measure and when it must act",
        "Main fuse", "Who clears, over the whole fault range", "Pre-charge resistor and relay",
        "Cable, battery to inverter",
        # the hole between contactor and fuse stands at every place that the two must open
        "Fault place: across the pack terminals, behind fuse and contactors",
        "Fault place: far end of the cable battery to inverter",
        "Fault place: charge inlet, far end of charger to battery",
        "Fault place: second chassis fault: mid-pack leak and chafed cable of either pole",
        "Fault place: second chassis fault: mid-pack leak and chafed cable of charger to battery"}


@pytest.mark.parametrize("command", ["protect", "report"])
def test_the_answer_is_no_and_the_exit_code_says_so(command, tmp_path, monkeypatch):
    monkeypatch.chdir(regenerate.ROOT)
    ran = run(command, BRIEF, "--layout", "16S1P", "--out", str(tmp_path / "out.txt"))
    assert ran.code == 1
    assert (tmp_path / "out.txt").stat().st_size > 10_000
    assert "no valid pair" in (tmp_path / "out.txt").read_text("utf-8")
