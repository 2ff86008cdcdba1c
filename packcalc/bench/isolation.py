"""Isolation of many modules whose cases are joined, against what the pack must show."""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.bench import rules
from packcalc.brief import Bench
from packcalc.checks import CAUTION, FAIL, PASS, Check
from packcalc.findings import Finding, Origin, leaf, trace

STAGE = "isolation and distance"


def judge_together(title: str, modules: str, readings: Sequence[float], bench: Bench,
                   voltage: Finding, *, reason: str = "", remedy: str = "") -> Check:
    """Leakages in parallel against the pack's need and the share of it that modules may use up.

    Below the need it fails; between the need and the modules' share it is a caution, for
    cables, inverter and heater leak beside them.

    Args:
        title: of the check.
        modules: which, in words.
        readings: insulation of each to its case [Ω].
        bench: what is asked.
        voltage: highest working voltage.
        reason: further words.
        remedy: where it does not pass.
    """
    together = leaf(f"isolation of {modules} in parallel", "R", "kΩ",
                    rules.leakage_in_parallel(readings), "measured", origin=Origin("the sheet"),
                    note="reciprocal of the sum of reciprocals")
    need = trace(rules.pack_isolation_need, need=bench.isolation_need, voltage=voltage)
    line = trace(rules.modules_isolation_share, pack_need=need, share=bench.isolation_share)
    words = "; ".join(w for w in (f"{bench.isolation_need.shown} at {voltage.shown}, "
                                  f"{voltage.title}", reason) if w)
    verdict, demand = ((FAIL, need) if together.number < need.number * (1 - 1e-9) else
                       (CAUTION, line) if together.number < line.number * (1 - 1e-9) else
                       (PASS, line))
    return Check(title, STAGE, verdict, together, demand, "at least", words,
                 "" if verdict == PASS else remedy)
