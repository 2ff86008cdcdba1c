"""The document as JSON.

Fixed keys: `packcalc` (version), `title`, `subtitle`, `cautions`, `deference`, `meta`;
then one key for each table (a list of rows by column key), list of facts (by fact key)
and keyed list of lines, in reading order; then each table that JSON alone carries;
then `captions` and `notes` (by table key),
`paragraphs` (section, kind, text), `figures` (caption, text, key of the data table) and
`findings`: by id, each with `value` in `unit`, `value_SI`, the ids of its `inputs`, rule,
basis, source and origin. Keys of quantities end in their unit and hold numbers, those of
candidates and parts too. What is not known, or never happens, is null.
"""

from __future__ import annotations

import json
import math
from typing import Any

from packcalc.errors import ProgramFault
from packcalc.findings import Finding, worked
from packcalc.report.document import Bullets, Document, Facts, Figure, Paragraph, Table
from packcalc.report.steps import Step, steps
from packcalc.units import from_si, printed

UNKNOWN = "–"
RESERVED = ("packcalc", "title", "subtitle", "cautions", "deference", "meta", "captions", "notes",
            "paragraphs", "figures", "findings")


def render(document: Document) -> str:
    """The document as JSON text; no NaN, no infinity, the same text for the same document."""
    return json.dumps(as_dict(document), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def as_dict(document: Document) -> dict[str, Any]:
    """The document as plain dicts, lists, texts and numbers."""
    from packcalc import __version__

    out: dict[str, Any] = {
        "packcalc": __version__, "title": document.title, "subtitle": document.subtitle,
        "cautions": list(document.cautions), "deference": document.deference,
        "meta": {key: text for key, _, text in document.meta},
    }
    for block in document.blocks():
        if isinstance(block, Table):
            _put(out, block.key, _rows(block))
        elif isinstance(block, Facts):
            _put(out, block.key, _facts(block))
        elif isinstance(block, Bullets) and block.key:
            _put(out, block.key, list(block.items))
        elif isinstance(block, Figure) and block.data is not None:
            _put(out, block.data.key, _rows(block.data))
    for table in document.data:
        _put(out, table.key, _rows(table))
    out.update(_words(document))
    found = steps(document)
    out["findings"] = {name: _finding(found[name]) for name in sorted(found)}
    return out


def _put(out: dict[str, Any], key: str, value: Any) -> None:
    if key in RESERVED or key in out:
        raise ProgramFault(f"the document uses the key {key!r} twice")
    out[key] = value


def _facts(facts: Facts) -> dict[str, Any]:
    found = {key: plain(cell.data) for key, _, cell in facts.rows}
    return found | {key: list(held) for key, _, held in facts.bounds if held is not None}


def _rows(table: Table) -> list[dict[str, Any]]:
    return [{column.key: plain(cell.data) for column, cell in zip(table.columns, row, strict=True)}
            for row in table.rows]


def plain(value: Any) -> Any:
    """A value as JSON knows it: numpy scalars unwrapped, what is not finite as null.

    Numbers keep ten figures: more would differ between machines in the last bits. The
    dash that a page prints for "not known" is null.
    """
    if hasattr(value, "item"):
        value = value.item()
    if value is None or value == UNKNOWN:
        return None
    if isinstance(value, float):
        return float(f"{value:.10g}") if math.isfinite(value) else None
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (bool, int, str)):
        return value
    return str(value)


def _words(document: Document) -> dict[str, Any]:
    """Captions, notes and running text, so that JSON leaves out nothing that a page says."""
    captions, notes, figures = {}, {}, {}
    paragraphs = []
    for section in document.sections:
        for block in section.blocks:
            if isinstance(block, (Table, Facts)):
                captions[block.key] = block.caption
            if isinstance(block, Table) and block.note:
                notes[block.key] = block.note
            if isinstance(block, Figure):
                figures[block.key] = {"caption": block.caption, "text": block.text,
                                      "data": block.data.key if block.data else None}
            if isinstance(block, Paragraph):
                paragraphs.append({"section": section.key, "kind": block.kind, "text": block.text})
            if isinstance(block, Bullets) and not block.key:
                paragraphs += [{"section": section.key, "kind": block.kind, "text": item}
                               for item in block.items]
    return {"captions": captions, "notes": notes, "paragraphs": paragraphs, "figures": figures}


def _finding(step: Step) -> dict[str, Any]:
    finding, rule = step.finding, step.finding.formula
    return {
        "title": finding.title,
        "symbol": finding.symbol,
        "value": _printed_value(finding),
        "unit": printed(finding.unit),
        "value_SI": plain(finding.value),
        "shown": finding.shown,
        "formula": rule and {"name": rule.name, "text": rule.text, "range": rule.valid,
                             "safe_side": rule.safe_side, "where": rule.where},
        "numbers": worked(finding),
        "inputs": list(step.inputs),
        "basis": finding.basis,
        "weakest_basis": step.weakest,
        "source": finding.source,
        "origin": finding.origin and {"file": finding.origin.place, "line": finding.origin.line,
                                      "key": finding.origin.key, "text": finding.origin.text},
        "governing": step.chain.governing if step.chain else "",
        "note": finding.note,
    }


def _printed_value(finding: Finding) -> float | None:
    if finding.value is None:
        return None
    return plain(float(from_si(finding.value, finding.unit)))
