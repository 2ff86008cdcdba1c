"""The commands of the bench: grade a sheet, enter one by hand, take a donor apart."""

from __future__ import annotations

import datetime
import sys
from typing import Any

import click

from packcalc.door import NO, Command, emit, output_options, progress, tell
from packcalc.errors import UserError

@click.command(cls=Command, short_help="Grade a bench sheet, or enter one by hand.")
@click.argument("sheet", required=False)
@click.option("--brief", metavar="BRIEF",
              help="Brief whose modules, [bench] thresholds and voltage count.")
@click.option("--enter", "by_hand", is_flag=True,
              help="Ask for module after module; each value is kept as soon as it is typed.")
@output_options
def bench(sheet: str | None, brief: str | None, by_hand: bool, out: str, format_: str | None,
          table: str | None, quiet: bool) -> None:
    """Check, summarise and grade the modules of a bench SHEET (CSV).

    Without SHEET, the file that the brief's [bench] names is read. What is odd goes to
    standard error, one line each, with file and row; the sheet is never rewritten. --enter
    goes on with a row that was broken off, or with the open entries of a mark that stands
    already, like a second voltage weeks later. The row in hand lies beside the sheet in
    SHEET.unfinished until it is whole; before a row is written anew, the sheet as it stood
    is kept as SHEET.before.

    \b
    Example:
      packcalc bench mypack/bench.csv --brief mypack/brief.toml
      packcalc bench --enter mypack/bench.csv
    """
    from packcalc.bench import door as bench_door
    from packcalc.reading.told_once import told_once
    from packcalc.report.bench_report import bench_document
    from packcalc.units import several

    asked = bench_door.brief_of(brief)
    place = bench_door.sheet_of(sheet, asked)
    if by_hand:
        _enter(place, asked)
        return
    with progress("grading the modules", quiet):
        lot = bench_door.grade_file(place, asked, *_asked_by_layouts(asked))
    for fault in told_once((q.fault for q in lot.questions), by_key=True):
        tell(str(fault))
    short = bench_door.too_few(lot)
    if short:
        tell(short)
    emit(bench_document(lot, asked), out, format_, table, quiet)
    if lot.questions or short:
        if not quiet:
            many = several(len(lot.questions), "question")
            tell("the answer is no: " + ("fewer good modules than places" if short else
                                         f"{many} open"))
        sys.exit(NO)


def _asked_by_layouts(brief: Any) -> Any:
    """Highest voltage and count of modules by the brief's layouts; [bench] counts where more."""
    from packcalc.highest_voltage import asked_of_bench

    return (None, 0) if brief is None else asked_of_bench(brief)


def _enter(place: str, brief: Any) -> None:
    from packcalc.bench import door as bench_door
    from packcalc.bench.enter import enter, open_session
    from packcalc.report.cautions import SHORT

    session = open_session(place, bench_door.default_type(brief), brief.bench if brief else None,
                           datetime.date.today().isoformat(), bench_door.types_of(brief),
                           brief.donor if brief else None)
    click.echo(SHORT)

    def hear(words: str) -> str:
        try:
            return click.prompt(words, default="", show_default=False)
        except click.Abort as end:
            raise EOFError from end

    added = enter(session, click.echo, hear)
    own = f" --brief {brief.place}" if brief is not None else ""
    click.echo(f"{added} added" + (f"; next: packcalc bench {place}{own}" if added else ""))


@click.command(cls=Command, short_help="Write the teardown sheet of the donor pack.")
@click.argument("brief")
@output_options
def teardown(brief: str, out: str, format_: str | None, table: str | None, quiet: bool) -> None:
    """Write the teardown sheet of the donor pack that BRIEF describes in [donor].

    \b
    Example:
      packcalc teardown mypack/brief.toml --out mypack/teardown.html
    """
    from packcalc import api
    from packcalc.bench.teardown import teardown as sheet_of
    from packcalc.checks import FAIL
    from packcalc.report.bench_report import teardown_document

    asked = api.read_brief(brief)
    if asked.donor is None:
        raise UserError(f"{asked.place}: no [donor] section; add one with record or label and "
                        "sections = [9, 9]")
    sheet = sheet_of(asked.donor)
    emit(teardown_document(sheet, asked), out, format_, table, quiet)
    failing = [check.title for check in sheet.checks if check.verdict == FAIL]
    if failing:
        if not quiet:
            tell("the answer is no: " + "; ".join(failing))
        sys.exit(NO)


def register(main: click.Group) -> None:
    """Hang the commands of the bench on the command line."""
    main.add_command(bench)
    main.add_command(teardown)
