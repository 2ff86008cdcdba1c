"""The build sheet: sections and links in order, what is live at each step, what to write down."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence

from packcalc.bench.balance import WITHIN, BalancePlan
from packcalc.bench.sections import Run
from packcalc.bench.stored import of_type
from packcalc.bench.teardown import Stack, Step, assembly, band, section_energy
from packcalc.brief import ModulesOnHand
from packcalc.cable_rules import section_words
from packcalc.checks import FAIL, Item
from packcalc.electrical import series_sum
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.handover.at_assembly import AtAssembly, at_assembly
from packcalc.handover.commission import design_stops
from packcalc.handover.devices import (
    CHARGE_CONTACTOR,
    INSIDE_FUSE,
    RELAY,
    RESISTOR,
    Device,
    devices_of,
)
from packcalc.handover.figures import Figures
from packcalc.handover.inside import (
    ACROSS,
    FUSE_INSIDE,
    INSIDE,
    TYPICAL_LINK,
    Joint,
    charge_poles,
    disconnect_of,
    disconnect_open,
    joints_of,
    open_places,
    parts_inside,
    position_word,
    strings_of,
    tags_at,
)
from packcalc.handover.sizes import in_both
from packcalc.protection import ProtectionStudy
from packcalc.value import replace, value_object

# What is no device, or stands by the line of its place.
NO_DEVICE = ("insulation", "overvoltage", "coordination", "string_coordination", "switching",
             "strings", "mid_fuse", "charge_contactor", "precharge_relay",
             "string_cables")
PAIR = "pair of fuse and contactor"
SINGULAR = {"contactors": "Main contactor", "string_contactors": "String contactor"}
PREPARATION = (
    "Two people, both told what to do: one works, one watches. Never alone.",
    "Every terminal stays capped until its link is fitted; one joint open at a time; no tool "
    "longer than the gap between two bare terminals.",
    "Pole leads, from the first and last module to fuse and contactors, stay off, capped at the "
    "module's end, until packcalc commission asks for them.",
    "Sense leads, contactor coils and 12 V stay unplugged until the stage of packcalc commission "
    "that asks for them.",
)
SENSE_FIRST = "Every sense lead is in and silent before the last joint of the string is closed."

GROUP_RULES = (
    "All modules of a group the same way round; red lead of the meter on what is marked plus: each "
    "reads above zero and within its band. Write each reading down.",
    "Any two differ by no more than the table says (10 mV a cell, less where that would exchange "
    "more than a module may be charged with); else the plan before joining again.",
    "Link the minus terminals of the group first, then the plus terminals, one module at a time. "
    "Before each plus link measure across the open gap: no more than that difference. About twice "
    "a module's voltage there is a reversed module, and the link would be a dead short: stop.",
    "A group has the voltage of one module and the short-circuit current of all of them: covers on "
    "before the next. Only whole groups are linked in series.",
)

JOINT_RULES = (
    "Stack: terminal, link or lug, plain washer, spring washer, bolt. The current passes copper "
    "or aluminium, never the bolt; no plastic in the clamped stack (Formula SAE 2013 EV4.6.8, "
    "read).",
    "Torque: the figure of the module's or part's maker, from its own sheet; packcalc knows none. "
    "Calibrated wrench, a paint mark over bolt and terminal after it, the figure written down with "
    "its unit: N·m, lbf·ft or lbf·in (10 N·m = 7.38 lbf·ft = 88.5 lbf·in). One more than 15 % off "
    "the median of its like (our rule) is looked at again.",
    "Resistance of each link with its joints: four-wire meter, probes on the terminals. Every one "
    "goes into the as-built record; packcalc commission says which of them it asks for.",
    "Outlier: a joint above the limit of the modified score (3.5, Iglewicz and Hoaglin), or half "
    "above the median of its like (our rule), or outside its own limit, is taken apart, cleaned "
    f"and torqued again. Needs five of one kind. Typical: {TYPICAL_LINK}.",
)

PHOTOGRAPHS = (
    "each module's label and your own mark on it, before it is covered",
    "the empty box: insulation, barriers, vents, drain, fixings",
    "each section with its links before the covers, torque marks legible",
    "fuses and contactors with their labels, and the pre-charge resistor as mounted",
    "cable entries, strain relief, every place that a cable passes an edge or moves",
    "sense leads and their fuses at the cell ends",
    "bonding straps and the bare metal under them",
    "creepage and clearance at the tightest place, with a rule in the picture",
    "disconnect, emergency cut point, labels and symbols, as a stranger finds them",
    "the closed box with its covers and every screw",
)


class PackStack(Stack):
    """The chain of a layout, of one module type or two in series.

    Type by type from the minus end, as the layout lists its parts.
    """

    def __init__(self, figures: Figures, charged: AtAssembly):
        pack, brief = figures.pack, figures.brief
        on_hand = [brief.modules[p.entry] for p in pack.layout.parts]
        super().__init__(
            module=on_hand[0].module, steps=pack.layout.series,
            parallel=pack.parallel if pack.layout.arrangement == "grouped" else leaf(
                "modules at each position of one string", "P", "", 1, "definition",
                origin=Origin("layout")),
            charge=charged.charge)
        places = [o for o, p in zip(on_hand, pack.layout.parts, strict=True)
                  for _ in range(p.series)]
        object.__setattr__(self, "figures", figures)
        object.__setattr__(self, "charged", charged)
        object.__setattr__(self, "places", places)

    @property
    def full_voltage(self) -> Finding:
        """The highest of the types, with the charger's tolerance: errs high for the other."""
        return self.figures.module_voltage

    def energy(self, run: Run) -> Finding:
        """Energy of a section at most: each type by its own, the whole as on every page."""
        title, mine = f"energy of section {run}, at most", self._modules(run)
        parts = [trace(section_energy, title, steps=leaf(
            f"modules in series in section {run}", "n", "", sum(o is one for o in mine),
            "definition", origin=Origin("layout")), parallel=self.parallel,
            module_energy=of_type(one), charge=self.charge) for one in dict.fromkeys(mine)]
        return functools.reduce(lambda a, b: trace(series_sum, title, symbol="W_s", unit="MJ",
                                                   first=a, second=b), parts)

    def _modules(self, run: Run) -> Sequence[ModulesOnHand]:
        return self.places[run.first - 1:run.last]

    def expected(self, run: Run) -> tuple[float, float] | None:
        """Band of the voltmeter at the charge that the modules are joined with."""
        return self.charged.edges([o.module for o in self._modules(run)])


@value_object
class Grouping:
    """One group put together before anything is linked in series.

    Attributes:
        number: of the group, from the minus end.
        many: modules side by side.
        each: band of the voltmeter across one module, or None [V].
        apart: most by which any two may differ [V].
        highest: voltage of a full module.
    """

    number: int
    many: int
    each: tuple[float, float] | None
    apart: float
    highest: Finding


@value_object
class BuiltPart:
    """One line of the as-built record.

    Attributes:
        id: stable.
        what: part.
        demand: what the design says of it first; the form of the record carries it.
        named: the part that the brief names, or "".
        section: of its conductor, in both systems; "" where it has none.
    """

    id: str
    what: str
    demand: str
    named: str = ""
    section: str = ""

    @property
    def design(self) -> str:
        """What the design says of it, its section with it."""
        return "; ".join(filter(None, (self.demand, self.section)))


@value_object
class BuildSheet:
    """Everything of `packcalc build`.

    Attributes:
        figures: of the study.
        stack: the chain.
        groups: modules joined side by side, before the steps; empty where none are.
        steps: of the assembly, section by section.
        joints: every one.
        parts: lines of the as-built record.
        warnings: why this should not be built yet.
        joint_limit: resistance that the design counts on for a link.
        stacks: how many like chains.
    """

    figures: Figures
    stack: PackStack
    groups: tuple[Grouping, ...]
    steps: tuple[Step, ...]
    joints: tuple[Joint, ...]
    parts: tuple[BuiltPart, ...]
    warnings: tuple[str, ...]
    joint_limit: Finding
    stacks: int

    @property
    def worst(self) -> Finding:
        """Highest voltage of the whole chain."""
        return self.steps[-1].worst.highest

    @property
    def charged(self) -> AtAssembly:
        """At what charge the modules are joined."""
        return self.stack.charged


def build_sheet(study: ProtectionStudy, plan: BalancePlan | None = None) -> BuildSheet:
    """The build sheet of one layout.

    Args:
        study: one layout sized.
        plan: what the bench says must be done before joining; None without a bench.
    """
    figures = Figures(study)
    layout = study.layout
    modules = [study.brief.modules[p.entry].module for p in layout.parts]
    stack = PackStack(figures, at_assembly(modules, plan))
    joints, word = joints_of(study), position_word(study)
    switch = disconnect_of(study)
    first = (switch.after,) if switch else ()
    inner = tuple(dict.fromkeys((*first, *open_places(study))))
    steps = tuple(_worded(step, study, stack, joints, word) for step in assembly(stack, inner))
    within = plan.within if plan is not None else WITHIN
    return BuildSheet(figures, stack, _groups(study, stack, within), steps, joints, _parts(study),
                      _warnings(study), study.brief.path.link_resistance, strings_of(study))


def _worded(step: Step, study: ProtectionStudy, stack: PackStack, joints: tuple[Joint, ...],
            word: str) -> Step:
    """A step in the words of this circuit: a link, or what stands there in its place."""
    if not step.joint:
        return replace(step, action=f"every {word} by itself",
                       measure=f"each {word}: {band(step.worst)}" if word == "group" else
                       step.measure, live=f"both terminals of every {word}")
    k = step.joint
    between = f"between {word} {k} and {k + 1}"
    joint = next(j for j in joints if j.after == k and j.kind != ACROSS)
    if not joint.of_the_day:
        return replace(step, action=f"fit the link {between}")
    tags, joined = tags_at(study, k), next(s for s in step.sections
                                           if s.run.first <= k < s.run.last)
    switch = disconnect_of(study)
    plug = f" (fixed part of {switch.tag} with its plug out; the plug last)" \
        if switch and switch.after == k else ""
    what = f"{tags} {between}, no plain link{plug}" if tags else f"the last link {between}"
    return replace(
        step,
        action=f"ONLY ON THE DAY OF THE FIRST ENERGISING, when packcalc commission says so: {what}",
        measure=f"before: near 0 V across the open place, else a second path is there: stop; "
                f"after, mains open: section {joined.run}: {band(joined)}; then four wires from "
                f"terminal to terminal: {joint.limit_words}")


def _groups(study: ProtectionStudy, stack: PackStack, within: float) -> tuple[Grouping, ...]:
    """How far the modules of each group may stand apart before they are joined."""
    if position_word(study) != "group":
        return ()
    runs = [Run(k, k) for k in range(1, study.layout.series + 1)]
    return tuple(Grouping(run.first, study.layout.parallel, stack.expected(run),
                          within * stack.places[run.first - 1].module.series, stack.highest(run))
                 for run in runs)


def _warnings(study: ProtectionStudy) -> tuple[str, ...]:
    found = [f"{title}: {words}" for title, words in design_stops(study)]
    if study.miss is not None:
        found.append(f"this layout does not meet the brief: {study.miss.sentence}")
    found += [c.title if title.startswith("Fault place") else f"{title}: {c.title}"
              for title, c in study.checks if c.verdict == FAIL]
    found += [f"{item.title}: no "
              f"{PAIR if item.key.endswith('coordination') else 'standard rating'} passes"
              for item in study.without_candidate]
    return tuple(found)


def _parts(study: ProtectionStudy) -> tuple[BuiltPart, ...]:
    layout, brief = study.layout, study.brief
    found, word = [], position_word(study)
    side = "place" if word == "group" else "string"
    number = 0
    for part in layout.parts:
        module = brief.modules[part.entry].module
        for _ in range(part.series):
            number += 1
            found += [BuiltPart(
                f"module.{number}" + (f".{p}" if layout.parallel > 1 else ""),
                f"module, position {number}" + (f", {side} {p}" if layout.parallel > 1 else ""),
                module.title) for p in range(1, layout.parallel + 1)]
    lines = (*_fuse_inside(study), *_charge_contactors(study), *(
        _protective(item, study) for item in study.items if item.specification
        and item.key not in NO_DEVICE
        and (item.key != "contactors" or not layout.in_strings)  # those of the strings stand there
        and (item.key != "disconnect" or disconnect_of(study) or disconnect_open(study))))
    devices = devices_of(study)
    return (*found, *(piece for line in lines for piece in _pieces(line, study, devices)))


def _pieces(line: BuiltPart, study: ProtectionStudy,
            devices: Mapping[str, tuple[Device, ...]]) -> list[BuiltPart]:
    """One line a device: each has a serial number of its own."""
    own = devices.get(line.id, ())
    if not own:
        return [line]
    what = SINGULAR.get(line.id, line.what)
    found = [replace(line, id=f"{line.id}.{d.suffix}" if d.suffix else line.id,
                     what=", ".join(filter(None, (what, d.tag, d.where)))) for d in own]
    if line.id != "precharge":
        return found
    item = next(i for i in study.items if i.key == "precharge")
    asked = {kind: next((f"{r.what}: {r.value}" for r in item.specification
                         if r.what.startswith(kind)), line.demand) for kind in (RELAY, RESISTOR)}
    relay, resistor = found
    return [replace(relay, what=f"Pre-charge relay, {own[0].tag}", demand=asked[RELAY],
                    named=study.brief.parts.precharge_relay),
            replace(resistor, what=f"Pre-charge resistor, {own[1].tag}", demand=asked[RESISTOR])]


def _fuse_inside(study: ProtectionStudy) -> list[BuiltPart]:
    """The fuse that stands inside the string beside the main fuse, by its place."""
    return [BuiltPart(INSIDE_FUSE, "Fuse inside the string",
                      f"rated DC voltage: above {study.pack.highest_voltage.least}"
                      f"{study.pack.highest_voltage.shown}",
                      study.brief.parts.mid_fuse)
            for part in parts_inside(study) if part.name == FUSE_INSIDE]


def _charge_contactors(study: ProtectionStudy) -> list[BuiltPart]:
    """What cuts the charge inlet off, in the poles that the brief states."""
    if not charge_poles(study):
        return []
    asked = next(i for i in study.items if i.key == "charge_contactor")
    return [BuiltPart(CHARGE_CONTACTOR, "Charge contactor", asked.governing,
                      study.brief.parts.charge_contactor)]


def _protective(item: Item, study: ProtectionStudy) -> BuiltPart:
    named = study.brief.parts
    opened = named.tripped(study.layout.in_strings)
    names = {"main_fuse": named.main_fuse, "contactors": opened,
             "precharge": named.resistor, "disconnect": named.disconnect,
             "string_fuse": named.string_fuse, "string_contactors": named.string_contactor,
             "connectors": named.named_connector, "management": named.management_system}
    names |= {f"cable.{route.name}": route.cable for route in study.brief.cables.route}
    names |= {f"branch.{b.name}": b.fuse_part for b in study.brief.branch}
    title = item.title if not item.key.startswith("branch.") else \
        f"Fuse of {item.title.partition(': ')[2]}"
    first = item.specification[0]
    return BuiltPart(item.key, title, f"{first.what}: {first.value}",
                     names.get(item.key, ""), _section(item, study))


def _section(item: Item, study: ProtectionStudy) -> str:
    """The smallest sections of a cable route, or the wire of a branch, in both systems."""
    both = in_both(item)
    smallest = [f"{r.what}: {both[r.value]}" for r in item.specification if r.value in both]
    wire = next((b.section for b in study.brief.branch if item.key == f"branch.{b.name}"
                 and b.section.known), None)
    return "; ".join(smallest) if wire is None else f"its wire: {section_words(wire)}"


def joint_chains(sheet: BuildSheet) -> tuple[Finding, ...]:
    """Findings of the sheet that are unfolded."""
    whole = sheet.steps[-1].worst
    inside = [f for j in sheet.joints if j.kind == INSIDE for f in (j.least, j.limit)
              if f is not None]
    return (whole.highest, whole.energy, sheet.joint_limit, *inside[:2])

