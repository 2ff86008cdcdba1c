"""Marks of several reviewers held beside the decisions of today.

A mark whose decision rests on something else than when it was given is void; every other
mark stands. Nothing reads as accepted that nobody accepted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace

from packcalc.brief import Brief
from packcalc.checks import FAIL, NOT_EVALUATED
from packcalc.decisions import Decision, decisions
from packcalc.errors import Fault, InputErrors
from packcalc.measured import Measured
from packcalc.marks import (
    ACCEPT,
    ACCEPTED,
    CHANGE,
    CHANGE_ASKED,
    CONFLICT,
    LEFT,
    NOT_CHECKED,
    NOT_MARKED,
    NOT_MY_FIELD,
    REJECT,
    REJECTED,
    VOID,
    Mark,
)
from packcalc.protection import ProtectionStudy
from packcalc.reading.positions import one_line
from packcalc.review import (
    MOST_FAULTS,
    PRINTED,
    ReviewFile,
    Rewritten,
    alike,
    check_review,
    printed_cells,
    rewritten,
)
from packcalc.review_change import Recheck, recheck
from packcalc.review_renamed import renamed
from packcalc.review_since import Moved, moved, told
from packcalc.value import value_object

_DECIDED = {ACCEPT: ACCEPTED, CHANGE: CHANGE_ASKED, REJECT: REJECTED}


@value_object
class Standing:
    """One decision with the marks given to it.

    Attributes:
        decision: as it is today.
        marks: that hold, in the order read.
        void: given to something else than stands today.
        superseded: of the same person, with an earlier date.
        rechecks: one for each change that is asked for, by whoever asks for it.
    """

    decision: Decision
    marks: tuple[Mark, ...] = ()
    void: tuple[Mark, ...] = ()
    superseded: tuple[Mark, ...] = ()
    rechecks: tuple[Recheck, ...] = ()

    @property
    def word(self) -> str:
        """One of STANDINGS."""
        said = {(m.verdict, m.change_to) for m in self.marks if m.verdict in _DECIDED}
        if len(said) > 1:
            return CONFLICT
        if said:
            return _DECIDED[next(iter(said))[0]]
        if any(m.verdict in (NOT_CHECKED, NOT_MY_FIELD) for m in self.marks):
            return LEFT
        return VOID if self.void else NOT_MARKED

    @property
    def against_check(self) -> bool:
        """Accepted although the check of today does not pass."""
        return self.word == ACCEPTED and self.decision.verdict in (FAIL, NOT_EVALUATED)


@value_object
class Review:
    """Every decision with its marks.

    Attributes:
        standings: one a decision, gravest first.
        gone: marks whose decision exists no longer; void.
        files: what was read.
        rewritten: printed cells of a sheet that somebody wrote in; marks in those rows are
            not counted.
        input_digest: of the brief of today.
        brief: of today; None where no marks were read.
        moved: entries that read otherwise than when a file's marks were given, by its place.
        renamed: (old name, new name, how many marks hold all the same) of branches.
    """

    standings: tuple[Standing, ...]
    gone: tuple[Mark, ...] = ()
    files: tuple[ReviewFile, ...] = ()
    rewritten: tuple[Rewritten, ...] = ()
    input_digest: str = ""
    brief: Brief | None = None
    moved: Mapping[str, tuple[Moved, ...]] = field(default_factory=dict)
    renamed: tuple[tuple[str, str, int], ...] = ()

    def why_void(self, mark: Mark, decision: Decision) -> str:
        """What can be told of a void mark: the entries under it that read otherwise, cells of its
        sheet that do, else whether the brief changed; a mark itself carries no more."""
        file = next((f for f in self.files if mark in f.marks), None)
        if file is None:
            return ""
        was = file.printed(mark)
        now = dict(zip(PRINTED, printed_cells(decision), strict=True))
        said = [f"{column} was {one_line(was[column], 120)!r}" for column in PRINTED
                if column in was and not alike(now[column], was[column])]
        changes = self.moved.get(file.place, ())
        if entries := told(decision, self.brief, changes) if self.brief else "":
            said.insert(0, entries)
        elif file.input_digest:
            said.append("the text of the brief changed" if file.input_digest != self.input_digest
                        else "the text of the brief did not: look at bench sheet, parts list, "
                        "records beside it, and the version of packcalc")
        return "; ".join(said)

    @property
    def reviewers(self) -> tuple[tuple[str, str, str], ...]:
        """(name, scope, licence) of everybody who gave a mark."""
        return tuple(dict.fromkeys((m.name, m.scope, m.licence)
                                   for file in self.files for m in (*file.marks, *file.gone)))

    @property
    def carried(self) -> ReviewFile:
        """Every mark that counts or counted, for a file written anew: nothing of it is lost.

        Its day of issue is the earliest of the files that were read; its version is left open.
        What was given to other figures than today's stands apart, never beside those of today.
        """
        issued = [day for file in self.files
                  for day in ([file.issued] if file.issued else [m.date for m in file.marks])]
        every = [(s, m) for s in self.standings for m in (*s.marks, *s.superseded, *s.void)]
        return ReviewFile("", tuple(m for s, m in every if m.digest == s.decision.digest),
                          issued=min(issued, default=""), gone=(*(
                              m for s, m in every if m.digest != s.decision.digest), *self.gone))

    def count(self, word: str) -> int:
        """How many decisions stand so."""
        return sum(s.word == word for s in self.standings)

    @property
    def rejected(self) -> tuple[Standing, ...]:
        """Decisions that somebody rejects, also where another reviewer says otherwise."""
        return tuple(s for s in self.standings if any(m.verdict == REJECT for m in s.marks))

    @property
    def not_understood(self) -> tuple[Recheck, ...]:
        """Changes that could not be held against anything."""
        return tuple(r for r in self.rechecks if not r.understood)

    @property
    def rechecks(self) -> tuple[Recheck, ...]:
        """Every change that was asked for, checked again."""
        return tuple(r for s in self.standings for r in s.rechecks)


def merge(study: ProtectionStudy, files: Sequence[ReviewFile] = (),
          bench: Measured = Measured()) -> Review:
    """The decisions of a study with the marks of every file.

    Args:
        study: as it is today.
        files: marks, as read.
        bench: what the bench sheet says against the study, see `api.bench_of`.

    Raises:
        InputErrors: a file belongs to another design or names ids that cannot be.
    """
    for file in files:
        check_review(file, study, bench)
    lines = decisions(study, bench)
    owner = {name: d.id for d in lines for name in (d.id, *d.aliases)}
    given: dict[str, list[Mark]] = {d.id: [] for d in lines}
    read = [_read(file, study, lines, bench) for file in files]
    gone: list[Mark] = []
    for mark in dict.fromkeys((*(m for one in read for m in one.counted),
                               *(m for one in read for m in one.file.gone))):
        place = given.get(owner.get(mark.decision_id, ""))
        (gone if place is None else place).append(mark)
    return Review(tuple(_standing(study, d, given[d.id]) for d in lines), tuple(gone),
                  tuple(one.file for one in read),
                  tuple(dict.fromkeys(c for one in read for c in one.rewritten)),
                  study.brief.digest, study.brief if files else None,
                  {one.file.place: moved(one.file.entries, study.brief) for one in read},
                  tuple(one.renamed for one in read if one.renamed[2]))


def check_once(review: Review) -> None:
    """Refuse to write anew what no file may hold: one person's two marks of one day.

    Nobody but that person knows which was the last, and neither may be lost.

    Raises:
        InputErrors: one line for each such pair, with both files.
    """
    where: dict[tuple[str, ...], tuple[ReviewFile, Mark]] = {}
    faults = []
    for file in review.files:
        for mark in dict.fromkeys((*file.marks, *file.gone)):
            key = (mark.decision_id, mark.name, mark.scope, mark.digest, mark.date)
            first, other = where.setdefault(key, (file, mark))
            if other != mark:
                faults.append(Fault(
                    file.place, 0, one_line(mark.decision_id, 80),
                    f"{one_line(mark.name, 60)} marks it {one_line(mark.verdict, 20)!r} on "
                    f"{mark.date}, and {one_line(other.verdict, 20)!r} on the same day in "
                    f"{first.place}", "take the one that no longer counts out of its file, then "
                    "write the sheet again"))
    if faults:
        raise InputErrors(faults[:MOST_FAULTS])


@value_object
class _Read:
    """A file with its marks on the decisions as they are called today.

    Attributes:
        file: so.
        counted: its marks but those beside a printed cell that reads otherwise.
        rewritten: those cells.
        renamed: old and new name of a branch, and how many marks hold all the same.
    """

    file: ReviewFile
    counted: tuple[Mark, ...]
    rewritten: tuple[Rewritten, ...]
    renamed: tuple[str, str, int] = ("", "", 0)


def _read(file: ReviewFile, study: ProtectionStudy, lines: Sequence[Decision],
          bench: Measured) -> _Read:
    other = renamed(file, study, lines, bench)
    known = [*lines, *(d for d in (other.lines if other else ()) if d.digest not in
                       {one.digest for one in lines})]
    found = rewritten(file, known)
    beside = {(one.decision_id, one.name) for one in found}
    counted = tuple(m for m in file.marks if (m.decision_id, m.name) not in beside)
    if other is None:
        return _Read(file, counted, found)
    today = replace(file, marks=tuple(map(other.of_today, file.marks)),
                    gone=tuple(map(other.of_today, file.gone)),
                    entries=other.entries(file.entries))
    digests = {d.digest for d in lines}
    holds = sum(one != now and now.digest in digests for one, now in zip(
        (*file.marks, *file.gone), (*today.marks, *today.gone), strict=True))
    return _Read(today, tuple(map(other.of_today, counted)), found, (other.old, other.new, holds))


def _standing(study: ProtectionStudy, decision: Decision, marks: Sequence[Mark]) -> Standing:
    holding = [m for m in marks if m.digest == decision.digest]
    void = tuple(m for m in marks if m.digest != decision.digest)
    last = _last_word(holding)
    stand = tuple(m for m in holding if m in last)
    asked: dict[str, list[str]] = {}
    for mark in stand:
        if mark.verdict == CHANGE:
            asked.setdefault(" ".join(mark.change_to.split()), []).append(mark.name)
    rechecks = tuple(recheck(study, decision, change, " and ".join(dict.fromkeys(names)))
                     for change, names in asked.items())
    answered = tuple(m for m in void if any(
        _person(m) == _person(one) and m.date <= one.date for one in stand))
    return Standing(decision, stand, tuple(m for m in void if m not in answered),
                    (*(m for m in holding if m not in last), *answered), rechecks)


def _last_word(marks: Sequence[Mark]) -> set[Mark]:
    """The latest marks of each person; two of one day both stand, and may conflict."""
    latest: dict[tuple[str, str], str] = {}
    for mark in marks:
        latest[_person(mark)] = max(latest.get(_person(mark), ""), mark.date)
    return {m for m in marks if m.date == latest[_person(m)]}


def _person(mark: Mark) -> tuple[str, str]:
    return mark.name.casefold(), mark.scope.casefold()
