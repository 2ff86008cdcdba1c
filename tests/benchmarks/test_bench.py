"""The limits of speed, held on request: pytest -m benchmark."""

from __future__ import annotations

import pytest

from tests.benchmarks import bench

pytestmark = pytest.mark.benchmark


@pytest.fixture(scope="module")
def measured():
    return {ratio.title: (ratio, own / base) for ratio, own, base in bench.measure()}


@pytest.mark.parametrize("title", [r.title for r in bench.RATIOS])
def test_a_command_is_not_much_slower_than_its_libraries(measured, title):
    ratio, found = measured[title]
    assert found <= ratio.most, f"{title}: {found:.2f} × import of {ratio.base}"


def test_the_scale_case_stays_within_time_and_memory():
    found = bench.scale()
    # 500 types; 250 × 60 of both arrangements, one of them where P = 1
    assert found["tried"] == 500 * (250 * 60 * 2 - 250)
    assert found["seconds"] <= bench.SCALE_SECONDS
    assert found["megabytes"] <= bench.SCALE_MEGABYTES
