"""NFPA 70E-2018, Table 130.7(C)(15)(b): the DC row of 100 V to 250 V below 4 kA.

Two seconds, arc flash boundary 3 ft (where 1.2 cal/cm² are left). The row prints whole feet,
so that the tolerance is wide; its category at 18 in is held as a span.
"""

import pytest

from packcalc.protect.coordination import arc_incident_energy
from tests.published.cases import Printed, check, label

PRINTED = [
    Printed("arc_incident_energy", "nfpa-70e-2018", "250 V, 4 kA, 2 s, boundary 3 ft",
            {"voltage": 250.0, "fault_current": 4000.0, "time": 2.0, "distance": 3 * 0.3048},
            1.2 * 41840.0, 0.05, "the boundary is printed in whole feet"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)


@pytest.mark.published
def test_the_same_row_asks_for_category_2():
    # Category 2 of the row: clothing of 8 cal/cm² or more, above the 4 of category 1; at 18 in.
    energy = arc_incident_energy(250.0, 4000.0, 2.0, 0.4572) / 41840.0
    assert 4.0 < energy <= 8.0
