"""Run the partition cases below in a general exact solver and record what it finds.

    python tests/oracle/record_partition.py     (needs ortools)

For three and four modules a group the exact-cover form is used: every group whose sum lies
between z and total − (S − 1)·z is listed, and the solver is asked for S of them that use each
module once. z is raised from the first that is found until the next is proven impossible or
the time runs out. The plain model (x[i, g], largest weakest sum) is timed beside it.
"""

from __future__ import annotations

import itertools
import json
import time
from pathlib import Path

import numpy as np

RECORD = Path(__file__).with_name("partition_values.json")
CASES = [(kind, series, parallel, seed) for kind in ("normal", "skewed")
         for series, parallel in ((16, 2), (16, 3), (16, 4), (16, 5)) for seed in (0, 1)]
SECONDS_PLAIN, SECONDS_COVER = 10.0, 40.0


def lot(kind: str, count: int, seed: int) -> np.ndarray:
    """Capacities in steps of 0.01 Ah: N(60 Ah, 4 %), or with a tenth of weak modules."""
    rng = np.random.default_rng(seed)
    if kind == "normal":
        q = 60 * (1 + 0.04 * rng.standard_normal(count))
    else:
        weak = rng.random(count) < 0.1
        q = 60 * np.where(weak, 0.85 + 0.06 * rng.standard_normal(count),
                          1 + 0.02 * rng.standard_normal(count))
    return np.round(100 * q).astype(int)


def plain(units: np.ndarray, series: int, parallel: int) -> dict:
    """The plain model for a fixed time."""
    from ortools.sat.python import cp_model

    model, count = cp_model.CpModel(), len(units)
    x = [[model.new_bool_var("") for _ in range(series)] for _ in range(count)]
    weakest = model.new_int_var(0, int(units.sum()) // series, "")
    for i in range(count):
        model.add_exactly_one(x[i])
    for g in range(series):
        model.add(sum(x[i][g] for i in range(count)) == parallel)
        model.add(sum(int(units[i]) * x[i][g] for i in range(count)) >= weakest)
    model.add(x[int(units.argmax())][0] == 1)
    model.maximize(weakest)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = SECONDS_PLAIN
    solver.parameters.num_workers = 2
    start = time.perf_counter()
    status = solver.solve(model)
    return {"value": int(solver.value(weakest)), "seconds": round(time.perf_counter() - start, 2),
            "proven": status == cp_model.OPTIMAL}


def cover(units: np.ndarray, series: int, parallel: int, least: int,
          seconds: float) -> bool | None:
    """Whether S groups that all reach `least` exist; None where time ran out."""
    from ortools.sat.python import cp_model

    most = int(units.sum()) - (series - 1) * least
    groups = [g for g in itertools.combinations(range(len(units)), parallel)
              if least <= units[list(g)].sum() <= most]
    model = cp_model.CpModel()
    use = [model.new_bool_var("") for _ in groups]
    for i in range(len(units)):
        holding = [use[k] for k, g in enumerate(groups) if i in g]
        if not holding:
            return False
        model.add_exactly_one(holding)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 2
    status = solver.solve(model)
    return {cp_model.OPTIMAL: True, cp_model.FEASIBLE: True,
            cp_model.INFEASIBLE: False}.get(status)


def exact(units: np.ndarray, series: int, parallel: int, start: int) -> dict:
    """Raise z from a value known to be possible; also what could not be decided."""
    best, limit = start, int(units.sum()) // series
    for z in range(start + 1, limit + 1):
        found = cover(units, series, parallel, z, SECONDS_COVER)
        if found is None:
            return {"value": best, "proven": False}
        if not found:
            break
        best = z
    return {"value": best, "proven": True}


def main() -> None:
    """Record every case."""
    import ortools
    from packcalc.bench.partition import assign_groups

    rows = []
    for kind, series, parallel, seed in CASES:
        units = lot(kind, series * parallel, seed)
        start = time.perf_counter()
        ours = assign_groups(units * 36.0, None, series, parallel)
        own = {"value": round(ours.best_value / 36), "bound": round(ours.bound / 36),
               "seconds": round(time.perf_counter() - start, 4)}
        row = {"kind": kind, "series": series, "parallel": parallel, "seed": seed,
               "plain": plain(units, series, parallel), "packcalc_then": own}
        if parallel in (3, 4):
            row["exact"] = exact(units, series, parallel, own["value"])
        elif row["plain"]["proven"]:
            row["exact"] = {"value": row["plain"]["value"], "proven": True}
        rows.append(row)
        print(row, flush=True)
    RECORD.write_text(json.dumps({"solver": f"OR-Tools {ortools.__version__} CP-SAT, 2 workers",
                                  "rows": rows}, indent=1) + "\n")


if __name__ == "__main__":
    main()
