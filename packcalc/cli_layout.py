"""What the commands that size one layout share: how it is named, and the study of it."""

from __future__ import annotations

from typing import Any

import click

from packcalc.door import answer_no, emit, progress

NOTHING_TRIED = "no layout can be tried yet; see what to find first"


class Entries(click.ParamType):
    """One number of a `[[modules]]` entry, or two with a comma."""

    name = "entries"

    def convert(self, value: Any, param: Any, ctx: Any) -> Any:
        found = value if isinstance(value, tuple) else tuple(
            int(part) if part.isascii() and part.isdigit() and len(part) < 7 else 0
            for part in str(value).split(","))
        if len(found) > 2 or min(found) < 1:
            self.fail(f"{str(value)[:40]!r} is no number of a [[modules]] entry, from 1, nor two "
                      "like 1,3", param, ctx)
        return found


def layout_options(command: Any) -> Any:
    """--layout, --arrangement and --module."""
    for option in (
        click.option("--module", type=Entries(), metavar="N[,M]",
                     help="Which [[modules]] entry, or both of two types, as the lists print "
                          "them; the one that fits best when not given, and asked for where "
                          "several candidates have the layout's name."),
        click.option("--arrangement", type=click.Choice(("grouped", "strings")),
                     help="How modules are paralleled; whichever fits best when not given."),
        click.option("--layout", metavar="16S2P", default="",
                     help="Layout to take; the best one when not given."),
    ):
        command = option(command)
    return command


def sized(brief: str, layout: str, arrangement: str | None, module: tuple[int, ...] | None,
          quiet: bool, to: tuple[str, str | None, str | None] | None = None) -> Any:
    """A protection study; where no module can be tried, that answer goes out and ends the run.

    Args:
        brief: path of its file.
        layout, arrangement, module: which layout.
        quiet: no progress and no notes.
        to: file, format and table of that answer; None where the page asked for cannot stand
            without a layout: a mistake of the call then.
    """
    from packcalc import api

    with progress("screening layouts and sizing the protection", quiet):
        asked = api.read_brief(brief)
        untried = api.untried(asked) if to else None
        if to is None or untried is None:
            return api.size_protection(asked, layout, arrangement=arrangement, module=module)
    from packcalc.report.layouts_report import untried_document
    from packcalc.study import runs_of

    if layout:
        runs_of(layout)  # what is no notation is a mistake of the call all the same
    api.module_entries(asked, module)
    emit(untried_document(untried), *to, quiet)
    answer_no(NOTHING_TRIED, quiet)
