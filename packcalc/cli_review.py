"""The commands of the review: the sheet, the difference of two versions, the schemas."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Any

import click

from packcalc.door import Command, answer_no, emit, output_options, progress, tell
from packcalc.errors import OutputError

MOST_TOLD = 20

review_option = click.option(
    "--review", "reviews", metavar="FILE", multiple=True,
    help="Marks to put beside the decisions, .json or .csv; may be given again.")


def layout_options(command: Any) -> Any:
    """Which layout is reviewed; the best one when none is named."""
    for option in (
        click.option("--module", type=click.IntRange(1), metavar="N",
                     help="Which [[modules]] entry; the one that fits best when not given."),
        click.option("--arrangement", type=click.Choice(("grouped", "strings")),
                     help="How modules are paralleled; whichever fits best when not given."),
        click.option("--layout", metavar="16S2P", default="",
                     help="Layout to review; the best one when not given."),
    ):
        command = option(command)
    return command


def merged(study: Any, reviews: Sequence[str], quiet: bool) -> Any:
    """The decisions of a study with the marks of the named files; None where none is named."""
    if not reviews:
        return None
    from packcalc.review import read_review
    from packcalc.review_merge import merge

    with progress("reading the marks and checking changes again", quiet):
        return merge(study, [read_review(name) for name in reviews])


def end_review(review: Any, quiet: bool) -> None:
    """Exit code of a merged review: a no where something is rejected, breaks or is left unread."""
    from packcalc.marks import REJECTED

    if review is None:
        return
    if not quiet:
        for one in review.rewritten[:MOST_TOLD]:
            tell(one.words)
        for words in [w for file in review.files for w in file.cleaned][:MOST_TOLD]:
            tell(words)
    if review.rewritten:
        answer_no(f"{len(review.rewritten)} printed cells of the sheet were written in; marks in "
                  "those rows are not counted", quiet)
    lost = [f"{r.decision_id} to {r.asked}" for r in review.not_understood]
    if lost:
        answer_no(f"{len(lost)} changes that were asked for could not be checked: "
                  f"{', '.join(lost[:5])}", quiet)
    broken = [r.decision_id for r in review.rechecks if r.breaks]
    if broken:
        answer_no(f"a change that was asked for breaks something: {', '.join(broken[:5])}", quiet)
    if review.count(REJECTED):
        answer_no(f"{review.count(REJECTED)} decisions are rejected", quiet)


@click.command("review", cls=Command, short_help="Write the sheet for the reviewer to mark.")
@click.argument("brief")
@layout_options
@review_option
@click.option("--rules", metavar="KEY", default="common core", show_default=True,
              help="Jurisdiction for the path to a signature, e.g. new-zealand.")
@output_options
def review_sheet(brief: str, layout: str, arrangement: str | None, module: int | None,
                 reviews: tuple[str, ...], rules: str, out: str, format_: str | None,
                 table: str | None, quiet: bool) -> None:
    """Write the sheet of BRIEF for the reviewer: to print, or as a spreadsheet.

    A .csv holds one row a decision with empty columns for the marks; .txt and .html
    are for paper, the path to a signature first; .json is a file of marks, as the
    page of the report saves it.

    \b
    Example:
      packcalc review mypack/brief.toml --out mypack/review.csv
    """
    from packcalc import api
    from packcalc.report.render import format_of
    from packcalc.report.review_report import review_document

    with progress("sizing the protection", quiet):
        study = api.size_protection(api.read_brief(brief), layout, arrangement=arrangement or "",
                                    module=module)
    found = merged(study, reviews, quiet)
    wanted = format_ or (format_of(out) if out != "-" else "text")
    document = review_document(study, found, rules)
    if wanted in ("csv", "json") and table is None:
        if out != "-" and os.path.isfile(out) and os.path.getsize(out):
            raise OutputError(f"{out}: exists, and marks may stand in it; name another file")
        _write(_marks(study, found, wanted), out, quiet)
    else:
        emit(document, out, format_, table, quiet)


def _marks(study: Any, review: Any, wanted: str) -> str:
    from dataclasses import replace

    from packcalc.report.cautions import CAUTIONS, DEFERENCE
    from packcalc.review import as_csv, as_json, blank_file

    marks = tuple(m for s in review.standings for m in s.marks) if review else ()
    if wanted == "csv":
        return as_csv(study, marks, (*CAUTIONS, DEFERENCE))
    return as_json(replace(blank_file(study), marks=marks), (*CAUTIONS, DEFERENCE))


def _write(text: str, out: str, quiet: bool) -> None:
    from packcalc.report.render import write_text

    if out == "-":
        click.echo(text, nl=False)
        return
    write_text(out, text)
    if not quiet:
        tell(f"written: {out}")


@click.command("diff", cls=Command, short_help="Say what changed between two versions.")
@click.argument("old")
@click.argument("new")
@output_options
def diff(old: str, new: str, out: str, format_: str | None, table: str | None,
         quiet: bool) -> None:
    """Say what changed from OLD to NEW, in inputs, results and decisions.

    Each is a brief, or a report that packcalc wrote as JSON.

    \b
    Example:
      packcalc diff old/brief.toml mypack/brief.toml
      packcalc diff report-1.json report-2.json --out changes.html
    """
    from packcalc.difference import difference
    from packcalc.report.difference_report import difference_document

    with progress("comparing", quiet):
        found = difference(_report_of(old), _report_of(new))
    emit(difference_document(found), out, format_, table, quiet)


def _report_of(path: str) -> dict[str, Any]:
    """The data of a report, read or made from a brief."""
    if os.path.splitext(path)[1].lower() == ".json":
        from packcalc.reading.json_file import read_report

        return read_report(path)
    from packcalc import api
    from packcalc.report.citations import with_sources
    from packcalc.report.data import as_dict

    return as_dict(with_sources(api.report_document(api.size_protection(api.read_brief(path)))))


@click.command("schema", cls=Command, short_help="Print a JSON schema.")
@click.argument("name", type=click.Choice(("report", "review")), default="report")
@click.option("--out", metavar="FILE", default="-", show_default=True,
              help="File to write; - is standard output.")
@click.option("-q", "--quiet", is_flag=True, help="No notes on standard error.")
def schema(name: str, out: str, quiet: bool) -> None:
    """Print the JSON schema (draft 2020-12) of a report, or of a file of review marks.

    \b
    Example:
      packcalc schema
      packcalc schema review --out review.schema.json
    """
    from packcalc.report.schema import schema as named

    import json

    _write(json.dumps(named(name), ensure_ascii=False, indent=1) + "\n", out, quiet)


def register(main: click.Group) -> None:
    """Hang the commands of the review on the command line."""
    for command in (review_sheet, diff, schema):
        main.add_command(command)
