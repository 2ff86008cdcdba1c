"""A string's own conductors against every loop that runs through them, not the others' feed alone.

Invented examples with other sections. Copper from 90 to 160 °C stands k²S², k = 99.88 A√s/mm²
(434.5.2 of IEC 60364-4-43, k by Annex A of IEC 60364-5-54): 1.437e6 A²s at 12 mm².
"""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from packcalc.checks import FAIL, NOT_EVALUATED
from packcalc.clearing import clearing_by
from packcalc.place_sweep import currents_of, heat_over
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from tests.cases.studies import ROOT, study
from tests.cases.test_coordination_cases import check

pytestmark = pytest.mark.thorough

LINKS, CABLES = "links and bus bars survive", "cables inside a string survive"
BOXES = {"path__string_cable_length": "1 m", "path__string_cable_section": "12 mm²"}


def van(section):
    """The van with its modules in strings."""
    path = ROOT / "examples" / "van" / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    data["path"]["link_section"] = section
    data["parts"] |= {  # else nobody ends anything
        "string_contactor": data["parts"]["contactor"], "string_fuse": "Talvik 100 high voltage"}
    return study_protection(brief_from_data(data, str(path)), "", "strings")


def most_heat(found):
    """Largest I²t of any fault place, whoever opens it."""
    answers = clearing_by(found.coordination, found.brief, found.circuit.inside_strings)
    most = 0.0
    for loop in (p.loop for p in found.circuit.places if p.loop.devices and p.loop.lowest.known):
        if 0 < loop.lowest.number < loop.highest.number:
            heat = heat_over(answers, loop, currents_of(answers, loop))
            most = max(most, float(np.nanmax(np.nan_to_num(heat))))
    return most


@pytest.mark.parametrize("made", [lambda s: study("minibus", path__link_section=s), van])
def test_links_of_a_string_are_held_against_every_fault_place(made):
    # 2000 A for 0.424 s in the minibus, 1420 A for 1 s in the van, in a second chassis fault; what
    # the other strings alone push into one is 0.23e6 and 0.09e6 A²s, which 12 mm² bear well
    found = made("12 mm²")
    inside = found.circuit.inside_strings
    told = check(inside, LINKS)
    own = float(np.nanmax(inside.sweep.heat))
    assert told.verdict == FAIL and "second chassis fault" in told.reason
    assert own < told.figure.number < told.demand.number
    assert told.demand.number == pytest.approx(most_heat(found), rel=1e-9)
    assert told.demand.number == check(found.coordination, LINKS).demand.number
    (heat,) = [h for one, h, _ in inside.conductor_heat if one.name == "links and bus bars"]
    assert heat is told.demand and heat in inside.item.duty


def test_a_section_that_bears_all_that_is_ended_is_no_pass_where_nobody_ends_it():
    told = check(study("minibus").circuit.inside_strings, LINKS)
    assert told.verdict == NOT_EVALUATED and told.figure.number >= told.demand.number
    assert "nobody clears 18710 A" in told.reason
    assert "from 2000 A to 18710 A nobody ends the heat there" in told.reason


def test_cables_inside_a_string_are_held_once_and_against_the_same():
    inside = study("minibus", **BOXES).circuit.inside_strings
    told = check(inside, CABLES)
    assert told.verdict == FAIL and "second chassis fault" in told.reason
    # no second line says that their k²S² is not known
    assert sum("cables inside" in c.title and "survive" in c.title
               for c in inside.item.checks) == 1
