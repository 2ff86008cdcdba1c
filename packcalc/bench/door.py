"""From file names to a graded lot: the one way that command line and Python both take."""

from __future__ import annotations

import os
from pathlib import Path

from packcalc.bench.grade import GradedLot, grade_sheet
from packcalc.bench.questions import ask
from packcalc.brief import Brief
from packcalc.errors import InputErrors, UserError
from packcalc.findings import Finding
from packcalc.modules import ModuleType
from packcalc.reading.bench_brief import default_bench, only_type
from packcalc.reading.bench_sheet import read_with_faults
from packcalc.reading.brief_file import read_brief
from packcalc.reading.told_once import told_once
from packcalc.units import several


def brief_of(path: str | os.PathLike[str] | None) -> Brief | None:
    """The brief, where one is named."""
    return read_brief(path) if path else None


def sheet_of(sheet: str | None, brief: Brief | None) -> str:
    """The sheet as named, else the one that the brief's [bench] names beside the brief.

    Raises:
        UserError: nobody names a sheet.
    """
    if sheet:
        return sheet
    if brief is not None and brief.bench is not None and brief.bench.file:
        return str(Path(brief.place).parent / brief.bench.file)
    raise UserError("which bench sheet? name a CSV file, or a brief whose [bench] has "
                    "file = \"bench.csv\"")


def default_type(brief: Brief | None) -> ModuleType | None:
    """The type of rows that name none: the brief's only one."""
    return None if brief is None else only_type(brief)


def types_of(brief: Brief | None) -> tuple[ModuleType, ...]:
    """The types of the brief, which a row may name."""
    return () if brief is None else tuple(on_hand.module for on_hand in brief.modules)


def grade_file(path: str | os.PathLike[str], brief: Brief | None = None,
               highest: Finding | None = None, in_layout: int = 0) -> GradedLot:
    """Read and grade a sheet; the file is opened for reading only.

    Args:
        path: of the sheet.
        brief, highest, in_layout: as `grade_sheet` has them.

    Raises:
        InputErrors: faults of the file, and with them every question about the rows that
            could be read: all in one run.
    """
    types = types_of(brief)
    sheet, faults = read_with_faults(path, default_type(brief), types)
    bench = (brief.bench if brief is not None else None) or default_bench()
    if faults:
        issued, donor = (brief.date_of_issue, brief.donor) if brief is not None else ("", None)
        asked = [q.fault for q in ask(sheet, bench, types, issued, donor)]
        raise InputErrors(told_once([*faults, *asked], by_key=True))
    return grade_sheet(sheet, bench, brief, highest, in_layout)


def too_few(lot: GradedLot) -> str:
    """One line when fewer modules are kept than the pack has places, else nothing."""
    places = lot.need.places
    kept = len(lot.of_grade("keep"))
    if places is None or not places.known or kept >= places.number:
        return ""
    undecided = len(lot.of_grade("undecided"))
    more = f"{undecided} more {'is' if undecided == 1 else 'are'} undecided: test, " \
        if undecided else ""
    told = "".join(f"; {words}" for _, words in lot.told)
    return (f"{lot.sheet.place}: {several(kept, 'good module')} for "
            f"{several(places.number, 'place')}; {more}find others, or build a smaller layout"
            f"{told}")
