"""Laws that the tables of IEC 60664-1 and of gloves keep among their own cells."""

import math
from itertools import pairwise

import pytest

from packcalc import sources
from packcalc.distances import (
    altitude_factor,
    clearance,
    creepage,
    glove_class,
    impulse_voltage,
    reinforced_impulse,
)
from packcalc.errors import OutOfRange
from packcalc.findings import leaf
from packcalc.tables import table

ALL = ("clearance_iec60664", "creepage_iec60664", "impulse_iec60664", "altitude_iec60664",
       "glove_classes")
CREEPAGE = ("pd1_mm", "pd2_group1_mm", "pd2_group2_mm", "pd2_group3_mm", "pd3_group1_mm",
            "pd3_group2_mm", "pd3_group3_mm")
CATEGORIES = ("category1_kV", "category2_kV", "category3_kV", "category4_kV")


def column(name, key):
    return [row[key] for row in table(name).rows]


def volts(value):
    return leaf("highest working voltage", "U", "V", value, "given")


def degree(value):
    return leaf("pollution degree", "PD", "", value, "given")


def height(value):
    return leaf("altitude", "h", "m", value, "given")


@pytest.mark.parametrize("name", ALL)
def test_each_table_names_a_registered_source_and_was_read(name):
    found = table(name)
    assert sources.source(found.source)
    assert {found.row_basis(row) for row in found.rows} == {"read"}


def test_every_row_is_there():
    assert [len(table(name).rows) for name in ALL] == [19, 24, 7, 11, 6]


# -- creepage ---------------------------------------------------------------------------------

def test_creepage_voltages_step_by_the_r10_series():
    for low, high in pairwise(column("creepage_iec60664", "voltage_V")):
        assert 1.2 < high / low < 1.31


@pytest.mark.parametrize("key", CREEPAGE)
def test_creepage_never_falls_with_voltage_and_never_jumps(key):
    for low, high in pairwise(column("creepage_iec60664", key)):
        assert 1.0 <= high / low < 2.2


def test_creepage_grows_with_pollution_and_with_a_weaker_material():
    for row in table("creepage_iec60664").rows:
        assert row["pd1_mm"] < row["pd2_group1_mm"] < row["pd3_group1_mm"]
        for pd in ("pd2", "pd3"):
            groups = [row[f"{pd}_group{n}_mm"] for n in (1, 2, 3)]
            assert groups == sorted(groups)


def test_creepage_is_proportional_to_voltage_from_200_volts_up():
    # group I at pollution degree 2 is U/200 mm, group III twice that, to the rounding of the table
    for row in table("creepage_iec60664").rows:
        if row["voltage_V"] >= 200:
            assert row["pd2_group1_mm"] == pytest.approx(row["voltage_V"] / 200, rel=0.03)
            assert row["pd2_group3_mm"] == pytest.approx(row["voltage_V"] / 100, rel=0.03)
            assert row["pd3_group1_mm"] == pytest.approx(row["voltage_V"] / 80, rel=0.03)
            assert row["pd3_group3_mm"] == pytest.approx(2 * row["pd3_group1_mm"] / 1.6, rel=0.06)


@pytest.mark.parametrize(("value", "expected"), [
    (400.0, 6.3e-3), (399.9, 6.3e-3), (400.1, 8.0e-3), (320.0, 5.0e-3), (10.0, 1.0e-3),
    (5.0, 1.0e-3), (2000.0, 32e-3)])
def test_creepage_takes_the_row_not_below_the_voltage(value, expected):
    assert creepage(volts(value), degree(3), "IIIa").number == pytest.approx(expected)


def test_creepage_above_the_table_is_refused():
    with pytest.raises(OutOfRange, match="voltage_V = 2000.1 is outside the table"):
        creepage(volts(2000.1), degree(2), "I")


def test_group_iiia_and_iiib_share_their_column_and_pollution_degree_1_has_no_groups():
    assert creepage(volts(400), degree(2), "IIIa").number == creepage(
        volts(400), degree(2), "IIIb").number == pytest.approx(4e-3)
    assert creepage(volts(400), degree(1), "I").number == creepage(
        volts(400), degree(1), "IIIb").number == pytest.approx(1e-3)


# -- impulse voltage and clearance ------------------------------------------------------------

def test_impulse_table_rises_by_category_and_by_row():
    for row in table("impulse_iec60664").rows:
        steps = [row[key] for key in CATEGORIES]
        assert steps == sorted(steps) and len(set(steps)) == 4
    for key in CATEGORIES:
        values = column("impulse_iec60664", key)
        assert values == sorted(values) and len(set(values)) == 7


def test_each_category_is_the_next_lower_one_a_row_on():
    rows = table("impulse_iec60664").rows[:6]
    for row, following in pairwise(rows):
        assert [row[k] for k in CATEGORIES[1:]] == [following[k] for k in CATEGORIES[:3]]


@pytest.mark.parametrize(("value", "expected"), [
    (300.0, 4e3), (300.1, 6e3), (299.9, 4e3), (600.0, 6e3), (601.0, 8e3), (1500.0, 10e3)])
def test_impulse_takes_the_row_not_below_the_voltage(value, expected):
    assert impulse_voltage(volts(value), "III").number == pytest.approx(expected)


def test_impulse_above_1500_volts_is_refused():
    with pytest.raises(OutOfRange, match="1500.1 is outside the table"):
        impulse_voltage(volts(1500.1), "II")


def test_every_impulse_voltage_is_a_row_of_the_clearance_table():
    steps = set(column("clearance_iec60664", "impulse_kV"))
    assert {v for key in CATEGORIES for v in column("impulse_iec60664", key)} <= steps


@pytest.mark.parametrize("key", ["pd1_mm", "pd2_mm", "pd3_mm"])
def test_clearance_rises_and_keeps_its_floor(key):
    floor = {"pd1_mm": 0.01, "pd2_mm": 0.2, "pd3_mm": 0.8}[key]
    values = column("clearance_iec60664", key)
    assert values == sorted(values) and min(values) == floor


def test_clearance_is_the_same_for_every_pollution_degree_above_the_floors():
    for row in table("clearance_iec60664").rows:
        assert row["pd2_mm"] == max(row["pd1_mm"], 0.2)
        assert row["pd3_mm"] == max(row["pd1_mm"], 0.8)


def test_clearance_in_air_needs_more_than_one_millimetre_a_kilovolt_above_4_kv():
    # the inhomogeneous field: strength falls as the gap grows
    strength = [row["impulse_kV"] / row["pd1_mm"] for row in table("clearance_iec60664").rows]
    assert all(a > b or math.isclose(a, b) for a, b in pairwise(strength[7:]))


def test_preferred_steps_are_marked():
    assert [r["impulse_kV"] for r in table("clearance_iec60664").rows if r["series"] == 1] == [
        0.33, 0.5, 0.8, 1.5, 2.5, 4.0, 6.0, 8.0, 12.0]


def impulse(kilovolts):
    return leaf("rated impulse voltage", "U_imp", "kV", kilovolts * 1e3, "given")


@pytest.mark.parametrize(("value", "expected"), [
    (0.8, 1.5), (1.5, 2.5),                              # next preferred step, the larger
    (4.0, 6.4), (6.0, 9.6), (8.0, 12.8), (0.33, 0.528),  # 160 %, the larger
    (12.0, 19.2), (10.0, 16.0), (15.0, 24.0)])           # 160 % at the end of and off the series
def test_reinforced_impulse(value, expected):
    assert reinforced_impulse(impulse(value)).number == pytest.approx(expected * 1e3)


def test_reinforced_clearance_goes_by_the_larger_form():
    # 4 kV: next step 6 kV, 5.5 mm; 160 % is 6.4 kV, whose row is that of 8 kV
    basic = clearance(impulse(4.0), degree(2), height(0), "basic")
    reinforced = clearance(reinforced_impulse(impulse(4.0)), degree(2), height(0), "reinforced")
    assert basic.number == pytest.approx(3e-3) and reinforced.number == pytest.approx(8e-3)


def test_clearance_beyond_20_kv_is_refused():
    with pytest.raises(OutOfRange, match="24 is outside the table"):
        clearance(reinforced_impulse(impulse(15.0)), degree(2), height(0), "reinforced")


# -- altitude and gloves ----------------------------------------------------------------------

@pytest.mark.parametrize(("value", "expected"), [
    (0.0, 1.0), (2000.0, 1.0), (2000.1, 1.14), (3000.0, 1.14), (3001.0, 1.29), (6000.0, 1.7)])
def test_altitude_takes_the_row_at_or_above(value, expected):
    assert altitude_factor(height(value)).number == expected


def test_altitude_follows_the_pressure_of_the_standard_atmosphere():
    # ICAO standard atmosphere: p(h) = 101325·(1 − 2.25577e-5·h)^5.25588 Pa up to 11 km
    def pressure(metres):
        return (1 - 2.25577e-5 * metres) ** 5.25588

    for row in table("altitude_iec60664").rows:
        if row["altitude_m"] <= 10000:
            assert row["factor"] == pytest.approx(
                pressure(2000) / pressure(row["altitude_m"]), rel=0.02)


def test_altitude_above_the_table_is_refused():
    with pytest.raises(OutOfRange, match="altitude_m = 20001"):
        altitude_factor(height(20001))


def test_clearance_at_altitude():
    # 6 kV: 5.5 mm; 3500 m takes the row of 4000 m: 1.29 × 5.5 = 7.095 mm
    found = clearance(impulse(6.0), degree(2), height(3500), "clearance")
    assert found.number == pytest.approx(7.095e-3)


def test_glove_voltages_are_one_and_a_half_times_ac_and_rise():
    for row in table("glove_classes").rows:
        assert row["use_dc_V"] == 1.5 * row["use_ac_V"]
        assert row["proof_ac_kV"] * 1e3 > row["use_ac_V"]
        assert row["withstand_ac_kV"] > row["proof_ac_kV"]
    assert column("glove_classes", "use_dc_V") == sorted(column("glove_classes", "use_dc_V"))


@pytest.mark.parametrize(("value", "expected"), [
    (749.9, "class 00 (beige label)"), (750.0, "class 00 (beige label)"),
    (750.1, "class 0 (red label)"), (1500.1, "class 1 (white label)")])
def test_glove_class(value, expected):
    assert glove_class(volts(value))[0] == expected


def test_no_glove_above_class_4():
    with pytest.raises(OutOfRange, match="54000.1"):
        glove_class(volts(54000.1))
