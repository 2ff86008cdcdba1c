"""Data sheet of a power-factor-correction controller, design example, November 2013, page 30.

Equations 56 and 57: the output capacitor holds 390 V up to no less than 300 V while 360 W
is drawn for 21.28 ms; printed result 247 µF. The same balance of energy, upwards, is a bus
that braking power drives up once a contactor has opened.
"""

import pytest

from tests.published.cases import Printed, check, label

PRINTED = [
    Printed("time_at_power", "pfc-design-example-2013", "eq. 57, solved for the time",
            {"capacitance": 247e-6, "lower": 300.0, "upper": 390.0, "power": 360.0}, 21.28e-3,
            0.5 / 247, "half a unit of the last digit of 247 µF"),
    Printed("fed_voltage", "pfc-design-example-2013", "eq. 57, from 300 V back to 390 V",
            {"start": 300.0, "power": 360.0, "time": 21.28e-3, "capacitance": 247e-6}, 390.0,
            0.5 / 390),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
