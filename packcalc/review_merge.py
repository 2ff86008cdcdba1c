"""Marks of several reviewers held beside the decisions of today.

A mark whose decision rests on something else than when it was given is void; every other
mark stands. Nothing reads as accepted that nobody accepted.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field

from packcalc.brief import Brief
from packcalc.checks import FAIL, NOT_EVALUATED
from packcalc.decisions import Decision, decisions, entries_under
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
    PARTLY,
    REJECT,
    REJECTED,
    VOID,
    Mark,
)
from packcalc.protection import ProtectionStudy
from packcalc.reading.positions import one_line
from packcalc.review import (
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
from packcalc.review_since import Entries, Moved, moved, told
from packcalc.value import replace, value_object

_DECIDED = {ACCEPT: ACCEPTED, CHANGE: CHANGE_ASKED, REJECT: REJECTED}


@value_object
class Standing:
    """One decision with the marks given to it.

    Attributes:
        decision: as it is today.
        marks: that hold, in the order read.
        void: given to something else than stands today.
        superseded: of the same person, with an earlier date.
        beside: that stood beside a printed cell that was written in, and count for nothing.
        rechecks: one for each change that is asked for, by whoever asks for it.
    """

    decision: Decision
    marks: tuple[Mark, ...] = ()
    void: tuple[Mark, ...] = ()
    superseded: tuple[Mark, ...] = ()
    beside: tuple[Mark, ...] = ()
    rechecks: tuple[Recheck, ...] = ()

    @property
    def word(self) -> str:
        """One of STANDINGS."""
        word = _word(self.marks, self.void)
        if word != ACCEPTED:
            return word
        return VOID if self.joined else PARTLY if self.of_parts else ACCEPTED

    @property
    def of_parts(self) -> tuple[tuple[str, str], ...]:
        """(part, how it stands) where those that share the figure do not all stand alike.

        A part that came to share it later was marked by nobody who did not see it there.
        """
        own = _word(self.marks, self.void)
        found = [(self.decision.part, own), *((part, _word(*(
            tuple(m for m in marks if m.speaks_for(part)) for marks in (self.marks, self.void))))
            for part in self.decision.also)]
        return tuple(found) if self.marks and any(word != own for _, word in found) else ()

    @property
    def joined(self) -> bool:
        """Whether a void mark was given to a figure that stood apart: nobody accepted it as it
        is, although the one that it has become one with is accepted."""
        return any(m.decision_id != self.decision.id for m in self.void)

    @property
    def against_check(self) -> bool:
        """Accepted although the check of today does not pass."""
        return self.word == ACCEPTED and self.decision.verdict in (FAIL, NOT_EVALUATED)


def _word(marks: Sequence[Mark], void: Sequence[Mark]) -> str:
    """What marks that hold say together; where they say nothing, whether there were others."""
    said = {(m.verdict, m.change_to) for m in marks if m.verdict in _DECIDED}
    if said:
        return CONFLICT if len(said) > 1 else _DECIDED[next(iter(said))[0]]
    if any(m.verdict in (NOT_CHECKED, NOT_MY_FIELD) for m in marks):
        return LEFT
    return VOID if void else NOT_MARKED


@value_object
class Version:
    """What a file of marks says of the version that it was made of.

    Attributes:
        input_digest, entries: of its brief; empty where not known.
        moved: which of them read otherwise today.
    """

    input_digest: str = ""
    entries: Entries = ()
    moved: tuple[Moved, ...] = ()


@value_object
class GivenTo:
    """What a mark was given to: printed cells beside it, by column, and the version."""

    printed: Mapping[str, str]
    version: Version


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
        given_to: what each mark was given to.
        renamed: (old name, new name, how many marks hold all the same) of branches.
        beside: every mark that stood beside a printed cell that was written in.
    """

    standings: tuple[Standing, ...]
    gone: tuple[Mark, ...] = ()
    files: tuple[ReviewFile, ...] = ()
    rewritten: tuple[Rewritten, ...] = ()
    input_digest: str = ""
    brief: Brief | None = None
    given_to: Mapping[Mark, GivenTo] = field(default_factory=dict)
    renamed: tuple[tuple[str, str, int], ...] = ()
    beside: tuple[Mark, ...] = ()

    def why_void(self, standing: Standing) -> tuple[tuple[Mark, str], ...]:
        """What can be told of each void mark of a decision: the entries under it that read
        otherwise, printed cells that do, else whether the brief changed; a mark itself carries
        no more."""
        if not standing.void or self.brief is None:
            return ()
        now = dict(zip(PRINTED, printed_cells(standing.decision), strict=True))
        under = entries_under(standing.decision, self.brief)
        return tuple((mark, "; ".join(self._why(self.given_to[mark], now, under)))
                     for mark in standing.void)

    def _why(self, given: GivenTo, now: Mapping[str, str], under: set[str]) -> Iterator[str]:
        version, was = given.version, given.printed
        entries = told(under, version.moved)
        if entries:
            yield entries
        yield from (f"{column} was {one_line(was[column], 120)!r}" for column in PRINTED
                    if column in was and not alike(now[column], was[column]))
        if version.input_digest and not entries:
            yield ("the text of the brief changed" if version.input_digest != self.input_digest
                   else "the text of the brief did not: look at bench sheet, parts list, "
                   "records beside it, and the version of packcalc")

    @property
    def left_beside(self) -> tuple[str, ...]:
        """Marks beside cells of an earlier sheet that was written in, as long as their giver said
        no later word: in words."""
        told = {m for s in self.standings for m in s.superseded}
        now = {(one.decision_id, one.name) for one in self.rewritten}
        return tuple(f"the mark {one_line(m.verdict, 20)!r} of {one_line(m.name, 60)}, {m.date}, "
                     f"on {one_line(m.decision_id, 90)} is not counted: a printed cell of its row "
                     "was written in; it must be given again" for m in self.beside
                     if m not in told and (m.decision_id, m.name) not in now)

    @property
    def reviewers(self) -> tuple[tuple[str, str, str], ...]:
        """(name, scope, licence) of everybody who gave a mark."""
        return tuple(dict.fromkeys((m.name, m.scope, m.licence)
                                   for file in self.files for m in file.every))

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
    given: dict[str, tuple[list[Mark], list[Mark]]] = {d.id: ([], []) for d in lines}
    read = [_read(file, study, lines, bench) for file in files]
    gone: list[Mark] = []
    counted = dict.fromkeys((*(m for one in read for m in one.counted),
                             *(m for one in read for m in one.file.gone)))
    for mark in counted:
        place = given.get(owner.get(mark.decision_id, ""))
        (gone if place is None else place[0]).append(mark)
    beside = tuple(dict.fromkeys(m for one in read for m in one.beside if m not in counted))
    for mark in beside:
        if mark.decision_id in owner:
            given[owner[mark.decision_id]][1].append(mark)
    return Review(tuple(_standing(study, d, *given[d.id]) for d in lines), tuple(gone),
                  tuple(one.file for one in read),
                  tuple(dict.fromkeys(c for one in read for c in one.rewritten)),
                  study.brief.digest, study.brief if files else None,
                  {mark: to for one in reversed(read) for mark, to in _given_to(
                      one.file, study.brief).items()},
                  tuple(one.renamed for one in read if one.renamed[2]), beside)


def _given_to(file: ReviewFile, brief: Brief) -> dict[Mark, GivenTo]:
    """What the marks of one file were given to: its own version, or an earlier one it tells of."""
    own = Version(file.input_digest, file.entries, moved(file.entries, brief))
    earlier = {mark: version for one in file.earlier for version in (
        Version(one.input_digest, one.entries, moved(one.entries, brief)),) for mark in one.marks}
    made = {m: own for m in file.marks}
    return {m: GivenTo(file.shown.get(m, {}), made.get(m) or earlier.get(m.digest, Version()))
            for m in file.every}


@value_object
class _Read:
    """A file with its marks on the decisions as they are called today.

    Attributes:
        file: so.
        counted: its marks but those beside a printed cell that reads otherwise.
        rewritten: those cells.
        beside: marks beside such cells, of this file and of those that it was written from.
        renamed: old and new name of a branch, and how many marks hold all the same.
    """

    file: ReviewFile
    counted: tuple[Mark, ...]
    rewritten: tuple[Rewritten, ...]
    beside: tuple[Mark, ...]
    renamed: tuple[str, str, int] = ("", "", 0)


def _read(file: ReviewFile, study: ProtectionStudy, lines: Sequence[Decision],
          bench: Measured) -> _Read:
    other = renamed(file, study, lines, bench)
    known = [*lines, *(d for d in (other.lines if other else ()) if d.digest not in
                       {one.digest for one in lines})]
    found = rewritten(file, known)
    beside = {(one.decision_id, one.name) for one in found}
    counted = tuple(m for m in file.marks if (m.decision_id, m.name) not in beside)
    left = (*(m for m in file.marks if (m.decision_id, m.name) in beside), *file.beside)
    if other is None:
        return _Read(file, counted, found, left)
    today = replace(file, marks=tuple(map(other.of_today, file.marks)),
                    gone=tuple(map(other.of_today, file.gone)),
                    beside=tuple(map(other.of_today, file.beside)),
                    shown={other.of_today(m): cells for m, cells in file.shown.items()},
                    entries=other.entries(file.entries),
                    earlier=tuple(replace(one, entries=other.entries(one.entries))
                                  for one in file.earlier))
    digests = {d.digest for d in lines}
    holds = sum(one != now and now.digest in digests for one, now in zip(
        (*file.marks, *file.gone), (*today.marks, *today.gone), strict=True))
    return _Read(today, tuple(map(other.of_today, counted)), found,
                 tuple(map(other.of_today, left)), (other.old, other.new, holds))


def _standing(study: ProtectionStudy, decision: Decision, marks: Sequence[Mark],
              beside: Sequence[Mark]) -> Standing:
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
    said: dict[tuple[str, str], str] = {}
    for mark in stand:
        said[_person(mark)] = max(said.get(_person(mark), ""), mark.date)
    answered = {m for m in (*void, *beside) if _answered(m, decision, said.get(_person(m), ""))}
    return Standing(decision, stand, tuple(m for m in void if m not in answered),
                    (*(m for m in holding if m not in last), *(m for m in (*void, *beside)
                                                               if m in answered)),
                    tuple(m for m in beside if m not in answered), rechecks)


def _answered(mark: Mark, decision: Decision, day: str) -> bool:
    """Whether its giver said a later word, on that day ("" for none); of one day, only where
    both are of the same figure."""
    return mark.date < day or mark.date == day and mark.decision_id == decision.id


def _last_word(marks: Sequence[Mark]) -> set[Mark]:
    """The latest marks of each person; two of one day both stand, and may conflict."""
    latest: dict[tuple[str, str], str] = {}
    for mark in marks:
        latest[_person(mark)] = max(latest.get(_person(mark), ""), mark.date)
    return {m for m in marks if m.date == latest[_person(m)]}


def _person(mark: Mark) -> tuple[str, str]:
    return mark.name.casefold(), mark.scope.casefold()
