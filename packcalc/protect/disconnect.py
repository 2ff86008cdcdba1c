"""Service disconnect and connectors: what they must carry and stand, and the user's own.

No size is recommended: duty and request for data first, then every part of the list.
"""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.brief_keys import NO_CONNECTOR
from packcalc.checks import Candidate, Item, Requirement, named_part
from packcalc.part_checks.contactor import (
    CarryDemand, SwitchDemand, carry_words, constant_words, or_more, switch_facts, withstand_words,
)
from packcalc.part_checks.disconnect import (
    PlaceDemand, connector_part_checks, disconnect_part_checks,
)
from packcalc.part_checks.overload_carried import overload_rows
from packcalc.parts import ConnectorPart, DisconnectPart
from packcalc.units import show

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
NONE_NAMED = ("None named: their contacts stand in no sum, and take more from a lowest fault and "
              f'the voltage under load; parts.connector = "{NO_CONNECTOR}" says that there are '
              "none.")
CONNECTORS = "Connectors of the main path"


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
    rows = (*_carries(demand), *_pulled(demand, switch), Requirement(
        "poles", "how many, resistance of one" + _spare(demand) + "; whether a fuse stands inside"
        ).resting_on(demand.spare_voltage),
        Requirement("pilot contact", "opens before the power contacts",
                    "it may never be pulled under load"))
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
        Requirement("parted under load", f"{or_more(demand.peak_current)} at {_volts(demand)} DC, "
                    "or the words that it breaks none", "dead before it parts without one"),
        *((Requirement("resistance", f"of one contact{spare}").resting_on(demand.spare_voltage),)
          if (spare := _spare(demand)) else ()),
        *((Requirement("conductor", f"takes {place.section.shown}", "never a cut-down strand"),)
          if place.section is not None else ()))
    return _item("connectors", CONNECTORS, demand, candidates, rows,
                 CONNECTOR_NOTES if named else (*CONNECTOR_NOTES, NONE_NAMED), named)


def _pulled(demand: CarryDemand, switch: SwitchDemand | None) -> tuple[Requirement, ...]:
    """What its breaking figures are held against; most state none."""
    if switch is None:
        return ()
    return (Requirement(
        "breaks", f"{or_more(switch.break_discharge)} discharging and {switch.break_charge.shown} "
        f"charging at {_volts(demand)} DC{constant_words(switch.time_constant)}, whichever way "
        "round it is mounted; or the words that it breaks none",
        "without a figure the pilot contact counts alone").resting_on(
            switch.break_discharge, switch.break_charge, switch.time_constant),)


def _spare(demand: CarryDemand) -> str:
    """What its contacts may take at the peak; empty where that is not known.

    A bound for the voltage: no sound contact comes near it, for its heat.
    """
    spare = demand.spare_voltage
    return "" if spare is None or not spare.known else \
        f", in all at most {spare.with_end} at {demand.peak_current.shown}: what other contacts " \
        "leave to spare, at least half; for its heat far less"


def _volts(demand: CarryDemand) -> str:
    return f"{demand.highest_voltage.least}{demand.highest_voltage.shown}"


def _carries(demand: CarryDemand) -> tuple[Requirement, ...]:
    return (
        Requirement("rated DC voltage", f"above {_volts(demand)}",
                    "highest working voltage, not the label voltage"),
        Requirement("carries", carry_words(demand)),
        *overload_rows(demand.overload),
        _withstands(demand),
    )


def _withstands(demand: CarryDemand) -> Requirement:
    title, why = "short-time withstand", "until somebody has cleared the fault"
    if demand.borne is not None:
        return Requirement(title, f"at least {demand.borne.words}", why).resting_on(
            demand.borne.longer)
    ends = (demand.fault_lowest, demand.fault_highest)
    return Requirement(title, withstand_words(*ends), why).resting_on(*ends)


def _stands(demand: CarryDemand) -> str:
    """What of the highest fault its sheet is asked to stand: one string's part, or a cut-off."""
    fault = demand.fault_highest
    if demand.borne is None or not fault.known:
        return fault.with_end
    through = show(float(demand.borne.current[-1]), "A")
    return fault.with_end if through == fault.shown else f"{through} of a fault of {fault.with_end}"


def _item(key: str, title: str, demand: CarryDemand, candidates: tuple[Candidate, ...],
          rows: tuple[Requirement, ...], notes: tuple[str, ...], named: str) -> Item:
    return Item(
        key=key, title=title,
        governing=f"carries {demand.continuous_current.shown} at {demand.ambient.shown} and "
                  f"stands {_stands(demand)} until somebody has cleared it",
        duty=(demand.highest_voltage, demand.fault_highest, demand.continuous_current,
              demand.peak_current, demand.peak_duration, demand.ambient,
              *((demand.spare_voltage,) if demand.spare_voltage and _spare(demand) else ())),
        specification=rows, candidates=candidates,
        open_items=() if candidates else (
            f"{title}: data sheet of the part (rated DC voltage, carry curve at the box ambient, "
            "short-time withstand)",),
        notes=notes, checks=named_part(named, candidates))
