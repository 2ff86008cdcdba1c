"""Designed corners of what one string's devices see while several strings feed a fault.

The invented minibus with a third string: 12 modules in each, 36 on hand. Shares are held against
a network solved here node by node; the trip of a string sees its own share alone.
"""

from __future__ import annotations

import itertools
import tomllib

import numpy as np
import pytest

from examples.regenerate import ROOT
from packcalc.clearing import clearing_by
from packcalc.place_sweep import currents_of
from packcalc.protect.string_shares import string_share
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.units import show
from tests.cases.test_places_fourth import currents

pytestmark = pytest.mark.thorough

HEATER = "branch.floor heater.after"
BARE = {"taps": "before the main fuse", "fuse_part": "", "fuse_rating": "none"}


def three_strings(trip: str, layout: str = "12S3P", section: str = "6 mm²") -> ProtectionStudy:
    """The heater's wire without a fuse of its own, ahead of the main fuse; no trip on a cell."""
    path = ROOT / "examples" / "minibus" / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    data["modules"][0]["count"] = 40
    data.pop("bench", None)
    data["strings"]["trip_current"] = trip
    for key in ("undervoltage_trip", "voltage_delay"):
        data["management"].pop(key)
    data["branch"] = [
        {k: v for k, v in ({**b, **BARE, "section": section}
                           if b["name"] == "floor heater" else b).items() if v}
        for b in data["branch"]]
    return study_protection(brief_from_data(data, str(path)), layout, "strings")


@pytest.fixture(scope="module")
def place():
    return next(p for p in three_strings("350 A").circuit.places if p.key == HEATER)


@pytest.mark.parametrize("strings", [1, 2, 3, 7])
@pytest.mark.parametrize("common", [0.0, 0.05, 0.4])
def test_the_share_against_a_network(strings, common):
    # strings of 400 V behind 0.6 Ω each, all into one node, from there through the common part;
    # alone one string gives 400/(0.6 + R_c)
    node = strings * 400.0 / 0.6 / (strings / 0.6 + 1.0 / common) if common else 0.0
    alone = 400.0 / (0.6 + common)
    assert string_share(alone, strings, common, 400.0) == pytest.approx((400.0 - node) / 0.6)


def test_scalar_equals_vector():
    many = string_share(np.array([500.0, 800.0]), 3, 0.05, 400.0)
    assert list(many) == [string_share(500.0, 3, 0.05, 400.0), string_share(800.0, 3, 0.05, 400.0)]


def test_behind_a_long_wire_one_string_s_share_is_less_than_it_gives_alone(place):
    alone, (two, three) = place.lowest.number, (s.number for s in place.loop.shares)
    # 5 m of 6 mm², out and back, tinned copper at 105 °C: as with the thin wire of the third reading
    wire = 2 * 5 * 20.55e-3 / 6 * (234.5 + 105) / 254.5
    volts = place.loop.shares[0].inputs[3].number
    assert three == pytest.approx(alone / (1 + 2 * wire * alone / volts), rel=1e-6)
    assert three < two < alone
    assert any(f"with 3 strings in, the fuse and the own trip of one of them may see as little as "
               f"{place.loop.shares[1].shown}" in note for note in place.loop.notes)


@pytest.mark.parametrize(("of_three", "cleared"), [(0.95, True), (1.02, False)])
def test_a_string_s_trip_is_asked_for_the_share_of_three(of_three, cleared):
    # a thicker wire, which survives until the trip has opened wherever it does
    place = next(p for p in three_strings("350 A", section="10 mm²").circuit.places
                 if p.key == HEATER)
    # set just below and just above what it sees with all three in, both far below the printed
    # lowest; the sensor is 1 % off
    share = place.loop.shares[1].number
    level = share * of_three / 1.01
    assert share * 1.02 < place.lowest.number
    found = next(p for p in three_strings(
        f"{level:.2f} A", section="10 mm²").circuit.places if p.key == HEATER)
    assert found.at_lowest.clears
    assert (f"from {show(3 * share, 'A')} to" in found.between.why) is not cleared


def test_where_strings_join_at_the_fault_each_gives_what_it_gives_alone():
    found = three_strings("350 A")
    at = {p.key: p.loop for p in found.circuit.places}
    assert at["box"].shares == () and at["string.module"].shares == ()
    # behind the main fuse of 0.6 mΩ the share is a little less, at the cables' end less again
    assert 0.99 < at["terminals"].shares[1].number / at["terminals"].lowest.number < 1.0
    far = next(loop for key, loop in at.items() if key.startswith("cable."))
    assert far.shares[1].number / far.lowest.number \
        < at["terminals"].shares[1].number / at["terminals"].lowest.number


def test_two_of_three_strings_bend_the_sweep_as_well():
    # of three equal paths two may feed it: the trip's 900 A, off by 1 % of 1500 A, for one, two and three
    found = three_strings("900 A")
    answers = clearing_by(found.coordination, found.brief, found.circuit.inside_strings)
    box = next(p.loop for p in found.circuit.places if p.key == "box")
    current = currents_of(answers, box)
    for paths in (1, 2, 3):
        assert np.isclose(current, paths * 915.0, rtol=1e-12).any(), paths
        assert np.isclose(current, paths * box.lowest.number, rtol=1e-12).any(), paths
    assert current.size < 1000


def test_of_two_leaking_strings_one_contactor_sees_at_least_the_printed_lowest():
    # 12 modules of 67.54 V and 7.22 mΩ: one module out of 23 in one loop; a third and fourth
    # string push so that the one sees more and the other less, down to nothing
    count, voltage, resistance = 12, 67.54, 7.22e-3
    least = voltage / ((2 * count - 1) * resistance)
    for strings in (2, 3, 4):
        first, other = [], []
        for i, j in itertools.permutations(range(count + 1), 2):
            one = abs(currents(count, strings, i, j, voltage, resistance)[0])
            two = abs(currents(count, strings, j, i, voltage, resistance)[0])
            first.append(max(one, two))
            other.append(min(one, two))
        assert min(first) >= least * (1 - 1e-6)
        assert min(other) < 0.2 * least or strings == 2
