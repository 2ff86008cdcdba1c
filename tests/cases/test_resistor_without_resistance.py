"""A pre-charge resistor of which nobody knows the resistance passes nothing that hangs on it.

A named one whose row is silent, and none at all, were counted as a preferred value: the relay
passed 2.146 A, and the charge 1.480 s. Parts and changes are invented.
"""

from __future__ import annotations

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from tests.cases.studies import study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough
BREAKS = "breaks the current of a failed pre-charge"
ENDS = "pre-charge ends before its timeout in the slow corner"


def verdicts(found):
    return {c.title: c.verdict for item in found.items for c in (
        *item.checks, *(c for one in item.own_parts for c in one.checks))
        if item.key in ("precharge_relay", "switching")}


def test_a_resistance_that_nobody_knows_is_no_better_than_a_small_one(tmp_path):
    # 21.46 A through 22 Ω, of which the relay breaks 15 A; through a preferred value 2.146 A
    paths = [tmp_path / name for name in ("small", "silent")]
    for path in paths:
        path.mkdir()
    small, silent = (study("truck", parts__file=listed(path, Glo_220_large={"resistance": value}))
                     for path, value in zip(paths, ("22 ohm", ""), strict=True))
    unnamed = study("truck", parts__resistor=None)
    assert verdicts(small)[BREAKS] == FAIL
    for found in (silent, unnamed):
        assert verdicts(found)[BREAKS] == NOT_EVALUATED
        assert verdicts(found)[ENDS] == NOT_EVALUATED
    assert verdicts(study("truck"))[BREAKS] == verdicts(study("truck"))[ENDS] == PASS
