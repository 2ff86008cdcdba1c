"""Pre-charge wires and their fuse against what the resistor passes; all data invented.

The truck: 220 Ω ± 5 %, (1.1 + 0.06 + 0.02) mF · 1.2 on the bus, two tries of 2 s, wires of
1.5 mm² behind a 10 A fuse of 24 A²s, for which its brief states 2.2 A. A charge through R puts
C·V²/(2·R) through fuse and wire [power-electronics-2014, example 2.4]; 100 000 of them may reach
22 % of the pre-arcing I²t [fuse-pulse-chart].
"""

from __future__ import annotations

import tomllib
from functools import cache
from math import log
from pathlib import Path
from typing import Any

import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, Item
from packcalc.decisions import decisions
from packcalc.findings import Origin, leaf
from packcalc.part_checks import precharge_wires as wires
from packcalc.parts import COLUMNS, FusePart, Points
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.review_change import Recheck, recheck

pytestmark = pytest.mark.thorough

CAPACITANCE = (1.1 + 0.06 + 0.02) * 1e-3 * 1.2  # F
SHARE, MELTING = 0.22, 24.0  # of the pre-arcing I²t; A²s
# k²S² from 105 to 160 °C: (226 · 1.5)² · ln((234.5 + 160)/(234.5 + 105)) [iec-60364-5-54]
WITHSTAND = (226.0 * 1.5) ** 2 * log(394.5 / 339.5)


def f(value: float | None, unit: str):
    return leaf("figure", "x", unit, value, "given")


def study(name: str = "truck", layout: tuple[str, ...] = (), wire: dict[str, str] | None = None,
          without: tuple[str, ...] = (), **changes: str) -> ProtectionStudy:
    """An example with entries "section__key" changed, and those of its pre-charge wires."""
    brief = ROOT / "examples" / name / "brief.toml"
    data: dict[str, Any] = tomllib.loads(brief.read_text("utf-8"))
    own = next(b for b in data["branch"] if b["kind"] == "pre-charge")
    own.update(wire or {})
    for key in without:
        own.pop(key)
    for entry, value in changes.items():
        section, _, key = entry.partition("__")
        data[section][key] = value
    return study_protection(brief_from_data(data, str(brief)), *layout)


truck = cache(study)


@cache
def changed(words: str) -> Recheck:
    choice = next(d for d in decisions(truck()) if d.id == "precharge.choice")
    return recheck(truck(), choice, words)


def branch(found: ProtectionStudy) -> Item:
    return next(i for i in found.items if i.key == "branch.pre-charge wires")


def check(found: ProtectionStudy, title: str) -> Check:
    return next(c for c in branch(found).checks if c.title == title)


CARRIES, CURRENT = "Fuse carries the load", "One circuit, one current: branch and resistor"


# -- the design ------------------------------------------------------------------------------


def volts() -> float:
    """Highest working voltage of the truck."""
    return truck().pack.highest_voltage.number


def test_each_charge_is_held_against_the_fuse() -> None:
    pulse = CAPACITANCE * volts() ** 2 / (2.0 * 209.0)  # 0.68 A²s
    held = check(truck(), wires.OUTLIVES)
    assert held.verdict == PASS and held.figure.number == MELTING
    assert held.demand.number == pytest.approx(pulse / SHARE, rel=1e-9)
    (asked,) = [r for r in branch(truck()).specification if "for every pre-charge" in r.what]
    assert asked.value == f"at least {held.demand.shown}"


def test_failed_tries_are_held_against_the_wire() -> None:
    held = check(truck(), wires.STANDS)
    assert held.verdict == PASS
    assert held.figure.number == pytest.approx(WITHSTAND, rel=1e-3)
    assert held.demand.number == pytest.approx(2.2 ** 2 * 2 * 2.0)  # the brief's own, the higher


def test_the_resistor_counts_where_the_brief_states_nothing() -> None:
    found = study(without=("current", "capacitance"))
    assert "it passes up to 2.146 A" in branch(found).governing  # 448.4 V / 209 Ω
    assert check(found, CARRIES).verdict == PASS
    assert not [c for c in branch(found).checks if c.title == CURRENT]
    assert branch(found).open_items == ()


@pytest.mark.parametrize("stated, verdict, counted", [
    ("2.2 A", PASS, 2.2), ("2.1 A", CAUTION, 448.4 / 209), ("3 A", PASS, 3.0)])
def test_a_stated_current_below_the_peak_is_told_and_the_higher_counts(
        stated: str, verdict: str, counted: float) -> None:
    found = study(wire={"current": stated})
    assert check(found, CURRENT).verdict == verdict
    failed = check(found, wires.STANDS).demand.number
    assert failed == pytest.approx(counted ** 2 * 4.0, rel=1e-3)


def test_wires_without_a_fuse_are_still_held_against_the_failed_tries() -> None:
    found = study(without=("fuse_part", "fuse_rating"))
    assert not [c for c in branch(found).checks if c.title == wires.OUTLIVES]
    assert check(found, wires.STANDS).verdict == PASS


def test_a_fuse_without_a_sheet_is_asked_for_its_pre_arcing_i2t() -> None:
    held = check(study(without=("fuse_part",)), wires.OUTLIVES)
    assert held.verdict == NOT_EVALUATED and "pre-arcing I²t" in held.reason


def test_the_wires_of_a_small_resistor_in_the_parts_list(tmp_path: Path) -> None:
    rows = (ROOT / "examples" / "parts.csv").read_text("utf-8").splitlines(keepends=True)
    small = [r.replace("220 ohm", "2 ohm") if r.startswith("resistor,Glo 220 large") else r
             for r in rows]
    assert small != rows
    (tmp_path / "parts.csv").write_text("".join(small), "utf-8")
    found = study(parts__file=str(tmp_path / "parts.csv"))
    held = check(found, wires.OUTLIVES)
    assert held.verdict == FAIL and found.failing
    # 1.416 mF · (448.4 V)² / (2 · 1.9 Ω) = 74.9 A²s, three times the fuse's 24 A²s
    assert held.demand.number == pytest.approx(CAPACITANCE * volts() ** 2 / 3.8 / SHARE)
    assert "one charge has 74.9" in held.reason and "may open on the first" in held.reason
    assert "it passes up to 236.0 A" in branch(found).governing  # 448.4 V / 1.9 Ω


@pytest.mark.parametrize("name, layout", [
    ("truck", ()), ("van", ()), ("minibus", ("12S2P", "strings"))])
def test_no_example_fails_at_its_pre_charge_wires(name: str, layout: tuple[str, ...]) -> None:
    assert not [c for c in branch(truck(name, layout)).checks if c.verdict == FAIL]


# -- a reviewer's change ---------------------------------------------------------------------


def after(words: str) -> dict[str, str]:
    return {t.title: t.after for t in changed(words).touched if t.part.endswith("charge wires")}


def test_a_resistor_that_melts_the_fuse_breaks_the_design() -> None:
    found = changed("2 ohm")
    assert found.breaks and "Nothing else was found" not in found.words
    assert f"Branch: pre-charge wires: {wires.OUTLIVES}" in found.words
    # 33.6 A melt the fuse in 4 s by its curve, 236 A pass: it ends the try, and spares the wire.
    # The fuse put forward for the branch does not meet its duty then.
    assert after("2 ohm") == {wires.OUTLIVES: FAIL, CURRENT: CAUTION, CARRIES: CAUTION,
                              wires.STANDS: PASS, "Rating or part put forward": FAIL}


@pytest.mark.parametrize("words, verdict", [
    ("33 ohm", PASS),   # 1.416 mF · (448.4 V)² / (2 · 31.35 Ω) / 0.22 = 20.6 A²s
    ("27 ohm", FAIL)])  # / (2 · 25.65 Ω) = 25.2 A²s, above 24 A²s; the pulse alone is 5.5 A²s
def test_the_border_of_a_change_is_where_the_pulses_wear_the_fuse(
        words: str, verdict: str) -> None:
    assert after(words)[wires.OUTLIVES] == verdict
    assert changed(words).breaks is (verdict == FAIL)


def test_a_resistor_as_it_was_touches_no_wire() -> None:
    assert not after("220 ohm") and not changed("220 ohm").breaks


# -- each rule at its break point ------------------------------------------------------------


def passes(peak: float = 10.0, pulse: float = 4.4, failing: float = 4.0) -> wires.ResistorCurrent:
    return wires.ResistorCurrent(f(peak, "A"), f(pulse, "A²s"), f(failing, "s"))


@pytest.mark.parametrize("melting, verdict", [(19.9, FAIL), (20.0, PASS), (20.1, PASS)])
def test_outlives_at_its_break_point(melting: float, verdict: str) -> None:
    assert wires.outlives_charges(f(melting, "A²s"), passes()).verdict == verdict  # 4.4 / 0.22


@pytest.mark.parametrize("melting, told", [(4.3, True), (4.4, True), (4.5, False)])
def test_a_fuse_that_opens_on_the_first_charge_is_told(melting: float, told: bool) -> None:
    held = wires.outlives_charges(f(melting, "A²s"), passes())
    assert held.verdict == FAIL and ("on the first" in held.reason) is told


def test_what_is_not_sized_is_not_evaluated() -> None:
    held = wires.outlives_charges(f(24.0, "A²s"), None)
    assert held.verdict == NOT_EVALUATED and "pre-charge resistor" in held.reason


def fuse(**changed: Any) -> FusePart:
    """10 A, 40 A melt it in 1 s and 30 A in 10 s; its air as rated, no conductor factor."""
    column = next(c for c in COLUMNS if c.name == "melting")
    curve = Points(column, (1.0, 10.0), (40.0, 30.0), Origin("invented"))
    return FusePart("invented", **{
        "basis": "given", "rated_current": f(10.0, "A"), "melting": curve,
        "derating_method": "A", "link_constant": f(403.15, "°C"), "conductor_factor": f(1.0, ""),
        "rating_ambient": f(298.15, "°C"), "fluctuation_factor": f(0.6, ""), **changed})


FAILS = Check(CARRIES, "thermal load", FAIL, f(10.0, "A"), f(20.0, "A"), "at least")


@pytest.mark.parametrize("load, verdict, words", [
    (9.9, PASS, "until the failed tries end"), (10.0, PASS, "until the failed tries end"),
    (10.1, CAUTION, "wears it"), (29.9, CAUTION, "wears it"),
    (30.0, CAUTION, "the fuse, not the timeout"), (236.0, CAUTION, "the fuse, not the timeout")])
def test_failed_tries_by_the_curve(load: float, verdict: str, words: str) -> None:
    held = wires.carries_tries(FAILS, fuse(), f(load, "A"), passes(failing=10.0),
                               f(298.15, "°C"))
    assert held.verdict == verdict and words in held.reason


@pytest.mark.parametrize("part, failing, air", [
    (None, 4.0, 298.15), (fuse(melting=None), 4.0, 298.15), (fuse(), 10.1, 298.15),
    (fuse(), 4.0, None)])
def test_without_a_curve_that_holds_so_long_a_failure_stays(
        part: FusePart | None, failing: float, air: float | None) -> None:
    held = wires.carries_tries(FAILS, part, f(20.0, "A"), passes(failing=failing),
                               None if air is None else f(air, "°C"))
    assert held.verdict == FAIL


def test_air_above_the_links_own_limit_stays_a_failure() -> None:
    hot = Check(CARRIES, "thermal load", FAIL, reason="air at or above the link's own limit")
    assert wires.carries_tries(hot, fuse(), f(1.0, "A"), passes(), f(410.0, "°C")) is hot


@pytest.mark.parametrize("withstand, verdict", [(399.0, FAIL), (400.0, PASS), (401.0, PASS)])
def test_the_wire_at_its_break_point(withstand: float, verdict: str) -> None:
    held = wires.stands_tries(f(withstand, "A²s"), None, f(10.0, "A"), passes(), None)
    assert held.verdict == verdict and "errs high" in held.reason  # 10² · 4


def test_a_wire_is_spared_by_what_it_carries_for_ever_or_by_its_fuse() -> None:
    load, heat = f(10.0, "A"), f(100.0, "A²s")
    assert wires.stands_tries(heat, f(10.0, "A"), load, passes(), None).verdict == PASS
    assert wires.stands_tries(heat, f(9.9, "A"), load, passes(), None).verdict == FAIL
    assert wires.stands_tries(heat, None, load, passes(), f(75.0, "A²s")).verdict == PASS
    assert wires.stands_tries(f(None, "A²s"), None, load, passes(), None).verdict == NOT_EVALUATED
