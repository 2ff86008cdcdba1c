"""The certifier's file: what is asked for, what the study fills, what the builder adds.

Items follow what certifiers were read to ask for, and what naturally proves a figure. An
item belongs to the common core or to the rule sets whose texts ask for it; only the core
and the chosen set are printed, and what was left out is named in one line.
"""

from __future__ import annotations

import csv
import functools
from collections.abc import Callable
from importlib import resources

from packcalc import transients as tr
from packcalc.brief_keys import CHARGE_CONTACTOR_CHOICES
from packcalc.errors import UnknownName
from packcalc.findings import Finding, trace
from packcalc.handover.figures import BORDER, Figures, discharge_open, discharge_time
from packcalc.handover.inside import disconnect_of, disconnect_open
from packcalc.handover.voltage_class import called
from packcalc.pack_charging import module_limits
from packcalc.protect.insulation import ENERGY_LIMIT, as_open
from packcalc.protection import ProtectionStudy
from packcalc.value import value_object

CORE = "common core"
FILLED, PARTLY, BLANK = "filled", "partly filled", "blank"
GROUPS = ("Identity and scope", "Drawings", "Data sheets and provenance", "Calculations",
          "Measurements, with instrument, calibration date, name and date",
          "People and emergency papers")

# Rule sets: name to (title, when papers are wanted, as far as it was read).
RULE_SETS: dict[str, tuple[str, str]] = {
    CORE: ("what any certifier is likely to ask for", ""),
    "france": ("France, electric retrofit", ""),
    "germany": ("Germany, individual approval", ""),
    "switzerland": ("Switzerland", ""),
    "india": ("India, electric propulsion kit", ""),
    "australia": ("Australia, VSB 14 with NCOP14", "contact the state authority first"),
    "new-zealand": ("New Zealand, low-volume vehicle", ""),
    "united-kingdom": ("United Kingdom, registration", ""),
    "us-virginia": ("Virginia", ""), "us-california": ("California", ""),
    "us-connecticut": ("Connecticut", ""), "us-arkansas": ("Arkansas", ""),
    "us-maker": ("United States, papers asked of makers (49 CFR 561)", ""),
    "motorsport-uk": ("Motorsport UK, competition", "papers 3 months before inspection"),
    "formula-sae": ("Formula SAE, competition", ""),
}
# Rule sets whose clauses are registered beyond the table of clauses.
SOURCE_OF_SET = {"us-maker": "cfr-49-561", "motorsport-uk": "motorsport-uk-2026",
                 "formula-sae": "formula-sae-inspection", "new-zealand": "nz-virm-13",
                 "australia": "vsb-14"}

Fill = Callable[[Figures], tuple[str, tuple[Finding, ...]]]


@value_object
class Asked:
    """One document that certifiers ask for.

    Attributes:
        number: stable.
        group: one of GROUPS.
        title: what is asked.
        sets: rule sets that ask for it by name; empty for the core.
        adds: what the builder adds.
        fill: what the study knows of it, or None.
        source: key of the register, or "".
        whole: whether the study fills it entirely.
    """

    number: int
    group: str
    title: str
    adds: str
    fill: Fill | None = None
    sets: tuple[str, ...] = ()
    source: str = ""
    whole: bool = False


@value_object
class Answer:
    """One asked document with what is known of it."""

    asked: Asked
    state: str
    known: str
    figures: tuple[Finding, ...]


@value_object
class Clause:
    """One clause of a jurisdiction, as read."""

    rules: str
    rule: str
    edition: str
    clause: str
    subject: str
    figure: str
    meaning: str
    status: str


@value_object
class CertifierFile:
    """Everything of `packcalc certify`."""

    figures: Figures
    rules: str
    answers: tuple[Answer, ...]
    left_out: tuple[Asked, ...]
    clauses: tuple[Clause, ...]
    second_hand: tuple[Clause, ...]
    not_covered: tuple[str, ...]


# --- what the study fills --------------------------------------------------------------------


def _identity(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    return f"brief: {f.brief.title or f.brief.place}, digest {f.brief.digest}", ()


def _rules(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    return (f"cable tables: {f.brief.cables.rules}; every other source stands at the end of the "
            "file for review with how it was read; that is no claim to meet a rule"), ()


def _schematic(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    return "traction side: circuit, parts and ratings in the file for review", ()


def _map(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    pack, own = f.pack, f.brief.insulation
    distances = f.study.circuit.insulation.distances
    return (f"{pack.layout.label} {pack.layout.arrangement}, {pack.cells}; pollution degree "
            f"{own.pollution_degree.number:g}, material group {own.material_group}, overvoltage "
            f"category {own.overvoltage_category}"), distances.known


def _modules(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    modules = [f.brief.modules[p.entry].module for p in f.pack.layout.parts]
    named = "; ".join(m.title for m in modules)
    limits = (f.pack.full_voltage, f.pack.empty_voltage, f.pack.module_peak_limit,
              f.pack.module_continuous_limit,
              *(limit for _, limit in module_limits(f.brief, f.pack.layout, beyond=True)))
    return named, tuple(x for x in limits if x.known)


def _history(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    bench = f.brief.bench
    known = "bench sheet of every module: packcalc bench" if bench and bench.file else ""
    health = tuple(f.brief.modules[p.entry].state_of_health for p in f.pack.layout.parts)
    return known or "state of health counted on", health


def _devices(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    names, strung = f.brief.parts, f.study.layout.in_strings
    switch = names.disconnect if disconnect_of(f.study) or disconnect_open(f.study) else ""
    pairs = [("main fuse", names.main_fuse), ("mid-pack fuse", names.mid_fuse),
             *([("string fuse", names.string_fuse)] if strung else []),
             ("string contactors" if strung else "contactors", names.tripped(strung)),
             ("charge contactor", names.charge_contactor), ("pre-charge resistor", names.resistor),
             ("pre-charge relay", names.precharge_relay), ("disconnect", switch),
             ("connectors", names.connector), ("management system", names.management_system),
             *((f"cable, {r.name}", r.cable) for r in f.brief.cables.route),
             *((f"fuse of {b.name}", b.fuse_part) for b in f.brief.branch)]
    given, silent = ([p for p in pairs if p[1]], [what for what, name in pairs if not name])
    said = "named in the brief: " + "; ".join(f"{what} {name}" for what, name in given) \
        if given else "no part is named: specifications only"
    absent = ("mid-pack fuse", "disconnect", *(
        ["charge contactor"] if f.brief.path.charge_contactor == CHARGE_CONTACTOR_CHOICES[0]
        else []))
    lacks = [w for w in silent if w not in absent] if given else []
    return said + (f"; not named: {', '.join(lacks)}" if lacks else ""), (
        f.pack.highest_voltage, f.study.faults.highest)


def _management(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    managed = f.brief.management
    wanted = (managed.overvoltage_trip, managed.undervoltage_trip, managed.overtemperature_trip,
              managed.trip_current, managed.trip_delay)
    return "limits and actions in the management section of the file for review", tuple(
        x for x in wanted if x.known)


def _electrical(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    return "file for review: fault places, fuse, cables, with every chain", (
        f.pack.highest_voltage, f.study.faults.highest, f.study.faults.lowest,
        f.pack.continuous_current)


def _precharge(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    item = next(i for i in f.study.items if i.key == "precharge")
    return "sized at tolerances, failed charge included", (
        *item.duty[:5], f.brief.precharge.level, f.brief.precharge.timeout)


def _discharge(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    item = f.study.circuit.insulation.item
    stored = tuple(x for x in item.duty if "energy of the charged DC link" in x.title)
    fall, lacking = discharge_time(f.study), discharge_open(f.study)
    if called(f.pack).class_a:
        return "the link never stands above 60 V; its energy burns all the same", stored
    known = "energy of the link, full and left at 60 V" if fall is None else "link and its fall"
    if lacking:
        known += f", as counted: it may be shorter or longer ({'; '.join(lacking)})"
    left = tuple(_left_at_border(one) for one in stored)
    if any(x.number > ENERGY_LIMIT.number for x in left):
        known += (f"; at 60 V the link still holds more than {ENERGY_LIMIT.shown}: the fall to "
                  "60 V does not show the limit of energy to be met")
    if fall is None:
        known += "; its discharge resistor is not in the brief: what is asked of one stands here"
    return known, (*stored, *left, ENERGY_LIMIT, *((fall,) if fall else ()), *_bleeding(f))


def _left_at_border(stored: Finding) -> Finding:
    """Energy that the link still holds once it has fallen to the border, C as counted when full."""
    capacitance, _ = stored.inputs
    return trace(tr.capacitor_energy, f"energy left in the DC link at {BORDER.shown}",
                 capacitance=capacitance, voltage=BORDER)


def _bleeding(f: Figures) -> tuple[Finding, ...]:
    """Power in the discharge resistor, smallest by its tolerance; without one, what is asked."""
    least = f.bleed_edge(False)
    if least is not None:
        return (trace(tr.resistor_power, "power in the discharge resistor while the bus is live",
                      voltage=f.pack.highest_voltage, resistance=least,
                      note=as_open(f.pack.highest_voltage)),)
    item = next(i for i in f.study.items if i.key == "precharge")
    return tuple(x for x in item.duty if "bleed" in x.title and x.known)


def _mass(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    return "mass of the modules alone; box, brackets and cables come on top", (f.pack.mass,)


def _isolation(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    return ("demand of the whole, and of each part by itself; readings pack.isolation_* and "
            "dead.isolation_*", (f.isolation, f.isolation_of_battery, f.isolation_of_load))


def _monitor(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    does = f.brief.path.insulation_monitor
    return f"brief: monitor {does}; readings monitor.*", () if does == "none" else \
        f.test_resistor(f.study.circuit.insulation.joined)


def _traces(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    if not f.can_precharge:
        return "capacitance not in the brief; readings supply.* and pack.*", ()
    return "expected bands; readings supply.* and pack.*", (
        f.share_edge(False), f.share_edge(True), f.fastest())


def _photographs(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    return "list of photographs in packcalc build", ()


def _guide(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    return "page of packcalc responder, with blanks", ()


def _marks(f: Figures) -> tuple[str, tuple[Finding, ...]]:
    return "decisions for marks in the file for review; signatures of packcalc build", ()


def _words(text: str) -> Fill:
    return lambda figures: (text, ())


_G = GROUPS
ASKED: tuple[Asked, ...] = (
    Asked(1, _G[0], "vehicle, donor's build date, jurisdiction, list of changes, whether chassis "
          "or monocoque was cut", "make, VIN, dates, changes, cuts", _identity, source="vsb-14"),
    Asked(2, _G[0], "authority's approval path with its form numbers", "from the authority, in "
          "writing, before building", None, ("new-zealand", "australia"), "nz-virm-13"),
    Asked(3, _G[0], "rules and editions that the design is held against", "the claim itself, by "
          "who may make it", _rules),
    Asked(4, _G[1], "one-line and full schematic of traction, 12 V, shutdown and interlock",
          "12 V, shutdown and interlock circuits of this vehicle", _schematic,
          source="motorsport-uk-2026"),
    Asked(5, _G[1], "layout drawing: battery, contactors, fuses, disconnect, cable route, crash "
          "and fire zones, cut point", "the drawing"),
    Asked(6, _G[1], "pack drawing: series and parallel map, fuses and contactors, insulation, "
          "creepage and clearance", "drawing, and distances as measured", _map),
    Asked(7, _G[2], "module data sheet or third-party test data, UN 38.3 report, material sheet, "
          "limits chart", "sheets and reports of the donor's maker", _modules,
          source="motorsport-uk-2026"),
    Asked(8, _G[2], "history of the modules: donor, age, damage, capacity and resistance, how "
          "matched", "donor, age, papers", _history),
    Asked(9, _G[2], "fuse and contactor data: DC voltage, breaking capacity, curve; cable data",
          "data sheets", _devices, source="formula-sae-inspection"),
    Asked(10, _G[2], "charger's approval paper and interlock description", "the paper", None,
          ("formula-sae",), "formula-sae-inspection"),
    Asked(11, _G[2], "management system's limits, actions, wiring into the contactor circuit",
          "print-out of the settings, wiring", _management, source="formula-sae-inspection"),
    Asked(12, _G[3], "highest voltage, prospective short-circuit current, fuse and cable checks",
          "reviewer's marks", _electrical, whole=True),
    Asked(13, _G[3], "pre-charge: energy, peak power, time, timeout, level", "resistor's own "
          "rating as mounted", _precharge, source="formula-sae-inspection", whole=True),
    Asked(14, _G[3], "discharge: time to 60 V where the link stands above it, resistor's "
          "power, energy left", "resistor fitted, its rating as mounted", _discharge),
    Asked(15, _G[3], "restraint: mass, loads by direction, fasteners and brackets, signed",
          "calculation by a structural engineer: not covered by packcalc", _mass,
          source="vsb-14"),
    Asked(16, _G[3], "weight and axle loads before and after, brakes", "weighbridge slips, brake "
          "evidence: not covered by packcalc", None),
    Asked(17, _G[4], "isolation of battery and load side, both poles, kΩ and Ω/V; again after "
          "rain", "readings", _isolation, source="un-r100-annex-isolation"),
    Asked(18, _G[4], "isolation monitor with a known resistor: level and time", "readings",
          _monitor, source="formula-sae-inspection"),
    Asked(19, _G[4], "bond of every exposed metal part: current and milliohms", "readings, part "
          "by part", _words("limit 0.1 Ω at 0.2 A or more; reading dead.bond_highest"),
          source="un-r100-bonding"),
    Asked(20, _G[4], "finger and wire probe of each enclosure", "results, covers on and after "
          "permitted openings", None, source="un-r100-touch"),
    Asked(21, _G[4], "pre-charge and discharge traces; connector within 1 s if claimed",
          "traces", _traces),
    Asked(22, _G[4], "weld check, time to disconnect, interlock opens contactors", "readings",
          _words("readings weld.* and logic.*"), source="formula-sae-inspection"),
    Asked(23, _G[4], "emergency stop, crash switch, cut loop, loss of 12 V", "readings",
          _words("readings logic.*")),
    Asked(24, _G[4], "drive-away lock at the charge plug; earth from inlet to chassis",
          "readings; earth of the inlet is not in the list of packcalc",
          _words("reading logic.plug_in")),
    Asked(25, _G[4], "withstand test of an on-board charger", "test report, where the authority "
          "asks", None, ("india",)),
    Asked(26, _G[5], "emergency guide with isolation steps and photographs of labels",
          "photographs, places", _guide, source="cfr-49-561"),
    Asked(27, _G[5], "warning of a thermal event: diagram, how it works, logic, proof, reviewer",
          "description: not covered by packcalc", None, ("us-maker",), "cfr-49-561"),
    Asked(28, _G[5], "photographs during assembly, above all of what is later hidden",
          "photographs", _photographs, source="formula-sae-inspection"),
    Asked(29, _G[5], "failure analysis of the electrical system", "analysis; the fault places of "
          "the file for review are a start", None, ("formula-sae",), "formula-sae-inspection"),
    Asked(30, _G[5], "signatures: builder, electrician, structural engineer, certifier; each with "
          "licence and what was not checked", "signatures", _marks),
    Asked(31, _G[5], "plates and labels fitted", "photographs; which ones: the authority", None,
          source="un-r100-touch"),
)

NOT_COVERED = (
    "structure, crash, fire and restraint of the battery box",
    "brakes, axle loads, steering, gross mass",
    "electromagnetic compatibility",
    "functional safety of software in inverter, charger and management system",
    "thermal propagation from cell to cell, and the warning of it",
    "12 V wiring, lights, heater, brakes' vacuum",
    "whether any rule is met: that is for who may sign",
)


@functools.lru_cache(maxsize=1)
def all_clauses() -> tuple[Clause, ...]:
    """Every clause that ships, in the order of its file."""
    text = resources.files("packcalc").joinpath("data/clauses.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return tuple(Clause(**row) for row in rows)


def certifier_file(study: ProtectionStudy, rules: str = CORE) -> CertifierFile:
    """The file of one layout for one rule set and the common core.

    Args:
        study: of the layout.
        rules: one of RULE_SETS.

    Raises:
        UnknownName: no such rule set.
    """
    if rules not in RULE_SETS:
        raise UnknownName("rule set", rules, RULE_SETS)
    figures = Figures(study)
    chosen = [a for a in ASKED if not a.sets or rules in a.sets]
    own = [c for c in all_clauses() if c.rules == rules]
    return CertifierFile(
        figures, rules, tuple(_answer(a, figures) for a in chosen),
        tuple(a for a in ASKED if a not in chosen),
        tuple(c for c in own if c.status == "read"),
        tuple(c for c in own if c.status != "read"), NOT_COVERED)


def _answer(asked: Asked, figures: Figures) -> Answer:
    if asked.fill is None:
        return Answer(asked, BLANK, "", ())
    known, found = asked.fill(figures)
    return Answer(asked, FILLED if asked.whole else PARTLY, known, found)
