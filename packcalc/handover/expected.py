"""Stages of the first energising, their gates, and the readings expected at each.

A reading has a stable id, `stage.name`. Its band is a pair of findings with their chains;
either end may be missing. A reading without a band is written down and becomes the baseline.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from packcalc.errors import ProgramFault
from packcalc.findings import Finding

WORDS = "words"
YES = ("yes", "no")


@dataclass(frozen=True)
class Expected:
    """One reading that is expected.

    Attributes:
        id: stable, e.g. "supply.share_at_one_time_constant".
        title: what is read.
        dimension: of `packcalc.units`, or WORDS for yes and no ("yes" is in band).
        unit: printed.
        low, high: ends of the band; None where that side is open.
        how: with what and where.
        below, above: what a reading beyond that end suggests; `below` also for "no".
        needed: whether its gate waits for it.
        lacking: why there is no band, where there is none.
    """

    id: str
    title: str
    dimension: str
    unit: str
    low: Finding | None = None
    high: Finding | None = None
    how: str = ""
    below: str = ""
    above: str = ""
    needed: bool = True
    lacking: str = ""

    @property
    def edges(self) -> tuple[Finding, ...]:
        """The known ends of the band."""
        return tuple(f for f in (self.low, self.high) if f is not None and f.known)

    @property
    def band(self) -> str:
        """The band in words."""
        if self.dimension == WORDS:
            return "yes"
        low, high = (f if f is not None and f.known else None for f in (self.low, self.high))
        if low is not None and high is not None:
            return f"{low.shown} to {high.shown}"
        if low is not None:
            return f"at least {low.shown}"
        if high is not None:
            return f"at most {high.shown}"
        return f"no band: {self.lacking or 'becomes the baseline'}"


@dataclass(frozen=True)
class Stage:
    """One stage: what is done, what is read, and when not to go on.

    Attributes:
        key: first part of its readings' ids.
        title: what the stage is.
        live: what is live meanwhile.
        steps: in order.
        expected: readings.
        gate: "do not go on unless …", beyond the readings in band.
    """

    key: str
    title: str
    live: str
    steps: tuple[str, ...]
    expected: tuple[Expected, ...]
    gate: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """Every stage in order."""

    stages: tuple[Stage, ...]

    def __post_init__(self) -> None:
        ids = [e.id for e in self.expected()]
        if len(set(ids)) != len(ids):
            raise ProgramFault("two expected readings share an id")

    def expected(self) -> Iterator[Expected]:
        """Every reading, in order."""
        for stage in self.stages:
            yield from stage.expected

    def reading(self, name: str) -> Expected:
        """The expected reading of that id."""
        return next(e for e in self.expected() if e.id == name)

    @property
    def dimensions(self) -> dict[str, str]:
        """Dimension by id, for who reads a file of readings."""
        return {e.id: e.dimension for e in self.expected()}


def yes(name: str, title: str, no: str, how: str = "") -> Expected:
    """A function that must work."""
    return Expected(name, title, WORDS, "", how=how, below=no)
