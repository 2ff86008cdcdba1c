"""A trip of which the delay alone is told is there: from which current on nobody knows.

With its level told the place was left to nobody, or the contactor torn open; without it cleared.
Changes of the minibus are invented.
"""

from __future__ import annotations

import pytest

from packcalc.duties import _trips
from packcalc.part_checks.sweep import _threats
from tests.cases.studies import study

pytestmark = pytest.mark.thorough


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


@pytest.mark.parametrize(("level", "told", "delay"), [
    ("management__trip_current", "420 A", {"management__trip_delay": "0.016 s"}),
    ("strings__trip_current", "350 A", {"strings__trip_delay": "0.016 s"}),
    ("management__undervoltage_trip", "2.7 V", {"management__voltage_delay": "0.016 s"})])
@pytest.mark.parametrize("key", ["terminals", "box"])
def test_a_level_that_nobody_told_is_no_better_than_a_bad_one(level, told, delay, key):
    open_, bad = (place(study("minibus", **delay, **{level: one}), key)
                  for one in ("unknown", told))
    assert not bad.nobody or open_.nobody or not open_.shown
    if level.startswith("management__trip"):
        assert open_.nobody and "may act at any current" in open_.between.why


def test_none_of_which_nothing_is_told_is_no_trip():
    gone = {f"management__{name}": "unknown" for name in (
        "trip_current", "trip_delay", "undervoltage_trip", "voltage_delay", "overload_trip",
        "overload_delay")}
    brief = study("minibus", **gone).brief
    assert _trips(brief) is None and _threats(None, None, 0.0) == ()
    one = study("minibus", **(gone | {"management__trip_delay": "0.016 s"})).brief
    (threat,) = _threats(_trips(one), None, 0.0)
    assert (threat.from_current, threat.delay) == (0.0, 0.016)
    assert threat.level_open == "management.trip_current"
