"""Checks, candidates and items: how every part of the protection is put to a reviewer.

A check never ends in silence: it passes, cautions, fails, or says why it was not
evaluated. A figure that nobody saw in print is never the ground of a pass.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from packcalc.findings import AT_LEAST, NEVER_A_GROUND, TO_CONFIRM, Finding
from packcalc.value import replace, value_object

PASS, CAUTION, FAIL, NOT_EVALUATED = "pass", "caution", "fail", "not evaluated"
VERDICTS = (FAIL, NOT_EVALUATED, CAUTION, PASS)
# By relation: whether a value holds against a limit, within a slack.
HOLDS: dict[str, Callable[[float, float, float], bool]] = {
    "at least": lambda value, limit, slack: value >= limit - slack,
    "above": lambda value, limit, slack: value > limit + slack,
    "at most": lambda value, limit, slack: value <= limit + slack,
    "below": lambda value, limit, slack: value < limit - slack,
}

# Order of checks, once and everywhere; a failure in the first four stops the item.
STAGES = ("highest voltage", "isolation and distance", "fault range", "who clears",
          "thermal load", "voltage drop", "convenience")


@dataclass(frozen=True, init=False)  # made by the thousand
class Check:
    """One demand held against one figure.

    Attributes:
        title: what is asked.
        stage: one of STAGES.
        verdict: one of VERDICTS.
        figure: what the part or layout offers.
        demand: what is asked of it.
        relation: "at least" or "at most" (figure against demand).
        reason: why, in words; for `not evaluated` what is missing and whom to ask.
        remedy: what would change the verdict.
    """

    title: str
    stage: str
    verdict: str
    figure: Finding | None = None
    demand: Finding | None = None
    relation: str = ""
    reason: str = ""
    remedy: str = ""

    def __init__(self, title: str, stage: str, verdict: str, figure: Finding | None = None,
                 demand: Finding | None = None, relation: str = "", reason: str = "",
                 remedy: str = "") -> None:
        values = self.__dict__
        values["title"] = title
        values["stage"] = stage
        values["verdict"] = verdict
        values["figure"] = figure
        values["demand"] = demand
        values["relation"] = relation
        values["reason"] = reason
        values["remedy"] = remedy

    @property
    def to_confirm(self) -> tuple[str, ...]:
        """Titles of leaves that a reviewer must confirm before relying on a pass."""
        leaves = [leaf for f in (self.figure, self.demand) if f for leaf in f.leaves()]
        return tuple(dict.fromkeys(leaf.title for leaf in leaves if leaf.basis in TO_CONFIRM))

    @property
    def sentence(self) -> str:
        """The check in one line of words."""
        parts = []
        if self.figure is not None and self.demand is not None:
            figure = _grounded(self.figure)
            demand = _grounded(self.demand) if self.demand.unit else self.demand.shown
            parts.append(f"{figure}, asked {self.relation} {demand}" if self.relation
                         else f"{figure}, {demand}")
        if self.reason:
            parts.append(self.reason)
        milder = self.demand if self.relation in ("at least", "above") else self.figure
        if self.relation and milder is not None and milder.may_be_more \
                and AT_LEAST not in self.reason:
            parts.append(f"{milder.title} may be more than {milder.shown}")
        return "; ".join(parts)


def _grounded(item: Finding) -> str:
    """A figure with its grounds in brackets, where these are not the user's own entries.

    The grounds are the sources of the figure itself and of the constants that its rule takes.
    """
    if not item.known:
        return item.shown
    direct = [item, *(node for node in item.inputs if not node.inputs)]
    told = dict.fromkeys(_ground(node) for node in direct)
    # A bare count says nothing without what it counts.
    shown = item.shown if item.unit else f"{item.title}: {item.shown}"
    return " ".join([shown, *(words for words in told if words)])


def _ground(node: Finding) -> str:
    """A source's key with its basis, unless that is the plain one of having been read."""
    if node.source:
        how = "" if node.basis in ("read", "computed", "definition") else f", {node.basis}"
        return f"[{node.source}{how}]"
    return f"[{node.basis}]" if node.basis == "common practice" else ""


def judge(title: str, stage: str, figure: Finding | None, relation: str,
          demand: Finding | None, *, missing: str = "", reason: str = "",
          remedy: str = "") -> Check:
    """Hold `figure` against `demand`.

    Args:
        title: what is asked.
        stage: one of STAGES.
        figure, demand: findings of the same unit; either may lack a value.
        relation: "at least", "above", "at most" or "below".
        missing: what to ask for when a value is lacking.
        reason, remedy: words that travel with the verdict.

    Returns:
        Check; `not evaluated` where a value is lacking or where a pass would rest on a
        figure that is only remembered, or on one that may be less (a demand: more) by what
        is not told, or that an entry which nothing bounds may make so; a caution where it would
        rest on one that may be more.
    """
    if figure is None or demand is None or figure.value is None or demand.value is None:
        role = "figure" if figure is None or figure.value is None else "demand"
        return Check(title, stage, NOT_EVALUATED, figure, demand, relation,
                     missing or f"the {role} is not known", remedy)
    value, limit = figure.value, demand.value
    slack = 1e-9 * max(abs(value), abs(limit))
    if not HOLDS[relation](value, limit, slack):
        return Check(title, stage, FAIL, figure, demand, relation, reason, remedy)
    upwards = relation in ("at least", "above")
    most, least = (demand, figure) if upwards else (figure, demand)
    passed = Check(title, stage, PASS, figure, demand, relation, reason, remedy)
    if not (figure.sound and demand.sound):
        passed = _doubted(passed, figure, demand, most)
        if passed.verdict == NOT_EVALUATED:
            return passed
    less, more = least.may_be_less, most.untold_more
    words = [f"it may be {way}: {why}" for way, why in (("less", less), ("more", more)) if why]
    counted = _unbounded(figure, demand, most)
    if counted is not None and counted.untold_more != more:
        words.append(f"{counted.title} may be more: {counted.untold_more}")
    return on_an_open_entry(replace(passed, verdict=PASS), "; ".join(words)) if words else passed


def _unbounded(figure: Finding, demand: Finding, milder: Finding) -> Finding | None:
    """An open entry that nothing bounds and of which more may make a pass a failure."""
    for item in (figure, demand):
        if item.unbounded is not None \
                and (item.rises if item is milder else -item.rises) >= 0.0:
            return item.unbounded
    return None


def _doubted(check: Check, figure: Finding, demand: Finding, milder: Finding) -> Check:
    """A pass on a figure that is only remembered is none; on one that may be more, a caution."""
    weak = {leaf.title for f in (figure, demand) if f.weakest in NEVER_A_GROUND
            for leaf in f.leaves() if leaf.basis in NEVER_A_GROUND}
    if weak:
        words = "would pass only on a figure that nobody saw in print: " + "; ".join(sorted(weak))
        return replace(check, verdict=NOT_EVALUATED, reason=words)
    more = _may_be_more(milder)
    if not more:
        return check
    words = more if check.reason.startswith(AT_LEAST) else "; ".join(
        filter(None, (check.reason, more)))
    return replace(check, verdict=CAUTION, reason=words, remedy="the figures that are still open")


def on_an_open_entry(check: Check, why: str) -> Check:
    """A check on the value counted for an open entry: a failure stands, a pass shows nothing."""
    words = "; ".join(w for w in (why, check.reason) if w)
    return replace(check, reason=words,
                   verdict=NOT_EVALUATED if check.verdict == PASS else check.verdict)


def by_the_unnamed(check: Check, why: str) -> Check:
    """A check on what nobody named, as `why` says: a failure stands, nothing else is shown."""
    if not why or check.verdict in (FAIL, NOT_EVALUATED):
        return check
    return replace(on_an_open_entry(check, why), verdict=NOT_EVALUATED)


def _may_be_more(item: Finding) -> str:
    """What in the chain of a figure is only the least it can be, in words."""
    found = item.first_open
    if found is None or found is item:
        return item.may_be_more
    return f"{found.title} {found.shown}, {found.may_be_more}"


def named_title(name: str) -> str:
    """Title of the check that sums up a named part."""
    return f"{name}, named in the brief, meets its duty"


def named_part(named: str, candidates: "Sequence[Candidate]") -> tuple[Check, ...]:
    """The part that the brief names, in one line: the gravest of its checks."""
    found = next((c for c in candidates if c.own and c.name == named), None)
    if found is None:
        return ()
    title = named_title(named)
    if found.verdict == PASS:
        near = min(found.checks, key=_spare)
        return (replace(near, title=title, reason=f"all {len(found.checks)} of its checks pass; "
                        f"this one has least to spare: {near.title}", remedy=""),)
    grave = [c for c in found.checks if c.verdict in (FAIL, NOT_EVALUATED)]
    stage = min((c.stage for c in grave), key=STAGES.index, default=STAGES[0])
    told = sorted((c for c in found.checks if c.verdict != PASS),
                  key=lambda c: VERDICTS.index(c.verdict))
    words = "; ".join(_told(told))
    remedies = dict.fromkeys(c.remedy for c in told if c.verdict == FAIL and c.remedy)
    first = told[0] if told[0].verdict in (FAIL, CAUTION) else None
    held = (first.figure, first.demand, first.relation) if first else (None, None, "")
    return (Check(title, stage, found.verdict, *held, words, "; ".join(remedies)),)


def hidden_cautions(item: "Item") -> tuple[Check, ...]:
    """Cautions of a named part whose one line says `not evaluated`, which outranks them."""
    silent = {c.title for c in item.checks if c.verdict == NOT_EVALUATED}
    return tuple(replace(check, title=f"{part.name}: {check.title}")
                 for part in item.candidates if part.own and named_title(part.name) in silent
                 for check in part.checks if check.verdict == CAUTION)


def _spare(check: Check) -> float:
    """What is left between figure and demand, as a share of the demand."""
    left = margin(check)
    whole = check.figure is not None and not check.figure.unit
    return float("inf") if left is None or whole else left


def margin(check: Check) -> float | None:
    """What is left between figure and demand as a share of the demand; negative fails."""
    figure, demand = check.figure, check.demand
    if figure is None or demand is None or not (figure.known and demand.known) \
            or figure.unit == "°C" or not demand.number or not check.relation:
        return None
    share = figure.number / demand.number - 1.0
    return share if check.relation in ("at least", "above") else -share


def open_of(named: str, candidates: "Sequence[Candidate]",
            otherwise: tuple[str, ...]) -> tuple[str, ...]:
    """What the sheet of the named part leaves open; `otherwise` where none is named."""
    found = next((c for c in candidates if c.own and c.name == named), None)
    if found is None:
        return otherwise
    return tuple(f"{named}, {c.title}: {c.reason}" for c in found.checks
                 if c.verdict == NOT_EVALUATED)


def _told(checks: "Sequence[Check]") -> list[str]:
    """Checks in a line each: what is open by its name alone, else with its figures, said once."""
    said: list[str] = []
    before: set[str] = set()
    for check in checks:
        words = check.sentence if check.verdict in (FAIL, CAUTION) else ""
        said.append(f"{check.title}: {check.verdict}" + (
            f" ({words})" if words and words not in before else ""))
        before.add(words)
    return said


def worst(checks: Sequence[Check]) -> str:
    """The gravest verdict of several checks; `not evaluated` when there are none."""
    verdicts = {c.verdict for c in checks}
    return next((v for v in VERDICTS if v in verdicts), NOT_EVALUATED)


@dataclass(frozen=True, init=False)  # made by the thousand
class Fact:
    """One further column of a table of candidates: a figure or words.

    Attributes:
        title: as printed.
        text: as a page prints it, with its unit.
        unit: of the figure, "" for a bare number.
        value: SI; None for words and for what is not known.
        words: whether the column holds words and never a figure.
    """

    title: str
    text: str
    unit: str = ""
    value: float | None = None
    words: bool = False

    def __init__(self, title: str, text: str, unit: str = "", value: float | None = None,
                 words: bool = False) -> None:
        values = self.__dict__
        values["title"] = title
        values["text"] = text
        values["unit"] = unit
        values["value"] = value
        values["words"] = words


def figure_fact(title: str, unit: str, item: Finding | None, otherwise: str = "not given") -> Fact:
    """A figure as a column; `otherwise` is printed where there is none.

    Args:
        title: of the column.
        unit: of the column, the same for every candidate.
        item: the figure; shown in its own unit.
    """
    if item is None or not item.known:
        return Fact(title, otherwise, unit)
    return Fact(title, item.shown, unit, item.number)


def word_fact(title: str, text: str) -> Fact:
    """Words as a column."""
    return Fact(title, text, words=True)


@value_object
class Candidate:
    """A rating, or a user's own part, held against a duty.

    Attributes:
        name: e.g. "250 A" or the user's part name.
        checks: in the order of STAGES.
        facts: further columns for a table.
        own: whether it is a part of the user's list, not a standard rating.
    """

    name: str
    checks: tuple[Check, ...]
    facts: tuple[Fact, ...] = ()
    own: bool = False

    @property
    def verdict(self) -> str:
        return worst(self.checks)

    def fact(self, title: str) -> str:
        """What a page prints in the column of that title; "" where there is none."""
        return next((f.text for f in self.facts if f.title == title), "")

    @property
    def qualifies(self) -> bool:
        """No check failed; what was not evaluated is asked of the supplier."""
        return all(c.verdict != FAIL for c in self.checks)


@value_object
class Requirement:
    """One line of the specification that goes to a supplier."""

    what: str
    value: str
    why: str = ""

    def resting_on(self, *figures: Finding | None) -> Requirement:
        """The same line; its note tells what is not known of the figures that it prints.

        What may be less or more than a line says is no limit that a supplier can rely on.
        """
        told = dict.fromkeys(f.left_open for f in figures if f is not None)
        why = "; ".join([*filter(None, (self.why,)),
                         *(one for one in told if one and one not in self.why)])
        return replace(self, why=why) if why != self.why else self


@value_object
class Item:
    """One protective part: its duty, its specification, what was held against them.

    Attributes:
        key: stable name, e.g. "main_fuse", "cable.battery to inverter".
        title: as printed.
        governing: the corner that governs the duty, in one sentence.
        duty: findings, the governing one first.
        specification: what to send to a supplier.
        candidates: every standard rating or part tried, with all checks.
        open_items: what is not known and whom to ask, most decisive first.
        notes: cautions that belong to this part.
        checks: checks of the duty itself (e.g. a level that is never reached).
    """

    key: str
    title: str
    governing: str
    duty: tuple[Finding, ...]
    specification: tuple[Requirement, ...] = ()
    candidates: tuple[Candidate, ...] = ()
    open_items: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()

    @property
    def own_parts(self) -> tuple[Candidate, ...]:
        """The user's own parts among the candidates."""
        return tuple(c for c in self.candidates if c.own)

    @property
    def shortlist(self) -> tuple[Candidate, ...]:
        """The candidates in which no check failed."""
        return tuple(c for c in self.candidates if c.qualifies)
