"""What the commands that size one layout share: how it is named, and the study of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click

from packcalc.door import answer_no, emit, progress

NOTHING_TRIED = "no layout can be tried yet; see what to find first"
MOST_NAMED = 5


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


def ruled(rules: str) -> None:
    """Refuse a rule set that nobody knows, before anything is sized.

    Raises:
        UnknownName: no such rule set.
    """
    from packcalc.errors import UnknownName
    from packcalc.handover.certifier import RULE_SETS

    if rules not in RULE_SETS:
        raise UnknownName("rule set", rules, RULE_SETS)


def end_study(study: Any, quiet: bool, see: str = "; see packcalc report", *,
              also: str = "") -> None:
    """Exit code of a page that rests on one layout: no where it fails, or a check of it does.

    Args:
        study: of the layout.
        quiet: no notes.
        see: where the reader finds more.
        also: why the answer is no besides; stands first.
    """
    why = "; ".join(filter(None, (also, study_no(study, see))))
    if why:
        answer_no(why, quiet)


def bench_no(bench: Any) -> str:
    """Why the answer is no for the modules as the bench sheet deals them; "" where it is not."""
    return "the pack as its modules are dealt fails: " + few([c.title for c in bench.failing]) \
        if bench.failing else ""


def few(words: Sequence[str]) -> str:
    """The first few of many, and how many more there are."""
    more = f" and {len(words) - MOST_NAMED} more" if len(words) > MOST_NAMED else ""
    return ", ".join(words[:MOST_NAMED]) + more


def study_no(study: Any, see: str = "; see packcalc report") -> str:
    """Why the answer is no for one layout; "" where it is not."""
    if study.miss:
        by = " with the worst modules of the bench for every one" if study.by_brief else ""
        return f"layout {study.layout.label} does not meet the brief{by}"
    return f"a check of the protection fails{see}" if study.failing else ""


def sized(brief: str, layout: str, arrangement: str | None, module: tuple[int, ...] | None,
          quiet: bool, to: tuple[str, str | None, str | None], page: str = "") -> Any:
    """A protection study; where no module can be tried, that answer goes out and ends the run.

    Args:
        brief: path of its file.
        layout, arrangement, module: which layout.
        quiet: no progress and no notes.
        to: file, format and table of that answer.
        page: title of the page that was asked for; the whole file for review when empty.
    """
    from packcalc import api

    with progress("screening layouts and sizing the protection", quiet):
        asked = api.read_brief(brief)
        untried = api.untried(asked)
        if untried is None:
            return api.size_protection(asked, layout, arrangement=arrangement, module=module)
    from packcalc.report.layouts_report import untried_document
    from packcalc.study import runs_of

    if layout:
        runs_of(layout)  # what is no notation is a mistake of the call all the same
    api.module_entries(asked, module)
    emit(untried_document(untried, page), *to, quiet)
    answer_no(NOTHING_TRIED, quiet)
