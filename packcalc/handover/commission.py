"""First energising in stages, each behind a gate."""

from __future__ import annotations

from packcalc.bench.assign import AssignmentStudy
from packcalc.handover.expected import Plan
from packcalc.handover.figures import Figures
from packcalc.handover.stages_high import charge, limited, retorque, warm, weld, wheels
from packcalc.handover.stages_joining import pack_on, section, sense
from packcalc.handover.stages_low import dead, joints, logic, monitor, supply
from packcalc.protection import ProtectionStudy

ORDER = (joints, dead, logic, supply, monitor, section, sense, pack_on, weld, charge, wheels,
         limited, warm, retorque)


def plan_of(study: ProtectionStudy, dealt: AssignmentStudy | None = None) -> Plan:
    """Every stage of the first energising of one layout, in order.

    Args:
        study: one layout sized.
        dealt: modules of the bench in its places; bands come from them where there are any.
    """
    figures = Figures(study, dealt)
    return Plan(tuple(stage(figures) for stage in ORDER))
