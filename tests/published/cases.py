"""One printed number of a published source, held against a formula."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Printed:
    """A worked number as a source prints it.

    Attributes:
        formula: name of the registered formula.
        source: key in the register of sources.
        where: page, clause, table, example.
        inputs: SI inputs by parameter name.
        printed: the printed answer, in SI.
        tolerance: relative; half a unit of the last printed digit unless said otherwise.
        reason: why the tolerance is what it is.
    """

    formula: str
    source: str
    where: str
    inputs: dict[str, float]
    printed: float
    tolerance: float
    reason: str = "half a unit of the last printed digit"


def label(case: Printed) -> str:
    return f"{case.formula}-{case.where}".replace(" ", "_")[:80]


def check(case: Printed) -> None:
    """Fail unless the formula gives the printed number within the stated tolerance."""
    from packcalc import catalogue

    function = catalogue.all_formulas()[case.formula].function
    value = float(function(**case.inputs))
    assert abs(value - case.printed) <= case.tolerance * abs(case.printed), (
        f"{case.formula}: {value!r} against printed {case.printed!r} ({case.source}, {case.where})"
    )
