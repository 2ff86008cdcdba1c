"""The conductor tables keep their own laws: ambient, resistivity, monotony, neighbours."""

import math
from itertools import pairwise

import pytest

from packcalc import sources
from packcalc.cable_rules import RULES, TOUCHING
from packcalc.conductors import adiabatic_constant, awg_area
from packcalc.findings import BASES
from packcalc.tables import table

ZERO = 273.15
CURRENTS = ("cable_nec_310_16", "cable_nec_310_17", "cable_iec_60364_5_52", "cable_bs_7671_4f2a",
            "cable_din_vde_0298_4", "cable_cfr_183_425")
ALL = (*CURRENTS, "cable_nec_ambient", "cable_nec_grouping", "cable_iec_ambient",
       "cable_iec_grouping", "cable_bs_7671_4f2a_ambient", "cable_din_vde_ambient",
       "cable_cfr_ambient", "cable_abyc_grouping", "cable_k_factors", "conductors_awg",
       "conductors_mm2")


def groups(name):
    rows = table(name).rows
    keys = dict.fromkeys((r["arrangement"], r["insulation_C"]) for r in rows)
    for key in keys:
        yield key, [r for r in rows if (r["arrangement"], r["insulation_C"]) == key]


@pytest.mark.parametrize("name", ALL)
def test_each_table_cites_a_known_source_and_basis(name):
    loaded = table(name)
    assert sources.source(loaded.source).seen
    assert all(loaded.row_basis(row) in BASES for row in loaded.rows)


# NFPA 70 310.15(B), IEC 60364-5-52 B.52.14: rounded to two places, so half a hundredth.
@pytest.mark.parametrize("name, base", [("cable_nec_ambient", 30), ("cable_iec_ambient", 30)])
def test_ambient_factors_are_the_square_root_law_to_rounding(name, base):
    for row in table(name).rows:
        hot = row["insulation_C"]
        law = math.sqrt((hot - row["ambient_C"]) / (hot - base))
        assert abs(row["factor"] - law) <= 0.00501, row


def test_british_factors_are_the_law_of_a_150_degree_conductor_cut_to_two_places():
    # Only 95 °C is rounded up (0.9574 printed 0.96); every other cell is cut.
    for row in table("cable_bs_7671_4f2a_ambient").rows:
        law = math.sqrt((150.0 - row["ambient_C"]) / 60.0)
        above = 0.005 if row["ambient_C"] == 95.0 else 1e-9
        assert -above <= law - row["factor"] < 0.01, row


def test_german_factors_of_the_180_degree_class_are_the_square_root_law():
    for row in table("cable_din_vde_ambient").where(insulation_C=180.0).rows:
        assert abs(row["factor"] - math.sqrt((180.0 - row["ambient_C"]) / 30.0)) <= 0.00501


def test_engine_space_factors_above_the_law_are_never_a_ground():
    for row in table("cable_cfr_ambient").rows:
        hot = row["insulation_C"]
        law = math.sqrt((hot - row["ambient_C"]) / (hot - 30.0))
        if row["factor"] > law + 0.00501:
            assert row["basis"] == "remembered", row


def growth(small, large, step):
    """Bounds of p in I ~ S^p between neighbours whose cells are rounded to `step` amperes."""
    length = math.log(large["area_mm2"] / small["area_mm2"])
    half = step / 2.0
    return (math.log((large["current_A"] - half) / (small["current_A"] + half)) / length,
            math.log((large["current_A"] + half) / (small["current_A"] - half)) / length)


@pytest.mark.parametrize("name", CURRENTS)
def test_current_rises_with_section_as_a_heat_balance_allows(name):
    # Heat balance: I grows as S^0.5 (wide strip) to S^0.75 (thin wire); 0.45 to 0.80 here.
    step = 5.0 if "nec" in name or "cfr" in name else 1.0
    for key, rows in groups(name):
        for small, large in pairwise(sorted(rows, key=lambda r: r["area_mm2"])):
            assert large["current_A"] > small["current_A"] or small["area_mm2"] < 4
            if name == "cable_cfr_183_425" and small["area_mm2"] < 6:
                continue  # 10 AWG and thinner stand below 310.17: set low by rule, not by heat
            low, high = growth(small, large, step)
            assert low <= 0.80 and high >= 0.45, (name, key, small["size"], large["size"])


@pytest.mark.parametrize("name", CURRENTS)
def test_current_never_falls_when_the_class_rises(name):
    rows = table(name).rows
    for a in rows:
        for b in rows:
            if (a["arrangement"], a["size"]) == (b["arrangement"], b["size"]) \
                    and a["insulation_C"] < b["insulation_C"]:
                assert a["current_A"] <= b["current_A"]


@pytest.mark.parametrize("name", ["cable_nec_310_16", "cable_nec_310_17"])
@pytest.mark.parametrize("low, high, ratio", [(60.0, 75.0, 1.195), (75.0, 90.0, 1.128)])
def test_columns_stand_in_the_ratio_of_their_temperatures(name, low, high, ratio):
    # √(ΔT ratio × resistance ratio); 14 and 12 AWG of 310.16 are capped by rule, not heat.
    cells = {(r["size"], r["insulation_C"]): r["current_A"] for r in table(name).rows}
    for size in dict.fromkeys(size for size, _ in cells):
        if name.endswith("16") and size in ("14 AWG", "12 AWG"):
            continue
        assert abs(cells[size, high] / cells[size, low] / ratio - 1.0) <= 0.05, size


def test_ways_of_laying_stand_in_their_order():
    rows = table("cable_iec_60364_5_52").rows
    by = {(r["arrangement"], r["area_mm2"]): r["current_A"] for r in rows}
    for area in sorted({r["area_mm2"] for r in rows if r["area_mm2"] >= 25}):
        assert (by["conduit", area] < by["surface", area] < by["touching in air", area]
                <= by["spaced in air", area])


def test_german_table_stands_at_a_steady_part_of_iec_f():
    touching = {r["area_mm2"]: r["current_A"] for r in
                table("cable_iec_60364_5_52").where(arrangement="touching in air").rows}
    for row in table("cable_din_vde_0298_4").where(insulation_C=90.0).rows:
        if row["area_mm2"] >= 25:
            assert 0.76 <= row["current_A"] / touching[row["area_mm2"]] <= 0.82


def test_every_german_class_prints_the_same_current():
    rows = table("cable_din_vde_0298_4").rows
    for area in {r["area_mm2"] for r in rows}:
        assert len({r["current_A"] for r in rows if r["area_mm2"] == area}) == 1


# BS 7671 Table 4E1A, two touching against spaced horizontal, 25 to 240 mm².
SIDE_BY_SIDE = [(161, 182), (200, 226), (242, 275), (310, 353), (377, 430), (437, 500),
                (504, 577), (575, 661), (679, 781)]


def test_the_touching_factor_is_below_every_printed_ratio():
    assert TOUCHING <= min(touching / spaced for touching, spaced in SIDE_BY_SIDE)
    assert TOUCHING > min(touching / spaced for touching, spaced in SIDE_BY_SIDE) - 0.01


# IEC 60028: 0.017241 Ω·mm²/m. Strand lay and class 5 give 5 to 16 %; 50 mm² class 2 is 12 %.
@pytest.mark.parametrize("column, low, high", [
    ("class2_plain_ohm_per_km", 1.05, 1.09), ("class5_plain_ohm_per_km", 1.10, 1.16)])
def test_metric_resistance_times_section_is_the_resistivity_of_copper(column, low, high):
    for row in table("conductors_mm2").rows:
        ratio = row[column] * row["area_mm2"] / 17.241
        if row["area_mm2"] == 50.0 and column.startswith("class2"):
            assert ratio == pytest.approx(1.122, abs=0.001)
        elif row["area_mm2"] >= 6.0:
            assert low - 0.005 <= ratio <= high + 0.005, (row["size"], ratio)


def test_tinned_strands_resist_a_little_more():
    for row in table("conductors_mm2").rows:
        ratio = row["class5_tinned_ohm_per_km"] / row["class5_plain_ohm_per_km"]
        assert 1.017 <= ratio <= 1.035, row["size"]


def test_awg_resistance_is_copper_with_two_per_cent_lay_at_75_degrees():
    for row in table("conductors_awg").rows:
        law = 10.371 / row["area_cmil"] * 1000.0 * 1.02 * (1.0 + 0.00393 * 55.0)
        assert row["plain_ohm_per_kft"] == pytest.approx(law, rel=0.006), row["size"]
        assert 1.02 <= row["coated_ohm_per_kft"] / row["plain_ohm_per_kft"] <= 1.045, row["size"]


def test_awg_areas_follow_the_gauge_rule_and_the_circular_mil():
    for row in table("conductors_awg").rows:
        assert row["area_mm2"] == pytest.approx(row["area_cmil"] * 5.067075e-4, rel=0.002)
        number, unit = row["size"].split()
        if unit == "AWG":
            zeros = number.removesuffix("/0")
            gauge = 1.0 - float(zeros) if number.endswith("/0") else float(number)
            assert awg_area(gauge) * 1e6 == pytest.approx(row["area_mm2"], rel=0.002)


@pytest.mark.parametrize("name", ["cable_nec_grouping", "cable_iec_grouping",
                                  "cable_abyc_grouping"])
def test_grouping_factors_begin_at_one_and_fall(name):
    rows = table(name).rows
    assert rows[0]["factor"] == 1.0
    for few, many in pairwise(rows):
        assert few["count_max"] < many["count_max"] and few["factor"] > many["factor"]


def test_k_factors_are_the_formula_within_half_a_unit():
    for row in table("cable_k_factors").rows:
        k = adiabatic_constant(row["initial_C"] + ZERO, row["final_C"] + ZERO) / 1e6
        assert abs(k - row["k_ampere_root_second_per_mm2"]) <= 0.51, row


def test_every_section_has_a_resistance_and_every_class_an_ambient_row():
    for rule in RULES.values():
        made = {r["size"] for r in table(rule.conductors).rows}
        for use in rule.tables:
            hot = round(use.insulation - ZERO, 6)
            rows = table(use.currents).where(arrangement=use.arrangement, insulation_C=hot).rows
            assert rows and {r["size"] for r in rows} <= made
            assert table(use.ambients).where(insulation_C=hot).rows
