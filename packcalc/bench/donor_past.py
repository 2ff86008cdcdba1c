"""What the brief's `[donor]` says of crash and water, held against the rows of its modules.

Both files tell the same two facts of one pack. A row that says nothing takes the donor's answer;
where the two differ the user is asked, and the worse answer counts meanwhile. A row of which
nobody knows whether it is the donor's takes a harm, and never that there was none.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from difflib import SequenceMatcher
from typing import Literal

from packcalc.bench.sheet import BenchRow, BenchSheet, some_marks
from packcalc.brief import Donor
from packcalc.checks import CAUTION, NOT_EVALUATED
from packcalc.units import several
from packcalc.value import replace

FACTS = {"crash": "crashed or burnt", "water": "in water"}
SAY_NOTHING = ("a", "an", "the", "of", "donor", "pack", "battery", "module", "modules", "invented")
A_SLIP = 0.9  # likeness of two names that are the same but for a letter or two
Whose = Literal["its own", "open", "another's"]


def whose(row: BenchRow, donor: Donor, alone: bool) -> Whose:
    """Whether a row is of the brief's donor: by the name that it gives, else by its type.

    Args:
        row: of a bench sheet.
        donor: of the brief.
        alone: whether a row that names none can be of no other donor.
    """
    own, title = (" ".join(text.casefold().split()) for text in (row.donor, donor.title))
    if own and own == title:
        return "its own"
    if own:
        return "open" if _alike(own, title) else "another's"
    same = row.module is None or row.module.id == donor.module.id
    return "its own" if same and alone else "open"


def _alike(own: str, title: str) -> bool:
    """Whether two names may be one: all words of one in the other, or the same but for a slip.

    Names of which the figures differ are two.
    """
    one, other = ({w for w in re.findall(r"\w+", name) if w not in SAY_NOTHING}
                  for name in (own, title))
    if one and other and (one <= other or other <= one):
        return True
    figures = [re.findall(r"\d+", name) for name in (own, title)]
    return figures[0] == figures[1] and SequenceMatcher(None, own, title).ratio() >= A_SLIP


def _rows(sheet: BenchSheet, donor: Donor) -> Iterator[tuple[BenchRow, Whose]]:
    """Rows that name no donor are its own where no row does, and it holds as many modules."""
    holds = sum(donor.sections) * (donor.modules_in_parallel.value or 1)
    alone = len(sheet.rows) <= holds and not any(row.donor for row in sheet.rows)
    return ((row, whose(row, donor, alone)) for row in sheet.rows)


def _answers(row: BenchRow, donor: Donor, of: Whose) -> dict[str, str]:
    """What the donor says instead of the row."""
    found = {}
    for name in FACTS:
        own, said = getattr(row, name), getattr(donor, name)
        if said == "yes" and of != "another's" and own != "yes" \
                or said == "no" and of == "its own" and not own:
            found[name] = said
    return found


def with_donor(sheet: BenchSheet, donor: Donor | None) -> BenchSheet:
    """The sheet as it counts: the worse answer of row and donor, the donor's where a row is blank.

    Args:
        sheet: as read.
        donor: of the brief, where it describes one.
    """
    if donor is None:
        return sheet
    rows = []
    for row, of in _rows(sheet, donor):
        answers = _answers(row, donor, of)
        rows.append(replace(row, **answers, by_donor=tuple(answers)) if answers else row)
    return replace(sheet, rows=tuple(rows))


def otherwise(sheet: BenchSheet, donor: Donor | None) -> Iterator[tuple[BenchRow, str, str]]:
    """(row, column, what the donor says) wherever row and donor say yes and no of one fact."""
    for row, of in _rows(sheet, donor) if donor is not None else ():
        for name in FACTS:
            own, said = getattr(row, name), getattr(donor, name)
            if (own, said) == ("no", "yes") and of != "another's" \
                    or (own, said) == ("yes", "no") and of == "its own":
                yield row, name, said


def donor_told(sheet: BenchSheet, donor: Donor | None) -> tuple[tuple[str, str], ...]:
    """(verdict, words) of what the donor's past does to the sheet; empty where it does nothing."""
    if donor is None:
        return ()
    odd = tuple(dict.fromkeys(row.mark for row, _, _ in otherwise(sheet, donor)))
    found = [(NOT_EVALUATED, "row and brief's [donor] contradict each other on crash or water, and "
              f"the worse counts, for {_of(odd, sheet)}")] if odd else []
    counted = with_donor(sheet, donor).rows
    for name, words in FACTS.items():
        marks = [row.mark for row in counted
                 if name in row.by_donor and getattr(row, name) == "yes" and row.mark not in odd]
        if marks:
            found.append((CAUTION, f"the brief's [donor] is said to have been {words}, and that "
                          f"counts for {_of(marks, sheet)}"))
    return (*found, *_of_no_row(sheet, donor))


def _of_no_row(sheet: BenchSheet, donor: Donor) -> Iterator[tuple[str, str]]:
    """A donor that was harmed, and whose name stands in no row."""
    harms = [words for name, words in FACTS.items() if getattr(donor, name) == "yes"]
    if harms and sheet.rows and all(of == "another's" for _, of in _rows(sheet, donor)):
        names = some_marks(tuple(dict.fromkeys(row.donor for row in sheet.rows)))
        yield (NOT_EVALUATED, f"the brief's [donor], {donor.title}, is said to have been "
               f"{' and '.join(harms)}, and no row names it: the rows name {names}; if that is the "
               "same pack, write both names alike")


def _of(marks: tuple[str, ...] | list[str], sheet: BenchSheet) -> str:
    which = "" if len(marks) == len(sheet.rows) else f" ({some_marks(marks)})"
    return f"{len(marks)} of {several(len(sheet.rows), 'module')}{which}"
