"""The command line: parse, one call, render. Whatever it prints, `packcalc.api` returns.

How a command ends (exit codes, one line for each mistake) stands in `packcalc.door`.
"""

from __future__ import annotations

import os

import click

from packcalc import __version__, cli_assign, cli_bench, cli_handover, cli_review
from packcalc.cli_handover import as_built_option, held_record, record_no, tell_record
from packcalc.cli_layout import NOTHING_TRIED, end_study, layout_options, sized, study_no
from packcalc.cli_review import end_review, merged, review_option
from packcalc.door import Door, answer_no, emit, output_options, progress, quiet_option
from packcalc.report.cautions import SHORT

SEE = "; see what can kill first"
# Read when numpy is loaded, which no command does before it must. Our arrays are small: threads
# of the linear algebra library cost up to ten times the CPU that they save.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 80}


@click.group(cls=Door, context_settings=CONTEXT, invoke_without_command=True)
@click.version_option(__version__, message="packcalc %(version)s")
@click.pass_context
def main(ctx: click.Context) -> None:
    """Series/parallel layouts and protection candidates from salvaged modules.

    HIGH VOLTAGE, LETHAL DC. Results are candidates for review by a licensed
    electrician; local codes come first. Nothing here approves anything.

    \b
    Example:
      packcalc new mypack
      packcalc check mypack/brief.toml
      packcalc report mypack/brief.toml --out mypack/report.html
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


@main.command(short_help="Write a commented brief, ready to run.")
@click.argument("folder")
@quiet_option
def new(folder: str, quiet: bool) -> None:
    """Write a commented brief, ready to run, into FOLDER.

    FOLDER is made where it does not exist; a brief in it is never overwritten.

    \b
    Example:
      packcalc new mypack
    """
    from packcalc.reading.positions import one_line
    from packcalc.reading.template import write_starter
    from packcalc.report.cautions import CAUTIONS, DEFERENCE

    path = one_line(str(write_starter(folder, (*CAUTIONS, DEFERENCE))))
    if not quiet:
        click.echo(f"{SHORT}\nwritten: {path}\nnext: packcalc check {path}")


@main.command(short_help="Tell all that is wrong or missing in a brief.")
@click.argument("brief")
@output_options
def check(brief: str, out: str, format_: str | None, table: str | None, quiet: bool) -> None:
    """Tell all that is wrong or missing in BRIEF, at once.

    What is wrong goes to standard error, one line each, with file, line, key,
    reason and what would be right. Otherwise the open entries are listed, the
    one that moves the result most first.

    \b
    Example:
      packcalc check mypack/brief.toml
    """
    from packcalc import api
    from packcalc.errors import InputErrors
    from packcalc.reading.bench_brief import rows_left_out, sheet_faults, told_by_donor
    from packcalc.report.brief_report import check_document

    with progress("weighing the open entries", quiet):
        asked = api.read_brief(brief)
        faults = sheet_faults(asked)
        if faults:
            raise InputErrors(faults)
        document = check_document(asked, rows_left_out(asked), told_by_donor(asked))
    emit(document, out, format_, table, quiet)


@main.command(short_help="List every valid layout, and the nearest misses.")
@click.argument("brief")
@click.option("--most", default=20, show_default=True, type=click.IntRange(0), metavar="N",
              help="How many layouts to print; 0 prints all.")
@output_options
def layouts(brief: str, most: int, out: str, format_: str | None, table: str | None,
            quiet: bool) -> None:
    """List every valid layout of the modules on hand, and the nearest misses.

    \b
    Example:
      packcalc layouts mypack/brief.toml --format json
    """
    from packcalc import api

    with progress("screening layouts", quiet):
        study = api.list_layouts(api.read_brief(brief))
    emit(api.report_document(study, most), out, format_, table, quiet)
    if not len(study):
        answer_no("no layout meets the brief" if study.tried else NOTHING_TRIED, quiet)


@main.command(short_help="Size fuse, contactors, cables and pre-charge.")
@click.argument("brief")
@layout_options
@click.option("--part", metavar="KEY", default="",
              help="One part alone with its worked chains, such as main_fuse.")
@click.option("--chains", is_flag=True,
              help="Add every worked chain to the listing; other formats always hold them.")
@output_options
def protect(brief: str, layout: str, arrangement: str | None, module: tuple[int, ...] | None,
            part: str, chains: bool, out: str, format_: str | None, table: str | None,
            quiet: bool) -> None:
    """Size fuse, contactors, cables and pre-charge for one layout of BRIEF.

    \b
    Example:
      packcalc protect mypack/brief.toml --layout 8S2P
      packcalc protect mypack/brief.toml --part main_fuse
    """
    from packcalc.report.compose import protection_document

    study = sized(brief, layout, arrangement, module, quiet, (out, format_, table))
    listing = out == "-" and format_ in (None, "text")
    emit(protection_document(study, part, chains=chains or not listing), out, format_, table,
         quiet)
    end_study(study, quiet, SEE)


@main.command(short_help="Write the whole file for review.")
@click.argument("brief")
@layout_options
@review_option
@as_built_option
@output_options
def report(brief: str, layout: str, arrangement: str | None, module: tuple[int, ...] | None,
           reviews: tuple[str, ...], record: str, out: str, format_: str | None,
           table: str | None, quiet: bool) -> None:
    """Write the whole file for review: layouts, the chosen one, its protection.

    With --review, the marks of reviewers stand beside the decisions; what changed since is
    void, and each change that was asked for is checked again. With --as-built, what was
    really built is held against the design.

    \b
    Example:
      packcalc report mypack/brief.toml --out mypack/report.html
    """
    from packcalc import api

    study = sized(brief, layout, arrangement, module, quiet, (out, format_, table))
    bench = api.bench_of(study)
    review = merged(study, reviews, bench, quiet)
    held = held_record(study, record, quiet)
    with progress("writing the report", quiet):
        document = api.report_document(study, review=review, as_built=held)
    emit(document, out, format_, table, quiet)
    tell_record(held, quiet)
    built = record_no(held)
    end_review(review, bench, quiet, "; ".join(filter(None, (built, study_no(study, SEE)))))
    end_study(study, quiet, SEE, also=built)


@main.group(invoke_without_command=True, short_help="List, show or check cells and modules.")
@click.pass_context
def library(ctx: click.Context) -> None:
    """List the cell and module library; show or check one record.

    \b
    Example:
      packcalc library show nmc-12s-160ah
    """
    if ctx.invoked_subcommand is None:
        ctx.invoke(library_list)


@library.command("list", short_help="List every record.")
@output_options
def library_list(out: str, format_: str | None, table: str | None, quiet: bool) -> None:
    """List every module record and cell class.

    \b
    Example:
      packcalc library list --format json
    """
    from packcalc import api
    from packcalc.report.library_report import library_document

    emit(library_document(api.library(), api.cell_classes()), out, format_, table, quiet)


@library.command("show", short_help="Print one record with its provenance.")
@click.argument("record_id", metavar="ID")
@output_options
def library_show(record_id: str, out: str, format_: str | None, table: str | None,
                 quiet: bool) -> None:
    """Print one module record, or one cell class, with its provenance.

    \b
    Example:
      packcalc library show lfp-8s-100ah
      packcalc library show NMC
    """
    from packcalc.report.library_report import document_of

    emit(document_of(record_id), out, format_, table, quiet)


@library.command("check", short_help="Check a module record of your own.")
@click.argument("file")
@output_options
def library_check(file: str, out: str, format_: str | None, table: str | None,
                  quiet: bool) -> None:
    """Tell all that is wrong in a module record of your own, or print it.

    \b
    Example:
      packcalc library check my-module.toml
    """
    from packcalc.reading.library import check_record
    from packcalc.report.library_report import record_document

    emit(record_document(check_record(file)), out, format_, table, quiet)


@main.command(short_help="List every formula, or print one.")
@click.argument("name", required=False)
@output_options
def formulas(name: str | None, out: str, format_: str | None, table: str | None,
             quiet: bool) -> None:
    """List every formula, or one with its symbols, range and worked example.

    \b
    Example:
      packcalc formulas constant_power_current
    """
    from packcalc.report.formulas_report import formula_document, formulas_document

    document = formula_document(name) if name else formulas_document()
    emit(document, out, format_, table, quiet)


@main.command(short_help="List the columns of a bench sheet or a parts list.")
@click.argument("sheet", metavar="[bench|parts]")
@output_options
def columns(sheet: str, out: str, format_: str | None, table: str | None, quiet: bool) -> None:
    """List the columns of a bench sheet or of a parts list, with what each says.

    \b
    Example:
      packcalc columns parts
    """
    from packcalc.report.columns_report import columns_document

    emit(columns_document(sheet), out, format_, table, quiet)


for _more in (cli_bench, cli_assign, cli_review, cli_handover):
    _more.register(main)


if __name__ == "__main__":
    main()
