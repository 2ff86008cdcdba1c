"""Branches and small conductors: each one leaves a source of kiloamperes.

A branch is sized from the fault at its tap, not from its load: a fuse at the tap that
breaks the highest fault at full DC voltage, a conductor that stands what the fuse lets
through, insulation for the whole pack, and a fuse that survives the capacitors.
"""

from __future__ import annotations

from packcalc.cable_rules import section_words
from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, PASS, Check, Item, Requirement, by_the_unnamed, judge,
    on_an_open_entry,
)
from packcalc.findings import Finding, leaf
from packcalc.part_checks.fuse import (
    TO_SEND, SteadyLoad, arc_voltage_check, carries_check, outlives_check, time_constant_checks,
)
from packcalc.part_checks.fusing import LaidCapacity, branch_overload
from packcalc.part_checks.precharge_wires import (
    carries_tries, one_current, outlives_charges, stands_tries,
)
from packcalc.part_checks.shown import SILENT, at_voltage, counted, rounded, terminals_check
from packcalc.parts import FusePart
from packcalc.protect.branch_figures import (
    HOT_CLASS, PRECHARGE, RULE, SENSE, BranchAsked, BranchDuty, branch_duty, branch_load,
    only_at_most, told_with_bound,
)
from packcalc.value import replace

BOTH_POLES = counted("poles of the conductor pair", 2, "definition")
NO_LOAD = ("sense", "pre-charge", "monitor")   # wires that carry no load worth a fuse rating
AT_TAP_MOST = leaf("longest conductor between a change of section and its fuse", "l_t,max", "mm",
                   0.150, "read", source="formula-sae-rules-2026",
                   note="EV.6.6.6: where the current capacity of the conductor drops, its fuse "
                        "stands within 150 mm, in both poles; no vehicle rule was read")
NOTES = (
    "The load does not size a branch: the source behind it does. A 12 V automotive fuse (32 or "
    "58 V, 1 to 2 kA) in a branch explodes.",
    "The conductor between tap and fuse is protected by nobody but the main fuse, if that: keep it "
    "short, separate from the other pole, and in its own insulation.",
)
SENSE_NOTES = (
    "Sense wires: a fuse or a fusible resistor at the cell end of every wire, rated for the "
    "whole pack's DC voltage, because two wires of far cells may touch. A fuse at the monitor's "
    "end protects the monitor, not the wire.",
    "Never join taps of parallel stacks with sense wire: it carries balancing current.",
)
PRECHARGE_NOTES = (
    "Rules differ on fusing pre-charge and discharge circuits: Formula SAE forbids it (EV.5.6) "
    "[formula-sae-rules-2026], a "
    "cable rule asks for protection wherever the section drops. The reviewer decides.",
)


def size_branch(asked: BranchAsked) -> Item:
    """Duty, specification and checks of one branch."""
    duty = branch_duty(asked)
    opened = must_open(asked, duty)
    lowest = [duty.lowest] if opened == duty.lowest else [duty.lowest, opened]
    lines = [asked.fault_highest, *lowest, asked.highest_voltage, duty.withstand]
    if _loaded(asked):
        lines += [duty.load, *_pulses(asked, duty)]
    elif duty.load.known:
        lines += [duty.load]
    return Item(
        key=asked.key, title=f"Branch: {asked.name}",
        governing=f"{asked.kind}: its tap can give {asked.fault_highest.with_end} at "
                  f"{asked.highest_voltage.shown}; {_load_words(asked, duty)}.",
        duty=tuple(lines), specification=_specification(asked, duty),
        checks=_checks(asked, duty), open_items=_open_items(asked, duty),
        notes=_notes(asked))


def _pulses(asked: BranchAsked, duty: BranchDuty) -> list[Finding]:
    """What capacitors put into the branch, where there are any."""
    found = [duty.own_discharge,
             *((duty.closing_step,) if asked.closing_difference is not None else ()),
             *((duty.charge_step,) if duty.charge_step is not None else ())]
    return [f for f in found if not f.known or f.number > 0]


def _loaded(asked: BranchAsked) -> bool:
    """Whether load and input capacitance are worth asking for."""
    return asked.kind not in NO_LOAD or asked.capacitance.known or branch_load(
        asked.power, asked.current, asked.lowest_bus).known


def _load_words(asked: BranchAsked, duty: BranchDuty) -> str:
    if duty.load.known:
        takes = "it passes up to" if asked.kind == PRECHARGE else "the load takes"
        return f"{takes} {duty.load.shown}"
    return "its load is not known" if _loaded(asked) else "it carries no load"


def _notes(asked: BranchAsked) -> tuple[str, ...]:
    own = {SENSE: SENSE_NOTES, PRECHARGE: PRECHARGE_NOTES}.get(asked.kind, ())
    return (*own, *NOTES)


def _checks(asked: BranchAsked, duty: BranchDuty) -> tuple[Check, ...]:
    fuse = asked.fuse
    return (
        judge("Fuse: rated DC voltage above the highest working voltage", "highest voltage",
              fuse.voltage, "at least", asked.highest_voltage,
              missing="rated DC voltage of the branch fuse: ask the supplier",
              remedy="a fuse with a DC rating of its own at the whole pack's voltage"),
        judge("Insulation for the whole pack's voltage", "isolation and distance",
              asked.insulation_voltage, "at least", asked.highest_voltage,
              missing="DC voltage rating of the insulation: read the print on the cable",
              remedy="conductor rated for the highest working voltage, low-voltage wires beside "
                     "it too"),
        *_arc_check(asked),
        _breaking(asked),
        *_time_constants(asked), *_own_fuse(asked, duty),
        _of_class(asked, judge(
            "Conductor stands what the fuse lets through", "who clears", duty.withstand,
            "at least", fuse.clearing,
            missing="; ".join(f.note or f.title for f in (duty.withstand, fuse.clearing)
                              if not f.known),
            remedy="a larger section or a faster fuse"),
            f"{HOT_CLASS.shown} before the fault"),
        *_overload(asked), *_sheet_checks(asked),
        *(_load_checks(asked, duty) if _loaded(asked) else ()), *_resistor_checks(asked, duty))


def _of_class(asked: BranchAsked, check: Check, counted_at: str) -> Check:
    """No pass rests on a class that nobody told: hotter it stands less, cooler it carries less."""
    return check if not asked.class_open else on_an_open_entry(
        check, f"its class is left open, {counted_at} is counted, our assumption: say "
               "branch.insulation_class")


def _breaking(asked: BranchAsked) -> Check:
    fuse = asked.fuse
    check = judge("Fuse: breaking capacity at the highest fault", "fault range", fuse.breaking,
                  "at least", asked.fault_highest,
                  missing="DC breaking capacity of the branch fuse: ask the supplier",
                  remedy="a fuse with enough breaking capacity; the main fuse does not limit it")
    return check if fuse.part is None else at_voltage(check, fuse.part, asked.highest_voltage)


def _time_constants(asked: BranchAsked) -> tuple[Check, ...]:
    """A fuse with a data sheet, in the loop of the main path behind it."""
    if asked.fuse.part is None or asked.time_constant is None:
        return ()
    return tuple(replace(c, title=f"Fuse: {c.title[0].lower()}{c.title[1:]}")
                 for c in time_constant_checks(asked.fuse.part, asked.highest_voltage,
                                               asked.time_constant, asked.slower_loops))


def _arc_check(asked: BranchAsked) -> tuple[Check, ...]:
    """The arc of a fuse with a data sheet, where it opens on the bus."""
    if asked.bus_insulation is None or not asked.fuse.name:
        return ()
    return (arc_voltage_check("Fuse: arc voltage within the insulation of what hangs on the bus",
                              asked.fuse.arc, asked.bus_insulation, asked.highest_voltage,
                              "ask the supplier for "),)


def _overload(asked: BranchAsked) -> tuple[Check, ...]:
    """The fuse may not let the conductor be overloaded for ever."""
    if not asked.fuse.rating.known:
        return ()
    held = branch_overload(asked.fuse.part, asked.fuse.rating, voltage=asked.highest_voltage,
                           laid=LaidCapacity(asked.capacity, asked.capacity_at_best,
                                             asked.why_no_capacity, asked.capacity_below))
    return tuple(_of_class(asked, one, "the coolest of the rule set") for one in held)


def _load_checks(asked: BranchAsked, duty: BranchDuty) -> tuple[Check, ...]:
    found = (*_capacitor_checks(asked, duty), *_one_circuit(asked))
    return found if asked.resistor is not None else (*found, _carries(asked, duty))


def _resistor_checks(asked: BranchAsked, duty: BranchDuty) -> tuple[Check, ...]:
    """Pre-charge wires and their fuse against every charge and against those that fail."""
    if asked.kind != PRECHARGE:
        return ()
    passes, fuse = asked.resistor, asked.fuse
    pulse = (outlives_charges(fuse.melting, passes),) if fuse.rating.known else ()
    if passes is None:
        return pulse
    own = branch_load(asked.power, asked.current, asked.lowest_bus)
    opens = fuse.opens_from is not None and duty.load.number >= fuse.opens_from.number
    # The resistor limits this current: no source of a fault may burst the fuse in it.
    ended = fuse.clearing.called(note=fuse.clearing.told_note) \
        if opens and fuse.clearing.known else None
    held = (*pulse, *one_current(own, passes),
            carries_tries(_carries(asked, duty), fuse.part, duty.load, passes, asked.ambient),
            _of_class(asked, stands_tries(
                duty.withstand, asked.capacity, duty.load, passes, ended),
                "the worse for each figure"))
    return tuple(by_the_unnamed(c, passes.peak.untold_more) for c in held)


def _one_circuit(asked: BranchAsked) -> tuple[Check, ...]:
    """Charger, its cable and branch are one circuit: two loads are told, the larger counts."""
    own = branch_load(asked.power, asked.current, asked.lowest_bus)
    if asked.charging is None or not (asked.charging.known and own.known):
        return ()
    check = judge("One circuit, one load: branch and charging", "thermal load",
                  own, "at least", asked.charging,
                  reason="the larger of both is counted, here and for a charge cable")
    return (check if check.verdict != FAIL else replace(
        check, verdict=CAUTION, reason="one circuit, two loads: the charger's power at the lowest "
        "voltage asks more than the branch's own entry; the larger is counted, here and for a "
        "charge cable", remedy="read the charger's plate: largest DC current, and power at the "
        "lowest voltage; enter what holds in both places"),)


def _carries(asked: BranchAsked, duty: BranchDuty) -> Check:
    """The load, derated as for the main fuse; without a sheet the rating is only a floor."""
    title, part = "Fuse carries the load", asked.fuse.part
    remedy = "a larger fuse, if the conductor and the lowest fault allow it"
    floor = judge(title, "thermal load", asked.fuse.rating, "at least", duty.load,
                  missing="load or fuse rating is not known", reason="even before derating for "
                  "warm air and repeated load", remedy=remedy)
    if floor.verdict != PASS:
        return floor
    ask = "ask for the fuse's sheet, and enter it in the parts list"
    open_ = replace(floor, verdict=NOT_EVALUATED,
                    reason=f"before derating for warm air and repeated load: {ask}")
    if asked.ambient is None:
        return open_
    load = SteadyLoad(duty.load, asked.ambient)
    if part is not None:
        return replace(carries_check(part, load, title), remedy=remedy)
    published = carries_check(FusePart(asked.fuse.name, rated_current=asked.fuse.rating), load,
                              title)
    return open_ if published.verdict != FAIL else replace(
        published, verdict=CAUTION, remedy=remedy,
        reason=f"too small by the published derating, which need not be this fuse's: {ask}")


def _sheet_checks(asked: BranchAsked) -> tuple[Check, ...]:
    """What the rest of a named fuse's row is held against."""
    part = asked.fuse.part
    if part is None:
        return ()
    limits = judge("Fuse limits the peak of the highest fault", "fault range",
                   part.cut_off_current, "below", asked.fault_highest,
                   missing=f"{SILENT}the cut-off current" if part.cut_off_current is None else
                   "highest fault is not known",
                   remedy="a smaller or faster fuse; terminals and conductors braced for the peak")
    if limits.verdict == FAIL:
        limits = replace(limits, verdict=CAUTION, reason="conductor, terminals and load see the "
                         "whole fault current before the fuse has opened")
    capacity, most = part.breaking_capacity, asked.fault_highest
    if limits.verdict == PASS and (capacity is None or most.or_more
                                   or capacity.number < most.number):
        limits = replace(limits, verdict=NOT_EVALUATED, reason="holds only up to what it breaks: "
                         "see its DC breaking capacity at the highest fault")
    joined = terminals_check(part.terminal_limit, asked.insulation_class)
    if joined.verdict == FAIL:
        joined = replace(joined, verdict=CAUTION)
    joined = _of_class(asked, joined, asked.insulation_class.shown)
    return (limits,
            replace(joined, title="Fuse: terminals stand the conductors joined to them",
                    reason=joined.reason or "the conductor may run up to its insulation's class",
                    remedy="a larger section that stays cooler; a fuse whose terminals stand the "
                           "conductor's class"))


def _own_fuse(asked: BranchAsked, duty: BranchDuty) -> tuple[Check, ...]:
    """Whether a fuse stands at the tap, in both poles, and can open at the far end."""
    if not asked.fuse.rating.known:
        where = "the cell end" if asked.kind == SENSE else "the tap"
        return (Check(f"A fuse of its own at {where}", "who clears", FAIL, None, None, "",
                      "none is stated: nobody clears a fault in this conductor, unless the main "
                      "fuse stands before it and its curve holds for so small a section",
                      f"a fuse at {where}, in both poles"),)
    at_tap = judge("Fuse stands at the tap", "who clears", asked.tap_length, "at most",
                   AT_TAP_MOST, missing="length between tap and fuse: measure it",
                   remedy="move the fuse to the tap")
    at_tap = _stub(asked, duty, at_tap)
    basis, whose = ("assumed", "left open, our assumption") if asked.poles_open else \
        ("given", "by the brief's fused_poles")
    poles = counted(f"poles with a fuse, {whose}", 2 if asked.fused_poles == "both" else 1, basis,
                    RULE)
    both = judge("Fuse in both poles", "who clears", poles, "at least", BOTH_POLES,
                 remedy="a fuse in the other pole as well")
    if both.verdict == FAIL:
        both = replace(both, verdict=CAUTION,
                       reason="one pole is unfused: a second chassis fault passes it")
    return at_tap, both, _opens(asked, duty)


def _opens(asked: BranchAsked, duty: BranchDuty) -> Check:
    """Whether the fuse opens the least of all that it is counted on for, here and elsewhere."""
    remedy, stage = "a smaller fuse, a thicker or shorter conductor", "who clears"
    lowest, place = must_open(asked, duty), asked.weakest
    where = f"at the place '{place.title}'" if place and lowest is not duty.lowest else ""
    if asked.fuse.opens_from is not None:
        bound = lowest.note if only_at_most(lowest) else ""
        check = judge("Fuse opens at the lowest fault within 1 s", stage, lowest, "at least",
                      asked.fuse.opens_from, missing=lowest.note, remedy=remedy,
                      reason="; ".join(w for w in ("by its clearing curve", where, bound) if w))
        if bound and check.verdict == PASS:
            return replace(check, verdict=NOT_EVALUATED)
        far = judge(check.title, stage, duty.lowest, "at least", asked.fuse.opens_from)
        if check.verdict == FAIL != far.verdict and place is not None and not place.nobody:
            check = replace(check, verdict=NOT_EVALUATED, reason=f"{check.reason}: it does not, "
                            "and no other device is shown to")
        return check
    bound = lowest.note.removesuffix(f"; {where}") if only_at_most(lowest) else ""
    where = "; ".join(w for w in (where, bound) if w)
    opens = judge("Lowest fault above the fuse's rating", stage, lowest, "above",
                  asked.fuse.rating, missing=lowest.note, reason=where, remedy=remedy)
    if opens.verdict == PASS:
        opens = Check(opens.title, opens.stage, NOT_EVALUATED, opens.figure, opens.demand,
                      opens.relation, "; ".join(w for w in (
                          where, "that it opens within 1 s is shown only by its curve") if w),
                      "enter the fuse's curve in the parts list")
    return opens


def must_open(asked: BranchAsked, duty: BranchDuty) -> Finding:
    """The lowest current of all places at which the branch's own fuse is the one that clears."""
    place, far = asked.weakest, duty.lowest
    if place is None or not far.known or not place.lowest.known \
            or place.lowest.number >= far.number:
        return far
    where = f"at the place '{place.title}'"
    return place.lowest.called(
        "lowest current that the branch's own fuse must open",
        note=next((f"{f.note}; {where}" for f in (place.lowest, far) if only_at_most(f)), where))


STUB_REMEDY = "a fuse at the tap, a larger stub, or a short one insulated apart: " \
              "[formula-sae-rules-2026]"


def _stub(asked: BranchAsked, duty: BranchDuty, at_tap: Check) -> Check:
    """Until the branch's fuse the conductor has only what stands before the tap.

    One that is short by the rule and does not stand the heat is a caution: it is not protected,
    only kept from faults.
    """
    heat, stands = asked.stub_heat, duty.withstand
    none = asked.tap_length.known and asked.tap_length.number == 0
    sure = stands.known and not only_at_most(stands)
    bears_it = heat is not None and heat.known and sure and heat.number <= stands.number
    if heat is None or none or bears_it and not heat.untold_more:
        return at_tap
    through = f"lets up to {heat.shown} through, {heat.note}" if heat.known else heat.note
    bears = told_with_bound(stands) if stands.known else "what is not known"
    told = f"until the fuse it stands {bears}, and a fault there {through}"
    words = "; ".join(w for w in (told, at_tap.reason) if w)
    verdict = at_tap.verdict if at_tap.verdict != PASS else \
        CAUTION if sure and not bears_it or not heat.known else NOT_EVALUATED
    return replace(at_tap, verdict=verdict, reason=words, remedy=STUB_REMEDY)


def _capacitor_checks(asked: BranchAsked, duty: BranchDuty) -> tuple[Check, ...]:
    """Make-and-pass: a healthy fuse must survive the capacitors."""
    found, melting = [], asked.fuse.melting
    if not (asked.capacitance.known and asked.capacitance.number == 0):
        found.append(_not_shown(judge(
            "Healthy fuse survives its own capacitor feeding a fault elsewhere", "fault range",
            melting, "at least", duty.own_discharge, missing=_lacks(melting, duty.own_discharge),
            remedy="a fuse with more pre-arcing I²t, or resistance in the branch; else count on "
                   "changing it after every fault")))
        if asked.closing_difference is not None:
            found.append(_not_shown(_closing(asked, duty.closing_step)))
    if duty.charge_step is not None:
        found.append(_at_charge(asked, duty.charge_step))
    return tuple(found)


def _lacks(*figures: Finding) -> str:
    return "; ".join(f.note or f.title for f in figures if not f.known)


def _closing(asked: BranchAsked, step: Finding) -> Check:
    """One that comes at every start is held by the share that so many pulses may have."""
    return outlives_check(
        "Healthy fuse passes the closing step", asked.fuse.melting, step,
        "Pre-arcing I²t asked by every closing", _lacks(asked.fuse.melting, step),
        "a higher pre-charge level, or more pre-arcing I²t; the fuse's own pulse figure")


def _at_charge(asked: BranchAsked, step: Finding) -> Check:
    """An empty charger that nobody stated is a question."""
    check = replace(
        _closing(asked, step), title="Healthy fuse passes the closing step at every charge",
        remedy="bring the charger's side to the pack's voltage before the contact closes, or more "
               "pre-arcing I²t; the fuse's own pulse figure")
    assert asked.at_charge is not None
    if check.verdict == FAIL and asked.at_charge.empty:
        return replace(check, verdict=NOT_EVALUATED, reason=asked.at_charge.empty)
    return _not_shown(check)


def _not_shown(check: Check) -> Check:
    """A caution in place of a failure: the integral counts the branch's copper alone."""
    if check.verdict != FAIL:
        return check
    return replace(check, verdict=CAUTION, reason="not shown: the fuse, the capacitor and the "
                   "contacts add resistance that is not counted here")


def _specification(asked: BranchAsked, duty: BranchDuty) -> tuple[Requirement, ...]:
    more = ", or more" if asked.highest_voltage.at_least else ""
    lines = [
        Requirement("branch fuse: rated DC voltage",
                    f"at least {asked.highest_voltage.shown}{more}",
                    "highest working voltage; one link alone"),
        Requirement("branch fuse: DC breaking capacity",
                    f"at least {rounded(asked.fault_highest, True)}",
                    "every source of its worst fault place").resting_on(asked.fault_highest),
        *_permitted(asked),
        *(Requirement("conductor: section", section, "by the brief") for section in [
            section_words(asked.section)] if section),
        Requirement("conductor and wires beside it: DC insulation voltage",
                    f"at least {asked.highest_voltage.shown}{more}", "whole pack, also for 12 V "
                    "wires"),
        Requirement("branch fuse: class and rating", _class_asked(asked),
                    "I2 ≤ 1.45·Iz; no trip sees a branch")]
    if asked.bus_insulation is not None and asked.bus_insulation.known:
        lines.append(Requirement("branch fuse: peak arc voltage",
                                 f"at most {asked.bus_insulation.shown}", "insulation on the bus"))
    lowest = must_open(asked, duty)
    if lowest.known:
        where = "far end" if lowest is duty.lowest or asked.weakest is None else \
            f"place '{asked.weakest.title}'"
        own = "" if asked.own_fuses is not None else \
            "; the fuse's own resistance takes from it, and is not counted: it is not known"
        lines.append(Requirement("branch fuse: current that it surely opens within 1 s",
                                 f"at most {lowest.shown}", f"{where}, cold, empty, hot "
                                 f"conductor{own}").resting_on(lowest))
    if duty.load.known:
        air = f" at {asked.ambient.shown}" if asked.ambient is not None else ""
        lines.append(Requirement("branch fuse: continuous current in the box's air",
                                 f"at least {duty.load.shown}{air}",
                                 "failed pre-charge, or what the brief states" if asked.resistor
                                 else "load at the lowest voltage"))
    if duty.withstand.known:
        lines.append(Requirement("branch fuse: total clearing I²t at this DC voltage",
                                 f"at most {duty.withstand.shown}",
                                 "what the conductor stands").resting_on(duty.withstand))
    return (*lines, *_melting_asked(asked, duty), Requirement(
        "branch fuse: to send", TO_SEND, "without these no fuse can pass"))


def _class_asked(asked: BranchAsked) -> str:
    """Full range, and by both conditions for what its conductor carries."""
    most = asked.capacity.shown if asked.capacity is not None else "what the conductor carries"
    return ("full range, first letter g, no lowest breaking current above the rated current; "
            f"rated at most {most}, I2 at most 1.45 times that")


def _melting_asked(asked: BranchAsked, duty: BranchDuty) -> list[Requirement]:
    """Pre-arcing I²t against pulses: of the largest of those that come again and again."""
    found, title = [], "branch fuse: pre-arcing I²t"
    if duty.own_discharge.known and duty.own_discharge.number > 0:
        found.append(Requirement(title, f"at least {duty.own_discharge.shown}",
                                 "own capacitor feeding a fault elsewhere").resting_on(
                                     duty.own_discharge))
    if asked.resistor is not None:
        pulses = outlives_charges(asked.fuse.melting, asked.resistor).demand
        assert pulses is not None
        found.append(Requirement(f"{title} for every pre-charge", f"at least {pulses.shown}",
                                 "one pulse a charge, for life"))
    steps = [f for f in (duty.closing_step, duty.charge_step) if f is not None and f.known
             and f.number > 0]
    if steps:
        step = max(steps, key=lambda f: f.number)
        pulses = _closing(asked, step).demand
        assert pulses is not None
        empty = asked.at_charge.empty if asked.at_charge and step is duty.charge_step else ""
        found.append(Requirement(f"{title} for every closing", f"at least {pulses.shown}",
                                 empty or "one pulse a closing, for life").resting_on(step))
    return found


def _permitted(asked: BranchAsked) -> tuple[Requirement, ...]:
    if asked.time_constant is None:
        return ()
    pairs = ((asked.highest_voltage, asked.time_constant), *asked.slower_loops)
    return (Requirement("branch fuse: permitted time constant L/R", "at least " + "; ".join(
        f"{rounded(constant, True)} at {voltage.least}{rounded(voltage, True)}"
        for voltage, constant in pairs), "longest loop with the lowest resistance").resting_on(
            *(constant for _, constant in pairs)),)


def _open_items(asked: BranchAsked, duty: BranchDuty) -> tuple[str, ...]:
    asks = [(asked.fuse.rating, "rated current of the branch's own fuse"),
            (asked.fuse.breaking, "branch fuse: DC breaking capacity (supplier)"),
            (asked.fuse.clearing, "branch fuse: total clearing I²t in DC (supplier)"),
            (asked.insulation_voltage, "DC rating of the branch's insulation"),
            (asked.section, "conductor section of the branch")]
    if _loaded(asked):
        asks += [(duty.load, "power or current of the load"),
                 (asked.capacitance, "input capacitance of the load")]
    part = asked.fuse.part
    silent = [] if part is None else [f"branch fuse: {words} (supplier)" for figure, words in (
        (part.melting, "melting curve"), (part.melting_i2t, "pre-arcing I²t")) if figure is None]
    return (*(words for finding, words in asks if not finding.known), *silent)
