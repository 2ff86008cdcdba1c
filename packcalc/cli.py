"""The command line: parse, one call, render. Whatever it prints, the Python API returns.

Exit codes: 0 done; 1 done, and the answer is no (no layout fits, a check fails); 2 a
mistake in the call or in a file, told in one line each.
"""

from __future__ import annotations

import sys
from typing import Any

import click

from packcalc import __version__
from packcalc.errors import InputErrors, UserError

FORMATS = ("text", "markdown", "html", "json", "csv")
CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 80}


class _Group(click.Group):
    """Tells every user mistake in one line each and exits with 2."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except InputErrors as error:
            for fault in error.faults:
                click.echo(str(fault), err=True)
            many = len(error.faults)
            click.echo(f"{many} fault{'s' if many != 1 else ''}; nothing was written", err=True)
            ctx.exit(2)
        except UserError as error:
            click.echo(str(error), err=True)
            ctx.exit(2)


def _output_options(command: Any) -> Any:
    for option in (
        click.option("--table", metavar="KEY", help="With csv: one table only."),
        click.option("--out", metavar="FILE", default="-", show_default=True,
                     help="File to write; its ending names the format. - is standard output."),
        click.option("--format", "format_", type=click.Choice(FORMATS),
                     help="Format, where the file's ending does not name it."),
    ):
        command = option(command)
    return command


def _emit(document: Any, out: str, format_: str | None, table: str | None) -> None:
    from packcalc.report.render import write

    write(document, out, format_, table=table)
    if out != "-":
        click.echo(f"written: {out}", err=True)


@click.group(cls=_Group, context_settings=CONTEXT)
@click.version_option(__version__, package_name="packcalc", message="packcalc %(version)s")
def main() -> None:
    """Series/parallel layouts and protection candidates from salvaged modules.

    HIGH VOLTAGE, LETHAL DC. Results are candidates for review by a licensed
    electrician; local codes come first. Nothing here approves anything.

    Start: packcalc new mypack; edit mypack/brief.toml; then
    packcalc report mypack/brief.toml --out mypack/report.html
    """


@main.command()
@click.argument("folder")
def new(folder: str) -> None:
    """Write a commented brief, ready to run, into FOLDER.

    Example: packcalc new mypack
    """
    from packcalc.reading.template import write_starter
    from packcalc.report.cautions import CAUTIONS, DEFERENCE

    path = write_starter(folder, (*CAUTIONS, DEFERENCE))
    click.echo(f"written: {path}")
    click.echo(f"next: packcalc check {path}")


@main.command()
@click.argument("brief")
@_output_options
def check(brief: str, format_: str | None, out: str, table: str | None) -> None:
    """Tell all that is wrong or missing in BRIEF, at once.

    Example: packcalc check mypack/brief.toml
    """
    from packcalc.reading.brief_file import read_brief
    from packcalc.report.brief_report import check_document

    _emit(check_document(read_brief(brief)), out, format_, table)


@main.command()
@click.argument("brief")
@click.option("--most", default=20, show_default=True, type=click.IntRange(0),
              help="How many layouts to print; 0 prints all.")
@_output_options
def layouts(brief: str, most: int, format_: str | None, out: str, table: str | None) -> None:
    """List every valid layout of the modules on hand, and the nearest misses.

    Example: packcalc layouts mypack/brief.toml --format json
    """
    from packcalc.reading.brief_file import read_brief
    from packcalc.report.compose import layouts_document
    from packcalc.study import list_layouts

    study = list_layouts(read_brief(brief))
    _emit(layouts_document(study, most), out, format_, table)
    if not len(study):
        sys.exit(1)


def _layout_options(command: Any) -> Any:
    for option in (
        click.option("--module", default=1, show_default=True, type=click.IntRange(1),
                     help="Which [[modules]] entry the layout takes."),
        click.option("--arrangement", type=click.Choice(("grouped", "strings")),
                     help="How the modules are paralleled."),
        click.option("--layout", metavar="16S2P",
                     help="Layout to size; the best one when not given."),
    ):
        command = option(command)
    return command


def _protection(brief: str, layout: str | None, arrangement: str | None, module: int) -> Any:
    from packcalc.protection import study_protection
    from packcalc.reading.brief_file import read_brief

    return study_protection(read_brief(brief), layout or "", arrangement or "", module - 1)


@main.command()
@click.argument("brief")
@_layout_options
@_output_options
def protect(brief: str, layout: str | None, arrangement: str | None, module: int,
            format_: str | None, out: str, table: str | None) -> None:
    """Size fuse, contactors, cables and pre-charge for one layout of BRIEF.

    Example: packcalc protect mypack/brief.toml --layout 16S1P
    """
    from packcalc.report.compose import protection_document

    study = _protection(brief, layout, arrangement, module)
    _emit(protection_document(study), out, format_, table)
    if study.failing:
        sys.exit(1)


@main.command()
@click.argument("brief")
@_layout_options
@_output_options
def report(brief: str, layout: str | None, arrangement: str | None, module: int,
           format_: str | None, out: str, table: str | None) -> None:
    """Write the whole file for review: layouts, the chosen one, its protection.

    Example: packcalc report mypack/brief.toml --out mypack/report.html
    """
    from packcalc.report.compose import report_document

    study = _protection(brief, layout, arrangement, module)
    _emit(report_document(study), out, format_, table)
    if study.failing:
        sys.exit(1)


@main.group(invoke_without_command=True)
@click.pass_context
def library(ctx: click.Context) -> None:
    """List the cell and module library; show or check one record.

    Example: packcalc library show nmc-12s-160ah
    """
    if ctx.invoked_subcommand is None:
        from packcalc.reading.library import library as records
        from packcalc.report.library_report import library_document

        _emit(library_document(records()), "-", None, None)


@library.command("list")
@_output_options
def library_list(format_: str | None, out: str, table: str | None) -> None:
    """List every record.

    Example: packcalc library list --format json
    """
    from packcalc.reading.library import library as records
    from packcalc.report.library_report import library_document

    _emit(library_document(records()), out, format_, table)


@library.command("show")
@click.argument("record_id", metavar="ID")
@_output_options
def library_show(record_id: str, format_: str | None, out: str, table: str | None) -> None:
    """Print one record with its provenance.

    Example: packcalc library show lfp-8s-100ah
    """
    from packcalc.reading.library import record
    from packcalc.report.library_report import record_document

    _emit(record_document(record(record_id)), out, format_, table)


@library.command("check")
@click.argument("file")
def library_check(file: str) -> None:
    """Tell all that is wrong in a module record of your own.

    Example: packcalc library check my-module.toml
    """
    from packcalc.reading.library import check_record
    from packcalc.report.library_report import record_document

    _emit(record_document(check_record(file)), "-", None, None)


@main.command()
@click.argument("name", required=False)
@_output_options
def formulas(name: str | None, format_: str | None, out: str, table: str | None) -> None:
    """List every formula, or one with its worked example.

    Example: packcalc formulas constant_power_current
    """
    from packcalc.report.formulas_report import formula_document, formulas_document

    document = formula_document(name) if name else formulas_document()
    _emit(document, out, format_, table)


if __name__ == "__main__":
    main()
