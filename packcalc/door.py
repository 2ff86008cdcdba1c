"""How a command prints and ends: output options, exit codes, one line for each mistake."""

from __future__ import annotations

import atexit
import contextlib
import gc
import os
import sys
import threading
from collections.abc import Iterator
from typing import Any

import click

from packcalc import __version__
from packcalc.errors import InputErrors, UnknownName, UserError
from packcalc.report.cautions import SHORT

DONE, NO, MISTAKE, FAULT, STOPPED, READER_GONE = 0, 1, 2, 70, 130, 141
EXIT_CODES = (
    "Exit codes: 0 done; 1 done, and the answer is no (no layout fits, a check fails); "
    "2 a mistake in the call or in a file, nothing was written; 70 a fault of packcalc itself; "
    "130 stopped by Ctrl-C; 141 the reader of the output went away."
)
# findings are trees without loops, so that counting references frees them: rare collections
# leave the memory as it is and save a twentieth of a report's time
COLLECT_AFTER = 100_000
PATIENCE = 0.5  # s; what takes longer says what it is doing
DEBUG = "PACKCALC_DEBUG"
FORMATS = ("text", "markdown", "html", "json", "csv")


class _Help(click.HelpFormatter):
    """Help as wide as the screen.

    click asks `shutil` how wide that is, which loads every library of compression.
    """

    def __init__(self, indent_increment: int = 2, width: int | None = None,
                 max_width: int | None = None) -> None:
        super().__init__(indent_increment, width or _screen(max_width or 80), max_width)


def _screen(most: int) -> int:
    """Columns that help may fill: the user's own word, else the terminal's, else 80."""
    said = os.environ.get("COLUMNS", "")
    columns = int(said) if said.isdecimal() else 0
    with contextlib.suppress(AttributeError, ValueError, OSError):
        columns = columns or os.get_terminal_size(sys.__stdout__.fileno()).columns
    return max(min(columns or 80, most) - 2, 50)


class _Context(click.Context):
    formatter_class = _Help


class Command(click.Command):
    """A command whose help ends in the exit codes and the caution."""

    context_class = _Context

    def __init__(self, *args: Any, **extra: Any) -> None:
        # click keeps the help option of the context that met the command first
        extra["context_settings"] = {"help_option_names": ["-h", "--help"],
                                     **(extra.get("context_settings") or {})}
        super().__init__(*args, **extra)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for words in (EXIT_CODES, SHORT):
            formatter.write_paragraph()
            formatter.write_text(words)


class Group(Command, click.Group):
    """A group that knows the near command."""

    command_class = Command

    def resolve_command(self, ctx: click.Context, args: list[str]) -> Any:
        name = args[0]
        if self.get_command(ctx, name) is None and not name.startswith("-"):
            raise UnknownName("command", name, self.list_commands(ctx))
        return super().resolve_command(ctx, args)


Group.group_class = Group


class Door(Group):
    """The whole command line: every ending has its exit code and its one line."""

    # click itself would end a broken pipe with 1, which is our "no"
    def make_context(self, *args: Any, **extra: Any) -> click.Context:
        try:
            return super().make_context(*args, **extra)
        except OSError as error:
            raise click.exceptions.Exit(_output_lost(error)) from error

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except OSError as error:
            raise click.exceptions.Exit(_output_lost(error)) from error

    def main(self, args: Any = None, prog_name: str | None = None, **extra: Any) -> Any:
        """Run; leaves by SystemExit with one of the exit codes, as any program does."""
        extra.pop("standalone_mode", None)
        gc.set_threshold(COLLECT_AFTER)
        atexit.register(gc.freeze)  # the process gives its memory back whole
        try:
            code = super().main(args, "packcalc", standalone_mode=False, **extra)
        except (click.Abort, KeyboardInterrupt):
            code = STOPPED
        except Exception as error:
            code = _ended_by(error)
        sys.exit(code if isinstance(code, int) else DONE)


def _ended_by(error: Exception) -> int:
    """Tell what ended the command, and give its exit code."""
    if isinstance(error, InputErrors):
        for fault in error.faults:
            tell(str(fault))
        many = len(error.faults)
        tell(f"{many} fault{'s' if many != 1 else ''}; mend and run again")
        return MISTAKE
    if isinstance(error, UserError):
        tell(str(error))
        return MISTAKE
    if isinstance(error, click.ClickException):
        context = getattr(error, "ctx", None)
        words = error.format_message().rstrip(".")
        path = context.command_path if context else "packcalc"
        tell(f"{words[:1].lower()}{words[1:]}; try {path} --help")
        return MISTAKE
    return _own_fault(error)


def _output_lost(error: OSError) -> int:
    """Standard output cannot be written: nothing more is sent there, also not at the end."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        place = sys.stdout.fileno()
        os.dup2(os.open(os.devnull, os.O_WRONLY), place)
    if isinstance(error, BrokenPipeError):
        return READER_GONE
    _trace(error)
    tell(f"{error.filename or 'output'}: cannot be written: {error.strerror or error}")
    return MISTAKE


def _own_fault(error: Exception) -> int:
    """A fault of the program: one line."""
    _trace(error)
    tell(f"packcalc {__version__} broke down by a fault of its own ({type(error).__name__}: "
         f"{error}); take no result from this run, and report it with the brief. {DEBUG}=1 "
         "prints the trace")
    return FAULT


def _trace(error: Exception) -> None:
    """The traceback, only for who asks."""
    if os.environ.get(DEBUG):
        import traceback

        traceback.print_exception(error)


# -- what commands share ----------------------------------------------------------------------

quiet_option = click.option("-q", "--quiet", is_flag=True,
                            help="No progress and no notes on standard error.")


def output_options(command: Any) -> Any:
    """The same output options on every command that prints a document."""
    for option in (
        quiet_option,
        click.option("--table", metavar="KEY", help="With csv: one table only, by its key."),
        click.option("--format", "format_", type=click.Choice(FORMATS),
                     help="Format; text when neither this nor the file's ending says."),
        click.option("--out", metavar="FILE", default="-", show_default=True,
                     help="File to write: .txt, .md, .html, .json or .csv; - is standard output."),
    ):
        command = option(command)
    return command


def emit(document: Any, out: str, format_: str | None, table: str | None, quiet: bool) -> None:
    """Print or write a document as the output options ask."""
    from packcalc.report.render import write

    with progress("writing the pages", quiet):
        write(document, out, format_, table=table)
    if out != "-" and not quiet:
        tell(f"written: {out}")


def answer_no(why: str, quiet: bool) -> None:
    """Leave: the answer is whole, and it is no."""
    if not quiet:
        tell(f"the answer is no: {why}")
    sys.exit(NO)


def tell(words: str) -> None:
    """One line on standard error, whatever the words hold."""
    flat = " ".join(words.split())
    click.echo("".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in flat),
               err=True)


@contextlib.contextmanager
def progress(words: str, quiet: bool) -> Iterator[None]:
    """Say on a terminal what is going on, once it takes longer than `PATIENCE`."""
    if quiet or sys.stderr is None or not sys.stderr.isatty():
        yield
        return
    timer = threading.Timer(PATIENCE, tell, [f"{words} …"])
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
