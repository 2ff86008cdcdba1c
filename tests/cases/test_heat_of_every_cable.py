"""The traction cable and a bare charge cable against the heat of every place they lie in.

Invented examples with other entries. Copper stands k²S² (434.5.2 of IEC 60364-4-43, k by Annex A
of IEC 60364-5-54); heat is I²t with the delay, the contactor's 15 ms and the rise of the current.
"""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED
from packcalc.clearing import clearing_by
from packcalc.place_sweep import currents_of, heat_over
from packcalc.places.stands import PERHAPS
from packcalc.protect.cable import WHOLE_RANGE
from packcalc.protect.coordination import coordinate
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.value import replace
from tests.cases.studies import ROOT, study
from tests.cases.test_coordination_cases import asked, check, contactor, f, trips
from tests.cases.test_one_rule_of_melting import listed

CABLE = "cable, battery to inverter survives the heat over the whole range"
SHORT, INLET = "Short-circuit protection", "inlet.charge inlet to battery"
OTHER = "leak between the mid-pack fuse and the other pole, and chafed cable of the other pole"
STRONG = {"break_discharge": "23000 A", "break_charge": "23000 A",
          "short_time": "0.001 s: 40000 A; 0.01 s: 32000 A; 0.1 s: 30000 A; 1 s: 25000 A"}


def bare(cable="Vire 6", charge="Lyng 200"):
    """The truck without a branch, and so without a fuse of its charge cable."""
    path = ROOT / "examples" / "truck" / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    data["branch"] = []
    data["precharge"].pop("load")
    data["cables"]["route"][1]["cable"] = cable
    data["parts"]["charge_contactor"] = charge
    return study_protection(brief_from_data(data, str(path)), "16S1P")


def route(found, name):
    return next(r for r in found.routes if r.asked.name == name)


def only(checks, title):
    (one,) = [c for c in checks if c.title == title]
    return one


def most_heat(found, name):
    """Largest I²t of the places whose current runs through a cable."""
    answers = clearing_by(found.coordination, found.brief, found.circuit.inside_strings)
    most = 0.0
    # as if no fuse stood there that nobody spoke of: one may melt, and hides no heat
    for loop in (replace(p.loop, passed=tuple(
            d for d in p.loop.passed if not d.name.endswith(PERHAPS)))
            for p in found.circuit.places if name in p.loop.cables):
        heat = heat_over(answers, loop, currents_of(answers, loop))
        most = max(most, float(np.nanmax(np.nan_to_num(heat))))
    return most


# -- the traction cable -----------------------------------------------------------------------


@pytest.mark.parametrize("name, most", [("truck", 4.94e6), ("minibus", 1.698e6)])
def test_the_traction_cable_is_held_to_the_other_poles_second_fault(name, most):
    # truck: 3000 A for 0.5 s, 15 ms and seven time constants; the fused pole gave 2 111 000 A²s
    found = study(name)
    cable = next(r.name for r in found.brief.cables.route if r.carries == "traction")
    told = check(found.coordination, f"cable, {cable} survives the heat over the whole range")
    assert told.demand.number == pytest.approx(most, rel=1e-3)
    assert told.demand.number == pytest.approx(most_heat(found, cable), rel=1e-9)
    assert told.demand.number > 2 * found.coordination.worst_heat.number
    assert "second chassis fault" in told.reason
    item = route(found, cable).item
    assert only(item.checks, SHORT).figure is told.demand
    assert told.demand in found.coordination.item.duty


def test_it_fails_where_one_pole_alone_clears_late(tmp_path):
    # 23 000 A for 0.9 s, 15 ms and the rise: 5.019e8 A²s; 185 mm² stand 3.686e8
    found = study("truck", management__voltage_delay="0.9 s", path__link_section="300 mm²",
                  parts__file=listed(tmp_path, Lyng_500=STRONG))
    told = check(found.coordination, CABLE)
    assert told.verdict == FAIL and OTHER in told.reason
    assert told.demand.number == pytest.approx(5.019e8, rel=1e-3)
    (pair,) = found.coordination.item.candidates
    assert only(pair.checks, told.title).verdict == FAIL
    sized = route(found, "battery to inverter")
    # of the cable that the brief names, not of a larger section that would stand it
    assert only(sized.item.checks, SHORT).verdict == FAIL
    named = next(c for c in sized.item.candidates if c.name == "Vire 185")
    assert only(named.checks, "Let-through of the fuse").verdict == FAIL


def test_a_fault_that_passes_no_cable_asks_nothing_of_it():
    places = {p.key: p.loop for p in study("truck").circuit.places}
    for key in ("box", "terminals", "section", "branch.pre-charge wires.after"):
        assert not places[key].cables
    for key in ("cable.battery to inverter", INLET, "chassis.second.own_side",
                "branch.DC/DC converter.before", "chassis.second.branch.DC/DC converter"):
        assert "battery to inverter" in places[key].cables


# -- a charge cable without a branch ----------------------------------------------------------


def test_a_bare_charge_cable_that_burns_first_is_left_to_nobody():
    # 6 mm² from 90 to 160 °C: 99.88²·6² = 359 200 A²s; at 1800 A 0.15 s and the rise let 488 500
    found = bare()
    (inlet,) = [p for p in found.circuit.places if p.key == INLET]
    assert inlet.loop.own_wire.number == pytest.approx(359.2e3, rel=1e-3)
    assert inlet.between.clears is False and "does not survive" in inlet.between.why
    assert FAIL in [c.verdict for c in inlet.checks]
    sized = route(found, "charge inlet to battery")
    told = only(sized.item.checks, SHORT)
    assert told.verdict == FAIL and "main fuse and main contactors" in told.reason
    assert told.figure.number > 488.5e3
    row = next(r for r in sized.item.specification if r.what == SHORT)
    assert row.value.startswith("main fuse and main contactors")


def test_one_that_stands_it_is_held_to_every_place_of_it():
    found = bare("Vire 25", "Lyng 500")  # breaks what a trip leaves: Lyng 200 is torn open
    told = only(route(found, "charge inlet to battery").item.checks, SHORT)
    assert told.verdict == NOT_EVALUATED and "nobody ends the heat" in told.reason
    # all that is ended, and the 3000 A that a trip would end did the wires not hide them from it
    assert told.figure.number > most_heat(found, "charge inlet to battery")
    assert told.figure.number == pytest.approx(3000.0 ** 2 * 0.5489, rel=1e-3)
    (inlet,) = [p for p in found.circuit.places if p.key == INLET]
    assert not inlet.shown and not inlet.nobody  # a fuse of which nobody spoke may melt before


def test_a_cable_with_a_branch_keeps_its_fuse():
    told = only(route(study("truck"), "charge inlet to battery").item.checks, SHORT)
    # by its fuse, and where that does not stand or does not open yet, by whoever clears there
    assert told.verdict == CAUTION and told.reason.startswith(f"{WHOLE_RANGE}, against one cable; ")
    assert "nobody ends the heat at" in told.reason and "; by main fuse" not in told.reason


# -- where nobody ends the heat ---------------------------------------------------------------


@pytest.mark.parametrize("name", ["cable, battery to inverter survives", "links and bus bars",
                                  "module's own conductors"])
def test_no_conductor_passes_where_nobody_ends_its_heat(name):
    # links of 80 mm² stand 6.385e7 A²s: 81 ms at the 28 060 A that nobody opens
    told = check(study("truck").coordination, f"{name} survive" if "survives" not in name
                 else CABLE)
    assert told.verdict == NOT_EVALUATED and OTHER in told.reason
    assert "nobody clears 28060 A" in told.reason
    assert "from 3000 A to 28060 A nobody ends the heat there" in told.reason


def test_a_conductor_that_fails_stays_a_failure():
    told = check(study("truck", path__link_section="14 mm²").coordination, "links and bus bars")
    assert told.verdict == FAIL


# -- a printed cure counts the sensor's error -------------------------------------------------


def test_a_printed_trip_closes_the_hole_with_the_sensors_error():
    # the fault begins at 700 A and the sensor errs by 25 A: 675 A, not 700 A
    low = dict(low=700.0, contactor=contactor(break_discharge="6000 A", break_charge="6000 A"))
    error = {"sensor_error": f("error", "A", 25.0)}

    def held(setting):
        return coordinate(asked(**low, trips=trips(setting, **error)))

    told = check(held(900.0), "every fault current")
    assert told.verdict == FAIL and "a trip at or below 675.0 A, the sensor's error of 25.00 A " \
        "counted, that has opened it within" in told.remedy
    assert held(676.0).holes and not held(675.0).holes


def test_no_trip_is_a_cure_beyond_what_its_sensor_sees():
    low = dict(low=700.0, contactor=contactor(break_discharge="6000 A", break_charge="6000 A"))
    found = coordinate(asked(**low, trips=trips(
        900.0, sensor_range=f("range", "A", 600.0))))
    told = check(found, "every fault current")
    assert told.verdict in (FAIL, NOT_EVALUATED) and "a trip at or below" not in told.remedy
