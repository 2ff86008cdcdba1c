"""Isolation and distances: the second stage of the order of checks.

Isolation resistance by the highest working voltage, leakages of modules added in
parallel, set points of a monitor that sees both poles at once, energy of the Y capacitors,
creepage and clearance after IEC 60664-1, gloves, discharge and sections for service.
"""

from __future__ import annotations

from packcalc import isolation_formulas as iso
from packcalc import transients as tr
from packcalc.bench.rules import module_isolation_line
from packcalc.bench.stored import of_pack
from packcalc.brief import Brief
from packcalc.brief_keys import key
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, Item, Requirement, judge
from packcalc.distances import (
    DOUBLED,
    clearance,
    creepage,
    glove_class,
    impulse_voltage,
    reinforced_impulse,
    scaled_distance,
)
from packcalc.electrical import series_voltage
from packcalc.errors import OutOfRange
from packcalc.findings import (
    AT_LEAST, BOUNDED, Finding, Origin, largest, leaf, trace, with_more,
)
from packcalc.pack import PackModel
from packcalc.pack_charging import full_module, within
from packcalc.part_checks.shown import never_above
from packcalc.part_checks.touch import BORDER, JOINED, touch_checks, touch_lines
from packcalc.units import into_si
from packcalc.value import replace, value_object

TITLE = "Isolation, distances, stored energy and gloves"
STAGE = "isolation and distance"
RULE = Origin("rule")
WARNS_ALONE = "the brief says that the monitor warns: at this reading nothing opens"
MONITOR_OPEN = "what the monitor does at this reading is left open: nobody is counted as opening"
IIIB_LIMIT = 630.0  # V; remembered, and only ever a caution
LARGER_SECTION = "voltage of the larger section, disconnect out"
NOT_KNOWN = "for the highest voltage is not known"

DC_ALONE = leaf("isolation demanded of a DC circuit by itself", "r", "Ω/V", 100.0, "read",
                source="un-r100", origin=Origin("paragraph 5.1.3.1"))
ENERGY_LIMIT = leaf("energy that a touch may meet", "E", "J", 0.2, "read", source="iso-6469-4-2015",
                    origin=Origin("clause 5.2.3"))
DISCHARGE_TIME = leaf("time to fall below the border", "t", "s", 5.0, "read",
                      source="formula-sae-rules-2026", origin=Origin("EV.7.2.2"),
                      note="the law where the vehicle is registered may differ")
SECTION_VOLTAGE = leaf("voltage of a section opened for service", "U", "V", 120.0, "read",
                       source="formula-sae-rules-2014", origin=Origin("EV3.3.3"))
SECTION_ENERGY = leaf("energy of a section opened for service", "E", "MJ", 6e6, "read",
                      source="formula-sae-rules-2014", origin=Origin("EV3.3.3"))
HALF = leaf("share of the voltage on each pole of a balanced pack", "x", "%", 0.5, "definition",
            origin=RULE)

NOTES = (
    "Treat both poles as live to chassis: a first fault is silent and makes the second lethal.",
    "Leakages of modules add in parallel: each module passing the demand on its own says nothing "
    "of the pack.",
    "The two-voltmeter test gives the lower of the two poles; an isolation monitor reads both "
    "poles in parallel, which is never more than the lower pole. A monitor set at the demand "
    "therefore misses nothing and may warn where the test still passes (two poles at twice the "
    "demand or less each).",
    "Body current from Y capacitors is not limited by isolation resistance (ISO 6469-4 5.2.3 "
    "[iso-6469-4-2015]).",
    "Isolation protects nobody who can touch both poles.",
    "Distances hold for clean geometry as built: swarf, a bent busbar or a cable tie across a gap "
    "undoes them. The reviewer picks overvoltage category and pollution degree. A ribbed surface "
    "is given no allowance here; the row above the voltage is taken, never interpolated. "
    "Reinforced clearance: the row of the next preferred impulse step, or of 160 % where that is "
    "more; the standard's own sentence was not seen.",
    "60 V is a shock limit only: one module still feeds a burn, and every pack has parts between "
    "its modules that nothing switches off.",
)


# --- figures that rise with a voltage of which more may be true -----------------------

def as_open(item: Finding) -> str:
    """Note of a figure that rises with another: where that is a lower bound, so is this."""
    if not item.at_least:
        return ""
    return f"{AT_LEAST}: the {item.title} may be more" if item.may_be_more else \
        f"{AT_LEAST}, {BOUNDED}: what is open of the {item.title}"


def or_more(item: Finding) -> str:
    """A figure as printed, and whether more may be true."""
    return f"{item.shown} or more" if item.at_least else item.shown


def _noted(item: Finding, *words: str) -> Finding:
    """The same figure with further words before its note."""
    return item.called(note="; ".join(filter(None, (*words, item.note))))


def _risen(item: Finding, by: Finding) -> Finding:
    """The same figure, which rises with another: no pass rests on it where that may be more."""
    return with_more(_noted(item, as_open(by)), _untold(by))


def _untold(item: Finding) -> str:
    """Of a figure of which more may be true: that; else empty."""
    return f"the {item.title} may be more" if item.or_more else ""


# --- what is asked and what comes out -------------------------------------------------

@value_object
class InsulationAsked:
    """What isolation and distances stand on; findings from `y_capacitance` on may lack a value.

    Attributes:
        voltage: highest working voltage of the chain.
        modules: modules in the pack, all strings.
        series: modules in series.
        module_voltage: of one full module with the charger's tolerance, highest type.
        energy: of the full pack, at most.
        pollution_degree, altitude: findings; group, category: as IEC 60664-1 names them.
        capacitance: of the DC link, upper tolerance.
        y_capacitance: from one pole to chassis.
        module_resistance: isolation of one module, lowest measured.
        creepage, clearance: shortest measured.
        discharge_resistance, discharge_tolerance: across the DC link.
        leakage_share: of the allowed leakage that the modules may use up.
        disconnect_after: modules below the service disconnect; 0 for none.
        warn, trip: readings at which the isolation monitor acts.
        opens: whether the monitor opens the contactors; one that warns opens nothing.
        not_opening: why it does not, in words.
    """

    voltage: Finding
    modules: Finding
    series: Finding
    module_voltage: Finding
    energy: Finding
    pollution_degree: Finding
    altitude: Finding
    group: str
    category: str
    capacitance: Finding
    y_capacitance: Finding
    module_resistance: Finding
    creepage: Finding
    clearance: Finding
    discharge_resistance: Finding
    disconnect_after: Finding
    warn: Finding
    trip: Finding
    discharge_tolerance: Finding
    leakage_share: Finding
    opens: bool = True
    not_opening: str = WARNS_ALONE


@value_object
class Distances:
    """Distances demanded; None where the tables end below the voltage.

    Attributes:
        creepage, clearance: basic insulation.
        creepage_reinforced, clearance_reinforced: reinforced insulation.
        refusal: why there are none.
    """

    creepage: Finding | None = None
    clearance: Finding | None = None
    creepage_reinforced: Finding | None = None
    clearance_reinforced: Finding | None = None
    refusal: str = ""

    @property
    def known(self) -> tuple[Finding, ...]:
        found = (self.creepage, self.clearance, self.creepage_reinforced,
                 self.clearance_reinforced)
        return tuple(f for f in found if f is not None)


@value_object
class InsulationResult:
    """Everything of the second stage.

    Attributes:
        joined, dc_alone: isolation demanded.
        distances: creepage and clearance.
        gloves: class in words, "or higher" beside a lower bound; "" where no class reaches.
        sections: modules that may stay joined under 60 V; 0 is "not reachable".
        item: as put to the reviewer.
    """

    joined: Finding
    dc_alone: Finding
    distances: Distances
    gloves: str
    sections: Finding
    item: Item


def module_voltage(brief: Brief, pack: PackModel) -> Finding:
    """Voltage of one full module with the charger's tolerance, the highest of the types."""
    return largest([full_module(brief, brief.modules[part.entry]) for part in pack.layout.parts],
                   "voltage of one full module")


def insulation_asked(brief: Brief, pack: PackModel, highest: Finding) -> InsulationAsked:
    """Gather the entries from a brief and a pack.

    Args:
        brief: what is asked.
        pack: the layout at its corners.
        highest: highest working voltage of the over-voltage chain.
    """
    own, link = brief.insulation, brief.inverter
    return InsulationAsked(
        voltage=highest, modules=leaf("modules in the pack", "N", "", pack.modules_used,
                                      "definition", origin=Origin("layout")),
        series=pack.series, module_voltage=module_voltage(brief, pack), energy=of_pack(brief, pack),
        pollution_degree=own.pollution_degree, altitude=own.altitude, group=own.material_group,
        category=own.overvoltage_category,
        capacitance=trace(tr.largest_capacitance, capacitance=link.dc_link_capacitance,
                          tolerance=link.dc_link_tolerance),
        y_capacitance=own.y_capacitance, module_resistance=own.module_resistance,
        creepage=own.creepage, clearance=own.clearance,
        discharge_resistance=link.discharge_resistance,
        disconnect_after=brief.pack.disconnect_after,
        warn=brief.management.isolation_warn, trip=brief.management.isolation_trip,
        discharge_tolerance=link.discharge_tolerance,
        leakage_share=brief.bench.isolation_share if brief.bench else _share_of_modules(),
        opens=brief.path.insulation_monitor == "opens the contactors",
        not_opening=WARNS_ALONE if brief.path.insulation_monitor == "warns" else MONITOR_OPEN)


def _share_of_modules() -> Finding:
    """The bench's default, where the brief has no [bench]."""
    entry = key("bench.isolation_share")
    return leaf(entry.title, entry.symbol, entry.unit,
                float(into_si(float(entry.safe or 0.0), entry.unit)), entry.basis,
                source=entry.source, origin=RULE, note=entry.consequence)


def study_insulation(asked: InsulationAsked) -> InsulationResult:
    """Everything of the second stage for one pack."""
    joined = _risen(trace(iso.isolation_demand, "isolation demanded, inverter joined",
                          per_volt=JOINED, voltage=asked.voltage), asked.voltage)
    alone = _risen(trace(iso.isolation_demand, "isolation demanded, DC side by itself",
                         per_volt=DC_ALONE, voltage=asked.voltage), asked.voltage)
    distances = _distances(asked)
    gloves, glove_limit, refusal = _gloves(asked.voltage)
    sections = trace(iso.modules_under, "modules that may stay joined under 60 V", limit=BORDER,
                     module_voltage=asked.module_voltage)
    energy = _touch_energies(asked)
    checks = (*_isolation_checks(asked, joined, alone), *_energy_checks(asked, energy),
              *_distance_checks(asked, distances), _glove_check(asked, glove_limit, refusal),
              *_discharge_checks(asked), *_section_checks(asked, sections),
              *touch_checks(asked.voltage, _discharge_known(asked)))
    duty = (joined, alone, *_isolation_duty(asked, joined), *energy, *distances.known,
            *_discharge_duty(asked), sections, *_section_duty(asked))
    item = Item(key="insulation", title=TITLE,
                governing=f"highest working voltage {asked.voltage.shown}", duty=duty,
                specification=_specification(asked, joined, alone, distances, gloves),
                open_items=_open_items(asked), notes=NOTES, checks=checks)
    return InsulationResult(joined, alone, distances, gloves, sections, item)


# --- isolation resistance -------------------------------------------------------------

def _isolation_duty(asked: InsulationAsked, joined: Finding) -> tuple[Finding, ...]:
    found = [trace(iso.touch_current, "current through a touch at 500 Ω/V", per_volt=JOINED),
             trace(iso.touch_current, "current through a touch at 100 Ω/V", per_volt=DC_ALONE),
             _need(asked, joined), _line(asked, joined), _noted(trace(
                 tr.parallel_resistance, "monitor's reading with both poles just at the demand",
                 symbol="R_w", unit="kΩ", resistance=joined, load_resistance=joined,
                 note="half the demand: it warns although the two-voltmeter test still passes; a "
                      "set point this low would miss a single pole at less than the demand"),
                 as_open(joined))]
    if asked.module_resistance.known:
        found.append(_modules_together(asked))
    return tuple(found)


def _modules_together(asked: InsulationAsked) -> Finding:
    return trace(iso.modules_in_parallel, "isolation of all modules together",
                 resistance=asked.module_resistance, count=asked.modules,
                 note="the lowest module counted for all; cables, inverter and monitor come on top")


def _need(asked: InsulationAsked, joined: Finding) -> Finding:
    """Share of one module: leakages of all add in parallel, nothing else leaking."""
    return _risen(trace(iso.module_isolation, "isolation that each module must have",
                        isolation=joined, count=asked.modules,
                        note="nothing but the modules leaking"), joined)


def _line(asked: InsulationAsked, joined: Finding) -> Finding:
    """Share of one module with room left for what else leaks."""
    return _risen(trace(
        module_isolation_line, "isolation that each module must have, with room for the rest",
        pack_need=joined, modules=asked.modules, share=asked.leakage_share), joined)


def _share_check(asked: InsulationAsked, line: Finding) -> Check:
    title = "each module leaves room for cables, inverter, charger and heater"
    held = judge(title, STAGE, asked.module_resistance, "at least", line,
                 missing=f"measure every module to its case at 500 V: {or_more(line)} each",
                 remedy="replace or dry the lowest modules; insulating plates under them")
    if held.verdict == FAIL:
        return replace(held, verdict=CAUTION, reason="the modules use up more than their share of "
                       "the leakage that the whole circuit is allowed")
    return held


def _isolation_checks(asked: InsulationAsked, joined: Finding,
                      alone: Finding) -> tuple[Check, ...]:
    together = _modules_together(asked) if asked.module_resistance.known else None
    need, line = _need(asked, joined), _line(asked, joined)
    return (
        judge("modules together reach the isolation demanded", STAGE, together, "at least", joined,
              missing=f"measure every module to its case at 500 V: each needs {or_more(need)} "
                      f"for {or_more(joined)} together",
              remedy="replace or dry the lowest modules; insulating plates under them"),
        _share_check(asked, line),
        judge("isolation monitor warns no later than at 500 Ω/V", STAGE, asked.warn, "at least",
              joined, missing=f"set it to {_or_above(joined)}; it reads both poles in parallel",
              remedy=f"a warning at {or_more(joined)} plus the monitor's own error"),
        _opens_at(asked, alone),
    )


def _or_above(demand: Finding) -> str:
    """A set point: at the demand or above it; that the demand itself may be more is no leave."""
    return f"at least {demand.shown}, or more, {NOT_KNOWN}" if demand.at_least else \
        f"{demand.shown} or above"


def _opens_at(asked: InsulationAsked, alone: Finding) -> Check:
    """A reading to open at is no pass while the monitor only warns."""
    check = judge("isolation monitor opens contactors no later than at 100 Ω/V", STAGE, asked.trip,
                  "at least", alone,
                  missing=f"set it to {_or_above(alone)}; it reads both poles in parallel",
                  remedy=f"a trip at {or_more(alone)} plus the monitor's own error")
    if asked.opens or check.verdict == FAIL or not asked.trip.known:
        return check
    if check.verdict != PASS:
        return replace(check, reason=f"{asked.not_opening}; {check.reason}")
    return replace(check, verdict=CAUTION, reason=asked.not_opening,
                   remedy='path.insulation_monitor = "opens the contactors", and wired so')


# --- energy of a touch ----------------------------------------------------------------

def _touch_energies(asked: InsulationAsked) -> tuple[Finding, ...]:
    """Two models: both poles floating evenly, and one pole already on chassis."""
    open_ = as_open(asked.voltage)
    allowed = trace(iso.one_pole, "largest capacitance of one pole for 0.2 J, other on chassis",
                    capacitance=trace(iso.capacitance_for_energy, energy=ENERGY_LIMIT,
                                      voltage=asked.voltage),
                    note=f"at most this, or less, {NOT_KNOWN}" if open_ else "")
    if not asked.y_capacitance.known:
        return (allowed,)
    pair = trace(iso.both_poles, capacitance=asked.y_capacitance)
    half = trace(tr.share_of_voltage, "voltage of one pole to chassis, balanced",
                 voltage=asked.voltage, share=HALF)
    return (
        _risen(trace(tr.capacitor_energy, "energy of a touch, balanced pack (C·V²/4)",
                     capacitance=pair, voltage=half,
                     note="model: both poles at half the voltage until the touch"), asked.voltage),
        _risen(trace(tr.capacitor_energy,
                     "energy of a touch, other pole already on chassis (C·V²)",
                     capacitance=pair, voltage=asked.voltage,
                     note="model: the touched pole stands at the whole voltage"), asked.voltage),
        allowed)


def _energy_checks(asked: InsulationAsked, energies: tuple[Finding, ...]) -> tuple[Check, ...]:
    titles = ("touch on one pole of a balanced pack stays within 0.2 J",
              "touch while the other pole is on chassis stays within 0.2 J")
    if len(energies) == 1:
        missing = ("ask the makers of inverter, charger and converter for their Y capacitors; "
                   f"at most {energies[0].shown} on each pole in all"
                   + (f", or less, {NOT_KNOWN}" if asked.voltage.at_least else ""))
        return tuple(Check(title, STAGE, NOT_EVALUATED, demand=ENERGY_LIMIT, reason=missing)
                     for title in titles)
    found = [judge(title, STAGE, energy, "at most", ENERGY_LIMIT,
                   remedy="smaller Y capacitors, or barriers instead of the energy limit")
             for title, energy in zip(titles, energies, strict=False)]
    last = found[1]
    if last.verdict == FAIL:  # a second touch in an existing fault; the barrier still stands
        found[1] = Check(last.title, STAGE, CAUTION, last.figure, last.demand, last.relation,
                         "with one fault already there a touch meets more than the limit",
                         last.remedy)
    return tuple(found)


# --- distances ------------------------------------------------------------------------

def _distances(asked: InsulationAsked) -> Distances:
    degree = asked.pollution_degree
    try:
        impulse = impulse_voltage(asked.voltage, asked.category)
        gap = clearance(impulse, degree, asked.altitude, "clearance, basic insulation")
        gap_reinforced = clearance(reinforced_impulse(impulse), degree, asked.altitude,
                                   "clearance, reinforced insulation")
        base = creepage(asked.voltage, degree, asked.group)
    except OutOfRange as error:
        return Distances(refusal=f"refused: {error}")
    doubled = trace(scaled_distance, "creepage, reinforced insulation", symbol="d_cr",
                    factor=DOUBLED, distance=base)
    words = "a creepage path is never shorter than the clearance"
    # A row of a table has no chain to the voltage it stands for.
    return Distances(*(_risen(found, asked.voltage) for found in (
        largest([base, gap], "creepage demanded, basic insulation", words), gap,
        largest([doubled, gap_reinforced], "creepage demanded, reinforced insulation", words),
        gap_reinforced)))


def _distance_checks(asked: InsulationAsked, found: Distances) -> tuple[Check, ...]:
    if found.refusal:
        return tuple(Check(f"{name} as built", STAGE, NOT_EVALUATED, reason=found.refusal,
                           remedy="a lower highest working voltage") for name in
                     ("creepage", "clearance"))
    checks = [
        _distance_check("creepage", asked.creepage, found.creepage, found.creepage_reinforced),
        _distance_check("clearance", asked.clearance, found.clearance,
                        found.clearance_reinforced)]
    if asked.group == "IIIb" and asked.pollution_degree.number >= 3 \
            and asked.voltage.number > IIIB_LIMIT:
        checks.append(Check("material of group IIIb may be used", STAGE, CAUTION,
                            reason="above 630 V at pollution degree 3 the standard is remembered "
                                   "to forbid group IIIb; not seen in print",
                            remedy="a material of group IIIa or better"))
    return tuple(checks)


def _distance_check(name: str, built: Finding, basic: Finding | None,
                    reinforced: Finding | None) -> Check:
    assert basic is not None and reinforced is not None
    title = f"{name} as built"
    held = judge(title, STAGE, built, "at least", basic,
                 missing=f"measure the shortest {name}: at least {or_more(basic)} to bonded metal, "
                         f"{or_more(reinforced)} to anything touchable that is not bonded",
                 remedy="more distance, a barrier, a better material or a cleaner box")
    if held.verdict not in (PASS, CAUTION):
        return held
    full = judge(title, STAGE, built, "at least", reinforced)
    if full.verdict in (PASS, CAUTION):
        return full
    return Check(title, STAGE, CAUTION, built, reinforced, "at least",
                 f"enough for basic insulation ({or_more(basic)}) alone: everything touchable "
                 "behind it must be bonded to chassis, or behind a second barrier",
                 "bonding, a barrier")


# --- gloves, discharge, sections ------------------------------------------------------

def _gloves(voltage: Finding) -> tuple[str, Finding | None, str]:
    """Class in words, the limit of that class, and why there is none."""
    try:
        name, limit = glove_class(voltage)
    except OutOfRange as error:
        return "", None, f"refused: {error}"
    return f"{name} or higher, {NOT_KNOWN}" if voltage.at_least else name, limit, ""


def _glove_check(asked: InsulationAsked, limit: Finding | None, refusal: str) -> Check:
    return judge("rubber gloves exist for the highest working voltage", STAGE, limit, "at least",
                 with_more(asked.voltage, _untold(asked.voltage)), missing=refusal)


def _discharge_duty(asked: InsulationAsked) -> tuple[Finding, ...]:
    if asked.voltage.number <= BORDER.number:
        return ()
    stored = trace(tr.capacitor_energy, "energy of the charged DC link",
                   capacitance=asked.capacitance, voltage=asked.voltage,
                   note=as_open(asked.voltage))
    if not asked.discharge_resistance.known:
        return (stored,)
    return stored, _discharge(asked)


def _discharge(asked: InsulationAsked) -> Finding:
    return _risen(trace(
        tr.discharge_time, "time for the DC link to fall to 60 V",
        resistance=trace(tr.largest_resistance, "discharge resistor, upper tolerance", unit="kΩ",
                         resistance=asked.discharge_resistance,
                         tolerance=asked.discharge_tolerance),
        capacitance=asked.capacitance, voltage=asked.voltage, end=BORDER,
        note="through the resistor across the link alone, nothing else drawing"),
        asked.voltage)


def _discharge_known(asked: InsulationAsked) -> Finding | None:
    known = asked.discharge_resistance.known and asked.voltage.number > BORDER.number
    return _discharge(asked) if known else None


def _discharge_checks(asked: InsulationAsked) -> tuple[Check, ...]:
    title = "DC link falls below 60 V in 5 s"
    if asked.voltage.number <= BORDER.number:
        return (never_above(title, STAGE, asked.voltage, BORDER),)
    if not asked.discharge_resistance.known:
        return (Check(title, STAGE, NOT_EVALUATED, demand=DISCHARGE_TIME,
                      reason="ask the inverter's maker for its discharge resistor, or time the "
                             "fall of the dead link"),)
    held = judge(title, STAGE, _discharge(asked), "at most", DISCHARGE_TIME)
    if held.verdict != FAIL:
        return (held,)
    return (Check(title, STAGE, CAUTION, held.figure, held.demand, held.relation,
                  "the resistor alone is too slow: label the waiting time, and prove dead with a "
                  "meter", "an active discharge that works without the 12 V supply"),)


def _section_duty(asked: InsulationAsked) -> tuple[Finding, ...]:
    after = asked.disconnect_after
    if not after.known or not 0 < after.number < asked.series.number:
        return ()
    count = leaf("modules in the larger section", "n", "",
                 max(after.number, asked.series.number - after.number), "definition",
                 origin=after.origin, note=f"disconnect after module {after.number:g} of "
                                           f"{asked.series.number:g}")
    return (within(trace(series_voltage, LARGER_SECTION,
                         series=count, module_voltage=asked.module_voltage), asked.voltage),
            trace(iso.part_of_pack_energy, "energy of the larger section, at most",
                  energy=asked.energy, modules=count, series=asked.series))


def _section_checks(asked: InsulationAsked, sections: Finding) -> tuple[Check, ...]:
    title = "pack can be split into sections under 60 V for work"
    if sections.number < 1:
        first = Check(title, STAGE, CAUTION, asked.module_voltage, BORDER, "at most",
                      "not reachable: one full module alone stands above it",
                      "charge low before work, gloves and covers for every single module")
    else:
        first = Check(title, STAGE, PASS, asked.module_voltage, BORDER, "at most",
                      ("no two modules may stay joined" if sections.number < 2 else
                       f"at most {sections.number:g} modules may stay joined")
                      + "; a burn is possible all the same")
    return (first, *_disconnect_checks(asked))


def _disconnect_checks(asked: InsulationAsked) -> tuple[Check, ...]:
    titles = ("sections beside the disconnect stay under 120 V",
              "sections beside the disconnect stay under 6 MJ")
    duty = _section_duty(asked)
    if not duty:
        after = asked.disconnect_after
        why = ("say after which module the service disconnect sits" if not after.known else
               "no disconnect inside the string: the whole pack stays joined")
        if not after.known:
            return tuple(Check(t, STAGE, NOT_EVALUATED, reason=why) for t in titles)
        if after.number >= asked.series.number:
            why = f"a disconnect after module {after.number:g} leaves the string whole"
        return (Check(titles[0], STAGE, CAUTION, reason=why,
                      remedy="a service disconnect near the middle of the string"),)
    checks = []
    for name, figure, limit in zip(titles, duty, (SECTION_VOLTAGE, SECTION_ENERGY), strict=True):
        held = judge(name, STAGE, figure, "below", limit)
        if held.verdict == FAIL:
            held = Check(name, STAGE, CAUTION, figure, limit, "below",
                         "rule of a student competition, exceeded: break the sections further "
                         "before touching links", "more disconnects, links that come off one at a "
                                                  "time under cover")
        checks.append(held)
    return tuple(checks)


# --- words ----------------------------------------------------------------------------

def _specification(asked: InsulationAsked, joined: Finding, alone: Finding, found: Distances,
                   gloves: str) -> tuple[Requirement, ...]:
    lines = [
        Requirement("isolation of either pole to chassis, inverter joined",
                    f"at least {or_more(joined)}", JOINED.note),
        Requirement("isolation of the battery by itself", f"at least {or_more(alone)}"),
        Requirement("isolation of each module to its case", f"at least "
                    f"{or_more(_line(asked, joined))}", f"its share of the pack's "
                    f"{or_more(joined)}: {asked.modules.number:g} modules leak in parallel, and "
                    f"are left {asked.leakage_share.shown} of the leakage; "
                    f"{or_more(_need(asked, joined))} is the least with nothing else leaking"),
        Requirement("isolation monitor: warning", f"{_or_above(joined)}, read at both poles "
                    "in parallel"),
        Requirement("isolation monitor: opens contactors", _or_above(alone)),
        Requirement("isolation monitor: test", "half the response value from one pole to chassis "
                    "is reported within 30 s", "Formula SAE 2014 EV7.1.2 [formula-sae-rules-2014]"),
        Requirement("two-voltmeter test: known resistor", f"{or_more(joined)} ± 20 %",
                    "voltmeter of at least 10 MΩ; repeat after rain or washing"),
    ]
    for finding in found.known:
        lines.append(Requirement(finding.title, f"at least {or_more(finding)}",
                                 f"pollution degree {asked.pollution_degree.number:g}, group "
                                 f"{asked.group}, category {asked.category}, up to "
                                 f"{asked.altitude.shown}"))
    if gloves:
        lines.append(Requirement("rubber gloves", f"{gloves}, leather over them",
                                 "tested within six months, looked at and air-tested before each "
                                 "use; some practice lets classes 00 and 0 do without the test: "
                                 "the stricter is printed"))
    return (*lines, *touch_lines())


def _open_items(asked: InsulationAsked) -> tuple[str, ...]:
    wanted = ((asked.module_resistance, "measure with a 500 V insulation tester, every module"),
              (asked.y_capacitance, "sum from the makers of inverter, charger and converter"),
              (asked.clearance, "measure in the built box, covers on"),
              (asked.creepage, "measure in the built box"),
              (asked.discharge_resistance, "inverter's manual, or time the fall of the dead link"))
    return tuple(f"{f.title}: {how}" for f, how in wanted if not f.known)
