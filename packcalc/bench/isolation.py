"""Isolation of many modules whose cases are joined, against what the pack must show."""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.bench import rules
from packcalc.brief import Bench
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check
from packcalc.findings import AT_LEAST, Finding, Origin, leaf, trace

STAGE = "isolation and distance"
# What settles a highest working voltage that no layout which fits was asked for.
NO_LAYOUT = "a layout that fits: its own highest voltage counts"


def or_more(voltage: Finding) -> str:
    """The voltage as printed, and whether more may be true."""
    return f"{voltage.shown} or more" if voltage.at_least else voltage.shown


def still_open(voltage: Finding) -> str:
    """What of the highest working voltage is open; empty where no more than it may be true."""
    if not voltage.at_least:
        return ""
    told = voltage.note.partition("; governed by")[0].removeprefix(AT_LEAST)
    return told.lstrip(":; ").removeprefix("not evaluated: ") or f"the {voltage.title}"


def to_find(voltage: Finding) -> str:
    """What settles a voltage of which more may be true."""
    return f"find {still_open(voltage)}; or give bench.pack_voltage, the most that it may be"


def of_no_layout(voltage: Finding) -> bool:
    """Whether a highest working voltage is that of no layout which fits; no dial follows."""
    return NO_LAYOUT in voltage.note


def line_at(voltage: Finding, modules: Finding, bench: Bench) -> Finding:
    """Least isolation of one module in a pack of this voltage."""
    need = trace(rules.pack_isolation_need, need=bench.isolation_need, voltage=voltage)
    return trace(rules.module_isolation_line, pack_need=need, modules=modules,
                 share=bench.isolation_share)


def judge_together(title: str, modules: str, readings: Sequence[float], bench: Bench,
                   voltage: Finding, *, reason: str = "", remedy: str = "") -> Check:
    """Leakages in parallel against the pack's need and the share of it that modules may use up.

    Below the need it fails; between the need and the modules' share it is a caution, for
    cables, inverter and heater leak beside them. At a voltage of which more may be true nothing
    passes: a failure stands, the rest is not evaluated.

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
    open_ = still_open(voltage)
    least = f"{AT_LEAST}: the {voltage.title} may be more" if open_ else ""
    need = trace(rules.pack_isolation_need, need=bench.isolation_need, voltage=voltage, note=least)
    line = trace(rules.modules_isolation_share, pack_need=need, share=bench.isolation_share,
                 note=least)
    words = "; ".join(w for w in (f"{bench.isolation_need.shown} at {or_more(voltage)}, "
                                  f"{voltage.title}", reason) if w)
    verdict, demand = ((FAIL, need) if together.number < need.number * (1 - 1e-9) else
                       (CAUTION, line) if together.number < line.number * (1 - 1e-9) else
                       (PASS, line))
    change = "" if verdict == PASS else remedy
    if open_ and verdict != FAIL:
        verdict, change = NOT_EVALUATED, "; ".join(filter(None, (to_find(voltage), change)))
    return Check(title, STAGE, verdict, together, demand, "at least", words, change)
