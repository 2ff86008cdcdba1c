"""Braking at every charge up to the ceiling, against a dense grid of charges.

What was wrong: braking was counted at the ceiling of charge alone. Cells resist more at some
lower charges (NMC 5 % more at 80 % than at 90 %, nearly empty ones up to three times as much),
and a pack held under a ceiling may brake higher below it. The modules are invented.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from packcalc import electrical as el
from packcalc import modules as mod
from packcalc.braking import Braked, at_charges
from packcalc.layouts import Layout, Part, asks_of
from packcalc.misses import explain
from packcalc.pack import model_pack
from packcalc.screening import charge_limit, screen_one
from packcalc.value import replace

from tests.briefs import asked, module

EIGHT = Layout((Part(0, 8),), 1, "grouped")
COLD = {"battery__coldest_start": "-20 degC", "battery__coldest_closed": "-20 degC",
        "charger__voltage_range": "100 V to 460 V"}
GRID = np.linspace(0.0, 1.0, 4001)


def brief_of(chemistry="NMC", charge=85, watts=50_000, **changes):
    return asked([module(chemistry=chemistry)], battery__charge_highest=f"{charge} %",
                 regeneration__power=f"{watts} W", **(COLD | changes))


def carried_to(module, ceiling, tolerance):
    """Charges above a ceiling to which the charger's tolerance carries the cells, by the laws."""
    most = mod.ocv_high(module, ceiling) * (1.0 + tolerance)
    fine = np.linspace(0.0, 1.0, 2001)
    above = fine[mod.ocv_high(module, fine) > most]
    end = above[0] if above.size else 1.0
    grid = np.union1d(GRID, module.charge_rows)
    return np.append(grid[(grid > ceiling) & (grid < end)], max(end, ceiling))


def at_every_charge(one, kelvin, current=None):
    """Voltage of eight modules at each charge of a grid up to the ceiling, by the bare laws.

    Above it they rest at the voltage at which the charger ends, and resist as they do there.
    """
    asks, on_hand = asks_of(one), one.modules[0]
    grid = np.union1d(GRID, on_hand.module.charge_rows)
    charges = np.concatenate([grid[grid < asks.charge_ceiling], carried_to(
        on_hand.module, asks.charge_ceiling, asks.charger_tolerance), [asks.charge_ceiling]])
    e = 8 * mod.ocv_high(on_hand.module, np.minimum(charges, asks.charge_ceiling)) \
        * (1.0 + asks.charger_tolerance)
    path = asks.cables + asks.string_cables + 9 * asks.link + asks.fuse + 2 * asks.contactor
    r = 8 * mod.resistance(on_hand.module, kelvin, charges, asks.regeneration_duration,
                           on_hand.resistance_growth.number) + path
    free = el.charging_voltage(e, r, asks.regeneration)
    return charges, free if current is None else np.minimum(free, e + current * r)


def braking(one, layout=EIGHT):
    """Braking voltage of the traced pack, which the screening must tell alike."""
    traced = model_pack(one, layout).regeneration_voltage
    row = screen_one(one, asks_of(one), layout).columns
    assert float(row["regeneration_voltage"][0]) == pytest.approx(traced.number, rel=1e-9)
    return traced


CASES = [(chemistry, charge, watts) for chemistry in ("NMC", "NCA", "LFP")
         for charge in (50, 55, 80, 85, 93, 100)
         for watts in (0, 300, 20_000, 50_000, 90_000)]


@pytest.mark.parametrize("chemistry, charge, watts", CASES)
def test_no_charge_up_to_the_ceiling_brakes_higher(chemistry, charge, watts):
    one = brief_of(chemistry, charge, watts)
    _, volts = at_every_charge(one, 253.15)
    assert braking(one).number == pytest.approx(np.max(volts), rel=1e-12)


def test_the_drawn_case_brakes_higher_below_its_ceiling_than_at_it():
    one = brief_of("NMC", 90, 50_000)
    charges, volts = at_every_charge(one, 253.15)
    assert volts[np.searchsorted(charges, 0.85)] > volts[-1] + 0.2  # 0.06 V for 1 % of charge
    found = braking(one)
    assert found.number == pytest.approx(volts[0], rel=1e-12)  # empty: three times the resistance
    assert found.number > volts[-1] + 20.0


def test_the_charge_is_told_where_it_is_not_the_ceiling():
    found = braking(brief_of("NMC", 85, 50_000))
    assert found.title == "braking into a cold pack at 0 % charge"
    assert found.note.startswith("higher than at 85.00 % charge, where charging ends")
    assert "-20.00 °C and 0 % charge" in found.note
    assert any(n.title.startswith("rest voltage at 0 % charge") for n in found.walk())


def test_nothing_is_told_where_it_is_the_ceiling():
    found = braking(brief_of("NMC", 85, 3_000))
    assert found.title == "braking into a full cold pack" and "charge" not in \
        found.note.partition("; or more")[0]


def test_cells_that_the_tolerance_carries_above_the_ceiling_resist_as_they_do_there():
    """The tolerance stood in the rest voltage alone: their resistance was that at the ceiling.

    LFP from 50 % to 80 %: 1.00 to 1.05 of its resistance, and its voltage is flat between.
    """
    exact, found = (braking(brief_of("LFP", 50, 300, charger__tolerance=f"{t} %"))
                    for t in (0, 3))
    at = [next(n for n in one.walk() if n.title.startswith("resistance while braking")).number
          for one in (exact, found)]
    assert at[1] > 1.02 * at[0]
    assert "the charger's tolerance may carry the cells to" in found.note
    assert "tolerance may carry" not in exact.note


def test_an_inverters_limit_that_holds_it_is_not_called_higher():
    found = braking(brief_of("NMC", 85, 50_000, regeneration__voltage_limit="440 V"))
    assert found.number == 440.0 and "higher than" not in found.note


@pytest.mark.parametrize("charge", [50, 55, 85, 100])
@pytest.mark.parametrize("watts", [2_000, 20_000, 60_000])
def test_braking_held_to_the_charge_limit_looks_at_every_charge_and_temperature(charge, watts):
    one = brief_of("NMC", charge, watts, regeneration__follows_charge_limit="yes")
    edges = [253.15, 273.15, 278.15, 288.15]
    most = max(np.max(at_every_charge(one, kelvin, float(charge_limit(
        one.modules[0], kelvin + 1e-6)))[1]) for kelvin in edges)
    assert braking(one).number == pytest.approx(most, rel=1e-9)


def test_a_miss_says_at_which_charge():
    one = brief_of("NMC", 85, 50_000)
    miss = explain(one, asks_of(one), screen_one(one, asks_of(one), EIGHT), 0)
    words = next(f.fails for f in miss.failures if f.check == "highest_voltage")
    assert words.endswith("by braking into a cold pack at 0 % charge")


def test_many_ceilings_temperatures_and_powers_at_once_are_as_one_by_one():
    one = brief_of("NMC", 85, 50_000)
    rows = list(itertools.product((0.2, 0.3, 0.5, 0.85, 1.0), (253.15, 268.15, 283.15),
                                  (1e3, 2e4, 8e4)))
    ceiling, coldest, power = (np.array(column) for column in zip(*rows))
    asks = replace(asks_of(one), charge_ceiling=ceiling, coldest=coldest, regeneration=power)
    many = screen_one(one, asks, EIGHT, len(rows)).columns["regeneration_voltage"]
    for volts, (c, t, p) in zip(many, rows, strict=True):
        alone = replace(asks_of(one), charge_ceiling=c, coldest=t, regeneration=p)
        assert volts == pytest.approx(float(screen_one(one, alone, EIGHT).columns[
            "regeneration_voltage"][0]), rel=1e-12)


def test_two_types_are_each_counted_at_their_own_worst_charge():
    known = {"peak_current": "450 A", "continuous_current": "150 A"}
    one = asked([module(count=4, **known), module(chemistry="LFP", count=4, **known)],
                mix="series", battery__charge_highest="85 %", regeneration__power="30 kW", **COLD)
    layout = Layout((Part(0, 4), Part(1, 4)), 1, "grouped")
    asks = asks_of(one)
    e, r = [], []
    for module_ in (o.module for o in one.modules):
        charges = np.append(module_.charge_rows[module_.charge_rows < 0.85], 0.85)
        e.append(4 * mod.ocv_high(module_, charges) * (1.0 + asks.charger_tolerance))
        r.append(4 * mod.resistance(module_, 253.15, charges, asks.regeneration_duration,
                                    one.modules[0].resistance_growth.number))
    assert one.modules[0].resistance_growth.number == one.modules[1].resistance_growth.number
    path = asks.cables + asks.string_cables + 9 * asks.link + asks.fuse + 2 * asks.contactor
    volts = el.charging_voltage(np.add.outer(*e), np.add.outer(*r) + path, asks.regeneration)
    assert braking(one, layout).number == pytest.approx(np.max(volts), rel=1e-12)


# -- the two statements that the search rests on ------------------------------------------------

def test_rows_are_enough_where_both_run_straight_between_them():
    one = brief_of("LFP", 100, 40_000).modules[0].module
    for low, high in itertools.pairwise(one.charge_rows):
        between = np.linspace(low, high, 9)[1:-1]
        e = mod.ocv_high(one, between)
        ends = np.interp(between, (low, high), mod.ocv_high(one, np.array([low, high])))
        assert np.all(e <= ends + 1e-12)  # a curve that takes over only sags below the line


@pytest.mark.parametrize("chemistry", ["NMC", "NCA", "LFP"])
@pytest.mark.parametrize("ceiling", [0.0, 0.1, 0.3, 0.31, 0.5, 0.85, 1.0])
def test_only_charges_that_are_highest_at_some_current_are_kept(chemistry, ceiling):
    one = brief_of(chemistry).modules[0].module
    kept = at_charges(one, 253.15, ceiling, 0.01, 10.0, 1.2)
    assert kept.takes_over is not None and np.all(np.diff(kept.takes_over) > 0)
    assert len(kept.charge) <= 12
    every = np.concatenate([GRID[GRID < ceiling], one.charge_rows[one.charge_rows < ceiling],
                            [ceiling], carried_to(one, ceiling, 0.01)])
    e = mod.ocv_high(one, np.minimum(every, ceiling)) * 1.01
    r = mod.resistance(one, 253.15, every, 10.0, 1.2)
    for amperes in (0.0, 1.0, *np.geomspace(2.0, 5000.0, 60)):
        at = kept.highest(np.array([amperes]))
        assert kept.rest[at, 0] + amperes * kept.resistance[at, 0] == pytest.approx(
            np.max(e + amperes * r), rel=1e-12)


def test_a_power_held_to_a_current_is_the_lower_of_the_two():
    one = brief_of("NMC", 85).modules[0].module
    few = at_charges(one, 253.15, 0.85, 0.01, 10.0, 1.2)
    amperes = np.geomspace(1.0, 900.0, 40)
    pack = Braked((few,), (np.full(40, 8.0),), np.full(40, 2.0), np.full(40, 0.01))
    free, at_limit = pack.at_power(3e4)[0], pack.at_current(amperes)[0]
    voltage, held = pack.within(np.full(40, 3e4), amperes)
    assert voltage == pytest.approx(np.minimum(free, at_limit), rel=1e-12)
    assert held.any() and not held.all() and np.all(held == (at_limit < free))
