"""packcalc from Python: the same steps as the command line, as objects.

Quantities go in as texts with units or as pint quantities of any registry; what comes out
keeps its chain. Every mistake raises a named error of `packcalc.errors`.
"""

from __future__ import annotations

import operator
import os
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from packcalc.errors import OutOfRange, UserError

if TYPE_CHECKING:
    import pandas

    from packcalc.bench.grade import GradedLot
    from packcalc.brief import Brief
    from packcalc.cells import CellClass
    from packcalc.handover.as_built import Held
    from packcalc.findings import Finding, Formula
    from packcalc.measured import Measured
    from packcalc.modules import ModuleType
    from packcalc.protection import ProtectionStudy
    from packcalc.report.document import Document
    from packcalc.review_merge import Review
    from packcalc.study import LayoutStudy
    from packcalc.worst_measured import Salvage

Modules = int | Sequence[int] | str | None  # which entries, see `size_protection`

__all__ = ["cell_classes", "formulas", "layouts_frame", "library", "list_layouts", "make_brief",
           "read_brief", "record", "render_report", "report_document", "size_protection",
           "untried", "write_report"]


def read_brief(path: str | os.PathLike[str]) -> Brief:
    """Read a brief from its TOML file.

    Args:
        path: of the file.

    Raises:
        InputErrors: everything wrong with it, each with line and key.

    Examples:
        >>> read_brief("no/such/brief.toml")  # doctest: +ELLIPSIS
        Traceback (most recent call last):
        packcalc.errors.InputErrors: no/such/brief.toml: does not exist, nor does its folder; ...
    """
    from packcalc.reading.brief_file import read_brief as read

    if not isinstance(path, (str, os.PathLike)):
        raise UserError(f"a brief is read from the path of its file, not from {_shown(path)}")
    return read(path)


def make_brief(data: Mapping[str, Any], place: str = "python") -> Brief:
    """A brief from a dictionary of the same shape as the TOML file.

    Args:
        data: texts with units, pint quantities, bare counts; what is left out is unknown.
        place: how origins and faults call it.

    Raises:
        InputErrors: everything wrong with it, each with its key.

    Examples:
        >>> asked = make_brief({
        ...     "modules": [{"label": "6s 240 Ah NMC", "count": 18}],
        ...     "inverter": {"voltage_range": "240 V to 420 V"},
        ...     "power": {"peak": "60 kW", "peak_duration": "10 s"},
        ...     "battery": {"coldest_start": "15 degC", "coldest_closed": "15 degC"}})
        >>> asked.power.peak.shown
        '60.00 kW'
    """
    from packcalc.reading.brief_file import brief_from_data

    return brief_from_data(data, place)


def list_layouts(brief: Brief) -> LayoutStudy:
    """Every layout of the modules on hand, ranked, and the nearest misses.

    Examples:
        >>> study = list_layouts(make_brief({
        ...     "modules": [{"label": "6s 240 Ah NMC", "count": 18}],
        ...     "inverter": {"voltage_range": "240 V to 420 V"},
        ...     "power": {"peak": "60 kW", "peak_duration": "10 s"},
        ...     "battery": {"coldest_start": "15 degC", "coldest_closed": "10 degC"}}))
        >>> study.layout(0).label
        '16S1P'
    """
    from packcalc.study import list_layouts as listed

    return listed(_brief(brief))


def untried(brief: Brief) -> LayoutStudy | None:
    """The layouts of a brief of which no module can be tried at all; None where one can.

    Nothing can be sized for such a brief; its `refusals` say what is missing.

    Examples:
        >>> study = untried(make_brief({
        ...     "modules": [{"label": "24s 46 Ah LTO", "count": 10}],
        ...     "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}}))
        >>> study.tried, len(study.refusals)
        (0, 1)
    """
    from packcalc.mixes import choices, with_pairs

    tried = not _brief(brief).untold and choices(with_pairs(brief))[0]
    return None if tried else list_layouts(brief)


def layouts_frame(brief: Brief | LayoutStudy, most: int = 0) -> pandas.DataFrame:
    """The ranked layouts as a pandas table; units stand in the column names.

    Args:
        brief: a brief, or its layouts when they are at hand.
        most: how many rows; 0 gives all.

    Returns:
        DataFrame: the columns of `packcalc layouts --format json`, best layout first.

    Examples:
        >>> table = layouts_frame(make_brief({
        ...     "modules": [{"label": "6s 240 Ah NMC", "count": 18}],
        ...     "inverter": {"voltage_range": "240 V to 420 V"},
        ...     "power": {"peak": "60 kW", "peak_duration": "10 s"},
        ...     "battery": {"coldest_start": "15 degC", "coldest_closed": "10 degC"}}))
        >>> table.loc[0, "layout"], table.loc[0, "cells"], int(table.loc[0, "modules_used"])
        ('16S1P', '96s(1×?)p', 16)
    """
    import pandas

    from packcalc.report.data import plain
    from packcalc.report.layouts_report import layouts_table
    from packcalc.study import LayoutStudy

    study = brief if isinstance(brief, LayoutStudy) else list_layouts(brief)
    table = layouts_table(study, most)
    rows = [[plain(cell.data) for cell in row] for row in table.rows]
    return pandas.DataFrame(rows, columns=[column.key for column in table.columns])


def size_protection(brief: Brief, layout: str | None = "", *, arrangement: str | None = "",
                    module: Modules = None) -> ProtectionStudy:
    """Fuse, contactors, cables and pre-charge for one layout.

    Of several layouts that match what is said, the one that fits best is taken; a name that
    candidates of different modules share is refused. Where the bench sheet that the brief names
    shows worse modules than the brief's figures, the worst of those built in counts for every
    one: `packcalc.worst_measured`.

    Args:
        brief: what is asked and on hand.
        layout: e.g. "16S1P"; the best one when empty, or the nearest miss where none fits.
        arrangement: "grouped" or "strings"; either when empty.
        module: which `[[modules]]` entry, from 1; of two types both, as (1, 3) or "1,3". Two
            types side by side also follow by number after the brief's own. Any when None.

    Raises:
        UserError: the layout is no notation, is that of several candidates, or cannot be built
            from the modules on hand.
        InputErrors: the bench sheet cannot be read.
        OutOfRange: no such entry.
        UnknownName: no such arrangement.

    Examples:
        >>> asked = make_brief({
        ...     "modules": [{"label": "6s 240 Ah NMC", "count": 18}],
        ...     "inverter": {"voltage_range": "240 V to 420 V"},
        ...     "power": {"peak": "60 kW", "peak_duration": "10 s"},
        ...     "battery": {"coldest_start": "15 degC", "coldest_closed": "15 degC"}})
        >>> study = size_protection(asked, "16S1P")
        >>> study.items[0].title
        'Highest voltage of the battery side'
    """
    from packcalc.protection import study_protection

    said = _text(layout, "layout", "16S2P"), _text(arrangement, "arrangement", "strings")
    return study_protection(_brief(brief), *said, module_entries(brief, module),
                            bench=_bench_of(brief))


def _bench_of(brief: Brief) -> Callable[[Finding], GradedLot] | None:
    """Grades the bench sheet that a brief names, for a voltage; None where it names none."""
    if brief.bench is None or not brief.bench.file:
        return None
    from packcalc.bench import door

    place = door.sheet_of(None, brief)
    return lambda highest: door.grade_file(place, brief, highest)


def module_entries(brief: Brief, module: Modules) -> tuple[int, ...] | None:
    """The entries that a number, or two, name: 0-based places in the brief with its pairs.

    Args:
        brief: what is on hand.
        module: as for `size_protection`.

    Raises:
        OutOfRange: no such entry, or one that does not say which module it is.
        UserError: no number, nor two.

    Examples:
        >>> asked = make_brief({
        ...     "modules": [{"label": "6s 240 Ah NMC", "count": 18}] * 3,
        ...     "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}})
        >>> module_entries(asked, 2), module_entries(asked, "1,3"), module_entries(asked, None)
        ((1,), (0, 2), None)
    """
    from packcalc.mixes import with_pairs

    if module is None:
        return None
    numbers = _numbers(module)
    count = len(with_pairs(brief).modules) + len(brief.untyped)
    entries = []
    for number in numbers:
        if not 1 <= number <= count:
            raise OutOfRange(f"module {number}: the brief has {count}, counted from 1")
        entry = brief.index_of(number - 1)
        if entry is None:
            raise OutOfRange(f"module {number}: the brief does not say which module it is")
        entries.append(entry)
    return tuple(entries)


def _numbers(module: Modules) -> list[int]:
    """One number or two, as an integer, a sequence of them or a text like "1,3"."""
    parts = module.split(",") if isinstance(module, str) else module
    if not isinstance(parts, (list, tuple)):
        parts = [parts]
    try:
        found = [int(part) if isinstance(part, str) else operator.index(part) for part in parts]
    except (TypeError, ValueError):
        found = []
    if len(found) not in (1, 2) or any(isinstance(part, bool) for part in parts):
        raise UserError(f"module {_shown(module)}: say which [[modules]] entry as its number from "
                        "1, or two of them like 1,3")
    return found


def _text(said: str | None, what: str, right: str) -> str:
    if said is not None and not isinstance(said, str):
        raise UserError(f"{what} {_shown(said)} is no text; write it like {right!r}")
    return said or ""


def _brief(brief: Brief) -> Brief:
    """What a caller gave as a brief, or the reason why it is none."""
    from packcalc.brief import Brief as Kind

    if not isinstance(brief, Kind):
        raise UserError(f"{_shown(brief)} is no brief; packcalc.read_brief(path) or "
                        "packcalc.make_brief({...}) gives one")
    return brief


def _shown(value: Any) -> str:
    return f"{type(value).__name__} {repr(value)[:40]}" if value is not None else "None"


def report_document(study: LayoutStudy | ProtectionStudy, most: int = 20, *,
                    review: Review | None = None, as_built: Held | None = None) -> Document:
    """The neutral document of a study, from which every format is made.

    Args:
        study: layouts, or a protection study for the whole file for review.
        most: how many layouts a list of layouts shows; 0 shows all.
        review: marks to put beside the decisions, see `packcalc.review_merge.merge`; what the
            bench sheet gives is decided there too where `bench_of(study)` goes with it.
        as_built: what was really built, see `packcalc.handover.as_built.hold`.

    Examples:
        >>> asked = make_brief({
        ...     "modules": [{"label": "6s 240 Ah NMC", "count": 18}],
        ...     "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}})
        >>> report_document(list_layouts(asked)).title
        'Layouts'
    """
    from packcalc.study import LayoutStudy

    if isinstance(study, LayoutStudy):
        from packcalc.report.layouts_report import layouts_document

        return layouts_document(study, most)
    from packcalc.report import compose

    return compose.report_document(study, review, as_built)


def salvage_of(study: ProtectionStudy) -> Salvage | None:
    """The bench sheet that the brief names, graded and dealt to the study's layout."""
    return study.salvage


def bench_of(study: ProtectionStudy) -> Measured:
    """What the bench sheet that the brief names says against the figures of a study."""
    from packcalc.measured import measured_against

    return measured_against(study)


def render_report(study: LayoutStudy | ProtectionStudy, format: str = "text") -> str:
    """The report of a study as text, markdown, html, json or csv.

    Raises:
        UnknownName: no such format.

    Examples:
        >>> asked = make_brief({
        ...     "modules": [{"label": "6s 240 Ah NMC", "count": 18}],
        ...     "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}})
        >>> render_report(list_layouts(asked), "markdown").splitlines()[0]
        '# Layouts'
    """
    from packcalc.report.render import render

    return render(report_document(study), format)


def write_report(study: LayoutStudy | ProtectionStudy, path: str | os.PathLike[str],
                 format: str | None = None) -> None:
    """Write the report of a study, whole or not at all.

    Args:
        study: layouts or protection.
        path: its ending names the format: .txt, .md, .html, .json or .csv.
        format: where the ending does not name it.

    Raises:
        OutputError: the place cannot be written.
        UserError: the ending names no format.

    Examples:
        >>> asked = make_brief({
        ...     "modules": [{"label": "6s 240 Ah NMC", "count": 18}],
        ...     "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}})
        >>> write_report(list_layouts(asked), "no/such/report.html")  # doctest: +ELLIPSIS
        Traceback (most recent call last):
        packcalc.errors.OutputError: no/such/report.html: the folder ... does not exist
    """
    from packcalc.report.render import write

    write(report_document(study), path, format)


def library() -> dict[str, ModuleType]:
    """Every module record of the library by its id.

    Examples:
        >>> library()["nmc-6s-240ah"].capacity.shown
        '240.0 Ah'
    """
    from packcalc.reading.library import library as records

    return records()


def cell_classes() -> dict[str, CellClass]:
    """Every cell class of the library by its chemistry.

    Examples:
        >>> sorted(cell_classes())
        ['LFP', 'LMO', 'LTO', 'NCA', 'NMC']
    """
    from packcalc.reading.library import classes

    return classes()


def record(name: str) -> ModuleType:
    """One module record of the library.

    Raises:
        UnknownName: no such record; the message names the nearest one.

    Examples:
        >>> record("nmc-6s-240ah").series
        6
    """
    from packcalc.reading.library import record as one

    return one(name)


def formulas() -> dict[str, Formula]:
    """Every formula by its name.

    Examples:
        >>> formulas()["constant_power_current"].symbol
        'I'
    """
    from packcalc.catalogue import all_formulas

    return all_formulas()
