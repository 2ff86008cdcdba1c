"""Designed corners of one route, each with its arithmetic written out.

Invented route: 3 m one way, a touching pair in air, 50 °C, terminals 85 °C, 125 °C cable,
180 A steady, 400 A for 10 s, IEC 60364-5-52 method F (310 A for 70 mm², 0.277 Ω/km tinned
class 5 after IEC 60228), lowest fault 900 A, one second counted.
"""

import math

import pytest

from packcalc.findings import digits_to_reproduce
from tests.test_cable import sized

ROOT = math.sqrt((85 - 50) / 60)


def test_required_table_current_of_one_and_two_cables():
    one, two = sized().choices
    # Terminals: 180 / √(35/60) = 235.68 A, above 180 / 0.82 = 219.51 A by the insulation.
    assert one.required.number == pytest.approx(235.675, abs=0.001)
    # Two runs: 99 A each, two circuits in the bundle (0.80).
    assert two.required.number == pytest.approx(99.0 / (0.80 * ROOT), rel=1e-12)


def test_capacity_heat_drop_and_withstand_of_seventy_square_millimetres():
    choice = sized().choices[0]
    # Capacity: the smaller of 310 × 0.82 = 254.2 A and 310 × 0.76376 = 236.77 A.
    assert choice.current_capacity.number == pytest.approx(310 * ROOT, rel=1e-12)
    # Loop: 2 × 3 m × 0.277 mΩ/m × (234.5 + 85) / 254.5 = 2.0865 mΩ.
    assert choice.loop_resistance.number == pytest.approx(2.0865e-3, rel=1e-4)
    # Steady 50 + 60 (180/310)² = 70.23 °C; the peak adds 304.73 (e^0.0063931 − 1) = 1.95 K.
    steady = 50 + 60 * (180 / 310) ** 2
    hot = (234.5 + steady) * math.exp(400 ** 2 * 10 / (226 * 70) ** 2) - 234.5
    assert hot == pytest.approx(72.19, abs=0.01)
    # The fuse lets it run at the 85 °C of its terminals, hotter than that: a fault may begin
    # there. k from 85 °C to 160 °C = 103.8 A√s/mm², so 70 mm² takes 52.8e6 A²s.
    k = 226 * math.sqrt(math.log(1 + (160 - 85) / (234.5 + 85)))
    assert choice.withstand.number == pytest.approx((k * 70) ** 2, rel=1e-9)
    assert choice.survivable.number == pytest.approx(k * 70, rel=1e-9)


def test_k_of_a_hot_cable_is_never_the_143_of_the_book():
    choice = sized().choices[0]
    assert choice.withstand.number < 0.64 * (143 * 70) ** 2


def test_printed_chains_recompute_from_what_is_printed():
    result = sized()
    for finding in (result.current_capacity, result.loop_resistance, result.withstand,
                    *result.item.duty):
        for node in finding.walk():
            assert digits_to_reproduce(node) <= 7, node.title
