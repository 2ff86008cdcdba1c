"""A fuse in the loop of the charge contactor of which the list is silent may leave all to it.

With 250 V or 16 kA stated the contactor was asked 28060 A; with the cell of the list blank 405 A,
and passed. Parts and changes are invented.
"""

from __future__ import annotations

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from tests.cases.studies import study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough
CLOSED = "closed, it withstands what the fuse lets through"
WITHSTANDS = "closed contactor withstands faults until they are cleared"
LEAVES = "breaks what a trip leaves of a fault beyond it"
MOTOR = {"motor__short_circuit_current": "500 A"}  # a source told: it bursts no fuse


def verdict(found):
    item = next(i for i in found.items if i.key == "charge_contactor")
    return next(c.verdict for c in item.own_parts[0].checks if c.title == LEAVES)


# Too short a time constant is not shown to burst it: that it may is a question too.
@pytest.mark.parametrize("column, stated, bad", [
    ("rated_voltage_dc", "250 V", FAIL), ("breaking_capacity", "16000 A", FAIL),
    ("permitted_time_constant", "500 V: 0.01 ms", NOT_EVALUATED)])
def test_a_blank_cell_is_no_better_than_a_bad_one(tmp_path, column, stated, bad):
    for name, value, expected in (("bad", stated, bad), ("blank", "", NOT_EVALUATED)):
        (tmp_path / name).mkdir()
        found = study("truck", **MOTOR, parts__file=listed(
            tmp_path / name, Talvik_400_full_range={column: value}))
        assert verdict(found) == expected
    assert verdict(study("truck", **MOTOR)) == PASS


def test_what_a_motor_adds_does_not_hide_that_a_lowest_fault_may_be_less():
    # 700 A of a motor lifted what is left above a lowest fault that itself may be less
    for amperes in ("1 A", "700 A", "1150 A"):
        found = study("truck", path__fuse_resistance="unknown",
                      motor__short_circuit_current=amperes)
        assert verdict(found) == NOT_EVALUATED


def test_the_closed_contactor_passes_by_no_fuse_that_a_motor_may_burst():
    # by the 40 A link, which 20 kA of a motor drive above its 50 kA
    branch = {"charge cable": {"fuse_part": "Talvik 40 branch", "fuse_rating": "40 A"}}
    for amperes in ("unknown", "20 kA"):
        found = study("truck", branch=branch, motor__short_circuit_current=amperes)
        item = next(i for i in found.items if i.key == "charge_contactor")
        assert {c.verdict for c in item.own_parts[0].checks
                if c.title in (CLOSED, WITHSTANDS)} == {NOT_EVALUATED}
