"""From file names to a graded lot: the one way that command line and Python both take."""

from __future__ import annotations

import os
from pathlib import Path

from packcalc.bench.grade import GradedLot, grade_sheet
from packcalc.bench.questions import ask
from packcalc.brief import Brief
from packcalc.errors import InputErrors, UserError
from packcalc.modules import ModuleType
from packcalc.reading.bench_brief import default_bench, only_type
from packcalc.reading.bench_sheet import read_with_faults
from packcalc.reading.brief_file import read_brief


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


def grade_file(path: str | os.PathLike[str], brief: Brief | None = None) -> GradedLot:
    """Read and grade a sheet; the file is opened for reading only.

    Raises:
        InputErrors: faults of the file, and with them every question about the rows that
            could be read: all in one run.
    """
    sheet, faults = read_with_faults(path, default_type(brief))
    bench = (brief.bench if brief is not None else None) or default_bench()
    if faults:
        types = tuple(m.module for m in brief.modules) if brief is not None else ()
        issued = brief.date_of_issue if brief is not None else ""
        asked = [q.fault for q in ask(sheet, bench, types, issued)]
        raise InputErrors(sorted([*faults, *asked], key=lambda f: f.line or 10**9))
    return grade_sheet(sheet, bench, brief)


def too_few(lot: GradedLot) -> str:
    """One line when fewer modules are kept than the pack has places, else nothing."""
    places = lot.bench.modules_in_pack
    kept = len(lot.of_grade("keep"))
    if not places.known or kept >= places.number:
        return ""
    undecided = len(lot.of_grade("undecided"))
    return (f"{lot.sheet.place}: {kept} good modules for {places.number:.0f} places; "
            f"{undecided} more are undecided: test them, find others, or build a smaller layout")
