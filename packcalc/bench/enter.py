"""Entering a bench sheet by hand: each value is checked as it is typed, each kept at once.

The talking is left to the caller: `say` prints a line, `hear` returns what was typed and
raises EOFError or KeyboardInterrupt when the user is done. Every value of the row in hand is
forced to the disk in a file beside the sheet (`enter_files.Unfinished`), which the next start
takes up; a whole row is one line of the sheet before the next is asked for. A row that stands
already is gone on with by `+`: only its open entries are asked for, and only it is rewritten.
"""

from __future__ import annotations

import os
import statistics
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from packcalc.bench.donor_past import FACTS, with_donor
from packcalc.bench.enter_files import Unfinished, append, line_of, rewrite_row
from packcalc.bench.grade import grade_sheet
from packcalc.bench.judging import CELLS, VOLTAGE
from packcalc.bench.questions import Question, ask, ask_row, unlike_the_donor
from packcalc.bench.sheet import BenchRow, BenchSheet
from packcalc.brief import Bench, Donor
from packcalc.checks import FAIL
from packcalc.errors import InputErrors
from packcalc.modules import ModuleType
from packcalc.reading.bench_brief import default_bench
from packcalc.reading.bench_sheet import BLANK, HEADS, parse_sheet
from packcalc.reading.positions import one_line
from packcalc.reading.sheet_text import (
    Layout,
    cells_by_mark,
    folded_mark,
    last_cells,
    layout_of,
    read_text,
)
from packcalc.reading.told_once import told_once
from packcalc.units import printed, show

# In the order of the bench: what can kill, what is cheap, what takes long.
NEW_HEAD = (
    "mark", "module", "insulation_Mohm", "insulation_voltage_V", "rest_voltage_V", "rest_date",
    "rest_temperature_degC", "lowest_cell_V", "highest_cell_V", "resistance_mohm",
    "resistance_current_A", "resistance_pulse_s", "resistance_temperature_degC",
    "resistance_charge_percent", "capacity_Ah", "capacity_current_A", "capacity_temperature_degC",
    "first_voltage_V", "first_date", "first_temperature_degC", "second_voltage_V", "second_date",
    "second_temperature_degC", "mass_kg", "donor", "crash", "water", "lifetime_record", "expiry",
    "damage", "storage", "charged_or_drained")
HELP = ("Enter: not measured. = : as in the row before. . : rest of the row stays empty. "
        "! : keep a value that was asked about. A mark that stands already, then + : go on with "
        "its open entries. Empty mark: done.")
GO_ON = "+"
FAR_FROM_OTHERS = 0.3
FAR_VOLTAGE = 0.05  # a rest voltage; modules of one donor rest within hundredths of a volt
COMPARED = ("capacity", "resistance", "rest_voltage", "mass")
FEWEST_OTHERS = 3

Say = Callable[[str], None]
Hear = Callable[[str], str]


@dataclass
class Session:
    """One sitting at the bench.

    Attributes:
        path: of the sheet.
        layout: separator, decimal mark, line end and head of the file.
        sheet: every row so far.
        default: type of the rows that name none.
        bench: thresholds for what is odd.
        today: day that no reading may lie behind; empty where nobody said.
        before: cells of the row before.
        added: rows appended, or gone on with, in this sitting.
        types: those of the brief, which a row may name.
        donor: of the brief, where it describes one.
    """

    path: Path
    layout: Layout
    sheet: BenchSheet
    default: ModuleType | None
    bench: Bench
    today: str = ""
    before: dict[str, str] = field(default_factory=dict)
    added: int = 0
    types: tuple[ModuleType, ...] = ()
    donor: Donor | None = None

    @property
    def unfinished(self) -> Unfinished:
        """The row in hand, beside the sheet."""
        return Unfinished.beside(self.path)

    def stands(self, mark: str) -> dict[str, str]:
        """Cells of the row of that mark in the file; empty where there is none."""
        return cells_by_mark(read_text(self.path)).get(folded_mark(mark), {})


def open_session(path: str | os.PathLike[str], default: ModuleType | None = None,
                 bench: Bench | None = None, today: str = "",
                 types: tuple[ModuleType, ...] = (), donor: Donor | None = None) -> Session:
    """Begin a new sheet, or go on with one.

    Args:
        path: of the sheet.
        default, bench, today, types, donor: as `Session` has them.

    Raises:
        InputErrors: the sheet that is there has faults; mend them first.
        OutputError: the file cannot be written.
    """
    target = Path(path)
    if not target.exists():
        layout = Layout(",", "point", "\n", NEW_HEAD)
        append(target, line_of(layout, list(NEW_HEAD)), "xb")
        sheet = BenchSheet(one_line(str(target)), ())
        return Session(target, layout, sheet, default, bench or default_bench(), today,
                       types=types, donor=donor)
    text = read_text(target)
    sheet, faults = parse_sheet(text, one_line(str(target)), default, types)
    rest = [f for f in faults if f.wrong != "holds a head and no rows"]
    if rest:
        raise InputErrors(told_once(rest, by_key=True))
    if not text.endswith("\n"):
        append(target, layout_of(text).newline.encode())
    return Session(target, layout_of(text), sheet, default, bench or default_bench(), today,
                   last_cells(text), types=types, donor=donor)


def enter(session: Session, say: Say, hear: Hear) -> int:
    """Ask for module after module until an empty mark; returns how many rows were kept."""
    say(HELP)
    cells = session.unfinished.cells(session.layout.head)
    if cells:
        say(f"module {cells['mark']} was broken off after "
            f"{len(cells)} {'entry' if len(cells) == 1 else 'entries'}; going on with it")
    while True:
        try:
            if not _row(session, cells, say, hear):
                return session.added
        except (EOFError, KeyboardInterrupt):
            if cells.get("mark"):
                keep(session, cells)
                say(f"broken off; module {cells['mark']} was kept as far as it went")
            return session.added
        keep(session, cells)
        say(f"kept: module {cells['mark']}, {len(session.sheet.rows)} in the sheet")
        for words in counted_from_donor(session, cells["mark"]):
            say(f"  {words}")
        cells = {}


def keep(session: Session, cells: dict[str, str]) -> None:
    """Put one row into the file, force it to the disk, and remember it."""
    stands = session.stands(cells["mark"])
    if stands:
        cells = {head: stands.get(head, "") if not _is_open(stands, head) else cells.get(head, "")
                 for head in session.layout.head}
        if any(cells[head] != stands.get(head, "") for head in cells):
            rewrite_row(session.path, session.layout, cells)
    else:
        append(session.path, line_of(session.layout, [cells.get(head, "")
                                                      for head in session.layout.head]))
    session.unfinished.clear()
    row = read_row(session, cells)
    if row is not None:
        others = tuple(r for r in session.sheet.rows if r.mark.casefold() != row.mark.casefold())
        session.sheet = BenchSheet(session.sheet.place, (*others, row))
    session.before = dict(cells)
    session.added += 1


def counted_from_donor(session: Session, mark: str) -> list[str]:
    """Each harm that a row does not tell and that counts for it, as the brief's donor had it."""
    folded = folded_mark(mark)
    row = next((r for r in with_donor(session.sheet, session.donor).rows
                if folded_mark(r.mark) == folded), None)
    return [f"counts as {FACTS[name]}, as the brief's [donor] says" for name in FACTS
            if row is not None and name in row.by_donor and getattr(row, name) == "yes"]


def _is_open(cells: dict[str, str], head: str) -> bool:
    return cells.get(head, "").lower() in BLANK


def read_row(session: Session, cells: dict[str, str]) -> BenchRow | None:
    """The row as the sheet's own reader sees it; None where that finds a fault."""
    sheet, faults = _parsed(session, cells)
    return sheet.rows[0] if sheet.rows and not faults else None


def wrong_with(session: Session, cells: dict[str, str], head: str) -> str:
    """Why a cell cannot be read, or an empty text."""
    if head == "mark":
        mark = cells["mark"].casefold()
        if mark.startswith("#"):
            return "a mark that begins with # reads as a remark; write it another way"
        if mark == GO_ON:
            return f"{GO_ON} goes on with a mark that stands in the sheet: type that mark first"
        stands = session.stands(mark)
        if stands:
            count = sum(_is_open(stands, own) for own in session.layout.head)
            return f"the mark {cells['mark']} stands already in the sheet" + (
                f", {count} of its entries open: {GO_ON} goes on with them; or type another mark"
                if count else ", with nothing open; type another mark")
    _, faults = _parsed(session, {"mark": "?new", **cells} if not cells.get("mark") else cells)
    found = next((f for f in faults if f.key == head), None)
    return f"{found.wrong}; {found.right}" if found else ""


def odd_about(session: Session, cells: dict[str, str], head: str) -> list[str]:
    """What the label, the row's other cells and the other modules say against a cell.

    Everything is asked that was not yet asked without this cell, under whatever column it is
    filed: the last of two cells that contradict is where it can first be seen.
    """
    row = read_row(session, cells)
    if row is None:
        return []
    name = HEADS[head][0].name if head in HEADS else head
    before = read_row(session, {**cells, head: ""}) if head != "mark" else None
    asked = {str(q) for q in _questions(session, before)} if before is not None else set()
    found = [f"{q.fault.wrong.partition(': ')[2]}; {q.fault.right}"
             for q in _questions(session, row)
             if q.fault.key in (head, name) or str(q) not in asked]
    told = _sets_aside(session, before) if before is not None else []
    found += [words for words in _sets_aside(session, row) if words not in told]
    if name in COMPARED and not (name == "rest_voltage" and found):
        found += _against_others(session, row, name)
    return found


def _sets_aside(session: Session, row: BenchRow) -> list[str]:
    """What the row's voltages and cells would set it aside for, if they are right."""
    graded = grade_sheet(BenchSheet(session.sheet.place, (row,)), session.bench).modules[0]
    return [f"sets the module aside, {c.title}: {c.sentence}; if it is a slip, read it again"
            for c in graded.reasons if c.verdict == FAIL and c.title in (VOLTAGE, CELLS)]


def _questions(session: Session, row: BenchRow) -> list[Question]:
    """What `packcalc bench` would ask about one row, alone and in the lot so far."""
    others = tuple(r for r in session.sheet.rows if r.mark.casefold() != row.mark.casefold())
    lot = BenchSheet(session.sheet.place, (*others, row))
    own = [*ask_row(session.sheet, row, session.bench, session.today),
           *(q for q in unlike_the_donor(lot, session.donor) if q.mark == row.mark)]
    if len(others) < FEWEST_OTHERS:
        return own
    told = {str(q) for q in own}
    return own + [q for q in ask(lot, session.bench, (), session.today)
                  if q.mark == row.mark and str(q) not in told]


def _against_others(session: Session, row: BenchRow, name: str) -> list[str]:
    own = getattr(row, name)
    kind = row.module.id if row.module else ""
    others = [getattr(r, name).number for r in session.sheet.rows
              if getattr(r, name).known and (r.module.id if r.module else "") == kind
              and r.mark.casefold() != row.mark.casefold()]
    if len(others) < FEWEST_OTHERS or not own.known:
        return []
    middle = statistics.median(others)
    far = FAR_VOLTAGE if name == "rest_voltage" else FAR_FROM_OTHERS
    if middle <= 0 or abs(own.number / middle - 1) <= far:
        return []
    return [f"{own.shown} is far from the {len(others)} others (middle {show(middle, own.unit)})"]


# -- one row ----------------------------------------------------------------------------------


def _row(session: Session, cells: dict[str, str], say: Say, hear: Hear) -> bool:
    """Fill `cells`; False when an empty mark ends the sitting."""
    if not cells:
        mark = _mark(session, say, hear)
        if not mark:
            return False
        _note(session, cells, "mark", mark)
    stands = session.stands(cells["mark"])
    if stands:
        cells["mark"] = stands["mark"]
    done = set(cells)
    for head in session.layout.head:
        if head in done:
            continue
        if stands and not _is_open(stands, head):
            cells[head] = stands[head]
            continue
        answer = _cell(session, cells, head, say, hear)
        if answer == ".":
            break
        _note(session, cells, head, answer)
    return True


def _mark(session: Session, say: Say, hear: Hear) -> str:
    """A new mark, one that stands and is gone on with, or nothing: done."""
    offered = ""
    while True:
        answer = hear(prompt("mark")).strip()
        if answer == GO_ON and offered:
            return offered
        if answer == "=":
            answer = ""
            say("  empty")
        if not answer:
            return ""
        wrong = wrong_with(session, {"mark": answer}, "mark")
        if not wrong:
            return answer
        say(f"  {wrong}")
        stands = session.stands(answer)
        offered = stands["mark"] if any(_is_open(stands, own) for own in session.layout.head) \
            and stands else ""


def _note(session: Session, cells: dict[str, str], head: str, answer: str) -> None:
    """Take one answer, on the disk before the next is asked for."""
    session.unfinished.add(head, answer)
    cells[head] = answer


def _cell(session: Session, cells: dict[str, str], head: str, say: Say, hear: Hear) -> str:
    """Ask until the answer can be read, and is either plausible or insisted on."""
    kept = ""
    while True:
        answer = hear(prompt(head)).strip()
        if answer == "!" and kept:
            return kept
        if answer == "=":
            answer = session.before.get(head, "")
            say(f"  {answer or 'empty'}")
        if answer in ("", "."):
            return answer
        tried = {**cells, head: answer}
        wrong = wrong_with(session, tried, head)
        if wrong:
            say(f"  {wrong}")
            continue
        odd = odd_about(session, tried, head)
        if not odd:
            return answer
        for words in odd:
            say(f"  asked: {words}")
        say("  type it again, or ! to keep it as it is (it stays asked about)")
        kept = answer


def prompt(head: str) -> str:
    """What is asked for, with its unit."""
    if head not in HEADS:
        return head.replace("_", " ")
    figure, unit = HEADS[head]
    return f"{figure.title} [{printed(unit)}]" if unit else figure.title


# -- the file ---------------------------------------------------------------------------------


def _parsed(session: Session, cells: dict[str, str]) -> tuple[BenchSheet, tuple]:
    layout = session.layout
    text = f"# decimal: {layout.decimal}\n" + "".join(
        line_of(layout, row).decode() for row in
        (list(layout.head), [cells.get(head, "") for head in layout.head]))
    return parse_sheet(text, session.sheet.place, session.default, session.types)
