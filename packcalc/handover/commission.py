"""First energising in stages, each behind a gate."""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.bench.assign import AssignmentStudy
from packcalc.findings import Finding, Origin, leaf
from packcalc.handover.expected import Plan
from packcalc.handover.figures import BORDER, LEAST_SUPPLY, SUPPLY, Figures
from packcalc.handover.readings import latest
from packcalc.handover.stages_high import charge, limited, retorque, warm, weld, wheels
from packcalc.handover.stages_joining import pack_on, section, sense
from packcalc.handover.inside import strings_of
from packcalc.handover.stages_low import dead, joints, logic, monitor, supply
from packcalc.handover.stages_strings import join
from packcalc.protection import ProtectionStudy
from packcalc.reading.readings_file import Reading

ORDER = (joints, dead, logic, supply, monitor, section, sense, pack_on, weld, charge, wheels,
         limited, warm, retorque)
AFTER_WELD = ORDER.index(weld) + 1
OF_STRINGS = (*ORDER[:AFTER_WELD], join, *ORDER[AFTER_WELD:])


def plan_of(study: ProtectionStudy, dealt: AssignmentStudy | None = None,
            readings: Sequence[Reading] = ()) -> Plan:
    """Every stage of the first energising of one layout, in order.

    Args:
        study: one layout sized.
        dealt: modules of the bench in its places; bands come from them where there are any.
        readings: what was read; currents of the supply are then held to the supply as read.
    """
    figures = Figures(study, dealt, _supply_read(readings))
    order = OF_STRINGS if strings_of(study) > 1 else ORDER
    return Plan(tuple(stage(figures) for stage in order))


def design_stops(study: ProtectionStudy) -> tuple[tuple[str, str], ...]:
    """(stage, why) where the design itself must be changed before it can be energised."""
    return tuple((stage.title, words) for stage in plan_of(study).stages for words in stage.stops)


def _supply_read(readings: Sequence[Reading]) -> Finding:
    """The supply as it was read last; our choice where none is read, or none that may be."""
    one = latest(readings, "supply.voltage")
    if one is None or one.value is None or one.over \
            or not LEAST_SUPPLY.number <= abs(one.value) <= BORDER.number:
        return SUPPLY
    return leaf("voltage of the supply, as read", "V", "V", abs(one.value), "measured",
                origin=Origin(one.place, one.line, one.id, one.text), note=f"on {one.date}")
