"""Laws that hold for any brief: screening, ranking, and what rises and falls."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from packcalc import electrical as el
from packcalc.layouts import Layout, Part, asks_of, ranked
from packcalc.pack import model_pack
from packcalc.screening import blocks, screen_one
from packcalc.study import list_layouts

from tests.briefs import asked, module

pytestmark = pytest.mark.property
BRIEF = asked()
ASKS = asks_of(BRIEF)

layouts = st.builds(lambda s, p, a: Layout((Part(0, s),), p, a if p > 1 else "grouped"),
                    st.integers(5, 12), st.integers(1, 6), st.sampled_from(["grouped", "strings"]))
powers = st.floats(1e3, 3e5)
kelvins = st.floats(253.15, 298.15)


def figures(layout, **changes):
    row = screen_one(BRIEF, replace(ASKS, **changes), layout)
    return {k: float(v[0]) for k, v in row.columns.items()}


@given(st.floats(10, 1500), st.floats(1e-3, 5), st.floats(0, 1))
def test_the_smaller_root_delivers_the_power(e, r, share):
    power = share * e * e / (4 * r)
    current = float(el.constant_power_current(e, r, power * (1 - 1e-12)))
    assert current * float(el.loaded_voltage(e, current, r)) == pytest.approx(power, rel=1e-6)
    assert current <= e / (2 * r) * (1 + 1e-9)


@given(st.floats(10, 1500), st.floats(10, 1500), st.floats(1e-3, 5))
def test_available_power_is_never_above_the_theoretical_maximum(bus, e, r):
    assert 0 <= float(el.available_power(bus, e, r)) <= e * e / (4 * r) * (1 + 1e-12)


@settings(max_examples=60, deadline=None)
@given(layouts, powers, powers)
def test_more_power_sags_more_and_leaves_less(layout, first, second):
    low, high = sorted((first, second))
    less, more = figures(layout, peak=low), figures(layout, peak=high)
    assert more["charge_left"] <= less["charge_left"]
    if np.isfinite(more["loaded_voltage"]):
        assert more["loaded_voltage"] <= less["loaded_voltage"] + 1e-9
        assert more["peak_current"] >= less["peak_current"] - 1e-9
    assert more["available_power"] <= less["available_power"] * (1 + 1e-12)


@settings(max_examples=60, deadline=None)
@given(layouts, kelvins, kelvins)
def test_colder_cells_sag_more(layout, first, second):
    cold, warm = (figures(layout, coldest=t) for t in sorted((first, second)))
    assert cold["available_power"] <= warm["available_power"] * (1 + 1e-12)
    assert cold["continuous_power"] <= warm["continuous_power"] * (1 + 1e-12)
    if np.isfinite(cold["loaded_voltage"]):
        assert cold["loaded_voltage"] <= warm["loaded_voltage"] + 1e-9
    assert cold["highest_voltage"] >= warm["highest_voltage"] - 1e-9


@settings(max_examples=40, deadline=None)
@given(layouts, st.floats(0.0, 2e5), st.floats(0.0, 2e5), st.booleans())
def test_more_braking_rises_higher_and_never_below_the_full_pack(layout, first, second, follows):
    low, high = (figures(layout, regeneration=p, follows_charge_limit=follows)
                 for p in sorted((first, second)))
    assert low["highest_voltage"] <= high["highest_voltage"] + 1e-9
    assert low["highest_voltage"] >= low["full_voltage"]


@settings(max_examples=30, deadline=None)
@given(layouts, powers, powers)
def test_duties_of_a_fixed_layout_rise_with_power(layout, first, second):
    packs = [model_pack(asked(power__peak=f"{p:.0f} W", power__continuous=f"{p / 2:.0f} W",
                              regeneration__power=f"{p / 3:.0f} W"), layout)
             for p in sorted((first, second))]
    for name in ("peak_current", "continuous_current", "regeneration_current",
                 "module_peak_current", "module_rate", "highest_voltage"):
        less, more = (getattr(p, name).number for p in packs)
        assert less <= more * (1 + 1e-12), name


@settings(max_examples=30, deadline=None)
@given(st.integers(5, 12), st.integers(1, 8), st.sampled_from(["grouped", "strings"]))
def test_one_more_in_parallel_never_sags_more(series, parallel, arrangement):
    # One string alone lacks the main fuse behind the strings, so the first step is left out.
    few, many = (figures(Layout((Part(0, series),), parallel + n, arrangement)) for n in (1, 2))
    assert many["available_power"] >= few["available_power"]
    assert many["usable_energy"] > few["usable_energy"] and many["mass"] > few["mass"]


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 60), st.sampled_from(["either", "grouped", "strings"]), st.integers(1, 30),
       st.integers(1, 30))
def test_every_row_can_be_built_and_stands_once(count, arrangement, most_series, most_parallel):
    brief = asked([module(count=count)], arrangement=arrangement)
    seen = []
    for block in blocks(brief, (0,), asks_of(brief), most_series, most_parallel):
        assert (block.series[:, 0] * block.parallel <= count).all()
        assert block.series.max() <= most_series and block.parallel.max() <= most_parallel
        seen += [(block.layout(i)) for i in range(len(block))]
    assert len(seen) == len(set(seen))
    if arrangement != "either":
        assert all(x.arrangement == arrangement for x in seen if x.parallel > 1)


@settings(max_examples=25, deadline=None)
@given(powers, kelvins, st.floats(200, 330))
def test_every_listed_layout_passes_every_check_and_no_other_does(power, coldest, low):
    changes = {"power__peak": f"{power:.0f} W", "power__continuous": f"{power / 3:.0f} W",
               "battery__coldest_start": f"{coldest - 273.15:.2f} degC",
               "inverter__voltage_range": f"{low:.1f} V to 430 V",
               "inverter__full_power_from": f"{low + 10:.1f} V"}
    brief = asked(**changes)
    study = list_layouts(brief)
    found = next(iter(blocks(brief, (0,), asks_of(brief))))
    assert len(study) == int((found.failures == 0).sum()) == len(ranked(found))
    assert study.tried == len(found)
    for miss in study.misses:
        assert screen_one(brief, asks_of(brief), miss.layout).failures[0] > 0
