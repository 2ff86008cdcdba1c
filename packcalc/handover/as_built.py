"""What was really built, held against the design: other marks, other parts, joints that stand out.

Nothing here changes the design. A deviation is flagged for the reviewer, also where the
builder thinks it better.
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping

from packcalc.bench.assign import AssignmentStudy
from packcalc.bench.grade import GradedLot
from packcalc.findings import Finding
from packcalc.handover.bands import LEAST_RESISTANCE, rule
from packcalc.handover.build import BuildSheet, BuiltPart
from packcalc.handover.expected import MISREAD
from packcalc.handover.inside import ACROSS, INSIDE, LINK, Joint
from packcalc.handover.readings import joint_limit
from packcalc.reading.as_built_file import JOINT, PART, AsBuilt, Built
from packcalc.reading.readings_file import guarded
from packcalc.review import layout_of
from packcalc.units import show
from packcalc.value import value_object

MODULE = "module."
TORQUE_APART = rule("distance from the median of its like at which a torque stands out", "x", "%",
                    0.15, "our rule: two wrenches of common practice, 6 % each, differ by less; "
                          "the reviewer may replace it")
LEAST_TORQUE = rule("least torque that counts as set", "M", "N·m", 0.5,
                    "our rule: no bolt of a pack is set with less; 0 is no torque")
MOST_TORQUE = rule("largest torque that counts as set", "M", "N·m", 200.0,
                   "our rule: no terminal or module bolt bears more")
RULES = (TORQUE_APART, LEAST_TORQUE, MOST_TORQUE, LEAST_RESISTANCE)


@value_object
class Deviation:
    """One thing that is not as designed, or not written down; `grave` holds the gate."""

    id: str
    what: str
    words: str
    act: str
    grave: bool = True


@value_object
class Held:
    """A record held against its design.

    Attributes:
        record: as read.
        deviations: in the order of the build sheet, what was written first.
        blank: ids of lines that nobody filled.
        limit: resistance above which a link in series stands out; None below five.
        marks: mark assigned to each module's place, by id.
    """

    record: AsBuilt
    deviations: tuple[Deviation, ...]
    blank: tuple[str, ...]
    limit: Finding | None
    marks: Mapping[str, str]

    @property
    def missing(self) -> tuple[str, ...]:
        """Blank lines of which the record has not even the row."""
        there = {row.id for row in self.record.printed}
        return tuple(name for name in self.blank if name not in there)

    @property
    def unfilled(self) -> tuple[str, ...]:
        """Blank lines whose row nobody has filled."""
        there = {row.id for row in self.record.printed}
        return tuple(name for name in self.blank if name in there)

    @property
    def grave(self) -> tuple[Deviation, ...]:
        """What goes back to the reviewer before the first energising."""
        return tuple(d for d in self.deviations if d.grave)

    def line(self, name: str) -> Built | None:
        """What was written on one line."""
        return next((b for b in self.record.lines if b.id == name), None)


def wanted(sheet: BuildSheet) -> dict[str, str]:
    """Every line of a record: part or joint by id."""
    return {**{p.id: PART for p in sheet.parts}, **{j.id: JOINT for j in sheet.joints}}


def assigned(dealt: AssignmentStudy | None, sheet: BuildSheet) -> dict[str, str]:
    """The mark that the assignment gives each module's place; empty where none was dealt."""
    if dealt is None:
        return {}
    strings = dealt.layout.arrangement == "strings"
    known = {p.id for p in sheet.parts}
    found = {}
    for place in dealt.places:
        step, beside = (place.column, place.row) if strings else (place.row, place.column)
        single = f"{MODULE}{step + 1}"
        found[single if single in known else f"{single}.{beside + 1}"] = place.dealt.mark
    return {name: mark for name, mark in found.items() if name in known}


def hold(sheet: BuildSheet, record: AsBuilt, marks: Mapping[str, str],
         lot: GradedLot | None = None) -> Held:
    """Hold a record against the design that it was built from.

    Args:
        sheet: of the design as it is today.
        record: as read.
        marks: assigned mark by id, see `assigned`.
        lot: the bench, to look up what was fitted.
    """
    written = {one.id: one for one in record.lines}
    grades = {m.row.mark: m.grade for m in lot.modules} if lot else {}
    found = [*_of_version(sheet, record), *_printed(sheet, record, marks)]
    for part in sheet.parts:
        one = written.get(part.id)
        if one is not None:
            found += _of_module(part, one, marks.get(part.id, ""), grades) \
                if part.id.startswith(MODULE) else _of_part(part, one)
            found += _said(part.what, one)
    joints, limit = _of_joints(sheet, written)
    blank = tuple(name for name in wanted(sheet) if name not in written)
    return Held(record, (*found, *joints), blank, limit, marks)


def _of_version(sheet: BuildSheet, record: AsBuilt) -> list[Deviation]:
    today = sheet.figures.brief.digest
    study = sheet.figures.study
    label = layout_of(study)
    if record.input_digest == today and record.layout in ("", study.layout.label, label):
        return []
    begun = f"{record.layout or 'no layout named'}, digest {record.input_digest or 'not stated'}"
    return [Deviation("design", "the whole record", f"begun on {begun}; the design is now {label}, "
                      f"digest {today}", "see packcalc diff for what changed, and look at every "
                      "line again")]


def _printed(sheet: BuildSheet, record: AsBuilt, marks: Mapping[str, str]) -> list[Deviation]:
    """The design's own cells: one that says otherwise than the design was written over."""
    same = record.input_digest == sheet.figures.brief.digest
    begun = "and the record says that it is of this design" if same else \
        "as the design that it was begun on may have said"
    lines = {line["id"]: line for line in _lines(sheet, marks)}
    found = []
    for row in record.printed:
        line = lines.get(row.id)
        for key, stands in (("designed", row.designed), ("assigned_mark", row.assigned_mark)):
            today = line[key] if line else ""
            if stands and today and _plain(stands) != _plain(guarded(today)):
                found.append(Deviation(
                    row.id, line["what"], f"the printed column {key} was written over: "
                    f"{stands}, where the design says {today}, {begun}",
                    "the design counts, not the sheet: look at what was fitted, and write on a "
                    "form of today"))
    return found


def _of_module(part: BuiltPart, one: Built, mark: str,
               grades: Mapping[str, str]) -> list[Deviation]:
    found = []
    if not one.mark:
        found.append(Deviation(part.id, part.what, "no mark written down",
                               "a module without a mark has no bench sheet"))
        return found
    if mark and one.mark != mark:
        found.append(Deviation(part.id, part.what, f"{one.mark} fitted, {mark} assigned",
                               "the figures of the assignment do not hold: pin what was fitted "
                               "and run packcalc assign again"))
    if grades and one.mark not in grades:
        found.append(Deviation(part.id, part.what, f"{one.mark} stands on no bench sheet",
                               "measure it, or find the right mark"))
    elif grades and grades[one.mark] != "keep":
        found.append(Deviation(part.id, part.what, f"{one.mark} is graded {grades[one.mark]}",
                               "take it out again"))
    return found


def _of_part(part: BuiltPart, one: Built) -> list[Deviation]:
    return [*_of_name(part, one), *_of_serial(part, one)]


def _of_serial(part: BuiltPart, one: Built) -> list[Deviation]:
    """A part that bears no number says so: a blank cell does not."""
    return [] if one.serial else [Deviation(
        part.id, part.what, "no serial number written down", "read it off the part, or its lot; "
        "one that bears neither: write none", grave=False)]


def _of_name(part: BuiltPart, one: Built) -> list[Deviation]:
    if not one.part:
        return [Deviation(part.id, part.what, "no part number or name written down",
                          "read it off the part")]
    if not part.named:
        return [Deviation(part.id, part.what, f"{one.part} fitted; the design names no part: "
                          f"{part.design}", "name it in the brief with its data sheet and run "
                          "packcalc report again")]
    if _plain(one.part) != _plain(part.named):
        return [Deviation(part.id, part.what, f"{one.part} fitted, {part.named} designed",
                          "put the part that was fitted into the brief and run packcalc report "
                          "again: every check of it is open")]
    return []


def _plain(words: str) -> str:
    return " ".join(words.split()).casefold()


def _said(what: str, one: Built) -> list[Deviation]:
    if not one.deviation:
        return []
    return [Deviation(one.id, what, one.deviation, "goes back to the reviewer")]


def _of_joints(sheet: BuildSheet,
               written: Mapping[str, Built]) -> tuple[list[Deviation], Finding | None]:
    read = [(joint, what_joint(joint), written[joint.id]) for joint in sheet.joints
            if joint.id in written]
    # Links are like links alone: a fuse or disconnect in the row would widen what is normal.
    likes = {kind: joint_limit([b.resistance for j, _, b in read
                                if j.kind == kind and b.resistance is not None
                                and not _too_low(b.resistance)])
             for kind in (LINK, ACROSS)}
    found = []
    for joint, what, one in read:
        name, counted, limit = joint.id, joint.limit, likes.get(joint.kind)
        if one.resistance is None:
            found.append(Deviation(name, what, "no resistance written down",
                                   "measure it before it is covered"))
        elif _too_low(one.resistance):
            found.append(Deviation(name, what, f"{one.resistance_text} read, below "
                                   f"{LEAST_RESISTANCE.shown}", f"{MISREAD}: no bolted joint is so "
                                   "low; a bridged meter is. Measure again"))
        elif counted is not None and counted.known \
                and one.resistance > counted.number * (1 + 1e-9):
            found.append(Deviation(name, what, f"{one.resistance_text} read, at most "
                                   f"{counted.shown} counted on", "take apart, clean, torque, "
                                   "measure again; where all are alike and a little above, the "
                                   "largest goes into path.link_resistance, and all is sized anew"))
        elif limit is not None and one.resistance > limit.number * (1 + 1e-9):
            found.append(Deviation(name, what, f"{one.resistance_text} read, stands out above "
                                   f"{limit.shown}", "take apart, clean, torque, measure again"))
        elif joint.least is not None and one.resistance < joint.least.number * (1 - 1e-9):
            found.append(Deviation(name, what, f"{one.resistance_text} read, at least "
                                   f"{joint.least.shown} with the parts that belong there",
                                   "a link in place of fuse or disconnect, or the probes bridged "
                                   "it: look, measure again"))
        if one.torque is None:
            found.append(Deviation(name, what, "no torque written down", "set it with a "
                                   "calibrated wrench to the maker's figure", grave=False))
        found += _said(what, one)
    return [*found, *_beyond_bolts(sheet, written), *_torques(sheet, written)], likes[LINK]


def _beyond_bolts(sheet: BuildSheet, written: Mapping[str, Built]) -> list[Deviation]:
    """A torque that no bolt of a pack is set with, however alike all of them are."""
    lines = (*((p.id, p.what) for p in sheet.parts),
             *((j.id, what_joint(j)) for j in sheet.joints))
    return [Deviation(name, what, f"{one.torque_text} set, outside {LEAST_TORQUE.shown} to "
                      f"{MOST_TORQUE.shown}", f"{MISREAD}; true, set it again to the maker's "
                      "figure")
            for name, what in lines for one in (written.get(name),)
            if one is not None and one.torque is not None and not _of_a_bolt(one.torque)]


def _of_a_bolt(torque: float) -> bool:
    return LEAST_TORQUE.number * (1 - 1e-9) <= torque <= MOST_TORQUE.number * (1 + 1e-9)


def _too_low(resistance: float) -> bool:
    """Lower than any joint can be: misread, and no measure of what is normal."""
    return resistance < LEAST_RESISTANCE.number * (1 - 1e-9)


def _torques(sheet: BuildSheet, written: Mapping[str, Built]) -> list[Deviation]:
    """A torque far from that of its like: a slip of the pen, of the unit or of the wrench."""
    places = sheet.stack.places
    like: dict[tuple[str, ...], list[tuple[str, str, Built]]] = {}
    for joint in sheet.joints:
        beside = dict.fromkeys(one.module.title for one in places[joint.after - 1:joint.after + 1])
        like.setdefault((joint.kind, *beside), []).append(
            (joint.id, what_joint(joint), written.get(joint.id)))
    for part in sheet.parts:
        if part.id.startswith(MODULE):
            like.setdefault((MODULE, part.design), []).append(
                (part.id, part.what, written.get(part.id)))
    found = []
    for group in like.values():
        read = [(name, what, one) for name, what, one in group
                if one is not None and one.torque is not None and _of_a_bolt(one.torque)]
        if len(read) < 2:
            continue
        middle = statistics.median(one.torque for _, _, one in read)
        found += [Deviation(name, what, f"{torque_shown(one)} set, its like have "
                            f"{_torque(middle)}: more than {TORQUE_APART.shown} off", "hold it "
                            "against the maker's figure and the bolt, set it again, or mend the "
                            "record where the pen slipped")
                  for name, what, one in read
                  if abs(one.torque - middle) > TORQUE_APART.number * middle * (1 + 1e-9)]
    return found


def what_joint(joint: Joint) -> str:
    """A joint in words."""
    return f"joint at {joint.place}" if joint.kind == INSIDE else f"joint {joint.place}"


def torque_shown(one: Built) -> str:
    """A torque in the units of the trade."""
    if one.torque is None:
        return "–"
    return _torque(one.torque)


def _torque(value: float) -> str:
    return f"{show(value, 'N·m', 3)} ({show(value, 'lbf·ft', 3)}, {show(value, 'lbf·in', 3)})"


def form_lines(sheet: BuildSheet, marks: Mapping[str, str], design: str) -> list[dict[str, str]]:
    """Lines of an empty record for `form_text`."""
    brief = sheet.figures.brief
    version = {"design": design, "layout": layout_of(sheet.figures.study),
               "input_digest": brief.digest}
    return [{**line, **version} for line in _lines(sheet, marks)]


def _lines(sheet: BuildSheet, marks: Mapping[str, str]) -> list[dict[str, str]]:
    """What the design says of every line."""
    parts = [{"id": p.id, "what": p.what, "designed": p.named or p.demand,
              "assigned_mark": marks.get(p.id, "")} for p in sheet.parts]
    joints = [{"id": j.id, "what": what_joint(j), "designed": j.limit_words, "assigned_mark": ""}
              for j in sheet.joints]
    return [*parts, *joints]
