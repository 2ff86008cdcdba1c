"""First energising in stages, each behind a gate."""

from __future__ import annotations

from packcalc.handover.expected import Plan
from packcalc.handover.figures import Figures
from packcalc.handover.stages_high import (
    charge,
    limited,
    pack_on,
    retorque,
    section,
    warm,
    weld,
    wheels,
)
from packcalc.handover.stages_low import dead, joints, logic, monitor, supply
from packcalc.protection import ProtectionStudy

ORDER = (joints, dead, logic, supply, monitor, section, pack_on, weld, charge, wheels, limited,
         warm, retorque)


def plan_of(study: ProtectionStudy) -> Plan:
    """Every stage of the first energising of one layout, in order."""
    figures = Figures(study)
    return Plan(tuple(stage(figures) for stage in ORDER))
