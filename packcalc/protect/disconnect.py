"""Service disconnect and connectors: what they must carry and stand, and the user's own.

No size is recommended: duty and request for data first, then every part of the list.
"""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.checks import Candidate, Item, Requirement, named_part
from packcalc.part_checks.contactor import CarryDemand, SwitchDemand, switch_facts
from packcalc.part_checks.disconnect import (
    PlaceDemand, connector_part_checks, disconnect_part_checks,
)
from packcalc.part_checks.overload_carried import overload_rows
from packcalc.parts import ConnectorPart, DisconnectPart

DISCONNECT_NOTES = (
    "A disconnect without a stated DC breaking capacity opens no load: its pilot contact must "
    "open the contactors first. After it is out, each section still stands at its own voltage.",
    "Every pack keeps the voltage of its longest unbroken section; no disconnect makes it dead.",
)
CONNECTOR_NOTES = (
    "Pull no connector under load; the pilot circuit must open the contactors before the power "
    "contacts part (common practice).",
    "A salvaged connector has an unknown number of matings and faults behind it.",
)


def size_disconnect(demand: CarryDemand, parts: Sequence[DisconnectPart] = (), *,
                    switch: SwitchDemand | None = None, place: PlaceDemand = PlaceDemand(),
                    named: str = "") -> Item:
    """Duty, request for data and the user's own service disconnects.

    Args:
        demand: what it carries.
        parts: disconnects of the user's list.
        switch: what it would break if it were pulled under load.
        place: what the brief says of its place.
        named: the one that the brief names.
    """
    candidates = tuple(Candidate(part.name, disconnect_part_checks(part, demand, switch, place),
                                 switch_facts(part), own=True) for part in parts)
    rows = (*_carries(demand), Requirement(
        "pilot contact", "opens before the power contacts", "it may never be pulled under load"))
    return _item("disconnect", "Service disconnect", demand, candidates, rows,
                 DISCONNECT_NOTES, named)


def size_connectors(demand: CarryDemand, parts: Sequence[ConnectorPart] = (), *,
                    place: PlaceDemand = PlaceDemand(), named: str = "") -> Item:
    """Duty, request for data and the user's own connectors of the main path.

    Args:
        demand: what they carry.
        parts: connectors of the user's list.
        place: which section is joined to them.
        named: the one that the brief names.
    """
    candidates = tuple(Candidate(part.name, connector_part_checks(part, demand, place),
                                 switch_facts(part), own=True) for part in parts)
    rows = (*_carries(demand), Requirement(
        "touch protection and interlock", "finger-safe when parted, pilot contact first"),
        Requirement("parted under load", "breaking current in DC, or the words that it has none",
                    "without one it must be dead before it parts"),
        *((Requirement("conductor", f"takes {place.section.shown}", "never a cut-down strand"),)
          if place.section is not None else ()))
    return _item("connectors", "Connectors of the main path", demand, candidates, rows,
                 CONNECTOR_NOTES, named)


def _carries(demand: CarryDemand) -> tuple[Requirement, ...]:
    return (
        Requirement("rated DC voltage", f"above {demand.highest_voltage.least}"
                    f"{demand.highest_voltage.shown}",
                    "highest working voltage, not the label voltage"),
        Requirement("carries", f"{demand.continuous_current.shown} continuously at "
                    f"{demand.ambient.shown}; {demand.peak_current.shown} for "
                    f"{demand.peak_duration.shown}"),
        *overload_rows(demand.overload),
        Requirement("short-time withstand", f"{demand.fault_highest.shown}, or the fuse's cut-off "
                    "current, until the fuse has cleared" if demand.borne is None
                    else f"at least {demand.borne.words}", "until somebody has cleared the fault"),
    )


def _item(key: str, title: str, demand: CarryDemand, candidates: tuple[Candidate, ...],
          rows: tuple[Requirement, ...], notes: tuple[str, ...], named: str) -> Item:
    return Item(
        key=key, title=title,
        governing=f"carries {demand.continuous_current.shown} at {demand.ambient.shown} and "
                  f"stands {demand.fault_highest.shown} until the fuse has cleared",
        duty=(demand.highest_voltage, demand.fault_highest, demand.continuous_current,
              demand.peak_current, demand.peak_duration, demand.ambient),
        specification=rows, candidates=candidates,
        open_items=() if candidates else (
            f"{title}: data sheet of the part (rated DC voltage, carry curve at the box ambient, "
            "short-time withstand)",),
        notes=notes, checks=named_part(named, candidates))
