"""Two student reports: further checks from weak sources, and two figures that do not reproduce.

No formula rests on them.
"""

import pytest

from packcalc import transients as tr
from tests.published.cases import Printed, check, label

PRINTED = [
    Printed("charging_time", "formula-student-report-2026", "1500 Ω, 0.65 mF, 90 %",
            {"resistance": 1500.0, "capacitance": 0.65e-3, "level": 0.90}, 2.25, 0.005 / 2.25),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)


def test_a_printed_peak_current_that_does_not_reproduce():
    # formula-student-report-2026 prints 0.223 A for 330 V through 750 Ω: half of it
    assert tr.current_at(330.0, 750.0) == pytest.approx(0.44)
    assert tr.current_at(330.0, 750.0) != pytest.approx(0.223, rel=0.05)


def test_a_printed_capacitance_that_does_not_reproduce():
    # capstone-discharge-2025 prints 0.002355569817 F for 102 V to 60 V in 5 s through 400 Ω
    printed = 0.002355569817
    assert tr.discharge_time(400.0, printed, 102.0, 60.0) == pytest.approx(0.5, rel=1e-3)
    assert tr.bleed_resistance(5.0, 10 * printed, 102.0, 60.0) == pytest.approx(400.0, rel=1e-3)
