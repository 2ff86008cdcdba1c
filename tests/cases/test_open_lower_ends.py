"""A lowest current that is only known at most: no heat or time below it is left out.

Invented examples. Each place is asked twice: with a lowest current that is told, and with one
three times as large of which it is only known that the true one is no more.
"""

from __future__ import annotations

import pytest

from packcalc.clearing import clearing_by
from packcalc.place_contacts import contacts
from packcalc.place_heats import place_heats
from packcalc.protect.branch_figures import at_most
from packcalc.value import replace
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

GRID = 0.95  # of a current: two sweeps look at others


def asked_twice(name):
    """(answers, study, place as told, place with an open lower end)."""
    found = study(name)
    answers = clearing_by(found.coordination, found.brief)
    for place in found.circuit.places:
        low, high = place.loop.lowest, place.loop.highest
        if place.loop.devices and low.known and high.known and 0 < 4 * low.number < high.number:
            open_ = replace(low, value=3.0 * low.value, note=at_most("a length left open"))
            yield answers, found, place, replace(place, loop=replace(place.loop, lowest=open_))


@pytest.mark.parametrize("name", ["van", "truck"])
def test_an_open_lower_end_lets_no_less_heat_through(name):
    more = 0
    for answers, found, told, open_ in asked_twice(name):
        wires = found.coordination.asked.conductors
        for one, other in zip(*(place_heats((p,), answers, wires, 1) for p in (told, open_)),
                              strict=True):
            if one.heat is not None:
                assert other.heat.number >= one.heat.number * GRID ** 2, told.title
                more += one.at.number < open_.loop.lowest.number
    assert more  # the worst lies where only the told one is sure to flow


@pytest.mark.parametrize("name", ["van", "truck"])
def test_a_contact_carries_it_no_shorter_with_an_open_lower_end(name):
    more = 0
    for answers, _, told, open_ in asked_twice(name):
        one, other = (contacts((p,), answers).common for p in (told, open_))
        if one is None:
            continue
        for current, time in zip(one.current, one.time, strict=True):
            assert ((other.current >= current * GRID) & (other.time >= time * 0.999)).any()
            more += current < open_.loop.lowest.number
    assert more
