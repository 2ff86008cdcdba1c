"""The over-voltage chain: every way in which a voltage rises above full charge.

Charger with tolerance, the charger's own ceiling, braking into a cold pack, a contactor
that opens under braking, a motor spinning behind a dead inverter, the ceiling of a charging
station. The largest is the highest working voltage; each part is held against it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from packcalc.brief import Brief
from packcalc.brief_keys import key
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, Item, Requirement, judge
from packcalc.electrical import series_voltage, with_tolerance
from packcalc.findings import (
    AS_PARTS, AT_LEAST, BOUNDED, NO_BOUND, Finding, Origin, formula, largest, leaf, smallest,
    trace, untold_of, with_less, with_more,
)
from packcalc.layout_findings import told_by
from packcalc.pack import PackModel
from packcalc.part_checks.limits import highest_cell_trip, tolerance_open
from packcalc.units import into_si
from packcalc.value import replace, value_object

TITLE = "Over-voltage chain and highest working voltage"
STAGE = "highest voltage"
BATTERY, CHARGE, INVERTER = "battery side", "charge side", "inverter side"
CAPACITANCE = "inverter.dc_link_capacitance"
NOT_KNOWN = "not known: "  # how the reason of a link that is open begins
DUMP = "contactor opens under braking"
END_LOWER = "a lower end of charging"

NOTES = (
    "A contactor that opens under braking leaves the link capacitors alone with the braking "
    "power: they rise to the limit in fractions of a millisecond to a few milliseconds. Only the "
    "inverter itself is quick enough. Order torque to zero before opening, every time that there "
    "is time.",
    "A permanent-magnet motor spinning above base speed behind a dead inverter makes its voltage "
    "through the inverter's diodes, with no control left but the brakes: no contactor stops it "
    "and an open contactor leaves the link at the motor's peak line voltage.",
    "Energy in the motor's windings and the loop inductance adds to the rise when an inverter "
    "blocks; it is not counted here: ask the inverter's maker for the highest link voltage after "
    "a shut-down at full current.",
    "Semiconductors see the link voltage plus their own switching overshoot.",
)


# --- formulas -------------------------------------------------------------------------

@formula(
    title="Smallest capacitance within its tolerance", symbol="C_min", unit="mF",
    text="C_min = C·(1 − a/100)",
    inputs={"capacitance": "C [mF] nominal", "tolerance": "a [%] tolerance"},
    basis="definition", valid="0 ≤ a < 100 %", safe_side="smaller rises faster")
def smallest_capacitance(capacitance: Any, tolerance: Any) -> Any:
    """Capacitance at its lower tolerance; it governs how fast a bus rises.

    Examples:
        >>> round(smallest_capacitance(1e-3, 0.2), 6)
        0.0008
    """
    return capacitance * (1 - tolerance)


@formula(
    title="Voltage of a capacitor that a constant power has fed for a time", symbol="v", unit="V",
    text="v = √(V1² + 2000·P·t/C)",
    inputs={"start": "V1 [V] at the start", "power": "P [kW] fed in", "time": "t [ms] fed",
            "capacitance": "C [mF] on the bus"},
    basis="computed", source="electrical-principles-2007",
    where="ch. 6, problem 16, solved for v; from C·dv/dt = P/v, the whole power into the "
          "capacitor",
    valid="P ≥ 0, no other load on the bus",
    safe_side="lower tolerance of C, whole braking power, longest time")
def fed_voltage(start: Any, power: Any, time: Any, capacitance: Any) -> Any:
    """Voltage that a bus reaches while braking power has nowhere else to go.

    Examples:
        >>> round(float(fed_voltage(400.0, 30e3, 1e-3, 1e-3)), 2)
        469.04
    """
    return np.sqrt(start * start + 2 * power * time / capacitance)


@formula(
    title="Time in which a constant power moves a capacitor between two voltages", symbol="t",
    unit="ms", text="t = C·(V2² − V1²)/(2000·P)",
    inputs={"capacitance": "C [mF] on the bus", "lower": "V1 [V] lower voltage",
            "upper": "V2 [V] upper voltage", "power": "P [kW] constant power"},
    basis="read", source="electrical-principles-2007",
    where="ch. 6, problem 16, energy over time; with a second voltage, pfc-design-example-2013 "
          "eq. 56",
    valid="V2 ≥ V1, P > 0, no other load on the bus",
    safe_side="lower tolerance of C and whole power: the shortest time to a limit")
def time_at_power(capacitance: Any, lower: Any, upper: Any, power: Any) -> Any:
    """Time until braking power has driven the bus from one voltage to another.

    Examples:
        >>> round(time_at_power(1e-3, 400.0, 450.0, 30e3), 9)
        0.000708333
    """
    return capacitance * (upper * upper - lower * lower) / (2 * power)


@formula(
    title="Energy that a capacitor takes between two voltages", symbol="E", unit="J",
    text="E = ½·(C/1000)·(V2² − V1²)",
    inputs={"capacitance": "C [mF] on the bus", "lower": "V1 [V] lower voltage",
            "upper": "V2 [V] upper voltage"},
    basis="read", source="defibrillator-example-17-9",
    where="eq. 17-17 at both voltages",
    valid="V2 ≥ V1",
    safe_side="lower tolerance of C: less energy")
def energy_to_limit(capacitance: Any, lower: Any, upper: Any) -> Any:
    """What may still flow into a bus before it reaches a limit.

    Examples:
        >>> round(energy_to_limit(1e-3, 400.0, 410.0), 6)
        4.05
    """
    return 0.5 * capacitance * (upper * upper - lower * lower)


# --- what is asked and what comes out -------------------------------------------------

@value_object
class OvervoltageAsked:
    """What the chain is made of; any finding but the first three may lack its value.

    Attributes:
        full_voltage: end of charging with the charger's tolerance.
        braking_voltage: braking into a cold pack, full or at a charge that gives more.
        empty_voltage: rest voltage when empty.
        braking_power: fed back by the inverter.
        braking_limit: voltage at which the inverter itself stops braking.
        capacitance: of the DC link, at its lower tolerance.
        reaction: of the inverter, from that limit to no power.
        back_voltage: of the motor at top speed, peak between lines.
        station_voltage: ceiling of the charging station.
        at_a_station: whether it charges at one, whatever is known of that.
        charger_open: what is counted for a tolerance of the charger that nobody told; else empty.
        charger_ceiling: highest output voltage of the charger, its tolerance counted.
        absolute_maximum, capacitor_rating, semiconductor_rating: of the inverter.
        others: further parts with their rated DC voltage, or None where nobody stated it.
        trip: over-voltage trip of all cells together; None where nobody stated it.
        trip_most: the highest that this trip may be, every cell at what a full one may see.
        least_full: full voltage of a charger that ends at its very set point, where nobody told
            its tolerance; None where somebody did.
        trip_delay, braking_time: delay of that trip; length of a braking pulse.
    """

    full_voltage: Finding
    braking_voltage: Finding
    empty_voltage: Finding
    braking_power: Finding
    braking_limit: Finding
    capacitance: Finding
    reaction: Finding
    back_voltage: Finding
    station_voltage: Finding
    charger_ceiling: Finding
    absolute_maximum: Finding
    capacitor_rating: Finding
    semiconductor_rating: Finding
    others: tuple[tuple[str, Finding | None], ...] = (
        ("main fuse", None), ("main contactors", None), ("traction cable", None))
    trip: Finding | None = None
    trip_most: Finding | None = None
    least_full: Finding | None = None
    trip_delay: Finding | None = None
    braking_time: Finding | None = None
    at_a_station: bool = False
    charger_open: str = ""


@value_object
class Link:
    """One link of the chain: what raises the voltage, where, how high.

    Attributes:
        name: what happens.
        side: battery, charge or inverter side of the main contactors.
        voltage: None where it is not known.
        reason: why it is not known, or what it rests on.
    """

    name: str
    side: str
    voltage: Finding | None
    reason: str = ""


@value_object
class Standing:
    """One part held against the highest voltage that it can see."""

    part: str
    rating: Finding | None
    check: Check


@value_object
class OvervoltageResult:
    """The chain with everything held against it.

    Attributes:
        highest: highest working voltage, all sides.
        battery_side: highest with the contactors closed: charging, braking, and the motor whose
            diodes feed the battery.
        chain: every link, in the order of the energy's way.
        standings: every part.
        item: as put to the reviewer.
    """

    highest: Finding
    battery_side: Finding
    chain: tuple[Link, ...]
    standings: tuple[Standing, ...]
    item: Item


def overvoltage_asked(brief: Brief, pack: PackModel,
                      others: tuple[tuple[str, Finding | None], ...] = ()) -> OvervoltageAsked:
    """Gather the chain's entries from a brief and a pack.

    Args:
        brief: what is asked.
        pack: the layout at its corners.
        others: parts with their rated DC voltages; empty asks for the three main ones.
    """
    inverter, defaults, open_ = brief.inverter, OvervoltageAsked.others, tolerance_open(brief)
    limit, raised = brief.regeneration.voltage_limit, pack.regeneration_voltage
    capped = limit.known and raised.number >= limit.number  # more power raises it no further
    return OvervoltageAsked(
        full_voltage=pack.full_voltage, least_full=pack.rest_full_voltage if open_ else None,
        braking_voltage=with_more(
            raised, open_ or ("" if capped else brief.regeneration.power.untold_more)),
        empty_voltage=pack.empty_voltage, braking_power=brief.regeneration.power,
        braking_limit=brief.regeneration.voltage_limit, capacitance=_least_capacitance(brief),
        reaction=inverter.overvoltage_reaction, back_voltage=brief.motor.back_voltage,
        station_voltage=brief.station.voltage, at_a_station=brief.at_a_station,
        charger_ceiling=_charger_ceiling(brief), charger_open=open_,
        absolute_maximum=inverter.absolute_maximum, capacitor_rating=inverter.capacitor_rating,
        semiconductor_rating=inverter.semiconductor_rating, others=others or defaults,
        trip=_pack_trip(brief, pack), trip_most=_highest_trip(brief, pack),
        trip_delay=brief.management.voltage_delay,
        braking_time=brief.regeneration.duration)


def _charger_ceiling(brief: Brief) -> Finding:
    """Upper end of the charger's range at its upper tolerance; without value where not given."""
    ceiling = brief.charger.voltage_high
    if not ceiling.known:
        return ceiling
    return trace(with_tolerance, "ceiling of the charger at its upper tolerance", symbol="U_cc",
                 voltage=ceiling, tolerance=brief.charger.tolerance)


def _pack_trip(brief: Brief, pack: PackModel) -> Finding | None:
    """The cells' over-voltage trip as a voltage of the whole pack, all cells alike."""
    own = brief.management.overvoltage_trip
    if not own.known:
        return None
    return trace(series_voltage, "pack voltage at the cells' over-voltage trip",
                 series=_cells(brief, pack), module_voltage=own,
                 note="all cells alike; one cell above the others trips sooner")


def _highest_trip(brief: Brief, pack: PackModel) -> Finding:
    full = smallest([brief.modules[p.entry].module.full_voltage for p in pack.layout.parts],
                    "full voltage of one cell")
    return trace(series_voltage, "pack voltage at the highest that a cell's trip may be",
                 series=_cells(brief, pack), module_voltage=highest_cell_trip(brief, full))


def _cells(brief: Brief, pack: PackModel) -> Finding:
    count = sum(p.series * brief.modules[p.entry].module.series for p in pack.layout.parts)
    return leaf("cells in series", "n", "", count, "definition", origin=Origin("layout"))


def _least_capacitance(brief: Brief) -> Finding:
    """Lower tolerance; where the entry is open, less than one inverter usually holds."""
    nominal = brief.inverter.dc_link_capacitance
    if brief.left_open(CAPACITANCE):
        least = into_si(float(key(CAPACITANCE).other or 0.0), nominal.unit)
        nominal = leaf(nominal.title, nominal.symbol, nominal.unit, least, "assumed",
                       source="packcalc-rule", origin=nominal.origin,
                       note="for a rise the small side is the safe one: less than one inverter "
                            "usually holds")
    least = trace(smallest_capacitance, capacitance=nominal,
                  tolerance=brief.inverter.dc_link_tolerance)
    return with_less(least, f"{told_by(nominal)}a smaller DC link rises further; left open and "
                     f"counted for a rise as {nominal.shown}, {NO_BOUND}"
                     if brief.left_open(CAPACITANCE) else "")


def study_overvoltage(asked: OvervoltageAsked) -> OvervoltageResult:
    """Build the chain and hold every part against it."""
    chain = _chain(asked)
    known = [link.voltage for link in chain if link.voltage is not None]
    # What is open of a link is bounded as one that is not known at all.
    told = [f.called(note=f.told_note) for f in known]
    bounds = _bounds(asked, chain)
    # What is counted for an open link beyond its bound is not bounded by it.
    most = max((bound.number for bound in bounds), default=np.inf)
    beyond = untold_of(f for f in known
                       if f.number > most and f.untold_more.endswith(NO_BOUND))
    highest = with_more(largest([*told, *bounds], "highest working voltage",
                                _unknown_links(chain, bool(beyond))), beyond)
    # Its diodes feed the closed battery without control.
    battery = largest([with_more(asked.full_voltage, asked.charger_open), asked.braking_voltage,
                       asked.back_voltage],
                      "highest voltage with the contactors closed")
    standings = _standings(asked, highest)
    checks = (*(s.check for s in standings), *_duty_checks(asked, highest))
    item = Item(
        key="overvoltage", title=TITLE,
        governing=highest.told_note.split("governed by: ")[-1],
        duty=(highest, battery, *known, *_times(asked), *_room_left(asked, highest)),
        specification=_specification(asked, highest), open_items=_open_items(chain),
        notes=NOTES, checks=checks)
    return OvervoltageResult(highest, battery, chain, standings, item)


# --- the chain ------------------------------------------------------------------------

def _chain(asked: OvervoltageAsked) -> tuple[Link, ...]:
    return (
        _by_charger(asked, "charger stops at its upper tolerance", BATTERY, asked.full_voltage),
        _braking(asked),
        _charger(asked),
        _station(asked),
        _dump(asked),
        _spinning(asked),
    )


def _by_charger(asked: OvervoltageAsked, name: str, side: str, voltage: Finding) -> Link:
    """Of an open tolerance it is the least that it can be."""
    return _as_far(name, side, with_more(voltage, asked.charger_open))


def _as_far(name: str, side: str, voltage: Finding) -> Link:
    """A link with what nobody told that may raise it."""
    more = voltage.untold_more
    return Link(name, side, voltage, f"{NOT_KNOWN}{more}" if more else "")


def _braking(asked: OvervoltageAsked) -> Link:
    """Of open resistances it is the least it can be, and the inverter's own limit bounds it."""
    name, more = asked.braking_voltage.title, asked.braking_voltage.untold_more
    bound = "at most the inverter's own limit: " if asked.braking_limit.known else NOT_KNOWN
    return Link(name, BATTERY, asked.braking_voltage, f"{bound}{more}" if more else "")


def _start(asked: OvervoltageAsked) -> Finding:
    """Bus voltage at which the inverter begins to stop braking: its limit bounds what is open."""
    braking = asked.braking_voltage
    if asked.braking_limit.known:
        braking = braking.called(note=braking.told_note)
    return largest([braking,
                    with_more(asked.full_voltage, asked.charger_open), asked.braking_limit],
                   "bus voltage when the inverter begins to stop braking")


def _charger(asked: OvervoltageAsked) -> Link:
    """With the battery cut off a charger that goes on drives link and inlet to its ceiling."""
    name = "contactors open under charge: charger at its own ceiling"
    if not asked.charger_ceiling.known:
        return Link(name, CHARGE, None, f"{NOT_KNOWN}{asked.charger_ceiling.title}")
    return _by_charger(asked, name, CHARGE, asked.charger_ceiling)


def _station(asked: OvervoltageAsked) -> Link:
    """A vehicle with an inlet for one is charged at one."""
    name, ceiling = "ceiling of the charging station", asked.station_voltage
    if ceiling.known:
        return Link(name, CHARGE, ceiling)
    return Link(name, CHARGE, None, f"{NOT_KNOWN}{ceiling.title}" if asked.at_a_station else
                "no fast-charge station is counted on: do not charge at one before its ceiling "
                "stands in the brief")


def _room(asked: OvervoltageAsked) -> Finding | None:
    """Time from where the inverter begins to stop braking to its limit; None where not known.

    The specification asks for what the check demands: both start at the braking limit.
    """
    start, limit = _start(asked), asked.absolute_maximum
    if not asked.braking_limit.known or not limit.known or asked.braking_power.number == 0 \
            or limit.number <= start.number:
        return None
    return with_less(trace(time_at_power, "time from the braking limit to the absolute maximum",
                           capacitance=asked.capacitance, lower=start, upper=limit,
                           power=asked.braking_power), _rise_open(asked, start))


def _rise_open(asked: OvervoltageAsked, start: Finding) -> str:
    """What nobody told that may let the link rise further or sooner under braking; else empty."""
    return untold_of((start, asked.braking_power)) or asked.capacitance.may_be_less


def _dump(asked: OvervoltageAsked) -> Link:
    name = DUMP
    if asked.braking_power.number == 0:
        return Link(name, INVERTER, None, "no braking power is fed back")
    missing = [f.title for f in (asked.braking_limit, asked.reaction) if not f.known]
    if missing:
        return Link(name, INVERTER, None, NOT_KNOWN + "; ".join(missing))
    start = _start(asked)
    peak = trace(fed_voltage, "link voltage after a contactor opened under braking",
                 start=start, power=asked.braking_power, time=asked.reaction,
                 capacitance=asked.capacitance)
    return _as_far(name, INVERTER, with_more(peak, _rise_open(asked, start)))


def _spinning(asked: OvervoltageAsked) -> Link:
    name = "motor spins behind a dead inverter"
    if not asked.back_voltage.known:
        return Link(name, INVERTER, None, f"{NOT_KNOWN}{asked.back_voltage.title}")
    if asked.back_voltage.number == 0:
        return Link(name, INVERTER, None, "given as a motor without magnets: no voltage")
    if asked.back_voltage.number > asked.full_voltage.number:
        return Link(name, f"{INVERTER}, and {BATTERY}", asked.back_voltage,
                    "with the contactors closed its diodes charge the full pack without control")
    return Link(name, INVERTER, asked.back_voltage)


def _lacks(link: Link) -> bool:
    return (link.voltage is None or bool(link.voltage.untold_more)) \
        and link.reason.startswith(NOT_KNOWN)


def _bounds(asked: OvervoltageAsked, chain: tuple[Link, ...]) -> tuple[Finding, ...]:
    """What stands for the links that are not known: a lesser voltage than their answer is none.

    An answer above the inverter's absolute maximum fails the inverter itself, so that this is the
    most that the other parts can be asked for. Left open it bounds nothing, yet asks no less than
    what is counted for it. A rise begins where braking is limited.
    """
    lacking = [link.name for link in chain if _lacks(link)]
    most, found = asked.absolute_maximum, []
    if lacking and most.known:
        whose = f"absolute maximum, {BOUNDED}" if most.basis != "assumed" else \
            "highest operating voltage; its absolute maximum is left open, and so are these"
        found.append(most.called(f"inverter's {whose}: " + "; ".join(lacking)))
    if DUMP in lacking and asked.braking_limit.known:
        start = _start(asked)
        found.append(start.called(note=start.told_note))
    return tuple(found)


def _unknown_links(chain: tuple[Link, ...], beyond: bool) -> str:
    """Which links are open, in words; `beyond` where one is so that nothing bounds."""
    lacking = [link.name for link in chain if _lacks(link)]
    start = f"{AT_LEAST}: not evaluated: " if beyond else AS_PARTS
    return "" if not lacking else start + "; ".join(lacking)


def _times(asked: OvervoltageAsked) -> tuple[Finding, ...]:
    """Time to the inverter's limit after a contactor opened, counted from the full pack."""
    start = largest([asked.braking_voltage, with_more(asked.full_voltage, asked.charger_open)],
                    "bus voltage before opening")
    limit = asked.absolute_maximum
    if not limit.known or asked.braking_power.number == 0 or limit.number <= start.number:
        return ()
    return (with_less(
        trace(time_at_power, "time to the inverter's absolute maximum after a contactor opened "
              "under braking", capacitance=asked.capacitance, lower=start, upper=limit,
              power=asked.braking_power), _rise_open(asked, start)),)


def _room_left(asked: OvervoltageAsked, highest: Finding) -> tuple[Finding, ...]:
    left = _energy_left(asked, asked.absolute_maximum, highest)
    return () if left is None else (left,)


# --- what stands against it -----------------------------------------------------------

def _standings(asked: OvervoltageAsked, highest: Finding) -> tuple[Standing, ...]:
    rows = [("inverter, absolute maximum", asked.absolute_maximum),
            ("DC-link capacitors", asked.capacitor_rating)]
    found = [_on_the_link(asked, name, rating, highest) for name, rating in rows]
    found.append(_semiconductors(asked.semiconductor_rating, highest))
    return (*found, *(_standing(name, rating, highest) for name, rating in asked.others))


def _on_the_link(asked: OvervoltageAsked, name: str, rating: Finding,
                 highest: Finding) -> Standing:
    """A part on the link: what the windings give back at a shut-down comes on top, not counted."""
    held = _standing(name, rating, highest)
    if held.check.verdict not in (PASS, CAUTION):
        return held
    left = _energy_left(asked, rating, highest)
    room = f": from the highest to this rating the link takes {left.shown} more" \
        if left is not None else ""
    words = "; ".join(w for w in (held.check.reason, "energy that windings and loop give back "
                                  f"when the inverter blocks is not counted and comes on top{room}")
                      if w)
    return Standing(name, rating, Check(
        held.check.title, STAGE, CAUTION, rating, highest, "at least", words,
        "the inverter's maker states the highest link voltage after a shut-down at full current, "
        "with this motor"))


def _energy_left(asked: OvervoltageAsked, rating: Finding, highest: Finding) -> Finding | None:
    """What the link still takes between the highest voltage counted and a rating."""
    if not (rating.known and asked.capacitance.known) or rating.number < highest.number:
        return None
    return trace(energy_to_limit, f"energy that the link takes up to the {rating.title}",
                 capacitance=asked.capacitance, lower=highest, upper=rating)


def _standing(name: str, rating: Finding | None, highest: Finding) -> Standing:
    check = judge(f"{name} rated for the highest working voltage", STAGE, rating, "at least",
                  highest, missing=f"ask for the rated DC voltage: at least {highest.shown}",
                  reason=highest.note if highest.at_least else "",
                  remedy="a higher rating, fewer modules in series, or what raises the voltage "
                         "made smaller")
    if check.verdict == PASS and check.reason:
        check = Check(check.title, STAGE, CAUTION, rating, highest, "at least",
                      check.reason.split("; governed by")[0], "the figures that are still open")
    return Standing(name, rating, check)


def _semiconductors(rating: Finding, highest: Finding) -> Standing:
    name = "inverter's semiconductors"
    held = _standing(name, rating, highest)
    if held.check.verdict not in (PASS, CAUTION):
        return held
    words = "; ".join(w for w in (held.check.reason, "switching overshoot is not known and comes "
                                  "on top") if w)
    return Standing(name, rating, Check(
        held.check.title, STAGE, CAUTION, rating, highest, "at least", words,
        "the inverter's maker states the highest link voltage with overshoot counted"))


def _duty_checks(asked: OvervoltageAsked, highest: Finding) -> tuple[Check, ...]:
    reaction = _reaction_check(asked)
    return (reaction, _limit_check(asked), *_brakes_when_full(asked),
            _braking_trip_check(asked, reaction), _charger_check(asked), *_station_check(asked),
            _generator_check(asked), _feeds_full_check(asked))


def _reaction_check(asked: OvervoltageAsked) -> Check:
    title = "inverter stops braking before an open contactor drives the link to its limit"
    if asked.braking_power.number == 0:
        return Check(title, STAGE, PASS, reason="no braking power is fed back")
    limit = asked.absolute_maximum
    missing = [f.title for f in (asked.braking_limit, asked.reaction, limit) if not f.known]
    if missing:
        times = _times(asked)
        hint = f"; from a full pack there are {times[0].shown}" if times else ""
        return Check(title, STAGE, NOT_EVALUATED, demand=times[0] if times else None,
                     reason=f"ask the inverter's maker for: {'; '.join(missing)}{hint}")
    start = _start(asked)
    if limit.number <= start.number:
        return judge(title, STAGE, start, "below", limit,
                     remedy="a lower braking limit, or an inverter with a higher maximum")
    return judge(title, STAGE, asked.reaction, "at most", _room(asked),
                 remedy="less braking power, more link capacitance, a quicker inverter, a brake "
                        "chopper")


def _limit_check(asked: OvervoltageAsked) -> Check:
    return judge("inverter's braking limit lies below its absolute maximum", STAGE,
                 asked.braking_limit, "below", asked.absolute_maximum,
                 missing="ask the inverter's maker for its braking voltage limit with tolerance")


def _braking_trip_check(asked: OvervoltageAsked, reaction: Check) -> Check:
    """Whether braking into a full pack reaches the cells' trip before the inverter limits."""
    title = "over-voltage trip stays quiet while braking into a full pack"
    held = judge(title, STAGE, asked.braking_voltage, "below", asked.trip,
                 missing="say management.overvoltage_trip: a trip under braking opens a contactor "
                         "under regeneration",
                 remedy=END_LOWER if _only_charged(asked) else
                 "braking cut to nothing near full charge and in the cold; an inverter limit below "
                 f"the trip; {END_LOWER}")
    if held.verdict != FAIL:
        return held
    words = _limits_where(asked)
    if _outlasted(asked):
        return replace(held, verdict=CAUTION, reason=f"{words}; the trip's delay outlasts the "
                       "braking pulse, and cells stand above their trip until it ends")
    told = f"{words}: the trip opens a contactor" + (
        "" if _only_charged(asked) else " under regeneration")
    if reaction.verdict == PASS:
        return replace(held, verdict=CAUTION, reason=told if _only_charged(asked) else
                       f"{told}; the inverter is shown to stop in time, and braking is lost "
                       "without a warning")
    if reaction.verdict == NOT_EVALUATED and reaction.figure is not None:
        return replace(held, verdict=NOT_EVALUATED, reason=f"{told}; whether the inverter "
                       f"stops in time is not evaluated: {reaction.reason}")
    return replace(held, reason=f"{told}, and nobody is shown to stop the rise of the link")


def _limits_where(asked: OvervoltageAsked) -> str:
    """Where the inverter's own limit lies beside the cells' trip, in words."""
    limit, trip = asked.braking_limit, asked.trip
    own = f"the inverter's own limit of {limit.shown} lies"
    if limit.known and trip is not None and limit.number > trip.number:
        return f"{own} above the trip"
    if _only_charged(asked):
        return f"{own} below it; charging, not braking, reaches {asked.full_voltage.shown}"
    return "the inverter is not shown to limit before it"


def _only_charged(asked: OvervoltageAsked) -> bool:
    """Whether it is the end of charging that reaches the trip: the inverter limits below both."""
    limit, trip = asked.braking_limit, asked.trip
    return limit.known and trip is not None and limit.number < trip.number \
        and asked.full_voltage.number >= asked.braking_voltage.number


def _brakes_when_full(asked: OvervoltageAsked) -> tuple[Check, ...]:
    """Told where it may not: one that limits below the full pack has no electric brake there."""
    if not asked.braking_limit.known or asked.braking_power.number == 0:
        return ()
    check = judge("inverter brakes into a full pack", STAGE, asked.braking_limit, "at least",
                  with_more(asked.full_voltage, asked.charger_open),
                  remedy="the driver is warned, and other brakes hold the vehicle alone; a higher "
                         f"limit; {END_LOWER}")
    if check.verdict != FAIL:
        return () if check.verdict == PASS else (check,)
    return (replace(check, verdict=CAUTION, reason="no electric braking while the pack stands "
                    f"above {asked.braking_limit.shown}: after charging, until it has fallen "
                    "there"),)


def _outlasted(asked: OvervoltageAsked) -> bool:
    delay, pulse = asked.trip_delay, asked.braking_time
    return bool(delay and pulse and delay.known and pulse.known and delay.number > pulse.number)


def _charger_check(asked: OvervoltageAsked) -> Check:
    title = "a charger that runs to its own ceiling stays at the end of charging"
    check = judge(title, STAGE, asked.charger_ceiling, "at most", asked.full_voltage,
                  missing="charger's voltage range is not given: read it on its plate")
    above = asked.absolute_maximum
    if check.verdict == FAIL and above.known and check.figure is not None \
            and check.figure.number > above.number * (1.0 + 1e-9):
        return Check(title, STAGE, FAIL, check.figure, above, "at most",
                     "a faulty or wrongly set charger overshoots the inverter's absolute maximum, "
                     "and overcharges every cell on the way" + _unended(asked),
                     "a charger whose ceiling lies within it, or a cut-off of its own beside the "
                     "charger's control")
    if check.verdict == FAIL:
        return _ended_by_trip(asked, check, "a faulty or wrongly set charger goes on above full "
                                            "charge")
    return check


def _station_check(asked: OvervoltageAsked) -> tuple[Check, ...]:
    """A station follows the vehicle's request: the vehicle's own limit must stand by itself."""
    if not (asked.station_voltage.known or asked.at_a_station):
        return ()
    check = judge("a charging station that runs to its ceiling stays at the end of charging", STAGE,
                  asked.station_voltage, "at most", asked.least_full or asked.full_voltage,
                  missing="station's ceiling is not given, and the vehicle charges at one: read it "
                          "on its plate, as station.voltage",
                  remedy="a station of a lower ceiling")
    return (check if check.verdict != FAIL else _ended_by_trip(
        asked, check, "it follows the vehicle's request, which may be wrong"),)


def _ended_by_trip(asked: OvervoltageAsked, check: Check, why: str) -> Check:
    """A caution where a trip that opens is set low enough; else nobody ends the overcharge."""
    unended = _unended(asked)
    if unended:
        most = "" if asked.trip_most is None else \
            f" at or below {asked.trip_most.shown} of the pack"
        return replace(check, reason=f"{why}{unended}", remedy="management.overvoltage_trip"
                       f"{most}, opening the contactors by itself; or a lower ceiling")
    delay = asked.trip_delay
    late = "" if delay is not None and delay.known else ", whose delay is not known,"
    return replace(check, verdict=CAUTION, reason=f"{why}: only the over-voltage trip of the "
                   f"management system{late} stops it", remedy="the trip opens the contactors by "
                   "itself, without the charger's help")


def _unended(asked: OvervoltageAsked) -> str:
    """Why nobody ends an overcharge; empty where a trip within the cells' limit does."""
    if asked.trip is None:
        return "; nobody ends it: no over-voltage trip is set"
    most = asked.trip_most
    if most is not None and asked.trip.number > most.number * (1.0 + 1e-9):
        return (f"; nobody ends it in time: the over-voltage trip is set to {asked.trip.shown} of "
                f"the pack, and its cells may see at most {most.shown}")
    return ""


def _generator_check(asked: OvervoltageAsked) -> Check:
    title = "spinning motor stays below the empty pack's voltage"
    check = judge(title, STAGE, asked.back_voltage, "at most", asked.empty_voltage,
                  missing="ask the motor's maker for the peak line voltage at top speed; 0 V for a "
                          "motor without magnets")
    if check.verdict == "fail":
        return Check(title, STAGE, CAUTION, check.figure, check.demand, "at most",
                     "above the speed at which both are equal a dead inverter brakes and charges "
                     "without control, and towing can energise the bus",
                     "speed limit by gearing; tow with the driven wheels off the ground; an active "
                     "short-circuit of the inverter that its maker states")
    return check


def _feeds_full_check(asked: OvervoltageAsked) -> Check:
    """Above the full pack a dead inverter overcharges it, and nobody limits the current."""
    return judge("dead inverter cannot overcharge the pack through its diodes", STAGE,
                 asked.back_voltage, "at most", asked.least_full or asked.full_voltage,
                 missing="ask the motor's maker for the peak line voltage at top speed; 0 V for a "
                         "motor without magnets",
                 reason="a dead inverter's diodes would charge the full pack above it, with what "
                        "current only the motor's own impedance says" if asked.back_voltage.known
                 and asked.back_voltage.number > asked.full_voltage.number else "",
                 remedy="a lower top speed by gearing, a motor of a lower voltage constant, more "
                        "modules in series, or an active short-circuit of the inverter that its "
                        "maker states")


def _begins(asked: OvervoltageAsked) -> str:
    """From where the rise is counted, in words: a limit below the full pack shortens no time."""
    start, limit = _start(asked), asked.braking_limit
    return start.shown if limit.number >= start.number else \
        f"{start.shown}, the full pack above its limit of {limit.shown},"


def _specification(asked: OvervoltageAsked, highest: Finding) -> tuple[Requirement, ...]:
    volts = highest.shown + (", or more: what is open in the chain" if highest.at_least else "")
    lines = [Requirement("every part on traction voltage: rated DC voltage", f"at least {volts}",
                         "highest working voltage of the chain"),
             Requirement("inverter: highest link voltage after a shut-down at full braking",
                         "a figure in V", "windings and loop inductance add to the rise")]
    room, times = _room(asked), _times(asked)
    if room is not None:
        lines.append(Requirement(
            "inverter: from its own braking limit to no braking power, a contactor open",
            f"at most {room.shown}", f"from {_begins(asked)} to its absolute maximum of "
            f"{asked.absolute_maximum.shown}").resting_on(room))
    elif times and not asked.braking_limit.known:
        lines.append(Requirement("inverter: from an open contactor to no braking power",
                                 f"under {times[0].shown}, less what passes until it begins to "
                                 "limit", "from a full pack to its maximum; its braking limit is "
                                 "not known"))
    return tuple(lines)


def _open_items(chain: tuple[Link, ...]) -> tuple[str, ...]:
    return tuple(f"{link.name}: {link.reason.removeprefix(NOT_KNOWN)}" for link in chain
                 if _lacks(link))
