"""Fault places between parallel strings: one shorted before its fuse, or modules within one."""

from __future__ import annotations

from collections.abc import Iterator

from packcalc import electrical as el
from packcalc.findings import Finding, trace
from packcalc.layout_findings import count
from packcalc.places.shared import Shared
from packcalc.places.stands import largest_section
from packcalc.protect.faults import prospective_fault_current
from packcalc.protect.places import COVER, MID_FUSE, OWN_STRING, TRIP, Loop
from packcalc.protect.strings import fed_by_others, other_strings, pair_resistance
from packcalc.value import replace

STRING_MODULE, STRING_SECTION = "string.module", "string.section"
OWN_TITLE = "one string shorted before its fuse: its own current"
ALL_PUSH = "the other strings, through the faulted string's fuse"


def within_strings(shared: Shared) -> Iterator[Loop]:
    """Every place that only a pack of parallel strings has; none without them."""
    if not shared.strung:
        return
    yield string_short(shared)
    yield string_itself(shared)
    yield string_run(shared, STRING_MODULE, 1)
    section = largest_section(shared.brief, shared.series)
    if section < shared.series:
        yield string_run(shared, STRING_SECTION, section)


def string_short(shared: Shared) -> Loop:
    """One string shorted before its fuse: what all the others feed through that fuse."""
    pack, string = shared.pack, shared.feeds.string
    assert string is not None
    others = trace(other_strings, strings=pack.parallel)
    highest = trace(fed_by_others, "highest current from all other strings", others=others,
                    voltage=pack.full_voltage, resistance=string.resistance_initial)
    lowest = trace(prospective_fault_current, "one other string alone, cold and empty",
                   voltage=pack.rest_low_voltage, resistance=string.resistance_long)
    outside = shared.through_one_fuse(highest)
    outside["notes"] = (f"only half of that fault: see '{OWN_TITLE}'", *outside["notes"])
    fuse, own_trip, _ = shared.faulted
    return shared.loop(
        "string", "one string shorted before its fuse: the part that the others feed",
        feeds="all other strings, through the faulted string's fuse", highest=highest,
        lowest=lowest, inductance=shared.feeds.pack_inductance,
        resistance=trace(el.stack_resistance, "all other strings side by side, new and hot",
                         series=count("one string in series", "S", 1), parallel=others,
                         module_resistance=string.resistance_initial),
        devices=(replace(fuse, sees=outside["all_sources"]), own_trip),
        passed=shared.between_modules,
        remedies=("a fuse in each string, which breaks the sum of every source", TRIP),
        **outside)


def string_itself(shared: Shared) -> Loop:
    """The other half of the same fault: it burns on when the others are cut off."""
    pack, string = shared.pack, shared.feeds.string
    assert string is not None
    mid = (shared.mid,) if "mid-pack" in shared.stands else ()
    return shared.loop(
        "string.own", OWN_TITLE, feeds="the faulted string itself",
        highest=trace(prospective_fault_current, "highest current of one string in itself",
                      voltage=pack.full_voltage, resistance=string.resistance_initial),
        lowest=trace(prospective_fault_current, "lowest current of one string in itself",
                     voltage=pack.rest_low_voltage, resistance=string.resistance_long),
        inductance=shared.feeds.pack_inductance, resistance=string.resistance_initial,
        devices=mid, inherent=True, why_nobody=OWN_STRING,
        remedies=(COVER,) if mid else (MID_FUSE, COVER),
        notes=("its fuse and its contactors stand beyond the fault: they part it from the "
               "others and end nothing of its own",))


def string_run(shared: Shared, key: str, modules: int) -> Loop:
    """The part of a short inside a string that the other strings push into it."""
    run = shared.run(modules)
    assert run.pushed is not None and run.outside is not None
    what = "one module" if modules == 1 else f"one section ({modules} modules in series)"
    return shared.loop(
        key, f"{what} shorted inside one string: the others push in",
        feeds=f"the voltage that {what.split(' (')[0]} leaves missing, in {ALL_PUSH}",
        voltage=run.voltage, highest=run.pushed,
        lowest=least_pushed(shared, modules, "lowest current pushed into the string"),
        # One other string is counted, as for the lowest: several have less, so this errs high.
        inductance=shared.feeds.of_run(2 * shared.series - modules),
        resistance=run.outside, devices=shared.faulted, passed=shared.between_modules,
        remedies=("trip on unequal string currents, or on the lowest cell", TRIP),
        notes=("this part alone: what the shorted modules give themselves stands at the place "
               "of the module or section, and nobody ends it",))


def least_pushed(shared: Shared, modules: int, title: str) -> Finding:
    """What some modules out of two strings in one loop drive round it, cold and empty."""
    string = shared.feeds.string
    assert string is not None
    return trace(
        prospective_fault_current, title,
        voltage=trace(el.series_voltage, "voltage out of balance, empty",
                      series=count("modules out of balance", "n", modules),
                      module_voltage=shared.feeds.module.voltage_empty),
        resistance=trace(pair_resistance, "loop through one other string, cold and aged",
                         first=string.resistance_long,
                         second=shared.feeds.left_in_string(modules)))
