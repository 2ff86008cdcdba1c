"""The document as one HTML file: no network, readable with scripts off, prints well.

Ids are stable, so that a link, or later a reviewer's mark, finds its place again:
`s-` section, `t-` table, `fig-` figure, `f-` finding, `d-` decision, `source-` source. Links
within the page take the short number of a finding instead, `n1`, and a step inside another's
chain has no id of its own, which keeps the page small. So does a step that works an earlier one
over again, as for each of many modules: it names that and the entries in which it differs.
"""

from __future__ import annotations

import contextlib
import functools
import re
from collections.abc import Iterable
from importlib import resources
from typing import TYPE_CHECKING, Any

from packcalc.checks import VERDICTS
from packcalc.findings import BASES
from packcalc.marks import MARKS, STANDINGS
from packcalc.report.citations import KEY as SOURCES
from packcalc.report.document import Block, Chain, Document, Facts, Figure, Table
from packcalc.report.markup import LEAF, LINK, NESTED, decision_rows, rows, worked
from packcalc.report.steps import (
    OF_A_RULE,
    Step,
    apart,
    inputs_of,
    likes,
    new_note,
    rule_told,
    steps,
    twins,
    wordy,
)
from packcalc.value import value_object

if TYPE_CHECKING:
    import jinja2

WEAK = ("remembered, consistent", "assumed", "remembered")
GRAVE, REST = "decisions_grave", "decisions_rest"  # tables that take marks
DECISION_HEADS = ("No.", "Decision", "Verdict", "Weakest basis", "Mark")
SCROLLS = 5  # a table of so many columns may be wider than a phone
SHORT_ROWS = 14  # a table of up to so many rows is kept on one printed page
SHORT_ROWS_OF_WORDS, SHORT_WORDS = 6, 800  # rows, and signs in all of them
_SPARE_ENDS = re.compile(r"</(?:td|th|tr|li|dt|dd)>(?=\s*</?(?:td|th|tr|li|dt|dd|tbody|thead|table"
                         r"|ul|ol|dl)\b)"
                         r"|</p>(?=</?(?:p|ul|ol|dl|div|table|td|section)\b)")
_ENTRY = re.compile(r"\n+(?=<(?:li|dt)\b)")
_CUT = re.compile(r'data-cut="([\d.]+)"')
_BOX = re.compile(r'viewBox="0 0 ([\d.]+) ([\d.]+)"')
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
MANY_COLUMNS = 9  # from here on a table is set smaller in print


def render(document: Document) -> str:
    """The document as one self-contained page."""
    from packcalc import __version__

    page = _Page(document)
    template = environment().get_template("page.html")
    text = template.render(document=document, page=page, short=document.short, version=__version__,
                           style=_unindented("style.css"), script=_unindented("page.js"))
    return _slim(text)


def _unindented(name: str) -> str:
    """A template's lines without what only its own readers need: indents, lines of comment."""
    lines = (line.strip() for line in _file(name).split("\n"))
    return "\n".join(line for line in lines if not line.startswith("//"))


def _slim(text: str) -> str:
    """Without empty lines and without the end tags of rows, cells, entries and paragraphs.

    HTML lets those be left out; they are a tenth of a large page. Nor does each entry of a list
    begin a line.
    """
    lines = _ENTRY.sub("", _SPARE_ENDS.sub("", text)).split("\n")
    return "\n".join(line for line in lines if line.strip()) + "\n"


def _file(name: str) -> str:
    return resources.files("packcalc.report").joinpath("templates", name).read_text("utf-8")


@functools.lru_cache(maxsize=1)
def environment() -> "jinja2.Environment":
    """The one template environment; whatever it prints is escaped."""
    import jinja2

    loader = jinja2.FunctionLoader(_file)
    return jinja2.Environment(loader=loader, autoescape=True, trim_blocks=True,
                              lstrip_blocks=True, undefined=jinja2.StrictUndefined,
                              bytecode_cache=_compiled_templates())


def _compiled_templates() -> "jinja2.BytecodeCache | None":
    """Templates compiled by an earlier run, in the user's own temporary folder, if there is one.

    A folder that belongs to somebody else, or that cannot be written, is not used: the
    templates are compiled again, which costs a tenth of a second.
    """
    import jinja2

    class Cache(jinja2.FileSystemBytecodeCache):
        def dump_bytecode(self, bucket: "jinja2.bccache.Bucket") -> None:
            with contextlib.suppress(OSError):
                super().dump_bytecode(bucket)

    with contextlib.suppress(OSError, RuntimeError):
        return Cache()
    return None


def anchor(prefix: str, key: str) -> str:
    """An id that HTML and addresses allow, from a key."""
    return f"{prefix}-{re.sub(r'[^A-Za-z0-9_.-]+', '-', key)}"


@value_object
class _Part:
    """One section of the page, with its id."""

    mark: str
    title: str
    level: int
    blocks: tuple[Block, ...] = ()


def _version(document: Document) -> str:
    """What ties a printed sheet to its version, the short first: a long title may be cut."""
    meta = {key: text for key, _, text in document.meta}
    known = [f"Input {meta['input_digest']}" if "input_digest" in meta else "",
             f"issued {meta['date_of_issue']}" if _issued(document) else "",
             f"packcalc {meta['version']}" if "version" in meta else "",
             document.title, document.subtitle]
    return " · ".join(filter(None, known))


def _issued(document: Document) -> str:
    """The date of issue, ISO 8601; empty where none is given."""
    found = next((text for key, _, text in document.meta if key == "date_of_issue"), "")
    return found if _DAY.fullmatch(found) else ""


class _Page:
    """What the templates ask of a document."""

    def __init__(self, document: Document):
        self.steps = steps(document)
        self.blocks = list(document.blocks())
        self.marks, self.decision_heads = MARKS, DECISION_HEADS
        self._part_numbers: dict[str, int] = {}
        self._parts: list[str] | None = None
        self._rules: set[str] = set()  # whose range and safe side are printed already
        self.likes = likes(self.steps)
        pointed_at = set(self.likes.values())
        self.shared = [s for s in self.steps.values() if s.chain is None and (
            s.id in pointed_at or s.uses > 1 and not s.is_leaf or wordy(s))]
        self.parts = _parts(document, shared=bool(self.shared))
        self.twins = twins([self.steps[chain.key] for chain in document.chains()])
        self._heads: dict[str, str] = {}
        for table in document.tables():
            if self.words(table):
                self._heads.setdefault(_heads(table), f"w{len(self._heads)}")
        self._marks = _unique_marks(list(self.steps))
        own_place = [*(chain.key for chain in document.chains()), *(s.id for s in self.shared)]
        self._numbers = {name: number for number, name in enumerate(own_place, 1)}
        self.anchor = anchor
        self.version, self.issued = _version(document), _issued(document)

    def kind(self, block: Block) -> str:
        """The name of the macro that prints a block."""
        if isinstance(block, Table) and block.key in (GRAVE, REST):
            return "decisions"
        return type(block).__name__.lower()

    def first_decisions(self, block: Table) -> bool:
        """Whether the search and the marks of the page stand before this table."""
        return block.key == GRAVE

    def decided(self, block: Table) -> list[dict[str, Any]]:
        """The rows of a table of decisions by column key: data, printed text under `text`."""
        keys = [column.key for column in block.columns]
        return [{**{k: c.data for k, c in zip(keys, row, strict=True)},
                 "text": {k: c.text for k, c in zip(keys, row, strict=True)}}
                for row in block.rows]

    def halves(self, block: Figure) -> tuple[str, list[str]] | None:
        """For paper: what a tall picture is drawn by, and the two windows to look at it through."""
        start = block.svg[:block.svg.find(">")]
        cut, box = _CUT.search(start), _BOX.search(start)
        if cut is None or box is None:
            return None
        width, height, at = box[1], float(box[2]), cut[1]
        return f"{block.key}-all", [f"0 0 {width} {at}",
                                    f"0 {at} {width} {height - float(at):g}"]

    def review_file(self) -> dict[str, str]:
        """What a saved mark belongs to."""
        facts = next(b for b in self.blocks if isinstance(b, Facts) and b.key == "review_file")
        return {key: cell.text for key, _, cell in facts.rows}

    def part_numbers(self, row: dict[str, Any]) -> str:
        """The parts under which a decision is found: its own, what it is fitted as, what shares it.

        What is fitted is named behind the title of its part.
        """
        own = row["part"]
        if self._parts is None:
            self._parts = self.choices()["part"]
        whole = [part for part in self._parts if own.startswith(f"{part}, ")]
        return "|".join(str(self.part_number(part)) for part in
                        dict.fromkeys((own, *whole, *row["also"])))

    def part_number(self, part: str) -> int:
        """A short number for the title of a part."""
        return self._part_numbers.setdefault(part, len(self._part_numbers) + 1)

    def choices(self) -> dict[str, Any]:
        """Parts, bases and verdicts of all decisions, for the filters."""
        rows = [row for b in self.blocks if isinstance(b, Table) and b.key in (GRAVE, REST)
                for row in self.decided(b)]
        bases = {basis for row in rows for basis in row["grounds"]}
        weak = self.grounds(WEAK)
        return {"part": list(dict.fromkeys(row["part"] for row in rows)),
                "basis": [b for b in BASES if b in bases], "weak": weak,
                "verdict": [v for v in (*VERDICTS, "figure")
                            if any(row["verdict"] == v for row in rows)],
                "standing": [w for w in STANDINGS if any(r["standing"] == w for r in rows)]}

    def ground(self, basis: str) -> int:
        """The short name of a basis on this page: its place on the ladder."""
        return BASES.index(basis)

    def grounds(self, bases: Iterable[str]) -> str:
        """Every basis of a chain by its short name, one digit each, for the filter."""
        return "".join(str(place) for place in sorted(map(self.ground, bases)))

    def lines(self, step: Step) -> list[tuple[str, str]]:
        """The lines of a step; what its inputs say already, in the same digits, is left out."""
        taken, told = inputs_of(step, self.steps), rule_told(step, self._rules)
        numbers = ", ".join(self.as_input(symbol, item) for symbol, item in taken)
        # a figure that a decision unfolds to is whole; a shared step may point back
        short = told and step.chain is None
        return [(label, step.finding.source if label == "source" and short else words)
                for label, words in step.lines
                if label not in ("basis", "result")
                and (label != "note" or new_note(step, self.steps))
                and not (label == "numbers" and words == numbers)
                and not (label in OF_A_RULE and told)]

    def goal(self, step: Step) -> int:
        """The number of the place that works a step, for a link."""
        return self._numbers[self.twins.get(step.id, step.id)]

    def twin(self, step: Step) -> Step | None:
        """An earlier step that works the very same figure, to point at."""
        return self.steps.get(self.twins.get(step.id, ""))

    def like(self, step: Step) -> tuple[Step, list[tuple[str, str, Step]]] | None:
        """An earlier step that works the same over, and the inputs in which this one differs."""
        like = self.steps.get(self.likes.get(step.id, ""))
        return like and (like, [(self._how(item), symbol, item)
                                for symbol, item in apart(step, like, self.steps)])

    def mark(self, step: Step) -> str:
        """The id of a step's place on the page."""
        return self._marks[step.id]

    def number(self, step: Step) -> int:
        """The short number of a step on this page, for paper."""
        return self._numbers[step.id]

    def as_input(self, symbol: str, step: Step) -> str:
        """The value under the symbol that the formula gives it."""
        return f"{symbol} = {step.finding.shown}"

    def inputs(self, step: Step) -> list[tuple[str, str, Step]]:
        """(how to print it, symbol, step) for each input of a step."""
        return [(self._how(item), symbol, item) for symbol, item in inputs_of(step, self.steps)]

    def _how(self, step: Step) -> str:
        if step.id in self._numbers:
            return LINK
        return LEAF if step.is_leaf else NESTED

    def shape(self, table: Table) -> str:
        """Style classes of a table: words reflow on a phone, many columns print small."""
        words = self.words(table)
        names = ["words", self._heads[_heads(table)]] if words else []
        if len(table.columns) >= MANY_COLUMNS:
            names.append("many")
        if len(table.rows) <= SHORT_ROWS and not (words and _tall(table)):
            names.append("compact")
        return " ".join(names)

    def words(self, table: Table) -> bool:
        """Whether a table reflows on a phone."""
        return any(column.wide for column in table.columns)

    def heads(self) -> list[tuple[str, str]]:
        """Class and style of every set of column titles, which a phone prints before each cell."""
        return [(name, style) for style, name in self._heads.items()]

    def rows(self, table: Table) -> str:
        """The rows of a table; in the list of sources each has its id."""
        named = table.key == SOURCES
        return rows(table, [anchor("source", row[0].text) for row in table.rows] if named else [])

    def decision_rows(self, table: Table) -> str:
        """The rows of a table of decisions."""
        return decision_rows(table, self)

    def chain(self, block: Chain) -> str:
        """The step that a chain unfolds."""
        return worked(self.steps[block.key], self, chain=True)

    def shared_steps(self) -> str:
        """The steps that several results share."""
        return "".join(worked(step, self) for step in self.shared)

    def scrolls(self, table: Table) -> bool:
        """Whether the table may be wider than a screen, so that the keyboard must reach it."""
        return len(table.columns) >= SCROLLS


def _tall(table: Table) -> bool:
    """Whether a table of words would leave a gap on paper if it were kept on one page."""
    signs = sum(len(cell.text) for row in table.rows for cell in row)
    return len(table.rows) > SHORT_ROWS_OF_WORDS or signs > SHORT_WORDS


def _heads(table: Table) -> str:
    """The column titles of a table as properties of a style."""
    titles = DECISION_HEADS if table.key in (GRAVE, REST) else [
        column.title for column in table.columns]
    return ";".join(f"--h{n}:{_css_text(title)}" for n, title in enumerate(titles, 1))


def _css_text(words: str) -> str:
    """Words as a text of a style: nothing in them can end it."""
    return '"' + "".join(c if c.isalnum() or c in " ,.()" else f"\\{ord(c):x} "
                         for c in words) + '"'


def _parts(document: Document, *, shared: bool) -> list[_Part]:
    """Sections with the cautions after the first and the shared steps before the sources."""
    parts = [_Part(anchor("s", s.key), s.title, s.level, s.blocks) for s in document.sections]
    if shared:
        ends_in_sources = parts[-1].mark == anchor("s", SOURCES)
        parts.insert(len(parts) - ends_in_sources,
                     _Part("shared", "Steps that several results share", 1))
    parts.insert(1, _Part("cautions", "Cautions", 1))
    return parts


def _unique_marks(names: list[str]) -> dict[str, str]:
    """An id for each step; two keys that differ only in signs still get two ids."""
    found: dict[str, str] = {}
    taken: set[str] = set()
    for name in names:
        mark = base = anchor("f", name)
        number = 1
        while mark in taken:
            number += 1
            mark = f"{base}-{number}"
        taken.add(mark)
        found[name] = mark
    return found
