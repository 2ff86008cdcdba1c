"""The published schemas hold for what is written, and refuse what is not."""

from __future__ import annotations

import copy
import json

import pytest
from jsonschema import Draft202012Validator, ValidationError

from packcalc.marks import MARKS
from packcalc.report.compose import report_document
from packcalc.report.render import render
from packcalc.report.schema import NAMES, schema
from packcalc.review import as_json
from packcalc.review_merge import merge
from tests.briefs import EXAMPLES
from tests.cli.runner import run
from tests.report import sample
from tests.review.cases import file, known, mark, study
from tests.sized import report

DECISIONS = list(known(study()).values())


def validate(data: object, name: str) -> None:
    """Against a schema that is one: that is tested once, and not with each document."""
    Draft202012Validator(schema(name)).validate(data)


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_is_one(name: str) -> None:
    Draft202012Validator.check_schema(schema(name))
    ran = run("schema", name)
    assert ran.code == 0 and json.loads(ran.out) == schema(name)


@pytest.mark.parametrize("brief", EXAMPLES, ids=lambda p: p.parent.name)
def test_every_example_is_valid(brief) -> None:
    found = report(brief.parent.name)
    validate(json.loads(render(found, "json")), "report")


def test_other_documents_are_valid_too() -> None:
    validate(json.loads(render(sample.document(), "json")), "report")
    validate(json.loads(run("library", "list", "--format", "json").out), "report")


def test_a_report_with_marks_is_valid() -> None:
    marks = [mark(d, v) for d, v in zip(DECISIONS, MARKS, strict=False)]
    whole = report_document(study(), review=merge(study(), [file(study(), *marks)]))
    data = json.loads(render(whole, "json"))
    validate(data, "report")
    assert sum(len(r["marks"]) for t in ("decisions_grave", "decisions_rest")
               for r in data[t]) == len(marks)


BROKEN = {
    "no cautions": lambda d: d.update(cautions=[]),
    "a digest of another shape": lambda d: d["decisions_grave"][0].update(digest="x"),
    "a standing that is none": lambda d: d["decisions_grave"][0].update(standing="approved"),
    "a basis that is none": lambda d: next(iter(d["findings"].values())).update(basis="guessed"),
    "a decision without an id": lambda d: d["decisions_grave"][0].pop("decision"),
    "a number for a title": lambda d: d.update(title=1),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_report_is_refused(name: str) -> None:
    data = copy.deepcopy(REPORT)
    BROKEN[name](data)
    with pytest.raises(ValidationError):
        validate(data, "report")


REPORT = json.loads(render(report_document(study()), "json"))


def test_marks_are_valid_and_others_are_refused() -> None:
    data = json.loads(as_json(file(study(), *(mark(d, v) for d, v in
                                              zip(DECISIONS, MARKS, strict=False)))))
    validate(data, "review")
    data["marks"][0]["verdict"] = "approved"
    with pytest.raises(ValidationError):
        validate(data, "review")
