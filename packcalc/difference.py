"""What changed between two versions of a design, from their reports as data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from packcalc.marks import signed
from packcalc.value import value_object

ADDED, REMOVED, CHANGED = "added", "removed", "changed"
DECISION_TABLES = ("decisions_grave", "decisions_rest")
FIRST = ("first", "layout")


@value_object
class Change:
    """One line of the difference.

    Attributes:
        key: of the entry, module figure, result or decision.
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
        inputs: entries of the brief and figures of the modules.
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
        tuple(change for lines in (_entries, _modules, _parts)
              for change in _compare(lines(old), lines(new))),
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


def _entries(report: Mapping[str, Any]) -> Lines:
    return {str(r.get("entry")): (_shown(r.get("meaning")), f"{_shown(r.get('value'))} "
                                  f"({_shown(r.get('basis'))})",
                                  (r.get("value"), r.get("basis")))
            for r in _rows(report, "inputs")}


def _modules(report: Mapping[str, Any]) -> Lines:
    return {f"{r.get('module')}: {r.get('figure')}": (
        _shown(r.get("figure")), f"{_shown(r.get('value'))} ({_shown(r.get('basis'))})",
        (r.get("value"), r.get("basis"))) for r in _rows(report, "module_figures")}


def _parts(report: Mapping[str, Any]) -> Lines:
    """Every figure of the named parts, by part and column."""
    return {f"{r.get('part')}: {name}": (f"{name} of {r.get('part')}", value, value)
            for r in _rows(report, "part_figures")
            for name, _, value in (one.partition(" = ")
                                   for one in str(r.get("sheet")).split("; "))}


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
