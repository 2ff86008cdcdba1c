"""Marks that were given while a branch had another name.

A name is no input of a figure, yet it stands in titles, ids and digests. Where exactly one
branch has another name, everything is sized again under the old one: a mark that was given to
what stands there then, digest and all, holds for the same decision under the new name. A load
of the pre-charge that is that branch by its name goes with it; where it stays behind under the
old one, there is a load more, and marks on what it moves are void.
"""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.brief import Brief
from packcalc.decisions import Decision, decisions, slug
from packcalc.marks import BETWEEN, Mark
from packcalc.measured import Measured, measured_against
from packcalc.protection import ProtectionStudy, protect_layout
from packcalc.review import ReviewFile
from packcalc.review_since import NAME, Entries, bare, names_of
from packcalc.value import replace, value_object
from packcalc.worst_measured import as_stated, salvage, with_worst


@value_object
class Renamed:
    """A branch that has another name than when marks were given.

    Attributes:
        old, new: its names.
        lines: the decisions under the old name, of which the marks may be.
        today: decisions of today by their id under the old name, with their digest under it.
    """

    old: str
    new: str
    lines: tuple[Decision, ...]
    today: dict[str, tuple[str, Decision]]

    def of_today(self, mark: Mark) -> Mark:
        """The mark on the decision as it is called today; it holds where nothing else changed."""
        before, now = (f"{BETWEEN}Branch: {name}{BETWEEN}" for name in (self.old, self.new))
        also = f"{BETWEEN}{mark.also}{BETWEEN}".replace(before, now)[len(BETWEEN):-len(BETWEEN)]
        mark = mark if also == mark.also else replace(mark, also=also)
        digest, found = self.today.get(mark.decision_id, ("", None))
        if found is None:
            return mark
        return replace(mark, decision_id=found.id,
                       digest=found.digest if mark.digest == digest else mark.digest)

    def entries(self, before: Entries) -> Entries:
        """Entries of the file, the branch by its name of today."""
        return tuple((key, self.new if NAME.fullmatch(key) and bare(text) == self.old else text)
                     for key, text in before)


def renamed(file: ReviewFile, study: ProtectionStudy, lines: Sequence[Decision],
            bench: Measured = Measured()) -> Renamed | None:
    """The one branch that has another name than in the file; None where it is not one alone."""
    before, now = names_of(file.entries, "branch"), [b.name for b in study.brief.branch]
    went, came = ([n for n in one if n not in other] for one, other in ((before, now),
                                                                       (now, before)))
    if len(went) != 1 or len(came) != 1 or len(before) != len(now):
        return None
    old, new = went[0], came[0]
    again = _sized_as(study, _named(as_stated(study.brief), file, old, new))
    under = decisions(again, measured_against(again) if bench != Measured() else bench)
    if len(under) != len(lines):
        return None
    pairs = {name: (b.digest, t) for b, t in zip(under, lines, strict=True)
             if (b.id, b.digest) != (t.id, t.digest) and _same(b, t, old, new)
             for name in (b.id, *b.aliases)}
    return Renamed(old, new, under, pairs)


def _sized_as(study: ProtectionStudy, brief: Brief) -> ProtectionStudy:
    """The same layout of the brief under its old name, dealt anew where there is a bench sheet."""
    found = salvage(brief, study.layout, study.salvage.lot) if study.salvage else None
    counted = with_worst(brief, study.layout, found) if found else brief
    return protect_layout(replace(study.study, brief=counted), study.layout, named=study.named,
                          found=found)


def _named(brief: Brief, file: ReviewFile, old: str, new: str) -> Brief:
    """The brief with the old name, also of the load that is that branch by its name."""
    loads = names_of(file.entries, "precharge.load")
    both = old in loads and new not in loads
    return replace(
        brief, branch=tuple(replace(b, name=old) if b.name == new else b for b in brief.branch),
        precharge=replace(brief.precharge, load=tuple(
            replace(one, name=old) if both and one.name == new else one
            for one in brief.precharge.load)))


def _same(before: Decision, today: Decision, old: str, new: str) -> bool:
    """Whether two decisions at one place of two lists differ in the name of a branch alone."""
    told = tuple(d.replace(old, new) for d in (before.part, before.title, before.shown))
    return (told == (today.part, today.title, today.shown)
            and before.id.replace(slug(old), slug(new)) == today.id
            and (before.kind, before.verdict, before.stage, before.basis)
            == (today.kind, today.verdict, today.stage, today.basis))
