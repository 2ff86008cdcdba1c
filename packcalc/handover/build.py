"""The build sheet: sections and links in order, what is live at each step, what to write down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from packcalc import modules as mod
from packcalc.bench.sections import Run
from packcalc.bench.teardown import Stack, Step, assembly
from packcalc.brief import ModulesOnHand
from packcalc.checks import FAIL, Item
from packcalc.findings import Finding, Origin, leaf
from packcalc.handover.figures import Figures
from packcalc.handover.stages_low import joint_ids
from packcalc.protection import ProtectionStudy

STORED = (0.30, 0.50)
STORAGE = "charge of 30 to 50 % at building (common practice)"

PREPARATION = (
    "Two people, both told what to do: one works, one watches. Never alone.",
    "Only modules graded keep on the bench, marked, capped, at one charge: 30 to 50 % (common "
    "practice). A module that was dropped, wet or warm goes back to the bench.",
    "Every terminal stays capped until its link is fitted; one joint open at a time; no tool "
    "longer than the gap between two bare terminals.",
    "Sense leads, contactor coils and 12 V stay unplugged until the dead tests are done.",
    "The service disconnect and the last link between sections are fitted last, and only on the "
    "day of the first energising.",
)

JOINT_RULES = (
    "Stack: terminal, link or lug, plain washer, spring washer, bolt. The current passes copper "
    "or aluminium, never the bolt; no plastic in the clamped stack (Formula SAE 2013 EV4.6.8, "
    "read).",
    "Torque: the figure of the module's or part's maker, from its own sheet; packcalc knows none. "
    "Calibrated wrench, a paint mark over bolt and terminal after it.",
    "Resistance of each link with its joints: four-wire meter, probes on the terminals. Fill in "
    "`packcalc commission --readings` with the ids of this sheet.",
    "Outlier: a joint above the limit of the modified score (3.5, Iglewicz and Hoaglin), or half "
    "above the median of all joints (our rule), or above the resistance that the brief counts "
    "on, is taken apart, cleaned and torqued again. Needs five joints.",
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

    def __init__(self, figures: Figures):
        pack, brief = figures.pack, figures.brief
        on_hand = [brief.modules[p.entry] for p in pack.layout.parts]
        super().__init__(
            module=on_hand[0].module, steps=pack.layout.series,
            parallel=pack.parallel if pack.layout.arrangement == "grouped" else leaf(
                "modules at each step of one string", "P", "", 1, "definition",
                origin=Origin("layout")),
            charge=leaf(STORAGE, "z", "%", STORED[1], "common practice", origin=Origin("rule")))
        places = [o for o, p in zip(on_hand, pack.layout.parts, strict=True)
                  for _ in range(p.series)]
        object.__setattr__(self, "figures", figures)
        object.__setattr__(self, "places", places)

    @property
    def full_voltage(self) -> Finding:
        """The highest of the types, with the charger's tolerance: errs high for the other."""
        return self.figures.module_voltage

    def _modules(self, run: Run) -> Sequence[ModulesOnHand]:
        return self.places[run.first - 1:run.last]

    def expected(self, run: Run) -> tuple[float, float] | None:
        """Band of the voltmeter at 30 to 50 % charge."""
        modules = [o.module for o in self._modules(run)]
        if any(m.needs_bench for m in modules):
            return None
        low, high = STORED
        return (sum(float(mod.ocv_low(m, low)) for m in modules),
                sum(float(mod.ocv_high(m, high)) for m in modules))


@dataclass(frozen=True)
class BuiltPart:
    """One line of the as-built record.

    Attributes:
        id: stable.
        what: part.
        design: what the design says of it.
        named: the part that the brief names, or "".
    """

    id: str
    what: str
    design: str
    named: str = ""


@dataclass(frozen=True)
class BuildSheet:
    """Everything of `packcalc build`.

    Attributes:
        figures: of the study.
        stack: the chain.
        steps: of the assembly, section by section.
        joints: (id, place).
        parts: lines of the as-built record.
        warnings: why this should not be built yet.
        joint_limit: resistance that the design counts on.
        stacks: how many like chains.
    """

    figures: Figures
    stack: PackStack
    steps: tuple[Step, ...]
    joints: tuple[tuple[str, str], ...]
    parts: tuple[BuiltPart, ...]
    warnings: tuple[str, ...]
    joint_limit: Finding
    stacks: int

    @property
    def worst(self) -> Finding:
        """Highest voltage of the whole chain."""
        return self.steps[-1].worst.highest


def build_sheet(study: ProtectionStudy) -> BuildSheet:
    """The build sheet of one layout."""
    figures = Figures(study)
    stack = PackStack(figures)
    layout = study.layout
    steps = assembly(stack, _last_joints(figures))
    stacks = layout.parallel if layout.arrangement == "strings" else 1
    return BuildSheet(figures, stack, steps, joint_ids(figures), _parts(study),
                      _warnings(study), study.brief.path.link_resistance, stacks)


def _last_joints(figures: Figures) -> tuple[int, ...]:
    """Joints that are closed last: disconnect and mid-pack fuse, else the middle."""
    places = figures.brief.pack
    found = [int(f.number) for f in (places.disconnect_after, places.fuse_after)
             if f.known and 0 < f.number < figures.pack.layout.series]
    return tuple(dict.fromkeys(found))


def _warnings(study: ProtectionStudy) -> tuple[str, ...]:
    found = []
    if study.miss is not None:
        found.append(f"this layout does not meet the brief: {study.miss.sentence}")
    found += [f"{title}: {c.title} fails" for title, c in study.checks if c.verdict == FAIL]
    found += [f"{item.title}: no standard rating passes" for item in study.without_candidate]
    return tuple(found)


def _parts(study: ProtectionStudy) -> tuple[BuiltPart, ...]:
    layout, brief = study.layout, study.brief
    found = []
    number = 0
    for part in layout.parts:
        module = brief.modules[part.entry].module
        for _ in range(part.series):
            number += 1
            found += [BuiltPart(
                f"module.{number}" + (f".{p}" if layout.parallel > 1 else ""),
                f"module, step {number}" + (f", {_side(study)} {p}" if layout.parallel > 1
                                            else ""), module.title)
                for p in range(1, layout.parallel + 1)]
    return (*found, *(_protective(item, study) for item in study.items if item.specification
                      and item.key not in ("insulation", "overvoltage", "coordination",
                                           "string_coordination", "switching", "strings")))


def _side(study: ProtectionStudy) -> str:
    return "string" if study.layout.arrangement == "strings" else "place"


def _protective(item: Item, study: ProtectionStudy) -> BuiltPart:
    named = study.brief.parts
    opened = named.tripped(study.layout.in_strings)
    names = {"main_fuse": named.main_fuse, "contactors": opened,
             "precharge": named.resistor, "disconnect": named.disconnect,
             "string_fuse": named.string_fuse, "string_contactors": named.string_contactor}
    names |= {f"cable.{route.name}": route.cable for route in study.brief.cables.route}
    first = item.specification[0]
    return BuiltPart(item.key, item.title, f"{first.what}: {first.value}",
                     names.get(item.key, ""))


def joint_chains(sheet: BuildSheet) -> tuple[Finding, ...]:
    """Findings of the sheet that are unfolded."""
    whole = sheet.steps[-1].worst
    return (whole.highest, whole.energy, sheet.joint_limit)

