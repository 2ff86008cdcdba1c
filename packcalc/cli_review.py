"""The commands of the review: the sheet, the difference of two versions, the schemas."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from typing import Any

import click

from packcalc.cli_layout import (
    bench_no,
    end_study,
    few,
    layout_options,
    ruled,
    sized,
    study_no,
)
from packcalc.door import Command, answer_no, emit, output_options, progress, tell
from packcalc.errors import OutputError

MOST_TOLD = 20

review_option = click.option(
    "--review", "reviews", metavar="FILE", multiple=True,
    help="Marks to put beside the decisions, .json or .csv; may be given again.")


def merged(study: Any, reviews: Sequence[str], bench: Any, quiet: bool) -> Any:
    """The decisions of a study with the marks of the named files; None where none is named."""
    if not reviews:
        return None
    from packcalc.review import read_review
    from packcalc.review_merge import merge

    with progress("reading the marks and checking changes again", quiet):
        return merge(study, [read_review(name) for name in reviews], bench)


def end_review(review: Any, bench: Any, quiet: bool, also: str = "") -> None:
    """Exit code of a merged review: a no where something is rejected, breaks or is left unread.

    One line names every reason with its count, the gravest first.

    Args:
        review: the marks merged; None where no file was named.
        bench: what the bench sheet says; a pack that fails as dealt is a no as well.
        quiet: no notes.
        also: why the answer is no without any mark; stands last.
    """
    if review is not None and not quiet:
        for one in review.rewritten[:MOST_TOLD]:
            tell(one.words)
        for words in review.left_beside[:MOST_TOLD]:
            tell(words)
        for words in [w for file in review.files for w in file.cleaned][:MOST_TOLD]:
            tell(words)
        for old, new, count in review.renamed:
            tell(f"{count} mark{'s' * (count != 1)} on the branch {old!r} count under its name "
                 f"now, {new!r}: nothing else of it changed")
        void = sum(len(s.void) for s in review.standings) + len(review.gone)
        if void:
            tell(f"{void} mark{'s are' if void > 1 else ' is'} void: what was marked changed "
                 "since; look again")
    reasons = [*(_reasons(review) if review is not None else ())]
    if bench.failing:
        reasons.append(bench_no(bench))
    if reasons:
        answer_no("; ".join(filter(None, (*reasons, also))), quiet)


def _reasons(review: Any) -> Iterator[str]:
    """Why marks make the answer a no, each with its count, the gravest first."""
    changes = review.rechecks
    for found, one, many in (
            ([s.decision.id for s in review.rejected], "decision is rejected",
             "decisions are rejected"),
            ([r.decision_id for r in changes if r.breaks],
             "change that was asked for breaks something",
             "changes that were asked for break something"),
            ([r.decision_id for r in changes if r.lost and not r.breaks],
             "change that was asked for loses what was shown",
             "changes that were asked for lose what was shown"),
            ([r.decision_id for r in changes if r.raised and not (r.breaks or r.lost)],
             "change that was asked for raises what is not shown",
             "changes that were asked for raise what is not shown"),
            ([f"{r.decision_id} to {r.asked}" for r in review.not_understood],
             "change that was asked for could not be checked",
             "changes that were asked for could not be checked")):
        if found:
            yield f"{len(found)} {one if len(found) == 1 else many}: {few(found)}"
    if review.rewritten:
        yield (f"{len(review.rewritten)} printed cells of the sheet were written in; marks in "
               "those rows are not counted")
    left = len(review.left_beside)
    if left:
        yield (f"{left} mark{'s' * (left != 1)} of an earlier sheet that was written in "
               f"{'are' if left > 1 else 'is'} not counted")


@click.command("review", cls=Command, short_help="Write the sheet for the reviewer to mark.")
@click.argument("brief")
@layout_options
@review_option
@click.option("--rules", metavar="KEY", default="common core", show_default=True,
              help="Jurisdiction for the path to a signature, e.g. new-zealand.")
@output_options
def review_sheet(brief: str, layout: str, arrangement: str | None,
                 module: tuple[int, ...] | None, reviews: tuple[str, ...], rules: str, out: str,
                 format_: str | None, table: str | None, quiet: bool) -> None:
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
    from packcalc.report.review_report import TITLE, review_document

    ruled(rules)
    wanted = format_ or (format_of(out) if out != "-" else "text")
    sheet = wanted in ("csv", "json") and table is None
    if sheet and out != "-" and os.path.isfile(out) and os.path.getsize(out):
        raise OutputError(f"{out}: exists, and marks may stand in it; name another file")
    study = sized(brief, layout, arrangement, module, quiet, (out, format_, table), TITLE)
    bench = api.bench_of(study)
    found = merged(study, reviews, bench, quiet)
    if sheet:
        _write(_marks(study, found, bench, wanted, out), out, quiet)
    else:
        emit(review_document(study, found, rules, bench), out, format_, table, quiet)
    end_review(found, bench, quiet, study_no(study))
    end_study(study, quiet)


def _marks(study: Any, review: Any, bench: Any, wanted: str, out: str) -> str:
    """A file of marks as text, ready to be marked, with every mark that was handed in."""
    from packcalc.decisions import decisions
    from packcalc.report.cautions import CAUTIONS, DEFERENCE
    from packcalc.review import HOW_TO_MARK, as_csv, as_json, blank_file
    from packcalc.review_carry import carried, readable

    file = blank_file(study, decisions(study, bench))
    if review:
        file = carried(review, file)
    text = as_json(file, (*CAUTIONS, DEFERENCE)) if wanted == "json" else as_csv(
        study, file.marks, (*CAUTIONS, DEFERENCE, HOW_TO_MARK), bench, file=file)
    return readable(text, file, out)


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
