"""Checks, candidates and items: how every part of the protection is put to a reviewer.

A check never ends in silence: it passes, cautions, fails, or says why it was not
evaluated. A figure that nobody saw in print is never the ground of a pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from packcalc.findings import NEVER_A_GROUND, TO_CONFIRM, Finding

PASS, CAUTION, FAIL, NOT_EVALUATED = "pass", "caution", "fail", "not evaluated"
VERDICTS = (FAIL, NOT_EVALUATED, CAUTION, PASS)

# Order of checks, once and everywhere; a failure in the first four stops the item.
STAGES = ("highest voltage", "isolation and distance", "fault range", "who clears",
          "thermal load", "voltage drop", "convenience")


@dataclass(frozen=True)
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
            parts.append(f"{self.figure.shown}, asked {self.relation} {self.demand.shown}"
                         if self.relation else f"{self.figure.shown}, {self.demand.shown}")
        if self.reason:
            parts.append(self.reason)
        return "; ".join(parts)


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
        figure that is only remembered.
    """
    for item, role in ((figure, "the figure"), (demand, "the demand")):
        if item is None or not item.known:
            return Check(title, stage, NOT_EVALUATED, figure, demand, relation,
                         missing or f"{role} is not known", remedy)
    assert figure is not None and demand is not None
    value, limit = figure.number, demand.number
    slack = 1e-9 * max(abs(value), abs(limit))
    holds = {
        "at least": value >= limit - slack, "above": value > limit + slack,
        "at most": value <= limit + slack, "below": value < limit - slack,
    }[relation]
    if not holds:
        return Check(title, stage, FAIL, figure, demand, relation, reason, remedy)
    weak = {leaf.title for f in (figure, demand) for leaf in f.leaves()
            if leaf.basis in NEVER_A_GROUND}
    if weak:
        words = "would pass only on a figure that nobody saw in print: " + "; ".join(sorted(weak))
        return Check(title, stage, NOT_EVALUATED, figure, demand, relation, words, remedy)
    return Check(title, stage, PASS, figure, demand, relation, reason, remedy)


def named_part(named: str, candidates: "Sequence[Candidate]") -> tuple[Check, ...]:
    """The part that the brief names, in one line: the gravest of its checks."""
    found = next((c for c in candidates if c.own and c.name == named), None)
    if found is None:
        return ()
    grave = [c for c in found.checks if c.verdict in (FAIL, NOT_EVALUATED)]
    stage = min((c.stage for c in grave), key=STAGES.index, default=STAGES[0])
    told = sorted((c for c in found.checks if c.verdict != PASS),
                  key=lambda c: VERDICTS.index(c.verdict))
    words = "; ".join(_told(told)) or "no check failed or stayed open"
    remedies = dict.fromkeys(c.remedy for c in told if c.verdict == FAIL and c.remedy)
    return (Check(f"{named}, named in the brief, meets its duty", stage, found.verdict,
                  reason=words, remedy="; ".join(remedies)),)


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


@dataclass(frozen=True)
class Candidate:
    """A rating, or a user's own part, held against a duty.

    Attributes:
        name: e.g. "250 A" or the user's part name.
        checks: in the order of STAGES.
        facts: further columns for a table, title to text.
        own: whether it is a part of the user's list, not a standard rating.
    """

    name: str
    checks: tuple[Check, ...]
    facts: tuple[tuple[str, str], ...] = ()
    own: bool = False

    @property
    def verdict(self) -> str:
        return worst(self.checks)

    @property
    def qualifies(self) -> bool:
        """No check failed; what was not evaluated is asked of the supplier."""
        return all(c.verdict != FAIL for c in self.checks)


@dataclass(frozen=True)
class Requirement:
    """One line of the specification that goes to a supplier."""

    what: str
    value: str
    why: str = ""


@dataclass(frozen=True)
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
