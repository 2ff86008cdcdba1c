"""S. Tao et al. 2024, Nature Communications, doi:10.1038/s41467-024-54454-0: retired cells.

The published spreads are of all 95 LMO and 56 LFP cells; the file under tests/data holds
every second cell, so each figure may differ by what a sample of n out of N may.
Second: L. Wildfeuer and M. Lienkamp 2021 (abstract): a room 3 °C warmer or colder moves the
measured capacity by 1.5 %.
"""

from __future__ import annotations

import csv
from math import sqrt
from pathlib import Path

import pytest

from packcalc.bench.statistics import correlation, spread
from tests.published.cases import Printed, check, label

DATA = Path(__file__).parents[1] / "data" / "retired_cells.csv"
TWO = 2.0  # sampling deviations

# chemistry, rated Ah, N published, mean SOH, sd, least, most, skew, mean R5s mΩ, sd, r
PUBLISHED = [
    ("LMO pouch", 10.0, 95, 0.810, 0.1159, 0.519, 0.948, -1.00, 11.877, 3.247, -0.695),
    ("LFP prismatic", 35.0, 56, 0.849, 0.0490, 0.744, 0.962, 0.13, 3.032, 0.249, -0.438),
]

PRINTED = [
    Printed("capacity_at_25", "wildfeuer-2021", "abstract: 3 °C colder, 1.5 % less",
            {"capacity": 0.985, "temperature": 295.15, "slope": 0.005}, 1.0, 0.0005),
    Printed("capacity_at_25", "wildfeuer-2021", "abstract: 3 °C warmer, 1.5 % more",
            {"capacity": 1.015, "temperature": 301.15, "slope": 0.005}, 1.0, 0.0005),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)


def _cells(chemistry: str) -> list[dict[str, str]]:
    lines = [x for x in DATA.read_text("utf-8").splitlines() if not x.startswith("#")]
    return [row for row in csv.DictReader(lines) if row["chemistry"] == chemistry]


def test_the_data_carry_their_source_and_licence():
    head = DATA.read_text("utf-8").splitlines()[0]
    assert "doi:10.1038/s41467-024-54454-0" in head and "MIT" in head
    licence = DATA.with_name("retired_cells.LICENCE").read_text("utf-8")
    assert "Permission is hereby granted" in licence and "Shengyu" in licence


@pytest.mark.published
@pytest.mark.parametrize("case", PUBLISHED, ids=lambda case: case[0])
def test_published_spread_is_reproduced(case):
    chemistry, rated, whole, mean, sd, least, most, skew, r_mean, r_sd, r = case
    rows = _cells(chemistry)
    share = [float(row["capacity_Ah"]) / rated for row in rows]
    resistance = [float(row["r5s_mohm"]) for row in rows]
    left_out = sqrt(1 - len(rows) / whole)
    for values, middle, deviation in ((share, mean, sd), (resistance, r_mean, r_sd)):
        found = spread(values)
        step = TWO * deviation / sqrt(len(values)) * left_out
        assert abs(found.mean - middle) < step
        assert abs(found.deviation - deviation) < step
    found = spread(share)
    assert least <= found.least and found.most <= most + 5e-4
    assert abs(found.skew - skew) < TWO * sqrt(6 / len(rows)) * left_out
    assert abs(correlation(share, resistance) - r) < TWO * (1 - r * r) / sqrt(len(rows)) * left_out


@pytest.mark.published
def test_a_weak_tail_is_told_by_the_skew():
    """LMO lots are skewed to the weak side (published -1.00), LFP lots are not (0.13)."""
    skews = {name: spread([float(r["capacity_Ah"]) for r in _cells(name)]).skew
             for name in ("LMO pouch", "LFP prismatic")}
    assert skews["LMO pouch"] < -0.8 < skews["LFP prismatic"]
