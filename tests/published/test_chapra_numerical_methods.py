"""Chapra and Canale, Numerical Methods for Engineers, example 18.1 (page 490).

The logarithm of 2 by a straight line: between ln 1 = 0 and ln 6 = 1.791759 it prints
0.3583518, between ln 1 and ln 4 = 1.386294 it prints 0.462098.
"""

import pytest

from tests.published.cases import Printed, check, label

KEY = "chapra-numerical-methods"
E = 2.718281828459045  # the powers of e put the same numbers on a logarithmic axis
WIDE, NARROW = 0.5e-7 / 0.3583518, 0.5e-6 / 0.462098

PRINTED = [
    Printed("curve_voltage", KEY, "example 18.1, from 1 to 6",
            {"charge": 2.0, "charge_below": 1.0, "voltage_below": 0.0, "charge_above": 6.0,
             "voltage_above": 1.791759}, 0.3583518, WIDE),
    Printed("curve_charge", KEY, "example 18.1, from 1 to 6, axes changed over",
            {"voltage": 0.3583518, "voltage_below": 0.0, "charge_below": 1.0,
             "voltage_above": 1.791759, "charge_above": 6.0}, 2.0, WIDE),
    Printed("ratio_between_charges", KEY, "example 18.1, from 1 to 4",
            {"charge": 2.0, "charge_below": 1.0, "ratio_below": 0.0, "charge_above": 4.0,
             "ratio_above": 1.386294}, 0.462098, NARROW),
    Printed("ratio_between_temperatures", KEY, "example 18.1, from 1 to 4",
            {"temperature": 2.0, "temperature_below": 1.0, "ratio_below": 0.0,
             "temperature_above": 4.0, "ratio_above": 1.386294}, 0.462098, NARROW),
    Printed("ratio_between_pulses", KEY, "example 18.1, from 1 to 6 as logarithms of time",
            {"pulse": E ** 2, "pulse_below": E, "ratio_below": 0.0, "pulse_above": E ** 6,
             "ratio_above": 1.791759}, 0.3583518, WIDE),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
