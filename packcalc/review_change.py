"""A reviewer's own change held against the duty, and against everything else it touches.

A part that the reviewer names is looked up among the ratings and parts held against the
duty; one that is not listed there, such as a section below those tried, is sized as a part
without a data sheet. What hangs on it is sized again, and every check that then reads
differently is listed. A figure that the reviewer replaces is put into each check that uses
it. A change that cannot be understood is said to be so; it is never swallowed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from packcalc.brief import Brief
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Candidate, Check, Item, judge
from packcalc.circuit import MainPath, study_circuit
from packcalc.decisions import CHOICE, FIGURE, Decision, decisions, finding_digest
from packcalc.duties import CABLE_INDUCTANCE, PACK_INDUCTANCE
from packcalc.findings import Finding, Origin, leaf
from packcalc.errors import UserError
from packcalc.parts import CablePart, ContactorPart, DisconnectPart, FusePart, Part, ResistorPart
from packcalc.protect.cable import RouteResult, size_route
from packcalc.protect.coordination import coordinate
from packcalc.protect.route_figures import RouteAsked
from packcalc.protection import ProtectionStudy, protect_layout
from packcalc.reading.positions import one_line
from packcalc.tables import table
from packcalc.units import DIMENSIONS, fold, into_si, parse, printed, show
from packcalc.value import value_object

LISTED = 8
BARE = ", no data sheet"
GRAVITY = (PASS, "", CAUTION, NOT_EVALUATED, FAIL)
_NUMBER = re.compile(r"([+-]?\d+(?:\.\d+)?) ?(\S.*)?")
_NAMED = {"main_fuse": "main_fuse", "contactors": "contactor", "precharge": "resistor",
          "disconnect": "disconnect", "string_fuse": "string_fuse",
          "string_contactors": "string_contactor", "mid_fuse": "mid_fuse",
          "charge_contactor": "charge_contactor"}
_SECTION = "cable."
_HELD_ALONE = ("mid_fuse", "charge_contactor")
# A listed rating too is sized as a bare part.
_SIZED_BARE = ("precharge", "string_fuse", *_HELD_ALONE)
LARGEST_SECTION = 2e-3  # m²
# Of a part that the list lacks: its class, field, dimension, quantity.
_RATED = {
    "main_fuse": (FusePart, "rated_current", "current", ("rated current", "I_n", "A")),
    "string_fuse": (FusePart, "rated_current", "current", ("rated current", "I_n", "A")),
    "contactors": (ContactorPart, "continuous_current", "current", ("rated current", "I", "A")),
    "string_contactors": (ContactorPart, "continuous_current", "current",
                          ("rated current", "I", "A")),
    "disconnect": (DisconnectPart, "continuous_current", "current", ("rated current", "I", "A")),
    "mid_fuse": (FusePart, "rated_current", "current", ("rated current", "I_n", "A")),
    "charge_contactor": (ContactorPart, "continuous_current", "current",
                         ("rated current", "I", "A")),
    "precharge": (ResistorPart, "resistance", "resistance", ("resistance", "R", "Ω")),
}


@value_object
class Touched:
    """One check elsewhere that reads differently after the change.

    Attributes:
        part, title: of the decision.
        before, after: its verdicts.
        shown: as it reads after the change.
        was: as it read before.
        choice: whether it is the rating or part put forward.
    """

    part: str
    title: str
    before: str
    after: str
    shown: str
    was: str = ""
    choice: bool = False

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
    """

    decision_id: str
    part: str
    asked: str
    by: str
    understood: bool
    words: str
    checks: tuple[Check, ...] = ()
    touched: tuple[Touched, ...] = ()

    @property
    def breaks(self) -> bool:
        """Whether the change fails its own duty or makes something else fail."""
        return any(c.verdict == FAIL for c in self.checks) or any(
            t.worse and t.after == FAIL for t in self.touched)


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
    if decision.kind == FIGURE:
        return _figure_change(study, decision, blank)
    if item is None or not item.candidates:
        return replace(blank, words="cannot be checked: no ratings are held against this; change "
                                    "the entry of the brief and run packcalc again")
    for one in (item, *_coordinated(study, item)):
        candidate = _named(one, asked) or _of_list(study, one, asked)
        bare = _unlisted(one.key, asked) if candidate is None else None
        if candidate is not None or bare is not None:
            return _part_change(study, one, candidate or Candidate(
                bare.name.removesuffix(BARE), ()), blank, bare)
    names = [c.name for c in item.candidates]
    return replace(blank, words="cannot be understood: it names no rating or part held "
                   f"against this duty; known: {_listed(names)}")


def _coordinated(study: ProtectionStudy, item: Item) -> tuple[Item, ...]:
    """Fuse and contactor: who would change their coordination names one of the two."""
    keys = ("main_fuse", "contactors") if item.key == "coordination" else ()
    return tuple(i for key in keys for i in study.items if i.key == key)


def _listed(names: list[str], between: str = ", ") -> str:
    more = f" and {len(names) - LISTED} more" if len(names) > LISTED else ""
    return between.join(names[:LISTED]) + more


def _named(item: Item, asked: str) -> Candidate | None:
    """The one candidate that the words name, whatever their spaces and signs."""
    wanted = _key(asked)
    found = [c for c in item.candidates if _key(c.name) == wanted]
    if not found and item.key.startswith(_SECTION):
        found = [c for c in item.candidates if _key(c.name) == "1x" + wanted]
    return found[0] if found else None


def _of_list(study: ProtectionStudy, item: Item, asked: str) -> Candidate | None:
    """A part of the list that was not tried: of these the brief's own is held alone."""
    if item.key not in _HELD_ALONE:
        return None
    kind, wanted = _RATED[item.key][0], _key(asked)
    found = [p for p in study.brief.parts.list.parts if type(p) is kind and _key(p.name) == wanted]
    return Candidate(found[0].name, (), own=True) if found else None


def _key(words: str) -> str:
    plain = fold(words).casefold().removeprefix("to ").replace("ohm", "ω")
    return re.sub(r"[×*]", "x", re.sub(r"\s+", "", plain))


def _unlisted(key: str, asked: str) -> Part | None:
    """A part of which the reviewer gives nothing but a rating or a section; else None."""
    if len(asked) > 60:
        return None
    if key.startswith(_SECTION):
        return _bare_cable(asked)
    if key not in _RATED:
        return None
    kind, field, dim, (title, symbol, unit) = _RATED[key]
    words = fold(asked).removeprefix("to ").strip()
    value = _plain_quantity(words, dim)
    if value is None or value <= 0:
        return None
    rating = leaf(f"{title} as the reviewer would have it", symbol, unit, value, "given",
                  origin=Origin("review mark", text=one_line(words, 60)))
    return kind(show(value, unit) + BARE, **{field: rating})


def _plain_quantity(words: str, dim: str) -> float | None:
    if not _NUMBER.fullmatch(words):
        return None
    try:
        return parse(words, dim)
    except UserError:
        return None


def _bare_cable(asked: str) -> CablePart | None:
    """Cables a pole by their section: mm², AWG or kcmil; sizes of the last two as printed."""
    words = re.sub(r"\s+", " ", fold(asked).casefold().removeprefix("to ")).strip()
    many = re.match(r"(\d) ?[x×*] ?", words)
    runs = int(many.group(1)) if many else 1
    if runs not in RouteAsked.runs:
        return None
    words = words[many.end() if many else 0:].replace("mcm", "kcmil")
    plain = re.sub(r"^awg ?(.+)$", r"\1awg", words).replace(" ", "")
    sizes = table("conductors_awg")
    row = next((r for r in sizes.rows if r["size"].casefold().replace(" ", "") == plain), None)
    if row is not None:
        section = sizes.finding(row, "area_mm2", f"section of {row['size']}", "S", "mm²",
                                row["area_mm2"] * 1e-6)
        return CablePart(f"{runs} × {row['size']}{BARE}", section=section, runs=runs)
    area = _plain_quantity(words, "area")
    if area is None or not 0 < area <= LARGEST_SECTION:
        return None
    section = leaf("section as the reviewer would have it", "S", "mm²", area, "given",
                   origin=Origin("review mark", text=one_line(words, 60)))
    return CablePart(f"{runs} × {area * 1e6:.6g} mm²{BARE}", section=section, runs=runs)


# -- a part -----------------------------------------------------------------------------------


def _part_change(study: ProtectionStudy, item: Item, candidate: Candidate, blank: Recheck,
                 given: Part | None = None) -> Recheck:
    after, words = _with_part(study, item, candidate, given)
    touched = () if after is None else _differences(study, after, item.key)
    own = after and next((i for i in after.items if i.key == item.key), None)
    names = (candidate.name + BARE, candidate.name)
    again = [c for n in names for c in own.candidates if c.name == n] if own else []
    checks = _graver(again or [candidate])
    failed = [c.title for c in checks if c.verdict == FAIL]
    worse = [f"{t.part}: {t.title}" for t in touched if t.worse]
    told = [f"{candidate.name} held against the duty: "
            + ("fails " + "; ".join(failed) if failed else "no check fails")]
    told.append(f"elsewhere it makes {len(worse)} graver: " + _listed(worse, "; ") if worse
                else "nothing else was found that it makes graver")
    figures = [f"{t.title} {t.shown}, was {t.was}" for t in touched
               if t.part == item.title and not t.worse]
    if figures:
        told.append("its own figures become: " + _listed(figures, "; "))
    moved = [f"{t.part}: {t.shown}, in place of {t.was}" for t in touched
             if t.choice and not t.worse]
    if moved:
        told.append("it puts other parts forward: " + _listed(moved, "; "))
    return replace(blank, understood=True, checks=checks, touched=touched,
                   words=". ".join(t[:1].upper() + t[1:] for t in (*told, words)) + ".")


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
    bare = given or (_unlisted(item.key, candidate.name) if item.key in _SIZED_BARE else None)
    if bare is not None:
        named = _brief_with(study.brief, item.key, bare.name)
        assert named is not None
        if item.key == "contactors" and study.layout.in_strings:
            named = _brief_with(named, "string_contactors", bare.name)
        listed = replace(named.parts.list, parts=(*named.parts.list.parts, bare))
        return _all_again(study, replace(named, parts=replace(named.parts, list=listed))), (
            "everything was sized again with this value; a bare rating has no data sheet, so what "
            "only the maker knows of it is not shown")
    if brief is None:
        return None, "what hangs on this part was not sized again"
    if item.key == "main_fuse":
        return _with_rating(study, brief, candidate), (
            "cables, fault places and branches were sized again with this rated current; a bare "
            "rating has no curve, so nothing is shown of its clearing")
    if item.key.startswith(_SECTION):
        return _with_section(study, brief, item, candidate), (
            "held against the rated current of the fuse, the voltage drop and the fault; the "
            "share of other routes in the sag was not sized again")
    if item.key == "contactors":
        held = coordinate(replace(study.coordination.asked, contactor=None))
        return _rebuilt(study, brief, study.routes, held, _rating(study)), (
            "a bare rating has no breaking limits, so the overlap with the fuse is not shown")
    return None, ("figures printed for another value of this part were not computed again; name "
                  "the part in the brief for that")


def _all_again(study: ProtectionStudy, brief: Brief) -> ProtectionStudy:
    return protect_layout(replace(study.study, brief=brief), study.layout, named=study.named)


def _brief_with(brief: Brief, key: str, name: str) -> Brief | None:
    """The brief with that part named, or none named where `name` is empty."""
    if key in _NAMED:
        return replace(brief, parts=replace(brief.parts, **{_NAMED[key]: name}))
    if key.startswith(_SECTION):
        routes = tuple(replace(r, cable=name) if f"{_SECTION}{r.name}" == key else r
                       for r in brief.cables.route)
        return replace(brief, cables=replace(brief.cables, route=routes))
    return None


def _with_rating(study: ProtectionStudy, brief: Brief, candidate: Candidate) -> ProtectionStudy:
    figure = next(c.figure for c in candidate.checks if c.figure is not None
                  and c.figure.unit == "A" and c.figure.title == "Rated current")
    rating = figure.called("rated current of the main fuse, as the reviewer would have it")
    changed = {"fuse_rating": rating, "let_through": None, "overload": None}
    routes = tuple(_sized_again(brief, replace(r.asked, **changed)) if r.asked.behind_main_fuse
                   else r for r in study.routes)
    held = coordinate(replace(study.coordination.asked, fuse=None))
    return _rebuilt(study, brief, routes, held, rating)


def _sized_again(brief: Brief, asked) -> RouteResult:
    named = next((r.cable for r in brief.cables.route if r.name == asked.name), "")
    cables = [c for c in brief.parts.list.cables if not named or c.name == named]
    return size_route(asked, cables, named=named)


def _rating(study: ProtectionStudy) -> Finding | None:
    return next((r.asked.fuse_rating for r in study.routes if r.asked.behind_main_fuse), None)


def _with_section(study: ProtectionStudy, brief: Brief, item: Item,
                  candidate: Candidate) -> ProtectionStudy:
    """Fuse and contactor held against the conductor once more, where it is the weakest."""
    figures = {c.title: c.figure for c in candidate.checks if c.figure is not None}
    capacity = figures.get("Overload protection")
    withstand = figures.get("Let-through of the fuse",
                            figures.get("Lowest fault over the counted time"))
    asked = study.coordination.asked
    if asked.cable_name == item.title[:1].lower() + item.title[1:]:
        asked = replace(asked, cable_current=capacity, cable_withstand=withstand)
    held = coordinate(asked)
    items = tuple(held.item if i.key == "coordination" else i for i in study.items)
    return replace(study, items=items, coordination=held,
                   study=replace(study.study, brief=brief))


def _rebuilt(study: ProtectionStudy, brief: Brief, routes: tuple[RouteResult, ...], held,
             rating: Finding | None) -> ProtectionStudy:
    """The study with new routes, and the circuit around them."""
    precharge = next(i for i in study.items if i.key == "precharge")
    circuit = study_circuit(brief, MainPath(study.pack, study.faults, routes, held, rating,
                                            precharge, PACK_INDUCTANCE, CABLE_INDUCTANCE),
                            study.circuit.overvoltage)
    fresh = {i.key: i for i in (*circuit.items, held.item, *(r.item for r in routes))}
    items = tuple(fresh.get(i.key, i) for i in study.items)
    return replace(study, routes=routes, coordination=held, circuit=circuit, items=items,
                   study=replace(study.study, brief=brief))


def _differences(before: ProtectionStudy, after: ProtectionStudy, but: str) -> tuple[Touched, ...]:
    """What reads differently, gravest first: decisions elsewhere, and the part's own figures."""
    old, new = ({d.id: d for d in decisions(s) if d.item != but or d.kind == FIGURE}
                for s in (before, after))
    found = []
    for name, now in new.items():
        was = old.get(name)
        if was is not None and (was.verdict, was.shown) != (now.verdict, now.shown):
            found.append(Touched(now.part, now.title, was.verdict, now.verdict, now.shown,
                                 was.shown, now.kind == CHOICE))
    lost = {d.item for name, d in old.items() if name not in new and d.kind == CHOICE}
    for name, was in old.items():
        if name in new or not was.verdict or (was.item in lost and was.kind != CHOICE):
            continue
        gone = was.kind == CHOICE
        found.append(Touched(was.part, was.title, was.verdict, FAIL if gone else NOT_EVALUATED,
                             "nothing of what was tried is left" if gone else "no longer shown",
                             was.shown, gone))
    return tuple(sorted(found, key=lambda t: -GRAVITY.index(t.after)))


# -- a figure ---------------------------------------------------------------------------------


def _figure_change(study: ProtectionStudy, decision: Decision, blank: Recheck) -> Recheck:
    """The reviewer's figure in every check that uses this one."""
    figure = decision.finding
    assert figure is not None
    value = _quantity(blank.asked, figure)
    if value is None:
        return replace(blank, words="cannot be understood: write a number in "
                       f"{printed(figure.unit) or 'the same unit'}, like {figure.shown}")
    own = leaf(figure.title, figure.symbol, figure.unit, value, "given",
               origin=Origin("review mark", text=one_line(blank.asked, 60)))
    digest = finding_digest(figure)
    checks = tuple(_judged(c, own, digest) for c in _using(study, digest))
    entries = [str(f.origin) for f in figure.leaves() if f.origin is not None and f.origin.line]
    rests = f" It rests on {_listed(list(dict.fromkeys(entries)))}." if entries else ""
    return replace(blank, understood=True, checks=checks, words=(
        f"{show(value, figure.unit)} in place of {figure.shown} in the {len(checks)} checks that "
        f"use this figure itself; what was computed from it was not computed again: change the "
        f"entry of the brief and run packcalc again.{rests}"))


def _quantity(text: str, figure: Finding) -> float | None:
    words = fold(text).removeprefix("to ").strip()
    match = _NUMBER.fullmatch(words) if len(text) < 60 else None
    if match is None:
        return None
    if _key(match.group(2) or "") == _key(printed(figure.unit)):
        value = into_si(float(match.group(1)), figure.unit)
        return value if abs(value) < 1e12 else None
    unit = (match.group(2) or "").strip()
    kind = next((k.name for k in DIMENSIONS.values()
                 if fold(figure.unit) in k.units and unit in k.units), "")
    return _plain_quantity(words, kind) if kind else None


def _using(study: ProtectionStudy, digest: str) -> Iterable[Check]:
    for decision in decisions(study):
        check = decision.check
        if check is not None and check.relation and any(
                f is not None and f.known and finding_digest(f) == digest
                for f in (check.figure, check.demand)):
            yield check


def _judged(check: Check, own: Finding, digest: str) -> Check:
    def put(f: Finding | None) -> Finding | None:
        return own if f is not None and f.known and finding_digest(f) == digest else f

    return judge(check.title, check.stage, put(check.figure), check.relation, put(check.demand),
                 missing=check.reason, reason=check.reason, remedy=check.remedy)
