"""A file of marks written anew: every mark of the files that were read, and what is known of it.

What it writes, it reads: a text that would be refused on the way back is not written.
"""

from __future__ import annotations

from collections.abc import Iterable

from packcalc.errors import Fault, InputErrors, OutputError
from packcalc.marks import CHANGE_TO, Mark
from packcalc.reading.positions import one_line
from packcalc.review import (
    LARGEST_REVIEW,
    LONGEST_FIELD,
    MOST_FAULTS,
    MOST_VERSIONS,
    SAME,
    ReviewFile,
    parse_csv,
    parse_json,
)
from packcalc.review_merge import Review, Version
from packcalc.review_since import Earlier
from packcalc.value import replace

JOINED = "licence", "note", "scan"  # may differ in two marks that say the same


def carried(review: Review, blank: ReviewFile) -> ReviewFile:
    """Every mark that counts, counted, or was not counted: nothing of it is lost.

    Its day of issue is the earliest of the files that were read. What was given to other figures
    than today's stands apart, never beside those of today, with the cells that were printed
    beside it and with what the brief said then.

    Args:
        review: the files, merged.
        blank: without marks, for the study of today.

    Raises:
        InputErrors: one line for each pair of marks that no one file may hold.
    """
    days = [day for file in review.files
            for day in ([file.issued] if file.issued else [m.date for m in file.marks])]
    today = {m for s in review.standings for m in (*s.marks, *s.superseded)
             if m.digest == s.decision.digest}
    of = _once(review)
    beside = set(review.beside)
    marks = dict.fromkeys(of[m] for s in review.standings for m in (*s.marks, *s.superseded)
                          if m in today and m not in beside)
    gone = dict.fromkeys(of[m] for m in (
        *(m for s in review.standings for m in (*s.superseded, *s.void)), *review.gone)
        if m not in today and m not in beside)
    apart = (*gone, *review.beside)
    known = {of.get(m, m): to for m, to in review.given_to.items()}
    return replace(blank, marks=tuple(marks), gone=tuple(gone), beside=review.beside,
                   shown={m: known[m].printed for m in apart},
                   earlier=_earlier([(m, known[m].version) for m in apart]),
                   issued=min([*days, blank.issued]) if blank.issued else min(days, default=""))


def _earlier(apart: Iterable[tuple[Mark, Version]]) -> tuple[Earlier, ...]:
    """The versions that void marks were given to, the last ones where there are too many."""
    found: dict[tuple[str, tuple[tuple[str, str], ...]], dict[str, None]] = {}
    for mark, version in apart:
        if version.entries:
            key = version.input_digest, version.entries
            found.setdefault(key, {}).setdefault(mark.digest)
    return tuple(Earlier(digest, tuple(marks), entries)
                 for (digest, entries), marks in found.items())[-MOST_VERSIONS:]


def _once(review: Review) -> dict[Mark, Mark]:
    """Each mark as it is written: one person's two of one day as one, where both say the same.

    Where they do not, nobody but that person knows which was the last, and neither may be lost.
    """
    first: dict[tuple[str, ...], tuple[ReviewFile, Mark]] = {}
    one: dict[tuple[str, ...], Mark] = {}
    faults = []
    beside = set(review.beside)
    for file in review.files:
        for mark in (m for m in file.every if m not in beside):
            key = tuple(getattr(mark, name) for name in SAME)
            place, other = first.setdefault(key, (file, mark))
            joined = _joined(one.setdefault(key, mark), mark)
            if joined is None:
                faults.append(Fault(
                    file.place, 0, one_line(mark.decision_id, 80),
                    f"{one_line(mark.name, 60)} marks it {_said(mark)!r} on {mark.date}, and "
                    f"{_said(other)!r} on the same day in {place.place}", "take the one that no "
                    "longer counts out of its file, then write the sheet again"))
            else:
                one[key] = joined
    if faults:
        raise InputErrors(faults[:MOST_FAULTS])
    return {m: one[tuple(getattr(m, name) for name in SAME)]
            for file in review.files for m in file.every if m not in beside}


def _said(mark: Mark) -> str:
    words = f"{CHANGE_TO} {mark.change_to}" if mark.change_to else mark.verdict
    return one_line(words, 40)


def _joined(one: Mark, other: Mark) -> Mark | None:
    """Both marks as one with the words of both; None where they do not say the same."""
    if (one.verdict, one.change_to.split()) != (other.verdict, other.change_to.split()):
        return None
    both = {key: _both(getattr(one, key), getattr(other, key)) for key in JOINED}
    return None if any(len(text) > LONGEST_FIELD for text in both.values()) else replace(
        one, **both)


def _both(one: str, other: str) -> str:
    return one if other in one else other if one in other else f"{one}; {other}"


def readable(text: str, file: ReviewFile, out: str) -> str:
    """The text of a file of marks, where it reads back as it was meant.

    Args:
        text: as it would be written.
        file: whose marks it carries.
        out: its name.

    Raises:
        OutputError: it would be refused; what to do instead.
    """
    size = len(text.encode("utf-8", "replace"))
    if size > LARGEST_REVIEW:
        raise OutputError(f"{out}: not written: {size} bytes, more than the {LARGEST_REVIEW} that "
                          "are read back; write the marks of fewer reviewers into one file, and "
                          "hand all files to --review")
    try:
        back = (parse_json if text.startswith("{") else parse_csv)(text, out)
    except InputErrors as error:
        raise OutputError(f"{out}: not written, since it would not be read back: "
                          f"{error.faults[0]}") from error
    if set(back.every) != set(file.every):
        raise OutputError(f"{out}: not written: not every mark would be read back as it is")
    return text
