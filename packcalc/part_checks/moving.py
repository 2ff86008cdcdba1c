"""A current trip whose setting follows the temperature of the cells."""

from __future__ import annotations

from packcalc.findings import Finding
from packcalc.value import value_object


@value_object
class MovingTrip:
    """Settings of a trip that is given by points of current against cell temperature.

    Between two points the higher setting counts against a fault and the lower against a load;
    outside the points nothing is counted on.

    Attributes:
        least: lowest setting while the contactors may be closed: the earliest that it may act.
        at_load: lowest setting at which full power may be asked; None outside the points.
        highest: highest setting up to the hottest cells: what it may leave alone in an overload
            or an arc, which may be of any current at any temperature; None where nothing is
            counted on.
        setting, fault: where it is nearest to missing a fault: the highest setting there, and the
            lowest fault; None where the points do not reach.
        where: their temperatures, in words.
        cold: what is not known of the load in the cold, in words; empty where nothing is.
        gap: why the trip is not counted on; empty where it is.
    """

    least: Finding
    at_load: Finding | None
    highest: Finding | None = None
    setting: Finding | None = None
    fault: Finding | None = None
    where: str = ""
    cold: str = ""
    gap: str = ""
