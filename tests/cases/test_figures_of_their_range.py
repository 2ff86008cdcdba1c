"""Figures that hold in one range only are printed with that range.

The examples and what is changed in them are invented. Before, a limp-home limit stood without the
temperature at which it holds, an inverter that limits below the full pack was "not shown" to limit,
and the first page named a lowest current that is not the lowest of all.
"""

from __future__ import annotations

import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL
from packcalc.findings import leaf, with_more
from packcalc.handover import certifier
from packcalc.handover.figures import Figures
from packcalc.places import rivals
from packcalc.places.slowest import SLOWEST
from packcalc.protect import overvoltage as ov
from packcalc.protection import study_protection
from packcalc.reading.brief_file import read_brief
from packcalc.report.compose import _fault_lowest
from packcalc.value import replace
from tests.cases.studies import study
from tests.test_overvoltage import asked, verdict

pytestmark = pytest.mark.thorough


def _check(sized, item, title):
    return next(c for i in sized.items if i.key == item for c in i.checks if c.title == title)


def _out(sized, word):
    return _check(sized, "strings",
                  f"one string out: {word} current within the limit of the modules left")


# -- one string out --------------------------------------------------------------------------------


@pytest.mark.parametrize("word", ["charging", "braking"])
def test_a_charge_limit_of_one_string_goes_by_temperature(word):
    # "must cut the pack to 34.12 A", the limit at 25 °C: five times what cells at 2 °C bear
    told = _out(study("minibus"), word)
    assert told.verdict == CAUTION and told.demand.shown == "6.825 A"
    assert "6.825 A above 2.000 °C, 13.65 A above 5.000 °C, 34.12 A above 15.00 °C of the " \
        "coldest cell, 6.825 A above 45.00 °C, 0 A above 55.00 °C of the hottest" in told.remedy
    # "with all strings in 25.14 A, within it": not at 2 °C
    assert "above it as well" in told.reason and "within it" not in told.reason


def test_cells_that_are_never_cold_nor_hot_bear_more():
    warm = study("minibus", battery__coldest_closed="16 °C", battery__coldest_start="16 °C",
                 battery__hottest="44 °C")
    told = _out(warm, "charging")
    assert told.demand.shown == "34.12 A" and "25.14 A, within it" in told.reason


def test_at_the_end_of_a_band_its_stricter_neighbour_counts():
    # cells may be 45 °C hot: the joining of strings counts the limit above 45 °C there as well
    edge = study("minibus", battery__coldest_closed="16 °C", battery__coldest_start="16 °C",
                 battery__hottest="45 °C")
    assert _out(edge, "charging").demand.shown == "6.825 A"


def test_of_three_strings_two_are_left():
    sized = study_protection(read_brief(str(ROOT / "examples" / "minibus" / "brief.toml")),
                             "8S3P", "strings")
    told = _out(sized, "braking")
    assert told.demand.shown == "6.825 A"  # of one module
    assert "13.65 A above 2.000 °C" in told.remedy and "68.25 A above 15.00 °C" in told.remedy


# -- an inverter that limits below the full pack ----------------------------------------------------

TRIP = "over-voltage trip stays quiet while braking into a full pack"
FULL = "inverter brakes into a full pack"


@pytest.mark.parametrize("limit", ["700 V", "800 V"])
def test_a_limit_below_the_trip_is_not_called_not_shown(limit):
    low = study("minibus", regeneration__voltage_limit=limit)
    told, printed = _check(low, "overvoltage", TRIP), f"{limit.split()[0]}.0 V"
    assert told.verdict == CAUTION and told.remedy == "a lower end of charging"
    assert f"own limit of {printed} lies below it" in told.reason
    assert "not shown" not in told.reason and "regeneration" not in told.reason
    braked = _check(low, "overvoltage", FULL)
    assert braked.verdict == CAUTION and f"stands above {printed}" in braked.reason
    item = next(i for i in low.items if i.key == "overvoltage")
    line = next(r for r in item.specification if "own braking limit" in r.what)
    assert f"the full pack above its limit of {printed}" in line.why
    link = next(f for f in item.duty if f.title == "braking into a full cold pack")
    assert f"above the inverter's own limit of {printed}" in link.note


def test_a_limit_above_the_full_pack_is_told_as_before():
    shipped = study("minibus")
    item = next(i for i in shipped.items if i.key == "overvoltage")
    assert not any(c.title == FULL for c in item.checks)
    line = next(r for r in item.specification if "own braking limit" in r.what)
    assert line.why.startswith("from 830.0 V to its absolute maximum")


def test_where_braking_itself_reaches_the_trip_that_is_said():
    trip = leaf("trip", "x", "V", 407.0, "given")
    figures = replace(asked(braking_limit=406.0), trip=trip)
    told = verdict(ov.study_overvoltage(figures), TRIP)  # 408 V while braking, 405 V charged
    assert "not shown to limit before it" in told.reason and "regeneration" in told.reason


def test_an_open_end_of_charging_passes_no_limit():
    figures = asked(braking_limit=410.0)
    assert not any(c.title == FULL for c in ov.study_overvoltage(figures).item.checks)
    told = verdict(ov.study_overvoltage(replace(
        figures, charger_open="tolerance of the charger")), FULL)
    assert told.verdict not in ("pass", FAIL)


# -- which loops a figure speaks of ------------------------------------------------------------------


def test_page_one_says_of_which_loops_its_lowest_current_is():
    sized = study("minibus")
    cell = _fault_lowest(sized)
    assert cell.value == pytest.approx(sized.faults.lowest.number, rel=1e-3)
    least = min(p.lowest.number for place in sized.circuit.places
                for p in (place, *place.rivals) if p.lowest.known and p.lowest.number > 0)
    assert least < 22.9  # "528.8 A" stood alone above "nobody from" far less
    assert cell.text == f"528.8 A of the loops that size parts; {least:.2f} A of others"


@pytest.mark.parametrize("name", ["minibus", "van", "truck", "faulty"])
def test_one_place_has_one_slowest_loop(name):
    # the place of every branch stood under four time constants, no branch named
    for place in study(name).circuit.places:
        slow = [note for note in place.loop.notes if note.startswith(SLOWEST)]
        assert len(slow) <= 1
        assert not slow or place.loop.time_constant.shown in slow[0]


def test_what_is_open_of_another_branch_stays_beside_the_slowest():
    group = next(p for p in study("minibus").circuit.places
                 if p.key == "chassis.second.inside_module_branch")
    one = min(group.rivals, key=lambda p: p.loop.time_constant.number)
    words = next(n for n in one.loop.notes if n.startswith(SLOWEST))
    assert words not in group.loop.notes
    loop = replace(one.loop, time_constant=with_more(one.loop.time_constant, "its length"))
    opened = [replace(p, loop=loop) if p is one else p for p in group.rivals]
    assert words in tuple(rivals._notes(opened))


def test_the_certifier_reads_each_charge_limit_with_its_temperature():
    # "charge limit of one module, warm 34.12 A" alone
    _, figures = certifier._modules(Figures(study("minibus")))
    told = {f.title: f.shown for f in figures}
    assert told["charge limit of one module from 2.000 °C"] == "6.825 A"
    assert told["charge limit of one module from 15.00 °C"] == "34.12 A"
    assert not any("warm" in title for title in told)
