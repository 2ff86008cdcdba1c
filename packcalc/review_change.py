"""A reviewer's own change held against the duty, and against everything else it touches.

A part that the reviewer names is looked up among the ratings and parts held against the
duty; one that is not listed there, such as a section below those tried, is sized as a part
without a data sheet. What hangs on it is sized again, and every check that then reads
differently is listed. A figure that the reviewer replaces is put into each check that uses
it. A change that cannot be understood is said to be so; it is never swallowed.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from math import isclose

from packcalc.brief import Branch, Brief
from packcalc.cable_rules import other_system
from packcalc.checks import (
    CAUTION,
    FAIL,
    NOT_EVALUATED,
    PASS,
    STAGES,
    Candidate,
    Check,
    Item,
    judge,
    named_title,
)
from packcalc.decisions import (
    BENCH,
    CHOICE,
    FIGURE,
    PLACE,
    Decision,
    decisions,
    finding_digest,
    put_forward,
)
from packcalc.dimensions import DIMENSIONS
from packcalc.errors import UserError
from packcalc.findings import OR_LESS, OR_MORE, Finding, Origin, leaf
from packcalc.parts import PART_CLASSES, CablePart, ManagementPart, Part
from packcalc.protection import ProtectionStudy, protect_layout
from packcalc.reading.positions import one_line
from packcalc.review_words import (
    BARE,
    NUMBER,
    RATED,
    ROUTE,
    bare_part,
    given,
    key,
    plain,
    plain_quantity,
    section_of,
)
from packcalc.units import fold, into_si, printed, show
from packcalc.value import replace, value_object

LISTED = 8
GRAVITY = (PASS, "", CAUTION, NOT_EVALUATED, FAIL)
_NAMED = {"main_fuse": "main_fuse", "contactors": "contactor", "precharge": "resistor",
          "disconnect": "disconnect", "string_fuse": "string_fuse",
          "string_contactors": "string_contactor", "mid_fuse": "mid_fuse",
          "charge_contactor": "charge_contactor", "precharge_relay": "precharge_relay",
          "connectors": "connector", "management": "management_system"}
_BRANCH = "branch."
# Held together over the whole fault range: the fuse, the contactors.
_PAIRS = {"coordination": ("main_fuse", "contactors"),
          "string_coordination": ("string_fuse", "string_contactors")}


@value_object
class Touched:
    """One check elsewhere that reads differently after the change.

    Attributes:
        part, title: of the decision.
        before, after: its verdicts.
        shown: as it reads after the change.
        was: as it read before.
        choice: whether it is the rating or part put forward.
        stage: one of STAGES.
    """

    part: str
    title: str
    before: str
    after: str
    shown: str
    was: str = ""
    choice: bool = False
    stage: str = STAGES[-1]

    @property
    def words(self) -> str:
        """Where, what, and its verdicts; of a new fault place also who clears it."""
        new = f": {one_line(self.shown, 120)}" if self.part == PLACE and not self.before else ""
        return f"{self.part}: {self.title} ({self.after}, was {self.before or 'no verdict'}){new}"

    @property
    def lost(self) -> bool:
        """Whether a pass is no longer shown after the change."""
        return self.before == PASS and self.after == NOT_EVALUATED

    @property
    def raised(self) -> bool:
        """Whether nobody answers it and the change alone asks it, or a caution did answer."""
        return self.before in ("", CAUTION) and self.after == NOT_EVALUATED

    @property
    def worse(self) -> bool:
        """Whether the change made it graver."""
        return GRAVITY.index(self.after) > GRAVITY.index(self.before)


@value_object
class Recheck:
    """What came of one change.

    Attributes:
        decision_id, part: what is to change.
        asked: the reviewer's words.
        by: who asked.
        understood: whether anything could be checked.
        words: what was done, what was not, in one or two sentences.
        checks: the changed part or figure against its duty.
        touched: what reads differently elsewhere.
        lost: what passed and is no longer shown, here and elsewhere, what can kill first.
        unshown: what else is not shown and was asked with a better answer or not at all, in words.
        weaker: checks of the changed part that are graver now without failing, in words.
        was: (title, verdict) of the part's checks as they stood before, by the titles of now.
    """

    decision_id: str
    part: str
    asked: str
    by: str
    understood: bool
    words: str
    checks: tuple[Check, ...] = ()
    touched: tuple[Touched, ...] = ()
    lost: tuple[str, ...] = ()
    unshown: tuple[str, ...] = ()
    weaker: tuple[str, ...] = ()
    was: tuple[tuple[str, str], ...] = ()

    @property
    def breaks(self) -> bool:
        """Whether the change fails its own duty or makes something else fail."""
        return any(c.verdict == FAIL for c in self.checks) or any(
            t.worse and t.after == FAIL for t in self.touched)

    @property
    def raised(self) -> bool:
        """Whether it raises what is not shown and was, or was not asked, as a new fault place."""
        return bool(self.unshown)

    @property
    def graver(self) -> bool:
        """Whether anything is graver than before, here or elsewhere."""
        return bool(self.weaker or self.unshown) or any(t.worse for t in self.touched)


def recheck(study: ProtectionStudy, decision: Decision, asked: str, by: str = "") -> Recheck:
    """Hold one change against the duty and against what it touches.

    Args:
        study: as it is today.
        decision: that the reviewer would change.
        asked: what it should become, e.g. "500 A", "1 × 240 mm²", "47 Ω", a part's name.
        by: who asks.
    """
    item = next((i for i in study.items if i.key == decision.item), None)
    blank = Recheck(decision.id, decision.part, asked, by, False, "")
    if decision.item == BENCH:
        return replace(blank, words="cannot be checked: it follows from the bench sheet; measure "
                                    "again, change the row of the module and run packcalc again")
    if decision.kind == FIGURE:
        return _figure_change(study, decision, blank)
    if item is not None and item.key.startswith(_BRANCH):
        return _branch_change(study, item, blank)
    if item is not None and item.key in _PAIRS:
        return _pair_change(study, item, blank)
    if item is None or not (item.candidates or item.key in RATED or item.key in _NAMED):
        return replace(blank, words="cannot be checked: no ratings are held against this; change "
                                    "the entry of the brief and run packcalc again")
    found = _found(study, item, asked)
    if found is not None:
        return _part_change(study, item, found, blank)
    names = [*(p.name for p in _parts_for(study, item)), *(c.name for c in item.candidates)]
    known = _listed(list(dict.fromkeys(names))) or _like(item.key)
    return replace(blank, words="cannot be understood: it names no rating or part held against "
                   f"this duty; {_other_kind(study, asked)}known: {known}")


@value_object
class _Named:
    """What a reviewer's words name.

    Attributes:
        candidate: the rating or part.
        bare: its part, of which nothing but the rating is known; None of a part of the list.
    """

    candidate: Candidate
    bare: Part | None = None


def _found(study: ProtectionStudy, item: Item, asked: str) -> _Named | None:
    candidate = _named(item, asked) or _of_list(study, item, asked)
    if candidate is not None:
        return _Named(candidate)
    bare = bare_part(item.key, asked)
    if bare is None:
        return None
    return _Named(Candidate(bare.name.removesuffix(BARE), _held_today(item, asked)), bare)


def _held_today(item: Item, asked: str) -> tuple[Check, ...]:
    """A rating that is not listed in the checks that hold a listed one against today's design."""
    listed = next((c for c in item.candidates if not c.own), None)
    if listed is None or item.key not in RATED or RATED[item.key][2] != "current":
        return ()
    rating = given(asked, "current", *RATED[item.key][3])
    return tuple(judge(c.title, c.stage, rating, c.relation, c.demand, reason=c.reason,
                       missing=c.reason, remedy=c.remedy)
                 for c in listed.checks if c.figure is not None and c.relation
                 and c.figure.title == "Rated current")


def _listed(names: Sequence[str], between: str = ", ") -> str:
    more = f" and {len(names) - LISTED} more" if len(names) > LISTED else ""
    return between.join(names[:LISTED]) + more


def _like(item: str) -> str:
    """An example of what may be written where the parts list holds nothing of the kind."""
    return {"precharge": "47 Ω", "management": "a management system of the parts list"}.get(
        item, "a rated current like 400 A")


def _other_kind(study: ProtectionStudy, asked: str) -> str:
    """A part of the list that stands elsewhere in the circuit is told as that."""
    wanted = key(asked)
    part = next((p for p in study.brief.parts.list.parts if key(p.name) == wanted), None)
    return f"{part.name} is in the parts list as a {_kind_of(part)}; " if part else ""


def _kind_of(part: Part) -> str:
    return next(name for name, kind in PART_CLASSES.items() if type(part) is kind)


def _named(item: Item, asked: str) -> Candidate | None:
    """The one candidate that the words name, whatever their spaces and signs."""
    wanted = key(asked)
    found = [c for c in item.candidates if key(c.name) == wanted]
    if not found and item.key.startswith(ROUTE):
        found = [c for c in item.candidates if key(c.name) == "1x" + wanted]
    return found[0] if found else None


def _of_list(study: ProtectionStudy, item: Item, asked: str) -> Candidate | None:
    """A part of the list that was not tried, as where the brief's own is held alone."""
    wanted = key(asked)
    found = [p for p in _parts_for(study, item) if key(p.name) == wanted]
    return Candidate(found[0].name, (), own=True) if found else None


def _parts_for(study: ProtectionStudy, item: Item) -> list[Part]:
    """The parts of the list that may stand where the item's part does."""
    kinds = {**{name: rated[0] for name, rated in RATED.items()}, "management": ManagementPart}
    kind = CablePart if item.key.startswith(ROUTE) else kinds.get(item.key)
    return [p for p in study.brief.parts.list.parts if type(p) is kind]


# -- a part -----------------------------------------------------------------------------------


def _part_change(study: ProtectionStudy, item: Item, found: _Named, blank: Recheck) -> Recheck:
    candidate = found.candidate
    after, words = _with_part(study, item, candidate, found.bare)
    touched = () if after is None else _differences(study, after, {item.key})
    checks, before, asked, rated = _own(study, after, item, found)
    bare = found.bare
    name = f"{candidate.name} ({other_system(bare.name, bare.section)})" \
        if isinstance(bare, CablePart) and bare.section is not None else candidate.name
    return _told(blank, item, name, (checks, touched), words, before=before, asked=asked,
                 rated=rated)


def _own(study: ProtectionStudy, after: ProtectionStudy | None, item: Item, found: _Named
         ) -> tuple[tuple[Check, ...], tuple[Check, ...], set[str], set[str]]:
    """The checks of the changed part, as they stood under the part of today, all titles asked,
    and those of the part where a rating alone, or nothing, stands today.

    Those of the duty itself, such as whether it opens without another, count among the checks
    where they read otherwise now.
    """
    today = put_forward(item, study.brief)
    own = after and next((i for i in after.items if i.key == item.key), None)
    again = [c for c in own.candidates if c.name in _names(item, found)] if own else []
    duty = _of_duty(own) if own else ()
    old = today.name if today else ""
    new = _names(item, found)[-1]
    now = _graver([*again, found.candidate])
    tried = _called(today.checks if today else (), now, old, new)
    asked = _called(_of_duty(item) if own else (), duty, old, new)
    known = {c.title: _read(c) for c in asked}
    taken = {c.title for c in now}
    return ((*now, *(c for c in duty if c.title not in taken and known.get(c.title) != _read(c))),
            (*tried, *(c for c in asked if c.title not in {t.title for t in tried})),
            {*taken, *(c.title for c in duty)}, set() if today and today.own else taken)


def _read(check: Check) -> tuple[str, str, str]:
    """What a page says of a check."""
    return check.verdict, check.sentence, check.reason


def _of_duty(item: Item) -> tuple[Check, ...]:
    """The checks of a duty but those that sum up a named part."""
    named = {named_title(c.name) for c in item.candidates}
    return tuple(c for c in item.checks if c.title not in named)


def _called(before: Iterable[Check], now: Iterable[Check], old: str,
            new: str) -> tuple[Check, ...]:
    """Checks as they stood, by the titles of now: the changed part gives its name to some.

    Examples:
        >>> was, now = (Check(f"{name} opens without B", "who clears", PASS) for name in "AC")
        >>> [c.title for c in _called([was], [now], "A", "C")]
        ['C opens without B']
    """
    titles = {c.title for c in now}

    def today(title: str) -> str:
        if title in titles or not old or old not in title:
            return title
        head, _, tail = title.rpartition(old)
        tried = (title.replace(old, new, 1), f"{head}{new}{tail}", title.replace(old, new))
        return next((t for t in tried if t in titles), title)

    return tuple(replace(c, title=today(c.title)) for c in before)


def _names(item: Item, found: _Named) -> tuple[str, ...]:
    """What the changed part is called once it is sized: as listed, and as a bare part."""
    bare = found.bare or (None if found.candidate.own else bare_part(item.key,
                                                                     found.candidate.name))
    return (found.candidate.name, *([bare.name] if bare else []))


def _told(blank: Recheck, item: Item, name: str,
          came: tuple[tuple[Check, ...], tuple[Touched, ...]], words: str, *,
          before: Sequence[Check] = (), asked: Collection[str] = (),
          rated: Collection[str] = ()) -> Recheck:
    """What came of a change (its own checks, what it touches), in words: the gravest first.

    Args:
        blank: what was asked.
        item, name: of the part; what the change is called.
        came: its own checks, and what it touches.
        words: how it was held.
        before: its checks as they stood, by the titles of now.
        asked: titles that are asked now, besides those of its own checks.
        rated: titles of checks of a part in whose place a rating alone stood, or nothing: what
            only its sheet tells was open before too.
    """
    checks, touched = came
    failed = [c.title for c in checks if c.verdict == FAIL]
    broken = [t.words for t in touched if t.worse and t.after == FAIL]
    was = tuple((c.title, c.verdict) for c in before)
    still = {*asked, *(c.title for c in checks)}
    gone = [c for c in before if c.title not in still]
    lost = _lost(checks, touched, {title for title, verdict in was if verdict == PASS}, gone)
    weaker = _weaker(checks, before, gone)
    # Each by its name: a reviewer who reads a number alone cannot weigh it.
    head = ["fails " + "; ".join(failed)] if failed else []
    if broken:
        head.append(f"makes {len(broken)} elsewhere fail: " + "; ".join(broken))
    if lost:
        head.append(f"loses {len(lost)} that passed and are no longer shown: " + "; ".join(lost))
    unshown = _unshown(checks, touched, before, rated)
    if unshown:
        head.append(f"raises {len(unshown)} not shown: " + "; ".join(unshown))
    if weaker:
        head.append(f"weakens {len(weaker)} of its own checks: " + "; ".join(weaker))
    told = [f"{name} held against the duty: " + (". It ".join(head) or "no check fails")]
    silent = [c.title for c in checks if c.verdict == NOT_EVALUATED]
    if silent:
        told.append(f"not evaluated: {_listed(silent, '; ')}")
    worse = [t for t in touched if t.worse]
    more = [t.words for t in worse if t.after != FAIL and not t.lost and not t.raised]
    if more:
        told.append(f"elsewhere it makes {len(more)} {'more ' if len(more) < len(worse) else ''}"
                    "graver: " + "; ".join(more))
    elif not worse:  # what fails or is lost elsewhere stands above, by name
        told.append("nothing else was found that it makes graver")
    figures = [f"{t.title} {t.shown}, was {t.was}" for t in touched
               if t.part == item.title and not t.worse]
    if figures:
        told.append("its own figures become: " + _listed(figures, "; "))
    moved = [f"{t.part}: {t.shown}, in place of {t.was}" for t in touched
             if t.choice and not t.worse]
    if moved:
        told.append("it puts other parts forward: " + _listed(moved, "; "))
    return replace(blank, understood=True, checks=checks, touched=touched, lost=lost,
                   unshown=unshown, weaker=weaker, was=was,
                   words=". ".join(t[:1].upper() + t[1:] for t in (*told, words)) + ".")


def _weaker(checks: Iterable[Check], before: Iterable[Check],
            gone: Iterable[Check]) -> tuple[str, ...]:
    """Its own checks that are graver than before without failing, or are no longer asked.

    One that could not be evaluated before and asks by other figures now may be graver as well;
    what was not asked before counts where it is a caution. What is not shown and was, or was not
    asked, stands apart.
    """
    was, found = {c.title: c for c in before}, []
    for now in (c for c in checks if c.verdict in (CAUTION, NOT_EVALUATED)):
        old = was.get(now.title)
        if old is None:
            if now.verdict == CAUTION and was:
                found.append((now.stage, f"{now.title} (caution, not asked before)"))
            continue
        if old.verdict in (PASS, CAUTION) and now.verdict == NOT_EVALUATED:
            continue  # told as lost, or as not shown
        if GRAVITY.index(now.verdict) > GRAVITY.index(old.verdict):
            found.append((now.stage, f"{now.title} ({now.verdict}, was {old.verdict})"))
        elif now.verdict == old.verdict == NOT_EVALUATED and now.sentence != old.sentence:
            found.append((now.stage, f"{now.title} ({now.verdict} as before, by other figures)"))
    found += [(c.stage, _dropped(c)) for c in gone if c.verdict != PASS]
    return tuple(words for _, words in sorted(found, key=lambda one: STAGES.index(one[0])))


def _dropped(check: Check) -> str:
    return f"{check.title} (no longer asked, was {check.verdict})"


def _unshown(checks: Iterable[Check], touched: Iterable[Touched], before: Iterable[Check],
             rated: Collection[str]) -> tuple[str, ...]:
    """What is not evaluated and was a caution or was not asked, what can kill first."""
    was = {c.title: c.verdict for c in before}
    found = [(c.stage, f"{c.title} ({NOT_EVALUATED}, {_once(was.get(c.title))})") for c in checks
             if c.verdict == NOT_EVALUATED and was and (
                 was.get(c.title) == CAUTION or c.title not in {*was, *rated})]
    found += [(t.stage, t.words) for t in touched if t.raised]
    return tuple(words for _, words in sorted(found, key=lambda one: STAGES.index(one[0])))


def _once(verdict: str | None) -> str:
    return f"was {verdict}" if verdict else "not asked before"


def _lost(checks: Iterable[Check], touched: Iterable[Touched], passed: Collection[str],
          gone: Iterable[Check]) -> tuple[str, ...]:
    """What passed and is no longer shown or asked, what can kill first."""
    found = [(c.stage, c.title) for c in checks
             if c.verdict == NOT_EVALUATED and c.title in passed]
    found += [(c.stage, _dropped(c)) for c in gone if c.verdict == PASS]
    found += [(t.stage, t.words) for t in touched if t.lost]
    return tuple(words for _, words in sorted(found, key=lambda one: STAGES.index(one[0])))


# -- fuse and contactors together -------------------------------------------------------------


def _pair_change(study: ProtectionStudy, item: Item, blank: Recheck) -> Recheck:
    """Another fuse, other contactors, or both, for what is held together over the range."""
    fuse, contactors = ([i for i in study.items if i.key == k] for k in _PAIRS[item.key])
    sides = {"fuse": fuse, "contactor": contactors, "contactors": contactors}
    whole = _of_sides(study, sides, blank.asked)
    halves = [_of_sides(study, sides, half) for half in blank.asked.split("+")]
    chosen = {one.key: (one, named) for one, named in filter(None, [whole] if whole else halves)}
    if not whole and (len(halves) != 2 or len(chosen) != 2):
        return replace(blank, words=(
            f"cannot be understood: {_other_kind(study, blank.asked)}write fuse or contactor and "
            "its rating, like contactor 400 A, a fuse or contactor of the parts list, or both "
            f"with a +; known: {_listed([c.name for c in item.candidates]) or 'no pair yet'}"))
    if len(chosen) == 2:
        return _both(study, item, blank, list(chosen.values()))
    ((one, found),) = chosen.values()
    done = _part_change(study, one, found, blank)
    return replace(done, words=f"{done.words} Read as {_lower(one.title)}.")


def _of_sides(study: ProtectionStudy, sides: Mapping[str, list[Item]],
              words: str) -> tuple[Item, _Named] | None:
    """The fuse or the contactors that the words name, with or without saying which."""
    first, _, rest = plain(words).partition(" ")
    either = [(one, words) for side in ("fuse", "contactor") for one in sides[side]]
    told = [(one, rest) for one in sides.get(first.casefold(), ())]
    return next(((one, named) for one, asked in (*either, *told)
                 if (named := _found(study, one, asked))), None)


def _lower(title: str) -> str:
    return title[:1].lower() + title[1:]


def _both(study: ProtectionStudy, item: Item, blank: Recheck,
          chosen: list[tuple[Item, _Named]]) -> Recheck:
    brief = study.brief
    for one, found in chosen:
        brief = _with_named(study, brief, one.key, found)
    after = _all_again(study, brief)
    checks: list[Check] = []
    before: list[Check] = []
    asked: set[str] = set()
    rated: set[str] = set()
    for one, found in chosen:
        now, was, titles, of_ratings = _own(study, after, one, found)
        checks += now
        before += was
        asked |= titles
        rated |= of_ratings
    touched = _differences(study, after, {one.key for one, _ in chosen})
    read = " and ".join(_lower(one.title) for one, _ in chosen)
    return _told(blank, item, blank.asked.strip(), (tuple(checks), touched),
                 f"read as {read}; everything was sized again with both", before=before,
                 asked=asked, rated=rated)


def _with_named(study: ProtectionStudy, brief: Brief, item: str, found: _Named) -> Brief:
    """The brief with a part of the list, or a bare one put into it, in its place."""
    part = found.bare or (None if found.candidate.own else bare_part(item, found.candidate.name))
    name = part.name if part is not None else found.candidate.name
    named = _brief_with(brief, item, name) or brief
    if item == "contactors" and study.layout.in_strings:
        named = _brief_with(named, "string_contactors", name) or named
    if part is None:
        return named
    listed = replace(named.parts.list, parts=(*named.parts.list.parts, part))
    return replace(named, parts=replace(named.parts, list=listed))


# -- the fuse or the conductor of a branch ----------------------------------------------------


def _branch_change(study: ProtectionStudy, item: Item, blank: Recheck) -> Recheck:
    """Another fuse or conductor of a branch, everything sized again with it."""
    number = next(n for n, b in enumerate(study.brief.branch) if _BRANCH + b.name == item.key)
    changed = _branch_with(study, study.brief.branch[number], blank.asked)
    if changed is None:
        fuses = [f.name for f in study.brief.parts.list.fuses]
        known = f", or a fuse of the parts list: {_listed(fuses)}" if fuses else ""
        return replace(blank, words=(
            f"cannot be understood: {_other_kind(study, blank.asked)}write the fuse's rated "
            f"current, like 20 A, the conductor's section, like 4 mm²{known}"))
    name, branch = changed
    branches = list(study.brief.branch)
    branches[number] = branch
    after = _all_again(study, replace(study.brief, branch=tuple(branches)))
    own = next(i for i in after.items if i.key == item.key)
    before = _called(item.checks, own.checks, study.brief.branch[number].fuse_part,
                     branch.fuse_part)
    read = {c.title: _read(c) for c in before}
    # What reads as before was not made by the change; what nobody could evaluate stays open.
    checks = tuple(c for c in own.checks if c.verdict == NOT_EVALUATED
                   or read.get(c.title) != _read(c))
    still = [c.title for c in own.checks if c.verdict == FAIL and c not in checks]
    words = "everything was sized again with it in the brief" + (
        f"; it fails as before: {_listed(still, '; ')}" if still else "")
    return _told(blank, item, name, (checks, _differences(study, after, {item.key})), words,
                 before=before, asked={c.title for c in own.checks})


def _branch_with(study: ProtectionStudy, branch: Branch, asked: str) -> tuple[str, Branch] | None:
    """The branch as the reviewer would have it, with what it is called; None: not understood."""
    part = next((f for f in study.brief.parts.list.fuses if key(f.name) == key(asked)), None)
    rating = RATED["main_fuse"][3]
    if part is not None:
        return part.name, replace(branch, fuse_part=part.name, fuse_rating=part.rated_current or
                                  leaf(*rating, None, "given"))
    current = given(asked, "current", *rating)
    if current is not None:
        return f"a fuse of {current.shown}", replace(branch, fuse_part="", fuse_rating=current)
    found = section_of(asked)
    if found is None:
        return None
    return (f"a conductor of {found[0]} ({other_system(*found)})",
            replace(branch, section=found[1]))


def _graver(candidates: Iterable[Candidate]) -> tuple[Check, ...]:
    """Every check of the same thing, tried as a rating and as a part: the graver one counts."""
    found: dict[str, Check] = {}
    for check in (c for one in candidates for c in one.checks):
        known = found.get(check.title)
        if known is None or GRAVITY.index(check.verdict) > GRAVITY.index(known.verdict):
            found[check.title] = check
    return tuple(found.values())


def _with_part(study: ProtectionStudy, item: Item, candidate: Candidate,
               given: Part | None) -> tuple[ProtectionStudy | None, str]:
    """The study with that part in its place, and what was and was not done again."""
    name = candidate.name if candidate.own else ""
    brief = _brief_with(study.brief, item.key, name)
    if item.key == "contactors" and brief is not None and study.layout.in_strings:
        brief = _brief_with(brief, "string_contactors", name)
    if candidate.own and brief is not None:
        return _all_again(study, brief), \
            "everything was sized again with this part named in the brief"
    # A listed rating too is sized as a bare part: one change has one answer, however it is said.
    bare = given or bare_part(item.key, candidate.name)
    if bare is not None:
        named = _with_named(study, study.brief, item.key, _Named(candidate, bare))
        return _all_again(study, named), (
            "everything was sized again with this value; a bare rating has no data sheet, so what "
            f"only the maker knows of it is not shown{_shared(bare)}")
    return None, ("figures printed for another value of this part were not computed again; name "
                  "the part in the brief for that")


def _shared(part: Part) -> str:
    """What is taken for granted of many cables a pole."""
    many = isinstance(part, CablePart) and part.runs > 2
    return ("; the busiest cable is counted 10 % above an even share, our assumption: measure "
            "each" if many else "")


def _all_again(study: ProtectionStudy, brief: Brief) -> ProtectionStudy:
    return protect_layout(replace(study.study, brief=brief), study.layout, named=study.named,
                          found=study.salvage)


def _brief_with(brief: Brief, item: str, name: str) -> Brief | None:
    """The brief with that part named, or none named where `name` is empty."""
    if item in _NAMED:
        return replace(brief, parts=replace(brief.parts, **{_NAMED[item]: name}))
    if item.startswith(ROUTE):
        routes = tuple(replace(r, cable=name) if f"{ROUTE}{r.name}" == item else r
                       for r in brief.cables.route)
        return replace(brief, cables=replace(brief.cables, route=routes))
    return None


def _differences(before: ProtectionStudy, after: ProtectionStudy,
                 but: Collection[str]) -> tuple[Touched, ...]:
    """What reads differently, gravest first: decisions elsewhere, and figures of the parts `but`.

    What the change alone asks counts where it does not pass, such as a new fault place that
    nobody clears, unless nothing was put forward there before; and where it is asked of another
    already.
    """
    old, new = ({d.id: d for d in decisions(s) if d.item not in but or d.kind == FIGURE}
                for s in (before, after))
    names = _names_of(after, before)
    old = _renamed(old, new, names)
    asked = {_alike(d, names) for d in old.values()} - {()}
    came, went = ({d.item for d in one.values() if d.kind == CHOICE} for one in (new, old))
    found = []
    for name, now in new.items():
        was = old.get(name)
        if was is None and (now.verdict == FAIL or now.verdict and (
                now.verdict != PASS and now.item not in came - went
                or _alike(now, names) in asked)):
            found.append(Touched(now.part, now.title, "", now.verdict, now.shown,
                                 stage=now.stage))
        if was is not None and (was.verdict, was.shown) != (now.verdict, now.shown):
            found.append(Touched(now.part, now.title, was.verdict, now.verdict, now.shown,
                                 was.shown, now.kind == CHOICE, now.stage))
    lost = {d.item for name, d in old.items() if name not in new and d.kind == CHOICE}
    for name, was in old.items():
        if name in new or not was.verdict or (was.item in lost and was.kind != CHOICE):
            continue
        gone = was.kind == CHOICE
        found.append(Touched(was.part, was.title, was.verdict, FAIL if gone else NOT_EVALUATED,
                             "nothing of what was tried is left" if gone else "no longer shown",
                             was.shown, gone, was.stage))
    return tuple(sorted(found, key=lambda t: (-GRAVITY.index(t.after), STAGES.index(t.stage))))


def _names_of(*studies: ProtectionStudy) -> re.Pattern[str]:
    """The name of any part of their lists."""
    names = {part.name for study in studies for part in study.brief.parts.list.parts}
    return re.compile("|".join(map(re.escape, sorted(names, key=len, reverse=True))) or "$^")


def _alike(decision: Decision, names: re.Pattern[str]) -> tuple[str, ...]:
    """What a decision whose title names a part is about, whichever part that is."""
    return (decision.item, decision.kind, names.sub("", decision.title)) \
        if names.search(decision.title) else ()


def _renamed(old: Mapping[str, Decision], new: Mapping[str, Decision],
             names: re.Pattern[str]) -> dict[str, Decision]:
    """The old decisions by the ids of today: a title that names a part is the same decision
    when the part gives way to another."""
    def alike(found: Iterable[Decision]) -> dict[tuple[str, ...], list[str]]:
        ids: dict[tuple[str, ...], list[str]] = {}
        for d in found:
            same = _alike(d, names)
            if same:
                ids.setdefault(same, []).append(d.id)
        return ids

    came = alike(d for d in new.values() if d.id not in old)
    went = alike(d for d in old.values() if d.id not in new)
    today = {ids[0]: came[same][0] for same, ids in went.items()
             if len(ids) == len(came.get(same, ())) == 1}
    return {today.get(name, name): d for name, d in old.items()}


# -- a figure ---------------------------------------------------------------------------------

def _figure_change(study: ProtectionStudy, decision: Decision, blank: Recheck) -> Recheck:
    """The reviewer's figure in every check that uses this one."""
    figure = decision.finding
    assert figure is not None
    value = figure.value if key(blank.asked) == key(figure.shown) else _quantity(
        blank.asked, figure)
    if value is None:
        return replace(blank, words="cannot be understood: write a number in "
                       f"{printed(figure.unit) or 'the same unit'}, like {figure.shown}")
    if show(value, figure.unit) == figure.shown:
        return replace(blank, understood=True, words=f"{figure.shown} stands there already: "
                                                     "nothing changes.")
    own = leaf(figure.title, figure.symbol, figure.unit, value, "given",
               origin=Origin("review mark", text=one_line(blank.asked, 60)))
    using, further = _held(study, own, finding_digest(figure))
    using.sort(key=lambda one: (one[1].verdict == one[2].verdict, -GRAVITY.index(one[2].verdict)))
    entries = [str(f.origin) for f in figure.leaves() if f.origin is not None and f.origin.line]
    rests = f". It rests on {_listed(list(dict.fromkeys(entries)))}" if entries else ""
    again = f"change the entry of the brief and run packcalc again{rests}"
    if not using:
        more = f", {further} checks of what was computed from it," if further else ""
        return replace(blank, words=f"cannot be checked: no check holds {figure.shown} itself; "
                                    f"what else rests on it{more} was not held: {again}")
    each = "; ".join(f"{d.part}: {d.title}: {now.verdict}, was {was.verdict}"
                     f"{', kept' if now.reason.endswith(_KEPT) else ''}" for d, was, now in using)
    if any(now.reason.endswith(_KEPT) for _, _, now in using):
        each += "; kept is what does not stand on this figure alone"
    return replace(
        blank, understood=True, checks=tuple(now for _, _, now in using),
        lost=tuple(f"{d.part}: {d.title}" for d, was, now in using
                   if (was.verdict, now.verdict) == (PASS, NOT_EVALUATED)),
        unshown=tuple(f"{d.part}: {d.title}" for d, was, now in using
                      if (was.verdict, now.verdict) == (CAUTION, NOT_EVALUATED)),
        weaker=tuple(f"{d.part}: {d.title} (caution, was pass)" for d, was, now in using
                     if (was.verdict, now.verdict) == (PASS, CAUTION)),
        words=f"{show(value, figure.unit)} in place of {figure.shown} in the {len(using)} checks "
              f"that use this figure: {each}; but for these, what was computed from it was not "
              f"computed again: {again}.")


def _quantity(text: str, figure: Finding) -> float | None:
    words = plain(text)
    match = NUMBER.fullmatch(words) if len(text) < 60 else None
    if match is None:
        return None
    if key(match.group(2) or "") == key(printed(figure.unit)):
        value = into_si(float(match.group(1)), figure.unit)
        return value if abs(value) < 1e12 else None
    unit = (match.group(2) or "").strip()
    kind = next((k.name for k in DIMENSIONS.values()
                 if fold(figure.unit) in k.units and unit in k.units), "")
    return plain_quantity(words, kind) if kind else None


def _still_open(figure: Finding) -> str:
    """What leaves a figure open, as a note of its own: one that takes its place answers none."""
    more = figure.first_open.may_be_more if figure.first_open else ""
    return more + "".join(head + words for head, words in (
        (OR_LESS, figure.may_be_less), (OR_MORE, figure.untold_more)) if words)


_ALONE = "the two figures alone would hold, and what else it asks is asked of a design sized so"
_KEPT = "kept: it does not stand on this figure alone"
_Using = list[tuple[Decision, Check, Check]]


def _held(study: ProtectionStudy, own: Finding, digest: str) -> tuple[_Using, int]:
    """The checks with the figure put in, as they were and as they are; how many more rest on it.

    A check of what was computed from it counts where its figures fail now and did not before: a
    pass of it would be none, since another figure may govern then.
    """
    using, further = list[tuple[Decision, Check, Check]](), 0
    for decision in decisions(study):
        check = decision.check
        if check is None or not check.relation:
            continue
        sides = [f for f in (check.figure, check.demand) if f is not None and f.known]
        if not any(finding_digest(node) == digest for f in sides for node in f.walk()):
            continue
        now = _judged(check, own, digest)
        itself = any(finding_digest(f) == digest for f in sides)
        if itself or now.verdict == FAIL != _bare(check, own, "").verdict:
            using.append((decision, check, now))
        else:
            further += 1
    return using, further


def _judged(check: Check, own: Finding, digest: str) -> Check:
    """The check with that figure in its chains.

    A verdict that its two figures alone do not give was made milder or graver by more than them:
    another figure may worsen it, never better it. Nor does it make a pass of a failure: what else
    is asked of a check is asked once it holds.
    """
    now = _bare(check, own, digest)
    if check.verdict == FAIL and now.verdict in (PASS, CAUTION):
        return replace(now, verdict=NOT_EVALUATED, reason="; ".join(
            filter(None, (now.reason, _ALONE))))
    if now.verdict == check.verdict:
        return replace(now, reason=check.reason, remedy=check.remedy)
    if GRAVITY.index(now.verdict) > GRAVITY.index(check.verdict) \
            or _bare(check, own, "").verdict == check.verdict:
        return now
    return replace(now, verdict=check.verdict, remedy=check.remedy,
                   reason="; ".join(filter(None, (check.reason, _KEPT))))


def _bare(check: Check, own: Finding, digest: str) -> Check:
    """Its two figures alone held against each other, that figure in their chains; a side that
    cannot be worked again stays, as both do where no figure has the digest."""
    def put(side: Finding | None) -> Finding | None:
        try:
            return side and _with_figure(side, own, digest)
        except (ArithmeticError, ValueError, UserError):
            return side

    return judge(check.title, check.stage, put(check.figure), check.relation, put(check.demand),
                 missing=check.reason, reason=check.reason, remedy=check.remedy)


def _with_figure(finding: Finding, own: Finding, digest: str) -> Finding:
    """A finding worked again with one figure of its chain replaced.

    Raises:
        ValueError: its chain alone does not give it.
    """
    if finding.known and finding_digest(finding) == digest:
        return replace(own, note=_still_open(finding))
    inputs = tuple(_with_figure(one, own, digest) for one in finding.inputs)
    if all(new is old for new, old in zip(inputs, finding.inputs, strict=True)):
        return finding
    rule = finding.formula
    if rule is None or not finding.known or not isclose(
            rule.function(*(one.number for one in finding.inputs)), finding.number):
        raise ValueError(f"{finding.title} is not what its rule gives")
    return replace(finding, value=float(rule.function(*(one.number for one in inputs))),
                   inputs=inputs)
