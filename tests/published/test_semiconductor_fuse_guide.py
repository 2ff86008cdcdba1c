"""Application guide for the protection of semiconductors by fuse-links, pages 35 to 37."""

import pytest

from tests.published.cases import Printed, check, label

SOURCE = "semiconductor-fuse-guide"
ZERO = 273.15


def ambient(where, air, hottest, rated, printed):
    return Printed("fuse_ambient_factor", SOURCE, where,
                   {"ambient": air + ZERO, "hottest_part": hottest + ZERO,
                    "rating_ambient": rated + ZERO}, printed, 0.0005 / printed)


PRINTED = [
    ambient("page 35, 3-phase controller, 55 °C", 55, 130, 30, 0.866),
    # Page 37: In × 0.917 × 0.85 × 0.6 ≥ 144.25 A gives In ≥ 308.4 A; the factors commute, so
    # the load of the first check carries the 0.85 and the second ends the same line.
    Printed("fuse_rating_before_conductor", SOURCE, "page 37, all but C1",
            {"load_current": 144.25 / 0.85, "ambient_factor": 0.917,
             "fluctuation_factor": 0.6}, 308.4, 0.05 / 308.4),
    Printed("fuse_rating_with_conductor", SOURCE, "page 37, C1 0.85",
            {"before": 144.25 / (0.917 * 0.6), "conductor_factor": 0.85}, 308.4, 0.05 / 308.4),
    Printed("fuse_rating_by_sheet", SOURCE, "page 37, all three factors",
            {"load_current": 144.25, "ambient_factor": 0.917, "fluctuation_factor": 0.6,
             "conductor_factor": 0.85}, 308.4, 0.05 / 308.4),
    # Page 36: 0.75 × 392.8 A = 294.6 A for 10 s; turned round, 294.6 A asks for 392.8 A.
    Printed("fuse_melting_current_demand", SOURCE, "page 36, occasional overload, 10 s",
            {"peak_current": 294.6, "share": 0.75}, 392.8, 0.05 / 392.8),
]


@pytest.mark.published
@pytest.mark.parametrize("case", PRINTED, ids=label)
def test_printed(case):
    check(case)
