"""Currents that are not shown to be ended: their heat, where they begin, and the reason told.

Invented examples with other entries. I²t is 434.5.2 of IEC 60364-4-43; times and curves are
definitions of their own rows, with the arithmetic beside each figure.
"""

from __future__ import annotations

from math import exp, log

import numpy as np
import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, judge
from packcalc.clearing import clearing_by
from packcalc.findings import Origin, leaf
from packcalc.part_checks.path_conductors import ElsewhereHeat, as_placed
from packcalc.part_checks.withstand import WITHSTANDS, Stretch, borne, borne_check
from packcalc.place_sweep import swept_once
from packcalc.reading.parts_list import parts_from_text
from tests.cases.studies import study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough

LINKS = "links and bus bars survive the heat over the whole range"
THIN = {"path__link_section": "12 mm²"}


def links(found):
    return next(c for c in found.coordination.item.checks if c.title == LINKS)


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


# -- the heat of what is not shown ------------------------------------------------------------


def test_thin_links_fail_where_the_cells_trip_ends_the_fault():
    # 2000 A for the trip's 0.4241 s: 1.696e6 A²s over the 1.437e6 A²s of 12 mm²
    told = links(study("minibus", **THIN))
    assert told.verdict == FAIL and told.demand.number == pytest.approx(1.6964e6, rel=1e-4)


def test_a_missing_trip_makes_no_conductor_hold():
    # It was a caution with 1.277e6 A²s: what nobody is shown to end had carried no heat. The trip
    # that is not named might take the whole second that is counted on: 2000² A²s.
    told = links(study("minibus", **THIN, management__undervoltage_trip=None))
    assert told.verdict == NOT_EVALUATED and "nobody clears 18710 A" in told.reason


def test_a_contact_of_more_resistance_makes_no_conductor_hold(tmp_path):
    # With 20 mΩ the cells keep their voltage from 1456 A on, and the trip does not see the fault
    # (it was a caution): what it asks is no less than where the trip does see it.
    stated = links(study("minibus", **THIN))
    told = links(study("minibus", **THIN, parts__file=listed(
        tmp_path, Port_400={"contact_resistance": "20 mΩ"})))
    assert told.verdict == stated.verdict == FAIL
    assert told.demand.number == pytest.approx(stated.demand.number, rel=1e-6)


def test_links_that_stand_it_are_not_held_back():
    # 3.500e8 A²s are asked by 18 710 A for a second, which nobody clears: 190 mm² stand 3.6e8
    told = links(study("minibus", path__link_section="190 mm²",
                       management__undervoltage_trip=None))
    assert told.verdict == CAUTION and "clears" not in told.reason


PLUG = "Klo 500 wide"  # the minibus has none


def test_a_missing_trip_asks_no_less_of_a_connector():
    # its sheet had asked 2000 A for 0.4241 s, and only 1130 A without the trip
    def asked(found):
        row = next(i for i in found.items if i.key == "connectors").specification
        return next(r.value for r in row if r.what == "short-time withstand")

    assert "2000 A for 0.4241 s" in asked(study("minibus", parts__connector=PLUG))
    without = asked(study("minibus", parts__connector=PLUG, management__undervoltage_trip=None))
    assert "18710 A for 1.000 s where nobody clears it" in without


def test_a_cable_is_not_shown_to_stand_what_is_not_shown_to_be_ended():
    # 2000 A for a second are not shown to be ended, and 18 710 A are by nobody: no cable below holds
    found = study("minibus", management__undervoltage_trip=None)
    heat = next(h for h in found.circuit.heats if h.name == found.coordination.asked.cable_name)
    assert heat.unshown.number == pytest.approx(18708.0 ** 2, rel=1e-4)
    answers = clearing_by(found.coordination, found.brief, found.circuit.inside_strings).first
    loops = (p.loop.from_the_least for p in found.circuit.places
             if p.loop.devices and p.loop.lowest.known and heat.name in ("", *p.loop.cables)
             or p.key == "chassis.second.other_pole")
    assert max(swept_once(answers, loop).unshown_heat[1] for loop in loops) == pytest.approx(
        2000.0 ** 2, rel=1e-6)
    route = next(i for i in found.items if i.key == "cable.roof box to rear inverter")
    for one in route.candidates:
        held = next(c for c in one.checks if c.title == "Let-through of the fuse")
        if held.verdict in (PASS, CAUTION):
            assert held.figure.number >= heat.unshown.number


def test_the_figure_alone_decides():
    def held(stands):
        figure = leaf("stands", "I²t", "A²s", stands, "given")
        check = judge("it survives", "fault range", figure, "at least",
                      leaf("asked", "I²t", "A²s", 1.0e6, "given"), reason="worst at 1000 A")
        return as_placed(check, ElsewhereHeat("it", nobody="nobody ends it", unshown=leaf(
            "more", "I²t", "A²s", 4.0e6, "computed", source="packcalc-rule",
            origin=Origin("test"), note="2000 A of 'there'")))

    assert held(0.9e6).verdict == FAIL
    assert held(3.9e6).verdict == NOT_EVALUATED and "2000 A of 'there'" in held(3.9e6).reason
    assert held(4.1e6).verdict == CAUTION


def test_a_closed_contact_passes_nothing_that_it_is_not_shown_to_carry():
    (part,) = parts_from_text("kind,name,short_time\ncontactor,K,0.5 s: 2000 A; 1 s: 1000 A\n",
                              "list").parts

    def stretch(current, time):
        at = np.array([float(current)])
        return Stretch("there", at, at, np.array([time]), lambda _: Origin("test"))

    found = [stretch(900, 0.9)]
    assert borne_check(WITHSTANDS, part, borne(found)).verdict in (PASS, CAUTION)
    more = borne(found, unshown=borne([stretch(2000, 1.0)]))
    told = borne_check(WITHSTANDS, part, more)
    assert told.verdict == NOT_EVALUATED and "2000 A for 1.000 s of 'there'" in told.reason
    assert more.words == "900.0 A for 0.9000 s; 2000 A for 1.000 s where nobody is shown to " \
                         "clear it"
    less = borne(found, unshown=borne([stretch(800, 0.8)]))
    assert borne_check(WITHSTANDS, part, less).verdict in (PASS, CAUTION)
    assert "where nobody" not in less.words


# -- where a span begins ----------------------------------------------------------------------


def full_range():
    return study("minibus", parts__string_fuse="Talvik 250 full range",
                 path__main_fuse="both poles")


def gaps(found):
    return {p.key: p.gaps for p in found.circuit.places if p.gaps}


def test_a_span_of_nobody_begins_at_its_crossing():
    # It began at the next current of a grid of steps of 1.5 %: 1316 A, 1267 A, 1121 A. The fuse
    # melts at 1400 A in 0.1 s and at 975 A in 1 s, and the contactor has opened after `time`.
    def melts(time):
        return 1400.0 * exp(log(0.1 / time) * log(1400.0 / 975.0) / log(10.0))

    found = gaps(full_range())
    for key, time in (("string", 0.1505), ("terminals", 0.2008),
                      ("chassis.second.fused_pole", 0.4241)):
        low = next(g.low for g in found[key] if g.clears is False)
        assert low == pytest.approx(melts(time), rel=1e-3), key


def test_the_same_crossing_reads_the_same_in_every_place():
    # 1314, 1316, 1321 and 1325 A it was, of one fuse and one trip
    found = gaps(full_range())
    told = {g.span.split(" to ")[0] for key in ("box", "string", "string.section",
                                                "chassis.second.strings.fused",
                                                "branch.pre-charge wires.before")
            for g in found[key] if g.clears is False and g.low > 1200.0}
    assert told == {"from 1313 A"}


def test_no_current_lies_between_two_spans_of_one_place():
    # not shown to 1296 A and nobody from 1316 A: by these words somebody cleared 20 A
    open_, nobody = gaps(full_range())["chassis.second.strings.fused"][-2:]
    assert (open_.clears, nobody.clears) == (None, False)
    assert open_.high == pytest.approx(nobody.low, rel=1e-6)


# -- the reason -------------------------------------------------------------------------------


def test_the_reason_is_that_of_the_paths_that_are_not_cleared():
    # From 953 A = 2 · 476.5 A on both strings may feed it, and each fuse sees half. The reason had
    # said that the string fuse clears, by its curve at the whole current.
    found = place(study("minibus", management__undervoltage_trip=None),
                  "chassis.second.fused_pole")
    low, high = found.gaps
    assert high.low == pytest.approx(2.0 * low.low, rel=1e-6)
    assert "by its clearing curve" not in high.why
    assert high.why.startswith("while 2 paths feed it, each its part; ")
    assert "string fuse: below 903.0 A" in high.why and "2 paths" not in low.why
