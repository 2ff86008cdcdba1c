"""Branches and small conductors: each one leaves a source of kiloamperes.

A branch is sized from the fault at its tap, not from its load: a fuse at the tap that
breaks the highest fault at full DC voltage, a conductor that stands what the fuse lets
through, insulation for the whole pack, and a fuse that survives the capacitors.
"""

from __future__ import annotations

from dataclasses import replace

from packcalc import transients as tr
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, Item, Requirement, judge
from packcalc.conductors import adiabatic_constant, cable_withstand, copper_resistance
from packcalc.findings import Finding, Origin, formula, largest, leaf, trace
from packcalc.part_checks.fuse import SteadyLoad, arc_voltage_check, carries_check
from packcalc.part_checks.precharge_wires import (
    ResistorCurrent, carries_tries, one_current, outlives_charges, stands_tries, wires_load,
)
from packcalc.part_checks.shown import SILENT, counted, terminals_check
from packcalc.part_formulas import loss_resistance
from packcalc.parts import FusePart
from packcalc.value import value_object

RULE = Origin("rule")
BOTH_POLES = counted("poles of the conductor pair", 2, "definition")
SENSE, PRECHARGE = "sense", "pre-charge"
NO_LOAD = ("sense", "pre-charge", "monitor")   # wires that carry no load worth a fuse rating
AT_TAP_MOST = leaf("longest conductor between a change of section and its fuse", "l_t,max", "mm",
                   0.150, "read", source="formula-sae-rules-2026",
                   note="EV.6.6.6: where the current capacity of the conductor drops, its fuse "
                        "stands within 150 mm, in both poles; no vehicle rule was read")
# Ω/m of 1 mm²: the dearest and the plainest copper of IEC 60228, and bare annealed copper.
ONE_HIGH = leaf("highest resistance of copper for each metre of 1 mm²", "r_1", "mΩ/m", 20.55e-3,
                "computed", source="iec-60228",
                note="class 5, tinned: 13.7 mΩ/m at 1.5 mm², 20 °C")
ONE_LOW = leaf("lowest resistance of copper for each metre of 1 mm²", "r_1", "mΩ/m", 17.24e-3,
               "remembered, consistent", source="packcalc-rule", origin=RULE,
               note="annealed copper of full section at 20 °C; IEC 60228 lies 5 to 16 % above")
TABLE_AT = leaf("temperature of the resistance table", "θ_0", "°C", 293.15, "read",
                source="iec-60228")
JOINT_END = leaf("end temperature of joints and insulation", "θ_end", "°C", 160.0 + 273.15,
                 "assumed", source="packcalc-rule", origin=RULE,
                 note="lowest in IEC 60364-5-54 below 300 mm²; errs low")

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


@formula(title="loop resistance of a branch", symbol="R_br", unit="mΩ", text="R_br = 2·l·r_1/S",
         inputs={"length": "l [m] one way", "one": "r_1 [mΩ/m] of 1 mm²",
                 "area": "S [mm²] conductor section"},
         basis="definition", valid="copper; both conductors alike")
def branch_resistance(length, one, area):
    """Both conductors of a branch.

    Examples:
        >>> round(branch_resistance(2.5, 20.55e-3, 4e-6) * 1e3, 3)
        25.688
    """
    return 2.0 * length * one * 1e-6 / area


@formula(title="resistance with the branch in the loop", symbol="R", unit="mΩ",
         text="R = R_up + R_br",
         inputs={"upstream": "R_up [mΩ] of the source up to the tap",
                 "branch": "R_br [mΩ] of the branch"}, basis="definition")
def with_branch(upstream, branch):
    """Loop of a fault at the far end of a branch.

    Examples:
        >>> round(with_branch(0.130, 0.026), 3)
        0.156
    """
    return upstream + branch


@formula(title="I²t of a capacitor that empties through a resistance", symbol="I²t", unit="A²s",
         text="I²t = C·V²/(2·R) (mF, V, mΩ)",
         inputs={"capacitance": "C [mF] that empties", "voltage": "V [V] it starts from",
                 "resistance": "R [mΩ] of the loop"},
         basis="read", source="power-electronics-2014",
         where="example 2.4: energy ½·C·V² all turned to heat in R",
         valid="R above 0",
         safe_side="low R, largest C: more I²t")
def discharge_integral(capacitance, voltage, resistance):
    """Heat that a discharging capacitor puts into a fuse in its way.

    Examples:
        >>> round(discharge_integral(1.0e-3, 400.0, 0.1), 3)
        800.0
    """
    return 0.5 * capacitance * voltage * voltage / resistance


@formula(title="capacitance of two in parallel", symbol="C", unit="mF", text="C = C_1 + C_2",
         inputs={"first": "C_1 [mF] of one", "second": "C_2 [mF] of the other"}, basis="definition")
def added_capacitance(first, second):
    """Sum on the bus.

    Examples:
        >>> round(added_capacitance(1.0e-3, 0.05e-3) * 1e3, 3)
        1.05
    """
    return first + second


@formula(title="current of a branch at the lowest bus voltage", symbol="I_br", unit="A",
         text="I_br = 1000·P/U",
         inputs={"power": "P [kW] of the branch", "voltage": "U [V] lowest bus voltage"},
         basis="definition", safe_side="lowest voltage: highest current")
def branch_current(power, voltage):
    """Current of a constant-power load where it is largest.

    Examples:
        >>> branch_current(3000.0, 240.0)
        12.5
    """
    return power / voltage


@value_object
class BranchFuse:
    """The branch fuse's data sheet; any finding may lack its value.

    Attributes:
        name: the user's part name, or "".
        rating: rated current.
        voltage: rated DC voltage.
        breaking: DC breaking capacity.
        melting: lowest pre-arcing I²t.
        clearing: highest total clearing I²t at this DC voltage, over the whole range.
        opens_from: current from which its curve shows that it opens within 1 s; None without
            a curve.
        arc: peak arc voltage; None where its sheet is silent.
        part: the whole row of the parts list; None where the rated current alone is known.
    """

    name: str
    rating: Finding
    voltage: Finding
    breaking: Finding
    melting: Finding
    clearing: Finding
    opens_from: Finding | None = None
    arc: Finding | None = None
    part: FusePart | None = None


def _sheet(title: str, symbol: str, unit: str) -> Finding:
    return leaf(title, symbol, unit, None, "given", note="on the fuse's data sheet")


def fuse_without_sheet(rating: Finding, name: str = "") -> BranchFuse:
    """A branch fuse of which the rated current alone is known, if that."""
    return BranchFuse(name, rating, _sheet("rated DC voltage of the branch fuse", "U_n", "V"),
                      _sheet("DC breaking capacity of the branch fuse", "I_1", "A"),
                      _sheet("pre-arcing I²t of the branch fuse", "I²t_p", "A²s"),
                      _sheet("total clearing I²t of the branch fuse", "I²t_c", "A²s"))


@value_object
class BranchAsked:
    """What one branch is sized from. Any finding may lack its value.

    Attributes:
        name, kind: words of the brief.
        power, current: one of them, of the load.
        charging: what charging asks of it by the charger's power, where all charging passes
            this branch; else None.
        stub_heat: largest I²t between tap and fuse, which the devices before the tap let
            through; without value where nobody ends it, None where it was not asked.
        lowest_bus: V, lowest bus voltage in use.
        length, tap_length: one way; between tap and fuse.
        section, insulation_voltage, insulation_class: of the conductor.
        fused_poles: "one" or "both".
        fuse: its data sheet as far as known.
        capacitance: of the load's input.
        highest_voltage: highest working voltage of the pack.
        fault_highest: every source, at the tap.
        upstream_long: loop resistance up to the tap, cold, aged, long pulse.
        voltage_empty: open-circuit voltage, empty.
        closing_difference: V left across the main contactor when it closes; None for a
            branch that is always connected.
        link_feeds: whether the DC-link capacitors stand on the same bus.
        capacity, capacity_at_best: what the conductor may carry for ever by a table, laid the
            hottest and the coolest way; None where there is none.
        why_no_capacity: why, with what to do.
        bus_insulation: lowest short-time voltage that everything on the bus withstands; None
            for a branch on cells alone.
        ambient: air around the fuse; None where nobody asked.
        resistor: what the pre-charge resistor passes, for its own wires; else None.
    """

    name: str
    kind: str
    power: Finding
    current: Finding
    lowest_bus: Finding
    length: Finding
    tap_length: Finding
    section: Finding
    insulation_voltage: Finding
    insulation_class: Finding
    fused_poles: str
    fuse: BranchFuse
    capacitance: Finding
    highest_voltage: Finding
    fault_highest: Finding
    upstream_long: Finding
    voltage_empty: Finding
    closing_difference: Finding | None = None
    link_feeds: bool = False
    capacity: Finding | None = None
    capacity_at_best: Finding | None = None
    why_no_capacity: str = ""
    bus_insulation: Finding | None = None
    ambient: Finding | None = None
    charging: Finding | None = None
    stub_heat: Finding | None = None
    resistor: ResistorCurrent | None = None

    @property
    def key(self) -> str:
        return f"branch.{self.name}"


@value_object
class BranchDuty:
    """Figures of one branch; a figure whose inputs are open has no value."""

    load: Finding
    resistance_hot: Finding
    resistance_low: Finding
    lowest: Finding
    withstand: Finding
    own_discharge: Finding
    closing_step: Finding


def _blank(like, title: str, why: str) -> Finding:
    entry = like.formula
    return leaf(title, entry.symbol, entry.unit, None, "given",
                note=f"not known, for want of: {why}")


def _maybe(function, title: str, note: str = "", **inputs: Finding | None) -> Finding:
    """Trace, or a finding without value that names what is missing."""
    missing = [name if f is None else f.title for name, f in inputs.items()
               if f is None or not f.known]
    if missing:
        return _blank(function, title, "; ".join(missing))
    return trace(function, title, note=note, **inputs)  # type: ignore[arg-type]


def branch_load(power: Finding, current: Finding, lowest_bus: Finding) -> Finding:
    """Current of the branch: as given, or power over the lowest bus voltage."""
    if current.known:
        return current
    return _maybe(branch_current, "current of the branch at the lowest bus voltage", power=power,
                  voltage=lowest_bus)


def _load(asked: BranchAsked) -> Finding:
    """The larger of the branch's own entry and of what charging or the resistor asks of it."""
    own = wires_load(branch_load(asked.power, asked.current, asked.lowest_bus), asked.resistor)
    if asked.charging is None or not asked.charging.known:
        return own
    return largest([own, asked.charging], "current of the charge circuit") if own.known \
        else asked.charging


def branch_loops(length: Finding, section: Finding,
                 insulation_class: Finding) -> tuple[Finding, Finding]:
    """Loop resistance of a branch: hot and high for the lowest fault, cold and low for I²t."""
    hot = trace(copper_resistance, "resistance of 1 mm² at the insulation's temperature",
                resistance=ONE_HIGH, at=TABLE_AT, temperature=insulation_class)
    return (_maybe(branch_resistance, "loop resistance of the branch, hot", length=length, one=hot,
                   area=section),
            _maybe(branch_resistance, "loop resistance of the branch, least", length=length,
                   one=ONE_LOW, area=section))


def branch_lowest(voltage_empty: Finding, upstream_long: Finding, branch: Finding) -> Finding:
    """Lowest fault current at the far end of a branch."""
    loop = _maybe(with_branch, "loop of a fault at the end of the branch", upstream=upstream_long,
                  branch=branch)
    return _maybe(tr.current_at, "lowest fault current at the end of the branch",
                  voltage=voltage_empty, resistance=loop)


def branch_duty(asked: BranchAsked) -> BranchDuty:
    """Load, ends of the fault, what the conductor stands, what the capacitors do."""
    hot, low = branch_loops(asked.length, asked.section, asked.insulation_class)
    constant = _constant(asked)
    return BranchDuty(
        load=_load(asked),
        resistance_hot=hot, resistance_low=low,
        lowest=branch_lowest(asked.voltage_empty, asked.upstream_long, hot),
        withstand=_maybe(cable_withstand, "I²t that the conductor stands", constant=constant,
                         area=asked.section),
        own_discharge=_maybe(
            discharge_integral, "I²t of the branch's own capacitor into a fault elsewhere",
            note="copper of the branch alone in the loop: errs high",
            capacitance=asked.capacitance, voltage=asked.highest_voltage, resistance=low),
        closing_step=_maybe(
            discharge_integral, "I²t of the step when the main contactor closes",
            note="difference left by pre-charge; copper of the branch alone: errs high",
            capacitance=asked.capacitance, voltage=asked.closing_difference, resistance=low))


def _constant(asked: BranchAsked) -> Finding:
    if asked.insulation_class.number >= JOINT_END.number:
        return leaf("a conductor cooler than the end temperature of joints, 160 °C", "k",
                    "A√s/mm²", None, "given")
    return trace(adiabatic_constant, "adiabatic constant of the branch",
                 start=asked.insulation_class, end=JOINT_END)


def size_branch(asked: BranchAsked) -> Item:
    """Duty, specification and checks of one branch."""
    duty = branch_duty(asked)
    lines = [asked.fault_highest, duty.lowest, asked.highest_voltage, duty.withstand]
    if _loaded(asked):
        lines += [duty.load, duty.own_discharge]
        lines += [duty.closing_step] if asked.closing_difference is not None else []
    elif duty.load.known:
        lines += [duty.load]
    return Item(
        key=asked.key, title=f"Branch: {asked.name}",
        governing=f"{asked.kind}: its tap can give {asked.fault_highest.shown} at "
                  f"{asked.highest_voltage.shown}; {_load_words(asked, duty)}.",
        duty=tuple(lines), specification=_specification(asked, duty),
        checks=_checks(asked, duty), open_items=_open_items(asked, duty),
        notes=_notes(asked))


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
        judge("Fuse: breaking capacity at the highest fault", "fault range", fuse.breaking,
              "at least", asked.fault_highest,
              missing="DC breaking capacity of the branch fuse: ask the supplier",
              remedy="a fuse with enough breaking capacity; the main fuse does not limit it"),
        *_own_fuse(asked, duty),
        judge("Conductor stands what the fuse lets through", "who clears", duty.withstand,
              "at least", fuse.clearing,
              missing="; ".join(f.note or f.title for f in (duty.withstand, fuse.clearing)
                                if not f.known),
              remedy="a larger section or a faster fuse"),
        *_capacity_check(asked), *_sheet_checks(asked, duty),
        *(_load_checks(asked, duty) if _loaded(asked) else ()), *_resistor_checks(asked, duty))


def _arc_check(asked: BranchAsked) -> tuple[Check, ...]:
    """The arc of a fuse with a data sheet, where it opens on the bus."""
    if asked.bus_insulation is None or not asked.fuse.name:
        return ()
    return (arc_voltage_check("Fuse: arc voltage within the insulation of what hangs on the bus",
                              asked.fuse.arc, asked.bus_insulation, asked.highest_voltage,
                              "ask the supplier for "),)


def _capacity_check(asked: BranchAsked) -> tuple[Check, ...]:
    """The fuse may not let the conductor be overloaded for ever."""
    if not asked.fuse.rating.known:
        return ()
    title, remedy = "Conductor carries the fuse's rated current", \
        "a smaller fuse or a larger section"
    held = judge(title, "thermal load", asked.capacity, "at least", asked.fuse.rating,
                 missing=asked.why_no_capacity or "what the conductor carries is not known",
                 reason="laid the hottest way, as the brief does not say how it lies",
                 remedy=remedy)
    best = asked.capacity_at_best
    if held.verdict != FAIL:
        return (held,)
    if best is None:
        return (replace(held, verdict=CAUTION, remedy=f"look how it lies; {remedy}"),)
    free = judge(title, "thermal load", best, "at least", asked.fuse.rating, remedy=remedy,
                 reason="even alone and laid the coolest way")
    if free.verdict == FAIL:
        return (free,)
    return (replace(held, verdict=CAUTION, reason=f"{held.reason}; alone and laid the coolest "
                    f"way it carries {best.shown}", remedy=f"look how it lies; {remedy}"),)


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
    return (*pulse, *one_current(own, passes),
            carries_tries(_carries(asked, duty), fuse.part, duty.load, passes, asked.ambient),
            stands_tries(duty.withstand, asked.capacity, duty.load, passes,
                         fuse.clearing if opens and fuse.clearing.known else None))


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


def _sheet_checks(asked: BranchAsked, duty: BranchDuty) -> tuple[Check, ...]:
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
    joined = terminals_check(part.terminal_limit, asked.insulation_class)
    if joined.verdict == FAIL:
        joined = replace(joined, verdict=CAUTION)
    return (limits, *_with_its_resistance(asked, duty, part),
            replace(joined, title="Fuse: terminals stand the conductors joined to them",
                    reason=joined.reason or "the conductor may run up to its insulation's class",
                    remedy="a larger section that stays cooler; a fuse whose terminals stand the "
                           "conductor's class"))


def _with_its_resistance(asked: BranchAsked, duty: BranchDuty,
                         part: FusePart) -> tuple[Check, ...]:
    """The fuse stands in its own loop: its resistance takes from the lowest fault."""
    if asked.fuse.opens_from is None:
        return ()
    own = None if part.watt_loss is None or part.rated_current is None else trace(
        loss_resistance, "resistance of the branch fuse at its rated current",
        power=part.watt_loss, current=part.rated_current)
    loop = _maybe(with_branch, "branch and its fuse", upstream=duty.resistance_hot, branch=own)
    lowest = branch_lowest(asked.voltage_empty, asked.upstream_long, loop)
    return (judge("Fuse opens at the lowest fault, its own resistance in the loop", "who clears",
                  lowest, "at least", asked.fuse.opens_from,
                  missing=f"{SILENT}the power loss at rated current" if own is None else
                  lowest.note, remedy="a smaller fuse, a thicker or shorter conductor"),)


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
    poles = counted("poles with a fuse, by the brief's fused_poles",
                    2 if asked.fused_poles == "both" else 1, "given", RULE)
    both = judge("Fuse in both poles", "who clears", poles, "at least", BOTH_POLES,
                 remedy="a fuse in the other pole as well")
    if both.verdict == FAIL:
        both = replace(both, verdict=CAUTION,
                       reason="one pole is unfused: a second chassis fault passes it")
    remedy = "a smaller fuse, a thicker or shorter conductor"
    if asked.fuse.opens_from is not None:
        return at_tap, both, judge("Fuse opens at the lowest fault within 1 s", "who clears",
                                   duty.lowest, "at least", asked.fuse.opens_from,
                                   missing=duty.lowest.note, reason="by its clearing curve",
                                   remedy=remedy)
    opens = judge("Lowest fault above the fuse's rating", "who clears", duty.lowest, "above",
                  asked.fuse.rating, missing=duty.lowest.note, remedy=remedy)
    if opens.verdict == PASS:
        opens = Check(opens.title, opens.stage, NOT_EVALUATED, opens.figure, opens.demand,
                      opens.relation, "that it opens within 1 s is shown only by its curve",
                      "enter the fuse's curve in the parts list")
    return at_tap, both, opens


STUB_REMEDY = "a fuse at the tap, a larger stub, or a short one insulated apart: " \
              "[formula-sae-rules-2026]"


def _stub(asked: BranchAsked, duty: BranchDuty, at_tap: Check) -> Check:
    """Until the branch's fuse the conductor has only what stands before the tap.

    One that is short by the rule and does not stand the heat is a caution: it is not protected,
    only kept from faults.
    """
    heat, stands = asked.stub_heat, duty.withstand
    none = asked.tap_length.known and asked.tap_length.number == 0
    if heat is None or none or not stands.known or (heat.known and heat.number <= stands.number):
        return at_tap
    through = f"lets up to {heat.shown} through, {heat.note}" if heat.known else heat.note
    told = f"until the fuse it stands {stands.shown}, and a fault there {through}"
    words = "; ".join(w for w in (told, at_tap.reason) if w)
    verdict = CAUTION if at_tap.verdict == PASS else at_tap.verdict
    return replace(at_tap, verdict=verdict, reason=words, remedy=STUB_REMEDY)


def _capacitor_checks(asked: BranchAsked, duty: BranchDuty) -> tuple[Check, ...]:
    """Make-and-pass: a healthy fuse must survive the capacitors."""
    if asked.capacitance.known and asked.capacitance.number == 0:
        return ()
    found = [_survives("Healthy fuse survives its own capacitor feeding a fault elsewhere",
                       asked.fuse.melting, duty.own_discharge,
                       "a fuse with more pre-arcing I²t, or resistance in the branch; else count "
                       "on changing it after every fault")]
    if asked.closing_difference is not None:
        found.append(_survives("Healthy fuse passes the closing step", asked.fuse.melting,
                               duty.closing_step, "a higher pre-charge level, or more pre-arcing "
                               "I²t; for many closings the fuse's own pulse figure counts"))
    return tuple(found)


def _survives(title: str, melting: Finding, integral: Finding, remedy: str) -> Check:
    """A caution where it is not shown: the integral counts the branch's copper alone."""
    missing = "; ".join(f.note or f.title for f in (melting, integral) if not f.known)
    check = judge(title, "fault range", melting, "at least", integral, missing=missing,
                  remedy=remedy)
    if check.verdict != FAIL:
        return check
    return Check(title, check.stage, CAUTION, melting, integral, "at least",
                 "not shown: the fuse, the capacitor and the contacts add resistance that is not "
                 "counted here", remedy)


def _specification(asked: BranchAsked, duty: BranchDuty) -> tuple[Requirement, ...]:
    lines = [
        Requirement("branch fuse: rated DC voltage", f"at least {asked.highest_voltage.shown}",
                    "highest working voltage; one link alone"),
        Requirement("branch fuse: DC breaking capacity", f"at least {asked.fault_highest.shown}",
                    "every source feeds the tap"),
        Requirement("conductor and wires beside it: DC insulation voltage",
                    f"at least {asked.highest_voltage.shown}", "whole pack, also for 12 V wires")]
    if duty.lowest.known:
        lines.append(Requirement("branch fuse: current that it surely opens within 1 s",
                                 f"at most {duty.lowest.shown}", "far end, cold, empty, hot "
                                 "conductor"))
    if duty.load.known:
        lines.append(Requirement("branch fuse: continuous current in the box's air",
                                 f"at least {duty.load.shown}", "failed pre-charge, or what the "
                                 "brief states" if asked.resistor else
                                 "load at the lowest voltage"))
    if duty.withstand.known:
        lines.append(Requirement("branch fuse: total clearing I²t at this DC voltage",
                                 f"at most {duty.withstand.shown}", "what the conductor stands"))
    if duty.own_discharge.known and duty.own_discharge.number > 0:
        lines.append(Requirement("branch fuse: pre-arcing I²t",
                                 f"at least {duty.own_discharge.shown}",
                                 "own capacitor feeding a fault elsewhere"))
    if asked.resistor is not None:
        pulses = outlives_charges(asked.fuse.melting, asked.resistor).demand
        assert pulses is not None
        lines.append(Requirement("branch fuse: pre-arcing I²t for every pre-charge",
                                 f"at least {pulses.shown}", "one pulse a charge, for life"))
    return tuple(lines)


def _open_items(asked: BranchAsked, duty: BranchDuty) -> tuple[str, ...]:
    asks = [(asked.fuse.rating, "rated current of the branch's own fuse"),
            (asked.fuse.breaking, "branch fuse: DC breaking capacity (supplier)"),
            (asked.fuse.clearing, "branch fuse: total clearing I²t in DC (supplier)"),
            (asked.insulation_voltage, "DC rating of the branch's insulation"),
            (asked.section, "conductor section of the branch")]
    if _loaded(asked):
        asks += [(duty.load, "power or current of the load"),
                 (asked.capacitance, "input capacitance of the load")]
    return tuple(words for finding, words in asks if not finding.known)
