"""A time that a sweep finds names the entries it comes from, each with its file and line.

The invented examples.
"""

from __future__ import annotations

import re

import pytest

from packcalc.findings import Finding
from tests.cases.studies import LAYOUTS, study

AN_ENTRY = re.compile(r"\.(toml|csv):\d+ ")
TIMES = ("time until it is cleared", "time until the arc is cleared", "time to the end of the arc",
         "slowest clearing between the ends", "time until somebody has opened the overload")
HEAT = "largest I²t until the branch's own fuse"


def leaves_in(value, seen):
    """Every leaf anywhere in a study."""
    if id(value) in seen:
        return
    seen[id(value)] = value
    if isinstance(value, Finding):
        yield from value.leaves()
    elif isinstance(value, (tuple, list)):
        for one in value:
            yield from leaves_in(one, seen)
    elif type(value).__module__.startswith("packcalc."):
        for one in vars(value).values():
            yield from leaves_in(one, seen)


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_time_of_a_sweep_names_an_entry(name):
    found = [leaf for leaf in leaves_in(study(name), {})
             if leaf.known and leaf.title in (*TIMES, HEAT)]
    assert len({leaf.title for leaf in found}) >= 2
    assert not {(leaf.title, str(leaf.origin)) for leaf in found
                if not AN_ENTRY.search(str(leaf.origin))}


def test_a_trips_time_names_its_level_its_delay_and_the_contactors_sheet():
    told = {str(leaf.origin) for leaf in leaves_in(study("minibus"), {})
            if leaf.title == TIMES[2] and "undervoltage" in str(leaf.origin)}
    for key in ("management.undervoltage_trip", "management.voltage_delay", "opening_time"):
        assert told and all(key in words for words in told)
