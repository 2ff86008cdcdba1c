"""What is stated of one entry of a brief; the entries themselves stand by section.

`packcalc.brief_keys` has those of every brief, `packcalc.bench_keys` those of [bench] and [donor].
"""

from __future__ import annotations

from packcalc.value import value_object


@value_object
class Key:
    """One entry of the brief: how it is read, and what `unknown` means.

    Attributes:
        section, name: where it stands in the TOML file.
        dimension: of `packcalc.dimensions`, or "words" for a choice.
        symbol, unit, title: as printed.
        least, most: plausible span, in `unit`; outside it the entry is a fault.
        safe: value taken when unknown, in `unit`; None where nothing is then asked.
        worse: "higher", "lower" or "different" where such a true value asks for more than
            `safe`, which is then an assumption and no bound; empty where none can ask for more.
        other: the value a lucky answer might have, for ranking what to find next.
        consequence: what taking the safe value means.
        find: where to read it or how to measure it.
        basis, source: ground of the safe value.
        choices: for "words".
        pair: for a range, the names of its two fields.
        required: no first answer without it.
        ends: why nothing under `least` is read, where it is not for being implausible.
        beyond: the same of `most`.
        odd: below it a value in a smaller unit is asked about beside an inverter above 60 V, where
            it is the thousandth of what such a vehicle has, and none of a small one.
        zero: whether nothing at all is plausible too, below `least`.
        unbounded: whether a true value may well be more than `safe`, which is a choice of ours and
            no end of what is usual: no pass rests on it.
    """

    section: str
    name: str
    dimension: str
    symbol: str
    unit: str
    title: str
    least: float | None = None
    most: float | None = None
    safe: float | str | None = None
    other: float | str | None = None
    consequence: str = ""
    find: str = ""
    basis: str = "assumed"
    source: str = "packcalc-rule"
    choices: tuple[str, ...] = ()
    pair: tuple[str, str] | None = None
    required: bool = False
    ends: str = ""
    beyond: str = ""
    odd: float | None = None
    zero: bool = False
    worse: str = ""
    unbounded: bool = False

    @property
    def dotted(self) -> str:
        return f"{self.section}.{self.name}" if self.section else self.name

    @property
    def doubt(self) -> str:
        """What the value taken is worth where a true value may ask for more; else empty."""
        return f"our assumption; a {self.worse} true value asks for more" if self.worse else ""
