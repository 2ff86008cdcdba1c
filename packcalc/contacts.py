"""What the contacts of the named disconnect and connectors take from the main path.

A fuse and a contactor are counted by `path.fuse_resistance` and `path.contactor_resistance`, lugs
and joints with the links; a disconnect and plugs stand in no entry of the path.
"""

from __future__ import annotations

from packcalc.brief import Brief
from packcalc.electrical import resistance_sum
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.part_formulas import contacts_resistance
from packcalc.parts import CONNECTOR, DISCONNECT, ConnectorPart, DisconnectPart

ONE_IN_EACH_LEAD = 2.0
BOTH_LEADS = leaf("contacts in the path, one in each lead", "n", "", ONE_IN_EACH_LEAD,
                  "common practice", origin=Origin("circuit"))


def disconnect_contacts(brief: Brief) -> Finding | None:
    """Those of the named disconnect; None where none is named, or none stands by the brief."""
    part = _disconnect(brief)
    return None if part is None else trace(
        contacts_resistance, f"contacts of {part.name}", contacts=_poles(part),
        resistance=_each(brief, part))


def connector_contacts(brief: Brief) -> Finding | None:
    """Those of the named connectors, one in each lead; None where none are named."""
    part = _connector(brief)
    return None if part is None else trace(
        contacts_resistance, f"contacts of {part.name}", contacts=BOTH_LEADS,
        resistance=_each(brief, part))


def contacts(brief: Brief) -> Finding | None:
    """Those of both, one behind the other; None where the brief names neither.

    Counted whole in the path from pole to pole, in every chassis loop and in what paralleled
    strings have in common: a lowest current errs low.
    """
    found = [one for one in (disconnect_contacts(brief), connector_contacts(brief))
             if one is not None]
    if len(found) < 2:
        return found[0] if found else None
    return trace(resistance_sum, "contacts of disconnect and connectors", unit="mΩ",
                 first=found[0], second=found[1])


def open_contacts(brief: Brief) -> list[Finding]:
    """What is counted by our assumption of the contacts of a part whose sheet is silent."""
    switch, plugs = _disconnect(brief), _connector(brief)
    return [*([_poles(switch)] if switch is not None and switch.poles is None else []),
            *(_each(brief, one) for one in (switch, plugs)
              if one is not None and one.contact_resistance is None)]


def disconnect_open(brief: Brief) -> str:
    """Of a disconnect that stands in the string, or may, and that nobody named; else empty."""
    at = brief.pack.disconnect_after
    return "" if brief.parts.disconnect or at.known and at.number <= 0.0 else \
        "parts.disconnect: no disconnect is named, and its contacts take more from it"


def connector_open(brief: Brief) -> str:
    """Of connectors that stand in the main path, or may, and that nobody named; else empty."""
    return "" if brief.parts.connector else \
        "parts.connector: no connector is named, and its contacts take more from it"


def contacts_open(brief: Brief) -> str:
    """Of both: what nobody named and is counted with nothing; else empty."""
    return "; ".join(filter(None, (disconnect_open(brief), connector_open(brief))))


def _disconnect(brief: Brief) -> DisconnectPart | None:
    at, name = brief.pack.disconnect_after, brief.parts.disconnect
    if not name or at.known and at.number <= 0.0:
        return None
    return brief.parts.list.part(DISCONNECT, name)


def _connector(brief: Brief) -> ConnectorPart | None:
    name = brief.parts.named_connector
    return brief.parts.list.part(CONNECTOR, name) if name else None


def _poles(part: DisconnectPart) -> Finding:
    return part.poles or _counted(part, f"poles of {part.name}", "n", "", ONE_IN_EACH_LEAD,
                                  "one in each lead")


def _each(brief: Brief, part: DisconnectPart | ConnectorPart) -> Finding:
    return part.contact_resistance or _counted(
        part, f"resistance of one contact of {part.name}", "R_k", "mΩ",
        brief.path.contactor_resistance.number, "that of a closed contactor")


def _counted(part: DisconnectPart | ConnectorPart, title: str, symbol: str, unit: str,
             value: float, as_what: str) -> Finding:
    """An assumption in the place of what the list does not say."""
    return leaf(title, symbol, unit, value, "assumed", source="packcalc-rule",
                origin=part.origin, note=f"the list is silent: {as_what} is counted")
