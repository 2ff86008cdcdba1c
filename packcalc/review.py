"""Marks of reviewers and the files that carry them: JSON saved by the page, CSV, a printed sheet.

A mark says what one person thinks of one decision. Reading is strict and bounded: what is
wrong is told in one line each, and a file with a fault gives no marks at all, so that
nothing reads as accepted that nobody marked.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import field, fields
from datetime import date
from pathlib import Path
from typing import Any

from packcalc import __version__
from packcalc.decisions import BENCH, Decision, decisions, slug
from packcalc.errors import Fault, InputErrors, nearest
from packcalc.marks import BETWEEN, CHANGE, MARKS, SIGN, SPELLED, Mark, signed, spelled
from packcalc.measured import Measured
from packcalc.mixes import module_numbers
from packcalc.protection import ProtectionStudy
from packcalc.reading.positions import one_line, read_text
from packcalc.reading.readings_file import to_come
from packcalc.reading.told_once import first_of
from packcalc.review_since import (
    INPUT,
    OF_MARKS,
    WAS,
    Earlier,
    Entries,
    earlier_of,
    entries_of,
    few_entries,
    in_pieces,
    list_digest,
)
from packcalc.value import value_object

FORMAT = 1
# Ten reviewers who mark every line of the largest example, with notes, take half of either.
MOST_MARKS = 20_000
LARGEST_REVIEW = 10_000_000  # bytes
A_SHEET = ("write a sheet with `packcalc review BRIEF --out FILE.csv`, or save the marks from the "
           "page again")
LONGEST_FIELD = 2000
LONGEST_TEXT = 20_000  # a printed figure with its reasons
MOST_FAULTS = 20
COLUMNS, FEW = " columns", 3
MOST_HEAD = 1000  # lines above the rows of a sheet
FIRST_YEAR = 2000
WRITE_DAY = "write the day of marking as year-month-day, e.g. 2026-11-24"
WHOLE_SHEET = "is the file whole? keep every row, marked or not"

# What may be said besides the verdict: key in the files, as printed.
FREE = {"change_to": "Change to", "name": "Name", "scope": "Scope", "licence": "Licence",
        "date": "Date", "note": "Note", "scan": "Scan"}
PRINTED = ("part", "title", "figure", "check", "basis")  # cells that nobody is to write in
VERSION = ("design", "layout", "issued", "input_digest")
ALSO = "also"  # parts that share the figure: a mark speaks for those printed beside it
CSV_HEAD = ("number", "of", "decision", *PRINTED, ALSO, "mark", *FREE, "digest", *VERSION)
SINCE = "since "  # before the day of issue in a sheet, which a spreadsheet then leaves as it is
# What a file says of its version besides: its list of decisions, the entries of the brief.
LISTED, ENTRIES, FIGURES, EARLIER = "decisions", "entries", "figures", "earlier"
LEAVE = "; leave these lines: by what the brief said, a later void mark is told"
REMARK = "# then:"  # in front of the same in a sheet
_VOID_OF = re.compile(r"# void (\d{1,2}): (.*)", re.DOTALL)  # so of a version of void marks
MOST_VERSIONS = 40
_COUNT = re.compile(r"decisions (k[0-9a-f]{12}), entries (\d{1,4})" + LEAVE)
GONE = "gone"  # in the column number: a mark of which the decision stands no longer
GIVEN_BEFORE = "void"  # there: a mark given to another figure than the decision has today
BESIDE = "not counted"  # there: a mark beside a printed cell that was written in
NOT_COUNTED, BESIDE_IT = "not_counted", "printed"  # the same in a file of marks; its cells
HOW_TO_MARK = (f"Marks, in the column mark: {', '.join(SPELLED)}; the new value goes into "
               "change_to, the day into date as year-month-day, like 2026-11-24. Set the columns "
               "date and digest to text before you type: a spreadsheet rewrites what looks like a "
               "day or a number.")
_DIGEST = re.compile(SIGN + r"[0-9a-f]{12}")
SAME = "decision_id", "name", "scope", "digest", "date", ALSO  # of two marks that cannot both stand
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")
_LAYOUT = re.compile(r"(\S+) (grouped|strings) \(([\d,]+)\)")
NO_DATE, NO_DIGEST = " is no date", "is no digest"
AS_TEXT = ("a spreadsheet rewrote the column {}: take the sheet as it was given out, set that "
           "column to text, and ")
_FORMULA = re.compile(r"'*[=+\-@#\t]")


def today() -> date:
    """The day by this computer's clock."""
    return date.today()


@value_object
class Row:
    """One row of a sheet as it came back.

    Attributes:
        line: in the file.
        decision_id, digest: which decision, and of what.
        printed: the cells that were printed for the reviewer to read, by column.
        name: who marked it, or "".
    """

    line: int
    decision_id: str
    digest: str
    printed: tuple[tuple[str, str], ...]
    name: str = ""


@value_object
class Rewritten:
    """A printed cell of a sheet that reads otherwise today than it was given out.

    Attributes:
        place, line: where it stands.
        decision_id, column: which cell.
        given_out, reads: its words as printed, and as they came back.
        name: of whom a mark in that row is not counted; "" where the row has no mark.
    """

    place: str
    line: int
    decision_id: str
    column: str
    given_out: str
    reads: str
    name: str = ""

    @property
    def words(self) -> str:
        end = (f"the mark of {one_line(self.name, 60)} in this row is not counted" if self.name
               else "this row has no mark")
        return (f"{self.place}:{self.line}: the column {self.column} was given out as "
                f"{one_line(self.given_out, 200)!r} and came back as "
                f"{one_line(self.reads, 200)!r}; {end}: to change a figure, mark the row 'change' "
                "and write the new value under change_to")


@value_object
class ReviewFile:
    """The marks of one file.

    Attributes:
        design: which design it belongs to, see `design_of`.
        marks: in the order of the file.
        place: path, as the user gave it.
        layout: the layout that was reviewed, see `layout_of`.
        input_digest: of the brief that was reviewed.
        rows: of a sheet, every one, marked or not; empty for marks saved by the page.
        cleaned: what of the free words was not taken as it stood, one line each.
        issued: the first day on which a mark in it can have been given, ISO 8601; "" where it
            is not known.
        gone: marks of which the decision stood no longer when the file was written.
        counted: a sheet whose rows say how many they are, and are all there: decisions that it
            does not have came with a later version of packcalc.
        entries: of the brief as reviewed, see `review_since.entries_of`; empty where not known.
        listed: which decisions that version had, see `review_since.list_digest`; "" likewise.
        beside: marks that stood beside a printed cell that somebody wrote in; never counted.
        shown: cells that stood beside a mark, by column, as far as they are known.
        earlier: versions that marks of other figures than today's were given to.
    """

    design: str
    marks: tuple[Mark, ...]
    place: str = ""
    layout: str = ""
    input_digest: str = ""
    rows: tuple[Row, ...] = ()
    cleaned: tuple[str, ...] = ()
    issued: str = ""
    gone: tuple[Mark, ...] = ()
    counted: bool = False
    entries: Entries = ()
    listed: str = ""
    beside: tuple[Mark, ...] = ()
    shown: Mapping[Mark, Mapping[str, str]] = field(default_factory=dict)
    earlier: tuple[Earlier, ...] = ()

    @property
    def every(self) -> tuple[Mark, ...]:
        """All its marks, whether they count or not, each once."""
        return tuple(dict.fromkeys((*self.marks, *self.gone, *self.beside)))


def design_of(study: ProtectionStudy) -> str:
    """What names a design through all its versions: the brief's title, else where its file is.

    Letters count in any script. A sign that is neither letter nor common punctuation may be all
    that two titles differ in: a digest of the title then stands behind.
    """
    brief = study.brief
    if brief.title:
        return _named(brief.title)
    path = Path(brief.place)
    folder = Path(os.path.abspath(path)).parent.name if path.suffix else ""
    return _named(f"{folder} {path.stem}")


def _named(title: str) -> str:
    words = unicodedata.normalize("NFKC", title).casefold()
    kept = "".join(c if unicodedata.category(c)[0] in "LMN" else " " for c in words)
    odd = any(unicodedata.category(c)[0] in "SC" for c in words if not c.isspace())
    digest = hashlib.sha256(words.encode("utf-8", "replace")).hexdigest()[:8]
    return "-".join([*kept.split(), *([digest] if odd or not kept.split() else [])])


def named_before(study: ProtectionStudy) -> str:
    """The name as earlier versions wrote it: letters without an accent alone, a file's name."""
    brief = study.brief
    return slug(brief.title or Path(brief.place).stem) or "untitled"


def design_today(design: str, study: ProtectionStudy, input_digest: str = "") -> str:
    """The name of the design by which a file of marks, readings or fitted parts is known today.

    A name of the old form is this design's for the very same brief, and where all it dropped are
    accents of Latin letters; else it may be another's as well, and stays as it is.

    Args:
        design: as the file names it.
        study: at hand.
        input_digest: of the brief that the file was begun on; "" where it does not say.
    """
    title = study.brief.title
    latin = bool(slug(title)) and all(
        unicodedata.name(c, "").startswith("LATIN") for c in title if c.isalpha())
    known = design == named_before(study) and (
        latin or signed(input_digest) == study.brief.digest)
    return design_of(study) if known else design


def layout_of(study: ProtectionStudy) -> str:
    """A layout as files carry it: notation, arrangement and modules, "12S2P strings (1)".

    Notation alone would not do: strings and grouped modules may be called alike.
    """
    layout = study.layout
    return (f"{layout.label} {layout.arrangement} "
            f"({module_numbers(study.brief, layout.entries)})")


# -- writing ----------------------------------------------------------------------------------


def as_json(file: ReviewFile, cautions: Sequence[str] = ()) -> str:
    """A review file as JSON text, as the page saves it."""
    data = {"packcalc_review": FORMAT, "packcalc": __version__, "cautions": list(cautions),
            **{key: getattr(file, key) for key in VERSION}, LISTED: file.listed,
            ENTRIES: dict(file.entries), EARLIER: [e.written(file.entries) for e in file.earlier],
            "marks": [_as_data(m) for m in file.marks],
            **{key: [{**_as_data(m), BESIDE_IT: dict(file.shown.get(m, {}))} for m in marks]
               for key, marks in ((GONE, file.gone), (NOT_COUNTED, file.beside))}}
    return json.dumps(data, ensure_ascii=False, indent=1) + "\n"


def _as_data(mark: Mark) -> dict[str, str]:
    return {f.name: getattr(mark, f.name) for f in fields(Mark)}


def blank_file(study: ProtectionStudy, lines: Iterable[Decision] = ()) -> ReviewFile:
    """A review file without marks for a study.

    Args:
        study: as it is today.
        lines: its decisions, where they are at hand.
    """
    return ReviewFile(design_of(study), (), "", layout_of(study), study.brief.digest,
                      issued=study.brief.date_of_issue, entries=entries_of(study.brief),
                      listed=list_digest(lines or decisions(study)))


def as_csv(study: ProtectionStudy, marks: Iterable[Mark] = (), cautions: Sequence[str] = (),
           bench: Measured = Measured(), *, file: ReviewFile | None = None) -> str:
    """One row a decision for a spreadsheet, marks filled in where there are any.

    Cautions, and how to mark, stand above the heads of the columns, each in a line that begins
    with #, and with them what the brief's entries said. Marks of another digest stand below the
    decisions, and beside no figure of today.

    Args:
        study, bench: what is decided.
        marks: filled in.
        cautions: words above the heads.
        file: whose day of issue and whose marks without a decision are written; a blank one's
            where it is None.
    """
    lines = decisions(study, bench)
    file = file or blank_file(study, lines)
    given: dict[str, list[Mark | None]] = {}
    owner = {name: d.id for d in lines for name in (d.id, *d.aliases)}
    today = {d.id: d.digest for d in lines}
    apart: list[Mark] = []
    for mark in marks:
        name = owner.get(mark.decision_id, "")
        (given.setdefault(name, []) if today.get(name) == mark.digest else apart).append(mark)
    version = (file.design, file.layout, f"{SINCE}{file.issued}" if file.issued else "",
               file.input_digest)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows([f"# {' '.join(words.split())}"] for words in cautions)
    writer.writerows([line] for line in (_remarks(file) if cautions else ()))
    writer.writerow(CSV_HEAD)
    for number, decision in enumerate(lines, 1):
        for mark in _with_unmarked(given.get(decision.id, []), decision):
            row = _row((number, len(lines)), decision, mark, version)
            writer.writerow([shielded(str(cell)) for cell in row])
    rows = [(GIVEN_BEFORE if m.decision_id in owner else GONE, m) for m in (*apart, *file.gone)]
    for word, mark in (*rows, *((BESIDE, m) for m in file.beside)):
        shown = file.shown.get(mark, {})
        cells = [word, "", mark.decision_id, *(shown.get(key, "") for key in PRINTED), mark.also,
                 *_of_mark(mark), *version]
        writer.writerow([shielded(str(cell)) for cell in cells])
    return out.getvalue()


def _remarks(file: ReviewFile) -> Iterator[str]:
    """What a sheet says of its version above its heads, in lines that a spreadsheet keeps whole."""
    yield f"{REMARK} decisions {file.listed}, entries {len(file.entries)}{LEAVE}"
    for some in few_entries(file.entries):
        yield f"{REMARK} {json.dumps(some, ensure_ascii=False)}"
    for number, one in enumerate(file.earlier):
        for piece in in_pieces(one.written(file.entries)):
            yield f"# void {number}: {json.dumps(piece, ensure_ascii=False)}"


def printed_cells(decision: Decision) -> tuple[str, ...]:
    """The cells of PRINTED."""
    return (decision.part, decision.title, decision.shown, decision.verdict or "figure",
            decision.basis)


def _with_unmarked(marks: Sequence[Mark | None], decision: Decision) -> Sequence[Mark | None]:
    """Its marks, and an empty row where a part shares the figure that no mark speaks for."""
    told = all(any(m is not None and m.speaks_for(part) for m in marks) for part in decision.also)
    return marks if marks and told else [*marks, None]


def _row(number: tuple[int, int], decision: Decision, mark: Mark | None,
         version: tuple[str, ...]) -> list[Any]:
    head = [*number, decision.id, *printed_cells(decision)]
    if mark is None:
        return [*head, BETWEEN.join(decision.also), "", *("" for _ in FREE), decision.digest,
                *version]
    return [*head, mark.also, *_of_mark(mark), *version]


def _of_mark(mark: Mark) -> list[str]:
    """The cells of a mark, from its verdict to its digest."""
    return [mark.verdict, *(getattr(mark, key) for key in FREE), mark.digest]


def shielded(text: str) -> str:
    """An apostrophe in front of what a spreadsheet would take for a formula.

    Examples:
        >>> shielded("=1+1"), unshielded(shielded("=1+1"))
        ("'=1+1", '=1+1')
    """
    return "'" + text if _FORMULA.match(text) else text


def unshielded(text: str) -> str:
    """The text that `shielded` was given."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text


# -- reading ----------------------------------------------------------------------------------


def read_review(path: str | os.PathLike[str]) -> ReviewFile:
    """Read one review file, JSON or CSV by its ending.

    Raises:
        InputErrors: everything wrong with it, each in one line.
    """
    place = one_line(os.fspath(path))
    ending = Path(path).suffix.lower()
    if ending not in (".json", ".csv"):
        raise InputErrors([Fault(place, 0, "", "is no review file by its name",
                                 "a review file ends in .json (saved by the page) or .csv")])
    try:
        text = read_text(path, LARGEST_REVIEW, A_SHEET)
    except InputErrors as error:
        raise InputErrors([_for_marks(fault) for fault in error.faults]) from error
    return parse_json(text, place) if ending == ".json" else parse_csv(text, place)


def _for_marks(fault: Fault) -> Fault:
    """A fault of the reader of briefs, with what helps whoever looks for marks."""
    if f"the {LARGEST_REVIEW} " in fault.wrong:
        return fault._replace(right="is this a file of marks? hand in each reviewer's own")
    return fault


def check_review(file: ReviewFile, study: ProtectionStudy,
                 bench: Measured = Measured()) -> None:
    """Refuse a file for another design, with ids that this design cannot have, or with rows lost.

    A decision may have gone since the file was written; an id that is unknown although the
    brief and the layout are still the same is a mistake in the file.

    Raises:
        InputErrors: one line each.
    """
    if design_today(file.design, study, file.input_digest) != design_of(study):
        brief = study.brief
        raise InputErrors([Fault(
            file.place, 0, "design", f"is for the design {one_line(file.design, 80)!r}, and this "
            f"brief is {design_of(study)!r}", "give the file that belongs to this brief's title"
            if brief.title else "give the file that belongs to this brief; a title at its head "
            "names the design wherever the file lies")])
    same = file.input_digest == study.brief.digest
    other = of_other_layout(file.place, file.layout, study) if same else []
    if other:
        raise InputErrors(other)
    faults = [*_late(file, study), *_early(file, study)]
    if same and file.layout in (layout_of(study), study.layout.label, ""):
        lines = decisions(study, bench)
        faults = _older(file, lines, layout_of(study)) or [
            *faults, *(_unknown(file, lines) if file.layout else ())]
    if faults:
        raise InputErrors(first_of(faults, MOST_FAULTS))


def of_other_layout(place: str, layout: str, study: ProtectionStudy) -> list[Fault]:
    """A file whose layout is another one of the same brief, in one line; none where it is not.

    Args:
        place: of the file.
        layout: as the file carries it; notation alone tells no arrangement.
        study: the layout at hand.
    """
    found = _LAYOUT.fullmatch(layout)
    if not layout or layout in (layout_of(study), study.layout.label):
        return []
    again = f"--layout {one_line(layout, 40)}" if found is None else (
        f"--layout {found[1]} --arrangement {found[2]} --module {found[3]}")
    return [Fault(place, 0, "layout", f"is for {one_line(layout, 60)}, and this is "
                  f"{layout_of(study)}", f"to read it, repeat {again}")]


def latest_day(study: ProtectionStudy) -> str:
    """Today, ISO 8601; where this computer's clock is behind, the brief's date of issue."""
    return max(today().isoformat(), study.brief.date_of_issue)


def _late(file: ReviewFile, study: ProtectionStudy) -> list[Fault]:
    """Marks of a day that has not come."""
    now = latest_day(study)
    return [Fault(file.place, 0, one_line(f"{mark.decision_id}.date", 90),
                  f"{mark.date} lies in the future: today is {now}",
                  "write the day on which it was marked") for mark in file.marks
            if to_come(mark.date, now)]


def _early(file: ReviewFile, study: ProtectionStudy) -> list[Fault]:
    """Marks of a day before there was anything to mark: a mistyped year, which would lose."""
    same = file.input_digest == study.brief.digest
    first = file.issued or (study.brief.date_of_issue if same else "")
    return [Fault(file.place, 0, one_line(f"{mark.decision_id}.date", 90),
                  f"{mark.date} lies before {first}, the date of issue of what was marked",
                  "write the day on which it was marked") for mark in file.marks
            if first and to_come(first, mark.date)]


def _strange(file: ReviewFile, lines: Sequence[Decision]) -> list[Mark]:
    """Marks on ids that this version cannot have; what the bench gives may come and go."""
    known = {name for d in lines for name in (d.id, *d.aliases)}
    return [m for m in file.marks if m.decision_id not in known and not _of_bench(m.decision_id)]


def _missing(file: ReviewFile, lines: Sequence[Decision]) -> list[tuple[int, str]]:
    """Decisions of which a sheet has no row, with their numbers."""
    rows = {row.decision_id for row in file.rows}
    return [(n, d.id) for n, d in enumerate(lines, 1)
            if d.id not in rows and not _of_bench(d.id)] if rows and not file.counted else []


def _older(file: ReviewFile, lines: Sequence[Decision], layout: str) -> list[Fault]:
    """One fault where a file that names no arrangement is of another one; none where it is not."""
    if file.layout == layout:
        return []
    strange, otherwise = _strange(file, lines), _read_otherwise(file, lines)
    right = ("is it of the other arrangement, or of other modules? repeat --arrangement or "
             "--module as they were, or mark a new sheet")
    if len(strange) > FEW or strange and _missing(file, lines):
        return [Fault(file.place, 0, "", f"has marks on {len(strange)} decisions that {layout} "
                      "has not", right)]
    if otherwise > FEW:
        return [Fault(file.place, 0, "", f"names no arrangement, and {otherwise} of its "
                      f"printed cells read otherwise in {layout}", right)]
    return []


def _read_otherwise(file: ReviewFile, lines: Sequence[Decision]) -> int:
    """Printed cells of a sheet that read otherwise than today's of the same name."""
    today_ = {d.id: dict(zip(PRINTED, printed_cells(d), strict=True)) for d in lines}
    return sum(not alike(today_[row.decision_id][column], reads) for row in file.rows
               if row.decision_id in today_ for column, reads in row.printed)


def _unknown(file: ReviewFile, lines: Sequence[Decision]) -> list[Fault]:
    """Ids that no version had, and decisions of which the sheet has no row.

    The digest of the input does not cover the bench sheet: what that gives may come and go. An
    id that another version of packcalc had is no fault; its mark is kept, as one without its
    decision. It never was one where the file has this version's own list of decisions, and where
    its mark was given to what another id stands for.
    """
    known = {name for d in lines for name in (d.id, *d.aliases)}
    digests = {d.digest for d in lines}
    faults, missing = [], _missing(file, lines)
    own = file.listed == list_digest(lines)
    unknown = [m for m in _strange(file, lines) if own or m.digest in digests]
    for number, mark in enumerate(unknown):
        near = nearest(mark.decision_id, known) if number < MOST_FAULTS else ""
        faults.append(Fault(file.place, 0, one_line(mark.decision_id, 80),
                            "is no decision of this design",
                            f"did you mean {near!r}?" if near else "take ids from the sheet"))
    if missing:
        faults.append(Fault(file.place, 0, "", f"has no row of {len(missing)} of this design's "
                            f"{len(lines)} decisions, first no. {missing[0][0]}, "
                            f"{missing[0][1]}", WHOLE_SHEET))
    return faults


def _of_bench(decision_id: str) -> bool:
    return decision_id.startswith(f"{BENCH}.")


def rewritten(file: ReviewFile, lines: Iterable[Decision]) -> tuple[Rewritten, ...]:
    """Printed cells that read otherwise than today, in rows of what still stands as it was."""
    known = {(d.id, d.digest): d for d in lines}
    found = []
    for row in file.rows:
        decision = known.get((row.decision_id, row.digest))
        if decision is None:
            continue
        given_out = dict(zip(PRINTED, printed_cells(decision), strict=True))
        found += [Rewritten(file.place, row.line, row.decision_id, column, given_out[column],
                            reads, row.name)
                  for column, reads in row.printed if not alike(given_out[column], reads)]
    return tuple(found)


def alike(one: str, other: str) -> bool:
    """The same words; a bare number may come back from a spreadsheet without its zeros."""
    if one.split() == other.split():
        return True
    try:
        return float(one) == float(other)
    except ValueError:
        return False


class _Reading:
    """Collects marks and faults of one file."""

    def __init__(self, place: str):
        self.place = place
        self.faults: list[Fault] = []
        self.counted = False
        self.marks: list[Mark] = []
        self.rows: list[Row] = []
        self.gone: list[Mark] = []
        self.beside: list[Mark] = []
        self.shown: dict[Mark, dict[str, str]] = {}
        self.earlier: tuple[Earlier, ...] = ()
        self.seen: dict[tuple[str, ...], str] = {}
        self.cleaned: list[str] = []
        self.entries: Entries = ()
        self.listed = ""

    def fault(self, line: int, key: str, wrong: str, right: str = "") -> None:
        self.faults.append(Fault(self.place, line, one_line(key, 80), wrong, right))

    def add(self, given: dict[str, Any], line: int, where: str, *, to: list[Mark],
            shown: dict[str, str] | None = None) -> None:
        """One mark from plain texts; a fault leaves it out and so refuses the file.

        Args:
            given: its texts by their key.
            line, where: for a message.
            to: the marks that it is one of.
            shown: printed cells beside it.
        """
        before, name = len(self.faults), given.get("decision_id", "")
        named = f" in the mark of {one_line(name, 80)}" if isinstance(name, str) and name else ""
        values = {key: self.text(given.get(key, ""), line, f"{where}.{key}", named,
                                 free=key in FREE)
                  for key in ("decision_id", "verdict", "digest", *FREE)}
        also = self.text(given.get(ALSO, ""), line, f"{where}.{ALSO}", named, most=LONGEST_TEXT)
        values |= {"verdict": spelled(values["verdict"]), "digest": signed(values["digest"]),
                   ALSO: " ".join(also.split())}
        if len(self.faults) == before:
            self._judge(values, line, where, counts=to is not self.beside)
        if len(self.faults) == before:
            to.append(mark := Mark(**values))
            if shown:
                self.shown.setdefault(mark, shown)

    def text(self, value: Any, line: int, key: str, named: str = "", *,
             free: bool = False, most: int = LONGEST_FIELD) -> str:
        """A text without characters that hide or turn what it says.

        Args:
            value: as it stands in the file.
            line, key: where.
            named: of which decision, for a message.
            free: whether the reviewer wrote it: what is harmless to replace is replaced.
            most: characters.
        """
        if not isinstance(value, str):
            self.fault(line, key, f"is no text but {type(value).__name__}", "write it in quotes")
            return ""
        clean = value.replace("\r\n", "\n").strip()
        if free:
            clean = self._cleaned(clean, line, key, named)
        odd = _odd(clean)
        if len(clean) > most:
            self.fault(line, key, f"holds {len(clean)} characters, more than {most}")
        elif odd:
            self.fault(line, key, f"holds control characters, first U+{ord(odd):04X}{named}",
                       "write plain text")
        return clean

    def _cleaned(self, text: str, line: int, key: str, named: str) -> str:
        """Separators that look like a space as one; what turns the reading direction left out."""
        clean = text.translate(SPACED | DROPPED).strip()
        if clean != text:
            odd = ", ".join(f"U+{ord(c):04X}" for c in dict.fromkeys(text)
                            if ord(c) in SPACED or ord(c) in DROPPED)
            at = f"{self.place}:{line}" if line else self.place
            self.cleaned.append(f"{at}: {one_line(key, 80)}: {odd} replaced by a space or left "
                                f"out{named}; read the words again")
        return clean

    def told_once(self, sign: str, column: str, right: str) -> None:
        """Many cells that a spreadsheet rewrote have one cause: it is told in one line."""
        alike = [f for f in self.faults if f.line and sign in f.wrong]
        if len(alike) > 1:
            first = alike[0]
            self.faults = [first._replace(
                key=column, wrong=f"{first.wrong}, and {len(alike) - 1} further rows like it",
                right=AS_TEXT.format(column) + right)] + [
                    f for f in self.faults if not (f.line and sign in f.wrong)]

    def _judge(self, values: dict[str, str], line: int, where: str, *, counts: bool) -> None:
        verdict, name = values["verdict"], values["name"]
        if verdict not in MARKS:
            self.fault(line, f"{where}.mark", f"{one_line(verdict, 40)!r} is no mark",
                       "one of " + ", ".join(SPELLED) + "; a new value goes into change_to")
        if not values["decision_id"]:
            self.fault(line, f"{where}.decision_id", "is missing", "copy it from the sheet")
        if not _DIGEST.fullmatch(values["digest"]):
            self.fault(line, f"{where}.digest", f"{NO_DIGEST} of {SIGN} and twelve hexadecimal "
                       "digits", "copy it from the sheet: without it nobody can tell what was "
                       "marked")
        if not name:
            self.fault(line, f"{where}.name", "is missing", "a mark without a name is none")
        if verdict == CHANGE and not values["change_to"]:
            self.fault(line, f"{where}.change_to", "is missing",
                       "say what it is to become, e.g. 500 A")
        if verdict in MARKS and verdict != CHANGE and values["change_to"]:
            self.fault(line, f"{where}.change_to", f"stands beside the mark {verdict!r}",
                       "a new value goes with the mark 'change'")
        self._date(values["date"], line, f"{where}.date")
        # A person's later mark takes the place of an earlier one; of one day both cannot stand.
        twice = (str(counts), *(values[key] for key in SAME))
        if twice in self.seen:
            self.fault(line, where, f"{one_line(name, 60)} marks this decision twice, first at "
                       f"{self.seen[twice]}", "keep one")
        self.seen.setdefault(twice, where)

    def _date(self, text: str, line: int, key: str) -> None:
        right = WRITE_DAY
        if not text:
            self.fault(line, key, "is missing", right)
            return
        try:
            day = date.fromisoformat(text) if _ISO.fullmatch(text) and text.isascii() else None
        except ValueError:
            day = None
        if day is None or day.year < FIRST_YEAR:
            self.fault(line, key, f"{one_line(text, 40)!r}{NO_DATE}"
                       + (f" after {FIRST_YEAR}" if day else ""), right + (
                           "; a spreadsheet keeps it so in a column that is set to text"
                           if line and not day else ""))

    def file(self, design: str, layout: str = "", issued: str = "",
             digest: str = "") -> ReviewFile:
        if issued:
            self._date(issued, 0, "issued")
        if self.faults:
            raise InputErrors(first_of(self.faults, MOST_FAULTS))
        return ReviewFile(design, tuple(self.marks), self.place, layout, signed(digest),
                          tuple(self.rows), tuple(self.cleaned), issued, tuple(self.gone),
                          self.counted, self.entries, self.listed, tuple(self.beside), self.shown,
                          self.earlier)


# Line ends of other alphabets and machines, which stand for a space, and what turns the reading
# direction: in free words both may go, and are told.
SPACED = dict.fromkeys(map(ord, "\u2028\u2029\x0b\x0c\x85\r"), " ")
DROPPED = dict.fromkeys(map(ord, "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"), "")


_ODD = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff"
                  + "".join(map(chr, (*SPACED, *DROPPED))) + "]")


def _odd(text: str) -> str:
    """The first control or half character, or one that turns the reading direction; else ""."""
    found = _ODD.search(text)
    return found[0] if found else ""


def parse_json(text: str, place: str) -> ReviewFile:
    """A review file from JSON text.

    Raises:
        InputErrors: truncated, no review file, or a mark that says nothing clear.
    """
    from packcalc.reading.json_file import parse

    data = parse(text, place)
    reading = _Reading(place)
    if not isinstance(data, dict) or "packcalc_review" not in data:
        raise InputErrors([Fault(place, 0, "", "is no review file: the key packcalc_review is "
                                 "missing", "save the marks from the page of the report")])
    if data["packcalc_review"] is True or data["packcalc_review"] != FORMAT:
        reading.fault(0, "packcalc_review", f"is not {FORMAT}", "use the packcalc that wrote it")
    version = [reading.text(data.get(key, ""), 0, key) for key in VERSION]
    if not version[0]:
        reading.fault(0, "design", "is missing", "save the marks from the page of the report")
    _json_marks(reading, data.get("marks"), "marks", reading.marks)
    _json_marks(reading, data.get(GONE, []), GONE, reading.gone)
    _json_marks(reading, data.get(NOT_COUNTED, []), NOT_COUNTED, reading.beside)
    reading.listed = reading.text(data.get(LISTED, ""), 0, LISTED)
    reading.entries = tuple(_json_texts(reading, data.get(ENTRIES, {}), ENTRIES).items())
    figures = _json_texts(reading, data.get(FIGURES, {}), FIGURES)
    reading.shown |= {m: {"figure": figures[m.decision_id]} for m in reading.marks
                      if m.decision_id in figures}
    earlier = data.get(EARLIER, [])
    if not isinstance(earlier, list) or len(earlier) > MOST_VERSIONS or not all(
            map(_is_earlier, earlier)):
        reading.fault(0, EARLIER, f"is no list of at most {MOST_VERSIONS} versions",
                      "leave it as it was saved")
        earlier = []
    reading.earlier = tuple(earlier_of([one], reading.entries) for one in earlier)
    return reading.file(*version)


def _is_earlier(found: Any) -> bool:
    """Whether it is a version of void marks, or a piece of one, as a file has it."""
    if not isinstance(found, dict) or not found.keys() <= {INPUT, OF_MARKS, WAS}:
        return False
    of, marks, was = found.get(INPUT, ""), found.get(OF_MARKS, []), found.get(WAS, {})
    return (isinstance(of, str) and len(of) <= LONGEST_FIELD
            and isinstance(marks, list) and len(marks) <= MOST_MARKS
            and all(isinstance(m, str) and _DIGEST.fullmatch(m) for m in marks)
            and _are_texts(was, none=True))


def _are_texts(found: Any, *, none: bool = False) -> bool:
    """Whether it is an object of texts; some may be None where `none` is set."""
    return isinstance(found, dict) and len(found) <= MOST_MARKS and all(
        len(name) <= LONGEST_TEXT and (none and text is None or isinstance(text, str)
                                       and len(name) + len(text) <= LONGEST_TEXT)
        for name, text in found.items())


def _json_texts(reading: _Reading, found: Any, key: str) -> dict[str, str]:
    """Texts by their name under one key of a file."""
    if _are_texts(found):
        return found
    reading.fault(0, key, f"is no object of at most {MOST_MARKS} texts", "leave it as it was saved")
    return {}


def _json_marks(reading: _Reading, marks: Any, key: str, to: list[Mark]) -> None:
    """The marks under one key of a file."""
    if not isinstance(marks, list) or len(marks) > MOST_MARKS:
        reading.fault(0, key, f"is no list of at most {MOST_MARKS} marks")
        marks = []
    known = {f.name for f in fields(Mark)} | ({BESIDE_IT} if to is not reading.marks else set())
    for index, given in enumerate(marks):
        where = f"{key}[{index}]"
        if not isinstance(given, dict):
            reading.fault(0, where, "is no mark", "a mark is an object with decision_id and more")
            continue
        for name in sorted(set(given) - known):
            near = nearest(name, known) if len(reading.faults) < MOST_FAULTS else ""
            reading.fault(0, f"{where}.{name}", "is unknown", f"did you mean {near!r}?" if near
                          else "known: " + ", ".join(sorted(known)))
        shown = _json_texts(reading, given.get(BESIDE_IT, {}), f"{where}.{BESIDE_IT}")
        reading.add(given, 0, where, to=to, shown={k: shown[k] for k in PRINTED if k in shown})


def parse_csv(text: str, place: str) -> ReviewFile:
    """A review file from the spreadsheet: rows without a mark say nothing.

    Raises:
        InputErrors: a column is missing, or a row that says nothing clear.
    """
    reading = _Reading(place)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
    try:
        remarks: list[str] = []
        head = [cell.strip().lower() for cell in next(_below_cautions(rows, remarks), [])]
        missing = [c for c in ("decision", "mark", *FREE, "digest", "design") if c not in head]
        if missing:
            raise InputErrors([Fault(place, rows.line_num, "", "is no review sheet: no column "
                                     + ", ".join(missing), "keep the columns of packcalc review")])
        versions: dict[tuple[str, ...], int] = {}
        numbers: dict[tuple[str, str], int] = {}
        for row in rows:
            if len(reading.faults) > MOST_MARKS:
                break  # refused as it is: no sheet has as many rows
            if any(cell.strip() for cell in row):
                cells = dict(zip(head, row, strict=False))
                if _apart(reading, cells) is None:
                    numbers.setdefault((cells.get("number", ""), cells.get("of", "")),
                                       rows.line_num)
                _csv_row(reading, cells, row, head, rows.line_num, versions)
    except csv.Error as error:
        reading.fault(rows.line_num, "", f"cannot be read as a table ({one_line(str(error))})",
                      "is the file whole? save it again as CSV")
        return reading.file("")
    _take_remarks(reading, remarks)
    _told_once(reading, text)
    reading.told_once(NO_DATE, "date", WRITE_DAY)
    reading.told_once(NO_DIGEST, "digest", "copy the marks into it")
    if len(versions) > 1:
        line = sorted(versions.values())[1]
        reading.fault(line, "design", "rows of two designs, or of two versions of one, stand in "
                      "one sheet", "one sheet, one version")
    if not versions:
        reading.fault(0, "", "holds no rows", "is the file whole?")
    elif "of" in head and not reading.faults:
        _all_there(reading, numbers)
        reading.counted = True
    return reading.file(*next(iter(versions), ("",)))


def _take_remarks(reading: _Reading, remarks: Sequence[str]) -> None:
    """What a sheet says of its version; nothing where a spreadsheet cut any of it."""
    from packcalc.reading.json_file import parse

    count = next(filter(None, map(_COUNT.fullmatch, remarks)), None)
    said: dict[str, Any] = {}
    void: dict[str, list[Any]] = {}
    try:
        for one in remarks:
            of = _VOID_OF.fullmatch(one)
            found = parse(of[2] if of else one, reading.place) if of or one.startswith("{") else {}
            if of:
                void.setdefault(of[1], []).append(found)
            else:
                said |= found if isinstance(found, dict) else {}
    except InputErrors:
        return
    if count is None or len(said) != int(count[2]):
        return
    reading.listed = count[1]
    reading.entries = tuple(_json_texts(reading, said, ENTRIES).items())
    if len(void) <= MOST_VERSIONS and all(_is_earlier(one) for many in void.values()
                                          for one in many):
        reading.earlier = tuple(earlier_of(many, reading.entries) for many in void.values())


def _told_once(reading: _Reading, text: str) -> None:
    """Many rows with too many cells have one cause: it is told in one line."""
    wide = [f for f in reading.faults if f.wrong.endswith(COLUMNS)]
    if len(wide) > FEW:
        sign = _delimiter(text).replace("\t", "tab")
        first = wide[0]
        reading.faults = [f for f in reading.faults if not f.wrong.endswith(COLUMNS)] + [
            first._replace(
                wrong=f"{len(wide)} rows from here on have more cells than the head",
                right=f"the separator is {sign!r}: put cells that hold it in quotes, or save the "
                      "sheet with commas")]


def _all_there(reading: _Reading, numbers: dict[tuple[str, str], int]) -> None:
    """Every row says how many decisions there are: a sheet that was cut is told by that."""
    totals: set[int] = set()
    seen: set[int] = set()
    for (number, total), line in numbers.items():
        if not (number.isascii() and number.isdigit() and total.isascii() and total.isdigit()
                and 1 <= int(number) <= int(total) <= MOST_MARKS):
            reading.fault(line, "number", f"{one_line(number, 20)!r} of {one_line(total, 20)!r} "
                          "is no place in the sheet", "leave the first two columns as they are")
            return
        seen.add(int(number))
        totals.add(int(total))
    missing = sorted(set(range(1, max(totals) + 1)) - seen)
    if len(totals) > 1 or missing:
        first = f", first no. {missing[0]}" if missing else ""
        reading.fault(0, "", f"holds rows of {len(seen)} of {max(totals)} decisions{first}"
                      if missing else "does not say in each row alike how many decisions it has",
                      WHOLE_SHEET)


def _delimiter(text: str) -> str:
    """Comma, semicolon or tab, as the heads of the columns have it."""
    head = next((line for line in text.split("\n", MOST_HEAD)[:MOST_HEAD]
                 if "decision" in line and "digest" in line and "#" not in line), text[:1000])
    return max(",;\t", key=head.count)


def _below_cautions(rows: Iterable[list[str]], remarks: list[str]) -> Iterator[list[str]]:
    """Rows from the heads on; what stands above them of the sheet's version goes to `remarks`."""
    for row in rows:
        first = row[0].lstrip("' ") if row else ""
        if first.startswith((REMARK, "# void ")):
            remarks.append(first.removeprefix(REMARK).strip())
        elif any(row) and not first.startswith("#"):
            yield row


def _apart(reading: _Reading, cells: dict[str, str]) -> list[Mark] | None:
    """Where the mark of a row goes that was given to no decision as it stands in this sheet."""
    word = cells.get("number", "").strip().lower()
    return reading.beside if word == BESIDE else (
        reading.gone if word in (GONE, GIVEN_BEFORE) else None)


def _csv_row(reading: _Reading, cells: dict[str, str], row: Sequence[str], head: Sequence[str],
             line: int, versions: dict[tuple[str, ...], int]) -> None:
    if len(row) < len(head):
        reading.fault(line, "", f"has {len(row)} of {len(head)} cells", "is the file whole?")
        return
    if any(cell.strip() for cell in row[len(head):]):
        reading.fault(line, "", f"has {len(row)} cells for {len(head)}{COLUMNS}",
                      "put text with separators in quotes")
        return
    cells = {key: unshielded(cell.strip()) for key, cell in cells.items()}
    version = tuple(cells.get(key, "").removeprefix(SINCE) for key in VERSION)
    versions.setdefault(version, line)
    where = one_line(cells["decision"], 80)
    printed = tuple((key, cells[key]) for key in PRINTED if key in cells)
    apart = _apart(reading, cells)
    if apart is None:
        reading.rows.append(Row(line, cells["decision"], signed(cells["digest"]), printed,
                                cells["name"] if cells["mark"] else ""))
    if not cells["mark"]:
        for key in ("change_to", "note", "scan"):
            if cells[key]:
                reading.fault(line, f"{where}.{key}", "stands in a row without a mark",
                              "mark the row: " + ", ".join(SPELLED))
        return
    given = {key: cells[key] for key in (*FREE, "digest")}
    given |= {"decision_id": cells["decision"], "verdict": cells["mark"],
              ALSO: cells.get(ALSO, "")}
    reading.add(given, line, where, to=reading.marks if apart is None else apart,
                shown=dict(printed) if apart is None or any(t for _, t in printed) else None)
