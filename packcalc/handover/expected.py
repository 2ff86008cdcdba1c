"""Stages of the first energising, their gates, and the readings expected at each.

A reading has a stable id, `stage.name`. Its band is a pair of findings with their chains;
either end may be missing. A reading without a band is written down and becomes the baseline.
"""

from __future__ import annotations

from collections.abc import Iterator

from packcalc.errors import ProgramFault
from packcalc.findings import Finding
from packcalc.protect.insulation import or_more
from packcalc.value import value_object

WORDS = "words"
STOP = "STOP, design"
YES = ("yes", "no")
SUM, FALL = "sum", "fall"
VOID = "void: repeat"
MISREAD = "look at value and unit"  # so far off that it was hardly read as it is written
BY_SIZE = ("voltage", "current")  # a meter's leads or a clamp may be the wrong way round


@value_object
class Agreement:
    """What a reading must agree with: other readings, however wide its own band is.

    Attributes:
        kind: SUM of the others; FALL from the second of them to 60 V with the first as its
            time constant.
        ids: of the others.
        within: largest share that it may differ by.
        off: what a difference suggests.
    """

    kind: str
    ids: tuple[str, ...]
    within: Finding
    off: str

    @property
    def words(self) -> str:
        """What it is held against, in words."""
        ids = self.ids
        if self.kind == FALL:
            return f"within {self.within.shown} of {ids[0]} · ln({ids[1]} / 60 V)"
        named = ids[0] if len(ids) == 1 else f"the sum of {', '.join(ids)}" if len(ids) < 4 else \
            f"the sum of {ids[0]} to {ids[-1].rsplit('.', 1)[-1]}"
        return f"within {self.within.shown} of {named}"


@value_object
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
        agrees: with which other readings it must agree, or None.
        like: what it is one of many of ("links"); such readings share one table.
        polarity: whether its sign tells what stands there, as of a module put in reversed.
        guards: whether a limit must stand before it opens a gate: without one it never holds.
        rests_on: a demand under its upper end that would draw that in if it were more.
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
    agrees: Agreement | None = None
    like: str = ""
    polarity: bool = False
    guards: bool = False
    rests_on: Finding | None = None

    @property
    def unsettled(self) -> Finding | None:
        """What may be more than counted, and the band narrower by it; None where it is settled.

        No reading within such a band holds.
        """
        ends = [f for f in (self.low, self.rests_on) if f is not None and f.known]
        return next((node for end in ends for node in end.walk() if node.at_least), None)

    @property
    def by_size(self) -> bool:
        """Whether a reading below zero counts by its size: -350 V is no "at most 1 V"."""
        low = self.low is not None and self.low.known and self.low.number < 0
        return self.dimension in BY_SIZE and not self.polarity and not low

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
        still = " (still open, so no reading holds)" if self.unsettled is not None else ""
        if low is not None and high is not None:
            return f"{low.shown} to {or_more(high)}{still}"
        if low is not None:
            return f"at least {or_more(low)}{still}"
        if high is not None:
            return f"at most {or_more(high)}{still}"
        if self.guards:
            return f"no limit, so it does not hold: {self.lacking}"
        return f"no band: {self.lacking or 'becomes the baseline'}"


@value_object
class Stage:
    """One stage: what is done, what is read, and when not to go on.

    Attributes:
        key: first part of its readings' ids; a place of the build sheet keeps the sheet's id.
        title: what the stage is.
        live: what is live meanwhile.
        steps: in order.
        expected: readings.
        gate: "do not go on unless …", beyond the readings in band.
        stops: why the design itself must be changed first; no reading opens that gate.
    """

    key: str
    title: str
    live: str
    steps: tuple[str, ...]
    expected: tuple[Expected, ...]
    gate: tuple[str, ...]
    stops: tuple[str, ...] = ()


@value_object
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


def floor(high: Finding | None, least: Finding) -> Finding | None:
    """The least that can have been read, beside an upper end; none where that is not known."""
    return least if high is not None and high.known else None


def yes(name: str, title: str, no: str, how: str = "") -> Expected:
    """A function that must work."""
    return Expected(name, title, WORDS, "", how=how, below=no)
