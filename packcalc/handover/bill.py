"""Bill of materials from the study: what to buy, how many, to which demand."""

from __future__ import annotations

from packcalc.brief import Branch
from packcalc.cable_rules import section_words
from packcalc.checks import Item
from packcalc.duties import place_demand
from packcalc.further_parts import connectors_nowhere
from packcalc.handover.inside import (
    BOTH,
    FUSE_INSIDE,
    LINK,
    MID_PACK,
    SWITCH,
    disconnect_of,
    joints_across,
    joints_of,
    may_part,
    parts_inside,
    position_word,
    strings_of,
)
from packcalc.handover.sizes import SAID, in_both
from packcalc.handover.voltage_class import called
from packcalc.protect.branch_figures import PRECHARGE, SENSE
from packcalc.protection import ProtectionStudy
from packcalc.value import value_object

# String contactors are the contactors of a layout in strings: one line, not two, to the duty of
# those of one string.
NOT_BOUGHT = ("highest_voltage", "overvoltage", "insulation", "coordination",
              "string_coordination", "switching", "strings", "string_contactors",
              "mid_fuse", "charge_contactor",
              "precharge_relay")  # bought by the lines of their places


@value_object
class Line:
    """One line.

    Attributes:
        key: stable.
        what: part.
        quantity: number or length; None where the builder measures it.
        unit: "" for pieces, "m" for lengths.
        demand: what it must meet, from the specification.
        candidates: ratings in which no check failed.
        named: the user's own part that the brief names.
        note: how the quantity comes about.
        open: questions to the supplier.
    """

    key: str
    what: str
    quantity: float | None
    unit: str
    demand: str
    candidates: str = ""
    named: str = ""
    note: str = ""
    open: int = 0


def bill(study: ProtectionStudy) -> tuple[Line, ...]:
    """Every line of one layout."""
    found = [*_modules(study), _links(study)]
    found += _fuse_inside(study)
    nowhere = connectors_nowhere(study.brief)
    found += [_line(item, study) for item in study.items if item.key not in NOT_BOUGHT
              and (item.key != SWITCH or may_part(study))
              and (nowhere is None or item.key != nowhere.key)]
    found += _charge_contactors(study)
    return (*found, *_small(study))


def _modules(study: ProtectionStudy) -> list[Line]:
    layout = study.layout
    found = []
    for number, part in enumerate(layout.parts, start=1):
        module = study.brief.modules[part.entry].module
        found.append(Line(f"module.{number}", f"module, {module.title}",
                          part.series * layout.parallel, "", "graded keep on the bench",
                          note=f"{part.series} in series × {layout.parallel} in parallel; "
                               "on hand"))
    return found


def _links(study: ProtectionStudy) -> Line:
    layout = study.layout
    rows = layout.parallel
    across = len(joints_across(study))
    per = sum(j.kind == LINK for j in joints_of(study)) // strings_of(study)
    cross = f"; {across} cross links of the groups come on top" if across else ""
    return Line("link", "module link", per * rows, "", "at most "
                f"{study.brief.path.link_resistance.shown} with its joints, insulated, covered",
                note=f"{per} in each of {rows} rows{cross}; leads to fuses, disconnect and "
                     "contactors come on top")


def _fuse_inside(study: ProtectionStudy) -> list[Line]:
    """The fuse inside the string beside the main fuse."""
    named = study.brief.parts.mid_fuse
    asked = study.circuit.mid_fuse.specification if study.circuit.mid_fuse else ()
    demand = "; ".join(f"{r.what}: {r.value}" for r in asked) or (
        f"rated DC voltage: above {_volts(study)}; breaks {study.faults.highest.least}"
        f"{study.faults.highest.shown}")
    return [Line("inside_fuse", f"fuse inside the string, {part.tag}", part.count, "", demand,
                 named=named, note=f"after {position_word(study)} {part.after} from the negative "
                 "end", open=_questions(study, "mid_fuse"))
            for part in parts_inside(study) if part.name == FUSE_INSIDE]


def _volts(study: ProtectionStudy) -> str:
    """Highest working voltage; "at least" where its chain is not whole."""
    return study.pack.highest_voltage.least + study.pack.highest_voltage.shown


def _line(item: Item, study: ProtectionStudy) -> Line:
    quantity, unit, note = _quantity(item, study)
    named = study.brief.parts
    contactor = named.tripped(study.layout.in_strings)
    own = {"main_fuse": named.main_fuse, "contactors": contactor,
           "string_fuse": named.string_fuse, "precharge": "; ".join(filter(None, (
               named.resistor, named.precharge_relay))),
           "disconnect": named.disconnect, "connectors": named.named_connector,
           "management": named.management_system}.get(item.key, "")
    if item.key.startswith("cable."):
        own = next((r.cable for r in study.brief.cables.route
                    if item.key == f"cable.{r.name}"), "")
    branch = _branch(item, study)
    own = branch.fuse_part if branch else own
    strung = [i for i in study.items if i.key == "string_contactors"] \
        if item.key == "contactors" else []
    asked = strung[0] if strung else item
    both = _sections(asked, study)
    demand = "; ".join(f"{r.what}: {both.get(r.value, r.value)}" for r in asked.specification)
    ratings = [c for c in item.candidates if not c.own]
    short = in_both(asked, "")
    good = ", ".join(short.get(c.name, c.name) for c in ratings if c.qualifies)
    good = good or ("none qualifies" if ratings else "")
    title = f"{asked.title}, its fuses and wire" if branch else asked.title
    return Line(item.key, title, quantity, unit, demand or "see the file for review", good,
                own, note, len(asked.open_items))


def _sections(item: Item, study: ProtectionStudy) -> dict[str, str]:
    """What the file for review prints of a section, by itself, and the same in both systems."""
    joined = place_demand(study.brief, study.routes).section if item.key == "connectors" else None
    return in_both(item) if joined is None else {
        f"takes {joined.shown}": f"takes {section_words(joined)}"}


def _charge_contactors(study: ProtectionStudy) -> list[Line]:
    poles = study.brief.path.charge_contactor
    many = {"one pole": 1, "both poles": 2}.get(poles)
    if many is None:
        return []
    asked = next(i for i in study.items if i.key == "charge_contactor").specification
    return [Line("charge_contactors", "charge contactor", many, "",
                 "; ".join(f"{r.what}: {r.value}" for r in asked),
                 named=study.brief.parts.charge_contactor, note=poles,
                 open=_questions(study, "charge_contactor"))]


def _questions(study: ProtectionStudy, key: str) -> int:
    """Open questions of a part that is held by itself once it is named; one before."""
    return next((len(i.open_items) for i in study.items if i.key == key), 1)


def _branch(item: Item, study: ProtectionStudy) -> Branch | None:
    return next((b for b in study.brief.branch if item.key == f"branch.{b.name}"), None)


def _branch_fuses(branch: Branch, study: ProtectionStudy) -> tuple[float | None, str, str]:
    """Fuses of a branch, as many as the one-line diagram draws; its wire is measured."""
    if not (branch.fuse_rating.known or branch.fuse_part):
        return None, "", "the brief says of no fuse; fuses and wire: count on the drawing"
    length = f"; wire {branch.length.shown} a pole" if branch.length.known else ""
    if branch.kind == SENSE:
        return study.pack.channels, "", ("fuses, one a wire at its cell end; the common wires come "
                                         "on top" + length)
    if branch.fused_poles != "both":
        return 1, "", f"fuse in one pole, at the tap{length}"
    ends = "at either end of its wires" if branch.kind == PRECHARGE else "one in each pole"
    return 2, "", f"fuses, {ends}{length}"


def _quantity(item: Item, study: ProtectionStudy) -> tuple[float | None, str, str]:
    chains, stands = strings_of(study), study.brief.path.main_fuse
    if item.key == "main_fuse":
        many = {BOTH: 2, MID_PACK: chains}.get(stands, 1)
        each = ", one in each string" if stands == MID_PACK and chains > 1 else ""
        return many, "", f"main fuse: {stands}{each}"
    if item.key == "string_fuse":
        return chains, "", "one in each string"
    if item.key == "contactors":
        return 2 * chains, "", "one in each pole" + (" of each string" if chains > 1 else "")
    if item.key == "precharge":
        return 1, "", "resistor and its relay; each string has its own where strings start alone"
    if item.key.startswith("cable."):
        route = next(r for r in study.routes if r.item.key == item.key)
        length = route.asked.length.number
        return 2 * length, "m", f"two poles × {route.asked.length.shown}, for each run that lies "\
                                f"side by side; add what the lugs take; {SAID}"
    if item.key == "string_cables":
        length = study.brief.path.string_cable_length
        if study.brief.left_open("path.string_cable_length"):
            return None, "m", "the brief does not say whether there are any"
        area = study.brief.path.string_cable_section
        section = section_words(area) if area.basis != "assumed" else "section open in the brief"
        return chains * length.number, "m", \
            f"{length.shown} in each string, {section}; add what the lugs take"
    branch = _branch(item, study)
    if branch is not None:
        return _branch_fuses(branch, study)
    if item.key == SWITCH:
        part = disconnect_of(study)
        if part is None:
            return None, "", "the brief does not say whether there is one"
        return part.count, "", "one in each string" if part.count > 1 else ""
    return (1, "", "") if item.key == "management" else (None, "", "count on the drawing")


def _labels(study: ProtectionStudy) -> str:
    """What else is labelled, for who must find it in a hurry."""
    may = may_part(study)
    return f"{'disconnect and ' if may else ''}cut-point labels"


def _small(study: ProtectionStudy) -> tuple[Line, ...]:
    volts = _volts(study)
    described = any(b.kind == SENSE and (b.fuse_rating.known or b.fuse_part)
                    for b in study.brief.branch)  # bought by the line of their branch
    found = (
        Line("monitor_channels", "cell-voltage channels", study.pack.channels, "",
             "one for each cell in series of each module row"),
        Line("sense_fuses", "fuses of the sense wires, at their cell ends", study.pack.channels,
             "", f"DC rating above {volts}", note="one a wire; the common wires come on top"),
        Line("covers", "terminal covers and insulating barriers", None, "",
             f"insulation for {volts}", note="count on the drawing"),
        Line("symbols", f"{called(study.pack).labels}, {_labels(study)}", None, "",
             "one on each cover that hides live parts"),
        Line("straps", "bonding straps", None, "", "below 0.1 Ω each, at 0.2 A or more",
             note="one for each metal part"))
    return tuple(line for line in found if line.key != "sense_fuses" or not described)
