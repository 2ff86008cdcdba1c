"""ABYC E-11 current table, 105 °C: 2/0 AWG, three bundled, inside an engine space.

The table prints 330 A for the single conductor outside and 196.4 A for this case, with
0.70 for the bundle and 0.85 for the engine space.
"""

import pytest

from tests.published.cases import Printed, check, label

WHERE = "105 °C, 2/0 AWG, three bundled, inside engine space: 196.4 A of 330 A"

PRINTED = [
    Printed("corrected_current", "abyc-e11", WHERE,
            {"table_current": 330.0, "ambient_factor": 0.85, "grouping_factor": 0.70}, 196.4,
            0.051 / 196.4, "half a unit of the last printed digit; exact 196.35 is rounded up"),
    Printed("required_table_current", "abyc-e11", WHERE + ", read backwards",
            {"current": 196.4, "share": 1.0, "ambient_factor": 0.85, "grouping_factor": 0.70},
            330.0, 0.051 / 196.4, "half a unit of the last digit of 196.4"),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
