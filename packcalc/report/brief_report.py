"""What was asked, what was assumed, and what to find next."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import fields

from packcalc.bench_keys import BENCH_KEYS, DONOR_KEYS
from packcalc.brief import Brief, Unknown
from packcalc.brief_keys import KEYS
from packcalc.findings import Origin
from packcalc.layouts import Layout
from packcalc.next_steps import NextStep, find_next
from packcalc.parts import Part
from packcalc.places.chafed import ASK_CABLE
from packcalc.report.blocks import Cell, column, number, words
from packcalc.report.document import Block, Bullets, Document, Paragraph, Section, Table
from packcalc.report.frame import document


# No part is sized by `packcalc check`, and no check of one is made.
TOLD_BY_PROTECT = " packcalc protect says first for which open entry the most checks wait."
MOST_FIRST = 12  # open entries told in full by `packcalc check`; the rest in a line each


def meta_of(brief: Brief) -> tuple[tuple[str, str, str], ...]:
    """Brief, date of issue and digest, as every document carries them."""
    return (("brief", "Brief", brief.title or brief.place),
            ("date_of_issue", "Date of issue", brief.date_of_issue or "not given"),
            ("input_digest", "Digest of the input", brief.digest),
            *((("counted_by_bench", "Bench sheet", brief.counted),) if brief.counted else ()))


def inputs_table(brief: Brief) -> Table:
    """Every entry: value, basis, origin, what an assumption means."""
    columns = (column("entry", "Entry"), column("meaning", "Meaning", wide=True),
               column("value", "Value"), column("basis", "Basis"),
               column("origin", "Origin", wide=True), column("note", "Note", wide=True))
    rows, doubts = [], {u.dotted: u.key.doubt for u in brief.unknowns}
    for dotted, leaf in brief.entries():
        if leaf.known:
            note = "; ".join(filter(None, (leaf.told_note, doubts.get(dotted, ""))))
            rows.append((Cell(dotted), Cell(leaf.title), Cell(leaf.shown), Cell(leaf.basis),
                         words(str(leaf.origin or "")), words(note)))
    rows += [_word_row(brief, dotted, value) for dotted, value in brief.words()
             if dotted != "note"]  # it stands above the table
    return Table("inputs", "Inputs and assumptions", columns, tuple(rows),
                 note=f"Entries are those of {brief.place}; figures name its line.")


def _word_row(brief: Brief, dotted: str, value: str) -> tuple[Cell, ...]:
    """An entry that is words: a change of it counts as much as that of a figure."""
    plain = re.sub(r"\[\d+\]", "", dotted)
    known = next((k.title for k in (*KEYS, *BENCH_KEYS, *DONOR_KEYS) if k.dotted == plain), "")
    basis = ("assumed" if brief.left_open(dotted) else "given") if known else ""
    title = known or plain.rpartition(".")[2].replace("_", " ")
    return Cell(dotted), Cell(title), Cell(value), words(basis), words(""), words("")


def modules_table(brief: Brief) -> Table:
    """The module types on hand with what their class filled in."""
    columns = (column("module", "Module"), column("figure", "Figure", wide=True),
               column("value", "Value"), column("basis", "Basis"),
               column("note", "Origin and note", wide=True))
    rows = []
    for on_hand in brief.modules:
        for f in on_hand.module.figures:
            if f.known:
                rows.append((Cell(on_hand.module.id), Cell(f.title), Cell(f.shown),
                             Cell(f.weakest), words("; ".join(
                                 t for t in (str(f.origin or ""), f.note) if t))))
    return Table("module_figures", "Modules on hand: every figure and its ground", columns,
                 tuple(rows), "assumed: filled in from the cell class, because nobody gave it")


def parts_table(brief: Brief) -> Table | None:
    """What the list says of each part that the brief names; None where it names none."""
    use = brief.parts
    named = {*(getattr(use, field.name) for field in fields(use) if field.name != "list"),
             *(b.fuse_part for b in brief.branch), *(r.cable for r in brief.cables.route)}
    found = list_table([part for part in use.list.parts if part.name in named], "part_figures",
                       "Named parts: what the list says of them")
    return found if found.rows else None


def list_table(parts: Iterable[Part], key: str = "parts_list",
               caption: str = "Every part of the list") -> Table:
    """What the list says of each of these parts."""
    return Table(key, caption, (
        column("part", "Part"), column("origin", "Row"), column("basis", "Basis"),
        column("sheet", "Figures", wide=True)),
        tuple((Cell(part.name), Cell(_row_of(part)), Cell(part.basis),
               Cell("; ".join(f"{name} = {value}" for name, value in part.written)))
              for part in parts))


def _row_of(part: Part) -> str:
    return str(Origin(part.origin.place, part.origin.line)) if part.origin else "–"


def _taken(unknown: Unknown) -> Cell:
    """What counts meanwhile, and whether a true value may ask for more."""
    return words("; ".join(filter(None, (unknown.taken, unknown.key.doubt))))


def next_table(brief: Brief, layout: Layout | None, most: int = 0,
               steps: tuple[NextStep, ...] | None = None,
               elsewhere: str = "packcalc check lists them") -> Table:
    """The open entries; ranked by what they move where a layout is known.

    Args:
        brief: with its open entries.
        layout: whose figures are looked at.
        most: how many are listed; 0 lists all.
        steps: `find_next` of the two, where it is at hand.
        elsewhere: where the others stand, in words.
    """
    columns = (column("entry", "Entry"), column("meaning", "What is open", wide=True),
               column("taken", "Counted on meanwhile", wide=True),
               column("swing_percent", "Moves by", "%"), column("moves", "Which figure", wide=True),
               column("consequence", "What that means", wide=True),
               column("find", "How to find it", wide=True))
    if layout is None:
        # What decides comes first; all else moves nothing while it is open.
        ordered = sorted(brief.unknowns, key=lambda u: not u.decides)
        rows = tuple((Cell(u.dotted), Cell(u.key.title), _taken(u), Cell("–"),
                      words("everything: nothing is tried without it" if u.decides else ""),
                      words(u.key.consequence), words(u.key.find)) for u in ordered)
        return Table("find_next", "Find these next, what decides first", columns, rows)
    rows = tuple(
        (Cell(s.unknown.dotted), Cell(s.unknown.key.title), _taken(s.unknown),
         number(s.swing, "%", 2) if s.moves else Cell("–"), words(_moved(s)),
         words(s.unknown.key.consequence), words(s.unknown.key.find))
        for s in (find_next(brief, layout) if steps is None else steps)[:most or None])
    more = len(brief.unknowns) - len(rows)
    tail = f" {more} more are open; {elsewhere}." if more else ""
    first = "What checks wait for comes first. " if any(s.waiting for s in steps or ()) else ""
    return Table("find_next", "Find these next, the one that moves the result most first",
                 columns, rows,
                 f"{first}Moves by: change of that figure if a lucky answer came back; it ranks "
                 "entries and is no result. Voltage, power, energy, current and fuse come before "
                 "cable and pre-charge." + tail)


def _moved(step: NextStep) -> str:
    """The figure that an entry moves, after the checks that wait for it."""
    return "; ".join(filter(None, (step.waiting and wait(step.waiting, step.failed), step.moves)))


def wait(checks: int, failed: int = 0) -> str:
    """So many checks, in words.

    Args:
        checks: that rest on an open entry.
        failed: those of them that fail, or need caution, on what is counted meanwhile.
    """
    if failed:
        return (f"{checks} checks rest on it" if checks > 1 else "1 check rests on it") + \
            " (not evaluated, or failed on what is counted meanwhile)"
    return f"{checks} checks wait for it (not evaluated)" if checks > 1 else \
        "1 check waits for it (not evaluated)"


def _also_open(unknowns: tuple[Unknown, ...]) -> Table:
    """The open entries that move less, a line each."""
    columns = (column("entry", "Entry"), column("taken", "Counted on meanwhile", wide=True),
               column("find", "How to find it", wide=True))
    rows = tuple((Cell(u.dotted), _taken(u), words(u.key.find)) for u in unknowns)
    return Table("also_open", "Open as well, less decisive", columns, rows)


def _open(count: int) -> str:
    return "1 entry is open" if count == 1 else f"{count} entries are open"


def _alternating_only(brief: Brief) -> tuple[str, ...]:
    """Parts whose row gives an AC voltage and no DC one: none of them counts anywhere."""
    return tuple(f"{part.name}: {part.alternating_words}; ask its maker for the rated DC voltage, "
                 "and for what it makes and breaks in DC: such figures of that row do not count"
                 for part in brief.parts.list.parts if part.alternating_words)


def check_document(brief: Brief, left_out: str = "", donor: tuple[str, ...] = ()) -> Document:
    """The answer of `packcalc check`: nothing is wrong; this is assumed; find these next.

    Args:
        brief: as read.
        left_out: which rows of its bench sheet count nowhere; "" where none does.
        donor: what the past of its donor does to that sheet, a line each.
    """
    from packcalc.study import list_layouts

    study = list_layouts(brief)
    layout = study.layout(0) if len(study) else next(iter(study.near.layouts), None)
    one = len(study) == 1
    found = (f"{len(study)} layout{'' if one else 's'} of {study.tried} tried "
             f"{'meets' if one else 'meet'} the brief; packcalc layouts lists "
             f"{'it' if one else 'them'}." if len(study) else
             "The brief can be read, but no layout can be tried yet; the reasons stand below."
             if not study.tried else
             f"The brief can be read, but no layout of {study.tried} tried meets it; packcalc "
             "layouts says what is near.")
    blocks: list[Block] = [
        Paragraph(f"Nothing is wrong in {brief.place}. {_open(len(brief.unknowns))}; "
                  "what is counted meanwhile stands beside each. Where it is called our "
                  "assumption it is no bound: a true value beyond it asks for more.", "lead"),
        Paragraph(found + (TOLD_BY_PROTECT if layout and brief.unknowns else ""))]
    if left_out:
        blocks.append(Paragraph(f"Of the bench sheet {left_out}.", "caution"))
    blocks += [Paragraph(f"Of the bench sheet: {words_}.", "caution") for words_ in donor]
    if not brief.charge_cable_told:
        blocks.append(Paragraph(f"{ASK_CABLE[0].upper()}{ASK_CABLE[1:]}.", "caution"))
    if told := _alternating_only(brief):
        blocks.append(Bullets(told, key="alternating_only"))
    if study.refusals:
        blocks.append(Bullets(study.refusals, key="refusals"))
    if brief.unknowns:
        steps = find_next(brief, layout) if layout else None
        blocks.append(next_table(brief, layout, MOST_FIRST if layout else 0, steps,
                                 "they stand below"))
        rest = (steps or ())[MOST_FIRST:]
        if rest:
            blocks.append(_also_open(tuple(s.unknown for s in rest)))
    return document("Check of the brief", brief.title or brief.place,
                    (Section("check", "Check", tuple(blocks)),), meta_of(brief))
