"""Hayt and Kemmerly, Engineering Circuit Analysis: source-free parallel RLC, three cases.

The printed circuit is the dual of ours: 10 A in 7 H beside R and 1/42 F, peak voltage
printed. Series resistance is 1/R, series inductance 1/42, series capacitance 7, step 10.
The printed figures are remembered, not read; they reproduce to every printed digit.
"""

import pytest

from tests.published.cases import Printed, check, label

KEY = "engineering-circuit-analysis-1993"


def dual(ohms: float) -> dict[str, float]:
    return {"difference": 10.0, "resistance": 1 / ohms, "inductance": 1 / 42, "capacitance": 7.0}


PRINTED = [
    Printed("closing_peak", KEY, "overdamped, 6 Ω", dual(6.0), 48.9, 0.05 / 48.9),
    Printed("closing_peak", KEY, "critically damped, 7√6/2 Ω", dual(7 * 6 ** 0.5 / 2), 63.1,
            0.05 / 63.1),
    Printed("closing_peak", KEY, "underdamped, 10.5 Ω", dual(10.5), 71.8, 0.05 / 71.8),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
