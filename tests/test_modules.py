"""Module types: filled-in figures, bare and traced functions, labels, rest voltages."""

import dataclasses

import numpy as np
import pytest

from packcalc import modules
from packcalc.errors import InputErrors, OutOfRange, UserError
from packcalc.findings import Origin, leaf
from packcalc.modules import read_label
from packcalc.reading.library import module_from_entries, module_from_label, record
from packcalc.units import parse

HERE = Origin("brief.toml", 3, "label")


def module(**entries):
    return module_from_entries(entries, lambda key: Origin("brief.toml", 7, key))


def given(value, unit=""):
    return leaf("x", "x", unit, value, "given")


def test_label_alone_fills_in_from_the_class_and_lists_it():
    found = module_from_label("12s 160 Ah NMC", HERE)
    assert (found.series, found.parallel, found.chemistry) == (12, None, "NMC")
    assert found.capacity.number == parse("160 Ah", "charge")
    assert found.capacity.basis == "given" and found.capacity.origin == HERE
    titles = {f.title for f in found.assumptions}
    assert {"full voltage of a cell", "empty voltage of a cell",
            "largest drop of a cell at 1 C after 10 s",
            "smallest drop of a cell at 1 C after 10 s",
            "energy per mass of a module"} <= titles


def test_label_alone_takes_each_resistance_on_its_safe_side():
    found = module_from_label("12s 160 Ah NMC", HERE)
    assert found.resistance_high.number == pytest.approx(12 * 0.150 / 160)  # sag: largest drop
    assert found.resistance_low.number == pytest.approx(12 * 0.030 / 160)  # fault: smallest
    assert modules.resistance_initial(found) == pytest.approx(12 * 0.030 / 160 * 0.5 * 0.95)


def test_unweighed_module_counts_as_heavy():
    found = module_from_label("12s 160 Ah NMC", HERE)
    assert found.mass.number == pytest.approx(12 * 3.6 * 160 / 105)
    assert found.mass.number > record("nmc-12s-160ah").mass.number


@pytest.mark.parametrize("text,words", [
    ("12s 230 mAh NMC", "did you mean Ah"), ("0s 160 Ah NMC", "not a number of cells in series"),
    ("101s 160 Ah NMC", "expected 1 to 100"), ("12s 2001 Ah NMC", "not plausible"),
    ("12s 160 kWh NMC", "is an energy, not a charge"), ("12s 160 Ah XYZ", "unknown chemistry"),
    ("12s 160 Ah", "is no module label"), ("160 Ah NMC", "is no module label"),
    ("", "is no module label"), ("12s 9**9**9 Ah NMC", "is no module label"),
    ("12s 160 Ah NMC" * 9, "is no module label"), ("12s 16,0 Ah NMC", "comma"),
])
def test_label_that_is_none_gets_one_line(text, words):
    with pytest.raises(InputErrors) as caught:
        module_from_label(text, HERE)
    assert words in str(caught.value) and "\n" not in str(caught.value)
    assert str(caught.value).startswith("brief.toml:3: label:")


@pytest.mark.parametrize("text,series", [("1s 1 Ah NMC", 1), ("100s 2000 Ah LFP", 100),
                                         ("12S, 160Ah, nmc", 12), ("12s2p 160 Ah NMC", 12)])
def test_label_at_its_limits(text, series):
    assert module_from_label(text, HERE).series == series


def test_label_reads_cells_in_parallel():
    assert read_label("12s2p 160 Ah NMC").cells_in_parallel == 2
    with pytest.raises(UserError, match="is no module label"):
        read_label(None)


def test_assignment_fails():
    with pytest.raises(dataclasses.FrozenInstanceError):
        record("nmc-12s-160ah").mass = None


# --- bare against traced --------------------------------------------------------------

@pytest.mark.parametrize("name", ["nmc-12s-160ah", "nca-8s-180ah", "lfp-16s-120ah"])
@pytest.mark.parametrize("soc", [0.0, 0.02, 0.1, 0.3, 0.5, 0.77, 0.97, 1.0])
def test_traced_voltage_equals_the_bare_one(name, soc):
    found = record(name)
    low = modules.traced_ocv_low(found, given(soc, "%"))
    high = modules.traced_ocv_high(found, given(soc, "%"))
    assert low.number == pytest.approx(float(modules.ocv_low(found, soc)), rel=1e-12)
    assert high.number == pytest.approx(float(modules.ocv_high(found, soc)), rel=1e-12)
    assert low.number <= high.number


def test_traced_voltage_names_every_curve_of_the_class():
    low = modules.traced_ocv_low(record("nmc-12s-160ah"), given(0.5, "%"))
    notes = " ".join(f.note for f in low.walk())
    assert all(c.title in notes for c in record("nmc-12s-160ah").cell.curves)


@pytest.mark.parametrize("celsius,soc,pulse,growth", [(25, 0.5, 10, 1.0), (-20, 0.3, 30, 1.3),
                                                      (-7, 0.12, 2, 1.1), (45, 1.0, 60, 1.0),
                                                      (-10, 0.0, 10, 1.0)])
def test_traced_resistance_equals_the_bare_one(celsius, soc, pulse, growth):
    found = record("nmc-12s-160ah")
    chain = modules.traced_resistance(found, given(celsius + 273.15, "°C"), given(soc, "%"),
                                      given(pulse, "s"), given(growth))
    bare = modules.resistance(found, celsius + 273.15, soc, pulse, growth)
    assert chain.number == pytest.approx(float(bare), rel=1e-12)


def test_resistance_in_the_cold_by_hand():
    # 4.8 mΩ at 10 s, 25 °C, 50 %; −10 °C: 5; 40 % charge between 30 % (1) and 50 % (1): 1;
    # 30 s: 1.35; aged: 1.2
    bare = modules.resistance(record("nmc-12s-160ah"), 263.15, 0.40, 30.0, 1.2)
    assert float(bare) == pytest.approx(4.8e-3 * 5 * 1 * 1.35 * 1.2)


def test_peak_fault_never_takes_a_cold_ratio_and_prefers_a_reading():
    found = record("nmc-12s-160ah")
    assert modules.resistance_initial(found) == pytest.approx(2.7e-3 * 0.95)
    slow = module(label="12s 160 Ah NMC", resistance="4.8 mΩ", resistance_pulse="10 s",
                  resistance_temperature="25 degC", resistance_charge="50 %")
    assert modules.resistance_initial(slow) == pytest.approx(4.8e-3 * 0.5 * 0.95)


def test_the_lower_of_two_initial_readings_rules():
    found = module(label="12s 160 Ah NMC", resistance="3.0 mΩ", resistance_pulse="5 ms",
                   resistance_temperature="25 degC", resistance_charge="50 %",
                   resistance_1khz="2.6 mΩ")
    assert modules.resistance_initial(found) == pytest.approx(2.6e-3 * 0.95)


def test_a_resistance_of_unknown_condition_is_widened_both_ways():
    found = module(label="12s 160 Ah NMC", resistance="4.8 mΩ")
    assert found.resistance_low.number < 4.8e-3 < found.resistance_high.number
    assert "pulse length of the resistance" in {f.title for f in found.assumptions}


def test_a_cold_reading_is_brought_to_25_degrees_on_each_safe_side():
    found = module(label="12s 160 Ah NMC", resistance="7.5 mΩ", resistance_pulse="10 s",
                   resistance_temperature="10 degC", resistance_charge="50 %")
    assert found.resistance_high.number == pytest.approx(7.5e-3 / 1.2)
    assert found.resistance_low.number == pytest.approx(7.5e-3 / 1.6)


def test_a_cold_first_drop_is_not_taken_as_the_initial_one():
    words = dict(label="12s 160 Ah NMC", resistance="4.0 mΩ", resistance_pulse="10 ms",
                 resistance_charge="50 %")
    warm = module(**words, resistance_temperature="20 degC")
    cold = module(**words, resistance_temperature="0 degC")
    assert modules.resistance_initial(warm) == pytest.approx(4.0e-3 * 0.95)
    assert not cold.resistance_initial.known
    assert modules.resistance_initial(cold) < 0.5 * modules.resistance_initial(warm)


def test_figures_do_not_depend_on_what_was_asked_before():
    first, second = (module(label="12s 160 Ah NMC") for _ in range(2))
    assert first.energy.known
    assert [f.title for f in first.figures] == [f.title for f in second.figures]


def test_charging_current_follows_the_band():
    found = record("nmc-12s-160ah")  # 160 Ah at 0.5 capacities per hour
    for celsius, ampere in ((-1, 0), (3, 16), (10, 32), (25, 80), (50, 16), (56, 0)):
        bare = modules.charge_current_limit(found, celsius + 273.15)
        chain = modules.traced_charge_current_limit(found, given(celsius + 273.15, "°C"))
        assert float(bare) == pytest.approx(ampere) == pytest.approx(chain.number)


def test_current_limits_may_be_unknown():
    assert modules.peak_current_limit(record("nmc-12s-160ah")) == 480
    bare = module_from_label("12s 160 Ah NMC", HERE)
    assert modules.continuous_current_limit(bare) is None
    assert not bare.peak_current.known


@pytest.mark.parametrize("health,fine", [(0.70, True), (0.699, False), (1.0, True),
                                         (1.001, False)])
def test_growth_only_where_it_was_read(health, fine):
    found = record("nmc-12s-160ah")
    if fine:
        traced = modules.traced_growth(found, given(health, "%"))
        assert traced.number == pytest.approx(1 + found.cell.growth_slope * (1 - health))
        assert {f.source for f in traced.leaves()} >= {"tao-2024"}
    else:
        with pytest.raises(OutOfRange, match="give the resistance growth itself"):
            modules.traced_growth(found, given(health, "%"))


# --- state of charge and class without a curve ------------------------------------------

@pytest.mark.parametrize("soc", [-0.001, 1.001])
def test_state_of_charge_outside_its_range_is_refused(soc):
    with pytest.raises(OutOfRange, match="outside 0 to 100 %"):
        modules.ocv_low(record("nmc-12s-160ah"), soc)


@pytest.mark.parametrize("name", ["lmo-8s-64ah", "lto-24s-46ah"])
def test_lmo_and_lto_demand_a_bench_measurement(name):
    found = record(name)
    assert found.needs_bench
    for function in (modules.ocv_low, modules.ocv_high):
        with pytest.raises(UserError, match="give rest_voltages at three states of charge"):
            function(found, 0.5)


LTO_REST = {"20 %": "2.15 V", "50 %": "2.22 V", "80 %": "2.35 V"}


def test_lto_with_rest_voltages_keeps_its_limits_apart_from_its_rest():
    found = module(label="24s 46 Ah LTO", rest_voltages=LTO_REST)
    assert not found.needs_bench
    assert float(modules.ocv_low(found, 0.5)) == pytest.approx(24 * 2.22)
    assert float(modules.ocv_high(found, 0.5)) == pytest.approx(24 * 2.22)
    assert float(modules.ocv_low(found, 1.0)) == pytest.approx(24 * 2.506)  # end of its rest
    assert float(modules.ocv_high(found, 1.0)) == pytest.approx(24 * 2.85)  # charge limit
    assert float(modules.ocv_low(found, 0.0)) == pytest.approx(24 * 1.80)
    assert float(modules.ocv_high(found, 0.0)) == pytest.approx(24 * 2.07)


def test_rest_voltages_move_every_curve_through_them():
    rest = {"20 %": "3.53 V", "50 %": "3.69 V", "80 %": "4.00 V"}
    found = module(label="12s 160 Ah NMC", rest_voltages=rest)
    for soc, volt in ((0.2, 3.53), (0.5, 3.69), (0.8, 4.00)):
        assert float(modules.ocv_low(found, soc)) == pytest.approx(12 * volt, abs=1e-5)
        assert float(modules.ocv_high(found, soc)) == pytest.approx(12 * volt, abs=1e-5)
    free = module_from_label("12s 160 Ah NMC", HERE)
    spread = modules.ocv_high(free, 0.35) - modules.ocv_low(free, 0.35)
    narrowed = modules.ocv_high(found, 0.35) - modules.ocv_low(found, 0.35)
    assert narrowed < spread
    chain = modules.traced_ocv_low(found, given(0.35, "%"))
    assert chain.number == pytest.approx(float(modules.ocv_low(found, 0.35)), rel=1e-9)
    assert "assumed" in chain.grounds()


@pytest.mark.parametrize("rest,words", [
    ({"20 %": "3.53 V", "50 %": "3.69 V"}, "three states of charge"),
    ({"20 %": "3.53 V", "50 %": "3.50 V", "80 %": "4.0 V"}, "must rise"),
    ({"1 %": "3.53 V", "50 %": "3.69 V", "80 %": "4.0 V"}, "between 3 and 97 %"),
    ({"20 %": "3.53 V", "50 %": "3.69 V", "80 %": "4.3 V"}, "outside the cell's own limits"),
    ({"20 %": "3.22 V", "50 %": "3.29 V", "80 %": "3.33 V"}, "is the chemistry right"),
    ({"20": "3.53 V", "50 %": "3.69 V", "80 %": "4.0 V"}, "no unit"), ("3.7 V", "three states"),
])
def test_rest_voltages_that_do_not_fit(rest, words):
    with pytest.raises(InputErrors, match=words):
        module(label="12s 160 Ah NMC", rest_voltages=rest)


def test_full_voltage_beyond_every_curve_asks_for_rest_voltages():
    assert module(label="12s 160 Ah NMC", full_voltage="4.33 V").full_voltage.number == 4.33
    with pytest.raises(InputErrors, match="no published NMC curve reaches"):
        module(label="12s 160 Ah NMC", full_voltage="4.35 V")
    rest = {"20 %": "3.55 V", "50 %": "3.75 V", "80 %": "4.10 V"}
    found = module(label="12s 160 Ah NMC", full_voltage="4.35 V", rest_voltages=rest)
    assert float(modules.ocv_high(found, 1.0)) == pytest.approx(12 * 4.35)


def test_scalar_equals_vector():
    found = record("lfp-16s-120ah")
    soc = np.array([0.0, 0.1, 0.3, 0.55, 1.0])
    for function in (modules.ocv_low, modules.ocv_high):
        assert function(found, soc) == pytest.approx([float(function(found, s)) for s in soc])
    warm = np.array([255.0, 263.15, 280.0, 298.15, 320.0])
    whole = modules.resistance(found, warm, soc, 10.0, 1.2)
    assert whole == pytest.approx([float(modules.resistance(found, t, s, 10.0, 1.2))
                                   for t, s in zip(warm, soc)])
    assert modules.charge_current_limit(found, warm) == pytest.approx(
        [float(modules.charge_current_limit(found, t)) for t in warm])
