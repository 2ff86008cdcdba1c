"""Parallel strings: sharing, one string's fault fed by the others, and how to join them.

Two strings count: each is a battery, so a fault in one is fed by the other, unlike
photovoltaic practice, where fuses begin at three strings. Voltage alone shows whether
strings may be joined only where the rest voltage moves with charge.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from packcalc import transients as tr
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, Check, Item, Requirement, judge
from packcalc.errors import OutOfRange
from packcalc.findings import (
    OR_LESS, Finding, Origin, formula, largest, leaf, smallest, trace, with_less, with_more,
)
from packcalc.part_checks.shown import rounded
from packcalc.value import replace, value_object

TITLE = "Parallel strings"
MODULE_SHORT = "A module shorted inside one string is seen"
RULE = Origin("rule")
HIDDEN_MOST = leaf("largest charge gap that may stay hidden when strings are joined by voltage",
                   "Δz_max", "%", 0.05, "assumed", source="packcalc-rule", origin=RULE,
                   note="packcalc's own rule; no standard gives a limit")
NO_CHARGE = leaf("no charge", "I", "A", 0.0, "definition", origin=RULE)
ONE_OTHER = leaf("one other string in", "n_o", "", 1.0, "definition", origin=RULE)
EVEN = leaf("no mismatch of the strings", "m", "%", 0.0, "definition", origin=RULE)
NOT_CHARGED = "no charge is allowed at a temperature in use, and joining charges one string"
HIDES = "two readings that agree may hide more than is allowed"
SETTLED = 0.05

NOTES = (
    "Two strings already need a fuse each: a fault in one is fed by the other. The rule of three "
    "strings comes from photovoltaic generators, which are no batteries.",
    "Sharing is a linear network at one moment. Over a discharge unequal strings drift: the string "
    "of lower resistance starts with more current and ends with less.",
    "The joining current takes up the receiver's limit: no charging, no braking until the strings "
    "are even.",
    "Parallel strings hold the sum of each string's weakest module, not the weakest of all.",
    "No link between the strings' midpoints: it carries balancing current that no fuse sees. Take "
    "off the positive at one end of the row of strings and the negative at the other (a maker's "
    "manual, common practice).",
)


@formula(title="share of the best string", symbol="p", unit="%", text="p = (100 + m)/(n + m/100)",
         inputs={"strings": "n [] strings in",
                 "mismatch": "m [%] resistance of the others above that of the best"},
         basis="definition", where="current divider at equal open-circuit voltage",
         valid="n at least 1", safe_side="high: all others are equally worse")
def best_string_share(strings, mismatch):
    """Share of the load that the string of lowest resistance takes.

    Examples:
        >>> round(best_string_share(2, 0.20), 4)
        0.5455
        >>> best_string_share(1, 0.20)
        1.0
    """
    return (1.0 + mismatch) / (strings + mismatch)


@formula(title="current at a share", symbol="I_s", unit="A", text="I_s = p/100 · I",
         inputs={"share": "p [%] of the current", "current": "I [A] of the pack"},
         basis="definition")
def shared_current(share, current):
    """Current of one string.

    Examples:
        >>> round(shared_current(0.5455, 300.0), 2)
        163.65
    """
    return share * current


@formula(title="strings but one", symbol="n_o", unit="", text="n_o = n − 1",
         inputs={"strings": "n [] strings in parallel"}, basis="definition",
         valid="n at least 2")
def other_strings(strings):
    """How many strings feed a fault in one of them.

    Examples:
        >>> other_strings(2)
        1
    """
    return strings - 1


@formula(title="current of equal strings together", symbol="I_o", unit="A",
         text="I_o = n_o · E / R",
         inputs={"others": "n_o [] strings that feed", "voltage": "E [V] of one string",
                 "resistance": "R [Ω] of one string"},
         basis="definition", safe_side="bolted, no cable: errs high")
def fed_by_others(others, voltage, resistance):
    """What the other strings push into a dead short of one string.

    Examples:
        >>> fed_by_others(2, 400.0, 0.1)
        8000.0
    """
    return others * voltage / resistance


@formula(title="resistance of the other strings together", symbol="R_o", unit="mΩ",
         text="R_o = R / n_o",
         inputs={"resistance": "R [mΩ] of each", "others": "n_o [] strings that are joined"},
         basis="definition", where="equal resistances in parallel", valid="n_o at least 1")
def others_together(resistance, others):
    """What a string that joins several others meets behind them.

    Examples:
        >>> others_together(0.10, 2)
        0.05
    """
    return resistance / others


@formula(title="resistance of two strings in one loop", symbol="R", unit="mΩ",
         text="R = R_1 + R_2",
         inputs={"first": "R_1 [mΩ] of one", "second": "R_2 [mΩ] of the other"},
         basis="definition")
def pair_resistance(first, second):
    """Two strings back to back.

    Examples:
        >>> pair_resistance(0.25, 0.25)
        0.5
    """
    return first + second


@formula(title="voltage difference at which strings may be joined", symbol="ΔU", unit="V",
         text="ΔU = I · (R_1 + R_2)/1000",
         inputs={"current": "I [A] charge limit of the receiving string",
                 "first": "R_1 [mΩ] of the string that joins",
                 "second": "R_2 [mΩ] of the other, or of all others in parallel"},
         basis="definition", safe_side="lowest resistances, lowest limit, all others in")
def joining_difference(current, first, second):
    """Largest difference of rest voltage whose first current the receiver may take.

    Examples:
        >>> round(joining_difference(40.0, 0.10, 0.12), 3)
        8.8
    """
    return current * (first + second)


@formula(title="current of a string that differs from the others", symbol="I_1", unit="A",
         text="I_1 = (1000·ΔU/R + (1 + m/100)/n_o · I) / (1 + (1 + m/100)/n_o)",
         inputs={"difference": "ΔU [V] rest voltage of this string from the others'",
                 "flow": "I [A] of the pack, the way the difference drives this string",
                 "resistance": "R [mΩ] of this string",
                 "mismatch": "m [%] resistance of the others above it",
                 "others": "n_o [] strings that it joins"},
         basis="definition", where="Kirchhoff's laws, two sources on one bus",
         safe_side="lowest resistances; higher while discharging, lower while charging")
def joined_current(difference, flow, resistance, mismatch, others):
    """Equalising current and share of the pack's current, one upon the other.

    Examples:
        >>> round(joined_current(5.0, 150.0, 0.10, 0.20, 1), 3)
        104.545
    """
    rest = (1.0 + mismatch) / others
    return (difference / resistance + rest * flow) / (1.0 + rest)


@formula(title="charge for each volt of a string", symbol="C_s", unit="F",
         text="C_s = 3600·Q / (dU/dz)",
         inputs={"capacity": "Q [Ah] of the string",
                 "slope": "dU/dz [V] rest voltage of the string, per whole charge"},
         basis="definition", valid="slope above 0; holds only near the charge it was taken at",
         safe_side="least slope: longest current")
def string_capacitance(capacity, slope):
    """A string as a very large capacitor: dQ/dU.

    Examples:
        >>> string_capacitance(3600.0 * 100, 90.0)
        4000.0
    """
    if np.any(np.asarray(slope) <= 0):
        raise OutOfRange("the rest voltage does not rise with charge: voltage cannot show the "
                         "charge gap; charge each string full before joining")
    return capacity / slope


@formula(title="two capacitances in series", symbol="C", unit="F", text="C = C_1·C_2/(C_1 + C_2)",
         inputs={"first": "C_1 [F] of one", "second": "C_2 [F] of the other"}, basis="definition")
def series_capacitance(first, second):
    """What the joining current sees of two strings.

    Examples:
        >>> series_capacitance(4000.0, 4000.0)
        2000.0
    """
    return first * second / (first + second)


@formula(title="time constant of joining", symbol="τ_j", unit="h",
         text="τ_j = (R_1 + R_2)·C/3600000",
         inputs={"first": "R_1 [mΩ] of one string", "second": "R_2 [mΩ] of the other",
                 "capacitance": "C [F] of both strings in series"},
         basis="definition", safe_side="high resistances and capacitance: longest current")
def joining_time_constant(first, second, capacitance):
    """Time in which the joining current falls to 37 %.

    Examples:
        >>> round(joining_time_constant(0.25, 0.25, 2000.0) / 3600, 4)
        0.2778
    """
    return (first + second) * capacitance


@formula(title="joining current after a time", symbol="i", unit="A", text="i = I_0·e^(−t/τ)",
         inputs={"first_current": "I_0 [A] at joining", "time_constant": "τ [h] of joining",
                 "time": "t [h] since joining"},
         basis="read", source="halliday-fundamentals",
         where="chapter 30, problem 51: 0.1 % is left after 6.91 time constants",
         valid="straight piece of the open-circuit curve, constant resistance, no load",
         safe_side="the lasting resistance is higher: a smaller current for longer")
def joining_current(first_current, time_constant, time):
    """Equalising current while the strings approach each other.

    Examples:
        >>> round(float(joining_current(22.0, 3600.0, 3600.0)), 3)
        8.093
    """
    return first_current * np.exp(-np.asarray(time) / time_constant)


@formula(title="time until little is left of an exponential fall", symbol="t_x", unit="h",
         text="t_x = τ · ln(100/x)",
         inputs={"time_constant": "τ [h] time constant", "left": "x [%] share still left"},
         basis="read", source="halliday-fundamentals",
         where="chapter 30, problem 51: 0.1 % is left after 6.91 time constants",
         valid="x above 0")
def settling_time(time_constant, left):
    """How long the joining current lasts.

    Examples:
        >>> round(float(settling_time(3600.0, 0.05)) / 3600, 4)
        2.9957
    """
    return -time_constant * np.log(left)


@formula(title="charge gap that a voltage reading cannot show", symbol="Δz", unit="%",
         text="Δz = 100·(u_e + h) / (dU/dz)",
         inputs={"error": "u_e [V] error of the measured difference",
                 "hysteresis": "h [V] gap of the string's rest voltage after charge and discharge",
                 "slope": "dU/dz [V] rest voltage of the string, per whole charge"},
         basis="definition", valid="slope above 0", safe_side="high: the error and the gap add")
def hidden_gap(error, hysteresis, slope):
    """How far two strings may differ in charge although their voltages read the same.

    Examples:
        >>> round(hidden_gap(1.0, 0.0, 86.0), 4)
        0.0116
    """
    if np.any(np.asarray(slope) <= 0):
        raise OutOfRange("the rest voltage does not rise with charge: voltage shows nothing; "
                         "charge each string full before joining")
    return (error + hysteresis) / slope


@formula(
    title="Measured difference at which a string may be joined", symbol="ΔU_m", unit="V",
    text="ΔU_m = ΔU − u_e",
    inputs={"difference": "ΔU [V] allowed", "error": "u_e [V] of the measured difference"},
    valid="the error smaller than what is allowed", basis="definition",
    safe_side="low: the meter may read too little")
def measured_difference(difference: Any, error: Any) -> Any:
    """What the reading may show at most, so that the true difference stays within the allowed.

    Examples:
        >>> round(float(measured_difference(1.183, 0.5)), 3)
        0.683
    """
    return difference - error


@value_object
class ChargeLimit:
    """Charge limit of one string at one cell temperature."""

    temperature: Finding
    limit: Finding


@value_object
class StringsAsked:
    """What parallel strings are sized from. Any finding may lack its value.

    Attributes:
        fuse_breaks: A, most that a string fuse must break at any fault place, all sources.
        strings: how many.
        highest_voltage: V, highest working voltage.
        voltage_full, resistance_initial: one string, new, hot, full, first millisecond.
        voltage_empty, resistance_long: one string, cold, aged, empty, long pulse.
        module_voltage: V, one module when empty: drives a string in which it is shorted.
        continuous_current, peak_current, charging_current: of the whole pack.
        regeneration_current: of the whole pack, or None.
        left_resistance: as `resistance_long`, of a string with one module shorted in it; None
            counts the whole string, errs low.
        charge_limits: of one string, over the temperatures in use.
        capacity: of one string as it is now.
        slope: V, least rise of a string's rest voltage per whole charge, in the window.
        hysteresis: V, gap between rest after charge and after discharge, whole string.
        voltage_error: V, error of the measured difference.
        mismatch: resistance of the others above the best one's.
        continuous_limit: of one string's modules, discharging; None where it was not asked.
        beside_main: lowest currents that its fuse is counted on for beside the main fuse.
    """

    fuse_breaks: Finding
    strings: Finding
    highest_voltage: Finding
    voltage_full: Finding
    resistance_initial: Finding
    voltage_empty: Finding
    resistance_long: Finding
    module_voltage: Finding
    continuous_current: Finding
    peak_current: Finding
    charging_current: Finding
    charge_limits: tuple[ChargeLimit, ...]
    capacity: Finding
    slope: Finding
    hysteresis: Finding
    voltage_error: Finding
    mismatch: Finding
    regeneration_current: Finding | None = None
    left_resistance: Finding | None = None
    continuous_limit: Finding | None = None
    beside_main: tuple[Finding, ...] = ()


@value_object
class StringsDuty:
    """What each string's fuse and contactors must carry, break and make.

    Attributes:
        continuous, peak, charging: of the best string, with one string open.
        in_use: continuous current of the best string with all strings in.
        breaking: highest current from all other strings.
        lowest: one other string, cold, into a dead short of this one.
        one_module: one module shorted inside this string.
        charge_limit: least over the temperatures.
        difference: allowed at joining, all others in.
        time_constant, settled: of joining.
        hidden: charge gap that voltage cannot show; None where the curve is flat.
    """

    continuous: Finding
    peak: Finding
    charging: Finding
    braking: Finding
    in_use: Finding
    breaking: Finding
    lowest: Finding
    one_module: Finding
    charge_limit: Finding
    difference: Finding
    time_constant: Finding | None
    settled: Finding | None
    hidden: Finding | None


def string_duty(asked: StringsAsked) -> StringsDuty:
    """Duty of one string among several.

    Raises:
        OutOfRange: fewer than two strings.
    """
    if asked.strings.number < 2:
        raise OutOfRange("parallel strings need two strings or more; "
                         f"got {asked.strings.number:g}")
    others = trace(other_strings, strings=asked.strings)
    left = others.called("strings left when one is open")
    share_open = trace(best_string_share, "share of the best string, one string open",
                       strings=left, mismatch=asked.mismatch)
    share_all = trace(best_string_share, "share of the best string, all strings in",
                      strings=asked.strings, mismatch=asked.mismatch)

    def of_string(current: Finding, words: str, share: Finding) -> Finding:
        return with_more(trace(shared_current, words, share=share, current=current),
                         current.untold_more)

    both = trace(pair_resistance, "one other string, and what is left of this one, cold and aged",
                 first=asked.resistance_long,
                 second=asked.left_resistance or asked.resistance_long)
    limit = smallest([_at(c) for c in asked.charge_limits],
                     "charge limit of the receiving string")
    return StringsDuty(
        continuous=of_string(asked.continuous_current, "continuous current of a string, one "
                             "string open", share_open),
        peak=of_string(asked.peak_current, "peak current of a string, one string open", share_open),
        charging=of_string(asked.charging_current, "charging current of a string, one string open",
                           share_open),
        braking=of_string(asked.regeneration_current or asked.charging_current,
                          "braking current of a string, one string open", share_open),
        in_use=of_string(asked.continuous_current, "continuous current of the best string, all in",
                         share_all),
        breaking=trace(fed_by_others, "highest fault current from all other strings",
                       others=others, voltage=asked.voltage_full,
                       resistance=asked.resistance_initial),
        lowest=_lowest(asked, "one other string, cold and empty, into a dead short of this one",
                       asked.voltage_empty, asked.resistance_long),
        one_module=_lowest(asked, "current that one other string pushes into a string with one "
                           "module shorted", asked.module_voltage, both),
        charge_limit=limit,
        difference=trace(joining_difference, current=limit, first=asked.resistance_initial,
                         second=_alike(asked),
                         note="new, hot, first millisecond: the smallest resistance"),
        **_joining(asked))


def _lowest(asked: StringsAsked, title: str, voltage: Finding, resistance: Finding) -> Finding:
    """A lowest current through the string's long path; or less, where that may have more."""
    why = asked.resistance_long.untold_more
    return trace(tr.current_at, title, note=f"as far as told{OR_LESS}{why}" if why else "",
                 voltage=voltage, resistance=resistance)


def _alike(asked: StringsAsked) -> Finding:
    """All other strings as low in resistance as the one that joins: they drive or take most."""
    return asked.resistance_initial if asked.strings.number == 2 else trace(
        others_together, resistance=asked.resistance_initial,
        others=trace(other_strings, strings=asked.strings))


def _at(one: ChargeLimit) -> Finding:
    return one.limit.called(f"charge limit at {one.temperature.shown}")


def _joining(asked: StringsAsked) -> dict[str, Finding | None]:
    if not asked.slope.known or asked.slope.number <= 0:
        return {"time_constant": None, "settled": None, "hidden": None}
    capacitance = trace(string_capacitance, capacity=asked.capacity, slope=asked.slope)
    pair = trace(series_capacitance, "capacitance of two strings in series", first=capacitance,
                 second=capacitance)
    tau = trace(joining_time_constant, first=asked.resistance_long, second=asked.resistance_long,
                capacitance=pair)
    left = leaf("share of the joining current still left", "x", "%", SETTLED, "definition",
                origin=RULE)
    return {"time_constant": tau,
            "settled": trace(settling_time, "time until 5 % of the joining current is left",
                             time_constant=tau, left=left),
            "hidden": trace(hidden_gap, error=asked.voltage_error, hysteresis=asked.hysteresis,
                            slope=asked.slope)}


def fuse_opens(asked: StringsAsked, duty: StringsDuty) -> Finding:
    """Lowest current that a string's fuse is asked to open, and from which on it must break."""
    lowest = (duty.lowest, *asked.beside_main)
    least = min(lowest, key=lambda f: f.number)
    if least is not duty.lowest:
        least = smallest(lowest, "lowest fault through a string fuse")
    return with_less(least, next((f.may_be_less for f in lowest if f.may_be_less), ""))


def size_strings(asked: StringsAsked, breaks: tuple[Finding, Finding] | None = None) -> Item:
    """Duty of string fuses and contactors, and whether strings may be joined by voltage.

    Args:
        asked: of the layout.
        breaks: what a string's contactors must break, discharging and charging; None where
            only what one string carries in use is known.
    """
    duty = string_duty(asked)
    figures = [asked.fuse_breaks, duty.breaking, duty.lowest, duty.one_module, duty.continuous,
               duty.in_use, duty.peak, duty.charging, duty.charge_limit]
    # Where voltage shows nothing no difference permits joining, and none is printed.
    figures += [difference for _, difference in joining_differences(asked)] \
        if voltage_shows(duty) else []
    figures += [f for f in (duty.time_constant, duty.settled) if f is not None]
    figures += joining_currents(asked, duty)
    figures += [duty.hidden] if duty.hidden is not None and duty.hidden.number <= 1.0 else []
    return Item(
        key="strings", title=TITLE,
        governing=f"A fault in one string is fed by the others with up to {duty.breaking.shown}; "
                  f"with one string open the best of the rest carries {duty.continuous.shown}.",
        duty=tuple(figures), specification=_specification(
            asked, duty, breaks or (duty.peak, duty.charging)),
        checks=(*_joining_checks(asked, duty), _module_check(asked, duty)),
        open_items=("string fuse: lowest breaking current and DC clearing curve (supplier)",
                    "string contactors: breaking current of one pole, both directions "
                    "(supplier)"),
        notes=NOTES)


def _joining_checks(asked: StringsAsked, duty: StringsDuty) -> tuple[Check, ...]:
    """A refusal to join by voltage alone is a caution: full strings may be joined.

    They too are held to the difference, for the sake of the current. Where none is allowed at
    all the design lets no string join: it fails.
    """
    barred = duty.charge_limit.known and duty.charge_limit.number <= 0
    told = () if barred else (_told(asked, duty),)
    return _shows(asked, duty), _takes(duty), *told, *_joined_checks(asked)


def _shows(asked: StringsAsked, duty: StringsDuty) -> Check:
    title = "Voltage shows how far the strings' charges differ"
    full = ("do not join by voltage: charge each string full on its own, let it rest, join then, "
            "and watch the current")
    if duty.hidden is None:
        return Check(title, "fault range", CAUTION, asked.slope, None, "",
                     "refused: the rest voltage does not rise with charge somewhere in the window",
                     full)
    check = judge(title, "fault range", duty.hidden, "at most", HIDDEN_MOST, remedy=full)
    if check.verdict != FAIL:
        return check
    words = "refused: voltage cannot show the charge gap"
    if duty.hidden.number > 1.0:  # a figure above the whole charge says no more than that
        return Check(title, check.stage, CAUTION, None, check.demand, "",
                     f"{words}: more than the whole charge may stay hidden", full)
    return Check(title, check.stage, CAUTION, check.figure, check.demand, check.relation, words,
                 full)


def _takes(duty: StringsDuty) -> Check:
    title = "Receiving string may be charged at every temperature in use"
    return judge(title, "fault range", duty.charge_limit, "above", NO_CHARGE,
                 reason=f"refused: {NOT_CHARGED}" if duty.charge_limit.number <= 0 else "",
                 remedy="contactors that close on cells alone that may be charged: "
                        "battery.coldest_closed and battery.hottest, held by the management "
                        "system")


def _told(asked: StringsAsked, duty: StringsDuty) -> Check:
    held = judge("Allowed difference can be told from the measuring error", "fault range",
                 duty.difference, "above", asked.voltage_error,
                 remedy="finer readings, across the open contactor: strings.voltage_error")
    return held if held.verdict != FAIL else replace(held, reason=f"refused: {HIDES}")


def _module_check(asked: StringsAsked, duty: StringsDuty) -> Check:
    return Check(
        MODULE_SHORT, "who clears", NOT_EVALUATED,
        duty.one_module, None, "",
        f"the others push only {duty.one_module.shown} into it, which a string fuse for "
        f"{duty.continuous.shown} does not open: nobody, unless the management system opens that "
        "string's contactors on a named trip",
        "trip on the difference between the strings' currents, or on the string's lowest cell")


def _specification(asked: StringsAsked, duty: StringsDuty,
                   breaks: tuple[Finding, Finding]) -> tuple[Requirement, ...]:
    opens = fuse_opens(asked, duty)
    volts = asked.highest_voltage.least + asked.highest_voltage.shown
    return (
        Requirement("string fuse, each string: rated DC voltage", f"above {volts}",
                    "highest working voltage; one link alone"),
        Requirement("string fuse: DC breaking capacity",
                    f"above {rounded(asked.fuse_breaks, True)}", "every source of the worst fault "
                    "place; a fault in one string is fed by all the others and the bus"
                    ).resting_on(asked.fuse_breaks),
        Requirement("string fuse: current that it surely opens within 1 s",
                    f"at most {opens.shown}", "one string alone, cold, aged and empty"
                    ).resting_on(opens),
        Requirement("string fuse: continuous current at the box's temperature",
                    f"at least {duty.continuous.shown}", "best string, one string open"),
        Requirement("string contactor, each pole: rated DC voltage",
                    f"above {volts}", "one pole alone"),
        Requirement("string contactor: continuous and peak current",
                    f"{duty.continuous.shown} and {duty.peak.shown}", "best string, one open"),
        Requirement("string contactor: breaking current, both directions",
                    " and ".join(f"at least {b.shown} {way}" if b.known else
                                 f"{way}, {b.note or 'not known'}"
                                 for b, way in zip(breaks, ("discharging", "charging"),
                                                   strict=True)),
                    "taken out under load, at the worst the only one in; or while the others push "
                    "into its own fault, backwards"),
        Requirement("management system: closes a string onto the bus only below a measured "
                    "difference of", _measured(asked, duty), "first current within the charge "
                    "limit of the receiver, however the two readings err").resting_on(
                        joining_reading(asked, duty)),
    )


def voltage_shows(duty: StringsDuty) -> bool:
    """Whether a voltage hides little enough of the strings' charges."""
    return duty.hidden is not None and duty.hidden.number <= HIDDEN_MOST.number


def _measured(asked: StringsAsked, duty: StringsDuty) -> str:
    """The allowed difference less what the reading may hide; what else it takes, or why none is."""
    barred, allowed = joining_barred(asked, duty), joining_reading(asked, duty)
    if barred:
        return f"none: {barred}"
    if allowed is None:
        return "not known"
    return allowed.shown if voltage_shows(duty) else (
        "none: no voltage difference permits joining, as voltage does not show the charge gap; "
        "charge each string full on its own first, let it rest, join then, within "
        f"{allowed.shown}")


def joining_barred(asked: StringsAsked, duty: StringsDuty) -> str:
    """Why the design as it stands lets no string join; empty where it does, or is not known."""
    if duty.charge_limit.known and duty.charge_limit.number <= 0:
        return NOT_CHARGED
    known = duty.difference.known and asked.voltage_error.known
    return HIDES if known and duty.difference.number <= asked.voltage_error.number else ""


def joining_reading(asked: StringsAsked, duty: StringsDuty) -> Finding | None:
    """Largest measured difference whose first current a receiver may take; None where none is.

    Where voltage does not show the charge gap, it permits joining full strings alone.
    """
    if joining_barred(asked, duty) or not (duty.difference.known and asked.voltage_error.known):
        return None
    return with_less(trace(measured_difference, difference=duty.difference,
                           error=asked.voltage_error), asked.voltage_error.untold_more)


def allowed_reading(asked: StringsAsked, duty: StringsDuty) -> Finding | None:
    """Largest measured difference that by itself permits joining; None where none does."""
    return joining_reading(asked, duty) if voltage_shows(duty) else None


def joining_currents(asked: StringsAsked, duty: StringsDuty) -> tuple[Finding, ...]:
    """Current at joining at the allowed difference, and after hours that tell of its fall.

    From half the time constant to four of them, in whole powers of two. The first current is that
    of the least resistance, its fall that of the largest: what flows lies below.

    Returns:
        Nothing where no string may join, or no straight piece of the curve gives a time constant.
    """
    tau = duty.time_constant
    if tau is None or not duty.charge_limit.known or joining_barred(asked, duty):
        return ()
    first = duty.charge_limit.called("joining current at once, at the allowed difference", "I_0",
                                     "the receiver's charge limit")
    hour = 2.0 ** math.ceil(math.log2(tau.number / 3600.0 / 2.0))
    return (first, *(trace(
        joining_current, f"joining current after {hours:g} h", first_current=first,
        time_constant=tau, time=leaf("time since joining", "t", "h", hours * 3600.0, "definition",
                                     origin=RULE),
        note="" if hours > hour else "errs high: first current by the least resistance, its fall "
        "by the largest") for hours in (hour, 2.0 * hour, 4.0 * hour)))


def joining_differences(asked: StringsAsked) -> tuple[tuple[Finding, Finding], ...]:
    """Allowed voltage difference at each temperature: (temperature, difference)."""
    return tuple((c.temperature, _difference(asked, c)) for c in asked.charge_limits)


def joined_sharing(asked: StringsAsked) -> tuple[Finding, Finding]:
    """Current of the worst string just after joining at the allowed difference, current flowing.

    Braking and charging are counted as whole as they are without joining: errs high.

    Returns:
        discharging, one string above all others by the widest of the differences; charging or
        braking, one below them by the narrowest; each with the others even and all in, or
        unlike and all but one open, whichever is more.
    """
    wide, narrow = (pick(_permitting(asked), key=lambda c: c.limit.number) for pick in (max, min))
    into = largest([asked.charging_current, asked.regeneration_current or asked.charging_current],
                   "largest current into the pack")
    high = _worst_joined(asked, wide, asked.continuous_current,
                         "current of a string that joins high")
    return high, _worst_joined(asked, narrow, into, "current into a string that joins low")


def _worst_joined(asked: StringsAsked, at: ChargeLimit, flow: Finding, title: str) -> Finding:
    """Its current follows the others' resistance one way alone: one end of that is the worst."""
    others = trace(other_strings, strings=asked.strings)
    given = {"difference": _difference(asked, at), "flow": flow,
             "resistance": asked.resistance_initial}
    ends = (trace(joined_current, f"{title}, all in, even", **given, mismatch=EVEN, others=others),
            trace(joined_current, f"{title}, one other in, unlike", **given,
                  mismatch=asked.mismatch, others=ONE_OTHER))
    return largest(ends, title)


def _permitting(asked: StringsAsked) -> tuple[ChargeLimit, ...]:
    """The temperatures at which a string may be joined at all."""
    return tuple(c for c in asked.charge_limits if c.limit.known and c.limit.number > 0)


def _difference(asked: StringsAsked, one: ChargeLimit) -> Finding:
    return trace(joining_difference, f"allowed difference at {one.temperature.shown}",
                 current=_at(one), first=asked.resistance_initial, second=_alike(asked))


def _joined_checks(asked: StringsAsked) -> tuple[Check, ...]:
    """Joining takes up a limit by itself: what flows besides comes on top until it has settled."""
    permitting = _permitting(asked)
    if not permitting:
        return ()
    discharging, charging = joined_sharing(asked)
    stage = "thermal load"
    high = judge("A string joins at the allowed difference under continuous load", stage,
                 discharging, "at most", asked.continuous_limit,
                 missing="continuous current of the module is not known",
                 remedy="less power until the difference is gone")
    low = judge("A string joins at the allowed difference under charge or braking", stage, charging,
                "at most", smallest([_at(c) for c in permitting],
                                    "charge limit of the receiving string"),
                remedy="charger and braking off until the difference is gone")
    return tuple(c if c.verdict != FAIL else replace(c, verdict=CAUTION) for c in (high, low))
