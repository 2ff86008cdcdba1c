"""`packcalc assign`: graded modules to the places of a layout."""

from __future__ import annotations

import os
import sys
from typing import Any

import click

from packcalc.cli_layout import Entries
from packcalc.door import NO, emit, output_options, progress, tell
from packcalc.errors import UserError


def study_of(brief_file: str, sheet: str = "", layout: str = "", arrangement: str = "",
             module: tuple[int, ...] | None = None) -> Any:
    """Read a brief and its bench sheet, grade, and deal.

    Args:
        brief_file: of the brief.
        sheet: bench sheet; empty takes `bench.file` of the brief, beside it.
        layout, arrangement, module: as for `protect`; the best layout of one module type
            when no layout is named.

    Raises:
        UserError: no sheet, no layout, or nothing that can be dealt.
    """
    from packcalc.api import module_entries
    from packcalc.bench.assign import assign_modules, at_voltage
    from packcalc.bench.door import types_of
    from packcalc.bench.grade import grade_sheet
    from packcalc.highest_voltage import voltage_of
    from packcalc.reading.bench_brief import only_type
    from packcalc.reading.bench_sheet import read_sheet
    from packcalc.reading.brief_file import read_brief
    from packcalc.study import choose_layout, list_layouts
    from packcalc.worst_measured import Salvage, as_stated, with_worst

    brief = read_brief(brief_file)
    named = sheet or (os.path.join(os.path.dirname(brief_file), brief.bench.file)
                      if brief.bench is not None and brief.bench.file else "")
    if not named:
        raise UserError(f"{brief.place}: no bench sheet: name one with --sheet, or as file in "
                        f"[bench]")
    default = only_type(brief)
    sheet_read = read_sheet(named, default, types_of(brief))
    study = list_layouts(brief)
    chosen = (choose_layout(study, layout, arrangement, module_entries(brief, module))
              if layout else _best(study, brief, arrangement))
    highest = voltage_of(study.brief, chosen)
    lot = grade_sheet(sheet_read, brief=brief, highest=highest,
                      in_layout=chosen.series * chosen.parallel)
    dealt = assign_modules(brief, lot, chosen)
    # Isolation is asked at the voltage that every other command counts, worst modules and all.
    worst = with_worst(study.brief, chosen, Salvage(lot, dealt))
    return at_voltage(dealt, highest if as_stated(worst) is worst else voltage_of(worst, chosen))


def _best(study: Any, brief: Any, arrangement: str) -> Any:
    """The best layout of one of the brief's own module types."""
    for rank in range(len(study)):
        found = study.layout(rank)
        if len(found.parts) == 1 and found.parts[0].entry < len(brief.modules) \
                and arrangement in ("", found.arrangement):
            return found
    raise UserError(f"{brief.place}: no layout of one module type meets the brief; name one with "
                    f"--layout, like 16S2P")


def register(main: click.Group) -> None:
    """Hang the command into the command line."""

    @main.command("assign", short_help="Deal graded modules to the places of a layout.")
    @click.argument("brief")
    @click.option("--sheet", metavar="FILE", default="",
                  help="Bench sheet; the brief's [bench] file when not given.")
    @click.option("--layout", metavar="16S2P", default="",
                  help="Layout to fill; the best one of one module type when not given.")
    @click.option("--arrangement", type=click.Choice(("grouped", "strings")),
                  help="How modules are paralleled; whichever fits best when not given.")
    @click.option("--module", type=Entries(), metavar="N[,M]",
                  help="Which [[modules]] entry a named layout takes; the one that fits best when "
                       "not given, and asked for where several candidates have the layout's name.")
    @output_options
    def assign(brief: str, sheet: str, layout: str, arrangement: str | None,
               module: tuple[int, ...] | None, out: str, format_: str | None, table: str | None,
               quiet: bool) -> None:
        """Deal graded modules to the places of one layout of BRIEF.

        \b
        Example:
          packcalc assign mypack/brief.toml --sheet mypack/bench.csv
        """
        from packcalc.checks import FAIL
        from packcalc.report.assign_report import assignment_document

        with progress("dealing modules", quiet):
            study = study_of(brief, sheet, layout, arrangement or "", module)
        emit(assignment_document(study), out, format_, table, quiet)
        if not study.meets_brief:
            if not quiet:
                failing = "; ".join(c.title for c in study.checks if c.verdict == FAIL)
                tell(f"the answer is no: the assigned pack does not meet the brief: {failing}")
            sys.exit(NO)
