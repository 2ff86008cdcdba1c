"""The published schemas: of a report as JSON, and of a file of review marks.

They are made from what writes those files (the reserved keys of the JSON renderer, the
columns of the decisions, the marks), so that they cannot drift apart.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from packcalc.checks import VERDICTS
from packcalc.findings import BASES
from packcalc.marks import MARKS, STANDINGS, Mark
from packcalc.report.cautions import DEFERENCE, SHORT
from packcalc.report.data import RESERVED
from packcalc.report.html import GRAVE, REST
from packcalc.report.review_report import COLUMNS
from packcalc.review import (
    ALSO,
    BESIDE_IT,
    EARLIER,
    ENTRIES,
    FIGURES,
    FORMAT,
    GONE,
    LISTED,
    LONGEST_FIELD,
    LONGEST_TEXT,
    MOST_MARKS,
    MOST_VERSIONS,
    NOT_COUNTED,
    PRINTED,
)
from packcalc.review_since import INPUT, OF_MARKS, WAS

DRAFT = "https://json-schema.org/draft/2020-12/schema"
WARNING = f"{SHORT} {DEFERENCE}"
NAMES = ("report", "review")
FIRST = "first"  # the five figures of page one
TEXT: dict[str, Any] = {"type": "string"}
NUMBER: dict[str, Any] = {"type": ["number", "null"]}
DIGEST = {"type": "string", "pattern": "^k[0-9a-f]{12}$"}
VALUE: dict[str, Any] = {"description": "A cell: text, number, true or false, or null where "
                         "nothing is known or nothing ever happens.",
                         "type": ["string", "number", "boolean", "null", "array", "object"]}


def schema(name: str = "report") -> dict[str, Any]:
    """One of the published schemas, by its name in NAMES.

    Examples:
        >>> schema("report")["$schema"]
        'https://json-schema.org/draft/2020-12/schema'
    """
    from packcalc.errors import UnknownName

    if name not in NAMES:
        raise UnknownName("schema", name, NAMES)
    return report_schema() if name == "report" else review_schema()


def _object(properties: dict[str, Any], *, optional: tuple[str, ...] = (),
            more: Any = False) -> dict[str, Any]:
    return {"type": "object", "properties": properties,
            "required": [key for key in properties if key not in optional],
            "additionalProperties": more}


def _list(items: Any) -> dict[str, Any]:
    return {"type": "array", "items": items}


def _map(values: Any) -> dict[str, Any]:
    return {"type": "object", "additionalProperties": values}


def report_schema() -> dict[str, Any]:
    """Of what `packcalc ... --format json` writes."""
    reserved = {
        "packcalc": {"type": "string", "description": "version that wrote it"},
        "title": TEXT, "subtitle": TEXT,
        "cautions": {**_list(TEXT), "minItems": 1}, "deference": {**TEXT, "minLength": 1},
        "meta": _map(TEXT), "captions": _map(TEXT), "notes": _map(TEXT),
        "paragraphs": _list(_object({"section": TEXT, "kind": TEXT, "text": TEXT})),
        "figures": _map(_object({"caption": TEXT, "text": TEXT,
                                 "data": {"type": ["string", "null"]}})),
        "findings": _map({"$ref": "#/$defs/finding"}),
    }
    assert set(reserved) == set(RESERVED)
    tables = {key: _list({"$ref": "#/$defs/decision"}) for key in (GRAVE, REST)}
    whole = _object({**reserved, **tables, FIRST: _first()}, optional=(*tables, FIRST), more={
        "description": "A table (rows by column key), a list of facts or a list of lines. Keys "
        "of quantities end in their unit.",
        "anyOf": [_list(_map({"$ref": "#/$defs/value"})), _map({"$ref": "#/$defs/value"}),
                  _list(TEXT)]})
    return {"$schema": DRAFT, "title": "packcalc report",
            "description": WARNING, **whole,
            "$defs": {"value": VALUE, "finding": _finding(), "decision": _decision()}}


def _first() -> dict[str, Any]:
    bounds = {f"{side}_bounds": {**_list(TEXT), "description": f"keys beside it of which {more} "
              f"may be true: the number is its {side} bound, as a page says with '{word}'"}
              for side, more, word in (("lower", "more", "at least"), ("upper", "less", "at most"))}
    bounds["to_confirm"] = {**_list(TEXT), "description": "keys beside it that rest on an entry "
                            "which the brief leaves open, filled by our assumption"}
    return {"type": "object", "properties": bounds,
            "additionalProperties": {"$ref": "#/$defs/value"}}


def _finding() -> dict[str, Any]:
    rule = _object({"name": TEXT, "text": TEXT, "range": TEXT, "safe_side": TEXT, "where": TEXT})
    origin = _object({"file": TEXT, "line": {"type": "integer", "minimum": 0}, "key": TEXT,
                      "text": TEXT})
    return _object({
        "title": TEXT, "symbol": TEXT, "value": NUMBER, "unit": TEXT, "value_SI": NUMBER,
        "shown": TEXT, "formula": {"anyOf": [rule, {"type": "null"}]}, "numbers": TEXT,
        "inputs": _list({"type": "string", "description": "id of another finding"}),
        "basis": {"enum": list(BASES)}, "weakest_basis": {"enum": list(BASES)}, "source": TEXT,
        "origin": {"anyOf": [origin, {"type": "null"}]}, "governing": TEXT, "note": TEXT})


def _decision() -> dict[str, Any]:
    own: dict[str, Any] = {
        "number": {"type": "integer", "minimum": 1}, "decision": TEXT, "digest": DIGEST,
        "verdict": {"enum": [*VERDICTS, "figure"]}, "standing": {"enum": list(STANDINGS)},
        "grounds": _list({"enum": list(BASES)}), "chain": _list(TEXT), "also": _list(TEXT),
        "figure": {"type": ["string", "null"]},
        "marks": _list(_object({**_mark(), "holds": {"type": "boolean"}}))}
    return _object({column.key: own.get(column.key, TEXT) for column in COLUMNS})


def _mark() -> dict[str, Any]:
    free = {"type": "string", "maxLength": LONGEST_FIELD}
    own = {"verdict": {"enum": list(MARKS)}, "digest": DIGEST,
           "date": {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$"},
           "name": {**free, "minLength": 1}, "decision_id": {**free, "minLength": 1},
           ALSO: {"type": "string", "maxLength": LONGEST_TEXT,
                  "description": "further parts that shared the figure then"}}
    return {f.name: own.get(f.name, free) for f in fields(Mark)}


def review_schema() -> dict[str, Any]:
    """Of the marks that the page saves and `packcalc report --review` reads."""
    needed = ("decision_id", "verdict", "digest", "name", "date")
    free = tuple(f.name for f in fields(Mark) if f.name not in needed)
    mark = _object(_mark(), optional=free)
    apart = _object({**_mark(), BESIDE_IT: _object(dict.fromkeys(PRINTED, TEXT), optional=PRINTED)},
                    optional=(*free, BESIDE_IT))
    then = _object({INPUT: TEXT, OF_MARKS: _list(DIGEST), WAS: {
        **_texts(none=True), "description": "entries that read otherwise then; null: none then"}},
        optional=(INPUT, OF_MARKS, WAS))
    return {"$schema": DRAFT, "title": "packcalc review", "description": WARNING, **_object({
        "packcalc_review": {"const": FORMAT}, "packcalc": TEXT, "cautions": _list(TEXT),
        "design": {**TEXT, "minLength": 1}, "layout": TEXT, "input_digest": TEXT, "issued": TEXT,
        LISTED: {**TEXT, "description": "digest of the ids of all decisions of that version"},
        ENTRIES: {**_texts(), "description": "the brief's entries then, as printed, by their name"},
        FIGURES: {**_texts(), "description": "what was printed beside each mark, by its id"},
        EARLIER: {**_list(then), "maxItems": MOST_VERSIONS,
                  "description": "versions that marks under gone and not_counted were given to"},
        "marks": {**_list(mark), "maxItems": MOST_MARKS},
        GONE: {**_list(apart), "maxItems": MOST_MARKS,
               "description": "given to another figure than stands today, or to none of today's"},
        NOT_COUNTED: {**_list(apart), "maxItems": MOST_MARKS,
                      "description": "beside a printed cell that was written in"}},
        optional=("packcalc", "cautions", "layout", "input_digest", "issued", LISTED, ENTRIES,
                  FIGURES, EARLIER, GONE, NOT_COUNTED))}


def _texts(*, none: bool = False) -> dict[str, Any]:
    kind = ["string", "null"] if none else "string"
    return {**_map({"type": kind, "maxLength": LONGEST_TEXT}), "maxProperties": MOST_MARKS}
