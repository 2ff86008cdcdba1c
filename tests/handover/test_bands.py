"""Bands by arithmetic, worked by hand from the tolerances (no printed source: definitions and
the charging law, which is checked against print in tests/published)."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from packcalc.handover import bands
from packcalc.handover.commission import plan_of
from packcalc.handover.figures import SUPPLY, Figures
from packcalc.units import from_si
from tests.handover_cases import NO_BLEED, STRINGS, WITH_LINK, study_of

PARTS = Path(__file__).parents[2] / "examples" / "parts.csv"


def edges(expected):
    return expected.low.number, expected.high.number


def test_share_at_one_time_constant_is_55_to_73_per_cent_for_5_and_20_per_cent() -> None:
    # R ± 5 %, C ± 20 %: 1 − exp(−1/(1.05·1.2)) = 54.8 %; 1 − exp(−1/(0.95·0.8)) = 73.2 %
    found = plan_of(study_of(NO_BLEED)).reading("supply.share_at_one_time_constant")
    low, high = edges(found)
    assert low == pytest.approx(1 - math.exp(-1 / (1.05 * 1.2)), rel=1e-9)
    assert high == pytest.approx(1 - math.exp(-1 / (0.95 * 0.8)), rel=1e-9)
    assert (round(100 * low), round(100 * high)) == (55, 73)


def test_a_discharge_resistor_lowers_the_lower_end_alone() -> None:
    with_bleed = plan_of(study_of(WITH_LINK)).reading("supply.share_at_one_time_constant")
    without = plan_of(study_of(NO_BLEED)).reading("supply.share_at_one_time_constant")
    nominal = Figures(study_of(WITH_LINK)).resistor.number
    r, d, c = 1.05 * nominal, 0.9 * 20e3, 1.2e-3
    by_hand = d / (r + d) * (1 - math.exp(-nominal * 1e-3 / (r * d / (r + d) * c)))
    assert with_bleed.low.number == pytest.approx(by_hand, rel=1e-9)
    assert with_bleed.low.number < without.low.number
    assert with_bleed.high.number == without.high.number


def test_time_constant_and_discharge_by_hand() -> None:
    figures = Figures(study_of(WITH_LINK))
    plan = plan_of(study_of(WITH_LINK))
    r = figures.resistor.number
    low, high = edges(plan.reading("supply.time_constant"))
    parallel = lambda a, b: a * b / (a + b)  # noqa: E731
    assert low == pytest.approx(parallel(0.95 * r, 18e3) * 0.8e-3)
    assert high == pytest.approx(parallel(1.05 * r, 22e3) * 1.2e-3)
    assert edges(plan.reading("supply.discharge_constant")) == pytest.approx((18e3 * 0.8e-3,
                                                                              22e3 * 1.2e-3))


def test_precharge_time_by_hand_with_the_discharge_resistor() -> None:
    figures = Figures(study_of(WITH_LINK))
    r = figures.resistor.number
    low, high = edges(plan_of(study_of(WITH_LINK)).reading("pack.precharge_time"))
    slow, settled = 1.05 * r, 18e3 / (1.05 * r + 18e3)
    assert low == pytest.approx(-0.95 * r * 0.8e-3 * math.log(0.05), rel=1e-9)
    assert high == pytest.approx(
        -slow * 18e3 / (slow + 18e3) * 1.2e-3 * math.log(1 - 0.95 / settled), rel=1e-9)


def test_a_discharge_resistor_that_holds_the_bus_below_the_level_stops_the_design() -> None:
    # 0.09 kΩ of the least discharge resistor against 49 Ω: the bus settles at 65 %
    held = study_of(WITH_LINK.replace('"20 kΩ"', '"0.1 kΩ"')
                    + f'[parts]\nfile = "{PARTS}"\nresistor = "Glo 47"\n')
    found = plan_of(held).reading("pack.precharge_time")
    # the timeout is the longest that a pre-charge may last, whatever the bus does
    assert found.high.number == held.brief.precharge.timeout.number
    assert "below the level" in found.lacking and found.guards
    stage = next(s for s in plan_of(held).stages if s.key == "pack")
    assert stage.steps[0].startswith("STOP, design") and stage.stops == stage.steps[:1]


def test_share_does_not_depend_on_the_supply() -> None:
    assert SUPPLY.number < 60.0
    assert bands.share_of_supply(12.0, 24.0) == bands.share_of_supply(24.0, 48.0)


def test_peak_current_is_supply_over_resistor() -> None:
    r = Figures(study_of()).resistor.number
    assert edges(plan_of(study_of()).reading("supply.peak_current")) == pytest.approx(
        (48 / (1.05 * r), 48 / (0.95 * r)))


def test_end_of_charge_carries_the_chargers_tolerance() -> None:
    study = study_of()
    rest, tolerance = study.pack.rest_full_voltage.number, study.brief.charger.tolerance.number
    assert edges(plan_of(study).reading("charge.end_voltage")) == pytest.approx(
        (rest * (1 - tolerance), rest * (1 + tolerance)))


def test_a_test_resistor_stands_at_the_demand_and_hardly_above() -> None:
    # half the set point, as before, let a monitor pass that acts below what is demanded
    figures = Figures(study_of())
    low, high = figures.test_resistor(figures.isolation)
    assert (low.number, high.number) == pytest.approx(
        (figures.isolation.number, 1.05 * figures.isolation.number))


def test_without_a_capacitance_the_safe_value_counts_and_says_so() -> None:
    plan = plan_of(study_of(WITH_LINK.replace('dc_link_capacitance = "1 mF"\n', "")))
    chain = plan.reading("supply.share_at_one_time_constant").low
    assert "assumed" in chain.grounds()


def test_every_edge_keeps_its_chain_and_low_is_below_high() -> None:
    for study in (study_of(), study_of(STRINGS, "16S2P", "strings")):
        for expected in plan_of(study).expected():
            for edge in expected.edges:
                assert edge.leaves() and edge.unit
                from_si(edge.number, edge.unit)
            if len(expected.edges) == 2:
                assert expected.low.number <= expected.high.number, expected.id


SCALAR_AND_ARRAY = [
    (bands.time_constant, (220.0, 1e-3)), (bands.share_of_supply, (20.0, 48.0)),
    (bands.level_of_settled, (0.95, 0.98)), (bands.lower_voltage, (400.0, 0.01)),
    (bands.outlier_limit, (8e-5, 4e-6, 3.5, 0.6745)), (bands.multiple, (8e-5, 1.5)),
    (bands.change, (0.1, 0.08)), (bands.days_to_limit, (100.0, 0.1, 0.5)),
    (bands.with_room, (2e5, 0.05)), (bands.fall_from_constant, (52.2, 345.0, 60.0)),
    (bands.shorter, (90.0, 0.1)), (bands.longer, (90.0, 0.1)), (bands.sag, (47.0, 34e-3)),
    (bands.relative_uncertainty, (6e-5, 2e-3)), (bands.least_measured, (30e-3, 0.03, 0.9)),
    (bands.largest_measured, (30e-3, 0.03, 1.2)), (bands.share_of_current, (200.0, 0.25)),
]


@pytest.mark.parametrize(("function", "values"), SCALAR_AND_ARRAY,
                         ids=lambda v: getattr(v, "__name__", ""))
def test_scalar_equals_vector(function, values) -> None:
    arrays = function(*(np.array([v, v]) for v in values))
    assert arrays == pytest.approx([function(*values)] * 2)
