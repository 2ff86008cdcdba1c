"""Entering a bench sheet by hand: each value is checked as it is typed, each row kept at once.

The talking is left to the caller: `say` prints a line, `hear` returns what was typed and
raises EOFError or KeyboardInterrupt when the user is done. A finished row is appended as
one line and forced to the disk before the next is asked for; a row that is broken off is
appended as far as it went.
"""

from __future__ import annotations

import csv
import io
import os
import statistics
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from packcalc.bench.questions import ask_row
from packcalc.bench.sheet import BenchRow, BenchSheet
from packcalc.brief import Bench
from packcalc.errors import InputErrors, OutputError
from packcalc.modules import ModuleType
from packcalc.reading.bench_brief import default_bench
from packcalc.reading.bench_sheet import HEADS, parse_sheet
from packcalc.reading.positions import one_line
from packcalc.reading.sheet_text import Layout, last_cells, layout_of, read_text
from packcalc.units import printed, show

# In the order of the bench: what can kill, what is cheap, what takes long.
NEW_HEAD = (
    "mark", "module", "insulation_Mohm", "insulation_voltage_V", "rest_voltage_V", "rest_date",
    "rest_temperature_degC", "lowest_cell_V", "highest_cell_V", "resistance_mohm",
    "resistance_current_A", "resistance_pulse_s", "resistance_temperature_degC",
    "resistance_charge_percent", "capacity_Ah", "capacity_current_A", "capacity_temperature_degC",
    "first_voltage_V", "first_date", "first_temperature_degC", "second_voltage_V", "second_date",
    "second_temperature_degC", "mass_kg", "donor", "crash", "water", "lifetime_record", "expiry",
    "damage", "storage")
HELP = ("Enter: not measured. = : as in the row before. . : rest of the row stays empty. "
        "! : keep a value that was asked about. Empty mark: done.")
FAR_FROM_OTHERS = 0.3
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
        before: cells of the row before.
        added: rows appended in this sitting.
    """

    path: Path
    layout: Layout
    sheet: BenchSheet
    default: ModuleType | None
    bench: Bench
    before: dict[str, str] = field(default_factory=dict)
    added: int = 0


def open_session(path: str | os.PathLike[str], default: ModuleType | None = None,
                 bench: Bench | None = None) -> Session:
    """Begin a new sheet, or go on with one.

    Raises:
        InputErrors: the sheet that is there has faults; mend them first.
        OutputError: the file cannot be written.
    """
    target = Path(path)
    if not target.exists():
        layout = Layout(",", "point", "\n", NEW_HEAD)
        _append(target, _line(layout, list(NEW_HEAD)), "xb")
        sheet = BenchSheet(one_line(str(target)), ())
        return Session(target, layout, sheet, default, bench or default_bench())
    text = read_text(target)
    sheet, faults = parse_sheet(text, one_line(str(target)), default)
    rest = [f for f in faults if f.wrong != "holds a head and no rows"]
    if rest:
        raise InputErrors(rest)
    if not text.endswith("\n"):
        _append(target, layout_of(text).newline.encode())
    return Session(target, layout_of(text), sheet, default, bench or default_bench(),
                   last_cells(text))


def enter(session: Session, say: Say, hear: Hear) -> int:
    """Ask for module after module until an empty mark; returns how many rows were added."""
    say(HELP)
    while True:
        cells: dict[str, str] = {}
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


def keep(session: Session, cells: dict[str, str]) -> None:
    """Append one row to the file, force it to the disk, and remember it."""
    line = _line(session.layout, [cells.get(head, "") for head in session.layout.head])
    _append(session.path, line)
    row = read_row(session, cells)
    if row is not None:
        session.sheet = BenchSheet(session.sheet.place, (*session.sheet.rows, row))
    session.before = dict(cells)
    session.added += 1


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
        if any(row.mark.casefold() == mark for row in session.sheet.rows):
            return f"the mark {cells['mark']} stands already in the sheet"
    _, faults = _parsed(session, {"mark": "?new", **cells} if not cells.get("mark") else cells)
    found = next((f for f in faults if f.key == head), None)
    return f"{found.wrong}; {found.right}" if found else ""


def odd_about(session: Session, cells: dict[str, str], head: str) -> list[str]:
    """What the label and the other modules say against a cell that can be read."""
    row = read_row(session, cells)
    if row is None:
        return []
    name = HEADS[head][0].name if head in HEADS else head
    found = [f"{q.fault.wrong.partition(': ')[2]}; {q.fault.right}"
             for q in ask_row(session.sheet, row, session.bench)
             if q.fault.key == head or q.fault.key == name]
    if name in COMPARED:
        found += _against_others(session, row, name)
    return found


def _against_others(session: Session, row: BenchRow, name: str) -> list[str]:
    own = getattr(row, name)
    kind = row.module.id if row.module else ""
    others = [getattr(r, name).number for r in session.sheet.rows
              if getattr(r, name).known and (r.module.id if r.module else "") == kind]
    if len(others) < FEWEST_OTHERS or not own.known:
        return []
    middle = statistics.median(others)
    if middle <= 0 or abs(own.number / middle - 1) <= FAR_FROM_OTHERS:
        return []
    return [f"{own.shown} is far from the {len(others)} others (middle {show(middle, own.unit)})"]


# -- one row ----------------------------------------------------------------------------------


def _row(session: Session, cells: dict[str, str], say: Say, hear: Hear) -> bool:
    """Fill `cells`; False when an empty mark ends the sitting."""
    for head in session.layout.head:
        answer = _cell(session, cells, head, say, hear)
        if head == "mark" and not answer:
            return False
        if answer == ".":
            break
        cells[head] = answer
    return bool(cells.get("mark"))


def _cell(session: Session, cells: dict[str, str], head: str, say: Say, hear: Hear) -> str:
    """Ask until the answer can be read, and is either plausible or insisted on."""
    kept = ""
    while True:
        answer = hear(prompt(head)).strip()
        if answer == "!" and kept:
            return kept
        if answer == "=":
            answer = session.before.get(head, "") if head != "mark" else ""
            say(f"  {answer or 'empty'}")
        if answer in ("", ".") and not (head == "mark" and answer == "."):
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
        _line(layout, row).decode() for row in
        (list(layout.head), [cells.get(head, "") for head in layout.head]))
    return parse_sheet(text, session.sheet.place, session.default)


def _line(layout: Layout, cells: list[str]) -> bytes:
    out = io.StringIO()
    csv.writer(out, delimiter=layout.separator, lineterminator=layout.newline).writerow(cells)
    return out.getvalue().encode("utf-8")


def _append(path: Path, data: bytes, mode: str = "ab") -> None:
    """Write and force to the disk; what was there before is never touched."""
    try:
        with open(path, mode) as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise OutputError(f"{one_line(str(path))}: cannot be written "
                          f"({error.strerror or error}); what was entered before is kept"
                          ) from error
