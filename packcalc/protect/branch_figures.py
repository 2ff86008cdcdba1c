"""Figures of a branch: its loop, both ends of its fault current, what capacitors put into it.

A branch is sized from the fault at its tap, not from its load; `protect.branches` holds these
figures against the conductor and the fuse.
"""

from __future__ import annotations

import functools

from packcalc import transients as tr
from packcalc.conductors import (
    ONE_HIGH, TABLE_AT, adiabatic_constant, cable_withstand, copper_resistance, wire_resistance,
)
from packcalc.electrical import resistance_sum
from packcalc.findings import (
    AT_MOST, OR_LESS, Finding, Origin, formula, largest, leaf, trace, with_more,
)
from packcalc.layout_findings import open_length
from packcalc.part_checks.precharge_wires import ResistorCurrent, wires_load
from packcalc.part_formulas import loss_resistance
from packcalc.parts import FusePart
from packcalc.value import value_object

RULE = Origin("rule")
# How a note says that a lowest current is only the most that it can be.
FUSE_LOSS = ("the resistance of the branch's own fuse takes from it and is not known; "
             "ask for its power loss at rated current")
SENSE, PRECHARGE = "sense", "pre-charge"
# Ω/m of 1 mm²: bare annealed copper.
ONE_LOW = leaf("lowest resistance of copper for each metre of 1 mm²", "r_1", "mΩ/m", 17.24e-3,
               "remembered, consistent", source="packcalc-rule", origin=RULE,
               note="annealed copper of full section at 20 °C; IEC 60228 lies 5 to 16 % above")
COLDEST = leaf("coldest wire that is counted", "θ", "°C", 273.15 - 50.0, "assumed",
               source="packcalc-rule", origin=RULE,
               note="lower end of the copper formula's range: the time constant errs long")
JOINT_END = leaf("end temperature of joints and insulation", "θ_end", "°C", 160.0 + 273.15,
                 "assumed", source="packcalc-rule", origin=RULE,
                 note="lowest in IEC 60364-5-54 below 300 mm²; errs low")
HOT_CLASS = leaf("temperature class counted before a fault, left open", "θ_ins", "°C",
                 150.0 + 273.15, "assumed", source="packcalc-rule", origin=RULE,
                 note="the hottest usual one below the end temperature of joints")
STANDS_LESS = (f"{AT_MOST}: the class of its insulation is left open, and the conductor of a "
               "hotter one stands less")


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


def fuse_without_sheet(rating: Finding, name: str = "",
                       part: FusePart | None = None) -> BranchFuse:
    """A branch fuse of which the rated current alone is known, if that, or not asked yet."""
    return BranchFuse(name, rating, _sheet("rated DC voltage of the branch fuse", "U_n", "V"),
                      _sheet("DC breaking capacity of the branch fuse", "I_1", "A"),
                      _sheet("pre-arcing I²t of the branch fuse", "I²t_p", "A²s"),
                      _sheet("total clearing I²t of the branch fuse", "I²t_c", "A²s"), part=part)


@value_object
class Weakest:
    """The lowest current at another place that a branch's fuse is counted on to open.

    Attributes:
        lowest: of the place.
        title: of the place.
        nobody: whether nobody at all is there to open it, should the fuse not.
    """

    lowest: Finding
    title: str
    nobody: bool


@value_object
class AtCharge:
    """What closes onto the charger's side of a branch at every charge.

    Attributes:
        difference: V across the open contact.
        capacitance: of the charger's output, or of the inlet's own and the station's.
        stated: whether the brief gives the difference; else the charger counts as empty.
    """

    difference: Finding
    capacitance: Finding
    stated: bool

    @property
    def empty(self) -> str:
        """How it counts where nobody said, and what to say; empty where somebody did."""
        return "" if self.stated else (f"counted as closing onto an empty charger, "
                                       f"{self.difference.shown}: say path.charge_difference")


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
        poles_open: whether nobody said which: "one", with two fuses in the lowest current.
        fuse_untold: whether nobody said if it has a fuse.
        upstream_open: what is counted of traction cables of unknown length before it; else empty.
        hottest: class that its conductor counts with for the lowest current; None for its own.
        fuse: its data sheet as far as known.
        capacitance: of the load's input, at its upper tolerance.
        near: length counted where capacitors feed it, or less where it is left open; None for its
            length.
        at_charge: what closes onto it at every charge; None where nothing does.
        highest_voltage: highest working voltage of the pack.
        fault_highest: what its fuse must break at the worst of all fault places, every source.
        time_constant: longest that its fuse meets there, at full voltage; None where not known.
        slower_loops: (voltage, time constant) of loops at lower voltages.
        upstream_long: loop resistance up to the tap, cold, aged, long pulse.
        voltage_empty: open-circuit voltage, empty.
        closing_difference: V left across the main contactor when it closes; None for a
            branch that is always connected.
        link_feeds: whether the DC-link capacitors stand on the same bus.
        capacity, capacity_at_best: what the conductor may carry for ever by a table, laid the
            hottest and the coolest way; None where there is none.
        capacity_below: where no table knows the conductor, more than it can carry.
        why_no_capacity: why, with what to do.
        bus_insulation: lowest short-time voltage that everything on the bus withstands; None
            for a branch on cells alone.
        ambient: air around the fuse; None where nobody asked.
        resistor: what the pre-charge resistor passes, for its own wires; else None.
        weakest: what the fuse must open elsewhere, where that is less than at the far end.
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
    capacity_below: Finding | None = None
    why_no_capacity: str = ""
    bus_insulation: Finding | None = None
    ambient: Finding | None = None
    charging: Finding | None = None
    stub_heat: Finding | None = None
    resistor: ResistorCurrent | None = None
    weakest: Weakest | None = None
    time_constant: Finding | None = None
    slower_loops: tuple[tuple[Finding, Finding], ...] = ()
    near: Finding | None = None
    at_charge: AtCharge | None = None
    hottest: Finding | None = None
    poles_open: bool = False
    fuse_untold: bool = False
    upstream_open: str = ""

    @property
    def key(self) -> str:
        return f"branch.{self.name}"

    @property
    def own_fuses(self) -> Finding | None:
        """Resistance of its fuses in the loop from pole to pole; None where not known."""
        return fuses_resistance(
            self.fuse.part, 2 if self.fused_poles == "both" or self.poles_open else 1)

    @property
    def class_open(self) -> bool:
        """Whether nobody said the class of its insulation."""
        return self.hottest not in (None, self.insulation_class)

    @property
    def fuse_open(self) -> bool:
        """Whether it has a fuse, or may, and nobody said what that puts into the loop."""
        return self.own_fuses is None and (
            self.fuse.rating.known or bool(self.fuse.name) or self.fuse_untold)


@value_object
class BranchDuty:
    """Figures of one branch; a figure whose inputs are open has no value.

    Of a branch onto which nothing closes at a charge `charge_step` is None.
    """

    load: Finding
    resistance_low: Finding
    lowest: Finding
    withstand: Finding
    own_discharge: Finding
    closing_step: Finding
    charge_step: Finding | None = None


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


def cold_conductor(length: Finding, area: Finding, cables: Finding) -> Finding:
    """Least resistance of one conductor, at its coldest; without value where one is not known."""
    return _maybe(wire_resistance, "one conductor at its coldest", length=length, one=_coldest(),
                  area=area, cables=cables)


@functools.cache
def _coldest() -> Finding:
    return trace(copper_resistance, "resistance of 1 mm² at the coldest wire",
                 resistance=ONE_LOW, at=TABLE_AT, temperature=COLDEST)


def fuses_resistance(part: FusePart | None, fuses: int) -> Finding | None:
    """Resistance of so many equal fuses of a branch in one loop, at most two.

    Returns:
        None without a fuse, or where its sheet does not say what it loses.
    """
    if not fuses or part is None or part.watt_loss is None or part.rated_current is None:
        return None
    one = trace(loss_resistance, "resistance of the branch fuse at its rated current",
                power=part.watt_loss, current=part.rated_current)
    return one if fuses == 1 else trace(resistance_sum, "both fuses of the branch", unit="mΩ",
                                        first=one, second=one)


def branch_wires(hot: Finding, fuses: Finding | None) -> Finding:
    """A branch's own part of a loop: its hot conductors, and its fuses where these are known."""
    if fuses is None or not hot.known:
        return hot
    return trace(resistance_sum, "loop resistance of the branch, hot, with its own fuses",
                 unit="mΩ", first=hot, second=fuses)


def only_at_most(found: Finding) -> bool:
    """Whether it may be less than its value: a lowest current then shows no device to act."""
    return found.note.startswith(AT_MOST)


def at_most(*whys: str) -> str:
    """The note of a current that may be less for any of some reasons; empty without one."""
    told = [why for why in whys if why]
    return f"{AT_MOST}: {'; '.join(told)}" if told else ""


def told_with_bound(finding: Finding) -> str:
    """A figure as printed; what is only the most that it can be says so, and why."""
    return finding.note.replace(AT_MOST, f"at most {finding.shown}", 1) \
        if only_at_most(finding) else finding.shown


def branch_lowest(voltage_empty: Finding, upstream_long: Finding, branch: Finding,
                  bound: str = "") -> Finding:
    """Lowest fault current at the far end of a branch.

    Args:
        voltage_empty, upstream_long: of what feeds it.
        branch: of `branch_wires`.
        bound: of `at_most`: a fuse of unknown resistance in the loop, a length left open.
    """
    loop = _maybe(with_branch, "loop of a fault at the end of the branch", upstream=upstream_long,
                  branch=branch)
    return _maybe(tr.current_at, "lowest fault current at the end of the branch",
                  bound, voltage=voltage_empty, resistance=loop)


def branch_duty(asked: BranchAsked) -> BranchDuty:
    """Load, ends of the fault, what the conductor stands, what the capacitors do."""
    hot, low = branch_loops(asked.length, asked.section, asked.hottest or asked.insulation_class)
    if asked.near is not None:
        _, low = branch_loops(asked.near, asked.section, asked.insulation_class)
        if low.known and asked.near.may_be_less:
            low = low.called(note=f"copper alone{OR_LESS}{asked.near.may_be_less}")
    return BranchDuty(
        load=_load(asked),
        resistance_low=low,
        lowest=branch_lowest(asked.voltage_empty, asked.upstream_long,
                             branch_wires(hot, asked.own_fuses), at_most(
                                 FUSE_LOSS if asked.fuse_open else "",
                                 open_length(asked.length), asked.upstream_open)),
        withstand=branch_withstand(asked.section, asked.insulation_class, asked.class_open),
        own_discharge=_pulse(
            "I²t of the branch's own capacitor into a fault elsewhere", low,
            asked.capacitance, asked.highest_voltage),
        closing_step=_pulse(
            "I²t of the step when the main contactor closes", low, asked.capacitance,
            asked.closing_difference, "difference left by pre-charge; "),
        charge_step=None if asked.at_charge is None else _pulse(
            "I²t of the step at every charge", low, asked.at_charge.capacitance,
            asked.at_charge.difference, "the charge contactor, or the station's, closes; "))


def _pulse(title: str, resistance: Finding, capacitance: Finding, voltage: Finding | None,
           note: str = "") -> Finding:
    """Of a capacitor that fills or empties through the branch."""
    open_ = resistance.may_be_less
    side = "" if open_ else ": errs high"
    return with_more(_maybe(
        discharge_integral, title,
        note=f"{note}copper of the branch alone{'' if note else ' in the loop'}{side}",
        capacitance=capacitance, voltage=voltage, resistance=resistance), open_)


def branch_withstand(section: Finding, insulation_class: Finding, open_: bool = False) -> Finding:
    """I²t that the conductor of a branch stands; without value where its section is not known.

    Args:
        section, insulation_class: of the conductor.
        open_: whether nobody said its class: the hottest that is known counts, as the most.
    """
    return _maybe(cable_withstand, "I²t that the conductor stands", STANDS_LESS if open_ else "",
                  constant=_constant(HOT_CLASS if open_ else insulation_class), area=section)


def _constant(insulation_class: Finding) -> Finding:
    if insulation_class.number >= JOINT_END.number:
        return leaf("a conductor cooler than the end temperature of joints, 160 °C", "k",
                    "A√s/mm²", None, "given")
    return trace(adiabatic_constant, "adiabatic constant of the branch",
                 start=insulation_class, end=JOINT_END)
