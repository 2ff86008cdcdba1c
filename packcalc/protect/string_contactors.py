"""The contactors of one string among several: they join it to the bus and take it out again.

Each string has its own. They close onto the other strings within the allowed difference,
break what one string carries, and stand what its fuse lets through.
"""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.checks import Candidate, Item, Requirement, named_part, open_of
from packcalc.findings import Finding
from packcalc.part_checks.contactor import (
    CarryDemand, SwitchDemand, break_words, carry_words, constant_words, contactor_part_checks,
    dropped_rows, pole_rows, slower_duty, switch_facts, withstand_words,
)
from packcalc.parts import ContactorPart

NOTES = (
    "A string contactor opens under load, at the worst with its string alone in: each pole alone "
    "breaks that current at the full DC voltage. There is no pair common to all strings; the duty "
    "of the whole pack falls to those of the string that is alone.",
    "It must never open above its breaking current: a fault in its string is fed by all the "
    "others, and only the string fuse ends that.",
    "Join strings only within the allowed voltage difference; see the parallel strings.",
)
OPEN = ("string contactor: breaking current of one pole in both directions, making current, carry "
        "curve at the box ambient, short-time withstand (supplier)")


def size_string_contactors(carry: CarryDemand, switch: SwitchDemand,
                           parts: Sequence[ContactorPart] = (), *, named: str = "") -> Item:
    """Duty, request for data and the user's own contactors for one string.

    Args:
        carry: what one string carries, with one string open.
        switch: what its contactor makes and breaks.
        parts: contactors of the user's list.
        named: the one that the brief names.
    """
    candidates = tuple(Candidate(part.name, contactor_part_checks(part, carry, switch),
                                 switch_facts(part), own=True) for part in parts)
    made = switch.closing_step
    return Item(
        key="string_contactors", title="String contactors",
        governing=f"carries {carry.continuous_current.shown} of one string, breaks "
                  f"{break_words(switch.break_discharge)} of it and stands "
                  f"{carry.fault_highest.with_end} until the string fuse has cleared",
        duty=tuple(f for f in (carry.highest_voltage, carry.fault_highest,
                               carry.continuous_current, carry.peak_current, carry.peak_duration,
                               switch.break_discharge, switch.break_charge, made,
                               switch.time_constant, switch.let_through, carry.ambient)
                   if f is not None),
        specification=_specification(carry, switch, made), candidates=candidates,
        open_items=open_of(named, candidates, (OPEN,)), notes=NOTES,
        checks=named_part(named, candidates))


def _specification(carry: CarryDemand, switch: SwitchDemand,
                   made: Finding | None) -> tuple[Requirement, ...]:
    volts = carry.highest_voltage.least + carry.highest_voltage.shown
    lines = [
        Requirement("poles", "a drive of its own in each lead"),
        Requirement("voltage", f"each pole alone above {volts} DC",
                    "poles in series add no voltage without a stated series rating"),
        Requirement("carries", carry_words(carry), "best string, one string open"),
        Requirement("breaks", f"{break_words(switch.break_discharge)} discharging and "
                    f"{break_words(switch.break_charge)} charging at "
                    f"{volts} DC" + constant_words(switch.time_constant)
                    + ", whichever way round it is mounted",
                    "up to the largest current at which it opens first: discharging before the "
                    "main fuse, its string alone in; charging before the string fuse, the others "
                    "feeding a fault of its string backwards through it").resting_on(
                        switch.break_discharge, switch.break_charge, switch.time_constant),
        *slower_duty(switch.slower_loops),
        *pole_rows(carry.counted_resistance),
        *dropped_rows("string fuse", switch.delay, carry.fault_highest, switch.let_through),
        Requirement("short-time withstand", withstand_words(
            carry.fault_lowest, carry.fault_highest),
            "fed by all other strings, until somebody has cleared the fault").resting_on(
                carry.fault_lowest, carry.fault_highest),
    ]
    if made is not None:
        lines.append(Requirement("makes", made.shown, "the first string onto the pre-charged "
                                 "link; the others within the allowed difference"))
    return tuple(lines)
