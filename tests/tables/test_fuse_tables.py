"""Laws that the fuse tables keep among their own cells."""

import math

import pytest

from packcalc.tables import table

GATES = ("imin_10s_A", "imax_5s_A", "imin_0p1s_A", "imax_0p1s_A")


def column(name, key):
    return [row[key] for row in table(name).rows]


@pytest.mark.parametrize("name", ["fuse_currents", "gg_gates", "gg_prearcing"])
def test_the_three_tables_hold_the_same_ratings(name):
    assert column(name, "current_A") == column("fuse_currents", "current_A")


def test_ratings_rise_by_the_steps_of_the_series():
    ratings = column("fuse_currents", "current_A")
    assert len(ratings) == 20
    for small, large in zip(ratings, ratings[1:]):
        assert 1.22 < large / small < 1.31


def test_gate_upper_bound_is_the_lower_bound_two_ratings_up():
    rows = table("gg_gates").rows
    pairs = list(zip(rows, rows[2:]))
    assert len(pairs) == 18
    for row, two_up in pairs:
        assert row["imax_0p1s_A"] == two_up["imin_0p1s_A"]


@pytest.mark.parametrize("gate", GATES)
def test_gates_rise_with_the_rating_by_no_more_than_a_half(gate):
    values = column("gg_gates", gate)
    for small, large in zip(values, values[1:]):
        assert 1.15 < large / small < 1.6


def test_gates_of_one_rating_are_in_order():
    for row in table("gg_gates").rows:
        assert row["current_A"] * 1.25 < row["imin_10s_A"] < row["imax_5s_A"]
        assert row["imax_5s_A"] < row["imax_0p1s_A"]
        assert row["imin_10s_A"] < row["imin_0p1s_A"] < row["imax_0p1s_A"]


def test_prearcing_upper_bound_is_the_lower_bound_two_ratings_up_but_twice():
    rows = table("gg_prearcing").rows
    odd = [row["current_A"] for row, up in zip(rows, rows[2:])
           if row["i2t_max_A2s"] != up["i2t_min_A2s"]]
    assert odd == [630.0, 800.0]  # differ in the standard as printed


@pytest.mark.parametrize("key", ["i2t_min_A2s", "i2t_max_A2s"])
def test_prearcing_limits_rise(key):
    values = column("gg_prearcing", key)
    assert values == sorted(values) and len(set(values)) == len(values)


def test_prearcing_current_at_10_ms_lies_above_the_gate_at_100_ms():
    for heat, gate in zip(table("gg_prearcing").rows, table("gg_gates").rows):
        assert math.sqrt(heat["i2t_min_A2s"] / 0.01) > gate["imin_0p1s_A"]
        assert math.sqrt(heat["i2t_max_A2s"] / 0.01) > gate["imax_0p1s_A"]


def test_the_largest_prearcing_minimum_is_the_printed_one():
    assert table("gg_prearcing").rows[-1]["i2t_min_A2s"] == 13700.0 * 1000  # not 13 690


def test_gates_are_never_more_than_remembered_and_consistent():
    gates = table("gg_gates")
    assert {gates.row_basis(row) for row in gates.rows} == {"remembered, consistent"}


def test_conventional_currents_shrink_and_times_grow_with_the_rating():
    rows = table("gg_conventional").rows
    for key in ("non_fusing_ratio", "fusing_ratio"):
        values = [row[key] for row in rows]
        assert values == sorted(values, reverse=True)
        assert all(value > 1.0 for value in values)
    assert [row["time_h"] for row in rows] == sorted(row["time_h"] for row in rows)
    assert all(row["fusing_ratio"] > row["non_fusing_ratio"] for row in rows)
    assert rows[-1]["current_to_A"] == table("fuse_currents").rows[-1]["current_A"]


def test_share_of_melting_current_falls_with_the_number_of_cycles():
    rows = table("fuse_cyclic").rows
    assert [row["cycles_n"] for row in rows] == sorted(row["cycles_n"] for row in rows)
    shares = [row["share_ratio"] for row in rows]
    assert shares == sorted(shares, reverse=True) and len(set(shares)) == len(shares)
    assert all(0.0 < share < 1.0 for share in shares)


def test_cyclic_shares_are_the_lower_of_the_two_published_rules():
    # Pulse chart of a fuse maker: share of melting I²t after 1e4 and 1e5 pulses, 0.29 and 0.22.
    pulse = {10000.0: 0.29, 100000.0: 0.22}
    for row in table("fuse_cyclic").rows:
        if row["cycles_n"] in pulse:
            assert row["share_ratio"] ** 2 < pulse[row["cycles_n"]]
