"""V. K. Mehta, R. Mehta, Principles of Power System, 4th ed., chapter 9: loop inductance."""

import pytest

from tests.published.cases import Printed, check, label

SOURCE = "mehta-power-system"
PRINTED = [
    Printed("two_wire_loop_inductance", SOURCE, "conductors 3 m apart, radius 1 cm",
            {"spacing": 3.0, "radius": 0.01}, 23.8e-7, 0.05 / 23.8),
    # 1 + 4·ln(200/0.6) = 24.2366: the book cuts off after 24.23 instead of rounding.
    Printed("two_wire_loop_inductance", SOURCE, "conductors 2 m apart, diameter 1.2 cm",
            {"spacing": 2.0, "radius": 0.006}, 24.23e-7, 0.01 / 24.23,
            "one unit of the last printed digit: the book cuts off, it does not round"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
