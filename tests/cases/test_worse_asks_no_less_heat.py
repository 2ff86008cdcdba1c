"""Currents that nobody ends were left out of the worst heat: a worse part bettered what they heat.

A contactor that breaks less left more of the range to nobody, and conductors and contacts that
failed were cautions. No figure is milder for a worse part: what nobody ends is asked until a
device of the loop would have ended it with a better figure. Invented parts and entries.
"""

from __future__ import annotations

import numpy as np
import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.clearing import clearing_by
from packcalc.part_checks import shown
from packcalc.part_checks.contactor import SLOWER
from packcalc.part_checks.withstand import WITHSTANDS
from packcalc.place_sweep import NOBODY, swept_once
from tests.cases.studies import study
from tests.cases.test_coordination_cases import check, contactor, f
from tests.cases.test_nothing_by_the_unnamed import _of
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough

MODULE = "module's own conductors"


def breaking(tmp_path, amperes, part="Lyng_500", **changes):
    """The truck with one contactor that breaks so much in either direction."""
    return study("truck", parts__file=listed(tmp_path, **{part: {
        "break_discharge": f"{amperes} A", "break_charge": f"{amperes} A"}}), **changes)


def heats(found):
    return {h.name: h.heat.number for h in found.circuit.heats}


@pytest.mark.parametrize(("amperes", "verdict"), [
    (3200, FAIL),           # 3200² A² in 0.549 s: 5.62e6 A²s, more than its 5.255e6
    (3000, NOT_EVALUATED),  # a caution: 3200 A were nobody's, and in no heat
    (2500, NOT_EVALUATED)])
def test_a_contactor_that_breaks_less_betters_no_conductor(tmp_path, amperes, verdict):
    found = breaking(tmp_path, amperes)
    told = check(found.coordination, MODULE)
    assert told.verdict == verdict and "nobody" in told.reason
    assert ("nobody clears 28060 A" in told.reason) is (verdict == NOT_EVALUATED)


@pytest.mark.parametrize("amperes", [3200, 2500])
def test_nor_a_closed_contact(tmp_path, amperes):
    """Of the contactor itself, of the disconnect and of the connectors."""
    found = breaking(tmp_path, amperes)
    told = check(found.coordination, WITHSTANDS)
    assert told.verdict == NOT_EVALUATED and "nobody clears 28060 A of" in told.reason
    assert "show that it carries that for 0.5489 s" in told.reason
    for key in ("disconnect", "connectors"):
        item = next(i for i in found.items if i.key == key)
        told = [c.verdict for one in item.candidates for c in one.checks
                if c.title == "withstands faults until they are cleared"]
        assert told and set(told) <= {FAIL, NOT_EVALUATED}


def test_a_charge_contactor_that_a_trip_tears_open_sooner_heats_its_cable_no_less(tmp_path):
    """It was the heat of 1480 A, and of 900 A: the rest was nobody's."""
    branch = {"charge cable": {"fused_poles": "one"}}
    most, less = (heats(breaking(tmp_path, amperes, "Lyng_200", branch=branch))
                  for amperes in (1600, 1000))
    assert less == most
    assert most["charge inlet to battery"] == pytest.approx(3000.0 ** 2 * 0.5489, rel=1e-3)


def test_what_the_wires_hide_from_the_cells_trip_heats_all_the_same():
    """A lower level sees less of the range: 2.5 V up to 2747 A, of the 3000 A that are broken."""
    levels = [heats(study("truck", pack__fuse_after="unknown", parts__mid_fuse=None,
                          management__undervoltage_trip=f"{level} V")) for level in (2.5, 2.7, 2.8)]
    assert levels[0] == levels[1] == levels[2]


def test_no_current_of_nobody_is_left_out():
    """Each is asked, or a question: what a fuse that counts lets through bounds it alone."""
    found = study("truck")
    answers = clearing_by(found.coordination, found.brief).first
    for loop in (p.loop for p in found.circuit.places
                 if p.loop.devices and p.loop.highest.number > 0.0):
        one = swept_once(answers, loop.from_the_least)
        counts, question = one.nobody_heat
        left = one.code == NOBODY
        assert (np.fmax(counts, question)[left] > 0.0).all()
        assert not question[~left].any()


# -- the breaking test and what is permitted at a lower voltage -------------------------------


@pytest.mark.parametrize(("permitted", "expected"), [
    ("60 V: 6.5 ms; 230 V: 4 ms; 500 V: 2.5 ms", 6.5e-3),
    ("499 V: 50 ms", 2.5e-3),
    ("100 V: 50 ms", 12.5e-3),
    ("100 V: 3 ms", 3e-3)])
def test_below_the_rated_voltage_no_more_energy_is_stored_than_in_the_test(permitted, expected):
    """50 ms permitted one volt below 500 V counted in place of the 2.5 ms of the test at 500 V.

    At the same current τ·U is the same: 2.5 ms · 500 V = 12.5 ms · 100 V.
    """
    part = contactor(break_time_constant="2.5 ms", permitted_time_constant=f'"{permitted}"')
    volts = f("voltage of a loop", "V", 60.0)
    found = shown.tested_constant(part, volts, lower=True)
    assert found.number == pytest.approx(expected, rel=3e-3)
    assert shown.tested_constant(part, volts).number <= 2.5e-3 * (1.0 + 1e-9)


def test_a_slower_loop_passes_on_no_more():
    part = contactor(break_time_constant="0.1 ms", permitted_time_constant='"100 V: 5 ms"')
    assert _of(part, SLOWER).verdict == NOT_EVALUATED  # 2 ms at 90 V; it passed
    part = contactor(break_time_constant="1 ms", permitted_time_constant='"100 V: 5 ms"')
    assert _of(part, SLOWER).verdict == PASS
