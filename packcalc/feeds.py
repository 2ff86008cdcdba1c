"""What feeds a fault: pack, one string, one module, link capacitors, charger, motor.

Highest: new, hot, full, millisecond resistance, nothing counted between source and fault.
Lowest: cold, aged, empty, long-pulse resistance, one string. Each figure keeps its chain.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

import numpy as np

from packcalc import electrical as el
from packcalc import modules as mod
from packcalc import transients as tr
from packcalc.brief import Branch, Brief, ModulesOnHand
from packcalc.brief_keys import NO_CAPACITOR, TAP_CHOICES, key
from packcalc.contacts import contacts_open
from packcalc.findings import (
    OR_LESS, Finding, Origin, largest, leaf, smallest, trace, untold_of, with_more,
)
from packcalc.layout_findings import (
    cables_inside, cables_open, count, open_length, path_open, told_by,
)
from packcalc.monitoring import cell_share
from packcalc.pack import PackModel, fault_side
from packcalc.pack_charging import full_module, within
from packcalc.parts import FUSE, FusePart
from packcalc.protect.branch_figures import (
    PRECHARGE, SENSE, added_capacitance, fuses_resistance,
)
from packcalc.protect.contactor import ringing_bound
from packcalc.protect.faults import (
    FaultRange,
    fault_loop_inductance,
    parallel_source_current,
    prospective_fault_current,
)
from packcalc.protect.places import cell_resistance, resistance_left, run_inductance
from packcalc.protect.strings import pair_resistance
from packcalc.screening import LONGEST_PULSE
from packcalc.units import into_si
from packcalc.value import replace, value_object

RULE = Origin("rule")
LEAST_PER_LENGTH = leaf("least inductance of a conductor pair for each metre", "L'", "µH/m",
                        0.5e-6, "assumed", source="packcalc-rule", origin=RULE,
                        note="touching pair; the smaller it is, the higher the capacitors' peak")
NO_PACK = leaf("inductance of the pack in the capacitors' loop", "L_0", "µH", 0.0, "definition",
               origin=RULE, note="the capacitors do not discharge through the pack")
SHORT_RUN = leaf("length counted for a run that no entry tells", "l", "m", 0.5, "assumed",
                 source="packcalc-rule", origin=RULE,
                 note="short, where the capacitors' current is asked: a longer one has less")
OPEN_RUN = SHORT_RUN.called(
    "length counted for a run that is left open",
    note=f"{SHORT_RUN.note}{OR_LESS}a length left open is counted as {SHORT_RUN.shown} where the "
         "capacitors' current is asked, our assumption, and may be less")
SLOPE_POINTS = 41
AHEAD, BUS = TAP_CHOICES[0], TAP_CHOICES[2]
BARE = NO_CAPACITOR
# As an open DC link counts with more than an inverter usually holds: no figure is a pass for none.
OPEN_INPUT = leaf("input capacitance, left open", "C_br", "mF", 1e-3, "assumed",
                  source="packcalc-rule", origin=RULE,
                  note="not known, and counted as more than a converter or charger usually holds: "
                       "with less, pre-charge and discharge are shorter and the fault's peak is "
                       "lower than printed; with more they are longer and it is higher")


# -- the bus --------------------------------------------------------------------------------


def standing(branch: Branch, strung: bool) -> Branch:
    """A branch where it can stand.

    Strings have no contactor behind the main fuse: pre-charge bridges a string's own, and its
    wires begin between that and the string's fuse, whatever the brief says of them.
    """
    if not strung or branch.kind != PRECHARGE or branch.taps == AHEAD:
        return branch
    return replace(branch, taps=AHEAD)


def wherever(brief: Brief, branch: Branch, strung: bool) -> tuple[Branch, ...]:
    """A branch where it stands; where nobody said where it leaves, once at every tap there is.

    Each end asks for more of something: ahead nobody stands before it, on the bus more feeds it.
    """
    fixed = branch.kind == SENSE or (strung and branch.kind == PRECHARGE)
    if fixed or not brief.taps_open(branch):
        return (standing(branch, strung),)
    return tuple(replace(branch, taps=taps) for taps in TAP_CHOICES)


def on_the_bus(brief: Brief, strung: bool) -> tuple[Branch, ...]:
    """Branches that are pre-charged and discharged with the DC link, and feed a fault with it.

    Args:
        brief: with its branches.
        strung: whether strings are paralleled. They join behind their own contactors: all that
            leaves from where they join then lies on the bus, with a fuse between at most.
    """
    return tuple(b for b in brief.branch
                 if b.taps == BUS or (strung and b.kind != SENSE))


def perhaps_on_the_bus(brief: Brief, strung: bool) -> tuple[Branch, ...]:
    """Those and the ones of which nobody said where they leave the main circuit."""
    sure = on_the_bus(brief, strung)
    return tuple(b for b in brief.branch
                 if b in sure or (b.kind != SENSE and brief.taps_open(b)))


def string_cables_open(brief: Brief) -> str:
    """Of cables inside a string whose length nobody told: what is counted of them; else empty."""
    length = brief.path.string_cable_length
    return f"{told_by(length)}cables inside a string are left open and counted as " \
        f"{length.shown}, our assumption, and may be more" if open_length(length) else ""


def untold_in(brief: Brief, pack: PackModel, figure: Finding,
              cables: str | None = None) -> str:
    """What nobody told of the main path and its cables that may take more from a lowest current.

    Args:
        brief, pack: of the layout.
        figure: the current, or the resistance that it rests on.
        cables: what `cables_open` says of the brief, where it is known already.

    Returns:
        What is counted in its place, in words; empty where the figure rests on nothing open.
    """
    along = cables_open(brief) if cables is None else cables
    inside = contacts_open(brief)
    if along and not _through(figure, pack.cables_long):
        # Whatever passes the links passes the disconnect between them, or a connector.
        along = inside if inside and any(
            node.origin is brief.path.link_resistance.origin for node in _chain(figure)) else ""
    return path_open(brief, figure, along)


def _through(finding: Finding, part: Finding) -> bool:
    """Whether a figure rests on a part of the loop; not where that was taken out again."""
    return any(one.formula is part.formula and one.value == part.value
               for one in _chain(finding, resistance_left))


def _chain(finding: Finding, taken_out: Callable | None = None) -> Iterator[Finding]:
    """A figure and what it rests on, itself first; nothing past a formula that takes it out.

    As `Finding.walk` does, which keeps all that it has walked: dear for a figure that is new.
    """
    waiting, seen = [finding], set()
    while waiting:
        one = waiting.pop()
        if id(one) in seen:
            continue
        seen.add(id(one))
        yield one
        if taken_out is None or one.formula is None or one.formula.function is not taken_out:
            waiting.extend(one.inputs)


def bus_capacitance(brief: Brief, strung: bool) -> Finding:
    """DC link and all that is on the bus or may be, nominal; what is open has `OPEN_INPUT`."""
    branches = perhaps_on_the_bus(brief, strung)
    return with_more(_with_link(brief, branches, "capacitance on the bus"),
                     _capacitance_open(brief, branches))


def fault_capacitance(brief: Brief, strung: bool, *, beyond_main: bool = False) -> Finding:
    """As `bus_capacitance`, with the branches ahead of the contactors: a fault empties them too.

    Args:
        brief, strung: as of `on_the_bus`.
        beyond_main: leaves out what stands between the modules and the main fuse.
    """
    branches = tuple(b for b in brief.branch if b.kind != SENSE and (
        strung or b.taps != AHEAD or not beyond_main))
    return with_more(_with_link(brief, branches, "capacitance that empties into a fault"),
                     _capacitance_open(brief, branches))


def _capacitance_open(brief: Brief, branches: Iterable[Branch]) -> str:
    """Of DC link and branches: what is counted for one that nobody told; else empty."""
    link = brief.inverter.dc_link_capacitance
    if brief.left_open("inverter.dc_link_capacitance"):
        return f"{told_by(link)}the capacitance of the DC link is left open and counted as " \
            f"{link.shown}, our assumption, and may be more"
    return next((f"{told_by(b.capacitance)}the input capacitance of {b.name} is left open and "
                 f"counted as {OPEN_INPUT.shown}, our assumption, and may be more" for b in branches
                 if b.kind not in BARE and not b.capacitance.known), "")


def nearest(length: Finding) -> Finding:
    """A run where the capacitors' current through it is asked; of one left open a short one."""
    if length.basis != "assumed":
        return length
    return OPEN_RUN.called(note=OPEN_RUN.note.replace(OR_LESS, OR_LESS + told_by(length)))


def summed(first: Finding, others: Iterable[Finding | None],
           title: str = "highest current, all sources") -> Finding:
    """A current with every further one that is known; or more, where that of one may be."""
    total = first
    for one in others:
        if one is not None and one.known:
            total = with_more(trace(parallel_source_current, title, first=total, second=one),
                              untold_of((total, one)))
    return total


def _with_link(brief: Brief, branches: Iterable[Branch], title: str) -> Finding:
    total = brief.inverter.dc_link_capacitance
    for branch in branches:
        bare = branch.kind in BARE
        held = branch.capacitance if branch.capacitance.known else None if bare else OPEN_INPUT
        if held is not None and not (bare and held.number == 0.0):  # a wire adds no line of its own
            total = trace(added_capacitance, title, first=total,
                          second=held.called(f"input capacitance of {branch.name}"))
    return total


# -- every source ---------------------------------------------------------------------------


@value_object
class ModuleFeed:
    """One module, or one group of paralleled modules, as a source.

    Attributes:
        voltage_full, voltage_empty: of one module, at either end of the charge window.
        resistance_initial, resistance_long: of the module or group.
        highest: its short-circuit at the first; the largest of all module types.
        lowest: its short-circuit at the second, no wire counted.
    """

    voltage_full: Finding
    voltage_empty: Finding
    resistance_initial: Finding
    resistance_long: Finding
    highest: Finding
    lowest: Finding


@value_object
class CellFeed:
    """One series element of one module, between two neighbouring sense wires, at its weakest.

    Attributes:
        voltage_empty: lowest of all module types.
        resistance_long: cold, aged, long pulse; the highest of all module types.
        lowest: its short-circuit, no wire counted.
    """

    voltage_empty: Finding
    resistance_long: Finding
    lowest: Finding


@value_object
class StringFeed:
    """One string of several as a source.

    Attributes:
        resistance_initial: modules alone, new, hot.
        resistance_long: with its path, cold, aged; cables left out.
        capacity: as it is now.
        slope, hysteresis: of its rest voltage over the charge window.
    """

    resistance_initial: Finding
    resistance_long: Finding
    capacity: Finding
    slope: Finding
    hysteresis: Finding


@value_object
class Feeds:
    """Every source of one layout.

    Attributes:
        faults: both ends at the pack's terminals and at the end of the long path.
        module: the strongest type above, the weakest below.
        cell: the weakest series element.
        string: None unless strings are paralleled.
        resistance_box: lowest-fault loop without the cables.
        pack_inductance, per_length: of modules and links; of a route.
        capacitance: DC link and every branch on the bus, at its upper tolerance.
        fault_capacitance: the same with the branches ahead of the contactors.
        charger: current that the charger adds.
        motor: current that a spinning motor adds through a dead inverter; may lack a value.
    """

    brief: Brief
    pack: PackModel
    faults: FaultRange
    module: ModuleFeed
    cell: CellFeed
    string: StringFeed | None
    resistance_box: Finding
    pack_inductance: Finding
    per_length: Finding
    capacitance: Finding
    fault_capacitance: Finding
    charger: Finding
    motor: Finding

    @property
    def strings(self) -> int:
        """Strings side by side; 1 for a grouped pack."""
        return self.pack.layout.parallel if self.string is not None else 1

    def link_peak(self, length: Finding) -> Finding:
        """Peak of the link capacitors' current at a distance, no resistance counted.

        A bound, but where a length or an input capacitance is left open: it may then be more.
        """
        near = nearest(length)
        open_ = near.may_be_less or self.fault_capacitance.untold_more
        side = "" if open_ else ": errs high"
        return with_more(trace(
            ringing_bound, f"peak current from the link capacitors{'' if open_ else ', a bound'}",
            difference=self.pack.highest_voltage, inductance=self.least_inductance(near),
            capacitance=self.fault_capacitance,
            note=f"fractions of a millisecond; no resistance counted{side}"), open_)

    def least_inductance(self, near: Finding) -> Finding:
        """Between the link capacitors and the far end of a run, as `nearest` counts it."""
        return trace(fault_loop_inductance, "least inductance to the link capacitors",
                     pack_inductance=NO_PACK, per_length=LEAST_PER_LENGTH, run_length=near)

    def with_sources(self, *extra: Finding | None) -> Finding:
        """Highest battery current with every further source that has a value."""
        return summed(self.faults.highest, extra)

    def run_voltage(self, modules: Finding, title: str) -> Finding:
        """Highest voltage of some of the modules in series."""
        return within(trace(el.series_voltage, title, series=modules,
                            module_voltage=self.module.voltage_full), self.pack.full_voltage)

    def left_in_string(self, modules: int) -> Finding:
        """Cold and aged, what is left of a string with some modules shorted in it.

        Of unlike modules nobody knows which are shorted: the whole string is counted, errs low.
        """
        assert self.string is not None
        if len(self.pack.layout.parts) > 1:
            return self.string.resistance_long
        return trace(resistance_left, "what is left of the faulted string, cold and aged",
                     whole=self.string.resistance_long, part=trace(
                         el.stack_resistance, "modules out of balance, cold and aged",
                         series=count("modules out of balance", "n", modules),
                         parallel=count("as it stands", "P", 1),
                         module_resistance=self.module.resistance_long))

    def of_run(self, modules: int) -> Finding:
        """Inductance of some of the modules in series, with every cable inside the string."""
        own = trace(run_inductance, whole=self.pack_inductance,
                    modules=count("modules in the run", "n", modules), series=self.pack.series)
        if not cables_inside(self.brief):
            return own
        return with_more(trace(
            fault_loop_inductance, "inductance of the run with the cables inside the string",
            pack_inductance=own, per_length=self.per_length,
            run_length=self.brief.path.string_cable_length), string_cables_open(self.brief))


def feeds_of(brief: Brief, pack: PackModel, faults: FaultRange, *, pack_inductance: Finding,
             per_length: Finding) -> Feeds:
    """Every source of a layout.

    Args:
        brief, pack, faults: of the layout.
        pack_inductance: H, modules and links.
        per_length: H/m, both conductors of a route.
    """
    box = trace(resistance_left, "loop of the lowest fault without the cables",
                whole=pack.resistance_long, part=pack.cables_long)
    strung = pack.layout.in_strings
    on_bus, in_fault = (
        with_more(trace(tr.largest_capacitance, capacitance=whole,
                        tolerance=brief.inverter.dc_link_tolerance), whole.untold_more)
        for whole in (bus_capacitance(brief, strung), fault_capacitance(brief, strung)))
    string = _string(brief, pack, box) if strung else None
    return Feeds(brief, pack, faults, _module(brief, pack), _cell(brief, pack), string, box,
                 pack_inductance, per_length, on_bus, in_fault, pack.charging_current,
                 brief.motor.short_circuit_current)


# -- one module -----------------------------------------------------------------------------


def _on_hand(brief: Brief, pack: PackModel) -> list[ModulesOnHand]:
    return [brief.modules[part.entry] for part in pack.layout.parts]


def _long(brief: Brief, on_hand: ModulesOnHand) -> Finding:
    pulse = leaf("longest pulse that the cell tables cover", "t", "s", LONGEST_PULSE, "definition",
                 origin=RULE)
    return mod.traced_resistance(on_hand.module, brief.battery.coldest_closed,
                                 brief.battery.charge_lowest, pulse, on_hand.resistance_growth)


def _module(brief: Brief, pack: PackModel) -> ModuleFeed:
    """The strongest type for the highest current, the weakest for the lowest."""
    grouped = pack.layout.arrangement != "strings"
    beside = count("modules paralleled at their ends", "P",
                   pack.layout.parallel if grouped else 1)
    one = count("one module in series", "S", 1)
    high, low = [], []
    for on_hand in _on_hand(brief, pack):
        module = on_hand.module
        full = full_module(brief, on_hand).called("full voltage of one module")
        empty = mod.traced_ocv_low(module, brief.battery.charge_lowest)
        initial = trace(el.stack_resistance, "module or group, first millisecond: new, hot",
                        series=one, parallel=beside, module_resistance=fault_side(on_hand))
        long = trace(el.stack_resistance, "module or group, long pulse: cold, aged, empty",
                     series=one, parallel=beside, module_resistance=_long(brief, on_hand))
        high.append((full, initial, trace(prospective_fault_current,
                                          "highest current of one module's terminals",
                                          voltage=full, resistance=initial)))
        low.append((empty, long, trace(prospective_fault_current,
                                       "lowest current of one module's terminals",
                                       voltage=empty, resistance=long)))
    strong = max(high, key=lambda h: h[2].number)
    weak = min(low, key=lambda h: h[2].number)
    return ModuleFeed(strong[0], weak[0], strong[1], weak[1],
                      largest([h[2] for h in high], "highest current of one module"),
                      smallest([h[2] for h in low], "lowest current of one module"))


def _cell(brief: Brief, pack: PackModel) -> CellFeed:
    """Modules beside it feed a shorted cell through their other cells alone: not counted."""
    volts, ohms = [], []
    for on_hand in _on_hand(brief, pack):
        cells = count("cells in series of one module", "n", on_hand.module.series)
        volts.append(trace(cell_share, "voltage of one cell, empty", cells=cells,
                           voltage=mod.traced_ocv_low(on_hand.module,
                                                      brief.battery.charge_lowest)))
        ohms.append(trace(cell_resistance, cells=cells, module=_long(brief, on_hand)))
    voltage = smallest(volts, "voltage of one cell, empty")
    resistance = largest(ohms, "resistance of one cell, long pulse: cold, aged, empty")
    return CellFeed(voltage, resistance, trace(
        prospective_fault_current, "lowest current of one cell", voltage=voltage,
        resistance=resistance))


# -- a branch's own fuses -------------------------------------------------------------------


def own_fuses(brief: Brief, branch: Branch, wires: int) -> Finding | None:
    """Resistance of a branch's own fuses in a loop through one or both of its wires.

    Args:
        brief: with its parts list.
        branch: with the name of its fuse.
        wires: of the branch in the loop: 2 from pole to pole, 1 through the chassis, which is
            counted through the pole without a fuse where there is one. Where nobody said in
            how many poles its fuse stands it takes from the current of each.

    Returns:
        None where no fuse stands in the loop, or its sheet does not say what it loses.
    """
    both = branch.fused_poles == "both" or brief.branch_open(branch, "fused_poles")
    return fuses_resistance(named_fuse(brief, branch), wires if both else wires - 1)


def hottest_class(brief: Brief, branch: Branch) -> Finding:
    """What a branch's conductor counts with for the lowest current: the hotter, the lower.

    Left open it is the hottest that the entry may say.
    """
    own = branch.insulation_class
    if not brief.branch_open(branch, "insulation_class"):
        return own
    entry = key("branch.insulation_class")
    return leaf(own.title, own.symbol, own.unit, into_si(float(entry.most or 0.0), entry.unit),
                "assumed", source="packcalc-rule", origin=own.origin,
                note="left open: the hottest that it may be, for the lowest current")


def may_be_fused(brief: Brief, branch: Branch) -> bool:
    """Whether nobody said if a branch has a fuse of its own."""
    return not (branch.fuse_rating.known or branch.fuse_part) \
        and brief.branch_open(branch, "fuse_rating")


def named_fuse(brief: Brief, branch: Branch) -> FusePart | None:
    """The row of the parts list that the brief names for a branch; None where it names none."""
    return brief.parts.list.part(FUSE, branch.fuse_part) if branch.fuse_part else None


# -- one string -----------------------------------------------------------------------------


def _string(brief: Brief, pack: PackModel, box: Finding) -> StringFeed:
    one = count("one string", "P", 1)
    parts = [trace(el.stack_resistance, "modules of one string, first millisecond",
                   series=count("modules in series", "S", part.series), parallel=one,
                   module_resistance=fault_side(on_hand))
             for part, on_hand in zip(pack.layout.parts, _on_hand(brief, pack), strict=True)]
    initial = parts[0] if len(parts) == 1 else trace(
        pair_resistance, "modules of one string, first millisecond", first=parts[0],
        second=parts[1])
    capacity = smallest([trace(el.pack_capacity, "capacity of one string", parallel=one,
                               module_capacity=o.module.capacity,
                               state_of_health=o.state_of_health)
                         for o in _on_hand(brief, pack)], "capacity of one string")
    return StringFeed(initial, box, capacity, *_flatness(brief, pack))


def _flatness(brief: Brief, pack: PackModel) -> tuple[Finding, Finding]:
    """Least slope of a string's rest voltage in the window, and its hysteresis."""
    points = np.linspace(brief.battery.charge_lowest.number, brief.battery.charge_highest.number,
                         SLOPE_POINTS)
    slope = gap = 0.0
    for part, on_hand in zip(pack.layout.parts, _on_hand(brief, pack), strict=True):
        module = on_hand.module
        curves = (*module.low_curves, *module.high_curves)
        rise = min(float(np.min(np.diff(c.voltage(points)) / np.diff(points))) for c in curves)
        slope += part.series * module.series * rise
        gap += part.series * module.series * 2.0 * module.half_gap.number
    window = (f"{brief.battery.charge_lowest.shown} to {brief.battery.charge_highest.shown}, "
              f"{SLOPE_POINTS} points, the flattest published curve")
    return (leaf("least rise of a string's rest voltage per whole charge", "dU/dz", "V", slope,
                 "computed", source="packcalc-rule", origin=Origin("curves of the class"),
                 note=window),
            leaf("gap of a string's rest voltage after charge and after discharge", "h", "V", gap,
                 "computed", source="packcalc-rule", origin=Origin("curves of the class")))
