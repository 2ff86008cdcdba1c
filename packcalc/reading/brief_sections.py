"""Sections of a brief by the schema: what stands in them, what an open entry takes, their order.

`entries` reads one entry by its key; here are those of one section together, and the neighbours
that an open entry hangs on.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from packcalc.findings import Finding
from packcalc.reading.entries import Notes, Safe, entry, keys_of, schema_safe
from packcalc.reading.positions import KeyPath
from packcalc.units import range_ends

# An open entry that hangs on a neighbour: (neighbour, safe factor, lucky factor, at most).
DERIVED: dict[str, tuple[str, float, float | None, str]] = {
    "inverter.absolute_maximum": ("inverter.voltage_high", 1.0, None, ""),
    "inverter.full_power_from": ("inverter.voltage_low", 1.1, 1.0, "inverter.voltage_high"),
    "power.continuous": ("power.peak", 0.5, 0.33, ""),
    "regeneration.power": ("power.peak", 0.5, 0.0, ""),
}

# The first may not lie above the second; held only between what the user gave.
RISING: tuple[tuple[str, str, bool], ...] = (  # (lower, higher, may be equal)
    ("inverter.voltage_high", "inverter.absolute_maximum", True),
    ("inverter.voltage_low", "inverter.full_power_from", True),
    ("inverter.full_power_from", "inverter.voltage_high", True),
    ("inverter.voltage_low", "regeneration.voltage_limit", True),
    ("power.continuous", "power.peak", True),
    ("battery.charge_lowest", "battery.charge_highest", False),
    ("battery.coldest_start", "battery.hottest", False),
    ("battery.coldest_closed", "battery.coldest_start", True),
    ("battery.energy_least", "battery.energy_most", True),
    ("precharge.time_limit", "precharge.timeout", True),
    ("management.undervoltage_trip", "management.overvoltage_trip", False),
    ("management.overload_trip", "management.trip_current", True),
    ("management.trip_current", "management.trip_blocked_above", False),
    ("management.isolation_trip", "management.isolation_warn", True),
)


def as_written(notes: Notes, data: Mapping[str, Any], name: str) -> tuple[str, Any]:
    """A section's name as the file has it, and what stands there."""
    written = notes.headed.get(name, name)
    return written, data.get(written)


def names_of(section: str) -> tuple[str, ...]:
    """The names of its entries."""
    return tuple(key.name for key in keys_of(section))


def read_section(notes: Notes, data: Mapping[str, Any], name: str,
             lists: tuple[str, ...] = ()) -> dict[str, Any]:
    """The entries of one section that stands once; `lists` are further names in it."""
    written, raw = as_written(notes, data, name)
    table = notes.table(raw, (written,))
    notes.only(table, (*names_of(name), *lists), (written,))
    return read_entries(notes, name, table, (written,))


def read_entries(notes: Notes, section: str, table: Mapping[str, Any],
             path: KeyPath) -> dict[str, Any]:
    """Every entry of the schema that belongs to one section; those that stand once are noted."""
    found: dict[str, Any] = {}
    for key in keys_of(section):
        safe = _safe(notes, key.dotted) or schema_safe(key)
        found |= entry(notes, key, table.get(key.name), (*path, key.name), safe)
        if len(path) == 1:
            notes.read |= {f"{section}.{name}": value for name, value in found.items()
                           if isinstance(value, Finding)}
    return found


def _safe(notes: Notes, dotted: str) -> Safe | None:
    """What an open entry takes from its neighbour; None where it hangs on none."""
    if dotted not in DERIVED:
        return None
    neighbour, factor, lucky, most = DERIVED[dotted]
    ground = notes.read[neighbour].value
    if ground is None:  # the neighbour itself is at fault, which has been noted
        return Safe(None, None)
    value = ground * factor
    limit = notes.read[most].value if most else None
    return Safe(value if limit is None else min(value, limit),
                None if lucky is None else ground * lucky)


def not_asked(notes: Notes, since: int, names: Collection[str], section: str = "") -> None:
    """Take entries off the list of what is open, from `since` on: another entry answers them.

    Args:
        notes: of the brief.
        since: place in the list.
        names: of the entries.
        section: that they stand in; empty for any.
    """
    notes.unknowns[since:] = [u for u in notes.unknowns[since:] if u.key.name not in names
                              or section not in ("", u.key.section)]


def hold_order(notes: Notes, lower_key: str, higher_key: str, equal: bool,
               own: Mapping[str, Any] | None = None, path: KeyPath = ()) -> None:
    """Fault two given entries that stand in the wrong order.

    Args:
        notes: of the brief; hold what was read of the sections that stand once.
        lower_key, higher_key: names in `own`, or dotted names of sections.
        equal: whether the two may be equal.
        own: entries of one item of a list.
        path: where the fault stands; empty for the place of the entry itself.
    """
    lower, higher = ((own or {}).get(key) or notes.read.get(key)
                     for key in (lower_key, higher_key))
    if lower is None or higher is None or not (lower.known and higher.known):
        return
    if lower.basis != "given" or higher.basis != "given":
        return
    if lower.number < higher.number or (equal and lower.number == higher.number):
        return
    wrong = "lies below" if equal else "does not lie above"
    told, other = higher, lower
    if _is_end(higher_key) and not _is_end(lower_key):  # the single entry is the likelier slip
        told, other = lower, higher
        wrong = "lies above" if equal else "does not lie below"
    line = f", line {other.origin.line}" if other.origin and other.origin.line else ""
    at = told.origin.key if told.origin else ""
    notes.fault(path or tuple(at.split(".")),
                f"{told.title} {_as_given(told)} {wrong} {other.title} "
                f"({_as_given(other)}{line})", "mend one of the two")


def _is_end(key: str) -> bool:
    """Whether an entry is one end of a range, which is written in one line with the other."""
    return key.endswith(("voltage_low", "voltage_high"))


def _as_given(value: Finding) -> str:
    """As the user wrote it; of a range the one end that is meant."""
    text = value.origin.text if value.origin else ""
    return text if text and len(range_ends(text)) == 1 else value.shown
