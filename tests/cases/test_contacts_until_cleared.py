"""Closed contacts against every fault place and every overload, by current and time.

Invented examples with other entries. A contact's points are its sheet's; between two of them a
straight line on logarithmic scales; a clearing time is the delay with the rise of the current.
"""

from __future__ import annotations

import numpy as np
import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.findings import Origin
from packcalc.part_checks.overload_carried import TITLE as OVERLOAD
from packcalc.part_checks.overload_carried import overload_carried
from packcalc.part_checks.sweep import ASK_OPENING
from packcalc.part_checks.withstand import (
    WITHSTANDS, Stretch, borne, borne_check, carried,
)
from packcalc.reading.parts_list import parts_from_text
from tests.cases.studies import study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough

OTHER = "leak between the mid-pack fuse and the other pole, and chafed cable of the other pole"
FAULTS = "withstands faults until they are cleared"


def item(found, key):
    return next(i for i in found.items if i.key == key)


def of(found, key, name, title):
    """A check of one part of the list."""
    candidate = next(c for c in item(found, key).candidates if c.name == name)
    return next(c for c in candidate.checks if c.title == title)


def part(**columns):
    row = {"kind": "contactor", "name": "K", **columns}
    (made,) = parts_from_text(",".join(row) + "\n" + ",".join(
        f'"{v}"' for v in row.values()) + "\n", "list").parts
    return made


def stretch(current, time, title=""):
    at = np.asarray(current, dtype=float)
    return Stretch(title, at, at, np.asarray(time, dtype=float), lambda _: Origin("test"))


# -- the shipped examples ---------------------------------------------------------------------


@pytest.mark.parametrize("name", ["truck", "minibus"])
def test_the_shipped_contacts_stand_every_place(name):
    found = study(name)
    keys = ["coordination", *(["string_coordination"] if name == "minibus" else [])]
    # nobody ends what is beyond the contactors, and no contact is shown to carry that until a trip
    for key in keys:
        told = next(c for c in item(found, key).checks if c.title == WITHSTANDS)
        assert told.verdict == NOT_EVALUATED
        assert "second chassis fault" in told.reason
        assert told.demand.number < told.figure.number * 1.001  # only what nobody ends is left
    told = of(found, "disconnect", "Port 400", FAULTS)
    assert told.verdict == NOT_EVALUATED and ("nobody ends the heat at 'second chassis" in told.reason
                                     or "is shown to end the heat at 'charge inlet" in told.reason)
    named = found.brief.parts.tripped(found.layout.in_strings)
    for key, part_ in (("contactors", named), ("disconnect", "Port 400")):
        assert of(found, key, part_, OVERLOAD).verdict == PASS


def test_a_supplier_is_told_current_and_time_of_the_worst_places():
    rows = {r.what: r.value for r in item(study("truck"), "coordination").specification}
    asked = rows["contactor: short-time withstand, closed"]
    assert "3000 A for 0.5489 s" in asked  # 0.5 s, 15 ms and seven time constants
    for key in ("disconnect", "connectors", "contactors"):
        rows = {r.what: r.value for r in item(study("truck"), key).specification}
        assert rows["overloads"] == "405.0 A for ever; 675.0 A for 12.00 s"
        assert key == "contactors" or "1800 A for 1.000 s" in rows["short-time withstand"]


# -- until somebody has cleared ---------------------------------------------------------------


def test_a_disconnect_is_held_in_the_middle_of_the_range(tmp_path):
    # 5000 A: 10 ms and 700 A: 1 s draw 33 ms at 3000 A, which a trip ends after 0.549 s
    weak = {"short_time": "0.001 s: 40000 A; 0.01 s: 5000 A; 1 s: 700 A",
            "carry": "10 s: 600 A; 60 s: 500 A"}
    found = study("truck", parts__file=listed(tmp_path, Port_400=weak))
    told = of(found, "disconnect", "Port 400", FAULTS)
    assert told.verdict == FAIL and OTHER in told.reason and found.failing
    assert told.figure.number == pytest.approx(
        0.01 * (3000 / 5000) ** (np.log(100) / np.log(700 / 5000)), rel=1e-6)
    assert told.demand.number == pytest.approx(0.5489, rel=1e-3)


def test_a_connector_is_held_there_too():
    told = of(study("truck"), "connectors", "Klo 200", FAULTS)
    assert told.verdict == FAIL and OTHER in told.reason


def test_a_contactor_is_held_until_its_own_trip_has_opened_it(tmp_path):
    weak = {"short_time": "0.001 s: 32000 A; 0.01 s: 14000 A; 0.1 s: 5000 A; 1 s: 1850 A"}
    found = study("truck", parts__file=listed(tmp_path, Lyng_500=weak))
    told = next(c for c in item(found, "coordination").checks if c.title == WITHSTANDS)
    assert told.verdict == FAIL and OTHER in told.reason and found.failing
    assert told.figure.number == pytest.approx(
        0.1 * (3000 / 5000) ** (np.log(10) / np.log(1850 / 5000)), rel=1e-6)
    pair = next(c for c in item(found, "coordination").candidates
                if c.name == found.coordination.asked.pair)
    assert [c.verdict for c in pair.checks if c.title == WITHSTANDS] == [FAIL]


# -- overloads --------------------------------------------------------------------------------


def test_a_disconnect_bears_an_overload_until_the_slow_trip():
    # 740 A and the sensor's 25 A leave 765 A to the slow trip: 960 A: 10 s and 640 A: 60 s
    found = study("truck", management__overload_delay="60 s", management__trip_current="740 A")
    told = of(found, "disconnect", "Port 400", OVERLOAD)
    assert told.verdict == FAIL and "765.0 A" in told.reason and found.failing
    assert told.figure.number == pytest.approx(
        10 * (765 / 960) ** (np.log(6) / np.log(640 / 960)), rel=1e-6)
    assert told.demand.number == 60.0
    assert of(found, "contactors", "Lyng 500", OVERLOAD).verdict == PASS


def test_a_contactor_bears_an_overload_until_the_slow_trip(tmp_path):
    weak = {"carry": "10 s: 600 A; 60 s: 520 A"}
    found = study("truck", management__overload_delay="60 s", management__trip_current="740 A",
                  parts__file=listed(tmp_path, Lyng_500=weak))
    assert of(found, "contactors", "Lyng 500", OVERLOAD).verdict == FAIL


def test_an_overload_that_nobody_opens_is_no_pass():
    # 380 A and the sensor's 25 A: from 300 A to 405 A no trip is sure to act
    truck = study("truck")
    told = of(truck, "contactors", "Lyng 300", OVERLOAD)
    assert told.verdict == CAUTION and "from 300.0 A to 405.0 A" in told.reason
    assert of(truck, "connectors", "Klo 40", OVERLOAD).verdict == FAIL
    told = of(study("van"), "contactors", "Lyng 400 low voltage", OVERLOAD)
    assert told.verdict == NOT_EVALUATED and "no overload trip is named" in told.reason


def test_a_silent_sheet_is_asked_for_the_point_that_would_do():
    told = of(study("truck", parts__connector=None), "connectors", "Klo 300 salvaged", OVERLOAD)
    assert told.verdict == FAIL  # nobody opens what it does not carry for ever
    told = of(study("minibus", parts__connector=None), "connectors", "Klo 350", OVERLOAD)
    assert told.verdict == NOT_EVALUATED and "for 12.00 s or longer" in told.reason


def test_what_it_carries_for_ever_is_no_overload_and_without_a_path_nothing_is_shown():
    path = study("truck").coordination.overload
    assert overload_carried(part(continuous_current="2000 A"), path).verdict == PASS
    for columns, own in (({}, path), ({"continuous_current": "300 A"}, None)):
        assert overload_carried(part(**columns), own).verdict == NOT_EVALUATED


# -- an opening time that the sheet does not give ---------------------------------------------


def cells_time(found):
    """Longest time of a place that the cells' trip clears, and the most heat anywhere."""
    heat = max(h.heat.number for h in found.circuit.heats if h.heat is not None)
    return max(a.time.number for p in found.circuit.places for a in p.answers
               if a.time is not None and "undervoltage" in str(a.time.origin)), heat


@pytest.mark.parametrize("name, contactor, limit, most", [
    ("truck", "Lyng 500", 0.12, "119.9 ms"),
    ("minibus", "Lyng 300 high voltage", 0.15, "149.9 ms")])
def test_a_blank_opening_time_is_no_milder_than_any_that_passes(
        tmp_path, name, contactor, limit, most):
    def held(opening):
        own = tmp_path / (opening or "blank")
        own.mkdir(exist_ok=True)
        return study(name, parts__file=listed(
            own, **{contactor.replace(" ", "_"): {"opening_time": opening}}))

    blank, slow, quick = (cells_time(held(value)) for value in ("", most, "15 ms"))
    assert all(b >= s > q for b, s, q in zip(blank, slow, quick, strict=True))
    assert blank[0] == pytest.approx(quick[0] - 0.015 + limit, abs=0.02)
    told = [a.why for p in held("").circuit.places for a in p.answers if "fall below" in a.why]
    assert told and all("states no opening time" in words for words in told)


def test_a_blank_opening_time_that_nothing_bounds_is_not_shown(tmp_path):
    found = study("truck", management__trip_delay=None, management__crash_open_time=None,
                  parts__file=listed(tmp_path, Lyng_500={"opening_time": ""}))
    assert ASK_OPENING in found.coordination.sweep.contactor.reasons
    own = next(p for p in found.circuit.places if p.key == "chassis.second.own_side")
    assert not any(a.clears for a in own.answers)


# -- the rule itself --------------------------------------------------------------------------


CURVES = {"continuous_current": "300 A", "carry": "10 s: 900 A; 60 s: 600 A",
          "short_time": "0.01 s: 8000 A; 1 s: 3000 A"}


def test_between_two_curves_nothing_is_drawn():
    at = np.array([300.0, 301.0, 600.0, 900.0, 901.0, 2999.0, 3000.0, 8000.0, 8001.0])
    shown, most = carried(part(**CURVES), at)
    assert shown == pytest.approx([np.inf, 60, 60, 10, 1, 1, 1, 0.01, 0])
    assert most == pytest.approx([np.inf, np.inf, 60, 10, 10, 10, 1, 0.01, 0.01])


@pytest.mark.parametrize("current, time, verdict", [
    (1500.0, 0.9, PASS), (1500.0, 5.0, NOT_EVALUATED), (1500.0, 11.0, FAIL),
    (9000.0, 0.005, NOT_EVALUATED), (9000.0, 0.02, FAIL), (250.0, 1e4, PASS)])
def test_a_contact_fails_only_where_its_points_show_it(current, time, verdict):
    told = borne_check("held", part(**CURVES), borne([stretch([current], [time], "there")]))
    assert told.verdict == verdict
    assert verdict != NOT_EVALUATED or f"ask for a point at {current:.0f} A" in told.reason


def test_only_what_presses_most_is_kept_and_no_answer_moves():
    rng = np.random.default_rng(7)
    current, time = rng.uniform(400, 7000, 400), rng.uniform(0.001, 1.0, 400)
    time[::7] = np.nan
    found = borne([stretch(current, time)])
    assert (np.diff(found.current) > 0).all() and (np.diff(found.time) < 0).all()
    shown, _ = carried(part(**CURVES), current)
    kept, _ = carried(part(**CURVES), found.current)
    assert np.min(kept / found.time) == pytest.approx(np.nanmin(shown / time), rel=1e-12)


def test_a_bend_between_two_currents_of_a_grid_is_met():
    # steep down to 0.1 s at 3100 A, flat from there: both neighbours hold, the bend does not
    steep = part(short_time="0.09 s: 8000 A; 0.1 s: 3100 A; 1 s: 3000 A")
    found = borne([stretch([3090.0, 3110.0], [0.12, 0.099])])
    shown, _ = carried(steep, found.current)
    assert (shown >= found.time).all()
    assert borne_check("held", steep, found).verdict == FAIL
    # and where two currents are no neighbours, nothing is drawn between them
    wide = borne([stretch([3000.0, 8000.0], [1.0, 0.09])])
    assert borne_check("held", steep, wide).verdict == PASS


def test_where_nobody_clears_nothing_is_held_and_an_open_end_is_no_pass():
    assert borne([stretch([500.0, 600.0], [np.nan, np.nan])]) is None
    found = borne([stretch([1500.0], [0.9])], "at 'x' the ends are not known")
    told = borne_check("held", part(**CURVES), found)
    assert told.verdict == NOT_EVALUATED and "at 'x'" in told.reason
