"""Every unit spelling against pint (https://pint.readthedocs.io), read from the same definitions.

packcalc multiplies its few definitions out itself, so that pint need not load.
"""

from __future__ import annotations

import functools

import pint
import pytest
from packcalc import units
from packcalc.dimensions import DIMENSIONS, dimension, to_si_number

pytestmark = pytest.mark.oracle
VERSION = f"pint {pint.__version__}"
SPELLINGS = [(kind.name, spelling) for kind in DIMENSIONS.values() for spelling in kind.units]


@pytest.mark.parametrize("name, spelling", SPELLINGS, ids=lambda x: x)
def test_a_spelling_is_what_pint_makes_of_it(name, spelling):
    kind = dimension(name)
    for value in (1.0, -20.0, 0.85, 230.0, 1.2e-3):
        right = units.registry().Quantity(value, kind.units[spelling]).to(kind.si).magnitude
        assert to_si_number(value, kind.units[spelling], kind) == pytest.approx(
            float(right), rel=1e-15), VERSION


@pytest.mark.parametrize("spelling, right", [
    # Our own definitions against those that pint ships.
    ("Ah", "ampere_hour"), ("kWh", "kilowatt_hour"), ("ft", "foot"), ("in", "inch"),
    ("lb", "pound"), ("degF", "degF"), ("min", "minute"), ("uH", "microhenry"),
    ("cal/cm2", "calorie/centimeter**2")])
def test_definitions_are_those_that_pint_ships(spelling, right):
    kind = next(k for k in DIMENSIONS.values() if spelling in k.units)
    shipped = _shipped().Quantity(7.0, right).to_base_units().magnitude
    assert to_si_number(7.0, kind.units[spelling], kind) == pytest.approx(shipped), VERSION


@functools.cache
def _shipped():
    return pint.UnitRegistry()
