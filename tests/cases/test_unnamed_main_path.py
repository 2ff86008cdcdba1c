"""A main fuse, main contactor or string contactor that the brief does not name.

The first pair of the parts list stood in for it at the fault places, and page one read as if it
had been named: naming none was better than naming a worse one.
"""

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.clearing import clearing_by
from packcalc.report.places_report import headline
from tests.cases.studies import study

pytestmark = pytest.mark.thorough
UNNAMED = {
    "fuse": ("truck", {"parts__main_fuse": None}, ("main_fuse",)),
    "contactors": ("truck", {"parts__contactor": None},
                   ("contactors", "pole_contactor", "pole_cell_trip", "wire_cell_trip")),
    "both": ("truck", {"parts__main_fuse": None, "parts__contactor": None},
             ("main_fuse", "contactors")),
    "string contactor": ("minibus", {"parts__string_contactor": None},
                         ("string_contactors", "cell_trip", "bus_cell_trip")),
}


@pytest.fixture(scope="module", params=UNNAMED)
def case(request):
    name, changes, keys = UNNAMED[request.param]
    return study(name, **changes), keys


def test_no_fault_place_counts_on_what_nobody_named(case):
    """At every end of every place the device clears nothing, and says what it would be."""
    found, keys = case
    answers = clearing_by(found.coordination, found.brief, found.circuit.inside_strings)
    asked = [(d, p.loop.highest) for p in found.circuit.places for d in p.loop.devices
             if d.key in keys and p.loop.highest.known]
    told = [answers(d, current) for d, current in asked]
    assert told and not any(clears for clears, _, _ in told)
    assert any("the first of the list, it would be" in why for _, _, why in told)
    names = {d.name for d, _ in asked}
    assert not any(one.clears and one.device in names
                   for p in found.circuit.places for one in p.answers)


def test_page_one_says_who_is_not_named(case):
    found, keys = case
    words = headline(found.circuit.places)
    named = found.brief.parts
    told = words.partition("Not named in the brief, and counted on nowhere: ")[2]
    assert ("main fuse" in told) == (not named.main_fuse)
    assert ("contactors" in told) == (not (
        named.string_contactor if "cell_trip" in keys else named.contactor))


def test_the_pair_of_the_list_is_put_forward_and_passes_nothing(case):
    """Its heat still fails what it fails; a pass of a pair that nobody named shows nothing."""
    found, keys = case
    held = found.circuit.inside_strings if "cell_trip" in keys else found.coordination
    assert "put forward, not named in the brief" in held.item.governing
    for check in held.item.checks:
        if check.title.startswith(("every fault current", "the fuse opens the lowest")) \
                or "survives the heat" in check.title:
            assert check.verdict in (FAIL, NOT_EVALUATED), check.title


def test_conductors_are_not_shown_and_keep_the_figure_asked():
    """The heat asked of cables and links is no less than with the best pair, and passes nothing."""
    whole, bare = study("truck"), study("truck", parts__main_fuse=None, parts__contactor=None)
    cable = whole.coordination.asked.cable_name
    one, other = (next(h for h in found.circuit.heats if h.name == cable)
                  for found in (whole, bare))
    assert other.nobody and one.heat.known and other.heat.known
    survives = [c for c in bare.coordination.item.checks if "survives the heat" in c.title]
    assert survives and not any(c.verdict == PASS for c in survives)


def test_none_is_no_better_than_a_contactor_too_weak():
    """The faulty example breaks 1000 A alone; without a name its places were shown opened."""
    bare = study("faulty", parts__contactor=None)
    weak = {p.title for p in study("faulty").circuit.places if not p.shown}
    assert weak <= {p.title for p in bare.circuit.places if not p.shown}


def test_named_parts_are_counted_on_as_before():
    found = study("truck")
    answers = clearing_by(found.coordination, found.brief)
    assert answers.first is answers and "Not named" not in headline(found.circuit.places)
