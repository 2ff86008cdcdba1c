"""The parts of the actual circuit, with the tags that every picture and list uses.

What the brief leaves open is said in the part's note, not made up: a part whose place is
not stated is drawn where the study counts it.
"""

from __future__ import annotations

from packcalc.bench.stored import of_pack
from packcalc.brief import Branch
from packcalc.charge_contactor import MUST_BREAK
from packcalc.charge_opening import FED
from packcalc.checks import Item
from packcalc.feeds import standing
from packcalc.findings import Finding, leaf
from packcalc.handover.inside import most_voltage
from packcalc.parts import RESISTOR
from packcalc.protect.states import charge_circuit_current
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import number, words
from packcalc.report.document import Column, Table
from packcalc.units import from_si, printed, significant
from packcalc.value import replace, value_object

PLUS, MINUS = "+", "−"
MONITOR, PRECHARGE, SENSE = "monitor", "pre-charge", "sense"
# Tag and symbol of what a branch of that kind leads to; any other is a load.
LETTERS = {MONITOR: ("B", "monitor"), "charger": ("X", "inlet"),
           "fast-charge inlet": ("X", "inlet")}
BEFORE, BEHIND_FUSE, BEHIND_CONTACTORS = ("before the main fuse", "behind the main fuse",
                                          "behind the contactors")


@value_object
class Part:
    """One part of the circuit.

    Attributes:
        tag: e.g. "K1"; "F2.1" is the first string's F2.
        kind: a symbol's name, e.g. "fuse".
        name: in words.
        place: where it stands, in words.
        current, voltage, breaking: what it must carry, stand and break, the very findings that
            its request asks; None where not asked, of a breaking current without value where it
            is asked and not known.
        rated: of a fuse, the rated current that the brief states: what is there, not a demand.
        other: further demands, short, for picture and list.
        note: what is not known of it.
        after: of a part inside the string, after which module from the negative end.
        pole: PLUS or MINUS where it stands in one pole.
    """

    tag: str
    kind: str
    name: str
    place: str
    current: Finding | None = None
    voltage: Finding | None = None
    breaking: Finding | None = None
    rated: Finding | None = None
    other: str = ""
    note: str = ""
    after: int = 0
    pole: str = ""


@value_object
class Rung:
    """A branch between the poles: its load, and its fuses and contactors, one or two, or none."""

    load: Part
    fuses: tuple[Part, ...]
    tap: str
    contactors: tuple[Part, ...] = ()


@value_object
class Circuit:
    """Everything that the one-line diagram draws.

    Attributes:
        source: modules, as one part.
        series: modules in series.
        inside: mid-pack fuse and disconnect, by place; one row a string, or one for the pack.
        strings: for each string its own parts, positive end first; empty for one source.
        main_fuses, contactors: in the poles behind the source.
        precharge: relay and resistor across the + contactor, with the fuses of their wires, in
            the order of the current.
        precharge_tap: where the wires of pre-charge leave the + pole.
        sense: the management system on the taps of the cells, and what fuses these.
        monitor: the insulation monitor, if the brief has one and no branch describes it.
        rungs: branches between the poles and charge inlet.
        bus: discharge resistor, capacitor, inverter.
        most: the highest working voltage in words.
    """

    source: Part
    series: int
    inside: tuple[tuple[Part, ...], ...]
    strings: tuple[tuple[Part, ...], ...]
    main_fuses: tuple[Part, ...]
    contactors: tuple[Part, ...]
    precharge: tuple[Part, ...]
    precharge_tap: str
    sense: tuple[Rung, ...]
    monitor: Part | None
    rungs: tuple[Rung, ...]
    bus: tuple[Part, ...]
    most: str

    @property
    def parts(self) -> tuple[Part, ...]:
        """Every part once, in the order of the current."""
        found = [self.source, *(part for row in self.inside for part in row)]
        for rung in self.sense:
            found += [*rung.fuses, rung.load]
        for string in self.strings:
            found += string
        found += [*self.main_fuses, *self.contactors, *self.precharge]
        found += [self.monitor] if self.monitor else []
        for rung in self.rungs:
            found += [*rung.fuses, *rung.contactors, rung.load]
        return (*found, *self.bus)


class _Tags:
    """Counts up within each letter."""

    def __init__(self) -> None:
        self._last: dict[str, int] = {}

    def next(self, letter: str) -> str:
        self._last[letter] = self._last.get(letter, 0) + 1
        return f"{letter}{self._last[letter]}"


def plainly(finding: Finding) -> str:
    """A value as a user would write it: no zeros for the sake of four figures.

    Examples:
        >>> from packcalc.findings import leaf
        >>> plainly(leaf("tolerance", "a", "%", 0.2, "given"))
        '20 %'
    """
    if not finding.known:
        return "not known"
    return f"{from_si(finding.number, finding.unit):.4g} {printed(finding.unit)}".strip()


def item_of(study: ProtectionStudy, key: str) -> Item | None:
    """An item of the study by its key."""
    return next((item for item in study.items if item.key == key), None)


def duty_of(item: Item | None, title: str) -> Finding | None:
    """A duty of an item by the beginning of its title, where it has a value."""
    found = item.duty if item is not None else ()
    return next((f for f in found if f.title.startswith(title) and f.known), None)


BREAKS_OPEN = "breaking current not known"
FUSE_BREAKS = ("highest fault", "highest current", "current of the bus, back through")


def breaking_of(item: Item | None) -> Finding | None:
    """What the contactors of an item must break in the worse direction; None where none is asked.

    Without value as long as one direction is open: the other alone would be too mild.
    """
    if item is None:
        return None
    ways = [f for f in item.duty if f.title.lower().startswith("largest current")
            and "break" in f.title]
    lacking = next((f for f in ways if not f.known), None)
    if lacking is not None or not ways:
        return lacking or leaf("largest current to break", "I_b", "A", None, "given")
    return max(ways, key=lambda f: f.number)


def fuse_breaking(item: Item | None) -> Finding | None:
    """What a main, mid-pack or string fuse must break, the larger of both ways.

    Without value as long as the way forward is open: backwards alone may be too mild.
    """
    if item is None:
        return None
    ways = [f for f in item.duty if f.title.lower().startswith(FUSE_BREAKS)]
    lacking = next((f for f in ways if not f.known), None)
    return lacking or max(ways, key=lambda f: f.number, default=None)


def branch_load_of(item: Item | None) -> Finding | None:
    """The steady current that a branch's fuse and wires are asked to carry, where it is known."""
    found = item.duty[1:] if item is not None else ()  # the first is what its fuse must break
    return next((f for f in found if f.unit == "A" and f.known
                 and not f.title.startswith("lowest")), None)


def _branch_fuse(study: ProtectionStudy, tag: str, branch: Branch, name: str, place: str, *,
                 note: str = "", pole: str = "") -> Part:
    """A fuse of a branch: what its item asks, and beside it what the brief says is there."""
    item = item_of(study, f"branch.{branch.name}")
    return Part(tag, "fuse", name, place, branch_load_of(item), study.pack.highest_voltage,
                item.duty[0] if item is not None else None,
                rated=branch.fuse_rating if branch.fuse_rating.known else None,
                other=branch.fuse_part, note=note, pole=pole)


def voltage_words(voltage: Finding) -> str:
    """A voltage of which parts are not evaluated says that it may be more."""
    return f"{voltage.shown} or more" if voltage.at_least else voltage.shown


def circuit_of(study: ProtectionStudy) -> Circuit:
    """The circuit of a study, tagged.

    The order in which tags are given out is fixed, so that the same circuit has the same
    tags in every picture.
    """
    tags, layout = _Tags(), study.layout
    strings = layout.in_strings
    main = _main_fuses(study, tags)
    source = _source(study, tags)
    inside = _inside(study, tags, main)
    per_string = _string_parts(study, tags) if strings else ()
    contactors = () if strings else _contactors(study, tags)
    precharge, tap = _precharge(study, tags, per_string[0][0].tag if per_string else "")
    monitor = _monitor(study, tags)
    sense = _sense(study, tags)
    rungs = (*_branches(study, tags), *_inlet(study, tags), *_loads(study, tags))
    in_poles = tuple(part for part in main if part.pole)
    return Circuit(source, layout.series, inside, per_string, in_poles, contactors, precharge,
                   tap, sense, monitor, rungs, _bus(study, tags), most_voltage(study.pack))


def _source(study: ProtectionStudy, tags: _Tags) -> Part:
    layout, pack = study.layout, study.pack
    side = "strings side by side" if layout.arrangement == "strings" else "side by side"
    name = f"{layout.series} modules in series, {layout.parallel} {side}"
    return Part(tags.next("G"), "battery", name, "battery box", voltage=pack.highest_voltage,
                breaking=study.faults.highest,
                other=f"{layout.label}, {pack.cells}, at most "
                      f"{of_pack(study.brief, pack).shown} when full",
                note="the current is what it drives into a fault")


def _candidates(item: Item | None, named: str = "") -> str:
    """The part that the brief names, else the span of the standard ratings that fail nothing."""
    if named:
        return named
    names = [c.name for c in item.shortlist if not c.own] if item is not None else []
    if not names:
        return "no standard rating passes"
    span = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"
    return f"candidates {span}" if len(names) > 1 else f"candidate {span}"


def _main_fuses(study: ProtectionStudy, tags: _Tags) -> tuple[Part, ...]:
    stands = getattr(study.brief.path, "main_fuse", "one pole")
    item = item_of(study, "main_fuse")
    poles = {"both poles": (PLUS, MINUS), "mid-pack": ("",)}.get(stands, (PLUS,))
    return tuple(Part(
        tags.next("F"), "fuse", "main fuse", f"{pole} pole" if pole else "inside the string",
        current=duty_of(item, "Least rated current"), voltage=study.pack.highest_voltage,
        breaking=fuse_breaking(item), other=_candidates(item, study.brief.parts.main_fuse),
        pole=pole) for pole in poles)


def _inside(study: ProtectionStudy, tags: _Tags,
            main: tuple[Part, ...]) -> tuple[tuple[Part, ...], ...]:
    """Mid-pack fuse and service disconnect, where the brief says that there are any."""
    found = _inside_one(study, tags, main)
    if study.layout.arrangement != "strings" or study.layout.parallel == 1:
        return (found,)
    return tuple(tuple(replace(part, tag=f"{part.tag}.{n}", place=f"string {n}: {part.place}")
                       for part in found) for n in range(1, study.layout.parallel + 1))


def _inside_one(study: ProtectionStudy, tags: _Tags,
                main: tuple[Part, ...]) -> tuple[Part, ...]:
    places = getattr(study.brief, "pack", None)
    fuse_after, disconnect_after = (_place(places, name, study.layout.series)
                                    for name in ("fuse_after", "disconnect_after"))
    found = [part for part in main if not part.pole]
    highest = study.pack.highest_voltage
    if found:
        lost = "" if fuse_after else ("the brief does not say after which module; drawn in the "
                                      "middle")
        place = fuse_after or max(study.layout.series // 2, 1)
        found = [_at(found[0], place, lost)]
    elif fuse_after:
        asked = study.circuit.mid_fuse
        found = [_at(Part(tags.next("F"), "fuse", "fuse inside the string", "",
                          duty_of(asked, "Least rated current"), highest, fuse_breaking(asked),
                          other=study.brief.parts.mid_fuse), fuse_after)]
    if disconnect_after:
        carried = duty_of(item_of(study, "disconnect"), "continuous current")
        found.append(_at(Part(tags.next("Q"), "disconnect", "service disconnect", "",
                              current=carried or study.pack.continuous_current, voltage=highest,
                              other="never opened under load"), disconnect_after))
    return tuple(sorted(found, key=lambda part: part.after))


def _at(part: Part, after: int, note: str = "") -> Part:
    return replace(part, after=after, note=note,
                   place=f"after module {after} from the negative end")


def _place(places: object, name: str, series: int) -> int:
    """A place inside the string; 0 where there is none, or none that this layout has."""
    finding = getattr(places, name, None)
    if finding is None or not finding.known:
        return 0
    after = int(finding.number)
    return after if 0 < after < series else 0


def _contactors(study: ProtectionStudy, tags: _Tags) -> tuple[Part, ...]:
    item = item_of(study, "contactors")
    return tuple(Part(
        tags.next("K"), "contactor", f"main contactor, {pole}", f"{pole} pole",
        current=duty_of(item, "Continuous current"), voltage=study.pack.highest_voltage,
        breaking=breaking_of(item),
        other=_candidates(item, study.brief.parts.tripped(study.layout.in_strings)), pole=pole)
        for pole in (PLUS, MINUS))


def _string_parts(study: ProtectionStudy, tags: _Tags) -> tuple[tuple[Part, ...], ...]:
    """Each string's own contactors and fuse, positive end first."""
    fused, switched = item_of(study, "string_fuse"), item_of(study, "string_contactors")
    highest, named = study.pack.highest_voltage, study.brief.parts
    plus, minus, fuse = tags.next("K"), tags.next("K"), tags.next("F")
    carried, breaking = duty_of(switched, "continuous current"), breaking_of(switched)
    rating, broken = duty_of(fused, "Least rated current"), fuse_breaking(fused)
    lost = "currents not evaluated"
    own = named.tripped(in_strings=True) or ("" if carried else lost)
    own_fuse = named.string_fuse or ("" if rating else lost)
    found = []
    for n in range(1, study.layout.parallel + 1):
        place = f"string {n}"
        found.append((
            Part(f"{plus}.{n}", "contactor", f"string contactor, {PLUS}", f"{place}, {PLUS} end",
                 carried, highest, breaking, other=own, pole=PLUS),
            Part(f"{fuse}.{n}", "fuse", "string fuse", place, rating, highest, broken,
                 other=own_fuse),
            Part(f"{minus}.{n}", "contactor", f"string contactor, {MINUS}",
                 f"{place}, {MINUS} end", carried, highest, breaking, other=own, pole=MINUS)))
    return tuple(found)


def reference_resistance(study: ProtectionStudy) -> float | None:
    """The pre-charge resistance that the pictures show, in Ω.

    That of the resistor which the brief names, else the largest standard value that fails
    nothing; where every value fails, the largest below the window's end. None where the
    study has no pre-charge candidates.
    """
    use = study.brief.parts
    named = use.list.part(RESISTOR, use.resistor).resistance if use.resistor else None
    if named is not None:
        return named.number
    item = item_of(study, "precharge")
    standard = [c for c in item.candidates if not c.own] if item is not None else []
    if item is None or not standard:
        return None
    tried = sorted(float(c.name.split()[0]) for c in standard)
    passed = [float(c.name.split()[0]) for c in standard if c.qualifies]
    upper = duty_of(item, "Upper end")
    below = [v for v in tried if upper is None or v <= upper.number] or tried[:1]
    return max(passed or below)


def _precharge(study: ProtectionStudy, tags: _Tags,
               bridged: str) -> tuple[tuple[Part, ...], str]:
    """Fuse, relay, resistor in series, and where their wires leave the + pole.

    A branch of that kind is this path: its fuse stands at the tap, in series with the relay.
    """
    item, brief = item_of(study, "precharge"), study.brief
    peak, highest = duty_of(item, "Peak pre-charge current"), study.pack.highest_voltage
    energy = duty_of(item, "Energy of failed")
    ohms = reference_resistance(study)
    value = f"{significant(ohms, 2)} Ω" if ohms else "value open"
    strings = bool(bridged)
    across = f"across {bridged}" if strings else "across the + contactor"
    wires, *more = [b for b in brief.branch if b.kind == PRECHARGE] or [None]
    note = "; ".join((
        *(("the brief does not say at which string; drawn at the first",) if strings else ()),
        *((f"{wires.name} is drawn, and not {' nor '.join(b.name for b in more)}: each with relay, "
           "resistor and fuses of its own",) if wires and more else ())))
    relay = Part(tags.next("K"), "contactor", "pre-charge relay" + (
        f", {len(more) + 1} of these, one drawn" if more else ""), across,
        current=peak, voltage=highest, breaking=peak, other="and makes it, every try", note=note)
    tolerance = plainly(resistor_tolerance(study))
    heat = f"; {energy.shown} in {brief.precharge.tries.number:g} tries" if energy else ""
    resistor = Part(tags.next("R"), "resistor", "pre-charge resistor", across,
                    current=peak, voltage=highest, other=f"{value} ± {tolerance}{heat}")
    if wires is None:
        return (relay, resistor), BEHIND_FUSE
    fuses = _wire_fuses(study, tags, wires)
    return (*fuses[:1], relay, resistor, *fuses[1:]), standing(wires, strings).taps


def _wire_fuses(study: ProtectionStudy, tags: _Tags, wires: Branch) -> tuple[Part, ...]:
    """One at the tap; where the brief says both poles, one at the other end of the same wires."""
    if not (wires.fuse_rating.known or wires.fuse_part):
        return ()
    both = wires.fused_poles == "both"
    ends = ("at the tap", "at the bus end") if both else ("at the tap",)
    note = ("the brief says both poles; these wires run in the + pole alone, so it is drawn at "
            "either end of them" if both else "")
    return tuple(_branch_fuse(study, tags.next("F"), wires, f"fuse of {wires.name}",
                              f"{PLUS} pole, {end}", note=note, pole=PLUS) for end in ends)


def _sense(study: ProtectionStudy, tags: _Tags) -> tuple[Rung, ...]:
    """The management system: it reads every cell, whether its wires are described or not."""
    highest, channels = study.pack.highest_voltage, study.pack.channels
    reads = f"management system, reads {channels} cell voltages"
    found = []
    for branch in (b for b in study.brief.branch if b.kind == SENSE):
        known = branch.fuse_rating.known or branch.fuse_part
        fuses = (_branch_fuse(study, tags.next("F"), branch, f"fuse of {branch.name}, one in each "
                              "wire", "at the cell end"),) if known else ()
        load = Part(tags.next("A"), "management", branch.name, "on the taps of the cells",
                    voltage=highest, other=reads, note="" if fuses else "no fuse of its own")
        found.append(Rung(load, fuses, SENSE))
    if found:
        return tuple(found)
    fused = study.brief.management.sense_fuse == "yes"
    fuses = (Part(tags.next("F"), "fuse", "fuse of the sense wires, one in each wire",
                  "at the cell end", voltage=highest, note="its rating is not in the brief"),
             ) if fused else ()
    load = Part(tags.next("A"), "management", "management system", "on the taps of the cells",
                voltage=highest, other=f"reads {channels} cell voltages",
                note="its sense wires are not described in the brief")
    return (Rung(load, fuses, SENSE),)


def resistor_tolerance(study: ProtectionStudy) -> Finding:
    """Of the pre-charge resistor that the brief names, where its sheet gives one."""
    use = study.brief.parts
    part = use.list.part(RESISTOR, use.resistor) if use.resistor else None
    own = part.tolerance if part is not None else None
    return own or study.brief.precharge.resistor_tolerance


def _monitor(study: ProtectionStudy, tags: _Tags) -> Part | None:
    does = study.brief.path.insulation_monitor
    if does == "none" or any(b.kind == MONITOR for b in study.brief.branch):
        return None
    return Part(tags.next("B"), "monitor", "insulation monitor", "both poles to chassis",
                voltage=study.pack.highest_voltage, other=does,
                note="the brief does not say on which side of the contactors")


def _branches(study: ProtectionStudy, tags: _Tags) -> tuple[Rung, ...]:
    found = []
    for branch in study.brief.branch:
        if branch.kind in (PRECHARGE, SENSE):
            continue  # these do not lie between the poles
        poles = ((PLUS, MINUS) if branch.fused_poles == "both" else (PLUS,)) if (
            branch.fuse_rating.known or branch.fuse_part) else ()
        kind = [] if branch.kind == branch.name else [branch.kind]
        fuses = tuple(_branch_fuse(study, tags.next("F"), branch, f"fuse of {branch.name}",
                                   f"{pole} pole, at the tap", pole=pole) for pole in poles)
        letter, symbol = LETTERS.get(branch.kind, ("A", "load"))
        told = (branch.power,) if symbol == "inlet" else (branch.power, branch.current)
        drawn = [plainly(f) for f in told if f.known]
        unfused = "" if fuses else "no fuse of its own"
        contactors = _charge_contactors(study, tags) if branch is _inlet_branch(study) else ()
        watches = [_watches(study)] if branch.kind == MONITOR else []
        guess = ", our assumption" if study.brief.taps_open(branch) else ""
        load = Part(tags.next(letter), symbol, branch.name, f"tapped {branch.taps}{guess}",
                    current=branch_load_of(item_of(study, f"branch.{branch.name}")),
                    voltage=study.pack.highest_voltage,
                    other=", ".join([*kind, *watches, *drawn]), note=unfused)
        found.append(Rung(load, fuses, branch.taps, contactors))
    return tuple(found)


def _watches(study: ProtectionStudy) -> str:
    does = study.brief.path.insulation_monitor
    return "counted on by nobody: path.insulation_monitor says none" if does == "none" else does


def _inlet_branch(study: ProtectionStudy) -> Branch | None:
    """The branch that is the way to the charge inlet: a fast-charge inlet before a charger."""
    mine = [b for kind in ("fast-charge inlet", "charger") for b in study.brief.branch
            if b.kind == kind]
    return mine[0] if mine else None


def _charge_contactors(study: ProtectionStudy, tags: _Tags) -> tuple[Part, ...]:
    """In the poles that the brief says; none where it says none."""
    poles = {"one pole": (PLUS,), "both poles": (PLUS, MINUS)}
    named, item = study.brief.parts.charge_contactor, item_of(study, "charge_contactor")
    charging = duty_of(item, "current of the charge circuit") or charge_circuit_current(
        study.brief, study.pack)
    return tuple(Part(
        tags.next("K"), "contactor", f"charge contactor, {pole}", f"{pole} pole, to the inlet",
        current=charging, voltage=study.pack.highest_voltage,
        breaking=_worse_way(item),
        other=", ".join(filter(None, ("closed only to charge", named))),
        note="" if named else "no part of the list is named for it", pole=pole)
        for pole in poles.get(study.brief.path.charge_contactor, ()))


def _worse_way(item: Item | None) -> Finding | None:
    """What a charge contactor breaks in its worse direction; None while that is not known."""
    most, fed = duty_of(item, MUST_BREAK), duty_of(item, FED)
    return most if most is None or fed is None else max(most, fed, key=lambda f: f.number)


def _inlet(study: ProtectionStudy, tags: _Tags) -> tuple[Rung, ...]:
    """The charge inlet, where no branch describes it: every pack is charged through one."""
    if _inlet_branch(study) is not None:
        return ()
    station = study.brief.station
    routes = [r.name for r in study.brief.cables.route if r.carries == "charging"]
    contactors = _charge_contactors(study, tags)
    other = ", ".join(routes) or (f"station up to {station.voltage.shown}"
                                  if station.voltage.known else "its cable is not in the brief")
    part = Part(tags.next("X"), "inlet", "charge inlet", BEHIND_CONTACTORS,
                current=study.pack.charging_current, voltage=study.pack.full_voltage, other=other,
                note="the brief does not say where charging joins; the study counts its current "
                     "through main fuse and contactors")
    return (Rung(part, (), BEHIND_CONTACTORS, contactors),)


def _loads(study: ProtectionStudy, tags: _Tags) -> tuple[Rung, ...]:
    """What draws from the bus during pre-charge and is no branch's load."""
    branches = {b.name for b in study.brief.branch}
    found = []
    for load in (one for one in study.brief.precharge.load if one.name not in branches):
        draws = load.resistance if load.resistance.known else load.power
        found.append(Rung(Part(
            tags.next("A"), "load", load.name, BEHIND_CONTACTORS,
            voltage=study.pack.highest_voltage, other=f"draws {plainly(draws)} in pre-charge",
            note="no branch describes its cable and fuse"), (), BEHIND_CONTACTORS))
    return tuple(found)


def _bus(study: ProtectionStudy, tags: _Tags) -> tuple[Part, ...]:
    inverter, pack = study.brief.inverter, study.pack
    given = getattr(inverter, "discharge_resistance", None)
    asked = duty_of(item_of(study, "precharge"), "Largest bleed resistance")
    found = []
    if given is not None and given.known:
        found.append(Part(tags.next("R"), "resistor", "discharge resistor", "across the bus",
                          voltage=pack.highest_voltage, other=plainly(given)))
    elif asked is not None:
        found.append(Part(tags.next("R"), "resistor", "discharge resistor", "across the bus",
                          voltage=pack.highest_voltage, other=f"at most {asked.shown}",
                          note="asked for; the brief does not say that there is one"))
    found.append(Part(tags.next("C"), "capacitor", "DC-link capacitor", "in the inverter",
                      voltage=pack.highest_voltage,
                      other=f"{_stated(inverter.dc_link_capacitance)} ± "
                            f"{_stated(inverter.dc_link_tolerance)}"))
    found.append(Part(tags.next("T"), "inverter", "inverter", "end of the bus",
                      current=pack.peak_current, voltage=pack.highest_voltage,
                      other=f"{_stated(inverter.voltage_low)} to {_stated(inverter.voltage_high)}, "
                            f"{_never_above(inverter.absolute_maximum)}"))
    return tuple(found)


def _stated(finding: Finding) -> str:
    """A value, and that it is not the brief's where it was assumed."""
    shown = plainly(finding)
    return f"{shown} (assumed, the brief does not say)" \
        if finding.known and finding.basis == "assumed" else shown


def _never_above(limit: Finding) -> str:
    return f"never above {plainly(limit)}" if limit.known and limit.basis != "assumed" \
        else "its absolute maximum is not known: ask the maker"


def parts_table(key: str, parts: tuple[Part, ...]) -> Table:
    """The parts list: every tag of the picture, with what is asked of the part."""
    columns = (Column("tag", "Tag"), Column("part", "Part"), Column("place", "Place", wide=True),
               Column("current_A", "Carries at least [A]", "right"),
               Column("voltage_V", "Stands [V]", "right"),
               Column("breaking_A", "Breaks, or drives into a fault [A]", "right"),
               Column("other", "Further", wide=True), Column("note", "Not known", wide=True))
    rows = tuple((words(p.tag), words(p.name), words(p.place),
                  *(number(f.value if f is not None else None, unit) for f, unit in (
                      (p.current, "A"), (p.voltage, "V"), (p.breaking, "A"))),
                  words(further(p)), words(_lacking(p))) for p in parts)
    return Table(key, "Parts list: every tag of the picture", columns, rows,
                 "What is asked of each part; candidates for review. A dash: not asked here, or "
                 "not known. What the brief says is there stands under further.")


def further(part: Part) -> str:
    """Stated rating of a fuse that the brief describes, and what else is said of a part."""
    stated = f"rated {plainly(part.rated)} by the brief" if part.rated is not None else ""
    return ", ".join(filter(None, (stated, part.other)))


def _lacking(part: Part) -> str:
    """Of the parts list: what is not known of a part, and what is only the least it can be."""
    said = [part.note] if part.note else []
    if part.voltage is not None and part.voltage.known and part.voltage.at_least:
        said.append(f"voltage: {voltage_words(part.voltage)}")
    if part.breaking is not None and not part.breaking.known:
        note = part.breaking.note.rstrip(",")
        said.append(f"{BREAKS_OPEN}: {note}" if note else BREAKS_OPEN)
    return "; ".join(said)
