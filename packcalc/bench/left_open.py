"""What was left open on modules that are dealt all the same: kept only as far as was measured."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from packcalc.bench.grade import GradedModule
from packcalc.bench.judging import PAPER_TITLES
from packcalc.bench.sheet import some_marks
from packcalc.checks import NOT_EVALUATED, STAGES, Check
from packcalc.value import value_object

MOST_REASONS = 2


@value_object
class LeftOpen:
    """One kind of check that was not evaluated.

    Attributes:
        title: of the check.
        reason: why, of the first modules.
        remedy: what would settle it.
        marks: of the modules.
    """

    title: str
    reason: str
    remedy: str
    marks: tuple[str, ...]


def left_open(modules: Iterable[GradedModule]) -> tuple[LeftOpen, ...]:
    """Every kind of check that is open on some of these modules, what can hurt first."""
    kinds: dict[str, list[tuple[str, str, str]]] = {}
    open_ = [(module, check) for module in modules for check in module.reasons
             if check.verdict == NOT_EVALUATED]
    for module, check in sorted(open_, key=lambda pair: _danger(pair[1])):
        kinds.setdefault(check.title, []).append((module.mark, check.sentence, check.remedy))
    return tuple(LeftOpen(title, _few(reasons), _few(remedies), tuple(dict.fromkeys(marks)))
                 for title, found in kinds.items()
                 for marks, reasons, remedies in (zip(*found, strict=True),))


def _danger(check: Check) -> tuple[bool, int]:
    """Smaller is graver: by what may happen, and papers, that make nothing worse, last."""
    return check.title in PAPER_TITLES, STAGES.index(check.stage)


def _few(words: Iterable[str]) -> str:
    """Each once; of many the first, and that there are others."""
    found = [w for w in dict.fromkeys(words) if w]
    more = "; others: packcalc bench" if len(found) > MOST_REASONS else ""
    return "; ".join(found[:MOST_REASONS]) + more


def which(marks: Sequence[str], of: int) -> str:
    """The first marks; that it is all of them where it is."""
    return f"all {of}" if len(marks) == of > 1 else some_marks(marks)
