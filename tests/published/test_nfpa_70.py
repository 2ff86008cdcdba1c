"""NFPA 70, National Electrical Code, 2023: Table 310.15(B)(1)(1) and Chapter 9 Table 8."""

import pytest

from tests.published.cases import Printed, check, label

ZERO = 273.15
MM2 = 5.067075e-10  # m² in a circular mil


def factor(column, ambient, printed):
    return Printed("cable_ambient_factor", "nfpa-70",
                   f"Table 310.15(B)(1)(1), {column} °C column, band ending at {ambient} °C",
                   {"limit": column + ZERO, "ambient": ambient + ZERO, "rise": column - 30.0},
                   printed, 0.005 / printed)


def area(gauge, name, circular_mils):
    return Printed("awg_area", "nfpa-70", f"Chapter 9 Table 8, {name} AWG", {"gauge": gauge},
                   circular_mils * MM2, 50.0 / circular_mils)


PRINTED = [factor(60.0, 40.0, 0.82), factor(75.0, 40.0, 0.88), factor(90.0, 50.0, 0.82),
           area(-1.0, "2/0", 133100.0), area(-3.0, "4/0", 211600.0)]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
