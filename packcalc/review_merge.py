"""Marks of several reviewers held beside the decisions of today.

A mark whose decision rests on something else than when it was given is void; every other
mark stands. Nothing reads as accepted that nobody accepted.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from packcalc.checks import FAIL, NOT_EVALUATED
from packcalc.decisions import Decision, decisions
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
    PRINTED,
    ReviewFile,
    Rewritten,
    alike,
    check_review,
    printed_cells,
    rewritten,
)
from packcalc.review_change import Recheck, recheck
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
    """

    standings: tuple[Standing, ...]
    gone: tuple[Mark, ...] = ()
    files: tuple[ReviewFile, ...] = ()
    rewritten: tuple[Rewritten, ...] = ()
    input_digest: str = ""

    def why_void(self, mark: Mark, decision: Decision) -> str:
        """What can be told of a void mark: cells of its sheet that read otherwise today, and
        whether the brief changed; a mark carries no more of what it was given to."""
        file = next((f for f in self.files if mark in f.marks), None)
        if file is None:
            return ""
        was = next((dict(r.printed) for r in file.rows if r.digest == mark.digest
                    and r.decision_id == mark.decision_id), {})
        now = dict(zip(PRINTED, printed_cells(decision), strict=True))
        said = [f"{column} was {one_line(was[column], 120)!r}" for column in PRINTED
                if column in was and not alike(now[column], was[column])]
        if file.input_digest:
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
    changed = [rewritten(file, lines) for file in files]
    gone: list[Mark] = []
    for mark in dict.fromkeys((*_counted(files, changed), *(m for f in files for m in f.gone))):
        place = given.get(owner.get(mark.decision_id, ""))
        (gone if place is None else place).append(mark)
    return Review(tuple(_standing(study, d, given[d.id]) for d in lines), tuple(gone),
                  tuple(files), tuple(dict.fromkeys(c for found in changed for c in found)),
                  study.brief.digest)


def _counted(files: Sequence[ReviewFile],
             changed: Sequence[tuple[Rewritten, ...]]) -> Iterator[Mark]:
    """Every mark but those that stand beside a printed cell that reads otherwise."""
    for file, found in zip(files, changed, strict=True):
        beside = {(one.decision_id, one.name) for one in found}
        yield from (m for m in file.marks if (m.decision_id, m.name) not in beside)


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
