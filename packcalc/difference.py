"""What changed between two versions of a design, from their reports as data."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from packcalc.marks import signed
from packcalc.value import value_object

_NUMBER = re.compile(r"[0-9.]+")
ADDED, REMOVED, CHANGED = "added", "removed", "changed"
DECISION_TABLES = ("decisions_grave", "decisions_rest")
FIRST = ("first", "layout")
# (what JSON carries whole, what stands in its place where an earlier packcalc wrote a report)
PARTS, READINGS = ("parts_list", "part_figures"), ("bench_readings", "bench_grades")


@value_object
class Change:
    """One line of the difference.

    Attributes:
        key: of the entry, figure of a module or part, reading, result or decision.
        title: in words.
        kind: ADDED, REMOVED or CHANGED.
        before, after: as printed; "" where there is none.
        why: what else differs, e.g. only the figures beneath.
    """

    key: str
    title: str
    kind: str
    before: str
    after: str
    why: str = ""


@value_object
class Difference:
    """Everything that differs between two reports.

    Attributes:
        old, new: (title, digest, version) of each.
        same_design: whether both carry the same design name.
        inputs: entries of the brief, figures of the modules and parts, readings of the bench.
        results: the five figures and the layout.
        decisions: what a reviewer decides on.
    """

    old: tuple[str, str, str]
    new: tuple[str, str, str]
    same_design: bool
    inputs: tuple[Change, ...]
    results: tuple[Change, ...]
    decisions: tuple[Change, ...]

    @property
    def nothing(self) -> bool:
        return not (self.inputs or self.results or self.decisions)

    @property
    def same_input(self) -> bool:
        """Whether both come from the same text, letter by letter."""
        return self.old[1] == self.new[1]


def difference(old: Mapping[str, Any], new: Mapping[str, Any]) -> Difference:
    """Compare two reports (the data of `packcalc report --format json`)."""
    return Difference(
        _name(old), _name(new), _facts(old, "review_file").get("design")
        == _facts(new, "review_file").get("design"),
        tuple(change for before, after in (
            (_entries(old), _entries(new)), (_modules(old), _modules(new)),
            _of_both(old, new, PARTS, _parts), _of_both(old, new, READINGS, _readings))
              for change in _compare(before, after)),
        _compare(_results(old), _results(new)), _compare(_decisions(old), _decisions(new)))


def _name(report: Mapping[str, Any]) -> tuple[str, str, str]:
    meta = _facts(report, "meta")
    return (str(meta.get("brief", report.get("subtitle", ""))),
            signed(str(meta.get("input_digest", "not given"))), str(report.get("packcalc", "")))


# key: (title, as printed, what must be equal)
Lines = dict[str, tuple[str, str, Any]]


def _compare(old: Lines, new: Lines) -> tuple[Change, ...]:
    found = []
    for key in dict.fromkeys((*old, *new)):
        if key not in new:
            found.append(Change(key, old[key][0], REMOVED, old[key][1], ""))
        elif key not in old:
            found.append(Change(key, new[key][0], ADDED, "", new[key][1]))
        elif old[key][2] != new[key][2]:
            same = old[key][1] == new[key][1]
            found.append(Change(key, new[key][0], CHANGED, old[key][1], new[key][1],
                                "printed alike; what it rests on changed" if same else ""))
    return tuple(found)


def _rows(report: Mapping[str, Any], key: str) -> Iterable[Mapping[str, Any]]:
    rows = report.get(key)
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else ()


def _facts(report: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    facts = report.get(key)
    return facts if isinstance(facts, dict) else {}


def _shown(value: Any) -> str:
    return "not known" if value is None else \
        "; ".join(map(str, value)) if isinstance(value, list) else str(value)


def _of_both(old: Mapping[str, Any], new: Mapping[str, Any], tables: tuple[str, str],
             lines: Callable[[Mapping[str, Any], str], Lines]) -> tuple[Lines, Lines]:
    """The lines of the same table of both, the first that both carry."""
    whole, instead = tables
    table = whole if all(isinstance(one.get(whole), list) for one in (old, new)) else instead
    return lines(old, table), lines(new, table)


def _entries(report: Mapping[str, Any]) -> Lines:
    return {str(r.get("entry")): (_shown(r.get("meaning")), *_given(r, "origin"))
            for r in _rows(report, "inputs")}


def _modules(report: Mapping[str, Any]) -> Lines:
    return {f"{r.get('module')}: {r.get('figure')}": (_shown(r.get("figure")), *_given(r, "note"))
            for r in _rows(report, "module_figures")}


def _given(row: Mapping[str, Any], origin: str) -> tuple[str, Any]:
    """A figure with its basis; as it was written where four figures do not tell it."""
    text = str(row.get(origin)).partition(" = ")[2].partition(";")[0].strip()
    number = _NUMBER.match(text)
    long = number is not None and len(number[0].replace(".", "").strip("0")) > 4
    shown = f"{text if long else _shown(row.get('value'))} ({_shown(row.get('basis'))})"
    return shown, (shown, row.get("value"), row.get("basis"))


def _parts(report: Mapping[str, Any], table: str) -> Lines:
    """Basis and every figure of the parts, by part and column."""
    return {f"{r.get('part')}: {name}": (f"{name} of {r.get('part')}", value, value)
            for r in _rows(report, table)
            for name, _, value in (one.partition(" = ") for one in (
                *([f"basis = {r['basis']}"] if "basis" in r else ()),
                *str(r.get("sheet")).split("; ")))}


def _readings(report: Mapping[str, Any], table: str) -> Lines:
    """Every reading of the bench sheet, by mark and column; of an earlier report its grades."""
    found: Lines = {}
    for row in _rows(report, table):
        mark = row.get("mark")
        cells = {str(row.get("column")): row.get("reading")} if table == READINGS[0] else row
        for name, value in cells.items():
            key, number = f"{mark}: {name}", 1
            while key in found:  # a mark that stands on two rows
                number += 1
                key = f"{mark}, row {number}: {name}"
            if name != "mark":
                found[key] = (f"module {mark} on the bench", _shown(value), value)
    return found


def _results(report: Mapping[str, Any]) -> Lines:
    return {f"{table}.{key}": (key, _shown(value), value)
            for table in FIRST for key, value in _facts(report, table).items()
            if value != []}


def _decisions(report: Mapping[str, Any]) -> Lines:
    found: Lines = {}
    for table in DECISION_TABLES:
        for row in _rows(report, table):
            verdict = _shown(row.get("verdict"))
            found[str(row.get("decision"))] = (
                f"{_shown(row.get('part'))}: {_shown(row.get('what'))}",
                f"{verdict}: {_shown(row.get('figure'))}", signed(str(row.get("digest"))))
    return found
