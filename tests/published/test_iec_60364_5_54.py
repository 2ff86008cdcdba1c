"""IEC 60364-5-54:2011, Table A.54.4, copper cores, as read in a national translation."""

import pytest

from tests.published.cases import Printed, check, label

ZERO = 273.15


def constant(name, start, end, printed):
    return Printed("adiabatic_constant", "iec-60364-5-54", f"Table A.54.4, {name}",
                   {"start": start + ZERO, "end": end + ZERO}, printed * 1e6, 0.5 / printed)


def end_temperature(name, start, end, printed):
    # One square millimetre carrying k amperes for one second ends at the table's limit.
    rise = 2 * (end + 234.5) * (printed / 226.0) ** 2 * 0.5 / printed
    return Printed("peak_temperature", "iec-60364-5-54", f"Table A.54.4, {name}, end temperature",
                   {"start": start + ZERO, "current": printed, "time": 1.0, "area": 1e-6},
                   end + ZERO, rise / (end + ZERO), "half a unit of the last digit of k")


PRINTED = [
    constant("XLPE or EPR 90 °C", 90.0, 250.0, 143.0),
    constant("PVC 70 °C up to 300 mm²", 70.0, 160.0, 115.0),
    constant("rubber 60 °C", 60.0, 200.0, 141.0),
    end_temperature("XLPE or EPR 90 °C", 90.0, 250.0, 143.0),
    end_temperature("PVC 70 °C up to 300 mm²", 70.0, 160.0, 115.0),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
