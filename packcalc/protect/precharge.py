"""The pre-charge resistor and its relay: window, loads on the bus, failed charge, slope.

The energy of a normal charge does not depend on the resistance; the energy of a charge
that fails does, and it usually decides. Time is judged at the upper tolerances, current
and heat at the lower tolerance, loads at the lowest battery voltage.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields

from packcalc import transients as tr
from packcalc.charging import (
    BLEED_OPEN, OPEN_WAKING, TIMEOUT_OPEN, BusLoad, LoadedBus, discharge_load, load_checks,
    wakes_title,
)
from packcalc.checks import (
    CAUTION,
    FAIL,
    NOT_EVALUATED,
    PASS,
    Candidate,
    Check,
    Item,
    Requirement,
    figure_fact,
    judge,
    named_part,
    on_an_open_entry,
)
from packcalc.errors import OutOfRange
from packcalc.findings import (
    AT_LEAST, Finding, Origin, leaf, smallest, trace, with_less, with_more,
)
from packcalc.part_checks.shown import SILENT, remark, rounded, stepped, voltage_check
from packcalc.part_formulas import loop_time_constant
from packcalc.parts import ContactorPart, ResistorPart
from packcalc.tables import table
from packcalc.units import significant
from packcalc.value import replace, value_object, worked_once

TITLE = "Pre-charge resistor and relay"
LEVEL_TIME = "Time to the closing level"
PEAK, NORMAL = "Peak pre-charge current", "Energy of a normal charge (any resistance)"
FAILED = "Energy of failed pre-charges"
LOWEST_RESISTANCE, HIGHEST_RESISTANCE = 0.1, 1e6
HALVINGS = 14  # leave a ten-thousandth of the first trial
VALUES_BELOW = 12  # one decade of E12; smaller ones only add current and heat
BORDER = leaf("Border of dangerous DC voltage", "v", "V", 60.0, "read", source="fmvss-305-2017")
FALL_TIME = leaf("Time to fall below the border", "t", "s", 5.0, "read",
                 source="formula-sae-rules-2026",
                 note="EV.7.2.2; the law where the vehicle is registered may differ")

NOTES = (
    "Fused or not: rules differ. Formula SAE EV.5.6.1 [formula-sae-rules-2026] forbids a fuse in "
    "the pre-charge branch; "
    "other practice puts a fuse in it, because a resistor that fails short or a chafed wire is "
    "otherwise fed by the whole pack (common practice). The reviewer decides; a fuse must break "
    "the full DC voltage and carry the peak current on every try.",
    "Level: 90 % is the least in Formula SAE EV.5.6.1 [formula-sae-rules-2026]; a contactor maker "
    "recommends 95 % [contactor-inrush-note], and "
    "80 % gives twice the closing current of 90 %. Judge the volts that remain, not the per cent.",
    "Formula SAE EV.5.6 [formula-sae-rules-2026] asks for a mechanical pre-charge relay, "
    "measured voltage and no PTC "
    "resistor.",
    "A level alone or a slope alone is not enough: a bus held down by a load has no slope, and a "
    "sensor that reads high shows the level too soon. Close on level AND slope.",
    "Film resistors are rated on a heat sink; one mounted on a circuit board has melted inside "
    "all its tabulated limits (field report). No pulse multiple is used here: figures of 1.5, 3, "
    "5 and 10 times rated power for 5 s have been printed for different types.",
)


@value_object
class PrechargeAsked:
    """What the pre-charge must do. Any finding may lack its value.

    Attributes:
        highest_voltage: highest working voltage of the pack.
        lowest_voltage: lowest battery voltage at which the bus must still come up.
        capacitance: sum of all capacitors on the bus.
        capacitance_tolerance, resistor_tolerance: as ratios.
        time_limit: from closing the relay to the level.
        level: share of the battery voltage at which the main may close.
        timeout: after which a try is given up.
        tries: tries in a row.
        loads: what draws from the bus meanwhile.
        awake: (name of a load, power that the branch of that name draws once it runs, without a
            value where it is open).
        peak_current_limit: what relay, resistor and wiring may carry at closing.
        ambient: air around the resistor, or None.
        relay: the one that the brief names, or None.
        timeout_open: whether the timeout is left open: counted long, for the failed tries.
        bleed_open: whether the resistor across the link is not known, and in no sum.
        bleed_tolerance: of the resistor across the link, known or not; None where nobody asks.
        inductance: largest of any circuit that the relay breaks, or None.
    """

    highest_voltage: Finding
    lowest_voltage: Finding
    capacitance: Finding
    capacitance_tolerance: Finding
    resistor_tolerance: Finding
    time_limit: Finding
    level: Finding
    timeout: Finding
    tries: Finding
    loads: tuple[BusLoad, ...] = ()
    awake: tuple[tuple[str, Finding], ...] = ()
    peak_current_limit: Finding | None = None
    ambient: Finding | None = None
    relay: ContactorPart | None = None
    timeout_open: bool = False
    bleed_open: bool = False
    bleed_tolerance: Finding | None = None
    inductance: Finding | None = None

    @property
    def lacking(self) -> tuple[Finding, ...]:
        """The findings without which nothing can be sized."""
        given = (getattr(self, f.name) for f in fields(self)
                 if f.name not in ("peak_current_limit", "ambient", "inductance",
                                   "bleed_tolerance"))
        return tuple(f for f in given if isinstance(f, Finding) and not f.known)

    @worked_once
    def known_loads(self) -> tuple[BusLoad, ...]:
        """Loads that can be computed, in the order in which they wake, an open one at worst."""
        known = [load.at_worst for load in self.loads if load.known]
        return tuple(sorted(known, key=lambda load: load.wakes_at.number))

    @worked_once
    def untold(self) -> str:
        """What is on the bus and in no sum, in words; empty where nothing is."""
        names = " and ".join(load.name for load in self.loads if not load.known)
        words = names and f"what {names} draws is not known and in no sum"
        return "; ".join(w for w in (words, BLEED_OPEN if self.bleed_open else "") if w)

    @worked_once
    def held_down(self) -> str:
        """That what is in no sum may hold the bus down, in words; empty where nothing is."""
        return self.untold and f"it may hold the bus down: {self.untold}"

    @worked_once
    def largest_bleed(self) -> Finding | None:
        """The largest discharge resistor that this file asks for; None where it asks for none."""
        if self.highest_voltage.number <= BORDER.number:
            return None
        return with_less(trace(
            tr.bleed_resistance, "Largest bleed resistance (across the bus)", time=FALL_TIME,
            capacitance=self.largest_capacitance, voltage=self.highest_voltage, end=BORDER),
            self.capacitance.untold_more)

    @worked_once
    def bleed_asked(self) -> str:
        """That resistance and the tolerance that is counted for it, as printed."""
        bleed, tolerance = self.largest_bleed, self.bleed_tolerance
        assert bleed is not None and tolerance is not None
        return f"{bleed.shown} less {tolerance.shown}"

    @worked_once
    def beside_bleed(self) -> PrechargeAsked | None:
        """The same with that resistance across the bus, where nobody told of one; else None.

        It is the largest that empties the bus in time; any smaller one draws more. Counted less
        its tolerance, as one that the brief states.
        """
        bleed = self.largest_bleed if self.bleed_open else None
        if bleed is None or self.bleed_tolerance is None or not self.bleed_tolerance.known:
            return None
        return replace(self, bleed_open=False,
                       loads=(*self.loads, discharge_load(bleed, self.bleed_tolerance)))

    @worked_once
    def largest_capacitance(self) -> Finding:
        return self.as_told(trace(
            tr.largest_capacitance, "Bus capacitance, upper tolerance",
            capacitance=self.capacitance, tolerance=self.capacitance_tolerance))

    def as_told(self, finding: Finding) -> Finding:
        """A figure that grows with the capacitance on the bus: more where that may be more."""
        return with_more(finding, self.capacitance.untold_more)

    def refuse_nonsense(self) -> None:
        """Raise OutOfRange where a value lies outside the formulas' range."""
        if not 0 < self.level.number < 1:
            raise OutOfRange(f"pre-charge level {self.level.shown} must lie between 0 and 100 %: "
                             "a bus reaches 100 % only after endless time")
        if not 0 <= self.resistor_tolerance.number < 1:
            raise OutOfRange(f"resistor tolerance {self.resistor_tolerance.shown} must lie "
                             "between 0 and 100 %")
        if self.capacitance_tolerance.number < 0:
            raise OutOfRange(f"capacitance tolerance {self.capacitance_tolerance.shown} is "
                             "negative; give the upper tolerance")
        for item in (self.highest_voltage, self.lowest_voltage, self.capacitance,
                     self.time_limit, self.timeout, self.tries):
            if item.number <= 0:
                raise OutOfRange(f"{item.title} {item.shown} must be above zero")
        if self.lowest_voltage.number > self.highest_voltage.number:
            raise OutOfRange(f"lowest battery voltage {self.lowest_voltage.shown} is above the "
                             f"highest working voltage {self.highest_voltage.shown}")


def size_precharge(asked: PrechargeAsked, parts: Sequence[ResistorPart] = (), *,
                   named: str = "") -> Item:
    """Window, candidates, duty and specification of pre-charge resistor and relay.

    Args:
        asked: what the pre-charge must do.
        parts: resistors of the user's list; they stand after the preferred values.
        named: the one that the brief names.

    Raises:
        OutOfRange: a value outside the range of the formulas (level of 100 % and the like).
    """
    if asked.lacking:
        return _not_sizable(asked)
    asked.refuse_nonsense()
    upper, lower = _window(asked)
    values = _values(upper, lower)[::-1]  # the largest first: it has the least heat
    ratings = tuple(_candidate(asked, _resistance(ohms)) for ohms in values)
    own = next((p for p in parts if p.name == named and p.resistance is not None), None)
    candidates = ratings + tuple(_part_candidate(asked, part) for part in parts)
    if own is None:
        reference = _reference(ratings, values, upper)
    else:  # the figures are then those of the resistor that will be fitted
        reference = own.resistance
        asked = replace(asked, resistor_tolerance=own.tolerance or asked.resistor_tolerance)
    beside = _beside_words(asked, reference)
    return Item(
        key="precharge", title=TITLE,
        governing=_governing(asked, reference),
        duty=_duty(asked, reference, upper, lower, beside),
        specification=_specification(asked, reference, beside),
        candidates=candidates,
        open_items=_open_items(asked),
        notes=NOTES,
        checks=(*_duty_checks(asked, upper, lower), *(_ends(asked, own, beside) if own else ()),
                *named_part(named, candidates)),
    )


def _ends(asked: PrechargeAsked, part: ResistorPart, beside: str) -> tuple[Check, ...]:
    """Whether the bus comes up at all through the resistor that the brief names."""
    assert part.resistance is not None
    if _time(asked, *_slow_buses(asked, part.resistance)) is not None:
        return (Check("pre-charge ends", "fault range", NOT_EVALUATED, None, asked.timeout,
                      "at most", f"{BLEED_OPEN}; {beside}",
                      "a smaller resistance, or a discharge resistor that is switched in after "
                      "opening"),) if beside else ()
    awake = [load.name + f" ({OPEN_WAKING})" * load.supposed for load in asked.known_loads
             if load.power is not None]
    names = " and ".join(awake) or "the loads"
    return (Check("pre-charge ends", "fault range", FAIL, None, asked.timeout, "at most",
                  f"never: with {names} awake "
                  f"{part.name} cannot bring the bus to its level; every try runs into its "
                  "timeout, and a main contactor that closes all the same meets an empty bus",
                  "loads kept asleep until the main contactor has closed, or a smaller "
                  "resistance"),)


def _beside_words(asked: PrechargeAsked, resistance: Finding) -> str:
    """What the discharge resistor asked for does to the charge through a resistance.

    Empty where nothing fails beside it that does not fail without it, or one is told of.
    """
    beside = asked.beside_bleed
    if beside is None or not _failed(beside, resistance) - _failed(asked, resistance):
        return ""
    never = _time(beside, *_slow_buses(beside, resistance)) is None
    fits = next((c.name for c in (_candidate(beside, _resistance(ohms)) for ohms in
                                  _values(*_window(beside))[::-1]) if c.qualifies), "")
    return (f"beside a permanently connected discharge resistor of {asked.bleed_asked} the "
            f"pre-charge through {resistance.shown} {'never ends' if never else 'fails a check'}: "
            + (f"{fits}, or a " if fits else "no preferred value is left; a ")
            + "resistor that is switched in after opening")


def _failed(asked: PrechargeAsked, resistance: Finding) -> set[str]:
    """Titles of the checks that fail for what lies across the bus meanwhile."""
    held = _bus_checks(asked, resistance, _slow_buses(asked, resistance))
    return {check.title for checks in held for check in checks
            if check.verdict == FAIL}


def _not_sizable(asked: PrechargeAsked) -> Item:
    words = "; ".join(f.title for f in asked.lacking)
    asks = []
    if not asked.capacitance.known:
        asks.append("Bus capacitance: read it on the inverter's data sheet, add every other "
                    "capacitor on the bus, or measure the charging time through a known resistor.")
    asks += [f"{f.title}: give it in the brief." for f in asked.lacking if f is not
             asked.capacitance]
    names = ("a resistance charges the bus in time", "the loads let the bus come up",
             "resistor takes the failed pre-charge energy", "relay makes and breaks the current")
    checks = tuple(Check(name, "thermal load", NOT_EVALUATED, reason=f"not known: {words}")
                   for name in names)
    known = tuple(getattr(asked, f.name) for f in fields(asked)
                  if isinstance(getattr(asked, f.name), Finding) and getattr(asked, f.name).known)
    return Item("precharge", TITLE, f"not evaluated: {words} not known", known,
                open_items=tuple(asks), notes=NOTES, checks=checks)


def _window(asked: PrechargeAsked) -> tuple[Finding, Finding | None]:
    """Largest and smallest nominal resistance; the lower end needs a current limit."""
    by_time = trace(tr.resistance_for_time, "Largest resistance for the time limit, no load",
                    time=asked.time_limit, capacitance=asked.largest_capacitance,
                    level=asked.level)
    ends = [trace(tr.nominal_below, f"{end.title}, nominal", resistance=end,
                  tolerance=asked.resistor_tolerance) for end in (by_time, *_load_limits(asked))]
    ends += _in_time_with_loads(asked, smallest(ends, "Largest resistance to try"))
    upper = _or_less(asked, smallest(ends, "Upper end of the resistance window"))
    limit = asked.peak_current_limit
    if limit is None or not limit.known or limit.number <= 0:
        return upper, None
    least = trace(tr.least_resistance, "Least resistance for the peak current",
                  voltage=asked.highest_voltage, current=limit)
    return upper, trace(tr.nominal_above, "Lower end of the resistance window",
                        resistance=least, tolerance=asked.resistor_tolerance)


def _or_less(asked: PrechargeAsked, finding: Finding) -> Finding:
    """A value that is smaller with what is in no sum; itself where everything is."""
    why = "; ".join(filter(None, (asked.untold, asked.capacitance.untold_more)))
    return with_less(finding, why)


def _in_time_with_loads(asked: PrechargeAsked, most: Finding) -> list[Finding]:
    """The largest resistance that brings the bus up in time although the loads are awake.

    The time has no inverse with a load of constant power: the resistance is halved in on.
    """
    if not asked.known_loads:
        return []
    limit, low, high = asked.time_limit.number, 0.0, most.number
    tried, took = _trial(asked, high)
    for _ in range(HALVINGS if took is None or took.number > limit else 0):
        middle = (low + high) / 2
        resistance, time = _trial(asked, middle)
        if time is None or time.number > limit:
            high = middle
        else:
            low, tried, took = middle, resistance, time
    if took is None:
        return []
    return [trace(tr.resistance_from_trial, "Largest resistance for the time limit, loads awake",
                  trial=tried, time=took, limit=asked.time_limit)]


def _trial(asked: PrechargeAsked, ohms: float) -> tuple[Finding, Finding | None]:
    tried = leaf("Nominal resistance tried", "R_t", "Ω", ohms, "computed", source="packcalc-rule",
                 origin=Origin("halved in on the time limit"))
    return tried, _time(asked, *_slow_buses(asked, tried))


def _load_limits(asked: PrechargeAsked) -> list[Finding]:
    """At each waking voltage and at the level the resistor must carry the awake loads."""
    limits = []
    for bus in _slow_buses(asked, _resistance(1.0)):
        for mark in bus.marks():
            power, conductance = bus.power(mark.number), bus.conductance(mark.number)
            if power.number + conductance.number > 0:
                limits.append(trace(
                    tr.carrying_resistance, f"Largest resistance that carries the loads at "
                    f"{mark.shown} of {bus.voltage.shown}", voltage=bus.voltage,
                    bus_voltage=mark, power=power, conductance=conductance))
    return limits


def _slow_buses(asked: PrechargeAsked, resistance: Finding) -> tuple[LoadedBus, LoadedBus]:
    """The slow corner at the lowest and at the highest battery voltage."""
    slow = trace(tr.largest_resistance, "Pre-charge resistance, upper tolerance",
                 resistance=resistance, tolerance=asked.resistor_tolerance)
    capacitance = asked.largest_capacitance
    return tuple(LoadedBus(v, slow, capacitance, asked.level, asked.known_loads)
                 for v in (asked.lowest_voltage, asked.highest_voltage))


def preferred_values(class_: str = "E12") -> list[float]:
    """Preferred resistances over all decades offered (IEC 60063).

    Examples:
        >>> [v for v in preferred_values() if 30 < v < 60]
        [33.0, 39.0, 47.0, 56.0]
    """
    decade = sorted(row["value"] for row in table("preferred_resistors").rows
                    if class_ == "E24" or row["class"] == class_)
    steps = range(round(math.log10(LOWEST_RESISTANCE)), round(math.log10(HIGHEST_RESISTANCE)))
    return [round(value * 10.0 ** step, 6) for step in steps for value in decade]


def _values(upper: Finding, lower: Finding | None) -> list[float]:
    """E12 values between the ends and one beyond each, at most a decade below the upper."""
    values = preferred_values()
    ends = [upper.number] if lower is None else sorted((lower.number, upper.number))
    top = max((i for i, v in enumerate(values) if v <= ends[-1]), default=0)
    below = max((i for i, v in enumerate(values) if v < ends[0]), default=0)
    bottom = max(below, top - VALUES_BELOW) if lower is not None else top - VALUES_BELOW
    return values[max(0, bottom):top + 2]


def _resistance(ohms: float) -> Finding:
    return leaf("Pre-charge resistance", "R", "Ω", ohms, table("preferred_resistors").basis,
                source=table("preferred_resistors").source,
                origin=Origin("table preferred_resistors", key="E12",
                              text=significant(ohms, 2) + " Ω"))


def _fast(asked: PrechargeAsked, resistance: Finding) -> Finding:
    return trace(tr.smallest_resistance, "Pre-charge resistance, lower tolerance",
                 resistance=resistance, tolerance=asked.resistor_tolerance)


def _candidate(asked: PrechargeAsked, resistance: Finding) -> Candidate:
    buses = _slow_buses(asked, resistance)
    time, heat = _time(asked, *buses), _heat(asked, resistance)
    loads, times = _bus_checks(asked, resistance, buses)
    checks = [_voltage_check(asked), _peak_check(asked, heat["peak"]),
              _breaking_check(asked, heat["peak"]), *loads, _energy_check(asked, heat), *times]
    facts = (
        figure_fact("time to the level, slow corner", "s", time, "never"),
        figure_fact("peak current", "A", heat["peak"]),
        figure_fact("peak power", "W", heat["power"]),
        figure_fact("energy of a normal charge", "J", heat["normal"]),
        figure_fact("energy of the failed tries", "J", heat["failed"]),
        figure_fact("slope limit to close", "V/s", _slope(asked, resistance)),
    )
    return Candidate(f"{significant(resistance.number, 2)} Ω", tuple(_once(checks)), facts)


def _bus_checks(asked: PrechargeAsked, resistance: Finding,
                buses: tuple[LoadedBus, LoadedBus]) -> tuple[list[Check], list[Check]]:
    """What lies across the bus, held against the resistance; the times to the level."""
    time = _time(asked, *buses)
    loads = [_all_told(asked, _on_its_word(asked, check))
             for bus in buses for check in load_checks(bus)]
    times = [_time_check(asked, time, asked.time_limit, "bus reaches the level in time"),
             _time_check(asked, time, asked.timeout, "timeout is longer than a slow charge")]
    beside = asked.beside_bleed
    if beside is None:
        return loads, times
    known = {c.title: c for c in _once([c for part in _bus_checks(
        beside, resistance, _slow_buses(beside, resistance)) for c in part])}
    loads, times = ([_told_beside(asked, check, known.get(check.title)) for check in part]
                    for part in (loads, times))
    return loads, times


def _told_beside(asked: PrechargeAsked, check: Check, known: Check | None) -> Check:
    """A check that is not evaluated and fails beside the discharge resistor asked for says so."""
    if known is None or known.verdict != FAIL or check.verdict == FAIL:
        return check
    found = known.figure
    shown = found.shown if found is not None and found.known else "never"
    words = f"it fails beside a permanently connected one of {asked.bleed_asked}: {shown}"
    return replace(check, reason="; ".join(w for w in (check.reason, words) if w))


def _on_its_word(asked: PrechargeAsked, check: Check) -> Check:
    """A load that draws less asleep than its branch once it runs: its maker must say so."""
    for load in asked.known_loads:
        runs = next((power for name, power in asked.awake if name == load.name), None)
        if runs is None or load.power is None or check.title != wakes_title(load.name) \
                or check.verdict != PASS or (runs.known and load.power.number >= runs.number):
            continue
        draws = f"draws {runs.shown}" if runs.known else "draws nobody knows how much"
        return replace(check, verdict=CAUTION, reason=(
            f"needs its maker's word: {load.power.shown} are counted before it is told to run, and "
            f"the branch of this name {draws}, with which the charge may stop"),
            remedy=f"the maker of {load.name} states what it draws from {load.wakes_at.shown} on "
                   "until it is told to run; or it is kept asleep by wire")
    return check


def _all_told(asked: PrechargeAsked, check: Check) -> Check:
    """What is in no sum pulls the bus down as well: neither a pass nor a caution is shown."""
    why = asked.held_down
    if not why:
        return check
    held = on_an_open_entry(check, why)
    return replace(held, verdict=NOT_EVALUATED) if held.verdict == CAUTION else held


def _part_candidate(asked: PrechargeAsked, part: ResistorPart) -> Candidate:
    """One resistor of the user's list: the checks of its value, with its sheet's figures."""
    if part.resistance is None:
        check = Check("resistance", "thermal load", NOT_EVALUATED,
                      reason=f"{SILENT}the resistance")
        return Candidate(part.name, (voltage_check(part, asked.highest_voltage, _RATED), check),
                         own=True)
    own = replace(asked, resistor_tolerance=part.tolerance or asked.resistor_tolerance)
    value = _candidate(own, part.resistance)
    heat = _heat(own, part.resistance)
    ours = {"resistor, relay and wiring rated above the highest working voltage":
            voltage_check(part, asked.highest_voltage, _RATED),
            "resistor takes the failed pre-charge energy": _part_energy(own, part, heat)}
    checks = tuple(ours.get(check.title, check) for check in value.checks) + (
        _part_power(own, part, heat), _part_ambient(own, part))
    facts = (figure_fact("resistance", "Ω", part.resistance), *value.facts, *remark(part))
    return Candidate(part.name, checks, facts, own=True)


_RATED = "resistor rated above the highest working voltage"


def _part_energy(asked: PrechargeAsked, part: ResistorPart, heat: dict[str, Finding]) -> Check:
    title = "resistor takes the failed pre-charge energy"
    tries = in_a_row(asked.timeout, asked.tries)
    allowed = stepped(part.pulse_energy, tries, upper=False,
                      title="energy of the longest stated pulse that is no longer")
    return judge(title, "thermal load", allowed, "at least", heat["failed"],
                 missing=f"{SILENT}the energy of a pulse of {tries.shown} or shorter, as mounted",
                 reason="all tries as one pulse, without cooling",
                 remedy="a shorter timeout, fewer tries, a larger resistor")


def _part_power(asked: PrechargeAsked, part: ResistorPart, heat: dict[str, Finding]) -> Check:
    held = judge("rated power covers charge after charge", "thermal load", part.rated_power,
                 "at least", _mean_power(asked, heat),
                 missing=f"{SILENT}the rated power as mounted",
                 reason="a normal charge every timeout, for ever",
                 remedy="a larger resistor, or a rest between charges")
    return on_an_open_entry(held, TIMEOUT_OPEN) if asked.timeout_open else held


def _part_ambient(asked: PrechargeAsked, part: ResistorPart) -> Check:
    return judge("rated power holds at this ambient", "thermal load", part.highest_ambient,
                 "at least", asked.ambient,
                 missing=f"{SILENT}the ambient up to which its rated power holds"
                 if part.highest_ambient is None else "air around the resistor is not known",
                 remedy="a cooler place, or the maker's derated figure")


def _mean_power(asked: PrechargeAsked, heat: dict[str, Finding]) -> Finding:
    return asked.as_told(trace(
        tr.mean_power, "Mean power of normal charges, one each timeout", energy=heat["normal"],
        events=leaf("Events", "n", "", 1.0, "definition"), duration=asked.timeout,
        note="charges that follow each other at once after a full discharge"))


def _once(checks: Sequence[Check]) -> list[Check]:
    """Of checks with one title the gravest: the load tests at two battery voltages."""
    gravest: dict[str, Check] = {}
    for check in checks:
        held = gravest.get(check.title)
        if held is None or (check.verdict == FAIL and held.verdict != FAIL):
            gravest[check.title] = check
    return list(gravest.values())


def _time(asked: PrechargeAsked, low: LoadedBus, high: LoadedBus) -> Finding | None:
    """To the level, the slower of both; at least that while what a load draws is not known."""
    times = [low.time, high.time]
    known = [time for time in times if time is not None]
    if len(known) < 2:
        return None
    slow, untold = max(known, key=lambda time: time.number), asked.untold
    return slow.called(LEVEL_TIME, note=f"{AT_LEAST}: {untold}") if untold else \
        slow.called(LEVEL_TIME)


def _heat(asked: PrechargeAsked, resistance: Finding) -> dict[str, Finding]:
    """Currents, powers and energies at highest voltage and lower tolerance."""
    fast, volts = _fast(asked, resistance), asked.highest_voltage
    normal = asked.as_told(trace(
        tr.capacitor_energy, NORMAL, capacitance=asked.largest_capacitance, voltage=volts,
        note="from an empty bus to the full voltage; loads add to it, bounded by the failed "
             "charge"))
    failed = trace(tr.failed_charge_energy, FAILED, voltage=volts,
                   resistance=fast, timeout=asked.timeout, tries=asked.tries,
                   note="bus short-circuited; tries follow each other without cooling")
    return {
        "failed": failed, "normal": normal,
        "power": trace(tr.resistor_power, "Peak power in the resistor", symbol="P_peak",
                       voltage=volts, resistance=fast,
                       note="also the mean power while failed tries follow without rest"),
        "peak": trace(tr.current_at, PEAK, symbol="I_peak",
                      voltage=volts, resistance=fast),
    }


def in_a_row(timeout: Finding, tries: Finding) -> Finding:
    """How long the resistor carries its peak current when every try fails."""
    return leaf("length of all failed tries in a row", "t", "s", timeout.number * tries.number,
                "definition", origin=Origin("tries times timeout"))


def _tries(asked: PrechargeAsked) -> str:
    return f"{asked.tries.number:g}"


def _voltage_check(asked: PrechargeAsked) -> Check:
    return judge("resistor, relay and wiring rated above the highest working voltage",
                 "highest voltage", None, "above", asked.highest_voltage,
                 missing="ask the makers of resistor and relay for the rated DC voltage "
                         f"(above {asked.highest_voltage.least}{asked.highest_voltage.shown})")


def _peak_check(asked: PrechargeAsked, peak: Finding) -> Check:
    return judge("peak current within what relay and resistor may make", "fault range", peak,
                 "at most", asked.peak_current_limit,
                 missing=f"ask the relay's maker for the current it may make: {peak.shown} at "
                         f"{asked.highest_voltage.shown} DC into an empty capacitor",
                 remedy="a larger resistance")


def _breaking_check(asked: PrechargeAsked, peak: Finding) -> Check:
    return judge("relay breaks the current of a failed pre-charge", "who clears",
                 asked.relay.break_discharge if asked.relay is not None else None,
                 "at least", peak,
                 missing=f"ask the relay's maker whether it breaks {peak.shown} at "
                         f"{asked.highest_voltage.shown} DC, {_tries(asked)} times in a row; "
                         "a failed pre-charge is interrupted by this relay")


def _energy_check(asked: PrechargeAsked, heat: dict[str, Finding]) -> Check:
    return judge("resistor takes the failed pre-charge energy", "thermal load", None, "at least",
                 heat["failed"],
                 missing=f"ask the resistor's maker for the energy allowed in {_tries(asked)} "
                         f"pulses of {asked.timeout.shown} ({heat['failed'].shown} in all, "
                         f"{heat['power'].shown} peak) as mounted{_air(asked.ambient)}; no "
                         "multiple of rated power is assumed",
                 remedy="a shorter timeout, fewer tries, a larger resistance")


def _time_check(asked: PrechargeAsked, time: Finding | None, limit: Finding,
                title: str) -> Check:
    if time is None:
        return Check(title, "convenience", FAIL, None, limit, "at most",
                     "never reached: the loads take the whole current of the resistor before the "
                     "level (see the load checks)", "a smaller resistance, or loads kept asleep")
    held = judge(title, "convenience", with_more(time, asked.capacitance.untold_more), "at most",
                 limit, remedy="a smaller resistance")
    if held.verdict != FAIL and asked.untold:
        held = replace(held, verdict=NOT_EVALUATED, remedy="", reason=asked.held_down)
    return on_an_open_entry(held, TIMEOUT_OPEN) if limit is asked.timeout and asked.timeout_open \
        else held


def _slope(asked: PrechargeAsked, resistance: Finding) -> Finding:
    slow = _slow_buses(asked, resistance)[0]
    return trace(tr.level_slope, "Slope limit to close, at the lowest battery voltage",
                 voltage=asked.lowest_voltage, level=asked.level, resistance=slow.resistance,
                 capacitance=slow.capacitance,
                 note="above the level and at or below this slope the remaining voltage is small "
                      "whatever the tolerances of the parts; scale it with the measured battery "
                      "voltage")


def _held(asked: PrechargeAsked, resistance: Finding) -> Finding | None:
    """The slope under which a bus below its level counts as held; None where it hangs."""
    slow = _slow_buses(asked, resistance)[0].smallest_slope()
    if slow.number <= 0 or _time(asked, *_slow_buses(asked, resistance)) is None:
        return None
    return _or_less(asked, trace(
        tr.half_slope, "Slope under which a bus below the level counts as held", slope=slow,
        note="half of the smallest slope of a healthy bus with its known loads (our rule)"))


def _reference(candidates: Sequence[Candidate], values: Sequence[float],
               upper: Finding) -> Finding:
    """The largest value without a failed check, else the largest below the window's end."""
    passed = [v for v, c in zip(values, candidates, strict=True) if c.qualifies]
    below = [v for v in values if v <= upper.number] or [min(values)]
    return _resistance(max(passed or below))


def _governing(asked: PrechargeAsked, reference: Finding) -> str:
    heat = _heat(asked, reference)
    failed, normal = heat["failed"], heat["normal"]
    which = "a failed pre-charge" if failed.number > normal.number else "a normal charge"
    return (f"{which} governs the resistor: {failed.shown} in {_tries(asked)} tries of "
            f"{asked.timeout.shown} at {asked.highest_voltage.shown} and {reference.shown} less "
            f"its tolerance, against {normal.shown} for a normal charge, which is the same for "
            "every resistance")


def _duty(asked: PrechargeAsked, reference: Finding, upper: Finding, lower: Finding | None,
          beside: str) -> tuple[Finding, ...]:
    heat = _heat(asked, reference)
    events = _mean_power(asked, heat)
    time = _time(asked, *_slow_buses(asked, reference))
    lines = [heat["failed"] if heat["failed"].number >= heat["normal"].number else heat["normal"]]
    lines += [f for f in (heat["normal"], heat["failed"]) if f is not lines[0]]
    lines += [heat["power"], heat["peak"], events, upper]
    lines += [f for f in (lower, time) if f is not None]
    lines += [f for f in (_held(asked, reference),) if f is not None]
    lines += [_slope(asked, reference),
              trace(tr.closing_difference, "Voltage left when the main closes",
                    voltage=asked.highest_voltage, level=asked.level)]
    return (*lines, *_discharge(asked, beside))


def _discharge(asked: PrechargeAsked, beside: str) -> tuple[Finding, ...]:
    """What a bleed resistor across the bus would need, and what it does to the pre-charge."""
    bleed = asked.largest_bleed
    if bleed is None:
        return ()
    lost = trace(tr.resistor_power, "Power of that bleed resistor if it stays on the bus",
                 symbol="P_b", voltage=asked.highest_voltage, resistance=bleed)
    told = "; ".join(filter(None, (beside, bleed.note)))
    return bleed.called(note=told), lost


def _specification(asked: PrechargeAsked, reference: Finding,
                   beside: str) -> tuple[Requirement, ...]:
    heat = _heat(asked, reference)
    volts = asked.highest_voltage.least + asked.highest_voltage.shown
    return (
        Requirement("resistor: resistance and tolerance",
                    f"{reference.shown} ± {asked.resistor_tolerance.shown}",
                    "largest candidate without a failed check, or the largest under the window's "
                    "upper end when every candidate fails" + (f"; {beside}" if beside else "")),
        Requirement("resistor: energy", f"{heat['failed'].shown} in {_tries(asked)} pulses of "
                    f"{asked.timeout.shown} without rest, {heat['power'].shown} each, as mounted"
                    f"{_air(asked.ambient)}", "failed pre-charge, stated by its maker"),
        Requirement("resistor: rated power", f"at least {_mean_power(asked, heat).shown} as "
                    f"mounted{_air(asked.ambient)}", "a normal charge every timeout, for ever"
                    ).resting_on(_mean_power(asked, heat)),
        Requirement("resistor: voltage and type", f"above {volts} DC, wirewound or stated pulse "
                    "type, no PTC", "the whole voltage stands across it at closing"),
        *relay_rows(heat["peak"], asked.highest_voltage, in_a_row(asked.timeout, asked.tries),
                    asked.tries, asked.ambient, _relay_constant(asked, reference)),
        *_control(asked, reference),
    )


def _relay_constant(asked: PrechargeAsked, reference: Finding) -> Finding | None:
    """L/R of a failed pre-charge, which the relay breaks."""
    return None if asked.inductance is None else with_more(trace(
        loop_time_constant, inductance=asked.inductance, resistance=_fast(asked, reference)),
        asked.inductance.untold_more)


def relay_rows(peak: Finding, voltage: Finding, whole: Finding, tries: Finding,
               ambient: Finding | None, constant: Finding | None) -> tuple[Requirement, ...]:
    """What a pre-charge relay is bought to, whether or not one is named.

    Args:
        peak: largest current through the resistor.
        voltage: highest working voltage.
        whole: length of all failed tries in a row.
        tries: how many.
        ambient: air around it, or None.
        constant: L/R of what it breaks, or None.
    """
    volts = voltage.least + voltage.shown
    inductive = f", L/R at least {rounded(constant, True)}" if constant is not None else ""
    return (
        Requirement("relay: voltage", f"one pole above {volts} DC"),
        Requirement("relay: makes", f"{peak.shown} at {volts} DC into an empty capacitor"),
        Requirement("relay: breaks", f"{peak.shown} at {volts} DC{inductive}, {tries.number:g} "
                    "times in a row, either way round, or say the marked direction",
                    "it interrupts a failed pre-charge").resting_on(constant),
        Requirement("relay: carries", f"{peak.shown} for {whole.shown}{_air(ambient)}",
                    "every try of a failed pre-charge"),
    )


def _air(ambient: Finding | None) -> str:
    return f" at an ambient of {ambient.shown}" if ambient is not None and ambient.known \
        else " at the given ambient"


def _control(asked: PrechargeAsked, reference: Finding) -> tuple[Requirement, ...]:
    slope, held = _slope(asked, reference), _held(asked, reference)
    finest = held or slope
    early = f"; at once when the slope is under {held.shown} below the level" if held else ""
    return (
        Requirement("control: close the main", f"at {asked.level.shown} of the measured battery "
                    f"voltage AND at or below {slope.shown}", slope.note),
        Requirement("control: give up", f"after {asked.timeout.shown}{early}; no more than "
                    f"{_tries(asked)} tries, then a rest that the resistor's maker states",
                    "a bus held by a load or a short has no slope; a current that stays near its "
                    "first value means a short"),
        Requirement("control: measure", f"{_over_tenth(finest)} over 0.1 s",
                    "what the bus voltage measurement must resolve to see the smaller slope"),
    )


def _over_tenth(slope: Finding) -> str:
    """The change of voltage in a tenth of a second at a slope, as text."""
    tenth = leaf("Time between two readings", "t", "s", 0.1, "assumed", source="packcalc-rule")
    return trace(tr.change_in_time, slope=slope, time=tenth).shown


def _open_items(asked: PrechargeAsked) -> tuple[str, ...]:
    asks = [f"Resistor: energy allowed in the failed pre-charge{_air(asked.ambient)} (its maker)."]
    if asked.relay is None:
        asks.append("Relay: current it makes and breaks at the highest working voltage (its "
                    "maker).")
    for load in asked.loads:
        if not (load.known and load.wakes_at.known):
            asks.insert(0, f"{load.name}: what it draws and at which bus voltage it wakes (its "
                           "maker, or a slow ramp on the bench).")
    return tuple(asks)


def _window_check(upper: Finding, lower: Finding) -> Check:
    return judge("a resistance exists between the time and the current limit", "fault range",
                 upper, "at least", lower, remedy="more time, a smaller level, loads kept asleep, "
                 "or a relay that makes more current")


def _duty_checks(asked: PrechargeAsked, upper: Finding, lower: Finding | None) -> tuple[Check, ...]:
    checks = []
    if lower is not None:
        beside = asked.beside_bleed
        checks.append(_told_beside(asked, _window_check(upper, lower),
                                   beside and _window_check(_window(beside)[0], lower)))
    for load in asked.loads:
        if not load.known:
            checks.append(Check(f"{load.name} lets the bus come up", "thermal load", NOT_EVALUATED,
                                reason="what it draws on the bus is not known and in no sum; ask "
                                       "its maker, and give its power, or as [[precharge.load]] "
                                       "its resistance"))
    target = asked.level.number * asked.lowest_voltage.number
    for load in asked.known_loads:
        if load.wakes_at.number > target:
            checks.append(Check(f"{load.name} stays asleep until the main has closed",
                                "thermal load", CAUTION,
                                reason=f"it wakes at {load.wakes_at.shown}, above the level at the "
                                       "lowest battery voltage: a late main contactor finds the "
                                       "bus loaded"))
    return tuple(checks)
