"""Sharing of paralleled modules: closed forms, a textbook exercise, SPICE and published shares."""

import importlib.util
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.bench import sharing as sh
from packcalc.reading.library import record

ORACLE = Path(__file__).parents[1] / "oracle"


def recorder():
    spec = importlib.util.spec_from_file_location("record_sharing", ORACLE / "record_sharing.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def network(modules, voltage, path=0.0):
    """One group: (capacity Ah, resistance Ω, charge) a module."""
    q, r, z = (np.array(x, dtype=float)[None, :, None] for x in zip(*modules, strict=True))
    return sh.Network(q * 3600, r, z, path, voltage, np.ones_like)


def straight(slope, empty=3.0):
    return lambda z: empty + slope * z


# --- one moment -----------------------------------------------------------------------

def test_two_batteries_of_a_textbook_exercise():
    # two batteries on a bus, 100 V behind 5 Ω and 95 V behind 3 Ω, 80 Ω load; printed answers
    # 1.069 A, 0.115 A, 94.66 V (university exercise as quoted on a public electronics forum)
    load = (100 / 5 + 95 / 3) / (1 / 5 + 1 / 3 + 1 / 80) / 80
    u, i = sh.split(np.array([[100.0, 95.0]]), np.array([[5.0, 3.0]]), load)
    assert u[0] == pytest.approx(94.66, abs=0.005)
    assert i[0] == pytest.approx([1.069, 0.115], abs=0.0008)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.floats(300, 400), st.floats(0.01, 1.0)), min_size=2, max_size=8),
       st.floats(-300, 300))
def test_kirchhoff_holds_for_any_branches(branches, current):
    e, r = (np.array(x)[None, :] for x in zip(*branches, strict=True))
    u, i = sh.split(e, r, current)
    assert i.sum() == pytest.approx(current, abs=1e-6)
    assert (e - i * r) == pytest.approx(np.full_like(e, u[0]), rel=1e-9)


def test_two_branches_agree_with_the_formula():
    u, i = sh.split(np.array([[352.0, 347.0]]), np.array([[0.10, 0.12]]), 150.0)
    assert i[0, 0] == pytest.approx(sh.first_branch_current(352.0, 347.0, 150.0, 0.10, 0.12))
    assert sh.first_branch_current(352.0, 347.0, 0.0, 0.10, 0.12) == pytest.approx(
        sh.equalising_current(5.0, 0.10, 0.12))


# --- through the discharge ------------------------------------------------------------

def test_straight_curve_against_its_closed_form():
    # two batteries on an affine open-circuit voltage (the model of "Parallel-Connected Battery
    # Current Imbalance Dynamics", arXiv 2211.04961): the difference of charge relaxes as
    # Δz(t) = Δz_∞ + (Δz_0 − Δz_∞)·e^(−t/τ), τ = (R1+R2)·Q1·Q2/(α(Q1+Q2)),
    # Δz_∞ = I·(R1·Q1 − R2·Q2)/(α·(Q1+Q2))
    (q1, r1, z1), (q2, r2, z2) = modules = ((50, 1.5e-3, 0.95), (40, 2.2e-3, 0.93))
    alpha, current = 0.9, 90.0
    found = sh.step_through(network(modules, straight(alpha)), current, 2400.0)
    c1, c2 = q1 * 3600.0, q2 * 3600.0
    tau = (r1 + r2) * c1 * c2 / (alpha * (c1 + c2))
    end = current * (r1 * c1 - r2 * c2) / (alpha * (c1 + c2))
    apart = end + (z1 - z2 - end) * np.exp(-found.times / tau)
    assert np.diff(found.charges[:, 0, ::-1, 0], axis=1)[:, 0] == pytest.approx(apart, abs=2e-6)
    first = (alpha * apart + current * r2) / (r1 + r2)
    assert found.currents[:, 0, 0] == pytest.approx(first, rel=1e-4)


def test_fast_branches_settle_without_short_steps():
    # the closed form above long after the first moments: ten thousand time constants in one run;
    # each step asks for the voltage a few times, however fast the branches are
    (q1, r1, z1), (q2, r2, z2) = modules = ((50, 1e-6, 0.95), (40, 2e-6, 0.93))
    asked, line = [0], straight(0.9)

    def counted(z):
        asked[0] += 1
        return line(z)

    found = sh.step_through(network(modules, counted), 10.0, 8000.0)
    apart = 10.0 * (r1 * q1 - r2 * q2) * 3600 / (0.9 * (q1 + q2) * 3600)
    assert found.charges[-1, 0, 0, 0] - found.charges[-1, 0, 1, 0] == pytest.approx(apart, abs=1e-9)
    assert found.currents[-1, 0] == pytest.approx([10 * 5 / 9, 10 * 4 / 9], rel=1e-5)
    assert asked[0] < 10 * sh.STEPS


def test_in_the_long_run_a_straight_curve_shares_by_capacity():
    found = sh.discharge(network(((50, 1.5e-3, 0.95), (40, 1.5e-3, 0.95)), straight(0.9)), 30.0,
                         0.1)
    assert found.shares[-1, 0] == pytest.approx([1.0, 1.0], abs=1e-3)
    assert found.currents[-1, 0] == pytest.approx([30 * 5 / 9, 30 * 4 / 9], rel=1e-3)


def test_equal_products_share_fairly_from_the_first_moment():
    found = sh.discharge(network(((50, 1.6e-3, 0.95), (40, 2.0e-3, 0.95)), straight(0.9)), 90.0,
                         0.1)
    assert found.shares == pytest.approx(np.ones_like(found.shares), abs=1e-9)


@pytest.mark.oracle
@pytest.mark.parametrize("name", sorted(recorder().CASES))
def test_currents_agree_with_spice(name):
    curve, modules, current, times = recorder().CASES[name]
    x, v = (np.array(c) for c in zip(*curve, strict=True))
    wanted = json.loads((ORACLE / "sharing_values.json").read_text("utf-8"))["values"][name]
    found = sh.step_through(network(modules, lambda z: np.interp(z, x, v)), current, max(times),
                            steps=int(max(times)))
    for k, row in enumerate(wanted):
        ours = np.interp(times, found.times, found.currents[:, 0, k])
        assert ours == pytest.approx(row, abs=0.003 * max(current, 30.0))


def test_strings_are_stacks_of_modules():
    q = np.full((1, 2, 3), 50 * 3600.0)
    r = np.array([[[1e-3, 1e-3, 1e-3], [1e-3, 1e-3, 2e-3]]])
    net = sh.Network(q, r, np.full((1, 2, 3), 0.9), 0.0, straight(0.9), np.ones_like)
    found = sh.discharge(net, 100.0, 0.2)
    assert found.currents[0, 0] == pytest.approx([100 * 4 / 7, 100 * 3 / 7])


def test_the_load_on_top_splits_by_conductance():
    found = sh.discharge(network(((50, 1e-3, 0.9), (50, 3e-3, 0.9)), straight(0.9)), 50.0, 0.2)
    more = found.with_peak(0, 40.0)[0] - found.currents[0, 0]
    assert more == pytest.approx([30.0, 10.0])


@pytest.mark.parametrize("id_, r, q, first, low", [
    # measured for a 1C discharge from 95 to 10 % on published curves: a resistance ratio of
    # 1 to 1.2 starts at 54.5 % and then reverses; 50 to 40 Ah starts even and peaks above fair
    ("nmc-6s-240ah", (1.0, 1.2), (240, 240), 0.545, 0.50),
    ("lfp-8s-100ah", (1.0, 1.2), (100, 100), 0.545, 0.50),
])
def test_less_resistance_leads_first_and_follows_later(id_, r, q, first, low):
    from packcalc.bench.together import charge_ratio, middle_voltage

    module = record(id_)
    base = module.resistance_high.number
    values = [np.array(x, dtype=float)[None, :, None] for x in (q, r)]
    net = sh.Network(values[0] * 3600, values[1] * base, np.full((1, 2, 1), 0.95), 0.0,
                     middle_voltage(module), charge_ratio(module))
    found = sh.discharge(net, float(sum(q)), 0.1)
    share = found.currents[:, 0, 0] / found.currents[:, 0].sum(axis=1)
    assert share[0] == pytest.approx(first, abs=0.001)
    assert share.min() < low


def test_joined_modules_move_what_the_slope_says():
    # ΔE·C_eq, C_eq = Q1·Q2/((Q1+Q2)·dU/dz) on a straight curve: half the difference for equals
    found = sh.step_through(network(((50, 1.5e-3, 0.55), (50, 1.5e-3, 0.45)), straight(0.9)), 0.0,
                            20000.0)
    assert found.charges[-1, 0, :, 0] == pytest.approx([0.5, 0.5], abs=1e-6)
    assert found.currents[0, 0, 0] == pytest.approx(
        sh.equalising_current(0.09, 1.5e-3, 1.5e-3))


