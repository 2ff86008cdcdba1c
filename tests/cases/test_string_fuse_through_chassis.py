"""A string's fuse in a second chassis fault, and the heat where a path's own end is left to nobody.

Invented parts and examples: the figures of their rows are in `examples/parts.csv`. The minibus has
two strings at 843.3 V; Talvik 250 full range and Talvik 20 branch are for 500 V DC.
"""

from __future__ import annotations

import numpy as np
import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.findings import leaf
from packcalc.part_checks.links_beside import Beside, melts_first
from packcalc.part_checks.path_conductors import ENDED_ONLY
from packcalc.part_checks.sweep import fuse_side
from packcalc.part_checks.unbroken import Unbroken
from tests.cases.studies import study
from tests.cases.test_coordination_cases import asked, check, fuse
from tests.cases.test_one_rule_of_melting import listed

WEAK = {"parts__string_fuse": "Talvik 250 full range"}
BOTH = {"path__main_fuse": "both poles"}
SECOND = "survives the heat of a second chassis fault"
RANGE = "survive the heat over the whole range"
MELTS = "string fuse melts before"


# -- the rule of one fuse ---------------------------------------------------------------------


def test_of_any_part_that_counts_at_which_a_fuse_first_melts_unbroken():
    side = fuse_side(fuse(**{"class": "aR", "lowest_breaking_current": "1000 A"}),
                     asked().highest_voltage, asked().time_constant, 1.0)
    found: Unbroken = side.unbroken
    assert found.worst(900.0) == 900.0  # below its lowest breaking current it melts as it is
    assert found.worst(3000.0) == pytest.approx(1000.0) and found.worst(3000.0) < 1000.0
    beyond = 2.0 * found.high  # more than it breaks melts it sooner than any part of it
    assert found.worst(beyond) == beyond
    assert np.isinf(Unbroken(rated=100.0).melts(Unbroken(rated=100.0).worst(5000.0)))


def test_one_that_nobody_named_may_melt_at_any_current():
    """Was no fuse at all: the sweep beside it passed what it does not beside one that fails."""
    unnamed = Beside("string fuse", fuse_side(None, asked().highest_voltage,
                                              asked().time_constant, 1.0),
                     leaf("share", "p", "", 0.5, "given"), (), True, 3)
    assert melts_first(unnamed, 500.0, 0.01) and not melts_first(unnamed, 500.0, np.nan)


def test_in_one_pole_a_string_may_carry_all_up_to_what_the_strings_give():
    held = asked()
    link = Beside("string fuse", fuse_side(
        fuse(breaking_capacity="12 kA"), held.highest_voltage, held.time_constant, 1.0),
        leaf("share", "p", "", 0.5, "given"), (), True, 3)
    highest = leaf("highest", "I", "A", 15000.0, "given")
    one = link.through_one_pole(highest)
    assert link.melts_at(4000.0) == 2000.0 and one.melts_at(4000.0) == 4000.0
    # three strings: two of them push at most two thirds through the fuse of the third
    assert one.melts_at(15000.0) == pytest.approx(10000.0)
    assert not melts_first(one, 15000.0, 1.0)  # 10 kA of the 12 kA that it breaks


# -- whole designs ----------------------------------------------------------------------------


def place(made, key):
    return next(p for p in made.circuit.places if p.key == f"chassis.second.{key}")


def worst(made, key):
    verdicts = [c.verdict for c in place(made, key).checks]
    return next((v for v in (FAIL, NOT_EVALUATED, CAUTION) if v in verdicts), PASS)


# One of which nobody tells the current would leave a caution at the fuse of a branch.
KNOWN = {"motor__short_circuit_current": "100 A", "station__capacitance": "0 mF"}
WIRES = [f"branch.{name}" for name in ("DC/DC converter", "cabin compressor", "floor heater",
                                       "pre-charge wires", "insulation monitor")]


@pytest.mark.thorough
@pytest.mark.parametrize("key", ["fused_pole", *WIRES])
def test_a_string_fuse_that_does_not_break_leaves_a_chassis_loop_to_nobody(key):
    """Main fuses in both poles: the place counted the string's as neither opening nor bursting."""
    assert worst(study("minibus", **BOTH, **KNOWN), key) == PASS
    made = study("minibus", **BOTH, **WEAK)
    assert worst(made, key) == FAIL
    assert any(MELTS in c.reason for c in place(made, key).checks)


@pytest.mark.thorough
@pytest.mark.parametrize("key", WIRES)
def test_so_does_a_small_one_beside_one_main_fuse(key):
    """One main fuse as shipped: the chafed wires passed, with or without a name for it."""
    assert worst(study("minibus", **KNOWN), key) == PASS
    assert worst(study("minibus", parts__string_fuse="Talvik 20 branch"), key) == FAIL
    assert worst(study("minibus", parts__string_fuse=None), key) == NOT_EVALUATED


@pytest.mark.thorough
@pytest.mark.parametrize("stands", ["both poles", "one pole"])
def test_one_that_is_not_named_is_shown_nowhere_and_no_better_than_a_bad_one(stands):
    poles = {"path__main_fuse": stands}
    made = study("minibus", **poles, parts__string_fuse=None)
    assert worst(made, "fused_pole") == NOT_EVALUATED
    assert "parts.string_fuse names none" in place(made, "fused_pole").at_highest.why
    heat = check(made.coordination, SECOND)
    assert heat.verdict == NOT_EVALUATED and "string fuse may melt before" in heat.reason
    assert check(study("minibus", **poles).coordination, SECOND).verdict == PASS


@pytest.mark.thorough
def test_a_string_fuse_in_a_loop_of_chassis_and_pole_stands_in_no_note_as_absent():
    found = place(study("minibus"), "other_pole").loop
    assert "no fuse stands in this loop" not in found.notes
    (own,) = [d for d in found.passed if d.key == "string_fuse"]
    assert own.paths == 2 and own.breaks  # at the loop's own voltages and time constants


@pytest.mark.thorough
def test_a_partial_range_string_fuse_spoils_by_the_part_that_it_carries(tmp_path):
    """Above its lowest breaking current in all, below it in the part that one string may have."""
    rows = listed(tmp_path, Talvik_200_high_voltage={
        "class": "aR", "lowest_breaking_current": "1500 A",
        "fusing_current": ""})
    made = study("minibus", **BOTH, parts__file=rows)
    gaps = place(made, "fused_pole").between
    assert gaps is not None and gaps.clears is False and MELTS in gaps.why
    assert worst(made, "fused_pole") == FAIL


# -- the heat where an end of the own path is left ----------------------------------------------


def found_of(made, key, title):
    item = next(i for i in made.items if i.key == key)
    return next(c for c in item.checks if c.title == title)


@pytest.mark.thorough
def test_no_conductor_holds_where_nobody_ends_a_fault_at_its_own_end():
    """Was a caution, its margin the larger the less of the range anybody ends."""
    made, sound = study("minibus", **WEAK), study("minibus")
    for title, at in (("links and bus bars survive", "across the pack terminals"),
                      ("cable, roof box to rear inverter survives", "far end of the cable")):
        told = check(made.coordination, title)
        assert told.verdict == NOT_EVALUATED and ENDED_ONLY in told.reason and at in told.reason
        # a chassis loop that nobody ends asks more than either stands
        other = check(sound.coordination, title)
        assert other.verdict == NOT_EVALUATED and ENDED_ONLY not in other.reason
    route = "cable.roof box to rear inverter"
    short = found_of(made, route, "Short-circuit protection")
    assert short.verdict == NOT_EVALUATED and "far end of the cable" in short.reason
    assert found_of(sound, route, "Short-circuit protection").verdict == NOT_EVALUATED
    for one in (made, sound):
        item = next(i for i in one.items if i.key == route)
        checks = [c for own in item.candidates for c in own.checks
                  if c.title == "Let-through of the fuse"]
        # below 1.6e8 A²s nothing holds; where the path's own end is left to nobody, nothing at all
        held = {c.verdict for c in checks if one is made or c.figure.number < 1.6e8}
        assert NOT_EVALUATED in held and held <= {NOT_EVALUATED, FAIL}
        # nor does a larger conductor pass
        more = {c.verdict for c in checks if c.figure.number >= 1.6e8}
        assert more and more <= {CAUTION, NOT_EVALUATED, FAIL}


@pytest.mark.thorough
def test_inside_the_strings_the_same_links_are_told_the_same():
    made = study("minibus", **WEAK)
    assert check(made.circuit.inside_strings, f"links and bus bars {RANGE}").verdict \
        == check(made.coordination, f"links and bus bars {RANGE}").verdict == NOT_EVALUATED


@pytest.mark.thorough
def test_a_mid_pack_fuse_that_does_not_break_does_not_leave_a_comfortable_margin():
    """One string: the heat asked of the links fell as the fuse got worse, and a caution stayed."""
    told = check(study("truck", parts__mid_fuse="Brevik 400 general").coordination,
                 f"links and bus bars {RANGE}")
    assert told.verdict == NOT_EVALUATED and ENDED_ONLY in told.reason
