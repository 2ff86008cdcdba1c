"""A user's disconnect or connector held against the duty of its place."""

from __future__ import annotations

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, judge
from packcalc.findings import Finding, trace
from packcalc.part_checks.contactor import (
    TEST, CarryDemand, SwitchDemand, carry_checks, direction_check,
)
from packcalc.part_checks.shown import SILENT, at_voltage, counted, voltage_check
from packcalc.part_checks.withstand import borne_check
from packcalc.part_formulas import contacts_drop
from packcalc.parts import ConnectorPart, DisconnectPart
from packcalc.value import replace, value_object

VOLTAGE = "rated above the highest working voltage"
PILOT = counted("pilot contacts that open before the power contacts", 1, "common practice")
BOTH_LEADS = counted("contacts in the path, one in each lead", 2, "definition")


@value_object
class PlaceDemand:
    """What the brief says of the place of a disconnect or connector.

    Attributes:
        fuses: fuses that the brief counts on at the place of the disconnect, 0 or 1; None
            where it does not say where disconnect or fuse sit.
        section: of the conductor that is joined.
    """

    fuses: Finding | None = None
    section: Finding | None = None


def disconnect_part_checks(part: DisconnectPart, demand: CarryDemand,
                           switch: SwitchDemand | None = None,
                           place: PlaceDemand = PlaceDemand()) -> tuple[Check, ...]:
    """Every check of one service disconnect."""
    return (
        voltage_check(part, demand.highest_voltage, VOLTAGE),
        _pilot(part, "a disconnect without breaking capacity must never be pulled under load"),
        _fault_carry(part, demand), *_pulled(part, demand, switch), direction_check(part),
        _fuse_inside(part, place), *carry_checks(part, demand),
        _drop(part, demand, part.poles, f"{SILENT}the number of its poles"))


def connector_part_checks(part: ConnectorPart, demand: CarryDemand,
                          place: PlaceDemand = PlaceDemand()) -> tuple[Check, ...]:
    """Every check of one connector."""
    return (voltage_check(part, demand.highest_voltage, VOLTAGE),
            _as_caution(_pilot(part, "it must never be parted under load"),
                        "no pilot circuit tells that it is being parted: only a tool opens it, "
                        "and only with the contactors locked open"),
            _fault_carry(part, demand), *_parted(part, demand), *carry_checks(part, demand),
            judge("takes the section of the conductor", "thermal load", part.section, "at least",
                  place.section, missing=f"{SILENT}the section that it takes"
                  if part.section is None else "the section of the conductor is not chosen yet",
                  remedy="a connector or lug for this section, never a cut-down strand"),
            _drop(part, demand, BOTH_LEADS, ""))


def _parted(part: ConnectorPart, demand: CarryDemand) -> tuple[Check, ...]:
    """A stated breaking current against the load; most have none, and the pilot contact counts."""
    if part.break_discharge is None:
        return ()
    return (_as_caution(
        at_voltage(judge("opens the load when parted", "who clears", part.break_discharge,
                         "at least", demand.peak_current,
                         missing=f"{demand.peak_current.title} is not known"),
                   part, demand.highest_voltage),
        "it breaks less than the load: the pilot contact must have opened the contactors before "
        "it parts"),)


def _as_caution(check: Check, why: str) -> Check:
    return replace(check, verdict=CAUTION, reason=why) if check.verdict == FAIL else check


def _pilot(part: DisconnectPart | ConnectorPart, why: str) -> Check:
    title, stage = "a pilot contact opens first", "isolation and distance"
    if not part.interlock:
        return Check(title, stage, NOT_EVALUATED, None, PILOT, "at least",
                     f"{SILENT}the interlock contact: {why}",
                     "a part with an interlock contact")
    contacts = counted("interlock contacts by the list", int(part.interlock == "yes"), part.basis,
                       part.origin)
    return judge(title, stage, contacts, "at least", PILOT, reason=f"the list says "
                 f"interlock = {part.interlock}", remedy="a part with an interlock contact")


def _pulled(part: DisconnectPart, demand: CarryDemand,
            switch: SwitchDemand | None) -> tuple[Check, ...]:
    """What happens when it is pulled under load: breaking current and inductance of its test."""
    if switch is None:
        return ()
    loop = judge(TEST, "fault range", part.break_time_constant, "at least", switch.time_constant,
                 missing=f"{SILENT}the time constant of its breaking test"
                 if part.break_time_constant is None else "largest inductance and least "
                 "resistance of the broken circuit are not known",
                 remedy="a disconnect tested at a longer time constant")
    ways = (("discharging", part.break_discharge, switch.break_discharge),
            ("charging", part.break_charge, switch.break_charge))
    breaks = [judge(f"opens the load when pulled, {way}", "who clears", figure, "at least", flow,
                    missing=f"{SILENT}the breaking current {way}: without one it is no switch and "
                    "its pilot contact must open the contactors first" if figure is None
                    else f"{flow.title} is not known", remedy="a disconnect that breaks the load")
              for way, figure, flow in ways]
    return tuple(_as_caution(at_voltage(c, part, demand.highest_voltage),
                             "no switch for this load: the pilot contact must have opened the "
                             "contactors before it parts") for c in (loop, *breaks))


def _fuse_inside(part: DisconnectPart, place: PlaceDemand) -> Check:
    title, stage = "has the fuse that the brief counts on at its place", "who clears"
    if not part.fuse_inside:
        return Check(title, stage, NOT_EVALUATED, None, place.fuses, "at least",
                     f"{SILENT}whether a fuse stands inside")
    inside = counted("fuses inside by the list", int(part.fuse_inside == "yes"), part.basis,
                     part.origin)
    check = judge(title, stage, inside, "at least", place.fuses,
                  missing="say in the brief after which modules disconnect and mid-pack fuse sit "
                          "(pack.disconnect_after, pack.fuse_after)",
                  remedy="a disconnect with a fuse inside, or a mid-pack fuse of its own beside it")
    if check.verdict == FAIL:
        return replace(check, verdict=CAUTION, reason="no fuse inside: the mid-pack fuse that the "
                       "brief counts on here must be a part of its own, with a sheet of its own")
    if check.verdict == PASS and inside.number > check.demand.number:
        return replace(check, verdict=CAUTION, reason="nobody counts on the fuse inside, and it "
                       "may melt first: see the fault places; it must carry and break what the "
                       "main fuse does: enter it as a fuse of its own and give pack.fuse_after",
                       remedy="a disconnect without a fuse")
    return check


def _drop(part: DisconnectPart | ConnectorPart, demand: CarryDemand, contacts: Finding | None,
          missing: str) -> Check:
    """What it takes must be to spare beside the other part in the path; see `duties.beside`."""
    drop = None
    if part.contact_resistance is not None and contacts is not None and demand.peak_current.known:
        drop = trace(contacts_drop, "voltage drop in its contacts at the peak", contacts=contacts,
                     current=demand.peak_current, resistance=part.contact_resistance)
    ask = f"{SILENT}the resistance of one closed contact" if part.contact_resistance is None \
        else missing if contacts is None else "the voltage to spare at the peak is not known"
    return judge("voltage drop at the peak within what is to spare", "voltage drop", drop,
                 "at most", demand.spare_voltage, missing=ask,
                 reason="what other contacts of the path leave to spare, at least half",
                 remedy="a part of less resistance")


def _fault_carry(part: DisconnectPart | ConnectorPart, demand: CarryDemand) -> Check:
    title, stage = "withstands faults until they are cleared", "fault range"
    if part.short_time is None:
        return Check(title, stage, NOT_EVALUATED, None, demand.fault_highest, "at least",
                     f"{SILENT}its short-time withstand")
    if demand.borne is None:
        return Check(title, stage, NOT_EVALUATED, None, demand.fault_highest, "at least",
                     "nobody is shown to clear any fault: name fuse and contactor")
    return borne_check(title, part, demand.borne,
                       remedy="a stronger part, a faster fuse or a quicker trip")
