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


@pytest.mark.parametrize(("level", "told", "delay", "key"), [
    ("management__trip_current", "420 A", {"management__trip_delay": "0.016 s"}, "terminals"),
    ("management__trip_current", "420 A", {"management__trip_delay": "0.016 s"}, "box"),
    ("strings__trip_current", "350 A", {"strings__trip_delay": "0.016 s"}, "box")])
def test_a_level_that_nobody_told_is_no_better_than_a_bad_one(level, told, delay, key):
    open_, bad = (place(study("minibus", **delay, **{level: one}), key)
                  for one in ("unknown", told))
    assert bad.nobody and open_.nobody
    assert "may act at any current" in open_.between.why


def test_a_contactor_without_levels_is_torn_only_above_what_it_breaks():
    """It was said to trip above the 4000 A that it breaks from 1420 A on."""
    gone = {"management__trip_current": None, "management__undervoltage_trip": None}
    for one in study("van", **gone).circuit.places:
        why = one.between.why if one.between else ""
        low = float(why.partition("from ")[2].split(" A")[0]) if "the contactor trips above the " \
            "4000 A that it breaks" in why and why.count("from ") == 1 else 4000.0
        assert low >= 4000.0 * (1.0 - 1e-3), (one.key, why)


def test_none_of_which_nothing_is_told_is_no_trip():
    gone = {f"management__{name}": "unknown" for name in (
        "trip_current", "trip_delay", "undervoltage_trip", "voltage_delay", "overload_trip",
        "overload_delay")}
    brief = study("minibus", **gone).brief
    assert _trips(brief) is None and _threats(None, None, 0.0) == ()
    for told, seconds, entry in (
            ("trip_delay", 0.016, "trip_current"), ("voltage_delay", 0.06, "undervoltage_trip"),
            ("overload_delay", 5.0, "overload_trip")):
        one = study("minibus", **(gone | {f"management__{told}": f"{seconds} s"})).brief
        (threat,) = _threats(_trips(one), None, 0.0)
        assert (threat.from_current, threat.delay) == (0.0, seconds)
        assert threat.level_open == f"management.{entry}"
