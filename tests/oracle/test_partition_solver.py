"""Partition against a general exact solver; recorded by record_partition.py."""

import importlib.util
import json
from pathlib import Path

import pytest

from packcalc.bench.partition import assign_groups

HERE = Path(__file__).parent
RECORD = json.loads((HERE / "partition_values.json").read_text("utf-8"))
# Largest gap to the proven bound that is allowed, by modules a group.
ALLOWED = {2: 0.0, 3: 0.001, 4: 0.0002, 5: 0.0}

pytestmark = pytest.mark.oracle


def recorder():
    spec = importlib.util.spec_from_file_location("record_partition",
                                                  HERE / "record_partition.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("row", RECORD["rows"], ids=lambda r: "{kind}-{series}x{parallel}-{seed}"
                         .format(**r))
def test_as_good_as_the_solver_and_never_above_what_it_proved(row):
    units = recorder().lot(row["kind"], row["series"] * row["parallel"], row["seed"])
    found = assign_groups(units * 36.0, None, row["series"], row["parallel"])
    value, bound = round(found.best_value / 36), round(found.bound / 36)
    assert found.gap <= ALLOWED[row["parallel"]]
    assert value >= row["plain"]["value"]
    exact = row.get("exact")
    if exact:
        assert bound >= exact["value"]
        if exact["proven"]:
            assert value <= exact["value"] <= bound
            assert exact["value"] - value <= ALLOWED[row["parallel"]] * exact["value"]


def test_the_record_names_its_solver():
    assert RECORD["solver"].startswith("OR-Tools")
