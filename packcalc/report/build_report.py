"""The build sheet and the as-built record."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby

from packcalc.bench.balance import BalancePlan
from packcalc.bench.teardown import band
from packcalc.handover.as_built import RULES, Held, form_lines, torque_shown
from packcalc.handover.build import (
    GROUP_RULES,
    JOINT_RULES,
    PHOTOGRAPHS,
    PREPARATION,
    SENSE_FIRST,
    BuildSheet,
    Grouping,
    build_sheet,
    joint_chains,
)
from packcalc.handover.expected import STOP
from packcalc.handover.inside import (
    INSIDE,
    disconnect_of,
    disconnect_open,
    division_open,
    open_places,
    parts_inside,
)
from packcalc.handover.parted import DIVISION_OPEN, spanning
from packcalc.measured import Measured
from packcalc.protection import ProtectionStudy
from packcalc.reading.as_built_file import Built, form_text
from packcalc.report.blocks import column, number, whole, words
from packcalc.report.cautions import CAUTIONS, DEFERENCE
from packcalc.report.document import (
    Block,
    Bullets,
    Cell,
    Document,
    Facts,
    Paragraph,
    Section,
    Table,
)
from packcalc.report.frame import document
from packcalc.report.handover_blocks import (
    BLANK,
    DEALT,
    appendix,
    chains,
    lead,
    meta,
    signatures,
    signers,
    subtitle,
)
from packcalc.review import design_of

TITLE = "Build sheet and as-built record"
MOST_BLANK = 12
SIGNERS = ("structural engineer (box, restraint)", "certifier")


def build_document(study: ProtectionStudy, held: Held | None = None,
                   marks: Mapping[str, str] | None = None,
                   plan: BalancePlan | None = None, bench: Measured = Measured()) -> Document:
    """The page of `packcalc build`.

    Args:
        study: one layout sized.
        held: the record as read and held against the design; none where not given.
        marks: mark that the assignment gives each module's place, by id.
        plan: what the assignment asks before modules are joined; None without a bench.
        bench: what the bench sheet says of the pack as dealt.
    """
    sheet = build_sheet(study, plan)
    told = (deviations_section(held),) if held else ()
    sections = (_first(study, sheet, bench, plan), *told, *_groups(sheet), _steps(sheet),
                _joints(sheet, held), _photographs(study),
                _as_built(study, sheet, held, marks or {}))
    worked = (*joint_chains(sheet), *([held.limit] if held and held.limit else []),
              *(RULES if held else ()))
    return document(TITLE, subtitle(study),
                    (*sections, *appendix(chains("build", worked))), meta(study), study.pack)


def record_form(study: ProtectionStudy, marks: Mapping[str, str]) -> str:
    """An empty record of what is built, the design's own columns filled."""
    how = ("Fill in what was really fitted: mark and part as they stand on it, torque like 9.0 N·m "
           "or 80 lbf·in, resistance like 0.12 mΩ, date like 2026-11-24. Lines left blank are not "
           "read. packcalc build BRIEF --as-built FILE holds them against the design.")
    return form_text(form_lines(build_sheet(study), marks, design_of(study)),
                     (*CAUTIONS, DEFERENCE, how))


def deviations_section(held: Held) -> Section:
    """What was built otherwise than designed, for the first pages."""
    record = held.record
    columns = (column("id", "Line"), column("what", "What", wide=True),
               column("deviation", "Deviation", wide=True), column("act", "Then", wide=True))
    rows = tuple((Cell(d.id), Cell(d.what), Cell(d.words), Cell(d.act))
                 for d in held.deviations)
    grave = len(held.grave)
    blocks: list[Block] = [Paragraph(
        f"{len(record.lines)} lines filled, {len(held.blank)} blank, {grave} deviation"
        f"{'' if grave == 1 else 's'} for the reviewer before the first energising. Nothing of "
        "the design was changed by this record.", "open" if grave or held.blank else "text"),
        Facts("as_built_file", "The record", (
            ("file", "File", words(record.place)), ("as_built_digest", "Digest of the record",
                                                    words(record.digest))))]
    if rows:
        blocks.append(Table("deviations", "Not as designed, or not written down", columns, rows))
    for said, names in (("Left out of the record, without even a row", held.missing),
                        ("Blank", held.unfilled)):
        if names:
            more = len(names) - MOST_BLANK
            blocks.append(Paragraph(f"{said}: {', '.join(names[:MOST_BLANK])}"
                                    + (f" and {more} more." if more > 0 else "."), "open"))
    return Section("deviations_as_built", "As built, held against the design", tuple(blocks))


def as_built_sections(study: ProtectionStudy, held: Held) -> tuple[Section, ...]:
    """Deviations and the whole record, for the file for review."""
    sheet = build_sheet(study)
    return (deviations_section(held), _joints(sheet, held),
            _as_built(study, sheet, held, held.marks))


def _first(study: ProtectionStudy, sheet: BuildSheet, bench: Measured,
           plan: BalancePlan | None) -> Section:
    blocks: list[Block] = [lead(study, "Sections first, the longest chain last.")]
    if plan is not None:
        blocks.append(Paragraph(f"Before joining, by the plan of packcalc assign. "
                                f"{plan.condition}", "caution"))
    if bench.left_open:
        blocks.append(Paragraph(f"Not known of modules as dealt: {bench.left_open}. Why, and what "
                                "would settle it: packcalc assign.", "open"))
    warnings = (*(f"{DEALT}: {c.title}: {c.sentence}" for c in bench.failing), *sheet.warnings)
    if warnings:
        blocks += [Paragraph("Do not build this yet. These checks fail:", "open"),
                   Bullets(warnings, "build_warnings")]
    if sheet.stacks > 1:
        blocks.append(Paragraph(f"{sheet.stacks} strings: the steps below are done for each "
                                "string by itself; strings are joined only on the day of the "
                                "first energising, in the order of packcalc commission: one fills "
                                "the bus through its pre-charge, each further one closes onto the "
                                "bus that it holds, at the difference and the charge that the "
                                "file for review asks.", "caution"))
    elif study.layout.parallel > 1:
        blocks.append(Paragraph(f"Each group is {study.layout.parallel} modules side by side: "
                                "match their charge first, then join them, before the group is "
                                "linked to the next. A reversed module in a group is a dead "
                                "short.", "caution"))
    blocks.append(Bullets(_preparation(study, sheet), "build_preparation", ordered=True))
    return Section("before", "Before the first link", tuple(blocks))


def _preparation(study: ProtectionStudy, sheet: BuildSheet) -> tuple[str, ...]:
    """Rules before the first link, with the charge and the last joint of this pack."""
    two, *rest = PREPARATION
    charge = (f"Only modules graded keep on the bench, marked, capped, {sheet.charged.order}. A "
              "module that was dropped, wet or warm goes back to the bench.")
    inside = parts_inside(study)
    day = "left open, capped on both sides, and closed on the day of the first energising only"
    if inside:
        tags = " and ".join(p.shown for p in inside)
        last = f"No plain link stands at {tags}: that place is {day}."
    elif not open_places(study):
        last = "Nothing is linked in series: the poles stay capped until the first energising."
    else:
        last = f"No disconnect or fuse stands inside the string: its last link is {day}."
    if disconnect_of(study) is None and open_places(study):
        last += (f" Closed, the chain is one, up to {sheet.worst.shown}, and no disconnect parts "
                 "it again: only a link taken out under voltage.")
    if disconnect_open(study):
        last = ("The brief does not say whether a disconnect stands inside the string, or where: "
                "find out before the first link. " + last)
    return two, charge, *rest, _sense_leads(study), last


def _sense_leads(study: ProtectionStudy) -> str:
    """What comes first, leads or last joint; with a monitor over the open place neither may."""
    over = ", ".join(map(str, spanning(study)))
    if not over and open_places(study) and division_open(study):
        return f"{SENSE_FIRST} But {DIVISION_OPEN}."
    return SENSE_FIRST if not over else (
        f"{STOP}: monitor {over} reaches over the open place: its leads must not go in while that "
        "is open, nor the place be closed without them. Until that is answered it stays open.")


def _groups(sheet: BuildSheet) -> tuple[Section, ...]:
    """The groups first; no section where no modules stand side by side."""
    if not sheet.groups:
        return ()
    columns = (column("group", "Group"), column("modules", "Modules"),
               column("each", "Each reads", wide=True), column("apart_mV", "Apart, at most", "mV"),
               column("reversed_V", "Reversed, about", "V"),
               column("highest_V", "Highest", "V"), column("reading", "Read, each module"),
               column("name", "By whom"))
    rows = tuple((whole(g.number), whole(g.many), Cell(_each(g)), number(g.apart, "mV"),
                  number(2 * g.highest.number, "V", 2), number(g.highest.number, "V"), BLANK,
                  BLANK) for g in sheet.groups)
    return (Section("groups", "Groups first: modules side by side", (
        Paragraph("What two modules differ by drives a current between them the moment they "
                  "touch; packcalc assign says how much, and brings each to one charge.",
                  "caution"),
        Bullets(GROUP_RULES, "group_rules", ordered=True),
        Table("build_groups", "Groups, each before its first link in series", columns, rows,
              f"Voltmeter: {sheet.charged.words}. A reading outside: stop, find out why."))),)


def _each(group: Grouping) -> str:
    """Band of one module on the voltmeter."""
    return "as on its bench sheet" if group.each is None else \
        f"{group.each[0]:.2f} to {group.each[1]:.2f} V"


def _steps(sheet: BuildSheet) -> Section:
    columns = (column("step", "Step"), column("action", "Do", wide=True),
               column("measure", "Measure", wide=True), column("live", "Live after it", wide=True),
               column("highest_V", "Longest section, full", "V"),
               column("reading", "Read, by whom"))
    rows = tuple((whole(s.number), Cell(s.action), Cell(s.measure), Cell(s.live),
                  number(s.worst.highest.number, "V"), BLANK) for s in sheet.steps)
    table = Table("build_steps", "Links in order", columns, rows,
                  f"Bands of the voltmeter: {sheet.charged.words}; the sum of the modules' own "
                  "readings counts first. A reading outside: stop, find out why.")
    return Section("steps", "Links in order, and what is live", (
        Paragraph(_reach(sheet), "caution"), table, _sections(sheet)))


def _reach(sheet: BuildSheet) -> str:
    step = next((s for s in sheet.steps if s.worst.highest.number > 60.0 + 1e-9), None)
    if step is None:
        return "No section passes 60 V. That ends the danger of shock, not of burns."
    if step.number == 0:
        return ("Above 60 V from the first module on: every step is work on lethal parts, "
                "gloves and covers throughout.")
    return (f"From step {step.number} on a section is above 60 V: gloves and covers from there. "
            "Below it one module still welds a spanner.")


def _sections(sheet: BuildSheet) -> Table:
    columns = (column("step", "Step"), column("sections", "Joined", wide=True),
               column("count", "Sections"), column("highest_V", "Highest voltage", "V"),
               column("expected", "Voltmeter shows"), column("words", "What it is", wide=True))
    rows = []
    for step in sheet.steps:
        for _, group in groupby(step.sections, key=lambda s: s.run.steps):
            like = tuple(group)
            runs = [str(s.run) for s in like]
            shown = ", ".join(runs if len(runs) <= 6 else [*runs[:5], f"… {runs[-1]}"])
            rows.append((whole(step.number), Cell(shown), whole(len(like)),
                         number(like[0].highest.number, "V"), Cell(band(like[0])),
                         Cell(like[0].words)))
    return Table("build_sections", "Sections after each step, the longest first", columns,
                 tuple(rows))


def _joints(sheet: BuildSheet, held: Held | None = None) -> Section:
    columns = (column("id", "Joint"), column("place", "Where", wide=True),
               column("limit", "Resistance"), column("torque", "Torque, maker's / set"),
               column("mark", "Mark"),
               column("resistance_mohm", "Read [mΩ]"), column("name", "By, date"))
    rows = tuple((Cell(j.id), Cell(j.place), Cell(j.limit_words),
                  *_read(held.line(j.id) if held else None)) for j in sheet.joints)
    blocks: list[Block] = [Bullets(JOINT_RULES, "joint_rules")]
    if rows:
        day = [j for j in sheet.joints if j.of_the_day]
        if day:
            across = (" Read across fuse and disconnect; each of their own bolted joints by itself "
                      "as a link. A cable between two boxes comes on top: add it by hand."
                      if day[0].kind == INSIDE else "")
            blocks.append(Paragraph(
                f"{', '.join(j.id for j in day)}: closed and read on the day of the first "
                f"energising, not before.{across}", "caution"))
        blocks.append(Table("joints", "Joints; each within its limit, and no link that stands "
                            "out from its like", columns, rows,
                            "Joints to main fuse, contactors and cable lugs: add them below by "
                            "hand, each with its own line."))
    return Section("joints", "Torque and joint resistance", tuple(blocks))


def _read(one: Built | None) -> tuple[Cell, ...]:
    """What was written of a joint."""
    if one is None:
        return (BLANK,) * 4
    ohms = number(one.resistance, "mΩ", 3) if one.resistance is not None else Cell("–")
    return Cell(torque_shown(one)), words(one.mark), ohms, Cell(f"{one.name}, {one.date}")


def _photographs(study: ProtectionStudy) -> Section:
    wanted = [p if disconnect_of(study) or disconnect_open(study) else
              p.removeprefix("disconnect, ") for p in PHOTOGRAPHS]
    rows = tuple((whole(n), Cell(what), BLANK) for n, what in enumerate(wanted, start=1))
    columns = (column("number", "No."), column("photograph", "Photograph", wide=True),
               column("file", "File, date"))
    return Section("photographs", "Photographs to take", (
        Table("photographs", "Before it is covered", columns, rows),))


def _as_built(study: ProtectionStudy, sheet: BuildSheet, held: Held | None,
              marks: Mapping[str, str]) -> Section:
    columns = (column("id", "Line"), column("part", "Part", wide=True),
               column("design", "Design", wide=True), column("named", "Named or assigned"),
               column("mark", "Real mark"), column("part_number", "Part no."),
               column("serial", "Serial"), column("torque", "Torque"),
               column("deviation", "Deviation from design", wide=True))
    rows = tuple((Cell(p.id), Cell(p.what), words(p.design), words(marks.get(p.id, p.named)),
                  *_fitted(held, p.id)) for p in sheet.parts)
    record = f" and the record with digest {held.record.digest}" if held else ""
    covers = ("Signatures cover this record: the marks, part numbers, serials, joints and "
              f"deviations as written here, for the design with digest {study.brief.digest}"
              f"{record}. A part changed later, or a deviation added, voids them for that line "
              "and all that rests on it.")
    return Section("as_built", "As-built record", (
        Table("as_built", "What was really fitted", columns, rows,
              "A deviation is written down even where it seems better; it goes back to the "
              "reviewer before the first energising."),
        *signatures("build_signatures", covers, signers(study.pack, *SIGNERS))))


def _fitted(held: Held | None, name: str) -> tuple[Cell, ...]:
    """What was written of a part, with every deviation from its design."""
    one = held.line(name) if held else None
    if held is None or one is None:
        return (BLANK,) * 5
    told = "; ".join(d.words for d in held.deviations if d.id == name)
    return (words(one.mark), words(one.part), words(one.serial), Cell(torque_shown(one)),
            words(told))
