"""Two module types in one pack: what is refused with which reason, and what one type they make."""

from __future__ import annotations

import numpy as np
import pytest
from packcalc import modules as mod
from packcalc.layouts import asks_of
from packcalc.mixes import (
    SideBySide,
    choices,
    shared_limit,
    why_not_in_parallel,
    why_not_in_series,
    with_pairs,
)
from packcalc.study import list_layouts

from tests.briefs import asked, module

OTHER = {"id": "invented-other", "title": "the other"}


def in_series(**changes):
    return asked([module(), module(**{**OTHER, **changes})], mix="series")


def side_by_side(brief_changes=None, **changes):
    return asked([module(), module(**{**OTHER, **changes})], mix="parallel",
                 **(brief_changes or {}))


@pytest.mark.parametrize("changes, reason", [
    ({"peak_current": None}, "the peak current limit of the other is not known"),
    ({"continuous_current": None}, "the continuous current limit of the other is not known"),
    ({"temperature_min": "12 degC"},
     "12.00 °C to 60.00 °C, does not cover 10.00 °C to 40.00 °C"),
    ({"temperature_max": "35 degC"}, "does not cover 10.00 °C to 40.00 °C"),
    ({"state_of_health": "39 %"}, "the weaker has 49 % of the other's real capacity"),
    ({"chemistry": "LTO", "resistance": None, "resistance_1khz": None},
     "rest voltages of the other are not measured"),
])
def test_series_is_refused_with_the_reason(changes, reason):
    brief = in_series(**changes)
    words = why_not_in_series(brief, 0, 1)
    assert words.startswith("invented 12s 100 Ah and the other in series: refused, ")
    assert reason in words
    assert words in list_layouts(brief).refusals


@pytest.mark.parametrize("health", ["40 %", "41 %"])
def test_half_the_real_capacity_is_enough(health):
    assert why_not_in_series(in_series(state_of_health=health), 0, 1) == ""


def test_the_temperature_window_may_end_on_the_coldest_and_hottest():
    assert why_not_in_series(in_series(temperature_min="10 degC", temperature_max="40 degC"),
                             0, 1) == ""


def test_series_keeps_the_weaker_ones_capacity_and_currents():
    brief = in_series(capacity="80 Ah", peak_current="300 A", continuous_current="100 A")
    study = list_layouts(brief)
    asks = asks_of(brief)
    rows = [i for i in range(len(study)) if len(study.layout(i).parts) == 2]
    assert rows
    for i in rows:
        layout, row = study.layout(i), study.row(i)
        assert row["capacity"] == pytest.approx(layout.parallel * 80 * 3600 * 0.8)
        assert asks.peak / asks.demand_voltage <= layout.parallel * 300 * 0.8
        assert asks.continuous / asks.voltage_low <= layout.parallel * 100 * 0.8


@pytest.mark.parametrize("changes, reason", [
    ({"cells_in_series": 10}, "12 and 10 cells in series"),
    ({"chemistry": "LFP"}, "NMC and LFP"),
    ({"full_voltage": "4.1 V"}, "mV per cell, more than 10 mV"),
])
def test_side_by_side_is_refused_with_the_reason(changes, reason):
    brief = side_by_side(**changes)
    words = why_not_in_parallel(brief, 0, 1)
    assert words.startswith("invented 12s 100 Ah and the other in parallel: refused, ")
    assert reason in words
    study = list_layouts(brief)
    assert words in study.refusals
    assert len(study.brief.modules) == 2


@pytest.mark.parametrize("full, matches", [("4.19 V", True), ("4.188 V", False)])
def test_curves_match_up_to_ten_millivolts(full, matches):
    assert (why_not_in_parallel(side_by_side(full_voltage=full), 0, 1) == "") is matches


def combined(**changes):
    brief = with_pairs(side_by_side(**changes))
    assert len(brief.modules) == 3
    return brief.modules[2]


def test_a_matching_pair_counts_as_one_type_with_the_worse_figure_of_each():
    both = combined(capacity="90 Ah", resistance="10 mΩ", resistance_1khz="4.5 mΩ", mass="28 kg",
                    continuous_current="140 A", peak_current="500 A", charge_rate=0.4, count=7,
                    state_of_health="85 %", resistance_growth=1.3, temperature_min="-10 degC",
                    temperature_max="50 degC")
    m = both.module
    assert both.count.number == 27 and both.of == (0, 1)
    assert both.state_of_health.number == 0.80 and both.resistance_growth.number == 1.3
    assert m.capacity.number == 90 * 3600
    assert m.resistance_high.number == 0.010 and m.resistance_low.number == pytest.approx(0.009)
    assert m.resistance_initial.number == pytest.approx(0.0045)
    assert m.mass.number == 28.0
    assert (m.temperature_min.number, m.temperature_max.number) == (263.15, 323.15)
    # The stiffer takes more than its share: limits times 9·1.2 / (10·1.3).
    uneven = 9 * 1.2 / (10 * 1.3)
    assert m.continuous_current.number == pytest.approx(140 * uneven)
    assert m.peak_current.number == pytest.approx(400 * uneven)
    assert m.charge_rate.number == pytest.approx(0.4 * uneven)


def test_equal_types_lose_nothing_side_by_side():
    both, one = combined(), asked().modules[0]
    for name in ("capacity", "resistance_high", "resistance_low", "mass", "peak_current",
                 "continuous_current", "charge_rate", "full_voltage", "empty_voltage"):
        assert getattr(both.module, name).number == pytest.approx(
            getattr(one.module, name).number), name


def test_an_unmeasured_first_millisecond_takes_the_lower_side():
    both = combined(resistance_1khz=None, resistance="6 mΩ")
    # 0.5 of the 10 s value (our rule for the class) is less than the other's 5 mΩ.
    assert both.module.resistance_initial.number == pytest.approx(0.003)
    neither = with_pairs(asked([module(resistance_1khz=None),
                                module(**OTHER, resistance_1khz=None)], mix="parallel"))
    assert not neither.modules[2].module.resistance_initial.known


def test_unknown_limits_stay_unknown_side_by_side():
    assert not combined(peak_current=None).module.peak_current.known


def test_the_pair_carries_its_chain_and_its_curve():
    both = combined(mass="28 kg")
    assert "governed by" in both.module.mass.note
    # the limit of unlike modules is a rule of our own, and ratios of resistance are computed
    assert {f.basis for f in both.module.peak_current.walk()} <= {
        "given", "definition", "assumed", "computed"}
    points = np.linspace(0, 1, 5)
    assert mod.ocv_low(both.module, points) == pytest.approx(
        mod.ocv_low(asked().modules[0].module, points))


def test_the_narrower_temperature_window_of_a_pair_is_a_check_of_its_layouts():
    study = list_layouts(side_by_side(temperature_max="39 degC"))
    assert not {e for i in range(len(study)) for e in [study.layout(i).parts[0].entry]} - {0}
    miss = next(m for m in study.misses if m.layout.parts[0].entry == 2)
    assert "1 K outside what its cells bear (-20 °C to 39 °C)" in miss.fails


def test_pairs_make_layouts_that_neither_type_has_modules_for():
    brief = asked([module(count=9), module(**OTHER, count=9)], mix="parallel")
    study = list_layouts(brief)
    found = {(study.layout(i).label, study.layout(i).parts[0].entry) for i in range(len(study))}
    assert ("8S2P", 2) in found
    assert not {(label, e) for label, e in found if label == "8S2P" and e < 2}
    assert "8S2P" not in {study.layout(i).label for i in range(len(list_layouts(
        asked([module(count=9), module(**OTHER, count=9)]))))}


def test_making_pairs_twice_makes_them_once():
    once = with_pairs(side_by_side())
    assert with_pairs(once) == once
    assert sum(isinstance(m, SideBySide) for m in once.modules) == 1
    assert with_pairs(asked()).modules == asked().modules


def test_without_mixing_each_type_is_tried_alone():
    brief = asked([module(), module(**OTHER)])
    assert choices(brief) == ([(0,), (1,)], [])


def test_three_types_make_three_pairs():
    brief = asked([module(), module(**OTHER), module(id="third", title="third")], mix="series")
    assert choices(brief)[0] == [(0,), (1,), (2,), (0, 1), (0, 2), (1, 2)]


@pytest.mark.parametrize("mix", ["series", "parallel"])
def test_more_types_than_anyone_reads_are_not_combined(mix):
    many = [module(id=f"m{i}", title=f"m{i}") for i in range(13)]
    tried, refusals = choices(with_pairs(asked(many, mix=mix)))
    assert tried == [(i,) for i in range(13)]
    assert "13 types make 78 pairs" in refusals[0]
    assert len(choices(with_pairs(asked(many[:12], mix=mix)))[0]) == 12 + 66


def test_a_type_without_a_curve_is_refused_by_name():
    brief = asked([module(), {"label": "24s 46 Ah LTO", "count": 10}])
    tried, refusals = choices(brief)
    assert tried == [(0,)]
    assert "LTO is used without a bench measurement" in refusals[0]


def test_shared_limit_on_both_sides():
    assert shared_limit(200.0, 0.005, 0.005) == 200.0
    assert shared_limit(np.array([200.0, 100.0]), 0.004, 0.005).tolist() == [160.0, 80.0]
