"""Why a layout fails and what lets it in: every printed change is tried as a new brief."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from packcalc import misses, remedies
from packcalc.layouts import CHECKS, Layout, Part, asks_of
from packcalc.misses import explain
from packcalc.reading.what_if import with_value
from packcalc.remedies import KINDS_OF
from packcalc.screening import screen_one
from packcalc.study import list_layouts

from tests.briefs import asked, examples, module

EIGHT = Layout((Part(0, 8),), 2, "grouped")

ENTRY = {
    "coldest": "battery.coldest_start", "hottest": "battery.hottest", "peak": "power.peak",
    "peak_duration": "power.peak_duration", "continuous": "power.continuous",
    "regeneration": "regeneration.power", "charging": "charger.power",
    "charge_highest": "battery.charge_highest", "charge_lowest": "battery.charge_lowest",
    "energy_least": "battery.energy_least", "energy_most": "battery.energy_most",
    "mass_most": "battery.mass_most", "charger_high": "charger.voltage_high",
    "charger_low": "charger.voltage_low",
}
UNITS = {"°C": ("", 273.15), "kW": (1e3, 0.0), "s": (1.0, 0.0), "kWh": (3.6e6, 0.0),
         "kg": (1.0, 0.0), "V": (1.0, 0.0), "%": (0.01, 0.0)}


def printed_value(words: str) -> float:
    """The last figure with its unit in a change, as a reader would enter it in the brief."""
    number, unit = re.findall(r"(-?\d+(?:\.\d+)?) (°C|kWh|kW|kg|s|V|%)", words)[-1]
    if unit == "°C":
        return float(number) + 273.15
    return float(number) * UNITS[unit][0]


def with_printed(brief, *found):
    for remedy in found:
        brief = with_value(brief, ENTRY[remedy.name], printed_value(remedy.words))
    # What the reading refuses is no remedy.
    assert brief.power.continuous.number <= brief.power.peak.number
    assert brief.battery.coldest_start.number < brief.battery.hottest.number
    assert brief.battery.charge_lowest.number < brief.battery.charge_highest.number
    return brief


def failures(brief, layout):
    return screen_one(brief, asks_of(brief), layout).failed(0)


def every_miss():
    briefs = {**examples(), "invented": asked(), **{
        name: asked(**{key: value}) for name, key, value in (
            ("heavy", "battery__mass_most", "300 kg"), ("small", "battery__energy_most", "10 kWh"),
            ("large", "battery__energy_least", "45 kWh"), ("strong", "power__peak", "150 kW"),
            ("steep", "power__continuous", "60 kW"), ("long", "power__peak_duration", "60 s"),
            ("cold", "battery__coldest_start", "-15 degC"),
            ("brake", "regeneration__power", "300 kW"), ("plug", "charger__power", "60 kW"),
            ("low", "charger__voltage_range", "300 V to 380 V"))}}
    return {name: (brief, list_layouts(brief).misses) for name, brief in briefs.items()}


MISSES = every_miss()


def test_there_are_misses_to_try():
    assert sum(len(found) for _, found in MISSES.values()) >= 60
    assert any(miss.passes for _, found in MISSES.values() for miss in found)
    assert any(miss.together for _, found in MISSES.values() for miss in found)


@pytest.mark.parametrize("name", MISSES)
def test_each_printed_change_lets_the_layout_in(name):
    brief, found = MISSES[name]
    for miss in found:
        assert failures(brief, miss.layout)
        for remedy in miss.passes:
            assert failures(with_printed(brief, remedy), miss.layout) == [], remedy.words


@pytest.mark.parametrize("name", MISSES)
def test_changes_together_let_in_and_none_of_them_is_idle(name):
    brief, found = MISSES[name]
    for miss in found:
        assert not (miss.passes and miss.together)
        if not miss.together:
            continue
        assert failures(with_printed(brief, *miss.together), miss.layout) == []
        for left_out in miss.together:
            rest = [r for r in miss.together if r is not left_out]
            assert failures(with_printed(brief, *rest), miss.layout), left_out.words


@pytest.mark.parametrize("name", MISSES)
def test_a_change_of_one_check_cures_that_check(name):
    brief, found = MISSES[name]
    for miss in found:
        for failure in miss.failures:
            for remedy in failure.alone:
                assert failure.check not in failures(with_printed(brief, remedy), miss.layout)


def _one_step_less(brief, remedy):
    """The printed value next to it, on the side of today's demand."""
    kind = next(k for kinds in KINDS_OF.values() for k in kinds if k.name == remedy.name)
    today = getattr(asks_of(brief), remedy.name)
    return remedy.value - kind.sign * kind.step(today), kind.sign, today


@pytest.mark.parametrize("name", MISSES)
def test_one_printed_step_less_does_not_let_it_in(name):
    brief, found = MISSES[name]
    for miss in found:
        for remedy in miss.passes:
            less, sign, today = _one_step_less(brief, remedy)
            if (less - today) * sign > 0:
                asks = replace(asks_of(brief), **{remedy.name: less})
                assert screen_one(brief, asks, miss.layout).failed(0), remedy.words


@pytest.mark.parametrize("name", MISSES)
def test_each_failure_says_by_how_much(name):
    brief, found = MISSES[name]
    for miss in found:
        assert [f.check for f in miss.failures] == failures(brief, miss.layout)
        for failure in miss.failures:
            assert re.search(r"\d (V|A|K|kW|kWh|kg|Ah) (over|under|short|outside)|at most \d+ kW",
                             failure.fails), failure.fails
            assert not re.search(r"\b(nan|inf)\b|-\d+ %", miss.sentence), miss.sentence


def explained(brief, layout=EIGHT, **changes):
    asks = replace(asks_of(brief), **changes)
    return explain(brief, asks, screen_one(brief, asks, layout), 0)


@pytest.mark.parametrize("changes, words", [
    ({"peak": 2e6}, r"cannot deliver 2000 kW at 10\.? ?°C and 0 % charge left; at most \d+ kW"),
    ({"absolute_maximum": 400.0}, "over the absolute maximum, by braking into a full cold pack"),
    ({"voltage_high": 400.0}, "stands at 407 V when full, 7.2 V over the highest operating"),
    ({"charge_lowest": 0.0}, "runs empty before the peak ends, 0.6 Ah short"),
    ({"peak": 200e3}, r"asks 357.1 A of each module at the peak, 37 A over its limit of 320 A"),
    ({"continuous": 70e3},
     r"asks 134.6 A of each module continuously, 15 A over its limit of 120 A"),
    ({"charging": 60e3}, r"of each module when charging, .* A over its limit of 40 A"),
    ({"mass_most": 300.0}, "weighs 400 kg, 100 kg over"),
    ({"charger_high": 400.0}, "stands at 407 V when full, 7.2 V over the charger's window"),
    ({"charger_low": 300.0}, "stands at 288 V when empty, 12 V under the charger's window"),
    ({"charger_low": 300.0, "charger_high": 400.0}, "full, 7.2 V over and at 288 V when empty"),
])
def test_failures_in_words(changes, words):
    fails = explained(asked(), **changes).fails
    assert re.search(words, fails), fails


def test_a_temperature_outside_the_window_names_window_and_kelvin():
    brief = asked([module(temperature_max="35 degC")])
    miss = explained(brief)
    assert "is used from 10 °C to 40 °C, 5 K outside what its cells bear (-20 °C to 35 °C)" \
        in miss.fails
    assert miss.change == "passes when kept at 35 °C at most"


def test_without_any_remedy_it_says_so():
    miss = explained(asked(), Layout((Part(0, 2),), 2, "grouped"))
    assert miss.change.startswith("no change found that lets it in")


def test_an_open_limit_is_no_remedy():
    assert not [r for r in explained(asked(), peak=2e6).passes if r.name == "mass_most"]
    brief = asked(charger__voltage_range=None)
    assert "charger_window" not in [f.check for f in explained(brief, peak=2e6).failures]


def test_two_types_name_the_charge_limit_of_each():
    pair = [module(), module(id="b", title="b", cells_in_series=4, chemistry="LFP", count=12,
                             resistance="3 mΩ", resistance_1khz="1.7 mΩ", mass="9 kg")]
    brief = asked(pair, mix="series")
    miss = explained(brief, Layout((Part(0, 7), Part(1, 6)), 1, "grouped"), voltage_high=440.0)
    words = next(r.words for f in miss.failures for r in f.alone if r.name == "charge_highest")
    assert re.search(r"lowered to \d\.\d{3} V and \d\.\d{3} V per cell \(\d+\.\d %\)", words)


def test_every_check_has_words_and_an_explanation():
    names = {name for name, _ in CHECKS}
    assert names == set(misses.CHECK_WORDS) == set(misses._EXPLAIN) == set(remedies.KINDS_OF)


@pytest.mark.parametrize("today, values", [
    (110e3, [109e3, 108e3]), (9.95e3, [9.9e3, 9.8e3]), (0.5e3, [0.49e3, 0.48e3])])
def test_powers_are_tried_in_printed_steps(today, values):
    asks = replace(asks_of(asked()), peak=today, continuous=0.1 * today)
    assert remedies._steps(remedies.LESS_PEAK, asks)[:2].tolist() == pytest.approx(values)


def test_a_peak_is_not_lowered_below_continuous_power():
    asks = replace(asks_of(asked()), peak=30e3, continuous=28.5e3)
    assert remedies._steps(remedies.LESS_PEAK, asks).tolist() == pytest.approx([29e3])


def test_temperatures_are_tried_in_whole_degrees():
    asks = replace(asks_of(asked()), coldest=273.15 + 7.4)
    assert remedies._steps(remedies.WARMER, asks)[:2].tolist() == pytest.approx([281.15, 282.15])
    assert len(remedies._steps(remedies.WARMER, replace(asks, coldest=298.15))) == 0
