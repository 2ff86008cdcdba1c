"""What no sensor's place, and no figure that a supplier may still send, would mend: nobody.

Every figure is that of the invented examples, with its arithmetic beside it; "nobody" and "not
shown" are packcalc's own words.
"""

from __future__ import annotations

import csv

import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED
from packcalc.clearing import clearing_by
from packcalc.findings import leaf
from packcalc.place_sweep import sweeping_by
from packcalc.protect import places as pl
from packcalc.value import replace
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

FUSED, OWN, INSIDE = (f"chassis.second.{key}" for key in (
    "fused_pole", "own_side", "inside_module"))
CABLE = "chassis.second.branch.charge cable"
BLIND = {"management__undervoltage_trip": "unknown", "management__trip_current": "1500 A"}
SURE = 1500.0 + 0.01 * 2500.0  # setting and error of a sensor of 2500 A, 1 %
# Rows like that of an invented 80 A fuse, each with something wrong.
ROWS = {"weak": {"breaking_capacity": "1000 A", "cut_off_current": ""},
        "32 V": {"rated_voltage_dc": "32 V", "permitted_time_constant": ""},
        "slow": {"permitted_time_constant": ""},
        "weak and slow": {"breaking_capacity": "1000 A", "cut_off_current": "",
                          "permitted_time_constant": ""}}


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


@pytest.fixture(scope="module")
def parts(tmp_path_factory):
    """The invented list with a row more for each of `ROWS`."""
    rows = (ROOT / "examples/parts.csv").read_text("utf-8").splitlines(keepends=True)
    head = next(i for i, line in enumerate(rows) if line.startswith("kind,"))
    names = next(csv.reader([rows[head]]))
    like = next(r for r in csv.DictReader(rows[head:]) if r["name"] == "Talvik 80 branch")
    path = tmp_path_factory.mktemp("parts") / "parts.csv"
    with path.open("w", encoding="utf-8", newline="") as out:
        out.writelines(rows)
        writer = csv.DictWriter(out, names)
        for name, changed in ROWS.items():
            writer.writerow({**like, **changed, "name": f"Talvik {name}"})
    return str(path)


def with_fuse(parts, name, **changes):
    return study("truck", parts__file=parts, branch={
        "charge cable": {"fuse_part": f"Talvik {name}", "fuse_rating": "80 A"}}, **changes)


def gaps(found, key):
    """(low, high, clears) of what nobody is shown to open at a place."""
    answers = clearing_by(found.coordination, found.brief, found.circuit.inside_strings)
    return [(round(g.low, 3), round(g.high, 3), g.clears)
            for g in sweeping_by(answers)(place(found, key).loop).gaps]


# -- a trip whose sensor may sit elsewhere ------------------------------------------------------


@pytest.mark.parametrize(("key", "verdict"), [
    (FUSED, FAIL), (OWN, CAUTION), (INSIDE, CAUTION)])  # a monitor that opens is the usual answer
def test_below_its_level_no_place_of_the_sensor_makes_a_trip_act(key, verdict):
    found = study("truck", **BLIND)
    assert place(found, "terminals").at_lowest.clears is False
    at = place(found, key)
    assert at.at_lowest.clears is False and at.lowest.number < SURE
    assert at.between.clears is False and f"to {SURE:.0f} A" in at.between.span
    assert {c.verdict for c in at.checks if c.figure is pl.NONE_CLEARS} == {verdict}


def test_above_its_level_the_sensor_s_place_counts():
    found = study("truck", **BLIND)
    fuse = 1800.0  # from there the invented 400 A fuse opens within 1 s
    assert gaps(found, FUSED) == [
        (pytest.approx(place(found, FUSED).lowest.number, abs=1e-3), SURE, False),
        (SURE, fuse, None)]
    low = study("truck", **{**BLIND, "management__trip_current": "650 A"})
    at = place(low, FUSED)  # 650 A and 25 A are less than its lowest
    assert at.lowest.number > 675.0 and at.at_lowest.clears is None and not at.nobody
    assert any(c.verdict == NOT_EVALUATED for c in at.checks)


@pytest.mark.parametrize(("trip", "clears"), [("620 A", False), ("320 A", None)])
def test_at_an_end_the_answer_is_that_of_the_sweep(trip, clears):
    found = study("van", management__undervoltage_trip="unknown", management__trip_current=trip)
    assert place(found, INSIDE).at_lowest.clears is clears


def test_a_string_s_fault_below_the_pack_s_trip_and_its_own_is_nobody_s():
    found = study("minibus", management__undervoltage_trip="unknown",
                  management__trip_current="900 A", strings__trip_current="900 A")
    at, fuse = place(found, "box"), 903.0  # from there the invented 200 A fuse opens within 1 s
    assert at.at_lowest.clears is False and "not shown" not in at.at_lowest.why
    # 900 A and 15 A of error lie above 903 A. Of two strings each gives the half: from twice the
    # lowest of one, which is above the pack's level, to twice what its fuse opens.
    low = at.lowest.number
    assert gaps(found, "box") == [(pytest.approx(low, abs=1e-3), fuse, False),
                                  (pytest.approx(2.0 * low, abs=1e-2), 2.0 * fuse, None)]


def test_a_trip_of_the_cells_that_nobody_names_opens_nothing():
    at = place(study("truck", management__undervoltage_trip="unknown"), INSIDE)
    assert at.at_lowest.clears is False and "name the cells' undervoltage trip" in at.at_lowest.why


def test_a_sheet_that_is_silent_does_not_make_a_trip_act():
    found = study("truck", **BLIND)
    answers = clearing_by(found.coordination, found.brief)
    device = pl.Device("pole_contactor", "contactor", pl.CONTACTOR)
    # a loop of 1 s of time constant, which no breaking test of a sheet has: at the voltage of the
    # test that is a figure of the sheet, at a lower one a question
    constant = leaf("time constant", "τ", "s", 1.0, "invented")
    slow = replace(device, constant=constant)
    low = replace(device, breaks=((leaf("voltage", "U", "V", 60.0, "invented"), constant),))
    for one, why, clears in ((device, "sensor", None), (low, "ask for its figure", None),
                             (slow, "ask for its figure", False)):
        at = leaf("current", "I", "A", SURE * 0.999, "invented")
        assert answers(one, at)[0] is False
        told = answers(one, leaf("current", "I", "A", SURE * 1.001, "invented"))
        assert told[0] is clears and why in told[2]


# -- a fuse that surely does not break ----------------------------------------------------------


def test_nobody_is_not_shown_to_clear_behind_a_fuse_that_bursts(parts):
    found = with_fuse(parts, "weak")
    at = place(found, CABLE)
    assert [a.clears for a in (at.at_highest, at.at_lowest)] == [False, False]
    assert "may burst" in at.at_lowest.why and at.at_lowest.device == pl.NOBODY
    assert gaps(found, CABLE) == [(pytest.approx(at.lowest.number, abs=1e-3), pytest.approx(
        at.loop.highest.number, abs=1e-3), False)]


@pytest.mark.parametrize("changes", [{}, {"management__undervoltage_trip": "unknown"}])
def test_what_its_voltage_forbids_no_time_constant_mends(parts, changes):
    at = place(with_fuse(parts, "32 V", **changes), CABLE)
    assert [a.clears for a in (at.at_highest, at.at_lowest)] == [False, False]
    assert "32.00 V is not above" in at.at_highest.why and at.nobody
    assert not at.between or at.between.clears is False


def test_a_fuse_of_an_open_time_constant_is_still_not_shown(parts):
    # without a charge contactor: a trip would tear it open before any fuse has cleared
    found = with_fuse(parts, "slow", management__undervoltage_trip="unknown",
                      path__charge_contactor="none")
    at = place(found, CABLE)
    assert at.at_highest.clears is None and "ask for the time constant" in at.at_highest.why
    weak = place(with_fuse(parts, "weak and slow",
                           management__undervoltage_trip="unknown",
                           path__charge_contactor="none"), CABLE)
    assert weak.at_highest.clears is False and "1000 A" in weak.at_highest.why


@pytest.mark.parametrize(("melts", "surely", "clears"), [
    (0.1, True, False), (0.3, True, None), (0.1, False, None)])
def test_an_end_is_nobody_s_where_a_fuse_is_lost_before_one_not_shown(melts, surely, clears):
    amps, time = leaf("current", "I", "A", 500.0, "given"), leaf("time", "t", "s", 0.2, "given")
    devices = (pl.Device("branch_fuse.x", "fuse of x", pl.FUSE),
               pl.Device("pole_contactor", "contactor", pl.CONTACTOR))
    told = pl.who_clears(
        "lowest", amps, devices,
        lambda d, _: (None, time, "sensor") if d.kind == pl.CONTACTOR else (False, None, "32 V"),
        lambda d, _, by: (surely, "does not break it") if melts < by.number else None)
    assert told.clears is clears
    assert told.device == (pl.NOBODY if clears is False else "contactor")
