"""What a reviewer decides on: one line a decision, in order of consequence.

A decision has a stable id (its part and its own name), the figure or check it rests on and
a digest of everything under it. A mark given to a decision holds as long as that digest
does; a change elsewhere leaves it alone.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from packcalc.checks import NOT_EVALUATED, STAGES, Check, Item
from packcalc.findings import BASES, Finding
from packcalc.protection import ProtectionStudy

MOST_GRAVE = 25


@dataclass(frozen=True)
class Decision:
    """One thing to accept, change, reject or leave.

    Attributes:
        id: stable, e.g. "main_fuse.least-rated-current-from-the-load-side".
        part: title of the item it belongs to.
        title: what is decided.
        stage: one of STAGES; the order of consequence.
        verdict: of the check, or "" for a figure.
        shown: the figure or the check's sentence, as printed.
        basis: weakest basis in the chain.
        digest: of everything the decision rests on.
        finding: the figure, where it has a chain.
    """

    id: str
    part: str
    title: str
    stage: str
    verdict: str
    shown: str
    basis: str
    digest: str
    finding: Finding | None = None


def slug(text: str) -> str:
    """Letters and digits joined by hyphens."""
    plain = "".join(ch.lower() if ch.isascii() and ch.isalnum() else "-" for ch in text)
    return "-".join(part for part in plain.split("-") if part)


def finding_digest(finding: Finding) -> str:
    """A digest of a finding's chain: rules, leaves, values as printed."""
    words = "|".join(
        f"{node.symbol}={node.shown}:{node.basis}:{node.source}:"
        f"{node.formula.text if node.formula else node.title}" for node in finding.walk())
    return hashlib.sha256(words.encode("utf-8")).hexdigest()[:12]


def _check_digest(check: Check) -> str:
    parts = [check.title, check.verdict, check.reason]
    parts += [finding_digest(f) for f in (check.figure, check.demand) if f is not None]
    return hashlib.sha256("|".join(parts).encode("utf-8")).hexdigest()[:12]


def _figure_stage(item: Item, finding: Finding) -> str:
    """Stage of a duty figure: by what is measured, so that voltages come first."""
    if item.key == "highest_voltage" or finding.unit in ("V", "kV"):
        return "highest voltage"
    if "fault" in finding.title.lower():
        return "fault range"
    return "thermal load"


def decisions(study: ProtectionStudy) -> tuple[Decision, ...]:
    """Every decision of a study, gravest stage first, failures before passes."""
    found: dict[str, Decision] = {}
    for item in study.items:
        for finding in item.duty:
            if finding.known:
                _put(found, _of_finding(item, finding))
        for check in item.checks:
            _put(found, _of_check(item.key, item.title, check))
        if item.shortlist:
            first = item.shortlist[0]
            for check in first.checks:
                _put(found, _of_check(f"{item.key}.{slug(first.name)}",
                                      f"{item.title}, {first.name}", check))
    for check in study.faults.checks:
        _put(found, _of_check("faults", "Fault range", check))
    return tuple(sorted(found.values(), key=_gravity))


def _put(found: dict[str, Decision], decision: Decision) -> None:
    found.setdefault(decision.id, decision)


def _gravity(decision: Decision) -> tuple[int, int]:
    order = ("fail", NOT_EVALUATED, "caution", "", "pass")
    return STAGES.index(decision.stage), order.index(decision.verdict)


def _of_finding(item: Item, finding: Finding) -> Decision:
    return Decision(f"{item.key}.{slug(finding.title)}", item.title, finding.title,
                    _figure_stage(item, finding), "", finding.shown, finding.weakest,
                    finding_digest(finding), finding)


def _of_check(key: str, part: str, check: Check) -> Decision:
    figures = [f for f in (check.figure, check.demand) if f is not None and f.known]
    basis = max((f.weakest for f in figures), key=BASES.index, default="not known")
    return Decision(f"{key}.{slug(check.title)}", part, check.title, check.stage, check.verdict,
                    check.sentence or check.reason, basis, _check_digest(check), check.figure)
